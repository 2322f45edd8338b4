/* SPDX-License-Identifier: Apache-2.0 */
/* core_internal.h - what the files of the core share. */
#ifndef POSTWALK_CORE_INTERNAL_H
#define POSTWALK_CORE_INTERNAL_H

#include "postwalk/core.h"

/* One moment of one bus: everything a rule needs. */
struct pw_ctx {
	struct pw_state *s;
	const struct pw_policy *p;
	const struct pw_sink *out;
};

/* What the rules are told of (settled events and presses), and of their own timers. */
enum pw_happening {
	PW_H_KEY_ON = 1,
	PW_H_KEY_OFF,
	PW_H_BRAKE_SET,
	PW_H_BRAKE_OFF,
	PW_H_PRESS,
	PW_H_REAR_OPEN, /* rear_door or exits came to read 1 */
	PW_H_REAR_SHUT,
	PW_H_DOOR_OPEN, /* the service door */
	PW_H_DOOR_SHUT,
	PW_H_LAMPS_ON,
	PW_H_LAMPS_OFF,
	PW_H_DUE,
	PW_H_RUNG,
	PW_H_SPENT,
	PW_H_RETURNED,  /* press edge + return_min: nothing but a state worth keeping (R20) */
	PW_H_WALK_END,
	PW_H_LEFT_RUNNING,
	PW_HAPPENINGS
};

/* Three results of the grid: a cell moves, is ignored on purpose, or cannot happen. */
typedef void pw_rule(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms);
pw_rule pw_rule_ignored, pw_rule_impossible;
extern pw_rule *const pw_grid[PW_PHASES][PW_HAPPENINGS];

void pw_happen(const struct pw_ctx *c, enum pw_happening h, enum pw_line line, int64_t edge_ms);

/* rules.c: entered by the power rules as well */
void pw_rule_key_on_parked(const struct pw_ctx *c, int64_t edge_ms);       /* R6 */
void pw_rule_key_off(const struct pw_ctx *c, int64_t edge_ms, bool power_lost); /* R7-R9 */
void pw_rule_stall(const struct pw_ctx *c, int64_t edge_ms);               /* R15, R25: undone */
void pw_rule_drive_off(const struct pw_ctx *c, int64_t edge_ms);           /* R15, second half */
bool pw_rule_is_stall(const struct pw_ctx *c, int64_t edge_ms);
void pw_rule_walked_to_key(const struct pw_ctx *c, int64_t edge_ms, bool keep_key_on); /* R16 */
void pw_rule_overdue(const struct pw_ctx *c, int64_t ladder_ms);           /* R14 */

/* sweep.c */
void pw_sweep_open(const struct pw_ctx *c, int64_t t0_ms);
void pw_sweep_close(const struct pw_ctx *c);
void pw_sweep_find(const struct pw_ctx *c, enum pw_finding finding);
bool pw_sweep_is_open(const struct pw_state *s);
bool pw_sweep_is_unproven(const struct pw_state *s); /* owed or overdue */
int64_t pw_sweep_due_at(const struct pw_ctx *c, int64_t edge_ms); /* R13: standstill added */

/* watch.c: R25 */
void pw_watch_begin(const struct pw_ctx *c, int64_t edge_ms);
void pw_watch_door(const struct pw_ctx *c, int64_t edge_ms);
void pw_watch_power_on(const struct pw_ctx *c, int64_t at_ms);
int64_t pw_watch_timer_ms(const struct pw_ctx *c);

/* button.c */
void pw_button_init(const struct pw_ctx *c, int64_t at_ms);
void pw_button_settled(const struct pw_ctx *c, enum pw_line line);
int64_t pw_button_held_ms(const struct pw_ctx *c);
int64_t pw_button_disagree_ms(const struct pw_ctx *c);
void pw_button_fault(const struct pw_ctx *c, enum pw_fault fault, bool on);

/* settle.c */
void pw_settle_init(const struct pw_ctx *c, uint8_t levels, int64_t at_ms);
/* Raw levels of the lines in mask. Lines with no settling time come out in *at_once. */
void pw_settle_raw(const struct pw_ctx *c, uint8_t mask, uint8_t levels, uint32_t *at_once);
int64_t pw_settle_next_ms(const struct pw_ctx *c);
/* The first line, in order, whose settling ends at at_ms; -1: none. */
int pw_settle_due(const struct pw_ctx *c, int64_t at_ms);
/* That line's settled level changes now. */
void pw_settle_take(const struct pw_ctx *c, enum pw_line line);

/* power.c: R20, R21 */
void pw_power_first(const struct pw_ctx *c, const struct pw_event *ev);
void pw_power_cut(const struct pw_ctx *c, int64_t at_ms);
void pw_power_on(const struct pw_ctx *c, const struct pw_event *ev);

/* ladder.c */
enum pw_signal pw_sounding(const struct pw_state *s);
void pw_reach(const struct pw_ctx *c, enum pw_signal rung);
void pw_tell_rung(const struct pw_ctx *c);
int64_t pw_rung_timer_ms(const struct pw_ctx *c);

/* core.c */
void pw_emit(const struct pw_ctx *c, struct pw_effect e);

static inline bool pw_level(const struct pw_state *s, enum pw_line line)
{
	return s->input[line].level != 0;
}

static inline bool pw_rear_is_open(const struct pw_state *s)
{
	return pw_level(s, PW_REAR_DOOR) || pw_level(s, PW_EXITS);
}

static inline int64_t pw_min(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

static inline int64_t pw_max(int64_t a, int64_t b)
{
	return a > b ? a : b;
}

#endif
