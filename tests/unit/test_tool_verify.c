/* SPDX-License-Identifier: Apache-2.0 */
/* J10: is it sound? J5: two branches from one head. */
#include "tool_edit.h"

#define FINGERPRINT "06e3fd8fda29bb60ab59557de61edb0aecdb231134be30e75b455f8e1b792fa9"

/* A small journal, its export, and the key as the office has it. */
static void make(struct tool *t)
{
	shell("rm -f '%s'/journal.db* '%s'/seal.*", t->dir, t->dir);
	journal_small(t);
	assert_int_equal(RUN(t, pw_export, "export", t->dir), 0);
	tool_write(tool_path(t, "export"), t->out);
	shell("cp '%s/bus.pub' '%s/office.pub'", t->dir, t->dir);
}

static int verify(struct tool *t, const char *name)
{
	return RUN(t, pw_verify, "verify", "--key", tool_path(t, "office.pub"), tool_path(t, name));
}

static unsigned count_of(const char *text, const char *part)
{
	unsigned n = 0;

	for (; (text = strstr(text, part)); text++)
		n++;
	return n;
}

/* -- sound ------------------------------------------------------------------------------------- */

static void a_sound_one_is_told_in_one_line(void **state)
{
	struct tool *t = *state;
	const char *of[] = { "journal.db", "export" };

	make(t);
	for (size_t i = 0; i < COUNT(of); i++) {
		assert_int_equal(verify(t, of[i]), PW_EXIT_OK);
		assert_string_equal(t->err, "");
		assert_int_equal(count_of(t->out, "\n"), 1);
		assert_has(t->out, ": bus bus-07, epoch ");
		assert_has(t->out, ": sound: 23 records, seq 1 to 23, 3 seals; key 06e3fd8fda29... "
			   "(given by --key)\n");
	}
}

/* The fingerprint is that of `openssl pkey` and `sha256sum`. */
static void a_key_that_came_along_shows_nothing_of_itself(void **state)
{
	struct tool *t = *state;
	char print[80];

	make(t);
	ask(print, sizeof(print), "openssl pkey -pubin -in '%s/bus.pub' -outform DER | sha256sum",
	    t->dir);
	print[64] = '\0';
	assert_string_equal(print, FINGERPRINT);
	assert_int_equal(RUN(t, pw_verify, "verify", t->dir), PW_EXIT_OK);
	assert_has(t->out, "its seals were checked by the key " FINGERPRINT ", which stands beside the "
		   "journal: that it is the bus's own key is not shown by that; compare it with the "
		   "fingerprint that the office keeps\n");
	assert_has(t->out, ": sound: ");
	assert_has(t->out, "(beside the journal)\n");
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "export")), PW_EXIT_OK);
	assert_has(t->out, FINGERPRINT ", which came out of the export itself: that it is");
	assert_has(t->out, "(out of the export)\n");
}

static int verify_input(int argc, char **argv)
{
	assert_non_null(freopen(argv[--argc], "r", stdin));
	argv[argc++] = strdup("-");
	return pw_verify(argc, argv);
}

static void an_export_may_come_on_standard_input(void **state)
{
	struct tool *t = *state;

	make(t);
	assert_int_equal(RUN(t, verify_input, "verify", tool_path(t, "export")), PW_EXIT_OK);
	assert_has(t->out, "standard input: bus bus-07");
}

/* -- touches of an export ---------------------------------------------------------------------- */

static void edit_body(struct lines *x)
{
	line_edit(x, line_of(x, 12), "done", "late");
}

static void edit_time(struct lines *x)
{
	line_edit(x, line_of(x, 12), "\"wall_ok\":1", "\"wall_ok\":0");
}

static void delete_one(struct lines *x)
{
	line_delete(x, line_of(x, 12));
}

static void delete_first(struct lines *x)
{
	line_delete(x, 1);
}

static void insert_one(struct lines *x)
{
	line_insert(x, line_of(x, 13), x->line[line_of(x, 12)]);
}

static void swap_two(struct lines *x)
{
	line_swap(x, line_of(x, 11), line_of(x, 12));
}

