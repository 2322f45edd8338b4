/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The walk through the wiring against a modelled harness: every miswiring of every standard line is
 * named, and nothing else is blamed. What a miswiring looks like follows from the model alone:
 * common practice in finding faults in wiring, no published figure.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "board_harness.h"

static const unsigned walked[] = { PW_IGNITION, PW_PARK_BRAKE, PW_SERVICE_DOOR, PW_LAMPS,
				   PW_REAR_BUTTON, PW_REAR_DOOR, PW_EXITS };
#define WALKED (sizeof(walked) / sizeof(walked[0]))
#define NC PW_REAR_BUTTON_NC

static struct pw_wiring_step look(const struct harness *h)
{
	return pw_wiring_look(&h->wires, h->now_ms);
}

/* Does what the step asks, and waits until every line has settled. */
static void do_step(struct harness *h, unsigned bounces)
{
	struct pw_wiring *g = &h->wires.wiring;
	const struct pw_wiring_step *s = &g->step[g->at];

	assert_int_equal(look(h).result, PW_WIRING_OPEN);
	h->now_ms += 2000;
	h->last_edge_ms = h->now_ms;
	harness_move(h, s->line, s->level, bounces);
	h->now_ms = h->last_edge_ms + 200;
	assert_true(pw_wiring_next(&h->wires, h->now_ms));
}

static void walk(struct harness *h, enum harness_wrong wrong, unsigned a, unsigned b)
{
	harness_begin(h, wrong, a, b);
	pw_wiring_begin(&h->wires, h->now_ms);
	while (h->wires.wiring.at < h->wires.wiring.steps)
		do_step(h, 4);
	assert_int_equal(h->wires.wiring.steps, 2 * WALKED);
}

static const char *name_of(const struct harness *h, unsigned line)
{
	return line < PW_INPUTS ? h->wires.wire[line].name : "(none)";
}

/* Both steps of a line came to this. other: PW_INPUTS for none. */
static void expect(const struct harness *h, unsigned line, enum pw_wiring_result result,
		   unsigned other)
{
	const struct pw_wiring *g = &h->wires.wiring;

	for (unsigned i = 0; i < g->steps; i++) {
		const struct pw_wiring_step *s = &g->step[i];
		unsigned wanted = other < PW_INPUTS ? other : line;

		if (s->line == line && (s->result != result || s->other != wanted))
			fail_msg("wrong %d, %s and %s: %s to %d: %s, other %s; expected %s, %s",
				 h->wrong, name_of(h, h->a), name_of(h, h->b), name_of(h, line),
				 s->level, pw_wiring_name(s->result), name_of(h, s->other),
				 pw_wiring_name(result), name_of(h, wanted));
	}
}

static void expect_rest_right(const struct harness *h, unsigned a, unsigned b)
{
	for (unsigned i = 0; i < WALKED; i++)
		if (walked[i] != a && walked[i] != b)
			expect(h, walked[i], PW_WIRING_RIGHT, PW_INPUTS);
}

static void a_right_harness_is_right(void **state)
{
	struct harness h;

	(void)state;
	walk(&h, WIRED_WELL, PW_INPUTS, PW_INPUTS);
	expect_rest_right(&h, PW_INPUTS, PW_INPUTS);
	for (unsigned i = 0; i < h.wires.wiring.steps; i++) {
		assert_int_equal(h.wires.wiring.step[i].line, walked[i / 2]);
		assert_int_equal(h.wires.wiring.step[i].level, 1 - i % 2);
		assert_int_equal(h.wires.wiring.step[i].edges, 5);
		assert_int_equal(h.wires.wiring.step[i].chatter, 4);
		assert_int_equal(h.wires.wiring.step[i].shortest_ms, 1);
	}
	assert_false(pw_wiring_next(&h.wires, h.now_ms));
	assert_false(pw_wiring_skip(&h.wires, h.now_ms));
}

static void every_inverted_line_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		walk(&h, INVERTED, walked[i], PW_INPUTS);
		expect(&h, walked[i], PW_WIRING_INVERTED, PW_INPUTS);
		expect_rest_right(&h, walked[i], PW_INPUTS);
	}
}

static void every_dead_wire_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		walk(&h, OPEN_LOW, walked[i], PW_INPUTS);
		expect(&h, walked[i], PW_WIRING_NO_EDGE, PW_INPUTS);
		expect_rest_right(&h, walked[i], PW_INPUTS);
		walk(&h, OPEN_HIGH, walked[i], PW_INPUTS);
		expect(&h, walked[i], PW_WIRING_NO_EDGE, PW_INPUTS);
		expect_rest_right(&h, walked[i], PW_INPUTS);
	}
}

