/* SPDX-License-Identifier: Apache-2.0 */
/* audit_random.h - a few buses whose runs, sweeps and corrections come in any order, and what they
 * must add up to: kept in memory beside the store. The seed is printed; SEED=N takes another. */
#ifndef OFFICE_AUDIT_RANDOM_H
#define OFFICE_AUDIT_RANDOM_H

#include <time.h>

#include "audit_help.h"

#define FIRST_DAY 20261028
#define DAYS 6 /* over 2026-11-01, when the clocks of America/Denver go back, and a month's end */
#define BUSES 4
#define PER_BUS 120
#define RANDOM_NOW at(20261110, 12, 0)

struct made_bus {
	char bus[PW_NAME_MAX];
	struct pw_plan plan[PER_BUS];
	struct pw_sweep_row sweep[PER_BUS]; /* the one with seq i + 1 */
	size_t plans, sweeps;
};
static struct made_bus made_bus[BUSES];
static uint64_t chance_state;

static inline unsigned chance(unsigned below)
{
	chance_state = chance_state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (unsigned)(chance_state >> 33) % below;
}

static inline void begin_chance(void)
{
	const char *seed = getenv("SEED");

	chance_state = seed != NULL ? strtoull(seed, NULL, 10) : (uint64_t)time(NULL);
	printf("seed %" PRIu64 "\n", chance_state);
	memset(made_bus, 0, sizeof(made_bus));
	for (unsigned i = 0; i < BUSES; i++)
		snprintf(made_bus[i].bus, sizeof(made_bus[i].bus), "b%u", i);
}

static inline int32_t any_day(void)
{
	return pw_date_from(pw_date_days(FIRST_DAY) + (int32_t)chance(DAYS));
}

/* Of a new run, or of one that is there, at other times. Nights are quiet. */
static inline void plan_something(struct pw_store *s)
{
	struct made_bus *b = &made_bus[chance(BUSES)];
	const int32_t day = any_day();
	const int64_t end_ms = at(day, 6, 0) + chance(12 * 60) * MINUTE_MS;
	struct pw_plan p;
	char run[8];
	size_t i;

	snprintf(run, sizeof(run), "%u", 1 + chance(5));
	p = a_plan(b->bus, day, run, end_ms - HOUR_MS, end_ms);
	snprintf(p.driver, sizeof(p.driver), "%s", chance(3) ? "" : chance(2) ? "d-1" : "d-2");
	for (i = 0; i < b->plans; i++)
		if (b->plan[i].day == day && strcmp(b->plan[i].run, run) == 0)
			break;
	assert_true(i < PER_BUS);
	b->plan[i] = p;
	b->plans += i == b->plans;
	plan(s, &p);
}

static inline void deliver_something(struct pw_store *s)
{
	static const char *const rungs[] = { "none", "none", "none", "cabin", "outside" };
	struct made_bus *b = &made_bus[chance(BUSES)];
	const size_t first = b->sweeps, count = 1 + chance(3);
	const int32_t day = any_day();

	for (size_t i = 0; i < count && b->sweeps < PER_BUS; i++) {
		struct pw_sweep_row *row = &b->sweep[b->sweeps++];

		*row = a_sweep(at(day, 6, 0) + chance(13 * 60) * MINUTE_MS + chance(1000),
			       chance(4) ? PW_DONE : PW_LATE + chance(3));
		if (row->verdict == PW_MISSED)
			row->closed_ms = row->key_off_ms + chance(7200) * 1000;
		row->came_ms = row->key_off_ms + 2 * HOUR_MS;
		row->findings = chance(3) ? 0 : 1u << chance(PW_FINDINGS) | 1u << chance(PW_FINDINGS);
		row->refused = chance(3);
		snprintf(row->rung, sizeof(row->rung), "%s", rungs[chance(5)]);
	}
	if (b->sweeps > first)
		deliver(s, b->bus, b->sweep + first, b->sweeps - first);
}

static inline void correct_something(struct pw_store *s)
{
	struct pw_correction c = { .result = (enum pw_result)chance(5), .at_ms = RANDOM_NOW,
				   .who = "anna.k", .words = "as the driver says" };

	if (read_rows(s) == 0)
		return;
	c.key = rows[chance((unsigned)row_count)].key;
	IN_TRANSACTION(s, pw_audit_correct(s, &c, WHY));
}

static inline void renew_a_little(struct pw_store *s)
{
	FINE(pw_store_begin(s, WHY));
	FINE(pw_audit_renew(s, denver, RANDOM_NOW, 0, WHY));
	FINE(pw_store_commit(s, WHY));
}

static inline void something(struct pw_store *s)
{
	const unsigned which = chance(12);

	if (which < 5)
		plan_something(s);
	else if (which < 9)
		deliver_something(s);
	else if (which < 10)
		correct_something(s);
	else
		renew_a_little(s);
}

static inline void live(struct pw_store *s, unsigned steps)
{
	for (unsigned i = 0; i < steps; i++)
		something(s);
	renew(s, RANDOM_NOW);
	read_rows(s);
}

#endif
