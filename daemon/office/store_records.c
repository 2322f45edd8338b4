/* SPDX-License-Identifier: Apache-2.0 */
/* Branches and their records, put by compare-and-set of the head, and read back as they were
 * sent. */
#include <assert.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "rows_internal.h"

static const char *const branch_why[] = {
	[PW_BRANCH_FIRST] = "first", [PW_BRANCH_FORK] = "fork", [PW_BRANCH_HOLE] = "hole",
};

static enum pw_branch_why find_branch_why(const struct pw_cell *cell)
{
	char name[8];

	pw_cell_get_text(cell, name, sizeof(name));
	for (enum pw_branch_why w = PW_BRANCH_FIRST; w <= PW_BRANCH_HOLE; w++)
		if (strcmp(branch_why[w], name) == 0)
			return w;
	return 0;
}

/* -- branches ---------------------------------------------------------------------------------- */

static void get_branch(const struct pw_cell *cells, struct pw_branch *b)
{
	*b = (struct pw_branch){ .branch = (uint32_t)cells[2].number,
				 .why = find_branch_why(&cells[3]),
				 .first = (uint64_t)cells[4].number,
				 .head = (uint64_t)cells[5].number,
				 .begun_ms = cells[8].number, .moved_ms = cells[9].number,
				 .purged = (uint64_t)cells[10].number };
	pw_cell_get_text(&cells[0], b->bus, sizeof(b->bus));
	pw_cell_get_hex(&cells[1], b->epoch, sizeof(b->epoch));
	pw_cell_get_hex(&cells[6], b->first_prev, sizeof(b->first_prev));
	pw_cell_get_hex(&cells[7], b->hash, sizeof(b->hash));
}

struct branches {
	int (*take)(void *ctx, const struct pw_branch *b);
	void *ctx;
};

static int give_branch(void *ctx, const struct pw_cell *cells)
{
	const struct branches *all = ctx;
	struct pw_branch b;

	get_branch(cells, &b);
	return all->take(all->ctx, &b);
}

int pw_store_branches(struct pw_store *s, const char *bus, const char *epoch,
		      int (*take)(void *ctx, const struct pw_branch *b), void *ctx, char *why,
		      size_t size)
{
	struct branches all = { .take = take, .ctx = ctx };
	struct pw_cell args[2] = { { 0 } };

	if (bus == NULL)
		return pw_store_ask(s, PW_Q_BRANCHES, NULL, give_branch, &all, why, size);
	args[0] = pw_cell_text(bus);
	if (epoch == NULL)
		return pw_store_ask(s, PW_Q_BRANCHES_BUS, args, give_branch, &all, why, size);
	args[1] = pw_cell_hex(epoch);
	return pw_store_ask(s, PW_Q_BRANCHES_EPOCH, args, give_branch, &all, why, size);
}

static int get_hash(void *ctx, const struct pw_cell *cells)
{
	pw_cell_get_hex(&cells[0], ctx, 65);
	return 0;
}

int pw_store_hash(struct pw_store *s, const char *bus, const char *epoch, uint32_t branch,
		  uint64_t seq, char hash[65], char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_hex(epoch),
					pw_cell_number(branch), pw_cell_number((int64_t)seq) };

	return pw_store_ask_one(s, PW_Q_HASH, args, get_hash, hash, why, size);
}

/* -- putting ----------------------------------------------------------------------------------- */

/* The first four columns of each table. */
static void fill_key(const struct pw_put *put, uint64_t seq, struct pw_cell *cells)
{
	cells[0] = pw_cell_text(put->to.bus);
	cells[1] = pw_cell_hex(put->to.epoch);
	cells[2] = pw_cell_number(put->to.branch);
	cells[3] = pw_cell_number((int64_t)seq);
}

struct filling {
	const struct pw_put *put;
	char findings[PW_FINDINGS_TEXT_MAX];
};

static void fill_record(void *ctx, size_t i, struct pw_cell *cells)
{
	const struct pw_put *put = ((struct filling *)ctx)->put;
	const struct pw_record *r = &put->record[i];

	fill_key(put, r->seq, cells);
	cells[4] = pw_cell_number((int64_t)r->boot);
	cells[5] = pw_cell_number(r->mono_ms);
	cells[6] = pw_cell_number(r->wall_ms);
	cells[7] = pw_cell_number(r->wall_ok);
	cells[8] = pw_cell_text(pw_kind_name(r->kind));
	cells[9] = pw_cell_hex(r->hash);
	cells[10] = pw_cell_text(r->body);
}

static void fill_seal(void *ctx, size_t i, struct pw_cell *cells)
{
	const struct pw_put *put = ((struct filling *)ctx)->put;

	fill_key(put, put->seal[i].seq, cells);
	cells[4] = pw_cell_number(put->to.moved_ms);
	cells[5] = pw_cell_hex(put->seal[i].sig);
}

