/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

static bool makes_sense(double target, uint64_t n, double level)
{
	return target >= 0 && target <= 1 && n > 0 && level > 0 && level < 1;
}

struct pw_interval pw_funnel_normal(double target, uint64_t n, double level)
{
	double by;

	if (!makes_sense(target, n, level))
		return (struct pw_interval){ NAN, NAN };
	by = pw_normal_z(pw_outside(level)) * sqrt(target * (1 - target) / (double)n);
	return (struct pw_interval){ fmax(target - by, 0), fmin(target + by, 1) };
}

/* Is the chance of k or fewer as much as p? Asked of the small tail, whose digits are whole. */
static bool reaches(struct pw_tails t, double outside, bool upper)
{
	return upper ? t.above <= outside : t.below >= outside;
}

/* The smallest count that reaches it: from a guess outwards in growing steps, then between. */
static double smallest(const struct pw_law *law, double outside, bool upper)
{
	const double sd = sqrt(law->mean * (1 - law->p));
	const double guess = law->mean + (upper ? sd : -sd) * pw_normal_z(outside);
	double low = -1, high = law->n, k = fmin(fmax(floor(guess), 0), law->n - 1);

	for (double step = 1; high - low > 1; step *= 2) {
		bool is = reaches(pw_law(law, k), outside, upper);

		if (is)
			high = k;
		else
			low = k;
		k = floor((low + high) / 2);
		k = is ? fmax(high - step, k) : fmin(low + step, k);
	}
	return high;
}

static double limit(const struct pw_law *law, double outside, bool upper)
{
	const double r = smallest(law, outside, upper);
	const struct pw_tails t = pw_law(law, r);
	const double over = upper ? outside - t.above : t.below - outside;

	return fmax((r - over / t.density) / law->n, 0);
}

struct pw_interval pw_funnel_exact(double target, uint64_t n, double level)
{
	const struct pw_law law = { .n = (double)n, .p = target, .mean = (double)n * target };
	double outside;

	if (!makes_sense(target, n, level))
		return (struct pw_interval){ NAN, NAN };
	if (target <= 0 || target >= 1) /* nothing is left to chance */
		return (struct pw_interval){ target, target };
	outside = pw_outside(level);
	return (struct pw_interval){ limit(&law, outside, false), limit(&law, outside, true) };
}
