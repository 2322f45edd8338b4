/* SPDX-License-Identifier: Apache-2.0 */
#include <arpa/inet.h>
#include <errno.h>
#include <signal.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/socket.h>
#include <sys/uio.h>
#include <sys/wait.h>
#include <unistd.h>

#include "page_internal.h"

#define BIND_AGAIN_MS 5000
#define START_AGAIN_MS 1000
#define REAP_AGAIN_MS 50
#define CALLS_AT_ONCE 64 /* of a process that has gone mad */

struct pw_page {
	char listen[64];
	int epoll;            /* holds the channel, so that those who wait need not follow it */
	int listener, channel; /* -1: none */
	pid_t pid;            /* 0: none */
	bool hopeless;        /* the address will never do */
	bool changed;         /* the fault, since it was last told */
	bool died;            /* once at least: from then on started once a second at most */
	int64_t next_ms, started_ms;
	char fault[256];
	unsigned calls;       /* taken since it was last found silent */
	uint32_t serial;      /* of the last call */
};

static void fault_set(struct pw_page *page, const char *text)
{
	if (strcmp(page->fault, text) != 0) {
		snprintf(page->fault, sizeof page->fault, "%s", text);
		page->changed = true;
	}
}

/* -- the address ------------------------------------------------------------------------------- */

union address {
	struct sockaddr any;
	struct sockaddr_in v4;
	struct sockaddr_in6 v6;
};

/* HOST:PORT, [V6]:PORT. Length, or 0. */
static socklen_t address_read(const char *text, union address *a)
{
	const char *colon = strrchr(text, ':');
	char host[64], *end;

	memset(a, 0, sizeof *a);
	if (!colon || colon[1] < '0' || colon[1] > '9')
		return 0;
	long port = strtol(colon + 1, &end, 10);

	if (*end || port < 1 || port > 65535)
		return 0;
	snprintf(host, sizeof host, "%.*s", (int)(colon - text), text);
	a->v4.sin_family = AF_INET;
	a->v4.sin_port = htons((uint16_t)port);
	if (!strcmp(host, "localhost"))
		snprintf(host, sizeof host, "127.0.0.1");
	if (inet_pton(AF_INET, host, &a->v4.sin_addr) == 1)
		return sizeof a->v4;

	size_t len = strlen(host);

	memset(a, 0, sizeof *a);
	if (len < 2 || host[0] != '[' || host[len - 1] != ']')
		return 0;
	host[len - 1] = '\0';
	a->v6.sin6_family = AF_INET6;
	a->v6.sin6_port = htons((uint16_t)port);
	return inet_pton(AF_INET6, host + 1, &a->v6.sin6_addr) == 1 ? sizeof a->v6 : 0;
}

static void bind_fault(struct pw_page *page, int why)
{
	char text[256];

	if (why == EADDRINUSE)
		snprintf(text, sizeof text,
			 "%s is taken by another program: end that program, or give the page "
			 "another address (listen in [page])", page->listen);
	else if (why == EADDRNOTAVAIL)
		snprintf(text, sizeof text,
			 "%s is no address of this machine now: listen in [page] wants one that it "
			 "has, such as 127.0.0.1:8787", page->listen);
	else if (why == EACCES)
		snprintf(text, sizeof text,
			 "%s may not be used without more rights: give the page a port above 1023 "
			 "(listen in [page])", page->listen);
	else
		snprintf(text, sizeof text, "%s cannot be listened at: %s", page->listen,
			 strerror(why));
	fault_set(page, text);
}

static int listener_open(const union address *a, socklen_t len)
{
	int one = 1, fd = socket(a->any.sa_family, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);

	if (fd < 0)
		return -1;
	setsockopt(fd, SOL_SOCKET, SO_REUSEADDR, &one, sizeof one);
	if (a->any.sa_family == AF_INET6)
		setsockopt(fd, IPPROTO_IPV6, IPV6_V6ONLY, &one, sizeof one);
	if (bind(fd, &a->any, len) < 0 || listen(fd, 64) < 0) {
		int why = errno;

		close(fd);
		errno = why;
		return -1;
	}
	return fd;
}

