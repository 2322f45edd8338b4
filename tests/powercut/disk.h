/* SPDX-License-Identifier: Apache-2.0 */
/*
 * disk.h - an ordered log of all that reaches the disk below one folder while the writer runs.
 *
 * The writer process is forked from the test, so it inherits both witnesses: an SQLite VFS over the
 * unix one, which logs the database's own files (database, write-ahead log, rollback journal), and
 * functions that stand in the place of the C library's, which log every other file and the folder.
 * The log lies in memory that the writer shares. The index of the write-ahead log (-shm) is memory,
 * not disk: SQLite makes it anew after a power cut (sqlite.org, walformat.html section 2).
 *
 * The writer's clocks are told by hand as well.
 */
#ifndef POSTWALK_TEST_DISK_H
#define POSTWALK_TEST_DISK_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define DISK_NAME_MAX 40
#define DISK_ENTRIES_MAX 200000
#define DISK_BYTES_MAX ((size_t)1 << 30)

enum disk_op {
	DISK_MAKE = 1,   /* name: a new, empty file, from now on object */
	DISK_WRITE,      /* object: size bytes at `at` */
	DISK_TRUNCATE,   /* object: to size */
	DISK_SYNC,       /* object: fsync or fdatasync has returned */
	DISK_RENAME,     /* name to to */
	DISK_REMOVE,     /* name */
	DISK_SYNC_FOLDER /* fsync of the folder has returned */
};

struct disk_entry {
	enum disk_op op;
	unsigned object; /* from 1 on */
	uint64_t at, size;
	size_t bytes;    /* where they lie, of a write */
	char name[DISK_NAME_MAX], to[DISK_NAME_MAX];
	/* The last thing that the writer had told as committed when this was begun. */
	uint64_t told_batch, told_seq;
	int64_t mono_ms; /* what the writer's clock said */
};

/* Bytes and calls, counted by what was written to. */
struct disk_count {
	uint64_t bytes, writes, syncs;
};
enum disk_kind { DISK_DATABASE, DISK_LOG, DISK_ROLLBACK, DISK_PLAIN, DISK_FOLDER, DISK_KINDS };

/* Before anything of SQLite is opened. folder: an existing one, its path without links. */
void disk_open(const char *folder);
void disk_record(bool on); /* only what other processes than this one do is recorded */
/* Syncs of this process and of those it forks are not asked of the disk: for replays. */
void disk_hasten(bool on);
/* What the writer's clocks say from now on. */
void disk_clock(int64_t mono_ms, int64_t wall_ms);

size_t disk_entries(void);
const struct disk_entry *disk_entry(size_t n);
const unsigned char *disk_bytes(const struct disk_entry *e);
/* What was told as committed up to now. */
uint64_t disk_told_batch(void);
uint64_t disk_told_seq(void);

/* As the VFS and the C library's calls saw it. */
struct disk_count disk_count(enum disk_kind kind);
struct disk_count disk_count_below(enum disk_kind kind); /* database files, as the C library did */

#endif
