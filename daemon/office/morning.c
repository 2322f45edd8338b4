/* SPDX-License-Identifier: Apache-2.0 */
#include "morning.h"

#include <stdlib.h>
#include <string.h>

#include "tell_internal.h"
#include "zone.h"

#define DAYS_BACK 14 /* for the day of work before this one */
#define BAD_VERDICTS (1u << PW_MISSED | 1u << PW_DOUBTFUL)
#define BAD_RESULTS (1u << PW_RESULT_MISSED | 1u << PW_RESULT_DOUBTFUL | 1u << PW_RESULT_NO_RECORD)

/* -- pure -------------------------------------------------------------------------------------- */

int32_t pw_morning_since(int32_t today, const int32_t *day, size_t days)
{
	int32_t newest = 0;

	for (size_t i = 0; i < days; i++)
		if (day[i] < today && day[i] > newest && pw_date_weekday(pw_date_days(day[i])) <= 5)
			newest = day[i];
	return newest ? newest : pw_date_from(pw_date_days(today) - 1);
}

unsigned pw_matter_urgency(enum pw_matter_kind kind)
{
	static const unsigned char urgency[PW_MATTERS] = {
		[PW_MATTER_CHILD] = 1, [PW_MATTER_RUNG] = 2, [PW_MATTER_KEY] = 3,
		[PW_MATTER_FORK] = 4, [PW_MATTER_REFUSED] = 5, [PW_MATTER_JOURNAL] = 6,
		[PW_MATTER_HOLE] = 7, [PW_MATTER_CLOCK] = 8,
	};

	return urgency[kind];
}

static int by_urgency(const void *a, const void *b)
{
	const struct pw_matter *one = a, *other = b;
	const unsigned first = pw_matter_urgency(one->kind), second = pw_matter_urgency(other->kind);

	if (first != second)
		return first < second ? -1 : 1;
	return one->id < other->id ? -1 : one->id > other->id;
}

static int by_bus(const void *a, const void *b)
{
	const struct pw_matter *one = a, *other = b;
	const int bus = strverscmp(one->bus, other->bus);

	return bus ? bus : one->id < other->id ? -1 : one->id > other->id;
}

/* A time that is not known comes last. */
static int by_unchecked(const void *a, const void *b)
{
	const struct pw_audit_row *one = a, *other = b;
	const int64_t first = one->unchecked_ms == PW_NO_TIME ? -1 : one->unchecked_ms;
	const int64_t second = other->unchecked_ms == PW_NO_TIME ? -1 : other->unchecked_ms;

	if (first != second)
		return first > second ? -1 : 1;
	return (one->at_ms < other->at_ms) - (one->at_ms > other->at_ms);
}

static int by_bus_and_name(const void *a, const void *b)
{
	const struct pw_morning_fault *one = a, *other = b;
	const int bus = strverscmp(one->bus, other->bus);

	return bus ? bus : strcmp(one->is.name, other->is.name);
}

/* -- lists ------------------------------------------------------------------------------------- */

/* Room for one more at the end of a list, doubled at each power of two. NULL: no memory. */
static void *one_more(void *list, size_t count, size_t each)
{
	return (count & (count - 1)) == 0 ? reallocarray(list, count ? 2 * count : 1, each) : list;
}

static int add_matter(struct pw_matter **list, size_t *count, const struct pw_matter *m)
{
	struct pw_matter *more = one_more(*list, *count, sizeof(*m));

	if (!more)
		return -1;
	*list = more;
	more[(*count)++] = *m;
	return 0;
}

static int add_row(struct pw_audit_row **list, size_t *count, const struct pw_audit_row *row)
{
	struct pw_audit_row *more = one_more(*list, *count, sizeof(*row));

	if (!more)
		return -1;
	*list = more;
	more[(*count)++] = *row;
	return 0;
}

static int add_fault(struct pw_morning_fault **list, size_t *count, const char *bus,
		     const struct pw_standing *is)
{
	struct pw_morning_fault *more = one_more(*list, *count, sizeof(*more));

	if (!more)
		return -1;
	*list = more;
	more += (*count)++;
	*more = (struct pw_morning_fault){ .is = *is };
	snprintf(more->bus, sizeof(more->bus), "%s", bus);
	return 0;
}

void pw_morning_free(struct pw_morning *m)
{
	free(m->matter);
	free(m->clock);
	free(m->bad);
	free(m->lost);
	free(m->fault);
	free(m->muted);
}

/* -- taken from the store ---------------------------------------------------------------------- */

static int take_matter(void *ctx, const struct pw_matter *is)
{
	struct pw_morning *m = ctx;

	if (is->kind == PW_MATTER_CLOCK)
		return add_matter(&m->clock, &m->clocks, is);
	m->alerts += pw_tell_urgent(is->kind);
	return add_matter(&m->matter, &m->matters, is);
}

static int take_standing(void *ctx, const char *bus, const struct pw_standing *is)
{
	struct pw_morning *m = ctx;

	if (strcmp(is->name, "service") == 0)
		return add_fault(&m->muted, &m->muteds, bus, is);
	return add_fault(&m->fault, &m->faults, bus, is);
}

struct tallies {
	struct pw_tally is[DAYS_BACK + 1];
	size_t count;
};

static int take_tally(void *ctx, const struct pw_tally *t)
{
	struct tallies *all = ctx;

	if (all->count <= DAYS_BACK)
		all->is[all->count++] = *t;
	return 0;
}

