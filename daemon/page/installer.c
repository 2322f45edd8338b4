/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "leaf.h"

/* do=count, or do=try with line: an output. */
enum pw_word pw_installer_read(const struct pw_form *f, const struct pw_snapshot *s,
			       struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	act->kind = PW_A_COUNT;
	if (!strcmp(what, "count"))
		return PW_W_NONE;
	act->kind = PW_A_TRY;
	return strcmp(what, "try") ? PW_W_E_FORM : pw_read_output(f, s, act);
}

/* -- a line ------------------------------------------------------------------------------------ */

enum pw_word pw_say_wire(const struct pw_wire *w)
{
	static const enum pw_word word[PW_WIRE_VERDICTS] = {
		[PW_WIRE_WELL] = PW_W_I_LINE_WELL, [PW_WIRE_UNSEEN] = PW_W_I_LINE_UNSEEN,
		[PW_WIRE_ONE_WAY] = PW_W_I_LINE_ONE_WAY, [PW_WIRE_CHATTERS] = PW_W_I_LINE_CHATTERS,
		[PW_WIRE_BOTH_OPEN] = PW_W_I_LINE_BOTH_OPEN,
		[PW_WIRE_BOTH_CLOSED] = PW_W_I_LINE_BOTH_CLOSED,
		[PW_WIRE_STUCK] = PW_W_I_LINE_STUCK, [PW_WIRE_FAULT] = PW_W_I_LINE_FAULT,
	};

	if (w->out && w->verdict == PW_WIRE_UNSEEN)
		return PW_W_I_OUT_UNSEEN;
	return w->verdict > 0 && w->verdict < PW_WIRE_VERDICTS ? word[w->verdict] : PW_W_NONE;
}

const char *pw_wire_shape(const struct pw_wire *w)
{
	if (w->verdict == PW_WIRE_WELL)
		return "done";
	return w->verdict == PW_WIRE_UNSEEN || w->verdict == PW_WIRE_ONE_WAY ? "zero" : "fault";
}

static void put_ms(struct pw_sheet *t, int64_t ms)
{
	char number[24];

	snprintf(number, sizeof number, "%" PRId64, ms);
	pw_sheet_word(t, PW_W_I_MS, number, "");
}

void pw_put_shortest(struct pw_sheet *t, int64_t shortest_ms)
{
	if (shortest_ms < 0)
		pw_sheet_raw(t, "–");
	else
		put_ms(t, shortest_ms);
}

static void open_fact(struct pw_sheet *t, enum pw_word word, int64_t ms)
{
	char number[24];

	snprintf(number, sizeof number, "%" PRId64, ms);
	pw_sheet_raw(t, "<div><dt>");
	pw_sheet_word(t, word, number, "");
	pw_sheet_raw(t, "</dt><dd>");
}

static void put_facts(struct pw_sheet *t, const struct pw_wires *w, unsigned line)
{
	const struct pw_wire *wire = &w->wire[line];

	pw_sheet_raw(t, "<dl class=\"facts\">\n");
	open_fact(t, PW_W_COL_LEVEL, 0);
	pw_put_shape(t, "mark", wire->level ? "one" : "zero");
	pw_sheet_fmt(t, "%d ", wire->level);
	pw_sheet_word(t, pw_say_level_of(line, wire->level), "", "");
	pw_sheet_raw(t, "</dd></div>\n");
	open_fact(t, PW_W_COL_CHANGED, 0);
	if (wire->tail > 0 && wire->tail <= PW_TAIL_MAX)
		pw_put_age(t, pw_span_ms(wire->at_ms[wire->tail - 1], w->now_ms));
	else
		pw_sheet_word(t, PW_W_NOT_SEEN, "", "");
	pw_sheet_raw(t, "</dd></div>\n");
	open_fact(t, PW_W_I_EDGES, 0);
	pw_sheet_fmt(t, "%" PRIu32 "</dd></div>\n", wire->count);
	open_fact(t, PW_W_I_SHORTEST, 0);
	pw_put_shortest(t, wire->shortest_ms);
	pw_sheet_raw(t, "</dd></div>\n");
	if (wire->settle_ms > 0) { /* nothing of an output settles */
		open_fact(t, PW_W_I_CHATTER, wire->settle_ms);
		pw_sheet_fmt(t, "%" PRIu32 "</dd></div>\n", wire->chatter);
	}
	pw_sheet_raw(t, "</dl>\n");
}

/* -- the strips' span -------------------------------------------------------------------------- */

static const struct span {
	const char *s;
	int64_t ms;
	enum pw_word word;
} spans[] = {
	{ "10", 10000, PW_W_I_10 }, { "60", 60000, PW_W_I_60 }, { "600", 600000, PW_W_I_600 },
};
#define SPANS (sizeof spans / sizeof spans[0])

static const struct span *span_asked(const struct pw_view *v)
{
	const char *text = pw_visit_value(v->visit, "span");

	for (size_t i = 0; i < SPANS; i++)
		if (!strcmp(text, spans[i].s))
			return &spans[i];
	return &spans[0];
}

