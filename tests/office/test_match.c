/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Runs matched with stops: beside every matching there is, on small cases; beside scipy's
 * assignment solver on larger ones (match_reference.py); and what each match says. Run from the top
 * of the tree.
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include <cmocka.h>

#include "office/csv.h"
#include "office/match.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define MIN INT64_C(60000)
#define MOST 80

struct matching {
	struct pw_planned run[MOST];
	struct pw_stop stop[MOST];
	struct pw_match match[MOST];
	uint32_t run_of[MOST];
	struct pw_match_rules rules;
	struct pw_match_in in;
};

static void solve(struct matching *c)
{
	char why[200];

	c->in.run = c->run;
	c->in.stop = c->stop;
	if (!c->in.now_ms)
		c->in.now_ms = INT64_C(1) << 50;
	if (pw_match(&c->rules, &c->in, c->match, c->run_of, why, sizeof(why)))
		fail_msg("%s", why);
}

/* -- the definition, in plain words ---------------------------------------------------------- */

static bool allowed(const struct matching *c, size_t i, size_t j)
{
	const int64_t off_ms = c->stop[j].key_off_ms - c->run[i].end_ms;

	return c->stop[j].key_off_ms >= c->run[i].begin_ms &&
	       off_ms >= -(int64_t)c->rules.before_s * 1000 &&
	       off_ms <= (int64_t)c->rules.after_s * 1000;
}

static int64_t pair_cost(const struct matching *c, size_t i, size_t j)
{
	return llabs(c->stop[j].key_off_ms - c->run[i].end_ms);
}

/* Of a whole matching, which must be one to one, in order, within the windows. */
static int64_t cost_of(const struct matching *c)
{
	int64_t cost = 0;
	size_t pairs = 0, next = 0;

	for (size_t i = 0; i < c->in.runs; i++) {
		const uint32_t j = c->match[i].stop;

		if (j == PW_NO_STOP)
			continue;
		assert_true(j >= next && j < c->in.stops);
		assert_true(allowed(c, i, j));
		assert_int_equal(c->run_of[j], i);
		cost += pair_cost(c, i, j);
		next = j + 1;
		pairs++;
	}
	for (size_t j = 0; j < c->in.stops; j++)
		if (c->run_of[j] != PW_NO_RUN)
			assert_int_equal(c->match[c->run_of[j]].stop, j);
	return cost + (int64_t)((c->in.runs - pairs) * c->rules.no_stop_s +
				(c->in.stops - pairs) * c->rules.no_run_s) * 1000;
}

struct best {
	int64_t cost;
	uint32_t stop[MOST], now[MOST];
	bool used[MOST], ordered;
};

/* Every matching of runs from i on, with stops from next on or (not ordered) with any that is
 * left. The earliest stops come first, none last: so the first of equal cost is the one that
 * holds. */
static void try_all(const struct matching *c, size_t i, size_t next, int64_t cost, struct best *b)
{
	if (i == c->in.runs) {
		size_t pairs = 0;

		for (size_t k = 0; k < i; k++)
			pairs += b->now[k] != PW_NO_STOP;
		cost += (int64_t)((c->in.stops - pairs) * c->rules.no_run_s) * 1000;
		if (cost < b->cost) {
			b->cost = cost;
			memcpy(b->stop, b->now, sizeof(b->stop));
		}
		return;
	}
	for (size_t j = next; j < c->in.stops; j++) {
		if (b->used[j] || !allowed(c, i, j))
			continue;
		b->used[j] = true;
		b->now[i] = (uint32_t)j;
		try_all(c, i + 1, b->ordered ? j + 1 : 0, cost + pair_cost(c, i, j), b);
		b->used[j] = false;
	}
	b->now[i] = PW_NO_STOP;
	try_all(c, i + 1, next, cost + (int64_t)c->rules.no_stop_s * 1000, b);
}

/* -- small cases ----------------------------------------------------------------------------- */

static unsigned seed_random(void)
{
	unsigned seed;

	assert_int_equal(getrandom(&seed, sizeof(seed), 0), sizeof(seed));
	printf("seed %u\n", seed);
	srandom(seed);
	return seed;
}

static int64_t below(int64_t most)
{
	return random() % most;
}

static int by_end(const void *a, const void *b)
{
	const struct pw_planned *one = a, *other = b;

	return (one->end_ms > other->end_ms) - (one->end_ms < other->end_ms);
}

static int by_time(const void *a, const void *b)
{
	const struct pw_stop *one = a, *other = b;

	return (one->key_off_ms > other->key_off_ms) - (one->key_off_ms < other->key_off_ms);
}

