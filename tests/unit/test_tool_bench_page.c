/* SPDX-License-Identifier: Apache-2.0 */
/* The bench board's own page: what it shows, what it does, what it refuses. */
#include "tool_bench_page.h"

/* -- what is shown ----------------------------------------------------------------------------- */

static void lines_that_there_are(void **state)
{
	struct bench *s = *state;

	assert_int_equal(get(s, "/", ""), 200);
	assert_has(s->reply, "<strong>This is a bench.</strong> The bus is made up: no wires");
	assert_has(s->reply, "href=\"http://127.0.0.1:8787\"");
	assert_has(s->reply, "name=\"set\" value=\"ignition:1\"><span class=\"label\" "
		   "id=\"label-ignition\">Key</span>");
	assert_has(s->reply, "name=\"press\" value=\"rear_button\"");
	assert_has(s->reply, "value=\"rear_door:1\"");
	assert_has(s->reply, "value=\"service_door:1\"");
	assert_has(s->reply, "value=\"exits:1\"");
	assert_null(strstr(s->reply, "value=\"lamps"));
	assert_null(strstr(s->reply, "value=\"park_brake"));
	assert_has(s->reply, "<li data-line=\"beeper\" data-state=\"off\">");
	assert_has(s->reply, "<li data-line=\"yard_light\" data-state=\"off\">");
	assert_null(strstr(s->reply, "data-line=\"dome\""));
	assert_null(strstr(s->reply, "{{"));
	assert_has(s->reply, "\r\nContent-Security-Policy: default-src 'none';");
	assert_has(s->reply, "\r\nCache-Control: no-store\r\n");
}

static void outputs_as_they_are(void **state)
{
	struct bench *s = *state;

	pw_board_drive(s->b, BIT(PW_HORN), now_ms());
	assert_int_equal(get(s, "/lines.json", ""), 200);
	assert_has(s->reply, "{\"name\":\"horn\",\"direction\":\"out\",\"level\":1,\"state\":\"on\","
		   "\"word\":\"sounding\"}");
	pw_board_drive(s->b, BIT(PW_HORN) | BIT(PW_EXTRA), now_ms());
	assert_int_equal(get(s, "/", ""), 200);
	assert_has(s->reply, "<li data-line=\"yard_light\" data-state=\"on\">");
}

/* WCAG 2.2, 2.3.1: nothing flashes more than three times a second. Here nothing flashes at all. */
static void pulses_are_shown_steadily(void **state)
{
	struct bench *s = *state;
	char tag[64] = "", line[100];

	pw_board_drive(s->b, BIT(PW_BEEPER), now_ms());
	pw_board_drive(s->b, 0, now_ms());
	assert_int_equal(get(s, "/lines.json", ""), 200);
	assert_has(s->reply, "\"name\":\"beeper\",\"direction\":\"out\",\"level\":0,"
		   "\"state\":\"pulsing\",\"word\":\"sounding in pulses\"");
	assert_int_equal(sscanf(strstr(s->reply, "\r\nETag: "), "\r\nETag: %63s", tag), 1);
	pw_board_drive(s->b, BIT(PW_BEEPER), now_ms());
	pw_board_drive(s->b, 0, now_ms());
	snprintf(line, sizeof(line), "If-None-Match: %s\r\n", tag);
	assert_int_equal(get(s, "/lines.json", line), 304);
}

static void nothing_new_is_304(void **state)
{
	struct bench *s = *state;
	char tag[64] = "", line[100];

	assert_int_equal(get(s, "/lines.json", ""), 200);
	assert_int_equal(sscanf(strstr(s->reply, "\r\nETag: "), "\r\nETag: %63s", tag), 1);
	snprintf(line, sizeof(line), "If-None-Match: %s\r\n", tag);
	assert_int_equal(get(s, "/lines.json", line), 304);
	assert_int_equal(post(s, "set=ignition:1"), 303);
	assert_int_equal(get(s, "/lines.json", line), 200);
	assert_null(strstr(s->reply, tag));
}

