/* SPDX-License-Identifier: Apache-2.0 */
/*
 * One sweep, in ten lines at most: for who was there and sees it otherwise, and for who was not. A
 * press says that somebody stood at the rear, and no line here says more.
 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "journal_internal.h"

#define OPENINGS_SHOWN 3
#define REFUSALS_SHOWN 2
#define RUNGS_SHOWN 6
#define OTHERS_SHOWN 4

struct story {
	struct pw_told_sweep t;
	struct pw_saying o;
	const char *bus;
	bool export, keyed;
	struct pw_public_key key;
};

static int64_t wall_of(const struct story *s, int64_t mono_ms)
{
	return pw_minus(s->t.record.wall_ms, pw_minus(s->t.record.mono_ms, mono_ms));
}

static void say_at(struct story *s, int64_t mono_ms)
{
	pw_put_clock(&s->o, wall_of(s, mono_ms));
}

/* A line begins with a time or a word. */
static void begin_at(struct story *s, int64_t mono_ms)
{
	s->o.n = 0;
	say_at(s, mono_ms);
	pw_put(&s->o, "  ");
}

static void begin(struct story *s, const char *word)
{
	s->o.n = 0;
	pw_put(&s->o, "%-10s", word);
}

static bool has(const struct story *s, enum pw_finding finding)
{
	return s->t.sweep.findings >> finding & 1;
}

static bool during(const struct story *s, int64_t at_ms)
{
	return at_ms >= s->t.sweep.t0_ms && at_ms <= s->t.sweep.closed_ms;
}

/* -- the stop ---------------------------------------------------------------------------------- */

static const char *stop_word(const struct story *s)
{
	return has(s, PW_F_LEFT_RUNNING) ? "stop" : "key-off";
}

static void say_head(struct story *s)
{
	s->o.n = 0;
	pw_put(&s->o, "Sweep of bus %s, ", s->bus);
	pw_put_when(&s->o, wall_of(s, s->t.sweep.t0_ms));
	pw_put(&s->o, "%s: %s", s->t.record.wall_ok ? "" : " (clock not vouched for)",
	       pw_verdict_name(s->t.sweep.verdict));
	pw_put_line(&s->o);
}

static void say_stop(struct story *s)
{
	const struct pw_policy *p = &s->t.policy;

	begin_at(s, s->t.sweep.t0_ms);
	pw_put(&s->o, has(s, PW_F_LEFT_RUNNING)
	       ? "left running: somebody may have left with the engine on; " : "key off; ");
	if (s->t.has_policy) {
		pw_put(&s->o, "a press counts ");
		pw_put_span(&s->o, pw_walk_min_ms(p));
		pw_put(&s->o, " after it at the soonest (%" PRId64 " rows and the aisle), and is "
		       "due within ", p->rows);
		pw_put_span(&s->o, has(s, PW_F_CARRIED) ? p->carried_due_ms : p->due_ms);
		pw_put(&s->o, "%s", p->unload_ms > 0 ? " and the time of unloading" : "");
		pw_put(&s->o, ", by policy %.12s", s->t.policy_hash);
	} else {
		pw_put(&s->o, "the policy then in force does not stand here");
	}
	pw_put_line(&s->o);
}

/* -- doors ------------------------------------------------------------------------------------- */

struct opening {
	int64_t from_ms, to_ms; /* PW_NO_TIME: open before the stop; PW_NEVER: to the end */
};

struct door {
	const struct story *s;
	enum pw_line line;
	struct opening opening[OPENINGS_SHOWN];
	unsigned count;
};

static void turn(void *ctx, int64_t at_ms, bool open)
{
	struct door *d = ctx;
	const struct pw_sweep *w = &d->s->t.sweep;

	if (open && at_ms <= w->closed_ms) {
		d->count++;
		if (d->count <= OPENINGS_SHOWN)
			d->opening[d->count - 1] = (struct opening){
				at_ms < w->t0_ms ? PW_NO_TIME : at_ms, PW_NEVER };
	} else if (!open && at_ms < w->t0_ms) {
		d->count = 0;
	} else if (!open && d->count <= OPENINGS_SHOWN && d->count > 0 && at_ms <= w->closed_ms) {
		d->opening[d->count - 1].to_ms = at_ms;
	}
}

static void watch_door(struct door *d, const struct story *s)
{
	d->s = s;
	if (s->t.levels >> d->line & 1)
		turn(d, INT64_MIN + 1, true);
	pw_told_line(&s->t, d->line, s->t.sweep.closed_ms, turn, d);
}

