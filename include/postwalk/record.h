/* SPDX-License-Identifier: Apache-2.0 */
/*
 * record.h - what is kept: records to be, and the writer that keeps them. See journal.h as well.
 *
 * The watch hands copies (struct pw_note) to a writer process and never waits for it. The writer
 * alone opens STATE/journal.db. Records wait in the watch's memory until the writer says that
 * they are committed: the newest PW_WAITING_MAX, the rest is dropped, counted, and told (J7).
 */
#ifndef POSTWALK_RECORD_H
#define POSTWALK_RECORD_H

#include <sys/types.h>

#include "postwalk/core.h"
#include "postwalk/day.h"
#include "postwalk/pin.h"
#include "postwalk/stretch.h"
#include "postwalk/wires.h"

#define PW_NOTE_VERSION 1
#define PW_WAITING_MAX 4096
#define PW_EDGES_MAX 64
#define PW_BODY_MAX 8192
#define PW_POLICY_TEXT_MAX 6144 /* so that it fits a record as JSON */
#define PW_RECENT_MAX 10

/* Kinds of J8, in order. */
#define PW_KIND_LIST(X)                                                                        \
	X(BOOT, boot) X(POLICY, policy) X(EDGES, edges) X(LEVEL, level) X(SWEEP, sweep)        \
	X(RESTART, restart) X(EXCUSED, excused) X(RUNG, rung) X(FAULT, fault)                  \
	X(SERVICE, service) X(CLOCK, clock) X(PROOF, proof) X(FOUND, found) X(SETUP, setup)    \
	X(PIN, pin) X(LOST, lost) X(RECEIPT, receipt) X(PRUNE, prune) X(EPOCH, epoch)          \
	X(REPORT, report)
enum pw_kind {
	PW_K_NONE, /* invalid */
#define X(up, low) PW_K_##up,
	PW_KIND_LIST(X)
#undef X
	PW_KINDS
};

/* How the watch came to be powered (`boot`). The cut is on the axis of this boot. */
enum pw_clock { PW_CLOCK_FIRST = 1, PW_CLOCK_SAME_BOOT, PW_CLOCK_VOUCHED, PW_CLOCK_LOST };
/* How the run before ended: none was; orderly; only the process did; the power went; the watchdog. */
enum pw_reset { PW_RESET_FIRST = 1, PW_RESET_ORDERLY, PW_RESET_PROCESS, PW_RESET_POWER, PW_RESET_WATCHDOG };

/* One record to be, as a copy. Times in ms; wall: Unix. */
struct pw_note {
	uint16_t version, kind;
	uint32_t size; /* of the part that is used: header and its member; set by pw_writer_note */
	int64_t mono_ms, wall_ms;
	uint8_t wall_ok;
	union {
		struct { int64_t cut_ms, old_cut_ms; enum pw_clock clock; enum pw_reset reset; uint32_t dropped; char version[32], policy[65]; } boot;
		struct { uint32_t length; char text[PW_POLICY_TEXT_MAX]; } policy; /* the whole file */
		struct { uint8_t line, from; uint16_t count; int64_t at_ms[PW_EDGES_MAX]; } edges;
		struct { uint8_t levels; } level;
		struct { struct pw_sweep sweep; char rung[PW_NAME_MAX]; } sweep;
		struct { int64_t t0_ms, at_ms; } restart;
		struct { int64_t at_ms; } excused;
		struct { char name[PW_NAME_MAX]; int64_t at_ms; uint8_t notify; } rung; /* notify: an alert */
		struct { int64_t at_ms; char name[PW_NAME_MAX + 8]; uint8_t on; char words[160]; } fault;
		struct { uint8_t on; } service;
		struct { int64_t before_ms, after_ms; } clock; /* the wall clock stepped */
		struct { uint32_t count; } lost;
		struct { char line[PW_NAME_MAX]; enum pw_proof_how how; } proof;
		/* id: of a defect, 0 for what is none; rung: raised by it ("office"), "" if none */
		struct { enum pw_found_what what; enum pw_part part; uint32_t id; int64_t t0_ms; char who[PW_CODE_MAX], words[PW_SAID_MAX], rung[PW_NAME_MAX]; } found;
		/* id: the defect that is certified; defects: how many stand in what is signed or reviewed */
		struct { enum pw_report_act act; uint32_t id, defects; char who[PW_CODE_MAX], words[PW_SAID_MAX]; } report;
		struct { char who[PW_CODE_MAX], policy[65]; int64_t begun_ms; struct pw_wiring wiring; } setup;
		/* tries: how many this record tells of; why: a word */
		struct { enum pw_role role; uint8_t accepted; uint32_t tries; char why[24]; } pin;
	} of;
};

