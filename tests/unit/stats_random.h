/* SPDX-License-Identifier: Apache-2.0 */
/* Normal days of pure chance, the same ones at each run; the seed is printed. */
#ifndef TESTS_UNIT_STATS_RANDOM_H
#define TESTS_UNIT_STATS_RANDOM_H

#include <math.h>
#include <stdint.h>
#include <stdio.h>

struct random { uint64_t state; };

static inline struct random random_begin(uint64_t seed)
{
	printf("seed %llu\n", (unsigned long long)seed);
	return (struct random){ seed };
}

/* SplitMix64; above 0, below 1. */
static inline double random_unit(struct random *r)
{
	uint64_t z = r->state += 0x9e3779b97f4a7c15;

	z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9;
	z = (z ^ z >> 27) * 0x94d049bb133111eb;
	return ((double)((z ^ z >> 31) >> 11) + 0.5) * 0x1p-53;
}

/* Box and Muller. */
static inline double random_normal(struct random *r)
{
	double far = sqrt(-2 * log(random_unit(r)));

	return far * cos(2 * 3.14159265358979323846 * random_unit(r));
}

#endif
