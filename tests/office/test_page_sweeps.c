/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The pages of sweeps over a real store: rows by a filter, one sweep, corrections by hand; and the lines
 * that a page says can be typed, typed.
 */
#include "page_yard.h"

/* -- the list ---------------------------------------------------------------------------------- */

static const struct { int line; const char *asked; unsigned rows; } filters[] = {
	{ __LINE__, "", 6 },
	{ __LINE__, "bus=bus-07", 6 },
	{ __LINE__, "bus=bus-08", 0 },
	{ __LINE__, "verdict=missed", 2 },
	{ __LINE__, "verdict=done", 4 },
	{ __LINE__, "verdict=missed done", 6 },
	{ __LINE__, "result=unplanned", 6 },
	{ __LINE__, "result=no_record", 0 },
	{ __LINE__, "finding=driven_off", 2 },
	{ __LINE__, "finding=carried", 2 },
	{ __LINE__, "rung=spent", 1 },
	{ __LINE__, "driver=D-1", 0 },
	{ __LINE__, "from=" DAY_TEXT "&to=" DAY_TEXT, 6 },
	{ __LINE__, "from=2026-09-22", 0 },
	{ __LINE__, "to=2026-09-20", 0 },
	{ __LINE__, "verdict=missed&rung=prompt", 1 },
};

static void rows_are_those_of_the_filter(void **state)
{
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(filters); i++) {
		char *csv;

		ask_for(y, filters[i].asked);
		csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
		if (lines_in(csv) != filters[i].rows + 1)
			fail_msg("%d: %s:\n%s", filters[i].line, filters[i].asked, csv);
		free(csv);
		ask_for(y, filters[i].asked);
		y->q.whole = true; /* for a file: the same */
		csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
		assert_int_equal(lines_in(csv), filters[i].rows + 1);
		free(csv);
	}
}

static void what_is_no_filter_is_told_beside_its_field(void **state)
{
	static const char *const wrong[] = { "verdict=gone", "result=done", "finding=lost", "from=2026-02-30",
					     "to=tomorrow", "order=up", "bus=bus 7", "from=2026-09-22&to=2026-09-21",
					     "driver=a-driver-of-many-letters" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		char *html;

		ask_for(y, wrong[i]);
		html = page(y, pw_sweeps_get, AS_HTML, NULL, 0);
		assert_true(y->q.wrong);
		assert_says(html, "class=\"wrong\"");
		free(html);
		ask_for(y, wrong[i]);
		y->q.whole = true;
		free(page(y, pw_sweeps_get, AS_HTML, NULL, 1)); /* for a file: nothing */
	}
}

static void the_longest_unchecked_can_come_first(void **state)
{
	struct yard *y = *state;
	char *csv;

	ask_for(y, "order=longest&verdict=missed");
	csv = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	/* 12200 s - 1400 s, as a key-on settles: before the 30 s of the one that was driven off */
	assert_true(strstr(csv, ",108") < strstr(csv, ",302"));
	assert_non_null(strstr(csv, ",302"));
	free(csv);
}

/* -- one sweep --------------------------------------------------------------------------------- */

static void the_next_page_goes_on_behind_the_last_row(void **state)
{
	struct yard *y = *state;
	char address[PW_SWEEPS_ADDRESS];
	struct pw_audit_key key = { .bus = "bus-07", .day = DAY, .epoch = "0123456789abcdef", .seq = 12 }, back;

	ask_for(y, "");
	pw_sweeps_address(&y->q, &key, address);
	assert_string_equal(address, "/sweeps?behind=bus-07~20260921~0123456789abcdef~0~12~");
	ask_for(y, "behind=bus-07~20260921~0123456789abcdef~0~12~");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), 1);
	assert_memory_equal(&key, &back, sizeof(key));
	ask_for(y, "behind=bus-07~20260921~~0~0~AM 1~2");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), 1);
	assert_string_equal(back.run, "AM 1~2");
	ask_for(y, "behind=bus-07~x");
	assert_int_equal(pw_sweeps_behind(&y->q, &back), -2);
}

/* Behind each row of the list come those that are left, none twice and none left out. */
static void behind_a_row_come_those_that_are_left(void **state)
{
	struct yard *y = *state;
	struct find f = { .rung = "prompt", .verdict = PW_DONE }; /* the newest */
	char fields[300], *first, *rest;

	ON_DESK(y, work_find, &f);
	snprintf(fields, sizeof(fields), "behind=bus-07~%d~%s~0~%d~", DAY, f.row.key.epoch,
		 (int)f.row.key.seq);
	ask_for(y, "");
	first = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	ask_for(y, fields);
	rest = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	assert_int_equal(lines_in(rest), lines_in(first) - 1);
	assert_non_null(strstr(first, strchr(rest, '\n')));
	free(first);
	free(rest);
}

