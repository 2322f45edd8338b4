/* SPDX-License-Identifier: Apache-2.0 */
/* A record in words, kind by kind (J8). What is not as it should be is shown as it stands. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "journal_internal.h"

#define EDGES_SHOWN 6

struct told {
	struct pw_saying *o;
	const struct pw_record *r;
	const json_t *body;
	uint8_t inputs;
};

/* A moment of its boot, by the wall clock as it stood at the record. */
static int64_t wall_of(const struct told *t, int64_t mono_ms)
{
	return pw_minus(t->r->wall_ms, pw_minus(t->r->mono_ms, mono_ms));
}

/* -- starts ------------------------------------------------------------------------------------ */

static void say_gap(const struct told *t)
{
	int64_t cut_ms;

	if (pw_body_int(t->body, "cut_ms", &cut_ms))
		return;
	if (strcmp(pw_body_word(t->body, "clock"), "lost") == 0) {
		pw_put(t->o, ", for how long is not known: the clock was lost");
		return;
	}
	pw_put(t->o, " at ");
	pw_put_clock(t->o, wall_of(t, cut_ms));
	pw_put(t->o, ", ");
	pw_put_span(t->o, pw_minus(t->r->mono_ms, cut_ms));
	pw_put(t->o, " before");
}

static bool say_boot(const struct told *t)
{
	const char *reset = pw_body_word(t->body, "reset"), *clock = pw_body_word(t->body, "clock");
	const char *policy = pw_body_word(t->body, "policy");
	int64_t dropped = 0;

	if (clock[0] == '\0')
		return false;
	pw_put(t->o, "the watch starts, version %s", pw_body_word(t->body, "version"));
	if (strcmp(clock, "first") == 0) {
		pw_put(t->o, "; nothing was kept from before");
	} else {
		pw_put(t->o, "; %s", pw_words_reset(reset));
		say_gap(t);
	}
	if (policy[0])
		pw_put(t->o, "; policy %.12s", policy);
	pw_body_int(t->body, "dropped", &dropped);
	if (dropped > 0)
		pw_put(t->o, "; %" PRId64 " records were dropped before", dropped);
	return true;
}

static bool say_policy(const struct told *t)
{
	struct pw_policy p;
	char why[400];

	if (pw_body_word(t->body, "text")[0] == '\0')
		return false;
	pw_put(t->o, "policy %.12s", pw_body_word(t->body, "hash"));
	if (pw_policy_read(pw_body_word(t->body, "text"), &p, why, sizeof(why))) {
		pw_put(t->o, ", which this program cannot read: %s", why);
		return true;
	}
	pw_put(t->o, ": a press counts ");
	pw_put_span(t->o, pw_walk_min_ms(&p));
	pw_put(t->o, " after the stop at the soonest (%" PRId64 " rows), and is due within ",
	       p.rows);
	pw_put_span(t->o, p.due_ms);
	return true;
}

uint8_t pw_inputs_of(const struct pw_record *policy)
{
	json_t *body = json_loads(policy->body, JSON_REJECT_DUPLICATES, NULL);
	struct pw_policy p;
	uint8_t inputs = 0;
	char why[400];

	if (pw_policy_read(pw_body_word(body, "text"), &p, why, sizeof(why)))
		inputs = UINT8_MAX;
	else
		for (unsigned i = 0; i < PW_INPUTS; i++)
			inputs |= (uint8_t)(p.line[i].configured << i);
	json_decref(body);
	return inputs;
}

static bool say_level(const struct told *t)
{
	const json_t *levels = json_object_get(t->body, "levels");
	const char *between = "";
	int64_t level;

	if (!json_is_object(levels))
		return false;
	pw_put(t->o, "at power-on: ");
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		static const char *const names[PW_INPUTS] = {
#define X(up, low, settle) #low,
			PW_INPUT_LIST(X)
#undef X
		};

		if (!(t->inputs >> i & 1) || pw_body_int(levels, names[i], &level) || level < 0 ||
		    level > 1)
			continue;
		pw_put(t->o, "%s%s %s", between, pw_words_input(i), pw_words_level(i, level));
		between = ", ";
	}
	return true;
}

static bool say_epoch(const struct told *t)
{
	const json_t *before = json_object_get(t->body, "before");
	int64_t seq;

	pw_put(t->o, "a new journal begins");
	if (json_is_object(before) && pw_body_int(before, "seq", &seq) == 0)
		pw_put(t->o, " after epoch %s, whose last good record is %" PRId64,
		       pw_body_word(before, "epoch"), seq);
	pw_put(t->o, ": %s", pw_body_word(t->body, "why"));
	return pw_body_word(t->body, "why")[0] != '\0';
}

