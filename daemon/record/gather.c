/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What happened is gathered from the stop before a sweep on; at each start all of it is moved onto
 * that start's clock, as the rules do (R20, R21). Behind the sweep's record come the edges of the same
 * moment, and some way on the seal that is over it.
 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "postwalk/story.h"
#include "record_internal.h"

#define BATCH_MS 1000 /* the edges of a moment are recorded within it */

struct policy_seen {
	char *text, hash[65];
	int64_t at_ms;
	uint64_t seq;
};

struct pw_gathering {
	const char *bus;
	const struct pw_public_key *key; /* NULL: there is none */
	struct pw_told_sweep *t;
	uint64_t wanted, seq; /* of the sweep; of the last record */
	struct policy_seen before, policy; /* the last two */
	uint8_t levels, known; /* known: of those lines it is */
	bool found, beyond, short_of_memory;
	char hash[65];       /* from the sweep's record on: of the last one whose link held */
};

int64_t pw_plus(int64_t a, int64_t b)
{
	int64_t sum;

	return !__builtin_add_overflow(a, b, &sum) ? sum : b < 0 ? INT64_MIN : INT64_MAX;
}

int64_t pw_minus(int64_t a, int64_t b)
{
	int64_t difference;

	if (!__builtin_sub_overflow(a, b, &difference))
		return difference;
	return b > 0 ? INT64_MIN : INT64_MAX;
}

/* -- moments ----------------------------------------------------------------------------------- */

static void add(struct pw_gathering *g, struct pw_moment m)
{
	struct pw_told_sweep *t = g->t;

	if (t->count == t->room) {
		size_t room = t->room ? t->room * 2 : 256;
		struct pw_moment *more = realloc(t->moment, room * sizeof(*more));

		if (!more) {
			g->short_of_memory = true;
			return;
		}
		t->moment = more;
		t->room = room;
	}
	m.seq = g->seq;
	t->moment[t->count++] = m;
}

static void forget(struct pw_gathering *g)
{
	g->t->count = 0;
	g->t->levels = g->levels;
}

static void move(struct pw_gathering *g, int64_t by_ms)
{
	for (size_t i = 0; i < g->t->count; i++) {
		g->t->moment[i].at_ms = pw_plus(g->t->moment[i].at_ms, by_ms);
		g->t->moment[i].back_ms = pw_plus(g->t->moment[i].back_ms, by_ms);
	}
	g->before.at_ms = pw_plus(g->before.at_ms, by_ms);
	g->policy.at_ms = pw_plus(g->policy.at_ms, by_ms);
}

/* -- bodies ------------------------------------------------------------------------------------ */

static int whole(const json_t *body, const char *key, int64_t *value)
{
	return pw_json_get_int(json_object_get(body, key), -PW_MOMENT_MAX, PW_MOMENT_MAX, value);
}

static const char *word(const json_t *body, const char *key)
{
	const char *text = json_string_value(json_object_get(body, key));

	return text ? text : "";
}

static bool is_true(const json_t *body, const char *key)
{
	return json_is_true(json_object_get(body, key));
}

static void put_name(struct pw_moment *m, const char *name)
{
	snprintf(m->name, sizeof(m->name), "%s", name);
}

/* -- kinds ------------------------------------------------------------------------------------- */

static void take_boot(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_moment m = { .kind = PW_AT_POWER, .back_ms = r->mono_ms };
	int64_t old_cut_ms;

	if (whole(body, "cut_ms", &m.at_ms) || whole(body, "old_cut_ms", &old_cut_ms)) {
		forget(g); /* nothing was kept */
		return;
	}
	m.lost = strcmp(word(body, "clock"), "lost") == 0;
	put_name(&m, word(body, "reset"));
	move(g, m.at_ms - old_cut_ms);
	add(g, m);
}

static void take_policy(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	free(g->before.text);
	g->before = g->policy;
	g->policy = (struct policy_seen){ .text = strdup(word(body, "text")), .at_ms = r->mono_ms,
					  .seq = r->seq };
	snprintf(g->policy.hash, sizeof(g->policy.hash), "%s", word(body, "hash"));
	g->short_of_memory = g->short_of_memory || !g->policy.text;
}

static void take_level(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	static const char *const names[PW_INPUTS] = {
#define X(up, low, settle) #low,
		PW_INPUT_LIST(X)
#undef X
	};
	int64_t level;

	g->levels = 0;
	g->known = UINT8_MAX;
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (whole(json_object_get(body, "levels"), names[i], &level) == 0 && level)
			g->levels |= (uint8_t)(1u << i);
	add(g, (struct pw_moment){ .kind = PW_AT_LEVELS, .at_ms = r->mono_ms, .level = g->levels });
}

