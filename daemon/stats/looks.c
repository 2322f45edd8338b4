/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

static bool makes_sense(const double *p, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!(p[i] >= 0 && p[i] <= 1) || (i > 0 && p[i] < p[i - 1]))
			return false;
	return true;
}

static void bonferroni(const double *p, size_t n, double *adjusted)
{
	for (size_t i = 0; i < n; i++)
		adjusted[i] = fmin((double)n * p[i], 1);
}

/* Each as if only it and the larger ones were looked at, and never less than one before it. */
static void holm(const double *p, size_t n, double *adjusted)
{
	double most = 0;

	for (size_t i = 0; i < n; i++) {
		most = fmax(most, (double)(n - i) * p[i]);
		adjusted[i] = fmin(most, 1);
	}
}

/* From the largest down: the i-th of n by n / i, and never more than one after it. */
static void benjamini_hochberg(const double *p, size_t n, double *adjusted)
{
	double least = 1;

	for (size_t i = n; i > 0; i--) {
		least = fmin(least, (double)n / (double)i * p[i - 1]);
		adjusted[i - 1] = least;
	}
}

int pw_adjust(enum pw_adjustment method, const double *p, size_t n, double *adjusted)
{
	static void (*const by[])(const double *, size_t, double *) = {
		[PW_BONFERRONI] = bonferroni, [PW_HOLM] = holm,
		[PW_BENJAMINI_HOCHBERG] = benjamini_hochberg,
	};

	if (method < PW_BONFERRONI || method > PW_BENJAMINI_HOCHBERG || !makes_sense(p, n))
		return -1;
	by[method](p, n, adjusted);
	return 0;
}

double pw_false_alarm(uint64_t looks, double p)
{
	if (!(p >= 0 && p <= 1))
		return NAN;
	return looks == 0 ? 0 : -expm1((double)looks * log1p(-p));
}
