/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

/* Type 7 of Hyndman and Fan, The American Statistician 50:361 (1996): between the two values around
 * (n - 1) p, counted from 0. */
double pw_quantile(const double *sorted, size_t n, double p)
{
	double at, below;
	size_t i;

	if (n == 0 || !(p >= 0 && p <= 1))
		return NAN;
	at = (double)(n - 1) * p;
	below = floor(at);
	i = (size_t)below;
	return i + 1 < n ? sorted[i] + (at - below) * (sorted[i + 1] - sorted[i]) : sorted[n - 1];
}

double pw_mean(const double *value, size_t n)
{
	double sum = 0, rest = 0, mean;

	for (size_t i = 0; i < n; i++)
		sum += value[i];
	mean = sum / (double)n;
	for (size_t i = 0; i < n; i++) /* what rounding left out */
		rest += value[i] - mean;
	return mean + rest / (double)n;
}

double pw_sd(const double *value, size_t n, double mean)
{
	double squares = 0;

	for (size_t i = 0; i < n; i++)
		squares += (value[i] - mean) * (value[i] - mean);
	return sqrt(squares / (double)(n - 1)); /* NAN for one value */
}

static bool ascends(const double *value, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!isfinite(value[i]) || (i > 0 && value[i] < value[i - 1]))
			return false;
	return true;
}

int pw_summary(const double *sorted, size_t n, struct pw_summary *out)
{
	*out = (struct pw_summary){ n, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN };
	if (n == 0 || !ascends(sorted, n))
		return -1;
	out->least = sorted[0];
	out->q05 = pw_quantile(sorted, n, 0.05);
	out->q25 = pw_quantile(sorted, n, 0.25);
	out->median = pw_quantile(sorted, n, 0.5);
	out->q75 = pw_quantile(sorted, n, 0.75);
	out->q95 = pw_quantile(sorted, n, 0.95);
	out->most = sorted[n - 1];
	out->mean = pw_mean(sorted, n);
	out->sd = pw_sd(sorted, n, out->mean);
	return 0;
}
