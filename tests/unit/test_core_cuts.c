/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Power cuts at each step of several days (R20, R21): before, upon and after every line, for a dip, for
 * 11 s, for an hour, and with the clock lost; the world standing still meanwhile, or going on.
 * What must hold whatever happens is checked after every step.
 */
#include "core_days.h"

struct cut {
	int64_t at_ms, gap_ms;
	bool lost, world_goes_on;
};

/* What came after the cut, in order. */
struct after {
	bool cut, excused, restarted, swept;
	struct pw_sweep first; /* the first sweep that closed */
};

struct watched {
	struct play play;
	struct after after;
	enum pw_phase phase; /* at the cut */
	bool left;           /* in walk_back, and long enough to have walked to the front */
	bool dip;
};

/* -- what must always hold ------------------------------------------------------------------------------ */

static bool in(uint32_t findings, enum pw_finding finding)
{
	return findings >> finding & 1;
}

static void check_sweep(const struct pw_policy *p, const struct pw_sweep *w)
{
	assert_int_equal(w->verdict == PW_MISSED, w->press_ms == PW_NO_TIME);
	assert_true(w->verdict != PW_DONE || w->late_ms == 0);
	assert_true(w->verdict != PW_LATE || w->late_ms > 0);
	if (w->findings & p->doubt_on)
		assert_true(w->verdict == PW_MISSED || w->verdict == PW_DOUBTFUL);
	else
		assert_true(w->verdict != PW_DOUBTFUL);
	if (w->press_ms == PW_NO_TIME) {
		assert_true(in(w->findings, PW_F_DRIVEN_OFF));
		assert_true(w->exit_ms == PW_NO_TIME);
	} else {
		assert_true(w->press_ms - w->t0_ms >= pw_walk_min_ms(p));
		assert_true(w->exit_ms == PW_NO_TIME || w->exit_ms >= w->press_ms);
	}
	assert_true(w->closed_ms >= w->t0_ms);
	assert_true(w->rung >= PW_PROMPT && w->rung < PW_LADDER + p->rungs && w->rung != PW_CARRIED);
}

static void check_open_sweep(const struct play *t)
{
	const struct pw_sweep *w = &t->s.sweep;

	assert_int_equal(w->press_ms == PW_NO_TIME, t->s.phase != PW_WALK_BACK);
	assert_true(w->exit_ms == PW_NO_TIME);
	assert_true(w->t0_ms <= t->s.now_ms && w->basis_ms >= w->t0_ms);
	assert_true(!w->door_unloading ||
		    (t->s.phase == PW_OWED && t->s.input[PW_SERVICE_DOOR].level));
	if (t->s.phase == PW_OWED)
		assert_int_equal(w->rung, PW_PROMPT);
	if (t->s.phase == PW_OVERDUE) {
		assert_true(w->rung == PW_SPENT || w->rung >= PW_LADDER);
		assert_true(w->ladder_ms != PW_NO_TIME && w->ladder_ms <= t->s.now_ms);
		assert_int_equal(in(w->findings, PW_F_ALARM_SPENT), w->rung == PW_SPENT);
	}
}

static void check_state(const struct play *t)
{
	const struct pw_state *s = &t->s;
	bool key = s->input[PW_IGNITION].level;
	bool open = s->phase == PW_OWED || s->phase == PW_OVERDUE || s->phase == PW_WALK_BACK;

	assert_true(s->phase >= PW_PARKED && s->phase < PW_PHASES);
	if (!s->powered) {
		assert_int_equal(s->sounding, PW_SIGNAL_NONE);
		assert_true(pw_next_ms(s, &t->p) == PW_NEVER);
		assert_false(pw_dome(s));
		return;
	}
	assert_int_equal(pw_dome(s), open);
	assert_int_equal(s->sounding, pw_sounding(s));
	if (open)
		check_open_sweep(t);
	else
		assert_int_equal(s->phase == PW_DRIVING, key);
	if (open && key)
		assert_true(s->sweep.left_running && !s->sweep.key_fell);
}

/* -- what must hold after a cut --------------------------------------------------------------------------- */

static void watch_take(void *ctx, const struct pw_effect *e)
{
	struct watched *w = ctx;

	play_take(&w->play, e);
	if (e->kind == PW_E_SWEEP)
		check_sweep(&w->play.p, e->sweep);
	if (!w->after.cut || w->after.swept || w->after.restarted || w->after.excused)
		return;
	w->after.restarted = e->kind == PW_E_RESTART;
	w->after.excused = e->kind == PW_E_EXCUSED;
	w->after.swept = e->kind == PW_E_SWEEP;
	if (w->after.swept)
		w->after.first = *e->sweep;
}

