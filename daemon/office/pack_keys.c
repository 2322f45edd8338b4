/* SPDX-License-Identifier: Apache-2.0 */
/* The keys of buses and of the office, as PEM; and since when each of them holds, and by whom. */
#include <jansson.h>
#include <string.h>

#include "pack_internal.h"

static int take_key(void *ctx, const struct pw_key_row *row)
{
	struct pw_pack *p = ctx;
	struct pw_key_row *kept = pw_pack_add(&p->keys, sizeof(*kept), 0);

	if (!kept)
		return -1;
	*kept = *row;
	return 0;
}

static int work_keys(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_pack *p = ctx;

	p->keys.count = 0;
	return pw_store_keys(s, false, take_key, p, why, size);
}

struct knowing {
	struct pw_pack *p;
	size_t from;
};

#define SOME 500

/* What is known of some of the buses. */
static int work_buses(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct knowing *k = ctx;
	struct pw_bus_row row;
	int there = 0;

	for (size_t i = k->from; i < k->p->buses.count && i < k->from + SOME && there >= 0; i++) {
		struct pw_pack_bus *b = pw_pack_bus_at(k->p, i);

		there = pw_store_bus(s, b->bus, &row, why, size);
		b->known = there == 1 && row.has_key;
		if (!b->known)
			continue;
		b->enrolled_ms = row.enrolled_ms;
		b->heard_ms = row.heard_ms;
		b->key = row.key;
	}
	return there < 0 ? there : 0;
}

static int know_buses(struct pw_pack *p)
{
	struct knowing k = { .p = p };
	int result = 0;

	for (; k.from < p->buses.count && result == 0; k.from += SOME)
		result = pw_pack_desk(p, work_buses, &k);
	return result;
}

static bool same(const struct pw_public_key *a, const struct pw_public_key *b)
{
	return memcmp(a->bytes, b->bytes, sizeof(a->bytes)) == 0;
}

static void name_key(const struct pw_pack_bus *b, const struct pw_public_key *key, char file[96])
{
	char hex[65];

	pw_public_key_print(key, hex);
	if (b->known && same(&b->key, key))
		snprintf(file, 96, "keys/%s.pub", b->bus);
	else
		snprintf(file, 96, "keys/%s-%.12s.pub", b->bus, hex);
}

static struct pw_pack_bus *find_bus(struct pw_pack *p, const char *bus)
{
	size_t from = 0, end = p->buses.count;

	while (from < end) {
		const size_t middle = from + (end - from) / 2;
		const int order = strcmp(pw_pack_bus_at(p, middle)->bus, bus);

		if (order == 0)
			return pw_pack_bus_at(p, middle);
		if (order < 0)
			from = middle + 1;
		else
			end = middle;
	}
	return NULL;
}

bool pw_pack_key_file(struct pw_pack *p, const char *bus, const struct pw_public_key *key, char file[96])
{
	const struct pw_key_row *row = p->keys.item;
	const struct pw_pack_bus *b = find_bus(p, bus);

	for (size_t i = 0; b && i < p->keys.count; i++)
		if (row[i].accepted && strcmp(row[i].bus, bus) == 0 && same(&row[i].key, key)) {
			name_key(b, key, file);
			return true;
		}
	return false;
}

static int write_key(struct pw_pack *p, const char *file, const struct pw_public_key *key)
{
	char pem[PW_PEM_MAX];
	FILE *out = pw_pack_open(p, file);

	if (!out)
		return -1;
	pw_public_key_pem(key, pem);
	fputs(pem, out);
	return pw_pack_close(p, &out);
}

/* One that was not accepted has no file: it proves nothing. */
static int tell_key(struct pw_pack *p, const struct pw_pack_bus *b, const struct pw_key_row *row, FILE *out)
{
	char hex[65], file[96] = "";
	json_t *line;

	pw_public_key_print(&row->key, hex);
	if (row->accepted)
		name_key(b, &row->key, file);
	line = json_pack("{s:s,s:s,s:s,s:b,s:I,s:I,s:s,s:s,s:b}", "bus", row->bus, "fingerprint", hex,
			 "file", file, "accepted", row->accepted, "asked_ms", (json_int_t)row->asked_ms,
			 "decided_ms", (json_int_t)row->decided_ms, "who", row->who, "words", row->words,
			 "now", b->known && same(&b->key, &row->key));
	if (!line || json_dumpf(line, out, JSON_COMPACT))
		return pw_pack_broke(p, "keys.jsonl");
	putc('\n', out);
	json_decref(line);
	return file[0] ? write_key(p, file, &row->key) : 0;
}

int pw_pack_keys(struct pw_pack *p)
{
	const struct pw_key_row *row;
	FILE *out;
	int result = know_buses(p);

	if (result == 0)
		result = pw_pack_desk(p, work_keys, p);
	if (result || (result = write_key(p, "keys/office.pub", &p->o->key.public)))
		return result;
	out = pw_pack_open(p, "keys.jsonl");
	if (!out)
		return -1;
	row = p->keys.item;
	for (size_t i = 0; i < p->keys.count && result == 0; i++) {
		const struct pw_pack_bus *b = find_bus(p, row[i].bus);

		result = b ? tell_key(p, b, &row[i], out) : 0;
	}
	return pw_pack_close(p, &out) ? -1 : result;
}
