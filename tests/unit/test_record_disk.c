/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The writer on a disk that fails (J7), with a journal that cannot be gone on with, and the alive
 * stamp (J12).
 */
#include "record_help.h"

#include <sys/inotify.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include "record_watch.h"

/* -- a disk that fails ------------------------------------------------------------------------- */

/* Three batches over a disk whose n-th write or sync fails. True when it came to that. */
static bool a_day_on(const struct folder *f, int n, bool for_good, int error)
{
	struct watch x;
	bool failed;

	disk_tell(n, for_good, error);
	x = start_at(f, &quick);
	for (int i = 0; i < 3; i++) {
		note_and_keep(&x, 2, PW_PARKED);
		pw_writer_tend(x.w, x.now_ms);
		if (!for_good)
			settle(&x);
		else
			while (pw_writer_waiting(x.w) > 0 && pw_writer_fault(x.w) == NULL)
				turn(&x);
	}
	failed = atomic_load(&disk->failed) > 0;
	if (for_good && failed) {
		until_fault(&x, strerror(error));
		assert_true(pw_writer_waiting(x.w) > 0);
		assert_non_null(strstr(pw_writer_fault(x.w), f->path));
		disk_tell(0, false, 0);
	}
	until_well(&x);
	disk_tell(0, false, 0);
	stop(&x);
	assert_numbers(f, 1, 6, 0);
	assert_false(exists(f, "journal.db.damaged-1"));
	return failed;
}

/* J7: fail the n-th, for n = 1, 2, ... until a run is clean. */
static void every_write_fails_in_turn(void **state)
{
	static const struct {
		int error;
		bool for_good;
	} ways[] = { { ENOSPC, false }, { ENOSPC, true }, { EIO, false }, { EIO, true } };
	int n;

	(void)state;
	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		bool failed = true;

		for (n = 1; failed; n++) {
			struct folder f;

			folder_make(&f);
			failed = a_day_on(&f, n, ways[i].for_good, ways[i].error);
			folder_remove(&f);
		}
		print_message("%s %s: %d writes and syncs\n", strerror(ways[i].error),
			      ways[i].for_good ? "for good" : "once", n - 2);
		assert_true(n > 10);
	}
}

/* A file that may not grow any more (setrlimit(2), RLIMIT_FSIZE): write(2) itself refuses. */
static void a_file_that_may_not_grow(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct rlimit limit;

	note_and_keep(&x, 5, PW_PARKED);
	settle(&x);
	assert_int_equal(prlimit(pw_writer_pid(x.w), RLIMIT_FSIZE, NULL, &limit), 0);
	assert_int_equal(prlimit(pw_writer_pid(x.w), RLIMIT_FSIZE,
				 &(struct rlimit){ 40000, limit.rlim_max }, NULL), 0);
	while (pw_writer_fault(x.w) == NULL) {
		note_and_keep(&x, 20, PW_PARKED);
		pw_writer_tend(x.w, x.now_ms);
		while (pw_writer_waiting(x.w) > 0 && pw_writer_fault(x.w) == NULL)
			turn(&x);
	}
	if (strstr(pw_writer_fault(x.w), "File too large") == NULL)
		fail_msg("%s", pw_writer_fault(x.w));
	assert_int_equal(prlimit(pw_writer_pid(x.w), RLIMIT_FSIZE, &limit, NULL), 0);
	until_well(&x);
	stop(&x);
	assert_numbers(f, 1, x.noted, 0);
}

/* A file system of our own that is full, where this user may mount one. */
static bool mount_small(const struct folder *f)
{
	return mount("tmpfs", f->path, "tmpfs", 0, "size=192k") == 0;
}

