/* SPDX-License-Identifier: Apache-2.0 */
/*
 * csv.h - tables of text (RFC 4180), read and written. Lines are counted from 1. Errors: 0; -2: it
 * cannot be so, with one sentence in why; -1: not now (memory, a disk), likewise.
 */
#ifndef POSTWALK_OFFICE_CSV_H
#define POSTWALK_OFFICE_CSV_H

#include <stdint.h>
#include <stdio.h>

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
