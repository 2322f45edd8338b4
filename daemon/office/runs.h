/* SPDX-License-Identifier: Apache-2.0 */
/*
 * runs.h - planned runs out of a run sheet or a GTFS feed. docs/runs.md says what they may have.
 *
 * Pure: no store, no network, no thread, no state of the process. Errors: 0; -2: it cannot be so,
 * with one sentence in why; -1: not now (memory, a disk), likewise.
 */
#ifndef POSTWALK_OFFICE_RUNS_H
#define POSTWALK_OFFICE_RUNS_H

#include "csv.h"
#include "postwalk/day.h"
#include "zone.h"

/* -- planned.c: planned runs as a file has them, and what is to be said of its lines --------- */

#define PW_RUNS_MAX 1000000 /* of one file */
#define PW_RUN_TEXT 64
#define PW_RUN_MS_MAX (16 * INT64_C(3600000))

struct pw_run {
	int32_t date;             /* the day it is planned for, by the clock of its zone */
	uint32_t line;
	int64_t begin_ms, end_ms; /* UTC */
	char bus[PW_NAME_MAX];    /* "": of GTFS, not known */
	char driver[PW_CODE_MAX]; /* "": not known */
	char run[PW_RUN_TEXT], route[PW_RUN_TEXT], place[PW_RUN_TEXT], zone[PW_RUN_TEXT];
};
#define PW_ROW_LIST(X)                                                                          \
	X(NO_DAY, no_day) X(NO_TIME, no_time) X(SKIPPED_HOUR, skipped_hour)                     \
	X(DOUBLED_HOUR, doubled_hour) X(NO_ZONE, no_zone) X(NO_BUS, no_bus) X(NO_CODE, no_code) \
	X(NO_TEXT, no_text) X(BACKWARDS, backwards) X(TOO_LONG, too_long)                       \
	X(DUPLICATE, duplicate) X(COLUMNS, columns) X(FREQUENCY, frequency) X(IGNORED, ignored)
enum pw_row_why {
	PW_ROW_NONE,
#define X(up, low) PW_ROW_##up,
	PW_ROW_LIST(X)
#undef X
	PW_ROW_WHYS
};
const char *pw_row_name(enum pw_row_why why);
struct pw_row_note {
	const char *file;         /* of a GTFS feed; "" of a sheet */
	uint32_t line;
	enum pw_row_why why;
	bool taken;               /* and yet the row was taken */
	char words[168];
};
enum pw_day_order { PW_DAY_ISO = 1, PW_DAY_FIRST, PW_MONTH_FIRST };
struct pw_sheet {
	size_t runs, notes, refused;
	struct pw_run *run;       /* in the order of the file; no two of one date, bus and run */
	struct pw_row_note *note; /* by file and line */
	enum pw_csv_encoding encoding;
	char separator;
	enum pw_day_order order;
	size_t run_room, note_room;
	bool broke;               /* memory was short: it is of no use */
};
struct pw_sheet *pw_sheet_new(void); /* NULL: no memory */
void pw_sheet_free(struct pw_sheet *s);
void pw_sheet_add(struct pw_sheet *s, const struct pw_run *run);
__attribute__((format(printf, 6, 7))) void pw_sheet_note(struct pw_sheet *s, const char *file,
	uint32_t line, enum pw_row_why why, bool taken, const char *format, ...);
/* Drops duplicates, saying so, and puts notes in order. 0, -1. */
int pw_sheet_finish(struct pw_sheet *s, const char *file, char *why, size_t size);
/* As much of a cell as can be shown, without controls, whole characters. */
const char *pw_shown(const char *text, char shown[48]);

/* -- sheet.c: a run sheet, docs/runs.md ------------------------------------------------------ */

struct pw_sheet_options {
	const char *zone;         /* of rows that name none */
	bool (*known)(void *ctx, const char *bus); /* NULL: any bus is */
	void *ctx;
};
/* 0: its rows, or notes why not, line by line; -2: it cannot be a run sheet: nothing is taken. */
int pw_sheet_read(FILE *f, const struct pw_sheet_options *o, struct pw_sheet **s, char *why,
		  size_t size);

/* -- tree.c: what is found by its id --------------------------------------------------------- */

struct pw_keyed { char *id; }; /* the first member of what is in a tree; a tree begins as NULL */
void *pw_tree_find(void *const *tree, const char *id); /* NULL: not there */
/* The one that is there, or a new one of that size, all zero but its id. NULL: no memory. */
void *pw_tree_add(void **tree, const char *id, size_t each);
void pw_tree_free(void *tree);

/* -- gtfs.c: GTFS, a folder of an unzipped feed, docs/runs.md -------------------------------- */

#define PW_SPAN_DAYS_MAX 400

struct pw_gtfs_options {
	int32_t from, to;         /* days of service, both of them too */
	const char *buses;        /* a file that says which bus has a block; NULL: none */
	bool (*known)(void *ctx, const char *bus);
	void *ctx;
};
/* As pw_sheet_read: a run is a trip of a day, in the order of days and then of trips.txt. */
int pw_gtfs_read(const char *folder, const struct pw_gtfs_options *o, struct pw_sheet **s,
		 char *why, size_t size);

#endif
