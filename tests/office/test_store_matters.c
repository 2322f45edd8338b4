/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What the digest and the teller ask of a store, the figures, and what sqlite3, psql and sha256sum
 * say to the same rows: each case with SQLite and with PostgreSQL.
 */
#include "store_world.h"

/* -- sweeps ------------------------------------------------------------------------------------ */

struct seen {
	size_t count;
	struct pw_sweep_row first, last;
	char order[400];
};

static int see_sweep(void *ctx, const char *bus, const struct pw_sweep_row *row)
{
	struct seen *seen = ctx;
	size_t n = strlen(seen->order);

	if (seen->count++ == 0)
		seen->first = *row;
	seen->last = *row;
	if (n < sizeof(seen->order) - 30)
		snprintf(seen->order + n, sizeof(seen->order) - n, "%s/%" PRIu64 " ", bus,
			 row->seq);
	return 0;
}

static void sweeps_by_when_they_closed_and_when_they_came(struct world *w)
{
	struct seen seen = { .count = 0 };
	struct made a, b;

	make_put(&a, "14", NULL, 40);
	a.sweep[1].closed_ms = PW_NO_TIME;  /* 20 */
	a.sweep[2].closed_ms = NOON_MS - 1; /* 30 */
	a.sweep[2].findings = UINT32_MAX >> (32 - PW_FINDINGS);
	a.sweep[2].came_ms = NOON_MS + 99 * DAY_MS;
	make_put(&b, "2", NULL, 10);
	b.sweep[0].closed_ms = a.sweep[3].closed_ms;
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	put_bus(w->s, "2");
	FINE(pw_store_put(w->s, &a.put, WHY));
	FINE(pw_store_put(w->s, &b.put, WHY));
	FINE(pw_store_commit(w->s, WHY));
	FINE(pw_store_sweeps(w->s, NOON_MS, NOON_MS + DAY_MS, false, see_sweep, &seen, WHY));
	assert_string_equal(seen.order, "14/10 14/40 2/10 ");
	seen = (struct seen){ .count = 0 };
	FINE(pw_store_sweeps(w->s, NOON_MS - 1, a.sweep[3].closed_ms, false, see_sweep, &seen,
			     WHY));
	assert_string_equal(seen.order, "14/30 14/10 ");
	assert_memory_equal(&seen.first, &a.sweep[2], offsetof(struct pw_sweep_row, wall_ok));
	assert_int_equal(seen.first.findings, a.sweep[2].findings);
	assert_int_equal(seen.last.findings, a.sweep[0].findings);
	assert_int_equal(seen.last.refused, 2);
	assert_int_equal(seen.last.verdict, a.sweep[0].verdict);
	assert_string_equal(seen.last.rung, "horn");
	assert_true(seen.last.wall_ok);
	seen = (struct seen){ .count = 0 };
	FINE(pw_store_sweeps_came(w->s, NOON_MS, NOON_MS + 98 * DAY_MS, false, see_sweep, &seen,
				  WHY));
	/* one that never closed came all the same */
	assert_string_equal(seen.order, "14/10 2/10 14/20 14/40 ");
	seen = (struct seen){ .count = 0 };
	FINE(pw_store_sweeps_came(w->s, NOON_MS, INT64_MAX, true, see_sweep, &seen, WHY));
	assert_string_equal(seen.order, "14/20 14/30 "); /* doubtful, missed */
	seen = (struct seen){ .count = 0 };
	FINE(pw_store_sweeps(w->s, INT64_MIN + 1, INT64_MAX, true, see_sweep, &seen, WHY));
	assert_string_equal(seen.order, "14/30 ");
}

static int stop_at_ten(void *ctx, const char *bus, const struct pw_sweep_row *row)
{
	(void)bus;
	(void)row;
	return ++*(int *)ctx == 10 ? 5 : 0;
}

/* More than a page of them, many at the same moment. */
static void many_sweeps_at_one_moment(struct world *w)
{
	static struct made m;
	const struct pw_branch *before = NULL;
	struct seen seen = { .count = 0 };
	struct pw_branch head;
	int ten = 0;

	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	for (int i = 0; i < 48; i++) {
		make_put(&m, "14", before, 250);
		for (size_t k = 0; k < m.put.sweeps; k++)
			m.sweep[k].closed_ms = NOON_MS + i / 32;
		FINE(pw_store_put(w->s, &m.put, WHY));
		head = m.put.to;
		before = &head;
	}
	FINE(pw_store_commit(w->s, WHY));
	FINE(pw_store_sweeps(w->s, NOON_MS, NOON_MS + 2, false, see_sweep, &seen, WHY));
	assert_int_equal(seen.count, 48 * 25);
	assert_int_equal(seen.first.seq, 10);
	assert_int_equal(seen.last.seq, 48 * 250);
	seen.count = 0;
	FINE(pw_store_sweeps(w->s, NOON_MS, NOON_MS + 1, false, see_sweep, &seen, WHY));
	assert_int_equal(seen.count, 32 * 25);
	assert_int_equal(pw_store_sweeps(w->s, NOON_MS, NOON_MS + 2, false, stop_at_ten, &ten, WHY),
			 5);
	assert_int_equal(ten, 10);
}

