/* SPDX-License-Identifier: Apache-2.0 */
#include "core_internal.h"

void pw_settle_init(const struct pw_ctx *c, uint8_t levels, int64_t at_ms)
{
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		struct pw_input *in = &c->s->input[i];

		in->raw = in->level = (uint8_t)(levels >> i & 1);
		in->edge_ms = at_ms;
		in->departed_ms = PW_NO_TIME;
	}
	c->s->departing = 0;
}

static void depart(const struct pw_ctx *c, unsigned line, uint32_t *at_once)
{
	c->s->input[line].departed_ms = c->s->now_ms;
	if (c->p->line[line].settle_ms == 0)
		*at_once |= 1u << line;
	else
		c->s->departing |= 1u << line;
}

void pw_settle_raw(const struct pw_ctx *c, uint8_t mask, uint8_t levels, uint32_t *at_once)
{
	for (uint32_t left = mask; left != 0; left &= left - 1) {
		unsigned line = (unsigned)__builtin_ctz(left);
		struct pw_input *in = &c->s->input[line];
		uint8_t raw = (uint8_t)(levels >> line & 1);

		if (raw == in->raw)
			continue;
		in->raw = raw;
		if (raw != in->level) {
			depart(c, line, at_once);
		} else {
			c->s->departing &= ~(1u << line);
			in->chatter++;
		}
	}
}

static int64_t ends_ms(const struct pw_ctx *c, unsigned line)
{
	return c->s->input[line].departed_ms + c->p->line[line].settle_ms;
}

int64_t pw_settle_next_ms(const struct pw_ctx *c)
{
	int64_t next = PW_NEVER;

	for (uint32_t left = c->s->departing; left != 0; left &= left - 1)
		next = pw_min(next, ends_ms(c, (unsigned)__builtin_ctz(left)));
	return next;
}

int pw_settle_due(const struct pw_ctx *c, int64_t at_ms)
{
	for (uint32_t left = c->s->departing; left != 0; left &= left - 1) {
		unsigned line = (unsigned)__builtin_ctz(left);

		if (ends_ms(c, line) <= at_ms)
			return (int)line;
	}
	return -1;
}

void pw_settle_take(const struct pw_ctx *c, enum pw_line line)
{
	struct pw_input *in = &c->s->input[line];

	c->s->departing &= ~(1u << line);
	in->level = in->raw;
	in->edge_ms = in->departed_ms;
}
