/* SPDX-License-Identifier: Apache-2.0 */
/*
 * postwalkd on the emulated board, through the real GPIO character device: an afternoon on one
 * boot, each test going on where the one before it left the bus, parked and owing nothing.
 * Run from the top folder; BOARD and POSTWALK name what board.mk made.
 */
#include "bus.h"

#include <stdlib.h>
#include <string.h>

enum { PORT = 8787, ELSEWHERE = 8788 };

static int power_on(void **state)
{
	static struct bus bus;

	bus_build(&bus, "test_board");
	*state = &bus;
	bus_power_on(&bus, "2030-03-04T14:30:00", 0);
	return 0;
}

static int scrap(void **state)
{
	bus_scrap(*state);
	return 0;
}

/* -- inputs ------------------------------------------------------------------------------- */

static int level_of(const json_t *status, const char *name)
{
	return (int)json_integer_value(json_object_get(bus_line(status, name), "level"));
}

/* what: the wanted levels of all inputs, bit i for wire i */
static int has_inputs(const json_t *status, const void *what)
{
	unsigned int levels = 0;

	for (unsigned int i = 0; i < INPUT_WIRES; i++)
		levels |= (unsigned int)level_of(status, wire_names[i]) << i;
	return levels == *(const unsigned int *)what;
}

static void pull_and_see(struct bus *bus, enum wire wire, unsigned int *levels)
{
	*levels ^= 1u << wire;
	bus_pull(bus, wire, *levels >> wire & 1);
	json_decref(bus_await_status(bus, PORT, has_inputs, levels));
}

static void every_input_is_seen_both_ways_and_no_other_moves(void **state)
{
	static const enum wire order[] = {
		SERVICE_DOOR, SERVICE_DOOR, REAR_DOOR, REAR_DOOR, REAR_BUTTON_NC, REAR_BUTTON,
		REAR_BUTTON, REAR_BUTTON_NC,
	};
	unsigned int levels = 1u << REAR_BUTTON_NC;

	for (size_t i = 0; i < sizeof(order) / sizeof(order[0]); i++)
		pull_and_see(*state, order[i], &levels);
	pull_and_see(*state, IGNITION, &levels); /* what it does is the next tests' */
}

/* The telltale is known to work before it is needed, as drivers know it from the dash. */
static void the_key_lights_the_lamp_and_sounds_the_beeper_for_a_check_and_both_go_out(void **state)
{
	struct bus *bus = *state;
	struct spell lamp, beep;

	bus_await(bus, LAMP, 1);
	bus_await(bus, LAMP, 0);
	assert_int_equal(bus_spells(bus, LAMP, 0, &lamp, 1), 1);
	assert_int_equal(bus_spells(bus, BEEPER, 0, &beep, 1), 1);
	assert_int_equal(lamp.level, 1);
	assert_int_equal(beep.level, 1);
	assert_in_range(lamp.ms, 1200, 2000);
	assert_in_range(beep.ms, 200, 600);
	assert_int_equal(pw_guest_level(bus->guest, BEEPER), 0);
	assert_int_equal(pw_guest_level(bus->guest, HORN), 0);
}

/* -- sweeps ------------------------------------------------------------------------------- */

static json_t *last_sweep(json_t *status)
{
	return json_array_get(json_object_get(status, "recent"), 0);
}

static void assert_verdict(struct bus *bus, const char *verdict)
{
	json_t *status = bus_status(bus, PORT);

	assert_string_equal(json_string_value(json_object_get(last_sweep(status), "verdict")),
			    verdict);
	assert_string_equal(json_string_value(json_object_get(status, "phase")), "parked");
	json_decref(status);
}

static void a_walk_to_the_rear_and_back_is_done(void **state)
{
	struct bus *bus = *state;
	struct spell beeps[8];
	long long sum_ms = 0;
	size_t before, n;

	bus_key_off(bus);
	bus_walk(bus);
	before = bus_edges(bus);
	bus_press(bus, "acknowledged");
	bus_leave(bus, "done");
	assert_verdict(bus, "done");
	/* acceptance: two sounds of 80 ms with 80 ms between; then nothing sounds or shines */
	n = bus_spells(bus, BEEPER, before, beeps, 8);
	assert_in_range(n, 1, 4);
	for (size_t i = 0; i < n; i++)
		sum_ms += beeps[i].ms;
	assert_in_range(sum_ms, 60, 600);
	for (enum wire out = BEEPER; out < WIRES; out++)
		assert_int_equal(pw_guest_level(bus->guest, out), 0);
}

