/* SPDX-License-Identifier: Apache-2.0 */
/* Rows by a filter: a page of them, or all for a file, slice by slice. */
#include <stdlib.h>
#include <string.h>

#include "sweeps.h"

#define SLICE 2000

struct listing {
	struct pw_asked *q;
	struct pw_audit_filter filter;
	struct pw_audit_row *row;
	size_t rows, room;
	struct pw_audit_key behind;
	bool goes_on, logged;         /* behind a row; that somebody looked at a driver's rows */
};

/* -- out of the store -------------------------------------------------------------------------- */

static int keep_row(void *ctx, const struct pw_audit_row *row)
{
	struct listing *l = ctx;

	l->row[l->rows++] = *row;
	return l->rows == l->room;
}

/* The row of behind may have been made anew since: then the list begins anew. */
static int work_rows(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct listing *l = ctx;
	struct pw_audit_row before;
	int result = l->goes_on ? pw_audit_row(s, &l->behind, &before, why, size) : 0;

	l->rows = 0;
	if (result < 0)
		return result;
	result = pw_audit_rows(s, &l->filter, result ? &before : NULL, (unsigned)l->room, keep_row,
			       l, why, size);
	if (result < 0)
		return result;
	if (!l->filter.driver[0] || l->logged)
		return 0;
	l->logged = true;
	return pw_asked_log(l->q, s, why, size, PW_LOG_SAW "the rows of driver %s",
			    l->filter.driver);
}

/* -- the table --------------------------------------------------------------------------------- */

