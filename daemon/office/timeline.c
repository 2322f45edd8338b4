/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "report.h"
#include "timeline.h"

#define WIDTH 960.0
#define LEFT 214.0        /* of the axis: names stand before it */
#define RIGHT 948.0
#define LANE 30.0
#define BAR 16.0
#define ROW 13.0          /* of small letters */
#define LETTER 6.4        /* about as wide as one is */
#define MOMENTS_MAX 2000
#define BEFORE_MS INT64_C(6000)
#define BEHIND_MS INT64_C(4000)

struct drawing {
	const struct pw_told_sweep *t;
	const struct pw_sweep *w;
	const struct pw_in_words *in;
	FILE *out;
	struct pw_axis axis;
	int64_t from_ms, to_ms;
	double y;                 /* of the lane under way: its upper edge */
	enum pw_line line;
	int64_t on_ms;            /* that line is at 1 since then, or PW_NO_TIME */
};

/* -- pieces of SVG ----------------------------------------------------------------------------- */

static double x_of(const struct drawing *d, int64_t ms)
{
	return pw_axis_x(&d->axis, ms);
}

static bool in_view(const struct drawing *d, int64_t ms)
{
	return ms != PW_NO_TIME && ms >= d->from_ms && ms <= d->to_ms;
}

static void write_at(struct drawing *d, double x, double y, const char *kind, const char *text)
{
	fprintf(d->out, "<text class=\"%s\" x=\"%.1f\" y=\"%.1f\">", kind, x, y);
	pw_html_text(text, d->out);
	fputs("</text>\n", d->out);
}

static void say_phrase(struct drawing *d, double x, double y, const char *kind,
		       enum pw_phrase phrase)
{
	write_at(d, x, y, kind, pw_phrase(d->in->tongue, phrase));
}

static const char *span_words(const struct drawing *d, int64_t ms, char text[PW_VALUE_TEXT])
{
	return pw_value_words(d->in, &(struct pw_value){ .kind = PW_VALUE_SPAN, .number = ms },
			      text);
}

static const char *clock_words(const struct drawing *d, int64_t ms, char text[PW_VALUE_TEXT])
{
	return pw_value_words(d->in, &(struct pw_value){ .kind = PW_VALUE_CLOCK, .number = ms },
			      text);
}

/* A box over a time, with its words in it, or behind it where they do not go in. */
static void box(struct drawing *d, int64_t from_ms, int64_t to_ms, double y, double height,
		const char *kind, const char *words)
{
	const double x = x_of(d, from_ms), width = x_of(d, to_ms) - x;
	const double needs = LETTER * (double)strlen(words) + 8;
	const bool within = needs <= width;

	if (to_ms < d->from_ms || from_ms > d->to_ms || to_ms < from_ms)
		return;
	fprintf(d->out,
		"<rect class=\"%s\" x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"%.1f\"/>\n",
		kind, x, y, width < 1 ? 1 : width, height);
	if (within)
		write_at(d, x + 4, y + height - 4, "timeline-in", words);
	else if (x + width + needs < WIDTH)
		write_at(d, x + width + 4, y + height - 4, "timeline-by", words);
}

static void lane(struct drawing *d, const char *name)
{
	write_at(d, 4, d->y + LANE / 2 + 4, "timeline-name", name);
	fprintf(d->out,
		"<line class=\"timeline-base\" x1=\"%.0f\" x2=\"%.0f\" y1=\"%.1f\" y2=\"%.1f\"/>\n",
		LEFT, RIGHT, d->y + LANE - 6, d->y + LANE - 6);
}

/* -- what there is to see ---------------------------------------------------------------------- */

static int64_t walk_end_ms(const struct drawing *d)
{
	return d->t->has_policy ? pw_plus(d->w->t0_ms, pw_walk_min_ms(&d->t->policy)) : PW_NO_TIME;
}

static int64_t return_end_ms(const struct drawing *d)
{
	if (!d->t->has_policy || d->w->press_ms == PW_NO_TIME)
		return PW_NO_TIME;
	return pw_plus(d->w->press_ms, pw_return_min_ms(&d->t->policy));
}

static int64_t later(int64_t a, int64_t b)
{
	return a > b ? a : b;
}

static void choose_view(struct drawing *d)
{
	const struct pw_sweep *w = d->w;
	const int64_t end_ms = later(later(w->closed_ms, w->exit_ms),
				     later(walk_end_ms(d), return_end_ms(d)));

	d->from_ms = pw_minus(w->t0_ms, BEFORE_MS);
	d->to_ms = pw_plus(end_ms, BEHIND_MS);
}

