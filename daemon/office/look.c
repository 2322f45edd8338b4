/* SPDX-License-Identifier: Apache-2.0 */
#include "look_internal.h"

#include <stdlib.h>
#include <string.h>

#define SETTLED_MS INT64_C(300000)

/* What stands in the store, as far as it matters here. */
struct stock {
	const char *way;
	struct pw_telling *row;  /* of this way, without those that are over */
	size_t rows, rows_room;
	struct open { uint64_t id; enum pw_matter_kind kind; } *open; /* by id */
	size_t opens, opens_room;
};

/* Room for one more. False: memory is short. */
static bool make_room(void **array, size_t count, size_t *room, size_t each)
{
	const size_t more = *room > 0 ? 2 * *room : 64;
	void *larger = count < *room ? *array : reallocarray(*array, more, each);

	if (larger == NULL)
		return false;
	if (count == *room)
		*room = more;
	*array = larger;
	return true;
}

static int take_row(void *ctx, const struct pw_telling *t)
{
	struct stock *all = ctx;

	if (strcmp(t->way, all->way) != 0)
		return 0;
	if (!make_room((void **)&all->row, all->rows, &all->rows_room, sizeof(*t)))
		return -1;
	all->row[all->rows++] = *t;
	return 0;
}

static int take_open(void *ctx, const struct pw_matter *m)
{
	struct stock *all = ctx;

	if (!make_room((void **)&all->open, all->opens, &all->opens_room, sizeof(*all->open)))
		return -1;
	all->open[all->opens++] = (struct open){ m->id, m->kind };
	return 0;
}

static int compare_open(const void *a, const void *b)
{
	const struct open *one = a, *other = b;

	return one->id < other->id ? -1 : one->id > other->id;
}

static const struct open *find_open(const struct stock *all, uint64_t id)
{
	const struct open key = { .id = id };

	return all->opens == 0
		       ? NULL : bsearch(&key, all->open, all->opens, sizeof(key), compare_open);
}

/* A telling, due now, where there has been none. */
static int begin(struct pw_store *s, struct stock *all, uint64_t matter, int32_t day,
		 int64_t now_ms, char *why, size_t size)
{
	struct pw_telling t;
	int result = pw_store_telling(s, matter, day, all->way, &t, why, size);

	if (result != 0)
		return result < 0 ? result : 0;
	t = (struct pw_telling){ .matter = matter, .day = day, .next_ms = now_ms };
	snprintf(t.way, sizeof(t.way), "%s", all->way);
	result = pw_store_telling_put(s, &t, why, size);
	return result < 0 ? result : take_row(all, &t);
}

static int end(struct pw_store *s, struct pw_telling *t, char *why, size_t size)
{
	t->next_ms = INT64_MAX;
	return pw_store_telling_put(s, t, why, size);
}

/* -- what begins and what ends ----------------------------------------------------------------- */

static int compare_ids(const void *a, const void *b)
{
	const uint64_t one = *(const uint64_t *)a, other = *(const uint64_t *)b;

	return one < other ? -1 : one > other;
}

/* Rows are in the order of next_ms: by matter they are found at once. */
static int begin_matters(struct pw_store *s, struct stock *all, int64_t now_ms, char *why,
			 size_t size)
{
	const size_t count = all->rows;
	uint64_t *told = calloc(count + 1, sizeof(*told));
	int result = told != NULL ? 0 : -1;

	for (size_t i = 0; told != NULL && i < count; i++)
		told[i] = all->row[i].day == 0 ? all->row[i].matter : 0;
	if (told != NULL)
		qsort(told, count, sizeof(*told), compare_ids);
	for (size_t i = 0; result == 0 && i < all->opens; i++)
		if (bsearch(&all->open[i].id, told, count, sizeof(*told), compare_ids) == NULL)
			result = begin(s, all, all->open[i].id, 0, now_ms, why, size);
	free(told);
	return result;
}

static int end_taken(struct pw_store *s, struct stock *all, int64_t now_ms, char *why, size_t size)
{
	const size_t count = all->rows;
	int result = 0;

	for (size_t i = 0; result == 0 && i < count; i++) {
		const uint64_t id = all->row[i].matter;

		if (id == 0 || all->row[i].day != 0 || find_open(all, id) != NULL)
			continue;
		result = end(s, &all->row[i], why, size);
		if (result == 0)
			result = begin(s, all, id, PW_TELL_TAKEN, now_ms, why, size);
	}
	return result;
}

