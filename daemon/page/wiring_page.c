/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "leaf.h"

#define EDGES_MAX 96

/* do=begin, next, again or skip. */
enum pw_word pw_wiring_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	static const struct { const char *name; enum pw_step_kind step; } steps[] = {
		{ "begin", PW_STEP_BEGIN }, { "next", PW_STEP_NEXT }, { "again", PW_STEP_AGAIN },
		{ "skip", PW_STEP_SKIP },
	};
	const char *what = pw_form_value(f, "do");

	(void)s;
	act->kind = PW_A_WIRING;
	for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
		if (!strcmp(what, steps[i].name)) {
			act->step = steps[i].step;
			return PW_W_NONE;
		}
	return PW_W_E_FORM;
}

enum pw_word pw_say_step(const struct pw_wiring_step *step)
{
	static const enum pw_word word[PW_INPUTS][2] = {
		[PW_IGNITION] = { PW_W_G_IGNITION_0, PW_W_G_IGNITION_1 },
		[PW_PARK_BRAKE] = { PW_W_G_PARK_BRAKE_0, PW_W_G_PARK_BRAKE_1 },
		[PW_REAR_BUTTON] = { PW_W_G_BUTTON_0, PW_W_G_BUTTON_1 },
		[PW_REAR_BUTTON_NC] = { PW_W_G_BUTTON_1, PW_W_G_BUTTON_0 },
		[PW_REAR_DOOR] = { PW_W_G_REAR_DOOR_0, PW_W_G_REAR_DOOR_1 },
		[PW_EXITS] = { PW_W_G_EXITS_0, PW_W_G_EXITS_1 },
		[PW_SERVICE_DOOR] = { PW_W_G_SERVICE_DOOR_0, PW_W_G_SERVICE_DOOR_1 },
		[PW_LAMPS] = { PW_W_G_LAMPS_0, PW_W_G_LAMPS_1 },
	};

	if (step->line < PW_INPUTS)
		return word[step->line][step->level != 0];
	return step->level ? PW_W_G_OTHER_1 : PW_W_G_OTHER_0;
}

enum pw_word pw_say_result(enum pw_wiring_result result)
{
	static const enum pw_word word[PW_WIRING_RESULTS] = {
		[PW_WIRING_OPEN] = PW_W_G_OPEN, [PW_WIRING_RIGHT] = PW_W_G_RIGHT,
		[PW_WIRING_SWAPPED] = PW_W_G_SWAPPED, [PW_WIRING_INVERTED] = PW_W_G_INVERTED,
		[PW_WIRING_NO_EDGE] = PW_W_G_NO_EDGE, [PW_WIRING_SHORTED] = PW_W_G_SHORTED,
		[PW_WIRING_CROSSTALK] = PW_W_G_CROSSTALK, [PW_WIRING_CHATTER] = PW_W_G_CHATTER,
		[PW_WIRING_SKIPPED] = PW_W_G_SKIPPED,
	};

	return result > 0 && result < PW_WIRING_RESULTS ? word[result] : PW_W_NONE;
}

/* "3 edges on service_door" */
static void say_edges(const struct pw_sheet *t, unsigned edges, const char *name,
		      char text[EDGES_MAX])
{
	struct pw_sheet a;

	pw_sheet_open(&a, text, EDGES_MAX);
	a.language = t->language;
	pw_sheet_count(&a, PW_W_G_EDGES_ON, edges, name);
}

/* Of the button's pair, the contact that did not move; else the step's line. */
static unsigned still_line(const struct pw_wiring_step *step)
{
	bool still = step->result == PW_WIRING_NO_EDGE && step->other == PW_REAR_BUTTON_NC;

	if (step->result == PW_WIRING_SWAPPED && step->line == PW_REAR_BUTTON && step->edges > 0)
		still = true;
	return still ? PW_REAR_BUTTON_NC : step->line;
}

/* Both contacts moved to the wrong level: nothing can be said to be still. */
static bool is_exchanged(const struct pw_wiring_step *step)
{
	return step->result == PW_WIRING_SWAPPED && step->line == PW_REAR_BUTTON &&
	       step->other == PW_REAR_BUTTON_NC;
}

