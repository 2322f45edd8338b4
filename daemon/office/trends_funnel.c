/* SPDX-License-Identifier: Apache-2.0 */
#include "trends.h"

#include <math.h>
#include <stdlib.h>

struct field {
	uint64_t x, n, groups;
	const struct pw_trends_group *one;
	enum pw_trends_place place;
	int across, up; /* -1: of like counts */
};

struct gathered {
	struct field field[PW_FUNNEL_POINTS];
	size_t fields, most; /* of those that stand for themselves */
	double largest_n, largest_share;
};

static double share_of(const struct pw_trends_group *g)
{
	return (double)g->share.x / (double)g->share.n;
}

static struct field *add(struct gathered *f, const struct field *like)
{
	if (f->fields == PW_FUNNEL_POINTS)
		return NULL;
	f->field[f->fields] = *like;
	return &f->field[f->fields++];
}

/* Whether it stands for itself: there is one of its counts, or room for one. */
static bool alone(struct gathered *f, const struct pw_trends_group *g)
{
	const struct field new = { g->share.x, g->share.n, 1, g, g->place, -1, -1 };

	for (size_t i = 0; i < f->fields; i++) {
		struct field *here = &f->field[i];

		if (here->across < 0 && here->n == new.n * here->groups &&
		    here->x == new.x * here->groups) {
			here->n += new.n;
			here->x += new.x;
			here->groups++;
			return true;
		}
	}
	return f->fields < f->most && add(f, &new) != NULL;
}

static int part_of(double value, double largest)
{
	return largest > 0 ? (int)fmin(value / largest * PW_FUNNEL_FIELDS, PW_FUNNEL_FIELDS - 1) : 0;
}

static void share_a_field(struct gathered *f, const struct pw_trends_group *g)
{
	const struct field new = { g->share.x, g->share.n, 1, g, g->place,
				   part_of((double)g->share.n, f->largest_n),
				   part_of(share_of(g), f->largest_share) };

	for (size_t i = 0; i < f->fields; i++) {
		struct field *here = &f->field[i];

		if (here->across == new.across && here->up == new.up && here->place == new.place) {
			here->x += new.x;
			here->n += new.n;
			here->groups++;
			return;
		}
	}
	add(f, &new);
}

/* Whether all of them stand for themselves. */
static bool gather(const struct pw_trends *t, struct gathered *f, size_t most)
{
	bool all = true;

	f->fields = 0;
	f->most = most;
	for (size_t i = 0; i < t->looks; i++) {
		if (alone(f, &t->group[i]))
			continue;
		all = false;
		if (most == PW_FUNNEL_POINTS)
			break;
		share_a_field(f, &t->group[i]);
	}
	return all;
}

static int by_n(const void *a, const void *b)
{
	const struct pw_funnel_point *one = a, *other = b;
	double difference = one->n - other->n;

	if (!(difference < 0 || difference > 0))
		difference = one->share - other->share;
	return (difference > 0) - (difference < 0);
}

static struct pw_funnel_point point_of(const struct field *f, double target)
{
	const uint64_t n = (f->n + f->groups / 2) / f->groups;

	struct pw_funnel_point p = {
		.n = (double)f->n / (double)f->groups, .share = (double)f->x / (double)f->n,
		.groups = f->groups, .one = f->groups == 1 ? f->one : NULL, .place = f->place,
		.warning = pw_trends_limits(target, n, PW_FUNNEL_WARNING),
		.alarm = pw_trends_limits(target, n, PW_FUNNEL_ALARM),
	};

	p.warning.upper = pw_trends_reach(target, n, p.warning.upper);
	p.alarm.upper = pw_trends_reach(target, n, p.alarm.upper);
	return p;
}

size_t pw_trends_funnel(const struct pw_trends *t, struct pw_funnel_point point[PW_FUNNEL_POINTS])
{
	struct gathered f = { .largest_n = 0 };

	for (size_t i = 0; i < t->looks; i++) {
		f.largest_n = fmax(f.largest_n, (double)t->group[i].share.n);
		f.largest_share = fmax(f.largest_share, share_of(&t->group[i]));
	}
	if (!gather(t, &f, PW_FUNNEL_POINTS))
		gather(t, &f, PW_FUNNEL_ALONE);
	for (size_t i = 0; i < f.fields; i++)
		point[i] = point_of(&f.field[i], t->target);
	if (f.fields > 0)
		qsort(point, f.fields, sizeof(*point), by_n);
	return f.fields;
}
