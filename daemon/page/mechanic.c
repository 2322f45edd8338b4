/* SPDX-License-Identifier: Apache-2.0 */
#include <stdlib.h>
#include <string.h>

#include "leaf.h"

static enum pw_word read_certify(const struct pw_form *f, struct pw_act *act)
{
	const char *id = pw_form_value(f, "id"), *as = pw_form_value(f, "as");
	char *end;
	unsigned long long number = strtoull(id, &end, 10);
	enum pw_word wrong;

	if (id[0] < '0' || id[0] > '9' || *end || number == 0 || number > UINT32_MAX)
		return PW_W_E_DEFECT;
	act->id = (uint32_t)number;
	act->yes = !strcmp(as, "repaired");
	if (!act->yes && strcmp(as, "no_need") != 0)
		return PW_W_E_CERTIFY;
	wrong = pw_read_words(f, act);
	return wrong == PW_W_NONE ? pw_read_code(f, true, act) : wrong;
}

/* do=on or off: service; do=certify: id, as=repaired or no_need, who, words. */
enum pw_word pw_mechanic_read(const struct pw_form *f, const struct pw_snapshot *s,
			      struct pw_act *act)
{
	const char *what = pw_form_value(f, "do");

	(void)s;
	act->kind = PW_A_CERTIFY;
	if (!strcmp(what, "certify"))
		return read_certify(f, act);
	act->kind = PW_A_SERVICE;
	act->yes = !strcmp(what, "on");
	return act->yes || !strcmp(what, "off") ? PW_W_NONE : PW_W_E_FORM;
}

const struct pw_piece pw_mechanic_pieces[] = { { NULL, NULL } };
