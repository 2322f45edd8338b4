/* SPDX-License-Identifier: Apache-2.0 */
/* How things stand, as a copy for the page. */
#include <stdio.h>
#include <string.h>

#include "bus_internal.h"

static void show_sweep(const struct pw_bus *b, struct pw_snapshot *s)
{
	const struct pw_sweep *w = &b->state.sweep;
	bool open = b->state.phase >= PW_OWED;

	s->t0_ms = open ? w->t0_ms : PW_NO_TIME;
	s->due_ms = b->state.phase == PW_OWED ? pw_due_ms(&b->state, &b->active.policy)
		    : open ? w->due_ms : PW_NO_TIME;
	s->basis_ms = open ? w->basis_ms : PW_NO_TIME;
	s->press_ms = open ? w->press_ms : PW_NO_TIME;
	s->findings = open ? w->findings : 0;
	s->refused_ms = open && w->refused > 0 ? b->refused_ms : PW_NO_TIME;
	s->refused_why = b->refused_why;
}

static void show_lines(const struct pw_bus *b, struct pw_snapshot *s)
{
	for (unsigned i = 0; i < PW_LINES; i++) {
		const struct pw_line_policy *line = &b->active.policy.line[i];
		const char *fault = line->configured ? pw_board_fault(b->board, i) : NULL;

		snprintf(s->line[i].name, sizeof(s->line[i].name), "%s", line->name);
		s->line[i].configured = line->configured;
		s->line[i].out = line->direction == PW_OUT;
		s->line[i].age_ms = b->changed_ms[i] == PW_NO_TIME ? -1 : b->now_ms - b->changed_ms[i];
		snprintf(s->line[i].fault, sizeof(s->line[i].fault), "%s", fault ? fault : "");
	}
	s->levels = pw_board_levels(b->board);
	s->outputs = b->outputs;
}

static void show_faults(const struct pw_bus *b, struct pw_snapshot *s)
{
	s->fault_count = b->faults < PW_FAULTS_SHOWN ? b->faults : PW_FAULTS_SHOWN;
	for (uint32_t i = 0; i < s->fault_count; i++) {
		memcpy(s->fault[i].name, b->fault[i].name, sizeof(s->fault[i].name));
		memcpy(s->fault[i].words, b->fault[i].words, sizeof(s->fault[i].words));
	}
}

static void show_walk(const struct pw_policy *p, struct pw_snapshot *s)
{
	snprintf(s->bus, sizeof(s->bus), "%s", p->bus);
	s->walk_min_ms = pw_walk_min_ms(p);
	s->return_min_ms = pw_return_min_ms(p);
	s->return_max_ms = p->return_max_ms;
	s->rows = p->rows;
	s->owed_when = p->owed_when;
}

void pw_show(struct pw_bus *b)
{
	struct pw_snapshot s;

	memset(&s, 0, sizeof(s)); /* padding too: equal standings are equal bytes */
	s.version = PW_SNAPSHOT_VERSION;
	s.size = sizeof(s);
	s.now_ms = b->now_ms;
	s.wall_ms = b->wall_ms;
	snprintf(s.board, sizeof(s.board), "%s", b->options->board);
	s.phase = b->state.phase;
	s.sounding = b->state.sounding;
	snprintf(s.rung, sizeof(s.rung), "%s", b->active.policy.signal[b->state.sounding].name);
	s.carried = b->state.carried;
	s.service = b->state.service;
	s.service_end_ms = b->state.service ? b->state.service_end_ms : PW_NO_TIME;
	show_sweep(b, &s);
	show_walk(&b->active.policy, &s);
	show_lines(b, &s);
	show_faults(b, &s);
	s.recent_count = b->recent_count;
	memcpy(s.recent, b->recent, sizeof(s.recent));
	s.seq = pw_writer_seq(b->writer);
	s.waiting = pw_writer_waiting(b->writer);
	memcpy(&s.delivery, pw_writer_delivery(b->writer), sizeof(s.delivery));
	memcpy(s.policy, b->active.hash, sizeof(s.policy));
	s.proof_ms = b->active.policy.proof_ms;
	snprintf(s.call, sizeof(s.call), "%s", b->active.policy.call);
	s.day = b->day;
	s.trial_end_ms = b->trial.end_ms ? b->trial.end_ms : PW_NO_TIME;
	s.trial_line = b->trial.line;
	pw_page_answer(b->page, &s);
}

void pw_show_wires(struct pw_bus *b, uint32_t serial)
{
	uint32_t faults = 0;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (b->active.policy.line[i].configured && pw_board_fault(b->board, i))
			faults |= 1u << i;
	pw_wires_judge(&b->wires, faults, b->active.policy.held_max_ms, b->now_ms);
	pw_page_answer_wires(b->page, serial, &b->wires);
}
