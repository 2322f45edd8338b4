/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The uplink's end of the writer (stretch.h). One client, one request at a time, between two batches of the
 * watch and never within one; what the client's socket does not take is dropped. The journal is read over
 * the writer's own connection, so that there is no other.
 */
#include "child_internal.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <unistd.h>

#include "stretch_internal.h"

#define BACKLOG 4
#define ROOM 16384   /* of a client's socket: a few answers, and no more texts than that in memory */
#define TELL_MS 200  /* between two tellings of how delivery stands, to the watch */

enum place { LISTENING, CLIENT };

struct pw_serve {
	int listening, client; /* -1: none */
	bool broken;           /* the socket cannot be had, and that is told */
	int64_t listen_at_ms;  /* when to try again */
	uint64_t told_sealed;  /* up to there the client knows that it is sealed */
	bool news;             /* due */
	bool making, alert;    /* a text is; that of an alert */
	struct pw_hand in, out;
	struct pw_stretch stretch;
	struct pw_delivery delivery, told; /* whole bytes are compared: padding is zero */
	int64_t tell_at_ms;
};

/* Between two batches, of a journal of which this start has kept a state: receipts go on from it. */
static bool is_open(const struct pw_child *c)
{
	return c->serve != NULL && c->journal != NULL && !c->in_batch && c->row.boot == c->boot;
}

/* -- how delivery stands ----------------------------------------------------------------------- */

static void tell(struct pw_child *c, int64_t now_ms)
{
	struct pw_serve *s = c->serve;

	if (now_ms < s->tell_at_ms || memcmp(&s->delivery, &s->told, sizeof(s->told)) == 0)
		return;
	memcpy(&s->told, &s->delivery, sizeof(s->told));
	memcpy(&c->out.of.delivery, &s->delivery, sizeof(s->delivery));
	s->tell_at_ms = now_ms + TELL_MS;
	pw_child_tell(c, PW_M_DELIVERY, 0, sizeof(c->out.of.delivery));
}

static void say(struct pw_serve *s, enum pw_delivery_state state, const char *words)
{
	s->delivery.state = state;
	memset(s->delivery.words, 0, sizeof(s->delivery.words));
	snprintf(s->delivery.words, sizeof(s->delivery.words), "%s", words);
}

int pw_serve_count(struct pw_child *c, char *why, size_t size)
{
	return c->serve != NULL ? pw_journal_delivered(c->journal, &c->serve->delivery, why, size) : 0;
}

/* -- the socket -------------------------------------------------------------------------------- */

static void hang_up(struct pw_serve *s)
{
	if (s->client < 0)
		return;
	close(s->client);
	s->client = -1;
	s->news = s->making = false;
	pw_stretch_drop(&s->stretch);
	say(s, PW_D_NONE, "");
}

/* 0, or -1 with errno. */
static int bind_at(int fd, const char *dir)
{
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	const mode_t before = umask(0117);
	int result = -1, error;

	errno = ENAMETOOLONG;
	if (snprintf(at.sun_path, sizeof(at.sun_path), "%s/" PW_UPLINK_SOCKET, dir)
	    < (int)sizeof(at.sun_path)) {
		unlink(at.sun_path); /* of a writer that is gone: this one has the lock */
		result = bind(fd, (struct sockaddr *)&at, sizeof(at));
	}
	error = errno;
	umask(before);
	errno = error;
	return result;
}

static int open_socket(const char *dir)
{
	int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC | SOCK_NONBLOCK, 0), error;

	if (fd >= 0 && bind_at(fd, dir) == 0 && listen(fd, BACKLOG) == 0)
		return fd;
	error = errno;
	if (fd >= 0)
		close(fd);
	errno = error;
	return -1;
}

