/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What the office has of a journal, by the receipts that stand in it. Asked by the indexes, so that it
 * costs as much as there are alerts and receipts since the last receipt, however long the journal is.
 */
#include "delivered_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "journal_internal.h"

/* Sealed, and neither receipted by itself nor with all before it (?1). */
#define WAITING                                                                                \
	PW_SQL_ALERT " AND seq > ?1 AND EXISTS (SELECT 1 FROM seal WHERE seal.seq = record.seq)"   \
	" AND NOT EXISTS (SELECT 1 FROM record AS r WHERE r.kind = 'receipt'"                  \
	" AND substr(r.body, 1, 9) = '{\"alert\":'"                                            \
	" AND CAST(substr(r.body, 10) AS INTEGER) = record.seq)"

/* The first row of a statement that takes a number: 1 with the row under way, 0 without one. */
static int first_row(struct pw_journal *j, const char *sql, uint64_t number, sqlite3_stmt **row, char *why,
		     size_t size)
{
	int code, result;

	*row = NULL;
	if ((result = pw_journal_prepare(j, sql, row, why, size)) < 0)
		return result;
	sqlite3_bind_int64(*row, 1, (int64_t)number);
	code = sqlite3_step(*row);
	if (code == SQLITE_ROW)
		return 1;
	result = code == SQLITE_DONE ? 0 : pw_journal_failed(j, why, size);
	sqlite3_finalize(*row);
	*row = NULL;
	return result;
}

static int ask_number(struct pw_journal *j, const char *sql, uint64_t from, uint64_t *number, char *why,
		      size_t size)
{
	sqlite3_stmt *row;
	int result = first_row(j, sql, from, &row, why, size);

	*number = result == 1 ? (uint64_t)sqlite3_column_int64(row, 0) : 0;
	sqlite3_finalize(row);
	return result;
}

/* The body of the first row. 1: it is a receipt's; 0: there is none. */
static int ask_receipt(struct pw_journal *j, const char *sql, uint64_t number, struct pw_receipt *r,
		       char *why, size_t size)
{
	sqlite3_stmt *row;
	const char *body;
	int result = first_row(j, sql, number, &row, why, size);

	memset(r, 0, sizeof(*r));
	memcpy(r->bus, j->bus, sizeof(r->bus));
	memcpy(r->epoch, j->epoch, sizeof(r->epoch));
	body = result == 1 ? (const char *)sqlite3_column_text(row, 0) : NULL;
	if (result == 1 && (body == NULL || pw_receipt_body_read(body, r) < 0))
		result = 0;
	sqlite3_finalize(row);
	return result;
}

int pw_journal_receipt(struct pw_journal *j, struct pw_receipt *r, char *why, size_t size)
{
	return ask_receipt(j, "SELECT body FROM record WHERE kind = 'receipt'"
			      " AND substr(body, 1, 7) = '{\"seq\":' AND seq >= ?1 ORDER BY seq DESC LIMIT 1",
			   0, r, why, size);
}

int pw_journal_is_alert(struct pw_journal *j, uint64_t seq, char *why, size_t size)
{
	uint64_t found;

	return ask_number(j, "SELECT seq FROM record WHERE " PW_SQL_ALERT " AND seq = ?1", seq, &found, why,
			  size);
}

/* Of all up to there the office has a receipt. */
static int receipted(struct pw_journal *j, struct pw_receipt *r, char *why, size_t size)
{
	int result = pw_journal_receipt(j, r, why, size);

	if (result == 0)
		r->seq = 0;
	return result < 0 ? result : 0;
}

int pw_journal_alert(struct pw_journal *j, uint64_t from, uint64_t *seq, char *why, size_t size)
{
	struct pw_receipt r;
	int result = receipted(j, &r, why, size);

	*seq = 0;
	if (result < 0 || from > INT64_MAX)
		return result;
	if (from > 0 && from - 1 > r.seq)
		r.seq = from - 1;
	return ask_number(j, "SELECT seq FROM record WHERE " WAITING " ORDER BY seq LIMIT 1", r.seq, seq, why,
			  size);
}

