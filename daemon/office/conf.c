/* SPDX-License-Identifier: Apache-2.0 */
/*
 * OFFICE/office.conf: [sections], key = value, a # at the start of a line begins a comment. The
 * table knows all keys; nothing else in a line is passed over. Names of files are of the folder
 * that the file stands in, unless they begin with a slash.
 */
#include <errno.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "intake_internal.h"
#include "postwalk/text.h"

#define FILE_MAX_CHARS 16384
#define LINE_MAX_CHARS 700

enum value { V_PLACE = 1, V_PLACE_OR_NONE, V_FILE, V_STORE, V_SMTP, V_TEXT, V_HOOK, V_COUNT };

#define KEEP_DAYS "a whole number from 0 to 36500; 0: for good"
#define AT(member) \
	offsetof(struct pw_office_conf, member), sizeof(((struct pw_office_conf *)0)->member)
static const struct key {
	const char *section, *key;
	enum value value;
	size_t at, size;
	uint32_t least, most; /* V_COUNT */
	const char *expected;
} keys[] = {
	{ "office", "listen", V_PLACE, AT(listen), 0, 0,
	  "ADDRESS:PORT, the address in digits, as 0.0.0.0:8443 or [::1]:8443" },
	{ "office", "pages", V_PLACE_OR_NONE, AT(pages), 0, 0,
	  "ADDRESS:PORT, the address in digits, as 0.0.0.0:8444, or nothing: no pages" },
	{ "office", "certificate", V_FILE, AT(certificate), 0, 0, "the name of a PEM file" },
	{ "office", "private_key", V_FILE, AT(private_key), 0, 0, "the name of a PEM file" },
	{ "office", "store", V_STORE, AT(store), 0, 0,
	  "postgresql://..., or nothing for OFFICE/office.db" },
	{ "office", "zone", V_TEXT, AT(zone), 0, 0,
	  "a time zone of this machine, as America/Chicago" },
	{ "mail", "server", V_SMTP, AT(mail_server), 0, 0,
	  "smtp://HOST:PORT or smtps://HOST:PORT" },
	{ "mail", "user", V_TEXT, AT(mail_user), 0, 0, "a name of at most 63 characters" },
	{ "mail", "password_file", V_FILE, AT(mail_password_file), 0, 0, "the name of a file" },
	{ "mail", "from", V_TEXT, AT(mail_from), 0, 0, "an address of at most 127 characters" },
	{ "mail", "to", V_TEXT, AT(mail_to), 0, 0,
	  "addresses with a space between, 511 characters at most" },
	{ "webhook", "url", V_HOOK, AT(webhook), 0, 0,
	  "https://..., or http:// of a loopback address" },
	{ "webhook", "secret_file", V_FILE, AT(webhook_secret_file), 0, 0, "the name of a file" },
	{ "tell", "again_s", V_COUNT, AT(tell_again_s), 60, 604800,
	  "a whole number from 60 to 604800" },
	{ "tell", "digest_hour", V_COUNT, AT(digest_hour), 0, 24, "a whole number from 0 to 24" },
	{ "keep", "records_days", V_COUNT, AT(keep_days[PW_KEEP_RECORDS]), 0, 36500, KEEP_DAYS },
	{ "keep", "rows_days", V_COUNT, AT(keep_days[PW_KEEP_ROWS]), 0, 36500, KEEP_DAYS },
	{ "keep", "warmth_days", V_COUNT, AT(keep_days[PW_KEEP_WARMTH]), 0, 36500, KEEP_DAYS },
	{ "keep", "views_days", V_COUNT, AT(keep_days[PW_KEEP_VIEWS]), 0, 36500, KEEP_DAYS },
	{ "habit", "silent_days", V_COUNT, AT(silent_days), 1, 26, "a whole number from 1 to 26" },
};
#define KEYS (sizeof(keys) / sizeof(keys[0]))

