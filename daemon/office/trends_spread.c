/* SPDX-License-Identifier: Apache-2.0 */
#include "trends.h"

#include <math.h>

void pw_spread_add(struct pw_spread *s, uint32_t second, uint64_t count)
{
	s->count[second < PW_SPREAD_MOST_S ? second : PW_SPREAD_MOST_S] += count;
	s->n += count;
}

/* The value that has so many before it, were they all in a row. */
static double at(const struct pw_spread *s, double before)
{
	uint64_t seen = 0;

	for (uint32_t second = 0; second < PW_SPREAD_MOST_S; second++) {
		seen += s->count[second];
		if ((double)seen > before)
			return second;
	}
	return PW_SPREAD_MOST_S;
}

double pw_spread_quantile(const struct pw_spread *s, double p)
{
	double place = ((double)s->n - 1) * p, whole = floor(place), low;

	if (s->n == 0 || !(p >= 0 && p <= 1))
		return NAN;
	low = at(s, whole);
	return place > whole ? low + (place - whole) * (at(s, whole + 1) - low) : low;
}

uint64_t pw_spread_below(const struct pw_spread *s, double second)
{
	uint64_t below = 0;

	for (uint32_t i = 0; i <= PW_SPREAD_MOST_S && i < second; i++)
		below += s->count[i];
	return below;
}
