/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Groups beside all of them, over time, from day to day. tests/office/data/trends_*.csv are R's
 * (trends_reference.R): prop.test, binom.test, p.adjust, pchisq, qbinom.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <cmocka.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "office/drift.h"
#include "office/trends.h"

#define DATA "tests/office/data/"
#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

static void near(const char *what, double got, double want)
{
	if (!(fabs(got - want) <= 1e-9 * fabs(want) + 1e-15))
		fail_msg("%s: %.17g, and R has %.17g", what, got, want);
}

/* -- beside R ---------------------------------------------------------------------------------- */

#define SETS 5
struct expected {
	int set;
	char name[16], place[16];
	uint64_t x, n;
	double share, lower, upper, warning[2], alarm[2], p_value, adjusted;
};

static int read_expected(FILE *f, struct expected *e)
{
	char line[600];

	if (!fgets(line, sizeof(line), f))
		return 0;
	return sscanf(line, "%d,%15[^,],%lu,%lu,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%lf,%15s", &e->set,
		      e->name, &e->x, &e->n, &e->share, &e->lower, &e->upper, &e->warning[0],
		      &e->warning[1], &e->alarm[0], &e->alarm[1], &e->p_value, &e->adjusted,
		      e->place) == 14;
}

static FILE *open_table(const char *name)
{
	char path[200], head[400];
	FILE *f;

	snprintf(path, sizeof(path), DATA "trends_%s.csv", name);
	f = fopen(path, "r");
	assert_non_null(f);
	assert_non_null(fgets(head, sizeof(head), f));
	return f;
}

static struct pw_tally tally(const char *name, uint64_t missed, uint64_t sweeps)
{
	struct pw_tally t = { .span = 20260000, .sweeps = sweeps, .missed = missed };

	snprintf(t.name, sizeof(t.name), "%s", name);
	return t;
}

static const char *place_name(enum pw_trends_place place)
{
	static const char *const names[] = {
		[PW_TRENDS_PLACE_NONE] = "none",
#define X(up, low) [PW_TRENDS_PLACE_##up] = #low,
		PW_TRENDS_PLACE_LIST(X)
#undef X
	};

	return names[place];
}

static const struct pw_trends_group *group_named(const struct pw_trends *t, const char *name)
{
	for (size_t i = 0; i < t->groups; i++)
		if (strcmp(t->group[i].tally.name, name) == 0)
			return &t->group[i];
	fail_msg("no group %s", name);
	return NULL;
}

static size_t same_as_r(const struct pw_trends *t, int set)
{
	FILE *f = open_table("groups");
	struct expected e;
	size_t seen = 0;

	while (read_expected(f, &e)) {
		const struct pw_trends_group *g;

		if (e.set != set)
			continue;
		g = group_named(t, e.name);
		near("share", (double)g->share.x / (double)g->share.n, e.share);
		near("lower 95 %", g->warning.lower, e.warning[0]);
		near("upper 95 %", g->warning.upper, e.warning[1]);
		near("lower 99.8 %", g->alarm.lower, e.alarm[0]);
		near("upper 99.8 %", g->alarm.upper, e.alarm[1]);
		near("p", g->p_value, e.p_value);
		near("adjusted", g->adjusted, e.adjusted);
		assert_string_equal(place_name(g->place), e.place);
		seen++;
	}
	fclose(f);
	return seen;
}

static void read_set(struct pw_trends *t, int set)
{
	FILE *f = open_table("groups");
	struct expected e;

	while (read_expected(f, &e)) {
		struct pw_tally one = tally(e.name, e.x, e.n);

		if (e.set == set)
			assert_int_equal(pw_trends_add(t, &one), 0);
	}
	fclose(f);
}

static void sets_are_as_r_has_them(void **state)
{
	FILE *f = open_table("sets");

	(void)state;
	for (int set = 1; set <= SETS; set++) {
		struct pw_trends t = { .groups = 0 };
		size_t looks, outside, alarms, found;
		double false_alarm, dispersion, dispersion_p;
		uint64_t x, n;
		int read = fscanf(f, "%*d,%zu,%lu,%lu,%zu,%zu,%zu,%lf,%lf,%lf\n", &looks, &x,
				  &n, &outside, &alarms, &found, &false_alarm, &dispersion, &dispersion_p);

		assert_int_equal(read, 9);
		read_set(&t, set);
		assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
		assert_int_equal(same_as_r(&t, set), looks);
		assert_int_equal(t.looks, looks);
		assert_int_equal(t.all.x, x);
		assert_int_equal(t.all.n, n);
		assert_int_equal(t.outside, outside);
		assert_int_equal(t.alarms, alarms);
		assert_int_equal(t.found, found);
		near("false alarm", t.false_alarm, false_alarm);
		near("dispersion", t.dispersion, dispersion);
		near("its chance", t.dispersion_p, dispersion_p);
		pw_trends_free(&t);
	}
	fclose(f);
}

