/* SPDX-License-Identifier: Apache-2.0 */
/* record_internal.h - what the files of the record room share. */
#ifndef POSTWALK_RECORD_INTERNAL_H
#define POSTWALK_RECORD_INTERNAL_H

#include <jansson.h>

#include "postwalk/journal.h"
#include "postwalk/text.h"
#include "keys_internal.h"

#define PW_KEPT_MAX 16384 /* the kept state as text, with the closing zero */
#define PW_WORDS_MAX 256  /* a fault in words, with the closing zero */
#define PW_BOOT_ID_MAX 40

/* -- json.c: JSON text made by hand ----------------------------------------------------------- */

/* Commas are set by what stands before; key NULL inside arrays. */
struct pw_json {
	char *buf;
	size_t size, len;
	bool full;
};

void pw_json_init(struct pw_json *o, char *buf, size_t size);
void pw_json_open(struct pw_json *o, const char *key, char bracket);
void pw_json_close(struct pw_json *o, char bracket);
void pw_json_int(struct pw_json *o, const char *key, int64_t value);
void pw_json_time(struct pw_json *o, const char *key, int64_t ms); /* null, "never" */
void pw_json_bool(struct pw_json *o, const char *key, bool value);
/* len bytes at most, ending before the first zero; what is not UTF-8 becomes U+FFFD. */
void pw_json_text(struct pw_json *o, const char *key, const char *text, size_t len);
/* The length of the UTF-8 sequence that begins here (RFC 3629), 0 when none does. */
size_t pw_utf8_sequence(const unsigned char *s, size_t left);
/* Ends the text with a zero. Its length, or -1 when it did not fit. */
int pw_json_end(struct pw_json *o);

/* Read back. 0, or -1 when it is not that. Moments are small enough to be added up. */
#define PW_MOMENT_MAX (INT64_MAX / 4)
int pw_json_get_time(const json_t *value, int64_t *ms);
int pw_json_get_int(const json_t *value, int64_t least, int64_t most, int64_t *out);

/* -- chain.c ----------------------------------------------------------------------------------- */

extern const char PW_CHAIN_ORIGIN[65]; /* prev of seq 1 */

/* -- body.c ------------------------------------------------------------------------------------ */

void pw_refusals_text(struct pw_json *o, const char *key, const struct pw_sweep *sweep);
int pw_refusals_read(const json_t *array, struct pw_sweep *sweep); /* the count kept, or -1 */
/* The bytes of a note that are used; 0: it is none that can be written. */
size_t pw_note_size(const struct pw_note *n);

/* -- day.c, told.c: proof, found, report, setup, pin ------------------------------------------- */

bool pw_is_defect(enum pw_found_what what); /* open until it is certified */
/* A defect has an id and what certifies one names it, no other has; words, roles, results are some. */
bool pw_told_makes_sense(const struct pw_note *n);
void pw_told_write(struct pw_json *o, const struct pw_note *n); /* its keys */

/* -- journal.c --------------------------------------------------------------------------------- */

/* The kept state, bound to the record that was the head, and signed. */
struct pw_kept_row {
	char state[PW_KEPT_MAX];
	char boot_id[PW_BOOT_ID_MAX];
	int64_t mono_ms, wall_ms;
	uint64_t boot, batch;
	bool ended; /* an orderly stop */
	uint64_t seq;
	char hash[65], sig[129];
};
/* kept.c: fills in sig; does it hold? */
void pw_kept_sign(const char *bus, const char *epoch, struct pw_kept_row *row,
		  const struct pw_secret_key *key);
bool pw_kept_holds(const char *bus, const char *epoch, const struct pw_kept_row *row,
		   const struct pw_public_key *key);

/* Closes what is not believed: as it stands, its log beside it and not played into it. */
void pw_journal_leave(struct pw_journal *j);

/* What stands in the log is written into the file and synced, and the log emptied. A sync that was
 * refused before can leave it in the kernel's memory alone, whatever is read back (fsync(2), EIO):
 * nothing that is found at an opening counts as kept before this. */
