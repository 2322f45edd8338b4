/* SPDX-License-Identifier: Apache-2.0 */
/* Drift and trend: the handbook's examples (F11, F12), run lengths by integral and play (F15). */
#include "stats_table.h"
#include "stats_random.h"

/* -- CUSUM and EWMA -------------------------------------------------------------------------- */

/* F11: NIST/SEMATECH e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959 (from memory, recomputed).
 * The first signal is at the 14th. */
static void cusum_f11(void **state)
{
	static const struct { double value, cusum; } rows[] = {
		{ 324.925, 0 }, { 324.675, 0 }, { 324.725, 0 }, { 324.350, 0 }, { 325.350, 0.03 },
		{ 325.225, 0 }, { 324.125, 0 }, { 324.525, 0 }, { 325.225, 0 }, { 324.600, 0 },
		{ 324.625, 0 }, { 325.150, 0 }, { 328.325, 3.01 }, { 327.250, 4.94 },
		{ 327.825, 7.45 }, { 328.500, 10.63 }, { 326.675, 11.99 }, { 327.775, 14.44 },
		{ 326.875, 16.00 }, { 328.350, 19.04 },
	};
	struct pw_drift d = { .mean = 325, .sigma = 1, .k = 0.3175, .h = 4.1959, .lambda = 0.2,
			      .limit = 3, .ewma = 325 };

	(void)state;
	for (size_t i = 0; i < COUNT(rows); i++) {
		pw_drift_day(&d, rows[i].value);
		near(d.cusum, rows[i].cusum, 0.00501);
		assert_int_equal(d.cusum_out, i + 1 >= 14);
	}
	assert_int_equal(d.days, 8); /* so it began at the 13th */
}

/* F12: as F11, 6.3.2.4: mean 50, sigma 2.0539, lambda 0.3, upper limit 52.5884; none is out (from
 * memory, recomputed). */
static void ewma_f12(void **state)
{
	static const double value[] = { 52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0,
					50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3,
					47.8, 51.2, 52.6, 52.4, 53.6, 52.1 };
	static const double ewma[] = { 50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75,
				       49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
				       49.38, 49.92, 50.73, 51.23, 51.94, 51.99 };
	struct pw_drift d = { .mean = 50, .sigma = 2.0539, .k = 0.5, .h = 5, .lambda = 0.3,
			      .limit = 3, .ewma = 50 };

	(void)state;
	for (size_t i = 0; i < COUNT(value); i++) {
		pw_drift_day(&d, value[i]);
		near(d.ewma, ewma[i], 0.00501);
		assert_false(d.ewma_out);
	}
	/* From 51.99 one more value brings it just to the limit, or over it. */
	for (int over = 0; over <= 1; over++) {
		struct pw_drift next = d;

		pw_drift_day(&next, (52.5884 + (over ? 1e-4 : -1e-4) - 0.7 * d.ewma) / 0.3);
		assert_int_equal(next.ewma_out, over);
	}
}

static void a_drift_begins(void **state)
{
	static const double quiet[] = { 0, 0, 0, 0, 0 }, busy[] = { 2, 4, 6 }, odd[] = { 1, NAN };
	struct pw_drift d;

	(void)state;
	assert_int_equal(pw_drift_begin(busy, 3, 1, &d), 0);
	near(d.mean, 4, 0);
	near(d.sigma, 2, 1e-15);
	near(d.ewma, 4, 0);
	assert_true(d.k == 0.5 && d.h == 5 && d.lambda == 0.2 && d.limit == 3);
	/* one bounce after quiet days is no signal; it is one that they come every day */
	assert_int_equal(pw_drift_begin(quiet, 5, 1, &d), 0);
	pw_drift_day(&d, 1);
	assert_false(d.cusum_out || d.ewma_out);
	for (int i = 0; i < 10; i++)
		pw_drift_day(&d, 1);
	assert_true(d.cusum_out);
	assert_int_equal(d.days, 11);
	pw_drift_day(&d, -100);
	assert_true(!d.cusum_out && d.days == 0);
	assert_int_equal(pw_drift_begin(quiet, 5, 0, &d), -1);
	assert_int_equal(pw_drift_begin(busy, 1, 1, &d), -1);
	assert_int_equal(pw_drift_begin(busy, 0, 1, &d), -1);
	assert_int_equal(pw_drift_begin(odd, 2, 1, &d), -1);
}

/* -- run lengths ----------------------------------------------------------------------------- */

/* F15: the table has three digits of what R finds by the integral equation. */
static void arl_row(const struct row *r)
{
	const struct pw_drift_arl *a = &pw_drift_arl[r->line - 2];
	const struct { const char *field; double value; } of[] = {
		{ "shift", a->shift }, { "cusum_h4", a->cusum_h4 }, { "cusum_h5", a->cusum_h5 },
		{ "ewma", a->ewma },
	};

	for (size_t i = 0; i < COUNT(of); i++) {
		char text[32];

		snprintf(text, sizeof(text), "%.3g", one(r, of[i].field));
		near(of[i].value, strtod(text, NULL), 0);
	}
}

static void run_lengths_by_integral_equation(void **state)
{
	(void)state;
	each_row("arl", PW_DRIFT_ARLS, arl_row);
}

/* F11: as in the handbook's 6.3.2.3.1 (from memory). Its figures for a shift of 1/4, 74.2 and 140,
 * are left out: they are those of a chart that looks up and down (computed: 74.22 and 139.5). */
