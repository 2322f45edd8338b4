/* SPDX-License-Identifier: Apache-2.0 */
/* What asks for a person, in words: what it is, where and when, and what to do next. */
#include "tell_internal.h"

#include <string.h>

#define EARLIEST_MS INT64_C(1704067200000) /* 2024-01-01: there was no bus of this kind before */

static const struct kind {
	const char *title;
	const char *begins, *goes_on; /* around the bus's id */
	bool own_time;                /* a record tells when it was; else: when it came in */
	const char *next;             /* what to do */
	const char *opens, *closes;   /* around what is said more; NULL: nothing more is said */
} kinds[PW_MATTERS] = {
	[PW_MATTER_NONE] = { "", "", "", false, "", NULL, NULL },
	[PW_MATTER_RUNG] = {
		"a walk is long overdue", "The walk on bus ", " was long overdue", true,
		"call the driver or the yard now, and have the bus walked to the very rear",
		"its alarm has reached \"", "\"" },
	[PW_MATTER_CHILD] = {
		"a walk found a child", "A walk on bus ", " found a child", true,
		"call the bus or the yard now, and follow your district's plan", NULL, NULL },
	[PW_MATTER_FORK] = {
		"two histories of one bus", "Bus ",
		" sent records that do not go on from those kept here", false,
		"a folder was put back or a board cloned, and both histories are kept; ask who "
		"worked on the board before anybody does again", NULL, NULL },
	[PW_MATTER_JOURNAL] = {
		"a journal was put aside", "Bus ",
		" put its journal aside and began another", false,
		"leave the old files on the board and have an export of them taken in",
		"it says \"", "\"" },
	[PW_MATTER_HOLE] = {
		"records are missing", "Bus ",
		" no longer has some of its records and never delivered them", false,
		"ask what happened to its board, and look for a copy or an export of that time",
		NULL, NULL },
	[PW_MATTER_KEY] = {
		"another key asks to be a bus", "Another key asked to be bus ", "", false,
		"compare that with whoever installed the board, then accept or refuse it",
		"its fingerprint is ", "" },
	[PW_MATTER_REFUSED] = {
		"what a bus sent was refused", "What bus ",
		" sent does not hold and was refused", false,
		"nothing of it was kept; have the board looked at before anybody relies on it",
		"the reason is \"", "\"" },
	[PW_MATTER_CLOCK] = {
		"a clock is off", "The clock of bus ", " could not be relied on", false,
		"have it and its battery looked at; until then the times it tells are in doubt",
		NULL, NULL },
};

static const struct kind *kind_of(enum pw_matter_kind kind)
{
	return &kinds[kind < PW_MATTERS ? kind : PW_MATTER_NONE];
}

const char *pw_matter_title(enum pw_matter_kind kind)
{
	return kind_of(kind)->title;
}

/* The length of the UTF-8 character that begins here; what is none counts as one byte. */
static size_t character(const char *s)
{
	const unsigned char c = (unsigned char)s[0];
	const size_t length = c < 0xc2 ? 1 : c < 0xe0 ? 2 : c < 0xf0 ? 3 : c < 0xf5 ? 4 : 1;

	for (size_t i = 1; i < length; i++)
		if (((unsigned char)s[i] & 0xc0) != 0x80)
			return 1;
	return length;
}

void pw_words_copy(char *to, size_t size, const char *text)
{
	size_t length, used = 0;

	for (; *text != '\0'; text += length) {
		const unsigned char c = (unsigned char)*text;

		length = character(text);
		if (used + length >= size)
			break;
		memcpy(to + used, text, length);
		if (c < 0x20 || c == 0x7f || (length == 1 && c > 0x7f))
			to[used] = c > 0x7f ? '?' : ' ';
		used += length;
	}
	to[used] = '\0';
}

bool pw_clock_believed(int64_t wall_ms, bool wall_ok, int64_t now_ms)
{
	return wall_ok && wall_ms >= EARLIEST_MS && wall_ms <= now_ms + PW_CLOCK_AHEAD_MS;
}

/* Is when it came in worth telling beside when it was? */
static bool is_late(const struct pw_matter *m)
{
	return m->came_ms - m->at_ms > PW_CLOCK_AHEAD_MS;
}

static void say_when(const struct pw_matter *m, bool own_time, char *to, size_t size)
{
	char at[PW_HOURS_TEXT_MAX], came[PW_HOURS_TEXT_MAX];

	pw_hours_text(m->at_ms, at);
	pw_hours_text(m->came_ms, came);
	if (!own_time)
		snprintf(to, size, " at %s", came);
	else if (m->at_ms == 0)
		snprintf(to, size, ", when its clock cannot say; the word came in at %s", came);
	else if (is_late(m))
		snprintf(to, size, " at %s; the word came in at %s", at, came);
	else
		snprintf(to, size, " at %s", at);
}

/* What is said more gives way, so that what to do next is never cut off. */
void pw_matter_say(struct pw_matter *m, const char *more)
{
	const struct kind *k = kind_of(m->kind);
	const bool says_more = k->opens != NULL && more[0] != '\0';
	char when[2 * PW_HOURS_TEXT_MAX + 64], room[sizeof(m->words)] = "";
	const char *const parts[] = {
		k->begins, m->bus, k->goes_on, when, says_more ? "; " : "",
		says_more ? k->opens : "", room, says_more ? k->closes : "", ": ", k->next, ".",
	};
	size_t length = 1;

	say_when(m, k->own_time, when, sizeof(when));
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++)
		length += strlen(parts[i]);
	if (says_more && length < sizeof(room))
		pw_words_copy(room, sizeof(room) - length, more);
	length = 0;
	for (size_t i = 0; i < sizeof(parts) / sizeof(parts[0]); i++) {
		pw_words_copy(m->words + length, sizeof(m->words) - length, parts[i]);
		length += strlen(m->words + length);
	}
}
