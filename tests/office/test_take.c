/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What becomes of batches in the store: stories with what must come of them worked out by hand, and
 * random deliveries of random journals. Both on SQLite and on PostgreSQL.
 */
#include <inttypes.h>
#include <stdbool.h>

#include "pg_server.h"

#include "made.h"

static struct pg_server pg;
static struct pw_store *stores[2];
static char dir[64], epoch[17];
static unsigned epochs;
static const char *const kinds[] = { "sqlite", "postgresql" };

/* Both have a bus, and nothing else of it. */
static struct pw_store *open_store(int kind)
{
	struct pw_bus_row bus = { .bus = "14", .has_key = true, .enrolled_ms = 1 };
	char path[100], why[240];
	struct pw_store *s;

	snprintf(path, sizeof(path), "%s/office.db", dir);
	if (pw_store_open(kind == 0 ? path : pg.uri, false, &s, why, sizeof(why)))
		fail_msg("%s", why);
	assert_string_equal(pw_store_name(s), kinds[kind]);
	memset(bus.token, '0', 64);
	assert_int_equal(pw_store_begin(s, why, sizeof(why)), 0);
	assert_int_equal(pw_store_bus_put(s, &bus, why, sizeof(why)), 0);
	assert_int_equal(pw_store_commit(s, why, sizeof(why)), 0);
	return s;
}

/* Each story is of an epoch of its own. */
static const char *next_epoch(void)
{
	snprintf(epoch, sizeof(epoch), "%016x", ++epochs);
	return epoch;
}

static struct pw_took take(struct pw_store *s, const struct made *m, size_t from, size_t upto,
			   bool begins)
{
	struct pw_batch *b = made_batch(m, from, upto, begins);
	struct pw_took took;
	char why[240] = "";

	assert_int_equal(pw_store_begin(s, why, sizeof(why)), 0);
	if (pw_take(s, b, MADE_NOW, &took, why, sizeof(why)))
		fail_msg("%s", why);
	assert_int_equal(pw_store_commit(s, why, sizeof(why)), 0);
	pw_batch_free(b);
	return took;
}

/* -- what the store has ------------------------------------------------------------------------ */

struct look {
	struct pw_branch branch[64];
	size_t branches;
	struct pw_matter matter[64];
	size_t matters;
};

static int see_branch(void *ctx, const struct pw_branch *b)
{
	struct look *l = ctx;

	assert_true(l->branches < 64);
	l->branch[l->branches++] = *b;
	return 0;
}

static int see_matter(void *ctx, const struct pw_matter *m)
{
	struct look *l = ctx;

	if (strcmp(m->epoch, epoch) != 0)
		return 0;
	assert_true(l->matters < 64);
	l->matter[l->matters++] = *m;
	return 0;
}

static int by_number(const void *a, const void *b)
{
	const struct pw_branch *x = a, *y = b;

	return (x->branch > y->branch) - (x->branch < y->branch);
}

static void look(struct pw_store *s, struct look *l)
{
	char why[240];

	l->branches = l->matters = 0;
	assert_int_equal(pw_store_branches(s, "14", epoch, see_branch, l, why, sizeof(why)), 0);
	assert_int_equal(pw_store_matters(s, true, 0, see_matter, l, why, sizeof(why)), 0);
	qsort(l->branch, l->branches, sizeof(l->branch[0]), by_number);
}

/* "0:1-30 first; 1:21-40 fork" */
static void tell_branches(const struct look *l, char *text, size_t size)
{
	static const char *const why[] = { "?", "first", "fork", "hole" };
	size_t n = 0;

	text[0] = '\0';
	for (size_t i = 0; i < l->branches; i++)
		n += (size_t)snprintf(text + n, size - n, "%s%u:%" PRIu64 "-%" PRIu64 " %s",
				      i ? "; " : "", l->branch[i].branch, l->branch[i].first,
				      l->branch[i].head, why[l->branch[i].why]);
}

/* -- stories ----------------------------------------------------------------------------------- */

/* Journals of one bus and epoch. A: as it was. B: A put back to 20. C: another from its first
 * record on. D: B put back to 25. E: A put back to 10. */
enum { A, B, C, D, E, JOURNALS };
static struct made journal[JOURNALS];

