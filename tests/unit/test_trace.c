/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Traces through the program: what is bad is told as file, line and what was expected, status 2, and of
 * what came before only what it had earned is printed. And the same levels, however they are written.
 */
#include "replay_help.h"

#define STOP "0 ignition=1\n100 ignition=0\n"
#define MISSED "{\"kind\":\"sweep\",\"key_off_s\":100.000,\"verdict\":\"missed\",\"findings\":[\"driven_off\"]," \
	       "\"press_s\":null,\"walk_s\":null,\"late_s\":0.000,\"refused\":[],\"exit_s\":null," \
	       "\"return_s\":null,\"rung\":\"prompt\",\"closed_s\":150.200}\n"

static const struct {
	const char *what, *trace, *said, *out;
} bad[] = {
	{ "no line at all", "", "t:1: expected levels at power-on", "" },
	{ "comments only", "# nothing\n\n", "t:1: expected levels at power-on", "" },
	{ "no seconds", "ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "four decimals", "0 ignition=1\n1.0000 ignition=0\n",
	  "t:2: expected seconds with at most three decimals at the start of the line", "" },
	{ "a point without decimals", "0. ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "a point without seconds", ".5 ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "a sign", "-1 ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "an exponent", "1e3 ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "more seconds than can be", "1234567890123 ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "more than any number holds", "99999999999999999999999999999999 ignition=1\n",
	  "t:1: expected seconds with at most three decimals at the start of the line", "" },
	{ "seconds only", "0 ignition=1\n5\n", "t:2: expected NAME=VALUE after the seconds", "" },
	{ "seconds and a comment only", "0 ignition=1\n5 # later\n",
	  "t:2: expected NAME=VALUE after the seconds", "" },
	{ "a time that goes back", "5 ignition=1\n4.999 ignition=0\n",
	  "t:2: expected a time that does not go back", "" },
	{ "a name that is no line", "0 ignition=1\n5 horn=1\n",
	  "t:2: expected the name of an input line, power, clock or service, not \"horn\"", "" },
	{ "a name in capitals", "0 Ignition=1\n",
	  "t:1: expected the name of an input line, power, clock or service, not \"Ignition\"", "" },
	{ "the head of a name", "0 ignitio=1\n",
	  "t:1: expected the name of an input line, power, clock or service, not \"ignitio\"", "" },
	{ "a name and more", "0 ignitions=1\n",
	  "t:1: expected the name of an input line, power, clock or service, not \"ignitions\"", "" },
	{ "a line that is not configured", "0 ignition=1\n5 park_brake=1\n",
	  "t:2: expected a line that the policy has, not \"park_brake\"", "" },
	{ "the other line that is not", "0 rear_button_nc=1\n",
	  "t:1: expected a line that the policy has, not \"rear_button_nc\"", "" },
	{ "no equals sign", "0 ignition\n", "t:1: expected NAME=VALUE, not \"ignition\"", "" },
	{ "no name", "0 =1\n", "t:1: expected NAME=VALUE, not \"\"", "" },
	{ "no value", "0 ignition=\n", "t:1: expected a level of 0 or 1, not \"\"", "" },
	{ "a level of 2", "0 ignition=2\n", "t:1: expected a level of 0 or 1, not \"2\"", "" },
	{ "a level of 10", "0 ignition=10\n", "t:1: expected a level of 0 or 1, not \"10\"", "" },
	{ "a level in words", "0 ignition=on\n", "t:1: expected a level of 0 or 1, not \"on\"", "" },
	{ "two equals signs", "0 ignition=1=0\n", "t:1: expected a level of 0 or 1, not \"1=0\"", "" },
	{ "a name twice", "0 ignition=1 lamps=0 ignition=1\n",
	  "t:1: expected each name once in a line, not \"ignition\"", "" },
	{ "power twice", "0 ignition=1\n5 power=cut power=on\n",
	  "t:2: expected each name once in a line, not power twice", "" },
	{ "clock twice", "0 ignition=1\n5 power=cut\n6 power=on clock=lost clock=lost\n",
	  "t:3: expected each name once in a line, not clock twice", "" },
	{ "service twice", "0 ignition=1\n5 service=on service=on\n",
	  "t:2: expected each name once in a line, not service twice", "" },
	{ "power on the first line", "0 ignition=1 power=on\n",
	  "t:1: expected no power=on in the first line: it is the power-on", "" },
	{ "power on while on", "0 ignition=1\n5 power=on\n",
	  "t:2: expected power=cut, as power is on", "" },
	{ "power off while off", "0 ignition=1\n5 power=cut\n6 power=cut\n",
	  "t:3: expected power=on, as power is off", "" },
	{ "power neither on nor cut", "0 ignition=1\n5 power=off\n",
	  "t:2: expected power=cut or power=on, not \"off\"", "" },
	{ "clock lost without power on", "0 ignition=1\n5 clock=lost\n",
	  "t:2: expected clock=lost only beside power=on", "" },
	{ "clock lost beside a cut", "0 ignition=1\n5 power=cut clock=lost\n",
	  "t:2: expected clock=lost only beside power=on", "" },
	{ "clock found", "0 ignition=1\n5 power=cut\n6 power=on clock=found\n",
	  "t:3: expected clock=lost, not \"found\"", "" },
	{ "service neither on nor off", "0 ignition=1\n5 service=1\n",
	  "t:2: expected service=on or service=off, not \"1\"", "" },
	{ "end with more behind it", "0 ignition=1\n5 end ignition=0\n",
	  "t:2: expected nothing behind end", "" },
	{ "a line after the end", "0 ignition=1\n5 end\n6 ignition=0\n",
	  "t:3: expected nothing after the end line", "" },
	{ "end as the first line", "5 end\n", "t:1: expected levels at power-on before the end", "" },
	{ "end before the last line's moment", "5 ignition=1\n4 end\n",
	  "t:2: expected a time that does not go back", "" },
	{ "commas between", "0 ignition=1,lamps=0\n",
	  "t:1: expected a level of 0 or 1, not \"1,lamps=0\"", "" },
	{ "a word in another script", "0 ignition=1\n5 z\xc3\xbcndung=1\n",
	  "t:2: expected the name of an input line, power, clock or service, not \"z\xc3\xbcndung\"", "" },
	{ "a word too long to be shown whole",
	  "0 abcdefghijabcdefghijabcdefghijabcdefghijabcdefghij=1\n",
	  "t:1: expected the name of an input line, power, clock or service, not "
	  "\"abcdefghijabcdefghijabcdefghijabcdefghij\"", "" },

	{ "what was earned is printed", STOP "150 ignition=1\n200 ignition=0\n150 ignition=1\n",
	  "t:5: expected a time that does not go back", MISSED },
	{ "what waits at the moment reached is not run", STOP "150 ignition=1\n150.2 lamps=2\n",
	  "t:4: expected a level of 0 or 1, not \"2\"", "" },
	{ "1 ms later it has been run by the line before", STOP "150 ignition=1\n150.201 lamps=0\n151 x\n",
	  "t:5: expected NAME=VALUE, not \"x\"", MISSED },
};

