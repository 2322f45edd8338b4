/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "report_internal.h"

#define FIRST_ROWS 16

struct pw_table *pw_report_table(struct pw_report *r, const char *name, enum pw_phrase title,
				 const struct pw_column *columns)
{
	struct pw_block *b = pw_report_block(r, PW_BLOCK_TABLE);
	struct pw_table *t = pw_room_take(&r->room, sizeof(*t));

	if (!b || !t) {
		r->broke = true;
		return NULL;
	}
	*t = (struct pw_table){ .r = r, .name = name, .column = columns };
	while (columns[t->columns].name)
		t->columns++;
	if (title)
		t->title = pw_phrase(r->tongue, title);
	b->table = t;
	return t;
}

const struct pw_table *pw_report_find(const struct pw_report *r, const char *name)
{
	for (const struct pw_block *b = r->first; b; b = b->next)
		if (b->table && (name ? !strcmp(b->table->name, name) : !b->table->folded))
			return b->table;
	return NULL;
}

void pw_table_more(struct pw_table *t, const char *href)
{
	if (t)
		t->more = pw_report_copy(t->r, href);
}

void pw_table_fold(struct pw_table *t)
{
	if (t)
		t->folded = true;
}

void pw_table_none(struct pw_table *t, enum pw_phrase phrase)
{
	if (t)
		t->none = pw_phrase(t->r->tongue, phrase);
}

/* -- rows that flow ---------------------------------------------------------------------------- */

/* Whether its rows are written, and not only passed over. */
static bool wanted(const struct pw_table *t)
{
	const struct pw_report *r = t->r;

	return !r->flow.csv || t == pw_report_find(r, r->flow.table);
}

static void flow_row(struct pw_table *t)
{
	FILE *out = t->r->flow.out;

	if (wanted(t)) {
		if (t->r->flow.csv && !t->headed)
			pw_csv_head(t, out);
		t->headed = true;
		if (t->r->flow.csv)
			pw_csv_row(t, 0, out);
		else
			pw_lines_row(t, 0, out);
	}
	t->flowed++;
	t->cells = 0;
	pw_room_free(&t->room);
}

int pw_report_flow_end(struct pw_report *r)
{
	const struct pw_table *one = pw_report_find(r, r->flow.table);

	for (struct pw_block *b = r->first; b; b = b->next)
		if (b->table && b->table->cells > 0 && b->table->cells == b->table->columns)
			flow_row(b->table);
	if (!r->flow.csv)
		return 0;
	if (one && !one->headed)
		pw_csv_head(one, r->flow.out);
	return one ? 0 : -1;
}

/* -- cells ------------------------------------------------------------------------------------- */

static bool make_room(struct pw_table *t)
{
	const size_t rows = t->rows_room ? 2 * t->rows_room : FIRST_ROWS;
	struct pw_cell *cell;
	enum pw_phrase *mark;

	if (t->cells < t->rows_room * t->columns)
		return true;
	cell = reallocarray(t->cell, rows * t->columns, sizeof(*cell));
	if (cell)
		t->cell = cell;
	mark = reallocarray(t->mark, rows, sizeof(*mark));
	if (mark)
		t->mark = mark;
	if (!cell || !mark) {
		t->r->broke = true;
		return false;
	}
	t->rows_room = rows;
	return true;
}

/* The next row begins: the one before goes, and the texts of its cells. */
static void flow_whole(struct pw_table *t)
{
	if (t && t->r->flow.out && t->cells == t->columns)
		flow_row(t);
}

static void put(struct pw_table *t, struct pw_cell cell)
{
	if (!t || t->r->broke)
		return;
	flow_whole(t);
	if (!make_room(t))
		return;
	if (t->cells % t->columns == 0)
		t->mark[t->cells / t->columns] = PW_P_NONE;
	t->cell[t->cells++] = cell;
}

static const char *kept(struct pw_table *t, const char *text)
{
	const char *copy = t ? pw_room_text(&t->room, text, false) : "";

	if (!copy)
		t->r->broke = true;
	return copy ? copy : "";
}

void pw_cell_put_text(struct pw_table *t, const char *text)
{
	flow_whole(t);
	put(t, (struct pw_cell){ .is = PW_CELL_TEXT, .text = kept(t, text) });
}

void pw_cell_put_word(struct pw_table *t, enum pw_phrase word)
{
	put(t, (struct pw_cell){ .is = word ? PW_CELL_WORD : PW_CELL_NONE, .word = word });
}

void pw_cell_put_words(struct pw_table *t, const char *codes)
{
	flow_whole(t);
	put(t, (struct pw_cell){ .is = PW_CELL_WORDS, .text = kept(t, codes) });
}

void pw_cell_put_count(struct pw_table *t, int64_t count)
{
	put(t, (struct pw_cell){ .is = PW_CELL_COUNT, .whole = count });
}

void pw_cell_put_number(struct pw_table *t, double number)
{
	put(t,
	    (struct pw_cell){ .is = isnan(number) ? PW_CELL_NONE : PW_CELL_NUMBER, .number = number });
}

void pw_cell_put_time(struct pw_table *t, int64_t ms)
{
	put(t,
	    (struct pw_cell){ .is = ms == INT64_MIN ? PW_CELL_NONE : PW_CELL_TIME, .whole = ms });
}

void pw_cell_put_day(struct pw_table *t, int32_t day)
{
	put(t, (struct pw_cell){ .is = day ? PW_CELL_DAY : PW_CELL_NONE, .whole = day });
}

void pw_cell_put_none(struct pw_table *t)
{
	put(t, (struct pw_cell){ .is = PW_CELL_NONE });
}

void pw_cell_link(struct pw_table *t, const char *format, ...)
{
	char *made = NULL;
	va_list args;
	int length;

	if (!t || t->r->broke || t->cells == 0)
		return;
	va_start(args, format);
	length = vasprintf(&made, format, args);
	va_end(args);
	if (length < 0) {
		t->r->broke = true;
		return;
	}
	t->cell[t->cells - 1].href = kept(t, made);
	free(made);
}

void pw_row_mark(struct pw_table *t, enum pw_phrase state)
{
	if (t && !t->r->broke && t->cells > 0)
		t->mark[(t->cells - 1) / t->columns] = state;
}
