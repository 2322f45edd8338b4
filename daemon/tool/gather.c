/* SPDX-License-Identifier: Apache-2.0 */
/*
 * One pass over a journal for one sweep. What happened is gathered from the stop before it on; at
 * each start all of it is moved onto that start's clock, as the rules do (R20, R21). Behind the
 * sweep's record come the edges of the same moment, and some way on the seal that is over it.
 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal_internal.h"

#define BATCH_MS 1000 /* the edges of a moment are recorded within it */

struct policy_seen {
	char *text, hash[65];
	int64_t at_ms;
};

struct gathering {
	struct pw_source *source;
	const struct pw_public_key *key; /* NULL: there is none */
	struct pw_told_sweep *t;
	uint64_t first, seq; /* of the records so far */
	struct policy_seen before, policy; /* the last two */
	uint8_t levels;
	bool found, beyond;
	char hash[65];       /* from the sweep's record on: of the last one whose link held */
};

static int fail(const struct gathering *g, uint64_t seq, const char *words)
{
	fprintf(stderr, "%s: seq %" PRIu64 ": %s\n", pw_source_name(g->source), seq, words);
	return -1;
}

/* -- moments ----------------------------------------------------------------------------------- */

static int add(struct gathering *g, struct pw_moment m)
{
	struct pw_told_sweep *t = g->t;

	if (t->count == t->room) {
		size_t room = t->room ? t->room * 2 : 256;
		struct pw_moment *more = realloc(t->moment, room * sizeof(*more));

		if (!more)
			return fail(g, g->seq, "no memory for what came before the sweep");
		t->moment = more;
		t->room = room;
	}
	t->moment[t->count++] = m;
	return 0;
}

__attribute__((format(printf, 4, 5)))
static int add_words(struct gathering *g, enum pw_moment_kind kind, int64_t at_ms,
		     const char *format, ...)
{
	struct pw_moment m = { .kind = kind, .at_ms = at_ms };
	va_list args;

	va_start(args, format);
	vsnprintf(m.words, sizeof(m.words), format, args);
	va_end(args);
	return add(g, m);
}

static void forget(struct gathering *g)
{
	g->t->count = 0;
	g->t->levels = g->levels;
}

static void move(struct gathering *g, int64_t by_ms)
{
	for (size_t i = 0; i < g->t->count; i++) {
		g->t->moment[i].at_ms = pw_plus(g->t->moment[i].at_ms, by_ms);
		g->t->moment[i].back_ms = pw_plus(g->t->moment[i].back_ms, by_ms);
	}
	g->before.at_ms = pw_plus(g->before.at_ms, by_ms);
	g->policy.at_ms = pw_plus(g->policy.at_ms, by_ms);
}

/* -- kinds ------------------------------------------------------------------------------------- */

static int take_boot(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_moment m = { .kind = PW_AT_POWER, .back_ms = r->mono_ms };
	int64_t old_cut_ms;

	if (pw_body_int(body, "cut_ms", &m.at_ms) || pw_body_int(body, "old_cut_ms", &old_cut_ms)) {
		forget(g); /* nothing was kept */
		return 0;
	}
	m.lost = strcmp(pw_body_word(body, "clock"), "lost") == 0;
	snprintf(m.words, sizeof(m.words), "%s", pw_words_reset(pw_body_word(body, "reset")));
	move(g, m.at_ms - old_cut_ms);
	return add(g, m);
}

static int take_policy(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	free(g->before.text);
	g->before = g->policy;
	g->policy = (struct policy_seen){ .text = strdup(pw_body_word(body, "text")),
					  .at_ms = r->mono_ms };
	snprintf(g->policy.hash, sizeof(g->policy.hash), "%s", pw_body_word(body, "hash"));
	return g->policy.text ? 0 : fail(g, r->seq, "no memory for its policy");
}

static int take_level(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	static const char *const names[PW_INPUTS] = {
#define X(up, low, settle) #low,
		PW_INPUT_LIST(X)
#undef X
	};
	int64_t level;

	g->levels = 0;
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (pw_body_int(json_object_get(body, "levels"), names[i], &level) == 0 && level)
			g->levels |= (uint8_t)(1u << i);
	return add(g, (struct pw_moment){ .kind = PW_AT_LEVELS, .at_ms = r->mono_ms,
					  .level = g->levels });
}

