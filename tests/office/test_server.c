/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The office by the network, as docs/protocol.md has it: who is let in, and what is answered. A
 * real process, asked over sockets; TLS by curl(1) and openssl(1).
 */
#include "office.h"

static struct office office;

static int set_up(void **state)
{
	(void)state;
	office_begin(&office, "");
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	office_end(&office);
	return 0;
}

static void assert_answer(struct answer a, int status, const char *word)
{
	if (a.status != status || strcmp(answer_text(&a, "error"), word) != 0)
		fail_msg("expected %d %s: %s%s", status, word, a.head, a.body);
	assert_non_null(strstr(a.head, "Content-Type: application/json"));
	if (status >= 400)
		assert_true(strlen(answer_text(&a, "words")) > 10);
	answer_free(&a);
}

/* -- requests ---------------------------------------------------------------------------------- */

static void test_office(void **state)
{
	struct answer a = ask(&office, "GET", "/v1/office", "", NULL, 0);
	char pem[PW_PEM_MAX];

	(void)state;
	assert_int_equal(a.status, 200);
	pw_public_key_pem(&office.key, pem);
	assert_string_equal(answer_text(&a, "key"), pem);
	assert_string_equal(answer_text(&a, "office"), "postwalk-office-v1");
	assert_int_equal(json_array_size(json_object_get(a.json, "packing")), 2);
	answer_free(&a);
	a = ask(&office, "HEAD", "/v1/office", "", NULL, 0);
	assert_int_equal(a.status, 200);
	answer_free(&a);
	a = ask(&office, "GET", "http://127.0.0.1/v1/office", "", NULL, 0); /* RFC 9112, 3.2.2 */
	assert_int_equal(a.status, 200);
	answer_free(&a);
}

static const struct {
	const char *method, *path, *more;
	int status;
	const char *word;
} wrongs[] = {
	{ "GET", "/", "", 404, "path" },
	{ "GET", "/v1/office/", "", 404, "path" },
	{ "GET", "/v2/office", "", 404, "path" },
	{ "GET", "/v1/bus/14", "", 404, "path" },
	{ "GET", "/v1/bus//head", "", 404, "path" },
	{ "GET", "/v1/bus/a%20b/head", "", 404, "path" },
	{ "GET", "/v1/bus/abcdefghijklmnopqrstuvwxyz0123456/head", "", 404, "path" },
	{ "DELETE", "/v1/office", "", 405, "method" },
	{ "GET", "/v1/enrol", "", 405, "method" },
	{ "POST", "/v1/bus/14/head", "", 405, "method" },
	{ "GET", "/v1/bus/14/head", "", 400, "bad" },
	{ "GET", "/v1/bus/14/head?epoch=0123", "", 400, "bad" },
	{ "GET", "/v1/bus/14/head?epoch=0123456789ABCDEF", "", 400, "bad" },
	{ "GET", "/v1/bus/14/head?epoch=0123456789abcdef", "", 401, "token" },
	{ "GET", "/v1/bus/14/head?epoch=0123456789abcdef", "Authorization: Bearer \r\n", 401,
	  "token" },
	{ "GET", "/v1/bus/14/head?epoch=0123456789abcdef", "Authorization: Basic MTQ6\r\n", 401,
	  "token" },
	{ "POST", "/v1/bus/14/records", "", 400, "bad" },
	{ "POST", "/v1/bus/14/records?nonce=" NONCE "0", "", 400, "bad" },
	{ "POST", "/v1/bus/14/records?nonce=" NONCE "&begins=2", "", 400, "bad" },
	{ "POST", "/v1/bus/14/records?nonce=" NONCE, "", 401, "token" },
	{ "POST", "/v1/enrol", "", 400, "bad" },
	{ "POST", "/v1/enrol", "Content-Length: 5\r\n", 400, "bad" }, /* two lengths */
};

static void test_wrong(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(wrongs) / sizeof(wrongs[0]); i++) {
		struct answer a =
			ask(&office, wrongs[i].method, wrongs[i].path, wrongs[i].more, NULL, 0);

		if (a.status == 0 && strstr(wrongs[i].more, "Length"))
			continue; /* the library may end it without a word: no answer is an answer
				     too */
		if (a.status == 400 && strstr(wrongs[i].more, "Length")) {
			answer_free(&a);
			continue;
		}
		if (a.status != wrongs[i].status ||
		    strcmp(answer_text(&a, "error"), wrongs[i].word) != 0)
			fail_msg("%s %s: %s%s", wrongs[i].method, wrongs[i].path, a.head, a.body);
		if (a.status == 405)
			assert_non_null(strstr(a.head, "Allow: ")); /* RFC 9110, 15.5.6 */
		if (a.status == 401)
			assert_non_null(
				strstr(a.head, "WWW-Authenticate: ")); /* RFC 9110, 15.5.2 */
		answer_free(&a);
	}
}

