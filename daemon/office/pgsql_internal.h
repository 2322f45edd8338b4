/* SPDX-License-Identifier: Apache-2.0 */
/* pgsql_internal.h - what the files of the store in PostgreSQL share. Errors as store.h has
 * them. */
#ifndef POSTWALK_PGSQL_INTERNAL_H
#define POSTWALK_PGSQL_INTERNAL_H

#include <libpq-fe.h>

#include "store_internal.h"

/* Rows that were added in this transaction, as COPY's binary format has them. They are sent at
 * its commit all at once, or when they are asked for. What was sent after a mark that is undone
 * is sent again. */
struct pw_pgsql_rows {
	char *rows;
	size_t room;
	struct pw_pgsql_part { size_t length, sent; } now, at_mark;
};

struct pw_pgsql_store {
	struct pw_store store;
	PGconn *link;
	char *where;
	bool auditor, prepared[PW_QUESTIONS];
	unsigned char bytes[PW_CELLS_MAX][PW_CELL_HEX_MAX]; /* of arguments: hex and numbers */
	struct pw_pgsql_rows waiting[PW_TABLES];
	char *made[PW_MADE_KEPT]; /* texts of those that are ready as m0, m1 ... */
	unsigned made_next;
};

/* -- pgsql_link.c ------------------------------------------------------------------------------ */

/* The last error in words; result may be NULL. -1, or -2 where the same would come the next
 * time. */
int pw_pgsql_failed(const struct pw_pgsql_store *s, const PGresult *result, char *why, size_t size);
/* Clears the result. 0, or what failed. ended (may be NULL): what its command must have come to. */
int pw_pgsql_finish(const struct pw_pgsql_store *s, PGresult *result, const char *ended, char *why,
		    size_t size);
int pw_pgsql_run(const struct pw_pgsql_store *s, const char *sql, char *why, size_t size);
/* Connects where there is no connection. Within a transaction there is the one with which it
 * began, or none. */
int pw_pgsql_link(struct pw_pgsql_store *s, char *why, size_t size);
void pw_pgsql_forget_made(struct pw_pgsql_store *s);

/* -- pgsql_rows.c ------------------------------------------------------------------------------ */

int pw_pgsql_rows_add(struct pw_pgsql_rows *w, const char *types, const struct pw_cell *cells,
		      char *why, size_t size);
int pw_pgsql_rows_send(struct pw_pgsql_store *s, char *why, size_t size);
/* before the server's own */
int pw_pgsql_rows_mark(struct pw_pgsql_store *s, char *why, size_t size);
void pw_pgsql_rows_undo(struct pw_pgsql_store *s);
void pw_pgsql_rows_forget(struct pw_pgsql_store *s);

#endif
