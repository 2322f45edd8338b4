/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk journal --sweep: one sweep as a story. */
#include <glob.h>

#include "tool_edit.h"

#define ZONE "America/Chicago"
#define NOTE "As it stands there, not checked: ask postwalk verify.\n"

/* The end of summer time in Chicago, by the tz database: 2026-11-01 07:00 UTC. */
#define AUTUMN INT64_C(1793516400000)

/* -- stories ----------------------------------------------------------------------------------- */

static void play(struct tool *t, const char *policy, const char *trace)
{
	shell("rm -f '%s'/journal.db* '%s'/seal.*", t->dir, t->dir);
	tool_write(tool_path(t, "in.trace"), trace);
	watch_play(t, policy, tool_path(t, "in.trace"));
}

/* The story of the n-th sweep, 1 the first; false: there are not so many. */
static bool tell(struct tool *t, unsigned n, const char *path)
{
	struct lines x;
	char seq[24] = "";

	RUN(t, pw_journal, "journal", "--kind", "sweep", path);
	x = lines_of(t->out);
	if (n <= x.count)
		assert_int_equal(sscanf(x.line[n - 1], "%*s %*s %*s %23s", seq), 1);
	lines_free(&x);
	if (!seq[0])
		return false;
	assert_int_equal(RUN(t, pw_journal, "journal", "--sweep", seq, path), PW_EXIT_OK);
	assert_string_equal(t->err, NOTE);
	return true;
}

#define STOP                                                                                       \
	"key off; a press counts 14.505 s after it at the soonest (12 rows and the aisle), and is due " \
	"within "

