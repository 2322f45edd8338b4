/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Tallies against the rows that they are of: counted here by hand after random changes, and by the
 * GROUP BY of another client (sqlite3, psql). include/postwalk/audit.h says what each counts.
 */
#include "audit_random.h"

/* -- spans ------------------------------------------------------------------------------------- */

static void spans_of_days(struct world *w)
{
	(void)w;
	assert_int_equal(pw_span_month(20261028), 20261000);
	assert_int_equal(pw_span_school_year(20260630), 20250000);
	assert_int_equal(pw_span_school_year(20260701), 20260000);
	assert_int_equal(pw_span_school_year(20270101), 20260000);
}

/* -- by hand ----------------------------------------------------------------------------------- */

/* Is the row counted by that name? */
static bool is_named(enum pw_tally_by by, const char *name, const struct pw_audit_row *r)
{
	struct pw_local local;
	char text[12];

	pw_zone_local(denver, r->at_ms, &local);
	switch (by) {
	case PW_BY_ALL:
		return true;
	case PW_BY_BUS:
		return strcmp(name, r->key.bus) == 0;
	case PW_BY_DRIVER:
		return strcmp(name, r->driver) == 0;
	case PW_BY_ROUTE:
		return strcmp(name, r->route) == 0;
	case PW_BY_RUNG:
		return strcmp(name, r->rung) == 0;
	case PW_BY_HOUR:
		snprintf(text, sizeof(text), "%02d", local.ms / 3600000);
		return strcmp(name, text) == 0;
	case PW_BY_WEEKDAY:
		snprintf(text, sizeof(text), "%d", pw_date_weekday(pw_date_days(r->key.day)));
		return strcmp(name, text) == 0;
	default:
		for (unsigned i = 0; i < PW_FINDINGS; i++)
			if ((r->findings & 1u << i) != 0
			    && strcmp(name, pw_finding_name((enum pw_finding)i)) == 0)
				return true;
		return false;
	}
}

static bool is_within(int32_t span, int32_t day)
{
	return span == day || span == pw_span_month(day) || span == pw_span_school_year(day);
}

static struct pw_tally by_hand(enum pw_tally_by by, const char *name, int32_t span)
{
	struct pw_tally t = { .span = span };

	snprintf(t.name, sizeof(t.name), "%s", name);
	for (size_t i = 0; i < row_count; i++) {
		const struct pw_audit_row *r = &rows[i];
		const enum pw_result stands = r->corrected ? r->corrected : r->result;
		const bool run = r->key.run[0] != '\0';
		const bool none = run && stands == PW_RESULT_NO_RECORD;

		if (!is_within(span, r->key.day) || !is_named(by, name, r))
			continue;
		t.runs += run;
		t.unplanned += !run;
		t.sweeps += r->seq != 0;
		t.walked += r->verdict == PW_DONE;
		t.late += r->verdict == PW_LATE;
		t.doubtful += r->verdict == PW_DOUBTFUL;
		t.missed += r->verdict == PW_MISSED;
		t.no_record += none;
		t.silent += none && r->why == PW_NO_RECORD_BUS_SILENT;
		t.corrected += r->corrected != PW_RESULT_NONE;
		t.refused += r->refused;
		t.unchecked_ms += r->verdict == PW_MISSED ? r->unchecked_ms : 0;
	}
	return t;
}

static uint64_t told_runs, told_sweeps;
static enum pw_tally_by told_by;
static char told_last[PW_AUDIT_TEXT];

static int take_tally(void *ctx, const struct pw_tally *t)
{
	struct pw_tally mine = by_hand(told_by, t->name, t->span);

	(void)ctx;
	assert_true(strcmp(told_last, t->name) <= 0);
	strcpy(told_last, t->name);
	assert_memory_equal(&mine, t, sizeof(mine));
	told_runs += t->runs;
	told_sweeps += t->sweeps;
	return 0;
}

static void check_by(struct pw_store *s, enum pw_tally_by by, int32_t from, int32_t to)
{
	told_by = by;
	told_runs = told_sweeps = 0;
	told_last[0] = '\0';
	FINE(pw_audit_tallies(s, by, NULL, from, to, take_tally, NULL, WHY));
}

/* What has one name alone for each row adds up to all of them. */
static void check_sum(struct pw_store *s, enum pw_tally_by by, int32_t from, int32_t to)
{
	const struct pw_tally all = by_hand(PW_BY_ALL, "", 20260000);

	check_by(s, by, from, to);
	assert_int_equal(told_runs, all.runs);
	assert_int_equal(told_sweeps, all.sweeps);
}

