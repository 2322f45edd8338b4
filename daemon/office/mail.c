/* SPDX-License-Identifier: Apache-2.0 */
/* What is told as a mail, handed to the office's mail server: SMTP by libcurl. */
#include "tell_internal.h"

#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "post_internal.h"

#define ADDRESS_MAX 256

/* Plain addresses: nothing that could end a command of SMTP, or a header. */
static bool is_address(const char *address)
{
	const char *at = strchr(address, '@');

	for (const char *p = address; *p != '\0'; p++)
		if (*p <= ' ' || *p > '~' || strchr("<>()[]\\,;:\"", *p) != NULL)
			return false;
	return at != NULL && at != address && at[1] != '\0' && strchr(at + 1, '@') == NULL;
}

/* The next address of mail_to; false at the end. */
static bool next_address(const char **to, char address[ADDRESS_MAX])
{
	const char *begin = *to + strspn(*to, " ");
	const size_t length = strcspn(begin, " ");

	*to = begin + length;
	snprintf(address, ADDRESS_MAX, "%.*s", (int)length, begin);
	return length > 0;
}

static int check(const struct pw_office_conf *c, char *why, size_t size)
{
	const char *to = c->mail_to;
	char address[ADDRESS_MAX];
	size_t count = 0;

	if (!is_address(c->mail_from)) {
		snprintf(why, size, "from in [mail]: expected an address such as "
			 "office@example.org, not \"%.80s\"", c->mail_from);
		return -1;
	}
	for (; next_address(&to, address); count++)
		if (!is_address(address)) {
			snprintf(why, size, "to in [mail]: expected addresses with spaces between, "
				 "not \"%.80s\"", address);
			return -1;
		}
	if (count == 0)
		snprintf(why, size, "to in [mail]: expected at least one address");
	return count == 0 ? -1 : 0;
}

/* -- one transfer a recipient: one who is refused keeps no other from hearing ------------------ */

struct letter {
	const char *text;
	size_t given, length;
};

static size_t give(char *to, size_t size, size_t count, void *ctx)
{
	struct letter *letter = ctx;
	size_t n = letter->length - letter->given;

	if (n > size * count)
		n = size * count;
	memcpy(to, letter->text + letter->given, n);
	letter->given += n;
	return n;
}

static int send_to(struct pw_post *p, const char *address, const char *text, char *why, size_t size)
{
	struct letter letter = { .text = text, .length = strlen(text) };
	struct curl_slist *one = curl_slist_append(NULL, address);
	long code = 0;
	int result;

	if (one == NULL) {
		snprintf(why, size, "memory is short");
		return -1;
	}
	curl_easy_setopt(p->curl, CURLOPT_MAIL_RCPT, one);
	curl_easy_setopt(p->curl, CURLOPT_READDATA, &letter);
	result = pw_post_run(p, why, size);
	curl_easy_getinfo(p->curl, CURLINFO_RESPONSE_CODE, &code);
	if (result < 0 && code >= 400)
		snprintf(why, size, "the mail server answered %ld", code);
	curl_easy_setopt(p->curl, CURLOPT_MAIL_RCPT, NULL);
	curl_slist_free_all(one);
	return result;
}

/* 0: at least one has it; why then tells of the first who has not. */
static int send_to_all(struct pw_post *p, const char *to, const char *text, char *why, size_t size)
{
	char address[ADDRESS_MAX], said[CURL_ERROR_SIZE];
	size_t sent = 0, refused = 0;

	while (next_address(&to, address)) {
		if (send_to(p, address, text, said, sizeof(said)) == 0)
			sent++;
		else if (refused++ == 0)
			snprintf(why, size, "%.60s did not get it: %.110s", address, said);
	}
	return sent > 0 ? 0 : -1;
}

/* -- the server -------------------------------------------------------------------------------- */

static int sign_in(struct pw_post *p, const struct pw_office_conf *c, char *why, size_t size)
{
	char password[PW_POST_SECRET_MAX];

	if (c->mail_user[0] == '\0')
		return 0;
	if (pw_post_secret(c->mail_password_file, 1, password, why, size) < 0)
		return -1;
	curl_easy_setopt(p->curl, CURLOPT_USERNAME, c->mail_user);
	curl_easy_setopt(p->curl, CURLOPT_PASSWORD, password);
	sodium_memzero(password, sizeof(password));
	return 0;
}

static int open_server(struct pw_post *p, const struct pw_office_conf *c, const atomic_bool *stop,
		       char *why, size_t size)
{
	const long tls = pw_post_loopback(c->mail_server) ? CURLUSESSL_NONE : CURLUSESSL_ALL;

	if (pw_post_open(p, c->mail_server, "smtp,smtps", stop) < 0) {
		snprintf(why, size, "server in [mail]: expected smtp://HOST:PORT or "
			 "smtps://HOST:PORT, not \"%.80s\"", c->mail_server);
		return -1;
	}
	/* STARTTLS, or nothing is sent; nobody listens in on a loopback address */
	curl_easy_setopt(p->curl, CURLOPT_USE_SSL, tls);
	curl_easy_setopt(p->curl, CURLOPT_UPLOAD, 1L);
	curl_easy_setopt(p->curl, CURLOPT_READFUNCTION, give);
	curl_easy_setopt(p->curl, CURLOPT_MAIL_FROM, c->mail_from);
	return sign_in(p, c, why, size);
}

bool pw_mail_wanted(const struct pw_office_conf *c)
{
	return c->mail_server[0] != '\0';
}

int pw_mail_send(const struct pw_office_conf *c, const struct pw_news *n, int64_t now_ms,
		 const atomic_bool *stop, char *why, size_t size)
{
	struct pw_post p = { .curl = NULL };
	char *text = NULL;
	int result = check(c, why, size);

	if (result < 0)
		return result;
	why[0] = '\0';
	result = open_server(&p, c, stop, why, size);
	if (result == 0 && (text = pw_mail_text(n, c->mail_from, c->mail_to, now_ms)) == NULL) {
		snprintf(why, size, "memory is short");
		result = -1;
	}
	if (result == 0)
		result = send_to_all(&p, c->mail_to, text, why, size);
	free(text);
	pw_post_close(&p);
	return result;
}
