/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The cost saved by a pair is its gain: what both would cost alone, less what they cost together.
 * Least cost is most gain, and a run or a stop that is left gains nothing. gain[i][j]: the most
 * that runs from i on can gain with stops from j on. Windows move on with the planned ends, so of a
 * row only the stops of its window matter: a stop before it is of no use to later runs, and one
 * behind it not to this.
 */
#include <assert.h>
#include <stdio.h>
#include <stdlib.h>

#include "match.h"

#define CELLS_MAX ((size_t)1 << 26)
#define DAY_MS INT64_C(86400000)

const struct pw_match_rules pw_match_usual = {
	.before_s = 45 * 60, .after_s = 90 * 60, .no_stop_s = 90 * 60, .no_run_s = 60 * 60,
	.other_s = 15 * 60,
};

const char *pw_result_name(enum pw_result result)
{
	static const char *const names[PW_RESULTS] = {
		"none",
#define X(up, low) [PW_RESULT_##up] = #low,
		PW_RESULT_LIST(X)
#undef X
	};

	return names[result];
}

const char *pw_no_record_name(enum pw_no_record why)
{
	static const char *const names[PW_NO_RECORDS] = {
		"none",
#define X(up, low) [PW_NO_RECORD_##up] = #low,
		PW_NO_RECORD_LIST(X)
#undef X
	};

	return names[why];
}

const char *pw_reason_name(enum pw_reason reason)
{
	static const char *const names[PW_REASONS] = {
		"none",
#define X(up, low) [PW_REASON_##up] = #low,
		PW_REASON_LIST(X)
#undef X
	};

	return names[reason];
}

/* -- the cheapest matching ------------------------------------------------------------------- */

/* The stops within the window of a run, [low, high), and where its row of gains begins. */
struct row {
	size_t low, high, at;
};

struct problem {
	const struct pw_match_in *in;
	int64_t before_ms, after_ms, alone_ms; /* alone: a run and a stop, both left */
	bool others;                           /* only stops of other buses that were free */
	struct row *row;
	int64_t *gain;
};

static int64_t distance(const struct problem *p, size_t run, size_t stop)
{
	return llabs(p->in->stop[stop].key_off_ms - p->in->run[run].end_ms);
}

/* Of a stop within the window. */
static bool may(const struct problem *p, size_t run, size_t stop)
{
	const struct pw_planned *r = &p->in->run[run];
	const struct pw_stop *s = &p->in->stop[stop];

	return s->key_off_ms >= r->begin_ms && distance(p, run, stop) <= p->alone_ms &&
	       (!p->others || (s->bus != r->bus && s->busy_ms <= r->begin_ms));
}

/* The order is the caller's to keep. */
static void assert_order(const struct pw_match_in *in)
{
	for (size_t i = 1; i < in->runs; i++)
		assert(in->run[i - 1].end_ms <= in->run[i].end_ms);
	for (size_t i = 1; i < in->stops; i++)
		assert(in->stop[i - 1].key_off_ms <= in->stop[i].key_off_ms);
	for (size_t i = 1; i < in->heards; i++)
		assert(in->heard[i - 1].to_ms <= in->heard[i].from_ms);
}

/* Both ends of the windows only move on. How many gains there are. */
static size_t lay_windows(struct problem *p)
{
	const struct pw_match_in *in = p->in;
	size_t low = 0, high = 0, cells = 0;

	for (size_t i = 0; i < in->runs; i++) {
		while (low < in->stops &&
		       in->stop[low].key_off_ms < in->run[i].end_ms - p->before_ms)
			low++;
		while (high < in->stops &&
		       in->stop[high].key_off_ms <= in->run[i].end_ms + p->after_ms)
			high++;
		p->row[i] = (struct row){ low, high, cells };
		cells += high - low + 1;
	}
	p->row[in->runs] = (struct row){ in->stops, in->stops, cells };
	return cells + 1;
}

static int64_t gain_of(const struct problem *p, size_t run, size_t stop)
{
	const struct row *r = &p->row[run];

	return p->gain[r->at + (stop > r->low ? stop - r->low : 0)];
}

static int64_t with_pair(const struct problem *p, size_t run, size_t stop)
{
	return p->alone_ms - distance(p, run, stop) + gain_of(p, run + 1, stop + 1);
}

static void lay_gains(struct problem *p)
{
	p->gain[p->row[p->in->runs].at] = 0;
	for (size_t i = p->in->runs; i-- > 0;) {
		const struct row *r = &p->row[i];
		int64_t *gain = p->gain + r->at;

		gain[r->high - r->low] = gain_of(p, i + 1, r->high);
		for (size_t j = r->high; j-- > r->low;) {
			const int64_t without = gain_of(p, i + 1, j), later = gain[j + 1 - r->low];
			const int64_t with = may(p, i, j) ? with_pair(p, i, j) : 0;
			const int64_t left = without > later ? without : later;

			gain[j - r->low] = with > left ? with : left;
		}
	}
}

