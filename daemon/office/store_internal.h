/* SPDX-License-Identifier: Apache-2.0 */
/*
 * store_internal.h - what stands between the front door of the store and SQLite or PostgreSQL.
 *
 * The front door (store.c and its like) knows what a row means and no database. A database knows
 * how to ask and to add, and no row. The statements that both understand are in statements.c, the
 * schemas in schema/; only what one of them alone can do is in store_sqlite.c and store_pgsql.c.
 */
#ifndef POSTWALK_STORE_INTERNAL_H
#define POSTWALK_STORE_INTERNAL_H

#include "postwalk/store.h"
#include "postwalk/text.h"

/* -- cells: one value of one row --------------------------------------------------------------- */

enum pw_cell_kind {
	PW_CELL_NONE, /* NULL: what a zeroed cell is */
	PW_CELL_NUMBER,
	PW_CELL_TEXT,  /* on the way out ended by a zero */
	PW_CELL_BYTES,
	PW_CELL_HEX   /* on the way in alone: hex digits, kept as half as many bytes */
};
struct pw_cell {
	enum pw_cell_kind kind;
	int64_t number;
	const void *bytes; /* lives as long as what it was made of, or until the next row */
	size_t length;     /* of bytes */
};
#define PW_CELLS_MAX 40   /* in a row, and arguments of a statement */
#define PW_CELL_HEX_MAX 64 /* bytes that hex digits make */

struct pw_cell pw_cell_number(int64_t number);
struct pw_cell pw_cell_time(int64_t ms); /* PW_NO_TIME: NULL */
struct pw_cell pw_cell_text(const char *text);
struct pw_cell pw_cell_bytes(const void *bytes, size_t length);
struct pw_cell pw_cell_hex(const char *hex); /* "": no bytes */
/* Out of a HEX cell: its bytes. How many, or -1: no such digits, or more than PW_CELL_HEX_MAX. */
int pw_cell_unhex(const struct pw_cell *cell, unsigned char bytes[PW_CELL_HEX_MAX]);
int pw_cell_no_hex(const struct pw_cell *cell, char *why, size_t size); /* -2, said */
/* Back. NULL is "", and what is longer is cut off. */
void pw_cell_get_text(const struct pw_cell *cell, char *text, size_t size);
void pw_cell_get_hex(const struct pw_cell *cell, char *hex, size_t size);
int64_t pw_cell_get_time(const struct pw_cell *cell); /* NULL: PW_NO_TIME */

bool pw_is_utf8(const char *text); /* RFC 3629 */

/* Findings by their names, spaces between: their bits would move with a new one among them. */
#define PW_FINDINGS_TEXT_MAX 512
void pw_findings_text(uint32_t findings, char text[PW_FINDINGS_TEXT_MAX]);
uint32_t pw_findings_read(const char *text); /* those that this program knows */

/* -- statements.c ------------------------------------------------------------------------------ */

