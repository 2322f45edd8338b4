/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The writer (J7): whatever befalls it, nothing that was kept is lost or written twice, and the
 * watch never waits. Time is told to the watch's side; nothing here sleeps.
 */
#include "record_help.h"

#include "record_watch.h"

/* -- start and stop ---------------------------------------------------------------------------- */

static void the_first_start_finds_nothing(void **state)
{
	struct watch x = start_at(*state, &quick);
	struct pw_kept_state kept = kept_of(&x);

	assert_false(kept.found);
	assert_int_equal(kept.boot, 1);
	assert_int_equal(kept.recent_count, 0);
	assert_string_equal(kept.policy_hash, "");
	assert_int_equal(pw_writer_seq(x.w), 0);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
}

/* R20: the state and the last sweeps come back. */
static void the_next_start_finds_what_was_kept(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct pw_note policy = { .version = PW_NOTE_VERSION, .kind = PW_K_POLICY,
				  .of.policy = { .length = 3, .text = "abc" } };
	struct pw_kept_state kept;
	char boot_id[64];

	pw_writer_note(x.w, &policy);
	for (int i = 0; i < 13; i++) {
		struct pw_note n = walked(i * 100000);

		pw_writer_note(x.w, &n);
	}
	x.now_ms = 5000;
	note_and_keep(&x, 2, PW_OVERDUE);
	stop(&x);
	x = start_at(f, &quick);
	kept = kept_of(&x);
	assert_true(kept.found);
	assert_int_equal(kept.boot, 2);
	assert_int_equal(kept.state.phase, PW_OVERDUE);
	assert_int_equal(kept.state.key_on_ms, 2);
	assert_int_equal(kept.mono_ms, 5000);
	assert_int_equal(kept.wall_ms, 1790000005000);
	ask(boot_id, sizeof(boot_id), "cat /proc/sys/kernel/random/boot_id");
	assert_string_equal(kept.boot_id, boot_id);
	assert_int_equal(kept.recent_count, PW_RECENT_MAX);
	for (int i = 0; i < PW_RECENT_MAX; i++) {
		assert_int_equal(kept.recent[i].wall_ms, 1790000045000 + (12 - i) * 100000);
		assert_int_equal(kept.recent[i].t0_ago_ms, 45000);
		assert_int_equal(kept.recent[i].walk_ms, 30000);
		assert_int_equal(kept.recent[i].verdict, PW_DONE);
	}
	/* FIPS 180-4, "abc" */
	assert_string_equal(kept.policy_hash,
			    "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
	while (pw_writer_seq(x.w) == 0) /* the journal is judged after that was told (J6) */
		turn(&x);
	assert_int_equal(pw_writer_seq(x.w), 16);
	stop(&x);
}

/* J12: the later of the two, of the same start; never earlier than the last commit. */
static void last_alive_is_the_later_of_stamp_and_state(void **state)
{
	static const struct {
		int line;
		uint64_t boot;
		const char *boot_id;
		int64_t stamp_ms, expected_ms;
	} cases[] = {
		{ __LINE__, 1, NULL, 9000, 9000 },
		{ __LINE__, 1, NULL, 4000, 5000 },
		{ __LINE__, 2, NULL, 9000, 5000 },
		{ __LINE__, 1, "another", 9000, 5000 },
		{ __LINE__, 0, NULL, 0, 5000 }, /* torn */
	};
	struct folder *f = *state;

	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct pw_stamp s = { cases[i].boot, cases[i].stamp_ms, 1790000999000, "" };
		struct watch x;
		int fd;

		assert_int_equal(run("rm -f '%s'/*", f->path), 0);
		x = start_at(f, &quick);
		x.now_ms = 5000;
		note_and_keep(&x, 1, PW_OWED);
		settle(&x);
		stop(&x);
		ask(s.boot_id, sizeof(s.boot_id), "cat /proc/sys/kernel/random/boot_id");
		if (cases[i].boot_id != NULL)
			strcpy(s.boot_id, cases[i].boot_id);
		fd = pw_stamp_open(f->path, true);
		assert_int_equal(pw_stamp_write(fd, &s), 0);
		if (cases[i].boot == 0)
			assert_int_equal(ftruncate(fd, 100), 0);
		close(fd);
		x = start_at(f, &quick);
		if (kept_of(&x).mono_ms != cases[i].expected_ms)
			fail_msg("line %d: %" PRId64, cases[i].line, kept_of(&x).mono_ms);
		assert_int_equal(kept_of(&x).wall_ms, cases[i].expected_ms == 9000
							      ? 1790000999000 : 1790000005000);
		stop(&x);
	}
}

