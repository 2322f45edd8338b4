/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Is a journal sound? (J10)
 *
 * After a flaw the check goes on from the record as it stands, so that what follows rightly on it
 * is not told as well. A gap hides the link behind it: prev cannot hold there. Bodies are read in
 * the few records that explain something; all others are hashed and left alone.
 */
#include "record_internal.h"

#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Slewing moves both clocks alike (clock_gettime(2)); only steps part them. Of those the watch leaves
 * the ones unrecorded that keep the wall clock within a second of where it was last told to be: so
 * two records may be two seconds apart. */
#define STEP_MS 1000
#define APART_MS 2000

__attribute__((format(printf, 4, 5)))
static void tell(struct pw_check *c, enum pw_flaw flaw, uint64_t seq, const char *format, ...)
{
	struct pw_found f = { .flaw = flaw, .seq = seq };
	va_list args;

	va_start(args, format);
	vsnprintf(f.words, sizeof(f.words), format, args);
	va_end(args);
	c->flaws++;
	c->found(c->ctx, &f);
}

/* a - b, as far as an int64_t goes. */
static int64_t apart(int64_t a, int64_t b)
{
	int64_t d;

	return !__builtin_sub_overflow(a, b, &d) ? d : a < b ? INT64_MIN : INT64_MAX;
}

static bool within(int64_t a, int64_t b, int64_t most)
{
	int64_t d = apart(a, b);

	return d <= most && d >= -most;
}

/* -- the chain --------------------------------------------------------------------------------- */

/* Does it stand where it belongs? */
static bool follows(struct pw_check *c, const struct pw_record *r)
{
	if (strcmp(r->epoch, c->epoch) != 0)
		tell(c, PW_FLAW_EPOCH, r->seq, "its epoch is not that of the record before");
	else if (r->seq == c->seq)
		tell(c, PW_FLAW_GAP, r->seq, "it stands there twice");
	else if (r->seq < c->seq)
		tell(c, PW_FLAW_GAP, r->seq, "it stands behind record %" PRIu64, c->seq);
	else if (r->seq - 1 > c->seq)
		tell(c, PW_FLAW_GAP, r->seq,
		     "the record before it is %" PRIu64 ", and nothing stands between", c->seq);
	else
		return true;
	return false;
}

/* One finding a record: prev is part of the text, so an altered one shows as an altered text. */
static void check_chain(struct pw_check *c, const struct pw_record *r)
{
	bool linked = c->records > 0 ? follows(c, r) : r->seq == 1;
	char hash[65];

	pw_record_hash(c->bus, r, hash);
	if (strcmp(hash, r->hash) != 0)
		tell(c, PW_FLAW_CHAIN, r->seq, "its hash is not that of its text");
	else if (linked && strcmp(r->prev, c->hash) != 0)
		tell(c, PW_FLAW_CHAIN, r->seq, c->records > 0
		     ? "prev is not the hash of the record before"
		     : "prev of the first record is not 64 zeros");
}

/* A record at a seq that a seal has vouched for is not the one that it vouched for. */
static void forget_seals(struct pw_check *c, uint64_t seq)
{
	if (c->sealed >= seq)
		c->sealed = seq > 0 ? seq - 1 : 0;
}

/* J11: the last record that was dropped is the one before the first. */
static bool explains_beginning(const struct pw_check *c, const struct pw_record *r)
{
	json_t *body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	const char *hash = json_string_value(json_object_get(body, "hash"));
	int64_t seq;
	bool does = pw_json_get_int(json_object_get(body, "seq"), 1, INT64_MAX, &seq) == 0
		    && (uint64_t)seq + 1 == c->first && hash != NULL
		    && strcmp(hash, c->first_prev) == 0;

	json_decref(body);
	return does;
}

/* -- the clocks -------------------------------------------------------------------------------- */

/* What the wall clock showed before r: its wall time, unless r tells of a step. -1: told. */
static int wall_before(struct pw_check *c, const struct pw_record *r, int64_t *wall_ms)
{
	json_t *body;
	int64_t after_ms = 0;
	int told;

	*wall_ms = r->wall_ms;
	if (r->kind != PW_K_CLOCK)
		return 0;
	body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	told = pw_json_get_int(json_object_get(body, "before_ms"), INT64_MIN, INT64_MAX, wall_ms)
	       || pw_json_get_int(json_object_get(body, "after_ms"), INT64_MIN, INT64_MAX, &after_ms);
	json_decref(body);
	if (told)
		tell(c, PW_FLAW_WALL, r->seq, "its body does not say from when to when the wall "
		     "clock was set");
	else if (!within(r->wall_ms, after_ms, STEP_MS))
		tell(c, PW_FLAW_WALL, r->seq, "its wall time is %" PRId64
		     " ms from the one that the clock was set to", apart(r->wall_ms, after_ms));
	else
		return 0;
	return -1;
}

static void check_wall_within_boot(struct pw_check *c, const struct pw_record *r)
{
	int64_t passed_ms = apart(r->mono_ms, c->mono_ms), wall_ms, off_ms;

	if (wall_before(c, r, &wall_ms))
		return;
	off_ms = apart(apart(wall_ms, c->wall_ms), passed_ms);
	if (within(off_ms, 0, APART_MS))
		return;
	if (r->kind == PW_K_CLOCK)
		tell(c, PW_FLAW_WALL, r->seq, "the wall clock is said to have been set from a time "
		     "that is %" PRId64 " ms from the one it showed", off_ms);
	else
		tell(c, PW_FLAW_WALL, r->seq, "the wall clock steps by %" PRId64
		     " ms, and no clock record says so", off_ms);
}

