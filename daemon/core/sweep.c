/* SPDX-License-Identifier: Apache-2.0 */
#include "core_internal.h"

bool pw_sweep_is_unproven(const struct pw_state *s)
{
	return s->phase == PW_OWED || s->phase == PW_OVERDUE;
}

bool pw_sweep_is_open(const struct pw_state *s)
{
	return pw_sweep_is_unproven(s) || s->phase == PW_WALK_BACK;
}

void pw_sweep_find(const struct pw_ctx *c, enum pw_finding finding)
{
	c->s->sweep.findings |= 1u << finding;
}

static void find_what_stands(const struct pw_ctx *c)
{
	const struct pw_state *s = c->s;

	if (s->carried)
		pw_sweep_find(c, PW_F_CARRIED);
	if (s->gap_mark)
		pw_sweep_find(c, PW_F_POWER_LOST);
	if (pw_rear_is_open(s))
		pw_sweep_find(c, PW_F_REAR_OPENED);
	if (s->button.fault[PW_BUTTON_HELD])
		pw_sweep_find(c, PW_F_BUTTON_HELD);
	if (s->button.fault[PW_BUTTON_CONTACTS])
		pw_sweep_find(c, PW_F_BUTTON_CONTACTS);
	if (s->service)
		pw_sweep_find(c, PW_F_MUTED);
}

/* R9 */
void pw_sweep_open(const struct pw_ctx *c, int64_t t0_ms)
{
	struct pw_state *s = c->s;
	struct pw_sweep *w = &s->sweep;

	*w = (struct pw_sweep){
		.t0_ms = t0_ms,
		.due_ms = t0_ms + (s->carried ? c->p->carried_due_ms : c->p->due_ms),
		.basis_ms = t0_ms,
		.press_ms = PW_NO_TIME,
		.exit_ms = PW_NO_TIME,
		.ladder_ms = PW_NO_TIME,
		.closed_ms = PW_NO_TIME,
		.door_opened_ms = PW_NO_TIME,
	};
	s->phase = PW_OWED;
	find_what_stands(c);
	pw_reach(c, PW_PROMPT);
	if (pw_level(s, PW_SERVICE_DOOR)) {
		w->door_had = true;
		w->door_opened_ms = t0_ms;
		w->door_unloading = c->p->unload_ms > 0;
	}
}

/* R22 */
static enum pw_verdict verdict(const struct pw_ctx *c)
{
	const struct pw_sweep *w = &c->s->sweep;

	if (w->press_ms == PW_NO_TIME)
		return PW_MISSED;
	if (w->findings & c->p->doubt_on)
		return PW_DOUBTFUL;
	return w->late_ms > 0 ? PW_LATE : PW_DONE;
}

void pw_sweep_close(const struct pw_ctx *c)
{
	struct pw_state *s = c->s;

	s->sweep.closed_ms = s->now_ms;
	s->sweep.verdict = verdict(c);
	s->gap_mark = false;
	if (s->sweep.press_ms != PW_NO_TIME)
		s->carried = s->lamps_used = false;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_SWEEP, .sweep = &s->sweep });
}

static int64_t standstill_ms(const struct pw_ctx *c, int64_t edge_ms)
{
	const struct pw_sweep *w = &c->s->sweep;

	if (!w->door_unloading)
		return 0;
	return pw_max(0, pw_min(edge_ms - w->door_opened_ms, c->p->unload_ms));
}

int64_t pw_sweep_due_at(const struct pw_ctx *c, int64_t edge_ms)
{
	return c->s->sweep.due_ms + standstill_ms(c, edge_ms);
}

int64_t pw_due_ms(const struct pw_state *s, const struct pw_policy *p)
{
	if (s->phase != PW_OWED)
		return PW_NEVER;
	return s->sweep.due_ms + (s->sweep.door_unloading ? p->unload_ms : 0);
}
