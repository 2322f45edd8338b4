/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What rows add up to. A row that comes is added and one that goes is taken away, by everything
 * that it is counted by; changes are gathered, and those of one tally are one change of the store.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rows_internal.h"
#include "zone.h"

enum { A_DAY = 1, A_MONTH, A_YEAR };
enum { RUNS, SWEEPS, WALKED, LATE, DOUBTFUL, MISSED, NO_RECORD, SILENT, UNPLANNED, CORRECTED,
       REFUSED, UNCHECKED, COUNTS };
#define SECONDS_MAX 3600

int32_t pw_span_month(int32_t day)
{
	return day / 100 * 100;
}

int32_t pw_span_school_year(int32_t day)
{
	return (day / 10000 - (day / 100 % 100 < 7)) * 10000;
}

/* -- changes ----------------------------------------------------------------------------------- */

struct change {
	int32_t kind, length, span;
	char name[PW_AUDIT_TEXT];
	int64_t count[COUNTS];
};
struct time_change {
	char bus[PW_NAME_MAX];
	int32_t what, span, second;
	int64_t count;
};
struct pw_tallying {
	const struct pw_zone *zone;
	struct change *change;
	struct time_change *time;
	size_t changes, change_room, times, time_room;
};

struct pw_tallying *pw_tallying_new(const struct pw_zone *zone)
{
	struct pw_tallying *t = calloc(1, sizeof(*t));

	if (t != NULL)
		t->zone = zone;
	return t;
}

void pw_tallying_free(struct pw_tallying *t)
{
	if (t == NULL)
		return;
	free(t->change);
	free(t->time);
	free(t);
}

size_t pw_tallying_count(const struct pw_tallying *t)
{
	return t->changes + t->times;
}

/* Room for one more. False: no memory. */
static bool grow(void **list, size_t count, size_t *room, size_t each)
{
	size_t more = *room > 0 ? 2 * *room : 256;
	void *longer;

	if (count < *room)
		return true;
	if ((longer = realloc(*list, more * each)) == NULL)
		return false;
	*list = longer;
	*room = more;
	return true;
}

static bool add(struct pw_tallying *t, enum pw_tally_by by, int32_t length, const char *name,
		int32_t span, const int64_t count[COUNTS])
{
	struct change *c;

	if (!grow((void **)&t->change, t->changes, &t->change_room, sizeof(*t->change)))
		return false;
	c = &t->change[t->changes++];
	*c = (struct change){ .kind = (int32_t)by, .length = length, .span = span };
	snprintf(c->name, sizeof(c->name), "%s", name);
	memcpy(c->count, count, sizeof(c->count));
	return true;
}

static bool add_long(struct pw_tallying *t, enum pw_tally_by by, const char *name, int32_t day,
		     const int64_t count[COUNTS])
{
	return add(t, by, A_MONTH, name, pw_span_month(day), count)
	       && add(t, by, A_YEAR, name, pw_span_school_year(day), count);
}

static bool add_time(struct pw_tallying *t, const char *bus, int32_t what, int32_t day, int64_t ms,
		     int sign)
{
	const int64_t second = ms / 1000;

	if (!grow((void **)&t->time, t->times, &t->time_room, sizeof(*t->time)))
		return false;
	t->time[t->times] = (struct time_change){
		.what = what, .span = pw_span_month(day), .count = sign,
		.second = (int32_t)(second < SECONDS_MAX ? second : SECONDS_MAX) };
	snprintf(t->time[t->times++].bus, PW_NAME_MAX, "%s", bus);
	return true;
}

/* -- of a row ---------------------------------------------------------------------------------- */

static void count_row(const struct pw_audit_row *r, int sign, int64_t count[COUNTS])
{
	const bool planned = r->key.run[0] != '\0', none = pw_row_stands(r) == PW_RESULT_NO_RECORD;

	memset(count, 0, COUNTS * sizeof(count[0]));
	count[RUNS] = planned;
	count[SWEEPS] = r->verdict != 0;
	count[WALKED] = r->verdict == PW_DONE;
	count[LATE] = r->verdict == PW_LATE;
	count[DOUBTFUL] = r->verdict == PW_DOUBTFUL;
	count[MISSED] = r->verdict == PW_MISSED;
	count[NO_RECORD] = planned && none;
	count[SILENT] = planned && none && r->why == PW_NO_RECORD_BUS_SILENT;
	count[UNPLANNED] = !planned;
	count[CORRECTED] = r->corrected != PW_RESULT_NONE;
	count[REFUSED] = r->refused;
	count[UNCHECKED] = r->verdict == PW_MISSED && r->unchecked_ms != PW_NO_TIME
				   ? r->unchecked_ms : 0;
	for (size_t i = 0; i < COUNTS; i++)
		count[i] *= sign;
}