/* The earliest stop with which nothing is lost. */
static void take_pairs(const struct problem *p, uint32_t *stop_of)
{
	size_t next = 0;

	for (size_t i = 0; i < p->in->runs; i++) {
		const struct row *r = &p->row[i];
		const int64_t most = gain_of(p, i, next);

		stop_of[i] = PW_NO_STOP;
		for (size_t j = next > r->low ? next : r->low; j < r->high; j++) {
			if (!may(p, i, j) || with_pair(p, i, j) != most)
				continue;
			stop_of[i] = (uint32_t)j;
			next = j + 1;
			break;
		}
	}
}

static int no_memory(char *why, size_t size)
{
	snprintf(why, size, "no memory to match so many runs");
	return -1;
}

/* Rows stay for whoever asks what else a run may have had. */
static int solve(struct problem *p, uint32_t *stop_of, char *why, size_t size)
{
	size_t cells;

	assert_order(p->in);
	p->row = malloc((p->in->runs + 1) * sizeof(*p->row));
	if (!p->row)
		return no_memory(why, size);
	cells = lay_windows(p);
	if (cells > CELLS_MAX) {
		snprintf(why, size, "%zu stops are within the windows of %zu runs; expected fewer: "
			 "take fewer days at a time", cells, p->in->runs);
		return -2;
	}
	p->gain = malloc(cells * sizeof(*p->gain));
	if (!p->gain)
		return no_memory(why, size);
	lay_gains(p);
	take_pairs(p, stop_of);
	return 0;
}

/* -- what it means --------------------------------------------------------------------------- */

static const enum pw_result result_of[] = {
	[0] = PW_RESULT_NOT_YET,
	[PW_DONE] = PW_RESULT_WALKED, [PW_LATE] = PW_RESULT_LATE,
	[PW_DOUBTFUL] = PW_RESULT_DOUBTFUL, [PW_MISSED] = PW_RESULT_MISSED,
};

static void tell_pair(const struct problem *p, size_t run, struct pw_match *m)
{
	const struct pw_stop *s = &p->in->stop[m->stop];
	bool nearest = true;

	for (size_t j = p->row[run].low; j < p->row[run].high; j++)
		nearest &= !may(p, run, j) || distance(p, run, j) >= distance(p, run, m->stop);
	m->reason = m->stops == 1 ? PW_REASON_ONLY : nearest ? PW_REASON_NEAREST : PW_REASON_TOTAL;
	m->off_s = (int32_t)((s->key_off_ms - p->in->run[run].end_ms) / 1000);
	m->clock_doubtful = !s->clock_ok;
}

static uint32_t choices(const struct problem *p, size_t run)
{
	uint32_t count = 0;

	for (size_t j = p->row[run].low; j < p->row[run].high; j++)
		count += may(p, run, j);
	return count;
}

static void lay_busy(const struct pw_match_in *in)
{
	size_t near = 0, run;

	for (size_t i = 0; i < in->stops; i++) {
		struct pw_stop *s = &in->stop[i];

		while (near < in->runs && in->run[near].end_ms <= s->key_off_ms + DAY_MS)
			near++;
		for (run = near; run > 0 && in->run[run - 1].begin_ms >= s->key_off_ms; run--)
			;
		s->busy_ms = run ? in->run[run - 1].end_ms : INT64_MIN;
	}
}

/* How far runs in the order of their ends have come in what else is in order. */
struct progress {
	size_t heard; /* those that end before the planned end have been passed */
	size_t stray; /* likewise stops that a run has, or more than a day before it */
};

static void go_on(const struct pw_match_in *in, const uint32_t *run_of, int64_t end_ms,
		  struct progress *at)
{
	while (at->heard < in->heards && in->heard[at->heard].to_ms < end_ms)
		at->heard++;
	while (at->stray < in->stops &&
	       (run_of[at->stray] != PW_NO_RUN || in->stop[at->stray].clock_ok ||
		in->stop[at->stray].key_off_ms < end_ms - DAY_MS))
		at->stray++;
}

static enum pw_no_record why_none(const struct problem *p, size_t run, const struct progress *at)
{
	const struct pw_match_in *in = p->in;
	const int64_t end_ms = in->run[run].end_ms, until_ms = end_ms + p->after_ms;

