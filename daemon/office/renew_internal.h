/* SPDX-License-Identifier: Apache-2.0 */
/*
 * renew_internal.h - how the rows of a bus and some days are made anew: loaded (renew_load.c), judged
 * (renew_judge.c), kept (renew_keep.c), again and again (renew.c). Errors as store.h has them.
 */
#ifndef POSTWALK_RENEW_INTERNAL_H
#define POSTWALK_RENEW_INTERNAL_H

#include "match.h"
#include "rows_internal.h"
#include "zone.h"

/* A sweep, as a row that has no run. */
struct pw_stopped {
	struct pw_audit_row row;
	bool adrift;              /* its clock is not believed: at_ms is when it came */
};
struct pw_signed { int64_t at_ms; char code[PW_AUDIT_CODE]; };
struct pw_kept { struct pw_audit_row row; int32_t nth; };

struct pw_list { void *item; size_t count, room; };
/* One more, all zero. NULL: no memory. */
void *pw_list_add(struct pw_list *list, size_t each);

struct pw_renewal {
	struct pw_store *s;
	const struct pw_zone *zone;
	struct pw_tallying *tallying;
	int64_t now_ms;
	int32_t purged;           /* rows of days before it may have gone for good */
	char bus[PW_NAME_MAX];
	int32_t first, last;      /* days since 1970-01-01 that rows are made of */
	struct pw_list plans;     /* struct pw_plan, in the order of their ends */
	struct pw_list stops;     /* struct pw_stopped, in the order of at_ms */
	struct pw_list heards;    /* struct pw_heard */
	struct pw_list signs;     /* struct pw_signed */
	struct pw_list corrections; /* struct pw_correction */
	struct pw_list old;       /* struct pw_kept, in the order of day and nth */
	struct pw_list fresh;     /* struct pw_kept, likewise */
	char *why;
	size_t size;
};

int pw_renew_no_memory(struct pw_renewal *r);
int pw_renew_load(struct pw_renewal *r);
int pw_renew_judge(struct pw_renewal *r);
int pw_renew_others(struct pw_renewal *r); /* renew_others.c: of fresh rows without a record */
int pw_renew_keep(struct pw_renewal *r);
void pw_renew_clear(struct pw_renewal *r); /* the lists; their room stays */

#endif
