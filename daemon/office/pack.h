/* SPDX-License-Identifier: Apache-2.0 */
/*
 * pack.h - a pack for an auditor or a regulator: what the office knows of some buses and days, as a folder
 * that can be checked without the office (docs/pack.md has its files).
 *
 * Rows and records are taken on the desk in slices, so that no bus is held up, and written as they come;
 * none of it stands in memory whole but the numbers of each bus, keys, and the first rows of the report.
 * Not on the desk's thread. Nothing in a pack says that a bus is empty.
 */
#ifndef POSTWALK_OFFICE_PACK_H
#define POSTWALK_OFFICE_PACK_H

#include "office_internal.h"
#include "phrases.h"
#include "zone.h"

struct pw_pack_order {
	int32_t from, to;            /* days, both of them too */
	const char *buses;           /* codes, spaces between; "": all that the office knows */
	enum pw_tongue tongue;       /* of report.html */
	const struct pw_zone *zone;
	int64_t now_ms;
	const char *who;             /* for the office's log, and for the report */
};
/* Into dir, which is there and empty. 0; 1: no such bus (why is its code); -1, -2: why says it. What was
 * written stays then: it is the caller's to take away. */
int pw_pack_write(struct pw_office *o, const struct pw_pack_order *order, const char *dir, char *why,
		  size_t size);
/* A folder's files as one .zip, under the folder name in it. 0, -1. */
int pw_pack_zip(const char *dir, const char *name, FILE *out, char *why, size_t size);
/* Takes a folder of a pack away, and what is in it. */
void pw_pack_drop(const char *dir);

#endif
