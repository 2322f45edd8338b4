/* SPDX-License-Identifier: Apache-2.0 */
/* record_uplink.h - the uplink's end of the writer's socket, raw; and an office that signs receipts. */
#ifndef TEST_RECORD_UPLINK_H
#define TEST_RECORD_UPLINK_H

#include "record_help.h"

#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>

#include "record_watch.h"
#include "../../daemon/record/delivered_internal.h"

#define NONCE "00112233445566778899aabbccddeeff"
#define OFFICE_MS 1790000777000 /* the office's clock */

struct uplink {
	int fd;
	struct pw_hand in; /* the last message that came */
	char *text;        /* and its text, NULL: none */
	size_t length;
};

/* -1 with errno. */
static inline int uplink_try(const struct folder *f)
{
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0), error;

	assert_true(fd >= 0);
	snprintf(at.sun_path, sizeof(at.sun_path), "%s", in(f, PW_UPLINK_SOCKET));
	if (connect(fd, (struct sockaddr *)&at, sizeof(at)) == 0)
		return fd;
	error = errno;
	close(fd);
	errno = error;
	return -1;
}

/* The writer listens once it has kept a state. */
static inline struct uplink uplink_open(const struct folder *f)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;
	struct uplink u = { .fd = uplink_try(f) };

	while (u.fd < 0 && real_ms() < deadline_ms) {
		assert_true(errno == ENOENT || errno == ECONNREFUSED);
		poll(NULL, 0, 1);
		u.fd = uplink_try(f);
	}
	assert_true(u.fd >= 0);
	return u;
}

static inline void uplink_close(struct uplink *u)
{
	free(u->text);
	close(u->fd);
	*u = (struct uplink){ .fd = -1 };
}

static inline struct pw_hand hand(enum pw_hand_kind kind)
{
	struct pw_hand h;

	memset(&h, 0, sizeof(h));
	h.version = PW_HAND_VERSION;
	h.kind = (uint16_t)kind;
	h.size = sizeof(h);
	return h;
}

static inline void uplink_send(const struct uplink *u, const struct pw_hand *h)
{
	assert_int_equal(send(u->fd, h, sizeof(*h), MSG_NOSIGNAL), sizeof(*h));
}

static inline void take_text(struct uplink *u, int fd)
{
	const int sealed = F_SEAL_SEAL | F_SEAL_SHRINK | F_SEAL_GROW | F_SEAL_WRITE;
	struct stat st;

	assert_int_equal(fcntl(fd, F_GET_SEALS), sealed);
	assert_int_equal(fstat(fd, &st), 0);
	u->length = (size_t)st.st_size;
	u->text = malloc(u->length + 1);
	assert_non_null(u->text);
	assert_int_equal(pread(fd, u->text, u->length, 0), st.st_size);
	u->text[u->length] = '\0';
	assert_int_equal(pwrite(fd, "x", 1, 0), -1);
	close(fd);
}

/* False: hung up, or (patience over) nothing came. */
static inline bool uplink_receive(struct uplink *u, int patience_ms)
{
	union {
		struct cmsghdr head;
		char room[CMSG_SPACE(sizeof(int))];
	} along;
	struct iovec part = { .iov_base = &u->in, .iov_len = sizeof(u->in) };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1, .msg_control = &along,
			    .msg_controllen = sizeof(along) };
	struct pollfd one = { .fd = u->fd, .events = POLLIN };
	ssize_t n;
	int fd;

	free(u->text);
	u->text = NULL;
	u->length = 0;
	if (poll(&one, 1, patience_ms) != 1)
		return false;
	n = recvmsg(u->fd, &m, MSG_DONTWAIT | MSG_CMSG_CLOEXEC);
	if (n <= 0)
		return false;
	assert_int_equal(n, sizeof(u->in));
	assert_int_equal(u->in.version, PW_HAND_VERSION);
	assert_int_equal(u->in.size, sizeof(u->in));
	if (m.msg_controllen > 0 && CMSG_FIRSTHDR(&m) != NULL) {
		memcpy(&fd, CMSG_DATA(CMSG_FIRSTHDR(&m)), sizeof(fd));
		take_text(u, fd);
	}
	return true;
}

/* The answer of that kind; news in between is passed over. */
static inline void uplink_await(struct uplink *u, enum pw_hand_kind kind)
{
	do {
		if (!uplink_receive(u, PATIENCE_MS))
			fail_msg("no answer of kind %d", (int)kind);
	} while (u->in.kind == PW_H_NEWS && kind != PW_H_NEWS);
	assert_int_equal(u->in.kind, kind);
}

