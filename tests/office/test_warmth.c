/* SPDX-License-Identifier: Apache-2.0 */
/* Temperatures of a CSV file: what is taken, what not and why, line by line. */
#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "office/warmth.h"

static struct pw_zone *chicago;

static struct pw_warmths *read_text(const char *text, int expected, char why[200])
{
	FILE *f = fmemopen((void *)(uintptr_t)text, strlen(text), "r");
	struct pw_warmths *w = NULL;
	int result = pw_warmth_read(f, chicago, &w, why, 200);

	fclose(f);
	if (result != expected)
		fail_msg("%d, expected %d: %s", result, expected, result ? why : "");
	return w;
}

/* One line under "at,celsius,bus"; by `date -u -d` the moments. */
static const struct {
	int line;
	const char *text;
	int64_t at_s;        /* 0: it is not taken */
	int32_t c10;
	enum pw_phrase why;
} lines[] = {
	{ __LINE__, "2026-11-24T13:42:00Z,21.5,12", 1795527720, 215, 0 },
	{ __LINE__, "2026-11-24T07:42:00-06:00,-3,12", 1795527720, -30, 0 },
	{ __LINE__, "2026-11-24 07:42,0,", 1795527720, 0, 0 },     /* Chicago, winter: UTC-6 */
	{ __LINE__, "2026-07-24T07:42:30,31.26,", 1784896950, 313, 0 }, /* summer: UTC-5 */
	{ __LINE__, "2026-11-24t13:42:00.25z, 21.5 ,12", 1795527720, 215, 0 },
	{ __LINE__, "2026-11-24T13:42:00+00:00,\"-3,5\",x", 1795527720, -35, 0 },
	{ __LINE__, "2026-03-08 02:30,5,", 0, 0, PW_P_HEAT_SKIPPED_HOUR },
	{ __LINE__, "2026-11-01 01:30,5,", 0, 0, PW_P_HEAT_DOUBLED_HOUR },
	{ __LINE__, "2026-11-01T01:30-05:00,5,", 1793514600, 50, 0 },
	{ __LINE__, "2026-02-30 01:30,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "2026-11-24,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "2026-11-24 7:42,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "2026-11-24 07:42 CST,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "2026-11-24T24:00:00Z,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "11/24/2026 07:42,5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, ",5,", 0, 0, PW_P_HEAT_NO_TIME },
	{ __LINE__, "2026-11-24T13:42:00Z,warm,12", 0, 0, PW_P_HEAT_NO_NUMBER },
	{ __LINE__, "2026-11-24T13:42:00Z,,12", 0, 0, PW_P_HEAT_NO_NUMBER },
	{ __LINE__, "2026-11-24T13:42:00Z,nan,12", 0, 0, PW_P_HEAT_NO_NUMBER },
	{ __LINE__, "2026-11-24T13:42:00Z,0x20,12", 0, 0, PW_P_HEAT_NO_NUMBER },
	{ __LINE__, "2026-11-24T13:42:00Z,1.2.3,12", 0, 0, PW_P_HEAT_NO_NUMBER },
	{ __LINE__, "2026-11-24T13:42:00Z,91,12", 0, 0, PW_P_HEAT_RANGE },
	{ __LINE__, "2026-11-24T13:42:00Z,5,bus 12", 0, 0, PW_P_HEAT_NO_BUS },
	{ __LINE__, "2026-11-24T13:42:00Z,5,a-bus-of-more-than-thirty-one-letters", 0, 0, PW_P_HEAT_NO_BUS },
	{ __LINE__, "2026-11-24T13:42:00Z", 0, 0, PW_P_HEAT_NO_NUMBER },
};

static void each_line_is_taken_or_told_why_not(void **state)
{
	char text[200], why[200];

	(void)state;
	for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++) {
		struct pw_warmths *w;

		snprintf(text, sizeof(text), "at,celsius,bus\n%s\n", lines[i].text);
		w = read_text(text, 0, why);
		if (w->rows != (lines[i].at_s != 0) || w->notes != (lines[i].at_s == 0))
			fail_msg("%d: %s: %zu rows, %zu notes", lines[i].line, lines[i].text, w->rows,
				 w->notes);
		if (w->rows && (w->row[0].at_ms / 1000 != lines[i].at_s || w->row[0].c10 != lines[i].c10))
			fail_msg("%d: %lld, %d", lines[i].line, (long long)w->row[0].at_ms / 1000,
				 w->row[0].c10);
		if (w->notes && (w->note[0].why != lines[i].why || w->note[0].line != 2))
			fail_msg("%d: %s", lines[i].line, pw_phrase_name(w->note[0].why));
		pw_warmths_free(w);
	}
}

