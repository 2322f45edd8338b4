/* SPDX-License-Identifier: Apache-2.0 */
/* What was planned in some days, and what became of it; run sheets that are brought. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "import.h"
#include "match.h"
#include "intake_internal.h"
#include "sweeps.h"
#include "zone.h"

#define IMPORTS_SHOWN 10
#define LINES_SHOWN 200
#define PLANNED (1u << PW_RESULT_WALKED | 1u << PW_RESULT_LATE | 1u << PW_RESULT_DOUBTFUL           \
		 | 1u << PW_RESULT_MISSED | 1u << PW_RESULT_NO_RECORD | 1u << PW_RESULT_NOT_YET)

struct telling {
	struct pw_asked *q;
	struct pw_report *r;
	struct pw_audit_filter filter;
	struct pw_tally sum;
	bool summed;                  /* of a route there are no counts by the day */
	struct pw_audit_key behind;   /* bus "": from the beginning */
	struct pw_table *table;
	struct pw_audit_key last;
	size_t rows;
};

/* -- what is asked ----------------------------------------------------------------------------- */

static enum pw_result read_result(const char *name)
{
	for (enum pw_result i = 1; i < PW_RESULTS; i++)
		if (strcmp(name, pw_result_name(i)) == 0)
			return i;
	return PW_RESULT_NONE;
}

static int read_days(struct pw_asked *q, struct pw_audit_filter *f)
{
	const int32_t from = pw_asked_day(q, "from"), to = pw_asked_day(q, "to");

	f->from = from ? from : pw_date_from(pw_date_days(q->today) - 1);
	f->to = to ? to : from > q->today ? from : q->today;
	if (from == 0 && to > 0 && to < f->from)
		f->from = to;
	if (from < 0 || to < 0 || f->from > f->to)
		return pw_asked_wrong(q, from < 0 ? "from" : "to", PW_P_RUNS_WRONG_DAYS, NULL);
	return 0;
}

static int read_filter(struct telling *t)
{
	struct pw_asked *q = t->q;
	const char *result = pw_asked_value(q, "result");

	if (read_days(q, &t->filter))
		return 1;
	snprintf(t->filter.bus, sizeof(t->filter.bus), "%s", pw_asked_value(q, "bus"));
	snprintf(t->filter.route, sizeof(t->filter.route), "%s", pw_asked_value(q, "route"));
	t->filter.results = PLANNED;
	if (result[0] != '\0' && read_result(result) == PW_RESULT_NONE)
		return pw_asked_wrong(q, "result", PW_P_RUNS_WRONG_RESULT, NULL);
	if (result[0] != '\0')
		t->filter.results = 1u << read_result(result);
	if (pw_sweeps_behind(q, &t->behind) < 0)
		return pw_asked_wrong(q, "behind", PW_P_RUNS_WRONG_AFTER, NULL);
	return 0;
}

static void day_text(int32_t day, char text[16])
{
	snprintf(text, 16, "%04d-%02d-%02d", day / 10000 % 10000, day / 100 % 100, day % 100);
}

static void tell_filter(struct telling *t)
{
	static const enum pw_result offered[] = {
		PW_RESULT_MISSED, PW_RESULT_DOUBTFUL, PW_RESULT_NO_RECORD, PW_RESULT_LATE,
		PW_RESULT_WALKED, PW_RESULT_NOT_YET, PW_RESULT_UNPLANNED,
	};
	const enum pw_result chosen = read_result(pw_asked_value(t->q, "result"));
	char from[16], to[16];

	day_text(t->filter.from, from);
	day_text(t->filter.to, to);
	pw_report_form(t->r, "/runs", true);
	pw_report_field(t->r, PW_FIELD_DAY, "from", PW_P_COL_FROM, from, false);
	pw_report_field(t->r, PW_FIELD_DAY, "to", PW_P_COL_TO, to, false);
	pw_report_field(t->r, PW_FIELD_CODE, "bus", PW_P_COL_BUS, t->filter.bus, false);
	pw_report_field(t->r, PW_FIELD_TEXT, "route", PW_P_COL_ROUTE, t->filter.route, false);
	pw_report_field(t->r, PW_FIELD_CHOICE, "result", PW_P_COL_RESULT, NULL, false);
	pw_report_choice(t->r, "", PW_P_ANY, chosen == PW_RESULT_NONE);
	for (size_t i = 0; i < sizeof(offered) / sizeof(offered[0]); i++)
		pw_report_choice(t->r, pw_result_name(offered[i]),
				 pw_phrase_find(pw_result_name(offered[i])), chosen == offered[i]);
	pw_report_form_end(t->r, PW_P_SHOW);
}

