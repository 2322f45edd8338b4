/* SPDX-License-Identifier: Apache-2.0 */
/* A pack from its first file to its last, bus by bus. */
#include <errno.h>
#include <sodium.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "intake_internal.h"
#include "pack_internal.h"

/* -- what its files share ---------------------------------------------------------------------- */

int pw_pack_broke(struct pw_pack *p, const char *what)
{
	snprintf(p->why, sizeof(p->why), "%.150s cannot be written: %.60s", what, strerror(errno));
	return -1;
}

void *pw_pack_add(struct pw_pack_many *many, size_t each, size_t most)
{
	const size_t room = many->room ? 2 * many->room : 16;
	void *item;

	many->all++;
	if (most && many->count == most)
		return NULL;
	if (many->count == many->room) {
		item = reallocarray(many->item, room, each);
		if (!item)
			return NULL;
		many->item = item;
		many->room = room;
	}
	item = (char *)many->item + many->count++ * each;
	memset(item, 0, each);
	return item;
}

struct pw_pack_bus *pw_pack_bus_at(struct pw_pack *p, size_t i)
{
	return (struct pw_pack_bus *)p->buses.item + i;
}

FILE *pw_pack_open(struct pw_pack *p, const char *name)
{
	char path[700], *kept = pw_pack_add(&p->files, 128, 0);
	FILE *f;

	if (!kept) {
		snprintf(p->why, sizeof(p->why), "there is no memory for a pack");
		return NULL;
	}
	snprintf(kept, 128, "%s", name);
	snprintf(path, sizeof(path), "%s/%s", p->dir, name);
	f = fopen(path, "wxe");
	if (!f)
		pw_pack_broke(p, name);
	return f;
}

int pw_pack_close(struct pw_pack *p, FILE **f)
{
	const bool broke = !*f || ferror(*f);
	const int result = *f ? fclose(*f) : 0;

	*f = NULL;
	return broke || result ? pw_pack_broke(p, "a file of the pack") : 0;
}

int pw_pack_desk(struct pw_pack *p, int (*work)(struct pw_store *s, void *ctx, char *why, size_t size),
		 void *ctx)
{
	return pw_desk_do(p->o->desk, work, ctx, p->why, sizeof(p->why));
}

/* -- the office's log -------------------------------------------------------------------------- */

struct noting {
	const struct pw_pack *p;
	char did[400];
};

static int work_note(struct pw_store *s, void *ctx, char *why, size_t size)
{
	const struct noting *n = ctx;

	return pw_store_log(s, n->p->order->now_ms, n->p->order->who, n->did, why, size);
}

/* It hands on driver codes: noted before the first of them is read, and kept for good. */
static int note_begin(struct pw_pack *p)
{
	const struct pw_pack_order *o = p->order;
	struct noting n = { .p = p };

	snprintf(n.did, sizeof(n.did), "view pack %d to %d, with driver codes, of buses %.200s", o->from,
		 o->to, o->buses[0] ? o->buses : "all");
	return pw_pack_desk(p, work_note, &n);
}

static int note_end(struct pw_pack *p, const char *hex)
{
	struct noting n = { .p = p };

	snprintf(n.did, sizeof(n.did), "view pack %d to %d: made; SHA-256 of its SHA256SUMS %s",
		 p->order->from, p->order->to, hex);
	return pw_pack_desk(p, work_note, &n);
}

/* ---------------------------------------------------------------------------------------------- */

static int make_folders(struct pw_pack *p)
{
	static const char *const folders[] = { "keys", "records" };
	char path[700];

	for (size_t i = 0; i < sizeof(folders) / sizeof(folders[0]); i++) {
		snprintf(path, sizeof(path), "%s/%s", p->dir, folders[i]);
		if (mkdir(path, 0700))
			return pw_pack_broke(p, path);
	}
	return 0;
}

static int write_text(struct pw_pack *p, const char *name, const char *text)
{
	FILE *out = pw_pack_open(p, name);

	if (!out)
		return -1;
	fputs(text, out);
	return pw_pack_close(p, &out);
}

static int write_buses(struct pw_pack *p)
{
	struct pw_pack_many branches = { .item = NULL };
	int result = 0;

	for (size_t i = 0; i < p->buses.count && result == 0; i++) {
		branches.count = 0;
		result = pw_pack_rows_of(p, pw_pack_bus_at(p, i), &branches);
		if (result == 0)
			result = pw_pack_records_of(p, pw_pack_bus_at(p, i), &branches);
	}
	free(branches.item);
	return result;
}

static int write_all(struct pw_pack *p)
{
	char hex[65];
	int result = note_begin(p);

	if (result == 0)
		result = pw_pack_find_buses(p);
	if (result || (result = make_folders(p)) || (result = pw_pack_keys(p)) ||
	    (result = pw_pack_rows_begin(p)) || (result = write_buses(p)) ||
	    (result = pw_pack_rows_end(p)) || (result = pw_pack_numbers_write(p)) ||
	    (result = pw_pack_report(p)) ||
	    (result = write_text(p, "recompute.py", pw_pack_recompute)) ||
	    (result = write_text(p, "verify.txt", pw_pack_verify)) ||
	    (result = pw_pack_sums(p, hex)))
		return result;
	return note_end(p, hex);
}

static void clear(struct pw_pack *p)
{
	struct pw_pack_many *const many[] = { &p->buses, &p->files, &p->keys, &p->bad, &p->corrections,
					      &p->chains, &p->faults, &p->matters, &p->holds, &p->purges,
					      &p->recent };
	FILE *const files[] = { p->rows_csv, p->rows_lines, p->beside, p->corrected, p->receipts,
				p->chain_lines, p->chain_names };

	pw_report_free(p->as_csv);
	pw_report_free(p->as_lines);
	for (size_t i = 0; i < sizeof(many) / sizeof(many[0]); i++)
		free(many[i]->item);
	for (size_t i = 0; i < sizeof(files) / sizeof(files[0]); i++)
		if (files[i])
			fclose(files[i]);
}

int pw_pack_write(struct pw_office *o, const struct pw_pack_order *order, const char *dir, char *why,
		  size_t size)
{
	struct pw_pack *p = calloc(1, sizeof(*p));
	unsigned char drawn[16];
	int result;

	if (!p) {
		snprintf(why, size, "there is no memory for a pack");
		return -1;
	}
	p->o = o;
	p->order = order;
	p->dir = dir;
	p->from_ms = pw_hours_moment(order->from, 0);
	p->to_ms = pw_hours_moment(pw_hours_add(order->to, 1), 0);
	randombytes_buf(drawn, sizeof(drawn));
	sodium_bin2hex(p->nonce, sizeof(p->nonce), drawn, sizeof(drawn));
	result = write_all(p);
	snprintf(why, size, "%s", p->why);
	clear(p);
	free(p);
	return result;
}
