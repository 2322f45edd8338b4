/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

#include <float.h>

/* Lentz's method. With terms above 0 nothing cancels. Shapes of 10 million take some thousand. */
double pw_fraction(struct pw_term (*term)(const double *with, double n), const double *with)
{
	double value = term(with, 0).b, c = value, d = 0;

	for (double n = 1; n < 1e7; n++) {
		struct pw_term t = term(with, n);

		d = 1 / (t.b + t.a * d);
		c = t.b + t.a / c;
		value *= c * d;
		if (fabs(c * d - 1) < DBL_EPSILON)
			break;
	}
	return value;
}
