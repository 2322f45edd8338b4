/* SPDX-License-Identifier: Apache-2.0 */
/* tool_internal.h - what the commands of postwalk share. */
#ifndef POSTWALK_TOOL_INTERNAL_H
#define POSTWALK_TOOL_INTERNAL_H

#include "postwalk/core.h"

enum { PW_EXIT_OK = 0, PW_EXIT_NOT = 1, PW_EXIT_BAD = 2 };

/* -- text_file.c: a text, a line at a time ----------------------------------------------------- */

struct pw_text_file;

/* "-" is standard input. what: as in "a trace file"; line_max: the longest line, below 256 KiB.
 * NULL with a sentence on standard error. */
struct pw_text_file *pw_text_file_open(const char *path, const char *what, size_t line_max);
/* The first bytes, before any line is read, and how many there are, 16 at most. -1: said. */
int pw_text_file_peek(struct pw_text_file *f, const char **bytes);
/* The next line, ended by a zero in place of its line end; it lives until the next call. 1; 0 at
 * the end; -1: said on standard error. */
int pw_text_file_next(struct pw_text_file *f, char **line, size_t *length);
const char *pw_text_file_path(const struct pw_text_file *f);  /* as errors name it */
long pw_text_file_number(const struct pw_text_file *f);       /* that line's number */
bool pw_text_file_is_whole(const struct pw_text_file *f);     /* that line had its line end */
void pw_text_file_close(struct pw_text_file *f);

/* -- trace_read.c: a trace file, a line at a time ---------------------------------------------- */

enum pw_power { PW_POWER_SAME = 0, PW_CUT = 1, PW_ON };

struct pw_trace_line {
	int64_t at_ms;
	uint8_t mask, levels;
	enum pw_power power;
	bool clock_lost;
	int service; /* 1 on, 0 off, -1 not said */
	bool end;
};

struct pw_trace;

/* "-" is standard input. NULL with a sentence on standard error. */
struct pw_trace *pw_trace_open(const char *path, const struct pw_policy *p);
/* 1: a line was read; 0: the file is over; -1: it is bad, said on standard error. */
int pw_trace_next(struct pw_trace *t, struct pw_trace_line *line);
long pw_trace_number(const struct pw_trace *t);      /* that line's number */
void pw_trace_close(struct pw_trace *t);

/* -- http_get.c -------------------------------------------------------------------------------- */

/* The document at path of http://HOST[:PORT], 1 MiB at most, waiting 5 s at most for each of
 * connecting and reading. The caller frees it; NULL with why. */
char *pw_http_get(const char *url, const char *path, char *why, size_t size);

/* -- owner.c ----------------------------------------------------------------------------------- */

/* Root writes as the state folder's owner, so that the daemon can read what is written. 0, or -1 with why. */
int pw_act_as_owner(const char *dir, char *why, size_t size);

/* -- commands: argv[0] is the command's name --------------------------------------------------- */

int pw_replay(int argc, char **argv);
int pw_trace(int argc, char **argv);
int pw_bench(int argc, char **argv);
int pw_status(int argc, char **argv);
int pw_export(int argc, char **argv);
int pw_verify(int argc, char **argv);
int pw_journal(int argc, char **argv);
int pw_pin(int argc, char **argv);
int pw_enrol(int argc, char **argv);
int pw_uplink(int argc, char **argv);
int pw_fleet(int argc, char **argv);
int pw_audit(int argc, char **argv);

#endif
