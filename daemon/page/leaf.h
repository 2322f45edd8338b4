/* SPDX-License-Identifier: Apache-2.0 */
/* leaf.h - how pages are drawn: a frame, a template in it, pieces that fill both. */
#ifndef POSTWALK_PAGE_LEAF_H
#define POSTWALK_PAGE_LEAF_H

#include "page_internal.h"

/* What a page is drawn from. */
struct pw_view {
	const struct pw_snapshot *s; /* NULL where the watch does not answer */
	const struct pw_choice *choice;
	const char *template;        /* fills the frame */
	const struct pw_leaf *leaf;  /* NULL: the driver's page */
	const struct pw_visit *visit; /* of the leaf */
	struct pw_said said;         /* of the driver's page */
	const char *on;              /* where a page of one sentence leads on, or NULL: "/" */
};

/* {{name}} of a template. A table of them ends with a NULL name. */
struct pw_piece {
	const char *name;
	void (*put)(struct pw_sheet *t, const struct pw_view *v);
};

/* The frame with v's template in it. Length, or -1. A name that neither html.c nor the leaf knows
 * voids the page: tests see it. */
int pw_html_fill(const struct pw_view *v, char *buf, size_t size);

/* Templates of web/bus, filled by the pieces of the files named like them. */
extern const char pw_web_frame[], pw_web_before[], pw_web_found[], pw_web_report[], pw_web_pin[],
	pw_web_installer[], pw_web_wiring[], pw_web_setup[], pw_web_mechanic[], pw_web_leave[],
	pw_web_refusal[];
extern const struct pw_piece pw_before_pieces[], pw_found_pieces[], pw_report_pieces[],
	pw_pin_pieces[], pw_installer_pieces[], pw_wiring_pieces[], pw_setup_pieces[],
	pw_mechanic_pieces[];

/* Readers of their forms: see struct pw_leaf. */
typedef enum pw_word pw_reader(const struct pw_form *f, const struct pw_snapshot *s,
			       struct pw_act *act);
pw_reader pw_before_read, pw_found_read, pw_report_read, pw_pin_read, pw_installer_read,
	pw_wiring_read, pw_setup_read, pw_mechanic_read, pw_leave_read;

/* -- form fields (fields.c) ---------------------------------------------------------------------- */

/* The value of a field of the form that was turned down, else of the address, else "". */
const char *pw_visit_value(const struct pw_visit *v, const char *name);
/* A code; must: "" is not taken. A line's index of an output. Somebody's words. */
enum pw_word pw_read_code(const struct pw_form *f, bool must, struct pw_act *act);
enum pw_word pw_read_words(const struct pw_form *f, struct pw_act *act);
enum pw_word pw_read_output(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act);

/* <form> to this leaf, with its token; close it by pw_sheet_raw(t, "</form>\n"). */
void pw_put_form(struct pw_sheet *t, const struct pw_view *v);
void pw_put_hidden(struct pw_sheet *t, const char *name, const char *value);
/* A button that sends the form; name NULL: it sends nothing of its own. id: NULL, or what the focus
 * is found by when the page is taken anew. */
void pw_put_button(struct pw_sheet *t, const char *id, const char *name, const char *value,
		   enum pw_word word);
/* A labelled field and, when the form was turned down for one of its errors, why. */
void pw_put_code_field(struct pw_sheet *t, const struct pw_view *v, enum pw_word label, bool must);
void pw_put_words_field(struct pw_sheet *t, const struct pw_view *v);
/* Why the form was turned down, where a field says it itself. */
void pw_put_error(struct pw_sheet *t, const struct pw_view *v, enum pw_word error, const char *id);
bool pw_field_tells(enum pw_word refusal);
/* <tag class="class">word</tag>; class NULL: none. */
void pw_put_element(struct pw_sheet *t, const char *tag, const char *class, enum pw_word word);
/* "2001-09-09 01:46 UTC" */
void pw_put_moment(struct pw_sheet *t, int64_t wall_ms);
/* By whom and when, for {1} and {2}. */
void pw_put_signed(struct pw_sheet *t, enum pw_word word, const char *who, int64_t wall_ms);

/* -- shared by pages ------------------------------------------------------------------------------ */

enum pw_word pw_say_found(enum pw_found_what what); /* found.c */
enum pw_word pw_say_part(enum pw_part part);
/* What to do first when a child was found; _lately: if one was in the last hours. */
void pw_put_child(struct pw_sheet *t, const struct pw_view *v);
void pw_put_child_lately(struct pw_sheet *t, const struct pw_view *v);
/* before.c: a button that tries an output; what is to be known before any of them. */
void pw_put_try(struct pw_sheet *t, const struct pw_view *v, unsigned line);
void pw_put_trials(struct pw_sheet *t, const struct pw_view *v);
enum pw_word pw_say_untried(const struct pw_snapshot *s); /* why one is turned down, or NONE */
/* How and when a line was proven, on a line of its own; nothing when it was not. */
void pw_put_proof(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line);
/* strip.c: edges of the last span_ms, and bars for short pulses. */
void pw_put_strip(struct pw_sheet *t, const struct pw_wire *w, int64_t now_ms, int64_t span_ms,
		  enum pw_word span);
void pw_put_bins(struct pw_sheet *t, const struct pw_wire *w);
/* installer.c: what a line's edges tell. */
enum pw_word pw_say_wire(const struct pw_wire *w);
const char *pw_wire_shape(const struct pw_wire *w);
void pw_put_shortest(struct pw_sheet *t, int64_t shortest_ms); /* -1: none */
/* wiring_page.c: what a step asks for, and what was seen. */
enum pw_word pw_say_step(const struct pw_wiring_step *step);
enum pw_word pw_say_result(enum pw_wiring_result result);
const char *pw_step_shape(enum pw_wiring_result result);
void pw_put_saw(struct pw_sheet *t, const struct pw_wires *w, const struct pw_wiring_step *step);
bool pw_review_due(const struct pw_day *d); /* report.c */
void pw_put_defect(struct pw_sheet *t, const struct pw_defect *d);

/* -- lists.c ----------------------------------------------------------------------------------------- */

void pw_put_shape(struct pw_sheet *t, const char *class, const char *shape);
void pw_put_age(struct pw_sheet *t, int64_t ms);  /* "4 min ago" */
void pw_put_lasting(struct pw_sheet *t, int64_t ms); /* "4 min" */
/* In the reader's words; a board's own line by its name. */
const char *pw_line_called(enum pw_language language, const struct pw_snapshot *s, unsigned line);
void pw_put_line_name(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line);

#endif
