/* SPDX-License-Identifier: Apache-2.0 */
/* What a bus owes: one small function a cell of phase x happening. */
#include "core_internal.h"

void pw_rule_ignored(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)c, (void)line, (void)edge_ms;
}

void pw_rule_impossible(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)c, (void)line, (void)edge_ms;
}

/* -- the key ---------------------------------------------------------------------------------- */

static void lamps_seen(const struct pw_ctx *c)
{
	if (pw_level(c->s, PW_LAMPS))
		c->s->lamps_used = true;
}

static void drive(const struct pw_ctx *c, int64_t edge_ms)
{
	c->s->phase = PW_DRIVING;
	pw_watch_begin(c, edge_ms);
}

void pw_rule_key_on_parked(const struct pw_ctx *c, int64_t edge_ms)
{
	c->s->key_on_ms = edge_ms;
	lamps_seen(c);
	drive(c, edge_ms);
}

static void key_on_parked(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_rule_key_on_parked(c, edge_ms);
}

/* R7 */
static bool owes(const struct pw_ctx *c, int64_t edge_ms)
{
	const struct pw_state *s = c->s;

	if (s->carried || s->gap_mark)
		return true;
	switch (c->p->owed_when) {
	case PW_RUN:
		return edge_ms - s->key_on_ms >= c->p->run_min_ms;
	case PW_USED:
		return s->lamps_used;
	case PW_EVERY_KEY_OFF:
		break;
	}
	return true;
}

void pw_rule_key_off(const struct pw_ctx *c, int64_t edge_ms, bool power_lost)
{
	struct pw_state *s = c->s;

	pw_emit(c, (struct pw_effect){ .kind = PW_E_KEY_OFF, .edge_ms = edge_ms });
	s->watch.on = false;
	if (owes(c, edge_ms)) {
		pw_sweep_open(c, edge_ms);
		if (power_lost)
			pw_sweep_find(c, PW_F_POWER_LOST);
		return;
	}
	s->phase = PW_PARKED; /* R8 */
	pw_emit(c, (struct pw_effect){ .kind = PW_E_EXCUSED, .edge_ms = edge_ms });
}

static void key_off(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_rule_key_off(c, edge_ms, false);
}

/* R25: a key-off in a sweep that a bus left running made due. */
static void key_fell(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	c->s->sweep.key_fell = true;
	c->s->watch.on = false;
}

bool pw_rule_is_stall(const struct pw_ctx *c, int64_t edge_ms)
{
	const struct pw_sweep *w = &c->s->sweep;

	return c->s->phase == PW_OWED && !w->left_running && !w->door_event && w->refused == 0 &&
	       edge_ms - w->t0_ms < c->p->restart_ms;
}

void pw_rule_stall(const struct pw_ctx *c, int64_t edge_ms)
{
	int64_t t0_ms = c->s->sweep.t0_ms;

	c->s->sweep = (struct pw_sweep){ 0 };
	drive(c, edge_ms);
	pw_emit(c, (struct pw_effect){ .kind = PW_E_RESTART, .t0_ms = t0_ms, .edge_ms = edge_ms });
}

void pw_rule_drive_off(const struct pw_ctx *c, int64_t edge_ms)
{
	pw_sweep_find(c, PW_F_DRIVEN_OFF);
	pw_sweep_close(c);
	c->s->carried = true;
	c->s->key_on_ms = edge_ms;
	drive(c, edge_ms);
}

static void key_on_unproven(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (pw_rule_is_stall(c, edge_ms))
		pw_rule_stall(c, edge_ms);
	else
		pw_rule_drive_off(c, edge_ms);
}

/* -- the park brake in a bus left running (R25) ------------------------------------------------- */

static bool brake_is_key(const struct pw_state *s)
{
	return s->sweep.left_running && !s->sweep.key_fell;
}

static void brake_set(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_watch_begin(c, edge_ms);
}

static void brake_off_driving(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	c->s->watch.on = false;
}

