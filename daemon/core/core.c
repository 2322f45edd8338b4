/* SPDX-License-Identifier: Apache-2.0 */
/* The order of things (R2): settled events in line order, then timers. */
#include "core_internal.h"

void pw_emit(const struct pw_ctx *c, struct pw_effect e)
{
	e.at_ms = c->s->now_ms;
	c->out->take(c->out->ctx, &e);
}

/* -- settled events ---------------------------------------------------------------------------- */

/* What the rules hear when a line settles at 0 or at 1; the button speaks through its contacts. */
static const enum pw_happening heard[PW_INPUTS][2] = {
	[PW_IGNITION] = { PW_H_KEY_OFF, PW_H_KEY_ON },
	[PW_PARK_BRAKE] = { PW_H_BRAKE_OFF, PW_H_BRAKE_SET },
	[PW_REAR_DOOR] = { PW_H_REAR_SHUT, PW_H_REAR_OPEN },
	[PW_EXITS] = { PW_H_REAR_SHUT, PW_H_REAR_OPEN },
	[PW_SERVICE_DOOR] = { PW_H_DOOR_SHUT, PW_H_DOOR_OPEN },
	[PW_LAMPS] = { PW_H_LAMPS_OFF, PW_H_LAMPS_ON },
};

static void settled(const struct pw_ctx *c, enum pw_line line)
{
	const struct pw_input *in = &c->s->input[line];

	pw_settle_take(c, line);
	if (line == PW_REAR_BUTTON || line == PW_REAR_BUTTON_NC)
		pw_button_settled(c, line);
	else
		pw_happen(c, heard[line][in->level], line, in->edge_ms);
	if (line == PW_IGNITION && in->level)
		pw_emit(c, (struct pw_effect){ .kind = PW_E_KEY_ON, .edge_ms = in->edge_ms });
	pw_tell_rung(c);
}

/* -- timers, in the order that settles ties ------------------------------------------------------ */

static int64_t due_timer(const struct pw_ctx *c)
{
	return pw_due_ms(c->s, c->p);
}

static int64_t spent_timer(const struct pw_ctx *c)
{
	const struct pw_state *s = c->s;

	if (s->phase != PW_OVERDUE || s->sweep.rung == PW_SPENT)
		return PW_NEVER;
	return s->sweep.ladder_ms + c->p->alarm_max_ms;
}

static int64_t returned_timer(const struct pw_ctx *c)
{
	const struct pw_state *s = c->s;
	int64_t at_ms = s->sweep.press_ms + pw_return_min_ms(c->p);

	return s->phase == PW_WALK_BACK && at_ms > s->returned_ms ? at_ms : PW_NEVER;
}

static int64_t walk_end_timer(const struct pw_ctx *c)
{
	return c->s->phase == PW_WALK_BACK ? c->s->sweep.press_ms + c->p->return_max_ms : PW_NEVER;
}

static int64_t service_timer(const struct pw_ctx *c)
{
	return c->s->service ? c->s->service_end_ms : PW_NEVER;
}

static void fire_held(const struct pw_ctx *c, int64_t at_ms)
{
	(void)at_ms;
	pw_button_fault(c, PW_BUTTON_HELD, true);
}

static void fire_disagree(const struct pw_ctx *c, int64_t at_ms)
{
	(void)at_ms;
	pw_button_fault(c, PW_BUTTON_CONTACTS, true);
}

static void fire_returned(const struct pw_ctx *c, int64_t at_ms)
{
	c->s->returned_ms = at_ms;
}

static void fire_service(const struct pw_ctx *c, int64_t at_ms)
{
	(void)at_ms;
	c->s->service = false;
}

static const struct timer {
	int64_t (*at)(const struct pw_ctx *c);
	enum pw_happening happening;                        /* told to the rules, or */
	void (*fire)(const struct pw_ctx *c, int64_t at_ms); /* done here */
} timers[] = {
	{ .at = due_timer, .happening = PW_H_DUE },
	{ .at = pw_rung_timer_ms, .happening = PW_H_RUNG },
	{ .at = spent_timer, .happening = PW_H_SPENT },
	{ .at = pw_button_held_ms, .fire = fire_held },
	{ .at = pw_button_disagree_ms, .fire = fire_disagree },
	{ .at = returned_timer, .fire = fire_returned },
	{ .at = walk_end_timer, .happening = PW_H_WALK_END },
	{ .at = service_timer, .fire = fire_service },
	{ .at = pw_watch_timer_ms, .happening = PW_H_LEFT_RUNNING },
};

