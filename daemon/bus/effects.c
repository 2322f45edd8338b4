/* SPDX-License-Identifier: Apache-2.0 */
/* What the rules say, to who must hear it. */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

static void remember(struct pw_bus *b, const struct pw_sweep *w)
{
	struct pw_recent *r = b->recent;

	memmove(r + 1, r, sizeof(*r) * (PW_RECENT_MAX - 1));
	*r = (struct pw_recent){
		.wall_ms = b->wall_ms,
		.t0_ago_ms = w->closed_ms - w->t0_ms,
		.walk_ms = w->press_ms == PW_NO_TIME ? PW_NO_TIME : w->press_ms - w->t0_ms,
		.late_ms = w->late_ms,
		.findings = w->findings,
		.verdict = w->verdict,
	};
	if (b->recent_count < PW_RECENT_MAX)
		b->recent_count++;
}

static void on_sweep(struct pw_bus *b, const struct pw_effect *e)
{
	struct pw_note n = pw_note_new(b, PW_K_SWEEP);

	n.of.sweep.sweep = *e->sweep;
	memcpy(n.of.sweep.rung, b->active.policy.signal[e->sweep->rung].name, PW_NAME_MAX);
	pw_writer_note(b->writer, &n);
	remember(b, e->sweep);
	b->t0_ms = e->sweep->t0_ms;
	pw_info("sweep closed: %s", pw_verdict_name(e->sweep->verdict));
}

static void on_restart(struct pw_bus *b, const struct pw_effect *e)
{
	struct pw_note n = pw_note_new(b, PW_K_RESTART);

	n.of.restart.t0_ms = e->t0_ms;
	n.of.restart.at_ms = e->edge_ms;
	pw_writer_note(b->writer, &n);
}

static void on_excused(struct pw_bus *b, const struct pw_effect *e)
{
	struct pw_note n = pw_note_new(b, PW_K_EXCUSED);

	n.of.excused.at_ms = e->edge_ms;
	pw_writer_note(b->writer, &n);
}

static void on_fault(struct pw_bus *b, const struct pw_effect *e)
{
	static const char *const words[] = {
		[PW_BUTTON_HELD] = "the rear button is held down, stuck or taped",
		[PW_BUTTON_CONTACTS] = "the two contacts of the rear button disagree: check its wires",
	};

	pw_fault_set(b, pw_fault_name(e->fault), e->on ? words[e->fault] : NULL, e->at_ms);
}

static void note_rung(struct pw_bus *b, const struct pw_effect *e)
{
	struct pw_note n = pw_note_new(b, PW_K_RUNG);

	snprintf(n.of.rung.name, sizeof(n.of.rung.name), "%s", b->active.policy.signal[e->rung].name);
	n.of.rung.at_ms = e->at_ms;
	n.of.rung.notify = e->kind == PW_E_NOTIFY;
	pw_writer_note(b->writer, &n);
}

/* Once a sweep (R17), while the rung itself may sound again after a gap. It comes before that rung sounds
 * and is the record of both. */
static void on_notify(struct pw_bus *b, const struct pw_effect *e)
{
	note_rung(b, e);
	b->notified = e->rung;
}

static void on_rung(struct pw_bus *b, const struct pw_effect *e)
{
	if (e->rung == PW_SIGNAL_NONE || e->rung != b->notified)
		note_rung(b, e);
	b->notified = PW_SIGNAL_NONE;
	pw_player_signal(&b->player, e->rung, b->now_ms);
	pw_info("rung %s", b->active.policy.signal[e->rung].name);
}

static void on_judged(struct pw_bus *b, const struct pw_effect *e)
{
	bool refused = e->kind == PW_E_REFUSED;

	if (refused) {
		b->refused_ms = e->edge_ms;
		b->refused_why = e->why;
	}
	pw_player_once(&b->player, refused ? PW_REFUSED : PW_ACCEPTED, b->now_ms);
	pw_info("press %s%s", refused ? "refused: " : "acknowledged",
		refused ? pw_why_name(e->why) : "");
}

static void on_key_on(struct pw_bus *b, const struct pw_effect *e)
{
	(void)e;
	pw_player_check(&b->player, b->now_ms);
}

static void on_key_off(struct pw_bus *b, const struct pw_effect *e)
{
	(void)e;
	pw_reload_take(b);
}

void pw_effect_take(void *bus, const struct pw_effect *e)
{
	static void (*const take[])(struct pw_bus *b, const struct pw_effect *e) = {
		[PW_E_SWEEP] = on_sweep,      [PW_E_RESTART] = on_restart,
		[PW_E_EXCUSED] = on_excused,  [PW_E_FAULT] = on_fault,
		[PW_E_RUNG] = on_rung,        [PW_E_REFUSED] = on_judged,
		[PW_E_ACCEPTED] = on_judged,  [PW_E_PRESS] = NULL,
		[PW_E_NOTIFY] = on_notify,    [PW_E_KEY_ON] = on_key_on,
		[PW_E_KEY_OFF] = on_key_off,
	};

	if (take[e->kind])
		take[e->kind](bus, e);
}
