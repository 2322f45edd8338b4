/* SPDX-License-Identifier: Apache-2.0 */
#include <math.h>

#include "heat.h"

#define MINUTE_MS INT64_C(60000)
#define STEPS_MOST 240
#define F_A_C (5.0 / 9.0) /* a degree Fahrenheit in degrees Celsius */

struct point { double minutes, celsius; };

static const struct point c1[] = { { 0, 0 }, { 30, 0.8 * 40 * F_A_C }, { 60, 40 * F_A_C } };
static const struct point c4[] = { { 0, 0 }, { 5, 4 }, { 10, 7 }, { 30, 16 }, { 60, 26 } };

static double between(const struct point *p, size_t count, double minutes)
{
	size_t i = 1;

	if (minutes >= p[count - 1].minutes)
		return p[count - 1].celsius;
	while (minutes > p[i].minutes)
		i++;
	return p[i - 1].celsius + (p[i].celsius - p[i - 1].celsius) *
	       (minutes - p[i - 1].minutes) / (p[i].minutes - p[i - 1].minutes);
}

static double fit(double minutes)
{
	const double first = 10, last = 90;

	if (minutes < first)
		return fit(first) * minutes / first;
	return (13.13 * log(fmin(minutes, last)) - 10.82) * F_A_C;
}

double pw_heat_rise(enum pw_heat_curve curve, double minutes)
{
	minutes = fmax(minutes, 0);
	switch (curve) {
	case PW_HEAT_C1:
		return between(c1, sizeof(c1) / sizeof(c1[0]), minutes);
	case PW_HEAT_C3:
		return fit(minutes);
	case PW_HEAT_C4:
		return between(c4, sizeof(c4) / sizeof(c4[0]), minutes);
	default:
		return NAN;
	}
}

void pw_heat_range(double minutes, double *least_c, double *most_c)
{
	*least_c = INFINITY;
	*most_c = -INFINITY;
	for (enum pw_heat_curve c = PW_HEAT_C1; c < PW_HEAT_CURVES; c++) {
		*least_c = fmin(*least_c, pw_heat_rise(c, minutes));
		*most_c = fmax(*most_c, pw_heat_rise(c, minutes));
	}
}

double pw_heat_fahrenheit(double celsius)
{
	return celsius / F_A_C + 32;
}

/* The last one that was known by then, not too long before. *at: where to look from. */
static bool find_known(const struct pw_warm *warm, size_t count, size_t *at, int64_t now_ms,
		       double *celsius)
{
	while (*at < count && warm[*at].at_ms <= now_ms)
		++*at;
	if (*at == 0 || now_ms - warm[*at - 1].at_ms > PW_HEAT_FRESH_MS)
		return false;
	*celsius = warm[*at - 1].c10 / 10.0;
	return true;
}

static void take_step(struct pw_heat *h, double known_c, double minutes, int64_t step_ms)
{
	double least_c = 0, most_c = 0, away_c;

	if (!h->cabin)
		pw_heat_range(minutes, &least_c, &most_c);
	if (!h->known) {
		h->known_least_c = h->known_most_c = known_c;
		h->inside_most_c = known_c + most_c;
	}
	h->known = true;
	h->known_least_c = fmin(h->known_least_c, known_c);
	h->known_most_c = fmax(h->known_most_c, known_c);
	h->inside_least_c = known_c + least_c;
	h->inside_most_c = fmax(h->inside_most_c, known_c + most_c);
	away_c = fmax(fabs(known_c + most_c - PW_HEAT_ROOM_C), fabs(known_c - PW_HEAT_ROOM_C));
	h->degree_hours += away_c * (double)step_ms / (60.0 * MINUTE_MS);
	if (known_c <= 0)
		h->freezing_ms += step_ms;
}

void pw_heat_reckon(const struct pw_warm *warm, size_t count, bool cabin, int64_t from_ms,
		    int64_t to_ms, struct pw_heat *h)
{
	const int64_t span_ms = to_ms > from_ms ? to_ms - from_ms : 0;
	const int64_t even_ms = span_ms / STEPS_MOST;
	const int64_t most_ms = even_ms > MINUTE_MS ? even_ms : MINUTE_MS;
	size_t at = 0;

	*h = (struct pw_heat){ .cabin = cabin };
	for (int64_t done_ms = 0; done_ms < span_ms; ) {
		int64_t step_ms = span_ms - done_ms < most_ms ? span_ms - done_ms : most_ms;
		double known_c;

		done_ms += step_ms; /* as it was at the step's end */
		if (find_known(warm, count, &at, from_ms + done_ms, &known_c))
			take_step(h, known_c, (double)done_ms / MINUTE_MS, step_ms);
		else
			h->unknown_ms += step_ms;
	}
	h->held = !cabin && (double)span_ms / MINUTE_MS > PW_HEAT_ENDS_MIN;
}
