/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What a start believes of a journal (J6), from its tail: the chain from the last seal on, that seal,
 * the kept state, which is bound to the head, and outside the seal files and the office's last receipt.
 * Where it is not as these witnesses say, somebody touched it, or it is damaged, or an older copy was put back.
 */
#include "delivered_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "journal_internal.h"

struct judge {
	struct pw_journal *j;
	const struct pw_public_key *key; /* NULL: signatures are not looked at */
	char *why;
	size_t size;
};

#define REFUSE(g, ...) pw_journal_refuse((g)->j, (g)->why, (g)->size, __VA_ARGS__)

static int read_one(struct judge *g, uint64_t seq, struct pw_record *r)
{
	int result = pw_journal_read(g->j, seq, r, g->why, g->size);

	if (result < 0)
		return result;
	return result == 1 && r->seq == seq ? 0 : REFUSE(g, "seq %" PRIu64 " is not there", seq);
}

/* -- the tail ---------------------------------------------------------------------------------- */

static int judge_seal(struct judge *g, const struct pw_record *r)
{
	struct pw_seal s;
	int result = pw_journal_read_seal(g->j, r->seq, &s, g->why, g->size);

	if (result < 0)
		return result;
	if (result == 0 || s.seq != r->seq || strcmp(s.hash, r->hash) != 0)
		return REFUSE(g, "the seal of seq %" PRIu64 " is of another record", r->seq);
	if (g->key != NULL && !pw_seal_holds(g->j->bus, g->j->epoch, &s, g->key))
		return REFUSE(g, "the seal of seq %" PRIu64 " is not by the bus's key", r->seq);
	return 0;
}

static int judge_chain(struct judge *g)
{
	const uint64_t from = g->j->sealed > 0 ? g->j->sealed : g->j->pruned + 1;
	char hash[65], prev[65] = "";
	struct pw_record r;
	int result;

	if (g->j->sealed > g->j->seq)
		return REFUSE(g, "there is a seal of seq %" PRIu64 ", and the records end at %" PRIu64,
			      g->j->sealed, g->j->seq);
	for (uint64_t seq = from; seq <= g->j->seq; seq++) {
		if ((result = read_one(g, seq, &r)) < 0)
			return result;
		pw_record_hash(g->j->bus, &r, hash);
		if (strcmp(hash, r.hash) != 0 || strcmp(r.epoch, g->j->epoch) != 0
		    || (prev[0] != '\0' && strcmp(r.prev, prev) != 0))
			return REFUSE(g, "the chain does not hold at seq %" PRIu64, seq);
		if (seq == g->j->sealed && (result = judge_seal(g, &r)) < 0)
			return result;
		memcpy(prev, hash, sizeof(prev));
	}
	return strcmp(prev, g->j->hash) == 0 ? 0 : REFUSE(g, "the chain does not hold at its end");
}

/* -- the kept state ---------------------------------------------------------------------------- */

/* An epoch that was begun after another has its first records, sealed, before anything is kept. 1: so it
 * is here, and nothing has come since. */
static int is_fresh(struct judge *g)
{
	struct pw_record r;
	int result = 0;

	if (g->j->seq > 2 || g->j->seq != g->j->sealed)
		return 0;
	result = read_one(g, 1, &r);
	return result < 0 ? result : r.kind == PW_K_EPOCH;
}

static int judge_nothing_kept(struct judge *g)
{
	int result = is_fresh(g);

	if (result != 0)
		return result < 0 ? result : 0;
	return REFUSE(g, "the kept state is gone");
}

static int judge_kept(struct judge *g)
{
	struct pw_kept_row row;
	int result = pw_journal_kept(g->j, &row, g->why, g->size);

	if (result < 0)
		return result;
	if (result == 0)
		return judge_nothing_kept(g);
	if (row.seq != g->j->seq || strcmp(row.hash, g->j->hash) != 0)
		return REFUSE(g, "the kept state is of seq %" PRIu64 ", and the records end at %" PRIu64,
			      row.seq, g->j->seq);
	if (g->key != NULL && !pw_kept_holds(g->j->bus, g->j->epoch, &row, g->key))
		return REFUSE(g, "the kept state is not signed by the bus's key");
	return 0;
}

/* -- the seal files ---------------------------------------------------------------------------- */