static void brake_off_owed(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (brake_is_key(c->s))
		pw_rule_stall(c, edge_ms);
}

static void brake_off_overdue(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (brake_is_key(c->s))
		pw_rule_drive_off(c, edge_ms);
}

static void brake_off_walk_back(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (brake_is_key(c->s))
		pw_rule_walked_to_key(c, edge_ms, true);
}

static void left_running(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	c->s->watch.spent = true;
	pw_sweep_open(c, pw_max(edge_ms, c->s->power_on_ms));
	c->s->sweep.left_running = true;
	pw_sweep_find(c, PW_F_LEFT_RUNNING);
}

/* -- the press (R11) -------------------------------------------------------------------------------- */

static void refuse(const struct pw_ctx *c, int64_t edge_ms, enum pw_why why)
{
	struct pw_sweep *w = &c->s->sweep;

	if (w->refused < PW_REFUSALS_MAX)
		w->refusal[w->refused] = (struct pw_refusal){ .at_ms = edge_ms, .why = why };
	w->refused++;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_REFUSED, .edge_ms = edge_ms, .why = why });
}

static void accept(const struct pw_ctx *c, int64_t edge_ms)
{
	struct pw_sweep *w = &c->s->sweep;

	w->late_ms = pw_max(0, edge_ms - pw_sweep_due_at(c, edge_ms));
	w->press_ms = edge_ms;
	c->s->phase = PW_WALK_BACK;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_ACCEPTED, .edge_ms = edge_ms });
}

static void judge_press(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (pw_rear_is_open(c->s))
		refuse(c, edge_ms, PW_REAR_OPEN);
	else if (edge_ms < c->s->sweep.basis_ms + pw_walk_min_ms(c->p))
		refuse(c, edge_ms, PW_TOO_SOON);
	else
		accept(c, edge_ms);
}

static void press_seen(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_PRESS, .edge_ms = edge_ms });
}

/* -- ways in at the rear (R12) ------------------------------------------------------------------------ */

static void rear_open_unproven(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	pw_sweep_find(c, PW_F_REAR_OPENED);
}

/* R13: the alarm does not wait for somebody who may have got out. */
static void due_at_once(const struct pw_ctx *c, int64_t edge_ms)
{
	struct pw_sweep *w = &c->s->sweep;

	if (c->p->door_rule != PW_AT_ONCE || edge_ms <= w->t0_ms)
		return;
	w->due_ms = pw_min(pw_sweep_due_at(c, edge_ms), edge_ms);
	w->door_unloading = false;
	pw_sweep_find(c, PW_F_DOOR_BEFORE_PRESS);
}

static void rear_open_owed(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	pw_sweep_find(c, PW_F_REAR_OPENED);
	if (line == PW_REAR_DOOR)
		due_at_once(c, edge_ms);
}

static void rear_shut(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	if (!pw_rear_is_open(c->s))
		c->s->sweep.basis_ms = pw_max(c->s->sweep.basis_ms, edge_ms);
}

static void rear_open_walk_back(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	pw_sweep_find(c, PW_F_LEFT_BY_REAR);
}

/* -- the service door (R13, R16) ------------------------------------------------------------------- */

static void door_open_driving(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_watch_door(c, edge_ms);
}

static void door_open_owed(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	struct pw_sweep *w = &c->s->sweep;
	bool first = !w->door_had;

	(void)line;
	w->door_event = w->door_had = true;
	w->door_opened_ms = pw_max(edge_ms, w->t0_ms);
	if (first && c->p->unload_ms > 0)
		w->door_unloading = true;
	else
		due_at_once(c, edge_ms);
}

static void door_shut_owed(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	struct pw_sweep *w = &c->s->sweep;

	(void)line;
	w->door_event = true;
	if (w->door_unloading) {
		w->due_ms = pw_sweep_due_at(c, edge_ms);
		w->door_unloading = false;
	} else if (c->p->door_rule == PW_GRACE) {
		pw_sweep_find(c, PW_F_DOOR_BEFORE_PRESS);
		w->due_ms = pw_min(w->due_ms, edge_ms + c->p->leave_grace_ms);
	}
}