static const struct timer *first_timer(const struct pw_ctx *c, int64_t *at_ms)
{
	const struct timer *first = NULL;

	*at_ms = PW_NEVER;
	for (size_t i = 0; i < sizeof(timers) / sizeof(timers[0]); i++) {
		int64_t at = timers[i].at(c);

		if (at < *at_ms) {
			*at_ms = at;
			first = &timers[i];
		}
	}
	return first;
}

static void fire_first(const struct pw_ctx *c)
{
	int64_t at_ms;
	const struct timer *t = first_timer(c, &at_ms);

	if (t->fire)
		t->fire(c, at_ms);
	else
		pw_happen(c, t->happening, PW_IGNITION, at_ms);
	pw_tell_rung(c);
}

static void look_ahead(const struct pw_ctx *c)
{
	first_timer(c, &c->s->timer_ms);
}

/* -- the way in ------------------------------------------------------------------------------------ */

unsigned pw_run(struct pw_state *s, const struct pw_policy *p, int64_t until_ms,
		const struct pw_sink *out)
{
	const struct pw_ctx c = { s, p, out };
	unsigned handled = 0;

	while (s->powered) {
		int64_t settle_ms = pw_settle_next_ms(&c);
		int64_t at_ms = pw_min(settle_ms, pw_max(s->timer_ms, s->now_ms));

		if (at_ms > until_ms || at_ms == PW_NEVER)
			break;
		s->now_ms = at_ms;
		if (settle_ms <= at_ms)
			settled(&c, (enum pw_line)pw_settle_due(&c, at_ms));
		else
			fire_first(&c);
		look_ahead(&c);
		handled++;
	}
	return handled;
}

int64_t pw_next_ms(const struct pw_state *s, const struct pw_policy *p)
{
	const struct pw_ctx c = { (struct pw_state *)s, p, NULL };

	if (!s->powered)
		return PW_NEVER;
	return pw_max(s->now_ms, pw_min(pw_settle_next_ms(&c), s->timer_ms));
}

static unsigned levels(const struct pw_ctx *c, const struct pw_event *ev)
{
	uint32_t at_once = 0;
	unsigned handled = 0;

	pw_settle_raw(c, ev->mask, ev->levels, &at_once);
	for (; at_once != 0; at_once &= at_once - 1, handled++)
		settled(c, (enum pw_line)__builtin_ctz(at_once));
	return handled;
}

static void service(const struct pw_ctx *c, bool on)
{
	struct pw_state *s = c->s;

	s->service = on;
	s->service_end_ms = s->now_ms + c->p->service_max_ms;
	if (on && pw_sweep_is_unproven(s))
		pw_sweep_find(c, PW_F_MUTED);
}

unsigned pw_step(struct pw_state *s, const struct pw_policy *p, const struct pw_event *ev,
		 const struct pw_sink *out)
{
	const struct pw_ctx c = { s, p, out };
	unsigned handled = 1;

	if (ev->kind != PW_POWER_ON_FIRST)
		s->now_ms = ev->at_ms;
	switch (ev->kind) {
	case PW_POWER_ON_FIRST:
		pw_power_first(&c, ev);
		break;
	case PW_POWER_ON:
		pw_power_on(&c, ev);
		break;
	case PW_POWER_CUT:
		pw_power_cut(&c, ev->at_ms);
		break;
	case PW_LEVELS:
		handled = levels(&c, ev);
		break;
	case PW_SERVICE_ON:
	case PW_SERVICE_OFF:
		service(&c, ev->kind == PW_SERVICE_ON);
		break;
	}
	if (handled == 0)
		return 0;
	pw_tell_rung(&c);
	look_ahead(&c);
	return handled;
}
