/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The page of drift in both stores. What a CUSUM and an EWMA make of days stands in
 * test_trends_judge.c, and beside R in tests/unit/test_stats_drift.c.
 */
/* The store and reports each have a pw_table of their own. */
#define pw_table pw_store_table
#include "store_world.h"
#undef pw_table

#include <jansson.h>

#include "office/web.h"
#include "office/zone.h"

#define NOW_MS (NOON_MS + 33 * DAY_MS)
#define TODAY 20261127
#define DAYS 60 /* up to today */

/* -- lines ------------------------------------------------------------------------------------- */

/* Bounces of all days but the last ones, and of those. */
static void put_line(struct world *w, const char *bus, const char *line, int usual, int late,
		     int late_days, int faults)
{
	FINE(pw_store_begin(w->s, WHY));
	for (int back = DAYS - 1; back >= 0; back--) {
		const bool is_late = back < late_days;
		const struct pw_cell args[] = {
			pw_cell_text(bus), pw_cell_text(line),
			pw_cell_number(pw_date_from(pw_date_days(TODAY) - back)), pw_cell_number(40),
			pw_cell_number(is_late ? late : usual),
			pw_cell_number(is_late ? faults : 0), pw_cell_number(0),
			pw_cell_number(30),
		};

		FINE(pw_store_ask(w->s, PW_Q_LINE, args, NULL, NULL, WHY));
	}
	FINE(pw_store_commit(w->s, WHY));
}

/* -- what the page says ------------------------------------------------------------------------ */

struct page {
	int result;
	enum pw_phrase wrong;
	char *lines, *text;
};

static void write_page(struct page *p, struct pw_report *r)
{
	size_t size;
	FILE *f = open_memstream(&p->lines, &size);

	assert_non_null(f);
	pw_report_lines(r, f);
	assert_int_equal(fclose(f), 0);
	assert_non_null(f = open_memstream(&p->text, &size));
	pw_report_text(r, f);
	assert_int_equal(fclose(f), 0);
}

static struct page ask(struct world *w, const char *bus, const char *line, const char *to)
{
	static const struct pw_leaf leaf = { .path = "/drift" };
	struct pw_office o = { .dir = "" };
	struct pw_asked q = { .o = &o, .leaf = &leaf, .tongue = PW_ENGLISH, .now_ms = NOW_MS,
			      .today = TODAY, .fields = 3, .who = "office1" };
	struct page p = { .result = 0 };
	struct pw_zone *zone;
	struct pw_report *r;

	assert_int_equal(pw_zone_open("UTC", &zone, WHY), 0);
	snprintf(q.field[0].name, sizeof(q.field[0].name), "bus");
	snprintf(q.field[0].value, PW_ASK_VALUE, "%s", bus);
	snprintf(q.field[1].name, sizeof(q.field[1].name), "line");
	snprintf(q.field[1].value, PW_ASK_VALUE, "%s", line);
	snprintf(q.field[2].name, sizeof(q.field[2].name), "to");
	snprintf(q.field[2].value, PW_ASK_VALUE, "%s", to);
	q.zone = zone;
	pw_store_close(w->s);
	FINE(pw_desk_start(w->where, &o.desk, WHY));
	assert_non_null(r = pw_report_new(PW_ENGLISH, zone));
	p.result = pw_drift_get(&q, r);
	p.wrong = q.wrong;
	pw_desk_stop(o.desk);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
	assert_true(pw_report_ok(r));
	write_page(&p, r);
	pw_report_free(r);
	pw_zone_free(zone);
	return p;
}

static void page_free(struct page *p)
{
	free(p->lines);
	free(p->text);
}

static void says(const struct page *p, const char *words)
{
	if (strstr(p->text, words) == NULL)
		fail_msg("not said: %s\n%s", words, p->text);
}

/* The n-th row of a table; the caller lets it go. NULL: there are not so many. */
static json_t *row_of(const struct page *p, const char *table, size_t n)
{
	const char *line = p->lines;

	while (*line) {
		size_t length = strcspn(line, "\n");
		json_t *row = json_loadb(line, length, 0, NULL);

		assert_non_null(row);
		if (strcmp(json_string_value(json_object_get(row, "table")), table) == 0
		    && n-- == 0)
			return row;
		json_decref(row);
		line += length + (line[length] == '\n');
	}
	return NULL;
}

static const char *text_of(const json_t *row, const char *column)
{
	const json_t *value = json_object_get(row, column);

	if (json_is_array(value))
		value = json_array_get(value, 0);
	return json_is_string(value) ? json_string_value(value) : "";
}

