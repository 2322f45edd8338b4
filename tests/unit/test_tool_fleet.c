/* SPDX-License-Identifier: Apache-2.0 */
/* A made-up district: chance, calendar, what is placed where, what is refused (docs/fleet.md). */
#include "fleet_help.h"

#include <inttypes.h>
#include <time.h>

#include "tool/fleet_day_internal.h"

/* -- chance ------------------------------------------------------------------------------------ */

/* The first numbers of SplitMix64 from 1234567, as published with the generator (from memory). */
static void chance_is_the_published_generator(void **state)
{
	static const uint64_t published[] = {
		UINT64_C(6457827717110365317), UINT64_C(3203168211198807973),
		UINT64_C(9817491932198370423), UINT64_C(4593380528125082431),
		UINT64_C(16408922859458223821),
	};
	struct pw_chance c = { .state = 1234567 };

	(void)state;
	for (size_t i = 0; i < COUNT(published); i++)
		assert_true(pw_chance_next(&c) == published[i]);
}

static void chance_stays_within_and_reaches_both_ends(void **state)
{
	struct pw_chance c = pw_chance_begin(5, PW_OF_DAY, 1, 2);
	bool low = false, high = false;

	(void)state;
	for (unsigned i = 0; i < 1000; i++) {
		int64_t n = pw_chance_in(&c, -3, 4), b = pw_chance_bell(&c, -3, 4);

		assert_in_range(n + 3, 0, 7);
		assert_in_range(b + 3, 0, 7);
		low = low || n == -3;
		high = high || n == 4;
	}
	assert_true(low && high);
}

static void each_thing_has_a_chance_of_its_own(void **state)
{
	struct pw_chance a = pw_chance_begin(5, PW_OF_DAY, 1, 2);
	const struct pw_chance others[] = {
		pw_chance_begin(6, PW_OF_DAY, 1, 2), pw_chance_begin(5, PW_OF_KEY, 1, 2),
		pw_chance_begin(5, PW_OF_DAY, 2, 2), pw_chance_begin(5, PW_OF_DAY, 1, 1),
		pw_chance_begin(5, PW_OF_DAY, 2, 1),
	};

	(void)state;
	for (size_t i = 0; i < COUNT(others); i++)
		assert_true(a.state != others[i].state);
}

/* -- the calendar ------------------------------------------------------------------------------ */

/* What date (GNU coreutils) says. */
static long long ask_date(const char *zone, const char *arguments, char text[64])
{
	char command[200];
	FILE *pipe;

	snprintf(command, sizeof(command), "TZ='%s' date %s", zone, arguments);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	assert_non_null(fgets(text, 64, pipe));
	assert_int_equal(pclose(pipe), 0);
	text[strcspn(text, "\n")] = '\0';
	return atoll(text);
}

static void dates_are_those_of_date(void **state)
{
	static const char *const dates[] = { "1971-01-01", "2000-02-29", "2024-02-29", "2026-10-05",
					     "2096-12-31" };
	char command[64], told[64], text[16];
	int32_t date;

	(void)state;
	for (size_t i = 0; i < COUNT(dates); i++) {
		assert_int_equal(pw_date_read(dates[i], &date), 0);
		snprintf(command, sizeof(command), "-d '%s 00:00' +%%s", dates[i]);
		assert_int_equal((long long)date * 86400, ask_date("UTC", command, told));
		pw_date_print(date, text);
		assert_string_equal(text, dates[i]);
		snprintf(command, sizeof(command), "-d %s +%%u", dates[i]);
		if (ask_date("UTC", command, told) > 5)
			assert_false(pw_date_is_school_day(date));
	}
}

static void what_is_no_date_is_none(void **state)
{
	static const char *const bad[] = { "", "2026-1-5", "2026-13-01", "2026-02-29", "1970-12-31",
					   "2099-01-01", "2026-10-05 ", "20261005", "2026-10-05x" };
	int32_t date;

	(void)state;
	for (size_t i = 0; i < COUNT(bad); i++)
		if (pw_date_read(bad[i], &date) == 0)
			fail_msg("\"%s\" was taken", bad[i]);
}

