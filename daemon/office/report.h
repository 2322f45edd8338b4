/* SPDX-License-Identifier: Apache-2.0 */
/*
 * report.h - what a page of the office says, before it is HTML, CSV, JSON Lines or columns of text.
 *
 * A page is made once, as blocks in order: sentences, tables, pictures, forms. report_html.c draws all of
 * it; report_csv.c, report_lines.c and report_text.c write its tables, with the same numbers. A table's
 * and a column's name are English, stable, and what CSV and JSON call them; what a reader sees are
 * phrases. What is added is copied. Memory that is short is remembered, and told at the end (pw_report_ok).
 */
#ifndef POSTWALK_OFFICE_REPORT_H
#define POSTWALK_OFFICE_REPORT_H

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>

#include "phrases.h"
#include "zone.h"

struct pw_report;
/* NULL: no memory */
struct pw_report *pw_report_new(enum pw_tongue tongue, const struct pw_zone *zone);
void pw_report_free(struct pw_report *r);
bool pw_report_ok(const struct pw_report *r);
enum pw_tongue pw_report_tongue(const struct pw_report *r);

/* -- sentences --------------------------------------------------------------------------------- */

/* LEAD: the answer, first and large. NEXT: what to do. CAUTION: what is not said by the figures. SOURCE:
 * where they are from. ALARM: of something that waits for a person now. */
enum pw_say_as { PW_SAY_TITLE = 1, PW_SAY_HEADING, PW_SAY_LEAD, PW_SAY_TEXT, PW_SAY_NEXT, PW_SAY_CAUTION,
		 PW_SAY_SOURCE, PW_SAY_ALARM };
/* Up to four texts for {1} to {4}, then NULL. */
void pw_report_say(struct pw_report *r, enum pw_say_as as, enum pw_phrase phrase, ...);
/* {1}: the count */
void pw_report_say_count(struct pw_report *r, enum pw_say_as as, enum pw_phrase phrase,
		int64_t count, ...);
/* what is no phrase: somebody's own words */
void pw_report_said(struct pw_report *r, enum pw_say_as as, const char *text);
void pw_report_link(struct pw_report *r, const char *href, enum pw_phrase phrase);
/* Lines as they stand, in a fixed-width font: what somebody can type. */
void pw_report_verbatim(struct pw_report *r, const char *text);

/* Values as a reader of this report has them, for holes: they live as long as the report. */
const char *pw_report_moment(struct pw_report *r, int64_t ms);  /* "2026-11-24 07:42", zone */
const char *pw_report_day(struct pw_report *r, int32_t day);    /* "2026-11-24" */
const char *pw_report_span(struct pw_report *r, int64_t ms);    /* "2 h 05 min", "48 s" */
/* the tongue's decimal mark */
const char *pw_report_number(struct pw_report *r, double value, int decimals);
const char *pw_report_count(struct pw_report *r, int64_t count);
const char *pw_report_share(struct pw_report *r, double share, int decimals); /* "12.5 %" */
const char *pw_report_code(struct pw_report *r, const char *code);            /* what it is called */
const char *pw_report_phrase(struct pw_report *r, enum pw_phrase phrase, ...); /* a filled one */
/* one of what is counted: "3 buses" */
const char *pw_report_counted(struct pw_report *r, enum pw_phrase phrase, int64_t count);

/* -- tables ------------------------------------------------------------------------------------ */

/* How a cell is to be read. In CSV and JSON: SHARE a fraction, SPAN whole ms, MOMENT RFC 3339 UTC, DAY
 * YYYY-MM-DD, WORD its code. */
enum pw_column_kind { PW_COL_TEXT = 1, PW_COL_WORD, PW_COL_COUNT, PW_COL_NUMBER, PW_COL_SHARE, PW_COL_SPAN,
		      PW_COL_MOMENT, PW_COL_DAY };
struct pw_column {
	const char *name;
	enum pw_phrase title;
	enum pw_column_kind kind;
	int decimals; /* NUMBER, SHARE (of per cent) */
	bool file_only; /* in CSV, JSON Lines and text; not on the page */
};
struct pw_table;
/* columns ends with a NULL name, and lives as long as the report (static). title NONE: it has none. */
struct pw_table *pw_report_table(struct pw_report *r, const char *name, enum pw_phrase title,
				 const struct pw_column *columns);
/* Cells of a row in the order of its columns; a row that has all of its cells is over. */
void pw_cell_put_text(struct pw_table *t, const char *text);
void pw_cell_put_word(struct pw_table *t, enum pw_phrase word); /* its name is the code */
void pw_cell_put_words(struct pw_table *t, const char *codes);  /* several codes, spaces between; unknown: as they are */
void pw_cell_put_count(struct pw_table *t, int64_t count);
void pw_cell_put_number(struct pw_table *t, double number);     /* SHARE too; NAN: not known */
void pw_cell_put_time(struct pw_table *t, int64_t ms);          /* SPAN, MOMENT; INT64_MIN: not known */
void pw_cell_put_day(struct pw_table *t, int32_t day);
void pw_cell_put_none(struct pw_table *t);
/* of the last cell */
void pw_cell_link(struct pw_table *t, const char *format,
		...) __attribute__((format(printf, 2, 3)));
