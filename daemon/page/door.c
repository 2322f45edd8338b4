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

/* One of the two, whatever the address says. */
static enum pw_role role_asked(const struct pw_view *v)
{
	enum pw_role role = pw_role_find(pw_visit_value(v->visit, "for"));

	return role == PW_MECHANIC ? PW_MECHANIC : PW_INSTALLER;
}

static void put_pin(struct pw_sheet *t, const struct pw_view *v)
{
	enum pw_role role = role_asked(v);
	bool wrong = v->visit->refusal == PW_W_E_PIN || v->visit->refusal == PW_W_A_PIN_WRONG;

	pw_put_form(t, v);
	pw_put_hidden(t, "for", pw_role_name(role));
	pw_sheet_raw(t, "<p class=\"field\"><label for=\"pin\">");
	pw_sheet_word(t, role == PW_MECHANIC ? PW_W_D_MECHANIC : PW_W_D_INSTALLER, "", "");
	pw_sheet_fmt(t, "</label>\n<input id=\"pin\" name=\"pin\" type=\"password\" "
		     "maxlength=\"%d\"", PW_PIN_MAX - 1);
	pw_sheet_raw(t, " autocomplete=\"off\" spellcheck=\"false\" required aria-describedby=\"");
	pw_sheet_raw(t, wrong ? "pin-error pin-lead\" aria-invalid=\"true\"></p>\n"
			      : "pin-lead\"></p>\n");
	pw_put_error(t, v, PW_W_E_PIN, "pin-error");
	pw_put_error(t, v, PW_W_A_PIN_WRONG, "pin-error");
	pw_sheet_raw(t, "<p id=\"pin-lead\">");
	pw_sheet_word(t, PW_W_D_LEAD, "", "");
	pw_sheet_raw(t, "</p>\n<p class=\"do\">");
	pw_put_button(t, NULL, NULL, NULL, PW_W_D_OPEN);
	pw_sheet_raw(t, "</p>\n</form>\n");
}

static void put_set(struct pw_sheet *t, const struct pw_view *v)
{
	char command[64];

	snprintf(command, sizeof command, "postwalk pin --state DIR %s",
		 pw_role_name(role_asked(v)));
	pw_sheet_raw(t, "<p>");
	pw_sheet_word(t, PW_W_D_SET, command, "");
	pw_sheet_raw(t, "</p>\n");
}

const struct pw_piece pw_pin_pieces[] = { { "pin", put_pin }, { "set", put_set }, { NULL, NULL } };
