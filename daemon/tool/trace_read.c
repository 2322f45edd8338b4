/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "tool_internal.h"

#define LINE_MAX_CHARS 1000
#define SECONDS_MAX_DIGITS 12

struct pw_trace {
	struct pw_text_file *file;
	const struct pw_policy *policy;
	int64_t last_ms;
	bool powered, begun, ended;
};

static int bad(const struct pw_trace *t, const char *expected)
{
	fprintf(stderr, "%s:%ld: expected %s\n", pw_text_file_path(t->file), pw_trace_number(t),
		expected);
	return -1;
}

static int bad_word(const struct pw_trace *t, const char *expected, const char *word, size_t len)
{
	fprintf(stderr, "%s:%ld: expected %s, not \"%.*s\"\n", pw_text_file_path(t->file),
		pw_trace_number(t), expected, (int)(len < 40 ? len : 40), word);
	return -1;
}

struct pw_trace *pw_trace_open(const char *path, const struct pw_policy *p)
{
	struct pw_trace *t = calloc(1, sizeof(*t));

	if (!t) {
		fprintf(stderr, "%s: out of memory\n", path);
		return NULL;
	}
	t->policy = p;
	t->last_ms = -1;
	t->file = pw_text_file_open(path, "a trace file", LINE_MAX_CHARS);
	if (t->file)
		return t;
	free(t);
	return NULL;
}

void pw_trace_close(struct pw_trace *t)
{
	if (!t)
		return;
	pw_text_file_close(t->file);
	free(t);
}

long pw_trace_number(const struct pw_trace *t)
{
	return pw_text_file_number(t->file);
}

/* -- words ------------------------------------------------------------------------------------- */

static char *skip_space(char *c)
{
	while (*c == ' ' || *c == '\t' || *c == '\r')
		c++;
	return c;
}

static bool ends_word(char c)
{
	return c == '\0' || c == ' ' || c == '\t' || c == '\r' || c == '#';
}

/* Digits and at most three decimals. Where they end, or NULL. */
static char *read_seconds(char *c, int64_t *ms)
{
	int64_t v = 0;
	char *from = c;
	int decimals = 0;

	for (; *c >= '0' && *c <= '9' && c - from <= SECONDS_MAX_DIGITS; c++)
		v = v * 10 + (*c - '0');
	if (c == from || c - from > SECONDS_MAX_DIGITS)
		return NULL;
	if (*c == '.') {
		for (c++; *c >= '0' && *c <= '9' && decimals < 3; c++, decimals++)
			v = v * 10 + (*c - '0');
		if (decimals == 0)
			return NULL;
	}
	for (; decimals < 3; decimals++)
		v *= 10;
	*ms = v;
	return ends_word(*c) ? c : NULL;
}

/* -- words ------------------------------------------------------------------------------------- */

struct word {
	const char *name, *value;
	size_t name_len, value_len;
};

static bool is(const char *a, size_t len, const char *b)
{
	return strlen(b) == len && memcmp(a, b, len) == 0;
}

static int take_level(struct pw_trace *t, struct pw_trace_line *l, const struct word *w, int line)
{
	uint8_t bit = (uint8_t)(1u << line);

	if (!t->policy->line[line].configured)
		return bad_word(t, "a line that the policy has", w->name, w->name_len);
	if (l->mask & bit)
		return bad_word(t, "each name once in a line", w->name, w->name_len);
	if (w->value_len != 1 || (w->value[0] != '0' && w->value[0] != '1'))
		return bad_word(t, "a level of 0 or 1", w->value, w->value_len);
	l->mask |= bit;
	if (w->value[0] == '1')
		l->levels |= bit;
	return 0;
}

static int take_power(struct pw_trace *t, struct pw_trace_line *l, const struct word *w)
{
	bool cut = is(w->value, w->value_len, "cut");

	if (l->power)
		return bad(t, "each name once in a line, not power twice");
	if (!cut && !is(w->value, w->value_len, "on"))
		return bad_word(t, "power=cut or power=on", w->value, w->value_len);
	if (!t->begun && !cut)
		return bad(t, "no power=on in the first line: it is the power-on");
	if (cut != (t->powered || !t->begun))
		return bad(t, cut ? "power=on, as power is off" : "power=cut, as power is on");
	l->power = cut ? PW_CUT : PW_ON;
	return 0;
}

