/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk journal: a line a record. J8 names the kinds. */
#include "tool_edit.h"

#define ZONE "America/Chicago"
#define NOTE "As it stands there, not checked: ask postwalk verify.\n"

/* In Chicago, by the tz database: summer time from 2026-03-08 08:00 to 2026-11-01 07:00 UTC. */
#define SPRING INT64_C(1772956800000)
#define AUTUMN INT64_C(1793516400000)

#define MORNING INT64_C(1795612443000) /* 2026-11-25 07:14:03 CST */

#define POLICY_BODY                                                                                \
	"{\"text\":\"[bus]\\nid = bus-07\\n[line ignition]\\n[line rear_button]\\n"                 \
	"[line service_door]\\n\",\"hash\":\"0123456789abcdef0123456789abcdef\"}"
#define SWEEP_BODY                                                                                 \
	"{\"key_off_ms\":100000,\"key_off_wall_ms\":1795612358000,\"verdict\":\"late\",\"findings\":"  \
	"[\"carried\",\"door_before_press\"],\"press_ms\":165250,\"walk_ms\":65250,\"late_ms\":5250,"  \
	"\"refused\":[{\"at_ms\":108000,\"why\":\"too_soon\"}],\"exit_ms\":185000,\"return_ms\":19750," \
	"\"rung\":\"cabin\",\"closed_ms\":185000,\"closed_wall_ms\":1795612443000}"

/* -- a line a record --------------------------------------------------------------------------- */

