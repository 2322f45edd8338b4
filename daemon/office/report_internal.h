/* SPDX-License-Identifier: Apache-2.0 */
/* report_internal.h - what the files of reports share: blocks, cells, and how a value is written. */
#ifndef POSTWALK_OFFICE_REPORT_INTERNAL_H
#define POSTWALK_OFFICE_REPORT_INTERNAL_H

#include "report.h"

/* -- report_room.c: texts that live as long as what they are of -------------------------------- */

struct pw_room { struct pw_chunk *chunk; };
/* A place of that size, aligned for anything. NULL: no memory. */
void *pw_room_take(struct pw_room *room, size_t size);
void pw_room_free(struct pw_room *room);
/* A copy in which no byte can do harm: what is not UTF-8, controls, and marks that turn the direction of
 * writing are U+FFFD; an end of line and a tab are a space, or stay where lines is true. */
const char *pw_room_text(struct pw_room *room, const char *text, bool lines);

/* -- blocks ------------------------------------------------------------------------------------ */

enum pw_block_kind { PW_BLOCK_SAY = 1, PW_BLOCK_LINK, PW_BLOCK_VERBATIM, PW_BLOCK_TABLE, PW_BLOCK_PICTURE,
		     PW_BLOCK_SVG, PW_BLOCK_FORM, PW_BLOCKS };

struct pw_option { const char *value, *label; bool chosen; struct pw_option *next; };
struct pw_field_block {
	enum pw_field_kind kind;
	const char *name, *label, *value; /* value NULL: none */
	bool must;
	struct pw_option *option, **last;
	struct pw_field_block *next;
};
struct pw_form {
	const char *action, *button;      /* button NULL: it is not ended */
	bool get;
	struct pw_field_block *field, **last;
};
struct pw_block {
	enum pw_block_kind kind;
	struct pw_block *next;
	enum pw_say_as as;
	const char *text;                 /* what is said; of a link, a picture: its words */
	const char *href;                 /* of a link; of a picture: its kind; of an SVG: itself */
	const char *roles;                /* of a picture */
	const struct pw_table *pictured;
	struct pw_table *table;
	struct pw_form *form;
};

struct pw_report {
	enum pw_tongue tongue;
	const struct pw_zone *zone;
	bool broke;                       /* memory was short */
	struct pw_room room;
	struct pw_block *first, **last;
	struct pw_form *form;             /* that is being made */
	const char *wrong, *wrong_field;  /* NULL: nothing was turned down */
	struct {
		FILE *out;                /* NULL: rows are kept */
		bool csv, found;
		const char *table;
	} flow;
};
/* NULL: no memory */
struct pw_block *pw_report_block(struct pw_report *r, enum pw_block_kind kind);
const char *pw_report_copy(struct pw_report *r, const char *text);

/* -- tables ------------------------------------------------------------------------------------ */

enum pw_cell_is { PW_CELL_NONE = 1, PW_CELL_TEXT, PW_CELL_WORD, PW_CELL_WORDS, PW_CELL_COUNT, PW_CELL_NUMBER,
		  PW_CELL_TIME, PW_CELL_DAY };
struct pw_cell {
	enum pw_cell_is is;
	enum pw_phrase word;
	union { const char *text; int64_t whole; double number; };
	const char *href;                 /* NULL: no link */
};
struct pw_table {
	struct pw_report *r;
	const char *name, *title, *none, *more; /* NULL: has none */
	const struct pw_column *column;
	size_t columns, cells, rows_room;
	struct pw_cell *cell;
	enum pw_phrase *mark;             /* of each row */
	struct pw_room room;
	bool folded;
	bool headed;                      /* of a flow: the names of its columns are written */
	size_t flowed;
};
/* NULL: the first */
const struct pw_table *pw_report_find(const struct pw_report *r, const char *name);

/* -- report_value.c ---------------------------------------------------------------------------- */

/* A number in a reader's way: groups of thousands, the tongue's mark. */
void pw_value_number(enum pw_tongue tongue, double value, int decimals, FILE *out);
void pw_value_count(enum pw_tongue tongue, int64_t count, FILE *out);
void pw_value_span(enum pw_tongue tongue, int64_t ms, FILE *out);
void pw_value_moment(const struct pw_zone *zone, int64_t ms, FILE *out);
void pw_value_day(int32_t day, FILE *out);
/* A cell as a reader has it. What is not known is a dash. */
void pw_value_shown(const struct pw_table *t, const struct pw_column *c, const struct pw_cell *cell,
		FILE *out);
/* A cell as a program has it: report.h says how. "" where it is not known. Text is text. */
void pw_value_plain(const struct pw_column *c, const struct pw_cell *cell, FILE *out);
/* A code as a reader has it: "silent_horn", too. Unknown: as it is. */
void pw_value_word(enum pw_tongue tongue, const char *code, FILE *out);
/* The next of several codes: its length, from *at on; 0: there are no more. */
size_t pw_value_code(const char **at);

/* -- written out ------------------------------------------------------------------------------- */

void pw_csv_head(const struct pw_table *t, FILE *out);
void pw_csv_row(const struct pw_table *t, size_t row, FILE *out);
void pw_lines_row(const struct pw_table *t, size_t row, FILE *out);
/* Text between tags and within the quotes of an attribute. */
void pw_html_table(const struct pw_table *t, const char *address, const char *heading, bool print,
		FILE *out);
/* number: of the form on its page. */
void pw_html_form(const struct pw_report *r, const struct pw_form *form, unsigned number,
		const char *token, FILE *out);

#endif
