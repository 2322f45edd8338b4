/* SPDX-License-Identifier: Apache-2.0 */
#include "postwalk/wires.h"

#include <stdio.h>
#include <string.h>

const int64_t pw_width_below_ms[PW_WIDTHS - 1] = { 1, 2, 5, 10, 20, 50, 100 };

void pw_wires_begin(struct pw_wires *w, const struct pw_policy *p, uint32_t levels, int64_t now_ms)
{
	memset(w, 0, sizeof(*w));
	w->version = PW_WIRES_VERSION;
	w->size = sizeof(*w);
	w->now_ms = w->counted_ms = now_ms;
	w->disagree_ms = -1;
	w->wiring.look.result = PW_WIRING_OPEN;
	w->wiring.look.shortest_ms = -1;
	for (unsigned i = 0; i < PW_LINES; i++) {
		struct pw_wire *wire = &w->wire[i];

		wire->verdict = PW_WIRE_UNSEEN;
		wire->shortest_ms = -1;
		if (!p->line[i].configured)
			continue;
		snprintf(wire->name, sizeof(wire->name), "%s", p->line[i].name);
		wire->out = p->line[i].direction == PW_OUT;
		wire->settle_ms = p->line[i].settle_ms;
		wire->level = levels >> i & 1;
	}
}

static unsigned bin_of(int64_t width_ms)
{
	unsigned bin = 0;

	while (bin < PW_WIDTHS - 1 && width_ms >= pw_width_below_ms[bin])
		bin++;
	return bin;
}

static void count_pulse(struct pw_wire *wire, int64_t width_ms)
{
	if (wire->shortest_ms < 0 || width_ms < wire->shortest_ms)
		wire->shortest_ms = width_ms;
	if (width_ms >= wire->settle_ms)
		return;
	wire->chatter++;
	wire->width[bin_of(width_ms)]++;
}

static void keep_edge(struct pw_wire *wire, int64_t at_ms)
{
	if (wire->tail == PW_TAIL_MAX) {
		wire->tail--;
		memmove(wire->at_ms, wire->at_ms + 1, wire->tail * sizeof(wire->at_ms[0]));
	}
	wire->at_ms[wire->tail++] = at_ms;
}

void pw_wires_edge(struct pw_wires *w, unsigned line, uint8_t level, int64_t at_ms)
{
	struct pw_wire *wire;

	if (line >= PW_LINES || w->wire[line].name[0] == '\0' || w->wire[line].level == level)
		return;
	wire = &w->wire[line];
	if (wire->count > 0) /* else the pulse began before counting did */
		count_pulse(wire, at_ms - wire->at_ms[wire->tail - 1]);
	wire->level = level;
	wire->count++;
	keep_edge(wire, at_ms);
}

void pw_wires_count_anew(struct pw_wires *w, int64_t now_ms)
{
	w->counted_ms = now_ms;
	for (unsigned i = 0; i < PW_LINES; i++) {
		struct pw_wire *wire = &w->wire[i];

		/* The step under way keeps its differences; unsigned, so wrapping is sound. */
		w->wiring.count[i] -= wire->count;
		w->wiring.chatter[i] -= wire->chatter;
		wire->count = wire->chatter = 0;
		wire->shortest_ms = -1;
		memset(wire->width, 0, sizeof(wire->width));
	}
}

static int64_t since_ms(const struct pw_wires *w, unsigned line)
{
	const struct pw_wire *wire = &w->wire[line];

	return wire->tail > 0 ? wire->at_ms[wire->tail - 1] : w->counted_ms;
}

/*
 * Of the edges counted and kept. A move may bounce up to PW_CHATTER_MANY times; pulses that lead
 * nowhere, the level before them being the one after, may be as many in all.
 */
static bool chatters(const struct pw_wire *wire)
{
	unsigned from = wire->count < wire->tail ? wire->tail - wire->count : 0;
	unsigned run = 0, longest = 0, nowhere = 0;

	for (unsigned i = from + 1; i < wire->tail; i++) {
		if (wire->at_ms[i] - wire->at_ms[i - 1] < wire->settle_ms) {
			run++;
			longest = run > longest ? run : longest;
			continue;
		}
		nowhere += run % 2 == 1 ? run : 0;
		run = 0;
	}
	nowhere += run % 2 == 1 ? run : 0;
	return longest > PW_CHATTER_MANY || nowhere > PW_CHATTER_MANY;
}

static enum pw_wire_verdict verdict_of(const struct pw_wire *wire)
{
	if (chatters(wire))
		return PW_WIRE_CHATTERS;
	if (wire->count == 0)
		return PW_WIRE_UNSEEN;
	return wire->count == 1 ? PW_WIRE_ONE_WAY : PW_WIRE_WELL;
}

static bool is_input(const struct pw_wire *wire)
{
	return wire->name[0] != '\0' && !wire->out;
}

static int64_t longer(int64_t a, int64_t b)
{
	return a > b ? a : b;
}

/* What the pair says of both its lines, or of the button alone; 0: nothing. */
static enum pw_wire_verdict judge_button(struct pw_wires *w, int64_t held_max_ms)
{
	const struct pw_wire *no = &w->wire[PW_REAR_BUTTON], *nc = &w->wire[PW_REAR_BUTTON_NC];
	int64_t since = since_ms(w, PW_REAR_BUTTON);

	if (is_input(nc)) {
		since = longer(since, since_ms(w, PW_REAR_BUTTON_NC));
		if (no->level == nc->level) {
			w->disagree_ms = since;
			if (w->now_ms - since < longer(no->settle_ms, nc->settle_ms))
				return 0;
			return no->level ? PW_WIRE_BOTH_CLOSED : PW_WIRE_BOTH_OPEN;
		}
	}
	return no->level && w->now_ms - since > held_max_ms ? PW_WIRE_STUCK : 0;
}

void pw_wires_judge(struct pw_wires *w, uint32_t faults, int64_t held_max_ms, int64_t now_ms)
{
	const uint32_t button = UINT32_C(1) << PW_REAR_BUTTON,
		       pair = button | UINT32_C(1) << PW_REAR_BUTTON_NC;
	enum pw_wire_verdict of_button = 0;

	w->now_ms = now_ms;
	w->disagree_ms = -1;
	if (is_input(&w->wire[PW_REAR_BUTTON]) && (faults & pair) == 0)
		of_button = judge_button(w, held_max_ms);
	for (unsigned i = 0; i < PW_LINES; i++) {
		struct pw_wire *wire = &w->wire[i];

		if (wire->name[0] == '\0')
			continue;
		wire->verdict = verdict_of(wire);
		if (of_button && pair >> i & 1 && wire->verdict != PW_WIRE_CHATTERS)
			wire->verdict = of_button;
		if (faults >> i & 1)
			wire->verdict = PW_WIRE_FAULT;
	}
	w->wiring.look = pw_wiring_look(w, now_ms);
}

const char *pw_wire_verdict_name(enum pw_wire_verdict verdict)
{
	static const char *const name[PW_WIRE_VERDICTS] = {
		[PW_WIRE_WELL] = "well", [PW_WIRE_UNSEEN] = "unseen",
		[PW_WIRE_ONE_WAY] = "one_way", [PW_WIRE_CHATTERS] = "chatters",
		[PW_WIRE_BOTH_OPEN] = "both_open", [PW_WIRE_BOTH_CLOSED] = "both_closed",
		[PW_WIRE_STUCK] = "stuck", [PW_WIRE_FAULT] = "fault",
	};

	return name[verdict];
}
