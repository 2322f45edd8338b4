/* SPDX-License-Identifier: Apache-2.0 */
/* Charts and run rules: the handbook's examples (F4, F5), a worst year (F7), run lengths (F10). */
#include "stats_table.h"
#include "stats_random.h"

#define WESTERN_ELECTRIC 4 /* the first rules of the table */

static size_t points_of(const double *count, size_t n, double size, struct pw_chart_point *point)
{
	for (size_t i = 0; i < n; i++)
		point[i] = (struct pw_chart_point){ .count = count[i], .size = size };
	return n;
}

static bool is_out(const struct pw_chart_point *p)
{
	return p->value < p->lower || p->value > p->upper;
}

/* Exactly those are out, by their limits and by the first rule; they count from 1, 0 ends them. */
static void are_out(struct pw_chart_point *point, size_t n, const unsigned *expected)
{
	pw_runs(pw_run_rules, 1, point, n);
	for (size_t i = 0; i < n; i++) {
		bool is = *expected == i + 1;

		if (is_out(&point[i]) != is || (point[i].rules == 1) != is)
			fail_msg("point %zu: %g, %g sigmas", i + 1, point[i].value,
				 point[i].sigmas);
		expected += is;
	}
	assert_int_equal(*expected, 0);
}

/* -- charts ---------------------------------------------------------------------------------- */

/* F4: NIST/SEMATECH e-Handbook 6.3.3.1, defects on 25 wafers (from memory). */
static void c_chart_f4(void **state)
{
	static const double wafers[] = { 16, 14, 28, 16, 12, 20, 10, 12, 10, 17, 19, 17, 14,
					 16, 15, 13, 14, 16, 11, 20, 11, 19, 16, 31, 13 };
	struct pw_chart_point point[COUNT(wafers)];
	struct pw_chart c;
	size_t n = points_of(wafers, COUNT(wafers), 1, point);

	(void)state;
	assert_int_equal(pw_chart(PW_CHART_C, NAN, point, n, &c), 0);
	near(c.mean, 16, 0);
	near(point[0].lower, 4, 1e-14);
	near(point[24].upper, 28, 1e-14);
	are_out(point, n, (unsigned[]){ 24, 0 }); /* the 28 is on the limit, not beyond */
}

/* F5: as F4, 6.3.3.2: 30 wafers of 50 chips (from memory). */
static void p_chart_f5(void **state)
{
	static const double chips[] = { 12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22,
					8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6 };
	struct pw_chart_point point[COUNT(chips)];
	struct pw_chart c;
	size_t n = points_of(chips, COUNT(chips), 50, point);

	(void)state;
	assert_int_equal(pw_chart(PW_CHART_P, NAN, point, n, &c), 0);
	near(c.mean, 0.2313, 5e-5);
	near(point[0].upper, 0.4102, 5e-5);
	near(point[0].lower, 0.0524, 5e-5);
	are_out(point, n, (unsigned[]){ 15, 23, 0 });
	/* days that differ by more than chance: 29 degrees of freedom, from R's pchisq */
	near(c.dispersion, 2.94514894413, 1e-11);
	near(c.dispersion_p, 1.82109513598e-7, 1e-18);
}

/* F7 (second-hand, computed): the most in nine years is within, and no rule ends there. Of nine
 * such years the worst is as bad or worse, by chance, one time in four: R's
 * 1 - ppois(31, 67 / 3)^9. */
static void a_worst_year_is_no_signal_f7(void **state)
{
	struct pw_chart_point point[PW_WORST_YEARS];
	struct pw_law law = { .n = INFINITY };
	struct pw_chart c;

	(void)state;
	for (size_t i = 0; i < PW_WORST_YEARS; i++) {
		assert_int_equal(pw_worst_year[i].year, 2010 + i);
		point[i] = (struct pw_chart_point){ .count = pw_worst_year[i].count, .size = 1 };
	}
	assert_int_equal(pw_chart(PW_CHART_C, NAN, point, PW_WORST_YEARS, &c), 0);
	near(c.mean, 22.33, 5e-3);
	near(point[8].lower, 8.16, 5e-3);
	near(point[8].upper, 36.51, 5e-3);
	near(point[8].value, 32, 0);
	pw_runs(pw_run_rules, PW_RUN_RULES, point, PW_WORST_YEARS);
	for (size_t i = 0; i < PW_WORST_YEARS; i++) {
		assert_false(is_out(&point[i]));
		assert_int_equal(point[i].rules, 0);
	}
	assert_true(c.dispersion_p > 0.05);
	law.mean = c.mean;
	near(pw_false_alarm(PW_WORST_YEARS, pw_law(&law, 31).above), 0.250413718, 5e-10);
}