static inline void uplink_ask(struct uplink *u, const struct pw_hand *h)
{
	uplink_send(u, h);
	uplink_await(u, h->kind);
}

static inline void uplink_where(struct uplink *u)
{
	const struct pw_hand h = hand(PW_H_WHERE);

	uplink_ask(u, &h);
}

static inline void uplink_from(struct uplink *u, enum pw_hand_kind kind, uint64_t first)
{
	struct pw_hand h = hand(kind);

	h.first = first;
	uplink_ask(u, &h);
}

/* Whether it was taken; if not, u->in.words say why. */
static inline bool uplink_receipt(struct uplink *u, const struct pw_receipt *r)
{
	struct pw_hand h = hand(PW_H_RECEIPT);

	h.receipt = *r;
	uplink_ask(u, &h);
	return u->in.done == 1;
}

/* The writer has hung up. */
static inline void assert_hung_up(struct uplink *u)
{
	while (uplink_receive(u, PATIENCE_MS))
		;
	assert_int_equal(recv(u->fd, &u->in, sizeof(u->in), MSG_DONTWAIT), 0);
}

/* -- alerts, and the office -------------------------------------------------------------------- */

static inline struct pw_note rung_note(bool notify)
{
	struct pw_note n = plain(PW_K_RUNG);

	n.of.rung.notify = notify;
	return n;
}

static inline struct pw_note child_note(void)
{
	struct pw_note n = plain(PW_K_RUNG);

	memset(&n.of, 0, sizeof(n.of));
	n.kind = PW_K_FOUND;
	n.of.found.what = PW_FOUND_CHILD;
	n.of.found.t0_ms = PW_NO_TIME;
	strcpy(n.of.found.rung, "office");
	return n;
}

/* These in one batch, committed. */
static inline void notes(struct watch *x, struct pw_note *n, size_t count)
{
	struct pw_state s = phase(PW_OVERDUE);

	for (size_t i = 0; i < count; i++) {
		n[i].mono_ms = x->now_ms;
		n[i].wall_ms = 1790000000000 + x->now_ms;
		pw_writer_note(x->w, &n[i]);
	}
	pw_writer_keep(x->w, &s, x->now_ms, 1790000000000 + x->now_ms);
	settle(x);
}

static inline const struct pw_secret_key *office_key(void)
{
	static struct pw_secret_key key;

	pw_secret_key_from((const unsigned char *)"the office's, of thirty-two byte", &key);
	return &key;
}

/* As an enrolment leaves it behind. */
static inline void enrol(const struct folder *f)
{
	char pem[PW_PEM_MAX];

	pw_public_key_pem(&office_key()->public, pem);
	write_file(in(f, "office.pub"), pem);
}

/* What stands in a column of that record. */
static inline void column_of(const struct folder *f, const char *column, uint64_t seq, char out[512])
{
	ask(out, 512, "sqlite3 -readonly '%s' 'SELECT %s FROM record WHERE seq = %" PRIu64 "'",
	    in(f, "journal.db"), column, seq);
}

static inline uint64_t count_of(const struct folder *f, const char *sql)
{
	char answer[64];

	ask(answer, sizeof(answer), "sqlite3 -readonly '%s' \"%s\"", in(f, "journal.db"), sql);
	return strtoull(answer, NULL, 10);
}

/* As the office would sign it of that record. */
static inline struct pw_receipt receipt_of(const struct folder *f, uint64_t seq, bool alert)
{
	struct pw_receipt r = { .alert = alert, .bus = BUS, .seq = seq, .time_ms = OFFICE_MS + (int64_t)seq,
				.nonce = NONCE };
	char text[512];

	column_of(f, "epoch", seq, text);
	snprintf(r.epoch, sizeof(r.epoch), "%.16s", text);
	column_of(f, "hash", seq, text);
	snprintf(r.hash, sizeof(r.hash), "%.64s", text);
	pw_receipt_sign(&r, office_key());
	return r;
}

/* Turns until the watch has heard that of delivery. */
#define until_delivery(x, condition) do {                                                          \
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;                                       \
	const struct pw_delivery *d = pw_writer_delivery((x)->w);                                  \
	while (!(condition)) {                                                                     \
		if (real_ms() > deadline_ms)                                                       \
			fail_msg("not so: " #condition);                                           \
		turn(x);                                                                           \
	}                                                                                          \
} while (0)

#endif