static void say_opening(struct story *s, const struct opening *o, bool first)
{
	pw_put(&s->o, first ? " open " : ", ");
	if (o->from_ms == PW_NO_TIME)
		pw_put(&s->o, "already at the %s", stop_word(s));
	else
		say_at(s, o->from_ms);
	if (o->to_ms == PW_NEVER)
		return;
	pw_put(&s->o, o->from_ms == PW_NO_TIME ? " and until " : " to ");
	say_at(s, o->to_ms);
}

static void say_doors(struct story *s)
{
	static const enum pw_line doors[] = { PW_SERVICE_DOOR, PW_REAR_DOOR, PW_EXITS };
	const char *between = "";

	begin(s, "doors");
	for (size_t i = 0; i < sizeof(doors) / sizeof(doors[0]); i++) {
		struct door d = { .line = doors[i] };

		watch_door(&d, s);
		if (d.count == 0 && s->t.has_policy && !s->t.policy.line[d.line].configured)
			continue;
		pw_put(&s->o, "%s%s", between, pw_words_input(d.line));
		between = "; ";
		if (d.count == 0)
			pw_put(&s->o, " not opened");
		for (unsigned k = 0; k < d.count && k < OPENINGS_SHOWN; k++)
			say_opening(s, &d.opening[k], k == 0);
		if (d.count > OPENINGS_SHOWN)
			pw_put(&s->o, ", and %u times more", d.count - OPENINGS_SHOWN);
	}
	if (between[0] == '\0')
		pw_put(&s->o, "no line to any");
	pw_put_line(&s->o);
}

/* -- presses ----------------------------------------------------------------------------------- */

static void say_refusals_left(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;
	uint32_t left = w->refused - REFUSALS_SHOWN, open = 0, soon = 0;

	for (uint32_t i = REFUSALS_SHOWN; i < w->refused && i < PW_REFUSALS_MAX; i++) {
		open += w->refusal[i].why == PW_REAR_OPEN;
		soon += w->refusal[i].why == PW_TOO_SOON;
	}
	pw_put(&s->o, "; and %" PRIu32 " more refusal%s", left, left > 1 ? "s" : "");
	if (open == left)
		pw_put(&s->o, ", %s", pw_words_why(PW_REAR_OPEN));
	else if (soon == left)
		pw_put(&s->o, ", too soon");
	else
		pw_put(&s->o, ": %" PRIu32 " too soon, %" PRIu32 " with a rear door or exit open%s",
		       soon, open,
		       soon + open < left ? ", of the rest only the count was kept" : "");
}

/* R12, R20: long enough after the stop, and yet too soon. */
static bool began_anew(const struct story *s, const struct pw_refusal *r)
{
	return r->why == PW_TOO_SOON && s->t.has_policy &&
	       pw_minus(r->at_ms, s->t.sweep.t0_ms) >= pw_walk_min_ms(&s->t.policy);
}

static void say_refusals(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;

	if (w->refused == 0)
		return;
	begin_at(s, w->refusal[0].at_ms);
	for (uint32_t i = 0; i < w->refused && i < REFUSALS_SHOWN; i++) {
		if (i > 0) {
			pw_put(&s->o, "; ");
			say_at(s, w->refusal[i].at_ms);
			pw_put(&s->o, " ");
		}
		pw_put(&s->o, "%s: %s, ", i ? "refused" : "press refused",
		       pw_words_why(w->refusal[i].why));
		pw_put_span(&s->o, pw_minus(w->refusal[i].at_ms, w->t0_ms));
		pw_put(&s->o, " after the %s%s", stop_word(s), began_anew(s, &w->refusal[i]) ?
		       " (the walk counts anew from a rear door's shutting, or power's coming back)"
		       : "");
	}
	if (w->refused > REFUSALS_SHOWN)
		say_refusals_left(s);
	pw_put_line(&s->o);
}

static void say_press(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;

	if (w->press_ms == PW_NO_TIME) {
		begin_at(s, w->closed_ms);
		pw_put(&s->o, "%s before any press was accepted",
		       has(s, PW_F_DRIVEN_OFF) ? "driven off" : "closed");
		pw_put_line(&s->o);
		return;
	}
	begin_at(s, w->press_ms);
	pw_put(&s->o, "press accepted: somebody stood at the rear ");
	pw_put_span(&s->o, pw_minus(w->press_ms, w->t0_ms));
	pw_put(&s->o, " after the %s", stop_word(s));
	if (w->late_ms > 0) {
		pw_put(&s->o, "; late by ");
		pw_put_span(&s->o, w->late_ms);
		pw_put(&s->o, ", it was due ");
		say_at(s, pw_minus(w->press_ms, w->late_ms));
	}
	pw_put_line(&s->o);
}

