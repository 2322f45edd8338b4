/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "page_internal.h"

void pw_sheet_open(struct pw_sheet *t, char *buf, size_t size)
{
	*t = (struct pw_sheet){ .buf = buf, .size = size, .over = size == 0,
				.language = PW_ENGLISH };
	if (size)
		buf[0] = '\0';
}

int pw_sheet_close(const struct pw_sheet *t)
{
	return t->over ? -1 : (int)t->len;
}

void pw_sheet_bytes(struct pw_sheet *t, const char *s, size_t len)
{
	if (t->over || len >= t->size - t->len) {
		t->over = true;
		return;
	}
	memcpy(t->buf + t->len, s, len);
	t->len += len;
	t->buf[t->len] = '\0';
}

void pw_sheet_raw(struct pw_sheet *t, const char *s)
{
	pw_sheet_bytes(t, s, strlen(s));
}

void pw_sheet_fmt(struct pw_sheet *t, const char *fmt, ...)
{
	char text[128];
	va_list args;

	va_start(args, fmt);
	int n = vsnprintf(text, sizeof text, fmt, args);
	va_end(args);
	if (n < 0 || (size_t)n >= sizeof text)
		t->over = true;
	else
		pw_sheet_bytes(t, text, (size_t)n);
}

size_t pw_utf8_length(const unsigned char *s)
{
	static const struct {
		unsigned char low, high, next_low, next_high;
		size_t length;
	} form[] = {
		{ 0x01, 0x7f, 0, 0, 1 },       { 0xc2, 0xdf, 0x80, 0xbf, 2 },
		{ 0xe0, 0xe0, 0xa0, 0xbf, 3 }, { 0xe1, 0xec, 0x80, 0xbf, 3 },
		{ 0xed, 0xed, 0x80, 0x9f, 3 }, { 0xee, 0xef, 0x80, 0xbf, 3 },
		{ 0xf0, 0xf0, 0x90, 0xbf, 4 }, { 0xf1, 0xf3, 0x80, 0xbf, 4 },
		{ 0xf4, 0xf4, 0x80, 0x8f, 4 },
	};

	for (size_t i = 0; i < sizeof form / sizeof form[0]; i++) {
		if (s[0] < form[i].low || s[0] > form[i].high)
			continue;
		if (form[i].length > 1 && (s[1] < form[i].next_low || s[1] > form[i].next_high))
			return 0;
		for (size_t k = 2; k < form[i].length; k++)
			if (s[k] < 0x80 || s[k] > 0xbf)
				return 0;
		return form[i].length;
	}
	return 0;
}

static bool html_ascii(struct pw_sheet *t, unsigned char c)
{
	switch (c) {
	case '&': pw_sheet_raw(t, "&amp;"); return true;
	case '<': pw_sheet_raw(t, "&lt;"); return true;
	case '>': pw_sheet_raw(t, "&gt;"); return true;
	case '"': pw_sheet_raw(t, "&quot;"); return true;
	case '\'': pw_sheet_raw(t, "&#39;"); return true;
	default: break;
	}
	/* Controls are no characters of an HTML document. */
	if ((c < 0x20 && c != '\n' && c != '\t') || c == 0x7f) {
		pw_sheet_raw(t, "\357\277\275");
		return true;
	}
	return false;
}

static bool json_ascii(struct pw_sheet *t, unsigned char c)
{
	if (c == '"' || c == '\\')
		pw_sheet_fmt(t, "\\%c", c);
	else if (c < 0x20 || c == 0x7f)
		pw_sheet_fmt(t, "\\u%04x", c);
	else
		return false;
	return true;
}

static void escape(struct pw_sheet *t, const char *s, size_t len,
		   bool (*ascii)(struct pw_sheet *, unsigned char))
{
	const char *end = s + len;

	while (s < end) {
		size_t n = pw_utf8_length((const unsigned char *)s);

		if (n == 0)
			pw_sheet_raw(t, "\357\277\275"); /* U+FFFD */
		else if (n > 1 || !ascii(t, (unsigned char)*s))
			pw_sheet_bytes(t, s, n);
		s += n ? n : 1;
	}
}

void pw_sheet_html(struct pw_sheet *t, const char *s)
{
	escape(t, s, strlen(s), html_ascii);
}

void pw_sheet_json(struct pw_sheet *t, const char *s)
{
	pw_sheet_raw(t, "\"");
	escape(t, s, strlen(s), json_ascii);
	pw_sheet_raw(t, "\"");
}

static void fill_in(struct pw_sheet *t, const char *s, const char *a, const char *b,
		    void (*put)(struct pw_sheet *, const char *))
{
	for (const char *at; (at = strchr(s, '{')); s = at + 3) {
		escape(t, s, (size_t)(at - s), html_ascii);
		put(t, at[1] == '1' ? a : b);
	}
	pw_sheet_html(t, s);
}

void pw_sheet_word(struct pw_sheet *t, enum pw_word word, const char *a, const char *b)
{
	fill_in(t, pw_word(t->language, word), a, b, pw_sheet_html);
}

void pw_sheet_count(struct pw_sheet *t, enum pw_word word, int64_t count, const char *markup)
{
	char number[24];

	snprintf(number, sizeof number, "%" PRId64, count);
	fill_in(t, pw_word_count(t->language, word, count), number, markup, pw_sheet_raw);
}
