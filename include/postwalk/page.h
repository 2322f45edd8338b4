/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page.h - what is shown on the bus: a web page and /status.json, by a process of its own.
 *
 * The page process gets a listening socket and a channel to the watch, and drops every right it
 * can. It asks for a snapshot; the watch answers with a copy, never blocking: an answer that the
 * channel cannot take is dropped. Killing, stopping or loading the page moves nothing in the watch.
 */
#ifndef POSTWALK_PAGE_H
#define POSTWALK_PAGE_H

#include <sys/types.h>

#include "postwalk/record.h"

#define PW_SNAPSHOT_VERSION 3
#define PW_FAULTS_SHOWN 8

/* How things stand: a copy, version and size first, checked before the rest is read. */
struct pw_snapshot {
	uint32_t version, size;
	int64_t now_ms, wall_ms;      /* boot clock; Unix */
	char bus[PW_NAME_MAX];
	char board[16];               /* "gpiod", "bench" */
	enum pw_phase phase;
	enum pw_signal sounding;
	char rung[PW_NAME_MAX];       /* its name, "none" */
	bool carried, service;
	int64_t t0_ms, due_ms, basis_ms, press_ms, service_end_ms; /* of the open sweep; PW_NO_TIME */
	int64_t walk_min_ms, return_min_ms, return_max_ms;
	int64_t rows;
	enum pw_owed_when owed_when;
	uint32_t findings;            /* of the open sweep */
	int64_t refused_ms;           /* the last refusal's edge in it, or PW_NO_TIME */
	enum pw_why refused_why;
	uint32_t levels, outputs;     /* bit i: line i */
	struct pw_snapshot_line {
		char name[PW_NAME_MAX];
		bool configured, out;
		int64_t age_ms;       /* since it last changed; -1: not seen to change */
		char fault[120];      /* "" when well */
	} line[PW_LINES];
	uint32_t fault_count;
	struct { char name[PW_NAME_MAX + 8]; char words[160]; } fault[PW_FAULTS_SHOWN];
	uint32_t recent_count;        /* newest first; wall_ms of closing */
	struct pw_recent recent[PW_RECENT_MAX];
	uint64_t seq;                 /* records committed, as told */
	uint32_t waiting;             /* records not yet on the disk */
	struct pw_delivery delivery;  /* how they reach the office */
	struct pw_day day;
	char policy[65];              /* hash of the policy in force */
	int64_t proof_ms;             /* a proof is fresh for so long */
	char call[PW_SAID_MAX];       /* whom to call when a child is found, by the yard; "" */
	int64_t trial_end_ms;         /* an output is tried until then, or PW_NO_TIME */
	uint8_t trial_line;
};

/* -- what a form asks of the watch ------------------------------------------------------------------- */

#define PW_SESSION_MAX 65 /* 256 random bits as hex digits, and a zero; "" for none */
#define PW_SESSION_IDLE_MS 600000
#define PW_TRIAL_MS 2000

enum pw_act_kind {
	PW_A_FOUND = 1, /* what, part, who (may be ""), words */
	PW_A_HEARD,     /* line (an output), yes */
	PW_A_TRY,       /* line (an output): for PW_TRIAL_MS; not while a sweep is open; R19 holds */
	PW_A_SIGN,      /* who: the day's vehicle report */
	PW_A_REVIEW,    /* who: the last one signed */
	PW_A_OPEN,      /* role, pin: a session; the only act that is answered late */
	PW_A_TOUCH,     /* session: is it still open? yes: by a hand, which keeps it open */
	PW_A_LEAVE,     /* session */
	PW_A_SERVICE,   /* session (mechanic), yes: R23 */
	PW_A_CERTIFY,   /* session (mechanic), id, yes: repaired, else: no need; who, words */
	PW_A_COUNT,     /* session (installer): counts of wires begin anew */
	PW_A_WIRING,    /* session (installer), step: begin, next, again, skip, or end with who */
	PW_A_REFUSED,   /* from the page itself: it turned a form away; words: why, one word */
	PW_ACTS
};
enum pw_step_kind { PW_STEP_BEGIN = 1, PW_STEP_NEXT, PW_STEP_AGAIN, PW_STEP_SKIP, PW_STEP_END };

struct pw_act {
	enum pw_act_kind kind;
	char session[PW_SESSION_MAX], pin[PW_PIN_MAX], who[PW_CODE_MAX], words[PW_SAID_MAX];
	enum pw_role role;
	enum pw_found_what what;
	enum pw_part part;
	enum pw_step_kind step;
	uint32_t id;
	uint8_t line;
	bool yes;
};

enum pw_answer {
	PW_DONE_SO = 1,     /* it was done */
	PW_PIN_IS_WRONG, PW_PIN_TOO_SOON, /* wait_ms */
	PW_PIN_UNSET,
	PW_PIN_IN_HAND,     /* another try is being looked at */
	PW_SESSION_TAKEN,   /* somebody else has the one session */
	PW_SESSION_NONE,    /* none, over, or of the other role */
	PW_NOT_NOW,         /* not in this phase, or nothing to do it to */
	PW_NOT_SUCH,        /* no such line, defect, step or code */
	PW_NOT_DONE         /* trouble: try again */
};
struct pw_done_act {
	enum pw_answer answer;
	int64_t wait_ms;     /* PIN_TOO_SOON; of a session: until it is over */
	enum pw_role role;   /* of the session, also of one that this act is not for; PW_NOBODY: none */
	char session[PW_SESSION_MAX]; /* OPEN */
};

struct pw_page;

/* The page at HOST:PORT, a numeric address (IPv6 in brackets) or localhost. pw_page_tend binds it and
 * starts the process: a taken port or a bad address is its fault, tried again, and does not end the
 * watch. 0, or -1 with errno (no memory). */
int pw_page_start(const char *listen, struct pw_page **page);
void pw_page_stop(struct pw_page *page);
/* One fd for the page's whole life, whatever becomes of its process. Readable: the process asks, or
 * is ready, or is dead: call pw_page_asked, then pw_page_tend. */
int pw_page_fd(const struct pw_page *page);
/* 0 when there is no process. */
pid_t pw_page_pid(const struct pw_page *page);
/* Restarts a dead page, binds again; without blocking. True when its fault changed. Call it once
 * after pw_page_start, after pw_page_asked, and at pw_page_next_ms (PW_NEVER: no need). */
bool pw_page_tend(struct pw_page *page, int64_t now_ms);
int64_t pw_page_next_ms(const struct pw_page *page);
/* Takes what is waiting, one at a time: call it until it says NOTHING, and answer each with a copy. */
enum pw_asked { PW_ASKED_NOTHING = 1, PW_ASKED_SNAPSHOT, PW_ASKED_WIRES, PW_ASKED_ACT };
/* act: filled in for ACT and WIRES (its session: an installer's). serial: names it in the answer. */
enum pw_asked pw_page_asked(struct pw_page *page, struct pw_act *act, uint32_t *serial);
void pw_page_answer(struct pw_page *page, const struct pw_snapshot *snapshot);
void pw_page_answer_wires(struct pw_page *page, uint32_t serial, const struct pw_wires *wires);
/* OPEN may be answered in a later wake-up; the page waits 3 s for it. */
void pw_page_answer_act(struct pw_page *page, uint32_t serial, const struct pw_done_act *done);
/* Why there is no page, or NULL. */
const char *pw_page_fault(const struct pw_page *page);

/* /status.json of a snapshot. Length without the closing zero, or -1 when buf is too small.
 * Fields: docs/status.md. */
int pw_page_status(const struct pw_snapshot *s, char *buf, size_t size);

#endif
