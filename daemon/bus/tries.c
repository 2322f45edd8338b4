/* SPDX-License-Identifier: Apache-2.0 */
/* Every try at a PIN or a form that was turned away is in the journal. Those that cost nothing are
 * counted, so that nobody can fill the disk with them. */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

#define TELL_EVERY_MS 60000

void pw_tries_note(struct pw_bus *b, enum pw_role role, bool accepted, uint32_t tries,
		   const char *why)
{
	struct pw_note n = pw_note_new(b, PW_K_PIN);

	n.of.pin.role = role;
	n.of.pin.accepted = accepted;
	n.of.pin.tries = tries;
	snprintf(n.of.pin.why, sizeof(n.of.pin.why), "%s", why);
	pw_writer_note(b->writer, &n);
	b->keep = true;
}

static bool is_same(const struct pw_counted *c, enum pw_role role, const char *why)
{
	return c->role == role && strcmp(c->why, why) == 0;
}

/* The one of that kind or a free one; the last is for all others when there are too many kinds. */
static struct pw_counted *find(struct pw_bus *b, enum pw_role role, const char *why)
{
	struct pw_counted *free_one = NULL, *last = &b->tries.counted[PW_TRIES_KINDS - 1];

	for (struct pw_counted *c = b->tries.counted; c < last; c++) {
		if (c->tries > 0 && is_same(c, role, why))
			return c;
		if (c->tries == 0 && !free_one)
			free_one = c;
	}
	if (!free_one)
		return last;
	free_one->role = role;
	snprintf(free_one->why, sizeof(free_one->why), "%s", why);
	return free_one;
}

void pw_tries_count(struct pw_bus *b, enum pw_role role, const char *why)
{
	struct pw_counted *c = find(b, role, why);

	if (c == &b->tries.counted[PW_TRIES_KINDS - 1]) {
		c->role = PW_NOBODY;
		snprintf(c->why, sizeof(c->why), "other");
	}
	if (c->tries < UINT32_MAX)
		c->tries++;
}

static struct pw_counted *most(struct pw_bus *b)
{
	struct pw_counted *first = b->tries.counted;

	for (unsigned i = 1; i < PW_TRIES_KINDS; i++)
		if (b->tries.counted[i].tries > first->tries)
			first = &b->tries.counted[i];
	return first->tries > 0 ? first : NULL;
}

static void tell(struct pw_bus *b, struct pw_counted *c)
{
	pw_tries_note(b, c->role, false, c->tries, c->why);
	c->tries = 0;
}

void pw_tries_tell(struct pw_bus *b)
{
	struct pw_counted *c = most(b);

	if (!c || b->now_ms < b->tries.next_ms)
		return;
	tell(b, c);
	b->tries.next_ms = b->now_ms + TELL_EVERY_MS;
}

void pw_tries_tell_all(struct pw_bus *b)
{
	struct pw_counted *c;

	while ((c = most(b)))
		tell(b, c);
}

int64_t pw_tries_next_ms(const struct pw_bus *b)
{
	return most((struct pw_bus *)b) ? b->tries.next_ms : PW_NEVER;
}
