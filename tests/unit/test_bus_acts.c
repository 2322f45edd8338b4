/* SPDX-License-Identifier: Apache-2.0 */
/* What forms ask of the watch: every act in every phase, and none of them ends what is owed. */
#include "bus_stage.h"

#define stage_test(f) cmocka_unit_test_setup_teardown(f, stage_setup, stage_teardown)

/* -- every act in every phase ------------------------------------------------------------------ */

struct asked {
	struct pw_act act;
	enum pw_role role;       /* whose session is open; 0: nobody's */
	enum pw_answer in[PW_PHASES]; /* parked, driving, owed, overdue, walk_back */
};
#define ALWAYS(x) { 0, x, x, x, x, x }

static const struct asked asked[] = {
	{ { .kind = PW_A_FOUND, .what = PW_FOUND_NOTHING }, 0, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_FOUND, .what = PW_FOUND_CHILD, .who = "D-12" }, 0, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_FOUND, .what = PW_FOUND_MECHANICAL, .part = PW_PART_HORN, .words = "mute" },
	  0, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_TRY, .line = PW_BEEPER }, 0,
	  { 0, PW_DONE_SO, PW_DONE_SO, PW_NOT_NOW, PW_NOT_NOW, PW_NOT_NOW } },
	{ { .kind = PW_A_TRY, .line = PW_HORN }, 0, /* R19: traffic hears it */
	  { 0, PW_DONE_SO, PW_NOT_NOW, PW_NOT_NOW, PW_NOT_NOW, PW_NOT_NOW } },
	{ { .kind = PW_A_HEARD, .line = PW_LAMP, .yes = true }, 0, ALWAYS(PW_NOT_NOW) }, /* untried */
	{ { .kind = PW_A_SIGN, .who = "D-12" }, 0, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_REVIEW, .who = "D-13" }, 0, ALWAYS(PW_NOT_NOW) }, /* nothing is signed */
	{ { .kind = PW_A_REFUSED, .words = "forged" }, 0, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_TOUCH }, PW_MECHANIC, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_SERVICE, .yes = true }, PW_MECHANIC, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_SERVICE }, PW_MECHANIC, ALWAYS(PW_NOT_NOW) }, /* it is not on */
	{ { .kind = PW_A_CERTIFY, .id = 1, .who = "M-1" }, PW_MECHANIC, ALWAYS(PW_NOT_SUCH) },
	{ { .kind = PW_A_COUNT }, PW_INSTALLER, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_WIRING, .step = PW_STEP_BEGIN }, PW_INSTALLER, ALWAYS(PW_DONE_SO) },
	{ { .kind = PW_A_WIRING, .step = PW_STEP_END, .who = "I-1" }, PW_INSTALLER, ALWAYS(PW_NOT_NOW) },
	{ { .kind = PW_A_LEAVE }, PW_INSTALLER, ALWAYS(PW_DONE_SO) },
	/* each page is one role's, and none is nobody's */
	{ { .kind = PW_A_TOUCH }, 0, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_LEAVE }, 0, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_SERVICE, .yes = true }, PW_INSTALLER, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_SERVICE, .yes = true }, 0, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_CERTIFY, .id = 1, .who = "M-1" }, PW_INSTALLER, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_COUNT }, PW_MECHANIC, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_WIRING, .step = PW_STEP_BEGIN }, PW_MECHANIC, ALWAYS(PW_SESSION_NONE) },
	{ { .kind = PW_A_WIRING, .step = PW_STEP_BEGIN }, 0, ALWAYS(PW_SESSION_NONE) },
};

/* All that is owed is as before: phase, the sweep, what sounds. Service may add `muted` (R23). */
static void assert_same_debt(const struct pw_state *before, const struct pw_state *after)
{
	struct pw_sweep a = before->sweep, b = after->sweep;

	a.findings |= 1u << PW_F_MUTED;
	b.findings |= 1u << PW_F_MUTED;
	assert_int_equal(after->phase, before->phase);
	assert_int_equal(after->carried, before->carried);
	assert_int_equal(after->sounding, before->sounding);
	assert_memory_equal(&a, &b, sizeof(a));
}

static void ask_one(struct stage *s, const struct asked *q, enum pw_phase phase)
{
	struct pw_bus *b = &s->bus;
	struct pw_state before = b->state;
	enum pw_answer answer;

	pw_session_end(b);
	if (q->role)
		pw_session_open(b, q->role);
	answer = stage_act_in(s, q->act);
	if (answer != q->in[phase])
		fail_msg("act %d with role %d in phase %d: answer %d, not %d", q->act.kind, q->role,
			 phase, answer, q->in[phase]);
	stage_wake(s, b->now_ms);
	assert_same_debt(&before, &b->state);
	if (b->state.service)
		pw_feed_service(b, false);
	b->day = (struct pw_day){ 0 }; /* each act finds a fresh day */
	b->trial = (struct pw_trial){ 0 };
	b->budget = b->child_budget = (struct pw_budget){ 0 };
}

