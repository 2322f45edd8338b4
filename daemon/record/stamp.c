/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The alive stamp (J12): one small file, rewritten in place. It is shorter than a sector and
 * carries its own SHA-256, so a rewrite that power cut short shows and counts for nothing.
 */
#include "record_internal.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

void pw_stamp_text(const struct pw_stamp *s, char text[PW_STAMP_SIZE])
{
	char hash[65];
	int n;

	memset(text, '\n', PW_STAMP_SIZE);
	n = snprintf(text, PW_STAMP_SIZE,
		     "postwalk-alive-v1\nboot_id %s\nboot %" PRIu64 "\nmono_ms %" PRId64
		     "\nwall_ms %" PRId64 "\n",
		     s->boot_id[0] != '\0' ? s->boot_id : "-", s->boot, s->mono_ms, s->wall_ms);
	pw_sha256_hex(&(struct iovec){ .iov_base = text, .iov_len = (size_t)n }, 1, hash);
	n += snprintf(text + n, PW_STAMP_SIZE - (size_t)n, "sha256 %s\n", hash);
	text[n] = '\n';
}

int pw_stamp_parse(const char text[PW_STAMP_SIZE], struct pw_stamp *s)
{
	char copy[PW_STAMP_SIZE + 1], again[PW_STAMP_SIZE];

	memcpy(copy, text, PW_STAMP_SIZE);
	copy[PW_STAMP_SIZE] = '\0';
	memset(s, 0, sizeof(*s));
	if (sscanf(copy,
		   "postwalk-alive-v1\nboot_id %39s\nboot %" SCNu64 "\nmono_ms %" SCNd64
		   "\nwall_ms %" SCNd64 "\n",
		   s->boot_id, &s->boot, &s->mono_ms, &s->wall_ms) != 4)
		return -1;
	if (strcmp(s->boot_id, "-") == 0)
		s->boot_id[0] = '\0';
	/* the checksum is in the text: only the very same text is a whole one */
	pw_stamp_text(s, again);
	return memcmp(text, again, PW_STAMP_SIZE) == 0 ? 0 : -1;
}

int pw_stamp_open(const char *dir, bool write)
{
	int folder = open(dir, O_PATH | O_DIRECTORY | O_CLOEXEC);
	int fd, error;

	if (folder < 0)
		return -1;
	fd = openat(folder, "alive", (write ? O_RDWR | O_CREAT : O_RDONLY) | O_CLOEXEC, 0640);
	error = errno;
	close(folder);
	errno = error;
	return fd;
}

int pw_stamp_write(int fd, const struct pw_stamp *s)
{
	char text[PW_STAMP_SIZE];
	ssize_t n;

	pw_stamp_text(s, text);
	n = pwrite(fd, text, sizeof(text), 0);
	if (n < 0)
		return -1;
	if (n != (ssize_t)sizeof(text)) {
		errno = ENOSPC;
		return -1;
	}
	return fdatasync(fd);
}

int pw_stamp_read(int fd, struct pw_stamp *s)
{
	char text[PW_STAMP_SIZE];

	if (pread(fd, text, sizeof(text), 0) != (ssize_t)sizeof(text))
		return -1;
	return pw_stamp_parse(text, s);
}
