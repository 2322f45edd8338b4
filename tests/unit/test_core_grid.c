/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The grid of phase x happening: every cell is decided, and is what the rules say it is.
 *
 *	moves     it changes what the bus stands at, or tells of something
 *	ignored   it may well happen and changes nothing
 *	cannot    it cannot happen; were it to, nothing would change
 */
#include "core_help.h"

enum result { MOVES = 1, IGNORED, CANNOT };

#define M MOVES
#define I IGNORED
#define C CANNOT
static const struct {
	enum pw_happening happening;
	const char *what;
	/* parked, driving, owed, overdue, walk_back */
	enum result in[PW_PHASES];
} expected[] = {
	{ PW_H_KEY_ON, "key-on: R6; on already; R15; R15; R16", { 0, M, C, M, M, M } },
	{ PW_H_KEY_OFF, "key-off: off already; R7; R25, R25, R25", { 0, C, M, M, M, M } },
	{ PW_H_BRAKE_SET, "brake set: R25 in driving only", { 0, I, M, I, I, I } },
	{ PW_H_BRAKE_OFF, "brake let go: R25", { 0, I, M, M, M, M } },
	{ PW_H_PRESS, "press: R11, told of in any phase", { 0, M, M, M, M, M } },
	{ PW_H_REAR_OPEN, "rear opens: R12, R12, R16", { 0, I, I, M, M, M } },
	{ PW_H_REAR_SHUT, "rear shuts: R12, R12", { 0, I, I, M, M, I } },
	{ PW_H_DOOR_OPEN, "door opens: R25; R13; R16", { 0, I, M, M, I, M } },
	{ PW_H_DOOR_SHUT, "door shuts: R13; R16", { 0, I, I, M, I, M } },
	{ PW_H_LAMPS_ON, "lamps on: R6, R6", { 0, M, M, I, I, I } },
	{ PW_H_LAMPS_OFF, "lamps off: nothing clears evidence so", { 0, I, I, I, I, I } },
	{ PW_H_DUE, "due: R14", { 0, C, C, M, C, C } },
	{ PW_H_RUNG, "rung: R17", { 0, C, C, C, M, C } },
	{ PW_H_SPENT, "spent: R18", { 0, C, C, C, M, C } },
	{ PW_H_RETURNED, "time to walk back is up: only kept (R20)", { 0, C, C, C, C, I } },
	{ PW_H_WALK_END, "walk-back end: R16", { 0, C, C, C, C, M } },
	{ PW_H_LEFT_RUNNING, "left running: R25", { 0, C, M, C, C, C } },
};
#undef M
#undef I
#undef C

/* A bus in a phase, rich enough that anything could change: brake set, a watch with the door not yet
 * opened, two openings in the sweep, and R25's kind of sweep where it matters. */
static const char *const brought_to[PW_PHASES] = {
	[PW_PARKED] = "0; 1 park_brake=1; 2 end",
	[PW_DRIVING] = "0 ignition=1; 50 park_brake=1; 60 end",
	[PW_OWED] = "0 ignition=1; 50 park_brake=1 service_door=1; 52 service_door=0; 72 end",
	[PW_OVERDUE] = "0 ignition=1; 50 park_brake=1 service_door=1; 52 service_door=0; 140 end",
	[PW_WALK_BACK] = "0 ignition=1; 50 park_brake=1 service_door=1; 52 service_door=0; 90 press; 91 end",
};

/* The lines as they read when the happening comes, as the settled event has it. */
static const struct { enum pw_line line; int level; } reads[PW_HAPPENINGS] = {
	[PW_H_KEY_ON] = { PW_IGNITION, 1 },
	[PW_H_KEY_OFF] = { PW_IGNITION, 0 },
	[PW_H_BRAKE_SET] = { PW_PARK_BRAKE, 1 },
	[PW_H_BRAKE_OFF] = { PW_PARK_BRAKE, 0 },
	[PW_H_PRESS] = { PW_REAR_BUTTON, 1 },
	[PW_H_REAR_OPEN] = { PW_REAR_DOOR, 1 },
	[PW_H_REAR_SHUT] = { PW_REAR_DOOR, 0 },
	[PW_H_DOOR_OPEN] = { PW_SERVICE_DOOR, 1 },
	[PW_H_DOOR_SHUT] = { PW_SERVICE_DOOR, 0 },
	[PW_H_LAMPS_ON] = { PW_LAMPS, 1 },
	[PW_H_LAMPS_OFF] = { PW_LAMPS, 0 },
};

static void bring(struct play *t, unsigned phase, unsigned happening)
{
	play_policy(t, "+park_brake idle_s=20");
	play_trace(t, brought_to[phase]);
	assert_int_equal(t->s.phase, phase);
	if (reads[happening].line || happening <= PW_H_KEY_OFF)
		t->s.input[reads[happening].line].level = (uint8_t)reads[happening].level;
	if (happening == PW_H_BRAKE_SET)
		t->s.watch.on = false; /* it rises: so it was not set before */
	t->n = 0;
	t->said[0] = '\0';
}

