/* SPDX-License-Identifier: Apache-2.0 */
/*
 * uplink_office.h - a made-up office by docs/protocol.md, on a loopback port: it keeps the chains of one
 * bus in memory, forgets nothing of what was asked, and can be told to answer otherwise.
 */
#ifndef POSTWALK_TEST_UPLINK_OFFICE_H
#define POSTWALK_TEST_UPLINK_OFFICE_H

#include "uplink_journal.h"

#include <arpa/inet.h>
#include <jansson.h>
#include <microhttpd.h>
#include <pthread.h>
#include <zstd.h>

#define TOKEN "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define CODE "K7QD-2M4T-9XWA-PE3R-6HNB"
#define NOW_MS INT64_C(1790000000123)
#define BODY_MAX (1 << 20)
#define LOG_MAX 8192
#define CHAINS_MAX 4

struct chain {
	uint64_t first, head;
	char first_prev[65], hash[RECORDS_MAX + 1][65];
};
/* On the office's own thread there is nobody to fail a test. */
#define must(what) do { \
	if (!(what)) { \
		fprintf(stderr, "%s:%d: expected %s\n", __FILE__, __LINE__, #what); \
		abort(); \
	} \
} while (0)

/* What is answered instead, once. */
struct canned {
	int status;
	const char *body, *header, *value; /* a header, or NULL */
	const char *path;                  /* only there; NULL: to whatever comes */
	int after;                         /* so many are answered as usual before */
};
struct office {
	struct MHD_Daemon *daemon;
	uint16_t port;
	char url[64];
	struct pw_secret_key key;
	pthread_mutex_t lock;
	bool zstd;                 /* it takes that */
	struct chain chain[CHAINS_MAX];
	unsigned chains;
	struct canned canned[16];
	unsigned canned_count;
	void (*twist)(struct pw_receipt *r, struct office *o); /* of receipts, before they are signed */
	void (*sign)(struct pw_receipt *r, struct office *o);  /* instead of its own signing */
	char log[LOG_MAX];         /* what happened, a line each */
	char raw[BODY_MAX];        /* the last body, as it came */
	size_t raw_length;
	char path[128], type[64], encoding[64], token[128], length[32]; /* of the last request */
};

/* -- what happened ----------------------------------------------------------------------------- */

__attribute__((format(printf, 2, 3)))
static inline void office_note(struct office *o, const char *format, ...)
{
	size_t n;
	va_list args;

	pthread_mutex_lock(&o->lock);
	n = strlen(o->log);
	va_start(args, format);
	vsnprintf(o->log + n, LOG_MAX - n, format, args);
	va_end(args);
	n = strlen(o->log);
	snprintf(o->log + n, LOG_MAX - n, "\n");
	pthread_mutex_unlock(&o->lock);
}

static inline void office_read_log(struct office *o, char log[LOG_MAX])
{
	pthread_mutex_lock(&o->lock);
	memcpy(log, o->log, LOG_MAX);
	pthread_mutex_unlock(&o->lock);
}

static inline void office_can(struct office *o, struct canned c)
{
	pthread_mutex_lock(&o->lock);
	must(o->canned_count < 16);
	o->canned[o->canned_count++] = c;
	pthread_mutex_unlock(&o->lock);
}

static inline bool office_take_canned(struct office *o, const char *url, struct canned *c)
{
	bool found = false;

	pthread_mutex_lock(&o->lock);
	for (unsigned i = 0; i < o->canned_count && !found; i++) {
		*c = o->canned[i];
		found = (!c->path || strstr(url, c->path)) && o->canned[i].after-- <= 0;
		if (found)
			memmove(&o->canned[i], &o->canned[i + 1],
				(--o->canned_count - i) * sizeof(*c));
	}
	pthread_mutex_unlock(&o->lock);
	return found;
}

/* -- answers ----------------------------------------------------------------------------------- */

struct request {
	char *body;
	size_t length;
	bool begun;
};

static inline enum MHD_Result office_answer(struct MHD_Connection *c, int status, const char *text,
					    const char *header, const char *value)
{
	struct MHD_Response *r = MHD_create_response_from_buffer(strlen(text),
								 (void *)(uintptr_t)text,
								 MHD_RESPMEM_MUST_COPY);
	enum MHD_Result result;

	if (header)
		MHD_add_response_header(r, header, value);
	result = MHD_queue_response(c, (unsigned)status, r);
	MHD_destroy_response(r);
	return result;
}