static void fill_sweep(void *ctx, size_t i, struct pw_cell *cells)
{
	struct filling *f = ctx;
	const struct pw_sweep_row *row = &f->put->sweep[i];

	fill_key(f->put, row->seq, cells);
	pw_findings_text(row->findings, f->findings);
	cells[4] = pw_cell_time(row->closed_ms);
	cells[5] = pw_cell_time(row->key_off_ms);
	cells[6] = pw_cell_time(row->walk_ms);
	cells[7] = pw_cell_time(row->return_ms);
	cells[8] = pw_cell_time(row->late_ms);
	cells[9] = pw_cell_number(row->came_ms);
	cells[10] = pw_cell_number(row->wall_ok);
	cells[11] = pw_cell_text(f->findings);
	cells[12] = pw_cell_number(row->refused);
	cells[13] = pw_cell_text(pw_verdict_name(row->verdict));
	cells[14] = pw_cell_text(row->rung);
}

static int add(struct pw_store *s, enum pw_store_table table, size_t rows,
	       void (*fill)(void *ctx, size_t i, struct pw_cell *cells), struct filling *f,
	       char *why, size_t size)
{
	return s->database->add(s, table, rows, fill, f, why, size);
}

static int64_t count_verdict(const struct pw_put *put, enum pw_verdict verdict)
{
	int64_t count = 0;

	for (size_t i = 0; i < put->sweeps; i++)
		count += put->sweep[i].verdict == verdict;
	return count;
}

static int begin_branch(struct pw_store *s, const struct pw_put *put, char *why, size_t size)
{
	const struct pw_branch *to = &put->to;
	const struct pw_cell args[] = {
		pw_cell_text(to->bus), pw_cell_hex(to->epoch), pw_cell_number(to->branch),
		pw_cell_text(branch_why[to->why]), pw_cell_number((int64_t)to->first),
		pw_cell_number((int64_t)to->head), pw_cell_hex(to->first_prev),
		pw_cell_hex(to->hash), pw_cell_number(to->begun_ms), pw_cell_number(to->moved_ms),
		pw_cell_number((int64_t)put->seals), pw_cell_number((int64_t)put->sweeps),
		pw_cell_number(count_verdict(put, PW_DOUBTFUL)),
		pw_cell_number(count_verdict(put, PW_MISSED)),
	};

	return pw_store_change(s, PW_Q_BRANCH_BEGIN, args, why, size);
}

static int move_branch(struct pw_store *s, const struct pw_put *put, char *why, size_t size)
{
	const struct pw_branch *to = &put->to;
	const struct pw_cell args[] = {
		pw_cell_number((int64_t)to->head), pw_cell_hex(to->hash),
		pw_cell_number(to->moved_ms),
		pw_cell_number((int64_t)put->seals), pw_cell_number((int64_t)put->sweeps),
		pw_cell_number(count_verdict(put, PW_DOUBTFUL)),
		pw_cell_number(count_verdict(put, PW_MISSED)),
		pw_cell_text(to->bus), pw_cell_hex(to->epoch), pw_cell_number(to->branch),
		pw_cell_number((int64_t)put->was_head), pw_cell_hex(put->was_hash),
	};

	return pw_store_change(s, PW_Q_BRANCH_MOVE, args, why, size);
}

static int put_standing(struct pw_store *s, const struct pw_put *put, const struct pw_standing *row,
			char *why, size_t size)
{
	const struct pw_cell args[] = {
		pw_cell_text(put->to.bus), pw_cell_text(row->name), pw_cell_number(row->on),
		pw_cell_number((int64_t)row->seq), pw_cell_time(row->since_ms),
		pw_cell_text(row->words),
	};

	return pw_store_ask(s, row->name[0] != '\0' ? PW_Q_STAND : PW_Q_STAND_NONE, args, NULL,
			    NULL, why, size);
}

/* The figures count on it that a branch is whole from first to head. */
static bool whole(const struct pw_put *put)
{
	uint64_t first = put->begins ? put->to.first : put->was_head + 1;

	for (size_t i = 0; i < put->records; i++)
		if (put->record[i].seq != first + i)
			return false;
	return put->records > 0 && put->to.head == first + put->records - 1
	       && strcmp(put->to.hash, put->record[put->records - 1].hash) == 0;
}

/* PostgreSQL takes nothing else, and would say so of the whole transaction. */
static int refuse_body(const struct pw_put *put, char *why, size_t size)
{
	for (size_t i = 0; i < put->records; i++)
		if (!pw_is_utf8(put->record[i].body)) {
			snprintf(why, size, "record %" PRIu64 " of bus %s is not UTF-8",
				 put->record[i].seq, put->to.bus);
			return -2;
		}
	return 0;
}

int pw_store_put(struct pw_store *s, const struct pw_put *put, char *why, size_t size)
{
	struct filling f = { .put = put };
	int result;

	assert(s->begun);
	if (!whole(put)) {
		snprintf(why, size, "records of bus %s do not lead from head to head", put->to.bus);
		return -2;
	}
	if (refuse_body(put, why, size) < 0)
		return -2;
	result = put->begins ? begin_branch(s, put, why, size) : move_branch(s, put, why, size);
	if (result == 0) {
		snprintf(why, size, "the head of bus %s, epoch %s, branch %" PRIu32 " is another "
			 "one by now", put->to.bus, put->to.epoch, put->to.branch);
		return -2;
	}
	if (result < 0
	    || (result = add(s, PW_T_RECORD, put->records, fill_record, &f, why, size)) < 0
	    || (result = add(s, PW_T_SEAL, put->seals, fill_seal, &f, why, size)) < 0
	    || (result = add(s, PW_T_SWEEP, put->sweeps, fill_sweep, &f, why, size)) < 0)
		return result;
	for (size_t i = 0; i < put->standings; i++)
		if ((result = put_standing(s, put, &put->standing[i], why, size)) < 0)
			return result;
	return pw_rows_note(s, put, why, size);
}