/* -- counts ------------------------------------------------------------------------------------ */

static int add_up(void *ctx, const struct pw_tally *one)
{
	struct pw_tally *sum = ctx;

	sum->runs += one->runs;
	sum->sweeps += one->sweeps;
	sum->walked += one->walked;
	sum->late += one->late;
	sum->doubtful += one->doubtful;
	sum->missed += one->missed;
	sum->no_record += one->no_record;
	sum->silent += one->silent;
	sum->unplanned += one->unplanned;
	sum->corrected += one->corrected;
	return 0;
}

static int work_counts(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct telling *t = ctx;
	const struct pw_audit_filter *f = &t->filter;

	return pw_audit_tallies(s, f->bus[0] ? PW_BY_BUS : PW_BY_ALL, f->bus, f->from, f->to, add_up,
				&t->sum, why, size);
}

static void tell_lead(struct telling *t)
{
	const char *from = pw_report_day(t->r, t->filter.from);
	const char *to = pw_report_day(t->r, t->filter.to);

	pw_report_say(t->r, PW_SAY_TITLE, PW_P_RUNS, NULL);
	if (!t->summed)
		return;
	if (t->sum.runs == 0)
		pw_report_say(t->r, PW_SAY_LEAD, PW_P_RUNS_LEAD_NONE, from, to, NULL);
	else
		pw_report_say(t->r, PW_SAY_LEAD, PW_P_RUNS_LEAD, from, to,
			      pw_report_count(t->r, (int64_t)t->sum.runs),
			      pw_report_count(t->r, (int64_t)t->sum.no_record), NULL);
	pw_report_say(t->r, PW_SAY_CAUTION, PW_P_RUNS_UNSEEN, NULL);
}

static void tell_counts(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "what", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
		{ .name = NULL },
	};
	const struct pw_tally *sum = &t->sum;
	const struct { enum pw_phrase what; uint64_t count; } rows[] = {
		{ PW_P_RUNS_PLANNED, sum->runs }, { PW_P_RUNS_NO_RECORD, sum->no_record },
		{ PW_P_RUNS_SILENT, sum->silent }, { PW_P_RUNS_SWEEPS, sum->sweeps },
		{ PW_P_RUNS_WALKED, sum->walked }, { PW_P_RUNS_LATE, sum->late },
		{ PW_P_RUNS_DOUBTFUL, sum->doubtful }, { PW_P_RUNS_MISSED, sum->missed },
		{ PW_P_RUNS_UNPLANNED, sum->unplanned }, { PW_P_RUNS_CORRECTED, sum->corrected },
	};
	struct pw_table *table;

	if (!t->summed)
		return;
	table = pw_report_table(t->r, "counts", PW_P_RUNS_COUNTS, columns);
	for (size_t i = 0; i < sizeof(rows) / sizeof(rows[0]); i++) {
		pw_cell_put_word(table, rows[i].what);
		pw_cell_put_count(table, (int64_t)rows[i].count);
	}
}

/* -- rows -------------------------------------------------------------------------------------- */

static const char *reason_said(struct pw_report *r, const struct pw_audit_row *row)
{
	const char *stops = pw_report_count(r, row->stops);

	switch (row->reason) {
	case PW_REASON_NEAREST:
		return pw_report_phrase(r, PW_P_RUNS_NEAREST, stops, NULL);
	case PW_REASON_TOTAL:
		return pw_report_phrase(r, PW_P_RUNS_TOTAL, stops, NULL);
	default:
		return pw_report_phrase(r, PW_P_ONLY, NULL);
	}
}

/* As pw_match_words, in the reader's language. */
static const char *how_said(struct pw_report *r, const struct pw_audit_row *row)
{
	const char *off = pw_report_span(r, labs(row->off_s) * INT64_C(1000));

	if (row->result == PW_RESULT_NO_RECORD)
		return pw_report_phrase(r, pw_phrase_find(pw_no_record_name(row->why)), NULL);
	if (row->key.run[0] == '\0')
		return pw_report_phrase(r, PW_P_RUNS_NO_PLAN, NULL);
	if (row->reason == PW_REASON_NONE)
		return pw_report_phrase(r, PW_P_RUNS_NOT_OVER, NULL);
	if (row->off_s == 0)
		return pw_report_phrase(r, PW_P_RUNS_OFF_AT, reason_said(r, row), NULL);
	return pw_report_phrase(r, row->off_s > 0 ? PW_P_RUNS_OFF_AFTER : PW_P_RUNS_OFF_BEFORE, off,
				reason_said(r, row), NULL);
}

