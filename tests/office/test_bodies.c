/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Bodies that are not as docs/protocol.md has them: each is refused by its word and line, nothing
 * of it is kept, and other buses go on. And many at once: what memory they may take.
 */
#include "office.h"

static struct office office;
static struct bus bad_bus, good_bus;
static struct made journal, good;
static size_t delivered; /* of good */

static int set_up(void **state)
{
	(void)state;
	office_begin(&office, "");
	bus_enrol(&office, &bad_bus, "14", 14);
	bus_enrol(&office, &good_bus, "15", 15);
	made_begin(&journal, "14", "0123456789abcdef", 14);
	made_grow(&journal, 30);
	made_begin(&good, "15", "0123456789abcdef", 15);
	made_grow(&good, 1000);
	return 0;
}

static int tear_down(void **state)
{
	(void)state;
	office_end(&office);
	return 0;
}

/* Another bus is served as if nothing had been. */
static void others_go_on(void)
{
	deliver(&office, &good_bus, &good, delivered + 1, delivered + 5, 5, false);
	delivered += 5;
}

static struct answer send_records(const char *what, const char *more, struct text t)
{
	return bus_ask(&office, &bad_bus, "POST", what, more, t.at, t.length);
}

static void assert_refused(struct answer a, int status, const char *word, unsigned line)
{
	if (a.status != status || strcmp(answer_text(&a, "error"), word) != 0 ||
	    answer_number(&a, "line") != line)
		fail_msg("expected %d %s, line %u: %s%s", status, word, line, a.head, a.body);
	assert_true(strlen(answer_text(&a, "words")) > 10);
	answer_free(&a);
	others_go_on();
}

static long bad_records(void)
{
	return office_count(&office, "records") - (long)delivered;
}

/* -- what does not hold ------------------------------------------------------------------------ */

/* Puts words where others are, of the same length. */
static struct text swap(struct text t, const char *there, const char *instead)
{
	char *at = strstr(t.at, there);

	assert_non_null(at);
	assert_int_equal(strlen(there), strlen(instead));
	memcpy(at, instead, strlen(instead));
	return t;
}

static void test_unsound(void **state)
{
	const char *sig = "\"sig\":\"", *digits = "0123456789abcdef";
	struct text t = made_text(&journal, 1, 10);
	char *at = strstr(t.at, sig) + strlen(sig);
	char *matters;

	(void)state;
	*at = digits[(strchr(digits, *at) - digits + 1) % 16];
	assert_refused(send_records("records?nonce=" NONCE, "", t), 422, "unsound", 7);
	free(t.at);
	t = swap(made_text(&journal, 1, 10), "{\"export\":\"postwalk-export-v1\",\"bus\":\"14\"",
		 "{\"export\":\"postwalk-export-v1\",\"bus\":\"15\"");
	assert_refused(send_records("records?nonce=" NONCE, "", t), 422, "unsound", 1);
	free(t.at);
	t = swap(made_text(&journal, 1, 10), "{\"records\":10,", "{\"records\":11,");
	assert_refused(send_records("records?nonce=" NONCE, "", t), 422, "unsound", 14);
	free(t.at);
	t = swap(made_text(&journal, 1, 10), "\"seq\":3,\"epoch\":\"0", "\"seq\":3,\"epoch\":\"1");
	assert_refused(send_records("records?nonce=" NONCE, "", t), 422, "unsound", 4);
	free(t.at);
	assert_int_equal(bad_records(), 0);
	/* It is a matter, once in a while and not each time. */
	matters = office_do(&office, "matters --json");
	assert_non_null(strstr(matters, "\"kind\":\"refused\""));
	assert_null(strstr(strstr(matters, "\"kind\":\"refused\"") + 7, "\"kind\":\"refused\""));
	free(matters);
}

static void test_bad(void **state)
{
	struct text t = made_text(&journal, 1, 10), two = made_text(&journal, 1, 2);

	(void)state;
	t.length -= strlen("{\"end\":{\"records\":10,\"seals\":2}}\n");
	assert_refused(send_records("records?nonce=" NONCE, "", t), 400, "bad", 14);
	assert_refused(send_records("alert?nonce=" NONCE, "", two), 400, "bad", 3);
	assert_refused(send_records("records?nonce=" NONCE, "", (struct text){ NULL, 0 }), 400,
		       "bad", 1);
	t.length = 100;
	assert_refused(send_records("records?nonce=" NONCE, "", t), 400, "bad", 1);
	assert_int_equal(bad_records(), 0);
	free(t.at);
	free(two.at);
}

