/* SPDX-License-Identifier: Apache-2.0 */
/* The set-up record: what the walk through the wiring and the lines themselves give as evidence. */
#include <inttypes.h>
#include "leaf.h"

/* who: ends the walk through the wiring. */
enum pw_word pw_setup_read(const struct pw_form *f, const struct pw_snapshot *s,
			   struct pw_act *act)
{
	(void)s;
	act->kind = PW_A_WIRING;
	act->step = PW_STEP_END;
	return pw_read_code(f, true, act);
}

static void put_signed(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_day *d = &v->s->day;

	pw_sheet_raw(t, "<p class=\"lead\">");
	if (d->setup.wall_ms)
		pw_put_signed(t, PW_W_U_SIGNED, d->setup.who, d->setup.wall_ms);
	else
		pw_sheet_word(t, PW_W_U_NONE, "", "");
	pw_sheet_raw(t, "</p>\n<p>");
	pw_sheet_word(t, PW_W_U_POLICY, "", "");
	pw_sheet_raw(t, " <code>");
	pw_sheet_html(t, v->s->policy);
	pw_sheet_raw(t, "</code></p>\n");
}

static void put_step(struct pw_sheet *t, const struct pw_wires *w,
		     const struct pw_wiring_step *step)
{
	pw_sheet_raw(t, "<tr><th scope=\"row\">");
	pw_sheet_word(t, pw_say_step(step), "", "");
	pw_sheet_raw(t, " <code>");
	pw_sheet_html(t, step->line < PW_LINES ? w->wire[step->line].name : "");
	pw_sheet_fmt(t, " = %d</code></th><td>", step->level);
	pw_put_shape(t, "mark", pw_step_shape(step->result));
	pw_sheet_word(t, pw_say_result(step->result), "", "");
	pw_sheet_raw(t, "<br>");
	if (step->result != PW_WIRING_OPEN)
		pw_put_saw(t, w, step);
	pw_sheet_raw(t, "</td><td>");
	pw_put_shortest(t, step->shortest_ms);
	pw_sheet_raw(t, "</td></tr>\n");
}

static void open_table(struct pw_sheet *t, enum pw_word caption, const enum pw_word head[3])
{
	pw_sheet_raw(t, "<table class=\"proofs\">\n");
	pw_put_element(t, "caption", NULL, caption);
	pw_sheet_raw(t, "<thead><tr>");
	for (int i = 0; i < 3; i++) {
		pw_sheet_raw(t, "<th scope=\"col\">");
		pw_sheet_word(t, head[i], "", "");
		pw_sheet_raw(t, "</th>");
	}
	pw_sheet_raw(t, "</tr></thead>\n<tbody>\n");
}

static void put_steps(struct pw_sheet *t, const struct pw_view *v)
{
	static const enum pw_word head[] = { PW_W_U_COL_STEP, PW_W_U_COL_RESULT,
					     PW_W_I_SHORTEST };
	const struct pw_wires *w = v->visit->wires;

	if (w->wiring.steps == 0) {
		pw_put_element(t, "p", NULL, PW_W_U_NO_WALK);
		return;
	}
	open_table(t, PW_W_U_STEPS, head);
	for (unsigned i = 0; i < w->wiring.steps && i < PW_WIRING_STEPS; i++)
		put_step(t, w, &w->wiring.step[i]);
	pw_sheet_raw(t, "</tbody>\n</table>\n");
}

static void put_evidence_of(struct pw_sheet *t, const struct pw_view *v, unsigned line)
{
	const struct pw_wire *wire = &v->visit->wires->wire[line];

	pw_sheet_raw(t, "<tr><th scope=\"row\">");
	pw_put_line_name(t, v->s, line);
	pw_sheet_raw(t, " <code>");
	pw_sheet_html(t, wire->name);
	pw_sheet_raw(t, "</code></th><td>");
	pw_put_shape(t, "mark", pw_wire_shape(wire));
	pw_sheet_word(t, pw_say_wire(wire), "", "");
	pw_put_proof(t, v->s, line);
	pw_sheet_fmt(t, "</td><td>%" PRIu32 "</td></tr>\n", wire->count);
}

static void put_evidence(struct pw_sheet *t, const struct pw_view *v)
{
	static const enum pw_word head[] = { PW_W_COL_LINE, PW_W_U_COL_RESULT, PW_W_I_EDGES };

	open_table(t, PW_W_U_EVIDENCE, head);
	for (unsigned i = 0; i < PW_LINES; i++)
		if (v->visit->wires->wire[i].name[0])
			put_evidence_of(t, v, i);
	pw_sheet_raw(t, "</tbody>\n</table>\n");
}

static void put_sign(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_wiring *g = &v->visit->wires->wiring;

	if (!g->on)
		return;
	if (g->at < g->steps) {
		pw_put_element(t, "p", "lead", PW_W_U_NOT_YET);
		return;
	}
	pw_sheet_raw(t, "<section class=\"sign\">\n");
	pw_put_element(t, "p", NULL, PW_W_U_SIGN_LEAD);
	pw_put_form(t, v);
	pw_put_code_field(t, v, PW_W_U_CODE, true);
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, NULL, NULL, NULL, PW_W_U_SIGN);
	pw_sheet_raw(t, "</p>\n</form>\n</section>\n");
}

const struct pw_piece pw_setup_pieces[] = {
	{ "setup_signed", put_signed }, { "steps", put_steps }, { "evidence", put_evidence },
	{ "sign", put_sign }, { NULL, NULL },
};
