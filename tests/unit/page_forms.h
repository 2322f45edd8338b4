/* SPDX-License-Identifier: Apache-2.0 */
/* page_forms.h - forms as a browser fills and sends them, for the tests of the page. */
#ifndef POSTWALK_TEST_PAGE_FORMS_H
#define POSTWALK_TEST_PAGE_FORMS_H

#include "page_client.h"

#define VISIT "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define SESSION "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
#define MINE "Cookie: visit=" VISIT "; session=" SESSION "\r\n"
#define FORM "Content-Type: application/x-www-form-urlencoded\r\n"

/* The token of the first form of the last reply. */
static inline void token_shown(struct world *w, char token[PW_TOKEN_MAX])
{
	static const char mark[] = "name=\"token\" value=\"";
	const char *at = strstr(w->reply, mark);

	if (!at)
		fail_msg("no token in:\n%.60s", w->reply);
	at += strlen(mark);
	snprintf(token, PW_TOKEN_MAX, "%.*s", (int)strcspn(at, "\""), at);
}

/* Looks at the page first, as VISIT. /found asks what was found before it shows a form. */
static inline void token_of(struct world *w, const char *path, char token[PW_TOKEN_MAX])
{
	const char *form = strcmp(path, "/found") ? path : "/found?what=damage";

	assert_int_equal(ask(w, "GET", form, MINE), 200);
	token_shown(w, token);
}

/* Any headers (with their cookies and type) and any body. */
static inline int post_raw(struct world *w, const char *path, const char *headers,
			   const char *text, size_t len)
{
	static char request[80000];
	int n = snprintf(request, sizeof request,
			 "POST %s HTTP/1.1\r\nHost: 127.0.0.1:%u\r\nConnection: close\r\n"
			 "Content-Length: %zu\r\n%s\r\n", path, w->port, len, headers);
	int fd = client_open(w->port), status = 0;

	assert_true((size_t)n + len < sizeof request);
	memcpy(request + n, text, len);
	assert_int_equal(send(fd, request, (size_t)n + len, MSG_NOSIGNAL), (ssize_t)((size_t)n + len));
	client_read(w, fd);
	close(fd);
	return sscanf(w->reply, "HTTP/1.%*d %d ", &status) == 1 ? status : 0;
}

static inline int post_as(struct world *w, const char *path, const char *headers,
			  const char *token, const char *fields)
{
	static char text[70000];

	snprintf(text, sizeof text, "token=%s&%s", token, fields);
	return post_raw(w, path, headers, text, strlen(text));
}

/* A form as the page itself sends it. */
static inline int post(struct world *w, const char *path, const char *fields)
{
	char token[PW_TOKEN_MAX];

	token_of(w, path, token);
	return post_as(w, path, MINE FORM, token, fields);
}

static inline void says(struct world *w, enum pw_word word)
{
	char text[512];
	struct pw_sheet t;

	pw_sheet_open(&t, text, sizeof text);
	pw_sheet_html(&t, pw_word(PW_ENGLISH, word));
	if (!strstr(w->reply, text))
		fail_msg("\"%s\" is not in:\n%.900s", text, w->reply);
}

static inline void nothing_done(struct world *w)
{
	assert_int_equal(w->acts, 0);
}

#endif
