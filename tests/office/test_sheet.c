/* SPDX-License-Identifier: Apache-2.0 */
/* Run sheets: what is taken, what is not, line by line, and which file is none. Run from the top of
 * the tree. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "office/runs.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define HEAD "date,bus,run,route,driver,begin,end,place\n"
#define M INT64_C(60000)

static bool known(void *ctx, const char *bus)
{
	(void)ctx;
	return strcmp(bus, "bus-99") != 0;
}

static struct pw_sheet_options denver = { "America/Denver", known, NULL };

static int read_text(const char *text, struct pw_sheet **s, char *why, size_t size)
{
	FILE *f = fmemopen((void *)(uintptr_t)text, strlen(text), "r");
	int result;

	assert_non_null(f);
	result = pw_sheet_read(f, &denver, s, why, size);
	fclose(f);
	return result;
}

static struct pw_sheet *take(const char *text)
{
	struct pw_sheet *s;
	char why[200];

	if (read_text(text, &s, why, sizeof(why)))
		fail_msg("%s", why);
	return s;
}

static int64_t utc(int32_t date, int h, int m)
{
	return pw_date_days(date) * PW_DAY_MS + (h * 60 + m) * M;
}

/* One row, and nothing said of it. */
static struct pw_run take_one(const char *text)
{
	struct pw_sheet *s = take(text);
	struct pw_run run;

	if (s->notes)
		fail_msg("line %u: %s", s->note[0].line, s->note[0].words);
	assert_int_equal(s->runs, 1);
	assert_int_equal(s->refused, 0);
	run = s->run[0];
	pw_sheet_free(s);
	return run;
}

static void assert_note(const struct pw_sheet *s, size_t at, uint32_t line, enum pw_row_why why,
			bool taken, const char *words)
{
	assert_true(at < s->notes);
	assert_string_equal(s->note[at].words, words);
	assert_int_equal(s->note[at].line, line);
	assert_string_equal(pw_row_name(s->note[at].why), pw_row_name(why));
	assert_int_equal(s->note[at].taken, taken);
	assert_string_equal(s->note[at].file, "");
}

/* The only row, on line 2, is refused, with these words. */
static void assert_refused(const char *row, enum pw_row_why why, const char *words)
{
	struct pw_sheet *s;
	char text[400];

	snprintf(text, sizeof(text), HEAD "%s\n", row);
	s = take(text);
	assert_int_equal(s->runs, 0);
	assert_int_equal(s->refused, 1);
	assert_int_equal(s->notes, 1);
	assert_note(s, 0, 2, why, false, words);
	pw_sheet_free(s);
}

/* -- what is taken --------------------------------------------------------------------------- */

static void test_a_row(void **state)
{
	const struct pw_run run = take_one(HEAD
		"2026-09-14,bus-12,am-3,North 3,d-41,06:40,08:05:30,Elm School\n");

	(void)state;
	assert_int_equal(run.date, 20260914);
	assert_int_equal(run.line, 2);
	assert_string_equal(run.bus, "bus-12");
	assert_string_equal(run.run, "am-3");
	assert_string_equal(run.route, "North 3");
	assert_string_equal(run.driver, "d-41");
	assert_string_equal(run.place, "Elm School");
	assert_string_equal(run.zone, "America/Denver");
	assert_int_equal(run.begin_ms, utc(20260914, 12, 40));
	assert_int_equal(run.end_ms, utc(20260914, 14, 5) + 30000);
}

/* Any order, other headings (docs/runs.md), spaces about, what may be left out; a zone of the
 * row. */
