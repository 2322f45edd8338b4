/* SPDX-License-Identifier: Apache-2.0 */
#include "core_internal.h"

enum pw_signal pw_sounding(const struct pw_state *s)
{
	if (!s->powered)
		return PW_SIGNAL_NONE;
	if (pw_sweep_is_unproven(s))
		return s->sweep.rung;
	return s->phase == PW_DRIVING && s->carried ? PW_CARRIED : PW_SIGNAL_NONE;
}

/* A sweep gets as far as this rung. Each rung is reached once in a sweep, so its word to the
 * office is sent once. */
void pw_reach(const struct pw_ctx *c, enum pw_signal rung)
{
	c->s->sweep.rung = rung;
	if (c->p->signal[rung].notify)
		pw_emit(c, (struct pw_effect){ .kind = PW_E_NOTIFY, .rung = rung });
}

void pw_tell_rung(const struct pw_ctx *c)
{
	enum pw_signal now = pw_sounding(c->s);

	if (now == c->s->sounding)
		return;
	c->s->sounding = now;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_RUNG, .rung = now });
}

/* R17: when the next rung of the ladder takes over. */
int64_t pw_rung_timer_ms(const struct pw_ctx *c)
{
	const struct pw_sweep *w = &c->s->sweep;
	unsigned next = w->rung + 1u;

	if (c->s->phase != PW_OVERDUE || w->rung < PW_LADDER || next >= PW_LADDER + c->p->rungs)
		return PW_NEVER;
	return w->ladder_ms + c->p->signal[next].after_ms;
}

/* R23: what still works while a mechanic has it quiet. */
static uint32_t silenced(const struct pw_policy *p)
{
	uint32_t silent = 0;

	for (unsigned i = PW_BEEPER; i < PW_LINES; i++)
		if (i != PW_LAMP && i != PW_DOME && p->line[i].configured)
			silent |= 1u << i;
	return silent;
}

static uint32_t heard_by_traffic(const struct pw_policy *p)
{
	uint32_t outside = 0;

	for (unsigned i = PW_BEEPER; i < PW_LINES; i++)
		if (p->line[i].outside)
			outside |= 1u << i;
	return outside;
}

uint32_t pw_may_sound(const struct pw_state *s, const struct pw_policy *p)
{
	uint32_t outputs = UINT32_MAX;
	bool parked = p->line[PW_PARK_BRAKE].configured && pw_level(s, PW_PARK_BRAKE);

	if (s->service)
		outputs &= ~silenced(p);
	if (pw_level(s, PW_IGNITION) && !parked)
		outputs &= ~heard_by_traffic(p);
	return outputs;
}

uint32_t pw_outputs(const struct pw_state *s, const struct pw_policy *p, enum pw_signal signal)
{
	return p->signal[signal].outputs & pw_may_sound(s, p);
}

bool pw_dome(const struct pw_state *s)
{
	return s->powered && pw_sweep_is_open(s);
}
