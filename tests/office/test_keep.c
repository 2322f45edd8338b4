/* SPDX-License-Identifier: Apache-2.0 */
/* Purging, kind by kind: what goes, what is held, what is left, and what is told of it. */
#include "store_world.h"

#define HOUR_MS INT64_C(3600000)
#define EARLY_MS (NOON_MS - 60 * DAY_MS) /* 2026-08-26: `date -u -d @1787745600` */
#define LIMIT 15

static const char *const who = "O-1";

/* Records of a bus from a moment on, one in three hours, sealed at every fifth; each put comes an hour
 * behind its last record. */
static void put_aged(struct world *w, const char *bus, size_t records, bool wall_ok)
{
	static struct made m;
	struct pw_branch b = { .head = 0 };

	for (size_t n = 0; n < records; n += 5) {
		char prev[65];

		make_put(&m, bus, n == 0 ? NULL : &b, 5);
		memcpy(prev, m.record[0].prev, sizeof(prev));
		for (size_t i = 0; i < 5; i++) {
			struct pw_record *r = &m.record[i];

			r->wall_ms = wall_ok ? EARLY_MS + (int64_t)r->seq * 3 * HOUR_MS : 5;
			r->wall_ok = wall_ok;
			memcpy(r->prev, prev, sizeof(prev));
			pw_record_hash(bus, r, r->hash);
			memcpy(prev, r->hash, sizeof(prev));
		}
		memcpy(m.put.to.hash, prev, sizeof(prev));
		memcpy(m.seal[0].hash, prev, sizeof(prev));
		pw_seal_make(bus, EPOCH, &m.seal[0], made_key());
		m.put.to.moved_ms = EARLY_MS + (int64_t)(n + 5) * 3 * HOUR_MS + HOUR_MS;
		FINE(pw_store_begin(w->s, WHY));
		if (n == 0)
			put_bus(w->s, bus);
		FINE(pw_store_put(w->s, &m.put, WHY));
		FINE(pw_store_commit(w->s, WHY));
		b = m.put.to;
	}
}

/* To its end, piece by piece; each piece no more than was asked for and one stretch. */
static struct pw_purged purge(struct world *w, enum pw_keep_kind kind, int32_t before)
{
	struct pw_purged p = { .kind = kind }, last = p;
	int result;

	do {
		FINE(pw_store_begin(w->s, WHY));
		result = pw_keep_purge(w->s, kind, before, who, NOON_MS, LIMIT, &p, WHY);
		FINE(result);
		FINE(pw_store_commit(w->s, WHY));
		assert_true(p.count - last.count <= LIMIT + 5);
		last = p;
	} while (result == 1);
	assert_int_equal(p.kind, kind);
	assert_int_equal(p.before, before);
	return p;
}

static int check_link(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	char hash[65], *prev = ctx;

	(void)seal;
	pw_record_hash("14", r, hash);
	assert_string_equal(hash, r->hash);
	assert_string_equal(prev, r->prev);
	memcpy(prev, r->hash, sizeof(hash));
	return 0;
}

/* From its first to its head, from what it says stood before it. */
static void assert_whole(struct world *w)
{
	struct pw_branch b = head_of(w->s, "14");
	char prev[65];

	memcpy(prev, b.first_prev, sizeof(prev));
	FINE(pw_store_read(w->s, "14", EPOCH, 0, 0, check_link, prev, WHY));
	assert_string_equal(prev, b.hash);
	assert_int_equal(records_of(w->s, "14"), b.head - b.first + 1);
}

static int list_purged(void *ctx, const struct pw_purged *p)
{
	char *text = ctx;

	snprintf(text + strlen(text), 300 - strlen(text), "%d %d %s %" PRIu64 "+%" PRIu64 "; ",
		 (int)p->kind, p->before, p->who, p->count, p->held);
	return 0;
}

static const char *purges(struct world *w)
{
	static char all[300];

	all[0] = '\0';
	FINE(pw_keep_purges(w->s, list_purged, all, WHY));
	return all;
}

/* -- records ----------------------------------------------------------------------------------- */