/* F8, from memory: 0.2 +- 1.96 sqrt(0.2 * 0.8 / 400). */
static void a_normal_limit_is_the_published_one(void **state)
{
	const struct pw_interval i = pw_trends_limits(0.2, 400, PW_FUNNEL_WARNING);

	(void)state;
	assert_true(fabs(i.lower - (0.2 - 1.96 * 0.02)) < 1e-5);
	assert_true(fabs(i.upper - (0.2 + 1.96 * 0.02)) < 1e-5);
}

/* -- what is counted --------------------------------------------------------------------------- */

static void counts_are_of_what_they_are_of(void **state)
{
	const struct pw_tally t = { .runs = 90, .sweeps = 80, .late = 7, .doubtful = 5, .missed = 3,
				    .no_record = 11 };
	const struct { enum pw_trends_of of; const char *name; uint64_t x, n; } cases[] = {
		{ PW_TRENDS_OF_MISSED, "missed", 3, 80 },
		{ PW_TRENDS_OF_UNPROVEN, "unproven", 8, 80 },
		{ PW_TRENDS_OF_LATE, "late", 7, 80 },
		{ PW_TRENDS_OF_NO_RECORD, "no_record", 11, 90 },
	};

	(void)state;
	assert_int_equal(COUNT(cases), PW_TRENDS_OFS - 1);
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct pw_share s = pw_trends_share(&t, cases[i].of);

		assert_string_equal(pw_trends_of_name(cases[i].of), cases[i].name);
		assert_int_equal(s.x, cases[i].x);
		assert_int_equal(s.n, cases[i].n);
	}
}

static void who_has_nothing_is_no_look(void **state)
{
	struct pw_trends t = { .groups = 0 };

	(void)state;
	for (int i = 0; i < 3; i++) {
		struct pw_tally one = tally(i == 0 ? "a" : i == 1 ? "b" : "c", i == 1, i == 2 ? 0 : 10);

		assert_int_equal(pw_trends_add(&t, &one), 0);
	}
	assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
	assert_int_equal(t.groups, 3);
	assert_int_equal(t.looks, 2);
	assert_string_equal(t.group[2].tally.name, "c"); /* behind those of which something is known */
	assert_true(isnan(t.group[2].p_value));
	assert_int_equal(t.group[2].place, PW_TRENDS_PLACE_NONE);
	assert_false(pw_trends_spread_wide(&t));
	pw_trends_free(&t);
}

static void none_at_all_is_judged_as_well(void **state)
{
	struct pw_trends t = { .groups = 0 };
	struct pw_funnel_point point[PW_FUNNEL_POINTS];

	(void)state;
	assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
	assert_true(isnan(t.target));
	assert_int_equal(t.looks, 0);
	assert_int_equal(pw_trends_funnel(&t, point), 0);
	pw_trends_free(&t);
}

/* Nobody missed: nobody stands out. */
static void where_there_is_none_nobody_stands_out(void **state)
{
	struct pw_trends t = { .groups = 0 };

	(void)state;
	for (int i = 0; i < 50; i++) {
		char name[16];
		struct pw_tally one;

		snprintf(name, sizeof(name), "%d", i);
		one = tally(name, 0, 100);
		assert_int_equal(pw_trends_add(&t, &one), 0);
	}
	assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
	assert_int_equal(t.outside, 0);
	assert_int_equal(t.found, 0);
	assert_true(t.group[0].p_value >= 1);
	pw_trends_free(&t);
}

static void differing_more_than_chance_is_told(void **state)
{
	(void)state;
	for (int set = 1; set <= SETS; set++) {
		struct pw_trends t = { .groups = 0 };

		read_set(&t, set);
		assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
		/* The 2nd and 4th are made alike; of the 5th fewer than one is expected of each. */
		assert_int_equal(pw_trends_spread_wide(&t), set == 1 || set == 3);
		pw_trends_free(&t);
	}
}

/* -- the funnel's points ----------------------------------------------------------------------- */