/* A sweep that lived through a gap can be no proof, unless its driver had time to leave. */
static void check_after_a_gap(const struct watched *w, const struct cut *cut)
{
	const struct pw_sweep *first = &w->after.first;
	bool open = w->phase == PW_OWED || w->phase == PW_OVERDUE || w->phase == PW_WALK_BACK;

	if (!w->after.swept)
		return;
	if (w->left) {
		assert_true(in(first->findings, PW_F_POWERED_DOWN));
		return;
	}
	assert_false(in(first->findings, PW_F_POWERED_DOWN));
	assert_int_equal(in(first->findings, PW_F_POWER_LOST), open || w->phase == PW_DRIVING);
	assert_int_equal(in(first->findings, PW_F_CLOCK_UNSURE), open && cut->lost);
	if (open || w->phase == PW_DRIVING)
		assert_true(first->verdict == PW_DOUBTFUL || first->verdict == PW_MISSED);
}

static void check_after(const struct watched *w, const struct cut *cut)
{
	if (!w->dip) {
		check_after_a_gap(w, cut);
		return;
	}
	assert_null(strstr(w->play.said, "power_lost"));
	assert_null(strstr(w->play.said, "clock_unsure"));
}

/* -- the days, cut ------------------------------------------------------------------------------------------ */

static void step(struct watched *w, const struct play_line *l)
{
	int64_t next;

	while (w->play.begun &&
	       (next = pw_next_ms(&w->play.s, &w->play.p)) < l->at_ms) {
		pw_run(&w->play.s, &w->play.p, next, &w->play.sink);
		check_state(&w->play);
	}
	play_step(&w->play, l);
	check_state(&w->play);
}

static void step_cut(struct watched *w, const struct cut *cut)
{
	const struct pw_state *s = &w->play.s;
	struct play_line l = { .cut = true, .at_ms = cut->at_ms };

	step(w, &l);
	w->phase = s->phase;
	w->left = s->phase == PW_WALK_BACK &&
		  cut->at_ms >= s->sweep.press_ms + pw_return_min_ms(&w->play.p);
	w->dip = !cut->lost && cut->gap_ms <= w->play.p.restart_ms;
	w->after.cut = true;
}

static void step_on(struct watched *w, const struct cut *cut)
{
	struct play_line l = { .on = true, .lost = cut->lost, .at_ms = cut->at_ms + cut->gap_ms };

	step(w, &l);
	assert_false(w->play.s.service);
}

/* The day with that cut, before (behind = 0) or after line k. */
static void play_cut_day(const struct day *day, const struct play_line *lines, size_t n, size_t k,
			 const struct cut *cut)
{
	static struct watched w;
	int64_t on_ms = cut->at_ms + cut->gap_ms;
	bool on = false;

	memset(&w, 0, sizeof(w));
	play_policy(&w.play, day->policy);
	w.play.sink = (struct pw_sink){ watch_take, &w };
	for (size_t i = 0; i < n; i++) {
		struct play_line l = lines[i];

		if (i == k)
			step_cut(&w, cut);
		if (i >= k && !cut->world_goes_on)
			l.at_ms += cut->gap_ms;
		if (i >= k && !on && l.at_ms >= on_ms) {
			step_on(&w, cut);
			on = true;
		}
		step(&w, &l);
	}
	if (!on)
		step_on(&w, cut);
	play_settle(&w.play);
	check_state(&w.play);
	check_after(&w, cut);
}

static void cut_before_line(const struct day *day, const struct play_line *lines, size_t n, size_t k,
			    int64_t at_ms)
{
	static const struct cut gaps[] = {
		{ .gap_ms = 0 },
		{ .gap_ms = 1000 },
		{ .gap_ms = 10000 },
		{ .gap_ms = 10001 },
		{ .gap_ms = 11000 },
		{ .gap_ms = 3600000 },
		{ .gap_ms = 1000, .lost = true },
		{ .gap_ms = 3600000, .lost = true },
	};

	for (size_t g = 0; g < 2 * COUNT(gaps); g++) {
		struct cut cut = gaps[g / 2];

		cut.at_ms = at_ms;
		cut.world_goes_on = g % 2 != 0;
		play_cut_day(day, lines, n, k, &cut);
	}
}

static void cut_day(void **state)
{
	static struct play plain;
	struct play_line lines[ROWS_MAX];
	const struct day *day = *state;
	size_t n;

	play_policy(&plain, day->policy);
	n = play_lines(&plain, day->trace, lines, COUNT(lines));
	for (size_t k = 1; k < n; k++) {
		int64_t before_ms = lines[k - 1].at_ms, at_ms = lines[k].at_ms;

		cut_before_line(day, lines, n, k, before_ms);              /* in the line's own moment */
		cut_before_line(day, lines, n, k, pw_min(before_ms + 20, at_ms)); /* while it settles */
		cut_before_line(day, lines, n, k, (before_ms + at_ms) / 2);
		cut_before_line(day, lines, n, k, at_ms);                  /* upon the next */
	}
}

int main(void)
{
	static struct CMUnitTest tests[COUNT(days)];

	for (size_t i = 0; i < COUNT(days); i++)
		tests[i] = (struct CMUnitTest){ .name = days[i].what, .test_func = cut_day,
						.initial_state = (void *)(uintptr_t)&days[i] };
	return cmocka_run_group_tests_name("power cuts", tests, NULL, NULL);
}
