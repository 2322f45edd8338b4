/* SPDX-License-Identifier: Apache-2.0 */
/*
 * tool_watch.h - a watch without a board: plays a trace through the rules and journals it as
 * postwalkd does, start by start, each start on a clock of its own.
 *
 * Moments of the played trace are told on one axis. A start's clock begins anew; the power cut
 * before it is known on both, unless the clock is lost, and then the gap is none (R21).
 */
#ifndef POSTWALK_TEST_TOOL_WATCH_H
#define POSTWALK_TEST_TOOL_WATCH_H

#include <sodium.h>

#include "../../daemon/record/record_internal.h"
#include "tool_command.h"

#define WALL_MS INT64_C(1790000000000)

struct watch {
	const char *policy; /* its text */
	struct pw_policy p;
	struct pw_journal *j;
	struct pw_state s;
	struct pw_sink sink;
	uint64_t boot;
	int64_t origin_ms; /* of this start's clock, on the trace's axis */
	int64_t judged_ms;
	uint8_t levels;
	bool powered, happened, closed;
	struct {
		uint16_t count;
		int64_t at_ms[PW_EDGES_MAX];
	} pending[PW_INPUTS];
};

/* -- records ----------------------------------------------------------------------------------- */

static inline uint64_t journal_add_at(struct pw_journal *j, uint64_t boot, enum pw_kind kind,
				      int64_t mono_ms, int64_t wall_ms, bool wall_ok,
				      const char *body)
{
	struct pw_record r = { .boot = boot, .mono_ms = mono_ms, .wall_ms = wall_ms,
			       .wall_ok = wall_ok, .kind = kind, .body = body };
	char why[300];

	if (pw_journal_add(j, &r, why, sizeof(why)))
		fail_msg("%s", why);
	return r.seq;
}

static inline uint64_t journal_add(struct pw_journal *j, uint64_t boot, enum pw_kind kind,
				   int64_t mono_ms, const char *body)
{
	return journal_add_at(j, boot, kind, mono_ms, WALL_MS + mono_ms, true, body);
}

static inline struct pw_journal *journal_begin(const char *path)
{
	struct pw_journal *j;
	char why[300];

	if (pw_journal_open(path, "bus-07", true, &j, why, sizeof(why)) ||
	    pw_journal_begin(j, why, sizeof(why)))
		fail_msg("%s", why);
	return j;
}

static inline void journal_end(struct pw_journal *j)
{
	char why[300];

	if (pw_journal_commit(j, why, sizeof(why)))
		fail_msg("%s", why);
	pw_journal_close(j);
}

/* -- seals ------------------------------------------------------------------------------------- */

/* The secret key of RFC 8032, section 7.1, TEST 1. */
static inline const struct pw_secret_key *journal_key(void)
{
	static const unsigned char seed[32] = {
		0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a,
		0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44, 0x49, 0xc5, 0x69, 0x7b, 0x32,
		0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
	};
	static struct pw_secret_key key;

	assert_true(sodium_init() >= 0);
	crypto_sign_seed_keypair(key.public.bytes, key.bytes, seed);
	return &key;
}

static inline void journal_seal(struct pw_journal *j)
{
	char why[300];

	if (pw_journal_seal(j, journal_key(), why, sizeof(why)))
		fail_msg("%s", why);
}

/* As the writer leaves it at an orderly stop: sealed, a state kept, and in the folder the public key
 * and a seal file. */
static inline void journal_end_sealed(struct pw_journal *j, const char *dir)
{
	struct pw_seal_file f = { .seal.seq = pw_journal_head(j, f.seal.hash) };
	struct pw_kept_row row = { .state = "{}", .boot_id = "boot", .boot = 1, .ended = true };
	char why[300], pem[PW_PEM_MAX], path[128];

	journal_seal(j);
	if (pw_journal_keep(j, &row, journal_key(), why, sizeof(why)))
		fail_msg("%s", why);
	strcpy(f.bus, pw_journal_bus(j));
	strcpy(f.epoch, pw_journal_epoch(j));
	pw_seal_make(f.bus, f.epoch, &f.seal, journal_key());
	assert_int_equal(pw_seal_file_write(dir, &f), 0);
	pw_public_key_pem(&journal_key()->public, pem);
	snprintf(path, sizeof(path), "%s/bus.pub", dir);
	tool_write(path, pem);
	journal_end(j);
}

/* -- what a watch notes ------------------------------------------------------------------------ */

static inline void watch_note(struct watch *w, struct pw_note *n, enum pw_kind kind,
			      int64_t mono_ms)
{
	char body[PW_BODY_MAX + 1];

	n->version = PW_NOTE_VERSION;
	n->kind = (uint16_t)kind;
	n->mono_ms = mono_ms;
	n->wall_ms = WALL_MS + w->origin_ms + mono_ms;
	assert_true(pw_text_body(n, body, sizeof(body)) > 0);
	journal_add_at(w->j, w->boot, kind, mono_ms, n->wall_ms, true, body);
}

