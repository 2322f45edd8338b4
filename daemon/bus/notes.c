/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

struct pw_note pw_note_new(const struct pw_bus *b, enum pw_kind kind)
{
	return (struct pw_note){
		.version = PW_NOTE_VERSION,
		.kind = (uint16_t)kind,
		.mono_ms = b->judged_ms > b->now_ms ? b->judged_ms : b->now_ms,
		.wall_ms = b->wall_ms,
		.wall_ok = pw_wall_ok(b),
	};
}

void pw_note_fault(struct pw_bus *b, const char *name, bool on, const char *words, int64_t at_ms)
{
	struct pw_note n = pw_note_new(b, PW_K_FAULT);

	snprintf(n.of.fault.name, sizeof(n.of.fault.name), "%s", name);
	snprintf(n.of.fault.words, sizeof(n.of.fault.words), "%s", words);
	n.of.fault.on = on;
	n.of.fault.at_ms = at_ms;
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
