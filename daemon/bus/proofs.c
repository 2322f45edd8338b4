/* SPDX-License-Identifier: Apache-2.0 */
/* What the driver's own round proves. A line is proven when it was seen to go both ways, and each
 * proof wants both anew; an output when its sense was at 0 without it and at 1 with it, or by an
 * ear. */
#include <stdio.h>

#include "bus_internal.h"

#define PROOFS_A_SPAN 6 /* a proof is told again after a sixth of the time for which one holds */

/* -- a proof ----------------------------------------------------------------------------------- */

static void tell_unheard(struct pw_bus *b, unsigned line, bool unheard)
{
	const char *name = b->active.policy.line[line].name;
	char fault[PW_NAME_MAX + 8], words[160];

	snprintf(fault, sizeof(fault), "unheard_%.31s", name);
	snprintf(words, sizeof(words), "%s was tried and nobody saw or heard it: check it and its fuse "
		 "before the next run", name);
	pw_fault_set(b, fault, unheard ? words : NULL, b->now_ms);
}

/* A wall clock that went back makes a proof that is yet to be: it is told again. */
static bool stands(const struct pw_bus *b, const struct pw_proof *proof, enum pw_proof_how how)
{
	const int64_t age_ms = proof ? b->wall_ms - proof->wall_ms : 0;

	return proof && proof->how == how && age_ms >= 0 &&
	       age_ms < b->active.policy.proof_ms / PROOFS_A_SPAN;
}

void pw_prove(struct pw_bus *b, unsigned line, enum pw_proof_how how)
{
	const char *name = b->active.policy.line[line].name;
	struct pw_note n;

	if (b->active.policy.line[line].direction == PW_OUT)
		tell_unheard(b, line, how == PW_NOT_HEARD);
	if (stands(b, pw_day_proof(&b->day, name), how))
		return;
	n = pw_note_new(b, PW_K_PROOF);
	snprintf(n.of.proof.line, sizeof(n.of.proof.line), "%s", name);
	n.of.proof.how = how;
	pw_writer_note(b->writer, &n);
	pw_day_take(&b->day, &n);
	b->keep = true;
}

/* -- lines ------------------------------------------------------------------------------------- */

static uint32_t settled_levels(const struct pw_bus *b)
{
	uint32_t levels = 0;

	for (unsigned i = 0; i < PW_INPUTS; i++)
		levels |= (uint32_t)(b->state.input[i].level & 1) << i;
	return levels;
}

void pw_proofs_begin(struct pw_bus *b)
{
	b->proving = (struct pw_proving){
		.levels = (pw_board_levels(b->board) & ~((1u << PW_INPUTS) - 1)) | settled_levels(b),
	};
	for (unsigned i = PW_INPUTS; i < PW_LINES; i++) {
		const struct pw_line_policy *line = &b->active.policy.line[i];
		const struct pw_proof *proof = pw_day_proof(&b->day, line->name);

		if (line->configured && line->direction == PW_OUT && proof)
			tell_unheard(b, i, proof->how == PW_NOT_HEARD);
	}
}

static void moved(struct pw_bus *b, unsigned line)
{
	struct pw_proving *p = &b->proving;
	const uint32_t bit = 1u << line;

	p->levels ^= bit;
	if (p->levels & bit)
		p->rose |= bit;
	else
		p->fell |= bit;
	if (!(p->rose & p->fell & bit))
		return;
	p->rose &= ~bit;
	p->fell &= ~bit;
	if (b->active.policy.line[line].configured)
		pw_prove(b, line, PW_MOVED);
}

void pw_proofs_settled(struct pw_bus *b)
{
	uint32_t left = (settled_levels(b) ^ b->proving.levels) & ((1u << PW_INPUTS) - 1);

	for (; left != 0; left &= left - 1)
		moved(b, (unsigned)__builtin_ctz(left));
}

void pw_proofs_raw(struct pw_bus *b, unsigned line, uint8_t level)
{
	if (b->active.policy.line[line].direction == PW_IN &&
	    (b->proving.levels >> line & 1) != level)
		moved(b, line);
}

/* -- outputs ----------------------------------------------------------------------------------- */

void pw_proofs_sensed(struct pw_bus *b)
{
	const uint32_t levels = pw_board_levels(b->board);

	for (unsigned i = PW_INPUTS; i < PW_LINES; i++) {
		const int sense = pw_sense_of(&b->active.policy, i);
		const uint32_t bit = 1u << i;

		if (sense < 0)
			continue;
		if (!(b->outputs & bit) && !(levels >> sense & 1))
			b->proving.sense_low |= bit;
		if (!(b->outputs & bit) || !(levels >> sense & 1) || !(b->proving.sense_low & bit))
			continue;
		b->proving.sense_low &= ~bit;
		pw_prove(b, i, PW_SENSED);
	}
}