/* 50 degrees Fahrenheit are 10 degrees Celsius, 212 are 100: NIST SP 811, B.9 (from memory). */
static void fahrenheit_is_reckoned(void **state)
{
	char why[200];
	struct pw_warmths *w = read_text("Fahrenheit;AT\r\n50;2026-11-24T13:42:00Z\r\n"
					 "14,5;2026-11-24T14:42:00Z\r\n212;2026-11-24T15:42:00Z\r\n", 0, why);

	(void)state;
	assert_int_equal(w->rows, 2);
	assert_int_equal(w->row[0].c10, 100);
	assert_int_equal(w->row[1].c10, -97);
	assert_int_equal(w->notes, 1);
	assert_int_equal(w->note[0].why, PW_P_HEAT_RANGE);
	assert_int_equal(w->note[0].line, 4);
	pw_warmths_free(w);
}

static void of_one_bus_and_time_the_first_counts(void **state)
{
	char why[200];
	struct pw_warmths *w = read_text("bus,at,celsius\n7,2026-11-24T13:42:00Z,20\n"
					 "7,2026-11-24T07:42:00-06:00,21\n,2026-11-24T13:42:00Z,5\n", 0, why);

	(void)state;
	assert_int_equal(w->rows, 2);
	assert_string_equal(w->row[0].bus, ""); /* in the order of buses */
	assert_int_equal(w->row[1].c10, 200);
	assert_int_equal(w->notes, 1);
	assert_int_equal(w->note[0].line, 3);
	assert_int_equal(w->note[0].why, PW_P_HEAT_DUPLICATE);
	pw_warmths_free(w);
}

static void what_is_no_such_file_is_refused_whole(void **state)
{
	static const char *const texts[] = {
		"time,celsius\n2026-11-24T13:42:00Z,5\n", "at,bus\n2026-11-24T13:42:00Z,5\n",
		"at,celsius,fahrenheit\n2026-11-24T13:42:00Z,5,41\n",
		"at,celsius\n\"2026-11-24T13:42:00Z,5\n",
	};
	char why[200];

	(void)state;
	for (size_t i = 0; i < sizeof(texts) / sizeof(texts[0]); i++) {
		why[0] = '\0';
		assert_null(read_text(texts[i], -2, why));
		assert_true(why[0]);
	}
}

static void it_is_said_line_by_line_in_each_language(void **state)
{
	static const char *const expected[PW_TONGUES] = {
		[PW_ENGLISH] = "Taken: 1. Not taken: 3.\nLine 3: “hot” is no temperature: expected a number."
			       "\nLine 4: “x” is no time: expected 2026-11-24T07:42:00-06:00 or 2026-11-24 07:42."
			       "\nAnd 1 lines more.",
		[PW_SPANISH] = "Tomadas: 1. No tomadas: 3.\nLínea 3:",
		[PW_FRENCH] = "Prises : 1. Non prises : 3.\nLigne 3 :",
	};
	char why[200];
	struct pw_warmths *w = read_text("at,celsius\n2026-11-24T13:42:00Z,5\n2026-11-24T13:42:00Z,hot\n"
					 "x,5\n2026-11-24T13:42:00Z,\n", 0, why);

	(void)state;
	for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++) {
		char *text = NULL;
		size_t length;
		FILE *f = open_memstream(&text, &length);

		pw_warmth_say(l, w, 2, f);
		fclose(f);
		if (strncmp(text, expected[l], strlen(expected[l])) != 0)
			fail_msg("%s", text);
		free(text);
	}
	pw_warmths_free(w);
}

/* What is shown of a cell ends with a whole character: 47 bytes would cut the last one. */
static void a_long_cell_is_cut_between_characters(void **state)
{
	char why[200];
	struct pw_warmths *w = read_text("at,celsius\n"
		"\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9"
		"\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9"
		"\xc3\xa9,5\n", 0, why);

	(void)state;
	assert_int_equal(w->notes, 1);
	assert_int_equal(strlen(w->note[0].shown), 46);
	pw_warmths_free(w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(each_line_is_taken_or_told_why_not),
		cmocka_unit_test(fahrenheit_is_reckoned),
		cmocka_unit_test(of_one_bus_and_time_the_first_counts),
		cmocka_unit_test(what_is_no_such_file_is_refused_whole),
		cmocka_unit_test(it_is_said_line_by_line_in_each_language),
		cmocka_unit_test(a_long_cell_is_cut_between_characters),
	};
	char why[200];
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}