/* 200 records from 26 August, 12:00 UTC on, one in three hours. Somewhere on earth 5 September begins at
 * 10:00 UTC on the 4th, 214 hours later: records up to 71 are older, and 70 ends a stretch. */
static void records_go_by_whole_stretches(struct world *w)
{
	struct pw_purged p;
	struct pw_branch b;
	char said[200];

	put_aged(w, "14", 200, true);
	put_aged(w, "15", 200, true);
	p = purge(w, PW_KEEP_RECORDS, 20260905);
	assert_int_equal(p.count, 2 * 70);
	assert_int_equal(p.held, 0);
	b = head_of(w->s, "14");
	assert_int_equal(b.first, 71);
	assert_int_equal(b.head, 200);
	assert_int_equal(b.purged, 70);
	assert_whole(w);
	assert_int_equal(figures_of(w->s).records, 2 * 130);
	assert_int_equal(figures_of(w->s).seals, 2 * 26);
	assert_int_equal(outside(w, said, sizeof(said), "SELECT count(*) FROM record;"
				 " SELECT count(*) FROM seal; SELECT count(*) FROM sweep"), 0);
	assert_string_equal(said, "260\n52\n40"); /* sweeps are rows, and stay */
	assert_string_equal(purges(w), "1 20260905 O-1 140+0; ");
	p = purge(w, PW_KEEP_RECORDS, 20260905); /* nothing is left to go, and nothing to be told */
	assert_int_equal(p.count, 0);
	assert_string_equal(purges(w), "1 20260905 O-1 140+0; ");
}

static void the_newest_stretch_stays(struct world *w)
{
	struct pw_branch b;

	put_aged(w, "14", 40, true);
	assert_int_equal(purge(w, PW_KEEP_RECORDS, 20270101).count, 35);
	b = head_of(w->s, "14");
	assert_int_equal(b.first, 36);
	assert_int_equal(b.head, 40);
	assert_whole(w);
}

/* Its own clock says 1970; what counts is when it came. */
static void a_doubtful_clock_makes_nothing_old(struct world *w)
{
	put_aged(w, "14", 100, false);
	assert_int_equal(purge(w, PW_KEEP_RECORDS, 20260826).count, 0);
	assert_int_equal(purge(w, PW_KEEP_RECORDS, 20260901).count, 35); /* came up to 10:00 on the 31st */
	assert_whole(w);
}

static void a_hold_keeps_what_it_is_about(struct world *w)
{
	struct pw_hold h = { .bus = "14", .from = 20260830, .to = 20260831, .who = "O-2" };
	struct pw_hold other = { .bus = "16", .from = 0, .to = 0, .who = "O-2" };
	struct pw_purged p;

	put_aged(w, "14", 200, true);
	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &h, WHY));
	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &other, WHY));
	p = purge(w, PW_KEEP_RECORDS, 20260905);
	/* 30 August begins somewhere at 10:00 on the 29th: seq 24; whole stretches before it. */
	assert_int_equal(p.count, 20);
	assert_int_equal(p.held, 50);
	assert_int_equal(head_of(w->s, "14").first, 21);
	assert_whole(w);
	FINE(pw_store_begin(w->s, WHY));
	assert_int_equal(pw_keep_lift(w->s, h.id, "O-2", NOON_MS, WHY), 1);
	FINE(pw_store_commit(w->s, WHY));
	p = purge(w, PW_KEEP_RECORDS, 20260905);
	assert_int_equal(p.count, 50);
	assert_int_equal(p.held, 0);
	assert_string_equal(purges(w), "1 20260905 O-1 50+0; 1 20260905 O-1 20+50; ");
}

static void a_hold_of_any_bus_keeps_doubtful_times(struct world *w)
{
	struct pw_hold h = { .from = 20260101, .to = 20260102, .who = "O-2" };

	put_aged(w, "14", 60, false);
	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &h, WHY));
	assert_int_equal(purge(w, PW_KEEP_RECORDS, 20261001).count, 0);
	assert_string_equal(purges(w), "1 20261001 O-1 0+55; ");
}

