/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <strings.h>

#include "http_internal.h"

struct MHD_Response *pw_response(const char *text, size_t len, const char *type)
{
	static const char *const header[][2] = {
		{ "Cache-Control", "no-store" },
		{ "Content-Security-Policy",
		  "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
		  "base-uri 'none'; form-action 'self'; frame-ancestors 'none'" },
		{ "X-Content-Type-Options", "nosniff" },
		/* With no-referrer a browser sends `Origin: null` with our own forms (the Fetch
		 * standard, "append a request `Origin` header"). */
		{ "Referrer-Policy", "same-origin" },
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

enum MHD_Result pw_send(struct MHD_Connection *c, unsigned status, struct MHD_Response *r)
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
struct pw_choice pw_choice_of(struct MHD_Connection *c)
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

void pw_add_language(struct MHD_Response *r, const struct pw_choice *c)
{
	MHD_add_response_header(r, "Content-Language", pw_language_tag(c->language));
	MHD_add_response_header(r, "Vary", "Cookie, Accept-Language");
}

static void add_refusal_headers(struct MHD_Response *r, const struct refusal *why)
{
	char seconds[24];

	if (why->allow)
		MHD_add_response_header(r, "Allow", why->allow);
	if (why->wait_ms > 0) {
		snprintf(seconds, sizeof seconds, "%" PRId64, (why->wait_ms + 999) / 1000);
		MHD_add_response_header(r, "Retry-After", seconds);
	}
	if (why->over)
		MHD_add_response_header(r, "Set-Cookie", PW_SESSION_OVER);
	/* What is left of the request shall not pass for another. */
	if (!why->whole)
		MHD_add_response_header(r, "Connection", "close");
}

enum MHD_Result pw_refuse(struct pw_http *h, struct MHD_Connection *c, const struct refusal *why)
{
	const struct pw_choice choice = pw_choice_of(c);
	const char *type = "text/html; charset=utf-8";
	int len = pw_html_refusal(&choice, why->why, why->wait_ms, why->on, h->buf, sizeof h->buf);

	if (len < 0) {
		type = "text/plain; charset=utf-8";
		len = snprintf(h->buf, sizeof h->buf, "%s\n", pw_word(choice.language, why->why));
	}
	struct MHD_Response *r = pw_response(h->buf, (size_t)len, type);

	if (r)
		pw_add_language(r, &choice);
	if (r)
		add_refusal_headers(r, why);
	return pw_send(c, why->status, r);
}

enum MHD_Result pw_see_other(struct MHD_Connection *c, const char *to, const char *cookie)
{
	struct MHD_Response *r = pw_response("", 0, NULL);

	if (r && cookie)
		MHD_add_response_header(r, "Set-Cookie", cookie);
	if (r)
		MHD_add_response_header(r, "Location", to);
	return pw_send(c, MHD_HTTP_SEE_OTHER, r);
}
