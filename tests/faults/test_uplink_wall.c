/* SPDX-License-Identifier: Apache-2.0 */
/* The writer serves an uplink (stretch.h). Whatever that one does, the alarm is on time, batches are
 * committed, and nothing is lost. */
#include <signal.h>
#include <sys/wait.h>

#include "forms.h"
#include "hand.h"

#define REQUESTS 10000
#define COMMIT_MS 1500 /* a batch is on the disk by then, on a machine that tests other things as well */

static void alarm_comes_on_time(struct world *w, int64_t due_ms)
{
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	assert_at(world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS), due_ms + 1600);
}

/* What was noted so far is on the disk, while the other goes on. */
static void batches_are_committed(struct world *w)
{
	const int64_t since_ms = now_ms();

	page_settles(w);
	if (now_ms() - since_ms > COMMIT_MS)
		fail_msg("committed only after %lld ms", (long long)(now_ms() - since_ms));
	assert_false(page_shows(w, "journal", ""));
}

static void walk_it(struct world *w)
{
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_hears(w, "dome", 0, w->sent_ms, w->sent_ms + 500);
}

/* Nothing is lost, nothing is there twice. */
static void all_is_there(struct world *w)
{
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	journal_sweep(w, 1, "late", "");
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "outside"), 1);
	assert_int_equal(journal_count(w, PW_K_LOST, ""), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "\"journal\""), 0);
}

static void talk_rubbish(struct world *w)
{
	char rubbish[4 * sizeof(struct pw_hand)], end;

	memset(rubbish, 'x', sizeof(rubbish));
	for (size_t n = 1; n < sizeof(rubbish); n += 197) {
		int fd = hand_open(w);

		assert_int_equal(send(fd, rubbish, n, MSG_NOSIGNAL), (ssize_t)n);
		assert_int_equal(recv(fd, &end, 1, 0), 0); /* hung up */
		close(fd);
	}
}

/* Talks rubbish, then asks for all there is and reads no answer. */
static void a_client_that_stalls(void **state)
{
	struct world *w = *state;
	struct pw_hand h = hand_new(PW_H_STRETCH, 1);
	int64_t due_ms;
	int fd;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	talk_rubbish(w);
	fd = hand_open(w);
	while (send(fd, &h, sizeof(h), MSG_DONTWAIT | MSG_NOSIGNAL) > 0 && now_ms() < due_ms - 500)
		;
	alarm_comes_on_time(w, due_ms);
	batches_are_committed(w);
	walk_it(w);
	batches_are_committed(w);
	all_is_there(w);
	close(fd);
}

/* -- a client of its own process --------------------------------------------------------------- */

static bool goes_out(int fd, const struct pw_hand *h)
{
	struct pollfd one = { .fd = fd, .events = POLLIN | POLLOUT };
	struct pw_hand in;

	for (;;) {
		if (poll(&one, 1, PATIENCE_MS) < 1)
			return false;
		if ((one.revents & POLLIN) && !hand_hear(fd, 0, &in, NULL, 0))
			return false;
		if ((one.revents & POLLOUT) && send(fd, h, sizeof(*h), MSG_DONTWAIT | MSG_NOSIGNAL) > 0)
			return true;
	}
}

/* As fast as it can, each kind in turn, for ever or so often. Ends with 0 when all of it went out. */
static void flood(int fd, int requests)
{
	static const enum pw_hand_kind kinds[] = { PW_H_STRETCH, PW_H_WHERE, PW_H_HASH, PW_H_ALERT,
						   PW_H_RECEIPT, PW_H_SAYS };
	struct pw_hand h;

	for (int i = 0; requests == 0 || i < requests; i++) {
		h = hand_new(kinds[i % 6], 1 + (uint64_t)(i / 6 % 20));
		h.state = i / 6 % 2 ? PW_D_AWAY : PW_D_REFUSED;
		if (!goes_out(fd, &h))
			_exit(1);
	}
	_exit(0);
}

static pid_t begin_flood(int fd, int requests)
{
	pid_t pid = fork();

	assert_true(pid >= 0);
	if (pid == 0)
		flood(fd, requests);
	return pid;
}

/* One that is stopped is got over as well as one that is killed. */
static void begin_and_kill(struct world *w, bool stop)
{
	int fd = hand_open(w);
	pid_t pid = begin_flood(fd, 0);

	close(fd);
	world_until(w, now_ms() + 40);
	if (stop)
		world_signal(pid, SIGSTOP);
	world_signal(pid, SIGKILL);
	assert_int_equal(waitpid(pid, NULL, 0), pid);
}

static void a_client_that_floods(void **state)
{
	struct world *w = *state;
	int64_t due_ms;
	int fd, status;
	pid_t pid;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	for (int i = 0; i < 6; i++)
		begin_and_kill(w, i % 2);
	fd = hand_open(w);
	pid = begin_flood(fd, REQUESTS);
	batches_are_committed(w);
	alarm_comes_on_time(w, due_ms);
	batches_are_committed(w);
	walk_it(w);
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
	close(fd);
	batches_are_committed(w);
	assert_int_equal(journal_count(w, PW_K_FAULT, "delivery"), 0); /* it has to stand for a minute */
	all_is_there(w);
}

/* -- alerts, all the way ----------------------------------------------------------------------- */

static json_int_t alerts_waiting(struct world *w)
{
	json_t *status = world_status(w);
	json_int_t n = json_integer_value(json_object_get(json_object_get(status, "delivery"),
							  "alerts_waiting"));

	json_decref(status);
	return n;
}