static bool clock_was_lost(const struct pw_record *r)
{
	json_t *body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	const char *clock = json_string_value(json_object_get(body, "clock"));
	bool lost = clock != NULL && (strcmp(clock, "lost") == 0 || strcmp(clock, "first") == 0);

	json_decref(body);
	return lost;
}

static void check_wall_across_boots(struct pw_check *c, const struct pw_record *r)
{
	int64_t wall_ms;

	if (wall_before(c, r, &wall_ms) || wall_ms >= c->wall_ms
	    || (r->kind == PW_K_BOOT && clock_was_lost(r)))
		return;
	tell(c, PW_FLAW_WALL, r->seq, "the wall clock goes back by %" PRId64
	     " ms over a start, and no boot record says that it was lost",
	     apart(c->wall_ms, wall_ms));
}

static void check_times(struct pw_check *c, const struct pw_record *r)
{
	if (r->boot < c->boot)
		tell(c, PW_FLAW_MONO, r->seq, "its boot is %" PRIu64 ", behind boot %" PRIu64,
		     r->boot, c->boot);
	else if (r->boot > c->boot)
		check_wall_across_boots(c, r);
	else if (r->mono_ms < c->mono_ms)
		tell(c, PW_FLAW_MONO, r->seq, "mono time goes back by %" PRId64 " ms",
		     apart(c->mono_ms, r->mono_ms));
	else
		check_wall_within_boot(c, r);
}

/* -- the check --------------------------------------------------------------------------------- */

void pw_check_begin(struct pw_check *c, const char *bus, const struct pw_public_key *key,
		    void (*found)(void *ctx, const struct pw_found *f), void *ctx)
{
	*c = (struct pw_check){ .key = key, .found = found, .ctx = ctx };
	snprintf(c->bus, sizeof(c->bus), "%s", bus);
	memcpy(c->hash, PW_CHAIN_ORIGIN, sizeof(c->hash));
}

void pw_check_purged(struct pw_check *c, const struct pw_seal *let_go,
		     const struct pw_public_key *office)
{
	c->let_go = let_go;
	c->office = office;
}

static void begin(struct pw_check *c, const struct pw_record *r)
{
	const struct pw_seal *s = c->let_go;

	c->first = r->seq;
	memcpy(c->first_prev, r->prev, sizeof(c->first_prev));
	if (s == NULL)
		return;
	c->let_go = NULL;
	c->purged = s->seq + 1 == r->seq && strcmp(s->hash, r->prev) == 0
		    && pw_purged_holds(c->bus, r->epoch, s, c->office);
	if (!c->purged)
		tell(c, PW_FLAW_PRUNED, r->seq, "an office's word of what it let go is not about "
		     "the record before it, or not by its key");
}

void pw_check_record(struct pw_check *c, const struct pw_record *r)
{
	if (c->records == 0)
		begin(c, r);
	check_chain(c, r);
	forget_seals(c, r->seq);
	if (r->kind == PW_K_PRUNE && c->first != 1 && c->pruned == 0)
		c->pruned = explains_beginning(c, r) ? r->seq : 0;
	if (c->records > 0 && strcmp(r->epoch, c->epoch) == 0)
		check_times(c, r);
	memcpy(c->epoch, r->epoch, sizeof(c->epoch));
	memcpy(c->hash, r->hash, sizeof(c->hash));
	c->seq = r->seq;
	c->boot = r->boot;
	c->mono_ms = r->mono_ms;
	c->wall_ms = r->wall_ms;
	c->records++;
}

static const char *wrong_with(const struct pw_check *c, const struct pw_seal *s)
{
	if (s->seq != c->seq)
		return "its seal does not stand right behind it";
	if (strcmp(s->hash, c->hash) != 0)
		return "its seal is over another hash";
	if (s->seq == c->sealed)
		return "it is sealed twice";
	return pw_seal_holds(c->bus, c->epoch, s, c->key) ? NULL : "its seal is not by this key";
}

void pw_check_seal(struct pw_check *c, const struct pw_seal *s)
{
	const char *wrong;

	c->seals++;
	if (c->key == NULL)
		return;
	wrong = wrong_with(c, s);
	if (wrong == NULL)
		c->sealed = s->seq;
	else if (!c->seal_broken)
		tell(c, PW_FLAW_SEAL, s->seq, "%s", wrong);
	c->seal_broken = wrong != NULL;
}

void pw_check_end(struct pw_check *c)
{
	uint64_t from = c->sealed + 1 > c->first ? c->sealed + 1 : c->first;

	if (c->records == 0)
		tell(c, PW_FLAW_UNSEALED, 0, "it holds no record");
	if (c->records > 0 && c->first != 1 && !c->purged
	    && (c->pruned == 0 || c->pruned > c->sealed))
		tell(c, PW_FLAW_PRUNED, c->first, "it begins here, and no sealed prune record says why");
	if (c->sealed < c->seq)
		tell(c, PW_FLAW_UNSEALED, from, "nothing vouches for what stands from here on");
}

bool pw_flaw_is_damage(enum pw_flaw flaw)
{
	switch (flaw) {
	case PW_FLAW_EPOCH:
	case PW_FLAW_GAP:
	case PW_FLAW_CHAIN:
	case PW_FLAW_SEAL:
	case PW_FLAW_PRUNED:
		return true;
	case PW_FLAW_UNSEALED:
	case PW_FLAW_MONO:
	case PW_FLAW_WALL:
		break;
	}
	return false;
}
