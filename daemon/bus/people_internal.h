/* SPDX-License-Identifier: Apache-2.0 */
/*
 * people_internal.h - what people ask of the watch by the page's forms, and what it keeps for that.
 *
 * Part of bus_internal.h, which is what the files of postwalkd include.
 */
#ifndef POSTWALK_PEOPLE_INTERNAL_H
#define POSTWALK_PEOPLE_INTERNAL_H

#include "postwalk/page.h"

struct pw_bus;

/* What a proof is made of: since the last one of a line, or power-on. Bit i: line i. */
struct pw_proving {
	uint32_t levels;     /* settled; raw of a board's own lines */
	uint32_t rose, fell;
	uint32_t sense_low;  /* output i was not driven, and its sense was seen at 0 */
};

/* An output that somebody tries. */
struct pw_trial {
	int64_t end_ms; /* 0: none */
	uint8_t line;
	uint32_t tried; /* in this power-on */
};

/* The one session. */
struct pw_session {
	char id[PW_SESSION_MAX]; /* "": none */
	enum pw_role role;
	int64_t seen_ms;
	int64_t walk_ms;         /* the wiring walk began */
};

/* A PIN that is being looked at, by a process of its own. */
struct pw_gate {
	pid_t pid; /* 0: none */
	pid_t page; /* which asked */
	int fd;
	uint32_t serial;
	enum pw_role role;
	int64_t begun_ms;
	bool killed; /* and answered */
};

/* Refused tries that are not told one by one. */
#define PW_TRIES_KINDS 12
struct pw_tries {
	struct pw_counted {
		enum pw_role role;
		uint32_t tries;
		char why[24];
	} counted[PW_TRIES_KINDS];
	int64_t next_ms; /* may be told from then on */
};

/* Records that anybody may cause, without a PIN. */
struct pw_budget {
	uint32_t spent;
	int64_t spent_ms; /* one is given back a second */
};

/* acts.c: what a form asks. True: done is the answer; false: it comes later, by pw_gate_tend. */
bool pw_act_take(struct pw_bus *b, const struct pw_act *act, uint32_t serial,
		 struct pw_done_act *done);

/* session.c: 256 random bits, PW_SESSION_IDLE_MS, one at a time */
void pw_session_open(struct pw_bus *b, enum pw_role role);
void pw_session_end(struct pw_bus *b); /* and the wiring walk with it */
/* Is it this one, of that role (PW_NOBODY: any)? An idle one ends here. */
bool pw_session_is(struct pw_bus *b, const char *id, enum pw_role role);
bool pw_session_taken(struct pw_bus *b, const char *id); /* another one is open */
void pw_session_touch(struct pw_bus *b);
int64_t pw_session_left_ms(const struct pw_bus *b);

/* gate.c: PINs */
/* 0: it is looked at, pw_gate_tend will tell; else the answer. */
enum pw_answer pw_gate_try(struct pw_bus *b, const struct pw_act *act, uint32_t serial);
/* True: done answers the page's serial. Without blocking. */
bool pw_gate_tend(struct pw_bus *b, uint32_t *serial, struct pw_done_act *done);
int64_t pw_gate_next_ms(const struct pw_bus *b);
void pw_gate_stop(struct pw_bus *b);

/* tries.c: records of tries to come in */
void pw_tries_note(struct pw_bus *b, enum pw_role role, bool accepted, uint32_t tries,
		   const char *why);
void pw_tries_count(struct pw_bus *b, enum pw_role role, const char *why);
void pw_tries_tell(struct pw_bus *b); /* one record a minute */
void pw_tries_tell_all(struct pw_bus *b);
int64_t pw_tries_next_ms(const struct pw_bus *b);

/* proofs.c: lines and signals that were seen to work */
void pw_proofs_begin(struct pw_bus *b);   /* power-on: levels as they are */
void pw_proofs_settled(struct pw_bus *b); /* after the rules have run */
void pw_proofs_raw(struct pw_bus *b, unsigned line, uint8_t level); /* a board's own input */
void pw_proofs_sensed(struct pw_bus *b);  /* after outputs were driven */
void pw_prove(struct pw_bus *b, unsigned line, enum pw_proof_how how);

/* trial.c: an output tried for PW_TRIAL_MS. Not begun: PW_NOT_NOW. */
enum pw_answer pw_trial_begin(struct pw_bus *b, uint8_t line);
/* What it drives now; it ends here. sounding: its output, its last moment included. */
uint32_t pw_trial_step(struct pw_bus *b, uint32_t *sounding);

#endif
