/* SPDX-License-Identifier: Apache-2.0 */
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "runs.h"

#define FIRST_ROOM 64

const char *pw_row_name(enum pw_row_why why)
{
	static const char *const names[PW_ROW_WHYS] = {
		"none",
#define X(up, low) [PW_ROW_##up] = #low,
		PW_ROW_LIST(X)
#undef X
	};

	return names[why];
}

struct pw_sheet *pw_sheet_new(void)
{
	return calloc(1, sizeof(struct pw_sheet));
}

void pw_sheet_free(struct pw_sheet *s)
{
	if (!s)
		return;
	free(s->run);
	free(s->note);
	free(s);
}

/* Room for one more. */
static bool grow(void **list, size_t count, size_t *room, size_t each)
{
	const size_t more = *room ? 2 * *room : FIRST_ROOM;
	void *grown;

	if (count < *room)
		return true;
	grown = realloc(*list, more * each);
	if (!grown)
		return false;
	*list = grown;
	*room = more;
	return true;
}

void pw_sheet_add(struct pw_sheet *s, const struct pw_run *run)
{
	void *list = s->run;

	s->broke |= !grow(&list, s->runs, &s->run_room, sizeof(*s->run));
	s->run = list;
	if (!s->broke)
		s->run[s->runs++] = *run;
}

void pw_sheet_note(struct pw_sheet *s, const char *file, uint32_t line, enum pw_row_why why,
		   bool taken, const char *format, ...)
{
	struct pw_row_note n = { .file = file, .line = line, .why = why, .taken = taken };
	void *list = s->note;
	va_list words;

	va_start(words, format);
	vsnprintf(n.words, sizeof(n.words), format, words);
	va_end(words);
	s->broke |= !grow(&list, s->notes, &s->note_room, sizeof(*s->note));
	s->note = list;
	if (!s->broke)
		s->note[s->notes++] = n;
}

/* -- at the end ------------------------------------------------------------------------------ */

static int by_key(const struct pw_run *a, const struct pw_run *b)
{
	int order = (a->date > b->date) - (a->date < b->date);

	if (!order)
		order = strcmp(a->bus, b->bus);
	if (!order)
		order = strcmp(a->run, b->run);
	return order;
}

static int by_key_and_line(const void *a, const void *b, void *runs)
{
	const struct pw_run *run = runs;
	const struct pw_run *one = &run[*(const uint32_t *)a], *other = &run[*(const uint32_t *)b];
	const int order = by_key(one, other);

	return order ? order : (one->line > other->line) - (one->line < other->line);
}

static int by_line(const void *a, const void *b)
{
	const struct pw_row_note *one = a, *other = b;
	const int order = strcmp(one->file, other->file);

	if (order)
		return order;
	if (one->line != other->line)
		return one->line < other->line ? -1 : 1;
	return one->taken - other->taken;
}

/* A line of 0 marks what goes. */
static void mark_duplicates(struct pw_sheet *s, const uint32_t *at, const char *file)
{
	uint32_t first = 0;

	for (size_t i = 1; i < s->runs; i++) {
		struct pw_run *run = &s->run[at[i]];

		if (by_key(&s->run[at[first]], run)) {
			first = (uint32_t)i;
			continue;
		}
		pw_sheet_note(s, file, run->line, PW_ROW_DUPLICATE, false,
			      "the same date, bus and run as line %u", s->run[at[first]].line);
		run->line = 0;
	}
}

/* Of a row that is not taken, only why not is said. */
static void drop(struct pw_sheet *s)
{
	size_t kept = 0;

	for (size_t i = 0; i < s->runs; i++)
		if (s->run[i].line)
			s->run[kept++] = s->run[i];
	s->runs = kept;
	kept = 0;
	for (size_t i = 0; i < s->notes; i++) {
		const struct pw_row_note *n = &s->note[i], *last = kept ? &s->note[kept - 1] : NULL;
		const bool said = n->taken && last && !last->taken && last->line == n->line &&
				  !strcmp(last->file, n->file);

		s->refused += !n->taken;
		if (!said)
			s->note[kept++] = *n;
	}
	s->notes = kept;
}

int pw_sheet_finish(struct pw_sheet *s, const char *file, char *why, size_t size)
{
	uint32_t *at = calloc(s->runs + 1, sizeof(*at));

	s->broke |= !at;
	if (!s->broke) {
		for (size_t i = 0; i < s->runs; i++)
			at[i] = (uint32_t)i;
		qsort_r(at, s->runs, sizeof(*at), by_key_and_line, s->run);
		mark_duplicates(s, at, file);
		if (s->notes)
			qsort(s->note, s->notes, sizeof(*s->note), by_line);
		drop(s);
	}
	free(at);
	if (s->broke)
		snprintf(why, size, "no memory for so many runs");
	return s->broke ? -1 : 0;
}

/* -- words ----------------------------------------------------------------------------------- */

const char *pw_shown(const char *text, char shown[48])
{
	size_t length = strnlen(text, 44);

	if (text[length] != '\0')
		while (length && ((unsigned char)text[length] & 0xc0) == 0x80)
			length--;
	for (size_t i = 0; i < length; i++)
		shown[i] = (unsigned char)text[i] < 0x20 || text[i] == 0x7f ? '?' : text[i];
	strcpy(shown + length, text[length] ? "..." : "");
	return shown;
}
