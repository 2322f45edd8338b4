/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "leaf.h"

/* do=sign or review; who. */
enum pw_word pw_report_read(const struct pw_form *f, const struct pw_snapshot *s,
			    struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	(void)s;
	if (!strcmp(what, "sign"))
		act->kind = PW_A_SIGN;
	else if (!strcmp(what, "review"))
		act->kind = PW_A_REVIEW;
	else
		return PW_W_E_FORM;
	return pw_read_code(f, true, act);
}

const struct pw_piece pw_report_pieces[] = { { NULL, NULL } };
