/* SPDX-License-Identifier: Apache-2.0 */
/* Raw edges counted: pulses, their widths, and what is said of each wire. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "board_harness.h"

#define BIT(i) (UINT32_C(1) << (i))
#define HELD_MAX_MS 10000

static struct pw_wires begun(uint32_t levels)
{
	const struct pw_policy p = harness_policy();
	struct pw_wires w;

	pw_wires_begin(&w, &p, levels, 1000);
	return w;
}

/* Edges at these moments, each the other level. */
static void edges(struct pw_wires *w, unsigned line, const int64_t *at_ms, size_t n)
{
	for (size_t i = 0; i < n; i++)
		pw_wires_edge(w, line, !w->wire[line].level, at_ms[i]);
}

#define EDGES(w, line, ...) \
	edges(w, line, (const int64_t[]){ __VA_ARGS__ }, \
	      sizeof((const int64_t[]){ __VA_ARGS__ }) / sizeof(int64_t))

static enum pw_wire_verdict verdict(struct pw_wires *w, unsigned line, int64_t now_ms)
{
	pw_wires_judge(w, 0, HELD_MAX_MS, now_ms);
	return w->wire[line].verdict;
}

static void nothing_is_counted_at_first(void **state)
{
	struct pw_wires w = begun(BIT(PW_IGNITION) | BIT(PW_BEEPER));

	(void)state;
	assert_int_equal(w.version, PW_WIRES_VERSION);
	assert_int_equal(w.size, sizeof(w));
	assert_int_equal(w.counted_ms, 1000);
	assert_int_equal(w.wire[PW_IGNITION].level, 1);
	assert_int_equal(w.wire[PW_BEEPER].level, 1);
	assert_true(w.wire[PW_BEEPER].out);
	assert_int_equal(w.wire[PW_LAMPS].level, 0);
	assert_int_equal(w.wire[PW_LAMPS].settle_ms, 200);
	assert_int_equal(w.wire[PW_LAMPS].shortest_ms, -1);
	assert_string_equal(w.wire[PW_EXTRA + 1].name, "");
	assert_int_equal(verdict(&w, PW_LAMPS, 2000), PW_WIRE_UNSEEN);
}

static void a_level_that_is_already_so_is_no_edge(void **state)
{
	struct pw_wires w = begun(BIT(PW_IGNITION));

	(void)state;
	pw_wires_edge(&w, PW_IGNITION, 1, 1100);
	pw_wires_edge(&w, PW_EXTRA + 1, 1, 1100); /* not configured */
	pw_wires_edge(&w, PW_LINES, 1, 1100);
	assert_int_equal(w.wire[PW_IGNITION].count, 0);
	assert_int_equal(w.wire[PW_EXTRA + 1].count, 0);
	pw_wires_edge(&w, PW_IGNITION, 0, 1100);
	assert_int_equal(w.wire[PW_IGNITION].count, 1);
	assert_int_equal(w.wire[PW_IGNITION].level, 0);
}

