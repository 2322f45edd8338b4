/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What is told as a webhook: received by Python's http.server; its signature made anew by openssl,
 * as docs/alerts.md tells a receiver to.
 */
#include "tell_help.h"

#define OFFICE "0123456789ab"
#define SECRET "a secret of the yard, in a file"

struct hook {
	struct server server;
	struct pw_office_conf conf;
};

static void begin(struct hook *h, const char *scheme, const char *path, bool tls)
{
	char crt[100], key[100];
	const char *const argv[] = { "/usr/bin/python3", "tests/office/web_receiver.py", folder,
				     tls ? "--tls" : NULL, crt, key, NULL };

	snprintf(crt, sizeof(crt), "%s/tls.crt", folder);
	snprintf(key, sizeof(key), "%s/tls.key", folder);
	*h = (struct hook){ .server.pid = 0 };
	start_server(&h->server, argv);
	hear_port(&h->server);
	snprintf(h->conf.webhook, sizeof(h->conf.webhook), "%s://127.0.0.1:%d%s", scheme,
		 h->server.port,
		 path);
	snprintf(h->conf.webhook_secret_file, sizeof(h->conf.webhook_secret_file), "%s/secret",
		 folder);
}

static int send_matter(const struct hook *h, const struct pw_matter *m, const struct pw_telling *t,
		       char why[200])
{
	struct pw_news n;
	int result;

	assert_int_equal(pw_news_matter(&n, OFFICE, m, t), 0);
	result = pw_webhook_send(&h->conf, &n, NOW + 999, NULL, why, 200);
	pw_news_free(&n);
	return result;
}

static int send_child(const struct hook *h, char why[200])
{
	const struct pw_matter m = a_matter(PW_MATTER_CHILD);
	const struct pw_telling t = { .matter = 17 };

	return send_matter(h, &m, &t, why);
}

static json_t *received(struct hook *h)
{
	char line[4096];

	hear(&h->server, line, sizeof(line));
	return parsed(line);
}

static json_t *body_of(const json_t *request)
{
	char path[100];
	json_t *body;

	snprintf(path, sizeof(path), "%s/%d.body", folder,
		 (int)json_integer_value(json_object_get(request, "number")));
	body = json_load_file(path, JSON_REJECT_DUPLICATES, NULL);
	assert_non_null(body);
	return body;
}

/* -- what it says ------------------------------------------------------------------------------ */

static void test_child(void **state)
{
	struct hook h;
	struct output o;
	json_t *request, *headers, *body;
	char why[200];

	(void)state;
	begin(&h, "http", "/200", false);
	assert_int_equal(send_child(&h, why), 0);
	assert_string_equal(why, "");
	request = received(&h);
	headers = json_object_get(request, "headers");
	assert_string_equal(text_of(request, "method"), "POST");
	assert_string_equal(text_of(headers, "content-type"), "application/json");
	assert_string_equal(text_of(headers, "postwalk-id"),
			    "0123456789ab-matter-17-1760474520000");
	assert_string_equal(text_of(headers, "postwalk-time"), "1760474520");
	begin_output(&o, "(printf '%%s.' '%s'; cat %s/%d.body) | openssl dgst -sha256 -hmac \"$(cat "
		"%s/secret)\" -r",
	    text_of(headers, "postwalk-time"), folder,
	    (int)json_integer_value(json_object_get(request, "number")), folder);
	assert_true(next_line(&o));
	end_output(&o);
	o.line[64] = '\0';
	assert_string_equal(text_of(headers, "postwalk-signature"), o.line);

	body = body_of(request);
	assert_string_equal(text_of(body, "id"), "0123456789ab-matter-17-1760474520000");
	assert_string_equal(text_of(body, "kind"), "child");
	assert_string_equal(text_of(body, "about"), "child");
	assert_int_equal(json_integer_value(json_object_get(body, "telling")), 1);
	assert_true(json_is_true(json_object_get(body, "urgent")));
	assert_int_equal(json_integer_value(json_object_get(body, "matter")), 17);
	assert_string_equal(text_of(body, "bus"), "14");
	assert_string_equal(text_of(body, "epoch"), "0123456789abcdef");
	assert_int_equal(json_integer_value(json_object_get(body, "seq")), 812);
	assert_int_equal(strlen(text_of(body, "hash")), 64);
	assert_string_equal(text_of(body, "at"), "2025-10-14T15:41:00-05:00");
	assert_string_equal(text_of(body, "came"), "2025-10-14T15:42:00-05:00");
	assert_string_equal(text_of(body, "words"),
			    "A walk on bus 14 found a child at 15:41 CDT on Tue "
			    "14 Oct 2025: call the bus or the yard now, and follow your "
			    "district's plan.");
	assert_null(json_object_get(body, "taken"));
	json_decref(body);
	json_decref(request);
	end_server(&h.server);
}

