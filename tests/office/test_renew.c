/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Rows as they are made of planned runs and sweeps (docs/runs.md, Matching; include/postwalk/audit.h).
 * Moments are of America/Denver: on 2026-11-01 its clocks go back at 2:00 (`zdump -v`).
 */
#include "audit_help.h"

#define MONDAY 20261026
#define NOW at(20261101, 12, 0)

/* -- one run ----------------------------------------------------------------------------------- */

static void sweep_of_a_run_is_its_row(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 4), PW_LATE);
	const struct pw_audit_row *r;

	s.findings = 1u << PW_F_MUTED;
	s.refused = 3;
	plan(w->s, &p);
	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	r = row_of(w->s, "7");
	assert_int_equal(row_count, 1);
	assert_string_equal(r->key.bus, "14");
	assert_int_equal(r->key.day, MONDAY);
	assert_int_equal(r->at_ms, s.key_off_ms);
	assert_string_equal(r->route, "R7");
	assert_string_equal(r->place, "north yard");
	assert_int_equal(r->begin_ms, p.begin_ms);
	assert_int_equal(r->end_ms, p.end_ms);
	assert_int_equal(r->result, PW_RESULT_LATE);
	assert_int_equal(r->reason, PW_REASON_ONLY);
	assert_int_equal(r->stops, 1);
	assert_int_equal(r->off_s, 240);
	assert_string_equal(r->epoch, EPOCH);
	assert_int_equal(r->seq, 1);
	assert_true(r->clock_ok);
	assert_int_equal(r->findings, s.findings);
	assert_int_equal(r->refused, 3);
	assert_int_equal(r->unchecked_ms, 40000);
	assert_int_equal(r->warmest_c10, INT32_MIN);
	assert_int_equal(r->corrected, PW_RESULT_NONE);
}

static void row_changes_when_its_sweep_comes(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	const struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 4), PW_DONE);
	const struct pw_audit_row *r;

	plan(w->s, &p);
	renew(w->s, at(MONDAY, 6, 0));
	assert_int_equal(row_of(w->s, "7")->result, PW_RESULT_NOT_YET);
	/* its window is over at 9:30 */
	IN_TRANSACTION(w->s, pw_audit_due(w->s, at(MONDAY, 9, 30), WHY));
	renew(w->s, at(MONDAY, 9, 30));
	assert_int_equal(row_of(w->s, "7")->result, PW_RESULT_NOT_YET);
	IN_TRANSACTION(w->s, pw_audit_due(w->s, at(MONDAY, 9, 31), WHY));
	renew(w->s, at(MONDAY, 9, 31));
	r = row_of(w->s, "7");
	assert_int_equal(r->result, PW_RESULT_NO_RECORD);
	assert_int_equal(r->why, PW_NO_RECORD_BUS_SILENT); /* never delivered at all */
	assert_int_equal(r->at_ms, p.end_ms);
	assert_int_equal(r->seq, 0);
	assert_int_equal(r->unchecked_ms, PW_NO_TIME);
	deliver(w->s, "14", &s, 1);
	renew(w->s, at(MONDAY, 10, 0));
	r = row_of(w->s, "7");
	assert_int_equal(r->result, PW_RESULT_WALKED);
	assert_int_equal(row_count, 1);
}

static void sweep_without_a_run_becomes_one_of_a_run(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 22, 0), at(MONDAY, 23, 55));
	const struct pw_sweep_row s = a_sweep(at(MONDAY + 1, 0, 10), PW_MISSED);

	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
	assert_int_equal(rows[0].result, PW_RESULT_UNPLANNED);
	assert_int_equal(rows[0].key.day, MONDAY + 1);
	assert_string_equal(rows[0].key.epoch, EPOCH);
	assert_int_equal(rows[0].key.seq, 1);
	plan(w->s, &p); /* over midnight, of the day before */
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->result, PW_RESULT_MISSED);
	assert_int_equal(row_count, 1);
	assert_int_equal(rows[0].key.day, MONDAY);
	assert_int_equal(rows[0].unchecked_ms, 90000);
}

static void plan_that_came_again_is_the_newer_one(struct world *w)
{
	struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	const struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 4), PW_DONE);

	plan(w->s, &p);
	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	p.begin_ms = at(MONDAY, 14, 0);
	p.end_ms = at(MONDAY, 15, 0);
	strcpy(p.driver, "d-31");
	plan(w->s, &p);
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 2);
	assert_int_equal(rows[0].result, PW_RESULT_UNPLANNED);
	assert_int_equal(rows[1].result, PW_RESULT_NO_RECORD);
	assert_string_equal(rows[1].driver, "d-31");
}

/* -- why there is no record -------------------------------------------------------------------- */

static void bus_that_was_heard_before_and_after_had_no_key_off(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	const struct pw_sweep_row before = a_sweep(at(20261023, 8, 0), PW_DONE);
	const struct pw_sweep_row after = a_sweep(at(20261030, 8, 0), PW_DONE);

	plan(w->s, &p);
	deliver(w->s, "14", &before, 1);
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->why, PW_NO_RECORD_BUS_SILENT);
	deliver(w->s, "14", &after, 1); /* of the same start: it was at work all the time */
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->why, PW_NO_RECORD_NO_KEY_OFF);
}