static void make_axis(struct drawing *d)
{
	const struct pw_sweep *w = d->w;
	int64_t moment[MOMENTS_MAX] = { w->t0_ms, w->press_ms, w->exit_ms, w->closed_ms,
					walk_end_ms(d), return_end_ms(d),
					pw_told_due_ms(d->t) };
	size_t count = 7;

	for (uint32_t i = 0; i < w->refused && i < PW_REFUSALS_MAX; i++)
		moment[count++] = w->refusal[i].at_ms;
	for (size_t i = 0; i < d->t->count && count + 2 <= MOMENTS_MAX; i++) {
		moment[count++] = d->t->moment[i].at_ms;
		if (d->t->moment[i].kind == PW_AT_POWER)
			moment[count++] = d->t->moment[i].back_ms;
	}
	pw_axis_make(moment, count, d->from_ms, d->to_ms, LEFT, RIGHT - LEFT, &d->axis);
}

/* -- phases, asked and was --------------------------------------------------------------------- */

static void draw_phases(struct drawing *d)
{
	const struct pw_sweep *w = d->w;
	const int64_t over_ms = w->press_ms != PW_NO_TIME ? w->press_ms : w->closed_ms;
	int64_t due_ms = pw_told_overdue_ms(d->t);

	if (due_ms == PW_NO_TIME && w->late_ms > 0 && w->press_ms != PW_NO_TIME)
		due_ms = pw_told_due_ms(d->t);
	if (due_ms == PW_NO_TIME || due_ms > over_ms)
		due_ms = over_ms;
	lane(d, pw_phrase(d->in->tongue, PW_P_SWEEPS_LANE_PHASE));
	box(d, w->t0_ms, due_ms, d->y + 8, BAR, "timeline-owed", pw_code_words(d->in, "owed"));
	if (due_ms < over_ms)
		box(d, due_ms, over_ms, d->y + 8, BAR, "timeline-overdue",
		    pw_code_words(d->in, "overdue"));
	if (w->press_ms != PW_NO_TIME)
		box(d, w->press_ms, later(w->closed_ms, w->press_ms), d->y + 8, BAR,
		    "timeline-back",
		    pw_code_words(d->in, "walk_back"));
	d->y += LANE;
}

/* A flag: until here a press was wanted. One that is later than what is drawn is told at the edge. */
static void draw_due(struct drawing *d)
{
	const int64_t due_ms = pw_told_due_ms(d->t);
	const double x = x_of(d, due_ms);
	char text[PW_VALUE_TEXT], words[PW_VALUE_TEXT];

	if (due_ms == PW_NO_TIME)
		return;
	snprintf(words, sizeof(words), "%.100s %.20s%s", pw_phrase(d->in->tongue, PW_P_SWEEPS_DUE),
		 clock_words(d, due_ms, text), due_ms > d->to_ms ? " →" : "");
	if (due_ms > d->to_ms) {
		fprintf(d->out,
			"<text class=\"timeline-by\" text-anchor=\"end\" x=\"%.1f\" y=\"%.1f\">%s"
			"</text>\n", RIGHT, d->y + 12, words);
		return;
	}
	fprintf(d->out, "<path class=\"timeline-due\" d=\"M%.1f %.1fv-36l9 5l-9 5\"/>\n", x,
		d->y + LANE + ROW - 6);
	write_at(d, x + 11, d->y + 12, "timeline-by", words);
}

/* The walk above, the way back below it. */
static void draw_asked(struct drawing *d)
{
	char text[PW_VALUE_TEXT + 8] = "≥ ";
	const size_t used = strlen(text);

	d->y += ROW;
	lane(d, pw_phrase(d->in->tongue, PW_P_SWEEPS_LANE_ASKED));
	d->y -= ROW;
	if (d->t->has_policy) {
		span_words(d, pw_walk_min_ms(&d->t->policy), text + used);
		box(d, d->w->t0_ms, walk_end_ms(d), d->y + 2, BAR, "timeline-asked", text);
	}
	if (return_end_ms(d) != PW_NO_TIME) {
		span_words(d, pw_return_min_ms(&d->t->policy), text + used);
		box(d, d->w->press_ms, return_end_ms(d), d->y + 20, BAR, "timeline-asked", text);
	}
	draw_due(d);
	d->y += LANE + ROW;
}