/* WALL_MS is 2026-09-21 09:13:20 CDT. What changes from run to run is left out. */
static const struct {
	int line;
	const char *what, *trace;
	unsigned n;
	const char *lines[9];
} stories[] = {
	{ __LINE__, "walked well, after one try",
	  "0 ignition=1\n300 ignition=0\n310 rear_button=1\n310.4 rear_button=0\n320 rear_button=1\n"
	  "320.4 rear_button=0\n334 service_door=1\n336 service_door=0\n400 end\n", 1,
	  { "Sweep of bus bus-07, 2026-09-21 09:18:20 CDT: done\n",
	    "09:18:20  " STOP "1 min, by policy ",
	    "09:18:30  press refused: too soon, 10 s after the key-off\n",
	    "09:18:40  press accepted: somebody stood at the rear 20 s after the key-off\n",
	    "09:18:54  end of the second look: service door, 14 s after the press; the way back takes "
	    "8.505 s at least\n",
	    "doors     service door open 09:18:54; rear door not opened\n",
	    "signals   prompt 09:18:20, silent 09:18:40; the highest: prompt\n",
	    "verdict   done, nothing noted\n",
	    "; the seal of seq " } },
	{ __LINE__, "the rear door opened: the walk begins anew; and late",
	  "0 ignition=1\n10 ignition=0\n15 service_door=1\n17 service_door=0\n20 rear_door=1\n"
	  "22 rear_button=1\n23 rear_button=0\n25 rear_door=0\n30 rear_button=1\n31 rear_button=0\n"
	  "75 rear_button=1\n75.5 rear_button=0\n80 service_door=1\n100 end\n", 1,
	  { "Sweep of bus bus-07, 2026-09-21 09:13:30 CDT: doubtful\n",
	    "09:13:42  press refused: a rear door or exit was open, 12 s after the key-off; 09:13:50 "
	    "refused: too soon, 20 s after the key-off (the walk counts anew from a rear door's "
	    "shutting, or power's coming back)\n",
	    "09:14:35  press accepted: somebody stood at the rear 1 min 5 s after the key-off; late by "
	    "28 s, it was due 09:14:07\n",
	    "09:14:40  end of the second look: service door, 5 s after the press; the way back takes "
	    "8.505 s at least, so this was too soon\n",
	    "doors     service door open 09:13:35 to 09:13:37, 09:14:40; rear door open 09:13:40 to "
	    "09:13:45\n",
	    "signals   prompt 09:13:30, cabin 09:14:07, silent 09:14:35; the highest: cabin\n",
	    "verdict   doubtful, because a rear door or exit was opened, too soon at the door for a "
	    "second look; noted: the door was used before a press\n" } },
	{ __LINE__, "driven off; the next is carried",
	  "0 ignition=1\n100 ignition=0\n130 ignition=1\n150 ignition=0\n170 rear_button=1\n"
	  "171 rear_button=0\n190 service_door=1\n191 end\n", 1,
	  { "09:15:00 CDT: missed\n",
	    "09:15:30  driven off before any press was accepted\n",
	    "doors     service door not opened; rear door not opened\n",
	    "verdict   missed; noted: driven off before a press\n" } },
	{ __LINE__, "the carried one",
	  "0 ignition=1\n100 ignition=0\n130 ignition=1\n150 ignition=0\n170 rear_button=1\n"
	  "171 rear_button=0\n190 service_door=1\n191 end\n", 2,
	  { STOP "45 s, by policy ", "verdict   done; noted: the sweep before was missed\n" } },
	{ __LINE__, "power cut while it was owed",
	  "0 ignition=1\n30 ignition=0\n40 power=cut\n100 power=on\n120 rear_button=1\n"
	  "121 rear_button=0\n140 service_door=1\n150 end\n", 1,
	  { "Sweep of bus bus-07, 2026-09-21 09:13:50 CDT: doubtful\n",
	    "09:15:20  press accepted: somebody stood at the rear 1 min 30 s after the key-off; late",
	    "besides   power went 09:14:00, back 09:15:00\n",
	    "because power was lost" } },
	{ __LINE__, "power cut with the clock lost",
	  "0 ignition=1\n30 ignition=0\n40 power=cut\n4000 power=on clock=lost\n4020 rear_button=1\n"
	  "4021 rear_button=0\n4040 service_door=1\n4050 end\n", 1,
	  { "besides   power went for a time that is not known (the clock was lost), and was back ",
	    "the clock was unsure over a power cut" } },
	{ __LINE__, "powered down on leaving",
	  "0 ignition=1\n30 ignition=0\n50 rear_button=1\n51 rear_button=0\n62 power=cut\n"
	  "86400 power=on\n86401 end\n", 1,
	  { "09:14:22  end of the second look: the battery switch was opened on leaving\n",
	    "besides   power went 09:14:22, back 2026-09-22 09:13:20\n",
	    "verdict   done; noted: the battery switch was opened on leaving\n" } },
	{ __LINE__, "muted for service, and a button held",
	  "0 ignition=1\n30 ignition=0\n40 service=on\n50 rear_button=1\n62 service=off\n"
	  "63 rear_button=0\n70 service_door=1\n71 end\n", 1,
	  { "besides   service began: beeper and horn muted 09:14:00; fault button_held began 09:14:20; "
	    "service was over 09:14:22; fault button_held was over 09:14:23\n",
	    "because sounds were muted for service" } },
	{ __LINE__, "a door that was open before, and one that chatters",
	  "0 ignition=1\n10 service_door=1\n30 ignition=0\n31 service_door=0\n31.05 service_door=1\n"
	  "31.06 service_door=0\n33 rear_door=1\n33.05 rear_door=0\n50 rear_button=1\n"
	  "51 rear_button=0\n70 service_door=1\n71 end\n", 1,
	  { "doors     service door open already at the key-off and until 09:13:51, 09:14:30; rear door "
	    "not opened\n" } },
	{ __LINE__, "a door again and again",
	  "0 ignition=1\n30 ignition=0\n31 service_door=1\n32 service_door=0\n33 service_door=1\n"
	  "34 service_door=0\n35 service_door=1\n36 service_door=0\n37 service_door=1\n"
	  "38 service_door=0\n50 rear_button=1\n51 rear_button=0\n70 service_door=1\n71 end\n", 1,
	  { "service door open 09:13:51 to 09:13:52, 09:13:53 to 09:13:54, 09:13:55 to 09:13:56, and 2 "
	    "times more; rear door not opened\n" } },
	{ __LINE__, "key on as the end of the second look",
	  "0 ignition=1\n30 ignition=0\n50 rear_button=1\n51 rear_button=0\n80 ignition=1\n90 end\n", 1,
	  { "09:14:40  end of the second look: key on, 30 s after the press; " } },
	{ __LINE__, "nobody seen to leave",
	  "0 ignition=1\n30 ignition=0\n50 rear_button=1\n51 rear_button=0\n900 end\n", 1,
	  { "09:24:10  end of the second look: leaving by the service door was not seen\n" } },
};

