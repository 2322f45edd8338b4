/* SPDX-License-Identifier: Apache-2.0 */
/* What is said in each language, and what po.awk does with translations that are not in order. */
#include "page_sample.h"

#include <stdlib.h>
#include <sys/wait.h>
#include <unistd.h>

static unsigned holes(const char *text)
{
	unsigned n = 0;

	for (const char *at = text; (at = strchr(at, '{')); at++) {
		assert_true((at[1] == '1' || at[1] == '2') && at[2] == '}');
		n += at[1] == '1' ? 1 : 16;
	}
	return n;
}

static void every_word_is_there_in_every_language(void **state)
{
	(void)state;
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
		for (int w = PW_W_NONE + 1; w < PW_WORDS; w++) {
			enum pw_language language = (enum pw_language)l;
			enum pw_word word = (enum pw_word)w;
			unsigned want = holes(pw_word(PW_ENGLISH, word));

			assert_non_null(pw_word(language, word));
			assert_true(pw_word(language, word)[0]);
			assert_int_equal(holes(pw_word(language, word)), want);
			for (int64_t n = 0; n <= 2; n++)
				assert_int_equal(holes(pw_word_count(language, word, n)), want);
		}
}

/* Plural rules of Unicode CLDR, cardinal: en and es have one for 1 alone, fr for 0 and 1 (from
 * memory; gettext's manual has the same in "Plural forms"). */