static const struct pw_office_conf defaults = {
	.listen = "127.0.0.1:8443",
	.pages = "127.0.0.1:8444",
	.tell_again_s = 3600,
	.digest_hour = 6,
	.silent_days = 3,
};

struct reading {
	const char *dir; /* of the file, with its slash, or "" */
	int line;
	char section[16];
	int given[KEYS]; /* the line; 0: not yet */
	struct pw_office_conf *conf;
	char words[320];
};

static int spoil(struct reading *r, const char *words)
{
	snprintf(r->words, sizeof(r->words), "%s", words);
	return -1;
}

/* -- values ------------------------------------------------------------------------------------ */

static bool is_smtp(const char *url)
{
	return strncmp(url, "smtp://", 7) == 0 || strncmp(url, "smtps://", 8) == 0;
}

static bool is_hook(const char *url)
{
	static const char *const local[] = { "http://127.0.0.1", "http://[::1]" };

	if (strncmp(url, "https://", 8) == 0)
		return true;
	for (size_t i = 0; i < 2; i++) {
		size_t n = strlen(local[i]);

		if (strncmp(url, local[i], n) == 0 && (url[n] == ':' || url[n] == '/'))
			return true;
	}
	return false;
}

static bool fits(enum value value, const char *text)
{
	struct sockaddr_storage at;
	socklen_t length;

	switch (value) {
	case V_PLACE:
	case V_PLACE_OR_NONE:
		return pw_office_address(text, &at, &length);
	case V_STORE:
		return strncmp(text, "postgresql://", 13) == 0;
	case V_SMTP:
		return is_smtp(text);
	case V_HOOK:
		return is_hook(text);
	default:
		return true;
	}
}

static bool take_count(const struct key *k, const char *text, void *to)
{
	char *end;
	unsigned long n = strtoul(text, &end, 10);

	if (*text < '0' || *text > '9' || *end != '\0' || n < k->least || n > k->most)
		return false;
	*(uint32_t *)to = (uint32_t)n;
	return true;
}

static bool take_value(struct reading *r, const struct key *k, const char *text)
{
	char *to = (char *)r->conf + k->at;
	const char *dir = k->value == V_FILE && text[0] != '/' ? r->dir : "";

	if (k->value == V_COUNT)
		return take_count(k, text, to);
	if (text[0] == '\0') {
		to[0] = '\0';
		return k->value != V_PLACE;
	}
	if (strlen(dir) + strlen(text) >= k->size || !fits(k->value, text))
		return false;
	snprintf(to, k->size, "%s%s", dir, text);
	return true;
}

/* -- lines ------------------------------------------------------------------------------------- */

static int take_section(struct reading *r, char *line)
{
	size_t n = strlen(line);

	if (line[n - 1] == ']')
		for (size_t i = 0; i < KEYS; i++)
			if (strlen(keys[i].section) == n - 2 &&
			    strncmp(keys[i].section, line + 1, n - 2) == 0) {
				snprintf(r->section, sizeof(r->section), "%s", keys[i].section);
				return 0;
			}
	return spoil(r, "expected a section [office], [mail], [webhook], [tell], [keep] or "
		     "[habit]");
}

static int take_key(struct reading *r, char *line)
{
	char *value = strchr(line, '=');
	size_t n;

	if (!value)
		return spoil(r, "expected [section], key = value or a comment");
	for (n = (size_t)(value - line); n > 0 && strchr(" \t", line[n - 1]); n--)
		;
	line[n] = '\0';
	value += 1 + strspn(value + 1, " \t");
	for (size_t i = 0; i < KEYS; i++) {
		const struct key *k = &keys[i];

		if (strcmp(k->section, r->section) != 0 || strcmp(k->key, line) != 0)
			continue;
		if (r->given[i])
			return spoil(r, "expected each key once");
		r->given[i] = r->line;
		if (take_value(r, k, value))
			return 0;
		snprintf(r->words, sizeof(r->words), "expected %s to be %s", k->key, k->expected);
		return -1;
	}
	snprintf(r->words, sizeof(r->words), "expected a key of section [%s], not \"%.40s\"",
		 r->section[0] ? r->section : "office", line);
	return -1;
}

