/* SPDX-License-Identifier: Apache-2.0 */
#include "disklog.h"

#include <endian.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define MAGIC UINT64_C(0x6a736677736872)

enum { VERSION = 1, FLUSH = 1, FUA = 2, DISCARD = 4, MARK = 8, ALL_FLAGS = 15 };

enum { SUPERBLOCK_AT = 1024, SUPERBLOCK_SIZE = 1024 };

/* The log's first sector; the numbers are little-endian. */
struct super {
	uint64_t magic, version, entries;
	uint32_t sector_size;
} __attribute__((packed));

/* Begins a sector of the log; the data follow in the next ones. */
struct head {
	uint64_t sector, sectors, flags, data_length;
} __attribute__((packed));

struct entry {
	uint64_t offset, size, flags; /* on the disk, in bytes */
	const unsigned char *data;
};

struct bytes {
	unsigned char *at;
	size_t size;
};

struct pw_disklog {
	struct bytes log, first, disk; /* disk: as it surely is at `sure` */
	struct entry *entries;
	size_t count, sure;
};

static int read_whole(const char *path, struct bytes *bytes)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	struct stat status;
	size_t done = 0;
	ssize_t n = 1;

	if (fd < 0 || fstat(fd, &status) < 0)
		return -errno;
	bytes->at = malloc((size_t)status.st_size + 1);
	bytes->size = (size_t)status.st_size;
	while (bytes->at && done < bytes->size && n > 0) {
		n = read(fd, bytes->at + done, bytes->size - done);
		done += n > 0 ? (size_t)n : 0;
	}
	close(fd);
	if (!bytes->at)
		return -ENOMEM;
	return done == bytes->size ? 0 : -EIO;
}

/* -- the log ------------------------------------------------------------------------------ */

static int64_t entries_of(const struct super *super)
{
	if (le64toh(super->magic) != MAGIC || le64toh(super->version) != VERSION ||
	    le32toh(super->sector_size) != PW_SECTOR || le64toh(super->entries) > INT32_MAX)
		return -EPROTO;
	return (int64_t)le64toh(super->entries);
}

int64_t pw_disklog_now(const char *path)
{
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	struct super super;
	ssize_t n;

	if (fd < 0)
		return -errno;
	n = pread(fd, &super, sizeof(super), 0);
	close(fd);
	return n == (ssize_t)sizeof(super) ? entries_of(&super) : -EPROTO;
}

/* Takes the entry at a place of the log; where the next one is, or 0 when this is none. */
static size_t take_entry(const struct pw_disklog *log, size_t at, struct entry *entry)
{
	struct head head;
	uint64_t sectors;

	if (at + PW_SECTOR > log->log.size)
		return 0;
	memcpy(&head, log->log.at + at, sizeof(head));
	sectors = le64toh(head.sectors);
	entry->flags = le64toh(head.flags);
	if ((entry->flags & ~(uint64_t)ALL_FLAGS) || sectors > log->first.size / PW_SECTOR ||
	    le64toh(head.sector) > log->first.size / PW_SECTOR - sectors)
		return 0;
	entry->offset = le64toh(head.sector) * PW_SECTOR;
	entry->size = sectors * PW_SECTOR;
	entry->data = log->log.at + at + PW_SECTOR;
	if (entry->flags & (DISCARD | MARK) || (entry->flags & FLUSH && sectors > 0))
		return 0; /* guest.c starts the disk without such */
	at += PW_SECTOR + entry->size;
	return at <= log->log.size ? at : 0;
}

static int take_entries(struct pw_disklog *log)
{
	int64_t count = log->log.size < PW_SECTOR ? -EPROTO :
			entries_of((const struct super *)(const void *)log->log.at);
	size_t at = PW_SECTOR;

	if (count < 0)
		return (int)count;
	log->count = (size_t)count;
	log->entries = calloc(log->count + 1, sizeof(*log->entries));
	if (!log->entries)
		return -ENOMEM;
	for (size_t i = 0; i < log->count; i++) {
		at = take_entry(log, at, &log->entries[i]);
		if (at == 0)
			return -EPROTO;
	}
	return 0;
}

int pw_disklog_open(struct pw_disklog **out, const char *path, const char *image)
{
	struct pw_disklog *log = calloc(1, sizeof(*log));
	int status = log ? read_whole(path, &log->log) : -ENOMEM;

	if (status == 0)
		status = read_whole(image, &log->first);
	if (status == 0)
		status = read_whole(image, &log->disk);
	if (status == 0)
		status = take_entries(log);
	if (status < 0) {
		pw_disklog_close(log);
		log = NULL;
	}
	*out = log;
	return status;
}