static void every_act_in_every_phase_and_none_ends_what_is_owed(void **state)
{
	struct stage *s = *state;

	for (enum pw_phase phase = PW_PARKED; phase < PW_PHASES; phase++) {
		if (phase > PW_PARKED) {
			stage_stop(s);
			assert_int_equal(run("rm -f '%s'/journal*", s->f.path), 0);
			stage_start(s, 1000);
		}
		stage_phase(s, phase);
		for (size_t i = 0; i < sizeof(asked) / sizeof(asked[0]); i++)
			ask_one(s, &asked[i], phase);
	}
}

/* -- fields that are none ---------------------------------------------------------------------- */

#define LONG_16 "0123456789abcdef"

static const struct pw_act spoiled[] = {
	{ .kind = 0 }, { .kind = PW_ACTS }, { .kind = (enum pw_act_kind)-1 },
	{ .kind = PW_A_FOUND, .what = 0 }, { .kind = PW_A_FOUND, .what = PW_FOUND_WHATS },
	{ .kind = PW_A_FOUND, .what = (enum pw_found_what)-3 },
	{ .kind = PW_A_FOUND, .what = PW_FOUND_DAMAGE, .part = PW_PARTS },
	{ .kind = PW_A_FOUND, .what = PW_FOUND_DAMAGE, .part = (enum pw_part)-1 },
	{ .kind = PW_A_FOUND, .what = PW_FOUND_NOTHING, .who = "a b" },
	{ .kind = PW_A_FOUND, .what = PW_FOUND_NOTHING, .words = "two\nlines" },
	{ .kind = PW_A_FOUND, .what = PW_FOUND_NOTHING, .words = "\xff" },
	{ .kind = PW_A_SIGN }, { .kind = PW_A_SIGN, .who = "<b>" },
	{ .kind = PW_A_TRY, .line = PW_IGNITION }, { .kind = PW_A_TRY, .line = PW_EXTRA + 3 },
	{ .kind = PW_A_TRY, .line = PW_EXTRA }, /* an input, the horn's sense */
	{ .kind = PW_A_TRY, .line = PW_LINES }, { .kind = PW_A_TRY, .line = 255 },
	{ .kind = PW_A_HEARD, .line = PW_REAR_DOOR }, { .kind = PW_A_HEARD, .line = 200 },
	{ .kind = PW_A_OPEN, .role = PW_NOBODY, .pin = "x" }, { .kind = PW_A_OPEN, .role = PW_ROLES },
	{ .kind = PW_A_OPEN, .role = (enum pw_role)-1 },
	{ .kind = PW_A_REFUSED, .words = "" }, { .kind = PW_A_REFUSED, .words = "two words" },
	{ .kind = PW_A_REFUSED, .words = "abcdefghijklmnopqrstuvwx" }, /* 24 */
	{ .kind = PW_A_REFUSED, .words = "Forged" },
};

static void what_is_none_changes_nothing_and_leaves_no_record(void **state)
{
	struct stage *s = *state;

	for (size_t i = 0; i < sizeof(spoiled) / sizeof(spoiled[0]); i++)
		if (stage_act(s, spoiled[i]) != PW_NOT_SUCH)
			fail_msg("spoiled[%zu]: answer %d", i, s->done.answer);
	pw_session_open(&s->bus, PW_INSTALLER);
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_WIRING }), PW_NOT_SUCH);
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_WIRING, .step = 99 }),
			 PW_NOT_SUCH);
	assert_int_equal(s->bus.day.found.wall_ms, 0);
	assert_string_equal(stage_told(s, "found"), "");
	assert_string_equal(stage_told(s, "report"), "");
	assert_string_equal(stage_told(s, "pin"), "");
}

/* -- what a walk found (A15: the CDL manual, 10.2.6) ------------------------------------------- */

static void a_child_is_told_to_the_office_and_makes_no_sound(void **state)
{
	struct stage *s = *state;
	struct pw_act a = { .kind = PW_A_FOUND, .what = PW_FOUND_CHILD, .who = "D-12",
			    .words = "row 3, asleep" };

	assert_int_equal(stage_act(s, a), PW_DONE_SO);
	stage_wake(s, 1100);
	assert_int_equal(s->bus.outputs, 0);
	assert_int_equal(s->bus.day.child_wall_ms, STAGE_WALL_MS + 1000);
	assert_string_equal(stage_told(s, "found"),
			    "{\"what\":\"child\",\"part\":\"none\",\"id\":0,\"t0_ms\":null,"
			    "\"who\":\"D-12\",\"words\":\"row 3, asleep\",\"rung\":\"office\"}");
}

