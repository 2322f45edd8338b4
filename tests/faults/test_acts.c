/* SPDX-License-Identifier: Apache-2.0 */
/* Forms of the real page, acted on by the real watch: what goes wrong with them moves no alarm, and
 * what they did is there after a cut. The teardown sees to J9. */
#include <signal.h>

#include "forms.h"

static void alarm_comes_on_time(struct world *w, int64_t due_ms)
{
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	assert_at(world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS), due_ms + 1600);
}

static struct browser *browser_of(struct world *w)
{
	static struct browser b;

	memset(&b, 0, sizeof(b));
	b.w = w;
	return &b;
}

#define MECHANIC "for=mechanic&pin=" PIN
#define INSTALLER "for=installer&pin=" PIN

/* -- a PIN that is being looked at ------------------------------------------------------------- */

static void a_stalled_disk_under_a_pin_moves_no_alarm(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w), *second = calloc(1, sizeof(*second));
	int64_t due_ms, asked_ms;
	int folder, waiting;

	world_start(w);
	pin_is_set(w, PW_MECHANIC);
	folder = hold_folder(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_until(w, due_ms - 2500);
	waiting = form_send(b, "/pin?for=mechanic", MECHANIC);
	asked_ms = now_ms();
	alarm_comes_on_time(w, due_ms);
	assert_int_equal(browser_hear(b, waiting), 503); /* the page waits for 3 s */
	second->w = w;
	assert_int_equal(form(second, "/pin?for=mechanic", MECHANIC), 429); /* it is looked at still */
	world_says(w, "could not be looked at within 10 s", NULL, asked_ms + 11000);
	close(folder);
	assert_page(w, "phase", "overdue");
	assert_int_equal(form(second, "/pin?for=mechanic", MECHANIC), 303);
	free(second);
}

static void a_stopped_and_a_killed_process_move_no_alarm(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	int64_t due_ms;
	int folder, waiting;
	pid_t pid;

	world_start(w);
	pin_is_set(w, PW_MECHANIC);
	folder = hold_folder(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_until(w, due_ms - 1000);
	waiting = form_send(b, "/pin?for=mechanic", MECHANIC);
	pid = world_next_child(w, "postwalk-pin", 0);
	world_signal(pid, SIGSTOP);
	alarm_comes_on_time(w, due_ms);
	world_signal(pid, SIGKILL);
	assert_int_equal(browser_hear(b, waiting), 503);
	assert_int_equal(world_child(w, "postwalk-pin"), 0);
	close(folder);
	assert_int_equal(form(b, "/pin?for=mechanic", MECHANIC), 303);
}

/* It holds nothing that the next start wants. */
static void a_cut_while_a_pin_is_looked_at_is_a_cut_like_any_other(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	int folder, waiting;
	pid_t pid;

	world_start(w);
	pin_is_set(w, PW_MECHANIC);
	folder = hold_folder(w);
	waiting = form_send(b, "/pin?for=mechanic", MECHANIC);
	pid = world_next_child(w, "postwalk-pin", 0);
	world_cut(w);
	world_gone(w, pid);
	close(waiting);
	close(folder);
	world_start_again(w);
	assert_page(w, "phase", "parked");
	assert_int_equal(form(b, "/pin?for=mechanic", MECHANIC), 303);
}

static void wrong_pins_are_kept_waiting_over_a_cut(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);

	world_start(w);
	pin_is_set(w, PW_INSTALLER);
	for (int i = 0; i < 3; i++)
		assert_int_equal(form(b, "/pin?for=installer", "for=installer&pin=wrong-one"), 403);
	assert_int_equal(form(b, "/pin?for=installer", INSTALLER), 429);
	assert_non_null(strstr(b->reply, "\r\nRetry-After: "));
	page_settles(w);
	world_cut(w);
	world_start_again(w);
	assert_int_equal(form(b, "/pin?for=installer", INSTALLER), 429);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_PIN, "\"why\":\"wrong\""), 3);
	assert_true(journal_count(w, PW_K_PIN, "\"why\":\"too_soon\"") >= 1);
	assert_int_equal(journal_count(w, PW_K_PIN, "\"accepted\":true"), 0);
}

static void one_has_the_session_until_it_leaves(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w), *other = calloc(1, sizeof(*other));

	world_start(w);
	pin_is_set(w, PW_INSTALLER);
	other->w = w;
	assert_int_equal(browser_look(b, "/installer"), 403);
	assert_int_equal(form(b, "/pin?for=installer", INSTALLER), 303);
	assert_int_equal(strlen(b->session), 64);
	assert_int_equal(browser_look(b, "/installer"), 200);
	assert_int_equal(browser_look(b, "/installer/capture.vcd"), 200);
	assert_non_null(strstr(b->reply, "$enddefinitions"));
	assert_int_equal(browser_look(b, "/mechanic"), 403);
	assert_int_equal(form(other, "/pin?for=installer", INSTALLER), 409);
	assert_int_equal(browser_look(other, "/installer"), 403);
	assert_int_equal(form(b, "/leave", ""), 303);
	assert_int_equal(form(other, "/pin?for=installer", INSTALLER), 303);
	assert_int_equal(browser_look(other, "/installer"), 200);
	free(other);
}

/* -- service (R23) ----------------------------------------------------------------------------- */

