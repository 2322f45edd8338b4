/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "report_internal.h"

/* -- marks: a shape and a colour beside a word -------------------------------------------------- */

/* Each way of being has a shape of its own, so that nobody needs the colour. */
enum shape { DISC = 1, HALF, TRIANGLE, SQUARE, DIAMOND, RING };
static const struct { const char *name, *path; } shapes[] = {
	[DISC] = { "good", "M8 1a7 7 0 1 1 0 14a7 7 0 1 1 0-14z" },
	[HALF] = { "late", "M8 1a7 7 0 1 1 0 14a7 7 0 1 1 0-14zm0 2v10a5 5 0 0 0 0-10z" },
	[TRIANGLE] = { "doubt", "M8 1l7.5 14h-15z" },
	[SQUARE] = { "bad", "M1 1h14v14h-14z" },
	[DIAMOND] = { "gap", "M8 0l8 8l-8 8l-8-8zm0 3.4l-4.6 4.6l4.6 4.6l4.6-4.6z" },
	[RING] = { "quiet", "M8 1a7 7 0 1 1 0 14a7 7 0 1 1 0-14zm0 2.5a4.5 4.5 0 1 0 0 9a4.5 4.5 0 1 0 0-9z" },
};
static const struct { enum pw_phrase state; enum shape shape; } marks[] = {
	{ PW_P_DONE, DISC }, { PW_P_WALKED, DISC }, { PW_P_LATE, HALF }, { PW_P_DOUBTFUL, TRIANGLE },
	{ PW_P_MISSED, SQUARE }, { PW_P_CHILD, SQUARE }, { PW_P_NO_RECORD, DIAMOND },
	{ PW_P_BUS_SILENT, DIAMOND }, { PW_P_HOLE, DIAMOND }, { PW_P_UNPLANNED, RING },
	{ PW_P_NOT_YET, RING }, { PW_P_NOTHING, RING },
};

static enum shape shape_of(enum pw_phrase state)
{
	for (size_t i = 0; i < sizeof(marks) / sizeof(marks[0]); i++)
		if (marks[i].state == state)
			return marks[i].shape;
	return TRIANGLE;
}

static void put_mark(enum pw_phrase state, FILE *out)
{
	const enum shape shape = shape_of(state);

	fprintf(out,
		"<svg class=\"mark %s\" viewBox=\"0 0 16 16\" aria-hidden=\"true\" focusable=\"false\">"
		     "<path fill-rule=\"evenodd\" d=\"%s\"/></svg>", shapes[shape].name, shapes[shape].path);
}

/* -- cells ------------------------------------------------------------------------------------- */

/* What a value is written into, to be escaped: texts of cells are not long. */
static void escaped(void (*put)(const struct pw_table *t, const struct pw_column *c,
				const struct pw_cell *cell, FILE *f),
		    const struct pw_table *t, const struct pw_column *c, const struct pw_cell *cell, FILE *out)
{
	char *text = NULL;
	size_t length;
	FILE *f = open_memstream(&text, &length);

	if (f)
		put(t, c, cell, f);
	if (f && fclose(f) == 0)
		pw_html_text(text, out);
	else
		t->r->broke = true;
	free(text);
}

static void plain(const struct pw_table *t, const struct pw_column *c, const struct pw_cell *cell,
		  FILE *f)
{
	(void)t;
	pw_value_plain(c, cell, f);
}

/* The element that has the value for programs, where what is shown is not the value. */
static const char *element(const struct pw_column *c, const struct pw_cell *cell)
{
	if (cell->is == PW_CELL_DAY || (cell->is == PW_CELL_TIME && c->kind != PW_COL_SPAN))
		return "time";
	return cell->is == PW_CELL_TEXT && *cell->text ? NULL : "data";
}

