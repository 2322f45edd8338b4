/* SPDX-License-Identifier: Apache-2.0 */
/* How a sweep was judged, in words: rule by rule, from records that the rules themselves made. */
#include "told.h"

static struct pw_zone *chicago;

/* All lines as "RULE: ASKED | SEEN | FOLLOWED", one a line. */
static char *in_words(const struct pw_told_sweep *told, enum pw_tongue tongue)
{
	const struct pw_in_words in = told_words(tongue, chicago, told);
	struct pw_judged *j = malloc(sizeof(*j));
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	assert_non_null(j);
	pw_judged_make(told, j);
	assert_in_range(j->count, 3, PW_JUDGEMENTS_MAX);
	for (size_t i = 0; i < j->count; i++) {
		const struct pw_said *said[] = { &j->line[i].asked, &j->line[i].seen,
						 &j->line[i].followed };

		fprintf(out, "%s:", j->line[i].rule);
		for (size_t k = 0; k < 3; k++) {
			fputs(k ? " | " : " ", out);
			if (said[k]->phrase)
				pw_said_words(&in, said[k], out);
		}
		putc('\n', out);
	}
	assert_string_equal(j->line[j->count - 1].rule, "R22");
	fclose(out);
	free(j);
	return text;
}

#define OFF "0 ignition=1\n300 ignition=0\n"

