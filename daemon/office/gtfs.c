/* SPDX-License-Identifier: Apache-2.0 */
/*
 * GTFS Schedule (gtfs.org/documentation/schedule/reference) into planned runs: one for every trip
 * of every day of its service. Its files are read in the order of what they refer to. Times count
 * from noon less twelve hours, which on the days that clocks change is not midnight.
 */
#include <errno.h>
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "postwalk/text.h"
#include "runs.h"

#define WORDS ((PW_SPAN_DAYS_MAX + 63) / 64)
#define COLUMNS_MAX 12
#define NOON_MS 43200000

struct service {
	struct pw_keyed key;
	uint64_t day[WORDS]; /* bit i: in service i days after from */
};

struct named { /* a stop, a route; a block with the bus that has it */
	struct pw_keyed key;
	char name[PW_RUN_TEXT];
};

struct trip {
	struct pw_keyed key;
	struct trip *next;           /* in the order of the file */
	uint32_t line;
	const struct service *service;
	struct pw_keyed *block;      /* its id alone; NULL: none */
	char route[PW_RUN_TEXT], place[PW_RUN_TEXT];
	long first, last;            /* stop_sequence; LONG_MAX, -1: no stop yet */
	int32_t begin_s, end_s;      /* -1: not told */
	bool frequent, refused;
};

struct feed {
	const struct pw_gtfs_options *o;
	struct pw_sheet *out;
	int32_t from, days;          /* since 1970-01-01; how many */
	char zone_name[PW_RUN_TEXT];
	struct pw_zone *zone;
	void *services, *routes, *stops, *blocks, *buses, *trips; /* trees */
	struct trip *first, **end;
	struct trip *at;             /* the trip of the last row: most rows are of the same */
};

/* One file: its columns, of which the first few must be there, and what a row does. */
struct file {
	const char *name;
	bool needed;
	size_t must;
	const char *column[COLUMNS_MAX];
	int (*row)(struct feed *f, const char *const *cell, uint32_t line, char *why, size_t size);
};

static int no_memory(char *why, size_t size)
{
	snprintf(why, size, "no memory for the feed");
	return -1;
}

/* -- cells ----------------------------------------------------------------------------------- */

/* As much as fits, whole characters; nothing of what is no line of text. */
static void fit(char to[PW_RUN_TEXT], const char *text)
{
	size_t length = strnlen(text, PW_RUN_TEXT - 1);

	if (text[length])
		while (length && ((unsigned char)text[length] & 0xc0) == 0x80)
			length--;
	memcpy(to, text, length);
	to[length] = '\0';
	if (!pw_said_ok(to))
		to[0] = '\0';
}

static bool whole_number(const char *text, long most, long *value)
{
	char *end;

	errno = 0;
	*value = strtol(text, &end, 10);
	return *text >= '0' && *text <= '9' && !*end && !errno && *value <= most;
}

static int read_day(const char *text, int32_t *date, char *why, size_t size)
{
	char shown[48];
	long value;

	if (strlen(text) != 8 || !whole_number(text, 99999999, &value) ||
	    !pw_date_ok((int32_t)value)) {
		snprintf(why, size, "\"%s\" is no day; expected YYYYMMDD", pw_shown(text, shown));
		return -2;
	}
	*date = (int32_t)value;
	return 0;
}

/* H:MM:SS or HH:MM:SS, past 24 h too. "": -1, fine. */
static bool read_time(const char *text, int32_t *s)
{
	const size_t length = strlen(text);
	int h, m, second, used = 0;

	*s = -1;
	if (!length)
		return true;
	if ((length != 7 && length != 8) || strspn(text, "0123456789:") != length ||
	    sscanf(text, "%2d:%2d:%2d%n", &h, &m, &second, &used) != 3 || (size_t)used != length ||
	    m > 59 || second > 59)
		return false;
	*s = (h * 60 + m) * 60 + second;
	return true;
}

/* -- agency.txt, calendar.txt, calendar_dates.txt -------------------------------------------- */

