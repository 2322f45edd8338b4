/* SPDX-License-Identifier: Apache-2.0 */
/* The second witness: functions in the place of the C library's, for this program and the libraries
 * that it uses. */
#undef _FORTIFY_SOURCE /* its checked names would pass these functions by */

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#include "disk_internal.h"
#include "record/writer_internal.h"

/* -- names ------------------------------------------------------------------------------------- */

static const char *name_of_fd(int fd, char path[PATH_MAX])
{
	char link[64];
	ssize_t n;

	snprintf(link, sizeof(link), "/proc/self/fd/%d", fd);
	n = readlink(link, path, PATH_MAX - 1);
	if (n < 0)
		return NULL;
	path[n] = '\0';
	return disk_below(path);
}

static const char *name_at(int dir, const char *name, char path[PATH_MAX])
{
	char above[PATH_MAX];

	if (name[0] == '/' || dir == AT_FDCWD) {
		snprintf(path, PATH_MAX, "%s", name);
		return disk_below(path);
	}
	if (!name_of_fd(dir, above))
		return NULL;
	snprintf(path, PATH_MAX, "%.2000s/%.2000s", above, name);
	return disk_below(path);
}

/* The object behind fd, when it is a plain file of the folder. */
static unsigned plain_object(int fd, enum disk_kind *kind)
{
	char path[PATH_MAX];
	struct stat s;
	const char *name = disk_is_recorded() ? name_of_fd(fd, path) : NULL;
	unsigned object;

	*kind = DISK_KINDS;
	if (!name || name[0] == '\0')
		return 0;
	*kind = disk_kind_of(name);
	if (*kind != DISK_PLAIN)
		return 0;
	object = fstat(fd, &s) == 0 ? disk_object(s.st_ino) : 0;
	if (!object)
		disk_give_up("a file that was not seen to be made is written");
	return object;
}

/* -- in the place of the C library's calls ----------------------------------------------------- */

static int open_recorded(int dir, const char *file, int flags, mode_t mode)
{
	char path[PATH_MAX];
	struct stat s;
	const bool makes = (flags & O_CREAT) && disk_is_recorded();
	const char *name = makes ? name_at(dir, file, path) : NULL;
	bool fresh = name && disk_kind_of(name) == DISK_PLAIN && fstatat(dir, file, &s, 0) < 0;
	int fd = (int)syscall(SYS_openat, dir, file, flags, mode);

	if (fd >= 0 && (flags & O_TRUNC) && !fresh && name)
		disk_give_up("a file is cut as it is opened: not foreseen");
	if (fd >= 0 && fresh && fstat(fd, &s) == 0)
		disk_make(name, s.st_ino);
	return fd;
}

#define MODE_OF(flags) \
	mode_t mode = 0; \
	if ((flags) & (O_CREAT | O_TMPFILE)) { \
		va_list args; \
		va_start(args, flags); \
		mode = va_arg(args, mode_t); \
		va_end(args); \
	}

int openat(int dir, const char *file, int flags, ...)
{
	MODE_OF(flags)
	return open_recorded(dir, file, flags, mode);
}

int open(const char *file, int flags, ...)
{
	MODE_OF(flags)
	return open_recorded(AT_FDCWD, file, flags, mode);
}

int open64(const char *file, int flags, ...)
{
	MODE_OF(flags)
	return open_recorded(AT_FDCWD, file, flags | O_LARGEFILE, mode);
}

ssize_t pwrite64(int fd, const void *what, size_t size, off64_t at)
{
	ssize_t n = (ssize_t)syscall(SYS_pwrite64, fd, what, size, at);
	enum disk_kind kind;
	unsigned object;

	if (n <= 0)
		return n;
	object = plain_object(fd, &kind);
	if (object)
		disk_add_write(object, what, (size_t)n, (uint64_t)at);
	if (object)
		disk_add_count(&disk->above[DISK_PLAIN], (size_t)n);
	else if (kind < DISK_PLAIN)
		disk_add_count(&disk->below[kind], (size_t)n);
	return n;
}

ssize_t pwrite(int fd, const void *what, size_t size, off_t at)
{
	return pwrite64(fd, what, size, at);
}