/* -- enrolment --------------------------------------------------------------------------------- */

static void assert_head(const struct bus *b, int status, const char *word)
{
	assert_answer(bus_ask(&office, b, "GET", "head?epoch=0123456789abcdef", "", NULL, 0),
		      status, word);
}

static void test_enrol(void **state)
{
	char code[PW_CODE_MAX_TEXT], other[PW_CODE_MAX_TEXT], small[PW_CODE_MAX_TEXT + 8];
	struct bus b = { .id = "20" };
	struct answer a;

	(void)state;
	made_key(20, &b.key);
	office_code(&office, "20", code);
	office_code(&office, "21", other);
	assert_int_equal(strlen(code), 24);
	assert_answer(enrol_with(&office, "20", other, &b.key), 403, "code"); /* another bus's */
	assert_answer(enrol_with(&office, "20", "AAAA-AAAA-AAAA-AAAA-AAAA", &b.key), 403, "code");
	assert_answer(enrol_with(&office, "20", "no code", &b.key), 403, "code");
	/* As somebody types it. What is signed is what is sent. */
	snprintf(small, sizeof(small), "%.4s %.4s%.4s %s", code, code + 5, code + 10, code + 15);
	for (char *c = small; *c; c++)
		*c = (char)(*c >= 'A' && *c <= 'Z' ? *c + 32 : *c);
	a = enrol_with(&office, "20", small, &b.key);
	assert_int_equal(a.status, 200);
	assert_int_equal(strlen(answer_text(&a, "token")), 64);
	snprintf(b.token, sizeof(b.token), "%s", answer_text(&a, "token"));
	answer_free(&a);
	assert_answer(enrol_with(&office, "20", code, &b.key), 403, "code"); /* used */
	assert_head(&b, 200, "");
	snprintf(b.id, sizeof(b.id), "21"); /* not that bus's */
	assert_head(&b, 401, "token");
}

/* The same key again gets another token, and the one before is over. */
static void test_enrol_again(void **state)
{
	struct bus b, again;

	(void)state;
	bus_enrol(&office, &b, "22", 22);
	bus_enrol(&office, &again, "22", 22);
	assert_string_not_equal(b.token, again.token);
	assert_head(&b, 401, "token");
	assert_head(&again, 200, "");
}

/* Who enrols a key has it. */
static void test_enrol_proof(void **state)
{
	char code[PW_CODE_MAX_TEXT], *body;
	struct pw_secret_key key, thief;
	struct answer a;
	struct bus b;

	(void)state;
	made_key(23, &key);
	made_key(24, &thief);
	thief.public = key.public; /* signs by another key */
	office_code(&office, "23", code);
	assert_answer(enrol_with(&office, "23", code, &thief), 403, "key");
	bus_enrol(&office, &b, "23", 23); /* no code was used up by it */
	a = enrol_with(&office, "23", code, &key);
	assert_int_equal(a.status, 200);
	answer_free(&a);
	body = strdup("{\"bus\":\"23\",\"bus\":\"23\"}");
	assert_answer(ask(&office, "POST", "/v1/enrol", "", body, strlen(body)), 400, "bad");
	free(body);
}

static struct bus other_key(const char *bus, unsigned key)
{
	char code[PW_CODE_MAX_TEXT];
	struct answer a;
	struct bus b;

	snprintf(b.id, sizeof(b.id), "%s", bus);
	made_key(key, &b.key);
	office_code(&office, bus, code);
	a = enrol_with(&office, bus, code, &b.key);
	assert_int_equal(a.status, 202);
	assert_string_equal(answer_text(&a, "error"), "waits");
	snprintf(b.token, sizeof(b.token), "%s", answer_text(&a, "token"));
	answer_free(&a);
	return b;
}

/* Another key waits for a person, and is a matter. */
static void test_other_key(void **state)
{
	char hex[65], *text, command[200];
	struct bus b, second, third;

	(void)state;
	bus_enrol(&office, &b, "25", 25);
	second = other_key("25", 26);
	third = other_key("25", 27);
	assert_head(&second, 202, "waits");
	assert_answer(bus_ask(&office, &second, "POST", "records?nonce=" NONCE, "", "x", 1), 202,
		      "waits");
	assert_head(&b, 200, "");
	text = office_do(&office, "matters");
	pw_public_key_print(&second.key.public, hex);
	assert_non_null(strstr(text, hex));
	free(text);
	snprintf(command, sizeof(command),
		 "refuse 25 --key %.20s --by R.O. --words 'a board from the bin'", hex);
	free(office_do(&office, command));
	assert_head(&second, 403, "key");
	assert_head(&third, 202, "waits");
	free(office_do(&office, "accept 25 --by R.O. --words 'new board fitted'"));
	assert_head(&third, 200, "");
	assert_head(&b, 401, "token");
	text = office_do(&office, "keys");
	assert_null(strstr(text, "25 "));
	free(text);
	text = office_do(&office, "keys --all");
	assert_non_null(strstr(text, "a board from the bin"));
	free(text);
	text = office_do(&office, "matters");
	assert_null(strstr(text, hex));
	free(text);
	text = office_do(&office, "log");
	assert_non_null(strstr(text, "accepted a key of bus 25: new board fitted"));
	free(text);
}

