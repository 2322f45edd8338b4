/* SPDX-License-Identifier: Apache-2.0 */
/*
 * audit.h - the rest of a store for who asks: which runs were not walked, and would we know?
 *
 * A row is what became of a planned run or, where no run has it, of a stop (a sweep). Rows are made by the
 * matcher from planned runs and sweeps, of one bus and day at a time, whenever one of them comes; a hand's
 * correction stands beside what was matched and never in its place. Tallies are kept in step with the rows,
 * in the same transaction. Nobody writes rows or tallies but pw_audit_renew.
 *
 * Included by store.h; errors, takers and lives as there. Days are YYYYMMDD by the clock of the office's zone
 * at the key-off, or at the planned end where there is no stop. No name stands anywhere, but codes.
 */
#ifndef POSTWALK_AUDIT_H
#define POSTWALK_AUDIT_H

#include "postwalk/store.h"

struct pw_zone;

#define PW_AUDIT_TEXT 64
#define PW_AUDIT_CODE 16

/* What became of it. not_yet: its window is not over, or its sweep is open. */
#define PW_RESULT_LIST(X)                                                                       \
	X(WALKED, walked) X(LATE, late) X(DOUBTFUL, doubtful) X(MISSED, missed)                 \
	X(NO_RECORD, no_record) X(UNPLANNED, unplanned) X(NOT_YET, not_yet)
enum pw_result {
	PW_RESULT_NONE,
#define X(up, low) PW_RESULT_##up,
	PW_RESULT_LIST(X)
#undef X
	PW_RESULTS
};
const char *pw_result_name(enum pw_result result); /* daemon/office/match.c, as are the next two */
/* Why there is no record of a run: daemon/office/match.h says what each means. */
#define PW_NO_RECORD_LIST(X)                                                                    \
	X(BUS_SILENT, bus_silent) X(NO_KEY_OFF, no_key_off) X(CLOCK_DOUBTFUL, clock_doubtful)   \
	X(OTHER_BUS, other_bus)
enum pw_no_record {
	PW_NO_RECORD_NONE,
#define X(up, low) PW_NO_RECORD_##up,
	PW_NO_RECORD_LIST(X)
#undef X
	PW_NO_RECORDS
};
const char *pw_no_record_name(enum pw_no_record why);
#define PW_REASON_LIST(X) X(ONLY, only) X(NEAREST, nearest) X(TOTAL, total)
enum pw_reason {
	PW_REASON_NONE,
#define X(up, low) PW_REASON_##up,
	PW_REASON_LIST(X)
#undef X
	PW_REASONS
};
const char *pw_reason_name(enum pw_reason reason);

/* -- rows ------------------------------------------------------------------------------------------- */

/* By what a row is known, for good: a run by day and run; else (run "") a sweep by epoch, branch, seq. */
struct pw_audit_key {
	char bus[PW_NAME_MAX];
	int32_t day;
	char run[PW_AUDIT_TEXT];
	char epoch[17];
	uint32_t branch;
	uint64_t seq;
};

struct pw_audit_row {
	struct pw_audit_key key;
	int64_t at_ms;                /* the key-off by the bus's clock, else the planned end */
	char route[PW_AUDIT_TEXT], place[PW_AUDIT_TEXT];
	char driver[PW_AUDIT_CODE];   /* of the run sheet; else of the day's signed report; "" not known */
	int64_t begin_ms, end_ms;     /* planned; PW_NO_TIME */
	enum pw_result result;
	enum pw_no_record why;
	enum pw_reason reason;
	uint32_t stops;               /* within the run's window */
	int32_t off_s;                /* key-off after (less: before) the planned end */
	/* Of its sweep; seq 0: there is none. */
	char epoch[17];
	uint32_t branch;
	uint64_t seq;
	bool clock_ok;
	enum pw_verdict verdict;
	uint32_t findings, refused;
	char rung[PW_NAME_MAX];
	int64_t key_off_ms, walk_ms, return_ms, late_ms, closed_ms;
	/* From key-off to the press that was accepted; missed: to when it closed, which is when somebody was at
	 * the bus again by the key. PW_NO_TIME: no sweep. Time in which nobody is known to have looked. */
	int64_t unchecked_ms;
	int32_t warmest_c10;          /* highest known temperature meanwhile, 0.1 degree Celsius; INT32_MIN: none */
	/* The newest correction, if any (corrected NONE: none). */
	enum pw_result corrected;
	int64_t corrected_ms;
	char corrected_by[PW_AUDIT_CODE], corrected_words[164];
};

