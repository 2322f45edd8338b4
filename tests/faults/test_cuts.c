/* SPDX-License-Identifier: Apache-2.0 */
/*
 * kill -9 of the watch in every phase, and another start: what stands after is what R20 says. The
 * gap runs from the last record or alive stamp (J12). A bench that starts reads 0 on every wire.
 */
#include <stdlib.h>

#include "look.h"

static void walk_it(struct world *w)
{
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500); /* longer than the way back takes */
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
}

static void parked_stays_parked_R20(void **state)
{
	struct world *w = *state;

	world_start(w);
	assert_page(w, "phase", "parked");
	world_cut(w);
	world_start_again(w);
	assert_page(w, "phase", "parked");
	assert_int_equal(world_level(w, "dome"), 0);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_is_whole(w) > 0, 1);
	assert_int_equal(journal_count(w, PW_K_BOOT, "\"same_boot\""), 1);
	assert_int_equal(journal_count(w, PW_K_SWEEP, ""), 0);
	assert_int_equal(journal_count(w, PW_K_POLICY, ""), 1); /* J8: when its hash changes */
}

static void drive_and_cut(struct world *w)
{
	world_start(w);
	world_set(w, "ignition=1");
	world_hears(w, "lamp", 1, w->sent_ms, now_ms() + 500);
	page_settles(w);
	world_cut(w);
}

static void driving_with_the_key_gone_after_a_dip_is_a_key_off_R20(void **state)
{
	struct world *w = *state;

	drive_and_cut(w);
	world_start_again(w);
	assert_page(w, "phase", "owed");
	assert_int_equal(world_level(w, "dome"), 1);
	world_until(w, now_ms() + 400);
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "done", "");
}

static void driving_with_the_key_gone_after_a_gap_is_in_doubt_R9_R20(void **state)
{
	struct world *w = *state;

	w->choose.restart_s = "0.1";
	drive_and_cut(w);
	world_until(w, now_ms() + 300);
	world_start_again(w);
	assert_page(w, "phase", "owed");
	world_until(w, now_ms() + 400);
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "doubtful", "power_lost");
}

static void owed_goes_on_after_a_dip_and_its_due_stays_R20(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	w->choose.aisle_m = "1"; /* a walk of 1 s */
	w->choose.due_s = "6";
	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_tap(w);
	world_says(w, "too_soon", NULL, now_ms() + 500);
	page_settles(w);
	world_cut(w);
	world_start_again(w);
	assert_page(w, "phase", "owed");
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 1200);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "late", "");
	assert_int_equal(journal_count(w, PW_K_SWEEP, "\"why\":\"too_soon\""), 1);
}

static void owed_after_a_gap_wants_the_walk_anew_and_is_in_doubt_R20_R22(void **state)
{
	struct world *w = *state;
	int64_t start_ms;

	w->choose.restart_s = "0.1";
	w->choose.aisle_m = "1";
	w->choose.due_s = "6";
	world_start(w);
	world_key_off(w);
	page_settles(w);
	world_until(w, now_ms() + 1000); /* time enough for the walk, had power stayed */
	world_cut(w);
	start_ms = now_ms();
	world_start_again(w);
	world_tap(w);
	world_says(w, "too_soon", NULL, now_ms() + 500);
	world_until(w, start_ms + 1400);
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 1200);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "doubtful", "power_lost");
}

static void a_due_that_passed_in_the_gap_sounds_the_first_rung_at_once_R20(void **state)
{
	struct world *w = *state;
	int64_t due_ms, start_ms, on_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	page_settles(w);
	world_cut(w);
	world_until(w, due_ms + 200);
	start_ms = now_ms();
	world_start_again(w);
	world_says(w, "rung cabin", NULL, start_ms + 500);
	world_hears(w, "beeper", 1, start_ms, start_ms + 700);
	assert_page(w, "phase", "overdue");
	on_ms = world_hears(w, "horn", 1, start_ms, start_ms + PATIENCE_MS);
	assert_in_range(on_ms, start_ms + 1600, start_ms + 1600 + 300); /* R14: from the power-on */
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "doubtful", "power_lost");
	assert_int_equal(journal_count(w, PW_K_SWEEP, "\"rung\":\"outside\""), 1);
}