void pw_row_mark(struct pw_table *t, enum pw_phrase state);     /* of the last row: "missed" ...: a shape and colour beside the word */
/* What a page says beneath: more rows are at href. */
void pw_table_more(struct pw_table *t, const char *href);
/* Before its first row: on a page it is folded away under its title, which it must have: what a picture is
 * made of. It is not the report's first table. */
void pw_table_fold(struct pw_table *t);
/* Said in its place where it has no rows. */
void pw_table_none(struct pw_table *t, enum pw_phrase phrase);

/* -- pictures ---------------------------------------------------------------------------------- */

/* Drawn by web/office/pictures.js over the table, beside it, where JavaScript is: kind is one of its
 * drawings ("funnel", "chart", "spread", "drift", "bars"); caption says what is to be seen. */
void pw_report_picture(struct pw_report *r, const char *kind, const struct pw_table *t,
		enum pw_phrase caption);
/* What a drawing looks for in a table, by the names of columns; roles: other names for them, as
 * "share=missed_share n=runs". Its first column names a row. In brackets: may be absent.
 *	funnel  n, share, [target, warning_lower, warning_upper, alarm_lower, alarm_upper], at each row's n
 *	chart   value, [mean, lower, upper, rules]: rows in their order; rules: words where a rule ends there
 *	spread  at, count, [minimum]; or a row each: q05, q25, median, q75, q95, [minimum]
 *	drift   bounces, [cusum, limit]: a row a day
 *	bars    value, [lower, upper] */
void pw_report_picture_of(struct pw_report *r, const char *kind, const struct pw_table *t,
		const char *roles, enum pw_phrase caption);
/* Drawn by us: an SVG element, trusted as it is. words: the same for who does not see it. */
void pw_report_svg(struct pw_report *r, const char *svg, enum pw_phrase caption);

/* -- forms ------------------------------------------------------------------------------------- */

enum pw_field_kind { PW_FIELD_TEXT = 1, PW_FIELD_CODE, PW_FIELD_DAY, PW_FIELD_PASSWORD, PW_FIELD_NEW_PASSWORD,
		     PW_FIELD_WORDS, PW_FIELD_CHOICE, PW_FIELD_FILE, PW_FIELD_HIDDEN, PW_FIELD_TICK };
/* action: the leaf it is sent to; get: a filter, whose fields stand in the address. The token is put in by
 * the frame. end names the button. */
void pw_report_form(struct pw_report *r, const char *action, bool get);
/* Before the forms: field's value turned one down. fill: for {1}; field "": none in particular. */
void pw_report_wrong(struct pw_report *r, const char *field, enum pw_phrase phrase,
		const char *fill);
/* value: NULL none; a TICK's: "1" is set, and comes so. An error that turned the form down stands at the field it is of (pw_report_wrong). */
void pw_report_field(struct pw_report *r, enum pw_field_kind kind, const char *name,
		enum pw_phrase label, const char *value, bool must);
/* of the CHOICE before */
void pw_report_choice(struct pw_report *r, const char *value, enum pw_phrase label, bool chosen);
void pw_report_choice_text(struct pw_report *r, const char *value, const char *label, bool chosen);
void pw_report_form_end(struct pw_report *r, enum pw_phrase button);

/* -- written out ------------------------------------------------------------------------------- */

/* Of one table; whether it was written: ferror(out). The name: report's first where NULL. -1: no such. */
int pw_report_csv(const struct pw_report *r, const char *table, FILE *out);
/* A line an object, {"table":NAME,...}; of all tables. */
void pw_report_lines(const struct pw_report *r, FILE *out);
/* Sentences and tables for a terminal. */
void pw_report_text(const struct pw_report *r, FILE *out);
/* Text in an element, or in quotes in a tag. */
void pw_html_text(const char *text, FILE *out);
/* The inside of <main>. address: of this page with what it asked, for the links to its CSV and JSON Lines.
 * token: of its forms,
 * as the hidden field "token"; a form with a FILE is multipart/form-data. print: whole, for paper and for a folder: no links to files, no forms. */
void pw_report_html(const struct pw_report *r, const char *address, const char *token, bool print,
		FILE *out);
/* Instead, for a file of however many rows: asked for before the page is made, each row is written once the
 * next has begun, and not kept. csv: of one table (NULL: the first), else lines of all. end: the last row; 0,
 * -1: no such table. */
void pw_report_flow(struct pw_report *r, bool csv, const char *table, FILE *out);
int pw_report_flow_end(struct pw_report *r);

#endif