ssize_t write(int fd, const void *what, size_t size)
{
	off_t at = disk_is_recorded() ? lseek(fd, 0, SEEK_CUR) : 0;
	ssize_t n = (ssize_t)syscall(SYS_write, fd, what, size);
	enum disk_kind kind;
	unsigned object = n > 0 ? plain_object(fd, &kind) : 0;

	if (object) {
		disk_add_write(object, what, (size_t)n, (uint64_t)at);
		disk_add_count(&disk->above[DISK_PLAIN], (size_t)n);
	}
	return n;
}

int ftruncate64(int fd, off64_t size)
{
	int result = (int)syscall(SYS_ftruncate, fd, size);
	enum disk_kind kind;
	unsigned object = result == 0 ? plain_object(fd, &kind) : 0;

	if (object)
		disk_add(DISK_TRUNCATE, object)->size = (uint64_t)size;
	return result;
}

int ftruncate(int fd, off_t size)
{
	return ftruncate64(fd, size);
}

static int sync_recorded(long call, int fd)
{
	char path[PATH_MAX];
	const char *name = NULL;
	enum disk_kind kind;
	unsigned object;
	int result = disk && atomic_load(&disk->hasty) ? 0 : (int)syscall(call, fd);

	if (result < 0 || !disk_is_recorded())
		return result;
	object = plain_object(fd, &kind);
	if (object) {
		disk_add(DISK_SYNC, object);
		disk->above[DISK_PLAIN].syncs++;
	} else if (kind < DISK_PLAIN) {
		disk->below[kind].syncs++;
	} else if ((name = name_of_fd(fd, path)) != NULL && name[0] == '\0') {
		disk_synced_folder();
	}
	return result;
}

int fsync(int fd)
{
	return sync_recorded(SYS_fsync, fd);
}

int fdatasync(int fd)
{
	return sync_recorded(SYS_fdatasync, fd);
}

int renameat(int from, const char *file, int to, const char *fresh)
{
	char path[2][PATH_MAX];
	const char *name = disk_is_recorded() ? name_at(from, file, path[0]) : NULL;
	const char *other = name ? name_at(to, fresh, path[1]) : NULL;
	int result = (int)syscall(SYS_renameat2, from, file, to, fresh, 0);

	if (result == 0 && other)
		disk_add_name(DISK_RENAME, 0, name, other);
	return result;
}

int rename(const char *file, const char *fresh)
{
	return renameat(AT_FDCWD, file, AT_FDCWD, fresh);
}

int unlinkat(int dir, const char *file, int flags)
{
	char path[PATH_MAX];
	const char *name = disk_is_recorded() ? name_at(dir, file, path) : NULL;
	int result = (int)syscall(SYS_unlinkat, dir, file, flags);

	if (result == 0 && name && disk_kind_of(name) == DISK_PLAIN)
		disk_add_name(DISK_REMOVE, 0, name, "");
	return result;
}

int unlink(const char *file)
{
	return unlinkat(AT_FDCWD, file, 0);
}

/* The writer's clocks stand where they are told to. */
int clock_gettime(clockid_t id, struct timespec *t)
{
	int64_t ms = 0;

	if (disk_is_recorded() && (id == CLOCK_BOOTTIME || id == CLOCK_REALTIME))
		ms = id == CLOCK_REALTIME ? atomic_load(&disk->wall_ms)
					  : atomic_load(&disk->mono_ms);
	if (ms == 0)
		return (int)syscall(SYS_clock_gettime, id, t);
	*t = (struct timespec){ .tv_sec = ms / 1000, .tv_nsec = ms % 1000 * 1000000 };
	return 0;
}

/* What the writer tells counts as told before it can be read. */
ssize_t send(int fd, const void *what, size_t size, int flags)
{
	const struct pw_message *m = what;

	if (disk_is_recorded() && size >= sizeof(m->head) &&
	    m->head.version == PW_MESSAGE_VERSION &&
	    (m->head.kind == PW_M_DONE || m->head.kind == PW_M_READY)) {
		atomic_store(&disk->told_batch, m->head.batch);
		atomic_store(&disk->told_seq, m->head.kind == PW_M_DONE ? m->of.done.seq
									: m->of.ready.seq);
	}
	return (ssize_t)syscall(SYS_sendto, fd, what, size, flags, NULL, 0);
}
