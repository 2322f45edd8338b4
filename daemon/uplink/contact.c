/* SPDX-License-Identifier: Apache-2.0 */
/*
 * One contact: how far has the office this journal, and from there on stretch by stretch. The last
 * receipt stands for all before it: it alone is handed over, when all is there or contact breaks.
 */
#include "uplink_internal.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#define SETBACKS_MAX 8  /* places tried again in one contact, then a person looks */
#define SLOW_S (15 * 60) /* what a person has to mend is not tried sooner */

/* Where to go on from, the best first. */
enum place {
	AT_HEAD = 1, /* a record of this journal that the office says it has last */
	AT_RECEIPT,  /* behind the one that it has receipted last */
	AT_FIRST,    /* the first one that is here */
	AT_HOLE,     /* the same, and said: what was before it is here no more */
	NOWHERE
};

struct trip {
	struct pw_hand where;
	struct pw_reply reply;
	enum place place;
	uint64_t from;
	unsigned setbacks;
	bool caught_up;
	bool has_receipt;
	struct pw_receipt receipt; /* the last one, not handed over */
};

static int ask(struct pw_uplink *u, struct pw_hand *h, char **text, size_t *length)
{
	free(*text);
	*text = NULL;
	return pw_hands_ask(&u->hands, h, text, length);
}

static int ask_short(struct pw_uplink *u, struct pw_hand *h)
{
	char *text = NULL;
	size_t length;
	int got = ask(u, h, &text, &length);

	free(text);
	return got;
}

/* -- where to begin ---------------------------------------------------------------------------- */

static const struct pw_head *next_below(const struct pw_heads *heads, const char *epoch,
					uint64_t seq)
{
	const struct pw_head *best = NULL;

	for (unsigned i = 0; i < heads->count; i++) {
		const struct pw_head *one = &heads->head[i];

		if (strcmp(one->epoch, epoch) == 0 && one->seq < seq
		    && (best == NULL || one->seq > best->seq))
			best = one;
	}
	return best;
}

/* Of heads with equal seq it is enough that one is ours. */
static bool is_head(const struct pw_heads *heads, const char *epoch, uint64_t seq, const char *hash)
{
	for (unsigned i = 0; i < heads->count; i++)
		if (heads->head[i].seq == seq && strcmp(heads->head[i].epoch, epoch) == 0
		    && strcmp(heads->head[i].hash, hash) == 0)
			return true;
	return false;
}

/* The greatest head that this journal has as well. 1; 0: none; -1: the writer is gone. */
static int find_head(struct pw_uplink *u, struct trip *t, uint64_t *seq)
{
	const struct pw_heads *heads = &t->reply.heads;
	const struct pw_head *head = next_below(heads, t->where.epoch, t->where.seq + 1);
	struct pw_hand h;

	for (; head != NULL; head = next_below(heads, t->where.epoch, head->seq)) {
		memset(&h, 0, sizeof(h));
		h.kind = PW_H_HASH;
		h.seq = head->seq;
		if (ask_short(u, &h) < 0)
			return -1;
		*seq = head->seq;
		if (h.hash[0] != '\0' && is_head(heads, t->where.epoch, head->seq, h.hash))
			return 1;
	}
	return 0;
}

/* A head stands at least right before the first record that is here. */
static bool is_reached(const struct trip *t)
{
	const struct pw_head *head = next_below(&t->reply.heads, t->where.epoch, UINT64_MAX);

	return head != NULL && head->seq + 1 >= t->where.first;
}

static bool is_open(const struct trip *t, enum place place)
{
	switch (place) {
	case AT_RECEIPT:
		return t->where.receipted > 0 && t->where.receipted + 1 >= t->where.first;
	case AT_FIRST:
		return t->where.first <= 1 || is_reached(t);
	case AT_HOLE:
		return t->where.first > 1;
	default:
		return true;
	}
}

static void step_back(struct trip *t)
{
	do
		t->place++;
	while (!is_open(t, t->place));
	t->from = t->place == AT_RECEIPT ? t->where.receipted + 1 : t->where.first;
}

/* By the heads in the reply, and not again from where that very reply is about. 0 or -1. */
static int choose(struct pw_uplink *u, struct trip *t)
{
	uint64_t seq = 0;
	int got = find_head(u, t, &seq);

	if (got < 0)
		return -1;
	/* the office has it all, and its receipt is missing: the last is sent again for that */
	if (got > 0 && seq == t->where.seq)
		seq--;
	if (got > 0 && (t->place == 0 || seq + 1 != t->from)) {
		t->place = AT_HEAD;
		t->from = seq + 1;
	} else {
		t->place = t->place == 0 ? AT_HEAD : t->place;
		step_back(t);
	}
	return 0;
}

/* -- going on ---------------------------------------------------------------------------------- */