static inline enum MHD_Result office_object(struct MHD_Connection *c, int status, json_t *object)
{
	char *text = json_dumps(object, JSON_COMPACT);
	enum MHD_Result result = office_answer(c, status, text, NULL, NULL);

	free(text);
	json_decref(object);
	return result;
}

static inline json_t *office_heads(struct office *o)
{
	json_t *all = json_array();

	for (unsigned i = 0; i < o->chains; i++) {
		const struct chain *b = &o->chain[i];

		json_array_append_new(all, json_pack("{sssisIss}", "epoch", EPOCH, "branch", (int)i,
						     "seq", (json_int_t)b->head, "hash",
						     b->hash[b->head]));
	}
	return all;
}

static inline enum MHD_Result office_receipt(struct office *o, struct MHD_Connection *c,
					     struct pw_receipt *r, bool fork)
{
	char text[1024];
	json_t *object;

	if (o->twist)
		o->twist(r, o);
	if (o->sign)
		o->sign(r, o);
	else
		pw_receipt_sign(r, &o->key);
	must(pw_receipt_write(r, text, sizeof(text)) > 0);
	object = json_loads(text, 0, NULL);
	if (!r->alert) {
		json_object_set_new(object, "fresh", json_integer(1));
		json_object_set_new(object, "fork", json_boolean(fork));
	}
	return office_object(c, 200, object);
}

/* -- a batch into the chains ------------------------------------------------------------------- */

struct sent {
	uint64_t first, last;
	char prev[65], epoch[17], hash[RECORDS_MAX + 1][65];
	bool sealed;
};

/* The lines as they are; that it is a batch at all is expected. */
static inline void office_read(const char *text, size_t length, struct sent *s)
{
	struct pw_export_line line;
	const char *at = text, *end;
	char why[200];

	memset(s, 0, sizeof(*s));
	for (; at < text + length; at = end + 1) {
		end = memchr(at, '\n', (size_t)(text + length - at));
		must(end);
		must(pw_export_read(at, (size_t)(end - at), &line, why, sizeof(why)) == 0);
		if (line.kind == PW_X_RECORD) {
			if (!s->first) {
				s->first = line.record.seq;
				memcpy(s->prev, line.record.prev, sizeof(s->prev));
			}
			s->last = line.record.seq;
			memcpy(s->epoch, line.record.epoch, sizeof(s->epoch));
			memcpy(s->hash[s->last], line.record.hash, 65);
			s->sealed = false;
		}
		s->sealed = s->sealed || line.kind == PW_X_SEAL;
		pw_export_free(&line);
	}
	must(s->sealed);
}

static inline bool office_joins(const struct chain *b, const struct sent *s)
{
	if (s->first == b->first)
		return strcmp(s->prev, b->first_prev) == 0;
	return s->first > b->first && s->first <= b->head + 1 &&
	       strcmp(s->prev, b->hash[s->first - 1]) == 0;
}

/* How many of its records are there already. */
static inline uint64_t office_same(const struct chain *b, const struct sent *s)
{
	uint64_t seq = s->first;

	while (seq <= s->last && seq <= b->head && strcmp(b->hash[seq], s->hash[seq]) == 0)
		seq++;
	return seq - s->first;
}

static inline void office_append(struct chain *b, const struct sent *s)
{
	memcpy(b->hash[s->first], s->hash[s->first], (size_t)(s->last - s->first + 1) * 65);
	if (b->head < s->last)
		b->head = s->last;
}

static inline int office_begin(struct office *o, const struct sent *s)
{
	struct chain *b = &o->chain[o->chains++];

	must(o->chains <= CHAINS_MAX);
	b->first = s->first;
	memcpy(b->first_prev, s->prev, 65);
	office_append(b, s);
	return o->chains > 1 ? 2 : 1;
}

/* 0: a gap; 1: taken; 2: taken on a chain beside another. */
static inline int office_take(struct office *o, const struct sent *s, bool begins)
{
	bool joins = s->first == 1 || begins;

	for (unsigned i = 0; i < o->chains; i++) {
		struct chain *b = &o->chain[i];
		uint64_t next = s->first + office_same(b, s);

		if (!office_joins(b, s))
			continue;
		joins = true;
		if (next <= s->last && next <= b->head)
			continue; /* another chain than this one */
		office_append(b, s);
		return i ? 2 : 1;
	}
	return joins ? office_begin(o, s) : 0;
}

