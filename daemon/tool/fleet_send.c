/* SPDX-License-Identifier: Apache-2.0 */
/* A bus comes in: the office is asked how far it has each of its journals, and gets the rest. */
#include <errno.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "fleet_send_internal.h"

#define SETBACKS_MAX 8

struct visit {
	const struct pw_delivering *d;
	unsigned index;
	const struct pw_fleet_bus *bus;
	struct pw_place place;
	struct pw_link *link;
	const struct pw_history *history;
	enum pw_history_kind kind; /* of the history */
	uint64_t next, receipted; /* seq: to be sent; the last that is receipted */
	struct pw_receipt receipt; /* the last of this contact; seq 0: none yet */
	unsigned setbacks, tries;
	int64_t last_ms;          /* when the office last took something */
	bool forked;
	struct pw_growing text;
	struct pw_reply reply;
	struct pw_sums *sums;
	char *why;
	size_t size;
};

__attribute__((format(printf, 2, 3)))
static bool fail(struct visit *v, const char *format, ...)
{
	char said[300];
	va_list args;

	va_start(args, format);
	vsnprintf(said, sizeof(said), format, args);
	va_end(args);
	snprintf(v->why, v->size, "%s", said);
	return false;
}

/* -- patience ---------------------------------------------------------------------------------- */

static int64_t now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_BOOTTIME, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* Waits before the same is tried again. False: the patience is at its end. */
static bool wait_again(struct visit *v, bool alert)
{
	const int64_t wait_ms = pw_backoff_ms(v->tries++, alert, v->reply.retry_s,
					      randombytes_random());
	const int64_t left_ms = v->last_ms + v->d->options->patience_ms - now_ms();
	struct timespec t = { .tv_sec = wait_ms / 1000, .tv_nsec = wait_ms % 1000 * 1000000 };

	if (wait_ms > left_ms)
		return false;
	while (nanosleep(&t, &t) < 0 && errno == EINTR)
		;
	return true;
}

/* Asks until there is an answer that is none for later. */
static bool ask(struct visit *v, void (*question)(struct visit *v), bool alert)
{
	do
		question(v);
	while (v->reply.said == PW_SAID_LATER && wait_again(v, alert));
	if (v->reply.said == PW_SAID_SO || v->reply.said == PW_SAID_GAP) {
		v->tries = 0;
		v->last_ms = now_ms();
		return true;
	}
	v->sums->refused += v->reply.said != PW_SAID_LATER;
	return fail(v, "%s",
		    v->reply.why[0] ? v->reply.why : "the office has to decide about its key");
}

/* -- where to go on ---------------------------------------------------------------------------- */

static void ask_heads(struct visit *v)
{
	pw_link_heads(v->link, v->history->book.bus, v->history->book.epoch, &v->reply);
}

/* The greatest head that is a record of this journal; 0: none is. */
static uint64_t known_head(const struct visit *v)
{
	const struct pw_book *b = &v->history->book;
	uint64_t best = 0;

	for (unsigned i = 0; i < v->reply.heads.count; i++) {
		const struct pw_head *h = &v->reply.heads.head[i];
		const char *hash = pw_book_hash(b, h->seq);

		if (h->seq > best && strcmp(h->epoch, b->epoch) == 0 && hash
		    && strcmp(hash, h->hash) == 0)
			best = h->seq;
	}
	return best;
}

/* After a gap: never again from where that very answer was about. */
static bool set_back(struct visit *v)
{
	uint64_t next = known_head(v) + 1;

	if (next == v->next)
		next = 1;
	if (next == v->next || ++v->setbacks > SETBACKS_MAX) {
		v->sums->refused++;
		return fail(v, "the office takes this journal from nowhere on");
	}
	v->next = next;
	return true;
}

/* -- receipts ---------------------------------------------------------------------------------- */

static bool keep_receipt(struct visit *v, const struct pw_receipt *r)
{
	struct pw_got got = { .day = v->d->state->fleet.days - 1,
			      .history = v->kind,
			      .alert = r->alert,
			      .seq = r->seq,
			      .time_ms = r->time_ms };

	memcpy(got.hash, r->hash, sizeof(got.hash));
	memcpy(got.nonce, r->nonce, sizeof(got.nonce));
	memcpy(got.sig, r->sig, sizeof(got.sig));
	return pw_fleet_state_got(v->d->state, v->index, &got, v->why, v->size) == 0;
}

/* The link has held it against the office's key: is it also for what was sent? */
static bool is_for(struct visit *v, uint64_t seq)
{
	const struct pw_receipt *r = &v->reply.receipt;
	const struct pw_book *b = &v->history->book;

	if (r->seq == seq && strcmp(r->hash, pw_book_hash(b, seq)) == 0
	    && strcmp(r->bus, b->bus) == 0 && strcmp(r->epoch, b->epoch) == 0)
		return true;
	return fail(v, "the receipt is not for seq %" PRIu64 ", which was sent", seq);
}

/* The newest that was kept of this journal. */
static uint64_t kept_receipt(const struct visit *v)
{
	const struct pw_enrolled *e = &v->d->state->bus[v->index];
	uint64_t best = 0;

	for (size_t i = 0; i < e->count; i++) {
		const char *hash = pw_book_hash(&v->history->book, e->got[i].seq);

		if (!e->got[i].alert && e->got[i].seq > best && hash
		    && strcmp(hash, e->got[i].hash) == 0)
			best = e->got[i].seq;
	}
	return best;
}

