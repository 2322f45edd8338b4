/* SPDX-License-Identifier: Apache-2.0 */
/*
 * board.h - wires in, signals out.
 *
 * A board gives logical levels (1 = what the line's name says is so; polarity is dealt with
 * here) and takes outputs. Two kinds behind this door: "gpiod" (Linux GPIO character device) and
 * "bench" (a Unix socket that a person or a program plays the wires on). Nothing here blocks.
 * What cannot be had (no such chip, line busy, no permission) does not fail the board: the line
 * reads 0, its fault stands in words, it is tried again, and the other lines go on. An input that
 * goes away later keeps its last level until it is back.
 */
#ifndef POSTWALK_BOARD_H
#define POSTWALK_BOARD_H

#include "postwalk/policy.h"

struct pw_board;

/* A difference: line `line` came to read `level` at `at_ms` (CLOCK_BOOTTIME). */
struct pw_edge {
	int64_t at_ms;
	uint8_t line, level;
};

/* kind: "gpiod" or "bench"; place: the bench's socket path, else NULL. The policy must outlive
 * the board; only its [line] parts are read. 0, or -1 with why in words (only the bench's socket
 * can fail this way, or memory). */
int pw_board_open(const char *kind, const char *place, const struct pw_policy *p, int64_t now_ms,
		  struct pw_board **board, char *why, size_t size);
void pw_board_close(struct pw_board *b); /* outputs go to 0 first; NULL is fine */

/* Readable when pw_board_read has something to do. One fd for the board's whole life. */
int pw_board_fd(const struct pw_board *b);

/* Inputs as last known, outputs as last written; bit i = line i. Right after opening: as read
 * then. Differences that pw_board_read has not yet handed out are in it already. */
uint32_t pw_board_levels(const struct pw_board *b);

/* Takes what is ready, at most max differences, ordered by (at_ms, line); stamps are never later
 * than now_ms and do not go back from one call to the next. Levels are read again after a burst,
 * after dropped edges, and when due. Call again while it returns max. The count. */
size_t pw_board_read(struct pw_board *b, int64_t now_ms, struct pw_edge *edge, size_t max);

/* When pw_board_read wants to be called without the fd being readable: the slow tick of a minute
 * (levels read again), or a line that is tried again (5 s). */
int64_t pw_board_next_ms(const struct pw_board *b);

/* Drives outputs: bit i = line i. Only differences are written. */
void pw_board_drive(struct pw_board *b, uint32_t outputs, int64_t now_ms);

/* What is wrong with a line, in words that say what to do, or NULL. Lives until the next call. */
const char *pw_board_fault(const struct pw_board *b, unsigned line);
/* Edges that the kernel or the bench is known to have dropped since opening. */
uint32_t pw_board_dropped(const struct pw_board *b);

/* -- player.c: patterns, played by whoever owns the clock ------------------------------------ */

/* What is to sound now: a repeating signal, and a short one over it (refused, accepted, the
 * check at key-on). Plain data; zero is silence. */
struct pw_player {
	enum pw_signal signal; /* PW_SIGNAL_NONE: nothing */
	int64_t signal_ms;     /* since */
	enum pw_signal once;   /* PW_REFUSED, PW_ACCEPTED or PW_SIGNAL_NONE */
	int64_t once_ms;
	int64_t check_end_ms;  /* the check of lamp and beeper lasts until then */
};

#define PW_CHECK_MS 1500

void pw_player_init(struct pw_player *pl);
void pw_player_signal(struct pw_player *pl, enum pw_signal signal, int64_t now_ms);
void pw_player_once(struct pw_player *pl, enum pw_signal signal, int64_t now_ms);
void pw_player_check(struct pw_player *pl, int64_t now_ms); /* the key came on */

/* Levels of the outputs now: bit i = line i. may: outputs that may sound (a mask a signal, from
 * pw_outputs of the core); dome is the caller's. The check lights what at least one signal may. */
uint32_t pw_player_levels(const struct pw_player *pl, const struct pw_policy *p,
			  const uint32_t may[PW_SIGNALS], int64_t now_ms);
int64_t pw_player_next_ms(const struct pw_player *pl, const struct pw_policy *p, int64_t now_ms);

/* -- supervise.c: a sounder that is told to sound and is not seen to --------------------------- */

#define PW_SILENT_MS 2000

struct pw_supervise {
	int64_t driven_ms[PW_LINES]; /* since when its signal has sounded unseen; PW_NEVER: not */
	uint32_t seen;               /* sensed since its signal began */
	uint32_t silent;             /* bit i: fault silent_NAME of output i stands */
};

/* The line that senses output i, or -1. */
int pw_sense_of(const struct pw_policy *p, unsigned i);
void pw_supervise_init(struct pw_supervise *sv);
/* sounding: outputs that the sounding signal drives and that may sound (whole pattern, not its
 * pulses); driven: their levels now; levels: the board's. Returns the outputs whose fault
 * changed. A fault ends when the sense is seen while its output is driven. */
uint32_t pw_supervise_step(struct pw_supervise *sv, const struct pw_policy *p, uint32_t sounding,
			   uint32_t driven, uint32_t levels, int64_t now_ms);
int64_t pw_supervise_next_ms(const struct pw_supervise *sv);

#endif
