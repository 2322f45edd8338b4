/* SPDX-License-Identifier: Apache-2.0 */
/* J9: from a journal to a trace, and from the trace to the records that the journal holds. */
#include <glob.h>

#include "tool_watch.h"

#define BUS_POLICY                                                                                 \
	"[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n[line rear_button_nc]\n"         \
	"[line rear_door]\n[line service_door]\n[line lamps]\n"
#define BRAKE_POLICY                                                                               \
	"[bus]\nid = bus-07\n[sweep]\nidle_s = 60\n[line ignition]\n[line rear_button]\n"          \
	"[line service_door]\n[line park_brake]\n[line exits]\n[line rear_door]\n"
#define QUICK_POLICY                                                                               \
	"[bus]\nid = bus-07\n[sweep]\nowed_when = run\n[line ignition]\nsettle_ms = 0\n"            \
	"[line rear_button]\nsettle_ms = 0\n[line service_door]\nsettle_ms = 0\n"                   \
	"[line lamps]\nsettle_ms = 0\n[rung bell]\nafter_s = 0\n[rung siren]\nafter_s = 20\n"

/* -- J9, whole --------------------------------------------------------------------------------- */

/* Without its last line, `standing`. */
static void drop_standing(char *text)
{
	char *last = strstr(text, "{\"kind\":\"standing\"");

	assert_non_null(last);
	*last = '\0';
}

static void assert_same_again(struct tool *t, const char *whose)
{
	const char *journal = tool_path(t, "journal.db"), *trace = tool_path(t, "trace");
	const char *policy = tool_path(t, "out.conf");
	char *records = malloc(SAID_MAX);

	assert_non_null(records);
	if (RUN(t, pw_trace, "trace", journal) != 0 || t->err[0])
		fail_msg("%s\n%s", whose, t->err);
	tool_write(trace, t->out);
	assert_int_equal(RUN(t, pw_trace, "trace", "--policy", journal), 0);
	tool_write(policy, t->out);
	assert_int_equal(RUN(t, pw_trace, "trace", "--records", journal), 0);
	strcpy(records, t->out);
	if (RUN(t, pw_replay, "replay", "--config", policy, trace) != 0)
		fail_msg("%s\n%s", whose, t->err);
	drop_standing(t->out);
	if (strcmp(records, t->out) != 0)
		fail_msg("%s\nrecorded:\n%s\nreplayed:\n%s", whose, records, t->out);
	strcpy(t->out, records);
	free(records);
}

static void play(struct tool *t, const char *policy, const char *trace)
{
	tool_write(tool_path(t, "in.trace"), trace);
	unlink(tool_path(t, "journal.db"));
	watch_play(t, policy, tool_path(t, "in.trace"));
}

