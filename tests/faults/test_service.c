/* SPDX-License-Identifier: Apache-2.0 */
/* Start, stop, the policy read again, and the service manager's protocol, as sd_notify(3) and
 * systemd.service(5) of systemd have it. */
#include <arpa/inet.h>
#include <ctype.h>
#include <signal.h>
#include <sys/socket.h>

#include "look.h"

static const char *daemon_path(void)
{
	const char *path = getenv("POSTWALKD");

	return path && path[0] ? path : "build/postwalkd";
}

static void replace(const struct world *w, const char *from, const char *to)
{
	assert_int_equal(shell("grep -q '%s' '%s' && sed -i 's/%s/%s/' '%s'", from, w->config, from,
			       to, w->config), 0);
}

/* -- start ------------------------------------------------------------------------------------- */

static void ready_is_told_when_the_lines_are_watched(void **state)
{
	struct world *w = *state;
	int64_t until_ms = now_ms() + PATIENCE_MS;

	world_write_policy(w);
	world_launch(w, NULL);
	while (!w->ready_ms && now_ms() < until_ms)
		world_turn(w, w->watch_fd, until_ms);
	assert_true(w->ready_ms > 0);
	world_connect(w); /* at once: the wires can be played */
	world_key_off(w);
}

static void the_watchdog_is_fed_twice_in_its_time_and_not_without_one(void **state)
{
	struct world *w = *state;
	int64_t start_ms;

	w->usec = "400000";
	world_start(w);
	start_ms = now_ms();
	world_until(w, start_ms + 1100);
	assert_in_range(w->watchdogs, 4, 6);
	assert_int_equal(world_stop(w), 0);
	w->usec = NULL;
	world_start_again(w);
	world_until(w, now_ms() + 500);
	assert_int_equal(w->watchdogs, 0);
}

static void a_stopped_watch_does_not_feed_the_watchdog(void **state)
{
	struct world *w = *state;
	int fed;

	w->usec = "200000";
	world_start(w);
	world_until(w, now_ms() + 300);
	assert_true(w->watchdogs > 0);
	world_signal(w->watch, SIGSTOP);
	world_until(w, now_ms() + 50); /* what was under way */
	fed = w->watchdogs;
	world_until(w, now_ms() + 400);
	assert_int_equal(w->watchdogs, fed);
	world_signal(w->watch, SIGCONT);
}

static void it_runs_without_a_service_manager(void **state)
{
	struct world *w = *state;

	w->no_manager = true;
	world_write_policy(w);
	world_launch(w, NULL);
	world_says(w, "bus bus-9 is watched", NULL, now_ms() + PATIENCE_MS);
	w->ready_ms = now_ms();
	world_connect(w);
	world_key_off(w);
}

static void a_second_instance_is_refused_and_the_first_goes_on(void **state)
{
	struct world *w = *state;
	int64_t due_ms;
	char first[32];

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	snprintf(first, sizeof(first), "process %d", (int)w->watch);
	assert_int_equal(shell("'%s' --config '%s' --state '%s' --board 'bench:%s/other' 2>'%s/second'",
			       daemon_path(), w->config, w->state, w->dir, w->dir), 2);
	assert_int_equal(shell("test $(wc -l <'%s/second') = 1", w->dir), 0);
	assert_int_equal(shell("grep -q 'another postwalkd (%s)' '%s/second'", first, w->dir), 0);
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	assert_page(w, "phase", "overdue");
}

static void a_taken_port_is_a_fault_and_the_page_comes_when_it_is_free(void **state)
{
	struct world *w = *state;
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)w->port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int one = 1, squatter = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	int64_t due_ms;

	setsockopt(squatter, SOL_SOCKET, SO_REUSEADDR, &one, sizeof(one));
	assert_int_equal(bind(squatter, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(listen(squatter, 1), 0);
	w->no_page = true;
	world_start(w);
	world_says(w, "fault page: ", NULL, now_ms() + 1000);
	assert_true(world_said(w, "is taken by another program"));
	due_ms = world_key_off(w) + world_due_ms(w);
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	close(squatter);
	world_says(w, "fault page is over", NULL, now_ms() + PATIENCE_MS);
	w->page = world_next_child(w, "postwalk-page", 0);
	assert_page(w, "phase", "overdue");
	assert_false(page_shows(w, "page", ""));
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "\"page\""), 2);
}

