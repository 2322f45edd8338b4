/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Shares, rates, funnels, looks and distributions against published values (docs/sources.md, F1 to
 * F14), values worked out by hand, and what the header says of arguments that make no sense.
 */
#include "stats_table.h"

#define MOST UINT64_C(10000000)

static void is_interval(struct pw_interval got, double lower, double upper, double most)
{
	near(got.lower, lower, most);
	near(got.upper, upper, most);
}

static void is_nothing(struct pw_interval got)
{
	assert_true(isnan(got.lower) && isnan(got.upper));
}

/* The level at which z is that. */
static double level_of(double z)
{
	return 1 - 2 * pw_normal(z).above;
}

/* -- shares ---------------------------------------------------------------------------------- */

/* F1, F2: Newcombe, Statistics in Medicine 17:857 (1998); limits from memory, four digits. */
static const struct { struct pw_share s; struct pw_interval wilson, exact; } newcombe[] = {
	{ { 81, 263 }, { 0.2553, 0.3662 }, { 0.2527, 0.3676 } },
	{ { 15, 148 }, { 0.0624, 0.1605 }, { 0.0578, 0.1617 } },
	{ { 0, 20 }, { 0, 0.1611 }, { 0, 0.1684 } },
	{ { 1, 29 }, { 0.0061, 0.1718 }, { 0.0009, 0.1776 } },
};

static void intervals_as_published_f1_f2(void **state)
{
	(void)state;
	for (size_t i = 0; i < COUNT(newcombe); i++) {
		struct pw_share s = newcombe[i].s;
		struct pw_interval w = newcombe[i].wilson, e = newcombe[i].exact;

		is_interval(pw_share_wilson(s, 0.95, false), w.lower, w.upper, 5e-5);
		is_interval(pw_share_exact(s, 0.95), e.lower, e.upper, 5e-5);
	}
}

/* F3 (seen): z is 1.96 there, not the quantile. */
static void wilson_with_z_of_1_96_f3(void **state)
{
	const double level = level_of(1.96);

	(void)state;
	is_interval(pw_share_wilson((struct pw_share){ 430, 474 }, level, false), 0.8776750858,
		    0.9301239840, 5e-11);
	is_interval(pw_share_wilson((struct pw_share){ 10, 14 }, level, false), 0.4535045883,
		    0.8827881209, 5e-11);
}

/* None of n: the exact upper limit is 1 - 0.025^(1/n); all of n is its mirror. */
static void none_and_all(void **state)
{
	static const uint64_t sizes[] = { 1, 2, 30, 1000, MOST };

	(void)state;
	for (size_t i = 0; i < COUNT(sizes); i++) {
		const uint64_t n = sizes[i];
		const double u = -expm1(log(0.025) / (double)n);
		struct pw_interval none = pw_share_exact((struct pw_share){ 0, n }, 0.95);
		struct pw_interval whole = pw_share_exact((struct pw_share){ n, n }, 0.95);

		is_interval(none, 0, u, 1e-12 * u);
		is_interval(whole, 1 - u, 1, 1e-12);
		assert_true(none.lower == 0 && whole.upper == 1);
		assert_true(pw_share_wilson((struct pw_share){ 0, n }, 0.95, false).lower == 0);
		assert_true(pw_share_wilson((struct pw_share){ n, n }, 0.95, true).upper == 1);
	}
}

/* The last level below 1 still has an interval: (1.1e-16 / 2)^(1 / 5) of 5 of 5. */
static void a_level_just_below_1(void **state)
{
	const double level = 1 - 0x1p-53;
	struct pw_interval i = pw_share_exact((struct pw_share){ 5, 5 }, level);

	(void)state;
	near(i.lower, pow(0x1p-54, 1. / 5), 1e-15);
	i = pw_share_wilson((struct pw_share){ 5, 10 }, level, false);
	assert_true(i.lower > 0 && i.lower < 0.06 && i.upper < 1 && i.upper > 0.94);
	near(pw_rate_exact((struct pw_rate){ 0, 1 }, level).upper, 54 * log(2), 1e-12);
}

