/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The journal's file (J1, J2). One process writes, over one connection. A reader opens a journal
 * that is at rest, or a copy. On a live one it never writes and never checkpoints: with two
 * connections that both do, the SQLite of Debian 12 and 13 can lose a transaction.
 */
#include "record_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define APPLICATION_ID 0x50574c4b /* PWLK */
#define VERSION 1
#define TAIL 16 /* records whose chain is checked when a writer opens */

struct pw_journal {
	sqlite3 *db;
	sqlite3_stmt *read, *add, *keep;
	char *path;
	char bus[PW_NAME_MAX], epoch[17];
	uint64_t seq, next_read;
	char hash[65];
};

/* An index for each kind that a start looks for, so that it does not read the whole journal. */
static const char schema[] =
	"CREATE TABLE meta (id INTEGER PRIMARY KEY CHECK (id = 1), bus TEXT NOT NULL,"
	" epoch TEXT NOT NULL) STRICT;"
	"CREATE TABLE record (seq INTEGER PRIMARY KEY, epoch TEXT NOT NULL, boot INTEGER NOT NULL,"
	" mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL,"
	" wall_ok INTEGER NOT NULL CHECK (wall_ok IN (0, 1)), kind TEXT NOT NULL,"
	" body TEXT NOT NULL, prev TEXT NOT NULL, hash TEXT NOT NULL) STRICT;"
	"CREATE INDEX record_sweep ON record (seq) WHERE kind = 'sweep';"
	"CREATE INDEX record_policy ON record (seq) WHERE kind = 'policy';"
	"CREATE TABLE kept (id INTEGER PRIMARY KEY CHECK (id = 1), state TEXT NOT NULL,"
	" mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, boot INTEGER NOT NULL,"
	" boot_id TEXT NOT NULL, batch INTEGER NOT NULL) STRICT;"
	"CREATE TRIGGER record_no_gap BEFORE INSERT ON record"
	" WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record)"
	" BEGIN SELECT raise(ABORT, 'record: seq is the last one and 1'); END;"
	"CREATE TRIGGER record_no_update BEFORE UPDATE ON record"
	" BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;"
	"CREATE TRIGGER record_no_delete BEFORE DELETE ON record"
	" BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;";

/* -- errors ------------------------------------------------------------------------------------ */

__attribute__((format(printf, 4, 5)))
static int refuse(struct pw_journal *j, char *why, size_t size, const char *format, ...)
{
	int n = snprintf(why, size, "%s: ", j->path);
	va_list args;

	va_start(args, format);
	if (n >= 0 && (size_t)n < size)
		vsnprintf(why + n, size - (size_t)n, format, args);
	va_end(args);
	return -2;
}

/* The connection's last error in words. -2 when it says that the file is damaged, else -1. */
static int failed(struct pw_journal *j, char *why, size_t size)
{
	const int last = errno;
	int code = j->db != NULL ? sqlite3_errcode(j->db) & 0xff : SQLITE_NOMEM;
	int system = j->db != NULL ? sqlite3_system_errno(j->db) : 0;
	bool device = code == SQLITE_IOERR || code == SQLITE_CANTOPEN || code == SQLITE_FULL;

	if (system == 0) /* SQLite does not always keep it */
		system = code == SQLITE_FULL ? ENOSPC : last;
	refuse(j, why, size, "%s%s%s", j->db != NULL ? sqlite3_errmsg(j->db) : "no memory",
	       device && system != 0 ? ": " : "", device && system != 0 ? strerror(system) : "");
	return code == SQLITE_CORRUPT || code == SQLITE_NOTADB ? -2 : -1;
}

