/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

#include "bench_internal.h"

int64_t pw_bench_now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

int pw_bench_connect(const char *path, int64_t wait_ms, char *why, size_t size)
{
	const struct timeval wait = { .tv_sec = wait_ms / 1000, .tv_usec = wait_ms % 1000 * 1000 };
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	int fd;

	if (strlen(path) >= sizeof(at.sun_path)) {
		snprintf(why, size, "%s: expected a shorter path: a socket's may not be so long",
			 path);
		return -1;
	}
	memcpy(at.sun_path, path, strlen(path) + 1);
	fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	if (fd < 0) {
		snprintf(why, size, "%s: %s", path, strerror(errno));
		return -1;
	}
	if (setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &wait, sizeof(wait)) == 0 &&
	    connect(fd, (const struct sockaddr *)&at, sizeof(at)) == 0)
		return fd;
	snprintf(why, size, "%s: expected the socket of a bench board (postwalkd --board bench): %s",
		 path, strerror(errno));
	close(fd);
	return -1;
}

/* -- lines ------------------------------------------------------------------------------------- */

const struct pw_bench_line *pw_bench_find(const struct pw_bench_lines *b, const char *name)
{
	for (size_t i = 0; i < b->count; i++)
		if (strcmp(b->line[i].name, name) == 0)
			return &b->line[i];
	return NULL;
}

static struct pw_bench_line *find_or_add(struct pw_bench_lines *b, const char *name, size_t len,
					 bool out)
{
	for (size_t i = 0; i < b->count; i++)
		if (strlen(b->line[i].name) == len && memcmp(b->line[i].name, name, len) == 0)
			return &b->line[i];
	if (b->count == PW_LINES || len >= PW_NAME_MAX)
		return NULL;

	struct pw_bench_line *l = &b->line[b->count++];

	*l = (struct pw_bench_line){ .out = out, .last_ms = INT64_MIN, .before_ms = INT64_MIN };
	memcpy(l->name, name, len);
	return l;
}

/* "in NAME=0", "out NAME=1". */
static void take_told(struct pw_bench_lines *b, const char *text, int64_t now_ms)
{
	const bool out = strncmp(text, "out ", 4) == 0;
	const char *name = text + (out ? 4 : 3), *equals = strchr(name, '=');
	const size_t known = b->count;
	struct pw_bench_line *l;

	if (!equals || (equals[1] != '0' && equals[1] != '1') || equals[2] != '\0')
		return;
	l = find_or_add(b, name, (size_t)(equals - name), out);
	if (!l)
		return;
	if (b->count == known && l->level != (unsigned)(equals[1] - '0')) {
		l->before_ms = l->last_ms;
		l->last_ms = now_ms;
	}
	l->level = (unsigned)(equals[1] - '0');
}

static bool is_told(const char *line)
{
	return strncmp(line, "in ", 3) == 0 || strncmp(line, "out ", 4) == 0;
}

/* The next whole line that was not told but answered. */
static bool next_answer(struct pw_bench_lines *b, int64_t now_ms, char answer[sizeof(b->in)])
{
	char *end;

	while ((end = memchr(b->in, '\n', b->fill))) {
		size_t n = (size_t)(end - b->in);

		memcpy(answer, b->in, n);
		answer[n] = '\0';
		b->fill -= n + 1;
		memmove(b->in, end + 1, b->fill);
		if (!is_told(answer))
			return true;
		take_told(b, answer, now_ms);
	}
	return false;
}

/* -- the socket -------------------------------------------------------------------------------- */

void pw_bench_leave(struct pw_bench_lines *b, int64_t now_ms, const char *why)
{
	if (b->fd >= 0)
		close(b->fd);
	b->fd = -1;
	b->count = b->fill = 0;
	b->again_ms = now_ms + PW_BENCH_AGAIN_MS;
	if (why != b->why)
		snprintf(b->why, sizeof(b->why), "%s", why);
}

/* 1: something came; 0: nothing is there; -1: gone. */
static int receive(struct pw_bench_lines *b, int64_t now_ms)
{
	ssize_t n;

	do {
		n = recv(b->fd, b->in + b->fill, sizeof(b->in) - b->fill, MSG_DONTWAIT);
	} while (n < 0 && errno == EINTR);
	if (n < 0 && errno == EAGAIN)
		return 0;
	if (n > 0)
		b->fill += (size_t)n;
	if (n > 0 && (b->fill < sizeof(b->in) || memchr(b->in, '\n', b->fill)))
		return 1;
	pw_bench_leave(b, now_ms, "the bench has ended the talk");
	return -1;
}

void pw_bench_take(struct pw_bench_lines *b, int64_t now_ms)
{
	char unasked[sizeof(b->in)];

	if (b->fd < 0)
		return;
	do {
		while (next_answer(b, now_ms, unasked))
			;
	} while (receive(b, now_ms) > 0);
}

static int wait_answer(struct pw_bench_lines *b, int64_t now_ms, char answer[sizeof(b->in)])
{
	const int64_t end_ms = now_ms + PW_BENCH_WAIT_MS;
	struct pollfd p = { .fd = b->fd, .events = POLLIN };

	while (!next_answer(b, now_ms, answer)) {
		int64_t left = end_ms - pw_bench_now_ms();

		if (left <= 0) {
			pw_bench_leave(b, now_ms, "the bench does not answer");
			return -1;
		}
		if (poll(&p, 1, (int)left) > 0 && receive(b, now_ms) < 0)
			return -1;
	}
	return 0;
}

int pw_bench_pull(struct pw_bench_lines *b, const char *words, int64_t now_ms, char *why,
		  size_t size)
{
	char line[sizeof(b->in)], answer[sizeof(b->in)];
	int n = snprintf(line, sizeof(line), "%s\n", words);

	if (b->fd < 0)
		return -1;
	pw_bench_take(b, now_ms); /* so that no older answer passes for this one's */
	if (b->fd < 0)
		return -1;
	if (n >= (int)sizeof(line) || send(b->fd, line, (size_t)n, MSG_NOSIGNAL) != n) {
		pw_bench_leave(b, now_ms, "the bench takes nothing");
		return -1;
	}
	if (wait_answer(b, now_ms, answer))
		return -1;
	if (strcmp(answer, "ok") == 0)
		return 0;
	snprintf(why, size, "%s", answer);
	return 1;
}

int pw_bench_join(struct pw_bench_lines *b, int64_t now_ms)
{
	char why[sizeof(b->why)];
	int got;

	b->count = b->fill = 0;
	b->again_ms = now_ms + PW_BENCH_AGAIN_MS;
	b->fd = pw_bench_connect(b->path, PW_BENCH_WAIT_MS, b->why, sizeof(b->why));
	if (b->fd < 0)
		return -1;
	/* the answer to nothing comes after the last of the lines */
	got = pw_bench_pull(b, "lines", now_ms, why, sizeof(why));
	if (got == 0)
		got = pw_bench_pull(b, "", now_ms, why, sizeof(why));
	if (got > 0)
		pw_bench_leave(b, now_ms, why);
	return got ? -1 : 0;
}
