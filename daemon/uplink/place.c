/* SPDX-License-Identifier: Apache-2.0 */
/* The office of a bus: STATE/office.conf, with office.pub and office-ca.pem beside it. */
#include "uplink_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <sodium.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "postwalk/text.h"

#define CONF "office.conf"
#define PUB "office.pub"
#define TRUST "office-ca.pem"
#define CONF_MAX 4096

/* As the file has it. */
struct conf {
	char url[256], ca[256], pin[64], token[PW_TOKEN_MAX], key[65];
};

/* -- one value --------------------------------------------------------------------------------- */

static bool url_fits(const char *value)
{
	char why[400];

	return pw_url_check(value, why, sizeof(why)) == 0;
}

static bool ca_fits(const char *value)
{
	return value[0] != '\0';
}

static bool pin_fits(const char *value)
{
	static const char begin[] = "sha256//";
	unsigned char digest[32];
	size_t n = 0;

	return strncmp(value, begin, sizeof(begin) - 1) == 0
	       && sodium_base642bin(digest, sizeof(digest), value + sizeof(begin) - 1,
				    strlen(value) - sizeof(begin) + 1, NULL, &n, NULL,
				    sodium_base64_VARIANT_ORIGINAL) == 0
	       && n == sizeof(digest);
}

static bool digits_fit(const char *value)
{
	return pw_hex_text(value, 64);
}

#define PIN_FORM "sha256// and the base64 of a SHA-256"
#define FIELD(name) offsetof(struct conf, name), sizeof(((struct conf *)0)->name)
static const struct field {
	const char *name, *expected;
	size_t at, size;
	bool needed;
	bool (*fits)(const char *value);
} fields[] = {
	{ "url", "https://HOST[:PORT], or http:// of a loopback address", FIELD(url), true,
	  url_fits },
	{ "ca", "a file of certificates", FIELD(ca), false, ca_fits },
	{ "pin", PIN_FORM, FIELD(pin), false, pin_fits },
	{ "token", "64 digits of 0-9 a-f", FIELD(token), true, digits_fit },
	{ "key", "the fingerprint of " PUB ", 64 digits of 0-9 a-f", FIELD(key), true, digits_fit },
};
#define FIELDS (sizeof(fields) / sizeof(fields[0]))

/* -- the file ---------------------------------------------------------------------------------- */

static char *trim(char *text)
{
	size_t n;

	text += strspn(text, " \t\r");
	for (n = strlen(text); n > 0 && strchr(" \t\r", text[n - 1]); n--)
		;
	text[n] = '\0';
	return text;
}

static const struct field *find_field(const char *name)
{
	for (size_t i = 0; i < FIELDS; i++)
		if (strcmp(fields[i].name, name) == 0)
			return &fields[i];
	return NULL;
}

/* What was expected instead; NULL: it was taken. */
static const char *take_line(char *line, struct conf *c)
{
	char *equals = strchr(line, '='), *value;
	const struct field *f;

	if (line[0] == '\0' || line[0] == '#')
		return NULL;
	if (equals == NULL)
		return "KEY = VALUE";
	*equals = '\0';
	value = trim(equals + 1);
	f = find_field(trim(line));
	if (f == NULL)
		return "url, ca, pin, token or key";
	if (((char *)c)[f->at] != '\0')
		return "each key once";
	if (strlen(value) >= f->size || !f->fits(value))
		return f->expected;
	memcpy((char *)c + f->at, value, strlen(value) + 1);
	return NULL;
}

static int read_conf(const char *dir, char *text, struct conf *c, char *why, size_t size)
{
	const char *expected;
	unsigned number = 0;
	char *line;

	memset(c, 0, sizeof(*c));
	while ((line = strsep(&text, "\n")) != NULL) {
		number++;
		expected = take_line(trim(line), c);
		if (expected != NULL) {
			snprintf(why, size, "%s/" CONF ":%u: expected %s", dir, number, expected);
			return -2;
		}
	}
	for (size_t i = 0; i < FIELDS; i++)
		if (fields[i].needed && ((char *)c)[fields[i].at] == '\0') {
			snprintf(why, size, "%s/" CONF ": expected %s = %s", dir, fields[i].name,
				 fields[i].expected);
			return -2;
		}
	return 0;
}

/* The key must be the one that was enrolled with: a change that was cut off in between shows. */
static int read_key(const char *dir, const struct conf *c, struct pw_public_key *key, char *why,
		    size_t size)
{
	char path[PW_PATH_MAX], print[65];
	int result;

	snprintf(path, sizeof(path), "%.4000s/" PUB, dir);
	result = pw_public_key_load(path, key, why, size);
	if (result < 0)
		return result;
	pw_public_key_print(key, print);
	if (strcmp(print, c->key) == 0)
		return 0;
	snprintf(why, size, "%s: it is not the key that " CONF " names: enrol the bus again", path);
	return -2;
}