static void a_full_disk(void **state)
{
	struct folder *f = *state;
	char fill[128];
	struct watch x;

	if (!mount_small(f)) {
		/* the same by the disk of this test; a file that may not grow is tried for real */
		print_message("no mount(2) here: ENOSPC is made\n");
		disk_tell(40, true, ENOSPC);
	}
	snprintf(fill, sizeof(fill), "%s", in(f, "fill"));
	x = start_at(f, &quick);
	note_and_keep(&x, 5, PW_PARKED);
	settle(&x);
	if (atomic_load(&disk->fail_at) == 0)
		run("cat /dev/zero > '%s' 2> /dev/null", fill);
	while (pw_writer_fault(x.w) == NULL) {
		note_and_keep(&x, 20, PW_PARKED);
		pw_writer_tend(x.w, x.now_ms);
		while (pw_writer_waiting(x.w) > 0 && pw_writer_fault(x.w) == NULL)
			turn(&x);
	}
	assert_non_null(strstr(pw_writer_fault(x.w), "records are not reaching the disk"));
	assert_non_null(strstr(pw_writer_fault(x.w), "No space left on device"));
	unlink(fill);
	disk_tell(0, false, 0);
	until_well(&x);
	settle(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_numbers(f, 1, x.noted, 0);
	umount(f->path);
}

/* In a process of its own that has no more rights than anybody. */
static void a_folder_that_cannot_be_written(void **state)
{
	struct folder *f = *state;
	struct watch x;
	int status;
	pid_t pid;

	assert_int_equal(chmod(f->path, 0555), 0);
	pid = fork();
	if (pid == 0) {
		watch = getpid();
		if (getuid() == 0 && (setgid(65534) < 0 || setuid(65534) < 0))
			_exit(1);
		x = start_at(f, &quick);
		if (pw_writer_kept(x.w, PATIENCE_MS, &(struct pw_kept_state){ 0 }) != -1)
			_exit(2);
		note_and_keep(&x, 3, PW_OWED);
		pw_writer_tend(x.w, x.now_ms);
		if (pw_writer_fault(x.w) == NULL || pw_writer_waiting(x.w) != 3)
			_exit(3);
		if (strstr(pw_writer_fault(x.w), "Permission denied") == NULL
		    || strstr(pw_writer_fault(x.w), f->path) == NULL)
			_exit(4);
		pw_writer_stop(x.w, 0);
		_exit(0);
	}
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_true(WIFEXITED(status));
	assert_int_equal(WEXITSTATUS(status), 0);
	assert_int_equal(chmod(f->path, 0755), 0);
}

static void a_folder_that_is_not_there_yet(void **state)
{
	struct folder *f = *state;
	struct folder inner;
	struct watch x;

	snprintf(inner.path, sizeof(inner.path), "%.50s/state", f->path);
	x = start_at(&inner, &quick);
	note_and_keep(&x, 3, PW_PARKED);
	until_fault(&x, "No such file or directory");
	assert_int_equal(pw_writer_kept(x.w, 0, &(struct pw_kept_state){ 0 }), -1);
	assert_int_equal(mkdir(inner.path, 0755), 0);
	until_well(&x);
	stop(&x);
	assert_numbers(&inner, 1, 3, 0);
}

/* -- a journal that cannot be gone on with ----------------------------------------------------- */

static void a_damaged_journal_is_put_aside(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	char before[80], after[80];

	note_and_keep(&x, 3, PW_OWED);
	stop(&x);
	assert_int_equal(run("sqlite3 '%s' 'DROP TRIGGER record_no_update;"
			     " UPDATE record SET mono_ms = 7 WHERE seq = 2'",
			     in(f, "journal.db")), 0);
	ask(before, sizeof(before), "sha256sum < '%s'", in(f, "journal.db"));
	x = start_at(f, &quick);
	assert_int_equal(kept_of(&x).state.phase, PW_OWED); /* what was owed is owed all the same */
	until_fault(&x, "a new journal was begun: ");
	note_and_keep(&x, 2, PW_PARKED);
	settle(&x);
	assert_non_null(strstr(pw_writer_fault(x.w), "seq 2: its hash is not that of its text"));
	assert_non_null(strstr(pw_writer_fault(x.w), "the old one is journal.db.damaged-1"));
	ask(after, sizeof(after), "sha256sum < '%s'", in(f, "journal.db.damaged-1"));
	assert_string_equal(before, after);
	/* until the next start, whatever becomes of the process */
	kill(pw_writer_pid(x.w), SIGKILL);
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	assert_non_null(strstr(pw_writer_fault(x.w), "journal.db.damaged-1"));
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_numbers(f, 1, 3, 1);
	x = start_at(f, &quick);
	assert_true(kept_of(&x).found);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
}

/* The file taken away from under a live writer by somebody: seen, told, and gone on from. */
static void a_journal_spoilt_while_it_is_open(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	note_and_keep(&x, 2000, PW_PARKED);
	settle(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	x = start_at(f, &quick);
	kept_of(&x);
	assert_int_equal(run("dd if=/dev/zero of='%s' bs=4096 seek=1 count=200 conv=notrunc"
			     " 2> /dev/null", in(f, "journal.db")), 0);
	kill(pw_writer_pid(x.w), SIGKILL); /* what it had in memory is gone */
	note_and_keep(&x, 4, PW_PARKED);
	settle(&x);
	assert_non_null(strstr(pw_writer_fault(x.w), "damaged-1"));
	assert_true(exists(f, "journal.db.damaged-1"));
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_int_equal(assert_chain(f), 5);
}

static void a_state_that_cannot_be_read_is_told(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	note_and_keep(&x, 3, PW_OWED);
	stop(&x);
	assert_int_equal(run("sqlite3 '%s' \"UPDATE kept SET state = '{}'\"",
			     in(f, "journal.db")), 0);
	x = start_at(f, &quick);
	assert_false(kept_of(&x).found);
	assert_int_equal(kept_of(&x).boot, 2);
	until_fault(&x, "the kept state is not signed by the bus's key");
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_true(exists(f, "journal.db.damaged-1"));
	assert_numbers(f, 1, 1, 1); /* the new epoch's first, and it */
}

/* -- the alive stamp --------------------------------------------------------------------------- */

/* Waits for a stamp of after that moment. */
static void wait_for_stamp(const struct folder *f, int64_t after_ms, struct pw_stamp *s)
{
	int events = inotify_init1(IN_CLOEXEC), fd;
	struct pollfd one = { .fd = events, .events = POLLIN };
	char buffer[4096];
	bool found;

	assert_true(inotify_add_watch(events, f->path, IN_MODIFY | IN_CREATE) >= 0);
	for (;;) {
		fd = pw_stamp_open(f->path, false);
		found = fd >= 0 && pw_stamp_read(fd, s) == 0 && s->mono_ms > after_ms;
		if (fd >= 0)
			close(fd);
		if (found)
			break;
		assert_int_equal(poll(&one, 1, PATIENCE_MS), 1);
		assert_true(read(events, buffer, sizeof(buffer)) > 0);
	}
	close(events);
}

static void until_asleep_for(int timeout_ms)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	while (atomic_load(&disk->timeout) != timeout_ms) {
		assert_true(real_ms() < deadline_ms);
		sched_yield();
	}
}

/* J12. */
static void a_stamp_while_not_parked(void **state)
{
	static const struct pw_pace stamping = { .retry_ms = 1, .stamp_ms = 2 };
	struct folder *f = *state;
	struct watch x = start_at(f, &stamping);
	struct pw_stamp one, other;
	struct pw_kept_state kept;
	struct timespec t;
	pid_t pid;

	kept_of(&x);
	until_asleep_for(-1); /* nothing has been kept yet */
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	until_asleep_for(-1);
	assert_false(exists(f, "alive"));
	note_and_keep(&x, 1, PW_DRIVING);
	settle(&x);
	wait_for_stamp(f, 0, &one);
	assert_int_equal(one.boot, 1);
	clock_gettime(CLOCK_BOOTTIME, &t);
	assert_in_range((uint64_t)one.mono_ms, 1, (uint64_t)t.tv_sec * 1000 + 999);
	wait_for_stamp(f, one.mono_ms, &other);
	/* a writer that takes over goes on with it */
	assert_int_equal(unlink(in(f, "alive")), 0);
	pid = pw_writer_pid(x.w);
	kill(pid, SIGKILL);
	while (pw_writer_pid(x.w) == pid || pw_writer_pid(x.w) == 0)
		turn(&x);
	wait_for_stamp(f, other.mono_ms, &other);
	assert_int_equal(other.boot, 1);
	note_and_keep(&x, 1, PW_PARKED);
	settle(&x);
	until_asleep_for(-1);
	stop(&x);
	x = start_at(f, &stamping);
	kept = kept_of(&x);
	assert_true(kept.mono_ms >= other.mono_ms);
	stop(&x);
}

static void a_stamp_that_cannot_be_written_is_told(void **state)
{
	static const struct pw_pace stamping = { .retry_ms = 1, .stamp_ms = 2 };
	struct folder *f = *state;
	struct watch x;

	assert_int_equal(mkdir(in(f, "alive"), 0755), 0);
	x = start_at(f, &stamping);
	note_and_keep(&x, 2, PW_DRIVING);
	until_fault(&x, "the alive stamp is not reaching the disk: ");
	assert_int_equal(rmdir(in(f, "alive")), 0);
	until_well(&x);
	stop(&x);
	assert_numbers(f, 1, 2, 0);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_write_fails_in_turn),
		IN_FOLDER(a_file_that_may_not_grow),
		IN_FOLDER(a_full_disk),
		IN_FOLDER(a_folder_that_cannot_be_written),
		IN_FOLDER(a_folder_that_is_not_there_yet),
		IN_FOLDER(a_damaged_journal_is_put_aside),
		IN_FOLDER(a_journal_spoilt_while_it_is_open),
		IN_FOLDER(a_state_that_cannot_be_read_is_told),
		IN_FOLDER(a_stamp_while_not_parked),
		IN_FOLDER(a_stamp_that_cannot_be_written_is_told),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
