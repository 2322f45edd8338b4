/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A store in PostgreSQL. One connection, which holds an advisory lock as long as it lives: two offices
 * never write one database. A connection that is lost is made anew by the next transaction.
 */
#include <arpa/inet.h>
#include <assert.h>
#include <endian.h>
#include <libpq-fe.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "store_internal.h"

#define LOCK "1347899206" /* PWOF */
#define ROW_MAX (2 * PW_BODY_MAX) /* bytes of one row on its way in */
enum { INT8 = 20, INT2 = 21, INT4 = 23, TEXT = 25, BYTEA = 17 }; /* types by their numbers: pg_type.dat */

struct pgsql_store {
	struct pw_store store;
	PGconn *link;
	char *where;
	bool auditor, prepared[PW_QUESTIONS];
	unsigned char bytes[PW_CELLS_MAX][PW_CELL_HEX_MAX]; /* of arguments: hex and numbers */
	char row[ROW_MAX];
	size_t length;
};

static struct pgsql_store *of(struct pw_store *s)
{
	return (struct pgsql_store *)s;
}

/* -- errors ----------------------------------------------------------------------------------------- */

/* What the server says of a statement that can be no other the next time. */
static int judged(const struct pgsql_store *s, const char *state)
{
	static const char *const lasting[] = { "0A", "22", "23", "42", "P0" };

	for (size_t i = 0; i < sizeof(lasting) / sizeof(lasting[0]); i++)
		if (strncmp(state, lasting[i], 2) == 0)
			return -2;
	return s->auditor && strcmp(state, "25006") == 0 ? -2 : -1; /* read only */
}

static int failed(const struct pgsql_store *s, const PGresult *result, char *why, size_t size)
{
	const char *words = PQresultErrorField(result, PG_DIAG_MESSAGE_PRIMARY);
	const char *state = PQresultErrorField(result, PG_DIAG_SQLSTATE);

	if (words == NULL)
		words = PQerrorMessage(s->link);
	snprintf(why, size, "postgresql: %.*s", (int)strcspn(words, "\n"), words[0] != '\0' ? words : "no answer");
	return state != NULL && PQstatus(s->link) == CONNECTION_OK ? judged(s, state) : -1;
}

/* Clears the result. ended (may be NULL): what its command must have come to. */
static int finish(const struct pgsql_store *s, PGresult *result, const char *ended, char *why, size_t size)
{
	ExecStatusType status = PQresultStatus(result);
	int code = 0;

	if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
		code = failed(s, result, why, size);
	} else if (ended != NULL && strcmp(PQcmdStatus(result), ended) != 0) {
		snprintf(why, size, "postgresql: the transaction had failed before and was rolled back");
		code = -1;
	}
	PQclear(result);
	return code;
}

static int execute(const struct pgsql_store *s, const char *sql, char *why, size_t size)
{
	return finish(s, PQexec(s->link, sql), strcmp(sql, "COMMIT") == 0 ? sql : NULL, why, size);
}

/* -- opening ------------------------------------------------------------------------------------------ */

static void say_nothing(void *ctx, const PGresult *notice)
{
	(void)ctx;
	(void)notice;
}

/* The first column of the first row as text. */
static int ask_text(const struct pgsql_store *s, const char *sql, char *text, size_t length, char *why, size_t size)
{
	PGresult *result = PQexec(s->link, sql);

	text[0] = '\0';
	if (PQntuples(result) > 0)
		snprintf(text, length, "%s", PQgetvalue(result, 0, 0));
	return finish(s, result, NULL, why, size);
}

/* What the server must be like. */
static const struct demand {
	const char *setting, *least, *expected;
} demands[] = {
	{ "server_version_num", "150000", "version 15 or newer" },
	{ "server_encoding", NULL, "UTF8" },
	{ "fsync", NULL, "on" }, /* else a commit promises nothing */
};

