/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What a start believes (J6), through the real writer: what was done to the folder, what is said,
 * where the new epoch says that the old one was good to, and whether what was owed is owed all the
 * same.
 */
#include "record_help.h"

#include "record_aged.h"

#define PAGE "dd if=/dev/zero of=journal.db bs=4096 count=1 conv=notrunc seek="

/* -- put aside --------------------------------------------------------------------------------- */

/* good: the last good seq that the new epoch names; -1: the old one cannot be read, and the newest
 * seal file names 6. */
static const struct {
	int line;
	const char *spoil; /* shell, in the folder */
	const char *words;
	int good;
	enum told told;
} cases[] = {
	/* the tail */
	{ __LINE__, DELETE("seq = 9"), "seq 9 is not there", 8, OWED },
	{ __LINE__, RECORD("body = '{}' WHERE seq = 8"), "the chain does not hold at seq 8", 7,
	  OWED },
	{ __LINE__, RECORD("mono_ms = 7 WHERE seq = 10"), "the chain does not hold at seq 10", 9,
	  OWED },
	{ __LINE__, RECORD("prev = " ZEROS " WHERE seq = 9"), "the chain does not hold at seq 9", 8,
	  OWED },
	{ __LINE__, RECORD("hash = " ZEROS " WHERE seq = 10"), "the chain does not hold at seq 10",
	  9, OWED },
	{ __LINE__, RECORD("epoch = '00112233aabbccdd' WHERE seq = 9"),
	  "the chain does not hold at seq 9", 8, OWED },
	{ __LINE__, RECORD("kind = 'tea' WHERE seq = 9"), "seq 9 is of no known kind", 8, OWED },
	{ __LINE__, RECORD("hash = 'x' WHERE seq = 10"), "hex digits", 9, OWED },
	{ __LINE__, DELETE("seq = 10"), "the kept state is of seq 10, and the records end at 9", 9,
	  OWED },
	{ __LINE__, SEAL("hash = " ZEROS " WHERE seq = 6"),
	  "the seal of seq 6 is of another record", 10, OWED },
	{ __LINE__, SEAL("sig = " ZEROS " || " ZEROS " WHERE seq = 6"),
	  "the seal of seq 6 is not by the bus's key", 10, OWED },
	{ __LINE__, SEAL("sig = 'x' WHERE seq = 6"), "hash or sig is not of so many hex digits", 10,
	  OWED },
	{ __LINE__, SQL("INSERT INTO seal SELECT 12, hash, sig FROM seal WHERE seq = 6"),
	  "there is a seal of seq 12, and the records end at 10", 10, OWED },
	{ __LINE__, SQL("UPDATE meta SET pruned = 10; DELETE FROM seal"),
	  "the chain does not hold at its end", 10, OWED },
	/* the kept state */
	{ __LINE__, SQL("DELETE FROM kept"), "the kept state is gone", 10, NOTHING },
	{ __LINE__, SQL("UPDATE kept SET state = replace(state, 'owed', 'parked'), mono_ms = 7"),
	  "the kept state is not signed by the bus's key", 10, NOTHING },
	{ __LINE__, SQL("UPDATE kept SET batch = 70"),
	  "the kept state is not signed by the bus's key", 10, NOTHING },
	{ __LINE__, SQL("UPDATE kept SET ended = 1"),
	  "the kept state is not signed by the bus's key", 10, NOTHING },
	{ __LINE__,
	  DELETE("seq = 10; UPDATE kept SET seq = 9, hash = (SELECT hash FROM record"
		 " WHERE seq = 9)"),
	  "the kept state is not signed by the bus's key", 9, NOTHING },
	{ __LINE__,
	  SQL("ATTACH 'early.db' AS early; DELETE FROM kept;"
	      " INSERT INTO kept SELECT * FROM early.kept"),
	  "the kept state is of seq 4, and the records end at 10", 10, EARLY },
	{ __LINE__, SQL("DROP TABLE kept"), "no such table: kept", 10, NOTHING },
	/* the seal files */
	{ __LINE__, "sed -i 5y/0123456789abcdef/123456789abcdef0/ seal.a",
	  "the seal file of seq 4 is not by the bus's key", 10, OWED },
	{ __LINE__, "sed -i 4s/6/9/ seal.b", "the seal file of seq 9 is not by the bus's key", 10,
	  OWED },
	{ __LINE__, "cp early.db journal.db",
	  "it is older than its seal file: the records end at seq 4, and seq 6 had been sealed", 4,
	  EARLY },
	{ __LINE__, SEAL_GONE("seq = 4"), "the seal of seq 4 is gone", 10, OWED },
	{ __LINE__, SEAL_GONE("seq = 6"), "the seal of seq 6 is gone", 10, OWED },
	{ __LINE__, "sed -i 2s/bus-7/bus-8/ seal.b", "a seal file is of bus bus-8", 10, OWED },
	{ __LINE__, "sed -i 3s/.*/00112233aabbccdd/ seal.b",
	  "a seal file is of epoch 00112233aabbccdd, and the journal of ", 10, OWED },
	{ __LINE__, "cp branch/seal.b .", "seq 6 is not the record that was sealed", 10, OWED },
	/* all of it */
	{ __LINE__, "cp branch/journal.db .", "seq 6 is not the record that was sealed", 6, EARLY },
	{ __LINE__,
	  SQL("DROP TRIGGER record_no_delete; DROP TRIGGER seal_no_delete;"
	      " DELETE FROM record; DELETE FROM seal"),
	  "its records are gone", 0, OWED },
	{ __LINE__, SQL("UPDATE meta SET bus = 'bus-8'"), "is of bus bus-8, not bus-7", 0,
	  NOTHING },
	{ __LINE__, "seq 5000 > journal.db", "file is not a database", -1, NOTHING },
	{ __LINE__, "dd if=/dev/zero of=journal.db bs=100 count=1 conv=notrunc",
	  "file is not a database", -1, NOTHING },
	{ __LINE__, SQL("PRAGMA user_version = 2"),
	  "is a journal of version 2; this program reads 1", -1, NOTHING },
	{ __LINE__,
	  PAGE "$(($(sqlite3 journal.db \"SELECT rootpage FROM sqlite_schema WHERE"
	       " name = 'record_sweep'\") - 1))",
	  "btreeInitPage() returns error code 11", 10, OWED },
	/* the key */
	{ __LINE__, "rm bus.key", "the seal of seq 6 is not by the bus's key", 10, NOTHING },
	{ __LINE__, "echo tea > bus.key", "the seal of seq 6 is not by the bus's key", 10,
	  NOTHING },
	{ __LINE__, ": > bus.key", "the seal of seq 6 is not by the bus's key", 10, NOTHING },
	{ __LINE__, OTHER_KEY, "the seal of seq 6 is not by the bus's key", 10, NOTHING },
};