static void put_spans(struct pw_sheet *t, const struct pw_view *v)
{
	const struct span *now = span_asked(v);
	char ago[PW_CLOCK_MAX];
	struct pw_sheet a;

	pw_sheet_raw(t, "<nav class=\"choose\" aria-label=\"");
	pw_sheet_word(t, PW_W_I_SPAN, "", "");
	pw_sheet_raw(t, "\">\n<ul>\n");
	for (size_t i = 0; i < SPANS; i++) {
		pw_sheet_fmt(t, "<li><a id=\"span-%s\" href=\"/installer?span=%s\"%s>", spans[i].s,
			     spans[i].s, now == &spans[i] ? " aria-current=\"true\"" : "");
		pw_sheet_word(t, spans[i].word, "", "");
		pw_sheet_raw(t, "</a></li>\n");
	}
	pw_sheet_raw(t, "</ul>\n</nav>\n<p class=\"small\">");
	pw_sheet_open(&a, ago, sizeof ago);
	a.language = t->language;
	pw_put_lasting(&a, now->ms);
	pw_sheet_word(t, PW_W_I_AXIS, ago, "");
	pw_sheet_raw(t, "</p>\n");
}

static void put_wire(struct pw_sheet *t, const struct pw_view *v, unsigned line)
{
	const struct pw_wires *w = v->visit->wires;
	const struct pw_wire *wire = &w->wire[line];
	const struct span *span = span_asked(v);

	pw_sheet_raw(t, "<article class=\"wire\">\n<h3>");
	pw_put_line_name(t, v->s, line);
	pw_sheet_raw(t, " <code>");
	pw_sheet_html(t, wire->name);
	pw_sheet_raw(t, "</code></h3>\n<p>");
	pw_put_shape(t, "mark", pw_wire_shape(wire));
	pw_sheet_word(t, pw_say_wire(wire), "", "");
	if (v->s->line[line].fault[0]) {
		pw_sheet_raw(t, "<span class=\"fault\" lang=\"en\">");
		pw_sheet_html(t, v->s->line[line].fault);
		pw_sheet_raw(t, "</span>");
	}
	pw_sheet_raw(t, "</p>\n");
	put_facts(t, w, line);
	pw_put_strip(t, wire, w->now_ms, span->ms, span->word);
	pw_put_bins(t, wire);
	pw_sheet_raw(t, "</article>\n");
}

static void put_wires(struct pw_sheet *t, const struct pw_view *v)
{
	for (unsigned i = 0; i < PW_LINES; i++)
		if (v->visit->wires->wire[i].name[0])
			put_wire(t, v, i);
}

/* -- the pair ---------------------------------------------------------------------------------- */

static void put_reads(struct pw_sheet *t, const struct pw_view *v, unsigned line)
{
	enum pw_word level = pw_say_level_of(line, v->visit->wires->wire[line].level);

	pw_sheet_raw(t, "<li>");
	pw_sheet_word(t, PW_W_I_SAYS, pw_word(t->language, pw_say_line(line)),
		      pw_word(t->language, level));
	pw_sheet_raw(t, "</li>\n");
}

static void put_pair(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_wires *w = v->visit->wires;
	bool agree = w->disagree_ms < 0;
	char span[PW_CLOCK_MAX];

	if (!w->wire[PW_REAR_BUTTON].name[0] || !w->wire[PW_REAR_BUTTON_NC].name[0])
		return;
	pw_put_element(t, "h2", NULL, PW_W_I_PAIR);
	pw_sheet_raw(t, "<p>");
	pw_put_shape(t, "mark", agree ? "done" : "fault");
	if (agree) {
		pw_sheet_word(t, PW_W_I_AGREE,
			      pw_word(t->language, pw_say_level_of(PW_REAR_BUTTON,
								   w->wire[PW_REAR_BUTTON].level)),
			      "");
		pw_sheet_raw(t, "</p>\n");
		return;
	}
	pw_clock_text(pw_span_ms(w->disagree_ms, w->now_ms), false, span);
	pw_sheet_word(t, PW_W_I_DISAGREE, span, "");
	pw_sheet_raw(t, "</p>\n<ul>\n");
	put_reads(t, v, PW_REAR_BUTTON);
	put_reads(t, v, PW_REAR_BUTTON_NC);
	pw_sheet_raw(t, "</ul>\n");
}

/* -- the rest ---------------------------------------------------------------------------------- */

static void put_count(struct pw_sheet *t, const struct pw_view *v)
{
	const struct pw_wires *w = v->visit->wires;
	char span[PW_CLOCK_MAX];

	pw_clock_text(pw_span_ms(w->counted_ms, w->now_ms), false, span);
	pw_put_form(t, v);
	pw_sheet_raw(t, "<p class=\"do\">");
	pw_put_button(t, "count", "do", "count", PW_W_I_COUNT);
	pw_sheet_raw(t, "<span>");
	pw_sheet_word(t, PW_W_I_COUNTED, span, "");
	pw_sheet_raw(t, "</span></p>\n</form>\n");
}

static void put_outputs(struct pw_sheet *t, const struct pw_view *v)
{
	pw_put_element(t, "h2", NULL, PW_W_I_OUTPUTS);
	pw_put_trials(t, v);
	for (unsigned i = 0; i < PW_LINES; i++)
		if (v->s->line[i].configured && v->s->line[i].out)
			pw_put_try(t, v, i);
}

const struct pw_piece pw_installer_pieces[] = {
	{ "spans", put_spans }, { "wires", put_wires }, { "pair", put_pair },
	{ "count", put_count }, { "outputs", put_outputs }, { NULL, NULL },
};
