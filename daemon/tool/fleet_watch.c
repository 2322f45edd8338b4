/* SPDX-License-Identifier: Apache-2.0 */
/* From edges to records: feed.c, effects.c, proofs.c and clock.c of daemon/bus, without wires. */
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "fleet_watch_internal.h"
#include "postwalk/board.h"

#define STEP_MS 1000
#define STAMP_MS 5000
#define SEAL_EVERY 256
#define PROOFS_A_SPAN 6

/* -- records ----------------------------------------------------------------------------------- */

struct pw_note pw_watch_note(const struct pw_fleet_watch *w, enum pw_kind kind)
{
	return (struct pw_note){
		.version = PW_NOTE_VERSION,
		.kind = (uint16_t)kind,
		.mono_ms = w->judged_ms > w->now_ms ? w->judged_ms : w->now_ms,
		.wall_ms = w->wall_ms,
		.wall_ok = w->wall_ms >= w->believed_ms,
	};
}

/* What the office is told at once has a seal of its own. */
static bool is_alert(const struct pw_note *n)
{
	return (n->kind == PW_K_RUNG && n->of.rung.notify)
	       || (n->kind == PW_K_FOUND && n->of.found.what == PW_FOUND_CHILD);
}

void pw_watch_journal(struct pw_fleet_watch *w, const struct pw_note *n)
{
	char body[PW_BODY_MAX + 1];
	const struct pw_record r = { .boot = w->boot, .mono_ms = n->mono_ms, .wall_ms = n->wall_ms,
				     .wall_ok = n->wall_ok, .kind = n->kind, .body = body };

	int length = pw_text_body(n, body, sizeof(body));

	assert(length > 0); /* no note made here is too long */
	pw_book_add(w->book, &r);
	w->keep = true;
	if (n->kind == PW_K_SWEEP || n->kind == PW_K_RESTART || n->kind == PW_K_EXCUSED)
		w->seal_due = true;
	if (is_alert(n))
		pw_book_alert(w->book);
	if (w->book->count - w->book->sealed >= SEAL_EVERY)
		pw_book_seal(w->book);
}

static void flush_line(struct pw_fleet_watch *w, unsigned line)
{
	struct pw_note n;

	if (w->pending[line].count == 0)
		return;
	n = pw_watch_note(w, PW_K_EDGES);
	n.of.edges.line = (uint8_t)line;
	n.of.edges.from = w->pending[line].from;
	n.of.edges.count = w->pending[line].count;
	memcpy(n.of.edges.at_ms, w->pending[line].at_ms,
	       w->pending[line].count * sizeof(n.of.edges.at_ms[0]));
	pw_watch_journal(w, &n);
	w->pending[line].count = 0;
}

/* The writer's commit: the records, their seal, and the state after them. */
static void commit(struct pw_fleet_watch *w)
{
	struct pw_card *card = &w->card;

	if (w->seal_due || (card->state.phase == PW_DRIVING && w->state.phase != PW_DRIVING))
		pw_book_seal(w->book);
	w->seal_due = false;
	card->found = true;
	card->ended = false;
	card->state = w->state;
	card->mono_ms = w->judged_ms;
	card->wall_ms = w->wall_ms;
	card->boot = w->boot;
	card->day = w->day;
	if (w->state.phase == PW_PARKED)
		w->stamp_ms = PW_NEVER;
	else if (w->stamp_ms == PW_NEVER)
		w->stamp_ms = w->now_ms + STAMP_MS;
}

static void flush(struct pw_fleet_watch *w)
{
	if (!w->keep)
		return;
	for (unsigned i = 0; i < PW_INPUTS; i++)
		flush_line(w, i);
	w->keep = false;
	commit(w);
}

/* -- faults and proofs ------------------------------------------------------------------------- */

static char *find_fault(struct pw_fleet_watch *w, const char *name)
{
	for (unsigned i = 0; i < PW_WATCH_FAULTS; i++)
		if (strcmp(w->fault[i], name) == 0)
			return w->fault[i];
	return NULL;
}

