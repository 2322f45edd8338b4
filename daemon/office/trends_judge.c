/* SPDX-License-Identifier: Apache-2.0 */
#include "trends.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const of_names[PW_TRENDS_OFS] = {
	[PW_TRENDS_OF_NONE] = "",
#define X(up, low) [PW_TRENDS_OF_##up] = #low,
	PW_TRENDS_OF_LIST(X)
#undef X
};

const char *pw_trends_of_name(enum pw_trends_of of)
{
	return of_names[of];
}

struct pw_share pw_trends_share(const struct pw_tally *t, enum pw_trends_of of)
{
	struct pw_share s = { 0, of == PW_TRENDS_OF_NO_RECORD ? t->runs : t->sweeps };

	switch (of) {
	case PW_TRENDS_OF_MISSED:
		s.x = t->missed;
		break;
	case PW_TRENDS_OF_UNPROVEN:
		s.x = t->missed + t->doubtful;
		break;
	case PW_TRENDS_OF_LATE:
		s.x = t->late;
		break;
	case PW_TRENDS_OF_NO_RECORD:
		s.x = t->no_record;
		break;
	default:
		break;
	}
	s.x = s.x < s.n ? s.x : s.n;
	return s;
}

int pw_trends_add(struct pw_trends *t, const struct pw_tally *tally)
{
	if (t->groups == t->room) {
		size_t room = t->room > 0 ? 2 * t->room : 64;
		struct pw_trends_group *group = realloc(t->group, room * sizeof(*group));

		if (group == NULL)
			return -1;
		t->group = group;
		t->room = room;
	}
	t->group[t->groups++] = (struct pw_trends_group){ .tally = *tally };
	return 0;
}

void pw_trends_free(struct pw_trends *t)
{
	free(t->group);
	*t = (struct pw_trends){ 0 };
}

/* -- limits and chances ------------------------------------------------------------------------ */

static int by_counts(const void *a, const void *b)
{
	const struct pw_share *one = &((const struct pw_trends_group *)a)->share;
	const struct pw_share *other = &((const struct pw_trends_group *)b)->share;

	if (one->n != other->n)
		return one->n < other->n ? -1 : 1;
	return (one->x > other->x) - (one->x < other->x);
}

static double known(double p)
{
	return isnan(p) ? 2 : p; /* behind all the others */
}

static int by_p_value(const void *a, const void *b)
{
	const struct pw_trends_group *one = a, *other = b;
	double difference = known(one->p_value) - known(other->p_value);

	if (difference < 0 || difference > 0)
		return difference < 0 ? -1 : 1;
	return strcmp(one->tally.name, other->tally.name);
}

static bool is_few(double target, uint64_t n)
{
	return (double)n * fmin(target, 1 - target) < PW_TRENDS_FEW;
}

struct pw_interval pw_trends_limits(double target, uint64_t n, double level)
{
	return is_few(target, n) ? pw_funnel_exact(target, n, level)
				 : pw_funnel_normal(target, n, level);
}

/* Of an upper limit between whole counts the count above it is not yet that unlikely. */
double pw_trends_reach(double target, uint64_t n, double upper)
{
	return is_few(target, n) ? ceil(upper * (double)n - 1e-6) / (double)n : upper;
}

static bool is_above(const struct pw_share *s, double target, double upper)
{
	return (double)s->x / (double)s->n > pw_trends_reach(target, s->n, upper);
}

static enum pw_trends_place place_of(const struct pw_trends_group *g, double target)
{
	double share = (double)g->share.x / (double)g->share.n;

	if (is_above(&g->share, target, g->alarm.upper))
		return PW_TRENDS_PLACE_ABOVE_998;
	if (is_above(&g->share, target, g->warning.upper))
		return PW_TRENDS_PLACE_ABOVE_95;
	if (share < g->alarm.lower)
		return PW_TRENDS_PLACE_BELOW_998;
	return share < g->warning.lower ? PW_TRENDS_PLACE_BELOW_95 : PW_TRENDS_PLACE_WITHIN;
}

