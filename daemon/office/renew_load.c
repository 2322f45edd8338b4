/* SPDX-License-Identifier: Apache-2.0 */
/* What is known of a bus about some days: planned runs, stops, when it was heard, who signed, what was
 * corrected, and the rows as they are. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "renew_internal.h"
#include "tell_internal.h"

/* Runs and stops of the days beside are looked at as well: windows reach over midnight, a run over
 * more than that, and a day here is up to 14 h off from one in UTC. */
#define BEFORE_DAYS 2
#define BEHIND_DAYS 4

void *pw_list_add(struct pw_list *list, size_t each)
{
	char *at;

	if (list->count == list->room) {
		size_t room = list->room > 0 ? 2 * list->room : 16;
		void *longer = realloc(list->item, room * each);

		if (longer == NULL)
			return NULL;
		list->item = longer;
		list->room = room;
	}
	at = (char *)list->item + list->count++ * each;
	memset(at, 0, each);
	return at;
}

void pw_renew_clear(struct pw_renewal *r)
{
	struct pw_list *const lists[] = { &r->plans, &r->stops, &r->heards, &r->signs,
					  &r->corrections, &r->old, &r->fresh };

	for (size_t i = 0; i < sizeof(lists) / sizeof(lists[0]); i++)
		lists[i]->count = 0;
}

int pw_renew_no_memory(struct pw_renewal *r)
{
	snprintf(r->why, r->size, "no memory to match the runs of bus %s", r->bus);
	return -1;
}

/* -- takers ------------------------------------------------------------------------------------ */

static int take_plan(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	struct pw_plan *p = pw_list_add(&r->plans, sizeof(*p));

	if (p == NULL)
		return pw_renew_no_memory(r);
	pw_plan_get(cells, p);
	return 0;
}

static int take_correction(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	struct pw_correction *c = pw_list_add(&r->corrections, sizeof(*c));

	if (c == NULL)
		return pw_renew_no_memory(r);
	pw_correction_get(cells, c);
	return 0;
}

static int take_sign(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	struct pw_signed *s = pw_list_add(&r->signs, sizeof(*s));

	if (s == NULL)
		return pw_renew_no_memory(r);
	s->at_ms = cells[0].number;
	pw_cell_get_text(&cells[1], s->code, sizeof(s->code));
	return 0;
}

static int take_old(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	struct pw_kept *k = pw_list_add(&r->old, sizeof(*k));

	if (k == NULL)
		return pw_renew_no_memory(r);
	k->nth = pw_outcome_get(cells, &k->row);
	return 0;
}

/* They come in the order of their begins. Where two overlap, one that is right by its clock is
 * believed before one that may not be; the matcher wants none to overlap. */
static int take_heard(void *ctx, const struct pw_cell *cells)
{
	struct pw_renewal *r = ctx;
	struct pw_heard h = { .clock_ok = cells[0].number != 0, .from_ms = cells[1].number,
			      .to_ms = cells[2].number };
	struct pw_heard *last = r->heards.item;

	if (r->heards.count > 0) {
		last += r->heards.count - 1;
		if (h.clock_ok == last->clock_ok && h.from_ms <= last->to_ms) {
			last->to_ms = h.to_ms > last->to_ms ? h.to_ms : last->to_ms;
			return 0;
		}
		if (h.clock_ok && last->to_ms > h.from_ms)
			last->to_ms = h.from_ms;
		if (h.from_ms < last->to_ms)
			h.from_ms = last->to_ms;
		if (h.from_ms > h.to_ms)
			return 0;
	}
	last = pw_list_add(&r->heards, sizeof(*last));
	if (last == NULL)
		return pw_renew_no_memory(r);
	*last = h;
	return 0;
}

/* -- sweeps ------------------------------------------------------------------------------------ */

static enum pw_verdict find_verdict(const struct pw_cell *cell)
{
	char name[16];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_verdict v = PW_DONE; v <= PW_MISSED; v++)
		if (strcmp(pw_verdict_name(v), name) == 0)
			return v;
	return 0;
}

/* A moment of 0 is one that the record does not have. */
static int64_t moment(const struct pw_cell *cell)
{
	return cell->kind == PW_CELL_NONE || cell->number == 0 ? PW_NO_TIME : cell->number;
}

/* Missed: somebody was at the bus again when it closed. Else the press that was accepted; where none
 * was, when it closed. */
static int64_t unchecked(const struct pw_audit_row *row)
{
	if (row->verdict != PW_MISSED && row->walk_ms != PW_NO_TIME)
		return row->walk_ms;
	if (row->closed_ms == PW_NO_TIME || row->key_off_ms == PW_NO_TIME
	    || row->closed_ms < row->key_off_ms)
		return PW_NO_TIME;
	return row->closed_ms - row->key_off_ms;
}