/* Each pulse lies in the first bin whose bound is more than its width. */
static void pulses_shorter_than_settle_go_by_their_width(void **state)
{
	static const struct {
		int64_t width_ms;
		int bin; /* -1: long enough to count as a move */
	} rows[] = {
		{ 0, 0 }, { 1, 1 }, { 2, 2 }, { 4, 2 }, { 5, 3 }, { 9, 3 }, { 10, 4 },
		{ 19, 4 }, { 20, 5 }, { 49, 5 }, { 50, 6 }, { 99, 6 }, { 100, 7 }, { 199, 7 },
		{ 200, -1 }, { 5000, -1 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		struct pw_wires w = begun(0);

		EDGES(&w, PW_LAMPS, 2000, 2000 + rows[i].width_ms);
		assert_int_equal(w.wire[PW_LAMPS].shortest_ms, rows[i].width_ms);
		assert_int_equal(w.wire[PW_LAMPS].chatter, rows[i].bin >= 0);
		for (int bin = 0; bin < PW_WIDTHS; bin++)
			assert_int_equal(w.wire[PW_LAMPS].width[bin], bin == rows[i].bin);
	}
}

/* A door settles in 100 ms: its pulses of 100 ms are moves, and the last bin stays empty. */
static void what_settles_is_no_chatter(void **state)
{
	struct pw_wires w = begun(0);

	(void)state;
	EDGES(&w, PW_REAR_DOOR, 2000, 2099, 2199);
	assert_int_equal(w.wire[PW_REAR_DOOR].chatter, 1);
	assert_int_equal(w.wire[PW_REAR_DOOR].width[6], 1);
	assert_int_equal(w.wire[PW_REAR_DOOR].width[7], 0);
	assert_int_equal(w.wire[PW_REAR_DOOR].shortest_ms, 99);
}

/* Bounce as the survey has it (docs/sources.md, E8: 1.6 ms on average, 6.2 ms at most) is well; and the
 * button's 30 ms outlast it. */
static void bounce_as_surveyed_is_well(void **state)
{
	struct pw_wires w = begun(BIT(PW_REAR_BUTTON_NC));

	(void)state;
	for (int64_t t = 2000; t < 90000; t += 2000) {
		EDGES(&w, PW_REAR_BUTTON, t, t + 1, t + 3, t + 4, t + 10);
		EDGES(&w, PW_REAR_BUTTON_NC, t, t + 1, t + 3);
	}
	assert_int_equal(w.wire[PW_REAR_BUTTON].chatter, 44 * 4);
	assert_int_equal(w.wire[PW_REAR_BUTTON].width[1], 44 * 2);
	assert_int_equal(w.wire[PW_REAR_BUTTON].width[2], 44);
	assert_int_equal(w.wire[PW_REAR_BUTTON].width[3], 44);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 91000), PW_WIRE_WELL);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON_NC, 91000), PW_WIRE_WELL);
}

static void moved_once_is_one_way(void **state)
{
	struct pw_wires w = begun(0);

	(void)state;
	EDGES(&w, PW_REAR_DOOR, 2000);
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 3000), PW_WIRE_ONE_WAY);
	EDGES(&w, PW_REAR_DOOR, 4000);
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 5000), PW_WIRE_WELL);
}

static void a_long_burst_is_chatter(void **state)
{
	struct pw_wires w = begun(0);

	(void)state;
	for (int i = 0; i <= PW_CHATTER_MANY; i++)
		EDGES(&w, PW_REAR_DOOR, 2000 + 3 * i);
	assert_int_equal(w.wire[PW_REAR_DOOR].chatter, PW_CHATTER_MANY);
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 3000), PW_WIRE_WELL);
	EDGES(&w, PW_REAR_DOOR, 2000 + 3 * (PW_CHATTER_MANY + 1));
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 3000), PW_WIRE_CHATTERS);
	for (int i = 0; i < 20; i++) /* good moves do not hide it soon */
		EDGES(&w, PW_REAR_DOOR, 4000 + 1000 * i);
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 90000), PW_WIRE_CHATTERS);
	pw_wires_count_anew(&w, 90000);
	assert_int_equal(verdict(&w, PW_REAR_DOOR, 90001), PW_WIRE_UNSEEN);
}

/* A loose contact that opens for a moment now and then: never a long burst, never a move. */
static void drop_outs_are_chatter(void **state)
{
	struct pw_wires w = begun(BIT(PW_IGNITION));

	(void)state;
	for (int i = 0; i < PW_CHATTER_MANY; i++)
		EDGES(&w, PW_IGNITION, 2000 + 1000 * i, 2005 + 1000 * i);
	assert_int_equal(verdict(&w, PW_IGNITION, 20000), PW_WIRE_WELL);
	EDGES(&w, PW_IGNITION, 21000, 21005);
	assert_int_equal(verdict(&w, PW_IGNITION, 22000), PW_WIRE_CHATTERS);
}