/* -- what the rules say ------------------------------------------------------------------------ */

static inline void watch_take(void *ctx, const struct pw_effect *e)
{
	struct watch *w = ctx;
	struct pw_note n = { 0 };
	enum pw_kind kind = PW_K_NONE;

	switch (e->kind) {
	case PW_E_SWEEP:
		kind = PW_K_SWEEP;
		w->closed = true;
		n.of.sweep.sweep = *e->sweep;
		strcpy(n.of.sweep.rung, w->p.signal[e->sweep->rung].name);
		break;
	case PW_E_RESTART:
		kind = PW_K_RESTART;
		n.of.restart.t0_ms = e->t0_ms;
		n.of.restart.at_ms = e->edge_ms;
		break;
	case PW_E_EXCUSED:
		kind = PW_K_EXCUSED;
		n.of.excused.at_ms = e->edge_ms;
		break;
	case PW_E_FAULT:
		kind = PW_K_FAULT;
		strcpy(n.of.fault.name, pw_fault_name(e->fault));
		n.of.fault.on = e->on;
		n.of.fault.at_ms = e->at_ms;
		break;
	case PW_E_RUNG:
		kind = PW_K_RUNG;
		strcpy(n.of.rung.name, w->p.signal[e->rung].name);
		n.of.rung.at_ms = e->at_ms;
		break;
	default:
		return;
	}
	watch_note(w, &n, kind, e->at_ms);
}

/* -- lines ------------------------------------------------------------------------------------- */

static inline void watch_flush_line(struct watch *w, unsigned line)
{
	struct pw_note n = { 0 };

	if (w->pending[line].count == 0)
		return;
	n.of.edges.line = (uint8_t)line;
	n.of.edges.count = w->pending[line].count;
	n.of.edges.from = ((w->levels >> line) ^ n.of.edges.count) & 1;
	memcpy(n.of.edges.at_ms, w->pending[line].at_ms, sizeof(n.of.edges.at_ms));
	watch_note(w, &n, PW_K_EDGES, w->judged_ms);
	w->pending[line].count = 0;
}

static inline void watch_flush(struct watch *w)
{
	for (unsigned i = 0; i < PW_INPUTS; i++)
		watch_flush_line(w, i);
	if (w->closed)
		journal_seal(w->j);
	w->happened = w->closed = false;
}

static inline void watch_step(struct watch *w, struct pw_event ev)
{
	w->happened |= pw_step(&w->s, &w->p, &ev, &w->sink) > 0;
}

static inline void watch_run(struct watch *w, int64_t until_ms)
{
	w->happened |= pw_run(&w->s, &w->p, until_ms, &w->sink) > 0;
}

static inline void watch_edge(struct watch *w, unsigned line, int64_t at_ms)
{
	w->levels ^= (uint8_t)(1u << line);
	w->pending[line].at_ms[w->pending[line].count++] = at_ms;
	watch_step(w, (struct pw_event){ .kind = PW_LEVELS, .at_ms = at_ms,
					 .mask = (uint8_t)(1u << line), .levels = w->levels });
	if (w->pending[line].count == PW_EDGES_MAX)
		watch_flush_line(w, line);
}

/* -- starts ------------------------------------------------------------------------------------ */

static inline void watch_note_start(struct watch *w, int64_t p_ms, enum pw_clock clock,
				    int64_t cut_ms, int64_t old_cut_ms)
{
	struct pw_note n = { 0 };

	n.of.boot.clock = clock;
	n.of.boot.reset = clock == PW_CLOCK_FIRST ? PW_RESET_FIRST : PW_RESET_POWER;
	n.of.boot.cut_ms = cut_ms;
	n.of.boot.old_cut_ms = old_cut_ms;
	strcpy(n.of.boot.version, "0.1");
	w->boot++;
	watch_note(w, &n, PW_K_BOOT, p_ms);
	if (clock == PW_CLOCK_FIRST) {
		n = (struct pw_note){ .of.policy.length = (uint32_t)strlen(w->policy) };
		strcpy(n.of.policy.text, w->policy);
		watch_note(w, &n, PW_K_POLICY, p_ms);
	}
	n = (struct pw_note){ .of.level.levels = w->levels };
	watch_note(w, &n, PW_K_LEVEL, p_ms);
	w->judged_ms = p_ms;
}

static inline void watch_first(struct watch *w, int64_t at_ms)
{
	watch_note_start(w, at_ms, PW_CLOCK_FIRST, PW_NO_TIME, PW_NO_TIME);
	watch_step(w, (struct pw_event){ .kind = PW_POWER_ON_FIRST, .at_ms = at_ms,
					 .levels = w->levels });
	w->powered = true;
	watch_run(w, at_ms);
}

/* What is kept is kept as text. Power goes right after the last moment that was judged. */
static inline void watch_cut(struct watch *w, int64_t at_ms)
{
	struct pw_state kept;
	char text[PW_KEPT_MAX];

	if (at_ms - 1 > w->judged_ms) {
		watch_run(w, at_ms - 1);
		w->judged_ms = at_ms - 1;
	}
	watch_flush(w);
	assert_true(pw_text_kept(&w->s, text, sizeof(text)) > 0);
	assert_int_equal(pw_text_kept_read(text, &kept), 0);
	w->s = kept;
	w->powered = false;
}

