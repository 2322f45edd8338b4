/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "http_internal.h"

static const struct route routes[] = {
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

const struct route *pw_route(const char *path)
{
	for (size_t i = 0; i < sizeof routes / sizeof routes[0]; i++)
		if (!strcmp(path, routes[i].path))
			return &routes[i];
	return NULL;
}

/* -- drawn once a snapshot --------------------------------------------------------------------- */

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

	if (is_page(doc))
		pw_add_language(k->response, c);
	if (doc != DOC_STATUS)
		return;
	pw_status_tag(s, tag);
	/* Weak: between two answers of one tag nothing has changed but the passing of time. */
	snprintf(k->tag, sizeof k->tag, "W/\"%s\"", tag);
	MHD_add_response_header(k->response, "ETag", k->tag);
}

/* NULL when it cannot be drawn. */
static const struct kept_document *document(struct pw_http *h, enum document doc,
					    const struct pw_choice *c, const struct pw_snapshot *s)
{
	unsigned variant = is_page(doc) ? (c->language * PW_THEMES + c->theme) * 2 + c->held : 0;
	struct kept_document *k = &h->doc[doc][variant];
	uint64_t of = doc == DOC_PAGE || doc == DOC_STATUS ? h->ask->count : 0;

	if (k->response && k->drawn == of)
		return k;

	int len = draw(h, doc, c, s);
	struct MHD_Response *r = len < 0 ? NULL : pw_response(h->buf, (size_t)len, type_of[doc]);

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
	struct MHD_Response *r = pw_response("", 0, NULL);

	if (r)
		MHD_add_response_header(r, "ETag", tag);
	return pw_send(c, MHD_HTTP_NOT_MODIFIED, r);
}

static enum MHD_Result give(struct pw_http *h, struct MHD_Connection *c, enum document doc,
			    unsigned status, const struct pw_snapshot *s)
{
	const struct pw_choice choice = pw_choice_of(c);
	const struct kept_document *k = document(h, doc, &choice, s);
	static const struct refusal void_page = { .status = MHD_HTTP_INTERNAL_SERVER_ERROR,
						  .why = PW_W_TOO_LONG };

	if (!k)
		return pw_refuse(h, c, &void_page);
	if (tag_known(c, k->tag))
		return not_modified(c, k->tag);
	return MHD_queue_response(c, status, k->response);
}

enum MHD_Result pw_give(struct pw_http *h, struct MHD_Connection *c, const struct route *route)
{
	bool still = route->doc == route->silent; /* says nothing of the watch */
	const struct pw_snapshot *s = still ? NULL : pw_ask(h->ask);

	if (still || s)
		return give(h, c, route->doc, MHD_HTTP_OK, s);
	return give(h, c, route->silent, MHD_HTTP_SERVICE_UNAVAILABLE, NULL);
}

enum MHD_Result pw_give_silent(struct pw_http *h, struct MHD_Connection *c)
{
	return give(h, c, DOC_SILENT_PAGE, MHD_HTTP_SERVICE_UNAVAILABLE, NULL);
}

/* -- choices ----------------------------------------------------------------------------------- */

/* "/" or a leaf's path, with what it asks: a page of ours and nothing else. */
static bool leads_back(const char *from)
{
	static const char plain[] = "abcdefghijklmnopqrstuvwxyz0123456789_";
	const char *query = strchr(from, '?'), *value;
	char path[64];

	if (!strcmp(from, "/"))
		return true;
	snprintf(path, sizeof path, "%.*s", (int)(query ? query - from : (int)strlen(from)), from);
	const struct pw_leaf *leaf = pw_leaf_find(path);

	if (!leaf || !leaf->template || strlen(from) >= sizeof path)
		return false;
	if (!query)
		return true;
	size_t len = leaf->asks ? strlen(leaf->asks) : 0;

	if (!len || strncmp(query + 1, leaf->asks, len) != 0 || query[1 + len] != '=')
		return false;
	value = query + 2 + len;
	return strspn(value, plain) == strlen(value);
}

/* A choice is kept by the browser: a year, for this site's own requests, out of scripts' reach. */
enum MHD_Result pw_choose(struct pw_http *h, struct MHD_Connection *c, const struct request *r)
{
	bool language = r->route->cookie[0] == 'l';
	const struct pw_form *query = &r->sent->query;
	const char *to = pw_form_value(query, "to"), *from = pw_form_value(query, "from");
	const struct refusal no_such = {
		.status = MHD_HTTP_BAD_REQUEST, .on = "/",
		.why = language ? PW_W_NO_SUCH_LANGUAGE : PW_W_NO_SUCH_THEME,
	};
	char cookie[96];

	if (query->spoiled || (language ? !pw_language_find(to) : !pw_theme_find(to)))
		return pw_refuse(h, c, &no_such);
	snprintf(cookie, sizeof cookie,
		 "%s=%s; Path=/; Max-Age=31536000; SameSite=Strict; HttpOnly", r->route->cookie, to);
	return pw_see_other(c, leads_back(from) ? from : "/", cookie);
}
