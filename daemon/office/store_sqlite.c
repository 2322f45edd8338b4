/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A store in a file of SQLite. One connection, and it holds the file for itself: with two that
 * write or checkpoint, the SQLite of Debian 12 and 13 can lose a transaction. Who wants to read
 * takes a copy.
 */
#include <assert.h>
#include <errno.h>
#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "store_internal.h"

#define APPLICATION_ID 0x50574f46 /* PWOF */

struct sqlite_store {
	struct pw_store store;
	sqlite3 *db;
	char *path;
	sqlite3_stmt *question[PW_QUESTIONS], *add[PW_TABLES], *made[PW_MADE_KEPT];
	unsigned made_next;
	unsigned char bytes[PW_CELLS_MAX][PW_CELL_HEX_MAX]; /* of what is bound as hex */
};

static struct sqlite_store *of(struct pw_store *s)
{
	return (struct sqlite_store *)s;
}

/* -- errors ------------------------------------------------------------------------------------ */

static int judged(int code)
{
	switch (code & 0xff) {
	case SQLITE_ERROR: /* the statements are ours and right: what they name is not there */
	case SQLITE_CONSTRAINT:
	case SQLITE_MISMATCH:
	case SQLITE_READONLY:
	case SQLITE_CORRUPT:
	case SQLITE_NOTADB:
		return -2;
	default:
		return -1;
	}
}

static int failed(struct sqlite_store *s, char *why, size_t size)
{
	int code = s->db != NULL ? sqlite3_errcode(s->db) : SQLITE_NOMEM;
	int system = s->db != NULL ? sqlite3_system_errno(s->db) : 0;
	bool device = (code & 0xff) == SQLITE_IOERR || (code & 0xff) == SQLITE_CANTOPEN;

	if ((code & 0xff) == SQLITE_BUSY)
		snprintf(why, size, "%s: another process has it", s->path);
	else
		snprintf(why, size, "%s: %s%s%s", s->path,
			 s->db != NULL ? sqlite3_errmsg(s->db) : "no memory",
			 device && system != 0 ? ": " : "",
			 device && system != 0 ? strerror(system) : "");
	return judged(code);
}

/* After some errors SQLite rolls back by itself; what came then would be committed one by one. */
static int still_begun(struct sqlite_store *s, char *why, size_t size)
{
	if (!s->store.begun || !sqlite3_get_autocommit(s->db))
		return 0;
	snprintf(why, size, "%s: the transaction was rolled back", s->path);
	return -1;
}

/* -- statements -------------------------------------------------------------------------------- */

static int run(struct sqlite_store *s, const char *sql, char *why, size_t size)
{
	return sqlite3_exec(s->db, sql, NULL, NULL, NULL) == SQLITE_OK ? 0 : failed(s, why, size);
}

static int step(struct pw_store *store, enum pw_step which, char *why, size_t size)
{
	struct sqlite_store *s = of(store);

	return still_begun(s, why, size) < 0 ? -1 : run(s, pw_step_sql[which], why, size);
}

static int prepare(struct sqlite_store *s, const char *sql, sqlite3_stmt **out, char *why,
		   size_t size)
{
	if (*out != NULL)
		return 0;
	if (sqlite3_prepare_v3(s->db, sql, -1, SQLITE_PREPARE_PERSISTENT, out, NULL) == SQLITE_OK)
		return 0;
	return failed(s, why, size);
}

static int bind(struct sqlite_store *s, sqlite3_stmt *statement, int i, const struct pw_cell *cell)
{
	int count;

	switch (cell->kind) {
	case PW_CELL_NUMBER:
		return sqlite3_bind_int64(statement, i, cell->number);
	case PW_CELL_TEXT:
		return sqlite3_bind_text(statement, i, cell->bytes, (int)cell->length,
					 SQLITE_STATIC);
	case PW_CELL_BYTES:
		return sqlite3_bind_blob(statement, i, cell->bytes, (int)cell->length,
					 SQLITE_STATIC);
	case PW_CELL_HEX:
		count = pw_cell_unhex(cell, s->bytes[i - 1]);
		return count < 0 ? SQLITE_MISMATCH
				 : sqlite3_bind_blob(statement, i, s->bytes[i - 1], count,
						     SQLITE_STATIC);
	default:
		return sqlite3_bind_null(statement, i);
	}
}