/* -- what stands ------------------------------------------------------------------------------- */

static char stands[300];

static int note_standing(void *ctx, const char *bus, const struct pw_standing *row)
{
	size_t n = strlen(stands);

	(void)ctx;
	assert_true(row->on);
	snprintf(stands + n, sizeof(stands) - n, "%s:%s@%" PRIu64 "(%s) ", bus, row->name, row->seq,
		 row->words);
	return 0;
}

static const char *standings(struct world *w)
{
	stands[0] = '\0';
	FINE(pw_store_standings(w->s, note_standing, NULL, WHY));
	return stands;
}

static void what_stands_is_what_was_said_last(struct world *w)
{
	const struct pw_standing first[] = {
		{ .seq = 2, .name = "journal", .on = true, .since_ms = NOON_MS + 2,
		  .words = "the disk is full" },
		{ .seq = 3, .name = "service", .on = true, .since_ms = NOON_MS, .words = "" },
		{ .seq = 4, .name = "gpio", .on = true, .since_ms = NOON_MS, .words = "" },
		{ .seq = 5, .name = "gpio", .on = false, .since_ms = NOON_MS, .words = "" },
	}, then[] = {
		{ .seq = 11, .name = "journal", .on = true, .since_ms = NOON_MS + 2,
		  .words = "the disk is gone" },
	}, anew[] = {
		{ .seq = 21, .name = "", .on = false },
		{ .seq = 22, .name = "gpio", .on = true, .since_ms = PW_NO_TIME, .words = "again" },
	};
	const struct { const struct pw_standing *row; size_t rows; const char *stand; } steps[] = {
		{ first, 4, "14:service@3() 14:journal@2(the disk is full) 2:service@3() " },
		{ then, 1, "14:service@3() 14:journal@11(the disk is gone) 2:service@3() " },
		{ anew, 2, "14:gpio@22(again) 2:service@3() " },
	};
	struct made m, other;

	make_put(&other, "2", NULL, 10);
	other.put.standing = &first[1];
	other.put.standings = 1;
	FINE(pw_store_begin(w->s, WHY));
	put_bus(w->s, "14");
	put_bus(w->s, "2");
	FINE(pw_store_put(w->s, &other.put, WHY));
	FINE(pw_store_commit(w->s, WHY));
	for (size_t i = 0; i < sizeof(steps) / sizeof(steps[0]); i++) {
		struct pw_branch before = head_of(w->s, "14");

		make_put(&m, "14", i > 0 ? &before : NULL, 10);
		m.put.standing = steps[i].row;
		m.put.standings = steps[i].rows;
		IN_TRANSACTION(w->s, pw_store_put(w->s, &m.put, WHY));
		assert_string_equal(standings(w), steps[i].stand);
	}
}

/* -- matters ----------------------------------------------------------------------------------- */

static char ids[400];

static int note_matter(void *ctx, const struct pw_matter *m)
{
	size_t n = strlen(ids);

	*(struct pw_matter *)ctx = *m;
	snprintf(ids + n, sizeof(ids) - n, "%.20s ", m->words);
	return 0;
}

static const char *matters(struct world *w, bool taken, uint64_t after, struct pw_matter *last)
{
	ids[0] = '\0';
	FINE(pw_store_matters(w->s, taken, after, note_matter, last, WHY));
	return ids;
}

