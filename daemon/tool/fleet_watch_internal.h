/* SPDX-License-Identifier: Apache-2.0 */
/*
 * fleet_watch_internal.h - the watch of a made-up bus: the real rules, and records as postwalkd's.
 *
 * What the bus's own rooms do on a real board (daemon/bus, daemon/record/writer*.c) is done here in
 * true time, event by event, into a book. A watch is plain data: a copy of it is another board with
 * the same card.
 */
#ifndef POSTWALK_FLEET_WATCH_INTERNAL_H
#define POSTWALK_FLEET_WATCH_INTERNAL_H

#include "fleet_book_internal.h"
#include "fleet_internal.h"

/* What lies on the card: what was last committed. */
struct pw_card {
	bool found, ended;
	struct pw_state state;
	int64_t mono_ms, wall_ms; /* when it was last alive */
	uint64_t boot;
	char policy[65];
	struct pw_day day;
};

#define PW_WATCH_FAULTS 8
struct pw_fleet_watch {
	const struct pw_fleet_bus *bus;
	struct pw_book *book;
	/* the vehicle */
	uint8_t raw;          /* levels on the wires */
	bool powered, dead;   /* dead: the sounder inside */
	int64_t clock_ms;     /* what the wall clock shows beyond true time */
	/* the board since its start */
	int64_t boot_ms;      /* true time of its mono 0 */
	int64_t now_ms, wall_ms, judged_ms;
	int64_t told_boot_ms, told_wall_ms, believed_ms; /* as daemon/bus/clock.c has them */
	int64_t built_ms;
	uint64_t boot;
	struct pw_state state;
	struct pw_day day;
	bool service, keep, seal_due;
	enum pw_signal notified; /* whose record has been made already */
	struct { uint16_t count; uint8_t from; int64_t at_ms[PW_EDGES_MAX]; } pending[PW_INPUTS];
	struct { uint32_t levels, rose, fell; } proving;
	int64_t sounds_ms;    /* by when the sounder has to be heard, or PW_NEVER */
	bool sounding, heard_dead;
	int64_t t0_ms;        /* of the last sweep that closed, or PW_NO_TIME */
	char fault[PW_WATCH_FAULTS][PW_NAME_MAX + 8]; /* those that stand */
	int64_t stamp_ms;     /* J12: the next; PW_NEVER: parked */
	struct pw_card card;
};

/* -- fleet_power.c: starts and ends of the board (R20, R21, J6) -------------------------------- */

/* No power yet, and nothing on the card. built_ms: the wall clock is not believed before it. */
void pw_fleet_watch_begin(struct pw_fleet_watch *w, const struct pw_fleet_bus *b,
			  struct pw_book *book, int64_t built_ms);
/* Power comes, and the watch runs so much after the kernel; nothing where it had power. */
void pw_fleet_watch_power(struct pw_fleet_watch *w, int64_t at_ms, int64_t since_boot_ms);
void pw_fleet_watch_cut(struct pw_fleet_watch *w, int64_t at_ms);
/* The program alone ends, in order or not, and is back after_ms later. */
void pw_fleet_watch_stop(struct pw_fleet_watch *w, int64_t at_ms, bool orderly, int64_t after_ms);
/* The journal on the card is put aside for this other one: before power comes. */
void pw_fleet_watch_aside(struct pw_fleet_watch *w, struct pw_book *book, const char *why);
/* The writer's own: the watch hears nothing of it. body: as J8 has it. */
void pw_fleet_watch_receipt(struct pw_fleet_watch *w, int64_t at_ms, const char *body);

/* -- fleet_watch.c ----------------------------------------------------------------------------- */

/* What is due before at_ms happens. Every call below does that first. */
void pw_fleet_watch_until(struct pw_fleet_watch *w, int64_t at_ms);
void pw_fleet_watch_edge(struct pw_fleet_watch *w, int64_t at_ms, unsigned line, unsigned level);
void pw_fleet_watch_clock(struct pw_fleet_watch *w, int64_t at_ms, int64_t clock_ms);

/* -- fleet_people.c: what people tell the page ------------------------------------------------- */

void pw_fleet_watch_service(struct pw_fleet_watch *w, int64_t at_ms, bool on);
void pw_fleet_watch_found(struct pw_fleet_watch *w, int64_t at_ms, enum pw_found_what what,
			  const char *who);
void pw_fleet_watch_heard(struct pw_fleet_watch *w, int64_t at_ms, unsigned line, bool yes);
void pw_fleet_watch_sign(struct pw_fleet_watch *w, int64_t at_ms, const char *who);
void pw_fleet_watch_review(struct pw_fleet_watch *w, int64_t at_ms, const char *who);
void pw_fleet_watch_repair(struct pw_fleet_watch *w, int64_t at_ms, const char *who);

/* -- what the two share ------------------------------------------------------------------------ */

bool pw_watch_wake(struct pw_fleet_watch *w, int64_t at_ms); /* false: there is no power */
void pw_watch_finish(struct pw_fleet_watch *w); /* its end: what is worth it is committed */
void pw_watch_step(struct pw_fleet_watch *w, struct pw_event ev);
struct pw_note pw_watch_note(const struct pw_fleet_watch *w, enum pw_kind kind);
void pw_watch_journal(struct pw_fleet_watch *w, const struct pw_note *n);
void pw_watch_fault(struct pw_fleet_watch *w, const char *name, const char *words, bool on,
		    int64_t at_ms);
void pw_watch_prove(struct pw_fleet_watch *w, unsigned line, enum pw_proof_how how);
void pw_watch_mute(struct pw_fleet_watch *w, bool on);

#endif
