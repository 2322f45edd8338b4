/* SPDX-License-Identifier: Apache-2.0 */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench_internal.h"

/* How a driver calls a line, and its levels. */
static const struct word {
	const char *name, *label, *off, *on, *pulsing;
} words[] = {
	{ "ignition", "Key", "off", "on", "" },
	{ "park_brake", "Parking brake", "released", "set", "" },
	{ "rear_button", "Rear button, to hold", "let go", "held down", "" },
	{ "rear_button_nc", "Rear button, second contact", "open", "closed", "" },
	{ "rear_door", "Rear door", "shut", "open", "" },
	{ "exits", "Emergency exits", "shut", "open", "" },
	{ "service_door", "Service door", "shut", "open", "" },
	{ "lamps", "Red warning lamps", "dark", "lit", "" },
	{ "beeper", "Beeper", "silent", "sounding", "sounding in pulses" },
	{ "horn", "Horn", "silent", "sounding", "sounding in pulses" },
	{ "lamp", "Driver's lamp", "dark", "lit", "flashing" },
	{ "dome", "Inside lights", "dark", "lit", "flashing" },
};

static struct word word_of(const char *name)
{
	for (size_t i = 0; i < sizeof(words) / sizeof(words[0]); i++)
		if (strcmp(words[i].name, name) == 0)
			return words[i];
	return (struct word){ name, name, "off", "on", "in pulses" };
}

enum state { OFF = 1, ON, PULSING };

static const char *const state_names[] = { [OFF] = "off", [ON] = "on", [PULSING] = "pulsing" };

/* What pulses is shown steadily, so that nothing on the page flashes (WCAG 2.2, 2.3.1), and so that
 * a short sound is seen by a page that looks twice a second. */
static enum state state_of(const struct pw_bench_line *l, int64_t now_ms)
{
	if (l->out && l->before_ms != INT64_MIN && now_ms - l->before_ms < PW_BENCH_PULSE_MS)
		return PULSING;
	return l->level ? ON : OFF;
}

static const char *state_word(const struct pw_bench_line *l, enum state state)
{
	const struct word w = word_of(l->name);

	return state == ON ? w.on : state == OFF ? w.off : w.pulsing;
}

/* -- lines.json -------------------------------------------------------------------------------- */

static json_t *line_json(const struct pw_bench_line *l, int64_t now_ms)
{
	enum state state = state_of(l, now_ms);

	return json_pack("{s:s, s:s, s:i, s:s, s:s}", "name", l->name, "direction",
			 l->out ? "out" : "in", "level", (int)l->level, "state",
			 state_names[state], "word", state_word(l, state));
}

char *pw_bench_json(const struct pw_bench_lines *b, int64_t now_ms)
{
	json_t *lines = json_array(), *all;
	char *text;

	for (size_t i = 0; i < b->count; i++)
		json_array_append_new(lines, line_json(&b->line[i], now_ms));
	all = json_pack("{s:i, s:b, s:o}", "version", 1, "gone", b->fd < 0, "lines", lines);
	text = all ? json_dumps(all, JSON_COMPACT) : NULL;
	json_decref(all);
	return text;
}

/* -- the page ---------------------------------------------------------------------------------- */

static void put_text(FILE *f, const char *text)
{
	for (; *text; text++) {
		switch (*text) {
		case '&': fputs("&amp;", f); break;
		case '<': fputs("&lt;", f); break;
		case '>': fputs("&gt;", f); break;
		case '"': fputs("&quot;", f); break;
		default: fputc(*text, f);
		}
	}
}

static void put_follow(FILE *f, const struct pw_bench_view *v)
{
	if (!v->held)
		fputs("<noscript><meta http-equiv=\"refresh\" content=\"1\"></noscript>\n"
		      "<script src=\"/page.js\" defer></script>\n", f);
}

static void put_hold(FILE *f, const struct pw_bench_view *v)
{
	fprintf(f, "<a href=\"%s\">%s</a>", v->held ? "/" : "/?hold=1",
		v->held ? "Follow the bench again" : "Hold this page still");
}

static void put_bus(FILE *f, const struct pw_bench_view *v)
{
	if (!v->bus)
		return;
	fputs("<p class=\"bus\"><a href=\"", f);
	put_text(f, v->bus);
	fputs("\" target=\"_blank\" rel=\"noopener\">The bus's own page</a> (in a window of its own; "
	      "put it beside this one): what the watch makes of it.</p>\n", f);
}

