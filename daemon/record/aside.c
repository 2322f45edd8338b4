/* SPDX-License-Identifier: Apache-2.0 */
/* What cannot be gone on with is put aside whole; nothing of it is deleted. */
#include "record_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <unistd.h>

#define ASIDE_MAX 16 /* a disk that spoils every journal is not to be filled with them */
#define PARTS 3

/* The log goes first: left beside a new journal, it would be played into that. */
static const char *const journal_parts[PARTS] = { "-wal", "-shm", "" };
static const char *const key_parts[PARTS] = { ".key", ".pub" };

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

static int put_aside(const char *dir, const char *base, const char *const parts[PARTS], unsigned *n)
{
	int folder = pw_whole_open(dir), result, error;

	if (folder < 0)
		return -1;
	for (*n = 1; *n <= ASIDE_MAX && !is_free(folder, base, parts, *n); ++*n)
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
	return put_aside(dir, "journal.db", journal_parts, n);
}

int pw_key_aside(const char *dir, unsigned *n)
{
	return put_aside(dir, "bus", key_parts, n);
}
