/* SPDX-License-Identifier: Apache-2.0 */
/* R11 the press, R12 the rear way in. t0 is 100 s: a press counts from 114.505 s, due is 160 s. */
#include "core_help.h"

#define STOP "0 ignition=1; 100 ignition=0; "

static const struct row rows[] = {
	{ "R11 a press 1 ms before walk_min is too soon", "", STOP "114.504 press; 116 end",
	  "refused edge:114504 why:too_soon; standing phase:owed" },
	{ "R11 a press at walk_min is accepted", "", STOP "114.505 press; 116 end",
	  "accepted edge:114505; standing phase:walk_back" },
	{ "R11 a press 1 ms after walk_min is accepted", "", STOP "114.506 press; 116 end",
	  "accepted edge:114506; standing phase:walk_back" },
	{ "R11 the edges are compared, not the moments at which they were seen", "ignition:1000",
	  STOP "114.505 press; 116 end", "accepted edge:114505" },
	{ "R11 walk_s is the press less t0", "", STOP "121.4 press; 134 service_door=1; 135 end",
	  "sweep key_off_s:100.000 press_s:121.400 walk_s:21.400 late_s:0.000 exit_s:134.000"
	  " return_s:12.600 refused:[] closed_s:134.100" },
	{ "R11 at due: not late", "", STOP "160 press; 170 service_door=1; 171 end",
	  "sweep verdict:done late_s:0.000" },
	{ "R11 1 ms after due: late", "", STOP "160.001 press; 170 service_door=1; 171 end",
	  "sweep verdict:late late_s:0.001" },
	{ "R11 an hour after due: late by that", "",
	  STOP "3760 press; 3770 service_door=1; 3771 end",
	  "sweep verdict:late late_s:3600.000 findings:[alarm_spent] rung:spent" },
	{ "R11 refused with the rear door open", "", STOP "110 rear_door=1; 130 press; 131 end",
	  "refused edge:130000 why:rear_open" },
	{ "R11 refused with an exit open", "", STOP "110 exits=1; 130 press; 131 end",
	  "refused edge:130000 why:rear_open" },
	{ "R11 rear_open is said before too_soon", "", STOP "105 rear_door=1; 110 press; 111 end",
	  "refused why:rear_open" },
	{ "R11 the service door open refuses nothing", "", STOP "110 service_door=1; 130 press; 131 end",
	  "accepted edge:130000" },
	{ "R11 a refusal is kept with its edge and why", "",
	  STOP "105 press; 110 rear_door=1; 112 press; 113 rear_door=0; 130 press; 140 service_door=1;"
	  "141 end",
	  "sweep refused:[at_s:105.000,why:too_soon,at_s:112.000,why:rear_open] verdict:doubtful"
	  " findings:[rear_opened] press_s:130.000" },
	{ "R11 a refusal changes nothing else: due stands", "", STOP "105 press; 159.999 end",
	  "standing phase:owed" },
	{ "R11 and the verdict is what it would have been", "",
	  STOP "105 press; 120 press; 130 service_door=1; 131 end",
	  "sweep verdict:done findings:[] refused:[at_s:105.000,why:too_soon]" },
	{ "R11 in overdue as in owed: too soon there", "due_s=19.505 carried_due_s=19.505 look_s=0.5",
	  STOP "101 rear_door=1; 118 rear_door=0; 125 press; 133 press; 150 service_door=1; 151 end",
	  "refused edge:125000 why:too_soon; accepted edge:133000; sweep verdict:doubtful late_s:13.495" },
	{ "R11 the finger still down from before the stop is no press", "",
	  "0 ignition=1; 99 rear_button=1; 100 ignition=0; 105 rear_button=0; 130 press;"
	  "140 service_door=1; 141 end", "no refused; accepted edge:130000; sweep refused:[]" },
	{ "R11 in parked it opens nothing", "", "0; 5 press; 400 end",
	  "press edge:5000; standing phase:parked" },
	{ "R11 in driving it opens nothing", "", "0 ignition=1; 5 press; 400 end",
	  "press edge:5000; standing phase:driving" },
	{ "R11 in walk_back it changes nothing: the first press stands", "",
	  STOP "130 press; 135 press; 140 service_door=1; 141 end",
	  "press edge:135000; sweep press_s:130.000 return_s:10.000" },

	{ "R12 rear_door opens in owed", "", STOP "110 rear_door=1; 111 rear_door=0; 130 press;"
	  "140 service_door=1; 141 end", "sweep findings:[rear_opened] verdict:doubtful" },
	{ "R12 exits open in owed", "", STOP "110 exits=1; 111 exits=0; 130 press;"
	  "140 service_door=1; 141 end", "sweep findings:[rear_opened] verdict:doubtful" },
	{ "R12 rear_door opens in overdue", "", STOP "170 rear_door=1; 171 rear_door=0; 190 press;"
	  "200 service_door=1; 201 end", "sweep findings:[rear_opened] verdict:doubtful" },
	{ "R12 the walk begins anew when the rear was shut: 1 ms short", "",
	  STOP "120 rear_door=1; 130 rear_door=0; 144.504 press; 146 end",
	  "refused edge:144504 why:too_soon" },
	{ "R12 the walk begins anew when the rear was shut: counted from its edge", "",
	  STOP "120 rear_door=1; 130 rear_door=0; 144.505 press; 146 end", "accepted edge:144505" },
	{ "R12 by the event that leaves both shut", "",
	  STOP "120 rear_door=1 exits=1; 125 rear_door=0; 130 exits=0; 144.504 press; 145 press; 146 end",
	  "refused edge:144504; accepted edge:145000" },
	{ "R12 whichever comes last", "",
	  STOP "120 rear_door=1 exits=1; 125 exits=0; 130 rear_door=0; 144.504 press; 145 press; 146 end",
	  "refused edge:144504; accepted edge:145000" },
	{ "R12 the later of basis and edge: a rear shut before t0 and seen after it changes nothing",
	  "ignition:50",
	  "0 ignition=1 rear_door=1; 99.99 rear_door=0; 100 ignition=0; 114.505 press; 116 end",
	  "accepted edge:114505" },
	{ "R12 in overdue as well", "", STOP "170 exits=1; 180 exits=0; 194.504 press; 195 press; 196 end",
	  "refused edge:194504; accepted edge:195000" },
	{ "R12 opened before the stop: the walk counts from its shutting", "",
	  "0 ignition=1 rear_door=1; 100 ignition=0; 110 rear_door=0; 124.504 press; 125 press; 126 end",
	  "refused edge:124504; accepted edge:125000" },
};

