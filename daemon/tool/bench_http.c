/* SPDX-License-Identifier: Apache-2.0 */
#include <arpa/inet.h>
#include <microhttpd.h>
#include <netinet/in.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "bench_internal.h"

#define BODY_MAX 1024
#define FIELD_MAX 80
#define CONNECTIONS_MAX 32
#define IDLE_S 10

enum document { DOC_PAGE = 1, DOC_LINES, DOC_STYLE, DOC_SCRIPT };

static const struct route {
	const char *path, *type;
	enum document doc;
} routes[] = {
	{ "/", "text/html; charset=utf-8", DOC_PAGE },
	{ "/lines.json", "application/json; charset=utf-8", DOC_LINES },
	{ "/style.css", "text/css; charset=utf-8", DOC_STYLE },
	{ "/page.js", "text/javascript; charset=utf-8", DOC_SCRIPT },
};

/* A request whose head was found good. */
struct request {
	const struct route *route;
	struct MHD_PostProcessor *post; /* NULL: no form */
	char token[FIELD_MAX], set[FIELD_MAX], press[FIELD_MAX], hold[FIELD_MAX];
	bool bad; /* a field that is none of these, or too long, or stands twice */
};

/* -- answers ----------------------------------------------------------------------------------- */

static enum MHD_Result answer_with(struct MHD_Connection *c, unsigned status, const char *text,
				   const char *type, const char *header, const char *value)
{
	static const char *const always[][2] = {
		{ "Cache-Control", "no-store" },
		{ "Content-Security-Policy",
		  "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
		  "base-uri 'none'; form-action 'self'; frame-ancestors 'none'" },
		{ "X-Content-Type-Options", "nosniff" },
		/* with no-referrer a browser would send "null" as the Origin of our own form */
		{ "Referrer-Policy", "same-origin" },
	};
	struct MHD_Response *r = MHD_create_response_from_buffer(
		strlen(text), (void *)(uintptr_t)text, MHD_RESPMEM_MUST_COPY);
	enum MHD_Result sent;

	if (!r)
		return MHD_NO;
	for (size_t i = 0; i < sizeof(always) / sizeof(always[0]); i++)
		MHD_add_response_header(r, always[i][0], always[i][1]);
	if (type)
		MHD_add_response_header(r, "Content-Type", type);
	if (header)
		MHD_add_response_header(r, header, value);
	if (status >= 400 && status != MHD_HTTP_SERVICE_UNAVAILABLE)
		MHD_add_response_header(r, "Connection", "close");
	sent = MHD_queue_response(c, status, r);
	MHD_destroy_response(r);
	return sent;
}

static enum MHD_Result refuse(struct MHD_Connection *c, unsigned status, const char *sentence)
{
	return answer_with(c, status, sentence, "text/plain; charset=utf-8", NULL, NULL);
}

static enum MHD_Result give_page(struct pw_bench_page *p, struct MHD_Connection *c)
{
	const struct pw_bench_view v = {
		.bench = &p->bench, .now_ms = pw_bench_now_ms(), .bus = p->bus, .token = p->token,
		.held = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "hold") != NULL,
	};
	char *text = pw_bench_html(&v);
	enum MHD_Result sent;

	if (!text)
		return MHD_NO;
	sent = answer_with(c, p->bench.fd < 0 ? MHD_HTTP_SERVICE_UNAVAILABLE : MHD_HTTP_OK, text,
			   routes[0].type, NULL, NULL);
	free(text);
	return sent;
}

/* Another text, another tag. */
static int draw_lines(struct pw_bench_page *p)
{
	char *text = pw_bench_json(&p->bench, pw_bench_now_ms());

	if (!text)
		return -1;
	if (p->shown && strcmp(p->shown, text) == 0) {
		free(text);
		return 0;
	}
	free(p->shown);
	p->shown = text;
	snprintf(p->tag, sizeof(p->tag), "\"%.8s-%u\"", p->token, ++p->shown_count);
	return 0;
}

static enum MHD_Result give_lines(struct pw_bench_page *p, struct MHD_Connection *c)
{
	const char *known = MHD_lookup_connection_value(c, MHD_HEADER_KIND, "If-None-Match");

	if (draw_lines(p))
		return MHD_NO;
	if (known && strstr(known, p->tag))
		return answer_with(c, MHD_HTTP_NOT_MODIFIED, "", NULL, "ETag", p->tag);
	return answer_with(c, p->bench.fd < 0 ? MHD_HTTP_SERVICE_UNAVAILABLE : MHD_HTTP_OK, p->shown,
			   routes[1].type, "ETag", p->tag);
}