static int run(struct pw_journal *j, const char *sql, char *why, size_t size)
{
	errno = 0;
	return sqlite3_exec(j->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : failed(j, why, size);
}

static int prepare(struct pw_journal *j, const char *sql, sqlite3_stmt **out, char *why,
		   size_t size)
{
	int code, result;

	if (*out != NULL)
		return 0;
	code = sqlite3_prepare_v3(j->db, sql, -1, SQLITE_PREPARE_PERSISTENT, out, NULL);
	if (code == SQLITE_OK)
		return 0;
	result = failed(j, why, size);
	/* the statements are ours and right: what they name is not there */
	return code == SQLITE_ERROR ? -2 : result;
}

/* Steps a statement that gives no row, and makes it ready again. */
static int finish(struct pw_journal *j, sqlite3_stmt *statement, char *why, size_t size)
{
	int result = 0;

	errno = 0;
	if (sqlite3_step(statement) != SQLITE_DONE)
		result = failed(j, why, size);
	sqlite3_reset(statement);
	return result;
}

/* The first column of the first row as text (empty without a row). */
static int ask(struct pw_journal *j, const char *sql, char *answer, size_t length, char *why,
	       size_t size)
{
	sqlite3_stmt *statement = NULL;
	int result = prepare(j, sql, &statement, why, size), code;

	if (result < 0)
		return result;
	code = sqlite3_step(statement);
	answer[0] = '\0';
	if (code == SQLITE_ROW && sqlite3_column_text(statement, 0) != NULL)
		snprintf(answer, length, "%s", (const char *)sqlite3_column_text(statement, 0));
	else if (code != SQLITE_ROW && code != SQLITE_DONE)
		result = failed(j, why, size);
	sqlite3_finalize(statement);
	return result;
}

/* -- opening ----------------------------------------------------------------------------------- */

static char *immutable_uri(const char *path)
{
	sqlite3_str *uri = sqlite3_str_new(NULL);

	sqlite3_str_appendall(uri, "file:");
	for (; *path != '\0'; path++)
		sqlite3_str_appendf(uri, strchr("?#%", *path) != NULL ? "%%%02x" : "%c", *path);
	sqlite3_str_appendall(uri, "?immutable=1");
	return sqlite3_str_finish(uri);
}

/* Without a write-ahead log the file is at rest: nothing needs to be locked or made beside it. */
static int open_reader(struct pw_journal *j, char *why, size_t size)
{
	char *log = sqlite3_mprintf("%s-wal", j->path);
	bool at_rest = log != NULL && access(log, F_OK) < 0;
	char *name = at_rest ? immutable_uri(j->path) : sqlite3_mprintf("%s", j->path);
	int flags = SQLITE_OPEN_READONLY | (at_rest ? SQLITE_OPEN_URI : 0), code = SQLITE_NOMEM;

	if (log != NULL && name != NULL)
		code = sqlite3_open_v2(name, &j->db, flags, NULL);
	sqlite3_free(name);
	sqlite3_free(log);
	if (code != SQLITE_OK)
		return failed(j, why, size);
	sqlite3_db_config(j->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
	return run(j, "PRAGMA query_only = ON; PRAGMA trusted_schema = OFF", why, size);
}

/* alone: the index of the log is kept in memory, and no room is needed for it on a full disk; but
 * nobody else can read meanwhile. */
static int open_writer(struct pw_journal *j, bool alone, char *why, size_t size)
{
	if (sqlite3_open_v2(j->path, &j->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL)
	    != SQLITE_OK)
		return failed(j, why, size);
	if (sqlite3_db_readonly(j->db, "main") == 1) {
		refuse(j, why, size, "cannot be written: %s", strerror(EACCES));
		return -1;
	}
	sqlite3_busy_timeout(j->db, 1000);
	if (alone && run(j, "PRAGMA locking_mode = EXCLUSIVE", why, size) < 0)
		return -1;
	return run(j, "PRAGMA page_size = 4096; PRAGMA trusted_schema = OFF;"
		      "PRAGMA cell_size_check = ON; PRAGMA synchronous = FULL",
		   why, size);
}

static int write_ahead(struct pw_journal *j, char *why, size_t size)
{
	char mode[16];
	int result = ask(j, "PRAGMA journal_mode = WAL", mode, sizeof(mode), why, size);

	if (result < 0)
		return result;
	if (strcmp(mode, "wal") == 0)
		return 0;
	refuse(j, why, size, "this file system cannot keep a write-ahead log");
	return -1;
}

static int begin_journal(struct pw_journal *j, const char *bus, char *why, size_t size)
{
	unsigned char drawn[8];
	char sql[256];
	int result;

	if (sodium_init() < 0) {
		refuse(j, why, size, "no random numbers to draw an epoch from");
		return -1;
	}
	randombytes_buf(drawn, sizeof(drawn));
	sodium_bin2hex(j->epoch, sizeof(j->epoch), drawn, sizeof(drawn));
	snprintf(sql, sizeof(sql),
		 "INSERT INTO meta VALUES (1, '%s', '%s');"
		 "PRAGMA application_id = %d; PRAGMA user_version = %d; COMMIT",
		 bus, j->epoch, APPLICATION_ID, VERSION);
	if ((result = write_ahead(j, why, size)) < 0
	    || (result = run(j, "BEGIN IMMEDIATE", why, size)) < 0
	    || (result = run(j, schema, why, size)) < 0)
		return result;
	return run(j, sql, why, size);
}

/* Is it a journal, of this version? 1: yes; 0: nothing has been begun in it. */
static int judge_file(struct pw_journal *j, char *why, size_t size)
{
	char id[24], version[24], tables[24];
	int result;

	if ((result = ask(j, "PRAGMA application_id", id, sizeof(id), why, size)) < 0
	    || (result = ask(j, "PRAGMA user_version", version, sizeof(version), why, size)) < 0
	    || (result = ask(j, "SELECT count(*) FROM sqlite_schema", tables, sizeof(tables), why,
			     size)) < 0)
		return result;
	if (strcmp(id, "0") == 0 && strcmp(version, "0") == 0 && strcmp(tables, "0") == 0)
		return 0;
	if (strtol(id, NULL, 10) != APPLICATION_ID)
		return refuse(j, why, size, "is a database, but not a journal of postwalk");
	if (strtol(version, NULL, 10) != VERSION)
		return refuse(j, why, size, "is a journal of version %s; this program reads %d",
			      version, VERSION);
	return 1;
}

static int load_meta(struct pw_journal *j, const char *bus, char *why, size_t size)
{
	int result = ask(j, "SELECT bus FROM meta", j->bus, sizeof(j->bus), why, size);

	if (result == 0)
		result = ask(j, "SELECT epoch FROM meta", j->epoch, sizeof(j->epoch), why, size);
	if (result < 0)
		return result;
	if (!pw_chain_word(j->bus) || !pw_hex_text(j->epoch, 16))
		return refuse(j, why, size, "does not say of which bus and epoch it is");
	if (bus != NULL && strcmp(bus, j->bus) != 0)
		return refuse(j, why, size, "is of bus %s, not %s", j->bus, bus);
	return 0;
}

static int check_tail(struct pw_journal *j, char *why, size_t size)
{
	char hash[65], count[24];
	struct pw_record r;
	int result = ask(j, "SELECT coalesce(max(seq), 0) FROM record", count, sizeof(count), why,
			 size);
	uint64_t last;

	if (result < 0)
		return result;
	last = strtoull(count, NULL, 10);
	memcpy(j->hash, PW_CHAIN_ORIGIN, sizeof(j->hash));
	for (uint64_t from = last > TAIL ? last - TAIL : 1; from <= last; from = r.seq + 1) {
		if ((result = pw_journal_read(j, from, &r, why, size)) <= 0)
			return result < 0 ? result : refuse(j, why, size, "seq %" PRIu64
							    " is not there", from);
		pw_record_hash(j->bus, &r, hash);
		if (r.seq != from || strcmp(hash, r.hash) != 0
		    || (j->seq != 0 && strcmp(r.prev, j->hash) != 0))
			return refuse(j, why, size, "the chain does not hold at seq %" PRIu64,
				      r.seq);
		j->seq = r.seq;
		memcpy(j->hash, r.hash, sizeof(j->hash));
	}
	sqlite3_reset(j->read);
	j->next_read = 0;
	return 0;
}

static int open_all(struct pw_journal *j, const char *bus, bool write, bool alone, char *why,
		    size_t size)
{
	int result = write ? open_writer(j, alone, why, size) : open_reader(j, why, size);

	if (result < 0 || (result = judge_file(j, why, size)) < 0)
		return result;
	if (result == 0 && !write)
		return refuse(j, why, size, "no journal has been begun in it");
	if (write)
		result = result == 0 ? begin_journal(j, bus, why, size) : write_ahead(j, why, size);
	if (result < 0 || (result = load_meta(j, bus, why, size)) < 0)
		return result;
	return write ? check_tail(j, why, size) : 0;
}

static int open_one(const char *path, const char *bus, bool write, bool alone,
		    struct pw_journal **j, char *why, size_t size)
{
	struct pw_journal *new = calloc(1, sizeof(*new));
	int result;

	*j = NULL;
	if (new == NULL || (new->path = strdup(path)) == NULL) {
		free(new);
		snprintf(why, size, "%s: no memory", path);
		return -1;
	}
	if (write && (bus == NULL || !pw_chain_word(bus) || strlen(bus) >= PW_NAME_MAX)) {
		refuse(new, why, size, "a bus id of A-Z a-z 0-9 . _ - was expected, not \"%s\"",
		       bus != NULL ? bus : "");
		result = -1;
	} else {
		result = open_all(new, bus, write, alone, why, size);
	}
	if (result < 0)
		pw_journal_close(new);
	else
		*j = new;
	return result;
}

int pw_journal_open(const char *path, const char *bus, bool write, struct pw_journal **j, char *why,
		    size_t size)
{
	int result = open_one(path, bus, write, false, j, why, size);

	return result == -1 && write ? open_one(path, bus, write, true, j, why, size) : result;
}

void pw_journal_close(struct pw_journal *j)
{
	if (j == NULL)
		return;
	sqlite3_finalize(j->read);
	sqlite3_finalize(j->add);
	sqlite3_finalize(j->keep);
	sqlite3_close(j->db);
	free(j->path);
	free(j);
}

const char *pw_journal_bus(const struct pw_journal *j)
{
	return j->bus;
}

uint64_t pw_journal_head(const struct pw_journal *j, char hash[65])
{
	if (hash != NULL)
		memcpy(hash, j->hash, sizeof(j->hash));
	return j->seq;
}

/* -- reading ----------------------------------------------------------------------------------- */

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
		return refuse(j, why, size, "seq %" PRIu64 " is of no known kind", r->seq);
	if (r->body == NULL || sqlite3_column_bytes(row, 7) > PW_BODY_MAX
	    || strlen(r->body) != (size_t)sqlite3_column_bytes(row, 7))
		return refuse(j, why, size, "seq %" PRIu64
			      ": a body of %d bytes at most was expected", r->seq, PW_BODY_MAX);
	if (copy_column(row, 1, r->epoch, 16) < 0 || copy_column(row, 8, r->prev, 64) < 0
	    || copy_column(row, 9, r->hash, 64) < 0)
		return refuse(j, why, size, "seq %" PRIu64
			      ": epoch, prev or hash is not of so many hex digits", r->seq);
	j->next_read = r->seq + 1;
	return 1;
}

int pw_journal_read(struct pw_journal *j, uint64_t from, struct pw_record *r, char *why,
		    size_t size)
{
	int code, result = prepare(j,
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
	result = code == SQLITE_DONE ? 0 : failed(j, why, size);
	sqlite3_reset(j->read);
	j->next_read = 0;
	return result;
}

int pw_journal_kept(struct pw_journal *j, struct pw_kept_row *row, char *why, size_t size)
{
	sqlite3_stmt *s = NULL;
	int code, result = prepare(j, "SELECT state, mono_ms, wall_ms, boot, boot_id, batch"
				      " FROM kept", &s, why, size);

	if (result < 0)
		return result;
	memset(row, 0, sizeof(*row));
	code = sqlite3_step(s);
	if (code == SQLITE_ROW) {
		snprintf(row->state, sizeof(row->state), "%s",
			 (const char *)sqlite3_column_text(s, 0));
		row->mono_ms = sqlite3_column_int64(s, 1);
		row->wall_ms = sqlite3_column_int64(s, 2);
		row->boot = (uint64_t)sqlite3_column_int64(s, 3);
		snprintf(row->boot_id, sizeof(row->boot_id), "%s",
			 (const char *)sqlite3_column_text(s, 4));
		row->batch = (uint64_t)sqlite3_column_int64(s, 5);
		result = 1;
	} else {
		result = code == SQLITE_DONE ? 0 : failed(j, why, size);
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
	result = prepare(j, sql, &s, why, size);
	while (result == 0 && (code = sqlite3_step(s)) == SQLITE_ROW)
		take(ctx, (const char *)sqlite3_column_text(s, 0), sqlite3_column_int64(s, 1));
	if (result == 0 && code != SQLITE_DONE)
		result = failed(j, why, size);
	sqlite3_finalize(s);
	return result;
}

/* -- writing ----------------------------------------------------------------------------------- */

int pw_journal_begin(struct pw_journal *j, char *why, size_t size)
{
	return run(j, "BEGIN IMMEDIATE", why, size);
}

int pw_journal_add(struct pw_journal *j, struct pw_record *r, char *why, size_t size)
{
	int result = prepare(j, "INSERT INTO record"
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
	if ((result = finish(j, j->add, why, size)) < 0)
		return result;
	j->seq = r->seq;
	memcpy(j->hash, r->hash, sizeof(j->hash));
	return 0;
}

int pw_journal_keep(struct pw_journal *j, const struct pw_kept_row *row, char *why, size_t size)
{
	int result = prepare(j, "INSERT INTO kept VALUES (1, ?1, ?2, ?3, ?4, ?5, ?6)"
				" ON CONFLICT (id) DO UPDATE SET state = ?1, mono_ms = ?2,"
				" wall_ms = ?3, boot = ?4, boot_id = ?5, batch = ?6",
			     &j->keep, why, size);

	if (result < 0)
		return result;
	sqlite3_bind_text(j->keep, 1, row->state, -1, SQLITE_STATIC);
	sqlite3_bind_int64(j->keep, 2, row->mono_ms);
	sqlite3_bind_int64(j->keep, 3, row->wall_ms);
	sqlite3_bind_int64(j->keep, 4, (int64_t)row->boot);
	sqlite3_bind_text(j->keep, 5, row->boot_id, -1, SQLITE_STATIC);
	sqlite3_bind_int64(j->keep, 6, (int64_t)row->batch);
	return finish(j, j->keep, why, size);
}

int pw_journal_commit(struct pw_journal *j, char *why, size_t size)
{
	return run(j, "COMMIT", why, size);
}
