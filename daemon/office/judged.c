/* SPDX-License-Identifier: Apache-2.0 */
#include <string.h>

#include "judged.h"

#define REFUSALS_SHOWN 8
#define OTHERS_SHOWN 4

struct judging {
	const struct pw_told_sweep *t;
	const struct pw_sweep *w;
	const struct pw_policy *p; /* NULL: it does not stand here */
	struct pw_judged *j;
};

/* -- values ------------------------------------------------------------------------------------ */

static struct pw_value span(int64_t ms)
{
	return (struct pw_value){ .kind = PW_VALUE_SPAN, .number = ms };
}

static struct pw_value at(int64_t mono_ms)
{
	return (struct pw_value){ .kind = PW_VALUE_CLOCK, .number = mono_ms };
}

static struct pw_value count(int64_t number)
{
	return (struct pw_value){ .kind = PW_VALUE_COUNT, .number = number };
}

static struct pw_value code(const char *name)
{
	struct pw_value v = { .kind = PW_VALUE_CODE };

	memcpy(v.code, name, strnlen(name, sizeof(v.code) - 1));
	return v;
}

#define SAY(name, ...) ((struct pw_said){ .phrase = PW_P_JUDGED_##name, .value = { __VA_ARGS__ } })
#define NOTHING ((struct pw_said){ .phrase = PW_P_NONE })

/* The last line is kept for the verdict. */
static void put(struct judging *g, const char *rule, struct pw_said asked, struct pw_said seen,
		struct pw_said followed)
{
	if (g->j->count < PW_JUDGEMENTS_MAX - 1 || strcmp(rule, "R22") == 0)
		g->j->line[g->j->count++] = (struct pw_judgement){ rule, asked, seen, followed };
}

static bool has(const struct judging *g, enum pw_finding finding)
{
	return g->w->findings >> finding & 1;
}

static bool during(const struct pw_told_sweep *t, int64_t at_ms)
{
	return at_ms >= t->sweep.t0_ms && at_ms <= t->sweep.closed_ms;
}

static int64_t after_stop(const struct judging *g, int64_t at_ms)
{
	return pw_minus(at_ms, g->w->t0_ms);
}

/* -- what the records tell of due and of the ladder -------------------------------------------- */

bool pw_told_ladder(const struct pw_told_sweep *t, const struct pw_moment *m)
{
	static const char *const others[] = { "", "none", "prompt", "carried", "refused",
					      "accepted" };

	if (m->kind != PW_AT_RUNG || !during(t, m->at_ms))
		return false;
	for (size_t i = 0; i < sizeof(others) / sizeof(others[0]); i++)
		if (strcmp(m->name, others[i]) == 0)
			return false;
	return true;
}

int64_t pw_told_overdue_ms(const struct pw_told_sweep *t)
{
	for (size_t i = 0; i < t->count; i++)
		if (pw_told_ladder(t, &t->moment[i]))
			return t->moment[i].at_ms;
	return PW_NO_TIME;
}

/* A late press says when it was due, and so does the ladder; else the policy, where no door
 * moved it. */
int64_t pw_told_due_ms(const struct pw_told_sweep *t)
{
	const struct pw_sweep *w = &t->sweep;
	const int64_t overdue_ms = pw_told_overdue_ms(t);
	const bool carried = w->findings >> PW_F_CARRIED & 1;

	if (w->press_ms != PW_NO_TIME && w->late_ms > 0)
		return pw_minus(w->press_ms, w->late_ms);
	if (overdue_ms != PW_NO_TIME)
		return overdue_ms;
	if (!t->has_policy || t->policy.unload_ms > 0 ||
	    (w->findings >> PW_F_DOOR_BEFORE_PRESS & 1))
		return PW_NO_TIME;
	return pw_plus(w->t0_ms, carried ? t->policy.carried_due_ms : t->policy.due_ms);
}

/* -- the stop ---------------------------------------------------------------------------------- */

