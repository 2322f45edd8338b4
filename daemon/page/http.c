/* SPDX-License-Identifier: Apache-2.0 */
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "http_internal.h"

#define MEMORY_A_CONNECTION 8192 /* request line and headers: more is answered with 431 or 414 */
#define READ_PAST_MAX 65536 /* of a body over its cap: then the connection is ended */

/* -- how a request is framed ------------------------------------------------------------------- */

struct framing {
	unsigned hosts, lengths, codings, origins;
	const char *host, *length, *coding, *origin, *type;
	bool bad; /* a name that is none, a value with controls in it; chunks in HTTP/1.0 */
};

/* RFC 9110 5.6.2 */
static bool is_token(const char *name)
{
	static const char tchar[] = "!#$%&'*+-.^_`|~0123456789abcdefghijklmnopqrstuvwxyz"
				    "ABCDEFGHIJKLMNOPQRSTUVWXYZ";

	return *name && strspn(name, tchar) == strlen(name);
}

/* RFC 9110 5.5 */
static bool has_controls(const char *value)
{
	for (const unsigned char *c = (const unsigned char *)value; *c; c++)
		if ((*c < 0x20 && *c != '\t') || *c == 0x7f)
			return true;
	return false;
}

static enum MHD_Result note_header(void *cls, enum MHD_ValueKind kind, const char *key,
				   const char *value)
{
	struct framing *f = cls;
	const struct { const char *name; unsigned *count; const char **value; } of[] = {
		{ "Host", &f->hosts, &f->host },
		{ "Content-Length", &f->lengths, &f->length },
		{ "Transfer-Encoding", &f->codings, &f->coding },
		{ "Origin", &f->origins, &f->origin },
		{ "Content-Type", NULL, &f->type },
	};

	(void)kind;
	f->bad |= !is_token(key) || (value && has_controls(value));
	for (size_t i = 0; i < sizeof of / sizeof of[0]; i++) {
		if (strcasecmp(key, of[i].name) != 0)
			continue;
		*of[i].value = value ? value : "";
		if (of[i].count)
			++*of[i].count;
	}
	return MHD_YES;
}

static bool reached_here(struct MHD_Connection *c, const char *host)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);
	struct sockaddr_storage at = { .ss_family = AF_UNSPEC };
	socklen_t len = sizeof at;

	return info && !getsockname(info->connect_fd, (struct sockaddr *)&at, &len) &&
	       pw_host_allowed(host, (struct sockaddr *)&at);
}

/* RFC 9112 6.1, 6.3: one Host; what could be read as two requests is not read at all. 0, or a
 * status. */
static unsigned badly_framed(const struct framing *f)
{
	if (f->bad || f->hosts != 1 || f->lengths + f->codings > 1)
		return MHD_HTTP_BAD_REQUEST;
	if (f->length && (!*f->length || strspn(f->length, "0123456789") != strlen(f->length)))
		return MHD_HTTP_BAD_REQUEST;
	if (f->coding && strcasecmp(f->coding, "chunked") != 0)
		return MHD_HTTP_NOT_IMPLEMENTED;
	return 0;
}

static bool is_long(const struct framing *f)
{
	return f->length && strtoull(f->length, NULL, 10) > PW_FORM_MAX;
}

/* The Fetch standard: what a browser says of whose page sent the form. Another program need not. */
static bool of_this_page(const struct framing *f, const char *host)
{
	static const char scheme[] = "http://";

	if (f->origins == 0)
		return true;
	return f->origins == 1 && !strncasecmp(f->origin, scheme, strlen(scheme)) &&
	       !strcasecmp(f->origin + strlen(scheme), host);
}

static bool is_form(const char *type)
{
	static const char form[] = "application/x-www-form-urlencoded";
	size_t len = type ? strcspn(type, "; \t") : 0;

	return len == strlen(form) && !strncasecmp(type, form, len);
}

/* -- requests ---------------------------------------------------------------------------------- */

/* In absolute-form (RFC 9112 3.2.2) the target's host is taken for that of the Host field. */
static const char *target(const char *url, struct framing *f, char *host, size_t size)
{
	static const char scheme[] = "http://";

	if (strncasecmp(url, scheme, strlen(scheme)) != 0)
		return url;
	url += strlen(scheme);
	size_t len = strcspn(url, "/");

	snprintf(host, size, "%.*s", (int)(len < size ? len : 0), url);
	f->host = host;
	return url[len] ? url + len : "/";
}

static const char *allowed(const struct pw_leaf *leaf)
{
	if (leaf && leaf->read)
		return leaf->template || leaf->put ? "GET, HEAD, POST" : "POST";
	return "GET, HEAD";
}

static bool is_allowed(const char *method, const char *list)
{
	size_t len = strlen(method);

	for (const char *at = list; (at = strstr(at, method)); at += len)
		if ((at == list || at[-1] == ' ') && (at[len] == ',' || !at[len]))
			return len > 0;
	return false;
}

