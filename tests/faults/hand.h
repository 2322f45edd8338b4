/* SPDX-License-Identifier: Apache-2.0 */
/* hand.h - the uplink's end of the writer's socket (stretch.h), and an office that signs receipts. */
#ifndef POSTWALK_TEST_HAND_H
#define POSTWALK_TEST_HAND_H

#include <errno.h>
#include <poll.h>
#include <sys/stat.h>
#include <sys/un.h>

#include "look.h"
#include "postwalk/stretch.h"

#define NONCE "00112233445566778899aabbccddeeff"

/* Waits for the socket: the writer listens once it has kept a state. */
static inline int hand_open(struct world *w)
{
	struct sockaddr_un at = { .sun_family = AF_UNIX };
	const int64_t until_ms = now_ms() + PATIENCE_MS;
	int fd = socket(AF_UNIX, SOCK_SEQPACKET | SOCK_CLOEXEC, 0);

	snprintf(at.sun_path, sizeof(at.sun_path), "%.90s/" PW_UPLINK_SOCKET, w->state);
	while (connect(fd, (struct sockaddr *)&at, sizeof(at)) != 0) {
		if (now_ms() > until_ms)
			fail_msg("%s: %s", at.sun_path, strerror(errno));
		world_until(w, now_ms() + 2);
	}
	return fd;
}

static inline struct pw_hand hand_new(enum pw_hand_kind kind, uint64_t first)
{
	struct pw_hand h;

	memset(&h, 0, sizeof(h));
	h.version = PW_HAND_VERSION;
	h.kind = (uint16_t)kind;
	h.size = sizeof(h);
	h.first = h.seq = first;
	return h;
}

/* One message, within that time; what came along is read into text (NULL: let go). */
static inline bool hand_hear(int fd, int patience_ms, struct pw_hand *h, char *text, size_t size)
{
	union {
		struct cmsghdr head;
		char room[CMSG_SPACE(sizeof(int))];
	} along;
	struct iovec part = { .iov_base = h, .iov_len = sizeof(*h) };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1, .msg_control = &along,
			    .msg_controllen = sizeof(along) };
	struct pollfd one = { .fd = fd, .events = POLLIN };
	ssize_t n;
	int file;

	if (text)
		text[0] = '\0';
	if (poll(&one, 1, patience_ms) != 1 || recvmsg(fd, &m, MSG_CMSG_CLOEXEC) != sizeof(*h))
		return false;
	if (m.msg_controllen > 0) {
		memcpy(&file, CMSG_DATA(CMSG_FIRSTHDR(&m)), sizeof(file));
		n = text ? pread(file, text, size - 1, 0) : 0;
		if (text)
			text[n > 0 ? n : 0] = '\0';
		close(file);
	}
	return true;
}

static inline void hand_ask(int fd, struct pw_hand *h, char *text, size_t size)
{
	const uint16_t kind = h->kind;

	assert_int_equal(send(fd, h, sizeof(*h), MSG_NOSIGNAL), sizeof(*h));
	do {
		if (!hand_hear(fd, PATIENCE_MS, h, text, size))
			fail_msg("no answer of kind %u", kind);
	} while (h->kind == PW_H_NEWS);
	assert_int_equal(h->kind, kind);
}

static inline void office_key(struct pw_secret_key *key)
{
	pw_secret_key_from((const unsigned char *)"the office's, of thirty-two byte", key);
}

/* As an enrolment leaves it behind. */
static inline void office_enrols(const struct world *w)
{
	struct pw_secret_key key;
	char path[128], pem[PW_PEM_MAX];
	FILE *file;

	office_key(&key);
	pw_public_key_pem(&key.public, pem);
	snprintf(path, sizeof(path), "%s/office.pub", w->state);
	file = fopen(path, "w");
	assert_non_null(file);
	fputs(pem, file);
	assert_int_equal(fclose(file), 0);
}

/* The office has the record that h names; the answer. */
static inline bool office_receipts(int fd, const struct pw_hand *where, const struct pw_hand *h, bool alert,
				   int64_t time_ms)
{
	struct pw_hand r = hand_new(PW_H_RECEIPT, 0);
	struct pw_secret_key key;

	office_key(&key);
	r.receipt = (struct pw_receipt){ .alert = alert, .seq = h->seq, .time_ms = time_ms, .nonce = NONCE };
	memcpy(r.receipt.bus, where->bus, sizeof(r.receipt.bus));
	memcpy(r.receipt.epoch, where->epoch, sizeof(r.receipt.epoch));
	memcpy(r.receipt.hash, h->hash, sizeof(r.receipt.hash));
	pw_receipt_sign(&r.receipt, &key);
	hand_ask(fd, &r, NULL, 0);
	if (!r.done)
		print_error("%s\n", r.words);
	return r.done == 1;
}

#endif