/* The first record of the new epoch: what came before, to where it was good, why, the receipt. */
static void assert_new_epoch(const struct folder *f, const struct aged *a, size_t i)
{
	const uint64_t good = cases[i].good < 0 ? 6 : (uint64_t)cases[i].good;
	const bool branched = strstr(cases[i].spoil, "branch/journal") != NULL;
	struct first r = first_of(f);

	if (strcmp(r.kind, "epoch") != 0 || strcmp(r.before, a->epoch) != 0
	    || strcmp(r.epoch, a->epoch) == 0 || strstr(r.why, cases[i].words) == NULL)
		fail_msg("line %d: %s %s %s", cases[i].line, r.kind, r.before, r.why);
	if (r.seq != good || (strcmp(r.hash, a->hash[good]) == 0) == branched)
		fail_msg("line %d: good to %" PRIu64 ", %s", cases[i].line, r.seq, r.hash);
	if (good > 6 && (strcmp(r.receipt, RECEIPT) != 0 || strcmp(r.second, "policy") != 0))
		fail_msg("line %d: receipt %s, second %s", cases[i].line, r.receipt, r.second);
}

static void try_case(const struct aged *a, size_t i)
{
	char before[80], after[80];
	struct pw_check c;
	struct folder f;
	struct watch x;

	aged_copy(a, &f);
	must_shell(&f, "%s", cases[i].spoil);
	print_of(&f, "journal.db", before);
	x = start_at(&f, &quick);
	x.now_ms = 301000;
	assert_kept(&x, cases[i].told, cases[i].line);
	batch(&x, PW_K_RUNG, 1, PW_OWED);
	assert_said(&x, cases[i].words, cases[i].line);
	assert_said(&x, "a new journal was begun: ", cases[i].line);
	assert_said(&x, "; the old one is journal.db.damaged-1", cases[i].line);
	assert_seal_files(&f);
	pw_writer_stop(x.w, PATIENCE_MS);
	assert_new_epoch(&f, a, i);
	print_of(&f, "journal.db.damaged-1", after);
	if (strcmp(before, after) != 0)
		fail_msg("line %d: what was put aside is not what stood there", cases[i].line);
	assert_sound(&f, &c);
	x = start_later(&f, &quick, 401000); /* and that was that */
	assert_kept(&x, OWED, cases[i].line);
	batch(&x, PW_K_RUNG, 1, PW_PARKED);
	assert_null(pw_writer_fault(x.w));
	stop(&x);
	assert_false(exists(&f, "journal.db.damaged-2"));
	folder_remove(&f);
}