static void draw_was(struct drawing *d)
{
	const struct pw_sweep *w = d->w;
	char text[PW_VALUE_TEXT];

	lane(d, pw_phrase(d->in->tongue, PW_P_SWEEPS_LANE_WAS));
	if (w->press_ms != PW_NO_TIME)
		box(d, w->t0_ms, w->press_ms, d->y + 8, BAR, "timeline-was",
		    span_words(d, pw_minus(w->press_ms, w->t0_ms), text));
	else
		box(d, w->t0_ms, w->closed_ms, d->y + 8, BAR, "timeline-none",
		    pw_phrase(d->in->tongue, PW_P_SWEEPS_NO_PRESS));
	if (w->press_ms != PW_NO_TIME && w->exit_ms != PW_NO_TIME)
		box(d, w->press_ms, w->exit_ms, d->y + 8, BAR, "timeline-was",
		    span_words(d, pw_minus(w->exit_ms, w->press_ms), text));
	d->y += LANE;
}

/* -- signals ----------------------------------------------------------------------------------- */

static int64_t signal_end_ms(const struct drawing *d, size_t i)
{
	for (size_t k = i + 1; k < d->t->count; k++)
		if (d->t->moment[k].kind == PW_AT_RUNG || d->t->moment[k].kind == PW_AT_POWER)
			return d->t->moment[k].at_ms;
	return later(d->w->closed_ms, d->t->moment[i].at_ms);
}

/* Beneath, where it does not go into its step: in three rows in turn. */
static void name_signal(struct drawing *d, double x, double base, unsigned nth, const char *name)
{
	const double y = base + ROW * (1 + nth % 3);

	fprintf(d->out, "<path class=\"timeline-edge\" d=\"M%.1f %.1fV%.1f\"/>\n", x, base, y);
	write_at(d, x + 3, y, "timeline-by", name);
}

/* Each new signal of the ladder a step higher. */
static void draw_signals(struct drawing *d)
{
	const double base = d->y + LANE + 18;
	unsigned step = 0, named = 0;

	write_at(d, 4, d->y + LANE / 2 + 12, "timeline-name",
		 pw_phrase(d->in->tongue, PW_P_SWEEPS_LANE_SIGNALS));
	fprintf(d->out,
		"<line class=\"timeline-base\" x1=\"%.0f\" x2=\"%.0f\" y1=\"%.1f\" y2=\"%.1f\"/>\n",
		LEFT, RIGHT, base, base);
	for (size_t i = 0; i < d->t->count; i++) {
		const struct pw_moment *m = &d->t->moment[i];
		const char *name = pw_code_words(d->in, m->name);
		const double x = x_of(d, m->at_ms), width = x_of(d, signal_end_ms(d, i)) - x;
		const bool within = LETTER * (double)strlen(name) + 8 <= width;

		if (m->kind != PW_AT_RUNG || m->at_ms < d->w->t0_ms ||
		    strcmp(m->name, "none") == 0 ||
		    m->at_ms > d->w->closed_ms)
			continue;
		step += pw_told_ladder(d->t, m) && step < 4;
		box(d, m->at_ms, signal_end_ms(d, i), base - BAR - 6 * step, BAR + 6 * step,
		    step ? "timeline-loud" : "timeline-prompt", within ? name : "");
		if (!within)
			name_signal(d, x, base, named++, name);
	}
	d->y += LANE + 18 + 3 * ROW + 6;
}

/* -- lines ------------------------------------------------------------------------------------- */

static void draw_level(void *ctx, int64_t at_ms, bool level)
{
	struct drawing *d = ctx;
	int64_t from_ms = d->on_ms, to_ms = at_ms;

	d->on_ms = level ? at_ms : PW_NO_TIME;
	if (level || from_ms == PW_NO_TIME || to_ms < d->from_ms || from_ms > d->to_ms)
		return;
	from_ms = later(from_ms, d->from_ms);
	to_ms = to_ms < d->to_ms ? to_ms : d->to_ms;
	box(d, from_ms, to_ms, d->y + LANE - 18, 12, "timeline-on", "");
}

static void draw_edges(struct drawing *d, enum pw_line line)
{
	for (size_t i = 0; i < d->t->count; i++) {
		const struct pw_moment *m = &d->t->moment[i];

		if (m->kind == PW_AT_LINE && m->line == line && in_view(d, m->at_ms))
			fprintf(d->out, "<path class=\"timeline-edge\" d=\"M%.1f %.1fv5\"/>\n",
				x_of(d, m->at_ms), d->y + LANE - 5);
	}
}

