/* SPDX-License-Identifier: Apache-2.0 */
/* journal_internal.h - what the files of the journal share. All errors as journal.h has them. */
#ifndef POSTWALK_JOURNAL_INTERNAL_H
#define POSTWALK_JOURNAL_INTERNAL_H

#include <sqlite3.h>

#include "record_internal.h"

struct pw_journal {
	sqlite3 *db;
	sqlite3_stmt *read, *read_seal, *add, *add_seal, *keep;
	char *path;
	char bus[PW_NAME_MAX], epoch[17];
	uint64_t next_read, next_seal; /* where a statement under way goes on; 0: none is */
	/* kept for a writer */
	uint64_t seq;    /* of the last record; 0: none */
	uint64_t sealed; /* of the last seal */
	uint64_t pruned; /* of the last record that was dropped */
	char hash[65];
	bool had_log;    /* when it was opened */
};

/* What an alert is, and the receipt of one, in words of SQL: as the indexes on them have it. Somebody's own
 * words cannot have these, since a quotation mark in them is written with a backslash. */
#define PW_SQL_ALERT                                                                           \
	"kind IN ('rung', 'found') AND (instr(body, '\"notify\":true') > 0"                    \
	" OR instr(body, '\"what\":\"child\"') > 0)"
#define PW_SQL_ALERTED "kind = 'receipt' AND substr(body, 1, 9) = '{\"alert\":'"
#define PW_SQL_ALERTED_SEQ "CAST(substr(body, 10) AS INTEGER)"

/* -2, and why begins with the path. */
__attribute__((format(printf, 4, 5)))
int pw_journal_refuse(struct pw_journal *j, char *why, size_t size, const char *format, ...);
/* The connection's last error in words. -2 when it says that the file is damaged, else -1. */
int pw_journal_failed(struct pw_journal *j, char *why, size_t size);
int pw_journal_run(struct pw_journal *j, const char *sql, char *why, size_t size);
/* Once: nothing is done where *out is a statement already. */
int pw_journal_prepare(struct pw_journal *j, const char *sql, sqlite3_stmt **out, char *why,
		       size_t size);
/* Steps a statement that gives no row, and makes it ready again. */
int pw_journal_finish(struct pw_journal *j, sqlite3_stmt *statement, char *why, size_t size);
/* The first column of the first row as text (empty without a row). */
int pw_journal_ask(struct pw_journal *j, const char *sql, char *answer, size_t length, char *why,
		   size_t size);

#endif