int pw_journal_settle(struct pw_journal *j, char *why, size_t size);
/* One transaction: begin, add and keep as often as wanted, commit. After a -1 or -2 of any of
 * them the journal is only good for closing (J7). Errors as pw_journal_open has them. */
int pw_journal_begin(struct pw_journal *j, char *why, size_t size);
/* Takes boot, mono_ms, wall_ms, wall_ok, kind and body; fills in the rest. */
int pw_journal_add(struct pw_journal *j, struct pw_record *r, char *why, size_t size);
/* Seals the head, where it is not sealed yet (J4). */
int pw_journal_seal(struct pw_journal *j, const struct pw_secret_key *key, char *why, size_t size);
uint64_t pw_journal_sealed(const struct pw_journal *j); /* the last seal's seq; 0: none */
/* Fills in seq, hash and sig: the row is of the head. */
int pw_journal_keep(struct pw_journal *j, struct pw_kept_row *row, const struct pw_secret_key *key,
		    char *why, size_t size);
int pw_journal_commit(struct pw_journal *j, char *why, size_t size);
/* The last record's seq and hash (0 and the origin when there is none; hash NULL: not wanted). */
uint64_t pw_journal_head(const struct pw_journal *j, char hash[65]);
const char *pw_journal_epoch(const struct pw_journal *j);
void pw_journal_rest(struct pw_journal *j); /* no statement stays under way: checkpoints may go on */
/* 1: found; 0: nothing kept yet. */
int pw_journal_kept(struct pw_journal *j, struct pw_kept_row *row, char *why, size_t size);
/* prune.c, J11: one transaction of its own. row: the state that is kept; now_ms: wall time. 1: something
 * was dropped; 0: nothing was to be. */
int pw_journal_prune(struct pw_journal *j, struct pw_kept_row *row, int64_t now_ms, uint32_t keep_days,
		     const struct pw_secret_key *key, char *why, size_t size);
/* The newest records of SWEEP, POLICY or RECEIPT, newest first, most at most. */
int pw_journal_newest(struct pw_journal *j, enum pw_kind kind, unsigned most,
		      void (*take)(void *ctx, const char *body, int64_t wall_ms), void *ctx,
		      char *why, size_t size);
/* What a day is made of, in the order of seq: of proof, found and report the newest 64 each, of setup
 * the last, and the newest 128 that are defects or certify them. Slow without the indexes below. */
int pw_journal_told(struct pw_journal *j,
		    void (*take)(void *ctx, enum pw_kind kind, const char *body, int64_t wall_ms),
		    void *ctx, char *why, size_t size);
/* Makes them where they are not: of a journal from before there were such kinds. */
int pw_journal_index(struct pw_journal *j, char *why, size_t size);

/* -- aside.c ----------------------------------------------------------------------------------- */

/* Renames dir/journal.db and what belongs to it to journal.db.damaged-N; bus.key and bus.pub to
 * bus.damaged-N.key and .pub. 0, or -1 with errno. */
int pw_journal_aside(const char *dir, unsigned *n);
int pw_key_aside(const char *dir, unsigned *n);
int pw_receipt_aside(const char *dir); /* to receipt.damaged-N */
/* A log whose journal is not there, to journal.db-wal.damaged-N: SQLite would delete it. */
int pw_log_aside(const char *dir);
unsigned pw_journal_last_aside(const char *dir); /* the greatest N; 0: none */

/* -- stamp.c: the alive stamp (J12) ------------------------------------------------------------ */

#define PW_STAMP_SIZE 256
struct pw_stamp {
	uint64_t boot;
	int64_t mono_ms, wall_ms;
	char boot_id[PW_BOOT_ID_MAX];
};

void pw_stamp_text(const struct pw_stamp *s, char text[PW_STAMP_SIZE]);
int pw_stamp_parse(const char text[PW_STAMP_SIZE], struct pw_stamp *s); /* -1: torn */
int pw_stamp_open(const char *dir, bool write);                         /* fd, or -1 with errno */
int pw_stamp_write(int fd, const struct pw_stamp *s);                   /* 0, or -1 with errno */
int pw_stamp_read(int fd, struct pw_stamp *s);                          /* 0, or -1: none, torn */

#endif
