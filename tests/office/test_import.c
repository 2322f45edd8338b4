/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Run sheets and feeds into both stores, asked by sqlite3 and psql; hashes beside sha256sum, times
 * beside date of coreutils; and the page of planned runs: what it says of a sheet, and a correction.
 */
#include <sodium.h>

#include "asked_help.h"
#include "office/import.h"
#include "office/runs.h"

#define SHEET_NOW INT64_C(1795795200000) /* date -u -d 2026-11-27T16:00 */
#define HEADINGS "date,bus,run,begin,end,route,driver,place\n"
#define PLANS "SELECT bus, day, run, route, place, driver, begin_ms, end_ms, import FROM plan ORDER BY bus, day, run"

static bool known(void *ctx, const char *bus)
{
	(void)ctx;
	return strcmp(bus, "14") == 0 || strcmp(bus, "9") == 0;
}

static const struct pw_import_from usual = { .who = "dsp-1", .zone = ZONE, .now_ms = SHEET_NOW,
					     .known = known };

static struct pw_importing *sheet_of(const char *text, size_t length, const char *name)
{
	struct pw_importing *i;

	FINE(pw_import_sheet(text, length, name, &usual, &i, WHY));
	return i;
}

static void take(struct world *w, const char *text, size_t length)
{
	struct pw_importing *i = sheet_of(text, length, "a/sheet.csv");

	IN_TRANSACTION(w->s, pw_import_work(w->s, i, WHY));
	pw_importing_free(i);
}

/* Milliseconds of a moment on Chicago's clocks, by date. */
static int64_t by_date(const char *moment)
{
	char said[64];

	assert_int_equal(shell(said, sizeof(said), "date -d 'TZ=\"" ZONE "\" %s' +%%s", moment), 0);
	return strtoll(said, NULL, 10) * 1000;
}

/* -- what comes in as it may ------------------------------------------------------------------- */

static const struct form {
	const char *text;
	size_t length;
} forms[] = {
#define FORM(text) { text, sizeof(text) - 1 }
	FORM(HEADINGS "2026-11-24,14,AM1,06:25,07:15,R4,d-7,Pe\xc3\xb1" "a School\n"),
	FORM("\xef\xbb\xbf" "date;bus;run;begin;end;route;driver;place\r\n"
	     "2026-11-24;14;AM1;06:25;07:15;R4;d-7;Pe\xc3\xb1" "a School\r\n"),
	FORM("fecha\tautobus\tviaje\tinicio\tfin\truta\tconductor\tlugar\n" /* Latin-1 */
	     "2026-11-24\t14\tAM1\t6:25 AM\t7:15 AM\tR4\td-7\tPe\xf1" "a School\n"),
};

static void test_forms(struct world *w)
{
	char said[400], expected[400];

	put_bus(w->s, "14");
	snprintf(expected, sizeof(expected),
		 "14|20261124|AM1|R4|Pe\xc3\xb1" "a School|d-7|%lld|%lld|",
		 (long long)by_date("2026-11-24 06:25"), (long long)by_date("2026-11-24 07:15"));
	for (size_t i = 0; i < sizeof(forms) / sizeof(forms[0]); i++) {
		take(w, forms[i].text, forms[i].length);
		assert_int_equal(outside(w, said, sizeof(said), PLANS), 0);
		assert_int_equal(strncmp(said, expected, strlen(expected)), 0);
	}
	/* The same run three times is one run, of the last import. */
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT count(*) FROM plan WHERE import = (SELECT max(id) FROM import)"),
			 0);
	assert_string_equal(said, "1");
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT who, file, taken, refused FROM import ORDER BY id LIMIT 1"), 0);
	assert_string_equal(said, "dsp-1|sheet.csv|1|0");
	assert_int_equal(outside(w, said, sizeof(said), "SELECT did FROM log ORDER BY did LIMIT 1"), 0);
	assert_says(said, "imported sheet.csv as ");
}

/* Summer time of 2026 begins on 8 March and ends on 1 November. */
static const char bad[] = HEADINGS
	"2026-11-24,14,AM1,06:25,07:15,R4,d-7,Elm\n"
	"2026-11-24,14,AM1,06:30,07:20,R4,d-7,Elm\n"
	"2026-02-30,14,AM1,06:25,07:15,R4,d-7,Elm\n"
	"2026-03-08,14,NIGHT,02:30,03:30,R4,d-7,Elm\n"
	"2026-11-01,14,NIGHT,01:30,02:10,R4,d-7,Elm\n"
	"2026-11-24,99,AM1,06:25,07:15,R4,d-7,Elm\n"
	"2026-11-24,9,AM1,06:25,07:15,R4,Some Body,Elm\n"
	"2026-11-24,9,PM1,25:99,27:00,R4,d-7,Elm\n";