static void every_swapped_pair_is_named_in_both_its_steps(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		for (unsigned j = i + 1; j < WALKED; j++) {
			walk(&h, SWAPPED, walked[i], walked[j]);
			expect(&h, walked[i], PW_WIRING_SWAPPED, walked[j]);
			expect(&h, walked[j], PW_WIRING_SWAPPED, walked[i]);
			expect_rest_right(&h, walked[i], walked[j]);
		}
	}
}

static void every_short_of_two_lines_is_named_in_both_its_steps(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		for (unsigned j = i + 1; j < WALKED; j++) {
			walk(&h, SHORTED, walked[i], walked[j]);
			expect(&h, walked[i], PW_WIRING_SHORTED, walked[j]);
			expect(&h, walked[j], PW_WIRING_SHORTED, walked[i]);
			expect_rest_right(&h, walked[i], walked[j]);
		}
	}
}

/* A loop that is live while the door is shut holds the other wire live as long as it is shut. */
static void a_short_to_a_live_loop_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		if (walked[i] == PW_REAR_DOOR)
			continue;
		walk(&h, SHORTED_NOT, walked[i], PW_REAR_DOOR);
		expect(&h, walked[i], PW_WIRING_NO_EDGE, PW_INPUTS);
		expect(&h, PW_REAR_DOOR, PW_WIRING_SHORTED, walked[i]);
		expect_rest_right(&h, walked[i], PW_REAR_DOOR);
	}
}

static void every_crosstalk_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		for (unsigned b = 0; b < PW_INPUTS; b++) {
			if (b == walked[i] || (walked[i] == PW_REAR_BUTTON && b == NC))
				continue;
			walk(&h, CROSSTALK, walked[i], b);
			expect(&h, walked[i], PW_WIRING_CROSSTALK, b);
			expect_rest_right(&h, walked[i], PW_INPUTS);
			assert_int_equal(h.wires.wiring.step[2 * i].other_edges, 2);
		}
	}
}

static void every_chattering_line_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		walk(&h, CHATTERING, walked[i], PW_INPUTS);
		expect(&h, walked[i], PW_WIRING_CHATTER, PW_INPUTS);
		expect_rest_right(&h, walked[i], PW_INPUTS);
	}
}

/* The second contact of the button has no step of its own: the button's steps tell of it. */
static void the_second_contact_is_named_in_the_button_s_steps(void **state)
{
	struct harness h;

	(void)state;
	walk(&h, SWAPPED, PW_REAR_BUTTON, NC);
	expect(&h, PW_REAR_BUTTON, PW_WIRING_SWAPPED, NC);
	walk(&h, INVERTED, NC, PW_INPUTS); /* or both wires on one contact */
	expect(&h, PW_REAR_BUTTON, PW_WIRING_SHORTED, NC);
	walk(&h, SHORTED, PW_REAR_BUTTON, NC);
	expect(&h, PW_REAR_BUTTON, PW_WIRING_SHORTED, NC);
	walk(&h, OPEN_LOW, NC, PW_INPUTS);
	expect(&h, PW_REAR_BUTTON, PW_WIRING_NO_EDGE, NC);
	walk(&h, OPEN_HIGH, NC, PW_INPUTS);
	expect(&h, PW_REAR_BUTTON, PW_WIRING_NO_EDGE, NC);
	walk(&h, COMMON_OFF, PW_INPUTS, PW_INPUTS);
	expect(&h, PW_REAR_BUTTON, PW_WIRING_NO_EDGE, NC);
	expect_rest_right(&h, PW_REAR_BUTTON, PW_INPUTS);
}

/* Something else on the second contact's wire, or a short to it. */
static void the_second_contact_exchanged_with_another_line_is_named(void **state)
{
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < WALKED; i++) {
		if (walked[i] == PW_REAR_BUTTON)
			continue;
		walk(&h, SWAPPED, walked[i], NC);
		expect(&h, walked[i], PW_WIRING_SWAPPED, NC);
		expect(&h, PW_REAR_BUTTON, PW_WIRING_SWAPPED, walked[i]);
		expect_rest_right(&h, PW_REAR_BUTTON, walked[i]);
		walk(&h, SHORTED, walked[i], NC); /* held live by the contact at rest */
		expect(&h, walked[i], PW_WIRING_NO_EDGE, PW_INPUTS);
		expect(&h, PW_REAR_BUTTON, PW_WIRING_SHORTED, walked[i]);
		expect_rest_right(&h, PW_REAR_BUTTON, walked[i]);
	}
}

