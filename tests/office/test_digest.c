/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The office's days and hours, held against date(1) of coreutils; the digest of a made-up Monday.
 */
#include "tell_help.h"

#define HOUR (60 * MINUTE)
#define DAY (24 * HOUR)

/* -- days and hours ---------------------------------------------------------------------------- */

static void set_zone(const char *zone)
{
	char why[200];

	if (pw_hours_set(zone, why, sizeof(why)) != 0)
		fail_msg("%s", why);
}

/* With summer time and without, by half an hour, in quarters of one, at midnight. */
static const char *const zones[] = {
	"America/Chicago", "America/Phoenix", "America/St_Johns", "America/Santiago",
	"Europe/Berlin", "Africa/Cairo", "Asia/Kathmandu", "Australia/Lord_Howe",
	"Pacific/Chatham", "Pacific/Apia", "Etc/UTC",
};

/* Every hour of two years, a minute off; and some moments far away. */
static void test_against_date(void **state)
{
	static const int64_t far[] = { 0, -1, 1, 951782400, 4102444800, 7258118400, 253402214400 };
	static const int64_t begin = 1735689600, step = 3607; /* 2025-01-01 UTC */
	const size_t steps = 2 * 366 * 86400 / 3607;

	(void)state;
	for (size_t z = 0; z < COUNT(zones); z++) {
		char path[100], ours[PW_HOURS_TEXT_MAX], day[16];
		struct output o;
		FILE *file;

		snprintf(path, sizeof(path), "%s/moments", folder);
		file = fopen(path, "we");
		for (size_t i = 0; i < steps + COUNT(far); i++)
			fprintf(file, "@%lld\n", (long long)(i < steps ? begin + (int64_t)i * step
							      : far[i - steps]));
		fclose(file);
		set_zone(zones[z]);
		begin_output(&o, "TZ=%s LC_ALL=C date -f %s '+%%Y%%m%%d %%Y-%%m-%%dT%%H:%%M:%%S%%:z "
		    "%%H:%%M %%Z on %%a %%-d %%b %%Y'", zones[z], path);
		for (size_t i = 0; i < steps + COUNT(far); i++) {
			const int64_t at = i < steps ? begin + (int64_t)i * step : far[i - steps];
			char all[200];

			assert_true(next_line(&o));
			snprintf(day, sizeof(day), "%08d", (int)pw_hours_day(at * 1000 + 999));
			pw_hours_stamp(at * 1000, ours);
			snprintf(all, sizeof(all), "%s %s ", day, ours);
			pw_hours_text(at * 1000, ours);
			strcat(all, ours);
			if (strcmp(all, o.line) != 0)
				fail_msg("%s @%lld: %s, date says %s", zones[z], (long long)at, all,
					 o.line);
		}
		assert_false(next_line(&o));
		end_output(&o);
	}
}

/* The first moment of a day and hour: by date, that moment is not before them, and the second
 * before it is. All days of two years, hours that are skipped and that come twice among them. */
static void test_moments_against_date(void **state)
{
	static const unsigned hours[] = { 0, 1, 2, 3, 6, 23 };

	(void)state;
	for (size_t z = 0; z < COUNT(zones); z++) {
		char path[100], wanted[16];
		struct output o;
		FILE *file;
		int32_t day;

		set_zone(zones[z]);
		snprintf(path, sizeof(path), "%s/moments", folder);
		file = fopen(path, "we");
		for (day = 20250101; day < 20270101; day = pw_hours_add(day, 1))
			for (size_t h = 0; h < COUNT(hours); h++) {
				const int64_t at = pw_hours_moment(day, hours[h]) / 1000;

				fprintf(file, "@%lld\n@%lld\n", (long long)at, (long long)at - 1);
			}
		fclose(file);
		begin_output(&o, "TZ=%s date -f %s +%%Y%%m%%d%%H", zones[z], path);
		for (day = 20250101; day < 20270101; day = pw_hours_add(day, 1))
			for (size_t h = 0; h < COUNT(hours); h++) {
				snprintf(wanted, sizeof(wanted), "%08d%02u", (int)day, hours[h]);
				assert_true(next_line(&o));
				if (strcmp(o.line, wanted) < 0)
					fail_msg("%s %s: too early, %s", zones[z], wanted, o.line);
				assert_true(next_line(&o));
				if (strcmp(o.line, wanted) >= 0)
					fail_msg("%s %s: too late, %s", zones[z], wanted, o.line);
			}
		end_output(&o);
	}
}