static void put_value(const struct pw_table *t, const struct pw_column *c,
		      const struct pw_cell *cell, FILE *out)
{
	const char *tag = element(c, cell);

	if (cell->href) {
		fputs("<a href=\"", out);
		pw_html_text(cell->href, out);
		fputs("\">", out);
	}
	if (tag) {
		fprintf(out, "<%s %s=\"", tag, tag[0] == 't' ? "datetime" : "value");
		escaped(plain, t, c, cell, out);
		fputs("\">", out);
	}
	escaped(pw_value_shown, t, c, cell, out);
	if (tag)
		fprintf(out, "</%s>", tag);
	if (cell->href)
		fputs("</a>", out);
}

/* In bytes, about characters: of so much a cell is worth some width; of so little it is not broken, as a code
 * with a hyphen would be. */
#define LONG 24
#define SHORT 16

static const char *class_of_text(const struct pw_cell *cell)
{
	const bool text = cell && cell->is == PW_CELL_TEXT;
	const bool codes = cell && cell->is == PW_CELL_WORDS && strchr(cell->text, ' ');

	if (text && strlen(cell->text) <= SHORT)
		return " class=\"short\"";
	return codes || (text && strlen(cell->text) > LONG) ? " class=\"long\"" : "";
}

/* cell NULL: of a column's head. */
static const char *class_of(const struct pw_column *c, const struct pw_cell *cell)
{
	switch (c->kind) {
	case PW_COL_COUNT:
	case PW_COL_NUMBER:
	case PW_COL_SHARE:
	case PW_COL_SPAN:
		return " class=\"figure\"";
	case PW_COL_MOMENT:
	case PW_COL_DAY:
		return " class=\"when\"";
	case PW_COL_TEXT:
	case PW_COL_WORD:
		break;
	}
	return class_of_text(cell);
}

/* -- rows -------------------------------------------------------------------------------------- */

/* Where a row's mark stands: before the word that it is of, else in the first cell. */
static size_t mark_at(const struct pw_table *t, size_t row)
{
	const struct pw_cell *cell = t->cell + row * t->columns;

	for (size_t i = 0; i < t->columns; i++)
		if (cell[i].is == PW_CELL_WORD && cell[i].word == t->mark[row] &&
		    !t->column[i].file_only)
			return i;
	return t->columns;
}

static void put_row(const struct pw_table *t, size_t row, FILE *out)
{
	const struct pw_cell *cell = t->cell + row * t->columns;
	const enum pw_phrase mark = t->mark[row];
	const size_t at = mark ? mark_at(t, row) : 0;
	bool first = true;

	fprintf(out, mark ? "<tr class=\"is-%s\">" : "<tr>",
		mark ? shapes[shape_of(mark)].name : "");
	for (size_t i = 0; i < t->columns; i++) {
		const struct pw_column *c = &t->column[i];
		const bool marked = mark && (at == i || (at == t->columns && first));

		if (c->file_only)
			continue;
		fprintf(out, first ? "<th scope=\"row\"%s>" : "<td%s>",
			mark && at == i ? " class=\"marked\"" : class_of(c, &cell[i]));
		if (marked)
			put_mark(mark, out);
		if (mark && at == t->columns && first) {
			fputs("<span class=\"told\">", out);
			pw_html_text(pw_phrase(t->r->tongue, mark), out);
			fputs("</span>", out);
		}
		put_value(t, c, &cell[i], out);
		fputs(first ? "</th>" : "</td>", out);
		first = false;
	}
	fputs("</tr>\n", out);
}

/* For the pictures: in what unit a value is. */
static const char *const kinds[] = {
	[PW_COL_TEXT] = "text", [PW_COL_WORD] = "word", [PW_COL_COUNT] = "count", [PW_COL_NUMBER] = "number",
	[PW_COL_SHARE] = "share", [PW_COL_SPAN] = "span", [PW_COL_MOMENT] = "moment", [PW_COL_DAY] = "day",
};

