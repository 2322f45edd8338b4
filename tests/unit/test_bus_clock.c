/* SPDX-License-Identifier: Apache-2.0 */
/* J8 `clock`: a step of the wall clock is recorded before anything that comes after it, so that a
 * check of the journal finds every step explained (J10). */
#include "record_help.h"

#include "../../daemon/bus/bus_internal.h"

#define WALL_MS INT64_C(1790000000000)

struct looks {
	int line;
	struct { int64_t boot_ms, wall_ms; } at[4]; /* of one wake-up after the other; 0: no more */
	const char *records;                        /* before,after of each */
};

/* Wall times are from WALL_MS on. */
static const struct looks looks[] = {
	{ __LINE__, { { 5000, 5000 }, { 9000, 9000 } }, "" },
	{ __LINE__, { { 5000, 5999 } }, "" },
	{ __LINE__, { { 5000, 6000 } }, "5000,6000;" },
	{ __LINE__, { { 5000, 5600 }, { 6000, 7200 } }, "6000,7200;" }, /* twice 0.6 s */
	{ __LINE__, { { 5000, 1000 } }, "5000,1000;" },
	{ __LINE__, { { 5000, 3605000 }, { 9000, 3609000 } }, "5000,3605000;" },
	{ __LINE__, { { 3600000, 7200000 } }, "3600000,7200000;" },
	{ __LINE__, { { 5000, 9000 }, { 6000, 6000 } }, "5000,9000;10000,6000;" },
};

static void looked(const struct looks *l)
{
	static struct pw_bus b;
	struct folder f;
	char answer[256];

	folder_make(&f);
	memset(&b, 0, sizeof(b));
	b.wall_timer = -1; /* the kernel says nothing: the clocks alone tell */
	b.clocks = (struct pw_clocks){ .boot_ms = 1, .wall_ms = WALL_MS + 1, .believed_ms = 0 };
	b.state.phase = PW_PARKED;
	assert_int_equal(pw_writer_start(f.path, BUS, 0, &b.writer), 0);
	for (int i = 0; i < 4 && l->at[i].boot_ms > 0; i++) {
		b.now_ms = l->at[i].boot_ms;
		b.wall_ms = WALL_MS + l->at[i].wall_ms;
		pw_clock_look(&b);
	}
	pw_writer_keep(b.writer, &b.state, b.now_ms, b.wall_ms);
	pw_writer_stop(b.writer, 20000);
	ask(answer, sizeof(answer),
	    "sqlite3 '%s' \"SELECT group_concat((json_extract(body, '$.before_ms') - %" PRId64
	    ") || ',' || (json_extract(body, '$.after_ms') - %" PRId64 ") || ';', '') FROM record\"",
	    in(&f, "journal.db"), WALL_MS, WALL_MS);
	if (strcmp(answer, l->records) != 0)
		fail_msg("line %d: \"%s\", not \"%s\"", l->line, answer, l->records);
	folder_remove(&f);
}

static void steps_are_recorded(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(looks) / sizeof(looks[0]); i++)
		looked(&looks[i]);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(steps_are_recorded),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
