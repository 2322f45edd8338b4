/* SPDX-License-Identifier: Apache-2.0 */
/* One row: what is known of it, its drawing, how it was judged, its records, corrections. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "sweep.h"
#include "timeline.h"

static enum pw_phrase result_word(enum pw_result result)
{
	return result ? pw_phrase_find(pw_result_name(result)) : PW_P_SWEEPS_UNCORRECTED;
}

/* A stop without a run is known by its verdict. */
static enum pw_phrase state_word(const struct pw_audit_row *row)
{
	const enum pw_result stands = row->corrected ? row->corrected : row->result;

	if (stands == PW_RESULT_UNPLANNED && row->seq)
		return pw_phrase_find(pw_verdict_name(row->verdict));
	return result_word(stands);
}

static enum pw_result stands(const struct pw_audit_row *row)
{
	return row->corrected ? row->corrected : row->result;
}

/* -- facts ------------------------------------------------------------------------------------- */

static const struct pw_column fact_columns[] = {
	{ "what", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
	{ "value", PW_P_SWEEPS_VALUE, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_fact(struct pw_table *t, enum pw_phrase what, const char *value)
{
	if (!value || !value[0])
		return;
	pw_cell_put_word(t, what);
	pw_cell_put_text(t, value);
}

static void put_span_fact(struct pw_table *t, struct pw_report *r, enum pw_phrase what, int64_t ms)
{
	if (ms != PW_NO_TIME)
		put_fact(t, what, pw_report_span(r, ms));
}

static void put_plan_facts(struct pw_table *t, struct pw_report *r, const struct pw_audit_row *row)
{
	put_fact(t, PW_P_COL_RUN, row->key.run);
	put_fact(t, PW_P_COL_ROUTE, row->route);
	put_fact(t, PW_P_COL_PLACE, row->place);
	put_fact(t, PW_P_COL_DRIVER, row->driver);
	if (row->begin_ms != PW_NO_TIME && row->end_ms != PW_NO_TIME)
		put_fact(t, PW_P_SWEEPS_PLANNED,
			 pw_report_phrase(r, PW_P_SWEEPS_FROMTO, pw_report_moment(r, row->begin_ms),
					  pw_report_moment(r, row->end_ms), NULL));
	if (row->reason)
		put_fact(t, PW_P_SWEEPS_MATCHED, pw_report_code(r, pw_reason_name(row->reason)));
	if (row->why)
		put_fact(t, PW_P_COL_WHY, pw_report_code(r, pw_no_record_name(row->why)));
}

static void put_facts(struct pw_report *r, const struct pw_audit_row *row)
{
	struct pw_table *t = pw_report_table(r, "facts", PW_P_SWEEPS_FACTS, fact_columns);

	put_fact(t, PW_P_COL_RESULT, pw_phrase(pw_report_tongue(r), result_word(row->result)));
	put_plan_facts(t, r, row);
	if (row->seq) {
		put_fact(t, PW_P_COL_VERDICT, pw_report_code(r, pw_verdict_name(row->verdict)));
		put_fact(t, PW_P_COL_KEY_OFF, pw_report_moment(r, row->key_off_ms));
		put_span_fact(t, r, PW_P_COL_PRESS_AFTER, row->walk_ms);
		put_span_fact(t, r, PW_P_COL_LEFT_AFTER, row->return_ms);
		if (row->late_ms > 0)
			put_span_fact(t, r, PW_P_COL_LATE_BY, row->late_ms);
		put_fact(t, PW_P_COL_RUNG, pw_report_code(r, row->rung));
		put_fact(t, PW_P_SWEEPS_CLOCK,
			 pw_phrase(pw_report_tongue(r), row->clock_ok ? PW_P_YES : PW_P_NO));
	}
	put_span_fact(t, r, PW_P_COL_UNCHECKED, row->unchecked_ms);
	if (row->corrected)
		put_fact(t, PW_P_CORRECTED, pw_report_code(r, pw_result_name(row->corrected)));
}

/* -- drawing and judgement --------------------------------------------------------------------- */

static void put_drawing(struct pw_report *r, const struct pw_one_sweep *o,
			const struct pw_in_words *in)
{
	char *svg = NULL;
	size_t length;
	FILE *out = open_memstream(&svg, &length);

	if (!out)
		return;
	pw_timeline_draw(&o->of, in, out);
	fclose(out);
	if (svg)
		pw_report_svg(r, svg, PW_P_SWEEPS_DRAWING);
	free(svg);
}

static const struct pw_column judged_columns[] = {
	{ "rule", PW_P_SWEEPS_RULE, PW_COL_TEXT, 0, false },
	{ "asked", PW_P_SWEEPS_ASKED, PW_COL_TEXT, 0, false },
	{ "seen", PW_P_SWEEPS_SEEN, PW_COL_TEXT, 0, false },
	{ "followed", PW_P_SWEEPS_FOLLOWED, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_said(struct pw_table *t, const struct pw_in_words *in, const struct pw_said *said)
{
	char *text = NULL;
	size_t length;
	FILE *out = said->phrase ? open_memstream(&text, &length) : NULL;

	if (out) {
		pw_said_words(in, said, out);
		fclose(out);
	}
	pw_cell_put_text(t, text ? text : "");
	free(text);
}

static void put_judged(struct pw_report *r, const struct pw_one_sweep *o,
		       const struct pw_in_words *in)
{
	struct pw_judged *j = malloc(sizeof(*j));
	struct pw_table *t;
	char seq[24];

	if (!j)
		return;
	pw_judged_make(&o->of, j);
	t = pw_report_table(r, "judged", PW_P_SWEEPS_JUDGED, judged_columns);
	for (size_t i = 0; i < j->count; i++) {
		pw_cell_put_text(t, j->line[i].rule);
		put_said(t, in, &j->line[i].asked);
		put_said(t, in, &j->line[i].seen);
		put_said(t, in, &j->line[i].followed);
	}
	pw_row_mark(t, pw_phrase_find(pw_verdict_name(o->of.sweep.verdict)));
	free(j);
	snprintf(seq, sizeof(seq), "%" PRIu64, o->of.policy_seq);
	if (o->of.has_policy)
		pw_report_say(r, PW_SAY_SOURCE, PW_P_SWEEPS_POLICY, seq, o->of.policy_hash, NULL);
	pw_report_say(r, PW_SAY_SOURCE, PW_P_SWEEPS_RULES, NULL);
}

static const struct pw_column finding_columns[] = {
	{ "finding", PW_P_COL_FINDINGS, PW_COL_WORD, 0, false },
	{ "rule", PW_P_SWEEPS_RULE, PW_COL_TEXT, 0, false },
	{ "weight", PW_P_SWEEPS_WEIGHT, PW_COL_WORD, 0, false },
	{ "why", PW_P_COL_WHY, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_findings(struct pw_report *r, const struct pw_one_sweep *o)
{
	struct pw_table *t;

	if (!o->of.sweep.findings)
		return;
	t = pw_report_table(r, "findings", PW_P_SWEEPS_FINDINGS, finding_columns);
	for (unsigned f = 0; f < PW_FINDINGS; f++) {
		if (!(o->of.sweep.findings >> f & 1))
			continue;
		pw_cell_put_word(t, pw_phrase_find(pw_finding_name(f)));
		pw_cell_put_text(t, pw_judged_rules(f));
		pw_cell_put_word(t, !o->of.has_policy ? PW_P_NOT_KNOWN
				    : o->of.policy.doubt_on >> f & 1 ? PW_P_SWEEPS_DOUBT
								     : PW_P_SWEEPS_NOTE);
		pw_cell_put_text(t, pw_phrase(pw_report_tongue(r), pw_judged_reason(f)));
	}
}

/* -- records ----------------------------------------------------------------------------------- */

static const struct pw_column record_columns[] = {
	{ "seq", PW_P_SWEEPS_SEQ, PW_COL_COUNT, 0, false },
	{ "kind", PW_P_SWEEPS_KIND, PW_COL_WORD, 0, false },
	{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
	{ "sealed", PW_P_SWEEPS_SEAL, PW_COL_WORD, 0, false },
	{ "sha256", PW_P_SWEEPS_HASH, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_records(struct pw_report *r, const struct pw_one_sweep *o)
{
	struct pw_table *t = pw_report_table(r, "records", PW_P_SWEEPS_RECORDS, record_columns);

	pw_table_fold(t);
	for (size_t i = 0; i < o->listed_count; i++) {
		const struct pw_listed *l = &o->listed[i];

		pw_cell_put_count(t, (int64_t)l->seq);
		pw_cell_put_word(t, pw_phrase_find(pw_kind_name(l->kind)));
		pw_cell_put_time(t, l->wall_ms);
		if (l->sealed)
			pw_cell_put_word(t, PW_P_YES);
		else
			pw_cell_put_none(t);
		pw_cell_put_text(t, l->hash);
	}
}

static void say_seal(struct pw_report *r, const struct pw_one_sweep *o)
{
	char fingerprint[65], seq[24];

	snprintf(seq, sizeof(seq), "%" PRIu64, o->of.seal_seq);
	pw_public_key_print(&o->key_by, fingerprint);
	if (o->sealed)
		pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_SEALED, seq, fingerprint, NULL);
	else if (o->of.seal == PW_CHAIN_BROKEN)
		pw_report_say(r, PW_SAY_ALARM, PW_P_SWEEPS_BROKEN, seq, NULL);
	else if (o->of.seal == PW_SEAL_WRONG)
		pw_report_say(r, PW_SAY_ALARM, PW_P_SWEEPS_SEAL_WRONG, seq, NULL);
	else
		pw_report_say(r, PW_SAY_CAUTION, PW_P_SWEEPS_UNSEALED, NULL);
}

static void put_told(struct pw_report *r, const struct pw_one_sweep *o)
{
	const struct pw_in_words in = {
		.tongue = pw_report_tongue(r), .zone = o->q->zone,
		.wall_less_mono_ms = pw_minus(o->of.record.wall_ms, o->of.record.mono_ms),
	};

	put_drawing(r, o, &in);
	put_judged(r, o, &in);
	put_findings(r, o);
	put_records(r, o);
	say_seal(r, o);
	pw_sweep_check(o, r);
}

/* -- corrections ------------------------------------------------------------------------------- */

static const struct pw_column correction_columns[] = {
	{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
	{ "who", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
	{ "result", PW_P_COL_RESULT, PW_COL_WORD, 0, false },
	{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_corrections(struct pw_report *r, const struct pw_one_sweep *o)
{
	struct pw_table *t = pw_report_table(r, "corrections", PW_P_SWEEPS_CORRECTIONS,
					     correction_columns);

	pw_table_none(t, PW_P_SWEEPS_NO_CORRECTIONS);
	for (size_t i = 0; i < o->corrections; i++) {
		const struct pw_correction *c = &o->correction[i];

		pw_cell_put_time(t, c->at_ms);
		pw_cell_put_text(t, c->who);
		pw_cell_put_word(t, result_word(c->result));
		pw_cell_put_text(t, c->words);
	}
}

static void put_key_fields(struct pw_report *r, const struct pw_audit_key *key)
{
	char day[16], number[24];

	snprintf(day, sizeof(day), "%04d-%02d-%02d", key->day / 10000, key->day / 100 % 100,
		 key->day % 100);
	pw_report_field(r, PW_FIELD_HIDDEN, "bus", PW_P_NONE, key->bus, false);
	pw_report_field(r, PW_FIELD_HIDDEN, "day", PW_P_NONE, day, false);
	pw_report_field(r, PW_FIELD_HIDDEN, "run", PW_P_NONE, key->run, false);
	pw_report_field(r, PW_FIELD_HIDDEN, "epoch", PW_P_NONE, key->epoch, false);
	snprintf(number, sizeof(number), "%" PRIu32, key->branch);
	pw_report_field(r, PW_FIELD_HIDDEN, "branch", PW_P_NONE, number, false);
	snprintf(number, sizeof(number), "%" PRIu64, key->seq);
	pw_report_field(r, PW_FIELD_HIDDEN, "seq", PW_P_NONE, number, false);
}

static void put_form(struct pw_report *r, const struct pw_one_sweep *o)
{
	const enum pw_result now = stands(&o->row);

	pw_report_say(r, PW_SAY_HEADING, PW_P_SWEEPS_CORRECT, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_SWEEPS_CORRECT_ABOUT, NULL);
	pw_report_form(r, "/sweep", false);
	put_key_fields(r, &o->row.key);
	pw_report_field(r, PW_FIELD_CHOICE, "result", PW_P_COL_RESULT, NULL, true);
	for (enum pw_result v = PW_RESULT_WALKED; v < PW_RESULT_UNPLANNED; v++)
		pw_report_choice(r, pw_result_name(v), result_word(v), v == now);
	pw_report_choice(r, "none", PW_P_SWEEPS_UNCORRECTED, now >= PW_RESULT_UNPLANNED);
	pw_report_field(r, PW_FIELD_WORDS, "words", PW_P_SWEEPS_WORDS,
			pw_asked_value(o->q, "words"), true);
	pw_report_form_end(r, PW_P_SWEEPS_KEEP);
}

/* -- the page ---------------------------------------------------------------------------------- */

static void put_page(struct pw_report *r, const struct pw_one_sweep *o)
{
	const struct pw_audit_row *row = &o->row;

	pw_report_say(r, PW_SAY_TITLE, PW_P_SWEEPS_ONE, row->key.bus,
		      pw_report_moment(r, row->at_ms),
		      pw_phrase(pw_report_tongue(r), state_word(row)), NULL);
	put_facts(r, row);
	if (o->told)
		put_told(r, o);
	else
		pw_report_say(r, PW_SAY_CAUTION,
			      row->seq ? PW_P_SWEEPS_NO_RECORDS : PW_P_SWEEPS_NO_SWEEP, NULL);
	put_corrections(r, o);
	if (o->q->role >= PW_MAY_ACT && !o->q->whole)
		put_form(r, o);
}

int pw_sweep_get(struct pw_asked *q, struct pw_report *r)
{
	struct pw_one_sweep *o = calloc(1, sizeof(*o));
	int result;

	if (!o)
		return -1;
	o->q = q;
	if (!pw_row_key(q, &o->key))
		result = pw_asked_wrong(q, "bus", PW_P_SWEEPS_NO_KEY, NULL);
	else
		result = pw_asked_desk(q, pw_one_sweep_read, o);
	if (result == 0 && !o->found)
		result = pw_asked_wrong(q, "bus", PW_P_SWEEPS_NO_ROW, NULL);
	if (result == 0)
		put_page(r, o);
	pw_one_sweep_end(o);
	free(o);
	return result;
}

/* -- a correction ------------------------------------------------------------------------------ */

struct correcting {
	struct pw_asked *q;
	struct pw_correction c;
	bool found;
};

static int work_correct(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct correcting *k = ctx;
	struct pw_audit_row row;
	int result = pw_audit_row(s, &k->c.key, &row, why, size);

	if (result <= 0)
		return result;
	k->found = true;
	k->c.key = row.key;
	result = pw_audit_correct(s, &k->c, why, size);
	if (result < 0)
		return result;
	return pw_asked_log(k->q, s, why, size, "corrected bus %s, day %d, %s%.60s to %s: %.160s",
			    row.key.bus, row.key.day, row.key.run[0] ? "run " : "a stop", row.key.run,
			    k->c.result ? pw_result_name(k->c.result) : "as matched", k->c.words);
}

static int take_form(struct pw_asked *q, struct pw_correction *c)
{
	const char *result = pw_asked_value(q, "result"), *words = pw_asked_value(q, "words");

	*c = (struct pw_correction){ .at_ms = q->now_ms };
	if (!pw_row_key(q, &c->key))
		return pw_asked_wrong(q, "bus", PW_P_SWEEPS_NO_KEY, NULL);
	while (c->result < PW_RESULT_UNPLANNED &&
	       strcmp(c->result ? pw_result_name(c->result) : "none", result) != 0)
		c->result++;
	if (c->result == PW_RESULT_UNPLANNED)
		return pw_asked_wrong(q, "result", PW_P_SWEEPS_NO_SUCH, result);
	if (words[0] == '\0' || strlen(words) > 160 || strpbrk(words, "\r\n\t"))
		return pw_asked_wrong(q, "words", PW_P_SWEEPS_NO_WORDS, NULL);
	strcpy(c->words, words);
	strcpy(c->who, q->who);
	return 0;
}

int pw_sweep_post(struct pw_asked *q)
{
	struct correcting k = { .q = q };
	int result = take_form(q, &k.c);

	if (result == 0)
		result = pw_asked_desk(q, work_correct, &k);
	if (result)
		return result;
	if (!k.found)
		return pw_asked_wrong(q, "bus", PW_P_SWEEPS_NO_ROW, NULL);
	pw_row_address(&k.c.key, q->then);
	snprintf(q->said, sizeof(q->said), "%s", pw_phrase(q->tongue, PW_P_SWEEPS_KEPT));
	return 0;
}
