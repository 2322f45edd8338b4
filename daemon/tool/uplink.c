/* SPDX-License-Identifier: Apache-2.0 */
/* Delivers what the journal has sealed, until it is told to end. */
#include <getopt.h>
#include <stdio.h>

#include "postwalk/delivery.h"
#include "tool_internal.h"

int pw_uplink(int argc, char **argv)
{
	static const struct option options[] = {
		{ "state", required_argument, NULL, 's' },
		{ 0 },
	};
	const char *dir = NULL;
	int c;

	while ((c = getopt_long(argc, argv, "", options, NULL)) == 's')
		dir = optarg;
	if (c != -1 || dir == NULL || optind != argc) {
		fputs("usage: postwalk uplink --state DIR\n", stderr);
		return PW_EXIT_BAD;
	}
	return pw_uplink_run(dir) == 0 ? PW_EXIT_OK : PW_EXIT_BAD;
}