/* -- the policy at start ------------------------------------------------------------------------- */

static void a_bad_policy_ends_the_start_with_file_and_line(void **state)
{
	struct world *w = *state;

	w->choose.due_s = "3"; /* R24: the walk takes 0.3 s, and 5 s are needed to spare */
	world_write_policy(w);
	world_launch(w, NULL);
	assert_int_equal(world_exit(w), 2);
	assert_int_equal(shell("n=$(grep -n '^due_s' '%s' | cut -d: -f1); echo \"$n\" >'%s/n'",
			       w->config, w->dir), 0);
	assert_non_null(strstr(w->said, w->config));
	assert_non_null(strstr(w->said, ":11: expected due_s"));
	assert_int_equal(shell("test \"$(cat '%s/n')\" = 11", w->dir), 0);
	assert_ptr_equal(strchr(w->said, '\n') + 1, w->said + w->said_len); /* one line */
	assert_int_equal(shell("test -e '%s' || test -e '%s'", w->state, w->socket), 1);
}

static void check_judges_and_touches_nothing(void **state)
{
	struct world *w = *state;

	world_write_policy(w);
	assert_int_equal(shell("'%s' --config '%s' --state '%s' --check 2>/dev/null", daemon_path(),
			       w->config, w->state), 0);
	assert_int_equal(shell("test -e '%s'", w->state), 1);
	replace(w, "^rows = 0", "rowz = 0");
	assert_int_equal(shell("'%s' --config '%s' --check 2>'%s/why'", daemon_path(), w->config,
			       w->dir), 2);
	assert_int_equal(shell("grep -q '^%s:6: expected' '%s/why'", w->config, w->dir), 0);
	assert_int_equal(shell("'%s' --config '%s/nowhere' --check 2>'%s/why'", daemon_path(),
			       w->dir, w->dir), 2);
	assert_int_equal(shell("grep -q nowhere '%s/why'", w->dir), 0);
	assert_int_equal(shell("'%s' --check 2>'%s/why'", daemon_path(), w->dir), 2);
	assert_int_equal(shell("grep -q '^usage' '%s/why'", w->dir), 0);
}

/* Of the test's policy and of the example that is shipped. */
static void what_is_printed_is_a_policy_that_prints_the_same(void **state)
{
	struct world *w = *state;
	const char *policies[] = { w->config, "etc/postwalk.conf" };
	const char *p = daemon_path();

	world_write_policy(w);
	for (size_t i = 0; i < 2; i++) {
		assert_int_equal(shell("'%s' --config '%s' --print-config >'%s/one' 2>/dev/null", p,
				       policies[i], w->dir), 0);
		assert_int_equal(shell("'%s' --config '%s/one' --check 2>/dev/null", p, w->dir), 0);
		assert_int_equal(shell("'%s' --config '%s/one' --print-config >'%s/two' 2>/dev/null",
				       p, w->dir, w->dir), 0);
		assert_int_equal(shell("cmp '%s/one' '%s/two'", w->dir, w->dir), 0);
		assert_int_equal(shell("grep -q '^alarm_max_s = 1800$' '%s/one'", w->dir), 0);
	}
	assert_int_equal(shell("'%s' --config '%s' --print-config 2>/dev/null | grep -q "
			       "'^pattern = 400 150 200 150$'", p, w->config), 0);
}

/* -- stop -------------------------------------------------------------------------------------- */

static void an_orderly_stop_silences_all_and_everything_is_in_the_journal(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_overdue(w);
	world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(world_level(w, "horn"), 0);
	assert_int_equal(world_level(w, "beeper"), 0);
	assert_int_equal(world_level(w, "lamp"), 0);
	assert_int_equal(world_level(w, "dome"), 0);
	assert_int_equal(shell("test -e '%s'", w->socket), 1);
	journal_is_whole(w);
	assert_int_equal(journal_count(w, PW_K_RUNG, "outside"), 1);
	/* and it is overdue still, with the next start */
	world_start_again(w);
	assert_page(w, "phase", "overdue");
	assert_page(w, "rung", "outside");
}

