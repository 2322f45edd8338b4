/* SPDX-License-Identifier: Apache-2.0 */
/* Pruning (J11): what may go, what is left behind, and that what stays proves itself. */
#include "record_help.h"

#include "record_aged.h"

#define DAY INT64_C(86400000)
#define DAYS "SELECT count(DISTINCT wall_ms / 86400000) FROM record"
#define DAY_0 (INT64_C(19000) * DAY) /* of our own: in 2022 */

struct book {
	struct pw_journal *j;
	struct pw_secret_key key;
	struct pw_kept_row row;
};

static void must(int result, int expected, const char *why)
{
	if (result != expected)
		fail_msg("%d: %s", result, why);
}

static struct book open_book(const struct folder *f)
{
	struct book b = { .row = { .state = "{}", .boot = 1, .batch = 1 } };
	char why[256] = "";
	bool drawn;

	must(pw_secret_key_load(f->path, "bus", &b.key, &drawn, why, sizeof(why)), 0, why);
	must(pw_journal_open(in(f, "journal.db"), BUS, true, &b.j, why, sizeof(why)), 0, why);
	return b;
}

static void add_one(struct book *b, enum pw_kind kind, int64_t wall_ms, bool wall_ok,
		    const char *body)
{
	struct pw_record r = { .boot = 1, .mono_ms = wall_ms - DAY_0, .wall_ms = wall_ms,
			       .wall_ok = wall_ok, .kind = kind, .body = body };
	char why[256];

	must(pw_journal_add(b->j, &r, why, sizeof(why)), 0, why);
}

/* seq 1, 2, ... of every so many ms from day 0, each every-th sealed; a receipt behind them, and those
 * of alerts. */
