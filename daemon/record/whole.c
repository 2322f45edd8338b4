/* SPDX-License-Identifier: Apache-2.0 */
/* Small files that are there whole, or as they were before. */
#include "record_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

int pw_whole_open(const char *dir)
{
	return open(dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

ssize_t pw_whole_read(int dir, const char *name, char *text, size_t size)
{
	int fd = openat(dir, name, O_RDONLY | O_CLOEXEC), error;
	size_t length = 0;
	ssize_t n = 1;

	if (fd < 0)
		return -1;
	while (length < size && n > 0) {
		n = read(fd, text + length, size - length);
		length += n > 0 ? (size_t)n : 0;
	}
	error = errno;
	close(fd);
	errno = error;
	if (n < 0)
		return -1;
	text[length < size ? length : size - 1] = '\0';
	return (ssize_t)length;
}

static int write_all(int fd, const char *text, size_t length)
{
	ssize_t n;

	for (size_t done = 0; done < length; done += (size_t)n) {
		n = write(fd, text + done, length - done);
		if (n <= 0) {
			errno = n == 0 ? ENOSPC : errno;
			return -1;
		}
	}
	return fsync(fd);
}

int pw_whole_write(int dir, const char *name, mode_t mode, const char *text)
{
	char fresh[64];
	int fd, result, error;

	snprintf(fresh, sizeof(fresh), "%.50s.new", name);
	unlinkat(dir, fresh, 0); /* of a power cut */
	fd = openat(dir, fresh, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode);
	if (fd < 0)
		return -1;
	result = write_all(fd, text, strlen(text));
	error = errno;
	close(fd);
	if (result == 0 && ((result = renameat(dir, fresh, dir, name)) < 0
			    || (result = fsync(dir)) < 0))
		error = errno;
	if (result < 0)
		unlinkat(dir, fresh, 0);
	errno = error;
	return result;
}