static int bind_all(struct sqlite_store *s, sqlite3_stmt *statement, const struct pw_cell *cells,
		    size_t count, char *why, size_t size)
{
	for (size_t i = 0; i < count; i++) {
		int code = bind(s, statement, (int)i + 1, &cells[i]);

		if (code == SQLITE_MISMATCH)
			return pw_cell_no_hex(&cells[i], why, size);
		if (code != SQLITE_OK)
			return failed(s, why, size);
	}
	return 0;
}

static struct pw_cell column(sqlite3_stmt *statement, int i)
{
	switch (sqlite3_column_type(statement, i)) {
	case SQLITE_INTEGER:
		return pw_cell_number(sqlite3_column_int64(statement, i));
	case SQLITE_TEXT:
		return (struct pw_cell){ .kind = PW_CELL_TEXT,
					 .bytes = sqlite3_column_text(statement, i),
					 .length = (size_t)sqlite3_column_bytes(statement, i) };
	case SQLITE_BLOB:
		return pw_cell_bytes(sqlite3_column_blob(statement, i),
				     (size_t)sqlite3_column_bytes(statement, i));
	default:
		return (struct pw_cell){ 0 };
	}
}

/* Steps through all rows, and makes the statement ready again. */
static int step_all(struct sqlite_store *s, sqlite3_stmt *statement, pw_row_taker *take, void *ctx,
		    uint64_t *rows, char *why, size_t size)
{
	struct pw_cell cells[PW_CELLS_MAX];
	int columns = sqlite3_column_count(statement), code, result = 0;

	while (result == 0 && (code = sqlite3_step(statement)) != SQLITE_DONE) {
		if (code != SQLITE_ROW) {
			result = failed(s, why, size);
			break;
		}
		for (int i = 0; i < columns; i++)
			cells[i] = column(statement, i);
		++*rows;
		if (take != NULL)
			result = take(ctx, cells);
	}
	sqlite3_reset(statement);
	return result;
}

static int ask_prepared(struct sqlite_store *s, const struct pw_statement *what,
			sqlite3_stmt **statement, const struct pw_cell *args, pw_row_taker *take,
			void *ctx, uint64_t *changed, char *why, size_t size)
{
	uint64_t rows = 0;
	int result;

	if ((result = still_begun(s, why, size)) < 0
	    || (result = prepare(s, what->sql, statement, why, size)) < 0)
		return result;
	assert(!sqlite3_stmt_busy(*statement));
	if ((result = bind_all(s, *statement, args, strlen(what->args), why, size)) < 0)
		return result;
	result = step_all(s, *statement, take, ctx, &rows, why, size);
	if (changed != NULL)
		*changed = sqlite3_column_count(*statement) > 0
				   ? rows : (uint64_t)sqlite3_changes64(s->db);
	return result;
}

static int ask(struct pw_store *store, enum pw_question q, const struct pw_cell *args,
	       pw_row_taker *take, void *ctx, uint64_t *changed, char *why, size_t size)
{
	return ask_prepared(of(store), &pw_statement[q], &of(store)->question[q], args, take, ctx,
			    changed, why, size);
}

/* The one with this text, or the place of the one that was made longest ago. */
static sqlite3_stmt **find_made(struct sqlite_store *s, const char *sql)
{
	sqlite3_stmt **place;

	for (size_t i = 0; i < PW_MADE_KEPT; i++)
		if (s->made[i] != NULL && strcmp(sqlite3_sql(s->made[i]), sql) == 0)
			return &s->made[i];
	place = &s->made[s->made_next++ % PW_MADE_KEPT];
	sqlite3_finalize(*place);
	*place = NULL;
	return place;
}

static int ask_made(struct pw_store *store, const struct pw_statement *made,
		    const struct pw_cell *args, pw_row_taker *take, void *ctx, char *why,
		    size_t size)
{
	return ask_prepared(of(store), made, find_made(of(store), made->sql), args, take, ctx, NULL,
			    why, size);
}

/* -- many rows --------------------------------------------------------------------------------- */

static int prepare_add(struct sqlite_store *s, enum pw_store_table table, char *why, size_t size)
{
	const struct pw_columns *c = &pw_columns[table];
	char sql[1024], *end;
	int n;

	if (s->add[table] != NULL)
		return 0;
	n = snprintf(sql, sizeof(sql), "INSERT INTO %s (%s) VALUES (", c->table, c->names);
	end = sql + n;
	for (size_t i = 0; i < strlen(c->types); i++)
		end = stpcpy(end, i == 0 ? "?" : ", ?");
	stpcpy(end, ")");
	return prepare(s, sql, &s->add[table], why, size);
}