static void test_headings(void **state)
{
	static const char *const text[] = {
		"end,begin,run,bus,date\n8:05,6:40,am-3,bus-12,2026-09-14\n",
		" Date , BUS ,Run,Begin,End\n 2026-09-14 , bus-12 , am-3 , 06:40 , 08:05 \n",
		"Service Date,Vehicle ID,Trip,Start-Time,Finish\n"
		"2026-09-14,bus-12,am-3,6:40,8:05\n",
		"fecha;autob\xc3\xbas;viaje;inicio;fin\n2026-09-14;bus-12;am-3;06:40;08:05\n",
		"jour\tautobus\tcourse\td\xe9" "but\tfin\n2026-09-14\tbus-12\tam-3\t06:40\t08:05\n",
		"date,bus,run,begin,end,zone\n2026-09-14,bus-12,am-3,14:40,16:05,Europe/Paris\n",
		"date,bus,run,begin,end\r\n2026-09-14,bus-12,am-3,6:40 AM,8:05am\r\n,,,,\r\n\r\n",
		"date,bus,run,begin,end\n"
		"\"2026-09-14\",\"bus-12\",\"am-3\",\"06:40\",\"08:05\",,\n",
	};

	(void)state;
	for (size_t i = 0; i < COUNT(text); i++) {
		const struct pw_run run = take_one(text[i]);

		assert_int_equal(run.date, 20260914);
		assert_string_equal(run.bus, "bus-12");
		assert_string_equal(run.run, "am-3");
		assert_int_equal(run.begin_ms, utc(20260914, 12, 40));
		assert_int_equal(run.end_ms, utc(20260914, 14, 5));
		assert_string_equal(run.driver, "");
	}
}

static void test_past_midnight(void **state)
{
	static const struct { const char *begin, *end; int64_t minutes, lasts; } row[] = {
		{ "23:10", "24:30", 23 * 60 + 10, 80 }, { "23:10", "00:30", 23 * 60 + 10, 80 },
		{ "24:10", "25:00", 24 * 60 + 10, 50 }, { "18:00", "09:59", 18 * 60, 959 },
		{ "18:00", "10:00", 18 * 60, 960 },     { "0:00", "0:01", 0, 1 },
		{ "12:00 AM", "12:30 am", 0, 30 },      { "12:00 PM", "1:00PM", 720, 60 },
		{ "11:45 PM", "12:15 AM", 23 * 60 + 45, 30 },
	};
	char text[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		snprintf(text, sizeof(text), HEAD "2026-09-14,b,r,,,%s,%s,\n", row[i].begin,
			 row[i].end);
		const struct pw_run run = take_one(text);

		assert_int_equal(run.date, 20260914);
		assert_int_equal(run.begin_ms, utc(20260914, 6, 0) + row[i].minutes * M);
		assert_int_equal(run.end_ms - run.begin_ms, row[i].lasts * M);
	}
}

/* Windows-1252 is recognised, and said. */
static void test_encodings(void **state)
{
	struct pw_sheet *s = take("date;bus;run;begin;end;place\n"
				  "2026-09-14;b;r;6:40;8:05;\xc9" "cole d\x92\xc9t\xe9\n");

	(void)state;
	assert_int_equal(s->encoding, PW_CSV_WINDOWS_1252);
	assert_int_equal(s->separator, ';');
	assert_string_equal(s->run[0].place, "\xc3\x89" "cole d\xe2\x80\x99\xc3\x89t\xc3\xa9");
	pw_sheet_free(s);
	s = take("\xef\xbb\xbf" "date,bus,run,begin,end\n2026-09-14,b,r,6:40,8:05\n");
	assert_int_equal(s->encoding, PW_CSV_UTF8_MARK);
	assert_int_equal(s->runs, 1);
	pw_sheet_free(s);
}

/* -- dates ----------------------------------------------------------------------------------- */

static void assert_dates(const char *a, const char *b, enum pw_day_order order, int32_t first,
			 int32_t second)
{
	struct pw_sheet *s;
	char text[200];

	snprintf(text, sizeof(text), HEAD "%s,b,1,,,6:40,8:05,\n%s,b,2,,,6:40,8:05,\n", a, b);
	s = take(text);
	assert_int_equal(s->order, order);
	assert_int_equal(s->runs, 2);
	assert_int_equal(s->run[0].date, first);
	assert_int_equal(s->run[1].date, second);
	pw_sheet_free(s);
}

static void test_dates(void **state)
{
	(void)state;
	assert_dates("2026-09-04", "2026-09-05", PW_DAY_ISO, 20260904, 20260905);
	assert_dates("04/09/2026", "13/09/2026", PW_DAY_FIRST, 20260904, 20260913);
	assert_dates("9/4/2026", "9/13/2026", PW_MONTH_FIRST, 20260904, 20260913);
	assert_dates("4.9.2026", "31.12.2026", PW_DAY_FIRST, 20260904, 20261231);
	assert_dates("09/09/2026", "10/10/2026", PW_DAY_FIRST, 20260909, 20261010); /* either way */
	assert_dates("2026-09-04", "9/13/2026", PW_MONTH_FIRST, 20260904, 20260913);
	assert_dates("29/02/2028", "01/03/2028", PW_DAY_FIRST, 20280229, 20280301);
}

