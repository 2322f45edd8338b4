/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A signal begins when its output comes to be among the sounding ones. From then on the sense has
 * PW_SILENT_MS to be seen once while the output is driven; pulses in between do not begin anew.
 */
#include "postwalk/board.h"
#include "postwalk/core.h"

void pw_supervise_init(struct pw_supervise *sv)
{
	*sv = (struct pw_supervise){0};
	for (unsigned i = 0; i < PW_LINES; i++)
		sv->driven_ms[i] = PW_NEVER;
}

int pw_sense_of(const struct pw_policy *p, unsigned i)
{
	int sense;

	if (!p->line[i].configured || p->line[i].direction != PW_OUT || !p->line[i].sense[0])
		return -1;
	sense = pw_line_find(p, p->line[i].sense);
	if (sense < 0 || !p->line[sense].configured || p->line[sense].direction != PW_IN)
		return -1;
	return sense;
}

static void step_output(struct pw_supervise *sv, unsigned i, bool sounding, bool sensed,
			int64_t now_ms)
{
	const uint32_t bit = UINT32_C(1) << i;

	if (sensed)
		sv->silent &= ~bit;
	if (!sounding) {
		sv->driven_ms[i] = PW_NEVER;
		sv->seen &= ~bit;
		return;
	}
	if (sensed)
		sv->seen |= bit;
	if ((sv->seen | sv->silent) & bit) {
		sv->driven_ms[i] = PW_NEVER;
		return;
	}
	if (sv->driven_ms[i] == PW_NEVER)
		sv->driven_ms[i] = now_ms;
	if (now_ms - sv->driven_ms[i] >= PW_SILENT_MS) {
		sv->silent |= bit;
		sv->driven_ms[i] = PW_NEVER;
	}
}

uint32_t pw_supervise_step(struct pw_supervise *sv, const struct pw_policy *p, uint32_t sounding,
			   uint32_t driven, uint32_t levels, int64_t now_ms)
{
	const uint32_t before = sv->silent;

	for (unsigned i = PW_INPUTS; i < PW_LINES; i++) {
		int sense = pw_sense_of(p, i);
		bool sensed;

		if (sense < 0) /* a new policy may have taken the sense away */
			sv->silent &= ~(UINT32_C(1) << i);
		sensed = sense >= 0 && (driven >> i & 1) && (levels >> sense & 1);
		step_output(sv, i, sense >= 0 && (sounding >> i & 1), sensed, now_ms);
	}
	return before ^ sv->silent;
}

int64_t pw_supervise_next_ms(const struct pw_supervise *sv)
{
	int64_t next_ms = PW_NEVER;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (sv->driven_ms[i] != PW_NEVER && sv->driven_ms[i] + PW_SILENT_MS < next_ms)
			next_ms = sv->driven_ms[i] + PW_SILENT_MS;
	return next_ms;
}
