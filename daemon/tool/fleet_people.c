/* SPDX-License-Identifier: Apache-2.0 */
/* What people tell the page of a made-up bus: acts.c of daemon/bus. */
#include <stdio.h>
#include <string.h>

#include "fleet_watch_internal.h"

/* A note that the day takes as well, in a wake-up of its own. */
static void tell(struct pw_fleet_watch *w, const struct pw_note *n)
{
	pw_day_take(&w->day, n);
	pw_watch_journal(w, n);
	pw_watch_finish(w);
}

static void note_pin(struct pw_fleet_watch *w)
{
	struct pw_note n = pw_watch_note(w, PW_K_PIN);

	n.of.pin.role = PW_MECHANIC;
	n.of.pin.accepted = true;
	n.of.pin.tries = 1;
	pw_watch_journal(w, &n);
}

void pw_fleet_watch_service(struct pw_fleet_watch *w, int64_t at_ms, bool on)
{
	if (!pw_watch_wake(w, at_ms))
		return;
	note_pin(w);
	pw_watch_mute(w, on);
	pw_watch_finish(w);
}

static const char *office_rung(const struct pw_policy *p)
{
	for (unsigned i = PW_LADDER; i < PW_LADDER + p->rungs; i++)
		if (p->signal[i].notify)
			return p->signal[i].name;
	return "";
}

/* Made-up words of a made-up walk. */
static const struct { enum pw_part part; const char *words; } said[PW_FOUND_WHATS] = {
	[PW_FOUND_NOTHING] = { 0, "" },
	[PW_FOUND_ARTICLE] = { 0, "a bag, row 7" },
	[PW_FOUND_DAMAGE] = { PW_PART_OTHER, "seat back torn, row 3" },
	[PW_FOUND_LEFT_OPEN] = { PW_PART_OTHER, "a window, row 5" },
	[PW_FOUND_MECHANICAL] = { PW_PART_LIGHTING, "a lamp is out" },
	[PW_FOUND_CHILD] = { 0, "asleep, row 9; well; with the dispatcher now" },
};

void pw_fleet_watch_found(struct pw_fleet_watch *w, int64_t at_ms, enum pw_found_what what,
			  const char *who)
{
	struct pw_note n;

	if (!pw_watch_wake(w, at_ms))
		return;
	n = pw_watch_note(w, PW_K_FOUND);
	n.of.found.what = what;
	n.of.found.part = said[what].part;
	n.of.found.id = said[what].part ? w->day.last_id + 1 : 0;
	n.of.found.t0_ms = w->state.phase >= PW_OWED ? w->state.sweep.t0_ms : w->t0_ms;
	snprintf(n.of.found.who, sizeof(n.of.found.who), "%s", who);
	snprintf(n.of.found.words, sizeof(n.of.found.words), "%s", said[what].words);
	if (what == PW_FOUND_CHILD)
		snprintf(n.of.found.rung, sizeof(n.of.found.rung), "%s",
			 office_rung(&w->bus->policy));
	tell(w, &n);
}

void pw_fleet_watch_heard(struct pw_fleet_watch *w, int64_t at_ms, unsigned line, bool yes)
{
	if (!pw_watch_wake(w, at_ms))
		return;
	pw_watch_prove(w, line, yes ? PW_HEARD : PW_NOT_HEARD);
	pw_watch_finish(w);
}

static void report(struct pw_fleet_watch *w, enum pw_report_act act, uint32_t id, uint32_t defects,
		   const char *who)
{
	struct pw_note n = pw_watch_note(w, PW_K_REPORT);

	n.of.report.act = act;
	n.of.report.id = id;
	n.of.report.defects = defects;
	snprintf(n.of.report.who, sizeof(n.of.report.who), "%s", who);
	tell(w, &n);
}

void pw_fleet_watch_sign(struct pw_fleet_watch *w, int64_t at_ms, const char *who)
{
	uint32_t open = 0;

	if (!pw_watch_wake(w, at_ms))
		return;
	for (uint32_t i = 0; i < w->day.defects; i++)
		open += w->day.defect[i].certified == 0;
	report(w, PW_REPORT_SIGNED, 0, open, who);
}

void pw_fleet_watch_review(struct pw_fleet_watch *w, int64_t at_ms, const char *who)
{
	uint32_t reported = 0;

	if (w->day.report.wall_ms == 0 || w->day.review.wall_ms != 0 || !pw_watch_wake(w, at_ms))
		return;
	for (uint32_t i = 0; i < w->day.defects; i++)
		reported += w->day.defect[i].reported;
	report(w, PW_REPORT_REVIEWED, 0, reported, who);
}

void pw_fleet_watch_repair(struct pw_fleet_watch *w, int64_t at_ms, const char *who)
{
	for (uint32_t i = 0; i < w->day.defects; i++) {
		if (w->day.defect[i].certified)
			continue;
		if (!pw_watch_wake(w, at_ms))
			return;
		note_pin(w);
		report(w, PW_REPORT_REPAIRED, w->day.defect[i].id, 0, who);
		return;
	}
}
