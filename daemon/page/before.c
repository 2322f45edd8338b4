/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "leaf.h"

/* do=try, or do=heard with yes=1 or 0; line: an output. */
enum pw_word pw_before_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	const char *what = pw_form_value(f, "do"), *yes = pw_form_value(f, "yes");

	if (!strcmp(what, "try"))
		act->kind = PW_A_TRY;
	else if (!strcmp(what, "heard") && (!strcmp(yes, "1") || !strcmp(yes, "0")))
		act->kind = PW_A_HEARD;
	else
		return PW_W_E_FORM;
	act->yes = yes[0] == '1';
	return pw_read_output(f, s, act);
}

/* -- what is proven ---------------------------------------------------------------------------- */

enum standing { PROVEN = 1, TOO_OLD, UNHEARD, UNPROVEN };

static enum standing standing_of(const struct pw_snapshot *s, unsigned line,
				 const struct pw_proof **proof)
{
	*proof = pw_day_proof(&s->day, s->line[line].name);
	if (!*proof)
		return UNPROVEN;
	if ((*proof)->how == PW_NOT_HEARD)
		return UNHEARD;
	return s->wall_ms - (*proof)->wall_ms < s->proof_ms ? PROVEN : TOO_OLD;
}

static enum pw_word do_of(const struct pw_snapshot *s, unsigned line)
{
	static const enum pw_word input[PW_INPUTS] = {
		[PW_IGNITION] = PW_W_B_DO_IGNITION, [PW_PARK_BRAKE] = PW_W_B_DO_PARK_BRAKE,
		[PW_REAR_BUTTON] = PW_W_B_DO_BUTTON, [PW_REAR_BUTTON_NC] = PW_W_B_DO_BUTTON,
		[PW_REAR_DOOR] = PW_W_B_DO_DOOR, [PW_EXITS] = PW_W_B_DO_EXITS,
		[PW_SERVICE_DOOR] = PW_W_B_DO_DOOR, [PW_LAMPS] = PW_W_B_DO_LAMPS,
	};

	if (s->line[line].out)
		return PW_W_B_DO_OUTPUT;
	return line < PW_INPUTS ? input[line] : PW_W_B_DO_OTHER;
}

/* "Rear door: not seen to move today. Open and shut it." */
static void put_left_line(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line,
			  enum standing standing)
{
	pw_sheet_raw(t, "<li>");
	pw_put_shape(t, "mark", standing == UNHEARD ? "missed" : "zero");
	pw_sheet_raw(t, "<b>");
	pw_put_line_name(t, s, line);
	pw_sheet_raw(t, "</b>");
	pw_sheet_word(t, PW_W_COLON, "", "");
	pw_sheet_raw(t, " ");
	if (standing == UNHEARD)
		pw_sheet_word(t, PW_W_B_WAS_NOT_HEARD, "", "");
	else
		pw_sheet_word(t, s->line[line].out ? PW_W_B_NOT_HEARD : PW_W_B_NOT_MOVED, "", "");
	pw_sheet_raw(t, " ");
	pw_sheet_word(t, do_of(s, line), "", "");
	pw_sheet_raw(t, "</li>\n");
}

static void put_left(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_proof *proof;
	unsigned left = 0;

	for (unsigned i = 0; i < PW_LINES; i++) {
		enum standing standing = standing_of(v->s, i, &proof);

		if (!v->s->line[i].configured || standing == PROVEN)
			continue;
		if (left++ == 0) {
			pw_put_element(t, "h2", NULL, PW_W_B_LEFT);
			pw_sheet_raw(t, "<ul class=\"todo\">\n");
		}
		put_left_line(t, v->s, i, standing);
	}
	if (left)
		pw_sheet_raw(t, "</ul>\n");
	else
		pw_put_element(t, "p", "lead", PW_W_B_ALL);
}

static void put_standing(struct pw_sheet *t, const struct pw_snapshot *s, enum standing standing)
{
	static const struct { const char *shape; enum pw_word word; } as[] = {
		[PROVEN] = { "done", PW_W_B_PROVEN }, [TOO_OLD] = { "late", PW_W_B_OLD },
		[UNHEARD] = { "missed", PW_W_B_UNPROVEN }, [UNPROVEN] = { "zero", PW_W_B_UNPROVEN },
	};
	char span[PW_CLOCK_MAX];
	struct pw_sheet a;

	pw_sheet_open(&a, span, sizeof span);
	a.language = t->language;
	pw_put_lasting(&a, s->proof_ms);
	pw_put_shape(t, "mark", as[standing].shape);
	pw_sheet_word(t, as[standing].word, span, "");
}

static void put_how(struct pw_sheet *t, const struct pw_proof *proof)
{
	static const enum pw_word how[PW_PROOF_HOWS] = {
		[PW_MOVED] = PW_W_HOW_MOVED, [PW_SENSED] = PW_W_HOW_SENSED,
		[PW_HEARD] = PW_W_HOW_HEARD, [PW_NOT_HEARD] = PW_W_HOW_NOT_HEARD,
	};

	if (!proof || proof->how <= 0 || proof->how >= PW_PROOF_HOWS)
		return;
	pw_sheet_raw(t, "<br>");
	pw_sheet_word(t, how[proof->how], "", "");
}