static void overdue_sounds_its_rung_again_at_once_and_climbs_on_R14_R17_R20(void **state)
{
	struct world *w = *state;
	int64_t due_ms, start_ms, office_ms;

	world_start(w);
	due_ms = world_overdue(w);
	world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS);
	page_settles(w);
	world_cut(w);
	start_ms = now_ms();
	world_start_again(w);
	world_says(w, "rung outside", NULL, start_ms + 500);
	world_hears(w, "horn", 1, start_ms, start_ms + 600);
	assert_page(w, "rung", "outside");
	/* outside was kept at 1.6 s on the ladder, and office is 2.4 s further up */
	office_ms = world_says(w, "rung office", NULL, start_ms + PATIENCE_MS);
	assert_in_range(office_ms, start_ms + 2400 - ON_TIME_MS, start_ms + 2400 + 300);
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "late", "");
}

static void press_it(struct world *w)
{
	w->choose.aisle_m = "1"; /* 1 s there and 1 s back */
	w->choose.due_s = "6";
	world_start(w);
	world_until(w, world_key_off(w) + 1100);
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
}

static void walk_back_cut_short_of_the_way_back_goes_on_R16_R20(void **state)
{
	struct world *w = *state;
	int64_t pressed_ms;

	press_it(w);
	pressed_ms = w->sent_ms;
	page_settles(w);
	world_cut(w);
	assert_true(now_ms() < pressed_ms + 1000);
	world_start_again(w);
	assert_page(w, "phase", "walk_back");
	assert_int_equal(world_level(w, "dome"), 1);
	world_until(w, pressed_ms + 1200);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "done", "");
}

static void walk_back_cut_after_the_way_back_was_powered_down_R20(void **state)
{
	struct world *w = *state;

	press_it(w);
	world_until(w, w->sent_ms + 1000 + 150);
	page_settles(w);
	world_cut(w);
	world_start_again(w);
	assert_page(w, "phase", "parked");
	assert_int_equal(world_level(w, "dome"), 0);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "done", "powered_down");
}

/* Cuts by chance from key-on to way out, dozens of them: nothing twice, nothing torn, and a replay
 * agrees (J3, J9). */
static void power_goes_again_and_again(void **state)
{
	static const char *const play[] = { "ignition=1 lamps=1", "lamps=0", "ignition=0",
					    "rear_button=1", "rear_button=0", "rear_door=1",
					    "rear_door=0", "service_door=1", "service_door=0" };
	struct world *w = *state;
	unsigned seed = (unsigned)now_ms(), written = 0;

	print_message("seed %u\n", seed);
	srand(seed);
	w->choose.restart_s = "0.3";
	world_start(w);
	for (unsigned cut = 0; cut < 24; cut++) {
		if (rand() % 2) { /* else power may go before anything of this start is written */
			page_settles(w);
			written++;
		}
		for (int i = rand() % 6; i > 0; i--) {
			world_set(w, play[(unsigned)rand() % 9]);
			world_until(w, w->sent_ms + rand() % 60);
		}
		world_cut(w);
		world_start_again(w);
	}
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	assert_in_range(journal_count(w, PW_K_BOOT, ""), written + 1, 25);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(parked_stays_parked_R20),
		world_test(driving_with_the_key_gone_after_a_dip_is_a_key_off_R20),
		world_test(driving_with_the_key_gone_after_a_gap_is_in_doubt_R9_R20),
		world_test(owed_goes_on_after_a_dip_and_its_due_stays_R20),
		world_test(owed_after_a_gap_wants_the_walk_anew_and_is_in_doubt_R20_R22),
		world_test(a_due_that_passed_in_the_gap_sounds_the_first_rung_at_once_R20),
		world_test(overdue_sounds_its_rung_again_at_once_and_climbs_on_R14_R17_R20),
		world_test(walk_back_cut_short_of_the_way_back_goes_on_R16_R20),
		world_test(walk_back_cut_after_the_way_back_was_powered_down_R20),
		world_test(power_goes_again_and_again),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