/* Where no levels were read: as it was before its first edge. */
static void know(struct pw_gathering *g, int line, bool level)
{
	const uint8_t bit = (uint8_t)(1u << line);

	if (g->known & bit)
		return;
	g->known |= bit;
	if (level)
		g->t->levels |= bit;
}

static void take_edges(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	const char *name = word(body, "line");
	const json_t *at = json_object_get(body, "at_ms"), *one;
	int line = pw_input_find(name, strlen(name));
	int64_t from;
	size_t i;

	(void)r;
	if (line < 0 || whole(body, "from", &from))
		return;
	know(g, line, from & 1);
	json_array_foreach(at, i, one) {
		uint8_t level = (uint8_t)((from ^ (i % 2 == 0)) & 1);

		add(g, (struct pw_moment){ .kind = PW_AT_LINE, .line = (uint8_t)line,
					   .level = level, .at_ms = json_integer_value(one) });
		g->levels = (uint8_t)((g->levels & ~(1u << line)) | (unsigned)level << line);
	}
}

static void take_rung(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_moment m = { .kind = PW_AT_RUNG, .at_ms = r->mono_ms };

	whole(body, "at_ms", &m.at_ms);
	put_name(&m, word(body, "name"));
	add(g, m);
}

static void take_fault(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_moment m = { .kind = PW_AT_FAULT, .at_ms = r->mono_ms,
			       .on = is_true(body, "on") };

	put_name(&m, word(body, "name"));
	add(g, m);
}

static void take_service(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	add(g, (struct pw_moment){ .kind = PW_AT_SERVICE, .at_ms = r->mono_ms,
				   .on = is_true(body, "on") });
}

static void take_clock(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	int64_t before_ms, after_ms;

	if (whole(body, "before_ms", &before_ms) || whole(body, "after_ms", &after_ms))
		return;
	add(g, (struct pw_moment){ .kind = PW_AT_CLOCK, .at_ms = r->mono_ms,
				   .number = after_ms - before_ms });
}

static void take_lost(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_moment m = { .kind = PW_AT_LOST, .at_ms = r->mono_ms };

	whole(body, "count", &m.number);
	add(g, m);
}

static void take_stop(struct pw_gathering *g, const struct pw_record *r, const json_t *body)
{
	(void)r;
	(void)body;
	forget(g);
}

typedef void take_record(struct pw_gathering *g, const struct pw_record *r, const json_t *body);

static take_record *const take[PW_KINDS] = {
	[PW_K_BOOT] = take_boot,      [PW_K_POLICY] = take_policy,   [PW_K_EDGES] = take_edges,
	[PW_K_LEVEL] = take_level,    [PW_K_SWEEP] = take_stop,      [PW_K_RESTART] = take_stop,
	[PW_K_EXCUSED] = take_stop,   [PW_K_RUNG] = take_rung,       [PW_K_FAULT] = take_fault,
	[PW_K_SERVICE] = take_service, [PW_K_CLOCK] = take_clock,    [PW_K_LOST] = take_lost,
};

static void take_one(struct pw_gathering *g, const struct pw_record *r)
{
	json_t *body;

	if (!take[r->kind])
		return;
	body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	take[r->kind](g, r, body);
	json_decref(body);
}

/* -- the sweep, and what vouches for it -------------------------------------------------------- */

static bool link_holds(const struct pw_gathering *g, const struct pw_record *r, const char *prev)
{
	char hash[65];

	pw_record_hash(g->bus, r, hash);
	return strcmp(hash, r->hash) == 0 && (!prev || strcmp(r->prev, prev) == 0);
}

static void break_chain(struct pw_gathering *g, uint64_t seq)
{
	g->t->seal = PW_CHAIN_BROKEN;
	g->t->seal_seq = seq;
}

static int take_sweep(struct pw_gathering *g, const struct pw_record *r, char *why, size_t size)
{
	struct pw_told_sweep *t = g->t;

	if (r->kind != PW_K_SWEEP) {
		snprintf(why, size,
			 "seq %" PRIu64 ": expected a sweep record, and it is of kind %s",
			 r->seq, pw_kind_name(r->kind));
		return -1;
	}
	if (pw_text_sweep(r->body, &t->sweep, t->rung)) {
		snprintf(why, size, "seq %" PRIu64 ": expected the fields of a sweep", r->seq);
		return -1;
	}
	t->record = *r;
	t->record.body = NULL;
	memcpy(g->hash, r->hash, sizeof(g->hash));
	g->found = true;
	if (!link_holds(g, r, NULL))
		break_chain(g, r->seq);
	return 0;
}

static void take_later(struct pw_gathering *g, const struct pw_record *r)
{
	g->beyond = g->beyond || r->boot != g->t->record.boot ||
		    pw_minus(r->mono_ms, g->t->record.mono_ms) > BATCH_MS;
	if (g->t->seal != PW_SEALED && g->t->seal != PW_CHAIN_BROKEN && !link_holds(g, r, g->hash))
		break_chain(g, r->seq);
	memcpy(g->hash, r->hash, sizeof(g->hash));
	if (!g->beyond && r->kind == PW_K_EDGES)
		take_one(g, r);
}

