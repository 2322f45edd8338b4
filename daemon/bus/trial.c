/* SPDX-License-Identifier: Apache-2.0 */
/* An output tried for a moment, so that somebody hears or sees it. It yields to all the rules. */
#include "bus_internal.h"

static bool may(const struct pw_bus *b, unsigned line)
{
	return b->state.phase <= PW_DRIVING &&
	       (pw_may_sound(&b->state, &b->active.policy) >> line & 1);
}

enum pw_answer pw_trial_begin(struct pw_bus *b, uint8_t line)
{
	if (!may(b, line))
		return PW_NOT_NOW;
	b->trial.line = line;
	b->trial.end_ms = b->now_ms + PW_TRIAL_MS;
	b->trial.tried |= 1u << line;
	return PW_DONE_SO;
}

/* In its last moment it is no longer driven; a sense that has not seen it by then never will. */
uint32_t pw_trial_step(struct pw_bus *b, uint32_t *sounding)
{
	const uint32_t bit = 1u << b->trial.line;

	*sounding = 0;
	if (!b->trial.end_ms)
		return 0;
	if (!may(b, b->trial.line)) {
		b->trial.end_ms = 0;
		return 0;
	}
	*sounding = bit;
	if (b->now_ms < b->trial.end_ms)
		return bit;
	b->trial.end_ms = 0;
	return 0;
}
