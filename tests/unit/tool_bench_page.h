/* SPDX-License-Identifier: Apache-2.0 */
/* tool_bench_page.h - a bench board and the real process of its page, and raw sockets as clients of
 * the page (RFC 9112). Everything waits for descriptors, with a deadline. */
#ifndef POSTWALK_TEST_TOOL_BENCH_PAGE_H
#define POSTWALK_TEST_TOOL_BENCH_PAGE_H

#include "tool_command.h"

#include <arpa/inet.h>
#include <poll.h>
#include <signal.h>
#include <sys/socket.h>
#include <time.h>

#include "../../daemon/tool/bench_internal.h"
#include "postwalk/board.h"

#define EDGES_MAX 64
#define DEADLINE_MS 8000
#define LOOK_MS 5 /* what a file says is looked at so often */
#define PRESS_MS 300
#define BIT(i) (UINT32_C(1) << (i))

struct bench {
	struct tool *t;
	char path[100];
	struct pw_policy p;
	struct pw_board *b;
	struct pw_edge edge[EDGES_MAX];
	size_t edges;
	int alive; /* ends with the page's process */
	unsigned port;
	bool dumb; /* the board is not tended */
	char token[64];
	char reply[65536];
};

static inline int64_t now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* The watch's loop: once, as soon as the board or fd (-1: neither) is ready, or after max_ms. */
static inline bool tend(struct bench *s, int fd, int max_ms)
{
	struct pollfd p[2] = { { .fd = s->b && !s->dumb ? pw_board_fd(s->b) : -1,
				 .events = POLLIN },
			       { .fd = fd, .events = POLLIN } };

	assert_true(poll(p, 2, max_ms) >= 0);
	if (p[0].revents)
		s->edges += pw_board_read(s->b, now_ms(), s->edge + s->edges, EDGES_MAX - s->edges);
	return p[1].revents;
}

static inline void tend_until(struct bench *s, int fd)
{
	const int64_t end_ms = now_ms() + DEADLINE_MS;

	while (!tend(s, fd, DEADLINE_MS))
		if (now_ms() >= end_ms)
			fail_msg("nothing came within %d ms", DEADLINE_MS);
}

static inline void tend_until_edges(struct bench *s, size_t count)
{
	const int64_t end_ms = now_ms() + DEADLINE_MS;

	while (s->edges < count) {
		tend(s, -1, DEADLINE_MS);
		if (now_ms() >= end_ms)
			fail_msg("%zu edges within %d ms", s->edges, DEADLINE_MS);
	}
}

static inline void open_board(struct bench *s)
{
	char why[300];

	if (pw_board_open("bench", s->path, &s->p, now_ms(), &s->b, why, sizeof(why)))
		fail_msg("%s", why);
}

static inline void close_board(struct bench *s)
{
	pw_board_close(s->b);
	s->b = NULL;
}

/* -- a client ---------------------------------------------------------------------------------- */

/* One request on a connection of its own. The status; 0: ended without an answer. */
static inline int ask_raw(struct bench *s, const char *request)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)s->port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0), status = 0;
	size_t length = 0;
	ssize_t n;

	assert_int_equal(connect(fd, (struct sockaddr *)&a, sizeof(a)), 0);
	assert_int_equal(send(fd, request, strlen(request), MSG_NOSIGNAL), (ssize_t)strlen(request));
	do {
		tend_until(s, fd);
		n = recv(fd, s->reply + length, sizeof(s->reply) - 1 - length, 0);
		length += n > 0 ? (size_t)n : 0;
	} while (n > 0);
	close(fd);
	s->reply[length] = '\0';
	sscanf(s->reply, "HTTP/1.1 %d ", &status);
	return status;
}

static inline int get(struct bench *s, const char *path, const char *more)
{
	char request[1024];

	snprintf(request, sizeof(request), "GET %s HTTP/1.1\r\nHost: 127.0.0.1:%u\r\n%s"
		 "Connection: close\r\n\r\n", path, s->port, more);
	return ask_raw(s, request);
}

static inline int post_with(struct bench *s, const char *body, const char *more)
{
	char request[4096];

	snprintf(request, sizeof(request), "POST / HTTP/1.1\r\nHost: 127.0.0.1:%u\r\n"
		 "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: %zu\r\n%s"
		 "Connection: close\r\n\r\n%s", s->port, strlen(body), more, body);
	return ask_raw(s, request);
}

/* With the token of the page. */
static inline int post(struct bench *s, const char *fields)
{
	char body[512];

	snprintf(body, sizeof(body), "token=%s&%s", s->token, fields);
	return post_with(s, body, "");
}

static inline void take_token(struct bench *s)
{
	const char *at;

	assert_int_equal(get(s, "/", ""), 200);
	at = strstr(s->reply, "name=\"token\" value=\"");
	assert_non_null(at);
	assert_int_equal(sscanf(at + 20, "%63[0-9a-f]", s->token), 1);
	assert_int_equal(strlen(s->token), 32);
}

/* -- the page's process ------------------------------------------------------------------------ */

static inline void start_page(struct bench *s)
{
	const char *const arg[] = { "bench", s->path, "--page", "127.0.0.1:0", "--bus",
				    "http://127.0.0.1:8787", NULL };
	const int64_t end_ms = now_ms() + DEADLINE_MS;

	s->alive = tool_start(s->t, pw_bench, arg);
	do {
		if (tend(s, s->alive, LOOK_MS) || now_ms() >= end_ms)
			fail_msg("no page");
		tool_read(tool_path(s->t, "OUT"), s->t->out);
	} while (sscanf(s->t->out, "http://127.0.0.1:%u\n", &s->port) != 1);
	take_token(s);
}

static inline void stop_page(struct bench *s)
{
	kill(s->t->pid, SIGTERM);
	tend_until(s, s->alive);
	close(s->alive);
	assert_int_equal(tool_finish(s->t), PW_EXIT_OK);
	assert_string_equal(s->t->err, "");
}

static inline int begin_board(void **state)
{
	struct bench *s = calloc(1, sizeof(*s));
	void *tool;

	assert_non_null(s);
	tool_begin(&tool);
	s->t = tool;
	snprintf(s->path, sizeof(s->path), "%s/bench", s->t->dir);
	pw_policy_init(&s->p, true);
	s->p.line[PW_LAMPS].configured = false;
	s->p.line[PW_BEEPER].configured = s->p.line[PW_HORN].configured = true;
	s->p.line[PW_EXTRA].configured = true;
	s->p.line[PW_EXTRA].direction = PW_OUT;
	strcpy(s->p.line[PW_EXTRA].name, "yard_light");
	open_board(s);
	*state = s;
	return 0;
}

static inline int begin(void **state)
{
	begin_board(state);
	start_page(*state);
	return 0;
}

static inline int end_board(void **state)
{
	struct bench *s = *state;
	void *tool = s->t;

	pw_board_close(s->b);
	tool_end(&tool);
	free(s);
	return 0;
}

static inline int end(void **state)
{
	stop_page(*state);
	return end_board(state);
}

#endif
