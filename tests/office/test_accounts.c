/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Accounts, sessions and the listener for people from inside, where times can be set: passwords as
 * libsodium keeps them, how long a session is, and what becomes of who sends slowly.
 */
#include <sodium.h>

#include "office.h"
#include "office/web_internal.h"

/* -- passwords --------------------------------------------------------------------------------- */

static void test_lengths(void **state)
{
	char most[PW_PASSWORD_MOST + 2];

	(void)state;
	assert_false(pw_password_long(""));
	assert_false(pw_password_long("elevenchars"));
	assert_true(pw_password_long("twelve.chars"));
	assert_false(pw_password_long("ñandúñandúñ"));  /* 11 characters of 16 bytes */
	assert_true(pw_password_long("ñandúñandúñu"));
	memset(most, 'x', sizeof(most));
	most[PW_PASSWORD_MOST] = '\0';
	assert_true(pw_password_long(most));
	most[PW_PASSWORD_MOST] = 'x';
	most[PW_PASSWORD_MOST + 1] = '\0';
	assert_false(pw_password_long(most));
}

static void test_hash(void **state)
{
	struct pw_hashing h = { .under_way = 0 };
	char hash[160], other[160];

	(void)state;
	assert_int_equal(pw_password_hash(&h, "a bus, a brush", hash), 0);
	assert_int_equal(pw_password_hash(&h, "a bus, a brush", other), 0);
	assert_string_not_equal(hash, other); /* salted */
	/* The PHC string of argon2id, 64 MiB and 2 passes (libsodium's figures for interactive use). */
	assert_memory_equal(hash, "$argon2id$v=19$m=65536,t=2,p=1$", 31);
	assert_true(pw_password_holds(&h, hash, "a bus, a brush"));
	assert_false(pw_password_holds(&h, hash, "a bus, a brusH"));
	assert_false(pw_password_holds(&h, "", ""));
	assert_int_equal(h.under_way, 0);
}

struct hasher {
	struct pw_hashing *h;
	atomic_uint *done;
};

static void *hash_once(void *ctx)
{
	struct hasher *a = ctx;
	char hash[160];

	pw_password_hash(a->h, "x", hash);
	atomic_fetch_add(a->done, 1);
	return NULL;
}

static void test_two_at_once(void **state)
{
	struct pw_hashing h = { .under_way = 0 };
	atomic_uint done = 0;
	struct hasher a = { &h, &done };
	pthread_t thread[5];
	unsigned most = 0;

	(void)state;
	for (size_t i = 0; i < 5; i++)
		assert_int_equal(pthread_create(&thread[i], NULL, hash_once, &a), 0);
	while (atomic_load(&done) < 5) {
		pthread_mutex_lock(&h.lock);
		most = h.under_way > most ? h.under_way : most;
		pthread_mutex_unlock(&h.lock);
		poll(NULL, 0, 1);
	}
	for (size_t i = 0; i < 5; i++)
		pthread_join(thread[i], NULL);
	assert_int_equal(most, PW_HASHES_AT_ONCE);
}

/* -- sessions ---------------------------------------------------------------------------------- */

#define MINUTE_MS INT64_C(60000)

static void test_session_times(void **state)
{
	struct pw_sessions *s = pw_signed_new();
	const struct pw_session is = { .code = "chief", .role = PW_MAY_ACT };
	struct pw_session found;
	char id[PW_SESSION_ID], other[PW_SESSION_ID];
	int64_t at_ms = 1000;

	(void)state;
	assert_non_null(s);
	pw_signed_begin(s, &is, at_ms, id);
	assert_int_equal(strlen(id), 64); /* 256 bits */
	assert_true(pw_signed_find(s, id, at_ms + PW_SESSION_IDLE_MS - 1, &found));
	assert_string_equal(found.code, "chief");
	assert_int_equal(found.role, PW_MAY_ACT);
	assert_false(pw_signed_find(s, id, at_ms + 2 * PW_SESSION_IDLE_MS, &found)); /* idle */
	assert_false(pw_signed_find(s, id, at_ms, &found)); /* and it does not come back */
	/* Used every half hour it is over all the same after 12 hours. */
	pw_signed_begin(s, &is, at_ms, id);
	for (int64_t t = 0; t < PW_SESSION_MOST_MS; t += 30 * MINUTE_MS)
		assert_true(pw_signed_find(s, id, at_ms + t, &found));
	assert_false(pw_signed_find(s, id, at_ms + PW_SESSION_MOST_MS, &found));
	pw_signed_begin(s, &is, at_ms, id);
	pw_signed_begin(s, &(struct pw_session){ .code = "other", .role = PW_MAY_SEE }, at_ms, other);
	pw_signed_end_of(s, "chief");
	assert_false(pw_signed_find(s, id, at_ms, &found));
	assert_true(pw_signed_find(s, other, at_ms, &found));
	pw_signed_end(s, other);
	assert_false(pw_signed_find(s, other, at_ms, &found));
	assert_false(pw_signed_find(s, "", at_ms, &found));
	pw_signed_free(s);
}

