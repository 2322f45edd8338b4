/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

static const struct pw_interval nothing = { NAN, NAN };

static bool makes_sense(struct pw_share s, double level)
{
	return s.x <= s.n && level > 0 && level < 1;
}

/* One side of the Wilson interval: towards is 1 or -1; p is moved that way by the correction. */
static double wilson_limit(double p, double n, double z, double towards)
{
	double half = z * z / (2 * n);

	return (p + half + towards * z * sqrt(p * (1 - p) / n + half / (2 * n))) / (1 + 2 * half);
}

struct pw_interval pw_share_wilson(struct pw_share s, double level, bool corrected)
{
	const double n = (double)s.n, p = (double)s.x / n, by = corrected ? 0.5 / n : 0;
	struct pw_interval i = { 0, 1 };
	double z;

	if (!makes_sense(s, level))
		return nothing;
	z = pw_normal_z(pw_outside(level));
	if (p - by > 0)
		i.lower = wilson_limit(p - by, n, z, -1);
	if (p + by < 1)
		i.upper = wilson_limit(p + by, n, z, 1);
	return i;
}

struct pw_interval pw_share_exact(struct pw_share s, double level)
{
	const double x = (double)s.x, n = (double)s.n, outside = pw_outside(level);
	struct pw_interval i = { 0, 1 };

	if (!makes_sense(s, level))
		return nothing;
	if (s.x > 0)
		i.lower = pw_beta_x(outside, false, x, n - x + 1);
	if (s.x < s.n)
		i.upper = pw_beta_x(outside, true, x + 1, n - x);
	return i;
}

double pw_share_test(struct pw_share s, double expected)
{
	const double n = (double)s.n;
	const struct pw_law law = { .n = n, .p = expected, .mean = n * expected };

	if (s.x > s.n || !(expected >= 0 && expected <= 1))
		return NAN;
	return pw_law_test(&law, (double)s.x);
}

/* -- do shares differ? ----------------------------------------------------------------------- */

static double pooled(const struct pw_share *group, size_t groups)
{
	double x = 0, n = 0;

	for (size_t i = 0; i < groups; i++) {
		x += (double)group[i].x;
		n += (double)group[i].n;
	}
	return x / n;
}

static double chi_square(const struct pw_share *group, size_t groups, double by)
{
	const double p = pooled(group, groups);
	double sum = 0;

	if (p <= 0 || p >= 1)
		return 0;
	for (size_t i = 0; i < groups; i++) {
		double n = (double)group[i].n, off = fabs((double)group[i].x - n * p) - by;

		sum += off * off / (n * p) + off * off / (n * (1 - p));
	}
	return sum;
}

static struct pw_interval difference(double p, double q, double n, double m, double by,
				     double level)
{
	const double z = pw_normal_z(pw_outside(level)), both = 1 / n + 1 / m;
	const double width = z * sqrt(p * (1 - p) / n + q * (1 - q) / m) + by * both;

	return (struct pw_interval){ fmax(p - q - width, -1), fmin(p - q + width, 1) };
}

int pw_shares_test(const struct pw_share *group, size_t groups, bool corrected, double level,
		   struct pw_shares_test *out)
{
	double p, q, n, m, by = 0;

	*out = (struct pw_shares_test){ NAN, NAN, 0, nothing };
	for (size_t i = 0; i < groups; i++)
		if (group[i].n == 0 || !makes_sense(group[i], level))
			return -1;
	if (groups < 2)
		return -1;
	if (groups == 2) {
		n = (double)group[0].n;
		m = (double)group[1].n;
		p = (double)group[0].x / n;
		q = (double)group[1].x / m;
		if (corrected)
			by = fmin(0.5, fabs(p - q) / (1 / n + 1 / m));
		out->difference = difference(p, q, n, m, by, level);
	}
	out->statistic = chi_square(group, groups, by);
	out->freedom = (unsigned)groups - 1;
	out->p_value = pw_chi_square_above(out->statistic, out->freedom);
	return 0;
}