static int meet(const struct pgsql_store *s, const struct demand *d, char *why, size_t size)
{
	char sql[80], value[40];
	int result;

	snprintf(sql, sizeof(sql), "SELECT current_setting('%s')", d->setting);
	if ((result = ask_text(s, sql, value, sizeof(value), why, size)) < 0)
		return result;
	if (d->least != NULL ? atol(value) >= atol(d->least) : strcmp(value, d->expected) == 0)
		return 0;
	snprintf(why, size, "postgresql: the database has %s %s; %s was expected", d->setting, value, d->expected);
	return -2;
}

/* The owner waits a moment: the server may not have noticed yet that the last one is gone. */
static int begin_session(const struct pgsql_store *s, char *why, size_t size)
{
	static const char common[] = "SET search_path = postwalk, pg_catalog; SET client_encoding = 'UTF8';";
	char sync[24];
	int result;

	if ((result = execute(s, common, why, size)) < 0)
		return result;
	for (size_t i = 0; i < sizeof(demands) / sizeof(demands[0]); i++)
		if ((result = meet(s, &demands[i], why, size)) < 0)
			return result;
	if (s->auditor)
		return execute(s, "SET default_transaction_read_only = on", why, size);
	if ((result = ask_text(s, "SELECT current_setting('synchronous_commit')", sync, sizeof(sync), why,
			       size)) < 0)
		return result;
	if (strcmp(sync, "on") != 0 && strcmp(sync, "remote_apply") != 0
	    && (result = execute(s, "SET synchronous_commit = on", why, size)) < 0)
		return result;
	result = execute(s, "SET lock_timeout = '1s'; SELECT pg_advisory_lock(" LOCK "); RESET lock_timeout",
			 why, size);
	if (result == -1 && PQstatus(s->link) == CONNECTION_OK)
		snprintf(why, size, "postgresql: another process has this store");
	return result;
}

static long newest_schema(void)
{
	long count = 0;

	while (pw_pgsql_schema[count] != NULL)
		count++;
	return count;
}

/* All that is missing, or nothing. */
static int migrate(const struct pgsql_store *s, long number, char *why, size_t size)
{
	char sql[80];
	int result = execute(s, "BEGIN", why, size);

	while (result == 0 && pw_pgsql_schema[number] != NULL) {
		result = execute(s, pw_pgsql_schema[number++], why, size);
		snprintf(sql, sizeof(sql), "INSERT INTO migration (number) VALUES (%ld)", number);
		if (result == 0)
			result = execute(s, sql, why, size);
	}
	return result < 0 ? result : execute(s, "COMMIT", why, size);
}

static int judge_schema(const struct pgsql_store *s, char *why, size_t size)
{
	char there[4], number[24] = "0";
	int result = ask_text(s, "SELECT to_regclass('postwalk.migration') IS NOT NULL", there, sizeof(there), why,
			      size);

	if (result == 0 && there[0] == 't')
		result = ask_text(s, "SELECT max(number) FROM postwalk.migration", number, sizeof(number), why,
				  size);
	if (result < 0 || atol(number) == newest_schema())
		return result;
	if (atol(number) < newest_schema() && !s->auditor)
		return migrate(s, atol(number), why, size);
	snprintf(why, size, atol(number) < newest_schema()
			? "postgresql: it has schema %s; postwalk-office has to bring it to %ld first"
			: "postgresql: it has schema %s, made by a newer postwalk-office; this one knows %ld",
		 number, newest_schema());
	return -2;
}

/* A server that went without a word is noticed within half a minute. What is in the URI stands above it. */
static int join(struct pgsql_store *s, char *why, size_t size)
{
	static const char *const names[] = { "application_name", "connect_timeout", "keepalives_idle",
					     "keepalives_interval", "keepalives_count", "tcp_user_timeout",
					     "dbname", NULL };
	const char *const values[] = { "postwalk-office", "10", "10", "5", "3", "30000", s->where, NULL };
	int result = -1;

	PQfinish(s->link);
	memset(s->prepared, 0, sizeof(s->prepared));
	s->link = PQconnectdbParams(names, values, 1);
	if (PQstatus(s->link) != CONNECTION_OK) {
		failed(s, NULL, why, size);
	} else {
		PQsetNoticeReceiver(s->link, say_nothing, NULL);
		if ((result = begin_session(s, why, size)) == 0)
			result = judge_schema(s, why, size);
	}
	if (result == 0)
		return 0;
	PQfinish(s->link);
	s->link = NULL;
	return result;
}

