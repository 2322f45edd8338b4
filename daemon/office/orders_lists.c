/* SPDX-License-Identifier: Apache-2.0 */
/* What there is, and what was done. */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "commands_internal.h"

static int no_memory(struct pw_order *c)
{
	return pw_order_not(c, "there is no memory for it");
}

/* -- buses ------------------------------------------------------------------------------------- */

struct piece { /* of a bus: the branch that moved last, and how many there are */
	char bus[PW_NAME_MAX];
	char epoch[17];
	uint64_t head;
	int64_t moved_ms;
	unsigned branches;
};
struct fleet {
	struct piece *piece;
	size_t pieces;
	struct pw_list *list;
};

static int by_bus(const void *a, const void *b)
{
	return strcmp(((const struct piece *)a)->bus, ((const struct piece *)b)->bus);
}

static int count_branch(void *ctx, const struct pw_branch *b)
{
	struct fleet *f = ctx;

	if ((f->pieces & (f->pieces - 1)) == 0) {
		struct piece *more =
			realloc(f->piece, (f->pieces ? f->pieces * 2 : 1) * sizeof(*more));

		if (!more)
			return -1;
		f->piece = more;
	}
	f->piece[f->pieces] =
		(struct piece){ .head = b->head, .moved_ms = b->moved_ms, .branches = 1 };
	memcpy(f->piece[f->pieces].bus, b->bus, sizeof(b->bus));
	memcpy(f->piece[f->pieces].epoch, b->epoch, sizeof(b->epoch));
	f->pieces++;
	return 0;
}

/* One a bus. */
static void add_up(struct fleet *f)
{
	size_t n = 0;

	if (f->pieces > 1)
		qsort(f->piece, f->pieces, sizeof(*f->piece), by_bus);
	for (size_t i = 0; i < f->pieces; i++) {
		struct piece *last = n > 0 ? &f->piece[n - 1] : NULL;
		unsigned branches = last ? last->branches : 0;

		if (!last || strcmp(last->bus, f->piece[i].bus) != 0) {
			f->piece[n++] = f->piece[i];
			continue;
		}
		if (f->piece[i].moved_ms > last->moved_ms)
			*last = f->piece[i];
		last->branches = branches + 1;
	}
	f->pieces = n;
}

static int list_bus(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	struct fleet *f = ctx;
	struct piece key, *p;

	(void)day, (void)days;
	memcpy(key.bus, row->bus, sizeof(key.bus));
	p = f->pieces ? bsearch(&key, f->piece, f->pieces, sizeof(key), by_bus) : NULL;
	pw_list_row(f->list,
		    json_pack("[s,o,o,o,I,I,o]", row->bus, pw_list_time(row->enrolled_ms),
			      pw_list_time(row->heard_ms), p ? json_string(p->epoch) : json_null(),
			      (json_int_t)(p ? p->head : 0), (json_int_t)(p ? p->branches : 0),
			      pw_list_key(&row->key)));
	return 0;
}

static int work_buses(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct fleet *f = ctx;
	int result = pw_store_branches(s, NULL, NULL, count_branch, f, why, size);

	if (result)
		return result;
	add_up(f);
	return pw_store_heard(s, list_bus, f, why, size);
}

int pw_do_buses(struct pw_order *c)
{
	static const char *const names[] = { "bus", "enrolled", "heard", "epoch",
					     "seq", "branches", "key",	 NULL };
	struct fleet f = { .list = pw_list_new(names) };
	int status = f.list ? pw_order_desk(c, work_buses, &f) : no_memory(c);

	if (f.list)
		pw_list_print(f.list, c->json, c->out);
	free(f.piece);
	return status;
}

/* -- matters ----------------------------------------------------------------------------------- */

struct listing {
	struct pw_list *list;
	bool all;
	int64_t from_ms;
};

static int list_matter(void *ctx, const struct pw_matter *m)
{
	struct listing *g = ctx;
	json_t *row = json_pack("[I,s,s,o,o,s]", (json_int_t)m->id, pw_matter_name(m->kind), m->bus,
				pw_list_time(m->at_ms), pw_list_time(m->came_ms), m->words);

	if (g->all) {
		json_array_append_new(row, pw_list_time(m->taken_ms));
		json_array_append_new(row, json_string(m->taken_by));
		json_array_append_new(row, json_string(m->taken_words));
	}
	pw_list_row(g->list, row);
	return 0;
}

static int work_matters(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct listing *g = ctx;

	return pw_store_matters(s, g->all, 0, list_matter, g, why, size);
}

int pw_do_matters(struct pw_order *c)
{
	static const char *const names[] = { "id",    "kind",  "bus", "at",   "came",
					     "words", "taken", "by",  "said", NULL };
	static const char *const open[] = { "id", "kind", "bus", "at", "came", "words", NULL };
	struct listing g = { .list = pw_list_new(c->all ? names : open), .all = c->all };
	int status = g.list ? pw_order_desk(c, work_matters, &g) : no_memory(c);

	if (g.list)
		pw_list_print(g.list, c->json, c->out);
	return status;
}

struct taking {
	struct pw_order *order;
	uint64_t id;
	struct pw_matter matter;
};