static void make_journals(void)
{
	made_begin(&journal[A], "14", next_epoch(), 1);
	made_grow(&journal[A], 60);
	for (int i = B; i <= E; i++)
		journal[i] = journal[i == D ? B : A];
	for (int i = A; i <= E; i++) /* bodies are of the journal that they stand in */
		for (size_t n = 1; n <= journal[i].records; n++)
			journal[i].record[n].body = journal[i].body[n];
	made_rewind(&journal[B], 20, 1);
	made_grow(&journal[B], 60);
	made_rewind(&journal[C], 0, 2);
	made_grow(&journal[C], 60);
	journal[D] = journal[B];
	for (size_t n = 1; n <= 60; n++)
		journal[D].record[n].body = journal[D].body[n];
	made_rewind(&journal[D], 25, 3);
	made_grow(&journal[D], 60);
	made_rewind(&journal[E], 10, 4);
	made_grow(&journal[E], 60);
}

enum { SO = PW_TAKEN_SO, GAP = PW_TAKEN_GAP };
static const struct story {
	const char *name;
	struct {
		int journal;
		size_t from, upto;
		bool begins;
		int how;
		size_t fresh;
		bool fork;
	} step[8];
	const char *branches, *matters;
} stories[] = {
	{ "in order",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 11, 30, 0, SO, 20, 0 }, { A, 31, 31, 0, SO, 1, 0 } },
	  "0:1-31 first",
	  "" },
	{ "again",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 1, 10, 0, SO, 0, 0 }, { A, 4, 6, 0, SO, 0, 0 } },
	  "0:1-10 first",
	  "" },
	{ "overlapping",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 5, 15, 0, SO, 5, 0 }, { A, 1, 20, 0, SO, 5, 0 } },
	  "0:1-20 first",
	  "" },
	{ "a gap",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 12, 20, 0, GAP, 0, 0 } },
	  "0:1-10 first",
	  "" },
	{ "a gap before all", { { A, 5, 10, 0, GAP, 0, 0 } }, "", "" },
	{ "begins says nothing where it follows",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 11, 20, 1, SO, 10, 0 } },
	  "0:1-20 first",
	  "" },
	{ "put back",
	  { { A, 1, 30, 0, SO, 30, 0 }, { B, 16, 40, 0, SO, 20, 1 }, { B, 41, 50, 0, SO, 10, 1 } },
	  "0:1-30 first; 1:21-50 fork",
	  "fork 21" },
	{ "put back, and sent from behind where they part",
	  { { A, 1, 30, 0, SO, 30, 0 }, { B, 25, 40, 0, GAP, 0, 0 }, { B, 21, 40, 0, SO, 20, 1 } },
	  "0:1-30 first; 1:21-40 fork",
	  "fork 21" },
	{ "two go on beside each other",
	  { { A, 1, 30, 0, SO, 30, 0 },
	    { B, 21, 40, 0, SO, 20, 1 },
	    { A, 31, 40, 0, SO, 10, 1 },
	    { B, 41, 45, 0, SO, 5, 1 },
	    { A, 1, 40, 0, SO, 0, 1 },
	    { B, 1, 40, 0, SO, 0, 1 } },
	  "0:1-40 first; 1:21-45 fork",
	  "fork 21" },
	{ "the later half of a cut begins nothing anew",
	  { { A, 1, 20, 0, SO, 20, 0 }, { B, 21, 30, 0, SO, 10, 0 }, { A, 21, 30, 0, SO, 10, 1 } },
	  "0:1-30 first; 1:21-30 fork",
	  "fork 21" },
	{ "three",
	  { { A, 1, 30, 0, SO, 30, 0 },
	    { B, 1, 40, 0, SO, 20, 1 },
	    { D, 1, 50, 0, SO, 25, 1 },
	    { E, 1, 12, 0, SO, 2, 1 } },
	  "0:1-30 first; 1:21-40 fork; 2:26-50 fork; 3:11-12 fork",
	  "fork 21, fork 26, fork 11" },
	{ "another from the first",
	  { { A, 1, 10, 0, SO, 10, 0 }, { C, 1, 10, 0, SO, 10, 1 }, { C, 11, 20, 0, SO, 10, 1 } },
	  "0:1-10 first; 1:1-20 fork",
	  "fork 1" },
	{ "a hole",
	  { { A, 1, 10, 0, SO, 10, 0 }, { A, 21, 30, 1, SO, 10, 0 }, { A, 31, 40, 0, SO, 10, 0 } },
	  "0:1-10 first; 1:21-40 hole",
	  "hole 21" },
	{ "a hole, again",
	  { { A, 1, 10, 0, SO, 10, 0 },
	    { A, 21, 30, 1, SO, 10, 0 },
	    { A, 21, 30, 1, SO, 0, 0 },
	    { A, 25, 35, 1, SO, 5, 0 } },
	  "0:1-10 first; 1:21-35 hole",
	  "hole 21" },
	{ "begins behind the first: pruned before it delivered anything",
	  { { A, 21, 30, 1, SO, 10, 0 } },
	  "0:21-30 hole",
	  "hole 21" },
	{ "a hole is filled",
	  { { A, 21, 30, 1, SO, 10, 0 }, { A, 1, 40, 0, SO, 30, 0 } },
	  "0:21-40 hole; 1:1-20 first",
	  "hole 21" },
	{ "a hole is filled by what ends in it",
	  { { A, 21, 30, 1, SO, 10, 0 }, { A, 1, 25, 0, SO, 20, 0 }, { A, 31, 35, 0, SO, 5, 0 } },
	  "0:21-35 hole; 1:1-20 first",
	  "hole 21" },
	{ "begins beside other records: two histories",
	  { { A, 1, 30, 0, SO, 30, 0 }, { B, 26, 35, 1, SO, 10, 1 } },
	  "0:1-30 first; 1:26-35 fork",
	  "fork 26" },
	{ "two islands, and what lies between",
	  { { A, 11, 20, 1, SO, 10, 0 }, { A, 31, 40, 1, SO, 10, 0 }, { A, 1, 60, 0, SO, 40, 0 } },
	  "0:11-30 hole; 1:31-60 hole; 2:1-10 first",
	  "hole 11, hole 31" },
};

