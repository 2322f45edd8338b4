/* SPDX-License-Identifier: Apache-2.0 */
/*
 * J9 for made-up buses: their records become a journal, `postwalk trace` turns it into a trace, and
 * `postwalk replay` of that gives the very sweeps, restarts, excused stops and faults recorded.
 */
#include "fleet_help.h"

#include <glob.h>
#include <time.h>

static void fill(const struct tool *t, const char *seed, const char *from, const char *buses,
		 const char *days)
{
	struct tool *u = (struct tool *)(uintptr_t)t;

	if (FLEET(u, "--buses", buses, "--days", days, "--seed", seed, "--from", from, "--zone",
		  "America/Chicago", "--out", tool_path(t, "out")))
		fail_msg("%s", u->err);
}

static void run(struct tool *t, tool_command *command, const char *const *arg, const char *to)
{
	if (tool_run(t, command, arg))
		fail_msg("%s: %s", arg[0], t->err);
	tool_write(to, t->out);
}

/* What a replay prints at its end, which no record says. */
static void cut_standing(char *text)
{
	char *at = strstr(text, "{\"kind\":\"standing\"");

	assert_non_null(at);
	*at = '\0';
}

/* The lines that both agree upon. */
static unsigned replay(struct tool *t, const char *export)
{
	const char *db = tool_path(t, "journal.db"), *trace = tool_path(t, "trace");
	const char *policy = tool_path(t, "policy"), *records = tool_path(t, "records");
	char *recorded = malloc(SAID_MAX);
	struct fleet_export x;
	unsigned lines = 0;

	unlink(db);
	fleet_read(export, &x);
	fleet_journal(&x, db);
	fleet_free(&x);
	run(t, pw_trace, (const char *const[]){ "trace", db, NULL }, trace);
	run(t, pw_trace, (const char *const[]){ "trace", "--policy", db, NULL }, policy);
	run(t, pw_trace, (const char *const[]){ "trace", "--records", db, NULL }, records);
	strcpy(recorded, t->out);
	run(t, pw_replay, (const char *const[]){ "replay", "--config", policy, trace, NULL },
	    records);
	cut_standing(t->out);
	if (strcmp(recorded, t->out) != 0)
		fail_msg("%s: a replay says otherwise than the records:\n%s\n%s", export, recorded,
			 t->out);
	for (const char *at = recorded; (at = strchr(at, '\n')); at++)
		lines++;
	free(recorded);
	return lines;
}

/* One of so many. */
static void replay_some(struct tool *t, size_t of, unsigned least)
{
	unsigned journals = 0, lines = 0;
	glob_t found;

	assert_int_equal(glob(tool_path(t, "out/*.jsonl"), 0, NULL, &found), 0);
	for (size_t i = 0; i < found.gl_pathc; i += of, journals++)
		lines += replay(t, found.gl_pathv[i]);
	globfree(&found);
	print_message("%u journals, %u sweeps, restarts, excused stops and faults\n", journals,
		      lines);
	assert_true(lines >= least);
}

/* Every scene is among them. */
static void a_replay_says_what_the_records_say_J9(void **state)
{
	fill(*state, "7", "2026-10-05", "24", "21");
	replay_some(*state, 1, 800);
}

/* And of other yards, with other policies, at another time each time. */
static void it_does_in_any_yard_J9(void **state)
{
	unsigned seed = (unsigned)time(NULL) % 1000000;
	char number[16];

	if (getenv("SEED"))
		seed = (unsigned)atoi(getenv("SEED"));
	print_message("seed %u\n", seed);
	snprintf(number, sizeof(number), "%u", seed);
	fill(*state, number, "2026-02-02", "76", "5");
	replay_some(*state, 5, 100);
}

static int begin(void **state)
{
	struct tool *t = calloc(1, sizeof(*t));

	assert_non_null(t);
	snprintf(t->dir, sizeof(t->dir), "%s/postwalk-fleet-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	assert_non_null(mkdtemp(t->dir));
	*state = t;
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test_setup_teardown(a_replay_says_what_the_records_say_J9, begin,
						tool_end),
		cmocka_unit_test_setup_teardown(it_does_in_any_yard_J9, begin, tool_end),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
