/* SPDX-License-Identifier: Apache-2.0 */
/* Compact JSON (RFC 8259) into a buffer that the caller gives. */
#include "record_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

static void put(struct pw_json *o, const char *bytes, size_t n)
{
	if (o->full || n >= o->size - o->len) {
		o->full = true;
		return;
	}
	memcpy(o->buf + o->len, bytes, n);
	o->len += n;
}

static void put_text(struct pw_json *o, const char *text)
{
	put(o, text, strlen(text));
}

size_t pw_utf8_sequence(const unsigned char *s, size_t left)
{
	size_t n = s[0] < 0x80 ? 1 : s[0] < 0xc2 ? 0 : s[0] < 0xe0 ? 2 : s[0] < 0xf0 ? 3
		 : s[0] < 0xf5 ? 4 : 0;

	if (n > left)
		return 0;
	for (size_t i = 1; i < n; i++)
		if ((s[i] & 0xc0) != 0x80)
			return 0;
	if ((s[0] == 0xe0 && s[1] < 0xa0) || (s[0] == 0xed && s[1] > 0x9f)
	    || (s[0] == 0xf0 && s[1] < 0x90) || (s[0] == 0xf4 && s[1] > 0x8f))
		return 0;
	return n;
}

static void put_character(struct pw_json *o, const char *s, size_t n)
{
	static const char named[] = "\"\"\\\\\nn\tt\rr";
	unsigned char c = (unsigned char)s[0];
	char escape[8];

	if (n == 0) {
		put_text(o, "\xef\xbf\xbd");
		return;
	}
	for (const char *p = named; *p != '\0'; p += 2)
		if (p[0] == s[0]) {
			put(o, (const char[]){ '\\', p[1] }, 2);
			return;
		}
	if (c < 0x20) {
		snprintf(escape, sizeof(escape), "\\u%04x", c);
		put_text(o, escape);
		return;
	}
	put(o, s, n);
}

static void put_string(struct pw_json *o, const char *text, size_t len)
{
	size_t n;

	len = strnlen(text, len);
	put_text(o, "\"");
	for (size_t i = 0; i < len; i += n > 0 ? n : 1) {
		n = pw_utf8_sequence((const unsigned char *)text + i, len - i);
		put_character(o, text + i, n);
	}
	put_text(o, "\"");
}

static void put_key(struct pw_json *o, const char *key)
{
	char last = o->len > 0 ? o->buf[o->len - 1] : '[';

	if (last != '{' && last != '[')
		put_text(o, ",");
	if (key == NULL)
		return;
	put_string(o, key, strlen(key));
	put_text(o, ":");
}

void pw_json_init(struct pw_json *o, char *buf, size_t size)
{
	*o = (struct pw_json){ .buf = buf, .size = size, .full = size == 0 };
}

void pw_json_open(struct pw_json *o, const char *key, char bracket)
{
	put_key(o, key);
	put(o, &bracket, 1);
}

void pw_json_close(struct pw_json *o, char bracket)
{
	put(o, &bracket, 1);
}

void pw_json_int(struct pw_json *o, const char *key, int64_t value)
{
	char digits[24];

	put_key(o, key);
	snprintf(digits, sizeof(digits), "%" PRId64, value);
	put_text(o, digits);
}

void pw_json_time(struct pw_json *o, const char *key, int64_t ms)
{
	if (ms != PW_NO_TIME && ms != PW_NEVER) {
		pw_json_int(o, key, ms);
		return;
	}
	put_key(o, key);
	put_text(o, ms == PW_NO_TIME ? "null" : "\"never\"");
}

void pw_json_bool(struct pw_json *o, const char *key, bool value)
{
	put_key(o, key);
	put_text(o, value ? "true" : "false");
}

void pw_json_text(struct pw_json *o, const char *key, const char *text, size_t len)
{
	put_key(o, key);
	put_string(o, text, len);
}

int pw_json_end(struct pw_json *o)
{
	if (o->full)
		return -1;
	o->buf[o->len] = '\0';
	return (int)o->len;
}

int pw_json_get_time(const json_t *value, int64_t *ms)
{
	const char *word = json_string_value(value);

	if (json_is_null(value))
		*ms = PW_NO_TIME;
	else if (word != NULL && strcmp(word, "never") == 0)
		*ms = PW_NEVER;
	else
		return pw_json_get_int(value, -PW_MOMENT_MAX, PW_MOMENT_MAX, ms);
	return 0;
}

int pw_json_get_int(const json_t *value, int64_t least, int64_t most, int64_t *out)
{
	if (!json_is_integer(value))
		return -1;
	*out = json_integer_value(value);
	return *out < least || *out > most ? -1 : 0;
}
