/* SPDX-License-Identifier: Apache-2.0 */
/* The way of an edge from a chip's line: stamps, order, levels read again, failures, bounce. */
#include "board_fake_gpio.h"

#include <stdlib.h>

/* -- levels and edges -------------------------------------------------------------------------- */

static void levels_at_opening_are_no_edges(void **state)
{
	struct bus *s = set_up();

	(void)state;
	wire(PW_IGNITION)->level = wire(PW_REAR_DOOR)->level = 1;
	wire(PW_EXITS)->level = 1; /* not configured */
	open_board(s);
	assert_int_equal(pw_board_levels(s->b), BIT(PW_IGNITION) | BIT(PW_REAR_DOOR));
	assert_int_equal(read_at(s, T0 + 10), 0);
	assert_int_equal(wire(PW_EXITS)->requests, 0);
	pw_board_close(s->b);
}

static void outputs_begin_at_0(void **state)
{
	struct bus *s = set_up();

	(void)state;
	wire(PW_HORN)->level = 1;
	open_board(s);
	assert_int_equal(wire(PW_HORN)->level, 0);
	assert_int_equal(wire(PW_HORN)->sets, 0);
	pw_board_close(s->b);
}

static void polarity_and_bias_go_to_the_chip(void **state)
{
	struct bus *s = set_up();

	(void)state;
	s->p.line[PW_REAR_DOOR].active_low = true;
	s->p.line[PW_REAR_DOOR].bias = PW_BIAS_PULL_UP;
	open_board(s);
	assert_true(wire(PW_REAR_DOOR)->active_low);
	assert_int_equal(wire(PW_REAR_DOOR)->bias, PW_BIAS_PULL_UP);
	assert_false(wire(PW_IGNITION)->active_low);
	pw_board_close(s->b);
}

/* Stamps come in CLOCK_MONOTONIC, which stands still in suspend; edges leave in BOOTTIME. */
static void stamps_are_boottime(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	fake_pull(wire(PW_IGNITION), 1, T0 + 40);
	assert_int_equal(read_at(s, T0 + 100), 1);
	assert_edge(s, 0, PW_IGNITION, 1, T0 + 40);
	assert_int_equal(pw_board_levels(s->b), BIT(PW_IGNITION));
	pw_board_close(s->b);
}

static void stamps_are_never_later_than_now_nor_go_back(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	fake_pull(wire(PW_IGNITION), 1, T0 + 900); /* it came after the caller read the clock */
	fake_clock(T0 + 901);
	assert_int_equal(pw_board_read(s->b, T0 + 899, s->edge, MANY), 1);
	assert_int_equal(s->edge[0].at_ms, T0 + 899);
	fake_pull(wire(PW_REAR_DOOR), 1, T0 + 890); /* read late, after a newer one went out */
	assert_int_equal(read_at(s, T0 + 950), 1);
	assert_edge(s, 0, PW_REAR_DOOR, 1, T0 + 899);
	pw_board_close(s->b);
}

static void edges_come_in_order_of_time_then_line(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	fake_pull(wire(PW_SERVICE_DOOR), 1, T0 + 10);
	fake_pull(wire(PW_REAR_BUTTON), 1, T0 + 20);
	fake_pull(wire(PW_SERVICE_DOOR), 0, T0 + 20);
	fake_pull(wire(PW_IGNITION), 1, T0 + 20);
	fake_pull(wire(PW_REAR_BUTTON), 0, T0 + 30);
	assert_int_equal(read_at(s, T0 + 50), 5);
	assert_edge(s, 0, PW_SERVICE_DOOR, 1, T0 + 10);
	assert_edge(s, 1, PW_IGNITION, 1, T0 + 20);
	assert_edge(s, 2, PW_REAR_BUTTON, 1, T0 + 20);
	assert_edge(s, 3, PW_SERVICE_DOOR, 0, T0 + 20);
	assert_edge(s, 4, PW_REAR_BUTTON, 0, T0 + 30);
	pw_board_close(s->b);
}

static void a_small_reader_gets_all_in_turn(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	for (unsigned i = 0; i < 5; i++)
		fake_pull(wire(PW_IGNITION), !(i & 1), T0 + 10 + i);
	for (unsigned i = 0; i < 2; i++) {
		assert_int_equal(pw_board_read(s->b, T0 + 50, s->edge, 2), 2);
		assert_int_equal(s->edge[0].at_ms, T0 + 10 + 2 * i);
		fake_pull(wire(PW_REAR_DOOR), !(i & 1), T0 + 49); /* waits for its turn */
	}
	assert_int_equal(pw_board_read(s->b, T0 + 50, s->edge, 2), 1);
	assert_int_equal(read_at(s, T0 + 51), 2);
	assert_edge(s, 0, PW_REAR_DOOR, 1, T0 + 49);
	pw_board_close(s->b);
}

