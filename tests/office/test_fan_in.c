/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Two districts and a state, a PostgreSQL server each, on loopback: etc/fan-in/fan-in.sh as
 * written. Rows come by the store's own code; what is there is counted by psql.
 */
#include "store_help.h"

#define PUTS 6

static struct pg_server district[2], state;
static struct pw_store *office[2];
static char from[2][200]; /* the districts, as the state's server sees them */

static int fan_in(char *said, size_t size, const char *verb, const char *a, const char *b,
		  const char *c)
{
	return shell(said, size, "STATE_PASSWORD='a &%%+=? one' etc/fan-in/fan-in.sh %s '%s' %s "
		     "'%s'", verb, a, b, c);
}

#define FAN_IN(verb, a, b, c)                                                                 \
	do {                                                                                  \
		char said_[2000];                                                             \
		if (fan_in(said_, sizeof(said_), verb, a, b, c) != 0)                         \
			fail_msg("%s: %s", verb, said_);                                      \
	} while (0)

static const char *bus_of(int d)
{
	return d == 0 ? "d1-14" : "d2-14";
}

/* So many puts of a bus of that district, on from where it is. */
static void deliver(int d, unsigned puts)
{
	static struct made m;
	struct pw_branch head;

	for (unsigned i = 0; i < puts; i++) {
		FINE(pw_store_begin(office[d], WHY));
		head = head_of(office[d], bus_of(d));
		make_put(&m, bus_of(d), head.head > 0 ? &head : NULL, 100);
		if (head.head == 0)
			put_bus(office[d], bus_of(d));
		FINE(pw_store_put(office[d], &m.put, WHY));
		FINE(pw_store_bus_heard(office[d], bus_of(d), NOON_MS + (int64_t)head.head,
					20261025, WHY));
		FINE(pw_store_commit(office[d], WHY));
	}
}

/* What psql finds there, all that an auditor would add up; but for a bus of the first district
 * that the state goes without. */
static void audit(const struct pg_server *pg, char *said, size_t size)
{
	assert_int_equal(shell(said, size, "PGOPTIONS='-c search_path=postwalk -c jit=off' psql "
			       "-XAtq '%s'"
		" -c 'SELECT * FROM audit_buses WHERE bus <> $$%s$$'"
		" -c 'SELECT bus, md5(string_agg(r::text, chr(10) ORDER BY seq)) FROM record r "
			       "GROUP BY bus'"
		" -c 'SELECT bus, md5(string_agg(s::text, chr(10) ORDER BY seq)) FROM audit_sweeps "
			       "s GROUP BY bus'"
		" -c 'SELECT bus, md5(string_agg(sig::text, chr(10) ORDER BY seq)) FROM seal GROUP "
			       "BY bus'"
		" -c 'SELECT bus, day FROM heard'"
		" -c 'SELECT bus, name, stands, seq, words FROM standing'"
		" -c 'SELECT bus, id, kind, words, taken_by, taken_words FROM matter' | sort",
			       pg->admin,
		pg == &district[0] ? "d2-14" : ""), 0);
}

static void wait_until(const struct pg_server *pg, const char *what)
{
	int64_t until = pg_now_ms() + PG_PATIENCE_MS;
	PGconn *link = PQconnectdb(pg->admin);
	bool so = false;

	while (!so) {
		PGresult *result = PQexec(link, what);

		if (PQntuples(result) != 1 || pg_now_ms() > until)
			fail_msg("never so: %s%s", what, PQerrorMessage(link));
		so = strcmp(PQgetvalue(result, 0, 0), "t") == 0;
		PQclear(result);
		if (!so)
			poll(NULL, 0, 20);
	}
	PQfinish(link);
}

/* The state has said to each district that it has all up to now; then the lines of both
 * districts are those of the state. */