static void tell_matters(const struct look *l, char *text, size_t size)
{
	size_t n = 0;

	text[0] = '\0';
	for (size_t i = 0; i < l->matters; i++)
		n += (size_t)snprintf(text + n, size - n, "%s%s %" PRIu64, i ? ", " : "",
				      pw_matter_name(l->matter[i].kind), l->matter[i].seq);
}

static void play(int kind, const struct story *story)
{
	struct pw_store *s = stores[kind];
	static struct look l;
	char text[400];

	make_journals();
	for (size_t i = 0; story->step[i].from != 0; i++) {
		struct pw_took took = take(s, &journal[story->step[i].journal], story->step[i].from,
					   story->step[i].upto, story->step[i].begins);

		if ((int)took.how != story->step[i].how || took.fresh != story->step[i].fresh ||
		    took.fork != story->step[i].fork)
			fail_msg("%s, %s, step %zu: how %d, fresh %" PRIu64 ", fork %d",
				 kinds[kind], story->name, i + 1, (int)took.how, took.fresh,
				 took.fork);
	}
	look(s, &l);
	tell_branches(&l, text, sizeof(text));
	if (strcmp(text, story->branches) != 0)
		fail_msg("%s, %s: %s", kinds[kind], story->name, text);
	tell_matters(&l, text, sizeof(text));
	if (strcmp(text, story->matters) != 0)
		fail_msg("%s, %s: %s", kinds[kind], story->name, text);
}

static void test_stories(void **state)
{
	(void)state;
	for (int kind = 0; kind < 2; kind++)
		for (size_t i = 0; i < sizeof(stories) / sizeof(stories[0]); i++)
			play(kind, &stories[i]);
}

/* -- what records mean goes with them, once ---------------------------------------------------- */