static struct pw_said asked_for_stop(const struct judging *g)
{
	if (has(g, PW_F_LEFT_RUNNING))
		return g->p ? SAY(ASK_IDLE, span(g->p->idle_ms)) : NOTHING;
	if (has(g, PW_F_CARRIED))
		return SAY(ASK_CARRIED);
	if (!g->p)
		return SAY(ASK_NO_POLICY);
	switch (g->p->owed_when) {
	case PW_RUN:
		return SAY(ASK_RUN, span(g->p->run_min_ms));
	case PW_USED:
		return SAY(ASK_LAMPS);
	default:
		return SAY(ASK_EVERY);
	}
}

static void judge_stop(struct judging *g)
{
	const bool running = has(g, PW_F_LEFT_RUNNING);

	put(g, running ? "R25" : has(g, PW_F_CARRIED) ? "R7 R9" : "R7", asked_for_stop(g),
	    running ? SAY(SEE_RUNNING, at(g->w->t0_ms)) : SAY(SEE_KEY_OFF, at(g->w->t0_ms)),
	    SAY(SO_OWED));
}

/* -- presses ----------------------------------------------------------------------------------- */

static struct pw_said asked_for_walk(const struct judging *g)
{
	if (!g->p)
		return SAY(ASK_NO_POLICY);
	return SAY(ASK_WALK, span(pw_walk_min_ms(g->p)), count(g->p->rows),
		   { .kind = PW_VALUE_METRES, .number = g->p->aisle_um });
}

/* R12, R20: long enough after the stop, and yet too soon. */
static struct pw_said followed_refusal(const struct judging *g, const struct pw_refusal *r)
{
	if (r->why == PW_REAR_OPEN)
		return SAY(SO_REAR_OPEN);
	if (g->p && after_stop(g, r->at_ms) >= pw_walk_min_ms(g->p))
		return SAY(SO_TOO_SOON_ANEW);
	return SAY(SO_TOO_SOON);
}

static void judge_refusals(struct judging *g)
{
	const struct pw_sweep *w = g->w;
	const uint32_t shown = w->refused < REFUSALS_SHOWN ? w->refused : REFUSALS_SHOWN;

	for (uint32_t i = 0; i < shown; i++) {
		const struct pw_refusal *r = &w->refusal[i];

		put(g, r->why == PW_REAR_OPEN ? "R11" : "R10 R11",
		    r->why == PW_REAR_OPEN ? SAY(ASK_REAR_SHUT) : asked_for_walk(g),
		    SAY(SEE_PRESS, at(r->at_ms), span(after_stop(g, r->at_ms))),
		    followed_refusal(g, r));
	}
	if (w->refused > shown)
		put(g, "R11", NOTHING, SAY(SEE_MORE, count(w->refused - shown)), SAY(SO_REFUSED));
}

static struct pw_said asked_for_due(const struct judging *g)
{
	int64_t due_ms;

	if (!g->p)
		return SAY(ASK_NO_POLICY);
	due_ms = has(g, PW_F_CARRIED) ? g->p->carried_due_ms : g->p->due_ms;
	if (g->p->unload_ms > 0)
		return SAY(ASK_DUE_UNLOAD, span(due_ms), span(g->p->unload_ms));
	return SAY(ASK_DUE, span(due_ms));
}

static void judge_press(struct judging *g)
{
	const struct pw_sweep *w = g->w;

	if (w->press_ms == PW_NO_TIME) {
		put(g, "R9 R11", asked_for_due(g), SAY(SEE_NO_PRESS), NOTHING);
		return;
	}
	put(g, "R10 R11", asked_for_walk(g),
	    SAY(SEE_PRESS, at(w->press_ms), span(after_stop(g, w->press_ms))), SAY(SO_ACCEPTED));
	put(g, "R9", asked_for_due(g), SAY(SEE_AFTER, span(after_stop(g, w->press_ms))),
	    w->late_ms > 0 ? SAY(SO_LATE, span(w->late_ms), at(pw_minus(w->press_ms, w->late_ms)))
			   : SAY(SO_IN_TIME));
}

/* -- doors ------------------------------------------------------------------------------------- */

struct opening {
	int64_t from_ms, upto_ms; /* within these, both of them too */
	int64_t at_ms;            /* the first one, or PW_NO_TIME */
};

