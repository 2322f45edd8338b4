/* SPDX-License-Identifier: Apache-2.0 */
/* What needs a person this morning, in the order of urgency; then what the office cannot know. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "morning.h"
#include "rows.h"
#include "tell_internal.h"
#include "zone.h"

#define WORDS_MAX 160

struct telling {
	struct pw_asked *q;
	struct pw_report *r;
	struct pw_morning m;
	struct pw_silence_look silent;
	int32_t yesterday;
};

/* -- lists, cut -------------------------------------------------------------------------------- */

/* How many rows of that table: all of them in a file, or where the address asks for it. */
static size_t cut(const struct telling *t, const char *table, size_t count)
{
	if (t->q->whole || strcmp(pw_asked_value(t->q, "all"), table) == 0)
		return count;
	return count < PW_MORNING_LIST ? count : PW_MORNING_LIST;
}

static void end_list(struct pw_table *table, const char *name, size_t shown, size_t count,
		     enum pw_phrase none)
{
	char href[64];

	snprintf(href, sizeof(href), "/?all=%s", name);
	if (shown < count)
		pw_table_more(table, href);
	pw_table_none(table, none);
}

static void put_bus(struct pw_table *table, const char *bus)
{
	char at[3 * PW_NAME_MAX] = "";

	pw_address_add(at, sizeof(at), bus);
	pw_cell_put_text(table, bus);
	pw_cell_link(table, "/sweeps?bus=%s", at);
}

/* -- the answer -------------------------------------------------------------------------------- */

struct sentence {
	struct telling *t;
	FILE *out;
	bool begun;
};

static void add_part(struct sentence *s, enum pw_phrase phrase, uint64_t count)
{
	struct pw_report *r = s->t->r;
	const char *const fill[] = { pw_report_count(r, (int64_t)count), NULL };

	if (count == 0)
		return;
	fputs(s->begun ? "; " : "", s->out);
	s->begun = true;
	pw_phrase_fill(s->out, pw_phrase_count(pw_report_tongue(r), phrase, (int64_t)count), fill);
}

static void add_parts(struct sentence *s)
{
	const struct pw_morning *m = &s->t->m;

	add_part(s, PW_P_MORNING_N_ALERTS, m->alerts);
	add_part(s, PW_P_MORNING_N_MISSED, m->missed);
	add_part(s, PW_P_MORNING_N_DOUBTFUL, m->doubtful);
	add_part(s, PW_P_MORNING_N_LOST, m->lost_more ? m->unrecorded : m->losts);
	add_part(s, PW_P_MORNING_N_SILENT, s->t->silent.count);
	add_part(s, PW_P_MORNING_N_FAULTS, m->faults);
	add_part(s, PW_P_MORNING_N_MUTED, m->muteds);
	add_part(s, PW_P_MORNING_N_CLOCKS, m->clocks);
	add_part(s, PW_P_MORNING_N_MATTERS, m->matters - m->alerts);
}

static int tell_lead(struct telling *t)
{
	const char *since = pw_report_day(t->r, t->m.since);
	struct sentence s = { .t = t };
	char *text = NULL;
	size_t length;

	s.out = open_memstream(&text, &length);
	if (!s.out)
		return -1;
	add_parts(&s);
	if (fclose(s.out)) {
		free(text);
		return -1;
	}
	pw_report_say(t->r, PW_SAY_TITLE, PW_P_MORNING, NULL);
	if (s.begun)
		pw_report_say(t->r, PW_SAY_LEAD, PW_P_MORNING_SINCE, since, text, NULL);
	else
		pw_report_say(t->r, PW_SAY_LEAD, PW_P_MORNING_CALM, since, NULL);
	free(text);
	return 0;
}

/* -- matters ----------------------------------------------------------------------------------- */

static const enum pw_phrase next_of[PW_MATTERS] = {
	[PW_MATTER_RUNG] = PW_P_MORNING_NEXT_RUNG, [PW_MATTER_CHILD] = PW_P_MORNING_NEXT_CHILD,
	[PW_MATTER_FORK] = PW_P_MORNING_NEXT_FORK, [PW_MATTER_JOURNAL] = PW_P_MORNING_NEXT_JOURNAL,
	[PW_MATTER_HOLE] = PW_P_MORNING_NEXT_HOLE, [PW_MATTER_KEY] = PW_P_MORNING_NEXT_KEY,
	[PW_MATTER_REFUSED] = PW_P_MORNING_NEXT_REFUSED,
	[PW_MATTER_CLOCK] = PW_P_MORNING_NEXT_CLOCK,
};