static const struct journaled {
	int line;
	const char *what, *policy, *trace;
	const char *has; /* a part of the records: that it shows what it says */
} journaled[] = {
	{ __LINE__, "walked well", BUS_POLICY,
	  "0 ignition=1\n300 ignition=0\n320 rear_button=1 rear_button_nc=0\n"
	  "321 rear_button=0 rear_button_nc=1\n334 service_door=1\n336 service_door=0\n400 end\n",
	  "\"key_off_s\":300.000,\"verdict\":\"done\"" },
	{ __LINE__, "refused twice, then walked late; chatter that never settles", BUS_POLICY,
	  "0 ignition=1\n10 ignition=0\n10.050 ignition=1\n10.1 ignition=0\n12 rear_button=1 "
	  "rear_button_nc=0\n13 rear_button=0 rear_button_nc=1\n20 rear_door=1\n30 rear_button=1\n"
	  "30.001 rear_button_nc=0\n31 rear_button=0 rear_button_nc=1\n32 rear_door=0\n"
	  "75 rear_button=1 rear_button_nc=0\n75.5 rear_button=0 rear_button_nc=1\n"
	  "90 service_door=1\n100 end\n", "\"why\":\"rear_open\"" },
	{ __LINE__, "a stall, then driven off, then a debt", BUS_POLICY,
	  "0 ignition=1\n50 ignition=0\n55 ignition=1\n100 ignition=0\n130 ignition=1\n"
	  "150 ignition=0\n170 rear_button=1 rear_button_nc=0\n171 rear_button=0 "
	  "rear_button_nc=1\n190 service_door=1\n191 end\n", "\"kind\":\"restart\"" },
	{ __LINE__, "excused, as too short a run", QUICK_POLICY,
	  "0 ignition=1\n20 ignition=0\n21 ignition=1\n21 lamps=1\n100 ignition=0 lamps=0\n"
	  "100 service_door=1\n130 rear_button=1\n130 rear_button=0\n131 service_door=0\n200 end\n",
	  "\"kind\":\"excused\",\"at_s\":20.000" },
	{ __LINE__, "the button held, and contacts that disagree: the rules' own faults", BUS_POLICY,
	  "0 ignition=1\n40 rear_button=1 rear_button_nc=0\n60 rear_button=0 rear_button_nc=1\n"
	  "70 ignition=0\n80 rear_button_nc=0\n90 rear_button_nc=1\n100 rear_button=1 "
	  "rear_button_nc=0\n101 rear_button=0 rear_button_nc=1\n130 service_door=1\n140 end\n",
	  "\"name\":\"button_held\",\"on\":true,\"at_s\":50.000" },
	{ __LINE__, "service while it is owed", BUS_POLICY,
	  "0 ignition=1\n30 ignition=0\n40 service=on\n50 rear_button=1 rear_button_nc=0 "
	  "service=off\n51 rear_button=0 rear_button_nc=1\n70 service_door=1\n71 end\n", "muted" },
	{ __LINE__, "a dip of cranking, and a cut while driving", BUS_POLICY,
	  "5 ignition=1\n30 power=cut\n32 power=on ignition=1\n60 power=cut\n200 power=on "
	  "ignition=0\n220 rear_button=1 rear_button_nc=0\n221 rear_button=0 rear_button_nc=1\n"
	  "240 service_door=1\n250 end\n", "power_lost" },
	{ __LINE__, "a cut in owed, back overdue; back again as a stall cannot be", BUS_POLICY,
	  "0 ignition=1\n30 ignition=0\n40 power=cut\n100 power=on\n130 power=cut ignition=1\n"
	  "131 power=on\n150 ignition=0\n400 end\n", "driven_off" },
	{ __LINE__, "the clock lost in owed: the gap is none", BUS_POLICY,
	  "0 ignition=1\n30 ignition=0\n40 power=cut\n4000 power=on clock=lost\n"
	  "4020 rear_button=1 rear_button_nc=0\n4021 rear_button=0 rear_button_nc=1\n"
	  "4040 service_door=1\n4050 end\n", "clock_unsure" },
	{ __LINE__, "powered down on leaving, over to the next day", BUS_POLICY,
	  "0 ignition=1\n30 ignition=0\n50 rear_button=1 rear_button_nc=0\n51 rear_button=0 "
	  "rear_button_nc=1\n62 power=cut\n86400 power=on\n86410 ignition=1\n86420 ignition=0\n"
	  "86440 power=cut\n86450 power=on clock=lost\n86900 end\n", "powered_down" },
	{ __LINE__, "left running, the brake let go, and left again until overdue", BRAKE_POLICY,
	  "0 ignition=1\n20 park_brake=1\n25 service_door=1\n30 service_door=0\n90 park_brake=0\n"
	  "100 park_brake=1\n105 service_door=1\n106 exits=1\n108 exits=0\n300 ignition=0\n"
	  "320 rear_button=1\n321 rear_button=0\n340 service_door=0\n350 end\n", "left_running" },
	{ __LINE__, "the alarm sounds as long as it may", QUICK_POLICY,
	  "0 ignition=1\n100 ignition=0\n3000 rear_button=1\n3000.5 rear_button=0\n"
	  "3020 service_door=1\n3100 end\n", "alarm_spent" },
	{ __LINE__, "lines of one moment, in the order of lines", QUICK_POLICY,
	  "0 ignition=1 lamps=1\n100 service_door=1 ignition=0\n100 rear_button=1\n"
	  "100 rear_button=0\n125 rear_button=1\n125 service_door=0\n160 end\n", NULL },
};

static void a_journal_is_judged_again(void **state)
{
	struct tool *t = *state;
	char whose[300];

	for (size_t i = 0; i < COUNT(journaled); i++) {
		const struct journaled *c = &journaled[i];

		snprintf(whose, sizeof(whose), "line %d: %s", c->line, c->what);
		play(t, c->policy, c->trace);
		assert_same_again(t, whose);
		if (c->has)
			assert_has(t->out, c->has);
	}
}