/* Limits go with each point's own size, and are clipped. */
static void u_and_p_limits_by_point(void **state)
{
	struct pw_chart_point u[] = { { .count = 4, .size = 2, .rules = 7 },
				      { .count = 14, .size = 16 } };
	struct pw_chart_point p[] = { { .count = 9, .size = 10 }, { .count = 18, .size = 20 } };
	struct pw_chart c;

	(void)state;
	assert_int_equal(pw_chart(PW_CHART_U, NAN, u, 2, &c), 0);
	near(c.mean, 1, 0);
	assert_int_equal(u[0].rules, 0);
	near(u[0].value, 2, 0);
	near(u[0].upper, 1 + 3 / sqrt(2), 1e-15);
	near(u[0].lower, 0, 0);
	near(u[1].lower, 0.25, 1e-15);
	near(u[1].upper, 1.75, 1e-15);
	near(u[1].sigmas, -0.5, 1e-15);
	assert_int_equal(pw_chart(PW_CHART_P, NAN, p, 2, &c), 0);
	near(p[0].upper, 1, 0);
	near(p[0].lower, 0.9 - 3 * 0.3 / sqrt(10), 1e-15);
}

/* A mean of an earlier time costs no degree of freedom: (2^2 + 1^2) / 2. */
static void judged_by_an_earlier_mean(void **state)
{
	struct pw_chart_point point[] = { { .count = 24, .size = 1 }, { .count = 12, .size = 1 } };
	struct pw_chart c;

	(void)state;
	assert_int_equal(pw_chart(PW_CHART_C, 16, point, 2, &c), 0);
	near(c.mean, 16, 0);
	near(point[0].sigmas, 2, 0);
	near(point[1].sigmas, -1, 0);
	near(c.dispersion, 2.5, 0);
	near(c.dispersion_p, exp(-2.5), 1e-14); /* chi-square with 2 degrees: exp(-x / 2) */
	assert_int_equal(pw_chart(PW_CHART_C, 0, point, 2, &c), 0);
	assert_true(isinf(point[0].sigmas) && point[0].upper == 0 && c.dispersion_p == 0);
	point[0].count = 0;
	assert_int_equal(pw_chart(PW_CHART_C, 0, point, 1, &c), 0);
	near(point[0].sigmas, 0, 0);
	assert_int_equal(pw_chart(PW_CHART_C, NAN, point, 1, &c), 0);
	assert_true(isnan(c.dispersion) && isnan(c.dispersion_p));
}

static void charts_that_make_no_sense(void **state)
{
	static const struct { enum pw_chart_kind kind; double mean, count, size; } rows[] = {
		{ PW_CHART_C, NAN, 1, 2 }, { PW_CHART_C, NAN, -1, 1 }, { PW_CHART_U, NAN, 1, 0 },
		{ PW_CHART_U, NAN, 1, NAN }, { PW_CHART_U, NAN, INFINITY, 1 },
		{ PW_CHART_P, NAN, 3, 2 }, { PW_CHART_P, 1.5, 1, 2 }, { PW_CHART_U, -1, 1, 2 },
		{ PW_CHART_U, INFINITY, 1, 2 }, { (enum pw_chart_kind)0, NAN, 1, 1 },
		{ (enum pw_chart_kind)4, NAN, 1, 1 },
	};
	struct pw_chart c;

	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		struct pw_chart_point p = { .count = rows[i].count, .size = rows[i].size };

		if (pw_chart(rows[i].kind, rows[i].mean, &p, 1, &c) != -1 || !isnan(c.mean))
			fail_msg("row %zu", i);
	}
	assert_int_equal(pw_chart(PW_CHART_C, NAN, NULL, 0, &c), -1);
}

/* -- run rules ------------------------------------------------------------------------------- */

/* The rules that end at the last point, as bits. */
static uint32_t ends(const struct pw_run_rule *rule, unsigned rules, const double *z, size_t n)
{
	struct pw_chart_point point[16] = { 0 };

	assert_true(n <= COUNT(point));
	for (size_t i = 0; i < n; i++)
		point[i].value = point[i].sigmas = z[i];
	pw_runs(rule, rules, point, n);
	return point[n - 1].rules;
}

