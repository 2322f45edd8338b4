/* SPDX-License-Identifier: Apache-2.0 */
/* Patterns as they sound, and the shipped ones against what other devices are known to sound. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "postwalk/board.h"
#include "postwalk/core.h"

#define BIT(i) (UINT32_C(1) << (i))
#define T0 INT64_C(700000)

/* -- as it sounds ------------------------------------------------------------------------------ */

struct scene {
	struct pw_policy p;
	struct pw_player pl;
	uint32_t may[PW_SIGNALS];
};

static void all_may(struct scene *s)
{
	for (int i = 0; i < PW_SIGNALS; i++)
		s->may[i] = s->p.signal[i].outputs;
}

static void set_signal(struct scene *s, enum pw_signal signal, uint32_t outputs,
		       struct pw_pattern pattern)
{
	s->p.signal[signal].outputs = outputs;
	s->p.signal[signal].pattern = pattern;
	s->may[signal] = outputs;
}

static struct scene fresh(void)
{
	struct scene s;

	memset(&s, 0, sizeof(s));
	pw_policy_init(&s.p, false);
	pw_player_init(&s.pl);
	all_may(&s);
	return s;
}

static uint32_t at(const struct scene *s, int64_t ms)
{
	return pw_player_levels(&s->pl, &s->p, s->may, T0 + ms);
}

static int64_t next(const struct scene *s, int64_t ms)
{
	int64_t n = pw_player_next_ms(&s->pl, &s->p, T0 + ms);

	return n == PW_NEVER ? n : n - T0;
}

static void silence_never_wakes(void **state)
{
	struct scene s = fresh();
	struct pw_player zero = {0};

	(void)state;
	assert_int_equal(at(&s, 0), 0);
	assert_true(next(&s, 0) == PW_NEVER);
	s.pl = zero;
	assert_int_equal(at(&s, 0), 0);
	assert_true(next(&s, 0) == PW_NEVER);
}

static void a_pattern_repeats(void **state)
{
	static const struct {
		int64_t ms;
		bool on;
		int64_t next;
	} want[] = {{0, true, 250},     {249, true, 250},  {250, false, 400}, {399, false, 400},
		    {400, true, 650},   {649, true, 650},  {650, false, 800}, {800, true, 1050},
		    {400000, true, 400250}};
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_LADDER, BIT(PW_BEEPER), (struct pw_pattern){{250, 150}, 2, false});
	pw_player_signal(&s.pl, PW_LADDER, T0);
	for (size_t i = 0; i < sizeof(want) / sizeof(want[0]); i++) {
		assert_int_equal(at(&s, want[i].ms), want[i].on ? BIT(PW_BEEPER) : 0);
		assert_int_equal(next(&s, want[i].ms), want[i].next);
	}
	pw_player_signal(&s.pl, PW_LADDER, T0 + 300); /* the same again: it goes on */
	assert_int_equal(at(&s, 300), 0);
	pw_player_signal(&s.pl, PW_SIGNAL_NONE, T0 + 400);
	assert_int_equal(at(&s, 400), 0);
	assert_true(next(&s, 400) == PW_NEVER);
}

static void steady_is_on_until_told_otherwise(void **state)
{
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_SPENT, BIT(PW_LAMP), (struct pw_pattern){{0}, 1, false});
	pw_player_signal(&s.pl, PW_SPENT, T0);
	assert_int_equal(at(&s, 0), BIT(PW_LAMP));
	assert_int_equal(at(&s, 86400000), BIT(PW_LAMP));
	assert_true(next(&s, 0) == PW_NEVER);
}

static void a_rung_played_once_falls_silent(void **state)
{
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_LADDER, BIT(PW_HORN), (struct pw_pattern){{100, 50, 100}, 3, true});
	pw_player_signal(&s.pl, PW_LADDER, T0);
	assert_int_equal(next(&s, 0), 100);
	assert_int_equal(next(&s, 100), 150);
	assert_int_equal(next(&s, 150), 250);
	assert_int_equal(at(&s, 249), BIT(PW_HORN));
	assert_int_equal(at(&s, 250), 0);
	assert_true(next(&s, 250) == PW_NEVER);
}

/* An odd list meets its own beginning: on runs into on, and there is no change to wake for. */
static void an_odd_list_runs_on(void **state)
{
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_LADDER, BIT(PW_LAMP), (struct pw_pattern){{100, 50, 30}, 3, false});
	pw_player_signal(&s.pl, PW_LADDER, T0);
	assert_int_equal(next(&s, 150), 280);
	assert_int_equal(at(&s, 180), BIT(PW_LAMP));
	set_signal(&s, PW_LADDER, BIT(PW_LAMP), (struct pw_pattern){{100}, 1, false});
	assert_true(next(&s, 10) == PW_NEVER);
}

