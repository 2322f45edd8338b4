/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What a disk with a write cache was given, in the order in which it said that it was done, and
 * the states in which a power cut may leave it.
 *
 * The log's format is that of the Linux kernel's log-writes target for device mapper
 * (Documentation/admin-guide/device-mapper/log-writes.rst, drivers/md/dm-log-writes.c), which
 * QEMU's blklogwrites driver keeps to (block/blklogwrites.c).
 *
 * Positions count entries. A cut at a position comes after that many: writes before the last
 * flush before it are on the disk; of those after it each is or is not, and the disk chooses.
 * Errors are negative errno values; -EPROTO when it is no such log.
 */
#ifndef POSTWALK_TESTS_DISKLOG_H
#define POSTWALK_TESTS_DISKLOG_H

#include <stddef.h>
#include <stdint.h>

enum { PW_SECTOR = 512 };

/* What becomes of writes that no flush has covered. */
enum pw_fate {
	PW_FATE_DROPPED = 1, /* none is on the disk */
	PW_FATE_KEPT,        /* all are */
	PW_FATE_CHOSEN,      /* each by a throw of the dice */
	PW_FATE_TORN,        /* each of their sectors by one; ext4's superblock as a whole */
	PW_FATES
};

struct pw_disklog;

/* Entries that are surely in a log that is still being written: all that came before the last
 * flush. What the board heard of before is among them. */
int64_t pw_disklog_now(const char *path);

/* A log that is at rest, of a disk that held that image before its first entry. Both are read
 * whole; free by pw_disklog_close, NULL is fine. */
int pw_disklog_open(struct pw_disklog **log, const char *path, const char *image);
void pw_disklog_close(struct pw_disklog *log);

size_t pw_disklog_length(const struct pw_disklog *log);
int pw_disklog_is_flush(const struct pw_disklog *log, size_t entry);
/* Of how many writes the fate is open at that position. */
size_t pw_disklog_open_writes(const struct pw_disklog *log, size_t position);

/* Writes the disk's state after that cut into a file, over whatever it held. The same seed throws
 * the same dice. Quick when positions go up from call to call. */
int pw_disklog_cut(struct pw_disklog *log, size_t position, enum pw_fate fate, uint64_t seed,
		   const char *path);

/* The next number of a seed's (splitmix64). */
uint64_t pw_dice(uint64_t *seed);

#endif
