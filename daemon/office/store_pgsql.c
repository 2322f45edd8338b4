/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A store in PostgreSQL. One connection, which holds an advisory lock as long as it lives: two
 * offices never write one database. A connection that is lost is made anew by the next transaction.
 */
#include <assert.h>
#include <endian.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pgsql_internal.h"

/* types by their numbers: pg_type.dat */
enum { INT8 = 20, INT2 = 21, INT4 = 23, TEXT = 25, BYTEA = 17 };

static struct pw_pgsql_store *of(struct pw_store *s)
{
	return (struct pw_pgsql_store *)s;
}

static void close_store(struct pw_store *store)
{
	struct pw_pgsql_store *s = of(store);

	for (size_t i = 0; i < PW_TABLES; i++)
		free(s->waiting[i].rows);
	pw_pgsql_forget_made(s);
	PQfinish(s->link);
	free(s->where);
	free(s);
}

static int open_store(const char *where, bool auditor, struct pw_store **out, char *why,
		      size_t size)
{
	struct pw_pgsql_store *s = calloc(1, sizeof(*s));
	char *wrong = NULL;
	PQconninfoOption *options = PQconninfoParse(where, &wrong);
	int result = options != NULL ? 0 : -2;

	if (result < 0)
		snprintf(why, size, "postgresql: %.*s",
			 wrong != NULL ? (int)strcspn(wrong, "\n") : 9,
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
	if ((result = pw_pgsql_link(s, why, size)) < 0)
		close_store(&s->store);
	else
		*out = &s->store;
	return result;
}

/* -- statements -------------------------------------------------------------------------------- */

static Oid type_of(char arg)
{
	return arg == 'i' ? INT8 : arg == 't' ? TEXT : BYTEA;
}

static int prepare(const struct pw_pgsql_store *s, const struct pw_statement *statement,
		   const char *name, char *why, size_t size)
{
	Oid types[PW_CELLS_MAX];
	size_t count = strlen(statement->args);

	for (size_t i = 0; i < count; i++)
		types[i] = type_of(statement->args[i]);
	return pw_pgsql_finish(s, PQprepare(s->link, name, statement->sql, (int)count, types),
			       NULL, why, size);
}

static int prepare_question(struct pw_pgsql_store *s, enum pw_question q, const char *name,
			    char *why, size_t size)
{
	int result = s->prepared[q] ? 0 : prepare(s, &pw_statement[q], name, why, size);

	s->prepared[q] = result == 0;
	return result;
}

/* Ready by its name: the one with this text, or in place of the one that was made longest ago. */
static int prepare_made(struct pw_pgsql_store *s, const struct pw_statement *made, char name[16],
			char *why, size_t size)
{
	unsigned i;
	char sql[32];
	int result = 0;

	for (i = 0; i < PW_MADE_KEPT; i++)
		if (s->made[i] != NULL && strcmp(s->made[i], made->sql) == 0)
			break;
	snprintf(name, 16, "m%u", i < PW_MADE_KEPT ? i : s->made_next % PW_MADE_KEPT);
	if (i < PW_MADE_KEPT)
		return 0;
	i = s->made_next++ % PW_MADE_KEPT;
	snprintf(sql, sizeof(sql), "DEALLOCATE %s", name);
	if (s->made[i] != NULL)
		result = pw_pgsql_run(s, sql, why, size);
	free(s->made[i]);
	s->made[i] = NULL;
	if (result == 0 && (result = prepare(s, made, name, why, size)) == 0)
		s->made[i] = strdup(made->sql);
	return result;
}

struct args {
	const char *value[PW_CELLS_MAX];
	int length[PW_CELLS_MAX], format[PW_CELLS_MAX];
};

static int bind_one(struct pw_pgsql_store *s, struct args *a, size_t i, const struct pw_cell *cell,
		    char *why, size_t size)
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
		return count < 0 ? pw_cell_no_hex(cell, why, size) : 0;
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
		return (int32_t)be32toh(four);
	}
	memcpy(&two, bytes, sizeof(two));
	return (int16_t)be16toh(two);
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
		return (struct pw_cell){ .kind = PW_CELL_TEXT, .bytes = bytes,
					 .length = (size_t)length };
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
static int take_rows(const struct pw_pgsql_store *s, pw_row_taker *take, void *ctx,
		     uint64_t *changed, char *why, size_t size)
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
			result = pw_pgsql_failed(s, part, why, size);
		}
		PQclear(part);
	}
	return result;
}

/* -- asking, and steps ------------------------------------------------------------------------- */