/* By hand. 1 of 4 at 1/2: (1 + 4 + 4 + 1) / 16. 0 of 3 at 1/3: 8/27, and rarer are 2, 6/27, and 3,
 * 1/27. */
static void a_share_s_test_by_hand(void **state)
{
	(void)state;
	near(pw_share_test((struct pw_share){ 1, 4 }, 0.5), 10. / 16, 1e-15);
	near(pw_share_test((struct pw_share){ 0, 3 }, 1. / 3), 15. / 27, 1e-15);
	near(pw_share_test((struct pw_share){ 2, 4 }, 0.5), 1, 0);
	near(pw_share_test((struct pw_share){ 0, MOST }, 0), 1, 0);
	near(pw_share_test((struct pw_share){ 1, MOST }, 0), 0, 0);
	near(pw_share_test((struct pw_share){ MOST, MOST }, 1), 1, 0);
	near(pw_share_test((struct pw_share){ MOST - 1, MOST }, 1), 0, 0);
}

/* 15 of 30 and 5 of 30: expected 10 and 20, off by 5; corrected by 1/2. */
static void two_shares_by_hand(void **state)
{
	const struct pw_share group[] = { { 15, 30 }, { 5, 30 } };
	const double wide = 1.959963984540054 * sqrt(0.25 / 30 + 5. / 36 / 30);
	struct pw_shares_test t;

	(void)state;
	assert_int_equal(pw_shares_test(group, 2, false, 0.95, &t), 0);
	near(t.statistic, 2 * 25. / 10 + 2 * 25. / 20, 1e-13);
	is_interval(t.difference, 1. / 3 - wide, 1. / 3 + wide, 1e-13);
	assert_int_equal(pw_shares_test(group, 2, true, 0.95, &t), 0);
	near(t.statistic, 2 * 20.25 / 10 + 2 * 20.25 / 20, 1e-13);
	is_interval(t.difference, 0.3 - wide, 1. / 3 + wide + 1. / 30, 1e-13);
}

static void shares_that_make_no_sense(void **state)
{
	const struct pw_share none[] = { { 0, 10 }, { 0, 20 }, { 0, 5 } };
	const struct pw_share empty[] = { { 1, 10 }, { 0, 0 } }, over[] = { { 1, 10 }, { 3, 2 } };
	struct pw_shares_test t;

	(void)state;
	is_interval(pw_share_wilson((struct pw_share){ 0, 0 }, 0.95, false), 0, 1, 0);
	is_interval(pw_share_wilson((struct pw_share){ 0, 0 }, 0.95, true), 0, 1, 0);
	is_interval(pw_share_exact((struct pw_share){ 0, 0 }, 0.95), 0, 1, 0);
	near(pw_share_test((struct pw_share){ 0, 0 }, 0.3), 1, 0);
	is_nothing(pw_share_wilson((struct pw_share){ 2, 1 }, 0.95, false));
	is_nothing(pw_share_wilson((struct pw_share){ 1, 2 }, 1, false));
	is_nothing(pw_share_exact((struct pw_share){ 1, 2 }, 0));
	is_nothing(pw_share_exact((struct pw_share){ 1, 2 }, NAN));
	assert_true(isnan(pw_share_test((struct pw_share){ 1, 2 }, 1.5)));
	assert_true(isnan(pw_share_test((struct pw_share){ 3, 2 }, 0.5)));
	assert_int_equal(pw_shares_test(none, 3, true, 0.95, &t), 0); /* R has NaN */
	near(t.statistic, 0, 0);
	near(t.p_value, 1, 0);
	is_nothing(t.difference);
	assert_int_equal(pw_shares_test(empty, 2, true, 0.95, &t), -1);
	assert_int_equal(pw_shares_test(over, 2, true, 0.95, &t), -1);
	assert_int_equal(pw_shares_test(none, 1, true, 0.95, &t), -1);
	assert_int_equal(pw_shares_test(none, 2, true, 2, &t), -1);
	assert_true(isnan(t.p_value));
}