/* A refusal takes the beeper; lamp and horn go on as they were, and the beeper joins them in step
 * when it is over. */
static void once_lies_over_its_own_outputs(void **state)
{
	const uint32_t all = BIT(PW_BEEPER) | BIT(PW_LAMP) | BIT(PW_HORN);
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_LADDER, all, (struct pw_pattern){{400, 400}, 2, false});
	set_signal(&s, PW_REFUSED, BIT(PW_BEEPER), (struct pw_pattern){{500, 200, 500}, 3, true});
	pw_player_signal(&s.pl, PW_LADDER, T0);
	pw_player_once(&s.pl, PW_REFUSED, T0 + 300); /* on to 800, off to 1000, on to 1500 */
	assert_int_equal(at(&s, 300), all);
	assert_int_equal(at(&s, 450), BIT(PW_BEEPER));
	assert_int_equal(at(&s, 799), BIT(PW_BEEPER));
	assert_int_equal(at(&s, 900), BIT(PW_LAMP) | BIT(PW_HORN));
	assert_int_equal(at(&s, 1000), all);
	assert_int_equal(at(&s, 1499), BIT(PW_BEEPER));
	assert_int_equal(at(&s, 1500), 0); /* over; the rung is off just now */
	assert_int_equal(at(&s, 1600), all);
	s.may[PW_REFUSED] = 0; /* may not sound: then it takes nothing away either */
	assert_int_equal(at(&s, 450), 0);
	assert_int_equal(at(&s, 900), all);
}

static void once_over_silence_ends(void **state)
{
	struct scene s = fresh();

	(void)state;
	set_signal(&s, PW_ACCEPTED, BIT(PW_BEEPER), (struct pw_pattern){{80, 80, 80}, 3, true});
	pw_player_once(&s.pl, PW_ACCEPTED, T0);
	assert_int_equal(next(&s, 0), 80);
	assert_int_equal(next(&s, 80), 160);
	assert_int_equal(next(&s, 160), 240);
	assert_int_equal(at(&s, 240), 0);
	assert_true(next(&s, 240) == PW_NEVER);
	set_signal(&s, PW_ACCEPTED, BIT(PW_BEEPER), (struct pw_pattern){{0}, 1, false});
	assert_int_equal(at(&s, 999), BIT(PW_BEEPER)); /* steady, once: for a second */
	assert_int_equal(at(&s, 1000), 0);
	assert_int_equal(next(&s, 0), 1000);
}

static void the_check_lights_lamp_and_beeper(void **state)
{
	struct scene s = fresh();

	(void)state;
	pw_player_check(&s.pl, T0);
	assert_int_equal(at(&s, 0), BIT(PW_LAMP) | BIT(PW_BEEPER));
	assert_int_equal(next(&s, 0), 300);
	assert_int_equal(at(&s, 299), BIT(PW_LAMP) | BIT(PW_BEEPER));
	assert_int_equal(at(&s, 300), BIT(PW_LAMP));
	assert_int_equal(next(&s, 300), PW_CHECK_MS);
	assert_int_equal(at(&s, PW_CHECK_MS - 1), BIT(PW_LAMP));
	assert_int_equal(at(&s, PW_CHECK_MS), 0);
	assert_true(next(&s, PW_CHECK_MS) == PW_NEVER);
	for (int i = 0; i < PW_SIGNALS; i++) /* R23: a mechanic's service silences the beeper */
		s.may[i] &= ~BIT(PW_BEEPER);
	assert_int_equal(at(&s, 0), BIT(PW_LAMP));
}

static void what_may_not_sound_does_not(void **state)
{
	struct scene s = fresh();

	(void)state;
	pw_player_signal(&s.pl, PW_LADDER + 1, T0);
	assert_true(at(&s, 0) & BIT(PW_HORN));
	s.may[PW_LADDER + 1] &= ~BIT(PW_HORN); /* R19 */
	assert_false(at(&s, 0) & BIT(PW_HORN));
	assert_true(at(&s, 0) & BIT(PW_BEEPER));
}

static uint32_t seed_of(const char *test)
{
	const char *given = getenv("SEED");
	uint32_t seed = given ? (uint32_t)strtoul(given, NULL, 0) : 20260107;

	print_message("%s: SEED=%u\n", test, seed);
	return seed;
}

static uint32_t draw(uint32_t *x, uint32_t below)
{
	*x ^= *x << 13;
	*x ^= *x >> 17;
	*x ^= *x << 5;
	return *x % below;
}