/* before: the group before in the order of counts; for the same counts the same holds. */
static void judge_one(struct pw_trends_group *g, const struct pw_trends_group *before,
		      double target)
{
	bool same_n = before != NULL && before->share.n == g->share.n;

	g->warning = g->alarm = (struct pw_interval){ NAN, NAN };
	g->p_value = g->adjusted = NAN;
	g->place = PW_TRENDS_PLACE_NONE;
	if (g->share.n == 0)
		return;
	g->warning = same_n ? before->warning : pw_trends_limits(target, g->share.n, PW_FUNNEL_WARNING);
	g->alarm = same_n ? before->alarm : pw_trends_limits(target, g->share.n, PW_FUNNEL_ALARM);
	g->p_value = same_n && before->share.x == g->share.x ? before->p_value
							     : pw_share_test(g->share, target);
	g->place = place_of(g, target);
}

/* -- over all of them -------------------------------------------------------------------------- */

static int adjust(struct pw_trends *t)
{
	double *p = malloc((t->looks + 1) * sizeof(*p));

	if (p == NULL)
		return -1;
	for (size_t i = 0; i < t->looks; i++)
		p[i] = t->group[i].p_value;
	pw_adjust(PW_BENJAMINI_HOCHBERG, p, t->looks, p);
	for (size_t i = 0; i < t->looks; i++)
		t->group[i].adjusted = p[i];
	free(p);
	return 0;
}

static int disperse(struct pw_trends *t)
{
	struct pw_chart_point *point = malloc((t->looks + 1) * sizeof(*point));
	struct pw_chart chart;

	if (point == NULL)
		return -1;
	for (size_t i = 0; i < t->looks; i++) {
		const struct pw_share s = t->group[i].share;

		point[i] = (struct pw_chart_point){ .count = (double)s.x, .size = (double)s.n };
	}
	pw_chart(PW_CHART_P, NAN, point, t->looks, &chart);
	t->dispersion = chart.dispersion;
	t->dispersion_p = chart.dispersion_p;
	free(point);
	return 0;
}

static void count(struct pw_trends *t)
{
	for (size_t i = 0; i < t->looks; i++) {
		enum pw_trends_place place = t->group[i].place;

		t->outside += place != PW_TRENDS_PLACE_WITHIN;
		t->alarms += place == PW_TRENDS_PLACE_ABOVE_998 || place == PW_TRENDS_PLACE_BELOW_998;
		t->found += t->group[i].adjusted <= 1 - PW_TRENDS_LEVEL;
	}
	t->by_chance = (double)t->looks * (1 - PW_TRENDS_LEVEL);
	t->false_alarm = pw_false_alarm(t->looks, 1 - PW_TRENDS_LEVEL);
}

static void sum(struct pw_trends *t, enum pw_trends_of of)
{
	for (size_t i = 0; i < t->groups; i++) {
		struct pw_trends_group *g = &t->group[i];

		g->share = pw_trends_share(&g->tally, of);
		t->all.x += g->share.x;
		t->all.n += g->share.n;
		t->looks += g->share.n > 0;
	}
	t->target = t->all.n > 0 ? (double)t->all.x / (double)t->all.n : NAN;
}

int pw_trends_judge(struct pw_trends *t, enum pw_trends_of of)
{
	*t = (struct pw_trends){ .group = t->group, .groups = t->groups, .room = t->room };
	sum(t, of);
	if (t->groups > 0) /* of an empty array there is none to sort */
		qsort(t->group, t->groups, sizeof(*t->group), by_counts);
	for (size_t i = 0; i < t->groups; i++)
		judge_one(&t->group[i], i > 0 ? &t->group[i - 1] : NULL, t->target);
	if (t->groups > 0)
		qsort(t->group, t->groups, sizeof(*t->group), by_p_value);
	if (adjust(t) != 0 || disperse(t) != 0)
		return -1;
	count(t);
	return 0;
}

/* The chi-square of small counts is none: it is believed where one or more is expected of each. */
bool pw_trends_spread_wide(const struct pw_trends *t)
{
	double expected = fmin((double)t->all.x, (double)(t->all.n - t->all.x));

	return t->looks > 1 && expected >= (double)t->looks && t->dispersion > 1 &&
	       t->dispersion_p < 0.01;
}