/* -- lines and signals ------------------------------------------------------------------------- */

static bool say_edges(const struct told *t)
{
	const char *name = pw_body_word(t->body, "line");
	const json_t *at = json_object_get(t->body, "at_ms");
	int line = pw_input_find(name, strlen(name));
	size_t count = json_array_size(at);
	int64_t from;

	if (line < 0 || count == 0 || pw_body_int(t->body, "from", &from) || from < 0 || from > 1)
		return false;
	pw_put(t->o, "%s ", pw_words_input((enum pw_line)line));
	for (size_t i = 0; i < count; i++) {
		const json_t *one = json_array_get(at, i);

		if (count > EDGES_SHOWN && i == EDGES_SHOWN - 1) {
			pw_put(t->o, ", and %zu more edges, the last ", count - i);
			i = count - 1;
			one = json_array_get(at, i);
		} else if (i > 0) {
			pw_put(t->o, ", ");
		}
		if (!json_is_integer(one))
			return false;
		pw_put(t->o, "%s ", pw_words_level((enum pw_line)line, (from ^ (i % 2 == 0)) & 1));
		pw_put_clock_ms(t->o, wall_of(t, json_integer_value(one)));
	}
	return true;
}

static bool say_rung(const struct told *t)
{
	const char *name = pw_body_word(t->body, "name");

	if (strcmp(name, "none") == 0)
		pw_put(t->o, "no signal any more");
	else
		pw_put(t->o, "signal %s", name);
	if (json_is_true(json_object_get(t->body, "notify")))
		pw_put(t->o, ", and the office is to be told");
	return name[0] != '\0';
}

static bool say_fault(const struct told *t)
{
	bool on;

	if (!pw_body_bool(t->body, "on", &on))
		return false;
	pw_put(t->o, "fault %s %s: %s", pw_body_word(t->body, "name"), on ? "begins" : "is over",
	       pw_body_word(t->body, "words"));
	return true;
}

static bool say_service(const struct told *t)
{
	bool on;

	if (!pw_body_bool(t->body, "on", &on))
		return false;
	pw_put(t->o, on ? "service begins: beeper and horn are muted"
			: "service is over: beeper and horn sound again");
	return true;
}

static bool say_clock(const struct told *t)
{
	int64_t before_ms, after_ms;

	if (pw_body_int(t->body, "before_ms", &before_ms) ||
	    pw_body_int(t->body, "after_ms", &after_ms))
		return false;
	pw_put(t->o, "the wall clock was set from ");
	pw_put_clock(t->o, before_ms);
	pw_put(t->o, " to ");
	pw_put_clock(t->o, after_ms);
	pw_put(t->o, ", ");
	pw_put_span(t->o, after_ms > before_ms ? after_ms - before_ms : before_ms - after_ms);
	pw_put(t->o, after_ms > before_ms ? " forward" : " back");
	return true;
}

/* -- stops ------------------------------------------------------------------------------------- */

static void say_press(const struct told *t, const struct pw_sweep *s)
{
	if (s->press_ms == PW_NO_TIME) {
		pw_put(t->o, "; no press was accepted");
		return;
	}
	pw_put(t->o, "; press at the rear ");
	pw_put_span(t->o, s->press_ms - s->t0_ms);
	pw_put(t->o, " after it");
	if (s->late_ms > 0) {
		pw_put(t->o, ", late by ");
		pw_put_span(t->o, s->late_ms);
	}
}

static bool say_sweep(const struct told *t)
{
	bool running;
	struct pw_sweep s;
	char rung[PW_NAME_MAX];

	if (pw_text_sweep(t->r->body, &s, rung))
		return false;
	running = s.findings >> PW_F_LEFT_RUNNING & 1;
	pw_put(t->o, "%s: %s ", pw_verdict_name(s.verdict), running ? "left running" : "key off");
	pw_put_clock(t->o, wall_of(t, s.t0_ms));
	say_press(t, &s);
	if (s.refused > 0)
		pw_put(t->o, "; %" PRIu32 " press%s refused", s.refused, s.refused > 1 ? "es" : "");
	if (s.findings)
		pw_put(t->o, "; ");
	pw_put_findings(t->o, s.findings);
	return true;
}

