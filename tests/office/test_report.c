/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Reports: one page in four outputs, read back by Python's html.parser, csv and json, by sqlite3 and by
 * jansson. Run from the top of the tree.
 *
 *	test_report --write DIR [LANGUAGE]	writes the page there instead, for a browser
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>
#include <jansson.h>

#include "office/match.h"
#include "postwalk/record.h"
#include "report_made.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define CLEAN "<script>alert(1)</script> & \"x' \xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd[31m \xef\xbf\xbd\xef\xbf\xbd( \xef\xbf\xbd back"

static struct pw_zone *zone_of(const char *name)
{
	struct pw_zone *z;
	char why[200];

	if (pw_zone_open(name, &z, why, sizeof(why)))
		fail_msg("%s", why);
	return z;
}

/* -- outputs, as texts or files ---------------------------------------------------------------- */

struct text { char *bytes; size_t length; FILE *f; };

static FILE *text_open(struct text *t)
{
	t->f = open_memstream(&t->bytes, &t->length);
	assert_non_null(t->f);
	return t->f;
}

static const char *text_of(struct text *t)
{
	assert_int_equal(fflush(t->f), 0);
	return t->bytes;
}

static void text_free(struct text *t)
{
	fclose(t->f);
	free(t->bytes);
}

static FILE *file_in(const char *dir, const char *name)
{
	char path[200];
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", dir, name);
	f = fopen(path, "w");
	assert_non_null(f);
	return f;
}

static const char *const table_names[] = { "sweeps", "nobody", "funnel", "days", "spread", "buses" };

static void write_all(const struct pw_report *r, const char *dir)
{
	FILE *f = file_in(dir, "page.html");
	char name[40];

	pw_report_html(r, "/sweeps?bus=12", "t0ken", false, f);
	assert_int_equal(fclose(f), 0);
	f = file_in(dir, "page.txt");
	pw_report_text(r, f);
	assert_int_equal(fclose(f), 0);
	f = file_in(dir, "page.jsonl");
	pw_report_lines(r, f);
	assert_int_equal(fclose(f), 0);
	for (size_t i = 0; i < COUNT(table_names); i++) {
		snprintf(name, sizeof(name), "%s.csv", table_names[i]);
		f = file_in(dir, name);
		assert_int_equal(pw_report_csv(r, table_names[i], f), 0);
		assert_int_equal(fclose(f), 0);
	}
}

/* -- one page, four outputs -------------------------------------------------------------------- */

/* What tests/office/report_check.py says; the report's folder is gone after that. */
static void checked(enum pw_tongue tongue, struct text *said)
{
	struct pw_zone *z = zone_of("America/Denver");
	struct pw_report *r = made_report(tongue, z);
	char dir[] = "/tmp/postwalk-report-XXXXXX", command[200], line[4096];
	FILE *pipe;
	int status;

	assert_non_null(mkdtemp(dir));
	assert_non_null(r);
	write_all(r, dir);
	assert_true(pw_report_ok(r));
	pw_report_free(r);
	pw_zone_free(z);
	snprintf(command, sizeof(command), "python3 tests/office/report_check.py %s", dir);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	while (fgets(line, sizeof(line), pipe))
		fputs(line, said->f);
	status = pclose(pipe);
	snprintf(command, sizeof(command), "rm -r %s", dir);
	assert_int_equal(system(command), 0);
	if (status)
		fail_msg("%s", text_of(said));
}

static void the_same_numbers_everywhere(void **state)
{
	static const enum pw_tongue tongues[] = { PW_ENGLISH, PW_SPANISH, PW_FRENCH };

	(void)state;
	for (size_t i = 0; i < COUNT(tongues); i++) {
		struct text said;

		text_open(&said);
		checked(tongues[i], &said);
		/* 6 rows of 11, 24 of 8, 40 of 9, 60 of 3, 8 of 10 */
		assert_non_null(strstr(text_of(&said), "\n878 cells\n"));
		/* Controls have, after a browser's reading, what was put in, without what does harm. */
		assert_non_null(strstr(text_of(&said), "run=" CLEAN "\n"));
		assert_non_null(strstr(text_of(&said), "words=</textarea>" CLEAN "\n"));
		assert_non_null(strstr(text_of(&said), "token=t0ken\n"));
		assert_non_null(strstr(text_of(&said), "password=None\n"));
		text_free(&said);
	}
}