static void find_short_return(const struct pw_ctx *c)
{
	const struct pw_sweep *w = &c->s->sweep;

	if (w->exit_ms - w->press_ms < pw_return_min_ms(c->p))
		pw_sweep_find(c, PW_F_RETURN_SHORT);
}

static void leave(const struct pw_ctx *c)
{
	pw_sweep_close(c);
	c->s->phase = pw_level(c->s, PW_IGNITION) ? PW_DRIVING : PW_PARKED;
}

static void door_walk_back(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	struct pw_sweep *w = &c->s->sweep;

	(void)line;
	if (edge_ms <= w->press_ms)
		return;
	w->exit_ms = edge_ms;
	find_short_return(c);
	leave(c);
}

void pw_rule_walked_to_key(const struct pw_ctx *c, int64_t edge_ms, bool keep_key_on)
{
	int64_t key_on_ms = c->s->key_on_ms;

	c->s->sweep.exit_ms = pw_max(edge_ms, c->s->sweep.press_ms);
	find_short_return(c);
	pw_sweep_close(c);
	pw_rule_key_on_parked(c, edge_ms);
	if (keep_key_on)
		c->s->key_on_ms = key_on_ms;
}

static void key_on_walk_back(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_rule_walked_to_key(c, edge_ms, false);
}

static void walk_end(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	pw_sweep_find(c, pw_level(c->s, PW_SERVICE_DOOR) ? PW_F_DOOR_LEFT_OPEN : PW_F_EXIT_UNSEEN);
	leave(c);
}

/* -- lamps and timers -------------------------------------------------------------------------------- */

static void lamps_on(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	lamps_seen(c);
}

void pw_rule_overdue(const struct pw_ctx *c, int64_t ladder_ms)
{
	struct pw_state *s = c->s;

	s->sweep.due_ms = pw_due_ms(s, c->p);
	s->sweep.door_unloading = false;
	s->phase = PW_OVERDUE;
	s->sweep.ladder_ms = ladder_ms;
}

static void due(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line;
	pw_rule_overdue(c, pw_max(edge_ms, c->s->power_on_ms));
	pw_reach(c, PW_LADDER);
}

static void rung(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	pw_reach(c, c->s->sweep.rung + 1);
}

static void spent(const struct pw_ctx *c, enum pw_line line, int64_t edge_ms)
{
	(void)line, (void)edge_ms;
	pw_sweep_find(c, PW_F_ALARM_SPENT);
	pw_reach(c, PW_SPENT);
}

/* Every cell is decided: a rule, pw_rule_ignored on purpose, or pw_rule_impossible: a settled
 * line cannot rise twice, and a timer runs only in the phase that began it. */
