/* SPDX-License-Identifier: Apache-2.0 */
/* One GET of one small document (RFC 9112), for a page on this machine or in this bus. */
#include <errno.h>
#include <netdb.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "tool_internal.h"

#define WAIT_MS 5000
#define REPLY_MAX (1024 * 1024)

struct place {
	char host[128], port[8];
	char authority[140]; /* as the Host header wants it */
};

static int64_t now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- the address ------------------------------------------------------------------------------- */

static int copy(char *to, size_t size, const char *from, size_t n)
{
	if (n == 0 || n >= size)
		return -1;
	memcpy(to, from, n);
	to[n] = '\0';
	return 0;
}

/* http://HOST[:PORT][/], an IPv6 address in brackets. */
static int read_url(const char *url, const char *path, struct place *p)
{
	const char *host, *end, *after;
	size_t n;

	if (strncasecmp(url, "http://", 7) != 0)
		return -1;
	host = url + 7;
	n = strcspn(host, "/");
	if (host[n] != '\0' && strcmp(host + n, "/") != 0 && strcmp(host + n, path) != 0)
		return -1;
	if (strcspn(host, " \t\r\n@") < n || copy(p->authority, sizeof(p->authority), host, n))
		return -1;
	end = host[0] == '[' ? strchr(p->authority, ']') : strchr(p->authority, ':');
	if (host[0] == '[' && !end)
		return -1;
	after = !end ? p->authority + n : end + (*end == ']');
	if (copy(p->host, sizeof(p->host), p->authority + (host[0] == '['),
		 (size_t)((end ? end : after) - p->authority) - (host[0] == '[')))
		return -1;
	if (*after == '\0')
		return copy(p->port, sizeof(p->port), "80", 2);
	n = strspn(after + 1, "0123456789");
	if (*after != ':' || after[1 + n] != '\0')
		return -1;
	return copy(p->port, sizeof(p->port), after + 1, n);
}

static int open_one(const struct addrinfo *a)
{
	int fd = socket(a->ai_family, a->ai_socktype | SOCK_CLOEXEC, a->ai_protocol);
	const struct timeval limit = { .tv_sec = WAIT_MS / 1000 };

	if (fd < 0)
		return -1;
	setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &limit, sizeof(limit)); /* of connect as well */
	if (connect(fd, a->ai_addr, a->ai_addrlen) == 0)
		return fd;
	close(fd);
	return -1;
}

static int open_place(const struct place *p, char *why, size_t size)
{
	const struct addrinfo hints = { .ai_socktype = SOCK_STREAM };
	struct addrinfo *all;
	int fd = -1, got = getaddrinfo(p->host, p->port, &hints, &all);

	if (got) {
		snprintf(why, size, "no such address: %s", gai_strerror(got));
		return -1;
	}
	errno = 0;
	for (const struct addrinfo *a = all; a && fd < 0; a = a->ai_next)
		fd = open_one(a);
	if (fd < 0)
		snprintf(why, size, "nobody answers there (%s): is postwalkd running?",
			 errno == EINPROGRESS ? "no answer in time" : strerror(errno));
	freeaddrinfo(all);
	return fd;
}

/* -- the answer -------------------------------------------------------------------------------- */

static int send_request(int fd, const struct place *p, const char *path)
{
	char text[600];
	int n = snprintf(text, sizeof(text),
			 "GET %s HTTP/1.1\r\nHost: %s\r\nAccept: application/json\r\n"
			 "Connection: close\r\n\r\n", path, p->authority);

	return send(fd, text, (size_t)n, MSG_NOSIGNAL) == n ? 0 : -1;
}

/* The length of the body as the head says it; -1: it does not. */
static long body_length(const char *reply, const char *body)
{
	const char *line = strstr(reply, "\r\n");
	static const char name[] = "content-length:";

	for (; line && line + 2 < body; line = strstr(line + 2, "\r\n"))
		if (strncasecmp(line + 2, name, sizeof(name) - 1) == 0)
			return strtol(line + 2 + sizeof(name) - 1, NULL, 10);
	return -1;
}

static char *body_of(char *reply)
{
	char *end = strstr(reply, "\r\n\r\n");

	return end ? end + 4 : NULL;
}

/* Until the peer ends or all of the body is there. The length, or -1. */
static long read_reply(int fd, char *reply)
{
	const int64_t end_ms = now_ms() + WAIT_MS;
	struct pollfd p = { .fd = fd, .events = POLLIN };
	size_t n = 0;

	while (n < REPLY_MAX) {
		int64_t left = end_ms - now_ms();
		const char *body;
		ssize_t got;

		if (left <= 0 || (poll(&p, 1, (int)left) < 0 && errno != EINTR))
			return -1;
		if (!(p.revents & (POLLIN | POLLHUP | POLLERR)))
			continue;
		got = recv(fd, reply + n, REPLY_MAX - n, 0);
		if (got < 0)
			return -1;
		n += (size_t)got;
		reply[n] = '\0';
		body = body_of(reply);
		if (got == 0 || (body && body_length(reply, body) >= 0 &&
				 (long)n - (body - reply) >= body_length(reply, body)))
			return (long)n;
	}
	return -1;
}

/* The body moved to the front of the buffer. 0, or -1 with why. */
static int judge_reply(char *reply, long n, char *why, size_t size)
{
	char *body = n > 0 ? body_of(reply) : NULL;
	int code = 0;
	long length;

	if (!body || sscanf(reply, "HTTP/1.%*1d %3d", &code) != 1) {
		snprintf(why, size, n < 0 ? "no answer in time" : "no answer in HTTP/1.1");
		return -1;
	}
	length = body_length(reply, body);
	if (code != 200) {
		snprintf(why, size, "the answer is %d, not 200%s", code,
			 code == 503 ? ": the watch does not answer the page" : "");
		return -1;
	}
	if (length < 0 || length > n - (body - reply)) {
		snprintf(why, size, "the answer broke off");
		return -1;
	}
	memmove(reply, body, (size_t)length);
	reply[length] = '\0';
	return 0;
}

char *pw_http_get(const char *url, const char *path, char *why, size_t size)
{
	struct place p;
	char *reply;
	int fd, result = -1;

	if (read_url(url, path, &p)) {
		snprintf(why, size, "expected an address like http://127.0.0.1:8787");
		return NULL;
	}
	fd = open_place(&p, why, size);
	if (fd < 0)
		return NULL;
	reply = malloc(REPLY_MAX + 1);
	snprintf(why, size, "the connection broke, or no memory");
	if (reply && send_request(fd, &p, path) == 0)
		result = judge_reply(reply, read_reply(fd, reply), why, size);
	close(fd);
	if (result == 0)
		return reply;
	free(reply);
	return NULL;
}