static void funnel_has_all_groups_and_those_outside_alone(void **state)
{
	struct pw_funnel_point point[PW_FUNNEL_POINTS];
	struct pw_trends t = { .groups = 0 };
	uint64_t groups = 0, outside = 0;
	size_t points;

	(void)state;
	for (int set = 1; set <= SETS; set++) /* 814 groups of any size */
		read_set(&t, set);
	assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
	assert_true(t.looks > PW_FUNNEL_POINTS);
	points = pw_trends_funnel(&t, point);
	assert_true(points <= PW_FUNNEL_POINTS);
	for (size_t i = 0; i < points; i++) {
		assert_true(i == 0 || point[i].n >= point[i - 1].n);
		assert_true(point[i].warning.lower >= point[i].alarm.lower);
		assert_true(point[i].warning.upper <= point[i].alarm.upper);
		groups += point[i].groups;
		outside += point[i].place == PW_TRENDS_PLACE_WITHIN ? 0 : point[i].groups;
	}
	assert_int_equal(groups, t.looks);
	assert_int_equal(outside, t.outside);
	pw_trends_free(&t);
}

static void funnel_of_few_has_each(void **state)
{
	struct pw_funnel_point point[PW_FUNNEL_POINTS];
	struct pw_trends t = { .groups = 0 };
	const struct { const char *name; uint64_t x, n; } groups[] = {
		{ "a", 1, 10 }, { "b", 1, 10 }, { "c", 2, 10 }, { "d", 1, 20 } };

	(void)state;
	for (size_t i = 0; i < COUNT(groups); i++) {
		struct pw_tally one = tally(groups[i].name, groups[i].x, groups[i].n);

		assert_int_equal(pw_trends_add(&t, &one), 0);
	}
	assert_int_equal(pw_trends_judge(&t, PW_TRENDS_OF_MISSED), 0);
	assert_int_equal(pw_trends_funnel(&t, point), 3);
	assert_int_equal(point[0].groups, 2);
	assert_null(point[0].one);
	assert_string_equal(point[2].one->tally.name, "d");
	assert_true(fabs(point[0].share - 0.1) < 1e-15 && fabs(point[0].n - 10) < 1e-15);
	assert_true(fabs(point[2].n - 20) < 1e-15);
	pw_trends_free(&t);
}

/* -- weeks and months -------------------------------------------------------------------------- */

static void add_span(struct pw_trends_series *s, int32_t span, uint64_t missed, uint64_t sweeps)
{
	struct pw_tally t = tally("", missed, sweeps);

	t.span = span;
	t.refused = 2 * missed;
	assert_int_equal(pw_trends_series_add(s, &t), 0);
}

/* Mondays: `cal 11 2026`. */
static void weeks_begin_on_monday(void **state)
{
	struct pw_trends_series s = { .step = PW_TRENDS_WEEK };

	(void)state;
	add_span(&s, 20261101, 1, 2); /* a Sunday */
	add_span(&s, 20261102, 1, 4);
	add_span(&s, 20261108, 0, 3);
	add_span(&s, 20261109, 0, 5);
	assert_int_equal(s.periods, 3);
	assert_int_equal(s.period[0].begin, 20261026);
	assert_int_equal(s.period[1].begin, 20261102);
	assert_int_equal(s.period[1].sum.sweeps, 7);
	assert_int_equal(s.period[1].sum.refused, 2);
	assert_int_equal(s.period[2].begin, 20261109);
}

static void months_are_of_days_or_of_months(void **state)
{
	struct pw_trends_series s = { .step = PW_TRENDS_MONTH };

	(void)state;
	add_span(&s, 20261000, 1, 9);
	add_span(&s, 20261105, 1, 4);
	add_span(&s, 20261130, 1, 5);
	assert_int_equal(s.periods, 2);
	assert_int_equal(s.period[0].begin, 20261001);
	assert_int_equal(s.period[1].begin, 20261101);
	assert_int_equal(s.period[1].sum.sweeps, 9);
}