static const struct {
	int line;
	enum pw_kind kind;
	int64_t wall_ms;
	bool unsure;
	const char *body, *words; /* words: with seq and kind, as they stand behind the time */
} records[] = {
	{ __LINE__, PW_K_EPOCH, 0, false,
	  "{\"before\":{\"epoch\":\"0123456789abcdef\",\"seq\":817,\"hash\":\"ab\"},\"why\":\"the chain "
	  "does not hold at seq 818\",\"receipt\":null}",
	  "1  epoch    a new journal begins after epoch 0123456789abcdef, whose last good record is "
	  "817: the chain does not hold at seq 818" },
	{ __LINE__, PW_K_EPOCH, 0, false, "{\"before\":null,\"why\":\"no journal\",\"receipt\":null}",
	  "2  epoch    a new journal begins: no journal" },
	{ __LINE__, PW_K_BOOT, 0, false,
	  "{\"version\":\"0.1\",\"reset\":\"first\",\"policy\":\"ab\",\"clock\":\"first\",\"cut_ms\":null,"
	  "\"old_cut_ms\":null,\"dropped\":0}",
	  "3  boot     the watch starts, version 0.1; nothing was kept from before; policy ab" },
	{ __LINE__, PW_K_BOOT, 0, false,
	  "{\"version\":\"0.1\",\"reset\":\"power\",\"policy\":\"0123456789abcdef\",\"clock\":\"vouched\","
	  "\"cut_ms\":125000,\"old_cut_ms\":9,\"dropped\":2}",
	  "4  boot     the watch starts, version 0.1; power went at 07:13:03, 1 min before; policy "
	  "0123456789ab; 2 records were dropped before" },
	{ __LINE__, PW_K_BOOT, 0, true,
	  "{\"version\":\"0.1\",\"reset\":\"watchdog\",\"policy\":\"ab\",\"clock\":\"lost\",\"cut_ms\":185000,"
	  "\"old_cut_ms\":9,\"dropped\":0}",
	  "5  boot     (clock not vouched for) the watch starts, version 0.1; the machine's watchdog "
	  "reset it, for how long is not known: the clock was lost; policy ab" },
	{ __LINE__, PW_K_POLICY, 0, false, POLICY_BODY,
	  "6  policy   policy 0123456789ab: a press counts 14.505 s after the stop at the soonest (12 "
	  "rows), and is due within 1 min" },
	{ __LINE__, PW_K_LEVEL, 0, false,
	  "{\"levels\":{\"ignition\":1,\"rear_button\":0,\"service_door\":1,\"lamps\":0}}",
	  "7  level    at power-on: key on, rear button released, service door open" },
	{ __LINE__, PW_K_EDGES, 0, false, "{\"line\":\"service_door\",\"from\":1,\"at_ms\":[184000,184500]}",
	  "8  edges    service door shut 07:14:02.000, open 07:14:02.500" },
	{ __LINE__, PW_K_EDGES, 0, false,
	  "{\"line\":\"rear_button\",\"from\":0,\"at_ms\":[1,2,3,4,5,6,184999]}",
	  "9  edges    rear button pressed 07:10:58.001, released 07:10:58.002, pressed 07:10:58.003, "
	  "released 07:10:58.004, pressed 07:10:58.005, and 2 more edges, the last pressed "
	  "07:14:02.999" },
	{ __LINE__, PW_K_SWEEP, 0, false, SWEEP_BODY,
	  "10  sweep    late: key off 07:12:38; press at the rear 1 min 5.25 s after it, late by 5.25 s; "
	  "1 press refused; the sweep before was missed, the door was used before a press" },
	{ __LINE__, PW_K_RESTART, 0, false, "{\"key_off_ms\":180000,\"at_ms\":184125}",
	  "11  restart  no sweep: the driver was there again 4.125 s after the stop at 07:13:58" },
	{ __LINE__, PW_K_EXCUSED, 0, false, "{\"at_ms\":184000}",
	  "12  excused  key off 07:14:02; by the policy no sweep is owed for this stop" },
	{ __LINE__, PW_K_RUNG, 0, false, "{\"name\":\"cabin\",\"at_ms\":185000}",
	  "13  rung     signal cabin" },
	{ __LINE__, PW_K_RUNG, 0, false, "{\"name\":\"none\",\"at_ms\":185000}",
	  "14  rung     no signal any more" },
	{ __LINE__, PW_K_FAULT, 0, false,
	  "{\"name\":\"line_horn\",\"on\":true,\"at_ms\":1,\"words\":\"the line is busy\"}",
	  "15  fault    fault line_horn begins: the line is busy" },
	{ __LINE__, PW_K_FAULT, 0, false,
	  "{\"name\":\"line_horn\",\"on\":false,\"at_ms\":1,\"words\":\"the line is busy\"}",
	  "16  fault    fault line_horn is over: the line is busy" },
	{ __LINE__, PW_K_SERVICE, 0, false, "{\"on\":true}",
	  "17  service  service begins: beeper and horn are muted" },
	{ __LINE__, PW_K_SERVICE, 0, false, "{\"on\":false}",
	  "18  service  service is over: beeper and horn sound again" },
	{ __LINE__, PW_K_CLOCK, 0, false, "{\"before_ms\":1795612440000,\"after_ms\":1795612443500}",
	  "19  clock    the wall clock was set from 07:14:00 to 07:14:03, 3.5 s forward" },
	{ __LINE__, PW_K_CLOCK, 0, false, "{\"before_ms\":1795700000000,\"after_ms\":1795612443000}",
	  "20  clock    the wall clock was set from 2026-11-26 07:33:20 to 07:14:03, 1 d 0 h back" },
	{ __LINE__, PW_K_LOST, 0, false, "{\"count\":17}",
	  "21  lost     17 records before this one could not be kept and were dropped" },
	{ __LINE__, PW_K_PRUNE, 0, false, "{\"seq\":4000,\"hash\":\"0123456789abcdef\",\"seals\":31}",
	  "22  prune    records up to seq 4000 (hash 0123456789ab...) and 31 seals were kept long "
	  "enough and were dropped" },
	{ __LINE__, PW_K_PROOF, 0, false, "{\"line\":\"horn\",\"seen\":true,\"ms\":12}",
	  "23  proof    line horn, seen true, ms 12" },
	{ __LINE__, PW_K_FOUND, 0, false, "{\"what\":\"a coat\",\"rows\":[3,4]}",
	  "24  found    what a coat, rows [3,4]" },
	{ __LINE__, PW_K_SETUP, 0, false, "{\"by\":null}", "25  setup    by null" },
	{ __LINE__, PW_K_PIN, 0, false, "{\"accepted\":false}", "26  pin      accepted false" },
	{ __LINE__, PW_K_RECEIPT, 0, false, "{\"seq\":20}", "27  receipt  the office has all up to seq 20" },
	/* both sides of a switch: the zone is that of the moment */
	{ __LINE__, PW_K_RUNG, AUTUMN - 1000, false, "{\"name\":\"a\"}", "28  rung     signal a" },
	{ __LINE__, PW_K_EXCUSED, AUTUMN, false, "{\"at_ms\":184000}",
	  "29  excused  key off 01:59:59 CDT; by the policy no sweep is owed for this stop" },
	/* what is not as it should be */
	{ __LINE__, PW_K_SWEEP, 0, false, "{\"verdict\":\"done\"}",
	  "30  sweep    not understood: {\"verdict\":\"done\"}" },
	{ __LINE__, PW_K_EDGES, 0, false, "no JSON", "31  edges    not understood: no JSON" },
	{ __LINE__, PW_K_BOOT, 0, false, "[1]", "32  boot     not understood: [1]" },
	/* and what would move a terminal's cursor does not */
	{ __LINE__, PW_K_FAULT, 0, false,
	  "{\"name\":\"x\",\"on\":true,\"at_ms\":1,\"words\":\"a\\u001b[2Jb\\u009b2Jc\\nd\"}",
	  "33  fault    fault x begins: a?[2Jb?2Jc?d" },
	/* a clock that has never been set, and one that cannot be */
	{ __LINE__, PW_K_RUNG, 1000, true, "{\"name\":\"a\"}",
	  "34  rung     (clock not vouched for) signal a" },
	{ __LINE__, PW_K_RUNG, INT64_MIN, true, "{\"name\":\"a\"}",
	  "35  rung     (clock not vouched for) signal a" },
	{ __LINE__, PW_K_EXCUSED, INT64_MAX, true, "{\"at_ms\":-2305843009213693951}",
	  "36  excused  (clock not vouched for) key off " },
	/* what people and wires told */
	{ __LINE__, PW_K_PROOF, 0, false, "{\"line\":\"rear_door\",\"how\":\"moved\"}",
	  "37  proof    rear_door proven: seen to go both ways" },
	{ __LINE__, PW_K_PROOF, 0, false, "{\"line\":\"horn\",\"how\":\"not_heard\"}",
	  "38  proof    horn not proven: somebody says that it was not heard" },
	{ __LINE__, PW_K_FOUND, 0, false,
	  "{\"what\":\"nothing\",\"part\":\"none\",\"id\":0,\"t0_ms\":null,\"who\":\"d-12\",\"words\":\"\","
	  "\"rung\":\"\"}", "39  found    nothing found by the walk, by d-12" },
	{ __LINE__, PW_K_FOUND, 0, false,
	  "{\"what\":\"child\",\"part\":\"none\",\"id\":0,\"t0_ms\":100000,\"who\":\"\",\"words\":\"\","
	  "\"rung\":\"office\"}", "40  found    found: a child, told by signal office" },
	{ __LINE__, PW_K_FOUND, 0, false,
	  "{\"what\":\"mechanical\",\"part\":\"service_brakes\",\"id\":3,\"t0_ms\":null,\"who\":\"d-12\","
	  "\"words\":\"soft \\u20ac pedal\",\"rung\":\"\"}",
	  "41  found    found: mechanical trouble, service_brakes, defect 3, by d-12: soft \xe2\x82\xac pedal" },
	{ __LINE__, PW_K_REPORT, 0, false,
	  "{\"act\":\"signed\",\"id\":0,\"defects\":1,\"who\":\"d-12\",\"words\":\"\"}",
	  "42  report   vehicle report signed, 1 defect in it, by d-12" },
	{ __LINE__, PW_K_REPORT, 0, false,
	  "{\"act\":\"reviewed\",\"id\":0,\"defects\":0,\"who\":\"d-7\",\"words\":\"\"}",
	  "43  report   vehicle report reviewed, 0 defects in it, by d-7" },
	{ __LINE__, PW_K_REPORT, 0, false,
	  "{\"act\":\"no_need\",\"id\":3,\"defects\":0,\"who\":\"m-3\",\"words\":\"as it should be\"}",
	  "44  report   defect 3 certified as needing no repair, by m-3: as it should be" },
	{ __LINE__, PW_K_SETUP, 0, false,
	  "{\"who\":\"i-1\",\"policy\":\"0123456789abcdef\",\"begun_ms\":1,\"steps\":["
	  "{\"line\":\"ignition\",\"level\":1,\"result\":\"right\",\"other\":null,\"edges\":1,"
	  "\"other_edges\":0,\"chatter\":0,\"shortest_ms\":null},"
	  "{\"line\":\"rear_button\",\"level\":1,\"result\":\"swapped\",\"other\":\"service_door\","
	  "\"edges\":0,\"other_edges\":3,\"chatter\":2,\"shortest_ms\":4},"
	  "{\"line\":\"rear_button\",\"level\":0,\"result\":\"no_edge\",\"other\":null,\"edges\":0,"
	  "\"other_edges\":0,\"chatter\":0,\"shortest_ms\":null}]}",
	  "45  setup    wiring walked through, 1 of 3 steps right, rear_button to 1 swapped with "
	  "service_door, rear_button to 0 no_edge, by i-1; policy 0123456789ab" },
	{ __LINE__, PW_K_PIN, 0, false,
	  "{\"role\":\"mechanic\",\"accepted\":true,\"tries\":1,\"why\":\"\"}",
	  "46  pin      PIN of the mechanic accepted" },
	{ __LINE__, PW_K_PIN, 0, false,
	  "{\"role\":\"installer\",\"accepted\":false,\"tries\":12,\"why\":\"too_soon\"}",
	  "47  pin      PIN of the installer refused, 12 times: too_soon" },
	{ __LINE__, PW_K_PIN, 0, false,
	  "{\"role\":\"nobody\",\"accepted\":false,\"tries\":1,\"why\":\"token\"}",
	  "48  pin      a form was turned away: token" },
	/* what the office is told, and what it has: by its own clock */
	{ __LINE__, PW_K_RUNG, 0, false, "{\"name\":\"office\",\"at_ms\":185000,\"notify\":true}",
	  "49  rung     signal office, and the office is to be told" },
	{ __LINE__, PW_K_RECEIPT, 0, false,
	  "{\"seq\":812,\"hash\":\"0123456789abcdef\",\"time_ms\":1795612443000,\"nonce\":\"00\",\"sig\":\"00\"}",
	  "50  receipt  the office has all up to seq 812, by its own clock at 07:14:03" },
	{ __LINE__, PW_K_RECEIPT, 0, false, "{\"alert\":811,\"hash\":\"00\",\"time_ms\":1795700000000}",
	  "51  receipt  the office has the alert of seq 811, by its own clock at 2026-11-26 07:33:20" },
	{ __LINE__, PW_K_RECEIPT, 0, false, "{\"hash\":\"00\"}",
	  "52  receipt  not understood: {\"hash\":\"00\"}" },
};