static void test_account(struct world *w)
{
	static const struct { uint32_t line; const char *why; bool taken; } notes[] = {
		{ 3, "duplicate", false }, { 4, "no_day", false }, { 5, "skipped_hour", false },
		{ 6, "doubled_hour", true }, { 7, "no_bus", false }, { 8, "no_code", false },
		{ 9, "no_time", false },
	};
	struct pw_importing *i = sheet_of(bad, sizeof(bad) - 1, "bad.csv");

	(void)w;
	assert_int_equal(i->sheet->notes, sizeof(notes) / sizeof(notes[0]));
	for (size_t n = 0; n < i->sheet->notes; n++) {
		assert_int_equal(i->sheet->note[n].line, notes[n].line);
		assert_string_equal(pw_row_name(i->sheet->note[n].why), notes[n].why);
		assert_int_equal(i->sheet->note[n].taken, notes[n].taken);
		assert_not_says(i->sheet->note[n].words, "Some Body");
	}
	assert_int_equal(i->import.taken, 2);
	assert_int_equal(i->import.refused, 6);
	assert_int_equal(i->first, 20261101);
	assert_int_equal(i->last, 20261124);
	pw_importing_free(i);
}

static void test_no_sheets(struct world *w)
{
	static const char *const texts[] = {
		"", "date,bus,run\n2026-11-24,14,AM1\n", "\xff\xfe" "d\0a\0t\0e\0",
		HEADINGS "03/04/2026,14,AM1,06:25,07:15,,,\n", HEADINGS "\"2026-11-24,14\n",
	};
	struct pw_importing *i;

	(void)w;
	for (size_t n = 0; n < sizeof(texts) / sizeof(texts[0]); n++) {
		assert_int_equal(pw_import_sheet(texts[n], n == 2 ? 10 : strlen(texts[n]), "x.csv",
						 &usual, &i, WHY), -2);
		assert_null(i);
		assert_true(strlen(why) > 10);
	}
}

/* -- all of it or nothing ---------------------------------------------------------------------- */

static void test_whole(struct world *w)
{
	struct pw_importing *i = sheet_of(bad, sizeof(bad) - 1, "bad.csv");
	char said[100];

	put_bus(w->s, "14");
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_import_work(w->s, i, WHY));
	pw_store_rollback(w->s);
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT (SELECT count(*) FROM plan), (SELECT count(*) FROM import)"), 0);
	assert_string_equal(said, "0|0");
	IN_TRANSACTION(w->s, pw_import_work(w->s, i, WHY));
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT (SELECT count(*) FROM plan), taken, refused FROM import"), 0);
	assert_string_equal(said, "2|2|6");
	pw_importing_free(i);
}

/* -- hashes ------------------------------------------------------------------------------------ */

static void test_hashes(struct world *w)
{
	const struct pw_import_from feed = { .who = "dsp-1", .from = 20260302, .to = 20260308,
					     .buses = "tests/office/data/gtfs-buses.csv",
					     .now_ms = SHEET_NOW };
	struct pw_importing *i = sheet_of(bad, sizeof(bad) - 1, "bad.csv");
	char said[200];
	FILE *f;

	snprintf(said, sizeof(said), "%s/bad.csv", w->dir);
	f = fopen(said, "w");
	assert_non_null(f);
	fputs(bad, f);
	assert_int_equal(fclose(f), 0);
	assert_int_equal(shell(said, sizeof(said), "sha256sum <%s/bad.csv", w->dir), 0);
	assert_int_equal(strncmp(said, i->import.hash, 64), 0);
	pw_importing_free(i);

	FINE(pw_import_feed("tests/office/data/gtfs", &feed, &i, WHY));
	assert_int_equal(shell(said, sizeof(said),
			       "(cd tests/office/data/gtfs && for f in agency calendar calendar_dates "
			       "frequencies routes stop_times stops trips; do test ! -e $f.txt || "
			       "sha256sum $f.txt; done; cd .. && sha256sum gtfs-buses.csv) | sha256sum"),
			 0);
	assert_int_equal(strncmp(said, i->import.hash, 64), 0);
	assert_string_equal(i->import.file, "gtfs");
	assert_true(i->import.taken > 0 && i->no_bus > 0);
	assert_int_equal(i->import.refused, i->sheet->refused + i->no_bus);
	pw_importing_free(i);
}

/* -- the page ---------------------------------------------------------------------------------- */

static void send_sheet(struct pw_asked *q, const char *text)
{
	q->file = text;
	q->file_length = strlen(text);
	strcpy(q->file_name, "bad.csv");
}