static int add(struct pw_store *store, enum pw_store_table table, size_t rows,
	       void (*fill)(void *ctx, size_t i, struct pw_cell *cells), void *ctx, char *why,
	       size_t size)
{
	struct sqlite_store *s = of(store);
	size_t columns = strlen(pw_columns[table].types);
	struct pw_cell cells[PW_CELLS_MAX];
	uint64_t none = 0;
	int result;

	if ((result = still_begun(s, why, size)) < 0
	    || (result = prepare_add(s, table, why, size)) < 0)
		return result;
	for (size_t i = 0; i < rows; i++) {
		fill(ctx, i, cells);
		if ((result = bind_all(s, s->add[table], cells, columns, why, size)) < 0
		    || (result = step_all(s, s->add[table], NULL, NULL, &none, why, size)) < 0)
			return result;
	}
	return 0;
}

/* -- opening ----------------------------------------------------------------------------------- */

/* The first column of the first row as a number. */
static int ask_number(struct sqlite_store *s, const char *sql, int64_t *number, char *why,
		      size_t size)
{
	sqlite3_stmt *statement = NULL;
	int result = prepare(s, sql, &statement, why, size), code;

	if (result < 0)
		return result;
	code = sqlite3_step(statement);
	*number = code == SQLITE_ROW ? sqlite3_column_int64(statement, 0) : 0;
	while (code == SQLITE_ROW)
		code = sqlite3_step(statement);
	if (code != SQLITE_DONE)
		result = failed(s, why, size);
	sqlite3_finalize(statement);
	return result;
}

static int64_t newest_schema(void)
{
	int64_t count = 0;

	while (pw_sqlite_schema[count] != NULL)
		count++;
	return count;
}

/* The number of its schema; 0: it is empty. */
static int judge_file(struct sqlite_store *s, int64_t *version, char *why, size_t size)
{
	int64_t id = 0, tables = 0;
	int result;

	if ((result = ask_number(s, "PRAGMA application_id", &id, why, size)) < 0
	    || (result = ask_number(s, "PRAGMA user_version", version, why, size)) < 0
	    || (result = ask_number(s, "SELECT count(*) FROM sqlite_schema", &tables, why,
				    size)) < 0)
		return result;
	if (id != APPLICATION_ID && (id != 0 || *version != 0 || tables != 0)) {
		snprintf(why, size, "%s: is a database, but not a store of postwalk-office",
			 s->path);
		return -2;
	}
	if (*version > newest_schema()) {
		snprintf(why, size, "%s: has schema %lld, made by a newer postwalk-office; this "
			 "one knows %lld",
			 s->path, (long long)*version, (long long)newest_schema());
		return -2;
	}
	return 0;
}

/* All that is missing, or nothing. */
static int migrate(struct sqlite_store *s, int64_t version, char *why, size_t size)
{
	char end[120];
	int result;

	if (version == newest_schema())
		return 0;
	if ((result = run(s, "BEGIN", why, size)) < 0)
		return result;
	for (; result == 0 && pw_sqlite_schema[version] != NULL; version++)
		result = run(s, pw_sqlite_schema[version], why, size);
	snprintf(end, sizeof(end), "PRAGMA application_id = %d; PRAGMA user_version = %lld; COMMIT",
		 APPLICATION_ID, (long long)version);
	return result < 0 ? result : run(s, end, why, size);
}

/* A log that is left is written into the file and synced before anything is told of it: after a
 * sync that the disk refused, the kernel may call pages clean that are not on the disk. */