/* A coarse grid of times, so that equal costs are common; regular: begins go up with ends. */
static void make(struct matching *c, size_t most, int64_t span, bool regular)
{
	int64_t begin_ms = 0;

	memset(c, 0, sizeof(*c));
	c->rules = (struct pw_match_rules){ .before_s = 60 * (uint32_t)below(8),
					    .after_s = 60 * (uint32_t)below(8),
					    .no_stop_s = 60 * (uint32_t)below(6),
					    .no_run_s = 60 * (uint32_t)below(6) };
	c->in.runs = (size_t)below((int64_t)most + 1);
	c->in.stops = (size_t)below((int64_t)most + 1);
	for (size_t i = 0; i < c->in.runs; i++)
		c->run[i].end_ms = below(span) * MIN;
	qsort(c->run, c->in.runs, sizeof(c->run[0]), by_end);
	for (size_t i = 0; i < c->in.runs; i++) {
		const int64_t own_ms = c->run[i].end_ms - below(6) * MIN;

		if (!regular || own_ms > begin_ms)
			begin_ms = own_ms;
		c->run[i].begin_ms = begin_ms;
	}
	for (size_t i = 0; i < c->in.stops; i++)
		c->stop[i] = (struct pw_stop){ .key_off_ms = below(span) * MIN,
					       .verdict = PW_DONE, .clock_ok = true };
	qsort(c->stop, c->in.stops, sizeof(c->stop[0]), by_time);
}

/* The cheapest of all that keep the order, and of the cheapest the one that the header names. */
static void test_every_matching(void **state)
{
	static struct matching c;

	(void)state;
	seed_random();
	for (int n = 0; n < 20000; n++) {
		struct best b = { .cost = INT64_MAX, .ordered = true };

		make(&c, 6, 20, n % 2);
		solve(&c);
		try_all(&c, 0, 0, 0, &b);
		assert_int_equal(cost_of(&c), b.cost);
		for (size_t i = 0; i < c.in.runs; i++)
			assert_int_equal(c.match[i].stop, b.stop[i]);
	}
}

/* Where begins go up with ends, no matching at all is cheaper, in whatever order. */
static void test_order_costs_nothing(void **state)
{
	static struct matching c;

	(void)state;
	seed_random();
	for (int n = 0; n < 5000; n++) {
		struct best b = { .cost = INT64_MAX };

		make(&c, 5, 15, true);
		solve(&c);
		try_all(&c, 0, 0, 0, &b);
		assert_int_equal(cost_of(&c), b.cost);
	}
}

/* -- larger ones ----------------------------------------------------------------------------- */

/* One case of match.csv, up to its cost; false: no more. */
static bool read_case(struct pw_csv *csv, struct matching *c, int64_t *cost)
{
	struct pw_csv_row row;
	char why[200];

	memset(c, 0, sizeof(*c));
	while (pw_csv_next(csv, &row, why, sizeof(why)) == 1) {
		const char *what = row.field[1];
		int64_t a[4];

		for (int i = 0; i < 4; i++)
			a[i] = strtoll(row.field[2 + i], NULL, 10);
		if (!strcmp(what, "rules"))
			c->rules = (struct pw_match_rules){
				(uint32_t)(a[0] / 1000), (uint32_t)(a[1] / 1000),
				(uint32_t)(a[2] / 1000), (uint32_t)(a[3] / 1000), 0 };
		else if (!strcmp(what, "run"))
			c->run[c->in.runs++] = (struct pw_planned){ a[0], a[1], 0 };
		else if (!strcmp(what, "stop"))
			c->stop[c->in.stops++] = (struct pw_stop){ .key_off_ms = a[0],
								   .verdict = PW_DONE };
		*cost = a[0];
		if (!strcmp(what, "cost"))
			return true;
	}
	return false;
}

static void test_as_scipy(void **state)
{
	static struct matching c;
	FILE *f = fopen("tests/office/data/match.csv", "r");
	int cases = 0, pairs = 0;
	struct pw_csv *csv;
	int64_t cost;
	char why[200];

	(void)state;
	assert_non_null(f);
	assert_int_equal(pw_csv_open(f, &csv, why, sizeof(why)), 0);
	while (read_case(csv, &c, &cost)) {
		solve(&c);
		assert_int_equal(cost_of(&c), cost);
		for (size_t i = 0; i < c.in.runs; i++)
			pairs += c.match[i].stop != PW_NO_STOP;
		cases++;
	}
	assert_int_equal(cases, 150);
	assert_true(pairs > 1000);
	pw_csv_close(csv);
	fclose(f);
}

