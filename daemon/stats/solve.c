/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

#include <float.h>

/*
 * Newton on the logarithm of the tail, which is concave for every shape of 1 or more; where a step
 * leaves what still brackets the answer, the middle of that instead.
 */
double pw_solve(const struct pw_curve *c, double tail, bool upper, struct pw_interval within,
		double first)
{
	double x = first, next;

	for (int i = 0; i < 200; i++) {
		struct pw_tails t = c->at(x, c->a, c->b);
		double is = upper ? t.above : t.below;
		double step = (log(is) - log(tail)) * is / t.density;

		if ((is > tail) == upper)
			within.lower = x;
		else
			within.upper = x;
		next = upper ? x + step : x - step;
		if (!(next > within.lower && next < within.upper))
			next = (within.lower + within.upper) / 2;
		if (fabs(next - x) <= 2 * DBL_EPSILON * x)
			return next;
		x = next;
	}
	return x;
}
