/* SPDX-License-Identifier: Apache-2.0 */
/* Chance by integers alone, so that it is the same wherever it is drawn: steps of an odd constant,
 * mixed (SplitMix64, in the public domain; from memory). */
#include "fleet_internal.h"

#define STEP UINT64_C(0x9e3779b97f4a7c15)

static uint64_t mix(uint64_t x)
{
	x = (x ^ x >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	x = (x ^ x >> 27) * UINT64_C(0x94d049bb133111eb);
	return x ^ x >> 31;
}

struct pw_chance pw_chance_begin(uint64_t seed, enum pw_chance_of what, uint64_t a, uint64_t b)
{
	uint64_t state = mix(seed + STEP);

	state = mix(state + STEP * (uint64_t)what);
	state = mix(state + STEP * (a + 1));
	return (struct pw_chance){ .state = mix(state + STEP * (b + 1)) };
}

uint64_t pw_chance_next(struct pw_chance *c)
{
	c->state += STEP;
	return mix(c->state);
}

/* The remainder favours small ones by less than one in 2^40 for spans below 2^24. */
int64_t pw_chance_in(struct pw_chance *c, int64_t least, int64_t most)
{
	return least + (int64_t)(pw_chance_next(c) % (uint64_t)(most - least + 1));
}

int64_t pw_chance_bell(struct pw_chance *c, int64_t least, int64_t most)
{
	int64_t sum = 0;

	for (unsigned i = 0; i < 3; i++)
		sum += pw_chance_in(c, least, most);
	return sum / 3;
}

bool pw_chance_is(struct pw_chance *c, uint32_t percent)
{
	return pw_chance_in(c, 0, 99) < (int64_t)percent;
}
