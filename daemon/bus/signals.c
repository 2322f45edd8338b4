/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>

#include "bus_internal.h"

static void tell_silent(struct pw_bus *b, uint32_t changed)
{
	char name[PW_NAME_MAX + 8], words[160];

	for (unsigned i = 0; i < PW_LINES; i++) {
		const char *line = b->active.policy.line[i].name;

		if (!(changed >> i & 1))
			continue;
		snprintf(name, sizeof(name), "silent_%.31s", line);
		snprintf(words, sizeof(words), "%s was told to sound and its sense did not see it: "
			 "check it and its fuse before the next run", line);
		pw_fault_set(b, name, b->supervise.silent >> i & 1 ? words : NULL, b->now_ms);
	}
}

static void note_change(struct pw_bus *b, unsigned line, uint32_t outputs)
{
	b->changed_ms[line] = b->now_ms;
	pw_wires_edge(&b->wires, line, outputs >> line & 1, b->now_ms);
}

static void note_changes(struct pw_bus *b, uint32_t outputs)
{
	for (uint32_t left = outputs ^ b->outputs; left != 0; left &= left - 1)
		note_change(b, (unsigned)__builtin_ctz(left), outputs);
	b->outputs = outputs;
}

void pw_signals_drive(struct pw_bus *b)
{
	const struct pw_policy *p = &b->active.policy;
	uint32_t may[PW_SIGNALS] = { 0 };
	uint32_t dome = pw_dome(&b->state) ? 1u << PW_DOME : 0;
	uint32_t tried, trial = pw_trial_step(b, &tried);

	for (unsigned i = PW_PROMPT; i < PW_SIGNALS; i++)
		may[i] = pw_outputs(&b->state, p, (enum pw_signal)i);
	note_changes(b, pw_player_levels(&b->player, p, may, b->now_ms) | dome | trial);
	pw_board_drive(b->board, b->outputs, b->now_ms);
	tell_silent(b, pw_supervise_step(&b->supervise, p, may[b->player.signal] | tried,
					 b->outputs, pw_board_levels(b->board), b->now_ms));
	pw_proofs_sensed(b);
}

int64_t pw_signals_next_ms(const struct pw_bus *b)
{
	int64_t player_ms = pw_player_next_ms(&b->player, &b->active.policy, b->now_ms);
	int64_t supervise_ms = pw_supervise_next_ms(&b->supervise);
	int64_t next_ms = player_ms < supervise_ms ? player_ms : supervise_ms;

	return b->trial.end_ms && b->trial.end_ms < next_ms ? b->trial.end_ms : next_ms;
}
