/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A checked batch into the store: each record once, and every branch an unbroken piece of chain.
 *
 * A hash stands for its record and for all before it. So a branch and a batch that have the same
 * hash at one seq are the same up to there, as far as both reach back, and where they part is found
 * by halving. What is new is put in runs: at the head that it follows, else as a branch of its own.
 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "intake_internal.h"

#define BRANCHES_MAX 1024 /* of one epoch: a journal put back on every day of three years */

struct taking {
	struct pw_store *s;
	const struct pw_batch *b;
	int64_t now_ms;
	struct pw_branch *branch; /* of this bus and epoch */
	size_t branches;
	uint32_t next; /* number of the next one */
	uint64_t fresh;
	bool untold; /* the store had it once, as far as can be told */
	char *why;
	size_t size;
};

static uint64_t first_seq(const struct pw_batch *b)
{
	return b->record[0].seq;
}

static uint64_t last_seq(const struct pw_batch *b)
{
	return b->record[b->records - 1].seq;
}

/* The batch's own word on seq, from the one before its first to its last. */
static const char *batch_hash(const struct pw_batch *b, uint64_t seq)
{
	return seq < first_seq(b) ? b->record[0].prev : b->record[seq - first_seq(b)].hash;
}

/* -- what the store has ------------------------------------------------------------------------ */

static int keep_branch(void *ctx, const struct pw_branch *branch)
{
	struct taking *t = ctx;

	if ((t->branches & (t->branches - 1)) == 0) {
		size_t room = t->branches == 0 ? 1 : t->branches * 2;
		struct pw_branch *more = realloc(t->branch, room * sizeof(*more));

		if (!more)
			return -1;
		t->branch = more;
	}
	t->branch[t->branches++] = *branch;
	if (branch->branch >= t->next)
		t->next = branch->branch + 1;
	return 0;
}

/* 1: that record of the branch is the batch's; 0: it is another. */
static int same_at(struct taking *t, const struct pw_branch *branch, uint64_t seq)
{
	const char *hash = batch_hash(t->b, seq);
	char stored[65];
	int found;

	if (seq == branch->head)
		return strcmp(branch->hash, hash) == 0;
	if (seq + 1 == branch->first)
		return strcmp(branch->first_prev, hash) == 0;
	found = pw_store_hash(t->s, t->b->bus, t->b->epoch, branch->branch, seq, stored, t->why,
			      t->size);
	return found <= 0 ? found : strcmp(stored, hash) == 0;
}

/* The greatest seq up to which the branch goes with the batch, given that it does at from. */
static int same_up_to(struct taking *t, const struct pw_branch *branch, uint64_t from,
		      uint64_t *upto)
{
	uint64_t most = branch->head < last_seq(t->b) ? branch->head : last_seq(t->b);
	uint64_t least = from, try = most;

	while (least < most) {
		int same = same_at(t, branch, try);

		if (same < 0)
			return same;
		if (same)
			least = try;
		else
			most = try - 1;
		try = least + (most - least + 1) / 2;
	}
	*upto = least;
	return 0;
}

static bool has_seq(const struct pw_branch *branch, uint64_t seq)
{
	return branch->first <= seq && seq <= branch->head;
}

static bool was_purged(const struct pw_branch *branch, uint64_t seq)
{
	return seq < branch->first && seq >= branch->first - branch->purged;
}

/* Where the branch and the batch, which have or had seq both, can be compared first. */
static uint64_t comparable(const struct pw_branch *branch, uint64_t seq)
{
	return has_seq(branch, seq) ? seq : branch->first - 1;
}

/* How far the store has the batch from seq on. upto: seq - 1 where it does not have that one. What
 * was purged and ends before the hash that is left of it cannot be told from another history. */
static int known_from(struct taking *t, uint64_t seq, uint64_t *upto)
{
	*upto = seq - 1;
	t->untold = false;
	for (size_t i = 0; i < t->branches; i++) {
		uint64_t at = comparable(&t->branch[i], seq), far = at;
		int same;

		if (!has_seq(&t->branch[i], seq) && !was_purged(&t->branch[i], seq))
			continue;
		t->untold |= at > last_seq(t->b);
		if (at > last_seq(t->b))
			continue;
		same = same_at(t, &t->branch[i], at);
		if (same > 0)
			same = same_up_to(t, &t->branch[i], at, &far) ? -1 : 1;
		if (same < 0)
			return same;
		if (same && far > *upto)
			*upto = far;
	}
	return 0;
}

/* Where the records from seq on, which the store does not have, end: before a branch that goes on
 * with them, or with the batch. */
static int new_up_to(struct taking *t, uint64_t seq, uint64_t *upto)
{
	*upto = last_seq(t->b);
	for (size_t i = 0; i < t->branches; i++) {
		const struct pw_branch *branch = &t->branch[i];
		int same;

		if (branch->first <= seq || branch->first > *upto)
			continue;
		same = same_at(t, branch, branch->first);
		if (same < 0)
			return same;
		if (same)
			*upto = branch->first - 1;
	}
	return 0;
}