static int take_service(struct pw_trace *t, struct pw_trace_line *l, const struct word *w)
{
	bool on = is(w->value, w->value_len, "on");

	if (l->service >= 0)
		return bad(t, "each name once in a line, not service twice");
	if (!on && !is(w->value, w->value_len, "off"))
		return bad_word(t, "service=on or service=off", w->value, w->value_len);
	l->service = on;
	return 0;
}

static int take_clock(struct pw_trace *t, struct pw_trace_line *l, const struct word *w)
{
	if (l->clock_lost)
		return bad(t, "each name once in a line, not clock twice");
	if (!is(w->value, w->value_len, "lost"))
		return bad_word(t, "clock=lost", w->value, w->value_len);
	l->clock_lost = true;
	return 0;
}

static int take_word(struct pw_trace *t, struct pw_trace_line *l, const struct word *w)
{
	int line = pw_input_find(w->name, w->name_len);

	if (line >= 0)
		return take_level(t, l, w, line);
	if (is(w->name, w->name_len, "power"))
		return take_power(t, l, w);
	if (is(w->name, w->name_len, "service"))
		return take_service(t, l, w);
	if (is(w->name, w->name_len, "clock"))
		return take_clock(t, l, w);
	return bad_word(t, "the name of an input line, power, clock or service", w->name,
			w->name_len);
}

static int take_words(struct pw_trace *t, struct pw_trace_line *l, char *c)
{
	struct word w;

	for (c = skip_space(c); *c != '\0' && *c != '#'; c = skip_space(c)) {
		w.name = c;
		while (*c != '=' && !ends_word(*c))
			c++;
		w.name_len = (size_t)(c - w.name);
		if (*c != '=' || w.name_len == 0)
			return bad_word(t, "NAME=VALUE", w.name, w.name_len);
		w.value = ++c;
		while (!ends_word(*c))
			c++;
		w.value_len = (size_t)(c - w.value);
		if (take_word(t, l, &w))
			return -1;
	}
	if (l->clock_lost && l->power != PW_ON)
		return bad(t, "clock=lost only beside power=on");
	return 0;
}

/* -- a line ------------------------------------------------------------------------------------ */

static int take_end(struct pw_trace *t, struct pw_trace_line *l, char *c)
{
	c = skip_space(c + 3);
	if (*c != '\0' && *c != '#')
		return bad(t, "nothing behind end");
	if (!t->begun)
		return bad(t, "levels at power-on before the end");
	l->end = t->ended = true;
	return 1;
}

static int take_line(struct pw_trace *t, struct pw_trace_line *l, char *c)
{
	char *after = read_seconds(c, &l->at_ms);

	if (!after)
		return bad(t, "seconds with at most three decimals at the start of the line");
	if (t->ended)
		return bad(t, "nothing after the end line");
	if (l->at_ms < t->last_ms)
		return bad(t, "a time that does not go back");
	c = skip_space(after);
	if (strncmp(c, "end", 3) == 0 && ends_word(c[3]))
		return take_end(t, l, c);
	if (*c == '\0' || *c == '#')
		return bad(t, "NAME=VALUE after the seconds");
	if (take_words(t, l, c))
		return -1;
	t->last_ms = l->at_ms;
	t->powered = l->power ? l->power == PW_ON : t->powered || !t->begun;
	t->begun = true;
	return 1;
}

int pw_trace_next(struct pw_trace *t, struct pw_trace_line *l)
{
	size_t length;
	char *c;
	int got;

	while ((got = pw_text_file_next(t->file, &c, &length)) == 1) {
		c = skip_space(c);
		if (*c == '\0' || *c == '#')
			continue;
		*l = (struct pw_trace_line){ .service = -1 };
		return take_line(t, l, c);
	}
	return got;
}
