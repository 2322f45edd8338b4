/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A bus's records as it sealed them: J10 lines, which `postwalk verify` takes. A branch is given
 * with all that stands before it in the store, so that it begins where its chain does.
 */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "commands_internal.h"
#include "postwalk/text.h"

#define PIECES_MAX 64
#define PAGE 500

struct exporting {
	struct pw_order *order;
	const char *bus;
	char epoch[17];
	struct pw_branch *branch; /* all of the bus */
	size_t branches;
	struct { uint32_t branch; uint64_t from, upto; } piece[PIECES_MAX]; /* the last one first */
	size_t pieces;
	struct pw_public_key key[PIECES_MAX]; /* that the bus ever had */
	size_t keys;
	struct pw_public_key head;
	struct pw_seal let_go; /* what stood before all of it was purged up to here; seq 0: nothing */
	/* One page. */
	uint32_t at_branch;
	uint64_t at, upto;
	size_t on_page;
	FILE *text;
	uint64_t records, seals;
};

/* -- what is to be given ----------------------------------------------------------------------- */

static int keep_branch(void *ctx, const struct pw_branch *b)
{
	struct exporting *e = ctx;
	struct pw_branch *more;

	if ((e->branches & (e->branches - 1)) == 0) {
		more = realloc(e->branch, (e->branches ? e->branches * 2 : 1) * sizeof(*more));
		if (!more)
			return -1;
		e->branch = more;
	}
	e->branch[e->branches++] = *b;
	return 0;
}

static int keep_key(void *ctx, const struct pw_key_row *row)
{
	struct exporting *e = ctx;

	if (row->accepted && strcmp(row->bus, e->bus) == 0 && e->keys < PIECES_MAX)
		e->key[e->keys++] = row->key;
	return 0;
}

static bool is_asked_for(const struct exporting *e, const struct pw_branch *b)
{
	const struct pw_order *c = e->order;
	char digits[16];

	snprintf(digits, sizeof(digits), "%u", b->branch);
	return (!c->epoch || strcmp(c->epoch, b->epoch) == 0) &&
	       (!c->branch || strcmp(c->branch, digits) == 0);
}

/* The epoch begun last, unless another was asked for; of it the branch that moved last. */
static const struct pw_branch *choose(const struct exporting *e)
{
	const struct pw_branch *best = NULL;

	for (size_t i = 0; i < e->branches; i++) {
		const struct pw_branch *b = &e->branch[i];

		if (!is_asked_for(e, b))
			continue;
		if (!best || strcmp(best->epoch, b->epoch) != 0 || b->moved_ms >= best->moved_ms)
			best = b;
	}
	return best;
}

/* 1: the branch has that record; 0: it has not. */
static int has_record(struct pw_store *s, const struct pw_branch *b, uint64_t seq, const char *hash,
		      char *why, size_t size)
{
	char stored[65];
	int result;

	if (seq < b->first || seq > b->head)
		return 0;
	result = pw_store_hash(s, b->bus, b->epoch, b->branch, seq, stored, why, size);
	return result <= 0 ? result : strcmp(stored, hash) == 0;
}

/* From the branch back to where its chain begins, as far as it is here. */
static int find_pieces(struct pw_store *s, struct exporting *e, const struct pw_branch *b,
		       char *why, size_t size)
{
	uint64_t upto = b->head;

	while (b && e->pieces < PIECES_MAX) {
		const struct pw_branch *before = NULL;
		int has = 0;

		e->piece[e->pieces].branch = b->branch;
		e->piece[e->pieces].from = b->first;
		e->piece[e->pieces++].upto = upto;
		for (size_t i = 0; i < e->branches && !before; i++) {
			if (strcmp(e->branch[i].epoch, b->epoch) != 0 || b->first == 1)
				continue;
			has = has_record(s, &e->branch[i], b->first - 1, b->first_prev, why, size);
			if (has < 0)
				return has;
			before = has ? &e->branch[i] : NULL;
		}
		upto = b->first - 1;
		b = before;
	}
	return 0;
}

/* Its own records before that, or those of the branch that it left. */
static bool was_purged(const struct exporting *e, const struct pw_branch *b)
{
	for (size_t i = 0; i < e->branches; i++) {
		const struct pw_branch *other = &e->branch[i];

		if (strcmp(other->epoch, b->epoch) == 0 && other->purged > 0
		    && other->first >= b->first && other->first - other->purged < b->first)
			return true;
	}
	return false;
}

