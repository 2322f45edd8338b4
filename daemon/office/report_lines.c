/* SPDX-License-Identifier: Apache-2.0 */
#include <jansson.h>
#include <math.h>
#include <string.h>

#include "report_internal.h"

static void put_string(const char *text, size_t length, FILE *out)
{
	json_t *value = json_stringn(text, length);

	if (!value || json_dumpf(value, out, JSON_ENCODE_ANY))
		fputs("null", out);
	json_decref(value);
}

static void put_text(const char *text, FILE *out)
{
	put_string(text, strlen(text), out);
}

static void put_codes(const char *codes, FILE *out)
{
	const char *between = "";

	putc('[', out);
	for (size_t length; (length = pw_value_code(&codes)) > 0; codes += length) {
		fputs(between, out);
		put_string(codes, length, out);
		between = ",";
	}
	putc(']', out);
}

static void put_value(const struct pw_column *c, const struct pw_cell *cell, FILE *out)
{
	const bool number = cell->is == PW_CELL_COUNT || (cell->is == PW_CELL_TIME &&
							  c->kind == PW_COL_SPAN) ||
			    (cell->is == PW_CELL_NUMBER && isfinite(cell->number));

	if (cell->is == PW_CELL_NONE) {
		fputs("null", out);
	} else if (cell->is == PW_CELL_TEXT) {
		put_text(cell->text, out);
	} else if (cell->is == PW_CELL_WORDS) {
		put_codes(cell->text, out);
	} else {
		/* Nothing of it needs an escape. */
		fputs(number ? "" : "\"", out);
		pw_value_plain(c, cell, out);
		fputs(number ? "" : "\"", out);
	}
}

void pw_lines_row(const struct pw_table *t, size_t row, FILE *out)
{
	const struct pw_cell *cell = t->cell + row * t->columns;

	fprintf(out, "{\"table\":\"%s\"", t->name);
	for (size_t i = 0; i < t->columns; i++) {
		fprintf(out, ",\"%s\":", t->column[i].name);
		put_value(&t->column[i], &cell[i], out);
	}
	fputs("}\n", out);
}

void pw_report_lines(const struct pw_report *r, FILE *out)
{
	for (const struct pw_block *b = r->first; b; b = b->next)
		for (size_t row = 0; b->table && row < b->table->cells / b->table->columns; row++)
			pw_lines_row(b->table, row, out);
}
