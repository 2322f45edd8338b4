/* SPDX-License-Identifier: Apache-2.0 */
/* The set-up record: what the walk through the wiring and the lines themselves give as evidence. */
#include "leaf.h"

/* who: ends the walk through the wiring. */
enum pw_word pw_setup_read(const struct pw_form *f, const struct pw_snapshot *s,
			   struct pw_act *act)
{
	(void)s;
	act->kind = PW_A_WIRING;
	act->step = PW_STEP_END;
	return pw_read_code(f, true, act);
}

const struct pw_piece pw_setup_pieces[] = { { NULL, NULL } };
