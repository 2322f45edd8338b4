/* SPDX-License-Identifier: Apache-2.0 */
#include "disk_internal.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#define DATABASE "journal.db"

struct disk *disk;
static unsigned char *bytes;

_Noreturn void disk_give_up(const char *what)
{
	fprintf(stderr, "disk: %s\n", what);
	abort();
}

bool disk_is_recorded(void)
{
	return disk && atomic_load(&disk->recording) && getpid() != disk->watch;
}

/* -- the log ----------------------------------------------------------------------------------- */

struct disk_entry *disk_add(enum disk_op op, unsigned object)
{
	struct disk_entry *e = &disk->entry[disk->entries];

	if (disk->entries == DISK_ENTRIES_MAX)
		disk_give_up("the log is full");
	*e = (struct disk_entry){
		.op = op, .object = object,
		.told_batch = atomic_load(&disk->told_batch),
		.told_seq = atomic_load(&disk->told_seq),
		.mono_ms = atomic_load(&disk->mono_ms),
	};
	disk->entries++;
	return e;
}

void disk_add_name(enum disk_op op, unsigned object, const char *name, const char *to)
{
	struct disk_entry *e = disk_add(op, object);

	snprintf(e->name, sizeof(e->name), "%s", name);
	snprintf(e->to, sizeof(e->to), "%s", to);
}

void disk_add_write(unsigned object, const void *what, size_t size, uint64_t at)
{
	struct disk_entry *e = disk_add(DISK_WRITE, object);

	if (disk->bytes + size > DISK_BYTES_MAX)
		disk_give_up("no room for more bytes");
	e->at = at;
	e->size = size;
	e->bytes = disk->bytes;
	memcpy(bytes + disk->bytes, what, size);
	disk->bytes += size;
}

unsigned disk_object(ino_t inode)
{
	for (unsigned n = disk->objects; n > 0; n--)
		if (disk->inode[n - 1] == inode)
			return n;
	return 0;
}

void disk_make(const char *name, ino_t inode)
{
	const unsigned before = disk_object(inode);

	if (disk->objects == OBJECTS_MAX)
		disk_give_up("too many files");
	if (before)
		disk->inode[before - 1] = 0; /* the number of one that was removed */
	disk->inode[disk->objects++] = inode;
	disk_add_name(DISK_MAKE, disk->objects, name, "");
}

void disk_add_count(struct disk_count *c, size_t size)
{
	c->bytes += size;
	c->writes++;
}

enum disk_kind disk_kind_of(const char *name)
{
	if (strcmp(name, DATABASE) == 0)
		return DISK_DATABASE;
	if (strcmp(name, DATABASE "-wal") == 0)
		return DISK_LOG;
	return strcmp(name, DATABASE "-journal") == 0 ? DISK_ROLLBACK : DISK_PLAIN;
}

const char *disk_below(const char *path)
{
	const size_t n = strlen(disk->folder);

	if (strncmp(path, disk->folder, n) != 0 || (path[n] != '/' && path[n] != '\0'))
		return NULL;
	path += n + (path[n] == '/');
	return strcmp(path, DATABASE "-shm") == 0 || strstr(path, " (deleted)") ? NULL : path;
}

/* -- the front door ---------------------------------------------------------------------------- */

static void *shared(size_t size)
{
	void *at = mmap(NULL, size, PROT_READ | PROT_WRITE,
			MAP_SHARED | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);

	if (at == MAP_FAILED)
		disk_give_up("no memory");
	return at;
}

void disk_open(const char *folder)
{
	disk = shared(sizeof(*disk));
	bytes = shared(DISK_BYTES_MAX);
	snprintf(disk->folder, sizeof(disk->folder), "%s", folder);
	disk->watch = getpid();
	disk_register_vfs();
}

void disk_record(bool on)
{
	atomic_store(&disk->recording, on);
}

void disk_hasten(bool on)
{
	atomic_store(&disk->hasty, on);
}

void disk_clock(int64_t mono_ms, int64_t wall_ms)
{
	atomic_store(&disk->mono_ms, mono_ms);
	atomic_store(&disk->wall_ms, wall_ms);
}

size_t disk_entries(void)
{
	return disk->entries;
}

const struct disk_entry *disk_entry(size_t n)
{
	return &disk->entry[n];
}

const unsigned char *disk_bytes(const struct disk_entry *e)
{
	return bytes + e->bytes;
}

uint64_t disk_told_batch(void)
{
	return atomic_load(&disk->told_batch);
}

uint64_t disk_told_seq(void)
{
	return atomic_load(&disk->told_seq);
}

struct disk_count disk_count(enum disk_kind kind)
{
	return disk->above[kind];
}

struct disk_count disk_count_below(enum disk_kind kind)
{
	return disk->below[kind];
}