int pw_gather_record(struct pw_gathering *g, const struct pw_record *r, char *why, size_t size)
{
	g->seq = r->seq;
	if (g->found)
		take_later(g, r);
	else if (r->seq == g->wanted)
		return take_sweep(g, r, why, size);
	else
		take_one(g, r);
	if (!g->short_of_memory)
		return 0;
	snprintf(why, size, "seq %" PRIu64 ": no memory for what came before the sweep", r->seq);
	return -1;
}

void pw_gather_seal(struct pw_gathering *g, const struct pw_seal *s)
{
	struct pw_told_sweep *t = g->t;

	if (!g->found || t->seal == PW_CHAIN_BROKEN || t->seal == PW_SEALED || s->seq != g->seq)
		return;
	t->seal_seq = s->seq;
	t->seal = strcmp(s->hash, g->hash) == 0 && g->key &&
		  pw_seal_holds(g->bus, t->record.epoch, s, g->key) ? PW_SEALED : PW_SEAL_WRONG;
}

bool pw_gather_done(const struct pw_gathering *g)
{
	return g->beyond && (g->t->seal == PW_SEALED || g->t->seal == PW_CHAIN_BROKEN);
}

/* One that came after the press did not judge it. */
static void choose_policy(struct pw_gathering *g)
{
	const struct pw_sweep *s = &g->t->sweep;
	const struct policy_seen *p = &g->policy;
	char why[400];

	if (s->press_ms != PW_NO_TIME && p->at_ms > s->press_ms && g->before.text)
		p = &g->before;
	if (!p->text || pw_policy_read(p->text, &g->t->policy, why, sizeof(why)))
		return;
	g->t->has_policy = true;
	g->t->policy_seq = p->seq;
	memcpy(g->t->policy_hash, p->hash, sizeof(p->hash));
}

struct pw_gathering *pw_gather_begin(const char *bus, uint64_t seq, const struct pw_public_key *key,
				     struct pw_told_sweep *t)
{
	struct pw_gathering *g = calloc(1, sizeof(*g));

	*t = (struct pw_told_sweep){ .seal = PW_UNSEALED };
	if (g)
		*g = (struct pw_gathering){ .bus = bus, .key = key, .t = t, .wanted = seq };
	return g;
}

bool pw_gather_end(struct pw_gathering *g)
{
	bool found = g->found;

	if (found)
		choose_policy(g);
	free(g->before.text);
	free(g->policy.text);
	free(g);
	return found;
}

void pw_gather_free(struct pw_told_sweep *t)
{
	free(t->moment);
	t->moment = NULL;
	t->count = t->room = 0;
}

/* -- a line as it settled ---------------------------------------------------------------------- */

struct settling {
	enum pw_line line;
	int64_t settle_ms, since_ms; /* since: unsettled from then on, or PW_NO_TIME */
	bool level;
	void (*take)(void *ctx, int64_t at_ms, bool level);
	void *ctx;
};

static void turn(struct settling *d, int64_t at_ms)
{
	d->level = !d->level;
	d->since_ms = PW_NO_TIME;
	d->take(d->ctx, at_ms, d->level);
}

/* R1: what has lasted by then has happened. */
static void settle(struct settling *d, int64_t until_ms)
{
	if (d->since_ms != PW_NO_TIME && pw_plus(d->since_ms, d->settle_ms) < until_ms)
		turn(d, d->since_ms);
}

static void take_moment(struct settling *d, const struct pw_moment *m)
{
	bool level = m->kind == PW_AT_LINE ? m->level : m->level >> d->line & 1;

	if (m->kind == PW_AT_POWER) {
		settle(d, m->at_ms);
		d->since_ms = PW_NO_TIME;
	} else if (m->kind == PW_AT_LEVELS && level != d->level) {
		turn(d, m->at_ms);
	} else if (m->kind == PW_AT_LINE && m->line == d->line) {
		settle(d, m->at_ms);
		d->since_ms = level != d->level ? m->at_ms : PW_NO_TIME;
	}
}

bool pw_told_line(const struct pw_told_sweep *t, enum pw_line line, int64_t until_ms,
		  void (*take_change)(void *ctx, int64_t at_ms, bool level), void *ctx)
{
	const bool before = t->levels >> line & 1;
	struct settling d = { .line = line, .level = before, .since_ms = PW_NO_TIME,
			      .settle_ms = t->has_policy ? t->policy.line[line].settle_ms : 100,
			      .take = take_change, .ctx = ctx };

	for (size_t i = 0; i < t->count; i++)
		take_moment(&d, &t->moment[i]);
	settle(&d, pw_plus(until_ms, 1));
	return before;
}