/* -- J9, on every scenario --------------------------------------------------------------------- */

#define SCENARIOS "tests/scenarios/"
/* as replay has it without a policy file (rules, section 9) */
#define NO_POLICY                                                                                  \
	"[line ignition]\n[line rear_button]\n[line rear_door]\n[line exits]\n"                    \
	"[line service_door]\n[line lamps]\n"

static void judge_scenario(struct tool *t, const char *trace)
{
	static char policy[SAID_MAX];
	char conf[300];

	strcpy(policy, NO_POLICY);
	snprintf(conf, sizeof(conf), "%.*s.conf", (int)(strlen(trace) - strlen(".trace")), trace);
	if (strstr(trace, "own-policy/"))
		tool_read(conf, policy);
	unlink(tool_path(t, "journal.db"));
	watch_play(t, policy, trace);
	assert_same_again(t, trace);
}

static void every_scenario_is_judged_again(void **state)
{
	glob_t found;

	/* run from the top of the tree */
	assert_int_equal(glob(SCENARIOS "*.trace", 0, NULL, &found), 0);
	glob(SCENARIOS "own-policy/*.trace", GLOB_APPEND, NULL, &found);
	for (size_t i = 0; i < found.gl_pathc; i++)
		judge_scenario(*state, found.gl_pathv[i]);
	print_message("%zu scenarios\n", found.gl_pathc);
	globfree(&found);
}

/* -- J9, at random ----------------------------------------------------------------------------- */

#define SEEDS 60

static uint64_t next_random(uint64_t *seed) /* xorshift64, Marsaglia 2003 */
{
	*seed ^= *seed << 13;
	*seed ^= *seed >> 7;
	*seed ^= *seed << 17;
	return *seed;
}

static unsigned draw(uint64_t *seed, unsigned below)
{
	return (unsigned)(next_random(seed) >> 33) % below;
}

/* Bounces, walks and nights. */
static int64_t random_pause_ms(uint64_t *seed)
{
	static const unsigned most[] = { 1, 40, 400, 4000, 30000, 120000, 2000000 };

	return draw(seed, most[draw(seed, COUNT(most))] + 1);
}

static void random_word(uint64_t *seed, const struct pw_policy *p, FILE *f)
{
	unsigned line;

	do
		line = draw(seed, PW_INPUTS);
	while (!p->line[line].configured);
	fprintf(f, " %s=%u", p->line[line].name, draw(seed, 2));
}

static void random_trace(uint64_t seed, const struct pw_policy *p, const char *path)
{
	FILE *f = fopen(path, "w");
	int64_t at_ms = draw(&seed, 5000);
	bool powered = true;

	assert_non_null(f);
	fprintf(f, "%lld.%03d ignition=%u\n", (long long)(at_ms / 1000), (int)(at_ms % 1000),
		draw(&seed, 2));
	for (int i = 0; i < 120; i++) {
		unsigned kind = draw(&seed, 24);

		at_ms += random_pause_ms(&seed);
		fprintf(f, "%lld.%03d", (long long)(at_ms / 1000), (int)(at_ms % 1000));
		if (kind == 0 || (!powered && kind < 12)) {
			powered = !powered;
			fprintf(f, " power=%s", powered ? "on" : "cut");
			if (powered && draw(&seed, 3) == 0)
				fputs(" clock=lost", f);
		} else if (kind == 1) {
			fprintf(f, " service=%s", draw(&seed, 3) ? "on" : "off");
		}
		random_word(&seed, p, f);
		fputc('\n', f);
	}
	fprintf(f, "%lld end\n", (long long)(at_ms / 1000 + 3000));
	fclose(f);
}

static void any_journal_is_judged_again(void **state)
{
	static const char *const policy[] = { BUS_POLICY, BRAKE_POLICY, QUICK_POLICY };
	struct tool *t = *state;
	struct pw_policy p;
	char whose[40], why[400];

	for (uint64_t seed = 1; seed <= SEEDS; seed++) {
		const char *text = policy[seed % COUNT(policy)];

		tool_write(tool_path(t, "policy.conf"), text);
		assert_int_equal(pw_policy_load(tool_path(t, "policy.conf"), false, &p, NULL, NULL,
						why, sizeof(why)), 0);
		random_trace(seed * UINT64_C(0x9e3779b97f4a7c15), &p, tool_path(t, "in.trace"));
		unlink(tool_path(t, "journal.db"));
		watch_play(t, text, tool_path(t, "in.trace"));
		snprintf(whose, sizeof(whose), "seed %d", (int)seed);
		assert_same_again(t, whose);
	}
}