/* The epoch that this one came after, as its first record has it; empty: none, or pruned. */
static int epoch_before(struct judge *g, char before[17])
{
	struct pw_record r;
	int result = g->j->pruned > 0 ? 0 : read_one(g, 1, &r);
	const char *epoch;
	json_t *body;

	before[0] = '\0';
	if (result < 0 || g->j->pruned > 0 || r.kind != PW_K_EPOCH)
		return result;
	body = json_loads(r.body, JSON_REJECT_DUPLICATES, NULL);
	epoch = json_string_value(json_object_get(json_object_get(body, "before"), "epoch"));
	if (epoch != NULL && pw_hex_text(epoch, 16))
		memcpy(before, epoch, 17);
	json_decref(body);
	return 0;
}

static int judge_own_file(struct judge *g, const struct pw_seal_file *f)
{
	struct pw_record r;
	struct pw_seal s;
	int result;

	if (g->key != NULL && !pw_seal_holds(f->bus, f->epoch, &f->seal, g->key))
		return REFUSE(g, "the seal file of seq %" PRIu64 " is not by the bus's key",
			      f->seal.seq);
	if (f->seal.seq > g->j->seq)
		return REFUSE(g, "it is older than its seal file: the records end at seq %" PRIu64
			      ", and seq %" PRIu64 " had been sealed", g->j->seq, f->seal.seq);
	if (f->seal.seq <= g->j->pruned)
		return 0;
	if ((result = read_one(g, f->seal.seq, &r)) < 0)
		return result;
	if (strcmp(r.hash, f->seal.hash) != 0)
		return REFUSE(g, "seq %" PRIu64 " is not the record that was sealed", r.seq);
	result = pw_journal_read_seal(g->j, f->seal.seq, &s, g->why, g->size);
	if (result < 0)
		return result;
	return result == 1 && s.seq == f->seal.seq ? 0
		: REFUSE(g, "the seal of seq %" PRIu64 " is gone", f->seal.seq);
}

/* 1: it is of an epoch before this one. Power may go before the files follow one that was just begun,
 * whatever they said. */
static int is_of_before(struct judge *g, const char *epoch, const char *before)
{
	if (strcmp(epoch, g->j->epoch) == 0)
		return 0;
	return strcmp(epoch, before) == 0 ? 1 : is_fresh(g);
}

static int judge_file(struct judge *g, const struct pw_seal_file *f, const char *before)
{
	int result = is_of_before(g, f->epoch, before);

	if (result != 0)
		return result < 0 ? result : 0;
	if (strcmp(f->bus, g->j->bus) != 0)
		return REFUSE(g, "a seal file is of bus %s", f->bus);
	return strcmp(f->epoch, g->j->epoch) == 0 ? judge_own_file(g, f)
		: REFUSE(g, "a seal file is of epoch %s, and the journal of %s", f->epoch, g->j->epoch);
}

/* The first seal's file may be what a power cut came before. */
static int judge_no_files(struct judge *g, const char *dir)
{
	char seals[24];
	int result = pw_journal_ask(g->j, "SELECT count(*) FROM seal", seals, sizeof(seals), g->why,
				    g->size);

	if (result == 0 && strtoull(seals, NULL, 10) > 1)
		snprintf(g->why, g->size, "%s: the seal files are gone", dir);
	return result;
}

static int judge_files(struct judge *g, const char *dir)
{
	struct pw_seal_file f[2];
	unsigned broken;
	int count = pw_seal_files_read(dir, f, &broken), result;
	const int error = errno;
	char before[17];

	if ((result = epoch_before(g, before)) < 0)
		return result;
	for (int i = 0; i < count; i++)
		if ((result = judge_file(g, &f[i], before)) < 0)
			return result;
	if (count < 0)
		snprintf(g->why, g->size, "%s: the seal files cannot be read: %s", dir, strerror(error));
	else if (broken > 0)
		snprintf(g->why, g->size, "%s: a seal file is not whole", dir);
	else if (count == 0)
		return judge_no_files(g, dir);
	return 0;
}

/* -- the office's last receipt ------------------------------------------------------------------ */

/* It went outside after the journal had it, so a journal that does not have it is an older one. */
static int judge_own_receipt(struct judge *g, const struct pw_receipt *f)
{
	struct pw_receipt last;
	struct pw_record r;
	int result;

	if (f->seq <= g->j->pruned)
		return 0;
	if ((result = pw_journal_receipt(g->j, &last, g->why, g->size)) < 0)
		return result;
	if (result == 0 || last.seq < f->seq)
		return REFUSE(g, "it is older than its receipt: the office has seq %" PRIu64
			      ", and no record says so", f->seq);
	if ((result = read_one(g, f->seq, &r)) < 0)
		return result;
	return strcmp(r.hash, f->hash) == 0 ? 0
		: REFUSE(g, "seq %" PRIu64 " is not the record that the office has", r.seq);
}