/* zdump -v America/Chicago: on 9 March 2025 clocks went from 01:59:59 CST (07:59:59 UT) to 03:00:00
 * CDT, on 2 November 2025 from 01:59:59 CDT (06:59:59 UT) to 01:00:00 CST. */
static void test_summer_time(void **state)
{
	(void)state;
	set_zone("America/Chicago");
	assert_int_equal(pw_hours_moment(20250309, 2),
			 INT64_C(1741507200000)); /* date -ud @1741507200 */
	assert_int_equal(pw_hours_moment(20250309, 3), INT64_C(1741507200000));
	assert_int_equal(pw_hours_moment(20251102, 1),
			 INT64_C(1762063200000)); /* the first of the two */
	assert_int_equal(pw_hours_moment(20251102, 2), INT64_C(1762070400000));
	assert_int_equal(pw_hours_moment(20250310, 0) - pw_hours_moment(20250309, 0), 23 * HOUR);
	assert_int_equal(pw_hours_moment(20251103, 0) - pw_hours_moment(20251102, 0), 25 * HOUR);
}

static void test_calendar(void **state)
{
	char text[PW_HOURS_TEXT_MAX];

	(void)state;
	assert_int_equal(pw_hours_add(20251231, 1), 20260101);
	assert_int_equal(pw_hours_add(20240228, 1), 20240229);
	assert_int_equal(pw_hours_add(20250301, -1), 20250228);
	assert_int_equal(pw_hours_add(20251014, -182), 20250415);
	pw_hours_date(20251014, text);
	assert_string_equal(text, "Tue 14 Oct 2025");
	/* what a bus may say */
	assert_int_equal(pw_hours_day(INT64_MAX), 0);
	assert_int_equal(pw_hours_day(INT64_MIN), 0);
	pw_hours_text(INT64_MAX, text);
	assert_string_equal(text, "a time that no calendar has");
	pw_hours_stamp(INT64_MIN, text);
	assert_string_equal(text, "");
}

static void test_zones_that_are_none(void **state)
{
	static const char *const none[] = { "Mars/Olympus", "../../../etc/passwd", "/etc/localtime",
					    "America",
					    "tzdata.zi", "UTC0", "Europe/Ber "
								 "lin", ":America/Chicago" };
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(none); i++)
		if (pw_hours_set(none[i], why, sizeof(why)) != -2
		    || strstr(why, "expected a name such as America/Chicago") == NULL)
			fail_msg("%s: %s", none[i], why);
	assert_int_equal(pw_hours_set("", why, sizeof(why)), 0);
}

/* -- a made-up Monday -------------------------------------------------------------------------- */

#define MONDAY 20251013
#define MIDNIGHT INT64_C(1760331600000) /* date -d @1760331600: Mon 13 Oct 2025 00:00 in Chicago */
#define TUESDAY_SIX (MIDNIGHT + 30 * HOUR)

static struct pw_store *store;
static char why_not[240];

#define ok(result)                                                                            \
	do {                                                                                  \
		if ((result) < 0)                                                             \
			fail_msg("%s", why_not);                                              \
	} while (0)
#define WHY why_not, sizeof(why_not)

static int begin_store(void **state)
{
	static unsigned count;
	char path[100];

	(void)state;
	snprintf(path, sizeof(path), "%s/store-%u.db", folder, count++);
	set_zone("America/Chicago");
	ok(pw_store_open(path, false, &store, WHY));
	ok(pw_store_begin(store, WHY));
	return 0;
}

static int end_store(void **state)
{
	(void)state;
	pw_store_rollback(store);
	pw_store_close(store);
	return 0;
}

/* Enrolled, and heard of on these days at noon; ended by a 0. */
static void bus(const char *name, const int32_t days[])
{
	struct pw_bus_row row = { .has_key = true, .enrolled_ms = MIDNIGHT - 90 * DAY };

	snprintf(row.bus, sizeof(row.bus), "%s", name);
	ok(pw_store_bus_put(store, &row, WHY));
	for (; *days != 0; days++)
		ok(pw_store_bus_heard(store, name, pw_hours_moment(*days, 12), *days, WHY));
}