static void test_other_key(void **state)
{
	static struct made other;
	struct text t;

	(void)state;
	made_begin(&other, "14", "0123456789abcdef", 99);
	made_grow(&other, 10);
	t = made_text(&other, 1, 10);
	assert_refused(send_records("records?nonce=" NONCE, "", t), 403, "key", 1);
	assert_int_equal(bad_records(), 0);
	free(t.at);
}

static void test_flipped(void **state)
{
	struct text t = made_text(&journal, 1, 10);
	uint64_t seed = made_seed();

	(void)state;
	for (int i = 0; i < 300; i++) {
		const size_t at = made_random(&seed) % t.length;
		const char was = t.at[at];
		struct answer a;

		t.at[at] = (char)(was ^ (1 << made_random(&seed) % 8));
		a = send_records("records?nonce=" NONCE, "", t);
		if (a.status != 400 && a.status != 403 && a.status != 422)
			fail_msg("byte %zu: %d %s", at, a.status, a.body);
		answer_free(&a);
		t.at[at] = was;
	}
	assert_int_equal(bad_records(), 0);
	others_go_on();
	free(t.at);
}

/* -- packing ----------------------------------------------------------------------------------- */

/* What a line of the shell makes of a batch. */
static struct text packed(const char *command)
{
	struct text t = made_text(&journal, 1, 30), made = { .at = malloc(2000000) };
	char path[128], *said;
	FILE *f;
	int status;

	snprintf(path, sizeof(path), "%s/batch", office.dir);
	f = fopen(path, "we");
	fwrite(t.at, 1, t.length, f);
	fclose(f);
	free(t.at);
	said = shell(&status, "cd %s && %s", office.dir, command);
	if (status)
		fail_msg("%s: %s", command, said);
	free(said);
	snprintf(path, sizeof(path), "%s/packed", office.dir);
	f = fopen(path, "re");
	assert_non_null(f);
	made.length = fread(made.at, 1, 2000000, f);
	fclose(f);
	return made;
}

static const struct {
	const char *command, *coding;
	int status;
	const char *word;
} packings[] = {
	{ "gzip -c batch >packed && truncate -s -9 packed", "gzip", 400, "bad" },
	{ "zstd -q -c batch >packed && truncate -s -9 packed", "zstd", 400, "bad" },
	{ "gzip -c batch >packed && echo more >>packed", "gzip", 400, "bad" },
	{ "zstd -q -c batch >packed && echo more >>packed", "zstd", 400, "bad" },
	{ "gzip -c batch >packed", "zstd", 400, "bad" },
	{ "cp batch packed", "gzip", 400, "bad" },
	{ "gzip -c batch >packed", "br", 415, "packing" },
	{ "gzip -c batch >packed", "gzip, gzip", 415, "packing" },
	{ "gzip -c batch >packed", "identity", 400, "bad" },
	{ "head -c 60000000 /dev/zero | gzip -1 >packed", "gzip", 413, "large" },
	{ "head -c 300000000 /dev/zero | zstd -q -c >packed", "zstd", 413, "large" },
};

static void test_packings(void **state)
{
	(void)state;
	for (size_t i = 0; i < sizeof(packings) / sizeof(packings[0]); i++) {
		struct text t = packed(packings[i].command);
		char more[80];
		struct answer a;

		snprintf(more, sizeof(more), "Content-Encoding: %s\r\n", packings[i].coding);
		a = send_records("records?nonce=" NONCE, more, t);
		if (a.status != packings[i].status ||
		    strcmp(answer_text(&a, "error"), packings[i].word) != 0)
			fail_msg("%s: %s%s", packings[i].command, a.head, a.body);
		if (a.status == 415)
			assert_non_null(
				strstr(a.head, "Accept-Encoding: ")); /* RFC 9110, 15.5.16 */
		answer_free(&a);
		others_go_on();
		free(t.at);
	}
	assert_int_equal(bad_records(), 0);
}