/* Within a transaction the link is that with which it began, or none. */
static int linked(struct pgsql_store *s, char *why, size_t size)
{
	if (s->link != NULL && PQstatus(s->link) == CONNECTION_OK)
		return 0;
	if (!s->store.begun)
		return join(s, why, size);
	snprintf(why, size, "postgresql: the connection was lost");
	return -1;
}

static void close_store(struct pw_store *store)
{
	struct pgsql_store *s = of(store);

	PQfinish(s->link);
	free(s->where);
	free(s);
}

static int open_store(const char *where, bool auditor, struct pw_store **out, char *why, size_t size)
{
	struct pgsql_store *s = calloc(1, sizeof(*s));
	char *wrong = NULL;
	PQconninfoOption *options = PQconninfoParse(where, &wrong);
	int result = options != NULL ? 0 : -2;

	if (result < 0)
		snprintf(why, size, "postgresql: %.*s", wrong != NULL ? (int)strcspn(wrong, "\n") : 9,
			 wrong != NULL ? wrong : "no memory");
	PQconninfoFree(options);
	PQfreemem(wrong);
	if (result == 0 && (s == NULL || (s->where = strdup(where)) == NULL)) {
		snprintf(why, size, "postgresql: no memory");
		result = -1;
	}
	if (result < 0) {
		free(s);
		return result;
	}
	s->store.database = &pw_pgsql;
	s->auditor = auditor;
	if ((result = join(s, why, size)) < 0)
		close_store(&s->store);
	else
		*out = &s->store;
	return result;
}

/* -- statements ----------------------------------------------------------------------------------------- */

/* A transaction that could not even begin is begun once more, on a new connection. */
static int run(struct pw_store *store, const char *sql, char *why, size_t size)
{
	struct pgsql_store *s = of(store);
	int result = linked(s, why, size);

	if (result < 0)
		return result;
	result = execute(s, sql, why, size);
	if (result == -1 && !store->begun && PQstatus(s->link) != CONNECTION_OK
	    && (result = linked(s, why, size)) == 0)
		result = execute(s, sql, why, size);
	return result;
}

static int prepare(struct pgsql_store *s, enum pw_question q, char *why, size_t size)
{
	const struct pw_statement *statement = &pw_statement[q];
	Oid types[PW_CELLS_MAX];
	size_t count = strlen(statement->args);
	char name[16];
	int result;

	if (s->prepared[q])
		return 0;
	for (size_t i = 0; i < count; i++)
		types[i] = statement->args[i] == 'i' ? INT8 : statement->args[i] == 't' ? TEXT : BYTEA;
	snprintf(name, sizeof(name), "q%d", (int)q);
	result = finish(s, PQprepare(s->link, name, statement->sql, (int)count, types), NULL, why, size);
	s->prepared[q] = result == 0;
	return result;
}

struct args {
	const char *value[PW_CELLS_MAX];
	int length[PW_CELLS_MAX], format[PW_CELLS_MAX];
};

static int no_hex(const struct pw_cell *cell, char *why, size_t size)
{
	snprintf(why, size, "hex digits were expected, not \"%.80s\"", (const char *)cell->bytes);
	return -2;
}

static int bind_one(struct pgsql_store *s, struct args *a, size_t i, const struct pw_cell *cell, char *why, size_t size)
{
	uint64_t number = htobe64((uint64_t)cell->number);
	int count;

	a->format[i] = 1;
	a->value[i] = cell->kind != PW_CELL_NONE ? (const char *)s->bytes[i] : NULL;
	switch (cell->kind) {
	case PW_CELL_NUMBER:
		memcpy(s->bytes[i], &number, sizeof(number));
		a->length[i] = sizeof(number);
		return 0;
	case PW_CELL_HEX:
		count = pw_cell_unhex(cell, s->bytes[i]);
		a->length[i] = count;
		return count < 0 ? no_hex(cell, why, size) : 0;
	case PW_CELL_TEXT:
	case PW_CELL_BYTES:
		a->value[i] = cell->bytes;
		a->length[i] = (int)cell->length;
		return 0;
	default:
		return 0;
	}
}