static enum MHD_Result give(struct pw_bench_page *p, struct MHD_Connection *c,
			    const struct route *route)
{
	pw_bench_take(&p->bench, pw_bench_now_ms());
	switch (route->doc) {
	case DOC_PAGE: return give_page(p, c);
	case DOC_LINES: return give_lines(p, c);
	case DOC_STYLE: return answer_with(c, MHD_HTTP_OK, pw_bench_web_style, route->type, NULL,
					   NULL);
	case DOC_SCRIPT: return answer_with(c, MHD_HTTP_OK, pw_bench_web_script, route->type, NULL,
					    NULL);
	}
	return MHD_NO;
}

/* -- the form ---------------------------------------------------------------------------------- */

/* The library gives a long value in pieces: a second piece is a value too long for a field here. */
static enum MHD_Result take_field(void *cls, enum MHD_ValueKind kind, const char *key,
				  const char *filename, const char *type, const char *encoding,
				  const char *data, uint64_t at, size_t size)
{
	struct request *r = cls;
	char *to = strcmp(key, "token") == 0 ? r->token : strcmp(key, "set") == 0 ? r->set :
		   strcmp(key, "press") == 0 ? r->press : strcmp(key, "hold") == 0 ? r->hold : NULL;

	(void)kind, (void)filename, (void)type, (void)encoding;
	if (size == 0 && at > 0)
		return MHD_YES;
	if (!to || at > 0 || to[0] || size == 0 || size >= FIELD_MAX || memchr(data, '\0', size)) {
		r->bad = true;
		return MHD_YES;
	}
	memcpy(to, data, size);
	to[size] = '\0';
	return MHD_YES;
}

static bool token_is_ours(const struct pw_bench_page *p, const char *token)
{
	return strlen(token) == strlen(p->token) &&
	       sodium_memcmp(token, p->token, strlen(p->token)) == 0;
}

/* set=NAME:0, set=NAME:1: the name and the level. */
static bool read_set(const struct pw_bench_page *p, const char *set, char name[FIELD_MAX],
		     unsigned *level)
{
	const size_t len = strlen(set);
	const struct pw_bench_line *l;

	if (len < 3 || set[len - 2] != ':' || (set[len - 1] != '0' && set[len - 1] != '1'))
		return false;
	memcpy(name, set, len - 2);
	name[len - 2] = '\0';
	*level = (unsigned)(set[len - 1] - '0');
	l = pw_bench_find(&p->bench, name);
	return l && !l->out;
}

static enum MHD_Result pulled(struct MHD_Connection *c, const struct request *r, int result,
			      const char *why)
{
	char sentence[400];

	if (result == 0)
		return answer_with(c, MHD_HTTP_SEE_OTHER, "", NULL, "Location",
				   r->hold[0] ? "/?hold=1" : "/");
	if (result < 0)
		return refuse(c, MHD_HTTP_SERVICE_UNAVAILABLE, "The bus is gone: nothing was done.\n");
	snprintf(sentence, sizeof(sentence), "The bench refused it: %s\n", why);
	return refuse(c, MHD_HTTP_CONFLICT, sentence);
}

static enum MHD_Result take_form(struct pw_bench_page *p, struct MHD_Connection *c,
				 const struct request *r)
{
	const int64_t now_ms = pw_bench_now_ms();
	char name[FIELD_MAX], why[300] = "";
	unsigned level;

	if (r->bad || !r->set[0] == !r->press[0])
		return refuse(c, MHD_HTTP_BAD_REQUEST,
			      "Expected a token and one of set=NAME:VALUE and press=rear_button.\n");
	if (!token_is_ours(p, r->token))
		return refuse(c, MHD_HTTP_FORBIDDEN,
			      "This form is not of this page as it runs now: load the page again.\n");
	pw_bench_take(&p->bench, now_ms);
	if (p->bench.fd < 0)
		return pulled(c, r, -1, why);
	if (r->press[0] && (strcmp(r->press, "rear_button") != 0 ||
			    !pw_bench_find(&p->bench, "rear_button")))
		return refuse(c, MHD_HTTP_BAD_REQUEST, "Only rear_button can be pressed.\n");
	if (r->press[0])
		return pulled(c, r, pw_bench_press(p, now_ms, why, sizeof(why)), why);
	if (!read_set(p, r->set, name, &level))
		return refuse(c, MHD_HTTP_BAD_REQUEST,
			      "Expected set=NAME:0 or set=NAME:1 with an input of this bench.\n");
	return pulled(c, r, pw_bench_set(p, name, level, now_ms, why, sizeof(why)), why);
}