static int agency_row(struct feed *f, const char *const *cell, uint32_t line, char *why,
		      size_t size)
{
	(void)line;
	if (f->zone && strcmp(f->zone_name, cell[0])) {
		snprintf(why, size, "another agency_timezone; expected %s as before", f->zone_name);
		return -2;
	}
	if (f->zone)
		return 0;
	if (!*cell[0] || strlen(cell[0]) >= sizeof(f->zone_name)) {
		snprintf(why, size, "no agency_timezone; expected one like America/Denver");
		return -2;
	}
	strcpy(f->zone_name, cell[0]);
	return pw_zone_open(cell[0], &f->zone, why, size);
}

static void set_day(const struct feed *f, struct service *s, int32_t days, bool on)
{
	const int32_t i = days - f->from;

	if (i < 0 || i >= f->days)
		return;
	if (on)
		s->day[i / 64] |= UINT64_C(1) << i % 64;
	else
		s->day[i / 64] &= ~(UINT64_C(1) << i % 64);
}

/* service_id, start_date, end_date, monday ... sunday */
static int calendar_row(struct feed *f, const char *const *cell, uint32_t line, char *why,
			size_t size)
{
	struct service *s = pw_tree_add(&f->services, cell[0], sizeof(*s));
	int32_t from, to;

	(void)line;
	if (!s)
		return no_memory(why, size);
	if (read_day(cell[1], &from, why, size) < 0 || read_day(cell[2], &to, why, size) < 0)
		return -2;
	for (int32_t day = f->from; day < f->from + f->days; day++)
		if (day >= pw_date_days(from) && day <= pw_date_days(to) &&
		    !strcmp(cell[2 + pw_date_weekday(day)], "1"))
			set_day(f, s, day, true);
	return 0;
}

/* service_id, date, exception_type */
static int exception_row(struct feed *f, const char *const *cell, uint32_t line, char *why,
			 size_t size)
{
	struct service *s = pw_tree_add(&f->services, cell[0], sizeof(*s));
	const bool on = !strcmp(cell[2], "1");
	int32_t date;

	(void)line;
	if (!s)
		return no_memory(why, size);
	if (read_day(cell[1], &date, why, size) < 0)
		return -2;
	if (!on && strcmp(cell[2], "2")) {
		snprintf(why, size, "exception_type; expected 1 or 2");
		return -2;
	}
	set_day(f, s, pw_date_days(date), on);
	return 0;
}

/* -- routes.txt, stops.txt, and which bus has a block ---------------------------------------- */

static int name_row(void **tree, const char *id, const char *name, char *why, size_t size)
{
	struct named *n = pw_tree_add(tree, id, sizeof(*n));

	if (!n)
		return no_memory(why, size);
	fit(n->name, name);
	return 0;
}

/* route_id, route_short_name, route_long_name */
static int route_row(struct feed *f, const char *const *cell, uint32_t line, char *why, size_t size)
{
	(void)line;
	return name_row(&f->routes, cell[0], *cell[1] ? cell[1] : cell[2], why, size);
}

static int stop_row(struct feed *f, const char *const *cell, uint32_t line, char *why, size_t size)
{
	(void)line;
	return name_row(&f->stops, cell[0], cell[1], why, size);
}

/* The name of an id, or the id. */
static void name_of(void *const *tree, const char *id, char to[PW_RUN_TEXT])
{
	const struct named *n = pw_tree_find(tree, id);

	fit(to, n && n->name[0] ? n->name : id);
}

static void block_key(char *key, size_t size, const char *block, int32_t date)
{
	snprintf(key, size, "%08d %s", date, block);
}

/* block_id, bus, date: of a date, or of all. */
static int bus_row(struct feed *f, const char *const *cell, uint32_t line, char *why, size_t size)
{
	char key[128], shown[48], digits[16];
	int32_t date = 0;

	snprintf(digits, sizeof(digits), "%s", cell[2]);
	if (strlen(digits) == 10 && digits[4] == '-' && digits[7] == '-')
		snprintf(digits, sizeof(digits), "%.4s%.2s%.2s", cell[2], cell[2] + 5, cell[2] + 8);
	if (*cell[2] && read_day(digits, &date, why, size) < 0)
		return -2;
	if (!pw_chain_word(cell[1]) || strlen(cell[1]) >= PW_NAME_MAX ||
	    (f->o->known && !f->o->known(f->o->ctx, cell[1]))) {
		pw_sheet_note(f->out, "buses", line, PW_ROW_NO_BUS, false,
			      "no bus \"%s\" is known here", pw_shown(cell[1], shown));
		return 0;
	}
	block_key(key, sizeof(key), cell[0], date);
	return name_row(&f->buses, key, cell[1], why, size);
}

