/* SPDX-License-Identifier: Apache-2.0 */
/* J10: a journal as JSON Lines. */
#include "tool_edit.h"

/* What sqlite3's own JSON says of the same table. */
#define TABLE                                                                                      \
	"SELECT json_object('seq', seq, 'epoch', epoch, 'boot', boot, 'mono_ms', mono_ms,"           \
	" 'wall_ms', wall_ms, 'wall_ok', wall_ok, 'kind', kind, 'body', body, 'prev', prev,"         \
	" 'hash', hash) FROM record ORDER BY seq"
#define SEALS "SELECT json_object('seq', seq, 'hash', hash, 'sig', sig) FROM seal ORDER BY seq"

static void export_small(struct tool *t)
{
	journal_small(t);
	assert_int_equal(RUN(t, pw_export, "export", t->dir), 0);
	assert_string_equal(t->err, "");
}

static json_t *parse(const char *line)
{
	json_t *j = json_loads(line, JSON_REJECT_DUPLICATES, NULL);

	assert_non_null(j);
	return j;
}

static const char *text_at(const json_t *j, const char *key)
{
	const char *text = json_string_value(json_object_get(j, key));

	assert_non_null(text);
	return text;
}

/* -- what stands in it ------------------------------------------------------------------------- */

static void the_head_names_bus_and_key(void **state)
{
	struct tool *t = *state;
	char pem[PW_PEM_MAX];
	json_t *head;
	struct lines x;

	export_small(t);
	x = lines_of(t->out);
	head = parse(x.line[0]);
	assert_string_equal(text_at(head, "export"), "postwalk-export-v1");
	assert_string_equal(text_at(head, "bus"), "bus-07");
	pw_public_key_pem(&journal_key()->public, pem);
	assert_string_equal(text_at(head, "key"), pem);
	json_decref(head);
	lines_free(&x);
}

/* Each line of the table is a line of the export, in order; the seals as well. */
static void assert_same(const struct tool *t, const struct lines *x, const char *sql, const char *in)
{
	FILE *pipe;
	char command[1000], row[PW_EXPORT_LINE_MAX];
	size_t i = 0, rows = 0;

	snprintf(command, sizeof(command), "sqlite3 -readonly '%s/journal.db' \"%s\"", t->dir, sql);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	for (; fgets(row, sizeof(row), pipe); rows++) {
		json_t *there = parse(row), *here = NULL, *one = NULL;

		for (i++; i < x->count && !one; i += !one) {
			json_decref(here);
			here = parse(x->line[i]);
			one = in ? json_object_get(here, in)
				 : json_object_get(here, "seq") ? here : NULL;
		}
		if (!json_equal(one, there))
			fail_msg("expected %s, got %s", row, i < x->count ? x->line[i] : "nothing");
		json_decref(there);
		json_decref(here);
	}
	assert_int_equal(pclose(pipe), 0);
	assert_true(rows > 1);
}

static void it_holds_what_sqlite3_reads(void **state)
{
	struct tool *t = *state;
	struct lines x;

	export_small(t);
	x = lines_of(t->out);
	assert_same(t, &x, TABLE, NULL);
	assert_same(t, &x, SEALS, "seal");
	lines_free(&x);
}

static void a_seal_stands_behind_its_record_and_the_end_counts(void **state)
{
	struct tool *t = *state;
	json_int_t records = 0, seals = 0, seq = 0;
	json_t *j, *end;
	struct lines x;

	export_small(t);
	x = lines_of(t->out);
	for (size_t i = 1; i + 1 < x.count; i++) {
		j = parse(x.line[i]);
		if (json_object_get(j, "seal")) {
			seals++;
			assert_int_equal(json_integer_value(json_object_get(
				json_object_get(j, "seal"), "seq")), seq);
		} else {
			records++;
			seq = json_integer_value(json_object_get(j, "seq"));
			assert_int_equal(seq, records);
		}
		json_decref(j);
	}
	j = parse(x.line[x.count - 1]);
	end = json_object_get(j, "end");
	assert_int_equal(json_integer_value(json_object_get(end, "records")), records);
	assert_int_equal(json_integer_value(json_object_get(end, "seals")), seals);
	assert_true(seals >= 3); /* two sweeps and the stop */
	json_decref(j);
	lines_free(&x);
}

/* A seal of no record stands where its record should be, and an auditor sees it. */
static void seals_without_a_record_are_in_it(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	journal_edit(tool_path(t, "journal.db"),
		     "INSERT INTO seal SELECT 9000, hash, sig FROM seal LIMIT 1;"
		     "DELETE FROM record WHERE seq = (SELECT min(seq) FROM seal)");
	assert_int_equal(RUN(t, pw_export, "export", t->dir), 0);
	assert_has(t->out, "{\"seal\":{\"seq\":9000,");
	tool_write(tool_path(t, "export"), t->out);
	assert_int_equal(RUN(t, pw_verify, "verify", tool_path(t, "export")), PW_EXIT_NOT);
	assert_has(t->out, "export: seq 9000: its seal does not stand right behind it");
}