static int64_t wall_at(size_t i)
{
	return records[i].wall_ms ? records[i].wall_ms : MORNING;
}

static void write_records(struct tool *t)
{
	struct pw_journal *j = journal_begin(tool_path(t, "journal.db"));

	for (size_t i = 0; i < COUNT(records); i++)
		journal_add_at(j, 1, records[i].kind, 185000, wall_at(i), !records[i].unsure,
			       records[i].body);
	journal_end_sealed(j, t->dir);
}

/* Each line's time is what `date` says it is. */
static void every_kind_is_told_in_words(void **state)
{
	struct tool *t = *state;
	struct lines x;
	char when[80];

	write_records(t);
	assert_int_equal(RUN(t, pw_journal, "journal", t->dir), PW_EXIT_OK);
	assert_string_equal(t->err, NOTE);
	x = lines_of(t->out);
	assert_int_equal(x.count, COUNT(records));
	for (size_t i = 0; i < COUNT(records); i++) {
		const char *words = strstr(x.line[i], records[i].words);

		if (!words)
			fail_msg("line %d: %s", records[i].line, x.line[i]);
		if (wall_at(i) < 0 || wall_at(i) == INT64_MAX)
			continue;
		ask(when, sizeof(when), "TZ=" ZONE " date -d @%lld '+%%Y-%%m-%%d %%H:%%M:%%S %%Z'",
		    (long long)(wall_at(i) / 1000));
		if (strncmp(x.line[i], when, strlen(when)) != 0)
			fail_msg("line %d: expected %s in %s", records[i].line, when, x.line[i]);
	}
	lines_free(&x);
}