/* What a bus delivered: one branch, a record a row. */
static void deliver(const char *name, struct pw_sweep_row *sweep, size_t sweeps,
		    struct pw_standing *standing,
		    size_t standings)
{
	struct pw_record record[16];
	struct pw_put put = { .begins = true, .record = record, .sweep = sweep, .sweeps = sweeps,
			      .standing = standing, .standings = standings };

	put.records = sweeps > standings ? sweeps : standings;
	for (size_t i = 0; i < put.records; i++) {
		record[i] = (struct pw_record){ .seq = i + 1, .kind = PW_K_EDGES, .body = "{}" };
		memset(record[i].hash, 'a' + (int)i, 64);
		if (i > 0)
			memcpy(record[i].prev, record[i - 1].hash, 65);
		if (i < sweeps)
			sweep[i].seq = i + 1;
		if (i < standings)
			standing[i].seq = i + 1;
	}
	memset(record[0].prev, '0', 64);
	snprintf(put.to.bus, sizeof(put.to.bus), "%s", name);
	strcpy(put.to.epoch, "0123456789abcdef");
	put.to.why = PW_BRANCH_FIRST;
	put.to.first = 1;
	put.to.head = put.records;
	memcpy(put.to.first_prev, record[0].prev, 65);
	memcpy(put.to.hash, record[put.records - 1].hash, 65);
	put.to.begun_ms = put.to.moved_ms = MIDNIGHT;
	for (size_t i = 0; i < put.records; i++)
		memcpy(record[i].epoch, put.to.epoch, 17);
	ok(pw_store_put(store, &put, WHY));
}

static struct pw_sweep_row sweep(enum pw_verdict verdict, int64_t key_off_ms, int64_t came_ms)
{
	struct pw_sweep_row row = { .key_off_ms = key_off_ms, .closed_ms = key_off_ms + 3 * MINUTE,
				    .came_ms = came_ms, .wall_ok = true, .verdict = verdict,
				    .walk_ms = verdict == PW_MISSED ? PW_NO_TIME : 58400,
				    .return_ms = verdict == PW_MISSED ? PW_NO_TIME : 12000 };

	strcpy(row.rung, verdict == PW_MISSED ? "office" : "prompt");
	return row;
}

static char *digest(int64_t now_ms)
{
	const struct pw_office_conf conf = { .silent_days = 3 };
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	assert_non_null(out);
	ok(pw_digest_write(store, &conf, now_ms, out, WHY));
	assert_int_equal(fclose(out), 0);
	return text;
}

static void assert_digest(int64_t now_ms, const char *expected)
{
	char *text = digest(now_ms);

	assert_string_equal(text, expected);
	free(text);
}

static void test_nothing_yet(void **state)
{
	(void)state;
	assert_digest(TUESDAY_SIX,
		      "Mon 13 Oct 2025: nothing missed in what came in; 0 not heard of\n\n"
		      "0 of 0 buses delivered on that day. 0 walks came in: 0 done or late, 0 "
		      "doubtful, "
		      "0 missed.\nNothing was missed in what came in; 0 buses have not been heard "
		      "of.\n");
}

static void put_matter(enum pw_matter_kind kind, const char *name, uint64_t seq, int64_t came_ms)
{
	struct pw_matter m = { .kind = kind, .seq = seq, .came_ms = came_ms,
			       .at_ms = came_ms - MINUTE };

	snprintf(m.bus, sizeof(m.bus), "%s", name);
	pw_matter_say(&m, "office");
	ok(pw_store_matter_put(store, &m, WHY));
}

static void buses_of_monday(void)
{
	static const int32_t always[] = { 20250922, 20250929, 20251006, 20251010, 20251013, 0 };
	static const int32_t mondays[] = { 20250922, 20250929, 20251006, 20251010, 0 };
	static const int32_t a_new_one[] = { 20251008, 20251009, 20251010, 0 };
	static const int32_t long_gone[] = { 20251001, 20251002, 0 };
	static const int32_t never[] = { 0 };

	bus("9", always);
	bus("10", always);
	bus("22", mondays);
	bus("23", a_new_one);
	bus("31", never);
	bus("40", long_gone);
}