static void an_edge_that_tells_nothing_new_is_none(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	fake_tell(wire(PW_REAR_BUTTON), 0, T0 + 5); /* a pulse too short for its rise */
	assert_int_equal(read_at(s, T0 + 10), 0);
	fake_tell(wire(PW_REAR_BUTTON), 1, T0 + 15); /* told twice: the wire itself is asked */
	fake_tell(wire(PW_REAR_BUTTON), 1, T0 + 16);
	wire(PW_REAR_BUTTON)->level = 0;
	assert_int_equal(read_at(s, T0 + 20), 2);
	assert_edge(s, 0, PW_REAR_BUTTON, 1, T0 + 15);
	assert_edge(s, 1, PW_REAR_BUTTON, 0, T0 + 20);
	pw_board_close(s->b);
}

static void an_edge_older_than_the_reading_is_told_by_it(void **state)
{
	struct bus *s = set_up();

	(void)state;
	wire(PW_IGNITION)->level = 1;
	open_board(s); /* read 1 at T0 */
	fake_tell(wire(PW_IGNITION), 0, T0 - 2);
	fake_tell(wire(PW_IGNITION), 1, T0 - 1);
	assert_int_equal(read_at(s, T0 + 10), 0);
	assert_int_equal(pw_board_levels(s->b), BIT(PW_IGNITION));
	pw_board_close(s->b);
}

/* -- levels read again ------------------------------------------------------------------------- */

/* The older interface queues 16 edges and drops the newest without a word. */
static void after_a_burst_the_level_is_read_again(void **state)
{
	struct bus *s = set_up_open();
	unsigned asked = wire(PW_REAR_BUTTON)->levels;

	(void)state;
	wire(PW_REAR_BUTTON)->limit = 16;
	for (unsigned i = 0; i < 7; i++)
		fake_pull(wire(PW_REAR_BUTTON), !(i & 1), T0 + 10 + i);
	assert_int_equal(read_at(s, T0 + 20), 7);
	assert_int_equal(wire(PW_REAR_BUTTON)->levels, asked); /* seven are no burst */
	for (unsigned i = 0; i < 18; i++)
		fake_pull(wire(PW_REAR_BUTTON), i & 1, T0 + 30 + i);
	fake_pull(wire(PW_REAR_BUTTON), 0, T0 + 49);
	assert_int_equal(read_at(s, T0 + 60), 17);
	assert_edge(s, 15, PW_REAR_BUTTON, 1, T0 + 45);
	assert_edge(s, 16, PW_REAR_BUTTON, 0, T0 + 60); /* dropped, but read */
	assert_int_equal(wire(PW_REAR_BUTTON)->levels, asked + 1);
	pw_board_close(s->b);
}

static void dropped_edges_are_counted_and_the_level_read(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	fake_pull(wire(PW_REAR_DOOR), 1, T0 + 10);
	wire(PW_REAR_DOOR)->lost = 3;
	wire(PW_REAR_DOOR)->level = 0;
	assert_int_equal(read_at(s, T0 + 20), 2);
	assert_edge(s, 0, PW_REAR_DOOR, 1, T0 + 10);
	assert_edge(s, 1, PW_REAR_DOOR, 0, T0 + 20);
	assert_int_equal(pw_board_dropped(s->b), 3);
	pw_board_close(s->b);
}

static void the_slow_tick_finds_what_was_missed(void **state)
{
	struct bus *s = set_up_open();

	(void)state;
	assert_int_equal(pw_board_next_ms(s->b), T0 + 60000);
	wire(PW_SERVICE_DOOR)->level = 1; /* and no edge came */
	assert_int_equal(read_at(s, T0 + 59999), 0);
	assert_int_equal(read_at(s, T0 + 60000), 1);
	assert_edge(s, 0, PW_SERVICE_DOOR, 1, T0 + 60000);
	assert_int_equal(pw_board_next_ms(s->b), T0 + 120000);
	assert_int_equal(read_at(s, T0 + 120000), 0);
	pw_board_close(s->b);
}

/* -- whatever fails, and whatever bounces ------------------------------------------------------ */

static void play_with_failures(struct bus *s)
{
	fake_pull(wire(PW_IGNITION), 1, T0 + 10);
	read_at(s, T0 + 20);
	pw_board_drive(s->b, BIT(PW_BEEPER) | BIT(PW_HORN), T0 + 30);
	for (unsigned i = 0; i < 9; i++)
		fake_pull(wire(PW_REAR_DOOR), !(i & 1), T0 + 40 + i);
	read_at(s, T0 + 60);
	wire(PW_SERVICE_DOOR)->level = 1;
	for (int64_t ms = T0 + 5000; ms <= T0 + 65000; ms += 5000)
		read_at(s, ms);
}

