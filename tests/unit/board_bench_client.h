/* SPDX-License-Identifier: Apache-2.0 */
/* board_bench_client.h - a bench and its clients in one thread: a client writes, the board reads,
 * the client looks what has come. Nothing waits. */
#ifndef POSTWALK_TEST_BOARD_BENCH_CLIENT_H
#define POSTWALK_TEST_BOARD_BENCH_CLIENT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <errno.h>
#include <poll.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "../../daemon/board/board_internal.h"

#define BIT(i) (UINT32_C(1) << (i))
#define T0 INT64_C(50000)
#define SENSE PW_EXTRA
#define YARD_LIGHT (PW_EXTRA + 1)
#define MANY 2048

struct bench {
	char dir[64], path[96];
	struct pw_policy p;
	struct pw_board *b;
	struct pw_edge edge[MANY];
	size_t edges;
};

static inline void usual_lines(struct pw_policy *p)
{
	pw_policy_init(p, true);
	p->line[PW_EXITS].configured = false;
	p->line[PW_REAR_BUTTON_NC].configured = true;
	for (unsigned i = PW_BEEPER; i <= YARD_LIGHT; i++)
		p->line[i].configured = i != PW_DOME;
	snprintf(p->line[SENSE].name, PW_NAME_MAX, "horn_current");
	p->line[SENSE].direction = PW_IN;
	snprintf(p->line[YARD_LIGHT].name, PW_NAME_MAX, "yard_light");
	p->line[YARD_LIGHT].direction = PW_OUT;
}

static inline void open_bench(struct bench *s)
{
	char why[200] = "";

	if (pw_board_open("bench", s->path, &s->p, T0, &s->b, why, sizeof(why)) < 0)
		fail_msg("%s", why);
}

static inline int begin(void **state)
{
	struct bench *s = calloc(1, sizeof(*s));

	assert_non_null(s);
	snprintf(s->dir, sizeof(s->dir), "/tmp/postwalk-bench-XXXXXX");
	assert_non_null(mkdtemp(s->dir));
	snprintf(s->path, sizeof(s->path), "%s/bench", s->dir);
	usual_lines(&s->p);
	open_bench(s);
	*state = s;
	return 0;
}

static inline int end(void **state)
{
	struct bench *s = *state;

	pw_board_close(s->b);
	assert_int_equal(access(s->path, F_OK), -1); /* the socket goes with the bench */
	rmdir(s->dir);
	free(s);
	return 0;
}

/* -- a client ---------------------------------------------------------------------------------- */

static inline int join(const struct bench *s)
{
	struct sockaddr_un at = {.sun_family = AF_UNIX};
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);

	assert_true(fd >= 0);
	snprintf(at.sun_path, sizeof(at.sun_path), "%s", s->path);
	assert_int_equal(connect(fd, (const struct sockaddr *)&at, sizeof(at)), 0);
	return fd;
}

static inline void say_bytes(int fd, const void *text, size_t len)
{
	assert_int_equal(send(fd, text, len, MSG_NOSIGNAL), (ssize_t)len);
}

static inline void say(int fd, const char *text)
{
	say_bytes(fd, text, strlen(text));
}

static inline bool is_ready(const struct bench *s)
{
	struct pollfd p = {.fd = pw_board_fd(s->b), .events = POLLIN};

	return poll(&p, 1, 0) > 0;
}

/* Reads as the loop would, until nothing is ready. The edges of all readings. */
static inline size_t serve(struct bench *s, int64_t now_ms)
{
	s->edges = 0;
	while (is_ready(s)) {
		s->edges += pw_board_read(s->b, now_ms, s->edge + s->edges, MANY - s->edges);
		assert_true(s->edges < MANY);
	}
	return s->edges;
}

static inline const char *heard(int fd)
{
	static char text[65536];
	ssize_t n = recv(fd, text, sizeof(text) - 1, 0);

	assert_true(n >= 0 || errno == EAGAIN);
	text[n > 0 ? n : 0] = '\0';
	return text;
}

static inline bool is_closed(int fd)
{
	char c;
	ssize_t n = recv(fd, &c, 1, 0);

	return n == 0 || (n < 0 && errno == ECONNRESET);
}

static inline const char *ask(struct bench *s, int fd, const char *text, int64_t now_ms)
{
	say(fd, text);
	serve(s, now_ms);
	return heard(fd);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, begin, end)

#endif
