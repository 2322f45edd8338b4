/* SPDX-License-Identifier: Apache-2.0 */
/* record_sealed.h - records and seals in a row, as an export has them: made, checked, judged. */
#ifndef TEST_RECORD_SEALED_H
#define TEST_RECORD_SEALED_H

#include <sodium.h>

#include "record_help.h"

#define EPOCH "00112233aabbccdd"
#define WALL 1790000000000
#define CLOCK(before, after) "{\"before_ms\":" #before ",\"after_ms\":" #after "}"
#define ITEMS_MAX 40

struct item {
	bool is_seal;
	struct pw_record record;
	struct pw_seal seal;
};
struct items {
	struct pw_secret_key key;
	size_t count;
	struct item at[ITEMS_MAX];
};
/* A record to be: wall counts from WALL, kind and body may be left out. */
struct plan {
	enum pw_kind kind;
	uint64_t boot;
	int64_t mono_ms, wall_ms;
	const char *body;
	bool seal; /* behind it */
};
struct findings {
	size_t count;
	struct pw_found at[ITEMS_MAX];
};

/* Two boots of our own invention. The wall clock is set forward by an hour at seq 5. */
static const struct plan journal[] = {
	{ PW_K_BOOT, 1, 1000, 1000, "{\"clock\":\"first\"}", false },
	{ PW_K_SWEEP, 1, 61000, 61000, "{\"verdict\":\"done\"}", false },
	{ PW_K_EXCUSED, 1, 62000, 62000, NULL, false },
	{ PW_K_SWEEP, 1, 300000, 300000, "{\"verdict\":\"late\"}", true },
	{ PW_K_CLOCK, 1, 400000, 4000000, CLOCK(1790000400000, 1790004000000), false },
	{ PW_K_EXCUSED, 1, 400000, 4000000, NULL, false },
	{ PW_K_FAULT, 1, 500000, 4100000, "{\"name\":\"T\xc3\xbcr\"}", false },
	{ PW_K_SWEEP, 1, 600000, 4200000, "{\"verdict\":\"missed\"}", true },
	{ PW_K_BOOT, 2, 900, 9000000, "{\"clock\":\"vouched\"}", false },
	{ PW_K_EXCUSED, 2, 5900, 9005000, NULL, false },
	{ PW_K_EXCUSED, 2, 6900, 9006000, NULL, false },
	{ PW_K_SWEEP, 2, 90000, 9089100, "{\"verdict\":\"done\"}", true },
};
#define JOURNAL journal, sizeof(journal) / sizeof(journal[0])

/* The secret key of RFC 8032, section 7.1, TEST 1, from memory. */
static const unsigned char rfc8032_seed[32] = {
	0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4,
	0x44, 0x49, 0xc5, 0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
};

static inline void key_from(struct pw_secret_key *key, const unsigned char seed[32])
{
	crypto_sign_seed_keypair(key->public.bytes, key->bytes, seed);
}

static inline void item_insert(struct items *x, size_t at, const struct item *item)
{
	assert_true(x->count < ITEMS_MAX);
	memmove(&x->at[at + 1], &x->at[at], (x->count - at) * sizeof(*item));
	x->at[at] = *item;
	x->count++;
}

static inline void item_delete(struct items *x, size_t at)
{
	x->count--;
	memmove(&x->at[at], &x->at[at + 1], (x->count - at) * sizeof(x->at[0]));
}

/* The place of the record, or of its seal. */
static inline size_t place(const struct items *x, uint64_t seq, bool seal)
{
	for (size_t i = 0; i < x->count; i++)
		if (x->at[i].is_seal == seal
		    && (seal ? x->at[i].seal.seq : x->at[i].record.seq) == seq)
			return i;
	fail_msg("no such item: %" PRIu64, seq);
	return 0;
}

static inline struct pw_record *record(struct items *x, uint64_t seq)
{
	return &x->at[place(x, seq, false)].record;
}

static inline struct pw_seal *seal(struct items *x, uint64_t seq)
{
	return &x->at[place(x, seq, true)].seal;
}

/* All before seq 5 is gone. */
static inline void cut_head(struct items *x)
{
	while (x->at[0].is_seal || x->at[0].record.seq < 5)
		item_delete(x, 0);
}

