/* SPDX-License-Identifier: Apache-2.0 */
/* R20, R21: what a gap in the power does to what was owed. */
#include "core_internal.h"

/* Fits as text or as another boot's clock: every time that is kept moves by delta. */
static void shift_kept(struct pw_state *s, int64_t delta_ms, bool sweep_too)
{
	for (size_t i = 0; i < pw_kept_count; i++) {
		const struct pw_field *f = &pw_kept[i];
		int64_t *t = (int64_t *)(void *)((char *)s + f->offset);

		if (f->type != PW_FIELD_TIME || *t == PW_NO_TIME || *t == PW_NEVER)
			continue;
		if (sweep_too || f->offset < offsetof(struct pw_state, sweep))
			*t += delta_ms;
	}
	for (uint32_t i = 0; sweep_too && i < s->sweep.refused && i < PW_REFUSALS_MAX; i++)
		s->sweep.refusal[i].at_ms += delta_ms;
}

void pw_shift(struct pw_state *s, int64_t delta_ms)
{
	shift_kept(s, delta_ms, true);
}

static void lines_up(const struct pw_ctx *c, const struct pw_event *ev)
{
	struct pw_state *s = c->s;

	s->powered = true;
	s->service = false;
	s->power_on_ms = ev->at_ms;
	pw_settle_init(c, ev->levels, ev->at_ms);
	pw_button_init(c, ev->at_ms);
	s->returned_ms = PW_NO_TIME;
	s->sounding = PW_SIGNAL_NONE;
	s->sweep.exit_ms = PW_NO_TIME; /* an exit closes the sweep: it is never kept */
}

void pw_power_first(const struct pw_ctx *c, const struct pw_event *ev)
{
	*c->s = (struct pw_state){ .phase = PW_PARKED, .now_ms = ev->at_ms,
				   .cut_ms = PW_NO_TIME, .sounding = PW_SIGNAL_NONE };
	lines_up(c, ev);
	if (pw_level(c->s, PW_IGNITION))
		pw_rule_key_on_parked(c, ev->at_ms);
	else if (pw_level(c->s, PW_LAMPS))
		c->s->lamps_used = true;
}

void pw_power_cut(const struct pw_ctx *c, int64_t at_ms)
{
	c->s->powered = false;
	c->s->cut_ms = at_ms;
	c->s->departing = 0;
	c->s->sounding = PW_SIGNAL_NONE;
}

static bool was_powered_down(const struct pw_ctx *c)
{
	const struct pw_state *s = c->s;

	return s->phase == PW_WALK_BACK &&
	       s->cut_ms >= s->sweep.press_ms + pw_return_min_ms(c->p);
}

static void on_driving(const struct pw_ctx *c, int64_t at_ms, bool dip)
{
	struct pw_state *s = c->s;

	if (pw_level(s, PW_LAMPS))
		s->lamps_used = true;
	if (!pw_level(s, PW_IGNITION)) {
		pw_rule_key_off(c, at_ms, !dip);
		return;
	}
	if (!dip)
		s->gap_mark = true;
	pw_watch_power_on(c, at_ms);
}

static void on_parked(const struct pw_ctx *c, int64_t at_ms)
{
	if (pw_level(c->s, PW_LAMPS))
		c->s->lamps_used = true;
	if (pw_level(c->s, PW_IGNITION))
		pw_rule_key_on_parked(c, at_ms);
}

static void on_powered_down(const struct pw_ctx *c, int64_t at_ms)
{
	pw_sweep_find(c, PW_F_POWERED_DOWN);
	if (pw_rear_is_open(c->s))
		pw_sweep_find(c, PW_F_LEFT_BY_REAR);
	pw_sweep_close(c);
	c->s->phase = PW_PARKED;
	c->s->watch.on = false;
	if (pw_level(c->s, PW_IGNITION))
		pw_rule_key_on_parked(c, at_ms);
}

/* A key-on, or a brake let go, in the gap. */
static void on_driven(const struct pw_ctx *c, int64_t at_ms, bool by_brake, bool clock_lost)
{
	bool undone = by_brake ? c->s->phase == PW_OWED : pw_rule_is_stall(c, at_ms);

	if (c->s->phase == PW_WALK_BACK)
		pw_rule_walked_to_key(c, at_ms, by_brake);
	else if (undone && !clock_lost)
		pw_rule_stall(c, at_ms);
	else
		pw_rule_drive_off(c, at_ms);
}

/* The key is off, or the bus stands left running as before. */
static void on_standing(const struct pw_ctx *c, int64_t at_ms, bool door_was_open, bool dip)
{
	struct pw_state *s = c->s;
	bool door_open = pw_level(s, PW_SERVICE_DOOR);

	if (pw_rear_is_open(s))
		pw_sweep_find(c, s->phase == PW_WALK_BACK ? PW_F_LEFT_BY_REAR : PW_F_REAR_OPENED);
	else if (s->phase != PW_WALK_BACK && !dip)
		s->sweep.basis_ms = pw_max(s->sweep.basis_ms, at_ms);
	if (door_open != door_was_open)
		pw_happen(c, door_open ? PW_H_DOOR_OPEN : PW_H_DOOR_SHUT, PW_SERVICE_DOOR, at_ms);
}

static void on_sweep(const struct pw_ctx *c, const struct pw_event *ev, bool door_was_open, bool dip)
{
	struct pw_state *s = c->s;
	bool key = pw_level(s, PW_IGNITION);
	bool as_key = s->sweep.left_running && !s->sweep.key_fell;

	if (s->phase == PW_OVERDUE)
		s->sweep.ladder_ms += ev->at_ms - s->cut_ms;
	if (pw_due_ms(s, c->p) < ev->at_ms)
		pw_rule_overdue(c, ev->at_ms);
	if (!dip)
		pw_sweep_find(c, PW_F_POWER_LOST);
	if (as_key && !key) {
		s->sweep.key_fell = true;
		s->watch.on = false;
	}
	if (key && (!as_key || !pw_level(s, PW_PARK_BRAKE)))
		on_driven(c, ev->at_ms, as_key, ev->clock_lost);
	else
		on_standing(c, ev->at_ms, door_was_open, dip);
	if (s->phase == PW_OVERDUE && s->sweep.rung == PW_PROMPT)
		pw_reach(c, PW_LADDER);
}

void pw_power_on(const struct pw_ctx *c, const struct pw_event *ev)
{
	struct pw_state *s = c->s;
	bool dip = !ev->clock_lost && ev->at_ms - s->cut_ms <= c->p->restart_ms;
	bool powered_down = was_powered_down(c);
	bool door_was_open = pw_level(s, PW_SERVICE_DOOR);

	if (ev->clock_lost) {
		shift_kept(s, ev->at_ms - s->cut_ms, !powered_down);
		s->cut_ms = ev->at_ms;
		if (pw_sweep_is_open(s) && !powered_down)
			pw_sweep_find(c, PW_F_CLOCK_UNSURE);
	}
	lines_up(c, ev);
	if (s->phase == PW_DRIVING)
		on_driving(c, ev->at_ms, dip);
	else if (s->phase == PW_PARKED)
		on_parked(c, ev->at_ms);
	else if (powered_down)
		on_powered_down(c, ev->at_ms);
	else
		on_sweep(c, ev, door_was_open, dip);
}
