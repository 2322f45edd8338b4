/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tool_internal.h"

int pw_act_as_owner(const char *dir, char *why, size_t size)
{
	struct stat s;

	if (stat(dir, &s) < 0)
		snprintf(why, size, "%s: %s", dir, strerror(errno));
	else if (!S_ISDIR(s.st_mode))
		snprintf(why, size, "%s: expected the state folder of a bus, and it is no folder",
			 dir);
	else if (geteuid() == 0 && s.st_uid != 0
		 && (setegid(s.st_gid) < 0 || seteuid(s.st_uid) < 0))
		snprintf(why, size, "%s: its owner cannot be acted for: %s", dir, strerror(errno));
	else
		return 0;
	return -1;
}