static void a_find_names_the_sweep_that_it_belongs_to(void **state)
{
	struct stage *s = *state;
	struct pw_act a = { .kind = PW_A_FOUND, .what = PW_FOUND_ARTICLE };

	stage_phase(s, PW_WALK_BACK);
	assert_int_equal(stage_act(s, a), PW_DONE_SO);
	stage_level(s, PW_SERVICE_DOOR, 1, s->bus.now_ms + 15000);
	stage_until(s, s->bus.now_ms + 1000);
	assert_int_equal(s->bus.state.phase, PW_PARKED);
	assert_int_equal(stage_act(s, a), PW_DONE_SO);
	assert_string_equal(stage_told(s, "found"), /* the key went off at 21000 */
			    "{\"what\":\"article\",\"part\":\"none\",\"id\":0,\"t0_ms\":21000,"
			    "\"who\":\"\",\"words\":\"\",\"rung\":\"\"} "
			    "{\"what\":\"article\",\"part\":\"none\",\"id\":0,\"t0_ms\":21000,"
			    "\"who\":\"\",\"words\":\"\",\"rung\":\"\"}");
}

/* Whoever reaches the page can send forms all day. */
static void a_flood_of_finds_is_held_to_one_a_second(void **state)
{
	struct stage *s = *state;
	struct pw_act a = { .kind = PW_A_FOUND, .what = PW_FOUND_ARTICLE };
	int done = 0;

	for (int64_t t = 2000; t < 2000 + 100000; t += 20) {
		stage_tick(s, t);
		done += stage_act(s, a) == PW_DONE_SO;
	}
	assert_in_range(done, 60 + 98, 60 + 100);
	stage_tick(s, 400000);
	for (int i = 0; i < 60; i++) /* a long rest gives it all back, and no more */
		assert_int_equal(stage_act(s, a), PW_DONE_SO);
	assert_int_equal(stage_act(s, a), PW_NOT_DONE);
	a.what = PW_FOUND_CHILD;
	assert_int_equal(stage_act(s, a), PW_DONE_SO);
}

/* -- the vehicle report (49 CFR 396.11, 396.13, from memory) ----------------------------------- */

static enum pw_answer find_defect(struct stage *s, enum pw_part part)
{
	return stage_act(s, (struct pw_act){ .kind = PW_A_FOUND, .what = PW_FOUND_MECHANICAL,
					     .part = part, .who = "D-12" });
}

static enum pw_answer certify(struct stage *s, uint32_t id, bool repaired)
{
	return stage_act_in(s, (struct pw_act){ .kind = PW_A_CERTIFY, .id = id, .yes = repaired,
						.who = "M-1", .words = "new fuse" });
}

static void defects_are_signed_reviewed_and_certified(void **state)
{
	struct stage *s = *state;
	const struct pw_day *d = &s->bus.day;
	struct pw_act sign = { .kind = PW_A_SIGN, .who = "D-12" };
	struct pw_act review = { .kind = PW_A_REVIEW, .who = "D-13" };

	find_defect(s, PW_PART_HORN);
	find_defect(s, PW_PART_TIRES);
	assert_int_equal(d->defects, 2);
	assert_int_equal(d->defect[1].id, 2);
	assert_int_equal(stage_act(s, review), PW_NOT_NOW);
	assert_int_equal(stage_act(s, sign), PW_DONE_SO);
	assert_int_equal(stage_act(s, review), PW_DONE_SO);
	assert_int_equal(stage_act(s, review), PW_NOT_NOW); /* it was */
	pw_session_open(&s->bus, PW_MECHANIC);
	assert_int_equal(certify(s, 3, true), PW_NOT_SUCH);
	assert_int_equal(certify(s, 1, true), PW_DONE_SO);
	assert_int_equal(certify(s, 1, false), PW_NOT_NOW);
	assert_int_equal(certify(s, 2, false), PW_DONE_SO);
	assert_string_equal(stage_told(s, "report"),
		"{\"act\":\"signed\",\"id\":0,\"defects\":2,\"who\":\"D-12\",\"words\":\"\"} "
		"{\"act\":\"reviewed\",\"id\":0,\"defects\":2,\"who\":\"D-13\",\"words\":\"\"} "
		"{\"act\":\"repaired\",\"id\":1,\"defects\":0,\"who\":\"M-1\",\"words\":\"new fuse\"} "
		"{\"act\":\"no_need\",\"id\":2,\"defects\":0,\"who\":\"M-1\",\"words\":\"new fuse\"}");
	stage_start(s, 5000); /* and the next start knows it all */
	assert_int_equal(d->defects, 2);
	assert_int_equal(d->defect[0].certified, PW_REPORT_REPAIRED);
	assert_int_equal(d->last_id, 2);
	assert_string_equal(d->review.who, "D-13");
	find_defect(s, PW_PART_WIPERS);
	assert_int_equal(d->defect[2].id, 3);
}

