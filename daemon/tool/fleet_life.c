/* SPDX-License-Identifier: Apache-2.0 */
/* A bus from its first day on. The past is made anew at each call: it follows from the seed, and
 * from the receipts that the office gave meanwhile. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleet_life_internal.h"
#include "fleet_watch_internal.h"

#define SECOND INT64_C(1000)
#define EVENING (21 * 3600 * SECOND)
#define BACK_MS 12000   /* a program that ended is running again */
#define BUILT_DAYS 30   /* before the first day */

/* -- days -------------------------------------------------------------------------------------- */

int pw_fleet_days(const struct pw_fleet *f, const struct pw_fleet_bus *b,
		  void (*take)(void *ctx, const struct pw_fleet_day *d, bool second), void *ctx)
{
	struct pw_carry carry = { 0 }, second = { .off = true };
	struct pw_fleet_day *d = malloc(sizeof(*d));
	bool cloned = false;

	if (!d)
		return -1;
	for (unsigned number = 0; number < f->days; number++) {
		pw_fleet_day_make(f, b, false, number, &carry, d);
		take(ctx, d, false);
		if (cloned) {
			pw_fleet_day_make(f, b, true, number, &second, d);
			take(ctx, d, true);
		}
		cloned = cloned || carry.scene == PW_SCENE_CLONED;
	}
	free(d);
	return 0;
}

/* -- living through them ----------------------------------------------------------------------- */

struct living {
	const struct pw_fleet *f;
	struct pw_fleet_life *life;
	struct pw_fleet_watch own, clone, copy;
	struct pw_book copied;
	const struct pw_got *got;
	size_t count, next[2]; /* of own and clone */
};

/* How long the kernel had been up: of each start another time. */
static int64_t draw_boot(const struct living *l, int64_t at_ms)
{
	struct pw_chance c = pw_chance_begin(l->f->seed, PW_OF_BOOT, l->life->bus.index,
					     (uint64_t)at_ms);

	return pw_chance_in(&c, 14000, 31000);
}

static void copy_card(struct living *l, enum pw_scene scene)
{
	struct pw_history *h = &l->life->history[PW_HISTORY_CLONE];

	if (scene == PW_SCENE_REWOUND) {
		l->copy = l->own;
		pw_book_copy(&l->copied, l->own.book);
		return;
	}
	pw_book_copy(&h->book, l->own.book);
	h->name = "clone";
	l->clone = l->own;
	l->clone.book = &h->book;
	l->clone.powered = false;
	l->next[1] = l->next[0];
}

/* What lies on the card now is history: name says why. */
static struct pw_book *part(struct living *l, const char *name)
{
	struct pw_history *own = &l->life->history[PW_HISTORY_OWN],
			  *old = &l->life->history[PW_HISTORY_OLD];

	*old = (struct pw_history){ own->book, name, own->deliver };
	l->own.book = &old->book;
	return &own->book;
}

static void put_aside(struct living *l)
{
	struct pw_book *book = part(l, "aside");
	char epoch[17];

	pw_fleet_epoch(l->f, l->life->bus.index, true, epoch);
	pw_book_begin(book, l->life->bus.id, epoch, &l->life->bus.key);
	pw_fleet_watch_aside(&l->own, book, "journal.db: its file is damaged");
	l->life->history[PW_HISTORY_OWN].deliver = 0;
}

/* The card of then, in the vehicle of now. */
static void put_back(struct living *l)
{
	struct pw_book *book = part(l, "before");
	struct pw_fleet_watch w = l->copy;

	*book = l->copied;
	l->copied = (struct pw_book){ 0 };
	w.book = book;
	w.raw = l->own.raw;
	w.dead = l->own.dead;
	w.clock_ms = l->own.clock_ms;
	w.powered = false;
	l->own = w;
}

static void receive(struct living *l, struct pw_fleet_watch *w, bool clone, unsigned day,
		    int64_t at_ms)
{
	char body[512];

	for (size_t *i = &l->next[clone]; w->powered && *i < l->count && l->got[*i].day <= day;
	     ++*i) {
		const struct pw_got *g = &l->got[*i];

		if (g->history != (clone ? PW_HISTORY_CLONE : PW_HISTORY_OWN))
			continue;
		snprintf(body, sizeof(body),
			 "{\"%s\":%" PRIu64 ",\"hash\":\"%s\",\"time_ms\":%" PRId64
			 ",\"nonce\":\"%s\",\"sig\":\"%s\"}",
			 g->alert ? "alert" : "seq", g->seq, g->hash, g->time_ms, g->nonce, g->sig);
		pw_fleet_watch_receipt(w, at_ms, body);
		if (!g->alert)
			snprintf(w->book->receipt, sizeof(w->book->receipt), "%s", body);
		at_ms += 20;
	}
}

