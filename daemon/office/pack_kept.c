/* SPDX-License-Identifier: Apache-2.0 */
/* What else a report tells: matters of the period, holds and purges. */
#include <string.h>

#include "pack_internal.h"

#define SOME 2000

struct looking {
	struct pw_pack *p;
	uint64_t after;
	unsigned got;
};

static bool is_asked_for(const struct pw_pack *p, const char *bus)
{
	const struct pw_pack_bus *b = p->buses.item;
	size_t from = 0, end = p->buses.count;

	while (from < end) {
		const size_t middle = from + (end - from) / 2;
		const int order = strcmp(b[middle].bus, bus);

		if (order == 0)
			return true;
		if (order < 0)
			from = middle + 1;
		else
			end = middle;
	}
	return false;
}

static int take_matter(void *ctx, const struct pw_matter *m)
{
	struct looking *l = ctx;
	const int64_t at_ms = m->at_ms ? m->at_ms : m->came_ms;
	struct pw_matter *kept;

	l->after = m->id;
	if (at_ms >= l->p->from_ms && at_ms < l->p->to_ms && is_asked_for(l->p, m->bus)) {
		kept = pw_pack_add(&l->p->matters, sizeof(*kept), PW_PACK_SHOWN);
		if (kept)
			*kept = *m;
	}
	return ++l->got == SOME;
}

static int work_matters(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct looking *l = ctx;
	const int result = pw_store_matters(s, true, l->after, take_matter, l, why, size);

	return result < 0 ? result : 0;
}

static int take_hold(void *ctx, const struct pw_hold *h)
{
	struct pw_pack *p = ctx;
	struct pw_hold *kept;

	if (h->from > p->order->to || h->to < p->order->from || (h->bus[0] && !is_asked_for(p, h->bus)))
		return 0;
	kept = pw_pack_add(&p->holds, sizeof(*kept), PW_PACK_SHOWN);
	if (kept)
		*kept = *h;
	return 0;
}

/* Of all buses: which ones, is not kept. */
static int take_purge(void *ctx, const struct pw_purged *u)
{
	struct pw_pack *p = ctx;
	struct pw_purged *kept;

	if (u->before <= p->order->from)
		return 0;
	kept = pw_pack_add(&p->purges, sizeof(*kept), PW_PACK_SHOWN);
	if (kept)
		*kept = *u;
	return 0;
}

static int work_kept(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_pack *p = ctx;
	int result;

	p->holds.count = p->holds.all = p->purges.count = p->purges.all = 0;
	result = pw_keep_holds(s, take_hold, p, why, size);
	return result ? result : pw_keep_purges(s, take_purge, p, why, size);
}

int pw_pack_find_kept(struct pw_pack *p)
{
	struct looking l = { .p = p };
	int result;

	do {
		l.got = 0;
		result = pw_pack_desk(p, work_matters, &l);
	} while (result == 0 && l.got == SOME);
	return result ? result : pw_pack_desk(p, work_kept, p);
}
