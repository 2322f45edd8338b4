/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Tables of text as offices' programs write them: RFC 4180, and what else is common practice (a
 * semicolon or a tab between fields, Windows-1252, a mark at the head, any end of line).
 */
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "csv.h"

#define ROW_MAX (1 << 20) /* bytes */
#define FIRST_ROOM 1024
#define BYTES_MAX 8       /* that one step puts */

struct pw_csv {
	FILE *f;
	enum pw_csv_encoding encoding;
	char separator;
	uint32_t line;     /* of what is read next, 1 on */
	uint32_t row_line; /* on which the row began */
	char *text;        /* of a row: fields with a zero behind each */
	size_t length, room, count;
	size_t begin[PW_CSV_COLUMNS_MAX + 1];
	const char *field[PW_CSV_COLUMNS_MAX];
};

static int fault(char *why, size_t size, uint32_t line, const char *words)
{
	snprintf(why, size, "line %u: %s", line, words);
	return -2;
}

/* -- a first look: encoding and separator ---------------------------------------------------- */

/* RFC 3629, section 4: what may follow a first byte. */
struct utf8 {
	int need;
	unsigned char least, most; /* of the next byte */
	bool bad;
};

static void utf8_first(struct utf8 *u, unsigned char c)
{
	u->least = c == 0xe0 ? 0xa0 : c == 0xf0 ? 0x90 : 0x80;
	u->most = c == 0xed ? 0x9f : c == 0xf4 ? 0x8f : 0xbf;
	u->need = c < 0x80 ? 0 : c < 0xe0 ? 1 : c < 0xf0 ? 2 : 3;
	u->bad |= c >= 0x80 && (c < 0xc2 || c > 0xf4);
}

static void utf8_byte(struct utf8 *u, unsigned char c)
{
	if (u->need == 0) {
		utf8_first(u, c);
		return;
	}
	u->bad |= c < u->least || c > u->most;
	u->least = 0x80;
	u->most = 0xbf;
	u->need--;
}

/* Separators in the first line that has anything, outside quotes. */
struct separators {
	unsigned count[3];
	bool quoted, any, done;
};
static const char separator[] = { ',', ';', '\t' };

static void separators_byte(struct separators *s, char c)
{
	const char *at = memchr(separator, c, sizeof(separator));

	if (c == '"')
		s->quoted = !s->quoted;
	if (!s->quoted && (c == '\n' || c == '\r'))
		s->done = s->any;
	else
		s->any = true;
	if (at && !s->quoted && !s->done)
		s->count[at - separator]++;
}

static char most(const struct separators *s)
{
	size_t best = 0;

	for (size_t i = 1; i < sizeof(separator); i++)
		if (s->count[i] > s->count[best])
			best = i;
	return separator[best];
}

static int look(struct pw_csv *c, char *why, size_t size)
{
	struct separators s = { 0 };
	struct utf8 u = { 0 };
	unsigned char head[3] = { 0 };
	const size_t got = fread(head, 1, sizeof(head), c->f);
	const bool mark = got == 3 && !memcmp(head, "\xef\xbb\xbf", 3);

	if (got >= 2 && (!memcmp(head, "\xff\xfe", 2) || !memcmp(head, "\xfe\xff", 2)))
		return fault(why, size, 1, "it is UTF-16; expected UTF-8: save it as CSV UTF-8");
	if (fseek(c->f, mark ? 3 : 0, SEEK_SET))
		return fault(why, size, 1, "it cannot be read twice; expected a file");
	for (int ch; (ch = getc_unlocked(c->f)) != EOF;) {
		utf8_byte(&u, (unsigned char)ch);
		separators_byte(&s, (char)ch);
	}
	c->encoding = u.bad || u.need ? PW_CSV_WINDOWS_1252 : mark ? PW_CSV_UTF8_MARK : PW_CSV_UTF8;
	c->separator = most(&s);
	if (ferror(c->f) || fseek(c->f, mark ? 3 : 0, SEEK_SET)) {
		snprintf(why, size, "it cannot be read");
		return -1;
	}
	return 0;
}

