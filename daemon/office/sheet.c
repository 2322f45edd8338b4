/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A run sheet. The file is gone through twice: once for its column of dates, which must show as a
 * whole whether the day or the month is first, and then row by row. A row goes through steps, each
 * of which takes something of it or says why not; the first that says no ends it.
 */
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "postwalk/text.h"
#include "runs.h"

#define ZONES_MAX 16
#define NONE SIZE_MAX

enum column { DATE, BUS, RUN, ROUTE, DRIVER, BEGIN, END, PLACE, ZONE, DOUBLED, COLUMNS };

/* Headings, and what else they may be called: docs/runs.md. */
static const struct {
	const char *also;
	bool needed;
} columns[COLUMNS] = {
	[DATE] = { "date day service_date fecha jour", true },
	[BUS] = { "bus bus_id vehicle vehicle_id unit autobus autobús", true },
	[RUN] = { "run run_id trip trip_id viaje course", true },
	[ROUTE] = { "route route_id line ruta circuit", false },
	[DRIVER] = { "driver driver_code operator conductor chauffeur", false },
	[BEGIN] = { "begin begin_time start start_time inicio début debut", true },
	[END] = { "end end_time finish fin", true },
	[PLACE] = { "place end_place location lugar lieu", false },
	[ZONE] = { "zone time_zone timezone zona fuseau", false },
	[DOUBLED] = { "doubled_hour doubled", false },
};

struct seen_zone {
	char name[PW_RUN_TEXT];
	struct pw_zone *zone; /* NULL: there is none such */
	char why[120];
};

/* What a column of dates shows: the first line that can only be so. */
struct shown {
	uint32_t day_first, month_first, either; /* lines, 0: none */
	bool slashes;
};

struct sheet {
	const struct pw_sheet_options *o;
	struct pw_sheet *out;
	size_t at[COLUMNS], headings; /* NONE: not there */
	struct shown shown;
	struct seen_zone zone[ZONES_MAX];
	size_t zones;
};

/* A row on its way. */
struct going {
	const struct pw_csv_row *row;
	char cell[COLUMNS][PW_SAID_MAX]; /* trimmed; too long: as "" and long_cell */
	bool long_cell[COLUMNS];
	struct pw_run run;
	const struct pw_zone *zone;
	int32_t begin_s, end_s; /* after midnight of its date, by the clock on the wall */
	bool doubled;           /* somewhere an hour was there twice, and no column says which */
};

static bool refuse(struct sheet *s, const struct going *g, enum pw_row_why why, const char *format,
		   const char *cell)
{
	char shown[48];

	pw_sheet_note(s->out, "", g->row->line, why, false, format, pw_shown(cell, shown));
	return false;
}

/* -- headings -------------------------------------------------------------------------------- */

static size_t trimmed(const char *text, const char **begin)
{
	size_t length;

	text += strspn(text, " \t");
	length = strlen(text);
	while (length && strchr(" \t", text[length - 1]))
		length--;
	*begin = text;
	return length;
}

static bool is_one_of(const char *name, size_t length, const char *list)
{
	for (const char *word = list; *word; word += strspn(word, " ")) {
		const size_t n = strcspn(word, " ");

		if (n == length && !strncasecmp(word, name, n))
			return true;
		word += n;
	}
	return false;
}

static enum column column_of(const char *heading)
{
	char name[64];
	const char *begin;
	size_t length = trimmed(heading, &begin);

	if (length >= sizeof(name))
		return COLUMNS;
	for (size_t i = 0; i < length; i++)
		name[i] = begin[i] == ' ' || begin[i] == '-' ? '_' : begin[i];
	for (enum column c = 0; c < COLUMNS; c++)
		if (is_one_of(name, length, columns[c].also))
			return c;
	return COLUMNS;
}

static int one_word(char *word, size_t size, const char *list)
{
	return snprintf(word, size, "%.*s", (int)strcspn(list, " "), list);
}

