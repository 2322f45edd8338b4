/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/mman.h>
#include <unistd.h>

#include "postwalk/record.h"

/* The policy's own reader takes files: it gets one that lies in memory. */
int pw_policy_read(const char *text, struct pw_policy *p, char *why, size_t size)
{
	int fd = memfd_create("policy", MFD_CLOEXEC), result = -1;
	char path[40], said[400];
	size_t n = strlen(text);

	if (fd < 0 || write(fd, text, n) != (ssize_t)n) {
		snprintf(why, size, "no memory: %s", strerror(errno));
	} else {
		snprintf(path, sizeof(path), "/proc/self/fd/%d", fd);
		result = pw_policy_load(path, false, p, NULL, NULL, said, sizeof(said));
		if (result)
			snprintf(why, size, "%s", said + strlen(path) + 1);
	}
	if (fd >= 0)
		close(fd);
	return result;
}
