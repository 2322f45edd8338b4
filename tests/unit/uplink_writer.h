/* SPDX-License-Identifier: Apache-2.0 */
/*
 * uplink_writer.h - the test as the writer (stretch.h), and the uplink's turns in a thread of their own.
 * What is asked goes into the office's log, so that there is one order of all.
 */
#ifndef POSTWALK_TEST_UPLINK_WRITER_H
#define POSTWALK_TEST_UPLINK_WRITER_H

#include "uplink_office.h"

#include <fcntl.h>
#include <poll.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <time.h>
#include <unistd.h>

#include "postwalk/stretch.h"

#define DEADLINE_MS 8000

struct writer {
	struct office *office;
	const struct journal *journal;
	int fd;
	uint64_t first, sealed, receipted;
	uint64_t alert[8];       /* without a receipt, by seq */
	unsigned alerts;
	bool refuses;            /* receipts */
	struct pw_receipt taken; /* the last one */
	struct pw_hand said;     /* the last that was said */
	void (*between)(struct writer *w, const struct pw_hand *asked); /* before an answer, or NULL */
};

static inline int64_t clock_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- messages ---------------------------------------------------------------------------------- */

static inline int writer_memfd(const char *text)
{
	int fd = memfd_create("stretch", MFD_CLOEXEC | MFD_ALLOW_SEALING);

	assert_int_equal(write(fd, text, strlen(text)), strlen(text));
	assert_int_equal(fcntl(fd, F_ADD_SEALS, F_SEAL_WRITE | F_SEAL_GROW | F_SEAL_SHRINK |
			       F_SEAL_SEAL), 0);
	return fd;
}

static inline void writer_send(const struct writer *w, struct pw_hand *h, const char *text)
{
	union { struct cmsghdr head; char room[CMSG_SPACE(sizeof(int))]; } control;
	struct iovec part = { .iov_base = h, .iov_len = sizeof(*h) };
	struct msghdr m = { .msg_iov = &part, .msg_iovlen = 1 };
	int fd = text ? writer_memfd(text) : -1;

	h->version = PW_HAND_VERSION;
	h->size = sizeof(*h);
	if (text) {
		memset(&control, 0, sizeof(control));
		control.head = (struct cmsghdr){ .cmsg_level = SOL_SOCKET, .cmsg_type = SCM_RIGHTS,
						 .cmsg_len = CMSG_LEN(sizeof(int)) };
		memcpy(CMSG_DATA(&control.head), &fd, sizeof(fd));
		m.msg_control = &control;
		m.msg_controllen = sizeof(control);
	}
	sendmsg(w->fd, &m, MSG_NOSIGNAL | MSG_DONTWAIT);
	if (fd >= 0)
		close(fd);
}

static inline void writer_news(const struct writer *w)
{
	struct pw_hand h = { .kind = PW_H_NEWS, .alerts = w->alerts };

	writer_send(w, &h, NULL);
}

/* -- answers ----------------------------------------------------------------------------------- */

static inline void answer_where(struct writer *w, struct pw_hand *h)
{
	office_note(w->office, "where");
	strcpy(h->bus, BUS);
	strcpy(h->epoch, EPOCH);
	h->first = w->first;
	h->seq = w->sealed;
	if (w->sealed)
		strcpy(h->hash, w->journal->record[w->sealed].hash);
	h->receipted = w->receipted;
	h->alerts = w->alerts;
	writer_send(w, h, NULL);
}

static inline void answer_hash(struct writer *w, struct pw_hand *h)
{
	const bool there = h->seq >= w->first && h->seq <= w->journal->records;

	office_note(w->office, "hash %d", (int)h->seq);
	strcpy(h->hash, there ? w->journal->record[h->seq].hash : "");
	writer_send(w, h, NULL);
}

static inline void answer_stretch(struct writer *w, struct pw_hand *h)
{
	const uint64_t last = h->first <= w->sealed ? journal_next_seal(w->journal, h->first) : 0;
	char *text = last ? journal_text(w->journal, h->first, last) : NULL;

	office_note(w->office, "stretch %d", (int)h->first);
	if (last) {
		h->seq = last;
		strcpy(h->hash, w->journal->record[last].hash);
	}
	writer_send(w, h, text);
	free(text);
}

static inline uint64_t writer_alert(const struct writer *w, uint64_t from)
{
	for (unsigned i = 0; i < w->alerts; i++)
		if (w->alert[i] >= from)
			return w->alert[i];
	return 0;
}

static inline void answer_alert(struct writer *w, struct pw_hand *h)
{
	const uint64_t seq = writer_alert(w, h->first);
	struct journal alone = *w->journal; /* that record is sealed at once */
	char *text = NULL;

	strcpy(h->bus, BUS);
	if (seq) {
		alone.records = seq;
		journal_seal(&alone);
		h->seq = seq;
		strcpy(h->hash, alone.record[seq].hash);
		text = journal_text(&alone, seq, seq);
	}
	office_note(w->office, "alert %d", (int)seq);
	writer_send(w, h, text);
	free(text);
}

static inline void writer_forget_alert(struct writer *w, uint64_t seq)
{
	unsigned kept = 0;

	for (unsigned i = 0; i < w->alerts; i++)
		if (w->alert[i] != seq)
			w->alert[kept++] = w->alert[i];
	w->alerts = kept;
}

static inline void answer_receipt(struct writer *w, struct pw_hand *h)
{
	const struct pw_receipt *r = &h->receipt;

	office_note(w->office, "receipt %s%d", r->alert ? "alert " : "", (int)r->seq);
	h->done = !w->refuses && pw_receipt_holds(r, &w->office->key.public);
	if (h->done && r->alert)
		writer_forget_alert(w, r->seq);
	if (h->done && !r->alert)
		w->receipted = r->seq;
	if (h->done)
		w->taken = *r;
	else
		strcpy(h->words, "the journal is full");
	writer_send(w, h, NULL);
}

static inline void hear_says(struct writer *w, const struct pw_hand *h)
{
	static const char *const state[] = { "none", "away", "sending", "done", "refused" };

	assert_in_range(h->state, PW_D_AWAY, PW_D_REFUSED);
	office_note(w->office, "says %s", state[h->state]);
	w->said = *h;
}

static inline void writer_answer(struct writer *w, struct pw_hand *h)
{
	static void (*const answers[])(struct writer *w, struct pw_hand *h) = {
		[PW_H_WHERE] = answer_where, [PW_H_HASH] = answer_hash,
		[PW_H_STRETCH] = answer_stretch, [PW_H_ALERT] = answer_alert,
		[PW_H_RECEIPT] = answer_receipt,
	};

	assert_int_equal(h->version, PW_HAND_VERSION);
	assert_int_equal(h->size, sizeof(*h));
	assert_in_range(h->kind, PW_H_WHERE, PW_H_SAYS);
	if (w->between)
		w->between(w, h);
	if (h->kind == PW_H_SAYS)
		hear_says(w, h);
	else
		answers[h->kind](w, h);
}

/* One message, answered, or the deadline. False: the uplink is gone. */
static inline bool writer_turn(struct writer *w, int64_t until_ms)
{
	struct pollfd p = { .fd = w->fd, .events = POLLIN };
	const int64_t left_ms = until_ms - clock_ms();
	struct pw_hand h;
	ssize_t n;

	if (poll(&p, 1, left_ms > 0 ? (int)left_ms : 0) <= 0)
		return true;
	n = recv(w->fd, &h, sizeof(h), MSG_DONTWAIT);
	if (n <= 0)
		return false;
	assert_int_equal(n, sizeof(h));
	writer_answer(w, &h);
	return true;
}

#endif
