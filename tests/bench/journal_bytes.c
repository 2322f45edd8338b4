/* SPDX-License-Identifier: Apache-2.0 */
/*
 * journal_bytes: what an ordinary run and its sweep, walked as it should be, write: bytes and syncs
 * as the recording VFS and its companion saw them (tests/powercut/disk.h), from the end of the start
 * to the orderly stop, the checkpoint included. A line each: name, figure, unit.
 */
#include <stdio.h>
#include <string.h>

#include "powercut/day.h"

#define SWEEPS 24
#define STARTED 2 /* the batch with which a start is over */
#define OBJECTS_MAX 4096

enum { OF_DATABASE, OF_LOG, OF_SEALS, OF_STAMP, OF_OTHER, PLACES };

static unsigned place_of(const char *name)
{
	static const char *const names[] = { "journal.db", "journal.db-wal", "seal.", "alive" };

	for (unsigned i = 0; i < OF_OTHER; i++)
		if (i < OF_SEALS ? strcmp(name, names[i]) == 0
				 : strncmp(name, names[i], strlen(names[i])) == 0)
			return i;
	return OF_OTHER;
}

static void say(const char *name, double figure, const char *unit)
{
	printf("%s %.2f %s\n", name, figure, unit);
}

struct tally {
	uint64_t bytes[PLACES], syncs[PLACES], folder, commits, written;
	uint64_t walk_bytes; /* of the log, from a key-off to the next key-on */
};

/* Was the key off then, in the day? */
static bool is_off(const struct day *d, int64_t at_ms)
{
	bool on = false;

	for (size_t i = 0; i < d->lines && d->line[i].at_ms <= at_ms; i++)
		if (d->line[i].mask >> PW_IGNITION & 1)
			on = d->line[i].levels >> PW_IGNITION & 1;
	return !on;
}

static void take(struct tally *t, const struct day *d, const struct disk_entry *e, unsigned place)
{
	t->folder += e->op == DISK_SYNC_FOLDER;
	if (e->op == DISK_WRITE) {
		t->bytes[place] += e->size;
		t->walk_bytes += place == OF_LOG && is_off(d, e->mono_ms) ? e->size : 0;
	}
	if (e->op != DISK_SYNC)
		return;
	t->syncs[place]++;
	if (place == OF_LOG) { /* without bytes before it, it is a checkpoint's */
		t->commits += t->bytes[OF_LOG] > t->written;
		t->written = t->bytes[OF_LOG];
	}
}

static void tell(const struct tally *t, const struct day *d)
{
	const double sweeps = d->sweeps, commits = (double)(d->batches - STARTED + 1); /* and the end */
	uint64_t bytes = 0, syncs = t->folder;

	for (unsigned i = 0; i < PLACES; i++) {
		bytes += t->bytes[i];
		syncs += t->syncs[i];
	}
	say("commits_a_sweep", commits / sweeps, "");
	say("records_a_sweep", (double)d->records / sweeps, "");
	say("log_syncs_a_commit", (double)t->commits / commits, "");
	say("log_kb_a_commit", (double)t->bytes[OF_LOG] / 1000 / commits, "kB");
	say("log_kb_a_sweep", (double)t->bytes[OF_LOG] / 1000 / sweeps, "kB");
	say("walk_kb_a_sweep", (double)t->walk_bytes / 1000 / sweeps, "kB");
	say("database_kb_a_sweep", (double)t->bytes[OF_DATABASE] / 1000 / sweeps, "kB");
	say("seals_kb_a_sweep", (double)t->bytes[OF_SEALS] / 1000 / sweeps, "kB");
	say("seal_syncs_a_sweep", (double)(t->syncs[OF_SEALS] + t->folder) / sweeps, "");
	say("stamp_syncs_a_sweep", (double)t->syncs[OF_STAMP] / sweeps, "");
	say("syncs_a_sweep", (double)syncs / sweeps, "");
	say("kb_a_sweep", (double)bytes / 1000 / sweeps, "kB");
}

int main(void)
{
	static const char *const walk[] = { "b10-the-walk" };
	static unsigned place[OBJECTS_MAX];
	static struct tally t;
	struct day *d = day_live_of(walk, 1, SWEEPS);

	for (size_t n = 0; n < disk_entries(); n++) {
		const struct disk_entry *e = disk_entry(n);

		if (e->op == DISK_MAKE)
			place[e->object % OBJECTS_MAX] = place_of(e->name);
		if (e->told_batch >= STARTED)
			take(&t, d, e, place[e->object % OBJECTS_MAX]);
	}
	tell(&t, d);
	day_free(d);
	return 0;
}
