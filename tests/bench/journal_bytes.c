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

int main(void)
{
	static const char *const walk[] = { "b10-the-walk" };
	static unsigned place[OBJECTS_MAX];
	uint64_t bytes[PLACES] = { 0 }, syncs[PLACES] = { 0 };
	uint64_t folder = 0, all = 0, synced, begun = 0;
	struct day *d = day_live_of(walk, 1, SWEEPS);
	double commits, sweeps = d->sweeps;

	for (size_t n = 0; n < disk_entries(); n++) {
		const struct disk_entry *e = disk_entry(n);

		if (e->op == DISK_MAKE)
			place[e->object % OBJECTS_MAX] = place_of(e->name);
		if (e->told_batch < 2) /* the start */
			begun = e->told_batch;
		else if (e->op == DISK_WRITE)
			bytes[place[e->object % OBJECTS_MAX]] += e->size;
		else if (e->op == DISK_SYNC)
			syncs[place[e->object % OBJECTS_MAX]]++;
		else
			folder += e->op == DISK_SYNC_FOLDER;
	}
	commits = (double)(d->batches - begun - 1);
	synced = folder;
	for (unsigned i = 0; i < PLACES; i++) {
		all += bytes[i];
		synced += syncs[i];
	}
	say("commits_a_sweep", commits / sweeps, "");
	say("records_a_sweep", (double)d->records / sweeps, "");
	say("log_syncs_a_commit", (double)syncs[OF_LOG] / commits, "");
	say("log_kb_a_commit", (double)bytes[OF_LOG] / 1000 / commits, "kB");
	say("log_kb_a_sweep", (double)bytes[OF_LOG] / 1000 / sweeps, "kB");
	say("database_kb_a_sweep", (double)bytes[OF_DATABASE] / 1000 / sweeps, "kB");
	say("seals_kb_a_sweep", (double)bytes[OF_SEALS] / 1000 / sweeps, "kB");
	say("seal_syncs_a_sweep", (double)(syncs[OF_SEALS] + folder) / sweeps, "");
	say("stamp_syncs_a_sweep", (double)syncs[OF_STAMP] / sweeps, "");
	say("syncs_a_sweep", (double)synced / sweeps, "");
	say("kb_a_sweep", (double)all / 1000 / sweeps, "kB");
	day_free(d);
	return 0;
}