static bool say_restart(const struct told *t)
{
	int64_t off_ms, at_ms;

	if (pw_body_int(t->body, "key_off_ms", &off_ms) || pw_body_int(t->body, "at_ms", &at_ms))
		return false;
	pw_put(t->o, "no sweep: the driver was there again ");
	pw_put_span(t->o, at_ms - off_ms);
	pw_put(t->o, " after the stop at ");
	pw_put_clock(t->o, wall_of(t, off_ms));
	return true;
}

static bool say_excused(const struct told *t)
{
	int64_t at_ms;

	if (pw_body_int(t->body, "at_ms", &at_ms))
		return false;
	pw_put(t->o, "key off ");
	pw_put_clock(t->o, wall_of(t, at_ms));
	pw_put(t->o, "; by the policy no sweep is owed for this stop");
	return true;
}

/* -- the journal itself ------------------------------------------------------------------------ */

static bool say_lost(const struct told *t)
{
	int64_t count;

	if (pw_body_int(t->body, "count", &count))
		return false;
	pw_put(t->o, "%" PRId64 " record%s before this one could not be kept and %s dropped", count,
	       count == 1 ? "" : "s", count == 1 ? "was" : "were");
	return true;
}

static bool say_prune(const struct told *t)
{
	int64_t seq, seals = 0;

	if (pw_body_int(t->body, "seq", &seq))
		return false;
	pw_body_int(t->body, "seals", &seals);
	pw_put(t->o, "records up to seq %" PRId64 " (hash %.12s...) and %" PRId64
	       " seals were kept long enough and were dropped", seq, pw_body_word(t->body, "hash"),
	       seals);
	return true;
}

/* The office's clock, not the bus's. */
static bool say_receipt(const struct told *t)
{
	const bool alert = json_object_get(t->body, "alert") != NULL;
	int64_t seq, time_ms;

	if (pw_body_int(t->body, alert ? "alert" : "seq", &seq))
		return false;
	pw_put(t->o, alert ? "the office has the alert of seq %" PRId64
			   : "the office has all up to seq %" PRId64, seq);
	if (pw_body_int(t->body, "time_ms", &time_ms) == 0) {
		pw_put(t->o, ", by its own clock at ");
		pw_put_clock(t->o, time_ms);
	}
	return true;
}

/* A kind that this program knows no words for: its keys, one by one. */
static bool say_any(const struct told *t)
{
	const char *between = "", *key;
	json_t *value;

	json_object_foreach((json_t *)(uintptr_t)t->body, key, value) {
		char *text = NULL;

		if (!json_is_string(value))
			text = json_dumps(value, JSON_ENCODE_ANY | JSON_COMPACT);
		pw_put(t->o, "%s%s %s", between, key, text ? text : json_string_value(value));
		free(text);
		between = ", ";
	}
	return true;
}

/* -- what people and wires told ---------------------------------------------------------------- */

static void say_by(const struct told *t, const char *who, const char *words)
{
	if (who[0] != '\0')
		pw_put(t->o, ", by %s", who);
	if (words[0] != '\0')
		pw_put(t->o, ": %s", words);
}

static void say_proof(const struct told *t, const struct pw_note *n)
{
	static const char *const words[PW_PROOF_HOWS] = {
		[PW_MOVED] = "proven: seen to go both ways",
		[PW_SENSED] = "proven: seen by its sense line while driven",
		[PW_HEARD] = "proven: somebody says that it was heard",
		[PW_NOT_HEARD] = "not proven: somebody says that it was not heard",
	};

	pw_put(t->o, "%s %s", n->of.proof.line, words[n->of.proof.how]);
}

static void say_found(const struct told *t, const struct pw_note *n)
{
	static const char *const words[PW_FOUND_WHATS] = {
		[PW_FOUND_NOTHING] = "nothing found by the walk",
		[PW_FOUND_ARTICLE] = "found: an article",
		[PW_FOUND_DAMAGE] = "found: damage",
		[PW_FOUND_LEFT_OPEN] = "found: left open",
		[PW_FOUND_MECHANICAL] = "found: mechanical trouble",
		[PW_FOUND_CHILD] = "found: a child",
	};

	pw_put(t->o, "%s", words[n->of.found.what]);
	if (n->of.found.part != PW_PART_NONE)
		pw_put(t->o, ", %s", pw_part_name(n->of.found.part));
	if (n->of.found.id != 0)
		pw_put(t->o, ", defect %" PRIu32, n->of.found.id);
	if (n->of.found.rung[0] != '\0')
		pw_put(t->o, ", told by signal %s", n->of.found.rung);
	say_by(t, n->of.found.who, n->of.found.words);
}