void pw_put_proof(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line)
{
	const struct pw_proof *proof = pw_day_proof(&s->day, s->line[line].name);

	put_how(t, proof);
	if (!proof)
		return;
	pw_sheet_raw(t, ", ");
	pw_put_moment(t, proof->wall_ms);
}

static void put_proof(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line)
{
	const struct pw_proof *proof;
	enum standing standing = standing_of(s, line, &proof);

	pw_sheet_raw(t, "<tr><th scope=\"row\">");
	pw_put_line_name(t, s, line);
	pw_sheet_raw(t, "</th><td>");
	put_standing(t, s, standing);
	put_how(t, proof);
	pw_sheet_raw(t, "</td><td>");
	if (proof)
		pw_put_moment(t, proof->wall_ms);
	else
		pw_sheet_raw(t, "–");
	pw_sheet_raw(t, "</td></tr>\n");
}

static void put_proofs(struct pw_sheet *t, const struct pw_view *v)
{
	for (unsigned i = 0; i < PW_LINES; i++)
		if (v->s->line[i].configured)
			put_proof(t, v->s, i);
}

/* -- trying a signal --------------------------------------------------------------------------- */

static bool sweep_open(const struct pw_snapshot *s)
{
	return s->phase != PW_PARKED && s->phase != PW_DRIVING;
}

void pw_put_try(struct pw_sheet *t, const struct pw_view *v, unsigned line)
{
	char number[8];

	snprintf(number, sizeof number, "%u", line);
	pw_put_form(t, v);
	pw_put_hidden(t, "line", number);
	pw_sheet_fmt(t, "<button id=\"try-%u\" name=\"do\" value=\"try\">", line);
	pw_sheet_word(t, PW_W_B_TRY, pw_line_called(t->language, v->s, line), "");
	pw_sheet_raw(t, "</button>\n</form>\n");
	if (pw_span_ms(v->s->now_ms, v->s->trial_end_ms) > 0 && v->s->trial_line == line)
		pw_put_element(t, "p", NULL, PW_W_B_TRYING);
}

/* NONE: nothing is in the way of a trial. */
enum pw_word pw_say_untried(const struct pw_snapshot *s)
{
	if (sweep_open(s))
		return PW_W_B_WHY_SWEEP;
	return pw_line_level(s, PW_IGNITION) && !pw_line_level(s, PW_PARK_BRAKE)
		? PW_W_B_WHY_KEY : PW_W_NONE;
}

/* What the button would do is said before it: an ear does not get well by an excuse. */
void pw_put_trials(struct pw_sheet *t, const struct pw_view *v)
{
	enum pw_word why = pw_say_untried(v->s);

	if (why != PW_W_NONE)
		pw_put_element(t, "p", "caution", why);
	pw_put_element(t, "p", "caution", PW_W_B_OUTSIDE);
}

static void put_yes_no(struct pw_sheet *t, const struct pw_view *v, unsigned line)
{
	char number[8];

	snprintf(number, sizeof number, "%u", line);
	pw_put_form(t, v);
	pw_put_hidden(t, "line", number);
	pw_put_hidden(t, "do", "heard");
	pw_sheet_raw(t, "<fieldset class=\"ask\">\n<legend>");
	pw_sheet_word(t, PW_W_B_ASK, pw_line_called(t->language, v->s, line), "");
	pw_sheet_raw(t, "</legend>\n");
	pw_put_button(t, "yes", "yes", "1", PW_W_YES);
	pw_put_button(t, "no", "yes", "0", PW_W_NO);
	pw_sheet_raw(t, "</fieldset>\n</form>\n");
}

static void put_signals(struct pw_sheet *t, const struct pw_view *v)
{
	const char *text = pw_visit_value(v->visit, "tried");
	long tried = text[0] ? strtol(text, NULL, 10) : -1;

	pw_put_element(t, "h2", NULL, PW_W_B_SIGNALS);
	if (tried >= 0 && tried < PW_LINES && v->s->line[tried].configured && v->s->line[tried].out)
		put_yes_no(t, v, (unsigned)tried);
	pw_put_trials(t, v);
	for (unsigned i = 0; i < PW_LINES; i++)
		if (v->s->line[i].configured && v->s->line[i].out)
			pw_put_try(t, v, i);
}

static void put_review(struct pw_sheet *t, const struct pw_view *v)
{
	if (!pw_review_due(&v->s->day))
		return;
	pw_sheet_raw(t, "<p><a class=\"way\" href=\"/report#review\">");
	pw_sheet_word(t, PW_W_B_REVIEW, "", "");
	pw_sheet_raw(t, "</a></p>\n");
}

const struct pw_piece pw_before_pieces[] = {
	{ "left", put_left }, { "proofs", put_proofs }, { "signals", put_signals },
	{ "review", put_review }, { NULL, NULL },
};
