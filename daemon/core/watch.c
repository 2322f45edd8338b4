/* SPDX-License-Identifier: Apache-2.0 */
/* R25: somebody may have left with the engine running. */
#include "core_internal.h"

void pw_watch_begin(const struct pw_ctx *c, int64_t edge_ms)
{
	struct pw_watch *w = &c->s->watch;

	*w = (struct pw_watch){ .begin_ms = edge_ms, .door_ms = PW_NO_TIME };
	w->on = pw_level(c->s, PW_PARK_BRAKE);
	if (w->on && pw_level(c->s, PW_SERVICE_DOOR))
		w->door_ms = edge_ms;
}

/* The service door read 1 at edge_ms. */
void pw_watch_door(const struct pw_ctx *c, int64_t edge_ms)
{
	struct pw_watch *w = &c->s->watch;

	if (w->on && w->door_ms == PW_NO_TIME)
		w->door_ms = pw_max(edge_ms, w->begin_ms);
}

void pw_watch_power_on(const struct pw_ctx *c, int64_t at_ms)
{
	if (!c->s->watch.on || !pw_level(c->s, PW_PARK_BRAKE))
		pw_watch_begin(c, at_ms);
	else if (pw_level(c->s, PW_SERVICE_DOOR))
		pw_watch_door(c, at_ms);
}

int64_t pw_watch_timer_ms(const struct pw_ctx *c)
{
	const struct pw_watch *w = &c->s->watch;

	if (c->s->phase != PW_DRIVING || !w->on || w->spent || w->door_ms == PW_NO_TIME ||
	    c->p->idle_ms == 0)
		return PW_NEVER;
	return w->door_ms + c->p->idle_ms;
}
