/* SPDX-License-Identifier: Apache-2.0 */
/* R6 to R10: key-on, key-off, what is excused, what a sweep starts with, the least times. */
#include "core_help.h"

#define STOP "0 ignition=1; 100 ignition=0; "
#define WALK "130 press; 140 service_door=1; "

static const struct row rows[] = {
	{ "R6 the first power-on ever, key off", "", "0; 1 end", "standing phase:parked carried:false" },
	{ "R6 the first power-on ever, key on: its edge is the power-on", "owed_when=run",
	  "70 ignition=1; 99.999 ignition=0; 101 end", "excused at_s:99.999" },
	{ "R6 and run_min counts from there", "owed_when=run",
	  "70 ignition=1; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 key-on edge is the edge, not when it was seen", "owed_when=run",
	  "0; 70 ignition=1; 99.999 ignition=0; 101 end", "excused at_s:99.999" },
	{ "R6 likewise at the threshold", "owed_when=run",
	  "0; 70 ignition=1; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 lamps that come on while driving are evidence", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 51 lamps=0; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 lamps that come on while parked are evidence", "owed_when=lamps",
	  "0; 50 lamps=1; 51 lamps=0; 60 ignition=1; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 lamps that read 1 at a first power-on with the key on are evidence", "owed_when=lamps",
	  "0 lamps=1 ignition=1; 1 lamps=0; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 lamps that read 1 at power-on while parked are evidence", "owed_when=lamps",
	  "0 lamps=1; 1 lamps=0; 60 ignition=1; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R6 lamps too short to settle are none", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 50.2 lamps=0; 100 ignition=0; 101 end", "excused at_s:100.000" },
	{ "R6 doors are no evidence: the driver uses them too", "owed_when=lamps",
	  "0 ignition=1; 50 service_door=1 rear_door=1 exits=1; 60 service_door=0 rear_door=0 exits=0;"
	  "100 ignition=0; 101 end", "excused" },
	{ "R6 evidence stays over an excused stop", "owed_when=lamps",
	  "0 ignition=1; 40 ignition=0; 50 ignition=1; 60 lamps=1; 61 lamps=0; 100 ignition=0; 101 end",
	  "excused at_s:40.000; standing phase:owed" },
	{ "R6 a closed sweep with an accepted press clears it", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 51 lamps=0; 100 ignition=0; " WALK
	  "200 ignition=1; 300 ignition=0; 301 end",
	  "sweep verdict:done; excused at_s:300.000" },
	{ "R6 lamps lit in owed or walk_back are none for the next stop", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 51 lamps=0; 100 ignition=0; 105 lamps=1; 106 lamps=0; 130 press;"
	  "131 lamps=1; 132 lamps=0; 140 service_door=1; 200 ignition=1; 300 ignition=0; 301 end",
	  "sweep verdict:done; excused at_s:300.000" },
	{ "R6 lamps lit still at the key-on after it are", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 100 ignition=0; " WALK "200 ignition=1; 201 lamps=0; 300 ignition=0;"
	  "301 end", "sweep verdict:done; standing phase:owed" },
	{ "R6, R16 lamps that read 1 at a key-on that closes a walk-back are, the sweep closing first",
	  "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 100 ignition=0; 130 press; 140 ignition=1; 141 lamps=0;"
	  "300 ignition=0; 301 end", "sweep verdict:done; standing phase:owed" },
	{ "R6, R15 a missed sweep clears nothing", "owed_when=lamps",
	  "0 ignition=1; 50 lamps=1; 51 lamps=0; 100 ignition=0; 150 ignition=1; 200 ignition=0; 201 end",
	  "sweep verdict:missed findings:[driven_off]; standing phase:owed carried:true" },

	{ "R7 every_key_off: after a tenth of a second even", "ignition:50",
	  "0; 50 ignition=1; 50.100 ignition=0; 51 end", "standing phase:owed" },
	{ "R7 run: one short of run_min", "owed_when=run run_min_s=20",
	  "0; 80 ignition=1; 99.999 ignition=0; 101 end", "excused at_s:99.999; standing phase:parked" },
	{ "R7 run: run_min", "owed_when=run run_min_s=20",
	  "0; 80 ignition=1; 100 ignition=0; 101 end", "standing phase:owed" },
	{ "R7 run: one over run_min", "owed_when=run run_min_s=20",
	  "0; 80 ignition=1; 100.001 ignition=0; 101 end", "standing phase:owed" },
	{ "R7 lamps: without evidence", "owed_when=lamps", STOP "101 end", "excused at_s:100.000" },
	{ "R7 carried: owed whatever owed_when says", "owed_when=run",
	  STOP "150 ignition=1; 151 ignition=0; 152 end",
	  "sweep verdict:missed; standing phase:owed carried:true" },
	{ "R7 the gap mark: owed whatever owed_when says", "owed_when=lamps",
	  "0 ignition=1; 50 power=cut; 70 power=on; 100 ignition=0; 130 press; 140 service_door=1; 141 end",
	  "sweep verdict:doubtful findings:[power_lost]" },

	{ "R8 excused: parked, a record, and no sweep after it", "owed_when=run",
	  "0 ignition=1; 10 ignition=0; 11 press; 500 end",
	  "excused at_s:10.000; standing phase:parked; no refused; no rung" },
	{ "R8 a next key-on counts run_min from itself", "owed_when=run",
	  "0 ignition=1; 10 ignition=0; 20 ignition=1; 45 ignition=0; 46 end",
	  "excused at_s:10.000; excused at_s:45.000" },

	{ "R9 due is t0 and due_s", "", STOP "159.999 end", "standing phase:owed" },
	{ "R9 and no later", "", STOP "160 end", "standing phase:overdue" },
	{ "R9 carried: carried_due", "",
	  STOP "150 ignition=1; 200 ignition=0; 244.999 end", "sweep verdict:missed; standing phase:owed" },
	{ "R9 carried: no later", "",
	  STOP "150 ignition=1; 200 ignition=0; 245 end", "sweep verdict:missed; standing phase:overdue" },
	{ "R9 finding carried", "",
	  STOP "150 ignition=1; 200 ignition=0; 220 press; 230 service_door=1; 231 end",
	  "sweep verdict:missed findings:[driven_off]; sweep verdict:done findings:[carried]" },
	{ "R9 rear_opened: rear_door reads 1 at the key-off", "",
	  "0 ignition=1 rear_door=1; 100 ignition=0; 101 rear_door=0; " WALK "141 end",
	  "sweep verdict:doubtful findings:[rear_opened]" },
	{ "R9 rear_opened: exits read 1 at the key-off", "",
	  "0 ignition=1 exits=1; 100 ignition=0; 101 exits=0; " WALK "141 end",
	  "sweep verdict:doubtful findings:[rear_opened]" },
	{ "R9 shut when the key-off is handled, though not at its edge: none", "",
	  "0 ignition=1 rear_door=1; 99.999 rear_door=0; 100 ignition=0; " WALK "141 end",
	  "sweep verdict:done findings:[]" },
	{ "R9 settled open only after the key-off was handled: found by R12", "",
	  "0 ignition=1; 100 ignition=0; 100.101 rear_door=1; 102 rear_door=0; " WALK "141 end",
	  "sweep verdict:doubtful findings:[rear_opened]" },
	{ "R9 a service door that stands open opened at t0: its closing starts the grace (R13)", "",
	  "0 ignition=1 service_door=1; 100 ignition=0; 110 service_door=0; 140 end",
	  "standing phase:overdue" },
	{ "R9 a closed sweep clears the gap mark", "owed_when=lamps",
	  "0 ignition=1; 50 power=cut; 70 power=on; 100 ignition=0; " WALK
	  "200 ignition=1; 300 ignition=0; 301 end",
	  "sweep findings:[power_lost]; excused at_s:300.000" },
	{ "R9 a missed one as well", "owed_when=run",
	  "0 ignition=1; 50 power=cut; 70 power=on; 100 ignition=0; 150 ignition=1; 200 ignition=0;"
	  "230 press; 240 service_door=1; 300 ignition=1; 310 ignition=0; 311 end",
	  "sweep verdict:missed findings:[driven_off,power_lost]; sweep verdict:done findings:[carried];"
	  "excused at_s:310.000" },
};

/* -- R10 --------------------------------------------------------------------------------------------- */

#define FOOT_UM 304800
#define FT(tenths) (FOOT_UM / 10 * (tenths))

/*
 * The time to walk alone, no looking, over rows at a pitch of 28 in (B7, computed): 12 rows 28.0 ft,
 * 13 rows 30.3 ft, 8 rows 18.7 ft, 5 rows 11.7 ft; at 4.0, 3.5 and 3.0 ft/s. The paces 3.5 and, to
 * cross-check, 3.0 are those of MUTCD 2009, section 4E.06 (B6, seen). B7 gives one decimal.
 */
static const struct {
	int rows;
	int64_t aisle_um;
	struct { int64_t pace_um_s; int tenths_s; } at[3];
} alone[] = {
	{ 12, FT(280), { { 4 * FOOT_UM, 70 }, { FT(35), 80 }, { 3 * FOOT_UM, 93 } } },
	{ 13, FT(303), { { 4 * FOOT_UM, 76 }, { FT(35), 87 }, { 3 * FOOT_UM, 101 } } },
	{ 8, FT(187), { { 4 * FOOT_UM, 47 }, { FT(35), 53 }, { 3 * FOOT_UM, 62 } } },
	{ 5, FT(117), { { 4 * FOOT_UM, 29 }, { FT(35), 33 }, { 3 * FOOT_UM, 39 } } },
};

static void r10_walking_alone_takes_as_long_as_the_handbook_pace_says(void **state)
{
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, true);
	for (size_t i = 0; i < COUNT(alone); i++) {
		for (size_t k = 0; k < COUNT(alone[i].at); k++) {
			p.rows = alone[i].rows;
			p.look_us = 0;
			p.aisle_um = alone[i].aisle_um;
			p.pace_um_s = alone[i].at[k].pace_um_s;
			assert_int_equal((pw_walk_min_ms(&p) + 50) / 100, alone[i].at[k].tenths_s);
			assert_int_equal(pw_return_min_ms(&p), pw_walk_min_ms(&p));
		}
	}
}