static void until_alerts(struct world *w, json_int_t n)
{
	const int64_t until_ms = now_ms() + PATIENCE_MS;

	while (alerts_waiting(w) != n)
		if (now_ms() > until_ms)
			fail_msg("not %lld alerts", (long long)n);
}

/* R17: the rung that the office is to be told of is out as soon as it sounds, alone; and what it has is
 * told on the bus. `postwalk export` and `verify` take the receipts; a replay leaves them out (J9). */
static void a_rung_that_the_office_hears_of(void **state)
{
	struct world *w = *state;
	struct pw_hand where = hand_new(PW_H_WHERE, 0), alert = hand_new(PW_H_ALERT, 0), h;
	static char text[65536], second[65536];
	const char *tool = getenv("POSTWALK") ? getenv("POSTWALK") : "build/postwalk";
	json_t *status, *delivery;
	int64_t due_ms;
	int fd;

	world_start(w);
	office_enrols(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	fd = hand_open(w);
	hand_ask(fd, &where, NULL, 0);
	world_says(w, "rung office", NULL, due_ms + 4000 + ON_TIME_MS);
	do
		assert_true(hand_hear(fd, PATIENCE_MS, &h, NULL, 0));
	while (h.kind != PW_H_NEWS || h.alerts == 0);
	hand_ask(fd, &alert, text, sizeof(text));
	assert_non_null(strstr(text, "{\\\"name\\\":\\\"office\\\",\\\"at_ms\\\":"));
	assert_non_null(strstr(text, ",\\\"notify\\\":true}\""));
	assert_non_null(strstr(text, "\n{\"end\":{\"records\":1,\"seals\":1}}\n"));
	until_alerts(w, 1);
	assert_true(office_receipts(fd, &where, &alert, true, 1790000000000));
	until_alerts(w, 0);
	alert = hand_new(PW_H_ALERT, 0);
	hand_ask(fd, &alert, second, sizeof(second));
	assert_string_equal(second, "");
	walk_it(w);
	page_settles(w);
	h = hand_new(PW_H_STRETCH, 1);
	hand_ask(fd, &h, text, sizeof(text));
	assert_non_null(strstr(text, "\"kind\":\"receipt\",\"body\":\"{\\\"alert\\\":"));
	assert_true(office_receipts(fd, &where, &h, false, 1790000060000));
	status = world_status(w);
	delivery = json_object_get(status, "delivery");
	assert_string_equal(json_string_value(json_object_get(delivery, "state")), "none");
	assert_int_equal(json_integer_value(json_object_get(delivery, "receipted")), h.seq);
	assert_true(json_is_string(json_object_get(delivery, "receipted_at")));
	assert_true(json_is_string(json_object_get(delivery, "alert_at")));
	json_decref(status);
	close(fd);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	assert_int_equal(journal_count(w, PW_K_RUNG, "office"), 1);
	assert_int_equal(journal_count(w, PW_K_RECEIPT, "\"alert\""), 1);
	assert_int_equal(journal_count(w, PW_K_RECEIPT, "\"seq\""), 1);
	assert_int_equal(shell("'%s' verify '%s' >/dev/null", tool, w->state), 0);
	assert_int_equal(shell("'%s' journal '%s' | grep -q 'the office has all up to seq %llu'", tool,
			       w->state, (unsigned long long)h.seq), 0);
}

/* What the page says of a child that was found, before and after the office has it. */
static void a_child_that_the_office_hears_of(void **state)
{
	struct world *w = *state;
	static struct browser b;
	struct pw_hand where = hand_new(PW_H_WHERE, 0), alert = hand_new(PW_H_ALERT, 0);
	int64_t until_ms;
	int fd;

	memset(&b, 0, sizeof(b));
	b.w = w;
	world_start(w);
	office_enrols(w);
	world_key_off(w);
	assert_int_equal(form(&b, "/found?what=child", "what=child&who=D-12&words="), 303);
	assert_int_equal(browser_look(&b, "/found?what=child_taken"), 200);
	assert_non_null(strstr(b.reply, "It may not have heard yet: make the call."));
	until_alerts(w, 1);
	fd = hand_open(w);
	hand_ask(fd, &where, NULL, 0);
	hand_ask(fd, &alert, NULL, 0);
	assert_true(office_receipts(fd, &where, &alert, true, 1790000000000));
	until_ms = now_ms() + PATIENCE_MS;
	while (strstr(b.reply, "It may not have been read yet: make the call.") == NULL) {
		assert_true(now_ms() < until_ms);
		world_until(w, now_ms() + FRESH_MS);
		assert_int_equal(browser_look(&b, "/found?what=child_taken"), 200);
	}
	assert_null(strstr(b.reply, "It may not have heard yet"));
	assert_int_equal(browser_look(&b, "/"), 200);
	assert_non_null(strstr(b.reply, "It may not have been read yet: make the call."));
	close(fd);
	world_cut(w); /* and after a start, which finds it in the journal */
	world_start_again(w);
	until_ms = now_ms() + PATIENCE_MS;
	do {
		assert_true(now_ms() < until_ms);
		world_until(w, now_ms() + FRESH_MS);
		assert_int_equal(browser_look(&b, "/"), 200);
	} while (strstr(b.reply, "It may not have been read yet: make the call.") == NULL);
	assert_int_equal(world_stop(w), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(a_client_that_stalls),
		world_test(a_client_that_floods),
		world_test(a_rung_that_the_office_hears_of),
		world_test(a_child_that_the_office_hears_of),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