/* -- the way back ------------------------------------------------------------------------------ */

/* Which line it was whose edge ended the walk-back: its levels at a power-on are edges too. */
static const char *way_out(const struct story *s)
{
	const char *way = "service door";

	for (size_t i = 0; i < s->t.count; i++) {
		const struct pw_moment *m = &s->t.moment[i];

		if (m->at_ms != s->t.sweep.exit_ms)
			continue;
		if (m->kind == PW_AT_LINE && m->line == PW_SERVICE_DOOR)
			return "service door";
		if (m->kind == PW_AT_LINE && m->line == PW_IGNITION && m->level)
			way = "key on";
		if (m->kind == PW_AT_LINE && m->line == PW_PARK_BRAKE && !m->level)
			way = "parking brake released";
		if (m->kind == PW_AT_LEVELS)
			way = m->level >> PW_IGNITION & 1 ? "key on at power-on"
							   : "service door, seen at power-on";
	}
	return way;
}

/* The last time that power went after the press; if that does not stand here, the closing. */
static int64_t cut_ms(const struct story *s)
{
	int64_t at_ms = s->t.sweep.closed_ms;

	for (size_t i = 0; i < s->t.count; i++)
		if (s->t.moment[i].kind == PW_AT_POWER &&
		    s->t.moment[i].at_ms >= s->t.sweep.press_ms && during(s, s->t.moment[i].at_ms))
			at_ms = s->t.moment[i].at_ms;
	return at_ms;
}

static void say_exit(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;

	begin_at(s, w->exit_ms);
	pw_put(&s->o, "end of the second look: %s, ", way_out(s));
	pw_put_span(&s->o, pw_minus(w->exit_ms, w->press_ms));
	pw_put(&s->o, " after the press");
	if (s->t.has_policy) {
		pw_put(&s->o, "; the way back takes ");
		pw_put_span(&s->o, pw_return_min_ms(&s->t.policy));
		pw_put(&s->o, " at least");
	}
	if (has(s, PW_F_RETURN_SHORT))
		pw_put(&s->o, ", so this was too soon");
	pw_put_line(&s->o);
}

static void say_return(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;
	bool down = has(s, PW_F_POWERED_DOWN);

	if (w->press_ms == PW_NO_TIME)
		return;
	if (w->exit_ms != PW_NO_TIME) {
		say_exit(s);
		return;
	}
	begin_at(s, down ? cut_ms(s) : w->closed_ms);
	pw_put(&s->o, "end of the second look: %s", pw_words_finding(down ? PW_F_POWERED_DOWN :
	       has(s, PW_F_DOOR_LEFT_OPEN) ? PW_F_DOOR_LEFT_OPEN : PW_F_EXIT_UNSEEN));
	pw_put_line(&s->o);
}

/* -- signals, power and what else there was ---------------------------------------------------- */

static void say_rungs(struct story *s)
{
	unsigned count = 0;

	begin(s, "signals");
	for (size_t i = 0; i < s->t.count; i++) {
		const struct pw_moment *m = &s->t.moment[i];

		if (m->kind != PW_AT_RUNG || !during(s, m->at_ms) || count++ >= RUNGS_SHOWN)
			continue;
		pw_put(&s->o, "%s%s ", count > 1 ? ", " : "",
		       strcmp(m->name, "none") == 0 ? "silent" : m->name);
		say_at(s, m->at_ms);
	}
	if (count > RUNGS_SHOWN)
		pw_put(&s->o, ", and %u changes more", count - RUNGS_SHOWN);
	pw_put(&s->o, count ? "; the highest: %s" : "up to %s", s->t.rung);
	pw_put_line(&s->o);
}

static void say_power(struct story *s, const struct pw_moment *m)
{
	pw_put(&s->o, "%s ", pw_words_reset(m->name));
	if (m->lost)
		pw_put(&s->o, "for a time that is not known (the clock was lost), and was back ");
	else
		say_at(s, m->at_ms);
	pw_put(&s->o, m->lost ? "" : ", back ");
	say_at(s, m->back_ms);
}

