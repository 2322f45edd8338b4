/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

/* The CUSUM's stand in NIST/SEMATECH e-Handbook 6.3.2.3.1 (F11); all of them are computed, by R, in
 * tests/stats/reference.R. */
const struct pw_drift_arl pw_drift_arl[PW_DRIFT_ARLS] = {
	{ 0, 335, 931, 1130 },        { 0.25, 77.1, 142, 165 },    { 0.5, 26.7, 38.0, 44.1 },
	{ 0.75, 13.3, 17.0, 18.8 },   { 1, 8.38, 10.4, 10.8 },     { 1.5, 4.75, 5.75, 5.60 },
	{ 2, 3.34, 4.01, 3.80 },      { 2.5, 2.62, 3.11, 2.92 },   { 3, 2.19, 2.57, 2.41 },
	{ 4, 1.71, 2.01, 1.88 },
};

int pw_drift_begin(const double *day, size_t days, double least_sigma, struct pw_drift *out)
{
	double mean = days >= 2 ? pw_mean(day, days) : NAN;
	double sigma = fmax(pw_sd(day, days, mean), least_sigma);

	*out = (struct pw_drift){ .mean = mean, .sigma = sigma, .k = 0.5, .h = 5, .lambda = 0.2,
				  .limit = 3, .ewma = mean };
	return isfinite(mean) && isfinite(sigma) && sigma > 0 ? 0 : -1;
}

void pw_drift_day(struct pw_drift *d, double value)
{
	double spread = d->sigma * sqrt(d->lambda / (2 - d->lambda));

	d->cusum = fmax(d->cusum + value - d->mean - d->k * d->sigma, 0);
	d->days = d->cusum > 0 ? d->days + 1 : 0;
	d->cusum_out = d->cusum > d->h * d->sigma;
	d->ewma = d->lambda * value + (1 - d->lambda) * d->ewma;
	d->ewma_out = d->ewma > d->mean + d->limit * spread;
}
