/* SPDX-License-Identifier: Apache-2.0 */
/* When people are told: the table of times, and what a look into the store finds. */
#include "tell_help.h"

#include "office/look_internal.h"

#define SECOND INT64_C(1000)
#define HOUR (60 * MINUTE)
#define DAY (24 * HOUR)
#define NEVER INT64_MAX

/* -- times ------------------------------------------------------------------------------------- */

static void test_again(void **state)
{
	static const struct {
		int line;
		enum pw_matter_kind kind;
		uint32_t again_s;
		int64_t ms;
	} cases[] = {
		{ __LINE__, PW_MATTER_RUNG, 900, 900 * SECOND },
		{ __LINE__, PW_MATTER_CHILD, 900, 900 * SECOND },
		{ __LINE__, PW_MATTER_CHILD, 604800, 7 * DAY },
		{ __LINE__, PW_MATTER_FORK, 900, DAY },
		{ __LINE__, PW_MATTER_JOURNAL, 900, DAY },
		{ __LINE__, PW_MATTER_HOLE, 900, DAY },
		{ __LINE__, PW_MATTER_KEY, 900, DAY },
		{ __LINE__, PW_MATTER_REFUSED, 900, DAY },
		{ __LINE__, PW_MATTER_REFUSED, 172800, 2 * DAY },
		{ __LINE__, PW_MATTER_CLOCK, 900, 7 * DAY },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++)
		if (pw_tell_again_ms(cases[i].kind, cases[i].again_s) != cases[i].ms)
			fail_msg("line %d", cases[i].line);
}

/* From 30 s to 30 min, whatever is drawn. */
static void test_retry(void **state)
{
	static const struct { int line; unsigned tries; int64_t least_ms, most_ms; } cases[] = {
		{ __LINE__, 1, 30 * SECOND, 60 * SECOND },
		{ __LINE__, 2, 60 * SECOND, 120 * SECOND },
		{ __LINE__, 3, 120 * SECOND, 240 * SECOND },
		{ __LINE__, 5, 480 * SECOND, 960 * SECOND },
		{ __LINE__, 6, 900 * SECOND, 1800 * SECOND },
		{ __LINE__, 7, 900 * SECOND, 1800 * SECOND },
		{ __LINE__, UINT32_MAX, 900 * SECOND, 1800 * SECOND },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const uint32_t half = (uint32_t)(cases[i].most_ms / 2);

		if (pw_tell_retry_ms(cases[i].tries, 0) != cases[i].least_ms
		    || pw_tell_retry_ms(cases[i].tries, half) != cases[i].most_ms
		    || pw_tell_retry_ms(cases[i].tries, half + 1) != cases[i].least_ms
		    || pw_tell_retry_ms(cases[i].tries, UINT32_MAX) > cases[i].most_ms)
			fail_msg("line %d", cases[i].line);
	}
}

