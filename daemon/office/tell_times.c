/* SPDX-License-Identifier: Apache-2.0 */
/* When a person is told, again, and no more. */
#include "tell_internal.h"

#define DAY_S UINT32_C(86400)
#define RETRY_FIRST_MS INT64_C(60000) /* half of it at least */
#define RETRY_MOST_MS INT64_C(1800000)
#define LONGEST_MS (8 * (int64_t)DAY_S * 1000)

/* What is told too often is read by nobody: all but what cannot wait leaves a day between. */
static const uint32_t least_again_s[PW_MATTERS] = {
	[PW_MATTER_FORK] = DAY_S, [PW_MATTER_JOURNAL] = DAY_S, [PW_MATTER_HOLE] = DAY_S,
	[PW_MATTER_KEY] = DAY_S, [PW_MATTER_REFUSED] = DAY_S, [PW_MATTER_CLOCK] = 7 * DAY_S,
};

bool pw_tell_urgent(enum pw_matter_kind kind)
{
	return kind == PW_MATTER_RUNG || kind == PW_MATTER_CHILD;
}

int64_t pw_tell_again_ms(enum pw_matter_kind kind, uint32_t again_s)
{
	return 1000 * (int64_t)(again_s > least_again_s[kind] ? again_s : least_again_s[kind]);
}

int64_t pw_tell_retry_ms(unsigned tries, uint32_t random)
{
	int64_t most_ms = RETRY_FIRST_MS;

	for (; tries > 1 && most_ms < RETRY_MOST_MS; tries--)
		most_ms *= 2;
	if (most_ms > RETRY_MOST_MS)
		most_ms = RETRY_MOST_MS;
	return most_ms / 2 + random % (most_ms / 2 + 1);
}

bool pw_tell_due(const struct pw_telling *t, int64_t now_ms)
{
	const int64_t longest_ms = t->told > 0 && t->tries == 0 ? LONGEST_MS : RETRY_MOST_MS;

	if (t->next_ms == INT64_MAX)
		return false;
	return t->next_ms <= now_ms || t->next_ms - now_ms > longest_ms || t->told_ms > now_ms;
}

void pw_tell_done(struct pw_telling *t, enum pw_matter_kind kind, uint32_t again_s, const char *why,
		  int64_t now_ms)
{
	const bool once = t->matter == 0 || t->day == PW_TELL_TAKEN;

	t->tries = 0;
	t->told++;
	t->told_ms = now_ms;
	t->next_ms = once ? INT64_MAX : now_ms + pw_tell_again_ms(kind, again_s);
	pw_words_copy(t->why, sizeof(t->why), why);
}

void pw_tell_failed(struct pw_telling *t, const char *why, uint32_t random, int64_t now_ms)
{
	t->tries++;
	t->next_ms = now_ms + pw_tell_retry_ms(t->tries, random);
	pw_words_copy(t->why, sizeof(t->why), why);
}
