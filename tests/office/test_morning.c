/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What needs a person this morning: which day it begins with, what is urgent, which buses are silent; and the
 * page over both stores: nothing, a week with everything wrong in it, and a matter taken.
 */
#include <sodium.h>

#include "asked_help.h"

#define MORNING INT64_C(1792990800000) /* date -u -d 2026-10-26T05:00: a Monday in Chicago, midnight */
#define HOUR_MS INT64_C(3600000)

/* -- pure -------------------------------------------------------------------------------------- */

/* 2026-10-26 is a Monday, by date of coreutils: `date -d 2026-10-26 +%a`. */
static void test_since(struct world *w)
{
	static const struct { int32_t today, day[4]; size_t days; int32_t since; } cases[] = {
		{ 20261026, { 20261023, 20261022 }, 2, 20261023 },           /* Friday */
		{ 20261026, { 20261024, 20261023, 20261025 }, 3, 20261023 }, /* a trip on Saturday */
		{ 20261027, { 20261026, 20261023 }, 2, 20261026 },
		{ 20261026, { 20261026 }, 1, 20261025 },                     /* today alone: yesterday */
		{ 20261026, { 0 }, 0, 20261025 },
		{ 20261201, { 20261120 }, 1, 20261120 },                     /* behind holidays */
		{ 20260101, { 0 }, 0, 20251231 },
	};
	char said[16];

	(void)w;
	assert_int_equal(shell(said, sizeof(said), "LC_ALL=C date -d 2026-10-26 +%%a"), 0);
	assert_string_equal(said, "Mon");
	for (size_t i = 0; i < sizeof(cases) / sizeof(cases[0]); i++)
		assert_int_equal(pw_morning_since(cases[i].today, cases[i].day, cases[i].days),
				 cases[i].since);
}

static void test_urgency(struct world *w)
{
	static const enum pw_matter_kind order[] = {
		PW_MATTER_CHILD, PW_MATTER_RUNG, PW_MATTER_KEY, PW_MATTER_FORK, PW_MATTER_REFUSED,
		PW_MATTER_JOURNAL, PW_MATTER_HOLE, PW_MATTER_CLOCK,
	};

	(void)w;
	assert_int_equal(sizeof(order) / sizeof(order[0]), PW_MATTERS - 1);
	for (unsigned i = 0; i < PW_MATTERS - 1; i++)
		assert_int_equal(pw_matter_urgency(order[i]), i + 1);
}

/* -- silent ------------------------------------------------------------------------------------ */

/* Heard of at noon of these days, the oldest first; ended by 0. */
static void heard(struct world *w, const char *bus, const int32_t *day)
{
	struct pw_zone *zone;
	int64_t at_ms[2];

	FINE(pw_zone_open(ZONE, &zone, WHY));
	put_bus(w->s, bus);
	for (; *day; day++) {
		assert_int_equal(pw_zone_moments(zone, *day, 12 * 3600000, at_ms), 1);
		FINE(pw_store_bus_heard(w->s, bus, at_ms[0], *day, WHY));
	}
	pw_zone_free(zone);
}
#define DAYS(...) (const int32_t[]){ __VA_ARGS__, 0 }

static struct pw_silence_look look_of(struct world *w, struct pw_silence *n, int32_t upto,
				      int64_t now_ms)
{
	struct pw_silence_look look = { .of = n, .upto = upto, .now_ms = now_ms };

	do {
		FINE(pw_silence_work(w->s, &look, WHY));
	} while (look.more);
	return look;
}