/* -- what is said ---------------------------------------------------------------------------- */

/* A run from 7:00 to 8:00; the windows are 45 min before and 90 min after, unless it says
 * otherwise. */
static struct matching one_run(void)
{
	struct matching c = { .rules = pw_match_usual };

	c.run[0] = (struct pw_planned){ 420 * MIN, 480 * MIN, 1 };
	c.in.runs = 1;
	return c;
}

static void add_stop(struct matching *c, int64_t minute, enum pw_verdict verdict)
{
	c->stop[c->in.stops++] = (struct pw_stop){ minute * MIN, verdict, 1, true, 0 };
}

static void assert_words(const struct pw_match *m, const char *expected)
{
	char words[160];

	pw_match_words(m, words, sizeof(words));
	assert_string_equal(words, expected);
}

static void test_verdicts(void **state)
{
	static const struct { enum pw_verdict verdict; enum pw_result result; } row[] = {
		{ PW_DONE, PW_RESULT_WALKED }, { PW_LATE, PW_RESULT_LATE },
		{ PW_DOUBTFUL, PW_RESULT_DOUBTFUL }, { PW_MISSED, PW_RESULT_MISSED },
		{ 0, PW_RESULT_NOT_YET },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct matching c = one_run();

		add_stop(&c, 484, row[i].verdict);
		solve(&c);
		assert_string_equal(pw_result_name(c.match[0].result),
				    pw_result_name(row[i].result));
		assert_int_equal(c.match[0].why, PW_NO_RECORD_NONE);
		assert_int_equal(c.match[0].off_s, 240);
		assert_int_equal(c.match[0].reason, PW_REASON_ONLY);
	}
}

/* Each edge of the window, and the begin of the run within it. */
static void test_window(void **state)
{
	static const struct { int64_t begin, minute; bool taken; } row[] = {
		{ 420, 434, false }, { 420, 435, true }, { 420, 570, true }, { 420, 571, false },
		{ 460, 459, false }, { 460, 460, true },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct matching c = one_run();

		c.run[0].begin_ms = row[i].begin * MIN;
		add_stop(&c, row[i].minute, PW_DONE);
		solve(&c);
		assert_int_equal(c.match[0].stop, row[i].taken ? 0 : PW_NO_STOP);
		assert_int_equal(c.run_of[0], row[i].taken ? 0 : PW_NO_RUN);
	}
}

static void test_reasons(void **state)
{
	struct matching c = one_run();

	(void)state;
	add_stop(&c, 470, PW_DONE);
	add_stop(&c, 495, PW_MISSED);
	solve(&c);
	assert_int_equal(c.match[0].stop, 0);
	assert_int_equal(c.run_of[1], PW_NO_RUN);
	assert_words(&c.match[0],
		     "walked: key-off 10 min before the planned end; the nearest of 2 stops");
	/* a second run, from 8:05 to 8:30, is ended by the later stop */
	c.run[1] = (struct pw_planned){ 485 * MIN, 510 * MIN, 1 };
	c.in.runs = 2;
	c.stop[1].clock_ok = false;
	solve(&c);
	assert_int_equal(c.match[1].stop, 1);
	assert_words(&c.match[1], "missed: key-off 15 min before the planned end; the only stop "
		     "near it; its clock is doubtful");
	/* it is nearer to the first run's end now, and yet the second has no other */
	c.stop[0].key_off_ms = 450 * MIN;
	c.stop[1].key_off_ms = 490 * MIN;
	solve(&c);
	assert_int_equal(c.match[0].stop, 0);
	assert_int_equal(c.match[1].stop, 1);
	assert_words(&c.match[0], "walked: key-off 30 min before the planned end; of 2 stops the "
		     "one that costs least in all");
	/* and if there is but the one, it is the nearer run's */
	c.in.stops = 1;
	c.stop[0].key_off_ms = 500 * MIN;
	solve(&c);
	assert_words(&c.match[0],
		     "no_record: bus_silent; other runs have the 1 near its end");
}

