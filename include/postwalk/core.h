/* SPDX-License-Identifier: Apache-2.0 */
/*
 * core.h - what a bus owes. Pure: time is an argument, effects come out through a sink.
 *
 * Life: pw_step with POWER_ON_FIRST (or, after a gap, a kept state and POWER_ON), then events as
 * they come, times never going back; pw_run lets settling and timers happen up to a time;
 * pw_next_ms says when they next will. All times are int64 milliseconds of one axis.
 * Everything due before a moment must have run (pw_run(at - 1)) before an event of that moment
 * is stepped; what is due in the moment itself waits for pw_run(at).
 */
#ifndef POSTWALK_CORE_H
#define POSTWALK_CORE_H

#include "postwalk/policy.h"

#define PW_NO_TIME INT64_MIN /* an edge that has not been */
#define PW_NEVER INT64_MAX   /* a timer that is not running */
#define PW_REFUSALS_MAX 128

enum pw_phase { PW_PARKED = 1, PW_DRIVING, PW_OWED, PW_OVERDUE, PW_WALK_BACK, PW_PHASES };
enum pw_verdict { PW_DONE = 1, PW_LATE, PW_DOUBTFUL, PW_MISSED };
enum pw_why { PW_REAR_OPEN = 1, PW_TOO_SOON };
enum pw_fault { PW_BUTTON_HELD = 1, PW_BUTTON_CONTACTS };

/* Findings in the order of their names, as records list them. */
#define PW_FINDING_LIST(X)                                                                     \
	X(ALARM_SPENT, alarm_spent) X(BUTTON_CONTACTS, button_contacts)                        \
	X(BUTTON_HELD, button_held) X(CARRIED, carried) X(CLOCK_UNSURE, clock_unsure)          \
	X(DOOR_BEFORE_PRESS, door_before_press) X(DOOR_LEFT_OPEN, door_left_open)              \
	X(DRIVEN_OFF, driven_off) X(EXIT_UNSEEN, exit_unseen) X(LEFT_BY_REAR, left_by_rear)    \
	X(LEFT_RUNNING, left_running) X(MUTED, muted) X(POWER_LOST, power_lost)                \
	X(POWERED_DOWN, powered_down) X(REAR_OPENED, rear_opened) X(RETURN_SHORT, return_short)

enum pw_finding {
#define X(up, low) PW_F_##up,
	PW_FINDING_LIST(X)
#undef X
	PW_FINDINGS
};

struct pw_refusal {
	int64_t at_ms; /* the press edge */
	enum pw_why why;
};

struct pw_sweep {
	int64_t t0_ms, due_ms, basis_ms, press_ms, late_ms, exit_ms, ladder_ms, closed_ms;
	int64_t door_opened_ms;
	bool door_unloading, door_had, door_event; /* how the door stood for R13, R15 */
	bool left_running, key_fell;                          /* R25 */
	uint32_t findings;                                    /* bit i: finding i */
	enum pw_signal rung;                                  /* the highest reached */
	enum pw_verdict verdict;                              /* once closed */
	uint32_t refused;     /* refusals in all; the first PW_REFUSALS_MAX are kept */
	struct pw_refusal refusal[PW_REFUSALS_MAX];
};

struct pw_input {
	int64_t departed_ms; /* when the raw level left the settled one */
	int64_t edge_ms;     /* of the last settled event, or power-on */
	uint32_t chatter;
	uint8_t raw, level;
};

enum pw_contact { PW_RELEASED = 1, PW_PRESSED, PW_DISAGREE };

struct pw_button {
	enum pw_contact contact;
	bool armed;          /* seen released since the last press event and power-on */
	bool fault[PW_BUTTON_CONTACTS + 1];
	int64_t since_ms;    /* pressed or disagreeing since */
};

struct pw_watch { /* R25 */
	bool on, spent;
	int64_t begin_ms, door_ms;
};