static void matter_is_kept_once_until_somebody_takes_it(struct world *w)
{
	struct pw_matter rung = { .kind = PW_MATTER_RUNG, .bus = "14", .epoch = EPOCH, .branch = 2,
				  .seq = 77,
				  .at_ms = NOON_MS, .came_ms = NOON_MS + 5, .words = "rung" };
	struct pw_matter clock = { .kind = PW_MATTER_CLOCK, .bus = "14", .came_ms = NOON_MS,
				   .words = "clock" };
	struct pw_matter again_ = rung, last, other = rung;
	uint64_t first, second;

	memset(rung.hash, 'b', 64);
	again_ = rung;
	again_.came_ms += 9;
	strcpy(again_.words, "again");
	FINE(pw_store_begin(w->s, WHY));
	assert_int_equal(pw_store_matter_put(w->s, &rung, WHY), 1);
	assert_int_equal(pw_store_matter_put(w->s, &clock, WHY), 1);
	assert_int_equal(pw_store_matter_put(w->s, &again_, WHY), 0);
	assert_int_equal(pw_store_matter_put(w->s, &other, WHY), 1); /* another hash */
	FINE(pw_store_commit(w->s, WHY));
	first = rung.id;
	second = clock.id;
	assert_true(first > 0 && second > first && again_.id == first && other.id > second);
	assert_string_equal(matters(w, false, 0, &last), "rung clock rung ");
	assert_string_equal(matters(w, true, first, &last), "clock rung ");
	assert_memory_equal(&last, &other, sizeof(last));
	assert_int_equal(pw_store_matter_take(w->s, first, "dh.2", "called: \"it's\" all right",
					      NOON_MS + 60, &last, WHY),
			 1);
	assert_int_equal(last.id, first);
	assert_string_equal(last.hash, rung.hash);
	assert_int_equal(last.taken_ms, NOON_MS + 60);
	assert_int_equal(pw_store_matter_take(w->s, first, "ab.1", "too late", NOON_MS + 61, &last,
					      WHY), 0);
	assert_string_equal(last.taken_by, "dh.2");
	assert_string_equal(last.taken_words, "called: \"it's\" all right");
	assert_int_equal(pw_store_matter_take(w->s, other.id + 99, "ab.1", "", NOON_MS, &last, WHY),
			 0);
	assert_int_equal(last.id, 0);
	assert_string_equal(matters(w, false, 0, &last), "clock rung ");
	assert_string_equal(matters(w, true, 0, &last), "rung clock rung ");
	assert_int_equal(figures_of(w->s).matters, 3);
	assert_int_equal(figures_of(w->s).open, 2);
}

static char told[300];

static int note_telling(void *ctx, const struct pw_telling *t)
{
	size_t n = strlen(told);

	(void)ctx;
	snprintf(told + n, sizeof(told) - n, "%" PRIu64 "/%d/%s:%u,%u,%s ", t->matter, t->day,
		 t->way, t->tries, t->told, t->why);
	return 0;
}

static void tellings_are_due_when_they_say(struct world *w)
{
	struct pw_telling mail = { .matter = 3, .way = "mail", .tries = 1, .next_ms = NOON_MS,
				   .why = "refused: 550" };
	struct pw_telling digest = { .day = 20261025, .way = "mail", .tries = 2, .told = 1,
				     .told_ms = 5, .next_ms = INT64_MAX };
	struct pw_telling taken = { .matter = 3, .day = PW_TELL_TAKEN, .way = "webhook",
				    .next_ms = NOON_MS - 1 }, back;

	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_telling_put(w->s, &mail, WHY));
	FINE(pw_store_telling_put(w->s, &digest, WHY));
	FINE(pw_store_telling_put(w->s, &taken, WHY));
	FINE(pw_store_commit(w->s, WHY));
	told[0] = '\0';
	FINE(pw_store_tellings(w->s, NOON_MS, note_telling, NULL, WHY));
	assert_string_equal(told, "3/1/webhook:0,0, 3/0/mail:1,0,refused: 550 ");
	mail.tries = 2;
	mail.told = 1;
	mail.next_ms = NOON_MS + 9;
	mail.told_ms = NOON_MS;
	memset(mail.why, 0, sizeof(mail.why));
	IN_TRANSACTION(w->s, pw_store_telling_put(w->s, &mail, WHY));
	told[0] = '\0';
	FINE(pw_store_tellings(w->s, NOON_MS, note_telling, NULL, WHY));
	assert_string_equal(told, "3/1/webhook:0,0, ");
	assert_int_equal(pw_store_telling(w->s, 3, 0, "mail", &back, WHY), 1);
	assert_memory_equal(&back, &mail, sizeof(back));
	assert_int_equal(pw_store_telling(w->s, 0, 20261025, "mail", &back, WHY), 1);
	assert_memory_equal(&back, &digest, sizeof(back));
	assert_int_equal(pw_store_telling(w->s, 3, 0, "webhook", &back, WHY), 0);
}

/* -- the log, and what is only ever added ------------------------------------------------------ */

static char logged[200];

