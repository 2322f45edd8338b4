/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report_internal.h"

#define NO_BREAK "\xc2\xa0"  /* a space at which no line is broken */
#define MINUS "\xe2\x88\x92"
#define DASH "\xe2\x80\x93"
#define DIGITS_MAX 400       /* of the largest double, and decimals */

/* Decimal mark and what is between thousands, of four digits on there is none below 10 000. Spanish: as it
 * is written in the United States (CLDR, es-US; from memory). */
static const struct { const char *mark, *group; } writing[PW_TONGUES] = {
	[PW_TONGUE_NONE] = { ".", "," },
	[PW_ENGLISH] = { ".", "," },
	[PW_SPANISH] = { ".", "," },
	[PW_FRENCH] = { ",", "\xe2\x80\xaf" },
};

/* digits: as printf writes a number that is not below 0. */
static void grouped(enum pw_tongue tongue, const char *digits, FILE *out)
{
	size_t whole = strcspn(digits, ".");

	for (size_t i = 0; i < whole; i++) {
		if (i > 0 && whole > 4 && (whole - i) % 3 == 0)
			fputs(writing[tongue].group, out);
		putc(digits[i], out);
	}
	if (digits[whole] == '.')
		fprintf(out, "%s%s", writing[tongue].mark, digits + whole + 1);
}

void pw_value_number(enum pw_tongue tongue, double value, int decimals, FILE *out)
{
	char digits[DIGITS_MAX];

	if (isnan(value)) {
		fputs(DASH, out);
		return;
	}
	snprintf(digits, sizeof(digits), "%.*f", decimals, fabs(value));
	if (value < 0 && strspn(digits, "0.") < strlen(digits))
		fputs(MINUS, out);
	if (isinf(value))
		fputs("\xe2\x88\x9e", out);
	else
		grouped(tongue, digits, out);
}

void pw_value_count(enum pw_tongue tongue, int64_t count, FILE *out)
{
	char digits[24];

	snprintf(digits, sizeof(digits), "%lld", (long long)count);
	if (count < 0)
		fputs(MINUS, out);
	grouped(tongue, digits + (count < 0), out);
}

static void share(enum pw_tongue tongue, double value, int decimals, FILE *out)
{
	pw_value_number(tongue, 100 * value, decimals, out);
	if (!isnan(value))
		fputs(NO_BREAK "%", out);
}

/* Two units at most: what is left out is less than one part in sixty. */
void pw_value_span(enum pw_tongue tongue, int64_t ms, FILE *out)
{
	const uint64_t size = ms < 0 ? 0 - (uint64_t)ms : (uint64_t)ms;
	const uint64_t s = (size + 500) / 1000, min = (s + 30) / 60, h = (min + 30) / 60;

	if (ms < 0 && size > 0)
		fputs(MINUS, out);
	if (size < 9950 && size % 1000) {
		pw_value_number(tongue, (double)size / 1000, 1, out);
		fputs(NO_BREAK "s", out);
	} else if (s < 60) {
		fprintf(out, "%llu" NO_BREAK "s", (unsigned long long)s);
	} else if (s < 3600) {
		fprintf(out, "%llu" NO_BREAK "min" NO_BREAK "%02llu" NO_BREAK "s",
			(unsigned long long)(s / 60), (unsigned long long)(s % 60));
	} else if (min < 1440) {
		fprintf(out, "%llu" NO_BREAK "h" NO_BREAK "%02llu" NO_BREAK "min",
			(unsigned long long)(min / 60), (unsigned long long)(min % 60));
	} else {
		fprintf(out, "%llu" NO_BREAK "%s" NO_BREAK "%02llu" NO_BREAK "h",
			(unsigned long long)(h / 24),
			pw_phrase(tongue, PW_P_UNIT_DAY), (unsigned long long)(h % 24));
	}
}

void pw_value_day(int32_t day, FILE *out)
{
	fprintf(out, "%04d-%02d-%02d", day / 10000, day / 100 % 100, day % 100);
}

static void hour(int32_t ms, FILE *out)
{
	fprintf(out, "%02d:%02d", ms / 3600000, ms / 60000 % 60);
}

void pw_value_moment(const struct pw_zone *zone, int64_t ms, FILE *out)
{
	struct pw_local local;

	pw_zone_local(zone, ms, &local);
	pw_value_day(local.date, out);
	putc(' ', out);
	hour(local.ms, out);
}

static void moment_utc(int64_t ms, FILE *out)
{
	const int64_t day = ms / PW_DAY_MS - (ms % PW_DAY_MS < 0);
	const int32_t of_day = (int32_t)(ms - day * PW_DAY_MS);

	pw_value_day(pw_date_from((int32_t)day), out);
	putc('T', out);
	hour(of_day, out);
	fprintf(out, ":%02d.%03dZ", of_day / 1000 % 60, of_day % 1000);
}

/* -- cells ------------------------------------------------------------------------------------- */

size_t pw_value_code(const char **at)
{
	*at += strspn(*at, " ");
	return strcspn(*at, " ");
}

/* A fault of a line has the line's name behind what it is. */
static const struct { const char *before; enum pw_phrase words; } of_a_line[] = {
	{ "silent_", PW_P_FAULT_SILENT }, { "line_", PW_P_FAULT_LINE }, { "unheard_", PW_P_FAULT_UNHEARD },
};

static const char *word_of(enum pw_tongue tongue, const char *code)
{
	const enum pw_phrase word = pw_phrase_find(code);

	return word ? pw_phrase(tongue, word) : code;
}

