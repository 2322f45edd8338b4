/* SPDX-License-Identifier: Apache-2.0 */
/*
 * warmth.h - temperatures out of a CSV file: columns at, celsius or fahrenheit, and perhaps bus. Pure.
 *
 * at: RFC 3339, or "2026-11-24 07:42" (T for the space, and seconds, if wanted) by the clock of a zone.
 * bus: inside that one; none: outside, at the yard's place. Errors as in runs.h.
 */
#ifndef POSTWALK_OFFICE_WARMTH_H
#define POSTWALK_OFFICE_WARMTH_H

#include "csv.h"
#include "phrases.h"
#include "postwalk/store.h"
#include "zone.h"

#define PW_WARMTHS_MAX 1000000 /* of one file */
#define PW_WARMTH_SOURCE 101   /* with the closing zero */

struct pw_warmth_row {
	char bus[PW_NAME_MAX];
	int64_t at_ms;
	int32_t c10;
	uint32_t line;
};
/* A line that is not taken. */
struct pw_warmth_note {
	uint32_t line;
	enum pw_phrase why;          /* {1}: shown */
	char shown[48];
};
struct pw_warmths {
	size_t rows, notes, rows_room, notes_room;
	struct pw_warmth_row *row;   /* in the order of bus and time; no two of one bus and time */
	struct pw_warmth_note *note; /* in the order of lines */
};
/* 0: what is taken and what not, line by line; -2: it cannot be such a file: nothing is taken; -1. w is to be
 * freed after a 0. */
int pw_warmth_read(FILE *f, const struct pw_zone *zone, struct pw_warmths **w, char *why,
		size_t size);
void pw_warmths_free(struct pw_warmths *w);

/* -- warmth_take.c: into the store -------------------------------------------------------------- */

struct pw_warmth_taking {
	const struct pw_warmths *w;
	const char *source, *who, *file;
	int64_t now_ms;
};
/* For the desk: all of them and a line of the office's log, or nothing. ctx: struct pw_warmth_taking. */
int pw_warmth_take(struct pw_store *s, void *ctx, char *why, size_t size);
/* "Taken: 12. Not taken: 2." and as many of the lines that were not as go into it. */
void pw_warmth_say(enum pw_tongue tongue, const struct pw_warmths *w, size_t lines, FILE *out);
bool pw_warmth_source_ok(const char *source);

#endif
