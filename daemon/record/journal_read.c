/* SPDX-License-Identifier: Apache-2.0 */
/* What stands in a journal. */
#include "journal_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static int copy_column(sqlite3_stmt *row, int column, char *out, size_t digits)
{
	const char *text = (const char *)sqlite3_column_text(row, column);

	if (text == NULL || !pw_hex_text(text, digits))
		return -1;
	memcpy(out, text, digits + 1);
	return 0;
}

static int take_row(struct pw_journal *j, struct pw_record *r, char *why, size_t size)
{
	sqlite3_stmt *row = j->read;
	const char *kind = (const char *)sqlite3_column_text(row, 6);

	r->seq = (uint64_t)sqlite3_column_int64(row, 0);
	r->boot = (uint64_t)sqlite3_column_int64(row, 2);
	r->mono_ms = sqlite3_column_int64(row, 3);
	r->wall_ms = sqlite3_column_int64(row, 4);
	r->wall_ok = sqlite3_column_int(row, 5) == 1;
	r->kind = kind != NULL ? pw_kind_find(kind) : PW_K_NONE;
	r->body = (const char *)sqlite3_column_text(row, 7);
	if (r->kind == PW_K_NONE)
		return pw_journal_refuse(j, why, size, "seq %" PRIu64 " is of no known kind", r->seq);
	if (r->body == NULL || sqlite3_column_bytes(row, 7) > PW_BODY_MAX
	    || strlen(r->body) != (size_t)sqlite3_column_bytes(row, 7))
		return pw_journal_refuse(j, why, size, "seq %" PRIu64
			      ": a body of %d bytes at most was expected", r->seq, PW_BODY_MAX);
	if (copy_column(row, 1, r->epoch, 16) < 0 || copy_column(row, 8, r->prev, 64) < 0
	    || copy_column(row, 9, r->hash, 64) < 0)
		return pw_journal_refuse(j, why, size, "seq %" PRIu64
			      ": epoch, prev or hash is not of so many hex digits", r->seq);
	j->next_read = r->seq + 1;
	return 1;
}

int pw_journal_read(struct pw_journal *j, uint64_t from, struct pw_record *r, char *why,
		    size_t size)
{
	int code, result = pw_journal_prepare(j,
				   "SELECT seq, epoch, boot, mono_ms, wall_ms, wall_ok, kind, body,"
				   " prev, hash FROM record WHERE seq >= ?1 ORDER BY seq",
				   &j->read, why, size);

	if (result < 0)
		return result;
	if (from > INT64_MAX)
		return 0;
	if (from != j->next_read || from == 0) {
		sqlite3_reset(j->read);
		sqlite3_bind_int64(j->read, 1, (int64_t)from);
	}
	code = sqlite3_step(j->read);
	if (code == SQLITE_ROW)
		return take_row(j, r, why, size);
	result = code == SQLITE_DONE ? 0 : pw_journal_failed(j, why, size);
	sqlite3_reset(j->read);
	j->next_read = 0;
	return result;
}

int pw_journal_read_seal(struct pw_journal *j, uint64_t from, struct pw_seal *s, char *why,
			 size_t size)
{
	int code, result = pw_journal_prepare(j, "SELECT seq, hash, sig FROM seal WHERE seq >= ?1"
						 " ORDER BY seq", &j->read_seal, why, size);

	if (result < 0)
		return result;
	if (from > INT64_MAX)
		return 0;
	if (from != j->next_seal || from == 0) {
		sqlite3_reset(j->read_seal);
		sqlite3_bind_int64(j->read_seal, 1, (int64_t)from);
	}
	code = sqlite3_step(j->read_seal);
	if (code == SQLITE_ROW) {
		s->seq = (uint64_t)sqlite3_column_int64(j->read_seal, 0);
		j->next_seal = s->seq + 1;
		if (copy_column(j->read_seal, 1, s->hash, 64) < 0
		    || copy_column(j->read_seal, 2, s->sig, 128) < 0)
			return pw_journal_refuse(j, why, size, "the seal of seq %" PRIu64
						 ": hash or sig is not of so many hex digits", s->seq);
		return 1;
	}
	result = code == SQLITE_DONE ? 0 : pw_journal_failed(j, why, size);
	sqlite3_reset(j->read_seal);
	j->next_seal = 0;
	return result;
}

void pw_journal_rest(struct pw_journal *j)
{
	if (j->read != NULL)
		sqlite3_reset(j->read);
	if (j->read_seal != NULL)
		sqlite3_reset(j->read_seal);
	j->next_read = j->next_seal = 0;
}

static void copy_text(sqlite3_stmt *row, int column, char *out, size_t size)
{
	const char *text = (const char *)sqlite3_column_text(row, column);

	snprintf(out, size, "%s", text != NULL ? text : "");
}

int pw_journal_kept(struct pw_journal *j, struct pw_kept_row *row, char *why, size_t size)
{
	sqlite3_stmt *s = NULL;
	int code, result = pw_journal_prepare(j, "SELECT state, mono_ms, wall_ms, boot, boot_id, batch,"
						 " ended, seq, hash, sig FROM kept", &s, why, size);

	if (result < 0)
		return result;
	memset(row, 0, sizeof(*row));
	code = sqlite3_step(s);
	if (code == SQLITE_ROW) {
		copy_text(s, 0, row->state, sizeof(row->state));
		row->mono_ms = sqlite3_column_int64(s, 1);
		row->wall_ms = sqlite3_column_int64(s, 2);
		row->boot = (uint64_t)sqlite3_column_int64(s, 3);
		copy_text(s, 4, row->boot_id, sizeof(row->boot_id));
		row->batch = (uint64_t)sqlite3_column_int64(s, 5);
		row->ended = sqlite3_column_int(s, 6) != 0;
		row->seq = (uint64_t)sqlite3_column_int64(s, 7);
		copy_text(s, 8, row->hash, sizeof(row->hash));
		copy_text(s, 9, row->sig, sizeof(row->sig));
		result = 1;
	} else {
		result = code == SQLITE_DONE ? 0 : pw_journal_failed(j, why, size);
	}
	sqlite3_finalize(s);
	return result;
}

int pw_journal_newest(struct pw_journal *j, enum pw_kind kind, unsigned most,
		      void (*take)(void *ctx, const char *body, int64_t wall_ms), void *ctx,
		      char *why, size_t size)
{
	sqlite3_stmt *s = NULL;
	char sql[128];
	int code = SQLITE_DONE, result;

	snprintf(sql, sizeof(sql),
		 "SELECT body, wall_ms FROM record WHERE kind = '%s' ORDER BY seq DESC LIMIT %u",
		 pw_kind_name(kind), most);
	result = pw_journal_prepare(j, sql, &s, why, size);
	while (result == 0 && (code = sqlite3_step(s)) == SQLITE_ROW)
		take(ctx, (const char *)sqlite3_column_text(s, 0), sqlite3_column_int64(s, 1));
	if (result == 0 && code != SQLITE_DONE)
		result = pw_journal_failed(j, why, size);
	sqlite3_finalize(s);
	return result;
}