/* -- where a run of new records goes ----------------------------------------------------------- */

struct place {
	struct pw_branch *head; /* whose head it follows, or NULL */
	enum pw_branch_why why; /* another branch begins; 0: it follows nothing in the store */
};

/* It follows nothing. Where the store has another record at that seq, or at the one before, these
 * are two histories, wherever they parted. */
static enum pw_branch_why apart(const struct taking *t, uint64_t seq)
{
	for (size_t i = 0; i < t->branches; i++)
		if (has_seq(&t->branch[i], seq) || has_seq(&t->branch[i], seq - 1) ||
		    was_purged(&t->branch[i], seq))
			return PW_BRANCH_FORK;
	return seq == 1 ? PW_BRANCH_FIRST : PW_BRANCH_HOLE;
}

static int find_place(struct taking *t, uint64_t seq, struct place *p)
{
	bool known = false, purged = false;

	*p = (struct place){ .head = NULL };
	for (size_t i = 0; i < t->branches; i++) {
		struct pw_branch *branch = &t->branch[i];
		int same = has_seq(branch, seq - 1) ? same_at(t, branch, seq - 1) : 0;

		if (same < 0)
			return same;
		known |= same;
		purged |= was_purged(branch, seq) || was_purged(branch, seq - 1);
		if (same && branch->head == seq - 1)
			p->head = branch;
	}
	if (!p->head && (known || purged))
		p->why = PW_BRANCH_FORK;
	else if (!p->head && (t->b->begins || seq == 1))
		p->why = apart(t, seq);
	return 0;
}

/* -- putting a run ----------------------------------------------------------------------------- */

/* The part of a list, in the order of seq, that is of the run. */
#define PART(put, list, count, from, upto)                                        \
	do {                                                                      \
		size_t at_ = 0, end_;                                             \
									          \
		while (at_ < t->b->count && t->b->list[at_].seq < (from))         \
			at_++;                                                    \
		for (end_ = at_; end_ < t->b->count && t->b->list[end_].seq <= (upto); end_++) \
			;                                                         \
		(put)->list = t->b->list + at_;                                   \
		(put)->count = end_ - at_;                                        \
	} while (0)

static void fill_put(const struct taking *t, uint64_t from, uint64_t upto, struct pw_put *put)
{
	PART(put, record, records, from, upto);
	PART(put, seal, seals, from, upto);
	PART(put, sweep, sweeps, from, upto);
	PART(put, standing, standings, from, upto);
	put->to.head = upto;
	memcpy(put->to.hash, batch_hash(t->b, upto), sizeof(put->to.hash));
	put->to.moved_ms = t->now_ms;
	put->day = pw_hours_day;
}

static void begin_branch(struct taking *t, uint64_t from, enum pw_branch_why why,
			 struct pw_put *put)
{
	put->begins = true;
	put->to = (struct pw_branch){ .branch = t->next, .why = why, .first = from,
				      .begun_ms = t->now_ms };
	memcpy(put->to.bus, t->b->bus, sizeof(put->to.bus));
	memcpy(put->to.epoch, t->b->epoch, sizeof(put->to.epoch));
	memcpy(put->to.first_prev, batch_hash(t->b, from - 1), sizeof(put->to.first_prev));
}

/* One of no record, as of the clock, comes with whatever is new. */
static int put_matters(struct taking *t, const struct pw_put *put)
{
	const uint64_t from = put->record[0].seq, upto = put->to.head;

	for (size_t i = 0; i < t->b->matters; i++) {
		struct pw_matter m = t->b->matter[i];

		if (m.seq != 0 && (m.seq < from || m.seq > upto))
			continue;
		m.branch = put->to.branch;
		if (pw_store_matter_put(t->s, &m, t->why, t->size) < 0)
			return -1;
	}
	return 0;
}

/* A branch that begins where none should. */
static int put_oddity(struct taking *t, const struct pw_branch *to)
{
	struct pw_matter m = { .kind = to->why == PW_BRANCH_FORK ? PW_MATTER_FORK : PW_MATTER_HOLE,
			       .branch = to->branch, .seq = to->first, .came_ms = t->now_ms };
	const struct pw_record *r = &t->b->record[to->first - first_seq(t->b)];

	if (to->why == PW_BRANCH_FIRST)
		return 0;
	memcpy(m.bus, to->bus, sizeof(m.bus));
	memcpy(m.epoch, to->epoch, sizeof(m.epoch));
	memcpy(m.hash, r->hash, sizeof(m.hash));
	m.at_ms = pw_clock_believed(r->wall_ms, r->wall_ok, t->now_ms) ? r->wall_ms : 0;
	pw_matter_say(&m, "");
	return pw_store_matter_put(t->s, &m, t->why, t->size) < 0 ? -1 : 0;
}

