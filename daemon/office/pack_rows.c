/* SPDX-License-Identifier: Apache-2.0 */
/* The rows of a pack, a bus at a time, in slices of days; and every correction of one of them. */
#include <inttypes.h>
#include <jansson.h>
#include <stdlib.h>
#include <string.h>

#include "pack_internal.h"
#include "tell_internal.h"

#define SLICE_DAYS 60

static const struct pw_column columns[] = {
	{ "bus", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "day", PW_P_NONE, PW_COL_DAY, 0, false },
	{ "run", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "route", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "place", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "driver", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "at", PW_P_NONE, PW_COL_MOMENT, 0, false },
	{ "planned_begin", PW_P_NONE, PW_COL_MOMENT, 0, false },
	{ "planned_end", PW_P_NONE, PW_COL_MOMENT, 0, false },
	{ "result", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "corrected", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "why", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "matched", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "stops", PW_P_NONE, PW_COL_COUNT, 0, false },
	{ "off_s", PW_P_NONE, PW_COL_COUNT, 0, false },
	{ "verdict", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "findings", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "refused", PW_P_NONE, PW_COL_COUNT, 0, false },
	{ "rung", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "key_off", PW_P_NONE, PW_COL_MOMENT, 0, false },
	{ "press_after_ms", PW_P_NONE, PW_COL_SPAN, 0, false },
	{ "left_after_ms", PW_P_NONE, PW_COL_SPAN, 0, false },
	{ "late_ms", PW_P_NONE, PW_COL_SPAN, 0, false },
	{ "closed", PW_P_NONE, PW_COL_MOMENT, 0, false },
	{ "unchecked_ms", PW_P_NONE, PW_COL_SPAN, 0, false },
	{ "clock_ok", PW_P_NONE, PW_COL_WORD, 0, false },
	{ "epoch", PW_P_NONE, PW_COL_TEXT, 0, false },
	{ "branch", PW_P_NONE, PW_COL_COUNT, 0, false },
	{ "seq", PW_P_NONE, PW_COL_COUNT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

/* -- one row ----------------------------------------------------------------------------------- */

static void put_code(struct pw_table *t, const char *code)
{
	const enum pw_phrase word = pw_phrase_find(code);

	if (word)
		pw_cell_put_word(t, word);
	else if (code[0])
		pw_cell_put_words(t, code);
	else
		pw_cell_put_none(t);
}

static void put_findings(struct pw_table *t, uint32_t findings)
{
	char codes[512] = "";

	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (findings >> i & 1) {
			strcat(codes, codes[0] ? " " : "");
			strcat(codes, pw_finding_name((enum pw_finding)i));
		}
	pw_cell_put_words(t, codes);
}

static void put_run(struct pw_table *t, const struct pw_audit_row *row)
{
	pw_cell_put_text(t, row->key.bus);
	pw_cell_put_day(t, row->key.day);
	pw_cell_put_text(t, row->key.run);
	pw_cell_put_text(t, row->route);
	pw_cell_put_text(t, row->place);
	pw_cell_put_text(t, row->driver);
	pw_cell_put_time(t, row->at_ms);
	pw_cell_put_time(t, row->begin_ms);
	pw_cell_put_time(t, row->end_ms);
	put_code(t, row->result ? pw_result_name(row->result) : "");
	put_code(t, row->corrected ? pw_result_name(row->corrected) : "");
	put_code(t, row->why ? pw_no_record_name(row->why) : "");
	put_code(t, row->reason ? pw_reason_name(row->reason) : "");
	pw_cell_put_count(t, row->stops);
	pw_cell_put_count(t, row->off_s);
}

static void put_sweep(struct pw_table *t, const struct pw_audit_row *row)
{
	put_code(t, row->seq && row->verdict ? pw_verdict_name(row->verdict) : "");
	put_findings(t, row->findings);
	pw_cell_put_count(t, row->refused);
	put_code(t, row->rung);
	pw_cell_put_time(t, row->key_off_ms);
	pw_cell_put_time(t, row->walk_ms);
	pw_cell_put_time(t, row->return_ms);
	pw_cell_put_time(t, row->late_ms);
	pw_cell_put_time(t, row->closed_ms);
	pw_cell_put_time(t, row->unchecked_ms);
	pw_cell_put_word(t, !row->seq ? PW_P_NOT_KNOWN : row->clock_ok ? PW_P_YES : PW_P_NO);
	pw_cell_put_text(t, row->seq ? row->epoch : "");
	pw_cell_put_count(t, row->branch);
	pw_cell_put_count(t, (int64_t)row->seq);
}

static bool is_bad(const struct pw_audit_row *row)
{
	const enum pw_result stands = row->corrected ? row->corrected : row->result;

	return stands == PW_RESULT_MISSED || stands == PW_RESULT_DOUBTFUL || stands == PW_RESULT_LATE ||
	       stands == PW_RESULT_NO_RECORD || row->verdict > PW_DONE;
}

/* -- corrections ------------------------------------------------------------------------------- */

struct correcting {
	const struct pw_audit_row *row;
	struct pw_pack_many list;
};

static int take_correction(void *ctx, const struct pw_correction *c)
{
	struct correcting *of = ctx;
	struct pw_correction *kept = pw_pack_add(&of->list, sizeof(*kept), 0);

	if (!kept)
		return -1;
	*kept = *c;
	return 0;
}

static int work_corrections(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct correcting *of = ctx;

	of->list.count = 0;
	return pw_audit_corrections(s, &of->row->key, take_correction, of, why, size);
}

static int take_recent(void *ctx, const struct pw_correction *c)
{
	struct pw_pack *p = ctx;
	struct pw_audit_key *kept = pw_pack_add(&p->recent, sizeof(*kept), 0);

	if (!kept)
		return -1;
	*kept = c->key;
	return 0;
}

static int work_recent(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_pack *p = ctx;

	p->recent.count = 0;
	return pw_audit_corrections(s, NULL, take_recent, p, why, size);
}

/* A row whose correction was taken back does not say that it had one. */
static bool is_recent(const struct pw_pack *p, const struct pw_audit_key *key)
{
	const struct pw_audit_key *recent = p->recent.item;

	for (size_t i = 0; i < p->recent.count; i++)
		if (recent[i].day == key->day && strcmp(recent[i].bus, key->bus) == 0 &&
		    strcmp(recent[i].run, key->run) == 0 && strcmp(recent[i].epoch, key->epoch) == 0 &&
		    recent[i].branch == key->branch && recent[i].seq == key->seq)
			return true;
	return false;
}

static int put_correction(struct pw_pack *p, const struct pw_correction *c)
{
	struct pw_correction *shown = pw_pack_add(&p->corrections, sizeof(*shown), PW_PACK_SHOWN);
	json_t *line = json_pack("{s:s,s:i,s:s,s:s,s:I,s:I,s:s,s:I,s:s,s:s}", "bus", c->key.bus, "day",
				 (int)c->key.day, "run", c->key.run, "epoch", c->key.epoch, "branch",
				 (json_int_t)c->key.branch, "seq", (json_int_t)c->key.seq, "result",
				 c->result ? pw_result_name(c->result) : "", "at_ms",
				 (json_int_t)c->at_ms, "who", c->who, "words", c->words);

	if (shown)
		*shown = *c;
	if (!line || json_dumpf(line, p->corrected, JSON_COMPACT))
		return pw_pack_broke(p, "corrections.jsonl");
	putc('\n', p->corrected);
	json_decref(line);
	return 0;
}

/* -- a bus ------------------------------------------------------------------------------------- */

struct slicing {
	struct pw_pack *p;
	struct pw_audit_filter filter;
	struct pw_pack_many rows;       /* struct pw_audit_row */
	struct pw_pack_many corrected;  /* struct pw_correction: of those rows */
	struct pw_pack_many branches;   /* struct pw_branch; NULL: they are known */
	bool knows_branches;
};

static int take_row(void *ctx, const struct pw_audit_row *row)
{
	struct slicing *l = ctx;
	struct pw_audit_row *kept = pw_pack_add(&l->rows, sizeof(*kept), 0);

	if (!kept)
		return -1;
	*kept = *row;
	return 0;
}

static int take_branch(void *ctx, const struct pw_branch *b)
{
	struct slicing *l = ctx;
	struct pw_branch *kept = pw_pack_add(&l->branches, sizeof(*kept), 0);

	if (!kept)
		return -1;
	*kept = *b;
	return 0;
}

/* Branches as they are when the first rows are read: what comes later is no row's yet. */
static int work_slice(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct slicing *l = ctx;
	int result = 0;

	l->rows.count = 0;
	if (!l->knows_branches) {
		l->branches.count = 0;
		result = pw_store_branches(s, l->filter.bus, NULL, take_branch, l, why, size);
	}
	if (result == 0)
		result = pw_audit_each(s, &l->filter, take_row, l, why, size);
	l->knows_branches |= result == 0;
	return result;
}

static int put_corrections(struct slicing *l, const struct pw_audit_row *row, struct pw_pack_numbers *of)
{
	struct correcting c = { .row = row, .list = l->corrected };
	int result = pw_pack_desk(l->p, work_corrections, &c);

	l->corrected = c.list;
	for (size_t i = 0; i < c.list.count && result == 0; i++)
		result = put_correction(l->p, (struct pw_correction *)c.list.item + i);
	*pw_pack_number(of, PW_PACK_SINGLE, PW_PACK_CORRECTIONS) += (int64_t)c.list.count;
	return result;
}

static int put_row(struct slicing *l, struct pw_pack_bus *b, const struct pw_audit_row *row)
{
	struct pw_pack *p = l->p;
	struct pw_audit_row *bad = is_bad(row) ? pw_pack_add(&p->bad, sizeof(*bad), PW_PACK_SHOWN) : NULL;

	if (bad)
		*bad = *row;
	put_run(p->csv, row);
	put_sweep(p->csv, row);
	put_run(p->lines, row);
	put_sweep(p->lines, row);
	pw_pack_count_row(&b->of, row);
	return row->corrected || is_recent(p, &row->key) ? put_corrections(l, row, &b->of) : 0;
}

/* Of the days beside the period: their runs may have a stop that is in it. */
static int put_beside(struct slicing *l, int32_t day)
{
	int result;

	l->filter.from = l->filter.to = day;
	result = pw_pack_desk(l->p, work_slice, l);
	for (size_t i = 0; i < l->rows.count && result == 0; i++) {
		const struct pw_audit_row *row = (struct pw_audit_row *)l->rows.item + i;

		if (row->seq && row->key_off_ms >= l->p->from_ms && row->key_off_ms < l->p->to_ms)
			fprintf(l->p->beside, "{\"bus\":\"%s\",\"epoch\":\"%s\",\"branch\":%" PRIu32
				",\"seq\":%" PRIu64 "}\n", row->key.bus, row->epoch, row->branch, row->seq);
	}
	return result;
}

int pw_pack_rows_of(struct pw_pack *p, struct pw_pack_bus *b, struct pw_pack_many *branches)
{
	struct slicing l = { .p = p, .branches = *branches };
	int result = 0;

	memcpy(l.filter.bus, b->bus, sizeof(l.filter.bus));
	for (int32_t day = p->order->from; day <= p->order->to && result == 0;
	     day = pw_hours_add(day, SLICE_DAYS)) {
		l.filter.from = day;
		l.filter.to = pw_hours_add(day, SLICE_DAYS - 1);
		if (l.filter.to > p->order->to)
			l.filter.to = p->order->to;
		result = pw_pack_desk(p, work_slice, &l);
		for (size_t i = 0; i < l.rows.count && result == 0; i++)
			result = put_row(&l, b, (struct pw_audit_row *)l.rows.item + i);
	}
	if (result == 0)
		result = put_beside(&l, pw_hours_add(p->order->from, -1));
	if (result == 0)
		result = put_beside(&l, pw_hours_add(p->order->to, 1));
	free(l.rows.item);
	free(l.corrected.item);
	*branches = l.branches;
	return result;
}

/* -- the files --------------------------------------------------------------------------------- */

int pw_pack_rows_begin(struct pw_pack *p)
{
	p->rows_csv = pw_pack_open(p, "rows.csv");
	p->rows_lines = pw_pack_open(p, "rows.jsonl");
	p->beside = pw_pack_open(p, "beside.jsonl");
	p->corrected = pw_pack_open(p, "corrections.jsonl");
	p->receipts = pw_pack_open(p, "receipts.jsonl");
	p->chain_lines = pw_pack_open(p, "chains.jsonl");
	p->chain_names = pw_pack_open(p, "chains.txt");
	p->as_csv = pw_report_new(p->order->tongue, p->order->zone);
	p->as_lines = pw_report_new(p->order->tongue, p->order->zone);
	if (!p->rows_csv || !p->rows_lines || !p->beside || !p->corrected || !p->receipts ||
	    !p->chain_lines || !p->chain_names)
		return -1;
	if (!p->as_csv || !p->as_lines)
		return pw_pack_broke(p, "a report");
	pw_report_flow(p->as_csv, true, NULL, p->rows_csv);
	pw_report_flow(p->as_lines, false, NULL, p->rows_lines);
	p->csv = pw_report_table(p->as_csv, "rows", PW_P_NONE, columns);
	p->lines = pw_report_table(p->as_lines, "rows", PW_P_NONE, columns);
	return pw_pack_desk(p, work_recent, p);
}

int pw_pack_rows_end(struct pw_pack *p)
{
	FILE **const files[] = { &p->rows_csv, &p->rows_lines, &p->beside, &p->corrected, &p->receipts,
				 &p->chain_lines, &p->chain_names };
	int result = pw_report_flow_end(p->as_csv) | pw_report_flow_end(p->as_lines);

	if (!pw_report_ok(p->as_csv) || !pw_report_ok(p->as_lines))
		result = -1;
	if (result)
		result = pw_pack_broke(p, "rows.csv");
	for (size_t i = 0; i < sizeof(files) / sizeof(files[0]); i++)
		if (pw_pack_close(p, files[i]))
			result = -1;
	return result;
}