static int64_t number_of(const char *bytes, int length)
{
	uint64_t eight;
	uint32_t four;
	uint16_t two;

	if (length == sizeof(eight)) {
		memcpy(&eight, bytes, sizeof(eight));
		return (int64_t)be64toh(eight);
	}
	if (length == sizeof(four)) {
		memcpy(&four, bytes, sizeof(four));
		return (int32_t)ntohl(four);
	}
	memcpy(&two, bytes, sizeof(two));
	return (int16_t)ntohs(two);
}

static struct pw_cell column(const PGresult *result, int i)
{
	const char *bytes = PQgetvalue(result, 0, i);
	int length = PQgetlength(result, 0, i);

	if (PQgetisnull(result, 0, i))
		return (struct pw_cell){ 0 };
	switch (PQftype(result, i)) {
	case INT8:
	case INT4:
	case INT2:
		return pw_cell_number(number_of(bytes, length));
	case TEXT:
		return (struct pw_cell){ .kind = PW_CELL_TEXT, .bytes = bytes, .length = (size_t)length };
	default:
		assert(PQftype(result, i) == BYTEA);
		return pw_cell_bytes(bytes, (size_t)length);
	}
}

static int give(const PGresult *row, pw_row_taker *take, void *ctx)
{
	struct pw_cell cells[PW_CELLS_MAX];

	for (int i = 0; i < PQnfields(row); i++)
		cells[i] = column(row, i);
	return take != NULL ? take(ctx, cells) : 0;
}

/* Row by row, so that no answer is held whole. All of it is read even when no more is wanted. */
static int take_rows(const struct pgsql_store *s, pw_row_taker *take, void *ctx, uint64_t *changed, char *why,
		     size_t size)
{
	PGresult *part;
	int result = 0;

	while ((part = PQgetResult(s->link)) != NULL) {
		switch (PQresultStatus(part)) {
		case PGRES_SINGLE_TUPLE:
			++*changed;
			if (result == 0)
				result = give(part, take, ctx);
			break;
		case PGRES_COMMAND_OK:
			*changed = strtoull(PQcmdTuples(part), NULL, 10);
			break;
		case PGRES_TUPLES_OK:
			break;
		default:
			result = failed(s, part, why, size);
		}
		PQclear(part);
	}
	return result;
}

static int ask(struct pw_store *store, enum pw_question q, const struct pw_cell *args, pw_row_taker *take, void *ctx,
	       uint64_t *changed, char *why, size_t size)
{
	struct pgsql_store *s = of(store);
	size_t count = strlen(pw_statement[q].args);
	struct args a;
	uint64_t rows = 0;
	char name[16];
	int result;

	if ((result = linked(s, why, size)) < 0 || (result = prepare(s, q, why, size)) < 0)
		return result;
	for (size_t i = 0; i < count; i++)
		if ((result = bind_one(s, &a, i, &args[i], why, size)) < 0)
			return result;
	snprintf(name, sizeof(name), "q%d", (int)q);
	if (!PQsendQueryPrepared(s->link, name, (int)count, a.value, a.length, a.format, 1))
		return failed(s, NULL, why, size);
	PQsetSingleRowMode(s->link);
	result = take_rows(s, take, ctx, &rows, why, size);
	if (changed != NULL)
		*changed = rows;
	return result;
}

/* -- many rows: COPY, in its binary format --------------------------------------------------------------- */

static void put(struct pgsql_store *s, const void *bytes, size_t length)
{
	memcpy(s->row + s->length, bytes, length);
	s->length += length;
}

static void put_number(struct pgsql_store *s, uint64_t number, size_t bytes)
{
	uint64_t big = htobe64(number);

	put(s, (const char *)&big + sizeof(big) - bytes, bytes);
}

