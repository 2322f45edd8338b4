/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The journal's file (J1, J2). One process writes, over one connection. A reader opens a journal
 * that is at rest, or a copy. On a live one it never writes and never checkpoints: with two
 * connections that both do, the SQLite of Debian 12 and 13 can lose a transaction.
 */
#include "journal_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define APPLICATION_ID 0x50574c4b /* PWLK */
#define VERSION 1

/* Defects, and what certifies them: a body that has no "id":0. Somebody's own words cannot have that
 * either, since a quotation mark in them is written with a backslash. */
#define TOLD "kind IN ('proof', 'found', 'report', 'setup')"
#define DEFECT "kind IN ('found', 'report') AND instr(body, '\"id\":0,') = 0"
static const char later_index[] =
	"CREATE INDEX IF NOT EXISTS record_told ON record (kind, seq) WHERE " TOLD ";"
	"CREATE INDEX IF NOT EXISTS record_defect ON record (seq) WHERE " DEFECT ";"
	"CREATE INDEX IF NOT EXISTS record_alert ON record (kind, seq) WHERE " PW_SQL_ALERT ";"
	"CREATE INDEX IF NOT EXISTS record_alerted ON record (" PW_SQL_ALERTED_SEQ ") WHERE "
	PW_SQL_ALERTED ";";

/* An index for each kind that a start looks for, so that it does not read the whole journal. What
 * has been pruned (meta) may go; nothing else ever does (J11). */
static const char schema[] =
	"CREATE TABLE meta (id INTEGER PRIMARY KEY CHECK (id = 1), bus TEXT NOT NULL,"
	" epoch TEXT NOT NULL, pruned INTEGER NOT NULL) STRICT;"
	"CREATE TABLE record (seq INTEGER PRIMARY KEY, epoch TEXT NOT NULL, boot INTEGER NOT NULL,"
	" mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL,"
	" wall_ok INTEGER NOT NULL CHECK (wall_ok IN (0, 1)), kind TEXT NOT NULL,"
	" body TEXT NOT NULL, prev TEXT NOT NULL, hash TEXT NOT NULL) STRICT;"
	"CREATE INDEX record_sweep ON record (seq) WHERE kind = 'sweep';"
	"CREATE INDEX record_policy ON record (seq) WHERE kind = 'policy';"
	"CREATE INDEX record_receipt ON record (seq) WHERE kind = 'receipt';"
	"CREATE TABLE seal (seq INTEGER PRIMARY KEY, hash TEXT NOT NULL, sig TEXT NOT NULL) STRICT;"
	"CREATE TABLE kept (id INTEGER PRIMARY KEY CHECK (id = 1), state TEXT NOT NULL,"
	" mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL, boot INTEGER NOT NULL,"
	" boot_id TEXT NOT NULL, batch INTEGER NOT NULL, ended INTEGER NOT NULL,"
	" seq INTEGER NOT NULL, hash TEXT NOT NULL, sig TEXT NOT NULL) STRICT;"
	"CREATE TRIGGER record_no_gap BEFORE INSERT ON record"
	" WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record)"
	" BEGIN SELECT raise(ABORT, 'record: seq is the last one and 1'); END;"
	"CREATE TRIGGER record_no_update BEFORE UPDATE ON record"
	" BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;"
	"CREATE TRIGGER record_no_delete BEFORE DELETE ON record"
	" WHEN OLD.seq > (SELECT pruned FROM meta)"
	" BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;"
	"CREATE TRIGGER seal_no_update BEFORE UPDATE ON seal"
	" BEGIN SELECT raise(ABORT, 'seal: seals are only ever added'); END;"
	"CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal"
	" WHEN OLD.seq > (SELECT pruned FROM meta)"
	" BEGIN SELECT raise(ABORT, 'seal: seals are only ever added'); END;";

/* -- errors ------------------------------------------------------------------------------------ */

int pw_journal_refuse(struct pw_journal *j, char *why, size_t size, const char *format, ...)
{
	int n = snprintf(why, size, "%s: ", j->path);
	va_list args;

	va_start(args, format);
	if (n >= 0 && (size_t)n < size)
		vsnprintf(why + n, size - (size_t)n, format, args);
	va_end(args);
	return -2;
}

