/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Receipts of the office, as the writer takes them: each is held against the office's key and against the
 * record that it names before it is journaled. The newest of all up to a record also stands outside the
 * database, so that a journal which is put back older than that shows (J6).
 */
#include "child_internal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

__attribute__((format(printf, 3, 4)))
static int refuse(char *words, size_t size, const char *format, ...)
{
	va_list args;

	va_start(args, format);
	vsnprintf(words, size, format, args);
	va_end(args);
	return 0;
}

/* Each as pw_child_receipt. */

static int is_the_offices(const struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	struct pw_public_key office;

	if (pw_office_key(c->order->dir, &office, words, size) < 0)
		return 0;
	return pw_receipt_holds(r, &office) ? 1
		: refuse(words, size, "the receipt is not signed by the office's key");
}

static int is_ours(const struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	const char *epoch = pw_journal_epoch(c->journal);

	if (strcmp(r->bus, c->order->bus) != 0)
		return refuse(words, size, "the receipt is of bus %s, not %s", r->bus, c->order->bus);
	if (strcmp(r->epoch, epoch) != 0)
		return refuse(words, size, "the receipt is of epoch %s, not %s", r->epoch, epoch);
	if (r->seq == 0 || r->seq > pw_journal_sealed(c->journal))
		return refuse(words, size, "the receipt is of seq %" PRIu64 ", which never left", r->seq);
	return 1;
}

static int names_a_record(struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	struct pw_record record;
	int result = pw_journal_read(c->journal, r->seq, &record, words, size);

	pw_journal_rest(c->journal);
	if (result < 0)
		return result;
	if (result == 0 || record.seq != r->seq)
		return refuse(words, size, "the receipt is of seq %" PRIu64 ", which is not there any more",
			      r->seq);
	return strcmp(record.hash, r->hash) == 0 ? 1
		: refuse(words, size, "the receipt is of another record than seq %" PRIu64, r->seq);
}

static int names_an_alert(struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	int result = r->alert ? pw_journal_is_alert(c->journal, r->seq, words, size) : 1;

	return result != 0 ? result
		: refuse(words, size, "the receipt is of an alert, and seq %" PRIu64 " is none", r->seq);
}

/* 1: the journal does not say so yet. */
static int is_new(struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	uint64_t waits;
	int result;

	if (!r->alert)
		return r->seq > c->receipt.seq;
	result = pw_journal_alert(c->journal, r->seq, &waits, words, size);
	return result == 1 ? waits == r->seq : result;
}

static int journal(struct pw_child *c, const struct pw_receipt *r, char *why, size_t size)
{
	int result = pw_journal_add_receipt(c->journal, r, &c->row, &c->key, why, size);

	if (result < 0)
		return result;
	c->out.of.done.seq = pw_journal_head(c->journal, NULL);
	pw_child_tell(c, PW_M_DONE, c->row.batch, sizeof(c->out.of.done));
	if (!r->alert) {
		c->receipt = *r;
		pw_child_receipt_outside(c);
		pw_child_tell_trouble(c);
	}
	return pw_serve_count(c, why, size);
}

int pw_child_receipt(struct pw_child *c, const struct pw_receipt *r, char *words, size_t size)
{
	int result;

	if ((result = is_the_offices(c, r, words, size)) != 1
	    || (result = is_ours(c, r, words, size)) != 1
	    || (result = names_a_record(c, r, words, size)) != 1
	    || (result = names_an_alert(c, r, words, size)) != 1)
		return result;
	if ((result = is_new(c, r, words, size)) == 1)
		result = journal(c, r, words, size);
	return result < 0 ? result : 1;
}

/* -- outside the database ---------------------------------------------------------------------- */

/* After the commit: the file never says more than the journal has. */
void pw_child_receipt_outside(struct pw_child *c)
{
	c->receipt_waits = pw_receipt_file_write(c->order->dir, &c->receipt) < 0;
	if (c->receipt_waits) {
		pw_child_say(c->ill[PW_ILL_RECEIPT], "the receipt file is not reaching the disk: %s: %s",
			     c->order->dir, strerror(errno));
		c->seal_at_ms = pw_child_clock_ms(CLOCK_BOOTTIME) + c->order->pace.retry_ms;
	} else {
		c->ill[PW_ILL_RECEIPT][0] = '\0';
	}
}

int pw_child_receipt_find(struct pw_child *c, char *why, size_t size)
{
	struct pw_public_key office;
	struct pw_receipt f;
	char words[PW_WORDS_MAX];
	int result = pw_journal_receipt(c->journal, &c->receipt, why, size);

	if (result <= 0) {
		c->receipt.seq = 0;
		return result;
	}
	if (pw_office_key(c->order->dir, &office, words, sizeof(words)) == 0
	    && pw_receipt_holds(&c->receipt, &office)
	    && (pw_receipt_witness(c->order->dir, &f) != 1 || f.seq != c->receipt.seq
		|| strcmp(f.epoch, c->receipt.epoch) != 0))
		pw_child_receipt_outside(c);
	return 0;
}
