/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "page_internal.h"

/* Made by po.awk. */
extern const struct pw_word_text pw_words_es[PW_WORDS], pw_words_fr[PW_WORDS];

static const struct pw_word_text pw_words_en[PW_WORDS] = {
	[PW_W_NONE] = { "", "" },
#define X(up, low, text) [PW_W_##up] = { text, text },
#define N(up, low, one, more) [PW_W_##up] = { one, more },
	PW_WORD_LIST(X, N)
#undef X
#undef N
};

static const struct language {
	const char *tag, *name;
	const struct pw_word_text *words;
	bool none_is_one; /* plural rules of Unicode CLDR: a French 0 counts as 1 does */
} languages[PW_LANGUAGES] = {
	[PW_ENGLISH] = { "en", "English", pw_words_en, false },
	[PW_SPANISH] = { "es", "Español", pw_words_es, false },
	[PW_FRENCH] = { "fr", "Français", pw_words_fr, true },
};

const char *pw_word(enum pw_language language, enum pw_word word)
{
	return languages[language].words[word].more;
}

const char *pw_word_count(enum pw_language language, enum pw_word word, int64_t count)
{
	const struct language *l = &languages[language];
	bool one = count == 1 || (count == 0 && l->none_is_one);

	return one ? l->words[word].one : l->words[word].more;
}

static const char *const names[PW_WORDS] = {
	[PW_W_NONE] = "",
#define X(up, low, text) [PW_W_##up] = #low,
#define N(up, low, one, more) [PW_W_##up] = #low,
	PW_WORD_LIST(X, N)
#undef X
#undef N
};

const char *pw_word_name(enum pw_word word)
{
	return names[word];
}

enum pw_word pw_word_find(const char *name, size_t len)
{
	for (int w = PW_W_NONE + 1; w < PW_WORDS; w++)
		if (strlen(names[w]) == len && !memcmp(names[w], name, len))
			return (enum pw_word)w;
	return PW_W_NONE;
}

const char *pw_language_tag(enum pw_language language)
{
	return languages[language].tag;
}

const char *pw_language_name(enum pw_language language)
{
	return languages[language].name;
}

enum pw_language pw_language_find(const char *tag)
{
	for (int l = PW_LANGUAGE_NONE + 1; tag && l < PW_LANGUAGES; l++)
		if (!strcmp(languages[l].tag, tag))
			return (enum pw_language)l;
	return PW_LANGUAGE_NONE;
}
