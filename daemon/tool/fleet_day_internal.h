/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_day_internal.h - a day of a bus: its runs, what is done to wires and power, the truth. */
#ifndef POSTWALK_FLEET_DAY_INTERNAL_H
#define POSTWALK_FLEET_DAY_INTERNAL_H

#include "fleet_internal.h"

enum pw_doing {
	PW_DO_EDGE = 1, /* line comes to level, on the wire */
	PW_DO_CUT,      /* power goes */
	PW_DO_POWER,    /* power comes */
	PW_DO_STOP,     /* the program ends, in order (level 1) or not, and starts again */
	PW_DO_CLOCK,    /* the wall clock shows true time + value from now on */
	PW_DO_SERVICE,  /* level: on or off, by a mechanic */
	PW_DO_SOUNDERS, /* level 0: the one inside is dead */
	PW_DO_FOUND,    /* value: enum pw_found_what */
	PW_DO_HEARD,    /* line was tried; level: somebody heard it */
	PW_DO_SIGN,     /* the vehicle report */
	PW_DO_REVIEW,   /* it, where there is one to review */
	PW_DO_REPAIR,   /* a mechanic certifies the oldest open defect, where there is one */
	PW_DO_ASIDE,    /* the next start finds the journal damaged, and puts it aside */
	PW_DO_COPY,     /* all that the board holds is copied */
	PW_DO_PUT_BACK, /* and the next start is from that copy */
	PW_DOINGS
};
struct pw_deed {
	int64_t at_ms, value;
	enum pw_doing what;
	uint8_t line, level;
	char who[PW_CODE_MAX];
};

/* As the run sheet has it; minutes of the day. */
struct pw_run {
	char code[8], place[PW_CODE_MAX], driver[PW_CODE_MAX];
	int64_t begin_min, end_min;
};

/* A stop that owes a sweep, or would, were there anything to see it. */
struct pw_stop {
	int run;                  /* of the run sheet; -1: of none */
	const char *what;         /* "run", "errand", ... */
	int64_t t0_ms;
	enum pw_scene scene;
	bool walked;              /* somebody walked to the rear and looked */
	enum pw_verdict expected; /* 0: of this there is no record */
	bool waits;               /* it closes with the next key-on or power-on, not before */
	char driver[PW_CODE_MAX];
};

#define PW_DEEDS_MAX 640
#define PW_RUNS_MAX 4
#define PW_STOPS_MAX 12
struct pw_fleet_day {
	unsigned number, days, runs, stops, deeds; /* days: of the scene, in all */
	int32_t date;
	int64_t begin_ms;         /* pw_date_ms */
	bool school, begins;      /* begins: the scene does, today */
	enum pw_scene scene;
	struct pw_run run[PW_RUNS_MAX];
	struct pw_stop stop[PW_STOPS_MAX];
	struct pw_deed deed[PW_DEEDS_MAX]; /* by time */
};

/* -- fleet_day.c ------------------------------------------------------------------------------- */

/* second: of the second vehicle of a cloned bus, to which nothing else happens. */
void pw_fleet_day_make(const struct pw_fleet *f, const struct pw_fleet_bus *b, bool second,
		       unsigned number, struct pw_carry *carry, struct pw_fleet_day *d);

/* -- fleet_stop.c: what is done at a stop ------------------------------------------------------ */

/* A day being written. */
struct pw_script {
	struct pw_fleet_day *day;
	const struct pw_fleet_bus *bus;
	struct pw_carry *carry;
	struct pw_chance chance;
	int run;          /* under way, or -1 */
	const char *driver;
};
struct pw_deed *pw_script_do(struct pw_script *s, int64_t at_ms, enum pw_doing what);
void pw_script_edge(struct pw_script *s, int64_t at_ms, enum pw_line line, unsigned level);
/* Opened, and closed so much later. */
void pw_script_open(struct pw_script *s, int64_t at_ms, enum pw_line door, int64_t for_ms);
/* Key off at t0 and what comes then, as the scene has it. When whoever drives has gone. */
int64_t pw_script_key_off(struct pw_script *s, const char *what, int64_t t0_ms,
			  enum pw_scene scene);
/* What was left undone the evening before: the walk; the tape. */
void pw_script_make_good(struct pw_script *s, int64_t power_ms);
void pw_script_untape(struct pw_script *s, int64_t at_ms);

#endif