static void lines_by_jansson(void **state)
{
	struct pw_zone *z = zone_of("America/Denver");
	struct pw_report *r = made_report(PW_FRENCH, z);
	struct text t;
	json_t *first, *found;
	json_error_t e;

	(void)state;
	pw_report_lines(r, text_open(&t));
	first = json_loads(text_of(&t), JSON_REJECT_DUPLICATES | JSON_DISABLE_EOF_CHECK, &e);
	assert_non_null(first);
	assert_string_equal(json_string_value(json_object_get(first, "table")), "sweeps");
	assert_string_equal(json_string_value(json_object_get(first, "key_off")),
			    "2026-11-25T14:42:05.123Z");
	assert_string_equal(json_string_value(json_object_get(first, "day")), "2026-11-25");
	assert_string_equal(json_string_value(json_object_get(first, "verdict")), "missed");
	assert_int_equal(json_integer_value(json_object_get(first, "press_after")), -61234);
	assert_string_equal(json_string_value(json_object_get(first, "words")), CLEAN);
	found = json_object_get(first, "findings");
	assert_int_equal(json_array_size(found), 2);
	assert_string_equal(json_string_value(json_array_get(found, 1)), "muted");
	json_decref(first);
	text_free(&t);
	pw_report_free(r);
	pw_zone_free(z);
}

static void a_spreadsheet_sees_no_formula(void **state)
{
	struct pw_zone *z = zone_of("UTC");
	struct pw_report *r = made_report(PW_ENGLISH, z);
	struct text t;

	(void)state;
	assert_int_equal(pw_report_csv(r, "sweeps", text_open(&t)), 0);
	/* CSV injection (OWASP): text that begins with = has ' before it; numbers are as they are. */
	assert_non_null(strstr(text_of(&t), ",\"'=HYPERLINK(\"\"http://x.invalid\"\")\","));
	assert_non_null(strstr(text_of(&t), ",'-1+2,"));
	assert_non_null(strstr(text_of(&t), ",-61234,"));
	assert_int_equal(pw_report_csv(r, "no such", t.f), -1);
	text_free(&t);
	assert_int_equal(pw_report_csv(r, NULL, text_open(&t)), 0);
	assert_int_equal(strncmp(text_of(&t), "key_off,bus,", 12), 0);
	text_free(&t);
	pw_report_free(r);
	pw_zone_free(z);
}

/* -- a flow ------------------------------------------------------------------------------------ */

static void a_flow_is_what_was_kept(void **state)
{
	struct pw_zone *z = zone_of("America/Denver");

	(void)state;
	for (size_t i = 0; i <= COUNT(table_names); i++) {
		const bool csv = i < COUNT(table_names);
		struct pw_report *kept = made_report(PW_ENGLISH, z), *r;
		struct text a, b;

		if (csv)
			assert_int_equal(pw_report_csv(kept, table_names[i], text_open(&a)), 0);
		else
			pw_report_lines(kept, text_open(&a));
		text_open(&b);
		r = pw_report_new(PW_ENGLISH, z);
		pw_report_flow(r, csv, csv ? table_names[i] : NULL, b.f);
		made_sweeps(r);
		pw_report_table(r, "nobody", PW_P_NONE,
				(const struct pw_column[]){ { .name = "bus" }, { 0 } });
		made_funnel(r);
		made_chart(r);
		made_spread(r);
		assert_int_equal(pw_report_flow_end(r), 0);
		if (csv) {
			assert_string_equal(text_of(&a), text_of(&b));
		} else {
			assert_int_equal(strlen(text_of(&a)),
					 strlen(text_of(&b))); /* in another order */
		}
		text_free(&a);
		text_free(&b);
		pw_report_free(kept);
		pw_report_free(r);
	}
	pw_zone_free(z);
}

static void a_flow_of_no_such_table(void **state)
{
	struct pw_zone *z = zone_of("UTC");
	struct pw_report *r = pw_report_new(PW_ENGLISH, z);
	struct text t;

	(void)state;
	pw_report_flow(r, true, "other", text_open(&t));
	made_sweeps(r);
	assert_int_equal(pw_report_flow_end(r), -1);
	assert_string_equal(text_of(&t), "");
	text_free(&t);
	pw_report_free(r);
	pw_zone_free(z);
}

/* -- values as a reader has them --------------------------------------------------------------- */

#define _ "\xc2\xa0"

