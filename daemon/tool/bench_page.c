/* SPDX-License-Identifier: Apache-2.0 */
/* A bench board's own page, for whoever plays the driver in a browser: a process of its own. */
#include <arpa/inet.h>
#include <errno.h>
#include <microhttpd.h>
#include <netdb.h>
#include <poll.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>
#include <sys/signalfd.h>
#include <sys/socket.h>
#include <unistd.h>

#include "bench_internal.h"

#define NEVER_MS INT64_MAX

static int fail(const char *what, const char *why)
{
	fprintf(stderr, "postwalk bench: %s: %s\n", what, why);
	return -1;
}

/* -- pulling ----------------------------------------------------------------------------------- */

/* A button moves both of its contacts in one moment. */
static int move_button(struct pw_bench_page *p, unsigned level, int64_t now_ms, char *why,
		       size_t size)
{
	char words[2 * PW_NAME_MAX + 16];

	snprintf(words, sizeof(words), "rear_button=%u", level);
	if (pw_bench_find(&p->bench, "rear_button_nc"))
		snprintf(words + strlen(words), sizeof(words) - strlen(words),
			 " rear_button_nc=%u", !level);
	p->let_go_ms = NEVER_MS;
	return pw_bench_pull(&p->bench, words, now_ms, why, size);
}

int pw_bench_press(struct pw_bench_page *p, int64_t now_ms, char *why, size_t size)
{
	int result = move_button(p, 1, now_ms, why, size);

	if (result == 0)
		p->let_go_ms = now_ms + PW_BENCH_PRESS_MS;
	return result;
}

int pw_bench_set(struct pw_bench_page *p, const char *name, unsigned level, int64_t now_ms,
		 char *why, size_t size)
{
	char words[PW_NAME_MAX + 3];

	if (strcmp(name, "rear_button") == 0)
		return move_button(p, level, now_ms, why, size);
	snprintf(words, sizeof(words), "%s=%u", name, level);
	return pw_bench_pull(&p->bench, words, now_ms, why, size);
}

static void let_go(struct pw_bench_page *p, int64_t now_ms)
{
	char why[300];

	if (p->let_go_ms != NEVER_MS && p->bench.fd >= 0)
		move_button(p, 0, now_ms, why, sizeof(why));
	p->let_go_ms = NEVER_MS;
}

/* -- the address ------------------------------------------------------------------------------- */

static bool is_loopback(const struct sockaddr *a)
{
	if (a->sa_family == AF_INET)
		return ntohl(((const struct sockaddr_in *)(const void *)a)->sin_addr.s_addr) >> 24 ==
		       127;
	return a->sa_family == AF_INET6 &&
	       IN6_IS_ADDR_LOOPBACK(&((const struct sockaddr_in6 *)(const void *)a)->sin6_addr);
}

/* HOST:PORT in figures, an IPv6 address in brackets. The caller frees it. */
static struct addrinfo *read_address(const char *text)
{
	const struct addrinfo want = { .ai_socktype = SOCK_STREAM,
				       .ai_flags = AI_NUMERICHOST | AI_NUMERICSERV | AI_PASSIVE };
	const bool brackets = text[0] == '[';
	const char *colon = strrchr(text, ':');
	const char *end = colon ? colon - brackets : NULL;
	struct addrinfo *found = NULL;
	char host[64];
	size_t len;

	if (!end || end < text + brackets || (brackets && *end != ']'))
		return NULL;
	len = (size_t)(end - text) - brackets;
	if (len == 0 || len >= sizeof(host) || strspn(colon + 1, "0123456789") != strlen(colon + 1) ||
	    colon[1] == '\0' || strlen(colon + 1) > 5)
		return NULL;
	memcpy(host, text + brackets, len);
	host[len] = '\0';
	if (brackets != (strchr(host, ':') != NULL) || getaddrinfo(host, colon + 1, &want, &found))
		return NULL;
	return found;
}

static int listen_at(const struct addrinfo *a)
{
	const int on = 1;
	int fd = socket(a->ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);

	if (fd < 0)
		return -1;
	setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &on, sizeof(on));
	if (bind(fd, a->ai_addr, a->ai_addrlen) == 0 && listen(fd, 32) == 0)
		return fd;
	close(fd);
	return -1;
}

static int open_listener(const struct pw_bench_page_options *o)
{
	struct addrinfo *a = read_address(o->listen);
	int fd;

	if (!a)
		return fail(o->listen, "expected HOST:PORT in figures, like 127.0.0.1:8788");
	if (!o->reachable && !is_loopback(a->ai_addr)) {
		freeaddrinfo(a);
		return fail(o->listen, "expected a loopback address, like 127.0.0.1:8788; "
			    "--reachable lets others pull these wires");
	}
	fd = listen_at(a);
	freeaddrinfo(a);
	return fd < 0 ? fail(o->listen, strerror(errno)) : fd;
}