static bool listen_now(struct pw_page *page)
{
	union address a;
	socklen_t len = address_read(page->listen, &a);

	if (page->listener >= 0)
		return true;
	page->hopeless = len == 0;
	if (page->hopeless) {
		char text[256];

		snprintf(text, sizeof text,
			 "\"%s\" is not HOST:PORT with a numeric address or localhost, such as "
			 "127.0.0.1:8787 or [::1]:8787", page->listen);
		fault_set(page, text);
		return false;
	}
	page->listener = listener_open(&a, len);
	if (page->listener < 0)
		bind_fault(page, errno);
	return page->listener >= 0;
}

/* -- the process ------------------------------------------------------------------------------- */

static void channel_close(struct pw_page *page)
{
	if (page->channel < 0)
		return;
	/* By hand: another child of the watch may hold a copy, and the kernel counts copies. */
	epoll_ctl(page->epoll, EPOLL_CTL_DEL, page->channel, NULL);
	close(page->channel);
	page->channel = -1;
}

static bool spawn(struct pw_page *page)
{
	struct epoll_event readable = { .events = EPOLLIN };
	pid_t watch = getpid();
	int pair[2];

	if (socketpair(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0, pair) < 0)
		goto fail;
	pid_t pid = epoll_ctl(page->epoll, EPOLL_CTL_ADD, pair[0], &readable) < 0 ? -1 : fork();

	if (pid == 0)
		pw_page_process(page->listener, pair[1], watch);
	close(pair[1]);
	if (pid < 0) {
		close(pair[0]);
		goto fail;
	}
	page->channel = pair[0];
	page->pid = pid;
	return true;
fail:
	fault_set(page, "the page process cannot be started: no memory or no process left");
	return false;
}

static void death_fault(struct pw_page *page, int status)
{
	char text[256];

	if (WIFSIGNALED(status))
		snprintf(text, sizeof text,
			 "the page process was ended by signal %d (%s) and is started again",
			 WTERMSIG(status), strsignal(WTERMSIG(status)));
	else if (WEXITSTATUS(status) == PW_PAGE_NO_RIGHTS)
		snprintf(text, sizeof text,
			 "the page process could not give up its rights, so there is no page: "
			 "start postwalkd as a user of its own, or as root");
	else if (WEXITSTATUS(status) == PW_PAGE_NO_HTTP)
		snprintf(text, sizeof text, "the page process could not begin to serve HTTP");
	else
		snprintf(text, sizeof text,
			 "the page process ended with status %d and is started again",
			 WEXITSTATUS(status));
	fault_set(page, text);
}

/* True when there is no process any more. */
static bool reap(struct pw_page *page, int64_t now_ms)
{
	int status = 0;
	pid_t got = page->pid ? waitpid(page->pid, &status, WNOHANG) : 0;

	if (page->pid == 0)
		return true;
	if (got == 0 && page->channel >= 0)
		return false;
	if (got == 0) { /* it has closed its end, or was stopped: it is of no use */
		kill(page->pid, SIGKILL);
		page->next_ms = now_ms + REAP_AGAIN_MS;
		return false;
	}
	page->pid = 0;
	channel_close(page);
	if (got > 0)
		death_fault(page, status);
	page->next_ms = now_ms;
	if (page->died && page->started_ms + START_AGAIN_MS > now_ms)
		page->next_ms = page->started_ms + START_AGAIN_MS;
	page->died = true;
	return true;
}

static void start_if_due(struct pw_page *page, int64_t now_ms)
{
	if (now_ms < page->next_ms)
		return;
	if (!listen_now(page)) {
		page->next_ms = page->hopeless ? PW_NEVER : now_ms + BIND_AGAIN_MS;
		return;
	}
	page->next_ms = spawn(page) ? PW_NEVER : now_ms + START_AGAIN_MS;
	page->started_ms = now_ms;
}

/* -- front door -------------------------------------------------------------------------------- */

