/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A start (J6) with a journal, seal files or a key that are not there or are somebody else's; what
 * is only remarked; what goes on from one epoch into the next.
 */
#include "record_help.h"

#include "record_aged.h"

/* -- not there --------------------------------------------------------------------------------- */

static void a_journal_that_was_taken_away(void **state)
{
	static const char *const ways[] = { "rm journal.db", ": > journal.db" };
	const struct aged *a = *state;

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		struct pw_check c;
		struct folder f;
		struct watch x;
		struct first r;

		aged_copy(a, &f);
		must_shell(&f, "%s", ways[i]);
		x = start_later(&f, &quick, 301000);
		assert_kept(&x, NOTHING, __LINE__);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		assert_string_equal(pw_writer_fault(x.w),
				    "a new journal was begun: journal.db was not there");
		assert_seal_files(&f);
		pw_writer_stop(x.w, PATIENCE_MS);
		r = first_of(&f);
		assert_string_equal(r.kind, "epoch");
		assert_string_equal(r.before, a->epoch);
		assert_int_equal(r.seq, 6);
		assert_string_equal(r.hash, a->hash[6]);
		assert_string_equal(r.why, "journal.db was not there");
		assert_string_equal(r.receipt, "null");
		assert_sound(&f, &c);
		x = start_later(&f, &quick, 401000);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		assert_null(pw_writer_fault(x.w));
		stop(&x);
		folder_remove(&f);
	}
}

/* Records that only the log has are not lost with the file that it belongs to. */
static void the_log_of_a_journal_that_was_taken_away(void **state)
{
	static const char *const ways[] = { "rm journal.db journal.db-shm", ": > journal.db" };
	char before[80], after[80];

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		struct folder f;
		struct watch x;

		aged_copy(*state, &f);
		x = start_later(&f, &quick, 301000);
		batch(&x, PW_K_RUNG, 9, PW_OWED);
		cut(&x);
		assert_true(exists(&f, "journal.db-wal"));
		must_shell(&f, "%s", ways[i]);
		print_of(&f, "journal.db-wal", before);
		for (int start = 0; start < 3; start++) {
			x = start_later(&f, &quick, 401000 + start * 100000);
			batch(&x, PW_K_RUNG, 1, PW_PARKED);
			if (start == 0)
				assert_said(&x, "journal.db was not there", __LINE__);
			else
				assert_null(pw_writer_fault(x.w));
			cut(&x);
		}
		print_of(&f, "journal.db-wal.damaged-1", after);
		assert_string_equal(before, after);
		assert_false(exists(&f, "journal.db-wal.damaged-2"));
		folder_remove(&f);
	}
}

/* With every witness gone but the key there is nothing to know it by. */
static void a_folder_that_was_emptied(void **state)
{
	struct folder f;
	struct watch x;

	aged_copy(*state, &f);
	must_shell(&f, "rm journal.db seal.a seal.b");
	x = start_later(&f, &quick, 301000);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	assert_string_equal(first_of(&f).kind, "rung");
	folder_remove(&f);
}

/* A state that was kept before any record is one. */
static void a_journal_with_a_state_alone(void **state)
{
	struct folder f;
	struct watch x;

	(void)state;
	folder_make(&f);
	x = start_at(&f, &quick);
	batch(&x, PW_K_RUNG, 0, PW_OWED);
	stop(&x);
	x = start_later(&f, &quick, 101000);
	assert_kept(&x, OWED, __LINE__);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	assert_string_equal(first_of(&f).kind, "rung");
	folder_remove(&f);
}

/* -- remarks ----------------------------------------------------------------------------------- */