static void every_cell_is_decided(void **state)
{
	(void)state;
	assert_int_equal(COUNT(expected), PW_HAPPENINGS - 1);
	for (unsigned i = 0; i < COUNT(expected); i++) {
		assert_int_equal(expected[i].happening, i + 1);
		for (unsigned phase = PW_PARKED; phase < PW_PHASES; phase++) {
			pw_rule *cell = pw_grid[phase][expected[i].happening];
			enum result is = cell == pw_rule_ignored ? IGNORED
					 : cell == pw_rule_impossible ? CANNOT : MOVES;

			assert_non_null(cell);
			if (is != expected[i].in[phase])
				fail_msg("%s, in %s", expected[i].what, pw_phase_name(phase));
		}
	}
}

/* What moves changes the state or says something; what is ignored or cannot happen does neither. */
static void a_cell_does_what_its_kind_says(void **state)
{
	static struct play t;
	static struct pw_state before;

	(void)state;
	for (unsigned i = 0; i < COUNT(expected); i++) {
		for (unsigned phase = PW_PARKED; phase < PW_PHASES; phase++) {
			struct pw_ctx c = { &t.s, &t.p, &t.sink };
			enum pw_happening h = expected[i].happening;
			bool moved;

			bring(&t, phase, h);
			before = t.s;
			pw_happen(&c, h, reads[h].line, t.last_ms);
			moved = memcmp(&before, &t.s, sizeof(before)) != 0 || t.n > 0;
			if (moved != (expected[i].in[phase] == MOVES))
				fail_msg("%s, in %s: %s", expected[i].what, pw_phase_name(phase),
					 moved ? "moved" : "did not move");
		}
	}
}

/* No timer that "cannot happen" is ever the next: none runs in a phase where its cell says so. */
static void timers_run_only_in_the_phase_that_began_them(void **state)
{
	static struct play t;

	(void)state;
	for (unsigned phase = PW_PARKED; phase < PW_PHASES; phase++) {
		struct pw_ctx c = { &t.s, &t.p, &t.sink };

		bring(&t, phase, 0);
		assert_int_equal(pw_due_ms(&t.s, &t.p) == PW_NEVER, phase != PW_OWED);
		assert_int_equal(pw_rung_timer_ms(&c) == PW_NEVER, phase != PW_OVERDUE);
		t.s.watch = (struct pw_watch){ .on = true, .door_ms = 55000, .begin_ms = 50000 };
		assert_int_equal(pw_watch_timer_ms(&c) == PW_NEVER, phase != PW_DRIVING);
	}
}

/* Phases that a happening leads to, cell by cell where the phase changes. */
static void the_phase_that_a_happening_leads_to(void **state)
{
	static const struct {
		unsigned from, happening, to;
	} leads[] = {
		{ PW_PARKED, PW_H_KEY_ON, PW_DRIVING },
		{ PW_DRIVING, PW_H_KEY_OFF, PW_OWED },
		{ PW_DRIVING, PW_H_LEFT_RUNNING, PW_OWED },
		{ PW_OWED, PW_H_KEY_ON, PW_DRIVING },
		{ PW_OWED, PW_H_BRAKE_OFF, PW_DRIVING },
		{ PW_OWED, PW_H_DUE, PW_OVERDUE },
		{ PW_OVERDUE, PW_H_KEY_ON, PW_DRIVING },
		{ PW_OVERDUE, PW_H_BRAKE_OFF, PW_DRIVING },
		{ PW_OVERDUE, PW_H_PRESS, PW_WALK_BACK },
		{ PW_OVERDUE, PW_H_SPENT, PW_OVERDUE },
		{ PW_WALK_BACK, PW_H_KEY_ON, PW_DRIVING },
		{ PW_WALK_BACK, PW_H_BRAKE_OFF, PW_DRIVING },
		{ PW_WALK_BACK, PW_H_DOOR_OPEN, PW_DRIVING }, /* the engine runs (R25) */
		{ PW_WALK_BACK, PW_H_DOOR_SHUT, PW_DRIVING },
		{ PW_WALK_BACK, PW_H_WALK_END, PW_DRIVING },
	};
	static struct play t;

	(void)state;
	for (size_t i = 0; i < COUNT(leads); i++) {
		struct pw_ctx c = { &t.s, &t.p, &t.sink };

		bring(&t, leads[i].from, leads[i].happening);
		pw_happen(&c, leads[i].happening, reads[leads[i].happening].line, t.last_ms);
		assert_int_equal(t.s.phase, leads[i].to);
	}
}

int main(void)
{
	static const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_cell_is_decided),
		cmocka_unit_test(a_cell_does_what_its_kind_says),
		cmocka_unit_test(timers_run_only_in_the_phase_that_began_them),
		cmocka_unit_test(the_phase_that_a_happening_leads_to),
	};

	return cmocka_run_group_tests_name("the grid", tests, NULL, NULL);
}
