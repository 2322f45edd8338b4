/* SPDX-License-Identifier: Apache-2.0 */
/* What goes back: the headers of a page and of a file. */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "web_internal.h"

#define COOKIE_MAX 200
#define TONGUE_S 31536000 /* a year */

/* Fetched again at each view, so that nobody who comes behind reads them from a cache; no other
 * site's page can frame them, send their forms or lend them scripts. */
static const struct { const char *name, *value; } always[] = {
	{ "Content-Security-Policy",
	  "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; "
	  "form-action 'self'; frame-ancestors 'none'; base-uri 'none'" },
	{ "X-Content-Type-Options", "nosniff" },
	{ "Referrer-Policy", "same-origin" },
	{ "Cache-Control", "no-store" },
	{ "Cross-Origin-Opener-Policy", "same-origin" },
	{ "Cross-Origin-Resource-Policy", "same-origin" },
};

static void add_cookie(const struct pw_turn *t, struct MHD_Response *answer, const char *name,
		       const char *value, long most_s)
{
	const bool tls = t->web->listener.certificate != NULL;
	char text[COOKIE_MAX], age[40] = "";

	if (most_s >= 0)
		snprintf(age, sizeof(age), "; Max-Age=%ld", most_s);
	snprintf(text, sizeof(text), "%s=%s; Path=/; HttpOnly; SameSite=Strict%s%s", name, value,
		 tls ? "; Secure" : "", age);
	MHD_add_response_header(answer, "Set-Cookie", text);
}

static void add_cookies(const struct pw_turn *t, struct MHD_Response *answer)
{
	const char *name = t->web->listener.certificate ? "__Host-postwalk" : "postwalk";

	if (t->ends_cookie)
		add_cookie(t, answer, name, "", 0);
	else if (t->id_is_new && !t->bearer[0])
		add_cookie(t, answer, name, t->id, -1);
	if (t->is_tongue)
		add_cookie(t, answer, "postwalk-tongue", pw_tongue_tag(t->asked.tongue), TONGUE_S);
}

static void add_headers(const struct pw_turn *t, struct MHD_Response *answer)
{
	char text[300];

	for (size_t i = 0; i < sizeof(always) / sizeof(always[0]); i++)
		MHD_add_response_header(answer, always[i].name, always[i].value);
	if (t->web->listener.certificate)
		MHD_add_response_header(answer, "Strict-Transport-Security", "max-age=31536000");
	if (t->type)
		MHD_add_response_header(answer, "Content-Type", t->type);
	if (t->type && strncmp(t->type, "text/html", 9) == 0) {
		MHD_add_response_header(answer, "Content-Language", pw_tongue_tag(t->asked.tongue));
		MHD_add_response_header(answer, "Vary", "Cookie, Accept-Language");
	}
	if (t->name[0] && t->fd >= 0) {
		snprintf(text, sizeof(text), "attachment; filename=\"%s\"", t->name);
		MHD_add_response_header(answer, "Content-Disposition", text);
	}
	if (t->then[0])
		MHD_add_response_header(answer, "Location", t->then);
	if (t->status == 401) /* RFC 9110 11.6.1 */
		MHD_add_response_header(answer, "WWW-Authenticate", "Bearer");
	if (t->status == 405) /* RFC 9110 15.5.6 */
		MHD_add_response_header(answer, "Allow", t->asked.leaf && t->asked.leaf->post
						? "GET, HEAD, POST" : "GET, HEAD");
	if (t->retry_s > 0 || t->status == 503) {
		snprintf(text, sizeof(text), "%d", t->retry_s > 0 ? t->retry_s : 5);
		MHD_add_response_header(answer, "Retry-After", text);
	}
	add_cookies(t, answer);
}

/* What it takes is the library's from now on. */
static struct MHD_Response *body_of(struct pw_turn *t)
{
	struct MHD_Response *answer;
	struct stat st;

	if (t->fd >= 0 && fstat(t->fd, &st) == 0) {
		answer = MHD_create_response_from_fd64((uint64_t)st.st_size, t->fd);
	} else if (t->text) {
		answer = MHD_create_response_from_buffer(t->length, t->text, MHD_RESPMEM_MUST_FREE);
		t->text = answer ? NULL : t->text;
	} else {
		answer = MHD_create_response_from_buffer(0, (void *)(uintptr_t)"",
							 MHD_RESPMEM_PERSISTENT);
	}
	return answer;
}

enum MHD_Result pw_turn_answer(struct pw_turn *t)
{
	struct MHD_Response *answer = body_of(t);
	enum MHD_Result sent;

	if (!answer)
		return MHD_NO;
	if (t->status == 0 || (t->status < 300 && t->fd < 0 && !t->type))
		t->status = 500;
	add_headers(t, answer);
	t->fd = -1;
	sent = MHD_queue_response(t->connection, t->status, answer);
	MHD_destroy_response(answer);
	return sent;
}