static void what_is_counted_has_its_plural(void **state)
{
	static const struct { enum pw_language l; int64_t n; const char *part; } want[] = {
		{ PW_ENGLISH, 0, "{1} rows" },  { PW_ENGLISH, 1, "{1} row:" },
		{ PW_ENGLISH, 12, "{1} rows" }, { PW_SPANISH, 0, "{1} filas" },
		{ PW_SPANISH, 1, "{1} fila:" }, { PW_SPANISH, 12, "{1} filas" },
		{ PW_FRENCH, 0, "{1} rangée\302\240" }, { PW_FRENCH, 1, "{1} rangée\302\240" },
		{ PW_FRENCH, 2, "{1} rangées" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++)
		assert_non_null(strstr(pw_word_count(want[i].l, PW_W_TOO_SOON, want[i].n),
				       want[i].part));
}

/* A press says that somebody stood at the rear; it is never more, in no language. */
static void a_press_is_never_more_than_a_press(void **state)
{
	static const char *const never[PW_LANGUAGES][8] = {
		[PW_ENGLISH] = { "empty", "nobody", "no one", "no child", "all clear", "checked" },
		[PW_SPANISH] = { "vací", "nadie", "ningún niño", "sin niños", "despejad",
				 "revisado" },
		[PW_FRENCH] = { "vide", "personne", "aucun enfant", "pas d’enfant", "dégagé",
				"vérifié" },
	};

	(void)state;
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
		for (int w = PW_W_NONE + 1; w < PW_WORDS; w++)
			for (int i = 0; never[l][i]; i++)
				if (strcasestr(pw_word((enum pw_language)l, (enum pw_word)w),
					       never[l][i]))
					fail_msg("%s: \"%s\"", pw_word_name((enum pw_word)w),
						 never[l][i]);
}

static void words_have_names(void **state)
{
	(void)state;
	for (int w = PW_W_NONE + 1; w < PW_WORDS; w++) {
		const char *name = pw_word_name((enum pw_word)w);

		assert_int_equal(pw_word_find(name, strlen(name)), w);
	}
	assert_int_equal(pw_word_find("nonesuch", 8), PW_W_NONE);
	assert_int_equal(pw_word_find("bu", 2), PW_W_NONE);
}

/* -- po.awk ------------------------------------------------------------------------------------ */

#define HEADER "msgid \"\"\nmsgstr \"Content-Type: text/plain; charset=UTF-8\\n\"\n" \
	       "\"Language: xx\\n\"\n"
#define A "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un {1}\"\n"
#define B "\nmsgctxt \"b\"\nmsgid \"Two \\\"strings\\\"\"\nmsgstr \"Deux\"\n"
#define C "\nmsgctxt \"c\"\nmsgid \"{1} row, {2}\"\nmsgid_plural \"{1} rows, {2}\"\n" \
	"msgstr[0] \"{2}: {1} fila\"\nmsgstr[1] \"{2}: {1} filas\"\n"

static const char english[] =
	"#define PW_WORD_LIST(X, N) \\\n"
	"\tX(A, a, \"An {1}\") X(B, b, \\\n"
	"\t  \"Two \" \\\n"
	"\t  \"\\\"strings\\\"\") \\\n"
	"\tN(C, c, \"{1} row, {2}\", \"{1} rows, {2}\")\n";

static const struct {
	const char *po, *said; /* NULL: all is well */
} translations[] = {
	{ HEADER A B C, NULL },
	{ "# a word\n" HEADER "#. note\n" C B "\n# more\n" A "\n\n#~ old\n", NULL },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"\"\n\"An \"\n\"{1}\"\nmsgstr \"\"\n\"Un \"\n\"{1}\"\n" B C,
	  NULL },
	{ HEADER A B, "xx.po:11: no entry for \"c\": {1} row, {2}" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"The {1}\"\nmsgstr \"Un {1}\"\n" B C,
	  "xx.po:5: stale: the English of \"a\" is now: An {1}" },
	{ HEADER A B "\nmsgctxt \"c\"\nmsgid \"{1} row, {2}\"\nmsgid_plural \"{1} row, {2}\"\n"
	  "msgstr[0] \"{2}: {1} fila\"\nmsgstr[1] \"{2}: {1} filas\"\n",
	  "xx.po:13: stale: the English of \"c\" is now: {1} row, {2} / {1} rows, {2}" },
	{ HEADER A B "\nmsgctxt \"c\"\nmsgid \"{1} row, {2}\"\nmsgid_plural \"{1} rows, {2}\"\n"
	  "msgstr[0] \"{2}: {1} fila\"\n", "xx.po:13: expected a translation of \"c\"" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un\"\n" B C,
	  "xx.po:5: expected {1} and {2} in \"a\" as in its English: An {1}" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un {1} {2}\"\n" B C,
	  "xx.po:5: expected {1} and {2} in \"a\"" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un {1} {\"\n" B C,
	  "xx.po:5: expected {1} and {2} in \"a\"" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"\"\n" B C,
	  "xx.po:5: expected a translation of \"a\"" },
	{ HEADER "\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un {1}\\n\"\n" B C,
	  "xx.po:5: expected no escapes" },
	{ HEADER "\n#, fuzzy\nmsgctxt \"a\"\nmsgid \"An {1}\"\nmsgstr \"Un {1}\"\n" B C,
	  "xx.po:6: \"a\" is fuzzy" },
	{ HEADER A "#, fuzzy\nmsgctxt \"b\"\nmsgid \"Two \\\"strings\\\"\"\nmsgstr \"Deux\"\n" C,
	  "xx.po:9: \"b\" is fuzzy" },
	{ HEADER A A B C, "xx.po:9: \"a\" has been translated at line 5" },
	{ HEADER A B C "\nmsgctxt \"d\"\nmsgid \"D\"\nmsgstr \"D\"\n",
	  "xx.po:19: no word \"d\" among the English ones" },
	{ A B C, "expected a header with charset=UTF-8 and Language" },
	{ "msgid \"\"\nmsgstr \"Language: yy\\n\"\n" A B C, "xx.po:1: expected a header" },
	{ HEADER A B C "\nmsgtxt \"d\"\n", "xx.po:19: expected msgctxt, msgid" },
	{ HEADER A B C "\nmsgctxt \"d\n", "xx.po:19: expected one string in quotes" },
	{ HEADER A B C "\nmsgctxt d\n", "xx.po:19: expected one string in quotes" },
};

static const char table_of_c[] = "[PW_W_C] = { \"{2}: {1} fila\", \"{2}: {1} filas\" },";

static void write_file(const char *dir, const char *name, const char *text)
{
	char path[256];

	snprintf(path, sizeof path, "%s/%s", dir, name);
	FILE *f = fopen(path, "w");

	assert_non_null(f);
	fputs(text, f);
	fclose(f);
}

/* Its status; what it said, on both outputs. */
static int run_po(const char *dir, char *said, size_t size)
{
	char command[1024];

	snprintf(command, sizeof command,
		 "awk -f daemon/page/po.awk '%s/words.h' '%s/xx.po' 2>&1", dir, dir);
	FILE *p = popen(command, "r");

	assert_non_null(p);
	size_t n = fread(said, 1, size - 1, p);

	said[n] = '\0';
	int status = pclose(p);

	return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

static void translations_are_checked_at_build(void **state)
{
	char dir[] = "/tmp/postwalk-po.XXXXXX", said[4096], path[64];

	(void)state;
	assert_non_null(mkdtemp(dir));
	write_file(dir, "words.h", english);
	for (size_t i = 0; i < sizeof translations / sizeof translations[0]; i++) {
		write_file(dir, "xx.po", translations[i].po);
		int status = run_po(dir, said, sizeof said);

		const char *want = translations[i].said;

		if (status != (want ? 1 : 0) || !strstr(said, want ? want : table_of_c))
			fail_msg("case %zu, status %d: %s", i, status, said);
	}
	snprintf(path, sizeof path, "%s/xx.po", dir);
	unlink(path);
	snprintf(path, sizeof path, "%s/words.h", dir);
	unlink(path);
	assert_int_equal(rmdir(dir), 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_word_is_there_in_every_language),
		cmocka_unit_test(what_is_counted_has_its_plural),
		cmocka_unit_test(a_press_is_never_more_than_a_press),
		cmocka_unit_test(words_have_names),
		cmocka_unit_test(translations_are_checked_at_build),
	};

	return cmocka_run_group_tests_name("page: languages", tests, NULL, NULL);
}
