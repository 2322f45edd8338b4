/* SPDX-License-Identifier: Apache-2.0 */
#include "postwalk/wires.h"

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>

struct text {
	char *buf;
	size_t size, used; /* used == size: it did not fit */
};

/* Where each line's next change stands in its tail. */
struct cursor {
	unsigned at[PW_LINES];
};

__attribute__((format(printf, 2, 3))) static void put(struct text *t, const char *format, ...)
{
	va_list args;
	int n;

	if (t->used == t->size)
		return;
	va_start(args, format);
	n = vsnprintf(t->buf + t->used, t->size - t->used, format, args);
	va_end(args);
	t->used = n < 0 || (size_t)n >= t->size - t->used ? t->size : t->used + (size_t)n;
}

/* Free text may not end its own section. */
static void put_text(struct text *t, const char *text)
{
	for (; *text; text++)
		put(t, "%c", *text == '$' || !isprint((unsigned char)*text) ? '_' : *text);
}

/* A simple identifier (IEEE 1364-2005, 3.7): letters, digits and _, no digit first. */
static void put_name(struct text *t, const char *name)
{
	if (!isalpha((unsigned char)name[0]))
		put(t, "_");
	for (; *name; name++)
		put(t, "%c", isalnum((unsigned char)*name) ? *name : '_');
}

static char code(unsigned line)
{
	return (char)('!' + line);
}

static bool has_line(const struct pw_wires *w, unsigned line)
{
	return w->wire[line].name[0] != '\0';
}

static void put_head(struct text *t, const struct pw_wires *w, const char *bus, const char *date,
		     int64_t zero_ms)
{
	put(t, "$date ");
	put_text(t, date);
	put(t, " $end\n$version Postwalk $end\n$comment Raw edges of bus ");
	put_text(t, bus);
	put(t, ". Time 0 is %lld ms after the board started. x: not seen to move yet. $end\n",
	    (long long)zero_ms);
	put(t, "$timescale 1 ms $end\n$scope module ");
	put_name(t, bus);
	put(t, " $end\n");
	for (unsigned i = 0; i < PW_LINES; i++) {
		if (!has_line(w, i))
			continue;
		put(t, "$var wire 1 %c ", code(i));
		put_name(t, w->wire[i].name);
		put(t, " $end\n");
	}
	put(t, "$upscope $end\n$enddefinitions $end\n");
}

/* The moment of the next change of any line; false: there is none. */
static bool next_ms(const struct pw_wires *w, const struct cursor *c, int64_t *at_ms)
{
	bool found = false;

	for (unsigned i = 0; i < PW_LINES; i++) {
		const struct pw_wire *wire = &w->wire[i];

		if (c->at[i] == wire->tail || (found && wire->at_ms[c->at[i]] >= *at_ms))
			continue;
		*at_ms = wire->at_ms[c->at[i]];
		found = true;
	}
	return found;
}

static void put_change(struct text *t, const struct pw_wires *w, struct cursor *c, unsigned line)
{
	const struct pw_wire *wire = &w->wire[line];
	unsigned later = wire->tail - 1U - c->at[line]++;

	put(t, "%d%c\n", (wire->level ^ (later & 1)) != 0, code(line));
}

static bool changes_at(const struct pw_wires *w, const struct cursor *c, unsigned line,
		       int64_t at_ms)
{
	return c->at[line] < w->wire[line].tail && w->wire[line].at_ms[c->at[line]] == at_ms;
}

static void put_dumpvars(struct text *t, const struct pw_wires *w, struct cursor *c,
			 int64_t zero_ms)
{
	put(t, "#0\n$dumpvars\n");
	for (unsigned i = 0; i < PW_LINES; i++) {
		if (changes_at(w, c, i, zero_ms))
			put_change(t, w, c, i);
		else if (has_line(w, i))
			put(t, "x%c\n", code(i));
	}
	put(t, "$end\n");
}

static void put_changes(struct text *t, const struct pw_wires *w, struct cursor *c,
			int64_t zero_ms)
{
	int64_t at_ms = zero_ms, last_ms = zero_ms;

	while (next_ms(w, c, &at_ms)) {
		if (at_ms > last_ms)
			put(t, "#%lld\n", (long long)(at_ms - zero_ms));
		for (unsigned i = 0; i < PW_LINES; i++)
			while (changes_at(w, c, i, at_ms))
				put_change(t, w, c, i);
		last_ms = at_ms;
	}
	if (w->now_ms > last_ms) /* the last levels stand until now */
		put(t, "#%lld\n", (long long)(w->now_ms - zero_ms));
}

int pw_wires_vcd(const struct pw_wires *w, const char *bus, const char *date, char *buf,
		 size_t size)
{
	struct text t = { .buf = buf, .size = size };
	struct cursor c = { { 0 } };
	int64_t zero_ms = w->now_ms;

	next_ms(w, &c, &zero_ms);
	put_head(&t, w, bus, date, zero_ms);
	put_dumpvars(&t, w, &c, zero_ms);
	put_changes(&t, w, &c, zero_ms);
	return t.used == t.size ? -1 : (int)t.used;
}
