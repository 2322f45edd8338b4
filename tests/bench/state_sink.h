/* SPDX-License-Identifier: Apache-2.0 */
/* state_sink.h - rows in bulk straight into either database, indexes afterwards. Whatever fails ends it. */
#ifndef BENCH_STATE_SINK_H
#define BENCH_STATE_SINK_H

#include <libpq-fe.h>
#include <sqlite3.h>
#include <stdlib.h>

#include "office/store_internal.h"

#define SINK_INDEXES 64

struct sink {
	sqlite3 *db;       /* one of the two */
	PGconn *link;
	sqlite3_stmt *add;
	char *text;        /* of COPY */
	size_t length, room;
	int columns;
	char *index[SINK_INDEXES], *index_name[SINK_INDEXES];
	int indexes;
	uint64_t rows;
};

static inline void sink_fail(const struct sink *s, const char *what)
{
	fprintf(stderr, "state: %s: %s\n", what,
		s->db != NULL ? sqlite3_errmsg(s->db) : PQerrorMessage(s->link));
	exit(1);
}

static inline void sink_do(struct sink *s, const char *sql)
{
	PGresult *result;

	if (s->db != NULL) {
		if (sqlite3_exec(s->db, sql, NULL, NULL, NULL) != SQLITE_OK)
			sink_fail(s, sql);
		return;
	}
	result = PQexec(s->link, sql);
	if (PQresultStatus(result) != PGRES_COMMAND_OK && PQresultStatus(result) != PGRES_TUPLES_OK)
		sink_fail(s, sql);
	PQclear(result);
}

/* -- indexes ----------------------------------------------------------------------------------- */

static inline void sink_note_index(struct sink *s, const char *name, const char *sql)
{
	const char *only = strstr(sql, " ON ONLY ");

	if (s->indexes == SINK_INDEXES)
		sink_fail(s, "too many indexes");
	s->index_name[s->indexes] = strdup(name);
	s->index[s->indexes] = malloc(strlen(sql) + 1);
	if (only != NULL)
		sprintf(s->index[s->indexes], "%.*s ON %s", (int)(only - sql), sql, only + 9);
	else
		strcpy(s->index[s->indexes], sql);
	s->indexes++;
}

static inline int sink_take_index(void *ctx, int columns, char **value, char **name)
{
	(void)columns;
	(void)name;
	sink_note_index(ctx, value[0], value[1]);
	return 0;
}

static inline void sink_find_indexes(struct sink *s)
{
	static const char in_pgsql[] =
		"SELECT c.relname, pg_get_indexdef(c.oid) FROM pg_index i JOIN pg_class c ON c.oid ="
		" i.indexrelid WHERE c.relnamespace = 'postwalk'::regnamespace AND NOT"
		" c.relispartition AND NOT i.indisunique";
	PGresult *result;

	if (s->db != NULL) {
		sqlite3_exec(s->db, "SELECT name, sql FROM sqlite_schema WHERE type = 'index' AND"
			     " sql IS NOT NULL", sink_take_index, s, NULL);
		return;
	}
	result = PQexec(s->link, in_pgsql);
	for (int i = 0; i < PQntuples(result); i++)
		sink_note_index(s, PQgetvalue(result, i, 0), PQgetvalue(result, i, 1));
	PQclear(result);
}

static inline void sink_drop_indexes(struct sink *s)
{
	char sql[200];

	sink_find_indexes(s);
	for (int i = 0; i < s->indexes; i++) {
		snprintf(sql, sizeof(sql), "DROP INDEX %s", s->index_name[i]);
		sink_do(s, sql);
	}
}

/* -- opening ----------------------------------------------------------------------------------- */

static inline void sink_open(struct sink *s, const char *where)
{
	*s = (struct sink){ 0 };
	if (strncmp(where, "postgresql://", 13) == 0) {
		s->link = PQconnectdb(where);
		sink_do(s, "SET search_path = postwalk; SET synchronous_commit = off;"
			   "SET maintenance_work_mem = '1GB'; SET client_min_messages = warning");
	} else {
		if (sqlite3_open(where, &s->db) != SQLITE_OK)
			sink_fail(s, where);
		sink_do(s, "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;"
			   "PRAGMA locking_mode = EXCLUSIVE; PRAGMA cache_size = -1500000;"
			   "PRAGMA temp_store = MEMORY");
	}
	sink_drop_indexes(s);
	sink_do(s, "BEGIN");
}