static int read_headings(struct sheet *s, const struct pw_csv_row *row, char *why, size_t size)
{
	char word[32], shown[48];

	for (enum column c = 0; c < COLUMNS; c++)
		s->at[c] = NONE;
	for (size_t i = 0; i < row->count; i++) {
		const enum column c = column_of(row->field[i]);

		if (c == COLUMNS) {
			pw_sheet_note(s->out, "", row->line, PW_ROW_IGNORED, true,
				      "column \"%s\" is not used", pw_shown(row->field[i], shown));
		} else if (s->at[c] != NONE) {
			one_word(word, sizeof(word), columns[c].also);
			snprintf(why, size, "line %u: two columns say %s: %zu and %zu", row->line,
				 word, s->at[c] + 1, i + 1);
			return -2;
		} else {
			s->at[c] = i;
		}
	}
	s->headings = row->count;
	for (enum column c = 0; c < COLUMNS; c++) {
		if (!columns[c].needed || s->at[c] != NONE)
			continue;
		one_word(word, sizeof(word), columns[c].also);
		snprintf(why, size, "line %u: no column %s; expected the headings date, bus, run, "
			 "begin and end, and if you like route, driver, place and zone", row->line,
			 word);
		return -2;
	}
	return 0;
}

/* -- dates ----------------------------------------------------------------------------------- */

/* D of 1 to 4 figures; their count, 0 none. */
static int figures(const char **p, int *value)
{
	const char *begin = *p;

	for (*value = 0; **p >= '0' && **p <= '9' && *p - begin < 4; ++*p)
		*value = *value * 10 + **p - '0';
	return (int)(*p - begin);
}

/* YYYY-MM-DD: PW_DAY_ISO, a date; D/M/YYYY or with dots: PW_DAY_FIRST, three numbers. 0:
 * neither. */
static enum pw_day_order read_date(const char *p, int part[3])
{
	char between[2];
	int count[3];

	for (int i = 0; i < 3; i++) {
		count[i] = figures(&p, &part[i]);
		if (i < 2)
			between[i] = *p ? *p++ : ' ';
	}
	if (*p || between[0] != between[1])
		return 0;
	if (between[0] == '-' && count[0] == 4 && count[1] == 2 && count[2] == 2)
		return PW_DAY_ISO;
	if (strchr("/.", between[0]) && count[0] && count[0] < 3 && count[1] && count[1] < 3 &&
	    count[2] == 4)
		return PW_DAY_FIRST;
	return 0;
}

static int32_t date_of(enum pw_day_order order, const int part[3])
{
	switch (order) {
	case PW_DAY_ISO:
		return part[0] * 10000 + part[1] * 100 + part[2];
	case PW_DAY_FIRST:
		return part[2] * 10000 + part[1] * 100 + part[0];
	case PW_MONTH_FIRST:
		return part[2] * 10000 + part[0] * 100 + part[1];
	}
	return 0;
}

static void show_date(struct shown *w, const char *cell, uint32_t line)
{
	int part[3];
	bool day, month;

	if (read_date(cell, part) != PW_DAY_FIRST)
		return;
	w->slashes = true;
	day = pw_date_ok(date_of(PW_DAY_FIRST, part));
	month = pw_date_ok(date_of(PW_MONTH_FIRST, part));
	if (day && !month && !w->day_first)
		w->day_first = line;
	if (month && !day && !w->month_first)
		w->month_first = line;
	if (day && month && part[0] != part[1] && !w->either)
		w->either = line;
}

static int decide_dates(struct sheet *s, char *why, size_t size)
{
	const struct shown *w = &s->shown;

	if (w->day_first && w->month_first) {
		snprintf(why, size, "the date of line %u has the day first, that of line %u the "
			 "month; expected dates as YYYY-MM-DD", w->day_first, w->month_first);
		return -2;
	}
	if (w->either && !w->day_first && !w->month_first) {
		snprintf(why, size, "the date of line %u may have the day first or the month, and "
			 "no other line shows which; expected dates as YYYY-MM-DD", w->either);
		return -2;
	}
	s->out->order = !w->slashes ? PW_DAY_ISO : w->month_first ? PW_MONTH_FIRST : PW_DAY_FIRST;
	return 0;
}