static void say_other(struct story *s, const struct pw_moment *m)
{
	switch (m->kind) {
	case PW_AT_FAULT:
		pw_put(&s->o, "fault %s %s ", m->name, m->on ? "began" : "was over");
		break;
	case PW_AT_SERVICE:
		pw_put(&s->o, "service %s ", m->on ? "began: beeper and horn muted" : "was over");
		break;
	case PW_AT_CLOCK:
		pw_put(&s->o, "the wall clock was set %s by ", m->number > 0 ? "forward" : "back");
		pw_put_span(&s->o, m->number > 0 ? m->number : -m->number);
		pw_put(&s->o, " ");
		break;
	case PW_AT_LOST:
		pw_put(&s->o, "%" PRId64 " records were dropped before seq %" PRIu64 " ", m->number,
		       m->seq);
		break;
	default:
		break;
	}
	say_at(s, m->at_ms);
}

static void say_others(struct story *s)
{
	unsigned count = 0;

	begin(s, "besides");
	for (size_t i = 0; i < s->t.count; i++) {
		const struct pw_moment *m = &s->t.moment[i];
		bool power = m->kind == PW_AT_POWER;

		if ((!power && m->kind < PW_AT_FAULT) ||
		    !during(s, power ? m->back_ms : m->at_ms) || count++ >= OTHERS_SHOWN)
			continue;
		pw_put(&s->o, "%s", count > 1 ? "; " : "");
		if (power)
			say_power(s, m);
		else
			say_other(s, m);
	}
	if (count > OTHERS_SHOWN)
		pw_put(&s->o, "; and %u more of the kind", count - OTHERS_SHOWN);
	if (count > 0)
		pw_put_line(&s->o);
}

/* -- what it is worth, and where it stands ----------------------------------------------------- */

static void say_verdict(struct story *s)
{
	const struct pw_sweep *w = &s->t.sweep;
	uint32_t doubts = w->verdict == PW_DOUBTFUL && s->t.has_policy
		? w->findings & s->t.policy.doubt_on : 0;

	begin(s, "verdict");
	pw_put(&s->o, "%s", pw_verdict_name(w->verdict));
	if (doubts) {
		pw_put(&s->o, ", because ");
		pw_put_findings(&s->o, doubts);
	}
	if (w->findings & ~doubts) {
		pw_put(&s->o, "; noted: ");
		pw_put_findings(&s->o, w->findings & ~doubts);
	}
	if (!w->findings)
		pw_put(&s->o, ", nothing noted");
	pw_put_line(&s->o);
}

static void say_seal(struct story *s)
{
	const uint64_t seq = s->t.seal_seq;
	char hex[65];

	switch (s->t.seal) {
	case PW_SEALED:
		pw_public_key_print(&s->key, hex);
		pw_put(&s->o, "; the seal of seq %" PRIu64 " vouches for it, by the key %.12s... "
		       "%s", seq, hex, s->export ? "that came with the export"
					   : "that stands beside the journal");
		break;
	case PW_SEAL_WRONG:
		if (s->keyed)
			pw_put(&s->o, "; the seal of seq %" PRIu64 " does not hold: it vouches for "
			       "nothing", seq);
		else
			pw_put(&s->o, "; there is a seal of seq %" PRIu64 ", and no key here to "
			       "check it by", seq);
		break;
	case PW_CHAIN_BROKEN:
		pw_put(&s->o, "; the chain from it on does not hold at seq %" PRIu64
		       ": nothing vouches for it", seq);
		break;
	case PW_UNSEALED:
		pw_put(&s->o, "; no seal vouches for it yet");
		break;
	}
}

static void say_record(struct story *s)
{
	begin(s, "record");
	pw_put(&s->o, "seq %" PRIu64 ", hash %.12s...", s->t.record.seq, s->t.record.hash);
	say_seal(s);
	pw_put_line(&s->o);
}

static void tell(struct story *s)
{
	s->o.near_ms = wall_of(s, s->t.sweep.t0_ms);
	say_head(s);
	say_stop(s);
	say_refusals(s);
	say_press(s);
	say_return(s);
	say_doors(s);
	say_rungs(s);
	say_others(s);
	say_verdict(s);
	say_record(s);
}

int pw_story(struct pw_source *source, uint64_t seq)
{
	struct story s = { .bus = pw_source_bus(source), .export = !pw_source_journal(source) };
	char why[PW_PATH_MAX + 100];
	int result;

	s.keyed = pw_source_key(source, &s.key, why, sizeof(why)) == 0;
	result = pw_gather(source, seq, s.keyed ? &s.key : NULL, &s.t);
	if (result == 0)
		tell(&s);
	pw_gather_free(&s.t);
	return result ? PW_EXIT_BAD : PW_EXIT_OK;
}
