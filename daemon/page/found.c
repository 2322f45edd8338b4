/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

#define CHILD_SHOWN_MS (12 * INT64_C(3600000))

/* what; part of a mechanical fault; who and words may be "". */
enum pw_word pw_found_read(const struct pw_form *f, const struct pw_snapshot *s,
			   struct pw_act *act)
{
	enum pw_word wrong;

	(void)s;
	act->kind = PW_A_FOUND;
	act->what = pw_found_find(pw_form_value(f, "what"));
	if (act->what == PW_FOUND_NONE)
		return PW_W_E_WHAT;
	if (act->what == PW_FOUND_MECHANICAL) {
		act->part = pw_part_find(pw_form_value(f, "part"));
		if (act->part == PW_PART_NONE)
			return PW_W_E_PART;
	}
	wrong = pw_read_words(f, act);
	return wrong == PW_W_NONE ? pw_read_code(f, false, act) : wrong;
}

static const enum pw_word found_word[PW_FOUND_WHATS] = {
#define X(up, low) [PW_FOUND_##up] = PW_W_W_##up,
	PW_FOUND_LIST(X)
#undef X
};
_Static_assert(PW_FOUND_CHILD == PW_FOUND_WHATS - 1, "the last: see put_choices");
static const enum pw_word part_word[PW_PARTS] = {
#define X(up, low) [PW_PART_##up] = PW_W_M_##up,
	PW_PART_LIST(X)
#undef X
};

enum pw_word pw_say_found(enum pw_found_what what)
{
	return what > 0 && what < PW_FOUND_WHATS ? found_word[what] : PW_W_NONE;
}

enum pw_word pw_say_part(enum pw_part part)
{
	return part > 0 && part < PW_PARTS ? part_word[part] : PW_W_NONE;
}

/* A receipt is a machine's: that somebody knows is another thing. */
static void put_told(struct pw_sheet *t, const struct pw_snapshot *s)
{
	bool has = s->delivery.child_wall_ms == s->day.child_wall_ms && s->delivery.child_wall_ms != 0;

	pw_sheet_raw(t, "</p>\n<p class=\"lead\">");
	if (has)
		pw_put_signed(t, PW_W_C_HAS, "", s->delivery.child_ms);
	else
		pw_sheet_word(t, PW_W_C_TOLD, "", "");
}

/* What to do first; the yard's own rule comes from its policy. */
void pw_put_child(struct pw_sheet *t, const struct pw_view *v)
{
	pw_sheet_raw(t, "<section class=\"child\" aria-labelledby=\"child\">\n<h2 id=\"child\">");
	pw_put_shape(t, "mark", "overdue");
	pw_sheet_word(t, PW_W_C_HEAD, "", "");
	pw_sheet_raw(t, "</h2>\n<ol>\n");
	pw_put_element(t, "li", NULL, PW_W_C_STAY);
	pw_put_element(t, "li", NULL, PW_W_C_DANGER);
	pw_sheet_raw(t, "<li>");
	if (v->s->call[0])
		pw_sheet_word(t, PW_W_C_CALL, v->s->call, "");
	else
		pw_sheet_word(t, PW_W_C_DISPATCHER, "", "");
	pw_sheet_raw(t, "</li>\n");
	pw_put_element(t, "li", NULL, PW_W_C_ABOARD);
	pw_sheet_raw(t, "</ol>\n<p>");
	pw_put_signed(t, PW_W_C_NOTED, "", v->s->day.child_wall_ms);
	put_told(t, v->s);
	pw_sheet_raw(t, "</p>\n</section>\n");
}

static bool child_lately(const struct pw_snapshot *s)
{
	return s->day.child_wall_ms != 0 && s->wall_ms - s->day.child_wall_ms < CHILD_SHOWN_MS;
}

void pw_put_child_lately(struct pw_sheet *t, const struct pw_view *v)
{
	if (child_lately(v->s))
		pw_put_child(t, v);
}

/* -- first tap: six choices -------------------------------------------------------------------- */

static void put_choice(struct pw_sheet *t, enum pw_found_what what)
{
	pw_sheet_fmt(t, "<li><a%s href=\"/found?what=%s\">",
		     what == PW_FOUND_CHILD ? " class=\"first\"" : "", pw_found_name(what));
	pw_sheet_word(t, found_word[what], "", "");
	pw_sheet_raw(t, "</a></li>\n");
}