static void a_chart_leaves_out_weeks_without_any(void **state)
{
	struct pw_trends_series s = { .step = PW_TRENDS_WEEK };
	struct pw_trends_chart c;

	(void)state;
	assert_int_equal(pw_trends_chart(&s, PW_TRENDS_OF_MISSED, &c), -1);
	add_span(&s, 20261102, 1, 10);
	add_span(&s, 20261109, 0, 0); /* a holiday */
	add_span(&s, 20261116, 9, 10);
	assert_int_equal(pw_trends_chart(&s, PW_TRENDS_OF_MISSED, &c), 0);
	assert_int_equal(c.points, 2);
	assert_int_equal(c.index[1], 2);
	near("mean", c.chart.mean, 0.5);
	assert_int_equal(c.point[0].rules, 0); /* 0.4 off, of a sigma of 0.158: 2.5 */
	assert_int_equal(pw_trends_chart(&s, PW_TRENDS_OF_NONE, &c), 0);
	near("refused a sweep", c.chart.mean, 1);
}

/* NIST/SEMATECH e-Handbook 6.3.3.2 (F5, from memory): the 15th and the 23rd are out. */
static void a_chart_finds_the_handbook_s_points(void **state)
{
	static const uint64_t defectives[] = { 12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22, 8,
					       10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6 };
	struct pw_trends_series s = { .step = PW_TRENDS_WEEK };
	struct pw_trends_chart c;

	(void)state;
	for (size_t i = 0; i < COUNT(defectives); i++)
		s.period[s.periods++].sum = tally("", defectives[i], 50);
	assert_int_equal(pw_trends_chart(&s, PW_TRENDS_OF_MISSED, &c), 0);
	for (size_t i = 0; i < c.points; i++)
		assert_int_equal(c.point[i].rules & 1, i == 14 || i == 22);
	assert_true(fabs(c.chart.mean - 0.2313) < 5e-5);
	assert_true(fabs(c.point[0].upper - 0.4102) < 5e-5);
}

static void a_series_has_an_end(void **state)
{
	struct pw_trends_series s = { .step = PW_TRENDS_WEEK, .periods = PW_TRENDS_PERIODS };
	struct pw_tally t = tally("", 0, 1);

	(void)state;
	t.span = 20261102;
	assert_int_equal(pw_trends_series_add(&s, &t), -1);
}

/* -- times ------------------------------------------------------------------------------------- */

/* Beside pw_quantile, which is R's type 7, of the same times in a row. */
static void quantiles_of_counts_are_those_of_the_times(void **state)
{
	static struct pw_spread s;
	double times[500];
	unsigned seed = 20261127, at = 0;

	(void)state;
	print_message("seed %u\n", seed);
	srand(seed);
	for (uint32_t second = 0; at < COUNT(times); second += (uint32_t)rand() % 30) {
		unsigned count = (unsigned)rand() % 9;

		for (unsigned i = 0; i < count && at < COUNT(times); i++) {
			times[at++] = second < PW_SPREAD_MOST_S ? second : PW_SPREAD_MOST_S;
			pw_spread_add(&s, second, 1);
		}
	}
	for (double p = 0; p <= 1; p += 0.01)
		near("quantile", pw_spread_quantile(&s, p), pw_quantile(times, COUNT(times), p));
	assert_int_equal(pw_spread_below(&s, 0), 0);
	assert_int_equal(pw_spread_below(&s, 1e9), COUNT(times));
}

static void of_no_times_nothing_is_known(void **state)
{
	static struct pw_spread s;

	(void)state;
	assert_true(isnan(pw_spread_quantile(&s, 0.5)));
	pw_spread_add(&s, 9000, 3);
	assert_int_equal(s.count[PW_SPREAD_MOST_S], 3);
	near("the largest", pw_spread_quantile(&s, 1), PW_SPREAD_MOST_S);
}

static void less_than_the_walk_minimum_is_below_it(void **state)
{
	static struct pw_spread s;

	(void)state;
	pw_spread_add(&s, 8, 2);
	pw_spread_add(&s, 9, 5);
	assert_int_equal(pw_spread_below(&s, 9), 2);
	assert_int_equal(pw_spread_below(&s, 8.5), 2);
	assert_int_equal(pw_spread_below(&s, 9.1), 7);
}

/* -- drift ------------------------------------------------------------------------------------- */

static size_t make_days(struct pw_line_day *day, const char *bounces)
{
	size_t n = strlen(bounces);

	for (size_t i = 0; i < n; i++)
		day[i] = (struct pw_line_day){ .bus = "14", .line = "rear_button",
					       .day = 20260801 + (int32_t)i, .edges = 40,
					       .bounces = (uint32_t)(bounces[i] - '0') };
	return n;
}

static struct pw_line_drift drift_of(const char *bounces)
{
	struct pw_line_day day[200];
	struct pw_line_drift d;

	pw_line_drift(day, make_days(day, bounces), PW_DRIFT_BOUNCES, &d);
	return d;
}

