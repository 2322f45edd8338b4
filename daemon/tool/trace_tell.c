/* SPDX-License-Identifier: Apache-2.0 */
/* What is told of a stretch of starts: its lines as a trace, or its records as replay has them. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "source_internal.h"
#include "trace_internal.h"

#define SERVICE PW_INPUTS /* stands after the lines of its moment */

/* -- the lines of a trace ---------------------------------------------------------------------- */

/* A moment on the trace's axis begins a line. */
static int say_moment(struct pw_telling *t, int64_t at_ms)
{
	if (at_ms < t->last_ms)
		return pw_trace_bad(t, "times that do not go back since the start before");
	t->last_ms = at_ms;
	fprintf(t->out, "%" PRId64 ".%03d", at_ms / 1000, (int)(at_ms % 1000));
	return 0;
}

static void say_level(struct pw_telling *t, unsigned line, unsigned level)
{
	fprintf(t->out, " %s=%u", t->policy.line[line].name, level);
}

static int by_moment(const void *a, const void *b)
{
	const struct pw_item *x = a, *y = b;

	if (x->at_ms != y->at_ms)
		return x->at_ms < y->at_ms ? -1 : 1;
	if (x->line != y->line)
		return x->line < y->line ? -1 : 1;
	return x->n < y->n ? -1 : x->n > y->n;
}

static int say_item(struct pw_telling *t, const struct pw_item *i)
{
	const char *name = i->line == SERVICE ? "" : t->policy.line[i->line].name;
	uint8_t bit = (uint8_t)(1u << i->line);

	if (i->line != SERVICE && !t->policy.line[i->line].configured) {
		pw_trace_warn("an edge of %s is left out: the policy does not have that line",
			      name);
		return 0;
	}
	if (i->line != SERVICE && ((t->levels & bit) != 0) == i->level) {
		pw_trace_warn("an edge of %s is left out: it was %u already", name, i->level);
		return 0;
	}
	if (say_moment(t, i->at_ms + t->offset_ms))
		return -1;
	if (i->line == SERVICE) {
		fprintf(t->out, " service=%s\n", i->level ? "on" : "off");
		return 0;
	}
	t->levels ^= bit;
	say_level(t, i->line, i->level);
	fputc('\n', t->out);
	return 0;
}

/* What the start in hand has gathered: a line's own list is in order, all of them are not. */
static int say_items(struct pw_telling *t)
{
	size_t count = t->items;

	t->items = 0;
	if (count > 0)
		qsort(t->item, count, sizeof(*t->item), by_moment);
	for (size_t i = 0; i < count; i++)
		if (say_item(t, &t->item[i]))
			return -1;
	return 0;
}

static int gather(struct pw_telling *t, int64_t at_ms, unsigned line, unsigned level)
{
	if (t->items == t->room) {
		size_t room = t->room ? t->room * 2 : 1024;
		struct pw_item *more = realloc(t->item, room * sizeof(*more));

		if (!more)
			return pw_trace_bad(t, "more memory than there is");
		t->item = more;
		t->room = room;
	}
	t->item[t->items] = (struct pw_item){ at_ms, (uint8_t)line, (uint8_t)level, t->items };
	t->items++;
	return 0;
}

/* -- records, as they come --------------------------------------------------------------------- */

/* Where this start lies on the axis. */
static int take_boot(struct pw_telling *t)
{
	int64_t cut_ms, old_cut_ms;

	if (t->r.seq == t->first) {
		t->zero_ms = t->r.mono_ms;
	} else {
		if (pw_body_int(t->body, "cut_ms", &cut_ms) ||
		    pw_body_int(t->body, "old_cut_ms", &old_cut_ms) || cut_ms > t->r.mono_ms)
			return pw_trace_bad(t, "cut_ms and old_cut_ms, a power cut on two clocks");
		t->cut_ms = old_cut_ms + t->offset_ms;
		t->offset_ms = t->cut_ms - cut_ms;
		if (t->cut_ms < 0 || t->cut_ms > PW_FAR_MS)
			return pw_trace_bad(t, "a power cut after the start before");
	}
	t->lost = strcmp(pw_body_word(t->body, "clock"), "lost") == 0;
	t->start = t->r.seq;
	return 0;
}

