/* SPDX-License-Identifier: Apache-2.0 */
/* A request by its headers: what it asks, who asks, and whether its body is wanted. */
#include <sodium.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "server_internal.h"
#include "postwalk/text.h"

struct framing {
	unsigned hosts, lengths, codings;
	const char *length, *coding, *packing, *authorization;
};

void pw_request_wrong(struct pw_request *r, unsigned status, const char *word, const char *format,
		      ...)
{
	va_list args;

	if (r->wrong.status)
		return;
	r->wrong = (struct pw_wrong){ .status = status, .word = word };
	va_start(args, format);
	vsnprintf(r->wrong.words, sizeof(r->wrong.words), format, args);
	va_end(args);
}

/* Not all of them after the same while. */
void pw_request_later(struct pw_request *r, const char *words)
{
	pw_request_wrong(r, 503, "later", "%s", words);
	r->wrong.retry_s = 3 + (int)randombytes_uniform(5);
}

/* -- memory ------------------------------------------------------------------------------------ */

bool pw_hold(struct pw_request *r, size_t bytes)
{
	atomic_size_t *held = &r->server->held;

	if (atomic_fetch_add(held, bytes) + bytes > PW_BODIES_MAX) {
		atomic_fetch_sub(held, bytes);
		return false;
	}
	r->held += bytes;
	return true;
}

void pw_let_go(struct pw_request *r)
{
	atomic_fetch_sub(&r->server->held, r->held);
	r->held = 0;
}

/* -- framing ----------------------------------------------------------------------------------- */

static enum MHD_Result note_header(void *cls, enum MHD_ValueKind kind, const char *key,
				   const char *value)
{
	struct framing *f = cls;
	const struct { const char *name; unsigned *count; const char **value; } of[] = {
		{ "Host", &f->hosts, NULL },
		{ "Content-Length", &f->lengths, &f->length },
		{ "Transfer-Encoding", &f->codings, &f->coding },
		{ "Content-Encoding", NULL, &f->packing },
		{ "Authorization", NULL, &f->authorization },
	};

	(void)kind;
	for (size_t i = 0; i < sizeof(of) / sizeof(of[0]); i++) {
		if (strcasecmp(key, of[i].name) != 0)
			continue;
		if (of[i].count)
			++*of[i].count;
		if (of[i].value)
			*of[i].value = value ? value : "";
	}
	return MHD_YES;
}

/* RFC 9112 3.2, 6.1, 6.3: what could be read as two requests is not read at all. */
static bool well_framed(const struct framing *f, const char *version)
{
	if (f->hosts != 1 && (f->hosts > 1 || strcmp(version, MHD_HTTP_VERSION_1_1) == 0))
		return false;
	if (f->lengths + f->codings > 1)
		return false;
	return !f->length ||
	       (*f->length && strspn(f->length, "0123456789") == strlen(f->length));
}

/* -- what is asked ----------------------------------------------------------------------------- */

static const struct route {
	enum pw_route route;
	const char *tail;   /* behind /v1/ or /v1/bus/BUS/ */
	bool of_bus, posts;
	const char *epoch, *nonce; /* names of what the query must have, or NULL */
	size_t most;        /* of its body */
} routes[] = {
	{ PW_R_OFFICE, "office", false, false, NULL, NULL, 0 },
	{ PW_R_ENROL, "enrol", false, true, NULL, NULL, 4096 },
	{ PW_R_HEAD, "head", true, false, "epoch", NULL, 0 },
	{ PW_R_RECORDS, "records", true, true, NULL, "nonce", PW_BATCH_BYTES_MAX },
	{ PW_R_ALERT, "alert", true, true, NULL, "nonce", PW_BATCH_BYTES_MAX },
};

/* In absolute-form (RFC 9112 3.2.2) the path is what follows the host. */
static const char *path_of(const char *url)
{
	const char *slashes = strncasecmp(url, "http://", 7) == 0    ? url + 7
			      : strncasecmp(url, "https://", 8) == 0 ? url + 8
								     : NULL;

	return slashes ? slashes + strcspn(slashes, "/") : url;
}

static const struct route *find_route(struct pw_request *r, const char *path)
{
	bool of_bus = strncmp(path, "/v1/bus/", 8) == 0;
	size_t n;

	if (strncmp(path, "/v1/", 4) != 0)
		return NULL;
	path += of_bus ? 8 : 4;
	if (of_bus) {
		n = strcspn(path, "/");
		snprintf(r->bus, sizeof(r->bus), "%.*s", n < sizeof(r->bus) ? (int)n : 0, path);
		if (!pw_chain_word(r->bus) || path[n] != '/')
			return NULL;
		path += n + 1;
	}
	for (size_t i = 0; i < sizeof(routes) / sizeof(routes[0]); i++)
		if (routes[i].of_bus == of_bus && strcmp(routes[i].tail, path) == 0)
			return &routes[i];
	return NULL;
}

static bool method_fits(const struct route *route, const char *method)
{
	if (route->posts)
		return strcmp(method, "POST") == 0;
	return strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;
}

