/* SPDX-License-Identifier: Apache-2.0 */
#include <ctype.h>
#include <string.h>
#include <strings.h>

#include "page_internal.h"

/* qvalue, RFC 9110 12.4.2: 0 to 1 with three decimals at most, in thousandths. -1: it is none. */
static int qvalue(const char *s, const char *end)
{
	int permille = 0, unit = 100;

	if (s == end || (*s != '0' && *s != '1'))
		return -1;
	permille = (*s++ - '0') * 1000;
	if (s < end && *s++ != '.')
		return -1;
	for (; s < end; s++, unit /= 10) {
		if (*s < '0' || *s > '9' || unit == 0)
			return -1;
		permille += (*s - '0') * unit;
	}
	return permille <= 1000 ? permille : -1;
}

static const char *skip_space(const char *s, const char *end)
{
	while (s < end && (*s == ' ' || *s == '\t'))
		s++;
	return s;
}

/* [ OWS ";" OWS "q=" qvalue ] */
static int weight(const char *s, const char *end)
{
	s = skip_space(s, end);
	if (s == end)
		return 1000;
	if (*s != ';')
		return -1;
	s = skip_space(s + 1, end);
	if (end - s < 2 || strncasecmp(s, "q=", 2) != 0)
		return -1;
	return qvalue(s + 2, end);
}

static void want(struct pw_accept *a, enum pw_language l, int permille)
{
	if (!a->named[l])
		a->named[l] = ++a->count;
	if (permille > a->permille[l])
		a->permille[l] = permille;
}

/* One language-range and its weight. What is not well formed is passed over. By the lookup of RFC
 * 4647 3.4, a range for a country is met by its language: "es-MX" by es. */
static void add_range(struct pw_accept *a, const char *s, const char *end)
{
	const char *range = s;

	while (s < end && (isalnum((unsigned char)*s) || *s == '-' || *s == '*'))
		s++;
	for (const char *last = end; last > s && (last[-1] == ' ' || last[-1] == '\t'); last--)
		end = last - 1;
	int permille = s == range ? -1 : weight(s, end);

	if (permille < 0)
		return;
	if (s - range == 1 && *range == '*') {
		a->any_permille = permille;
		return;
	}
	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++) {
		const char *tag = pw_language_tag((enum pw_language)l);
		size_t len = strlen(tag);

		if ((size_t)(s - range) >= len && !strncasecmp(range, tag, len) &&
		    (range + len == s || range[len] == '-'))
			want(a, (enum pw_language)l, permille);
	}
}

void pw_accept_add(struct pw_accept *a, const char *field)
{
	for (const char *s = field; *s;) {
		const char *end = s + strcspn(s, ",");

		add_range(a, skip_space(s, end), end);
		s = *end ? end + 1 : end;
	}
}

/* "*" stands for the languages that are not named, in our order, after those that are. */
static int quality(const struct pw_accept *a, int l)
{
	return a->named[l] ? a->permille[l] : a->any_permille;
}

static unsigned rank(const struct pw_accept *a, int l)
{
	return a->named[l] ? a->named[l] : a->count + 1;
}

enum pw_language pw_accept_best(const struct pw_accept *a)
{
	int best = PW_LANGUAGE_NONE;

	for (int l = PW_LANGUAGE_NONE + 1; l < PW_LANGUAGES; l++) {
		if (quality(a, l) == 0)
			continue;
		if (best == PW_LANGUAGE_NONE || quality(a, l) > quality(a, best) ||
		    (quality(a, l) == quality(a, best) && rank(a, l) < rank(a, best)))
			best = l;
	}
	return best == PW_LANGUAGE_NONE ? PW_ENGLISH : (enum pw_language)best;
}

static const char *const theme_name[PW_THEMES] = {
	[PW_THEME_NONE] = "", [PW_THEME_AUTO] = "auto", [PW_THEME_LIGHT] = "light",
	[PW_THEME_DARK] = "dark",
};

enum pw_theme pw_theme_find(const char *name)
{
	for (int t = PW_THEME_NONE + 1; name && t < PW_THEMES; t++)
		if (!strcmp(name, theme_name[t]))
			return (enum pw_theme)t;
	return PW_THEME_NONE;
}

const char *pw_theme_name(enum pw_theme theme)
{
	return theme_name[theme];
}
