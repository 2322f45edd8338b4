/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A school year of a state: 10,000 buses, 180 days, 4 planned runs a day, and a spare to 25 of
 * them, matched with made-up stops, a bus at a time; then, a yard and a day at a time, what is left
 * with what other buses have left. Seconds are of one core, without the making of it.
 */
#include <stdio.h>
#include <stdlib.h>
#include <sys/resource.h>
#include <time.h>

#include "office/match.h"

#define YARDS 200
#define YARD 52
#define SPARES 2 /* of a yard */
#define DAYS 180
#define A_DAY 4
#define RUNS (DAYS * A_DAY)
#define STOPS (DAYS * 8)
#define MIN INT64_C(60000)
#define DAY_MS INT64_C(86400000)

struct bus {
	struct pw_planned run[RUNS];
	struct pw_stop stop[STOPS];
	struct pw_heard heard[DAYS];
	struct pw_match match[RUNS];
	uint32_t run_of[STOPS];
	struct pw_match_in in;
};

static uint64_t seed = 20261127;

static int64_t below(int64_t most)
{
	seed = seed * 6364136223846793005U + 1442695040888963407U;
	return (int64_t)(seed >> 33) % most;
}

static double cpu_s(void)
{
	struct timespec t;

	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

static int by_time(const void *a, const void *b)
{
	const struct pw_stop *one = a, *other = b;

	return (one->key_off_ms > other->key_off_ms) - (one->key_off_ms < other->key_off_ms);
}

static void add_stop(struct bus *b, uint32_t bus, int64_t at_ms)
{
	b->stop[b->in.stops++] = (struct pw_stop){ at_ms, (enum pw_verdict)(1 + below(4)), bus,
						   below(200) > 0, 0 };
}

/* Two runs in the morning, two in the afternoon; 4 % left out, some stops between, a rare silent
 * day. */
static void make_day(struct bus *b, uint32_t bus, int day)
{
	static const int begin[A_DAY] = { 390, 465, 880, 955 };
	const int64_t day_ms = day * DAY_MS;
	const bool silent = below(100) == 0, spare = bus % YARD >= YARD - SPARES;

	for (int i = 0; i < A_DAY; i++) {
		const int64_t end_ms = day_ms + (begin[i] + 60 + below(10)) * MIN;

		if (!spare)
			b->run[b->in.runs++] = (struct pw_planned){ day_ms + begin[i] * MIN,
								    end_ms, bus };
		if (!silent && below(25) > (spare ? 12 : 0))
			add_stop(b, bus, end_ms + below(25 * MIN) - 8 * MIN);
	}
	for (int64_t i = silent ? 0 : below(3); i > 0; i--)
		add_stop(b, bus, day_ms + (360 + below(700)) * MIN);
	b->heard[b->in.heards] = (struct pw_heard){ day_ms + 360 * MIN, day_ms + 1100 * MIN, true };
	b->in.heards += !silent;
}

static void make(struct bus *b, uint32_t bus)
{
	b->in = (struct pw_match_in){ .run = b->run, .stop = b->stop, .heard = b->heard,
				      .now_ms = INT64_MAX };
	for (int day = 0; day < DAYS; day++)
		make_day(b, bus, day);
	qsort(b->stop, b->in.stops, sizeof(b->stop[0]), by_time);
}

struct left { /* of a yard */
	struct pw_planned run[YARD * RUNS];
	struct pw_match *match[YARD * RUNS];
	struct pw_stop stop[YARD * STOPS];
	size_t runs, stops;
};

struct figures {
	double match_s, others_s;
	size_t runs, stops, matched, others;
};

static int by_end(const void *a, const void *b)
{
	const struct pw_planned *one = a, *other = b;

	return (one->end_ms > other->end_ms) - (one->end_ms < other->end_ms);
}

/* What one day left. Each run's match is found again by its bus and time: here it is only
 * counted. */
static void match_left(const struct bus *yard, int day, struct left *l, struct figures *f,
		       struct pw_match *told)
{
	const int64_t from_ms = day * DAY_MS, to_ms = from_ms + DAY_MS;
	struct pw_match_in in = { .run = l->run, .stop = l->stop };
	char why[200];
	double begun;

	for (int k = 0; k < YARD; k++) {
		const struct bus *b = &yard[k];

		for (size_t i = (size_t)day * A_DAY;
		     i < b->in.runs && i < (size_t)(day + 1) * A_DAY; i++)
			if (b->match[i].result == PW_RESULT_NO_RECORD)
				l->run[in.runs++] = b->run[i];
		for (size_t i = 0; i < b->in.stops; i++)
			if (b->run_of[i] == PW_NO_RUN && b->stop[i].key_off_ms >= from_ms &&
			    b->stop[i].key_off_ms < to_ms)
				l->stop[in.stops++] = b->stop[i];
	}
	qsort(l->run, in.runs, sizeof(l->run[0]), by_end);
	qsort(l->stop, in.stops, sizeof(l->stop[0]), by_time);
	for (size_t i = 0; i < in.runs; i++) {
		told[i] = (struct pw_match){ .result = PW_RESULT_NO_RECORD, .stop = PW_NO_STOP };
		l->match[i] = &told[i];
	}
	begun = cpu_s();
	if (pw_match_others(&pw_match_usual, &in, l->match, why, sizeof(why)))
		exit(1);
	f->others_s += cpu_s() - begun;
	for (size_t i = 0; i < in.runs; i++)
		f->others += told[i].why == PW_NO_RECORD_OTHER_BUS;
}

static void match_yard(struct bus *yard, uint32_t first, struct left *l, struct pw_match *told,
		       struct figures *f)
{
	char why[200];
	double begun;

	for (uint32_t k = 0; k < YARD; k++)
		make(&yard[k], first + k);
	begun = cpu_s();
	for (uint32_t k = 0; k < YARD; k++)
		if (pw_match(&pw_match_usual, &yard[k].in, yard[k].match, yard[k].run_of, why,
			     sizeof(why)))
			exit(1);
	f->match_s += cpu_s() - begun;
	for (uint32_t k = 0; k < YARD; k++) {
		f->runs += yard[k].in.runs;
		f->stops += yard[k].in.stops;
		for (size_t i = 0; i < yard[k].in.runs; i++)
			f->matched += yard[k].match[i].stop != PW_NO_STOP;
	}
	for (int day = 0; day < DAYS; day++)
		match_left(yard, day, l, f, told);
}

int main(void)
{
	struct bus *yard = calloc(YARD, sizeof(*yard));
	struct left *l = calloc(1, sizeof(*l));
	struct pw_match *told = calloc(YARD * RUNS, sizeof(*told));
	struct figures f = { 0 };
	struct rusage use;

	if (!yard || !l || !told)
		return 1;
	for (uint32_t i = 0; i < YARDS; i++)
		match_yard(yard, i * YARD, l, told, &f);
	getrusage(RUSAGE_SELF, &use);
	printf("match_runs %zu\nmatch_stops %zu\nmatch_found %zu\nmatch_s %.2f\n", f.runs, f.stops,
	       f.matched, f.match_s);
	printf("match_others_s %.2f\nmatch_others %zu\nmatch_per_s %.0f\nmatch_peak_kb %ld\n",
	       f.others_s, f.others, (double)f.runs / (f.match_s + f.others_s), use.ru_maxrss);
	free(told);
	free(l);
	free(yard);
	return 0;
}