/* -- cells ----------------------------------------------------------------------------------- */

static void take_cells(const struct sheet *s, const struct pw_csv_row *row, struct going *g)
{
	const char *begin;
	size_t length;

	for (enum column c = 0; c < COLUMNS; c++) {
		g->cell[c][0] = '\0';
		g->long_cell[c] = false;
		if (s->at[c] >= row->count)
			continue;
		length = trimmed(row->field[s->at[c]], &begin);
		g->long_cell[c] = length >= sizeof(g->cell[c]);
		if (!g->long_cell[c])
			snprintf(g->cell[c], sizeof(g->cell[c]), "%.*s", (int)length, begin);
	}
}

static bool take_count(struct sheet *s, struct going *g)
{
	for (size_t i = s->headings; i < g->row->count; i++)
		if (*g->row->field[i])
			return refuse(s, g, PW_ROW_COLUMNS, "more cells than headings; the first "
				      "too many says \"%s\"", g->row->field[i]);
	return true;
}

static bool take_bus(struct sheet *s, struct going *g)
{
	const char *bus = g->cell[BUS];

	if (!pw_chain_word(bus) || strlen(bus) >= sizeof(g->run.bus))
		return refuse(s, g, PW_ROW_NO_BUS, "\"%s\" is no bus; expected its id, 1 to 31 of "
			      "A-Z a-z 0-9 . _ -", bus);
	if (s->o->known && !s->o->known(s->o->ctx, bus))
		return refuse(s, g, PW_ROW_NO_BUS, "no bus \"%s\" is known here", bus);
	strcpy(g->run.bus, bus);
	return true;
}

/* What is not taken may be somebody's name: it is not said again. */
static bool take_driver(struct sheet *s, struct going *g)
{
	const char *driver = g->cell[DRIVER];

	if (g->long_cell[DRIVER] || (*driver && !pw_code_ok(driver)))
		return refuse(s, g, PW_ROW_NO_CODE, "expected a code for the driver, 1 to 15 of "
			      "A-Z a-z 0-9 . _ -, and no name", "");
	strcpy(g->run.driver, driver);
	return true;
}

static bool take_text(struct sheet *s, struct going *g, enum column c, char to[PW_RUN_TEXT])
{
	char word[32];

	if (g->long_cell[c] || strlen(g->cell[c]) >= PW_RUN_TEXT || !pw_said_ok(g->cell[c]) ||
	    (columns[c].needed && !g->cell[c][0])) {
		one_word(word, sizeof(word), columns[c].also);
		return refuse(s, g, PW_ROW_NO_TEXT, "no %s; expected one line of at most 63 bytes",
			      word);
	}
	strcpy(to, g->cell[c]);
	return true;
}

static bool take_texts(struct sheet *s, struct going *g)
{
	return take_text(s, g, RUN, g->run.run) && take_text(s, g, ROUTE, g->run.route) &&
	       take_text(s, g, PLACE, g->run.place);
}

/* -- moments --------------------------------------------------------------------------------- */

/* Zones beyond the first few are opened for each row anew, in the last place. */
static struct seen_zone *find_zone(struct sheet *s, const char *name)
{
	struct seen_zone *z;

	for (size_t i = 0; i < s->zones; i++)
		if (!strcmp(s->zone[i].name, name))
			return &s->zone[i];
	if (s->zones == ZONES_MAX)
		pw_zone_free(s->zone[--s->zones].zone);
	z = &s->zone[s->zones++];
	memcpy(z->name, name, strlen(name) + 1);
	pw_zone_open(name, &z->zone, z->why, sizeof(z->why));
	return z;
}