static int put_run(struct taking *t, const struct place *p, uint64_t from, uint64_t upto)
{
	struct pw_put put = { .begins = false };
	int result;

	if (p->head) {
		put.to = *p->head;
		put.was_head = p->head->head;
		memcpy(put.was_hash, p->head->hash, sizeof(put.was_hash));
	} else {
		begin_branch(t, from, p->why, &put);
	}
	fill_put(t, from, upto, &put);
	result = pw_store_put(t->s, &put, t->why, t->size);
	if (result == 0)
		result = put_matters(t, &put);
	if (result == 0 && put.begins)
		result = put_oddity(t, &put.to);
	if (result)
		return result;
	t->fresh += put.records;
	if (p->head) {
		*p->head = put.to;
		return 0;
	}
	return keep_branch(t, &put.to);
}

/* -- the whole --------------------------------------------------------------------------------- */

/* 1: it follows nothing that the store has, and does not say that it begins there. */
static int take_runs(struct taking *t)
{
	uint64_t upto, seq = first_seq(t->b);
	struct place p;
	int result;

	while (seq <= last_seq(t->b)) {
		result = known_from(t, seq, &upto);
		if (result == 0 && upto >= seq) {
			seq = upto + 1;
			continue;
		}
		if (result == 0 && t->untold)
			return 1;
		if (result == 0)
			result = find_place(t, seq, &p);
		if (result == 0 && !p.head && !p.why)
			return 1;
		if (result == 0)
			result = new_up_to(t, seq, &upto);
		if (result == 0)
			result = put_run(t, &p, seq, upto);
		if (result)
			return result;
		seq = upto + 1;
	}
	return 0;
}

static bool is_beside_another(const struct taking *t)
{
	for (size_t i = 0; i < t->branches; i++)
		if (t->branch[i].why == PW_BRANCH_FORK)
			return true;
	return false;
}

static int take_branches(struct taking *t, struct pw_took *took)
{
	int result =
		pw_store_branches(t->s, t->b->bus, t->b->epoch, keep_branch, t, t->why, t->size);

	if (result == 0 && t->branches >= BRANCHES_MAX) {
		snprintf(t->why, t->size, "expected fewer than %d branches of one epoch",
			 BRANCHES_MAX);
		return -2;
	}
	if (result == 0)
		result = take_runs(t);
	took->how = result == 1 ? PW_TAKEN_GAP : PW_TAKEN_SO;
	took->fresh = t->fresh;
	took->fork = is_beside_another(t);
	return result == 1 ? 0 : result;
}

int pw_take(struct pw_store *s, const struct pw_batch *b, int64_t now_ms, struct pw_took *took,
	    char *why, size_t size)
{
	struct taking t = { .s = s, .b = b, .now_ms = now_ms, .why = why, .size = size };
	int result = take_branches(&t, took);

	free(t.branch);
	if (result == 0)
		result = pw_store_bus_heard(s, b->bus, now_ms, pw_hours_day(now_ms), why, size);
	return result;
}

/* The record comes again in its place; what has to be known at once is the matter. */
int pw_take_alert(struct pw_store *s, const struct pw_batch *b, int64_t now_ms,
		  struct pw_took *took, char *why, size_t size)
{
	*took = (struct pw_took){ .how = PW_TAKEN_SO };
	for (size_t i = 0; i < b->matters; i++) {
		struct pw_matter m = b->matter[i];
		int fresh = pw_store_matter_put(s, &m, why, size);

		if (fresh < 0)
			return fresh;
		took->fresh += (uint64_t)fresh;
	}
	return pw_store_bus_heard(s, b->bus, now_ms, pw_hours_day(now_ms), why, size);
}

/* -- heads ------------------------------------------------------------------------------------- */

struct heads {
	struct pw_branch of[PW_HEADS_GIVEN];
	size_t count;
};

/* Where there are too many, the one that moved last makes room for none that moved before. */
static int keep_head(void *ctx, const struct pw_branch *branch)
{
	struct heads *h = ctx;
	size_t at = h->count;

	if (h->count == PW_HEADS_GIVEN) {
		at = 0;
		for (size_t i = 1; i < h->count; i++)
			if (h->of[i].moved_ms < h->of[at].moved_ms)
				at = i;
		if (h->of[at].moved_ms > branch->moved_ms)
			return 0;
		memmove(h->of + at, h->of + at + 1, (h->count - at - 1) * sizeof(h->of[0]));
		at = --h->count;
	}
	h->of[at] = *branch;
	h->count++;
	return 0;
}

json_t *pw_take_heads(struct pw_store *s, const char *bus, const char *epoch, int *result,
		      char *why, size_t size)
{
	struct heads h = { .count = 0 };
	json_t *array;

	*result = pw_store_branches(s, bus, epoch, keep_head, &h, why, size);
	if (*result)
		return NULL;
	array = json_array();
	for (size_t i = 0; i < h.count; i++)
		json_array_append_new(array, json_pack("{s:s,s:I,s:I,s:s}", "epoch", h.of[i].epoch,
			"branch", (json_int_t)h.of[i].branch, "seq", (json_int_t)h.of[i].head,
			"hash", h.of[i].hash));
	return array;
}