/* A date that is none in either order shows nothing. */
static void test_dates_refused(void **state)
{
	static const struct { const char *a, *b, *why; } row[] = {
		{ "04/09/2026", "05/09/2026", "the date of line 2 may have the day first or the "
		 "month, "
		  "and no other line shows which; expected dates as YYYY-MM-DD" },
		{ "04/09/2026", "31/31/2026", "the date of line 2 may have the day first or the "
		 "month, "
		  "and no other line shows which; expected dates as YYYY-MM-DD" },
		{ "04/13/2026", "13/04/2026", "the date of line 3 has the day first, that of line "
		 "2 the "
		  "month; expected dates as YYYY-MM-DD" },
	};
	struct pw_sheet *s;
	char text[200], why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		snprintf(text, sizeof(text), HEAD "%s,b,1,,,6:40,8:05,\n%s,b,2,,,6:40,8:05,\n",
			 row[i].a, row[i].b);
		assert_int_equal(read_text(text, &s, why, sizeof(why)), -2);
		assert_string_equal(why, row[i].why);
		assert_null(s);
	}
	assert_refused("2026-02-30,b,r,,,6:40,8:05,", PW_ROW_NO_DAY, "there is no day 2026-02-30");
	assert_refused("31/31/2026,b,r,,,6:40,8:05,", PW_ROW_NO_DAY, "there is no day 31/31/2026");
	assert_refused("31/04/2026,b,r,,,6:40,8:05,", PW_ROW_NO_DAY, "there is no day 31/04/2026");
	for (size_t i = 0; i < 8; i++) {
		static const char *const bad[] = { "", "14 Sept", "2026-9-14", "26-09-14",
						  "14/09/26",
						   "2026/09/14", "20260914", "2026-09-14T06:40" };
		char line[100], words[100];

		snprintf(line, sizeof(line), "%s,b,r,,,6:40,8:05,", bad[i]);
		snprintf(words, sizeof(words), "\"%s\" is no date; expected YYYY-MM-DD", bad[i]);
		assert_refused(line, PW_ROW_NO_DAY, words);
	}
}

/* -- the switches of summer time ------------------------------------------------------------- */

/* America/Denver, 8 March 2026: 02:00 to 03:00 was not; 1 November: 01:00 to 02:00 was twice. */
static void test_skipped_hour(void **state)
{
	(void)state;
	assert_refused("2026-03-08,b,r,,,02:30,04:00,", PW_ROW_SKIPPED_HOUR,
		       "there was no 02:30 that day: clocks were put forward over it");
	assert_refused("2026-03-08,b,r,,,01:30,02:00,", PW_ROW_SKIPPED_HOUR,
		       "there was no 02:00 that day: clocks were put forward over it");
	assert_refused("2026-03-07,b,r,,,23:30,26:30,", PW_ROW_SKIPPED_HOUR,
		       "there was no 26:30 that day: clocks were put forward over it");
	const struct pw_run run = take_one(HEAD "2026-03-08,b,r,,,01:30,03:00,\n");
	assert_int_equal(run.end_ms - run.begin_ms, 30 * M);
}

static void test_doubled_hour(void **state)
{
	static const struct { const char *begin, *end, *which; int64_t begins, lasts; } row[] = {
		{ "01:30", "03:00", "", 90, 150 }, { "01:30", "03:00", "first", 90, 150 },
		{ "01:30", "03:00", "Second", 150, 90 }, { "01:30", "01:50", "second", 150, 20 },
		{ "01:50", "01:55", "across", 110, 65 }, { "00:30", "01:30", "", 30, 60 },
		{ "00:30", "01:30", "second", 30, 120 }, { "01:30", "01:50", "", 90, 20 },
	};
	struct pw_sheet *s;
	char text[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		snprintf(text, sizeof(text), "date,bus,run,begin,end,doubled_hour\n"
			 "2026-11-01,b,r,%s,%s,%s\n", row[i].begin, row[i].end, row[i].which);
		s = take(text);
		assert_int_equal(s->runs, 1);
		assert_int_equal(s->refused, 0);
		assert_int_equal(s->run[0].begin_ms, utc(20261101, 6, 0) + row[i].begins * M);
		assert_int_equal(s->run[0].end_ms - s->run[0].begin_ms, row[i].lasts * M);
		assert_int_equal(s->notes, !*row[i].which);
		if (s->notes)
			assert_note(s, 0, 2, PW_ROW_DOUBLED_HOUR, true,
				    "that hour was there twice; the "
				    "first is taken (a column doubled_hour can say second)");
		pw_sheet_free(s);
	}
	s = take("date,bus,run,begin,end,doubled_hour\n2026-11-01,b,r,01:30,02:00,third\n");
	assert_note(s, 0, 2, PW_ROW_NO_TEXT, false,
		    "doubled_hour \"third\"; expected first, second, across or nothing");
	pw_sheet_free(s);
}

