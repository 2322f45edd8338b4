/* SPDX-License-Identifier: Apache-2.0 */
/*
 * postwalk status, against a server of our own that says what a page says (HTTP/1.1 as RFC 9112
 * has it), and what no page should say.
 */
#include "page_sample.h"
#include "tool_command.h"

#include <arpa/inet.h>
#include <ctype.h>
#include <sys/socket.h>

#define REPLY_MAX 65536

struct served {
	struct tool *t;
	int fd;
	char url[40], host[32];
	char request[2048];
};

static int begin(void **state)
{
	struct served *s = calloc(1, sizeof(*s));
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	socklen_t n = sizeof(a);
	void *tool;

	assert_non_null(s);
	tool_begin(&tool);
	s->t = tool;
	s->fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	assert_int_equal(bind(s->fd, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(listen(s->fd, 4), 0);
	assert_int_equal(getsockname(s->fd, (struct sockaddr *)&a, &n), 0);
	snprintf(s->host, sizeof(s->host), "127.0.0.1:%u", ntohs(a.sin_port));
	snprintf(s->url, sizeof(s->url), "http://%s", s->host);
	*state = s;
	return 0;
}

static int end(void **state)
{
	struct served *s = *state;
	void *tool = s->t;

	close(s->fd);
	tool_end(&tool);
	free(s);
	return 0;
}

/* The head of a request, then the reply in pieces of so many bytes. */
static void answer(struct served *s, const char *reply, size_t piece)
{
	int fd = accept(s->fd, NULL, NULL);
	size_t n = 0, left = strlen(reply);
	ssize_t got;

	assert_true(fd >= 0);
	do {
		got = recv(fd, s->request + n, sizeof(s->request) - 1 - n, 0);
		assert_true(got > 0);
		n += (size_t)got;
		s->request[n] = '\0';
	} while (!strstr(s->request, "\r\n\r\n"));
	for (; left > 0; left -= (size_t)got, reply += got) {
		got = send(fd, reply, left < piece ? left : piece, MSG_NOSIGNAL);
		if (got < 0)
			break;
	}
	close(fd);
}

static void ask(struct served *s, const char *option, const char *reply, size_t piece)
{
	const char *const arg[] = { "status", "--url", s->url, option, NULL };
	int alive = tool_start(s->t, pw_status, arg);

	answer(s, reply, piece);
	close(alive);
	tool_finish(s->t);
}

static const char *http(const char *status, const char *body)
{
	static char reply[REPLY_MAX];

	snprintf(reply, sizeof(reply), "HTTP/1.1 %s\r\nDate: Sun, 09 Sep 2001 01:46:40 GMT\r\n"
		 "Content-Type: application/json\r\ncontent-length: %zu\r\n\r\n%s", status,
		 strlen(body), body);
	return reply;
}

static const char *page(const struct pw_snapshot *s)
{
	static char body[REPLY_MAX / 2];

	assert_true(pw_page_status(s, body, sizeof(body)) > 0);
	return body;
}

/* -- what is shown ----------------------------------------------------------------------------- */

static void it_asks_as_a_client_of_http_does(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample();
	char host[64];

	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_int_equal(strncmp(s->request, "GET /status.json HTTP/1.1\r\n", 27), 0);
	snprintf(host, sizeof(host), "\r\nHost: %s\r\n", s->host);
	assert_has(s->request, host);
	assert_has(s->request, "\r\nConnection: close\r\n");
}

static void parked(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample();

	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_string_equal(s->t->err, "");
	assert_has(s->t->out, "Bus 17 (bench), 2001-09-09T");
	assert_has(s->t->out, "\nParked. Nothing owed.\n");
	assert_has(s->t->out, "\nFaults: none known\n");
	assert_has(s->t->out, "\n  ignition         0  off       for 1.5 s\n");
	assert_has(s->t->out, "\n  exits            0  shut      not seen to change\n");
	assert_has(s->t->out, "  done      pressed after 42.0 s\n");
	assert_has(s->t->out, "  late      pressed after 1 min 22 s, late by 22.5 s ; door_before_press\n");
	assert_has(s->t->out, "  doubtful  pressed after 50.0 s ; rear_opened return_short\n");
	assert_has(s->t->out, "  missed    no press ; driven_off\n");
	assert_has(s->t->out, "\nRecords kept: 4711; not yet on the disk: 0\n");
	assert_has(s->t->out, "\nOffice: no uplink runs, or the bus is not enrolled\n");
}

static void how_delivery_stands(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample();

	now.delivery.state = PW_D_REFUSED;
	strcpy(now.delivery.words, "no such bus\x1b[2J");
	now.delivery.receipted = 812;
	now.delivery.receipted_ms = now.wall_ms;
	now.delivery.alerts = 2;
	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_has(s->t->out, "\nOffice: it is refused, and somebody must look: no such bus?[2J\n"
			      "It confirmed all up to record 812 at 2001-09-09 01:46\n"
			      "Alerts that it has not confirmed: 2\n");
}

static void owed_with_a_refusal(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample_in(PW_OWED, 20000);

	now.refused_ms = now.now_ms - 12000;
	now.refused_why = PW_TOO_SOON;
	strcpy(now.rung, "prompt");
	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_has(s->t->out, "\nSweep owed. Walk to the rear now.\n");
	assert_has(s->t->out, "\nOpen for 20.0 s; 40.0 s left.\n");
	assert_has(s->t->out, "\nA press was refused: too_soon, 12.0 s ago.\n");
	assert_has(s->t->out, "\nSignal: prompt\n");
}

static void overdue_with_faults_and_service(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample_in(PW_OVERDUE, 3720000);

	now.findings = 1u << PW_F_REAR_OPENED | 1u << PW_F_CARRIED;
	now.service = true;
	now.service_end_ms = now.now_ms + 90061000;
	now.carried = true;
	now.fault_count = 1;
	strcpy(now.fault[0].name, "journal");
	strcpy(now.fault[0].words, "the disk is full");
	strcpy(now.line[PW_HORN].fault, "the line is busy");
	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_has(s->t->out, "\nSweep overdue. The sweep is overdue.\n");
	assert_has(s->t->out, "\nOpen for 1 h 02 min; overdue by 1 h 01 min.\n");
	assert_has(s->t->out, "\nNoted so far: carried rear_opened\n");
	assert_has(s->t->out, "\nThe sweep before was missed: its debt goes on.\n");
	assert_has(s->t->out, "\nService is on: beeper and horn are muted, 1 d 1 h more.\n");
	assert_has(s->t->out, "\nFaults\n  journal          the disk is full\n");
	assert_has(s->t->out, "  fault: the line is busy\n");
}

static void walk_back(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample_in(PW_WALK_BACK, 30000);

	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_has(s->t->out, "\nPress acknowledged. Look again, rear to front.\n");
	assert_has(s->t->out, "\nOpen for 30.0 s; pressed 2.0 s ago.\n");
}

static void assert_never(const char *text, const char *word)
{
	for (; *text; text++)
		if (strncasecmp(text, word, strlen(word)) == 0)
			fail_msg("never \"%s\": %.80s", word, text);
}

/* A press says that somebody stood at the rear, and nothing else: in no phase are these words said
 * (rules, section 1). */
static void nothing_says_what_a_press_does_not(void **state)
{
	static const char *const word[] = { "empty", "nobody", "no one", "all clear", "no child",
					    "safe" };
	struct served *s = *state;

	for (enum pw_phase phase = PW_PARKED; phase < PW_PHASES; phase++) {
		struct pw_snapshot now = sample_in(phase, 20000);

		ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
		assert_int_equal(s->t->status, PW_EXIT_OK);
		for (size_t i = 0; i < COUNT(word); i++)
			assert_never(s->t->out, word[i]);
		assert_has(s->t->out, "A press says that somebody stood at the rear, and nothing else.\n");
	}
}

static void raw_as_the_page_gave_it(void **state)
{
	struct served *s = *state;
	struct pw_snapshot now = sample();
	const char *body = page(&now);

	ask(s, "--json", http("200 OK", body), SIZE_MAX);
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_int_equal(strlen(s->t->out), strlen(body) + 1);
	assert_int_equal(strncmp(s->t->out, body, strlen(body)), 0);
}

static void an_answer_in_pieces(void **state)
{
	static const size_t piece[] = { 1, 7, 1000 };
	struct served *s = *state;
	struct pw_snapshot now = sample();

	for (size_t i = 0; i < COUNT(piece); i++) {
		ask(s, NULL, http("200 OK", page(&now)), piece[i]);
		assert_int_equal(s->t->status, PW_EXIT_OK);
		assert_has(s->t->out, "\nParked. Nothing owed.\n");
	}
}

/* What another program said does not reach the terminal as a control. */
static void controls_are_not_passed_on(void **state)
{
	struct served *s = *state;

	ask(s, NULL, http("200 OK", "{\"version\":1,\"bus\":\"\\u001b[2J\",\"phase\":\"parked\","
				    "\"lines\":[],\"faults\":[{\"name\":\"a\\nb\",\"words\":7}],"
				    "\"recent\":[]}"), SIZE_MAX);
	assert_int_equal(s->t->status, PW_EXIT_OK);
	assert_has(s->t->out, "Bus ?[2J (");
	assert_has(s->t->out, "\n  a?b ");
	for (const char *c = s->t->out; *c; c++)
		assert_true(*c == '\n' || (unsigned char)*c >= ' ');
}

/* -- no status --------------------------------------------------------------------------------- */

static void what_is_no_status_is_refused(void **state)
{
	static const struct {
		const char *reply, *err;
	} unfit[] = {
		{ "", "no answer in HTTP/1.1" },
		{ "220 ready\r\n\r\n", "no answer in HTTP/1.1" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 90\r\n\r\n{}", "the answer broke off" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: -1\r\n\r\n{}", "the answer broke off" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 9", "no answer in HTTP/1.1" },
		{ "HTTP/1.1 404 Not Found\r\nContent-Length: 2\r\n\r\n{}", "the answer is 404, not 200" },
		{ "HTTP/1.1 503 Service Unavailable\r\nContent-Length: 2\r\n\r\n{}",
		  "the watch does not answer the page" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n{}", "expected the status of a bus" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 2\r\n\r\n[]", "expected the status of a bus" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\n{\"a\"", "expected the status of a bus" },
		{ "HTTP/1.1 200 OK\r\nContent-Length: 13\r\n\r\n{\"version\":2}",
		  "expected the status of a bus, version 1" },
	};
	struct served *s = *state;

	for (size_t i = 0; i < COUNT(unfit); i++) {
		ask(s, NULL, unfit[i].reply, SIZE_MAX);
		assert_refused(s->t, unfit[i].err);
	}
}

static void nobody_answers(void **state)
{
	struct served *s = *state;

	close(s->fd);
	RUN(s->t, pw_status, "status", "--url", s->url);
	assert_refused(s->t, "nobody answers there (Connection refused): is postwalkd running?");
	RUN(s->t, pw_status, "status", "--json", "--url", s->url);
	assert_refused(s->t, "nobody answers there");
}

static void addresses(void **state)
{
	static const char *const wrong[] = {
		"", "127.0.0.1:8787", "https://127.0.0.1", "ftp://a", "http://", "http:///",
		"http://127.0.0.1:", "http://127.0.0.1:x", "http://127.0.0.1:87/other", "http://[::1",
		"http://[::1]8787", "http://a b", "http://me@127.0.0.1", "http://a\r\nX: y",
		"http://:80", "http://[]:80", "http://127.0.0.1:123456789",
	};
	struct served *s = *state;
	struct pw_snapshot now = sample();
	char url[sizeof(s->url)];

	for (size_t i = 0; i < COUNT(wrong); i++) {
		RUN(s->t, pw_status, "status", "--url", wrong[i]);
		assert_refused(s->t, "expected an address like http://127.0.0.1:8787");
	}
	RUN(s->t, pw_status, "status", "--json", "now");
	assert_has(s->t->err, "usage: postwalk status");
	strcpy(url, s->url);
	snprintf(s->url, sizeof(s->url), "%.30s/", url);
	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_int_equal(s->t->status, PW_EXIT_OK);
	snprintf(s->url, sizeof(s->url), "HTTP%s", url + 4);
	ask(s, NULL, http("200 OK", page(&now)), SIZE_MAX);
	assert_int_equal(s->t->status, PW_EXIT_OK);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, begin, end)
		TEST(it_asks_as_a_client_of_http_does),
		TEST(parked),
		TEST(how_delivery_stands),
		TEST(owed_with_a_refusal),
		TEST(overdue_with_faults_and_service),
		TEST(walk_back),
		TEST(nothing_says_what_a_press_does_not),
		TEST(raw_as_the_page_gave_it),
		TEST(an_answer_in_pieces),
		TEST(controls_are_not_passed_on),
		TEST(what_is_no_status_is_refused),
		TEST(nobody_answers),
		TEST(addresses),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