/* -- what is only ever added to ---------------------------------------------------------------- */

static void nothing_is_deleted_but_by_a_purge(struct world *w)
{
	static const char *const table[] = { "record", "seal", "sweep", "log" };
	char said[400], sql[100];

	put_aged(w, "14", 60, true);
	IN_TRANSACTION(w->s, pw_store_log(w->s, EARLY_MS, "O-1", PW_LOG_SAW "sweep 14 9", WHY));
	purge(w, PW_KEEP_RECORDS, 20260830);
	for (size_t i = 0; i < sizeof(table) / sizeof(table[0]); i++) {
		snprintf(sql, sizeof(sql), "DELETE FROM %s", table[i]);
		assert_int_not_equal(outside(w, said, sizeof(said), sql), 0);
		assert_non_null(strstr(said, "only ever added"));
		snprintf(sql, sizeof(sql), "UPDATE %s SET %s", table[i],
			 i < 3 ? "seq = seq + 1" : "who = 'O-9'");
		assert_int_not_equal(outside(w, said, sizeof(said), sql), 0);
		assert_non_null(strstr(said, "only ever added"));
	}
	assert_int_equal(outside(w, said, sizeof(said), "SELECT count(*) FROM purging"), 0);
	assert_string_equal(said, "0");
	assert_whole(w);
}

static void a_purge_that_is_rolled_back_was_none(struct world *w)
{
	struct pw_purged p;

	put_aged(w, "14", 60, true);
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_keep_purge(w->s, PW_KEEP_RECORDS, 20260905, who, NOON_MS, LIMIT, &p, WHY));
	assert_int_equal(p.count, 15);
	pw_store_rollback(w->s);
	assert_int_equal(head_of(w->s, "14").first, 1);
	assert_whole(w);
	assert_string_equal(purges(w), "");
	FINE(pw_store_begin(w->s, WHY));
	assert_int_equal(pw_keep_purge(w->s, PW_KEEP_NONE, 20260905, who, NOON_MS, 1, &p, WHY), -2);
	assert_int_equal(pw_keep_purge(w->s, PW_KEEP_VIEWS, 20260931, who, NOON_MS, 1, &p, WHY), -2);
	assert_string_equal(why, "expected a kind of what is kept and a day, got 4 and 20260931");
	pw_store_rollback(w->s);
}

/* -- rows, temperatures, views ----------------------------------------------------------------- */

/* A row, its planned run and its sweep for each tenth record, by SQL. */
static void add_rows(struct world *w)
{
	char said[400];
	int status = outside(w, said, sizeof(said),
		"INSERT INTO outcome SELECT bus, 20260101, seq, closed_ms, 'run' || seq, 'R1', '', 'D1',"
		" NULL, NULL, 'missed', 'none', 'only', 1, 0, epoch, branch, seq, 1, verdict, findings,"
		" 0, rung, key_off_ms, NULL, NULL, NULL, closed_ms, NULL, NULL, 'none', 0, '', '',"
		" 'missed', NULL FROM sweep;"
		"INSERT INTO plan SELECT bus, day, run, route, place, driver, at_ms, at_ms, 1 FROM outcome;"
		"INSERT INTO outcome_finding SELECT 'carried', at_ms, bus, day, nth FROM outcome;"
		"INSERT INTO tally SELECT 1, 1, '', 20260101, count(*), 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0"
		" FROM outcome");

	if (status != 0)
		fail_msg("%s", said);
}

static const char *count_rows(struct world *w)
{
	static char said[400];

	assert_int_equal(outside(w, said, sizeof(said),
		"SELECT count(*) FROM outcome; SELECT count(*) FROM plan; SELECT count(*) FROM sweep;"
		" SELECT count(*) FROM outcome_finding; SELECT runs FROM tally;"
		" SELECT sum(sweeps), sum(missed), sum(doubtful) FROM branch"), 0);
	return said;
}

