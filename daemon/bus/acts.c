/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What a form asks, act by act. The page forwards; here it is judged. Nothing here touches a sweep:
 * what ends one is a walk. What is done is journaled, and shown by the same record.
 */
#include <sodium.h>
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

#define LATER 0 /* no answer yet */

/* So that nobody who reaches the page can fill the disk: far more than a round wants. */
#define BUDGET 60
#define GIVEN_BACK_MS 1000

static bool is_in(int value, int least, int end)
{
	return value >= least && value < end;
}

static bool is_output(const struct pw_bus *b, uint8_t line)
{
	return line < PW_LINES && b->active.policy.line[line].configured &&
	       b->active.policy.line[line].direction == PW_OUT;
}

static bool may_spend(struct pw_bus *b, const struct pw_act *a)
{
	const bool child = a->kind == PW_A_FOUND && a->what == PW_FOUND_CHILD;
	struct pw_budget *g = child ? &b->child_budget : &b->budget;
	int64_t back = (b->now_ms - g->spent_ms) / GIVEN_BACK_MS;

	if (back >= g->spent) {
		g->spent = 0;
		g->spent_ms = b->now_ms;
	} else {
		g->spent -= (uint32_t)back;
		g->spent_ms += back * GIVEN_BACK_MS;
	}
	if (g->spent == BUDGET)
		return false;
	g->spent++;
	return true;
}

static void journal(struct pw_bus *b, const struct pw_note *n)
{
	pw_writer_note(b->writer, n);
	pw_day_take(&b->day, n);
	b->keep = true;
}

/* -- what a walk found ------------------------------------------------------------------------- */

/* The first of the ladder that the office is told of. */
static const char *office_rung(const struct pw_policy *p)
{
	for (unsigned i = PW_LADDER; i < PW_LADDER + p->rungs; i++)
		if (p->signal[i].notify)
			return p->signal[i].name;
	return "";
}

static bool is_defect(enum pw_found_what what)
{
	return what == PW_FOUND_DAMAGE || what == PW_FOUND_LEFT_OPEN || what == PW_FOUND_MECHANICAL;
}

static enum pw_answer take_found(struct pw_bus *b, const struct pw_act *a)
{
	struct pw_note n = pw_note_new(b, PW_K_FOUND);
	const bool child = a->what == PW_FOUND_CHILD;

	if (!is_in(a->what, PW_FOUND_NOTHING, PW_FOUND_WHATS) || !is_in(a->part, 0, PW_PARTS) ||
	    (a->who[0] && !pw_code_ok(a->who)) || !pw_said_ok(a->words))
		return PW_NOT_SUCH;
	n.of.found.what = a->what;
	n.of.found.t0_ms = b->state.phase >= PW_OWED ? b->state.sweep.t0_ms : b->t0_ms;
	if (is_defect(a->what)) {
		n.of.found.id = b->day.last_id + 1;
		n.of.found.part = a->part;
	}
	snprintf(n.of.found.who, sizeof(n.of.found.who), "%s", a->who);
	snprintf(n.of.found.words, sizeof(n.of.found.words), "%s", a->words);
	if (child)
		snprintf(n.of.found.rung, sizeof(n.of.found.rung), "%s",
			 office_rung(&b->active.policy));
	journal(b, &n);
	if (child)
		pw_warn("found: child; the office is to be told");
	else
		pw_info("found: %s", pw_found_name(a->what));
	return PW_DONE_SO;
}

/* -- signals ----------------------------------------------------------------------------------- */

static enum pw_answer take_try(struct pw_bus *b, const struct pw_act *a)
{
	return is_output(b, a->line) ? pw_trial_begin(b, a->line) : PW_NOT_SUCH;
}

static enum pw_answer take_heard(struct pw_bus *b, const struct pw_act *a)
{
	if (!is_output(b, a->line))
		return PW_NOT_SUCH;
	if (!(b->trial.tried >> a->line & 1))
		return PW_NOT_NOW;
	pw_prove(b, a->line, a->yes ? PW_HEARD : PW_NOT_HEARD);
	return PW_DONE_SO;
}

