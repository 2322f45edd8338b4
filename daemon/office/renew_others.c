/* SPDX-License-Identifier: Apache-2.0 */
/* Runs without a record that a stop of another bus may explain: of what the store has near them. */
#include <stdlib.h>
#include <string.h>

#include "renew_internal.h"

struct other {
	char bus[PW_NAME_MAX];
	struct pw_stop stop;
};
struct asking {
	struct pw_renewal *r;
	struct pw_list others;    /* struct other */
};

static int take_other(void *ctx, const struct pw_cell *cells)
{
	struct asking *a = ctx;
	struct other *o = pw_list_add(&a->others, sizeof(*o));

	if (o == NULL)
		return pw_renew_no_memory(a->r);
	pw_cell_get_text(&cells[0], o->bus, sizeof(o->bus));
	o->stop = (struct pw_stop){ .key_off_ms = cells[1].number, .busy_ms = INT64_MIN, .bus = 1,
				    .clock_ok = true };
	return 0;
}

static int take_busy(void *ctx, const struct pw_cell *cells)
{
	*(int64_t *)ctx = cells[0].number;
	return 0;
}

static int find_near(struct asking *a, int64_t end_ms)
{
	const int64_t window_ms = pw_match_usual.other_s * INT64_C(1000);
	const struct pw_cell args[] = { pw_cell_text(a->r->bus), pw_cell_number(end_ms - window_ms),
					pw_cell_number(end_ms + window_ms) };

	return pw_store_ask(a->r->s, PW_Q_STRAYS, args, take_other, a, a->r->why, a->r->size);
}

static int find_busy(const struct pw_renewal *r, struct other *o)
{
	const struct pw_cell args[] = { pw_cell_text(o->bus), pw_cell_number(o->stop.key_off_ms),
					pw_cell_number(o->stop.key_off_ms + PW_DAY_MS) };

	return pw_store_ask(r->s, PW_Q_BUSY, args, take_busy, &o->stop.busy_ms, r->why, r->size);
}

static int in_order(const void *a, const void *b)
{
	const struct other *x = a, *y = b;

	if (x->stop.key_off_ms != y->stop.key_off_ms)
		return x->stop.key_off_ms < y->stop.key_off_ms ? -1 : 1;
	return strcmp(x->bus, y->bus);
}

/* In order, none twice: what is near one run may be near the next. */
static void tidy(struct asking *a)
{
	struct other *o = a->others.item;
	size_t kept = 0;

	qsort(o, a->others.count, sizeof(*o), in_order);
	for (size_t i = 0; i < a->others.count; i++)
		if (kept == 0 || in_order(&o[i], &o[kept - 1]) != 0)
			o[kept++] = o[i];
	a->others.count = kept;
}

static int run_in_order(const void *a, const void *b)
{
	const struct pw_audit_row *x = *(struct pw_audit_row *const *)a;
	const struct pw_audit_row *y = *(struct pw_audit_row *const *)b;

	return (x->end_ms > y->end_ms) - (x->end_ms < y->end_ms);
}

struct matching {
	struct pw_audit_row **row;
	struct pw_planned *run;
	struct pw_stop *stop;
	struct pw_match *match, **each;
};

static int match(struct asking *a, struct matching *m, size_t runs)
{
	const struct other *o = a->others.item;
	const struct pw_match_in in = { .run = m->run, .stop = m->stop, .runs = runs,
					.stops = a->others.count, .now_ms = a->r->now_ms };
	int result;

	for (size_t i = 0; i < a->others.count; i++)
		m->stop[i] = o[i].stop;
	for (size_t i = 0; i < runs; i++) {
		m->run[i] = (struct pw_planned){ .begin_ms = m->row[i]->begin_ms,
						 .end_ms = m->row[i]->end_ms };
		m->match[i] = (struct pw_match){ .why = m->row[i]->why, .stop = PW_NO_STOP };
		m->each[i] = &m->match[i];
	}
	result = pw_match_others(&pw_match_usual, &in, m->each, a->r->why, a->r->size);
	for (size_t i = 0; result == 0 && i < runs; i++)
		m->row[i]->why = m->match[i].why;
	return result;
}

static int match_rows(struct asking *a, struct pw_audit_row **row, size_t runs)
{
	struct matching m = { .row = row, .run = calloc(runs, sizeof(*m.run)),
			      .stop = calloc(a->others.count, sizeof(*m.stop)),
			      .match = calloc(runs, sizeof(*m.match)),
			      .each = calloc(runs, sizeof(struct pw_match *)) };
	int result = m.run && m.stop && m.match && m.each ? match(a, &m, runs)
							  : pw_renew_no_memory(a->r);

	free(m.run);
	free(m.stop);
	free(m.match);
	free(m.each);
	return result;
}

static int find_others(struct asking *a, struct pw_audit_row *const *row, size_t runs)
{
	int result = 0;

	for (size_t i = 0; result == 0 && i < runs; i++)
		result = find_near(a, row[i]->end_ms);
	if (a->others.count > 0)
		tidy(a);
	for (size_t i = 0; result == 0 && i < a->others.count; i++)
		result = find_busy(a->r, (struct other *)a->others.item + i);
	return result;
}

int pw_renew_others(struct pw_renewal *r)
{
	struct asking a = { .r = r };
	struct pw_kept *k = r->fresh.item;
	struct pw_audit_row **row = calloc(r->fresh.count + 1, sizeof(struct pw_audit_row *));
	size_t runs = 0;
	int result;

	if (row == NULL)
		return pw_renew_no_memory(r);
	for (size_t i = 0; i < r->fresh.count; i++)
		if (k[i].row.result == PW_RESULT_NO_RECORD)
			row[runs++] = &k[i].row;
	qsort(row, runs, sizeof(struct pw_audit_row *), run_in_order);
	result = find_others(&a, row, runs);
	if (result == 0 && a.others.count > 0)
		result = match_rows(&a, row, runs);
	free(a.others.item);
	free(row);
	return result;
}