/* -- what is written --------------------------------------------------------------------------- */

#define FIRST "{\"version\":\"0.1\",\"clock\":\"first\",\"cut_ms\":null,\"old_cut_ms\":null,\"dropped\":0}"
#define SMALL "[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n"
#define POLICY "{\"text\":\"[bus]\\nid = bus-07\\n[line ignition]\\n[line rear_button]\\n\"}"
#define OTHER "{\"text\":\"[bus]\\nid = bus-07\\n[sweep]\\ndue_s = 50\\n[line ignition]\\n[line rear_button]\\n\"}"
#define LEVELS(key) "{\"levels\":{\"ignition\":" #key ",\"rear_button\":0}}"
#define EDGES(line, from, at) "{\"line\":\"" #line "\",\"from\":" #from ",\"at_ms\":[" at "]}"
#define RETURNS(clock, cut, old)                                                                   \
	"{\"version\":\"0.1\",\"clock\":\"" clock "\",\"cut_ms\":" cut ",\"old_cut_ms\":" old ",\"dropped\":0}"
#define SWEEP(off, closed)                                                                         \
	"{\"key_off_ms\":" off ",\"key_off_wall_ms\":1790000000000,\"verdict\":\"missed\","         \
	"\"findings\":[\"driven_off\"],\"press_ms\":null,\"walk_ms\":null,\"late_ms\":0,"           \
	"\"refused\":[],\"exit_ms\":null,\"return_ms\":null,\"rung\":\"prompt\",\"closed_ms\":"     \
	closed ",\"closed_wall_ms\":1790000020000}"
#define RECORDS_MAX 16

struct written {
	int line;
	const char *what;
	struct {
		enum pw_kind kind;
		int64_t mono_ms;
		const char *body;
	} record[RECORDS_MAX];
	const char *trace, *records, *err; /* err: a part; NULL: nothing is said */
	int status;
};

