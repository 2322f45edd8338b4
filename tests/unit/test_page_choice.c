/* SPDX-License-Identifier: Apache-2.0 */
/* Accept-Language as RFC 9110 12.4.2, 12.5.4 and 5.6.1 have it, by the lookup of RFC 4647 3.4. */
#include "page_sample.h"

static const struct {
	const char *field[2]; /* fields of one request, joined as RFC 9110 5.3 says */
	enum pw_language want;
} wishes[] = {
	{ { "" }, PW_ENGLISH },
	{ { "es" }, PW_SPANISH },
	{ { "fr" }, PW_FRENCH },
	{ { "de" }, PW_ENGLISH },
	{ { "ES" }, PW_SPANISH },
	{ { "es-MX" }, PW_SPANISH },
	{ { "fr-CA,fr;q=0.9,en;q=0.8" }, PW_FRENCH },
	{ { "de-CH, fr;q=0.4, en;q=0.3" }, PW_FRENCH },
	/* RFC 9110's own example, with one of ours for Danish */
	{ { "es, en-gb;q=0.8, en;q=0.7" }, PW_SPANISH },
	{ { "en;q=0.7, es;q=0.8" }, PW_SPANISH },
	{ { "en;q=0.799, es;q=0.8" }, PW_SPANISH },
	{ { "en;q=0.8, es;q=0.799" }, PW_ENGLISH },
	/* equal: the first named */
	{ { "fr, es" }, PW_FRENCH },
	{ { "es;q=0.5, fr;q=0.5" }, PW_SPANISH },
	/* several ranges of one language: the best of them */
	{ { "es;q=0.1, fr;q=0.5, es-MX;q=0.9" }, PW_SPANISH },
	/* q=0: not acceptable */
	{ { "es;q=0" }, PW_ENGLISH },
	{ { "es;q=0, fr;q=0.001" }, PW_FRENCH },
	{ { "en;q=0.000, es;q=0.001" }, PW_SPANISH },
	/* "*": every language that is not named */
	{ { "*" }, PW_ENGLISH },
	{ { "en;q=0.5, *" }, PW_SPANISH },
	{ { "en;q=0, *;q=0.5" }, PW_SPANISH },
	{ { "en;q=0, es;q=0, *;q=0.1" }, PW_FRENCH },
	{ { "fr;q=0.5, *;q=0.5" }, PW_FRENCH },
	{ { "*;q=0" }, PW_ENGLISH },
	/* optional white space, empty members */
	{ { " \tfr \t;\t q=1.000 " }, PW_FRENCH },
	{ { ",, ,es," }, PW_SPANISH },
	{ { "es ;q=0.2\t,\tfr ; q=0.3" }, PW_FRENCH },
	{ { "fr;Q=0.9, en;q=0.1" }, PW_FRENCH },
	{ { "fr;q=1., en;q=0.9" }, PW_FRENCH },
	/* not well formed: passed over, the rest counts */
	{ { "es;q=2, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=1.001, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=0.1234, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=-1, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=0,5, fr;q=0.1" }, PW_FRENCH },
	{ { "es;level=1, fr;q=0.1" }, PW_FRENCH },
	{ { "es fr, fr;q=0.1" }, PW_FRENCH },
	{ { "es;q=0.5;q=0.5, fr;q=0.1" }, PW_FRENCH },
	{ { ";q=1, fr;q=0.1" }, PW_FRENCH },
	{ { "\xc3\xa9s, fr;q=0.1" }, PW_FRENCH },
	/* a language that only begins like one of ours */
	{ { "est, frr, eng, fr;q=0.1" }, PW_FRENCH },
	{ { "e, f" }, PW_ENGLISH },
	/* two fields */
	{ { "de, en;q=0.2", "fr;q=0.3" }, PW_FRENCH },
	{ { "es;q=0.3", "fr;q=0.3" }, PW_SPANISH },
};

static void the_language_wanted_most_is_spoken(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof wishes / sizeof wishes[0]; i++) {
		struct pw_accept a = { 0 };

		for (int f = 0; f < 2 && wishes[i].field[f]; f++)
			pw_accept_add(&a, wishes[i].field[f]);
		enum pw_language got = pw_accept_best(&a);

		if (got != wishes[i].want)
			fail_msg("\"%s\" gave %s", wishes[i].field[0], pw_language_tag(got));
	}
}

static void only_what_is_known_is_chosen(void **state)
{
	static const char *const none[] = { "", "EN", "en ", "english", "e", "enn", "en-US" };

	(void)state;
	assert_int_equal(pw_language_find(NULL), PW_LANGUAGE_NONE);
	assert_int_equal(pw_theme_find(NULL), PW_THEME_NONE);
	for (size_t i = 0; i < sizeof none / sizeof none[0]; i++) {
		assert_int_equal(pw_language_find(none[i]), PW_LANGUAGE_NONE);
		assert_int_equal(pw_theme_find(none[i]), PW_THEME_NONE);
	}
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++)
		assert_int_equal(pw_language_find(pw_language_tag((enum pw_language)l)), l);
	for (int t = PW_THEME_NONE + 1; t < PW_THEMES; t++)
		assert_int_equal(pw_theme_find(pw_theme_name((enum pw_theme)t)), t);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_language_wanted_most_is_spoken),
		cmocka_unit_test(only_what_is_known_is_chosen),
	};

	return cmocka_run_group_tests_name("page: what the reader wants", tests, NULL, NULL);
}
