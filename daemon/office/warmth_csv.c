/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "postwalk/text.h"
#include "warmth.h"

#define NONE SIZE_MAX

enum column { AT, CELSIUS, FAHRENHEIT, BUS, COLUMNS };
static const char *const headings[COLUMNS] = { "at", "celsius", "fahrenheit", "bus" };

struct reading {
	const struct pw_zone *zone;
	struct pw_warmths *w;
	size_t at[COLUMNS]; /* NONE: not there */
};

/* -- lists ------------------------------------------------------------------------------------- */

/* Room for one more. false: no memory. */
static bool grow(void **list, size_t count, size_t *room, size_t each)
{
	size_t more = *room ? *room * 2 : 256;
	void *grown;

	if (count < *room)
		return true;
	grown = realloc(*list, more * each);
	if (!grown)
		return false;
	*list = grown;
	*room = more;
	return true;
}

static int note(struct pw_warmths *w, uint32_t line, enum pw_phrase why, const char *shown)
{
	struct pw_warmth_note *n;

	if (!grow((void **)&w->note, w->notes, &w->notes_room, sizeof(*w->note)))
		return -1;
	n = &w->note[w->notes++];
	*n = (struct pw_warmth_note){ .line = line, .why = why };
	snprintf(n->shown, sizeof(n->shown), "%s", shown);
	for (size_t end = strlen(n->shown); end > 0; end--) /* no half of a character at its end */
		if (((unsigned char)n->shown[end - 1] & 0xc0) != 0x80) {
			if (pw_utf8_sequence((unsigned char *)n->shown + end - 1,
					     strlen(n->shown) - end + 1) == 0)
				n->shown[end - 1] = '\0';
			break;
		}
	return 0;
}

/* -- a time ------------------------------------------------------------------------------------ */

/* Two digits. */
static bool take_two(const char **p, int most, int *n)
{
	const char *c = *p;

	if (c[0] < '0' || c[0] > '9' || c[1] < '0' || c[1] > '9')
		return false;
	*n = (c[0] - '0') * 10 + (c[1] - '0');
	*p += 2;
	return *n <= most;
}

static bool take_date(const char **p, int32_t *date)
{
	int century, year, month, day;

	if (!take_two(p, 99, &century) || !take_two(p, 99, &year) || *(*p)++ != '-' ||
	    !take_two(p, 12, &month) || *(*p)++ != '-' || !take_two(p, 31, &day))
		return false;
	*date = (century * 100 + year) * 10000 + month * 100 + day;
	return pw_date_ok(*date);
}

/* Fractions of a second are passed over. */
static bool take_clock(const char **p, int32_t *ms)
{
	int hour, minute, second = 0;

	if (!take_two(p, 23, &hour) || *(*p)++ != ':' || !take_two(p, 59, &minute))
		return false;
	if (**p == ':') {
		++*p;
		if (!take_two(p, 59, &second))
			return false;
		if (**p == '.')
			*p += 1 + strspn(*p + 1, "0123456789");
	}
	*ms = ((hour * 60 + minute) * 60 + second) * 1000;
	return true;
}

/* Z, +hh:mm or -hh:mm. */
static bool take_offset(const char **p, int32_t *offset_ms)
{
	const char sign = *(*p)++;
	int hour, minute;

	*offset_ms = 0;
	if (sign == 'Z' || sign == 'z')
		return true;
	if ((sign != '+' && sign != '-') || !take_two(p, 23, &hour) || *(*p)++ != ':' ||
	    !take_two(p, 59, &minute))
		return false;
	*offset_ms = (hour * 60 + minute) * (sign == '-' ? -60000 : 60000);
	return true;
}

/* NONE: it is read; else why not. */
static enum pw_phrase read_time(const struct pw_zone *zone, const char *text, int64_t *at_ms)
{
	const char *p = text;
	int32_t date, ms, offset_ms;
	int64_t moments[2];

	if (!take_date(&p, &date) || (*p != 'T' && *p != 't' && *p != ' '))
		return PW_P_HEAT_NO_TIME;
	p++;
	if (!take_clock(&p, &ms))
		return PW_P_HEAT_NO_TIME;
	if (*p != '\0') {
		if (!take_offset(&p, &offset_ms) || *p != '\0')
			return PW_P_HEAT_NO_TIME;
		*at_ms = pw_date_days(date) * PW_DAY_MS + ms - offset_ms;
		return PW_P_NONE;
	}
	switch (pw_zone_moments(zone, date, ms, moments)) {
	case 0:
		return PW_P_HEAT_SKIPPED_HOUR;
	case 1:
		*at_ms = moments[0];
		return PW_P_NONE;
	default:
		return PW_P_HEAT_DOUBLED_HOUR;
	}
}

/* -- a temperature ----------------------------------------------------------------------------- */

/* "-3.5", and "-3,5" where commas are not between fields. */
static enum pw_phrase read_number(const char *text, bool fahrenheit, int32_t *c10)
{
	char number[32], *end;
	double value;

	if (text[0] == '\0' || strlen(text) >= sizeof(number) ||
	    text[strspn(text, "+-0123456789.,")] != '\0')
		return PW_P_HEAT_NO_NUMBER;
	strcpy(number, text);
	if (strchr(number, ','))
		*strchr(number, ',') = '.';
	errno = 0;
	value = strtod(number, &end);
	if (end == number || *end != '\0' || errno)
		return PW_P_HEAT_NO_NUMBER;
	if (fahrenheit)
		value = (value - 32) * 5 / 9;
	if (!(value >= -90 && value <= 90))
		return PW_P_HEAT_RANGE;
	*c10 = (int32_t)lround(value * 10);
	return PW_P_NONE;
}