static void tell_matter(struct telling *t, struct pw_table *table, const struct pw_matter *m)
{
	pw_cell_put_count(table, (int64_t)m->id);
	if (t->q->role >= PW_MAY_ACT)
		pw_cell_link(table, "/?matter=%" PRIu64 "#take", m->id);
	pw_cell_put_word(table, pw_phrase_find(pw_matter_name(m->kind)));
	put_bus(table, m->bus);
	pw_cell_put_word(table, next_of[m->kind]);
	pw_cell_put_time(table, m->at_ms > 0 ? m->at_ms : PW_NO_TIME);
	pw_cell_put_time(table, m->came_ms);
	pw_cell_put_text(table, m->words);
	if (pw_tell_urgent(m->kind))
		pw_row_mark(table, PW_P_MISSED);
}

static void tell_matters(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "matter", PW_P_MORNING_MATTER, PW_COL_COUNT, 0, false },
		{ "kind", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "next", PW_P_COL_NEXT, PW_COL_WORD, 0, false },
		{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
		{ "came", PW_P_MORNING_CAME, PW_COL_MOMENT, 0, true },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "matters", PW_P_MORNING_MATTERS, columns);
	const size_t shown = cut(t, "matters", t->m.matters);

	for (size_t i = 0; i < shown; i++)
		tell_matter(t, table, &t->m.matter[i]);
	end_list(table, "matters", shown, t->m.matters, PW_P_MORNING_MATTERS_NONE);
}

static void offer(struct telling *t, const struct pw_matter *m, const char *chosen)
{
	char id[24], label[128];

	snprintf(id, sizeof(id), "%" PRIu64, m->id);
	snprintf(label, sizeof(label), "%s: %s, %s", id,
		 pw_phrase(pw_report_tongue(t->r), pw_phrase_find(pw_matter_name(m->kind))), m->bus);
	pw_report_choice_text(t->r, id, label, strcmp(id, chosen) == 0);
}

static void tell_taking(struct telling *t)
{
	const char *chosen = pw_asked_value(t->q, "matter");
	const size_t matters = cut(t, "matters", t->m.matters), clocks = cut(t, "clocks", t->m.clocks);

	if (t->q->role < PW_MAY_ACT || matters + clocks == 0)
		return;
	pw_report_say(t->r, PW_SAY_HEADING, PW_P_MORNING_TAKE, NULL);
	pw_report_form(t->r, "/", false);
	pw_report_field(t->r, PW_FIELD_CHOICE, "matter", PW_P_MORNING_MATTER, NULL, true);
	for (size_t i = 0; i < matters; i++)
		offer(t, &t->m.matter[i], chosen);
	for (size_t i = 0; i < clocks; i++)
		offer(t, &t->m.clock[i], chosen);
	pw_report_field(t->r, PW_FIELD_WORDS, "words", PW_P_MORNING_TAKE_WORDS,
			pw_asked_value(t->q, "words"), true);
	pw_report_form_end(t->r, PW_P_MORNING_TAKE_IT);
}

/* -- sweeps and runs --------------------------------------------------------------------------- */

static void put_row_link(struct pw_table *table, const struct pw_audit_row *row)
{
	char address[PW_ROW_ADDRESS];

	pw_row_address(&row->key, address);
	pw_cell_put_time(table, row->at_ms);
	pw_cell_link(table, "%s", address);
}

static enum pw_phrase result_of(const struct pw_audit_row *row)
{
	if (row->corrected)
		return pw_phrase_find(pw_result_name(row->corrected));
	return row->verdict == PW_MISSED ? PW_P_MISSED : PW_P_DOUBTFUL;
}

static void tell_bad(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "key_off", PW_P_COL_KEY_OFF, PW_COL_MOMENT, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false },
		{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
		{ "result", PW_P_COL_RESULT, PW_COL_WORD, 0, false },
		{ "rung", PW_P_COL_RUNG, PW_COL_WORD, 0, false },
		{ "findings", PW_P_COL_FINDINGS, PW_COL_WORD, 0, false },
		{ "unchecked", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "sweeps", PW_P_MORNING_BAD, columns);
	const size_t shown = cut(t, "sweeps", t->m.bads);

	for (size_t i = 0; i < shown; i++) {
		const struct pw_audit_row *row = &t->m.bad[i];
		char findings[PW_ROW_FINDINGS];

		put_row_link(table, row);
		put_bus(table, row->key.bus);
		pw_cell_put_text(table, row->route);
		pw_cell_put_text(table, row->key.run);
		pw_cell_put_word(table, result_of(row));
		pw_cell_put_words(table, row->rung);
		pw_cell_put_words(table, pw_row_findings(row->findings, findings));
		pw_cell_put_time(table, row->unchecked_ms);
		pw_row_mark(table, result_of(row));
	}
	end_list(table, "sweeps", shown, t->m.bads, PW_P_MORNING_BAD_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_BAD_NEXT, NULL);
}

