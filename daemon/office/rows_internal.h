/* SPDX-License-Identifier: Apache-2.0 */
/* rows_internal.h - what those share that read rows and those that make them. */
#ifndef POSTWALK_ROWS_INTERNAL_H
#define POSTWALK_ROWS_INTERNAL_H

#include "store_internal.h"

struct pw_zone;

/* -- filter.c: the SQL of a filter, made of fragments ------------------------------------------ */

#define PW_FILTER_SQL_MAX 16384
struct pw_filter_sql {
	char sql[PW_FILTER_SQL_MAX];
	char types[PW_CELLS_MAX + 1];
	struct pw_cell args[PW_CELLS_MAX]; /* live as long as the filter */
	struct pw_statement statement;     /* of the above */
};
/* Where a page goes on: behind what was given. */
struct pw_filter_from {
	int64_t at_ms;  /* at, or unchecked */
	const char *bus;
	int32_t day, nth;
};
/* from NULL: the beginning. */
void pw_filter_page(const struct pw_audit_filter *f, const struct pw_filter_from *from,
		    unsigned limit, struct pw_filter_sql *made);
/* In the order of day and time, of one bus, behind day and nth. */
void pw_filter_bus(const struct pw_audit_filter *f, const char *bus, int32_t day, int32_t nth,
		   unsigned limit, struct pw_filter_sql *made);

/* -- store_rows.c ------------------------------------------------------------------------------ */

/* Cells as PW_OUTCOME_COLUMNS has them; findings: room that lives as long as they do. */
void pw_outcome_fill(const struct pw_audit_row *r, int32_t nth, char findings[PW_FINDINGS_TEXT_MAX],
		     struct pw_cell *cells);
int32_t pw_outcome_get(const struct pw_cell *cells, struct pw_audit_row *r); /* nth */
enum pw_result pw_row_stands(const struct pw_audit_row *r); /* as corrected, else as matched */

/* -- store_tallies.c: what rows add up to ------------------------------------------------------ */

struct pw_tallying; /* changes that are not in the store yet */
struct pw_tallying *pw_tallying_new(const struct pw_zone *zone); /* NULL: no memory */
void pw_tallying_free(struct pw_tallying *t);
/* sign: 1 a row that comes, -1 one that goes. False: no memory. */
bool pw_tallying_add(struct pw_tallying *t, const struct pw_audit_row *r, int sign);
size_t pw_tallying_count(const struct pw_tallying *t);
/* Adds all of it to the store, and begins anew. */
int pw_tallying_keep(struct pw_tallying *t, struct pw_store *s, char *why, size_t size);

/* -- store_plans.c ----------------------------------------------------------------------------- */

/* That bus and day, as days since 1970-01-01, are to be made anew. */
int pw_rows_dirty(struct pw_store *s, const char *bus, int32_t days, char *why, size_t size);
void pw_plan_get(const struct pw_cell *cells, struct pw_plan *plan);
void pw_correction_get(const struct pw_cell *cells, struct pw_correction *c);

/* -- store_lines.c: what records say of lines, of when the watch was at work, of who signed ---- */

/* And marks what they may change as dirty. Called by pw_store_put. */
int pw_rows_note(struct pw_store *s, const struct pw_put *put, char *why, size_t size);
/* A temperature came (bus "": outside): missed sweeps of that time are to be made anew. */
int pw_rows_warmed(struct pw_store *s, const char *bus, int64_t at_ms, char *why, size_t size);

#endif