static void the_mechanic_has_it_quiet_and_then_not_and_the_record_says_so_J9(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	int64_t due_ms;

	world_start(w);
	pin_is_set(w, PW_MECHANIC);
	assert_int_equal(form(b, "/pin?for=mechanic", MECHANIC), 303);
	assert_int_equal(form(b, "/mechanic", "do=on"), 303);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_says(w, "rung outside", NULL, due_ms + 1600 + ON_TIME_MS);
	world_until(w, due_ms + 1700);
	assert_false(world_heard(w, "beeper", 1, due_ms));
	assert_false(world_heard(w, "horn", 1, due_ms));
	assert_true(world_heard(w, "lamp", 1, due_ms));
	assert_page(w, "phase", "overdue");
	assert_int_equal(form(b, "/mechanic", "do=off"), 303);
	world_hears(w, "horn", 1, due_ms, now_ms() + 1000);
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_says(w, "sweep closed: doubtful", NULL, now_ms() + 500);
	assert_int_equal(world_stop(w), 0);
	journal_sweep(w, 1, "doubtful", "muted");
	assert_int_equal(journal_count(w, PW_K_SERVICE, "\"on\":true"), 1);
	assert_int_equal(journal_count(w, PW_K_SERVICE, "\"on\":false"), 1);
}

static void service_ends_by_itself_and_the_alarm_is_heard_J9(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	int64_t due_ms, on_ms;

	w->choose.more = "[sweep]\nservice_max_s = 3\n";
	world_start(w);
	pin_is_set(w, PW_MECHANIC);
	assert_int_equal(form(b, "/pin?for=mechanic", MECHANIC), 303);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_until(w, due_ms - 1500);
	assert_int_equal(form(b, "/mechanic", "do=on"), 303);
	on_ms = now_ms();
	world_says(w, "service is over", NULL, on_ms + 3000 + ON_TIME_MS);
	assert_false(world_heard(w, "horn", 1, due_ms));
	world_hears(w, "horn", 1, due_ms, now_ms() + 1000);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_SERVICE, "\"on\":false"), 1);
}

/* -- what is told outlives a cut --------------------------------------------------------------- */

static void finds_proofs_and_the_report_are_there_after_a_cut(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	json_t *status;

	world_start(w);
	world_key_off(w); /* a key that moved both ways; and a sweep is owed */
	assert_int_equal(form(b, "/found?what=damage", "what=damage&part=mirrors&who=D-12&"
			      "words=left+one"), 303);
	assert_int_equal(form(b, "/found?what=child", "what=child&who=D-12&words="), 303);
	world_says(w, "found: child; the office is to be told", NULL, now_ms() + 500);
	assert_int_equal(form(b, "/report", "do=sign&who=D-12"), 303);
	assert_page(w, "phase", "owed"); /* nothing of it ends what is owed */
	page_settles(w);
	world_cut(w);
	world_start_again(w);
	status = world_status(w);
	assert_true(json_is_string(json_object_get(status, "child_found_at")));
	assert_int_equal(json_integer_value(json_object_get(status, "defects_open")), 1);
	assert_true(json_array_size(json_object_get(status, "unproven")) > 0);
	for (size_t i = 0; i < json_array_size(json_object_get(status, "unproven")); i++)
		assert_string_not_equal(json_string_value(json_array_get(
			json_object_get(status, "unproven"), i)), "ignition");
	json_decref(status);
	assert_int_equal(form(b, "/report", "do=review&who=D-13"), 303);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_FOUND, "\"rung\":\"office\""), 1);
	assert_int_equal(journal_count(w, PW_K_REPORT, "\"defects\":1"), 2);
}

/* R19: no trial while a sweep is open. */
static void an_output_is_tried_for_two_seconds_and_not_while_a_sweep_is_owed(void **state)
{
	struct world *w = *state;
	struct browser *b = browser_of(w);
	int64_t on_ms;
	char fields[32];

	world_start(w);
	snprintf(fields, sizeof(fields), "do=try&line=%d", PW_HORN);
	assert_int_equal(form(b, "/before", fields), 303);
	on_ms = world_hears(w, "horn", 1, 0, now_ms() + 1000);
	assert_at(world_hears(w, "horn", 0, on_ms, on_ms + PATIENCE_MS), on_ms + PW_TRIAL_MS);
	snprintf(fields, sizeof(fields), "do=heard&line=%d&yes=0", PW_HORN);
	assert_int_equal(form(b, "/before?tried=9", fields), 303);
	assert_true(page_shows(w, "unheard_horn", "nobody saw or heard it"));
	world_key_off(w);
	snprintf(fields, sizeof(fields), "do=try&line=%d", PW_HORN);
	on_ms = now_ms();
	assert_int_equal(form(b, "/before", fields), 409);
	assert_false(world_heard(w, "horn", 1, on_ms));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(a_stalled_disk_under_a_pin_moves_no_alarm),
		world_test(a_stopped_and_a_killed_process_move_no_alarm),
		world_test(a_cut_while_a_pin_is_looked_at_is_a_cut_like_any_other),
		world_test(wrong_pins_are_kept_waiting_over_a_cut),
		world_test(one_has_the_session_until_it_leaves),
		world_test(the_mechanic_has_it_quiet_and_then_not_and_the_record_says_so_J9),
		world_test(service_ends_by_itself_and_the_alarm_is_heard_J9),
		world_test(finds_proofs_and_the_report_are_there_after_a_cut),
		world_test(an_output_is_tried_for_two_seconds_and_not_while_a_sweep_is_owed),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