static void an_export_reads_the_same(void **state)
{
	struct tool *t = *state;
	char *lines;

	write_records(t);
	assert_int_equal(RUN(t, pw_export, "export", t->dir), PW_EXIT_OK);
	tool_write(tool_path(t, "export"), t->out);
	assert_int_equal(RUN(t, pw_journal, "journal", t->dir), PW_EXIT_OK);
	lines = strdup(t->out);
	assert_int_equal(RUN(t, pw_journal, "journal", tool_path(t, "export")), PW_EXIT_OK);
	assert_string_equal(t->out, lines);
	free(lines);
}

/* -- which of them ----------------------------------------------------------------------------- */

/* The seqs that were printed, with a space behind each. */
static const char *seqs(const struct tool *t)
{
	static char text[1000];
	struct lines x = lines_of(t->out);

	text[0] = '\0';
	for (size_t i = 0; i < x.count; i++) {
		char seq[24];

		assert_int_equal(sscanf(x.line[i], "%*s %*s %*s %23s", seq), 1);
		strcat(strcat(text, seq), " ");
	}
	lines_free(&x);
	return text;
}

static void kinds_are_chosen_by_name(void **state)
{
	struct tool *t = *state;

	write_records(t);
	RUN(t, pw_journal, "journal", "--kind", "sweep", t->dir);
	assert_string_equal(seqs(t), "10 30 ");
	RUN(t, pw_journal, "journal", "--kind", "restart,excused,epoch", t->dir);
	assert_string_equal(seqs(t), "1 2 11 12 29 36 ");
	RUN(t, pw_journal, "journal", "--kind", "sweep,", t->dir);
	assert_refused(t, "expected --kind with one or more, with commas between, of boot policy ");
	RUN(t, pw_journal, "journal", "--kind", "sweeps", t->dir);
	assert_refused(t, "not \"sweeps\"");
}