static void an_orderly_stop_writes_what_had_not_settled_too(void **state)
{
	struct world *w = *state;

	w->choose.more = "[line exits]\nsettle_ms = 60000\n";
	world_start(w);
	world_set(w, "exits=1"); /* a raw edge, far from settled */
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_EDGES, "\"line\":\"exits\""), 1);
}

/* -- the policy read again ----------------------------------------------------------------------- */

static void hang_up(struct world *w, const char *answer)
{
	size_t from = w->said_len;

	world_signal(w->watch, SIGHUP);
	world_says(w, answer, &from, now_ms() + 1000);
}

static void a_bad_policy_is_refused_whole_and_the_old_one_stays(void **state)
{
	struct world *w = *state;
	char why[128];
	int64_t due_ms;

	world_start(w);
	replace(w, "^due_s = 5.3", "due_s = 9");           /* good by itself */
	replace(w, "^pattern = 500 300", "pattern = 500"); /* and this is not */
	snprintf(why, sizeof(why), "%s:39: expected ", w->config);
	hang_up(w, why);
	assert_true(world_said(w, "the policy in force stays"));
	due_ms = world_overdue(w); /* at 5.3 s */
	assert_at(world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS), due_ms + 1600);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_POLICY, ""), 1);
}

static void a_good_policy_is_in_force_from_the_next_key_off_and_journaled(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	replace(w, "^due_s = 5.3", "due_s = 7.1");
	hang_up(w, "in force from the next key-off");
	assert_false(world_said(w, "the new policy is in force"));
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	w->choose.due_s = "7.1"; /* carried_due_s is 5.3 still: close this one properly */
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_says(w, "sweep closed: late", NULL, now_ms() + 500);
	world_set(w, "service_door=0");
	due_ms = world_overdue(w); /* 7.1 s after it */
	assert_true(world_said(w, "the new policy is in force"));
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_POLICY, ""), 2);
	assert_int_equal(journal_count(w, PW_K_POLICY, "due_s = 7.1"), 1);
	world_start_again(w); /* a trace is told under one policy, from a start of its own on */
}

static void other_wires_are_refused(void **state)
{
	struct world *w = *state;

	world_start(w);
	assert_int_equal(shell("printf '[line exits]\\n' >>'%s'", w->config), 0);
	hang_up(w, "they change with a restart of postwalkd only");
	replace(w, "^\\[line exits\\]", "[line rear_button_nc]");
	hang_up(w, "they change with a restart of postwalkd only");
	replace(w, "^\\[line rear_button_nc\\]", "# none");
	replace(w, "^id = bus-9", "id = bus-8");
	hang_up(w, "they change with a restart of postwalkd only");
	replace(w, "^id = bus-8", "id = bus-9");
	replace(w, "^# none", "");
	hang_up(w, "taken"); /* its text has changed, by a blank line */
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(journal_count(w, PW_K_POLICY, ""), 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(ready_is_told_when_the_lines_are_watched),
		world_test(the_watchdog_is_fed_twice_in_its_time_and_not_without_one),
		world_test(a_stopped_watch_does_not_feed_the_watchdog),
		world_test(it_runs_without_a_service_manager),
		world_test(a_second_instance_is_refused_and_the_first_goes_on),
		world_test(a_taken_port_is_a_fault_and_the_page_comes_when_it_is_free),
		world_test(a_bad_policy_ends_the_start_with_file_and_line),
		world_test(check_judges_and_touches_nothing),
		world_test(what_is_printed_is_a_policy_that_prints_the_same),
		world_test(an_orderly_stop_silences_all_and_everything_is_in_the_journal),
		world_test(an_orderly_stop_writes_what_had_not_settled_too),
		world_test(a_bad_policy_is_refused_whole_and_the_old_one_stays),
		world_test(a_good_policy_is_in_force_from_the_next_key_off_and_journaled),
		world_test(other_wires_are_refused),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