enum pw_question {
	PW_Q_NONE,
	PW_Q_BUS, PW_Q_BUS_PUT, PW_Q_BUS_HEARD, PW_Q_BUS_DAY, PW_Q_HEARD,
	PW_Q_HEARD_SOME, PW_Q_HEARD_SINCE,
	PW_Q_CODE_PUT, PW_Q_CODE_TAKE, PW_Q_KEY_PUT, PW_Q_KEYS, PW_Q_KEYS_WAITING,
	PW_Q_BRANCHES, PW_Q_BRANCHES_BUS, PW_Q_BRANCHES_EPOCH, PW_Q_BRANCH, PW_Q_BRANCH_BEGIN,
	PW_Q_BRANCH_MOVE, PW_Q_HASH, PW_Q_READ, PW_Q_STAND, PW_Q_STANDINGS,
	PW_Q_STAND_NONE,
	PW_Q_SWEEPS, PW_Q_SWEEPS_BAD, PW_Q_SWEEPS_CAME, PW_Q_SWEEPS_CAME_BAD,
	PW_Q_MATTER_PUT, PW_Q_MATTER_FIND, PW_Q_MATTER, PW_Q_MATTERS, PW_Q_MATTERS_OPEN,
	PW_Q_MATTER_TAKE, PW_Q_TELLING_PUT, PW_Q_TELLING, PW_Q_TELLINGS,
	PW_Q_LOG, PW_Q_LOGS, PW_Q_LOGS_BACK, PW_Q_TOKENS, PW_Q_FIGURES,
	PW_Q_ACCOUNT_PUT, PW_Q_ACCOUNT, PW_Q_ACCOUNTS, PW_Q_TOKEN_PUT, PW_Q_TOKEN,
	PW_Q_WARMTH_PUT, PW_Q_WARMTHS, PW_Q_HOLD_PUT, PW_Q_HOLD_LIFT, PW_Q_HOLDS, PW_Q_PURGES,
	PW_Q_PURGE_OPEN, PW_Q_PURGE_BEGIN, PW_Q_PURGE_SHUT, PW_Q_PURGE_DROP, PW_Q_PURGE_KEEP,
	PW_Q_PURGING_ON, PW_Q_PURGING_OFF, PW_Q_PURGE_BRANCH, PW_Q_PURGE_FIRST_SEAL,
	PW_Q_PURGE_LAST_SEAL, PW_Q_PURGE_YOUNG, PW_Q_PURGE_HELD, PW_Q_PURGE_SEALS,
	PW_Q_PURGE_RECORDS, PW_Q_PURGE_MOVE, PW_Q_PURGE_ROWS_FIRST, PW_Q_PURGE_ROWS,
	PW_Q_PURGE_ROWS_HELD, PW_Q_PURGE_PLAN, PW_Q_PURGE_SWEEP, PW_Q_PURGE_SWEEPS_LESS,
	PW_Q_PURGE_SIGNERS, PW_Q_PURGE_FINDING, PW_Q_PURGE_WARMTH_FIRST, PW_Q_PURGE_WARMTH,
	PW_Q_PURGE_WARMTH_HELD, PW_Q_PURGE_VIEWS_FIRST, PW_Q_PURGE_VIEWS,
	PW_Q_PURGE_VIEWS_HELD,
	PW_Q_LINES_BOUNCED, PW_Q_LINES_FAILED, PW_Q_POLICY, PW_Q_POLICIES,
	PW_Q_DIRTY, PW_Q_DIRTY_NEXT, PW_Q_DIRTY_BUS, PW_Q_DIRTY_DONE, PW_Q_DIRTY_DUE,
	PW_Q_DIRTY_SILENT, PW_Q_DIRTY_NEAR, PW_Q_DIRTY_WARMED,
	PW_Q_AWAKE, PW_Q_AWAKES, PW_Q_SIGNER, PW_Q_SIGNERS, PW_Q_LINE, PW_Q_LINES,
	PW_Q_IMPORT, PW_Q_IMPORTS, PW_Q_PLAN_PUT, PW_Q_PLANS_END,
	PW_Q_BUSY, PW_Q_CORRECT, PW_Q_CORRECTIONS, PW_Q_CORRECTIONS_DAYS,
	PW_Q_STOPS, PW_Q_STOPS_CAME, PW_Q_STRAYS, PW_Q_WARMEST,
	PW_Q_ROW_RUN, PW_Q_ROW_SWEEP, PW_Q_ROWS_DAYS, PW_Q_ROWS_BUS, PW_Q_ROWS_DROP,
	PW_Q_ROWS_PURGED,
	PW_Q_TALLY, PW_Q_TALLIES, PW_Q_TALLIES_SPAN, PW_Q_TALLIES_NAME, PW_Q_SPREAD_ADD,
	PW_Q_SPREAD,
	PW_QUESTIONS
};
/* args: a letter for each of $1, $2 ...: i number, t text, b bytes. In the text $1 comes before
 * $2, and so on: SQLite counts them as they come. reads_added: it looks into the tables below. */