static void deliveries_of_monday(void)
{
	struct pw_sweep_row nine[] = {
		sweep(PW_DONE, MIDNIGHT + 8 * HOUR, MIDNIGHT + 9 * HOUR),
		sweep(PW_LATE, MIDNIGHT + 16 * HOUR, MIDNIGHT + 17 * HOUR),
	}, ten[] = {
		/* of Thursday, and it came in on Monday */
		sweep(PW_MISSED, MIDNIGHT - 81 * HOUR, MIDNIGHT + 9 * HOUR),
		sweep(PW_DOUBTFUL, MIDNIGHT + 8 * HOUR, MIDNIGHT + 9 * HOUR),
		/* a clock that is far ahead */
		sweep(PW_MISSED, INT64_C(4070908800000), MIDNIGHT + 17 * HOUR),
		/* came in on Sunday, and on Tuesday: told of on other days */
		sweep(PW_MISSED, MIDNIGHT - 10 * HOUR, MIDNIGHT - 1),
		sweep(PW_MISSED, MIDNIGHT + 16 * HOUR, MIDNIGHT + 24 * HOUR),
	};
	struct pw_standing service[] = {
		{ .name = "service", .on = true, .since_ms = MIDNIGHT + 10 * HOUR },
	}, horn[] = {
		{ .name = "line_horn", .on = true, .since_ms = MIDNIGHT + 7 * HOUR,
		  .words = "commanded, and not heard" },
		{ .name = "page", .on = true, .since_ms = MIDNIGHT, .words = "gone" },
		{ .name = "page", .on = false, .since_ms = MIDNIGHT + HOUR },
	};

	ten[0].findings = UINT32_C(1) << PW_F_DRIVEN_OFF | UINT32_C(1) << PW_F_POWER_LOST;
	ten[1].findings = UINT32_C(1) << PW_F_REAR_OPENED;
	deliver("9", nine, COUNT(nine), service, COUNT(service));
	deliver("10", ten, COUNT(ten), horn, COUNT(horn));
}

static void matters_of_monday(void)
{
	struct pw_matter taken;

	put_matter(PW_MATTER_RUNG, "10", 3, MIDNIGHT + 17 * HOUR);
	put_matter(PW_MATTER_CLOCK, "10", 0, MIDNIGHT + 17 * HOUR);
	put_matter(PW_MATTER_CLOCK, "10", 1, MIDNIGHT + 18 * HOUR);
	put_matter(PW_MATTER_KEY, "22", 0, MIDNIGHT + 18 * HOUR);
	ok(pw_store_matter_take(store, 4, "d12", "a new board", MIDNIGHT + 19 * HOUR, &taken, WHY));
}

static const char monday[] =
	"Mon 13 Oct 2025: 2 missed and 1 doubtful in what came in; 3 not heard of\n"
	"\n"
	"Missed walks: 2\n"
	"  bus 10: stop at 15:00 CDT on Thu 9 Oct 2025: no walk; alarm up to office, driven off, "
	"power lost\n"
	"  bus 10: stop when its clock cannot say, in at 17:00 CDT on Mon 13 Oct 2025: no walk; "
	"alarm up to office\n"
	"\n"
	"Doubtful walks: 1\n"
	"  bus 10: stop at 08:00 CDT on Mon 13 Oct 2025: pressed after 58 s, rear opened\n"
	"\n"
	"Not heard of, though expected: 2\n"
	"  bus 22: no word for 90 hours, since 12:00 CDT on Fri 10 Oct 2025\n"
	"  bus 40: no word for 282 hours, since 12:00 CDT on Thu 2 Oct 2025\n"
	"\n"
	"Enrolled, and never heard of: 1\n"
	"  bus 31: enrolled at 00:00 CDT on Tue 15 Jul 2025\n"
	"\n"
	"Signals, wires and boards with a fault that stands: 1\n"
	"  bus 10: line_horn since 07:00 CDT on Mon 13 Oct 2025: commanded, and not heard\n"
	"\n"
	"Muted for a mechanic (service): 1\n"
	"  bus 9: since 10:00 CDT on Mon 13 Oct 2025\n"
	"\n"
	"Clocks that cannot be relied on: 1\n"
	"  bus 10: since 17:00 CDT on Mon 13 Oct 2025 (matter 2)\n"
	"\n"
	"Not taken by anybody yet: 1\n"
	"  bus 10: matter 1: The walk on bus 10 was long overdue at 16:59 CDT on Mon 13 Oct 2025; "
	"its alarm has reached \"office\": call the driver or the yard now, and have the bus "
	"walked "
	"to the very rear.\n"
	"\n"
	"2 of 6 buses delivered on that day. 5 walks came in: 2 done or late, 1 doubtful, 2 "
	"missed.\n"
	"2 walks were missed in what came in; 3 buses have not been heard of.\n";

static void test_a_monday(void **state)
{
	(void)state;
	buses_of_monday();
	deliveries_of_monday();
	matters_of_monday();
	assert_digest(TUESDAY_SIX, monday);
}