/* That it cannot be had matters where there is an office. */
static void listen_now(struct pw_child *c, int64_t now_ms)
{
	struct pw_serve *s = c->serve;
	struct pw_public_key office;
	char words[160], why[PW_WORDS_MAX];

	s->listening = open_socket(c->order->dir);
	s->listen_at_ms = now_ms + c->order->pace.retry_ms;
	if (s->listening < 0) {
		snprintf(words, sizeof(words), "%.80s/" PW_UPLINK_SOCKET ": %.50s", c->order->dir,
			 strerror(errno));
		s->broken = pw_office_key(c->order->dir, &office, why, sizeof(why)) == 0;
		say(s, s->broken ? PW_D_REFUSED : PW_D_NONE, s->broken ? words : "");
	} else if (s->broken) {
		s->broken = false;
		say(s, PW_D_NONE, "");
	}
}

/* A newer client takes the place of an older one. */
static void take_client(struct pw_child *c)
{
	const int room = ROOM;
	struct pw_serve *s = c->serve;
	int fd = accept4(s->listening, NULL, NULL, SOCK_CLOEXEC | SOCK_NONBLOCK);

	if (fd < 0)
		return;
	hang_up(s);
	setsockopt(fd, SOL_SOCKET, SO_SNDBUF, &room, sizeof(room));
	s->client = fd;
	s->told_sealed = pw_journal_sealed(c->journal);
}

/* fd: goes along with it; -1: nothing does. */
static void answer(struct pw_serve *s, int fd)
{
	union {
		struct cmsghdr head;
		char room[CMSG_SPACE(sizeof(int))];
	} along = { .head = { .cmsg_len = CMSG_LEN(sizeof(int)), .cmsg_level = SOL_SOCKET,
			      .cmsg_type = SCM_RIGHTS } };
	struct iovec part = { .iov_base = &s->out, .iov_len = sizeof(s->out) };
	struct msghdr message = { .msg_iov = &part, .msg_iovlen = 1 };

	if (fd >= 0) {
		memcpy(CMSG_DATA(&along.head), &fd, sizeof(fd));
		message.msg_control = &along;
		message.msg_controllen = sizeof(along);
	}
	if (sendmsg(s->client, &message, MSG_DONTWAIT | MSG_NOSIGNAL) < 0 && errno != EAGAIN
	    && errno != EINTR)
		hang_up(s);
}

/* Each says whose journal it is of. */
static void new_answer(struct pw_child *c, enum pw_hand_kind kind)
{
	struct pw_hand *out = &c->serve->out;

	memset(out, 0, sizeof(*out));
	out->version = PW_HAND_VERSION;
	out->kind = (uint16_t)kind;
	out->size = sizeof(*out);
	snprintf(out->bus, sizeof(out->bus), "%s", c->order->bus);
	snprintf(out->epoch, sizeof(out->epoch), "%s", pw_journal_epoch(c->journal));
}

/* -- requests ---------------------------------------------------------------------------------- */

/* Fills in hash, where that record is there and sealed. 0; -1, -2 with why. */
static int put_hash(struct pw_child *c, uint64_t seq, char *why, size_t size)
{
	struct pw_record r;
	int result;

	if (seq == 0 || seq > pw_journal_sealed(c->journal))
		return 0;
	result = pw_journal_read(c->journal, seq, &r, why, size);
	if (result == 1 && r.seq == seq)
		memcpy(c->serve->out.hash, r.hash, sizeof(r.hash));
	pw_journal_rest(c->journal);
	return result < 0 ? result : 0;
}

static int put_where(struct pw_child *c, char *why, size_t size)
{
	struct pw_hand *out = &c->serve->out;
	struct pw_record r;
	int result = pw_journal_read(c->journal, 1, &r, why, size);

	if (result < 0)
		return result;
	out->first = result == 1 ? r.seq : 0;
	out->seq = pw_journal_sealed(c->journal);
	out->receipted = c->serve->delivery.receipted;
	out->alerts = c->serve->delivery.alerts;
	return put_hash(c, out->seq, why, size);
}

static int on_where(struct pw_child *c, char *why, size_t size)
{
	int result = put_where(c, why, size);

	if (result == 0)
		answer(c->serve, -1);
	return result;
}

static int on_hash(struct pw_child *c, char *why, size_t size)
{
	int result;

	c->serve->out.seq = c->serve->in.seq;
	result = put_hash(c, c->serve->in.seq, why, size);
	if (result == 0)
		answer(c->serve, -1);
	return result;
}