static void test_due(void **state)
{
	static const struct { int line; uint32_t tries, told; int64_t next_ms,
			      told_ms; bool due; } cases[] = {
		{ __LINE__, 0, 0, NOW, 0, true },
		{ __LINE__, 0, 0, NOW - DAY, 0, true },
		{ __LINE__, 0, 0, NOW + 1, 0, false },
		{ __LINE__, 0, 0, NEVER, 0, false },
		{ __LINE__, 1, 0, NOW + 60 * SECOND, 0, false },
		{ __LINE__, 0, 1, NOW + 7 * DAY, NOW, false },
		/* the clock had been far ahead, and was put back */
		{ __LINE__, 0, 0, NOW + DAY, 0, true },
		{ __LINE__, 1, 0, NOW + HOUR, 0, true },
		{ __LINE__, 0, 1, NOW + 9 * DAY, NOW - DAY, true },
		{ __LINE__, 0, 1, NOW + 2 * HOUR, NOW + HOUR, true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct pw_telling t = { .tries = cases[i].tries, .told = cases[i].told,
					      .next_ms = cases[i].next_ms,
					      .told_ms = cases[i].told_ms };

		if (pw_tell_due(&t, NOW) != cases[i].due)
			fail_msg("line %d", cases[i].line);
	}
}

static void test_after_a_try(void **state)
{
	struct pw_telling t = { .matter = 17, .next_ms = NOW }, taken = { .matter = 17,
									  .day = PW_TELL_TAKEN },
			  digest = { .day = 20251013 };

	(void)state;
	pw_tell_failed(&t, "refused\r\n", 0, NOW);
	assert_int_equal(t.tries, 1);
	assert_int_equal(t.next_ms, NOW + 30 * SECOND);
	assert_string_equal(t.why, "refused  ");
	pw_tell_failed(&t, "refused", 0, NOW);
	assert_int_equal(t.next_ms, NOW + 60 * SECOND);
	assert_int_equal(t.told, 0);
	pw_tell_done(&t, PW_MATTER_RUNG, 900, "", NOW);
	assert_int_equal(t.tries, 0);
	assert_int_equal(t.told, 1);
	assert_int_equal(t.told_ms, NOW);
	assert_int_equal(t.next_ms, NOW + 900 * SECOND);
	assert_string_equal(t.why, "");
	pw_tell_failed(&t, "gone", 0, NOW); /* a reminder begins with the shortest wait */
	assert_int_equal(t.next_ms, NOW + 30 * SECOND);

	pw_tell_done(&taken, PW_MATTER_RUNG, 900, "", NOW);
	assert_int_equal(taken.next_ms, NEVER);
	pw_tell_done(&digest, PW_MATTER_NONE, 900, "", NOW);
	assert_int_equal(digest.next_ms, NEVER);
}

/* -- a store ----------------------------------------------------------------------------------- */

static struct pw_store *open_store(void)
{
	static unsigned count;
	struct pw_store *s;
	char path[100], why[200];

	snprintf(path, sizeof(path), "%s/store-%u.db", folder, count++);
	if (pw_store_open(path, false, &s, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	assert_int_equal(pw_store_begin(s, why, sizeof(why)), 0);
	return s;
}

static void close_store(struct pw_store *s)
{
	pw_store_rollback(s);
	pw_store_close(s);
}

static uint64_t put_matter(struct pw_store *s, enum pw_matter_kind kind, uint64_t seq)
{
	struct pw_matter m = a_matter(kind);
	char why[200];

	m.seq = seq;
	assert_int_equal(pw_store_matter_put(s, &m, why, sizeof(why)), 1);
	return m.id;
}

static struct pw_look look_at(struct pw_store *s, const struct pw_office_conf *conf, int64_t now_ms)
{
	struct pw_look look = { .conf = conf, .way = "mail", .now_ms = now_ms };
	char why[200];

	if (pw_look(s, &look, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	return look;
}

static void put_told(struct pw_store *s, struct pw_telling t, enum pw_matter_kind kind,
		     int64_t now_ms)
{
	char why[200];

	pw_tell_done(&t, kind, 900, "", now_ms);
	assert_int_equal(pw_store_telling_put(s, &t, why, sizeof(why)), 0);
}

static const struct pw_office_conf quiet = { .digest_hour = 24, .tell_again_s = 900,
					     .silent_days = 3 };

static void test_look(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	uint64_t key, rung;

	(void)state;
	look = look_at(s, &quiet, NOW);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NEVER);

	key = put_matter(s, PW_MATTER_KEY, 0);
	rung = put_matter(s, PW_MATTER_RUNG, 812);
	look = look_at(s, &quiet, NOW);
	assert_int_equal(look.items, 2);
	assert_int_equal(look.item[0].matter.id, rung); /* what cannot wait comes first */
	assert_int_equal(look.item[0].telling.matter, rung);
	assert_int_equal(look.item[1].matter.id, key);
	put_told(s, look.item[0].telling, PW_MATTER_RUNG, NOW);
	put_told(s, look.item[1].telling, PW_MATTER_KEY, NOW);

	look = look_at(s, &quiet, NOW + 900 * SECOND - 1);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NOW + 900 * SECOND);
	look = look_at(s, &quiet, NOW + 900 * SECOND);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].matter.id, rung);
	assert_int_equal(look.item[0].telling.told, 1);
	assert_int_equal(look.next_ms, NOW + DAY);
	close_store(s);
}

/* Each way keeps its own count. */
static void test_look_by_way(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	char why[200];

	(void)state;
	put_matter(s, PW_MATTER_RUNG, 812);
	look = look_at(s, &quiet, NOW);
	put_told(s, look.item[0].telling, PW_MATTER_RUNG, NOW);
	look = (struct pw_look){ .conf = &quiet, .way = "webhook", .now_ms = NOW };
	assert_int_equal(pw_look(s, &look, why, sizeof(why)), 0);
	assert_int_equal(look.items, 1);
	assert_string_equal(look.item[0].telling.way, "webhook");
	assert_int_equal(look.item[0].telling.told, 0);
	close_store(s);
}

static void test_look_when_taken(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	struct pw_matter m;
	uint64_t id;
	char why[200];

	(void)state;
	id = put_matter(s, PW_MATTER_CHILD, 812);
	look = look_at(s, &quiet, NOW);
	put_told(s, look.item[0].telling, PW_MATTER_CHILD, NOW);
	assert_int_equal(pw_store_matter_take(s, id, "d12", "called", NOW + 1, &m, why,
					      sizeof(why)), 1);
	look = look_at(s, &quiet, NOW + 2);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, PW_TELL_TAKEN);
	assert_int_equal(look.item[0].matter.id, id);
	assert_string_equal(look.item[0].matter.taken_by, "d12");
	put_told(s, look.item[0].telling, PW_MATTER_CHILD, NOW + 2);
	look = look_at(s, &quiet, NOW + 30 * DAY);
	assert_int_equal(look.items, 0);
	assert_int_equal(look.next_ms, NEVER);
	close_store(s);
}