static void move_seal(struct lines *x)
{
	size_t i = line_of(x, 12);

	while (strncmp(x->line[i], "{\"seal\"", 7) != 0)
		i++;
	line_swap(x, i, i + 1);
}

static void strip_seals(struct lines *x)
{
	for (size_t i = x->count; i-- > 0;)
		if (strncmp(x->line[i], "{\"seal\"", 7) == 0)
			line_delete(x, i);
}

static void edit_seal(struct lines *x)
{
	size_t i = x->count - 2;
	char *at = strstr(x->line[i], "\"sig\":\"") + 7;

	*at = *at == 'a' ? 'b' : 'a';
}

static void edit_count(struct lines *x)
{
	line_edit(x, x->count - 1, "\"records\":23", "\"records\":24");
}

/* Cut back to before the last seal, and the end line made to fit. */
static void cut_tail(struct lines *x)
{
	while (strncmp(x->line[x->count - 2], "{\"seq\":23,", 10) != 0)
		line_delete(x, x->count - 2);
	line_edit(x, x->count - 1, "\"seals\":3", "\"seals\":2");
}

/* The key of RFC 8032, section 7.1, TEST 2. */
static void swap_key(struct lines *x)
{
	static const struct pw_public_key other = { {
		0x3d, 0x40, 0x17, 0xc3, 0xe8, 0x43, 0x89, 0x5a, 0x92, 0xb7, 0x0a,
		0xa7, 0x4d, 0x1b, 0x7e, 0xbc, 0x9c, 0x98, 0x2c, 0xcf, 0x2e, 0xc4,
		0x96, 0x8c, 0xc0, 0xcd, 0x55, 0xf1, 0x2a, 0xf4, 0x66, 0x0c,
	} };
	char head[400];

	assert_true(pw_export_head("bus-07", &other, head, sizeof(head) - 1) > 0);
	strcat(head, "\n");
	line_insert(x, 0, head);
	line_delete(x, 1);
}

static void rename_bus(struct lines *x)
{
	line_edit(x, 0, "bus-07", "bus-08");
}

static const struct {
	int line;
	const char *what;
	void (*touch)(struct lines *x);
	const char *finding, *verdict;
} touches[] = {
	{ __LINE__, "a body is edited", edit_body, "seq 12: its hash is not that of its text",
	  ": not sound: 1 finding, at seq 12; 23 records, seq 1 to 23, 3 seals; key" },
	{ __LINE__, "a clock is vouched for no more", edit_time, "seq 12: its hash",
	  ": not sound: 1 finding, at seq 12; " },
	{ __LINE__, "a record is deleted", delete_one, "seq 13: the record before it is 11", "" },
	{ __LINE__, "and the end line counts it", delete_one, "the end line counts 23 records and 3 "
	  "seals, but 22 and 3 stand here", ": not sound: 2 findings, the first at seq 13; " },
	{ __LINE__, "the first is deleted", delete_first, "seq 2: it begins here", "the first at seq 2" },
	{ __LINE__, "a record twice", insert_one, "seq 12: it stands there twice", "" },
	{ __LINE__, "two records swapped", swap_two, "seq 11: it stands behind record 12", "" },
	{ __LINE__, "a seal elsewhere", move_seal, "its seal does not stand right behind it", "" },
	{ __LINE__, "the seals stripped", strip_seals, "seq 1: nothing vouches for what stands from "
	  "here on", "not sound: 2 findings, the first at seq 1;" },
	{ __LINE__, "a seal edited", edit_seal, "seq 23: its seal is not by this key", "" },
	{ __LINE__, "an end line that counts more", edit_count, "the end line counts 24 records",
	  ": not sound: 1 finding; 23 records" },
	{ __LINE__, "the end is cut off, and the end line fits", cut_tail, "nothing vouches for what "
	  "stands from here on", ": not sound: 1 finding, at seq " },
	{ __LINE__, "another key in it", swap_key, "the key in it is ", ": not sound: 1 finding; " },
	{ __LINE__, "another bus", rename_bus, "seq 1: its hash is not that of its text", "" },
};