/* -- distributions --------------------------------------------------------------------------- */

static void are_tails(struct pw_tails t, double below, double above)
{
	near(t.below, below, 0);
	near(t.above, above, 0);
}

static void where_distributions_end(void **state)
{
	const struct pw_law five = { .n = 5, .p = 0.3, .mean = 1.5 };

	(void)state;
	are_tails(pw_beta(0, 2, 3), 0, 1);
	are_tails(pw_beta(1, 2, 3), 1, 0);
	are_tails(pw_gamma(0, 2), 0, 1);
	are_tails(pw_law(&five, -1), 0, 1);
	are_tails(pw_law(&five, 5), 1, 0);
	near(pw_law(&five, 5).density, 0.00243, 1e-17);
	near(pw_chi_square_above(0, 3), 1, 0);
}

/* -- rates ----------------------------------------------------------------------------------- */

/* F6 (computed), as many digits as stand there. */
static void poisson_intervals_f6(void **state)
{
	static const struct { uint64_t x; struct pw_interval i; double digit; } f6[] = {
		{ 0, { 0, 3.689 }, 1e-3 }, { 1, { 0.025, 5.572 }, 1e-3 },
		{ 5, { 1.623, 11.668 }, 1e-3 }, { 10, { 4.795, 18.390 }, 1e-3 },
		{ 20, { 12.22, 30.89 }, 1e-2 },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(f6); i++) {
		struct pw_interval got = pw_rate_exact((struct pw_rate){ f6[i].x, 1 }, 0.95);

		is_interval(got, f6[i].i.lower, f6[i].i.upper, 0.5 * f6[i].digit);
		got = pw_rate_exact((struct pw_rate){ f6[i].x, 4 }, 0.95);
		is_interval(got, f6[i].i.lower / 4, f6[i].i.upper / 4, 0.125 * f6[i].digit);
	}
	/* none: -log 0.025 */
	near(pw_rate_exact((struct pw_rate){ 0, 1 }, 0.95).upper, -log(0.025), 1e-13);
}

/* By hand, mean 1: 0 and 1 are likeliest, e^-1 each, so 0 has 1, and 2 has all but those two. */
static void a_rate_s_test_by_hand(void **state)
{
	(void)state;
	near(pw_rate_test((struct pw_rate){ 0, 0.5 }, 2), 1, 1e-15);
	near(pw_rate_test((struct pw_rate){ 2, 2 }, 0.5), 1 - 2 * exp(-1), 1e-15);
	near(pw_rate_test((struct pw_rate){ 0, 2 }, 0), 1, 0);
	near(pw_rate_test((struct pw_rate){ 1, 2 }, 0), 0, 0);
}

static void rates_without_events_and_sense(void **state)
{
	const struct pw_rate none = { 0, 3 }, some = { 4, 2 }, nowhere = { 1, 0 };
	struct pw_rates_test t;

	(void)state;
	assert_int_equal(pw_rates_test(none, none, 0.95, &t), 0);
	assert_true(isnan(t.ratio));
	near(t.p_value, 1, 0);
	assert_true(t.interval.lower == 0 && isinf(t.interval.upper));
	assert_int_equal(pw_rates_test(some, none, 0.95, &t), 0);
	assert_true(isinf(t.ratio) && isinf(t.interval.upper));
	near(t.p_value, pow(0.4, 4), 1e-15); /* 4 of 4 at 2/5; none of 4, (3/5)^4, is likelier */
	assert_int_equal(pw_rates_test(some, nowhere, 0.95, &t), -1);
	assert_int_equal(pw_rates_test(nowhere, some, 0.95, &t), -1);
	assert_int_equal(pw_rates_test(some, some, 1, &t), -1);
	assert_true(isnan(t.p_value) && isnan(t.interval.lower));
	is_nothing(pw_rate_exact(nowhere, 0.95));
	is_nothing(pw_rate_exact(some, 1.1));
	assert_true(isnan(pw_rate_test(nowhere, 1)) && isnan(pw_rate_test(some, -1)));
}