static void run_lengths_as_in_the_handbook_f11(void **state)
{
	static const double handbook[PW_DRIFT_ARLS][2] = {
		{ 336, 930 }, { NAN, NAN }, { 26.6, 38.0 }, { 13.3, 17.0 }, { 8.38, 10.4 },
		{ 4.75, 5.75 }, { 3.34, 4.01 }, { 2.62, 3.11 }, { 2.19, 2.57 }, { 1.71, 2.01 },
	};

	(void)state;
	for (size_t i = 0; i < PW_DRIFT_ARLS; i++) {
		if (isnan(handbook[i][0]))
			continue;
		near(pw_drift_arl[i].cusum_h4, handbook[i][0], 0.004 * handbook[i][0]);
		near(pw_drift_arl[i].cusum_h5, handbook[i][1], 0.004 * handbook[i][1]);
	}
}

static unsigned days_to_signal(struct random *r, double shift, bool ewma)
{
	struct pw_drift d = { .mean = 10, .sigma = 2, .k = 0.5, .h = 5, .lambda = 0.2, .limit = 3,
			      .ewma = 10 };

	for (unsigned day = 1; ; day++) {
		pw_drift_day(&d, 10 + 2 * (shift + random_normal(r)));
		if (ewma ? d.ewma_out : d.cusum_out)
			return day;
	}
}

/* Played: the mean of many runs is within three of its standard errors. */
static void run_lengths_by_play(void **state)
{
	enum { RUNS = 2000 };
	struct random r = random_begin(11);

	(void)state;
	for (size_t row = 0; row < PW_DRIFT_ARLS; row++)
		for (int ewma = 0; ewma <= 1; ewma++) {
			const struct pw_drift_arl *a = &pw_drift_arl[row];
			double sum = 0, squares = 0, mean;

			for (unsigned i = 0; i < RUNS; i++) {
				double n = days_to_signal(&r, a->shift, ewma);

				sum += n;
				squares += n * n;
			}
			mean = sum / RUNS;
			near(mean, ewma ? a->ewma : a->cusum_h5,
			     3 * sqrt((squares / RUNS - mean * mean) / RUNS) + 0.005 * mean);
		}
}

/* -- trend ----------------------------------------------------------------------------------- */

/* By hand: of 15 slopes the ten that leave the wild day out are 1. */
static void a_wild_day_does_not_turn_the_line(void **state)
{
	static const double x[] = { 0, 1, 2, 3, 4, 5 }, y[] = { 7, 8, 9, 110, 11, 12 };
	double scratch[21];
	struct pw_trend t;

	(void)state;
	assert_int_equal(pw_trend(x, y, 6, scratch, &t), 0);
	near(t.slope, 1, 0);
	near(t.at_zero, 7, 0);
	near(t.tau, (13 - 2) / 15., 1e-15); /* the wild day is above the two after it */
}

/* By hand: of 24 orders of 4 one has no inversion and one has all; 3 have one inversion. */
static void kendall_by_hand(void **state)
{
	static const double x[] = { 1, 2, 3, 4 }, up[] = { 1, 2, 3, 4 }, down[] = { 4, 3, 2, 1 };
	static const double one_off[] = { 1, 2, 4, 3 }, flat[] = { 5, 5, 5, 5 };
	double scratch[10];
	struct pw_trend t;

	(void)state;
	assert_int_equal(pw_trend(x, up, 4, scratch, &t), 0);
	near(t.tau, 1, 0);
	near(t.p_value, 2. / 24, 1e-15);
	assert_int_equal(pw_trend(x, down, 4, scratch, &t), 0);
	near(t.tau, -1, 0);
	near(t.p_value, 2. / 24, 1e-15);
	assert_int_equal(pw_trend(x, one_off, 4, scratch, &t), 0);
	near(t.p_value, 8. / 24, 1e-15);
	assert_int_equal(pw_trend(x, flat, 4, scratch, &t), 0);
	assert_true(t.slope == 0 && t.at_zero == 5 && t.tau == 0 && t.p_value == 1);
	assert_int_equal(pw_trend(flat, x, 4, scratch, &t), -1);
	assert_true(isnan(t.slope) && isnan(t.p_value));
	assert_int_equal(pw_trend(x, up, 1, scratch, &t), -1);
	assert_int_equal(pw_trend(x, up, 0, scratch, &t), -1);
	assert_int_equal(pw_trend(x, (double[]){ 1, NAN, 3, 4 }, 4, scratch, &t), -1);
	assert_int_equal(pw_trend(x, (double[]){ 1, 2 }, 2, scratch, &t), 0);
	near(t.p_value, 1, 0);
}

/* 49 points are the most that are counted exactly: all in order, 2 / 49!. */
static void the_longest_exact_one(void **state)
{
	static double scratch[50 * 51 / 2];
	double v[50], log_p = log(2);
	struct pw_trend t;

	(void)state;
	for (int i = 0; i < 50; i++)
		v[i] = i;
	for (int i = 2; i <= 49; i++)
		log_p -= log(i);
	assert_int_equal(pw_trend(v, v, 49, scratch, &t), 0);
	near(log(t.p_value), log_p, 1e-12);
	assert_int_equal(pw_trend(v, v, 50, scratch, &t), 0);
	near(t.p_value, 2 * pw_normal(1225 / sqrt(50 * 49 * 105 / 18.)).above, 1e-30);
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(cusum_f11),
		cmocka_unit_test(ewma_f12),
		cmocka_unit_test(a_drift_begins),
		cmocka_unit_test(run_lengths_by_integral_equation),
		cmocka_unit_test(run_lengths_as_in_the_handbook_f11),
		cmocka_unit_test(run_lengths_by_play),
		cmocka_unit_test(a_wild_day_does_not_turn_the_line),
		cmocka_unit_test(kendall_by_hand),
		cmocka_unit_test(the_longest_exact_one),
	};

	return cmocka_run_group_tests_name("drift and trend", tests, NULL, NULL);
}