static int ask_days(struct pw_morning *m, struct pw_store *s, char *why, size_t size)
{
	const int32_t from = pw_date_from(pw_date_days(m->today) - DAYS_BACK);
	struct tallies all = { .count = 0 };
	int32_t day[DAYS_BACK + 1];
	size_t days = 0;
	int result = pw_audit_tallies(s, PW_BY_ALL, "", from, m->today, take_tally, &all, why, size);

	for (size_t i = 0; i < all.count; i++)
		if (all.is[i].runs + all.is[i].sweeps > 0)
			day[days++] = all.is[i].span;
	m->since = pw_morning_since(m->today, day, days);
	for (size_t i = 0; i < all.count; i++) {
		if (all.is[i].span < m->since)
			continue;
		m->planned += all.is[i].runs;
		m->over += all.is[i].sweeps - all.is[i].unplanned + all.is[i].no_record;
		m->unrecorded += all.is[i].no_record;
		m->silent_runs += all.is[i].silent;
		m->tallied_missed += all.is[i].missed;
		m->tallied_doubtful += all.is[i].doubtful;
	}
	return result;
}

/* -- rows -------------------------------------------------------------------------------------- */

struct page {
	struct pw_morning *m;
	int (*take)(struct pw_morning *m, const struct pw_audit_row *row);
	struct pw_audit_row last;
	size_t given;
};

static int take_row(void *ctx, const struct pw_audit_row *row)
{
	struct page *p = ctx;

	p->last = *row;
	p->given++;
	return p->take(p->m, row);
}

/* Page by page, up to PW_MORNING_LOOKED. */
static int ask_rows(struct pw_store *s, const struct pw_audit_filter *f, struct page *p, bool *more,
		    char *why, size_t size)
{
	size_t all = 0;
	int result;

	do {
		p->given = 0;
		result = pw_audit_rows(s, f, all ? &p->last : NULL, PW_AUDIT_PAGE, take_row, p, why,
				       size);
		all += p->given;
	} while (result == 0 && p->given == PW_AUDIT_PAGE && all < PW_MORNING_LOOKED);
	*more = p->given == PW_AUDIT_PAGE;
	return result;
}

static enum pw_result is_now(const struct pw_audit_row *row)
{
	if (row->corrected)
		return row->corrected;
	return row->verdict == PW_MISSED ? PW_RESULT_MISSED : PW_RESULT_DOUBTFUL;
}

static int add_bad(struct pw_morning *m, const struct pw_audit_row *row)
{
	const enum pw_result is = is_now(row);

	m->missed += is == PW_RESULT_MISSED;
	m->doubtful += is == PW_RESULT_DOUBTFUL;
	return add_row(&m->bad, &m->bads, row);
}

/* A stop without a run has its verdict, too. */
static int take_bad(struct pw_morning *m, const struct pw_audit_row *row)
{
	const enum pw_result is = is_now(row);

	return is == PW_RESULT_MISSED || is == PW_RESULT_DOUBTFUL ? add_bad(m, row) : 0;
}

/* What has a bad verdict is among the bad ones already. */
static int take_lost(struct pw_morning *m, const struct pw_audit_row *row)
{
	if ((row->corrected ? row->corrected : row->result) == PW_RESULT_NO_RECORD)
		return add_row(&m->lost, &m->losts, row);
	return row->seq && BAD_VERDICTS >> row->verdict & 1 ? 0 : add_bad(m, row);
}

static int ask_bad(struct pw_morning *m, struct pw_store *s, char *why, size_t size)
{
	const struct pw_audit_filter bad = { .verdicts = BAD_VERDICTS, .from = m->since,
					     .to = m->today };
	const struct pw_audit_filter lost = { .results = BAD_RESULTS, .from = m->since,
					      .to = m->today };
	struct page p = { .m = m, .take = take_bad };
	int result = ask_rows(s, &bad, &p, &m->bad_more, why, size);

	if (result)
		return result;
	p = (struct page){ .m = m, .take = take_lost };
	result = ask_rows(s, &lost, &p, &m->lost_more, why, size);
	if (m->bad_more) {
		m->missed = m->tallied_missed;
		m->doubtful = m->tallied_doubtful;
	}
	return result;
}

/* ---------------------------------------------------------------------------------------------- */

static void sort(void *list, size_t count, size_t each, int (*compare)(const void *, const void *))
{
	if (count > 1)
		qsort(list, count, each, compare);
}

/* A clock that is off makes a matter a day: the oldest of each bus. */
static void sort_clocks(struct pw_morning *m)
{
	size_t kept = 0;

	sort(m->clock, m->clocks, sizeof(*m->clock), by_bus);
	for (size_t i = 0; i < m->clocks; i++)
		if (kept == 0 || strcmp(m->clock[i].bus, m->clock[kept - 1].bus) != 0)
			m->clock[kept++] = m->clock[i];
	m->clocks = kept;
}

int pw_morning_work(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_morning *m = ctx;
	int result;

	snprintf(why, size, "memory is short");
	result = ask_days(m, s, why, size);
	if (result == 0)
		result = pw_store_matters(s, false, 0, take_matter, m, why, size);
	if (result == 0)
		result = ask_bad(m, s, why, size);
	if (result == 0)
		result = pw_store_standings(s, take_standing, m, why, size);
	sort(m->matter, m->matters, sizeof(*m->matter), by_urgency);
	sort_clocks(m);
	sort(m->bad, m->bads, sizeof(*m->bad), by_unchecked);
	sort(m->fault, m->faults, sizeof(*m->fault), by_bus_and_name);
	sort(m->muted, m->muteds, sizeof(*m->muted), by_bus_and_name);
	return result;
}