	if (at->heard == in->heards || in->heard[at->heard].from_ms > until_ms)
		return at->stray < in->stops &&
		       in->stop[at->stray].key_off_ms <= end_ms + DAY_MS ?
		       PW_NO_RECORD_CLOCK_DOUBTFUL : PW_NO_RECORD_BUS_SILENT;
	for (size_t i = at->heard; i < in->heards && in->heard[i].from_ms <= until_ms; i++)
		if (!in->heard[i].clock_ok)
			return PW_NO_RECORD_CLOCK_DOUBTFUL;
	return PW_NO_RECORD_NO_KEY_OFF;
}

static void tell(const struct problem *p, const uint32_t *stop_of, struct pw_match *match,
		 const uint32_t *run_of)
{
	const struct pw_match_in *in = p->in;
	struct progress at = { 0 };

	for (size_t i = 0; i < in->runs; i++) {
		struct pw_match *m = &match[i];

		*m = (struct pw_match){ .stop = stop_of[i], .stops = choices(p, i) };
		go_on(in, run_of, in->run[i].end_ms, &at);
		if (m->stop != PW_NO_STOP) {
			tell_pair(p, i, m);
			m->result = result_of[in->stop[m->stop].verdict];
		} else if (in->now_ms <= in->run[i].end_ms + p->after_ms) {
			m->result = PW_RESULT_NOT_YET;
		} else {
			m->result = PW_RESULT_NO_RECORD;
			m->why = why_none(p, i, &at);
		}
	}
}

int pw_match(const struct pw_match_rules *r, const struct pw_match_in *in, struct pw_match *match,
	     uint32_t *run_of, char *why, size_t size)
{
	struct problem p = { .in = in, .before_ms = r->before_s * INT64_C(1000),
			     .after_ms = r->after_s * INT64_C(1000),
			     .alone_ms = (r->no_stop_s + (int64_t)r->no_run_s) * 1000 };
	uint32_t *stop_of = malloc((in->runs + 1) * sizeof(*stop_of));
	int result = stop_of ? solve(&p, stop_of, why, size) : no_memory(why, size);

	if (result == 0) {
		for (size_t i = 0; i < in->stops; i++)
			run_of[i] = PW_NO_RUN;
		for (size_t i = 0; i < in->runs; i++)
			if (stop_of[i] != PW_NO_STOP)
				run_of[stop_of[i]] = (uint32_t)i;
		tell(&p, stop_of, match, run_of);
		lay_busy(in);
	}
	free(p.gain);
	free(p.row);
	free(stop_of);
	return result;
}

int pw_match_others(const struct pw_match_rules *r, const struct pw_match_in *in,
		    struct pw_match *const *match, char *why, size_t size)
{
	struct problem p = { .in = in, .before_ms = r->other_s * INT64_C(1000),
			     .after_ms = r->other_s * INT64_C(1000),
			     .alone_ms = (r->no_stop_s + (int64_t)r->no_run_s) * 1000,
			     .others = true };
	uint32_t *stop_of = malloc((in->runs + 1) * sizeof(*stop_of));
	int result = stop_of ? solve(&p, stop_of, why, size) : no_memory(why, size);

	for (size_t i = 0; i < in->runs && result == 0; i++) {
		if (stop_of[i] == PW_NO_STOP)
			continue;
		match[i]->why = PW_NO_RECORD_OTHER_BUS;
		match[i]->stop = stop_of[i];
		match[i]->stops = choices(&p, i);
		tell_pair(&p, i, match[i]);
	}
	free(p.gain);
	free(p.row);
	free(stop_of);
	return result;
}

static int words_of_none(const struct pw_match *m, char *words, size_t size)
{
	char near[64] = "";

	if (m->stops)
		snprintf(near, sizeof(near), "; other runs have the %u near its end",
			 m->stops);
	return snprintf(words, size, "%s%s%s%s", pw_result_name(m->result), m->why ? ": " : "",
			m->why ? pw_no_record_name(m->why) : "", near);
}

int pw_match_words(const struct pw_match *m, char *words, size_t size)
{
	static const char *const reason[PW_REASONS] = {
		"", "the only stop near it", "the nearest of %u stops",
		"of %u stops the one that costs least in all",
	};
	char of[64];

	if (m->stop == PW_NO_STOP)
		return words_of_none(m, words, size);
	snprintf(of, sizeof(of), reason[m->reason], m->stops);
	return snprintf(words, size, "%s%s: key-off %d min %s the planned end; %s%s",
			pw_result_name(m->result), m->why ? ": other_bus" : "",
			abs(m->off_s) / 60, m->off_s < 0 ? "before" : "after", of,
			m->clock_doubtful ? "; its clock is doubtful" : "");
}