/* Where the clocks change, the hours of the runs are still right: 07:00 is 07:00. */
static void the_morning_is_right_where_clocks_change(void **state)
{
	static const char *const dates[] = { "2026-03-07", "2026-03-08", "2026-03-09", "2026-07-01",
					     "2026-10-31", "2026-11-01", "2026-11-02" };
	char command[64], told[64];
	int32_t date;

	(void)state;
	assert_int_equal(pw_zone_set("America/Chicago"), 0);
	for (size_t i = 0; i < COUNT(dates); i++) {
		assert_int_equal(pw_date_read(dates[i], &date), 0);
		snprintf(command, sizeof(command), "-d '%s 07:00' +%%s", dates[i]);
		assert_int_equal(pw_date_ms(date) / 1000 + 7 * 3600,
				 ask_date("America/Chicago", command, told));
		assert_int_equal(pw_date_of(pw_date_ms(date) + 7 * 3600000), date);
	}
	assert_int_equal(pw_zone_set("UTC"), 0);
	assert_int_equal(pw_zone_set("Nowhere/At-all"), -1);
	assert_int_equal(pw_zone_set("../../etc/passwd"), -1);
}

/* -- scenes ------------------------------------------------------------------------------------ */

static bool places_meet(const struct pw_placed *a, const struct pw_placed *b)
{
	return a->bus == b->bus && a->day < b->day + b->days && b->day < a->day + a->days;
}

static void assert_places(const struct pw_fleet *f)
{
	for (unsigned i = PW_SCENE_WALKED + 1; i < PW_SCENES; i++) {
		const struct pw_placed *p = &f->placed[i];

		if (p->days == 0 || p->bus >= PW_SHOWN_BUSES || p->day == 0
		    || p->day >= PW_SHOWN_DAYS)
			fail_msg("seed %" PRIu64 ", from %d: %s has no place", f->seed, f->from,
				 pw_scene_name((enum pw_scene)i));
		for (unsigned k = PW_SCENE_WALKED + 1; k < i; k++)
			if (places_meet(p, &f->placed[k]))
				fail_msg("seed %" PRIu64 ", from %d: %s and %s meet", f->seed,
					 f->from, pw_scene_name((enum pw_scene)i),
					 pw_scene_name((enum pw_scene)k));
	}
}

/* Whatever the seed and the first day, 24 buses and 21 days show every scene. */
static void each_scene_has_a_place(void **state)
{
	const unsigned seed = (unsigned)time(NULL) % 1000000;

	(void)state;
	print_message("seed %u\n", seed);
	for (unsigned i = 0; i < 2000; i++) {
		struct pw_fleet f = { .seed = seed + i, .buses = 24, .days = 21,
				      .from = 20000 + (int32_t)i };

		pw_fleet_place(&f);
		assert_places(&f);
	}
}

/* -- what is told ------------------------------------------------------------------------------ */

#define SMALL "--seed", "7", "--from", "2026-10-05", "--zone", "UTC"

/* Buses and days that are asked for later change nothing of the others. */
static void a_bus_is_the_same_in_a_larger_fleet(void **state)
{
	struct tool *t = *state;
	char *few;

	assert_int_equal(FLEET(t, "--buses", "3", "--days", "9", SMALL, "--list"), 0);
	few = strdup(t->out);
	assert_true(strlen(few) > 5000);
	assert_int_equal(FLEET(t, "--buses", "5", "--days", "9", SMALL, "--list"), 0);
	assert_memory_equal(t->out, few, strlen(few));
	free(few);
}

static void another_seed_is_another_district(void **state)
{
	struct tool *t = *state;
	char *one;

	assert_int_equal(FLEET(t, "--buses", "3", "--days", "2", SMALL, "--list"), 0);
	one = strdup(t->out);
	assert_int_equal(FLEET(t, "--buses", "3", "--days", "2", "--seed", "8", "--from",
			       "2026-10-05", "--zone", "UTC", "--list"), 0);
	assert_string_not_equal(t->out, one);
	free(one);
}

static void read_run(const char *line, char date[16], char bus[32], unsigned minute[2])
{
	unsigned at[4];
	char run[16], route[16], driver[16], place[16];

	if (sscanf(line, "%10[^,],%31[^,],%15[^,],%15[^,],%15[^,],%u:%u,%u:%u,%15s", date, bus, run,
		   route, driver, &at[0], &at[1], &at[2], &at[3], place) != 10)
		fail_msg("no line of a run sheet: %s", line);
	minute[0] = at[0] * 60 + at[1];
	minute[1] = at[2] * 60 + at[3];
}