/* Bodies of B7's rows at our default pace, the nearest hundredth above 3.5 ft/s (1.0668 m/s). */
static void r10_the_default_pace_is_that_of_the_handbook(void **state)
{
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, true);
	assert_int_equal((FT(35) + 5000) / 10000, p.pace_um_s / 10000);
	assert_int_equal(p.pace_um_s % 10000, 0);
}

static void r10_looking_adds_its_time_for_each_row(void **state)
{
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, true);
	assert_int_equal(pw_return_min_ms(&p), 8505); /* 9.1 / 1.07 = 8.50467 */
	assert_int_equal(pw_walk_min_ms(&p), 14505);
	p.rows = 0;
	assert_int_equal(pw_walk_min_ms(&p), 8505);
	p.rows = 13;
	p.look_us = 1500000;
	assert_int_equal(pw_walk_min_ms(&p), 8505 + 19500);
}

/* The nearest millisecond, of the sum and not of its parts; a half goes up (our reading). */
static void r10_rounds_the_sum_to_the_nearest_millisecond(void **state)
{
	static const struct {
		int64_t rows, aisle_um, pace_um_s, look_us, walk_ms, return_ms;
	} sums[] = {
		{ 0, 1000000, 3000000, 0, 333, 333 },          /* 333.333 */
		{ 0, 2000000, 3000000, 0, 667, 667 },          /* 666.667 */
		{ 1, 1000000, 3000000, 166, 333, 333 },        /* 333.499 */
		{ 1, 1000000, 3000000, 167, 334, 333 },        /* 333.50033 */
		{ 3, 0, 1000000, 333500, 1001, 0 },            /* 1000.5 */
		{ 0, 500, 1000000, 0, 1, 1 },                  /* 0.5 */
		{ 0, 499, 1000000, 0, 0, 0 },
		{ 60, 60000000, 100000, 60000000, 4200000, 600000 }, /* the largest that keys allow */
	};
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, true);
	for (size_t i = 0; i < COUNT(sums); i++) {
		p.rows = sums[i].rows;
		p.aisle_um = sums[i].aisle_um;
		p.pace_um_s = sums[i].pace_um_s;
		p.look_us = sums[i].look_us;
		assert_int_equal(pw_walk_min_ms(&p), sums[i].walk_ms);
		assert_int_equal(pw_return_min_ms(&p), sums[i].return_ms);
	}
}

int main(void)
{
	static const struct CMUnitTest more[] = {
		cmocka_unit_test(r10_walking_alone_takes_as_long_as_the_handbook_pace_says),
		cmocka_unit_test(r10_the_default_pace_is_that_of_the_handbook),
		cmocka_unit_test(r10_looking_adds_its_time_for_each_row),
		cmocka_unit_test(r10_rounds_the_sum_to_the_nearest_millisecond),
	};

	return play_rows("a sweep opens", rows, COUNT(rows), more, COUNT(more));
}