int pw_csv_open(FILE *f, struct pw_csv **csv, char *why, size_t size)
{
	struct pw_csv *c = calloc(1, sizeof(*c));
	int result = -1;

	*csv = NULL;
	if (c)
		c->text = malloc(c->room = FIRST_ROOM);
	if (!c || !c->text) {
		snprintf(why, size, "no memory for a table");
		goto fail;
	}
	c->f = f;
	c->line = 1;
	result = look(c, why, size);
	if (result < 0)
		goto fail;
	*csv = c;
	return 0;
fail:
	pw_csv_close(c);
	return result;
}

void pw_csv_close(struct pw_csv *c)
{
	if (!c)
		return;
	free(c->text);
	free(c);
}

enum pw_csv_encoding pw_csv_encoding(const struct pw_csv *c)
{
	return c->encoding;
}

char pw_csv_separator(const struct pw_csv *c)
{
	return c->separator;
}

/* -- rows ------------------------------------------------------------------------------------ */

/* Windows-1252, 80 to 9f; five that it does not have stay controls, as in the WHATWG's Encoding. */
static const uint16_t windows_1252[32] = {
	0x20ac, 0x81,   0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021,
	0x02c6, 0x2030, 0x0160, 0x2039, 0x0152, 0x8d,   0x017d, 0x8f,
	0x90,   0x2018, 0x2019, 0x201c, 0x201d, 0x2022, 0x2013, 0x2014,
	0x02dc, 0x2122, 0x0161, 0x203a, 0x0153, 0x9d,   0x017e, 0x0178,
};

static void put(struct pw_csv *c, int ch)
{
	unsigned code = (unsigned char)ch;

	if (code < 0x80 || c->encoding != PW_CSV_WINDOWS_1252) {
		c->text[c->length++] = (char)code;
		return;
	}
	code = code < 0xa0 ? windows_1252[code - 0x80] : code;
	if (code >= 0x800)
		c->text[c->length++] = (char)(0xe0 | code >> 12);
	c->text[c->length++] = (char)(code >= 0x800 ? 0x80 | (code >> 6 & 0x3f) : 0xc0 | code >> 6);
	c->text[c->length++] = (char)(0x80 | (code & 0x3f));
}

/* The next byte; any end of line as '\n'. */
static int next_byte(struct pw_csv *c, bool quoted)
{
	int ch = getc_unlocked(c->f), after;

	if (ch == '\r' && !quoted) {
		after = getc_unlocked(c->f);
		if (after != '\n' && after != EOF)
			ungetc(after, c->f);
		ch = '\n';
	}
	c->line += ch == '\n';
	return ch;
}

enum state { BEGIN = 1, PLAIN, QUOTED, CLOSING };

static bool end_field(struct pw_csv *c)
{
	c->text[c->length++] = '\0';
	if (c->count == PW_CSV_COLUMNS_MAX)
		return false;
	c->count++;
	return true;
}

static int end_row(struct pw_csv *c, struct pw_csv_row *row)
{
	for (size_t i = 0; i < c->count; i++)
		c->field[i] = c->text + c->begin[i];
	*row = (struct pw_csv_row){ c->row_line, c->count, c->field };
	return 1;
}

/* For what the next byte puts. -1, -2: there is none. */
static int make_room(struct pw_csv *c, char *why, size_t size)
{
	char *text;

	if (c->length + BYTES_MAX <= c->room)
		return 0;
	if (c->room >= ROW_MAX)
		return fault(why, size, c->row_line, "more than a MiB; is a quote open?");
	text = realloc(c->text, 2 * c->room);
	if (!text) {
		snprintf(why, size, "no memory for a table");
		return -1;
	}
	c->text = text;
	c->room *= 2;
	return 0;
}