static void a_touch_of_an_export_is_found(void **state)
{
	struct tool *t = *state;

	make(t);
	for (size_t i = 0; i < COUNT(touches); i++) {
		struct lines x;

		print_message("  %s\n", touches[i].what);
		assert_int_equal(RUN(t, pw_export, "export", t->dir), 0);
		x = lines_of(t->out);
		touches[i].touch(&x);
		lines_write(&x, tool_path(t, "touched"));
		lines_free(&x);
		assert_int_equal(verify(t, "touched"), PW_EXIT_NOT);
		assert_string_equal(t->err, "");
		assert_has(t->out, "touched: ");
		assert_has(t->out, touches[i].finding);
		assert_has(t->out, touches[i].verdict);
	}
}

/* Wherever it is, and whichever it is: not one is sound. */
static void a_flipped_bit_of_an_export_is_found(void **state)
{
	struct tool *t = *state;
	size_t whole;
	char *text;

	make(t);
	text = strdup(t->out);
	whole = strlen(text);
	for (size_t n = 0; n < whole; n += 53) {
		char bit = (char)(1 << n % 8);

		text[n] = (char)(text[n] ^ bit);
		tool_write(tool_path(t, "touched"), text);
		if (verify(t, "touched") != PW_EXIT_NOT && t->status != PW_EXIT_BAD)
			fail_msg("bit %d of byte %zu: exit %d\n%s", (int)(n % 8), n, t->status, t->out);
		text[n] = (char)(text[n] ^ bit);
	}
	free(text);
}

/* -- touches of a journal ---------------------------------------------------------------------- */

static const struct {
	int line;
	const char *what, *sql, *shell;
	const char *finding;
} journal_touches[] = {
	{ __LINE__, "a body is edited", "UPDATE record SET body = '{}' WHERE seq = 12", "true",
	  "seq 12: its hash is not that of its text" },
	{ __LINE__, "a record is deleted", "DELETE FROM record WHERE seq = 12", "true", "seq 13: " },
	{ __LINE__, "the seals are stripped", "DELETE FROM seal", "true",
	  "seq 1: nothing vouches for what stands from here on" },
	{ __LINE__, "the kept state is edited", "UPDATE kept SET state = '{\"phase\":\"parked\"}'", "true",
	  "the kept state is not signed by the bus's key" },
	{ __LINE__, "the last record is taken off", "DELETE FROM seal WHERE seq = 23;"
	  "DELETE FROM record WHERE seq = 23", "true", "the kept state is of seq 23" },
	{ __LINE__, "the key beside it is another", "", "openssl genpkey -algorithm ed25519 |"
	  " openssl pkey -pubout > bus.pub", "the key beside it (bus.pub) is " },
	{ __LINE__, "the key beside it is none", "", "echo none > bus.pub",
	  "bus.pub: expected an Ed25519 public key" },
};

static void a_touch_of_a_journal_is_found(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(journal_touches); i++) {
		print_message("  %s\n", journal_touches[i].what);
		make(t);
		journal_edit(tool_path(t, "journal.db"), journal_touches[i].sql);
		shell("cd '%s' && %s", t->dir, journal_touches[i].shell);
		assert_int_equal(verify(t, "journal.db"), PW_EXIT_NOT);
		assert_string_equal(t->err, "");
		assert_has(t->out, journal_touches[i].finding);
		assert_has(t->out, ": not sound: ");
	}
}

/* J6: an older copy of the file put back beside newer seal files. */
static void an_older_copy_put_back_is_found(void **state)
{
	struct tool *t = *state;

	make(t);
	shell("cp '%s/journal.db' '%s/older'", t->dir, t->dir);
	journal_go_on(t->dir, "{\"at_ms\":1999000}");
	journal_go_on(t->dir, "{\"at_ms\":1999900}");
	assert_int_equal(verify(t, "journal.db"), PW_EXIT_OK);
	shell("cp '%s/older' '%s/journal.db'", t->dir, t->dir);
	assert_int_equal(verify(t, "journal.db"), PW_EXIT_NOT);
	assert_has(t->out, "it is older than its seal file: the records end at seq 23");
}