static void bus_of(const struct feed *f, const struct trip *t, int32_t date, char bus[PW_NAME_MAX])
{
	const struct named *n = NULL;
	char key[128];

	bus[0] = '\0';
	if (!t->block)
		return;
	block_key(key, sizeof(key), t->block->id, date);
	n = pw_tree_find(&f->buses, key);
	if (!n) {
		block_key(key, sizeof(key), t->block->id, 0);
		n = pw_tree_find(&f->buses, key);
	}
	if (n)
		snprintf(bus, PW_NAME_MAX, "%.31s", n->name);
}

/* -- trips.txt, frequencies.txt, stop_times.txt ---------------------------------------------- */

static void refuse(struct feed *f, struct trip *t, enum pw_row_why why, const char *words)
{
	if (!t->refused)
		pw_sheet_note(f->out, "trips.txt", t->line, why, false, "%s", words);
	t->refused = true;
}

/* trip_id, route_id, service_id, block_id */
static int trip_row(struct feed *f, const char *const *cell, uint32_t line, char *why, size_t size)
{
	struct trip *t = pw_tree_find(&f->trips, cell[0]);

	if (t) {
		pw_sheet_note(f->out, "trips.txt", line, PW_ROW_DUPLICATE, false,
			      "the same trip_id as line %u", t->line);
		return 0;
	}
	t = pw_tree_add(&f->trips, cell[0], sizeof(*t));
	if (!t)
		return no_memory(why, size);
	if (*cell[3] && !(t->block = pw_tree_add(&f->blocks, cell[3], sizeof(*t->block))))
		return no_memory(why, size);
	t->line = line;
	t->first = LONG_MAX;
	t->last = -1;
	t->begin_s = t->end_s = -1;
	t->service = pw_tree_find(&f->services, cell[2]);
	name_of(&f->routes, cell[1], t->route);
	*f->end = t;
	f->end = &t->next;
	if (!t->service)
		refuse(f, t, PW_ROW_NO_DAY, "its service_id is in no calendar");
	if (!*cell[0] || strlen(cell[0]) >= PW_RUN_TEXT || !pw_said_ok(cell[0]) ||
	    strlen(cell[3]) >= PW_RUN_TEXT)
		refuse(f, t, PW_ROW_NO_TEXT, "trip_id and block_id; expected one line of at most "
		       "63 bytes");
	return 0;
}

/* Runs by headway have no time of their own. */
static int frequency_row(struct feed *f, const char *const *cell, uint32_t line, char *why,
			 size_t size)
{
	struct trip *t = pw_tree_find(&f->trips, cell[0]);

	(void)line, (void)why, (void)size;
	if (t)
		refuse(f, t, PW_ROW_FREQUENCY, "it runs by headway (frequencies.txt)");
	return 0;
}

static struct trip *trip_of(struct feed *f, const char *id)
{
	if (!f->at || strcmp(f->at->key.id, id))
		f->at = pw_tree_find(&f->trips, id);
	return f->at;
}

/* trip_id, stop_sequence, stop_id, arrival_time, departure_time */
static int stop_time_row(struct feed *f, const char *const *cell, uint32_t line, char *why,
			 size_t size)
{
	struct trip *t = trip_of(f, cell[0]);
	int32_t arrival_s, departure_s;
	char words[100];
	long sequence;

	(void)why, (void)size;
	if (!t)
		return 0;
	if (!whole_number(cell[1], INT32_MAX, &sequence) || !read_time(cell[3], &arrival_s) ||
	    !read_time(cell[4], &departure_s)) {
		snprintf(words, sizeof(words), "stop_times.txt, line %u: expected a whole "
			 "stop_sequence and times as HH:MM:SS", line);
		refuse(f, t, PW_ROW_NO_TIME, words);
		return 0;
	}
	if (sequence < t->first) {
		t->first = sequence;
		t->begin_s = departure_s >= 0 ? departure_s : arrival_s;
	}
	if (sequence > t->last) {
		t->last = sequence;
		t->end_s = arrival_s >= 0 ? arrival_s : departure_s;
		name_of(&f->stops, cell[2], t->place);
	}
	return 0;
}

