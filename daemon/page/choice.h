/* SPDX-License-Identifier: Apache-2.0 */
/* choice.h - language and colours, as the reader wants them. */
#ifndef POSTWALK_PAGE_CHOICE_H
#define POSTWALK_PAGE_CHOICE_H

#include <stdbool.h>

#include "words.h"

enum pw_theme { PW_THEME_NONE, PW_THEME_AUTO, PW_THEME_LIGHT, PW_THEME_DARK, PW_THEMES };

struct pw_choice {
	enum pw_language language;
	enum pw_theme theme;
	bool held; /* not reloaded */
};

/* What Accept-Language fields ask for: one struct for all of them, zeroed at first. */
struct pw_accept {
	int permille[PW_LANGUAGES]; /* quality; 0: not named or not wanted */
	unsigned named[PW_LANGUAGES]; /* as the how-manieth, from 1; 0: not */
	unsigned count;
	int any_permille; /* of "*" */
};

void pw_accept_add(struct pw_accept *a, const char *field);
/* The language wanted most; English when none of ours is wanted. */
enum pw_language pw_accept_best(const struct pw_accept *a);
/* "auto", "light", "dark"; PW_THEME_NONE for anything else and NULL. */
enum pw_theme pw_theme_find(const char *name);
const char *pw_theme_name(enum pw_theme theme);

#endif
