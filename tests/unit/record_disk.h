/* SPDX-License-Identifier: Apache-2.0 */
/*
 * record_disk.h - a disk that fails when it is told to. Takes the place of the C library's
 * pwrite64, fdatasync and poll in this program and in the libraries it uses, and, where it is told
 * to, of what small files are written and renamed with; what it is told lies in memory that a
 * forked writer shares.
 */
#ifndef TEST_RECORD_DISK_H
#define TEST_RECORD_DISK_H

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdatomic.h>
#include <sys/mman.h>
#include <sys/syscall.h>

#define DISK_DIES (-1) /* an error: the process is killed before that call does anything */

struct disk {
	atomic_int fail_at;   /* the n-th call from now fails; 0: none does */
	atomic_bool for_good; /* and every one after it */
	atomic_bool small;    /* write, fsync, renameat and unlink count as well */
	atomic_int error;
	atomic_int calls;     /* since it was told so */
	atomic_int failed;
	atomic_int syncs;     /* fdatasync and fsync: ever */
	atomic_int timeout;   /* of the writer's last poll */
	char kinds[256];      /* of the n-th call: w write, s sync, r rename, u unlink */
};

static struct disk *disk;
static pid_t watch; /* for this process the disk is always well */

static inline void disk_make(void)
{
	disk = mmap(NULL, sizeof(*disk), PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	assert_ptr_not_equal(disk, MAP_FAILED);
	watch = getpid();
}

static inline void disk_tell(int fail_at, bool for_good, int error)
{
	atomic_store(&disk->fail_at, 0);
	atomic_store(&disk->calls, 0);
	atomic_store(&disk->failed, 0);
	atomic_store(&disk->error, error);
	atomic_store(&disk->for_good, for_good);
	atomic_store(&disk->fail_at, fail_at);
}

static inline bool disk_fails(char kind)
{
	int n, at = atomic_load(&disk->fail_at);

	if (getpid() == watch || at == 0)
		return false;
	n = atomic_fetch_add(&disk->calls, 1) + 1;
	if (n < (int)sizeof(disk->kinds))
		disk->kinds[n] = kind;
	if (n != at && !(n > at && atomic_load(&disk->for_good)))
		return false;
	atomic_fetch_add(&disk->failed, 1);
	errno = atomic_load(&disk->error);
	if (errno == DISK_DIES)
		kill(getpid(), SIGKILL);
	return true;
}

static inline bool small_fails(char kind)
{
	return atomic_load(&disk->small) && disk_fails(kind);
}

static inline void count_sync(void)
{
	if (getpid() != watch)
		atomic_fetch_add(&disk->syncs, 1);
}

ssize_t pwrite64(int fd, const void *bytes, size_t n, off64_t at)
{
	return disk_fails('w') ? -1 : (ssize_t)syscall(SYS_pwrite64, fd, bytes, n, at);
}

ssize_t pwrite(int fd, const void *bytes, size_t n, off_t at)
{
	return pwrite64(fd, bytes, n, at);
}

int fdatasync(int fd)
{
	count_sync();
	return disk_fails('s') ? -1 : (int)syscall(SYS_fdatasync, fd);
}

ssize_t write(int fd, const void *bytes, size_t n)
{
	return small_fails('w') ? -1 : (ssize_t)syscall(SYS_write, fd, bytes, n);
}

int fsync(int fd)
{
	count_sync();
	return small_fails('s') ? -1 : (int)syscall(SYS_fsync, fd);
}

int renameat(int from_dir, const char *from, int to_dir, const char *to)
{
	return small_fails('r') ? -1 : (int)syscall(SYS_renameat2, from_dir, from, to_dir, to, 0);
}

int unlink(const char *path)
{
	return small_fails('u') ? -1 : (int)syscall(SYS_unlinkat, AT_FDCWD, path, 0);
}

int poll(struct pollfd *fds, nfds_t n, int timeout)
{
	struct timespec t = { timeout / 1000, timeout % 1000 * 1000000L };

	if (getpid() != watch)
		atomic_store(&disk->timeout, timeout);
	return ppoll(fds, n, timeout < 0 ? NULL : &t, NULL);
}

#endif