/* -- how it is sent ---------------------------------------------------------------------------- */

/* A connection of a bus with its headers sent, and so many bytes of a body. */
static int begin_body(const struct bus *b, const char *lines, size_t some)
{
	static const char spaces[1024] = "";
	char head[500];
	int fd = office_connect(&office);

	snprintf(head, sizeof(head),
		 "POST /v1/bus/%s/records?nonce=" NONCE " HTTP/1.1\r\nHost: office\r\n"
		 "Authorization: Bearer %s\r\n%s\r\n",
		 b->id, b->token, lines);
	office_send(fd, head, strlen(head));
	office_send(fd, spaces, some);
	return fd;
}

/* Refused by its headers, before a byte of it is there: 1 GB, and a length that is none. */
static void test_at_once(void **state)
{
	static const struct { const char *lines; int status; const char *word; } of[] = {
		{ "Content-Length: 1000000000\r\n", 413, "large" },
		{ "Content-Length: 1048577\r\n", 413, "large" },
		{ "Content-Length: 99999999999999999999999\r\n", 413, "large" },
		{ "Content-Length: 1000000000\r\nExpect: 100-continue\r\n", 413, "large" },
		{ "Transfer-Encoding: chunked\r\n", 411, "length" },
		{ "", 411, "length" },
	};

	(void)state;
	for (size_t i = 0; i < sizeof(of) / sizeof(of[0]); i++) {
		struct answer a;
		int fd = begin_body(&bad_bus, of[i].lines, 0);

		office_receive(fd, &a, false);
		close(fd);
		/* The library may say 400 or 413 itself to a length that no number holds. */
		if (strlen(of[i].lines) > 36 && a.json == NULL && a.status / 100 == 4)
			continue;
		assert_refused(a, of[i].status, of[i].word, 0);
	}
}

/* The gigabyte is really sent: what the office says is there all the same, or the connection is
 * over. */
static void test_gigabyte(void **state)
{
	static char piece[65536];
	struct answer a;
	int fd = begin_body(&bad_bus, "Content-Length: 1000000000\r\n", 0);
	size_t sent = 0;

	(void)state;
	while (sent < 1000000000) {
		ssize_t n = send(fd, piece, sizeof(piece), MSG_NOSIGNAL);

		if (n <= 0)
			break;
		sent += (size_t)n;
	}
	assert_true(sent < 100000000);
	office_receive(fd, &a, false);
	assert_true(a.status == 413 || a.status == 0);
	answer_free(&a);
	close(fd);
	others_go_on();
}

static long memory_kb(const char *what)
{
	char path[64], line[200];
	long kb = -1;
	FILE *f;

	snprintf(path, sizeof(path), "/proc/%d/status", office.pid);
	f = fopen(path, "re");
	assert_non_null(f);
	while (fgets(line, sizeof(line), f))
		if (strncmp(line, what, strlen(what)) == 0)
			kb = atol(line + strlen(what) + 1);
	fclose(f);
	return kb;
}

/* -- many -------------------------------------------------------------------------------------- */

enum { MANY = 299, LENGTH = 262144 }; /* one more is the other bus's */
static struct bus fleet[MANY];

static void enrol_fleet(void)
{
	char command[2000], *text, *at;
	struct answer a;

	for (int from = 0; from < MANY; from += 150) {
		int n = snprintf(command, sizeof(command), "enrol --json");

		for (int i = from; i < from + 150 && i < MANY; i++)
			n += snprintf(command + n, sizeof(command) - (size_t)n, " f%d", i);
		text = at = office_do(&office, command);
		for (int i = from; i < from + 150 && i < MANY; i++, at = strchr(at, '\n') + 1) {
			json_t *json = json_loads(at, JSON_DISABLE_EOF_CHECK, NULL);

			snprintf(fleet[i].id, sizeof(fleet[i].id), "f%d", i);
			made_key(1000 + (unsigned)i, &fleet[i].key);
			a = enrol_with(&office, fleet[i].id,
				       json_string_value(json_object_get(json, "code")),
				       &fleet[i].key);
			assert_int_equal(a.status, 200);
			snprintf(fleet[i].token, sizeof(fleet[i].token), "%s",
				 answer_text(&a, "token"));
			answer_free(&a);
			json_decref(json);
		}
		free(text);
	}
}

