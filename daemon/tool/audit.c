/* SPDX-License-Identifier: Apache-2.0 */
/* The office answers; its program stands beside this one. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tool_internal.h"

#define OFFICE "postwalk-office"
#define PATH_MAX_BYTES 4096

/* PATH of the folder that this program is in, with OFFICE behind it. */
static int find_office(char path[PATH_MAX_BYTES])
{
	ssize_t n = readlink("/proc/self/exe", path, PATH_MAX_BYTES - sizeof(OFFICE) - 1);
	char *slash;

	if (n < 0)
		return -1;
	path[n] = '\0';
	slash = strrchr(path, '/');
	if (!slash)
		return -1;
	strcpy(slash + 1, OFFICE);
	return 0;
}

int pw_audit(int argc, char **argv)
{
	char path[PATH_MAX_BYTES] = OFFICE;
	char **words = calloc((size_t)argc + 2, sizeof(*words));

	if (!words) {
		fputs("postwalk audit: there is no memory for it\n", stderr);
		return PW_EXIT_NOT;
	}
	words[0] = (char *)(uintptr_t)OFFICE;
	memcpy(words + 1, argv, (size_t)argc * sizeof(*words));
	if (find_office(path) == 0)
		execv(path, words);
	fprintf(stderr, "postwalk audit: %s: %s; expected the office's program beside this one: an "
			"audit is asked for where the office is\n", path, strerror(errno));
	free(words);
	return PW_EXIT_NOT;
}
