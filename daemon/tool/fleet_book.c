/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleet_book_internal.h"
#include "postwalk/record.h"
#include "postwalk/stretch.h"

#define END_MAX 64 /* the last line */

static const char origin[65] = "0000000000000000000000000000000000000000000000000000000000000000";

/* -- growing ----------------------------------------------------------------------------------- */

/* Room for more; false: there is none. */
static bool grow(void **at, size_t size, size_t *room, size_t need)
{
	size_t more = *room ? *room : 256;
	void *there;

	if (need <= *room)
		return true;
	while (more < need)
		more *= 2;
	there = reallocarray(*at, more, size);
	if (!there)
		return false;
	*at = there;
	*room = more;
	return true;
}

static char *room_for(struct pw_growing *g, size_t bytes)
{
	void *text = g->text;
	bool there = grow(&text, 1, &g->room, g->length + bytes);

	g->text = text;
	return there ? g->text + g->length : NULL;
}

void pw_growing_free(struct pw_growing *g)
{
	free(g->text);
	*g = (struct pw_growing){ 0 };
}

/* -- the book ---------------------------------------------------------------------------------- */

void pw_book_begin(struct pw_book *b, const char *bus, const char *epoch,
		   const struct pw_secret_key *key)
{
	*b = (struct pw_book){ .key = key };
	snprintf(b->bus, sizeof(b->bus), "%s", bus);
	snprintf(b->epoch, sizeof(b->epoch), "%s", epoch);
}

void pw_book_free(struct pw_book *b)
{
	free(b->record);
	free(b->text);
	*b = (struct pw_book){ 0 };
}

void pw_book_copy(struct pw_book *to, const struct pw_book *from)
{
	*to = *from;
	to->record = reallocarray(NULL, from->room, sizeof(*from->record));
	to->text = malloc(from->text_room);
	if (!to->record || !to->text) {
		pw_book_free(to);
		to->no_memory = true;
		return;
	}
	memcpy(to->record, from->record, from->count * sizeof(*from->record));
	memcpy(to->text, from->text, from->length);
}

static bool has_room(struct pw_book *b, size_t body)
{
	void *record = b->record, *text = b->text;
	bool there = grow(&record, sizeof(*b->record), &b->room, b->count + 1);

	there = grow(&text, 1, &b->text_room, b->length + body) && there;
	b->record = record;
	b->text = text;
	return there;
}

void pw_book_add(struct pw_book *b, const struct pw_record *r)
{
	const size_t body = strlen(r->body) + 1;
	struct pw_record whole = *r;
	struct pw_book_record *to;

	if (b->no_memory || !has_room(b, body)) {
		b->no_memory = true;
		return;
	}
	whole.seq = b->count + 1;
	memcpy(whole.epoch, b->epoch, sizeof(whole.epoch));
	memcpy(whole.prev, b->count ? b->record[b->count - 1].hash : origin, sizeof(whole.prev));
	to = &b->record[b->count++];
	*to = (struct pw_book_record){
		.boot = r->boot,
		.mono_ms = r->mono_ms,
		.wall_ms = r->wall_ms,
		.wall_ok = r->wall_ok,
		.body = b->length,
		.kind = (uint8_t)r->kind,
	};
	memcpy(b->text + b->length, r->body, body);
	b->length += body;
	pw_record_hash(b->bus, &whole, to->hash);
}

/* Signed when it is asked for: most of a long past never is. */
void pw_book_seal(struct pw_book *b)
{
	if (b->count == 0)
		return;
	b->record[b->count - 1].sealed = true;
	b->sealed = b->count;
}

void pw_book_alert(struct pw_book *b)
{
	pw_book_seal(b);
	if (b->count > 0)
		b->record[b->count - 1].alert = true;
}

bool pw_book_whole(const struct pw_book *b)
{
	return !b->no_memory;
}

