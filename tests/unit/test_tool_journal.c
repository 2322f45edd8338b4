/* SPDX-License-Identifier: Apache-2.0 */
/* A journal in words: a line a record, and a sweep as a story. J8 names the kinds. */
#include <glob.h>

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
	{ __LINE__, PW_K_RECEIPT, 0, false, "{\"seq\":20}", "27  receipt  seq 20" },
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

#define STOP "key off; a press counts 14.505 s after it at the soonest (12 rows and the aisle), and is due within "

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
	  { "besides   service began: beeper and horn muted 09:14:00; fault button_held began 09:14:20; service was over 09:14:22; "
	    "fault button_held was over 09:14:23\n",
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
	assert_null(strstr(t->out, "..."
			   "\n")); /* no line was cut */
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
		TEST(a_sweep_is_told_as_a_story),
		TEST(a_story_over_a_switch_says_the_zone),
		TEST(many_refusals_are_ten_lines_all_the_same),
		TEST(every_scenario_has_its_stories),
		TEST(a_story_says_who_vouches_for_it),
		TEST(a_record_that_was_touched_has_nobody_to_vouch_for_it),
		TEST(what_is_no_sweep_is_refused),
		TEST(what_cannot_be_read_on_is_told),
		TEST(arguments_that_are_none),
#undef TEST
	};

	setenv("TZ", ZONE, 1);
	return cmocka_run_group_tests(tests, NULL, NULL);
}