/* SQLite's own judgement. */
static void a_damaged_file_is_found(void **state)
{
	struct tool *t = *state;

	make(t);
	journal_edit(tool_path(t, "journal.db"), "PRAGMA writable_schema = ON;"
		     "DELETE FROM sqlite_schema WHERE name = 'record_sweep'");
	assert_int_equal(verify(t, "journal.db"), PW_EXIT_NOT);
	assert_has(t->out, "SQLite finds its file damaged: ");
}

/* What stands beside a journal that was put aside belongs to the one that came after it. */
static void a_journal_put_aside_is_judged_by_itself(void **state)
{
	struct tool *t = *state;

	make(t);
	shell("cd '%s' && mv journal.db journal.db.damaged-1", t->dir);
	journal_small(t);
	shell("cd '%s' && openssl genpkey -algorithm ed25519 | openssl pkey -pubout > bus.pub",
	      t->dir);
	assert_int_equal(verify(t, "journal.db.damaged-1"), PW_EXIT_OK);
	assert_has(t->out, "journal.db.damaged-1: bus bus-07");
	assert_int_equal(count_of(t->out, "\n"), 1);
}

/* -- keys -------------------------------------------------------------------------------------- */

static void another_key_vouches_for_nothing(void **state)
{
	struct tool *t = *state;

	make(t);
	shell("openssl genpkey -algorithm ed25519 | openssl pkey -pubout > '%s/office.pub'", t->dir);
	assert_int_equal(verify(t, "export"), PW_EXIT_NOT);
	assert_has(t->out, "the key in it is 06e3fd8fda29..., not the one given");
	assert_has(t->out, "its seal is not by this key");
	assert_has(t->out, "seq 1: nothing vouches for what stands from here on");
}

/* -- several ----------------------------------------------------------------------------------- */

static void a_copied_board_shows_as_two_branches(void **state)
{
	struct tool *t = *state;

	make(t);
	shell("cd '%s' && mkdir twin && cp journal.db seal.? bus.pub twin", t->dir);
	journal_go_on(t->dir, "{\"at_ms\":1999000}");
	journal_go_on(tool_path(t, "twin"), "{\"at_ms\":1999001}");
	assert_int_equal(RUN(t, pw_verify, "verify", "--key", tool_path(t, "office.pub"), t->dir,
			     tool_path(t, "twin")), PW_EXIT_NOT);
	assert_string_equal(t->err, "");
	assert_int_equal(count_of(t->out, ": sound: 24 records"), 2);
	assert_has(t->out, "two branches from seq 24: there each holds another record");
	/* an older export of either is a part of both */
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "export"), t->dir), PW_EXIT_OK);
	assert_has(t->out, ": the same records from seq 1 to 23; ");
	assert_has(t->out, " goes on to 24. If ");
}

static void journals_of_two_epochs_are_not_compared(void **state)
{
	struct tool *t = *state;

	make(t);
	shell("cd '%s' && mv journal.db first", t->dir);
	journal_small(t);
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "first"), tool_path(t, "export"),
			     tool_path(t, "export")), PW_EXIT_OK);
	assert_int_equal(count_of(t->out, "the same records"), 3);
	shell("cd '%s' && rm seal.*", t->dir);
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "first"),
			     tool_path(t, "journal.db")), PW_EXIT_OK);
	assert_null(strstr(t->out, "the same records"));
	assert_has(t->out, "journal.db: note: ");
}

/* The others are checked all the same. */
static void one_that_cannot_be_checked_stops_no_other(void **state)
{
	struct tool *t = *state;

	make(t);
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "nothing"), tool_path(t, "export")),
			 PW_EXIT_BAD);
	assert_has(t->err, "nothing: ");
	assert_has(t->out, "export: bus bus-07, epoch ");
}

/* -- bad input --------------------------------------------------------------------------------- */

#define HEAD                                                                                       \
	"{\"export\":\"postwalk-export-v1\",\"bus\":\"bus-07\",\"key\":\"-----BEGIN PUBLIC KEY-----\\n"  \
	"MCowBQYDK2VwAyEA11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=\\n-----END PUBLIC KEY-----\\n\"}\n"