/* RFC 9110 15.6.2: one that nobody here knows is 501. */
static unsigned wrong_method(const char *method)
{
	static const char *const known[] = { "GET", "HEAD", "POST", "PUT", "DELETE", "CONNECT",
					     "OPTIONS", "TRACE", "PATCH" };

	for (size_t i = 0; i < sizeof known / sizeof known[0]; i++)
		if (!strcmp(method, known[i]))
			return MHD_HTTP_METHOD_NOT_ALLOWED;
	return MHD_HTTP_NOT_IMPLEMENTED;
}

/* What is to be refused of a form before its body is read. */
static struct refusal bad_form(struct pw_http *h, const struct framing *f)
{
	if (!of_this_page(f, f->host)) {
		pw_tell_refused(h, "origin");
		return (struct refusal){ .status = MHD_HTTP_FORBIDDEN, .why = PW_W_E_ORIGIN };
	}
	if (!is_form(f->type))
		return (struct refusal){ .status = MHD_HTTP_UNSUPPORTED_MEDIA_TYPE,
					 .why = PW_W_E_TYPE };
	if (is_long(f))
		return (struct refusal){ .status = MHD_HTTP_CONTENT_TOO_LARGE,
					 .why = PW_W_E_LONG };
	return (struct refusal){ .status = 0 };
}

/* Looked at with its headers, before a body is read. Status 0: well. */
static struct refusal judge(struct pw_http *h, struct MHD_Connection *c, const struct framing *f,
			    const struct request *r, const char *method)
{
	unsigned bad = badly_framed(f);
	const char *allow = allowed(r->leaf);

	if (bad)
		return (struct refusal){ .status = bad, .why = PW_W_BAD_REQUEST };
	if (!reached_here(c, f->host)) {
		if (r->post)
			pw_tell_refused(h, "host");
		return (struct refusal){ .status = MHD_HTTP_MISDIRECTED_REQUEST,
					 .why = PW_W_FOREIGN_HOST };
	}
	if (!r->route && !r->leaf)
		return (struct refusal){ .status = MHD_HTTP_NOT_FOUND, .why = PW_W_NO_SUCH_PAGE,
					 .on = "/" };
	if (!is_allowed(method, allow))
		return (struct refusal){ .status = wrong_method(method), .allow = allow,
					 .why = r->leaf ? PW_W_NO_SUCH_USE : PW_W_NO_SUCH_METHOD };
	if (r->post)
		return bad_form(h, f);
	if (f->coding || (f->length && strcmp(f->length, "0") != 0))
		return (struct refusal){ .status = MHD_HTTP_BAD_REQUEST, .why = PW_W_BAD_REQUEST };
	return (struct refusal){ .status = 0 };
}

static enum MHD_Result begin(struct pw_http *h, struct MHD_Connection *c, const char *url,
			     const char *method, const char *version, void **of_request)
{
	struct request *r = calloc(1, sizeof *r);
	struct framing f = { .bad = false };
	char host[128];

	if (!r)
		return MHD_NO;
	*of_request = r; /* request_ends frees it */
	MHD_get_connection_values(c, MHD_HEADER_KIND, note_header, &f);
	f.bad |= f.coding && !strcmp(version, MHD_HTTP_VERSION_1_0);
	url = target(url, &f, host, sizeof host);
	r->leaf = pw_leaf_find(url);
	r->route = r->leaf ? NULL : pw_route(url);
	r->post = !strcmp(method, "POST");
	const struct refusal why = judge(h, c, &f, r, method);

	if (why.status)
		return pw_refuse(h, c, &why);
	if (!r->leaf && !r->route->cookie)
		return MHD_YES;
	r->sent = calloc(1, sizeof *r->sent);
	if (!r->sent)
		return MHD_NO;
	pw_query(c, &r->sent->query);
	return MHD_YES;
}

/* A piece of a body. Some of what is too long is read, so that the answer is: longer yet, and the
 * connection ends without one. */
static enum MHD_Result take(struct sent *r, const char *piece, size_t *size)
{
	if (r->length + *size <= PW_FORM_MAX)
		memcpy(r->body + r->length, piece, *size);
	r->length += *size;
	sodium_memzero((void *)(uintptr_t)piece, *size); /* the library's room: a PIN may be in it */
	*size = 0;
	return r->length <= READ_PAST_MAX ? MHD_YES : MHD_NO;
}

/* Called with the headers, with each piece of a body, and when the request is whole. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	struct request *r = *of_request;

	if (!r)
		return begin(cls, c, url, method, version, of_request);
	if (*upload_size)
		return take(r->sent, upload, upload_size);
	if (r->post)
		return pw_leaf_sent(cls, c, r);
	if (r->leaf)
		return pw_leaf_shown(cls, c, r);
	return r->route->cookie ? pw_choose(cls, c, r) : pw_give(cls, c, r->route);
}

/* Paths are compared as they were sent: none of ours needs an escape. form.c decodes values. */
static size_t leave_escaped(void *cls, struct MHD_Connection *c, char *text)
{
	(void)cls, (void)c;
	return strlen(text);
}