/* By habit; found once, and then kept up to date without being looked for again. */
static void test_silence(struct world *w)
{
	struct pw_silence *n = pw_silence_new(3);
	struct pw_silence_look look;

	heard(w, "9", DAYS(20261002, 20261009, 20261016));            /* each Friday, and not this */
	heard(w, "10", DAYS(20261002, 20261009, 20261016, 20261023)); /* this one, too */
	heard(w, "11", DAYS(20261009, 20261021));                     /* no habit */
	heard(w, "12", DAYS(20260901));                               /* long ago */
	put_bus(w->s, "13");
	look = look_of(w, n, 20261025, MORNING);
	assert_int_equal(look.count, 3);
	assert_string_equal(look.list[0].bus, "9");
	assert_string_equal(look.list[1].bus, "12");
	assert_string_equal(look.list[2].bus, "13");
	assert_int_equal(look.list[2].heard_ms, 0);
	assert_int_equal(look.never, 1);
	assert_int_equal(look.buses, 5);
	assert_int_equal(look.heard, 0);
	free(look.list);
	FINE(pw_store_bus_heard(w->s, "12", MORNING + 1000, 20261026, WHY));
	look = look_of(w, n, 20261025, MORNING + 2000);
	assert_int_equal(look.count, 2);
	free(look.list);
	/* A bus more than goes through at once, twice over. */
	FINE(pw_store_begin(w->s, WHY));
	for (int i = 0; i < 900; i++) {
		char bus[PW_NAME_MAX];

		snprintf(bus, sizeof(bus), "n%d", i);
		put_bus(w->s, bus);
	}
	FINE(pw_store_commit(w->s, WHY));
	look = look_of(w, n, 20261026, MORNING + 24 * HOUR_MS);
	assert_int_equal(look.buses, 905);
	assert_int_equal(look.count, 902); /* 9, 13 and these; 10 is not missing before Friday */
	free(look.list);
	pw_silence_free(n);
}

/* -- the page ---------------------------------------------------------------------------------- */

static void test_calm(struct world *w)
{
	struct pw_asked q;
	struct desk d;
	char *text;

	heard(w, "14", DAYS(20261025));
	desk_begin(&d, w, MORNING + 7 * HOUR_MS);
	desk_renew(&d);
	asked(&d, &q, "/", PW_MAY_ACT, NULL);
	text = page_of(&q, pw_morning_get, NULL);
	assert_says(text, "Nothing waits for a person in what came in since 2026-10-25.");
	assert_says(text, "No runs are planned here since 2026-10-25: a run without any record would "
		    "not be noticed.");
	assert_says(text, "1 of 1 buses were heard of on 2026-10-25.");
	assert_not_says(text, "empty");
	assert_not_says(text, "Take a matter");
	free(text);
	desk_end(&d);
}

static void put_matter(struct world *w, enum pw_matter_kind kind, const char *bus, const char *epoch)
{
	struct pw_matter m = { .kind = kind, .came_ms = MORNING, .at_ms = MORNING - HOUR_MS, .seq = 5 };

	snprintf(m.bus, sizeof(m.bus), "%s", bus);
	snprintf(m.epoch, sizeof(m.epoch), "%s", epoch);
	snprintf(m.words, sizeof(m.words), "%s of bus %s", pw_matter_name(kind), bus);
	assert_int_equal(pw_store_matter_put(w->s, &m, WHY), 1);
}

static void put_plan(struct world *w, const char *bus, const char *run, int64_t end_ms)
{
	struct pw_plan plan = { .day = 20261025, .begin_ms = end_ms - HOUR_MS, .end_ms = end_ms };

	snprintf(plan.bus, sizeof(plan.bus), "%s", bus);
	snprintf(plan.run, sizeof(plan.run), "%s", run);
	FINE(pw_audit_plan(w->s, &plan, WHY));
}

/* 40 records of a bus: sweeps done, late, doubtful, missed (store_help.h), ten minutes apart. */
static void bad_week(struct world *w)
{
	static struct made m;

	make_put(&m, "14", NULL, 40);
	m.put.standing = (const struct pw_standing[]){
		{ .seq = 7, .name = "silent_horn", .on = true, .since_ms = NOON_MS, .words = "cut?" },
		{ .seq = 8, .name = "service", .on = true, .since_ms = NOON_MS },
	};
	m.put.standings = 2;
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	FINE(pw_store_bus_heard(w->s, "14", NOON_MS, 20261025, WHY));
	FINE(pw_store_put(w->s, &m.put, WHY));
	heard(w, "9", DAYS(20261002, 20261009, 20261016));
	put_plan(w, "9", "SUN1", NOON_MS - 2 * HOUR_MS);
	put_matter(w, PW_MATTER_CLOCK, "9", "0000000020261024");
	put_matter(w, PW_MATTER_CLOCK, "9", "0000000020261025");
	put_matter(w, PW_MATTER_FORK, "9", EPOCH);
	put_matter(w, PW_MATTER_RUNG, "14", EPOCH);
	put_matter(w, PW_MATTER_CHILD, "14", EPOCH);
	FINE(pw_store_commit(w->s, WHY));
}

