/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The desk: work shares transactions and fails alone, and while the store is away nobody waits for
 * it. The store goes away as PostgreSQL does: its server is killed, and comes back.
 */
#include <inttypes.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>

#include "pg_server.h"

#include "office.h"

static struct pg_server pg;
static char path[80];

/* -- work -------------------------------------------------------------------------------------- */

static int put_log(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_store_log(s, MADE_NOW, "test", ctx, why, size);
}

/* Writes, and then says no. */
static int put_and_fail(struct pw_store *s, void *ctx, char *why, size_t size)
{
	assert_int_equal(put_log(s, ctx, why, size), 0);
	snprintf(why, size, "no, as it stands");
	return -2;
}

static int count_one(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	(void)at_ms, (void)who;
	if (strcmp(did, "never") == 0)
		return 9;
	++*(unsigned *)ctx;
	return 0;
}

static int count_logs(struct pw_store *s, void *ctx, char *why, size_t size)
{
	*(unsigned *)ctx = 0;
	return pw_store_logs(s, 0, count_one, ctx, why, size);
}

static unsigned logs(struct pw_desk *desk)
{
	unsigned n = 0;
	char why[240];

	assert_int_equal(pw_desk_do(desk, count_logs, &n, why, sizeof(why)), 0);
	return n;
}

/* -- waiting for many -------------------------------------------------------------------------- */

struct posted {
	struct pw_job job;
	atomic_int *left;
	int result;
};

static void posted_done(void *ctx, int result, const char *why)
{
	struct posted *p = ctx;

	(void)why;
	p->result = result;
	atomic_fetch_sub(p->left, 1);
}

static int posted_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct posted *p = ctx;

	return p->job.alone ? put_and_fail(s, "never", why, size) : put_log(s, "did", why, size);
}

static struct pw_desk *start(const char *where)
{
	struct pw_desk *desk = NULL;
	char why[240];

	if (pw_desk_start(where, &desk, why, sizeof(why)))
		fail_msg("%s", why);
	return desk;
}

/* -- tests ------------------------------------------------------------------------------------- */

static void test_one_by_one(void **state)
{
	struct pw_desk *desk = start(path);
	char why[240];
	unsigned before = logs(desk);

	(void)state;
	assert_int_equal(pw_desk_do(desk, put_log, "first", why, sizeof(why)), 0);
	assert_int_equal(pw_desk_do(desk, put_and_fail, "never", why, sizeof(why)), -2);
	assert_string_equal(why, "no, as it stands");
	assert_int_equal(pw_desk_do_alone(desk, put_log, "second", why, sizeof(why)), 0);
	assert_int_equal(logs(desk), before + 2);
	pw_desk_stop(desk);
	desk = start(path);
	assert_int_equal(logs(desk), before + 2);
	pw_desk_stop(desk);
}

/* What fails does so alone, whatever shares its transaction; and a stop loses nothing that was
 * posted. */
static void test_many(void **state)
{
	enum { MANY = 2000 };
	static struct posted p[MANY];
	struct pw_desk *desk = start(path);
	unsigned before = logs(desk);
	atomic_int left = MANY;

	(void)state;
	for (int i = 0; i < MANY; i++) {
		p[i] = (struct posted){ .left = &left, .result = 1 };
		p[i].job = (struct pw_job){ .work = posted_work, .done = posted_done, .ctx = &p[i],
					    .alone = i % 7 == 0 };
		pw_desk_post(desk, &p[i].job);
	}
	pw_desk_stop(desk);
	assert_int_equal(atomic_load(&left), 0);
	for (int i = 0; i < MANY; i++)
		assert_int_equal(p[i].result, i % 7 == 0 ? -2 : 0);
	desk = start(path);
	assert_int_equal(logs(desk), before + MANY - (MANY + 6) / 7);
	pw_desk_stop(desk);
}

struct poster {
	struct pw_desk *desk;
	pthread_t thread;
	unsigned done, failed;
};

static void *post_again_and_again(void *ctx)
{
	struct poster *p = ctx;
	char why[240];

	for (int i = 0; i < 100; i++) {
		const bool fails = i % 5 == 4;
		int result = pw_desk_do(p->desk, fails ? put_and_fail : put_log,
					fails ? "never" : "did", why, sizeof(why));

		p->done += result == 0;
		p->failed += result == -2;
	}
	return NULL;
}

static void test_threads(void **state)
{
	enum { THREADS = 8 };
	struct pw_desk *desk = start(path);
	struct poster p[THREADS];
	unsigned before = logs(desk);

	(void)state;
	for (int i = 0; i < THREADS; i++) {
		p[i] = (struct poster){ .desk = desk };
		assert_int_equal(pthread_create(&p[i].thread, NULL, post_again_and_again, &p[i]),
				 0);
	}
	for (int i = 0; i < THREADS; i++) {
		pthread_join(p[i].thread, NULL);
		assert_int_equal(p[i].done, 80);
		assert_int_equal(p[i].failed, 20);
	}
	assert_int_equal(logs(desk), before + 80 * THREADS);
	pw_desk_stop(desk);
}

