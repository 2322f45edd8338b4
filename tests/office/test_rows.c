/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Rows against what is known without them: a plain matching of all that was planned and delivered,
 * each filter by hand over all rows, and what SQLite says it would do (EXPLAIN QUERY PLAN,
 * https://www.sqlite.org/eqp.html).
 */
#include <sqlite3.h>

#include "audit_random.h"

/* -- a plain recomputation --------------------------------------------------------------------- */

static struct pw_planned run[PER_BUS];
static struct pw_stop stop[PER_BUS];
static struct pw_match match[PER_BUS];
static uint32_t run_of[PER_BUS];
static const struct pw_plan *plan_at[PER_BUS];
static const struct pw_sweep_row *sweep_at[PER_BUS];
static const struct made_bus *ordering;

static int by_end(const void *a, const void *b)
{
	const struct pw_plan *x = *(const struct pw_plan *const *)a;
	const struct pw_plan *y = *(const struct pw_plan *const *)b;

	if (x->end_ms != y->end_ms)
		return x->end_ms < y->end_ms ? -1 : 1;
	if (x->begin_ms != y->begin_ms)
		return x->begin_ms < y->begin_ms ? -1 : 1;
	return x->day != y->day ? x->day - y->day : strcmp(x->run, y->run);
}

static int by_key_off(const void *a, const void *b)
{
	const struct pw_sweep_row *x = *(const struct pw_sweep_row *const *)a;
	const struct pw_sweep_row *y = *(const struct pw_sweep_row *const *)b;

	if (x->key_off_ms != y->key_off_ms)
		return x->key_off_ms < y->key_off_ms ? -1 : 1;
	return x < y ? -1 : x > y;
}

/* All of a bus at once. It was at work from its first record to its last: all are of one start. */
static void match_all(const struct made_bus *b)
{
	struct pw_heard heard = { INT64_MAX, INT64_MIN, true };
	struct pw_match_in in = { .run = run, .stop = stop, .heard = &heard, .runs = b->plans,
				  .stops = b->sweeps, .heards = b->sweeps > 0,
				  .now_ms = RANDOM_NOW };

	ordering = b;
	for (size_t i = 0; i < b->plans; i++)
		plan_at[i] = &b->plan[i];
	for (size_t i = 0; i < b->sweeps; i++) {
		const int64_t ms = b->sweep[i].closed_ms;

		sweep_at[i] = &b->sweep[i];
		heard.from_ms = ms < heard.from_ms ? ms : heard.from_ms;
		heard.to_ms = ms > heard.to_ms ? ms : heard.to_ms;
	}
	qsort(plan_at, b->plans, sizeof(plan_at[0]), by_end);
	qsort(sweep_at, b->sweeps, sizeof(sweep_at[0]), by_key_off);
	for (size_t i = 0; i < b->plans; i++)
		run[i] = (struct pw_planned){ plan_at[i]->begin_ms, plan_at[i]->end_ms, 0 };
	for (size_t i = 0; i < b->sweeps; i++)
		stop[i] = (struct pw_stop){ .key_off_ms = sweep_at[i]->key_off_ms, .clock_ok = true,
					    .verdict = sweep_at[i]->verdict };
	FINE(pw_match(&pw_match_usual, &in, match, run_of, WHY));
}

static const struct pw_audit_row *find_run(const struct pw_plan *p)
{
	for (size_t i = 0; i < row_count; i++)
		if (strcmp(rows[i].key.bus, p->bus) == 0 && rows[i].key.day == p->day
		    && strcmp(rows[i].key.run, p->run) == 0)
			return &rows[i];
	fail_msg("no row of bus %s, %d, run %s", p->bus, p->day, p->run);
	return NULL;
}

static bool other_was_near(const struct pw_audit_row *r)
{
	for (size_t i = 0; i < row_count; i++)
		if (strcmp(rows[i].key.bus, r->key.bus) != 0
		    && rows[i].result == PW_RESULT_UNPLANNED
		    && llabs(rows[i].at_ms - r->end_ms) <= 15 * MINUTE_MS)
			return true;
	return false;
}

static void check_run(const struct made_bus *b, size_t i)
{
	const struct pw_plan *p = plan_at[i];
	const struct pw_audit_row *r = find_run(p);
	const struct pw_match *m = &match[i];

	assert_int_equal(r->begin_ms, p->begin_ms);
	assert_int_equal(r->end_ms, p->end_ms);
	assert_string_equal(r->route, p->route);
	assert_string_equal(r->driver, p->driver);
	assert_int_equal(r->result, m->result);
	assert_int_equal(r->stops, m->stops);
	assert_int_equal(r->off_s, m->off_s);
	assert_int_equal(r->reason, m->reason);
	if (r->why == PW_NO_RECORD_OTHER_BUS)
		assert_true(other_was_near(r));
	else
		assert_int_equal(r->why, m->why);
	assert_int_equal(r->seq, m->stop != PW_NO_STOP ? sweep_at[m->stop] - b->sweep + 1 : 0);
}

static void check_stop(const struct made_bus *b, size_t i)
{
	const uint64_t seq = (uint64_t)(sweep_at[i] - b->sweep) + 1;
	const struct pw_sweep_row *s = sweep_at[i];
	const struct pw_audit_row *r = NULL;

	for (size_t k = 0; k < row_count; k++)
		if (strcmp(rows[k].key.bus, b->bus) == 0 && rows[k].seq == seq) {
			assert_null(r); /* one sweep, one row */
			r = &rows[k];
		}
	assert_non_null(r);
	assert_int_equal(r->at_ms, s->key_off_ms);
	assert_int_equal(r->verdict, s->verdict);
	assert_int_equal(r->findings, s->findings);
	assert_string_equal(r->rung, s->rung);
	assert_int_equal(r->walk_ms, s->walk_ms);
	assert_int_equal(r->closed_ms, s->closed_ms);
	assert_int_equal(r->unchecked_ms, s->verdict == PW_MISSED ? s->closed_ms - s->key_off_ms
								  : 40000);
	if (run_of[i] != PW_NO_RUN)
		return;
	assert_int_equal(r->result, PW_RESULT_UNPLANNED);
	assert_int_equal(r->key.day, date_of(s->key_off_ms));
	assert_int_equal(r->key.seq, seq);
}

static void rows_are_what_a_plain_matching_gives(struct world *w)
{
	size_t stops_alone = 0, runs = 0;

	begin_chance();
	live(w->s, 150);
	for (size_t i = 0; i < BUSES; i++) {
		const struct made_bus *b = &made_bus[i];

		match_all(b);
		for (size_t k = 0; k < b->plans; k++)
			check_run(b, k);
		for (size_t k = 0; k < b->sweeps; k++) {
			check_stop(b, k);
			stops_alone += run_of[k] == PW_NO_RUN;
		}
		runs += b->plans;
	}
	assert_int_equal(row_count, runs + stops_alone);
	assert_true(runs > 10);
}

/* -- filters ----------------------------------------------------------------------------------- */

static struct pw_audit_row page[ROWS_MAX];
static size_t page_count;

static int take_page(void *ctx, const struct pw_audit_row *row)
{
	(void)ctx;
	assert_true(page_count < ROWS_MAX);
	page[page_count++] = *row;
	return 0;
}

static void any_filter(struct pw_audit_filter *f)
{
	const struct pw_audit_row *r = &rows[chance((unsigned)row_count)];

	*f = (struct pw_audit_filter){ .longest = chance(6) == 0 };
	if (chance(4) == 0)
		strcpy(f->bus, r->key.bus);
	if (chance(5) == 0)
		strcpy(f->driver, r->driver);
	if (chance(5) == 0)
		strcpy(f->route, r->route);
	if (chance(5) == 0)
		strcpy(f->rung, r->rung);
	if (chance(3) == 0)
		f->results = chance(1u << PW_RESULTS) & ~1u;
	if (chance(4) == 0)
		f->verdicts = chance(1u << (PW_MISSED + 1)) & ~1u;
	if (chance(3) == 0)
		f->findings = chance(2) ? 1u << chance(PW_FINDINGS) : chance(1u << PW_FINDINGS);
	if (chance(3) == 0)
		f->from = r->key.day;
	if (chance(3) == 0)
		f->to = r->key.day;
}

static bool suits(const struct pw_audit_filter *f, const struct pw_audit_row *r)
{
	const enum pw_result stands = r->corrected ? r->corrected : r->result;

	return (f->bus[0] == '\0' || strcmp(f->bus, r->key.bus) == 0)
	       && (f->driver[0] == '\0' || strcmp(f->driver, r->driver) == 0)
	       && (f->route[0] == '\0' || strcmp(f->route, r->route) == 0)
	       && (f->rung[0] == '\0' || strcmp(f->rung, r->rung) == 0)
	       && (f->results == 0 || (f->results & 1u << stands) != 0)
	       && (f->verdicts == 0 || (r->verdict != 0 && (f->verdicts & 1u << r->verdict) != 0))
	       && (f->findings == 0 || (f->findings & r->findings) != 0)
	       && (f->from == 0 || r->key.day >= f->from) && (f->to == 0 || r->key.day <= f->to)
	       && (!f->longest || (r->verdict == PW_MISSED && r->unchecked_ms >= 0));
}

static bool longest;

/* rows are in the order of bus, day and time: where all else is equal, that turned round. */
static int newest_first(const void *a, const void *b)
{
	const struct pw_audit_row *x = *(const struct pw_audit_row *const *)a;
	const struct pw_audit_row *y = *(const struct pw_audit_row *const *)b;
	const int64_t m = longest ? x->unchecked_ms : x->at_ms;
	const int64_t n = longest ? y->unchecked_ms : y->at_ms;

	if (m != n)
		return m > n ? -1 : 1;
	return x > y ? -1 : x < y;
}

static void check_filter(struct pw_store *s, const struct pw_audit_filter *f)
{
	const struct pw_audit_row *want[ROWS_MAX];
	const unsigned limit = 1 + chance(20);
	size_t wanted = 0, before;

	for (size_t i = 0; i < row_count; i++)
		if (suits(f, &rows[i]))
			want[wanted++] = &rows[i];
	longest = f->longest;
	qsort(want, wanted, sizeof(want[0]), newest_first);
	page_count = 0;
	do {
		const struct pw_audit_row *last = page_count > 0 ? &page[page_count - 1] : NULL;

		before = page_count;
		FINE(pw_audit_rows(s, f, last, limit, take_page, NULL, WHY));
		assert_true(page_count - before <= limit);
	} while (page_count - before == limit);
	assert_int_equal(page_count, wanted);
	for (size_t i = 0; i < wanted; i++)
		assert_memory_equal(&page[i], want[i], sizeof(page[i]));
	page_count = 0;
	FINE(pw_audit_each(s, f, take_page, NULL, WHY));
	assert_int_equal(page_count, wanted);
}

static void each_filter_gives_what_a_hand_would(struct world *w)
{
	struct pw_audit_filter f;
	struct pw_audit_row one;

	begin_chance();
	live(w->s, 120);
	assert_true(row_count > 0);
	for (unsigned i = 0; i < 120; i++) {
		any_filter(&f);
		check_filter(w->s, &f);
	}
	for (size_t i = 0; i < row_count; i++) {
		assert_int_equal(pw_audit_row(w->s, &rows[i].key, &one, WHY), 1);
		assert_memory_equal(&one, &rows[i], sizeof(one));
	}
	rows[0].key.day = 20200101;
	assert_int_equal(pw_audit_row(w->s, &rows[0].key, &one, WHY), 0);
}

/* -- indexes ----------------------------------------------------------------------------------- */

/* What SQLite would do, one step after the other. */
static void explain(sqlite3 *db, const char *sql, char *said, size_t size)
{
	sqlite3_stmt *statement;
	char *explained = sqlite3_mprintf("EXPLAIN QUERY PLAN %s", sql);

	said[0] = '\0';
	if (sqlite3_prepare_v2(db, explained, -1, &statement, NULL) != SQLITE_OK)
		fail_msg("%s: %s", sqlite3_errmsg(db), sql);
	while (sqlite3_step(statement) == SQLITE_ROW)
		snprintf(said + strlen(said), size - strlen(said), "%s; ",
			 (const char *)sqlite3_column_text(statement, 3));
	sqlite3_finalize(statement);
	sqlite3_free(explained);
}

static const struct indexed {
	struct pw_audit_filter f;
	const char *index;
	bool sorts; /* a few rows */
} indexed[] = {
	{ { .bus = "" }, "outcome_at", false },
	{ { .from = 20261001, .to = 20261031 }, "outcome_at", true },
	{ { .from = 20261025, .to = 20261025 }, "outcome_day", false },
	{ { .bus = "14" }, "outcome_bus", false },
	{ { .driver = "d-1" }, "outcome_driver", false },
	{ { .driver = "d-1", .results = 1u << PW_RESULT_MISSED, .from = 20261001 },
	  "outcome_driver", false },
	{ { .route = "R7" }, "outcome_route", false },
	{ { .results = 1u << PW_RESULT_MISSED }, "outcome_stands", false },
	{ { .results = 1u << PW_RESULT_NO_RECORD, .from = 20261001 }, "outcome_stands", false },
	{ { .results = 1u << PW_RESULT_MISSED | 1u << PW_RESULT_DOUBTFUL }, "outcome_stands", true },
	{ { .results = 1u << PW_RESULT_WALKED }, "outcome_at", false },
	{ { .verdicts = 1u << PW_MISSED }, "outcome_verdict", false },
	{ { .verdicts = 1u << PW_MISSED, .results = 1u << PW_RESULT_LATE }, "outcome_stands", false },
	{ { .findings = 1u << PW_F_MUTED }, "SEARCH f USING PRIMARY KEY (finding", false },
	{ { .findings = 1u << PW_F_MUTED | 1u << PW_F_CARRIED },
	  "SEARCH f USING PRIMARY KEY (finding", true },
	{ { .findings = (1u << PW_FINDINGS) - 1 }, "outcome_findings", false },
	{ { .rung = "cabin" }, "outcome_rung", false },
	{ { .rung = "none" }, "outcome_at", false },
	{ { .longest = true }, "outcome_unchecked", false },
	{ { .longest = true, .from = 20261001, .to = 20261031 }, "outcome_verdict", true },
	{ { .longest = true, .from = 20260701, .to = 20261031 }, "outcome_unchecked", false },
	{ { .longest = true, .bus = "14" }, "(bus=?", true },
	{ { .longest = true, .driver = "d-1" }, "outcome_driver", true },
};

static void each_filter_has_an_index(struct world *w)
{
	const struct pw_filter_from from = { .at_ms = NOON_MS, .bus = "14", .day = 20261025,
					     .nth = 3 };
	static struct pw_filter_sql made;
	static char said[4000];
	sqlite3 *db;

	if (w->pgsql)
		return; /* with so few rows it reads them all, and rightly */
	pw_store_close(w->s);
	w->s = NULL;
	assert_int_equal(sqlite3_open(w->where, &db), SQLITE_OK);
	for (size_t i = 0; i < 2 * sizeof(indexed) / sizeof(indexed[0]); i++) {
		const struct indexed *x = &indexed[i / 2];

		pw_filter_page(&x->f, i % 2 ? &from : NULL, 100, &made);
		explain(db, made.sql, said, sizeof(said));
		if (strstr(said, x->index) == NULL || strstr(said, "SCAN o;") != NULL
		    || (!x->sorts && strstr(said, "TEMP B-TREE") != NULL))
			fail_msg("filter %zu: %s\n%s", i / 2, said, made.sql);
	}
	sqlite3_close(db);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
}

/* By their statements, as store_rows.c and renew.c ask them. */
static void what_is_asked_often_has_an_index(struct world *w)
{
	static const enum pw_question often[] = {
		PW_Q_DIRTY_NEXT, PW_Q_DIRTY_BUS, PW_Q_DIRTY_DUE, PW_Q_DIRTY_SILENT, PW_Q_DIRTY_NEAR,
		PW_Q_AWAKES, PW_Q_SIGNERS, PW_Q_PLANS_END, PW_Q_BUSY,
		PW_Q_CORRECTIONS_DAYS, PW_Q_STOPS, PW_Q_STOPS_CAME, PW_Q_STRAYS, PW_Q_WARMEST,
		PW_Q_ROW_RUN, PW_Q_ROW_SWEEP, PW_Q_ROWS_DAYS, PW_Q_ROWS_BUS, PW_Q_TALLIES,
		PW_Q_TALLIES_SPAN, PW_Q_TALLIES_NAME, PW_Q_SPREAD, PW_Q_LINES,
	};
	static char said[4000];
	sqlite3 *db;

	if (w->pgsql)
		return;
	pw_store_close(w->s);
	w->s = NULL;
	assert_int_equal(sqlite3_open(w->where, &db), SQLITE_OK);
	for (size_t i = 0; i < sizeof(often) / sizeof(often[0]); i++) {
		explain(db, pw_statement[often[i]].sql, said, sizeof(said));
		if (strstr(said, "SCAN") != NULL && strstr(said, "USING") == NULL)
			fail_msg("%s\n%s", said, pw_statement[often[i]].sql);
	}
	sqlite3_close(db);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(rows_are_what_a_plain_matching_gives), CASE(each_filter_gives_what_a_hand_would),
		CASE(each_filter_has_an_index), CASE(what_is_asked_often_has_an_index),
	};

	return audit_main(cases, sizeof(cases) / sizeof(cases[0]));
}
