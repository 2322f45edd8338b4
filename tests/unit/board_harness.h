/* SPDX-License-Identifier: Apache-2.0 */
/*
 * board_harness.h - a small model of a bus's wiring, right or wrong: what people do to switches
 * becomes raw edges with bounce of known widths.
 *
 * Bounce: contacts were seen to bounce 1.6 ms on average and 6.2 ms at most (docs/sources.md, E8).
 */
#ifndef BOARD_HARNESS_H
#define BOARD_HARNESS_H

#include <stdio.h>
#include <string.h>

#include "postwalk/wires.h"

enum harness_wrong {
	WIRED_WELL = 1,
	SWAPPED,     /* a and b */
	INVERTED,    /* a */
	OPEN_LOW,    /* a reads 0 for ever: its wire is off */
	OPEN_HIGH,   /* a reads 1 for ever: a loop's wire is off, or it touches the supply */
	SHORTED,     /* a and b touch, both live as 1 */
	SHORTED_NOT, /* a and b touch, b reads live as 0 */
	CROSSTALK,   /* a's moves make short pulses on b */
	CHATTERING,  /* a is loose */
	COMMON_OFF,  /* the button's common wire */
};

struct harness {
	enum harness_wrong wrong;
	unsigned a, b;
	uint8_t real[PW_INPUTS]; /* what the switches are set to */
	int64_t now_ms, last_edge_ms;
	struct pw_wires wires;
};

static inline struct pw_policy harness_policy(void)
{
	struct pw_policy p;

	pw_policy_init(&p, true);
	p.line[PW_REAR_BUTTON_NC].configured = p.line[PW_PARK_BRAKE].configured = true;
	for (unsigned i = PW_BEEPER; i <= PW_DOME; i++)
		p.line[i].configured = true;
	p.line[PW_EXTRA].configured = true;
	p.line[PW_EXTRA].direction = PW_IN;
	snprintf(p.line[PW_EXTRA].name, PW_NAME_MAX, "beeper_current");
	return p;
}

static inline uint8_t harness_reads(const struct harness *h, unsigned line)
{
	const uint8_t *real = h->real;
	bool of_two = line == h->a || line == h->b;

	switch (h->wrong) {
	case SWAPPED: return line == h->a ? real[h->b] : line == h->b ? real[h->a] : real[line];
	case INVERTED: return line == h->a ? !real[line] : real[line];
	case OPEN_LOW: return line == h->a ? 0 : real[line];
	case OPEN_HIGH: return line == h->a ? 1 : real[line];
	case SHORTED: return of_two ? real[h->a] | real[h->b] : real[line];
	case SHORTED_NOT: return !of_two ? real[line] :
				 (real[h->a] | !real[h->b]) ^ (line == h->b);
	case COMMON_OFF:
		return line == PW_REAR_BUTTON || line == PW_REAR_BUTTON_NC ? 0 : real[line];
	default: return real[line];
	}
}

static inline uint32_t harness_levels(const struct harness *h)
{
	uint32_t levels = 0;

	for (unsigned i = 0; i < PW_INPUTS; i++)
		levels |= (uint32_t)harness_reads(h, i) << i;
	return levels;
}

/* An edge, and as many pulses of these widths after it. */
static inline void harness_burst(struct harness *h, unsigned line, int64_t at_ms, unsigned pulses)
{
	static const int64_t width_ms[] = { 1, 2, 6, 1, 3 };
	uint8_t level = h->wires.wire[line].level;

	for (unsigned i = 0; i <= pulses; i++) {
		level ^= 1;
		pw_wires_edge(&h->wires, line, level, at_ms);
		if (at_ms > h->last_edge_ms)
			h->last_edge_ms = at_ms;
		at_ms += width_ms[i % 5];
	}
}

static inline void harness_begin(struct harness *h, enum harness_wrong wrong, unsigned a,
				 unsigned b)
{
	const struct pw_policy p = harness_policy();

	*h = (struct harness){ .wrong = wrong, .a = a, .b = b, .now_ms = 1000 };
	h->real[PW_REAR_BUTTON_NC] = 1;
	pw_wires_begin(&h->wires, &p, harness_levels(h), h->now_ms);
}

/* A switch is moved now; the button takes its other contact along. Bounces: an even number. */
static inline void harness_move(struct harness *h, unsigned line, uint8_t level, unsigned bounces)
{
	const uint32_t before = harness_levels(h);
	uint32_t changed;

	h->real[line] = level;
	if (line == PW_REAR_BUTTON)
		h->real[PW_REAR_BUTTON_NC] = !level;
	changed = before ^ harness_levels(h);
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (changed >> i & 1)
			harness_burst(h, i, h->now_ms + i % 3, bounces);
	if (h->wrong == CHATTERING && line == h->a)
		harness_burst(h, line, h->last_edge_ms + 5, PW_CHATTER_MANY + 1);
	if (h->wrong == CROSSTALK && line == h->a)
		harness_burst(h, h->b, h->now_ms + 1, 1);
}

#endif
