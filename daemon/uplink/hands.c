/* SPDX-License-Identifier: Apache-2.0 */
/* The writer's messages (stretch.h). It answers or drops, and never waits. */
#include "uplink_internal.h"

#include <errno.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#define TEXT_MAX (16 << 20) /* far more than any office takes */

int pw_hands_open(const char *dir)
{
	struct sockaddr_un a = { .sun_family = AF_UNIX };
	int n = snprintf(a.sun_path, sizeof(a.sun_path), "%s/" PW_UPLINK_SOCKET, dir), fd, error;

	if (n < 0 || (size_t)n >= sizeof(a.sun_path)) {
		errno = ENAMETOOLONG;
		return -1;
	}
	fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);
	if (fd < 0 || connect(fd, (struct sockaddr *)&a, sizeof(a)) == 0)
		return fd;
	error = errno;
	close(fd);
	errno = error;
	return -1;
}

/* -- what came is looked at before it is read -------------------------------------------------- */

#define ENDED(text) (memchr((text), '\0', sizeof(text)) != NULL)

static bool is_one(const struct pw_hand *h, ssize_t n)
{
	return n == sizeof(*h) && h->version == PW_HAND_VERSION && h->size == sizeof(*h)
	       && h->kind >= PW_H_WHERE && h->kind <= PW_H_NEWS && ENDED(h->bus) && ENDED(h->epoch)
	       && ENDED(h->hash) && ENDED(h->words);
}

/* The descriptor that came along; -1: none. */
static int take_fd(struct msghdr *message)
{
	int fd = -1;

	for (struct cmsghdr *c = CMSG_FIRSTHDR(message); c != NULL; c = CMSG_NXTHDR(message, c))
		if (c->cmsg_level == SOL_SOCKET && c->cmsg_type == SCM_RIGHTS
		    && c->cmsg_len == CMSG_LEN(sizeof(int)))
			memcpy(&fd, CMSG_DATA(c), sizeof(fd));
	return fd;
}

/* 1: a message; 0: nothing now; -1: the writer is gone. fd: to be closed, or -1. What is no message
 * is thrown away. */
static int receive(int from, struct pw_hand *h, int *fd)
{
	union { struct cmsghdr head; char room[CMSG_SPACE(sizeof(int))]; } control;
	struct iovec part = { .iov_base = h, .iov_len = sizeof(*h) };
	struct msghdr message;
	ssize_t n;

	for (;;) {
		message = (struct msghdr){ .msg_iov = &part, .msg_iovlen = 1,
					   .msg_control = &control,
					   .msg_controllen = sizeof(control) };
		n = recvmsg(from, &message, MSG_DONTWAIT | MSG_CMSG_CLOEXEC | MSG_TRUNC);
		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return n < 0 && errno == EAGAIN ? 0 : -1;
		*fd = take_fd(&message);
		if (is_one(h, n))
			return 1;
		if (*fd >= 0)
			close(*fd);
	}
}

static void take_news(struct pw_hands *w, const struct pw_hand *h, int fd)
{
	if (fd >= 0)
		close(fd);
	if (h->kind != PW_H_NEWS)
		return;
	w->news = true;
	w->alerts = h->alerts;
}

/* The text behind a descriptor, read and not mapped: nobody can shorten it under us. */
static char *read_text(int fd, size_t *length)
{
	struct stat s;
	char *text;
	ssize_t n;

	if (fstat(fd, &s) < 0 || s.st_size <= 0 || s.st_size > TEXT_MAX)
		return NULL;
	text = malloc((size_t)s.st_size);
	for (*length = 0; text != NULL && *length < (size_t)s.st_size; *length += (size_t)n) {
		n = pread(fd, text + *length, (size_t)s.st_size - *length, (off_t)*length);
		if (n > 0)
			continue;
		free(text);
		return NULL;
	}
	return text;
}

/* -- asking ------------------------------------------------------------------------------------ */

static int send_hand(const struct pw_hands *w, struct pw_hand *h, int flags)
{
	ssize_t n;

	h->version = PW_HAND_VERSION;
	h->size = sizeof(*h);
	do
		n = send(w->fd, h, sizeof(*h), MSG_NOSIGNAL | flags);
	while (n < 0 && errno == EINTR);
	return n == sizeof(*h) ? 0 : -1;
}

int pw_hands_ask(struct pw_hands *w, struct pw_hand *h, char **text, size_t *length)
{
	const int64_t end_ms = pw_uplink_now_ms() + w->wait_ms;
	struct pollfd one = { .fd = w->fd, .events = POLLIN };
	const uint16_t kind = h->kind;
	int64_t left_ms = w->wait_ms;
	int got, fd;

	*text = NULL;
	*length = 0;
	if (send_hand(w, h, 0) < 0)
		return -1;
	for (; left_ms > 0; left_ms = end_ms - pw_uplink_now_ms()) {
		got = receive(w->fd, h, &fd);
		if (got < 0)
			return -1;
		if (got == 0) {
			poll(&one, 1, (int)left_ms);
			continue;
		}
		if (h->kind != kind) {
			take_news(w, h, fd);
			continue;
		}
		if (fd >= 0) {
			*text = read_text(fd, length);
			close(fd);
		}
		return 0;
	}
	return -1;
}

void pw_hands_say(struct pw_hands *w, enum pw_delivery_state state, const char *words)
{
	struct pw_hand h;

	memset(&h, 0, sizeof(h));
	h.kind = PW_H_SAYS;
	h.state = (uint8_t)state;
	pw_fit(h.words, sizeof(h.words), words);
	send_hand(w, &h, MSG_DONTWAIT); /* what is dropped is said again with the next look */
}

int pw_hands_drain(struct pw_hands *w)
{
	struct pw_hand h;
	int got, fd;

	while ((got = receive(w->fd, &h, &fd)) > 0)
		take_news(w, &h, fd);
	return got;
}

int pw_uplink_bus(const char *dir, char bus[PW_NAME_MAX])
{
	struct pw_hands w = { .fd = pw_hands_open(dir), .wait_ms = 5000 };
	struct pw_hand h = { .kind = PW_H_WHERE };
	size_t length;
	char *text;
	int got = w.fd < 0 ? -1 : pw_hands_ask(&w, &h, &text, &length);

	if (w.fd >= 0)
		close(w.fd);
	if (got < 0)
		return 1;
	free(text);
	memcpy(bus, h.bus, sizeof(h.bus));
	return h.bus[0] != '\0' ? 0 : 1;
}
