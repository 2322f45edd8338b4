/* SPDX-License-Identifier: Apache-2.0 */
#include "core_internal.h"

static enum pw_contact contact(const struct pw_ctx *c)
{
	bool no = pw_level(c->s, PW_REAR_BUTTON);
	bool nc = pw_level(c->s, PW_REAR_BUTTON_NC);

	if (!c->p->line[PW_REAR_BUTTON_NC].configured)
		return no ? PW_PRESSED : PW_RELEASED;
	if (no == nc)
		return PW_DISAGREE;
	return no ? PW_PRESSED : PW_RELEASED;
}

void pw_button_init(const struct pw_ctx *c, int64_t at_ms)
{
	struct pw_button *b = &c->s->button;

	*b = (struct pw_button){ .contact = contact(c), .since_ms = at_ms };
	b->armed = b->contact == PW_RELEASED;
}

void pw_button_fault(const struct pw_ctx *c, enum pw_fault fault, bool on)
{
	if (c->s->button.fault[fault] == on)
		return;
	c->s->button.fault[fault] = on;
	pw_emit(c, (struct pw_effect){ .kind = PW_E_FAULT, .fault = fault, .on = on });
	if (on && pw_sweep_is_unproven(c->s))
		pw_sweep_find(c, fault == PW_BUTTON_HELD ? PW_F_BUTTON_HELD : PW_F_BUTTON_CONTACTS);
}

static int64_t last_edge_ms(const struct pw_state *s)
{
	return pw_max(s->input[PW_REAR_BUTTON].edge_ms, s->input[PW_REAR_BUTTON_NC].edge_ms);
}

/* A settled event of one of the two contacts. */
void pw_button_settled(const struct pw_ctx *c, enum pw_line line)
{
	struct pw_button *b = &c->s->button;
	enum pw_contact now = contact(c);
	bool press;

	if (now == b->contact)
		return;
	press = now == PW_PRESSED && b->armed;
	b->contact = now;
	b->since_ms = now == PW_DISAGREE ? c->s->input[line].edge_ms : last_edge_ms(c->s);
	b->armed = now == PW_RELEASED || (b->armed && !press);
	if (now != PW_PRESSED)
		pw_button_fault(c, PW_BUTTON_HELD, false);
	if (now != PW_DISAGREE)
		pw_button_fault(c, PW_BUTTON_CONTACTS, false);
	if (press)
		pw_happen(c, PW_H_PRESS, PW_REAR_BUTTON, b->since_ms);
}

int64_t pw_button_held_ms(const struct pw_ctx *c)
{
	const struct pw_button *b = &c->s->button;

	if (b->contact != PW_PRESSED || b->fault[PW_BUTTON_HELD])
		return PW_NEVER;
	return b->since_ms + c->p->held_max_ms;
}

int64_t pw_button_disagree_ms(const struct pw_ctx *c)
{
	const struct pw_button *b = &c->s->button;

	if (b->contact != PW_DISAGREE || b->fault[PW_BUTTON_CONTACTS])
		return PW_NEVER;
	return b->since_ms + c->p->disagree_ms;
}