static int tell_address(int fd)
{
	union {
		struct sockaddr any;
		struct sockaddr_storage all;
	} at;
	socklen_t size = sizeof(at);
	char host[64], port[8];

	if (getsockname(fd, &at.any, &size) ||
	    getnameinfo(&at.any, size, host, sizeof(host), port, sizeof(port),
			NI_NUMERICHOST | NI_NUMERICSERV))
		return fail("the page's address", strerror(errno));
	printf(strchr(host, ':') ? "http://[%s]:%s\n" : "http://%s:%s\n", host, port);
	if (fflush(stdout))
		return fail("standard output", strerror(errno));
	return 0;
}

static int check_bus(const char *url)
{
	static const char may[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
				  ".:/[]-_~%?=&";

	if (!url || ((strncmp(url, "http://", 7) == 0 || strncmp(url, "https://", 8) == 0) &&
		     strspn(url, may) == strlen(url)))
		return 0;
	return fail(url, "expected an address like http://127.0.0.1:8787");
}

/* -- the loop ---------------------------------------------------------------------------------- */

static int wait_ms(const struct pw_bench_page *p, int64_t now_ms)
{
	int64_t due_ms = p->let_go_ms, left_ms;
	unsigned MHD_LONG_LONG http_ms;

	if (p->bench.fd < 0 && p->bench.again_ms < due_ms)
		due_ms = p->bench.again_ms;
	left_ms = due_ms == NEVER_MS ? INT32_MAX : due_ms > now_ms ? due_ms - now_ms : 0;
	if (MHD_get_timeout(p->http, &http_ms) == MHD_YES && http_ms < (unsigned long long)left_ms)
		left_ms = (int64_t)http_ms;
	return left_ms == INT32_MAX ? -1 : (int)left_ms;
}

static void tend(struct pw_bench_page *p, int64_t now_ms)
{
	if (p->bench.fd >= 0)
		pw_bench_take(&p->bench, now_ms);
	if (now_ms >= p->let_go_ms)
		let_go(p, now_ms);
	if (p->bench.fd < 0 && now_ms >= p->bench.again_ms)
		pw_bench_join(&p->bench, now_ms);
}

static void run(struct pw_bench_page *p, int signals)
{
	const int http = MHD_get_daemon_info(p->http, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;

	for (;;) {
		struct pollfd f[] = { { .fd = signals, .events = POLLIN },
				      { .fd = http, .events = POLLIN },
				      { .fd = p->bench.fd, .events = POLLIN } };

		poll(f, 3, wait_ms(p, pw_bench_now_ms()));
		if (f[0].revents)
			break;
		tend(p, pw_bench_now_ms());
		MHD_run(p->http);
	}
	let_go(p, pw_bench_now_ms());
}

static int take_signals(void)
{
	sigset_t set;

	sigemptyset(&set);
	sigaddset(&set, SIGTERM);
	sigaddset(&set, SIGINT);
	sigaddset(&set, SIGHUP);
	sigprocmask(SIG_BLOCK, &set, NULL);
	return signalfd(-1, &set, SFD_CLOEXEC);
}

static void draw_token(char token[33])
{
	unsigned char bytes[16];

	randombytes_buf(bytes, sizeof(bytes));
	sodium_bin2hex(token, 2 * sizeof(bytes) + 1, bytes, sizeof(bytes));
}

static int serve(struct pw_bench_page *p, int listener, int signals)
{
	if (pw_bench_http_start(p, listener)) {
		close(listener);
		return fail("the page", "cannot be served");
	}
	if (tell_address(listener) == 0) {
		run(p, signals);
		pw_bench_http_stop(p);
		return 0;
	}
	pw_bench_http_stop(p);
	return -1;
}

int pw_bench_page(const struct pw_bench_page_options *o)
{
	struct pw_bench_page p = { .bench = { .path = o->socket, .fd = -1 }, .bus = o->bus,
				   .let_go_ms = NEVER_MS };
	int listener, signals, result;

	if (check_bus(o->bus) || (listener = open_listener(o)) < 0)
		return PW_EXIT_BAD;
	signals = take_signals();
	if (signals < 0 || sodium_init() < 0) {
		fail("the page", "cannot begin");
		close(listener);
		return PW_EXIT_BAD;
	}
	draw_token(p.token);
	if (pw_bench_join(&p.bench, pw_bench_now_ms())) {
		fprintf(stderr, "postwalk bench: %s\n", p.bench.why);
		close(listener);
		result = -1;
	} else {
		result = serve(&p, listener, signals);
	}
	pw_bench_leave(&p.bench, 0, "");
	close(signals);
	return result ? PW_EXIT_BAD : PW_EXIT_OK;
}