static json_t *body_as_sent(const struct pw_news *n)
{
	char *text = pw_webhook_body(n);
	json_t *body;

	assert_non_null(text);
	body = parsed(text);
	free(text);
	return body;
}

/* A receiver tells repeats by the id, and a reminder by its number. */
static void test_ids(void **state)
{
	static const struct { int line; uint32_t tries,
			      told; int32_t day; const char *id; } cases[] = {
		{ __LINE__, 0, 0, 0, "0123456789ab-matter-17-1760474520000" },
		{ __LINE__, 5, 0, 0, "0123456789ab-matter-17-1760474520000" },
		{ __LINE__, 0, 2, 0, "0123456789ab-matter-17-1760474520000" },
		{ __LINE__, 0, 0, PW_TELL_TAKEN, "0123456789ab-matter-17-1760474520000-taken" },
	};

	(void)state;
	for (size_t i = 0; i < COUNT(cases); i++) {
		const struct pw_telling t = { .matter = 17, .day = cases[i].day,
					      .tries = cases[i].tries, .told = cases[i].told };
		const struct pw_matter m = a_matter(PW_MATTER_RUNG);
		struct pw_news n;
		json_t *body;

		assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
		body = body_as_sent(&n);
		if (strcmp(text_of(body, "id"), cases[i].id) != 0)
			fail_msg("line %d: %s", cases[i].line, text_of(body, "id"));
		assert_int_equal(json_integer_value(json_object_get(body, "telling")),
				 cases[i].told + 1);
		json_decref(body);
		pw_news_free(&n);
	}
}

static void test_taken(void **state)
{
	const struct pw_telling t = { .matter = 17, .day = PW_TELL_TAKEN };
	struct pw_matter m = a_matter(PW_MATTER_RUNG);
	struct pw_news n;
	json_t *body;

	(void)state;
	m.taken_ms = NOW + 8 * MINUTE;
	strcpy(m.taken_by, "d12");
	strcpy(m.taken_words, "called the driver; \xc3\xa9t\xc3\xa9 \"all rows\"");
	assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
	body = body_as_sent(&n);
	assert_string_equal(text_of(body, "kind"), "taken");
	assert_string_equal(text_of(body, "about"), "rung");
	assert_false(json_is_true(json_object_get(body, "urgent")));
	assert_string_equal(text_of(body, "taken"), "2025-10-14T15:50:00-05:00");
	assert_string_equal(text_of(body, "taken_by"), "d12");
	assert_string_equal(text_of(body, "words"), "Taken by d12 at 15:50 CDT on Tue 14 Oct 2025: "
			    "called the driver; \xc3\xa9t\xc3\xa9 \"all rows\"");
	assert_string_equal(n.subject, "Taken by d12: bus 14: a walk is long overdue");
	json_decref(body);
	pw_news_free(&n);
}

