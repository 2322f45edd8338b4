/* SPDX-License-Identifier: Apache-2.0 */
/* The incomplete gamma function (DLMF 8.7.1, 8.9.2, from memory) and what rests on it. */
#include "stats_internal.h"

#include <float.h>

/* Below: 1 + x / (shape + 1) + x^2 / ((shape + 1) (shape + 2)) + ... */
static double series(double x, double shape)
{
	double sum = 1, term = 1;

	for (double i = 1; term > sum * DBL_EPSILON; i++) {
		term *= x / (shape + i);
		sum += term;
	}
	return sum;
}

static struct pw_term above(const double *with, double n)
{
	const double x = with[0], shape = with[1];

	return (struct pw_term){ .a = n * (shape - n), .b = x + 2 * n + 1 - shape };
}

struct pw_tails pw_gamma(double x, double shape)
{
	struct pw_tails t = { .below = 0, .above = 1, .density = 0 };
	double point;

	if (x <= 0)
		return t;
	point = pw_point_poisson(shape, x);
	t.density = point * shape / x;
	if (x < shape + 1) {
		t.below = point * series(x, shape);
		t.above = 1 - t.below;
	} else {
		t.above = point * shape / pw_fraction(above, (double[]){ x, shape });
		t.below = 1 - t.above;
	}
	return t;
}

static struct pw_tails at(double x, double shape, double unused)
{
	(void)unused;
	return pw_gamma(x, shape);
}

double pw_gamma_x(double tail, bool upper, double shape)
{
	/* Wilson and Hilferty: the cube root of a gamma variable is all but normal. */
	double root = 1 - 1 / (9 * shape) +
		      (upper ? 1 : -1) * pw_normal_z(tail) / (3 * sqrt(shape));
	struct pw_interval within = { 0, shape + 60 * sqrt(shape) + 1000 };

	return pw_solve(&(struct pw_curve){ at, shape, 0 }, tail, upper, within,
			root > 0 ? shape * root * root * root : 0);
}

double pw_chi_square_above(double x, unsigned freedom)
{
	return pw_gamma(x / 2, freedom / 2.).above;
}