static int fill_in(const char *dir, const struct conf *c, struct pw_place *p, char *why,
		   size_t size)
{
	int n = snprintf(p->ca, sizeof(p->ca), "%s%s%s", c->ca[0] && c->ca[0] != '/' ? dir : "",
			 c->ca[0] && c->ca[0] != '/' ? "/" : "", c->ca);

	if (n < 0 || (size_t)n >= sizeof(p->ca)) {
		snprintf(why, size, "%.100s...: expected a shorter path", dir);
		return -2;
	}
	memcpy(p->url, c->url, sizeof(p->url));
	memcpy(p->pin, c->pin, sizeof(p->pin));
	memcpy(p->token, c->token, sizeof(p->token));
	return read_key(dir, c, &p->key, why, size);
}

int pw_place_load(const char *dir, struct pw_place *p, char *why, size_t size)
{
	int folder = pw_whole_open(dir), result;
	char text[CONF_MAX];
	struct conf c;
	ssize_t n = folder < 0 ? -1 : pw_whole_read(folder, CONF, text, sizeof(text));

	memset(p, 0, sizeof(*p));
	if (n < 0) {
		result = errno == ENOENT && folder >= 0 ? 1 : -1;
		snprintf(why, size, "%s/" CONF ": %s", dir, strerror(errno));
	} else if (n == sizeof(text) || strlen(text) != (size_t)n) {
		snprintf(why, size, "%s/" CONF ": expected a text of less than %d bytes", dir,
			 CONF_MAX);
		result = -2;
	} else {
		result = read_conf(dir, text, &c, why, size);
	}
	if (folder >= 0)
		close(folder);
	if (result == 0)
		result = fill_in(dir, &c, p, why, size);
	sodium_memzero(text, sizeof(text));
	sodium_memzero(&c, sizeof(c));
	return result;
}

/* -- certificates ------------------------------------------------------------------------------ */

int pw_place_trust(const struct pw_place *p, char **pem, char *why, size_t size)
{
	ssize_t n;

	*pem = NULL;
	if (p->ca[0] == '\0')
		return 0;
	*pem = malloc(PW_TRUST_MAX);
	n = *pem == NULL ? -1 : pw_whole_read(AT_FDCWD, p->ca, *pem, PW_TRUST_MAX);
	if (n >= 0 && n < PW_TRUST_MAX && strlen(*pem) == (size_t)n
	    && strstr(*pem, "-----BEGIN CERTIFICATE-----") != NULL)
		return 0;
	if (n < 0)
		snprintf(why, size, "%s: %s", p->ca, strerror(errno));
	else
		snprintf(why, size, "%s: expected certificates as PEM, less than %d bytes", p->ca,
			 PW_TRUST_MAX);
	free(*pem);
	*pem = NULL;
	return n < 0 ? -1 : -2;
}

int pw_place_check(const struct pw_place *p, char *why, size_t size)
{
	char *pem;
	int result = pw_url_check(p->url, why, size);

	if (result == 0 && p->pin[0] != '\0' && !pin_fits(p->pin)) {
		snprintf(why, size, "\"%s\": expected a pin, " PIN_FORM, p->pin);
		result = -2;
	}
	if (result == 0)
		result = pw_place_trust(p, &pem, why, size);
	if (result == 0)
		free(pem);
	return result;
}

/* -- saving ------------------------------------------------------------------------------------ */

/* The certificates, copied or done away with. */
static int save_trust(int folder, const struct pw_place *p, char *why, size_t size)
{
	char *pem = NULL;
	int result = pw_place_trust(p, &pem, why, size);

	if (result < 0)
		return result;
	if (pem != NULL)
		result = pw_whole_write(folder, TRUST, 0644, pem);
	else if (unlinkat(folder, TRUST, 0) < 0 && errno != ENOENT)
		result = -1;
	if (result < 0)
		snprintf(why, size, TRUST ": %s", strerror(errno));
	free(pem);
	return result;
}

static void conf_text(const struct pw_place *p, char *text, size_t size)
{
	char print[65];

	pw_public_key_print(&p->key, print);
	snprintf(text, size,
		 "# The office that this bus delivers to, as `postwalk enrol` found it.\n"
		 "url = %s\n%s%s%s%stoken = %s\nkey = %s\n", p->url,
		 p->ca[0] ? "ca = " TRUST "\n" : "", p->pin[0] ? "pin = " : "", p->pin,
		 p->pin[0] ? "\n" : "", p->token, print);
}

int pw_place_save(const char *dir, const struct pw_place *p, char *why, size_t size)
{
	char text[CONF_MAX], pem[PW_PEM_MAX];
	int folder = pw_whole_open(dir), result;

	if (folder < 0) {
		snprintf(why, size, "%s: %s", dir, strerror(errno));
		return -1;
	}
	pw_public_key_pem(&p->key, pem);
	conf_text(p, text, sizeof(text));
	result = save_trust(folder, p, why, size);
	if (result == 0 && (pw_whole_write(folder, PUB, 0644, pem) < 0
			    || pw_whole_write(folder, CONF, 0640, text) < 0)) {
		snprintf(why, size, "%s: what was enrolled cannot be kept: %s", dir,
			 strerror(errno));
		result = -1;
	}
	sodium_memzero(text, sizeof(text));
	close(folder);
	return result;
}
