/* SPDX-License-Identifier: Apache-2.0 */
/* What is answered: JSON on one line. */
#include <stdlib.h>
#include <string.h>

#include "server_internal.h"

#define ANSWER_MAX 1024

/* Takes text, which is malloced. */
static enum MHD_Result send_text(struct pw_request *r, unsigned status, char *text)
{
	static const struct { unsigned status; const char *name, *value; } more[] = {
		{ 401, "WWW-Authenticate", "Bearer" },             /* RFC 9110 11.6.1 */
		{ 415, "Accept-Encoding", "zstd, gzip" },          /* RFC 9110 15.5.16 */
	};
	struct MHD_Response *answer =
		text ? MHD_create_response_from_buffer(strlen(text), text, MHD_RESPMEM_MUST_FREE)
		     : NULL;
	enum MHD_Result sent;
	char digits[16];

	if (!answer) {
		free(text);
		return MHD_NO;
	}
	MHD_add_response_header(answer, "Content-Type", "application/json");
	MHD_add_response_header(answer, "Cache-Control", "no-store");
	for (size_t i = 0; i < sizeof(more) / sizeof(more[0]); i++)
		if (more[i].status == status)
			MHD_add_response_header(answer, more[i].name, more[i].value);
	if (status == 405) /* RFC 9110 15.5.6 */
		MHD_add_response_header(answer, "Allow",
					strstr(r->wrong.words, "POST") ? "POST" : "GET, HEAD");
	if (r->wrong.retry_s > 0) {
		snprintf(digits, sizeof(digits), "%d", r->wrong.retry_s);
		MHD_add_response_header(answer, "Retry-After", digits);
	}
	sent = MHD_queue_response(r->connection, status, answer);
	MHD_destroy_response(answer);
	return sent;
}

/* Takes root. */
static enum MHD_Result send_json(struct pw_request *r, unsigned status, json_t *root)
{
	char *text = root ? json_dumps(root, JSON_COMPACT) : NULL;
	char *line = text ? realloc(text, strlen(text) + 2) : NULL;

	json_decref(root);
	if (line)
		strcat(line, "\n");
	else
		free(text);
	return send_text(r, status, line);
}

enum MHD_Result pw_answer_wrong(struct pw_request *r)
{
	json_t *root = json_pack("{s:s,s:s}", "error", r->wrong.word, "words", r->wrong.words);

	if (r->wrong.line > 0)
		json_object_set_new(root, "line", json_integer(r->wrong.line));
	if (r->heads)
		json_object_set(root, "heads", r->heads);
	return send_json(r, r->wrong.status, root);
}

static enum MHD_Result answer_office(struct pw_request *r)
{
	char pem[PW_PEM_MAX];

	pw_public_key_pem(&r->server->o->key.public, pem);
	return send_json(r, 200,
			 json_pack("{s:s,s:s,s:[s,s]}", "office", "postwalk-office-v1", "key", pem,
				   "packing", "zstd", "gzip"));
}

static enum MHD_Result answer_enrol(struct pw_request *r)
{
	const struct pw_enrolment *e = &r->enrolment;
	char pem[PW_PEM_MAX];

	pw_public_key_pem(&r->server->o->key.public, pem);
	if (e->how == PW_ENROL_SO)
		return send_json(
			r, 200,
			json_pack("{s:s,s:s,s:s}", "bus", e->bus, "token", e->token, "key", pem));
	return send_json(r, 202, json_pack("{s:s,s:s,s:s,s:s}", "error", "waits", "words",
		"bus has a key already: a person in the office has to decide about this one",
		"token", e->token, "key", pem));
}

static enum MHD_Result answer_head(struct pw_request *r)
{
	return send_json(r, 200, json_pack("{s:s,s:O}", "bus", r->bus, "heads", r->heads));
}

/* Signed now, after the commit. */
static enum MHD_Result answer_receipt(struct pw_request *r)
{
	const struct pw_record *last = &r->batch->record[r->batch->records - 1];
	struct pw_receipt receipt = { .alert = r->route == PW_R_ALERT, .seq = last->seq,
				      .time_ms = pw_office_now_ms() };
	char *text = malloc(ANSWER_MAX);
	int n;

	if (!text)
		return MHD_NO;
	memcpy(receipt.bus, r->bus, sizeof(receipt.bus));
	memcpy(receipt.epoch, r->batch->epoch, sizeof(receipt.epoch));
	memcpy(receipt.hash, last->hash, sizeof(receipt.hash));
	memcpy(receipt.nonce, r->nonce, sizeof(receipt.nonce));
	pw_receipt_sign(&receipt, &r->server->o->key);
	n = pw_receipt_write(&receipt, text, ANSWER_MAX - 64);
	if (n < 0) {
		free(text);
		return MHD_NO;
	}
	snprintf(text + n - 1, ANSWER_MAX - (size_t)n, ",\"fresh\":%llu,\"fork\":%s}\n",
		 (unsigned long long)r->took.fresh, r->took.fork ? "true" : "false");
	return send_text(r, 200, text);
}

enum MHD_Result pw_request_answer(struct pw_request *r)
{
	static enum MHD_Result (*const answers[])(struct pw_request * r) = {
		[PW_R_OFFICE] = answer_office, [PW_R_ENROL] = answer_enrol,
		[PW_R_HEAD] = answer_head,     [PW_R_RECORDS] = answer_receipt,
		[PW_R_ALERT] = answer_receipt,
	};

	if (r->wrong.status)
		return pw_answer_wrong(r);
	return answers[r->route](r);
}