/* What a byte outside quotes does to a field. */
static enum state outside(struct pw_csv *c, enum state state, int ch)
{
	if (ch == '"' && state == BEGIN)
		return QUOTED;
	put(c, ch);
	return ch == '"' && state == CLOSING ? QUOTED : PLAIN;
}

/* 1: a row, or a blank line (no fields); 0: the end. */
static int read_row(struct pw_csv *c, struct pw_csv_row *row, char *why, size_t size)
{
	enum state state = BEGIN;
	int ch, result;
	bool ends;

	c->length = c->count = c->begin[0] = 0;
	c->row_line = c->line;
	do {
		ch = next_byte(c, state == QUOTED);
		if (ch == '\0')
			return fault(why, size, c->line, "a zero byte; expected text");
		result = make_room(c, why, size);
		if (result < 0)
			return result;
		if (state == QUOTED) {
			if (ch == EOF)
				return fault(why, size, c->row_line,
					     "a quote is opened and never closed");
			if (ch == '"')
				state = CLOSING;
			else
				put(c, ch);
			continue;
		}
		ends = ch == EOF || ch == '\n';
		if (ends && state == BEGIN && c->count == 0)
			return end_row(c, row), ch != EOF;
		if (!ends && ch != c->separator) {
			if (state == CLOSING && ch != '"')
				return fault(why, size, c->line, "text behind a closing quote; "
					     "expected a separator");
			state = outside(c, state, ch);
			continue;
		}
		if (!end_field(c))
			return fault(why, size, c->row_line, "too many columns");
		if (ends)
			return end_row(c, row);
		c->begin[c->count] = c->length;
		state = BEGIN;
	} while (true);
}

int pw_csv_next(struct pw_csv *c, struct pw_csv_row *row, char *why, size_t size)
{
	int result;

	do
		result = read_row(c, row, why, size);
	while (result == 1 && row->count == 0);
	if (result == 0 && ferror(c->f)) {
		snprintf(why, size, "line %u: it cannot be read", c->line);
		return -1;
	}
	return result;
}

/* -- writing --------------------------------------------------------------------------------- */

static const char *digits(const char *p)
{
	while (*p >= '0' && *p <= '9')
		p++;
	return p;
}

/* [+-]D[.D][E[+-]D] and no more. */
static bool pure_number(const char *p)
{
	const char *begin = p += *p == '-' || *p == '+';

	p = digits(p);
	if (p == begin)
		return false;
	if (*p == '.') {
		begin = ++p;
		p = digits(p);
		if (p == begin)
			return false;
	}
	if (*p == 'e' || *p == 'E') {
		p++;
		begin = p += *p == '-' || *p == '+';
		p = digits(p);
		if (p == begin)
			return false;
	}
	return *p == '\0';
}

/* A spreadsheet would take it for a formula (common practice: OWASP, "CSV Injection"). */
static bool a_formula(const char *field)
{
	return *field != '\0' && strchr("=+-@\t\r\n", *field) && !pure_number(field);
}

static void write_field(FILE *f, const char *field, bool alone)
{
	const bool formula = a_formula(field);
	const bool special = field[strcspn(field, "\",;\t\r\n")] != '\0';
	const bool quoted = special || (alone && *field == '\0');

	if (quoted)
		putc_unlocked('"', f);
	if (formula)
		putc_unlocked('\'', f);
	for (const char *p = field; *p; p++) {
		if (*p == '"')
			putc_unlocked('"', f);
		putc_unlocked(*p, f);
	}
	if (quoted)
		putc_unlocked('"', f);
}

void pw_csv_write(FILE *f, size_t count, const char *const *field)
{
	for (size_t i = 0; i < count; i++) {
		if (i)
			putc_unlocked(',', f);
		write_field(f, field[i], count == 1);
	}
	fputs("\r\n", f);
}
