/* SPDX-License-Identifier: Apache-2.0 */
/*
 * state_made.h - a made-up state: buses with two runs in the morning and two in the afternoon on each of
 * 180 school days, with the sweeps that ended them. What is asked of it twice is the same twice.
 * Codes are invented: T-00417, R214-AM, D01203.
 */
#ifndef BENCH_STATE_MADE_H
#define BENCH_STATE_MADE_H

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "office/rows_internal.h"
#include "office/zone.h"

#define STATE_DAYS 180
#define STATE_RUNS 4
#define STATE_NTHS (STATE_RUNS + 1) /* and now and then a stop without a run */
#define STATE_DRIVERS 12000
#define STATE_ROUTES 2500
#define STATE_ZONE "America/Chicago"

struct state {
	struct pw_zone *zone;
	unsigned buses;
	int32_t day[STATE_DAYS];     /* the last one is today, or the school day before */
	int64_t midnight_ms[STATE_DAYS];
};
struct state_row {
	struct pw_audit_row row;
	int32_t nth;
};

/* splitmix64: a number of its own for each bus, day and purpose. */
static inline uint64_t state_mix(uint64_t a, uint64_t b, uint64_t c)
{
	uint64_t z = 20261127 + a * 0x9e3779b97f4a7c15u + b * 0xbf58476d1ce4e5b9u
		     + c * 0x94d049bb133111ebu;

	z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
	z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
	return z ^ (z >> 31);
}

/* From 0 to 1, and one of two out of the same draw. */
static inline double state_share(uint64_t draw)
{
	return (double)(draw >> 11) / 9007199254740992.0;
}

static inline int state_begin(struct state *s, unsigned buses, int32_t today, char *why, size_t size)
{
	int32_t days = pw_date_days(today);
	int result = pw_zone_open(STATE_ZONE, &s->zone, why, size);
	int64_t utc_ms[2];

	s->buses = buses;
	for (int i = STATE_DAYS - 1; result == 0 && i >= 0; days--) {
		if (pw_date_weekday(days) > 5)
			continue;
		s->day[i] = pw_date_from(days);
		if (pw_zone_moments(s->zone, s->day[i], 0, utc_ms) == 0)
			return -2;
		s->midnight_ms[i--] = utc_ms[0];
	}
	return result;
}

static inline void state_bus(unsigned bus, char name[PW_NAME_MAX])
{
	snprintf(name, PW_NAME_MAX, "T-%05u", bus + 1);
}

static inline void state_epoch(unsigned bus, char epoch[17])
{
	snprintf(epoch, 17, "%016llx", (unsigned long long)state_mix(bus, 0, 99));
}

static inline void state_who(struct pw_audit_row *r, unsigned bus, int day, int run)
{
	const uint64_t draw = state_mix(bus, (uint64_t)day, 1);
	const unsigned driver = draw % 20 == 0 ? 10000 + (unsigned)(draw >> 8) % 2000 : bus % 10000;

	snprintf(r->driver, sizeof(r->driver), "D%05u", driver + 1);
	snprintf(r->route, sizeof(r->route), "R%u-%s", bus % (STATE_ROUTES / 2) + 1,
		 run < 2 ? "AM" : "PM");
	snprintf(r->place, sizeof(r->place), "yard %u", bus / 50 + 1);
}

/* Some forget more often than others: a twentieth to three times the usual. */
static inline double state_habit(const char *driver)
{
	uint64_t hash = 7;

	for (; *driver != '\0'; driver++)
		hash = hash * 31 + (unsigned char)*driver;
	return 0.05 + 3 * pow(state_share(state_mix(hash, 2, 2)), 2);
}

static inline void state_sweep(struct pw_audit_row *r, unsigned bus, int day, int run)
{
	const uint64_t draw = state_mix(bus, (uint64_t)day, 10 + (uint64_t)run);
	const uint64_t times = state_mix(bus, (uint64_t)day, 20 + (uint64_t)run);
	const double fate = state_share(draw) / state_habit(r->driver);

	state_epoch(bus, r->epoch);
	r->seq = (uint64_t)(day * STATE_NTHS + run + 1) * 30;
	r->clock_ok = draw % 997 != 0;
	r->verdict = fate < 0.006 ? PW_MISSED : fate < 0.018 ? PW_DOUBTFUL
		     : fate < 0.04 ? PW_LATE : PW_DONE;
	r->key_off_ms = r->at_ms;
	r->walk_ms = 1000 * (25 + (int64_t)(bus % 30))
		     + (int64_t)(20000 * -log(1 - state_share(times) * 0.999));
	r->return_ms = 20000 + (int64_t)(times % 30000);
	r->late_ms = r->verdict == PW_LATE ? (int64_t)(times % 240000) : PW_NO_TIME;
	r->closed_ms = r->key_off_ms + r->walk_ms + r->return_ms;
	r->unchecked_ms = r->walk_ms;
	r->refused = draw % 33 == 0 ? 1 + (uint32_t)(draw >> 40) % 3 : 0;
	snprintf(r->rung, sizeof(r->rung), "%s", draw % 7 == 0 ? "prompt" : "none");
	if (r->verdict == PW_DOUBTFUL)
		r->findings = 1u << (times % 2 ? PW_F_RETURN_SHORT : PW_F_BUTTON_HELD);
	if (r->verdict != PW_MISSED)
		return;
	r->findings = 1u << (times % 3 ? PW_F_CARRIED : PW_F_DRIVEN_OFF);
	r->walk_ms = r->return_ms = PW_NO_TIME;
	r->closed_ms = r->key_off_ms + 120000 + (int64_t)(times % 2400000);
	r->unchecked_ms = r->closed_ms - r->key_off_ms;
	if (times % 4 == 0)
		r->warmest_c10 = (int32_t)(times >> 20) % 600 - 100;
	snprintf(r->rung, sizeof(r->rung), "%s", times % 2 ? "horn" : "office");
}

