/* SPDX-License-Identifier: Apache-2.0 */
/* forms.h - pages with forms, looked at and sent as a browser does: with cookies and tokens. */
#ifndef POSTWALK_TEST_FORMS_H
#define POSTWALK_TEST_FORMS_H

#include <fcntl.h>
#include <sys/file.h>

#include "postwalk/page.h"
#include "look.h"

#define VISIT "00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff"
#define REPLY_MAX 262144
#define PIN "k7-orange-roof"

struct browser {
	struct world *w;
	char session[65]; /* "": none */
	char reply[REPLY_MAX];
};

/* The request goes out; the socket. */
static inline int browser_send(struct browser *b, const char *method, const char *path,
			       const char *body)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_port = htons((uint16_t)b->w->port),
				 .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);

	assert_int_equal(connect(fd, (struct sockaddr *)&a, sizeof(a)), 0);
	dprintf(fd, "%s %s HTTP/1.1\r\nHost: 127.0.0.1:%d\r\nConnection: close\r\n"
		"Cookie: visit=" VISIT "%s%s\r\n", method, path, b->w->port,
		b->session[0] ? "; session=" : "", b->session);
	if (body)
		dprintf(fd, "Content-Type: application/x-www-form-urlencoded\r\n"
			"Content-Length: %zu\r\n\r\n%s", strlen(body), body);
	else
		dprintf(fd, "\r\n");
	return fd;
}

/* The whole answer; its status. */
static inline int browser_hear(struct browser *b, int fd)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;
	const char *session;
	size_t len = 0;
	ssize_t n = -1;
	int status = 0;

	while (n != 0 && now_ms() < until_ms) {
		if (!world_turn(b->w, fd, until_ms))
			continue;
		n = recv(fd, b->reply + len, sizeof(b->reply) - 1 - len, 0);
		len += n > 0 ? (size_t)n : 0;
	}
	close(fd);
	b->reply[len] = '\0';
	session = strstr(b->reply, "Set-Cookie: session=");
	if (session)
		snprintf(b->session, sizeof(b->session), "%.*s", (int)strcspn(session + 20, ";\r"),
			 session + 20);
	return sscanf(b->reply, "HTTP/1.%*d %d ", &status) == 1 ? status : 0;
}

static inline int browser_look(struct browser *b, const char *path)
{
	return browser_hear(b, browser_send(b, "GET", path, NULL));
}

/* The form of that page (its query is not sent along), filled in and on its way; the socket. */
static inline int form_send(struct browser *b, const char *page, const char *fields)
{
	static const char mark[] = "name=\"token\" value=\"";
	char path[64], body[1024];
	const char *token;

	assert_int_equal(browser_look(b, page), 200);
	token = strstr(b->reply, mark);
	if (!token)
		fail_msg("no form at %s:\n%s", page, b->reply);
	token += strlen(mark);
	snprintf(body, sizeof(body), "token=%.*s&%s", (int)strcspn(token, "\""), token, fields);
	snprintf(path, sizeof(path), "%.*s", (int)strcspn(page, "?"), page);
	return browser_send(b, "POST", path, body);
}

static inline int form(struct browser *b, const char *page, const char *fields)
{
	return browser_hear(b, form_send(b, page, fields));
}

static inline void pin_is_set(const struct world *w, enum pw_role role)
{
	char why[256];

	if (pw_pin_set(w->state, role, PIN, why, sizeof(why)) < 0)
		fail_msg("%s", why);
}

/* Whoever looks at a PIN waits as at a disk that does not answer. close() lets it go on. */
static inline int hold_folder(const struct world *w)
{
	int fd = open(w->state, O_RDONLY | O_DIRECTORY | O_CLOEXEC);

	assert_int_equal(flock(fd, LOCK_EX), 0);
	return fd;
}

#endif
