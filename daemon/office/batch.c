/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A batch checked whole: all of it holds, or nothing of it is taken. Every seal is verified, though
 * the last one vouches for all before it: what is stored as a seal has to be one.
 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "intake_internal.h"

/* Grown as needed; the bodies of all records are no longer than the text that they came in. */
struct pw_batch_room {
	size_t records, seals, sweeps, standings, matters, bodies;
	char *body;
};

struct reading {
	struct pw_batch *b;
	const struct pw_public_key *key;
	bool alert, ended;
	unsigned line;
	size_t bodies; /* bytes of them that are used */
	struct pw_wrong *wrong;
};

__attribute__((format(printf, 4, 5)))
static int refuse(struct reading *g, unsigned status, const char *word, const char *format, ...)
{
	struct pw_wrong *w = g->wrong;
	va_list args;

	*w = (struct pw_wrong){ .status = status, .word = word, .line = g->line };
	if (g->b->records > 0)
		w->seq = g->b->record[g->b->records - 1].seq;
	va_start(args, format);
	vsnprintf(w->words, sizeof(w->words), format, args);
	va_end(args);
	return -2;
}
#define bad(g, ...) refuse(g, 400, "bad", __VA_ARGS__)
#define unsound(g, ...) refuse(g, 422, "unsound", __VA_ARGS__)

static int no_memory(struct reading *g)
{
	return refuse(g, 503, "later", "there is no memory for it now");
}

/* Room for one more in an array. */
static bool grow(void *array, size_t *room, size_t used, size_t each)
{
	size_t more = *room == 0 ? 16 : *room * 2;
	void *grown;

	if (used < *room)
		return true;
	grown = realloc(*(void **)array, more * each);
	if (!grown)
		return false;
	*(void **)array = grown;
	*room = more;
	return true;
}
#define GROW(b, array, count) grow(&(b)->array, &(b)->room->count, (b)->count, sizeof(*(b)->array))

/* -- lines ------------------------------------------------------------------------------------- */

static int take_head(struct reading *g, const struct pw_export_line *line)
{
	if (strcmp(line->bus, g->b->bus) != 0)
		return unsound(g, "expected records of bus %s, not of %s", g->b->bus, line->bus);
	if (memcmp(&line->key, g->key, sizeof(*g->key)) != 0)
		return refuse(g, 403, "key", "expected the key that bus %s is enrolled with",
			      g->b->bus);
	g->b->key = line->key;
	return 0;
}

/* Where it stands: behind the record before, or first. */
static int check_place(struct reading *g, const struct pw_record *r)
{
	const struct pw_batch *b = g->b;
	const struct pw_record *last = b->records > 0 ? &b->record[b->records - 1] : NULL;

	if (g->alert && last)
		return bad(g, "expected an alert to be one record and its seal");
	if (last && strcmp(r->epoch, b->epoch) != 0)
		return unsound(g, "expected all records to be of epoch %s", b->epoch);
	if (last && r->seq - 1 != last->seq)
		return unsound(g, "expected record %" PRIu64 " behind %" PRIu64 ", not %" PRIu64,
			       last->seq + 1, last->seq, r->seq);
	if (last && strcmp(r->prev, last->hash) != 0)
		return unsound(g, "expected prev to be the hash of the record before");
	if (r->seq == 1 && strspn(r->prev, "0") != 64)
		return unsound(g, "expected prev of record 1 to be 64 zeros");
	return 0;
}

static char *body_room(const struct reading *g)
{
	return g->b->room->body + g->bodies;
}

/* Its body stands in body_room. */
static int add_record(struct reading *g, const struct pw_record *r)
{
	struct pw_batch *b = g->b;
	char hash[65];

	if (check_place(g, r))
		return -2;
	pw_record_hash(b->bus, r, hash);
	if (strcmp(hash, r->hash) != 0)
		return unsound(g, "expected the hash of record %" PRIu64 " to be that of its text",
			       r->seq);
	if (!GROW(b, record, records))
		return no_memory(g);
	b->record[b->records++] = *r;
	g->bodies += strlen(r->body) + 1;
	memcpy(b->epoch, r->epoch, sizeof(b->epoch));
	return 0;
}

static int take_record(struct reading *g, const struct pw_export_line *line)
{
	struct pw_record r = line->record;

	r.body = strcpy(body_room(g), r.body);
	return add_record(g, &r);
}

static int take_seal(struct reading *g, const struct pw_export_line *line)
{
	struct pw_batch *b = g->b;
	const struct pw_record *last = b->records > 0 ? &b->record[b->records - 1] : NULL;

	if (!last || line->seal.seq != last->seq)
		return unsound(g, "expected a seal right behind its record");
	if (b->seals > 0 && b->seal[b->seals - 1].seq == line->seal.seq)
		return unsound(g, "expected one seal of a record");
	if (strcmp(line->seal.hash, last->hash) != 0 ||
	    !pw_seal_holds(b->bus, b->epoch, &line->seal, g->key))
		return unsound(g,
			       "expected the seal of record %" PRIu64 " to hold by the bus's key",
			       last->seq);
	if (!GROW(b, seal, seals))
		return no_memory(g);
	b->seal[b->seals++] = line->seal;
	return 0;
}

