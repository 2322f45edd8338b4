/* SPDX-License-Identifier: Apache-2.0 */
/* keep_internal.h - what the files of purging share: store_keep.c, purge_records.c, purge_timed.c. */
#ifndef POSTWALK_KEEP_INTERNAL_H
#define POSTWALK_KEEP_INTERNAL_H

#include "store_internal.h"
#include "zone.h"

/* A purge under way: what went so far, and how far it has come. */
struct pw_purging {
	struct pw_store *s;
	struct pw_purged told;
	int64_t id;
	int64_t before_ms;           /* nowhere on earth is it that day yet */
	int64_t behind_ms;           /* of what has a time; PW_NO_TIME: it begins */
	char behind_bus[PW_NAME_MAX], behind_epoch[17];
	int64_t behind_branch;       /* of records: the last branch that is done; -1: it begins */
	unsigned limit;              /* of this piece of work */
	char *why;
	size_t size;
};

/* A piece of the work. 1: more is left; 0: done; -1, -2. */
int pw_purge_records(struct pw_purging *p); /* purge_records.c */
int pw_purge_timed(struct pw_purging *p);   /* purge_timed.c: rows, temperatures, views */

#endif