/* Makes the seal at place i one over the record before it. */
static inline void item_seal(struct items *x, size_t i)
{
	const struct pw_record *r = &x->at[i - 1].record;

	x->at[i] = (struct item){ .is_seal = true, .seal.seq = r->seq };
	memcpy(x->at[i].seal.hash, r->hash, 65);
	pw_seal_make(BUS, r->epoch, &x->at[i].seal, &x->key);
}

static inline void items_seal(struct items *x)
{
	for (size_t i = 0; i < x->count; i++)
		if (x->at[i].is_seal)
			item_seal(x, i);
}

/* Links and hashes all records from place `from` on, as somebody without the key could. */
static inline void items_link(struct items *x, size_t from)
{
	const char *prev = PW_CHAIN_ORIGIN;

	for (size_t i = 0; i < x->count; i++) {
		struct pw_record *r = &x->at[i].record;

		if (x->at[i].is_seal)
			continue;
		if (i >= from) {
			memcpy(r->prev, prev, 65);
			pw_record_hash(BUS, r, r->hash);
		}
		prev = r->hash;
	}
}

static inline void items_make(struct items *x, const struct plan *plan, size_t count)
{
	key_from(&x->key, rfc8032_seed);
	x->count = 0;
	for (size_t i = 0; i < count; i++) {
		assert_true(x->count + 2 < ITEMS_MAX);
		x->at[x->count++] = (struct item){ .record = {
			.seq = i + 1, .boot = plan[i].boot, .mono_ms = plan[i].mono_ms,
			.wall_ms = WALL + plan[i].wall_ms, .wall_ok = true, .epoch = EPOCH,
			.kind = plan[i].kind ? plan[i].kind : PW_K_EXCUSED,
			.body = plan[i].body ? plan[i].body : "{\"at_ms\":1}",
		} };
		if (plan[i].seal)
			x->at[x->count++] = (struct item){ .is_seal = true };
	}
	items_link(x, 0);
	items_seal(x);
}

static inline void take_finding(void *ctx, const struct pw_found *f)
{
	struct findings *to = ctx;

	assert_true(to->count < ITEMS_MAX);
	to->at[to->count++] = *f;
}

static inline void items_check(const struct items *x, const struct pw_public_key *key,
			       struct pw_check *c, struct findings *found)
{
	found->count = 0;
	pw_check_begin(c, BUS, key, take_finding, found);
	for (size_t i = 0; i < x->count; i++)
		if (x->at[i].is_seal)
			pw_check_seal(c, &x->at[i].seal);
		else
			pw_check_record(c, &x->at[i].record);
	pw_check_end(c);
	assert_int_equal(c->flaws, found->count);
}

/* What is expected: flaw and seq, up to the first flaw 0. */
struct expected {
	enum pw_flaw flaw;
	uint64_t seq;
};

static inline void assert_found(const struct findings *f, const struct expected *e, int line)
{
	size_t n = 0;

	for (; e[n].flaw != 0; n++)
		if (n >= f->count || f->at[n].flaw != e[n].flaw || f->at[n].seq != e[n].seq)
			fail_msg("line %d, finding %zu: expected %d at %" PRIu64 ", got %d at %"
				 PRIu64 ": %s", line, n + 1, (int)e[n].flaw, e[n].seq,
				 n < f->count ? (int)f->at[n].flaw : 0,
				 n < f->count ? f->at[n].seq : 0,
				 n < f->count ? f->at[n].words : "nothing");
	if (f->count != n)
		fail_msg("line %d: also %d at %" PRIu64 ": %s", line, (int)f->at[n].flaw,
			 f->at[n].seq, f->at[n].words);
	for (size_t i = 0; i < n; i++) {
		assert_true(strlen(f->at[i].words) > 10);
		assert_null(strpbrk(f->at[i].words, "\n."));
	}
}

#define T __LINE__ /* beside what is expected */
#define GAP PW_FLAW_GAP
#define CHAIN PW_FLAW_CHAIN
#define SEAL PW_FLAW_SEAL
#define PRUNED PW_FLAW_PRUNED
#define UNSEALED PW_FLAW_UNSEALED
#define MONO PW_FLAW_MONO
#define STEP PW_FLAW_WALL

#endif
