/* SPDX-License-Identifier: Apache-2.0 */
/* What cannot be gone on with is put aside whole; nothing of it is deleted. */
#include "record_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

#define ASIDE_MAX 16 /* a disk that spoils every journal is not to be filled with them */
#define PARTS 3

/* A log that power going leaves behind is put aside by itself: what it belongs to is not guessed. */
static const char *const journal_parts[PARTS] = { "", "-wal", "-shm" };
static const char *const key_parts[PARTS] = { ".pub", ".key" };
static const char *const alone[PARTS] = { "" };

static bool is_free(int dir, const char *base, const char *const parts[PARTS], unsigned n)
{
	char name[64];

	for (size_t i = 0; i < PARTS && parts[i] != NULL; i++) {
		snprintf(name, sizeof(name), "%s.damaged-%u%s", base, n, parts[i]);
		if (faccessat(dir, name, F_OK, AT_SYMLINK_NOFOLLOW) == 0)
			return false;
	}
	return true;
}

static int rename_parts(int dir, const char *base, const char *const parts[PARTS], unsigned n)
{
	char from[64], to[64];

	for (size_t i = 0; i < PARTS && parts[i] != NULL; i++) {
		snprintf(from, sizeof(from), "%s%s", base, parts[i]);
		snprintf(to, sizeof(to), "%s.damaged-%u%s", base, n, parts[i]);
		if (renameat(dir, from, dir, to) < 0 && errno != ENOENT)
			return -1;
	}
	return fsync(dir);
}

/* free: what must not be there yet under that number. */
static int put_aside(const char *dir, const char *base, const char *const parts[PARTS],
		     const char *const free[PARTS], unsigned *n)
{
	int folder = pw_whole_open(dir), result, error;

	if (folder < 0)
		return -1;
	for (*n = 1; *n <= ASIDE_MAX && !is_free(folder, base, free, *n); ++*n)
		;
	errno = EEXIST;
	result = *n <= ASIDE_MAX ? rename_parts(folder, base, parts, *n) : -1;
	error = errno;
	close(folder);
	errno = error;
	return result;
}

int pw_journal_aside(const char *dir, unsigned *n)
{
	return put_aside(dir, "journal.db", journal_parts, journal_parts, n);
}

static bool is_there(int dir, const char *name)
{
	struct stat s;

	return fstatat(dir, name, &s, AT_SYMLINK_NOFOLLOW) == 0 && s.st_size > 0;
}

int pw_log_aside(const char *dir)
{
	int folder = pw_whole_open(dir);
	bool orphan = folder >= 0 && is_there(folder, "journal.db-wal")
		      && !is_there(folder, "journal.db");
	unsigned n;

	if (folder < 0)
		return -1;
	close(folder);
	return orphan ? put_aside(dir, "journal.db-wal", alone, alone, &n) : 0;
}

unsigned pw_journal_last_aside(const char *dir)
{
	int folder = pw_whole_open(dir);
	unsigned n = folder >= 0 ? ASIDE_MAX : 0;

	while (n > 0 && is_free(folder, "journal.db", alone, n))
		n--;
	if (folder >= 0)
		close(folder);
	return n;
}

int pw_key_aside(const char *dir, unsigned *n)
{
	return put_aside(dir, "bus", key_parts, key_parts, n);
}

int pw_receipt_aside(const char *dir)
{
	unsigned n;

	return put_aside(dir, "receipt", alone, alone, &n);
}

int pw_public_key_aside(const char *dir, const char *name)
{
	static const char *const public_part[PARTS] = { ".pub" };
	unsigned n;

	return put_aside(dir, name, public_part, key_parts, &n);
}
