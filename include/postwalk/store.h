/* SPDX-License-Identifier: Apache-2.0 */
/*
 * store.h - what the office keeps: one front door before SQLite and PostgreSQL.
 *
 * A store is used by one thread at a time, and its owner is the only process that writes it: a second one
 * is refused (-1). SQL stands in statements.c, filter.c and schema/ alone, and in store_sqlite.c and store_pgsql.c
 * what only one of them has. Rows are copies; texts in what is given back live until
 * the next call. Times: ms, Unix, by the office's clock unless a name says otherwise.
 *
 * take is called row by row and calls nothing of the same store. 0: the next one; else there are no more,
 * and the call gives back that.
 *
 * Errors: 0; -1: not now (gone, full, locked: rolled back, try again later); -2: it cannot be so, as it
 * stands (a head that moved meanwhile, another schema). Both with one sentence in why.
 */
#ifndef POSTWALK_STORE_H
#define POSTWALK_STORE_H

#include "postwalk/journal.h"

struct pw_store;

/* where: the path of a file (made if absent), or postgresql://... . Brings the schema up to date by
 * numbered migrations that only add. auditor: reads only, changes nothing. */
int pw_store_open(const char *where, bool auditor, struct pw_store **s, char *why, size_t size);
void pw_store_close(struct pw_store *s);
const char *pw_store_name(const struct pw_store *s); /* "sqlite" or "postgresql" */
/* A copy of all that is committed, as a file that is not there yet: SQLite alone (-2 else). Nothing may have
 * been written in the transaction that stands, where one does. */
int pw_store_copy(struct pw_store *s, const char *path, char *why, size_t size);

/* After commit's 0 all of it is on the disk. After a -1 of anything: rollback, then open anew may help. A
 * commit's -1 may have happened all the same: the heads tell. A lost connection is -1 once, and the next
 * transaction makes another. What is asked outside of a transaction stands for itself. */
int pw_store_begin(struct pw_store *s, char *why, size_t size);
int pw_store_commit(struct pw_store *s, char *why, size_t size);
void pw_store_rollback(struct pw_store *s);
/* A part of a transaction that can fail alone: mark, then keep or undo. */
int pw_store_mark(struct pw_store *s, char *why, size_t size);
int pw_store_mark_keep(struct pw_store *s, char *why, size_t size);
int pw_store_mark_undo(struct pw_store *s, char *why, size_t size);

/* -- buses and their keys --------------------------------------------------------------------------- */

struct pw_bus_row {
	char bus[PW_NAME_MAX];
	bool has_key;
	struct pw_public_key key;
	char token[65];          /* SHA-256 of the token, 64 hex digits; "" none */
	int64_t enrolled_ms, heard_ms; /* 0: never */
};
/* 1: there is; 0: none */
int pw_store_bus(struct pw_store *s, const char *bus, struct pw_bus_row *row, char *why,
		size_t size);
int pw_store_bus_put(struct pw_store *s, const struct pw_bus_row *row, char *why, size_t size);
/* Heard of now, on this day of the office's zone (YYYYMMDD): for what is silent by habit. */
int pw_store_bus_heard(struct pw_store *s, const char *bus, int64_t now_ms, int32_t day, char *why,
		size_t size);
/* A one-time code, kept as its SHA-256. take: 1 it is right, unused and not over, and is used up now. */
int pw_store_code_put(struct pw_store *s, const char *bus, const char *hash, int64_t ends_ms,
		char *why, size_t size);
int pw_store_code_take(struct pw_store *s, const char *bus, const char *hash, int64_t now_ms,
		char *why, size_t size);
/* A key that a person must decide on. */
struct pw_key_row {
	char bus[PW_NAME_MAX];
	struct pw_public_key key;
	char token[65];
	int64_t asked_ms, decided_ms; /* 0: it waits */
	bool accepted;
	char who[32], words[200];
};
/* by bus and key */
int pw_store_key_put(struct pw_store *s, const struct pw_key_row *row, char *why, size_t size);
int pw_store_keys(struct pw_store *s, bool waiting,
		int (*take)(void *ctx, const struct pw_key_row *row), void *ctx, char *why,
		size_t size);