static int open_owner(struct sqlite_store *s, char *why, size_t size)
{
	int64_t version = 0, busy = 0;
	int result;

	if (sqlite3_open_v2(s->path, &s->db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE,
			    NULL) != SQLITE_OK)
		return failed(s, why, size);
	if (sqlite3_db_readonly(s->db, "main") == 1) {
		snprintf(why, size, "%s: cannot be written", s->path);
		return -1;
	}
	sqlite3_busy_timeout(s->db, 1000);
	if ((result = run(s, "PRAGMA locking_mode = EXCLUSIVE; PRAGMA page_size = 4096;"
				     "PRAGMA trusted_schema = OFF; PRAGMA cell_size_check = ON",
			  why, size)) < 0
	    || (result = judge_file(s, &version, why, size)) < 0
	    || (result = run(s, "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
					"PRAGMA foreign_keys = ON; PRAGMA cache_size = -16384;"
					"PRAGMA wal_autocheckpoint = 4096", why, size)) < 0
	    || (result = ask_number(s, "PRAGMA wal_checkpoint(TRUNCATE)", &busy, why, size)) < 0)
		return result;
	return migrate(s, version, why, size);
}

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
static int open_reader(struct sqlite_store *s, char *why, size_t size)
{
	char *log = sqlite3_mprintf("%s-wal", s->path);
	bool at_rest = log != NULL && access(log, F_OK) < 0;
	char *name = at_rest ? immutable_uri(s->path) : sqlite3_mprintf("%s", s->path);
	int flags = SQLITE_OPEN_READONLY | (at_rest ? SQLITE_OPEN_URI : 0), code = SQLITE_NOMEM;

	if (log != NULL && name != NULL)
		code = sqlite3_open_v2(name, &s->db, flags, NULL);
	sqlite3_free(name);
	sqlite3_free(log);
	return code == SQLITE_OK ? 0 : failed(s, why, size);
}

static int open_auditor(struct sqlite_store *s, char *why, size_t size)
{
	int64_t version = 0;
	int result = open_reader(s, why, size);

	if (result < 0)
		return result;
	sqlite3_db_config(s->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
	if ((result = run(s, "PRAGMA query_only = ON; PRAGMA trusted_schema = OFF", why, size)) < 0
	    || (result = judge_file(s, &version, why, size)) < 0)
		return result;
	if (version == newest_schema())
		return 0;
	snprintf(why, size, "%s: has schema %lld; postwalk-office has to bring it to %lld first",
		 s->path, (long long)version, (long long)newest_schema());
	return -2;
}

static void close_store(struct pw_store *store)
{
	struct sqlite_store *s = of(store);

	for (size_t i = 0; i < PW_QUESTIONS; i++)
		sqlite3_finalize(s->question[i]);
	for (size_t i = 0; i < PW_TABLES; i++)
		sqlite3_finalize(s->add[i]);
	for (size_t i = 0; i < PW_MADE_KEPT; i++)
		sqlite3_finalize(s->made[i]);
	sqlite3_close(s->db);
	free(s->path);
	free(s);
}

static int open_store(const char *where, bool auditor, struct pw_store **out, char *why,
		      size_t size)
{
	struct sqlite_store *s = calloc(1, sizeof(*s));
	int result;

	if (s == NULL || (s->path = strdup(where)) == NULL) {
		free(s);
		snprintf(why, size, "%s: no memory", where);
		return -1;
	}
	s->store.database = &pw_sqlite;
	result = auditor ? open_auditor(s, why, size) : open_owner(s, why, size);
	if (result < 0)
		close_store(&s->store);
	else
		*out = &s->store;
	return result;
}

/* -- copying ----------------------------------------------------------------------------------- */

static int copy_into(struct sqlite_store *s, sqlite3 *to, const char *path, char *why, size_t size)
{
	sqlite3_backup *backup = sqlite3_backup_init(to, "main", s->db, "main");
	int code;

	if (backup != NULL) {
		sqlite3_backup_step(backup, -1);
		code = sqlite3_backup_finish(backup);
	} else {
		code = sqlite3_errcode(to);
	}
	if (code == SQLITE_OK)
		code = sqlite3_exec(to, "PRAGMA journal_mode = DELETE", NULL, NULL, NULL);
	if (code == SQLITE_OK)
		return 0;
	snprintf(why, size, "%s: %s", path, sqlite3_errstr(code));
	return -1;
}

/* Its journal mode is such that it can be read where nothing may be made beside it. */
static int copy_store(struct pw_store *store, const char *path, char *why, size_t size)
{
	sqlite3 *to = NULL;
	int result = -1;

	if (access(path, F_OK) == 0) {
		snprintf(why, size, "%s: is there already", path);
		return -2;
	}
	if (sqlite3_open_v2(path, &to, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE,
			    NULL) == SQLITE_OK)
		result = copy_into(of(store), to, path, why, size);
	else
		snprintf(why, size, "%s: %s", path, sqlite3_errmsg(to));
	sqlite3_close(to);
	if (result < 0)
		unlink(path);
	return result;
}

const struct pw_database pw_sqlite = {
	.name = "sqlite", .open = open_store, .close = close_store, .step = step, .ask = ask,
	.ask_made = ask_made, .add = add, .copy = copy_store,
};
