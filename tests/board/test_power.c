/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Power cuts on the emulated board while an alarm sounds: what stands after them, by R20, R21 and
 * the journal on the disk. One disk, three boots.
 */
#include "bus.h"

#include <string.h>

enum { PORT = 8787 };

static int build(void **state)
{
	static struct bus bus;

	bus_build(&bus, "test_power");
	*state = &bus;
	return 0;
}

static int scrap(void **state)
{
	bus_scrap(*state);
	return 0;
}

static const json_t *findings_of_last_sweep(const json_t *status)
{
	return json_object_get(json_array_get(json_object_get(status, "recent"), 0), "findings");
}

/* After the power came back: walked from its return on, pressed, left. */
static json_t *walk_it_off(struct bus *bus)
{
	bus_walk(bus);
	bus_press(bus, "acknowledged");
	bus_leave(bus, "doubtful");
	return bus_status(bus, PORT);
}

/* R20; the gap is told by the wall clock, which ran on: 14:30 and some seconds to 14:50. */
static void an_alarm_cut_off_for_twenty_minutes_sounds_again_at_once_and_the_sweep_is_doubtful(
	void **state)
{
	struct bus *bus = *state;
	json_t *status, *recent;

	bus_power_on(bus, "2030-03-04T14:30:00", 1);
	bus_key_off(bus);
	bus_hear(bus, "rung outside");
	bus_await(bus, HORN, 1);
	bus_await_kept(bus);
	bus_cut(bus);
	bus_power_on(bus, "2030-03-04T14:50:00", 0);
	bus_await(bus, HORN, 1);
	bus_await(bus, LAMP, 1);
	assert_int_equal(bus_count(bus, 0, "rung outside"), 1);
	assert_int_equal(bus_count(bus, 0, "rung cabin"), 0); /* where it was, not from the start */
	status = walk_it_off(bus);
	assert_true(bus_has(findings_of_last_sweep(status), "power_lost"));
	assert_false(bus_has(findings_of_last_sweep(status), "clock_unsure"));
	recent = json_array_get(json_object_get(status, "recent"), 0);
	assert_in_range((long)json_number_value(json_object_get(recent, "late_s")), 1140, 1260);
	assert_int_equal(pw_guest_level(bus->guest, HORN), 0);
	json_decref(status);
}

/* R21: the clock went back, as one without a battery does. */
static void a_clock_that_went_back_makes_it_unsure_and_the_alarm_sounds_all_the_same(void **state)
{
	struct bus *bus = *state;
	json_t *status, *recent;

	bus_key_on(bus);
	bus_key_off(bus);
	bus_hear(bus, "rung cabin");
	bus_await_kept(bus);
	bus_cut(bus);
	bus_power_on(bus, "2030-03-04T13:00:00", 0);
	bus_await(bus, BEEPER, 1);
	assert_int_equal(bus_count(bus, 0, "rung cabin"), 1);
	status = walk_it_off(bus);
	assert_true(bus_has(findings_of_last_sweep(status), "power_lost"));
	assert_true(bus_has(findings_of_last_sweep(status), "clock_unsure"));
	recent = json_array_get(json_object_get(status, "recent"), 0);
	assert_in_range((long)json_number_value(json_object_get(recent, "late_s")), 0, 60);
	json_decref(status);
}

/* J9 over three boots, two gaps and a lost clock. */
static void the_journal_of_all_boots_replays_to_its_own_records(void **state)
{
	struct bus *bus = *state;
	size_t i, doubtful = 0;
	json_t *records, *record;

	bus_await_kept(bus);
	bus_cut(bus);
	records = bus_journal(bus);
	json_array_foreach(records, i, record) {
		const char *verdict = json_string_value(json_object_get(record, "verdict"));

		if (!verdict)
			continue;
		assert_string_equal(verdict, "doubtful");
		doubtful++;
	}
	assert_int_equal(doubtful, 2);
	json_decref(records);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(
			an_alarm_cut_off_for_twenty_minutes_sounds_again_at_once_and_the_sweep_is_doubtful),
		cmocka_unit_test(
			a_clock_that_went_back_makes_it_unsure_and_the_alarm_sounds_all_the_same),
		cmocka_unit_test(the_journal_of_all_boots_replays_to_its_own_records),
	};

	return cmocka_run_group_tests_name("power cuts on the emulated board", tests, build, scrap);
}
