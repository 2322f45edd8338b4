/* SPDX-License-Identifier: Apache-2.0 */
/* The journal's file (J1-J3), looked at with sqlite3 and sha256sum as well. */
#include "record_help.h"

static struct pw_journal *must_open(const struct folder *f, bool write)
{
	struct pw_journal *j;
	char why[256];
	int result = pw_journal_open(in(f, "journal.db"), write ? BUS : NULL, write, &j, why,
				     sizeof(why));

	if (result != 0)
		fail_msg("%s", why);
	return j;
}

static void must(int result, const char *why)
{
	if (result != 0)
		fail_msg("%s", why);
}

/* One batch of records numbered from..to-1. */
static void add(struct pw_journal *j, int64_t from, int64_t to)
{
	char why[256] = "", body[64];
	struct pw_kept_row row = { .state = "{}", .boot = 1, .batch = (uint64_t)to };

	must(pw_journal_begin(j, why, sizeof(why)), why);
	for (int64_t i = from; i < to; i++) {
		struct pw_record r = { .boot = 1, .mono_ms = i, .wall_ms = 1790000000000 + i,
				       .wall_ok = i % 2, .kind = PW_K_EXCUSED, .body = body };

		snprintf(body, sizeof(body), "{\"at_ms\":%" PRId64 "}", i);
		must(pw_journal_add(j, &r, why, sizeof(why)), why);
	}
	must(pw_journal_keep(j, &row, fixed_key(), why, sizeof(why)), why);
	must(pw_journal_commit(j, why, sizeof(why)), why);
}

static void begun(const struct folder *f, int64_t records)
{
	struct pw_journal *j = must_open(f, true);

	add(j, 1, records + 1);
	pw_journal_close(j);
}

static void assert_sql(const struct folder *f, const char *sql, const char *expected)
{
	char answer[512];

	ask(answer, sizeof(answer), "sqlite3 -batch '%s' \"%s\" 2>&1", in(f, "journal.db"), sql);
	if (strstr(answer, expected) == NULL || (expected[0] == '\0' && answer[0] != '\0'))
		fail_msg("%s: \"%s\", not \"%s\"", sql, answer, expected);
}

/* J1, J2. */
static void the_file_is_what_J1_says(void **state)
{
	struct folder *f = *state;
	struct pw_journal *j = must_open(f, true);

	add(j, 1, 4);
	assert_true(exists(f, "journal.db-wal"));
	pw_journal_close(j);
	assert_sql(f, "PRAGMA journal_mode", "wal");
	assert_sql(f, "PRAGMA page_size", "4096");
	assert_sql(f, "PRAGMA application_id", "1347898443");
	assert_sql(f, "PRAGMA user_version", "1");
	assert_sql(f, "PRAGMA integrity_check", "ok");
	assert_sql(f, "SELECT group_concat(name) FROM (SELECT name FROM pragma_table_list"
		      " WHERE strict AND schema = 'main' ORDER BY name)", "kept,meta,record,seal");
	assert_sql(f, "SELECT group_concat(name) FROM pragma_table_info('record')",
		   "seq,epoch,boot,mono_ms,wall_ms,wall_ok,kind,body,prev,hash");
	assert_sql(f, "SELECT bus || length(epoch) FROM meta", "bus-716");
	assert_sql(f, "SELECT count(*) || ',' || min(seq) || ',' || max(seq) FROM record", "3,1,3");
	assert_sql(f, "SELECT count(*) FROM record, meta WHERE record.epoch IS meta.epoch", "3");
}

/* J1: any program that opens it is held to it. */
static void records_are_only_added_and_without_a_gap(void **state)
{
	struct folder *f = *state;

	begun(f, 3);
	assert_sql(f, "UPDATE record SET body = '{}' WHERE seq = 2", "only ever added");
	assert_sql(f, "DELETE FROM record WHERE seq = 3", "only ever added");
	assert_sql(f, "REPLACE INTO record SELECT * FROM record WHERE seq = 3",
		   "the last one and 1");
	assert_sql(f, "INSERT INTO record SELECT 5, epoch, boot, mono_ms, wall_ms, wall_ok, kind,"
		      " body, prev, hash FROM record WHERE seq = 3", "the last one and 1");
	assert_sql(f, "INSERT INTO record SELECT NULL, epoch, boot, mono_ms, wall_ms, wall_ok,"
		      " kind, body, prev, hash FROM record WHERE seq = 3", "the last one and 1");
	assert_sql(f, "INSERT INTO record SELECT 4, epoch, 'first', mono_ms, wall_ms, wall_ok,"
		      " kind, body, prev, hash FROM record WHERE seq = 3", "TEXT");
	assert_int_equal(assert_chain(f), 3);
}

