/* SPDX-License-Identifier: Apache-2.0 */
/*
 * fleet_office.h - a made-up office by docs/protocol.md for one bus of a fleet, on a loopback port:
 * it keeps no record, and says what it is told to say.
 */
#ifndef POSTWALK_TEST_FLEET_OFFICE_H
#define POSTWALK_TEST_FLEET_OFFICE_H

#include <arpa/inet.h>
#include <microhttpd.h>
#include <zstd.h>

#include "fleet_help.h"

#define ASKED_MAX 64

struct asked { char path[80]; uint64_t first, last; size_t bytes; bool alert; };
struct fake_office {
	struct MHD_Daemon *daemon;
	char url[64];
	struct pw_secret_key key, other;
	/* what it says */
	unsigned later, gaps;      /* so many times, before anything else */
	unsigned enrol_later;
	uint64_t head_seq;         /* of GET head; 0: none */
	char head_hash[65];
	bool lies;                 /* it signs by another key */
	uint64_t names;            /* its receipts name this seq; 0: the one that was sent */
	/* what was asked */
	struct asked asked[ASKED_MAX];
	unsigned count;
};

struct fake_body { char *text; size_t length; };

static inline enum MHD_Result fake_say(struct MHD_Connection *c, unsigned status, json_t *object)
{
	char *text = json_dumps(object, JSON_COMPACT);
	struct MHD_Response *r = MHD_create_response_from_buffer(strlen(text), text,
								 MHD_RESPMEM_MUST_FREE);
	enum MHD_Result result = MHD_queue_response(c, status, r);

	MHD_destroy_response(r);
	json_decref(object);
	return result;
}

static inline json_t *fake_heads(const struct fake_office *o, const char *epoch)
{
	json_t *heads = json_array();

	if (o->head_seq > 0)
		json_array_append_new(heads, json_pack("{s:s,s:i,s:I,s:s}", "epoch", epoch,
						       "branch", 0, "seq", (json_int_t)o->head_seq,
						       "hash", o->head_hash));
	return heads;
}

/* The lines of a batch: from where to where, and the receipt that its last record wants. */
static inline void fake_read(const struct fake_body *b, struct asked *a, struct pw_receipt *r)
{
	const char *at = b->text, *end;
	struct pw_export_line line;
	char why[200];

	for (; (end = memchr(at, '\n', (size_t)(b->text + b->length - at))); at = end + 1) {
		if (pw_export_read(at, (size_t)(end - at), &line, why, sizeof(why)))
			abort();
		if (line.kind == PW_X_HEAD)
			memcpy(r->bus, line.bus, sizeof(r->bus));
		if (line.kind == PW_X_RECORD) {
			a->first = a->first ? a->first : line.record.seq;
			a->last = r->seq = line.record.seq;
			memcpy(r->epoch, line.record.epoch, sizeof(r->epoch));
			memcpy(r->hash, line.record.hash, sizeof(r->hash));
		}
		pw_export_free(&line);
	}
}

static inline enum MHD_Result fake_receipt(struct fake_office *o, struct MHD_Connection *c,
					   struct pw_receipt *r)
{
	char text[1000];
	json_t *object;

	snprintf(r->nonce, sizeof(r->nonce), "%s",
		 MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "nonce"));
	r->time_ms = 1790000000000;
	if (o->names)
		r->seq = o->names;
	pw_receipt_sign(r, o->lies ? &o->other : &o->key);
	if (pw_receipt_write(r, text, sizeof(text)) < 0)
		abort();
	object = json_loads(text, 0, NULL);
	json_object_set_new(object, "fresh", json_integer(1));
	json_object_set_new(object, "fork", json_false());
	return fake_say(c, 200, object);
}

