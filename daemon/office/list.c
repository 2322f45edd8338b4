/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "columns.h"
#include "commands_internal.h"

struct pw_list {
	const char *const *names;
	size_t columns;
	json_t *rows;
};

struct pw_list *pw_list_new(const char *const *names)
{
	struct pw_list *l = calloc(1, sizeof(*l));

	if (!l)
		return NULL;
	l->names = names;
	while (names[l->columns])
		l->columns++;
	l->rows = json_array();
	return l;
}

void pw_list_row(struct pw_list *l, json_t *values)
{
	if (l && values)
		json_array_append_new(l->rows, values);
	else
		json_decref(values);
}

size_t pw_list_rows(const struct pw_list *l)
{
	return json_array_size(l->rows);
}

json_t *pw_list_time(int64_t ms)
{
	char text[PW_HOURS_TEXT_MAX];

	if (ms == 0 || ms == PW_NO_TIME)
		return json_null();
	pw_hours_stamp(ms, text);
	if (strlen(text) < 16)
		return json_null();
	text[10] = ' ';
	return json_stringn(text, 16);
}

json_t *pw_list_key(const struct pw_public_key *key)
{
	char hex[65];

	pw_public_key_print(key, hex);
	return json_string(hex);
}

/* -- printing ---------------------------------------------------------------------------------- */

static const char *text_at(void *ctx, size_t row, size_t column, char room[24])
{
	const struct pw_list *l = ctx;
	const json_t *value;

	if (row == 0)
		return l->names[column];
	value = json_array_get(json_array_get(l->rows, row - 1), column);
	if (json_is_integer(value)) {
		snprintf(room, 24, "%lld", (long long)json_integer_value(value));
		return room;
	}
	return json_is_string(value) ? json_string_value(value) : "-";
}

static void print_objects(const struct pw_list *l, FILE *out)
{
	size_t i, at;
	json_t *row, *value;

	json_array_foreach(l->rows, at, row) {
		json_t *object = json_object();

		json_array_foreach(row, i, value)
			json_object_set(object, l->names[i], value);
		json_dumpf(object, out, JSON_COMPACT);
		fputc('\n', out);
		json_decref(object);
	}
}

void pw_list_print(struct pw_list *l, bool json, FILE *out)
{
	if (json)
		print_objects(l, out);
	else if (pw_list_rows(l) > 0)
		pw_columns_print(&(struct pw_columns){ .columns = l->columns, .rows = 1 + pw_list_rows(l),
						       .cell = text_at, .ctx = l }, out);
	json_decref(l->rows);
	free(l);
}
