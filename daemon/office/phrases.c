/* SPDX-License-Identifier: Apache-2.0 */
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "phrases.h"

static const struct pw_phrase_text english[PW_PHRASES] = {
	[PW_P_NONE] = { "", "" },
#define X(up, low, text) [PW_P_##up] = { text, text },
#define N(up, low, one, more) [PW_P_##up] = { one, more },
	PW_PHRASE_LIST(X, N)
#undef X
#undef N
};
static const char *const names[PW_PHRASES] = {
	[PW_P_NONE] = "",
#define X(up, low, text) [PW_P_##up] = #low,
#define N(up, low, one, more) [PW_P_##up] = #low,
	PW_PHRASE_LIST(X, N)
#undef X
#undef N
};
extern const struct pw_phrase_text pw_phrases_es[PW_PHRASES], pw_phrases_fr[PW_PHRASES];

static const struct {
	const char *tag, *name;
	const struct pw_phrase_text *words;
} languages[PW_TONGUES] = {
	[PW_TONGUE_NONE] = { "", "", english },
	[PW_ENGLISH] = { "en", "English", english },
	[PW_SPANISH] = { "es", "Español", pw_phrases_es },
	[PW_FRENCH] = { "fr", "Français", pw_phrases_fr },
};

const char *pw_phrase(enum pw_tongue tongue, enum pw_phrase word)
{
	return languages[tongue].words[word].more;
}

/* One: of 1, and in French of 0 as well (CLDR's plural rules, from memory). */
const char *pw_phrase_count(enum pw_tongue tongue, enum pw_phrase word, int64_t count)
{
	bool one = count == 1 || (count == 0 && tongue == PW_FRENCH);

	return one ? languages[tongue].words[word].one : languages[tongue].words[word].more;
}

enum pw_phrase pw_phrase_find(const char *name)
{
	for (enum pw_phrase w = PW_P_NONE; w < PW_PHRASES; w++)
		if (strcmp(names[w], name) == 0)
			return w;
	return PW_P_NONE;
}

const char *pw_phrase_name(enum pw_phrase word)
{
	return names[word];
}

void pw_phrase_fill(FILE *out, const char *text, const char *const *fill)
{
	size_t given = 0;

	while (fill && fill[given])
		given++;
	for (; *text; text++) {
		if (text[0] == '{' && text[1] >= '1' && text[1] <= '9' && text[2] == '}') {
			size_t hole = (size_t)(text[1] - '1');

			if (hole < given)
				fputs(fill[hole], out);
			text += 2;
		} else {
			putc(*text, out);
		}
	}
}

const char *pw_tongue_tag(enum pw_tongue tongue)
{
	return languages[tongue].tag;
}

const char *pw_tongue_name(enum pw_tongue tongue)
{
	return languages[tongue].name;
}

/* A region behind it changes nothing: "es-MX" is Spanish. */
enum pw_tongue pw_tongue_find(const char *tag, size_t length)
{
	for (enum pw_tongue l = PW_ENGLISH; l < PW_TONGUES; l++)
		if (length >= 2 && strncasecmp(tag, languages[l].tag, 2) == 0 &&
		    (length == 2 || tag[2] == '-'))
			return l;
	return PW_TONGUE_NONE;
}

enum pw_tongue pw_tongue_accept(const char *header)
{
	enum pw_tongue best = PW_ENGLISH;
	double most = 0;

	while (header && *header) {
		const char *end = header + strcspn(header, ",");
		const char *tag = header + strspn(header, " \t");
		const char *q = memmem(tag, (size_t)(end - tag), "q=", 2);
		enum pw_tongue l = pw_tongue_find(tag, strcspn(tag, ",; \t"));
		double weight = q ? strtod(q + 2, NULL) : 1;

		if (l && weight > most) {
			most = weight;
			best = l;
		}
		header = *end ? end + 1 : end;
	}
	return best;
}
