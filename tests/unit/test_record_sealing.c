/* SPDX-License-Identifier: Apache-2.0 */
/* When the writer seals (J4): by what happened, never by the clock; and what that costs. */
#include "record_help.h"

#include <sys/inotify.h>

#include "record_watch.h"

static void assert_seals_at(const struct folder *f, const char *expected, int line)
{
	char answer[512];

	ask(answer, sizeof(answer), "sqlite3 -readonly '%s' 'SELECT group_concat(seq) FROM seal'",
	    in(f, "journal.db"));
	if (strcmp(answer, expected) != 0)
		fail_msg("line %d: sealed are \"%s\", not \"%s\"", line, answer, expected);
}

#define SEALS(f, expected) assert_seals_at(f, expected, __LINE__)

/* -- by what happened -------------------------------------------------------------------------- */

static void what_is_sealed(void **state)
{
	static const struct {
		int line;
		enum pw_phase before, after;
		enum pw_kind kind;
		bool sealed;
	} cases[] = {
		{ __LINE__, PW_WALK_BACK, PW_PARKED, PW_K_SWEEP, true },
		{ __LINE__, PW_OWED, PW_DRIVING, PW_K_SWEEP, true },
		{ __LINE__, PW_OWED, PW_DRIVING, PW_K_RESTART, true },
		{ __LINE__, PW_DRIVING, PW_PARKED, PW_K_EXCUSED, true },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_SWEEP, true },
		/* key-off */
		{ __LINE__, PW_DRIVING, PW_OWED, PW_K_RUNG, true },
		{ __LINE__, PW_DRIVING, PW_OVERDUE, PW_K_FAULT, true },
		{ __LINE__, PW_DRIVING, PW_WALK_BACK, PW_K_EDGES, true },
		/* nothing of the kind */
		{ __LINE__, PW_PARKED, PW_DRIVING, PW_K_EDGES, false },
		{ __LINE__, PW_DRIVING, PW_DRIVING, PW_K_EDGES, false },
		{ __LINE__, PW_OWED, PW_OVERDUE, PW_K_RUNG, false },
		{ __LINE__, PW_OVERDUE, PW_WALK_BACK, PW_K_RUNG, false },
		{ __LINE__, PW_OWED, PW_DRIVING, PW_K_RUNG, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_BOOT, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_LEVEL, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_FAULT, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_SERVICE, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_CLOCK, false },
		{ __LINE__, PW_PARKED, PW_PARKED, PW_K_LOST, false },
	};
	struct folder *f = *state;

	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct watch x = start_at(f, &quick);

		batch(&x, PW_K_RUNG, 2, cases[i].before);
		assert_seals_at(f, "", cases[i].line);
		batch(&x, cases[i].kind, 1, cases[i].after);
		assert_seals_at(f, cases[i].sealed ? "3" : "", cases[i].line);
		pw_writer_stop(x.w, PATIENCE_MS);
		assert_int_equal(run("rm '%s'/*", f->path), 0);
	}
}

/* One seal a batch, over its last record: the sweep and what came with it. */
static void the_seal_is_over_the_last_of_the_batch(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	const struct pw_note sweep = plain(PW_K_SWEEP), rung = plain(PW_K_RUNG);

	pw_writer_note(x.w, &sweep);
	pw_writer_note(x.w, &sweep);
	batch(&x, PW_K_RUNG, 3, PW_PARKED);
	SEALS(f, "5");
	pw_writer_note(x.w, &rung);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	SEALS(f, "5,7");
	stop(&x);
	SEALS(f, "5,7");
}

/* A state without a record: what stands there is sealed, once. */
static void a_key_off_without_a_record(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	batch(&x, PW_K_RUNG, 2, PW_DRIVING);
	batch(&x, PW_K_RUNG, 0, PW_OWED);
	SEALS(f, "2");
	batch(&x, PW_K_RUNG, 0, PW_DRIVING);
	batch(&x, PW_K_RUNG, 0, PW_OWED);
	SEALS(f, "2");
	stop(&x);
}

static void an_orderly_stop_seals(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	char flaw[64];

	stop(&x);
	SEALS(f, ""); /* there is no record yet */
	x = start_at(f, &quick);
	batch(&x, PW_K_RUNG, 3, PW_DRIVING);
	stop(&x);
	SEALS(f, "3");
	x = start_at(f, &quick);
	kept_of(&x);
	stop(&x);
	SEALS(f, "3"); /* nothing new */
	x = start_at(f, &quick);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	kill(pw_writer_pid(x.w), SIGKILL); /* no orderly stop */
	pw_writer_stop(x.w, 0);
	SEALS(f, "3");
	ask(flaw, sizeof(flaw), "sqlite3 '%s' 'SELECT ended, seq FROM kept'", in(f, "journal.db"));
	assert_string_equal(flaw, "0|4");
}

