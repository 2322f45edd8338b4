/* SPDX-License-Identifier: Apache-2.0 */
/*
 * GTFS feeds. The one of tests/office/data/gtfs beside what gtfs-utils (npm) makes of it
 * (gtfs-check.js), noon less twelve hours beside date of coreutils, and small feeds with something
 * wrong. Run from the top of the tree.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "office/runs.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define FEED "tests/office/data/gtfs"
#define DAYS "service_id,start_date,end_date,monday,tuesday,wednesday,thursday,friday,saturday," \
	     "sunday\n"
#define DATES "service_id,date,exception_type\n"
#define STOPS "trip_id,stop_sequence,stop_id,arrival_time,departure_time\n"

static bool known(void *ctx, const char *bus)
{
	(void)ctx;
	return strcmp(bus, "bus-99") != 0;
}

static struct pw_sheet *take(const char *folder, int32_t from, int32_t to, const char *buses)
{
	const struct pw_gtfs_options o = { .from = from, .to = to, .buses = buses, .known = known };
	struct pw_sheet *s;
	char why[400];

	if (pw_gtfs_read(folder, &o, &s, why, sizeof(why)))
		fail_msg("%s", why);
	return s;
}

static void assert_note(const struct pw_sheet *s, size_t at, const char *file, uint32_t line,
			enum pw_row_why why, const char *words)
{
	assert_true(at < s->notes);
	assert_string_equal(s->note[at].words, words);
	assert_string_equal(s->note[at].file, file);
	assert_int_equal(s->note[at].line, line);
	assert_string_equal(pw_row_name(s->note[at].why), pw_row_name(why));
	assert_false(s->note[at].taken);
}

/* -- the feed -------------------------------------------------------------------------------- */

static void assert_run(const struct pw_run *run, const char *const *cell)
{
	char text[32];

	snprintf(text, sizeof(text), "%04d-%02d-%02d", run->date / 10000, run->date / 100 % 100,
		 run->date % 100);
	assert_string_equal(text, cell[0]);
	assert_string_equal(run->run, cell[1]);
	assert_int_equal(run->begin_ms, 1000 * strtoll(cell[2], NULL, 10));
	assert_int_equal(run->end_ms, 1000 * strtoll(cell[3], NULL, 10));
	assert_string_equal(run->route, cell[4]);
	assert_string_equal(run->place, cell[5]);
	assert_string_equal(run->zone, "America/Denver");
	assert_string_equal(run->driver, "");
	assert_string_equal(run->bus, "");
}

/* Both switches of summer time, a week about each. */
static void test_as_gtfs_utils(void **state)
{
	struct pw_sheet *span[] = { take(FEED, 20260302, 20260315, NULL),
				    take(FEED, 20261026, 20261108, NULL) };
	FILE *f = fopen("tests/office/data/gtfs.csv", "r");
	struct pw_csv_row row;
	struct pw_csv *csv;
	char why[200];
	size_t at = 0;

	(void)state;
	assert_non_null(f);
	assert_int_equal(pw_csv_open(f, &csv, why, sizeof(why)), 0);
	assert_int_equal(pw_csv_next(csv, &row, why, sizeof(why)), 1);
	for (; pw_csv_next(csv, &row, why, sizeof(why)) == 1; at++) {
		const bool second = at >= span[0]->runs;

		assert_true(at < span[0]->runs + span[1]->runs);
		assert_run(&span[second]->run[second ? at - span[0]->runs : at], row.field);
	}
	assert_int_equal(at, span[0]->runs + span[1]->runs);
	assert_true(at > 70);
	pw_csv_close(csv);
	fclose(f);
	for (int i = 0; i < 2; i++) {
		assert_int_equal(span[i]->notes, 1);
		assert_note(span[i], 0, "trips.txt", 8, PW_ROW_FREQUENCY,
			    "it runs by headway (frequencies.txt)");
		pw_sheet_free(span[i]);
	}
}

static const char *bus_of(const struct pw_sheet *s, int32_t date, const char *run)
{
	for (size_t i = 0; i < s->runs; i++)
		if (s->run[i].date == date && !strcmp(s->run[i].run, run))
			return s->run[i].bus;
	return "no such run";
}

