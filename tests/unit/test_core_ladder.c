/* SPDX-License-Identifier: Apache-2.0 */
/* R17 the ladder, R18 spent, R19 traffic, R23 service, and the dome. t0 is 100 s, due 160 s. */
#include "core_help.h"

#define STOP "0 ignition=1; 100 ignition=0; "
#define BIT(line) (1u << (line))

static const struct row rows[] = {
	{ "R17 prompt in owed, from the moment it is handled", "", STOP "159 end",
	  "rung name:prompt at_s:100.200" },
	{ "R17 the default ladder: cabin, outside after 30 s, office after 60 s", "", STOP "1000 end",
	  "rung name:prompt; rung name:cabin at_s:160.000; rung name:outside at_s:190.000;"
	  "rung name:office at_s:220.000" },
	{ "R17 a rung sounds until the phase ends: by the press", "", STOP "195 press; 196 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; rung name:none at_s:195.030" },
	{ "R17 prompt until the press", "", STOP "120 press; 121 end",
	  "rung name:prompt; rung name:none at_s:120.030" },
	{ "R17 driven off: carried sounds while driving, after the record", "",
	  STOP "195 ignition=1; 1000 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; sweep verdict:missed rung:outside;"
	  "rung name:carried at_s:195.200" },
	{ "R17 carried until the next stop", "", STOP "150 ignition=1; 200 ignition=0; 201 end",
	  "rung name:prompt; sweep; rung name:carried; rung name:prompt at_s:200.200" },
	{ "R17 a stall ends the prompt", "", STOP "105 ignition=1; 106 end",
	  "rung name:prompt; restart; rung name:none at_s:105.200" },
	{ "R17 none in parked and in driving", "owed_when=lamps", STOP "200 end", "no rung; excused" },
	{ "R17 an own ladder replaces the default whole", "bell@0 roar@0.001 call@179", STOP "400 end",
	  "rung name:prompt; rung name:bell at_s:160.000; rung name:roar at_s:160.001;"
	  "rung name:call at_s:339.000" },
	{ "R17 eight rungs", "a@0 b@1 c@2 d@3 e@4 f@5 g@6 h@7", STOP "200 end",
	  "rung name:prompt; rung name:a; rung name:b; rung name:c; rung name:d; rung name:e; rung name:f;"
	  "rung name:g; rung name:h at_s:167.000" },
	{ "R17 rung of the record: the highest reached, prompt if none", "",
	  STOP "120 press; 130 service_door=1; 131 end", "sweep rung:prompt" },
	{ "R17 rung of the record: the highest reached", "",
	  STOP "221 press; 230 service_door=1; 231 end", "sweep rung:office" },
	{ "R17 notify: a word to the office when its rung is reached", "", STOP "219.999 end", "no notify" },
	{ "R17 notify: once a sweep", "", STOP "1500 end", "notify name:office at:220000" },
	{ "R17 notify: the next sweep again", "",
	  STOP "230 press; 240 service_door=1; 300 ignition=1; 301 ignition=0; 500 end",
	  "notify at:220000; sweep verdict:late; notify at:421000" },
	{ "R17 the ladder does not run while power is off: outside 30 s of sound after cabin", "",
	  STOP "170 power=cut; 1000 power=on; 1020 end",
	  "rung name:prompt; rung name:cabin at_s:160.000; rung name:cabin at_s:1000.000;"
	  "rung name:outside at_s:1020.000" },
	{ "R17 and 1 ms before", "", STOP "170 power=cut; 1000 power=on; 1019.999 end",
	  "rung name:prompt; rung name:cabin; rung name:cabin at_s:1000.000" },

	{ "R18 alarm_max less 1 ms after the start of the ladder", "", STOP "1959.999 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; rung name:office" },
	{ "R18 alarm_max: spent, and still overdue", "", STOP "1960 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; rung name:office;"
	  "rung name:spent at_s:1960.000; standing phase:overdue" },
	{ "R18 a press is still judged: refused", "",
	  STOP "1950 rear_door=1; 2000 press; 2001 end", "refused why:rear_open; standing phase:overdue" },
	{ "R18 a press is still judged: accepted", "",
	  STOP "2000 press; 2010 service_door=1; 2011 end",
	  "sweep verdict:late late_s:1840.000 findings:[alarm_spent] rung:spent" },
	{ "R18 spent is the end of the ladder", "alarm_max_s=180", STOP "9000 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; rung name:office;"
	  "rung name:spent at_s:340.000" },

	{ "R23 service while owed: finding muted", "",
	  STOP "110 service=on; 111 service=off; 130 press; 140 service_door=1; 141 end",
	  "sweep verdict:doubtful findings:[muted]" },
	{ "R23 service while overdue", "",
	  STOP "170 service=on; 171 service=off; 180 press; 190 service_door=1; 191 end",
	  "sweep verdict:doubtful findings:[muted]" },
	{ "R23 on when the sweep opens", "",
	  "0 ignition=1; 50 service=on; 100 ignition=0; 130 press; 140 service_door=1; 141 end",
	  "sweep findings:[muted]" },
	{ "R23 over before the stop: none", "service_max_s=40",
	  "0 ignition=1; 50 service=on; 100 ignition=0; 130 press; 140 service_door=1; 141 end",
	  "sweep verdict:done findings:[]" },
	{ "R23 begun anew while on: service_max from then", "service_max_s=40",
	  "0 ignition=1; 50 service=on; 70 service=on; 100 ignition=0; 130 press; 140 service_door=1; 141 end",
	  "sweep findings:[muted]" },
	{ "R23 switched off before the stop: none", "",
	  "0 ignition=1; 50 service=on; 60 service=off; 100 ignition=0; 130 press; 140 service_door=1;"
	  "141 end", "sweep verdict:done findings:[]" },
	{ "R23 in the walk-back it is neither owed nor overdue: none", "",
	  STOP "130 press; 132 service=on; 140 service_door=1; 141 end", "sweep verdict:done findings:[]" },
	{ "R23 off at power-on", "",
	  "0 ignition=1; 50 service=on; 60 power=cut; 61 power=on; 100 ignition=0; 130 press;"
	  "140 service_door=1; 141 end", "sweep verdict:done findings:[]" },
	{ "R23 the rung stands all the same", "", STOP "110 service=on; 200 end",
	  "rung name:prompt; rung name:cabin; rung name:outside at_s:190.000" },
};

