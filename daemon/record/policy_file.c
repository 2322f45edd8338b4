/* SPDX-License-Identifier: Apache-2.0 */
/* The policy as a file: [sections], key = value; # begins a comment at the start of a line, ; there or
 * after a space. The table of the core knows the keys; nothing else in a line is passed over. */
#include <errno.h>
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "postwalk/record.h"

#define LINE_MAX_CHARS 500
#define KEYS_MAX 400

struct given {
	char section[48], key[PW_NAME_MAX];
	int line;
};

struct reading {
	struct pw_policy *policy;
	int line;
	bool rungs;       /* the second pass: they may name any line of the file */
	char section[48]; /* "" before the first */
	struct given given[KEYS_MAX];
	int count;
	struct pw_policy_error error;
};

static bool is_rung(const char *section)
{
	return strncmp(section, "rung", 4) == 0;
}

static int spoil(struct reading *r, const char *text)
{
	snprintf(r->error.text, sizeof(r->error.text), "%s", text);
	return -1;
}

/* False: given before (a section may come again), or too many. */
static bool remember(struct reading *r, const char *section, const char *key)
{
	struct given *g = &r->given[r->count];

	for (int i = 0; i < r->count; i++)
		if (strcmp(r->given[i].section, section) == 0 && strcmp(r->given[i].key, key) == 0)
			return key[0] == '\0';
	if (r->count == KEYS_MAX)
		return false;
	snprintf(g->section, sizeof(g->section), "%s", section);
	snprintf(g->key, sizeof(g->key), "%s", key);
	g->line = r->line;
	r->count++;
	return true;
}

/* A section counts even when no key follows. */
static int take_section(struct reading *r, char *line)
{
	char *end = strchr(line, ']');

	if (!end || end[1] != '\0' || end - line - 1 >= (long)sizeof(r->section))
		return spoil(r, "expected a section in brackets and nothing behind it");
	*end = '\0';
	snprintf(r->section, sizeof(r->section), "%s", line + 1);
	if (is_rung(r->section) != r->rungs)
		return 0;
	remember(r, r->section, "");
	return pw_policy_section(r->policy, r->section, &r->error);
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
	if (r->section[0] == '\0')
		return spoil(r, "expected a [section] before the first key");
	if (is_rung(r->section) != r->rungs)
		return 0;
	if (n == 0)
		return spoil(r, "expected [section], key = value or a comment");
	if (n >= PW_NAME_MAX || !remember(r, r->section, line))
		return spoil(r, "expected each key once in its section");
	return pw_policy_set(r->policy, r->section, line, value, &r->error);
}

/* Comments and blanks fall away. */
static char *trim(char *line)
{
	char *end;

	line += strspn(line, " \t\r");
	if (*line == '#')
		*line = '\0';
	for (end = line; *end != '\0'; end++)
		if (*end == ';' && (end == line || end[-1] == ' ' || end[-1] == '\t'))
			break;
	while (end > line && strchr(" \t\r", end[-1]))
		end--;
	*end = '\0';
	return line;
}

static int pass(struct reading *r, const char *text, bool rungs)
{
	char buf[LINE_MAX_CHARS + 1];

	r->line = 0;
	r->section[0] = '\0';
	r->rungs = rungs;
	for (size_t n; *text != '\0'; text += n + (text[n] == '\n')) {
		char *line;

		n = strcspn(text, "\n");
		r->line++;
		if (n > LINE_MAX_CHARS)
			return spoil(r, "expected a line of 500 characters at most");
		snprintf(buf, sizeof(buf), "%.*s", (int)n, text);
		line = trim(buf);
		if (*line == '\0')
			continue;
		if (*line == '[' ? take_section(r, line) : take_key(r, line))
			return -1;
	}
	return 0;
}

/* The line of the file where what the error blames stands; 0: none of its lines. */
static int line_of(const struct reading *r)
{
	for (int pass = 0; pass < 2; pass++)
		for (int i = 0; i < r->count; i++)
			if (strcmp(r->given[i].section, r->error.section) == 0 &&
			    strcmp(r->given[i].key, pass ? "" : r->error.key) == 0)
				return r->given[i].line;
	return 0;
}

static int slurp(const char *path, char *text, char *why, size_t size)
{
	FILE *f = fopen(path, "re");
	size_t n;

	if (!f) {
		snprintf(why, size, "%s: expected a policy file that can be read: %s", path,
			 strerror(errno));
		return -1;
	}
	n = fread(text, 1, PW_POLICY_TEXT_MAX, f);
	if (ferror(f) || n >= PW_POLICY_TEXT_MAX || memchr(text, '\0', n)) {
		snprintf(why, size, "%s: expected a text file of %d bytes at most", path,
			 PW_POLICY_TEXT_MAX - 1);
		fclose(f);
		return -1;
	}
	text[n] = '\0';
	fclose(f);
	return 0;
}

static void hash_of(const char *text, char hash[65])
{
	unsigned char raw[crypto_hash_sha256_BYTES];

	crypto_hash_sha256(raw, (const unsigned char *)text, strlen(text));
	sodium_bin2hex(hash, 65, raw, sizeof(raw));
}

int pw_policy_load(const char *path, bool need_bus, struct pw_policy *p, char hash[65], char *text,
		   char *why, size_t size)
{
	char own[PW_POLICY_TEXT_MAX];
	struct reading r = { .policy = p };

	if (!text)
		text = own;
	if (slurp(path, text, why, size))
		return -1;
	pw_policy_init(p, false);
	if (pass(&r, text, false) || pass(&r, text, true)) {
		snprintf(why, size, "%s:%d: %s", path, r.line, r.error.text);
		return -1;
	}
	if (pw_policy_check(p, need_bus, &r.error)) {
		int line = line_of(&r);

		if (line > 0)
			snprintf(why, size, "%s:%d: %s", path, line, r.error.text);
		else
			snprintf(why, size, "%s: %s", path, r.error.text);
		return -1;
	}
	if (hash)
		hash_of(text, hash);
	return 0;
}