/* Of no record, at no time that its clock can tell; a digest; a test. */
static void test_other_bodies(void **state)
{
	const struct pw_telling t = { .matter = 17 };
	struct pw_matter m = a_matter(PW_MATTER_KEY);
	struct pw_news n;
	json_t *body;

	(void)state;
	m.seq = 0;
	m.at_ms = 0;
	assert_int_equal(pw_news_matter(&n, OFFICE, &m, &t), 0);
	body = body_as_sent(&n);
	assert_true(json_is_null(json_object_get(body, "at")));
	assert_null(json_object_get(body, "seq"));
	assert_null(json_object_get(body, "epoch"));
	json_decref(body);
	pw_news_free(&n);

	assert_int_equal(pw_news_digest(&n, OFFICE, 20251013, "Mon 13 Oct 2025: nothing\n\nmore\n"),
			 0);
	body = body_as_sent(&n);
	assert_string_equal(n.subject, "Mon 13 Oct 2025: nothing");
	assert_string_equal(text_of(body, "id"), "0123456789ab-digest-20251013");
	assert_string_equal(text_of(body, "kind"), "digest");
	assert_string_equal(text_of(body, "day"), "2025-10-13");
	assert_string_equal(text_of(body, "words"), "Mon 13 Oct 2025: nothing\n\nmore\n");
	assert_null(json_object_get(body, "matter"));
	json_decref(body);
	pw_news_free(&n);

	assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
	body = body_as_sent(&n);
	assert_string_equal(text_of(body, "kind"), "test");
	json_decref(body);
	pw_news_free(&n);
}

/* -- what counts as told ----------------------------------------------------------------------- */

static void test_answers(void **state)
{
	static const struct { int line; const char *path; int result; const char *why; } cases[] = {
		{ __LINE__, "/200", 0, "" },
		{ __LINE__, "/204", 0, "" },
		{ __LINE__, "/299", 0, "" },
		{ __LINE__, "/302", -1,
		  "the receiver answered 302, and redirects are not followed" },
		{ __LINE__, "/307", -1,
		  "the receiver answered 307, and redirects are not followed" },
		{ __LINE__, "/404", -1, "the receiver answered 404" },
		{ __LINE__, "/503", -1, "the receiver answered 503" },
	};
	struct hook h;
	char why[200];

	(void)state;
	begin(&h, "http", "/200", false);
	for (size_t i = 0; i < COUNT(cases); i++) {
		json_t *request;

		snprintf(h.conf.webhook, sizeof(h.conf.webhook), "http://127.0.0.1:%d%s",
			 h.server.port,
			 cases[i].path);
		if (send_child(&h, why) != cases[i].result || strcmp(why, cases[i].why) != 0)
			fail_msg("line %d: %s", cases[i].line, why);
		request = received(&h); /* one a call: no redirect was followed */
		assert_string_equal(text_of(request, "path"), cases[i].path);
		json_decref(request);
	}
	end_server(&h.server);
}

static void test_not_there(void **state)
{
	struct hook h = { .server.pid = 0 };
	char why[200];

	(void)state;
	snprintf(h.conf.webhook_secret_file, sizeof(h.conf.webhook_secret_file), "%s/secret",
		 folder);
	snprintf(h.conf.webhook, sizeof(h.conf.webhook), "http://127.0.0.1:%d/", closed_port());
	assert_int_equal(send_child(&h, why), -1);
	assert_string_not_equal(why, "");
}

/* In the clear to this machine alone. */
static void test_in_the_clear(void **state)
{
	static const char *const urls[] = { "http://0.0.0.0:%d/200",
					    "http://hooks.tamarack.example:%d/",
					    "ftp://127.0.0.1:%d/", "127.0.0.1:%d", "" };
	struct hook h;
	json_t *request;
	char why[200];

	(void)state;
	begin(&h, "http", "/200", false);
	for (size_t i = 0; i < COUNT(urls); i++) {
		char *end = stpcpy(h.conf.webhook, urls[i]);
		const char *port = strstr(urls[i], "%d");

		if (port != NULL)
			sprintf(end - strlen(port), "%d%s", h.server.port, port + 2);
		if (send_child(&h, why) != -1 || why[0] == '\0')
			fail_msg("%s was sent to", h.conf.webhook);
	}
	snprintf(h.conf.webhook, sizeof(h.conf.webhook), "http://localhost:%d/200", h.server.port);
	assert_int_equal(send_child(&h, why), 0);
	request = received(&h);
	assert_int_equal(json_integer_value(json_object_get(request, "number")),
			 1); /* none before */
	json_decref(request);
	end_server(&h.server);
}