/* -- outputs (R17, R19, R23) ------------------------------------------------------------------------- */

#define ALL (BIT(PW_BEEPER) | BIT(PW_HORN) | BIT(PW_LAMP))

static uint32_t outputs_after(const char *policy, const char *trace, enum pw_signal signal)
{
	static struct play t;

	play_policy(&t, policy);
	for (unsigned i = PW_BEEPER; i < PW_EXTRA; i++)
		t.p.line[i].configured = true;
	play_trace(&t, trace);
	return pw_outputs(&t.s, &t.p, signal);
}

static void r17_what_each_signal_drives_by_default(void **state)
{
	static const struct {
		enum pw_signal signal;
		uint32_t outputs;
	} drives[] = {
		{ PW_SIGNAL_NONE, 0 },
		{ PW_PROMPT, BIT(PW_BEEPER) | BIT(PW_LAMP) },
		{ PW_CARRIED, BIT(PW_LAMP) },
		{ PW_SPENT, BIT(PW_LAMP) },
		{ PW_REFUSED, BIT(PW_BEEPER) },
		{ PW_ACCEPTED, BIT(PW_BEEPER) },
		{ PW_LADDER, BIT(PW_BEEPER) | BIT(PW_LAMP) },
		{ PW_LADDER + 1, ALL },
		{ PW_LADDER + 2, ALL },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(drives); i++)
		assert_int_equal(outputs_after("", STOP "200 end", drives[i].signal), drives[i].outputs);
}

static void r19_the_horn_is_silent_while_the_key_is_on(void **state)
{
	(void)state;
	assert_int_equal(outputs_after("", "0; 1 end", PW_LADDER + 1), ALL);
	assert_int_equal(outputs_after("", "0 ignition=1; 1 end", PW_LADDER + 1),
			 BIT(PW_BEEPER) | BIT(PW_LAMP));
	/* a brake that is not configured reads 0 for ever */
	assert_int_equal(outputs_after("+park_brake", "0 ignition=1; 1 end", PW_LADDER + 1),
			 BIT(PW_BEEPER) | BIT(PW_LAMP));
	assert_int_equal(outputs_after("+park_brake", "0 ignition=1 park_brake=1; 1 end", PW_LADDER + 1),
			 ALL);
	/* settled levels count, not raw ones */
	assert_int_equal(outputs_after("", "0; 1 ignition=1; 1.199 end", PW_LADDER + 1), ALL);
	assert_int_equal(outputs_after("", "0; 1 ignition=1; 1.200 end", PW_LADDER + 1),
			 BIT(PW_BEEPER) | BIT(PW_LAMP));
}

