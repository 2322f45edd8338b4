/* SPDX-License-Identifier: Apache-2.0 */
#include <microhttpd.h>
#include <string.h>

#include "page_internal.h"

/* False when what it stands for is no C string. */
static bool decode(char *text)
{
	for (char *plus = text; (plus = strchr(plus, '+')); plus++)
		*plus = ' ';
	return MHD_http_unescape(text) == strlen(text);
}

static bool is_utf8(const char *text)
{
	size_t n;

	for (const unsigned char *s = (const unsigned char *)text; *s; s += n)
		if (!(n = pw_utf8_length(s)))
			return false;
	return true;
}

static bool known(const struct pw_form *f, const char *name)
{
	for (unsigned i = 0; i < f->count; i++)
		if (!strcmp(f->field[i].name, name))
			return true;
	return false;
}

void pw_form_add(struct pw_form *f, char *name, char *value)
{
	if (!decode(name) || !decode(value) || f->count == PW_FIELDS_MAX || known(f, name) ||
	    strlen(name) >= sizeof f->field[0].name ||
	    strlen(value) >= sizeof f->field[0].value || !is_utf8(value)) {
		f->spoiled = true;
		return;
	}
	strcpy(f->field[f->count].name, name);
	strcpy(f->field[f->count].value, value);
	f->count++;
}

void pw_form_body(struct pw_form *f, char *body, size_t len)
{
	body[len] = '\0';
	f->spoiled |= strlen(body) != len;
	for (char *pair; (pair = strsep(&body, "&"));) {
		char *name = strsep(&pair, "=");

		if (*name || pair)
			pw_form_add(f, name, pair ? pair : name + strlen(name));
	}
}

const char *pw_form_value(const struct pw_form *f, const char *name)
{
	for (unsigned i = 0; i < f->count; i++)
		if (!strcmp(f->field[i].name, name))
			return f->field[i].value;
	return "";
}

static bool listed(const char *fields, const char *name)
{
	size_t len = strlen(name);

	for (const char *at = fields; *at; at += strspn(at, " ")) {
		size_t n = strcspn(at, " ");

		if (n == len && !memcmp(at, name, n))
			return true;
		at += n;
	}
	return false;
}

bool pw_form_only(const struct pw_form *f, const char *fields)
{
	for (unsigned i = 0; fields && i < f->count; i++)
		if (strcmp(f->field[i].name, "token") != 0 && !listed(fields, f->field[i].name))
			return false;
	return true;
}
