/* SPDX-License-Identifier: Apache-2.0 */
/*
 * runs.h - planned runs: time zones, tables of text, run sheets, GTFS, and runs matched with stops.
 *
 * Pure: no store, no network, no thread, no state of the process. What is opened is not changed by
 * being used, so any number of threads may. Errors: 0; -2: it cannot be so, with one sentence in
 * why; -1: not now (memory, a disk), likewise.
 */
#ifndef POSTWALK_RUNS_H
#define POSTWALK_RUNS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

/* -- zone.c: a time zone by name, whatever TZ is --------------------------------------------- */

#define PW_ZONE_DIR "/usr/share/zoneinfo"
#define PW_DAY_MS INT64_C(86400000)

struct pw_zone;
struct pw_local {
	int32_t date;             /* YYYYMMDD, Gregorian */
	int32_t ms;               /* of the day by the clock on the wall, 0 - 86399999 */
	int32_t offset_s;         /* local less UTC */
	bool summer;
	const char *abbreviation; /* lives as long as the zone */
};
/* "America/Denver". "": the machine's (/etc/localtime; UTC where there is none). */
int pw_zone_open(const char *name, struct pw_zone **z, char *why, size_t size);
/* The text of a TZif file, RFC 9636, of any version; without leap seconds. */
int pw_zone_read(const void *file, size_t length, struct pw_zone **z, char *why, size_t size);
void pw_zone_free(struct pw_zone *z);
/* Years 1 - 9999; a moment outside is taken as the nearest inside. */
void pw_zone_local(const struct pw_zone *z, int64_t utc_ms, struct pw_local *local);
/* How many moments had that date and time: 0 the clocks skipped it, 1, 2 they went back over it. */
int pw_zone_moments(const struct pw_zone *z, int32_t date, int32_t ms, int64_t utc_ms[2]);

/* -- date.c: days as YYYYMMDD and as days since 1970-01-01 ----------------------------------- */

bool pw_date_ok(int32_t date);      /* there is such a day */
int32_t pw_date_days(int32_t date);
int32_t pw_date_of(int32_t days);
int pw_date_weekday(int32_t days);  /* 1 Monday - 7 Sunday, ISO 8601 */

/* -- csv.c: RFC 4180; a line of a file is counted from 1 ------------------------------------- */

#define PW_CSV_COLUMNS_MAX 256

/* What is not UTF-8 is read as Windows-1252 (Latin-1 is a part of it). */
enum pw_csv_encoding { PW_CSV_UTF8 = 1, PW_CSV_UTF8_MARK, PW_CSV_WINDOWS_1252 };
struct pw_csv;
struct pw_csv_row {
	uint32_t line;            /* on which it begins */
	size_t count;
	const char *const *field; /* UTF-8; all of it lives until the next is read */
};
/* Reads the whole file once, to know its encoding, and from its first line whether comma, semicolon
 * or tab is between fields. f stays the caller's and can be sought in; it may be fmemopen's. */
int pw_csv_open(FILE *f, struct pw_csv **csv, char *why, size_t size);
void pw_csv_close(struct pw_csv *csv);
enum pw_csv_encoding pw_csv_encoding(const struct pw_csv *csv);
char pw_csv_separator(const struct pw_csv *csv);
/* 1: a row; 0: the end. Blank lines are passed over. why begins with the line. */
int pw_csv_next(struct pw_csv *csv, struct pw_csv_row *row, char *why, size_t size);
/* Commas, CRLF. What a spreadsheet would take for a formula has ' before it; numbers are as they
 * are. Whether it was written: ferror(f). */
void pw_csv_write(FILE *f, size_t count, const char *const *field);

#endif
