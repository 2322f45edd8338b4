/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>

#include "leaf.h"

void pw_put_shape(struct pw_sheet *t, const char *class, const char *shape)
{
	pw_sheet_fmt(t, "<svg class=\"%s\" aria-hidden=\"true\"><use href=\"#shape-%s\"/></svg>",
		     class, shape);
}

static void put_findings(struct pw_sheet *t, uint32_t findings)
{
	if (!findings)
		return;
	pw_sheet_raw(t, "<ul class=\"findings\">");
	for (int f = 0; f < PW_FINDINGS; f++) {
		if (!(findings >> f & 1))
			continue;
		pw_sheet_raw(t, "<li>");
		pw_sheet_word(t, pw_say_finding((enum pw_finding)f), "", "");
		pw_sheet_raw(t, "</li>");
	}
	pw_sheet_raw(t, "</ul>");
}

static bool sweep_open(const struct pw_snapshot *s)
{
	return s->phase == PW_OWED || s->phase == PW_OVERDUE || s->phase == PW_WALK_BACK;
}

void pw_list_notes(struct pw_sheet *t, const struct pw_snapshot *s)
{
	int64_t open_ms = sweep_open(s) ? pw_span_ms(s->t0_ms, s->now_ms) : -1;
	char text[PW_CLOCK_MAX];

	pw_sheet_raw(t, "<div class=\"notes\">\n");
	if (s->carried && sweep_open(s)) {
		pw_sheet_raw(t, "<p class=\"warn\">");
		pw_sheet_word(t, PW_W_NOTE_CARRIED, "", "");
		pw_sheet_raw(t, "</p>\n");
	}
	if (open_ms >= 0) {
		pw_clock_text(open_ms, false, text);
		pw_sheet_raw(t, "<p>");
		pw_sheet_word(t, PW_W_NOTE_KEY_OFF, text, "");
		pw_sheet_raw(t, "</p>\n");
	}
	if (s->sounding > PW_SIGNAL_NONE) {
		pw_sheet_raw(t, "<p>");
		pw_sheet_word(t, PW_W_NOTE_RUNG, s->rung, "");
		pw_sheet_raw(t, "</p>\n");
	}
	if (sweep_open(s) && s->findings) {
		pw_sheet_raw(t, "<div>");
		pw_sheet_word(t, PW_W_NOTE_SO_FAR, "", "");
		put_findings(t, s->findings);
		pw_sheet_raw(t, "</div>\n");
	}
	pw_sheet_raw(t, "</div>\n");
}

void pw_list_faults(struct pw_sheet *t, const struct pw_snapshot *s)
{
	if (!s->fault_count)
		return;
	pw_sheet_raw(t, "<section class=\"faults\" aria-labelledby=\"faults\">\n"
			"<h2 id=\"faults\">");
	pw_put_shape(t, "mark", "fault");
	pw_sheet_word(t, PW_W_FAULTS, "", "");
	pw_sheet_raw(t, "</h2>\n<ul>\n");
	for (uint32_t i = 0; i < s->fault_count; i++) {
		pw_sheet_raw(t, "<li lang=\"en\"><b>"); /* the watch tells them in English */
		pw_sheet_html(t, s->fault[i].name);
		pw_sheet_raw(t, s->fault[i].words[0] ? "</b>: " : "</b>");
		pw_sheet_html(t, s->fault[i].words);
		pw_sheet_raw(t, "</li>\n");
	}
	pw_sheet_raw(t, "</ul>\n</section>\n");
}

/* "12 s", "4 min", "3 h", "2 d" */
void pw_put_lasting(struct pw_sheet *t, int64_t ms)
{
	static const struct { int64_t below_s, unit_s; enum pw_word unit; } scale[] = {
		{ 120, 1, PW_W_SECONDS }, { 7200, 60, PW_W_MINUTES }, { 172800, 3600, PW_W_HOURS },
		{ INT64_MAX, 86400, PW_W_DAYS },
	};
	char number[24];
	int64_t s = ms / 1000;
	int i = 0;

	while (s >= scale[i].below_s)
		i++;
	snprintf(number, sizeof number, "%" PRId64, s / scale[i].unit_s);
	pw_sheet_word(t, scale[i].unit, number, "");
}

