/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <microhttpd.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "page_internal.h"

#define MEMORY_A_CONNECTION 8192 /* request line and headers: more is answered with 431 or 414 */

enum document {
	DOC_PAGE, DOC_STATUS, DOC_STYLE, DOC_DARK, DOC_SCRIPT, DOC_SILENT_PAGE, DOC_SILENT_STATUS,
	DOCS
};
#define VARIANTS (PW_LANGUAGES * PW_THEMES * 2) /* of the pages: one a choice */

struct kept_document {
	uint64_t drawn; /* of which snapshot */
	struct MHD_Response *response;
	char tag[24];   /* "" or a quoted entity tag */
};

struct slot { /* one connection, and when it must have been answered */
	bool used;
	int fd;
	int64_t deadline_ms;
};

struct pw_http {
	struct MHD_Daemon *daemon;
	struct pw_ask *ask;
	int64_t deadline_ms;
	struct kept_document doc[DOCS][VARIANTS];
	struct slot slot[PW_CONNECTIONS_MAX];
	char buf[PW_HTML_MAX];
};

static const struct route {
	const char *path;
	enum document doc, silent;
	const char *cookie; /* not a document: keeps ?to= in it and goes back to the page */
} routes[] = {
	{ "/", DOC_PAGE, DOC_SILENT_PAGE, NULL },
	{ "/status.json", DOC_STATUS, DOC_SILENT_STATUS, NULL },
	{ "/style.css", DOC_STYLE, DOC_STYLE, NULL },
	{ "/dark.css", DOC_DARK, DOC_DARK, NULL },
	{ "/page.js", DOC_SCRIPT, DOC_SCRIPT, NULL },
	{ "/lang", DOC_PAGE, DOC_PAGE, "lang" },
	{ "/theme", DOC_PAGE, DOC_PAGE, "theme" },
};

static const char *const type_of[DOCS] = {
	[DOC_PAGE] = "text/html; charset=utf-8",
	[DOC_STATUS] = "application/json; charset=utf-8",
	[DOC_STYLE] = "text/css; charset=utf-8",
	[DOC_DARK] = "text/css; charset=utf-8",
	[DOC_SCRIPT] = "text/javascript; charset=utf-8",
	[DOC_SILENT_PAGE] = "text/html; charset=utf-8",
	[DOC_SILENT_STATUS] = "application/json; charset=utf-8",
};

/* -- answers ----------------------------------------------------------------------------------- */

static struct MHD_Response *response_new(const char *text, size_t len, const char *type)
{
	static const char *const header[][2] = {
		{ "Cache-Control", "no-store" },
		{ "Content-Security-Policy",
		  "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
		  "base-uri 'none'; form-action 'none'; frame-ancestors 'none'" },
		{ "X-Content-Type-Options", "nosniff" },
		{ "Referrer-Policy", "no-referrer" },
	};
	/* libmicrohttpd takes a pointer that is not const, and copies. */
	struct MHD_Response *r = MHD_create_response_from_buffer(len, (void *)(uintptr_t)text,
								 MHD_RESPMEM_MUST_COPY);

	if (!r)
		return NULL;
	if (type)
		MHD_add_response_header(r, "Content-Type", type);
	for (size_t i = 0; i < sizeof header / sizeof header[0]; i++)
		MHD_add_response_header(r, header[i][0], header[i][1]);
	return r;
}

static enum MHD_Result send_and_drop(struct MHD_Connection *c, unsigned status,
				     struct MHD_Response *r)
{
	enum MHD_Result sent = r ? MHD_queue_response(c, status, r) : MHD_NO;

	if (r)
		MHD_destroy_response(r);
	return sent;
}

static enum MHD_Result note_language(void *cls, enum MHD_ValueKind kind, const char *key,
				     const char *value)
{
	(void)kind;
	if (value && !strcasecmp(key, "Accept-Language"))
		pw_accept_add(cls, value);
	return MHD_YES;
}

/* What the reader wants: the cookies' word, else the browser's (RFC 9110 12.5.4), else English. */
static struct pw_choice choice_of(struct MHD_Connection *c)
{
	struct pw_accept accept = { 0 };
	struct pw_choice choice = {
		.language = pw_language_find(
			MHD_lookup_connection_value(c, MHD_COOKIE_KIND, "lang")),
		.theme = pw_theme_find(MHD_lookup_connection_value(c, MHD_COOKIE_KIND, "theme")),
		.held = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "hold") != NULL,
	};

	if (choice.language == PW_LANGUAGE_NONE) {
		MHD_get_connection_values(c, MHD_HEADER_KIND, note_language, &accept);
		choice.language = pw_accept_best(&accept);
	}
	if (choice.theme == PW_THEME_NONE)
		choice.theme = PW_THEME_AUTO;
	return choice;
}