static void test_page_of_a_sheet(struct world *w)
{
	struct pw_asked q;
	struct desk d;
	char said[100], *text;

	put_bus(w->s, "14");
	put_bus(w->s, "9");
	desk_begin(&d, w, SHEET_NOW);
	asked(&d, &q, "/runs", PW_MAY_ACT, NULL);
	assert_int_equal(pw_runs_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_RUNS_NO_FILE);

	/* Refused lines: nothing is taken, and the page says which, and why. */
	asked(&d, &q, "/runs", PW_MAY_ACT, NULL);
	send_sheet(&q, bad);
	assert_int_equal(pw_runs_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_RUNS_NOT_TAKEN);
	text = page_of(&q, pw_runs_get, "lines");
	assert_says(text, "line,taken,why,words\r\n3,no,duplicate,");
	assert_says(text, "\r\n6,yes,doubled_hour,");
	assert_says(text, "\r\n9,no,no_time,");
	free(text);
	text = page_of(&q, pw_runs_get, NULL);
	assert_says(text, "Of bad.csv, 2 runs could be taken and 6 lines not. Nothing has been taken yet.");
	free(text);
	asked(&d, &q, "/runs", PW_MAY_SEE, NULL);
	text = page_of(&q, pw_runs_get, "imports");
	assert_string_equal(text, "import,at,who,file,taken,refused,sha256\r\n");
	free(text);

	asked(&d, &q, "/runs", PW_MAY_ACT, FIELDS("partly=1"));
	send_sheet(&q, bad);
	assert_int_equal(pw_runs_post(&q), 0);
	assert_string_equal(q.then, "/runs?from=2026-11-01&to=2026-11-24");
	assert_says(q.said, "bad.csv: 2 runs taken, 6 lines refused. Line 3: the same date");
	asked(&d, &q, "/runs", PW_MAY_SEE, NULL);
	text = page_of(&q, pw_runs_get, "imports");
	assert_says(text, ",dsp-1,bad.csv,2,6,");
	free(text);
	desk_end(&d);
	assert_int_equal(outside(w, said, sizeof(said), "SELECT count(*) FROM plan"), 0);
	assert_string_equal(said, "2");
}

static void test_turned_down(struct world *w)
{
	static const struct { const char *field; enum pw_phrase says; } cases[] = {
		{ "from=2026-02-30", PW_P_RUNS_WRONG_DAYS }, { "to=yesterday", PW_P_RUNS_WRONG_DAYS },
		{ "result=fine", PW_P_RUNS_WRONG_RESULT }, { "behind=14", PW_P_RUNS_WRONG_AFTER },
	};
	struct pw_asked q;
	struct desk d;

	desk_begin(&d, w, SHEET_NOW);
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct pw_report *r = pw_report_new(PW_ENGLISH, d.zone);

		asked(&d, &q, "/runs", PW_MAY_SEE, FIELDS(cases[i].field));
		assert_int_equal(pw_runs_get(&q, r), 1);
		assert_int_equal(q.wrong, cases[i].says);
		pw_report_free(r);
	}
	asked(&d, &q, "/runs", PW_MAY_ACT, NULL);
	send_sheet(&q, "date,bus\n");
	assert_int_equal(pw_runs_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_RUNS_NO_SHEET);
	assert_says(q.wrong_fill, "no column");
	desk_end(&d);
}

/* A run with no record: matched so, then corrected by the sweep's page; both stand side by side. */
static void test_correction(struct world *w)
{
	static const char sheet[] = HEADINGS "2026-11-24,14,AM1,06:25,07:15,R4,d-7,Elm\n"
					     "2026-11-24,9,AM1,06:25,07:15,R4,d-8,Elm\n";
	const char *const filter[] = { "from=2026-11-24", "to=2026-11-24", NULL };
	struct pw_asked q;
	struct desk d;
	char *text;

	put_bus(w->s, "14");
	put_bus(w->s, "9");
	take(w, sheet, sizeof(sheet) - 1);
	desk_begin(&d, w, SHEET_NOW);
	desk_renew(&d);
	asked(&d, &q, "/runs", PW_MAY_SEE, filter);
	text = page_of(&q, pw_runs_get, "runs");
	assert_says(text, "2026-11-24,14,AM1,R4,Elm,2026-11-24T12:25:00");
	assert_says(text, ",no_record,bus_silent,nothing was heard of the bus,,,,\r\n");
	free(text);

	asked(&d, &q, "/sweep", PW_MAY_ACT, FIELDS("bus=14", "day=2026-11-24", "run=AM1",
						     "result=walked", "words=the mechanic walked it"));
	assert_int_equal(pw_sweep_post(&q), 0);
	desk_renew(&d);
	asked(&d, &q, "/runs", PW_MAY_SEE, filter);
	text = page_of(&q, pw_runs_get, "runs");
	assert_says(text, ",no_record,bus_silent,nothing was heard of the bus,walked,dsp-1,2026-11-27T16:00:00");
	assert_says(text, ",the mechanic walked it\r\n");
	free(text);
	asked(&d, &q, "/runs", PW_MAY_SEE, FIELDS("from=2026-11-24", "to=2026-11-24",
						    "result=no_record"));
	text = page_of(&q, pw_runs_get, "runs");
	assert_not_says(text, ",14,");
	assert_says(text, ",9,AM1,");
	free(text);
	desk_end(&d);
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(test_forms), CASE(test_account), CASE(test_no_sheets), CASE(test_whole),
		CASE(test_hashes), CASE(test_page_of_a_sheet), CASE(test_turned_down),
		CASE(test_correction),
	};

	if (sodium_init() < 0 || pw_hours_set(ZONE, WHY))
		return 1;
	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