/* What was heard of the bus from the planned end, 8:00, to the end of the window, 9:30. */
static void test_no_record(void **state)
{
	static const struct {
		int64_t from, to;
		bool clock_ok;
		int64_t stray; /* a stop whose clock is doubtful; 0: none */
		enum pw_no_record why;
	} row[] = {
		{ 0, 0, true, 0, PW_NO_RECORD_BUS_SILENT },
		{ 400, 479, true, 0, PW_NO_RECORD_BUS_SILENT },
		{ 571, 700, true, 0, PW_NO_RECORD_BUS_SILENT },
		{ 400, 480, true, 0, PW_NO_RECORD_NO_KEY_OFF },
		{ 570, 700, true, 0, PW_NO_RECORD_NO_KEY_OFF },
		{ 500, 510, true, 300, PW_NO_RECORD_NO_KEY_OFF },
		{ 500, 510, false, 0, PW_NO_RECORD_CLOCK_DOUBTFUL },
		{ 400, 479, false, 0, PW_NO_RECORD_BUS_SILENT },
		{ 0, 0, true, 480 + 1440, PW_NO_RECORD_CLOCK_DOUBTFUL },
		{ 0, 0, true, 480 - 1440, PW_NO_RECORD_CLOCK_DOUBTFUL },
		{ 0, 0, true, 480 + 1441, PW_NO_RECORD_BUS_SILENT },
		{ 0, 0, true, 480 - 1441, PW_NO_RECORD_BUS_SILENT },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		const struct pw_heard heard[] = { { -900 * MIN, -800 * MIN, true },
			{ row[i].from * MIN, row[i].to * MIN, row[i].clock_ok } };
		struct matching c = one_run();

		c.in.heard = heard;
		c.in.heards = row[i].to ? 2 : 1;
		if (row[i].stray) {
			add_stop(&c, row[i].stray, PW_DONE);
			c.stop[0].clock_ok = false;
		}
		solve(&c);
		assert_int_equal(c.match[0].result, PW_RESULT_NO_RECORD);
		assert_string_equal(pw_no_record_name(c.match[0].why),
				    pw_no_record_name(row[i].why));
	}
}

/* A stray stop that another run has, or whose clock was right, explains nothing. */
static void test_no_stray(void **state)
{
	struct matching c = one_run();

	(void)state;
	add_stop(&c, 300, PW_DONE);
	solve(&c);
	assert_words(&c.match[0], "no_record: bus_silent");
	c.run[1] = c.run[0];
	c.run[0] = (struct pw_planned){ 200 * MIN, 300 * MIN, 1 };
	c.in.runs = 2;
	c.stop[0].clock_ok = false;
	solve(&c);
	assert_int_equal(c.match[0].result, PW_RESULT_WALKED);
	assert_true(c.match[0].clock_doubtful);
	assert_words(&c.match[1], "no_record: bus_silent");
}

static void test_not_yet(void **state)
{
	struct matching c = one_run();

	(void)state;
	c.in.now_ms = 570 * MIN;
	solve(&c);
	assert_words(&c.match[0], "not_yet");
	c.in.now_ms = 570 * MIN + 1;
	solve(&c);
	assert_words(&c.match[0], "no_record: bus_silent");
}

static void match_others(const struct pw_match_in *in, struct pw_match *m)
{
	struct pw_match *match[4];
	char why[200];

	for (size_t i = 0; i < in->runs; i++) {
		m[i] = (struct pw_match){ .result = PW_RESULT_NO_RECORD,
					  .why = PW_NO_RECORD_BUS_SILENT, .stop = PW_NO_STOP };
		match[i] = &m[i];
	}
	assert_int_equal(pw_match_others(&pw_match_usual, in, match, why, sizeof(why)), 0);
}

/* Two runs of buses 1 and 2 without a record, two stops without a run: of bus 1 itself, and of
 * bus 3. Its own stop is none of bus 1's; of the two, bus 3's is the nearer to the run of bus 2. */
static void test_other_bus(void **state)
{
	static const struct pw_planned run[] = { { 420 * MIN, 480 * MIN, 1 },
						 { 430 * MIN, 485 * MIN, 2 } };
	struct pw_stop stop[] = { { 478 * MIN, PW_DONE, 1, true, INT64_MIN },
				  { 490 * MIN, PW_MISSED, 3, true, INT64_MIN } };
	const struct pw_match_in in = { .run = run, .stop = stop, .runs = 2, .stops = 2 };
	struct pw_match m[2];

	(void)state;
	match_others(&in, m);
	assert_words(&m[0], "no_record: bus_silent");
	assert_words(&m[1], "no_record: other_bus: key-off 5 min after the planned end; the "
		     "nearest of 2 stops");
	assert_int_equal(m[1].stop, 1);
	assert_int_equal(m[1].result, PW_RESULT_NO_RECORD);
	stop[1].key_off_ms = 501 * MIN; /* more than 15 min: bus 1's own it is */
	match_others(&in, m);
	assert_int_equal(m[1].stop, 0);
	assert_int_equal(m[1].why, PW_NO_RECORD_OTHER_BUS);
}