/* A sentence; the connection ends with it, so that nothing of the request can pass for another. */
static enum MHD_Result refuse(struct MHD_Connection *c, unsigned status, enum pw_word word)
{
	char text[256];
	int n = snprintf(text, sizeof text, "%s\n", pw_word(choice_of(c).language, word));
	struct MHD_Response *r = response_new(text, (size_t)n, "text/plain; charset=utf-8");

	if (r && status == MHD_HTTP_METHOD_NOT_ALLOWED)
		MHD_add_response_header(r, "Allow", "GET, HEAD");
	if (r)
		MHD_add_response_header(r, "Connection", "close");
	return send_and_drop(c, status, r);
}

static int draw(struct pw_http *h, enum document doc, const struct pw_choice *c,
		const struct pw_snapshot *s)
{
	static const char silent[] = "{\"error\":\"the watch does not answer\"}";

	switch (doc) {
	case DOC_PAGE: return pw_html_page(s, c, h->buf, sizeof h->buf);
	case DOC_STATUS: return pw_page_status(s, h->buf, PW_STATUS_MAX);
	case DOC_STYLE: return snprintf(h->buf, sizeof h->buf, "%s", pw_web_style);
	case DOC_DARK: return snprintf(h->buf, sizeof h->buf, "%s", pw_web_dark);
	case DOC_SCRIPT: return snprintf(h->buf, sizeof h->buf, "%s", pw_web_script);
	case DOC_SILENT_PAGE: return pw_html_silent(c, h->buf, sizeof h->buf);
	case DOC_SILENT_STATUS: return snprintf(h->buf, sizeof h->buf, "%s", silent);
	default: return -1;
	}
}

static bool is_page(enum document doc)
{
	return doc == DOC_PAGE || doc == DOC_SILENT_PAGE;
}

static void add_headers(struct kept_document *k, enum document doc, const struct pw_choice *c,
			const struct pw_snapshot *s)
{
	char tag[17];

	if (is_page(doc)) {
		MHD_add_response_header(k->response, "Content-Language",
					pw_language_tag(c->language));
		MHD_add_response_header(k->response, "Vary", "Cookie, Accept-Language");
	}
	if (doc != DOC_STATUS)
		return;
	pw_status_tag(s, tag);
	/* Weak: between two answers of one tag nothing has changed but the passing of time. */
	snprintf(k->tag, sizeof k->tag, "W/\"%s\"", tag);
	MHD_add_response_header(k->response, "ETag", k->tag);
}

/* The document, drawn once a snapshot. NULL when it cannot be. */
static const struct kept_document *document(struct pw_http *h, enum document doc,
					    const struct pw_choice *c, const struct pw_snapshot *s)
{
	unsigned variant = is_page(doc) ? (c->language * PW_THEMES + c->theme) * 2 + c->held : 0;
	struct kept_document *k = &h->doc[doc][variant];
	uint64_t of = doc == DOC_PAGE || doc == DOC_STATUS ? h->ask->count : 0;

	if (k->response && k->drawn == of)
		return k;

	int len = draw(h, doc, c, s);
	struct MHD_Response *r = len < 0 ? NULL : response_new(h->buf, (size_t)len, type_of[doc]);

	if (!r)
		return NULL;
	if (k->response)
		MHD_destroy_response(k->response);
	k->response = r;
	k->drawn = of;
	add_headers(k, doc, c, s);
	return k;
}

/* RFC 9110 13.1.2, weak comparison; our tags hold nothing but hex digits. */
static bool tag_known(struct MHD_Connection *c, const char *tag)
{
	const char *known = MHD_lookup_connection_value(c, MHD_HEADER_KIND, "If-None-Match");

	return known && tag[0] && (!strcmp(known, "*") || strstr(known, strchr(tag, '"')));
}

static enum MHD_Result not_modified(struct MHD_Connection *c, const char *tag)
{
	struct MHD_Response *r = response_new("", 0, NULL);

	if (r)
		MHD_add_response_header(r, "ETag", tag);
	return send_and_drop(c, MHD_HTTP_NOT_MODIFIED, r);
}

static enum MHD_Result give(struct pw_http *h, struct MHD_Connection *c, const struct route *route)
{
	bool still = route->doc == route->silent; /* says nothing of the watch */
	const struct pw_snapshot *s = still ? NULL : pw_ask(h->ask);
	const struct pw_choice choice = choice_of(c);
	const struct kept_document *k = document(h, s ? route->doc : route->silent, &choice, s);

	if (!k)
		return refuse(c, MHD_HTTP_INTERNAL_SERVER_ERROR, PW_W_TOO_LONG);
	if (tag_known(c, k->tag))
		return not_modified(c, k->tag);
	return MHD_queue_response(c, still || s ? MHD_HTTP_OK : MHD_HTTP_SERVICE_UNAVAILABLE,
				  k->response);
}