static void r19_any_output_that_is_marked_outside_is_silent_then(void **state)
{
	static struct play t;
	struct pw_policy_error e;

	(void)state;
	play_policy(&t, "");
	assert_int_equal(pw_policy_section(&t.p, "line strobe", &e), 0);
	assert_int_equal(pw_policy_set(&t.p, "line strobe", "direction", "out", &e), 0);
	t.p.signal[PW_LADDER].outputs |= BIT(PW_EXTRA);
	play_trace(&t, "0 ignition=1; 1 end");
	assert_true(pw_outputs(&t.s, &t.p, PW_LADDER) & BIT(PW_EXTRA));
	assert_int_equal(pw_policy_set(&t.p, "line strobe", "outside", "yes", &e), 0);
	assert_false(pw_outputs(&t.s, &t.p, PW_LADDER) & BIT(PW_EXTRA));
}

static void r19_the_rung_stands_all_the_same(void **state)
{
	static struct play t;

	(void)state;
	play_policy(&t, "+park_brake idle_s=20");
	play_trace(&t, "0 ignition=1 park_brake=1 service_door=1; 111 end");
	play_expect(&t, "rung name:prompt at_s:20.000; rung name:cabin at_s:80.000;"
			"rung name:outside at_s:110.000");
	assert_int_equal(t.s.sounding, PW_LADDER + 1);
	assert_int_equal(pw_outputs(&t.s, &t.p, t.s.sounding), ALL); /* the brake is set */
}

static void r23_service_leaves_the_lamp_alone(void **state)
{
	(void)state;
	assert_int_equal(outputs_after("", STOP "170 service=on; 200 end", PW_LADDER + 1), BIT(PW_LAMP));
	assert_int_equal(outputs_after("", STOP "170 service=on; 200 end", PW_REFUSED), 0);
	assert_int_equal(outputs_after("service_max_s=30", STOP "170 service=on; 199.999 end",
				       PW_LADDER + 1), BIT(PW_LAMP));
	assert_int_equal(outputs_after("service_max_s=30", STOP "170 service=on; 200 end", PW_LADDER + 1),
			 ALL);
	assert_int_equal(outputs_after("service_max_s=30",
				       STOP "170 service=on; 190 service=on; 219.999 end", PW_LADDER + 1),
			 BIT(PW_LAMP));
	assert_int_equal(outputs_after("", STOP "170 service=on; 180 service=off; 200 end",
				       PW_LADDER + 1), ALL);
	assert_int_equal(outputs_after("", STOP "170 service=on; 171 power=cut; 172 power=on; 200 end",
				       PW_LADDER + 1), ALL);
}

/* Nobody finds a child in the dark (A3: Illinois asks for inside lights before the sweep). */
static void the_dome_is_lit_while_a_sweep_is_open(void **state)
{
	static const struct {
		const char *trace;
		bool lit;
	} then[] = {
		{ "0; 1 end", false },
		{ "0 ignition=1; 1 end", false },
		{ STOP "101 end", true },
		{ STOP "170 end", true },
		{ STOP "130 press; 131 end", true },
		{ STOP "130 press; 140 service_door=1; 141 end", false },
		{ STOP "150 ignition=1; 151 end", false },
		{ STOP "105 ignition=1; 106 end", false },
		{ STOP "150 power=cut; 151 end", false },
		{ STOP "150 power=cut; 151 power=on; 152 end", true },
	};
	static struct play t;

	(void)state;
	for (size_t i = 0; i < COUNT(then); i++) {
		play_policy(&t, "");
		play_trace(&t, then[i].trace);
		assert_int_equal(pw_dome(&t.s), then[i].lit);
	}
}

int main(void)
{
	static const struct CMUnitTest more[] = {
		cmocka_unit_test(r17_what_each_signal_drives_by_default),
		cmocka_unit_test(r19_the_horn_is_silent_while_the_key_is_on),
		cmocka_unit_test(r19_any_output_that_is_marked_outside_is_silent_then),
		cmocka_unit_test(r19_the_rung_stands_all_the_same),
		cmocka_unit_test(r23_service_leaves_the_lamp_alone),
		cmocka_unit_test(the_dome_is_lit_while_a_sweep_is_open),
	};

	return play_rows("the ladder", rows, COUNT(rows), more, COUNT(more));
}