static void sweep_by_a_wrong_clock_is_listed_by_when_it_came(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	struct pw_sweep_row s = a_sweep(at(20200101, 8, 0), PW_DONE);

	s.wall_ok = false;
	s.came_ms = at(MONDAY, 9, 0);
	plan(w->s, &p);
	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 2);
	assert_int_equal(rows[0].why, PW_NO_RECORD_CLOCK_DOUBTFUL);
	assert_int_equal(rows[1].result, PW_RESULT_UNPLANNED);
	assert_int_equal(rows[1].at_ms, s.came_ms);
	assert_int_equal(rows[1].key_off_ms, s.key_off_ms);
	assert_false(rows[1].clock_ok);
}

static void stop_of_another_bus_is_a_hint(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	struct pw_plan busy = a_plan("15", MONDAY, "8", at(MONDAY, 7, 30), at(MONDAY, 11, 0));
	const struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 5), PW_DONE);

	plan(w->s, &p);
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->why, PW_NO_RECORD_BUS_SILENT);
	deliver(w->s, "15", &s, 1);
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->why, PW_NO_RECORD_OTHER_BUS);
	plan(w->s, &busy); /* it had a run of its own then */
	renew(w->s, NOW);
	busy.begin_ms = busy.end_ms = at(MONDAY, 8, 0);
	plan(w->s, &busy); /* and now the stop is that run's */
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "8")->result, PW_RESULT_WALKED);
	assert_int_equal(row_of(w->s, "7")->why, PW_NO_RECORD_BUS_SILENT);
}

/* -- drivers, corrections, temperatures -------------------------------------------------------- */

static void driver_is_who_signed_the_report_of_that_day(struct world *w)
{
	static struct made m;
	const struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 4), PW_DONE);
	struct pw_branch head;

	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
	assert_string_equal(rows[0].driver, "");
	head = head_of(w->s, "14");
	make_put(&m, "14", &head, 1);
	m.record[0].kind = PW_K_REPORT;
	m.record[0].wall_ms = at(MONDAY, 16, 0);
	m.record[0].body = "{\"act\":\"signed\",\"id\":0,\"defects\":0,\"who\":\"d-31\",\"words\":\"\"}";
	IN_TRANSACTION(w->s, pw_store_put(w->s, &m.put, WHY));
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
	assert_string_equal(rows[0].driver, "d-31");
}

static int take_correction(void *ctx, const struct pw_correction *c)
{
	char *all = ctx;

	snprintf(all + strlen(all), 100, "%s by %s;", pw_result_name(c->result), c->who);
	return 0;
}

static void correction_stands_beside(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	struct pw_correction c = { .key = { .bus = "14", .day = MONDAY, .run = "7" },
				   .result = PW_RESULT_WALKED, .at_ms = 5, .who = "anna.k",
				   .words = "seen on the bus's page" };
	const struct pw_audit_row *r;
	char all[400] = "";

	FINE(pw_store_begin(w->s, WHY));
	assert_int_equal(pw_audit_correct(w->s, &c, WHY), -2);
	assert_string_equal(why, "bus 14 has no such run or sweep on 20261026");
	pw_store_rollback(w->s);
	plan(w->s, &p);
	renew(w->s, NOW);
	IN_TRANSACTION(w->s, pw_audit_correct(w->s, &c, WHY));
	renew(w->s, NOW);
	r = row_of(w->s, "7");
	assert_int_equal(r->result, PW_RESULT_NO_RECORD);
	assert_int_equal(r->corrected, PW_RESULT_WALKED);
	assert_int_equal(r->corrected_ms, 5);
	assert_string_equal(r->corrected_by, "anna.k");
	assert_string_equal(r->corrected_words, "seen on the bus's page");
	c.result = PW_RESULT_NONE;
	strcpy(c.who, "b.lee");
	IN_TRANSACTION(w->s, pw_audit_correct(w->s, &c, WHY));
	renew(w->s, NOW);
	assert_int_equal(row_of(w->s, "7")->corrected, PW_RESULT_NONE);
	FINE(pw_audit_corrections(w->s, &c.key, take_correction, all, WHY));
	assert_string_equal(all, "walked by anna.k;none by b.lee;");
	all[0] = '\0';
	FINE(pw_audit_corrections(w->s, NULL, take_correction, all, WHY));
	assert_string_equal(all, "none by b.lee;walked by anna.k;");
}

static void corrections_are_only_added(struct world *w)
{
	const struct pw_plan p = a_plan("14", MONDAY, "7", at(MONDAY, 7, 0), at(MONDAY, 8, 0));
	const struct pw_correction c = { .key = { .bus = "14", .day = MONDAY, .run = "7" },
					 .result = PW_RESULT_WALKED, .who = "anna.k" };
	char said[400];

	plan(w->s, &p);
	renew(w->s, NOW);
	IN_TRANSACTION(w->s, pw_audit_correct(w->s, &c, WHY));
	assert_int_not_equal(outside(w, said, sizeof(said), "UPDATE correction SET who = 'x'"), 0);
	assert_non_null(strstr(said, "only ever added"));
	assert_int_not_equal(outside(w, said, sizeof(said), "DELETE FROM correction"), 0);
	assert_non_null(strstr(said, "only ever added"));
}