/* -- what is not taken ----------------------------------------------------------------------- */

static void test_refused(void **state)
{
	(void)state;
	assert_refused("2026-09-14,bus-99,r,,,6:40,8:05,", PW_ROW_NO_BUS,
		       "no bus \"bus-99\" is known here");
	assert_refused("2026-09-14,,r,,,6:40,8:05,", PW_ROW_NO_BUS,
		       "\"\" is no bus; expected its id, 1 to 31 of A-Z a-z 0-9 . _ -");
	assert_refused("2026-09-14,b 1,r,,,6:40,8:05,", PW_ROW_NO_BUS,
		       "\"b 1\" is no bus; expected its id, 1 to 31 of A-Z a-z 0-9 . _ -");
	assert_refused("2026-09-14,b,,,,6:40,8:05,", PW_ROW_NO_TEXT,
		       "no run; expected one line of at most 63 bytes");
	assert_refused("2026-09-14,b,r,\"two\nlines\",,6:40,8:05,", PW_ROW_NO_TEXT,
		       "no route; expected one line of at most 63 bytes");
	assert_refused("2026-09-14,b,r,,,08:05,08:05,", PW_ROW_BACKWARDS,
		       "the end, 08:05, is not after the begin");
	assert_refused("2026-09-14,b,r,,,25:00,24:30,", PW_ROW_BACKWARDS,
		       "the end, 24:30, is not after the begin");
	assert_refused("2026-09-14,b,r,,,25:00,00:30,", PW_ROW_BACKWARDS,
		       "the end, 00:30, is not after the begin");
	assert_refused("2026-09-14,b,r,,,06:40,06:30,", PW_ROW_TOO_LONG,
		       "from begin to end, 06:30, it is more than 16 h");
	assert_refused("2026-09-14,b,r,,,18:00,10:00:01,", PW_ROW_TOO_LONG,
		       "from begin to end, 10:00:01, it is more than 16 h");
	assert_refused("2026-09-14,b,r,,,6:40,8:05,Elm,more", PW_ROW_COLUMNS,
		       "more cells than headings; the first too many says \"more\"");
	assert_refused("2026-09-14", PW_ROW_NO_BUS,
		       "\"\" is no bus; expected its id, 1 to 31 of A-Z a-z 0-9 . _ -");
}

/* A name is not said again, nor kept. */
static void test_no_names(void **state)
{
	static const char *const name[] = { "Jo Example", "J\xc3\xb6", "1234567890123456", "a,b",
					    "\"d\n4\"" };
	char line[100];

	(void)state;
	for (size_t i = 0; i < COUNT(name); i++) {
		snprintf(line, sizeof(line), "2026-09-14,b,r,,%s%s%s,6:40,8:05,", i == 3 ? "\"" :
			 "",
			 name[i], i == 3 ? "\"" : "");
		assert_refused(line, PW_ROW_NO_CODE, "expected a code for the driver, 1 to 15 of "
			       "A-Z "
			       "a-z 0-9 . _ -, and no name");
	}
}

static void test_times_refused(void **state)
{
	static const char *const bad[] = { "", "6", "0640", "6:4", "06:60", "48:00", "6.40",
					  "06:40:60",
					   "13:00 PM", "0:10 AM", "6:40 XM", "6:40:", "-1:00",
						   "6:40 A" };
	char line[100], words[100];

	(void)state;
	for (size_t i = 0; i < COUNT(bad); i++) {
		snprintf(line, sizeof(line), "2026-09-14,b,r,,,%s,8:05,", bad[i]);
		snprintf(words, sizeof(words), "begin \"%s\" is no time; expected HH:MM", bad[i]);
		assert_refused(line, PW_ROW_NO_TIME, words);
		snprintf(line, sizeof(line), "2026-09-14,b,r,,,5:00,%s,", bad[i]);
		snprintf(words, sizeof(words), "end \"%s\" is no time; expected HH:MM", bad[i]);
		assert_refused(line, PW_ROW_NO_TIME, words);
	}
}