static const struct pw_column columns[] = {
	{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
	{ "day", PW_P_COL_DAY, PW_COL_DAY, 0, true },
	{ "key_off", PW_P_COL_KEY_OFF, PW_COL_MOMENT, 0, false },
	{ "result", PW_P_COL_RESULT, PW_COL_WORD, 0, false },
	{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
	{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false },
	{ "driver", PW_P_COL_DRIVER, PW_COL_TEXT, 0, false },
	{ "verdict", PW_P_COL_VERDICT, PW_COL_WORD, 0, false },
	{ "press_after", PW_P_COL_PRESS_AFTER, PW_COL_SPAN, 0, false },
	{ "left_after", PW_P_COL_LEFT_AFTER, PW_COL_SPAN, 0, false },
	{ "late_by", PW_P_COL_LATE_BY, PW_COL_SPAN, 0, false },
	{ "refused", PW_P_COL_REFUSED, PW_COL_COUNT, 0, false },
	{ "rung", PW_P_COL_RUNG, PW_COL_WORD, 0, false },
	{ "findings", PW_P_COL_FINDINGS, PW_COL_WORD, 0, false },
	{ "unchecked", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, false },
	{ "why", PW_P_COL_WHY, PW_COL_WORD, 0, true },
	{ "matched", PW_P_SWEEPS_MATCHED, PW_COL_WORD, 0, true },
	{ "stops", PW_P_SWEEPS_STOPS, PW_COL_COUNT, 0, true },
	{ "off_s", PW_P_SWEEPS_OFF, PW_COL_COUNT, 0, true },
	{ "place", PW_P_COL_PLACE, PW_COL_TEXT, 0, true },
	{ "planned_begin", PW_P_SWEEPS_BEGIN, PW_COL_MOMENT, 0, true },
	{ "planned_end", PW_P_SWEEPS_END, PW_COL_MOMENT, 0, true },
	{ "clock_ok", PW_P_SWEEPS_CLOCK, PW_COL_WORD, 0, true },
	{ "corrected", PW_P_CORRECTED, PW_COL_WORD, 0, true },
	{ "corrected_by", PW_P_SWEEPS_CORRECTED_BY, PW_COL_TEXT, 0, true },
	{ "corrected_words", PW_P_SWEEPS_CORRECTED_WORDS, PW_COL_TEXT, 0, true },
	{ "epoch", PW_P_SWEEPS_EPOCH, PW_COL_TEXT, 0, true },
	{ "branch", PW_P_SWEEPS_BRANCH, PW_COL_COUNT, 0, true },
	{ "seq", PW_P_SWEEPS_SEQ, PW_COL_COUNT, 0, true },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_code(struct pw_table *t, const char *code)
{
	if (code && code[0])
		pw_cell_put_words(t, code);
	else
		pw_cell_put_none(t);
}

static void put_findings(struct pw_table *t, uint32_t findings)
{
	char codes[512] = "";

	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (findings >> i & 1) {
			const size_t used = strlen(codes);

			snprintf(codes + used, sizeof(codes) - used, "%s%s", used ? " " : "",
				 pw_finding_name(i));
		}
	put_code(t, codes);
}

static void put_sweep(struct pw_table *t, const struct pw_audit_row *row)
{
	put_code(t, row->seq ? pw_verdict_name(row->verdict) : "");
	pw_cell_put_time(t, row->walk_ms);
	pw_cell_put_time(t, row->return_ms);
	pw_cell_put_time(t, row->seq && row->late_ms > 0 ? row->late_ms : PW_NO_TIME);
	if (row->seq)
		pw_cell_put_count(t, row->refused);
	else
		pw_cell_put_none(t);
	put_code(t, row->seq ? row->rung : "");
	put_findings(t, row->findings);
	pw_cell_put_time(t, row->unchecked_ms);
}

static void put_rest(struct pw_table *t, const struct pw_audit_row *row)
{
	put_code(t, row->why ? pw_no_record_name(row->why) : "");
	put_code(t, row->reason ? pw_reason_name(row->reason) : "");
	pw_cell_put_count(t, row->stops);
	pw_cell_put_count(t, row->off_s);
	pw_cell_put_text(t, row->place);
	pw_cell_put_time(t, row->begin_ms);
	pw_cell_put_time(t, row->end_ms);
	pw_cell_put_word(t, !row->seq ? PW_P_NOT_KNOWN : row->clock_ok ? PW_P_YES : PW_P_NO);
	put_code(t, row->corrected ? pw_result_name(row->corrected) : "");
	pw_cell_put_text(t, row->corrected_by);
	pw_cell_put_text(t, row->corrected_words);
	pw_cell_put_text(t, row->seq ? row->epoch : "");
	pw_cell_put_count(t, row->branch);
	pw_cell_put_count(t, (int64_t)row->seq);
}

static void put_row(struct pw_table *t, const struct pw_audit_row *row)
{
	const enum pw_phrase result = pw_phrase_find(pw_result_name(row->corrected ? row->corrected
										   : row->result));
	char address[PW_ROW_ADDRESS];

	pw_row_address(&row->key, address);
	pw_cell_put_text(t, row->key.bus);
	pw_cell_put_day(t, row->key.day);
	pw_cell_put_time(t, row->at_ms);
	pw_cell_link(t, "%s", address);
	pw_cell_put_word(t, result);
	pw_cell_put_text(t, row->key.run);
	pw_cell_put_text(t, row->route);
	pw_cell_put_text(t, row->driver);
	put_sweep(t, row);
	put_rest(t, row);
	if (result == PW_P_UNPLANNED && row->seq)
		pw_row_mark(t, pw_phrase_find(pw_verdict_name(row->verdict)));
	else
		pw_row_mark(t, result);
}

/* -- the page ---------------------------------------------------------------------------------- */

/* Whether there may be more behind them. */
static int put_slice(struct listing *l, struct pw_table *t, size_t room, size_t shown)
{
	int result;

	l->room = room;
	result = pw_asked_desk(l->q, work_rows, l);
	for (size_t i = 0; result == 0 && i < l->rows && i < shown; i++)
		put_row(t, &l->row[i]);
	return result;
}

static int put_page(struct listing *l, struct pw_table *t)
{
	char address[PW_SWEEPS_ADDRESS];
	int result = put_slice(l, t, PW_AUDIT_PAGE + 1, PW_AUDIT_PAGE);

	if (result == 0 && l->rows > PW_AUDIT_PAGE) {
		pw_sweeps_address(l->q, &l->row[PW_AUDIT_PAGE - 1].key, address);
		pw_table_more(t, address);
	}
	return result;
}

static int put_whole(struct listing *l, struct pw_table *t)
{
	int result;

	do {
		result = put_slice(l, t, SLICE, SLICE);
		if (l->rows > 0)
			l->behind = l->row[l->rows - 1].key;
		l->goes_on = true;
	} while (result == 0 && l->rows == SLICE);
	return result;
}

static int put_rows(struct listing *l, struct pw_report *r)
{
	struct pw_table *t = pw_report_table(r, "sweeps", PW_P_SWEEPS_ROWS, columns);
	int result;

	pw_table_none(t, PW_P_SWEEPS_NONE);
	l->row = malloc(SLICE * sizeof(*l->row));
	if (!l->row)
		return -1;
	result = l->q->whole ? put_whole(l, t) : put_page(l, t);
	free(l->row);
	return result;
}

int pw_sweeps_get(struct pw_asked *q, struct pw_report *r)
{
	struct listing l = { .q = q };
	int wrong = pw_sweeps_filter(q, &l.filter);

	if (wrong)
		pw_report_wrong(r, q->wrong_field, q->wrong, q->wrong_fill);
	l.goes_on = !wrong && pw_sweeps_behind(q, &l.behind) == 1;
	pw_report_say(r, PW_SAY_TITLE, PW_P_SWEEPS_NAME, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_ABOUT, NULL);
	pw_sweeps_form(q, r);
	if (wrong)
		return q->whole ? wrong : 0; /* the form, with what is wrong beside it */
	return put_rows(&l, r);
}