static const struct written writings[] = {
	{ __LINE__, "one start: edges of two lines in the order of their moments",
	  { { PW_K_BOOT, 1000, FIRST }, { PW_K_POLICY, 1000, POLICY },
	    { PW_K_LEVEL, 1000, LEVELS(1) },
	    { PW_K_EDGES, 5000, EDGES(ignition, 1, "2001,2001,4999") },
	    { PW_K_EDGES, 5000, EDGES(rear_button, 0, "2001,2050") },
	    { PW_K_EDGES, 9100, EDGES(rear_button, 0, "9000") } },
	  "1.000 ignition=1 rear_button=0\n2.001 ignition=0\n2.001 ignition=1\n"
	  "2.001 rear_button=1\n2.050 rear_button=0\n4.999 ignition=0\n9.000 rear_button=1\n"
	  "9.100 end\n", "", NULL, 0 },
	{ __LINE__, "service stands behind the edges before it",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(0) },
	    { PW_K_SERVICE, 700, "{\"on\":true}" },
	    { PW_K_EDGES, 800, EDGES(ignition, 0, "600,750") },
	    { PW_K_SERVICE, 900, "{\"on\":false}" } },
	  "0.000 ignition=0 rear_button=0\n0.600 ignition=1\n0.700 service=on\n0.750 ignition=0\n"
	  "0.900 service=off\n0.900 end\n", "", NULL, 0 },
	{ __LINE__, "a later start is moved so that the cut before it stands where it stood",
	  { { PW_K_BOOT, 1000, FIRST }, { PW_K_POLICY, 1000, POLICY },
	    { PW_K_LEVEL, 1000, LEVELS(1) },
	    { PW_K_BOOT, 7000, RETURNS("vouched", "-3000", "20001") },
	    { PW_K_LEVEL, 7000, LEVELS(0) },
	    { PW_K_EDGES, 8000, EDGES(ignition, 0, "7500") },
	    { PW_K_RESTART, 8000, "{\"key_off_ms\":7000,\"at_ms\":7500}" },
	    { PW_K_BOOT, 500, RETURNS("lost", "500", "8001") }, { PW_K_LEVEL, 500, LEVELS(1) },
	    { PW_K_EXCUSED, 600, "{\"at_ms\":550}" } },
	  "1.000 ignition=1 rear_button=0\n20.001 power=cut\n30.001 power=on ignition=0 "
	  "rear_button=0\n30.501 ignition=1\n31.002 power=cut\n31.002 power=on clock=lost "
	  "ignition=1 rear_button=0\n31.102 end\n",
	  "{\"kind\":\"restart\",\"key_off_s\":30.001,\"at_s\":30.501}\n"
	  "{\"kind\":\"excused\",\"at_s\":31.052}\n", NULL, 0 },
	{ __LINE__, "faults: the rules' own, at the moment that they name",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(0) },
	    { PW_K_FAULT, 900, "{\"name\":\"journal\",\"on\":true,\"words\":\"full\"}" },
	    { PW_K_FAULT, 900, "{\"name\":\"button_held\",\"on\":true,\"at_ms\":880,\"words\":\"\"}" },
	    { PW_K_FAULT, 950, "{\"name\":\"button_held\",\"on\":false,\"at_ms\":949,\"words\":\"\"}" } },
	  "0.000 ignition=0 rear_button=0\n0.950 end\n",
	  "{\"kind\":\"fault\",\"name\":\"button_held\",\"on\":true,\"at_s\":0.880}\n"
	  "{\"kind\":\"fault\",\"name\":\"button_held\",\"on\":false,\"at_s\":0.949}\n", NULL, 0 },
	{ __LINE__, "nothing was kept: the trace starts anew there",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_SWEEP, 90000, SWEEP("60000", "80000") }, { PW_K_BOOT, 5000, FIRST },
	    { PW_K_LEVEL, 5000, LEVELS(0) }, { PW_K_EDGES, 6000, EDGES(ignition, 0, "5500") } },
	  "5.000 ignition=0 rear_button=0\n5.500 ignition=1\n6.000 end\n", "",
	  "from seq 5 on: nothing was kept from before", 0 },
	{ __LINE__, "another policy from a start on: what was carried over is not in it",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, OTHER }, { PW_K_LEVEL, 0, LEVELS(0) },
	    { PW_K_BOOT, 30000, RETURNS("same_boot", "20000", "20000") },
	    { PW_K_POLICY, 30000, POLICY }, { PW_K_LEVEL, 30000, LEVELS(1) },
	    { PW_K_SWEEP, 30000, SWEEP("10000", "30000") },
	    { PW_K_SWEEP, 70000, SWEEP("40000", "60000") } },
	  "30.000 ignition=1 rear_button=0\n70.000 end\n",
	  "{\"kind\":\"sweep\",\"key_off_s\":40.000,\"verdict\":\"missed\",\"findings\":[\"driven_off\"],"
	  "\"press_s\":null,\"walk_s\":null,\"late_s\":0.000,\"refused\":[],\"exit_s\":null,"
	  "\"return_s\":null,\"rung\":\"prompt\",\"closed_s\":60.000}\n",
	  "from seq 4 on: the policy changed there; a sweep carried over", 0 },
	{ __LINE__, "another policy from a key-off on: the next start is the first of its own",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, OTHER }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_EDGES, 900, EDGES(ignition, 1, "500") }, { PW_K_POLICY, 900, POLICY },
	    { PW_K_BOOT, 2000, RETURNS("same_boot", "1000", "1000") },
	    { PW_K_LEVEL, 2000, LEVELS(0) } },
	  "2.000 ignition=0 rear_button=0\n2.000 end\n", "", "from seq 6 on: the policy changed", 0 },
	{ __LINE__, "and until there is one, there is no trace",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, OTHER }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_POLICY, 900, POLICY } },
	  "", "", "the newest policy has no start of its own yet", 1 },
	{ __LINE__, "dropped records are told",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_LOST, 900, "{\"count\":17}" } },
	  "0.000 ignition=1 rear_button=0\n0.900 end\n", "",
	  "17 records were dropped before seq 4: the trace is not whole", 0 },
	{ __LINE__, "an edge to where the line was already is left out, and said",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_EDGES, 900, EDGES(ignition, 0, "800,850") } },
	  "0.000 ignition=1 rear_button=0\n0.850 ignition=0\n0.900 end\n", "",
	  "an edge of ignition is left out: it was 1 already", 0 },
	{ __LINE__, "and one of a line that the policy does not have",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_EDGES, 900, EDGES(lamps, 0, "800") } },
	  "0.000 ignition=1 rear_button=0\n0.900 end\n", "",
	  "an edge of lamps is left out: the policy does not have that line", 0 },
	{ __LINE__, "a last start of which no more is known than that it was",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY }, { PW_K_LEVEL, 0, LEVELS(1) },
	    { PW_K_BOOT, 700, RETURNS("same_boot", "600", "600") } },
	  "0.000 ignition=1 rear_button=0\n0.000 end\n", "",
	  "the start at seq 4 has no levels: it is left out", 0 },
};