static void what_is_not_believed_is_put_aside(void **state)
{
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++)
		try_case(*state, i);
}

/* Deep in the chain: found in idle time, after the alarm went on; what was committed by then is put
 * aside with the rest, and the state goes on (J6). */
static void damage_deep_in_the_chain(void **state)
{
	static const struct {
		int line;
		const char *spoil, *words;
		uint64_t good;
	} deep[] = {
		{ __LINE__, RECORD("body = '{}' WHERE seq = 2"),
		  "seq 2: its hash is not that of its text", 1 },
		{ __LINE__, RECORD("prev = " ZEROS " WHERE seq = 3"), "seq 3: its hash is not", 2 },
		{ __LINE__, DELETE("seq = 2"), "seq 3: the record before it is 1", 1 },
		{ __LINE__, RECORD("kind = 'tea' WHERE seq = 3"), "seq 3 is of no known kind", 2 },
		{ __LINE__, SEAL("sig = " ZEROS " || " ZEROS " WHERE seq = 4"),
		  "seq 4: its seal is not by this key", 10 },
		{ __LINE__, SQL("INSERT INTO seal SELECT 2, hash, sig FROM seal WHERE seq = 4"),
		  "seq 2: its seal is over another hash", 10 },
		{ __LINE__, SQL("UPDATE meta SET pruned = 4; DELETE FROM record WHERE seq < 5;"
				" DELETE FROM seal WHERE seq < 5"),
		  "seq 5: it begins here, and no sealed prune record says why", 10 },
	};
	const struct aged *a = *state;

	for (size_t i = 0; i < sizeof(deep) / sizeof(deep[0]); i++) {
		struct pw_check c;
		struct folder f;
		struct watch x;
		struct first r;

		aged_copy(a, &f);
		must_shell(&f, "%s", deep[i].spoil);
		x = start_at(&f, &quick);
		x.now_ms = 301000;
		assert_kept(&x, OWED, deep[i].line);
		batch(&x, PW_K_RUNG, 1, PW_OWED);
		until_fault(&x, "a new journal was begun: ");
		assert_said(&x, deep[i].words, deep[i].line);
		batch(&x, PW_K_RUNG, 1, PW_OWED);
		pw_writer_stop(x.w, PATIENCE_MS);
		r = first_of(&f);
		assert_string_equal(r.kind, "epoch");
		assert_string_equal(r.before, a->epoch);
		assert_string_equal(r.receipt, RECEIPT);
		if (r.seq < deep[i].good || (deep[i].good < 10 && r.seq != deep[i].good))
			fail_msg("line %d: good to %" PRIu64, deep[i].line, r.seq);
		assert_sound(&f, &c);
		x = start_later(&f, &quick, 401000);
		assert_kept(&x, OWED, deep[i].line);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		stop(&x);
		assert_false(exists(&f, "journal.db.damaged-2"));
		folder_remove(&f);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_is_not_believed_is_put_aside),
		cmocka_unit_test(damage_deep_in_the_chain),
	};

	disk_make();
	return cmocka_run_group_tests(tests, make_aged, drop_aged);
}