/* -- moments in one step ----------------------------------------------------------------------- */

static void begin_at(struct harness *h, unsigned line)
{
	harness_begin(h, WIRED_WELL, PW_INPUTS, PW_INPUTS);
	pw_wiring_begin(&h->wires, h->now_ms);
	while (h->wires.wiring.step[h->wires.wiring.at].line != line)
		assert_true(pw_wiring_skip(&h->wires, h->now_ms));
	h->now_ms += 2000;
}

static void a_step_waits_until_its_line_has_settled(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_burst(&h, PW_REAR_DOOR, h.now_ms, 2);
	h.now_ms = h.last_edge_ms + 99;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	assert_int_equal(look(&h).edges, 3);
	h.now_ms++;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
}

static void a_step_waits_for_another_line_that_has_not_settled(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_BUTTON);
	harness_move(&h, PW_REAR_BUTTON, 1, 0);
	harness_burst(&h, PW_LAMPS, h.now_ms + 20, 0);
	h.now_ms += 219;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	h.now_ms++;
	assert_int_equal(look(&h).result, PW_WIRING_SHORTED);
	assert_int_equal(look(&h).other, PW_LAMPS);
}

static void a_line_that_never_rests_is_not_waited_for(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_burst(&h, PW_REAR_DOOR, h.now_ms, PW_CHATTER_MANY);
	h.now_ms = h.last_edge_ms;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	assert_int_equal(pw_wiring_look(&h.wires, h.now_ms + 500).result, PW_WIRING_RIGHT);
	harness_burst(&h, PW_REAR_DOOR, h.now_ms + 5, 0);
	assert_int_equal(look(&h).result, PW_WIRING_CHATTER);
}

static void without_an_edge_the_step_is_open_until_next(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_EXITS);
	h.now_ms += 3600000;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_int_equal(h.wires.wiring.step[h.wires.wiring.at - 1].result, PW_WIRING_NO_EDGE);
}

static void short_pulses_alone_are_no_move(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_EXITS);
	harness_burst(&h, PW_EXITS, h.now_ms, 1);
	harness_burst(&h, PW_EXITS, h.now_ms + 500, 1);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_int_equal(h.wires.wiring.step[h.wires.wiring.at - 1].result, PW_WIRING_NO_EDGE);
	assert_int_equal(h.wires.wiring.step[h.wires.wiring.at - 1].edges, 4);
}

/* One person alone presses at the rear, lets go, and walks back to the page. */
static void the_button_may_be_let_go_before_the_page_is_asked(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_BUTTON);
	for (unsigned i = 0; i < 2; i++) {
		harness_move(&h, PW_REAR_BUTTON, 1, 2);
		h.now_ms += 1500;
		harness_move(&h, PW_REAR_BUTTON, 0, 2);
		h.now_ms += 9000;
		assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
		assert_true(pw_wiring_next(&h.wires, h.now_ms));
	}
}

/* R1: what stands for settle_ms has settled; a tap of less is none. */
static void a_tap_counts_when_it_settles(void **state)
{
	struct harness h;

	(void)state;
	for (int64_t ms = 29; ms <= 30; ms++) {
		begin_at(&h, PW_REAR_BUTTON);
		harness_move(&h, PW_REAR_BUTTON, 1, 0);
		h.now_ms += ms;
		harness_move(&h, PW_REAR_BUTTON, 0, 0);
		h.now_ms += 1000;
		assert_int_equal(look(&h).result, ms < 30 ? PW_WIRING_OPEN : PW_WIRING_RIGHT);
	}
}

static void an_inverted_button_let_go_is_still_inverted(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_BUTTON);
	h.wrong = INVERTED;
	h.a = PW_REAR_BUTTON;
	harness_burst(&h, PW_REAR_BUTTON, h.now_ms, 0);
	h.now_ms += 1000;
	assert_true(pw_wiring_skip(&h.wires, h.now_ms));
	assert_true(pw_wiring_again(&h.wires, h.now_ms));
	for (unsigned i = 0; i < 2; i++) {
		harness_move(&h, PW_REAR_BUTTON, 1, 2);
		h.now_ms += 1500;
		harness_move(&h, PW_REAR_BUTTON, 0, 2);
		h.now_ms += 9000;
		assert_int_equal(look(&h).result, PW_WIRING_INVERTED);
		assert_true(pw_wiring_next(&h.wires, h.now_ms));
	}
}