#define NO pw_rule_ignored
#define X_ pw_rule_impossible
pw_rule *const pw_grid[PW_PHASES][PW_HAPPENINGS] = {
	[PW_PARKED] = {
		[PW_H_KEY_ON] = key_on_parked,
		[PW_H_KEY_OFF] = X_,
		[PW_H_BRAKE_SET] = NO,
		[PW_H_BRAKE_OFF] = NO,
		[PW_H_PRESS] = press_seen,
		[PW_H_REAR_OPEN] = NO,
		[PW_H_REAR_SHUT] = NO,
		[PW_H_DOOR_OPEN] = NO,
		[PW_H_DOOR_SHUT] = NO,
		[PW_H_LAMPS_ON] = lamps_on,
		[PW_H_LAMPS_OFF] = NO,
		[PW_H_DUE] = X_,
		[PW_H_RUNG] = X_,
		[PW_H_SPENT] = X_,
		[PW_H_RETURNED] = X_,
		[PW_H_WALK_END] = X_,
		[PW_H_LEFT_RUNNING] = X_,
	},
	[PW_DRIVING] = {
		[PW_H_KEY_ON] = X_,
		[PW_H_KEY_OFF] = key_off,
		[PW_H_BRAKE_SET] = brake_set,
		[PW_H_BRAKE_OFF] = brake_off_driving,
		[PW_H_PRESS] = press_seen,
		[PW_H_REAR_OPEN] = NO,
		[PW_H_REAR_SHUT] = NO,
		[PW_H_DOOR_OPEN] = door_open_driving,
		[PW_H_DOOR_SHUT] = NO,
		[PW_H_LAMPS_ON] = lamps_on,
		[PW_H_LAMPS_OFF] = NO,
		[PW_H_DUE] = X_,
		[PW_H_RUNG] = X_,
		[PW_H_SPENT] = X_,
		[PW_H_RETURNED] = X_,
		[PW_H_WALK_END] = X_,
		[PW_H_LEFT_RUNNING] = left_running,
	},
	[PW_OWED] = {
		[PW_H_KEY_ON] = key_on_unproven,
		[PW_H_KEY_OFF] = key_fell,
		[PW_H_BRAKE_SET] = NO,
		[PW_H_BRAKE_OFF] = brake_off_owed,
		[PW_H_PRESS] = judge_press,
		[PW_H_REAR_OPEN] = rear_open_owed,
		[PW_H_REAR_SHUT] = rear_shut,
		[PW_H_DOOR_OPEN] = door_open_owed,
		[PW_H_DOOR_SHUT] = door_shut_owed,
		[PW_H_LAMPS_ON] = NO,
		[PW_H_LAMPS_OFF] = NO,
		[PW_H_DUE] = due,
		[PW_H_RUNG] = X_,
		[PW_H_SPENT] = X_,
		[PW_H_RETURNED] = X_,
		[PW_H_WALK_END] = X_,
		[PW_H_LEFT_RUNNING] = X_,
	},
	[PW_OVERDUE] = {
		[PW_H_KEY_ON] = key_on_unproven,
		[PW_H_KEY_OFF] = key_fell,
		[PW_H_BRAKE_SET] = NO,
		[PW_H_BRAKE_OFF] = brake_off_overdue,
		[PW_H_PRESS] = judge_press,
		[PW_H_REAR_OPEN] = rear_open_unproven,
		[PW_H_REAR_SHUT] = rear_shut,
		[PW_H_DOOR_OPEN] = NO,
		[PW_H_DOOR_SHUT] = NO,
		[PW_H_LAMPS_ON] = NO,
		[PW_H_LAMPS_OFF] = NO,
		[PW_H_DUE] = X_,
		[PW_H_RUNG] = rung,
		[PW_H_SPENT] = spent,
		[PW_H_RETURNED] = X_,
		[PW_H_WALK_END] = X_,
		[PW_H_LEFT_RUNNING] = X_,
	},
	[PW_WALK_BACK] = {
		[PW_H_KEY_ON] = key_on_walk_back,
		[PW_H_KEY_OFF] = key_fell,
		[PW_H_BRAKE_SET] = NO,
		[PW_H_BRAKE_OFF] = brake_off_walk_back,
		[PW_H_PRESS] = press_seen,
		[PW_H_REAR_OPEN] = rear_open_walk_back,
		[PW_H_REAR_SHUT] = NO,
		[PW_H_DOOR_OPEN] = door_walk_back,
		[PW_H_DOOR_SHUT] = door_walk_back,
		[PW_H_LAMPS_ON] = NO,
		[PW_H_LAMPS_OFF] = NO,
		[PW_H_DUE] = X_,
		[PW_H_RUNG] = X_,
		[PW_H_SPENT] = X_,
		[PW_H_RETURNED] = NO,
		[PW_H_WALK_END] = walk_end,
		[PW_H_LEFT_RUNNING] = X_,
	},
};
#undef NO
#undef X_

void pw_happen(const struct pw_ctx *c, enum pw_happening h, enum pw_line line, int64_t edge_ms)
{
	pw_grid[c->s->phase][h](c, line, edge_ms);
}
