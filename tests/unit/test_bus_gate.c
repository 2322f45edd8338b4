/* SPDX-License-Identifier: Apache-2.0 */
/* Who may open the installer's and the mechanic's pages: PINs by a process of their own, one
 * session, and every try in the journal. The processes and the files are the real ones. */
#include "bus_stage.h"

#include <signal.h>
#include <sys/file.h>

#define stage_test(f) cmocka_unit_test_setup_teardown(f, stage_setup, stage_teardown)

#define PIN "k7-orange-roof"

static void set_pin(struct stage *s, enum pw_role role)
{
	char why[200];

	if (pw_pin_set(s->f.path, role, PIN, why, sizeof(why)) < 0)
		fail_msg("%s", why);
}

static enum pw_answer open_for(struct stage *s, enum pw_role role, const char *pin)
{
	struct pw_act a = { .kind = PW_A_OPEN, .role = role };

	snprintf(a.pin, sizeof(a.pin), "%s", pin);
	return stage_act(s, a);
}

/* The child has ended; what it said, at that moment. */
static enum pw_answer answer_at(struct stage *s, int64_t at_ms)
{
	siginfo_t info;
	uint32_t serial;

	assert_true(s->bus.gate.pid > 0);
	assert_int_equal(waitid(P_PID, (id_t)s->bus.gate.pid, &info, WEXITED | WNOWAIT), 0);
	stage_tick(s, at_ms);
	assert_true(pw_gate_tend(&s->bus, &serial, &s->done));
	assert_int_equal(serial, 1);
	assert_int_equal(s->bus.gate.pid, 0);
	assert_false(pw_gate_tend(&s->bus, &serial, &(struct pw_done_act){ 0 }));
	return s->done.answer;
}

/* A try that is looked at for 100 ms. */
static enum pw_answer try_at(struct stage *s, enum pw_role role, const char *pin, int64_t at_ms)
{
	enum pw_answer answer;

	stage_tick(s, at_ms);
	answer = open_for(s, role, pin);
	return answer ? answer : answer_at(s, at_ms + 100);
}

/* -- PINs -------------------------------------------------------------------------------------- */

static void a_right_pin_opens_a_session_of_its_role(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 2000), PW_DONE_SO);
	assert_int_equal(s->done.role, PW_MECHANIC);
	assert_int_equal(s->done.wait_ms, PW_SESSION_IDLE_MS);
	assert_string_equal(s->done.session, s->bus.session.id);
	assert_int_equal(strspn(s->done.session, "0123456789abcdef"), 64);
	assert_string_equal(stage_told(s, "pin"), "{\"role\":\"mechanic\",\"accepted\":true,\"tries\":1,"
						  "\"why\":\"\"}");
}

static void a_wrong_pin_and_none_at_all_are_told_apart(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(try_at(s, PW_MECHANIC, "k7-orange-roofs", 2000), PW_PIN_IS_WRONG);
	assert_int_equal(try_at(s, PW_INSTALLER, PIN, 3000), PW_PIN_UNSET);
	assert_string_equal(s->bus.session.id, "");
	stage_wake(s, 3200);
	assert_string_equal(stage_told(s, "pin"),
		"{\"role\":\"mechanic\",\"accepted\":false,\"tries\":1,\"why\":\"wrong\"} "
		"{\"role\":\"installer\",\"accepted\":false,\"tries\":1,\"why\":\"unset\"}");
}

static void wrong_ones_are_kept_waiting_and_a_restart_does_not_help(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	for (int i = 0; i < 3; i++)
		assert_int_equal(try_at(s, PW_MECHANIC, "wrong-one", 2000 + 1000 * i), PW_PIN_IS_WRONG);
	assert_true(s->done.wait_ms > 0);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 5000), PW_PIN_TOO_SOON);
	assert_in_range(s->done.wait_ms, 1, 5000);
	stage_stop(s);
	stage_start(s, 6000);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 6100), PW_PIN_TOO_SOON);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 9100), PW_DONE_SO); /* 5 s after the third */
}