static void state_has_all(void)
{
	char said[3][8000], both[16100], now[40], sql[200];

	for (int d = 0; d < 2; d++) {
		pg_ask(district[d].admin, "SELECT pg_current_wal_lsn()", now, sizeof(now));
		snprintf(sql, sizeof(sql), "SELECT count(*) > 0 FROM pg_replication_slots WHERE "
			 "slot_name LIKE"
			 " 'postwalk\\_%%' AND confirmed_flush_lsn >= '%s'", now);
		wait_until(&district[d], sql);
		audit(&district[d], said[d], sizeof(said[d]));
	}
	wait_until(&state, "SELECT count(*) = 0 FROM pg_subscription_rel WHERE srsubstate <> 'r'");
	audit(&state, said[2], sizeof(said[2]));
	assert_int_equal(shell(both, sizeof(both), "printf '%%s\\n' '%s' '%s' | sort", said[0],
			       said[1]), 0);
	assert_string_equal(both, said[2]);
}

/* -- in this order ----------------------------------------------------------------------------- */

static void district_says_what_it_lacks(void **unused)
{
	char said[1000];

	(void)unused;
	assert_int_equal(fan_in(said, sizeof(said), "district", state.admin, "", ""), 2);
	assert_non_null(strstr(said, "fan-in.sh join"));
	assert_int_equal(fan_in(said, sizeof(said), "district", state.admin, "with", "x"), 2);
	assert_int_equal(shell(said, sizeof(said), "STATE_PASSWORD=x etc/fan-in/fan-in.sh district "
			       "'%s'", state.admin), 1);
	assert_string_equal(said, "fan-in: the district has another wal_level: ALTER SYSTEM SET "
			    "wal_level = logical,"
				  " then restart it");
	assert_int_equal(shell(said, sizeof(said), "etc/fan-in/fan-in.sh district '%s'",
			       district[0].admin), 1);
	assert_string_equal(said, "fan-in: the password of postwalk_state was expected in "
			    "STATE_PASSWORD");
	pg_run(district[0].admin, "ALTER SYSTEM SET max_slot_wal_keep_size = -1");
	pg_run(district[0].admin, "SELECT pg_reload_conf()");
	wait_until(&district[0], "SELECT current_setting('max_slot_wal_keep_size') = '-1'");
	assert_int_equal(shell(said, sizeof(said), "STATE_PASSWORD=x etc/fan-in/fan-in.sh district "
			       "'%s'", district[0].admin), 1);
	assert_non_null(strstr(said, "could fill the district's disk"));
	pg_run(district[0].admin, "ALTER SYSTEM RESET max_slot_wal_keep_size");
	pg_run(district[0].admin, "SELECT pg_reload_conf()");
}

/* What was there before is copied, what comes then follows; secrets stay where they are. */
static void state_gets_what_was_there_and_what_comes(void **unused)
{
	struct pw_bus_row row = { .bus = "d1-14" };
	char said[200];

	(void)unused;
	deliver(0, 3);
	assert_int_equal(pw_store_bus(office[0], "d1-14", &row, WHY), 1);
	memset(row.token, 'c', 64);
	IN_TRANSACTION(office[0], pw_store_bus_put(office[0], &row, WHY));
	for (int d = 0; d < 3; d++) { /* the first one once more */
		char password[] = "STATE_PASSWORD='a &%+=? one'";

		assert_int_equal(shell(said, sizeof(said), "%s etc/fan-in/fan-in.sh district '%s'",
				       password, district[d % 2].admin), 0);
		FAN_IN("join", state.admin, d == 1 ? "south_2" : "north", from[d % 2]);
	}
	deliver(0, PUTS);
	deliver(1, PUTS);
	state_has_all();
	pg_ask(state.admin, "SELECT count(*) FROM postwalk.bus WHERE token <> ''", said,
	       sizeof(said));
	assert_string_equal(said, "0");
	pg_ask(state.admin, "SELECT count(*) FROM pg_trigger WHERE tgname = 'no_change'", said,
	       sizeof(said));
	assert_int_not_equal(atoi(said), 0);
}

