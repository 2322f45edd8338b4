/* SPDX-License-Identifier: Apache-2.0 */
#include <stdalign.h>
#include <stdlib.h>
#include <string.h>

#include "postwalk/text.h"
#include "report_internal.h"

#define CHUNK 4000

struct pw_chunk {
	struct pw_chunk *next;
	size_t used, size;
	alignas(max_align_t) char bytes[];
};

void *pw_room_take(struct pw_room *room, size_t size)
{
	const size_t whole = (size + alignof(max_align_t) - 1) & ~(alignof(max_align_t) - 1);
	struct pw_chunk *c = room->chunk;
	void *place;

	if (!c || c->size - c->used < whole) {
		const size_t bytes = whole > CHUNK ? whole : CHUNK;

		c = malloc(sizeof(*c) + bytes);
		if (!c)
			return NULL;
		*c = (struct pw_chunk){ .next = room->chunk, .size = bytes };
		room->chunk = c;
	}
	place = c->bytes + c->used;
	c->used += whole;
	return place;
}

void pw_room_free(struct pw_room *room)
{
	while (room->chunk) {
		struct pw_chunk *c = room->chunk;

		room->chunk = c->next;
		free(c);
	}
}

/* C1 controls, and what turns the direction of writing (Unicode, UAX 9): U+061C, U+200E, U+200F,
 * U+2028 to U+202E, U+2066 to U+2069. */
static bool harmful(const unsigned char *s, size_t length)
{
	if (length == 2)
		return (s[0] == 0xc2 && s[1] < 0xa0) || (s[0] == 0xd8 && s[1] == 0x9c);
	if (length != 3 || s[0] != 0xe2)
		return false;
	return (s[1] == 0x80 && (s[2] == 0x8e || s[2] == 0x8f || (s[2] >= 0xa8 && s[2] <= 0xae))) ||
	       (s[1] == 0x81 && s[2] >= 0xa6 && s[2] <= 0xa9);
}

/* What stands for a byte that is no harm only as something else; "" : it may stay. */
static const char *instead(unsigned char c, bool lines)
{
	if (c == '\n' || c == '\t')
		return lines ? "" : " ";
	if (c == '\r')
		return " ";
	return c < 0x20 || c == 0x7f ? "\xef\xbf\xbd" : "";
}

const char *pw_room_text(struct pw_room *room, const char *text, bool lines)
{
	const unsigned char *s = (const unsigned char *)text;
	size_t left = strlen(text), length;
	char *copy = pw_room_take(room, 3 * left + 1), *to = copy;

	if (!copy)
		return NULL;
	for (; left > 0; s += length, left -= length) {
		const char *other = "\xef\xbf\xbd";

		length = pw_utf8_sequence(s, left);
		if (length == 1)
			other = instead(*s, lines);
		else if (length > 1 && !harmful(s, length))
			other = "";
		if (length == 0)
			length = 1;
		if (*other)
			to = stpcpy(to, other);
		else
			to = mempcpy(to, s, length);
	}
	*to = '\0';
	return copy;
}
