/* SPDX-License-Identifier: Apache-2.0 */
/* Rows: what became of runs and sweeps, page by page. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "match.h"
#include "rows_internal.h"

#define SLICE 512 /* rows of pw_audit_each that are asked for at once */

/* -- names ------------------------------------------------------------------------------------- */

/* "": none of them. */
static const char *result_text(enum pw_result result)
{
	return result == PW_RESULT_NONE ? "" : pw_result_name(result);
}

static int find(const struct pw_cell *cell, const char *(*name)(int i), int first, int end)
{
	char text[PW_NAME_MAX];

	pw_cell_get_text(cell, text, sizeof(text));
	for (int i = first; i < end; i++)
		if (strcmp(name(i), text) == 0)
			return i;
	return 0;
}

static const char *a_result(int i)
{
	return pw_result_name((enum pw_result)i);
}

static const char *a_why(int i)
{
	return pw_no_record_name((enum pw_no_record)i);
}

static const char *a_reason(int i)
{
	return pw_reason_name((enum pw_reason)i);
}

static const char *a_verdict(int i)
{
	return pw_verdict_name((enum pw_verdict)i);
}

enum pw_result pw_row_stands(const struct pw_audit_row *r)
{
	return r->corrected != PW_RESULT_NONE ? r->corrected : r->result;
}

/* -- cells ------------------------------------------------------------------------------------- */

static struct pw_cell due(const struct pw_audit_row *r)
{
	if (r->result != PW_RESULT_NOT_YET || r->end_ms == PW_NO_TIME)
		return (struct pw_cell){ 0 };
	return pw_cell_number(r->end_ms + pw_match_usual.after_s * INT64_C(1000) + 1);
}

static void fill_run(const struct pw_audit_row *r, struct pw_cell *cells)
{
	cells[4] = pw_cell_text(r->key.run);
	cells[5] = pw_cell_text(r->route);
	cells[6] = pw_cell_text(r->place);
	cells[7] = pw_cell_text(r->driver);
	cells[8] = pw_cell_time(r->begin_ms);
	cells[9] = pw_cell_time(r->end_ms);
	cells[10] = pw_cell_text(result_text(r->result));
	cells[11] = pw_cell_text(r->why != PW_NO_RECORD_NONE ? pw_no_record_name(r->why) : "");
	cells[12] = pw_cell_text(r->reason != PW_REASON_NONE ? pw_reason_name(r->reason) : "");
	cells[13] = pw_cell_number(r->stops);
	cells[14] = pw_cell_number(r->off_s);
}

static void fill_sweep(const struct pw_audit_row *r, struct pw_cell *cells)
{
	cells[15] = pw_cell_hex(r->epoch);
	cells[16] = pw_cell_number(r->branch);
	cells[17] = pw_cell_number((int64_t)r->seq);
	cells[18] = pw_cell_number(r->clock_ok);
	cells[19] = pw_cell_text(r->verdict != 0 ? pw_verdict_name(r->verdict) : "");
	cells[21] = pw_cell_number(r->refused);
	cells[22] = pw_cell_text(r->rung);
	cells[23] = pw_cell_time(r->key_off_ms);
	cells[24] = pw_cell_time(r->walk_ms);
	cells[25] = pw_cell_time(r->return_ms);
	cells[26] = pw_cell_time(r->late_ms);
	cells[27] = pw_cell_time(r->closed_ms);
	cells[28] = pw_cell_time(r->unchecked_ms);
	cells[29] = r->warmest_c10 != INT32_MIN ? pw_cell_number(r->warmest_c10)
						: (struct pw_cell){ 0 };
}

void pw_outcome_fill(const struct pw_audit_row *r, int32_t nth, char findings[PW_FINDINGS_TEXT_MAX],
		     struct pw_cell *cells)
{
	cells[0] = pw_cell_text(r->key.bus);
	cells[1] = pw_cell_number(r->key.day);
	cells[2] = pw_cell_number(nth);
	cells[3] = pw_cell_number(r->at_ms);
	fill_run(r, cells);
	fill_sweep(r, cells);
	pw_findings_text(r->findings, findings);
	cells[20] = pw_cell_text(findings);
	cells[30] = pw_cell_text(result_text(r->corrected));
	cells[31] = pw_cell_number(r->corrected_ms);
	cells[32] = pw_cell_text(r->corrected_by);
	cells[33] = pw_cell_text(r->corrected_words);
	cells[34] = pw_cell_text(result_text(pw_row_stands(r)));
	cells[35] = due(r);
}

