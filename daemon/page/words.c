/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "page_internal.h"

const char *pw_word(enum pw_word word)
{
	static const char *const text[PW_WORDS] = {
		[PW_W_NONE] = "",
#define X(up, low, words) [PW_W_##up] = words,
		PW_WORD_LIST(X)
#undef X
	};

	return text[word];
}

enum pw_word pw_word_find(const char *name, size_t len)
{
	static const char *const names[PW_WORDS] = {
		[PW_W_NONE] = "",
#define X(up, low, words) [PW_W_##up] = #low,
		PW_WORD_LIST(X)
#undef X
	};

	for (int w = PW_W_NONE + 1; w < PW_WORDS; w++)
		if (strlen(names[w]) == len && !memcmp(names[w], name, len))
			return (enum pw_word)w;
	return PW_W_NONE;
}