static int set_back(struct pw_uplink *u, struct trip *t)
{
	if (choose(u, t) < 0)
		return -1;
	if (t->place == NOWHERE || ++t->setbacks > SETBACKS_MAX) {
		pw_reply_set(&t->reply, PW_SAID_REFUSED,
			     "the office takes this journal from nowhere on");
		return 0;
	}
	return 1;
}

/* 1: go on; 0: no more, the reply says why; -1: the writer is gone. */
static int judge(struct pw_uplink *u, struct trip *t)
{
	if (t->reply.said == PW_SAID_GAP)
		return set_back(u, t);
	if (t->reply.said != PW_SAID_SO)
		return 0;
	t->receipt = t->reply.receipt;
	t->has_receipt = true;
	t->from = t->receipt.seq + 1;
	t->place = AT_HEAD;
	u->forked = t->reply.fork;
	u->records.tries = 0;
	return 1;
}

static int send_stretch(struct pw_uplink *u, struct trip *t)
{
	struct pw_hand h;
	char *text = NULL;
	size_t length;
	int result = -1;

	memset(&h, 0, sizeof(h));
	h.kind = PW_H_STRETCH;
	h.first = t->from;
	if (ask(u, &h, &text, &length) < 0)
		return -1;
	if (text == NULL) {
		t->caught_up = t->from > t->where.seq;
		pw_reply_set(&t->reply, PW_SAID_LATER, "the journal gives nothing from %" PRIu64
			     " on%s%s", t->from, h.words[0] ? ": " : "", h.words);
		return 0;
	}
	pw_link_records(u->link, t->where.bus, text, length, t->place == AT_HOLE, &t->reply);
	result = judge(u, t);
	free(text);
	return result;
}

/* 0; -1: the writer is gone. */
static int send_all(struct pw_uplink *u, struct trip *t)
{
	int got;

	pw_uplink_tell(u, PW_D_SENDING, "");
	while ((got = send_stretch(u, t)) > 0)
		if (pw_uplink_alerts(u) < 0)
			return -1;
	return got;
}

int pw_uplink_hand_over(struct pw_uplink *u, const struct pw_receipt *r, struct pw_reply *reply)
{
	struct pw_hand h;

	memset(&h, 0, sizeof(h));
	h.kind = PW_H_RECEIPT;
	h.receipt = *r;
	if (ask_short(u, &h) < 0)
		return -1;
	if (!h.done)
		pw_reply_set(reply, PW_SAID_REFUSED, "the receipt was not taken: %s", h.words);
	return h.done;
}

/* -- the end ----------------------------------------------------------------------------------- */

static void rest(struct pw_uplink *u)
{
	u->idle = true;
	u->records = (struct pw_turn){ .at_ms = pw_uplink_now_ms() + u->pace->look_ms };
	if (u->forked)
		pw_uplink_tell(u, PW_D_REFUSED, "delivered, and the office has another journal "
			       "beside it: one of the two was put back or cloned");
	else
		pw_uplink_tell(u, PW_D_DONE, "");
}

void pw_uplink_failed(struct pw_uplink *u, struct pw_turn *turn, const struct pw_reply *reply)
{
	const bool later = reply->said == PW_SAID_LATER, alert = turn == &u->alerts;
	const int64_t now_ms = pw_uplink_now_ms();
	int asked_s = reply->retry_s;

	if (!later && !alert && asked_s < SLOW_S)
		asked_s = SLOW_S;
	turn->asked_ms = now_ms + reply->retry_s * INT64_C(1000);
	turn->at_ms = now_ms + u->pace->backoff_ms(turn->tries, alert, asked_s,
						   randombytes_random());
	turn->tries++;
	pw_uplink_tell(u, later ? PW_D_AWAY : PW_D_REFUSED, reply->why);
}

static int finish(struct pw_uplink *u, struct trip *t)
{
	struct pw_reply refused;
	int got = t->has_receipt ? pw_uplink_hand_over(u, &t->receipt, &refused) : 1;

	if (got < 0)
		return -1;
	if (got == 0)
		pw_uplink_failed(u, &u->records, &refused);
	else if (t->caught_up)
		rest(u);
	else
		pw_uplink_failed(u, &u->records, &t->reply);
	return 0;
}

int pw_uplink_contact(struct pw_uplink *u)
{
	struct trip t;

	memset(&t, 0, sizeof(t));
	t.where.kind = PW_H_WHERE;
	if (ask_short(u, &t.where) < 0)
		return -1;
	u->hands.alerts = t.where.alerts;
	if (pw_uplink_alerts(u) < 0)
		return -1;
	u->idle = t.where.receipted >= t.where.seq;
	if (u->idle) {
		rest(u);
		return 0;
	}
	pw_link_heads(u->link, t.where.bus, t.where.epoch, &t.reply);
	if (t.reply.said == PW_SAID_SO && (choose(u, &t) < 0 || send_all(u, &t) < 0))
		return -1;
	return finish(u, &t);
}
