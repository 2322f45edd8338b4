/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

#define HANDBOOK "NIST/SEMATECH e-Handbook 6.3.2"

const struct pw_run_rule pw_run_rules[PW_RUN_RULES] = {
	{ .name = "beyond_3_sigma", .words = "one point beyond 3 sigma", .source = HANDBOOK,
	  .need = 1, .of = 1, .beyond = 3 },
	{ .name = "2_of_3_beyond_2", .words = "2 of 3 in a row beyond 2 sigma on one side",
	  .source = HANDBOOK, .need = 2, .of = 3, .beyond = 2 },
	{ .name = "4_of_5_beyond_1", .words = "4 of 5 in a row beyond 1 sigma on one side",
	  .source = HANDBOOK, .need = 4, .of = 5, .beyond = 1 },
	{ .name = "8_on_one_side", .words = "8 in a row on one side of the mean",
	  .source = HANDBOOK, .need = 8, .of = 8, .beyond = 0 },
	{ .name = "6_rising_or_falling", .words = "6 in a row rising, or 6 falling",
	  .source = HANDBOOK, .need = 6, .of = 6, .trend = true },
};

const struct pw_year pw_worst_year[PW_WORST_YEARS] = {
	{ 2010, 18 }, { 2011, 22 }, { 2012, 20 }, { 2013, 27 }, { 2014, 18 }, { 2015, 21 },
	{ 2016, 19 }, { 2017, 24 }, { 2018, 32 },
};

/* side: 1 above the mean, -1 below it. */
static bool is_beyond(const struct pw_run_rule *r, const struct pw_chart_point *p, double side)
{
	return side * p->sigmas > r->beyond;
}

/* Does the run end at the last of so many points? */
static bool runs(const struct pw_run_rule *r, const struct pw_chart_point *last, size_t points,
		 double side)
{
	unsigned found = 0;

	if (!is_beyond(r, last, side))
		return false;
	for (size_t back = 0; back < r->of && back < points; back++)
		found += is_beyond(r, last - back, side);
	return found >= r->need;
}

static bool climbs(const struct pw_run_rule *r, const struct pw_chart_point *last, size_t points,
		   double side)
{
	if (points < r->need)
		return false;
	for (size_t back = 0; back + 1 < r->need; back++, last--)
		if (!(side * (last->value - last[-1].value) > 0))
			return false;
	return true;
}

void pw_runs(const struct pw_run_rule *rule, unsigned rules, struct pw_chart_point *point,
	     size_t points)
{
	for (size_t i = 0; i < points; i++) {
		point[i].rules = 0;
		for (unsigned n = 0; n < rules && n < 32; n++) {
			const struct pw_run_rule *r = &rule[n];
			bool (*ends)(const struct pw_run_rule *, const struct pw_chart_point *,
				     size_t, double) = r->trend ? climbs : runs;

			if (ends(r, &point[i], i + 1, 1) || ends(r, &point[i], i + 1, -1))
				point[i].rules |= UINT32_C(1) << n;
		}
	}
}
