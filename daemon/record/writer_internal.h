/* SPDX-License-Identifier: Apache-2.0 */
/* writer_internal.h - what the two sides of the writer share: memory, messages, the start. */
#ifndef POSTWALK_WRITER_INTERNAL_H
#define POSTWALK_WRITER_INTERNAL_H

#include "record_internal.h"

/* -- waiting.c: notes in memory, the newest PW_WAITING_MAX ------------------------------------- */

/* A ring of bytes. Positions only grow; their place is the position modulo the size. */
struct pw_waiting {
	unsigned char *bytes;
	size_t size;
	uint64_t first, kept, end;   /* positions; from kept on, no state has been kept yet */
	uint32_t count, kept_count;
	uint32_t dropped;            /* the oldest ones, since the last clear */
	int64_t dropped_mono_ms, dropped_wall_ms; /* of the last one dropped */
	uint8_t dropped_wall_ok;
};

int pw_waiting_init(struct pw_waiting *q); /* -1: no memory */
void pw_waiting_fini(struct pw_waiting *q);
void pw_waiting_clear(struct pw_waiting *q);
void pw_waiting_add(struct pw_waiting *q, const struct pw_note *note, size_t size);
void pw_waiting_keep(struct pw_waiting *q); /* what is in it now is kept */
/* The note at a position (0: the first), and where the next one is. NULL: no kept one is left.
 * Whole only in its first note->size bytes. */
const struct pw_note *pw_waiting_at(const struct pw_waiting *q, uint64_t *position);
/* Moves the notes that are not kept into another, empty one. */
void pw_waiting_move_open(struct pw_waiting *q, struct pw_waiting *to);

/* -- messages, one a datagram ------------------------------------------------------------------ */

#define PW_MESSAGE_VERSION 1
enum pw_message_kind {
	PW_M_BEGIN = 1, /* down: a batch begins; whatever came of an unfinished one is void */
	PW_M_NOTE,      /* down: pw_note, cut to its size */
	PW_M_KEEP,      /* down: pw_keep, cut to its refusals: the batch is whole, commit it */
	PW_M_END,       /* down: an orderly stop; nothing follows */
	PW_M_KEPT,      /* up: what a start finds, before the journal is judged (J6); pw_kept_state */
	PW_M_JUDGED,    /* up: it is believed, or a new one is begun; the rest is only writing */
	PW_M_READY,     /* up: the journal is open and believed; pw_ready */
	PW_M_DONE,      /* up: committed; pw_done */
	PW_M_TROUBLE,   /* up: pw_trouble; empty words: none */
	PW_M_DELIVERY   /* up: how records reach the office; pw_delivery */
};

struct pw_message_head {
	uint16_t version, kind;
	uint32_t size; /* of what follows */
	uint64_t batch;
};

struct pw_keep {
	int64_t mono_ms, wall_ms;
	struct pw_state state;
};

struct pw_done {
	uint64_t seq;
};

struct pw_ready {
	uint64_t seq; /* the head's batch: the last one committed */
	uint64_t boot;
};

struct pw_trouble {
	char now[PW_WORDS_MAX];   /* why records are not reaching the disk, while it is so */
	char start[PW_WORDS_MAX]; /* what was wrong with the journal, until the next start */
};

struct pw_message {
	struct pw_message_head head;
	union {
		struct pw_note note;
		struct pw_keep keep;
		struct pw_kept_state kept;
		struct pw_ready ready;
		struct pw_done done;
		struct pw_trouble trouble;
		struct pw_delivery delivery;
	} of;
};

size_t pw_keep_size(const struct pw_state *s); /* struct pw_keep without refusals that are not */

/* -- start.c ----------------------------------------------------------------------------------- */

/* What a start finds in the journal (row: where no kept one holds, when the last record was) and its
 * stamp. boot: this one's counter, 0 when it is to be drawn. 0; -1, -2 with why. A state that cannot
 * be read is not found, and why says so (else it is empty). */
int pw_start_find(struct pw_journal *j, const char *dir, const struct pw_public_key *key, uint64_t boot,
		  struct pw_kept_state *out, struct pw_kept_row *row, char *why, size_t size);

/* -- writer_child.c ---------------------------------------------------------------------------- */

struct pw_pace {
	int retry_ms; /* after trouble with the disk */
	int stamp_ms; /* between two alive stamps (J12) */
	uint32_t keep_days; /* J11; 0: nothing is ever dropped */
};

struct pw_order {
	char *dir, *bus;
	struct pw_pace pace;
	uint64_t boot;                 /* 0: not drawn yet */
	char start[PW_WORDS_MAX];      /* told by an earlier writer of this start */
};

/* The writer process. Ends when the other side of sock has ended. */
_Noreturn void pw_writer_child(int sock, const struct pw_order *order);

/* -- writer.c ---------------------------------------------------------------------------------- */

/* As pw_writer_start, at another pace (tests). */
int pw_writer_start_at(const char *dir, const char *bus, const struct pw_pace *pace,
		       struct pw_writer **w);

#endif
