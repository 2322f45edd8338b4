/* SPDX-License-Identifier: Apache-2.0 */
/* morning.h - what needs a person this morning, as the store has it; page_morning.c tells it. */
#ifndef POSTWALK_OFFICE_MORNING_H
#define POSTWALK_OFFICE_MORNING_H

#include "office_internal.h"

#define PW_MORNING_LIST 50     /* of each list, unless all of it is asked for */
#define PW_MORNING_LOOKED 400 /* rows of a kind that are looked at, for a count */

/* -- morning.c --------------------------------------------------------------------------------- */

/* The first day to tell of: the newest day of work (Monday to Friday, with a run or a sweep) before today, or
 * yesterday where none is. day: of work, in any order. Pure. */
int32_t pw_morning_since(int32_t today, const int32_t *day, size_t days);
/* Smaller is more urgent; 0: no such kind. Pure. */
unsigned pw_matter_urgency(enum pw_matter_kind kind);

struct pw_morning_fault { char bus[PW_NAME_MAX]; struct pw_standing is; };
struct pw_morning {
	int32_t today, since;
	int64_t now_ms;
	/* That nobody has taken: the most urgent first, then the oldest. clocks: one a bus. */
	struct pw_matter *matter, *clock;
	size_t matters, clocks, alerts;   /* alerts: of matters, those that cannot wait */
	/* Since then, as corrected where they are. bad: of missed and doubtful sweeps, the longest unchecked first;
	 * lost: runs with no record, the newest first. more: there are more than were looked at, and counts are
	 * those of the days' tallies, which are of verdicts as recorded. */
	struct pw_audit_row *bad, *lost;
	size_t bads, losts, missed, doubtful;
	bool bad_more, lost_more;
	/* Runs planned since then; whose window is over and sweep closed; with no record, as matched; and of these,
	 * since nothing was heard of the bus. */
	uint64_t planned, over, unrecorded, silent_runs;
	uint64_t tallied_missed, tallied_doubtful;
	struct pw_morning_fault *fault, *muted;
	size_t faults, muteds;
};
/* ctx: all zero but today and now_ms. All but buses that are silent; a few ms. To be freed always. */
int pw_morning_work(struct pw_store *s, void *ctx, char *why, size_t size);
void pw_morning_free(struct pw_morning *m);

/* -- silence.c: buses that are silent; found once in a while, and then kept up to date --------- */

struct pw_silent { char bus[PW_NAME_MAX]; int64_t heard_ms, enrolled_ms; }; /* heard_ms 0: never */
struct pw_silence;                    /* of an office; on its desk alone */
struct pw_silence *pw_silence_new(uint32_t silent_days); /* NULL: no memory */
void pw_silence_free(struct pw_silence *n);

/* One piece of work of some milliseconds: to be done again while more. Then list is a copy, in the order of
 * bus as people count; to be freed. upto: the day by whose end a bus is missing. */
struct pw_silence_look {
	struct pw_silence *of;
	int32_t upto;
	int64_t now_ms;
	bool more;
	struct pw_silent *list;
	size_t count, never;
	uint64_t buses, heard;        /* with a key; of them heard of on the day upto */
};
int pw_silence_work(struct pw_store *s, void *ctx, char *why, size_t size);

#endif