/* A door opened and shut again before the page is asked rests at the opposite: not proven. */
static void a_door_must_rest_where_it_was_asked(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_move(&h, PW_REAR_DOOR, 1, 0);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
	harness_move(&h, PW_REAR_DOOR, 0, 0);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_INVERTED);
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_true(pw_wiring_again(&h.wires, h.now_ms));
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	harness_move(&h, PW_REAR_DOOR, 1, 0);
	h.now_ms += 1000;
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_int_equal(h.wires.wiring.step[h.wires.wiring.at - 1].result, PW_WIRING_RIGHT);
}

/* The key was on when the walk began: off first looks inverted, and is right when done anew. */
static void a_line_set_before_its_step_is_not_taken_for_proven(void **state)
{
	struct harness h;

	(void)state;
	harness_begin(&h, WIRED_WELL, PW_INPUTS, PW_INPUTS);
	harness_move(&h, PW_IGNITION, 1, 0);
	h.now_ms += 5000;
	pw_wiring_begin(&h.wires, h.now_ms);
	harness_move(&h, PW_IGNITION, 0, 0);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_INVERTED);
	harness_move(&h, PW_IGNITION, 1, 0);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_INVERTED);
	harness_move(&h, PW_IGNITION, 0, 0);
	h.now_ms += 1000;
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_true(pw_wiring_again(&h.wires, h.now_ms));
	harness_move(&h, PW_IGNITION, 1, 0);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
}

/* Somebody went through the door, then the exchanged wire moved: the latter is meant. */
static void of_two_that_moved_instead_the_last_is_named(void **state)
{
	static const unsigned others[][2] = { { PW_SERVICE_DOOR, PW_PARK_BRAKE },
					      { PW_PARK_BRAKE, PW_SERVICE_DOOR } };
	struct harness h;

	(void)state;
	for (unsigned i = 0; i < 2; i++) {
		begin_at(&h, PW_REAR_DOOR);
		harness_move(&h, others[i][0], 1, 2);
		h.now_ms += 3000;
		harness_move(&h, others[i][1], 1, 2);
		h.now_ms += 3000;
		assert_int_equal(look(&h).result, PW_WIRING_SWAPPED);
		assert_int_equal(look(&h).other, others[i][1]);
	}
}

static void another_line_that_never_rests_is_not_waited_for(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_move(&h, PW_REAR_DOOR, 1, 0);
	h.now_ms += 500;
	harness_burst(&h, PW_LAMPS, h.now_ms, PW_CHATTER_MANY);
	h.now_ms = h.last_edge_ms + 1;
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	harness_burst(&h, PW_LAMPS, h.now_ms, 0);
	h.now_ms++;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
}

/* Somebody goes through the door while the button is stepped: seconds apart is no short. */
static void what_moves_at_another_time_is_not_blamed(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_BUTTON);
	harness_move(&h, PW_SERVICE_DOOR, 1, 4);
	h.now_ms += 3000;
	harness_move(&h, PW_REAR_BUTTON, 1, 4);
	h.now_ms += 3000;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
	harness_move(&h, PW_SERVICE_DOOR, 0, 4);
	h.now_ms += 3000;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
}

static void a_short_pulse_at_another_time_is_no_crosstalk(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_burst(&h, PW_LAMPS, h.now_ms, 1);
	h.now_ms += 300;
	harness_move(&h, PW_REAR_DOOR, 1, 2);
	h.now_ms += 300;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	harness_move(&h, PW_REAR_DOOR, 0, 2);
	harness_burst(&h, PW_LAMPS, h.now_ms + 200, 1); /* within what lamps take to settle */
	h.now_ms += 500;
	assert_int_equal(look(&h).result, PW_WIRING_CROSSTALK);
}

/* Sounders go off while wires are tried: outputs and sense inputs are no part of it. */
static void outputs_and_their_senses_are_not_blamed(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_REAR_DOOR);
	harness_move(&h, PW_REAR_DOOR, 1, 0);
	pw_wires_edge(&h.wires, PW_BEEPER, 1, h.now_ms);
	pw_wires_edge(&h.wires, PW_EXTRA, 1, h.now_ms);
	h.now_ms += 1000;
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
}