void pw_watch_fault(struct pw_fleet_watch *w, const char *name, const char *words, bool on,
		    int64_t at_ms)
{
	char *old = find_fault(w, name), *to = on ? find_fault(w, "") : old;
	struct pw_note n = pw_watch_note(w, PW_K_FAULT);

	if (on == (old != NULL) || !to)
		return;
	snprintf(n.of.fault.name, sizeof(n.of.fault.name), "%s", name);
	snprintf(n.of.fault.words, sizeof(n.of.fault.words), "%s", words);
	n.of.fault.on = on;
	n.of.fault.at_ms = at_ms;
	snprintf(to, sizeof(w->fault[0]), "%s", on ? name : "");
	pw_watch_journal(w, &n);
}

static void tell_unheard(struct pw_fleet_watch *w, unsigned line, bool unheard)
{
	const char *name = w->bus->policy.line[line].name;
	char fault[PW_NAME_MAX + 8], words[160];

	snprintf(fault, sizeof(fault), "unheard_%.31s", name);
	snprintf(words, sizeof(words),
		 "%s was tried and nobody saw or heard it: check it and its fuse "
		 "before the next run",
		 name);
	pw_watch_fault(w, fault, words, unheard, w->now_ms);
}

static bool stands(const struct pw_fleet_watch *w, const struct pw_proof *proof,
		   enum pw_proof_how how)
{
	const int64_t age_ms = proof ? w->wall_ms - proof->wall_ms : 0;

	return proof && proof->how == how && age_ms >= 0
	       && age_ms < w->bus->policy.proof_ms / PROOFS_A_SPAN;
}

void pw_watch_prove(struct pw_fleet_watch *w, unsigned line, enum pw_proof_how how)
{
	const char *name = w->bus->policy.line[line].name;
	struct pw_note n;

	if (w->bus->policy.line[line].direction == PW_OUT)
		tell_unheard(w, line, how == PW_NOT_HEARD);
	if (stands(w, pw_day_proof(&w->day, name), how))
		return;
	n = pw_watch_note(w, PW_K_PROOF);
	snprintf(n.of.proof.line, sizeof(n.of.proof.line), "%s", name);
	n.of.proof.how = how;
	pw_day_take(&w->day, &n);
	pw_watch_journal(w, &n);
}

static uint32_t settled_levels(const struct pw_fleet_watch *w)
{
	uint32_t levels = 0;

	for (unsigned i = 0; i < PW_INPUTS; i++)
		levels |= (uint32_t)(w->state.input[i].level & 1) << i;
	return levels;
}

static void line_moved(struct pw_fleet_watch *w, unsigned line)
{
	const uint32_t bit = 1u << line;

	w->proving.levels ^= bit;
	if (w->proving.levels & bit)
		w->proving.rose |= bit;
	else
		w->proving.fell |= bit;
	if (!(w->proving.rose & w->proving.fell & bit))
		return;
	w->proving.rose &= ~bit;
	w->proving.fell &= ~bit;
	pw_watch_prove(w, line, PW_MOVED);
}

static void look_at_lines(struct pw_fleet_watch *w)
{
	uint32_t left = settled_levels(w) ^ w->proving.levels;

	for (; left != 0; left &= left - 1)
		line_moved(w, (unsigned)__builtin_ctz(left));
}

/* -- the sounder inside, which a sense hears --------------------------------------------------- */

static const char silent_words[] =
	"beeper was told to sound and its sense did not see it: check it "
	"and its fuse before the next run";

/* Called often; something happens where it begins or ends to sound, and when its time is over. */
static void look_at_sounder(struct pw_fleet_watch *w)
{
	const struct pw_state *s = &w->state;
	const bool sounds = pw_outputs(s, &w->bus->policy, s->sounding) >> PW_BEEPER & 1;

	if (sounds && !w->sounding && w->dead && !w->heard_dead)
		w->sounds_ms = w->now_ms + PW_SILENT_MS;
	if (sounds && !w->sounding && !w->dead) {
		w->heard_dead = false;
		pw_watch_fault(w, "silent_beeper", silent_words, false, w->now_ms);
		pw_watch_prove(w, PW_BEEPER, PW_SENSED);
	}
	if (!sounds)
		w->sounds_ms = PW_NEVER;
	w->sounding = sounds;
	if (w->sounds_ms > w->now_ms)
		return;
	w->sounds_ms = PW_NEVER;
	w->heard_dead = true;
	pw_watch_fault(w, "silent_beeper", silent_words, true, w->now_ms);
}