/* A block has a bus, of all days or of one. */
static void test_buses(void **state)
{
	struct pw_sheet *s = take(FEED, 20260302, 20260315, "tests/office/data/gtfs-buses.csv");

	(void)state;
	assert_string_equal(bus_of(s, 20260303, "am-n3"), "bus-12");
	assert_string_equal(bus_of(s, 20260304, "pm-n3"), "bus-12");
	assert_string_equal(bus_of(s, 20260303, "am-s1"), "bus-7");
	assert_string_equal(bus_of(s, 20260304, "am-s1"), "bus-30");
	assert_string_equal(bus_of(s, 20260308, "game-1"), "bus-7");
	assert_string_equal(bus_of(s, 20260308, "night-1"), "bus-7");
	assert_string_equal(bus_of(s, 20260308, "night-2"), "");
	assert_note(s, 0, "buses", 6, PW_ROW_NO_BUS, "no bus \"bus-99\" is known here");
	pw_sheet_free(s);
	s = take(FEED, 20261031, 20261031, "tests/office/data/gtfs-buses.csv");
	assert_string_equal(bus_of(s, 20261031, "game-1"),
			    ""); /* the block's bus was of another day */
	pw_sheet_free(s);
}

/* -- feeds of one trip ----------------------------------------------------------------------- */

struct parts { /* NULL: as below; "": no such file */
	const char *agency, *calendar, *calendar_dates, *trips, *stop_times, *frequencies, *stops;
};