/* -- reading ----------------------------------------------------------------------------------- */

struct reading {
	int (*take)(void *ctx, const struct pw_record *r, const struct pw_seal *seal);
	void *ctx;
	struct pw_record r;
	size_t given;
};

static int give_record(void *ctx, const struct pw_cell *cells)
{
	struct reading *all = ctx;
	struct pw_record *r = &all->r;
	struct pw_seal seal = { .seq = (uint64_t)cells[0].number };
	char kind[16];
	int result;

	r->seq = (uint64_t)cells[0].number;
	r->boot = (uint64_t)cells[1].number;
	r->mono_ms = cells[2].number;
	r->wall_ms = cells[3].number;
	r->wall_ok = cells[4].number != 0;
	pw_cell_get_text(&cells[5], kind, sizeof(kind));
	r->kind = pw_kind_find(kind);
	r->body = cells[6].bytes;
	pw_cell_get_hex(&cells[7], r->hash, sizeof(r->hash));
	pw_cell_get_hex(&cells[8], seal.sig, sizeof(seal.sig));
	memcpy(seal.hash, r->hash, sizeof(seal.hash));
	result = all->take(all->ctx, r, cells[8].kind != PW_CELL_NONE ? &seal : NULL);
	memcpy(r->prev, r->hash, sizeof(r->prev));
	all->given++;
	return result;
}

static int copy_branch(void *ctx, const struct pw_cell *cells)
{
	get_branch(cells, ctx);
	return 0;
}

/* 1: the branch is there; from: at least its first record; prev: of that. */
static int begin_reading(struct pw_store *s, const struct pw_cell *args, const char *epoch,
			 uint64_t *from, char prev[65], char *why, size_t size)
{
	struct pw_branch b;
	int result = pw_store_ask_one(s, PW_Q_BRANCH, args, copy_branch, &b, why, size);

	if (result <= 0)
		return result;
	memcpy(prev, b.first_prev, sizeof(b.first_prev));
	if (*from <= b.first)
		*from = b.first;
	else
		result = pw_store_hash(s, b.bus, epoch, b.branch, *from - 1, prev, why, size);
	return result;
}

int pw_store_read(struct pw_store *s, const char *bus, const char *epoch, uint32_t branch,
		  uint64_t from,
		  int (*take)(void *ctx, const struct pw_record *r, const struct pw_seal *seal),
		  void *ctx, char *why, size_t size)
{
	struct pw_cell args[] = { pw_cell_text(bus), pw_cell_hex(epoch), pw_cell_number(branch),
				  { 0 } };
	struct reading all = { .take = take, .ctx = ctx };
	int result = begin_reading(s, args, epoch, &from, all.r.prev, why, size);

	if (result <= 0)
		return result;
	snprintf(all.r.epoch, sizeof(all.r.epoch), "%s", epoch);
	do {
		all.given = 0;
		args[3] = pw_cell_number((int64_t)from);
		result = pw_store_ask(s, PW_Q_READ, args, give_record, &all, why, size);
		from = all.r.seq + 1;
	} while (result == 0 && all.given > 0);
	return result;
}

/* -- the policy in force ----------------------------------------------------------------------- */

struct policies {
	const char *epoch;
	uint32_t branch, found_branch;
	uint64_t before, found; /* found 0: none yet */
};

/* Of the branch itself, else of one before it; the last of them. */
static int take_policy(void *ctx, const struct pw_cell *cells)
{
	struct policies *p = ctx;
	const uint32_t branch = (uint32_t)cells[1].number;
	const uint64_t seq = (uint64_t)cells[2].number;
	const bool own = branch == p->branch, had_own = p->found && p->found_branch == p->branch;
	char epoch[17];

	pw_cell_get_hex(&cells[0], epoch, sizeof(epoch));
	if (strcmp(epoch, p->epoch) != 0 || seq >= p->before || branch > p->branch ||
	    (had_own && !own) || (had_own == own && seq <= p->found))
		return 0;
	p->found = seq;
	p->found_branch = branch;
	return 0;
}

int pw_store_policy_before(struct pw_store *s, const char *bus, const char *epoch, uint32_t *branch,
			   uint64_t seq, uint64_t *at, char *why, size_t size)
{
	struct policies p = { .epoch = epoch, .branch = *branch, .before = seq };
	const struct pw_cell args[] = { pw_cell_text(bus) };
	int result = pw_store_ask(s, PW_Q_POLICIES, args, take_policy, &p, why, size);

	if (result < 0 || p.found == 0)
		return result;
	*branch = p.found_branch;
	*at = p.found;
	return 1;
}
