/* SPDX-License-Identifier: Apache-2.0 */
/* Back-off: bounds, jitter, never below what was asked for. Pure. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <time.h>

#include <cmocka.h>

#include "postwalk/delivery.h"

static void doubled_up_to_a_limit(void **state)
{
	static const struct { unsigned n; bool alert; int64_t most_ms; } rows[] = {
		{ 0, false, 2000 },     { 1, false, 4000 },     { 2, false, 8000 },
		{ 5, false, 64000 },    { 8, false, 512000 },   { 9, false, 900000 },
		{ 10, false, 900000 },  { 1000, false, 900000 }, { UINT32_MAX, false, 900000 },
		{ 0, true, 2000 },      { 1, true, 4000 },      { 3, true, 16000 },
		{ 4, true, 30000 },     { 64, true, 30000 },    { UINT32_MAX, true, 30000 },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		assert_int_equal(pw_backoff_ms(rows[i].n, rows[i].alert, 0, 0), 0);
		assert_int_equal(pw_backoff_ms(rows[i].n, rows[i].alert, 0, UINT32_MAX),
				 rows[i].most_ms);
		assert_in_range(pw_backoff_ms(rows[i].n, rows[i].alert, 0, UINT32_MAX / 2),
				rows[i].most_ms / 2 - 1, rows[i].most_ms / 2);
	}
}

/* What the office asks for comes first, and the jitter behind it: else all come back at one moment. */
static void never_below_what_was_asked(void **state)
{
	(void)state;
	assert_int_equal(pw_backoff_ms(0, false, 7, 0), 7000);
	assert_int_equal(pw_backoff_ms(0, false, 7, UINT32_MAX), 9000);
	assert_int_equal(pw_backoff_ms(9, false, 3600, UINT32_MAX), 3600000 + 900000);
	assert_int_equal(pw_backoff_ms(2, true, 5, 0), 5000);
	assert_int_equal(pw_backoff_ms(0, false, -5, 0), 0);
	assert_int_equal(pw_backoff_ms(0, false, INT32_MAX, 0), INT32_MAX * INT64_C(1000));
}

/* Full jitter: spread evenly over the span. A tenth of 300 buses in each tenth of it, or nearly. */
static void spread_evenly(void **state)
{
	uint64_t seed = (uint64_t)time(NULL);
	unsigned tenth[10] = { 0 };

	(void)state;
	print_message("seed %llu\n", (unsigned long long)seed);
	for (int i = 0; i < 100000; i++) {
		seed = seed * 6364136223846793005u + 1442695040888963407u;
		int64_t ms = pw_backoff_ms(9, false, 0, (uint32_t)(seed >> 32));

		assert_in_range(ms, 0, 900000);
		tenth[ms == 900000 ? 9 : ms / 90000]++;
	}
	for (int i = 0; i < 10; i++)
		assert_in_range(tenth[i], 9400, 10600); /* six deviations of 95 */
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(doubled_up_to_a_limit),
		cmocka_unit_test(never_below_what_was_asked),
		cmocka_unit_test(spread_evenly),
	};

	return cmocka_run_group_tests_name("uplink: back-off", tests, NULL, NULL);
}