/* A sweep is in the digest of the day on which it came in, and in no other. */
static void test_each_sweep_once(void **state)
{
	static const int32_t days[] = { 20251011, 20251012, 20251013, 20251014, 0 };
	struct pw_sweep_row rows[] = {
		sweep(PW_MISSED, MIDNIGHT - 100 * HOUR, MIDNIGHT - 1),
		sweep(PW_MISSED, MIDNIGHT - 100 * HOUR, MIDNIGHT),
		sweep(PW_MISSED, MIDNIGHT + 23 * HOUR, MIDNIGHT + DAY - 1),
		sweep(PW_MISSED, MIDNIGHT + 23 * HOUR, MIDNIGHT + DAY),
	};
	static const char *const heads[] = { "Sat 11 Oct 2025: nothing missed",
					     "Sun 12 Oct 2025: 1 missed",
					     "Mon 13 Oct 2025: 2 missed", "Tue 14 Oct 2025: 1 "
									  "missed" };

	(void)state;
	bus("9", days);
	deliver("9", rows, COUNT(rows), NULL, 0);
	for (size_t i = 0; i < COUNT(heads); i++) {
		char *text = digest(MIDNIGHT + (int64_t)i * DAY - DAY + 6 * HOUR);

		if (strncmp(text, heads[i], strlen(heads[i])) != 0)
			fail_msg("%s: %s", heads[i], text);
		free(text);
	}
}

/* -- who is silent ----------------------------------------------------------------------------- */

static void test_silent(void **state)
{
	static const struct {
		int line;
		int32_t heard[12]; /* ended by a 0 */
		int64_t now_ms;
		bool silent;
	} cases[] = {
		/* three Mondays, and not this one */
		{ __LINE__, { 20250922, 20250929, 20251006, 20251010 }, TUESDAY_SIX, true },
		/* this one as well */
		{ __LINE__, { 20250922, 20250929, 20251006, 20251013 }, TUESDAY_SIX, false },
		/* it is Monday morning: the digest is of Sunday, on which it never drives */
		{ __LINE__, { 20250922, 20250929, 20251006, 20251010 }, TUESDAY_SIX - DAY, false },
		/* two Mondays are no habit yet */
		{ __LINE__, { 20250929, 20251006, 20251010 }, TUESDAY_SIX, false },
		/* one of the three was a holiday */
		{ __LINE__, { 20250922, 20250930, 20251006, 20251010 }, TUESDAY_SIX, false },
		/* it has spoken since, on Tuesday before six */
		{ __LINE__, { 20250922, 20250929, 20251006, 20251010, 20251014 }, TUESDAY_SIX,
		  false },
		/* once missing, it is so until it is heard of, on days that are no habit too */
		{ __LINE__, { 20250922, 20250929, 20251006, 20251010 }, TUESDAY_SIX + DAY, true },
		{ __LINE__, { 20250922, 20250929, 20251006, 20251010 }, TUESDAY_SIX + 60 * DAY,
		  true },
		/* no habit, and a week */
		{ __LINE__, { 20251006 }, TUESDAY_SIX, true },
		{ __LINE__, { 20251007 }, TUESDAY_SIX, false },
	};

	for (size_t i = 0; i < COUNT(cases); i++) {
		char *text;
		bool silent;

		if (i > 0)
			begin_store(state);
		bus("22", cases[i].heard);
		text = digest(cases[i].now_ms);
		silent = strstr(text, "1 bus has not been heard of") != NULL;
		if (silent != cases[i].silent)
			fail_msg("line %d: %s", cases[i].line, text);
		free(text);
		if (i + 1 < COUNT(cases))
			end_store(state);
	}
}

/* A state's worth of buses: long lists are cut, and what was cut is counted. */
static void test_long_lists(void **state)
{
	static const int32_t never[] = { 0 };
	char name[16], *text;

	(void)state;
	for (int i = 0; i < 230; i++) {
		snprintf(name, sizeof(name), "%d", 1000 - i);
		bus(name, never);
	}
	text = digest(TUESDAY_SIX);
	assert_non_null(strstr(text, "never heard of: 230\n  bus 771: "));
	assert_non_null(strstr(text,
			       "  bus 970: enrolled at 00:00 CDT on Tue 15 Jul 2025\n  and 30 "
			       "more\n"));
	assert_non_null(strstr(text, "230 buses have not been heard of.\n"));
	free(text);
}

int main(void)
{
#define with_store(test) cmocka_unit_test_setup_teardown(test, begin_store, end_store)
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_against_date),
		cmocka_unit_test(test_moments_against_date),
		cmocka_unit_test(test_summer_time),
		cmocka_unit_test(test_calendar),
		cmocka_unit_test(test_zones_that_are_none),
		with_store(test_nothing_yet),
		with_store(test_a_monday),
		with_store(test_each_sweep_once),
		with_store(test_silent),
		with_store(test_long_lists),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