/* What the writer finds at its start. */
struct pw_kept_state {
	bool found;              /* a journal with a kept state was there */
	bool ended;              /* and that was its orderly end */
	struct pw_state state;   /* on the clock of the boot in which it was kept */
	int64_t mono_ms, wall_ms; /* when it was last known to be alive: stamp or last record (J12) */
	char boot_id[40];        /* the kernel's, of that boot */
	uint64_t boot;           /* counter of starts, this one included */
	uint32_t recent_count;   /* newest first */
	/* wall_ms: when it closed, its stop t0_ago_ms before; walk_ms: PW_NO_TIME without a press */
	struct pw_recent { int64_t wall_ms, t0_ago_ms, walk_ms, late_ms; uint32_t findings; enum pw_verdict verdict; } recent[PW_RECENT_MAX];
	char policy_hash[65];    /* of the last policy record, "" if none */
	struct pw_day day;
};

/* -- writer.c: the watch's side ------------------------------------------------------------------ */

struct pw_writer;

/* Starts the writer process. Never blocks on the disk. 0, or -1 with errno (no memory, no fork).
 * A writer that dies is started again by pw_writer_tend; what it had not committed is handed over
 * again, and nothing is written twice. keep_days: J11. */
int pw_writer_start(const char *state_dir, const char *bus, uint32_t keep_days,
		struct pw_writer **w);
/* Waits at most wait_ms for the disk to take what is waiting, then ends the process. */
void pw_writer_stop(struct pw_writer *w, int wait_ms);
int pw_writer_fd(const struct pw_writer *w);        /* epoll it; -1: none; may change in tend */
bool pw_writer_wants_out(const struct pw_writer *w); /* EPOLLOUT as well */
pid_t pw_writer_pid(const struct pw_writer *w);

/* Waits at most wait_ms for what was kept. 0; -1: not in time, or the journal cannot be had. It comes
 * before the journal has been judged (J6): the alarm waits for no judgement. */
int pw_writer_kept(struct pw_writer *w, int wait_ms, struct pw_kept_state *kept);

/* A copy is taken; nothing is written before the next keep. */
void pw_writer_note(struct pw_writer *w, const struct pw_note *note);
/* The state after these notes: both are committed in one transaction (R20). */
void pw_writer_keep(struct pw_writer *w, const struct pw_state *s, int64_t mono_ms,
		    int64_t wall_ms);
/* Hands over and takes answers, without blocking; restarts a dead writer. Call when the fd is
 * ready, after keep, and at pw_writer_next_ms. True when the fault below changed. */
bool pw_writer_tend(struct pw_writer *w, int64_t now_ms);
int64_t pw_writer_next_ms(const struct pw_writer *w);
/* Why records are not reaching the disk, or NULL: the fault `journal` (J7). */
const char *pw_writer_fault(const struct pw_writer *w);
uint32_t pw_writer_waiting(const struct pw_writer *w);
uint64_t pw_writer_seq(const struct pw_writer *w); /* last committed, as told */
const struct pw_delivery *pw_writer_delivery(const struct pw_writer *w); /* changes in tend */

/* -- chain.c, text.c, body.c, kept.c: names, and records as JSON ------------------------------------ */

const char *pw_kind_name(enum pw_kind kind);
enum pw_kind pw_kind_find(const char *name); /* PW_K_NONE: no such kind */

/* The lines that replay prints, without the line end. Lengths; -1 when buf is too small. */
int pw_text_effect(const struct pw_effect *e, const struct pw_policy *p, char *buf, size_t size);
int pw_text_standing(const struct pw_state *s, int64_t at_ms, char *buf, size_t size);
/* The body of the record that a note becomes (J8). Length, or -1. */
int pw_text_body(const struct pw_note *n, char *buf, size_t size);
/* A journal's sweep body read back. 0, or -1 when it is not one. */
int pw_text_sweep(const char *body, struct pw_sweep *sweep, char rung[PW_NAME_MAX]);
/* A proof, found, report, setup (its steps) or pin body read back. 0, or -1 when it is not one. */
int pw_text_told(enum pw_kind kind, const char *body, int64_t wall_ms, struct pw_note *n);
int pw_text_kept(const struct pw_state *s, char *buf, size_t size); /* the kept state as text */
int pw_text_kept_read(const char *text, struct pw_state *s); /* and back; -1: not such a text */

/* -- policy_file.c: the policy as a file ------------------------------------------------------------ */

/* Reads and judges it. 0, or -1 with "FILE:LINE: what was expected" in why. need_bus: an id is
 * required. hash: SHA-256 of the file's text, 64 hex digits and a zero (NULL: not wanted). text: the
 * file's text, a buffer of PW_POLICY_TEXT_MAX (NULL: not wanted). */
int pw_policy_load(const char *path, bool need_bus, struct pw_policy *p, char hash[65], char *text,
		   char *why, size_t size);
/* policy_text.c: one that is at hand as text. 0, or -1 with a sentence. */
int pw_policy_read(const char *text, struct pw_policy *p, char *why, size_t size);

#endif