static bool take_digits(struct pw_request *r, const char *name, size_t digits, char *to)
{
	const char *value = MHD_lookup_connection_value(r->connection, MHD_GET_ARGUMENT_KIND, name);

	if (value && pw_hex_text(value, digits)) {
		memcpy(to, value, digits + 1);
		return true;
	}
	pw_request_wrong(r, 400, "bad", "expected ?%s= with %zu digits of 0-9 a-f", name, digits);
	return false;
}

static bool take_query(struct pw_request *r, const struct route *route)
{
	const char *begins;

	if (route->epoch && !take_digits(r, route->epoch, 16, r->epoch))
		return false;
	if (route->nonce && !take_digits(r, route->nonce, 32, r->nonce))
		return false;
	begins = MHD_lookup_connection_value(r->connection, MHD_GET_ARGUMENT_KIND, "begins");
	r->begins = begins && strcmp(begins, "1") == 0;
	if (!begins || r->begins)
		return true;
	pw_request_wrong(r, 400, "bad", "expected begins=1, or no begins");
	return false;
}

/* -- who asks ---------------------------------------------------------------------------------- */

static bool take_token(struct pw_request *r, const char *authorization)
{
	const char *token = "";

	if (authorization && strncasecmp(authorization, "Bearer ", 7) == 0)
		token = authorization + 7 + strspn(authorization + 7, " ");
	switch (pw_roll_ask(r->server->o->roll, r->bus, token, &r->key)) {
	case PW_KNOWN_SO:
		return true;
	case PW_KNOWN_WAITS:
		pw_request_wrong(r, 202, "waits",
				 "a person in the office has to decide about this key");
		r->wrong.retry_s = 300;
		return false;
	case PW_KNOWN_REFUSED:
		pw_request_wrong(r, 403, "key", "the office has refused this key for bus %s",
				 r->bus);
		return false;
	case PW_KNOWN_NOT:
		break;
	}
	pw_request_wrong(r, 401, "token", "expected the token that bus %s was given", r->bus);
	return false;
}

/* -- the body ---------------------------------------------------------------------------------- */

static bool take_packing(struct pw_request *r, const char *packing)
{
	static const struct { const char *name; enum pw_packing is; } known[] = {
		{ "", PW_PACK_NONE }, { "identity", PW_PACK_NONE }, { "gzip", PW_PACK_GZIP },
		{ "x-gzip", PW_PACK_GZIP }, { "zstd", PW_PACK_ZSTD },
	};

	for (size_t i = 0; i < sizeof(known) / sizeof(known[0]); i++)
		if (strcasecmp(packing ? packing : "", known[i].name) == 0) {
			r->packing = known[i].is;
			return true;
		}
	pw_request_wrong(r, 415, "packing", "expected Content-Encoding to be zstd, gzip or none");
	return false;
}

static size_t length_of(const struct framing *f)
{
	const char *digits = f->length ? f->length + strspn(f->length, "0") : "";

	return strlen(digits) > 9 ? SIZE_MAX : strtoul(digits[0] ? digits : "0", NULL, 10);
}

static bool take_length(struct pw_request *r, const struct route *route, const struct framing *f)
{
	if (f->coding || (!f->length && route->posts))
		pw_request_wrong(r, 411, "length", "expected Content-Length");
	else if (r->length > route->most)
		pw_request_wrong(r, 413, "large", "expected a body of at most %zu bytes",
				 route->most);
	return r->wrong.status == 0;
}

static void make_room(struct pw_request *r, bool of_bus)
{
	r->entered = of_bus && pw_roll_enter(r->server->o->roll, r->bus);
	if (of_bus && !r->entered) {
		pw_request_later(r, "this bus has too many requests under way");
		return;
	}
	if (pw_hold(r, r->length))
		r->body = malloc(r->length > 0 ? r->length : 1);
	if (!r->body)
		pw_request_later(r, "too many batches come in at this moment");
}

/* -- the whole --------------------------------------------------------------------------------- */

static const struct route *judge(struct pw_request *r, const struct framing *f, const char *url,
				 const char *method, const char *version)
{
	const struct route *route = find_route(r, path_of(url));

	if (!well_framed(f, version))
		pw_request_wrong(r, 400, "bad", "expected one Host, and at most one Content-Length "
				 "of digits");
	else if (!route)
		pw_request_wrong(r, 404, "path", "there is nothing here");
	else if (!method_fits(route, method))
		pw_request_wrong(r, 405, "method", "expected %s",
				 route->posts ? "POST" : "GET or HEAD");
	return r->wrong.status ? NULL : route;
}

bool pw_request_begin(struct pw_request *r, const char *url, const char *method,
		      const char *version)
{
	struct framing f = { .hosts = 0 };
	const struct route *route;

	pw_listener_address(r->connection, r->address);
	MHD_get_connection_values(r->connection, MHD_HEADER_KIND, note_header, &f);
	r->length = length_of(&f);
	route = judge(r, &f, url, method, version);
	if (route) {
		r->route = route->route;
		if (take_length(r, route, &f) && take_query(r, route) &&
		    (!route->of_bus || take_token(r, f.authorization)) &&
		    take_packing(r, f.packing) && route->posts)
			make_room(r, route->of_bus);
	}
	/* A short body is read before it is refused: who still sends may not hear the answer. */
	return well_framed(&f, version) && !f.coding && r->length <= PW_BATCH_BYTES_MAX &&
	       r->wrong.status != 411;
}