static int take_edges(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	const char *name = pw_body_word(body, "line");
	const json_t *at = json_object_get(body, "at_ms"), *one;
	int line = pw_input_find(name, strlen(name));
	int64_t from;
	size_t i;

	(void)r;
	if (line < 0 || pw_body_int(body, "from", &from))
		return 0;
	json_array_foreach(at, i, one) {
		uint8_t level = (uint8_t)((from ^ (i % 2 == 0)) & 1);

		if (add(g, (struct pw_moment){ .kind = PW_AT_LINE, .line = (uint8_t)line,
					       .level = level, .at_ms = json_integer_value(one) }))
			return -1;
		g->levels = (uint8_t)((g->levels & ~(1u << line)) | (unsigned)level << line);
	}
	return 0;
}

static int take_rung(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	int64_t at_ms = r->mono_ms;

	pw_body_int(body, "at_ms", &at_ms);
	return add_words(g, PW_AT_RUNG, at_ms, "%s", pw_body_word(body, "name"));
}

static int take_fault(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	bool on = false;

	pw_body_bool(body, "on", &on);
	return add_words(g, PW_AT_OTHER, r->mono_ms, "fault %s %s", pw_body_word(body, "name"),
			 on ? "began" : "was over");
}

static int take_service(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	bool on = false;

	pw_body_bool(body, "on", &on);
	return add_words(g, PW_AT_OTHER, r->mono_ms, "service %s",
			 on ? "began: beeper and horn muted" : "was over");
}

static int take_clock(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	struct pw_saying o = { .n = 0 };
	int64_t before_ms, after_ms;

	if (pw_body_int(body, "before_ms", &before_ms) || pw_body_int(body, "after_ms", &after_ms))
		return 0;
	pw_put_span(&o, after_ms > before_ms ? after_ms - before_ms : before_ms - after_ms);
	return add_words(g, PW_AT_OTHER, r->mono_ms, "the wall clock was set %s by %s",
			 after_ms > before_ms ? "forward" : "back", o.text);
}

static int take_lost(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	int64_t count = 0;

	pw_body_int(body, "count", &count);
	return add_words(g, PW_AT_OTHER, r->mono_ms, "%" PRId64 " records were dropped before seq %"
			 PRIu64, count, r->seq);
}

static int take_stop(struct gathering *g, const struct pw_record *r, const json_t *body)
{
	(void)r;
	(void)body;
	forget(g);
	return 0;
}

typedef int take_record(struct gathering *g, const struct pw_record *r, const json_t *body);

static take_record *const take[PW_KINDS] = {
	[PW_K_BOOT] = take_boot,      [PW_K_POLICY] = take_policy,   [PW_K_EDGES] = take_edges,
	[PW_K_LEVEL] = take_level,    [PW_K_SWEEP] = take_stop,      [PW_K_RESTART] = take_stop,
	[PW_K_EXCUSED] = take_stop,   [PW_K_RUNG] = take_rung,       [PW_K_FAULT] = take_fault,
	[PW_K_SERVICE] = take_service, [PW_K_CLOCK] = take_clock,    [PW_K_LOST] = take_lost,
};

static int take_one(struct gathering *g, const struct pw_record *r)
{
	json_t *body;
	int result;

	if (!take[r->kind])
		return 0;
	body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	result = take[r->kind](g, r, body);
	json_decref(body);
	return result;
}

/* -- the sweep, and what vouches for it -------------------------------------------------------- */

static bool link_holds(const struct gathering *g, const struct pw_record *r, const char *prev)
{
	char hash[65];

	pw_record_hash(pw_source_bus(g->source), r, hash);
	return strcmp(hash, r->hash) == 0 && (!prev || strcmp(r->prev, prev) == 0);
}

static void break_chain(struct gathering *g, uint64_t seq)
{
	g->t->seal = PW_CHAIN_BROKEN;
	g->t->seal_seq = seq;
}

