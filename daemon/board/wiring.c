/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A step knows the levels and counts of its beginning. From the edges since then each line's
 * settled moves are worked out; what the step's own line did, and what another one did at the same
 * moment, is the result.
 *
 * A line that stood at the asked level and left it may be inverted, or somebody had set it before
 * the step began. The edges cannot tell the two apart, so it is called inverted, the safe side,
 * unless the step before has just proven which way the line reads.
 */
#include "postwalk/wires.h"

#include <string.h>

#define TOGETHER_MS 10 /* at least, where lines settle in less */

/* What one line did in the step. */
struct motion {
	bool moved;    /* came to another settled level than it had */
	uint8_t level; /* the last settled one */
	int64_t at_ms; /* of the last move */
};

static bool is_input(const struct pw_wires *w, unsigned line)
{
	return line < PW_INPUTS && w->wire[line].name[0] != '\0' && !w->wire[line].out;
}

static bool is_pair(const struct pw_wires *w, unsigned line)
{
	return line == PW_REAR_BUTTON && is_input(w, PW_REAR_BUTTON_NC);
}

static uint16_t small(uint32_t count)
{
	return count < UINT16_MAX ? (uint16_t)count : UINT16_MAX;
}

static uint32_t edges_of(const struct pw_wires *w, unsigned line)
{
	return w->wire[line].count - w->wiring.count[line];
}

static uint32_t chatter_of(const struct pw_wires *w, unsigned line)
{
	return w->wire[line].chatter - w->wiring.chatter[line];
}

/* Where in the tail the step's edges begin. */
static unsigned first_edge(const struct pw_wires *w, unsigned line)
{
	uint32_t edges = edges_of(w, line);

	return edges < w->wire[line].tail ? w->wire[line].tail - edges : 0;
}

/* The line's last level is taken for settled. */
static struct motion motion_of(const struct pw_wires *w, unsigned line)
{
	const struct pw_wire *wire = &w->wire[line];
	struct motion m = { .level = w->wiring.level[line] };

	for (unsigned i = first_edge(w, line); i < wire->tail; i++) {
		unsigned later = wire->tail - 1U - i;
		uint8_t level = wire->level ^ (later & 1);

		if (later > 0 && wire->at_ms[i + 1] - wire->at_ms[i] < wire->settle_ms)
			continue;
		if (level == m.level)
			continue;
		m = (struct motion){ .moved = true, .level = level, .at_ms = wire->at_ms[i] };
	}
	return m;
}

/* Near enough that one hand or one wire did both. */
static bool together(const struct pw_wires *w, unsigned a, unsigned b, int64_t a_ms, int64_t b_ms)
{
	int64_t within_ms = TOGETHER_MS, apart_ms = a_ms > b_ms ? a_ms - b_ms : b_ms - a_ms;

	if (w->wire[a].settle_ms > within_ms)
		within_ms = w->wire[a].settle_ms;
	if (w->wire[b].settle_ms > within_ms)
		within_ms = w->wire[b].settle_ms;
	return apart_ms <= within_ms;
}

static bool is_other(const struct pw_wires *w, unsigned line, unsigned other)
{
	return other != line && is_input(w, other) &&
	       !(is_pair(w, line) && other == PW_REAR_BUTTON_NC);
}

/* The other line that moved last, or -1. */
static int moved_last(const struct pw_wires *w, unsigned line)
{
	int64_t last_ms = 0;
	int found = -1;

	for (unsigned i = 0; i < PW_INPUTS; i++) {
		struct motion m;

		if (!is_other(w, line, i))
			continue;
		m = motion_of(w, i);
		if (!m.moved || (found >= 0 && m.at_ms <= last_ms))
			continue;
		found = (int)i;
		last_ms = m.at_ms;
	}
	return found;
}

/* The first other line that moved in the moment of the line's own move, or -1. */
static int moved_with(const struct pw_wires *w, unsigned line, int64_t at_ms)
{
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		struct motion m;

		if (!is_other(w, line, i))
			continue;
		m = motion_of(w, i);
		if (m.moved && together(w, line, i, at_ms, m.at_ms))
			return (int)i;
	}
	return -1;
}

static bool has_edge_near(const struct pw_wires *w, unsigned line, unsigned other, int64_t at_ms)
{
	for (unsigned i = first_edge(w, other); i < w->wire[other].tail; i++)
		if (together(w, line, other, at_ms, w->wire[other].at_ms[i]))
			return true;
	return false;
}

/* The first other line that did not move but had edges in that moment, or -1. */
static int disturbed_with(const struct pw_wires *w, unsigned line, int64_t at_ms)
{
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (is_other(w, line, i) && !motion_of(w, i).moved &&
		    has_edge_near(w, line, i, at_ms))
			return (int)i;
	return -1;
}