static void a_press_too_soon_is_refused_with_a_long_tone_and_the_walk_can_still_be_done(
	void **state)
{
	struct bus *bus = *state;
	struct spell beeps[8];
	size_t before, n;
	long long longest_ms = 0;
	json_t *status;

	bus_key_on(bus);
	before = bus_edges(bus);
	bus_key_off(bus);
	bus_press(bus, "refused: too_soon");
	status = bus_status(bus, PORT);
	assert_string_equal(json_string_value(json_object_get(
		json_object_get(json_object_get(status, "sweep"), "refused"), "why")), "too_soon");
	json_decref(status);
	bus_walk(bus);
	bus_press(bus, "acknowledged");
	n = bus_spells(bus, BEEPER, before, beeps, 8);
	for (size_t i = 0; i < n; i++)
		if (beeps[i].level == 1 && beeps[i].ms > longest_ms)
			longest_ms = beeps[i].ms;
	assert_in_range(longest_ms, 700, 1300);
	bus_leave(bus, "done");
	assert_verdict(bus, "done");
}

/*
 * A contact that closes or opens, by the survey of switches that E8 of docs/sources.md
 * tells of: 1.6 ms in the mean, 6.2 ms at most. Changes at these gaps, the last to stay.
 */
static void bounce(struct bus *bus, enum wire wire, unsigned int level)
{
	static const int gaps_ms[] = { 1, 1, 2, 1, 3, 2, 6, 1, 2, 1 };

	for (size_t i = 0; i < sizeof(gaps_ms) / sizeof(gaps_ms[0]); i++) {
		bus_pull(bus, wire, i % 2 ? !level : level);
		assert_int_equal(pw_guest_listen(bus->guest, gaps_ms[i]), 0);
	}
	bus_pull(bus, wire, level);
}

static void bouncing_contacts_of_key_and_button_make_one_sweep_and_one_press(void **state)
{
	struct bus *bus = *state;
	size_t before = bus->heard;

	bounce(bus, IGNITION, 1);
	bus_await_check(bus);
	bounce(bus, IGNITION, 0);
	bus_hear(bus, "rung prompt");
	bus_walk(bus);
	bounce(bus, REAR_BUTTON_NC, 0);
	bounce(bus, REAR_BUTTON, 1);
	bus_hear(bus, "press acknowledged");
	bounce(bus, REAR_BUTTON, 0);
	bounce(bus, REAR_BUTTON_NC, 1);
	bus_leave(bus, "done");
	assert_verdict(bus, "done");
	assert_int_equal(bus_count(bus, before, "rung prompt"), 1);
	assert_int_equal(bus_count(bus, before, "press "), 1);
	assert_int_equal(bus_count(bus, before, "sweep closed"), 1);
	assert_int_equal(bus_count(bus, before, "fault"), 0);
}

/* -- the alarm ---------------------------------------------------------------------------- */

/* The emulation shares its processors with others: shapes are told apart, not measured. */
static void assert_about(long long ms, int wanted_ms)
{
	int slack_ms = wanted_ms > 400 ? 190 : wanted_ms * 4 / 5;

	assert_in_range(ms, wanted_ms - slack_ms, wanted_ms + 190);
}

static void assert_pattern(const struct spell *spells, size_t n, const int *pattern_ms,
			   size_t length)
{
	for (size_t i = 0; i < n; i++) {
		assert_int_equal(spells[i].level, 1 - i % 2);
		assert_about(spells[i].ms, pattern_ms[i % length]);
	}
}

