/* SPDX-License-Identifier: Apache-2.0 */
/* A sounder that is told to sound and is not seen to: cut (docs/sources.md, G2) or dead (G5). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "postwalk/board.h"
#include "postwalk/core.h"

#define BIT(i) (UINT32_C(1) << (i))
#define SENSE_BEEPER PW_EXTRA
#define SENSE_HORN (PW_EXTRA + 1)
#define BEEPER BIT(PW_BEEPER)
#define HORN BIT(PW_HORN)

static struct pw_policy sensed_policy(void)
{
	struct pw_policy p;

	pw_policy_init(&p, false);
	for (unsigned i = PW_BEEPER; i <= SENSE_HORN; i++)
		p.line[i].configured = true;
	for (unsigned i = SENSE_BEEPER; i <= SENSE_HORN; i++)
		p.line[i].direction = PW_IN;
	snprintf(p.line[SENSE_BEEPER].name, PW_NAME_MAX, "beeper_current");
	snprintf(p.line[SENSE_HORN].name, PW_NAME_MAX, "horn_current");
	snprintf(p.line[PW_BEEPER].sense, PW_NAME_MAX, "beeper_current");
	snprintf(p.line[PW_HORN].sense, PW_NAME_MAX, "horn_current");
	return p;
}

struct row {
	int64_t at_ms;
	uint32_t sounding, driven, levels; /* what goes in */
	uint32_t changed, silent;          /* what must come out */
	int64_t next_ms;
	int line; /* of this file */
};

#define ROW(...) {__VA_ARGS__, __LINE__}

static void play(const struct pw_policy *p, const struct row *row, size_t rows)
{
	struct pw_supervise sv;

	pw_supervise_init(&sv);
	assert_true(pw_supervise_next_ms(&sv) == PW_NEVER);
	for (size_t i = 0; i < rows; i++) {
		uint32_t changed = pw_supervise_step(&sv, p, row[i].sounding, row[i].driven,
						     row[i].levels, row[i].at_ms);

		if (changed != row[i].changed || sv.silent != row[i].silent ||
		    pw_supervise_next_ms(&sv) != row[i].next_ms)
			fail_msg("row of line %d: changed %#x, silent %#x, next %lld", row[i].line,
				 changed, sv.silent, (long long)pw_supervise_next_ms(&sv));
	}
}

#define PLAY(p, rows) play(p, rows, sizeof(rows) / sizeof((rows)[0]))

/* G2: the crew has cut the sounder off; G5: it died and nobody knew. */
static void a_dead_sounder_is_told_after_two_seconds(void **state)
{
	const struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(1000, 0, 0, 0, 0, 0, PW_NEVER),
		ROW(5000, BEEPER, BEEPER, 0, 0, 0, 7000),
		ROW(5250, BEEPER, 0, 0, 0, 0, 7000), /* pulses do not begin it anew */
		ROW(5400, BEEPER, BEEPER, 0, 0, 0, 7000),
		ROW(6999, BEEPER, BEEPER, 0, 0, 0, 7000),
		ROW(7000, BEEPER, BEEPER, 0, BEEPER, BEEPER, PW_NEVER),
		ROW(9000, BEEPER, BEEPER, 0, 0, BEEPER, PW_NEVER),
		ROW(9500, 0, 0, 0, 0, BEEPER, PW_NEVER), /* stands in silence */
		ROW(20000, BEEPER, BEEPER, 0, 0, BEEPER, PW_NEVER),
		ROW(20100, BEEPER, BEEPER, BIT(SENSE_BEEPER), BEEPER, 0, PW_NEVER),
		ROW(25000, BEEPER, BEEPER, 0, 0, 0, PW_NEVER), /* was seen in this signal */
	};

	(void)state;
	PLAY(&p, rows);
}

static void a_sounder_that_is_seen_is_well(void **state)
{
	const struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, 2000),
		ROW(20, BEEPER, BEEPER, BIT(SENSE_BEEPER), 0, 0, PW_NEVER),
		ROW(100, BEEPER, 0, 0, 0, 0, PW_NEVER),
		ROW(9000, BEEPER, BEEPER, 0, 0, 0, PW_NEVER),
		ROW(9100, 0, 0, 0, 0, 0, PW_NEVER),
		ROW(9200, BEEPER, BEEPER, 0, 0, 0, 11200), /* the next signal asks anew */
	};

	(void)state;
	PLAY(&p, rows);
}