/* -- cases ------------------------------------------------------------------------------------- */

/* 5 more a day from 2026-11-22 on, six days: sigma 1, so the first of them counts already. */
static void a_line_that_drifts_is_named_with_its_day(struct world *w)
{
	struct page p;
	json_t *row;

	put_line(w, "14", "rear_button", 1, 6, 6, 0);
	put_line(w, "14", "rear_door", 2, 2, 0, 0);
	p = ask(w, "14", "", "");
	assert_int_equal(p.result, 0);
	says(&p, "1 line does more than it did");
	says(&p, "Rear button: bounces 6.0 times a day of late, and did 1.0 times before. It may have "
		 "been going on since 2026-11-22.");
	assert_non_null(row = row_of(&p, "lines", 0)); /* the one that is farthest out */
	assert_string_equal(text_of(row, "line"), "rear_button");
	assert_string_equal(text_of(row, "state"), "drifting");
	assert_string_equal(text_of(row, "since"), "2026-11-22");
	json_decref(row);
	assert_non_null(row = row_of(&p, "lines", 1));
	assert_string_equal(text_of(row, "state"), "steady");
	json_decref(row);
	/* Its days: by CUSUM, k one half: 4.5 a day, six days. */
	assert_non_null(row = row_of(&p, "days", DAYS - 1));
	assert_string_equal(text_of(row, "line"), "rear_button");
	assert_true(json_number_value(json_object_get(row, "cusum")) > 26.99);
	assert_true(json_number_value(json_object_get(row, "cusum")) < 27.01);
	json_decref(row);
	assert_null(row_of(&p, "days", DAYS));
	page_free(&p);
}

static void a_line_that_is_asked_for_is_shown(struct world *w)
{
	struct page p;
	json_t *row;

	put_line(w, "14", "rear_button", 1, 6, 6, 0);
	put_line(w, "14", "rear_door", 2, 2, 0, 0);
	p = ask(w, "14", "rear_door", "2026-11-20");
	says(&p, "No line does more than it did");
	assert_non_null(row = row_of(&p, "days", 0));
	assert_string_equal(text_of(row, "line"), "rear_door");
	json_decref(row);
	page_free(&p);
}

static void faults_are_told_as_well(struct world *w)
{
	struct page p;

	put_line(w, "14", "service_door", 0, 0, 6, 4);
	p = ask(w, "14", "", "");
	says(&p, "Service door: chatters or disagrees 4.0 times a day of late, and did 0.0 times "
		 "before.");
	page_free(&p);
}

static void of_all_buses_those_that_drift_come_first(struct world *w)
{
	struct page p;
	json_t *row;

	put_line(w, "12", "rear_button", 30, 30, 0, 0); /* bounces much, and always did */
	put_line(w, "14", "rear_button", 1, 9, 8, 0);
	put_line(w, "15", "exits", 0, 0, 5, 3);
	put_line(w, "16", "rear_button", 0, 0, 0, 0);
	p = ask(w, "", "", "");
	says(&p, "2 lines do more than they did");
	says(&p, "Looked at: the 3 buses");
	says(&p, "Bus 14, Rear button: bounces 9.0 times");
	assert_non_null(row = row_of(&p, "lines", 0));
	assert_string_equal(text_of(row, "bus"), "14");
	json_decref(row);
	assert_non_null(row = row_of(&p, "lines", 2));
	assert_string_equal(text_of(row, "bus"), "12");
	assert_string_equal(text_of(row, "state"), "steady");
	json_decref(row);
	assert_null(row_of(&p, "lines", 3));
	page_free(&p);
}

static void where_nothing_is_known_it_is_said(struct world *w)
{
	struct page p = ask(w, "", "", "");

	assert_int_equal(p.result, 0);
	says(&p, "No line of any bus has bounced");
	page_free(&p);
	p = ask(w, "99", "", "");
	assert_int_equal(p.result, 0);
	says(&p, "No edges of this bus are known in that time.");
	page_free(&p);
	p = ask(w, "", "", "2026-02-30");
	assert_int_equal(p.result, 1);
	assert_int_equal(p.wrong, PW_P_DRIFT_WRONG_DAY);
	page_free(&p);
}

static const struct world_case cases[] = {
	CASE(a_line_that_drifts_is_named_with_its_day),
	CASE(a_line_that_is_asked_for_is_shown),
	CASE(faults_are_told_as_well),
	CASE(of_all_buses_those_that_drift_come_first),
	CASE(where_nothing_is_known_it_is_said),
};

int main(void)
{
	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