struct pw_state {
	enum pw_phase phase;
	bool powered, carried, lamps_used, gap_mark, service;
	int64_t now_ms, cut_ms, power_on_ms, key_on_ms, service_end_ms;
	int64_t returned_ms; /* when the time to walk back was last up */
	struct pw_watch watch;
	struct pw_button button;
	struct pw_input input[PW_INPUTS];
	uint32_t departing;  /* bit i: input i is settling */
	int64_t timer_ms;    /* the earliest timer */
	enum pw_signal sounding;
	struct pw_sweep sweep; /* the open one, in owed, overdue, walk_back */
};

enum pw_event_kind {
	PW_POWER_ON_FIRST = 1, PW_POWER_ON, PW_POWER_CUT, PW_LEVELS, PW_SERVICE_ON, PW_SERVICE_OFF
};

struct pw_event {
	enum pw_event_kind kind;
	int64_t at_ms;
	uint8_t mask, levels; /* bit i: input i; POWER_ON*: every input is read, mask is not */
	bool clock_lost;      /* POWER_ON: the wall clock cannot vouch for the gap (R21) */
};

enum pw_effect_kind {
	PW_E_SWEEP = 1, /* a sweep closed */
	PW_E_RESTART,   /* t0_ms, edge_ms: a stall; the sweep is as if it had not been */
	PW_E_EXCUSED,   /* edge_ms */
	PW_E_FAULT,     /* fault, on */
	PW_E_RUNG,      /* rung: the sounding rung changed (NONE included) */
	PW_E_REFUSED,   /* edge_ms, why */
	PW_E_ACCEPTED,  /* edge_ms */
	PW_E_PRESS,     /* edge_ms: a press that nothing asked for */
	PW_E_NOTIFY,    /* rung: tell the office, once a sweep */
	PW_E_KEY_ON,    /* edge_ms */
	PW_E_KEY_OFF    /* edge_ms; comes before the key-off is judged: a new policy may be laid */
};

struct pw_effect {
	enum pw_effect_kind kind;
	int64_t at_ms; /* the moment at which it was handled */
	int64_t t0_ms, edge_ms;
	enum pw_fault fault;
	bool on;
	enum pw_signal rung;
	enum pw_why why;
	const struct pw_sweep *sweep; /* SWEEP: lives until the sink returns */
};

struct pw_sink {
	void (*take)(void *ctx, const struct pw_effect *e);
	void *ctx;
};

/* One event. The count of settled events and the like that were handled: when not 0, the state
 * is worth keeping before the next is handled (R20). */
unsigned pw_step(struct pw_state *s, const struct pw_policy *p, const struct pw_event *ev,
		 const struct pw_sink *out);
/* Settling and timers up to and with until_ms. The count, as above. */
unsigned pw_run(struct pw_state *s, const struct pw_policy *p, int64_t until_ms,
		const struct pw_sink *out);
/* When pw_run has something to do next: PW_NEVER when nothing is due or power is off. */
int64_t pw_next_ms(const struct pw_state *s, const struct pw_policy *p);
/* Moves every kept time by delta (another boot's clock). */
void pw_shift(struct pw_state *s, int64_t delta_ms);

/* The moment at which an owed sweep comes due as things stand (R13), else PW_NEVER. */
int64_t pw_due_ms(const struct pw_state *s, const struct pw_policy *p);
/* Outputs that may sound or shine now: bit i = line i (R19, R23); of all of them, and of a signal's. */
uint32_t pw_may_sound(const struct pw_state *s, const struct pw_policy *p);
uint32_t pw_outputs(const struct pw_state *s, const struct pw_policy *p, enum pw_signal signal);
bool pw_dome(const struct pw_state *s); /* inside lighting follows the phase */

const char *pw_phase_name(enum pw_phase phase);
const char *pw_verdict_name(enum pw_verdict verdict);
const char *pw_why_name(enum pw_why why);
const char *pw_fault_name(enum pw_fault fault);
const char *pw_finding_name(enum pw_finding finding);

/* The kept state as fields, so that others can write it out and read it back (R20). */
enum pw_field_type { PW_FIELD_TIME = 1, PW_FIELD_SPAN, PW_FIELD_BOOL, PW_FIELD_U32, PW_FIELD_U8 };
struct pw_field {
	const char *name;
	uint32_t offset; /* in struct pw_state */
	enum pw_field_type type;
};
extern const struct pw_field pw_kept[];
extern const size_t pw_kept_count;

#endif
