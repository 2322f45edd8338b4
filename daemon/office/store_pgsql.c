/* SPDX-License-Identifier: Apache-2.0 */
/* A store in PostgreSQL. */
#include <stdio.h>

#include "store_internal.h"

static int open_store(const char *where, bool auditor, struct pw_store **out, char *why, size_t size)
{
	(void)where;
	(void)auditor;
	*out = NULL;
	snprintf(why, size, "postgresql: this build does not have it");
	return -2;
}

const struct pw_database pw_pgsql = { .name = "postgresql", .open = open_store };
