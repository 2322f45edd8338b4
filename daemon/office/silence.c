/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Which buses are silent depends on weeks of days of each: too much to ask for with every page. So
 * it is gone through bus by bus, some at a time, once in a while or on another day. Meanwhile a bus
 * that is heard of again leaves the list.
 */
#include <stdlib.h>
#include <string.h>

#include "morning.h"
#include "tell_internal.h"
#include "zone.h"

#define BUSES_AT_ONCE 400
#define AGAIN_MS (10 * 60 * 1000)
#define SLACK_MS 60000 /* a transaction may be committed later than it says */

struct list {
	struct pw_silent *bus; /* in the order of the store */
	size_t count, room;
	uint64_t buses, heard;
	int32_t upto;          /* 0: there is no list yet */
	int64_t at_ms, asked_ms;
};
struct pw_silence {
	uint32_t silent_days;
	struct list stands, next; /* next: under way, where its upto is not 0 */
	char after[PW_NAME_MAX];
	size_t got;
};

struct pw_silence *pw_silence_new(uint32_t silent_days)
{
	struct pw_silence *n = calloc(1, sizeof(*n));

	if (n)
		n->silent_days = silent_days;
	return n;
}

void pw_silence_free(struct pw_silence *n)
{
	if (!n)
		return;
	free(n->stands.bus);
	free(n->next.bus);
	free(n);
}

/* -- going through ----------------------------------------------------------------------------- */

static int add(struct list *l, const struct pw_bus_row *row)
{
	if (l->count == l->room) {
		const size_t room = l->room ? 2 * l->room : 64;
		void *more = realloc(l->bus, room * sizeof(*l->bus));

		if (!more)
			return -1;
		l->bus = more;
		l->room = room;
	}
	l->bus[l->count] = (struct pw_silent){ .heard_ms = row->heard_ms,
					       .enrolled_ms = row->enrolled_ms };
	memcpy(l->bus[l->count++].bus, row->bus, sizeof(row->bus));
	return 0;
}

/* day: since the first that matters. A bus that was heard of before is silent in any case. */
static int look_at(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	struct pw_silence *n = ctx;

	n->got++;
	memcpy(n->after, row->bus, sizeof(n->after));
	n->next.buses++;
	n->next.heard += pw_heard_on(day, days, n->next.upto);
	if (days > 0 && !pw_habit_silent(day, days, n->next.upto, n->silent_days))
		return 0;
	return add(&n->next, row);
}

static void begin(struct pw_silence *n, const struct pw_silence_look *look)
{
	struct list *l = &n->next;

	*l = (struct list){ .bus = l->bus, .room = l->room, .upto = look->upto,
			    .at_ms = look->now_ms, .asked_ms = look->now_ms };
	n->after[0] = '\0';
}

static void swap(struct pw_silence *n)
{
	const struct list over = n->stands;

	n->stands = n->next;
	n->next = over;
	n->next.upto = 0;
}

static int go_on(struct pw_silence *n, struct pw_store *s, char *why, size_t size)
{
	const int32_t from = pw_date_from(pw_date_days(n->next.upto)
					  - 7 * ((int32_t)n->silent_days + 1));
	int result;

	n->got = 0;
	snprintf(why, size, "memory is short");
	result = pw_store_heard_some(s, n->after, BUSES_AT_ONCE, from, look_at, n, why, size);
	if (result == 0 && n->got < BUSES_AT_ONCE)
		swap(n);
	return result;
}

/* -- kept up to date --------------------------------------------------------------------------- */

static int by_bus(const void *a, const void *b)
{
	return strcmp(a, ((const struct pw_silent *)b)->bus);
}

static int hear(void *ctx, const char *bus, int64_t heard_ms)
{
	struct list *l = ctx;
	struct pw_silent *one = NULL;

	if (l->count > 0)
		one = bsearch(bus, l->bus, l->count, sizeof(*l->bus), by_bus);
	if (one && heard_ms > one->heard_ms) {
		l->count--;
		memmove(one, one + 1, (size_t)(l->bus + l->count - one) * sizeof(*one));
	}
	return 0;
}

static int keep_up(struct list *l, struct pw_store *s, int64_t now_ms, char *why, size_t size)
{
	const int64_t since_ms = (l->asked_ms < now_ms ? l->asked_ms : now_ms) - SLACK_MS;
	const int result = pw_store_heard_since(s, since_ms, hear, l, why, size);

	if (result == 0)
		l->asked_ms = now_ms;
	return result;
}

/* -- asked ------------------------------------------------------------------------------------- */

static int by_count(const void *a, const void *b)
{
	return strverscmp(((const struct pw_silent *)a)->bus, ((const struct pw_silent *)b)->bus);
}

static int copy(struct pw_silence_look *look, char *why, size_t size)
{
	const struct list *l = &look->of->stands;

	look->count = look->never = 0;
	look->list = malloc((l->count + 1) * sizeof(*look->list));
	if (!look->list) {
		snprintf(why, size, "memory is short");
		return -1;
	}
	for (; look->count < l->count; look->count++) {
		look->list[look->count] = l->bus[look->count];
		look->never += l->bus[look->count].heard_ms == 0;
	}
	qsort(look->list, look->count, sizeof(*look->list), by_count);
	look->buses = l->buses;
	look->heard = l->heard;
	return 0;
}

static bool is_fresh(const struct list *l, const struct pw_silence_look *look)
{
	return l->upto == look->upto && look->now_ms >= l->at_ms
	       && look->now_ms - l->at_ms < AGAIN_MS;
}

int pw_silence_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_silence_look *look = ctx;
	struct pw_silence *n = look->of;
	int result;

	look->more = !is_fresh(&n->stands, look);
	if (!look->more) {
		result = keep_up(&n->stands, s, look->now_ms, why, size);
		return result < 0 ? result : copy(look, why, size);
	}
	if (!is_fresh(&n->next, look))
		begin(n, look);
	return go_on(n, s, why, size);
}