static struct files f;
static struct ran ran;

static void is_refused(void **state)
{
	size_t i = (size_t)(uintptr_t)*state;
	char expected[400];

	file_write(f.trace, bad[i].trace);
	replay(&f, &ran, "%s", f.trace);
	snprintf(expected, sizeof(expected), "%s\n", bad[i].said);
	assert_string_equal(said(&f, &ran), expected);
	assert_string_equal(ran.out, bad[i].out);
	assert_int_equal(ran.status, 2);
}

/* -- the same, written otherwise ------------------------------------------------------------------------- */

static void reads(const char *trace, const char *out)
{
	file_write(f.trace, trace);
	replay(&f, &ran, "%s", f.trace);
	assert_string_equal(ran.err, "");
	assert_string_equal(ran.out, out);
	assert_int_equal(ran.status, 0);
}

#define OWED(at) "{\"kind\":\"standing\",\"phase\":\"owed\",\"carried\":false,\"at_s\":" at "}\n"
#define PARKED(at) "{\"kind\":\"standing\",\"phase\":\"parked\",\"carried\":false,\"at_s\":" at "}\n"

static void a_trace_may_be_written_in_several_ways(void **state)
{
	(void)state;
	reads("0 ignition=1\n100 ignition=0\n101 end\n", OWED("101.000"));
	reads("0 ignition=1\n100 ignition=0\n101 end", OWED("101.000"));
	reads("\n  # a bus\n\t0\tignition=1 # on\n\n100.0 ignition=0#off\n101.00   end   # here\n\n#\n",
	      OWED("101.000"));
	reads("0 ignition=1\r\n100 ignition=0\r\n101 end\r\n", OWED("101.000"));
	reads("0 lamps=0 ignition=1\n100 ignition=0\n100.2 lamps=0\n", OWED("100.200"));
	reads("0 ignition=1\n100 ignition=0\n101 ignition=0\n101 end\n", OWED("101.000"));
	reads("00 ignition=0\n00001.5 end\n", PARKED("1.500"));
	reads("999999999999.999 lamps=0\n", PARKED("999999999999.999"));
	reads("86400 ignition=0\n", PARKED("86400.000"));
}