static void write_journal(struct tool *t, const struct written *c)
{
	struct pw_journal *j;

	unlink(tool_path(t, "journal.db"));
	j = journal_begin(tool_path(t, "journal.db"));
	for (int i = 0; i < RECORDS_MAX && c->record[i].body; i++)
		journal_add(j, 1, c->record[i].kind, c->record[i].mono_ms, c->record[i].body);
	journal_end(j);
}

static void a_trace_says_what_the_journal_holds(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(writings); i++) {
		const struct written *c = &writings[i];

		write_journal(t, c);
		RUN(t, pw_trace, "trace", t->dir);
		if (t->status != c->status || strcmp(t->out, c->trace) != 0 ||
		    (c->err ? !strstr(t->err, c->err) : t->err[0] != '\0'))
			fail_msg("line %d: %s\nstatus %d\n%s%s", c->line, c->what, t->status, t->out,
				 t->err);
		RUN(t, pw_trace, "trace", "--records", t->dir);
		if (t->status != c->status || strcmp(t->out, c->records) != 0)
			fail_msg("line %d: %s\nstatus %d\n%s%s", c->line, c->what, t->status, t->out,
				 t->err);
	}
}

static void the_policy_is_given_as_it_was_written(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(writings); i++) {
		write_journal(t, &writings[i]);
		if (writings[i].status)
			continue;
		assert_int_equal(RUN(t, pw_trace, "trace", "--policy", t->dir), 0);
		assert_string_equal(t->out, SMALL);
	}
}

/* -- what cannot be told ----------------------------------------------------------------------- */

#define STARTED                                                                                    \
	{ PW_K_BOOT, 100, FIRST }, { PW_K_POLICY, 100, POLICY }, { PW_K_LEVEL, 100, LEVELS(1) }

static const struct written unfit[] = {
	{ __LINE__, "nothing in it", { { 0, 0, NULL } }, NULL, NULL,
	  "expected a start and its policy", 2 },
	{ __LINE__, "no policy", { { PW_K_BOOT, 0, FIRST }, { PW_K_LEVEL, 0, LEVELS(1) } }, NULL, NULL,
	  "expected a start and its policy", 2 },
	{ __LINE__, "a policy that cannot be obeyed",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, "{\"text\":\"[bus]\\nid = x\\n\\n[walk]\\nrows = y\\n\"}" },
	    { PW_K_LEVEL, 0, LEVELS(1) } }, NULL, NULL, "its policy: 5: expected", 2 },
	{ __LINE__, "no JSON", { STARTED, { PW_K_EDGES, 200, "{\"line\":" } }, NULL, NULL,
	  "seq 4: expected a JSON object", 2 },
	{ __LINE__, "no line", { STARTED, { PW_K_EDGES, 200, EDGES(horn, 0, "150") } }, NULL, NULL,
	  "seq 4: expected line, from and at_ms", 2 },
	{ __LINE__, "no moment", { STARTED, { PW_K_EDGES, 200, EDGES(ignition, 1, "\"150\"") } }, NULL,
	  NULL, "seq 4: expected milliseconds", 2 },
	{ __LINE__, "no level", { STARTED, { PW_K_EDGES, 200, EDGES(ignition, 2, "150") } }, NULL, NULL,
	  "seq 4: expected line, from and at_ms", 2 },
	{ __LINE__, "levels that lack a line",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY },
	    { PW_K_LEVEL, 0, "{\"levels\":{\"ignition\":1}}" } }, NULL, NULL,
	  "seq 3: expected a level of 0 or 1 for each line", 2 },
	{ __LINE__, "levels twice", { STARTED, { PW_K_LEVEL, 200, LEVELS(1) } }, NULL, NULL,
	  "seq 4: expected levels once", 2 },
	{ __LINE__, "no levels between two starts",
	  { { PW_K_BOOT, 0, FIRST }, { PW_K_POLICY, 0, POLICY },
	    { PW_K_BOOT, 200, RETURNS("lost", "200", "100") }, { PW_K_LEVEL, 200, LEVELS(1) } }, NULL,
	  NULL, "seq 3: expected levels for the start before", 2 },
	{ __LINE__, "no cut", { STARTED, { PW_K_BOOT, 200, RETURNS("vouched", "null", "null") },
	  { PW_K_LEVEL, 200, LEVELS(1) } }, NULL, NULL, "seq 4: expected cut_ms and old_cut_ms", 2 },
	{ __LINE__, "a cut after the power came back",
	  { STARTED, { PW_K_BOOT, 200, RETURNS("vouched", "201", "150") },
	    { PW_K_LEVEL, 200, LEVELS(1) } }, NULL, NULL, "seq 4: expected cut_ms", 2 },
	{ __LINE__, "a cut before an edge",
	  { STARTED, { PW_K_EDGES, 5000, EDGES(ignition, 1, "4000") },
	    { PW_K_BOOT, 200, RETURNS("lost", "200", "3999") }, { PW_K_LEVEL, 200, LEVELS(1) } },
	  NULL, NULL, "seq 6: expected times that do not go back", 2 },
	{ __LINE__, "no service", { STARTED, { PW_K_SERVICE, 200, "{\"on\":1}" } }, NULL, NULL,
	  "seq 4: expected on, true or false", 2 },
};

