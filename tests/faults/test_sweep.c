/* SPDX-License-Identifier: Apache-2.0 */
/* What a driver sees and hears: the real program on the bench board, all fault-free. */
#include "look.h"

static void a_sweep_that_is_walked_is_done_R11_R16_R22(void **state)
{
	struct world *w = *state;
	int64_t off_ms;

	w->choose.rows = 2; /* a walk of 2 s there, 1 s back (R10) */
	w->choose.aisle_m = "1";
	w->choose.due_s = "8";
	world_start(w);
	off_ms = world_key_off(w);
	assert_page(w, "phase", "owed");
	world_until(w, off_ms + 2100);
	world_tap(w);
	world_hears(w, "beeper", 1, w->sent_ms, now_ms() + PATIENCE_MS);
	assert_page(w, "phase", "walk_back");
	world_until(w, w->sent_ms + 1300);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, now_ms() + PATIENCE_MS);
	assert_page(w, "phase", "parked");
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "done", "");
	assert_int_equal(journal_is_whole(w) > 0, 1);
}

static void a_press_too_soon_is_refused_and_sounds_unlike_an_accepted_one_R11(void **state)
{
	struct world *w = *state;
	static const int refused[] = { 900 };        /* docs/rules.md 7 */
	static const int accepted[] = { 80, 80, 80 };
	int64_t off_ms, on_ms;

	w->choose.rows = 2;
	w->choose.aisle_m = "1";
	w->choose.due_s = "8";
	world_start(w);
	off_ms = world_key_off(w);
	world_until(w, off_ms + 500); /* the prompt's first pulse and the check are over */
	world_tap(w);
	on_ms = world_hears(w, "beeper", 1, w->sent_ms, w->sent_ms + 200);
	world_pattern(w, "beeper", on_ms, refused, 1);
	world_until(w, off_ms + 2500);
	assert_page(w, "phase", "owed");
	world_tap(w);
	on_ms = world_hears(w, "beeper", 1, w->sent_ms, w->sent_ms + 200);
	world_pattern(w, "beeper", on_ms, accepted, 3);
	world_until(w, on_ms + 600);
	assert_false(world_heard(w, "beeper", 1, on_ms + 80 + 80 + 80 + ON_TIME_MS));
	world_set(w, "ignition=1"); /* R16: a key-on ends the walk back */
	world_hears(w, "dome", 0, w->sent_ms, now_ms() + PATIENCE_MS);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_SWEEP, "\"why\":\"too_soon\""), 1);
	journal_sweep(w, 1, "doubtful", "return_short");
}

static void the_prompt_sounds_while_a_sweep_is_owed_R17(void **state)
{
	struct world *w = *state;
	static const int prompt[] = { 100, 1900, 100, 1900 }; /* docs/rules.md 7 */
	int64_t off_ms, seen_ms;

	world_start(w);
	world_set(w, "ignition=1");
	world_hears(w, "lamp", 0, world_hears(w, "lamp", 1, w->sent_ms, now_ms() + 1000),
		    now_ms() + PATIENCE_MS); /* the check is over */
	world_set(w, "ignition=0");
	off_ms = w->sent_ms;
	seen_ms = world_hears(w, "beeper", 1, off_ms, off_ms + 1000);
	assert_at(seen_ms, off_ms + 20); /* R1: certain when it has settled */
	world_pattern(w, "beeper", seen_ms, prompt, 4);
	assert_false(world_heard(w, "horn", 1, 0));
}

static void an_alarm_climbs_from_cabin_to_outside_to_office_R14_R17(void **state)
{
	struct world *w = *state;
	static const int cabin[] = { 250, 150, 250, 150, 250, 150, 250, 150 };
	static const int outside[] = { 500, 300, 500, 300, 500, 300 };
	static const int office[] = { 400, 150, 200, 150, 400, 150, 200, 150 };
	int64_t due_ms, on_ms;

	world_start(w);
	due_ms = world_overdue(w);
	on_ms = world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + ON_TIME_MS);
	world_pattern(w, "beeper", on_ms, cabin, 7);
	assert_false(world_heard(w, "horn", 1, 0));
	on_ms = world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS);
	assert_at(on_ms, due_ms + 1600);
	world_pattern(w, "horn", on_ms, outside, 5);
	assert_page(w, "rung", "outside");
	world_says(w, "rung office", NULL, now_ms() + PATIENCE_MS);
	on_ms = world_hears(w, "horn", 1, due_ms + 4000 - ON_TIME_MS, due_ms + PATIENCE_MS);
	assert_at(on_ms, due_ms + 4000);
	world_pattern(w, "beeper", on_ms, office, 8);
	assert_page(w, "phase", "overdue");
	world_tap(w);
	world_hears(w, "beeper", 1, w->sent_ms, now_ms() + PATIENCE_MS);
	assert_page(w, "rung", "none");
	assert_false(world_heard(w, "horn", 1, w->sent_ms + 200));
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "outside"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "office"), 1);
}