/* A bus that had a run of its own at the time did not drive this one. */
static void test_other_bus_busy(void **state)
{
	static const struct { int64_t begin, end, key_off; bool free; } row[] = {
		{ 300, 420, 482, true },  { 300, 421, 482, false }, { 430, 500, 482, false },
		{ 483, 540, 482, true },  { 482, 540, 482, true },  { 481, 540, 482, false },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		struct matching c = { .rules = pw_match_usual, .in.runs = 1, .in.stops = 1 };
		const struct pw_planned run = { 420 * MIN, 480 * MIN, 1 };
		struct pw_match_in in = { .run = &run, .runs = 1, .stops = 1 };
		struct pw_match m;

		c.run[0] = (struct pw_planned){ row[i].begin * MIN, row[i].end * MIN, 2 };
		c.stop[0] = (struct pw_stop){ row[i].key_off * MIN, PW_DONE, 2, true, 0 };
		solve(&c);
		in.stop = c.stop;
		match_others(&in, &m);
		assert_int_equal(m.why, row[i].free ? PW_NO_RECORD_OTHER_BUS :
						      PW_NO_RECORD_BUS_SILENT);
	}
}

/* A year of a bus at once: what is far apart stays apart, and memory goes with the windows. */
static void test_a_year(void **state)
{
	enum { DAYS = 180, A_DAY = 8 };
	struct pw_planned *run = calloc(DAYS * A_DAY, sizeof(*run));
	struct pw_stop *stop = calloc(DAYS * A_DAY, sizeof(*stop));
	struct pw_match *match = calloc(DAYS * A_DAY, sizeof(*match));
	uint32_t *run_of = calloc(DAYS * A_DAY, sizeof(*run_of));
	const struct pw_match_in in = { .run = run, .stop = stop, .runs = DAYS * A_DAY,
					.stops = DAYS * A_DAY, .now_ms = INT64_MAX };
	char why[200];

	(void)state;
	for (int i = 0; i < DAYS * A_DAY; i++) {
		const int64_t end = i / A_DAY * 1440 + 400 + i % A_DAY * 60;

		run[i] = (struct pw_planned){ (end - 40) * MIN, end * MIN, 1 };
		stop[i] = (struct pw_stop){ (end + i % 7 - 3) * MIN, PW_DONE, 1, true, 0 };
	}
	assert_int_equal(pw_match(&pw_match_usual, &in, match, run_of, why, sizeof(why)), 0);
	for (uint32_t i = 0; i < DAYS * A_DAY; i++) {
		assert_int_equal(match[i].stop, i);
		assert_true(match[i].off_s == ((int)i % 7 - 3) * 60);
		assert_int_equal(match[i].result, PW_RESULT_WALKED);
	}
	free(run);
	free(stop);
	free(match);
	free(run_of);
}

/* Far too many stops at one time: a sentence, and nothing of it done. */
static void test_too_many(void **state)
{
	enum { MANY = 20000 };
	struct pw_planned *run = calloc(MANY, sizeof(*run));
	struct pw_stop *stop = calloc(MANY, sizeof(*stop));
	struct pw_match *match = calloc(MANY, sizeof(*match));
	uint32_t *run_of = calloc(MANY, sizeof(*run_of));
	const struct pw_match_in in = { .run = run, .stop = stop, .runs = MANY, .stops = MANY };
	char why[200];

	(void)state;
	assert_int_equal(pw_match(&pw_match_usual, &in, match, run_of, why, sizeof(why)), -2);
	assert_string_equal(why, "400020001 stops are within the windows of 20000 runs; expected "
			    "fewer: take fewer days at a time");
	free(run);
	free(stop);
	free(match);
	free(run_of);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_every_matching), cmocka_unit_test(test_order_costs_nothing),
		cmocka_unit_test(test_as_scipy), cmocka_unit_test(test_verdicts),
		cmocka_unit_test(test_window), cmocka_unit_test(test_reasons),
		cmocka_unit_test(test_no_record), cmocka_unit_test(test_no_stray),
		cmocka_unit_test(test_not_yet), cmocka_unit_test(test_other_bus),
		cmocka_unit_test(test_other_bus_busy),
		cmocka_unit_test(test_a_year), cmocka_unit_test(test_too_many),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
