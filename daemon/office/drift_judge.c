/* SPDX-License-Identifier: Apache-2.0 */
#include "drift.h"

#include <math.h>

static double value_of(const struct pw_line_day *d, enum pw_drift_of of)
{
	return of == PW_DRIFT_BOUNCES ? d->bounces : (double)d->chatters + d->disagreements;
}

static double mean_of(const double *value, size_t n)
{
	double sum = 0;

	for (size_t i = 0; i < n; i++)
		sum += value[i];
	return sum / (double)n;
}

static double ewma_limit(const struct pw_drift *d)
{
	return d->mean + d->limit * d->sigma * sqrt(d->lambda / (2 - d->lambda));
}

/* How far each chart is, 1 at its limit. */
static double far_of(const struct pw_drift *d)
{
	return fmax(d->cusum / (d->h * d->sigma), (d->ewma - d->mean) / (ewma_limit(d) - d->mean));
}

static void watch(const struct pw_line_day *day, const double *value, size_t days,
		  struct pw_line_drift *out)
{
	struct pw_drift *d = &out->last;

	for (size_t i = 0; i < days; i++) {
		pw_drift_day(d, value[i]);
		out->point[out->points++] = (struct pw_drift_point){ day[i].day, value[i],
								     d->cusum, d->ewma };
		if (out->was_out == 0 && (d->cusum_out || d->ewma_out))
			out->was_out = day[i].day;
	}
	out->out = d->cusum_out || d->ewma_out;
	if (d->days > 0)
		out->since = day[days - d->days].day;
}

void pw_line_drift(const struct pw_line_day *day, size_t days, enum pw_drift_of of,
		   struct pw_line_drift *out)
{
	double value[PW_DRIFT_DAYS];

	*out = (struct pw_line_drift){ .before = NAN, .recent = NAN };
	if (days > PW_DRIFT_DAYS) { /* the newest ones */
		day += days - PW_DRIFT_DAYS;
		days = PW_DRIFT_DAYS;
	}
	for (size_t i = 0; i < days; i++)
		value[i] = value_of(&day[i], of);
	if (days <= PW_DRIFT_BEFORE || pw_drift_begin(value, PW_DRIFT_BEFORE, 1, &out->last) != 0)
		return;
	out->known = true;
	watch(day + PW_DRIFT_BEFORE, value + PW_DRIFT_BEFORE, days - PW_DRIFT_BEFORE, out);
	out->before = out->last.mean;
	out->recent = mean_of(value + days - PW_DRIFT_RECENT, PW_DRIFT_RECENT);
	out->cusum_limit = out->last.h * out->last.sigma;
	out->ewma_limit = ewma_limit(&out->last);
	out->far = far_of(&out->last);
}