static int take_sweep(struct gathering *g, const struct pw_record *r)
{
	struct pw_told_sweep *t = g->t;

	if (r->kind != PW_K_SWEEP) {
		fprintf(stderr, "%s: seq %" PRIu64 ": expected a sweep record, and it is of kind "
			"%s (postwalk journal --kind sweep shows the sweeps)\n",
			pw_source_name(g->source), r->seq, pw_kind_name(r->kind));
		return -1;
	}
	if (pw_text_sweep(r->body, &t->sweep, t->rung))
		return fail(g, r->seq, "expected the fields of a sweep");
	t->record = *r;
	t->record.body = NULL;
	memcpy(g->hash, r->hash, sizeof(g->hash));
	g->found = true;
	if (!link_holds(g, r, NULL))
		break_chain(g, r->seq);
	return 0;
}

static int take_later(struct gathering *g, const struct pw_record *r)
{
	g->beyond = g->beyond || r->boot != g->t->record.boot ||
		    pw_minus(r->mono_ms, g->t->record.mono_ms) > BATCH_MS;
	if (g->t->seal != PW_SEALED && g->t->seal != PW_CHAIN_BROKEN && !link_holds(g, r, g->hash))
		break_chain(g, r->seq);
	memcpy(g->hash, r->hash, sizeof(g->hash));
	return !g->beyond && r->kind == PW_K_EDGES ? take_one(g, r) : 0;
}

static void take_seal(struct gathering *g, const struct pw_seal *s)
{
	struct pw_told_sweep *t = g->t;

	if (!g->found || t->seal == PW_CHAIN_BROKEN || t->seal == PW_SEALED || s->seq != g->seq)
		return;
	t->seal_seq = s->seq;
	t->seal = strcmp(s->hash, g->hash) == 0 && g->key &&
		  pw_seal_holds(pw_source_bus(g->source), t->record.epoch, s, g->key)
		? PW_SEALED : PW_SEAL_WRONG;
}

static int take_record_item(struct gathering *g, const struct pw_record *r, uint64_t seq)
{
	g->first = g->first ? g->first : r->seq;
	g->seq = r->seq;
	if (g->found)
		return take_later(g, r);
	return r->seq == seq ? take_sweep(g, r) : take_one(g, r);
}

/* Until the sweep is told whole and sealed. */
static int take_all(struct gathering *g, uint64_t seq)
{
	struct pw_source_item item;
	int got;

	while (!(g->beyond && (g->t->seal == PW_SEALED || g->t->seal == PW_CHAIN_BROKEN)) &&
	       (got = pw_source_next(g->source, &item)) != 0) {
		if (got < 0 || (item.kind == PW_ITEM_RECORD &&
				take_record_item(g, item.record, seq)))
			return -1;
		if (item.kind == PW_ITEM_SEAL)
			take_seal(g, item.seal);
	}
	if (g->found)
		return 0;
	fprintf(stderr, "%s: expected the seq of a sweep, and %" PRIu64 " is not there: it holds %"
		PRIu64 " to %" PRIu64 " (postwalk journal --kind sweep shows the sweeps)\n",
		pw_source_name(g->source), seq, g->first, g->seq);
	return -1;
}

/* One that came after the press did not judge it. */
static void choose_policy(struct gathering *g)
{
	const struct pw_sweep *s = &g->t->sweep;
	const struct policy_seen *p = &g->policy;
	char why[400];

	if (s->press_ms != PW_NO_TIME && p->at_ms > s->press_ms && g->before.text)
		p = &g->before;
	if (!p->text || pw_policy_read(p->text, &g->t->policy, why, sizeof(why)))
		return;
	g->t->has_policy = true;
	memcpy(g->t->policy_hash, p->hash, sizeof(p->hash));
}

int pw_gather(struct pw_source *s, uint64_t seq, const struct pw_public_key *key,
	      struct pw_told_sweep *t)
{
	struct gathering g = { .source = s, .key = key, .t = t };
	int result;

	*t = (struct pw_told_sweep){ .seal = PW_UNSEALED };
	result = take_all(&g, seq);
	if (result == 0)
		choose_policy(&g);
	free(g.before.text);
	free(g.policy.text);
	return result;
}

void pw_gather_free(struct pw_told_sweep *t)
{
	free(t->moment);
}