#define EPOCH "0123456789abcdef"
#define DIGITS "0000000000000000000000000000000000000000000000000000000000000000"
#define RECORD(seq, body)                                                                          \
	"{\"seq\":" seq ",\"epoch\":\"" EPOCH "\",\"boot\":1,\"mono_ms\":1,\"wall_ms\":1,\"wall_ok\":1,"  \
	"\"kind\":\"excused\",\"body\":\"" body "\",\"prev\":\"" DIGITS "\",\"hash\":\"" DIGITS "\"}\n"
#define END "{\"end\":{\"records\":0,\"seals\":0}}\n"

static const struct {
	int line;
	const char *what, *text, *err;
} unfit[] = {
	{ __LINE__, "nothing in it", "", "bad: " },
	{ __LINE__, "text", "a page of text, and nothing else\n", "bad: expected a journal or an export" },
	{ __LINE__, "another database", "SQLite format 3", "bad: expected a journal or an export" },
	{ __LINE__, "JSON of another kind", "{\"kind\":\"sweep\"}\n", "bad:1: expected" },
	{ __LINE__, "JSON of one line that never ends", "{\"kind\":\"sweep\"", "bad:1: expected a whole" },
	{ __LINE__, "an export of another version",
	  "{\"export\":\"postwalk-export-v2\",\"bus\":\"b\",\"key\":\"k\"}\n", "bad:1: expected" },
	{ __LINE__, "no head", RECORD("1", "{}") END, "bad:1: expected the head of an export" },
	{ __LINE__, "two heads", HEAD HEAD END, "bad:2: expected one head" },
	{ __LINE__, "a head alone", HEAD, "bad:1: expected an end line behind this one: the export was "
	  "cut off here" },
	{ __LINE__, "no JSON", HEAD "seq 1\n" END, "bad:2: expected" },
	{ __LINE__, "a key twice", HEAD "{\"seq\":1,\"seq\":1}\n" END, "bad:2: expected no key twice" },
	{ __LINE__, "seq of 2^63", HEAD RECORD("9223372036854775808", "{}") END, "bad:2: expected" },
	{ __LINE__, "seq of 0", HEAD RECORD("0", "{}") END, "bad:2: expected \"seq\"" },
	{ __LINE__, "a key unknown", HEAD "{\"seal\":{\"seq\":1,\"hash\":\"" DIGITS "\",\"by\":1}}\n" END,
	  "bad:2: expected" },
	{ __LINE__, "something behind the end", HEAD END END, "bad:3: expected nothing behind" },
	{ __LINE__, "half an end", HEAD "{\"end\":{\"rec", "bad:2: expected a whole line and an end line" },
	{ __LINE__, "a key that is none",
	  "{\"export\":\"postwalk-export-v1\",\"bus\":\"bus-07\",\"key\":\"none\"}\n" END,
	  "bad:1: expected" },
	{ __LINE__, "a bus that is none",
	  "{\"export\":\"postwalk-export-v1\",\"bus\":\"bus 07\",\"key\":\"none\"}\n" END,
	  "bad:1: expected" },
};

static void what_cannot_be_checked_is_told_in_one_sentence(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(unfit); i++) {
		print_message("  %s\n", unfit[i].what);
		tool_write(tool_path(t, "bad"), unfit[i].text);
		RUN(t, pw_verify, "verify", tool_path(t, "bad"));
		assert_refused(t, unfit[i].err);
	}
}

static void a_record_longer_than_allowed_is_refused(void **state)
{
	static char body[PW_BODY_MAX + 2], text[70000];
	struct tool *t = *state;

	memset(body, 'x', PW_BODY_MAX + 1);
	snprintf(text, sizeof(text), HEAD RECORD("1", "%s") END, body);
	tool_write(tool_path(t, "bad"), text);
	RUN(t, pw_verify, "verify", tool_path(t, "bad"));
	assert_refused(t, "bad:2: expected \"body\"");
	memset(text, ' ', sizeof(text) - 1);
	text[0] = '{';
	tool_write(tool_path(t, "bad"), text);
	RUN(t, pw_verify, "verify", tool_path(t, "bad"));
	assert_refused(t, "bad:1: expected a line of ");
	make(t);
	journal_edit(tool_path(t, "journal.db"),
		     "UPDATE record SET body = printf('%.8193c', 'x') WHERE seq = 5");
	RUN(t, pw_verify, "verify", t->dir);
	assert_refused(t, "seq 5: ");
}