/* R11: the first 128 refusals are kept, the rest are counted. */
static void r11_more_refusals_than_are_kept_are_counted(void **state)
{
	static struct play t;
	char line[64];
	struct play_line lines[4];

	(void)state;
	play_policy(&t, "");
	play_trace(&t, STOP);
	for (int i = 0; i < PW_REFUSALS_MAX + 3; i++) {
		snprintf(line, sizeof(line), "%d.%03d press", 101 + i / 10, i % 10 * 100);
		assert_int_equal(play_lines(&t, line, lines, COUNT(lines)), 2);
		lines[1].at_ms = lines[0].at_ms + 50;
		play_step(&t, &lines[0]);
		play_step(&t, &lines[1]);
	}
	assert_int_equal(t.s.sweep.refused, PW_REFUSALS_MAX + 3);
	assert_int_equal(t.s.sweep.refusal[0].at_ms, 101000);
	assert_int_equal(t.s.sweep.refusal[127].at_ms, 113700);
	play_trace(&t, "130 press; 140 service_door=1; 141 end");
	assert_non_null(strstr(t.said, ",why:too_soon],refused_more:3,exit_s:140.000"));
}

int main(void)
{
	static const struct CMUnitTest more[] = {
		cmocka_unit_test(r11_more_refusals_than_are_kept_are_counted),
	};

	return play_rows("the press", rows, COUNT(rows), more, COUNT(more));
}