static bool take_zone(struct sheet *s, struct going *g)
{
	const char *name = g->cell[ZONE][0] ? g->cell[ZONE] : s->o->zone;
	const struct seen_zone *z;

	if (!name || g->long_cell[ZONE] || strlen(name) >= sizeof(g->run.zone))
		return refuse(s, g, PW_ROW_NO_ZONE, "no time zone; expected one like "
			      "America/Denver", "");
	z = find_zone(s, name);
	if (!z->zone) {
		pw_sheet_note(s->out, "", g->row->line, PW_ROW_NO_ZONE, false, "%s", z->why);
		return false;
	}
	strcpy(g->run.zone, name);
	g->zone = z->zone;
	return true;
}

static bool take_date(struct sheet *s, struct going *g)
{
	int part[3];
	enum pw_day_order order = read_date(g->cell[DATE], part);

	if (!order)
		return refuse(s, g, PW_ROW_NO_DAY, "\"%s\" is no date; expected YYYY-MM-DD",
			      g->cell[DATE]);
	g->run.date = date_of(order == PW_DAY_ISO ? order : s->out->order, part);
	if (!pw_date_ok(g->run.date) || g->run.date < 19700101)
		return refuse(s, g, PW_ROW_NO_DAY, "there is no day %s", g->cell[DATE]);
	return true;
}

/* H:MM[:SS], 0:00 to 47:59, or with AM or PM behind. */
static bool read_time(const char *p, int32_t *s)
{
	int h, m, second = 0;
	bool half;

	if (!figures(&p, &h) || *p++ != ':' || figures(&p, &m) != 2)
		return false;
	if (*p == ':' && (p++, figures(&p, &second) != 2))
		return false;
	p += strspn(p, " ");
	half = *p && (!strcasecmp(p, "am") || !strcasecmp(p, "pm"));
	if ((*p && !half) || m > 59 || second > 59 || h > (half ? 12 : 47) || (half && h == 0))
		return false;
	if (half)
		h = h % 12 + (*p == 'p' || *p == 'P' ? 12 : 0);
	*s = (h * 60 + m) * 60 + second;
	return true;
}

/* An end that is smaller than the begin is on the next day. */
static bool take_times(struct sheet *s, struct going *g)
{
	if (!read_time(g->cell[BEGIN], &g->begin_s))
		return refuse(s, g, PW_ROW_NO_TIME, "begin \"%s\" is no time; expected HH:MM",
			      g->cell[BEGIN]);
	if (!read_time(g->cell[END], &g->end_s))
		return refuse(s, g, PW_ROW_NO_TIME, "end \"%s\" is no time; expected HH:MM",
			      g->cell[END]);
	if (g->end_s < g->begin_s && g->end_s < 24 * 3600)
		g->end_s += 24 * 3600;
	return true;
}

static bool take_moment(struct sheet *s, struct going *g, enum column c, int32_t wall_s,
			bool second, int64_t *ms)
{
	const int32_t days = pw_date_days(g->run.date) + wall_s / 86400;
	int64_t moment[2];
	const int count = pw_zone_moments(g->zone, pw_date_from(days), wall_s % 86400 * 1000,
					  moment);

	if (!count)
		return refuse(s, g, PW_ROW_SKIPPED_HOUR, "there was no %s that day: clocks were "
			      "put forward over it", g->cell[c]);
	g->doubled |= count == 2 && !g->cell[DOUBLED][0];
	*ms = moment[count == 2 && second];
	return true;
}

static bool take_moments(struct sheet *s, struct going *g)
{
	const char *which = g->cell[DOUBLED];
	const bool second = !strcasecmp(which, "second"), across = !strcasecmp(which, "across");

	if (g->long_cell[DOUBLED] || (*which && !second && !across && strcasecmp(which, "first")))
		return refuse(s, g, PW_ROW_NO_TEXT, "doubled_hour \"%s\"; expected first, second, "
			      "across or nothing", which);
	return take_moment(s, g, BEGIN, g->begin_s, second, &g->run.begin_ms) &&
	       take_moment(s, g, END, g->end_s, second || across, &g->run.end_ms);
}

