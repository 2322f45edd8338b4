/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_book_internal.h - a journal in memory: records in a real chain, sealed by a real key. */
#ifndef POSTWALK_FLEET_BOOK_INTERNAL_H
#define POSTWALK_FLEET_BOOK_INTERNAL_H

#include "postwalk/journal.h"

struct pw_book_record {
	uint64_t boot;
	int64_t mono_ms, wall_ms;
	size_t body; /* where it begins in text */
	uint8_t kind;
	bool wall_ok, sealed, alert; /* alert: one that does not wait for its turn */
	char hash[65];
};
struct pw_book {
	char bus[PW_NAME_MAX], epoch[17];
	const struct pw_secret_key *key;
	struct pw_book_record *record; /* of seq 1 on */
	size_t count, room;
	char *text;
	size_t length, text_room;
	uint64_t sealed;
	char receipt[512]; /* the body of the newest that is for all up to it, or "" */
	bool no_memory;    /* told at last, by pw_book_whole */
};

void pw_book_begin(struct pw_book *b, const char *bus, const char *epoch,
		   const struct pw_secret_key *key);
void pw_book_free(struct pw_book *b);
/* All zero where there is no memory. */
void pw_book_copy(struct pw_book *to, const struct pw_book *from);
/* r: boot, times, kind and body. */
void pw_book_add(struct pw_book *b, const struct pw_record *r);
void pw_book_seal(struct pw_book *b);  /* its last record, where it is not sealed yet */
void pw_book_alert(struct pw_book *b); /* the same, of one that does not wait */
bool pw_book_whole(const struct pw_book *b); /* nothing went lost for want of memory */
void pw_book_read(const struct pw_book *b, uint64_t seq, struct pw_record *r);
const char *pw_book_hash(const struct pw_book *b, uint64_t seq); /* NULL: no such record */

/* Texts that grow. */
struct pw_growing { char *text; size_t length, room; };
void pw_growing_free(struct pw_growing *g);

/* J10 lines from record first on, up to the last seal that is no later than last, or a stretch of
 * that. The last seq of it; 0: nothing is sealed there; -1: no memory. */
int64_t pw_book_export(const struct pw_book *b, uint64_t first, uint64_t last, bool stretch,
		       struct pw_growing *g);
/* The one record and its seal. 0; -1: no memory. */
int pw_book_export_alert(const struct pw_book *b, uint64_t seq, struct pw_growing *g);

#endif