static inline void sink_close(struct sink *s)
{
	for (int i = 0; i < s->indexes; i++)
		sink_do(s, s->index[i]);
	sink_do(s, "COMMIT");
	if (s->link != NULL)
		sink_do(s, "ANALYZE");
	sqlite3_close(s->db);
	PQfinish(s->link);
}

/* -- rows -------------------------------------------------------------------------------------- */

static inline void sink_begin(struct sink *s, const char *table, const char *names)
{
	char sql[1200];
	int n;
	PGresult *result;

	s->columns = 1;
	for (const char *at = names; (at = strchr(at, ',')) != NULL; at++)
		s->columns++;
	if (s->link != NULL) {
		snprintf(sql, sizeof(sql), "COPY %s (%s) FROM STDIN", table, names);
		result = PQexec(s->link, sql);
		if (PQresultStatus(result) != PGRES_COPY_IN)
			sink_fail(s, sql);
		PQclear(result);
		return;
	}
	n = snprintf(sql, sizeof(sql), "INSERT INTO %s (%s) VALUES (?", table, names);
	for (int i = 1; i < s->columns; i++)
		n += snprintf(sql + n, sizeof(sql) - (size_t)n, ", ?");
	snprintf(sql + n, sizeof(sql) - (size_t)n, ")");
	if (sqlite3_prepare_v2(s->db, sql, -1, &s->add, NULL) != SQLITE_OK)
		sink_fail(s, sql);
}

static inline void sink_bind(struct sink *s, int i, const struct pw_cell *c)
{
	unsigned char bytes[PW_CELL_HEX_MAX];
	int count;

	switch (c->kind) {
	case PW_CELL_NUMBER:
		sqlite3_bind_int64(s->add, i, c->number);
		break;
	case PW_CELL_TEXT:
		sqlite3_bind_text(s->add, i, c->bytes, (int)c->length, SQLITE_STATIC);
		break;
	case PW_CELL_HEX:
		count = pw_cell_unhex(c, bytes);
		sqlite3_bind_blob(s->add, i, bytes, count, SQLITE_TRANSIENT);
		break;
	default:
		sqlite3_bind_null(s->add, i);
	}
}

static inline void sink_write(struct sink *s, const char *text, size_t length)
{
	if (s->room - s->length < length) {
		s->room = s->room > 0 ? 2 * s->room + length : 1 << 20;
		s->text = realloc(s->text, s->room);
	}
	memcpy(s->text + s->length, text, length);
	s->length += length;
}

static inline void sink_copy(struct sink *s, const struct pw_cell *c)
{
	char number[24];

	switch (c->kind) {
	case PW_CELL_NUMBER:
		sink_write(s, number, (size_t)snprintf(number, sizeof(number), "%lld",
						       (long long)c->number));
		break;
	case PW_CELL_HEX:
		sink_write(s, "\\\\x", 3);
		sink_write(s, c->bytes, c->length);
		break;
	case PW_CELL_TEXT:
		for (size_t i = 0; i < c->length; i++) {
			const char *at = (const char *)c->bytes + i;

			if (*at == '\\')
				sink_write(s, "\\", 1);
			sink_write(s, at, 1);
		}
		break;
	default:
		sink_write(s, "\\N", 2);
	}
}

static inline void sink_send(struct sink *s)
{
	if (s->length > 0 && PQputCopyData(s->link, s->text, (int)s->length) != 1)
		sink_fail(s, "COPY");
	s->length = 0;
}

static inline void sink_row(struct sink *s, const struct pw_cell *cells)
{
	s->rows++;
	for (int i = 0; i < s->columns; i++) {
		if (s->db != NULL) {
			sink_bind(s, i + 1, &cells[i]);
			continue;
		}
		sink_copy(s, &cells[i]);
		sink_write(s, i + 1 < s->columns ? "\t" : "\n", 1);
	}
	if (s->db != NULL) {
		if (sqlite3_step(s->add) != SQLITE_DONE)
			sink_fail(s, "INSERT");
		sqlite3_reset(s->add);
	} else if (s->length > 1 << 19) {
		sink_send(s);
	}
}

static inline void sink_end(struct sink *s)
{
	PGresult *result;

	if (s->db != NULL) {
		sqlite3_finalize(s->add);
		s->add = NULL;
		return;
	}
	sink_send(s);
	if (PQputCopyEnd(s->link, NULL) != 1)
		sink_fail(s, "COPY");
	while ((result = PQgetResult(s->link)) != NULL) {
		if (PQresultStatus(result) != PGRES_COMMAND_OK)
			sink_fail(s, "COPY");
		PQclear(result);
	}
}

#endif