/* What is only missing or torn outside is told, written again, and no reason for a new epoch. */
static void what_is_only_remarked(void **state)
{
	static const struct {
		int line;
		const char *spoil, *words; /* NULL: nothing is said */
	} remarks[] = {
		{ __LINE__, "rm seal.a seal.b", ": the seal files are gone" },
		{ __LINE__, "rm seal.b", NULL },
		{ __LINE__, ": > seal.b", ": a seal file is not whole" },
		{ __LINE__, "truncate -s 100 seal.a", ": a seal file is not whole" },
		{ __LINE__, "echo tea > seal.a; echo tea > seal.b", ": a seal file is not whole" },
		{ __LINE__, "rm seal.a; mkdir seal.a", "Is a directory" },
		{ __LINE__, "rm bus.pub", NULL },
		{ __LINE__, "echo tea > bus.pub", NULL },
	};
	const struct aged *a = *state;

	for (size_t i = 0; i < sizeof(remarks) / sizeof(remarks[0]); i++) {
		struct pw_seal_file s[2];
		struct pw_check c;
		unsigned broken;
		struct folder f;
		struct watch x;

		aged_copy(a, &f);
		must_shell(&f, "%s", remarks[i].spoil);
		x = start_later(&f, &quick, 301000);
		assert_kept(&x, OWED, remarks[i].line);
		batch(&x, PW_K_RUNG, 1, PW_OWED);
		if (remarks[i].words != NULL)
			assert_said(&x, remarks[i].words, remarks[i].line);
		else if (pw_writer_fault(x.w) != NULL)
			fail_msg("line %d: %s", remarks[i].line, pw_writer_fault(x.w));
		pw_writer_stop(x.w, PATIENCE_MS);
		assert_false(exists(&f, "journal.db.damaged-1"));
		assert_string_equal(first_of(&f).epoch, a->epoch);
		assert_sound(&f, &c);
		assert_int_equal(c.seq, 11);
		must_shell(&f, "rmdir seal.a 2> /dev/null || true");
		x = start_later(&f, &quick, 401000);
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
		if (pw_writer_fault(x.w) != NULL)
			fail_msg("line %d, the start after: %s", remarks[i].line,
				 pw_writer_fault(x.w));
		stop(&x);
		assert_true(pw_seal_files_read(f.path, s, &broken) > 0 && broken == 0);
		folder_remove(&f);
	}
}

/* Power may go between the first seal and its first file. */
static void the_first_seal_may_have_no_file_yet(void **state)
{
	struct folder f;
	struct watch x;

	(void)state;
	folder_make(&f);
	x = start_at(&f, &quick);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	stop(&x);
	must_shell(&f, "rm seal.a; test ! -e seal.b");
	x = start_later(&f, &quick, 101000);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	must_shell(&f, "rm seal.a; test ! -e seal.b");
	x = start_later(&f, &quick, 201000);
	until_fault(&x, ": the seal files are gone");
	stop(&x);
	folder_remove(&f);
}

/* -- keys -------------------------------------------------------------------------------------- */

/* The public half of a key that is gone still checks what was sealed by it. */
static void a_key_that_is_given_up_is_kept(void **state)
{
	static const struct {
		int line;
		const char *spoil;
		bool secret; /* there is one to be kept */
	} ways[] = {
		{ __LINE__, "rm bus.key", false }, { __LINE__, "echo tea > bus.key", true },
		{ __LINE__, OTHER_KEY, false },
	};

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		char pub[80], key[80], after[80];
		struct folder f;
		struct watch x;

		aged_copy(*state, &f);
		must_shell(&f, "%s", ways[i].spoil);
		print_of(&f, "bus.pub", pub);
		if (ways[i].secret)
			print_of(&f, "bus.key", key);
		x = start_later(&f, &quick, 301000);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		pw_writer_stop(x.w, PATIENCE_MS);
		print_of(&f, "bus.damaged-1.pub", after);
		if (strcmp(pub, after) != 0)
			fail_msg("line %d: the public key is gone", ways[i].line);
		assert_int_equal(exists(&f, "bus.damaged-1.key"), ways[i].secret);
		if (ways[i].secret) {
			print_of(&f, "bus.damaged-1.key", after);
			assert_string_equal(key, after);
		}
		must_shell(&f, "openssl pkey -in bus.key -pubout | cmp - bus.pub");
		folder_remove(&f);
	}
}

/* -- made by somebody without the key ---------------------------------------------------------- */

/* A journal that names this one as the one before it, with one record, sealed or not. */
static void forge(const struct folder *f, const struct aged *a, const struct pw_secret_key *key)
{
	char why[256] = "", body[256];
	struct pw_record r = { .kind = PW_K_EPOCH, .boot = 3, .body = body };
	struct pw_journal *j;

	snprintf(body, sizeof(body), "{\"before\":{\"epoch\":\"%s\",\"seq\":10,\"hash\":\"%s\"},"
		 "\"why\":\"so\",\"receipt\":null}", a->epoch, a->hash[10]);
	must_shell(f, "rm journal.db");
	if (pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)) != 0
	    || pw_journal_begin(j, why, sizeof(why)) != 0
	    || pw_journal_add(j, &r, why, sizeof(why)) != 0
	    || (key != NULL && pw_journal_seal(j, key, why, sizeof(why)) != 0)
	    || pw_journal_commit(j, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	pw_journal_close(j);
}