static void find_let_go(struct exporting *e)
{
	const uint64_t first = e->piece[e->pieces - 1].from;

	for (size_t i = 0; i < e->branches && first > 1; i++) {
		const struct pw_branch *b = &e->branch[i];

		if (strcmp(b->epoch, e->epoch) != 0
		    || b->branch != e->piece[e->pieces - 1].branch || !was_purged(e, b))
			continue;
		e->let_go.seq = first - 1;
		memcpy(e->let_go.hash, b->first_prev, sizeof(e->let_go.hash));
		pw_purged_make(e->bus, e->epoch, &e->let_go, &e->order->o->key);
	}
}

static int find_seal(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct exporting *e = ctx;

	(void)r;
	if (!seal)
		return 0;
	for (size_t i = 0; i < e->keys; i++)
		if (pw_seal_holds(e->bus, e->epoch, seal, &e->key[i]))
			e->head = e->key[i];
	return 1;
}

static int work_choose(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct exporting *e = ctx;
	const struct pw_branch *b;
	struct pw_bus_row row;
	int result = pw_store_branches(s, e->bus, NULL, keep_branch, e, why, size);

	if (result == 0)
		result = pw_store_keys(s, false, keep_key, e, why, size);
	if (result)
		return result;
	result = pw_store_bus(s, e->bus, &row, why, size);
	if (result < 0)
		return result;
	e->head = row.key;
	b = result == 0 ? NULL : choose(e);
	if (!b) {
		snprintf(why, size, "there is no such record of bus %s here", e->bus);
		return -2;
	}
	memcpy(e->epoch, b->epoch, sizeof(e->epoch));
	result = find_pieces(s, e, b, why, size);
	if (result == 0)
		find_let_go(e);
	if (result == 0)
		result = pw_store_read(s, e->bus, e->epoch, b->branch, b->first, find_seal, e, why,
				       size);
	return result < 0 ? result : 0;
}

/* -- giving it --------------------------------------------------------------------------------- */

static int give_record(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct exporting *e = ctx;
	char line[PW_EXPORT_LINE_MAX];

	if (r->seq > e->upto || e->on_page == PAGE)
		return 1;
	if (pw_export_record(r, line, sizeof(line)) < 0)
		return -2;
	fprintf(e->text, "%s\n", line);
	e->records++;
	if (seal && pw_export_seal(seal, line, sizeof(line)) >= 0) {
		fprintf(e->text, "%s\n", line);
		e->seals++;
	}
	e->at = r->seq + 1;
	e->on_page++;
	return 0;
}

static int work_page(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct exporting *e = ctx;
	int result =
		pw_store_read(s, e->bus, e->epoch, e->at_branch, e->at, give_record, e, why, size);

	return result < 0 ? result : 0;
}

/* Pages are gathered on the desk, and printed off it. */
static int give_piece(struct exporting *e, size_t i)
{
	char *text = NULL;
	size_t length;
	int status = 0;

	e->at_branch = e->piece[i].branch;
	e->at = e->piece[i].from;
	e->upto = e->piece[i].upto;
	while (status == 0 && e->at <= e->upto) {
		const uint64_t before = e->at;

		e->on_page = 0;
		e->text = open_memstream(&text, &length);
		if (!e->text)
			return pw_order_not(e->order, "there is no memory for it");
		status = pw_order_desk(e->order, work_page, e);
		fclose(e->text);
		if (status == 0 && fwrite(text, 1, length, e->order->out) != length)
			status = pw_order_not(e->order, "the export cannot be written");
		free(text);
		if (status == 0 && e->at == before)
			status = pw_order_not(e->order, "record %" PRIu64 " is not there", before);
	}
	return status;
}

static int give(struct exporting *e)
{
	char line[PW_EXPORT_LINE_MAX];
	int status = 0;

	pw_export_head(e->bus, &e->head, line, sizeof(line));
	fprintf(e->order->out, "%s\n", line);
	if (e->let_go.seq > 0) {
		pw_export_purged(&e->let_go, &e->order->o->key.public, line, sizeof(line));
		fprintf(e->order->out, "%s\n", line);
	}
	for (size_t i = e->pieces; i > 0 && status == 0; i--)
		status = give_piece(e, i - 1);
	if (status)
		return status;
	pw_export_end(e->records, e->seals, line, sizeof(line));
	fprintf(e->order->out, "%s\n", line);
	if (fflush(e->order->out) == 0)
		return 0;
	return pw_order_not(e->order, "the export cannot be written");
}

int pw_do_export(struct pw_order *c)
{
	struct exporting *e = calloc(1, sizeof(*e));
	int status;

	if (!e)
		return pw_order_not(c, "there is no memory for it");
	e->order = c;
	e->bus = c->argv[1];
	status = pw_order_desk(c, work_choose, e);
	if (status == 0)
		status = give(e);
	free(e->branch);
	free(e);
	return status;
}