/* -- connections and their deadlines ----------------------------------------------------------- */

static void connection_begins(struct pw_http *h, struct MHD_Connection *c, void **of_connection)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_CONNECTION_FD);

	for (int i = 0; info && i < PW_CONNECTIONS_MAX; i++) {
		if (h->slot[i].used)
			continue;
		h->slot[i] = (struct slot){ .used = true, .fd = info->connect_fd,
					    .deadline_ms = pw_boot_ms() + h->deadline_ms };
		*of_connection = &h->slot[i];
		return;
	}
}

static void connection_notify(void *cls, struct MHD_Connection *c, void **of_connection,
			      enum MHD_ConnectionNotificationCode code)
{
	struct slot *slot = *of_connection;

	if (code == MHD_CONNECTION_NOTIFY_STARTED) {
		connection_begins(cls, c, of_connection);
		return;
	}
	((struct pw_http *)cls)->ended = true;
	if (slot)
		slot->used = false;
}

static void request_free(struct request *r)
{
	if (r->sent)
		sodium_memzero(r->sent, sizeof *r->sent);
	free(r->sent);
	free(r);
}

static void request_ends(void *cls, struct MHD_Connection *c, void **of_request,
			 enum MHD_RequestTerminationCode code)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
	struct slot *slot = info ? info->socket_context : NULL;
	struct pw_http *h = cls;

	(void)code;
	if (*of_request)
		request_free(*of_request);
	*of_request = NULL;
	if (slot)
		slot->deadline_ms = pw_boot_ms() + h->deadline_ms;
}

void pw_http_run(struct pw_http *h, int64_t now_ms)
{
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		if (h->slot[i].used && h->slot[i].deadline_ms <= now_ms)
			shutdown(h->slot[i].fd, SHUT_RDWR); /* the library sees it and closes */
	h->ended = false;
	MHD_run(h->daemon);
}

int pw_http_wait_ms(const struct pw_http *h, int64_t now_ms)
{
	unsigned MHD_LONG_LONG library_ms;
	int64_t wait_ms = INT32_MAX;

	/* When all places are taken the library turns from the listener, and it turns back only in
	 * the next run after one was given up. */
	if (h->ended)
		return 0;
	if (MHD_get_timeout(h->daemon, &library_ms) == MHD_YES && library_ms < INT32_MAX)
		wait_ms = (int64_t)library_ms;
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		if (h->slot[i].used && h->slot[i].deadline_ms - now_ms < wait_ms)
			wait_ms = h->slot[i].deadline_ms - now_ms;
	if (wait_ms == INT32_MAX)
		return -1;
	return wait_ms > 0 ? (int)wait_ms : 0;
}

/* -- life -------------------------------------------------------------------------------------- */

struct pw_http *pw_http_new(int listener, struct pw_ask *ask, const struct pw_page_limits *l)
{
	struct pw_http *h = calloc(1, sizeof *h);

	if (!h)
		return NULL;
	h->ask = ask;
	h->deadline_ms = l->deadline_ms;
	h->told_ms = h->acts_ms = -1000000;
	pw_tokens_begin(&h->tokens);
	h->daemon = MHD_start_daemon(
		MHD_USE_EPOLL, 0, NULL, NULL, answer, h,
		MHD_OPTION_LISTEN_SOCKET, listener,
		MHD_OPTION_CONNECTION_LIMIT, (unsigned)PW_CONNECTIONS_MAX,
		MHD_OPTION_PER_IP_CONNECTION_LIMIT, (unsigned)PW_CONNECTIONS_AN_ADDRESS,
		MHD_OPTION_CONNECTION_TIMEOUT, l->idle_s,
		MHD_OPTION_CONNECTION_MEMORY_LIMIT, (size_t)MEMORY_A_CONNECTION,
		MHD_OPTION_NOTIFY_CONNECTION, connection_notify, h,
		MHD_OPTION_NOTIFY_COMPLETED, request_ends, h,
		MHD_OPTION_UNESCAPE_CALLBACK, leave_escaped, NULL,
		MHD_OPTION_END);
	if (!h->daemon) {
		free(h);
		return NULL;
	}
	return h;
}

int pw_http_fd(const struct pw_http *h)
{
	return MHD_get_daemon_info(h->daemon, MHD_DAEMON_INFO_EPOLL_FD)->epoll_fd;
}

void pw_http_free(struct pw_http *h)
{
	MHD_stop_daemon(h->daemon);
	sodium_memzero(&h->tokens, sizeof h->tokens);
	for (int i = 0; i < DOCS; i++)
		for (int v = 0; v < VARIANTS; v++)
			if (h->doc[i][v].response)
				MHD_destroy_response(h->doc[i][v].response);
	free(h);
}