static void get_sweep(const struct pw_cell *cells, struct pw_audit_row *row)
{
	char findings[PW_FINDINGS_TEXT_MAX];

	pw_cell_get_text(&cells[0], row->key.bus, sizeof(row->key.bus));
	pw_cell_get_hex(&cells[1], row->epoch, sizeof(row->epoch));
	row->branch = (uint32_t)cells[2].number;
	row->seq = (uint64_t)cells[3].number;
	row->closed_ms = moment(&cells[4]);
	row->key_off_ms = moment(&cells[5]);
	row->walk_ms = pw_cell_get_time(&cells[6]);
	row->return_ms = pw_cell_get_time(&cells[7]);
	row->late_ms = pw_cell_get_time(&cells[8]);
	pw_cell_get_text(&cells[11], findings, sizeof(findings));
	row->findings = pw_findings_read(findings);
	row->refused = (uint32_t)cells[12].number;
	row->verdict = find_verdict(&cells[13]);
	pw_cell_get_text(&cells[14], row->rung, sizeof(row->rung));
	row->begin_ms = row->end_ms = PW_NO_TIME;
	row->result = PW_RESULT_UNPLANNED;
	row->warmest_c10 = INT32_MIN;
	row->unchecked_ms = unchecked(row);
}

static int take_stop(struct pw_renewal *r, const struct pw_cell *cells, bool adrift)
{
	const int64_t came_ms = cells[9].number;
	const bool believed =
		pw_clock_believed(moment(&cells[5]), cells[10].number != 0, came_ms);
	struct pw_stopped *s;

	if (believed == adrift)
		return 0;
	if ((s = pw_list_add(&r->stops, sizeof(*s))) == NULL)
		return pw_renew_no_memory(r);
	get_sweep(cells, &s->row);
	memcpy(s->row.key.epoch, s->row.epoch, sizeof(s->row.key.epoch));
	s->row.key.branch = s->row.branch;
	s->row.key.seq = s->row.seq;
	s->row.clock_ok = believed;
	s->row.at_ms = believed ? s->row.key_off_ms : came_ms;
	s->adrift = adrift;
	return 0;
}

static int take_believed(void *ctx, const struct pw_cell *cells)
{
	return take_stop(ctx, cells, false);
}

static int take_adrift(void *ctx, const struct pw_cell *cells)
{
	return take_stop(ctx, cells, true);
}

static int in_order(const void *a, const void *b)
{
	const struct pw_audit_row *x = &((const struct pw_stopped *)a)->row;
	const struct pw_audit_row *y = &((const struct pw_stopped *)b)->row;

	if (x->at_ms != y->at_ms)
		return x->at_ms < y->at_ms ? -1 : 1;
	if (strcmp(x->epoch, y->epoch) != 0)
		return strcmp(x->epoch, y->epoch);
	if (x->branch != y->branch)
		return x->branch < y->branch ? -1 : 1;
	return (x->seq > y->seq) - (x->seq < y->seq);
}

/* -- all of it --------------------------------------------------------------------------------- */

int pw_renew_load(struct pw_renewal *r)
{
	const struct pw_cell bus = pw_cell_text(r->bus);
	const struct pw_cell moments[] = {
		bus, pw_cell_number((r->first - BEFORE_DAYS) * PW_DAY_MS),
		pw_cell_number((r->last + BEHIND_DAYS) * PW_DAY_MS) };
	const struct pw_cell days[] = { bus, pw_cell_number(pw_date_from(r->first)),
					pw_cell_number(pw_date_from(r->last)) };
	const struct { enum pw_question q; const struct pw_cell *args; pw_row_taker *take; } all[] = {
		{ PW_Q_PLANS_END, moments, take_plan }, { PW_Q_STOPS, moments, take_believed },
		{ PW_Q_STOPS_CAME, moments, take_adrift }, { PW_Q_AWAKES, moments, take_heard },
		{ PW_Q_SIGNERS, moments, take_sign },
		{ PW_Q_CORRECTIONS_DAYS, days, take_correction }, { PW_Q_ROWS_DAYS, days, take_old },
	};
	int result = 0;

	for (size_t i = 0; result == 0 && i < sizeof(all) / sizeof(all[0]); i++)
		result = pw_store_ask(r->s, all[i].q, all[i].args, all[i].take, r, r->why, r->size);
	if (result == 0 && r->stops.count > 0)
		qsort(r->stops.item, r->stops.count, sizeof(struct pw_stopped), in_order);
	return result;
}
