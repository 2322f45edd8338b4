/* SPDX-License-Identifier: Apache-2.0 */
#include <stdio.h>
#include <string.h>

#include "leaf.h"

/* -- where to go when a form was taken -------------------------------------------------------- */

/* The page asks whether that one was heard: a path for each line, as paths must last. */
static const char *then_before(const struct pw_act *act)
{
	static const char *const tried[PW_LINES] = {
#define P(n) [n] = "/before?tried=" #n
		P(0), P(1), P(2), P(3), P(4), P(5), P(6), P(7), P(8), P(9), P(10), P(11), P(12),
		P(13), P(14), P(15), P(16), P(17), P(18), P(19),
#undef P
	};

	_Static_assert(PW_LINES == 20, "a path for each");
	return act->kind == PW_A_TRY && act->line < PW_LINES ? tried[act->line] : "/before";
}

static const char *then_found(const struct pw_act *act)
{
	return act->what == PW_FOUND_CHILD ? "/found?what=child_taken" : "/found?what=taken";
}

static const char *then_report(const struct pw_act *act)
{
	(void)act;
	return "/report";
}

static const char *then_pin(const struct pw_act *act)
{
	return act->role == PW_MECHANIC ? "/mechanic" : "/installer";
}

static const char *then_installer(const struct pw_act *act)
{
	(void)act;
	return "/installer";
}

static const char *then_wiring(const struct pw_act *act)
{
	return act->step == PW_STEP_END ? "/installer/setup" : "/installer/wiring";
}

static const char *then_mechanic(const struct pw_act *act)
{
	(void)act;
	return "/mechanic";
}

static const char *then_leave(const struct pw_act *act)
{
	(void)act;
	return "/";
}

enum pw_word pw_leave_read(const struct pw_form *f, const struct pw_snapshot *s, struct pw_act *act)
{
	(void)f, (void)s;
	act->kind = PW_A_LEAVE;
	return PW_W_NONE;
}

static int put_capture(const struct pw_visit *v, char *buf, size_t size)
{
	char date[PW_CLOCK_MAX];

	pw_wall_text(v->s->wall_ms, "%Y-%m-%d %H:%M:%S %Z", date);
	return pw_wires_vcd(v->wires, v->s->bus, date, buf, size);
}

/* -- the table --------------------------------------------------------------------------------- */

const struct pw_leaf pw_leaves[] = {
	{ .path = "/before", .role = PW_NOBODY, .title = PW_W_P_BEFORE, .template = pw_web_before,
	  .pieces = pw_before_pieces, .follows = true, .asks = "tried", .fields = "do line yes",
	  .read = pw_before_read, .then = then_before },
	{ .path = "/found", .role = PW_NOBODY, .title = PW_W_P_FOUND, .template = pw_web_found,
	  .pieces = pw_found_pieces, .asks = "what", .fields = "what part who words",
	  .read = pw_found_read, .then = then_found },
	{ .path = "/report", .role = PW_NOBODY, .title = PW_W_P_REPORT, .template = pw_web_report,
	  .pieces = pw_report_pieces, .fields = "do who", .read = pw_report_read,
	  .then = then_report },
	{ .path = "/pin", .role = PW_NOBODY, .title = PW_W_P_PIN, .template = pw_web_pin,
	  .pieces = pw_pin_pieces, .asks = "for", .fields = "for pin",
	  .read = pw_pin_read, .then = then_pin },
	{ .path = "/installer", .role = PW_INSTALLER, .wires = true, .title = PW_W_P_INSTALLER,
	  .template = pw_web_installer, .pieces = pw_installer_pieces, .follows = true,
	  .asks = "span", .fields = "do line", .read = pw_installer_read, .then = then_installer },
	{ .path = "/installer/wiring", .role = PW_INSTALLER, .wires = true,
	  .title = PW_W_P_WIRING, .template = pw_web_wiring, .pieces = pw_wiring_pieces,
	  .follows = true, .fields = "do", .read = pw_wiring_read,
	  .then = then_wiring },
	{ .path = "/installer/setup", .role = PW_INSTALLER, .wires = true, .title = PW_W_P_SETUP,
	  .template = pw_web_setup, .pieces = pw_setup_pieces, .fields = "who",
	  .read = pw_setup_read, .then = then_wiring },
	{ .path = "/installer/capture.vcd", .role = PW_INSTALLER, .wires = true,
	  .title = PW_W_P_INSTALLER, .type = "text/plain; charset=utf-8", .put = put_capture },
	{ .path = "/mechanic", .role = PW_MECHANIC, .title = PW_W_P_MECHANIC,
	  .template = pw_web_mechanic, .pieces = pw_mechanic_pieces, .fields = "do id as who words",
	  .read = pw_mechanic_read, .then = then_mechanic },
	{ .path = "/leave", .role = PW_NOBODY, .title = PW_W_P_LEAVE, .template = pw_web_leave,
	  .fields = "", .read = pw_leave_read, .then = then_leave },
};
const size_t pw_leaf_count = sizeof pw_leaves / sizeof pw_leaves[0];

/* -- drawn ------------------------------------------------------------------------------------- */

int pw_html_leaf(const struct pw_leaf *leaf, const struct pw_visit *visit, char *buf, size_t size)
{
	const struct pw_view v = { .s = visit->s, .choice = visit->choice, .leaf = leaf,
				   .template = leaf->template, .visit = visit };

	return leaf->put ? leaf->put(visit, buf, size) : pw_html_fill(&v, buf, size);
}

int pw_html_refusal(const struct pw_choice *c, enum pw_word why, int64_t wait_ms, const char *on,
		    char *buf, size_t size)
{
	static const struct pw_leaf leaf = { .path = "/", .title = PW_W_P_REFUSED };
	const struct pw_visit visit = { .choice = c, .refusal = why, .wait_ms = wait_ms };
	const struct pw_view v = { .choice = c, .leaf = &leaf, .template = pw_web_refusal,
				   .visit = &visit, .on = on };

	return pw_html_fill(&v, buf, size);
}

enum pw_word pw_say_answer(enum pw_answer answer)
{
	switch (answer) {
	case PW_DONE_SO: return PW_W_NONE;
	case PW_PIN_IS_WRONG: return PW_W_A_PIN_WRONG;
	case PW_PIN_TOO_SOON: return PW_W_A_PIN_SOON;
	case PW_PIN_UNSET: return PW_W_A_PIN_UNSET;
	case PW_PIN_IN_HAND: return PW_W_A_PIN_IN_HAND;
	case PW_SESSION_TAKEN: return PW_W_A_TAKEN;
	case PW_SESSION_NONE: return PW_W_A_NO_SESSION;
	case PW_NOT_NOW: return PW_W_A_NOT_NOW;
	case PW_NOT_SUCH: return PW_W_A_NOT_SUCH;
	case PW_NOT_DONE: break;
	}
	return PW_W_A_NOT_DONE;
}
