/* SPDX-License-Identifier: Apache-2.0 */
/* How warm it can have been: the curves of docs/sources.md, C1-C6, and what is made of them. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>

#include "office/heat.h"

#define MINUTE INT64_C(60000)
#define HOUR (60 * MINUTE)
#define NEAR(a, b, by)                                                                        \
	do {                                                                                  \
		double a_ = (a), b_ = (b);                                                    \
		if (!(fabs(a_ - b_) <= (by)))                                                 \
			fail_msg("%d: %s is %g, expected %g", __LINE__, #a, a_, b_);           \
	} while (0)

static double rise_f(enum pw_heat_curve curve, double minutes)
{
	return pw_heat_rise(curve, minutes) * 9 / 5;
}

/* C3, docs/sources.md: the fit to C2's figures, computed there: 13.13 ln t - 10.82. */
static void c3_is_the_fit_that_the_sources_have(void **state)
{
	static const struct { double minutes, f; } values[] = {
		{ 10, 19.4 }, { 20, 28.5 }, { 30, 33.8 }, { 60, 42.9 }, { 90, 48.3 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(values) / sizeof(values[0]); i++)
		NEAR(rise_f(PW_HEAT_C3, values[i].minutes), values[i].f, 0.05);
	/* C2 itself, second-hand (20 min: memory): the fit is within a degree of it */
	NEAR(rise_f(PW_HEAT_C3, 20), 29, 1);
	NEAR(rise_f(PW_HEAT_C3, 60), 43, 1);
	NEAR(rise_f(PW_HEAT_C3, 5), 19.4 / 2, 0.05);  /* a straight line up to its first figure */
	NEAR(rise_f(PW_HEAT_C3, 600), 48.3, 0.05);    /* its last figure stands */
}

/* C1, Pediatrics 116:e109 (2005): about 40 degrees Fahrenheit in 60 min, 80 % of it within 30; 3.2 in 5 min
 * on average. */
static void c1_is_what_the_publication_says(void **state)
{
	(void)state;
	NEAR(rise_f(PW_HEAT_C1, 60), 40, 0.01);
	NEAR(rise_f(PW_HEAT_C1, 30) / rise_f(PW_HEAT_C1, 60), 0.8, 0.001);
	NEAR(rise_f(PW_HEAT_C1, 60) / 12, 3.2, 0.2);
	NEAR(rise_f(PW_HEAT_C1, 0), 0, 0);
	NEAR(rise_f(PW_HEAT_C1, -3), 0, 0);
}

/* C4, BAMS 2010: the largest rates, in degrees Celsius. */
static void c4_is_what_the_publication_says(void **state)
{
	static const struct { double minutes, c; } values[] = {
		{ 5, 4 }, { 10, 7 }, { 30, 16 }, { 60, 26 }, { 0, 0 }, { 20, 11.5 }, { 90, 26 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(values) / sizeof(values[0]); i++)
		NEAR(pw_heat_rise(PW_HEAT_C4, values[i].minutes), values[i].c, 1e-9);
}

static void no_curve_ever_falls(void **state)
{
	(void)state;
	for (enum pw_heat_curve c = PW_HEAT_C1; c < PW_HEAT_CURVES; c++)
		for (int s = 1; s < 2 * 3600; s++)
			if (pw_heat_rise(c, s / 60.0) < pw_heat_rise(c, (s - 1) / 60.0))
				fail_msg("curve %d falls at %d s", c, s);
}

static void a_range_is_of_all_three(void **state)
{
	double least, most;

	(void)state;
	pw_heat_range(30, &least, &most);
	NEAR(least, 16, 1e-9);               /* C4 */
	NEAR(most, 33.8 * 5 / 9, 0.05);      /* C3 */
	pw_heat_range(60, &least, &most);
	NEAR(least, 40 * 5.0 / 9, 1e-9);     /* C1 */
	NEAR(most, 26, 1e-9);                /* C4 */
	pw_heat_range(0, &least, &most);
	NEAR(least, 0, 0);
	NEAR(most, 0, 0);
	NEAR(pw_heat_fahrenheit(40), 104, 1e-9); /* as C5 has it: 104 degrees Fahrenheit */
	NEAR(pw_heat_fahrenheit(-40), -40, 1e-9);
}

/* -- reckoning --------------------------------------------------------------------------------- */

static void half_an_hour_at_thirty_degrees(void **state)
{
	const struct pw_warm warm[] = { { 0, 300 } };
	struct pw_heat h;

	(void)state;
	pw_heat_reckon(warm, 1, false, 10 * MINUTE, 40 * MINUTE, &h);
	assert_true(h.known && !h.cabin && !h.held);
	NEAR(h.known_most_c, 30, 1e-9);
	NEAR(h.inside_least_c, 46, 1e-9);
	NEAR(h.inside_most_c, 30 + 33.8 * 5 / 9, 0.05);
	assert_int_equal(h.freezing_ms, 0);
	assert_int_equal(h.unknown_ms, 0);
	assert_true(h.degree_hours > 0.5 * 9 && h.degree_hours < 0.5 * (9 + 19));
}

/* C6: cold as well; over six hours at -5 degrees Celsius (23 degrees Fahrenheit). */
static void a_long_night_below_freezing(void **state)
{
	struct pw_warm warm[9];
	struct pw_heat cold, mild;

	(void)state;
	for (int i = 0; i < 9; i++)
		warm[i] = (struct pw_warm){ i * HOUR, -50 };
	pw_heat_reckon(warm, 9, false, 0, 6 * HOUR + 30 * MINUTE, &cold);
	assert_int_equal(cold.freezing_ms, 6 * HOUR + 30 * MINUTE);
	assert_true(cold.held);
	NEAR(cold.degree_hours, 6.5 * 26, 0.5);
	for (int i = 0; i < 9; i++)
		warm[i].c10 = 120;
	pw_heat_reckon(warm, 9, true, 0, 6 * HOUR + 30 * MINUTE, &mild);
	assert_true(cold.degree_hours > mild.degree_hours);
}

static void inside_no_curve_is_laid_over_it(void **state)
{
	const struct pw_warm warm[] = { { 0, 210 }, { 10 * MINUTE, 380 }, { 20 * MINUTE, 350 } };
	struct pw_heat h;

	(void)state;
	pw_heat_reckon(warm, 3, true, 0, 30 * MINUTE, &h);
	assert_true(h.cabin && !h.held);
	NEAR(h.known_least_c, 21, 1e-9);
	NEAR(h.inside_most_c, 38, 1e-9);
	NEAR(h.inside_least_c, 35, 1e-9);
	/* 9 min at 21, then 10 at 38 and 11 at 35, as they were at each minute's end */
	NEAR(h.degree_hours, (10 * 17 + 11 * 14) / 60.0, 1e-6);
}

static void what_is_old_or_not_yet_is_not_known(void **state)
{
	const struct pw_warm warm[] = { { 0, 300 }, { 5 * HOUR, 310 } };
	struct pw_heat h;

	(void)state;
	pw_heat_reckon(warm, 2, false, 3 * HOUR, 4 * HOUR, &h);
	assert_false(h.known);
	assert_int_equal(h.unknown_ms, HOUR);
	pw_heat_reckon(warm, 2, false, -HOUR, HOUR, &h);
	assert_true(h.known);
	assert_true(h.unknown_ms >= HOUR - MINUTE && h.unknown_ms <= HOUR);
	pw_heat_reckon(NULL, 0, false, 0, HOUR, &h);
	assert_false(h.known);
	pw_heat_reckon(warm, 2, false, HOUR, HOUR, &h); /* no time at all */
	assert_false(h.known);
	assert_int_equal(h.unknown_ms, 0);
}

/* The longer, the more: what the order of the list stands on. */
static void longer_is_never_less(void **state)
{
	const struct pw_warm warm[] = { { 0, 250 } };
	struct pw_heat before, h;

	(void)state;
	pw_heat_reckon(warm, 1, false, 0, MINUTE, &before);
	for (int64_t m = 2; m < 120; m++) {
		pw_heat_reckon(warm, 1, false, 0, m * MINUTE, &h);
		if (!(h.degree_hours > before.degree_hours))
			fail_msg("%d min", (int)m);
		before = h;
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(c3_is_the_fit_that_the_sources_have),
		cmocka_unit_test(c1_is_what_the_publication_says),
		cmocka_unit_test(c4_is_what_the_publication_says),
		cmocka_unit_test(no_curve_ever_falls),
		cmocka_unit_test(a_range_is_of_all_three),
		cmocka_unit_test(half_an_hour_at_thirty_degrees),
		cmocka_unit_test(a_long_night_below_freezing),
		cmocka_unit_test(inside_no_curve_is_laid_over_it),
		cmocka_unit_test(what_is_old_or_not_yet_is_not_known),
		cmocka_unit_test(longer_is_never_less),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
