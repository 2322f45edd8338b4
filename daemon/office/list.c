/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "commands_internal.h"

#define COLUMNS_MAX 12

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

static const char *text_of(const json_t *value, char digits[24])
{
	if (json_is_integer(value)) {
		snprintf(digits, 24, "%lld", (long long)json_integer_value(value));
		return digits;
	}
	return json_is_string(value) ? json_string_value(value) : "-";
}

/* In characters: no byte of UTF-8 but the first of a character counts. */
static size_t width_of(const char *text)
{
	size_t n = 0;

	for (; *text != '\0'; text++)
		n += ((unsigned char)*text & 0xc0) != 0x80;
	return n;
}

static void print_cell(const char *text, size_t width, bool last, FILE *out)
{
	fputs(text, out);
	for (size_t n = width_of(text); !last && n < width + 2; n++)
		fputc(' ', out);
	if (last)
		fputc('\n', out);
}

static void print_columns(const struct pw_list *l, FILE *out)
{
	size_t width[COLUMNS_MAX], i, at;
	json_t *row, *value;
	char digits[24];

	for (i = 0; i < l->columns; i++)
		width[i] = width_of(l->names[i]);
	json_array_foreach(l->rows, at, row)
		json_array_foreach(row, i, value)
			if (width_of(text_of(value, digits)) > width[i])
				width[i] = width_of(text_of(value, digits));
	for (i = 0; i < l->columns; i++)
		print_cell(l->names[i], width[i], i + 1 == l->columns, out);
	json_array_foreach(l->rows, at, row)
		json_array_foreach(row, i, value)
			print_cell(text_of(value, digits), width[i], i + 1 == l->columns, out);
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
		print_columns(l, out);
	json_decref(l->rows);
	free(l);
}