static void one_sweep_is_drawn_judged_and_listed(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_says(text, "<h1>Bus bus-07, 2026-09-21 09:36: missed</h1>");
	assert_says(text, "<svg class=\"timeline\"");
	assert_says(text, "driven off at 12:36:40, 3 h 00 min after the stop");
	assert_says(text, "The seal of record ");
	assert_says(text, "sha256sum --check");
	assert_says(text, "name=\"words\"");
	assert_null(strcasestr(text, "empty"));
	free(text);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	y->q.role = PW_MAY_SEE; /* no form */
	y->q.tongue = PW_SPANISH;
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_null(strstr(text, "name=\"words\""));
	assert_says(text, "Compruébelo usted mismo");
	free(text);
	ask_for_sweep(y, PW_DONE, "prompt", "");
	text = page(y, pw_sweep_get, AS_LINES, NULL, 0);
	assert_says(text, "{\"table\":\"judged\",\"rule\":\"R22\"");
	free(text);
}

static void an_address_of_no_row_is_told(void **state)
{
	static const char *const none[] = { "", "bus=bus-07", "bus=bus-07&day=" DAY_TEXT,
		"bus=bus-07&day=" DAY_TEXT "&run=AM1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdef&branch=0&seq=1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdeg&branch=0&seq=1",
		"bus=bus-07&day=" DAY_TEXT "&epoch=0123456789abcdef&branch=-1&seq=1" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(none); i++) {
		ask_for(y, none[i]);
		free(page(y, pw_sweep_get, AS_HTML, NULL, 1));
		assert_true(y->q.wrong);
	}
}

/* -- check it yourself: the lines of the page, by sh ------------------------------------------- */

/* What stands in <pre><code>, as it was. */
static void write_lines(const char *html, const char *path)
{
	static const struct { const char *name; char is; } entities[] = {
		{ "&amp;", '&' }, { "&lt;", '<' }, { "&gt;", '>' }, { "&quot;", '"' }, { "&#39;", '\'' },
	};
	FILE *out = fopen(path, "w");
	unsigned blocks = 0;

	assert_non_null(out);
	fputs("set -e\n", out);
	for (const char *p = html; (p = strstr(p, "<code>")); blocks++) {
		for (p += 6; strncmp(p, "</code>", 7) != 0; p++) {
			char is = *p;

			for (size_t i = 0; i < COUNT(entities); i++)
				if (strncmp(p, entities[i].name, strlen(entities[i].name)) == 0) {
					is = entities[i].is;
					p += strlen(entities[i].name) - 1;
					break;
				}
			putc(is, out);
		}
		putc('\n', out);
	}
	fclose(out);
	assert_int_equal(blocks, 3);
}

static void the_lines_of_the_page_work_as_they_are_typed(void **state)
{
	struct yard *y = *state;
	char command[800], said[4000], *html, fingerprint[65];
	const char *postwalk = getenv("POSTWALK");
	FILE *pipe;
	size_t n;

	assert_non_null(postwalk);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	html = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	write_lines(html, tool_path(y->t, "lines.sh"));
	free(html);
	pw_desk_stop(y->desk); /* the store is one process's alone */
	y->desk = NULL;
	snprintf(command, sizeof(command), "mkdir '%s/typed' && cd '%s/typed' && PATH=\"$(dirname %s):$PATH\" "
		 "LC_ALL=C sh ../lines.sh 2>&1", y->t->dir, y->t->dir, postwalk);
	pipe = popen(command, "r");
	n = fread(said, 1, sizeof(said) - 1, pipe);
	said[n] = '\0';
	if (pclose(pipe) != 0)
		fail_msg("%s", said);
	assert_says(said, "record.txt: OK\n");
	assert_says(said, "Signature Verified Successfully\n");
	assert_says(said, "bus.jsonl: bus bus-07, epoch ");
	assert_says(said, ": sound: ");
	pw_public_key_print(&journal_key()->public, fingerprint);
	assert_says(said, fingerprint);
	/* and they tell when something was touched */
	snprintf(command, sizeof(command), "cd '%s/typed' && sed -i 's/spent/cabin/' ../lines.sh && LC_ALL=C sh "
		 "../lines.sh >../said 2>&1", y->t->dir);
	assert_int_not_equal(system(command), 0);
	snprintf(command, sizeof(command), "grep -q 'record.txt: FAILED' '%s/said'", y->t->dir);
	assert_int_equal(system(command), 0);
}