static void spans(void **state)
{
	static const struct { int line; int64_t ms; const char *text; } table[] = {
		{ __LINE__, 0, "0" _ "s" }, { __LINE__, 4200, "4.2" _ "s" }, { __LINE__, 9000, "9" _ "s" },
		{ __LINE__, 48000, "48" _ "s" }, { __LINE__, 59600, "1" _ "min" _ "00" _ "s" },
		{ __LINE__, 125000, "2" _ "min" _ "05" _ "s" }, { __LINE__, 3599600, "1" _ "h" _ "00" _ "min" },
		{ __LINE__, 7500000, "2" _ "h" _ "05" _ "min" }, { __LINE__, 86400000, "1" _ "d" _ "00" _ "h" },
		{ __LINE__, -61234, "\xe2\x88\x92" "1" _ "min" _ "01" _ "s" }, { __LINE__, INT64_MIN, "\xe2\x80\x93" },
	};
	struct pw_report *r = pw_report_new(PW_ENGLISH, NULL);

	(void)state;
	for (size_t i = 0; i < COUNT(table); i++)
		if (strcmp(pw_report_span(r, table[i].ms), table[i].text))
			fail_msg("line %d: %s", table[i].line, pw_report_span(r, table[i].ms));
	pw_report_free(r);
}

/* Marks and groups: CLDR 44, en, es-US, fr (from memory). Per cent with a space: ISO 80000-1, 6.5.4 (from
 * memory). */
static void numbers(void **state)
{
	struct pw_report *en = pw_report_new(PW_ENGLISH, NULL), *es = pw_report_new(PW_SPANISH,
										    NULL),
			 *fr = pw_report_new(PW_FRENCH, NULL);

	(void)state;
	assert_string_equal(pw_report_number(en, 1234.567, 2), "1234.57");
	assert_string_equal(pw_report_number(en, 12345.6, 1), "12,345.6");
	assert_string_equal(pw_report_number(es, 12345.6, 1), "12,345.6");
	assert_string_equal(pw_report_number(fr, -12345.6, 1),
			    "\xe2\x88\x92" "12\xe2\x80\xaf" "345,6");
	assert_string_equal(pw_report_number(en, -0.01, 1), "0.0");
	assert_string_equal(pw_report_number(en, NAN, 1), "\xe2\x80\x93");
	assert_string_equal(pw_report_number(en, INFINITY, 1), "\xe2\x88\x9e");
	assert_string_equal(pw_report_count(fr, 7200000), "7\xe2\x80\xaf" "200\xe2\x80\xaf" "000");
	assert_string_equal(pw_report_share(en, 0.125, 1), "12.5" _ "%");
	assert_string_equal(pw_report_share(fr, 0.125, 1), "12,5" _ "%");
	assert_string_equal(pw_report_span(fr, 100000000), "1" _ "j" _ "04" _ "h");
	pw_report_free(en);
	pw_report_free(es);
	pw_report_free(fr);
}

/* America/Denver: the clocks went back on 2026-11-01, 08:00 UTC (second Sunday of March to first Sunday of
 * November, 15 U.S.C. 260a). */
static void moments(void **state)
{
	struct pw_zone *z = zone_of("America/Denver");
	struct pw_report *r = pw_report_new(PW_ENGLISH, z);

	(void)state;
	assert_string_equal(pw_report_moment(r, MADE_MS), "2026-11-25 07:42");
	assert_string_equal(pw_report_moment(r, INT64_C(1793519940000)), "2026-11-01 01:59");
	assert_string_equal(pw_report_moment(r, INT64_C(1793520000000)), "2026-11-01 01:00");
	assert_string_equal(pw_report_moment(r, INT64_MIN), "\xe2\x80\x93");
	assert_string_equal(pw_report_day(r, 20261125), "2026-11-25");
	assert_string_equal(pw_report_code(r, "unheard_beeper"),
			    "Beeper: tried, and nobody saw or heard it");
	assert_string_equal(pw_report_code(r, "newer"), "newer");
	pw_report_free(r);
	pw_zone_free(z);
}

/* -- words ------------------------------------------------------------------------------------- */

static void known(const char *code)
{
	if (pw_phrase_find(code) == PW_P_NONE)
		fail_msg("no word for the code %s", code);
}