static char *trim(char *line)
{
	char *end;

	line += strspn(line, " \t\r");
	if (*line == '#')
		*line = '\0';
	for (end = line + strlen(line); end > line && strchr(" \t\r", end[-1]); end--)
		;
	*end = '\0';
	return line;
}

static int take_text(struct reading *r, char *text)
{
	for (char *next; *text != '\0'; text = next) {
		size_t n = strcspn(text, "\n");
		char *line;

		next = text + n + (text[n] == '\n');
		text[n] = '\0';
		r->line++;
		if (n > LINE_MAX_CHARS)
			return spoil(r, "expected a line of 700 characters at most");
		line = trim(text);
		if (*line == '\0')
			continue;
		if (*line == '[' ? take_section(r, line) : take_key(r, line))
			return -1;
	}
	return 0;
}

/* -- the whole --------------------------------------------------------------------------------- */

static int line_of(const struct reading *r, const char *key)
{
	for (size_t i = 0; i < KEYS; i++)
		if (strcmp(keys[i].key, key) == 0)
			return r->given[i];
	return 0;
}

/* One key asks for another. */
static int check_together(struct reading *r)
{
	const struct pw_office_conf *c = r->conf;
	const struct { bool wrong; const char *at, *words; } pairs[] = {
		{ c->certificate[0] && !c->private_key[0], "certificate",
		  "expected private_key beside certificate" },
		{ c->private_key[0] && !c->certificate[0], "private_key",
		  "expected certificate beside private_key" },
		{ c->mail_server[0] && (!c->mail_from[0] || !c->mail_to[0]), "server",
		  "expected from and to beside the mail server" },
		{ c->mail_user[0] && !c->mail_password_file[0], "user",
		  "expected password_file beside user" },
		{ c->webhook[0] && !c->webhook_secret_file[0], "url",
		  "expected secret_file beside the webhook's url: what is sent is signed" },
		{ !c->certificate[0] && !pw_office_loopback(c->listen), "listen",
		  "expected certificate and private_key: without TLS the office listens on a "
		  "loopback address only" },
		{ !c->certificate[0] && c->pages[0] && !pw_office_loopback(c->pages), "pages",
		  "expected certificate and private_key: without TLS pages are served on a "
		  "loopback address only" },
	};

	for (size_t i = 0; i < sizeof(pairs) / sizeof(pairs[0]); i++)
		if (pairs[i].wrong) {
			r->line = line_of(r, pairs[i].at);
			return spoil(r, pairs[i].words);
		}
	return 0;
}

static int read_file(const char *path, char *text, size_t most, char *why, size_t size)
{
	ssize_t n = pw_whole_read(AT_FDCWD, path, text, most);

	if (n < 0 && errno == ENOENT) {
		text[0] = '\0'; /* all defaults */
		return 0;
	}
	if (n < 0) {
		snprintf(why, size, "%s: %s", path, strerror(errno));
		return -1;
	}
	if ((size_t)n < most && strlen(text) == (size_t)n)
		return 0;
	snprintf(why, size, "%s: expected text of at most %d bytes", path, FILE_MAX_CHARS);
	return -2;
}

int pw_office_conf_load(const char *path, struct pw_office_conf *c, char *why, size_t size)
{
	const char *slash = strrchr(path, '/');
	char text[FILE_MAX_CHARS + 1], dir[256];
	struct reading r = { .conf = c, .dir = dir };
	int result = read_file(path, text, sizeof(text), why, size);

	*c = defaults;
	snprintf(dir, sizeof(dir), "%.*s", slash ? (int)(slash - path + 1) : 0, path);
	if (result)
		return result;
	if (take_text(&r, text) == 0 && check_together(&r) == 0)
		return 0;
	snprintf(why, size, "%s:%d: %s", path, r.line, r.words);
	return -2;
}