/* Wherever it breaks off: at a line's end or within one. */
static void an_export_that_was_cut_off_is_never_sound(void **state)
{
	struct tool *t = *state;
	size_t whole;
	char *text;

	make(t);
	text = strdup(t->out);
	whole = strlen(text);
	for (size_t n = whole - 2; n > 0; n -= n > 211 ? 211 : n) {
		text[n] = '\0';
		tool_write(tool_path(t, "bad"), text);
		RUN(t, pw_verify, "verify", tool_path(t, "bad"));
		assert_refused(t, "cut off here");
	}
	free(text);
}

static const struct {
	int line;
	const char *what, *sql, *err;
} unfit_journals[] = {
	{ __LINE__, "another version", "PRAGMA user_version = 7", "is a journal of version 7" },
	{ __LINE__, "of another program", "PRAGMA application_id = 7", "not a journal of postwalk" },
	{ __LINE__, "no table of records", "DROP TABLE record", "journal.db: " },
	{ __LINE__, "no bus", "DELETE FROM meta", "does not say of which bus" },
};

static void what_is_no_journal_is_told_in_one_sentence(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(unfit_journals); i++) {
		print_message("  %s\n", unfit_journals[i].what);
		make(t);
		journal_edit(tool_path(t, "journal.db"), unfit_journals[i].sql);
		RUN(t, pw_verify, "verify", t->dir);
		assert_refused(t, unfit_journals[i].err);
	}
	shell("rm '%s/journal.db'", t->dir);
	RUN(t, pw_verify, "verify", t->dir);
	assert_refused(t, "journal.db: expected a journal or an export of one that can be read");
}

static void a_key_that_is_none_is_told_in_one_sentence(void **state)
{
	struct tool *t = *state;

	make(t);
	RUN(t, pw_verify, "verify", "--key", tool_path(t, "journal.db"), tool_path(t, "export"));
	assert_refused(t, "journal.db: expected an Ed25519 public key");
	RUN(t, pw_verify, "verify", "--key", tool_path(t, "nothing"), tool_path(t, "export"));
	assert_refused(t, "nothing: No such file");
	unlink(tool_path(t, "bus.pub"));
	RUN(t, pw_verify, "verify", t->dir);
	assert_refused(t, "or --key PUB)");
}

static void arguments_that_are_none(void **state)
{
	struct tool *t = *state;

	assert_int_equal(RUN(t, pw_verify, "verify"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk verify");
	assert_int_equal(RUN(t, pw_verify, "verify", "--fast", "a"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk verify");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(a_sound_one_is_told_in_one_line),
		TEST(a_key_that_came_along_shows_nothing_of_itself),
		TEST(an_export_may_come_on_standard_input),
		TEST(a_touch_of_an_export_is_found),
		TEST(a_flipped_bit_of_an_export_is_found),
		TEST(a_touch_of_a_journal_is_found),
		TEST(an_older_copy_put_back_is_found),
		TEST(a_damaged_file_is_found),
		TEST(a_journal_put_aside_is_judged_by_itself),
		TEST(another_key_vouches_for_nothing),
		TEST(a_copied_board_shows_as_two_branches),
		TEST(journals_of_two_epochs_are_not_compared),
		TEST(one_that_cannot_be_checked_stops_no_other),
		TEST(what_cannot_be_checked_is_told_in_one_sentence),
		TEST(a_record_longer_than_allowed_is_refused),
		TEST(an_export_that_was_cut_off_is_never_sound),
		TEST(what_is_no_journal_is_told_in_one_sentence),
		TEST(a_key_that_is_none_is_told_in_one_sentence),
		TEST(arguments_that_are_none),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