static void test_zones(void **state)
{
	struct pw_sheet *s;
	char text[1 << 14] = "date,bus,run,begin,end,zone\n";
	size_t used = strlen(text);

	(void)state;
	s = take("date,bus,run,begin,end,zone\n2026-09-14,b,r,6:40,8:05,America/Nowhere\n"
		 "2026-09-14,b,r,6:40,8:05,../../etc/passwd\n2026-09-14,b,r,6:40,8:05,\n");
	assert_int_equal(s->runs, 1);
	assert_note(s, 0, 2, PW_ROW_NO_ZONE, false, "no time zone \"America/Nowhere\" in "
		    "/usr/share/zoneinfo; is tzdata installed?");
	assert_note(s, 1, 3, PW_ROW_NO_ZONE, false, "\"../../etc/passwd\" is no name of a time "
		    "zone; "
		    "expected one like America/Denver");
	pw_sheet_free(s);
	for (int i = 0; i < 200; i++) /* more zones than are kept open */
		used += (size_t)snprintf(text + used, sizeof(text) - used,
					 "2026-09-14,b,r-%d,6:40,8:05,Etc/GMT%+d\n", i,
						 i % 27 - 14);
	s = take(text);
	assert_int_equal(s->runs, 200);
	for (size_t i = 0; i < s->runs; i++)
		assert_int_equal(s->run[i].begin_ms - utc(20260914, 6, 40),
				 atoi(s->run[i].zone + 7) * 60 * M);
	pw_sheet_free(s);
	denver.zone = NULL;
	s = take(HEAD "2026-09-14,b,r,,,6:40,8:05,\n");
	assert_note(s, 0, 2, PW_ROW_NO_ZONE, false, "no time zone; expected one like "
		    "America/Denver");
	pw_sheet_free(s);
	denver.zone = "America/Denver";
}

/* The first stays; of a row that goes, nothing else is said. */
static void test_duplicates(void **state)
{
	struct pw_sheet *s = take(HEAD
		"2026-11-01,b,r,,,01:30,03:00,\n2026-11-01,b,r2,,,5:00,6:00,\n"
		"2026-11-01,b,r,,,01:30,04:00,\n2026-11-01,c,r,,,5:00,6:00,\n"
		"2026-11-02,b,r,,,5:00,6:00,\n2026-11-01,b,r,,,7:00,8:00,\n"
		"2026-11-02,bus-99,r,,,5:00,6:00,\n");

	(void)state;
	assert_int_equal(s->runs, 4);
	assert_int_equal(s->refused, 3);
	assert_int_equal(s->notes, 4);
	assert_note(s, 0, 2, PW_ROW_DOUBLED_HOUR, true, "that hour was there twice; the first is "
		    "taken "
		    "(a column doubled_hour can say second)");
	assert_note(s, 1, 4, PW_ROW_DUPLICATE, false, "the same date, bus and run as line 2");
	assert_note(s, 2, 7, PW_ROW_DUPLICATE, false, "the same date, bus and run as line 2");
	assert_note(s, 3, 8, PW_ROW_NO_BUS, false, "no bus \"bus-99\" is known here");
	assert_int_equal(s->run[0].end_ms - s->run[0].begin_ms, 150 * M);
	assert_int_equal(s->run[1].line, 3);
	assert_int_equal(s->run[3].line, 6);
	pw_sheet_free(s);
}

/* -- what is no run sheet -------------------------------------------------------------------- */

