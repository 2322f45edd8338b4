/* SPDX-License-Identifier: Apache-2.0 */
/* verify_internal.h - what was verified, kept to be compared with others of the same bus. */
#ifndef POSTWALK_VERIFY_INTERNAL_H
#define POSTWALK_VERIFY_INTERNAL_H

#include "source_internal.h"

/* -- branch.c: two boards that go by one name and key (J5) ------------------------------------- */

struct pw_branch { /* all zero before it is filled */
	char *name;
	char bus[PW_NAME_MAX], epoch[17];
	struct pw_branch_record *record; /* by seq, rising */
	size_t count, room;
};

/* 0, or -1: no memory. A record whose seq does not rise is left out: the check tells of it. */
int pw_branch_add(struct pw_branch *b, const struct pw_record *r);
/* What it was of; one that has no name is compared with nothing. 0, or -1: no memory. */
int pw_branch_name(struct pw_branch *b, const char *name, const char *bus, const char *epoch);
/* Says how the two stand to each other, where both are of one bus and epoch. True: they differ. */
bool pw_branch_compare(const struct pw_branch *a, const struct pw_branch *b);
void pw_branch_free(struct pw_branch *b);

#endif