/* -- the vehicle report ------------------------------------------------------------------------ */

static uint32_t open_defects(const struct pw_day *d)
{
	uint32_t open = 0;

	for (uint32_t i = 0; i < d->defects; i++)
		open += d->defect[i].certified == 0;
	return open;
}

static uint32_t reported_defects(const struct pw_day *d)
{
	uint32_t reported = 0;

	for (uint32_t i = 0; i < d->defects; i++)
		reported += d->defect[i].reported;
	return reported;
}

static enum pw_answer report(struct pw_bus *b, const struct pw_act *a, enum pw_report_act act,
			     uint32_t defects)
{
	struct pw_note n = pw_note_new(b, PW_K_REPORT);

	if (!pw_code_ok(a->who) || !pw_said_ok(a->words))
		return PW_NOT_SUCH;
	n.of.report.act = act;
	n.of.report.id = act >= PW_REPORT_REPAIRED ? a->id : 0;
	n.of.report.defects = defects;
	snprintf(n.of.report.who, sizeof(n.of.report.who), "%s", a->who);
	snprintf(n.of.report.words, sizeof(n.of.report.words), "%s", a->words);
	journal(b, &n);
	pw_info("vehicle report: %s", pw_report_name(act));
	return PW_DONE_SO;
}

static enum pw_answer take_sign(struct pw_bus *b, const struct pw_act *a)
{
	return report(b, a, PW_REPORT_SIGNED, open_defects(&b->day));
}

static enum pw_answer take_review(struct pw_bus *b, const struct pw_act *a)
{
	if (b->day.report.wall_ms == 0 || b->day.review.wall_ms != 0)
		return PW_NOT_NOW;
	return report(b, a, PW_REPORT_REVIEWED, reported_defects(&b->day));
}

static enum pw_answer take_certify(struct pw_bus *b, const struct pw_act *a)
{
	for (uint32_t i = 0; i < b->day.defects; i++) {
		if (b->day.defect[i].id != a->id)
			continue;
		if (b->day.defect[i].certified)
			return PW_NOT_NOW;
		return report(b, a, a->yes ? PW_REPORT_REPAIRED : PW_REPORT_NO_NEED, 0);
	}
	return PW_NOT_SUCH;
}

/* -- sessions ---------------------------------------------------------------------------------- */

static enum pw_answer take_touch(struct pw_bus *b, const struct pw_act *a)
{
	(void)b;
	(void)a;
	return PW_DONE_SO;
}

static enum pw_answer take_leave(struct pw_bus *b, const struct pw_act *a)
{
	(void)a;
	pw_session_end(b);
	return PW_DONE_SO;
}

static enum pw_answer take_service(struct pw_bus *b, const struct pw_act *a)
{
	if (!a->yes && !b->state.service)
		return PW_NOT_NOW;
	pw_feed_service(b, a->yes);
	return PW_DONE_SO;
}

static enum pw_answer take_count(struct pw_bus *b, const struct pw_act *a)
{
	(void)a;
	pw_wires_count_anew(&b->wires, b->now_ms);
	return PW_DONE_SO;
}

/* A word of the page's own. */
static enum pw_answer take_refused(struct pw_bus *b, const struct pw_act *a)
{
	const size_t length = strspn(a->words, "abcdefghijklmnopqrstuvwxyz_");
	const bool known = is_in(a->role, PW_NOBODY, PW_ROLES);

	if (length == 0 || a->words[length] != '\0' ||
	    length >= sizeof(b->tries.counted[0].why))
		return PW_NOT_SUCH;
	pw_tries_count(b, known ? a->role : PW_NOBODY, a->words);
	return PW_DONE_SO;
}

/* -- the wiring walk --------------------------------------------------------------------------- */

static enum pw_answer end_walk(struct pw_bus *b, const struct pw_act *a)
{
	struct pw_wiring *w = &b->wires.wiring;
	struct pw_note n = pw_note_new(b, PW_K_SETUP);