/* Answered when it is made; not begun where the answer could not be taken. */
static void make_text(struct pw_child *c, uint64_t first, bool alert)
{
	struct pw_serve *s = c->serve;
	struct pollfd room = { .fd = s->client, .events = POLLOUT };

	if (poll(&room, 1, 0) != 1)
		return;
	s->making = true;
	s->alert = alert;
	pw_stretch_begin(&s->stretch, c->journal, &c->key.public, first, alert);
}

static int on_stretch(struct pw_child *c, char *why, size_t size)
{
	(void)why, (void)size;
	make_text(c, c->serve->in.first, false);
	return 0;
}

static int on_alert(struct pw_child *c, char *why, size_t size)
{
	uint64_t seq;
	int result = pw_journal_alert(c->journal, c->serve->in.first, &seq, why, size);

	if (result >= 0)
		make_text(c, seq, true);
	return result < 0 ? result : 0;
}

static int on_receipt(struct pw_child *c, char *why, size_t size)
{
	struct pw_serve *s = c->serve;
	char words[PW_WORDS_MAX] = "";
	int result = pw_child_receipt(c, &s->in.receipt, words, sizeof(words));

	if (result < 0) {
		snprintf(why, size, "%s", words);
		return result;
	}
	s->out.done = result == 1;
	snprintf(s->out.words, sizeof(s->out.words), "%.159s", result == 1 ? "" : words);
	answer(s, -1);
	return 0;
}

static int on_says(struct pw_child *c, char *why, size_t size)
{
	struct pw_serve *s = c->serve;

	(void)why, (void)size;
	if (s->in.state <= PW_D_REFUSED && pw_said_ok(s->in.words))
		say(s, s->in.state, s->in.words);
	else
		hang_up(s);
	return 0;
}

/* -- what comes from the client ---------------------------------------------------------------- */

#define ENDS(text) (memchr(text, '\0', sizeof(text)) != NULL)

/* Is it whole, and can its texts be read? */
static bool is_sound(const struct pw_hand *h, ssize_t length)
{
	unsigned char alert;

	if (length != (ssize_t)sizeof(*h) || h->version != PW_HAND_VERSION || h->size != sizeof(*h)
	    || h->kind < PW_H_WHERE || h->kind > PW_H_SAYS)
		return false;
	memcpy(&alert, &h->receipt.alert, sizeof(alert));
	return alert <= 1 && ENDS(h->bus) && ENDS(h->epoch) && ENDS(h->hash) && ENDS(h->words)
	       && ENDS(h->receipt.bus) && ENDS(h->receipt.epoch) && ENDS(h->receipt.hash)
	       && ENDS(h->receipt.nonce) && ENDS(h->receipt.sig);
}

/* One message. 0; -1, -2 with why. */
static int take_request(struct pw_child *c, char *why, size_t size)
{
	static int (*const handlers[])(struct pw_child *, char *, size_t) = {
		[PW_H_WHERE] = on_where, [PW_H_HASH] = on_hash, [PW_H_STRETCH] = on_stretch,
		[PW_H_ALERT] = on_alert, [PW_H_RECEIPT] = on_receipt, [PW_H_SAYS] = on_says,
	};
	struct pw_serve *s = c->serve;
	ssize_t n = recv(s->client, &s->in, sizeof(s->in), MSG_DONTWAIT | MSG_TRUNC);

	if (n < 0 && (errno == EAGAIN || errno == EINTR))
		return 0;
	if (n <= 0 || !is_sound(&s->in, n)) {
		hang_up(s);
		return 0;
	}
	new_answer(c, s->in.kind);
	return handlers[s->in.kind](c, why, size);
}

static int answer_slice(struct pw_child *c, char *why, size_t size)
{
	struct pw_serve *s = c->serve;
	struct pw_stretch *t = &s->stretch;
	int result = pw_stretch_slice(t, c->journal, why, size);

	if (result != 0)
		return result < 0 ? result : 0;
	new_answer(c, s->alert ? PW_H_ALERT : PW_H_STRETCH);
	s->out.first = t->first;
	s->out.seq = t->seq;
	memcpy(s->out.hash, t->hash, sizeof(s->out.hash));
	memcpy(s->out.words, t->words, sizeof(s->out.words));
	answer(s, t->fd);
	pw_stretch_drop(t);
	s->making = false;
	return 0;
}

