/* SPDX-License-Identifier: Apache-2.0 */
/*
 * people.h - the rest of a store: who may look and act, and how long things are kept. Included by
 * audit.h; errors, takers and lives as in store.h.
 */
#ifndef POSTWALK_PEOPLE_H
#define POSTWALK_PEOPLE_H

#include "postwalk/audit.h"

/* -- people ---------------------------------------------------------------------------------------- */

enum pw_office_role { PW_MAY_NOTHING, PW_MAY_SEE, PW_MAY_ACT, PW_MAY_ADMINISTER };
struct pw_account {
	char code[PW_AUDIT_CODE];
	enum pw_office_role role;     /* NOTHING: it is closed */
	char hash[160];               /* argon2id, as libsodium writes it */
	bool must_change;             /* its password was given by somebody else */
	int64_t made_ms, changed_ms, seen_ms;
};
int pw_people_put(struct pw_store *s, const struct pw_account *a, char *why, size_t size);
/* 1; 0: none */
int pw_people_one(struct pw_store *s, const char *code, struct pw_account *a, char *why,
		size_t size);
int pw_people_all(struct pw_store *s, int (*take)(void *ctx, const struct pw_account *a), void *ctx,
		char *why, size_t size);
/* A token for a program: SHA-256 of it, whose it is, until when; it may see and no more. */
int pw_people_token_put(struct pw_store *s, const char *hash, const char *code, const char *words,
		int64_t ends_ms, char *why, size_t size);
/* All that there are. One ends when it is put again with an end that is over. */
int pw_people_tokens(struct pw_store *s,
		int (*take)(void *ctx, const char *hash, const char *code, const char *words, int64_t ends_ms),
		void *ctx, char *why, size_t size);
/* 1; 0: none, or over */
int pw_people_token(struct pw_store *s, const char *hash, int64_t now_ms, char code[PW_AUDIT_CODE],
		char *why, size_t size);

/* While a hold stands, nothing of that bus ("": any) and those days is purged. */
struct pw_hold { uint64_t id; char bus[PW_NAME_MAX]; int32_t from, to; int64_t at_ms, lifted_ms; char who[PW_AUDIT_CODE], words[164]; };
int pw_keep_hold(struct pw_store *s, struct pw_hold *h, char *why, size_t size);
/* 1; 0: none stands */
int pw_keep_lift(struct pw_store *s, uint64_t id, const char *who, int64_t now_ms, char *why,
		size_t size);
int pw_keep_holds(struct pw_store *s, int (*take)(void *ctx, const struct pw_hold *h), void *ctx,
		char *why, size_t size);
/* Purging: of what is older than a day, kind by kind, never of the newest sealed stretch of a branch, never
 * under a hold; within a transaction. Tallies stay, and a count of what went does. limit rows at most: 1 more
 * is left; 0: done. */
#define PW_KEEP_LIST(X) X(RECORDS, records) X(ROWS, rows) X(WARMTH, warmth) X(VIEWS, views)
enum pw_keep_kind {
	PW_KEEP_NONE,
#define X(up, low) PW_KEEP_##up,
	PW_KEEP_LIST(X)
#undef X
	PW_KEEPS
};
struct pw_purged { enum pw_keep_kind kind; int32_t before; int64_t at_ms; char who[PW_AUDIT_CODE]; uint64_t count, held; };
int pw_keep_purge(struct pw_store *s, enum pw_keep_kind kind, int32_t before, const char *who,
		int64_t now_ms, unsigned limit, struct pw_purged *purged, char *why, size_t size);
int pw_keep_purges(struct pw_store *s, int (*take)(void *ctx, const struct pw_purged *p), void *ctx,
		char *why, size_t size);

#endif