static int note_log(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	size_t n = strlen(logged);

	(void)ctx;
	snprintf(logged + n, sizeof(logged) - n, "%" PRId64 " %s: %s. ", at_ms - NOON_MS, who, did);
	return 0;
}

static void log_tells_who_did_what(struct world *w)
{
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_log(w->s, NOON_MS + 7, "dh.2", "enrol 14", WHY));
	FINE(pw_store_log(w->s, NOON_MS + 5, "", "the clock went back", WHY));
	FINE(pw_store_log(w->s, NOON_MS + 9, "ab.1", "accept 14", WHY));
	FINE(pw_store_commit(w->s, WHY));
	logged[0] = '\0';
	FINE(pw_store_logs(w->s, NOON_MS + 6, note_log, NULL, WHY));
	assert_string_equal(logged, "7 dh.2: enrol 14. 9 ab.1: accept 14. ");
	logged[0] = '\0';
	FINE(pw_store_logs(w->s, 0, note_log, NULL, WHY));
	assert_string_equal(logged, "7 dh.2: enrol 14. 5 : the clock went back. 9 ab.1: accept 14. "
			    "");
}

static void nothing_is_changed_or_deleted_by_a_client(struct world *w)
{
	static const char *const tables[] = { "record", "seal", "sweep", "log" };
	static const char *const columns[] = { "body", "sig", "verdict", "did" };
	struct pw_figures before, after;
	struct made m;
	char sql[100], said[400];

	put_now(w->s, &m, "14", NULL, 20);
	IN_TRANSACTION(w->s, pw_store_log(w->s, NOON_MS, "dh.2", "enrol 14", WHY));
	before = figures_of(w->s);
	for (size_t i = 0; i < 4; i++) {
		snprintf(sql, sizeof(sql), "UPDATE %s SET %s = %s", tables[i], columns[i],
			 columns[i]);
		assert_int_not_equal(outside(w, said, sizeof(said), sql), 0);
		assert_non_null(strstr(said, "only ever added"));
		snprintf(sql, sizeof(sql), "DELETE FROM %s", tables[i]);
		assert_int_not_equal(outside(w, said, sizeof(said), sql), 0);
		assert_non_null(strstr(said, "only ever added"));
	}
	after = figures_of(w->s);
	assert_memory_equal(&before, &after, sizeof(before));
	assert_int_equal(records_of(w->s, "14"), 20);
}

/* -- what others say to the same rows ---------------------------------------------------------- */

/* Buses "14" and "2": 55 and 30 records, the last 25 of them a fork; four matters, one taken. */
static void fill(struct world *w)
{
	struct pw_bus_row no_key = { .bus = "12" };
	struct pw_matter m = { .kind = PW_MATTER_CHILD, .bus = "14", .epoch = EPOCH };
	struct made a, b, c;

	put_now(w->s, &a, "14", NULL, 30);
	put_now(w->s, &b, "2", NULL, 30);
	make_put(&c, "14", &a.put.to, 25);
	c.put.begins = true;
	c.put.to.branch = 1;
	c.put.to.why = PW_BRANCH_FORK;
	c.put.to.first = 31;
	strcpy(c.put.to.first_prev, a.put.to.hash);
	FINE(pw_store_begin(w->s, WHY));
	FINE(pw_store_bus_put(w->s, &no_key, WHY));
	FINE(pw_store_put(w->s, &c.put, WHY));
	for (m.seq = 1; m.seq <= 4; m.seq++)
		FINE(pw_store_matter_put(w->s, &m, WHY));
	FINE(pw_store_matter_take(w->s, m.id, "dh.2", "", NOON_MS, &m, WHY));
	FINE(pw_store_commit(w->s, WHY));
}