/* -- heads ------------------------------------------------------------------------------------- */

struct head {
	unsigned hosts, lengths;
	const char *host, *length, *coding, *origin, *type;
};

static enum MHD_Result note_header(void *cls, enum MHD_ValueKind kind, const char *key,
				   const char *value)
{
	struct head *h = cls;

	(void)kind;
	if (!value)
		value = "";
	if (strcasecmp(key, "Host") == 0) {
		h->hosts++;
		h->host = value;
	} else if (strcasecmp(key, "Content-Length") == 0) {
		h->lengths++;
		h->length = value;
	} else if (strcasecmp(key, "Transfer-Encoding") == 0) {
		h->coding = value;
	} else if (strcasecmp(key, "Origin") == 0) {
		h->origin = value;
	} else if (strcasecmp(key, "Content-Type") == 0) {
		h->type = value;
	}
	return MHD_YES;
}

/* HOST[:PORT] without its port and brackets. */
static bool host_name(const char *host, char *name, size_t size)
{
	const bool brackets = host[0] == '[';
	const char *from = host + brackets;
	const size_t len = strcspn(from, brackets ? "]" : ":");
	const char *port = from + len + (brackets && from[len] == ']');

	if (len == 0 || len >= size || (brackets && from[len] != ']'))
		return false;
	if (*port && (*port != ':' || port[1 + strspn(port + 1, "0123456789")] != '\0'))
		return false;
	memcpy(name, from, len);
	name[len] = '\0';
	return brackets == (strchr(name, ':') != NULL);
}

/* The address that the connection came to, loopback, or localhost: a page elsewhere can lead its
 * own name here, but cannot make a browser call it by one of these. */
static bool host_is_ours(struct MHD_Connection *c, const char *host)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
	union {
		struct sockaddr any;
		struct sockaddr_in v4;
		struct sockaddr_in6 v6;
	} at = { .any.sa_family = AF_UNSPEC };
	socklen_t size = sizeof(at);
	char name[INET6_ADDRSTRLEN];
	struct in_addr v4;
	struct in6_addr v6;

	if (!info || !host_name(host, name, sizeof(name)) ||
	    getsockname(info->connect_fd, &at.any, &size))
		return false;
	if (inet_pton(AF_INET, name, &v4) == 1)
		return ntohl(v4.s_addr) >> 24 == 127 ||
		       (at.any.sa_family == AF_INET && at.v4.sin_addr.s_addr == v4.s_addr);
	if (inet_pton(AF_INET6, name, &v6) == 1)
		return IN6_IS_ADDR_LOOPBACK(&v6) ||
		       (at.any.sa_family == AF_INET6 && IN6_ARE_ADDR_EQUAL(&at.v6.sin6_addr, &v6));
	return strcasecmp(name, "localhost") == 0;
}

static bool is_form(const char *type)
{
	static const char want[] = "application/x-www-form-urlencoded";
	const size_t len = sizeof(want) - 1;

	return type && strncasecmp(type, want, len) == 0 && (!type[len] || strchr("; \t", type[len]));
}

static bool is_own_origin(const char *origin, const char *host)
{
	return !origin || (strncasecmp(origin, "http://", 7) == 0 && strcasecmp(origin + 7, host) == 0);
}

/* What is wrong with a form's head; 0: nothing. */
static unsigned judge_form(const struct head *h, const char **sentence)
{
	if (h->coding || h->lengths != 1 || !h->length[0] ||
	    h->length[strspn(h->length, "0123456789")] != '\0') {
		*sentence = "Expected the form with its Content-Length.\n";
		return MHD_HTTP_LENGTH_REQUIRED;
	}
	if (strlen(h->length) > 9 || atol(h->length) > BODY_MAX) {
		*sentence = "Expected a form of 1024 bytes at most.\n";
		return MHD_HTTP_CONTENT_TOO_LARGE;
	}
	if (!is_form(h->type)) {
		*sentence = "Expected a form as application/x-www-form-urlencoded.\n";
		return MHD_HTTP_UNSUPPORTED_MEDIA_TYPE;
	}
	if (!is_own_origin(h->origin, h->host)) {
		*sentence = "This form was sent by another page: only the bench's own is taken.\n";
		return MHD_HTTP_FORBIDDEN;
	}
	return 0;
}

static const struct route *route_find(const char *url)
{
	for (size_t i = 0; i < sizeof(routes) / sizeof(routes[0]); i++)
		if (strcmp(url, routes[i].path) == 0)
			return &routes[i];
	return NULL;
}