/* The server is killed: what waits hears -1, and so does at once whatever comes; nothing half-done
 * is there when it is back, and the desk finds that out by itself. */
static void test_away(void **state)
{
	struct pw_desk *desk = start(pg.uri);
	atomic_int left = 1;
	struct posted p = { .left = &left, .result = 1 };
	const int64_t until = pg_now_ms() + PG_PATIENCE_MS;
	char why[240];

	(void)state;
	assert_int_equal(pw_desk_do(desk, put_log, "before", why, sizeof(why)), 0);
	pg_kill(&pg);
	assert_int_equal(pw_desk_do(desk, put_log, "while it is away", why, sizeof(why)), -1);
	assert_true(strlen(why) > 5);
	p.job = (struct pw_job){ .work = posted_work, .done = posted_done, .ctx = &p };
	pw_desk_post(desk, &p.job); /* answered here, and now */
	assert_int_equal(atomic_load(&left), 0);
	assert_int_equal(p.result, -1);
	pg_start(&pg);
	while (pw_desk_do(desk, put_log, "after", why, sizeof(why))) {
		if (pg_now_ms() > until)
			fail_msg("%s", why);
		poll(NULL, 0, 20);
	}
	assert_int_equal(logs(desk), 2);
	pw_desk_stop(desk);
}

/* It stops in order while the store is away, too. */
static void test_stop_while_away(void **state)
{
	struct pw_desk *desk = start(pg.uri);
	char why[240];

	(void)state;
	pg_kill(&pg);
	assert_int_equal(pw_desk_do(desk, put_log, "x", why, sizeof(why)), -1);
	pw_desk_stop(desk);
	assert_int_equal(pw_desk_start(pg.uri, &desk, why, sizeof(why)), -1);
	assert_true(strlen(why) > 5);
	pg_start(&pg);
}

/* What the buses hear meanwhile. */
static void test_away_by_http(void **state)
{
	static struct made m;
	struct office o;
	struct bus b;
	struct answer a;
	struct text t;
	char conf[260];
	const int64_t until_ms = office_now_ms() + OFFICE_PATIENCE_MS;

	(void)state;
	snprintf(conf, sizeof(conf), "store = %s\n", pg.uri);
	office_begin(&o, conf);
	bus_enrol(&o, &b, "14", 14);
	made_begin(&m, "14", "0123456789abcdef", 14);
	made_grow(&m, 40);
	deliver(&o, &b, &m, 1, 20, 20, false);
	pg_kill(&pg);
	t = made_text(&m, 11, 40);
	for (int i = 0; i < 3; i++) {
		a = bus_ask(&o, &b, "POST", "records?nonce=" NONCE, "", t.at, t.length);
		assert_int_equal(a.status, 503);
		assert_string_equal(answer_text(&a, "error"), "later");
		assert_non_null(strstr(a.head, "Retry-After: "));
		answer_free(&a);
	}
	a = ask(&o, "GET", "/v1/office", "", NULL, 0);
	assert_int_equal(a.status, 200);
	answer_free(&a);
	pg_start(&pg);
	do {
		assert_true(office_now_ms() < until_ms);
		poll(NULL, 0, 50);
		a = bus_ask(&o, &b, "POST", "records?nonce=" NONCE, "", t.at, t.length);
		answer_free(&a);
	} while (a.status == 503);
	assert_int_equal(a.status, 200);
	free(t.at);
	deliver(&o, &b, &m, 1, 40, 0, false);
	office_end(&o);
}

static void test_shut_out(void **state)
{
	struct pw_desk *desk = NULL;
	char why[240];

	(void)state;
	assert_int_equal(pw_desk_start("/nonexistent/office.db", &desk, why, sizeof(why)), -1);
	assert_non_null(strstr(why, "/nonexistent"));
	assert_null(desk);
}

static int set_up(void **state)
{
	char dir[] = "/tmp/postwalk-desk-XXXXXX";

	(void)state;
	if (!mkdtemp(dir))
		return -1;
	snprintf(path, sizeof(path), "%s/office.db", dir);
	pg_begin(&pg, NULL);
	return 0;
}

static int tear_down(void **state)
{
	char command[120];

	(void)state;
	pg_end(&pg);
	snprintf(command, sizeof(command), "rm -rf '%.*s'", (int)(strrchr(path, '/') - path), path);
	return system(command);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_one_by_one),
		cmocka_unit_test(test_many),
		cmocka_unit_test(test_threads),
		cmocka_unit_test(test_away),
		cmocka_unit_test(test_stop_while_away),
		cmocka_unit_test(test_away_by_http),
		cmocka_unit_test(test_shut_out),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
