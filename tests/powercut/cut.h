/* SPDX-License-Identifier: Apache-2.0 */
/*
 * cut.h - what a disk may hold when power goes after some entry of the log (disk.h).
 *
 * What a sync has returned for is there. Of what was written later, a device may have any 512-byte
 * sector as it stood at any moment since; a file's length likewise; and a name that was made,
 * renamed or removed without a sync of the folder may have happened or not (POSIX.1-2017, fsync;
 * what SQLite itself assumes, sqlite.org/atomiccommit.html section 2, is more).
 */
#ifndef POSTWALK_TEST_CUT_H
#define POSTWALK_TEST_CUT_H

#include "disk.h"

enum cut_kind {
	CUT_DROPPED = 1, /* nothing that was not synced is there */
	CUT_KEPT,        /* all of it is */
	CUT_TORN,        /* any of it, by chance; names in their order */
	CUT_MIXED        /* the same, each name by itself, and stale bytes where none came */
};

struct cut;

struct cut *cut_new(void);
/* A bad device, to see that it is found out: one that says yes to every sync and does none; one
 * that loses that entry (SIZE_MAX: none). */
struct cut *cut_new_bad(bool deaf, size_t lost);
void cut_free(struct cut *c);
/* The next entry has happened. */
void cut_advance(struct cut *c);
size_t cut_at(const struct cut *c); /* entries so far */
/* Makes what an existing folder holds what such a disk would. seed: for what is by chance. */
void cut_lay(const struct cut *c, enum cut_kind kind, uint64_t seed, const char *folder);
/* With all entries and all kept: is it what that folder holds? 0, or -1 said on standard error. */
int cut_compare(const struct cut *c, const char *folder);

#endif