static void note_opening(void *ctx, int64_t at_ms, bool open)
{
	struct opening *o = ctx;

	if (open && o->at_ms == PW_NO_TIME && at_ms >= o->from_ms && at_ms <= o->upto_ms)
		o->at_ms = at_ms;
}

static int64_t opened(const struct judging *g, enum pw_line line, int64_t from_ms, int64_t upto_ms)
{
	struct opening o = { from_ms, upto_ms, PW_NO_TIME };

	pw_told_line(g->t, line, upto_ms, note_opening, &o);
	return o.at_ms;
}

/* The rear door's or an exit's opening, the earlier of them; where none was, it was open before. */
static struct pw_said seen_rear(const struct judging *g, int64_t from_ms, int64_t upto_ms)
{
	const int64_t door_ms = opened(g, PW_REAR_DOOR, from_ms, upto_ms);
	const int64_t exit_ms = opened(g, PW_EXITS, from_ms, upto_ms);
	const bool exit = exit_ms != PW_NO_TIME && (door_ms == PW_NO_TIME || exit_ms < door_ms);

	if (door_ms == PW_NO_TIME && exit_ms == PW_NO_TIME)
		return SAY(SEE_REAR_OPEN);
	return SAY(SEE_OPENED, code(exit ? "exits" : "rear_door"), at(exit ? exit_ms : door_ms));
}

static void judge_rear(struct judging *g)
{
	const int64_t end_ms = g->w->press_ms != PW_NO_TIME ? g->w->press_ms : g->w->closed_ms;

	if (has(g, PW_F_REAR_OPENED))
		put(g, "R12", SAY(ASK_REAR_SHUT_ALL), seen_rear(g, g->w->t0_ms, end_ms),
		    SAY(SO_REAR));
}

static void judge_door(struct judging *g)
{
	const int64_t end_ms = g->w->press_ms != PW_NO_TIME ? g->w->press_ms : g->w->closed_ms;
	int64_t at_ms;

	if (!has(g, PW_F_DOOR_BEFORE_PRESS))
		return;
	at_ms = opened(g, PW_SERVICE_DOOR, g->w->t0_ms, end_ms);
	put(g, "R13", !g->p ? SAY(ASK_NO_POLICY) : g->p->door_rule == PW_AT_ONCE ? SAY(ASK_AT_ONCE)
						 : SAY(ASK_GRACE, span(g->p->leave_grace_ms)),
	    at_ms == PW_NO_TIME ? SAY(SEE_DOOR_USED) : SAY(SEE_OPENED, code("service_door"),
							   at(at_ms)),
	    SAY(SO_DOOR));
}

/* -- signals ----------------------------------------------------------------------------------- */

static const struct pw_signal_policy *signal_of(const struct judging *g, const char *name)
{
	for (unsigned s = PW_PROMPT; g->p && s < PW_LADDER + g->p->rungs; s++)
		if (strcmp(g->p->signal[s].name, name) == 0)
			return &g->p->signal[s];
	return NULL;
}

static void judge_rung(struct judging *g, const struct pw_moment *m)
{
	const struct pw_signal_policy *s = signal_of(g, m->name);
	const bool spent = strcmp(m->name, "spent") == 0;
	struct pw_said asked = SAY(ASK_NO_POLICY);

	if (spent && g->p)
		asked = SAY(ASK_SPENT, span(g->p->alarm_max_ms));
	else if (s)
		asked = s->after_ms > 0 ? SAY(ASK_RUNG, span(s->after_ms)) : SAY(ASK_FIRST_RUNG);
	put(g, spent ? "R18" : "R14 R17", asked, SAY(SEE_RUNG, code(m->name), at(m->at_ms)),
	    spent ? SAY(SO_SPENT) : s && s->notify ? SAY(SO_TOLD) : SAY(SO_SOUNDED));
}

static void judge_rungs(struct judging *g)
{
	for (size_t i = 0; i < g->t->count; i++)
		if (pw_told_ladder(g->t, &g->t->moment[i]))
			judge_rung(g, &g->t->moment[i]);
}

/* -- leaving ----------------------------------------------------------------------------------- */