static char *table_of(struct desk *d, const char *table)
{
	struct pw_asked q;

	asked(d, &q, "/", PW_MAY_ACT, NULL);
	return page_of(&q, pw_morning_get, table);
}

static void test_all_wrong(struct world *w)
{
	struct pw_asked q;
	struct desk d;
	char *text;

	bad_week(w);
	desk_begin(&d, w, MORNING + 7 * HOUR_MS);
	desk_renew(&d);
	asked(&d, &q, "/", PW_MAY_ACT, NULL);
	text = page_of(&q, pw_morning_get, NULL);
	assert_says(text, "Since 2026-10-25: 2 alerts wait; 1 sweep was not walked; 1 sweep is doubtful; "
		    "1 planned run has no record; 1 bus has not been heard of; 1 fault of a signal, wire "
		    "or board stands; 1 bus is muted; 1 clock is off; 1 other matter waits.");
	assert_says(text, "Of 1 runs planned since 2026-10-25 and over by now, 0 have a record.");
	assert_not_says(text, "empty");
	free(text);
	text = table_of(&d, "matters");
	assert_says(text, ",child,14,");
	assert_true(strstr(text, ",child,14,") < strstr(text, ",rung,14,"));
	assert_true(strstr(text, ",rung,14,") < strstr(text, ",fork,9,"));
	free(text);
	text = table_of(&d, "sweeps");
	assert_says(text, "14,,,missed,horn,carried driven_off,");
	free(text);
	text = table_of(&d, "no_record");
	assert_says(text, ",9,,SUN1,,bus_silent\r\n");
	free(text);
	text = table_of(&d, "faults");
	assert_says(text, "bus,fault,since,words\r\n14,silent_horn,2026-10-25T12:00:00");
	free(text);
	desk_end(&d);
}

static void test_taking(struct world *w)
{
	char said[200], field[40], expected[80], *text;
	struct pw_asked q;
	struct desk d;
	int id;

	put_matter(w, PW_MATTER_RUNG, "14", EPOCH);
	assert_int_equal(outside(w, said, sizeof(said), "SELECT id FROM matter"), 0);
	id = atoi(said);
	snprintf(field, sizeof(field), "matter=%d", id);
	desk_begin(&d, w, MORNING);
	asked(&d, &q, "/", PW_MAY_ACT, FIELDS("matter=x", "words=I go there"));
	assert_int_equal(pw_morning_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_MORNING_NO_MATTER);
	asked(&d, &q, "/", PW_MAY_ACT, FIELDS(field, "words="));
	assert_int_equal(pw_morning_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_MORNING_NO_WORDS);
	asked(&d, &q, "/", PW_MAY_ACT, FIELDS(field, "words=I go there"));
	assert_int_equal(pw_morning_post(&q), 0);
	snprintf(expected, sizeof(expected), "Matter %d is taken by dsp-1.", id);
	assert_string_equal(q.said, expected);
	assert_string_equal(q.then, "/");
	assert_int_equal(pw_morning_post(&q), 1);
	assert_int_equal(q.wrong, PW_P_MORNING_TAKEN_BEFORE);
	assert_string_equal(q.wrong_fill, "dsp-1");
	asked(&d, &q, "/", PW_MAY_SEE, NULL);
	text = page_of(&q, pw_morning_get, NULL);
	assert_says(text, "Every alert and matter has been taken.");
	free(text);
	desk_end(&d);
	assert_int_equal(outside(w, said, sizeof(said), "SELECT taken_by, taken_words FROM matter"), 0);
	assert_string_equal(said, "dsp-1|I go there");
	assert_int_equal(outside(w, said, sizeof(said), "SELECT who, did FROM log"), 0);
	snprintf(expected, sizeof(expected), "dsp-1|took matter %d: I go there", id);
	assert_string_equal(said, expected);
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(test_since), CASE(test_urgency), CASE(test_silence), CASE(test_calm),
		CASE(test_all_wrong), CASE(test_taking),
	};

	if (sodium_init() < 0 || pw_hours_set(ZONE, WHY))
		return 1;
	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