/* Notes that no state was kept for stay; the ones before go. */
static void a_note_without_a_state_waits(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct pw_note n = numbered(3);

	note_and_keep(&x, 2, PW_PARKED);
	pw_writer_note(x.w, &n);
	pw_writer_tend(x.w, x.now_ms);
	while (pw_writer_waiting(x.w) > 1)
		turn(&x);
	assert_int_equal(pw_writer_seq(x.w), 2);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_numbers(f, 1, 2, 0);
}

static void a_state_alone_is_kept(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	note_and_keep(&x, 0, PW_DRIVING);
	while (pw_writer_next_ms(x.w) != PW_NEVER)
		turn(&x);
	stop(&x);
	x = start_at(f, &quick);
	assert_int_equal(kept_of(&x).state.phase, PW_DRIVING);
	stop(&x);
}

/* A body that is too long as JSON, and a note that is none: told in their place. */
static void what_cannot_be_a_record_is_told_as_lost(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct pw_note n = { .version = PW_NOTE_VERSION, .kind = PW_K_POLICY,
			     .of.policy.length = PW_POLICY_TEXT_MAX };
	char answer[64];

	memset(n.of.policy.text, '\n', sizeof(n.of.policy.text));
	pw_writer_note(x.w, &n);
	n.kind = PW_K_PRUNE;
	pw_writer_note(x.w, &n);
	note_and_keep(&x, 1, PW_PARKED);
	stop(&x);
	ask(answer, sizeof(answer),
	    "sqlite3 '%s' \"SELECT group_concat(kind || body) FROM record\"", in(f, "journal.db"));
	assert_string_equal(answer, "lost{\"count\":1},lost{\"count\":1},excused{\"at_ms\":1}");
}

/* -- the process ------------------------------------------------------------------------------- */

static void the_writer_holds_nothing_of_the_watch(void **state)
{
	struct folder *f = *state;
	char answer[256];
	struct watch x;
	int pair[2];

	assert_int_equal(pipe(pair), 0);
	assert_int_equal(fcntl(pair[0], F_DUPFD, 100), 100);
	x = start_at(f, &quick);
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	ask(answer, sizeof(answer), "ls -l /proc/%d/fd | grep -c -e 'pipe:' -e '/10[0-9]'",
	    (int)pw_writer_pid(x.w));
	close(100);
	close(pair[0]);
	close(pair[1]);
	/* standard error may be a pipe of ours: where a word of the last moment goes */
	assert_true(strcmp(answer, "0") == 0 || strcmp(answer, "1") == 0);
	ask(answer, sizeof(answer), "cat /proc/%d/comm", (int)pw_writer_pid(x.w));
	assert_string_equal(answer, "postwalk-writer");
	stop(&x);
}

/* Signals that a terminal or a service manager gives to all: the watch decides when to end. */
static void signals_to_all_do_not_end_the_writer(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	pid_t pid;

	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	pid = pw_writer_pid(x.w);
	kill(pid, SIGINT);
	kill(pid, SIGTERM);
	kill(pid, SIGHUP);
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	assert_int_equal(pw_writer_pid(x.w), pid);
	stop(&x);
	assert_numbers(f, 1, 2, 0);
}

/* The watch killed: what it had handed over is written all the same, and the next writer waits
 * for that end (J1: one connection). */
static void the_watch_killed(void **state)
{
	struct folder *f = *state;
	struct watch x;
	pid_t pid;
	int status;

	for (int round = 0; round < 10; round++) {
		pid = fork();
		assert_true(pid >= 0);
		if (pid == 0) {
			watch = getpid();
			x = start_at(f, &quick);
			x.noted = round * 20;
			kept_of(&x);
			for (int i = 0; i < 4; i++) {
				note_and_keep(&x, 5, PW_OWED);
				pw_writer_tend(x.w, x.now_ms);
				if (i < 3)
					settle(&x);
			}
			if (round % 2)
				kill(pw_writer_pid(x.w), SIGSTOP);
			kill(getpid(), SIGKILL);
		}
		waitpid(pid, &status, 0);
		assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
	}
	x = start_at(f, &quick);
	assert_int_equal(kept_of(&x).boot, 11);
	assert_int_equal(kept_of(&x).state.key_on_ms, 200);
	stop(&x);
	assert_numbers(f, 1, 200, 0);
}