/* -- sending ----------------------------------------------------------------------------------- */

static void send_text(struct visit *v)
{
	pw_link_records(v->link, v->history->book.bus, v->text.text, v->text.length, false,
			&v->reply);
}

static void send_alert(struct visit *v)
{
	pw_link_alert(v->link, v->history->book.bus, v->text.text, v->text.length, &v->reply);
}

static bool deliver_alerts(struct visit *v)
{
	const struct pw_book *b = &v->history->book;

	for (uint64_t seq = v->next; seq <= v->history->deliver; seq++) {
		if (!b->record[seq - 1].alert)
			continue;
		if (pw_book_export_alert(b, seq, &v->text))
			return fail(v, "no memory");
		if (!ask(v, send_alert, true) || !is_for(v, seq)
		    || !keep_receipt(v, &v->reply.receipt))
			return false;
	}
	return true;
}

static bool take_receipt(struct visit *v, uint64_t last)
{
	if (!is_for(v, last))
		return false;
	v->sums->sent += last - v->next + 1;
	v->sums->forks += v->reply.fork && !v->forked;
	v->forked = v->forked || v->reply.fork;
	v->receipt = v->reply.receipt;
	v->next = last + 1;
	return true;
}

static bool deliver_stretches(struct visit *v)
{
	while (v->next <= v->history->deliver) {
		int64_t last = pw_book_export(&v->history->book, v->next, v->history->deliver, true,
					      &v->text);

		if (last <= 0)
			return fail(v, "no memory");
		if (!ask(v, send_text, false))
			return false;
		if (v->reply.said == PW_SAID_GAP ? !set_back(v) : !take_receipt(v, (uint64_t)last))
			return false;
	}
	return true;
}

/* How far the office has it, and from where on it is to be sent. */
static bool find_place(struct visit *v)
{
	const uint64_t deliver = v->history->deliver;
	uint64_t head;

	if (!ask(v, ask_heads, false))
		return false;
	head = known_head(v);
	v->sums->there += head < deliver ? head : deliver;
	/* the office has it all, and its receipt is missing: the last is sent again for that */
	v->next = head >= deliver && v->receipted < deliver ? deliver : head + 1;
	return true;
}

/* The last receipt of a contact stands for all before it: it alone is kept. */
static bool deliver_journal(struct visit *v)
{
	const uint64_t deliver = v->history->deliver;
	bool done = true;

	v->receipted = kept_receipt(v);
	v->receipt.seq = 0;
	v->forked = false;
	v->setbacks = 0;
	if (deliver > 0)
		done = find_place(v) && deliver_alerts(v) && deliver_stretches(v);
	if (v->receipt.seq > v->receipted) {
		v->receipted = v->receipt.seq;
		done = keep_receipt(v, &v->receipt) && done;
	}
	v->sums->records += deliver;
	v->sums->receipted += v->receipted < deliver ? v->receipted : deliver;
	return done;
}

/* -- the bus ----------------------------------------------------------------------------------- */

static void ask_enrol(struct visit *v)
{
	const struct pw_enrolled *e = &v->d->state->bus[v->index];

	pw_link_enrol(&v->place, v->bus->id, e->code, &v->bus->key, NULL, &v->reply);
}

/* The office as this bus knows it; enrolled now where it was not. A key that a person has to decide
 * on has its token already. */
static bool find_office(struct visit *v)
{
	const struct pw_enrolled *e = &v->d->state->bus[v->index];
	bool done;

	v->place = v->d->place;
	if (e->token[0] != '\0') {
		memcpy(v->place.token, e->token, sizeof(v->place.token));
		v->place.key = e->office;
		return true;
	}
	if (e->code[0] == '\0')
		return fail(v, "no token was kept, and --codes has no code for it");
	done = ask(v, ask_enrol, false);
	if (!done && v->reply.said != PW_SAID_WAITS)
		return fail(v, "not enrolled: %s", v->reply.why);
	return pw_fleet_state_token(v->d->state, v->index, &v->place, v->why, v->size) == 0 && done;
}

static bool deliver_life(struct visit *v, const struct pw_fleet_life *life)
{
	bool done = true;

	for (unsigned i = 0; i < PW_HISTORIES; i++) {
		v->kind = (enum pw_history_kind)i;
		v->history = &life->history[i];
		done = deliver_journal(v) && done;
	}
	return done;
}

bool pw_fleet_deliver(const struct pw_delivering *d, unsigned index, struct pw_sums *sums,
		      char *why, size_t size)
{
	const struct pw_enrolled *e = &d->state->bus[index];
	struct visit v = {
		.d = d, .index = index, .sums = sums, .why = why, .size = size, .last_ms = now_ms()
	};
	struct pw_fleet_life life;
	bool done = false;

	v.bus = &life.bus;
	if (pw_fleet_live(&d->state->fleet, index, e->got, e->count, &life, why, size) == 0
	    && find_office(&v) && pw_link_open(&v.place, &pw_patience, &v.link, why, size) == 0)
		done = deliver_life(&v, &life);
	pw_link_close(v.link);
	pw_growing_free(&v.text);
	pw_fleet_life_free(&life);
	return done;
}
