/* SPDX-License-Identifier: Apache-2.0 */
/*
 * fleet_internal.h - a made-up district: its calendar, its buses, and what befalls which when.
 *
 * All of it follows from a seed, by integers alone. A day of a bus depends on the seed, the bus,
 * the date of the first day and the days before it, and on nothing else: how many buses there are,
 * and in how many calls days are asked for, changes nothing. True times are Unix ms; the clocks of
 * a bus may show others.
 */
#ifndef POSTWALK_FLEET_INTERNAL_H
#define POSTWALK_FLEET_INTERNAL_H

#include "postwalk/journal.h"
#include "postwalk/record.h"

/* -- fleet_chance.c: chance that can be had again ---------------------------------------------- */

struct pw_chance { uint64_t state; };
enum pw_chance_of {
	PW_OF_BUS = 1, PW_OF_KEY, PW_OF_EPOCH, PW_OF_PLACE, PW_OF_SCENE, PW_OF_CARE, PW_OF_DAY,
	PW_OF_BOOT
};
struct pw_chance pw_chance_begin(uint64_t seed, enum pw_chance_of what, uint64_t a, uint64_t b);
uint64_t pw_chance_next(struct pw_chance *c);
/* All as likely, both included. */
int64_t pw_chance_in(struct pw_chance *c, int64_t least, int64_t most);
/* The middle likelier. */
int64_t pw_chance_bell(struct pw_chance *c, int64_t least, int64_t most);
bool pw_chance_is(struct pw_chance *c, uint32_t percent);

/* -- fleet_calendar.c: dates are days since 1970-01-01 ----------------------------------------- */

int pw_date_read(const char *text, int32_t *date); /* YYYY-MM-DD, from 1971 to 2098. 0, or -1 */
void pw_date_print(int32_t date, char text[16]);
bool pw_date_is_school_day(int32_t date); /* no week-end, no holiday of the made-up district */
/* The zone of this process: once, before any thread. "": the machine's. 0; -1: no such zone. */
int pw_zone_set(const char *zone);
/* 12 h before noon: clocks are changed at night, so what is counted from it is right by day. */
int64_t pw_date_ms(int32_t date);
int32_t pw_date_of(int64_t time_ms);

/* -- fleet_scenes.c ---------------------------------------------------------------------------- */

/* What can befall a bus on a day; docs/fleet.md tells each in words. */
#define PW_SCENE_LIST(X)                                                                      \
	X(WALKED, walked) X(HURRIED, hurried) X(SHORT_RETURN, short_return) X(SAT_ON, sat_on)  \
	X(DOOR_OPEN, door_open) X(CALLED_BACK, called_back) X(NEVER_WALKED, never_walked)      \
	X(ERRAND, errand) X(DROVE_OFF, drove_off) X(REAR_DOOR, rear_door)                      \
	X(KEY_TURNED, key_turned) X(STALLED, stalled) X(MOVED, moved)                          \
	X(SWITCHED_OFF, switched_off) X(CUT_SHORT, cut_short) X(FUSE_PULLED, fuse_pulled)      \
	X(LEFT_RUNNING, left_running) X(CLOCK_LOST, clock_lost) X(TAPED, taped)                \
	X(MUTED, muted) X(CHILD, child) X(DEAD_SOUNDER, dead_sounder)                          \
	X(STUCK_DOOR, stuck_door) X(CONTACTS, contacts) X(CLOCK_1970, clock_1970)              \
	X(CLOCK_2099, clock_2099) X(CLOCK_STEP, clock_step) X(RESTARTED, restarted)            \
	X(CRASHED, crashed) X(UNWATCHED, unwatched) X(SILENT, silent) X(ASIDE, aside)          \
	X(REWOUND, rewound) X(CLONED, cloned)
enum pw_scene {
	PW_SCENE_NONE, /* invalid */
#define X(up, low) PW_SCENE_##up,
	PW_SCENE_LIST(X)
#undef X
	PW_SCENES
};
const char *pw_scene_name(enum pw_scene scene);

/* Each scene has a place among the first buses and days: so a small fleet shows all of them. */
#define PW_SHOWN_BUSES 24
#define PW_SHOWN_DAYS 21
struct pw_placed { unsigned bus, day, days; /* 0: not placed */ };

struct pw_fleet {
	uint64_t seed;
	unsigned buses, days; /* days of all calls so far */
	int32_t from;         /* date of day 0 */
	struct pw_placed placed[PW_SCENES];
};
void pw_fleet_place(struct pw_fleet *f); /* fills in placed by seed and from */

/* What goes over from one day of a bus to the next. */
struct pw_carry {
	enum pw_scene scene;
	unsigned since, until; /* the days of it: until is no more one of them */
	bool off;              /* the battery switch is open, or a fuse is out */
	bool owes;             /* and the walk is made in the morning, under the alarm */
	bool taped;            /* the rear button */
	bool stuck;            /* the service door's contact */
	bool dead;             /* the sounder inside */
	bool keeps_power;      /* over this night, whatever the habit of the yard */
	bool parted;           /* the journal was put aside, put back or cloned: once is enough */
};
/* The scene of that day. */
void pw_scene_choose(const struct pw_fleet *f, unsigned bus, unsigned day, struct pw_carry *carry);

/* -- fleet_bus.c ------------------------------------------------------------------------------- */

struct pw_habits { /* percents: of the least that the policy asks for */
	int64_t walk_percent, return_percent, key_ms;
	uint32_t tells_percent; /* how often what a walk found is told */
};
struct pw_fleet_bus {
	unsigned index, shift; /* shift: which runs it has */
	char id[PW_NAME_MAX], yard[PW_CODE_MAX], route[PW_CODE_MAX], driver[PW_CODE_MAX],
		school[PW_CODE_MAX];
	int64_t later_min;     /* all its runs, against the others of its shift */
	bool battery_switch;   /* the yard's habit: opened on leaving for the night */
	struct pw_habits habits;
	struct pw_policy policy;
	char text[PW_POLICY_TEXT_MAX], hash[65];
	struct pw_secret_key key;
};
/* 0; -1: no memory, said in why. */
int pw_fleet_bus_make(const struct pw_fleet *f, unsigned index, struct pw_fleet_bus *b, char *why,
		      size_t size);
void pw_fleet_bus_name(unsigned index, char id[PW_NAME_MAX]); /* T-0001 and so on */
/* Of its first journal, or of the one that was begun after it. */
void pw_fleet_epoch(const struct pw_fleet *f, unsigned index, bool second, char epoch[17]);

#endif