/* Whatever stands in a table as a code is told in words. */
static void every_code_has_its_word(void **state)
{
	struct pw_policy p;

	(void)state;
#define X(up, low) known(#low);
	PW_RESULT_LIST(X) PW_NO_RECORD_LIST(X) PW_REASON_LIST(X) PW_FINDING_LIST(X) PW_MATTER_LIST(X)
	PW_KIND_LIST(X) PW_FOUND_LIST(X) PW_PART_LIST(X) PW_KEEP_LIST(X)
#undef X
	for (enum pw_verdict v = PW_DONE; v <= PW_MISSED; v++)
		known(pw_verdict_name(v));
	for (enum pw_phase phase = PW_PARKED; phase < PW_PHASES; phase++)
		known(pw_phase_name(phase));
	for (enum pw_proof_how how = PW_MOVED; how < PW_PROOF_HOWS; how++)
		known(pw_proof_name(how));
	for (enum pw_report_act act = PW_REPORT_SIGNED; act < PW_REPORT_ACTS; act++)
		known(pw_report_name(act));
	known(pw_why_name(PW_REAR_OPEN));
	known(pw_why_name(PW_TOO_SOON));
	known(pw_fault_name(PW_BUTTON_HELD));
	known(pw_fault_name(PW_BUTTON_CONTACTS));
	pw_policy_init(&p, true);
	for (unsigned i = 0; i < PW_EXTRA; i++)
		known(p.line[i].name);
	for (unsigned i = PW_PROMPT; i < PW_LADDER + p.rungs; i++)
		known(p.signal[i].name);
}

/* -- HTML -------------------------------------------------------------------------------------- */

static size_t times(const char *text, const char *what)
{
	size_t n = 0;

	while ((text = strstr(text, what))) {
		n++;
		text += strlen(what);
	}
	return n;
}

static void paper_has_no_forms_and_no_files(void **state)
{
	struct pw_zone *z = zone_of("UTC");
	struct pw_report *r = made_report(PW_ENGLISH, z);
	struct text page, paper;

	(void)state;
	pw_report_html(r, "/sweeps", "t0ken", false, text_open(&page));
	pw_report_html(r, "/sweeps", "", true, text_open(&paper));
	assert_int_equal(times(text_of(&page), "<form"), 2);
	assert_int_equal(times(text_of(&page), "enctype=\"multipart/form-data\""), 1);
	assert_int_equal(times(text_of(&page), "name=\"token\""), 1); /* of what is sent alone */
	assert_int_equal(times(text_of(&page), "as=csv&amp;table="), 5);
	assert_int_equal(times(text_of(&page), "aria-invalid=\"true\""), 1);
	assert_int_equal(times(text_of(&page), "<figure hidden data-picture="), 6);
	assert_int_equal(times(text_of(&paper), "<form") + times(text_of(&paper), "as=csv") +
			 times(text_of(&paper), "data-picture"), 0);
	assert_int_equal(times(text_of(&paper), "<table"), times(text_of(&page), "<table"));
	assert_int_equal(times(text_of(&page), "style="),
			 0); /* style-src 'self' would turn it down */
	/* A mark before the word that it is of, once a row. */
	assert_int_equal(times(text_of(&page), "<svg class=\"mark "), 6);
	assert_int_equal(times(text_of(&page), "</svg><data value=\"missed\">missed</data>"), 1);
	text_free(&page);
	text_free(&paper);
	pw_report_free(r);
	pw_zone_free(z);
}

/* -- for a browser ----------------------------------------------------------------------------- */

static int write_page(const char *dir, const char *language)
{
	const enum pw_tongue tongue = pw_tongue_find(language, strlen(language));
	struct pw_zone *z = zone_of("America/Denver");
	struct pw_report *r = made_report(tongue, z);
	FILE *f;

	write_all(r, dir);
	f = file_in(dir, "index.html");
	fprintf(f,
		"<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n<title>%s</title>\n"
		   "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
		   "<link rel=\"stylesheet\" href=\"office.css\">\n<script src=\"pictures.js\" defer></script>\n"
		   "</head>\n<body>\n<main>\n", pw_tongue_tag(tongue), pw_phrase(tongue,
										 PW_P_SITE));
	pw_report_html(r, "/sweeps?bus=12", "t0ken", false, f);
	fputs("</main>\n</body>\n</html>\n", f);
	pw_report_free(r);
	pw_zone_free(z);
	return fclose(f) ? 1 : 0;
}

int main(int argc, char **argv)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_same_numbers_everywhere),
		cmocka_unit_test(lines_by_jansson),
		cmocka_unit_test(a_spreadsheet_sees_no_formula),
		cmocka_unit_test(a_flow_is_what_was_kept),
		cmocka_unit_test(a_flow_of_no_such_table),
		cmocka_unit_test(spans),
		cmocka_unit_test(numbers),
		cmocka_unit_test(moments),
		cmocka_unit_test(every_code_has_its_word),
		cmocka_unit_test(paper_has_no_forms_and_no_files),
	};

	if (argc > 2 && strcmp(argv[1], "--write") == 0)
		return write_page(argv[2], argc > 3 ? argv[3] : "en");
	return cmocka_run_group_tests(tests, NULL, NULL);
}
