/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Records and their seals go from the beginning of a branch, whole sealed stretches at a time: what
 * is left begins where the last that went ended, and its chain is as whole as before.
 *
 * A record is as old as its bus's clock says, where that can be vouched for, and never older than
 * the time at which its seal came; that of a clock which cannot is as old as that.
 */
#include <string.h>

#include "keep_internal.h"

#define BRANCHES_A_PIECE 200

struct chain {
	char bus[PW_NAME_MAX], epoch[17];
	int64_t branch, first, head;
	int64_t top;                 /* the last seal but that of the newest stretch */
};

static int get_chain(void *ctx, const struct pw_cell *cells)
{
	struct chain *c = ctx;

	*c = (struct chain){ .branch = cells[2].number, .first = cells[3].number,
			     .head = cells[4].number };
	pw_cell_get_text(&cells[0], c->bus, sizeof(c->bus));
	pw_cell_get_hex(&cells[1], c->epoch, sizeof(c->epoch));
	return 0;
}

static int next_chain(struct pw_purging *p, struct chain *c)
{
	const struct pw_cell args[] = {
		pw_cell_text(p->behind_bus), pw_cell_hex(p->behind_epoch),
		pw_cell_number(p->behind_branch), pw_cell_number(p->before_ms),
	};

	return pw_store_ask_one(p->s, PW_Q_PURGE_BRANCH, args, get_chain, c, p->why, p->size);
}

static int get_seq(void *ctx, const struct pw_cell *cells)
{
	*(int64_t *)ctx = cells[0].number;
	return 0;
}

/* One seq of from - upto, by the question; 0 where there is none. more: its sixth argument. */
static int find_seq(struct pw_purging *p, enum pw_question q, const struct chain *c, int64_t from,
		    int64_t upto, int64_t more, int64_t *seq)
{
	const struct pw_cell args[] = {
		pw_cell_text(c->bus), pw_cell_hex(c->epoch), pw_cell_number(c->branch),
		pw_cell_number(from), pw_cell_number(upto), pw_cell_number(more),
	};

	*seq = 0;
	return from > upto ? 0 : pw_store_ask_one(p->s, q, args, get_seq, seq, p->why, p->size);
}

static int last_seal(struct pw_purging *p, const struct chain *c, int64_t upto, int64_t *seq)
{
	return find_seq(p, PW_Q_PURGE_LAST_SEAL, c, c->first, upto, 0, seq);
}

static int find_top(struct pw_purging *p, struct chain *c)
{
	int64_t newest;
	int result = last_seal(p, c, c->head, &newest);

	return result < 0 ? result : last_seal(p, c, newest - 1, &c->top);
}

/* The last seal up to edge, itself one, before which all is old. 0: there is none. */
static int find_old(struct pw_purging *p, const struct chain *c, int64_t edge, int64_t *target)
{
	int64_t young;
	int result = find_seq(p, PW_Q_PURGE_YOUNG, c, c->first, edge, p->before_ms, &young);

	if (result < 0)
		return result;
	*target = edge;
	return young == 0 ? 0 : last_seal(p, c, young - 1, target);
}

/* How far this piece of work goes at most: whole stretches, one at least. */
static int find_edge(struct pw_purging *p, const struct chain *c, int64_t *edge)
{
	int64_t most = c->first + (int64_t)p->limit - 1;
	int result = last_seal(p, c, most < c->top ? most : c->top, edge);

	if (result < 0 || *edge > 0)
		return result;
	return find_seq(p, PW_Q_PURGE_FIRST_SEAL, c, c->first, c->top, 0, edge);
}

static int let_go(struct pw_purging *p, struct chain *c, int64_t upto)
{
	const struct pw_cell bus = pw_cell_text(c->bus), epoch = pw_cell_hex(c->epoch);
	const struct pw_cell branch = pw_cell_number(c->branch), last = pw_cell_number(upto);
	const struct pw_cell part[] = { bus, epoch, branch, last };
	int64_t count = upto - c->first + 1;
	char hash[65];
	int result, seals;

	result = pw_store_hash(p->s, c->bus, c->epoch, (uint32_t)c->branch, (uint64_t)upto, hash,
			       p->why, p->size);
	if (result < 0
	    || (seals = pw_store_change(p->s, PW_Q_PURGE_SEALS, part, p->why, p->size)) < 0
	    || (result = pw_store_change(p->s, PW_Q_PURGE_RECORDS, part, p->why, p->size)) < 0)
		return -1;
	const struct pw_cell move[] = { pw_cell_number(upto + 1), pw_cell_hex(hash),
					pw_cell_number(seals), pw_cell_number(count),
					bus, epoch, branch };

	result = pw_store_ask(p->s, PW_Q_PURGE_MOVE, move, NULL, NULL, p->why, p->size);
	p->told.count += (uint64_t)count;
	p->limit -= p->limit < count ? p->limit : (unsigned)count;
	c->first = upto + 1;
	return result;
}

/* What would have gone, were it not for a hold. */
static int count_held(struct pw_purging *p, const struct chain *c)
{
	int64_t target;
	int result = find_old(p, c, c->top, &target);

	if (result == 0 || result == 1)
		p->told.held += target >= c->first ? (uint64_t)(target - c->first + 1) : 0;
	return result;
}

/* 1: the limit is reached, and it may have more; 0: it is done. */
static int purge_chain(struct pw_purging *p, struct chain *c)
{
	int64_t edge, target, held;
	int result;

	if ((result = find_top(p, c)) < 0 || c->top == 0)
		return result < 0 ? result : 0;
	do {
		if ((result = find_edge(p, c, &edge)) < 0
		    || (result = find_old(p, c, edge, &target)) < 0
		    || (result = find_seq(p, PW_Q_PURGE_HELD, c, c->first, target, 0, &held)) < 0)
			return result;
		if (held > 0 && (result = last_seal(p, c, held - 1, &target)) < 0)
			return result;
		if (target >= c->first && (result = let_go(p, c, target)) < 0)
			return result;
		if (held > 0)
			return count_held(p, c) < 0 ? -1 : 0;
	} while (target == edge && target < c->top && p->limit > 0);
	return target == edge && target < c->top;
}

int pw_purge_records(struct pw_purging *p)
{
	struct chain c;
	int result;

	for (int looked = 0; looked < BRANCHES_A_PIECE; looked++) {
		if (p->limit == 0)
			return 1;
		if ((result = next_chain(p, &c)) <= 0)
			return result;
		if ((result = purge_chain(p, &c)) != 0)
			return result;
		memcpy(p->behind_bus, c.bus, sizeof(c.bus));
		memcpy(p->behind_epoch, c.epoch, sizeof(c.epoch));
		p->behind_branch = c.branch;
	}
	return 1;
}
