/* SPDX-License-Identifier: Apache-2.0 */
/* page_sample.h - a made-up bus as the watch would tell of it, for the tests of the page. */
#ifndef POSTWALK_TEST_PAGE_SAMPLE_H
#define POSTWALK_TEST_PAGE_SAMPLE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "../../daemon/page/page_internal.h"

#define SAMPLE_NOW_MS INT64_C(5000000)
#define SAMPLE_WALL_MS INT64_C(1000000000000) /* 2001-09-09T01:46:40Z */
#define SAMPLE_OLDEST 4

static inline void sample_lines(struct pw_snapshot *s)
{
	static const char *const name[PW_EXTRA + 1] = {
#define X(up, low, settle) #low,
		PW_INPUT_LIST(X)
#undef X
		"beeper", "horn", "lamp", "dome", "yard_light",
	};

	for (unsigned i = 0; i < PW_LINES; i++) {
		s->line[i].out = i >= PW_BEEPER;
		s->line[i].age_ms = i == PW_EXITS ? -1 : 1500 * (int64_t)(i + 1);
		if (i > PW_EXTRA)
			continue;
		s->line[i].configured = true;
		snprintf(s->line[i].name, sizeof s->line[i].name, "%s", name[i]);
	}
}

static inline void sample_recent(struct pw_snapshot *s)
{
	static const struct pw_recent recent[SAMPLE_OLDEST] = {
		{ -3600000, 90000, 42000, 0, 0, PW_DONE },
		{ -7200000, 190000, 82500, 22500, 1U << PW_F_DOOR_BEFORE_PRESS, PW_LATE },
		{ -9000000, 90000, 50000, 0, 1U << PW_F_REAR_OPENED | 1U << PW_F_RETURN_SHORT,
		  PW_DOUBTFUL },
		{ -9900000, 400000, PW_NO_TIME, 0, 1U << PW_F_DRIVEN_OFF, PW_MISSED },
	};

	s->recent_count = SAMPLE_OLDEST;
	memcpy(s->recent, recent, sizeof recent);
	for (int i = 0; i < SAMPLE_OLDEST; i++)
		s->recent[i].wall_ms += SAMPLE_WALL_MS;
}

/* Parked, all well. */
static inline struct pw_snapshot sample(void)
{
	struct pw_snapshot s;

	memset(&s, 0, sizeof s);
	s.version = PW_SNAPSHOT_VERSION;
	s.size = sizeof s;
	s.now_ms = SAMPLE_NOW_MS;
	s.wall_ms = SAMPLE_WALL_MS;
	snprintf(s.bus, sizeof s.bus, "17");
	snprintf(s.board, sizeof s.board, "bench");
	snprintf(s.rung, sizeof s.rung, "none");
	s.phase = PW_PARKED;
	s.sounding = PW_SIGNAL_NONE;
	s.owed_when = PW_EVERY_KEY_OFF;
	s.rows = 12;
	s.walk_min_ms = 14505; /* R10 for 12 rows of 9.1 m at 1.07 m/s and 0.5 s a row */
	s.return_min_ms = 8505;
	s.return_max_ms = 600000;
	s.t0_ms = s.due_ms = s.basis_ms = s.press_ms = PW_NO_TIME;
	s.service_end_ms = s.refused_ms = s.trial_end_ms = PW_NO_TIME;
	s.delivery.alert_ms = s.delivery.child_ms = PW_NO_TIME;
	s.proof_ms = 86400000;
	s.seq = 4711;
	sample_lines(&s);
	sample_recent(&s);
	return s;
}

/* The same in a phase, its sweep begun open_ms ago, due after a minute. */
static inline struct pw_snapshot sample_in(enum pw_phase phase, int64_t open_ms)
{
	struct pw_snapshot s = sample();

	s.phase = phase;
	if (phase == PW_DRIVING)
		s.levels |= 1U << PW_IGNITION;
	if (phase == PW_PARKED || phase == PW_DRIVING)
		return s;
	s.t0_ms = s.basis_ms = s.now_ms - open_ms;
	s.due_ms = s.t0_ms + 60000;
	if (phase == PW_WALK_BACK)
		s.press_ms = s.now_ms - 2000;
	return s;
}

/* Wires that nobody has touched yet. */
static inline struct pw_wires sample_wires(void)
{
	const struct pw_snapshot s = sample();
	struct pw_wires w;

	memset(&w, 0, sizeof w);
	w.version = PW_WIRES_VERSION;
	w.size = sizeof w;
	w.now_ms = SAMPLE_NOW_MS;
	w.counted_ms = SAMPLE_NOW_MS - 60000;
	w.disagree_ms = -1;
	w.wiring.look.result = PW_WIRING_OPEN;
	for (unsigned i = 0; i < PW_LINES; i++) {
		w.wire[i].verdict = PW_WIRE_UNSEEN;
		w.wire[i].out = s.line[i].out;
		w.wire[i].shortest_ms = -1;
		if (s.line[i].configured)
			snprintf(w.wire[i].name, sizeof w.wire[i].name, "%s", s.line[i].name);
	}
	return w;
}

/* Done, in a mechanic's session. */
static inline struct pw_done_act sample_done(void)
{
	struct pw_done_act d;

	memset(&d, 0, sizeof d);
	d.answer = PW_DONE_SO;
	d.role = PW_MECHANIC;
	d.wait_ms = PW_SESSION_IDLE_MS;
	memset(d.session, 'a', PW_SESSION_MAX - 1);
	return d;
}

#endif