static void clients_count_the_same(struct world *w)
{
	char said[400], expected[400];
	struct pw_figures f;

	fill(w);
	f = figures_of(w->s);
	assert_int_equal(f.records, 85);
	assert_int_equal(f.sweeps, 8);
	snprintf(expected, sizeof(expected),
		 "%" PRIu64 "|%" PRIu64 "|%" PRIu64 "|%" PRIu64 "|%" PRIu64 "|%" PRIu64
		 "|%" PRIu64 "|%" PRIu64 "|%" PRIu64, f.buses, f.branches, f.records, f.seals,
		 f.sweeps, f.missed, f.doubtful, f.matters, f.open);
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT sum(has_key), sum(branches), sum(records), sum(seals),"
				 " sum(sweeps), sum(missed), sum(doubtful), sum(matters), "
				 "sum(open) FROM audit_buses"),
			 0);
	assert_string_equal(said, expected);
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT verdict, count(*) FROM audit_sweeps GROUP BY verdict"
				 " ORDER BY verdict"), 0);
	assert_string_equal(said, "done|1\ndoubtful|2\nlate|3\nmissed|2");
	assert_int_equal(outside(w, said, sizeof(said), "SELECT * FROM audit_buses ORDER BY bus"),
			 0);
	assert_string_equal(said, "12|||0|0|0|0|0|0|0|0|0|0|0\n14|2026-10-25 "
			    "12:00:00||1|2|55|2|5|1|2|1|1|4|3\n"
				  "2|2026-10-25 12:00:00||1|1|30|1|3|0|1|1|1|0|0");
	assert_int_equal(outside(w, said, sizeof(said),
				 "SELECT * FROM audit_sweeps WHERE bus = '14' AND seq = 50"), 0);
	assert_string_equal(said, "14|2026-10-25 12:50:00|2026-10-25 12:48:30|2026-10-26 "
			    "12:50:00|late|"
				  "carried driven_off|41000|32000||2|horn|1|" EPOCH "|1|50");
}

/* J3 by sha256sum, from what a client reads: the chain across the place where the fork begins.
 * The text comes as printf takes it, then the hash that the store has. */
static void chain_holds_by_sha256sum(struct world *w)
{
	static const struct { int branch, seq; } at[] = { { 0, 1 }, { 0, 2 }, { 1, 31 },
							  { 1, 32 } };
	char sql[700], said[600], sum[100], *hash;

	fill(w);
	for (size_t i = 0; i < sizeof(at) / sizeof(at[0]); i++) {
		snprintf(sql, sizeof(sql), "SELECT 'postwalk-record-v1' || '\\n' || bus || '\\n' "
			 "|| epoch || '\\n' ||"
			 " seq || '\\n' || boot || '\\n' || mono_ms || '\\n' || wall_ms || '\\n' "
			 "|| wall_ok || '\\n' ||"
			 " kind || '\\n' || prev || '\\n' || replace(body, '\\\"', '\\042'), hash "
			 "FROM audit_records"
			 " WHERE bus = '14' AND branch = %d AND seq = %d", at[i].branch, at[i].seq);
		assert_int_equal(outside(w, said, sizeof(said), sql), 0);
		hash = strchr(said, '|');
		assert_non_null(hash);
		*hash++ = '\0';
		assert_int_equal(shell(sum, sizeof(sum), "printf '%s' | sha256sum | cut -d' ' -f1",
				       said), 0);
		assert_string_equal(sum, hash);
	}
}

/* docs/store.md, as written. */
static void queries_of_the_page_can_be_run(struct world *w)
{
	static const char extract[] = "awk '/^```sql/ { on = 1; next } /^```/ { on = 0 } on' "
	"docs/store.md";
	char said[4000];

	fill(w);
	if (w->pgsql) {
		assert_int_equal(shell(said, sizeof(said),
				       "%s | PGOPTIONS='-c search_path=postwalk' psql -XAtq"
				       " -v ON_ERROR_STOP=1 '%s'", extract, w->where), 0);
	} else {
		pw_store_close(w->s);
		w->s = NULL;
		assert_int_equal(shell(said, sizeof(said), "%s | sqlite3 -bail '%s'", extract,
				       w->where), 0);
	}
	assert_string_equal(said, "85|3|8|2|2\n"
			    "14|done|1\n14|doubtful|1\n14|late|2\n14|missed|1\n"
			    "2|doubtful|1\n2|late|1\n2|missed|1\n"
			    "14|2026-10-25 12:20:00|doubtful|carried driven_off|horn\n"
			    "2|2026-10-25 12:20:00|doubtful|carried driven_off|horn\n"
			    "14|2026-10-25 12:30:00|missed|carried driven_off|horn\n"
			    "2|2026-10-25 12:30:00|missed|carried driven_off|horn\n"
			    "14|fork|31|55");
}

int main(void)
{
	static const struct world_case cases[] = {
		CASE(sweeps_by_when_they_closed_and_when_they_came),
		CASE(many_sweeps_at_one_moment),
		CASE(what_stands_is_what_was_said_last),
		CASE(matter_is_kept_once_until_somebody_takes_it),
		CASE(tellings_are_due_when_they_say),
		CASE(log_tells_who_did_what),
		CASE(nothing_is_changed_or_deleted_by_a_client),
		CASE(clients_count_the_same),
		CASE(chain_holds_by_sha256sum),
		CASE(queries_of_the_page_can_be_run),
	};

	return world_run(cases, sizeof(cases) / sizeof(cases[0]));
}