/* Wall times of records in order; '-': nobody vouches for it. In Chicago, by the tz database. */
static const struct {
	int64_t wall_ms;
	bool ok;
} dated[] = {
	{ SPRING - 1000, true },   /* 1: 2026-03-08 01:59:59 CST */
	{ SPRING, true },          /* 2: 2026-03-08 03:00:00 CDT */
	{ AUTUMN - 1800000, true }, /* 3: 2026-11-01 01:30:00 CDT */
	{ 0, false },              /* 4: a clock that was lost */
	{ AUTUMN + 1800000, true }, /* 5: 2026-11-01 01:30:00 CST */
	{ INT64_C(4102444800000), false }, /* 6: one that ran ahead */
	{ MORNING, true },         /* 7: 2026-11-25 07:14:03 CST */
	{ MORNING - 5000, true },  /* 8: set back by 5 s */
};

static const struct {
	int line;
	const char *since, *seqs;
} sinces[] = {
	{ __LINE__, "2026-03-08", "1 2 3 4 5 6 7 8 " },
	{ __LINE__, "2026-03-08 01:59:59", "1 2 3 4 5 6 7 8 " },
	{ __LINE__, "2026-03-08 03:00", "2 3 4 5 6 7 8 " },
	{ __LINE__, "2026-03-08 03:00:01", "3 4 5 6 7 8 " },
	{ __LINE__, "2026-11-01", "3 4 5 6 7 8 " },
	/* a time that was twice is the earlier; and who knows when 4 was */
	{ __LINE__, "2026-11-01 01:30", "3 4 5 6 7 8 " },
	{ __LINE__, "2026-11-01 02:00", "6 7 8 " },
	{ __LINE__, "2026-11-25 07:14:03", "6 7 8 " },
	{ __LINE__, "2026-11-25 07:14:04", "" },
	{ __LINE__, "2026-11-26", "" },
};