/* What was accepted, refused and enrolled is so after a restart. */
static void test_restart(void **state)
{
	struct bus b, second, third;

	(void)state;
	bus_enrol(&office, &b, "28", 28);
	second = other_key("28", 29);
	free(office_do(&office, "refuse 28 --by R.O. --words no"));
	third = other_key("28", 30);
	assert_int_equal(office_stop(&office, SIGTERM), 0);
	assert_true(office_start(&office));
	assert_head(&b, 200, "");
	assert_head(&second, 403, "key");
	assert_head(&third, 202, "waits");
}

/* docs/protocol.md: 429. A pause is asked for, and no code is taken meanwhile. */
static void test_guesses(void **state)
{
	static struct office another; /* its address would be shut out of the others' tests */
	char code[PW_CODE_MAX_TEXT];
	struct pw_secret_key key;
	struct answer a;

	(void)state;
	office_begin(&another, "");
	made_key(1, &key);
	office_code(&another, "14", code);
	for (int i = 0; i < PW_GUESSES_FREE; i++) {
		a = enrol_with(&another, "14", "2222-2222-2222-2222-2222", &key);
		assert_int_equal(a.status, 403);
		answer_free(&a);
	}
	a = enrol_with(&another, "14", code, &key);
	assert_int_equal(a.status, 429);
	assert_string_equal(answer_text(&a, "error"), "later");
	assert_non_null(strstr(a.head, "Retry-After: "));
	answer_free(&a);
	office_end(&another);
}

/* The clock is an argument: ten are free, then one a minute. */
static void test_guess_times(void **state)
{
	struct pw_guesses g = { .of = { { "", 0 } } };
	int64_t now = MADE_NOW;

	(void)state;
	for (int i = 0; i < PW_GUESSES_FREE; i++) {
		assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now), 0);
		pw_guess_wrong(&g, "192.0.2.1", now);
	}
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now), PW_GUESS_MS);
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.2", now), 0);
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now + PW_GUESS_MS - 1), 1);
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now + PW_GUESS_MS), 0);
	pw_guess_wrong(&g, "192.0.2.1", now + PW_GUESS_MS);
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now + PW_GUESS_MS), PW_GUESS_MS);
	/* All is forgotten in time, and by a clock that was put back. */
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now + PW_GUESSES_FREE * PW_GUESS_MS), 0);
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now - 3600000), 0);
	/* Many addresses push out those that owe least. */
	for (int i = 0; i < 200; i++) {
		char address[32];

		snprintf(address, sizeof(address), "198.51.100.%d", i);
		pw_guess_wrong(&g, address, now + PW_GUESS_MS);
	}
	assert_int_equal(pw_guess_wait_ms(&g, "192.0.2.1", now + PW_GUESS_MS), PW_GUESS_MS);
}

/* -- records ----------------------------------------------------------------------------------- */

static struct made m;
static struct bus bus;

static void begin_journal(const char *id, const char *epoch, unsigned key)
{
	bus_enrol(&office, &bus, id, key);
	made_begin(&m, id, epoch, key);
	made_grow(&m, 60);
}

static void test_records(void **state)
{
	struct answer a;
	json_t *head;

	(void)state;
	begin_journal("30", "0123456789abcdef", 130);
	deliver(&office, &bus, &m, 1, 20, 20, false);
	deliver(&office, &bus, &m, 1, 20, 0, false);
	deliver(&office, &bus, &m, 11, 30, 10, false);
	a = bus_ask(&office, &bus, "GET", "head?epoch=0123456789abcdef", "", NULL, 0);
	assert_int_equal(a.status, 200);
	head = json_array_get(json_object_get(a.json, "heads"), 0);
	assert_int_equal(json_integer_value(json_object_get(head, "seq")), 30);
	assert_string_equal(json_string_value(json_object_get(head, "hash")), m.record[30].hash);
	assert_string_equal(json_string_value(json_object_get(head, "epoch")), "0123456789abcdef");
	assert_int_equal(json_integer_value(json_object_get(head, "branch")), 0);
	answer_free(&a);
	made_rewind(&m, 25, 1);
	made_grow(&m, 60);
	deliver(&office, &bus, &m, 21, 40, 15, true);
	a = bus_ask(&office, &bus, "GET", "head?epoch=0123456789abcdef", "", NULL, 0);
	assert_int_equal(json_array_size(json_object_get(a.json, "heads")), 2);
	answer_free(&a);
}

