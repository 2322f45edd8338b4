/* SPDX-License-Identifier: Apache-2.0 */
/*
 * day.h - a school bus's day, made of scenarios, journaled moment by moment while everything that
 * reaches the disk is logged; and what the journal held at each commit.
 */
#ifndef POSTWALK_TEST_DAY_H
#define POSTWALK_TEST_DAY_H

#include "disk.h"
#include "faults/play.h"

/* A commit: the last record in it, when it was made, and the state kept with it as text. */
struct day_batch {
	uint64_t seq;
	int64_t mono_ms;
	char *state;
};

struct day {
	char base[64], trace[96]; /* a folder of its own, and the day in it as a trace */
	struct play *play;
	struct pw_trace_line *line;
	size_t lines;
	struct day_batch *batch;  /* by number; 0: before the first */
	uint64_t batches;         /* the last number */
	char (*hash)[65];         /* of record seq */
	uint64_t records;
	unsigned sweeps, cuts;    /* of power, in the trace */
	size_t in_order;          /* the log's length before the orderly stop at its end */
};

/* Plays scenarios in a row, that many times, in one journal: those of a day, or others. Ends the
 * program when what it logged is not what the folder holds. */
struct day *day_live(unsigned days);
struct day *day_live_of(const char *const scenario[], size_t count, unsigned times);
void day_free(struct day *d);

/* One line of a trace, without its end. */
void day_line_text(const struct pw_policy *p, const struct pw_trace_line *l, char *text,
		   size_t size);

#endif