static void random_scene(struct scene *s, uint32_t *x)
{
	struct pw_pattern pt;

	for (enum pw_signal i = PW_PROMPT; i < PW_SIGNALS; i++) {
		pt = (struct pw_pattern){.count = draw(x, PW_PATTERN_MAX + 1),
					 .once = draw(x, 3) == 0};
		for (uint32_t k = 0; k < pt.count; k++)
			pt.ms[k] = draw(x, 30);
		set_signal(s, i, draw(x, 16) << PW_BEEPER, pt);
		s->may[i] &= draw(x, 16) << PW_BEEPER;
	}
	pw_player_signal(&s->pl, (enum pw_signal)(1 + draw(x, PW_SIGNALS - 1)), T0);
	if (draw(x, 2))
		pw_player_once(&s->pl, draw(x, 2) ? PW_REFUSED : PW_ACCEPTED, T0 + draw(x, 300));
	if (draw(x, 2))
		pw_player_check(&s->pl, T0 + draw(x, 300));
}

/* Whoever wakes only at pw_player_next_ms misses no change: looked at every millisecond. */
static void nothing_changes_between_wakings(void **state)
{
	uint32_t x = seed_of("nothing_changes_between_wakings");

	(void)state;
	for (int round = 0; round < 400; round++) {
		struct scene s = fresh();
		int64_t wake = 300;

		random_scene(&s, &x);
		for (int64_t ms = 300; ms < 2300; ms++) {
			if (ms == wake) {
				wake = next(&s, ms);
				assert_true(wake > ms);
			} else if (ms > 300) {
				assert_int_equal(at(&s, ms), at(&s, ms - 1));
			}
		}
	}
}

/* -- the shipped patterns against others' ------------------------------------------------------ */

struct shape { /* on/off lists of known devices, in ms */
	const char *source;
	uint32_t ms[8], count;
};

static const struct shape taken[] = {
	{"ISO 8201 temporal-three: evacuation (seen)", {500, 500, 500, 500, 500, 1500}, 6},
	{"four 100 ms pulses and 5 s: gas (second-hand)",
	 {100, 100, 100, 100, 100, 100, 100, 5000},
	 8},
	{"fire panels' march, 0.5/0.5 s (seen)", {500, 500}, 2},
	{"fire panels' 0.5 s on, 2.5 s off (seen)", {500, 2500}, 2},
	{"fire panels' 5 s on, 10 s off (seen)", {5000, 10000}, 2},
};

static bool within_tenth(uint32_t ms, uint32_t nominal)
{
	return (uint64_t)ms * 10 >= (uint64_t)nominal * 9 &&
	       (uint64_t)ms * 10 <= (uint64_t)nominal * 11;
}

/* The same sequence within 10 %, wherever it begins and however often the list repeats it. */
static bool sounds_like(const struct pw_pattern *pt, const struct shape *sh)
{
	if (pt->once || pt->count == 0 || pt->count % 2)
		return false;
	for (uint32_t shift = 0; shift < sh->count; shift += 2) {
		uint32_t span = pt->count * sh->count, i;

		for (i = 0; i < span; i++)
			if (!within_tenth(pt->ms[i % pt->count],
					  sh->ms[(i + shift) % sh->count]))
				break;
		if (i == span)
			return true;
	}
	return false;
}

/* SAE J994 (seen): back-up alarms sound 1 to 2 pulses a second, on about as long as off. "About"
 * is read as 40 to 60 %; each pair of on and off is judged. */
static bool sounds_like_backing(const struct pw_pattern *pt)
{
	for (uint32_t i = 0; i + 1 < pt->count; i += 2) {
		uint32_t on = pt->ms[i], whole = on + pt->ms[i + 1];

		if (whole < 500 || whole > 1000 || on * 10 < whole * 4 || on * 10 > whole * 6)
			return false;
	}
	return pt->count >= 2 && !pt->once;
}

static struct pw_pattern listed(const uint32_t *ms, uint32_t count)
{
	struct pw_pattern pt = {.count = count};

	memcpy(pt.ms, ms, count * sizeof(*ms));
	return pt;
}

/* The judges above must know what they judge: each finds the real thing, at both ends of 10 %. */
static void the_judges_know_the_real_thing(void **state)
{
	const struct pw_pattern apart = {{250, 150}, 2, false}, backing = {{400, 400}, 2, false};
	const struct pw_pattern twice = {{500, 500, 500, 500}, 4, false};

	(void)state;
	for (size_t i = 0; i < sizeof(taken) / sizeof(taken[0]); i++) {
		struct pw_pattern pt = listed(taken[i].ms, taken[i].count);

		assert_true(sounds_like(&pt, &taken[i]));
		for (uint32_t k = 0; k < pt.count; k++)
			pt.ms[k] = taken[i].ms[k] * (k % 2 ? 11 : 9) / 10;
		assert_true(sounds_like(&pt, &taken[i]));
		pt.ms[0] = taken[i].ms[0] * 12 / 10;
		assert_false(sounds_like(&pt, &taken[i]));
		assert_false(sounds_like(&apart, &taken[i]));
	}
	assert_true(sounds_like(&twice, &taken[2]));
	assert_true(sounds_like_backing(&backing));
	assert_false(sounds_like_backing(&apart));
}