static void short_signals_prove_nothing(void **state)
{
	const struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, 2000),
		ROW(1999, 0, 0, 0, 0, 0, PW_NEVER),
		ROW(2000, BEEPER, BEEPER, 0, 0, 0, 4000),
		ROW(3999, 0, 0, 0, 0, 0, PW_NEVER),
	};

	(void)state;
	PLAY(&p, rows);
}

/* A sense that reads 1 while its output is off is no sight of it: leakage, a wrong wire. */
static void what_is_seen_while_off_does_not_count(void **state)
{
	const struct pw_policy p = sensed_policy();
	const uint32_t seen = BIT(SENSE_BEEPER);
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, 2000),
		ROW(300, BEEPER, 0, seen, 0, 0, 2000),
		ROW(2000, BEEPER, 0, seen, BEEPER, BEEPER, PW_NEVER),
		ROW(2400, BEEPER, 0, seen, 0, BEEPER, PW_NEVER),
	};

	(void)state;
	PLAY(&p, rows);
}

/* The check at key-on drives the beeper without a signal: seen then, its fault ends. */
static void the_check_may_end_a_fault(void **state)
{
	const struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, 2000),
		ROW(2500, BEEPER, BEEPER, 0, BEEPER, BEEPER, PW_NEVER),
		ROW(3000, 0, 0, 0, 0, BEEPER, PW_NEVER),
		ROW(9000, 0, BEEPER, BIT(SENSE_BEEPER), BEEPER, 0, PW_NEVER),
	};

	(void)state;
	PLAY(&p, rows);
}

static void each_output_is_judged_by_itself(void **state)
{
	const struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, 2000),
		ROW(1000, BEEPER | HORN, BEEPER | HORN, 0, 0, 0, 2000),
		ROW(1500, BEEPER | HORN, BEEPER | HORN, BIT(SENSE_BEEPER), 0, 0, 3000),
		ROW(3000, BEEPER | HORN, BEEPER | HORN, BIT(SENSE_BEEPER), HORN, HORN, PW_NEVER),
	};

	(void)state;
	PLAY(&p, rows);
}

/* Nothing is known of an output without a sense, nor by a sense that is itself an output. */
static void without_a_sense_nothing_is_claimed(void **state)
{
	struct pw_policy p = sensed_policy();
	const struct row rows[] = {
		ROW(0, BEEPER, BEEPER, 0, 0, 0, PW_NEVER),
		ROW(60000, BEEPER, BEEPER, 0, 0, 0, PW_NEVER),
	};

	(void)state;
	p.line[PW_BEEPER].sense[0] = '\0';
	PLAY(&p, rows);
	snprintf(p.line[PW_BEEPER].sense, PW_NAME_MAX, "nowhere");
	PLAY(&p, rows);
	snprintf(p.line[PW_BEEPER].sense, PW_NAME_MAX, "horn");
	PLAY(&p, rows);
	snprintf(p.line[PW_BEEPER].sense, PW_NAME_MAX, "beeper_current");
	p.line[SENSE_BEEPER].configured = false;
	PLAY(&p, rows);
}

static void a_sense_taken_away_takes_its_fault_along(void **state)
{
	struct pw_policy p = sensed_policy();
	struct pw_supervise sv;

	(void)state;
	pw_supervise_init(&sv);
	pw_supervise_step(&sv, &p, HORN, HORN, 0, 0);
	assert_int_equal(pw_supervise_step(&sv, &p, HORN, HORN, 0, 2000), HORN);
	p.line[PW_HORN].sense[0] = '\0';
	assert_int_equal(pw_supervise_step(&sv, &p, HORN, HORN, 0, 2001), HORN);
	assert_int_equal(sv.silent, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(a_dead_sounder_is_told_after_two_seconds),
		cmocka_unit_test(a_sounder_that_is_seen_is_well),
		cmocka_unit_test(short_signals_prove_nothing),
		cmocka_unit_test(what_is_seen_while_off_does_not_count),
		cmocka_unit_test(the_check_may_end_a_fault),
		cmocka_unit_test(each_output_is_judged_by_itself),
		cmocka_unit_test(without_a_sense_nothing_is_claimed),
		cmocka_unit_test(a_sense_taken_away_takes_its_fault_along),
	};

	return cmocka_run_group_tests_name("board: supervise", tests, NULL, NULL);
}