static void a_held_page_stays(void **state)
{
	struct bench *s = *state;

	assert_int_equal(get(s, "/", ""), 200);
	assert_has(s->reply, "<noscript><meta http-equiv=\"refresh\" content=\"1\"></noscript>");
	assert_int_equal(get(s, "/?hold=1", ""), 200);
	assert_null(strstr(s->reply, "refresh"));
	assert_null(strstr(s->reply, "<script"));
	assert_has(s->reply, "<input type=\"hidden\" name=\"hold\" value=\"1\">");
	assert_int_equal(post(s, "hold=1&set=ignition%3A1"), 303);
	assert_has(s->reply, "\r\nLocation: /?hold=1\r\n");
}

/* -- hands ------------------------------------------------------------------------------------- */

static void a_switch_moves_its_line(void **state)
{
	struct bench *s = *state;

	assert_int_equal(post(s, "set=ignition%3A1"), 303);
	assert_has(s->reply, "\r\nLocation: /\r\n");
	assert_int_equal(s->edges, 1);
	assert_int_equal(s->edge[0].line, PW_IGNITION);
	assert_int_equal(s->edge[0].level, 1);
	assert_int_equal(get(s, "/", ""), 200);
	assert_has(s->reply, "aria-checked=\"true\" aria-labelledby=\"label-ignition\" "
		   "data-line=\"ignition\" name=\"set\" value=\"ignition:0\"");
	assert_int_equal(post(s, "set=ignition:1"), 303); /* sent twice: it is so already */
	assert_int_equal(s->edges, 1);
	assert_int_equal(post(s, "set=ignition:0"), 303);
	assert_int_equal(s->edges, 2);
}

/* Somebody else pulls a wire, as by postwalk bench SOCKET rear_door=1. */
static void others_hands_are_seen(void **state)
{
	const char *const arg[] = { "bench", NULL, "rear_door=1", NULL };
	struct bench *s = *state;
	struct tool other = { 0 };
	const char *words[4];
	int alive;

	memcpy(words, arg, sizeof(words));
	words[1] = s->path;
	strcpy(other.dir, s->t->dir);
	alive = tool_start(&other, pw_bench, words);
	tend_until(s, alive);
	close(alive);
	assert_int_equal(waitpid(other.pid, NULL, 0), other.pid);
	assert_int_equal(get(s, "/lines.json", ""), 200);
	assert_has(s->reply, "{\"name\":\"rear_door\",\"direction\":\"in\",\"level\":1,"
		   "\"state\":\"on\",\"word\":\"open\"}");
}

static void a_press_is_let_go_by_itself(void **state)
{
	struct bench *s = *state;

	assert_int_equal(post(s, "press=rear_button"), 303);
	assert_int_equal(s->edges, 1); /* the answer did not wait for the letting go */
	assert_int_equal(s->edge[0].line, PW_REAR_BUTTON);
	assert_int_equal(s->edge[0].level, 1);
	tend_until_edges(s, 2);
	assert_int_equal(s->edge[1].line, PW_REAR_BUTTON);
	assert_int_equal(s->edge[1].level, 0);
	assert_true(s->edge[1].at_ms - s->edge[0].at_ms >= PRESS_MS);
}

static void a_pair_moves_in_one_moment(void **state)
{
	struct bench *s = *state;

	s->p.line[PW_REAR_BUTTON_NC].configured = true;
	open_board(s);
	start_page(s);
	assert_int_equal(post(s, "press=rear_button"), 303);
	tend_until_edges(s, s->edges + 2);
	assert_int_equal(s->edges % 2, 0);
	for (size_t i = s->edges - 4; i < s->edges; i += 2) {
		assert_int_equal(s->edge[i].line, PW_REAR_BUTTON);
		assert_int_equal(s->edge[i + 1].line, PW_REAR_BUTTON_NC);
		assert_int_equal(s->edge[i].at_ms, s->edge[i + 1].at_ms);
		assert_int_equal(s->edge[i].level, !s->edge[i + 1].level);
	}
	assert_int_equal(post(s, "set=rear_button_nc:0"), 303); /* a wire of it alone can break */
	assert_int_equal(s->edge[s->edges - 1].line, PW_REAR_BUTTON_NC);
	stop_page(s);
}

static int begin_without_board(void **state)
{
	begin_board(state);
	close_board(*state);
	return 0;
}

static void nobody_is_left_pressing(void **state)
{
	struct bench *s = *state;

	start_page(s);
	assert_int_equal(post(s, "press=rear_button"), 303);
	stop_page(s);
	tend_until_edges(s, 2);
	assert_int_equal(s->edge[1].level, 0);
}

/* -- what is refused --------------------------------------------------------------------------- */