void pw_value_word(enum pw_tongue tongue, const char *code, FILE *out)
{
	for (size_t i = 0; i < sizeof(of_a_line) / sizeof(of_a_line[0]); i++) {
		const size_t length = strlen(of_a_line[i].before);

		if (strncmp(code, of_a_line[i].before, length) == 0 && !pw_phrase_find(code)) {
			const char *const fill[] = { word_of(tongue, code + length), NULL };

			pw_phrase_fill(out, pw_phrase(tongue, of_a_line[i].words), fill);
			return;
		}
	}
	fputs(word_of(tongue, code), out);
}

static void shown_codes(enum pw_tongue tongue, const char *codes, FILE *out)
{
	const char *between = "";
	char code[48];

	for (size_t length; (length = pw_value_code(&codes)) > 0; codes += length) {
		snprintf(code, sizeof(code), "%.*s", (int)length, codes);
		fputs(between, out);
		pw_value_word(tongue, code, out);
		between = ", ";
	}
	if (!*between)
		fputs(DASH, out);
}

void pw_value_shown(const struct pw_table *t, const struct pw_column *c,
		    const struct pw_cell *cell, FILE *out)
{
	const enum pw_tongue tongue = t->r->tongue;

	switch (cell->is) {
	case PW_CELL_TEXT:
		fputs(*cell->text ? cell->text : DASH, out);
		break;
	case PW_CELL_WORD:
		fputs(pw_phrase(tongue, cell->word), out);
		break;
	case PW_CELL_WORDS:
		shown_codes(tongue, cell->text, out);
		break;
	case PW_CELL_COUNT:
		pw_value_count(tongue, cell->whole, out);
		break;
	case PW_CELL_NUMBER:
		if (c->kind == PW_COL_SHARE)
			share(tongue, cell->number, c->decimals, out);
		else
			pw_value_number(tongue, cell->number, c->decimals, out);
		break;
	case PW_CELL_TIME:
		if (c->kind == PW_COL_SPAN)
			pw_value_span(tongue, cell->whole, out);
		else
			pw_value_moment(t->r->zone, cell->whole, out);
		break;
	case PW_CELL_DAY:
		pw_value_day((int32_t)cell->whole, out);
		break;
	case PW_CELL_NONE:
		fputs(DASH, out);
	}
}

void pw_value_plain(const struct pw_column *c, const struct pw_cell *cell, FILE *out)
{
	switch (cell->is) {
	case PW_CELL_TEXT:
	case PW_CELL_WORDS:
		fputs(cell->text, out);
		break;
	case PW_CELL_WORD:
		fputs(pw_phrase_name(cell->word), out);
		break;
	case PW_CELL_COUNT:
		fprintf(out, "%lld", (long long)cell->whole);
		break;
	case PW_CELL_NUMBER:
		if (isinf(cell->number))
			fputs(cell->number < 0 ? "-Inf" : "Inf", out);
		else
			fprintf(out, "%.15g", cell->number);
		break;
	case PW_CELL_TIME:
		if (c->kind == PW_COL_SPAN)
			fprintf(out, "%lld", (long long)cell->whole);
		else
			moment_utc(cell->whole, out);
		break;
	case PW_CELL_DAY:
		pw_value_day((int32_t)cell->whole, out);
		break;
	case PW_CELL_NONE:
		break;
	}
}

/* -- for holes --------------------------------------------------------------------------------- */

struct value { const struct pw_report *r; double number; int64_t whole; int decimals; const char *code; };

static void put_moment(const struct value *v, FILE *out)
{
	pw_value_moment(v->r->zone, v->whole, out);
}

static void put_day(const struct value *v, FILE *out)
{
	pw_value_day((int32_t)v->whole, out);
}

static void put_span(const struct value *v, FILE *out)
{
	pw_value_span(v->r->tongue, v->whole, out);
}

static void put_number(const struct value *v, FILE *out)
{
	pw_value_number(v->r->tongue, v->number, v->decimals, out);
}

static void put_count(const struct value *v, FILE *out)
{
	pw_value_count(v->r->tongue, v->whole, out);
}

static void put_share(const struct value *v, FILE *out)
{
	share(v->r->tongue, v->number, v->decimals, out);
}

static void put_code(const struct value *v, FILE *out)
{
	pw_value_word(v->r->tongue, v->code, out);
}

static const char *made(struct pw_report *r, void (*put)(const struct value *v, FILE *out),
			const struct value *v)
{
	char text[DIGITS_MAX + 200] = "";
	FILE *out = fmemopen(text, sizeof(text), "w");

	if (!out) {
		r->broke = true;
		return "";
	}
	put(v, out);
	fclose(out);
	return pw_report_copy(r, text);
}

const char *pw_report_code(struct pw_report *r, const char *code)
{
	return made(r, put_code, &(struct value){ .r = r, .code = code });
}

const char *pw_report_moment(struct pw_report *r, int64_t ms)
{
	return ms == INT64_MIN ? DASH : made(r, put_moment, &(struct value){ .r = r, .whole = ms });
}

const char *pw_report_day(struct pw_report *r, int32_t day)
{
	return made(r, put_day, &(struct value){ .r = r, .whole = day });
}

const char *pw_report_span(struct pw_report *r, int64_t ms)
{
	return ms == INT64_MIN ? DASH : made(r, put_span, &(struct value){ .r = r, .whole = ms });
}

const char *pw_report_number(struct pw_report *r, double value, int decimals)
{
	return made(r, put_number,
		    &(struct value){ .r = r, .number = value, .decimals = decimals });
}

const char *pw_report_count(struct pw_report *r, int64_t count)
{
	return made(r, put_count, &(struct value){ .r = r, .whole = count });
}

const char *pw_report_share(struct pw_report *r, double value, int decimals)
{
	return made(r, put_share, &(struct value){ .r = r, .number = value, .decimals = decimals });
}
