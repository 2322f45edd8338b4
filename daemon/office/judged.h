/* SPDX-License-Identifier: Apache-2.0 */
/*
 * judged.h - how one sweep was judged, rule by rule of docs/rules.md: what was asked, what was seen, what
 * followed. Pure: phrases and their values, for whoever puts them into words.
 *
 * What is seen is what the records have. Nothing here says more of a press than that somebody stood at the
 * rear.
 */
#ifndef POSTWALK_OFFICE_JUDGED_H
#define POSTWALK_OFFICE_JUDGED_H

#include "phrases.h"
#include "postwalk/story.h"
#include "zone.h"

enum pw_value_kind {
	PW_VALUE_NONE,
	PW_VALUE_SPAN,     /* ms */
	PW_VALUE_CLOCK,    /* a moment on the sweep's own clock, ms */
	PW_VALUE_COUNT,
	PW_VALUE_METRES,   /* micrometres */
	PW_VALUE_CODE,     /* code: a name as the data have it */
	PW_VALUE_FINDINGS  /* a mask */
};
struct pw_value {
	enum pw_value_kind kind;
	int64_t number;
	char code[PW_NAME_MAX];
};
#define PW_SAID_VALUES 3
struct pw_said {
	enum pw_phrase phrase;       /* NONE: nothing is said */
	struct pw_value value[PW_SAID_VALUES];
};
struct pw_judgement {
	const char *rule;            /* "R11" */
	struct pw_said asked, seen, followed;
};
#define PW_JUDGEMENTS_MAX 64
struct pw_judged {
	size_t count;
	struct pw_judgement line[PW_JUDGEMENTS_MAX]; /* in the order of the sweep; the verdict (R22) last */
};
void pw_judged_make(const struct pw_told_sweep *t, struct pw_judged *j);

/* Why a finding is put, and by which rules. */
enum pw_phrase pw_judged_reason(enum pw_finding finding);
const char *pw_judged_rules(enum pw_finding finding);

/* -- said.c: values and phrases as texts -------------------------------------------------------- */

struct pw_in_words {
	enum pw_tongue tongue;
	const struct pw_zone *zone;
	int64_t wall_less_mono_ms; /* of the sweep's own clock */
};
#define PW_VALUE_TEXT 600
const char *pw_value_words(const struct pw_in_words *in, const struct pw_value *v,
			   char text[PW_VALUE_TEXT]);
void pw_said_words(const struct pw_in_words *in, const struct pw_said *said, FILE *out);
/* What a code is called; where it has no name, the code itself. */
const char *pw_code_words(const struct pw_in_words *in, const char *code);

/* What the drawing and the judgement both go by; PW_NO_TIME: it was not. */
int64_t pw_told_overdue_ms(const struct pw_told_sweep *t); /* the ladder's first signal */
int64_t pw_told_due_ms(const struct pw_told_sweep *t);     /* as far as the records tell */
/* a rung of the ladder, or spent */
bool pw_told_ladder(const struct pw_told_sweep *t, const struct pw_moment *m);

#endif
