/* SPDX-License-Identifier: Apache-2.0 */
/* Rows on their way into PostgreSQL: many at a time, by COPY in its binary format. */
#include <endian.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "pgsql_internal.h"

#define WAITING_MAX (1 << 20) /* bytes of rows that wait; more are sent at the next mark */

static int put(struct pw_pgsql_rows *w, const void *bytes, size_t length)
{
	size_t room = w->room > 0 ? w->room : 1 << 16;
	char *rows;

	while (room - w->now.length < length)
		room *= 2;
	if (room > w->room) {
		if ((rows = realloc(w->rows, room)) == NULL)
			return -1;
		w->rows = rows;
		w->room = room;
	}
	memcpy(w->rows + w->now.length, bytes, length);
	w->now.length += length;
	return 0;
}

static int put_number(struct pw_pgsql_rows *w, uint64_t number, size_t bytes)
{
	uint64_t big = htobe64(number);

	return put(w, (const char *)&big + sizeof(big) - bytes, bytes);
}

/* Its length, then itself. */
static int put_cell(struct pw_pgsql_rows *w, const struct pw_cell *cell, char type, char *why,
		    size_t size)
{
	size_t width = type == 'i' ? 8 : type == 'n' ? 4 : 2;
	unsigned char bytes[PW_CELL_HEX_MAX];
	int count, result;

	switch (cell->kind) {
	case PW_CELL_NUMBER:
		result = put_number(w, width, 4) | put_number(w, (uint64_t)cell->number, width);
		break;
	case PW_CELL_HEX:
		if ((count = pw_cell_unhex(cell, bytes)) < 0)
			return pw_cell_no_hex(cell, why, size);
		result = put_number(w, (uint64_t)count, 4) | put(w, bytes, (size_t)count);
		break;
	case PW_CELL_TEXT:
	case PW_CELL_BYTES:
		result = put_number(w, cell->length, 4) | put(w, cell->bytes, cell->length);
		break;
	default:
		result = put_number(w, UINT64_MAX, 4); /* NULL has the length -1 */
	}
	if (result < 0)
		snprintf(why, size, "postgresql: no memory");
	return result;
}

int pw_pgsql_rows_add(struct pw_pgsql_rows *w, const char *types, const struct pw_cell *cells,
		      char *why, size_t size)
{
	int result = put_number(w, strlen(types), 2);

	for (size_t i = 0; result == 0 && types[i] != '\0'; i++)
		result = put_cell(w, &cells[i], types[i], why, size);
	return result;
}

static int begin_copy(const struct pw_pgsql_store *s, const struct pw_columns *c, char *why,
		      size_t size)
{
	/* its own zero is the last of them */
	static const char head[] = "PGCOPY\n\377\r\n\0\0\0\0\0\0\0\0";
	char sql[1024];
	PGresult *result;

	snprintf(sql, sizeof(sql), "COPY %s (%s) FROM STDIN (FORMAT binary)", c->table, c->names);
	result = PQexec(s->link, sql);
	if (PQresultStatus(result) != PGRES_COPY_IN)
		return pw_pgsql_finish(s, result, NULL, why, size);
	PQclear(result);
	if (PQputCopyData(s->link, head, sizeof(head)) != 1)
		return pw_pgsql_failed(s, NULL, why, size);
	return 0;
}

static int copy_rows(const struct pw_pgsql_store *s, const struct pw_pgsql_rows *w, char *why,
		     size_t size)
{
	static const char tail[] = { '\377', '\377' };
	PGresult *end;
	int result = 0, code;

	for (size_t at = w->now.sent, part; at < w->now.length; at += part) {
		part = w->now.length - at < 65536 ? w->now.length - at : 65536;
		if (PQputCopyData(s->link, w->rows + at, (int)part) != 1)
			return pw_pgsql_failed(s, NULL, why, size);
	}
	if (PQputCopyData(s->link, tail, sizeof(tail)) != 1 || PQputCopyEnd(s->link, NULL) != 1)
		return pw_pgsql_failed(s, NULL, why, size);
	while ((end = PQgetResult(s->link)) != NULL)
		if ((code = pw_pgsql_finish(s, end, NULL, why, size)) < 0)
			result = code;
	return result;
}

int pw_pgsql_rows_send(struct pw_pgsql_store *s, char *why, size_t size)
{
	int result;

	for (enum pw_store_table i = 0; i < PW_TABLES; i++) {
		struct pw_pgsql_rows *w = &s->waiting[i];

		if (w->now.sent == w->now.length)
			continue;
		if ((result = begin_copy(s, &pw_columns[i], why, size)) < 0
		    || (result = copy_rows(s, w, why, size)) < 0)
			return result;
		w->now.sent = w->now.length;
	}
	return 0;
}

static size_t waits(const struct pw_pgsql_store *s)
{
	size_t bytes = 0;

	for (size_t i = 0; i < PW_TABLES; i++)
		bytes += s->waiting[i].now.length;
	return bytes;
}

int pw_pgsql_rows_mark(struct pw_pgsql_store *s, char *why, size_t size)
{
	int result = 0;

	if (waits(s) > WAITING_MAX && (result = pw_pgsql_rows_send(s, why, size)) == 0)
		pw_pgsql_rows_forget(s);
	for (size_t i = 0; i < PW_TABLES; i++)
		s->waiting[i].at_mark = s->waiting[i].now;
	return result;
}

void pw_pgsql_rows_undo(struct pw_pgsql_store *s)
{
	for (size_t i = 0; i < PW_TABLES; i++)
		s->waiting[i].now = s->waiting[i].at_mark;
}

void pw_pgsql_rows_forget(struct pw_pgsql_store *s)
{
	for (size_t i = 0; i < PW_TABLES; i++)
		s->waiting[i].now = (struct pw_pgsql_part){ 0 };
}
