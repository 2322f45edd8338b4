/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>

#include "csv.h"
#include "report_internal.h"

void pw_csv_head(const struct pw_table *t, FILE *out)
{
	const char *name[PW_CSV_COLUMNS_MAX];

	for (size_t i = 0; i < t->columns && i < PW_CSV_COLUMNS_MAX; i++)
		name[i] = t->column[i].name;
	pw_csv_write(out, t->columns, name);
}

/* The row's texts, one behind the other with a zero behind each. */
void pw_csv_row(const struct pw_table *t, size_t row, FILE *out)
{
	const struct pw_cell *cell = t->cell + row * t->columns;
	const char *field[PW_CSV_COLUMNS_MAX];
	long begin[PW_CSV_COLUMNS_MAX];
	char *text = NULL;
	size_t length = 0;
	FILE *f = open_memstream(&text, &length);

	if (!f) {
		t->r->broke = true;
		return;
	}
	for (size_t i = 0; i < t->columns; i++) {
		begin[i] = ftell(f);
		pw_value_plain(&t->column[i], &cell[i], f);
		putc('\0', f);
	}
	if (fclose(f) == 0) {
		for (size_t i = 0; i < t->columns; i++)
			field[i] = text + begin[i];
		pw_csv_write(out, t->columns, field);
	} else {
		t->r->broke = true;
	}
	free(text);
}

int pw_report_csv(const struct pw_report *r, const char *table, FILE *out)
{
	const struct pw_table *t = pw_report_find(r, table);

	if (!t)
		return -1;
	pw_csv_head(t, out);
	for (size_t row = 0; row < t->cells / t->columns; row++)
		pw_csv_row(t, row, out);
	return 0;
}