static void what_moves_follows(void **unused)
{
	const struct pw_standing on = { .seq = 1, .name = "journal", .on = true,
					.since_ms = NOON_MS, .words = "full" };
	struct pw_matter m[2] = { { .kind = PW_MATTER_CLOCK, .bus = "d1-14", .words = "one" },
				  { .kind = PW_MATTER_CLOCK, .bus = "d2-14", .words = "two" } };
	struct pw_branch head = head_of(office[0], "d1-14");
	static struct made made;

	(void)unused;
	make_put(&made, "d1-14", &head, 10);
	made.put.standing = &on;
	made.put.standings = 1;
	FINE(pw_store_begin(office[0], WHY));
	FINE(pw_store_put(office[0], &made.put, WHY));
	FINE(pw_store_commit(office[0], WHY));
	for (int d = 0; d < 2; d++) /* both have the same id in their districts */
		IN_TRANSACTION(office[d], pw_store_matter_put(office[d], &m[d], WHY));
	assert_int_equal(m[0].id, m[1].id);
	state_has_all();
	IN_TRANSACTION(office[1], pw_store_matter_take(office[1], m[1].id, "dh.2", "set it",
						       NOON_MS, &m[1], WHY));
	state_has_all();
}

static void district_killed_on_the_way(void **unused)
{
	(void)unused;
	deliver(0, PUTS);
	deliver(1, PUTS);
	pg_kill(&district[1]);
	deliver(0, PUTS);
	pg_start(&district[1]);
	deliver(1, PUTS);
	state_has_all();
}

static void state_killed_on_the_way(void **unused)
{
	(void)unused;
	deliver(0, PUTS);
	pg_kill(&state);
	deliver(0, PUTS);
	deliver(1, PUTS);
	pg_start(&state);
	state_has_all();
}

static void bus_of_two_districts_is_refused(void **unused)
{
	char said[1000];

	(void)unused;
	assert_int_equal(fan_in(said, sizeof(said), "join", state.admin, "third", from[0]), 1);
	assert_string_equal(said, "fan-in: the state has a bus d1-14 already: one bus belongs to "
			    "one district");
	assert_int_equal(fan_in(said, sizeof(said), "join", state.admin, "No!", from[0]), 1);
	assert_string_equal(said, "fan-in: a name of a-z, 0-9 and _ was expected, not \"No!\"");
	pg_ask(state.admin, "SELECT count(*) FROM pg_subscription", said, sizeof(said));
	assert_string_equal(said, "2");
}

/* The district gave up the slot while the state was away: all of it is fetched anew, and nothing
 * is twice. */
static void slot_that_was_given_up(void **unused)
{
	char said[1000];

	(void)unused;
	pg_run(state.admin, "ALTER SUBSCRIPTION postwalk_south_2 DISABLE");
	wait_until(&district[1], "SELECT count(pg_drop_replication_slot(slot_name)) = 1 FROM "
		   "pg_replication_slots"
		   " WHERE NOT active");
	deliver(1, PUTS);
	FAN_IN("again", state.admin, "south_2", from[1]);
	deliver(1, 1);
	state_has_all();
	assert_int_equal(shell(said, sizeof(said), "etc/fan-in/fan-in.sh show '%s'", state.admin),
			 0);
	assert_non_null(strstr(said, "north\tconnected\t0\t20"));
	assert_non_null(strstr(said, "south_2\tconnected\t0\t20"));
}