static int take_end(struct reading *g, const struct pw_export_line *line)
{
	const struct pw_batch *b = g->b;

	if (b->records == 0)
		return bad(g, "expected a record");
	if (line->records != b->records || line->seals != b->seals)
		return unsound(g, "expected the end line to count %zu records and %zu seals",
			       b->records, b->seals);
	if (b->seals == 0 || b->seal[b->seals - 1].seq != b->record[b->records - 1].seq)
		return unsound(g, "expected the last record to be sealed");
	g->ended = true;
	return 0;
}

static int take_purged(struct reading *g, const struct pw_export_line *line)
{
	(void)line;
	return bad(g, "expected a bus's own records, not what an office says of them");
}

static int (*const takes[])(struct reading *g, const struct pw_export_line *line) = {
	[PW_X_HEAD] = take_head, [PW_X_RECORD] = take_record, [PW_X_SEAL] = take_seal,
	[PW_X_END] = take_end, [PW_X_PURGED] = take_purged,
};

static int take_line(struct reading *g, const char *text, size_t length)
{
	struct pw_export_line line;
	struct pw_record record;
	char why[160];
	int result;

	if (g->ended)
		return bad(g, "expected nothing behind the end line");
	if (g->line > 1 && pw_record_line(text, length, body_room(g), &record))
		return add_record(g, &record);
	if (pw_export_read(text, length, &line, why, sizeof(why)))
		return bad(g, "%s", why);
	if ((line.kind == PW_X_HEAD) != (g->line == 1))
		result = bad(g, "expected the head line first, and once");
	else
		result = takes[line.kind](g, &line);
	pw_export_free(&line);
	return result;
}

static int take_lines(struct reading *g, const char *text, size_t length)
{
	const char *end = text + length;

	while (text < end) {
		const char *lf = memchr(text, '\n', (size_t)(end - text));

		g->line++;
		if (take_line(g, text, (size_t)((lf ? lf : end) - text)))
			return -2;
		text = lf ? lf + 1 : end;
	}
	g->line++;
	return g->ended ? 0 : bad(g, "expected an end line: the batch was cut off");
}

/* -- a batch ----------------------------------------------------------------------------------- */

static int find_meaning(struct reading *g, int64_t now_ms)
{
	struct pw_batch *b = g->b;

	for (size_t i = 0; i < b->records; i++) {
		if (!GROW(b, sweep, sweeps) || !GROW(b, standing, standings) ||
		    !GROW(b, matter, matters))
			return no_memory(g);
		pw_meaning(b, &b->record[i], now_ms);
	}
	return 0;
}

/* Its receipt says that the office has it: there has to be something to keep. */
static int check_alert(struct reading *g)
{
	for (size_t i = 0; i < g->b->matters; i++)
		if (g->b->matter[i].kind == PW_MATTER_RUNG ||
		    g->b->matter[i].kind == PW_MATTER_CHILD)
			return 0;
	g->line = 2;
	return bad(g, "expected a rung with notify, or a child that was found");
}

static struct pw_batch *batch_new(const char *bus, size_t length)
{
	struct pw_batch *b = calloc(1, sizeof(*b));

	if (!b)
		return NULL;
	b->room = calloc(1, sizeof(*b->room));
	if (b->room) {
		b->room->body = malloc(length + 1);
		b->room->bodies = length + 1;
	}
	snprintf(b->bus, sizeof(b->bus), "%s", bus);
	if (b->room && b->room->body)
		return b;
	pw_batch_free(b);
	return NULL;
}

int pw_batch_read(const char *text, size_t length, const char *bus, const struct pw_public_key *key,
		  bool alert, int64_t now_ms, struct pw_batch **b, struct pw_wrong *wrong)
{
	struct reading g = { .b = batch_new(bus, length), .key = key, .alert = alert,
			     .wrong = wrong };
	int result;

	*b = NULL;
	if (!g.b) {
		*wrong = (struct pw_wrong){ .status = 503, .word = "later",
					    .words = "there is no memory for it now" };
		return -2;
	}
	result = take_lines(&g, text, length);
	if (result == 0)
		result = find_meaning(&g, now_ms);
	if (result == 0 && alert)
		result = check_alert(&g);
	if (result)
		pw_batch_free(g.b);
	else
		*b = g.b;
	return result;
}

size_t pw_batch_bytes(const struct pw_batch *b)
{
	const struct pw_batch_room *r = b->room;

	return sizeof(*b) + r->bodies + r->records * sizeof(*b->record) +
	       r->seals * sizeof(*b->seal) + r->sweeps * sizeof(*b->sweep) +
	       r->standings * sizeof(*b->standing) + r->matters * sizeof(*b->matter);
}

void pw_batch_free(struct pw_batch *b)
{
	if (!b)
		return;
	if (b->room)
		free(b->room->body);
	free(b->room);
	free(b->record);
	free(b->seal);
	free(b->sweep);
	free(b->standing);
	free(b->matter);
	free(b);
}