struct pw_statement { const char *args, *sql; bool reads_added; };
#define PW_MADE_KEPT 32 /* statements of ask_made that a database keeps ready */
extern const struct pw_statement pw_statement[PW_QUESTIONS];

/* Of a row, as filter.c and store_rows.c have it. */
#define PW_OUTCOME_COLUMNS                                                                    \
	"bus, day, nth, at_ms, run, route, place, driver, begin_ms, end_ms, result, why,"     \
	" reason, stops, off_s, epoch, branch, seq, clock_ok, verdict, findings, refused,"    \
	" rung, key_off_ms, walk_ms, return_ms, late_ms, closed_ms, unchecked_ms,"            \
	" warmest_c10, corrected, corrected_ms, corrected_by, corrected_words, stands, due_ms"

/* Tables that rows are added to, many at a time. Types: i 8, n 4, s 2 bytes of number;
 * t, b. */
enum pw_store_table { PW_T_RECORD, PW_T_SEAL, PW_T_SWEEP, PW_T_OUTCOME, PW_T_FINDING, PW_TABLES };
struct pw_columns { const char *table, *names, *types; };
extern const struct pw_columns pw_columns[PW_TABLES];

/* Migrations, from number 1 on; ended by a NULL. */
extern const char *const pw_sqlite_schema[], *const pw_pgsql_schema[];

/* The steps of a transaction. */
enum pw_step { PW_BEGIN = 1, PW_COMMIT, PW_ROLLBACK, PW_MARK, PW_MARK_KEEP, PW_MARK_UNDO,
	       PW_STEPS };
extern const char *const pw_step_sql[PW_STEPS];

/* -- a database -------------------------------------------------------------------------------- */

/* not 0: no more rows, and that is given back */
typedef int pw_row_taker(void *ctx, const struct pw_cell *cells);

struct pw_database {
	const char *name;
	int (*open)(const char *where, bool auditor, struct pw_store **s, char *why, size_t size);
	void (*close)(struct pw_store *s);
	int (*step)(struct pw_store *s, enum pw_step step, char *why, size_t size);
	/* Rows go to take; changed (may be NULL): how many rows were given, or changed. */
	int (*ask)(struct pw_store *s, enum pw_question q, const struct pw_cell *args,
		   pw_row_taker *take, void *ctx, uint64_t *changed, char *why, size_t size);
	/* The same of a statement that is made as it is needed. Those that were asked last are
	 * kept ready, by their text. */
	int (*ask_made)(struct pw_store *s, const struct pw_statement *made,
			const struct pw_cell *args, pw_row_taker *take, void *ctx, char *why,
			size_t size);
	/* Row i by fill, one cell for each column, which live until the next row. It may be that
	 * they are only sent at the commit, or when they are asked for. */
	int (*add)(struct pw_store *s, enum pw_store_table table, size_t rows,
		   void (*fill)(void *ctx, size_t i, struct pw_cell *cells), void *ctx, char *why,
		   size_t size);
	/* A copy of all that is committed, as a file of SQLite. */
	int (*copy)(struct pw_store *s, const char *path, char *why, size_t size);
};
extern const struct pw_database pw_sqlite, pw_pgsql;

/* Each database's own struct begins with it. */
struct pw_store {
	const struct pw_database *database;
	bool begun; /* a transaction stands */
};

/* -- store.c ----------------------------------------------------------------------------------- */

int pw_store_ask(struct pw_store *s, enum pw_question q, const struct pw_cell *args,
		 pw_row_taker *take, void *ctx,
	   char *why, size_t size);
/* A statement that changes rows. How many, or -1, -2. */
int pw_store_change(struct pw_store *s, enum pw_question q, const struct pw_cell *args, char *why,
		    size_t size);
/* At most one row is wanted. 1: given to take; 0: there is none. */
int pw_store_ask_one(struct pw_store *s, enum pw_question q, const struct pw_cell *args,
		     pw_row_taker *take, void *ctx,
	       char *why, size_t size);

#endif
