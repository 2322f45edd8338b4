/* SPDX-License-Identifier: Apache-2.0 */
/*
 * R3 the button as one contact or as a pair, R4 held, R5 disagreement.
 *
 * A pair of which one opens as the other closes: disagreement beyond a discrepancy time of 0.1 to
 * 0.5 s is a fault and acknowledges nothing (E10: ISO 13849-1, annex E; from memory).
 */
#include "core_help.h"

#define STOP "0 ignition=1; 100 ignition=0; "
#define PAIR "+rear_button_nc"

static const struct row rows[] = {
	{ "R3 one contact: pressed is 1", "", "0; 5 rear_button=1; 6 end", "press edge:5000 at:5030" },
	{ "R3 released is no press", "", "0 rear_button=1; 5 rear_button=0; 6 end", "no press" },
	{ "R3 pressed at power-on: it has to be seen released first", "",
	  "0 rear_button=1; 5 rear_button=0; 6 rear_button=1; 7 end", "press edge:6000 at:6030" },
	{ "R3 a second press needs a release that settled", "",
	  "0; 5 rear_button=1; 6 rear_button=0; 6.030 rear_button=1; 7 end", "press edge:5000" },
	{ "R3 and then counts", "",
	  "0; 5 rear_button=1; 6 rear_button=0; 6.031 rear_button=1; 7 end",
	  "press edge:5000; press edge:6031" },
	{ "R3 a pair: pressed is (1, 0)", PAIR,
	  "0; 5 rear_button=1 rear_button_nc=0; 6 end", "press edge:5000 at:5030; no fault" },
	{ "R3 a pair: the closing contact alone is no press", PAIR,
	  "0; 5 rear_button=1; 5.4 rear_button=0; 6 end", "no press" },
	{ "R3 a pair: the opening contact alone is no press", PAIR,
	  "0; 5 rear_button_nc=0; 5.4 rear_button_nc=1; 6 end", "no press" },
	{ "R3 a pair: the edge is the later of the two, closing last", PAIR,
	  "0; 5 rear_button_nc=0; 5.007 rear_button=1; 6 end", "press edge:5007 at:5037" },
	{ "R3 a pair: the edge is the later of the two, opening last", PAIR,
	  "0; 5 rear_button=1; 5.007 rear_button_nc=0; 6 end", "press edge:5007 at:5037" },
	{ "R3 a pair: the later edge, though the other contact settles last", PAIR " rear_button:200",
	  "0; 5 rear_button=1; 5.007 rear_button_nc=0; 6 end", "press edge:5007 at:5200" },
	{ "R3 a pair: a contact that fell back without a release gives no second press", PAIR,
	  "0; 5 rear_button=1 rear_button_nc=0; 5.1 rear_button_nc=1; 5.15 rear_button_nc=0; 6 end",
	  "press edge:5000" },
	{ "R3 a pair: a disagreement on the way does not disarm", PAIR,
	  "0; 5 rear_button=1; 5.3 rear_button=0; 5.4 rear_button=1; 5.5 rear_button_nc=0; 6 end",
	  "press edge:5500" },
	{ "R3 a pair at power-on in disagreement has not been seen released", PAIR,
	  "0 rear_button_nc=0; 5 rear_button=1; 6 end",
	  "fault name:button_contacts on:true at_s:0.500; fault on:false at_s:5.030; no press" },
	{ "R3 a line without an edge since power-on counts with the power-on", PAIR,
	  "0; 1 power=cut; 2 power=on rear_button_nc=0; 2.1 rear_button_nc=1; 2.2 rear_button=1;"
	  "2.25 rear_button_nc=0; 3 end", "press edge:2250" },
	{ "R3 rear_button_nc reads 1 at power-on when nothing is said", PAIR, "0; 9 end", "no press" },

	{ "R4 held for held_max less 1 ms: no fault", "", "0; 5 rear_button=1; 14.999 end", "" },
	{ "R4 held for held_max, from the edge", "", "0; 5 rear_button=1; 15 end",
	  "fault name:button_held on:true at_s:15.000" },
	{ "R4 let go at that moment, seen later: the fault comes and goes", "",
	  "0; 5 rear_button=1; 15 rear_button=0; 16 end",
	  "fault on:true at_s:15.000; fault name:button_held on:false at_s:15.030" },
	{ "R4 a release that is seen in that instant comes first", "",
	  "0; 5 rear_button=1; 14.970 rear_button=0; 16 end", "" },
	{ "R4 held from power-on", "", "0 rear_button=1; 9.999 end", "" },
	{ "R4 held from power-on counts from it", "", "0 rear_button=1; 10 end",
	  "fault name:button_held on:true at_s:10.000" },
	{ "R4 a bounce that did not settle is no break", "",
	  "0; 5 rear_button=1; 9 rear_button=0; 9.03 rear_button=1; 15 end", "fault at_s:15.000" },
	{ "R4 one that settled is a break", "",
	  "0; 5 rear_button=1; 9 rear_button=0; 9.031 rear_button=1; 19.030 end", "" },
	{ "R4 and the time begins anew", "",
	  "0; 5 rear_button=1; 9 rear_button=0; 9.031 rear_button=1; 19.031 end", "fault at_s:19.031" },
	{ "R4 a pair: counted from the later edge", PAIR,
	  "0; 5 rear_button=1; 5.2 rear_button_nc=0; 15.2 end", "fault name:button_held at_s:15.200" },
	{ "R4 a pair: a disagreement between is a break", PAIR,
	  "0; 5 rear_button=1 rear_button_nc=0; 9 rear_button_nc=1; 9.1 rear_button_nc=0; 19.1 end",
	  "fault name:button_held on:true at_s:19.100" },
	{ "R4 ended by a disagreement", PAIR,
	  "0; 5 rear_button=1 rear_button_nc=0; 16 rear_button_nc=1; 16.4 end",
	  "fault name:button_held on:true at_s:15.000; fault name:button_held on:false at_s:16.030" },
	{ "R4 a fault that is on before the stop puts its finding on the sweep", "",
	  "0 ignition=1; 50 rear_button=1; 100 ignition=0; 101 rear_button=0; 130 press; 140 service_door=1;"
	  "141 end",
	  "fault on:true; fault on:false; sweep verdict:doubtful findings:[button_held]" },
	{ "R4 raised while owed", "",
	  STOP "101 rear_button=1; 112 rear_button=0; 130 press; 140 service_door=1; 141 end",
	  "fault on:true; fault on:false; sweep verdict:doubtful findings:[button_held]" },
	{ "R4 raised in the walk-back is no finding: the sweep is neither owed nor overdue", "",
	  STOP "120 rear_button=1; 131 service_door=1; 132 end",
	  "fault on:true; sweep verdict:done findings:[]" },
	{ "R4 raised in overdue, by a press refused before", "due_s=30 leave_grace_s=30 look_s=1",
	  STOP "120.4 rear_button=1; 131 rear_button=0; 140 press; 150 service_door=1; 151 end",
	  "fault on:true at_s:130.400; fault on:false; sweep findings:[button_held] verdict:doubtful rung:cabin" },

	{ "R5 disagreeing for disagree less 1 ms, counted from the edge", PAIR,
	  "0; 5 rear_button=1; 5.499 end", "" },
	{ "R5 disagreeing for disagree", PAIR, "0; 5 rear_button=1; 5.5 end",
	  "fault name:button_contacts on:true at_s:5.500" },
	{ "R5 both open", PAIR, "0; 5 rear_button_nc=0; 5.5 end",
	  "fault name:button_contacts on:true at_s:5.500" },
	{ "R5 until the two agree: released", PAIR, "0; 5 rear_button=1; 7 rear_button=0; 8 end",
	  "fault on:true; fault name:button_contacts on:false at_s:7.030" },
	{ "R5 until the two agree: pressed, which is a press", PAIR,
	  "0; 5 rear_button=1; 7 rear_button_nc=0; 8 end",
	  "fault on:true; fault name:button_contacts on:false at_s:7.030; press edge:7000" },
	{ "R5 from power-on", PAIR, "0 rear_button=1; 0.5 end",
	  "fault name:button_contacts on:true at_s:0.500" },
	{ "R5 without a pair there is nothing to disagree", "", "0; 5 rear_button=1; 9 end", "" },
	{ "R5 a fault acknowledges nothing (E10)", PAIR,
	  STOP "120 rear_button=1; 160 end",
	  "fault name:button_contacts on:true at_s:120.500; standing phase:overdue; no accepted" },
	{ "R5 and puts its finding on the sweep", PAIR,
	  STOP "110 rear_button=1; 111 rear_button=0; 130 press; 140 service_door=1; 141 end",
	  "fault on:true; fault on:false; sweep verdict:doubtful findings:[button_contacts]" },
	{ "R5 on before the stop", PAIR,
	  "0 ignition=1; 90 rear_button_nc=0; 100 ignition=0; 101 rear_button_nc=1; 130 press;"
	  "140 service_door=1; 141 end",
	  "fault on:true; fault on:false; sweep findings:[button_contacts]" },
	{ "R5 over before the stop: no finding", PAIR,
	  "0 ignition=1; 90 rear_button_nc=0; 99 rear_button_nc=1; 100 ignition=0; 130 press;"
	  "140 service_door=1; 141 end",
	  "fault on:true; fault on:false; sweep verdict:done findings:[]" },

	{ "R4, R5 a power-on ends a fault unreported, and raises it anew", "",
	  "0 rear_button=1; 11 power=cut; 20 power=on; 30 end",
	  "fault on:true at_s:10.000; fault name:button_held on:true at_s:30.000" },
	{ "R4, R5 anew for the pair", PAIR,
	  "0 rear_button=1; 1 power=cut; 20 power=on; 20.5 end",
	  "fault on:true at_s:0.500; fault name:button_contacts on:true at_s:20.500" },
	{ "R4, R5 gone in the gap: nothing more is said", "",
	  "0 rear_button=1; 11 power=cut; 20 power=on rear_button=0; 40 end",
	  "fault on:true at_s:10.000" },
};

int main(void)
{
	return play_rows("the button", rows, COUNT(rows), NULL, 0);
}