/* J3 by the tools that anyone has: sqlite3 lays the text out, sha256sum (GNU coreutils) hashes. */
static void the_chain_as_others_check_it(void **state)
{
	struct folder *f = *state;
	char outside[80], inside[80], prev[80];

	begun(f, 20);
	snprintf(prev, sizeof(prev), "%s", PW_CHAIN_ORIGIN);
	for (int seq = 1; seq <= 20; seq++) {
		ask(outside, sizeof(outside),
		    "sqlite3 -batch -noheader '%s' \"SELECT 'postwalk-record-v1' || x || 'bus-7'"
		    " || x || epoch || x || seq || x || boot || x || mono_ms || x || wall_ms || x"
		    " || wall_ok || x || kind || x || prev || x || body FROM record,"
		    " (SELECT char(10) AS x) WHERE seq = %d AND prev = '%s'\""
		    " | head -c -1 | sha256sum | cut -c1-64",
		    in(f, "journal.db"), seq, prev);
		ask(inside, sizeof(inside), "sqlite3 '%s' 'SELECT hash FROM record WHERE seq = %d'",
		    in(f, "journal.db"), seq);
		assert_string_equal(inside, outside);
		snprintf(prev, sizeof(prev), "%s", inside);
	}
}

static void a_journal_goes_on_where_it_stood(void **state)
{
	struct folder *f = *state;
	char epoch[32], later[32], hash[65], why[256];
	struct pw_kept_row row;
	struct pw_journal *j;

	begun(f, 3);
	ask(epoch, sizeof(epoch), "sqlite3 '%s' 'SELECT epoch FROM meta'", in(f, "journal.db"));
	j = must_open(f, true);
	assert_int_equal(pw_journal_head(j, hash), 3);
	assert_int_equal(pw_journal_kept(j, &row, why, sizeof(why)), 1);
	assert_int_equal(row.batch, 4);
	add(j, 4, 40);
	add(j, 40, 40); /* a state alone is worth a commit */
	pw_journal_close(j);
	assert_int_equal(assert_chain(f), 39);
	ask(later, sizeof(later), "sqlite3 '%s' 'SELECT epoch FROM meta'", in(f, "journal.db"));
	assert_string_equal(epoch, later);
}

/* J2: an epoch is drawn. */
static void two_journals_are_two_epochs(void **state)
{
	struct folder *f = *state;
	char one[32], other[32];

	begun(f, 1);
	ask(one, sizeof(one), "sqlite3 '%s' 'SELECT epoch FROM meta'", in(f, "journal.db"));
	assert_int_equal(run("rm '%s'", in(f, "journal.db")), 0);
	begun(f, 1);
	ask(other, sizeof(other), "sqlite3 '%s' 'SELECT epoch FROM meta'", in(f, "journal.db"));
	assert_true(pw_hex_text(one, 16) && pw_hex_text(other, 16));
	assert_string_not_equal(one, other);
}