/* -- funnels --------------------------------------------------------------------------------- */

/* F8 (memory). */
static void normal_funnel_f8(void **state)
{
	const double by = sqrt(0.02 * 0.98 / 400);

	(void)state;
	near(pw_normal_z(pw_outside(PW_FUNNEL_WARNING)), 1.96, 5e-3);
	near(pw_normal_z(pw_outside(PW_FUNNEL_ALARM)), 3.09, 5e-3);
	is_interval(pw_funnel_normal(0.02, 400, level_of(1.96)), 0.02 - 1.96 * by,
		    0.02 + 1.96 * by, 1e-12);
	is_interval(pw_funnel_normal(0.02, 400, level_of(3.09)), 0, 0.02 + 3.09 * by, 1e-12);
	is_interval(pw_funnel_normal(0.99, 10, 0.95), 0.99 - 1.959963984540054 * sqrt(0.00099), 1,
		    1e-12);
}

/* F9 by hand: of 4 at 1/2, sixteenths 1, 5, 11, 15, 16. A quarter (4) lies 1 below the 5 at 1, of
 * the 4 that 1 has; three quarters (12) lie 3 below the 15 at 3, of its 4. */
static void exact_funnel_f9(void **state)
{
	struct pw_interval i;

	(void)state;
	is_interval(pw_funnel_exact(0.5, 4, 0.5), (1 - 1. / 4) / 4, (3 - 3. / 4) / 4, 1e-15);
	/* nothing below 0, though P(X = 0) is above the tail */
	i = pw_funnel_exact(0.001, 50, PW_FUNNEL_ALARM);
	near(i.lower, 0, 0);
	assert_true(i.upper > 1. / 50 && i.upper < 2. / 50);
	is_interval(pw_funnel_exact(0, 50, 0.95), 0, 0, 0);
	is_interval(pw_funnel_exact(1, 50, 0.95), 1, 1, 0);
}

/* For a large n * target the two are one. */
static void funnels_meet(void **state)
{
	struct pw_interval e = pw_funnel_exact(0.1, MOST, 0.95);
	struct pw_interval n = pw_funnel_normal(0.1, MOST, 0.95);

	(void)state;
	is_interval(e, n.lower, n.upper, 1. / (double)MOST);
	is_nothing(pw_funnel_exact(0.1, 0, 0.95));
	is_nothing(pw_funnel_normal(1.1, 10, 0.95));
	is_nothing(pw_funnel_exact(0.1, 10, 1));
}

/* -- looks ----------------------------------------------------------------------------------- */

/* F13 (memory): Benjamini and Hochberg (1995), their example of 15: at 0.05 theirs finds 4 and
 * Bonferroni 3. */
static void how_many_are_found_f13(void **state)
{
	static const double p[] = { .0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459,
				    .3240, .4262, .5719, .6528, .7590, 1 };
	static const struct { enum pw_adjustment method; unsigned found; } f13[] = {
		{ PW_BONFERRONI, 3 }, { PW_HOLM, 3 }, { PW_BENJAMINI_HOCHBERG, 4 },
	};
	double adjusted[COUNT(p)];

	(void)state;
	for (size_t i = 0; i < COUNT(f13); i++) {
		unsigned found = 0;

		assert_int_equal(pw_adjust(f13[i].method, p, COUNT(p), adjusted), 0);
		for (size_t k = 0; k < COUNT(p); k++)
			found += adjusted[k] <= 0.05;
		assert_int_equal(found, f13[i].found);
	}
	near(adjusted[3], .0095 * 15 / 4, 1e-15);
}