static void get_run(const struct pw_cell *cells, struct pw_audit_row *r)
{
	pw_cell_get_text(&cells[4], r->key.run, sizeof(r->key.run));
	pw_cell_get_text(&cells[5], r->route, sizeof(r->route));
	pw_cell_get_text(&cells[6], r->place, sizeof(r->place));
	pw_cell_get_text(&cells[7], r->driver, sizeof(r->driver));
	r->begin_ms = pw_cell_get_time(&cells[8]);
	r->end_ms = pw_cell_get_time(&cells[9]);
	r->result = (enum pw_result)find(&cells[10], a_result, 1, PW_RESULTS);
	r->why = (enum pw_no_record)find(&cells[11], a_why, 1, PW_NO_RECORDS);
	r->reason = (enum pw_reason)find(&cells[12], a_reason, 1, PW_REASONS);
	r->stops = (uint32_t)cells[13].number;
	r->off_s = (int32_t)cells[14].number;
}

static void get_sweep(const struct pw_cell *cells, struct pw_audit_row *r)
{
	char findings[PW_FINDINGS_TEXT_MAX];

	pw_cell_get_hex(&cells[15], r->epoch, sizeof(r->epoch));
	r->branch = (uint32_t)cells[16].number;
	r->seq = (uint64_t)cells[17].number;
	r->clock_ok = cells[18].number != 0;
	r->verdict = (enum pw_verdict)find(&cells[19], a_verdict, PW_DONE, PW_MISSED + 1);
	pw_cell_get_text(&cells[20], findings, sizeof(findings));
	r->findings = pw_findings_read(findings);
	r->refused = (uint32_t)cells[21].number;
	pw_cell_get_text(&cells[22], r->rung, sizeof(r->rung));
	r->key_off_ms = pw_cell_get_time(&cells[23]);
	r->walk_ms = pw_cell_get_time(&cells[24]);
	r->return_ms = pw_cell_get_time(&cells[25]);
	r->late_ms = pw_cell_get_time(&cells[26]);
	r->closed_ms = pw_cell_get_time(&cells[27]);
	r->unchecked_ms = pw_cell_get_time(&cells[28]);
	r->warmest_c10 = cells[29].kind != PW_CELL_NONE ? (int32_t)cells[29].number : INT32_MIN;
}

int32_t pw_outcome_get(const struct pw_cell *cells, struct pw_audit_row *r)
{
	memset(r, 0, sizeof(*r));
	pw_cell_get_text(&cells[0], r->key.bus, sizeof(r->key.bus));
	r->key.day = (int32_t)cells[1].number;
	r->at_ms = cells[3].number;
	get_run(cells, r);
	get_sweep(cells, r);
	if (r->key.run[0] == '\0') {
		memcpy(r->key.epoch, r->epoch, sizeof(r->key.epoch));
		r->key.branch = r->branch;
		r->key.seq = r->seq;
	}
	r->corrected = (enum pw_result)find(&cells[30], a_result, 1, PW_RESULTS);
	r->corrected_ms = cells[31].number;
	pw_cell_get_text(&cells[32], r->corrected_by, sizeof(r->corrected_by));
	pw_cell_get_text(&cells[33], r->corrected_words, sizeof(r->corrected_words));
	return (int32_t)cells[2].number;
}

/* -- one row ----------------------------------------------------------------------------------- */

struct found {
	struct pw_audit_row *row;
	int32_t nth;
};

static int take_found(void *ctx, const struct pw_cell *cells)
{
	struct found *f = ctx;

	f->nth = pw_outcome_get(cells, f->row);
	return 0;
}