/* What came in at the very end of the day before may still be on its way into the store. */
static int64_t digest_ms(int32_t day, unsigned hour)
{
	const int64_t at_ms = pw_hours_moment(day, hour);
	const int64_t settled_ms = pw_hours_moment(day, 0) + SETTLED_MS;

	return at_ms > settled_ms ? at_ms : settled_ms;
}

/* The day of which the newest digest tells; *next_ms: when the one after it is due. */
static int32_t digest_day(unsigned hour, int64_t now_ms, int64_t *next_ms)
{
	const int32_t today = pw_hours_day(now_ms);
	const int64_t due_ms = digest_ms(today, hour);

	if (now_ms < due_ms) {
		*next_ms = due_ms;
		return pw_hours_add(today, -2);
	}
	*next_ms = digest_ms(pw_hours_add(today, 1), hour);
	return pw_hours_add(today, -1);
}

/* One that did not get through in its day is of no use beside the next. */
static int begin_digest(struct pw_store *s, struct stock *all, struct pw_look *look, char *why,
			size_t size)
{
	const size_t count = all->rows;
	int32_t day;
	int result = 0;

	if (look->conf->digest_hour > 23)
		return 0;
	day = digest_day(look->conf->digest_hour, look->now_ms, &look->next_ms);
	for (size_t i = 0; result == 0 && i < count; i++)
		if (all->row[i].matter == 0 && all->row[i].day < day)
			result = end(s, &all->row[i], why, size);
	return result < 0 ? result : begin(s, all, 0, day, look->now_ms, why, size);
}

/* -- what is due ------------------------------------------------------------------------------- */

static int rank(const struct stock *all, const struct pw_telling *t)
{
	const struct open *open = t->day == 0 ? find_open(all, t->matter) : NULL;

	return open != NULL && pw_tell_urgent(open->kind) ? 0 : 1;
}

/* The most urgent that are due, in order, into at; the moment at which the next will be. */
static size_t choose(const struct stock *all, struct pw_look *look, size_t at[PW_LOOK_ITEMS])
{
	size_t chosen = 0, due = 0;

	for (int urgency = 0; urgency <= 1; urgency++)
		for (size_t i = 0; i < all->rows; i++) {
			const struct pw_telling *t = &all->row[i];

			if (rank(all, t) != urgency)
				continue;
			if (!pw_tell_due(t, look->now_ms)) {
				if (t->next_ms < look->next_ms)
					look->next_ms = t->next_ms;
				continue;
			}
			due++;
			if (chosen < PW_LOOK_ITEMS)
				at[chosen++] = i;
		}
	if (due > chosen)
		look->next_ms = look->now_ms;
	return chosen;
}

static int write_digest(struct pw_store *s, const struct pw_look *look, struct pw_item *item,
			char *why, size_t size)
{
	size_t length;
	FILE *out = open_memstream(&item->digest, &length);
	int result;

	if (out == NULL)
		return -1;
	result = pw_digest_of(s, look->conf, item->telling.day, look->now_ms, out, why, size);
	return fclose(out) == 0 ? result : -1;
}

static int fetch(struct pw_store *s, struct pw_look *look, const struct pw_telling *t, char *why,
		 size_t size)
{
	struct pw_item *item = &look->item[look->items++];
	int found;

	*item = (struct pw_item){ .telling = *t };
	if (t->matter == 0)
		return write_digest(s, look, item, why, size);
	found = pw_store_matter(s, t->matter, &item->matter, why, size);
	if (found == 0) /* a telling of nothing */
		look->items--;
	return found < 0 ? found : 0;
}

int pw_look(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_look *look = ctx;
	struct stock all = { .way = look->way };
	size_t at[PW_LOOK_ITEMS], chosen;
	int result;

	look->items = 0;
	look->next_ms = INT64_MAX;
	snprintf(why, size, "memory is short");
	result = pw_store_tellings(s, INT64_MAX - 1, take_row, &all, why, size);
	if (result == 0)
		result = pw_store_matters(s, false, 0, take_open, &all, why, size);
	if (result == 0)
		result = begin_matters(s, &all, look->now_ms, why, size);
	if (result == 0)
		result = end_taken(s, &all, look->now_ms, why, size);
	if (result == 0)
		result = begin_digest(s, &all, look, why, size);
	chosen = result == 0 ? choose(&all, look, at) : 0;
	for (size_t i = 0; result == 0 && i < chosen; i++)
		result = fetch(s, look, &all.row[at[i]], why, size);
	free(all.row);
	free(all.open);
	return result;
}

void pw_look_free(struct pw_look *look)
{
	for (size_t i = 0; i < look->items; i++)
		free(look->item[i].digest);
	look->items = 0;
}
