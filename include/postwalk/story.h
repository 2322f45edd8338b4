/* SPDX-License-Identifier: Apache-2.0 */
/*
 * story.h - one sweep out of a journal's records: what its drawing and its story are made of.
 *
 * Records and seals are given in the order of seq, each seal right behind its record, from the stop
 * before on at the latest (or from further back: what is known is the same). Given with them is the
 * policy's record, wherever it stands before. Nothing is checked but the link from the sweep's record
 * to the seal over it.
 */
#ifndef POSTWALK_STORY_H
#define POSTWALK_STORY_H

#include "postwalk/journal.h"

enum pw_moment_kind {
	PW_AT_LINE = 1, /* line, level: a raw edge */
	PW_AT_LEVELS,   /* level: of all inputs, read at power-on */
	PW_AT_POWER,    /* name: how the run before ended, as boot has it; gone at at_ms, back at back_ms */
	PW_AT_RUNG,     /* name */
	PW_AT_FAULT,    /* name; on: it began */
	PW_AT_SERVICE,  /* on: it began: beeper and horn muted */
	PW_AT_CLOCK,    /* number: by so many ms the wall clock was set forward (less: back) */
	PW_AT_LOST      /* number: of records that were dropped; seq: before which one */
};
struct pw_moment { /* on the clock of the start in which the sweep closed */
	enum pw_moment_kind kind;
	int64_t at_ms, back_ms, number;
	uint64_t seq; /* of its record */
	uint8_t line, level;
	bool on, lost; /* POWER, lost: for how long is not known */
	char name[PW_NAME_MAX + 8];
};

enum pw_seal_state { PW_UNSEALED = 1, PW_SEALED, PW_SEAL_WRONG, PW_CHAIN_BROKEN };

struct pw_told_sweep {
	struct pw_record record;      /* its own; the body is gone */
	struct pw_sweep sweep;
	char rung[PW_NAME_MAX];
	bool has_policy;
	struct pw_policy policy;      /* by which the press was judged */
	char policy_hash[65];
	uint64_t policy_seq;
	struct pw_moment *moment;     /* from the stop before on */
	size_t count, room;
	uint8_t levels;               /* of the inputs, before the first of these */
	enum pw_seal_state seal;
	uint64_t seal_seq;            /* of the first one over it; CHAIN_BROKEN: where */
};

struct pw_gathering;
/* seq: of the sweep's record. key: that its seal is to be by; NULL: there is none. Both t and key live as
 * long. NULL: no memory. */
struct pw_gathering *pw_gather_begin(const char *bus, uint64_t seq, const struct pw_public_key *key,
				     struct pw_told_sweep *t);
/* 0; -1: no memory, or seq is no sweep's record; with one sentence in why. */
int pw_gather_record(struct pw_gathering *g, const struct pw_record *r, char *why, size_t size);
void pw_gather_seal(struct pw_gathering *g, const struct pw_seal *s);
bool pw_gather_done(const struct pw_gathering *g); /* the sweep is told whole, and sealed */
/* Frees g. Whether seq has been given; t is to be freed in any case. */
bool pw_gather_end(struct pw_gathering *g);
void pw_gather_free(struct pw_told_sweep *t);

/* a + b and a - b, or the furthest that there is in that direction. */
int64_t pw_plus(int64_t a, int64_t b);
int64_t pw_minus(int64_t a, int64_t b);

/* -- a line as it settled ---------------------------------------------------------------------- */

/* Calls take for each settled change (R1) up to and with until_ms, with the edge. What it was before. */
bool pw_told_line(const struct pw_told_sweep *t, enum pw_line line, int64_t until_ms,
		  void (*take)(void *ctx, int64_t at_ms, bool level), void *ctx);

#endif