static void one_is_looked_at_at_a_time(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), 0);
	assert_int_equal(open_for(s, PW_INSTALLER, PIN), PW_PIN_IN_HAND);
	assert_int_equal(answer_at(s, 1100), PW_DONE_SO);
}

/* -- the process ------------------------------------------------------------------------------- */

static void a_killed_one_lets_nobody_in(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), 0);
	kill(s->bus.gate.pid, SIGKILL);
	assert_int_equal(answer_at(s, 1100), PW_NOT_DONE);
	assert_string_equal(s->bus.session.id, "");
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 2000), PW_DONE_SO);
}

static void a_stopped_one_is_given_up_after_ten_seconds(void **state)
{
	struct stage *s = *state;
	uint32_t serial;
	pid_t pid;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), 0);
	pid = s->bus.gate.pid;
	kill(pid, SIGSTOP);
	waitid(P_PID, (id_t)pid, &(siginfo_t){ 0 }, WSTOPPED | WNOWAIT);
	assert_int_equal(pw_gate_next_ms(&s->bus), 11000);
	stage_tick(s, 10999);
	assert_false(pw_gate_tend(&s->bus, &serial, &s->done));
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), PW_PIN_IN_HAND);
	stage_tick(s, 11000);
	assert_true(pw_gate_tend(&s->bus, &serial, &s->done));
	assert_int_equal(s->done.answer, PW_NOT_DONE);
	waitid(P_PID, (id_t)pid, &(siginfo_t){ 0 }, WEXITED | WNOWAIT);
	assert_false(pw_gate_tend(&s->bus, &serial, &s->done)); /* once */
	assert_int_equal(kill(pid, 0), -1);
	assert_int_equal(s->bus.gate.pid, 0);
	assert_int_equal(pw_gate_next_ms(&s->bus), PW_NEVER);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 12000), PW_DONE_SO);
}

/* The page waits for 3 s (page.h): a session that nobody was told of would keep everybody out. */
static void a_late_answer_opens_nothing(void **state)
{
	struct stage *s = *state;

	set_pin(s, PW_MECHANIC);
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), 0);
	assert_int_equal(answer_at(s, 1000 + 3000), PW_NOT_DONE);
	assert_string_equal(s->bus.session.id, "");
}

/* proc_pid_fd(5), proc_locks(5): the watch's lock, wires and sockets are not in its hands. It is
 * held up at the folder, so that it can be looked at. */