void pw_book_read(const struct pw_book *b, uint64_t seq, struct pw_record *r)
{
	const struct pw_book_record *from = &b->record[seq - 1];

	*r = (struct pw_record){ .seq = seq, .boot = from->boot, .mono_ms = from->mono_ms,
				 .wall_ms = from->wall_ms, .wall_ok = from->wall_ok,
				 .kind = from->kind, .body = b->text + from->body };
	memcpy(r->epoch, b->epoch, sizeof(r->epoch));
	memcpy(r->prev, seq > 1 ? from[-1].hash : origin, sizeof(r->prev));
	memcpy(r->hash, from->hash, sizeof(r->hash));
}

const char *pw_book_hash(const struct pw_book *b, uint64_t seq)
{
	return seq >= 1 && seq <= b->count ? b->record[seq - 1].hash : NULL;
}

/* -- as text (J10) ----------------------------------------------------------------------------- */

static int put(struct pw_growing *g, int written)
{
	if (written < 0)
		return -1;
	g->length += (size_t)written;
	g->text[g->length++] = '\n';
	return 0;
}

static int put_head(const struct pw_book *b, struct pw_growing *g)
{
	char *at = room_for(g, PW_EXPORT_LINE_MAX);

	if (!at)
		return -1;
	return put(g, pw_export_head(b->bus, &b->key->public, at, PW_EXPORT_LINE_MAX - 1));
}

static int put_end(struct pw_growing *g, uint64_t records, uint64_t seals)
{
	char *at = room_for(g, PW_EXPORT_LINE_MAX);

	return at ? put(g, pw_export_end(records, seals, at, PW_EXPORT_LINE_MAX - 1)) : -1;
}

static int put_record(const struct pw_book *b, uint64_t seq, struct pw_growing *g)
{
	char *at = room_for(g, PW_EXPORT_LINE_MAX);
	struct pw_record r;

	pw_book_read(b, seq, &r);
	return at ? put(g, pw_export_record(&r, at, PW_EXPORT_LINE_MAX - 1)) : -1;
}

static int put_seal(const struct pw_book *b, uint64_t seq, struct pw_growing *g)
{
	char *at = room_for(g, PW_EXPORT_LINE_MAX);
	struct pw_seal s = { .seq = seq };

	memcpy(s.hash, b->record[seq - 1].hash, sizeof(s.hash));
	pw_seal_make(b->bus, b->epoch, &s, b->key);
	return at ? put(g, pw_export_seal(&s, at, PW_EXPORT_LINE_MAX - 1)) : -1;
}

/* Where the last seal so far stands. */
struct cut { uint64_t seq, records, seals; size_t length; };

static bool is_enough(const struct cut *cut, const struct pw_growing *g)
{
	return cut->seq > 0 && (cut->length >= PW_STRETCH_LEAST || g->length >= PW_STRETCH_MOST);
}

int64_t pw_book_export(const struct pw_book *b, uint64_t first, uint64_t last, bool stretch,
		       struct pw_growing *g)
{
	struct cut cut = { 0 };
	uint64_t seals = 0;

	g->length = 0;
	if (put_head(b, g))
		return -1;
	for (uint64_t seq = first; seq <= last && !(stretch && is_enough(&cut, g)); seq++) {
		if (put_record(b, seq, g))
			return -1;
		if (!b->record[seq - 1].sealed)
			continue;
		if (put_seal(b, seq, g))
			return -1;
		if (stretch && cut.seq > 0 && g->length + END_MAX > PW_STRETCH_MOST)
			break; /* up to the seal before */
		cut = (struct cut){ seq, seq - first + 1, ++seals, g->length };
	}
	g->length = cut.length;
	if (cut.seq > 0 && put_end(g, cut.records, cut.seals))
		return -1;
	return (int64_t)cut.seq;
}

int pw_book_export_alert(const struct pw_book *b, uint64_t seq, struct pw_growing *g)
{
	g->length = 0;
	if (put_head(b, g) || put_record(b, seq, g) || put_seal(b, seq, g))
		return -1;
	return put_end(g, 1, 1);
}
