/* SPDX-License-Identifier: Apache-2.0 */
/*
 * words.h - every sentence and word that the page shows, in every language that it speaks.
 *
 * English stands in words_en.h; the others in web/bus/po, as gettext PO files that translators'
 * tools read, made into tables by po.awk when the program is built. No locale of the process is
 * set. {1} and {2} stand for what is filled in. No sentence says or implies that a bus is empty: a
 * press says that somebody stood at the rear.
 */
#ifndef POSTWALK_PAGE_WORDS_H
#define POSTWALK_PAGE_WORDS_H

#include <stddef.h>
#include <stdint.h>

#include "words_en.h"

enum pw_language { PW_LANGUAGE_NONE, PW_ENGLISH, PW_SPANISH, PW_FRENCH, PW_LANGUAGES };

enum pw_word {
	PW_W_NONE,
#define X(up, low, text) PW_W_##up,
#define N(up, low, one, more) PW_W_##up,
	PW_WORD_LIST(X, N)
#undef X
#undef N
	PW_WORDS
};

/* For one of what is counted, and for more; the same text twice where nothing is counted. */
struct pw_word_text {
	const char *one, *more;
};

/* The text (of more than one); "" for PW_W_NONE. */
const char *pw_word(enum pw_language language, enum pw_word word);
/* The text for count of what is counted. */
const char *pw_word_count(enum pw_language language, enum pw_word word, int64_t count);
/* The word of that name (length len), or PW_W_NONE. */
enum pw_word pw_word_find(const char *name, size_t len);
/* Its name; "" for PW_W_NONE. */
const char *pw_word_name(enum pw_word word);

/* "en", of RFC 5646; what the language calls itself. */
const char *pw_language_tag(enum pw_language language);
const char *pw_language_name(enum pw_language language);
/* Of a tag such as "es", in lower case; PW_LANGUAGE_NONE when it is not spoken or text is NULL. */
enum pw_language pw_language_find(const char *tag);

#endif