/* What was seen, in a sentence with names as the policy has them: they stand on the terminals. */
void pw_put_saw(struct pw_sheet *t, const struct pw_wires *w, const struct pw_wiring_step *step)
{
	static const struct { enum pw_word word; bool other; } saw[PW_WIRING_RESULTS] = {
		[PW_WIRING_OPEN] = { PW_W_G_SAW_NOTHING, false },
		[PW_WIRING_RIGHT] = { PW_W_G_SAW_RIGHT, false },
		[PW_WIRING_SWAPPED] = { PW_W_G_SAW_SWAPPED, true },
		[PW_WIRING_INVERTED] = { PW_W_G_SAW_INVERTED, false },
		[PW_WIRING_NO_EDGE] = { PW_W_G_SAW_NO_EDGE, false },
		[PW_WIRING_SHORTED] = { PW_W_G_SAW_SHORTED, true },
		[PW_WIRING_CROSSTALK] = { PW_W_G_SAW_CROSSTALK, true },
		[PW_WIRING_CHATTER] = { PW_W_G_SAW_CHATTER, false },
		[PW_WIRING_SKIPPED] = { PW_W_G_SAW_SKIPPED, false },
	};
	char edges[EDGES_MAX];

	if (step->result <= 0 || step->result >= PW_WIRING_RESULTS || step->line >= PW_LINES ||
	    step->other >= PW_LINES)
		return;
	if (is_exchanged(step)) {
		pw_sheet_word(t, PW_W_G_SAW_EXCHANGED, w->wire[step->line].name, "");
		return;
	}
	if (saw[step->result].other)
		say_edges(t, step->other_edges, w->wire[step->other].name, edges);
	else
		say_edges(t, step->edges, w->wire[step->line].name, edges);
	pw_sheet_word(t, saw[step->result].word, w->wire[still_line(step)].name, edges);
}

const char *pw_step_shape(enum pw_wiring_result result)
{
	switch (result) {
	case PW_WIRING_RIGHT: return "done";
	case PW_WIRING_OPEN: case PW_WIRING_SKIPPED: return "zero";
	default: return "fault";
	}
}

static unsigned steps_of(const struct pw_wiring *g)
{
	return g->steps <= PW_WIRING_STEPS ? g->steps : PW_WIRING_STEPS;
}

/* -- the step under way ------------------------------------------------------------------------ */

static void put_step_now(struct pw_sheet *t, const struct pw_wires *w)
{
	const struct pw_wiring *g = &w->wiring;
	char at[8], of[8];

	snprintf(at, sizeof at, "%d", g->at + 1);
	snprintf(of, sizeof of, "%d", g->steps);
	pw_sheet_raw(t, "<section class=\"step\">\n<p class=\"small\">");
	pw_sheet_word(t, PW_W_G_STEP, at, of);
	pw_sheet_raw(t, "</p>\n");
	pw_put_element(t, "h2", NULL, pw_say_step(&g->step[g->at]));
	pw_sheet_raw(t, "<p role=\"status\">");
	pw_put_shape(t, "mark", pw_step_shape(g->look.result));
	pw_put_saw(t, w, &g->look);
	pw_sheet_raw(t, "</p>\n</section>\n");
}

static void put_buttons(struct pw_sheet *t, const struct pw_view *v, bool waits)
{
	const struct pw_wiring *g = &v->visit->wires->wiring;

	pw_put_form(t, v);
	pw_sheet_raw(t, "<p class=\"do\">");
	if (waits) {
		pw_put_button(t, "next", "do", "next", PW_W_G_NEXT);
		pw_put_button(t, "skip", "do", "skip", PW_W_G_SKIP);
	}
	if (g->on && g->at > 0)
		pw_put_button(t, "again", "do", "again", PW_W_G_AGAIN);
	if (!g->on)
		pw_put_button(t, "begin", "do", "begin",
			      g->steps ? PW_W_G_BEGIN_ANEW : PW_W_G_BEGIN);
	if (g->steps) {
		pw_sheet_raw(t, "<a id=\"end\" class=\"way\" href=\"/installer/setup\">");
		pw_sheet_word(t, PW_W_G_END, "", "");
		pw_sheet_raw(t, "</a>");
	}
	pw_sheet_raw(t, "</p>\n</form>\n");
}

static void put_walk(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_wires *w = v->visit->wires;
	bool waits = w->wiring.on && w->wiring.at < steps_of(&w->wiring);

	if (waits)
		put_step_now(t, w);
	else if (w->wiring.on)
		pw_put_element(t, "p", "lead", PW_W_G_ALL);
	put_buttons(t, v, waits);
}

/* The last first: that is the one which somebody wants to see. */
static void put_so_far(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_wires *w = v->visit->wires;
	unsigned at = w->wiring.at < steps_of(&w->wiring) ? w->wiring.at : steps_of(&w->wiring);

	if (at == 0)
		return;
	pw_put_element(t, "h2", NULL, PW_W_G_STEPS);
	pw_sheet_fmt(t, "<ol reversed start=\"%u\" class=\"steps\">\n", at);
	while (at-- > 0) {
		const struct pw_wiring_step *step = &w->wiring.step[at];

		pw_sheet_raw(t, "<li>");
		pw_sheet_word(t, pw_say_step(step), "", "");
		pw_sheet_raw(t, "<br>");
		pw_put_shape(t, "mark", pw_step_shape(step->result));
		pw_put_saw(t, w, step);
		pw_sheet_raw(t, "</li>\n");
	}
	pw_sheet_raw(t, "</ol>\n");
}

const struct pw_piece pw_wiring_pieces[] = {
	{ "walk", put_walk }, { "so_far", put_so_far }, { NULL, NULL },
};
