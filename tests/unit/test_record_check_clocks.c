/* SPDX-License-Identifier: Apache-2.0 */
/* Soundness (J10) of times: mono time within a boot, the wall clock beside it, and over a start. */
#include "record_sealed.h"

#define BOOT(clock) "{\"version\":\"0\",\"clock\":\"" clock "\"}"
#define E PW_K_EXCUSED

/* J10: mono time in a boot, wall steps, starts. Limits of our own: 2000 ms. */
static const struct {
	int line;
	struct plan plan[6];
	struct expected found[4];
} clocks[] = {
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 0, 0, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 0, 2000, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 0, 2001, NULL, 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 0, -2000, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 0, -2001, NULL, 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 10000, 12000, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 10000, 12001, NULL, 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 10000, 8000, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 10000, 7999, NULL, 0 } }, { { STEP, 2 } } },
	/* told once; then on from there */
	{ T, { { E, 1, 0, 0, NULL, 0 }, { E, 1, 10, 90010, NULL, 0 }, { E, 1, 20, 90020, NULL, 0 },
	       { E, 1, 30, 30, NULL, 0 } }, { { STEP, 2 }, { STEP, 4 } } },
	/* a clock record explains: forward, back, twice */
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 10, 90010, CLOCK(1790000000010, 1790000090010), 0 },
	       { E, 1, 20, 90020, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 10, -90000, CLOCK(1790000000010, 1789999910000), 0 },
	       { PW_K_CLOCK, 1, 20, 0, CLOCK(1789999910010, 1790000000000), 0 },
	       { E, 1, 30, 10, NULL, 0 } }, { { 0, 0 } } },
	/* before_ms is not what the clock showed */
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1790000002000, 1790000090000), 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1790000002001, 1790000090000), 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1789999997999, 1790000090000), 0 },
	       { E, 1, 0, 90000, NULL, 0 } }, { { STEP, 2 } } },
	/* after_ms is not what it shows */
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1790000000000, 1790000091000), 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1790000000000, 1790000091001), 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 90000, CLOCK(1790000000000, 1790000088999), 0 } }, { { STEP, 2 } } },
	/* a clock record that says nothing */
	{ T, { { E, 1, 0, 0, NULL, 0 }, { PW_K_CLOCK, 1, 0, 0, "{}", 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 }, { PW_K_CLOCK, 1, 0, 0, "", 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 0, "{\"before_ms\":1790000000000,\"after_ms\":1.79e12}", 0 } },
	  { { STEP, 2 } } },
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { PW_K_CLOCK, 1, 0, 0, "{\"after_ms\":1790000000000}", 0 } }, { { STEP, 2 } } },
	/* the right body in another kind explains nothing */
	{ T, { { E, 1, 0, 0, NULL, 0 },
	       { E, 1, 10, 90010, CLOCK(1790000000010, 1790000090010), 0 } }, { { STEP, 2 } } },
	/* over a start: the mono clock begins anew, the wall clock may only go on */
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, 5000, BOOT("vouched"), 0 } },
	  { { 0, 0 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 7, 0, 900000, BOOT("vouched"), 0 } },
	  { { 0, 0 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, 4999, BOOT("vouched"), 0 } },
	  { { STEP, 2 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, 4999, BOOT("same_boot"), 0 },
	       { E, 2, 10, 5009, NULL, 0 } }, { { STEP, 2 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, -90000, BOOT("lost"), 0 },
	       { E, 2, 10, -89990, NULL, 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, -90000, BOOT("first"), 0 } },
	  { { 0, 0 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { PW_K_BOOT, 2, 0, -90000, "{}", 0 } },
	  { { STEP, 2 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { E, 2, 0, -90000, BOOT("lost"), 0 } },
	  { { STEP, 2 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { E, 2, 0, 5000, NULL, 0 },
	       { PW_K_BOOT, 2, 0, -90000, BOOT("lost"), 0 } }, { { STEP, 3 } } },
	/* a step before anything else of the boot is written: from before_ms */
	{ T, { { E, 1, 5000, 5000, NULL, 0 },
	       { PW_K_CLOCK, 2, 0, 0, CLOCK(1790000005000, 1790000000000), 0 } }, { { 0, 0 } } },
	{ T, { { E, 1, 5000, 5000, NULL, 0 },
	       { PW_K_CLOCK, 2, 0, 0, CLOCK(1790000004999, 1790000000000), 0 } }, { { STEP, 2 } } },
	/* mono time and boot go back */
	{ T, { { E, 1, 5000, 5000, NULL, 0 }, { E, 1, 4999, 4999, NULL, 0 } }, { { MONO, 2 } } },
	{ T, { { E, 1, 100, 100, NULL, 0 }, { E, 1, 5000, 5000, NULL, 0 },
	       { E, 1, 200, 200, NULL, 0 }, { E, 1, 300, 300, NULL, 0 } }, { { MONO, 3 } } },
	{ T, { { E, 2, 100, 100, NULL, 0 }, { E, 1, 200, 200, NULL, 0 },
	       { E, 1, 300, 300, NULL, 0 }, { E, 3, 400, 400, NULL, 0 } }, { { MONO, 2 } } },
	/* a boot record within a boot is a record like any other */
	{ T, { { E, 1, 0, 0, NULL, 0 }, { PW_K_BOOT, 1, 0, -90000, BOOT("lost"), 0 } },
	  { { STEP, 2 } } },
};

static void clocks_are_followed(void **state)
{
	struct items x;
	struct findings found;
	struct pw_check c;
	size_t n;

	(void)state;
	for (size_t i = 0; i < sizeof(clocks) / sizeof(clocks[0]); i++) {
		for (n = 0; n < 6 && clocks[i].plan[n].kind != PW_K_NONE; n++)
			;
		items_make(&x, clocks[i].plan, n);
		item_seal(&x, x.count++);
		items_check(&x, &x.key.public, &c, &found);
		assert_found(&found, clocks[i].found, clocks[i].line);
	}
}

/* Times as far apart as can be are told, and no sum overflows. */
static void the_ends_of_time(void **state)
{
	static const struct plan three[3] = { { .boot = 1 }, { .boot = 1 }, { .boot = 1 } };
	static const int64_t ends[] = { INT64_MIN, INT64_MIN + 1, -1, 0, 1, INT64_MAX };
	const size_t n = sizeof(ends) / sizeof(ends[0]);
	struct items x;
	struct findings found;
	struct pw_check c;

	(void)state;
	for (size_t i = 0; i < n * n * n * n; i++) {
		items_make(&x, three, 3);
		x.at[1].record.mono_ms = ends[i % n];
		x.at[2].record.mono_ms = ends[i / n % n];
		x.at[1].record.wall_ms = ends[i / n / n % n];
		x.at[2].record.wall_ms = ends[i / n / n / n];
		items_link(&x, 0);
		items_check(&x, NULL, &c, &found);
		assert_true(found.count >= 1 && found.count <= 3);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(clocks_are_followed),
		cmocka_unit_test(the_ends_of_time),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