static void a_sweep_is_told_as_a_story(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(stories); i++) {
		print_message("  %s\n", stories[i].what);
		play(t, SMALL_POLICY, stories[i].trace);
		assert_true(tell(t, stories[i].n, t->dir));
		for (size_t k = 0; k < COUNT(stories[i].lines) && stories[i].lines[k]; k++)
			assert_has(t->out, stories[i].lines[k]);
	}
}

/* Over the end of summer time the zone is said where it is another. */
static void a_story_over_a_switch_says_the_zone(void **state)
{
	struct tool *t = *state;
	char trace[400];
	const int64_t off_s = (AUTUMN - WALL_MS) / 1000 - 30;

	snprintf(trace, sizeof(trace), "0 ignition=1\n%lld ignition=0\n%lld rear_button=1\n%lld "
		 "rear_button=0\n%lld service_door=1\n%lld end\n", (long long)off_s,
		 (long long)off_s + 20, (long long)off_s + 21, (long long)off_s + 40,
		 (long long)off_s + 41);
	play(t, SMALL_POLICY, trace);
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "2026-11-01 01:59:30 CDT: done\n");
	assert_has(t->out, "01:59:50  press accepted");
	assert_has(t->out, "01:00:10 CST  end of the second look");
}

static void many_refusals_are_ten_lines_all_the_same(void **state)
{
	struct tool *t = *state;
	char trace[12000];
	struct lines x;
	int n = snprintf(trace, sizeof(trace), "0 ignition=1\n10 ignition=0\n11 service=on\n"
			 "12 rear_door=1\n");

	for (int i = 0; i < 160; i++) {
		if (i == 140)
			n += snprintf(trace + n, sizeof(trace) - (size_t)n, "%d.5 rear_door=0\n", 19 + i);
		n += snprintf(trace + n, sizeof(trace) - (size_t)n, "%d rear_button=1\n%d.2 "
			      "rear_button=0\n", 20 + i, 20 + i);
	}
	snprintf(trace + n, sizeof(trace) - (size_t)n, "200 power=cut\n201 power=on\n"
		 "300 rear_button=1\n301 rear_button=0\n320 service_door=1\n321 end\n");
	play(t, SMALL_POLICY, trace);
	assert_true(tell(t, 1, t->dir));
	x = lines_of(t->out);
	assert_in_range(x.count, 8, 10);
	lines_free(&x);
	assert_has(t->out, "press refused: a rear door or exit was open, 10 s after the key-off; 09:13:41 "
		   "refused: a rear door or exit was open, 11 s after the key-off; and ");
	assert_has(t->out, " more refusals: 0 too soon, 126 with a rear door or exit open, of the rest "
		   "only the count was kept\n");
	play(t, SMALL_POLICY, "0 ignition=1\n10 ignition=0\n11 rear_button=1\n12 rear_button=0\n"
	     "13 rear_button=1\n14 rear_button=0\n15 rear_button=1\n16 rear_button=0\n17 "
	     "rear_button=1\n18 rear_button=0\n40 rear_button=1\n41 rear_button=0\n60 "
	     "service_door=1\n61 end\n");
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; and 2 more refusals, too soon\n");
}

/* What every story owes: ten lines at most, where its record stands, and no word of a bus's being
 * empty. */
static void assert_story(const struct tool *t)
{
	struct lines x = lines_of(t->out);

	assert_in_range(x.count, 7, 10);
	assert_has(x.line[0], "Sweep of bus ");
	assert_has(x.line[x.count - 1], "record    seq ");
	assert_null(strcasestr(t->out, "empty"));
	assert_null(strcasestr(t->out, "clear"));
	assert_null(strstr(t->out, "...\n")); /* no line was cut */
	lines_free(&x);
}

