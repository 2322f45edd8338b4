/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Pruning (J11): whole sealed stretches from the beginning, of records that are older than keep_days
 * and receipted by the office, or twice as old. The wall clock alone is not believed: one that was set
 * far ahead would drop all there is. So records without a receipt go only when the journal itself
 * has entries of many days after them.
 */
#include "delivered_internal.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal_internal.h"

#define DAY_MS INT64_C(86400000)
#define MOST 4096       /* records dropped at one time: a start is not to be long */
#define DAYS_SEEN 4     /* at least keep_days by this: a school year has 180 days of 365 */

struct prune {
	struct pw_journal *j;
	uint64_t target, seals;
	char *why;
	size_t size;
};

/* The number that a statement of ours gives. */
__attribute__((format(printf, 3, 4)))
static int number(struct prune *p, uint64_t *out, const char *format, ...)
{
	char sql[512], answer[24];
	va_list args;
	int result;

	va_start(args, format);
	vsnprintf(sql, sizeof(sql), format, args);
	va_end(args);
	result = pw_journal_ask(p->j, sql, answer, sizeof(answer), p->why, p->size);
	*out = result == 0 ? strtoull(answer, NULL, 10) : 0;
	return result;
}

/* The last seal of which all records up to it are dated before that. */
static int last_before(struct prune *p, int64_t wall_ms, uint64_t *seq)
{
	const uint64_t end = p->j->pruned + MOST;
	uint64_t young, dated;
	int result;

	if ((result = number(p, &young, "SELECT coalesce(min(seq), %" PRIu64 ") FROM record WHERE seq <= %"
			     PRIu64 " AND wall_ok = 1 AND wall_ms >= %" PRId64, end + 1, end, wall_ms)) < 0
	    || (result = number(p, &dated, "SELECT coalesce(max(seq), 0) FROM record WHERE seq < %"
				PRIu64 " AND wall_ok = 1", young)) < 0)
		return result;
	return number(p, seq, "SELECT coalesce(max(seq), 0) FROM seal WHERE seq <= %" PRIu64
		      " AND seq < %" PRIu64, dated, p->j->sealed);
}

/* -- what may go ------------------------------------------------------------------------------- */

static int receipted(struct prune *p, int64_t wall_ms, uint64_t *seq)
{
	struct pw_receipt receipt;
	uint64_t old;
	int result = pw_journal_receipt(p->j, &receipt, p->why, p->size);

	*seq = 0;
	if (result <= 0 || (result = last_before(p, wall_ms, &old)) < 0)
		return result;
	return number(p, seq, "SELECT coalesce(max(seq), 0) FROM seal WHERE seq <= %" PRIu64,
		      old < receipt.seq ? old : receipt.seq);
}

static int outlived(struct prune *p, int64_t wall_ms, uint32_t keep_days, uint64_t *seq)
{
	uint64_t days;
	int result = last_before(p, wall_ms, seq);

	if (result < 0 || *seq == 0)
		return result;
	result = number(p, &days, "SELECT count(DISTINCT wall_ms / %" PRId64 ") FROM record WHERE seq > %"
			PRIu64 " AND wall_ok = 1", DAY_MS, *seq);
	if (result == 0 && days < keep_days / DAYS_SEEN)
		*seq = 0;
	return result;
}

static int choose(struct prune *p, int64_t now_ms, uint32_t keep_days)
{
	uint64_t a, b;
	int result;

	if ((result = receipted(p, now_ms - keep_days * DAY_MS, &a)) < 0
	    || (result = outlived(p, now_ms - 2 * keep_days * DAY_MS, keep_days, &b)) < 0)
		return result;
	p->target = a > b ? a : b;
	return p->target > p->j->pruned ? 1 : 0;
}

/* -- letting it go ----------------------------------------------------------------------------- */

/* At the time of the record before it: notes from before now may still be on their way. */
static int note(struct prune *p)
{
	char sql[128], hash[65], body[256];
	struct pw_record r;
	struct pw_json o;
	int result;

	snprintf(sql, sizeof(sql), "SELECT hash FROM record WHERE seq = %" PRIu64, p->target);
	if ((result = pw_journal_ask(p->j, sql, hash, sizeof(hash), p->why, p->size)) < 0
	    || (result = number(p, &p->seals, "SELECT count(*) FROM seal WHERE seq <= %" PRIu64,
				p->target)) < 0
	    || (result = pw_journal_read(p->j, p->j->seq, &r, p->why, p->size)) < 0)
		return result;
	pw_journal_rest(p->j);
	pw_json_init(&o, body, sizeof(body));
	pw_json_open(&o, NULL, '{');
	pw_json_int(&o, "seq", (int64_t)p->target);
	pw_json_text(&o, "hash", hash, 64);
	pw_json_int(&o, "seals", (int64_t)p->seals);
	pw_json_close(&o, '}');
	pw_json_end(&o);
	r.kind = PW_K_PRUNE;
	r.body = body;
	return pw_journal_add(p->j, &r, p->why, p->size);
}

static int drop(struct prune *p)
{
	char sql[256];

	snprintf(sql, sizeof(sql), "UPDATE meta SET pruned = %" PRIu64 "; DELETE FROM seal WHERE seq <= %"
		 PRIu64 "; DELETE FROM record WHERE seq <= %" PRIu64, p->target, p->target, p->target);
	return pw_journal_run(p->j, sql, p->why, p->size);
}

int pw_journal_prune(struct pw_journal *j, struct pw_kept_row *row, int64_t now_ms, uint32_t keep_days,
		     const struct pw_secret_key *key, char *why, size_t size)
{
	struct prune p = { .j = j, .why = why, .size = size };
	int result;

	if (keep_days == 0 || (result = choose(&p, now_ms, keep_days)) == 0)
		return 0;
	if (result < 0 || (result = pw_journal_begin(j, why, size)) < 0
	    || (result = note(&p)) < 0 || (result = drop(&p)) < 0
	    || (result = pw_journal_seal(j, key, why, size)) < 0
	    || (result = pw_journal_keep(j, row, key, why, size)) < 0
	    || (result = pw_journal_commit(j, why, size)) < 0)
		return result;
	j->pruned = p.target;
	return 1;
}