/* -- a row ------------------------------------------------------------------------------------- */

static const char *cell(const struct reading *g, const struct pw_csv_row *row, enum column c,
			char text[64])
{
	const char *from = g->at[c] < row->count ? row->field[g->at[c]] : "";
	size_t length;

	from += strspn(from, " \t");
	length = strnlen(from, 63);
	while (length > 0 && (from[length - 1] == ' ' || from[length - 1] == '\t'))
		length--;
	memcpy(text, from, length);
	text[length] = '\0';
	return text;
}

static enum pw_phrase read_row(const struct reading *g, const struct pw_csv_row *row,
			       struct pw_warmth_row *is, char shown[64])
{
	const bool celsius = cell(g, row, CELSIUS, shown)[0] != '\0';
	enum pw_phrase why = read_number(cell(g, row, celsius ? CELSIUS : FAHRENHEIT, shown),
					 !celsius, &is->c10);

	if (why)
		return why;
	why = read_time(g->zone, cell(g, row, AT, shown), &is->at_ms);
	if (why)
		return why;
	cell(g, row, BUS, shown);
	if (shown[0] && (!pw_chain_word(shown) || strlen(shown) >= sizeof(is->bus)))
		return PW_P_HEAT_NO_BUS;
	strcpy(is->bus, shown);
	return PW_P_NONE;
}

static int take_row(struct reading *g, const struct pw_csv_row *row)
{
	struct pw_warmth_row is = { .line = row->line };
	struct pw_warmths *w = g->w;
	char shown[64];
	enum pw_phrase why = read_row(g, row, &is, shown);

	if (why)
		return note(w, row->line, why, shown);
	if (w->rows == PW_WARMTHS_MAX ||
	    !grow((void **)&w->row, w->rows, &w->rows_room, sizeof(*w->row)))
		return -1;
	w->row[w->rows++] = is;
	return 0;
}

/* -- the whole --------------------------------------------------------------------------------- */

static int read_headings(struct reading *g, struct pw_csv *csv, char *why, size_t size)
{
	struct pw_csv_row row;
	int got = pw_csv_next(csv, &row, why, size);

	if (got < 0)
		return got;
	for (size_t c = 0; c < COLUMNS; c++) {
		g->at[c] = NONE;
		for (size_t i = 0; got == 1 && i < row.count; i++)
			if (strcasecmp(row.field[i], headings[c]) == 0)
				g->at[c] = i;
	}
	if (g->at[AT] != NONE && (g->at[CELSIUS] != NONE) != (g->at[FAHRENHEIT] != NONE))
		return 0;
	snprintf(why, size,
		 "line 1: expected the columns at, and celsius or fahrenheit, and perhaps "
		 "bus");
	return -2;
}

static int by_bus_and_time(const void *a, const void *b)
{
	const struct pw_warmth_row *x = a, *y = b;
	int order = strcmp(x->bus, y->bus);

	if (order == 0)
		order = (x->at_ms > y->at_ms) - (x->at_ms < y->at_ms);
	return order ? order : (x->line > y->line) - (x->line < y->line);
}

static int by_line(const void *a, const void *b)
{
	const struct pw_warmth_note *x = a, *y = b;

	return (x->line > y->line) - (x->line < y->line);
}

/* The first of one bus and time stays. */
static int drop_doubles(struct pw_warmths *w)
{
	size_t kept = 0;

	if (w->rows > 0)
		qsort(w->row, w->rows, sizeof(*w->row), by_bus_and_time);
	for (size_t i = 0; i < w->rows; i++) {
		const struct pw_warmth_row *last = kept ? &w->row[kept - 1] : NULL;

		if (last && last->at_ms == w->row[i].at_ms &&
		    strcmp(last->bus, w->row[i].bus) == 0) {
			if (note(w, w->row[i].line, PW_P_HEAT_DUPLICATE, ""))
				return -1;
			continue;
		}
		w->row[kept++] = w->row[i];
	}
	w->rows = kept;
	if (w->notes > 0)
		qsort(w->note, w->notes, sizeof(*w->note), by_line);
	return 0;
}

static int read_all(struct reading *g, struct pw_csv *csv, char *why, size_t size)
{
	struct pw_csv_row row;
	int got = read_headings(g, csv, why, size);

	if (got)
		return got;
	while ((got = pw_csv_next(csv, &row, why, size)) == 1)
		if (take_row(g, &row)) {
			snprintf(why, size, "there is no memory for more than %zu rows",
				 g->w->rows);
			return -1;
		}
	if (got == 0 && drop_doubles(g->w)) {
		snprintf(why, size, "there is no memory for it");
		return -1;
	}
	return got;
}

int pw_warmth_read(FILE *f, const struct pw_zone *zone, struct pw_warmths **w, char *why,
		   size_t size)
{
	struct reading g = { .zone = zone, .w = calloc(1, sizeof(**w)) };
	struct pw_csv *csv;
	int result;

	*w = NULL;
	if (!g.w) {
		snprintf(why, size, "there is no memory for it");
		return -1;
	}
	result = pw_csv_open(f, &csv, why, size);
	if (result == 0) {
		result = read_all(&g, csv, why, size);
		pw_csv_close(csv);
	}
	if (result)
		pw_warmths_free(g.w);
	else
		*w = g.w;
	return result;
}

void pw_warmths_free(struct pw_warmths *w)
{
	if (!w)
		return;
	free(w->row);
	free(w->note);
	free(w);
}