static void fill_with(const struct folder *f, int records, int64_t step_ms, int every, bool wall_ok,
		      uint64_t receipt, int alerts)
{
	struct book b = open_book(f);
	char why[256] = "", body[64];

	must(pw_journal_begin(b.j, why, sizeof(why)), 0, why);
	for (int i = 0; i < records; i++) {
		add_one(&b, PW_K_EXCUSED, DAY_0 + i * step_ms, wall_ok, "{\"at_ms\":1}");
		if ((i + 1) % every == 0)
			must(pw_journal_seal(b.j, &b.key, why, sizeof(why)), 0, why);
	}
	snprintf(body, sizeof(body), "{\"seq\":%" PRIu64 "}", receipt);
	if (receipt > 0)
		add_one(&b, PW_K_RECEIPT, DAY_0 + records * step_ms, wall_ok, body);
	for (int i = 0; i < alerts; i++) /* one of alerts does not hide it */
		add_one(&b, PW_K_RECEIPT, DAY_0 + records * step_ms, wall_ok, "{\"alert\":1}");
	must(pw_journal_seal(b.j, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_keep(b.j, &b.row, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_commit(b.j, why, sizeof(why)), 0, why);
	pw_journal_close(b.j);
}

static void fill(const struct folder *f, int records, int64_t step_ms, int every, bool wall_ok,
		 uint64_t receipt)
{
	fill_with(f, records, step_ms, every, wall_ok, receipt, 0);
}

/* At day's end. True: something was dropped. */
static bool prune_at(const struct folder *f, int64_t day, uint32_t keep_days)
{
	struct book b = open_book(f);
	char why[256] = "";
	int result = pw_journal_prune(b.j, &b.row, DAY_0 + day * DAY, keep_days, &b.key, why,
				      sizeof(why));

	pw_journal_close(b.j);
	if (result < 0)
		fail_msg("%s", why);
	return result == 1;
}

static uint64_t number_of(const struct folder *f, const char *sql)
{
	char answer[64];

	ask(answer, sizeof(answer), "sqlite3 -readonly '%s' \"%s\"", in(f, "journal.db"), sql);
	return strtoull(answer, NULL, 10);
}

static uint64_t first_seq(const struct folder *f)
{
	return number_of(f, "SELECT min(seq) FROM record");
}

/* -- what may go ------------------------------------------------------------------------------- */

/* Of a hundred days with a record each, from seq 1 of day 0 to seq 100 of day 99; sealed each
 * tenth. */
static void what_may_go(void **state)
{
	static const struct {
		int line;
		uint64_t receipt;
		uint32_t keep_days;
		int64_t day;
		uint64_t dropped;
	} cases[] = {
		/* receipted and older than keep_days */
		{ __LINE__, 55, 30, 100, 50 }, { __LINE__, 100, 30, 100, 70 },
		{ __LINE__, 60, 30, 100, 60 }, { __LINE__, 59, 30, 100, 50 },
		{ __LINE__, 100, 30, 99, 60 }, { __LINE__, 100, 91, 100, 0 },
		{ __LINE__, 100, 90, 100, 10 }, { __LINE__, 100, 30, 39, 0 },
		{ __LINE__, 100, 30, 40, 10 }, { __LINE__, 999, 30, 100, 70 },
		/* not receipted: twice as old */
		{ __LINE__, 0, 30, 100, 40 }, { __LINE__, 5, 30, 100, 40 },
		{ __LINE__, 30, 30, 100, 40 }, { __LINE__, 0, 45, 100, 10 },
		{ __LINE__, 0, 46, 100, 0 }, { __LINE__, 0, 30, 69, 0 },
		{ __LINE__, 0, 30, 70, 10 },
		/* everything is old: the last stretch stays */
		{ __LINE__, 100, 30, 1000, 100 }, { __LINE__, 100, 8, 1000, 100 },
		/* never */
		{ __LINE__, 100, 0, 1000, 0 }, { __LINE__, 100, 30, -1000, 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct pw_check c;
		struct folder f;
		bool dropped;

		folder_make(&f);
		fill(&f, 100, DAY, 10, true, cases[i].receipt);
		dropped = prune_at(&f, cases[i].day, cases[i].keep_days);
		if (dropped != (cases[i].dropped > 0) || first_seq(&f) != cases[i].dropped + 1)
			fail_msg("line %d: begins at %" PRIu64, cases[i].line, first_seq(&f));
		assert_sound(&f, &c);
		assert_int_equal(c.sealed, c.seq);
		if (prune_at(&f, cases[i].day, cases[i].keep_days))
			fail_msg("line %d: and more", cases[i].line);
		folder_remove(&f);
	}
}

/* The newest receipt of all up to a record counts, whatever was said of alerts since. */
static void receipts_of_alerts_hide_nothing(void **state)
{
	struct folder *f = *state;

	fill_with(f, 100, DAY, 10, true, 55, 3);
	assert_true(prune_at(f, 100, 30));
	assert_int_equal(first_seq(f), 51);
}

static void a_receipt_of_an_alert_alone_drops_nothing(void **state)
{
	struct folder *f = *state;

	fill_with(f, 100, DAY, 10, true, 0, 1);
	assert_true(prune_at(f, 100, 30)); /* as without one: twice as old */
	assert_int_equal(first_seq(f), 41);
}

/* The wall clock alone drops nothing that is not receipted: the journal has to have seen a quarter
 * of keep_days since, by days with a record. */
static void a_clock_set_to_2099(void **state)
{
	static const struct {
		int line, records;
		int64_t step_ms;
		uint64_t receipt, dropped, left; /* days, however often it starts */
	} cases[] = {
		{ __LINE__, 150, DAY, 0, 0, 150 },
		{ __LINE__, 200, DAY, 0, 0, 200 },
		{ __LINE__, 4000, DAY / 40, 0, 0, 100 }, /* many records of a hundred days */
		{ __LINE__, 150, DAY, 150, 150, 1 },     /* the office has these */
		{ __LINE__, 150, DAY, 90, 90, 60 },
		{ __LINE__, 4500, DAY / 10, 0, 0, 450 }, /* 4096 of them leave 41 days */
		{ __LINE__, 6400, DAY / 10, 0, 4090, 200 },
	};
	const int64_t day_2099 = 47117 - DAY_0 / DAY; /* 1970-01-01 to 2099-01-01 */

	(void)state;
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++) {
		struct folder f;

		folder_make(&f);
		fill(&f, cases[i].records, cases[i].step_ms, 10, true, cases[i].receipt);
		prune_at(&f, day_2099, 800);
		if (first_seq(&f) != cases[i].dropped + 1)
			fail_msg("line %d: begins at %" PRIu64, cases[i].line, first_seq(&f));
		while (prune_at(&f, day_2099, 800))
			;
		assert_true(number_of(&f, DAYS) >= cases[i].left);
		folder_remove(&f);
	}
}

/* A clock that nobody vouches for dates nothing. */
static void undated_records_stay(void **state)
{
	struct folder *f = *state;

	fill(f, 100, DAY, 10, false, 100);
	assert_false(prune_at(f, 100000, 30));
	assert_int_equal(first_seq(f), 1);
}

/* Between dated ones they go along; one young record keeps what comes after it. */
static void a_young_record_keeps_what_comes_after(void **state)
{
	struct folder *f = *state;
	struct book b = open_book(f);
	char why[256] = "";

	must(pw_journal_begin(b.j, why, sizeof(why)), 0, why);
	for (int i = 1; i <= 40; i++) {
		add_one(&b, PW_K_EXCUSED, DAY_0 + (i == 25 ? 500 : 0) * DAY, i % 3 == 0 || i == 25,
			"{\"at_ms\":1}");
		if (i % 5 == 0)
			must(pw_journal_seal(b.j, &b.key, why, sizeof(why)), 0, why);
	}
	add_one(&b, PW_K_RECEIPT, DAY_0 + 500 * DAY, true, "{\"seq\":40}");
	must(pw_journal_seal(b.j, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_keep(b.j, &b.row, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_commit(b.j, why, sizeof(why)), 0, why);
	pw_journal_close(b.j);
	assert_true(prune_at(f, 501, 100));
	assert_int_equal(first_seq(f), 21); /* 24 is the last old one; 21 to 25 are a stretch */
}

/* A start is not to be long. */
static void no_more_than_4096_at_a_time(void **state)
{
	struct folder *f = *state;
	struct pw_check c;

	fill(f, 10000, DAY / 100, 100, true, 10000);
	assert_true(prune_at(f, 10000, 30));
	assert_int_equal(first_seq(f), 4001);
	assert_sound(f, &c);
	assert_true(prune_at(f, 10000, 30));
	assert_int_equal(first_seq(f), 8001); /* 8096, whole stretches */
	assert_true(prune_at(f, 10000, 30));
	assert_int_equal(first_seq(f), 10001); /* the receipt, and its seal */
	assert_sound(f, &c);
	assert_int_equal(number_of(f, "SELECT count(*) FROM record WHERE kind = 'prune'"), 3);
	assert_false(prune_at(f, 10000, 30));
}

/* What was never sealed is no stretch. */
static void nothing_goes_without_a_seal(void **state)
{
	struct folder *f = *state;
	struct book b = open_book(f);
	char why[256] = "";

	must(pw_journal_begin(b.j, why, sizeof(why)), 0, why);
	for (int i = 0; i < 50; i++)
		add_one(&b, PW_K_EXCUSED, DAY_0 + i * DAY, true, "{\"at_ms\":1}");
	add_one(&b, PW_K_RECEIPT, DAY_0 + 50 * DAY, true, "{\"seq\":50}");
	must(pw_journal_keep(b.j, &b.row, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_commit(b.j, why, sizeof(why)), 0, why);
	pw_journal_close(b.j);
	assert_false(prune_at(f, 1000, 10));
	assert_int_equal(first_seq(f), 1);
}

/* -- what is left behind ----------------------------------------------------------------------- */

static void the_record_of_it(void **state)
{
	struct folder *f = *state;
	char hash[80], answer[256], expected[256], why[256] = "";
	struct pw_kept_row row;
	struct pw_check c;
	struct book b;

	fill(f, 100, DAY, 10, true, 55);
	ask(hash, sizeof(hash), "sqlite3 -readonly '%s' 'SELECT hash FROM record WHERE seq = 50'",
	    in(f, "journal.db"));
	assert_true(prune_at(f, 100, 30));
	ask(answer, sizeof(answer), "sqlite3 -readonly '%s' \"SELECT seq, kind, body FROM record"
	    " ORDER BY seq DESC LIMIT 1\"", in(f, "journal.db"));
	snprintf(expected, sizeof(expected), "102|prune|{\"seq\":50,\"hash\":\"%s\",\"seals\":5}",
		 hash);
	assert_string_equal(answer, expected);
	ask(answer, sizeof(answer), "sqlite3 -readonly '%s' 'SELECT group_concat(seq) FROM seal'",
	    in(f, "journal.db"));
	assert_string_equal(answer, "60,70,80,90,100,101,102");
	assert_int_equal(number_of(f, "SELECT pruned FROM meta"), 50);
	assert_sound(f, &c);
	assert_int_equal(c.first, 51);
	assert_string_equal(c.first_prev, hash);
	assert_int_equal(c.pruned, 102);
	/* the kept state goes on: bound to the new head and signed */
	b = open_book(f);
	must(pw_journal_kept(b.j, &row, why, sizeof(why)), 1, why);
	assert_int_equal(row.seq, 102);
	assert_true(pw_kept_holds(BUS, pw_journal_epoch(b.j), &row, &b.key.public));
	must(pw_journal_judge(b.j, f->path, &b.key.public, why, sizeof(why)), 0, why);
	must(pw_journal_begin(b.j, why, sizeof(why)), 0, why);
	add_one(&b, PW_K_EXCUSED, DAY_0 + 101 * DAY, true, "{\"at_ms\":1}");
	must(pw_journal_keep(b.j, &b.row, &b.key, why, sizeof(why)), 0, why);
	must(pw_journal_commit(b.j, why, sizeof(why)), 0, why);
	pw_journal_close(b.j);
	assert_int_equal(number_of(f, "SELECT max(seq) FROM record"), 103);
}

/* Whatever is not pruned is held as before, whoever opens the file. */
static void the_rest_is_held(void **state)
{
	static const struct {
		const char *sql, *words;
	} tries[] = {
		{ "DELETE FROM record WHERE seq = 51", "records are only ever added" },
		{ "DELETE FROM record WHERE seq = 102", "records are only ever added" },
		{ "DELETE FROM record", "records are only ever added" },
		{ "DELETE FROM seal WHERE seq = 60", "seals are only ever added" },
		{ "UPDATE record SET body = '{}' WHERE seq = 51", "records are only ever added" },
		{ "UPDATE seal SET seq = 5 WHERE seq = 60", "seals are only ever added" },
		{ "INSERT INTO record SELECT 50, epoch, boot, mono_ms, wall_ms, wall_ok, kind,"
		  " body, prev, hash FROM record WHERE seq = 51", "seq is the last one and 1" },
	};
	struct folder *f = *state;
	struct pw_check c;
	char answer[256];

	fill(f, 100, DAY, 10, true, 55);
	assert_true(prune_at(f, 100, 30));
	for (size_t i = 0; i < sizeof(tries) / sizeof(tries[0]); i++) {
		ask(answer, sizeof(answer), "sqlite3 -batch '%s' \"%s\" 2>&1", in(f, "journal.db"),
		    tries[i].sql);
		if (strstr(answer, tries[i].words) == NULL)
			fail_msg("%s: \"%s\"", tries[i].sql, answer);
	}
	assert_sound(f, &c);
	assert_int_equal(c.records, 52);
}

/* -- power goes -------------------------------------------------------------------------------- */

static bool prune_elsewhere(const struct folder *f)
{
	int status;
	pid_t pid = fork();

	assert_true(pid >= 0);
	if (pid == 0) {
		prune_at(f, 100, 30);
		_exit(0);
	}
	assert_int_equal(waitpid(pid, &status, 0), pid);
	return WIFEXITED(status);
}

/* Before the n-th write or sync: all is there, or all that may go is gone, and the next start of
 * the writer has nothing to say. */
static void a_prune_that_is_cut(void **state)
{
	bool clean = false;
	int before = 0, after = 0;

	(void)state;
	atomic_store(&disk->small, true);
	for (int n = 1; !clean; n++) {
		struct pw_check c;
		struct folder f;
		struct watch x;

		folder_make(&f);
		fill(&f, 100, DAY, 10, true, 55);
		disk_tell(n, false, DISK_DIES);
		clean = prune_elsewhere(&f);
		disk_tell(0, false, 0);
		x = start_later(&f, &quick, 1000);
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		if (pw_writer_fault(x.w) != NULL
		    && strstr(pw_writer_fault(x.w), "seal files") == NULL)
			fail_msg("n %d: %s", n, pw_writer_fault(x.w));
		pw_writer_stop(x.w, PATIENCE_MS);
		assert_sound(&f, &c);
		if (c.first == 1 && c.seq == 102 && c.pruned == 0)
			before++;
		else if (c.first == 51 && c.seq == 103 && c.pruned == 102)
			after++;
		else
			fail_msg("n %d: %" PRIu64 " to %" PRIu64, n, c.first, c.seq);
		folder_remove(&f);
	}
	atomic_store(&disk->small, false);
	print_message("as before: %d, as after: %d\n", before, after);
	assert_true(before > 3 && after > 1);
}

/* -- by the writer ----------------------------------------------------------------------------- */

static void until_asleep(void)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	while (atomic_load(&disk->timeout) != -1) {
		assert_true(real_ms() < deadline_ms);
		sched_yield();
	}
}

/* A seal of later than that: nothing but pruning makes one here. */
static void until_sealed_after(const struct folder *f, uint64_t seq)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;
	struct pw_seal_file s[2] = { { .seal.seq = 0 } };
	unsigned broken;

	while (s[0].seal.seq <= seq && s[1].seal.seq <= seq) {
		assert_true(real_ms() < deadline_ms);
		sched_yield();
		pw_seal_files_read(f->path, s, &broken);
	}
}

/* Once a start: after the whole chain was gone through, and after a state of this start was kept.
 * Outside stands the seal of what it left behind. */
static void a_start_prunes(void **state)
{
	static const struct pw_pace keeping = { .retry_ms = 1,
						.stamp_ms = 1000000,
						.keep_days = 30 };

	(void)state;
	for (int late = 0; late <= 1; late++) {
		struct pw_check c;
		struct folder f;
		struct watch x;

		folder_make(&f);
		fill(&f, 100, DAY, 10, true, 55); /* long ago, by any clock of today */
		atomic_store(&disk->timeout, 0);
		x = start_later(&f, &keeping, 1000);
		if (late)
			until_asleep();
		batch(&x, PW_K_RUNG, 1, PW_PARKED);
		until_sealed_after(&f, 101);
		pw_writer_stop(x.w, PATIENCE_MS);
		assert_sound(&f, &c);
		if (c.first != 51 || c.pruned == 0)
			fail_msg("late %d: begins at %" PRIu64, late, c.first);
		x = start_later(&f, &quick, 2000);
		batch(&x, PW_K_SWEEP, 1, PW_PARKED);
		if (pw_writer_fault(x.w) != NULL)
			fail_msg("late %d: %s", late, pw_writer_fault(x.w));
		stop(&x);
		folder_remove(&f);
	}
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(what_may_go),
		IN_FOLDER(receipts_of_alerts_hide_nothing),
		IN_FOLDER(a_receipt_of_an_alert_alone_drops_nothing),
		cmocka_unit_test(a_clock_set_to_2099),
		IN_FOLDER(undated_records_stay),
		IN_FOLDER(a_young_record_keeps_what_comes_after),
		IN_FOLDER(no_more_than_4096_at_a_time),
		IN_FOLDER(nothing_goes_without_a_seal),
		IN_FOLDER(the_record_of_it),
		IN_FOLDER(the_rest_is_held),
		cmocka_unit_test(a_prune_that_is_cut),
		cmocka_unit_test(a_start_prunes),
	};

	disk_make();
	return cmocka_run_group_tests(tests, NULL, NULL);
}