static int judge_witness(struct judge *g, const struct pw_receipt *f)
{
	char before[17];
	int result;

	if ((result = epoch_before(g, before)) < 0
	    || (result = is_of_before(g, f->epoch, before)) != 0)
		return result < 0 ? result : 0;
	if (strcmp(f->bus, g->j->bus) != 0)
		return REFUSE(g, "the receipt is of bus %s", f->bus);
	if (strcmp(f->epoch, g->j->epoch) == 0)
		return judge_own_receipt(g, f);
	return g->j->pruned > 0 ? 0 : REFUSE(g, "the receipt is of epoch %s, and the journal of %s",
					     f->epoch, g->j->epoch);
}

/* A bus that went over to another office has receipts of the one before. */
static int judge_no_witness(struct judge *g, const char *dir)
{
	struct pw_public_key office;
	struct pw_receipt last;
	char why[PW_WORDS_MAX];
	int result = pw_journal_receipt(g->j, &last, g->why, g->size);

	if (result <= 0 || pw_office_key(dir, &office, why, sizeof(why)) < 0
	    || !pw_receipt_holds(&last, &office)) {
		g->why[0] = '\0';
		return result < 0 ? result : 0;
	}
	snprintf(g->why, g->size, "%s: the receipt file is gone, or not the office's", dir);
	return 0;
}

static int judge_receipt(struct judge *g, const char *dir)
{
	struct pw_receipt f;
	char remark[PW_WORDS_MAX];
	int result;

	snprintf(remark, sizeof(remark), "%s", g->why);
	if (pw_receipt_witness(dir, &f) == 1)
		result = judge_witness(g, &f);
	else
		result = judge_no_witness(g, dir);
	if (result == 0 && remark[0] != '\0')
		snprintf(g->why, g->size, "%s", remark);
	return result;
}

/* -- all of it --------------------------------------------------------------------------------- */

/* One that was begun and cut has nothing at all; one that had records has left something. */
static int judge_empty(struct judge *g, const char *dir)
{
	struct pw_seal_file f[2];
	struct pw_kept_row row;
	struct pw_receipt r;
	unsigned broken;
	int count = dir != NULL ? pw_seal_files_read(dir, f, &broken) : 0;
	int result = pw_journal_kept(g->j, &row, g->why, g->size);
	bool had = (result == 1 && row.seq > 0) || g->j->sealed > 0
		   || (dir != NULL && pw_receipt_witness(dir, &r) == 1
		       && strcmp(r.epoch, g->j->epoch) == 0);

	for (int i = 0; i < count; i++)
		had = had || strcmp(f[i].epoch, g->j->epoch) == 0;
	if (result < 0 || had)
		return result < 0 ? result : REFUSE(g, "its records are gone");
	return result == 1 ? judge_kept(g) : 0; /* a state may be kept before any record */
}

int pw_journal_judge(struct pw_journal *j, const char *dir, const struct pw_public_key *key, char *why,
		     size_t size)
{
	struct judge g = { .j = j, .key = key, .why = why, .size = size };
	int result;

	why[0] = '\0';
	if (j->seq == 0)
		result = judge_empty(&g, dir);
	else if ((result = judge_chain(&g)) == 0 && (result = judge_kept(&g)) == 0 && dir != NULL
		 && (result = judge_files(&g, dir)) == 0)
		result = judge_receipt(&g, dir);
	pw_journal_rest(j);
	return result;
}

int pw_journal_quick_check(struct pw_journal *j, char *why, size_t size)
{
	static const char heading[] = "*** in database main ***\n";
	char first[160];
	const char *words;
	int result = pw_journal_ask(j, "PRAGMA integrity_check(1)", first, sizeof(first), why, size);

	if (result < 0)
		return result;
	words = strncmp(first, heading, strlen(heading)) == 0 ? first + strlen(heading) : first;
	return strcmp(words, "ok") == 0 ? 0
		: pw_journal_refuse(j, why, size, "%.*s", (int)strcspn(words, "\n"), words);
}
