/* SPDX-License-Identifier: Apache-2.0 */
/* The way of an edge: board, rules, records. The order in which edges are fed is the order that
 * their times and lines give, so that a line's own list is enough to feed them again (J9). */
#include <string.h>

#include "bus_internal.h"

#define BATCH 256

static void flush_line(struct pw_bus *b, unsigned line)
{
	struct pw_pending *p = &b->pending[line];
	struct pw_note n;

	if (p->count == 0)
		return;
	n = pw_note_new(b, PW_K_EDGES);
	n.of.edges.line = (uint8_t)line;
	n.of.edges.from = p->from;
	n.of.edges.count = p->count;
	memcpy(n.of.edges.at_ms, p->at_ms, p->count * sizeof(p->at_ms[0]));
	pw_writer_note(b->writer, &n);
	p->count = 0;
}

static void remember(struct pw_bus *b, const struct pw_edge *e, int64_t at_ms)
{
	struct pw_pending *p = &b->pending[e->line];

	if (p->count == 0)
		p->from = !e->level;
	p->at_ms[p->count++] = at_ms;
	if (p->count < PW_EDGES_MAX)
		return;
	flush_line(b, e->line);
	b->keep = true;
}

/* A moment that has been judged is over: what comes late for it counts from the next one, and so
 * does what would come before the line fed last. */
static int64_t moment_of(const struct pw_edge *e, int64_t judged_ms, const struct pw_edge *last)
{
	int64_t at_ms = e->at_ms > judged_ms ? e->at_ms : judged_ms + 1;

	if (at_ms < last->at_ms)
		at_ms = last->at_ms;
	return at_ms == last->at_ms && e->line < last->line ? at_ms + 1 : at_ms;
}

static void feed(struct pw_bus *b, const struct pw_edge *e, int64_t at_ms)
{
	const struct pw_policy *p = &b->active.policy;
	const struct pw_event ev = {
		.kind = PW_LEVELS,
		.at_ms = at_ms,
		.mask = (uint8_t)(1u << e->line),
		.levels = (uint8_t)(e->level << e->line),
	};

	if (pw_run(&b->state, p, at_ms - 1, &b->sink) > 0)
		b->keep = true;
	remember(b, e, at_ms);
	pw_proofs_settled(b); /* what settled before: the next edge may undo it */
	if (pw_step(&b->state, p, &ev, &b->sink) > 0)
		b->keep = true;
	pw_proofs_settled(b);
}

static void take_edge(struct pw_bus *b, const struct pw_edge *e, struct pw_edge *last)
{
	b->changed_ms[e->line] = e->at_ms;
	pw_wires_edge(&b->wires, e->line, e->level, e->at_ms);
	if (e->line >= PW_INPUTS) {
		pw_proofs_raw(b, e->line, e->level);
		return;
	}
	*last = (struct pw_edge){ .at_ms = moment_of(e, b->judged_ms, last), .line = e->line };
	feed(b, e, last->at_ms);
}

static void run_until(struct pw_bus *b, int64_t until_ms)
{
	if (until_ms <= b->judged_ms)
		return;
	if (pw_run(&b->state, &b->active.policy, until_ms, &b->sink) > 0)
		b->keep = true;
	pw_proofs_settled(b);
	b->judged_ms = until_ms;
}

void pw_feed(struct pw_bus *b)
{
	struct pw_edge edge[BATCH];
	struct pw_edge last = { .at_ms = PW_NO_TIME };
	int64_t until_ms = b->now_ms;
	size_t n;

	do {
		n = pw_board_read(b->board, b->now_ms, edge, BATCH);
		for (size_t i = 0; i < n; i++)
			take_edge(b, &edge[i], &last);
	} while (n == BATCH);
	run_until(b, until_ms < last.at_ms ? last.at_ms : until_ms);
}

/* In a moment of its own, which is over then: in a replay as well it stands
 * after the edges that came before and before those that come after (J9). */
void pw_feed_service(struct pw_bus *b, bool on)
{
	const int64_t at_ms = b->now_ms > b->judged_ms ? b->now_ms : b->judged_ms + 1;
	struct pw_note n;

	run_until(b, at_ms - 1);
	b->judged_ms = at_ms - 1;
	pw_step(&b->state, &b->active.policy, &(struct pw_event){
		.kind = on ? PW_SERVICE_ON : PW_SERVICE_OFF, .at_ms = at_ms }, &b->sink);
	run_until(b, at_ms);
	n = pw_note_new(b, PW_K_SERVICE);
	n.of.service.on = b->service = on;
	pw_writer_note(b->writer, &n);
	b->keep = true;
	pw_info("service is %s", on ? "on: beeper and horn are muted" : "over");
}

void pw_feed_service_end(struct pw_bus *b)
{
	if (b->service && !b->state.service)
		pw_feed_service(b, false);
}

void pw_feed_flush(struct pw_bus *b)
{
	if (!b->keep)
		return;
	b->keep = false;
	for (unsigned i = 0; i < PW_INPUTS; i++)
		flush_line(b, i);
	pw_writer_keep(b->writer, &b->state, b->judged_ms, b->wall_ms);
}