/* Sweeps of store_help.h close at NOON and a minute for each seq: 40 of them, all on 25 October. */
static void rows_go_with_what_they_are_made_of(struct world *w)
{
	struct pw_hold h = { .bus = "15", .from = 20260101, .to = 20260101, .who = "O-2" };
	struct pw_purged p;

	put_aged(w, "14", 200, true);
	put_aged(w, "15", 200, true);
	add_rows(w);
	assert_string_equal(count_rows(w), "40\n40\n40\n40\n40\n40|10|10");
	assert_int_equal(purge(w, PW_KEEP_ROWS, 20261025).count, 0);
	IN_TRANSACTION(w->s, pw_keep_hold(w->s, &h, WHY));
	p = purge(w, PW_KEEP_ROWS, 20261027);
	assert_int_equal(p.count, 20);
	assert_int_equal(p.held, 20);
	assert_string_equal(count_rows(w), "20\n20\n20\n20\n40\n20|5|5"); /* tallies stay */
	assert_int_equal(figures_of(w->s).records, 400);
	assert_string_equal(purges(w), "2 20261027 O-1 20+20; ");
}

static void temperatures_go_but_those_that_are_held(struct world *w)
{
	struct pw_hold h = { .bus = "14", .from = 20260830, .to = 20260830, .who = "O-2" };
	struct pw_purged p;

	FINE(pw_store_begin(w->s, WHY));
	for (int i = 0; i < 40; i++) {
		FINE(pw_audit_warmth(w->s, "14", EARLY_MS + i * 6 * HOUR_MS, i, "its sensor", WHY));
		FINE(pw_audit_warmth(w->s, "15", EARLY_MS + i * 6 * HOUR_MS, i, "its sensor", WHY));
		FINE(pw_audit_warmth(w->s, "", EARLY_MS + i * 6 * HOUR_MS, i, "weather.csv", WHY));
	}
	FINE(pw_keep_hold(w->s, &h, WHY));
	FINE(pw_store_commit(w->s, WHY));
	p = purge(w, PW_KEEP_WARMTH, 20260903);
	/* before 2 September, 10:00 UTC: 28 each; held: 29 August, 10:00 to 31 August, 12:00: 8, outside too */
	assert_int_equal(p.count, 28 + 2 * (28 - 8));
	assert_int_equal(p.held, 2 * 8);
}

static int list_log(void *ctx, int64_t at_ms, const char *code, const char *did)
{
	char *text = ctx;

	(void)at_ms;
	snprintf(text + strlen(text), 300 - strlen(text), "%s %s; ", code, did);
	return 0;
}

static void views_go_and_acts_stay(struct world *w)
{
	char all[300] = "";

	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_log(w->s, EARLY_MS, "O-1", "took matter 1", WHY));
	FINE(pw_store_log(w->s, EARLY_MS, "O-1", PW_LOG_SAW "driver D12", WHY));
	FINE(pw_store_log(w->s, EARLY_MS + DAY_MS, "O-2", PW_LOG_SAW "driver D13", WHY));
	FINE(pw_store_log(w->s, EARLY_MS + 9 * DAY_MS, "O-2", PW_LOG_SAW "driver D14", WHY));
	FINE(pw_store_log(w->s, EARLY_MS + 9 * DAY_MS, "O-1", "said so: " PW_LOG_SAW "it", WHY));
	FINE(pw_store_commit(w->s, WHY));
	assert_int_equal(purge(w, PW_KEEP_VIEWS, 20260901).count, 2);
	FINE(pw_store_logs(w->s, 0, list_log, all, WHY));
	assert_string_equal(all, "O-1 took matter 1; O-2 saw driver D14; O-1 said so: saw it; ");
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(records_go_by_whole_stretches),
		CASE(the_newest_stretch_stays),
		CASE(a_doubtful_clock_makes_nothing_old),
		CASE(a_hold_keeps_what_it_is_about),
		CASE(a_hold_of_any_bus_keeps_doubtful_times),
		CASE(nothing_is_deleted_but_by_a_purge),
		CASE(a_purge_that_is_rolled_back_was_none),
		CASE(rows_go_with_what_they_are_made_of),
		CASE(temperatures_go_but_those_that_are_held),
		CASE(views_go_and_acts_stay),
	};

	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
