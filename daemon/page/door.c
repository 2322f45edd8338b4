/* SPDX-License-Identifier: Apache-2.0 */
/* The PIN before the installer's and the mechanic's pages. */
#include <stdio.h>
#include <string.h>

#include "leaf.h"

/* for: a role; pin. */
enum pw_word pw_pin_read(const struct pw_form *f, const struct pw_snapshot *s, struct pw_act *act)
{
	const char *pin = pw_form_value(f, "pin");

	(void)s;
	act->kind = PW_A_OPEN;
	act->role = pw_role_find(pw_form_value(f, "for"));
	if (act->role != PW_INSTALLER && act->role != PW_MECHANIC)
		return PW_W_E_FORM;
	if (strlen(pin) < PW_PIN_LEAST || strlen(pin) >= sizeof act->pin)
		return PW_W_E_PIN;
	snprintf(act->pin, sizeof act->pin, "%s", pin);
	return PW_W_NONE;
}

const struct pw_piece pw_pin_pieces[] = { { NULL, NULL } };