/* kill -9, between batches and in the midst of them. */
static void the_writer_killed_again_and_again(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	unsigned seed = 7;

	print_message("seed %u\n", seed);
	kept_of(&x);
	for (int round = 0; round < 300; round++) {
		note_and_keep(&x, rand_r(&seed) % 9, PW_PARKED);
		pw_writer_tend(x.w, x.now_ms);
		for (int spin = rand_r(&seed) % 400; spin > 0; spin--)
			sched_yield();
		if (pw_writer_pid(x.w) > 0)
			kill(pw_writer_pid(x.w), SIGKILL);
		if (rand_r(&seed) % 4 == 0)
			note_and_keep(&x, rand_r(&seed) % 3, PW_PARKED);
		x.now_ms += 1001;
		for (int i = rand_r(&seed) % 4; i > 0 && pw_writer_waiting(x.w) > 0; i--)
			turn(&x);
	}
	stop(&x);
	assert_numbers(f, 1, x.noted, 0);
}

static void a_dead_writer_is_told_and_started_once_a_second(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	int fd, status;
	pid_t pid;

	kept_of(&x);
	fd = pw_writer_fd(x.w);
	pid = pw_writer_pid(x.w);
	kill(pid, SIGKILL);
	while (pw_writer_pid(x.w) == pid) {
		turn(&x);
		/* whoever polls it sees that it is another one: a number anew, or none between */
		assert_true(pw_writer_fd(x.w) != fd || pw_writer_pid(x.w) == pid);
		fd = pw_writer_fd(x.w);
	}
	assert_true(pw_writer_pid(x.w) > 0); /* the first time at once */
	assert_null(pw_writer_fault(x.w));
	kill(pw_writer_pid(x.w), SIGKILL);
	waitid(P_PID, (id_t)pw_writer_pid(x.w), &(siginfo_t){ 0 }, WEXITED | WNOWAIT);
	x.now_ms += 999;
	assert_true(pw_writer_tend(x.w, x.now_ms));
	assert_int_equal(pw_writer_pid(x.w), 0);
	assert_int_equal(pw_writer_fd(x.w), -1);
	assert_string_equal(pw_writer_fault(x.w),
			    "records are not reaching the disk: the writer was ended by signal 9");
	assert_int_equal(pw_writer_next_ms(x.w), x.now_ms + 1);
	note_and_keep(&x, 1, PW_PARKED);
	x.now_ms += 1;
	pw_writer_tend(x.w, x.now_ms);
	assert_true(pw_writer_pid(x.w) > 0);
	/* somebody else may have reaped it */
	kill(pw_writer_pid(x.w), SIGKILL);
	waitpid(pw_writer_pid(x.w), &status, 0);
	x.now_ms += 1000;
	pw_writer_tend(x.w, x.now_ms);
	settle(&x);
	until_well(&x);
	assert_int_equal(kept_of(&x).boot, 1);
	stop(&x);
	assert_numbers(f, 1, 1, 0);
}

/* -- a writer or a disk that stands still ------------------------------------------------------ */

/* J7: the watch goes on; the newest 4096 are kept; the rest is counted and told in front. */
static void a_stopped_writer(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	char answer[128], expected[128];
	const int64_t stopped_ms = 50000;

	note_and_keep(&x, 10, PW_PARKED);
	settle(&x);
	kill(pw_writer_pid(x.w), SIGSTOP);
	x.now_ms = stopped_ms;
	note_and_keep(&x, 1, PW_OWED); /* 11: on its way */
	assert_false(pw_writer_tend(x.w, x.now_ms));
	assert_int_equal(pw_writer_next_ms(x.w), stopped_ms + 2001);
	for (; x.noted < 10000; x.now_ms = stopped_ms + x.noted / 10) {
		note_and_keep(&x, 1, PW_OVERDUE);
		assert_false(pw_writer_tend(x.w, x.now_ms));
	}
	assert_int_equal(pw_writer_waiting(x.w), 1 + PW_WAITING_MAX);
	assert_false(pw_writer_tend(x.w, stopped_ms + 2000));
	assert_null(pw_writer_fault(x.w));
	assert_true(pw_writer_tend(x.w, stopped_ms + 2001));
	assert_string_equal(pw_writer_fault(x.w),
			    "records are not reaching the disk: the disk or the writer has not "
			    "answered for more than 2 s");
	assert_int_equal(pw_writer_next_ms(x.w), PW_NEVER);
	kill(pw_writer_pid(x.w), SIGCONT);
	x.now_ms = stopped_ms + 3000;
	settle(&x);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	/* 11 before, then `lost`, then the newest 4096 */
	assert_int_equal(assert_chain(f), 11 + 1 + PW_WAITING_MAX);
	ask(answer, sizeof(answer),
	    "sqlite3 '%s' \"SELECT (SELECT body FROM record WHERE seq = 12 AND kind = 'lost'),"
	    " min(json_extract(body, '$.at_ms')), count(*) FROM record WHERE seq > 12\"",
	    in(f, "journal.db"));
	snprintf(expected, sizeof(expected), "{\"count\":%d}|%d|%d", 10000 - 11 - PW_WAITING_MAX,
		 10000 - PW_WAITING_MAX + 1, PW_WAITING_MAX);
	assert_string_equal(answer, expected);
	x = start_at(f, &quick);
	assert_int_equal(kept_of(&x).state.key_on_ms, 10000);
	stop(&x);
}

