/* SPDX-License-Identifier: Apache-2.0 */
/* Takes the place of the C library's calls that change files; each goes on to the kernel. */
#include "shim.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

#define FDS 64

static struct shim *shim;       /* NULL: nobody tells */
static bool short_of_space;     /* the last write stopped short: the next one is refused */
static bool sync_failed[FDS];   /* by descriptor */

__attribute__((constructor))
static void attach(void)
{
	const char *path = getenv("POSTWALK_SHIM");
	int fd = path ? (int)syscall(SYS_openat, AT_FDCWD, path, O_RDWR | O_CLOEXEC) : -1;
	void *page;

	if (fd < 0)
		return;
	page = mmap(NULL, sizeof(*shim), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
	syscall(SYS_close, fd);
	if (page != MAP_FAILED)
		shim = page;
}

/* -- which file is it? ------------------------------------------------------------------------- */

static bool is_writer(void)
{
	char name[16] = "";

	return shim && prctl(PR_GET_NAME, name) == 0 && strcmp(name, "postwalk-writer") == 0;
}

/* The name within the state folder of that path; false: it is not in there. */
static bool within(const char *path, char name[SHIM_NAME])
{
	size_t n = strlen(shim->dir);

	if (strncmp(path, shim->dir, n) != 0 || (path[n] != '/' && path[n] != '\0'))
		return false;
	snprintf(name, SHIM_NAME, "%.39s", path[n] == '\0' ? "." : path + n + 1);
	return true;
}

static bool of_fd(int fd, char name[SHIM_NAME])
{
	char link[32], path[PATH_MAX];
	ssize_t n;

	if (!is_writer())
		return false;
	snprintf(link, sizeof(link), "/proc/self/fd/%d", fd);
	n = readlink(link, path, sizeof(path) - 1);
	path[n > 0 ? n : 0] = '\0';
	return within(path, name);
}

static bool of_path(int dir, const char *path, char name[SHIM_NAME])
{
	char folder[SHIM_NAME];

	if (!is_writer())
		return false;
	if (path[0] == '/')
		return within(path, name);
	if (dir == AT_FDCWD || !of_fd(dir, folder) || strcmp(folder, ".") != 0)
		return false;
	snprintf(name, SHIM_NAME, "%.39s", path);
	return true;
}

/* -- what is on the disk ----------------------------------------------------------------------- */

static struct shim_file *file_of(const char *name)
{
	for (size_t i = 0; i < SHIM_FILES; i++)
		if (strcmp(shim->file[i].name, name) == 0)
			return &shim->file[i];
	return NULL;
}

static struct shim_file *file_made(const char *name)
{
	struct shim_file *f = file_of(name);

	if (f || !(f = file_of(""))) {
		shim->full = shim->full || !f;
		return f;
	}
	snprintf(f->name, sizeof(f->name), "%s", name);
	return f;
}

static void add(struct shim_ranges *r, int64_t from, int64_t to)
{
	for (unsigned i = 0; i < r->count; i++) {
		if (to < r->at[i].from || from > r->at[i].to)
			continue;
		from = from < r->at[i].from ? from : r->at[i].from;
		to = to > r->at[i].to ? to : r->at[i].to;
		r->at[i--] = r->at[--r->count];
	}
	if (r->count < SHIM_RANGES)
		r->at[r->count++] = (struct shim_range){ from, to };
	else
		shim->full = true;
}

static void take_away(struct shim_ranges *r, int64_t from, int64_t to)
{
	const struct shim_ranges before = *r;

	r->count = 0;
	for (unsigned i = 0; i < before.count; i++) {
		const struct shim_range b = before.at[i];

		if (b.from < from)
			add(r, b.from, b.to < from ? b.to : from);
		if (b.to > to)
			add(r, b.from > to ? b.from : to, b.to);
	}
}

/* The file itself is written whole from the log after a sync that failed: that is no retry. */
static bool is_log(const char *name)
{
	return strcmp(name, "journal.db-wal") == 0 || strcmp(name, "journal.db-journal") == 0;
}

static void wrote(int fd, const char *name, int64_t from, int64_t to)
{
	struct shim_file *f = file_made(name);

	if (fd < FDS && sync_failed[fd] && is_log(name))
		atomic_fetch_add(&shim->reused, 1);
	if (!f)
		return;
	take_away(&f->lost, from, to);
	add(&f->written, from, to);
}

static void synced(int fd, const char *name, bool well)
{
	struct shim_file *f = file_made(name);

	if (!well && fd < FDS)
		sync_failed[fd] = true;
	if (!f)
		return;
	for (unsigned i = 0; !well && i < f->written.count; i++)
		add(&f->lost, f->written.at[i].from, f->written.at[i].to);
	f->written.count = 0;
}

static void forget(const char *name)
{
	struct shim_file *f = file_of(name);

	if (f)
		memset(f, 0, sizeof(*f));
}

/* -- what is to become of a call --------------------------------------------------------------- */

static bool strikes(int nth, int n)
{
	return n == nth || (n > nth && shim->for_good);
}

static bool counted(const char *what, const char *name)
{
	int nth = shim->nth, n;
	struct timespec t;

	if (nth == 0)
		return false;
	n = atomic_fetch_add(&shim->calls, 1) + 1;
	if (n <= SHIM_CALLS) {
		struct shim_call *c = &shim->call[n - 1];

		snprintf(c->what, sizeof(c->what), "%s", what);
		snprintf(c->name, sizeof(c->name), "%s", name);
		c->struck = strikes(nth, n);
	}
	if (!strikes(nth, n))
		return false;
	if (n == nth) {
		clock_gettime(CLOCK_BOOTTIME, &t);
		shim->struck_ms = (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
	}
	atomic_fetch_add(&shim->struck, 1);
	return true;
}

/* True: errno is what the disk says. space: can it be short of it here? */
static bool fails(const char *what, const char *name, bool space)
{
	int error = shim->error;

	if (error == 0 || (error == ENOSPC && !space) || !counted(what, name))
		return false;
	errno = error;
	return true;
}

static void stall(const char *what, const char *name)
{
	struct timespec left = { shim->stall_ms / 1000, shim->stall_ms % 1000 * 1000000L };

	if (shim->stall_ms > 0 && counted(what, name))
		while (nanosleep(&left, &left) < 0 && errno == EINTR)
			;
}

/* -- the calls --------------------------------------------------------------------------------- */

static ssize_t put(int fd, const void *bytes, size_t n, int64_t at)
{
	return at < 0 ? syscall(SYS_write, fd, bytes, n) : syscall(SYS_pwrite64, fd, bytes, n, at);
}

/* How much of it there is room for: 0: nothing. */
static size_t room(size_t n, int64_t from)
{
	size_t left = (size_t)(SHIM_BLOCK - from % SHIM_BLOCK);

	return shim->error == ENOSPC && n > left ? left : 0;
}

static ssize_t put_checked(const char *what, int fd, const void *bytes, size_t n, int64_t at)
{
	char name[SHIM_NAME];
	int64_t from;
	ssize_t done;

	if (!of_fd(fd, name))
		return put(fd, bytes, n, at);
	from = at < 0 ? lseek(fd, 0, SEEK_CUR) : at;
	if (short_of_space && shim->nth != 0) {
		short_of_space = false;
		errno = ENOSPC;
		return -1;
	}
	if (fails(what, name, true)) {
		n = room(n, from);
		if (n == 0)
			return -1;
		short_of_space = true;
	}
	done = put(fd, bytes, n, at);
	if (done > 0)
		wrote(fd, name, from, from + done);
	return done;
}

ssize_t write(int fd, const void *bytes, size_t n)
{
	return put_checked("write", fd, bytes, n, -1);
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off64_t at)
{
	return put_checked("pwrite", fd, bytes, n, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t n, off_t at)
{
	return put_checked("pwrite", fd, bytes, n, at);
}

static int sync_checked(const char *what, long number, int fd)
{
	char name[SHIM_NAME];
	int result = -1;

	if (!of_fd(fd, name))
		return (int)syscall(number, fd);
	stall(what, name);
	if (!fails(what, name, true))
		result = (int)syscall(number, fd);
	synced(fd, name, result == 0);
	return result;
}

int fsync(int fd)
{
	return sync_checked("fsync", SYS_fsync, fd);
}

int fdatasync(int fd)
{
	return sync_checked("fdatasync", SYS_fdatasync, fd);
}

int close(int fd)
{
	if (fd >= 0 && fd < FDS)
		sync_failed[fd] = false;
	return (int)syscall(SYS_close, fd);
}

int ftruncate64(int fd, off64_t length)
{
	char name[SHIM_NAME];
	struct shim_file *f;
	int result;

	if (!of_fd(fd, name))
		return (int)syscall(SYS_ftruncate, fd, length);
	if (fails("ftruncate", name, false))
		return -1;
	result = (int)syscall(SYS_ftruncate, fd, length);
	f = result == 0 ? file_of(name) : NULL;
	if (f) {
		take_away(&f->written, length, INT64_MAX);
		take_away(&f->lost, length, INT64_MAX);
	}
	return result;
}

int ftruncate(int fd, off_t length)
{
	return ftruncate64(fd, length);
}

static bool is_there(int dir, const char *path)
{
	return syscall(SYS_faccessat, dir, path, F_OK) == 0;
}

static int open_checked(int dir, const char *path, int flags, mode_t mode)
{
	char name[SHIM_NAME];

	if (flags & O_CREAT && of_path(dir, path, name) && !is_there(dir, path)
	    && fails("open", name, true))
		return -1;
	return (int)syscall(SYS_openat, dir, path, flags, mode);
}

static mode_t mode_of(int flags, va_list args)
{
	return flags & (O_CREAT | (O_TMPFILE & ~O_DIRECTORY)) ? va_arg(args, mode_t) : 0;
}

int openat64(int dir, const char *path, int flags, ...)
{
	va_list args;
	mode_t mode;

	va_start(args, flags);
	mode = mode_of(flags, args);
	va_end(args);
	return open_checked(dir, path, flags, mode);
}

int openat(int dir, const char *path, int flags, ...)
{
	va_list args;
	mode_t mode;

	va_start(args, flags);
	mode = mode_of(flags, args);
	va_end(args);
	return open_checked(dir, path, flags, mode);
}

int open64(const char *path, int flags, ...)
{
	va_list args;
	mode_t mode;

	va_start(args, flags);
	mode = mode_of(flags, args);
	va_end(args);
	return open_checked(AT_FDCWD, path, flags, mode);
}

int open(const char *path, int flags, ...)
{
	va_list args;
	mode_t mode;

	va_start(args, flags);
	mode = mode_of(flags, args);
	va_end(args);
	return open_checked(AT_FDCWD, path, flags, mode);
}

int renameat(int from_dir, const char *from, int to_dir, const char *to)
{
	char name[SHIM_NAME], new[SHIM_NAME];
	struct shim_file *f;
	int result;

	if (!of_path(from_dir, from, name) || !of_path(to_dir, to, new))
		return (int)syscall(SYS_renameat2, from_dir, from, to_dir, to, 0);
	if (fails("rename", name, true))
		return -1;
	result = (int)syscall(SYS_renameat2, from_dir, from, to_dir, to, 0);
	if (result == 0) {
		forget(new);
		f = file_of(name);
		if (f)
			snprintf(f->name, sizeof(f->name), "%s", new);
	}
	return result;
}

int rename(const char *from, const char *to)
{
	return renameat(AT_FDCWD, from, AT_FDCWD, to);
}

int unlinkat(int dir, const char *path, int flags)
{
	char name[SHIM_NAME];

	if (of_path(dir, path, name) && is_there(dir, path)) {
		if (fails("unlink", name, false))
			return -1;
		forget(name);
	}
	return (int)syscall(SYS_unlinkat, dir, path, flags);
}

int unlink(const char *path)
{
	return unlinkat(AT_FDCWD, path, 0);
}

int mkdirat(int dir, const char *path, mode_t mode)
{
	char name[SHIM_NAME];

	if (of_path(dir, path, name) && fails("mkdir", name, true))
		return -1;
	return (int)syscall(SYS_mkdirat, dir, path, mode);
}

int mkdir(const char *path, mode_t mode)
{
	return mkdirat(AT_FDCWD, path, mode);
}
