/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* what; part of a mechanical fault; who and words may be "". */
enum pw_word pw_found_read(const struct pw_form *f, const struct pw_snapshot *s,
			   struct pw_act *act)
{
	enum pw_word wrong;

	(void)s;
	act->kind = PW_A_FOUND;
	act->what = pw_found_find(pw_form_value(f, "what"));
	if (act->what == PW_FOUND_NONE)
		return PW_W_E_WHAT;
	if (act->what == PW_FOUND_MECHANICAL) {
		act->part = pw_part_find(pw_form_value(f, "part"));
		if (act->part == PW_PART_NONE)
			return PW_W_E_PART;
	}
	wrong = pw_read_words(f, act);
	return wrong == PW_W_NONE ? pw_read_code(f, false, act) : wrong;
}

const struct pw_piece pw_found_pieces[] = { { NULL, NULL } };