/* -- every 256 records ------------------------------------------------------------------------- */

static void every_256_records_inside_one_batch(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	batch(&x, PW_K_RUNG, PW_WAITING_MAX, PW_DRIVING);
	SEALS(f, "256,512,768,1024,1280,1536,1792,2048,2304,2560,2816,3072,3328,3584,3840,4096");
	batch(&x, PW_K_RUNG, 255, PW_DRIVING);
	assert_int_equal(run("test $(sqlite3 -readonly '%s' 'SELECT max(seq) FROM seal') = 4096",
			     in(f, "journal.db")), 0);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	assert_int_equal(run("test $(sqlite3 -readonly '%s' 'SELECT max(seq) FROM seal') = 4352",
			     in(f, "journal.db")), 0);
	stop(&x);
}

/* Counted from the last seal, over batches and starts. */
static void the_256_are_counted_from_the_last_seal(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	batch(&x, PW_K_SWEEP, 10, PW_PARKED);
	for (int i = 0; i < 5; i++) {
		batch(&x, PW_K_RUNG, 50, PW_DRIVING);
		SEALS(f, "10");
		kill(pw_writer_pid(x.w), SIGKILL);
		if (i == 2) {
			pw_writer_stop(x.w, 0);
			x = start_at(f, &quick);
		}
		x.now_ms += 1001;
	}
	batch(&x, PW_K_RUNG, 50, PW_DRIVING);
	SEALS(f, "10,266");
	pw_writer_stop(x.w, PATIENCE_MS);
}

/* -- whatever befalls the writer between ------------------------------------------------------- */

/* The phase before is the one that was kept, whoever kept it. */
static void a_key_off_is_seen_across_starts(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	kill(pw_writer_pid(x.w), SIGKILL);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	SEALS(f, "2");
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	kill(pw_writer_pid(x.w), SIGKILL);
	pw_writer_stop(x.w, 0);
	x = start_at(f, &quick);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	SEALS(f, "2,4");
	stop(&x);
}

/* J7: a commit that fails at any of its writes is tried again, seal and all. */
static void a_commit_that_failed_is_sealed_when_it_comes_again(void **state)
{
	struct folder *f = *state;

	for (int n = 1; n <= 8; n++) {
		struct watch x = start_at(f, &quick);
		struct pw_seal_file s[2];
		unsigned broken;
		bool failed;

		batch(&x, PW_K_RUNG, 2, PW_DRIVING);
		disk_tell(n, false, EIO);
		batch(&x, PW_K_RUNG, 1, PW_OWED);
		failed = atomic_load(&disk->failed) > 0;
		disk_tell(0, false, 0);
		until_well(&x);
		assert_seals_at(f, "3", n);
		stop(&x);
		assert_int_equal(pw_seal_files_read(f->path, s, &broken), 1);
		assert_int_equal(s[0].seal.seq, 3);
		assert_true(failed || n > 3);
		assert_int_equal(run("rm '%s'/*", f->path), 0);
	}
}

/* J7: a seal file that cannot be written keeps no record from the disk. */
static void a_seal_file_that_cannot_be_written(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct pw_seal_file s[2];
	unsigned broken;

	assert_int_equal(run("mkdir '%s' '%s'", in(f, "seal.a.new"), in(f, "seal.b.new")), 0);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	until_fault(&x, "the seal file is not reaching the disk: ");
	assert_non_null(strstr(pw_writer_fault(x.w), f->path));
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	SEALS(f, "1");
	assert_non_null(pw_writer_fault(x.w));
	assert_int_equal(run("rmdir '%s' '%s'", in(f, "seal.a.new"), in(f, "seal.b.new")), 0);
	batch(&x, PW_K_RUNG, 1, PW_PARKED); /* with the next commit, sealed or not */
	until_well(&x);
	SEALS(f, "1");
	assert_int_equal(pw_seal_files_read(f->path, s, &broken), 1);
	assert_int_equal(s[0].seal.seq, 1);
	stop(&x);
}

/* -- never by the clock, and the cost ---------------------------------------------------------- */

