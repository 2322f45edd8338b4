/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* do=begin, next, again or skip. */
enum pw_word pw_wiring_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	static const struct { const char *name; enum pw_step_kind step; } steps[] = {
		{ "begin", PW_STEP_BEGIN }, { "next", PW_STEP_NEXT }, { "again", PW_STEP_AGAIN },
		{ "skip", PW_STEP_SKIP },
	};
	const char *what = pw_form_value(f, "do");

	(void)s;
	act->kind = PW_A_WIRING;
	for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++)
		if (!strcmp(what, steps[i].name)) {
			act->step = steps[i].step;
			return PW_W_NONE;
		}
	return PW_W_E_FORM;
}

const struct pw_piece pw_wiring_pieces[] = { { NULL, NULL } };