static unsigned judge(struct MHD_Connection *c, const struct route *route, const char *method,
		      const struct head *h, const char **sentence)
{
	const bool asks = strcmp(method, "GET") == 0 || strcmp(method, "HEAD") == 0;

	if (h->hosts != 1) {
		*sentence = "Expected one Host.\n";
		return MHD_HTTP_BAD_REQUEST;
	}
	if (!host_is_ours(c, h->host)) {
		*sentence = "This bench is called by its address or localhost, by no other name.\n";
		return MHD_HTTP_MISDIRECTED_REQUEST;
	}
	if (!route) {
		*sentence = "There is no such page here: try /\n";
		return MHD_HTTP_NOT_FOUND;
	}
	if (route->doc == DOC_PAGE && strcmp(method, "POST") == 0)
		return judge_form(h, sentence);
	if (!asks) {
		*sentence = "This page is asked by GET or HEAD; forms are sent to / by POST.\n";
		return MHD_HTTP_METHOD_NOT_ALLOWED;
	}
	if (h->coding || (h->length && strcmp(h->length, "0") != 0)) {
		*sentence = "Expected no body with this request.\n";
		return MHD_HTTP_BAD_REQUEST;
	}
	return 0;
}

/* -- requests ---------------------------------------------------------------------------------- */

static enum MHD_Result begin(struct MHD_Connection *c, const char *url, const char *method,
			     void **of_request)
{
	const struct route *route = route_find(url);
	struct head h = { 0 };
	const char *sentence = "";
	struct request *r;
	unsigned status;

	MHD_get_connection_values(c, MHD_HEADER_KIND, note_header, &h);
	status = judge(c, route, method, &h, &sentence);
	if (status == MHD_HTTP_METHOD_NOT_ALLOWED)
		return answer_with(c, status, sentence, "text/plain; charset=utf-8", "Allow",
				   route->doc == DOC_PAGE ? "GET, HEAD, POST" : "GET, HEAD");
	if (status)
		return refuse(c, status, sentence);
	r = calloc(1, sizeof(*r));
	if (!r)
		return MHD_NO;
	r->route = route;
	*of_request = r;
	if (strcmp(method, "POST") != 0)
		return MHD_YES;
	r->post = MHD_create_post_processor(c, BODY_MAX, take_field, r);
	return r->post ? MHD_YES : MHD_NO;
}

/* Called with the head, when what is to be refused is refused before a body is read; with each
 * piece of a body; and when the request is whole. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	struct request *r = *of_request;

	(void)version;
	if (!r)
		return begin(c, url, method, of_request);
	if (*upload_size > 0) {
		if (r->post && MHD_post_process(r->post, upload, *upload_size) == MHD_NO)
			r->bad = true;
		*upload_size = 0;
		return MHD_YES;
	}
	if (!r->post)
		return give(cls, c, r->route);
	if (MHD_destroy_post_processor(r->post) == MHD_NO) /* the last field comes with this */
		r->bad = true;
	r->post = NULL;
	return take_form(cls, c, r);
}

static void request_ends(void *cls, struct MHD_Connection *c, void **of_request,
			 enum MHD_RequestTerminationCode code)
{
	struct request *r = *of_request;

	(void)cls, (void)c, (void)code;
	if (r && r->post)
		MHD_destroy_post_processor(r->post);
	free(r);
	*of_request = NULL;
}

/* Paths are compared as they were sent: none of ours needs an escape. */
static size_t leave_escaped(void *cls, struct MHD_Connection *c, char *text)
{
	(void)cls, (void)c;
	return strlen(text);
}

int pw_bench_http_start(struct pw_bench_page *p, int listener)
{
	p->http = MHD_start_daemon(
		MHD_USE_EPOLL, 0, NULL, NULL, answer, p, MHD_OPTION_LISTEN_SOCKET, listener,
		MHD_OPTION_CONNECTION_LIMIT, (unsigned)CONNECTIONS_MAX,
		MHD_OPTION_CONNECTION_TIMEOUT, (unsigned)IDLE_S,
		MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)8192,
		MHD_OPTION_NOTIFY_COMPLETED, request_ends, NULL,
		MHD_OPTION_UNESCAPE_CALLBACK, leave_escaped, NULL, MHD_OPTION_END);
	return p->http ? 0 : -1;
}

void pw_bench_http_stop(struct pw_bench_page *p)
{
	MHD_stop_daemon(p->http);
	free(p->shown);
}
