/* SPDX-License-Identifier: Apache-2.0 */
/* R14 overdue, R15 key-on while owed, R16 the walk-back, R22 the verdict. t0 is 100 s. */
#include "core_help.h"

#define STOP "0 ignition=1; 100 ignition=0; "
#define PRESS STOP "130 press; "

static const struct row rows[] = {
	{ "R14 owed until due", "", STOP "159.999 end", "standing phase:owed" },
	{ "R14 overdue at due", "", STOP "160 end", "standing phase:overdue" },
	{ "R14 a service door does not end it", "", STOP "170 service_door=1; 171 service_door=0; 300 end",
	  "standing phase:overdue" },
	{ "R14 nor a rear door", "", STOP "170 rear_door=1; 171 rear_door=0; 300 end",
	  "standing phase:overdue" },
	{ "R14 nor a refusal", "", STOP "155 exits=1; 170 press; 300 end",
	  "refused why:rear_open; standing phase:overdue" },
	{ "R14 a proof does", "", STOP "170 press; 171 end", "standing phase:walk_back" },
	{ "R14 a key-on does: driven off", "", STOP "170 ignition=1; 171 end",
	  "sweep verdict:missed findings:[driven_off]; standing phase:driving carried:true" },

	{ "R15 a stall: 1 ms below restart", "", STOP "109.999 ignition=1; 111 end",
	  "restart key_off_s:100.000 at_s:109.999; standing phase:driving carried:false" },
	{ "R15 at restart it is no stall", "", STOP "110 ignition=1; 111 end",
	  "sweep verdict:missed findings:[driven_off] key_off_s:100.000 closed_s:110.200;"
	  "standing phase:driving carried:true" },
	{ "R15 after a stall the next stop is a first one: due 60 s", "",
	  STOP "105 ignition=1; 200 ignition=0; 259.999 end",
	  "restart; standing phase:owed carried:false" },
	{ "R15 a stall keeps the key-on edge from before t0", "owed_when=run run_min_s=60",
	  STOP "105 ignition=1; 106 ignition=0; 107 end", "restart at_s:105.000; standing phase:owed" },
	{ "R15 a stall keeps the evidence", "owed_when=lamps",
	  "0 ignition=1; 5 lamps=1; 6 lamps=0; 100 ignition=0; 105 ignition=1; 106 ignition=0; 107 end",
	  "restart; standing phase:owed" },
	{ "R15 a stall keeps carried", "",
	  STOP "150 ignition=1; 200 ignition=0; 205 ignition=1; 206 end",
	  "sweep verdict:missed; restart key_off_s:200.000; standing phase:driving carried:true" },
	{ "R15 a stall keeps the gap mark: the next stop is owed for it", "owed_when=lamps",
	  "0 ignition=1; 10 power=cut; 30 power=on; 100 ignition=0; 105 ignition=1; 106 ignition=0; 107 end",
	  "restart; standing phase:owed" },
	{ "R15 the sweep is as if it had not been: its findings are gone", "",
	  "0 ignition=1 rear_door=1; 100 ignition=0; 105 ignition=1; 106 rear_door=0; 200 ignition=0;"
	  "230 press; 240 service_door=1; 241 end", "restart; sweep key_off_s:200.000 findings:[]" },
	{ "R15 no stall once the service door opened", "",
	  STOP "103 service_door=1; 105 ignition=1; 106 end", "sweep verdict:missed findings:[driven_off]" },
	{ "R15 no stall once it closed", "",
	  "0 ignition=1 service_door=1; 100 ignition=0; 103 service_door=0; 105 ignition=1; 106 end",
	  "sweep findings:[door_before_press,driven_off] verdict:missed" },
	{ "R15 a door that stands open is no event", "",
	  "0 ignition=1 service_door=1; 100 ignition=0; 105 ignition=1; 106 end", "restart" },
	{ "R15 a door event handled before the key-on counts, though its edge is later", "",
	  STOP "105 ignition=1; 105.099 service_door=1; 106 end", "sweep verdict:missed" },
	{ "R15 one of the same instant is handled after it (R2)", "",
	  STOP "105 ignition=1; 105.100 service_door=1; 106 end", "restart at_s:105.000" },
	{ "R15 no stall after a refusal", "", STOP "102 press; 105 ignition=1; 106 end",
	  "sweep verdict:missed refused:[at_s:102.000,why:too_soon] findings:[driven_off]" },
	{ "R15 a rear door is no such thing: still a stall", "",
	  STOP "102 rear_door=1; 105 ignition=1; 106 end", "restart" },
	{ "R15 driven off: key-on edge is the edge", "owed_when=run",
	  STOP "150 ignition=1; 155 ignition=0; 175 press; 190 service_door=1; 200 ignition=1;"
	  "229.999 ignition=0; 231 end",
	  "sweep verdict:missed; sweep verdict:done findings:[carried]; excused at_s:229.999" },
	{ "R15 driven off: no press, so no walk and no exit", "", STOP "150 ignition=1; 151 end",
	  "sweep verdict:missed press_s:null walk_s:null late_s:0.000 exit_s:null return_s:null"
	  " rung:prompt" },
	{ "R15 driven off again: carried again", "",
	  STOP "150 ignition=1; 200 ignition=0; 240 ignition=1; 241 end",
	  "sweep findings:[driven_off]; sweep findings:[carried,driven_off] verdict:missed;"
	  "standing carried:true" },

	{ "R16 left by the service door opening", "", PRESS "140 service_door=1; 141 end",
	  "sweep verdict:done exit_s:140.000 return_s:10.000 closed_s:140.100; standing phase:parked" },
	{ "R16 left by the service door closing", "",
	  STOP "120 service_door=1; 130 press; 140 service_door=0; 141 end",
	  "sweep verdict:done exit_s:140.000 findings:[]; standing phase:parked" },
	{ "R16 return 1 ms short", "", PRESS "138.504 service_door=1; 139 end",
	  "sweep verdict:doubtful findings:[return_short] return_s:8.504" },
	{ "R16 return at return_min", "", PRESS "138.505 service_door=1; 139 end",
	  "sweep verdict:done findings:[] return_s:8.505" },
	{ "R16 a door event with the press's own edge is no exit", "",
	  STOP "130 press service_door=1; 200 service_door=0; 201 end",
	  "sweep verdict:done exit_s:200.000" },
	{ "R16 one with an earlier edge, seen later, is none", "",
	  STOP "129.95 service_door=1; 130 press; 200 service_door=0; 201 end",
	  "sweep verdict:done exit_s:200.000 findings:[]" },
	{ "R16 1 ms after the press is one", "",
	  STOP "130 rear_button=1; 130.001 service_door=1; 131 rear_button=0; 132 end",
	  "sweep verdict:doubtful findings:[return_short] exit_s:130.001 return_s:0.001" },
	{ "R16 key-on ends it", "", PRESS "140 ignition=1; 141 end",
	  "sweep verdict:done exit_s:140.000 findings:[]; standing phase:driving carried:false" },
	{ "R16 key-on too soon", "", PRESS "138.504 ignition=1; 139 end",
	  "sweep verdict:doubtful findings:[return_short] exit_s:138.504" },
	{ "R16 key-on before the press, seen after it: exit is the press edge", "",
	  STOP "129.9 ignition=1; 130 press; 131 end",
	  "sweep verdict:doubtful findings:[return_short] exit_s:130.000 return_s:0.000" },
	{ "R16 then as R6: the key-on edge is its own", "owed_when=run",
	  PRESS "140 ignition=1; 169.999 ignition=0; 171 end", "sweep verdict:done; excused at_s:169.999" },
	{ "R16 as R6: run_min from there", "owed_when=run",
	  PRESS "140 ignition=1; 170 ignition=0; 171 end", "sweep verdict:done; standing phase:owed" },
	{ "R16 return_max less 1 ms", "", PRESS "729.999 end", "standing phase:walk_back" },
	{ "R16 return_max: nobody was seen to leave", "", PRESS "730 end",
	  "sweep verdict:done findings:[exit_unseen] exit_s:null return_s:null closed_s:730.000;"
	  "standing phase:parked" },
	{ "R16 return_max with the door open", "", STOP "120 service_door=1; 130 press; 730 end",
	  "sweep verdict:doubtful findings:[door_left_open] exit_s:null; standing phase:parked" },
	{ "R16 rear_door rising in it: left by the rear, and it goes on", "",
	  PRESS "135 rear_door=1; 140 service_door=1; 141 end",
	  "sweep verdict:doubtful findings:[left_by_rear] exit_s:140.000" },
	{ "R16 exits rising in it", "", PRESS "135 exits=1; 730 end",
	  "sweep verdict:doubtful findings:[exit_unseen,left_by_rear]" },
	{ "R16 falling in it is nothing: it was refused while open", "",
	  PRESS "135 rear_door=1; 136 rear_door=0; 140 service_door=1; 141 end",
	  "sweep findings:[left_by_rear]" },
	{ "R16 the sweep closes and carried is 0", "",
	  STOP "150 ignition=1; 200 ignition=0; 230 press; 240 service_door=1; 300 ignition=1;"
	  "301 ignition=0; 360.999 end",
	  "sweep verdict:missed; sweep verdict:done findings:[carried]; standing phase:owed carried:false" },

	{ "R22 no press: missed, whatever the findings", "doubt_on=driven_off",
	  STOP "150 ignition=1; 151 end", "sweep verdict:missed" },
	{ "R22 done", "", PRESS "140 service_door=1; 141 end", "sweep verdict:done" },
	{ "R22 late", "", STOP "161 press; 170 service_door=1; 171 end", "sweep verdict:late late_s:1.000" },
	{ "R22 doubtful before late", "", STOP "161 press; 162 service_door=1; 163 end",
	  "sweep verdict:doubtful late_s:1.000 findings:[return_short]" },
	{ "R22 a finding that is not listed only notes", "doubt_on=muted",
	  PRESS "131 service_door=1; 132 end", "sweep verdict:done findings:[return_short]" },
	{ "R22 any finding can be listed", "doubt_on=exit_unseen,alarm_spent", PRESS "730 end",
	  "sweep verdict:doubtful findings:[exit_unseen]" },
	{ "R22 a late one with a noted finding is late", "",
	  STOP "110 service_door=1; 111 service_door=0; 142 press; 155 service_door=1; 156 end",
	  "sweep verdict:late late_s:1.000 findings:[door_before_press]" },
};