static void it_holds_its_pipe_and_what_it_needs(void **state)
{
	struct stage *s = *state;
	const int folder = open(s->f.path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	char waits[64], others[64];

	set_pin(s, PW_MECHANIC);
	assert_int_equal(flock(folder, LOCK_EX), 0);
	assert_int_equal(open_for(s, PW_MECHANIC, PIN), 0);
	do {
		ask(waits, sizeof(waits), "grep -c -e '-> FLOCK .* %d ' /proc/locks",
		    (int)s->bus.gate.pid);
		assert_int_equal(waitid(P_PID, (id_t)s->bus.gate.pid, &(siginfo_t){ 0 },
					WEXITED | WNOWAIT | WNOHANG), 0);
	} while (strcmp(waits, "1") != 0);
	ask(others, sizeof(others), "ls -l /proc/%d/fd | awk '$9 > 2' | grep -cv -e ' 3 -> pipe:' "
	    "-e ' -> %s$'", (int)s->bus.gate.pid, s->f.path);
	assert_string_equal(others, "0");
	ask(others, sizeof(others), "cat /proc/%d/comm", (int)s->bus.gate.pid);
	assert_string_equal(others, "postwalk-pin");
	close(folder);
	assert_int_equal(answer_at(s, 1100), PW_DONE_SO);
}

/* -- the session ------------------------------------------------------------------------------- */

static enum pw_answer touch(struct stage *s, const char *session, int64_t at_ms)
{
	struct pw_act a = { .kind = PW_A_TOUCH, .yes = true };

	stage_tick(s, at_ms);
	snprintf(a.session, sizeof(a.session), "%s", session);
	return stage_act(s, a);
}

static void a_page_that_follows_by_itself_keeps_none_open(void **state)
{
	struct stage *s = *state;
	struct pw_act follow = { .kind = PW_A_TOUCH };

	set_pin(s, PW_MECHANIC);
	try_at(s, PW_MECHANIC, PIN, 2000); /* open from 2100 on */
	memcpy(follow.session, s->done.session, sizeof(follow.session));
	stage_tick(s, 602000);
	assert_int_equal(stage_act(s, follow), PW_DONE_SO);
	assert_int_equal(s->done.wait_ms, 100);
	stage_tick(s, 602100);
	assert_int_equal(stage_act(s, follow), PW_SESSION_NONE);
}

static void a_second_one_is_kept_out_until_the_first_has_left(void **state)
{
	struct stage *s = *state;
	char first[PW_SESSION_MAX];
	struct pw_act again = { .kind = PW_A_OPEN, .role = PW_INSTALLER, .pin = PIN };

	set_pin(s, PW_MECHANIC);
	set_pin(s, PW_INSTALLER);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 2000), PW_DONE_SO);
	memcpy(first, s->done.session, sizeof(first));
	assert_int_equal(try_at(s, PW_INSTALLER, PIN, 3000), PW_SESSION_TAKEN);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 3000), PW_SESSION_TAKEN);
	assert_int_equal(touch(s, first, 4000), PW_DONE_SO);
	memcpy(again.session, first, sizeof(first)); /* its owner may come in another role */
	assert_int_equal(stage_act(s, again), 0);
	assert_int_equal(answer_at(s, 4100), PW_DONE_SO);
	assert_string_not_equal(s->done.session, first);
	assert_int_equal(touch(s, first, 4200), PW_SESSION_NONE);
	assert_int_equal(s->done.role, PW_NOBODY);
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_LEAVE }), PW_DONE_SO);
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 5000), PW_DONE_SO);
}

static void an_idle_one_ends_after_ten_minutes_and_a_look_keeps_it(void **state)
{
	struct stage *s = *state;
	char id[PW_SESSION_MAX];

	set_pin(s, PW_MECHANIC);
	try_at(s, PW_MECHANIC, PIN, 2000); /* open from 2100 on */
	memcpy(id, s->done.session, sizeof(id));
	assert_int_equal(touch(s, id, 602099), PW_DONE_SO);
	assert_int_equal(s->done.wait_ms, PW_SESSION_IDLE_MS);
	assert_int_equal(s->done.role, PW_MECHANIC);
	assert_int_equal(touch(s, id, 602099 + 599999), PW_DONE_SO);
	assert_int_equal(touch(s, id, 602099 + 599999 + 600000), PW_SESSION_NONE);
	assert_string_equal(s->bus.session.id, "");
	assert_int_equal(try_at(s, PW_MECHANIC, PIN, 1900000), PW_DONE_SO); /* it is free */
}

static void nothing_but_the_very_bits_is_a_session(void **state)
{
	struct stage *s = *state;
	char id[PW_SESSION_MAX];

	assert_int_equal(touch(s, "", 1000), PW_SESSION_NONE);
	pw_session_open(&s->bus, PW_INSTALLER);
	memcpy(id, s->bus.session.id, sizeof(id));
	assert_int_equal(touch(s, "", 1000), PW_SESSION_NONE);
	for (unsigned i = 0; i < 64; i++) {
		id[i] ^= 1;
		assert_int_equal(touch(s, id, 1000), PW_SESSION_NONE);
		id[i] ^= 1;
	}
	id[63] = '\0';
	assert_int_equal(touch(s, id, 1000), PW_SESSION_NONE);
	assert_int_equal(touch(s, s->bus.session.id, 1000), PW_DONE_SO);
}