	if (!w->on || w->at < w->steps)
		return PW_NOT_NOW;
	if (!pw_code_ok(a->who))
		return PW_NOT_SUCH;
	snprintf(n.of.setup.who, sizeof(n.of.setup.who), "%s", a->who);
	memcpy(n.of.setup.policy, b->active.hash, sizeof(n.of.setup.policy));
	n.of.setup.begun_ms = b->session.walk_ms;
	n.of.setup.wiring = *w;
	journal(b, &n);
	w->on = false; /* its steps stay to be shown, as long as the session */
	pw_info("set-up record: %u steps", w->steps);
	return PW_DONE_SO;
}

static enum pw_answer take_wiring(struct pw_bus *b, const struct pw_act *a)
{
	switch (a->step) {
	case PW_STEP_BEGIN:
		b->session.walk_ms = b->now_ms;
		pw_wiring_begin(&b->wires, b->now_ms);
		return PW_DONE_SO;
	case PW_STEP_NEXT:
		return pw_wiring_next(&b->wires, b->now_ms) ? PW_DONE_SO : PW_NOT_NOW;
	case PW_STEP_AGAIN:
		return pw_wiring_again(&b->wires, b->now_ms) ? PW_DONE_SO : PW_NOT_NOW;
	case PW_STEP_SKIP:
		return pw_wiring_skip(&b->wires, b->now_ms) ? PW_DONE_SO : PW_NOT_NOW;
	case PW_STEP_END:
		return end_walk(b, a);
	}
	return PW_NOT_SUCH;
}

/* -- the table --------------------------------------------------------------------------------- */

static const struct {
	enum pw_role role; /* whose session it needs; PW_NOBODY: any; 0: none */
	bool spends;       /* of the budget */
	enum pw_answer (*take)(struct pw_bus *b, const struct pw_act *a);
} acts[PW_ACTS] = {
	[PW_A_FOUND] = { 0, true, take_found },
	[PW_A_HEARD] = { 0, true, take_heard },
	[PW_A_TRY] = { 0, false, take_try },
	[PW_A_SIGN] = { 0, true, take_sign },
	[PW_A_REVIEW] = { 0, true, take_review },
	[PW_A_OPEN] = { 0, false, NULL }, /* by the gate */
	[PW_A_TOUCH] = { PW_NOBODY, false, take_touch },
	[PW_A_LEAVE] = { PW_NOBODY, false, take_leave },
	[PW_A_SERVICE] = { PW_MECHANIC, false, take_service },
	[PW_A_CERTIFY] = { PW_MECHANIC, false, take_certify },
	[PW_A_COUNT] = { PW_INSTALLER, false, take_count },
	[PW_A_WIRING] = { PW_INSTALLER, false, take_wiring },
	[PW_A_REFUSED] = { 0, false, take_refused },
};

static enum pw_answer take(struct pw_bus *b, const struct pw_act *a, uint32_t serial)
{
	if (!is_in(a->kind, PW_A_FOUND, PW_ACTS))
		return PW_NOT_SUCH;
	if (a->kind == PW_A_OPEN)
		return pw_gate_try(b, a, serial);
	if (acts[a->kind].role && !pw_session_is(b, a->session, acts[a->kind].role))
		return PW_SESSION_NONE;
	if (acts[a->kind].role && (a->kind != PW_A_TOUCH || a->yes))
		pw_session_touch(b);
	if (acts[a->kind].spends && !may_spend(b, a))
		return PW_NOT_DONE;
	return acts[a->kind].take(b, a);
}

bool pw_act_take(struct pw_bus *b, const struct pw_act *act, uint32_t serial,
		 struct pw_done_act *done)
{
	enum pw_answer answer = take(b, act, serial);

	*done = (struct pw_done_act){ .answer = answer, .role = PW_NOBODY };
	if (answer == LATER)
		return false;
	if (is_in(act->kind, PW_A_TOUCH, PW_A_REFUSED) &&
	    pw_session_is(b, act->session, PW_NOBODY)) { /* of the other role as well */
		done->role = b->session.role;
		done->wait_ms = pw_session_left_ms(b);
	}
	return true;
}