static void the_horn_is_silent_while_the_ignition_is_on_R19_R25(void **state)
{
	struct world *w = *state;
	size_t from = 0;
	int64_t brake_ms, due_ms;

	/* left running: the alarm climbs while the ignition is on */
	w->choose.more = "[sweep]\nidle_s = 0.2\n";
	world_start(w);
	world_set(w, "ignition=1 park_brake=1 service_door=1");
	world_says(w, "rung outside", &from, now_ms() + 2 * PATIENCE_MS);
	world_hears(w, "horn", 1, w->sent_ms, now_ms() + 300); /* R19: the brake is set */
	world_set(w, "park_brake=0 service_door=0");
	brake_ms = w->sent_ms;
	world_says(w, "sweep closed: missed", NULL, now_ms() + 1000); /* R25: driven off */
	world_until(w, brake_ms + 1500);
	assert_false(world_heard(w, "horn", 1, brake_ms + ON_TIME_MS));
	/* and an overdue bus whose key comes on falls silent outside at once */
	world_set(w, "ignition=0");
	due_ms = w->sent_ms + world_due_ms(w);
	world_says(w, "rung outside", &from, due_ms + PATIENCE_MS);
	world_hears(w, "horn", 1, due_ms, now_ms() + 300);
	world_set(w, "ignition=1");
	world_hears(w, "horn", 0, w->sent_ms, w->sent_ms + 400);
	world_until(w, w->sent_ms + 1500);
	assert_false(world_heard(w, "horn", 1, w->sent_ms + 20 + ON_TIME_MS));
}

static void the_key_lights_lamp_and_beeper_for_a_check_and_they_go_out(void **state)
{
	struct world *w = *state;
	int64_t lamp_ms, beep_ms;

	world_start(w);
	assert_int_equal(world_level(w, "lamp"), 0);
	assert_int_equal(world_level(w, "beeper"), 0);
	world_set(w, "ignition=1");
	lamp_ms = world_hears(w, "lamp", 1, w->sent_ms, w->sent_ms + 500);
	beep_ms = world_hears(w, "beeper", 1, w->sent_ms, w->sent_ms + 500);
	assert_at(lamp_ms, w->sent_ms + 20);
	assert_at(world_hears(w, "beeper", 0, beep_ms, beep_ms + 1000), beep_ms + 300);
	assert_at(world_hears(w, "lamp", 0, lamp_ms, lamp_ms + 3000), lamp_ms + PW_CHECK_MS);
	world_until(w, lamp_ms + 2500);
	assert_false(world_heard(w, "lamp", 1, lamp_ms + PW_CHECK_MS));
	assert_false(world_heard(w, "beeper", 1, beep_ms + 100));
	assert_false(world_heard(w, "horn", 1, 0));
}

static void the_dome_is_on_through_owed_overdue_and_walk_back(void **state)
{
	struct world *w = *state;
	int64_t off_ms;

	world_start(w);
	assert_int_equal(world_level(w, "dome"), 0);
	off_ms = world_overdue(w) - world_due_ms(w);
	world_tap(w);
	world_until(w, w->sent_ms + 500); /* walk back */
	assert_page(w, "phase", "walk_back");
	assert_int_equal(world_level(w, "dome"), 1);
	assert_false(world_heard(w, "dome", 0, off_ms));
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 1000);
	assert_page(w, "phase", "parked");
}

static void a_held_button_is_a_fault_and_a_finding_R4(void **state)
{
	struct world *w = *state;
	size_t from;
	int64_t pressed_ms;

	w->choose.more = "[sweep]\nheld_max_s = 0.5\n";
	world_start(w);
	world_key_off(w);
	from = w->said_len;
	world_set(w, "rear_button=1");
	pressed_ms = w->sent_ms;
	assert_at(world_says(w, "fault button_held:", &from, pressed_ms + 2000), pressed_ms + 500);
	assert_true(page_shows(w, "button_held", "held down"));
	world_set(w, "rear_button=0");
	world_says(w, "fault button_held is over", &from, w->sent_ms + 500);
	assert_false(page_shows(w, "button_held", ""));
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "button_held"), 2);
}

static void a_sounder_that_is_not_sensed_is_told_after_2_s_and_one_that_is_sensed_is_not(
	void **state)
{
	struct world *w = *state;
	int64_t due_ms, on_ms;

	w->choose.more = "[line horn]\nsense = horn_heard\n[line horn_heard]\ndirection = in\n"
			 "[line beeper]\nsense = beeper_heard\n[line beeper_heard]\n"
			 "direction = in\n";
	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	/* somebody who listens to the beeper only: G2, G5 in docs/sources.md */
	world_hears(w, "beeper", 1, w->sent_ms, w->sent_ms + 1000);
	world_set(w, "beeper_heard=1");
	world_set(w, "beeper_heard=0");
	world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + ON_TIME_MS);
	world_set(w, "beeper_heard=1");
	on_ms = world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS);
	assert_at(world_says(w, "fault silent_horn:", NULL, on_ms + PATIENCE_MS),
		  on_ms + PW_SILENT_MS);
	assert_true(page_shows(w, "silent_horn", "sense"));
	assert_false(world_said(w, "silent_beeper"));
	/* heard at last */
	world_hears(w, "horn", 1, now_ms(), now_ms() + 1000);
	world_set(w, "horn_heard=1");
	world_says(w, "fault silent_horn is over", NULL, now_ms() + 1500);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "silent_horn"), 2);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(a_sweep_that_is_walked_is_done_R11_R16_R22),
		world_test(a_press_too_soon_is_refused_and_sounds_unlike_an_accepted_one_R11),
		world_test(the_prompt_sounds_while_a_sweep_is_owed_R17),
		world_test(an_alarm_climbs_from_cabin_to_outside_to_office_R14_R17),
		world_test(the_horn_is_silent_while_the_ignition_is_on_R19_R25),
		world_test(the_key_lights_lamp_and_beeper_for_a_check_and_they_go_out),
		world_test(the_dome_is_on_through_owed_overdue_and_walk_back),
		world_test(a_held_button_is_a_fault_and_a_finding_R4),
		world_test(a_sounder_that_is_not_sensed_is_told_after_2_s_and_one_that_is_sensed_is_not),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