static bool add_times(struct pw_tallying *t, const struct pw_audit_row *r, int sign)
{
	const char *const of[] = { r->key.bus, "" };
	bool fine = true;

	for (size_t i = 0; fine && i < 2 && r->walk_ms >= 0; i++) {
		fine = add_time(t, of[i], 1, r->key.day, r->walk_ms, sign);
		if (fine && r->return_ms >= 0)
			fine = add_time(t, of[i], 2, r->key.day, r->walk_ms + r->return_ms, sign);
	}
	return fine;
}

static bool add_findings(struct pw_tallying *t, const struct pw_audit_row *r,
			 const int64_t count[COUNTS])
{
	bool fine = true;

	for (unsigned i = 0; fine && i < PW_FINDINGS; i++)
		if (r->findings & 1u << i)
			fine = add_long(t, PW_BY_FINDING, pw_finding_name((enum pw_finding)i),
					r->key.day, count);
	return fine;
}

static bool add_moment(struct pw_tallying *t, const struct pw_audit_row *r,
		       const int64_t count[COUNTS])
{
	struct pw_local local;
	char hour[12], weekday[12];

	pw_zone_local(t->zone, r->at_ms, &local);
	snprintf(hour, sizeof(hour), "%02d", local.ms / 3600000);
	snprintf(weekday, sizeof(weekday), "%d", pw_date_weekday(pw_date_days(r->key.day)));
	return add_long(t, PW_BY_HOUR, hour, r->key.day, count)
	       && add_long(t, PW_BY_WEEKDAY, weekday, r->key.day, count);
}

/* Where it has no name for that, it is not counted by it. */
static bool add_named(struct pw_tallying *t, enum pw_tally_by by, const char *name, int32_t day,
		      const int64_t count[COUNTS])
{
	return name[0] == '\0' || add_long(t, by, name, day, count);
}

bool pw_tallying_add(struct pw_tallying *t, const struct pw_audit_row *r, int sign)
{
	const int32_t day = r->key.day;
	int64_t count[COUNTS];

	count_row(r, sign, count);
	return add(t, PW_BY_ALL, A_DAY, "", day, count)
	       && add(t, PW_BY_BUS, A_DAY, r->key.bus, day, count)
	       && add_long(t, PW_BY_ALL, "", day, count)
	       && add_long(t, PW_BY_BUS, r->key.bus, day, count)
	       && add_named(t, PW_BY_DRIVER, r->driver, day, count)
	       && add_named(t, PW_BY_ROUTE, r->route, day, count)
	       && add_named(t, PW_BY_RUNG, r->rung, day, count) && add_moment(t, r, count)
	       && add_findings(t, r, count) && add_times(t, r, sign);
}

/* -- into the store ---------------------------------------------------------------------------- */

static int in_order(const void *a, const void *b)
{
	const struct change *x = a, *y = b;

	if (x->kind != y->kind)
		return x->kind < y->kind ? -1 : 1;
	if (x->length != y->length)
		return x->length < y->length ? -1 : 1;
	if (x->span != y->span)
		return x->span < y->span ? -1 : 1;
	return strcmp(x->name, y->name);
}

static int time_in_order(const void *a, const void *b)
{
	const struct time_change *x = a, *y = b;
	int bus = strcmp(x->bus, y->bus);

	if (bus != 0)
		return bus;
	if (x->what != y->what)
		return x->what < y->what ? -1 : 1;
	if (x->span != y->span)
		return x->span < y->span ? -1 : 1;
	return (x->second > y->second) - (x->second < y->second);
}

static int keep_change(struct pw_store *s, const struct change *c, char *why, size_t size)
{
	struct pw_cell args[4 + COUNTS] = { pw_cell_number(c->kind), pw_cell_number(c->length),
					    pw_cell_text(c->name), pw_cell_number(c->span) };
	bool some = false;

	for (size_t i = 0; i < COUNTS; i++) {
		args[4 + i] = pw_cell_number(c->count[i]);
		some |= c->count[i] != 0;
	}
	return some ? pw_store_ask(s, PW_Q_TALLY, args, NULL, NULL, why, size) : 0;
}

static int keep_time(struct pw_store *s, const struct time_change *c, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(c->bus), pw_cell_number(c->what),
					pw_cell_number(c->span), pw_cell_number(c->second),
					pw_cell_number(c->count) };

	return c->count != 0 ? pw_store_ask(s, PW_Q_SPREAD_ADD, args, NULL, NULL, why, size) : 0;
}

