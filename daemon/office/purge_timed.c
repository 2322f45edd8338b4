/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Rows, temperatures and views go in the order of their time, a day of it at most in a piece of
 * work: so a piece looks at no more than that of what is held. With a row go its planned run, its
 * sweep and its entries by finding; a branch's counts of sweeps go down with them.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "keep_internal.h"

struct gone {
	char bus[PW_NAME_MAX], run[PW_AUDIT_TEXT], epoch[17];
	int64_t day, nth, at_ms, branch, seq;
	uint32_t findings;
};

/* Questions: the first moment from one on; what goes of a window; what of it is held. */
struct timed {
	enum pw_question first, go, held;
	pw_row_taker *take;
	int (*with)(struct pw_purging *p, const struct gone *gone);
};

struct taking {
	struct gone *gone;
	size_t count;
};

static int take_row(void *ctx, const struct pw_cell *cells)
{
	struct taking *t = ctx;
	struct gone *g = &t->gone[t->count++];

	*g = (struct gone){ .day = cells[1].number, .nth = cells[2].number,
			    .at_ms = cells[3].number, .findings = pw_findings_read(cells[5].bytes),
			    .branch = cells[7].number, .seq = cells[8].number };
	pw_cell_get_text(&cells[0], g->bus, sizeof(g->bus));
	pw_cell_get_text(&cells[4], g->run, sizeof(g->run));
	pw_cell_get_hex(&cells[6], g->epoch, sizeof(g->epoch));
	return 0;
}

static int take_time(void *ctx, const struct pw_cell *cells)
{
	struct taking *t = ctx;

	t->gone[t->count++].at_ms = cells[0].number;
	return 0;
}

/* -- what goes with a row ---------------------------------------------------------------------- */

static int get_verdict(void *ctx, const struct pw_cell *cells)
{
	pw_cell_get_text(&cells[0], ctx, 16);
	return 0;
}

static int drop_sweep(struct pw_purging *p, const struct gone *g)
{
	const struct pw_cell bus = pw_cell_text(g->bus), epoch = pw_cell_hex(g->epoch);
	const struct pw_cell branch = pw_cell_number(g->branch), seq = pw_cell_number(g->seq);
	const struct pw_cell one[] = { bus, epoch, branch, seq };
	char verdict[16];
	int result = pw_store_ask_one(p->s, PW_Q_PURGE_SWEEP, one, get_verdict, verdict, p->why,
				      p->size);

	if (result <= 0)
		return result;
	const struct pw_cell less[] = { pw_cell_number(strcmp(verdict, "doubtful") == 0),
					pw_cell_number(strcmp(verdict, "missed") == 0),
					bus, epoch, branch };

	return pw_store_ask(p->s, PW_Q_PURGE_SWEEPS_LESS, less, NULL, NULL, p->why, p->size);
}

static int drop_findings(struct pw_purging *p, const struct gone *g)
{
	char name[PW_FINDINGS_TEXT_MAX];
	int result = 0;

	for (uint32_t bit = 1, left = g->findings; result >= 0 && left != 0; bit <<= 1) {
		if ((left & bit) == 0)
			continue;
		left &= ~bit;
		pw_findings_text(bit, name);
		const struct pw_cell args[] = {
			pw_cell_text(name), pw_cell_number(g->at_ms), pw_cell_text(g->bus),
			pw_cell_number(g->day), pw_cell_number(g->nth),
		};

		result = pw_store_ask(p->s, PW_Q_PURGE_FINDING, args, NULL, NULL, p->why, p->size);
	}
	return result;
}

static int drop_with_row(struct pw_purging *p, const struct gone *g)
{
	const struct pw_cell plan[] = { pw_cell_text(g->bus), pw_cell_number(g->day),
					pw_cell_text(g->run) };
	const struct pw_cell signers[] = { pw_cell_text(g->bus), pw_cell_number(p->before_ms) };
	int result = 0;

	if (g->run[0] != '\0')
		result = pw_store_ask(p->s, PW_Q_PURGE_PLAN, plan, NULL, NULL, p->why, p->size);
	if (result >= 0 && g->seq != 0)
		result = drop_sweep(p, g);
	if (result >= 0)
		result = pw_store_ask(p->s, PW_Q_PURGE_SIGNERS, signers, NULL, NULL, p->why,
				      p->size);
	return result < 0 ? result : drop_findings(p, g);
}

static const struct timed timed_by_kind[PW_KEEPS] = {
	[PW_KEEP_ROWS] = { PW_Q_PURGE_ROWS_FIRST, PW_Q_PURGE_ROWS, PW_Q_PURGE_ROWS_HELD, take_row,
			   drop_with_row },
	[PW_KEEP_WARMTH] = { PW_Q_PURGE_WARMTH_FIRST, PW_Q_PURGE_WARMTH, PW_Q_PURGE_WARMTH_HELD,
			     take_time, NULL },
	[PW_KEEP_VIEWS] = { PW_Q_PURGE_VIEWS_FIRST, PW_Q_PURGE_VIEWS, PW_Q_PURGE_VIEWS_HELD,
			    take_time, NULL },
};

/* -- a window of time -------------------------------------------------------------------------- */

static int get_time(void *ctx, const struct pw_cell *cells)
{
	*(int64_t *)ctx = pw_cell_get_time(&cells[0]);
	return 0;
}

static int get_number(void *ctx, const struct pw_cell *cells)
{
	*(uint64_t *)ctx += (uint64_t)cells[0].number;
	return 0;
}

/* How many went. */
static int let_go(struct pw_purging *p, const struct timed *t, int64_t from_ms, int64_t to_ms)
{
	const struct pw_cell args[] = { pw_cell_number(from_ms), pw_cell_number(to_ms),
					pw_cell_number(p->limit) };
	struct taking taking = { .gone = calloc(p->limit, sizeof(*taking.gone)) };
	int result;

	if (taking.gone == NULL) {
		snprintf(p->why, p->size, "no memory");
		return -1;
	}
	result = pw_store_ask(p->s, t->go, args, t->take, &taking, p->why, p->size);
	for (size_t i = 0; result >= 0 && t->with != NULL && i < taking.count; i++)
		result = t->with(p, &taking.gone[i]);
	free(taking.gone);
	p->told.count += taking.count;
	return result < 0 ? result : (int)taking.count;
}

int pw_purge_timed(struct pw_purging *p)
{
	const struct timed *t = &timed_by_kind[p->told.kind];
	const struct pw_cell behind = pw_cell_number(p->behind_ms == PW_NO_TIME ? INT64_MIN
									      : p->behind_ms);
	int64_t from_ms = PW_NO_TIME, to_ms;
	int result = pw_store_ask_one(p->s, t->first, &behind, get_time, &from_ms, p->why, p->size);

	if (result < 0)
		return result;
	if (from_ms == PW_NO_TIME || from_ms >= p->before_ms)
		return 0;
	to_ms = from_ms + PW_DAY_MS < p->before_ms ? from_ms + PW_DAY_MS : p->before_ms;
	if ((result = let_go(p, t, from_ms, to_ms)) < 0)
		return result;
	if ((unsigned)result == p->limit)
		return 1;
	const struct pw_cell window[] = { pw_cell_number(from_ms), pw_cell_number(to_ms) };

	p->behind_ms = to_ms;
	result = pw_store_ask(p->s, t->held, window, get_number, &p->told.held, p->why, p->size);
	return result < 0 ? result : 1;
}
