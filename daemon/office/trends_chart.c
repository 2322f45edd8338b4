/* SPDX-License-Identifier: Apache-2.0 */
#include "trends.h"

#include <math.h>
#include <stdio.h>

#include "zone.h"

/* A tally of a month has no day. */
static int32_t first_day(int32_t span)
{
	return span % 100 == 0 ? span + 1 : span;
}

static int32_t begin_of(enum pw_trends_step step, int32_t span)
{
	int32_t days;

	if (step == PW_TRENDS_MONTH)
		return span / 100 * 100 + 1;
	days = pw_date_days(first_day(span));
	return pw_date_from(days - (pw_date_weekday(days) - 1));
}

static void add_up(struct pw_tally *sum, const struct pw_tally *t)
{
	sum->runs += t->runs;
	sum->sweeps += t->sweeps;
	sum->walked += t->walked;
	sum->late += t->late;
	sum->doubtful += t->doubtful;
	sum->missed += t->missed;
	sum->no_record += t->no_record;
	sum->silent += t->silent;
	sum->unplanned += t->unplanned;
	sum->corrected += t->corrected;
	sum->refused += t->refused;
	sum->unchecked_ms += t->unchecked_ms;
}

int pw_trends_series_add(struct pw_trends_series *s, const struct pw_tally *t)
{
	int32_t begin = begin_of(s->step, t->span);
	struct pw_trends_period *last = s->periods > 0 ? &s->period[s->periods - 1] : NULL;

	if (last == NULL || last->begin != begin) {
		if (s->periods == PW_TRENDS_PERIODS)
			return -1;
		last = &s->period[s->periods++];
		*last = (struct pw_trends_period){ .begin = begin };
	}
	add_up(&last->sum, t);
	return 0;
}

static struct pw_chart_point point_of(const struct pw_tally *t, enum pw_trends_of of)
{
	const struct pw_share s = pw_trends_share(t, of);

	if (of == PW_TRENDS_OF_NONE)
		return (struct pw_chart_point){ .count = (double)t->refused,
						.size = (double)t->sweeps };
	return (struct pw_chart_point){ .count = (double)s.x, .size = (double)s.n };
}

int pw_trends_chart(const struct pw_trends_series *s, enum pw_trends_of of,
		    struct pw_trends_chart *out)
{
	const enum pw_chart_kind kind = of == PW_TRENDS_OF_NONE ? PW_CHART_U : PW_CHART_P;

	out->points = 0;
	for (size_t i = 0; i < s->periods; i++) {
		const struct pw_chart_point p = point_of(&s->period[i].sum, of);

		if (!(p.size > 0))
			continue;
		out->index[out->points] = i;
		out->point[out->points++] = p;
	}
	if (pw_chart(kind, NAN, out->point, out->points, &out->chart) != 0)
		return -1;
	pw_runs(pw_run_rules, PW_RUN_RULES, out->point, out->points);
	return 0;
}