static int keep_changes(struct pw_tallying *t, struct pw_store *s, char *why, size_t size)
{
	int result = 0;

	if (t->changes > 0)
		qsort(t->change, t->changes, sizeof(*t->change), in_order);
	for (size_t i = 0, next; result == 0 && i < t->changes; i = next) {
		for (next = i + 1; next < t->changes
				   && in_order(&t->change[i], &t->change[next]) == 0; next++)
			for (size_t c = 0; c < COUNTS; c++)
				t->change[i].count[c] += t->change[next].count[c];
		result = keep_change(s, &t->change[i], why, size);
	}
	return result;
}

static int keep_times(struct pw_tallying *t, struct pw_store *s, char *why, size_t size)
{
	int result = 0;

	if (t->times > 0)
		qsort(t->time, t->times, sizeof(*t->time), time_in_order);
	for (size_t i = 0, next; result == 0 && i < t->times; i = next) {
		for (next = i + 1; next < t->times
				   && time_in_order(&t->time[i], &t->time[next]) == 0; next++)
			t->time[i].count += t->time[next].count;
		result = keep_time(s, &t->time[i], why, size);
	}
	return result;
}

int pw_tallying_keep(struct pw_tallying *t, struct pw_store *s, char *why, size_t size)
{
	int result = keep_changes(t, s, why, size);

	if (result == 0)
		result = keep_times(t, s, why, size);
	t->changes = t->times = 0;
	return result;
}

/* -- back out of it ---------------------------------------------------------------------------- */

struct giving {
	int (*take)(void *ctx, const struct pw_tally *t);
	void *ctx;
};

static int give(void *ctx, const struct pw_cell *cells)
{
	const struct giving *g = ctx;
	struct pw_tally t = { .span = (int32_t)cells[1].number };
	uint64_t *const counts[] = { &t.runs, &t.sweeps, &t.walked, &t.late, &t.doubtful, &t.missed,
				     &t.no_record, &t.silent, &t.unplanned, &t.corrected,
				     &t.refused };

	pw_cell_get_text(&cells[0], t.name, sizeof(t.name));
	for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++)
		*counts[i] = (uint64_t)cells[2 + i].number;
	t.unchecked_ms = cells[2 + UNCHECKED].number;
	return g->take(g->ctx, &t);
}

static int32_t length_of(int32_t span)
{
	return span % 10000 == 0 ? A_YEAR : span % 100 == 0 ? A_MONTH : A_DAY;
}

int pw_audit_tallies(struct pw_store *s, enum pw_tally_by by, const char *name, int32_t from,
		     int32_t to, int (*take)(void *ctx, const struct pw_tally *t), void *ctx,
		     char *why, size_t size)
{
	const struct pw_cell kind = pw_cell_number(by), length = pw_cell_number(length_of(from));
	const struct pw_cell first = pw_cell_number(from), last = pw_cell_number(to);
	const bool any = by != PW_BY_ALL && (name == NULL || name[0] == '\0');
	const struct pw_cell all[] = { kind, length, first, last };
	const struct pw_cell one[] = { kind, length, pw_cell_text(name != NULL ? name : ""), first,
				       last };
	struct giving g = { .take = take, .ctx = ctx };

	if (!any)
		return pw_store_ask(s, PW_Q_TALLIES_NAME, one, give, &g, why, size);
	return pw_store_ask(s, from == to ? PW_Q_TALLIES_SPAN : PW_Q_TALLIES, all, give, &g, why,
			    size);
}

struct seconds {
	int (*take)(void *ctx, uint32_t second, uint64_t count);
	void *ctx;
};

static int give_second(void *ctx, const struct pw_cell *cells)
{
	const struct seconds *g = ctx;

	return g->take(g->ctx, (uint32_t)cells[0].number, (uint64_t)cells[1].number);
}

/* Kept month by month: a school year is its months. */
int pw_audit_spread(struct pw_store *s, const char *bus, int what, int32_t from, int32_t to,
		    int (*take)(void *ctx, uint32_t second, uint64_t count), void *ctx, char *why,
		    size_t size)
{
	const int32_t first = length_of(from) == A_YEAR ? from + 700 : from;
	const int32_t last = length_of(to) == A_YEAR ? to + 10600 : to;
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(what),
					pw_cell_number(first), pw_cell_number(last) };
	struct seconds g = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_SPREAD, args, give_second, &g, why, size);
}
