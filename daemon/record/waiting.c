/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Notes that wait in the watch's memory (J7). The room for them is taken once, at the start, and
 * its pages become real only as far as notes have ever reached: a cleared ring begins at its
 * first byte again.
 */
#include "writer_internal.h"

#include <stdlib.h>
#include <string.h>

#define ROOM ((size_t)4 << 20)

/* Notes lie whole, each on 8 bytes; what is left at the end of the room is a skip. */
static size_t rounded(size_t size)
{
	return (size + 7) & ~(size_t)7;
}

static struct pw_note *at(const struct pw_waiting *q, uint64_t position)
{
	return (struct pw_note *)(void *)(q->bytes + position % q->size);
}

/* Where the note at or after a position begins. */
static uint64_t settle(const struct pw_waiting *q, uint64_t position)
{
	if (position < q->end && at(q, position)->kind == PW_K_NONE)
		return position + q->size - position % q->size;
	return position;
}

int pw_waiting_init(struct pw_waiting *q)
{
	*q = (struct pw_waiting){ .bytes = calloc(1, ROOM), .size = ROOM };
	return q->bytes != NULL ? 0 : -1;
}

void pw_waiting_fini(struct pw_waiting *q)
{
	free(q->bytes);
}

void pw_waiting_clear(struct pw_waiting *q)
{
	*q = (struct pw_waiting){ .bytes = q->bytes, .size = q->size };
}

static void drop_first(struct pw_waiting *q)
{
	const uint64_t place = settle(q, q->first);
	const struct pw_note *note = at(q, place);

	q->dropped += note->kind == PW_K_LOST ? note->of.lost.count : 1;
	q->dropped_mono_ms = note->mono_ms;
	q->dropped_wall_ms = note->wall_ms;
	q->dropped_wall_ok = note->wall_ok;
	q->first = place + rounded(note->size);
	q->count--;
	if (q->kept_count > 0)
		q->kept_count--;
	if (q->kept < q->first)
		q->kept = q->first;
}

void pw_waiting_add(struct pw_waiting *q, const struct pw_note *note, size_t size)
{
	const size_t need = rounded(size);
	size_t left, pad;

	for (;;) {
		left = q->size - (size_t)(q->end % q->size);
		pad = left < need ? left : 0;
		if (q->count < PW_WAITING_MAX && q->end + pad + need - q->first <= q->size)
			break;
		drop_first(q);
	}
	if (pad > 0)
		at(q, q->end)->kind = PW_K_NONE;
	q->end += pad;
	memcpy(at(q, q->end), note, size);
	at(q, q->end)->size = (uint32_t)size;
	q->end += need;
	q->count++;
}

void pw_waiting_keep(struct pw_waiting *q)
{
	q->kept = q->end;
	q->kept_count = q->count;
}

const struct pw_note *pw_waiting_at(const struct pw_waiting *q, uint64_t *position)
{
	uint64_t place = settle(q, *position > q->first ? *position : q->first);

	if (place >= q->kept)
		return NULL;
	*position = place + rounded(at(q, place)->size);
	return at(q, place);
}

void pw_waiting_move_open(struct pw_waiting *q, struct pw_waiting *to)
{
	uint64_t place = q->kept;

	while ((place = settle(q, place)) < q->end) {
		pw_waiting_add(to, at(q, place), at(q, place)->size);
		place += rounded(at(q, place)->size);
	}
	q->end = q->kept;
	q->count = q->kept_count;
}