static void a_restart_ends_it(void **state)
{
	struct stage *s = *state;
	char id[PW_SESSION_MAX];

	pw_session_open(&s->bus, PW_INSTALLER);
	memcpy(id, s->bus.session.id, sizeof(id));
	stage_stop(s);
	stage_start(s, 5000);
	assert_int_equal(touch(s, id, 5100), PW_SESSION_NONE);
}

/* -- tries that cost nothing ------------------------------------------------------------------- */

static void a_flood_is_one_record_a_minute_and_none_is_lost(void **state)
{
	struct stage *s = *state;
	struct pw_act a = { .kind = PW_A_REFUSED };

	strcpy(a.words, "forged");
	for (int64_t t = 2000; t < 2000 + 150000; t += 100) { /* 1500 of them */
		stage_tick(s, t);
		assert_int_equal(stage_act(s, a), PW_DONE_SO);
		stage_wake(s, t);
	}
	assert_int_equal(pw_tries_next_ms(&s->bus), 182000);
	strcpy(a.words, "foreign_host");
	stage_act(s, a);
	stage_until(s, 182000 + 60000); /* the many first, then the one */
	assert_int_equal(pw_tries_next_ms(&s->bus), PW_NEVER); /* nothing left to wake for */
	assert_string_equal(stage_told(s, "pin"),
		"{\"role\":\"nobody\",\"accepted\":false,\"tries\":1,\"why\":\"forged\"} "
		"{\"role\":\"nobody\",\"accepted\":false,\"tries\":600,\"why\":\"forged\"} "
		"{\"role\":\"nobody\",\"accepted\":false,\"tries\":600,\"why\":\"forged\"} "
		"{\"role\":\"nobody\",\"accepted\":false,\"tries\":299,\"why\":\"forged\"} "
		"{\"role\":\"nobody\",\"accepted\":false,\"tries\":1,\"why\":\"foreign_host\"}");
}

static void more_kinds_than_are_kept_apart_are_counted_all_the_same(void **state)
{
	struct stage *s = *state;
	struct pw_act a = { .kind = PW_A_REFUSED };
	char total[32];

	for (int i = 0; i < 40; i++) {
		snprintf(a.words, sizeof(a.words), "kind_%c%c", 'a' + i / 26, 'a' + i % 26);
		stage_act(s, a);
	}
	stage_told(s, "pin"); /* the stop tells what is left */
	ask(total, sizeof(total), "sqlite3 '%s' \"SELECT sum(json_extract(body, '$.tries')), count(*) "
	    "FROM record WHERE kind = 'pin'\"", in(&s->f, "journal.db"));
	assert_string_equal(total, "40|12");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		stage_test(a_right_pin_opens_a_session_of_its_role),
		stage_test(a_wrong_pin_and_none_at_all_are_told_apart),
		stage_test(wrong_ones_are_kept_waiting_and_a_restart_does_not_help),
		stage_test(one_is_looked_at_at_a_time),
		stage_test(a_killed_one_lets_nobody_in),
		stage_test(a_stopped_one_is_given_up_after_ten_seconds),
		stage_test(a_late_answer_opens_nothing),
		stage_test(it_holds_its_pipe_and_what_it_needs),
		stage_test(a_page_that_follows_by_itself_keeps_none_open),
		stage_test(a_second_one_is_kept_out_until_the_first_has_left),
		stage_test(an_idle_one_ends_after_ten_minutes_and_a_look_keeps_it),
		stage_test(nothing_but_the_very_bits_is_a_session),
		stage_test(a_restart_ends_it),
		stage_test(a_flood_is_one_record_a_minute_and_none_is_lost),
		stage_test(more_kinds_than_are_kept_apart_are_counted_all_the_same),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
