/* SPDX-License-Identifier: Apache-2.0 */
/* What is added to a journal: only by the writer, only in transactions. */
#include "journal_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

int pw_journal_begin(struct pw_journal *j, char *why, size_t size)
{
	return pw_journal_run(j, "BEGIN IMMEDIATE", why, size);
}

int pw_journal_add(struct pw_journal *j, struct pw_record *r, char *why, size_t size)
{
	int result = pw_journal_prepare(j, "INSERT INTO record"
				" VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
			     &j->add, why, size);

	if (result < 0)
		return result;
	r->seq = j->seq + 1;
	memcpy(r->epoch, j->epoch, sizeof(r->epoch));
	memcpy(r->prev, j->hash, sizeof(r->prev));
	pw_record_hash(j->bus, r, r->hash);
	sqlite3_bind_int64(j->add, 1, (int64_t)r->seq);
	sqlite3_bind_text(j->add, 2, r->epoch, -1, SQLITE_STATIC);
	sqlite3_bind_int64(j->add, 3, (int64_t)r->boot);
	sqlite3_bind_int64(j->add, 4, r->mono_ms);
	sqlite3_bind_int64(j->add, 5, r->wall_ms);
	sqlite3_bind_int(j->add, 6, r->wall_ok);
	sqlite3_bind_text(j->add, 7, pw_kind_name(r->kind), -1, SQLITE_STATIC);
	sqlite3_bind_text(j->add, 8, r->body, -1, SQLITE_STATIC);
	sqlite3_bind_text(j->add, 9, r->prev, -1, SQLITE_STATIC);
	sqlite3_bind_text(j->add, 10, r->hash, -1, SQLITE_STATIC);
	if ((result = pw_journal_finish(j, j->add, why, size)) < 0)
		return result;
	j->seq = r->seq;
	memcpy(j->hash, r->hash, sizeof(j->hash));
	return 0;
}

int pw_journal_seal(struct pw_journal *j, const struct pw_secret_key *key, char *why, size_t size)
{
	struct pw_seal s = { .seq = j->seq };
	int result = pw_journal_prepare(j, "INSERT INTO seal VALUES (?1, ?2, ?3)", &j->add_seal, why,
					size);

	if (result < 0 || j->sealed == j->seq)
		return result;
	memcpy(s.hash, j->hash, sizeof(s.hash));
	pw_seal_make(j->bus, j->epoch, &s, key);
	sqlite3_bind_int64(j->add_seal, 1, (int64_t)s.seq);
	sqlite3_bind_text(j->add_seal, 2, s.hash, -1, SQLITE_STATIC);
	sqlite3_bind_text(j->add_seal, 3, s.sig, -1, SQLITE_STATIC);
	result = pw_journal_finish(j, j->add_seal, why, size);
	if (result == 0)
		j->sealed = s.seq;
	return result;
}

int pw_journal_keep(struct pw_journal *j, struct pw_kept_row *row, const struct pw_secret_key *key,
		    char *why, size_t size)
{
	int result = pw_journal_prepare(j, "INSERT INTO kept VALUES"
					   " (1, ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)"
					   " ON CONFLICT (id) DO UPDATE SET state = ?1, mono_ms = ?2,"
					   " wall_ms = ?3, boot = ?4, boot_id = ?5, batch = ?6,"
					   " ended = ?7, seq = ?8, hash = ?9, sig = ?10",
					&j->keep, why, size);

	if (result < 0)
		return result;
	row->seq = j->seq;
	memcpy(row->hash, j->hash, sizeof(row->hash));
	pw_kept_sign(j->bus, j->epoch, row, key);
	sqlite3_bind_text(j->keep, 1, row->state, -1, SQLITE_STATIC);
	sqlite3_bind_int64(j->keep, 2, row->mono_ms);
	sqlite3_bind_int64(j->keep, 3, row->wall_ms);
	sqlite3_bind_int64(j->keep, 4, (int64_t)row->boot);
	sqlite3_bind_text(j->keep, 5, row->boot_id, -1, SQLITE_STATIC);
	sqlite3_bind_int64(j->keep, 6, (int64_t)row->batch);
	sqlite3_bind_int(j->keep, 7, row->ended);
	sqlite3_bind_int64(j->keep, 8, (int64_t)row->seq);
	sqlite3_bind_text(j->keep, 9, row->hash, -1, SQLITE_STATIC);
	sqlite3_bind_text(j->keep, 10, row->sig, -1, SQLITE_STATIC);
	return pw_journal_finish(j, j->keep, why, size);
}

int pw_journal_commit(struct pw_journal *j, char *why, size_t size)
{
	return pw_journal_run(j, "COMMIT", why, size);
}