static inline void watch_return(struct watch *w, int64_t at_ms, bool lost)
{
	const int64_t old_cut_ms = w->judged_ms + 1, cut_at_ms = old_cut_ms + w->origin_ms;
	const int64_t p_ms = 3000 + 777 * (int64_t)w->boot;
	int64_t cut_ms;

	if (at_ms < cut_at_ms)
		at_ms = cut_at_ms;
	w->origin_ms = at_ms - p_ms;
	cut_ms = lost ? p_ms : cut_at_ms - w->origin_ms;
	watch_note_start(w, p_ms, lost ? PW_CLOCK_LOST : PW_CLOCK_VOUCHED, cut_ms, old_cut_ms);
	pw_shift(&w->s, cut_ms - old_cut_ms);
	w->s.sounding = PW_SIGNAL_NONE;
	watch_step(w, (struct pw_event){ .kind = PW_POWER_CUT, .at_ms = cut_ms });
	watch_step(w, (struct pw_event){ .kind = PW_POWER_ON, .at_ms = p_ms, .levels = w->levels,
					 .clock_lost = lost });
	w->powered = true;
	watch_run(w, p_ms);
}

/* -- a trace, line by line --------------------------------------------------------------------- */

static inline void watch_service(struct watch *w, bool on, int64_t at_ms)
{
	struct pw_note n = { .of.service.on = on };

	watch_note(w, &n, PW_K_SERVICE, at_ms);
	watch_step(w, (struct pw_event){ .kind = on ? PW_SERVICE_ON : PW_SERVICE_OFF,
					 .at_ms = at_ms });
}

/* A moment that was judged is over: what comes for it comes in the next. */
static inline void watch_line(struct watch *w, const struct pw_trace_line *l)
{
	int64_t at_ms = l->at_ms - w->origin_ms;
	uint8_t differ = (uint8_t)((w->levels ^ l->levels) & l->mask);

	if (at_ms <= w->judged_ms)
		at_ms = w->judged_ms + 1;
	watch_run(w, at_ms - 1);
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (differ >> i & 1)
			watch_edge(w, i, at_ms);
	if (l->service >= 0 && differ) {
		watch_run(w, at_ms);
		w->judged_ms = at_ms++;
	}
	if (l->service >= 0)
		watch_service(w, l->service, at_ms);
	watch_run(w, at_ms);
	w->judged_ms = at_ms;
	if (w->happened)
		watch_flush(w);
}

static inline void watch_take_line(struct watch *w, const struct pw_trace_line *l)
{
	if (w->boot == 0 && w->p.line[PW_REAR_BUTTON_NC].configured)
		w->levels = 1u << PW_REAR_BUTTON_NC;
	if (w->powered && l->power == PW_CUT)
		watch_cut(w, l->at_ms - w->origin_ms);
	if (!w->powered)
		w->levels = (uint8_t)((w->levels & ~l->mask) | l->levels);
	if (w->boot == 0)
		watch_first(w, l->at_ms);
	else if (l->power == PW_ON)
		watch_return(w, l->at_ms, l->clock_lost);
	else if (w->powered)
		watch_line(w, l);
}

/* Up to the trace's end, and a record of that moment. */
static inline void watch_end(struct watch *w, int64_t at_ms)
{
	struct pw_note n = { 0 };

	at_ms -= w->origin_ms;
	if (!w->powered)
		return;
	if (at_ms > w->judged_ms) {
		watch_run(w, at_ms);
		w->judged_ms = at_ms;
	}
	watch_flush(w);
	n.of.clock.before_ms = n.of.clock.after_ms = WALL_MS + w->origin_ms + w->judged_ms;
	watch_note(w, &n, PW_K_CLOCK, w->judged_ms);
}

/* Plays the trace file under the policy's text into DIR/journal.db. */
static inline void watch_play(struct tool *t, const char *policy, const char *trace)
{
	struct watch w = { .policy = policy };
	struct pw_trace *in;
	struct pw_trace_line l;
	char why[400];
	int got;

	tool_write(tool_path(t, "policy.conf"), policy);
	if (pw_policy_load(tool_path(t, "policy.conf"), false, &w.p, NULL, NULL, why, sizeof(why)))
		fail_msg("%s", why);
	w.sink = (struct pw_sink){ watch_take, &w };
	w.j = journal_begin(tool_path(t, "journal.db"));
	in = pw_trace_open(trace, &w.p);
	assert_non_null(in);
	while ((got = pw_trace_next(in, &l)) == 1)
		if (!l.end)
			watch_take_line(&w, &l);
	assert_int_equal(got, 0);
	pw_trace_close(in);
	watch_end(&w, l.at_ms);
	journal_end_sealed(w.j, t->dir);
}

#endif