static int ready(struct pw_pgsql_store *s, const struct pw_statement *statement, char *why,
		 size_t size)
{
	int result = pw_pgsql_link(s, why, size);

	return result == 0 && statement->reads_added ? pw_pgsql_rows_send(s, why, size) : result;
}

static int ask_prepared(struct pw_pgsql_store *s, const struct pw_statement *statement,
			const char *name, const struct pw_cell *args, pw_row_taker *take, void *ctx,
			uint64_t *changed, char *why, size_t size)
{
	size_t count = strlen(statement->args);
	struct args a;
	uint64_t rows = 0;
	int result;

	for (size_t i = 0; i < count; i++)
		if ((result = bind_one(s, &a, i, &args[i], why, size)) < 0)
			return result;
	if (!PQsendQueryPrepared(s->link, name, (int)count, a.value, a.length, a.format, 1))
		return pw_pgsql_failed(s, NULL, why, size);
	PQsetSingleRowMode(s->link);
	result = take_rows(s, take, ctx, &rows, why, size);
	if (changed != NULL)
		*changed = rows;
	return result;
}

static int ask(struct pw_store *store, enum pw_question q, const struct pw_cell *args,
	       pw_row_taker *take, void *ctx, uint64_t *changed, char *why, size_t size)
{
	struct pw_pgsql_store *s = of(store);
	char name[16];
	int result;

	snprintf(name, sizeof(name), "q%d", (int)q);
	if ((result = ready(s, &pw_statement[q], why, size)) < 0
	    || (result = prepare_question(s, q, name, why, size)) < 0)
		return result;
	return ask_prepared(s, &pw_statement[q], name, args, take, ctx, changed, why, size);
}

static int ask_made(struct pw_store *store, const struct pw_statement *made,
		    const struct pw_cell *args, pw_row_taker *take, void *ctx, char *why,
		    size_t size)
{
	struct pw_pgsql_store *s = of(store);
	char name[16];
	int result;

	if ((result = ready(s, made, why, size)) < 0
	    || (result = prepare_made(s, made, name, why, size)) < 0)
		return result;
	return ask_prepared(s, made, name, args, take, ctx, NULL, why, size);
}

/* A transaction that could not even begin is begun once more, on a new connection. */
static int begin(struct pw_pgsql_store *s, char *why, size_t size)
{
	int result = pw_pgsql_run(s, pw_step_sql[PW_BEGIN], why, size);

	if (result == -1 && PQstatus(s->link) != CONNECTION_OK
	    && (result = pw_pgsql_link(s, why, size)) == 0)
		result = pw_pgsql_run(s, pw_step_sql[PW_BEGIN], why, size);
	return result;
}

static int add(struct pw_store *store, enum pw_store_table table, size_t rows,
	       void (*fill)(void *ctx, size_t i, struct pw_cell *cells), void *ctx, char *why,
	       size_t size)
{
	struct pw_pgsql_rows *w = &of(store)->waiting[table];
	const size_t before = w->now.length;
	struct pw_cell cells[PW_CELLS_MAX];
	int result = 0;

	for (size_t i = 0; result == 0 && i < rows; i++) {
		fill(ctx, i, cells);
		result = pw_pgsql_rows_add(w, pw_columns[table].types, cells, why, size);
	}
	if (result < 0)
		w->now.length = before;
	return result;
}

static int step(struct pw_store *store, enum pw_step which, char *why, size_t size)
{
	struct pw_pgsql_store *s = of(store);
	int result;

	if (which == PW_BEGIN || which == PW_ROLLBACK)
		pw_pgsql_rows_forget(s);
	if (which == PW_MARK_UNDO)
		pw_pgsql_rows_undo(s);
	if ((result = pw_pgsql_link(s, why, size)) < 0
	    || (which == PW_COMMIT && (result = pw_pgsql_rows_send(s, why, size)) < 0)
	    || (which == PW_MARK && (result = pw_pgsql_rows_mark(s, why, size)) < 0))
		return result;
	if (which == PW_BEGIN)
		return begin(s, why, size);
	return pw_pgsql_run(s, pw_step_sql[which], why, size);
}

static int copy_store(struct pw_store *store, const char *path, char *why, size_t size)
{
	(void)store;
	(void)path;
	snprintf(why, size, "postgresql: no copy as a file; pg_dump makes one, and an auditor may "
		 "read by psql");
	return -2;
}

const struct pw_database pw_pgsql = {
	.name = "postgresql", .open = open_store, .close = close_store, .step = step, .ask = ask,
	.ask_made = ask_made, .add = add, .copy = copy_store,
};