/* 300 connections, each but one with a whole batch of 256 KiB but for its last byte. All are read,
 * another bus is served meanwhile, and memory stays within 128 MiB. (Sanitizers have memory of
 * their own.) */
static void test_many(void **state)
{
	static char piece[LENGTH];
	int fd[MANY];

	(void)state;
	memset(piece, ' ', sizeof(piece));
	enrol_fleet();
	for (int i = 0; i < MANY; i++) {
		fd[i] = begin_body(&fleet[i], "Content-Length: 262144\r\n", 0);
		office_send(fd[i], piece, LENGTH - 1);
	}
	others_go_on();
	for (int i = 0; i < MANY; i++)
		office_send(fd[i], " ", 1);
	for (int i = 0; i < MANY; i++) {
		struct answer a;

		office_receive(fd[i], &a, false);
		assert_int_equal(a.status, 400);
		answer_free(&a);
		close(fd[i]);
	}
	print_message("%ld kB at most\n", memory_kb("VmHWM:"));
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
	assert_true(memory_kb("VmHWM:") <= 128 * 1024);
#endif
	others_go_on();
	assert_int_equal(bad_records(), 0);
}

/* One bus cannot take the room of all: beyond a few bodies at a time it is asked to come later. */
static void test_greedy(void **state)
{
	int fd[20];

	(void)state;
	for (int i = 0; i < 20; i++)
		fd[i] = begin_body(&bad_bus, "Content-Length: 1048576\r\n", 1000);
	others_go_on();
	for (int i = 0; i < 20; i++)
		close(fd[i]);
	for (int i = 0; i < PW_BODIES_A_BUS; i++)
		fd[i] = begin_body(&fleet[0], "Content-Length: 5\r\n", 2);
	others_go_on(); /* those before are read by now */
	struct answer a =
		bus_ask(&office, &fleet[0], "POST", "records?nonce=" NONCE, "", "12345", 5);

	assert_int_equal(a.status, 503);
	assert_string_equal(answer_text(&a, "error"), "later");
	assert_non_null(strstr(a.head, "Retry-After: "));
	answer_free(&a);
	for (int i = 0; i < PW_BODIES_A_BUS; i++)
		close(fd[i]);
}

/* Those that send slowly, or nothing, hold up nobody; nor do those that go away in the middle. */
static void test_slow(void **state)
{
	int fd[100];

	(void)state;
	for (int i = 0; i < 100; i++) {
		fd[i] = i % 2 ? begin_body(&bad_bus, "Content-Length: 100000\r\n", 1000)
			      : office_connect(&office);
		if (i % 4 == 0)
			office_send(fd[i], "POST /v1/bus/14/rec", 19);
	}
	others_go_on();
	for (int i = 0; i < 100; i++)
		close(fd[i]);
	others_go_on();
}

/* What is no HTTP; and headers without an end. */
static void test_noise(void **state)
{
	static char noise[40000];
	uint64_t seed = made_seed();

	(void)state;
	for (int i = 0; i < 50; i++) {
		const size_t n = 1 + made_random(&seed) % 2000;
		int fd = office_connect(&office);

		for (size_t k = 0; k < n; k++)
			noise[k] = (char)made_random(&seed);
		office_send(fd, noise, n);
		close(fd);
	}
	others_go_on();
	memset(noise, 'a', sizeof(noise));
	memcpy(noise, "GET /v1/office HTTP/1.1\r\nX: ", 28);
	struct answer a;
	int fd = office_connect(&office);

	office_send(fd, noise, sizeof(noise));
	office_receive(fd, &a, false);
	assert_true(a.status == 431 || a.status == 413 ||
		    a.status == 0); /* RFC 6585, 5; or it just ends */
	answer_free(&a);
	close(fd);
	others_go_on();
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_unsound),
		cmocka_unit_test(test_bad),
		cmocka_unit_test(test_other_key),
		cmocka_unit_test(test_flipped),
		cmocka_unit_test(test_packings),
		cmocka_unit_test(test_at_once),
		cmocka_unit_test(test_gigabyte),
		cmocka_unit_test(test_many),
		cmocka_unit_test(test_greedy),
		cmocka_unit_test(test_slow),
		cmocka_unit_test(test_noise),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
