/* SPDX-License-Identifier: Apache-2.0 */
/* R24: three or four equal pulses and a pause belong to evacuation (ISO 8201, NFPA 72) and gas. */
#include "policy_internal.h"

#define TOLERANCE_PERCENT 10

/* The shortest stretch that the pattern repeats, in pairs of on and off. */
static unsigned period(const struct pw_pattern *t)
{
	unsigned pairs = t->count / 2;

	for (unsigned n = 1; n < pairs; n++) {
		bool repeats = pairs % n == 0;

		for (unsigned i = 0; repeats && i + 2 * n < t->count; i++)
			repeats = t->ms[i] == t->ms[i + 2 * n];
		if (repeats)
			return n;
	}
	return pairs;
}

static bool alike(uint32_t a, uint32_t b)
{
	uint32_t larger = a > b ? a : b, smaller = a > b ? b : a;

	return (uint64_t)smaller * (100 + TOLERANCE_PERCENT) >=
	       (uint64_t)larger * (100 - TOLERANCE_PERCENT);
}

static uint32_t on_ms(const struct pw_pattern *t, unsigned pair)
{
	return t->ms[2 * pair];
}

static uint32_t off_ms(const struct pw_pattern *t, unsigned pair)
{
	return t->ms[2 * pair + 1];
}

const char *pw_pattern_taken_for(const struct pw_pattern *t)
{
	unsigned n = period(t), pause = 0, first;

	if (t->once || (n != 3 && n != 4))
		return NULL;
	for (unsigned i = 1; i < n; i++)
		if (off_ms(t, i) > off_ms(t, pause))
			pause = i;
	first = (pause + 1) % n;
	for (unsigned i = 0; i < n; i++) {
		if (!alike(on_ms(t, i), on_ms(t, first)))
			return NULL;
		if (i != pause && !alike(off_ms(t, i), off_ms(t, first)))
			return NULL;
	}
	if (alike(off_ms(t, pause), off_ms(t, first)))
		return NULL;
	return n == 3 ? "three equal pulses and a pause mean evacuation (ISO 8201, NFPA 72)"
		      : "four equal pulses and a pause mean gas (NFPA 72)";
}