/* More sessions than there is room for: the idlest goes. */
static void test_sessions_full(void **state)
{
	struct pw_sessions *s = pw_signed_new();
	const struct pw_session is = { .code = "chief", .role = PW_MAY_SEE };
	char first[PW_SESSION_ID], second[PW_SESSION_ID], id[PW_SESSION_ID];
	struct pw_session found;

	(void)state;
	pw_signed_begin(s, &is, 1, first);
	pw_signed_begin(s, &is, 2, second);
	assert_true(pw_signed_find(s, first, 3, &found));
	for (int i = 0; i < 1023; i++)
		pw_signed_begin(s, &is, 4 + i, id);
	assert_false(pw_signed_find(s, second, 5, &found));
	assert_true(pw_signed_find(s, first, 5, &found));
	pw_signed_free(s);
}

static void test_form_tokens(void **state)
{
	struct pw_sessions *s = pw_signed_new(), *other = pw_signed_new();
	char id[PW_SESSION_ID], id2[PW_SESSION_ID], token[PW_FORM_TOKEN];

	(void)state;
	pw_signed_draw(id);
	pw_signed_draw(id2);
	pw_form_token(s, id, "/people", token);
	assert_true(pw_form_token_holds(s, id, "/people", token));
	assert_false(pw_form_token_holds(s, id, "/keeping", token));
	assert_false(pw_form_token_holds(s, id2, "/people", token));
	assert_false(pw_form_token_holds(other, id, "/people", token)); /* of another start */
	assert_false(pw_form_token_holds(s, id, "/people", ""));
	token[63] = token[63] == '0' ? '1' : '0';
	assert_false(pw_form_token_holds(s, id, "/people", token));
	pw_signed_free(s);
	pw_signed_free(other);
}

/* -- accounts in the store, and a listener whose times are short ------------------------------- */

struct world {
	struct office dir;
	struct pw_office o;
};

static void begin_world(struct world *w)
{
	char path[300], why[300];

	memset(w, 0, sizeof(*w));
	office_dir(&w->dir);
	office_write(&w->dir, "office.conf", "[office]\nlisten = 127.0.0.1:0\npages = 127.0.0.1:0\n"
		     "[keep]\nviews_days = 400\n");
	assert_int_equal(pw_office_open(w->dir.dir, false, &w->o, why, sizeof(why)), 0);
	assert_int_equal(pw_desk_start(pw_office_store(&w->o, path), &w->o.desk, why, sizeof(why)), 0);
}

static void end_world(struct world *w)
{
	char command[128];

	pw_desk_stop(w->o.desk);
	pw_office_close(&w->o);
	snprintf(command, sizeof(command), "rm -rf '%s'", w->dir.dir);
	assert_int_equal(system(command), 0);
}

struct looked {
	const char *code;
	struct pw_account account;
	int found;
};

static int work_look(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct looked *l = ctx;

	l->found = pw_people_one(s, l->code, &l->account, why, size);
	return l->found < 0 ? l->found : 0;
}

static struct looked look(struct world *w, const char *code)
{
	struct looked l = { .code = code };
	char why[240];

	assert_int_equal(pw_desk_do(w->o.desk, work_look, &l, why, sizeof(why)), 0);
	return l;
}