static void say_report(const struct told *t, const struct pw_note *n)
{
	const uint32_t defects = n->of.report.defects;

	if (n->of.report.act == PW_REPORT_REPAIRED || n->of.report.act == PW_REPORT_NO_NEED)
		pw_put(t->o, "defect %" PRIu32 " certified as %s", n->of.report.id,
		       n->of.report.act == PW_REPORT_REPAIRED ? "repaired" : "needing no repair");
	else
		pw_put(t->o, "vehicle report %s, %" PRIu32 " defect%s in it",
		       pw_report_name(n->of.report.act), defects, defects == 1 ? "" : "s");
	say_by(t, n->of.report.who, n->of.report.words);
}

/* What was not right is told; each step in full stands in the body. */
static void say_setup(const struct told *t, const struct pw_note *n)
{
	const struct pw_wiring *w = &n->of.setup.wiring;
	const json_t *steps = json_object_get(t->body, "steps");
	unsigned right = 0;

	for (unsigned i = 0; i < w->steps; i++)
		right += w->step[i].result == PW_WIRING_RIGHT;
	pw_put(t->o, "wiring walked through, %u of %u steps right", right, (unsigned)w->steps);
	for (unsigned i = 0; i < w->steps; i++) {
		const json_t *step = json_array_get(steps, i);
		const char *other = pw_body_word(step, "other");

		if (w->step[i].result != PW_WIRING_RIGHT)
			pw_put(t->o, ", %s to %d %s%s%s", pw_body_word(step, "line"),
			       w->step[i].level, pw_body_word(step, "result"), other[0] ? " with " : "",
			       other);
	}
	say_by(t, n->of.setup.who, "");
	if (n->of.setup.policy[0] != '\0')
		pw_put(t->o, "; policy %.12s", n->of.setup.policy);
}

static void say_pin(const struct told *t, const struct pw_note *n)
{
	if (n->of.pin.role == PW_NOBODY)
		pw_put(t->o, "a form was %s", n->of.pin.accepted ? "accepted" : "turned away");
	else
		pw_put(t->o, "PIN of the %s %s", pw_role_name(n->of.pin.role),
		       n->of.pin.accepted ? "accepted" : "refused");
	if (n->of.pin.tries > 1)
		pw_put(t->o, ", %" PRIu32 " times", n->of.pin.tries);
	say_by(t, "", n->of.pin.why);
}

static bool say_told(const struct told *t)
{
	static void (*const say[PW_KINDS])(const struct told *, const struct pw_note *) = {
		[PW_K_PROOF] = say_proof, [PW_K_FOUND] = say_found, [PW_K_REPORT] = say_report,
		[PW_K_SETUP] = say_setup, [PW_K_PIN] = say_pin,
	};
	struct pw_note n;

	if (pw_text_told(t->r->kind, t->r->body, t->r->wall_ms, &n))
		return say_any(t);
	say[t->r->kind](t, &n);
	return true;
}

static bool (*const say_kind[PW_KINDS])(const struct told *t) = {
	[PW_K_BOOT] = say_boot,       [PW_K_POLICY] = say_policy,   [PW_K_EDGES] = say_edges,
	[PW_K_LEVEL] = say_level,     [PW_K_SWEEP] = say_sweep,     [PW_K_RESTART] = say_restart,
	[PW_K_EXCUSED] = say_excused, [PW_K_RUNG] = say_rung,       [PW_K_FAULT] = say_fault,
	[PW_K_SERVICE] = say_service, [PW_K_CLOCK] = say_clock,     [PW_K_PROOF] = say_told,
	[PW_K_FOUND] = say_told,      [PW_K_SETUP] = say_told,      [PW_K_PIN] = say_told,
	[PW_K_LOST] = say_lost,       [PW_K_RECEIPT] = say_receipt, [PW_K_PRUNE] = say_prune,
	[PW_K_EPOCH] = say_epoch,     [PW_K_REPORT] = say_told,
};

void pw_put_record(struct pw_saying *o, const struct pw_record *r, uint8_t inputs)
{
	json_t *body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);
	const struct told t = { .o = o, .r = r, .body = body, .inputs = inputs };
	size_t begin = o->n;

	if (!json_is_object(body) || !say_kind[r->kind](&t)) {
		o->n = begin;
		pw_put(o, "not understood: %.300s", r->body);
	}
	json_decref(body);
}