static void an_epoch_begun_by_somebody_else(void **state)
{
	const struct {
		const struct pw_secret_key *key;
		const char *words;
	} ways[] = {
		{ NULL, "the kept state is gone" },
		{ fixed_key(), "the seal of seq 1 is not by the bus's key" },
	};
	const struct aged *a = *state;

	for (size_t i = 0; i < sizeof(ways) / sizeof(ways[0]); i++) {
		struct folder f;
		struct watch x;

		aged_copy(a, &f);
		forge(&f, a, ways[i].key);
		x = start_later(&f, &quick, 301000);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		assert_said(&x, ways[i].words, __LINE__);
		assert_true(exists(&f, "journal.db.damaged-1"));
		pw_writer_stop(x.w, PATIENCE_MS);
		folder_remove(&f);
	}
}

/* -- what goes on ------------------------------------------------------------------------------ */

/* The state, the counter of starts and the phase before a key-off go on into the new epoch, though
 * power goes before anything is kept in it. */
static void what_goes_on_into_the_new_epoch(void **state)
{
	struct pw_check c;
	struct folder f;
	struct watch x;
	char seals[64];

	aged_copy(*state, &f);
	x = start_later(&f, &quick, 301000);
	assert_int_equal(kept_of(&x).boot, 4);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	cut(&x);
	must_shell(&f, RECORD("body = '{}' WHERE seq = 11"));
	x = start_later(&f, &quick, 401000);
	assert_int_equal(kept_of(&x).boot, 5);
	until_fault(&x, "a new journal was begun: ");
	cut(&x);
	x = start_later(&f, &quick, 501000);
	assert_true(kept_of(&x).found);
	assert_int_equal(kept_of(&x).state.phase, PW_DRIVING);
	assert_true(kept_of(&x).boot >= 5);
	assert_int_equal(kept_of(&x).mono_ms, 301000);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	assert_null(pw_writer_fault(x.w));
	ask(seals, sizeof(seals), "sqlite3 -readonly '%s' 'SELECT group_concat(seq) FROM seal'",
	    in(&f, "journal.db"));
	assert_string_equal(seals, "2,3");
	stop(&x);
	assert_sound(&f, &c);
	folder_remove(&f);
}

/* The same by the writer that found it. */
static void a_key_off_right_after_it(void **state)
{
	struct folder f;
	struct watch x;
	char seals[64];

	aged_copy(*state, &f);
	x = start_later(&f, &quick, 301000);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	cut(&x);
	must_shell(&f, RECORD("body = '{}' WHERE seq = 11"));
	x = start_later(&f, &quick, 401000);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	ask(seals, sizeof(seals), "sqlite3 -readonly '%s' 'SELECT group_concat(seq) FROM seal'",
	    in(&f, "journal.db"));
	assert_string_equal(seals, "2,3");
	pw_writer_stop(x.w, PATIENCE_MS);
	folder_remove(&f);
}

/* A disk that spoils every journal is not filled with them; nothing is deleted for that. */
static void sixteen_are_enough(void **state)
{
	char before[80], after[80];
	struct folder f;
	struct watch x;

	aged_copy(*state, &f);
	must_shell(&f, RECORD("body = '{}' WHERE seq = 10"));
	must_shell(&f, "for n in $(seq 16); do echo $n > journal.db.damaged-$n; done");
	print_of(&f, "journal.db", before);
	x = start_at(&f, &quick);
	x.now_ms = 301000;
	assert_kept(&x, OWED, __LINE__);
	note_and_keep(&x, 1, PW_OWED);
	until_fault(&x, "and cannot be renamed: File exists");
	assert_said(&x, "the chain does not hold at seq 10", __LINE__);
	print_of(&f, "journal.db", after);
	assert_string_equal(before, after);
	must_shell(&f, "rm journal.db.damaged-3"); /* somebody took one away to look into it */
	settle(&x);
	assert_said(&x, "the old one is journal.db.damaged-3", __LINE__);
	pw_writer_stop(x.w, PATIENCE_MS);
	print_of(&f, "journal.db.damaged-3", after);
	assert_string_equal(before, after);
	folder_remove(&f);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_journal_that_was_taken_away),
		cmocka_unit_test(the_log_of_a_journal_that_was_taken_away),
		cmocka_unit_test(a_folder_that_was_emptied),
		cmocka_unit_test(a_journal_with_a_state_alone),
		cmocka_unit_test(what_is_only_remarked),
		cmocka_unit_test(the_first_seal_may_have_no_file_yet),
		cmocka_unit_test(a_key_that_is_given_up_is_kept),
		cmocka_unit_test(an_epoch_begun_by_somebody_else),
		cmocka_unit_test(what_goes_on_into_the_new_epoch),
		cmocka_unit_test(a_key_off_right_after_it),
		cmocka_unit_test(sixteen_are_enough),
	};

	disk_make();
	return cmocka_run_group_tests(tests, make_aged, drop_aged);
}