static void write_dated(struct tool *t)
{
	struct pw_journal *j = journal_begin(tool_path(t, "journal.db"));

	for (size_t i = 0; i < COUNT(dated); i++)
		journal_add_at(j, 1, PW_K_RUNG, 1000, dated[i].wall_ms, dated[i].ok,
			       "{\"name\":\"cabin\"}");
	journal_end(j);
}

static void since_is_a_local_time(void **state)
{
	struct tool *t = *state;

	write_dated(t);
	for (size_t i = 0; i < COUNT(sinces); i++) {
		assert_int_equal(RUN(t, pw_journal, "journal", "--since", sinces[i].since, t->dir), 0);
		if (strcmp(seqs(t), sinces[i].seqs) != 0)
			fail_msg("line %d: %s: %s", sinces[i].line, sinces[i].since, seqs(t));
	}
}

static void a_time_that_is_none_is_refused(void **state)
{
	static const char *const none[] = {
		"", "yesterday", "2026", "2026-11", "26-11-25", "2026-11-31", "2026-02-29", "2026-13-01",
		"2026-11-25T07:00", "2026-11-25 7:00", "2026-11-25 24:00", "2026-11-25 07:60",
		"2026-11-25 07:00:60", "2026-11-25 07:00 ", " 2026-11-25", "2026-11-25 07:00:00.5",
		"2026-1-05", "-026-11-25",
		"2026-03-08 02:30", /* the clocks went from 02:00 to 03:00 */
	};
	struct tool *t = *state;

	write_dated(t);
	for (size_t i = 0; i < COUNT(none); i++) {
		print_message("  \"%s\"\n", none[i]);
		RUN(t, pw_journal, "journal", "--since", none[i], t->dir);
		assert_refused(t, "postwalk journal: expected a local date, or date and time");
	}
}

/* -- bad input --------------------------------------------------------------------------------- */

/* What came before is told; that it broke off as well. */
static void what_cannot_be_read_on_is_told(void **state)
{
	struct tool *t = *state;

	journal_small(t);
	journal_edit(tool_path(t, "journal.db"), "UPDATE record SET kind = 'x' WHERE seq = 9");
	assert_int_equal(RUN(t, pw_journal, "journal", t->dir), PW_EXIT_BAD);
	assert_string_equal(seqs(t), "1 2 3 4 5 6 7 8 ");
	assert_has(t->err, "seq 9 is of no known kind");
	RUN(t, pw_journal, "journal", tool_path(t, "nothing"));
	assert_refused(t, "nothing: expected a journal or an export of one that can be read");
}

static void arguments_that_are_none(void **state)
{
	struct tool *t = *state;

	assert_int_equal(RUN(t, pw_journal, "journal"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk journal");
	assert_int_equal(RUN(t, pw_journal, "journal", "--sweep", "1", "--kind", "boot", "a"),
			 PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk journal");
	RUN(t, pw_journal, "journal", "--since", "2026-11-25", "-");
	assert_refused(t, "it is read twice");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(every_kind_is_told_in_words),
		TEST(an_export_reads_the_same),
		TEST(kinds_are_chosen_by_name),
		TEST(since_is_a_local_time),
		TEST(a_time_that_is_none_is_refused),
		TEST(what_cannot_be_read_on_is_told),
		TEST(arguments_that_are_none),
#undef TEST
	};

	setenv("TZ", ZONE, 1);
	return cmocka_run_group_tests(tests, NULL, NULL);
}
