/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A record line as pw_export_record writes it: these keys in this order, no white space, a body of
 * plain characters. Nearly all lines are such, and are read ten times as fast as JSON at large.
 * Whatever is not just so is left to pw_export_read, which knows JSON, and says what is wrong.
 */
#include <string.h>

#include "intake_internal.h"

#define DIGITS_MOST 18 /* of any of them all are below INT64_MAX */

struct cursor {
	const char *at, *end;
};

static bool skip(struct cursor *c, const char *text, size_t n)
{
	if ((size_t)(c->end - c->at) < n || memcmp(c->at, text, n) != 0)
		return false;
	c->at += n;
	return true;
}
#define SKIP(c, text) skip(c, text, sizeof(text) - 1)

/* RFC 8259, 6: no plus, no zero before other digits. */
static bool take_number(struct cursor *c, int64_t *n)
{
	const bool minus = SKIP(c, "-");
	const char *first = c->at;

	for (*n = 0; c->at < c->end && *c->at >= '0' && *c->at <= '9'; c->at++) {
		if (c->at - first == DIGITS_MOST)
			return false;
		*n = *n * 10 + (*c->at - '0');
	}
	if (minus)
		*n = -*n;
	return c->at > first && (*first != '0' || c->at - first == 1);
}

static bool take_count(struct cursor *c, uint64_t *n)
{
	int64_t number;

	if (!take_number(c, &number) || number < 0)
		return false;
	*n = (uint64_t)number;
	return true;
}

static bool take_hex(struct cursor *c, size_t digits, char *to)
{
	if ((size_t)(c->end - c->at) < digits)
		return false;
	for (size_t i = 0; i < digits; i++) {
		const char d = c->at[i];

		if (!((d >= '0' && d <= '9') || (d >= 'a' && d <= 'f')))
			return false;
		to[i] = d;
	}
	to[digits] = '\0';
	c->at += digits;
	return true;
}

static bool take_kind(struct cursor *c, enum pw_kind *kind)
{
	char name[PW_NAME_MAX];
	size_t n = 0;

	while (c->at < c->end && n + 1 < sizeof(name) && *c->at >= 'a' && *c->at <= 'z')
		name[n++] = *c->at++;
	name[n] = '\0';
	*kind = pw_kind_find(name);
	return *kind != PW_K_NONE;
}

/* Up to the quotation mark that ends it. ASCII, and of the escapes those of one letter. */
static bool take_body(struct cursor *c, char *to)
{
	static const char escaped[128] = { ['"'] = '"', ['\\'] = '\\', ['/'] = '/', ['b'] = '\b',
					   ['f'] = '\f', ['n'] = '\n', ['r'] = '\r', ['t'] = '\t' };
	const char *first = to;

	while (c->at < c->end && to - first <= PW_BODY_MAX) {
		unsigned char b = (unsigned char)*c->at++;

		if (b == '"') {
			*to = '\0';
			return true;
		}
		if (b < 0x20 || b >= 0x80)
			return false;
		if (b == '\\') {
			b = c->at < c->end ? (unsigned char)*c->at++ : 0;
			if (b >= 0x80 || escaped[b] == '\0')
				return false;
			b = (unsigned char)escaped[b];
		}
		*to++ = (char)b;
	}
	return false;
}

static bool take_times(struct cursor *c, struct pw_record *r)
{
	int64_t wall_ok;

	if (!take_number(c, &r->mono_ms) || !SKIP(c, ",\"wall_ms\":") ||
	    !take_number(c, &r->wall_ms) || !SKIP(c, ",\"wall_ok\":") || !take_number(c, &wall_ok))
		return false;
	r->wall_ok = wall_ok == 1;
	return wall_ok == 0 || wall_ok == 1;
}

bool pw_record_line(const char *text, size_t length, char *body, struct pw_record *r)
{
	struct cursor c = { text, text + length };

	r->body = body;
	return SKIP(&c, "{\"seq\":") && take_count(&c, &r->seq) && r->seq > 0 &&
	       SKIP(&c, ",\"epoch\":\"") && take_hex(&c, 16, r->epoch) &&
	       SKIP(&c, "\",\"boot\":") && take_count(&c, &r->boot) &&
	       SKIP(&c, ",\"mono_ms\":") && take_times(&c, r) &&
	       SKIP(&c, ",\"kind\":\"") && take_kind(&c, &r->kind) &&
	       SKIP(&c, "\",\"body\":\"") && take_body(&c, body) &&
	       SKIP(&c, ",\"prev\":\"") && take_hex(&c, 64, r->prev) &&
	       SKIP(&c, "\",\"hash\":\"") && take_hex(&c, 64, r->hash) &&
	       SKIP(&c, "\"}") && c.at == c.end;
}