/* Something was sealed since the client was last told. */
static int tell_news(struct pw_child *c, char *why, size_t size)
{
	struct pw_serve *s = c->serve;
	int result;

	new_answer(c, PW_H_NEWS);
	result = put_where(c, why, size);
	if (result == 0) {
		s->told_sealed = s->out.seq;
		s->news = false;
		answer(s, -1);
	}
	return result;
}

static int work(struct pw_child *c, short events, char *why, size_t size)
{
	struct pw_serve *s = c->serve;

	if ((events & (POLLHUP | POLLERR)) && !(events & POLLIN))
		hang_up(s);
	else if (s->making)
		return answer_slice(c, why, size);
	else if (s->news && (events & POLLOUT))
		return tell_news(c, why, size);
	else if (events & POLLIN)
		return take_request(c, why, size);
	return 0;
}

/* -- from the writer's loop -------------------------------------------------------------------- */

int pw_serve_begin(struct pw_child *c, char *why, size_t size)
{
	struct pw_serve *s = c->serve;

	if (s == NULL) {
		s = calloc(1, sizeof(*s));
		if (s == NULL) { /* the journal goes on without it */
			snprintf(why, size, "no memory");
			return -1;
		}
		s->listening = s->client = s->stretch.fd = -1;
		memset(&s->told, 0xff, sizeof(s->told)); /* nothing that could be told */
		c->serve = s;
	}
	return pw_serve_count(c, why, size);
}

void pw_serve_poll(struct pw_child *c, struct pollfd fds[PW_SERVE_FDS])
{
	struct pw_serve *s = c->serve;

	fds[LISTENING].fd = fds[CLIENT].fd = -1;
	if (s != NULL && c->journal == NULL)
		hang_up(s);
	if (!is_open(c))
		return;
	if (s->client >= 0 && s->told_sealed != pw_journal_sealed(c->journal))
		s->news = true;
	fds[LISTENING] = (struct pollfd){ .fd = s->listening, .events = POLLIN };
	fds[CLIENT] = (struct pollfd){ .fd = s->client };
	if (!s->making)
		fds[CLIENT].events = (short)(s->news ? POLLIN | POLLOUT : POLLIN);
}

bool pw_serve_busy(const struct pw_child *c)
{
	return is_open(c) && c->serve->making;
}

int64_t pw_serve_next_ms(const struct pw_child *c)
{
	const struct pw_serve *s = c->serve;
	int64_t next_ms = PW_NEVER;

	if (s != NULL && memcmp(&s->delivery, &s->told, sizeof(s->told)) != 0)
		next_ms = s->tell_at_ms;
	if (is_open(c) && s->listening < 0 && s->listen_at_ms < next_ms)
		next_ms = s->listen_at_ms;
	return next_ms;
}

void pw_serve_tend(struct pw_child *c, const struct pollfd fds[PW_SERVE_FDS], int64_t now_ms)
{
	struct pw_serve *s = c->serve;
	char why[PW_WORDS_MAX];
	int result = 0;

	if (s == NULL)
		return;
	if (is_open(c) && s->listening < 0 && now_ms >= s->listen_at_ms)
		listen_now(c, now_ms);
	else if (is_open(c) && fds[LISTENING].revents != 0)
		take_client(c);
	else if (is_open(c) && s->client >= 0 && fds[CLIENT].fd == s->client)
		result = work(c, fds[CLIENT].revents, why, sizeof(why));
	if (result < 0) {
		hang_up(s);
		pw_child_give_up(c, result, why);
	}
	tell(c, now_ms);
}

void pw_serve_end(struct pw_child *c)
{
	char path[4096];

	if (c->serve == NULL || c->serve->listening < 0)
		return;
	snprintf(path, sizeof(path), "%s/" PW_UPLINK_SOCKET, c->order->dir);
	unlink(path);
}