static void tell_lost(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "end", PW_P_MORNING_PLANNED_END, PW_COL_MOMENT, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false },
		{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
		{ "place", PW_P_COL_PLACE, PW_COL_TEXT, 0, false },
		{ "why", PW_P_COL_WHY, PW_COL_WORD, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "no_record", PW_P_MORNING_LOST, columns);
	const size_t shown = cut(t, "no_record", t->m.losts);

	for (size_t i = 0; i < shown; i++) {
		const struct pw_audit_row *row = &t->m.lost[i];

		put_row_link(table, row);
		put_bus(table, row->key.bus);
		pw_cell_put_text(table, row->route);
		pw_cell_put_text(table, row->key.run);
		pw_cell_put_text(table, row->place);
		pw_cell_put_word(table, pw_phrase_find(pw_no_record_name(row->why)));
		pw_row_mark(table, PW_P_NO_RECORD);
	}
	end_list(table, "no_record", shown, t->m.losts, PW_P_MORNING_LOST_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_LOST_NEXT, NULL);
}

/* -- buses, signals, clocks -------------------------------------------------------------------- */

static void tell_silent(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "heard", PW_P_MORNING_LAST_HEARD, PW_COL_MOMENT, 0, false },
		{ "enrolled", PW_P_MORNING_ENROLLED, PW_COL_MOMENT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "silent", PW_P_MORNING_SILENT, columns);
	const size_t shown = cut(t, "silent", t->silent.count);

	for (size_t i = 0; i < shown; i++) {
		const struct pw_silent *bus = &t->silent.list[i];

		put_bus(table, bus->bus);
		pw_cell_put_time(table, bus->heard_ms ? bus->heard_ms : PW_NO_TIME);
		pw_cell_put_time(table, bus->enrolled_ms);
	}
	end_list(table, "silent", shown, t->silent.count, PW_P_MORNING_SILENT_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_SILENT_NEXT, NULL);
}

static void tell_faults(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "fault", PW_P_MORNING_FAULT, PW_COL_WORD, 0, false },
		{ "since", PW_P_MORNING_STANDS_SINCE, PW_COL_MOMENT, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "faults", PW_P_MORNING_FAULTS, columns);
	const size_t shown = cut(t, "faults", t->m.faults);

	for (size_t i = 0; i < shown; i++) {
		const struct pw_morning_fault *f = &t->m.fault[i];

		put_bus(table, f->bus);
		pw_cell_put_words(table, f->is.name);
		pw_cell_put_time(table, f->is.since_ms);
		pw_cell_put_text(table, f->is.words);
	}
	end_list(table, "faults", shown, t->m.faults, PW_P_MORNING_FAULTS_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_FAULTS_NEXT, NULL);
}

static void tell_muted(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "since", PW_P_MORNING_STANDS_SINCE, PW_COL_MOMENT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "muted", PW_P_MORNING_MUTED, columns);
	const size_t shown = cut(t, "muted", t->m.muteds);

	for (size_t i = 0; i < shown; i++) {
		put_bus(table, t->m.muted[i].bus);
		pw_cell_put_time(table, t->m.muted[i].is.since_ms);
	}
	end_list(table, "muted", shown, t->m.muteds, PW_P_MORNING_MUTED_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_MUTED_NEXT, NULL);
}

static void tell_clocks(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "matter", PW_P_MORNING_MATTER, PW_COL_COUNT, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "since", PW_P_MORNING_STANDS_SINCE, PW_COL_MOMENT, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(t->r, "clocks", PW_P_MORNING_CLOCKS, columns);
	const size_t shown = cut(t, "clocks", t->m.clocks);

	for (size_t i = 0; i < shown; i++) {
		const struct pw_matter *m = &t->m.clock[i];

		pw_cell_put_count(table, (int64_t)m->id);
		if (t->q->role >= PW_MAY_ACT)
			pw_cell_link(table, "/?matter=%" PRIu64 "#take", m->id);
		put_bus(table, m->bus);
		pw_cell_put_time(table, m->came_ms);
		pw_cell_put_text(table, m->words);
	}
	end_list(table, "clocks", shown, t->m.clocks, PW_P_MORNING_CLOCKS_NONE);
	if (shown > 0)
		pw_report_say(t->r, PW_SAY_NEXT, PW_P_MORNING_CLOCKS_NEXT, NULL);
}

/* -- would we know? ---------------------------------------------------------------------------- */

