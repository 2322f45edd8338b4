/* SPDX-License-Identifier: Apache-2.0 */
/* Rows out of runs and stops: matched, and what else is known of them. */
#include <stdlib.h>
#include <string.h>

#include "renew_internal.h"

static const struct pw_plan *plan_of(const struct pw_renewal *r, size_t i)
{
	return (const struct pw_plan *)r->plans.item + i;
}

static struct pw_stopped *stop_of(const struct pw_renewal *r, size_t i)
{
	return (struct pw_stopped *)r->stops.item + i;
}

/* -- matching ---------------------------------------------------------------------------------- */

struct judging {
	struct pw_renewal *r;
	struct pw_planned *run;
	struct pw_stop *stop;
	size_t *which;            /* of r's stops: those whose clock is believed */
	size_t stops;
	struct pw_match *match;
	uint32_t *run_of;
};

static bool make_room(struct judging *j)
{
	const size_t runs = j->r->plans.count + 1, stops = j->r->stops.count + 1;

	j->run = calloc(runs, sizeof(*j->run));
	j->stop = calloc(stops, sizeof(*j->stop));
	j->which = calloc(stops, sizeof(*j->which));
	j->match = calloc(runs, sizeof(*j->match));
	j->run_of = calloc(stops, sizeof(*j->run_of));
	return j->run && j->stop && j->which && j->match && j->run_of;
}

static void free_room(struct judging *j)
{
	free(j->run);
	free(j->stop);
	free(j->which);
	free(j->match);
	free(j->run_of);
}

/* A stop at a time that its clock cannot vouch for is no run's: a wrong one would count as walked. */
static int match(struct judging *j)
{
	struct pw_renewal *r = j->r;
	struct pw_match_in in = { .run = j->run, .stop = j->stop, .heard = r->heards.item,
				  .runs = r->plans.count, .heards = r->heards.count,
				  .now_ms = r->now_ms };

	for (size_t i = 0; i < r->plans.count; i++)
		j->run[i] = (struct pw_planned){ .begin_ms = plan_of(r, i)->begin_ms,
						 .end_ms = plan_of(r, i)->end_ms };
	for (size_t i = 0; i < r->stops.count; i++) {
		const struct pw_stopped *s = stop_of(r, i);

		if (s->adrift)
			continue;
		j->stop[j->stops] = (struct pw_stop){ .key_off_ms = s->row.at_ms,
						      .verdict = s->row.verdict, .clock_ok = true };
		j->which[j->stops++] = i;
	}
	in.stops = j->stops;
	return pw_match(&pw_match_usual, &in, j->match, j->run_of, r->why, r->size);
}

/* Of a sweep that came within a day: it may be this run's. */
static bool something_adrift(const struct pw_renewal *r, int64_t end_ms)
{
	for (size_t i = 0; i < r->stops.count; i++) {
		const struct pw_stopped *s = stop_of(r, i);

		if (s->adrift && s->row.at_ms >= end_ms && s->row.at_ms <= end_ms + PW_DAY_MS)
			return true;
	}
	return false;
}

/* -- what else is known ------------------------------------------------------------------------ */

static int32_t day_of(const struct pw_renewal *r, int64_t ms)
{
	struct pw_local local;

	pw_zone_local(r->zone, ms, &local);
	return local.date;
}

/* A report is signed when the driver is done: the first of that day behind it, else the last one. */
static const char *signer(const struct pw_renewal *r, int32_t day, int64_t at_ms)
{
	const struct pw_signed *s = r->signs.item;
	const char *code = "";

	for (size_t i = 0; i < r->signs.count; i++) {
		if (day_of(r, s[i].at_ms) != day)
			continue;
		code = s[i].code;
		if (s[i].at_ms >= at_ms)
			break;
	}
	return code;
}

static bool same_key(const struct pw_audit_key *a, const struct pw_audit_key *b)
{
	return a->day == b->day && strcmp(a->run, b->run) == 0 && strcmp(a->epoch, b->epoch) == 0
	       && a->branch == b->branch && a->seq == b->seq;
}

/* The newest one; NONE takes back those before it. */
static void correct(const struct pw_renewal *r, struct pw_audit_row *row)
{
	const struct pw_correction *all = r->corrections.item, *newest = NULL;

	for (size_t i = 0; i < r->corrections.count; i++)
		if (same_key(&all[i].key, &row->key))
			newest = &all[i];
	if (newest == NULL || newest->result == PW_RESULT_NONE)
		return;
	row->corrected = newest->result;
	row->corrected_ms = newest->at_ms;
	memcpy(row->corrected_by, newest->who, sizeof(row->corrected_by));
	memcpy(row->corrected_words, newest->words, sizeof(row->corrected_words));
}

static int take_warmest(void *ctx, const struct pw_cell *cells)
{
	if (cells[0].kind != PW_CELL_NONE)
		*(int32_t *)ctx = (int32_t)cells[0].number;
	return 0;
}

/* Of a missed sweep alone; of the bus where that is known, else outside, where figures may be an
 * hour apart. */