static void check_all(struct pw_store *s)
{
	static const enum pw_tally_by whole[] = { PW_BY_ALL, PW_BY_BUS, PW_BY_ROUTE, PW_BY_HOUR,
						  PW_BY_WEEKDAY };

	for (size_t i = 0; i < sizeof(whole) / sizeof(whole[0]); i++) {
		if (whole[i] == PW_BY_ROUTE)
			continue; /* a sweep without a run has none */
		check_sum(s, whole[i], 20260000, 20260000);
		check_sum(s, whole[i], 20261000, 20261100);
	}
	check_sum(s, PW_BY_ALL, 20261001, 20261130);
	check_sum(s, PW_BY_BUS, 20261001, 20261130);
	for (enum pw_tally_by by = PW_BY_DRIVER; by <= PW_BY_RUNG; by++) {
		check_by(s, by, 20260000, 20260000);
		check_by(s, by, 20261000, 20261100);
	}
}

static void tallies_are_what_rows_add_up_to(struct world *w)
{
	begin_chance();
	for (unsigned i = 0; i < 4; i++) {
		live(w->s, 40);
		check_all(w->s);
	}
	assert_true(row_count > 20);
}

/* -- by another client ------------------------------------------------------------------------- */

static void other_client_counts_the_same(struct world *w)
{
	static const char of_rows[] =
		"SELECT bus, day / 100 * 100, sum(CASE WHEN run <> '' THEN 1 ELSE 0 END),"
		" sum(CASE WHEN verdict = 'missed' THEN 1 ELSE 0 END), sum(refused),"
		" sum(CASE WHEN stands = 'no_record' AND run <> '' THEN 1 ELSE 0 END)"
		" FROM outcome GROUP BY bus, day / 100 * 100 ORDER BY 1, 2";
	static const char of_tallies[] =
		"SELECT name, span, runs, missed, refused, no_record FROM tally"
		" WHERE kind = 2 AND length = 2 AND runs + sweeps > 0 ORDER BY 1, 2";
	char rows_said[2000], tallies_said[2000];

	begin_chance();
	live(w->s, 100);
	assert_int_equal(outside(w, rows_said, sizeof(rows_said), of_rows), 0);
	assert_int_equal(outside(w, tallies_said, sizeof(tallies_said), of_tallies), 0);
	assert_true(strlen(rows_said) > 20);
	assert_string_equal(tallies_said, rows_said);
}

/* -- times ------------------------------------------------------------------------------------- */

static uint64_t spread[3601];

static int take_second(void *ctx, uint32_t second, uint64_t count)
{
	(void)ctx;
	assert_true(second <= 3600 && count > 0);
	spread[second] += count;
	return 0;
}

static void read_spread(struct pw_store *s, const char *bus, int what, int32_t from, int32_t to)
{
	memset(spread, 0, sizeof(spread));
	FINE(pw_audit_spread(s, bus, what, from, to, take_second, NULL, WHY));
}

static void times_are_spread_over_seconds(struct world *w)
{
	struct pw_sweep_row s[3];

	for (size_t i = 0; i < 3; i++)
		s[i] = a_sweep(at(20261028, 8, 0) + (int64_t)i * 5 * HOUR_MS, PW_DONE);
	s[1].walk_ms = 40999;
	s[2].walk_ms = 7200000; /* two hours */
	deliver(w->s, "14", s, 3);
	s[0] = a_sweep(at(20261103, 8, 0), PW_DONE);
	s[1] = a_sweep(at(20261103, 14, 0), PW_MISSED); /* no press */
	deliver(w->s, "15", s, 2);
	renew(w->s, RANDOM_NOW);
	read_spread(w->s, "14", 1, 20261000, 20261000);
	assert_int_equal(spread[40], 2);
	assert_int_equal(spread[3600], 1);
	read_spread(w->s, "14", 2, 20261000, 20261000);
	assert_int_equal(spread[70], 2);
	read_spread(w->s, "", 1, 20260000, 20260000);
	assert_int_equal(spread[40], 3);
	read_spread(w->s, "", 1, 20261100, 20261100);
	assert_int_equal(spread[40], 1);
	read_spread(w->s, "", 1, 20250000, 20250000);
	assert_int_equal(spread[40], 0);
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(spans_of_days), CASE(tallies_are_what_rows_add_up_to),
		CASE(other_client_counts_the_same), CASE(times_are_spread_over_seconds),
	};

	return audit_main(cases, sizeof(cases) / sizeof(cases[0]));
}
