/* SPDX-License-Identifier: Apache-2.0 */
/*
 * tell_internal.h - what asks for a person in the office, in words; when he is told, by which ways.
 *
 * Words never name a child, carry no words that were typed in on a bus about what a walk found, and
 * never say that a bus is empty.
 */
#ifndef POSTWALK_TELL_INTERNAL_H
#define POSTWALK_TELL_INTERNAL_H

#include <stdatomic.h>

#include "office_internal.h"

/* -- hours.c: the office's days and hours ------------------------------------------------------ */

/* Once, before any thread begins: localtime is the office's from then on. zone: of the zone
 * database (Area/City), "": the machine's. 0; -2: there is no such zone. */
int pw_hours_set(const char *zone, char *why, size_t size);
int32_t pw_hours_day(int64_t ms); /* YYYYMMDD; 0: no day that a calendar has */
/* The first moment of that day at which clocks show hour or later. So there is one on days on which
 * the hour is skipped or comes twice. */
int64_t pw_hours_moment(int32_t day, unsigned hour);
int32_t pw_hours_add(int32_t day, int days);
#define PW_HOURS_TEXT_MAX 64
void pw_hours_text(int64_t ms, char text[PW_HOURS_TEXT_MAX]);  /* 15:42 CDT on Tue 14 Oct 2025 */
void pw_hours_stamp(int64_t ms, char text[PW_HOURS_TEXT_MAX]); /* RFC 3339, with the offset */
void pw_hours_date(int32_t day, char text[PW_HOURS_TEXT_MAX]); /* Tue 14 Oct 2025 */

/* -- matter.c: matters in words ---------------------------------------------------------------- */

/* Fills in words, one sentence, from kind, bus, at_ms (0: when, the bus cannot say) and came_ms.
 * more: the rung (RUNG); why (JOURNAL, REFUSED); the other key's fingerprint (KEY); "" else. */
void pw_matter_say(struct pw_matter *m, const char *more);
const char *pw_matter_title(enum pw_matter_kind kind); /* a few words */
/* Copies text: controls become spaces; what does not fit is cut off between characters (UTF-8). */
void pw_words_copy(char *to, size_t size, const char *text);
/* A clock farther from the office's than that is not believed. */
#define PW_CLOCK_AHEAD_MS (10 * 60 * 1000)
bool pw_clock_believed(int64_t wall_ms, bool wall_ok, int64_t now_ms);

/* -- tell_times.c: when; pure ------------------------------------------------------------------ */

/* How long after a telling the next, as long as nobody takes it: again_s for what cannot wait
 * (RUNG, CHILD); a day at least for the rest, a week for CLOCK. */
int64_t pw_tell_again_ms(enum pw_matter_kind kind, uint32_t again_s);
bool pw_tell_urgent(enum pw_matter_kind kind);
/* 30 s to 30 min, doubled with each try in vain (1 on); half of it is by the random number. */
int64_t pw_tell_retry_ms(unsigned tries, uint32_t random);
/* Is it to be told now? A clock that was put back delays nothing. */
bool pw_tell_due(const struct pw_telling *t, int64_t now_ms);
/* t after a try. kind: of its matter, NONE for a digest. why: "", or who did not get it. */
void pw_tell_done(struct pw_telling *t, enum pw_matter_kind kind, uint32_t again_s, const char *why,
		  int64_t now_ms);
void pw_tell_failed(struct pw_telling *t, const char *why, uint32_t random, int64_t now_ms);

/* -- news.c: what is told, the same by all ways ------------------------------------------------ */

#define PW_NEWS_ID_MAX 80
struct pw_news {
	char id[PW_NEWS_ID_MAX];     /* the same in every telling of one thing, and in each try */
	char thread[PW_NEWS_ID_MAX]; /* the id of what it belongs to: its own, or the matter's */
	const char *kind;            /* of the matter; "taken", "digest", "test" */
	uint32_t telling;            /* from 1; tries in vain are not counted */
	bool urgent;
	char subject[160];           /* one line, UTF-8 */
	char *words, *next;          /* lines, UTF-8: what it is; what to do. malloced */
	struct pw_matter matter;     /* id 0: none */
	int32_t day;                 /* of a digest, else 0 */
};
/* office: some letters of the fingerprint of its key. 0; -1: no memory. */
int pw_news_matter(struct pw_news *n, const char *office, const struct pw_matter *m,
		   const struct pw_telling *t);
int pw_news_digest(struct pw_news *n, const char *office, int32_t day, const char *text);
int pw_news_test(struct pw_news *n, const char *office, int64_t now_ms);
void pw_news_free(struct pw_news *n);

/* -- ways: mail.c, webhook.c; post.c has what they share --------------------------------------- */

struct pw_way {
	const char *name; /* "mail", "webhook" */
	bool (*wanted)(const struct pw_office_conf *c);
	/* 0: it got through (why: "", or who did not get it); -1: it did not. Blocks for a minute
	 * at most, and gives up two seconds after stop became true (NULL: never). */
	int (*send)(const struct pw_office_conf *c, const struct pw_news *n, int64_t now_ms,
		    const atomic_bool *stop, char *why, size_t size);
};
#define PW_WAYS 2
extern const struct pw_way pw_ways[PW_WAYS];

bool pw_mail_wanted(const struct pw_office_conf *c);
bool pw_webhook_wanted(const struct pw_office_conf *c);
int pw_mail_send(const struct pw_office_conf *c, const struct pw_news *n, int64_t now_ms,
		 const atomic_bool *stop, char *why, size_t size);
int pw_webhook_send(const struct pw_office_conf *c, const struct pw_news *n, int64_t now_ms,
		    const atomic_bool *stop, char *why, size_t size);
/* The mail as text, lines ended by CRLF; malloced. to: as mail_to. NULL: no memory. */
char *pw_mail_text(const struct pw_news *n, const char *from, const char *to, int64_t now_ms);
/* The webhook's body, malloced; and hex of HMAC-SHA-256 by secret over "TIME.BODY". */
char *pw_webhook_body(const struct pw_news *n);
void pw_webhook_sign(const char *secret, int64_t time_s, const char *body, char hex[65]);

/* A test message by every way that office.conf names, one line each to out. 0: all got through;
 * 1: not all; 2: there is no way. Not on the desk's thread: it waits for the network. */
int pw_tell_test(const struct pw_office *o, FILE *out);

/* -- habit.c: which bus is silent, by when it is heard of else; pure ---------------------------- */

#define PW_HEARD_DAYS 64 /* that the store tells of a bus */
bool pw_heard_on(const int32_t *day, size_t days, int32_t which);
/* day: on which it was heard of, the newest first, one at least. It was expected on one of the days since, up
 * to upto: one on as many of the same weekdays before (weeks) of which it was heard. One that was missing once
 * is so until it is heard of again; after a week it is missing in any case. */
bool pw_habit_silent(const int32_t *day, size_t days, int32_t upto, unsigned weeks);

/* -- digest.c ---------------------------------------------------------------------------------- */

/* That day in the office's zone, and what stands now: lines of text, the first of them a headline.
 * Bad sweeps are those that came in on that day, whenever they were. 0; -1, -2 (the store's). */
int pw_digest_of(struct pw_store *s, const struct pw_office_conf *c, int32_t day, int64_t now_ms,
		 FILE *out, char *why, size_t size);
/* The same of the day before now_ms. */
int pw_digest_write(struct pw_store *s, const struct pw_office_conf *c, int64_t now_ms, FILE *out,
		    char *why, size_t size);

#endif