/* Both districts have the same id. Neither is lost; one of them has to give it up. */
static void bus_of_two_districts_is_told(void **unused)
{
	char said[1000];

	(void)unused;
	FINE(pw_store_begin(office[0], WHY));
	put_bus(office[0], "d2-14");
	FINE(pw_store_commit(office[0], WHY));
	deliver(0, 1);
	wait_until(&state, "SELECT sum(apply_error_count) > 0 FROM pg_stat_subscription_stats");
	assert_int_equal(fan_in(said, sizeof(said), "again", state.admin, "north", from[0]), 1);
	assert_string_equal(said, "fan-in: another district has a bus d2-14: one bus belongs to "
			    "one district");
	assert_int_equal(shell(said, sizeof(said), "STATE_PASSWORD='a &%%+=? one' "
			       "etc/fan-in/fan-in.sh district '%s'"
			       " without d2-14", district[0].admin), 0);
	FAN_IN("again", state.admin, "north", from[0]);
	deliver(0, 1);
	state_has_all();
	pg_run(district[0].admin, "SET session_replication_role = replica; DELETE FROM "
	       "postwalk.bus WHERE bus = 'd2-14'");
}

static void figures_are_the_sum(void **unused)
{
	struct pw_figures a = figures_of(office[0]), b = figures_of(office[1]), sum;
	struct pw_store *auditor;
	uint64_t *one = (uint64_t *)&a, *two = (uint64_t *)&b, *all = (uint64_t *)&sum;

	(void)unused;
	FINE(pw_store_open(state.admin, true, &auditor, WHY));
	sum = figures_of(auditor);
	pw_store_close(auditor);
	assert_true(sum.records > 100 * 6 * PUTS && sum.buses == 2);
	for (size_t i = 0; i < sizeof(sum) / sizeof(*all); i++)
		assert_int_equal(all[i], one[i] + two[i]);
}

/* What came stays; nothing is left in the district. */
static void state_leaves_a_district(void **unused)
{
	char said[100], before[100];

	(void)unused;
	pg_ask(state.admin, "SELECT count(*) FROM postwalk.record", before, sizeof(before));
	assert_int_equal(shell(said, sizeof(said), "etc/fan-in/fan-in.sh leave '%s' north",
			       state.admin), 0);
	pg_ask(state.admin, "SELECT count(*) FROM postwalk.record", said, sizeof(said));
	assert_string_equal(said, before);
	pg_ask(district[0].admin, "SELECT count(*) FROM pg_replication_slots", said, sizeof(said));
	assert_string_equal(said, "0");
	assert_int_equal(shell(said, sizeof(said), "etc/fan-in/fan-in.sh leave '%s' north",
			       state.admin), 1);
	assert_string_equal(said, "fan-in: the state has nothing from north");
}

static void begin_all(void)
{
	static const char settings[] = "wal_level = logical\nmax_slot_wal_keep_size = 512MB";
	struct pw_store *s;

	pg_begin(&district[0], settings);
	FINE(pw_store_open(district[0].uri, false, &s, WHY));
	pw_store_close(s);
	pg_stop(&district[0]);
	pg_begin_like(&district[1], &district[0], settings);
	pg_begin_like(&state, &district[0],
		      "wal_level = replica\nwal_retrieve_retry_interval = 100ms");
	pg_start(&district[0]);
	for (int d = 0; d < 2; d++) {
		FINE(pw_store_open(district[d].uri, false, &office[d], WHY));
		snprintf(from[d], sizeof(from[d]),
			 "postgresql://postwalk_state@127.0.0.1:%d/office", district[d].port);
	}
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(district_says_what_it_lacks),
		cmocka_unit_test(state_gets_what_was_there_and_what_comes),
		cmocka_unit_test(what_moves_follows),
		cmocka_unit_test(district_killed_on_the_way),
		cmocka_unit_test(state_killed_on_the_way),
		cmocka_unit_test(bus_of_two_districts_is_refused),
		cmocka_unit_test(slot_that_was_given_up),
		cmocka_unit_test(bus_of_two_districts_is_told),
		cmocka_unit_test(figures_are_the_sum),
		cmocka_unit_test(state_leaves_a_district),
	};
	int failed;

	begin_all();
	failed = cmocka_run_group_tests_name("fan-in", tests, NULL, NULL);
	for (int d = 0; d < 2; d++) {
		pw_store_close(office[d]);
		pg_end(&district[d]);
	}
	pg_end(&state);
	return failed;
}