/* R17; the patterns are those of postwalk.conf. */
static void what_is_not_walked_gets_louder_step_by_step(void **state)
{
	static const int cabin[] = { 250, 150 }, outside[] = { 1500, 500 };
	struct bus *bus = *state;
	struct spell spells[8];
	size_t before;

	bus_key_on(bus);
	bus_key_off(bus);
	assert_int_equal(pw_guest_level(bus->guest, HORN), 0);
	bus_hear(bus, "rung cabin");
	before = bus_edges(bus);
	for (unsigned int i = 0; i < 4; i++)
		bus_await(bus, BEEPER, !pw_guest_level(bus->guest, BEEPER));
	assert_int_equal(bus_spells(bus, BEEPER, before, spells, 3), 3);
	assert_pattern(spells + !spells[0].level, 2, cabin, 2);
	assert_int_equal(bus_spells(bus, HORN, before, spells, 1), 0);
	assert_int_equal(pw_guest_level(bus->guest, HORN), 0);
	bus_hear(bus, "rung outside");
	bus_hear(bus, "rung office");
	assert_int_equal(bus_spells(bus, HORN, before, spells, 4), 4);
	assert_pattern(spells, 4, outside, 2);
	bus_await(bus, HORN, 0);
	before = bus_edges(bus);
	bus_await(bus, HORN, 1);
	bus_await(bus, HORN, 0);
	assert_int_equal(bus_spells(bus, HORN, before, spells, 1), 1);
	assert_in_range(spells[0].ms, 260, 540); /* the office's second pulse: 400 */
}

/* R15, R17, R19: an alarm must not startle traffic. */
static void driving_off_silences_the_horn_closes_the_sweep_as_missed_and_carries_it(void **state)
{
	static const int carried[] = { 800, 800 };
	struct bus *bus = *state;
	struct spell spells[8];
	size_t before;
	json_t *status;

	bus_await(bus, HORN, 1);
	bus_pull(bus, IGNITION, 1);
	bus_hear(bus, "sweep closed: missed");
	bus_hear(bus, "rung carried");
	bus_await(bus, HORN, 0);
	bus_await(bus, LAMP, 1); /* the check at key-on, which the lamp's pattern runs into */
	bus_await(bus, LAMP, 0);
	before = bus_edges(bus);
	bus_await(bus, LAMP, 1);
	bus_await(bus, LAMP, 0);
	bus_await(bus, LAMP, 1);
	assert_int_equal(bus_spells(bus, LAMP, before, spells, 8), 2);
	assert_pattern(spells, 2, carried, 2);
	assert_int_equal(bus_spells(bus, HORN, before, spells, 1), 0);
	bus_key_off(bus);
	bus_walk(bus);
	bus_press(bus, "acknowledged");
	bus_leave(bus, "done");
	status = bus_status(bus, PORT);
	assert_true(bus_has(json_object_get(last_sweep(status), "findings"), "carried"));
	json_decref(status);
}

static int has_lost_the_chip(const json_t *status, const void *what)
{
	(void)what;
	return bus_has_fault(status, "line_ignition", "went away") &&
	       bus_has_fault(status, "line_horn", "went away");
}

static int has_no_fault(const json_t *status, const void *what)
{
	(void)what;
	return json_array_size(json_object_get(status, "faults")) == 0;
}

/*
 * The driver is taken off the chip, as a loose connector would, and put on it again. An older
 * kernel gives the chip a new number then: a link such as udev makes leads to it.
 */
static void a_chip_that_goes_away_is_told_and_taken_again_and_the_sweep_goes_on(void **state)
{
	struct bus *bus = *state;

	bus_key_on(bus);
	bus_key_off(bus);
	bus_run(bus, "driver=/sys/bus/amba/drivers/pl061_gpio; chip=$(ls $driver | grep pl061$); "
		"echo $chip >$driver/unbind", NULL, 0);
	json_decref(bus_await_status(bus, PORT, has_lost_the_chip, NULL));
	bus_run(bus, "echo $chip >$driver/bind; cd /dev; [ -e gpiochip0 ] || "
		"ln -s gpiochip[0-9] gpiochip0; cd /", NULL, 0);
	json_decref(bus_await_status(bus, PORT, has_no_fault, NULL));
	bus_hear(bus, "rung cabin");
	bus_await(bus, BEEPER, 0);
	bus_await(bus, BEEPER, 1); /* the new request sounds */
	bus_press(bus, "acknowledged");
	bus_leave(bus, "late");
}