static int work_take(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct taking *t = ctx;
	const int64_t now_ms = pw_office_now_ms();
	char did[240], when[PW_HOURS_TEXT_MAX];
	int result = pw_store_matter_take(s, t->id, t->order->by, t->order->words, now_ms,
					  &t->matter, why, size);

	if (result < 0)
		return result;
	if (result == 1) {
		snprintf(did, sizeof(did), "took matter %s: %.160s", t->order->argv[1],
			 t->order->words);
		return pw_store_log(s, now_ms, t->order->by, did, why, size);
	}
	pw_hours_text(t->matter.taken_ms, when);
	if (t->matter.id != 0)
		snprintf(why, size, "matter %s was taken by %s at %s", t->order->argv[1],
			 t->matter.taken_by, when);
	else
		snprintf(why, size, "there is no matter %s", t->order->argv[1]);
	return -2;
}

int pw_do_take(struct pw_order *c)
{
	struct taking t = { .order = c };
	char *end;
	int status;

	t.id = strtoull(c->argv[1], &end, 10);
	if (*c->argv[1] < '1' || *c->argv[1] > '9' || *end != '\0')
		return pw_order_bad(c, "expected the number of a matter, not \"%.40s\"",
				    c->argv[1]);
	status = pw_order_desk(c, work_take, &t);
	if (status)
		return status;
	if (c->o->teller)
		pw_teller_wake(c->o->teller);
	fprintf(c->out, "matter %s is taken by %s\n", c->argv[1], c->by);
	return 0;
}

/* -- figures ----------------------------------------------------------------------------------- */

static int work_figures(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_store_figures(s, ctx, why, size);
}

int pw_do_figures(struct pw_order *c)
{
	static const char *const names[] = { "what", "count", NULL };
	struct pw_figures f;
	struct pw_list *l;
	int status = pw_order_desk(c, work_figures, &f);
	const struct { const char *name; uint64_t n; } rows[] = {
		{ "buses", f.buses }, { "branches", f.branches }, { "records", f.records },
		{ "seals", f.seals }, { "sweeps", f.sweeps }, { "missed", f.missed },
		{ "doubtful", f.doubtful }, { "matters", f.matters }, { "open", f.open },
	};
	const size_t n = sizeof(rows) / sizeof(rows[0]);

	l = status ? NULL : pw_list_new(names);
	if (!l)
		return status ? status : no_memory(c);
	for (size_t i = 0; i < n; i++)
		pw_list_row(l, json_pack("[s,I]", rows[i].name, (json_int_t)rows[i].n));
	pw_list_print(l, c->json, c->out);
	return 0;
}

/* -- log, tell, digest, copy ------------------------------------------------------------------- */

static int list_log(void *ctx, int64_t at_ms, const char *who, const char *did)
{
	struct listing *g = ctx;

	pw_list_row(g->list, json_pack("[o,s,s]", pw_list_time(at_ms), who, did));
	return 0;
}

static int work_log(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct listing *g = ctx;

	return pw_store_logs(s, g->from_ms, list_log, g, why, size);
}

int pw_do_log(struct pw_order *c)
{
	static const char *const names[] = { "at", "who", "did", NULL };
	struct listing g = { .list = NULL };
	int32_t day = c->since ? pw_day_read(c->since) : 0;
	int status;

	if (c->since && day == 0)
		return pw_order_bad(c, "expected --since a day as 2025-10-14, not \"%.40s\"",
				    c->since);
	g.from_ms = day ? pw_hours_moment(day, 0) : 0;
	g.list = pw_list_new(names);
	status = g.list ? pw_order_desk(c, work_log, &g) : no_memory(c);
	if (g.list)
		pw_list_print(g.list, c->json, c->out);
	return status;
}

int pw_do_tell(struct pw_order *c)
{
	return pw_tell_test(c->o, c->out);
}

struct digest {
	struct pw_order *order;
	int32_t day;
	FILE *text;
};

static int work_digest(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct digest *d = ctx;

	return pw_digest_of(s, &d->order->o->conf, d->day, pw_office_now_ms(), d->text, why, size);
}

int pw_do_digest(struct pw_order *c)
{
	struct digest d = { .order = c };
	char *text = NULL;
	size_t length;
	int status;

	d.day = c->day ? pw_day_read(c->day) : pw_hours_add(pw_hours_day(pw_office_now_ms()), -1);
	if (d.day == 0)
		return pw_order_bad(c, "expected --day a day as 2025-10-14, not \"%.40s\"", c->day);
	d.text = open_memstream(&text, &length);
	if (!d.text)
		return no_memory(c);
	status = pw_order_desk(c, work_digest, &d);
	fclose(d.text);
	if (status == 0)
		fputs(text, c->out);
	free(text);
	return status;
}

static int work_copy(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_store_copy(s, ctx, why, size);
}

int pw_do_copy(struct pw_order *c)
{
	char path[4400], why[240];
	int result;

	pw_order_path(c, c->argv[1], path, sizeof(path));
	result = pw_desk_do_alone(c->o->desk, work_copy, path, why, sizeof(why));
	if (result)
		return result == -1 ? pw_order_not(c, "%s", why) : pw_order_bad(c, "%s", why);
	fprintf(c->out, "copied to %s\n", path);
	return 0;
}