static void write_part(const char *folder, const char *name, const char *text)
{
	char path[128];
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s.txt", folder, name);
	unlink(path);
	if (!*text)
		return;
	f = fopen(path, "w");
	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

static const char *or(const char *text, const char *else_text)
{
	return text ? text : else_text;
}

static void write_feed(const char *folder, const struct parts *p)
{
	write_part(folder, "agency", or(p->agency, "agency_timezone\nAmerica/Denver\n"));
	write_part(folder, "calendar", or(p->calendar,
		   DAYS "S,20200101,20291231,1,1,1,1,1,1,1\n"));
	write_part(folder, "calendar_dates", or(p->calendar_dates, ""));
	write_part(folder, "trips", or(p->trips, "trip_id,route_id,service_id\nT,R,S\n"));
	write_part(folder, "stop_times", or(p->stop_times,
		   "trip_id,stop_sequence,stop_id,arrival_time,departure_time\n"
		   "T,1,a,,0:00:00\nT,2,b,01:00:00,\n"));
	write_part(folder, "frequencies", or(p->frequencies, ""));
	write_part(folder, "stops", or(p->stops, ""));
}

struct place {
	char folder[32];
};

static struct place make_place(void)
{
	struct place p = { "/tmp/gtfs.XXXXXX" };

	assert_non_null(mkdtemp(p.folder));
	return p;
}

static void leave(const struct place *p)
{
	char command[64];

	snprintf(command, sizeof(command), "rm -r %s", p->folder);
	assert_int_equal(system(command), 0);
}

/* Noon of every day of 2026, as date of coreutils has it. */
static void noons(const char *folder, const char *zone, int64_t noon_s[365])
{
	char command[160], path[64];
	FILE *f;

	snprintf(path, sizeof(path), "%s/days", folder);
	f = fopen(path, "w");
	assert_non_null(f);
	for (int i = 0; i < 365; i++) {
		const int32_t date = pw_date_from(pw_date_days(20260101) + i);

		fprintf(f, "%d-%02d-%02d 12:00\n", date / 10000, date / 100 % 100, date % 100);
	}
	fclose(f);
	snprintf(command, sizeof(command), "TZ=%s date -f %s +%%s", zone, path);
	f = popen(command, "r");
	assert_non_null(f);
	for (int i = 0; i < 365; i++)
		assert_int_equal(fscanf(f, "%ld", &noon_s[i]), 1);
	assert_int_equal(pclose(f), 0);
}

/* A trip from 0:00:00 to 1:00:00 begins twelve hours before noon, on the days of the switches
 * too. */
static void test_noon_less_twelve_hours(void **state)
{
	static const char *const zone[] = { "America/Denver", "America/St_Johns", "Europe/Paris",
					    "Australia/Lord_Howe", "America/Santiago",
						    "Asia/Kolkata" };
	const struct place p = make_place();
	int64_t noon_s[365];
	char agency[64];
	struct pw_sheet *s;

	(void)state;
	for (size_t z = 0; z < COUNT(zone); z++) {
		snprintf(agency, sizeof(agency), "agency_timezone\n%s\n", zone[z]);
		write_feed(p.folder, &(struct parts){ .agency = agency });
		noons(p.folder, zone[z], noon_s);
		s = take(p.folder, 20260101, 20261231, NULL);
		assert_int_equal(s->runs, 365);
		for (int i = 0; i < 365; i++) {
			assert_int_equal(s->run[i].begin_ms, (noon_s[i] - 43200) * 1000);
			assert_int_equal(s->run[i].end_ms, (noon_s[i] - 39600) * 1000);
			assert_string_equal(s->run[i].zone, zone[z]);
		}
		pw_sheet_free(s);
	}
	leave(&p);
}

/* Samoa had no 30 December 2011, so no noon on it. */
static void test_day_left_out(void **state)
{
	const struct place p = make_place();
	struct pw_sheet *s;

	(void)state;
	write_feed(p.folder, &(struct parts){
		.agency = "agency_timezone\nPacific/Apia\n", .calendar = "",
		.calendar_dates = "service_id,date,exception_type\nS,20111229,1\nS,20111230,1\n"
				  "S,20111231,1\n" });
	s = take(p.folder, 20111201, 20120101, NULL);
	assert_int_equal(s->runs, 2);
	assert_note(s, 0, "calendar.txt", 0, PW_ROW_NO_DAY,
		    "there was no noon of 20111230 in Pacific/Apia");
	pw_sheet_free(s);
	leave(&p);
}

/* Rows in no order; a first stop without a departure, a last one without an arrival; no
 * stops.txt. */
static void test_loose_feed(void **state)
{
	const struct place p = make_place();
	struct pw_sheet *s;

	(void)state;
	write_feed(p.folder, &(struct parts){
		.trips = "service_id,trip_id,route_id,shape_id\nS,U,R,\nS,T,\"R \"\"2\"\"\",x\n",
		.stop_times = "stop_id,arrival_time,departure_time,trip_id,stop_sequence\n"
			      "c,,07:30:00,T,30\na,7:00:00,,T,4\nz,09:00:00,09:05:00,X,1\n"
			      "b,,,T,20\nd,08:30:00,,U,2\nc,08:00:00,08:01:00,U,1\n" });
	s = take(p.folder, 20260105, 20260105, NULL);
	assert_int_equal(s->runs, 2);
	assert_int_equal(s->notes, 0);
	assert_string_equal(s->run[0].run, "U");
	assert_string_equal(s->run[1].run, "T");
	assert_string_equal(s->run[1].route, "R \"2\"");
	assert_string_equal(s->run[1].place, "c");
	assert_int_equal(s->run[1].begin_ms, pw_date_days(20260105) * PW_DAY_MS + 14 * 3600000);
	assert_int_equal(s->run[1].end_ms - s->run[1].begin_ms, 30 * 60000);
	pw_sheet_free(s);
	leave(&p);
}

/* -- what is not taken ----------------------------------------------------------------------- */

static void test_trips_refused(void **state)
{
	static const struct {
		struct parts p;
		uint32_t line;
		enum pw_row_why why;
		const char *words;
	} row[] = {
		{ { .stop_times = STOPS }, 2, PW_ROW_NO_TIME,
		  "no time at its first stop or at its last" },
		{ { .stop_times = STOPS "T,1,a,,\nT,2,b,7:00:00,\n" }, 2, PW_ROW_NO_TIME,
		  "no time at its first stop or at its last" },
		{ { .stop_times = STOPS "T,1,a,7:00:00,7:00:00\n" }, 2, PW_ROW_BACKWARDS,
		  "it ends no later than it begins" },
		{ { .stop_times = STOPS "T,1,a,,7:00:00\nT,2,b,6:00:00,\n" }, 2, PW_ROW_BACKWARDS,
		  "it ends no later than it begins" },
		{ { .stop_times = STOPS "T,1,a,,7:00:00\nT,2,b,23:00:01,\n" }, 2, PW_ROW_TOO_LONG,
		  "from begin to end it is more than 16 h" },
		{ { .stop_times = STOPS "T,1,a,,7:00\nT,2,b,8:00:00,\n" }, 2, PW_ROW_NO_TIME,
		  "stop_times.txt, line 2: expected a whole stop_sequence and times as HH:MM:SS" },
		{ { .stop_times = STOPS "T,1,a,,7:00:00\nT,b,2,8:00:00,\n" }, 2, PW_ROW_NO_TIME,
		  "stop_times.txt, line 3: expected a whole stop_sequence and times as HH:MM:SS" },
		{ { .trips = "trip_id,route_id,service_id\nT,R,Z\n" }, 2, PW_ROW_NO_DAY,
		  "its service_id is in no calendar" },
		{ { .trips = "trip_id,route_id,service_id\nT,R,S\nT,R,S\n" }, 3, PW_ROW_DUPLICATE,
		  "the same trip_id as line 2" },
		{ { .trips = "trip_id,route_id,service_id\n,R,S\n" }, 2, PW_ROW_NO_TEXT,
		  "trip_id and block_id; expected one line of at most 63 bytes" },
		{ { .frequencies = "trip_id,headway_secs\nT,600\n" }, 2, PW_ROW_FREQUENCY,
		  "it runs by headway (frequencies.txt)" },
	};
	const struct place p = make_place();
	struct pw_sheet *s;

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		write_feed(p.folder, &row[i].p);
		s = take(p.folder, 20260105, 20260106, NULL);
		assert_int_equal(s->runs, row[i].why == PW_ROW_DUPLICATE ? 2 : 0);
		assert_int_equal(s->notes, 1);
		assert_int_equal(s->refused, 1);
		assert_note(s, 0, "trips.txt", row[i].line, row[i].why, row[i].words);
		pw_sheet_free(s);
	}
	leave(&p);
}