static void any_way_to_name_it_gives_the_same(void **state)
{
	struct tool *t = *state;
	char *whole;

	export_small(t);
	whole = strdup(t->out);
	assert_int_equal(RUN(t, pw_export, "export", tool_path(t, "journal.db")), 0);
	assert_string_equal(t->out, whole);
	shell("mkdir '%s/other'; cd '%s'; mv journal.db other/journal.db.damaged-3", t->dir, t->dir);
	assert_int_equal(RUN(t, pw_export, "export", "--key", tool_path(t, "bus.pub"),
			     tool_path(t, "other/journal.db.damaged-3")), 0);
	assert_string_equal(t->out, whole);
	free(whole);
}

/* -- what cannot be exported ------------------------------------------------------------------- */

static const struct {
	int line;
	const char *what, *sql, *err;
} unfit[] = {
	{ __LINE__, "an unknown kind", "UPDATE record SET kind = 'x' WHERE seq = 5", "seq 5" },
	{ __LINE__, "a long body", "UPDATE record SET body = printf('%.8193c', 'x') WHERE seq = 5",
	  "seq 5" },
	{ __LINE__, "a body that is not UTF-8",
	  "UPDATE record SET body = CAST(x'22ff22' AS TEXT) WHERE seq = 5",
	  "seq 5: expected a record that an export can hold unaltered" },
	{ __LINE__, "a hash that is none", "UPDATE record SET hash = 'ab' WHERE seq = 5", "seq 5" },
	{ __LINE__, "a seal that is none", "UPDATE seal SET sig = 'ab'", "sig" },
};

/* One sentence, exit 2, and no end line: so nobody takes what came before for the whole. */
static void what_breaks_off_has_no_end_line(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(unfit); i++) {
		print_message("  %s\n", unfit[i].what);
		shell("rm -f '%s'/journal.db* '%s'/seal.*", t->dir, t->dir);
		journal_small(t);
		journal_edit(tool_path(t, "journal.db"), unfit[i].sql);
		assert_int_equal(RUN(t, pw_export, "export", t->dir), PW_EXIT_BAD);
		assert_has(t->err, unfit[i].err);
		assert_ptr_equal(strchr(t->err, '\n'), t->err + strlen(t->err) - 1);
		assert_null(strstr(t->out, "\"end\""));
	}
}

static int export_to_full(int argc, char **argv)
{
	assert_non_null(freopen("/dev/full", "w", stdout));
	return pw_export(argc, argv);
}

static void an_output_that_is_full_is_told(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	RUN(t, export_to_full, "export", t->dir);
	assert_refused(t, "standard output cannot be written");
}

static void what_is_no_journal_is_refused(void **state)
{
	struct tool *t = *state;

	RUN(t, pw_export, "export", tool_path(t, "nothing"));
	assert_refused(t, "nothing: ");
	tool_write(tool_path(t, "text"), "seq,epoch,boot\n");
	RUN(t, pw_export, "export", tool_path(t, "text"));
	assert_refused(t, "text: expected a journal");
	export_small(t);
	tool_write(tool_path(t, "an-export"), t->out);
	RUN(t, pw_export, "export", tool_path(t, "an-export"));
	assert_refused(t, "an-export: expected a journal; this is an export already");
}

static void without_a_key_there_is_no_export(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	unlink(tool_path(t, "bus.pub"));
	RUN(t, pw_export, "export", t->dir);
	assert_refused(t, "bus.pub: No such file or directory");
	tool_write(tool_path(t, "bus.pub"), "no key\n");
	RUN(t, pw_export, "export", t->dir);
	assert_refused(t, "bus.pub: expected an Ed25519 public key");
	RUN(t, pw_export, "export", "--key", tool_path(t, "journal.db"), t->dir);
	assert_refused(t, "journal.db: expected an Ed25519 public key");
}

static void arguments_that_are_none(void **state)
{
	struct tool *t = *state;

	assert_int_equal(RUN(t, pw_export, "export"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk export");
	assert_int_equal(RUN(t, pw_export, "export", "a", "b"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk export");
	assert_int_equal(RUN(t, pw_export, "export", "--whole", "a"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk export");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(the_head_names_bus_and_key),
		TEST(it_holds_what_sqlite3_reads),
		TEST(a_seal_stands_behind_its_record_and_the_end_counts),
		TEST(seals_without_a_record_are_in_it),
		TEST(any_way_to_name_it_gives_the_same),
		TEST(what_breaks_off_has_no_end_line),
		TEST(an_output_that_is_full_is_told),
		TEST(what_is_no_journal_is_refused),
		TEST(without_a_key_there_is_no_export),
		TEST(arguments_that_are_none),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
