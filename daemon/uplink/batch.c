/* SPDX-License-Identifier: Apache-2.0 */
/* A batch, or an alert, and the receipt for it. */
#include "uplink_internal.h"

#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zstd.h>

#include "postwalk/journal.h"

#define LEVEL 3

/* -- what is sent ------------------------------------------------------------------------------ */

/* The line before at; NULL: there is none. Its length without the LF. */
static const char *line_before(const char *text, const char *at, size_t *length)
{
	const char *begin;

	if (at == text || at[-1] != '\n')
		return NULL;
	begin = memrchr(text, '\n', (size_t)(at - text) - 1);
	begin = begin != NULL ? begin + 1 : text;
	*length = (size_t)(at - begin) - 1;
	return begin;
}

/* The receipt must be for the last record that was sent. 0 or -1. */
static int find_last(const char *text, size_t length, struct pw_receipt *want)
{
	struct pw_export_line line;
	const char *at = text + length;
	enum pw_export_kind kind;
	char why[200];
	size_t n;

	do {
		at = line_before(text, at, &n);
		if (at == NULL || pw_export_read(at, n, &line, why, sizeof(why)) < 0)
			return -1;
		kind = line.kind;
		if (kind == PW_X_RECORD) {
			want->seq = line.record.seq;
			memcpy(want->epoch, line.record.epoch, sizeof(want->epoch));
			memcpy(want->hash, line.record.hash, sizeof(want->hash));
		}
		pw_export_free(&line);
	} while (kind == PW_X_SEAL || kind == PW_X_END);
	return kind == PW_X_RECORD ? 0 : -1;
}

/* What may go packed goes packed; where that fails, as it is. To be freed. */
static void *pack(struct pw_question *q)
{
	const size_t most = ZSTD_compressBound(q->length);
	void *packed = malloc(most);
	size_t n = packed != NULL ? ZSTD_compress(packed, most, q->body, q->length, LEVEL) : 0;

	if (packed == NULL || ZSTD_isError(n))
		return packed;
	q->body = packed;
	q->length = n;
	q->packed = true;
	return packed;
}

/* -- what comes back --------------------------------------------------------------------------- */

/* What of it is not of what was sent; NULL: it all is. */
static const char *differs_in(const struct pw_receipt *r, const struct pw_receipt *want)
{
	if (r->alert != want->alert)
		return want->alert ? "a batch and no alert" : "an alert and no batch";
	if (strcmp(r->bus, want->bus) != 0)
		return "another bus";
	if (strcmp(r->epoch, want->epoch) != 0)
		return "another epoch";
	if (r->seq != want->seq || strcmp(r->hash, want->hash) != 0)
		return "another record";
	return strcmp(r->nonce, want->nonce) != 0 ? "another request" : NULL;
}

static void take_receipt(const struct pw_link *link, const struct pw_answer *a,
			 const struct pw_receipt *want, struct pw_reply *reply)
{
	const char *other;
	char why[200];

	if (pw_receipt_read(a->text, a->length, &reply->receipt, why, sizeof(why)) < 0)
		pw_reply_set(reply, PW_SAID_REFUSED, "the answer cannot be understood: %s", why);
	else if ((other = differs_in(&reply->receipt, want)) != NULL)
		pw_reply_set(reply, PW_SAID_STRANGER, "the receipt is for %s", other);
	else if (!pw_receipt_holds(&reply->receipt, &link->place.key))
		pw_reply_set(reply, PW_SAID_STRANGER, "the receipt is not signed by the office of "
			     "this bus");
}

static void take_answer(const struct pw_link *link, const struct pw_answer *a,
			const struct pw_receipt *want, struct pw_reply *reply)
{
	json_t *answer = pw_answer_read(a, reply);

	if (reply->said == PW_SAID_SO) {
		reply->fork = json_is_true(json_object_get(answer, "fork"));
		take_receipt(link, a, want, reply);
	} else if (reply->said == PW_SAID_GAP && pw_heads_read(answer, &reply->heads) < 0) {
		pw_answer_is_strange(reply, "heads");
	}
	json_decref(answer);
}

/* -- one request ------------------------------------------------------------------------------- */

static void draw_nonce(char nonce[33])
{
	unsigned char random[16];

	randombytes_buf(random, sizeof(random));
	sodium_bin2hex(nonce, 33, random, sizeof(random));
}

static void send_batch(struct pw_link *link, const char *what, struct pw_question *q, bool begins,
		       struct pw_receipt *want, struct pw_reply *reply)
{
	char path[PW_NAME_MAX + 32], query[64];
	struct pw_answer a;
	void *packed;

	memset(reply, 0, sizeof(*reply));
	if (find_last(q->body, q->length, want) < 0) {
		pw_reply_set(reply, PW_SAID_REFUSED, "what was to be sent is no batch");
		return;
	}
	draw_nonce(want->nonce);
	snprintf(path, sizeof(path), "/v1/bus/%.31s/%s", want->bus, what);
	snprintf(query, sizeof(query), "nonce=%s%s", want->nonce, begins ? "&begins=1" : "");
	q->path = path;
	q->query = query;
	q->type = "application/jsonl";
	packed = link->packs && !want->alert ? pack(q) : NULL;
	if (pw_link_ask(link, q, &a, reply))
		take_answer(link, &a, want, reply);
	free(packed);
}

void pw_link_records(struct pw_link *link, const char *bus, const void *text, size_t length,
		     bool begins, struct pw_reply *reply)
{
	struct pw_receipt want = { .alert = false };
	struct pw_question q = { .body = text, .length = length };

	snprintf(want.bus, sizeof(want.bus), "%s", bus);
	send_batch(link, "records", &q, begins, &want, reply);
}

void pw_link_alert(struct pw_link *link, const char *bus, const void *text, size_t length,
		   struct pw_reply *reply)
{
	struct pw_receipt want = { .alert = true };
	struct pw_question q = { .body = text, .length = length };

	snprintf(want.bus, sizeof(want.bus), "%s", bus);
	send_batch(link, "alert", &q, false, &want, reply);
}