static enum pw_phrase result_word(enum pw_result result)
{
	return result ? pw_phrase_find(pw_result_name(result)) : PW_P_NONE;
}

static void put_correction(struct pw_table *table, const struct pw_audit_row *row)
{
	if (row->corrected == PW_RESULT_NONE) {
		for (int i = 0; i < 4; i++)
			pw_cell_put_none(table);
		return;
	}
	pw_cell_put_word(table, result_word(row->corrected));
	pw_cell_put_text(table, row->corrected_by);
	pw_cell_put_time(table, row->corrected_ms);
	pw_cell_put_text(table, row->corrected_words);
}

static int take_row(void *ctx, const struct pw_audit_row *row)
{
	struct telling *t = ctx;
	struct pw_table *table = t->table;
	char address[PW_ROW_ADDRESS];

	t->last = row->key;
	t->rows++;
	pw_row_address(&row->key, address);
	pw_cell_put_day(table, row->key.day);
	pw_cell_put_text(table, row->key.bus);
	pw_cell_put_text(table, row->key.run);
	pw_cell_link(table, "%s", address);
	pw_cell_put_text(table, row->route);
	pw_cell_put_text(table, row->place);
	pw_cell_put_time(table, row->begin_ms);
	pw_cell_put_time(table, row->end_ms);
	pw_cell_put_time(table, row->key_off_ms);
	pw_cell_put_word(table, result_word(row->result));
	pw_cell_put_words(table, row->result == PW_RESULT_NO_RECORD ? pw_no_record_name(row->why)
				 : row->reason ? pw_reason_name(row->reason) : "");
	pw_cell_put_text(table, how_said(t->r, row));
	put_correction(table, row);
	pw_row_mark(table, result_word(row->corrected ? row->corrected : row->result));
	return 0;
}

static int work_rows(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct telling *t = ctx;
	struct pw_audit_row behind;
	int result = 1;

	if (t->behind.bus[0] != '\0')
		result = pw_audit_row(s, &t->behind, &behind, why, size);
	if (result <= 0) /* gone meanwhile: nothing is behind it */
		return result;
	t->rows = 0;
	return pw_audit_rows(s, &t->filter, t->behind.bus[0] ? &behind : NULL, PW_AUDIT_PAGE,
			     take_row, t, why, size);
}

static void link_more(struct telling *t)
{
	char href[PW_SWEEPS_ADDRESS];

	pw_sweeps_address(t->q, &t->last, href);
	pw_table_more(t->table, href);
}

