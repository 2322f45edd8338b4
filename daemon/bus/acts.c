/* SPDX-License-Identifier: Apache-2.0 */
/* What the page asks of the watch. */
#include "bus_internal.h"

static void answer(struct pw_bus *b, uint32_t serial, enum pw_answer what)
{
	const struct pw_done_act done = { .answer = what, .role = PW_NOBODY };

	pw_page_answer_act(b->page, serial, &done);
}

void pw_asked_take(struct pw_bus *b)
{
	struct pw_act act;
	uint32_t serial;
	enum pw_asked asked;

	while ((asked = pw_page_asked(b->page, &act, &serial)) != PW_ASKED_NOTHING) {
		if (asked == PW_ASKED_SNAPSHOT)
			pw_show(b);
		else
			answer(b, serial, asked == PW_ASKED_WIRES ? PW_SESSION_NONE : PW_NOT_DONE);
	}
}