/* "the last line" of a trace is its end; without one, timers run up to the last line's moment. */
static void a_trace_without_end_ends_with_its_last_line(void **state)
{
	(void)state;
	reads("0 ignition=1\n100 ignition=0\n160 lamps=0\n",
	      "{\"kind\":\"standing\",\"phase\":\"overdue\",\"carried\":false,\"at_s\":160.000}\n");
	reads("0 ignition=1\n100 ignition=0\n159.999 lamps=0\n", OWED("159.999"));
	reads("0 ignition=1\n100 ignition=0\n", "{\"kind\":\"standing\",\"phase\":\"driving\","
	      "\"carried\":false,\"at_s\":100.000}\n");
}

static void power_clock_and_service_in_one_line(void **state)
{
	(void)state;
	reads("0 ignition=1\n5 power=cut lamps=1\n6 lamps=0\n7 service=on\n"
	      "8 power=on clock=lost service=on ignition=0\n9 end\n", OWED("9.000"));
	reads("0 ignition=0 power=cut\n5 end\n", PARKED("5.000"));
	reads("0 ignition=1\n5 power=cut\n900 end\n",
	      "{\"kind\":\"standing\",\"phase\":\"driving\",\"carried\":false,\"at_s\":900.000}\n");
}

static void a_long_line_is_refused_at_1001_characters(void **state)
{
	static char line[1200];
	int n = snprintf(line, sizeof(line), "0 ignition=0 #");

	(void)state;
	memset(line + n, 'x', sizeof(line) - (size_t)n);
	strcpy(line + 1000, "\n");
	reads(line, PARKED("0.000"));
	line[1000] = 'x';
	strcpy(line + 1001, "\n");
	file_write(f.trace, line);
	replay(&f, &ran, "%s", f.trace);
	assert_string_equal(said(&f, &ran), "t:1: expected a line of 1000 characters at most\n");
	assert_int_equal(ran.status, 2);
}

static void a_zero_byte_is_refused(void **state)
{
	static const char trace[] = "0 ignition=1\n5 lamps=1\0 ignition=0\n";

	(void)state;
	file_write_bytes(f.trace, trace, sizeof(trace) - 1);
	replay(&f, &ran, "%s", f.trace);
	assert_string_equal(said(&f, &ran), "t:2: expected text without zero bytes\n");
	assert_string_equal(ran.out, "");
	assert_int_equal(ran.status, 2);
}

static void a_trace_that_is_not_there(void **state)
{
	(void)state;
	unlink(f.trace);
	replay(&f, &ran, "%s", f.trace);
	assert_string_equal(said(&f, &ran),
			    "t: expected a trace file that can be read: No such file or directory\n");
	assert_int_equal(ran.status, 2);
	replay(&f, &ran, "%s", f.folder);
	assert_string_equal(ran.err + strlen(f.folder),
			    ": expected a trace file that can be read: Is a directory\n");
	assert_int_equal(ran.status, 2);
}

