/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* do=try, or do=heard with yes=1 or 0; line: an output. */
enum pw_word pw_before_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	const char *what = pw_form_value(f, "do"), *yes = pw_form_value(f, "yes");

	if (!strcmp(what, "try"))
		act->kind = PW_A_TRY;
	else if (!strcmp(what, "heard") && (!strcmp(yes, "1") || !strcmp(yes, "0")))
		act->kind = PW_A_HEARD;
	else
		return PW_W_E_FORM;
	act->yes = yes[0] == '1';
	return pw_read_output(f, s, act);
}

const struct pw_piece pw_before_pieces[] = { { NULL, NULL } };