static void test_gap(void **state)
{
	struct text t;
	struct answer a;

	(void)state;
	begin_journal("31", "0123456789abcdef", 131);
	deliver(&office, &bus, &m, 1, 10, 10, false);
	t = made_text(&m, 21, 30);
	a = bus_ask(&office, &bus, "POST", "records?nonce=" NONCE, "", t.at, t.length);
	assert_int_equal(a.status, 409);
	assert_string_equal(answer_text(&a, "error"), "gap");
	assert_int_equal(json_integer_value(json_object_get(
		json_array_get(json_object_get(a.json, "heads"), 0), "seq")), 10);
	answer_free(&a);
	a = bus_ask(&office, &bus, "POST", "records?nonce=" NONCE "&begins=1", "", t.at, t.length);
	assert_receipt(&office, &a, &m.record[30], false);
	answer_free(&a);
	free(t.at);
}

static void test_alert(void **state)
{
	struct text t;
	struct answer a;
	char *matters;

	(void)state;
	begin_journal("32", "0123456789abcdef", 132);
	made_add(&m, PW_K_RUNG, "{\"name\":\"office\",\"notify\":true,\"at_ms\":5}");
	t = made_text(&m, 61, 61);
	for (int i = 0; i < 2; i++) {
		a = bus_ask(&office, &bus, "POST", "alert?nonce=" NONCE, "", t.at, t.length);
		assert_receipt(&office, &a, &m.record[61], true);
		assert_int_equal(answer_number(&a, "fresh"), i == 0);
		answer_free(&a);
	}
	matters = office_do(&office, "matters --json");
	assert_non_null(strstr(matters, "\"bus\":\"32\""));
	free(matters);
	deliver(&office, &bus, &m, 1, 61, 61, false);
	free(t.at);
}

static void test_packed(void **state)
{
	static const char *const packers[][2] = { { "gzip", "gzip" }, { "zstd -q -c", "ZSTD" } };

	(void)state;
	begin_journal("33", "0123456789abcdef", 133);
	for (int i = 0; i < 2; i++) {
		struct text t = made_text(&m, 1, 60);
		char path[128], packed[20000], more[60], *none;
		struct answer a;
		size_t n;
		FILE *f;
		int status;

		snprintf(path, sizeof(path), "%s/batch", office.dir);
		f = fopen(path, "we");
		fwrite(t.at, 1, t.length, f);
		fclose(f);
		none = shell(&status, "%s <%s >%s.packed", packers[i][0], path, path);
		free(none);
		assert_int_equal(status, 0);
		strcat(path, ".packed");
		f = fopen(path, "re");
		n = fread(packed, 1, sizeof(packed), f);
		fclose(f);
		snprintf(more, sizeof(more), "Content-Encoding: %s\r\n", packers[i][1]);
		a = bus_ask(&office, &bus, "POST", "records?nonce=" NONCE, more, packed, n);
		assert_receipt(&office, &a, &m.record[60], false);
		assert_int_equal(answer_number(&a, "fresh"), i == 0 ? 60 : 0);
		answer_free(&a);
		free(t.at);
	}
}

/* One connection serves many requests (RFC 9112, 9.3). */
static void test_one_connection(void **state)
{
	char head[400];
	int fd = office_connect(&office);

	(void)state;
	begin_journal("34", "0123456789abcdef", 134);
	for (size_t from = 1; from <= 60; from += 10) {
		struct text t = made_text(&m, from, from + 9);
		struct answer a;

		snprintf(head, sizeof(head),
			 "POST /v1/bus/34/records?nonce=" NONCE " HTTP/1.1\r\nHost: office\r\n"
			 "Authorization: Bearer %s\r\nContent-Length: %zu\r\n\r\n",
			 bus.token, t.length);
		office_send(fd, head, strlen(head));
		office_send(fd, t.at, t.length);
		office_receive(fd, &a, false);
		assert_receipt(&office, &a, &m.record[from + 9], false);
		answer_free(&a);
		free(t.at);
	}
	close(fd);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_office),
		cmocka_unit_test(test_wrong),
		cmocka_unit_test(test_enrol),
		cmocka_unit_test(test_enrol_again),
		cmocka_unit_test(test_enrol_proof),
		cmocka_unit_test(test_other_key),
		cmocka_unit_test(test_restart),
		cmocka_unit_test(test_guesses),
		cmocka_unit_test(test_guess_times),
		cmocka_unit_test(test_records),
		cmocka_unit_test(test_gap),
		cmocka_unit_test(test_alert),
		cmocka_unit_test(test_packed),
		cmocka_unit_test(test_one_connection),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