static inline enum MHD_Result fake_take(struct fake_office *o, struct MHD_Connection *c,
					const char *path, const struct fake_body *b)
{
	struct pw_receipt r = { .alert = strstr(path, "/alert") != NULL };
	struct asked *a = &o->asked[o->count < ASKED_MAX - 1 ? o->count++ : ASKED_MAX - 1];

	*a = (struct asked){ .bytes = b->length, .alert = r.alert };
	snprintf(a->path, sizeof(a->path), "%s", path);
	fake_read(b, a, &r);
	if (o->later > 0) {
		o->later--;
		return fake_say(c, 503,
				json_pack("{s:s,s:s}", "error", "later", "words", "too much now"));
	}
	if (o->gaps > 0 && !r.alert) {
		o->gaps--;
		return fake_say(c, 409,
				json_pack("{s:s,s:s,s:o}", "error", "gap", "words", "no such head",
					  "heads", json_array()));
	}
	return fake_receipt(o, c, &r);
}

static inline enum MHD_Result fake_answer(struct fake_office *o, struct MHD_Connection *c,
					  const char *path, const char *method,
					  const struct fake_body *b)
{
	char pem[PW_PEM_MAX], token[65];

	pw_public_key_pem(&o->key.public, pem);
	memset(token, '7', 64);
	token[64] = '\0';
	if (strcmp(path, "/v1/office") == 0)
		return fake_say(c, 200,
				json_pack("{s:s,s:s,s:[]}", "office", "postwalk-office-v1", "key",
					  pem, "packing"));
	if (strcmp(path, "/v1/enrol") == 0 && o->enrol_later > 0) {
		o->enrol_later--;
		return fake_say(c, 503, json_pack("{s:s,s:s}", "error", "later", "words", "later"));
	}
	if (strcmp(path, "/v1/enrol") == 0)
		return fake_say(
			c, 200,
			json_pack("{s:s,s:s,s:s}", "bus", "T-0001", "token", token, "key", pem));
	if (strcmp(method, "POST") == 0)
		return fake_take(o, c, path, b);
	return fake_say(c, 200,
			json_pack("{s:s,s:o}", "bus", "T-0001", "heads",
				  fake_heads(o, MHD_lookup_connection_value(
							c, MHD_GET_ARGUMENT_KIND, "epoch"))));
}

static inline enum MHD_Result fake_handle(void *ctx, struct MHD_Connection *c, const char *path,
					  const char *method, const char *version, const char *data,
					  size_t *size, void **of_request)
{
	struct fake_body *b = *of_request;

	(void)version;
	if (!b) {
		*of_request = calloc(1, sizeof(*b));
		return *of_request ? MHD_YES : MHD_NO;
	}
	if (*size == 0)
		return fake_answer(ctx, c, path, method, b);
	b->text = realloc(b->text, b->length + *size);
	memcpy(b->text + b->length, data, *size);
	b->length += *size;
	*size = 0;
	return MHD_YES;
}

static inline void fake_done(void *ctx, struct MHD_Connection *c, void **of_request,
			     enum MHD_RequestTerminationCode why)
{
	struct fake_body *b = *of_request;

	(void)ctx;
	(void)c;
	(void)why;
	if (b)
		free(b->text);
	free(b);
}

static inline void fake_begin(struct fake_office *o)
{
	const struct sockaddr_in at = { .sin_family = AF_INET,
					.sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	const unsigned char seeds[2][32] = { { 1 }, { 2 } };

	*o = (struct fake_office){ 0 };
	pw_secret_key_from(seeds[0], &o->key);
	pw_secret_key_from(seeds[1], &o->other);
	o->daemon = MHD_start_daemon(MHD_USE_INTERNAL_POLLING_THREAD | MHD_USE_AUTO, 0, NULL, NULL,
				     fake_handle, o, MHD_OPTION_SOCK_ADDR, &at,
				     MHD_OPTION_NOTIFY_COMPLETED, fake_done, NULL, MHD_OPTION_END);
	assert_non_null(o->daemon);
	snprintf(o->url, sizeof(o->url), "http://127.0.0.1:%u",
		 MHD_get_daemon_info(o->daemon, MHD_DAEMON_INFO_BIND_PORT)->port);
}

static inline void fake_end(struct fake_office *o)
{
	MHD_stop_daemon(o->daemon);
}

#endif
