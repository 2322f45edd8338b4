/* SPDX-License-Identifier: Apache-2.0 */
/* disk_internal.h - what the log and its two witnesses share. */
#ifndef POSTWALK_TEST_DISK_INTERNAL_H
#define POSTWALK_TEST_DISK_INTERNAL_H

#include <stdatomic.h>
#include <sys/types.h>

#include "disk.h"

#define OBJECTS_MAX 4096

/* All of it is shared. One process writes at a time: the writer (J1). */
struct disk {
	char folder[128];
	pid_t watch;
	atomic_bool recording, hasty;
	_Atomic int64_t mono_ms, wall_ms;
	_Atomic uint64_t told_batch, told_seq;
	size_t entries, bytes;
	unsigned objects;
	ino_t inode[OBJECTS_MAX]; /* of object n + 1; 0: gone */
	struct disk_count above[DISK_KINDS], below[DISK_KINDS];
	struct disk_entry entry[DISK_ENTRIES_MAX];
};

extern struct disk *disk; /* NULL: not opened */

/* -- disk.c ------------------------------------------------------------------------------------ */

_Noreturn void disk_give_up(const char *what);
bool disk_is_recorded(void); /* on, and by another process than the test's own */
struct disk_entry *disk_add(enum disk_op op, unsigned object);
void disk_add_name(enum disk_op op, unsigned object, const char *name, const char *to);
void disk_add_write(unsigned object, const void *what, size_t size, uint64_t at);
void disk_add_count(struct disk_count *c, size_t size);
unsigned disk_object(ino_t inode); /* 0: none */
void disk_make(const char *name, ino_t inode);
enum disk_kind disk_kind_of(const char *name);
/* The name right below the folder; "": the folder itself; NULL: it is elsewhere, or no disk's. */
const char *disk_below(const char *path);

/* -- disk_vfs.c -------------------------------------------------------------------------------- */

void disk_register_vfs(void);
/* The folder was synced: inside a call of the VFS it is logged behind that call. */
void disk_synced_folder(void);

#endif