static void no_shipped_pattern_is_taken(void **state)
{
	struct pw_policy p;

	(void)state;
	pw_policy_init(&p, false);
	for (enum pw_signal s = PW_PROMPT; s < PW_LADDER + p.rungs; s++) {
		const struct pw_signal_policy *sp = &p.signal[s];

		assert_true(sp->pattern.count > 0);
		for (size_t i = 0; i < sizeof(taken) / sizeof(taken[0]); i++)
			if (sounds_like(&sp->pattern, &taken[i]))
				fail_msg("%s sounds like %s", sp->name, taken[i].source);
		if (sp->outputs & BIT(PW_HORN) && sounds_like_backing(&sp->pattern))
			fail_msg("%s sounds like a back-up alarm (SAE J994)", sp->name);
	}
}

/* A flash is a pair of opposing changes. */
static int flashes_in_a_second(const struct scene *s, int64_t from, uint32_t outputs)
{
	int changes = 0;

	for (int64_t ms = from + 1; ms <= from + 1000; ms++)
		if ((at(s, ms) ^ at(s, ms - 1)) & outputs)
			changes++;
	return changes / 2;
}

/* WCAG 2.2 (memory): not more than three flashes in any one second. */
static void the_lamp_flashes_thrice_a_second_at_most(void **state)
{
	struct scene s = fresh();

	(void)state;
	for (enum pw_signal sig = PW_PROMPT; sig < PW_LADDER + s.p.rungs; sig++) {
		if (!(s.p.signal[sig].outputs & BIT(PW_LAMP)))
			continue;
		pw_player_init(&s.pl);
		pw_player_signal(&s.pl, sig, T0);
		for (int64_t from = 0; from < 4000; from += 10)
			assert_in_range(flashes_in_a_second(&s, from, BIT(PW_LAMP)), 0, 3);
	}
	set_signal(&s, PW_LADDER, BIT(PW_LAMP), (struct pw_pattern){{125, 125}, 2, false});
	pw_player_init(&s.pl);
	pw_player_signal(&s.pl, PW_LADDER, T0);
	assert_int_equal(flashes_in_a_second(&s, 0, BIT(PW_LAMP)), 4); /* the judge counts */
}

/* Heard through eight seconds, no two signals are the same on any output they share. */
static void every_signal_differs_from_every_other(void **state)
{
	struct scene a = fresh(), b = fresh();

	(void)state;
	for (enum pw_signal i = PW_PROMPT; i < PW_LADDER + a.p.rungs; i++) {
		for (enum pw_signal k = i + 1; k < PW_LADDER + a.p.rungs; k++) {
			int64_t ms;

			set_signal(&a, i, BIT(PW_BEEPER), a.p.signal[i].pattern);
			set_signal(&b, k, BIT(PW_BEEPER), b.p.signal[k].pattern);
			pw_player_init(&a.pl);
			pw_player_init(&b.pl);
			pw_player_signal(&a.pl, i, T0);
			pw_player_signal(&b.pl, k, T0);
			for (ms = 0; ms < 8000 && at(&a, ms) == at(&b, ms); ms++)
				;
			if (ms == 8000)
				fail_msg("%s sounds like %s", a.p.signal[i].name,
					 b.p.signal[k].name);
		}
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(silence_never_wakes),
		cmocka_unit_test(a_pattern_repeats),
		cmocka_unit_test(steady_is_on_until_told_otherwise),
		cmocka_unit_test(a_rung_played_once_falls_silent),
		cmocka_unit_test(an_odd_list_runs_on),
		cmocka_unit_test(once_lies_over_its_own_outputs),
		cmocka_unit_test(once_over_silence_ends),
		cmocka_unit_test(the_check_lights_lamp_and_beeper),
		cmocka_unit_test(what_may_not_sound_does_not),
		cmocka_unit_test(nothing_changes_between_wakings),
		cmocka_unit_test(the_judges_know_the_real_thing),
		cmocka_unit_test(no_shipped_pattern_is_taken),
		cmocka_unit_test(the_lamp_flashes_thrice_a_second_at_most),
		cmocka_unit_test(every_signal_differs_from_every_other),
	};

	return cmocka_run_group_tests_name("board: player", tests, NULL, NULL);
}
