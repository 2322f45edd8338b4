/* SPDX-License-Identifier: Apache-2.0 */
/*
 * matters.h - the rest of a store: what asks for a person in the office, whether he was told, who took
 * it, and the figures. Included by store.h; errors and lives as there.
 */
#ifndef POSTWALK_MATTERS_H
#define POSTWALK_MATTERS_H

#include "postwalk/store.h"

#define PW_MATTER_LIST(X)                                                                     \
	X(RUNG, rung)       /* a rung with notify: a sweep is long overdue */                 \
	X(CHILD, child)     /* a walk found a child */                                        \
	X(FORK, fork)       /* two histories of one bus: put back, or cloned */               \
	X(JOURNAL, journal) /* a bus put its journal aside as damaged, or older than it was */ \
	X(HOLE, hole)       /* records that the bus no longer has and never delivered */      \
	X(KEY, key)         /* another key asks to be this bus */                             \
	X(REFUSED, refused) /* what a bus sent does not hold: seal, chain, id */              \
	X(CLOCK, clock)     /* a bus whose clock is far from the office's */
enum pw_matter_kind {
	PW_MATTER_NONE,
#define X(up, low) PW_MATTER_##up,
	PW_MATTER_LIST(X)
#undef X
	PW_MATTERS
};
const char *pw_matter_name(enum pw_matter_kind kind);

struct pw_matter {
	uint64_t id;             /* by the store */
	enum pw_matter_kind kind;
	char bus[PW_NAME_MAX], epoch[17];
	uint32_t branch;
	uint64_t seq;            /* 0: of no record */
	char hash[65];           /* "" likewise */
	int64_t at_ms, came_ms;  /* by the bus's clock (0: none); when the office had it */
	char words[320];
	int64_t taken_ms;        /* 0: nobody has taken it */
	char taken_by[32], taken_words[320];
};
/* One a (bus, kind, epoch, seq, hash): again is fine and changes nothing. 1: new; 0: was there. CLOCK is one a
 * day: of no record, and epoch is the day, YYYYMMDD behind eight zeros. */
int pw_store_matter_put(struct pw_store *s, struct pw_matter *m, char *why, size_t size);
/* taken: those too. after: only greater ids. Oldest first. */
int pw_store_matters(struct pw_store *s, bool taken, uint64_t after,
		int (*take)(void *ctx, const struct pw_matter *m), void *ctx, char *why,
		size_t size);
/* 1: m is filled in; 0: no such. */
int pw_store_matter(struct pw_store *s, uint64_t id, struct pw_matter *m, char *why, size_t size);
/* 1: taken now; 0: no such, or taken before (m filled in, where there is one). */
int pw_store_matter_take(struct pw_store *s, uint64_t id, const char *who, const char *words,
		int64_t now_ms, struct pw_matter *m, char *why, size_t size);

/* A telling of a matter (day 0: that it came; PW_TELL_TAKEN: that somebody took it) or of a digest (matter
 * 0, day as YYYYMMDD) by one way, "mail" or "webhook". */
#define PW_TELL_TAKEN 1
struct pw_telling {
	uint64_t matter;
	int32_t day;
	char way[12];
	uint32_t tries, told;    /* in vain since it last got through; how often it got through */
	int64_t next_ms;         /* when to try or to tell again; INT64_MAX: no more */
	int64_t told_ms;         /* last; 0: never */
	char why[200];           /* of the last failure; "" */
};
/* by its first three */
int pw_store_telling_put(struct pw_store *s, const struct pw_telling *t, char *why, size_t size);
/* 1; 0: none */
int pw_store_telling(struct pw_store *s, uint64_t matter, int32_t day, const char *way,
		struct pw_telling *t, char *why, size_t size);
int pw_store_tellings(struct pw_store *s, int64_t due_ms,
		int (*take)(void *ctx, const struct pw_telling *t), void *ctx, char *why,
		size_t size);

/* The office's own log: who did what. Append-only by trigger or rule. did begins with PW_LOG_SAW where somebody
 * only looked at something, and nowhere else: such entries can be purged. */
#define PW_LOG_SAW "saw "
int pw_store_log(struct pw_store *s, int64_t now_ms, const char *who, const char *did, char *why,
		size_t size);
/* The newest first, limit of them at most, of those before one (UINT64_MAX: all). */
int pw_store_logs_back(struct pw_store *s, uint64_t before, unsigned limit,
		int (*take)(void *ctx, uint64_t id, int64_t at_ms, const char *who, const char *did),
		void *ctx, char *why, size_t size);
int pw_store_logs(struct pw_store *s, int64_t from_ms,
		int (*take)(void *ctx, int64_t at_ms, const char *who, const char *did), void *ctx,
		char *why, size_t size);

/* -- for the digest, and figures -------------------------------------------------------------------- */

/* Closed from from_ms up to before to_ms, by the bus's clock; missed or doubtful ones alone, if so asked. */
int pw_store_sweeps(struct pw_store *s, int64_t from_ms, int64_t to_ms, bool bad,
		int (*take)(void *ctx, const char *bus, const struct pw_sweep_row *row), void *ctx,
		char *why, size_t size);
/* The same by when the office had them (came_ms): one that comes days later is in one digest all the same. */
int pw_store_sweeps_came(struct pw_store *s, int64_t from_ms, int64_t to_ms, bool bad,
		int (*take)(void *ctx, const char *bus, const struct pw_sweep_row *row), void *ctx,
		char *why, size_t size);
/* What stands now, by bus. */
int pw_store_standings(struct pw_store *s,
		int (*take)(void *ctx, const char *bus, const struct pw_standing *row), void *ctx,
		char *why, size_t size);
/* Buses with a key, and the days (YYYYMMDD, newest first, 64 at most) on which each was heard of. */
int pw_store_heard(struct pw_store *s,
		int (*take)(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days),
		void *ctx, char *why, size_t size);
/* The same of some of them, in the order of bus: limit at most, behind the bus after (""), and of each the days
 * from that day on. */
int pw_store_heard_some(struct pw_store *s, const char *after, unsigned limit, int32_t from,
		int (*take)(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days),
		void *ctx, char *why, size_t size);
/* Buses with a key that were heard of at since_ms or later, in the order of bus. */
int pw_store_heard_since(struct pw_store *s, int64_t since_ms,
		int (*take)(void *ctx, const char *bus, int64_t heard_ms), void *ctx, char *why,
		size_t size);

struct pw_figures {
	uint64_t buses, branches, records, seals, sweeps, missed, doubtful, matters, open;
};
int pw_store_figures(struct pw_store *s, struct pw_figures *f, char *why, size_t size);

#endif