/* The n-th call fails, for n = 1, 2, ... until none is left to fail: a minute later everything
 * stands as if nothing had been. */
static void any_one_failure_heals(void **state)
{
	int n = 1;

	(void)state;
	for (;; n++) {
		struct bus *s = set_up();

		fake_fail_at = n;
		open_board(s);
		play_with_failures(s);
		assert_int_equal(pw_board_levels(s->b),
				 BIT(PW_IGNITION) | BIT(PW_REAR_DOOR) | BIT(PW_SERVICE_DOOR) |
					 BIT(PW_BEEPER) | BIT(PW_HORN));
		assert_int_equal(wire(PW_BEEPER)->level & wire(PW_HORN)->level, 1);
		for (unsigned i = 0; i < PW_LINES; i++)
			assert_fault(s, i, NULL);
		pw_board_close(s->b);
		if (fake_calls < n)
			break;
	}
	assert_true(n > 15);
	print_message("any_one_failure_heals: %d failures\n", n - 1);
}

static uint32_t draw(uint32_t *x, uint32_t below)
{
	*x ^= *x << 13;
	*x ^= *x >> 17;
	*x ^= *x << 5;
	return *x % below;
}

static void assert_in_order(const struct bus *s, int64_t *last_ms, uint32_t *levels)
{
	for (size_t i = 0; i < s->edges; i++) {
		const struct pw_edge *e = &s->edge[i];

		assert_true(e->at_ms >= *last_ms);
		assert_int_not_equal(*levels >> e->line & 1, e->level); /* they alternate */
		*levels ^= BIT(e->line);
		*last_ms = e->at_ms;
	}
}

/* Contacts that bounce at random through the 16-edge queue that drops the newest: what is handed
 * out always alternates and never goes back, and after a tick it is the wire's truth. */
static void random_bounces_end_in_the_truth(void **state)
{
	static const unsigned inputs[] = {PW_IGNITION, PW_REAR_BUTTON, PW_REAR_DOOR};
	const char *given = getenv("SEED");
	uint32_t x = given ? (uint32_t)strtoul(given, NULL, 0) : 31415927, levels = 0;
	struct bus *s = set_up_open();
	int64_t now_ms = T0, last_ms = T0;

	(void)state;
	print_message("random_bounces_end_in_the_truth: SEED=%u\n", x);
	for (int round = 0; round < 20000; round++) {
		struct fake_line *l = wire(inputs[draw(&x, 3)]);

		now_ms += draw(&x, 4) + (draw(&x, 500) == 0 ? 60000 : 0);
		l->limit = 16;
		l->level = draw(&x, 2);
		if (draw(&x, 10) > 0)
			fake_tell(l, draw(&x, 20) ? l->level : !l->level, now_ms - draw(&x, 3));
		if (draw(&x, 6) == 0) {
			read_at(s, now_ms);
			assert_true(s->edges == 0 || s->edge[s->edges - 1].at_ms <= now_ms);
			assert_in_order(s, &last_ms, &levels);
			assert_int_equal(levels, pw_board_levels(s->b));
		}
	}
	read_at(s, now_ms + 60000);
	assert_in_order(s, &last_ms, &levels);
	for (size_t i = 0; i < 3; i++)
		assert_int_equal(levels >> inputs[i] & 1, wire(inputs[i])->level);
	pw_board_close(s->b);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(levels_at_opening_are_no_edges),
		cmocka_unit_test(outputs_begin_at_0),
		cmocka_unit_test(polarity_and_bias_go_to_the_chip),
		cmocka_unit_test(stamps_are_boottime),
		cmocka_unit_test(stamps_are_never_later_than_now_nor_go_back),
		cmocka_unit_test(edges_come_in_order_of_time_then_line),
		cmocka_unit_test(a_small_reader_gets_all_in_turn),
		cmocka_unit_test(an_edge_that_tells_nothing_new_is_none),
		cmocka_unit_test(an_edge_older_than_the_reading_is_told_by_it),
		cmocka_unit_test(after_a_burst_the_level_is_read_again),
		cmocka_unit_test(dropped_edges_are_counted_and_the_level_read),
		cmocka_unit_test(the_slow_tick_finds_what_was_missed),
		cmocka_unit_test(any_one_failure_heals),
		cmocka_unit_test(random_bounces_end_in_the_truth),
	};

	return cmocka_run_group_tests_name("board: gpiod", tests, NULL, NULL);
}