/* R22: what doubts by default, and what only notes. */
static void r22_the_findings_that_doubt_by_default(void **state)
{
	static const char doubts[] = "rear_opened return_short left_by_rear button_held "
				     "button_contacts power_lost clock_unsure muted door_left_open ";
	static const char notes[] = "carried driven_off door_before_press exit_unseen powered_down "
				    "alarm_spent left_running ";
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, true);
	for (unsigned i = 0; i < PW_FINDINGS; i++) {
		char name[40];

		snprintf(name, sizeof(name), "%s ", pw_finding_name((enum pw_finding)i));
		assert_non_null(strstr(p.doubt_on >> i & 1 ? doubts : notes, name));
		if (i > 0) /* records list them sorted */
			assert_true(strcmp(pw_finding_name((enum pw_finding)(i - 1)),
					   pw_finding_name((enum pw_finding)i)) < 0);
	}
	assert_int_equal(PW_FINDINGS, 16);
}

/* R20: a daemon knows by this timer that a walk back was possible before power went. */
static void r20_the_time_to_walk_back_is_a_moment_worth_keeping(void **state)
{
	static struct play t;

	(void)state;
	play_policy(&t, "");
	play_trace(&t, PRESS "131 end");
	assert_int_equal(pw_next_ms(&t.s, &t.p), 138505);
	assert_int_equal(pw_run(&t.s, &t.p, 138504, &t.sink), 0);
	assert_int_equal(pw_run(&t.s, &t.p, 138505, &t.sink), 1);
	assert_int_equal(pw_next_ms(&t.s, &t.p), 730000);
	play_trace(&t, "140 service_door=1; 141 end");
	assert_true(pw_next_ms(&t.s, &t.p) == PW_NEVER);
}

int main(void)
{
	static const struct CMUnitTest more[] = {
		cmocka_unit_test(r20_the_time_to_walk_back_is_a_moment_worth_keeping),
		cmocka_unit_test(r22_the_findings_that_doubt_by_default),
	};

	return play_rows("overdue, key-on, walk-back, verdict", rows, COUNT(rows), more, COUNT(more));
}
