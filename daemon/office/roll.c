/* SPDX-License-Identifier: Apache-2.0 */
/* Who may speak as which bus: a sorted list of buses, and a short one of keys that wait or were
 * refused. */
#include <pthread.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>

#include "intake_internal.h"
#include "postwalk/text.h"

#define NOTE_AGAIN_MS 3600000

struct entry {
	char bus[PW_NAME_MAX];
	struct pw_public_key key;
	char token[65];
	int64_t noted_ms; /* that it sent what is not sound */
	unsigned bodies;  /* under way */
};
struct asked {
	char bus[PW_NAME_MAX];
	struct pw_public_key key;
	char token[65];
	bool refused;
};
struct pw_roll {
	pthread_mutex_t lock;
	struct entry *entry;
	size_t entries, entry_room;
	struct asked *asked;
	size_t askeds, asked_room;
};

void pw_token_hash(const char *token, char hash[65])
{
	const struct iovec part = { (void *)(uintptr_t)token, strlen(token) };

	pw_sha256_hex(&part, 1, hash);
}

/* -- by bus ------------------------------------------------------------------------------------ */

/* Where it is, or would have to be. */
static size_t place_of(const struct pw_roll *roll, const char *bus, bool *found)
{
	size_t low = 0, high = roll->entries;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (strcmp(roll->entry[middle].bus, bus) < 0)
			low = middle + 1;
		else
			high = middle;
	}
	*found = low < roll->entries && strcmp(roll->entry[low].bus, bus) == 0;
	return low;
}

static void *room_for_one(void *array, size_t used, size_t *room, size_t each)
{
	void *more;

	if (used < *room)
		return array;
	more = realloc(array, (*room + 64) * 2 * each);
	if (more)
		*room = (*room + 64) * 2;
	return more;
}

static struct entry *entry_for(struct pw_roll *roll, const char *bus)
{
	bool found;
	size_t at = place_of(roll, bus, &found);
	struct entry *more;

	if (found)
		return &roll->entry[at];
	more = room_for_one(roll->entry, roll->entries, &roll->entry_room, sizeof(*more));
	if (!more)
		return NULL;
	roll->entry = more;
	memmove(more + at + 1, more + at, (roll->entries - at) * sizeof(*more));
	roll->entries++;
	more[at] = (struct entry){ .noted_ms = -NOTE_AGAIN_MS };
	snprintf(more[at].bus, sizeof(more[at].bus), "%s", bus);
	return &more[at];
}

void pw_roll_bus(struct pw_roll *roll, const struct pw_bus_row *row)
{
	struct entry *e;

	if (!row->has_key)
		return;
	pthread_mutex_lock(&roll->lock);
	e = entry_for(roll, row->bus);
	if (e) {
		e->key = row->key;
		memcpy(e->token, row->token, sizeof(e->token));
	}
	pthread_mutex_unlock(&roll->lock);
}

/* -- by key that was asked for ----------------------------------------------------------------- */

static struct asked *asked_for(struct pw_roll *roll, const char *bus,
			       const struct pw_public_key *key)
{
	struct asked *more;

	for (size_t i = 0; i < roll->askeds; i++)
		if (strcmp(roll->asked[i].bus, bus) == 0 &&
		    memcmp(&roll->asked[i].key, key, sizeof(*key)) == 0)
			return &roll->asked[i];
	more = room_for_one(roll->asked, roll->askeds, &roll->asked_room, sizeof(*more));
	if (!more)
		return NULL;
	roll->asked = more;
	return &more[roll->askeds++];
}

/* An accepted one is the bus's, and asks no more. */
void pw_roll_key(struct pw_roll *roll, const struct pw_key_row *row)
{
	struct asked *a;

	pthread_mutex_lock(&roll->lock);
	a = asked_for(roll, row->bus, &row->key);
	if (a) {
		memset(a, 0, sizeof(*a));
		memcpy(a->bus, row->bus, sizeof(a->bus));
		a->key = row->key;
		memcpy(a->token, row->token, sizeof(a->token));
		a->refused = row->decided_ms != 0;
	}
	if (a && row->accepted)
		*a = roll->asked[--roll->askeds];
	pthread_mutex_unlock(&roll->lock);
}

