/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

static bool makes_sense(struct pw_rate r)
{
	return r.exposure > 0 && isfinite(r.exposure);
}

struct pw_interval pw_rate_exact(struct pw_rate r, double level)
{
	const double x = (double)r.x, outside = pw_outside(level);
	struct pw_interval i = { NAN, NAN };

	if (!makes_sense(r) || isnan(outside))
		return i;
	i.lower = r.x > 0 ? pw_gamma_x(outside, false, x) / r.exposure : 0;
	i.upper = pw_gamma_x(outside, true, x + 1) / r.exposure;
	return i;
}

double pw_rate_test(struct pw_rate r, double expected)
{
	const struct pw_law law = { .n = INFINITY, .mean = expected * r.exposure };

	if (!makes_sense(r) || !(expected >= 0 && isfinite(expected)))
		return NAN;
	return pw_law_test(&law, (double)r.x);
}

/* Of all events a share falls to the first: its share of the exposure, were the rates alike. */
int pw_rates_test(struct pw_rate first, struct pw_rate second, double level,
		  struct pw_rates_test *out)
{
	const struct pw_share s = { first.x, first.x + second.x };
	struct pw_interval i = pw_share_exact(s, level);
	double per = second.exposure / first.exposure;

	*out = (struct pw_rates_test){ NAN, NAN, { NAN, NAN } };
	if (!makes_sense(first) || !makes_sense(second) || isnan(i.lower))
		return -1;
	out->ratio = (double)first.x / first.exposure / ((double)second.x / second.exposure);
	out->p_value = pw_share_test(s, first.exposure / (first.exposure + second.exposure));
	out->interval.lower = i.lower / (1 - i.lower) * per;
	out->interval.upper = i.upper / (1 - i.upper) * per;
	return 0;
}