static void warn_dropped(const struct pw_telling *t, int64_t count)
{
	pw_trace_warn("%" PRId64 " records were dropped before seq %" PRIu64
		      ": the trace is not whole", count, t->r.seq);
}

static int line_boot(struct pw_telling *t)
{
	int64_t dropped = 0;

	if (t->r.seq != t->first && !t->begun)
		return pw_trace_bad(t, "levels for the start before this one");
	pw_body_int(t->body, "dropped", &dropped);
	if (dropped > 0)
		warn_dropped(t, dropped);
	t->begun = false;
	return say_items(t) || take_boot(t) ? -1 : 0;
}

static int line_level(struct pw_telling *t)
{
	const json_t *levels = json_object_get(t->body, "levels");
	bool first = t->start == t->first;
	int64_t level;

	if (t->begun)
		return pw_trace_bad(t, "levels once a start");
	if (!first) {
		if (say_moment(t, t->cut_ms))
			return -1;
		fputs(" power=cut\n", t->out);
	}
	if (say_moment(t, t->r.mono_ms + t->offset_ms))
		return -1;
	if (!first)
		fprintf(t->out, " power=on%s", t->lost ? " clock=lost" : "");
	t->levels = 0;
	for (unsigned i = 0; i < PW_INPUTS; i++) {
		if (!t->policy.line[i].configured)
			continue;
		if (pw_body_int(levels, t->policy.line[i].name, &level) || level < 0 || level > 1)
			return pw_trace_bad(t, "a level of 0 or 1 for each line of the policy");
		say_level(t, i, (unsigned)level);
		t->levels |= (uint8_t)(level << i);
	}
	fputc('\n', t->out);
	t->begun = true;
	return 0;
}

static int line_edges(struct pw_telling *t)
{
	const char *name = pw_body_word(t->body, "line");
	const json_t *at = json_object_get(t->body, "at_ms"), *one;
	int line = pw_input_find(name, strlen(name));
	int64_t from;
	size_t i;

	if (line < 0 || !json_is_array(at) || pw_body_int(t->body, "from", &from) || from < 0 ||
	    from > 1)
		return pw_trace_bad(t, "line, from and at_ms, the edges of one line");
	json_array_foreach(at, i, one) {
		int64_t at_ms = json_is_integer(one) ? json_integer_value(one) : -1;

		if (at_ms < 0 || at_ms > PW_FAR_MS)
			return pw_trace_bad(t, "milliseconds in at_ms");
		if (gather(t, at_ms, (unsigned)line, (unsigned)from ^ (i % 2 == 0)))
			return -1;
	}
	return 0;
}

static int line_service(struct pw_telling *t)
{
	bool on;

	if (!pw_body_bool(t->body, "on", &on))
		return pw_trace_bad(t, "on, true or false");
	return gather(t, t->r.mono_ms, SERVICE, on);
}

static int line_lost(struct pw_telling *t)
{
	int64_t count = 0;

	pw_body_int(t->body, "count", &count);
	warn_dropped(t, count);
	return 0;
}

/* -- the records themselves, as replay prints them --------------------------------------------- */

static int say_effect(struct pw_telling *t, const struct pw_effect *e)
{
	char text[PW_BODY_MAX];

	if (pw_text_effect(e, &t->policy, text, sizeof(text)) <= 0)
		return pw_trace_bad(t, "a record that fits a line");
	fprintf(t->out, "%s\n", text);
	return 0;
}

static void move(int64_t *ms, int64_t offset_ms)
{
	if (*ms != PW_NO_TIME)
		*ms += offset_ms;
}

static void move_sweep(struct pw_sweep *s, int64_t offset_ms)
{
	move(&s->t0_ms, offset_ms);
	move(&s->press_ms, offset_ms);
	move(&s->exit_ms, offset_ms);
	move(&s->closed_ms, offset_ms);
	for (uint32_t i = 0; i < s->refused && i < PW_REFUSALS_MAX; i++)
		move(&s->refusal[i].at_ms, offset_ms);
}

static bool find_rung(const struct pw_policy *p, const char *name, enum pw_signal *rung)
{
	for (*rung = PW_PROMPT; *rung < PW_LADDER + p->rungs; ++*rung)
		if (strcmp(p->signal[*rung].name, name) == 0)
			return true;
	return false;
}

