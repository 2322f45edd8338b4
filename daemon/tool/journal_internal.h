/* SPDX-License-Identifier: Apache-2.0 */
/* journal_internal.h - a journal in words: times, lines, one sweep as a story. */
#ifndef POSTWALK_JOURNAL_TOLD_H
#define POSTWALK_JOURNAL_TOLD_H

#include "postwalk/story.h"
#include "source_internal.h"

/* -- say.c: a line of words, and local times in it --------------------------------------------- */

#define PW_SAYING_MAX 1400

struct pw_saying {
	char text[PW_SAYING_MAX];
	size_t n;
	int64_t near_ms; /* a wall time whose day and zone the reader knows: they go unsaid */
};

/* What does not fit ends in "...". */
__attribute__((format(printf, 2, 3)))
void pw_put(struct pw_saying *o, const char *format, ...);
/* "2026-11-25 07:14:03 CST", in the zone of the system or of TZ. */
void pw_put_when(struct pw_saying *o, int64_t wall_ms);
/* "07:14:03", with day and zone where they are not those of near_ms. */
void pw_put_clock(struct pw_saying *o, int64_t wall_ms);
void pw_put_clock_ms(struct pw_saying *o, int64_t wall_ms); /* "07:14:03.120" */
/* "14.504 s", "2 min 3.5 s", "4 h 05 min", "3 d 4 h". */
void pw_put_span(struct pw_saying *o, int64_t ms);
/* Ends the line on standard output. What would move a terminal's cursor becomes a question mark. */
void pw_put_line(const struct pw_saying *o);

/* "2026-11-25", "2026-11-25 07:00" or "2026-11-25 07:00:30", local. 0, or -1: it is none of
 * these, or there was no such time. Of a time that was twice, the earlier. */
int pw_when_read(const char *text, int64_t *wall_ms);

/* -- names.c: in words ------------------------------------------------------------------------- */

const char *pw_words_input(enum pw_line input);
const char *pw_words_level(enum pw_line input, bool level);
const char *pw_words_finding(enum pw_finding finding);
const char *pw_words_why(enum pw_why why);
/* How a run before ended, as boot has it in "reset"; "power" in older journals. */
const char *pw_words_reset(const char *reset);
/* Findings of the mask, with ", " between. */
void pw_put_findings(struct pw_saying *o, uint32_t findings);

/* -- kinds.c: a record in words ---------------------------------------------------------------- */

/* inputs: those that the policy has, as a mask; of others no level is told. */
void pw_put_record(struct pw_saying *o, const struct pw_record *r, uint8_t inputs);
/* Those of a policy record; all where that cannot be read. */
uint8_t pw_inputs_of(const struct pw_record *policy);

/* -- gather.c: a sweep out of a source --------------------------------------------------------- */

/* Reads the source from where it stands. 0, or -1 said on standard error. */
int pw_gather(struct pw_source *s, uint64_t seq, const struct pw_public_key *key,
	      struct pw_told_sweep *t);

/* -- story.c ----------------------------------------------------------------------------------- */

/* The sweep whose record is seq, in ten lines at most. An exit status. */
int pw_story(struct pw_source *s, uint64_t seq);

#endif
