/* SPDX-License-Identifier: Apache-2.0 */
/* The mark in the aisle: where the walk should be, from the policy's figures (R10, R11, R12, R16)
 * and the clock alone. */
#include "page_sample.h"

#include <stdlib.h>

static char html[PW_HTML_MAX];

static void drawn(const struct pw_snapshot *s)
{
	struct pw_sheet t;

	pw_sheet_open(&t, html, sizeof html);
	pw_aisle(&t, s);
	assert_int_equal(pw_sheet_close(&t), strlen(html));
}

static struct pw_snapshot walking(int64_t gone_ms)
{
	return sample_in(PW_OWED, gone_ms);
}

static struct pw_snapshot coming_back(int64_t gone_ms)
{
	struct pw_snapshot s = sample_in(PW_WALK_BACK, 60000);

	s.press_ms = s.now_ms - gone_ms;
	return s;
}

/* walk_min is 9.1 m / 1.07 m/s + 12 rows * 0.5 s = 14.505 s (R10): 1.20875 s a row. */
static void the_walk_goes_row_by_row(void **state)
{
	static const struct { int64_t gone_ms; enum pw_word word; int64_t row; } want[] = {
		{ 0, PW_W_PACE_ROW, 1 },      { 1208, PW_W_PACE_ROW, 1 },
		{ 1209, PW_W_PACE_ROW, 2 },   { 7252, PW_W_PACE_ROW, 6 },
		{ 7253, PW_W_PACE_ROW, 7 },   { 13296, PW_W_PACE_ROW, 11 },
		{ 13297, PW_W_PACE_ROW, 12 }, { 14504, PW_W_PACE_ROW, 12 },
		{ 14505, PW_W_PACE_REAR, 0 }, { 59999, PW_W_PACE_REAR, 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		struct pw_snapshot s = walking(want[i].gone_ms);
		struct pw_pace p;

		pw_pace(&s, &p);
		assert_int_equal(p.word, want[i].word);
		assert_int_equal(p.row, want[i].row);
		assert_false(p.back);
		assert_int_equal(p.all_ms, 14505);
	}
}

/* A press counts exactly when the mark has reached the rear: R11's "too soon" and the drawing are
 * the same figure. */
static void the_mark_is_at_the_rear_when_a_press_counts(void **state)
{
	(void)state;
	for (int64_t gone_ms = 14000; gone_ms < 15000; gone_ms++) {
		struct pw_snapshot s = walking(gone_ms);
		struct pw_pace p;

		pw_pace(&s, &p);
		assert_int_equal(p.word == PW_W_PACE_REAR,
				 s.now_ms >= s.basis_ms + s.walk_min_ms);
	}
}

/* R12: a rear door that was open begins the walk anew, from its closing; while it stands open there
 * is no walk. */
static void the_walk_begins_when_the_rear_is_shut(void **state)
{
	struct pw_snapshot s = walking(10000);
	struct pw_pace p;

	(void)state;
	s.levels = 1U << PW_REAR_DOOR;
	pw_pace(&s, &p);
	assert_int_equal(p.word, PW_W_PACE_FRONT);
	drawn(&s);
	assert_non_null(strstr(html, "class=\"ajar\""));
	assert_null(strstr(html, "data-all"));
	s.levels = 1U << PW_EXITS;
	pw_pace(&s, &p);
	assert_int_equal(p.word, PW_W_PACE_FRONT);
	s.levels = 0;
	s.basis_ms = s.now_ms - 1300;
	pw_pace(&s, &p);
	assert_int_equal(p.word, PW_W_PACE_ROW);
	assert_int_equal(p.row, 2);
}

/* return_min is 9.1 m / 1.07 m/s = 8.505 s (R10): 0.70875 s a row, from the rear. */
static void the_second_look_comes_forward(void **state)
{
	static const struct { int64_t gone_ms; enum pw_word word; int64_t row; } want[] = {
		{ 0, PW_W_PACE_ROW, 12 },    { 708, PW_W_PACE_ROW, 12 },
		{ 709, PW_W_PACE_ROW, 11 },  { 4252, PW_W_PACE_ROW, 7 },
		{ 4253, PW_W_PACE_ROW, 6 },  { 8504, PW_W_PACE_ROW, 1 },
		{ 8505, PW_W_PACE_DOOR, 0 }, { 60000, PW_W_PACE_DOOR, 0 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof want / sizeof want[0]; i++) {
		struct pw_snapshot s = coming_back(want[i].gone_ms);
		struct pw_pace p;

		pw_pace(&s, &p);
		assert_int_equal(p.word, want[i].word);
		assert_int_equal(p.row, want[i].row);
		assert_true(p.back);
	}
}

static unsigned times(const char *what)
{
	unsigned n = 0;

	for (const char *at = html; (at = strstr(at, what)); at++)
		n++;
	return n;
}

/* One mark, and as many seats as rows say; what lies behind the mark is drawn like what lies
 * ahead. */
static void no_row_is_drawn_as_done(void **state)
{
	static const int64_t gone_ms[] = { 0, 5000, 10000, 14504, 20000 };
	char seats[PW_HTML_MAX / 16] = "";

	(void)state;
	for (size_t i = 0; i < sizeof gone_ms / sizeof gone_ms[0]; i++) {
		struct pw_snapshot s = walking(gone_ms[i]);
		const char *at;

		drawn(&s);
		assert_int_equal(times("class=\"slot\""), 1);
		assert_int_equal(times("10h14v26h-14zm0 54h14v26h-14z"), 12);
		at = strstr(html, "<path class=\"seats\" d=\"M52");
		assert_non_null(at);
		if (i == 0)
			snprintf(seats, sizeof seats, "%.*s", (int)strcspn(at, "\n"), at);
		assert_int_equal(strncmp(at, seats, strlen(seats)), 0);
	}
}

static void the_mark_stands_at_its_row(void **state)
{
	(void)state;
	for (int64_t row = 1; row <= 12; row++) {
		struct pw_snapshot s = walking((row - 1) * 14505 / 12 + 1);
		char at[64];

		drawn(&s);
		snprintf(at, sizeof at, "class=\"slot\" transform=\"translate(%d)\"",
			 22 + (int)row * 26);
		assert_non_null(strstr(html, at));
	}
}

static void its_alternative_says_what_it_does_not_show(void **state)
{
	struct pw_snapshot s = walking(5000);

	(void)state;
	drawn(&s);
	assert_non_null(strstr(html, "role=\"img\" aria-label=\"The bus from above, front at the "
				     "left, 12 rows of seats."));
	assert_non_null(strstr(html, "where the walk should be by the policy&#39;s pace. It does not "
				     "show where anybody is, nor who or what is in any row."));
	assert_non_null(strstr(html, "<b>Pace: row 5 of 12</b>"));
}

static void without_an_open_sweep_nothing_is_drawn(void **state)
{
	struct pw_snapshot s = sample_in(PW_PARKED, 0);

	(void)state;
	drawn(&s);
	assert_string_equal(html, "");
	s = sample_in(PW_DRIVING, 0);
	drawn(&s);
	assert_string_equal(html, "");
}

/* The policy allows 0 to 60 rows. */
static void every_bus_has_a_drawing(void **state)
{
	(void)state;
	for (int64_t rows = 0; rows <= PW_ROWS_MAX; rows++)
		for (int64_t gone_ms = 0; gone_ms <= 20000; gone_ms += 500) {
			struct pw_snapshot s = walking(gone_ms), back = coming_back(gone_ms);
			struct pw_pace p;

			s.rows = back.rows = rows;
			drawn(&s);
			pw_pace(&s, &p);
			assert_in_range(p.row, 0, rows);
			assert_int_equal(p.row > 0, p.word == PW_W_PACE_ROW);
			drawn(&back);
			pw_pace(&back, &p);
			assert_in_range(p.row, 0, rows);
		}
	static const int64_t strange[] = { -1, 61, INT64_MAX, INT64_MIN };

	for (size_t i = 0; i < sizeof strange / sizeof strange[0]; i++) {
		struct pw_snapshot s = walking(1000);

		s.rows = strange[i];
		drawn(&s);
		assert_string_equal(html, "");
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(the_walk_goes_row_by_row),
		cmocka_unit_test(the_mark_is_at_the_rear_when_a_press_counts),
		cmocka_unit_test(the_walk_begins_when_the_rear_is_shut),
		cmocka_unit_test(the_second_look_comes_forward),
		cmocka_unit_test(no_row_is_drawn_as_done),
		cmocka_unit_test(the_mark_stands_at_its_row),
		cmocka_unit_test(its_alternative_says_what_it_does_not_show),
		cmocka_unit_test(without_an_open_sweep_nothing_is_drawn),
		cmocka_unit_test(every_bus_has_a_drawing),
	};

	return cmocka_run_group_tests_name("page: the aisle", tests, NULL, NULL);
}