/* -- records ---------------------------------------------------------------------------------------- */

/* A branch is one unbroken piece of chain of a bus and epoch. 0 is the first; a fork or a hole begins
 * another. Its first record's prev is first_prev; its head is its last record. */
enum pw_branch_why { PW_BRANCH_FIRST = 1, PW_BRANCH_FORK, PW_BRANCH_HOLE };
struct pw_branch {
	char bus[PW_NAME_MAX], epoch[17];
	uint32_t branch;
	enum pw_branch_why why;
	uint64_t first, head;
	char first_prev[65], hash[65];
	int64_t begun_ms, moved_ms;
	uint64_t purged;             /* records that stood before first, and were purged */
};
/* epoch NULL: all of the bus; bus NULL: all. In the order of begun_ms. */
int pw_store_branches(struct pw_store *s, const char *bus, const char *epoch,
		int (*take)(void *ctx, const struct pw_branch *b), void *ctx, char *why,
		size_t size);
/* 1: the hash of a record; 0: none there. */
int pw_store_hash(struct pw_store *s, const char *bus, const char *epoch, uint32_t branch,
		uint64_t seq, char hash[65], char *why, size_t size);

/* What a record means to the office, beside what it is (daemon/office/meaning.c). */
struct pw_sweep_row {
	uint64_t seq;
	int64_t closed_ms, key_off_ms, walk_ms, return_ms, late_ms; /* first two: the bus's wall clock; PW_NO_TIME */
	int64_t came_ms; /* when the office had it */
	bool wall_ok;
	uint32_t findings, refused;
	enum pw_verdict verdict;
	char rung[PW_NAME_MAX];
};
/* A fault, a muting (name "service") that stands, or is over (on false). name "", on false: all that stood
 * of this bus is over, since it started anew (R4, R5, R23). */
struct pw_standing { uint64_t seq; char name[PW_NAME_MAX + 8]; bool on; int64_t since_ms; char words[160]; };

/* Records [first..] with their seals, sweeps and standings, of one branch, in order. */
struct pw_put {
	struct pw_branch to;         /* as it will be: head and hash of the last record */
	bool begins;                 /* the branch is new; else the head must be was_head, was_hash */
	uint64_t was_head;
	char was_hash[65];
	const struct pw_record *record;
	size_t records;
	const struct pw_seal *seal;
	size_t seals;
	const struct pw_sweep_row *sweep;
	size_t sweeps;
	const struct pw_standing *standing;
	size_t standings;
	int32_t (*day)(int64_t ms);  /* YYYYMMDD in the office's zone; NULL: in UTC */
};
/* Within a transaction: compare-and-set of the head, and the rows, of a bus that is there. -2: the head is
 * not that any more; not whole from head to head; a body that is not UTF-8. */
int pw_store_put(struct pw_store *s, const struct pw_put *put, char *why, size_t size);
/* In order of seq, from, as they were sent: for export from the office. seal: NULL where it has none. */
int pw_store_read(struct pw_store *s, const char *bus, const char *epoch, uint32_t branch,
		uint64_t from,
		int (*take)(void *ctx, const struct pw_record *r, const struct pw_seal *seal),
		void *ctx, char *why, size_t size);
/* Where the policy stands that was in force at seq: the last one before it, of its branch, or of one before that.
 * From an index. 1: branch and at say where; 0: none. */
int pw_store_policy_before(struct pw_store *s, const char *bus, const char *epoch, uint32_t *branch,
		uint64_t seq, uint64_t *at, char *why, size_t size);

#include "postwalk/audit.h"
#include "postwalk/matters.h"

#endif