/* One run of a bus after another, on school days alone. */
static void the_run_sheet_is_in_order(void **state)
{
	struct tool *t = *state;
	char *line, *rest, date[16] = "", bus[32] = "", was_date[16], was_bus[32];
	unsigned minute[2] = { 0 }, was, runs = 0;
	int32_t day;

	assert_int_equal(FLEET(t, "--buses", "12", "--days", "21", SMALL, "--runs",
			       tool_path(t, "runs.csv")), 0);
	assert_string_equal(t->out, "");
	tool_read(tool_path(t, "runs.csv"), t->out);
	line = strtok_r(t->out, "\n", &rest);
	assert_string_equal(line, "date,bus,run,route,driver,begin,end,place");
	while ((line = strtok_r(NULL, "\n", &rest))) {
		strcpy(was_date, date);
		strcpy(was_bus, bus);
		was = minute[1];
		read_run(line, date, bus, minute);
		assert_true(minute[0] < minute[1]);
		assert_true(strcmp(bus, was_bus) != 0 || strcmp(date, was_date) != 0
			    || minute[0] > was);
		assert_int_equal(pw_date_read(date, &day), 0);
		assert_true(pw_date_is_school_day(day));
		runs++;
	}
	assert_in_range(runs, 12 * 13 * 2, 12 * 15 * 4);
}

/* Codes only: nothing in it could be somebody's name. */
static void what_is_told_are_codes(void **state)
{
	static const char *const keys[] = { "bus", "yard", "route", "driver", "school", "place" };
	struct tool *t = *state;
	json_t *all, *one, *value;
	size_t i;

	assert_int_equal(FLEET(t, "--buses", "4", "--days", "9", SMALL, "--list"), 0);
	all = fleet_lines(t->out);
	json_array_foreach(all, i, one)
		for (size_t k = 0; k < COUNT(keys); k++)
			if ((value = json_object_get(one, keys[k]))) {
		const char *word = json_string_value(value), *dash = strchr(word, '-');

		assert_true(pw_chain_word(word));
		assert_non_null(dash);
		assert_int_equal(strspn(dash + 1, "0123456789"), strlen(dash + 1));
			}
	json_decref(all);
}

/* The same on every machine: SHA-256 of what one call tells, as Debian 12 first told it. */
static void it_is_the_same_everywhere(void **state)
{
	struct tool *t = *state;
	struct iovec whole;
	char hash[65];

	assert_int_equal(FLEET(t, "--buses", "30", "--days", "21", SMALL, "--list"), 0);
	whole = (struct iovec){ .iov_base = t->out, .iov_len = strlen(t->out) };
	pw_sha256_hex(&whole, 1, hash);
	assert_string_equal(hash,
			    "f45f4494c7c0bba0e4f3b91358bd5b0b28fb60f963bf693f89213eff48e32912");
}

/* -- what is refused --------------------------------------------------------------------------- */

static void bad_input_is_told_in_one_sentence(void **state)
{
	static const struct { const char *arg[12], *said;
	} bad[] = {
		{ { "--buses", "0", "--days", "1", "--seed", "1", "--list" }, "--buses" },
		{ { "--buses", "x", "--days", "1", "--seed", "1", "--list" }, "--buses" },
		{ { "--buses", "2", "--days", "4000", "--seed", "1", "--list" }, "--days" },
		{ { "--buses", "2", "--days", "0", "--seed", "1", "--list" }, "--days" },
		{ { "--buses", "2", "--days", "1", "--seed", "-1", "--list" }, "--seed" },
		{ { "--buses", "2", "--days", "1", "--list" }, "--seed" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--from", "today" },
		  "--from" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--zone", "At/Home" },
		  "--zone" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--within", "3" },
		  "--within" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--within", "25h" },
		  "--within" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--connections", "0" },
		  "--connections" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--to", "http://example.org" },
		  "http://example.org" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--to", "http://127.0.0.1:1" },
		  "T-0001" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--list", "--codes", "/none" },
		  "/none" },
		{ { "--buses", "2", "--days", "1", "--seed", "1", "--runs", "/none/runs" },
		  "/none/runs" },
	};
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(bad); i++) {
		const char *arg[14] = { "fleet" };

		for (size_t k = 0; bad[i].arg[k]; k++)
			arg[k + 1] = bad[i].arg[k];
		tool_run(t, pw_fleet, arg);
		assert_refused(t, bad[i].said);
	}
}

/* A line of codes that is none stops all, and nothing is kept of that call. */
static void bad_codes_are_told_with_their_line(void **state)
{
	struct tool *t = *state;

	tool_write(tool_path(t, "codes"), "# made up\nT-0001 AAAA-BBBB\n\nT-0002\n");
	FLEET(t, "--buses", "2", "--days", "1", SMALL, "--state", tool_path(t, "state"), "--codes",
	      tool_path(t, "codes"), "--list");
	assert_refused(t, "codes:4: expected BUS CODE");
	tool_read(tool_path(t, "state/fleet.jsonl"), t->out);
	assert_string_equal(t->out, "");
}