/* E10: the pair must not read the same. */
static void the_pair_tells_of_its_wires(void **state)
{
	struct pw_wires w = begun(BIT(PW_REAR_BUTTON_NC));

	(void)state;
	verdict(&w, PW_REAR_BUTTON, 1900);
	assert_int_equal(w.disagree_ms, -1);
	EDGES(&w, PW_REAR_BUTTON_NC, 2000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 2029), PW_WIRE_UNSEEN); /* on its way */
	assert_int_equal(w.disagree_ms, 2000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 2030), PW_WIRE_BOTH_OPEN);
	assert_int_equal(w.wire[PW_REAR_BUTTON_NC].verdict, PW_WIRE_BOTH_OPEN);
	EDGES(&w, PW_REAR_BUTTON_NC, 3000);
	EDGES(&w, PW_REAR_BUTTON, 4000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON_NC, 4030), PW_WIRE_BOTH_CLOSED);
	assert_int_equal(w.disagree_ms, 4000);
	EDGES(&w, PW_REAR_BUTTON, 5000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 5030), PW_WIRE_WELL);
	assert_int_equal(w.disagree_ms, -1);
}

static void a_pair_dead_from_the_start_is_told(void **state)
{
	struct pw_wires w = begun(0);

	(void)state;
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 1030), PW_WIRE_BOTH_OPEN);
	assert_int_equal(w.disagree_ms, 1000);
	w = begun(BIT(PW_REAR_BUTTON) | BIT(PW_REAR_BUTTON_NC));
	assert_int_equal(verdict(&w, PW_REAR_BUTTON_NC, 1030), PW_WIRE_BOTH_CLOSED);
}

/* G12: taped down. */
static void a_button_held_for_too_long_is_stuck(void **state)
{
	struct pw_wires w = begun(BIT(PW_REAR_BUTTON_NC));

	(void)state;
	EDGES(&w, PW_REAR_BUTTON, 2000);
	EDGES(&w, PW_REAR_BUTTON_NC, 2005);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 2005 + HELD_MAX_MS), PW_WIRE_ONE_WAY);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 2006 + HELD_MAX_MS), PW_WIRE_STUCK);
	assert_int_equal(w.wire[PW_REAR_BUTTON_NC].verdict, PW_WIRE_STUCK);
	EDGES(&w, PW_REAR_BUTTON, 30000);
	EDGES(&w, PW_REAR_BUTTON_NC, 30000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 90000), PW_WIRE_WELL);
}

static void one_contact_alone_has_no_pair(void **state)
{
	struct pw_policy p = harness_policy();
	struct pw_wires w;

	(void)state;
	p.line[PW_REAR_BUTTON_NC].configured = false;
	pw_wires_begin(&w, &p, BIT(PW_REAR_BUTTON), 1000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 1000 + HELD_MAX_MS), PW_WIRE_UNSEEN);
	assert_int_equal(w.disagree_ms, -1);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 1001 + HELD_MAX_MS), PW_WIRE_STUCK);
	EDGES(&w, PW_REAR_BUTTON, 30000);
	assert_int_equal(verdict(&w, PW_REAR_BUTTON, 90000), PW_WIRE_ONE_WAY);
}

static void what_the_board_cannot_have_is_a_fault(void **state)
{
	struct pw_wires w = begun(0);

	(void)state;
	pw_wires_judge(&w, BIT(PW_REAR_BUTTON) | BIT(PW_HORN), HELD_MAX_MS, 9000);
	assert_int_equal(w.wire[PW_REAR_BUTTON].verdict, PW_WIRE_FAULT);
	assert_int_equal(w.wire[PW_REAR_BUTTON_NC].verdict, PW_WIRE_UNSEEN);
	assert_int_equal(w.wire[PW_HORN].verdict, PW_WIRE_FAULT);
	assert_int_equal(w.wire[PW_BEEPER].verdict, PW_WIRE_UNSEEN);
	assert_int_equal(w.disagree_ms, -1);
}

