/* SPDX-License-Identifier: Apache-2.0 */
/* The three walls of docs/design.md: what is behind one is killed or stopped while a sweep is
 * owed, and the alarm comes on time all the same. */
#include <signal.h>

#include "look.h"

/* Cabin at its due, heard; then a proof and the way out, so that there is a sweep to look at. */
static void alarm_comes_on_time(struct world *w, int64_t due_ms)
{
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	assert_at(world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS), due_ms + 1600);
}

static void walk_it(struct world *w)
{
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
}

static void the_page_is_killed_and_the_alarm_is_on_time_and_the_page_comes_back(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_signal(w->page, SIGKILL);
	world_says(w, "fault page: ", NULL, now_ms() + 1000);
	world_says(w, "fault page is over", NULL, now_ms() + 3000);
	assert_page(w, "phase", "owed");
	assert_true(world_child(w, "postwalk-page") > 0);
	assert_int_not_equal(world_child(w, "postwalk-page"), w->page);
	w->page = world_child(w, "postwalk-page");
	alarm_comes_on_time(w, due_ms);
	world_signal(w->page, SIGKILL); /* and again while it sounds */
	world_says(w, "rung office", NULL, due_ms + 4000 + ON_TIME_MS);
	assert_page(w, "rung", "office");
	w->page = world_child(w, "postwalk-page");
}

static void the_page_is_stopped_and_the_alarm_is_on_time(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	assert_page(w, "phase", "owed");
	world_signal(w->page, SIGSTOP);
	alarm_comes_on_time(w, due_ms);
	world_signal(w->page, SIGCONT);
	assert_page(w, "phase", "overdue");
	world_signal(w->page, SIGSTOP); /* a stopped page does not hold up the stop either */
	assert_int_equal(world_stop(w), 0);
}

static void the_writer_is_stopped_and_the_alarm_is_on_time_and_nothing_is_lost_J7(void **state)
{
	struct world *w = *state;
	int64_t due_ms;
	size_t from;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	page_settles(w);
	world_signal(w->writer, SIGSTOP);
	alarm_comes_on_time(w, due_ms);
	/* at due a record began to wait: it is told after 2 s */
	assert_at(world_says(w, "fault journal: ", NULL, due_ms + PATIENCE_MS), due_ms + 2000);
	assert_true(page_shows(w, "journal", "records are not reaching the disk"));
	assert_true(page_kept(w, "waiting") > 0);
	walk_it(w);
	from = w->said_len;
	world_signal(w->writer, SIGCONT);
	world_says(w, "fault journal is over", &from, now_ms() + 2000);
	page_settles(w);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	journal_sweep(w, 1, "late", "");
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_FAULT, "\"journal\""), 2);
}

static void the_writer_is_killed_and_nothing_is_lost_and_nothing_is_there_twice_J1_J7(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_signal(w->writer, SIGKILL);
	w->writer = world_next_child(w, "postwalk-writer", w->writer);
	world_signal(w->writer, SIGSTOP); /* what is handed over now dies with it */
	alarm_comes_on_time(w, due_ms);
	walk_it(w);
	world_signal(w->writer, SIGKILL);
	w->writer = world_next_child(w, "postwalk-writer", w->writer);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	journal_sweep(w, 1, "late", "");
	assert_int_equal(journal_count(w, PW_K_SWEEP, ""), 1);
	assert_int_equal(journal_count(w, PW_K_BOOT, ""), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "prompt"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "outside"), 1);
	assert_int_equal(journal_count(w, PW_K_LOST, ""), 0);
}

static void page_and_writer_are_killed_together_again_and_again(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	for (int i = 0; i < 3; i++) {
		world_signal(w->page, SIGKILL);
		world_signal(w->writer, SIGKILL);
		w->page = world_next_child(w, "postwalk-page", w->page);
		w->writer = world_next_child(w, "postwalk-writer", w->writer);
	}
	alarm_comes_on_time(w, due_ms);
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	assert_int_equal(journal_count(w, PW_K_SWEEP, ""), 1);
}

/* J9: a record tells when a thing was due, not when a busy machine came round to it. */
static void the_watch_itself_wakes_late_and_the_record_is_the_same_J9(void **state)
{
	struct world *w = *state;
	int64_t pressed_ms, due_ms;
	size_t from;

	w->choose.more = "[sweep]\nheld_max_s = 0.5\n";
	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	from = w->said_len;
	world_set(w, "rear_button=1");
	pressed_ms = w->sent_ms;
	world_signal(w->watch, SIGSTOP);
	world_until(w, pressed_ms + 900);
	world_signal(w->watch, SIGCONT);
	world_says(w, "fault button_held:", &from, now_ms() + 300);
	world_set(w, "rear_button=0");
	world_until(w, due_ms - 200);
	world_signal(w->watch, SIGSTOP); /* cabin and outside are due meanwhile */
	world_until(w, due_ms + 1900);
	world_signal(w->watch, SIGCONT);
	world_says(w, "rung outside", &from, now_ms() + 300);
	walk_it(w);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "button_held"), 2);
}

static void the_bench_hangs_up_and_comes_again(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	close(w->bench); /* levels stay as they were set */
	close(w->outputs);
	w->bench = w->outputs = -1;
	world_connect(w);
	alarm_comes_on_time(w, due_ms);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(the_page_is_killed_and_the_alarm_is_on_time_and_the_page_comes_back),
		world_test(the_page_is_stopped_and_the_alarm_is_on_time),
		world_test(the_writer_is_stopped_and_the_alarm_is_on_time_and_nothing_is_lost_J7),
		world_test(the_writer_is_killed_and_nothing_is_lost_and_nothing_is_there_twice_J1_J7),
		world_test(page_and_writer_are_killed_together_again_and_again),
		world_test(the_watch_itself_wakes_late_and_the_record_is_the_same_J9),
		world_test(the_bench_hangs_up_and_comes_again),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