static void bad_forms_do_nothing(void **state)
{
	static const struct {
		const char *fields;
		int status;
		const char *says;
	} bad[] = {
		{ "set=lamps:1", 400, "an input of this bench" },
		{ "set=horn:1", 400, "an input of this bench" },
		{ "set=nothing:1", 400, "an input of this bench" },
		{ "set=ignition:2", 400, "an input of this bench" },
		{ "set=ignition", 400, "an input of this bench" },
		{ "set=ignition:1%0Aexits:1", 400, "an input of this bench" },
		{ "set=ignition:1%00", 400, "one of set=NAME:VALUE and press" },
		{ "press=horn", 400, "Only rear_button" },
		{ "press=rear_button&set=ignition:1", 400, "one of set=NAME:VALUE and press" },
		{ "set=ignition:1&set=exits:1", 400, "one of set=NAME:VALUE and press" },
		{ "set=ignition:1&more=1", 400, "one of set=NAME:VALUE and press" },
		{ "set=ignition:1&hold=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"
		  "aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", 400, "one of set" },
		{ "", 400, "one of set=NAME:VALUE and press" },
	};
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(bad); i++) {
		if (post(s, bad[i].fields) != bad[i].status)
			fail_msg("%s: %.200s", bad[i].fields, s->reply);
		assert_has(s->reply, bad[i].says);
		assert_int_equal(s->edges, 0);
	}
}

static void forged_forms_do_nothing(void **state)
{
	static const char forged[] = "token=00000000000000000000000000000000&set=ignition:1";
	struct bench *s = *state;
	char body[2048], own[100];

	assert_int_equal(post_with(s, "set=ignition:1", ""), 403);
	assert_has(s->reply, "load the page again");
	assert_int_equal(post_with(s, forged, ""), 403);
	assert_int_equal(post_with(s, "token=0&set=ignition:1", ""), 403);
	snprintf(body, sizeof(body), "token=%s&set=ignition:1", s->token);
	assert_int_equal(post_with(s, body, "Origin: http://elsewhere.example\r\n"), 403);
	assert_has(s->reply, "sent by another page");
	assert_int_equal(post_with(s, body, "Origin: null\r\n"), 403);
	assert_int_equal(s->edges, 0);
	snprintf(own, sizeof(own), "Origin: http://127.0.0.1:%u\r\n", s->port);
	assert_int_equal(post_with(s, body, own), 303);
	assert_int_equal(s->edges, 1);
}

#define FORM "Content-Type: application/x-www-form-urlencoded\r\n"

/* Statuses of RFC 9110, section 15. HERE stands for the page's own address. */
static void bad_requests_get_a_sentence(void **state)
{
	static const struct {
		int status;
		const char *head, *says;
	} bad[] = {
		{ 421, "GET / HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n", "by no other name" },
		{ 421, "GET / HTTP/1.1\r\nHost: 192.0.2.1\r\n\r\n", "by no other name" },
		{ 421, "GET / HTTP/1.1\r\nHost: [::1\r\n\r\n", "by no other name" },
		{ 421, "POST / HTTP/1.1\r\nHost: localhost.example\r\n" FORM
		       "Content-Length: 0\r\n\r\n", "by no other name" },
		{ 400, "GET / HTTP/1.1\r\n\r\n", "" },
		{ 400, "GET / HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\n\r\n", "" },
		{ 404, "GET /no HTTP/1.1\r\nHost: HERE\r\n\r\n", "no such page" },
		{ 404, "GET /%2e HTTP/1.1\r\nHost: HERE\r\n\r\n", "no such page" },
		{ 405, "PUT / HTTP/1.1\r\nHost: HERE\r\nContent-Length: 0\r\n\r\n",
		  "Allow: GET, HEAD, POST\r\n" },
		{ 405, "DELETE /lines.json HTTP/1.1\r\nHost: HERE\r\n\r\n", "Allow: GET, HEAD\r\n" },
		{ 405, "POST /lines.json HTTP/1.1\r\nHost: HERE\r\n" FORM
		       "Content-Length: 0\r\n\r\n", "Allow: GET, HEAD\r\n" },
		{ 400, "GET / HTTP/1.1\r\nHost: HERE\r\nContent-Length: 3\r\n\r\nabc", "no body" },
		{ 411, "POST / HTTP/1.1\r\nHost: HERE\r\n" FORM "\r\n", "Content-Length" },
		{ 411, "POST / HTTP/1.1\r\nHost: HERE\r\n" FORM
		       "Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n", "Content-Length" },
		{ 413, "POST / HTTP/1.1\r\nHost: HERE\r\n" FORM "Content-Length: 1025\r\n\r\n",
		  "1024 bytes at most" },
		{ 413, "POST / HTTP/1.1\r\nHost: HERE\r\n" FORM "Content-Length: 1000000000\r\n\r\n",
		  "1024 bytes at most" },
		{ 415, "POST / HTTP/1.1\r\nHost: HERE\r\nContent-Type: text/plain\r\n"
		       "Content-Length: 1\r\n\r\n", "application/x-www-form-urlencoded" },
		{ 415, "POST / HTTP/1.1\r\nHost: HERE\r\nContent-Length: 1\r\n\r\n",
		  "application/x-www-form-urlencoded" },
	};
	struct bench *s = *state;
	char request[512], here[32];

	snprintf(here, sizeof(here), "localhost:%u", s->port);
	for (size_t i = 0; i < COUNT(bad); i++) {
		const char *at = strstr(bad[i].head, "HERE");

		if (at)
			snprintf(request, sizeof(request), "%.*s%s%s", (int)(at - bad[i].head),
				 bad[i].head, here, at + 4);
		if (ask_raw(s, at ? request : bad[i].head) != bad[i].status)
			fail_msg("%s: expected %d: %.300s", bad[i].head, bad[i].status, s->reply);
		assert_has(s->reply, bad[i].says);
		assert_int_equal(s->edges, 0);
	}
}

