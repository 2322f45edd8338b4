/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Policy files that are refused, one by one, through the program: file, line, what was expected; status
 * 2, nothing printed, and nothing of the trace judged. R24: with the key, both numbers and the reason.
 */
#include "replay_help.h"

/* The least that can be obeyed; every test adds to it from line 4 on. */
#define LEAST "[line ignition]\n[line rear_button]\n[sweep]\n"
#define RUNGS LEAST "[rung one]\nafter_s = 0\n[rung two]\n"
#define LINES "[line ignition]\nchip = gpiochip0\noffset = 4\n[line rear_button]\nchip = gpiochip0\n"

static const struct {
	const char *what, *conf, *said;
} refused[] = {
	{ "R24 due < walk_min + 5 s", LEAST "due_s = 19.504\n",
	  "c:4: expected due_s of 19.505 or more, not 19.504: the walk itself takes 14.505 and 5 s are "
	  "needed to spare" },
	{ "R24 carried_due < walk_min + 5 s", LEAST "carried_due_s = 19.504\n",
	  "c:4: expected carried_due_s of 19.505 or more, not 19.504: the walk itself takes 14.505 and 5 s "
	  "are needed to spare" },
	{ "R24 leave_grace < walk_min + 5 s under grace", LEAST "leave_grace_s = 19.504\n",
	  "c:4: expected leave_grace_s of 19.505 or more, not 19.504: the walk itself takes 14.505 and 5 s "
	  "are needed to spare" },
	{ "R24 a longer walk makes the default due too short", LEAST "[walk]\nlook_s = 4\n",
	  "c:3: expected due_s of 61.505 or more, not 60.000: the walk itself takes 56.505 and 5 s are "
	  "needed to spare" },
	{ "R24 restart = due", LEAST "due_s = 40\nrestart_s = 40\n",
	  "c:5: expected restart_s below due_s of 40.000, not 40.000: a sweep that is overdue is no stall" },
	{ "R24 restart = carried_due", LEAST "restart_s = 45\n",
	  "c:4: expected restart_s below carried_due_s of 45.000, not 45.000: a sweep that is overdue is no "
	  "stall" },
	{ "R24 alarm_max at the last rung", LEAST "alarm_max_s = 200\n[rung a]\nafter_s = 0\n[rung b]\n"
	  "after_s = 200\n",
	  "c:4: expected alarm_max_s above the 200.000 of the last rung, b, not 200.000: it would never "
	  "sound" },
	{ "R24 alarm_max under 180 s", LEAST "alarm_max_s = 179.999\n",
	  "c:4: expected alarm_max_s of 180 or more, not 179.999: an alarm that gives up sooner is not "
	  "heard" },
	{ "R24 rungs of the same time", RUNGS "after_s = 0\n",
	  "c:7: expected after_s above the 0.000 of rung one, not 0.000: rungs follow one another" },
	{ "R24 rungs out of order", RUNGS "after_s = 30\n[rung three]\nafter_s = 29.999\n",
	  "c:9: expected after_s above the 30.000 of rung two, not 29.999: rungs follow one another" },
	{ "R24 the first rung not at 0", LEAST "[rung one]\nafter_s = 0.001\n",
	  "c:5: expected after_s 0 for the first rung, not 0.001: the alarm does not wait" },
	{ "R24 a rung without its time", RUNGS "notify = yes\n", "c:6: expected after_s in [rung two]" },
	{ "R24 no ignition", "[line rear_button]\n",
	  "c: expected a section [line ignition]: nothing begins without the key" },
	{ "R24 no rear_button", "[line ignition]\n",
	  "c: expected a section [line rear_button]: nothing can be proven without the button" },
	{ "R24 owed_when = lamps without the line", LEAST "owed_when = lamps\n",
	  "c:4: expected a section [line lamps]: owed_when = lamps goes by it" },
	{ "R24 idle without park_brake", LEAST "idle_s = 300\n[line service_door]\n",
	  "c:4: expected a section [line park_brake]: idle_s above 0 goes by it" },
	{ "R24 idle without service_door", LEAST "idle_s = 300\n[line park_brake]\n",
	  "c:4: expected a section [line service_door]: idle_s above 0 goes by it" },
	{ "R24 unload over 600 s", LEAST "unload_s = 600.001\n",
	  "c:4: expected unload_s of 600 at most, not 600.001: a door left open must not hold the alarm "
	  "back for longer" },
	{ "R24 two lines on one offset", LINES "offset = 4\n",
	  "c:6: expected one line an offset: ignition and rear_button both have 4" },
	{ "R24 three equal pulses (ISO 8201)", LEAST "[rung one]\nafter_s = 0\n"
	  "pattern = 500 500 500 500 500 1500\n",
	  "c:6: expected a pattern of our own: three equal pulses and a pause mean evacuation (ISO 8201, "
	  "NFPA 72)" },
	{ "R24 four equal pulses (gas)", LEAST "[rung prompt]\npattern = 100 100 100 100 100 100 100 5000\n",
	  "c:5: expected a pattern of our own: four equal pulses and a pause mean gas (NFPA 72)" },

	{ "an unknown section", LEAST "[horn]\n",
	  "c:4: expected a section [bus], [page], [journal], [walk], [sweep], [line NAME] or [rung NAME] with a name of "
	  "a-z 0-9 _" },
	{ "a line's name with capitals", LEAST "[line Horn]\n",
	  "c:4: expected a section [bus], [page], [journal], [walk], [sweep], [line NAME] or [rung NAME] with a name of "
	  "a-z 0-9 _" },
	{ "a rung named none", LEAST "[rung none]\n", "c:4: expected a rung's name other than none" },
	{ "an unknown key", LEAST "due = 60\n", "c:4: expected a key of section [sweep], not \"due\"" },
	{ "a key of another section", LEAST "rows = 12\n",
	  "c:4: expected a key of section [sweep], not \"rows\"" },
	{ "a key in capitals", LEAST "Due_s = 60\n", "c:4: expected a key of section [sweep], not \"Due_s\"" },
	{ "a key before any section", "due_s = 60\n", "c:1: expected a [section] before the first key" },
	{ "the same key twice", LEAST "due_s = 60\ndue_s = 60\n",
	  "c:5: expected each key once in its section" },
	{ "twice in a section that comes again", LEAST "due_s = 60\n[walk]\n[sweep]\ndue_s = 70\n",
	  "c:7: expected each key once in its section" },
	{ "no equals sign", LEAST "due_s 60\n", "c:4: expected [section], key = value or a comment" },
	{ "no key", LEAST "= 60\n", "c:4: expected [section], key = value or a comment" },
	{ "no value", LEAST "due_s =\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"\"" },
	{ "a tail behind a section", LEAST "[walk] rows = 12\n",
	  "c:4: expected a section in brackets and nothing behind it" },
	{ "a section that is not closed", LEAST "[walk\n",
	  "c:4: expected a section in brackets and nothing behind it" },
	{ "a tail behind a value", LEAST "due_s = 60 s\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"60 s\"" },
	{ "# behind a value begins no comment", LEAST "due_s = 60 # a minute\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"60 # a minute\"" },
	{ "four decimals", LEAST "due_s = 60.0001\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"60.0001\"" },
	{ "a sign", LEAST "due_s = -60\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"-60\"" },
	{ "over a day", LEAST "due_s = 86400.001\n",
	  "c:4: expected seconds with at most three decimals from 0 to 86400, not \"86400.001\"" },
	{ "a pace of nothing", LEAST "[walk]\npace_mps = 0\n",
	  "c:5: expected a number with at most six decimals from 0.1 to 10, not \"0\"" },
	{ "half a row", LEAST "[walk]\nrows = 12.5\n",
	  "c:5: expected a whole number from 0 to 60, not \"12.5\"" },
	{ "a choice that is none", LEAST "door_rule = never\n",
	  "c:4: expected grace or at_once or ignore, not \"never\"" },
	{ "a finding that is none", LEAST "doubt_on = muted lonely\n",
	  "c:4: expected names of findings, not \"lonely\"" },
	{ "an output that is none", LEAST "[rung prompt]\noutputs = beeper bell\n",
	  "c:5: expected names of output lines, not \"bell\"" },
	{ "an input as an output", LEAST "[rung prompt]\noutputs = ignition\n",
	  "c:5: expected names of output lines, not \"ignition\"" },
	{ "an odd pattern", LEAST "[rung prompt]\npattern = 100 100 100\n",
	  "c:5: expected steady or pairs of on and off, at most 16 times of 20 to 60000 ms, not \"100 100 "
	  "100\"" },
	{ "a pattern too fast", LEAST "[rung prompt]\npattern = 19 100\n",
	  "c:5: expected steady or pairs of on and off, at most 16 times of 20 to 60000 ms, not \"19 100\"" },
	{ "settle_ms of an output", LEAST "[line horn]\nsettle_ms = 5\n",
	  "c:5: expected no settle_ms: only the standard inputs settle" },
	{ "direction of a standard line", LEAST "[line horn]\ndirection = out\n",
	  "c:5: expected no direction: that of a standard line is known" },
	{ "a line of the board's own without direction", LEAST "[line strobe]\nchip = gpiochip0\n",
	  "c:4: expected direction = in or out in [line strobe]: it is none of the standard lines" },
	{ "after_s of a signal that is no rung", LEAST "[rung spent]\nafter_s = 5\n",
	  "c:5: expected no after_s: this signal is no rung of the ladder" },
	{ "notify of a signal that no sweep reaches", LEAST "[rung refused]\nnotify = yes\n",
	  "c:5: expected no notify: no sweep reaches this signal" },
	{ "sense of an input", LEAST "[line lamps]\nsense = horn\n",
	  "c:5: expected this key with an output only (direction = out comes first)" },
	{ "sense that is no configured input", LEAST "[line horn]\nsense = lamps\n",
	  "c:5: expected the name of a configured input line, not \"lamps\"" },
	{ "yes and no only", LEAST "[line horn]\nactive_low = true\n",
	  "c:5: expected yes or no, not \"true\"" },
	{ "nine rungs", LEAST "[rung a]\n[rung b]\n[rung c]\n[rung d]\n[rung e]\n[rung f]\n[rung g]\n"
	  "[rung h]\n[rung i]\n", "c:12: expected at most eight rungs" },
	{ "nine lines of the board's own", LEAST "[line a]\n[line b]\n[line c]\n[line d]\n[line e]\n[line f]\n"
	  "[line g]\n[line h]\n[line i]\n", "c:12: expected at most eight lines of the board's own" },
	{ "a bus id with a space", LEAST "[bus]\nid = bus 7\n",
	  "c:5: expected 1 to 31 letters, digits or . _ -, not \"bus 7\"" },
};

static struct files f;

static void refuses(void **state)
{
	static struct ran ran;
	size_t i = (size_t)(uintptr_t)*state;
	size_t n;

	file_write(f.conf, refused[i].conf);
	file_write(f.trace, "0 ignition=1\n9 ignition=0\n99 end\n");
	replay(&f, &ran, "--config %s %s", f.conf, f.trace);
	n = strlen(said(&f, &ran));
	assert_true(n > 0);
	ran.err[strlen(ran.err) - 1] = '\0'; /* the one line end */
	assert_string_equal(said(&f, &ran), refused[i].said);
	assert_string_equal(ran.out, "");
	assert_int_equal(ran.status, 2);
}

static void takes(const char *conf)
{
	static struct ran ran;

	file_write(f.conf, conf);
	file_write(f.trace, "0 ignition=1\n");
	replay(&f, &ran, "--config %s %s", f.conf, f.trace);
	assert_string_equal(ran.err, "");
	assert_int_equal(ran.status, 0);
}

/* R24 at its thresholds, and what looks odd but is well. */
static void takes_what_can_be_obeyed(void **state)
{
	(void)state;
	takes(LEAST "due_s = 19.505\ncarried_due_s = 19.505\nleave_grace_s = 19.505\n");
	takes(LEAST "door_rule = ignore\nleave_grace_s = 0\n");
	takes(LEAST "door_rule = at_once\nleave_grace_s = 0\n");
	takes(LEAST "restart_s = 44.999\n");
	takes(LEAST "unload_s = 600\nalarm_max_s = 180\n");
	takes(LEAST "idle_s = 0.001\n[line park_brake]\n[line service_door]\n");
	takes(LEAST "alarm_max_s = 200.001\n[rung a]\nafter_s = 0\n[rung b]\nafter_s = 200\n");
	takes("# a comment\n; and another\n\n  [line ignition]  ; the key\n\t[line rear_button]\r\n[sweep]\n"
	      "  due_s=60\nrestart_s   =   10   ");
	takes(LINES "offset = 5\n");
	takes(LINES "offset = 5\n[line horn]\nchip = gpiochip1\noffset = 4\n");
	takes("[rung one]\nafter_s = 0\noutputs = strobe\n[line strobe]\ndirection = out\n" LEAST);
}

static void a_policy_that_is_not_there(void **state)
{
	static struct ran ran;

	(void)state;
	unlink(f.conf);
	file_write(f.trace, "0 ignition=1\n");
	replay(&f, &ran, "--config %s %s", f.conf, f.trace);
	assert_string_equal(said(&f, &ran),
			    "c: expected a policy file that can be read: No such file or directory\n");
	assert_string_equal(ran.out, "");
	assert_int_equal(ran.status, 2);
}

int main(void)
{
	static struct CMUnitTest tests[COUNT(refused) + 2];
	int failed;

	files_make(&f);
	for (size_t i = 0; i < COUNT(refused); i++)
		tests[i] = (struct CMUnitTest){ .name = refused[i].what, .test_func = refuses,
						.initial_state = (void *)(uintptr_t)i };
	tests[COUNT(refused)] = (struct CMUnitTest)cmocka_unit_test(takes_what_can_be_obeyed);
	tests[COUNT(refused) + 1] = (struct CMUnitTest)cmocka_unit_test(a_policy_that_is_not_there);
	failed = cmocka_run_group_tests_name("policies that are refused", tests, NULL, NULL);
	files_remove(&f);
	return failed;
}