/* WALL_MS is 2026-09-21 09:13:20 in Chicago: a stop at 300 s is at 09:18:20. */
static const struct {
	int line;
	const char *what, *trace;
	unsigned n;
	const char *lines[7];
} cases[] = {
	{ __LINE__, "walked, after one try that was too soon (R10, R11, R16)",
	  OFF "310 rear_button=1\n310.4 rear_button=0\n320 rear_button=1\n320.4 rear_button=0\n"
	  "334 service_door=1\n336 service_door=0\n400 end\n", 1,
	  { "R7: a sweep after every key-off | key off at 09:18:20 | a sweep was owed from then on\n",
	    "R10 R11: 14.5 s at least for the walk: 12 rows of seats and 9.1 m of aisle | press at "
	    "09:18:30, 10.0 s after the stop | refused: too soon for the walk\n",
	    "| press at 09:18:40, 20.0 s after the stop | accepted: somebody stood at the rear\n",
	    "R9: a press within 1 min 00 s | a press that counts after 20.0 s | in time\n",
	    "R16: 8.5 s at least and 10 min 00 s at most for the way back | end of the second look at "
	    "09:18:54, 14.0 s after the press | time enough for the way back\n",
	    "R22: the first that applies: no press that counts, missed; a finding that the policy doubts, "
	    "doubtful; a late press, late; else walked | a press in time, and nothing that the policy "
	    "doubts | verdict: walked\n" } },
	{ __LINE__, "the rear door, the service door, late, and back too soon (R12, R13, R14, R16)",
	  "0 ignition=1\n10 ignition=0\n15 service_door=1\n17 service_door=0\n20 rear_door=1\n"
	  "22 rear_button=1\n23 rear_button=0\n25 rear_door=0\n30 rear_button=1\n31 rear_button=0\n"
	  "75 rear_button=1\n75.5 rear_button=0\n80 service_door=1\n100 end\n", 1,
	  { "R12: rear door and exits shut from the stop to the press | Rear door: opened at 09:13:40 | a "
	    "finding; the walk counts anew from when all of them are shut\n",
	    "R13: a press within 30.0 s once the service door has shut again | Service door: opened at "
	    "09:13:35 | ",
	    "R11: rear door and exits shut at the press | press at 09:13:42, 12.0 s after the stop | "
	    "refused: a rear door or exit was open\n",
	    "| refused: too soon; the walk counted anew from when the rear was shut or power came back\n",
	    "R14 R17: signals from when the press was due | signal beeper inside at 09:14:07 | ",
	    "| a press that counts after 1 min 05 s | late by 28.0 s: it was due at 09:14:07\n",
	    "| what the policy doubts: a rear door or exit was opened; too soon at the door for a second "
	    "look | verdict: doubtful\n" } },
	{ __LINE__, "driven off (R15)", OFF "330 ignition=1\n340 end\n", 1,
	  { "R9 R11: a press within 1 min 00 s | no press that counts | \n",
	    "R15: the key off until a press | driven off at 09:18:50, 30.0 s after the stop | the sweep "
	    "closed as missed, and the next stop owes one for it\n",
	    "| no press that counts | verdict: missed\n" } },
	{ __LINE__, "the next one is carried (R9)",
	  OFF "330 ignition=1\n350 ignition=0\n370 rear_button=1\n371 rear_button=0\n390 service_door=1\n"
	  "391 end\n", 2,
	  { "R7 R9: a sweep at this stop in any case, since the one before was missed | key off at 09:19:10",
	    "R9: a press within 45.0 s | a press that counts after 20.0 s | in time\n" } },
	{ __LINE__, "every signal, and the alarm spent (R14, R17, R18)",
	  OFF "3000 rear_button=1\n3000.5 rear_button=0\n3020 service_door=1\n3100 end\n", 1,
	  { "R14 R17: signals from when the press was due | signal beeper inside at 09:19:20 | it lasted "
	    "until the next one, a press or the key\n",
	    "R14 R17: a stronger signal 30.0 s after they began | signal horn outside at 09:19:50 | ",
	    "R14 R17: a stronger signal 1 min 00 s after they began | signal office told at 09:20:20 | "
	    "likewise, and a message to the office\n",
	    "R18: an end of the sounding 30 min 00 s after it began | signal alarm spent at 09:49:20 | the "
	    "lamp alone; a press still counts\n",
	    "| late by 44 min 00 s: it was due at 09:19:20\n" } },
	{ __LINE__, "power gone while it was owed (R20)",
	  OFF "310 power=cut\n370 power=on\n390 rear_button=1\n391 rear_button=0\n410 service_door=1\n"
	  "420 end\n", 1,
	  { "R20: power until the sweep is closed | no power from 09:18:30 to 09:19:30 | a finding: what "
	    "happened meanwhile is not known\n" } },
	{ __LINE__, "the clock lost (R21)",
	  OFF "310 power=cut\n4000 power=on clock=lost\n4020 rear_button=1\n4021 rear_button=0\n"
	  "4040 service_door=1\n4050 end\n", 1,
	  { ", for how long is not known | ",
	    "R21: a clock that can vouch for the time without power | it could not | a finding: the clock "
	    "was unsure over a power cut\n" } },
	{ __LINE__, "powered down on leaving (R16, R20)",
	  OFF "320 rear_button=1\n321 rear_button=0\n332 power=cut\n86400 power=on\n86401 end\n", 1,
	  { "R16 R20: 8.5 s at least and 10 min 00 s at most for the way back | power was switched off on "
	    "the way out | taken for leaving, and noted\n" } },
	{ __LINE__, "muted, and the button held (R23, R4)",
	  "0 ignition=1\n280 rear_button=1\n300 ignition=0\n301 rear_button=0\n310 service=on\n"
	  "320 rear_button=1\n321 rear_button=0\n332 service=off\n340 service_door=1\n341 end\n", 1,
	  { "R23: no service while a sweep is owed | beeper and horn were muted by a mechanic's service | ",
	    "R4: the button let go within 10.0 s | it was held down for longer | a finding: " } },
	{ __LINE__, "left running (R25)",
	  "0 ignition=1\n50 park_brake=1\n60 service_door=1\n62 service_door=0\n250 rear_button=1\n"
	  "251 rear_button=0\n270 service_door=1\n271 end\n", 1,
	  { "R25: a sweep when the engine runs with the brake set and 2 min 00 s have passed since the door "
	    "was opened | engine left running with the brake set; counted from 09:16:20 | " } },
	{ __LINE__, "leaving unseen (R16)", OFF "320 rear_button=1\n321 rear_button=0\n1200 end\n", 1,
	  { "| leaving by the service door was not seen | the sweep closed when the time was over\n" } },
};

static void each_rule_is_told_with_what_was_asked_seen_and_followed(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(cases); i++) {
		struct pw_told_sweep told;
		char *text;

		told_play(t, TOLD_POLICY, cases[i].trace);
		assert_true(told_gather(t, cases[i].n, 1, &told));
		text = in_words(&told, PW_ENGLISH);
		for (size_t k = 0; k < COUNT(cases[i].lines) && cases[i].lines[k]; k++)
			if (!strstr(text, cases[i].lines[k]))
				fail_msg("%d: %s: expected\n%sin\n%s", cases[i].line, cases[i].what,
					 cases[i].lines[k], text);
		free(text);
		pw_gather_free(&told);
	}
}