static int put_cell(struct pgsql_store *s, const struct pw_cell *cell, char type, char *why, size_t size)
{
	size_t width = type == 'i' ? 8 : type == 'n' ? 4 : 2;
	unsigned char bytes[PW_CELL_HEX_MAX];
	int count;

	if (s->length + sizeof(uint32_t) + PW_CELL_HEX_MAX + cell->length > sizeof(s->row)) {
		snprintf(why, size, "a row of more than %d bytes", ROW_MAX);
		return -2;
	}
	switch (cell->kind) {
	case PW_CELL_NUMBER:
		put_number(s, width, 4);
		put_number(s, (uint64_t)cell->number, width);
		return 0;
	case PW_CELL_HEX:
		if ((count = pw_cell_unhex(cell, bytes)) < 0)
			return no_hex(cell, why, size);
		put_number(s, (uint64_t)count, 4);
		put(s, bytes, (size_t)count);
		return 0;
	case PW_CELL_TEXT:
	case PW_CELL_BYTES:
		put_number(s, cell->length, 4);
		put(s, cell->bytes, cell->length);
		return 0;
	default:
		put_number(s, UINT64_MAX, 4); /* NULL has the length -1 */
		return 0;
	}
}

static int send_row(struct pgsql_store *s, const char *types, const struct pw_cell *cells, char *why, size_t size)
{
	int result = 0;

	s->length = 0;
	put_number(s, strlen(types), 2);
	for (size_t i = 0; result == 0 && types[i] != '\0'; i++)
		result = put_cell(s, &cells[i], types[i], why, size);
	if (result == 0 && PQputCopyData(s->link, s->row, (int)s->length) != 1)
		result = failed(s, NULL, why, size);
	return result;
}

static int begin_copy(const struct pgsql_store *s, const struct pw_columns *c, char *why, size_t size)
{
	static const char head[] = "PGCOPY\n\377\r\n\0\0\0\0\0\0\0\0"; /* its own zero is the last of them */
	char sql[400];
	PGresult *result;

	snprintf(sql, sizeof(sql), "COPY %s (%s) FROM STDIN (FORMAT binary)", c->table, c->names);
	result = PQexec(s->link, sql);
	if (PQresultStatus(result) != PGRES_COPY_IN)
		return finish(s, result, NULL, why, size);
	PQclear(result);
	return PQputCopyData(s->link, head, sizeof(head)) == 1 ? 0 : failed(s, NULL, why, size);
}

/* broken: why it cannot be gone on with; what was sent is then given up. */
static int end_copy(const struct pgsql_store *s, const char *broken, char *why, size_t size)
{
	static const char tail[] = { '\377', '\377' };
	uint64_t rows = 0;

	if (broken == NULL && PQputCopyData(s->link, tail, sizeof(tail)) != 1)
		return failed(s, NULL, why, size);
	if (PQputCopyEnd(s->link, broken) != 1)
		return failed(s, NULL, why, size);
	return take_rows(s, NULL, NULL, &rows, why, size);
}

static int add(struct pw_store *store, enum pw_table table, size_t rows,
	       void (*fill)(const void *ctx, size_t i, struct pw_cell *cells), const void *ctx, char *why, size_t size)
{
	struct pgsql_store *s = of(store);
	const struct pw_columns *c = &pw_columns[table];
	struct pw_cell cells[PW_CELLS_MAX];
	char then[200];
	int result;

	if (rows == 0)
		return 0;
	if ((result = linked(s, why, size)) < 0 || (result = begin_copy(s, c, why, size)) < 0)
		return result;
	for (size_t i = 0; result == 0 && i < rows; i++) {
		fill(ctx, i, cells);
		result = send_row(s, c->types, cells, why, size);
	}
	if (result == 0)
		return end_copy(s, NULL, why, size);
	end_copy(s, why, then, sizeof(then));
	return result;
}

static int copy_store(struct pw_store *store, const char *path, char *why, size_t size)
{
	(void)store;
	(void)path;
	snprintf(why, size, "postgresql: no copy as a file; pg_dump makes one, and an auditor may read by psql");
	return -2;
}

const struct pw_database pw_pgsql = {
	.name = "postgresql", .open = open_store, .close = close_store, .run = run, .ask = ask, .add = add,
	.copy = copy_store,
};