static void every_scenario_has_its_stories(void **state)
{
	struct tool *t = *state;
	unsigned count = 0;
	glob_t found;

	assert_int_equal(glob("tests/scenarios/*.trace", 0, NULL, &found), 0);
	for (size_t i = 0; i < found.gl_pathc; i++) {
		shell("rm -f '%s'/journal.db* '%s'/seal.*", t->dir, t->dir);
		watch_play(t, "[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n"
			   "[line rear_door]\n[line exits]\n[line service_door]\n[line lamps]\n",
			   found.gl_pathv[i]);
		for (unsigned n = 1; tell(t, n, t->dir); n++, count++)
			assert_story(t);
	}
	assert_true(count >= found.gl_pathc);
	globfree(&found);
}

/* -- where it stands --------------------------------------------------------------------------- */

static void a_story_says_who_vouches_for_it(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "record    seq 12, hash ");
	assert_has(t->out, "...; the seal of seq 13 vouches for it, by the key 06e3fd8fda29... that stands "
		   "beside the journal\n");
	RUN(t, pw_export, "export", t->dir);
	tool_write(tool_path(t, "export"), t->out);
	assert_true(tell(t, 1, tool_path(t, "export")));
	assert_has(t->out, "that came with the export\n");
	journal_edit(tool_path(t, "journal.db"), "DELETE FROM seal WHERE seq < 20");
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; the seal of seq 22 vouches for it");
	shell("openssl genpkey -algorithm ed25519 | openssl pkey -pubout > '%s/bus.pub'", t->dir);
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; the seal of seq 23 does not hold: it vouches for nothing\n");
	unlink(tool_path(t, "bus.pub"));
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; there is a seal of seq 23, and no key here to check it by\n");
	journal_edit(tool_path(t, "journal.db"), "DELETE FROM seal");
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; no seal vouches for it yet\n");
}

static void a_record_that_was_touched_has_nobody_to_vouch_for_it(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	journal_edit(tool_path(t, "journal.db"),
		     "UPDATE record SET body = replace(body, '320000', '314600') WHERE seq = 12;"
		     "UPDATE record SET body = replace(body, '20000', '14600') WHERE seq = 12;"
		     "UPDATE record SET body = replace(body, '14000', '19400') WHERE seq = 12");
	assert_true(tell(t, 1, t->dir));
	assert_has(t->out, "; the chain from it on does not hold at seq 12: nothing vouches for it\n");
}

/* -- bad input --------------------------------------------------------------------------------- */

static void what_is_no_sweep_is_refused(void **state)
{
	struct tool *t = *state;
	static const char *const none[] = { "", "0", "-1", "x", "1x", "9223372036854775808",
					    "18446744073709551616" };

	journal_small(t);
	RUN(t, pw_journal, "journal", "--sweep", "3", t->dir);
	assert_refused(t, "seq 3: expected a sweep record, and it is of kind level");
	RUN(t, pw_journal, "journal", "--sweep", "900", t->dir);
	assert_refused(t, "900 is not there: it holds 1 to 23");
	for (size_t i = 0; i < COUNT(none); i++) {
		RUN(t, pw_journal, "journal", "--sweep", none[i], t->dir);
		assert_refused(t, "postwalk journal: expected the seq of a sweep record");
	}
	journal_edit(tool_path(t, "journal.db"), "UPDATE record SET body = '{}' WHERE seq = 12");
	RUN(t, pw_journal, "journal", "--sweep", "12", t->dir);
	assert_refused(t, "seq 12: expected the fields of a sweep");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(a_sweep_is_told_as_a_story),
		TEST(a_story_over_a_switch_says_the_zone),
		TEST(many_refusals_are_ten_lines_all_the_same),
		TEST(every_scenario_has_its_stories),
		TEST(a_story_says_who_vouches_for_it),
		TEST(a_record_that_was_touched_has_nobody_to_vouch_for_it),
		TEST(what_is_no_sweep_is_refused),
#undef TEST
	};

	setenv("TZ", ZONE, 1);
	return cmocka_run_group_tests(tests, NULL, NULL);
}