/* A choice is kept by the browser: a year, for this site's own requests, out of scripts' reach. */
static enum MHD_Result choose(struct MHD_Connection *c, const struct route *route)
{
	bool language = route->cookie[0] == 'l';
	const char *to = MHD_lookup_connection_value(c, MHD_GET_ARGUMENT_KIND, "to");
	char cookie[96];

	if (language ? !pw_language_find(to) : !pw_theme_find(to))
		return refuse(c, MHD_HTTP_BAD_REQUEST,
			      language ? PW_W_NO_SUCH_LANGUAGE : PW_W_NO_SUCH_THEME);
	struct MHD_Response *r = response_new("", 0, NULL);

	snprintf(cookie, sizeof cookie, "%s=%s; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly",
		 route->cookie, to);
	if (r)
		MHD_add_response_header(r, "Set-Cookie", cookie);
	if (r)
		MHD_add_response_header(r, "Location", "/");
	return send_and_drop(c, MHD_HTTP_SEE_OTHER, r);
}

/* -- requests ---------------------------------------------------------------------------------- */

struct framing {
	unsigned hosts;
	const char *host;
	bool body;
};

static enum MHD_Result note_header(void *cls, enum MHD_ValueKind kind, const char *key,
				   const char *value)
{
	struct framing *f = cls;

	(void)kind;
	if (!strcasecmp(key, "Host")) {
		f->hosts++;
		f->host = value;
	} else if (!strcasecmp(key, "Transfer-Encoding")) {
		f->body = true;
	} else if (!strcasecmp(key, "Content-Length")) {
		f->body |= !value || strcmp(value, "0") != 0;
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

static const struct route *route_find(const char *url)
{
	for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++)
		if (!strcmp(url, routes[i].path))
			return &routes[i];
	return NULL;
}

/* Called twice: with the headers, when what is to be refused is refused before a body is read, and
 * when the request is whole. */
static enum MHD_Result answer(void *cls, struct MHD_Connection *c, const char *url,
			      const char *method, const char *version, const char *upload,
			      size_t *upload_size, void **of_request)
{
	const struct route *route = route_find(url);
	struct framing f = { 0 };

	(void)version, (void)upload, (void)upload_size;
	if (*of_request)
		return route->cookie ? choose(c, route) : give(cls, c, route);
	*of_request = cls;
	MHD_get_connection_values(c, MHD_HEADER_KIND, note_header, &f);
	if (f.hosts != 1 || !f.host)
		return refuse(c, MHD_HTTP_BAD_REQUEST, PW_W_BAD_REQUEST);
	if (!reached_here(c, f.host))
		return refuse(c, MHD_HTTP_MISDIRECTED_REQUEST, PW_W_FOREIGN_HOST);
	if (!route)
		return refuse(c, MHD_HTTP_NOT_FOUND, PW_W_NO_SUCH_PAGE);
	if (strcmp(method, "GET") != 0 && strcmp(method, "HEAD") != 0)
		return refuse(c, MHD_HTTP_METHOD_NOT_ALLOWED, PW_W_NO_SUCH_METHOD);
	if (f.body)
		return refuse(c, MHD_HTTP_BAD_REQUEST, PW_W_BAD_REQUEST);
	return MHD_YES;
}

/* Paths are compared as they were sent: none of ours needs an escape. */
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

	if (code == MHD_CONNECTION_NOTIFY_STARTED)
		connection_begins(cls, c, of_connection);
	else if (slot)
		slot->used = false;
}

static void request_ends(void *cls, struct MHD_Connection *c, void **of_request,
			 enum MHD_RequestTerminationCode code)
{
	const union MHD_ConnectionInfo *info =
		MHD_get_connection_info(c, MHD_CONNECTION_INFO_SOCKET_CONTEXT);
	struct slot *slot = info ? info->socket_context : NULL;
	struct pw_http *h = cls;

	(void)of_request, (void)code;
	if (slot)
		slot->deadline_ms = pw_boot_ms() + h->deadline_ms;
}

void pw_http_run(struct pw_http *h, int64_t now_ms)
{
	for (int i = 0; i < PW_CONNECTIONS_MAX; i++)
		if (h->slot[i].used && h->slot[i].deadline_ms <= now_ms)
			shutdown(h->slot[i].fd, SHUT_RDWR); /* the library sees it and closes */
	MHD_run(h->daemon);
}

int pw_http_wait_ms(const struct pw_http *h, int64_t now_ms)
{
	unsigned MHD_LONG_LONG library_ms;
	int64_t wait_ms = INT32_MAX;

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
	for (int i = 0; i < DOCS; i++)
		for (int v = 0; v < VARIANTS; v++)
			if (h->doc[i][v].response)
				MHD_destroy_response(h->doc[i][v].response);
	free(h);
}
