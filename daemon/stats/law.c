/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

/* R takes chances that differ by less than this for one. */
#define SAME (1 + 1e-7)

static double point(const struct pw_law *law, double k)
{
	return isinf(law->n) ? pw_point_poisson(k, law->mean)
			     : pw_point_binomial(k, law->n, law->p, 1 - law->p);
}

struct pw_tails pw_law(const struct pw_law *law, double k)
{
	struct pw_tails t = { .below = 0, .above = 1 };

	if (k < 0)
		return (struct pw_tails){ .below = 0, .above = 1 };
	if (isinf(law->n))
		t = pw_gamma(law->mean, k + 1);
	else if (k < law->n)
		t = pw_beta(law->p, k + 1, law->n - k);
	/* The chance of more than k lies below mean or p, and that of k or fewer above. */
	return (struct pw_tails){ .below = t.above, .above = t.below, .density = point(law, k) };
}

/* A count beyond which all are less likely than limit. */
static double past(const struct pw_law *law, double limit)
{
	double k = ceil(law->mean) + 1;

	if (!isinf(law->n))
		return law->n + 1;
	while (point(law, k) > limit)
		k *= 2;
	return k;
}

/* Counts get likelier all the way from outer to inner: the last that is no likelier than limit. */
static double last_unlikely(const struct pw_law *law, double outer, double inner, double limit)
{
	if (point(law, inner) <= limit)
		return inner;
	while (fabs(inner - outer) > 1) {
		double middle = floor((inner + outer) / 2);

		if (point(law, middle) <= limit)
			outer = middle;
		else
			inner = middle;
	}
	return outer;
}

/* x or further from the mean, and on the other side what is no likelier than x. */
double pw_law_test(const struct pw_law *law, double x)
{
	const double limit = point(law, x) * SAME;
	double near, far, k;

	if (x < law->mean) {
		k = last_unlikely(law, past(law, limit), ceil(law->mean), limit);
		near = pw_law(law, x).below;
		far = pw_law(law, k - 1).above;
	} else if (x > law->mean) {
		k = last_unlikely(law, -1, floor(law->mean), limit);
		near = pw_law(law, x - 1).above;
		far = pw_law(law, k).below;
	} else {
		return 1;
	}
	return fmin(near + far, 1);
}