/* -- service (R23) ----------------------------------------------------------------------------- */

static void service_ends_by_itself_and_both_are_told(void **state)
{
	struct stage *s = *state;

	pw_session_open(&s->bus, PW_MECHANIC);
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_SERVICE, .yes = true }),
			 PW_DONE_SO);
	assert_true(s->bus.state.service);
	pw_session_end(&s->bus); /* it does not hang on the session */
	assert_int_equal(stage_act(s, (struct pw_act){ .kind = PW_A_TRY, .line = PW_BEEPER }),
			 PW_NOT_NOW);
	assert_int_equal(stage_act(s, (struct pw_act){ .kind = PW_A_TRY, .line = PW_LAMP }),
			 PW_DONE_SO);
	stage_until(s, 1001 + 3600000 - 1);
	assert_true(s->bus.state.service);
	stage_until(s, 1001 + 3600000 + 1);
	assert_false(s->bus.state.service);
	assert_string_equal(stage_told(s, "service"), "{\"on\":true} {\"on\":false}");
}

static void service_is_off_after_a_restart(void **state)
{
	struct stage *s = *state;

	pw_feed_service(&s->bus, true);
	stage_stop(s);
	stage_start(s, 9000);
	assert_false(s->bus.state.service);
	stage_wake(s, 9500);
	assert_string_equal(stage_told(s, "service"), "{\"on\":true}"); /* power-on ends it (R23) */
}

/* -- the wiring walk --------------------------------------------------------------------------- */

static enum pw_answer walk(struct stage *s, enum pw_step_kind step, const char *who)
{
	struct pw_act a = { .kind = PW_A_WIRING, .step = step };

	snprintf(a.who, sizeof(a.who), "%s", who);
	return stage_act_in(s, a);
}

static void a_walk_ends_in_a_set_up_record(void **state)
{
	struct stage *s = *state;
	const struct pw_wiring *w = &s->bus.wires.wiring;
	unsigned steps = 0;

	pw_session_open(&s->bus, PW_INSTALLER);
	assert_int_equal(walk(s, PW_STEP_NEXT, ""), PW_NOT_NOW);
	assert_int_equal(walk(s, PW_STEP_BEGIN, ""), PW_DONE_SO);
	assert_true(w->on);
	assert_int_equal(walk(s, PW_STEP_END, "I-1"), PW_NOT_NOW);
	stage_until(s, 500000);
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_TOUCH }), PW_DONE_SO);
	while (walk(s, steps % 2 ? PW_STEP_SKIP : PW_STEP_NEXT, "") == PW_DONE_SO)
		steps++;
	assert_int_equal(steps, w->steps);
	assert_int_equal(walk(s, PW_STEP_END, "no code"), PW_NOT_SUCH);
	assert_int_equal(walk(s, PW_STEP_END, "I-1"), PW_DONE_SO);
	assert_int_equal(walk(s, PW_STEP_END, "I-1"), PW_NOT_NOW); /* once */
	assert_string_equal(s->bus.day.setup.who, "I-1");
	assert_non_null(strstr(stage_told(s, "setup"), "\"begun_ms\":1000,"));
	assert_non_null(strstr(stage_told(s, "setup"), "\"result\":\"skipped\""));
}

static void a_walk_ends_with_its_session(void **state)
{
	struct stage *s = *state;

	pw_session_open(&s->bus, PW_INSTALLER);
	walk(s, PW_STEP_BEGIN, "");
	assert_int_equal(stage_act_in(s, (struct pw_act){ .kind = PW_A_LEAVE }), PW_DONE_SO);
	assert_false(s->bus.wires.wiring.on);
	pw_session_open(&s->bus, PW_INSTALLER);
	assert_int_equal(walk(s, PW_STEP_NEXT, ""), PW_NOT_NOW);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		stage_test(every_act_in_every_phase_and_none_ends_what_is_owed),
		stage_test(what_is_none_changes_nothing_and_leaves_no_record),
		stage_test(a_child_is_told_to_the_office_and_makes_no_sound),
		stage_test(a_find_names_the_sweep_that_it_belongs_to),
		stage_test(a_flood_of_finds_is_held_to_one_a_second),
		stage_test(defects_are_signed_reviewed_and_certified),
		stage_test(service_ends_by_itself_and_both_are_told),
		stage_test(service_is_off_after_a_restart),
		stage_test(a_walk_ends_in_a_set_up_record),
		stage_test(a_walk_ends_with_its_session),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
