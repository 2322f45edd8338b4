/* SPDX-License-Identifier: Apache-2.0 */
/*
 * match.h - planned runs matched with the stops that a bus's journal has, at the least total cost.
 *
 * A run looks for the key-off that ends it: not before it begins, nor outside a window about its
 * planned end. A pair costs as much as its key-off is from the planned end; a run without a stop
 * and a stop without a run have a cost of their own. One to one; a later run never has an earlier
 * stop. Of all such matchings the cheapest holds; of equally cheap ones that in which the first run
 * has the earliest stop it can, a stop rather than none, then the second, and so on.
 *
 * Where runs that end later do not begin earlier, to keep the order costs nothing: if two pairs
 * cross, both keep within their windows and are no dearer after a swap of their stops.
 *
 * Pure. Errors: 0; -1: no memory; -2: more stops within the windows than can be looked through;
 * both with one sentence in why. Nothing says that a bus is empty.
 */
#ifndef POSTWALK_OFFICE_MATCH_H
#define POSTWALK_OFFICE_MATCH_H

#include "postwalk/audit.h"

#define PW_NO_STOP UINT32_MAX
#define PW_NO_RUN UINT32_MAX

/* enum pw_result of a run; unplanned: of a stop that no run has. not_yet: its window is not over, or
 * its sweep is not closed.
 *
 * enum pw_no_record: why there is no record of a run. bus_silent: nothing was heard of the bus from
 * the planned end to the end of the window. clock_doubtful: what was heard then, or a stop without a
 * run within a day, has a time that the bus's clock cannot vouch for. other_bus: another bus, with no
 * run of its own at the time, has a stop without a run where this one's should be: a hint, and no
 * record of this run. no_key_off: none of them.
 *
 * enum pw_reason: why this stop. only: no other is within the window. nearest: of those that are, the
 * one nearest to the planned end. total: a nearer one serves another run better. */

struct pw_match_rules {
	uint32_t before_s, after_s;   /* the window about a planned end */
	uint32_t no_stop_s, no_run_s; /* the cost of a run alone, of a stop alone */
	uint32_t other_s;             /* the window for another bus's stop, either way */
};
extern const struct pw_match_rules pw_match_usual; /* our own choice: docs/runs.md */

struct pw_planned {
	int64_t begin_ms, end_ms;     /* UTC */
	uint32_t bus;                 /* any number of its own */
};
struct pw_stop {
	int64_t key_off_ms;           /* by the bus's wall clock; not PW_NO_TIME */
	enum pw_verdict verdict;      /* of the sweep that it began; 0: it is open */
	uint32_t bus;
	bool clock_ok;
	int64_t busy_ms;              /* by pw_match: the last end of runs that begin before it */
};
/* The watch was at work and its records are here. */
struct pw_heard {
	int64_t from_ms, to_ms;
	bool clock_ok;
};

/* Of one bus: any days. Runs in the order of their ends, stops of their key-offs, heard of
 * times. */
struct pw_match_in {
	const struct pw_planned *run;
	struct pw_stop *stop;
	const struct pw_heard *heard;
	size_t runs, stops, heards;
	int64_t now_ms;
};
struct pw_match {
	enum pw_result result;
	enum pw_no_record why;
	enum pw_reason reason;
	uint32_t stop;                /* PW_NO_STOP; of other_bus: among the others' */
	uint32_t stops;               /* how many are within its window */
	int32_t off_s;                /* key-off after (less: before) the planned end */
	bool clock_doubtful;          /* of the stop */
};
/* match: of each run; run_of: of each stop, PW_NO_RUN: unplanned. In in, busy_ms is filled in. */
int pw_match(const struct pw_match_rules *r, const struct pw_match_in *in, struct pw_match *match,
	     uint32_t *run_of, char *why, size_t size);
/* Runs without a record and stops without a run, of all buses of a yard, as pw_match left them and
 * in the same order: those of *match that another bus's stop may explain are told so. */
int pw_match_others(const struct pw_match_rules *r, const struct pw_match_in *in,
		    struct pw_match *const *match, char *why, size_t size);
/* "missed: key-off 12 min after the planned end; the nearest of 2 stops", in English. */
int pw_match_words(const struct pw_match *m, char *words, size_t size);

#endif
