/* SPDX-License-Identifier: Apache-2.0 */
/* What came out, put in place of what was there, day by day, and only where it is another. */
#include <stdlib.h>
#include <string.h>

#include "renew_internal.h"

struct part {
	const struct pw_kept *at;
	size_t count;
};
struct keeping {
	struct pw_renewal *r;
	struct pw_list rows;     /* const struct pw_kept *: to be added */
	struct pw_list findings; /* struct finding, likewise */
	char text[PW_FINDINGS_TEXT_MAX];
};
struct finding {
	const struct pw_kept *row;
	const char *name;
};

/* Those of that day; at goes on to the next. */
static struct part part_of(const struct pw_list *list, int32_t day, size_t *at)
{
	const struct pw_kept *k = list->item;
	struct part part = { .count = 0 };

	while (*at < list->count && k[*at].row.key.day < day)
		++*at;
	for (; *at < list->count && k[*at].row.key.day == day; ++*at)
		if (part.count++ == 0)
			part.at = &k[*at];
	return part;
}

/* Rows are made of zeros, so what is equal is equal byte by byte. */
static bool is_same(const struct part *a, const struct part *b)
{
	if (a->count != b->count)
		return false;
	for (size_t i = 0; i < a->count; i++)
		if (a->at[i].nth != b->at[i].nth
		    || memcmp(&a->at[i].row, &b->at[i].row, sizeof(a->at[i].row)) != 0)
			return false;
	return true;
}

/* -- out of the store -------------------------------------------------------------------------- */

static int drop_finding(const struct pw_renewal *r, const struct pw_kept *k, const char *name)
{
	const struct pw_cell args[] = { pw_cell_text(name), pw_cell_number(k->row.at_ms),
					pw_cell_text(r->bus), pw_cell_number(k->row.key.day),
					pw_cell_number(k->nth) };

	return pw_store_ask(r->s, PW_Q_PURGE_FINDING, args, NULL, NULL, r->why, r->size);
}

static int drop_row(const struct pw_renewal *r, const struct pw_kept *k)
{
	int result = pw_tallying_add(r->tallying, &k->row, -1) ? 0 : -1;

	for (unsigned i = 0; result == 0 && i < PW_FINDINGS; i++)
		if (k->row.findings & 1u << i)
			result = drop_finding(r, k, pw_finding_name((enum pw_finding)i));
	return result;
}

static int drop(const struct pw_renewal *r, const struct part *old, int32_t day)
{
	const struct pw_cell args[] = { pw_cell_text(r->bus), pw_cell_number(day) };
	int result = 0;

	if (old->count > 0)
		result = pw_store_ask(r->s, PW_Q_ROWS_DROP, args, NULL, NULL, r->why, r->size);
	for (size_t i = 0; result == 0 && i < old->count; i++)
		result = drop_row(r, &old->at[i]);
	return result;
}

/* -- into the store ---------------------------------------------------------------------------- */

static int gather_row(struct keeping *g, const struct pw_kept *k)
{
	const struct pw_kept **row = pw_list_add(&g->rows, sizeof(const struct pw_kept *));

	if (row == NULL || !pw_tallying_add(g->r->tallying, &k->row, 1))
		return pw_renew_no_memory(g->r);
	*row = k;
	for (unsigned i = 0; i < PW_FINDINGS; i++) {
		struct finding *f;

		if ((k->row.findings & 1u << i) == 0)
			continue;
		if ((f = pw_list_add(&g->findings, sizeof(*f))) == NULL)
			return pw_renew_no_memory(g->r);
		*f = (struct finding){ k, pw_finding_name((enum pw_finding)i) };
	}
	return 0;
}

static void fill_row(void *ctx, size_t i, struct pw_cell *cells)
{
	struct keeping *g = ctx;
	const struct pw_kept *k = ((const struct pw_kept **)g->rows.item)[i];

	pw_outcome_fill(&k->row, k->nth, g->text, cells);
}

static void fill_finding(void *ctx, size_t i, struct pw_cell *cells)
{
	const struct keeping *g = ctx;
	const struct finding *f = (const struct finding *)g->findings.item + i;

	cells[0] = pw_cell_text(f->name);
	cells[1] = pw_cell_number(f->row->row.at_ms);
	cells[2] = pw_cell_text(f->row->row.key.bus);
	cells[3] = pw_cell_number(f->row->row.key.day);
	cells[4] = pw_cell_number(f->row->nth);
}

static int put(struct keeping *g)
{
	struct pw_renewal *r = g->r;
	int result = r->s->database->add(r->s, PW_T_OUTCOME, g->rows.count, fill_row, g, r->why,
					 r->size);

	return result < 0 ? result
			  : r->s->database->add(r->s, PW_T_FINDING, g->findings.count, fill_finding,
						g, r->why, r->size);
}

/* -- what it means to others ------------------------------------------------------------------- */

static bool has_stop(const struct part *part, const struct pw_audit_row *row)
{
	for (size_t i = 0; i < part->count; i++)
		if (part->at[i].row.key.run[0] == '\0' && part->at[i].row.at_ms == row->at_ms)
			return true;
	return false;
}

/* A stop without a run that came or went may be a hint to runs of other buses. */
static int tell_others(const struct pw_renewal *r, const struct part *a, const struct part *b)
{
	const int64_t window_ms = pw_match_usual.other_s * INT64_C(1000);
	int result = 0;

	for (size_t i = 0; result == 0 && i < a->count; i++) {
		const struct pw_audit_row *row = &a->at[i].row;
		const struct pw_cell args[] = { pw_cell_text(r->bus),
						pw_cell_number(row->at_ms - window_ms),
						pw_cell_number(row->at_ms + window_ms) };

		if (row->key.run[0] == '\0' && !has_stop(b, row))
			result = pw_store_ask(r->s, PW_Q_DIRTY_NEAR, args, NULL, NULL, r->why,
					      r->size);
	}
	return result;
}

/* What was purged does not come back because something near it came. */
static bool is_gone(const struct pw_renewal *r, const struct part *old, int32_t day)
{
	return old->count == 0 && day < r->purged;
}

static int keep_day(struct keeping *g, int32_t day, const struct part *old,
		    const struct part *fresh)
{
	int result;

	if (is_same(old, fresh) || is_gone(g->r, old, day))
		return 0;
	if ((result = drop(g->r, old, day)) < 0
	    || (result = tell_others(g->r, old, fresh)) < 0
	    || (result = tell_others(g->r, fresh, old)) < 0)
		return result;
	for (size_t i = 0; result == 0 && i < fresh->count; i++)
		result = gather_row(g, &fresh->at[i]);
	return result;
}

int pw_renew_keep(struct pw_renewal *r)
{
	struct keeping g = { .r = r };
	size_t old_at = 0, fresh_at = 0;
	int result = 0;

	for (int32_t i = r->first; result == 0 && i <= r->last; i++) {
		const int32_t day = pw_date_from(i);
		const struct part old = part_of(&r->old, day, &old_at);
		const struct part fresh = part_of(&r->fresh, day, &fresh_at);

		result = keep_day(&g, day, &old, &fresh);
	}
	if (result == 0)
		result = put(&g);
	free(g.rows.item);
	free(g.findings.item);
	return result;
}
