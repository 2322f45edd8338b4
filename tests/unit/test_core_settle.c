/* SPDX-License-Identifier: Apache-2.0 */
/* R1 settling and R2 the order of things. */
#include "core_help.h"

/*
 * Contacts that bounce (E8: a published survey gives 1.557 ms on average and 6.2 ms at most, another
 * up to hundreds of ms; both second-hand). at: when the rear button's wire changes, from open at 0.
 * presses: their edges; each is seen settle_ms later.
 */
#define END (-1)
static const struct bounce {
	const char *what;
	int settle_ms;
	int at[24];
	int presses[4];
	unsigned chatter;
} bounces[] = {
	{ "clean", 30, { 100, 500, END }, { 100, END }, 0 },
	{ "a spike of 1 ms", 30, { 100, 101, END }, { END }, 1 },
	{ "about the mean, 1.557 ms", 30, { 100, 101, 102, 500, END }, { 102, END }, 1 },
	{ "the largest of the survey, 6.2 ms", 30,
	  { 100, 101, 102, 103, 104, 105, 106, 500, END }, { 106, END }, 3 },
	{ "on closing and on opening", 30,
	  { 100, 102, 103, 300, 301, 303, END }, { 103, END }, 2 },
	{ "hundreds of ms, never settled between", 30,
	  { 100, 129, 130, 159, 160, 189, 190, 219, 220, 249, 250, 279, 280, 309, 310, 900, END },
	  { 310, END }, 7 },
	{ "hundreds of ms, with pauses longer than settle_ms: that reads as two presses", 30,
	  { 100, 140, 180, 900, END }, { 100, 180, END }, 0 },
	{ "the same behind a longer settle_ms: one", 300,
	  { 100, 140, 180, 900, END }, { 180, END }, 1 },
	{ "closed for settle_ms less 1", 30, { 100, 129, END }, { END }, 1 },
	{ "closed for settle_ms: back by that moment, so forgotten", 30,
	  { 100, 130, END }, { END }, 1 },
	{ "closed for settle_ms and 1", 30, { 100, 131, END }, { 100, END }, 0 },
	{ "open for settle_ms only: still the first press", 30,
	  { 100, 200, 230, 400, END }, { 100, END }, 1 },
	{ "open for settle_ms and 1: a second press", 30,
	  { 100, 200, 231, 400, END }, { 100, 231, END }, 0 },
	{ "settle_ms 0 takes every change", 0, { 100, 101, 102, 103, END }, { 100, 102, END }, 0 },
	{ "settle_ms 1", 1, { 100, 101, 103, 105, END }, { 103, END }, 1 },
};

static void play_bounce(struct play *t, const struct bounce *b)
{
	char words[40];
	struct play_line l = { .at_ms = 0 };

	snprintf(words, sizeof(words), "rear_button:%d", b->settle_ms);
	play_policy(t, words);
	play_step(t, &l);
	l.mask = 1u << PW_REAR_BUTTON;
	for (size_t i = 0; b->at[i] != END; i++) {
		l.at_ms = b->at[i];
		l.levels ^= 1u << PW_REAR_BUTTON;
		play_step(t, &l);
	}
	t->last_ms = 5000;
	play_settle(t);
}

static void r1_bounced_contacts_settle(void **state)
{
	static struct play t;

	(void)state;
	for (size_t i = 0; i < COUNT(bounces); i++) {
		char expect[300] = "no press", one[100];

		for (size_t k = 0; bounces[i].presses[k] != END; k++) {
			snprintf(one, sizeof(one), "; press edge:%d at:%d", bounces[i].presses[k],
				 bounces[i].presses[k] + bounces[i].settle_ms);
			strcat(expect, one);
		}
		print_message("           %s\n", bounces[i].what);
		play_bounce(&t, &bounces[i]);
		play_expect(&t, expect);
		assert_int_equal(t.s.input[PW_REAR_BUTTON].chatter, bounces[i].chatter);
	}
}

/* The table above, shifted over every line: each settles after its own time and no sooner. */
static void r1_every_line_settles_after_its_own_time(void **state)
{
	static struct play t;
	/* the trade's habit for slow and for fast contacts (practice) */
	static const int default_ms[PW_INPUTS] = { 200, 200, 30, 30, 100, 100, 100, 200 };

	(void)state;
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		struct play_line l = { .at_ms = 0, .mask = 0 };
		uint8_t other;

		play_policy(&t, "+park_brake +rear_button_nc");
		assert_int_equal(t.p.line[i].settle_ms, default_ms[i]);
		play_step(&t, &l);
		other = t.s.input[i].level ^ 1;
		l = (struct play_line){ .at_ms = 1000, .mask = (uint8_t)(1u << i),
					.levels = (uint8_t)(other << i) };
		play_step(&t, &l);
		pw_run(&t.s, &t.p, 1000 + default_ms[i] - 1, &t.sink);
		assert_int_equal(t.s.input[i].level, other ^ 1);
		assert_int_equal(pw_next_ms(&t.s, &t.p), 1000 + default_ms[i]);
		pw_run(&t.s, &t.p, 1000 + default_ms[i], &t.sink);
		assert_int_equal(t.s.input[i].level, other);
		assert_int_equal(t.s.input[i].edge_ms, 1000);
	}
}