static void test_no_sheet(void **state)
{
	static const struct { const char *text, *why; } row[] = {
		{ "\n\n", "it is empty; expected a line of headings and rows" },
		{ "date,bus,run,begin\n", "line 1: no column end; expected the headings date, "
		 "bus, run, "
		  "begin and end, and if you like route, driver, place and zone" },
		{ "date,bus,run,begin,end,Day\n", "line 1: two columns say date: 1 and 6" },
		{ HEAD "2026-09-14,b,r,,,6:40,8:05,\"Elm\n", "line 2: a quote is opened and never "
		 "closed" },
		{ HEAD "2026-09-14,b,r,,,6:40,8:05,\n\"x\"y\n",
		  "line 3: text behind a closing quote; expected a separator" },
	};
	struct pw_sheet *s;
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		assert_int_equal(read_text(row[i].text, &s, why, sizeof(why)), -2);
		assert_string_equal(why, row[i].why);
		assert_null(s);
	}
	s = take(HEAD);
	assert_int_equal(s->runs + s->notes, 0);
	pw_sheet_free(s);
}

static void test_other_columns(void **state)
{
	struct pw_sheet *s = take("date,bus,run,begin,end,Riders,\n"
				  "2026-09-14,b,r,6:40,8:05,31,x\n");

	(void)state;
	assert_int_equal(s->runs, 1);
	assert_int_equal(s->refused, 0);
	assert_note(s, 0, 1, PW_ROW_IGNORED, true, "column \"Riders\" is not used");
	assert_note(s, 1, 1, PW_ROW_IGNORED, true, "column \"\" is not used");
	pw_sheet_free(s);
}

/* The heading of each column, and every other that docs/runs.md names: a line of its table has them
 * between ` in its first cell and its last. */
static void assert_heading(const char *column, const char *heading)
{
	static const char *const row[][2] = {
		{ "date", "2026-09-14" }, { "bus", "b" }, { "run", "r" }, { "begin", "6:40" },
		{ "end", "8:05" }, { "route", "x" }, { "driver", "x" }, { "place", "x" },
		{ "zone", "UTC" }, { "doubled_hour", "first" },
	};
	char head[200] = "", cells[200] = "", text[500];
	bool there = false;

	for (size_t i = 0; i < COUNT(row); i++) {
		const bool this = !strcmp(row[i][0], column);

		there |= this;
		strcat(strcat(head, i ? "," : ""), this ? heading : row[i][0]);
		strcat(strcat(cells, i ? "," : ""), row[i][1]);
	}
	assert_true(there);
	snprintf(text, sizeof(text), "%s\n%s\n", head, cells);
	assert_string_equal(take_one(text).run, "r");
}

static void test_documented(void **state)
{
	FILE *f = fopen("docs/runs.md", "r");
	char line[400], column[32];
	int names = 0;

	(void)state;
	assert_non_null(f);
	while (fgets(line, sizeof(line), f) && strcmp(line, "## GTFS\n")) {
		if (sscanf(line, "| `%31[a-z_]`", column) != 1)
			continue;
		assert_heading(column, column);
		*strrchr(line, '|') = '\0';
		strtok(strrchr(line, '|'), "`");
		for (const char *name; (name = strtok(NULL, "`"));) {
			if (*name == ' ')
				continue;
			assert_heading(column, name);
			names++;
		}
	}
	fclose(f);
	assert_int_equal(names, 41);
}

/* A cell is shown whole or cut between characters, without controls. */
static void test_cells(void **state)
{
	static const struct { const char *text, *shown; } row[] = {
		{ "short", "short" }, { "a\tb\nc", "a?b?c" },
		{ "12345678901234567890123456789012345678901234",
		 "12345678901234567890123456789012345678901234" },
		{ "1234567890123456789012345678901234567890123\xc3\xa9x",
		  "1234567890123456789012345678901234567890123..." },
		{ "123456789012345678901234567890123456789012345",
		  "12345678901234567890123456789012345678901234..." },
	};
	char shown[48];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++)
		assert_string_equal(pw_shown(row[i].text, shown), row[i].shown);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_a_row), cmocka_unit_test(test_headings),
		cmocka_unit_test(test_past_midnight), cmocka_unit_test(test_encodings),
		cmocka_unit_test(test_dates), cmocka_unit_test(test_dates_refused),
		cmocka_unit_test(test_skipped_hour), cmocka_unit_test(test_doubled_hour),
		cmocka_unit_test(test_refused), cmocka_unit_test(test_no_names),
		cmocka_unit_test(test_times_refused), cmocka_unit_test(test_zones),
		cmocka_unit_test(test_duplicates), cmocka_unit_test(test_no_sheet),
		cmocka_unit_test(test_other_columns), cmocka_unit_test(test_cells),
		cmocka_unit_test(test_documented),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