/* -- files ----------------------------------------------------------------------------------- */

static const struct file files[] = {
	{ "agency.txt", true, 1, { "agency_timezone" }, agency_row },
	{ "calendar.txt", false, 10,
	  { "service_id", "start_date", "end_date", "monday", "tuesday", "wednesday", "thursday",
	    "friday", "saturday", "sunday" }, calendar_row },
	{ "calendar_dates.txt", false, 3, { "service_id", "date", "exception_type" },
	  exception_row },
	{ "routes.txt", false, 1, { "route_id", "route_short_name", "route_long_name" },
	  route_row },
	{ "stops.txt", false, 1, { "stop_id", "stop_name" }, stop_row },
	{ "trips.txt", true, 3, { "trip_id", "route_id", "service_id", "block_id" }, trip_row },
	{ "frequencies.txt", false, 1, { "trip_id" }, frequency_row },
	{ "stop_times.txt", true, 5,
	  { "trip_id", "stop_sequence", "stop_id", "arrival_time", "departure_time" },
	  stop_time_row },
};
static const struct file buses = { "buses", true, 2, { "block_id", "bus", "date" }, bus_row };

static int read_headings(const struct file *file, const struct pw_csv_row *row, size_t *at,
			 char *why, size_t size)
{
	for (size_t c = 0; c < COLUMNS_MAX && file->column[c]; c++) {
		for (at[c] = 0; at[c] < row->count; at[c]++)
			if (!strcmp(row->field[at[c]], file->column[c]))
				break;
		if (at[c] == row->count && c < file->must) {
			snprintf(why, size, "no column %s", file->column[c]);
			return -2;
		}
	}
	return 0;
}

static int read_rows(struct feed *f, const struct file *file, struct pw_csv *csv, uint32_t *line,
		     char *why, size_t size)
{
	const char *cell[COLUMNS_MAX] = { 0 };
	size_t at[COLUMNS_MAX] = { 0 };
	struct pw_csv_row row;
	bool headings = true;
	int result;

	while ((result = pw_csv_next(csv, &row, why, size)) == 1) {
		*line = row.line;
		for (size_t c = 0; c < COLUMNS_MAX && file->column[c]; c++)
			cell[c] = at[c] < row.count ? row.field[at[c]] : "";
		result = headings ? read_headings(file, &row, at, why, size) :
				    file->row(f, cell, row.line, why, size);
		if (result < 0)
			return result;
		headings = false;
	}
	*line = 0;
	if (result == 0 && headings) {
		snprintf(why, size, "it is empty");
		return -2;
	}
	return result;
}

static int read_file(struct feed *f, const struct file *file, const char *path, char *why,
		     size_t size)
{
	char words[240] = "";
	struct pw_csv *csv = NULL;
	uint32_t line = 0;
	FILE *in = fopen(path, "re");
	int result;

	if (!in && errno == ENOENT && !file->needed)
		return 0;
	if (!in) {
		snprintf(why, size, "%s: %s", path, strerror(errno));
		return -2;
	}
	result = pw_csv_open(in, &csv, words, sizeof(words));
	if (result == 0)
		result = read_rows(f, file, csv, &line, words, sizeof(words));
	if (result < 0 && line)
		snprintf(why, size, "%s: line %u: %s", file->name, line, words);
	else if (result < 0)
		snprintf(why, size, "%s: %s", file->name, words);
	pw_csv_close(csv);
	fclose(in);
	return result;
}

static int read_files(struct feed *f, const char *folder, char *why, size_t size)
{
	char path[4096];
	int result = 0;

	if (f->o->buses)
		result = read_file(f, &buses, f->o->buses, why, size);
	for (size_t i = 0; i < sizeof(files) / sizeof(files[0]) && result == 0; i++) {
		if ((size_t)snprintf(path, sizeof(path), "%s/%s", folder, files[i].name) >=
		    sizeof(path)) {
			snprintf(why, size, "the path of the folder is too long");
			return -2;
		}
		result = read_file(f, &files[i], path, why, size);
	}
	if (result == 0 && !f->zone) {
		snprintf(why, size, "agency.txt: no agency_timezone; expected one");
		result = -2;
	}
	return result;
}