static void tell_runs_known(struct telling *t)
{
	const uint64_t over = t->m.over, lost = t->m.unrecorded;
	const char *since = pw_report_day(t->r, t->m.since);
	const char *all = pw_report_count(t->r, (int64_t)over);

	if (t->m.planned == 0)
		pw_report_say(t->r, PW_SAY_ALARM, PW_P_MORNING_KNOW_NO_PLAN, since, NULL);
	else if (lost > 0)
		pw_report_say(t->r, PW_SAY_TEXT, PW_P_MORNING_KNOW_RUNS, all, since,
			      pw_report_count(t->r, (int64_t)(over - lost)),
			      pw_report_count(t->r, (int64_t)lost), NULL);
	else
		pw_report_say(t->r, PW_SAY_TEXT, PW_P_MORNING_KNOW_ALL, all, since, NULL);
	pw_report_link(t->r, "/runs", PW_P_MORNING_TO_RUNS);
}

static void tell_known(struct telling *t)
{
	pw_report_say(t->r, PW_SAY_HEADING, PW_P_MORNING_KNOW, NULL);
	tell_runs_known(t);
	pw_report_say(t->r, PW_SAY_TEXT, PW_P_MORNING_KNOW_BUSES,
		      pw_report_count(t->r, (int64_t)t->silent.heard),
		      pw_report_count(t->r, (int64_t)t->silent.buses),
		      pw_report_day(t->r, t->yesterday), NULL);
	if (t->m.faults > 0)
		pw_report_say(t->r, PW_SAY_TEXT, PW_P_MORNING_KNOW_FAULTS, NULL);
	pw_report_say(t->r, PW_SAY_CAUTION, PW_P_MORNING_KNOW_UNSEEN, NULL);
	tell_lost(t);
	tell_silent(t);
	tell_faults(t);
	tell_muted(t);
	tell_clocks(t);
}

static int gather(struct telling *t)
{
	int result = pw_asked_desk(t->q, pw_morning_work, &t->m);

	while (result == 0 && (t->silent.list == NULL || t->silent.more))
		result = pw_asked_desk(t->q, pw_silence_work, &t->silent);
	return result;
}

int pw_morning_get(struct pw_asked *q, struct pw_report *r)
{
	const int32_t yesterday = pw_date_from(pw_date_days(q->today) - 1);
	struct telling t = {
		.q = q, .r = r, .yesterday = yesterday,
		.m = { .today = q->today, .now_ms = q->now_ms },
		.silent = { .of = q->o->silence, .upto = yesterday, .now_ms = q->now_ms },
	};
	int result = gather(&t);

	if (result == 0)
		result = tell_lead(&t);
	if (result == 0) {
		tell_matters(&t);
		tell_taking(&t);
		tell_bad(&t);
		tell_known(&t);
	}
	pw_morning_free(&t.m);
	free(t.silent.list);
	return result;
}

/* -- a matter is taken ------------------------------------------------------------------------- */

struct taking {
	struct pw_asked *q;
	uint64_t id;
	const char *words;
	struct pw_matter matter;
	int took;
};

static int work_take(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct taking *t = ctx;

	t->took = pw_store_matter_take(s, t->id, t->q->who, t->words, t->q->now_ms, &t->matter, why,
				       size);
	if (t->took != 1)
		return t->took < 0 ? t->took : 0;
	return pw_asked_log(t->q, s, why, size, "took matter %" PRIu64 ": %.160s", t->id, t->words);
}

static bool are_words(const char *words)
{
	return words[0] != '\0' && strlen(words) <= WORDS_MAX && !strpbrk(words, "\n\r\t");
}

static int say_taken(struct pw_asked *q, const char *id)
{
	const char *const fill[] = { id, q->who, NULL };
	FILE *out = fmemopen(q->said, sizeof(q->said), "w");

	if (!out)
		return -1;
	pw_phrase_fill(out, pw_phrase(q->tongue, PW_P_MORNING_TOOK), fill);
	fclose(out);
	snprintf(q->then, sizeof(q->then), "/");
	return 0;
}

int pw_morning_post(struct pw_asked *q)
{
	const char *id = pw_asked_value(q, "matter");
	struct taking t = { .q = q, .words = pw_asked_value(q, "words") };
	char *end;
	int result;

	t.id = strtoull(id, &end, 10);
	if (*id < '1' || *id > '9' || *end != '\0' || strlen(id) > 18)
		return pw_asked_wrong(q, "matter", PW_P_MORNING_NO_MATTER, NULL);
	if (!are_words(t.words))
		return pw_asked_wrong(q, "words", PW_P_MORNING_NO_WORDS, NULL);
	result = pw_asked_desk(q, work_take, &t);
	if (result < 0)
		return result;
	if (t.took == 0 && t.matter.id == 0)
		return pw_asked_wrong(q, "matter", PW_P_MORNING_NO_MATTER, NULL);
	if (t.took == 0)
		return pw_asked_wrong(q, "matter", PW_P_MORNING_TAKEN_BEFORE, t.matter.taken_by);
	if (q->o->teller)
		pw_teller_wake(q->o->teller);
	return say_taken(q, id);
}