/* By the edge of the key-on; a brake that stands for it is told by when that was handled. */
static void judge_driven_off(struct judging *g)
{
	int64_t at_ms = opened(g, PW_IGNITION, g->w->t0_ms, g->w->closed_ms);

	if (!has(g, PW_F_DRIVEN_OFF))
		return;
	if (at_ms == PW_NO_TIME)
		at_ms = g->w->closed_ms;
	put(g, has(g, PW_F_LEFT_RUNNING) ? "R15 R25" : "R15", SAY(ASK_KEY_STAYS),
	    SAY(SEE_DRIVEN_OFF, at(at_ms), span(after_stop(g, at_ms))), SAY(SO_DRIVEN_OFF));
}

static struct pw_said seen_return(const struct judging *g)
{
	const struct pw_sweep *w = g->w;

	if (has(g, PW_F_POWERED_DOWN))
		return SAY(SEE_POWERED_DOWN);
	if (w->exit_ms == PW_NO_TIME)
		return has(g, PW_F_DOOR_LEFT_OPEN) ? SAY(SEE_DOOR_STOOD) : SAY(SEE_NO_EXIT);
	return SAY(SEE_EXIT, at(w->exit_ms), span(pw_minus(w->exit_ms, w->press_ms)));
}

static struct pw_said followed_return(const struct judging *g)
{
	if (has(g, PW_F_POWERED_DOWN))
		return SAY(SO_POWERED_DOWN);
	if (g->w->exit_ms == PW_NO_TIME)
		return SAY(SO_TIME_OVER);
	return has(g, PW_F_RETURN_SHORT) ? SAY(SO_RETURN_SHORT) : SAY(SO_RETURN);
}

static void judge_return(struct judging *g)
{
	if (g->w->press_ms == PW_NO_TIME)
		return;
	put(g, has(g, PW_F_POWERED_DOWN) ? "R16 R20" : "R16",
	    !g->p ? SAY(ASK_NO_POLICY)
		  : SAY(ASK_RETURN, span(pw_return_min_ms(g->p)), span(g->p->return_max_ms)),
	    seen_return(g), followed_return(g));
	if (has(g, PW_F_LEFT_BY_REAR))
		put(g, "R16", SAY(ASK_REAR_BACK), seen_rear(g, g->w->press_ms, g->w->closed_ms),
		    SAY(SO_FINDING, code("left_by_rear")));
}

/* -- power, clock, service, button ------------------------------------------------------------- */

static bool is_dip(const struct judging *g, const struct pw_moment *m)
{
	return g->p && !m->lost && pw_minus(m->back_ms, m->at_ms) <= g->p->restart_ms;
}

static void judge_power(struct judging *g)
{
	unsigned shown = 0;

	for (size_t i = 0; i < g->t->count; i++) {
		const struct pw_moment *m = &g->t->moment[i];

		if (m->kind != PW_AT_POWER || !during(g->t, m->back_ms) || shown++ == OTHERS_SHOWN)
			continue;
		put(g, "R20", SAY(ASK_POWER), m->lost ? SAY(SEE_POWER_LOST, at(m->back_ms))
						      : SAY(SEE_POWER, at(m->at_ms),
							    at(m->back_ms)),
		    is_dip(g, m) ? SAY(SO_DIP)
				 : has(g, PW_F_POWER_LOST) ? SAY(SO_POWER) : SAY(SO_NOTED));
	}
	if (shown == 0 && has(g, PW_F_POWER_LOST))
		put(g, "R9 R20", SAY(ASK_POWER), SAY(SEE_GAP_BEFORE), SAY(SO_POWER));
	if (has(g, PW_F_CLOCK_UNSURE))
		put(g, "R21", SAY(ASK_CLOCK), SAY(SEE_CLOCK),
		    SAY(SO_FINDING, code("clock_unsure")));
}

static void judge_rest(struct judging *g)
{
	if (has(g, PW_F_MUTED))
		put(g, "R23", SAY(ASK_SERVICE), SAY(SEE_SERVICE), SAY(SO_FINDING, code("muted")));
	if (has(g, PW_F_BUTTON_HELD))
		put(g, "R4", g->p ? SAY(ASK_HELD, span(g->p->held_max_ms)) : SAY(ASK_NO_POLICY),
		    SAY(SEE_HELD), SAY(SO_FINDING, code("button_held")));
	if (has(g, PW_F_BUTTON_CONTACTS))
		put(g, "R5", g->p ? SAY(ASK_CONTACTS, span(g->p->disagree_ms)) : SAY(ASK_NO_POLICY),
		    SAY(SEE_CONTACTS), SAY(SO_FINDING, code("button_contacts")));
}