/* -- what the rules say ------------------------------------------------------------------------ */

static void take_sweep(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	struct pw_note n = pw_watch_note(w, PW_K_SWEEP);

	n.of.sweep.sweep = *e->sweep;
	memcpy(n.of.sweep.rung, w->bus->policy.signal[e->sweep->rung].name, PW_NAME_MAX);
	w->t0_ms = e->sweep->t0_ms;
	pw_watch_journal(w, &n);
}

static void take_restart(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	struct pw_note n = pw_watch_note(w, PW_K_RESTART);

	n.of.restart.t0_ms = e->t0_ms;
	n.of.restart.at_ms = e->edge_ms;
	pw_watch_journal(w, &n);
}

static void take_excused(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	struct pw_note n = pw_watch_note(w, PW_K_EXCUSED);

	n.of.excused.at_ms = e->edge_ms;
	pw_watch_journal(w, &n);
}

static void note_rung(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	struct pw_note n = pw_watch_note(w, PW_K_RUNG);

	snprintf(n.of.rung.name, sizeof(n.of.rung.name), "%s", w->bus->policy.signal[e->rung].name);
	n.of.rung.at_ms = e->at_ms;
	n.of.rung.notify = e->kind == PW_E_NOTIFY;
	pw_watch_journal(w, &n);
}

/* Comes before that rung sounds and is the record of both. */
static void take_notify(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	note_rung(w, e);
	w->notified = e->rung;
}

static void take_rung(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	if (e->rung == PW_SIGNAL_NONE || e->rung != w->notified)
		note_rung(w, e);
	w->notified = PW_SIGNAL_NONE;
}

static void take_fault(struct pw_fleet_watch *w, const struct pw_effect *e)
{
	static const char *const words[] = {
		[PW_BUTTON_HELD] = "the rear button is held down, stuck or taped",
		[PW_BUTTON_CONTACTS] =
			"the two contacts of the rear button disagree: check its wires",
	};

	pw_watch_fault(w, pw_fault_name(e->fault), words[e->fault], e->on, e->at_ms);
}

static void take(void *watch, const struct pw_effect *e)
{
	static void (*const takes[])(struct pw_fleet_watch *w, const struct pw_effect *e) = {
		[PW_E_SWEEP] = take_sweep,     [PW_E_RESTART] = take_restart,
		[PW_E_EXCUSED] = take_excused, [PW_E_FAULT] = take_fault,
		[PW_E_RUNG] = take_rung,       [PW_E_NOTIFY] = take_notify,
		[PW_E_KEY_OFF] = NULL,
	};

	if (takes[e->kind])
		takes[e->kind](watch, e);
}

/* -- the way of an edge ------------------------------------------------------------------------ */

void pw_watch_step(struct pw_fleet_watch *w, struct pw_event ev)
{
	const struct pw_sink sink = { take, w };

	if (pw_step(&w->state, &w->bus->policy, &ev, &sink) > 0)
		w->keep = true;
	look_at_lines(w);
}

static void run(struct pw_fleet_watch *w, int64_t until_ms)
{
	const struct pw_sink sink = { take, w };

	if (pw_run(&w->state, &w->bus->policy, until_ms, &sink) > 0)
		w->keep = true;
	look_at_lines(w);
}

static void run_until(struct pw_fleet_watch *w, int64_t until_ms)
{
	if (until_ms <= w->judged_ms)
		return;
	run(w, until_ms);
	w->judged_ms = until_ms;
}

