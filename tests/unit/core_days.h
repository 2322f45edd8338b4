/* SPDX-License-Identifier: Apache-2.0 */
/* core_days.h - days of a bus that pass through every phase, to be cut, copied and continued. */
#ifndef TEST_CORE_DAYS_H
#define TEST_CORE_DAYS_H

#include "core_help.h"

static const struct day {
	const char *what, *policy, *trace;
} days[] = {
	{ "two sweeps, the second hurried, with a refusal and a look out of the door", "",
	  "0 ignition=1; 5 lamps=1; 6 lamps=0; 100 ignition=0; 103 press; 110 service_door=1;"
	  "115 service_door=0; 130 press; 140 service_door=1; 141 service_door=0; 200 ignition=1;"
	  "260 ignition=0; 270 rear_door=1; 275 rear_door=0; 295 press; 300 ignition=1; 320 end" },
	{ "overdue, climbing to the office, spent, and walked at last", "alarm_max_s=180",
	  "0 ignition=1; 100 ignition=0; 165 exits=1; 170 exits=0; 230 rear_button=1; 230.010 rear_button=0;"
	  "345 press; 360 service_door=1; 400 end" },
	{ "a stall, driven off, and a carried sweep with nobody seen to leave", "return_max_s=60",
	  "0 ignition=1; 100 ignition=0; 105 ignition=1; 110 ignition=0; 150 ignition=1; 200 ignition=0;"
	  "230 press; 310 ignition=1; 320 end" },
	{ "left running, let go in time; again, and walked; again, and driven off", "+park_brake idle_s=20",
	  "0 ignition=1; 50 park_brake=1 service_door=1; 80 park_brake=0; 85 service_door=0;"
	  "100 park_brake=1; 101 service_door=1; 140 press; 150 service_door=0; 160 park_brake=0;"
	  "170 park_brake=1; 171 service_door=1; 195 ignition=0; 205 park_brake=0; 260 ignition=1; 270 end" },
	{ "unloading at the kerb, then the walk", "unload_s=60 door_rule=at_once",
	  "0 ignition=1; 100 ignition=0; 102 service_door=1; 150 service_door=0; 180 press;"
	  "200 service_door=1; 201 end" },
	{ "a pair of which a contact hangs, while a mechanic has it quiet", "+rear_button_nc",
	  "0 ignition=1; 50 rear_button=1; 60 rear_button=0; 100 ignition=0; 104 service=on;"
	  "110 rear_button=1; 111 rear_button_nc=0; 112 rear_button=0 rear_button_nc=1; 113 service=off;"
	  "130 press; 145 service_door=1; 146 end" },
	{ "a short move that is excused, then a run with the lamps", "owed_when=lamps",
	  "0 ignition=1; 20 ignition=0; 40 ignition=1; 50 lamps=1; 51 lamps=0; 100 ignition=0; 120 press;"
	  "140 service_door=1; 200 ignition=1; 210 ignition=0; 220 end" },
};

#endif
