/* SPDX-License-Identifier: Apache-2.0 */
/* A journal that cannot be gone on with is put aside whole; nothing of it is deleted. */
#include "record_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <unistd.h>

/* The log goes first: left beside a new journal, it would be played into that. */
static const char *const parts[] = { "-wal", "-shm", "" };
#define ASIDE_MAX 16 /* a disk that spoils every journal is not to be filled with them */
#define PARTS (sizeof(parts) / sizeof(parts[0]))

static bool is_free(int dir, unsigned n)
{
	char name[64];

	for (size_t i = 0; i < PARTS; i++) {
		snprintf(name, sizeof(name), "journal.db.damaged-%u%s", n, parts[i]);
		if (faccessat(dir, name, F_OK, AT_SYMLINK_NOFOLLOW) == 0)
			return false;
	}
	return true;
}

static int rename_parts(int dir, unsigned n)
{
	char from[64], to[64];

	for (size_t i = 0; i < PARTS; i++) {
		snprintf(from, sizeof(from), "journal.db%s", parts[i]);
		snprintf(to, sizeof(to), "journal.db.damaged-%u%s", n, parts[i]);
		if (renameat(dir, from, dir, to) < 0 && errno != ENOENT)
			return -1;
	}
	return fsync(dir);
}

int pw_journal_aside(const char *dir, unsigned *n)
{
	int folder = open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC), result, error;

	if (folder < 0)
		return -1;
	for (*n = 1; *n <= ASIDE_MAX && !is_free(folder, *n); ++*n)
		;
	errno = EEXIST;
	result = *n <= ASIDE_MAX ? rename_parts(folder, *n) : -1;
	error = errno;
	close(folder);
	errno = error;
	return result;
}