/* -- the state --------------------------------------------------------------------------------- */

/* In three calls the days are the same as in one, and each tells its own. */
static void days_go_on_from_call_to_call(void **state)
{
	struct tool *t = *state;
	const char *dir = tool_path(t, "state");
	char *parts = calloc(1, SAID_MAX);
	size_t lines = 0;

	for (unsigned i = 0; i < 3; i++) {
		if (i == 0)
			FLEET(t, "--buses", "3", "--days", "4", SMALL, "--state", dir, "--runs",
			      tool_path(t, "runs"));
		else
			FLEET(t, "--days", "4", "--state", dir, "--runs", tool_path(t, "runs"));
		assert_int_equal(t->status, 0);
		tool_read(tool_path(t, "runs"), t->out);
		strcat(parts, strchr(t->out, '\n') + 1);
	}
	assert_int_equal(FLEET(t, "--buses", "3", "--days", "12", SMALL, "--runs",
			       tool_path(t, "runs")), 0);
	tool_read(tool_path(t, "runs"), t->out);
	for (char *rest, *line = strtok_r(strchr(t->out, '\n') + 1, "\n", &rest); line;
	     line = strtok_r(NULL, "\n", &rest), lines++)
		if (!strstr(parts, line))
			fail_msg("not in the parts: %s", line);
	assert_true(lines > 30);
	for (const char *at = parts; (at = strchr(at, '\n')); at++)
		lines--;
	assert_int_equal(lines, 0);
	free(parts);
}

static void a_state_says_which_fleet_it_is(void **state)
{
	static const struct { const char *name, *value;
	} others[] = {
		{ "--buses", "4" },
		{ "--seed", "9" },
		{ "--from", "2026-10-06" },
		{ "--zone", "Europe/Paris" },
	};
	struct tool *t = *state;
	const char *dir = tool_path(t, "state");

	assert_int_equal(FLEET(t, "--buses", "3", "--days", "1", SMALL, "--state", dir), 0);
	for (size_t i = 0; i < COUNT(others); i++) {
		FLEET(t, "--days", "1", "--state", dir, others[i].name, others[i].value, "--list");
		assert_refused(t, others[i].name);
	}
	assert_int_equal(FLEET(t, "--buses", "3", "--days", "1", SMALL, "--state", dir), 0);
}

static void append(const char *path, const char *text)
{
	FILE *f = fopen(path, "a");

	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

/* A line that was cut off by a kill is no line; one that is whole and strange is refused. */
static void a_state_that_was_cut_off_goes_on(void **state)
{
	struct tool *t = *state;
	const char *dir = tool_path(t, "state"), *file = tool_path(t, "state/fleet.jsonl");

	assert_int_equal(FLEET(t, "--buses", "3", "--days", "2", SMALL, "--state", dir), 0);
	append(file, "{\"days\":");
	assert_int_equal(FLEET(t, "--days", "2", "--state", dir), 0);
	tool_read(file, t->out);
	assert_has(t->out, "\n{\"days\":2}\n{\"days\":4}\n");
	append(file, "{\"days\":-4}\n");
	FLEET(t, "--days", "2", "--state", dir);
	assert_refused(t, "fleet.jsonl:4: expected");
}

int main(void)
{
#define T(test) cmocka_unit_test_setup_teardown(test, tool_begin, tool_end)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(chance_is_the_published_generator),
		cmocka_unit_test(chance_stays_within_and_reaches_both_ends),
		cmocka_unit_test(each_thing_has_a_chance_of_its_own),
		cmocka_unit_test(dates_are_those_of_date),
		cmocka_unit_test(what_is_no_date_is_none),
		cmocka_unit_test(the_morning_is_right_where_clocks_change),
		cmocka_unit_test(each_scene_has_a_place),
		T(a_bus_is_the_same_in_a_larger_fleet),
		T(another_seed_is_another_district),
		T(the_run_sheet_is_in_order),
		T(what_is_told_are_codes),
		T(it_is_the_same_everywhere),
		T(bad_input_is_told_in_one_sentence),
		T(bad_codes_are_told_with_their_line),
		T(days_go_on_from_call_to_call),
		T(a_state_says_which_fleet_it_is),
		T(a_state_that_was_cut_off_goes_on),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
