/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* do=count, or do=try with line: an output. */
enum pw_word pw_installer_read(const struct pw_form *f, const struct pw_snapshot *s,
			       struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	act->kind = PW_A_COUNT;
	if (!strcmp(what, "count"))
		return PW_W_NONE;
	act->kind = PW_A_TRY;
	return strcmp(what, "try") ? PW_W_E_FORM : pw_read_output(f, s, act);
}

const struct pw_piece pw_installer_pieces[] = { { NULL, NULL } };