/* As if it had been delivered before. */
static inline void office_has(struct office *o, const struct journal *j, uint64_t first, uint64_t last)
{
	char *text = journal_text(j, first, last);
	struct sent s;

	office_read(text, strlen(text), &s);
	must(office_take(o, &s, first > 1) > 0);
	free(text);
}

/* -- requests ---------------------------------------------------------------------------------- */

static inline void office_unpack(struct office *o, const struct request *r, char **text, size_t *length)
{
	const unsigned long long most = ZSTD_getFrameContentSize(o->raw, o->raw_length);

	*length = r->length;
	*text = r->body;
	if (strcmp(o->encoding, "zstd") != 0)
		return;
	must(o->zstd && most < BODY_MAX);
	*text = malloc(most);
	*length = ZSTD_decompress(*text, most, r->body, r->length);
	must(!ZSTD_isError(*length));
}

static inline enum MHD_Result office_post(struct office *o, struct MHD_Connection *c,
					  struct request *r, bool alert)
{
	const char *nonce = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "nonce");
	const char *begins = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "begins");
	struct pw_receipt receipt = { .alert = alert, .bus = BUS, .time_ms = NOW_MS };
	struct canned canned;
	struct sent s;
	size_t length;
	char *text;
	int took = 1;

	office_unpack(o, r, &text, &length);
	office_read(text, length, &s);
	if (text != r->body)
		free(text);
	office_note(o, alert ? "office: alert %d" : "office: records %d-%d%s", (int)s.first,
		    (int)s.last, begins ? " begins" : "");
	must(nonce);
	if (office_take_canned(o, alert ? "/alert" : "/records", &canned))
		return office_answer(c, canned.status, canned.body, canned.header, canned.value);
	if (!alert)
		took = office_take(o, &s, begins && strcmp(begins, "1") == 0);
	if (took == 0)
		return office_object(c, 409, json_pack("{ssssso}", "error", "gap", "words",
						       "it does not begin where a head ends",
						       "heads", office_heads(o)));
	receipt.seq = s.last;
	snprintf(receipt.nonce, sizeof(receipt.nonce), "%s", nonce);
	memcpy(receipt.epoch, s.epoch, sizeof(receipt.epoch));
	memcpy(receipt.hash, s.hash[s.last], sizeof(receipt.hash));
	return office_receipt(o, c, &receipt, took == 2);
}

static inline enum MHD_Result office_enrol(struct office *o, struct MHD_Connection *c,
					   const struct request *r)
{
	char pem[PW_PEM_MAX], text[400], print[65], why[200];
	const char *bus, *code, *key, *sig;
	json_t *body = json_loadb(r->body, r->length, 0, NULL);
	struct pw_public_key of_bus;
	bool good;

	must(json_unpack(body, "{s:s, s:s, s:s, s:s}", "bus", &bus, "code", &code, "key", &key, "sig",
			 &sig) == 0);
	must(pw_public_key_read(key, &of_bus, why, sizeof(why)) == 0);
	pw_public_key_print(&of_bus, print);
	snprintf(text, sizeof(text), "postwalk-enrol-v1\n%s\n%s\n%s\n", bus, code, print);
	must(pw_signed(&of_bus, text, strlen(text), sig));
	good = strcmp(bus, BUS) == 0 && strcmp(code, CODE) == 0;
	office_note(o, "office: enrol %s %s", bus, code);
	json_decref(body);
	if (!good)
		return office_answer(c, 403, "{\"error\":\"code\",\"words\":\"the code is not right, "
				     "or was used, or is over\"}", NULL, NULL);
	pw_public_key_pem(&o->key.public, pem);
	return office_object(c, 200, json_pack("{ssssss}", "bus", BUS, "token", TOKEN, "key", pem));
}

static inline enum MHD_Result office_look(struct office *o, struct MHD_Connection *c)
{
	char pem[PW_PEM_MAX];

	pw_public_key_pem(&o->key.public, pem);
	return office_object(c, 200, json_pack("{sssss[s]}", "office", "postwalk-office-v1", "key", pem,
					       "packing", o->zstd ? "zstd" : "gzip"));
}

static inline void office_keep_header(struct MHD_Connection *c, const char *name, char *to, size_t size)
{
	const char *value = MHD_lookup_connection_value(c, MHD_HEADER_KIND, name);

	snprintf(to, size, "%s", value ? value : "");
}