static void test_orders(void **state)
{
	struct pw_account_order a = { .by = "shell", .code = "viewer", .role = PW_MAY_SEE };
	char why[240], first[PW_PASSWORD_FIRST], token[PW_TOKEN_DIGITS + 1];
	struct looked l;
	struct world w;

	(void)state;
	begin_world(&w);
	assert_int_equal(w.o.conf.keep_days[PW_KEEP_VIEWS], 400);
	assert_int_equal(w.o.conf.keep_days[PW_KEEP_RECORDS], 0);
	assert_int_equal(pw_account_order(&w.o, &a, why, sizeof(why)), 0);
	assert_true(a.made);
	assert_int_equal(strlen(a.first), 24);
	memcpy(first, a.first, sizeof(first));
	l = look(&w, "viewer");
	assert_int_equal(l.found, 1);
	assert_true(l.account.must_change);
	assert_true(pw_password_holds(&w.o.hashing, l.account.hash, first));
	a = (struct pw_account_order){ .by = "shell", .code = "viewer", .role = PW_MAY_ACT };
	assert_int_equal(pw_account_order(&w.o, &a, why, sizeof(why)), 0);
	assert_false(a.made);
	assert_string_equal(a.first, ""); /* its password stays */
	l = look(&w, "viewer");
	assert_int_equal(l.account.role, PW_MAY_ACT);
	assert_true(pw_password_holds(&w.o.hashing, l.account.hash, first));
	a.fresh = true;
	assert_int_equal(pw_account_order(&w.o, &a, why, sizeof(why)), 0);
	assert_string_not_equal(a.first, first);
	assert_int_equal(pw_account_token(&w.o, "shell", "nobody", "x", INT64_MAX, token, why,
					  sizeof(why)), -2);
	assert_int_equal(pw_account_token_end(&w.o, "shell", token, why, sizeof(why)), -2);
	end_world(&w);
}

/* Sends a byte each 20 ms, for ever if it is let. When the other side has ended it, ms. */
static int64_t drip(const struct office *o, const char *head)
{
	const int64_t begin_ms = office_now_ms();
	int fd = office_connect(o);
	struct pollfd p = { .fd = fd, .events = POLLIN };
	char byte;

	office_send(fd, head, strlen(head));
	while (poll(&p, 1, 20) != 1 || recv(fd, &byte, 1, MSG_DONTWAIT) > 0) {
		send(fd, "a", 1, MSG_NOSIGNAL);
		assert_true(office_now_ms() - begin_ms < OFFICE_PATIENCE_MS);
	}
	close(fd);
	return office_now_ms() - begin_ms;
}

static void test_slow_sender(void **state)
{
	static const char body[] = "POST /sign-in HTTP/1.1\r\nHost: x\r\nContent-Length: 4000\r\n"
				   "Content-Type: application/x-www-form-urlencoded\r\n\r\n";
	struct world w;
	struct answer a;
	char why[240];

	(void)state;
	begin_world(&w);
	assert_int_equal(pw_web_start(&w.o, &w.o.web, why, sizeof(why)), 0);
	w.o.web->listener.headers_ms = 300;
	w.o.web->listener.request_ms = 900;
	w.dir.port = pw_web_port(w.o.web);
	assert_true(drip(&w.dir, "") >= 300);
	assert_true(drip(&w.dir, "GET /sign-in HTTP/1.1\r\nX: ") >= 300);
	assert_true(drip(&w.dir, body) >= 900);
	a = ask(&w.dir, "GET", "/sign-in", "", NULL, 0); /* and others are served */
	assert_int_equal(a.status, 200);
	answer_free(&a);
	pw_web_stop(w.o.web);
	end_world(&w);
}

/* Whoever asks without pause when all ends gets an answer or an end, and nothing is left over. */
static void test_stop_amid_requests(void **state)
{
	struct world w;
	char why[240];
	int fd[8];

	(void)state;
	begin_world(&w);
	assert_int_equal(pw_web_start(&w.o, &w.o.web, why, sizeof(why)), 0);
	w.dir.port = pw_web_port(w.o.web);
	for (size_t i = 0; i < 8; i++) {
		static const char two[] = "GET /sign-in HTTP/1.1\r\nHost: x\r\n\r\n"
					  "GET /sign-in HTTP/1.1\r\nHost: x\r\n\r\n";

		fd[i] = office_connect(&w.dir);
		office_send(fd[i], two, strlen(two));
	}
	pw_web_stop(w.o.web);
	for (size_t i = 0; i < 8; i++)
		close(fd[i]);
	end_world(&w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_lengths),
		cmocka_unit_test(test_hash),
		cmocka_unit_test(test_two_at_once),
		cmocka_unit_test(test_session_times),
		cmocka_unit_test(test_sessions_full),
		cmocka_unit_test(test_form_tokens),
		cmocka_unit_test(test_orders),
		cmocka_unit_test(test_slow_sender),
		cmocka_unit_test(test_stop_amid_requests),
	};

	return sodium_init() < 0 ? 1 : cmocka_run_group_tests(tests, NULL, NULL);
}
