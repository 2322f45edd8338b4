/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Chances of single counts, by the way of C. Loader, "Fast and Accurate Computation of Binomial
 * Probabilities" (2000): factorials of millions cancel on paper, by Stirling's series, and not in
 * numbers that have lost their digits.
 */
#include "stats_internal.h"

#include <float.h>

/* log(n!) less Stirling's formula for it. */
static double stirling_rest(double n)
{
	double i = 1 / (n * n);
	int sign;

	if (n < 16)
		return lgamma_r(n + 1, &sign) - (n + 0.5) * log(n) + n - 0.5 * log(2 * PW_PI);
	return (1. / 12 - i * (1. / 360 - i * (1. / 1260 - i * (1. / 1680 - i / 1188)))) / n;
}

/* k log(k / mean) + mean - k: how far a count lies from its mean. Near it they cancel: a series. */
static double deviance(double k, double mean)
{
	double v = (k - mean) / (k + mean), sum = (k - mean) * v, term = 2 * k * v;

	if (fabs(v) > 0.1)
		return k * log(k / mean) + mean - k;
	for (int i = 3; fabs(term) > DBL_EPSILON * sum; i += 2) {
		term *= v * v;
		sum += term / i;
	}
	return sum;
}

double pw_point_poisson(double k, double mean)
{
	if (k <= 0)
		return k < 0 ? 0 : exp(-mean);
	if (mean <= 0)
		return 0;
	return exp(-stirling_rest(k) - deviance(k, mean)) / sqrt(2 * PW_PI * k);
}

double pw_point_binomial(double k, double n, double p, double q)
{
	double left = n - k;

	if (k < 0 || left < 0)
		return 0;
	if (p <= 0 || q <= 0)
		return p <= 0 ? k <= 0 : left <= 0;
	if (k <= 0 || left <= 0)
		return exp(n * (k <= 0 ? log1p(-p) : log(p)));
	return exp(stirling_rest(n) - stirling_rest(k) - stirling_rest(left) -
		   deviance(k, n * p) - deviance(left, n * q)) *
	       sqrt(n / (2 * PW_PI * k * left));
}
