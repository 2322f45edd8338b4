/* SPDX-License-Identifier: Apache-2.0 */
/* chance.h - numbers by chance that come again with their seed: splitmix64. */
#ifndef POSTWALK_TEST_CHANCE_H
#define POSTWALK_TEST_CHANCE_H

#include <stdint.h>

static inline uint64_t chance(uint64_t *state)
{
	uint64_t z = *state += 0x9e3779b97f4a7c15u;

	z = (z ^ z >> 30) * 0xbf58476d1ce4e5b9u;
	z = (z ^ z >> 27) * 0x94d049bb133111ebu;
	return z ^ z >> 31;
}

#endif
