/* SPDX-License-Identifier: Apache-2.0 */
/* trace_internal.h - from a journal to a trace: which starts, and what is told of them. */
#ifndef POSTWALK_TRACE_INTERNAL_H
#define POSTWALK_TRACE_INTERNAL_H

#include <jansson.h>
#include <stdio.h>

#include "postwalk/journal.h"
#include "tool_internal.h"

struct pw_stretch {
	uint64_t first, last;         /* seq: its first start, the last record */
	uint64_t oldest;              /* the first start of all */
	uint64_t fresh;               /* the last start for which nothing was kept */
	bool policy_waits;            /* the newest policy came after the last start */
	char *policy;                 /* its text */
};

struct pw_item { /* an edge, or an act of service */
	int64_t at_ms;
	uint8_t line, level;
	size_t n; /* as they stand in the journal */
};

struct pw_telling {
	const char *path;
	FILE *out;
	struct pw_policy policy;
	struct pw_record r; /* the one in hand */
	json_t *body;
	uint64_t first, start; /* seq: the stretch's first start, the one in hand */
	int64_t offset_ms, cut_ms, zero_ms;
	bool lost, begun;   /* its clock; its levels have been told */
	uint8_t levels;
	int64_t last_ms, end_ms;
	struct pw_item *item;
	size_t items, room;
};

/* -- trace.c -- */

/* The next record up to seq last into t->r, its body read. 1, 0 at the end, -1. */
int pw_trace_record(struct pw_telling *t, struct pw_journal *j, uint64_t last);
/* PATH: seq N: expected ...; -1. */
int pw_trace_bad(const struct pw_telling *t, const char *expected);
__attribute__((format(printf, 1, 2)))
void pw_trace_warn(const char *format, ...);

/* -- trace_tell.c -- */

enum pw_told { PW_TOLD_LINES = 1, PW_TOLD_RECORDS };

/* The stretch, on t->out. 0, or -1 with a sentence on standard error. */
int pw_trace_tell(struct pw_telling *t, struct pw_journal *j, const struct pw_stretch *s,
		  enum pw_told what);

#endif