static void power(struct living *l, struct pw_fleet_watch *w, const struct pw_fleet_day *d,
		  bool clone, int64_t at_ms)
{
	pw_fleet_watch_power(w, at_ms, draw_boot(l, at_ms + clone));
	if (d->number > 0)
		receive(l, w, clone, d->number - 1, at_ms + 500);
}

static void do_board(struct living *l, struct pw_fleet_watch *w, const struct pw_fleet_day *d,
		     bool clone, const struct pw_deed *deed)
{
	switch (deed->what) {
	case PW_DO_CUT:
		pw_fleet_watch_cut(w, deed->at_ms);
		break;
	case PW_DO_POWER:
		power(l, w, d, clone, deed->at_ms);
		break;
	case PW_DO_STOP:
		pw_fleet_watch_stop(w, deed->at_ms, deed->level, BACK_MS);
		break;
	case PW_DO_CLOCK:
		pw_fleet_watch_clock(w, deed->at_ms, deed->value);
		break;
	case PW_DO_SOUNDERS:
		w->dead = deed->level == 0;
		break;
	case PW_DO_ASIDE:
		put_aside(l);
		break;
	case PW_DO_COPY:
		pw_fleet_watch_until(w, deed->at_ms);
		copy_card(l, d->scene);
		break;
	default:
		put_back(l);
	}
}

static void do_deed(struct living *l, struct pw_fleet_watch *w, const struct pw_fleet_day *d,
		    bool clone, const struct pw_deed *deed)
{
	switch (deed->what) {
	case PW_DO_EDGE:
		pw_fleet_watch_edge(w, deed->at_ms, deed->line, deed->level);
		break;
	case PW_DO_SERVICE:
		pw_fleet_watch_service(w, deed->at_ms, deed->level);
		break;
	case PW_DO_FOUND:
		pw_fleet_watch_found(w, deed->at_ms, (enum pw_found_what)deed->value, deed->who);
		break;
	case PW_DO_HEARD:
		pw_fleet_watch_heard(w, deed->at_ms, deed->line, deed->level);
		break;
	case PW_DO_SIGN:
		pw_fleet_watch_sign(w, deed->at_ms, deed->who);
		break;
	case PW_DO_REVIEW:
		pw_fleet_watch_review(w, deed->at_ms, deed->who);
		break;
	case PW_DO_REPAIR:
		pw_fleet_watch_repair(w, deed->at_ms, deed->who);
		break;
	default:
		do_board(l, w, d, clone, deed);
	}
}

static void live_day(void *ctx, const struct pw_fleet_day *d, bool second)
{
	struct living *l = ctx;
	struct pw_fleet_watch *w = second ? &l->clone : &l->own;
	struct pw_history *h;

	for (unsigned i = 0; i < d->deeds; i++)
		do_deed(l, w, d, second, &d->deed[i]);
	pw_fleet_watch_until(w, d->begin_ms + EVENING);
	h = &l->life->history[second ? PW_HISTORY_CLONE : PW_HISTORY_OWN];
	if (d->scene != PW_SCENE_SILENT)
		h->deliver = h->book.sealed;
	receive(l, w, second, d->number, d->begin_ms + EVENING);
}

int pw_fleet_live(const struct pw_fleet *f, unsigned index, const struct pw_got *got, size_t count,
		  struct pw_fleet_life *life, char *why, size_t size)
{
	struct living *l = calloc(1, sizeof(*l));
	bool whole;
	char epoch[17];

	*life = (struct pw_fleet_life){ .history = { [PW_HISTORY_OWN] = { .name = "" } } };
	if (!l || pw_fleet_bus_make(f, index, &life->bus, why, size)) {
		if (!l)
			snprintf(why, size, "no memory");
		free(l);
		return -1;
	}
	*l = (struct living){ .f = f, .life = life, .got = got, .count = count };
	pw_fleet_epoch(f, index, false, epoch);
	pw_book_begin(&life->history[PW_HISTORY_OWN].book, life->bus.id, epoch, &life->bus.key);
	pw_fleet_watch_begin(&l->own, &life->bus, &life->history[PW_HISTORY_OWN].book,
			     pw_date_ms(f->from - BUILT_DAYS));
	whole = pw_fleet_days(f, &life->bus, live_day, l) == 0 && pw_book_whole(&l->copied);
	for (unsigned i = 0; i < PW_HISTORIES; i++)
		whole = whole && pw_book_whole(&life->history[i].book);
	pw_book_free(&l->copied);
	free(l);
	if (!whole)
		snprintf(why, size, "%s: no memory for its journal", life->bus.id);
	return whole ? 0 : -1;
}

void pw_fleet_life_free(struct pw_fleet_life *life)
{
	for (unsigned i = 0; i < PW_HISTORIES; i++)
		pw_book_free(&life->history[i].book);
}
