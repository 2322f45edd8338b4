/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The incomplete beta function by the continued fraction of DiDonato and Morris, ACM TOMS 18:360
 * (1992), from memory: its terms stay above 0 for x below the mean, where the shorter fraction of
 * DLMF 8.17.22 takes differences.
 */
#include "stats_internal.h"

/* with: x, a, b, and a - (a + b) x. */
static struct pw_term below(const double *with, double n)
{
	const double x = with[0], a = with[1], b = with[2], two = a + 2 * n;
	struct pw_term t = { .b = n + (a + n) / (two + 1) * (with[3] + 1 + n * (2 - x)) };

	if (n > 0) {
		t.a = (a + n - 1) * (a + b + n - 1) * n * (b - n) * x * x / ((two - 1) * (two - 1));
		t.b += n * (b - n) * x / (two - 1);
	}
	return t;
}

struct pw_tails pw_beta(double x, double a, double b)
{
	struct pw_tails t = { .below = x <= 0 ? 0 : 1, .above = x <= 0 ? 1 : 0, .density = 0 };
	double y = 1 - x, power, far;

	if (x <= 0 || y <= 0)
		return t;
	power = pw_point_binomial(a, a + b, x, y) * a / (a + b) * b; /* x^a y^b / B(a, b) */
	far = x < 0.5 ? a - (a + b) * x : (a + b) * y - b; /* of the one that is not rounded */
	t.density = power / x / y;
	if (far >= 0) {
		t.below = power / pw_fraction(below, (double[]){ x, a, b, far });
		t.above = 1 - t.below;
	} else {
		t.above = power / pw_fraction(below, (double[]){ y, b, a, -far });
		t.below = 1 - t.above;
	}
	return t;
}

double pw_beta_x(double tail, bool upper, double a, double b)
{
	double mean = a / (a + b), sd = sqrt(mean * (1 - mean) / (a + b + 1));
	double first = mean + (upper ? sd : -sd) * pw_normal_z(tail);
	struct pw_interval within = { 0, 1 };

	return pw_solve(&(struct pw_curve){ pw_beta, a, b }, tail, upper, within,
			first > 0 && first < 1 ? first : mean);
}
