/* SPDX-License-Identifier: Apache-2.0 */
/* R24: three or four equal pulses and a pause belong to evacuation (ISO 8201, NFPA 72) and gas. What
 * counts is what one hears: equal pulses in groups of three or of four, however it is written. */
#include "policy_internal.h"

#define TOLERANCE_PERCENT 10

static bool alike(uint32_t a, uint32_t b)
{
	uint32_t larger = a > b ? a : b, smaller = a > b ? b : a;

	return (uint64_t)smaller * (100 + TOLERANCE_PERCENT) >=
	       (uint64_t)larger * (100 - TOLERANCE_PERCENT);
}

static uint32_t on_ms(const struct pw_pattern *t, unsigned pulse)
{
	return t->ms[2 * pulse];
}

static uint32_t off_ms(const struct pw_pattern *t, unsigned pulse)
{
	return t->ms[2 * pulse + 1];
}

static bool pulses_are_equal(const struct pw_pattern *t)
{
	for (unsigned i = 1; i < t->count / 2; i++)
		if (!alike(on_ms(t, i), on_ms(t, 0)))
			return false;
	return true;
}

static uint32_t shortest_off_ms(const struct pw_pattern *t)
{
	uint32_t shortest = off_ms(t, 0);

	for (unsigned i = 1; i < t->count / 2; i++)
		if (off_ms(t, i) < shortest)
			shortest = off_ms(t, i);
	return shortest;
}

/* Pulses from pause to pause, if it is the same number everywhere; else, or without a pause, 0. */
static unsigned pulses_in_a_group(const struct pw_pattern *t)
{
	uint32_t shortest = shortest_off_ms(t);
	unsigned n = t->count / 2, pause = 0, group = 0, run = 0;

	while (pause < n && alike(off_ms(t, pause), shortest))
		pause++;
	for (unsigned i = 1; pause < n && i <= n; i++) {
		run++;
		if (alike(off_ms(t, (pause + i) % n), shortest))
			continue;
		if (group != 0 && run != group)
			return 0;
		group = run;
		run = 0;
	}
	return group;
}

const char *pw_pattern_taken_for(const struct pw_pattern *t)
{
	if (t->once || t->count < 2 || !pulses_are_equal(t))
		return NULL;
	switch (pulses_in_a_group(t)) {
	case 3:
		return "three equal pulses and a pause mean evacuation (ISO 8201, NFPA 72)";
	case 4:
		return "four equal pulses and a pause mean gas (NFPA 72)";
	default:
		return NULL;
	}
}