static void test_secret(void **state)
{
	static const struct { int line; const char *secret; int result; } cases[] = {
		{ __LINE__, "", -1 },
		{ __LINE__, "\n", -1 },
		{ __LINE__, "fifteen letters\n", -1 },
		{ __LINE__, "sixteen letters.", 0 },
		{ __LINE__, SECRET "\r\nand a second line\n", 0 },
	};
	struct hook h;
	char why[200], many[400];

	(void)state;
	begin(&h, "http", "/200", false);
	for (size_t i = 0; i < COUNT(cases); i++) {
		put_file("secret", cases[i].secret);
		if (send_child(&h, why) != cases[i].result)
			fail_msg("line %d: %s", cases[i].line, why);
		if (cases[i].result < 0)
			assert_non_null(strstr(why,
					       "secret: expected one line of 16 to 254 "
					       "characters"));
	}
	memset(many, 's', sizeof(many) - 1);
	many[sizeof(many) - 1] = '\0';
	put_file("secret", many);
	assert_int_equal(send_child(&h, why), -1);
	put_file("secret", SECRET "\n");
	strcat(h.conf.webhook_secret_file, ".gone");
	assert_int_equal(send_child(&h, why), -1);
	assert_non_null(strstr(why, "secret.gone: No such file"));
	end_server(&h.server);
}

static void test_https(void **state)
{
	struct hook h;
	char why[200], crt[100];

	(void)state;
	begin(&h, "https", "/200", true);
	assert_int_equal(send_child(&h, why), -1); /* nobody vouches for that certificate */
	assert_non_null(strstr(why, "certificate"));
	snprintf(crt, sizeof(crt), "%s/tls.crt", folder);
	setenv("SSL_CERT_FILE", crt, 1);
	assert_int_equal(send_child(&h, why), 0);
	unsetenv("SSL_CERT_FILE");
	end_server(&h.server);
}

struct stopper {
	struct hook *hook;
	atomic_bool stop;
};

/* Once the request has come: by then its answer is waited for. */
static void *stop_it(void *ctx)
{
	struct stopper *s = ctx;

	json_decref(received(s->hook));
	atomic_store(&s->stop, true);
	return NULL;
}

static void test_stop(void **state)
{
	struct timespec begun, ended;
	struct pw_news n;
	struct hook h;
	struct stopper s = { .hook = &h };
	pthread_t thread;
	char why[200];

	(void)state;
	begin(&h, "http", "/silent", false);
	assert_int_equal(pw_news_test(&n, OFFICE, NOW), 0);
	assert_int_equal(pthread_create(&thread, NULL, stop_it, &s), 0);
	clock_gettime(CLOCK_MONOTONIC, &begun);
	assert_int_equal(pw_webhook_send(&h.conf, &n, NOW, &s.stop, why, sizeof(why)), -1);
	clock_gettime(CLOCK_MONOTONIC, &ended);
	assert_true(ended.tv_sec - begun.tv_sec < 8); /* and not the 30 s of a transfer */
	pthread_join(thread, NULL);
	pw_news_free(&n);
	end_server(&h.server);
}

static int make_world(void **state)
{
	if (make_folder(state) != 0)
		return -1;
	make_certificate();
	put_file("secret", SECRET "\n");
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_child),
		cmocka_unit_test(test_ids),
		cmocka_unit_test(test_taken),
		cmocka_unit_test(test_other_bodies),
		cmocka_unit_test(test_answers),
		cmocka_unit_test(test_not_there),
		cmocka_unit_test(test_in_the_clear),
		cmocka_unit_test(test_secret),
		cmocka_unit_test(test_https),
		cmocka_unit_test(test_stop),
	};

	if (begin_tests() != 0)
		return 1;
	return cmocka_run_group_tests(tests, make_world, remove_folder);
}