static void counting_anew_leaves_the_step_alone(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_EXITS);
	harness_move(&h, PW_EXITS, 1, 2);
	h.now_ms += 1000;
	pw_wires_count_anew(&h.wires, h.now_ms);
	assert_int_equal(h.wires.wire[PW_EXITS].count, 0);
	assert_int_equal(look(&h).result, PW_WIRING_RIGHT);
	assert_int_equal(look(&h).edges, 3);
	assert_int_equal(look(&h).chatter, 2);
}

static void next_takes_what_has_not_settled_as_it_stands(void **state)
{
	struct harness h;

	(void)state;
	begin_at(&h, PW_EXITS);
	harness_move(&h, PW_EXITS, 1, 2);
	assert_int_equal(look(&h).result, PW_WIRING_OPEN);
	assert_true(pw_wiring_next(&h.wires, h.now_ms));
	assert_int_equal(h.wires.wiring.step[h.wires.wiring.at - 1].result, PW_WIRING_RIGHT);
}

static void only_configured_inputs_have_steps(void **state)
{
	struct pw_policy p;
	struct pw_wires w;

	(void)state;
	pw_policy_init(&p, false);
	pw_wires_begin(&w, &p, 0, 0);
	assert_false(pw_wiring_next(&w, 0));
	assert_false(pw_wiring_again(&w, 0));
	assert_false(pw_wiring_skip(&w, 0));
	p.line[PW_IGNITION].configured = p.line[PW_REAR_BUTTON].configured = true;
	p.line[PW_BEEPER].configured = true;
	pw_wires_begin(&w, &p, 0, 0);
	pw_wiring_begin(&w, 0);
	assert_int_equal(w.wiring.steps, 4);
	assert_int_equal(w.wiring.step[2].line, PW_REAR_BUTTON);
	assert_false(pw_wiring_again(&w, 0));
	pw_wires_edge(&w, PW_IGNITION, 1, 100);
	assert_true(pw_wiring_next(&w, 1000));
	assert_true(pw_wiring_skip(&w, 1000));
	pw_wires_edge(&w, PW_REAR_BUTTON, 1, 1100); /* one contact alone */
	assert_int_equal(pw_wiring_look(&w, 1130).result, PW_WIRING_RIGHT);
	assert_int_equal(w.wiring.step[1].result, PW_WIRING_SKIPPED);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_right_harness_is_right),
		cmocka_unit_test(every_inverted_line_is_named),
		cmocka_unit_test(every_dead_wire_is_named),
		cmocka_unit_test(every_swapped_pair_is_named_in_both_its_steps),
		cmocka_unit_test(every_short_of_two_lines_is_named_in_both_its_steps),
		cmocka_unit_test(a_short_to_a_live_loop_is_named),
		cmocka_unit_test(every_crosstalk_is_named),
		cmocka_unit_test(every_chattering_line_is_named),
		cmocka_unit_test(the_second_contact_is_named_in_the_button_s_steps),
		cmocka_unit_test(the_second_contact_exchanged_with_another_line_is_named),
		cmocka_unit_test(a_step_waits_until_its_line_has_settled),
		cmocka_unit_test(a_step_waits_for_another_line_that_has_not_settled),
		cmocka_unit_test(a_line_that_never_rests_is_not_waited_for),
		cmocka_unit_test(without_an_edge_the_step_is_open_until_next),
		cmocka_unit_test(short_pulses_alone_are_no_move),
		cmocka_unit_test(the_button_may_be_let_go_before_the_page_is_asked),
		cmocka_unit_test(a_tap_counts_when_it_settles),
		cmocka_unit_test(an_inverted_button_let_go_is_still_inverted),
		cmocka_unit_test(a_door_must_rest_where_it_was_asked),
		cmocka_unit_test(a_line_set_before_its_step_is_not_taken_for_proven),
		cmocka_unit_test(of_two_that_moved_instead_the_last_is_named),
		cmocka_unit_test(another_line_that_never_rests_is_not_waited_for),
		cmocka_unit_test(what_moves_at_another_time_is_not_blamed),
		cmocka_unit_test(a_short_pulse_at_another_time_is_no_crosstalk),
		cmocka_unit_test(outputs_and_their_senses_are_not_blamed),
		cmocka_unit_test(counting_anew_leaves_the_step_alone),
		cmocka_unit_test(next_takes_what_has_not_settled_as_it_stands),
		cmocka_unit_test(only_configured_inputs_have_steps),
	};

	return cmocka_run_group_tests_name("board: wiring", tests, NULL, NULL);
}