/* -- a correction ------------------------------------------------------------------------------ */

static void a_correction_stands_beside_the_record(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for_sweep(y, PW_MISSED, "spent", "&result=walked&words=The driver walked; the button was dead");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	assert_says(y->q.then, "/sweep?bus=bus-07&day=" DAY_TEXT "&epoch=");
	ON_DESK(y, work_renew, NULL);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_HTML, NULL, 0);
	assert_says(text, ": walked</h1>");
	assert_says(text, "The driver walked; the button was dead");
	assert_says(text, "verdict: missed"); /* the record says what it said */
	free(text);
	ask_for(y, "result=walked");
	text = page(y, pw_sweeps_get, AS_CSV, NULL, 0);
	assert_int_equal(lines_in(text), 2);
	assert_says(text, ",walked,safety,\"The driver walked; the button was dead\",");
	free(text);
	ask_for_sweep(y, PW_MISSED, "spent", "&result=none&words=It was another bus");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	ON_DESK(y, work_renew, NULL);
	ask_for_sweep(y, PW_MISSED, "spent", "");
	text = page(y, pw_sweep_get, AS_CSV, "corrections", 0);
	assert_int_equal(lines_in(text), 3); /* both are kept */
	free(text);
}

static void a_form_that_lacks_something_is_turned_down(void **state)
{
	static const char *const wrong[] = { "&result=walked", "&result=gone&words=x", "&words=x",
					     "&result=unplanned&words=x" };
	struct yard *y = *state;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		ask_for_sweep(y, PW_MISSED, "spent", wrong[i]);
		assert_int_equal(pw_sweep_post(&y->q), 1);
		assert_true(y->q.wrong);
	}
	ask_for(y, "bus=bus-07&day=" DAY_TEXT "&run=AM1&result=walked&words=x");
	assert_int_equal(pw_sweep_post(&y->q), 1);
}

static int take_log(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	(void)at_ms;
	assert_string_equal(who, "safety");
	strcat(ctx, did);
	strcat(ctx, "\n");
	return 0;
}

static int work_logs(struct pw_store *s, void *ctx, char *said, size_t size)
{
	return pw_store_logs(s, 0, take_log, ctx, said, size);
}

/* Who looked at a driver's rows, and every act, is in the office's log. */
static void views_and_acts_are_logged(void **state)
{
	struct yard *y = *state;
	char log[4000] = "";

	ask_for(y, "driver=D-1");
	free(page(y, pw_sweeps_get, AS_HTML, NULL, 0));
	ask_for_sweep(y, PW_MISSED, "spent", "");
	free(page(y, pw_sweep_get, AS_HTML, NULL, 0));
	ask_for_sweep(y, PW_MISSED, "spent", "&result=walked&words=x");
	assert_int_equal(pw_sweep_post(&y->q), 0);
	post_file(y, "at,celsius\n2026-09-21 09:28,5\n", "source=the yard's own");
	assert_int_equal(pw_heat_post(&y->q), 0);
	ON_DESK(y, work_logs, log);
	assert_says(log, "saw the rows of driver D-1\n");
	assert_says(log, "saw a row of bus bus-07, day 20260921, driver -\n");
	assert_says(log, "corrected bus bus-07, day 20260921, a stop to walked: x\n");
	assert_says(log, "warmth: 1 temperatures of warmth.csv taken, 0 lines not; source: the yard's own\n");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, yard_begin, yard_end)
		TEST(rows_are_those_of_the_filter),
		TEST(what_is_no_filter_is_told_beside_its_field),
		TEST(the_longest_unchecked_can_come_first),
		TEST(the_next_page_goes_on_behind_the_last_row),
		TEST(behind_a_row_come_those_that_are_left),
		TEST(one_sweep_is_drawn_judged_and_listed),
		TEST(an_address_of_no_row_is_told),
		TEST(the_lines_of_the_page_work_as_they_are_typed),
		TEST(a_correction_stands_beside_the_record),
		TEST(a_form_that_lacks_something_is_turned_down),
		TEST(views_and_acts_are_logged),
#undef TEST
	};
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}