void pw_watch_mute(struct pw_fleet_watch *w, bool on)
{
	const int64_t at_ms = w->now_ms > w->judged_ms ? w->now_ms : w->judged_ms + 1;
	struct pw_note n;

	run_until(w, at_ms - 1);
	w->judged_ms = at_ms - 1;
	pw_watch_step(w, (struct pw_event){ .kind = on ? PW_SERVICE_ON : PW_SERVICE_OFF,
					    .at_ms = at_ms });
	run_until(w, at_ms);
	n = pw_watch_note(w, PW_K_SERVICE);
	n.of.service.on = w->service = on;
	pw_watch_journal(w, &n);
}

static void look_at_clock(struct pw_fleet_watch *w)
{
	const int64_t before_ms = w->told_wall_ms + (w->now_ms - w->told_boot_ms);
	const int64_t step_ms = w->wall_ms - before_ms;
	struct pw_note n = pw_watch_note(w, PW_K_CLOCK);

	if (step_ms < STEP_MS && step_ms > -STEP_MS)
		return;
	w->told_boot_ms = w->now_ms;
	w->told_wall_ms = w->wall_ms;
	n.of.clock.before_ms = before_ms;
	n.of.clock.after_ms = w->wall_ms;
	pw_watch_journal(w, &n);
}

/* One wake-up of the loop, but for what it was woken by. */
static void wake(struct pw_fleet_watch *w, int64_t now_ms)
{
	w->now_ms = now_ms;
	w->wall_ms = now_ms + w->boot_ms + w->clock_ms;
	look_at_clock(w);
}

void pw_watch_finish(struct pw_fleet_watch *w)
{
	run_until(w, w->now_ms);
	if (w->service && !w->state.service)
		pw_watch_mute(w, false);
	look_at_sounder(w);
	flush(w);
}

static int64_t next_ms(const struct pw_fleet_watch *w)
{
	const int64_t due_ms = pw_next_ms(&w->state, &w->bus->policy);

	return due_ms < w->sounds_ms ? due_ms : w->sounds_ms;
}

void pw_fleet_watch_until(struct pw_fleet_watch *w, int64_t at_ms)
{
	int64_t due_ms;

	while (w->powered && (due_ms = next_ms(w)) < at_ms - w->boot_ms) {
		wake(w, due_ms > w->now_ms ? due_ms : w->now_ms + 1);
		pw_watch_finish(w);
	}
}

bool pw_watch_wake(struct pw_fleet_watch *w, int64_t at_ms)
{
	pw_fleet_watch_until(w, at_ms);
	if (!w->powered)
		return false;
	wake(w, at_ms - w->boot_ms);
	return true;
}

static void remember(struct pw_fleet_watch *w, unsigned line, unsigned level, int64_t at_ms)
{
	if (w->pending[line].count == 0)
		w->pending[line].from = !level;
	w->pending[line].at_ms[w->pending[line].count++] = at_ms;
	if (w->pending[line].count < PW_EDGES_MAX)
		return;
	flush_line(w, line);
	w->keep = true;
}

void pw_fleet_watch_edge(struct pw_fleet_watch *w, int64_t at_ms, unsigned line, unsigned level)
{
	const uint8_t bit = (uint8_t)(1u << line);
	int64_t moment_ms;

	if ((w->raw >> line & 1) == level)
		return;
	pw_fleet_watch_until(w, at_ms);
	w->raw ^= bit;
	if (!pw_watch_wake(w, at_ms))
		return;
	moment_ms = w->now_ms > w->judged_ms ? w->now_ms : w->judged_ms + 1;
	run(w, moment_ms - 1);
	remember(w, line, level, moment_ms);
	pw_watch_step(w, (struct pw_event){ .kind = PW_LEVELS, .at_ms = moment_ms, .mask = bit,
					    .levels = (uint8_t)(level << line) });
	run_until(w, moment_ms);
	pw_watch_finish(w);
}

void pw_fleet_watch_clock(struct pw_fleet_watch *w, int64_t at_ms, int64_t clock_ms)
{
	pw_fleet_watch_until(w, at_ms);
	w->clock_ms = clock_ms;
	if (pw_watch_wake(w, at_ms))
		pw_watch_finish(w);
}
