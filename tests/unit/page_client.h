/* SPDX-License-Identifier: Apache-2.0 */
/* page_client.h - a test as the watch behind a real page process, and raw sockets as its clients.
 * Nothing here sleeps: everything waits for descriptors, with a deadline. */
#ifndef POSTWALK_TEST_PAGE_CLIENT_H
#define POSTWALK_TEST_PAGE_CLIENT_H

#include "page_sample.h"

#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <unistd.h>

#define DEADLINE_MS 8000
#define REPLY_MAX 262144

struct world {
	struct pw_page *page;
	uint16_t port;
	struct pw_snapshot snapshot; /* what the watch answers with */
	bool dumb;                   /* it does not */
	bool deaf;                   /* it answers no acts but TOUCH */
	unsigned asked;
	struct pw_wires wires;       /* what it answers installers with */
	struct pw_done_act done;     /* what it answers acts with; of a session: TOUCH and wires */
	bool no_session;             /* TOUCH and wires are answered with PW_SESSION_NONE */
	unsigned acts, touches, refused; /* that came: but for TOUCH and REFUSED; those */
	struct pw_act act, told;     /* the last of the first, of REFUSED */
	int64_t last_now_ms;
	char reply[REPLY_MAX];       /* of the last request */
	size_t length;
};

static inline struct sockaddr_in client_address(uint16_t port)
{
	return (struct sockaddr_in){ .sin_family = AF_INET, .sin_port = htons(port),
				     .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
}

/* A port that nobody listens at now. */
static inline uint16_t free_port(void)
{
	struct sockaddr_in a = client_address(0);
	socklen_t len = sizeof a;
	int fd = socket(AF_INET, SOCK_STREAM, 0);

	assert_int_equal(bind(fd, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(getsockname(fd, (struct sockaddr *)&a, &len), 0);
	close(fd);
	return ntohs(a.sin_port);
}

static inline int client_open(uint16_t port)
{
	struct sockaddr_in a = client_address(port);
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_int_equal(connect(fd, (struct sockaddr *)&a, sizeof a), 0);
	return fd;
}

static inline void answer_wires(struct world *w, uint32_t serial)
{
	const struct pw_done_act none = { .answer = PW_SESSION_NONE };

	w->touches++;
	if (w->no_session)
		pw_page_answer_act(w->page, serial, &none);
	else
		pw_page_answer_wires(w->page, serial, &w->wires);
}

static inline void answer_act(struct world *w, const struct pw_act *act, uint32_t serial)
{
	struct pw_done_act done = w->done;

	if (act->kind == PW_A_REFUSED) {
		w->refused++;
		w->told = *act;
	} else if (act->kind == PW_A_TOUCH) {
		w->touches++;
		done.answer = w->no_session ? PW_SESSION_NONE : PW_DONE_SO;
		done.role = w->no_session ? PW_NOBODY : done.role;
	} else {
		w->acts++;
		w->act = *act;
	}
	if (!w->deaf || act->kind == PW_A_TOUCH)
		pw_page_answer_act(w->page, serial, &done);
}

static inline void answer_snapshot(struct world *w)
{
	w->asked++;
	if (!w->dumb)
		pw_page_answer(w->page, &w->snapshot);
}

/* What the watch's loop does when the page's descriptor is ready. */
static inline void serve_page(struct world *w)
{
	enum pw_asked asked;
	struct pw_act act;
	uint32_t serial;

	while ((asked = pw_page_asked(w->page, &act, &serial)) != PW_ASKED_NOTHING) {
		if (asked == PW_ASKED_SNAPSHOT)
			answer_snapshot(w);
		else if (asked == PW_ASKED_WIRES && !w->dumb)
			answer_wires(w, serial);
		else if (asked == PW_ASKED_ACT && !w->dumb)
			answer_act(w, &act, serial);
	}
	pw_page_tend(w->page, w->last_now_ms);
}

/* Serves until fd is readable (-1: until the page says something). */
static inline void wait_for(struct world *w, int fd)
{
	int64_t end = pw_boot_ms() + DEADLINE_MS;

	for (;;) {
		struct pollfd p[2] = { { .fd = pw_page_fd(w->page), .events = POLLIN },
				       { .fd = fd, .events = POLLIN } };
		int64_t left = end - pw_boot_ms();

		if (left <= 0 || poll(p, 2, (int)left) < 0)
			fail_msg("nothing came within %d ms", DEADLINE_MS);
		if (p[0].revents)
			serve_page(w);
		if (fd < 0 ? p[0].revents : p[1].revents)
			return;
	}
}

/* Until the page process runs and serves. */
static inline void wait_ready(struct world *w)
{
	do
		wait_for(w, -1);
	while (pw_page_fault(w->page) || !pw_page_pid(w->page));
}

static inline struct world *world_new(void)
{
	struct world *w = calloc(1, sizeof *w);
	char address[32];

	assert_non_null(w);
	w->port = free_port();
	w->snapshot = sample_in(PW_OWED, 20000);
	w->wires = sample_wires();
	w->done = sample_done();
	snprintf(address, sizeof address, "127.0.0.1:%u", w->port);
	assert_int_equal(pw_page_start(address, &w->page), 0);
	pw_page_tend(w->page, w->last_now_ms);
	wait_for(w, -1);
	assert_null(pw_page_fault(w->page));
	return w;
}

static inline void world_free(struct world *w)
{
	pw_page_stop(w->page);
	free(w);
}

static inline void client_send(int fd, const char *text)
{
	size_t len = strlen(text);

	assert_int_equal(send(fd, text, len, MSG_NOSIGNAL), (ssize_t)len);
}

/* Reads until the page ends the connection. */
static inline void client_read(struct world *w, int fd)
{
	ssize_t n;

	w->length = 0;
	do {
		wait_for(w, fd);
		n = recv(fd, w->reply + w->length, sizeof w->reply - 1 - w->length, 0);
		w->length += n > 0 ? (size_t)n : 0;
	} while (n > 0);
	w->reply[w->length] = '\0';
}

/* One request on a connection of its own. The status; 0 when it was ended without an answer. */
static inline int ask_raw(struct world *w, const char *request)
{
	int fd = client_open(w->port);
	int status = 0;

	client_send(fd, request);
	client_read(w, fd);
	close(fd);
	if (sscanf(w->reply, "HTTP/1.%*d %d ", &status) != 1)
		return 0;
	return status;
}

static inline int ask(struct world *w, const char *method, const char *path, const char *more)
{
	char request[2048];

	snprintf(request, sizeof request, "%s %s HTTP/1.1\r\nHost: 127.0.0.1:%u\r\n"
		 "Connection: close\r\n%s\r\n", method, path, w->port, more);
	return ask_raw(w, request);
}

/* A header of the last reply, or NULL. */
static inline const char *header(struct world *w, const char *name, char *value, size_t size)
{
	char line[64];

	snprintf(line, sizeof line, "\r\n%s: ", name);
	const char *at = strstr(w->reply, line), *end = strstr(w->reply, "\r\n\r\n");

	if (!at || at > end)
		return NULL;
	at += strlen(line);
	snprintf(value, size, "%.*s", (int)strcspn(at, "\r"), at);
	return value;
}

static inline void header_is(struct world *w, const char *name, const char *want)
{
	char value[512];

	if (!header(w, name, value, sizeof value))
		fail_msg("no header %s in:\n%.600s", name, w->reply);
	assert_string_equal(value, want);
}

static inline const char *body(const struct world *w)
{
	const char *at = strstr(w->reply, "\r\n\r\n");

	assert_non_null(at);
	return at + 4;
}

/* Without the process of its own, with short limits: the test holds the channel. */
static inline pid_t serve_with(const struct pw_page_limits *l, uint16_t *port, int *channel)
{
	struct sockaddr_in a = client_address(0);
	socklen_t len = sizeof a;
	int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0), pair[2];
	struct pw_call call;

	assert_int_equal(bind(listener, (struct sockaddr *)&a, sizeof a), 0);
	assert_int_equal(listen(listener, 16), 0);
	assert_int_equal(getsockname(listener, (struct sockaddr *)&a, &len), 0);
	assert_int_equal(socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair), 0);
	pid_t pid = fork();

	if (pid == 0) {
		close(pair[0]);
		_exit(pw_page_serve(listener, pair[1], l));
	}
	close(pair[1]);
	close(listener);
	assert_int_equal(recv(pair[0], &call, sizeof call, 0), sizeof call);
	assert_int_equal(call.kind, PW_CALL_READY);
	*port = ntohs(a.sin_port);
	*channel = pair[0];
	return pid;
}

/* Waits for the end of a connection, feeding it a byte whenever the clock of poll runs out. */
static inline bool ends_while_fed(int fd, int every_ms)
{
	int64_t end = pw_boot_ms() + DEADLINE_MS;

	while (pw_boot_ms() < end) {
		struct pollfd p = { .fd = fd, .events = POLLIN };

		if (poll(&p, 1, every_ms) == 0) {
			send(fd, "x", 1, MSG_NOSIGNAL);
			continue;
		}
		char c;

		if (recv(fd, &c, 1, 0) <= 0)
			return true;
	}
	return false;
}

static inline int fresh(void **state)
{
	*state = world_new();
	return 0;
}

static inline int over(void **state)
{
	world_free(*state);
	return 0;
}

#define IN_A_WORLD(test) cmocka_unit_test_setup_teardown(test, fresh, over)

#endif