/* More than the socket takes goes as it can be taken. */
static void a_long_batch_goes_in_pieces(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	kill(pw_writer_pid(x.w), SIGSTOP);
	note_and_keep(&x, PW_WAITING_MAX, PW_PARKED);
	pw_writer_tend(x.w, x.now_ms);
	assert_true(pw_writer_wants_out(x.w));
	kill(pw_writer_pid(x.w), SIGCONT);
	settle(&x);
	assert_false(pw_writer_wants_out(x.w));
	stop(&x);
	assert_numbers(f, 1, PW_WAITING_MAX + 1, 0);
}

/* Nor does the end wait for longer than it was told. */
static void a_stopped_writer_at_the_end(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	pid_t pid;

	kept_of(&x);
	pid = pw_writer_pid(x.w);
	kill(pid, SIGSTOP);
	note_and_keep(&x, 1, PW_PARKED);
	pw_writer_stop(x.w, 10);
	assert_int_equal(kill(pid, 0), -1);
	assert_int_equal(assert_chain(f), 0);
}

/* -- memory ------------------------------------------------------------------------------------ */

static void the_room_for_waiting_notes_is_bounded(void **state)
{
	struct pw_note n = { .version = PW_NOTE_VERSION, .kind = PW_K_POLICY };
	struct pw_waiting q, other;
	uint64_t position = 0, total = 0;
	const struct pw_note *given;
	uint32_t expected, before;
	unsigned seed = 3;

	(void)state;
	assert_int_equal(pw_waiting_init(&q), 0);
	assert_int_equal(pw_waiting_init(&other), 0);
	for (int i = 0; i < 30000; i++) {
		n.of.policy.length = (uint32_t)(rand_r(&seed) % PW_POLICY_TEXT_MAX);
		memset(n.of.policy.text, 'a' + i % 26, n.of.policy.length);
		n.mono_ms = i;
		pw_waiting_add(&q, &n, pw_note_size(&n));
		if (i % 7 == 0)
			pw_waiting_keep(&q);
		assert_true(q.end - q.first <= q.size);
	}
	assert_int_equal(q.count + q.dropped, 30000);
	expected = q.dropped;
	before = q.kept_count;
	while ((given = pw_waiting_at(&q, &position)) != NULL) {
		assert_int_equal(given->mono_ms, expected);
		for (uint32_t k = 0; k < given->of.policy.length; k++)
			assert_int_equal(given->of.policy.text[k], 'a' + (int)(expected % 26));
		expected++;
		total++;
	}
	assert_int_equal(total, before);
	pw_waiting_move_open(&q, &other);
	assert_int_equal(other.count + before, 30000 - q.dropped);
	assert_int_equal(q.count, before);
	pw_waiting_keep(&other);
	for (position = 0; (given = pw_waiting_at(&other, &position)) != NULL; expected++)
		assert_int_equal(given->mono_ms, expected);
	assert_int_equal(expected, 30000);
	pw_waiting_fini(&q);
	pw_waiting_fini(&other);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(the_first_start_finds_nothing),
		IN_FOLDER(the_next_start_finds_what_was_kept),
		IN_FOLDER(last_alive_is_the_later_of_stamp_and_state),
		IN_FOLDER(a_note_without_a_state_waits),
		IN_FOLDER(a_state_alone_is_kept),
		IN_FOLDER(what_cannot_be_a_record_is_told_as_lost),
		IN_FOLDER(the_writer_holds_nothing_of_the_watch),
		IN_FOLDER(signals_to_all_do_not_end_the_writer),
		IN_FOLDER(the_watch_killed),
		IN_FOLDER(the_writer_killed_again_and_again),
		IN_FOLDER(a_dead_writer_is_told_and_started_once_a_second),
		IN_FOLDER(a_stopped_writer),
		IN_FOLDER(a_long_batch_goes_in_pieces),
		IN_FOLDER(a_stopped_writer_at_the_end),
		cmocka_unit_test(the_room_for_waiting_notes_is_bounded),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