static bool take_length(struct sheet *s, struct going *g)
{
	if (g->run.end_ms <= g->run.begin_ms)
		return refuse(s, g, PW_ROW_BACKWARDS, "the end, %s, is not after the begin",
			      g->cell[END]);
	if (g->run.end_ms - g->run.begin_ms > PW_RUN_MS_MAX)
		return refuse(s, g, PW_ROW_TOO_LONG, "from begin to end, %s, it is more than 16 h",
			      g->cell[END]);
	return true;
}

/* -- rows ------------------------------------------------------------------------------------ */

static bool blank(const struct pw_csv_row *row)
{
	const char *begin;

	for (size_t i = 0; i < row->count; i++)
		if (trimmed(row->field[i], &begin))
			return false;
	return true;
}

static void take_row(struct sheet *s, const struct pw_csv_row *row)
{
	static bool (*const step[])(struct sheet *s, struct going *g) = {
		take_count, take_bus, take_driver, take_texts, take_zone, take_date, take_times,
		take_moments, take_length,
	};
	struct going g = { .row = row, .run.line = row->line };

	take_cells(s, row, &g);
	for (size_t i = 0; i < sizeof(step) / sizeof(step[0]); i++)
		if (!step[i](s, &g))
			return;
	if (g.doubled)
		pw_sheet_note(s->out, "", row->line, PW_ROW_DOUBLED_HOUR, true,
			      "that hour was there twice; the first is taken (a column "
			      "doubled_hour can say second)");
	pw_sheet_add(s->out, &g.run);
}

static void show_row(struct sheet *s, const struct pw_csv_row *row)
{
	char cell[16];
	const char *begin;
	size_t length;

	if (s->at[DATE] >= row->count)
		return;
	length = trimmed(row->field[s->at[DATE]], &begin);
	snprintf(cell, sizeof(cell), "%.*s", (int)length, begin);
	show_date(&s->shown, cell, row->line);
}

static int next_row(struct sheet *s, struct pw_csv *csv, size_t rows, struct pw_csv_row *row,
		    char *why, size_t size)
{
	int result = pw_csv_next(csv, row, why, size);

	if (result == 1 && rows > PW_RUNS_MAX) {
		snprintf(why, size, "more than %d rows; expected fewer: split the sheet",
			 PW_RUNS_MAX);
		return -2;
	}
	if (result == 0 && rows == 0) {
		snprintf(why, size, "it is empty; expected a line of headings and rows");
		return -2;
	}
	if (result == 1 && rows == 0 && !s->headings && read_headings(s, row, why, size) < 0)
		return -2;
	return result;
}

/* Once through the file, each row but the headings. */
static int go_through(struct sheet *s, FILE *f,
		      void (*each)(struct sheet *s, const struct pw_csv_row *row), char *why,
		      size_t size)
{
	struct pw_csv_row row;
	struct pw_csv *csv;
	int result;

	rewind(f);
	result = pw_csv_open(f, &csv, why, size);
	if (result < 0)
		return result;
	for (size_t rows = 0; (result = next_row(s, csv, rows, &row, why, size)) == 1; rows++)
		if (rows && !blank(&row))
			each(s, &row);
	s->out->encoding = pw_csv_encoding(csv);
	s->out->separator = pw_csv_separator(csv);
	pw_csv_close(csv);
	return result;
}

int pw_sheet_read(FILE *f, const struct pw_sheet_options *o, struct pw_sheet **sheet, char *why,
		  size_t size)
{
	struct sheet s = { .o = o, .out = pw_sheet_new() };
	int result;

	*sheet = NULL;
	if (!s.out) {
		snprintf(why, size, "no memory for a run sheet");
		return -1;
	}
	result = go_through(&s, f, show_row, why, size);
	if (result == 0)
		result = decide_dates(&s, why, size);
	if (result == 0)
		result = go_through(&s, f, take_row, why, size);
	if (result == 0)
		result = pw_sheet_finish(s.out, "", why, size);
	for (size_t i = 0; i < s.zones; i++)
		pw_zone_free(s.zone[i].zone);
	if (result < 0)
		pw_sheet_free(s.out);
	else
		*sheet = s.out;
	return result;
}