static void the_tail_keeps_the_newest(void **state)
{
	struct pw_wires w = begun(0);
	const struct pw_wire *wire = &w.wire[PW_LAMPS];

	(void)state;
	for (int i = 0; i < 500; i++)
		EDGES(&w, PW_LAMPS, 2000 + i);
	assert_int_equal(wire->count, 500);
	assert_int_equal(wire->chatter, 499);
	assert_int_equal(wire->tail, PW_TAIL_MAX);
	for (int i = 0; i < PW_TAIL_MAX; i++)
		assert_int_equal(wire->at_ms[i], 2000 + 500 - PW_TAIL_MAX + i);
}

static void counting_anew_keeps_the_tail(void **state)
{
	struct pw_wires w = begun(0);
	const struct pw_wire *wire = &w.wire[PW_LAMPS];

	(void)state;
	EDGES(&w, PW_LAMPS, 2000, 2001, 2500);
	pw_wires_count_anew(&w, 2501);
	assert_int_equal(w.counted_ms, 2501);
	assert_int_equal(wire->count + wire->chatter + wire->width[1], 0);
	assert_int_equal(wire->shortest_ms, -1);
	assert_int_equal(wire->tail, 3);
	EDGES(&w, PW_LAMPS, 2510); /* ends a pulse that began before */
	assert_int_equal(wire->count, 1);
	assert_int_equal(wire->chatter, 0);
	EDGES(&w, PW_LAMPS, 2517);
	assert_int_equal(wire->chatter, 1);
	assert_int_equal(wire->shortest_ms, 7);
}

static void names_are_words(void **state)
{
	(void)state;
	for (int i = PW_WIRE_WELL; i < PW_WIRE_VERDICTS; i++)
		assert_true(strlen(pw_wire_verdict_name((enum pw_wire_verdict)i)) > 3);
	for (int i = PW_WIRING_OPEN; i < PW_WIRING_RESULTS; i++)
		assert_true(strlen(pw_wiring_name((enum pw_wiring_result)i)) > 3);
	assert_string_equal(pw_wiring_name(PW_WIRING_SWAPPED), "swapped");
	assert_string_equal(pw_wire_verdict_name(PW_WIRE_BOTH_OPEN), "both_open");
}

/* -- random: counted a second time, from every edge ever given --------------------------------- */

#define EVER 4096

struct story {
	size_t n[PW_LINES];
	int64_t at_ms[PW_LINES][EVER];
};

static void check_wire(const struct pw_wire *wire, const int64_t *ever_ms, size_t n, size_t anew)
{
	uint32_t chatter = 0, widths = 0;
	int64_t shortest = -1;

	for (size_t i = anew + 1; i < n; i++) {
		int64_t width_ms = ever_ms[i] - ever_ms[i - 1];

		chatter += width_ms < wire->settle_ms;
		shortest = shortest < 0 || width_ms < shortest ? width_ms : shortest;
	}
	for (unsigned i = 0; i < PW_WIDTHS; i++)
		widths += wire->width[i];
	assert_int_equal(wire->count, n - anew);
	assert_int_equal(wire->chatter, chatter);
	assert_int_equal(widths, chatter);
	assert_int_equal(wire->shortest_ms, shortest);
	assert_int_equal(wire->tail, n < PW_TAIL_MAX ? n : PW_TAIL_MAX);
	assert_memory_equal(wire->at_ms, ever_ms + (n - wire->tail),
			    wire->tail * sizeof(ever_ms[0]));
	assert_true(wire->verdict >= PW_WIRE_WELL && wire->verdict < PW_WIRE_VERDICTS);
}

static void check_step(const struct pw_wiring_step *s)
{
	assert_true(s->line < PW_INPUTS && s->other < PW_INPUTS && s->level <= 1);
	assert_true(s->result >= PW_WIRING_OPEN && s->result < PW_WIRING_RESULTS);
	assert_true(s->chatter <= s->edges);
	assert_true(s->shortest_ms >= -1);
	if (s->result == PW_WIRING_SWAPPED || s->result == PW_WIRING_CROSSTALK)
		assert_true(s->other != s->line && s->other_edges > 0);
}

