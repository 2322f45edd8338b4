/* SPDX-License-Identifier: Apache-2.0 */
/*
 * plans.h - the rest of a store: planned runs, hands' corrections, matching, temperatures. Included by
 * audit.h; errors, takers and lives as in store.h.
 */
#ifndef POSTWALK_PLANS_H
#define POSTWALK_PLANS_H

#include "postwalk/audit.h"

/* -- planned runs, corrections ---------------------------------------------------------------------- */

struct pw_plan {
	char bus[PW_NAME_MAX];
	int32_t day;                  /* as planned */
	char run[PW_AUDIT_TEXT], route[PW_AUDIT_TEXT], place[PW_AUDIT_TEXT], driver[PW_AUDIT_CODE];
	int64_t begin_ms, end_ms;
	uint64_t import;              /* that it came with last */
};
struct pw_import {
	uint64_t id;                  /* by the store */
	int64_t at_ms;
	char who[PW_AUDIT_CODE], file[128], hash[65]; /* SHA-256 of what was read */
	uint32_t taken, refused;
};
/* Within a transaction. A run of the same bus, day and id is replaced. */
int pw_audit_import(struct pw_store *s, struct pw_import *import, char *why, size_t size);
int pw_audit_plan(struct pw_store *s, const struct pw_plan *plan, char *why, size_t size);
/* newest first, 100 */
int pw_audit_imports(struct pw_store *s, int (*take)(void *ctx, const struct pw_import *import),
		void *ctx, char *why, size_t size);

/* Only ever added to. result NONE: it stands as it was matched, again. */
struct pw_correction {
	struct pw_audit_key key;
	enum pw_result result;
	int64_t at_ms;
	char who[PW_AUDIT_CODE], words[164];
};
int pw_audit_correct(struct pw_store *s, const struct pw_correction *c, char *why, size_t size);
/* Of one row (oldest first), or of all (key NULL; newest first, 500). */
int pw_audit_corrections(struct pw_store *s, const struct pw_audit_key *key,
		int (*take)(void *ctx, const struct pw_correction *c), void *ctx, char *why,
		size_t size);

/* -- matching --------------------------------------------------------------------------------------- */

/* Bus and days whose runs, sweeps or corrections changed since. Set by pw_store_put and the calls above. Makes
 * the rows and tallies of some of them anew, for budget_ms at most. now_ms: for windows that are over. 1: more
 * are left; 0: none is. */
int pw_audit_renew(struct pw_store *s, const struct pw_zone *zone, int64_t now_ms,
		int64_t budget_ms, char *why, size_t size);
/* Rows that are not_yet and whose window is over by now are to be made anew. */
int pw_audit_due(struct pw_store *s, int64_t now_ms, char *why, size_t size);

/* -- temperatures ----------------------------------------------------------------------------------- */

/* bus "": outside, at the yard's place. source: where the figures are from, in words. */
int pw_audit_warmth(struct pw_store *s, const char *bus, int64_t at_ms, int32_t c10,
		const char *source, char *why, size_t size);
int pw_audit_warmths(struct pw_store *s, const char *bus, int64_t from_ms, int64_t to_ms,
		int (*take)(void *ctx, int64_t at_ms, int32_t c10, const char *source), void *ctx,
		char *why, size_t size);

#endif
