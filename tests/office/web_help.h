/* SPDX-License-Identifier: Apache-2.0 */
/* web_help.h - a real office's pages, asked by curl(1) with a jar of cookies a person. */
#ifndef OFFICE_WEB_HELP_H
#define OFFICE_WEB_HELP_H

#include "office.h"

#define PAGE_MAX 400000

struct pages {
	struct office office;
	char at[64]; /* http://127.0.0.1:PORT */
	int port;
};
struct page {
	int status;
	char head[8000], *body;
};

static inline void pages_hear(struct pages *p)
{
	struct pollfd in = { .fd = p->office.out, .events = POLLIN };
	char line[200] = "";
	size_t n = 0;

	while (n + 1 < sizeof(line) && poll(&in, 1, OFFICE_PATIENCE_MS) == 1 &&
	       read(p->office.out, line + n, 1) == 1 && line[n] != '\n')
		n++;
	line[n] = '\0';
	if (sscanf(line, "pages at %63s", p->at) != 1)
		fail_msg("it does not say where its pages are: %s", line);
	p->port = atoi(strrchr(p->at, ':') + 1);
}

static inline void pages_begin(struct pages *p, const char *conf)
{
	char text[600];

	snprintf(text, sizeof(text), "pages = 127.0.0.1:0\n%s", conf);
	office_begin(&p->office, text);
	pages_hear(p);
}

static inline void page_free(struct page *p)
{
	free(p->body);
	p->body = NULL;
}

static inline char *read_whole(const char *dir, const char *name, size_t most)
{
	char path[128], *text = calloc(1, most);
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", dir, name);
	f = fopen(path, "re");
	assert_non_null(text);
	if (f) {
		assert_true(fread(text, 1, most - 1, f) < most - 1);
		fclose(f);
	}
	return text;
}

/* jar: whose cookies. more: further arguments of curl. */
static inline struct page fetch(const struct pages *p, const char *jar, const char *path,
				const char *more)
{
	const char *dir = p->office.dir;
	struct page page = { .status = 0 };
	int status;
	char *code = shell(&status,
			   "cd %s && rm -f head body && curl -sS --globoff --max-time 60 --cacert tls.crt -o body "
			   "-D head -b jar-%s -c jar-%s -w '%%{http_code}' %s '%s%s'",
			   dir, jar, jar, more, p->at, path), *head;

	if (status)
		fail_msg("curl %s: %d %s", path, status, code);
	page.status = atoi(code + strlen(code) - 3);
	page.body = read_whole(dir, "body", PAGE_MAX);
	head = read_whole(dir, "head", sizeof(page.head));
	memcpy(page.head, head, sizeof(page.head));
	free(head);
	free(code);
	return page;
}

static inline void assert_has(const char *text, const char *words)
{
	if (!strstr(text, words))
		fail_msg("expected \"%s\" in: %s", words, text);
}

static inline void assert_has_not(const char *text, const char *words)
{
	if (strstr(text, words))
		fail_msg("expected no \"%s\" in: %s", words, text);
}

static inline void assert_page(const struct page *p, int status, const char *words)
{
	if (p->status != status)
		fail_msg("%d, not %d: %s", p->status, status, p->body);
	assert_has(p->body, words);
}

/* The token of the form that is sent to action. */
static inline void token_in(const char *body, const char *action, char token[65])
{
	char text[100];
	const char *at;

	snprintf(text, sizeof(text), "action=\"%s\"", action);
	at = strstr(body, text);
	at = at ? strstr(at, "name=\"token\" value=\"") : NULL;
	if (!at || sscanf(at, "name=\"token\" value=\"%64[0-9a-f]\"", token) != 1)
		fail_msg("there is no form to %s in %s", action, body);
}

/* A form, filled in: fields as "--data-urlencode 'a=b' ...". */
static inline struct page send_form(const struct pages *p, const char *jar, const char *path,
				    const char *fields)
{
	struct page page = fetch(p, jar, path, "");
	char token[65], more[1500];

	token_in(page.body, path, token);
	page_free(&page);
	snprintf(more, sizeof(more), "-d token=%s %s", token, fields);
	return fetch(p, jar, path, more);
}

static inline struct page sign_in(const struct pages *p, const char *jar, const char *code,
				  const char *password)
{
	char fields[300];

	snprintf(fields, sizeof(fields), "-d code=%s --data-urlencode 'password=%s'", code, password);
	return send_form(p, jar, "/sign-in", fields);
}

/* A first password, as the shell draws it. */
static inline void draw_account(const struct pages *p, const char *code, const char *role,
				char first[40])
{
	char command[100], *said, *at;

	snprintf(command, sizeof(command), "account %s --role %s --fresh", code, role);
	said = office_do(&p->office, command);
	at = strstr(said, "first password ");
	if (!at || sscanf(at, "first password %39s", first) != 1)
		fail_msg("%s: %s", command, said);
	free(said);
}

#define OWN_PASSWORD "a bus, a brush, a broom"

/* Makes an account and signs its person in, with a password of the own; the jar has the code's name. */
static inline void make_person(const struct pages *p, const char *code, const char *role)
{
	char first[40], fields[400];
	struct page page;

	draw_account(p, code, role, first);
	page = sign_in(p, code, code, first);
	assert_int_equal(page.status, 303);
	assert_has(page.head, "Location: /password");
	page_free(&page);
	snprintf(fields, sizeof(fields), "--data-urlencode 'now=%s' --data-urlencode 'new=%s' "
		 "--data-urlencode 'again=%s'", first, OWN_PASSWORD, OWN_PASSWORD);
	page = send_form(p, code, "/password", fields);
	assert_int_equal(page.status, 303);
	page_free(&page);
}

#endif