static void check_wiring(const struct pw_wires *w)
{
	const struct pw_wiring *g = &w->wiring;

	assert_true(g->at <= g->steps && g->steps <= PW_WIRING_STEPS);
	check_step(&g->look);
	for (unsigned i = 0; i < g->steps; i++) {
		check_step(&g->step[i]);
		assert_true((g->step[i].result == PW_WIRING_OPEN) == (i >= g->at));
	}
}

static void random_act(struct pw_wires *w, int64_t now_ms)
{
	const struct pw_wires before = *w;

	switch (rand() % 40) {
	case 0: pw_wiring_begin(w, now_ms); break;
	case 1: case 2: case 3: case 4: case 5: pw_wiring_next(w, now_ms); break;
	case 6: pw_wiring_again(w, now_ms); break;
	case 7: pw_wiring_skip(w, now_ms); break;
	default:
		pw_wiring_look(w, now_ms);
		assert_memory_equal(w, &before, sizeof(before));
	}
}

static void random_story(unsigned seed, struct story *s)
{
	static char text[PW_VCD_MAX];
	struct pw_wires w = begun(BIT(PW_REAR_BUTTON_NC));
	size_t anew[PW_LINES] = { 0 };
	int64_t now_ms = 1000;

	srand(seed);
	memset(s->n, 0, sizeof(s->n));
	for (int i = 0; i < 6000; i++) {
		unsigned line = (unsigned)rand() % PW_LINES;
		uint8_t level = rand() & 1;

		now_ms += rand() % 8 ? rand() % 4 : rand() % 900;
		if (w.wire[line].name[0] && w.wire[line].level != level)
			s->at_ms[line][s->n[line]++] = now_ms;
		pw_wires_edge(&w, line, level, now_ms);
		random_act(&w, now_ms);
		if (rand() % 1500 == 0) {
			pw_wires_count_anew(&w, now_ms);
			memcpy(anew, s->n, sizeof(anew));
		}
	}
	pw_wires_judge(&w, rand() & 1 ? BIT(PW_LAMPS) : 0, HELD_MAX_MS, now_ms);
	for (unsigned i = 0; i < PW_LINES; i++)
		check_wire(&w.wire[i], s->at_ms[i], s->n[i], anew[i]);
	check_wiring(&w);
	assert_true(pw_wires_vcd(&w, "b", "d", text, sizeof(text)) > 0);
}

static void random_edges_are_counted_right(void **state)
{
	static struct story s;

	(void)state;
	for (unsigned seed = 1; seed <= 60; seed++)
		random_story(seed, &s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(nothing_is_counted_at_first),
		cmocka_unit_test(a_level_that_is_already_so_is_no_edge),
		cmocka_unit_test(pulses_shorter_than_settle_go_by_their_width),
		cmocka_unit_test(what_settles_is_no_chatter),
		cmocka_unit_test(bounce_as_surveyed_is_well),
		cmocka_unit_test(moved_once_is_one_way),
		cmocka_unit_test(a_long_burst_is_chatter),
		cmocka_unit_test(drop_outs_are_chatter),
		cmocka_unit_test(the_pair_tells_of_its_wires),
		cmocka_unit_test(a_pair_dead_from_the_start_is_told),
		cmocka_unit_test(a_button_held_for_too_long_is_stuck),
		cmocka_unit_test(one_contact_alone_has_no_pair),
		cmocka_unit_test(what_the_board_cannot_have_is_a_fault),
		cmocka_unit_test(the_tail_keeps_the_newest),
		cmocka_unit_test(counting_anew_keeps_the_tail),
		cmocka_unit_test(names_are_words),
		cmocka_unit_test(random_edges_are_counted_right),
	};

	return cmocka_run_group_tests_name("board: wires", tests, NULL, NULL);
}
