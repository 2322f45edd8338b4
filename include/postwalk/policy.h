/* SPDX-License-Identifier: Apache-2.0 */
/*
 * policy.h - what a yard asks of its buses: numbers, lines, signals.
 *
 * A policy is plain data. It begins as the defaults, takes keys one by one from a table
 * (pw_policy_set), and is judged whole (pw_policy_check, R24) before anything obeys it.
 * Nothing here reads a file, allocates or keeps a pointer.
 */
#ifndef POSTWALK_POLICY_H
#define POSTWALK_POLICY_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Inputs in the order that settles ties (R2), as NAME, name, default settle_ms. */
#define PW_INPUT_LIST(X)                     \
	X(IGNITION, ignition, 200)           \
	X(PARK_BRAKE, park_brake, 200)       \
	X(REAR_BUTTON, rear_button, 30)      \
	X(REAR_BUTTON_NC, rear_button_nc, 30) \
	X(REAR_DOOR, rear_door, 100)         \
	X(EXITS, exits, 100)                 \
	X(SERVICE_DOOR, service_door, 100)   \
	X(LAMPS, lamps, 200)

enum pw_line {
#define X(up, low, settle) PW_##up,
	PW_INPUT_LIST(X)
#undef X
	PW_INPUTS,
	PW_BEEPER = PW_INPUTS, /* inside */
	PW_HORN,               /* outside */
	PW_LAMP,               /* the driver's telltale */
	PW_DOME,               /* inside lighting */
	PW_EXTRA,              /* a board's own lines: more outputs, sense inputs */
	PW_LINES = PW_EXTRA + 8
};

enum pw_bias { PW_BIAS_AS_IS = 1, PW_BIAS_DISABLED, PW_BIAS_PULL_UP, PW_BIAS_PULL_DOWN };
enum pw_direction { PW_IN = 1, PW_OUT };
enum pw_owed_when { PW_EVERY_KEY_OFF = 1, PW_RUN, PW_USED };
enum pw_door_rule { PW_GRACE = 1, PW_AT_ONCE, PW_IGNORE };

#define PW_NAME_MAX 32 /* with the closing zero */
#define PW_PATTERN_MAX 16
#define PW_RUNGS_MAX 8

struct pw_line_policy {
	char name[PW_NAME_MAX];
	bool configured;
	enum pw_direction direction;
	int64_t settle_ms;
	char chip[64];      /* "" when not on a chip */
	int32_t offset;     /* -1: by label */
	char label[PW_NAME_MAX];
	bool active_low;
	enum pw_bias bias;
	char sense[PW_NAME_MAX]; /* outputs: the input that sees it work, or "" */
	bool outside;       /* outputs: seen or heard by traffic (R19) */
};

/* On, off, on, off ... in ms; count 1 with ms 0 is steady on; once: played once, not again. */
struct pw_pattern {
	uint32_t ms[PW_PATTERN_MAX];
	uint32_t count;
	bool once;
};

/* Signals: NONE, the five named ones, then the rungs of the ladder. */
enum pw_signal {
	PW_SIGNAL_NONE = 1,
	PW_PROMPT,
	PW_CARRIED,
	PW_SPENT,
	PW_REFUSED,
	PW_ACCEPTED,
	PW_LADDER,
	PW_SIGNALS = PW_LADDER + PW_RUNGS_MAX
};

struct pw_signal_policy {
	char name[PW_NAME_MAX];
	int64_t after_ms; /* rungs: after the start of the ladder */
	uint32_t outputs; /* bit i: line i */
	struct pw_pattern pattern;
	bool notify;
};

struct pw_policy {
	char bus[PW_NAME_MAX];
	char listen[64]; /* the page's address, HOST:PORT */
	int64_t keep_days; /* J11 */
	char call[164];    /* whom to call when a child is found, in the yard's own words, or "" */
	int64_t proof_ms;  /* a proof is fresh for so long */
	int64_t rows, aisle_um, pace_um_s, look_us;
	int64_t due_ms, carried_due_ms, restart_ms, run_min_ms, unload_ms, leave_grace_ms, idle_ms,
		return_max_ms, held_max_ms, disagree_ms, alarm_max_ms, service_max_ms;
	enum pw_owed_when owed_when;
	enum pw_door_rule door_rule;
	uint32_t doubt_on; /* bit i: finding i of core.h */
	struct pw_line_policy line[PW_LINES];
	struct pw_signal_policy signal[PW_SIGNALS];
	uint32_t rungs;    /* in the ladder */
	bool own_ladder;
};

/* An error in words, and the key it is about (for the line of the file it stands in). */
struct pw_policy_error {
	char text[200];
	char section[48]; /* "sweep", "line horn"; "" when no key is to blame */
	char key[PW_NAME_MAX];
};

/* The defaults (R24 holds for them once a bus id is set). replay_lines: every input but
 * rear_button_nc and park_brake is configured, as replay without a policy file has it. */
void pw_policy_init(struct pw_policy *p, bool replay_lines);

/* A section begins: "bus", "line horn", "rung cabin". 0, or -1 with error. */
int pw_policy_section(struct pw_policy *p, const char *section, struct pw_policy_error *e);

/* One key of a begun section. 0, or -1 with error; p is then not to be used. */
int pw_policy_set(struct pw_policy *p, const char *section, const char *key, const char *value,
		  struct pw_policy_error *e);

/* R24: can it be obeyed? need_bus: an id is required. 0, or -1 with error. */
int pw_policy_check(const struct pw_policy *p, bool need_bus, struct pw_policy_error *e);

/* One line of the effective policy as INI text into buf; *cursor from 0 on.
 * 1: a line was given; 0: the end. */
int pw_policy_print(const struct pw_policy *p, int *cursor, char *buf, size_t size);

/* R10, in ms, rounded half up. */
int64_t pw_walk_min_ms(const struct pw_policy *p);
int64_t pw_return_min_ms(const struct pw_policy *p);

/* The line of that name, or -1. */
int pw_line_find(const struct pw_policy *p, const char *name);
/* The standard input of that name (length len), or -1. Fast: replay asks it for every edge. */
int pw_input_find(const char *name, size_t len);

#endif
