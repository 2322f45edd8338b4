/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bus_internal.h"

static long pid_in(int fd)
{
	char text[24] = "";

	if (pread(fd, text, sizeof(text) - 1, 0) <= 0)
		return 0;
	return atol(text);
}

int pw_lock(const char *state_dir, int *lock, long *pid)
{
	char path[512];
	int n = snprintf(path, sizeof(path), "%s/lock", state_dir);

	*lock = -1;
	if (n < 0 || (size_t)n >= sizeof(path)) {
		errno = ENAMETOOLONG;
		return -1;
	}
	if (mkdir(state_dir, 0750) && errno != EEXIST)
		return -1;
	*lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0640);
	if (*lock < 0)
		return -1;
	if (flock(*lock, LOCK_EX | LOCK_NB)) {
		*pid = pid_in(*lock);
		close(*lock);
		*lock = -1;
		return 1;
	}
	n = snprintf(path, sizeof(path), "%ld\n", (long)getpid());
	if (ftruncate(*lock, 0) || pwrite(*lock, path, (size_t)n, 0) != n)
		return -1;
	return 0;
}
