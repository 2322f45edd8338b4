/* SPDX-License-Identifier: Apache-2.0 */
/*
 * docs/verify.md, run as it is written (verify-doc.sh): with sqlite3, sha256sum and openssl it
 * comes to what `postwalk verify` comes to. On journals nobody touched every block says what
 * stands under it; on touched ones the block that is about that says what is wrong.
 */
#include "copies.h"

struct doc_case {
	int line;
	const char *what, *from, *sql, *sh;
	const char *change;  /* what the reader puts in, NULL: nothing */
	const char *says[4]; /* blocks by heading, and what they say; none: all is as it should be */
};

#define EDIT "UPDATE record SET body = replace(body, '0', '1') WHERE seq = 10"

/* Records and seals: copies.h. */
static const struct doc_case cases[] = {
	{ __LINE__, "nobody touched it", "early", .says = { NULL } },
	{ __LINE__, "its export", "early", .change = "JOURNAL=export.db",
	  .says = { "### The kept state: Error", " passed, 1 failed" } },
	{ __LINE__, "a tail without a seal", "driving",
	  .says = { "### What the seals vouch for: nothing vouches for what stands from" } },
	{ __LINE__, "a record is edited", "early", EDIT,
	  .says = { "### One record: record.txt: FAILED",
	  "### The whole chain: records/10: FAILED" } },
	{ __LINE__, "the same, by its export", "early", EDIT, .change = "JOURNAL=export.db",
	  .says = { "### One record: record.txt: FAILED", "### The whole chain: records/10: FAILED",
	  "### The kept state: Error" } },
	{ __LINE__, "times are edited, by an hour", "early",
	  "UPDATE record SET wall_ms = wall_ms - 3600000 WHERE seq > 14",
	  .says = { "### The clocks: seq 15: the wall clock steps by -3600000 ms" } },
	{ __LINE__, "a record is deleted", "early", "DELETE FROM record WHERE seq = 23",
	  .says = { "### The whole chain: every hash holds\nseq 24: no record before it" } },
	{ __LINE__, "a seal is forged", "early", "UPDATE seal SET sig ="
	  " (SELECT sig FROM seal WHERE seq = 25) WHERE seq = 26",
	  .says = { "### The seals: seq 26: its seal does not hold",
	  "### What the seals vouch for: nothing vouches for what stands from seq 26 on" } },
	{ __LINE__, "the seals are stripped", "early", "DELETE FROM seal",
	  .says = { "### The seals: there is no seal",
	  "### What the seals vouch for: nothing vouches for what stands from seq 1 on" } },
	{ __LINE__, "a tail is cut short", "driving", "DELETE FROM record WHERE seq > 56",
	  .says = { "### The kept state: the kept state is of another record than the last",
	  "### What the seals vouch for" } },
	{ __LINE__, "the kept state is edited", "early", "UPDATE kept SET ended = 0",
	  .says = { "### The kept state: the kept state is not signed by this key" } },
	{ __LINE__, "an older journal", "sealed", NULL, "cp ../early/state/journal.db state/",
	  .says = { "### The seal files: seal.a: seq 5", "there as it was sealed\nseal.b: seq" } },
	{ __LINE__, "another key", "early", NULL, "cp ../other/state/bus.pub state/",
	  .says = { "### The seals: seq 6: its seal does not hold\nseq 12: its",
	  "### The seal files: ",
	  "### What the seals vouch for: nothing vouches", "### The kept state: " } },
};

static void judge(struct copies *c, const struct doc_case *d)
{
	size_t n = 0;
	char page[PATH_MAX], tool[PATH_MAX], script[PATH_MAX], *slash;

	assert_non_null(realpath("docs/verify.md", page));
	assert_non_null(realpath("tests/faults/verify-doc.sh", script));
	strcpy(tool, copies_tool());
	slash = strrchr(tool, '/');
	*slash = '\0';
	copies_take(c, d->from);
	if (d->sql)
		copies_sql(c, d->sql);
	if (d->sh)
		copies_shell(c, d->sh);
	shell("cd '%s' && PATH='%s':$PATH '%s' '%s' now/state %s >words 2>&1", c->base, tool,
	      script, page, d->change ? d->change : "");
	copies_read(c, "words");
	for (; n < 4 && d->says[n]; n++)
		if (!strstr(c->said, d->says[n]))
			fail_msg("line %d, %s: \"%s\" is not said, but:\n%s", d->line, d->what,
				 d->says[n], c->said);
	if (n == 0 && !strstr(c->said, " passed, 0 failed"))
		fail_msg("line %d, %s:\n%s", d->line, d->what, c->said);
}

static void the_page_run_as_written_finds_what_verify_finds_J10(void **state)
{
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++)
		judge(*state, &cases[i]);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_page_run_as_written_finds_what_verify_finds_J10),
	};

	return cmocka_run_group_tests(tests, copies_make, copies_remove);
}