/* The step before was of the same line, and its way was right. */
static bool is_proven(const struct pw_wiring *g)
{
	const struct pw_wiring_step *before;

	if (g->at == 0)
		return false;
	before = &g->step[g->at - 1];
	return before->line == g->step[g->at].line &&
	       (before->result == PW_WIRING_RIGHT || before->result == PW_WIRING_SHORTED ||
		before->result == PW_WIRING_CROSSTALK);
}

static bool came_right(const struct pw_wires *w, const struct pw_wiring_step *s, struct motion m)
{
	bool stood_there = w->wiring.level[s->line] == s->level;

	if (!m.moved || (stood_there && !is_proven(&w->wiring)))
		return false;
	/* Nobody can hold the button and the page as well: pressed and let go is pressed. */
	return m.level == s->level ||
	       (s->line == PW_REAR_BUTTON && s->level == 1 && !stood_there);
}

static void set_result(struct pw_wiring_step *s, enum pw_wiring_result what, unsigned other)
{
	s->result = what;
	s->other = (uint8_t)other;
}

/* Nothing moved on the line itself. */
static void judge_still(const struct pw_wires *w, struct pw_wiring_step *s)
{
	const unsigned nc = PW_REAR_BUTTON_NC;
	int other = moved_last(w, s->line);

	if (other >= 0)
		set_result(s, PW_WIRING_SWAPPED, (unsigned)other);
	else if (!is_pair(w, s->line) || motion_of(w, nc).moved ||
		 w->wire[s->line].level != w->wire[nc].level)
		set_result(s, PW_WIRING_NO_EDGE, s->line);
	else
		set_result(s, w->wire[nc].level ? PW_WIRING_SHORTED : PW_WIRING_NO_EDGE, nc);
}

/* The line came to the asked level. */
static void judge_right(const struct pw_wires *w, struct pw_wiring_step *s, int64_t at_ms)
{
	const unsigned nc = PW_REAR_BUTTON_NC;
	int other = moved_with(w, s->line, at_ms);

	if (is_pair(w, s->line) && !motion_of(w, nc).moved)
		set_result(s, other >= 0 ? PW_WIRING_SWAPPED : PW_WIRING_NO_EDGE,
			   other >= 0 ? (unsigned)other : nc);
	else if (is_pair(w, s->line) && w->wire[nc].level == w->wire[s->line].level)
		set_result(s, PW_WIRING_SHORTED, nc);
	else if (other >= 0)
		set_result(s, PW_WIRING_SHORTED, (unsigned)other);
	else if ((other = disturbed_with(w, s->line, at_ms)) >= 0)
		set_result(s, PW_WIRING_CROSSTALK, (unsigned)other);
	else
		set_result(s, PW_WIRING_RIGHT, s->line);
}

/* The line left the asked level; with its pair mirrored, the two contacts are exchanged. */
static void judge_wrong(const struct pw_wires *w, struct pw_wiring_step *s)
{
	const unsigned nc = PW_REAR_BUTTON_NC;

	if (is_pair(w, s->line) && motion_of(w, nc).moved &&
	    w->wire[nc].level != w->wire[s->line].level)
		set_result(s, PW_WIRING_SWAPPED, nc);
	else
		set_result(s, PW_WIRING_INVERTED, s->line);
}

static int64_t shortest_ms(const struct pw_wires *w, unsigned line)
{
	const struct pw_wire *wire = &w->wire[line];
	int64_t shortest = -1;

	for (unsigned i = first_edge(w, line) + 1; i < wire->tail; i++) {
		int64_t width_ms = wire->at_ms[i] - wire->at_ms[i - 1];

		if (shortest < 0 || width_ms < shortest)
			shortest = width_ms;
	}
	return shortest;
}

/* The step under way, judged as if every line had settled. */
static struct pw_wiring_step conclude(const struct pw_wires *w)
{
	struct pw_wiring_step s = w->wiring.step[w->wiring.at];
	const struct motion m = motion_of(w, s.line);

	s.edges = small(edges_of(w, s.line));
	s.chatter = small(chatter_of(w, s.line));
	s.shortest_ms = shortest_ms(w, s.line);
	if (s.chatter > PW_CHATTER_MANY)
		set_result(&s, PW_WIRING_CHATTER, s.line);
	else if (!m.moved)
		judge_still(w, &s);
	else if (came_right(w, &s, m))
		judge_right(w, &s, m.at_ms);
	else
		judge_wrong(w, &s);
	s.other_edges = s.other == s.line ? 0 : small(edges_of(w, s.other));
	return s;
}

