/* SPDX-License-Identifier: Apache-2.0 */
/*
 * wires.h - what raw edges tell of the wiring: counts, widths, verdicts, and a walk that proves it.
 *
 * Pure: time is an argument, no I/O, no allocation. Times are CLOCK_BOOTTIME ms; lines as in
 * policy.h. The watch adds every raw edge (outputs too, as driven); the page shows a copy.
 */
#ifndef POSTWALK_WIRES_H
#define POSTWALK_WIRES_H

#include "postwalk/policy.h"

#define PW_TAIL_MAX 192
#define PW_WIDTHS 8

/* Upper bounds of the bins of pulse widths, ms: 1 2 5 10 20 50 100; the last bin is up to
 * settle_ms, where that is more. */
extern const int64_t pw_width_below_ms[PW_WIDTHS - 1];

/* So many pulses shorter than settle_ms are usual bounce, more are chatter: common practice.
 * Contacts were seen to bounce 1.6 ms on average and 6.2 ms at most (docs/sources.md, E8). */
#define PW_CHATTER_MANY 10

enum pw_wire_verdict {
	PW_WIRE_WELL = 1,
	PW_WIRE_UNSEEN,      /* has not moved since counting began */
	PW_WIRE_ONE_WAY,     /* moved once, and not back */
	PW_WIRE_CHATTERS,    /* more than PW_CHATTER_MANY short pulses in a move, or without one */
	PW_WIRE_BOTH_OPEN,   /* the pair reads 0, 0: a broken common wire, or no supply there */
	PW_WIRE_BOTH_CLOSED, /* the pair reads 1, 1: shorted together, or a contact that stuck */
	PW_WIRE_STUCK,       /* the button reads pressed for longer than held_max */
	PW_WIRE_FAULT,       /* the board cannot have it: see its fault */
	PW_WIRE_VERDICTS
};

struct pw_wire {
	char name[PW_NAME_MAX];    /* "" when not configured */
	bool out;
	int64_t settle_ms;
	enum pw_wire_verdict verdict; /* as pw_wires_judge left it */
	uint8_t level;
	uint16_t tail;             /* edges kept in at_ms, the newest PW_TAIL_MAX */
	uint32_t count;            /* edges since counting began */
	uint32_t chatter;          /* pulses shorter than settle_ms among them */
	uint32_t width[PW_WIDTHS]; /* those, by their width: the bounce histogram */
	int64_t shortest_ms;       /* the shortest pulse of all, or -1 */
	int64_t at_ms[PW_TAIL_MAX]; /* oldest first; levels alternate, the last one led to level */
};

/*
 * The walk through the wiring: one step a line and level. Only the standard inputs are looked at.
 * Moved: came to another settled level. With it: within the longer settle_ms of the two. The pair
 * is stepped as rear_button, and rear_button_nc has to go the other way; where it does not, and no
 * third line moved instead, other is PW_REAR_BUTTON_NC.
 */
enum pw_wiring_result {
	PW_WIRING_OPEN = 1,  /* the step waits: nothing moved yet, or a line has not settled */
	PW_WIRING_RIGHT,     /* came to the level; the button: may have been let go already */
	PW_WIRING_SWAPPED,   /* other moved instead. When edges > 0 on rear_button: instead of
				rear_button_nc; other = that: the two contacts are exchanged */
	PW_WIRING_INVERTED,  /* stood at the level and left it, or rests at the opposite */
	PW_WIRING_NO_EDGE,   /* did not move: an open or shorted wire. Of the pair, other = nc:
				nc did not, or both read 0 all along */
	PW_WIRING_SHORTED,   /* other moved with it and stays there; where one of the two reads live
				as 0, to the opposite level. other = nc: the pair reads the same */
	PW_WIRING_CROSSTALK, /* other had short pulses alone while it moved */
	PW_WIRING_CHATTER,   /* more than PW_CHATTER_MANY short pulses in the step */
	PW_WIRING_SKIPPED,
	PW_WIRING_RESULTS
};

struct pw_wiring_step {
	uint8_t line, level; /* make it come to this */
	enum pw_wiring_result result;
	uint8_t other;       /* as above, else line itself */
	uint16_t edges, other_edges, chatter;
	int64_t shortest_ms; /* in the step, -1 */
};
#define PW_WIRING_STEPS 32

struct pw_wiring {
	bool on;
	uint8_t steps, at; /* at == steps: all judged */
	int64_t begun_ms;  /* of the step under way */
	uint32_t count[PW_LINES], chatter[PW_LINES]; /* when the step began */
	uint8_t level[PW_LINES];
	struct pw_wiring_step step[PW_WIRING_STEPS];
	struct pw_wiring_step look; /* the step under way, as pw_wires_judge left it */
};

struct pw_wires {
	uint32_t version, size;
	int64_t now_ms, counted_ms; /* counting began; the tails may reach further back */
	int64_t disagree_ms;        /* the button's pair disagrees since, or -1 */
	struct pw_wire wire[PW_LINES];
	struct pw_wiring wiring;
};
#define PW_WIRES_VERSION 1

void pw_wires_begin(struct pw_wires *w, const struct pw_policy *p, uint32_t levels, int64_t now_ms);
/* at_ms never goes back on a line; a level that is already so is no edge. */
void pw_wires_edge(struct pw_wires *w, unsigned line, uint8_t level, int64_t at_ms);
void pw_wires_count_anew(struct pw_wires *w, int64_t now_ms);
/* Fills in now_ms, the verdicts, disagree_ms and the wiring's look. faults: bit i: the board cannot
 * have line i. */
void pw_wires_judge(struct pw_wires *w, uint32_t faults, int64_t held_max_ms, int64_t now_ms);

/* -- wiring.c: the walk ------------------------------------------------------------------------ */

/* A step for each level of each configured input of the standard ones, in the order of a walk
 * through the bus. */
void pw_wiring_begin(struct pw_wires *w, int64_t now_ms);
/* The step under way as its edges stand: OPEN while nothing can be said yet. Changes nothing. */
struct pw_wiring_step pw_wiring_look(const struct pw_wires *w, int64_t now_ms);
/* Takes the look as the step's result (what is OPEN as if it had settled; no edge: NO_EDGE) and
 * goes on; again: does the last step anew; skip: SKIPPED. False when there is no step for that. */
bool pw_wiring_next(struct pw_wires *w, int64_t now_ms);
bool pw_wiring_again(struct pw_wires *w, int64_t now_ms);
bool pw_wiring_skip(struct pw_wires *w, int64_t now_ms);
const char *pw_wiring_name(enum pw_wiring_result result); /* "swapped" */
const char *pw_wire_verdict_name(enum pw_wire_verdict verdict);

/* -- vcd.c: raw edges as a value change dump (IEEE 1364-2005, 18) ------------------------------ */

/* The tails as text, 1 ms a unit, from the earliest edge kept of any line, which is time 0, to
 * now_ms (before its own first one a line reads x). date: for $date. Length without the closing
 * zero, or -1 when buf is too small. */
int pw_wires_vcd(const struct pw_wires *w, const char *bus, const char *date, char *buf,
		 size_t size);
#define PW_VCD_MAX 131072

#endif