int pw_page_start(const char *listen, struct pw_page **out)
{
	struct pw_page *page = calloc(1, sizeof *page);

	if (!page)
		return -1;
	snprintf(page->listen, sizeof page->listen, "%s", listen);
	page->listener = page->channel = -1;
	page->epoll = epoll_create1(EPOLL_CLOEXEC);
	if (page->epoll < 0) {
		free(page);
		return -1;
	}
	*out = page;
	return 0;
}

void pw_page_stop(struct pw_page *page)
{
	if (!page)
		return;
	channel_close(page);
	if (page->pid) {
		kill(page->pid, SIGKILL); /* it keeps nothing */
		while (waitpid(page->pid, NULL, 0) < 0 && errno == EINTR)
			;
	}
	if (page->listener >= 0)
		close(page->listener);
	close(page->epoll);
	free(page);
}

int pw_page_fd(const struct pw_page *page)
{
	return page->epoll;
}

pid_t pw_page_pid(const struct pw_page *page)
{
	return page->pid;
}

bool pw_page_tend(struct pw_page *page, int64_t now_ms)
{
	if (reap(page, now_ms))
		start_if_due(page, now_ms);

	bool changed = page->changed;

	page->changed = false;
	return changed;
}

int64_t pw_page_next_ms(const struct pw_page *page)
{
	return page->next_ms;
}

enum pw_asked pw_page_asked(struct pw_page *page, struct pw_act *act, uint32_t *serial)
{
	static const enum pw_asked asked[] = {
		[PW_CALL_ASK] = PW_ASKED_SNAPSHOT, [PW_CALL_WIRES] = PW_ASKED_WIRES,
		[PW_CALL_ACT] = PW_ASKED_ACT,
	};
	struct pw_call call;

	while (page->channel >= 0 && page->calls < CALLS_AT_ONCE) {
		ssize_t n = recv(page->channel, &call, sizeof call, MSG_DONTWAIT | MSG_TRUNC);

		if (n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR)) {
			channel_close(page);
			page->next_ms = 0; /* tend: it is gone */
			break;
		}
		if (n < 0)
			break;
		page->calls++;
		if (!pw_call_ok(&call, (size_t)n))
			continue;
		if (call.kind == PW_CALL_READY) {
			fault_set(page, "");
			continue;
		}
		*act = call.act;
		*serial = page->serial = call.serial;
		sodium_memzero(&call.act, sizeof call.act); /* it may hold a PIN */
		return asked[call.kind];
	}
	page->calls = 0;
	return PW_ASKED_NOTHING;
}

/* What the channel cannot take is dropped: the page waits for it in vain, and says so. */
static void reply(struct pw_page *page, enum pw_reply_kind kind, uint32_t serial, const void *what,
		  size_t size)
{
	struct pw_reply_head head = { .version = PW_SNAPSHOT_VERSION, .kind = kind,
				      .serial = serial, .size = (uint32_t)(sizeof head + size) };
	struct iovec part[] = {
		{ .iov_base = &head, .iov_len = sizeof head },
		{ .iov_base = (void *)(uintptr_t)what, .iov_len = size },
	};
	struct msghdr message = { .msg_iov = part, .msg_iovlen = 2 };

	if (page->channel >= 0)
		sendmsg(page->channel, &message, MSG_DONTWAIT | MSG_NOSIGNAL);
}

void pw_page_answer(struct pw_page *page, const struct pw_snapshot *snapshot)
{
	reply(page, PW_REPLY_SNAPSHOT, page->serial, snapshot, sizeof *snapshot);
}

void pw_page_answer_wires(struct pw_page *page, uint32_t serial, const struct pw_wires *wires)
{
	reply(page, PW_REPLY_WIRES, serial, wires, sizeof *wires);
}

void pw_page_answer_act(struct pw_page *page, uint32_t serial, const struct pw_done_act *done)
{
	reply(page, PW_REPLY_ACT, serial, done, sizeof *done);
}

const char *pw_page_fault(const struct pw_page *page)
{
	return page->fault[0] ? page->fault : NULL;
}