static void put_head(const struct pw_table *t, FILE *out)
{
	fputs("<thead><tr>", out);
	for (size_t i = 0; i < t->columns; i++) {
		if (t->column[i].file_only)
			continue;
		fprintf(out, "<th scope=\"col\"%s data-name=\"%s\" data-kind=\"%s\">",
			class_of(&t->column[i], NULL),
			t->column[i].name, kinds[t->column[i].kind]);
		pw_html_text(pw_phrase(t->r->tongue, t->column[i].title), out);
		fputs("</th>", out);
	}
	fputs("</tr></thead>\n", out);
}

/* -- around it --------------------------------------------------------------------------------- */

static void put_file(const struct pw_table *t, const char *address, const char *as,
		     enum pw_phrase label, FILE *out)
{
	fputs("<a href=\"", out);
	pw_html_text(address, out);
	fprintf(out, "%sas=%s&amp;table=%s\">", strchr(address, '?') ? "&amp;" : "?", as, t->name);
	pw_html_text(pw_phrase(t->r->tongue, label), out);
	if (t->title) {
		fputs("<span class=\"told\">: ", out);
		pw_html_text(t->title, out);
		fputs("</span>", out);
	}
	fputs("</a>", out);
}

static void put_foot(const struct pw_table *t, const char *address, FILE *out)
{
	fputs("<p class=\"files\">", out);
	if (t->more) {
		fputs("<a class=\"more\" href=\"", out);
		pw_html_text(t->more, out);
		fputs("\">", out);
		pw_html_text(pw_phrase(t->r->tongue, PW_P_MORE), out);
		fputs("</a> ", out);
	}
	put_file(t, address, "csv", PW_P_AS_CSV, out);
	putc(' ', out);
	put_file(t, address, "lines", PW_P_AS_LINES, out);
	fputs("</p>\n", out);
}

/* A region of its own that scrolls has a name, and the keyboard reaches it (WCAG 2.1.1). */
static void put_region(const struct pw_table *t, const char *heading, FILE *out)
{
	fputs("<div class=\"scroll\" role=\"region\" tabindex=\"0\"", out);
	if (t->title)
		fprintf(out, " aria-labelledby=\"caption-%s\">", t->name);
	else if (*heading)
		fprintf(out, " aria-labelledby=\"%s\">", heading);
	else
		fprintf(out, " aria-label=\"%s\">", t->name);
	fprintf(out, "<table id=\"table-%s\">\n", t->name);
	if (t->title) {
		fprintf(out, "<caption id=\"caption-%s\"%s>", t->name,
			t->folded ? " class=\"told\"" : "");
		pw_html_text(t->title, out);
		fputs("</caption>\n", out);
	}
}

static void put_none(const struct pw_table *t, FILE *out)
{
	if (t->title && !t->folded) {
		fputs("<p class=\"caption\">", out);
		pw_html_text(t->title, out);
		fputs("</p>\n", out);
	}
	fputs("<p class=\"none\">", out);
	pw_html_text(t->none ? t->none : pw_phrase(t->r->tongue, PW_P_NOTHING_HERE), out);
	fputs("</p>\n", out);
}

void pw_html_table(const struct pw_table *t, const char *address, const char *heading, bool print,
		   FILE *out)
{
	const size_t rows = t->cells / t->columns;

	if (t->folded) {
		fprintf(out, "<details class=\"fold\"%s><summary>", print ? " open" : "");
		pw_html_text(t->title, out);
		fputs("</summary>\n", out);
	}
	fputs("<div class=\"table\">\n", out);
	if (rows == 0) {
		put_none(t, out);
	} else {
		put_region(t, heading, out);
		put_head(t, out);
		fputs("<tbody>\n", out);
		for (size_t row = 0; row < rows; row++)
			put_row(t, row, out);
		fputs("</tbody></table></div>\n", out);
		if (!print)
			put_foot(t, address, out);
	}
	fputs(t->folded ? "</div></details>\n" : "</div>\n", out);
}