/* -- the bus gone ------------------------------------------------------------------------------ */

static void a_bus_that_is_gone_comes_back(void **state)
{
	const int64_t end_ms = now_ms() + DEADLINE_MS;
	struct bench *s = *state;

	close_board(s);
	assert_int_equal(get(s, "/", ""), 503);
	assert_has(s->reply, "<h2>The bus is gone</h2>");
	assert_null(strstr(s->reply, "<form"));
	assert_int_equal(get(s, "/lines.json", ""), 503);
	assert_has(s->reply, "{\"version\":1,\"gone\":true,\"lines\":[]}");
	assert_int_equal(post(s, "set=ignition:1"), 503);
	assert_has(s->reply, "The bus is gone: nothing was done.");
	s->p.line[PW_EXITS].configured = false; /* and another policy */
	open_board(s);
	do {
		if (now_ms() >= end_ms)
			fail_msg("it did not come back");
		tend(s, -1, DEADLINE_MS);
	} while (get(s, "/", "") != 200);
	assert_null(strstr(s->reply, "value=\"exits"));
	assert_int_equal(post(s, "set=ignition:1"), 303);
	assert_int_equal(s->edges, 1);
}

static void a_watch_that_has_stopped_is_told(void **state)
{
	struct bench *s = *state;

	s->dumb = true;
	assert_int_equal(post(s, "set=ignition:1"), 503);
	assert_int_equal(get(s, "/", ""), 503);
	assert_has(s->reply, "the bench does not answer");
	s->dumb = false;
}

/* A bench in a hurry: what it tells after its answer comes with it, and then nothing more. */
static void what_comes_with_an_answer_is_taken(void **state)
{
	static const char heap[] = "in ignition=1\nok\nout lamp=1\nout horn=";
	struct pw_bench_lines b = { .path = "a pair" };
	int end[2], status;
	char why[100], asked[32];
	pid_t pid;

	(void)state;
	assert_int_equal(socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, end), 0);
	pid = fork();
	if (pid == 0)
		_exit(recv(end[1], asked, sizeof(asked), 0) <= 0 ||
		      send(end[1], heap, strlen(heap), MSG_NOSIGNAL) < 0);
	b.fd = end[0];
	assert_int_equal(pw_bench_pull(&b, "ignition=1", now_ms(), why, sizeof(why)), 0);
	assert_int_equal(waitpid(pid, &status, 0), pid);
	assert_int_equal(status, 0);
	pw_bench_take(&b, now_ms());
	assert_int_equal(b.count, 2);
	assert_int_equal(pw_bench_find(&b, "lamp")->level, 1);
	assert_int_equal(send(end[1], "1\n", 2, MSG_NOSIGNAL), 2); /* in pieces, too */
	pw_bench_take(&b, now_ms());
	assert_int_equal(pw_bench_find(&b, "horn")->level, 1);
	close(end[1]);
	pw_bench_take(&b, now_ms());
	assert_int_equal(b.fd, -1);
	assert_string_equal(b.why, "the bench has ended the talk");
}