/* A child comes first: it must not be looked for. */
static void put_choices(struct pw_sheet *t)
{
	pw_put_element(t, "h2", NULL, PW_W_F_ASK);
	pw_sheet_raw(t, "<ul class=\"taps\">\n");
	put_choice(t, PW_FOUND_CHILD);
	for (int w = PW_FOUND_NONE + 1; w < PW_FOUND_CHILD; w++)
		put_choice(t, (enum pw_found_what)w);
	pw_sheet_raw(t, "</ul>\n");
	pw_put_element(t, "p", NULL, PW_W_F_SAYS);
}

/* -- second tap: confirm ----------------------------------------------------------------------- */

static void put_parts(struct pw_sheet *t, const struct pw_view *v)
{
	enum pw_part chosen = pw_part_find(pw_visit_value(v->visit, "part"));
	bool wrong = v->visit->refusal == PW_W_E_PART;

	pw_sheet_raw(t, "<p class=\"field\"><label for=\"part\">");
	pw_sheet_word(t, PW_W_PART, "", "");
	pw_sheet_fmt(t, "</label>\n<select id=\"part\" name=\"part\" required%s>\n"
		     "<option value=\"\">",
		     wrong ? " aria-invalid=\"true\" aria-describedby=\"part-error\"" : "");
	pw_sheet_word(t, PW_W_PART_CHOOSE, "", "");
	pw_sheet_raw(t, "</option>\n");
	for (int p = PW_PART_NONE + 1; p < PW_PARTS; p++) {
		pw_sheet_fmt(t, "<option value=\"%s\"%s>", pw_part_name((enum pw_part)p),
			     p == (int)chosen ? " selected" : "");
		pw_sheet_word(t, part_word[p], "", "");
		pw_sheet_raw(t, "</option>\n");
	}
	pw_sheet_raw(t, "</select></p>\n");
	pw_put_error(t, v, PW_W_E_PART, "part-error");
}

static void put_confirm(struct pw_sheet *t, const struct pw_view *v, enum pw_found_what what)
{
	bool child = what == PW_FOUND_CHILD;

	pw_put_element(t, "h2", NULL, found_word[what]);
	pw_put_form(t, v);
	pw_put_hidden(t, "what", pw_found_name(what));
	if (!child) {
		if (what == PW_FOUND_MECHANICAL)
			put_parts(t, v);
		pw_put_words_field(t, v);
		pw_put_code_field(t, v, PW_W_YOUR_CODE_MAY, false);
	}
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, NULL, NULL, NULL, child ? PW_W_F_CONFIRM_CHILD : PW_W_F_CONFIRM);
	pw_sheet_raw(t, "<a class=\"way\" href=\"/found\">");
	pw_sheet_word(t, PW_W_F_BACK, "", "");
	pw_sheet_raw(t, "</a></p>\n</form>\n");
}

/* -- taken ------------------------------------------------------------------------------------- */

static void put_taken(struct pw_sheet *t, const struct pw_view *v, bool child)
{
	const struct pw_day *d = &v->s->day;

	if (child)
		pw_put_child(t, v);
	else
		pw_put_element(t, "p", "lead", PW_W_F_TAKEN);
	if (d->found.wall_ms) {
		pw_sheet_raw(t, "<p>");
		pw_sheet_word(t, PW_W_F_LAST, "", "");
		pw_sheet_raw(t, " <b>");
		pw_sheet_word(t, pw_say_found(d->found.what), "", "");
		pw_sheet_raw(t, "</b>, ");
		pw_put_moment(t, d->found.wall_ms);
		pw_sheet_raw(t, "</p>\n");
	}
	pw_sheet_raw(t, "<p><a class=\"way\" href=\"/found\">");
	pw_sheet_word(t, PW_W_F_MORE, "", "");
	pw_sheet_raw(t, "</a></p>\n");
}

/* ?what= names what was tapped, or that it was taken. */
static void put_found(struct pw_sheet *t, const struct pw_view *v)
{
	const char *tapped = pw_visit_value(v->visit, "what");
	enum pw_found_what what = pw_found_find(tapped);
	bool child = !strcmp(tapped, "child_taken");

	if (what != PW_FOUND_NONE)
		put_confirm(t, v, what);
	else if (child || !strcmp(tapped, "taken"))
		put_taken(t, v, child);
	else
		put_choices(t);
}

const struct pw_piece pw_found_pieces[] = { { "found", put_found }, { NULL, NULL } };