static void what_is_not_committed_is_not_there(void **state)
{
	struct folder *f = *state;
	struct pw_journal *j = must_open(f, true);
	struct pw_record r = { .kind = PW_K_EXCUSED, .body = "{}" };
	char why[256];

	add(j, 1, 3);
	assert_int_equal(pw_journal_begin(j, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_add(j, &r, why, sizeof(why)), 0);
	pw_journal_close(j);
	assert_int_equal(assert_chain(f), 2);
}

static void reading_begins_anywhere(void **state)
{
	struct folder *f = *state;
	struct pw_journal *j;
	struct pw_record r;
	char why[256];

	begun(f, 9);
	j = must_open(f, false);
	assert_string_equal(pw_journal_bus(j), BUS);
	assert_int_equal(pw_journal_read(j, 5, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 5);
	assert_string_equal(r.body, "{\"at_ms\":5}");
	assert_int_equal(r.kind, PW_K_EXCUSED);
	assert_true(r.wall_ok);
	assert_int_equal(pw_journal_read(j, 6, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 6);
	assert_false(r.wall_ok);
	assert_int_equal(pw_journal_read(j, 0, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 1);
	assert_int_equal(pw_journal_read(j, 9, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 9);
	assert_int_equal(pw_journal_read(j, 10, &r, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_read(j, 10, &r, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_read(j, UINT64_MAX, &r, why, sizeof(why)), 0);
	assert_int_equal(pw_journal_read(j, 3, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 3);
	pw_journal_close(j);
}

/* -- readers change nothing -------------------------------------------------------------------- */

static void assert_untouched(const struct folder *f, const char *before)
{
	char after[80];

	ask(after, sizeof(after), "cd '%s' && ls | sort | xargs sha256sum | sha256sum", f->path);
	assert_string_equal(after, before);
}

static void a_reader_leaves_a_journal_at_rest_as_it_is(void **state)
{
	struct folder *f = *state;
	char before[80];

	begun(f, 3);
	ask(before, sizeof(before), "cd '%s' && ls | sort | xargs sha256sum | sha256sum", f->path);
	assert_int_equal(assert_chain(f), 3);
	assert_untouched(f, before);
}

static void a_reader_sees_what_only_the_log_has(void **state)
{
	struct folder *f = *state;
	struct folder copy;
	struct pw_journal *j = must_open(f, true);

	add(j, 1, 8);
	folder_make(&copy);
	assert_int_equal(run("cp '%s' '%s' '%s'", in(f, "journal.db"), in(f, "journal.db-wal"),
			     copy.path), 0);
	pw_journal_close(j);
	assert_int_equal(assert_chain(&copy), 7);
	assert_true(exists(&copy, "journal.db-wal")); /* not played back by a reader */
	assert_int_equal(assert_chain(&copy), 7);
	folder_remove(&copy);
}

static void a_reader_of_a_live_journal_harms_nothing(void **state)
{
	struct folder *f = *state;
	struct pw_journal *writer = must_open(f, true), *reader;
	struct pw_record r;
	char why[256];

	add(writer, 1, 3);
	reader = must_open(f, false);
	assert_int_equal(pw_journal_read(reader, 1, &r, why, sizeof(why)), 1);
	assert_true(pw_journal_begin(reader, why, sizeof(why)) < 0
		    || pw_journal_add(reader, &r, why, sizeof(why)) < 0);
	add(writer, 3, 3000); /* across a checkpoint */
	assert_int_equal(pw_journal_read(reader, 2, &r, why, sizeof(why)), 1);
	assert_int_equal(r.seq, 2);
	pw_journal_close(reader);
	assert_true(exists(f, "journal.db-wal"));
	add(writer, 3000, 3010);
	pw_journal_close(writer);
	assert_int_equal(assert_chain(f), 3009);
}

static void a_name_may_have_any_letters(void **state)
{
	struct folder *f = *state;
	struct pw_journal *j;
	char why[256];

	begun(f, 2);
	assert_int_equal(run("mv '%s' '%s'", in(f, "journal.db"), in(f, "a b?c#d%20&e.db")), 0);
	assert_int_equal(pw_journal_open(in(f, "a b?c#d%20&e.db"), NULL, false, &j, why,
					 sizeof(why)), 0);
	pw_journal_close(j);
}

/* -- refused ----------------------------------------------------------------------------------- */

static const struct {
	int line;
	const char *spoil; /* shell, in the folder */
	int writing, reading;
	const char *words;
} refusals[] = {
	{ __LINE__, "sqlite3 journal.db 'PRAGMA user_version = 2'", -2, -2,
	  "is a journal of version 2; this program reads 1" },
	{ __LINE__, "sqlite3 journal.db 'PRAGMA application_id = 7'", -2, -2,
	  "is a database, but not a journal of postwalk" },
	{ __LINE__, "rm journal.db; sqlite3 journal.db 'CREATE TABLE mine (x)'", -2, -2,
	  "is a database, but not a journal of postwalk" },
	{ __LINE__, "seq 5000 > journal.db", -2, -2, "file is not a database" },
	{ __LINE__, "sqlite3 journal.db \"UPDATE meta SET bus = 'bus-8'\"", -2, 0,
	  "is of bus bus-8, not bus-7" },
	{ __LINE__, "sqlite3 journal.db \"UPDATE meta SET epoch = 'x'\"", -2, -2,
	  "does not say of which bus and epoch it is" },
	{ __LINE__, "sqlite3 journal.db 'DELETE FROM meta'", -2, -2,
	  "does not say of which bus and epoch it is" },
	{ __LINE__, "sqlite3 journal.db 'DROP TRIGGER record_no_update;"
		    " UPDATE record SET mono_ms = 0 WHERE seq = 30'", -2, 0,
	  "the chain does not hold at seq 30" },
	{ __LINE__, "sqlite3 journal.db 'DROP TRIGGER record_no_delete;"
		    " DELETE FROM record WHERE seq = 30'", -2, 0,
	  "seq 30 is not there" },
	{ __LINE__, "sqlite3 journal.db \"DROP TRIGGER record_no_update;"
		    " UPDATE record SET kind = 'tea' WHERE seq = 30\"", -2, 0,
	  "seq 30 is of no known kind" },
	{ __LINE__, "sqlite3 journal.db \"DROP TRIGGER record_no_update;"
		    " UPDATE record SET prev = 'x' WHERE seq = 30\"", -2, 0, "hex digits" },
	{ __LINE__, "sqlite3 journal.db \"DROP TRIGGER record_no_update; UPDATE record SET body ="
		    " hex(zeroblob(5000)) WHERE seq = 30\"", -2, 0,
	  "a body of 8192 bytes at most" },
	{ __LINE__, "sqlite3 journal.db 'DROP TABLE record'", -2, -2, "no such table: record" },
	{ __LINE__, "rm journal.db", 0, -1, "No such file or directory" },
	{ __LINE__, "rm journal.db; mkdir journal.db", -1, -1, "Is a directory" },
	{ __LINE__, ": > journal.db", 0, -2, "no journal has been begun in it" },
};

/* J6: what a start believes. */
static int judged(struct pw_journal *j, char *why, size_t size)
{
	int result = pw_journal_quick_check(j, why, size);

	return result < 0 ? result : pw_journal_judge(j, NULL, &fixed_key()->public, why, size);
}

static void assert_refused(const struct folder *f, bool write, size_t i)
{
	const int expected = write ? refusals[i].writing : refusals[i].reading;
	struct pw_journal *j;
	char why[256] = "";
	int result = pw_journal_open(in(f, "journal.db"), write ? BUS : NULL, write, &j, why,
				     sizeof(why));

	if (result == 0 && write && (result = judged(j, why, sizeof(why))) < 0) {
		pw_journal_close(j);
		j = NULL;
	}
	if (result != expected)
		fail_msg("line %d, %s: %d: %s", refusals[i].line, write ? "writing" : "reading",
			 result, why);
	if (result < 0 && (strstr(why, refusals[i].words) == NULL || strstr(why, f->path) == NULL))
		fail_msg("line %d: \"%s\"", refusals[i].line, why);
	if (result < 0)
		assert_null(j);
	pw_journal_close(j);
}

static void a_file_that_is_no_sound_journal_is_refused(void **state)
{
	for (size_t i = 0; i < sizeof(refusals) / sizeof(refusals[0]); i++) {
		struct folder f;

		folder_make(&f);
		begun(&f, 40);
		assert_int_equal(run("cd '%s' && %s", f.path, refusals[i].spoil), 0);
		assert_refused(&f, false, i);
		assert_refused(&f, true, i);
		folder_remove(&f);
	}
	(void)state;
}

static void a_bus_has_a_name_that_fits_the_chain(void **state)
{
	struct folder *f = *state;
	static const char *const bad[] = { NULL, "", "bus 7", "bus\n7", "bus'7",
					   "a-name-that-is-longer-than-any-id" };
	struct pw_journal *j;
	char why[256];

	for (size_t i = 0; i < sizeof(bad) / sizeof(bad[0]); i++) {
		assert_int_equal(pw_journal_open(in(f, "journal.db"), bad[i], true, &j, why,
						 sizeof(why)), -1);
		assert_non_null(strstr(why, "a bus id of A-Z a-z 0-9 . _ - was expected"));
	}
	assert_false(exists(f, "journal.db"));
}

static void a_record_that_cannot_be_read_is_told(void **state)
{
	struct folder *f = *state;
	struct pw_journal *j;
	struct pw_record r;
	char why[256];

	begun(f, 4);
	assert_int_equal(run("sqlite3 '%s' \"DROP TRIGGER record_no_update;"
			     " UPDATE record SET kind = 'tea' WHERE seq = 3\"",
			     in(f, "journal.db")), 0);
	j = must_open(f, false);
	assert_int_equal(pw_journal_read(j, 2, &r, why, sizeof(why)), 1);
	assert_int_equal(pw_journal_read(j, 3, &r, why, sizeof(why)), -2);
	assert_non_null(strstr(why, "seq 3 is of no known kind"));
	assert_int_equal(pw_journal_read(j, 4, &r, why, sizeof(why)), 1);
	pw_journal_close(j);
}

/* -- aside ------------------------------------------------------------------------------------- */

static void a_key_is_put_aside_with_its_public_half(void **state)
{
	struct folder *f = *state;
	unsigned n;

	write_file(in(f, "bus.key"), "secret");
	write_file(in(f, "bus.pub"), "public");
	assert_int_equal(pw_key_aside(f->path, &n), 0);
	assert_true(exists(f, "bus.damaged-1.key") && exists(f, "bus.damaged-1.pub"));
	assert_false(exists(f, "bus.key") || exists(f, "bus.pub"));
}

static void put_aside_whole(void **state)
{
	struct folder *f = *state;
	unsigned n;

	write_file(in(f, "journal.db"), "one");
	write_file(in(f, "journal.db-wal"), "log");
	assert_int_equal(pw_journal_aside(f->path, &n), 0);
	assert_int_equal(n, 1);
	assert_true(exists(f, "journal.db.damaged-1") && exists(f, "journal.db.damaged-1-wal"));
	assert_false(exists(f, "journal.db") || exists(f, "journal.db-wal"));
	write_file(in(f, "journal.db"), "two");
	assert_int_equal(pw_journal_aside(f->path, &n), 0);
	assert_int_equal(n, 2);
	for (n = 3; n <= 16; n++)
		write_file(in(f, "journal.db"), "more"), assert_int_equal(
			pw_journal_aside(f->path, &(unsigned){ 0 }), 0);
	write_file(in(f, "journal.db"), "last");
	assert_int_equal(pw_journal_aside(f->path, &n), -1);
	assert_true(exists(f, "journal.db"));
	assert_int_equal(pw_journal_aside("/nowhere", &n), -1);
}

int main(void)
{
#define IN_FOLDER(test) \
	cmocka_unit_test_setup_teardown(test, with_folder, without_folder)
	const struct CMUnitTest tests[] = {
		IN_FOLDER(the_file_is_what_J1_says),
		IN_FOLDER(records_are_only_added_and_without_a_gap),
		IN_FOLDER(the_chain_as_others_check_it),
		IN_FOLDER(a_journal_goes_on_where_it_stood),
		IN_FOLDER(two_journals_are_two_epochs),
		IN_FOLDER(what_is_not_committed_is_not_there),
		IN_FOLDER(reading_begins_anywhere),
		IN_FOLDER(a_reader_leaves_a_journal_at_rest_as_it_is),
		IN_FOLDER(a_reader_sees_what_only_the_log_has),
		IN_FOLDER(a_reader_of_a_live_journal_harms_nothing),
		IN_FOLDER(a_name_may_have_any_letters),
		cmocka_unit_test(a_file_that_is_no_sound_journal_is_refused),
		IN_FOLDER(a_bus_has_a_name_that_fits_the_chain),
		IN_FOLDER(a_record_that_cannot_be_read_is_told),
		IN_FOLDER(put_aside_whole),
		IN_FOLDER(a_key_is_put_aside_with_its_public_half),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