static int tell_rows(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "day", PW_P_COL_DAY, PW_COL_DAY, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
		{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false },
		{ "place", PW_P_COL_PLACE, PW_COL_TEXT, 0, true },
		{ "begin", PW_P_RUNS_BEGIN, PW_COL_MOMENT, 0, true },
		{ "end", PW_P_RUNS_END, PW_COL_MOMENT, 0, false },
		{ "key_off", PW_P_COL_KEY_OFF, PW_COL_MOMENT, 0, true },
		{ "result", PW_P_RUNS_MATCHED, PW_COL_WORD, 0, false },
		{ "why", PW_P_COL_WHY, PW_COL_WORD, 0, true },
		{ "how", PW_P_RUNS_HOW, PW_COL_TEXT, 0, false },
		{ "corrected", PW_P_RUNS_TO, PW_COL_WORD, 0, false },
		{ "corrected_by", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
		{ "corrected_at", PW_P_RUNS_TO_AT, PW_COL_MOMENT, 0, true },
		{ "corrected_words", PW_P_RUNS_TO_WORDS, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	int result;

	t->table = pw_report_table(t->r, "runs", PW_P_RUNS_ROWS, columns);
	do {
		result = pw_asked_desk(t->q, work_rows, t);
		t->behind = t->last;
	} while (result == 0 && t->q->whole && t->rows == PW_AUDIT_PAGE);
	if (result == 0 && t->rows == PW_AUDIT_PAGE)
		link_more(t);
	pw_table_none(t->table, PW_P_RUNS_ROWS_NONE);
	return result;
}

/* -- imports ----------------------------------------------------------------------------------- */

struct imports {
	struct pw_table *table;
	size_t most, count;
};

static int take_import(void *ctx, const struct pw_import *import)
{
	struct imports *i = ctx;

	if (i->count++ >= i->most)
		return 0;
	pw_cell_put_count(i->table, (int64_t)import->id);
	pw_cell_put_time(i->table, import->at_ms);
	pw_cell_put_text(i->table, import->who);
	pw_cell_put_text(i->table, import->file);
	pw_cell_put_count(i->table, import->taken);
	pw_cell_put_count(i->table, import->refused);
	pw_cell_put_text(i->table, import->hash);
	return 0;
}

static int work_imports(struct pw_store *s, void *ctx, char *why, size_t size)
{
	return pw_audit_imports(s, take_import, ctx, why, size);
}

static int tell_imports(struct telling *t)
{
	static const struct pw_column columns[] = {
		{ "import", PW_P_RUNS_IMPORT, PW_COL_COUNT, 0, false },
		{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
		{ "who", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
		{ "file", PW_P_RUNS_FILE, PW_COL_TEXT, 0, false },
		{ "taken", PW_P_RUNS_TAKEN, PW_COL_COUNT, 0, false },
		{ "refused", PW_P_RUNS_LEFT, PW_COL_COUNT, 0, false },
		{ "sha256", PW_P_RUNS_HASH, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	const bool all = t->q->whole || strcmp(pw_asked_value(t->q, "all"), "imports") == 0;
	struct imports i = { .most = all ? SIZE_MAX : IMPORTS_SHOWN };
	int result;

	i.table = pw_report_table(t->r, "imports", PW_P_RUNS_IMPORTS, columns);
	result = pw_asked_desk(t->q, work_imports, &i);
	if (i.count > i.most)
		pw_table_more(i.table, "/runs?all=imports");
	pw_table_none(i.table, PW_P_RUNS_IMPORTS_NONE);
	return result;
}

/* -- a sheet is brought ------------------------------------------------------------------------ */

static bool known(void *ctx, const char *bus)
{
	return pw_roll_has(ctx, bus);
}

static int read_sheet(const struct pw_asked *q, struct pw_importing **i, char *why, size_t size)
{
	const struct pw_import_from from = { .who = q->who, .zone = q->o->conf.zone,
					     .now_ms = q->now_ms, .known = known,
					     .ctx = q->o->roll };

	return pw_import_sheet(q->file, q->file_length, q->file_name, &from, i, why, size);
}

static void tell_lines(struct pw_report *r, const struct pw_importing *i)
{
	static const struct pw_column columns[] = {
		{ "line", PW_P_RUNS_LINE, PW_COL_COUNT, 0, false },
		{ "taken", PW_P_RUNS_IS_TAKEN, PW_COL_WORD, 0, false },
		{ "why", PW_P_COL_WHY, PW_COL_WORD, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ .name = NULL },
	};
	struct pw_table *table = pw_report_table(r, "lines", PW_P_RUNS_LINES, columns);

	for (size_t n = 0; n < i->sheet->notes && n < LINES_SHOWN; n++) {
		const struct pw_row_note *note = &i->sheet->note[n];

		pw_cell_put_count(table, note->line);
		pw_cell_put_word(table, note->taken ? PW_P_YES : PW_P_NO);
		pw_cell_put_word(table, pw_phrase_find(pw_row_name(note->why)));
		pw_cell_put_text(table, note->words);
	}
}

/* Where a sheet was turned down, what was read of it. */
static bool tell_account(struct telling *t)
{
	struct pw_importing *i;
	char why[320];

	if (t->q->wrong != PW_P_RUNS_NOT_TAKEN || !t->q->file ||
	    read_sheet(t->q, &i, why, sizeof(why)))
		return false;
	pw_report_say(t->r, PW_SAY_HEADING, PW_P_RUNS_ACCOUNT, NULL);
	pw_report_say(t->r, PW_SAY_ALARM, PW_P_RUNS_ACCOUNT_LEAD, i->import.file,
		      pw_report_count(t->r, i->import.taken),
		      pw_report_count(t->r, i->import.refused), NULL);
	tell_lines(t->r, i);
	pw_importing_free(i);
	return true;
}

static void tell_bringing(struct telling *t)
{
	bool refused;

	if (t->q->role < PW_MAY_ACT)
		return;
	refused = tell_account(t);
	pw_report_say(t->r, PW_SAY_HEADING, PW_P_RUNS_BRING, NULL);
	pw_report_say(t->r, PW_SAY_TEXT, PW_P_RUNS_BRING_TEXT, NULL);
	pw_report_form(t->r, "/runs", false);
	pw_report_field(t->r, PW_FIELD_FILE, "sheet", PW_P_RUNS_SHEET, NULL, true);
	if (refused)
		pw_report_field(t->r, PW_FIELD_TICK, "partly", PW_P_RUNS_PARTLY, NULL, false);
	pw_report_form_end(t->r, PW_P_RUNS_SEND);
}

/* As many are taken; and what was assumed, as far as there is room. */
static int say_done(struct pw_asked *q, const struct pw_importing *i)
{
	char taken[16], refused[16], line[16], first[16], last[16];
	const char *const done[] = { i->import.file, taken, refused, NULL };
	FILE *out = fmemopen(q->said, sizeof(q->said) - 1, "w");

	if (!out)
		return -1;
	snprintf(taken, sizeof(taken), "%" PRIu32, i->import.taken);
	snprintf(refused, sizeof(refused), "%" PRIu32, i->import.refused);
	pw_phrase_fill(out, pw_phrase(q->tongue, PW_P_RUNS_DONE), done);
	for (size_t n = 0; n < i->sheet->notes && n < 4; n++) {
		const struct pw_row_note *note = &i->sheet->note[n];
		const char *const fill[] = {
			line, pw_phrase(q->tongue, pw_phrase_find(pw_row_name(note->why))), NULL,
		};

		snprintf(line, sizeof(line), "%" PRIu32, note->line);
		fputc(' ', out);
		pw_phrase_fill(out, pw_phrase(q->tongue, PW_P_RUNS_REMARK), fill);
	}
	fclose(out);
	day_text(i->first, first);
	day_text(i->last, last);
	snprintf(q->then, sizeof(q->then), "/runs?from=%s&to=%s", first, last);
	return 0;
}

static int take_sheet(struct pw_asked *q, struct pw_importing *i)
{
	char why[240];
	int result;

	if (i->import.refused > 0 && strcmp(pw_asked_value(q, "partly"), "1") != 0)
		return pw_asked_wrong(q, "sheet", PW_P_RUNS_NOT_TAKEN, NULL);
	if (i->import.taken == 0)
		return pw_asked_wrong(q, "sheet", PW_P_RUNS_NO_RUNS, NULL);
	result = pw_desk_do_alone(q->o->desk, pw_import_work, i, why, sizeof(why));
	if (result < 0)
		pw_office_say("page %s: %s", q->leaf->path, why);
	return result < 0 ? result : say_done(q, i);
}

int pw_runs_post(struct pw_asked *q)
{
	struct pw_importing *i = NULL;
	char why[320];
	int result;

	if (!q->file)
		return pw_asked_wrong(q, "sheet", PW_P_RUNS_NO_FILE, NULL);
	result = read_sheet(q, &i, why, sizeof(why));
	if (result == -2)
		return pw_asked_wrong(q, "sheet", PW_P_RUNS_NO_SHEET, why);
	if (result < 0)
		pw_office_say("page %s: %s", q->leaf->path, why);
	else
		result = take_sheet(q, i);
	pw_importing_free(i);
	return result;
}

int pw_runs_get(struct pw_asked *q, struct pw_report *r)
{
	struct telling t = { .q = q, .r = r };
	const bool turned_down = q->wrong != PW_P_NONE; /* a sheet: its account comes first */
	const int wrong = read_filter(&t);
	int result = 0;

	if (wrong)
		return wrong;
	t.summed = t.filter.route[0] == '\0';
	if (t.summed)
		result = pw_asked_desk(q, work_counts, &t);
	if (result == 0) {
		tell_lead(&t);
		if (turned_down)
			tell_bringing(&t);
		tell_filter(&t);
		tell_counts(&t);
		result = tell_rows(&t);
	}
	if (result == 0 && !turned_down)
		tell_bringing(&t);
	if (result == 0)
		result = tell_imports(&t);
	return result;
}