/* A line that chatters on and on is not waited for. */
static bool is_settling(const struct pw_wires *w, unsigned line, int64_t now_ms)
{
	const struct pw_wire *wire = &w->wire[line];

	return edges_of(w, line) > 0 && wire->tail > 0 &&
	       chatter_of(w, line) <= PW_CHATTER_MANY &&
	       now_ms - wire->at_ms[wire->tail - 1] < wire->settle_ms;
}

static bool can_judge(const struct pw_wires *w, int64_t now_ms)
{
	const unsigned line = w->wiring.step[w->wiring.at].line;
	bool moved = false;

	if (chatter_of(w, line) > PW_CHATTER_MANY)
		return true;
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		if (!is_input(w, i))
			continue;
		if (is_settling(w, i, now_ms))
			return false;
		moved |= motion_of(w, i).moved;
	}
	return moved;
}

struct pw_wiring_step pw_wiring_look(const struct pw_wires *w, int64_t now_ms)
{
	struct pw_wiring_step s = { .result = PW_WIRING_OPEN, .shortest_ms = -1 };

	if (!w->wiring.on || w->wiring.at >= w->wiring.steps)
		return s;
	s = conclude(w);
	if (!can_judge(w, now_ms))
		set_result(&s, PW_WIRING_OPEN, s.line);
	return s;
}

/* -- going on ---------------------------------------------------------------------------------- */

static void begin_step(struct pw_wires *w, int64_t now_ms)
{
	struct pw_wiring *g = &w->wiring;

	g->begun_ms = now_ms;
	for (unsigned i = 0; i < PW_LINES; i++) {
		g->count[i] = w->wire[i].count;
		g->chatter[i] = w->wire[i].chatter;
		g->level[i] = w->wire[i].level;
	}
	if (g->at < g->steps) {
		struct pw_wiring_step *s = &g->step[g->at];

		*s = (struct pw_wiring_step){ .line = s->line, .level = s->level,
			.result = PW_WIRING_OPEN, .other = s->line, .shortest_ms = -1 };
	}
	g->look = pw_wiring_look(w, now_ms);
}

void pw_wiring_begin(struct pw_wires *w, int64_t now_ms)
{
	static const uint8_t order[] = { PW_IGNITION, PW_PARK_BRAKE, PW_SERVICE_DOOR, PW_LAMPS,
					 PW_REAR_BUTTON, PW_REAR_DOOR, PW_EXITS };
	struct pw_wiring *g = &w->wiring;

	memset(g, 0, sizeof(*g));
	g->on = true;
	for (unsigned i = 0; i < sizeof(order); i++) {
		if (!is_input(w, order[i]))
			continue;
		for (unsigned level = 2; level-- > 0;) {
			struct pw_wiring_step *s = &g->step[g->steps++];

			s->line = s->other = order[i];
			s->level = (uint8_t)level;
			s->result = PW_WIRING_OPEN;
			s->shortest_ms = -1;
		}
	}
	begin_step(w, now_ms);
}

static bool is_under_way(const struct pw_wiring *g)
{
	return g->on && g->at < g->steps;
}

bool pw_wiring_next(struct pw_wires *w, int64_t now_ms)
{
	if (!is_under_way(&w->wiring))
		return false;
	w->wiring.step[w->wiring.at] = conclude(w);
	w->wiring.at++;
	begin_step(w, now_ms);
	return true;
}

bool pw_wiring_again(struct pw_wires *w, int64_t now_ms)
{
	if (!w->wiring.on || w->wiring.at == 0)
		return false;
	w->wiring.at--;
	begin_step(w, now_ms);
	return true;
}

bool pw_wiring_skip(struct pw_wires *w, int64_t now_ms)
{
	if (!is_under_way(&w->wiring))
		return false;
	w->wiring.step[w->wiring.at].result = PW_WIRING_SKIPPED;
	w->wiring.at++;
	begin_step(w, now_ms);
	return true;
}

const char *pw_wiring_name(enum pw_wiring_result what)
{
	static const char *const name[PW_WIRING_RESULTS] = {
		[PW_WIRING_OPEN] = "open", [PW_WIRING_RIGHT] = "right",
		[PW_WIRING_SWAPPED] = "swapped", [PW_WIRING_INVERTED] = "inverted",
		[PW_WIRING_NO_EDGE] = "no_edge", [PW_WIRING_SHORTED] = "shorted",
		[PW_WIRING_CROSSTALK] = "crosstalk", [PW_WIRING_CHATTER] = "chatter",
		[PW_WIRING_SKIPPED] = "skipped",
	};

	return name[what];
}