/* -- runs ------------------------------------------------------------------------------------ */

static void check_times(struct feed *f, struct trip *t)
{
	if (t->begin_s < 0 || t->end_s < 0)
		refuse(f, t, PW_ROW_NO_TIME, "no time at its first stop or at its last");
	else if (t->end_s <= t->begin_s)
		refuse(f, t, PW_ROW_BACKWARDS, "it ends no later than it begins");
	else if ((t->end_s - t->begin_s) * INT64_C(1000) > PW_RUN_MS_MAX)
		refuse(f, t, PW_ROW_TOO_LONG, "from begin to end it is more than 16 h");
}

static void lay_run(struct feed *f, const struct trip *t, int32_t date, int64_t base_ms)
{
	struct pw_run run = { .date = date, .line = t->line };

	run.begin_ms = base_ms + t->begin_s * INT64_C(1000);
	run.end_ms = base_ms + t->end_s * INT64_C(1000);
	bus_of(f, t, date, run.bus);
	strcpy(run.run, t->key.id);
	strcpy(run.route, t->route);
	strcpy(run.place, t->place);
	strcpy(run.zone, f->zone_name);
	pw_sheet_add(f->out, &run);
}

static int lay_day(struct feed *f, int32_t i, char *why, size_t size)
{
	const int32_t date = pw_date_from(f->from + i);
	int64_t noon_ms[2];

	if (!pw_zone_moments(f->zone, date, NOON_MS, noon_ms)) {
		pw_sheet_note(f->out, "calendar.txt", 0, PW_ROW_NO_DAY, false,
			      "there was no noon of %d in %s", date, f->zone_name);
		return 0;
	}
	for (const struct trip *t = f->first; t; t = t->next) {
		if (t->refused || !(t->service->day[i / 64] >> i % 64 & 1))
			continue;
		if (f->out->runs == PW_RUNS_MAX) {
			snprintf(why, size, "more than %d runs; expected fewer: ask for fewer days",
				 PW_RUNS_MAX);
			return -2;
		}
		lay_run(f, t, date, noon_ms[0] - NOON_MS);
	}
	return 0;
}

static int read_feed(struct feed *f, const char *folder, char *why, size_t size)
{
	int result = read_files(f, folder, why, size);

	if (result < 0)
		return result;
	for (struct trip *t = f->first; t; t = t->next)
		if (!t->refused)
			check_times(f, t);
	for (int32_t i = 0; i < f->days && result == 0; i++)
		result = lay_day(f, i, why, size);
	return result < 0 ? result : pw_sheet_finish(f->out, "trips.txt", why, size);
}

int pw_gtfs_read(const char *folder, const struct pw_gtfs_options *o, struct pw_sheet **sheet,
		 char *why, size_t size)
{
	struct feed f = { .o = o, .out = pw_sheet_new() };
	int result = -2;

	*sheet = NULL;
	f.end = &f.first;
	if (!f.out)
		return no_memory(why, size);
	if (!pw_date_ok(o->from) || !pw_date_ok(o->to) || o->from > o->to ||
	    pw_date_days(o->to) - pw_date_days(o->from) >= PW_SPAN_DAYS_MAX) {
		snprintf(why, size, "from %d to %d; expected at most %d days", o->from, o->to,
			 PW_SPAN_DAYS_MAX);
	} else {
		f.from = pw_date_days(o->from);
		f.days = pw_date_days(o->to) - f.from + 1;
		result = read_feed(&f, folder, why, size);
	}
	pw_tree_free(f.services);
	pw_tree_free(f.routes);
	pw_tree_free(f.stops);
	pw_tree_free(f.blocks);
	pw_tree_free(f.buses);
	pw_tree_free(f.trips);
	pw_zone_free(f.zone);
	if (result < 0)
		pw_sheet_free(f.out);
	else
		*sheet = f.out;
	return result;
}
