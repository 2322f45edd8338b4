/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

static bool makes_sense(enum pw_chart_kind kind, const struct pw_chart_point *p)
{
	return p->size > 0 && isfinite(p->size) && p->count >= 0 && isfinite(p->count) &&
	       (kind != PW_CHART_P || p->count <= p->size) && (kind != PW_CHART_C || p->size == 1);
}

static double mean_of(const struct pw_chart_point *point, size_t points)
{
	double count = 0, size = 0;

	for (size_t i = 0; i < points; i++) {
		count += point[i].count;
		size += point[i].size;
	}
	return count / size;
}

static double sigmas(double off, double sigma)
{
	return off == 0 ? 0 : off / sigma; /* INFINITY where sigma is 0 */
}

static void judge(enum pw_chart_kind kind, double mean, struct pw_chart_point *p)
{
	const double variance = kind == PW_CHART_P ? mean * (1 - mean) : mean;
	const double sigma = sqrt(variance / p->size);

	p->value = p->count / p->size;
	p->sigmas = sigmas(p->value - mean, sigma);
	p->lower = fmax(mean - 3 * sigma, 0);
	p->upper = mean + 3 * sigma;
	if (kind == PW_CHART_P)
		p->upper = fmin(p->upper, 1);
	p->rules = 0;
}

/* The squares of the distances, in sigmas, are chi-square where only chance speaks; a mean of the
 * points themselves takes one degree of freedom. */
static void disperse(const struct pw_chart_point *point, size_t points, unsigned freedom,
		     struct pw_chart *out)
{
	double sum = 0;

	for (size_t i = 0; i < points; i++)
		sum += point[i].sigmas * point[i].sigmas;
	if (freedom == 0)
		return;
	out->dispersion = sum / freedom;
	out->dispersion_p = isinf(sum) ? 0 : pw_chi_square_above(sum, freedom);
}

int pw_chart(enum pw_chart_kind kind, double mean, struct pw_chart_point *point, size_t points,
	     struct pw_chart *out)
{
	const bool own = isnan(mean);

	*out = (struct pw_chart){ NAN, NAN, NAN };
	if (kind < PW_CHART_C || kind > PW_CHART_P || points == 0)
		return -1;
	if (mean < 0 || isinf(mean) || (kind == PW_CHART_P && mean > 1))
		return -1;
	for (size_t i = 0; i < points; i++)
		if (!makes_sense(kind, &point[i]))
			return -1;
	out->mean = own ? mean_of(point, points) : mean;
	for (size_t i = 0; i < points; i++)
		judge(kind, out->mean, &point[i]);
	disperse(point, points, (unsigned)points - own, out);
	return 0;
}
