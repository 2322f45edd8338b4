/* SPDX-License-Identifier: Apache-2.0 */
/* How bad was it, over a store: the list, its order, temperatures by page and shell. */
#include "page_yard.h"

static void the_list_is_ordered_by_time_and_by_what_is_known(void **state)
{
	struct yard *y = *state;
	char *text;

	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_HTML, NULL, 0);
	assert_says(text, "2 sweeps were missed from " DAY_TEXT " to " DAY_TEXT);
	assert_says(text, "No temperature is known for any of them.");
	assert_says(text, "ordered by time unchecked alone");
	assert_says(text, "Measured in closed cars; no bus was measured.");
	assert_null(strcasestr(text, "was in danger,"));
	free(text);
	/* at the short one's time alone, then outside at the long one's */
	post_file(y, "at,fahrenheit\n2026-09-21 09:28,86\n2026-09-21 09:40,95\nlater,5\n",
		  "source=the airport's station");
	assert_int_equal(pw_heat_post(&y->q), 0);
	assert_says(y->q.said, "Taken: 2. Not taken: 1.");
	assert_says(y->q.said, "Line 4: “later” is no time");
	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_CSV, "known", 0);
	assert_int_equal(lines_in(text), 3);
	assert_says(text, ",heat_yard,30,30,"); /* 86 degrees Fahrenheit */
	assert_true(strstr(text, ",108") < strstr(text, ",302")); /* three hours at 35 before 30 s at 30 */
	assert_says(text, "the airport's station");
	free(text);
	/* inside a bus: no curve */
	post_file(y, "bus,at,celsius\nbus-07,2026-09-21 09:36,40\n", "source=its own sensor");
	assert_int_equal(pw_heat_post(&y->q), 0);
	ON_DESK(y, work_renew, NULL);
	ask_for(y, "from=" DAY_TEXT "&to=" DAY_TEXT);
	text = page(y, pw_heat_get, AS_LINES, NULL, 0);
	assert_says(text, "\"measured\":\"heat_cabin\"");
	free(text);
}

static int count_warm(void *ctx, int64_t at_ms, int32_t c10, const char *source)
{
	(void)at_ms;
	(void)c10;
	(void)source;
	++*(unsigned *)ctx;
	return 0;
}

static int work_count_warm(struct pw_store *s, void *ctx, char *said, size_t size)
{
	return pw_audit_warmths(s, "", 0, INT64_MAX, count_warm, ctx, said, size);
}

static void what_is_turned_down_leaves_nothing(void **state)
{
	static const struct { const char *csv, *fields; } wrong[] = {
		{ "when,celsius\n2026-09-21 09:28,5\n", "source=x" },
		{ "at,celsius\n2026-09-21 09:28,5\n\"2026-09-21 10:28,5\n", "source=x" },
		{ "at,celsius\n2026-09-21 09:28,5\n", "" },
		{ "", "source=x" },
	};
	struct yard *y = *state;
	unsigned count = 0;

	for (size_t i = 0; i < COUNT(wrong); i++) {
		post_file(y, wrong[i].csv, wrong[i].fields);
		assert_int_equal(pw_heat_post(&y->q), 1);
		assert_true(y->q.wrong);
	}
	ON_DESK(y, work_count_warm, &count);
	assert_int_equal(count, 0);
}

/* The same by the shell: lines that are not taken are told, and the status says so. */
static void the_shell_takes_temperatures(void **state)
{
	struct yard *y = *state;
	const char *office = getenv("POSTWALK_OFFICE");
	char command[600], said[600] = "";
	unsigned count = 0;
	FILE *pipe;

	assert_non_null(office);
	pw_desk_stop(y->desk); /* the store is one process's alone */
	tool_write(tool_path(y->t, "warmth.csv"), "at,celsius\n2026-09-21 09:28,5\nx,5\n");
	snprintf(command, sizeof(command), "%s warmth '%s/warmth.csv' --source 'the yard' --office '%s' 2>&1",
		 office, y->t->dir, y->office);
	pipe = popen(command, "r");
	assert_true(fread(said, 1, sizeof(said) - 1, pipe) > 0);
	assert_int_equal(WEXITSTATUS(pclose(pipe)), 2);
	assert_says(said, "Taken: 1. Not taken: 1.\nLine 3: “x” is no time: ");
	y->desk = NULL;
	if (pw_desk_start(y->store, &y->desk, why, sizeof(why)))
		fail_msg("%s", why);
	ON_DESK(y, work_count_warm, &count);
	assert_int_equal(count, 1);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, yard_begin, yard_end)
		TEST(the_list_is_ordered_by_time_and_by_what_is_known),
		TEST(what_is_turned_down_leaves_nothing),
		TEST(the_shell_takes_temperatures),
#undef TEST
	};
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}