/* -- a bad start ------------------------------------------------------------------------------- */

static void addresses_are_judged(void **state)
{
	static const struct {
		const char *page, *says;
	} bad[] = {
		{ "", "expected HOST:PORT in figures" },
		{ "127.0.0.1", "expected HOST:PORT in figures" },
		{ "127.0.0.1:", "expected HOST:PORT in figures" },
		{ "127.0.0.1:-1", "expected HOST:PORT in figures" },
		{ "127.0.0.1:123456", "expected HOST:PORT in figures" },
		{ "bus.example:80", "expected HOST:PORT in figures" },
		{ "::1:80", "expected HOST:PORT in figures" },
		{ "[::1:80", "expected HOST:PORT in figures" },
		{ "[127.0.0.1]:80", "expected HOST:PORT in figures" },
		{ ":80", "expected HOST:PORT in figures" },
		{ "]:80", "expected HOST:PORT in figures" },
		{ "0.0.0.0:0", "expected a loopback address" },
		{ "192.0.2.1:8788", "expected a loopback address" },
		{ "[::]:0", "expected a loopback address" },
	};
	struct bench *s = *state;

	for (size_t i = 0; i < COUNT(bad); i++) {
		RUN(s->t, pw_bench, "bench", s->path, "--page", bad[i].page);
		assert_refused(s->t, bad[i].says);
	}
	RUN(s->t, pw_bench, "bench", s->path, "--page", "127.0.0.1:0", "--bus", "javascript:x");
	assert_refused(s->t, "expected an address like http://127.0.0.1:8787");
	RUN(s->t, pw_bench, "bench", s->path, "--page", "127.0.0.1:0", "--bus", "http://a\"b");
	assert_refused(s->t, "expected an address like http://127.0.0.1:8787");
}

static void a_bench_must_be_there(void **state)
{
	struct bench *s = *state;

	RUN(s->t, pw_bench, "bench", tool_path(s->t, "none"), "--page", "127.0.0.1:0");
	assert_refused(s->t, "expected the socket of a bench board");
}

static void options_fit_together(void **state)
{
	struct bench *s = *state;

	RUN(s->t, pw_bench, "bench", s->path, "--page", "127.0.0.1:0", "--watch");
	assert_has(s->t->err, "usage: postwalk bench");
	RUN(s->t, pw_bench, "bench", s->path, "--bus", "http://127.0.0.1:8787", "--watch");
	assert_has(s->t->err, "usage: postwalk bench");
	RUN(s->t, pw_bench, "bench", s->path, "--reachable", "ignition=1");
	assert_has(s->t->err, "usage: postwalk bench");
	RUN(s->t, pw_bench, "bench", "--page", "127.0.0.1:0");
	assert_has(s->t->err, "usage: postwalk bench");
	assert_int_equal(s->t->status, PW_EXIT_BAD);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
#define TEST(f) cmocka_unit_test_setup_teardown(f, begin, end)
		TEST(lines_that_there_are),
		TEST(outputs_as_they_are),
		TEST(pulses_are_shown_steadily),
		TEST(nothing_new_is_304),
		TEST(a_held_page_stays),
		TEST(a_switch_moves_its_line),
		TEST(others_hands_are_seen),
		TEST(a_press_is_let_go_by_itself),
		TEST(bad_forms_do_nothing),
		TEST(forged_forms_do_nothing),
		TEST(bad_requests_get_a_sentence),
		TEST(a_bus_that_is_gone_comes_back),
		TEST(a_watch_that_has_stopped_is_told),
#undef TEST
		cmocka_unit_test_setup_teardown(a_pair_moves_in_one_moment, begin_without_board,
						end_board),
#define TEST(f) cmocka_unit_test_setup_teardown(f, begin_board, end_board)
		TEST(nobody_is_left_pressing),
		cmocka_unit_test(what_comes_with_an_answer_is_taken),
		TEST(addresses_are_judged),
		TEST(a_bench_must_be_there),
		TEST(options_fit_together),
#undef TEST
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