static inline enum MHD_Result office_route(struct office *o, struct MHD_Connection *c, const char *url,
					   const char *method, struct request *r)
{
	struct canned canned;

	snprintf(o->path, sizeof(o->path), "%s", url);
	office_keep_header(c, "Content-Type", o->type, sizeof(o->type));
	office_keep_header(c, "Content-Encoding", o->encoding, sizeof(o->encoding));
	office_keep_header(c, "Authorization", o->token, sizeof(o->token));
	office_keep_header(c, "Content-Length", o->length, sizeof(o->length));
	memcpy(o->raw, r->body ? r->body : "", r->length);
	o->raw_length = r->length;
	if (strcmp(method, "POST") == 0 && strcmp(url, "/v1/bus/" BUS "/records") == 0)
		return office_post(o, c, r, false);
	if (strcmp(method, "POST") == 0 && strcmp(url, "/v1/bus/" BUS "/alert") == 0)
		return office_post(o, c, r, true);
	if (strcmp(method, "GET") == 0)
		office_note(o, "office: %s", strrchr(url, '/') + 1);
	if (office_take_canned(o, url, &canned))
		return office_answer(c, canned.status, canned.body, canned.header, canned.value);
	if (strcmp(method, "GET") == 0 && strcmp(url, "/v1/office") == 0)
		return office_look(o, c);
	if (strcmp(method, "GET") == 0 && strcmp(url, "/v1/bus/" BUS "/head") == 0)
		return office_object(c, 200, json_pack("{ssso}", "bus", BUS, "heads",
						       office_heads(o)));
	if (strcmp(method, "POST") == 0 && strcmp(url, "/v1/enrol") == 0)
		return office_enrol(o, c, r);
	return office_answer(c, 404, "{\"error\":\"path\",\"words\":\"there is nothing here\"}", NULL,
			     NULL);
}

static inline enum MHD_Result office_handle(void *ctx, struct MHD_Connection *c, const char *url,
					    const char *method, const char *version, const char *data,
					    size_t *size, void **of_request)
{
	struct request *r = *of_request;

	(void)version;
	if (!r) {
		*of_request = calloc(1, sizeof(*r));
		return MHD_YES;
	}
	if (*size) {
		must(r->length + *size <= BODY_MAX);
		r->body = realloc(r->body, r->length + *size);
		memcpy(r->body + r->length, data, *size);
		r->length += *size;
		*size = 0;
		return MHD_YES;
	}
	return office_route(ctx, c, url, method, r);
}

static inline void office_done(void *ctx, struct MHD_Connection *c, void **of_request,
			       enum MHD_RequestTerminationCode how)
{
	struct request *r = *of_request;

	(void)ctx;
	(void)c;
	(void)how;
	if (r)
		free(r->body);
	free(r);
}

/* certificate, key: PEM for TLS; NULL: plain. */
static inline struct office *office_open_with(const char *certificate, const char *key)
{
	static const unsigned char seed[32] = "the office of a made-up yard";
	struct office *o = calloc(1, sizeof(*o));
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	unsigned flags = MHD_USE_INTERNAL_POLLING_THREAD | (certificate ? (unsigned)MHD_USE_TLS : 0);
	const union MHD_DaemonInfo *info;

	must(o);
	pthread_mutex_init(&o->lock, NULL);
	pw_secret_key_from(seed, &o->key);
	o->zstd = true;
	o->daemon = MHD_start_daemon(flags, 0, NULL, NULL, office_handle, o, MHD_OPTION_SOCK_ADDR, &a,
				     MHD_OPTION_NOTIFY_COMPLETED, office_done, NULL,
				     certificate ? MHD_OPTION_HTTPS_MEM_CERT : MHD_OPTION_END,
				     certificate, MHD_OPTION_HTTPS_MEM_KEY, key, MHD_OPTION_END);
	must(o->daemon);
	info = MHD_get_daemon_info(o->daemon, MHD_DAEMON_INFO_BIND_PORT);
	o->port = info->port;
	snprintf(o->url, sizeof(o->url), "%s://127.0.0.1:%u", certificate ? "https" : "http", o->port);
	return o;
}

static inline struct office *office_open(void)
{
	return office_open_with(NULL, NULL);
}

static inline void office_close(struct office *o)
{
	MHD_stop_daemon(o->daemon);
	pthread_mutex_destroy(&o->lock);
	free(o);
}

#endif