static void looks_by_hand(void **state)
{
	const double falls[] = { 0.2, 0.1 }, outside[] = { 0.2, 1.1 }, odd[] = { NAN };
	double adjusted[2];

	(void)state;
	near(pw_false_alarm(1, 0.05), 0.05, 1e-15);
	near(pw_false_alarm(20, 0.05), 1 - pow(0.95, 20), 1e-15); /* 64 % */
	near(pw_false_alarm(0, 0.05), 0, 0);
	near(pw_false_alarm(3, 1), 1, 0);
	near(pw_false_alarm(0, 1), 0, 0);
	near(pw_false_alarm(1000, 1e-12), 1e-9, 1e-18);
	assert_true(isnan(pw_false_alarm(1, -0.1)) && isnan(pw_false_alarm(1, NAN)));
	assert_int_equal(pw_adjust(PW_HOLM, falls, 2, adjusted), -1);
	assert_int_equal(pw_adjust(PW_HOLM, outside, 2, adjusted), -1);
	assert_int_equal(pw_adjust(PW_HOLM, odd, 1, adjusted), -1);
	assert_int_equal(pw_adjust((enum pw_adjustment)0, falls, 1, adjusted), -1);
	assert_int_equal(pw_adjust((enum pw_adjustment)4, falls, 1, adjusted), -1);
	assert_int_equal(pw_adjust(PW_HOLM, falls, 0, adjusted), 0);
}

/* -- distributions of times ------------------------------------------------------------------ */

/* F14: type 7 is where (n - 1) p, counted from 0, falls. */
static void quantiles_f14(void **state)
{
	const double v[] = { 10, 20, 40, 80 };

	(void)state;
	near(pw_quantile(v, 4, 0.5), 30, 0);
	near(pw_quantile(v, 4, 0.25), 17.5, 1e-14);
	near(pw_quantile(v, 4, 0.9), 68, 1e-13);
	near(pw_quantile(v, 4, 0), 10, 0);
	near(pw_quantile(v, 4, 1), 80, 0);
	near(pw_quantile(v, 1, 0.7), 10, 0);
	assert_true(isnan(pw_quantile(v, 0, 0.5)) && isnan(pw_quantile(v, 4, 1.5)));
}

static void summaries(void **state)
{
	const double large[] = { 1e9 + 1, 1e9 + 2, 1e9 + 3, 1e9 + 4 }, falls[] = { 2, 1 };
	const double odd[] = { 1, INFINITY };
	struct pw_summary s;

	(void)state;
	assert_int_equal(pw_summary(large, 4, &s), 0);
	near(s.mean, 1e9 + 2.5, 0);
	near(s.sd, sqrt(5. / 3), 1e-12);
	near(s.median, 1e9 + 2.5, 0);
	assert_int_equal(pw_summary(large, 1, &s), 0);
	near(s.q95, 1e9 + 1, 0);
	assert_true(isnan(s.sd));
	assert_int_equal(pw_summary(large, 0, &s), -1);
	assert_int_equal(pw_summary(falls, 2, &s), -1);
	assert_int_equal(pw_summary(odd, 2, &s), -1);
	assert_true(isnan(s.mean) && s.n == 2);
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(intervals_as_published_f1_f2),
		cmocka_unit_test(wilson_with_z_of_1_96_f3),
		cmocka_unit_test(none_and_all),
		cmocka_unit_test(a_level_just_below_1),
		cmocka_unit_test(a_share_s_test_by_hand),
		cmocka_unit_test(two_shares_by_hand),
		cmocka_unit_test(shares_that_make_no_sense),
		cmocka_unit_test(where_distributions_end),
		cmocka_unit_test(poisson_intervals_f6),
		cmocka_unit_test(a_rate_s_test_by_hand),
		cmocka_unit_test(rates_without_events_and_sense),
		cmocka_unit_test(normal_funnel_f8),
		cmocka_unit_test(exact_funnel_f9),
		cmocka_unit_test(funnels_meet),
		cmocka_unit_test(how_many_are_found_f13),
		cmocka_unit_test(looks_by_hand),
		cmocka_unit_test(quantiles_f14),
		cmocka_unit_test(summaries),
	};

	return cmocka_run_group_tests_name("the arithmetic of audits", tests, NULL, NULL);
}