static int find_row(struct pw_store *s, const struct pw_audit_key *key, struct found *f, char *why,
		    size_t size)
{
	const struct pw_cell run[] = { pw_cell_text(key->bus), pw_cell_number(key->day),
				       pw_cell_text(key->run) };
	const struct pw_cell sweep[] = { pw_cell_text(key->bus), pw_cell_number(key->day),
					 pw_cell_hex(key->epoch), pw_cell_number(key->branch),
					 pw_cell_number((int64_t)key->seq) };

	if (key->run[0] != '\0')
		return pw_store_ask_one(s, PW_Q_ROW_RUN, run, take_found, f, why, size);
	return pw_store_ask_one(s, PW_Q_ROW_SWEEP, sweep, take_found, f, why, size);
}

int pw_audit_row(struct pw_store *s, const struct pw_audit_key *key, struct pw_audit_row *row,
		 char *why, size_t size)
{
	struct found f = { .row = row };

	return find_row(s, key, &f, why, size);
}

/* -- a page ------------------------------------------------------------------------------------ */

struct giving {
	int (*take)(void *ctx, const struct pw_audit_row *row);
	void *ctx;
	struct pw_audit_row row;
	int32_t nth;
	unsigned given;
};

static int give(void *ctx, const struct pw_cell *cells)
{
	struct giving *g = ctx;

	g->nth = pw_outcome_get(cells, &g->row);
	g->given++;
	return g->take(g->ctx, &g->row);
}

/* Where the row that was given last is by now. One that is gone is stood in for by what is known of
 * it. */
static int find_from(struct pw_store *s, const struct pw_audit_filter *f,
		     const struct pw_audit_row *behind, struct pw_filter_from *from, char *why,
		     size_t size)
{
	struct pw_audit_row row = *behind;
	struct found found = { .row = &row };
	int result = find_row(s, &behind->key, &found, why, size);

	if (result < 0)
		return result;
	*from = (struct pw_filter_from){ .at_ms = f->longest ? row.unchecked_ms : row.at_ms,
					 .bus = behind->key.bus, .day = behind->key.day,
					 .nth = found.nth };
	return 0;
}

int pw_audit_rows(struct pw_store *s, const struct pw_audit_filter *f,
		  const struct pw_audit_row *behind, unsigned limit,
		  int (*take)(void *ctx, const struct pw_audit_row *row), void *ctx, char *why,
		  size_t size)
{
	struct giving g = { .take = take, .ctx = ctx };
	struct pw_filter_from from = { 0 };
	struct pw_filter_sql made;
	int result = behind != NULL ? find_from(s, f, behind, &from, why, size) : 0;

	if (result < 0)
		return result;
	pw_filter_page(f, behind != NULL ? &from : NULL, limit, &made);
	return s->database->ask_made(s, &made.statement, made.args, give, &g, why, size);
}

/* -- all of them ------------------------------------------------------------------------------- */

static int each_of_bus(struct pw_store *s, const struct pw_audit_filter *f, const char *bus,
		       struct giving *g, char *why, size_t size)
{
	struct pw_filter_sql made;
	int result;

	g->row.key.day = 0;
	g->nth = 0;
	do {
		g->given = 0;
		pw_filter_bus(f, bus, g->row.key.day, g->nth, SLICE, &made);
		result = s->database->ask_made(s, &made.statement, made.args, give, g, why, size);
	} while (result == 0 && g->given == SLICE);
	return result;
}

static int take_bus(void *ctx, const struct pw_cell *cells)
{
	pw_cell_get_text(&cells[0], ctx, PW_NAME_MAX);
	return 0;
}

int pw_audit_each(struct pw_store *s, const struct pw_audit_filter *f,
		  int (*take)(void *ctx, const struct pw_audit_row *row), void *ctx, char *why,
		  size_t size)
{
	struct giving g = { .take = take, .ctx = ctx };
	char bus[PW_NAME_MAX] = "";
	int result;

	if (f->bus[0] != '\0')
		return each_of_bus(s, f, f->bus, &g, why, size);
	do {
		const struct pw_cell behind = pw_cell_text(bus);
		char next[PW_NAME_MAX] = "";

		result = pw_store_ask(s, PW_Q_ROWS_BUS, &behind, take_bus, next, why, size);
		memcpy(bus, next, sizeof(bus));
		if (result == 0 && bus[0] != '\0')
			result = each_of_bus(s, f, bus, &g, why, size);
	} while (result == 0 && bus[0] != '\0');
	return result;
}