/* While it stamps again and again (J12), and while nothing happens. */
static void never_by_the_clock(void **state)
{
	static const struct pw_pace stamping = { .retry_ms = 1, .stamp_ms = 1 };
	struct folder *f = *state;
	struct watch x = start_at(f, &stamping);
	int events = inotify_init1(IN_CLOEXEC);
	char buffer[4096];

	batch(&x, PW_K_RUNG, 5, PW_OVERDUE);
	assert_true(inotify_add_watch(events, f->path, IN_MODIFY) >= 0);
	for (int stamps = 0; stamps < 50; stamps++)
		assert_true(read(events, buffer, sizeof(buffer)) > 0);
	close(events);
	SEALS(f, "");
	assert_false(exists(f, "seal.a"));
	kill(pw_writer_pid(x.w), SIGKILL);
	pw_writer_stop(x.w, 0);
	x = start_at(f, &quick);
	kept_of(&x);
	while (pw_writer_seq(x.w) == 0)
		turn(&x);
	SEALS(f, ""); /* nor by a start */
	stop(&x);
}

/* One a commit, however many records and seals; a seal outside costs two more: file and folder. */
static void one_sync_a_commit(void **state)
{
	static const struct {
		int line;
		enum pw_kind kind;
		int records, outside;
	} cases[] = {
		{ __LINE__, PW_K_RUNG, 1, 0 }, { __LINE__, PW_K_RUNG, 0, 0 },
		{ __LINE__, PW_K_RUNG, 100, 0 }, { __LINE__, PW_K_SWEEP, 1, 2 },
		{ __LINE__, PW_K_RUNG, 1, 0 }, { __LINE__, PW_K_EXCUSED, 7, 2 },
		{ __LINE__, PW_K_RUNG, 200, 0 }, { __LINE__, PW_K_RUNG, 100, 2 },
	};
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);

	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		const int before = atomic_load(&disk->syncs);
		int syncs;

		batch(&x, cases[i].kind, cases[i].records, PW_PARKED);
		syncs = atomic_load(&disk->syncs) - before;
		if (syncs < 1 || syncs > 1 + cases[i].outside)
			fail_msg("line %d: %d syncs", cases[i].line, syncs);
		while (atomic_load(&disk->syncs) < before + 1 + cases[i].outside)
			sched_yield();
	}
	stop(&x);
}

/* -- from outside ------------------------------------------------------------------------------ */

/* Every seal in the file by sqlite3 and openssl; the newest two in the files beside it. */
static void the_seals_as_others_check_them(void **state)
{
	struct folder *f = *state;
	struct watch x = start_at(f, &quick);
	struct pw_seal_file s[2];
	char answer[64];
	unsigned broken;

	for (int i = 0; i < 3; i++)
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	batch(&x, PW_K_RUNG, 300, PW_DRIVING);
	stop(&x);
	SEALS(f, "1,2,3,259,303");
	for (int i = 0; i < 5; i++) {
		ask(answer, sizeof(answer), "cd '%s' && sqlite3 -batch -noheader journal.db"
		    " \"SELECT 'postwalk-seal-v1' || x || bus || x || meta.epoch || x || seal.seq"
		    " || x || seal.hash FROM meta, (SELECT char(10) AS x), seal JOIN record"
		    " USING (seq, hash) ORDER BY seal.seq LIMIT 1 OFFSET %d\" > text && sqlite3"
		    " -batch -noheader journal.db 'SELECT upper(sig) FROM seal ORDER BY seq LIMIT 1"
		    " OFFSET %d' | basenc --base16 -d > sig; openssl pkeyutl -verify -rawin -pubin"
		    " -inkey bus.pub -in text -sigfile sig", f->path, i, i);
		assert_string_equal(answer, "Signature Verified Successfully");
	}
	assert_int_equal(pw_seal_files_read(f->path, s, &broken), 2);
	assert_int_equal(s[0].seal.seq + s[1].seal.seq, 259 + 303);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(what_is_sealed),
		IN_FOLDER(the_seal_is_over_the_last_of_the_batch),
		IN_FOLDER(a_key_off_without_a_record),
		IN_FOLDER(an_orderly_stop_seals),
		IN_FOLDER(every_256_records_inside_one_batch),
		IN_FOLDER(the_256_are_counted_from_the_last_seal),
		IN_FOLDER(a_key_off_is_seen_across_starts),
		IN_FOLDER(a_commit_that_failed_is_sealed_when_it_comes_again),
		IN_FOLDER(a_seal_file_that_cannot_be_written),
		IN_FOLDER(never_by_the_clock),
		IN_FOLDER(one_sync_a_commit),
		IN_FOLDER(the_seals_as_others_check_them),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
