/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Holds, and purging: what is older than a day goes piece by piece, and how much of it went stays.
 *
 * The store knows no zone. A moment is older than a day only where it is before that day
 * everywhere on earth, and under a hold where it may be of one of its days anywhere.
 */
#include <assert.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "keep_internal.h"

#define EAST_MS (14 * INT64_C(3600000)) /* UTC+14 and UTC-12: the first and the last to have a day */
#define WEST_MS (12 * INT64_C(3600000))
#define WITHOUT_END 99991231

static int64_t begins_ms(int32_t day)
{
	return day == 0 ? INT64_MIN : pw_date_days(day) * PW_DAY_MS - EAST_MS;
}

static int64_t ends_ms(int32_t day)
{
	return (pw_date_days(day) + 1) * PW_DAY_MS + WEST_MS;
}

/* -- holds ------------------------------------------------------------------------------------- */

static int get_number(void *ctx, const struct pw_cell *cells)
{
	*(int64_t *)ctx = cells[0].number;
	return 0;
}

static bool is_day(int32_t day)
{
	return day == 0 || pw_date_ok(day);
}

int pw_keep_hold(struct pw_store *s, struct pw_hold *h, char *why, size_t size)
{
	const int32_t to = h->to == 0 ? WITHOUT_END : h->to;
	int64_t id = 0;
	int result;

	if (!is_day(h->from) || !is_day(h->to) || h->from > to) {
		snprintf(why, size, "expected a hold from a day to the same or a later one, got "
			 "%" PRId32 " to %" PRId32, h->from, h->to);
		return -2;
	}
	const struct pw_cell args[] = {
		pw_cell_text(h->bus), pw_cell_number(h->from), pw_cell_number(to),
		pw_cell_number(begins_ms(h->from)), pw_cell_number(ends_ms(to)),
		pw_cell_number(h->at_ms), pw_cell_text(h->who), pw_cell_text(h->words),
	};

	result = pw_store_ask_one(s, PW_Q_HOLD_PUT, args, get_number, &id, why, size);
	h->id = (uint64_t)id;
	h->lifted_ms = 0;
	return result < 0 ? result : 0;
}

int pw_keep_lift(struct pw_store *s, uint64_t id, const char *who, int64_t now_ms, char *why,
		 size_t size)
{
	const struct pw_cell args[] = { pw_cell_number(now_ms), pw_cell_text(who),
					pw_cell_number((int64_t)id) };

	return pw_store_change(s, PW_Q_HOLD_LIFT, args, why, size);
}

struct holds {
	int (*take)(void *ctx, const struct pw_hold *h);
	void *ctx;
};

static int give_hold(void *ctx, const struct pw_cell *cells)
{
	const struct holds *all = ctx;
	struct pw_hold h = { .id = (uint64_t)cells[0].number, .from = (int32_t)cells[2].number,
			     .to = (int32_t)cells[3].number, .at_ms = cells[4].number,
			     .lifted_ms = cells[5].number };

	if (h.to == WITHOUT_END)
		h.to = 0;
	pw_cell_get_text(&cells[1], h.bus, sizeof(h.bus));
	pw_cell_get_text(&cells[6], h.who, sizeof(h.who));
	pw_cell_get_text(&cells[7], h.words, sizeof(h.words));
	return all->take(all->ctx, &h);
}

int pw_keep_holds(struct pw_store *s, int (*take)(void *ctx, const struct pw_hold *h), void *ctx,
		  char *why, size_t size)
{
	struct holds all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_HOLDS, NULL, give_hold, &all, why, size);
}

/* -- what was purged --------------------------------------------------------------------------- */

static const char *const kind_name[PW_KEEPS] = {
	[PW_KEEP_NONE] = "none",
#define X(up, low) [PW_KEEP_##up] = #low,
	PW_KEEP_LIST(X)
#undef X
};

static enum pw_keep_kind find_kind(const struct pw_cell *cell)
{
	char name[16];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_keep_kind k = PW_KEEP_NONE + 1; k < PW_KEEPS; k++)
		if (strcmp(kind_name[k], name) == 0)
			return k;
	return PW_KEEP_NONE;
}

static void get_purged(const struct pw_cell *cells, struct pw_purged *p)
{
	*p = (struct pw_purged){ .kind = find_kind(&cells[0]), .before = (int32_t)cells[1].number,
				 .at_ms = cells[2].number, .count = (uint64_t)cells[4].number,
				 .held = (uint64_t)cells[5].number };
	pw_cell_get_text(&cells[3], p->who, sizeof(p->who));
}

struct purges {
	int (*take)(void *ctx, const struct pw_purged *p);
	void *ctx;
};

static int give_purged(void *ctx, const struct pw_cell *cells)
{
	const struct purges *all = ctx;
	struct pw_purged p;

	get_purged(cells, &p);
	return all->take(all->ctx, &p);
}