/* More than fit are told in turn. */
static void test_look_at_many(void **state)
{
	struct pw_store *s = open_store();
	struct pw_look look;
	size_t told = 0;

	(void)state;
	for (uint64_t i = 1; i <= 3 * PW_LOOK_ITEMS; i++)
		put_matter(s, i % 3 == 0 ? PW_MATTER_RUNG : PW_MATTER_HOLE, i);
	do {
		look = look_at(s, &quiet, NOW);
		for (size_t i = 0; i < look.items; i++, told++) {
			assert_int_equal(look.item[i].matter.kind,
					 told < PW_LOOK_ITEMS ? PW_MATTER_RUNG : PW_MATTER_HOLE);
			put_told(s, look.item[i].telling, look.item[i].matter.kind, NOW);
		}
	} while (look.next_ms == NOW);
	assert_int_equal(told, 3 * PW_LOOK_ITEMS);
	close_store(s);
}

/* -- the digest's hour ------------------------------------------------------------------------- */

#define YEAR_BEGINS INT64_C(1735736400000) /* date -d @1735736400: 1 Jan 2025 07:00 in Chicago */
#define YEAR_ENDS (YEAR_BEGINS + 365 * DAY)

/* Through a whole year an office looks when it said that it would: one digest for each day. */
static void test_a_digest_a_day(void **state)
{
	static const struct { int line; unsigned hour; } cases[] = {
		{ __LINE__, 6 },
		{ __LINE__, 0 },
		{ __LINE__, 1 }, /* comes twice on Sun 2 Nov 2025 */
		{ __LINE__, 2 }, /* is skipped on Sun 9 Mar 2025 */
		{ __LINE__, 23 },
	};

	(void)state;
	for (size_t c = 0; c < COUNT(cases); c++) {
		struct pw_office_conf conf = { .digest_hour = cases[c].hour, .silent_days = 3 };
		struct pw_store *s = open_store();
		int32_t last = 0;
		unsigned days = 0;

		for (int64_t now = YEAR_BEGINS; now < YEAR_ENDS;) {
			struct pw_look look = look_at(s, &conf, now);

			if (look.items > 1 || look.next_ms <= now || look.next_ms > now + 25 * HOUR)
				fail_msg("line %d: %zu items at %lld", cases[c].line, look.items,
					 (long long)now);
			if (look.items == 1) {
				if (last != 0)
					assert_int_equal(look.item[0].telling.day,
							 pw_hours_add(last, 1));
				last = look.item[0].telling.day;
				days++;
				assert_non_null(look.item[0].digest);
				put_told(s, look.item[0].telling, PW_MATTER_NONE, now);
			}
			pw_look_free(&look);
			now = look.next_ms;
		}
		assert_int_equal(days, 366); /* and the one that was due before the first look */
		close_store(s);
	}
}

/* One that does not get through in its day gives way to the next. */
static void test_an_old_digest(void **state)
{
	const struct pw_office_conf conf = { .digest_hour = 6, .silent_days = 3 };
	struct pw_store *s = open_store();
	struct pw_look look = look_at(s, &conf, NOW);
	struct pw_telling t;
	char why[200];

	(void)state;
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, 20251013);
	t = look.item[0].telling;
	pw_look_free(&look);
	pw_tell_failed(&t, "away", 0, NOW);
	assert_int_equal(pw_store_telling_put(s, &t, why, sizeof(why)), 0);
	look = look_at(s, &conf, NOW + DAY);
	assert_int_equal(look.items, 1);
	assert_int_equal(look.item[0].telling.day, 20251014);
	pw_look_free(&look);
	assert_int_equal(pw_store_telling(s, 0, 20251013, "mail", &t, why, sizeof(why)), 1);
	assert_int_equal(t.next_ms, NEVER);
	close_store(s);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_again),
		cmocka_unit_test(test_retry),
		cmocka_unit_test(test_due),
		cmocka_unit_test(test_after_a_try),
		cmocka_unit_test(test_look),
		cmocka_unit_test(test_look_by_way),
		cmocka_unit_test(test_look_when_taken),
		cmocka_unit_test(test_look_at_many),
		cmocka_unit_test(test_a_digest_a_day),
		cmocka_unit_test(test_an_old_digest),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
