/* SPDX-License-Identifier: Apache-2.0 */
/*
 * stretch.h - sealed stretches of the journal, handed by the writer to the uplink.
 *
 * The writer listens at STATE/uplink.sock (SOCK_SEQPACKET, 0660) and answers one uplink at a time; a
 * newer one takes the place of an older one. Every message is one struct pw_hand, version and size
 * checked before the rest is read; a text comes as a sealed memfd beside it (SCM_RIGHTS), as J10 export
 * lines: head, records, seals, end. The writer never waits for the uplink: what the socket does not
 * take is dropped, and asked for again. Nothing but what is sealed ever leaves.
 */
#ifndef POSTWALK_STRETCH_H
#define POSTWALK_STRETCH_H

#include "postwalk/keys.h"

#define PW_HAND_VERSION 1
#define PW_UPLINK_SOCKET "uplink.sock" /* in the state folder */
#define PW_STRETCH_LEAST 65536   /* bytes of text aimed at; the last stretch of all may be shorter */
#define PW_STRETCH_MOST 262144   /* and never passed, unless one sealed stretch is longer by itself */

enum pw_hand_kind {
	/* up, by the uplink: each but SAYS is answered by one of the same kind, with bus and epoch */
	PW_H_WHERE = 1, /* -> first, seq (the last sealed one), hash, receipted, alerts */
	PW_H_HASH,      /* seq -> hash; "": that record is not there */
	PW_H_STRETCH,   /* first -> text: from first to a seal; first, seq, hash; no text: nothing. words: why,
			 * where there should be one. Before the beginning (J11): first, where that is */
	PW_H_ALERT,     /* first -> text: the oldest alert without a receipt from first on, with its seal; seq,
			 * hash; no text: nothing */
	PW_H_RECEIPT,   /* receipt -> done, words (why not) */
	PW_H_SAYS,      /* state, words: how delivery stands, for page and status */
	/* down, unasked */
	PW_H_NEWS       /* something was sealed, or there is an alert (alerts > 0): look */
};
enum pw_delivery_state {
	PW_D_NONE,      /* no uplink, or not enrolled */
	PW_D_AWAY,      /* the office cannot be reached now: the usual thing on the road */
	PW_D_SENDING,
	PW_D_DONE,      /* all that is sealed is receipted */
	PW_D_REFUSED    /* the office, or its certificate, says no: a person must look. words: why */
};

struct pw_hand {
	uint16_t version, kind;
	uint32_t size;            /* of this struct */
	char bus[PW_NAME_MAX], epoch[17], hash[65];
	uint64_t first, seq;
	uint64_t receipted;       /* up to there; 0: nothing yet */
	uint32_t alerts;          /* without a receipt */
	uint8_t done;
	uint8_t state;            /* enum pw_delivery_state */
	struct pw_receipt receipt;
	char words[160];
};

/* How delivery stands, as the watch hears it from the writer. */
struct pw_delivery {
	enum pw_delivery_state state;
	uint64_t receipted;       /* the last seq that the office has receipted; 0: none */
	int64_t receipted_ms;     /* when, by the office's clock */
	uint32_t alerts;          /* told to nobody yet */
	int64_t alert_ms;         /* the office's clock, of the last alert's receipt; PW_NO_TIME: none */
	/* the last time that a child was found and the office has it: by the bus's clock, as day.h has it (0: not
	 * yet), and since when, by the office's */
	int64_t child_wall_ms, child_ms;
	char words[160];
};

#endif