static void assert_no_feed(const char *folder, int32_t from, int32_t to, const char *words)
{
	const struct pw_gtfs_options o = { .from = from, .to = to };
	struct pw_sheet *s;
	char why[400];

	assert_int_equal(pw_gtfs_read(folder, &o, &s, why, sizeof(why)), -2);
	assert_null(s);
	assert_string_equal(why, words);
}

/* What holds for the feed as a whole must be right, or nothing is taken. */
static void test_no_feed(void **state)
{
	static const struct { struct parts p; const char *why; } row[] = {
		{ { .agency = "agency_timezone\n" }, "agency.txt: no agency_timezone; expected "
		 "one" },
		{ { .agency = "agency_name\nAlder\n" },
		  "agency.txt: line 1: no column agency_timezone" },
		{ { .agency = "agency_timezone\nUTC\nEurope/Paris\n" },
		  "agency.txt: line 3: another agency_timezone; expected UTC as before" },
		{ { .agency = "agency_timezone\n../../etc/passwd\n" },
		  "agency.txt: line 2: \"../../etc/passwd\" is no name of a time zone; expected "
			  "one "
		  "like America/Denver" },
		{ { .agency = "\n" }, "agency.txt: it is empty" },
		{ { .calendar = DAYS "S,20260230,20261231,1,1,1,1,1,1,1\n" },
		  "calendar.txt: line 2: \"20260230\" is no day; expected YYYYMMDD" },
		{ { .calendar = DAYS "S,20260101,2026-12-31,1,1,1,1,1,1,1\n" },
		  "calendar.txt: line 2: \"2026-12-31\" is no day; expected YYYYMMDD" },
		{ { .calendar_dates = DATES "S,20260105,3\n" },
		  "calendar_dates.txt: line 2: exception_type; expected 1 or 2" },
		{ { .trips = "trip_id,route_id\nT,R\n" }, "trips.txt: line 1: no column "
		 "service_id" },
		{ { .stop_times = STOPS "T,1,\"a,,7:00:00\n" },
		  "stop_times.txt: line 2: a quote is opened and never closed" },
	};
	const struct place p = make_place();
	char words[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		write_feed(p.folder, &row[i].p);
		assert_no_feed(p.folder, 20260105, 20260106, row[i].why);
	}
	write_feed(p.folder, &(struct parts){ .trips = "" });
	snprintf(words, sizeof(words), "%s/trips.txt: No such file or directory", p.folder);
	assert_no_feed(p.folder, 20260105, 20260106, words);
	write_feed(p.folder, &(struct parts){ 0 });
	assert_no_feed(p.folder, 20260106, 20260105,
		       "from 20260106 to 20260105; expected at most 400 days");
	assert_no_feed(p.folder, 20250101, 20260205,
		       "from 20250101 to 20260205; expected at most 400 days");
	assert_no_feed(p.folder, 20260230, 20260301,
		       "from 20260230 to 20260301; expected at most 400 days");
	leave(&p);
}

/* Names are cut between characters; a weekday counts only if it says 1; service may be added and
 * taken away by dates. */
static void test_details(void **state)
{
	const struct place p = make_place();
	struct pw_sheet *s;

	(void)state;
	write_feed(p.folder, &(struct parts){
		.calendar = DAYS "S,20260105,20260111,0,1,,2,1,0,0\n",
		.calendar_dates = DATES "S,20260106,2\nS,20260110,1\nS,20260112,1\n",
		.stops = "stop_id,stop_name\n"
			 "b,12345678901234567890123456789012345678901234567890123456789012"
			 "\xc3\xa9\n" });
	s = take(p.folder, 20260101, 20260131, NULL);
	assert_int_equal(s->runs, 3);
	assert_int_equal(s->run[0].date, 20260109); /* Friday */
	assert_int_equal(s->run[1].date, 20260110);
	assert_int_equal(s->run[2].date, 20260112);
	assert_string_equal(s->run[0].place,
			    "12345678901234567890123456789012345678901234567890123456789012");
	pw_sheet_free(s);
	s = take(p.folder, 20260110, 20260110, NULL);
	assert_int_equal(s->runs, 1);
	pw_sheet_free(s);
	leave(&p);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_as_gtfs_utils), cmocka_unit_test(test_buses),
		cmocka_unit_test(test_noon_less_twelve_hours), cmocka_unit_test(test_day_left_out),
		cmocka_unit_test(test_loose_feed), cmocka_unit_test(test_trips_refused),
		cmocka_unit_test(test_no_feed), cmocka_unit_test(test_details),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