void pw_put_age(struct pw_sheet *t, int64_t ms)
{
	char age[PW_CLOCK_MAX];
	struct pw_sheet a;

	pw_sheet_open(&a, age, sizeof age);
	a.language = t->language;
	pw_put_lasting(&a, ms);
	t->over |= a.over;
	pw_sheet_word(t, PW_W_AGO, age, "");
}

const char *pw_line_called(enum pw_language language, const struct pw_snapshot *s, unsigned line)
{
	enum pw_word word = pw_say_line(line);

	return word != PW_W_NONE ? pw_word(language, word) : s->line[line].name;
}

void pw_put_line_name(struct pw_sheet *t, const struct pw_snapshot *s, unsigned line)
{
	pw_sheet_html(t, pw_line_called(t->language, s, line));
}

static void put_line(struct pw_sheet *t, const struct pw_snapshot *s, unsigned i)
{
	const struct pw_snapshot_line *line = &s->line[i];

	pw_sheet_raw(t, "<tr><th scope=\"row\">");
	pw_put_line_name(t, s, i);
	if (line->fault[0]) {
		pw_sheet_raw(t, "<span class=\"fault\" lang=\"en\">");
		pw_sheet_html(t, line->fault);
		pw_sheet_raw(t, "</span>");
	}
	pw_sheet_raw(t, "</th><td>");
	pw_put_shape(t, "mark", pw_line_level(s, i) ? "one" : "zero");
	pw_sheet_word(t, pw_say_level(s, i), "", "");
	pw_sheet_raw(t, line->age_ms >= 0 ? "</td><td class=\"age\">" : "</td><td>");
	if (line->age_ms >= 0)
		pw_put_age(t, line->age_ms);
	else
		pw_sheet_word(t, PW_W_NOT_SEEN, "", "");
	pw_sheet_raw(t, "</td></tr>\n");
}

void pw_list_lines(struct pw_sheet *t, const struct pw_snapshot *s)
{
	for (unsigned i = 0; i < PW_LINES; i++)
		if (s->line[i].configured)
			put_line(t, s, i);
}

static void put_sweep(struct pw_sheet *t, const struct pw_recent *r)
{
	char day[PW_CLOCK_MAX], hour[PW_CLOCK_MAX], walk[PW_CLOCK_MAX], late[PW_CLOCK_MAX];

	pw_wall_text(r->wall_ms - r->t0_ago_ms, "%Y-%m-%d", day);
	pw_wall_text(r->wall_ms - r->t0_ago_ms, "%H:%M %Z", hour);
	pw_clock_text(r->walk_ms, false, walk);
	pw_clock_text(r->late_ms, true, late);
	pw_sheet_raw(t, r->findings ? "<tr class=\"has-found\">" : "<tr>");
	pw_sheet_raw(t, "<th scope=\"row\"><span class=\"day\">");
	pw_sheet_html(t, day);
	pw_sheet_raw(t, "</span> <span class=\"hour\">");
	pw_sheet_html(t, hour);
	pw_sheet_raw(t, "</span></th><td>");
	pw_put_shape(t, "mark", pw_verdict_name(r->verdict));
	pw_sheet_word(t, pw_say_verdict(r->verdict), "", "");
	pw_sheet_raw(t, "</td><td>");
	pw_sheet_html(t, r->walk_ms < 0 ? pw_word(t->language, PW_W_NO_PRESS) : walk);
	pw_sheet_raw(t, "</td><td>");
	pw_sheet_html(t, r->late_ms <= 0 ? "–" : late);
	pw_sheet_raw(t, "</td></tr>\n");
	if (!r->findings)
		return;
	pw_sheet_raw(t, "<tr class=\"found\"><td colspan=\"4\">");
	put_findings(t, r->findings);
	pw_sheet_raw(t, "</td></tr>\n");
}

void pw_list_recent(struct pw_sheet *t, const struct pw_snapshot *s)
{
	if (!s->recent_count) {
		pw_sheet_raw(t, "<tr><td colspan=\"4\">");
		pw_sheet_word(t, PW_W_NO_SWEEPS, "", "");
		pw_sheet_raw(t, "</td></tr>\n");
	}
	for (uint32_t i = 0; i < s->recent_count; i++)
		put_sweep(t, &s->recent[i]);
}
