/* SPDX-License-Identifier: Apache-2.0 */
/* The service manager, by the datagram protocol of sd_notify(3). */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include "bus_internal.h"

void pw_manager_tell(const char *text)
{
	const char *path = getenv("NOTIFY_SOCKET");
	struct sockaddr_un to = { .sun_family = AF_UNIX };
	size_t n = path ? strlen(path) : 0;
	int fd;

	if (n == 0 || n >= sizeof(to.sun_path))
		return;
	memcpy(to.sun_path, path, n);
	if (to.sun_path[0] == '@')
		to.sun_path[0] = '\0';
	fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0);
	if (fd < 0)
		return;
	if (sendto(fd, text, strlen(text), MSG_NOSIGNAL, (struct sockaddr *)&to,
		   (socklen_t)(offsetof(struct sockaddr_un, sun_path) + n)) < 0)
		pw_warn("the service manager does not listen at %s", path);
	close(fd);
}

void pw_manager_begin(struct pw_bus *b)
{
	const char *usec = getenv("WATCHDOG_USEC"), *pid = getenv("WATCHDOG_PID");

	b->watchdog_ms = 0;
	b->watchdog_next_ms = PW_NEVER;
	if (usec && (!pid || atol(pid) == (long)getpid()))
		b->watchdog_ms = atoll(usec) / 2000;
	if (b->watchdog_ms > 0)
		b->watchdog_next_ms = b->now_ms + b->watchdog_ms;
	pw_manager_tell("READY=1");
}

/* Told by the loop of the watch itself: when it hangs, nothing is told. */
void pw_manager_beat(struct pw_bus *b)
{
	if (b->now_ms < b->watchdog_next_ms)
		return;
	pw_manager_tell("WATCHDOG=1");
	b->watchdog_next_ms = b->now_ms + b->watchdog_ms;
}
