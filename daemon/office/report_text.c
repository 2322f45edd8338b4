/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "columns.h"
#include "report_internal.h"

/* A table's texts, as they are shown, one behind the other. */
struct texts {
	char *text;
	long *begin;
	size_t columns;
};

static const char *text_at(void *ctx, size_t row, size_t column, char room[24])
{
	const struct texts *x = ctx;

	(void)room;
	return x->text + x->begin[row * x->columns + column];
}

static void put_cells(const struct pw_table *t, long *begin, FILE *f)
{
	for (size_t i = 0; i < t->columns; i++) {
		*begin++ = ftell(f);
		fputs(t->column[i].title ? pw_phrase(t->r->tongue,
						     t->column[i].title) : t->column[i].name, f);
		putc('\0', f);
	}
	for (size_t i = 0; i < t->cells; i++) {
		*begin++ = ftell(f);
		pw_value_shown(t, &t->column[i % t->columns], &t->cell[i], f);
		putc('\0', f);
	}
}

static bool to_the_right(const struct pw_column *c)
{
	return c->kind == PW_COL_COUNT || c->kind == PW_COL_NUMBER || c->kind == PW_COL_SHARE ||
	       c->kind == PW_COL_SPAN;
}

static void print_table(const struct pw_table *t, FILE *out)
{
	bool right[PW_COLUMNS_MAX];
	struct texts x = { .columns = t->columns };
	struct pw_columns c = { .columns = t->columns, .rows = 1 + t->cells / t->columns, .cell = text_at,
				.right = right, .ctx = &x };
	size_t length;
	FILE *f = open_memstream(&x.text, &length);

	x.begin = calloc(t->columns + t->cells, sizeof(*x.begin));
	if (!f || !x.begin) {
		t->r->broke = true;
		goto out;
	}
	for (size_t i = 0; i < t->columns; i++)
		right[i] = to_the_right(&t->column[i]);
	put_cells(t, x.begin, f);
	fflush(f);
	pw_columns_print(&c, out);
out:
	if (f)
		fclose(f);
	free(x.text);
	free(x.begin);
}

static void put_table(const struct pw_table *t, FILE *out)
{
	if (t->title)
		fprintf(out, "%s\n", t->title);
	if (t->cells >= t->columns)
		print_table(t, out);
	else
		fprintf(out, "%s\n", t->none ? t->none : pw_phrase(t->r->tongue,
								   PW_P_NOTHING_HERE));
	putc('\n', out);
}

static void put_said(const struct pw_block *b, FILE *out)
{
	static const char *const before[] = {
		[PW_SAY_TITLE] = "# ", [PW_SAY_HEADING] = "## ", [PW_SAY_LEAD] = "", [PW_SAY_TEXT] = "",
		[PW_SAY_NEXT] = "-> ", [PW_SAY_CAUTION] = "! ", [PW_SAY_SOURCE] = "", [PW_SAY_ALARM] = "!! ",
	};

	fprintf(out, "%s%s\n\n", before[b->as], b->text);
}

void pw_report_text(const struct pw_report *r, FILE *out)
{
	for (const struct pw_block *b = r->first; b; b = b->next) {
		if (b->kind == PW_BLOCK_SAY)
			put_said(b, out);
		else if (b->kind == PW_BLOCK_VERBATIM)
			fprintf(out, "%s%s\n", b->text, b->text[0] &&
				b->text[strlen(b->text) - 1] == '\n' ? "" : "\n");
		else if (b->table)
			put_table(b->table, out);
	}
}
