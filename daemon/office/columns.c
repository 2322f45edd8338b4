/* SPDX-License-Identifier: Apache-2.0 */
#include "columns.h"

#define GAP 2

/* In characters: no byte of UTF-8 but the first of a character counts. */
static size_t width_of(const char *text)
{
	size_t n = 0;

	for (; *text != '\0'; text++)
		n += ((unsigned char)*text & 0xc0) != 0x80;
	return n;
}

static void print_row(const struct pw_columns *c, size_t row, const size_t *width, FILE *out)
{
	char room[24];

	for (size_t i = 0; i < c->columns; i++) {
		const bool right = c->right && c->right[i], last = i + 1 == c->columns;
		const char *text = c->cell(c->ctx, row, i, room);
		const int space = (int)(width[i] - width_of(text));

		if (right)
			fprintf(out, "%*s%s", space, "", text);
		else
			fprintf(out, "%s%*s", text, last ? 0 : space, "");
		fprintf(out, "%*s", last ? 0 : GAP, "");
	}
	putc('\n', out);
}

void pw_columns_print(const struct pw_columns *c, FILE *out)
{
	size_t width[PW_COLUMNS_MAX] = { 0 };
	char room[24];

	for (size_t row = 0; row < c->rows; row++)
		for (size_t i = 0; i < c->columns; i++) {
			const size_t w = width_of(c->cell(c->ctx, row, i, room));

			width[i] = w > width[i] ? w : width[i];
		}
	for (size_t row = 0; row < c->rows; row++)
		print_row(c, row, width, out);
}
