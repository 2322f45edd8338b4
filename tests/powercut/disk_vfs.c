/* SPDX-License-Identifier: Apache-2.0 */
/* The first witness: an SQLite VFS over the unix one. What is not ours goes straight through. */
#include "disk_internal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static unsigned folder_syncs; /* inside a call, to be logged behind it */
static bool in_vfs;

struct shim {
	sqlite3_file base;
	unsigned object; /* 0: not recorded */
	enum disk_kind kind;
	char name[DISK_NAME_MAX];
};

static sqlite3_vfs *under(sqlite3_vfs *vfs)
{
	return vfs->pAppData;
}

static sqlite3_file *real(sqlite3_file *f)
{
	return (sqlite3_file *)(void *)((struct shim *)(void *)f + 1);
}

void disk_synced_folder(void)
{
	disk->above[DISK_FOLDER].syncs++;
	if (in_vfs)
		folder_syncs++;
	else
		disk_add(DISK_SYNC_FOLDER, 0);
}

static void log_folder_syncs(void)
{
	for (; folder_syncs > 0; folder_syncs--)
		disk_add(DISK_SYNC_FOLDER, 0);
	in_vfs = false;
}

static int shim_close(sqlite3_file *f)
{
	return real(f)->pMethods->xClose(real(f));
}

static int shim_read(sqlite3_file *f, void *into, int size, sqlite3_int64 at)
{
	return real(f)->pMethods->xRead(real(f), into, size, at);
}

static int shim_write(sqlite3_file *f, const void *what, int size, sqlite3_int64 at)
{
	const struct shim *s = (const struct shim *)(const void *)f;
	int result = real(f)->pMethods->xWrite(real(f), what, size, at);

	if (result == SQLITE_OK && s->object && disk_is_recorded()) {
		disk_add_write(s->object, what, (size_t)size, (uint64_t)at);
		disk_add_count(&disk->above[s->kind], (size_t)size);
	}
	return result;
}

static int shim_truncate(sqlite3_file *f, sqlite3_int64 size)
{
	const struct shim *s = (const struct shim *)(const void *)f;
	int result = real(f)->pMethods->xTruncate(real(f), size);

	if (result == SQLITE_OK && s->object && disk_is_recorded())
		disk_add(DISK_TRUNCATE, s->object)->size = (uint64_t)size;
	return result;
}

static int shim_sync(sqlite3_file *f, int flags)
{
	const struct shim *s = (const struct shim *)(const void *)f;
	const bool kept = s->object && disk_is_recorded();
	int result;

	in_vfs = kept;
	result = real(f)->pMethods->xSync(real(f), flags);
	if (result == SQLITE_OK && kept) {
		disk_add(DISK_SYNC, s->object);
		disk->above[s->kind].syncs++;
	}
	log_folder_syncs();
	return result;
}

static int shim_size(sqlite3_file *f, sqlite3_int64 *size)
{
	return real(f)->pMethods->xFileSize(real(f), size);
}

static int shim_lock(sqlite3_file *f, int level)
{
	return real(f)->pMethods->xLock(real(f), level);
}

static int shim_unlock(sqlite3_file *f, int level)
{
	return real(f)->pMethods->xUnlock(real(f), level);
}

static int shim_reserved(sqlite3_file *f, int *out)
{
	return real(f)->pMethods->xCheckReservedLock(real(f), out);
}

static int shim_control(sqlite3_file *f, int what, void *arg)
{
	return real(f)->pMethods->xFileControl(real(f), what, arg);
}

static int shim_sector(sqlite3_file *f)
{
	return real(f)->pMethods->xSectorSize(real(f));
}

static int shim_device(sqlite3_file *f)
{
	return real(f)->pMethods->xDeviceCharacteristics(real(f));
}

static int shim_shm_map(sqlite3_file *f, int page, int size, int extend, void volatile **out)
{
	return real(f)->pMethods->xShmMap(real(f), page, size, extend, out);
}

static int shim_shm_lock(sqlite3_file *f, int offset, int n, int flags)
{
	return real(f)->pMethods->xShmLock(real(f), offset, n, flags);
}

static void shim_shm_barrier(sqlite3_file *f)
{
	real(f)->pMethods->xShmBarrier(real(f));
}

static int shim_shm_unmap(sqlite3_file *f, int remove_it)
{
	return real(f)->pMethods->xShmUnmap(real(f), remove_it);
}

/* Version 2: without xFetch, nothing is written through a mapping. */
static const sqlite3_io_methods shim_methods = {
	.iVersion = 2, .xClose = shim_close, .xRead = shim_read, .xWrite = shim_write,
	.xTruncate = shim_truncate, .xSync = shim_sync, .xFileSize = shim_size,
	.xLock = shim_lock, .xUnlock = shim_unlock, .xCheckReservedLock = shim_reserved,
	.xFileControl = shim_control, .xSectorSize = shim_sector,
	.xDeviceCharacteristics = shim_device, .xShmMap = shim_shm_map,
	.xShmLock = shim_shm_lock, .xShmBarrier = shim_shm_barrier, .xShmUnmap = shim_shm_unmap,
};

static void know(struct shim *s, const char *path, bool fresh)
{
	const char *name = disk_below(path);
	struct stat st;

	if (!name || name[0] == '\0' || stat(path, &st) < 0)
		return;
	s->kind = disk_kind_of(name);
	if (s->kind == DISK_PLAIN)
		disk_give_up("a database file of an unknown name");
	snprintf(s->name, sizeof(s->name), "%s", name);
	if (fresh)
		disk_make(name, st.st_ino);
	s->object = disk_object(st.st_ino);
	if (!s->object)
		disk_give_up("a database file that was not seen to be made");
}

static int shim_open(sqlite3_vfs *vfs, const char *path, sqlite3_file *f, int flags, int *got)
{
	struct shim *s = (struct shim *)(void *)f;
	const bool fresh = path && access(path, F_OK) < 0;
	int result;

	*s = (struct shim){ .kind = DISK_KINDS };
	result = under(vfs)->xOpen(under(vfs), path, real(f), flags, got);
	if (real(f)->pMethods)
		f->pMethods = &shim_methods;
	if (result == SQLITE_OK && path && disk_is_recorded())
		know(s, path, fresh);
	return result;
}

static int shim_delete(sqlite3_vfs *vfs, const char *path, int sync_folder)
{
	const char *name = disk_is_recorded() ? disk_below(path) : NULL;
	const bool there = name && access(path, F_OK) == 0;
	int result;

	in_vfs = name != NULL;
	result = under(vfs)->xDelete(under(vfs), path, sync_folder);
	if (result == SQLITE_OK && there)
		disk_add_name(DISK_REMOVE, 0, name, "");
	log_folder_syncs();
	return result;
}

void disk_register_vfs(void)
{
	static sqlite3_vfs vfs;
	sqlite3_vfs *unix_vfs = sqlite3_vfs_find("unix");

	vfs = *unix_vfs; /* what is not ours goes straight to it */
	vfs.zName = "recording";
	vfs.pNext = NULL;
	vfs.pAppData = unix_vfs;
	vfs.szOsFile = (int)sizeof(struct shim) + unix_vfs->szOsFile;
	vfs.xOpen = shim_open;
	vfs.xDelete = shim_delete;
	if (sqlite3_vfs_register(&vfs, 1) != SQLITE_OK)
		disk_give_up("SQLite does not take the VFS");
}