/* -- wires that cannot be had ------------------------------------------------------------- */

static int has_words_of(const json_t *status, const void *what)
{
	(void)what;
	return bus_has_fault(status, "line_ignition",
			     "gpiochip0 line 0 for ignition is in use by") &&
	       bus_has_fault(status, "line_lamp", "in use by") &&
	       bus_has_fault(status, "line_rear_door",
			     "gpiochip0 line 99 for rear_door does not exist") &&
	       bus_has_fault(status, "line_service_door",
			     "gpiochip7 line 4 for service_door is not there");
}

static int has_the_free_lines(const json_t *status, const void *what)
{
	(void)what;
	return json_array_size(json_object_get(status, "faults")) == 2 &&
	       bus_has_fault(status, "line_rear_door", "does not exist") &&
	       bus_has_fault(status, "line_service_door", "is not there");
}

static void lines_in_use_or_not_there_are_told_and_tried_again_and_the_others_go_on(void **state)
{
	struct bus *bus = *state;
	size_t before;

	bus_run(bus, "mkdir -p /tmp/elsewhere; postwalkd --config /etc/elsewhere.conf "
		"--state /tmp/elsewhere & elsewhere=$!", NULL, 0);
	bus_hear(bus, "bus board-1 is watched");
	json_decref(bus_await_status(bus, ELSEWHERE, has_words_of, NULL));
	bus_run(bus, "kill $watch && wait $watch", NULL, 0); /* an orderly stop, status 0 */
	json_decref(bus_await_status(bus, ELSEWHERE, has_the_free_lines, NULL));
	before = bus_edges(bus);
	bus_pull(bus, IGNITION, 1);
	bus_await_check(bus);
	assert_int_equal(bus_edges(bus) - before, 4);
	bus_pull(bus, IGNITION, 0);
	bus_hear(bus, "rung prompt");
	bus_run(bus, "kill $elsewhere && wait $elsewhere", NULL, 0);
}

/* -- the journal -------------------------------------------------------------------------- */

/* J9, by this machine's postwalk over what the board's wrote. */
static void the_journal_from_the_disk_replays_to_its_own_records(void **state)
{
	static const char *const verdicts[] = { "done", "done", "done", "missed", "done", "late" };
	struct bus *bus = *state;
	size_t i, sweeps = 0;
	json_t *records, *record;

	bus_cut(bus);
	records = bus_journal(bus);
	json_array_foreach(records, i, record) {
		const char *verdict = json_string_value(json_object_get(record, "verdict"));

		if (!verdict)
			continue;
		assert_in_range(sweeps, 0, sizeof(verdicts) / sizeof(verdicts[0]) - 1);
		assert_string_equal(verdict, verdicts[sweeps++]);
	}
	assert_int_equal(sweeps, sizeof(verdicts) / sizeof(verdicts[0]));
	/* six plain presses make two edges each: so the bounces came through as such */
	assert_true(bus_traced(bus, "rear_button=") > 12 + 2);
	json_decref(records);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_input_is_seen_both_ways_and_no_other_moves),
		cmocka_unit_test(
			the_key_lights_the_lamp_and_sounds_the_beeper_for_a_check_and_both_go_out),
		cmocka_unit_test(a_walk_to_the_rear_and_back_is_done),
		cmocka_unit_test(
			a_press_too_soon_is_refused_with_a_long_tone_and_the_walk_can_still_be_done),
		cmocka_unit_test(bouncing_contacts_of_key_and_button_make_one_sweep_and_one_press),
		cmocka_unit_test(what_is_not_walked_gets_louder_step_by_step),
		cmocka_unit_test(
			driving_off_silences_the_horn_closes_the_sweep_as_missed_and_carries_it),
		cmocka_unit_test(
			a_chip_that_goes_away_is_told_and_taken_again_and_the_sweep_goes_on),
		cmocka_unit_test(
			lines_in_use_or_not_there_are_told_and_tried_again_and_the_others_go_on),
		cmocka_unit_test(the_journal_from_the_disk_replays_to_its_own_records),
	};

	return cmocka_run_group_tests_name("the emulated board", tests, power_on, scrap);
}