void pw_disklog_close(struct pw_disklog *log)
{
	if (!log)
		return;
	free(log->log.at);
	free(log->first.at);
	free(log->disk.at);
	free(log->entries);
	free(log);
}

size_t pw_disklog_length(const struct pw_disklog *log)
{
	return log->count;
}

int pw_disklog_is_flush(const struct pw_disklog *log, size_t entry)
{
	return (log->entries[entry].flags & FLUSH) != 0;
}

/* -- cuts --------------------------------------------------------------------------------- */

uint64_t pw_dice(uint64_t *seed)
{
	uint64_t z = *seed += UINT64_C(0x9e3779b97f4a7c15);

	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	return z ^ z >> 31;
}

/* The position right behind the last flush at or before another. */
static size_t flushed(const struct pw_disklog *log, size_t position)
{
	while (position > 0 && !pw_disklog_is_flush(log, position - 1))
		position--;
	return position;
}

size_t pw_disklog_open_writes(const struct pw_disklog *log, size_t position)
{
	size_t count = 0;

	for (size_t i = flushed(log, position); i < position; i++)
		count += log->entries[i].size > 0 && !(log->entries[i].flags & FUA);
	return count;
}

static void put(struct bytes *disk, const struct entry *entry)
{
	memcpy(disk->at + entry->offset, entry->data, entry->size);
}

static void go_to(struct pw_disklog *log, size_t sure)
{
	if (sure < log->sure) {
		memcpy(log->disk.at, log->first.at, log->first.size);
		log->sure = 0;
	}
	for (; log->sure < sure; log->sure++)
		put(&log->disk, &log->entries[log->sure]);
}

/* Leaves out what is zero: most of a young disk is. */
static int put_disk(int fd, const struct bytes *disk)
{
	static const unsigned char zeroes[1 << 14];
	size_t size;

	for (size_t at = 0; at < disk->size; at += size) {
		size = disk->size - at < sizeof(zeroes) ? disk->size - at : sizeof(zeroes);
		if (memcmp(disk->at + at, zeroes, size) != 0 &&
		    pwrite(fd, disk->at + at, size, (off_t)at) != (ssize_t)size)
			return -EIO;
	}
	return ftruncate(fd, (off_t)disk->size) < 0 ? -errno : 0;
}

/*
 * How much of an entry shares one fate, from a place of the disk on. What tears, tears at sectors;
 * but ext4's superblock is kept whole. It is 1 KiB, written in place at each mount, with a
 * checksum at its far end (Documentation/filesystems/ext4/super.rst): torn, no record on the disk
 * can be had, whatever was written and how. That is a matter of disk and file system.
 */
static size_t part_at(const struct entry *entry, size_t at, enum pw_fate fate)
{
	size_t part = entry->offset + at == SUPERBLOCK_AT ? SUPERBLOCK_SIZE : PW_SECTOR;

	return fate != PW_FATE_TORN || part > entry->size - at ? entry->size - at : part;
}

static int put_parts(int fd, const struct entry *entry, enum pw_fate fate, uint64_t in_four,
		     uint64_t *seed)
{
	size_t part;

	for (size_t at = 0; at < entry->size; at += part) {
		part = part_at(entry, at, fate);
		if (pw_dice(seed) % 4 < in_four &&
		    pwrite(fd, entry->data + at, part, (off_t)(entry->offset + at)) !=
		    (ssize_t)part)
			return -EIO;
	}
	return 0;
}

static int put_open_writes(int fd, const struct pw_disklog *log, size_t position,
			   enum pw_fate fate, uint64_t seed)
{
	uint64_t in_four = 1 + pw_dice(&seed) % 3; /* how many of four are kept: 1, 2 or 3 */
	int status = 0;

	if (fate == PW_FATE_DROPPED || fate == PW_FATE_KEPT)
		in_four = fate == PW_FATE_KEPT ? 4 : 0;
	for (size_t i = log->sure; i < position && status == 0; i++) {
		const struct entry *entry = &log->entries[i];

		status = put_parts(fd, entry, fate, entry->flags & FUA ? 4 : in_four, &seed);
	}
	return status;
}

int pw_disklog_cut(struct pw_disklog *log, size_t position, enum pw_fate fate, uint64_t seed,
		   const char *path)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
	int status;

	if (fd < 0)
		return -errno;
	go_to(log, flushed(log, position));
	status = put_disk(fd, &log->disk);
	if (status == 0)
		status = put_open_writes(fd, log, position, fate, seed);
	close(fd);
	return status;
}
