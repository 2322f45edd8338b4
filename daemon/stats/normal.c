/* SPDX-License-Identifier: Apache-2.0 */
#include "stats_internal.h"

struct pw_tails pw_normal(double z)
{
	return (struct pw_tails){ .below = erfc(-z / sqrt(2)) / 2, .above = erfc(z / sqrt(2)) / 2,
				  .density = exp(-z * z / 2) / sqrt(2 * PW_PI) };
}

double pw_normal_z(double above)
{
	double t, z;

	if (above > 0.5)
		return -pw_normal_z(1 - above);
	/* Abramowitz and Stegun 26.2.23, good to 4.5e-4 (from memory); then Newton on the
	 * logarithm, which is smooth in the tail. */
	t = sqrt(-2 * log(above));
	z = t - (2.515517 + t * (0.802853 + t * 0.010328)) /
		(1 + t * (1.432788 + t * (0.189269 + t * 0.001308)));
	for (int i = 0; i < 3; i++) {
		struct pw_tails at = pw_normal(z);

		z += (log(at.above) - log(above)) * at.above / at.density;
	}
	return z;
}

double pw_outside(double level)
{
	return level > 0 && level < 1 ? (1 - level) / 2 : NAN;
}