/* What is read from behind the start of the journal is told the same, but for what only came before. */
static void it_is_the_same_from_the_middle_of_a_journal(void **state)
{
	struct tool *t = *state;
	struct pw_told_sweep whole, part;
	char *a, *b;

	told_play(t, TOLD_POLICY,
		  "0 ignition=1 service_door=1\n10 service_door=0\n100 ignition=0\n120 rear_button=1\n"
		  "121 rear_button=0\n140 service_door=1\n141 service_door=0\n200 ignition=1\n500 ignition=0\n"
		  "520 rear_button=1\n521 rear_button=0\n545 service_door=1\n550 end\n");
	assert_true(told_gather(t, 2, 1, &whole));
	assert_true(told_gather(t, 2, 6, &part)); /* behind policy and levels */
	assert_true(part.has_policy);
	assert_string_equal(part.policy_hash, whole.policy_hash);
	assert_int_equal(part.seal, PW_SEALED);
	a = in_words(&whole, PW_ENGLISH);
	b = in_words(&part, PW_ENGLISH);
	assert_string_equal(a, b);
	free(a);
	free(b);
	pw_gather_free(&whole);
	pw_gather_free(&part);
}

static void a_policy_that_is_not_here_is_said_to_be_not_here(void **state)
{
	struct tool *t = *state;
	struct pw_told_sweep told;
	char *text;

	told_play(t, TOLD_POLICY, OFF "320 rear_button=1\n321 rear_button=0\n340 service_door=1\n341 end\n");
	assert_true(told_gather(t, 1, 1, &told));
	told.has_policy = false;
	text = in_words(&told, PW_ENGLISH);
	assert_non_null(strstr(text, "R10 R11: the policy then in force does not stand here | press at "));
	free(text);
	pw_gather_free(&told);
}

/* No hole left open, nothing untold, and no word that a bus is empty or that somebody did wrong. */
static void look_at_words(const char *name, const struct pw_told_sweep *told, void *ctx)
{
	static const char *const never[] = { "{", "}", "empty", "clear", "guilty", "fault of", "vacío",
					     "vacio", "vide", "danger", "peligro" };

	(void)ctx;
	for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++) {
		char *text = in_words(told, l);

		for (size_t i = 0; i < COUNT(never); i++)
			if (strcasestr(text, never[i]))
				fail_msg("%s: \"%s\" in\n%s", name, never[i], text);
		assert_null(strstr(text, ":  | "));
		free(text);
	}
}

static void every_scenario_is_told_in_each_language(void **state)
{
	told_scenarios(*state, look_at_words, NULL);
}

/* Each finding has a reason and the rules that put it, and its name is a word. */
static void each_finding_has_its_reason(void **state)
{
	(void)state;
	for (unsigned f = 0; f < PW_FINDINGS; f++) {
		assert_true(pw_phrase_find(pw_finding_name(f)));
		assert_true(pw_judged_reason(f));
		assert_true(pw_judged_rules(f)[0] == 'R');
		for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++)
			assert_true(strlen(pw_phrase(l, pw_judged_reason(f))) > 20);
	}
}

/* 4096 refusals would be more than there is room for; the verdict stands last all the same. */
static void many_presses_leave_room_for_the_verdict(void **state)
{
	struct tool *t = *state;
	struct pw_told_sweep told;
	char trace[12000];
	char *text;
	int n = snprintf(trace, sizeof(trace), "0 ignition=1\n10 ignition=0\n11 rear_door=1\n");

	for (int i = 0; i < 160; i++)
		n += snprintf(trace + n, sizeof(trace) - (size_t)n,
			      "%d rear_button=1\n%d.2 rear_button=0\n", 20 + i, 20 + i);
	snprintf(trace + n, sizeof(trace) - (size_t)n, "200 ignition=1\n210 end\n");
	told_play(t, TOLD_POLICY, trace);
	assert_true(told_gather(t, 1, 1, &told));
	assert_true(told.sweep.refused > 100);
	text = in_words(&told, PW_ENGLISH);
	assert_non_null(strstr(text, "more presses | refused as well\n"));
	assert_non_null(strstr(text, "| verdict: missed\n"));
	free(text);
	pw_gather_free(&told);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(each_rule_is_told_with_what_was_asked_seen_and_followed),
		TEST(it_is_the_same_from_the_middle_of_a_journal),
		TEST(a_policy_that_is_not_here_is_said_to_be_not_here),
		TEST(every_scenario_is_told_in_each_language),
		TEST(each_finding_has_its_reason),
		TEST(many_presses_leave_room_for_the_verdict),
#undef TEST
	};
	char why[200];
	int failed;

	if (pw_zone_open("America/Chicago", &chicago, why, sizeof(why)))
		return 1;
	failed = cmocka_run_group_tests(tests, NULL, NULL);
	pw_zone_free(chicago);
	return failed;
}