static void drift_of_a_steady_line_is_none(void **state)
{
	const struct pw_line_drift d = drift_of("2102112013" "1201021120" "2110201121");

	(void)state;
	assert_true(d.known);
	assert_false(d.out);
	assert_int_equal(d.was_out, 0);
	assert_true(d.far < 1);
	assert_int_equal(d.points, 10);
}

/* From the 23rd day on 5 more: by CUSUM (k 1/2, h 5; sigma 1) 4.5 a day: out on the second. */
static void drift_is_dated_from_its_begin(void **state)
{
	const struct pw_line_drift d = drift_of("1111111111" "1111111111" "1166666");

	(void)state;
	assert_true(d.known && d.out);
	assert_int_equal(d.since, 20260823);
	assert_int_equal(d.was_out, 20260823 + 1);
	near("before", d.before, 1);
	near("recent", d.recent, 6);
	near("cusum", d.point[3].cusum, 9);
	assert_true(d.far > 1);
}

static void drift_that_is_over_is_told_as_over(void **state)
{
	const struct pw_line_drift d = drift_of("1111111111" "1111111111" "99900000000000000000000000");

	(void)state;
	assert_false(d.out);
	assert_int_equal(d.was_out, 20260821);
	assert_int_equal(d.since, 0);
}

static void drift_of_a_few_days_is_not_known(void **state)
{
	const struct pw_line_drift d = drift_of("11111111111111111111");

	(void)state;
	assert_false(d.known);
	assert_false(d.out);
	assert_true(drift_of("111111111111111111111").known);
}

static void drift_counts_faults_of_both_kinds(void **state)
{
	struct pw_line_day day[30];
	struct pw_line_drift d;
	size_t n = make_days(day, "000000000000000000000000000000");

	(void)state;
	for (size_t i = 24; i < n; i++) {
		day[i].chatters = 1;
		day[i].disagreements = 2;
	}
	pw_line_drift(day, n, PW_DRIFT_FAULTS, &d);
	assert_true(d.out);
	near("recent", d.recent, 3);
	assert_int_equal(d.since, day[24].day);
	pw_line_drift(day, n, PW_DRIFT_BOUNCES, &d);
	assert_false(d.out);
}

static void drift_takes_the_newest_days_of_many(void **state)
{
	static struct pw_line_day day[300];
	struct pw_line_drift d;

	(void)state;
	for (size_t i = 0; i < COUNT(day); i++)
		day[i] = (struct pw_line_day){ .day = (int32_t)i, .bounces = i < 100 ? 90 : 1 };
	pw_line_drift(day, COUNT(day), PW_DRIFT_BOUNCES, &d);
	assert_int_equal(d.points, PW_DRIFT_DAYS - PW_DRIFT_BEFORE);
	near("before", d.before, 1);
	assert_int_equal(d.point[d.points - 1].day, 299);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(sets_are_as_r_has_them),
		cmocka_unit_test(a_normal_limit_is_the_published_one),
		cmocka_unit_test(counts_are_of_what_they_are_of),
		cmocka_unit_test(who_has_nothing_is_no_look),
		cmocka_unit_test(none_at_all_is_judged_as_well),
		cmocka_unit_test(where_there_is_none_nobody_stands_out),
		cmocka_unit_test(differing_more_than_chance_is_told),
		cmocka_unit_test(funnel_has_all_groups_and_those_outside_alone),
		cmocka_unit_test(funnel_of_few_has_each),
		cmocka_unit_test(weeks_begin_on_monday),
		cmocka_unit_test(months_are_of_days_or_of_months),
		cmocka_unit_test(a_chart_leaves_out_weeks_without_any),
		cmocka_unit_test(a_chart_finds_the_handbook_s_points),
		cmocka_unit_test(a_series_has_an_end),
		cmocka_unit_test(quantiles_of_counts_are_those_of_the_times),
		cmocka_unit_test(of_no_times_nothing_is_known),
		cmocka_unit_test(less_than_the_walk_minimum_is_below_it),
		cmocka_unit_test(drift_of_a_steady_line_is_none),
		cmocka_unit_test(drift_is_dated_from_its_begin),
		cmocka_unit_test(drift_that_is_over_is_told_as_over),
		cmocka_unit_test(drift_of_a_few_days_is_not_known),
		cmocka_unit_test(drift_counts_faults_of_both_kinds),
		cmocka_unit_test(drift_takes_the_newest_days_of_many),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
