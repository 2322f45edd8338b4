/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Rows made anew where something changed, the newest days first: what came in just now shows at once,
 * however much of last year is still to be done.
 */
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "renew_internal.h"

#define TOGETHER_DAYS 40 /* of one bus, in one go */
#define APART_DAYS 5     /* farther than that they share nothing */
#define CHANGES_MAX 50000 /* of tallies that wait in memory */

static int64_t clock_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* -- which ------------------------------------------------------------------------------------- */

static int take_next(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;

	pw_cell_get_text(&cells[0], r->bus, sizeof(r->bus));
	r->first = r->last = (int32_t)cells[1].number;
	return 0;
}

static int take_day(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	const int32_t day = (int32_t)cells[0].number;

	if (r->first - day <= APART_DAYS)
		r->first = day;
	return 0;
}

/* 1: first and last of them, which are none of those that are to be made any more; 0: none is. */
static int find_next(struct pw_renewal *r)
{
	int found = pw_store_ask_one(r->s, PW_Q_DIRTY_NEXT, NULL, take_next, r, r->why, r->size);
	int result;

	if (found <= 0)
		return found;

	const struct pw_cell bus = pw_cell_text(r->bus);
	const struct pw_cell days[] = { bus, pw_cell_number(r->last),
					pw_cell_number(r->last - TOGETHER_DAYS) };

	if ((result = pw_store_ask(r->s, PW_Q_DIRTY_BUS, days, take_day, r, r->why, r->size)) < 0)
		return result;

	const struct pw_cell done[] = { bus, pw_cell_number(r->first), pw_cell_number(r->last) };

	result = pw_store_ask(r->s, PW_Q_DIRTY_DONE, done, NULL, NULL, r->why, r->size);
	return result < 0 ? result : 1;
}

/* -- one after the other ----------------------------------------------------------------------- */

/* Those of days beside may be others as well: a stop late in the evening, a run over midnight. */
static int make(struct pw_renewal *r)
{
	const struct pw_cell bus = pw_cell_text(r->bus);
	int result;

	r->first -= 2;
	r->last += 1;
	pw_renew_clear(r);
	if ((result = pw_renew_load(r)) < 0 || (result = pw_renew_judge(r)) < 0
	    || (result = pw_renew_others(r)) < 0 || (result = pw_renew_keep(r)) < 0)
		return result;
	return pw_store_ask(r->s, PW_Q_DIRTY_SILENT, &bus, NULL, NULL, r->why, r->size);
}

static int make_all(struct pw_renewal *r, int64_t until_ms)
{
	int found, result;

	while ((found = find_next(r)) > 0) {
		if ((result = make(r)) < 0)
			return result;
		if (clock_ms() >= until_ms || pw_tallying_count(r->tallying) > CHANGES_MAX)
			break;
	}
	return found;
}

static int take_purged(void *ctx, const struct pw_cell *cells)
{
	*(int32_t *)ctx = (int32_t)cells[0].number;
	return 0;
}

static void free_lists(struct pw_renewal *r)
{
	struct pw_list *const lists[] = { &r->plans, &r->stops, &r->heards, &r->signs,
					  &r->corrections, &r->old, &r->fresh };

	for (size_t i = 0; i < sizeof(lists) / sizeof(lists[0]); i++)
		free(lists[i]->item);
}

int pw_audit_renew(struct pw_store *s, const struct pw_zone *zone, int64_t now_ms,
		   int64_t budget_ms, char *why, size_t size)
{
	struct pw_renewal r = { .s = s, .zone = zone, .now_ms = now_ms,
				.tallying = pw_tallying_new(zone), .why = why, .size = size };
	const int64_t until_ms = clock_ms() + budget_ms;
	int result, kept;

	if (r.tallying == NULL)
		return pw_renew_no_memory(&r);
	result = pw_store_ask(s, PW_Q_ROWS_PURGED, NULL, take_purged, &r.purged, why, size);
	if (result == 0)
		result = make_all(&r, until_ms);
	if (result >= 0 && (kept = pw_tallying_keep(r.tallying, s, why, size)) < 0)
		result = kept;
	pw_tallying_free(r.tallying);
	free_lists(&r);
	return result;
}

int pw_audit_due(struct pw_store *s, int64_t now_ms, char *why, size_t size)
{
	const struct pw_cell now = pw_cell_number(now_ms);

	return pw_store_ask(s, PW_Q_DIRTY_DUE, &now, NULL, NULL, why, size);
}