static void draw_line(struct drawing *d, enum pw_line line)
{
	static const char *const names[PW_INPUTS] = {
#define X(up, low, settle) #low,
		PW_INPUT_LIST(X)
#undef X
	};

	lane(d, pw_code_words(d->in, names[line]));
	d->line = line;
	d->on_ms = d->t->levels >> line & 1 ? d->from_ms : PW_NO_TIME;
	pw_told_line(d->t, line, d->to_ms, draw_level, d);
	if (d->on_ms != PW_NO_TIME)
		draw_level(d, d->to_ms, false);
	draw_edges(d, line);
}

/* On the button's lane: a disc for the press that counts, a cross for one that was refused. */
static void draw_presses(struct drawing *d)
{
	const struct pw_sweep *w = d->w;

	for (uint32_t i = 0; i < w->refused && i < PW_REFUSALS_MAX; i++)
		if (in_view(d, w->refusal[i].at_ms))
			fprintf(d->out,
				"<path class=\"timeline-refused\" d=\"M%.1f %.1fl8 8m0-8l-8 8\"/>\n",
				x_of(d, w->refusal[i].at_ms) - 4, d->y + 2);
	if (w->press_ms != PW_NO_TIME)
		fprintf(d->out,
			"<circle class=\"timeline-accepted\" cx=\"%.1f\" cy=\"%.1f\" r=\"5\"/>\n",
			x_of(d, w->press_ms), d->y + 6);
}

static bool is_shown(const struct drawing *d, enum pw_line line)
{
	if (d->t->has_policy)
		return d->t->policy.line[line].configured;
	for (size_t i = 0; i < d->t->count; i++)
		if (d->t->moment[i].kind == PW_AT_LINE && d->t->moment[i].line == line)
			return true;
	return line == PW_IGNITION || line == PW_REAR_BUTTON;
}

static void draw_lines(struct drawing *d)
{
	for (unsigned line = 0; line < PW_INPUTS; line++) {
		if (!is_shown(d, line))
			continue;
		draw_line(d, line);
		if (line == PW_REAR_BUTTON)
			draw_presses(d);
		d->y += LANE;
	}
}

/* -- power, the clock, the frame --------------------------------------------------------------- */

/* Over all lanes. */
static void draw_power(struct drawing *d, double top)
{
	for (size_t i = 0; i < d->t->count; i++) {
		const struct pw_moment *m = &d->t->moment[i];

		if (m->kind != PW_AT_POWER || m->back_ms < d->from_ms || m->at_ms > d->to_ms)
			continue;
		box(d, later(m->at_ms, d->from_ms), m->back_ms, top, d->y - top, "timeline-gap",
		    "");
		say_phrase(d, x_of(d, m->back_ms) + 3, top + 8, "timeline-by",
			   PW_P_SWEEPS_NO_POWER);
	}
}

static void draw_cuts(struct drawing *d, double top)
{
	char text[PW_VALUE_TEXT];
	unsigned row = 0;

	for (size_t i = 0; i < d->axis.count; i++) {
		const struct pw_axis_piece *p = &d->axis.piece[i];
		const double x = p->x + p->width / 2;

		if (!p->cut)
			continue;
		fprintf(d->out,
			"<path class=\"timeline-cut\" d=\"M%.1f %.1fV%.1fM%.1f %.1fV%.1f\"/>\n",
			x - 3, top, d->y + 6, x + 3, top, d->y + 6);
		fprintf(d->out,
			"<text class=\"timeline-cut-span\" text-anchor=\"middle\" x=\"%.1f\" "
			"y=\"%.1f\">", x, d->y + 32 + ROW * (double)(row++ % 2));
		pw_html_text(span_words(d, p->to_ms - p->from_ms, text), d->out);
		fputs("</text>\n", d->out);
	}
}

static int64_t first_label_ms(const struct drawing *d, int64_t from_ms)
{
	const int64_t wall_ms = pw_plus(from_ms, d->in->wall_less_mono_ms);
	const int64_t step_ms = d->axis.step_ms;

	return from_ms + (step_ms - (wall_ms % step_ms + step_ms) % step_ms) % step_ms;
}

