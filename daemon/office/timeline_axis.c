/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>

#include "timeline.h"

#define CUT_WIDTH 30.0
#define CUTS_SHARE 0.35     /* of the width, at most */
#define IDLE_MS INT64_C(60000) /* longer than that without anything is cut */
#define AROUND_MS INT64_C(8000) /* stays on both sides of a cut */
#define LABEL_WIDTH 66.0

static int by_time(const void *a, const void *b)
{
	const int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;

	return (x > y) - (x < y);
}

static void add(struct pw_axis *a, int64_t from_ms, int64_t to_ms, bool cut)
{
	a->piece[a->count++] = (struct pw_axis_piece){ .from_ms = from_ms, .to_ms = to_ms,
						       .cut = cut };
}

/* False: that makes too many pieces. */
static bool cut_up(struct pw_axis *a, const int64_t *moment, size_t count, int64_t from_ms,
		   int64_t to_ms, int64_t idle_ms, double width)
{
	int64_t begun_ms = from_ms, last_ms = from_ms;
	size_t cuts = 0;

	a->count = 0;
	for (size_t i = 0; i <= count; i++) {
		const int64_t at_ms = i < count ? moment[i] : to_ms;

		if (at_ms < from_ms || at_ms > to_ms)
			continue;
		if (at_ms - last_ms > idle_ms) {
			if (a->count + 3 > PW_AXIS_PIECES ||
			    (double)++cuts * CUT_WIDTH > CUTS_SHARE * width)
				return false;
			add(a, begun_ms, last_ms + AROUND_MS, false);
			add(a, last_ms + AROUND_MS, at_ms - AROUND_MS, true);
			begun_ms = at_ms - AROUND_MS;
		}
		last_ms = at_ms;
	}
	add(a, begun_ms, to_ms, false);
	return true;
}

/* Pieces that are not cut share what the cuts leave, by their time. */
static void lay_out(struct pw_axis *a, double x, double width)
{
	int64_t shown_ms = 0;
	double left = width;

	for (size_t i = 0; i < a->count; i++)
		if (a->piece[i].cut)
			left -= CUT_WIDTH;
		else
			shown_ms += a->piece[i].to_ms - a->piece[i].from_ms;
	shown_ms = shown_ms > 0 ? shown_ms : 1;
	for (size_t i = 0; i < a->count; i++) {
		struct pw_axis_piece *p = &a->piece[i];

		p->x = x;
		p->width = p->cut ? CUT_WIDTH
				  : left * (double)(p->to_ms - p->from_ms) / (double)shown_ms;
		x += p->width;
	}
	a->step_ms = (int64_t)(LABEL_WIDTH * (double)shown_ms / left);
}

/* The next of those that a clock has. */
static int64_t round_up(int64_t step_ms)
{
	static const int64_t steps_s[] = { 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600,
					   7200, 14400, 21600, 43200 };

	for (size_t i = 0; i < sizeof(steps_s) / sizeof(steps_s[0]); i++)
		if (steps_s[i] * 1000 >= step_ms)
			return steps_s[i] * 1000;
	return INT64_C(86400000);
}

void pw_axis_make(int64_t *moment, size_t count, int64_t from_ms, int64_t to_ms, double x,
		  double width, struct pw_axis *a)
{
	int64_t idle_ms = IDLE_MS;

	qsort(moment, count, sizeof(*moment), by_time);
	while (!cut_up(a, moment, count, from_ms, to_ms, idle_ms, width))
		idle_ms *= 2;
	lay_out(a, x, width);
	a->step_ms = round_up(a->step_ms);
}

double pw_axis_x(const struct pw_axis *a, int64_t ms)
{
	const struct pw_axis_piece *p = a->piece;

	if (ms <= p->from_ms)
		return p->x;
	for (size_t i = 0; i < a->count; i++) {
		p = &a->piece[i];
		if (ms <= p->to_ms && p->to_ms > p->from_ms)
			return p->x + p->width * (double)(ms - p->from_ms) /
			       (double)(p->to_ms - p->from_ms);
	}
	return p->x + p->width;
}
