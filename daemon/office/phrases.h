/* SPDX-License-Identifier: Apache-2.0 */
/*
 * phrases.h - every sentence and word of the office's pages, in every language that they speak.
 *
 * English stands in phrases/: a file a page, PW_PHRASES_NAME(X, N) each; X(UPPER, lower, "text"), N for
 * what is counted, ("one", "more"). The others stand in web/office/po/LANGUAGE/, a PO file for each of
 * them, made into tables when the program is built. No locale of the process is set. {1} to {4} stand
 * for what is filled in. No sentence says or implies that a bus is empty.
 */
#ifndef POSTWALK_OFFICE_PHRASES_H
#define POSTWALK_OFFICE_PHRASES_H

#include <stdint.h>
#include <stdio.h>

#include "phrases/frame.h"
#include "phrases/heat.h"
#include "phrases/judged.h"
#include "phrases/morning.h"
#include "phrases/pack.h"
#include "phrases/people.h"
#include "phrases/runs.h"
#include "phrases/sweeps.h"
#include "phrases/trends.h"

enum pw_tongue { PW_TONGUE_NONE, PW_ENGLISH, PW_SPANISH, PW_FRENCH, PW_TONGUES };

#define PW_PHRASE_LIST(X, N)                                                                      \
	PW_PHRASES_FRAME(X, N) PW_PHRASES_HEAT(X, N) PW_PHRASES_JUDGED(X, N) PW_PHRASES_MORNING(X, N)   \
	PW_PHRASES_PACK(X, N) PW_PHRASES_PEOPLE(X, N) PW_PHRASES_RUNS(X, N) PW_PHRASES_SWEEPS(X, N)     \
	PW_PHRASES_TRENDS(X, N)
enum pw_phrase {
	PW_P_NONE,
#define X(up, low, text) PW_P_##up,
#define N(up, low, one, more) PW_P_##up,
	PW_PHRASE_LIST(X, N)
#undef X
#undef N
	PW_PHRASES
};
struct pw_phrase_text { const char *one, *more; }; /* the same text twice where nothing is counted */

/* The text, of more than one; "" for PW_P_NONE. */
const char *pw_phrase(enum pw_tongue tongue, enum pw_phrase word);
const char *pw_phrase_count(enum pw_tongue tongue, enum pw_phrase word, int64_t count);
/* The word of that name, as "missed"; PW_P_NONE. */
enum pw_phrase pw_phrase_find(const char *name);
const char *pw_phrase_name(enum pw_phrase word);
/* A text with its holes filled: fill[0] for {1} ... A NULL ends them; what is not given is "". */
void pw_phrase_fill(FILE *out, const char *text, const char *const *fill);

const char *pw_tongue_tag(enum pw_tongue tongue);  /* "en", RFC 5646 */
const char *pw_tongue_name(enum pw_tongue tongue); /* as it calls itself */
enum pw_tongue pw_tongue_find(const char *tag, size_t length);
/* Of a header Accept-Language (RFC 9110, 12.5.4): the one that is wanted most; ENGLISH where none is. */
enum pw_tongue pw_tongue_accept(const char *header);

#endif
