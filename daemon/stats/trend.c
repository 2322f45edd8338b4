/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

#define EXACT_BELOW 50 /* points, as in R */

/* -- the median of many ---------------------------------------------------------------------- */

/* Hoare's FIND: the k-th stands at its place, nothing larger before it, nothing smaller after. */
static void find(double *v, ptrdiff_t n, ptrdiff_t k)
{
	for (ptrdiff_t low = 0, high = n - 1; low < high;) {
		const double pivot = v[k];
		ptrdiff_t i = low, j = high;

		while (i <= j) {
			while (v[i] < pivot)
				i++;
			while (v[j] > pivot)
				j--;
			if (i <= j) {
				double other = v[i];

				v[i++] = v[j];
				v[j--] = other;
			}
		}
		if (j < k)
			low = i;
		if (i > k)
			high = j;
	}
}

static double median(double *v, size_t n)
{
	double below = -INFINITY;

	find(v, (ptrdiff_t)n, (ptrdiff_t)(n / 2));
	if (n % 2 == 1)
		return v[n / 2];
	for (size_t i = 0; i < n / 2; i++)
		below = fmax(below, v[i]);
	return below + (v[n / 2] - below) / 2;
}

/* -- Theil-Sen ------------------------------------------------------------------------------- */

static size_t slopes(const double *x, const double *y, size_t n, double *out)
{
	size_t count = 0;

	for (size_t i = 0; i < n; i++)
		for (size_t j = i + 1; j < n; j++)
			if (x[i] != x[j])
				out[count++] = (y[j] - y[i]) / (x[j] - x[i]);
	return count;
}

static double at_zero(const double *x, const double *y, size_t n, double slope, double *scratch)
{
	for (size_t i = 0; i < n; i++)
		scratch[i] = y[i] - slope * x[i];
	return median(scratch, n);
}

/* -- Kendall --------------------------------------------------------------------------------- */

/* Sums over groups of like values: t (t - 1), with (2 t + 5), with (t - 2) beside. */
struct ties { double pairs, fives, triples; };

static struct ties ties_of(const double *v, size_t n)
{
	struct ties sum = { 0, 0, 0 };

	for (size_t i = 0; i < n; i++) {
		double others = -1;

		for (size_t j = 0; j < n; j++)
			others += v[j] == v[i];
		sum.pairs += others; /* each of a group counts once: t of them make t (t - 1) */
		sum.fives += others * (2 * (others + 1) + 5);
		sum.triples += others * (others - 1);
	}
	return sum;
}

static int sign(double d)
{
	return (d > 0) - (d < 0);
}

/* Pairs that go the same way less pairs that do not. */
static double score(const double *x, const double *y, size_t n)
{
	double s = 0;

	for (size_t i = 0; i < n; i++)
		for (size_t j = i + 1; j < n; j++)
			s += sign(x[j] - x[i]) * sign(y[j] - y[i]);
	return s;
}

/* Of all orders of n: so many inversions or fewer. Grown from one element to n. */
static double inversions_at_most(size_t most, size_t n)
{
	double chance[EXACT_BELOW * (EXACT_BELOW - 1) / 4 + 1] = { 1 }, sum = 0;

	for (size_t m = 2; m <= n; m++) {
		for (size_t k = 1; k <= most; k++)
			chance[k] += chance[k - 1];
		for (size_t k = most + 1; k > 0; k--)
			chance[k - 1] = (chance[k - 1] - (k > m ? chance[k - 1 - m] : 0)) /
					(double)m;
	}
	for (size_t k = 0; k <= most; k++)
		sum += chance[k];
	return sum;
}

static double exact_p(double s, double n)
{
	/* The rarer half: as few pairs of one kind, or fewer. */
	double few = (n * (n - 1) / 2 - fabs(s)) / 2;

	return fmin(2 * inversions_at_most((size_t)few, (size_t)n), 1);
}

static double normal_p(double s, double n, struct ties t, struct ties u)
{
	double variance = (n * (n - 1) * (2 * n + 5) - t.fives - u.fives) / 18 +
			  t.pairs * u.pairs / (2 * n * (n - 1));

	if (n > 2)
		variance += t.triples * u.triples / (9 * n * (n - 1) * (n - 2));
	return fmin(2 * pw_normal(fabs(s) / sqrt(variance)).above, 1);
}

static void kendall(const double *x, const double *y, size_t points, struct pw_trend *out)
{
	const double n = (double)points, pairs = n * (n - 1);
	const struct ties t = ties_of(x, points), u = ties_of(y, points);
	const double s = score(x, y, points);

	out->tau = 0;
	out->p_value = 1;
	if (u.pairs >= pairs) /* all alike: no way up or down */
		return;
	out->tau = 2 * s / sqrt((pairs - t.pairs) * (pairs - u.pairs));
	out->p_value = points < EXACT_BELOW && t.pairs + u.pairs <= 0 ? exact_p(s, n)
								     : normal_p(s, n, t, u);
}

int pw_trend(const double *x, const double *y, size_t n, double *scratch, struct pw_trend *out)
{
	size_t count;

	*out = (struct pw_trend){ NAN, NAN, NAN, NAN };
	for (size_t i = 0; i < n; i++)
		if (!isfinite(x[i]) || !isfinite(y[i]))
			return -1;
	count = slopes(x, y, n, scratch);
	if (count == 0)
		return -1;
	out->slope = median(scratch, count);
	out->at_zero = at_zero(x, y, n, out->slope, scratch);
	kendall(x, y, n, out);
	return 0;
}