static void missed_sweep_has_its_warmest_moment(struct world *w)
{
	struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 0), PW_MISSED);

	s.closed_ms = at(MONDAY, 10, 0);
	s.came_ms = s.closed_ms;
	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_audit_warmth(w->s, "", at(MONDAY, 9, 0), 301, "yard", WHY));
	FINE(pw_audit_warmth(w->s, "", at(MONDAY, 12, 0), 400, "yard", WHY));
	FINE(pw_store_commit(w->s, WHY));
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
	assert_int_equal(rows[0].warmest_c10, 301);
	IN_TRANSACTION(w->s, pw_audit_warmth(w->s, "14", at(MONDAY, 9, 5), 282, "sensor", WHY));
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
	assert_int_equal(rows[0].warmest_c10, 282); /* the bus's own is the better one */
}

/* -- lines ------------------------------------------------------------------------------------- */

static char lines_said[400];

static int take_line(void *ctx, const struct pw_line_day *d)
{
	(void)ctx;
	snprintf(lines_said + strlen(lines_said), 90, "%s %d %u %u %u %u %u;", d->line, d->day,
		 d->edges, d->bounces, d->chatters, d->disagreements, d->shortest_ms);
	return 0;
}

/* docs/journal.md J8: edges and fault. */
static void lines_are_counted_as_records_come(struct world *w)
{
	static const struct { enum pw_kind kind; const char *body; } of[] = {
		{ PW_K_EDGES, "{\"line\":\"rear_button\",\"from\":0,\"at_ms\":[1000,1012,1062]}" },
		{ PW_K_EDGES, "{\"line\":\"exits\",\"from\":1,\"at_ms\":[5000]}" },
		{ PW_K_EDGES, "{\"line\":\"rear_button\",\"from\":1,\"at_ms\":[9000,9049]}" },
		{ PW_K_FAULT, "{\"name\":\"button_contacts\",\"on\":true,\"words\":\"\"}" },
		{ PW_K_FAULT, "{\"name\":\"button_contacts\",\"on\":false,\"words\":\"\"}" },
		{ PW_K_FAULT, "{\"name\":\"edges_dropped\",\"on\":true,\"words\":\"\"}" },
	};
	static struct made m;
	struct pw_branch head;

	put_now(w->s, &m, "14", NULL, 1); /* one edges record without times */
	head = head_of(w->s, "14");
	make_put(&m, "14", &head, 6);
	for (size_t i = 0; i < 6; i++) {
		m.record[i].kind = of[i].kind;
		m.record[i].body = of[i].body;
	}
	IN_TRANSACTION(w->s, pw_store_put(w->s, &m.put, WHY));
	lines_said[0] = '\0';
	FINE(pw_audit_lines(w->s, "14", 20261001, 20261031, take_line, NULL, WHY));
	assert_string_equal(lines_said, "exits 20261025 1 0 0 0 0;rear_button 20261025 5 2 1 1 12;");
}

/* -- a store that was there before ------------------------------------------------------------- */

static void only_what_changed_is_made_anew(struct world *w)
{
	const struct pw_sweep_row s = a_sweep(at(MONDAY, 8, 4), PW_DONE);
	char said[100];

	deliver(w->s, "14", &s, 1);
	renew(w->s, NOW);
	assert_int_equal(outside(w, said, sizeof(said), "SELECT count(*) FROM dirty"), 0);
	assert_string_equal(said, "0");
	/* what a migration leaves behind */
	assert_int_equal(outside(w, said, sizeof(said), "DELETE FROM outcome; DELETE FROM tally;"
				 "INSERT INTO dirty SELECT bus, key_off_ms / 86400000 FROM sweep"), 0);
	assert_int_equal(read_rows(w->s), 0);
	renew(w->s, NOW);
	assert_int_equal(read_rows(w->s), 1);
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(sweep_of_a_run_is_its_row), CASE(row_changes_when_its_sweep_comes),
		CASE(sweep_without_a_run_becomes_one_of_a_run),
		CASE(plan_that_came_again_is_the_newer_one),
		CASE(bus_that_was_heard_before_and_after_had_no_key_off),
		CASE(sweep_by_a_wrong_clock_is_listed_by_when_it_came),
		CASE(stop_of_another_bus_is_a_hint),
		CASE(driver_is_who_signed_the_report_of_that_day), CASE(correction_stands_beside),
		CASE(corrections_are_only_added), CASE(missed_sweep_has_its_warmest_moment),
		CASE(lines_are_counted_as_records_come), CASE(only_what_changed_is_made_anew),
	};

	return audit_main(cases, sizeof(cases) / sizeof(cases[0]));
}