static void test_meaning(void **state)
{
	static struct made m;
	static struct look l;
	struct pw_batch *b;
	struct pw_took took;
	char why[240];

	(void)state;
	for (int kind = 0; kind < 2; kind++) {
		struct pw_store *s = stores[kind];

		made_begin(&m, "14", next_epoch(), 1);
		made_grow(&m, 4);
		made_add(&m, PW_K_RUNG, "{\"name\":\"office\",\"notify\":true,\"at_ms\":5}");
		made_grow(&m, 10);
		b = made_batch(&m, 5, 5, false); /* the alert, before its turn, and twice */
		for (int i = 0; i < 2; i++) {
			assert_int_equal(pw_store_begin(s, why, sizeof(why)), 0);
			assert_int_equal(pw_take_alert(s, b, MADE_NOW, &took, why, sizeof(why)), 0);
			assert_int_equal(pw_store_commit(s, why, sizeof(why)), 0);
			assert_int_equal(took.fresh, i == 0);
		}
		pw_batch_free(b);
		look(s, &l);
		assert_int_equal(l.branches, 0);
		assert_int_equal(l.matters, 1);
		assert_int_equal(take(s, &m, 1, 10, false).fresh, 10);
		look(s, &l);
		assert_int_equal(l.matters, 1);
		assert_int_equal(l.matter[0].kind, PW_MATTER_RUNG);
		assert_string_equal(l.matter[0].hash, m.record[5].hash);
	}
}

/* -- heads ------------------------------------------------------------------------------------- */

static void test_heads(void **state)
{
	struct pw_store *s = stores[0];
	static struct made m;
	json_t *heads;
	char why[240];
	int result;

	(void)state;
	next_epoch();
	for (unsigned i = 0; i < 20; i++) { /* more histories than a bus is told of */
		made_begin(&m, "14", epoch, 1);
		made_rewind(&m, 0, i + 1);
		made_grow(&m, 2 + i);
		assert_int_equal(take(s, &m, 1, 2 + i, false).fork, i > 0);
	}
	heads = pw_take_heads(s, "14", epoch, &result, why, sizeof(why));
	assert_int_equal(json_array_size(heads), PW_HEADS_GIVEN);
	json_decref(heads);
	heads = pw_take_heads(s, "14", next_epoch(), &result, why, sizeof(why));
	assert_int_equal(json_array_size(heads), 0);
	json_decref(heads);
}

/* -- random deliveries ------------------------------------------------------------------------- */

#define LENGTH 40
#define WORLDS 4

struct union_of { /* by seq: the different hashes that all journals together have there */
	char hash[LENGTH + 1][WORLDS][65];
	unsigned count[LENGTH + 1];
};

static void add_to(struct union_of *u, const struct made *m)
{
	for (size_t n = 1; n <= m->records; n++) {
		bool there = false;

		for (unsigned i = 0; i < u->count[n]; i++)
			there |= strcmp(u->hash[n][i], m->record[n].hash) == 0;
		if (!there)
			memcpy(u->hash[n][u->count[n]++], m->record[n].hash, 65);
	}
}

/* One branch read back: a chain, and each record one of the union, which loses it. */
struct reading {
	struct union_of *left;
	const struct pw_branch *branch;
	const struct pw_secret_key *key;
	uint64_t next;
	char prev[65];
	bool sealed;
};

static int read_one(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct reading *g = ctx;
	unsigned i = 0, *count = &g->left->count[r->seq];
	char hash[65];

	assert_int_equal(r->seq, g->next);
	assert_string_equal(r->prev, g->prev);
	pw_record_hash("14", r, hash);
	assert_string_equal(r->hash, hash);
	while (i < *count && strcmp(g->left->hash[r->seq][i], hash) != 0)
		i++;
	if (i == *count)
		fail_msg("branch %u: record %" PRIu64 " is there twice, or is nobody's",
			 g->branch->branch, r->seq);
	memcpy(g->left->hash[r->seq][i], g->left->hash[r->seq][--*count], 65);
	g->sealed = seal != NULL;
	if (seal)
		assert_true(pw_seal_holds("14", r->epoch, seal, &g->key->public));
	memcpy(g->prev, hash, sizeof(g->prev));
	g->next++;
	return 0;
}

/* Another branch begins behind it: a hole that was filled from before. */
static bool goes_on(const struct look *l, const struct pw_branch *b)
{
	for (size_t i = 0; i < l->branches; i++)
		if (l->branch[i].first == b->head + 1 &&
		    strcmp(l->branch[i].first_prev, b->hash) == 0)
			return true;
	return false;
}

