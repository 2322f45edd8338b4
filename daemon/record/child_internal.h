/* SPDX-License-Identifier: Apache-2.0 */
/* child_internal.h - what the files of the writer's process share. */
#ifndef POSTWALK_CHILD_INTERNAL_H
#define POSTWALK_CHILD_INTERNAL_H

#include <poll.h>
#include <time.h>

#include "delivered_internal.h"
#include "writer_internal.h"

/* What the journal before this one was, for the first record of an epoch (J6). */
struct pw_before {
	char epoch[17], hash[65];  /* of its last good record */
	uint64_t seq;
	uint64_t boot;             /* of the last state it kept, and when that was */
	int64_t mono_ms, wall_ms;
	char why[PW_WORDS_MAX];    /* empty: nothing was before */
	char receipt[1024];        /* the body of its last one, or empty */
	char policy[PW_BODY_MAX + 1]; /* the same: the new epoch goes on under it */
	bool held;                 /* a kept state that holds: the new epoch goes on from it */
	struct pw_kept_row row;
};

/* the worst first */
enum pw_ill { PW_ILL_RECORDS, PW_ILL_SEAL, PW_ILL_RECEIPT, PW_ILL_STAMP, PW_ILLS };
enum pw_checking { PW_CHECK_DUE = 1, PW_CHECK_RUNS, PW_PRUNE_DUE, PW_CHECK_OVER };

struct pw_child {
	int sock, lock, stamp;
	unsigned lock_tries;
	const struct pw_order *order;
	struct pw_secret_key key;
	struct pw_journal *journal;
	bool in_batch;
	uint64_t failed; /* the last batch that did: it comes again unless it is found committed */
	char damage[PW_WORDS_MAX]; /* not empty: what stands there is put aside at the next try */
	struct pw_before before;
	bool quick_checked;
	uint64_t boot;
	char boot_id[PW_BOOT_ID_MAX];
	enum pw_phase phase; /* as last kept; 0: not known */
	bool seal_due, seal_waits;  /* in this batch; outside the database */
	bool alert_due;             /* in this batch */
	struct pw_receipt receipt;  /* the newest of all up to a record; seq 0: none */
	bool receipt_waits;         /* outside the database */
	struct pw_serve *serve;     /* NULL: not yet */
	uint64_t sealed_before;     /* this batch */
	enum pw_checking checking;  /* the whole chain (J6) */
	struct pw_check check;
	uint64_t next_seal;
	char flaw[PW_WORDS_MAX];
	int64_t stamp_at_ms, seal_at_ms, retry_at_ms;
	char ill[PW_ILLS][PW_WORDS_MAX];
	struct pw_trouble trouble, told;
	struct pw_message in, out;
	struct pw_kept_row row;
	char body[PW_BODY_MAX + 1];
};

int64_t pw_child_clock_ms(clockid_t id);
void pw_child_tell(struct pw_child *c, enum pw_message_kind kind, uint64_t batch, size_t size);
void pw_child_tell_trouble(struct pw_child *c);
__attribute__((format(printf, 2, 3)))
void pw_child_say(char words[PW_WORDS_MAX], const char *format, ...);
/* The connection is given up and tried again. -2: and the journal is put aside then. */
void pw_child_give_up(struct pw_child *c, int result, const char *why);
void pw_child_stamp_from(struct pw_child *c, enum pw_phase phase, int64_t at_ms);
void pw_child_seal_outside(struct pw_child *c); /* the newest seal, into its file */

/* writer_open.c: one try. */
void pw_child_open(struct pw_child *c);

/* -- receipts.c -------------------------------------------------------------------------------- */

/* What the uplink hands over. 1: journaled, now or before; 0: refused; -1, -2: trouble. words: why not. */
int pw_child_receipt(struct pw_child *c, const struct pw_receipt *r, char *words, size_t size);
void pw_child_receipt_outside(struct pw_child *c); /* the newest, into its file */
/* Of a journal that was just opened. -1, -2 with why. */
int pw_child_receipt_find(struct pw_child *c, char *why, size_t size);

/* -- serve.c: the uplink (stretch.h) -------------------------------------------------------------- */

#define PW_SERVE_FDS 2
int pw_serve_begin(struct pw_child *c, char *why, size_t size); /* of a journal that was just opened */
void pw_serve_poll(struct pw_child *c, struct pollfd fds[PW_SERVE_FDS]);
bool pw_serve_busy(const struct pw_child *c); /* a text is being made: a slice of it needs no fd */
int64_t pw_serve_next_ms(const struct pw_child *c);
/* One request, or one slice of an answer. */
void pw_serve_tend(struct pw_child *c, const struct pollfd fds[PW_SERVE_FDS], int64_t now_ms);
/* What the office has is counted anew, and told to the watch. -1, -2 with why. */
int pw_serve_count(struct pw_child *c, char *why, size_t size);
void pw_serve_end(struct pw_child *c);

#endif