int pw_journal_failed(struct pw_journal *j, char *why, size_t size)
{
	const int last = errno;
	int code = j->db != NULL ? sqlite3_errcode(j->db) & 0xff : SQLITE_NOMEM;
	int system = j->db != NULL ? sqlite3_system_errno(j->db) : 0;
	bool device = code == SQLITE_IOERR || code == SQLITE_CANTOPEN || code == SQLITE_FULL;

	if (system == 0) /* SQLite does not always keep it */
		system = code == SQLITE_FULL ? ENOSPC : last;
	pw_journal_refuse(j, why, size, "%s%s%s", j->db != NULL ? sqlite3_errmsg(j->db) : "no memory",
	       device && system != 0 ? ": " : "", device && system != 0 ? strerror(system) : "");
	return code == SQLITE_CORRUPT || code == SQLITE_NOTADB ? -2 : -1;
}

int pw_journal_run(struct pw_journal *j, const char *sql, char *why, size_t size)
{
	errno = 0;
	return sqlite3_exec(j->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : pw_journal_failed(j, why, size);
}

int pw_journal_prepare(struct pw_journal *j, const char *sql, sqlite3_stmt **out, char *why,
		   size_t size)
{
	int code, result;

	if (*out != NULL)
		return 0;
	code = sqlite3_prepare_v3(j->db, sql, -1, SQLITE_PREPARE_PERSISTENT, out, NULL);
	if (code == SQLITE_OK)
		return 0;
	result = pw_journal_failed(j, why, size);
	/* the statements are ours and right: what they name is not there */
	return code == SQLITE_ERROR ? -2 : result;
}

int pw_journal_finish(struct pw_journal *j, sqlite3_stmt *statement, char *why, size_t size)
{
	int result = 0;

	errno = 0;
	if (sqlite3_step(statement) != SQLITE_DONE)
		result = pw_journal_failed(j, why, size);
	sqlite3_reset(statement);
	return result;
}

int pw_journal_ask(struct pw_journal *j, const char *sql, char *answer, size_t length, char *why,
	       size_t size)
{
	sqlite3_stmt *statement = NULL;
	int result = pw_journal_prepare(j, sql, &statement, why, size), code;

	if (result < 0)
		return result;
	code = sqlite3_step(statement);
	answer[0] = '\0';
	if (code == SQLITE_ROW && sqlite3_column_text(statement, 0) != NULL)
		snprintf(answer, length, "%s", (const char *)sqlite3_column_text(statement, 0));
	while (code == SQLITE_ROW) /* what it changes is committed by its end */
		code = sqlite3_step(statement);
	if (code != SQLITE_DONE)
		result = pw_journal_failed(j, why, size);
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
		return pw_journal_failed(j, why, size);
	sqlite3_db_config(j->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
	return pw_journal_run(j, "PRAGMA query_only = ON; PRAGMA trusted_schema = OFF", why, size);
}

/* alone: the index of the log is kept in memory, and no room is needed for it on a full disk; but
 * nobody else can read meanwhile. */
static int open_writer(struct pw_journal *j, bool alone, char *why, size_t size)
{
	char *log = sqlite3_mprintf("%s-wal", j->path);

	j->had_log = log == NULL || access(log, F_OK) == 0;
	sqlite3_free(log);
	if (sqlite3_open_v2(j->path, &j->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, NULL)
	    != SQLITE_OK)
		return pw_journal_failed(j, why, size);
	if (sqlite3_db_readonly(j->db, "main") == 1) {
		pw_journal_refuse(j, why, size, "cannot be written: %s", strerror(EACCES));
		return -1;
	}
	sqlite3_busy_timeout(j->db, 1000);
	if (alone && pw_journal_run(j, "PRAGMA locking_mode = EXCLUSIVE", why, size) < 0)
		return -1;
	return pw_journal_run(j, "PRAGMA page_size = 4096; PRAGMA trusted_schema = OFF;"
		      "PRAGMA cell_size_check = ON; PRAGMA synchronous = FULL",
		   why, size);
}

static int write_ahead(struct pw_journal *j, char *why, size_t size)
{
	char mode[16];
	int result = pw_journal_ask(j, "PRAGMA journal_mode = WAL", mode, sizeof(mode), why, size);

	if (result < 0)
		return result;
	if (strcmp(mode, "wal") == 0)
		return 0;
	pw_journal_refuse(j, why, size, "this file system cannot keep a write-ahead log");
	return -1;
}

static int begin_journal(struct pw_journal *j, const char *bus, char *why, size_t size)
{
	unsigned char drawn[8];
	char sql[256];
	int result;

	if (sodium_init() < 0) {
		pw_journal_refuse(j, why, size, "no random numbers to draw an epoch from");
		return -1;
	}
	randombytes_buf(drawn, sizeof(drawn));
	sodium_bin2hex(j->epoch, sizeof(j->epoch), drawn, sizeof(drawn));
	snprintf(sql, sizeof(sql),
		 "INSERT INTO meta VALUES (1, '%s', '%s', 0);"
		 "PRAGMA application_id = %d; PRAGMA user_version = %d; COMMIT",
		 bus, j->epoch, APPLICATION_ID, VERSION);
	if ((result = write_ahead(j, why, size)) < 0
	    || (result = pw_journal_run(j, "BEGIN IMMEDIATE", why, size)) < 0
	    || (result = pw_journal_run(j, schema, why, size)) < 0
	    || (result = pw_journal_run(j, later_index, why, size)) < 0)
		return result;
	return pw_journal_run(j, sql, why, size);
}

/* Is it a journal, of this version? 1: yes; 0: nothing has been begun in it. */
static int judge_file(struct pw_journal *j, char *why, size_t size)
{
	char id[24], version[24], tables[24];
	int result;

	if ((result = pw_journal_ask(j, "PRAGMA application_id", id, sizeof(id), why, size)) < 0
	    || (result = pw_journal_ask(j, "PRAGMA user_version", version, sizeof(version), why, size)) < 0
	    || (result = pw_journal_ask(j, "SELECT count(*) FROM sqlite_schema", tables, sizeof(tables), why,
			     size)) < 0)
		return result;
	if (strcmp(id, "0") == 0 && strcmp(version, "0") == 0 && strcmp(tables, "0") == 0)
		return 0;
	if (strtol(id, NULL, 10) != APPLICATION_ID)
		return pw_journal_refuse(j, why, size, "is a database, but not a journal of postwalk");
	if (strtol(version, NULL, 10) != VERSION)
		return pw_journal_refuse(j, why, size, "is a journal of version %s; this program reads %d",
			      version, VERSION);
	return 1;
}

static int load_meta(struct pw_journal *j, const char *bus, char *why, size_t size)
{
	int result = pw_journal_ask(j, "SELECT bus FROM meta", j->bus, sizeof(j->bus), why, size);

	if (result == 0)
		result = pw_journal_ask(j, "SELECT epoch FROM meta", j->epoch, sizeof(j->epoch), why, size);
	if (result < 0)
		return result;
	if (!pw_chain_word(j->bus) || !pw_hex_text(j->epoch, 16))
		return pw_journal_refuse(j, why, size, "does not say of which bus and epoch it is");
	if (bus != NULL && strcmp(bus, j->bus) != 0)
		return pw_journal_refuse(j, why, size, "is of bus %s, not %s", j->bus, bus);
	return 0;
}

/* What a writer goes on from. Whether it holds is judged apart (J6). */
static int load_head(struct pw_journal *j, char *why, size_t size)
{
	char seq[24], sealed[24], pruned[24];
	int result;

	if ((result = pw_journal_ask(j, "SELECT coalesce(max(seq), 0) FROM record", seq, sizeof(seq), why,
			  size)) < 0
	    || (result = pw_journal_ask(j, "SELECT coalesce(max(seq), 0) FROM seal", sealed, sizeof(sealed),
			     why, size)) < 0
	    || (result = pw_journal_ask(j, "SELECT pruned FROM meta", pruned, sizeof(pruned), why, size)) < 0
	    || (result = pw_journal_ask(j, "SELECT hash FROM record ORDER BY seq DESC LIMIT 1", j->hash,
			     sizeof(j->hash), why, size)) < 0)
		return result;
	j->seq = strtoull(seq, NULL, 10);
	j->sealed = strtoull(sealed, NULL, 10);
	j->pruned = strtoull(pruned, NULL, 10);
	if (j->seq == 0)
		memcpy(j->hash, PW_CHAIN_ORIGIN, sizeof(j->hash));
	return 0;
}

static int open_all(struct pw_journal *j, const char *bus, bool write, bool alone, char *why,
		    size_t size)
{
	int result = write ? open_writer(j, alone, why, size) : open_reader(j, why, size);

	if (result < 0 || (result = judge_file(j, why, size)) < 0)
		return result;
	if (result == 0 && !write)
		return pw_journal_refuse(j, why, size, "no journal has been begun in it");
	if (write)
		result = result == 0 ? begin_journal(j, bus, why, size) : write_ahead(j, why, size);
	if (result < 0 || (result = load_meta(j, bus, why, size)) < 0)
		return result;
	return load_head(j, why, size);
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
		pw_journal_refuse(new, why, size, "a bus id of A-Z a-z 0-9 . _ - was expected, not \"%s\"",
		       bus != NULL ? bus : "");
		result = -1;
	} else {
		result = open_all(new, bus, write, alone, why, size);
	}
	if (result == -2)
		pw_journal_leave(new);
	else if (result < 0)
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
	sqlite3_finalize(j->read_seal);
	sqlite3_finalize(j->add);
	sqlite3_finalize(j->add_seal);
	sqlite3_finalize(j->keep);
	sqlite3_close(j->db);
	free(j->path);
	free(j);
}

void pw_journal_leave(struct pw_journal *j)
{
	if (j != NULL && j->db != NULL)
		sqlite3_db_config(j->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
	pw_journal_close(j);
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

const char *pw_journal_epoch(const struct pw_journal *j)
{
	return j->epoch;
}

uint64_t pw_journal_sealed(const struct pw_journal *j)
{
	return j->sealed;
}

int pw_journal_settle(struct pw_journal *j, char *why, size_t size)
{
	char busy[8];
	int result;

	if (!j->had_log)
		return 0;
	result = pw_journal_ask(j, "PRAGMA wal_checkpoint(TRUNCATE)", busy, sizeof(busy), why, size);
	if (result == 0 && strcmp(busy, "0") != 0) {
		pw_journal_refuse(j, why, size, "the log cannot be written into it: it is in use");
		result = -1;
	}
	return result;
}

/* -- what a day is made of --------------------------------------------------------------------- */

int pw_journal_index(struct pw_journal *j, char *why, size_t size)
{
	char count[8];
	int result = pw_journal_ask(j, "SELECT count(*) FROM sqlite_schema WHERE type = 'index'"
				       " AND name IN ('record_told', 'record_defect',"
				       " 'record_alert', 'record_alerted')",
				    count, sizeof(count), why, size);

	if (result < 0 || strcmp(count, "4") == 0)
		return result;
	return pw_journal_run(j, later_index, why, size);
}

/* Which index serves is SQLite's to say: one whose text was damaged serves no longer, and a search
 * finds the same. */
#define NEWEST(which, most) \
	"SELECT * FROM (SELECT seq FROM record WHERE " which " ORDER BY seq DESC LIMIT " most ")"

int pw_journal_told(struct pw_journal *j,
		    void (*take)(void *ctx, enum pw_kind kind, const char *body, int64_t wall_ms),
		    void *ctx, char *why, size_t size)
{
	static const char sql[] =
		"SELECT kind, body, wall_ms FROM record WHERE seq IN ("
		NEWEST(TOLD " AND kind = 'proof'", "64") " UNION "
		NEWEST(TOLD " AND kind = 'found'", "64") " UNION "
		NEWEST(TOLD " AND kind = 'report'", "64") " UNION "
		NEWEST(TOLD " AND kind = 'setup'", "1") " UNION "
		NEWEST(DEFECT, "128") ") ORDER BY seq";
	sqlite3_stmt *s = NULL;
	int code = SQLITE_DONE, result = pw_journal_prepare(j, sql, &s, why, size);
	const char *kind;

	while (result == 0 && (code = sqlite3_step(s)) == SQLITE_ROW) {
		kind = (const char *)sqlite3_column_text(s, 0);
		take(ctx, kind != NULL ? pw_kind_find(kind) : PW_K_NONE,
		     (const char *)sqlite3_column_text(s, 1), sqlite3_column_int64(s, 2));
	}
	if (result == 0 && code != SQLITE_DONE)
		result = pw_journal_failed(j, why, size);
	sqlite3_finalize(s);
	return result;
}