static void assert_union(struct pw_store *s, const struct made *world, size_t worlds)
{
	static struct union_of left;
	static struct look l;
	char why[240];

	memset(&left, 0, sizeof(left));
	for (size_t i = 0; i < worlds; i++)
		add_to(&left, &world[i]);
	look(s, &l);
	for (size_t i = 0; i < l.branches; i++) {
		struct reading g = { .left = &left, .branch = &l.branch[i], .key = &world[0].key,
				     .next = l.branch[i].first };

		memcpy(g.prev, l.branch[i].first_prev, sizeof(g.prev));
		assert_int_equal(pw_store_read(s, "14", world[0].epoch, l.branch[i].branch, 1,
					       read_one, &g, why, sizeof(why)),
				 0);
		assert_int_equal(g.next, l.branch[i].head + 1);
		assert_string_equal(g.prev, l.branch[i].hash);
		assert_true(g.sealed || goes_on(&l, &l.branch[i]));
	}
	for (size_t n = 1; n <= LENGTH; n++)
		if (left.count[n] > 0)
			fail_msg("record %zu of some journal is missing", n);
}

static void make_worlds(struct made *world, uint64_t *seed)
{
	for (unsigned i = 0; i < WORLDS; i++) {
		const struct made *from = &world[i > 0 ? made_random(seed) % i : 0];

		if (i == 0)
			made_begin(&world[0], "14", next_epoch(), 1);
		else
			world[i] = *from;
		for (size_t n = 1; n <= world[i].records; n++)
			world[i].record[n].body = world[i].body[n];
		if (i > 0)
			made_rewind(&world[i], made_random(seed) % world[i].records, i);
		made_grow(&world[i],
			  world[i].records + 1 + made_random(seed) % (LENGTH - world[i].records));
	}
}

static void deliver_randomly(struct pw_store *s, struct made *world, uint64_t *seed)
{
	for (int n = 0; n < 12; n++) {
		const struct made *m = &world[made_random(seed) % WORLDS];
		const size_t from = 1 + made_random(seed) % m->records,
			     upto = from + made_random(seed) % (m->records - from + 1);

		take(s, m, from, upto, made_random(seed) % 3 == 0);
	}
}

/* In the end every journal comes whole, in pieces. */
static void deliver_all(struct pw_store *s, struct made *world, uint64_t *seed)
{
	const uint64_t first = made_random(seed);

	for (unsigned i = 0; i < WORLDS; i++) {
		const struct made *m = &world[(first + i) % WORLDS];

		for (size_t from = 1, upto; from <= m->records; from = upto + 1) {
			upto = from + made_random(seed) % (m->records - from + 1);
			assert_int_equal(take(s, m, from, upto, false).how, PW_TAKEN_SO);
		}
	}
}

static void test_random(void **state)
{
	static const int rounds[2] = { 120, 25 };
	static struct made world[WORLDS];
	uint64_t seed = made_seed();

	(void)state;
	for (int kind = 0; kind < 2; kind++)
		for (int round = 0; round < rounds[kind]; round++) {
			make_worlds(world, &seed);
			deliver_randomly(stores[kind], world, &seed);
			deliver_all(stores[kind], world, &seed);
			assert_union(stores[kind], world, WORLDS);
		}
}

static int set_up(void **state)
{
	(void)state;
	snprintf(dir, sizeof(dir), "%s/postwalk-take-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	if (!mkdtemp(dir))
		return -1;
	pg_begin(&pg, NULL);
	for (int kind = 0; kind < 2; kind++)
		stores[kind] = open_store(kind);
	return 0;
}

static int tear_down(void **state)
{
	char command[100];

	(void)state;
	for (int kind = 0; kind < 2; kind++)
		pw_store_close(stores[kind]);
	pg_end(&pg);
	snprintf(command, sizeof(command), "rm -rf '%s'", dir);
	return system(command);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_stories),
		cmocka_unit_test(test_meaning),
		cmocka_unit_test(test_heads),
		cmocka_unit_test(test_random),
	};

	return cmocka_run_group_tests(tests, set_up, tear_down);
}