static const struct row rows[] = {
	{ "R1 levels at power-on are settled, and no event", "",
	  "0 ignition=1 service_door=1 lamps=1; 5 end", "standing phase:driving; no key_on" },
	{ "R1 a button that is pressed at power-on is no event", "",
	  "0 rear_button=1; 5 end", "no press" },
	{ "R1 edge is when it left, seen is when it was certain", "",
	  "0 ignition=1; 50 ignition=0; 51 end", "key_off edge:50000 at:50200" },
	{ "R1 key-on and key-off are told once each, with their edges", "",
	  "0; 50 ignition=1; 60 lamps=1; 70 ignition=0; 71 end",
	  "key_on edge:50000 at:50200; key_off edge:70000 at:70200" },
	{ "R1 settle_ms 0: in the same moment", "ignition:0",
	  "0 ignition=1; 50 ignition=0; 50 end", "key_off edge:50000 at:50000" },
	{ "R1 the same level again is no change", "",
	  "0 ignition=1; 50 ignition=0; 50.1 ignition=0; 51 end", "key_off edge:50000 at:50200" },
	{ "R1 a raw level that has not settled is no level: parked still", "",
	  "0 ignition=0; 50 ignition=1; 50.199 end", "standing phase:parked" },
	{ "R1 settled with the last moment of the trace", "",
	  "0 ignition=0; 50 ignition=1; 50.200 end", "standing phase:driving" },

	{ "R2 one instant: ignition before rear_button, so the press is judged", "",
	  "0 ignition=1; 100 ignition=0; 100.170 rear_button=1; 101 end",
	  "refused edge:100170 why:too_soon; standing phase:owed" },
	{ "R2 one instant: the press settled 1 ms sooner opens nothing", "",
	  "0 ignition=1; 100 ignition=0; 100.169 rear_button=1; 101 end",
	  "press edge:100169 at:100199; no refused; standing phase:owed" },
	{ "R2 one instant: rear_door before service_door", "",
	  "0 ignition=1; 100 ignition=0; 120 press; 130 service_door=1 rear_door=1; 131 end",
	  "sweep verdict:doubtful findings:[left_by_rear] exit_s:130.000" },
	{ "R2 zero settling in one line: line order, not the order written", "ignition:0 rear_button:0",
	  "0 ignition=1; 100 rear_button=1 ignition=0; 101 end", "refused edge:100000 why:too_soon" },
	{ "R2 zero settling in two lines of a moment: line by line", "ignition:0 rear_button:0",
	  "0 ignition=1; 100 rear_button=1; 100 ignition=0; 101 end", "press edge:100000; no refused" },
	{ "R2 settled events before timers: the press of the instant of due", "",
	  "0 ignition=1; 100 ignition=0; 159.970 press; 175 service_door=1; 176 end",
	  "rung name:prompt at_s:100.200; rung name:none at_s:160.000;"
	  "sweep verdict:done late_s:0.000 rung:prompt" },
	{ "R2 seen 1 ms after due: overdue first, yet judged by its edge", "",
	  "0 ignition=1; 100 ignition=0; 159.971 press; 175 service_door=1; 176 end",
	  "rung name:prompt at_s:100.200; rung name:cabin at_s:160.000; rung name:none at_s:160.001;"
	  "sweep verdict:done late_s:0.000 rung:cabin" },
	{ "R2 timers count from edges: due is 60 s after the key's edge", "",
	  "0 ignition=1; 100 ignition=0; 159.999 end", "standing phase:owed" },
	{ "R2 and fires at its moment", "",
	  "0 ignition=1; 100 ignition=0; 160 end", "standing phase:overdue" },
	{ "R2 equal times: due before held", "held_max_s=55",
	  "0 ignition=1; 100 ignition=0; 105 rear_button=1; 160 end",
	  "rung name:prompt; rung name:cabin at_s:160.000; fault name:button_held at_s:160.000" },
	{ "R2 equal times: rung before held", "held_max_s=85",
	  "0 ignition=1; 100 ignition=0; 105 rear_button=1; 190 end",
	  "rung name:prompt; rung name:cabin; rung name:outside at_s:190.000;"
	  "fault name:button_held at_s:190.000" },
	{ "R2 equal times: spent before held", "held_max_s=1855",
	  "0 ignition=1; 100 ignition=0; 105 rear_button=1; 1960 end",
	  "rung name:prompt; rung name:cabin; rung name:outside; rung name:office;"
	  "rung name:spent at_s:1960.000; fault name:button_held at_s:1960.000" },
	{ "R2 equal times: service end before left running", "+park_brake idle_s=20 service_max_s=30",
	  "0 ignition=1 park_brake=1; 10 service=on; 20 service_door=1; 40 end; ",
	  "standing phase:owed; no sweep" },
};

/* Of the last row: service was over when the sweep opened. */
static void r2_a_service_that_ends_then_mutes_nothing(void **state)
{
	static struct play t;

	(void)state;
	play_policy(&t, "+park_brake idle_s=20 service_max_s=30");
	play_trace(&t, "0 ignition=1 park_brake=1; 10 service=on; 20 service_door=1; 40 end");
	assert_int_equal(t.s.sweep.findings, 1u << PW_F_LEFT_RUNNING);
	play_policy(&t, "+park_brake idle_s=20 service_max_s=30.001");
	play_trace(&t, "0 ignition=1 park_brake=1; 10 service=on; 20 service_door=1; 40 end");
	assert_int_equal(t.s.sweep.findings, 1u << PW_F_LEFT_RUNNING | 1u << PW_F_MUTED);
}

int main(void)
{
	static const struct CMUnitTest more[] = {
		cmocka_unit_test(r1_bounced_contacts_settle),
		cmocka_unit_test(r1_every_line_settles_after_its_own_time),
		cmocka_unit_test(r2_a_service_that_ends_then_mutes_nothing),
	};

	return play_rows("settling and order", rows, COUNT(rows), more, COUNT(more));
}
