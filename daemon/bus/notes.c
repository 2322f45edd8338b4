/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

/* Sizes of what each kind carries; the writer takes no more of a note than this. */
#define MEMBER(m) (offsetof(struct pw_note, of) + sizeof(((struct pw_note *)0)->of.m))
static const uint32_t sizes[PW_KINDS] = {
	[PW_K_BOOT] = MEMBER(boot), [PW_K_POLICY] = MEMBER(policy), [PW_K_EDGES] = MEMBER(edges),
	[PW_K_LEVEL] = MEMBER(level), [PW_K_SWEEP] = MEMBER(sweep), [PW_K_RESTART] = MEMBER(restart),
	[PW_K_EXCUSED] = MEMBER(excused), [PW_K_RUNG] = MEMBER(rung), [PW_K_FAULT] = MEMBER(fault),
	[PW_K_SERVICE] = MEMBER(service), [PW_K_CLOCK] = MEMBER(clock), [PW_K_LOST] = MEMBER(lost),
};

struct pw_note pw_note_new(const struct pw_bus *b, enum pw_kind kind)
{
	return (struct pw_note){
		.version = PW_NOTE_VERSION,
		.kind = (uint16_t)kind,
		.size = sizes[kind],
		.mono_ms = b->judged_ms > b->now_ms ? b->judged_ms : b->now_ms,
		.wall_ms = b->wall_ms,
		.wall_ok = pw_wall_ok(b),
	};
}

void pw_note_fault(struct pw_bus *b, const char *name, bool on, const char *words)
{
	struct pw_note n = pw_note_new(b, PW_K_FAULT);

	snprintf(n.of.fault.name, sizeof(n.of.fault.name), "%s", name);
	snprintf(n.of.fault.words, sizeof(n.of.fault.words), "%s", words);
	n.of.fault.on = on;
	pw_writer_note(b->writer, &n);
	b->keep = true;
}

void pw_note_policy(struct pw_bus *b)
{
	struct pw_note n = pw_note_new(b, PW_K_POLICY);

	n.of.policy.length = (uint32_t)strlen(b->active.text);
	memcpy(n.of.policy.text, b->active.text, n.of.policy.length);
	pw_writer_note(b->writer, &n);
	b->keep = true;
}