int pw_keep_purges(struct pw_store *s, int (*take)(void *ctx, const struct pw_purged *p), void *ctx,
		   char *why, size_t size)
{
	struct purges all = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_PURGES, NULL, give_purged, &all, why, size);
}

/* -- a piece of work --------------------------------------------------------------------------- */

static int get_open(void *ctx, const struct pw_cell *cells)
{
	struct pw_purging *p = ctx;

	get_purged(cells, &p->told);
	p->id = cells[6].number;
	p->behind_ms = pw_cell_get_time(&cells[7]);
	pw_cell_get_text(&cells[8], p->behind_bus, sizeof(p->behind_bus));
	pw_cell_get_hex(&cells[9], p->behind_epoch, sizeof(p->behind_epoch));
	p->behind_branch = cells[10].number;
	return 0;
}

static int begin_purge(struct pw_purging *p, enum pw_keep_kind kind, int32_t before,
		       const char *who, int64_t now_ms)
{
	const struct pw_cell args[] = { pw_cell_text(kind_name[kind]), pw_cell_number(before),
					pw_cell_number(now_ms), pw_cell_text(who) };

	p->told = (struct pw_purged){ .kind = kind, .before = before, .at_ms = now_ms };
	snprintf(p->told.who, sizeof(p->told.who), "%s", who);
	p->behind_ms = PW_NO_TIME;
	p->behind_bus[0] = p->behind_epoch[0] = '\0';
	p->behind_branch = -1;
	return pw_store_ask_one(p->s, PW_Q_PURGE_BEGIN, args, get_number, &p->id, p->why, p->size);
}

/* One that was not brought to its end goes on where it was; of another day, it is over. */
static int find_purge(struct pw_purging *p, enum pw_keep_kind kind, int32_t before, const char *who,
		      int64_t now_ms)
{
	const struct pw_cell name = pw_cell_text(kind_name[kind]);
	int result = pw_store_ask_one(p->s, PW_Q_PURGE_OPEN, &name, get_open, p, p->why, p->size);

	if (result < 0 || (result == 1 && p->told.before == before
			   && strcmp(p->told.who, who) == 0))
		return result;
	if (result == 1)
		result = pw_store_ask(p->s, PW_Q_PURGE_SHUT, &name, NULL, NULL, p->why, p->size);
	return result < 0 ? result : begin_purge(p, kind, before, who, now_ms);
}

static int keep_purge(struct pw_purging *p, bool more)
{
	const struct pw_cell args[] = {
		pw_cell_number((int64_t)p->told.count), pw_cell_number((int64_t)p->told.held),
		pw_cell_time(p->behind_ms), pw_cell_text(p->behind_bus),
		pw_cell_hex(p->behind_epoch), pw_cell_number(p->behind_branch),
		pw_cell_number(more), pw_cell_number(p->id),
	};
	const struct pw_cell id = pw_cell_number(p->id);

	if (!more && p->told.count == 0 && p->told.held == 0)
		return pw_store_ask(p->s, PW_Q_PURGE_DROP, &id, NULL, NULL, p->why, p->size);
	return pw_store_ask(p->s, PW_Q_PURGE_KEEP, args, NULL, NULL, p->why, p->size);
}

/* The triggers let things go as long as the row stands. */
static int with_leave(struct pw_purging *p, int (*piece)(struct pw_purging *p))
{
	const struct pw_cell who = pw_cell_text(p->told.who);
	int result = pw_store_ask(p->s, PW_Q_PURGING_ON, &who, NULL, NULL, p->why, p->size), off;

	if (result == 0)
		result = piece(p);
	if (result < 0)
		return result;
	off = pw_store_ask(p->s, PW_Q_PURGING_OFF, NULL, NULL, NULL, p->why, p->size);
	return off < 0 ? off : result;
}

int pw_keep_purge(struct pw_store *s, enum pw_keep_kind kind, int32_t before, const char *who,
		  int64_t now_ms, unsigned limit, struct pw_purged *purged, char *why, size_t size)
{
	static int (*const piece[PW_KEEPS])(struct pw_purging *p) = {
		[PW_KEEP_RECORDS] = pw_purge_records, [PW_KEEP_ROWS] = pw_purge_timed,
		[PW_KEEP_WARMTH] = pw_purge_timed, [PW_KEEP_VIEWS] = pw_purge_timed,
	};
	struct pw_purging p = { .s = s, .limit = limit > 0 ? limit : 1, .why = why, .size = size };
	int result, kept;

	assert(s->begun);
	if (kind <= PW_KEEP_NONE || kind >= PW_KEEPS || !pw_date_ok(before)) {
		snprintf(why, size, "expected a kind of what is kept and a day, got %d and %" PRId32,
			 (int)kind, before);
		return -2;
	}
	if ((result = find_purge(&p, kind, before, who, now_ms)) < 0)
		return result;
	p.before_ms = begins_ms(before);
	if ((result = with_leave(&p, piece[kind])) < 0)
		return result;
	if ((kept = keep_purge(&p, result == 1)) < 0)
		return kept;
	*purged = p.told;
	return result;
}