static int find_warmest(const struct pw_renewal *r, struct pw_audit_row *row)
{
	const int64_t apart_ms = INT64_C(1800000);
	int64_t from_ms, to_ms;
	int result;

	if (row->verdict != PW_MISSED || row->unchecked_ms == PW_NO_TIME || !row->clock_ok)
		return 0;
	from_ms = row->key_off_ms;
	to_ms = from_ms + row->unchecked_ms;

	const struct pw_cell bus[] = { pw_cell_text(r->bus), pw_cell_number(from_ms),
				       pw_cell_number(to_ms) };
	const struct pw_cell outside[] = { pw_cell_text(""), pw_cell_number(from_ms - apart_ms),
					   pw_cell_number(to_ms + apart_ms) };

	result = pw_store_ask(r->s, PW_Q_WARMEST, bus, take_warmest, &row->warmest_c10, r->why,
			      r->size);
	if (result == 0 && row->warmest_c10 == INT32_MIN)
		result = pw_store_ask(r->s, PW_Q_WARMEST, outside, take_warmest, &row->warmest_c10,
				      r->why, r->size);
	return result;
}

/* -- rows -------------------------------------------------------------------------------------- */

static bool is_wanted(const struct pw_renewal *r, int32_t day)
{
	return pw_date_days(day) >= r->first && pw_date_days(day) <= r->last;
}

static int add_row(struct pw_renewal *r, const struct pw_audit_row *row)
{
	struct pw_kept *k;

	if (!is_wanted(r, row->key.day))
		return 0;
	if ((k = pw_list_add(&r->fresh, sizeof(*k))) == NULL)
		return pw_renew_no_memory(r);
	memcpy(&k->row, row, sizeof(k->row));
	if (k->row.driver[0] == '\0')
		strcpy(k->row.driver, signer(r, row->key.day, row->at_ms));
	correct(r, &k->row);
	return find_warmest(r, &k->row);
}

static int add_run(const struct judging *j, size_t i)
{
	struct pw_renewal *r = j->r;
	const struct pw_match *m = &j->match[i];
	const struct pw_plan *p = plan_of(r, i);
	struct pw_audit_row row;

	memset(&row, 0, sizeof(row));
	row.key_off_ms = row.walk_ms = row.return_ms = row.late_ms = row.closed_ms = PW_NO_TIME;
	row.unchecked_ms = PW_NO_TIME;
	row.warmest_c10 = INT32_MIN;
	row.at_ms = p->end_ms;
	if (m->stop != PW_NO_STOP)
		memcpy(&row, &stop_of(r, j->which[m->stop])->row, sizeof(row));
	memset(&row.key, 0, sizeof(row.key));
	memcpy(row.key.bus, p->bus, sizeof(row.key.bus));
	memcpy(row.key.run, p->run, sizeof(row.key.run));
	row.key.day = p->day;
	memcpy(row.route, p->route, sizeof(row.route));
	memcpy(row.place, p->place, sizeof(row.place));
	memcpy(row.driver, p->driver, sizeof(row.driver));
	row.begin_ms = p->begin_ms;
	row.end_ms = p->end_ms;
	row.result = m->result;
	row.why = m->why;
	row.reason = m->reason;
	row.stops = m->stops;
	row.off_s = m->off_s;
	if (row.result == PW_RESULT_NO_RECORD && something_adrift(r, p->end_ms))
		row.why = PW_NO_RECORD_CLOCK_DOUBTFUL;
	return add_row(r, &row);
}

static int add_stop(const struct judging *j, size_t i, bool has_run)
{
	struct pw_stopped *s = stop_of(j->r, i);

	s->row.key.day = day_of(j->r, s->row.at_ms);
	return has_run ? 0 : add_row(j->r, &s->row);
}

static int in_order(const void *a, const void *b)
{
	const struct pw_audit_row *x = &((const struct pw_kept *)a)->row;
	const struct pw_audit_row *y = &((const struct pw_kept *)b)->row;
	int result;

	if (x->key.day != y->key.day)
		return x->key.day < y->key.day ? -1 : 1;
	if (x->at_ms != y->at_ms)
		return x->at_ms < y->at_ms ? -1 : 1;
	if ((result = strcmp(x->key.run, y->key.run)) != 0
	    || (result = strcmp(x->key.epoch, y->key.epoch)) != 0)
		return result;
	if (x->key.branch != y->key.branch)
		return x->key.branch < y->key.branch ? -1 : 1;
	return (x->key.seq > y->key.seq) - (x->key.seq < y->key.seq);
}

static void number(struct pw_renewal *r)
{
	struct pw_kept *k = r->fresh.item;

	if (r->fresh.count > 0)
		qsort(k, r->fresh.count, sizeof(*k), in_order);
	for (size_t i = 0; i < r->fresh.count; i++)
		k[i].nth = i > 0 && k[i].row.key.day == k[i - 1].row.key.day ? k[i - 1].nth + 1 : 1;
}

static int make_rows(const struct judging *j)
{
	size_t believed = 0;
	int result = 0;

	for (size_t i = 0; result == 0 && i < j->r->plans.count; i++)
		result = add_run(j, i);
	for (size_t i = 0; result == 0 && i < j->r->stops.count; i++) {
		const bool run = !stop_of(j->r, i)->adrift && j->run_of[believed++] != PW_NO_RUN;

		result = add_stop(j, i, run);
	}
	return result;
}

int pw_renew_judge(struct pw_renewal *r)
{
	struct judging j = { .r = r };
	int result = make_room(&j) ? match(&j) : pw_renew_no_memory(r);

	if (result == 0)
		result = make_rows(&j);
	if (result == 0)
		number(r);
	free_room(&j);
	return result;
}