/* A file of any length is read through one buffer: lines lie across its ends. */
static void a_long_trace_is_read_whole(void **state)
{
	FILE *t = fopen(f.trace, "w");

	(void)state;
	assert_non_null(t);
	for (int i = 0; i < 60000; i++)
		fprintf(t, "%d.%03d lamps=%d  # %.*s\n", i / 1000, i % 1000, i & 1, i % 37,
			"abcdefghijklmnopqrstuvwxyzabcdefghijklmn");
	fprintf(t, "100 ignition=1\n200 ignition=0\n201 end\n");
	assert_int_equal(fclose(t), 0);
	replay(&f, &ran, "%s", f.trace);
	assert_string_equal(ran.out, OWED("201.000"));
	assert_int_equal(ran.status, 0);
}

static void several_traces_are_buses_of_their_own(void **state)
{
	(void)state;
	file_write(f.trace, "0 ignition=1\n100 ignition=0\n101 end\n");
	replay(&f, &ran, "%s %s", f.trace, f.trace);
	assert_string_equal(ran.out, OWED("101.000") OWED("101.000"));
	replay(&f, &ran, "- %s <%s", f.trace, f.trace);
	assert_string_equal(ran.out, OWED("101.000") OWED("101.000"));
	assert_int_equal(ran.status, 0);
	file_write(f.conf, "0 ignition=3\n");
	replay(&f, &ran, "%s %s %s", f.trace, f.conf, f.trace);
	assert_string_equal(ran.out, OWED("101.000"));
	assert_int_equal(ran.status, 2);
}

static void arguments_that_are_none(void **state)
{
	static const char use[] = "usage: postwalk replay [--config FILE] [--rungs] TRACE...\n";

	(void)state;
	replay(&f, &ran, " ");
	assert_string_equal(ran.err, use);
	assert_int_equal(ran.status, 2);
	replay(&f, &ran, "--loud %s", f.trace);
	assert_non_null(strstr(ran.err, use));
	assert_int_equal(ran.status, 2);
}

/* Nothing is lost in silence: a full disk is told. */
static void an_output_that_cannot_be_written_is_told(void **state)
{
	char command[300];
	int status;

	(void)state;
	file_write(f.trace, "0 ignition=1\n100 ignition=0\n101 end\n");
	snprintf(command, sizeof(command), "%s replay %s >/dev/full 2>%s", getenv("POSTWALK"), f.trace,
		 f.err);
	status = system(command);
	assert_int_equal(WEXITSTATUS(status), 2);
	file_read(f.err, ran.err, sizeof(ran.err));
	assert_string_equal(ran.err, "postwalk replay: standard output cannot be written\n");
}

int main(void)
{
	static const struct CMUnitTest others[] = {
		cmocka_unit_test(a_trace_may_be_written_in_several_ways),
		cmocka_unit_test(a_trace_without_end_ends_with_its_last_line),
		cmocka_unit_test(power_clock_and_service_in_one_line),
		cmocka_unit_test(a_long_line_is_refused_at_1001_characters),
		cmocka_unit_test(a_zero_byte_is_refused),
		cmocka_unit_test(a_trace_that_is_not_there),
		cmocka_unit_test(a_long_trace_is_read_whole),
		cmocka_unit_test(several_traces_are_buses_of_their_own),
		cmocka_unit_test(arguments_that_are_none),
		cmocka_unit_test(an_output_that_cannot_be_written_is_told),
	};
	static struct CMUnitTest tests[COUNT(bad) + COUNT(others)];
	int failed;

	files_make(&f);
	for (size_t i = 0; i < COUNT(bad); i++)
		tests[i] = (struct CMUnitTest){ .name = bad[i].what, .test_func = is_refused,
						.initial_state = (void *)(uintptr_t)i };
	memcpy(tests + COUNT(bad), others, sizeof(others));
	failed = cmocka_run_group_tests_name("traces", tests, NULL, NULL);
	files_remove(&f);
	return failed;
}