/* "" and 0: any. Bit sets: 1 << enum; any of them. */
struct pw_audit_filter {
	char bus[PW_NAME_MAX], driver[PW_AUDIT_CODE], route[PW_AUDIT_TEXT], rung[PW_NAME_MAX];
	uint32_t results, verdicts, findings; /* results: as corrected, else as matched */
	int32_t from, to;             /* days, both of them too */
	bool longest;                 /* missed sweeps alone, by time unchecked, the longest first; else the newest first */
};
#define PW_AUDIT_PAGE 100
/* A page of rows, limit at most; behind: the last row that was given, or NULL. Any filter over ten thousand
 * buses and a year answers from an index: a page in milliseconds. */
int pw_audit_rows(struct pw_store *s, const struct pw_audit_filter *f,
		const struct pw_audit_row *behind, unsigned limit,
		int (*take)(void *ctx, const struct pw_audit_row *row), void *ctx, char *why,
		size_t size);
/* 1: there it is; 0: there is none. */
int pw_audit_row(struct pw_store *s, const struct pw_audit_key *key, struct pw_audit_row *row,
		char *why, size_t size);
/* All rows of the filter, in the order of bus, day and time, however many: for files. */
int pw_audit_each(struct pw_store *s, const struct pw_audit_filter *f,
		int (*take)(void *ctx, const struct pw_audit_row *row), void *ctx, char *why,
		size_t size);

/* -- tallies ---------------------------------------------------------------------------------------- */

/* By what they are counted. ALL: name "". HOUR: "06"; WEEKDAY: "1" Monday - "7"; RUNG, FINDING, RESULT: its name. */
enum pw_tally_by { PW_BY_ALL = 1, PW_BY_BUS, PW_BY_DRIVER, PW_BY_ROUTE, PW_BY_HOUR, PW_BY_WEEKDAY, PW_BY_FINDING, PW_BY_RUNG };
/* Of a day (YYYYMMDD; ALL, BUS alone), a month (YYYYMM00), or a school year (YYYY0000, from 1 July on). */
struct pw_tally {
	char name[PW_AUDIT_TEXT];
	int32_t span;
	uint64_t runs;                /* planned */
	uint64_t sweeps;              /* closed */
	uint64_t walked, late, doubtful, missed; /* of sweeps: by verdict */
	uint64_t no_record, silent;   /* of runs, as corrected; silent: bus_silent among them */
	uint64_t unplanned, corrected, refused;
	int64_t unchecked_ms;         /* of missed ones */
};
/* From span from to span to (both of one length); in the order of name, span. bad: only those with a missed,
 * doubtful or no_record. */
int pw_audit_tallies(struct pw_store *s, enum pw_tally_by by, const char *name, int32_t from,
		int32_t to, int (*take)(void *ctx, const struct pw_tally *t), void *ctx, char *why,
		size_t size);
int32_t pw_span_month(int32_t day);
int32_t pw_span_school_year(int32_t day);

/* Times from key-off to press and to leaving, as counts of whole seconds, of one bus ("": all) and month or
 * school year. what: 1 press, 2 leaving. Beyond 3600 s: as 3600. */
int pw_audit_spread(struct pw_store *s, const char *bus, int what, int32_t from, int32_t to,
		int (*take)(void *ctx, uint32_t second, uint64_t count), void *ctx, char *why,
		size_t size);

/* What a bus's lines did on a day. bounces: edges less than 50 ms after the one before; chatters: faults
 * chattering told; disagreements: faults of two contacts that disagree. In the order of line, day. */
struct pw_line_day {
	char bus[PW_NAME_MAX], line[PW_NAME_MAX];
	int32_t day;
	uint32_t edges, bounces, chatters, disagreements, shortest_ms;
};
int pw_audit_lines(struct pw_store *s, const char *bus, int32_t from, int32_t to,
		int (*take)(void *ctx, const struct pw_line_day *d), void *ctx, char *why,
		size_t size);
/* The same of all buses, for who looks for the worst of them: of a day the so many that bounced most, then the
 * so many that chattered or disagreed most (a bus and line may come twice). From an index. */
int pw_audit_lines_worst(struct pw_store *s, int32_t day, unsigned each,
		int (*take)(void *ctx, const struct pw_line_day *d), void *ctx, char *why,
		size_t size);
/* The policy that the bus recorded last, as text. 1: there it is, cut to room; 0: none. */
int pw_audit_policy(struct pw_store *s, const char *bus, char *text, size_t room, char *why,
		size_t size);

#include "postwalk/people.h"
#include "postwalk/plans.h"

#endif