static inline enum pw_result state_result(enum pw_verdict verdict)
{
	static const enum pw_result of[] = { [PW_DONE] = PW_RESULT_WALKED,
		[PW_LATE] = PW_RESULT_LATE, [PW_DOUBTFUL] = PW_RESULT_DOUBTFUL,
		[PW_MISSED] = PW_RESULT_MISSED };

	return of[verdict];
}

static inline bool state_silent(unsigned bus, int day)
{
	return state_mix(bus, (uint64_t)day, 3) % 250 == 0;
}

static inline void state_run(const struct state *s, struct pw_audit_row *r, unsigned bus, int day,
			     int run)
{
	static const int begins_min[STATE_RUNS] = { 390, 465, 880, 955 };
	const uint64_t draw = state_mix(bus, (uint64_t)day, 30 + (uint64_t)run);

	snprintf(r->key.run, sizeof(r->key.run), "%05u-%d", bus + 1, run + 1);
	r->begin_ms = s->midnight_ms[day] + begins_min[run] * INT64_C(60000);
	r->end_ms = r->begin_ms + (60 + (int64_t)(draw % 10)) * 60000;
	r->at_ms = r->end_ms;
	if (state_silent(bus, day) || draw % 211 == 0) {
		r->result = PW_RESULT_NO_RECORD;
		r->why = state_silent(bus, day) ? PW_NO_RECORD_BUS_SILENT : PW_NO_RECORD_NO_KEY_OFF;
		return;
	}
	r->off_s = (int32_t)((draw >> 20) % 1200) - 300;
	r->at_ms += r->off_s * INT64_C(1000);
	r->stops = 1;
	r->reason = PW_REASON_ONLY;
	state_sweep(r, bus, day, run);
	r->result = state_result(r->verdict);
}

static inline void state_stop(const struct state *s, struct pw_audit_row *r, unsigned bus, int day)
{
	const uint64_t draw = state_mix(bus, (uint64_t)day, 5);

	r->at_ms = s->midnight_ms[day] + (600 + (int64_t)(draw >> 20) % 200) * 60000;
	r->begin_ms = r->end_ms = PW_NO_TIME;
	r->route[0] = r->place[0] = '\0';
	state_sweep(r, bus, day, STATE_RUNS);
	r->result = PW_RESULT_UNPLANNED;
	memcpy(r->key.epoch, r->epoch, sizeof(r->epoch));
	r->key.seq = r->seq;
}

/* Rows of a bus and day in the order of nth. How many. */
static inline int state_rows(const struct state *s, unsigned bus, int day,
			     struct state_row rows[STATE_NTHS])
{
	const bool stop = state_mix(bus, (uint64_t)day, 5) % 50 == 0 && !state_silent(bus, day);
	int count = 0;

	for (int i = 0; i < STATE_NTHS; i++) {
		const int run = !stop || i < 2 ? i : i == 2 ? STATE_RUNS : i - 1; /* by time */
		struct pw_audit_row *r = &rows[count].row;

		if (run == STATE_RUNS && !stop)
			continue;
		*r = (struct pw_audit_row){ .key.day = s->day[day], .unchecked_ms = PW_NO_TIME,
					    .warmest_c10 = INT32_MIN, .walk_ms = PW_NO_TIME,
					    .return_ms = PW_NO_TIME, .late_ms = PW_NO_TIME,
					    .key_off_ms = PW_NO_TIME, .closed_ms = PW_NO_TIME };
		state_bus(bus, r->key.bus);
		state_who(r, bus, day, run);
		if (run == STATE_RUNS)
			state_stop(s, r, bus, day);
		else
			state_run(s, r, bus, day, run);
		rows[count].nth = count;
		count++;
	}
	return count;
}

#endif
