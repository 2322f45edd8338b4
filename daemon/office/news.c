/* SPDX-License-Identifier: Apache-2.0 */
/* What is told: the same words by every way, under a name that stays the same however often. */
#include "tell_internal.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define CAUTION "A press says that somebody stood at the rear. Nothing here says more than that."

__attribute__((format(printf, 1, 2)))
static char *text(const char *format, ...)
{
	char *made = NULL;
	va_list args;
	int length;

	va_start(args, format);
	length = vasprintf(&made, format, args);
	va_end(args);
	return length < 0 ? NULL : made;
}

static int whole(struct pw_news *n)
{
	if (n->words != NULL && n->next != NULL)
		return 0;
	pw_news_free(n);
	return -1;
}

void pw_news_free(struct pw_news *n)
{
	free(n->words);
	free(n->next);
	n->words = n->next = NULL;
}

/* -- matters ----------------------------------------------------------------------------------- */

/* The words of a matter that has come. */
static void say_matter(struct pw_news *n, const struct pw_matter *m)
{
	const char *again = n->telling > 1 ? "Nobody has taken this yet. " : "";
	char came[PW_HOURS_TEXT_MAX];

	pw_hours_text(m->came_ms, came);
	snprintf(n->subject, sizeof(n->subject), "%sBus %s: %s",
		 n->telling > 1 ? "Still open: " : "", m->bus, pw_matter_title(m->kind));
	n->words = text("%s", m->words);
	n->next = text("%sMatter %llu, which the office has had since %s. Whoever sees to it says "
		       "so:\n\n    postwalk-office take %llu --by CODE --words \"WHAT IS BEING "
		       "DONE\"\n\nAfter that it is not told again.%s%s", again,
		       (unsigned long long)m->id, came, (unsigned long long)m->id,
		       n->urgent ? "\n\n" : "", n->urgent ? CAUTION : "");
}

static void say_taken(struct pw_news *n, const struct pw_matter *m)
{
	char taken[PW_HOURS_TEXT_MAX];

	pw_hours_text(m->taken_ms, taken);
	snprintf(n->subject, sizeof(n->subject), "Taken by %s: bus %s: %s", m->taken_by, m->bus,
		 pw_matter_title(m->kind));
	n->words = text("Taken by %s at %s: %s", m->taken_by, taken, m->taken_words);
	n->next = text("It was matter %llu: %s\n\nIt is not told again.", (unsigned long long)m->id,
		       m->words);
}

int pw_news_matter(struct pw_news *n, const char *office, const struct pw_matter *m,
		   const struct pw_telling *t)
{
	const bool taken = t->day == PW_TELL_TAKEN;

	*n = (struct pw_news){ .kind = taken ? "taken" : pw_matter_name(m->kind), .matter = *m,
			       .telling = t->told + 1,
			       .urgent = !taken && pw_tell_urgent(m->kind) };
	snprintf(n->thread, sizeof(n->thread), "%.16s-matter-%llu-%lld", office,
		 (unsigned long long)m->id, (long long)m->came_ms);
	snprintf(n->id, sizeof(n->id), "%.60s%s", n->thread, taken ? "-taken" : "");
	if (taken)
		say_taken(n, m);
	else
		say_matter(n, m);
	return whole(n);
}

/* -- the digest, a test ------------------------------------------------------------------------ */

int pw_news_digest(struct pw_news *n, const char *office, int32_t day, const char *lines)
{
	*n = (struct pw_news){ .kind = "digest", .telling = 1, .day = day };
	snprintf(n->id, sizeof(n->id), "%.16s-digest-%d", office, (int)day);
	memcpy(n->thread, n->id, sizeof(n->thread));
	snprintf(n->subject, sizeof(n->subject), "%.*s", (int)strcspn(lines, "\n"), lines);
	n->words = text("%s", lines);
	n->next = text("%s", CAUTION);
	return whole(n);
}

int pw_news_test(struct pw_news *n, const char *office, int64_t now_ms)
{
	char now[PW_HOURS_TEXT_MAX];

	pw_hours_text(now_ms, now);
	*n = (struct pw_news){ .kind = "test", .telling = 1 };
	snprintf(n->id, sizeof(n->id), "%.16s-test-%lld", office, (long long)now_ms);
	memcpy(n->thread, n->id, sizeof(n->thread));
	snprintf(n->subject, sizeof(n->subject), "A test of the office's alerts");
	n->words = text("This is a test, made at %s. Nothing has happened.", now);
	n->next = text("Whoever reads it would be told of a walk that is long overdue, and of a "
		       "child that was found.");
	return whole(n);
}
