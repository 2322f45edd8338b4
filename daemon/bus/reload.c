/* SPDX-License-Identifier: Apache-2.0 */
/* A policy read again while the bus is watched: whole or not at all, and from the next key-off. */
#include <stddef.h>
#include <string.h>

#include "bus_internal.h"

/* Wires are requested once: another wiring needs another start. */
static bool same_wires(const struct pw_policy *a, const struct pw_policy *b)
{
	for (unsigned i = 0; i < PW_LINES; i++) {
		struct pw_line_policy x = a->line[i], y = b->line[i];

		x.settle_ms = y.settle_ms = 0;
		x.outside = y.outside = false;
		if (strcmp(x.name, y.name) || x.configured != y.configured ||
		    x.direction != y.direction || strcmp(x.chip, y.chip) || x.offset != y.offset ||
		    strcmp(x.label, y.label) || x.active_low != y.active_low || x.bias != y.bias ||
		    strcmp(x.sense, y.sense))
			return false;
	}
	return true;
}

void pw_reload(struct pw_bus *b)
{
	const struct pw_policy *now = &b->active.policy, *next = &b->next.policy;
	const char *path = b->options->config;
	char why[400];

	b->next_waits = false;
	if (pw_policy_load(path, true, &b->next.policy, b->next.hash, b->next.text, why,
			   sizeof(why))) {
		pw_err("%s; the policy in force stays", why);
		return;
	}
	if (!same_wires(now, next) || strcmp(now->bus, next->bus) ||
	    strcmp(now->listen, next->listen)) {
		pw_err("%s: expected the bus, the page and the wires as they are: they change with "
		       "a restart of postwalkd only; the policy in force stays", path);
		return;
	}
	if (strcmp(b->active.hash, b->next.hash) == 0) {
		pw_info("%s: nothing has changed", path);
		return;
	}
	b->next_waits = true;
	pw_info("%s: taken; in force from the next key-off", path);
}

void pw_reload_take(struct pw_bus *b)
{
	if (!b->next_waits)
		return;
	b->next_waits = false;
	b->active = b->next;
	for (unsigned i = 0; i < PW_LINES; i++)
		b->wires.wire[i].settle_ms = b->active.policy.line[i].settle_ms;
	pw_note_policy(b);
	pw_info("the new policy is in force");
}