/* -- the verdict ------------------------------------------------------------------------------- */

static struct pw_said seen_of_verdict(const struct judging *g)
{
	const uint32_t doubts = g->p ? g->w->findings & g->p->doubt_on : g->w->findings;
	const struct pw_value findings = { .kind = PW_VALUE_FINDINGS, .number = doubts };

	switch (g->w->verdict) {
	case PW_MISSED:
		return SAY(SEE_NO_PRESS);
	case PW_DOUBTFUL:
		return SAY(SEE_DOUBTS, findings);
	case PW_LATE:
		return SAY(SEE_LATE, span(g->w->late_ms));
	default:
		return SAY(SEE_DONE);
	}
}

static void judge_verdict(struct judging *g)
{
	put(g, "R22", SAY(ASK_VERDICT), seen_of_verdict(g),
	    SAY(SO_VERDICT, code(pw_verdict_name(g->w->verdict))));
}

void pw_judged_make(const struct pw_told_sweep *t, struct pw_judged *j)
{
	struct judging g = { .t = t, .w = &t->sweep, .p = t->has_policy ? &t->policy : NULL,
			     .j = j };

	j->count = 0;
	judge_stop(&g);
	judge_rear(&g);
	judge_door(&g);
	judge_refusals(&g);
	judge_rungs(&g);
	judge_press(&g);
	judge_driven_off(&g);
	judge_return(&g);
	judge_power(&g);
	judge_rest(&g);
	judge_verdict(&g);
}

/* -- findings ---------------------------------------------------------------------------------- */

static const struct { enum pw_phrase reason; const char *rules; } findings[PW_FINDINGS] = {
	[PW_F_ALARM_SPENT] = { PW_P_JUDGED_F_ALARM_SPENT, "R18" },
	[PW_F_BUTTON_CONTACTS] = { PW_P_JUDGED_F_BUTTON_CONTACTS, "R5" },
	[PW_F_BUTTON_HELD] = { PW_P_JUDGED_F_BUTTON_HELD, "R4" },
	[PW_F_CARRIED] = { PW_P_JUDGED_F_CARRIED, "R9" },
	[PW_F_CLOCK_UNSURE] = { PW_P_JUDGED_F_CLOCK_UNSURE, "R21" },
	[PW_F_DOOR_BEFORE_PRESS] = { PW_P_JUDGED_F_DOOR_BEFORE_PRESS, "R13" },
	[PW_F_DOOR_LEFT_OPEN] = { PW_P_JUDGED_F_DOOR_LEFT_OPEN, "R16" },
	[PW_F_DRIVEN_OFF] = { PW_P_JUDGED_F_DRIVEN_OFF, "R15" },
	[PW_F_EXIT_UNSEEN] = { PW_P_JUDGED_F_EXIT_UNSEEN, "R16" },
	[PW_F_LEFT_BY_REAR] = { PW_P_JUDGED_F_LEFT_BY_REAR, "R16 R20" },
	[PW_F_LEFT_RUNNING] = { PW_P_JUDGED_F_LEFT_RUNNING, "R25" },
	[PW_F_MUTED] = { PW_P_JUDGED_F_MUTED, "R23" },
	[PW_F_POWER_LOST] = { PW_P_JUDGED_F_POWER_LOST, "R9 R20" },
	[PW_F_POWERED_DOWN] = { PW_P_JUDGED_F_POWERED_DOWN, "R20" },
	[PW_F_REAR_OPENED] = { PW_P_JUDGED_F_REAR_OPENED, "R9 R12 R20" },
	[PW_F_RETURN_SHORT] = { PW_P_JUDGED_F_RETURN_SHORT, "R16" },
};

enum pw_phrase pw_judged_reason(enum pw_finding finding)
{
	return findings[finding].reason;
}

const char *pw_judged_rules(enum pw_finding finding)
{
	return findings[finding].rules;
}