/* -- asking ------------------------------------------------------------------------------------ */

static bool same(const char *a, const char *b)
{
	return strlen(a) == 64 && sodium_memcmp(a, b, 64) == 0;
}

enum pw_known pw_roll_ask(struct pw_roll *roll, const char *bus, const char *token,
			  struct pw_public_key *key)
{
	enum pw_known known = PW_KNOWN_NOT;
	char hash[65];
	bool found;
	size_t at;

	pw_token_hash(token, hash);
	pthread_mutex_lock(&roll->lock);
	at = place_of(roll, bus, &found);
	if (found && same(roll->entry[at].token, hash)) {
		*key = roll->entry[at].key;
		known = PW_KNOWN_SO;
	}
	for (size_t i = 0; i < roll->askeds && known == PW_KNOWN_NOT; i++)
		if (strcmp(roll->asked[i].bus, bus) == 0 && same(roll->asked[i].token, hash))
			known = roll->asked[i].refused ? PW_KNOWN_REFUSED : PW_KNOWN_WAITS;
	pthread_mutex_unlock(&roll->lock);
	return known;
}

bool pw_roll_has(struct pw_roll *roll, const char *bus)
{
	bool found;

	pthread_mutex_lock(&roll->lock);
	place_of(roll, bus, &found);
	pthread_mutex_unlock(&roll->lock);
	return found;
}

bool pw_roll_note_refused(struct pw_roll *roll, const char *bus, int64_t now_ms)
{
	bool found, note = false;
	size_t at;

	pthread_mutex_lock(&roll->lock);
	at = place_of(roll, bus, &found);
	if (found && (now_ms - roll->entry[at].noted_ms >= NOTE_AGAIN_MS ||
		      now_ms < roll->entry[at].noted_ms)) {
		roll->entry[at].noted_ms = now_ms;
		note = true;
	}
	pthread_mutex_unlock(&roll->lock);
	return note;
}

bool pw_roll_enter(struct pw_roll *roll, const char *bus)
{
	bool found, may;
	size_t at;

	pthread_mutex_lock(&roll->lock);
	at = place_of(roll, bus, &found);
	may = found && roll->entry[at].bodies < PW_BODIES_A_BUS;
	if (may)
		roll->entry[at].bodies++;
	pthread_mutex_unlock(&roll->lock);
	return may;
}

void pw_roll_leave(struct pw_roll *roll, const char *bus)
{
	bool found;
	size_t at;

	pthread_mutex_lock(&roll->lock);
	at = place_of(roll, bus, &found);
	if (found)
		roll->entry[at].bodies--;
	pthread_mutex_unlock(&roll->lock);
}

/* -- its life ---------------------------------------------------------------------------------- */

static int load_bus(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	(void)day, (void)days;
	pw_roll_bus(ctx, row);
	return 0;
}

static int load_key(void *ctx, const struct pw_key_row *row)
{
	if (!row->accepted)
		pw_roll_key(ctx, row);
	return 0;
}

int pw_roll_load(struct pw_store *s, struct pw_roll **roll, char *why, size_t size)
{
	struct pw_roll *r = calloc(1, sizeof(*r));
	int result;

	if (!r) {
		snprintf(why, size, "there is no memory for the roll of buses");
		return -1;
	}
	pthread_mutex_init(&r->lock, NULL);
	result = pw_store_heard(s, load_bus, r, why, size);
	if (result == 0)
		result = pw_store_keys(s, false, load_key, r, why, size);
	if (result == 0)
		*roll = r;
	else
		pw_roll_free(r);
	return result;
}

void pw_roll_free(struct pw_roll *r)
{
	if (!r)
		return;
	pthread_mutex_destroy(&r->lock);
	free(r->entry);
	free(r->asked);
	free(r);
}