static const struct written unfit_records[] = {
	{ __LINE__, "a sweep that lacks a field", { STARTED, { PW_K_SWEEP, 200, "{}" } }, NULL, NULL,
	  "seq 4: expected the fields of a sweep", 2 },
	{ __LINE__, "a restart", { STARTED, { PW_K_RESTART, 200, "{\"at_ms\":1}" } }, NULL, NULL,
	  "seq 4: expected key_off_ms and at_ms", 2 },
	{ __LINE__, "an excused stop", { STARTED, { PW_K_EXCUSED, 200, "{\"at_ms\":1.5}" } }, NULL, NULL,
	  "seq 4: expected at_ms", 2 },
	{ __LINE__, "a fault", { STARTED, { PW_K_FAULT, 200, "{\"name\":\"button_held\",\"on\":true}" } },
	  NULL, NULL, "seq 4: expected on, true or false, and at_ms", 2 },
};

/* One sentence, exit 2, and nothing half told. */
static void what_cannot_be_told_is_refused_whole(void **state)
{
	struct tool *t = *state;

	for (size_t i = 0; i < COUNT(unfit); i++) {
		print_message("  %s\n", unfit[i].what);
		write_journal(t, &unfit[i]);
		RUN(t, pw_trace, "trace", t->dir);
		assert_refused(t, unfit[i].err);
	}
	for (size_t i = 0; i < COUNT(unfit_records); i++) {
		print_message("  %s\n", unfit_records[i].what);
		write_journal(t, &unfit_records[i]);
		RUN(t, pw_trace, "trace", "--records", t->dir);
		assert_refused(t, unfit_records[i].err);
	}
}

static void what_is_no_journal_is_refused(void **state)
{
	struct tool *t = *state;

	RUN(t, pw_trace, "trace", tool_path(t, "journal.db"));
	assert_refused(t, "journal.db: ");
	RUN(t, pw_trace, "trace", t->dir);
	assert_refused(t, "journal.db: ");
	tool_write(tool_path(t, "text"), "not a database, but quite a bit of text all the same");
	RUN(t, pw_trace, "trace", tool_path(t, "text"));
	assert_refused(t, "text: ");
	assert_int_equal(RUN(t, pw_trace, "trace"), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk trace");
	assert_int_equal(RUN(t, pw_trace, "trace", "--policy", "--records", t->dir), PW_EXIT_BAD);
	assert_has(t->err, "usage: postwalk trace");
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, tool_begin, tool_end)
		TEST(a_journal_is_judged_again),
		TEST(every_scenario_is_judged_again),
		TEST(any_journal_is_judged_again),
		TEST(a_trace_says_what_the_journal_holds),
		TEST(the_policy_is_given_as_it_was_written),
		TEST(what_cannot_be_told_is_refused_whole),
		TEST(what_is_no_journal_is_refused),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