static int record_sweep(struct pw_telling *t)
{
	struct pw_sweep sweep;
	char rung[PW_NAME_MAX];

	if (pw_text_sweep(t->r.body, &sweep, rung))
		return pw_trace_bad(t, "the fields of a sweep");
	if (!find_rung(&t->policy, rung, &sweep.rung))
		return pw_trace_bad(t, "a rung of the policy");
	move_sweep(&sweep, t->offset_ms);
	if (sweep.t0_ms < t->zero_ms) /* carried over from before this stretch */
		return 0;
	return say_effect(t, &(struct pw_effect){ .kind = PW_E_SWEEP, .sweep = &sweep });
}

static int record_restart(struct pw_telling *t)
{
	struct pw_effect e = { .kind = PW_E_RESTART };

	if (pw_body_int(t->body, "key_off_ms", &e.t0_ms) ||
	    pw_body_int(t->body, "at_ms", &e.edge_ms))
		return pw_trace_bad(t, "key_off_ms and at_ms");
	e.t0_ms += t->offset_ms;
	e.edge_ms += t->offset_ms;
	return e.t0_ms < t->zero_ms ? 0 : say_effect(t, &e);
}

static int record_excused(struct pw_telling *t)
{
	struct pw_effect e = { .kind = PW_E_EXCUSED };

	if (pw_body_int(t->body, "at_ms", &e.edge_ms))
		return pw_trace_bad(t, "at_ms");
	e.edge_ms += t->offset_ms;
	return say_effect(t, &e);
}

/* Only the rules' own: a trace cannot bring back what befell the board or the disk. */
static int record_fault(struct pw_telling *t)
{
	struct pw_effect e = { .kind = PW_E_FAULT };
	const char *name = pw_body_word(t->body, "name");

	for (e.fault = PW_BUTTON_HELD; e.fault <= PW_BUTTON_CONTACTS; e.fault++)
		if (strcmp(pw_fault_name(e.fault), name) == 0)
			break;
	if (e.fault > PW_BUTTON_CONTACTS)
		return 0;
	if (!pw_body_bool(t->body, "on", &e.on) || pw_body_int(t->body, "at_ms", &e.at_ms))
		return pw_trace_bad(t, "on, true or false, and at_ms");
	e.at_ms += t->offset_ms;
	return say_effect(t, &e);
}

typedef int take_record(struct pw_telling *t);

static take_record *const trace_lines[PW_KINDS] = {
	[PW_K_BOOT] = line_boot,       [PW_K_LEVEL] = line_level, [PW_K_EDGES] = line_edges,
	[PW_K_SERVICE] = line_service, [PW_K_LOST] = line_lost,
};

static take_record *const replay_records[PW_KINDS] = {
	[PW_K_BOOT] = take_boot,         [PW_K_SWEEP] = record_sweep,
	[PW_K_RESTART] = record_restart, [PW_K_EXCUSED] = record_excused,
	[PW_K_FAULT] = record_fault,
};

static int tell_end(struct pw_telling *t)
{
	if (say_items(t))
		return -1;
	if (!t->begun)
		pw_trace_warn("the start at seq %" PRIu64 " has no levels: it is left out",
			      t->start);
	if (t->end_ms < 0)
		return pw_trace_bad(t, "levels at power-on");
	if (say_moment(t, t->end_ms > t->last_ms ? t->end_ms : t->last_ms))
		return -1;
	fputs(" end\n", t->out);
	return 0;
}

int pw_trace_tell(struct pw_telling *t, struct pw_journal *j, const struct pw_stretch *s,
		  enum pw_told what)
{
	take_record *const *take = what == PW_TOLD_LINES ? trace_lines : replay_records;
	int got;

	t->first = s->first;
	t->r.seq = s->first - 1;
	t->last_ms = t->end_ms = -1;
	while ((got = pw_trace_record(t, j, s->last)) == 1) {
		if (take[t->r.kind] && take[t->r.kind](t))
			return -1;
		if (t->begun && t->r.mono_ms + t->offset_ms > t->end_ms)
			t->end_ms = t->r.mono_ms + t->offset_ms;
	}
	return got == 0 && what == PW_TOLD_LINES ? tell_end(t) : got;
}