/* F10: NIST/SEMATECH e-Handbook 6.3.2 (from memory). The last point of each row. */
static const struct { const char *what; double z[9]; size_t n; uint32_t rules; } runs[] = {
	{ "three sigma is not beyond", { 3 }, 1, 0 },
	{ "beyond three", { 3.1 }, 1, 1 },
	{ "beyond three, below", { 0, -3.1 }, 2, 1 },
	{ "two of three", { 2.1, 0, 2.2 }, 3, 2 },
	{ "two of three, the first within", { 0, -2.1, -2.2 }, 3, 2 },
	{ "two of four", { 2.1, 0, 0, 2.2 }, 4, 0 },
	{ "on two sides", { 2.1, -2.2 }, 2, 0 },
	{ "the run ended before", { 2.1, 2.2, 0 }, 3, 0 },
	{ "four of five", { 1.1, 1.2, 0, 1.5, 1.1 }, 5, 4 },
	{ "three of five", { 1.1, 1.2, 0, 0, 1.1 }, 5, 0 },
	{ "eight on one side", { -.1, -.2, -.1, -.3, -.1, -.2, -.1, -.1 }, 8, 8 },
	{ "seven", { 1, -.2, -.1, -.3, -.1, -.2, -.1, -.1 }, 8, 0 },
	{ "a point on the mean is on neither side", { .1, .1, .1, 0, .1, .1, .1, .1, .1 }, 9, 0 },
	{ "six rising", { -1, -.5, 0, .1, .2, .3 }, 6, 16 },
	{ "six falling", { .9, .5, .2, .1, 0, -.3 }, 6, 16 },
	{ "five rising", { -.9, -1, 0, .1, .2, .3 }, 6, 0 },
	{ "two alike", { -1, -.5, 0, .1, .1, .3 }, 6, 0 },
};

static void run_rules_f10(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(runs); i++)
		if (ends(pw_run_rules, PW_RUN_RULES, runs[i].z, runs[i].n) != runs[i].rules)
			fail_msg("%s", runs[i].what);
}

static void a_rule_has_a_length_of_one_s_own(void **state)
{
	static const double z[] = { -.1, -.2, -.1, -.3, -.1 };
	struct pw_run_rule five = pw_run_rules[3];

	(void)state;
	assert_int_equal(five.need, 8);
	five.need = five.of = 5;
	assert_int_equal(ends(&five, 1, z, 5), 1);
	assert_int_equal(ends(&five, 1, z, 4), 0);
}

static void every_rule_names_its_source(void **state)
{
	(void)state;
	for (unsigned i = 0; i < PW_RUN_RULES; i++) {
		assert_non_null(strstr(pw_run_rules[i].source, "6.3.2"));
		assert_true(strlen(pw_run_rules[i].words) > 0 && strlen(pw_run_rules[i].name) > 0);
	}
}

/* The first point at which one of the rules ends, in a series of pure chance; from 1. */
static size_t run_length(struct random *r, struct pw_chart_point *point, size_t most)
{
	size_t n = 0;

	for (size_t upto = 128; upto <= most; upto *= 2) {
		for (; n < upto; n++)
			point[n].value = point[n].sigmas = random_normal(r);
		pw_runs(pw_run_rules, WESTERN_ELECTRIC, point, n);
		for (size_t i = 0; i < n; i++)
			if (point[i].rules != 0)
				return i + 1;
	}
	fail_msg("no signal in %zu points", most);
	return 0;
}

/* F10: Champ and Woodall (1987), as the handbook has it (from memory): 91.75 points, and 371 by the
 * first rule alone. */
static void points_between_false_alarms_f10(void **state)
{
	enum { MOST = 8192, RUNS = 8000 };
	static struct pw_chart_point point[MOST];
	struct random r = random_begin(63);
	double sum = 0, squares = 0, mean;

	(void)state;
	near(1 / (2 * pw_normal(3).above), PW_ARL_3_SIGMA, 1);
	for (unsigned i = 0; i < RUNS; i++) {
		double length = (double)run_length(&r, point, MOST);

		sum += length;
		squares += length * length;
	}
	mean = sum / RUNS;
	near(mean, PW_ARL_WESTERN_ELECTRIC, 3 * sqrt((squares / RUNS - mean * mean) / RUNS));
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(c_chart_f4),
		cmocka_unit_test(p_chart_f5),
		cmocka_unit_test(a_worst_year_is_no_signal_f7),
		cmocka_unit_test(u_and_p_limits_by_point),
		cmocka_unit_test(judged_by_an_earlier_mean),
		cmocka_unit_test(charts_that_make_no_sense),
		cmocka_unit_test(run_rules_f10),
		cmocka_unit_test(a_rule_has_a_length_of_one_s_own),
		cmocka_unit_test(every_rule_names_its_source),
		cmocka_unit_test(points_between_false_alarms_f10),
	};

	return cmocka_run_group_tests_name("charts and their rules", tests, NULL, NULL);
}