static void draw_clock(struct drawing *d)
{
	double free_from = LEFT - 30;
	char text[PW_VALUE_TEXT];

	for (size_t i = 0; i < d->axis.count; i++) {
		const struct pw_axis_piece *p = &d->axis.piece[i];

		if (p->cut)
			continue;
		for (int64_t at_ms = first_label_ms(d, p->from_ms); at_ms <= p->to_ms;
		     at_ms += d->axis.step_ms) {
			const double x = x_of(d, at_ms);

			fprintf(d->out, "<path class=\"timeline-tick\" d=\"M%.1f %.1fv6\"/>\n", x,
				d->y);
			if (x - 26 < free_from || x + 26 > WIDTH)
				continue;
			write_at(d, x - 25, d->y + 18, "timeline-clock",
				 clock_words(d, at_ms, text));
			free_from = x + 30;
		}
	}
	fprintf(d->out,
		"<line class=\"timeline-tick\" x1=\"%.0f\" x2=\"%.0f\" y1=\"%.1f\" y2=\"%.1f\"/>\n",
		LEFT, RIGHT, d->y, d->y);
}

static void draw_legend(struct drawing *d)
{
	double y = d->y + 66;

	fprintf(d->out, "<circle class=\"timeline-accepted\" cx=\"10\" cy=\"%.1f\" r=\"5\"/>\n",
		y - 4);
	say_phrase(d, 20, y, "timeline-by", PW_P_SWEEPS_KEY_ACCEPTED);
	fprintf(d->out, "<path class=\"timeline-refused\" d=\"M246 %.1fl8 8m0-8l-8 8\"/>\n", y - 8);
	say_phrase(d, 260, y, "timeline-by", PW_P_SWEEPS_KEY_REFUSED);
	fprintf(d->out, "<path class=\"timeline-edge\" d=\"M470 %.1fv6\"/>\n", y - 7);
	say_phrase(d, 478, y, "timeline-by", PW_P_SWEEPS_KEY_EDGE);
	fprintf(d->out, "<path class=\"timeline-cut\" d=\"M720 %.1fv10m6-10v10\"/>\n", y - 9);
	say_phrase(d, 734, y, "timeline-by", PW_P_SWEEPS_KEY_CUT);
}

/* The same in a sentence, for who does not see it. */
static void describe(struct drawing *d)
{
	const struct pw_sweep *w = d->w;
	char stop[PW_VALUE_TEXT], press[PW_VALUE_TEXT], back[PW_VALUE_TEXT], refused[16];
	const char *const fill[] = {
		clock_words(d, w->t0_ms, stop),
		w->press_ms == PW_NO_TIME ? pw_phrase(d->in->tongue, PW_P_SWEEPS_NO_PRESS)
					  : span_words(d, pw_minus(w->press_ms, w->t0_ms), press),
		w->press_ms == PW_NO_TIME || w->exit_ms == PW_NO_TIME
			? pw_phrase(d->in->tongue, PW_P_NOT_KNOWN)
			: span_words(d, pw_minus(w->exit_ms, w->press_ms), back),
		refused, NULL };
	char *text = NULL;
	size_t length;
	FILE *f = open_memstream(&text, &length);

	snprintf(refused, sizeof(refused), "%u", w->refused);
	if (!f)
		return;
	pw_phrase_fill(f, pw_phrase(d->in->tongue, PW_P_SWEEPS_DESCRIBED), fill);
	fclose(f);
	fputs("<title id=\"timeline-title\">", d->out);
	pw_html_text(pw_phrase(d->in->tongue, PW_P_SWEEPS_DRAWING), d->out);
	fputs("</title>\n<desc id=\"timeline-desc\">", d->out);
	pw_html_text(text ? text : "", d->out);
	fputs("</desc>\n", d->out);
	free(text);
}

static double height_of(const struct drawing *d)
{
	double lanes = 3;

	for (unsigned line = 0; line < PW_INPUTS; line++)
		lanes += is_shown(d, line);
	return 12 + lanes * LANE + ROW + LANE + 18 + 3 * ROW + 6 + 76;
}

void pw_timeline_draw(const struct pw_told_sweep *t, const struct pw_in_words *in, FILE *out)
{
	struct drawing d = { .t = t, .w = &t->sweep, .in = in, .out = out, .y = 12 };

	choose_view(&d);
	make_axis(&d);
	fprintf(out, "<svg class=\"timeline\" role=\"img\" aria-labelledby=\"timeline-title\" "
		"aria-describedby=\"timeline-desc\" viewBox=\"0 0 %.0f %.0f\" width=\"%.0f\" "
		"height=\"%.0f\">\n", WIDTH, height_of(&d), WIDTH, height_of(&d));
	describe(&d);
	draw_phases(&d);
	draw_asked(&d);
	draw_was(&d);
	draw_signals(&d);
	draw_lines(&d);
	draw_power(&d, 12);
	draw_clock(&d);
	draw_cuts(&d, 12);
	draw_legend(&d);
	fputs("</svg>\n", out);
}