static void put_gone(FILE *f, const struct pw_bench_view *v)
{
	if (v->bench->fd >= 0)
		return;
	fputs("<section class=\"gone\" id=\"gone\">\n<h2>The bus is gone</h2>\n<p>postwalkd does not "
	      "answer on its bench: ", f);
	put_text(f, v->bench->why);
	fputs(".</p>\n<p>This page comes back by itself when it runs again.</p>\n</section>\n", f);
}

static void put_switch(FILE *f, const struct pw_bench_line *l)
{
	fprintf(f, "<li><button class=\"switch\" role=\"switch\" aria-checked=\"%s\" "
		"aria-labelledby=\"label-%s\" data-line=\"%s\" name=\"set\" value=\"%s:%u\">"
		"<span class=\"label\" id=\"label-%s\">", l->level ? "true" : "false", l->name,
		l->name, l->name, !l->level, l->name);
	put_text(f, word_of(l->name).label);
	fprintf(f, "</span><span class=\"knob\" aria-hidden=\"true\"></span>"
		"<span class=\"word\">%s</span></button></li>\n",
		state_word(l, l->level ? ON : OFF));
}

static void put_press(FILE *f, const struct pw_bench_view *v)
{
	if (pw_bench_find(v->bench, "rear_button"))
		fputs("<button class=\"press\" name=\"press\" value=\"rear_button\">Press the rear "
		      "button and let go</button>\n", f);
}

static void put_inputs(FILE *f, const struct pw_bench_view *v)
{
	if (v->bench->fd < 0)
		return;
	fprintf(f, "<section class=\"wires\">\n<h2>Your hands</h2>\n<form method=\"post\" action=\"/\">\n"
		"<input type=\"hidden\" name=\"token\" value=\"%s\">\n%s", v->token,
		v->held ? "<input type=\"hidden\" name=\"hold\" value=\"1\">\n" : "");
	put_press(f, v);
	fputs("<ul>\n", f);
	for (size_t i = 0; i < v->bench->count; i++)
		if (!v->bench->line[i].out)
			put_switch(f, &v->bench->line[i]);
	fputs("</ul>\n</form>\n</section>\n", f);
}

static void put_lamp(FILE *f, const struct pw_bench_line *l, int64_t now_ms)
{
	enum state state = state_of(l, now_ms);

	fprintf(f, "<li data-line=\"%s\" data-state=\"%s\"><span class=\"bulb\" aria-hidden=\"true\">"
		"</span><span class=\"label\">", l->name, state_names[state]);
	put_text(f, word_of(l->name).label);
	fprintf(f, "</span> <span class=\"word\">%s</span></li>\n", state_word(l, state));
}

static void put_outputs(FILE *f, const struct pw_bench_view *v)
{
	if (v->bench->fd < 0)
		return;
	fputs("<section class=\"outputs\">\n<h2>What the bus does</h2>\n<ul aria-live=\"polite\">\n", f);
	for (size_t i = 0; i < v->bench->count; i++)
		if (v->bench->line[i].out)
			put_lamp(f, &v->bench->line[i], v->now_ms);
	fputs("</ul>\n<p class=\"faint\">Nothing sounds here and nothing flashes: what pulses on a bus "
	      "is told in words.</p>\n</section>\n", f);
}

static const struct {
	const char *name;
	void (*put)(FILE *f, const struct pw_bench_view *v);
} parts[] = {
	{ "{{follow}}", put_follow }, { "{{hold}}", put_hold }, { "{{bus}}", put_bus },
	{ "{{gone}}", put_gone }, { "{{inputs}}", put_inputs }, { "{{outputs}}", put_outputs },
};

static size_t put_part(FILE *f, const struct pw_bench_view *v, const char *at)
{
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++)
		if (strncmp(at, parts[i].name, strlen(parts[i].name)) == 0) {
			parts[i].put(f, v);
			return strlen(parts[i].name);
		}
	fputc(*at, f);
	return 1;
}

char *pw_bench_html(const struct pw_bench_view *v)
{
	const char *at = pw_bench_web_page;
	char *text = NULL;
	size_t size;
	FILE *f = open_memstream(&text, &size);

	if (!f)
		return NULL;
	while (*at)
		at += put_part(f, v, at);
	if (fclose(f) == 0)
		return text;
	free(text);
	return NULL;
}
