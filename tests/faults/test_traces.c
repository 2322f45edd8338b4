/* SPDX-License-Identifier: Apache-2.0 */
/*
 * J9 without real time: traces are played through the watch's own way from wire to journal (play.h).
 * Then journal -> trace -> replay says the same as the journal, and the same as a replay of the trace
 * that was played.
 */
#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "board/board_internal.h"
#include "play.h"
#include "world.h"

/* 1 when it was told exactly. */
static unsigned judge(const char *base, const char *trace, const char *conf)
{
	struct play *p = play_new(base, conf);
	unsigned exact;

	play_trace(p, trace);
	exact = p->exact;
	if (play_agrees(p, exact ? trace : NULL))
		fail_msg("%s", trace);
	play_free(p);
	return exact;
}

static unsigned judge_all(const char *base, const char *pattern, unsigned *exact)
{
	glob_t found = { 0 };
	char conf[512];

	*exact = 0;
	if (glob(pattern, 0, NULL, &found))
		found.gl_pathc = 0;
	for (size_t i = 0; i < found.gl_pathc; i++) {
		const char *trace = found.gl_pathv[i];

		snprintf(conf, sizeof(conf), "%.*s.conf", (int)(strlen(trace) - 6), trace);
		*exact += judge(base, trace, access(conf, R_OK) == 0 ? conf : NULL);
	}
	if (found.gl_pathv)
		globfree(&found);
	return (unsigned)found.gl_pathc;
}

static void every_scenario_is_journaled_and_judged_again_J9(void **state)
{
	unsigned exact, own, count = judge_all(*state, "tests/scenarios/*.trace", &exact);

	print_message("%u scenarios, %u of them told to the millisecond\n", count, exact);
	assert_true(count >= 15); /* G1-G14 and B10 of docs/sources.md */
	own = judge_all(*state, "tests/scenarios/own-policy/*.trace", &exact);
	print_message("%u with policies of their own, %u to the millisecond\n", own, exact);
}

/* Traces by chance and policies beside them, from tests/explore. */
static void traces_by_chance_are_journaled_and_judged_again_J9(void **state)
{
	char pattern[64];
	unsigned seed = (unsigned)now_ms() % 1000000, exact, count;
	const char *given = getenv("SEED");

	if (given)
		seed = (unsigned)atoi(given);
	print_message("seed %u\n", seed);
	assert_int_equal(shell("python3 -B tests/explore/randomtrace.py --seed %u --count 60 --out "
			       "'%s' >/dev/null", seed, (char *)*state), 0);
	snprintf(pattern, sizeof(pattern), "%s/*.trace", (char *)*state);
	count = judge_all(*state, pattern, &exact);
	print_message("%u traces, %u of them told to the millisecond\n", count, exact);
	assert_int_equal(count, 60);
}

/* A gap in the kernel's sequence numbers, or a queue that was full, is told once and stands. */
static void edges_that_were_dropped_are_told(void **state)
{
	struct play *p = play_new(*state, NULL);
	int said = play_hush();

	play_start(p, 1000, false);
	pw_faults_look(&p->bus);
	assert_int_equal(p->bus.faults, 0);
	p->bus.board->dropped = 3;
	pw_faults_look(&p->bus);
	p->bus.board->dropped = 5;
	pw_faults_look(&p->bus);
	assert_int_equal(p->bus.faults, 1);
	assert_string_equal(p->bus.fault[0].name, "edges_dropped");
	assert_memory_equal(p->bus.fault[0].words, "5 edges ", 8);
	play_wake(p, 1001);
	play_stop(p);
	play_speak(said);
	assert_int_equal(shell("test \"$(sqlite3 '%s/journal.db' \"select count(*) from record where "
			       "kind = 'fault' and body like '%%edges_dropped%%'\")\" = 1", p->dir), 0);
	play_free(p);
}

static int make_folder(void **state)
{
	*state = strdup("/tmp/postwalk-world-XXXXXX");
	return mkdtemp(*state) ? 0 : -1;
}

static int remove_folder(void **state)
{
	shell("rm -rf '%s'", (char *)*state);
	free(*state);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_scenario_is_journaled_and_judged_again_J9),
		cmocka_unit_test(traces_by_chance_are_journaled_and_judged_again_J9),
		cmocka_unit_test(edges_that_were_dropped_are_told),
	};

	return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