/* -- a child that was found -------------------------------------------------------------------- */

/* Since when the office has that record: by its own receipt, or the first of those that cover it. */
static int since(struct pw_journal *j, uint64_t seq, int64_t *time_ms, char *why, size_t size)
{
	struct pw_receipt r;
	int result = ask_receipt(j, "SELECT body FROM record WHERE " PW_SQL_ALERTED " AND "
				    PW_SQL_ALERTED_SEQ " = ?1 LIMIT 1", seq, &r, why, size);

	if (result == 0)
		result = ask_receipt(j, "SELECT body FROM record WHERE kind = 'receipt' AND seq > ?1"
					" AND substr(body, 1, 7) = '{\"seq\":'"
					" AND CAST(substr(body, 8) AS INTEGER) >= ?1 ORDER BY seq LIMIT 1",
				     seq, &r, why, size);
	*time_ms = r.time_ms;
	return result;
}

static int find_child(struct pw_journal *j, struct pw_delivery *d, char *why, size_t size)
{
	sqlite3_stmt *row;
	uint64_t seq;
	int64_t wall_ms;
	int result = first_row(j, "SELECT seq, wall_ms FROM record WHERE " PW_SQL_ALERT " AND kind = 'found'"
				  " AND seq >= ?1 ORDER BY seq DESC LIMIT 1", 0, &row, why, size);

	if (result != 1)
		return result;
	seq = (uint64_t)sqlite3_column_int64(row, 0);
	wall_ms = sqlite3_column_int64(row, 1);
	sqlite3_finalize(row);
	result = since(j, seq, &d->child_ms, why, size);
	d->child_wall_ms = result == 1 ? wall_ms : 0;
	return result;
}

int pw_journal_delivered(struct pw_journal *j, struct pw_delivery *d, char *why, size_t size)
{
	struct pw_receipt chain, alert;
	uint64_t alerts;
	int result;

	if ((result = receipted(j, &chain, why, size)) < 0
	    || (result = ask_receipt(j, "SELECT body FROM record WHERE " PW_SQL_ALERTED
					" AND seq >= ?1 ORDER BY seq DESC LIMIT 1", 0, &alert, why, size)) < 0)
		return result;
	d->alert_ms = result == 1 ? alert.time_ms : PW_NO_TIME;
	if ((result = ask_number(j, "SELECT count(*) FROM record WHERE " WAITING, chain.seq, &alerts, why,
				 size)) < 0)
		return result;
	d->alerts = (uint32_t)alerts;
	d->receipted = chain.seq;
	d->receipted_ms = chain.time_ms;
	d->child_wall_ms = 0;
	d->child_ms = PW_NO_TIME;
	result = find_child(j, d, why, size);
	return result < 0 ? result : 0;
}

/* -- a receipt comes --------------------------------------------------------------------------- */

/* At the time of the record before it: notes from before now may still be on their way. */
static int note(struct pw_journal *j, const struct pw_receipt *r, char *why, size_t size)
{
	struct pw_record record;
	char body[512];
	int result = pw_journal_read(j, j->seq, &record, why, size);

	pw_journal_rest(j);
	if (result != 1)
		return result < 0 ? result : pw_journal_refuse(j, why, size, "its last record is not there");
	if (pw_receipt_body(r, body, sizeof(body)) < 0)
		return pw_journal_refuse(j, why, size, "a receipt does not fit it");
	record.kind = PW_K_RECEIPT;
	record.body = body;
	return pw_journal_add(j, &record, why, size);
}

int pw_journal_add_receipt(struct pw_journal *j, const struct pw_receipt *r, struct pw_kept_row *row,
			   const struct pw_secret_key *key, char *why, size_t size)
{
	int result;

	if ((result = pw_journal_begin(j, why, size)) < 0
	    || (result = note(j, r, why, size)) < 0
	    || (result = pw_journal_keep(j, row, key, why, size)) < 0)
		return result;
	return pw_journal_commit(j, why, size);
}
