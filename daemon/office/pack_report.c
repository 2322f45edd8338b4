/* SPDX-License-Identifier: Apache-2.0 */
/* report.html: one page to print, with the numbers of numbers.csv and the first of what the files have. */
#include <stdlib.h>
#include <string.h>

#include "pack_internal.h"
#include "tell_internal.h"

extern const char pw_office_style[]; /* web.S */

static struct pw_table *begin(struct pw_report *r, const char *name, enum pw_phrase title,
			      const struct pw_column *columns)
{
	struct pw_table *t;

	pw_report_say(r, PW_SAY_HEADING, title, NULL);
	t = pw_report_table(r, name, PW_P_NONE, columns);
	pw_table_none(t, PW_P_NOTHING_HERE);
	return t;
}

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

static void say_first_of(struct pw_report *r, const struct pw_pack_many *many, const char *file)
{
	if (many->all > many->count)
		pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_FIRST_OF, pw_report_count(r, (int64_t)many->count),
			      pw_report_count(r, (int64_t)many->all), file, NULL);
}

/* -- numbers ----------------------------------------------------------------------------------- */

static void put_group(struct pw_pack *p, struct pw_report *r, enum pw_pack_group group, const char *table,
		      enum pw_phrase title)
{
	static const struct pw_column columns[] = {
		{ "what", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
		{ "number", PW_P_PACK_NUMBER, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, table, title, columns);
	char name[PW_PACK_NAME];

	for (unsigned i = 0; i < pw_pack_group_count(group); i++) {
		pw_pack_number_name(group, i, name);
		pw_cell_put_word(t, pw_pack_number_phrase(group, i));
		pw_cell_put_count(t, *pw_pack_number(&p->all, group, i));
		pw_cell_put_text(t, name);
	}
}

static void put_by_bus(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "runs", PW_P_PACK_RUNS, PW_COL_COUNT, 0, false },
		{ "sweeps", PW_P_PACK_SWEEPS, PW_COL_COUNT, 0, false },
		{ "verdict_late", PW_P_LATE, PW_COL_COUNT, 0, false },
		{ "verdict_doubtful", PW_P_DOUBTFUL, PW_COL_COUNT, 0, false },
		{ "verdict_missed", PW_P_MISSED, PW_COL_COUNT, 0, false },
		{ "result_no_record", PW_P_NO_RECORD, PW_COL_COUNT, 0, false },
		{ "corrected", PW_P_CORRECTED, PW_COL_COUNT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	static const struct { enum pw_pack_group group; unsigned i; } numbers[] = {
		{ PW_PACK_SINGLE, PW_PACK_RUNS }, { PW_PACK_SINGLE, PW_PACK_SWEEPS },
		{ PW_PACK_VERDICT, PW_LATE - PW_DONE }, { PW_PACK_VERDICT, PW_DOUBTFUL - PW_DONE },
		{ PW_PACK_VERDICT, PW_MISSED - PW_DONE }, { PW_PACK_RESULT, PW_RESULT_NO_RECORD - 1 },
		{ PW_PACK_SINGLE, PW_PACK_CORRECTED },
	};
	struct pw_table *t = begin(r, "by_bus", PW_P_PACK_BY_BUS, columns);

	for (size_t i = 0; i < p->buses.count; i++) {
		struct pw_pack_bus *b = pw_pack_bus_at(p, i);

		pw_cell_put_text(t, b->bus);
		for (size_t n = 0; n < sizeof(numbers) / sizeof(numbers[0]); n++)
			pw_cell_put_count(t, *pw_pack_number(&b->of, numbers[n].group, numbers[n].i));
	}
}

static void put_numbers(struct pw_pack *p, struct pw_report *r)
{
	put_group(p, r, PW_PACK_SINGLE, "numbers", PW_P_PACK_NUMBERS);
	put_group(p, r, PW_PACK_RESULT, "results", PW_P_PACK_RESULTS);
	put_group(p, r, PW_PACK_VERDICT, "verdicts", PW_P_PACK_VERDICTS);
	put_group(p, r, PW_PACK_WHY, "no_records", PW_P_PACK_WHYS);
	put_group(p, r, PW_PACK_FINDING, "findings", PW_P_PACK_FINDINGS);
	put_group(p, r, PW_PACK_KIND, "recorded", PW_P_PACK_RECORDED);
	put_by_bus(p, r);
}

/* -- rows -------------------------------------------------------------------------------------- */

static void put_bad(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
		{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
		{ "driver", PW_P_COL_DRIVER, PW_COL_TEXT, 0, false },
		{ "result", PW_P_COL_RESULT, PW_COL_WORD, 0, false },
		{ "verdict", PW_P_COL_VERDICT, PW_COL_WORD, 0, false },
		{ "why", PW_P_COL_WHY, PW_COL_WORD, 0, false },
		{ "unchecked", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, false },
		{ "corrected_by", PW_P_CORRECTED, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "bad", PW_P_PACK_BAD, columns);

	for (size_t i = 0; i < p->bad.count; i++) {
		const struct pw_audit_row *row = (struct pw_audit_row *)p->bad.item + i;
		const enum pw_result stands = row->corrected ? row->corrected : row->result;

		pw_cell_put_text(t, row->key.bus);
		pw_cell_put_time(t, row->at_ms);
		pw_cell_put_text(t, row->key.run);
		pw_cell_put_text(t, row->driver);
		put_code(t, pw_result_name(stands));
		put_code(t, row->seq && row->verdict ? pw_verdict_name(row->verdict) : "");
		put_code(t, row->why ? pw_no_record_name(row->why) : "");
		pw_cell_put_time(t, row->unchecked_ms);
		pw_cell_put_text(t, row->corrected_by);
		pw_row_mark(t, pw_phrase_find(pw_result_name(stands)));
	}
	say_first_of(r, &p->bad, "rows.csv");
}

static void put_corrections(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
		{ "who", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "day", PW_P_COL_DAY, PW_COL_DAY, 0, false },
		{ "run", PW_P_COL_RUN, PW_COL_TEXT, 0, false },
		{ "result", PW_P_COL_RESULT, PW_COL_WORD, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "corrections", PW_P_PACK_CORRECTIONS_LIST, columns);

	for (size_t i = 0; i < p->corrections.count; i++) {
		const struct pw_correction *c = (struct pw_correction *)p->corrections.item + i;

		pw_cell_put_time(t, c->at_ms);
		pw_cell_put_text(t, c->who);
		pw_cell_put_text(t, c->key.bus);
		pw_cell_put_day(t, c->key.day);
		pw_cell_put_text(t, c->key.run);
		put_code(t, c->result ? pw_result_name(c->result) : "");
		pw_cell_put_text(t, c->words);
	}
	say_first_of(r, &p->corrections, "corrections.jsonl");
}

/* -- would we know? ---------------------------------------------------------------------------- */

static void put_silent(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "heard", PW_P_PACK_HEARD, PW_COL_MOMENT, 0, false },
		{ "runs", PW_P_PACK_NO_RECORDS, PW_COL_COUNT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "silent", PW_P_PACK_SILENT, columns);

	for (size_t i = 0; i < p->buses.count; i++) {
		struct pw_pack_bus *b = pw_pack_bus_at(p, i);
		const int64_t runs = *pw_pack_number(&b->of, PW_PACK_WHY, PW_NO_RECORD_BUS_SILENT - 1);

		if (runs == 0 && b->heard_ms >= p->from_ms)
			continue;
		pw_cell_put_text(t, b->bus);
		pw_cell_put_time(t, b->heard_ms ? b->heard_ms : INT64_MIN);
		pw_cell_put_count(t, runs);
	}
}

static void put_matters(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "kind", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "came", PW_P_PACK_CAME, PW_COL_MOMENT, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ "taken_by", PW_P_PACK_TAKEN_BY, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "matters", PW_P_PACK_MATTERS, columns);

	for (size_t i = 0; i < p->matters.count; i++) {
		const struct pw_matter *m = (struct pw_matter *)p->matters.item + i;

		put_code(t, pw_matter_name(m->kind));
		pw_cell_put_text(t, m->bus);
		pw_cell_put_time(t, m->came_ms);
		pw_cell_put_text(t, m->words);
		pw_cell_put_text(t, m->taken_by);
	}
	say_first_of(r, &p->matters, "postwalk-office matters --all");
}

static void put_chains(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "begins", PW_P_PACK_BEGINS, PW_COL_WORD, 0, false },
		{ "first", PW_P_PACK_FIRST_SEQ, PW_COL_COUNT, 0, false },
		{ "last", PW_P_PACK_LAST_SEQ, PW_COL_COUNT, 0, false },
		{ "purged", PW_P_PACK_PURGED, PW_COL_COUNT, 0, false },
		{ "file", PW_P_PACK_FILE, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	static const enum pw_phrase begins[] = { [PW_BRANCH_FIRST] = PW_P_PACK_FIRST,
						 [PW_BRANCH_FORK] = PW_P_FORK, [PW_BRANCH_HOLE] = PW_P_HOLE };
	struct pw_table *t = begin(r, "journals", PW_P_PACK_JOURNALS, columns);

	for (size_t i = 0; i < p->chains.count; i++) {
		const struct pw_pack_chain *c = (struct pw_pack_chain *)p->chains.item + i;

		pw_cell_put_text(t, c->branch.bus);
		pw_cell_put_word(t, begins[c->branch.why]);
		pw_cell_put_count(t, (int64_t)c->branch.first);
		pw_cell_put_count(t, (int64_t)c->branch.head);
		pw_cell_put_count(t, (int64_t)c->branch.purged);
		pw_cell_put_text(t, c->file);
	}
	say_first_of(r, &p->chains, "chains.jsonl");
}

static void put_faults(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "fault", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
		{ "first", PW_P_PACK_FIRST_AT, PW_COL_MOMENT, 0, false },
		{ "last", PW_P_PACK_LAST_AT, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "faults", PW_P_PACK_FAULTS, columns);

	for (size_t i = 0; i < p->faults.count; i++) {
		const struct pw_pack_fault *f = (struct pw_pack_fault *)p->faults.item + i;

		pw_cell_put_text(t, f->bus);
		pw_cell_put_words(t, f->name);
		pw_cell_put_count(t, f->count);
		pw_cell_put_time(t, f->first_ms);
		pw_cell_put_time(t, f->last_ms);
	}
	say_first_of(r, &p->faults, "records/");
}

/* -- what was kept, and what not --------------------------------------------------------------- */

static void put_holds(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "from", PW_P_COL_FROM, PW_COL_DAY, 0, false },
		{ "to", PW_P_COL_TO, PW_COL_DAY, 0, false },
		{ "who", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
		{ "words", PW_P_COL_WORDS, PW_COL_TEXT, 0, false },
		{ "lifted", PW_P_PACK_LIFTED, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "holds", PW_P_PACK_HOLDS, columns);

	for (size_t i = 0; i < p->holds.count; i++) {
		const struct pw_hold *h = (struct pw_hold *)p->holds.item + i;

		if (h->bus[0])
			pw_cell_put_text(t, h->bus);
		else
			pw_cell_put_word(t, PW_P_ANY);
		pw_cell_put_day(t, h->from);
		pw_cell_put_day(t, h->to);
		pw_cell_put_text(t, h->who);
		pw_cell_put_text(t, h->words);
		pw_cell_put_time(t, h->lifted_ms ? h->lifted_ms : INT64_MIN);
	}
	say_first_of(r, &p->holds, "/keeping");
}

static const char *keep_name(enum pw_keep_kind kind)
{
	static const char *const names[PW_KEEPS] = {
		"",
#define X(up, low) [PW_KEEP_##up] = #low,
		PW_KEEP_LIST(X)
#undef X
	};

	return names[kind];
}

static void put_purges(struct pw_pack *p, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "at", PW_P_COL_AT, PW_COL_MOMENT, 0, false },
		{ "kind", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
		{ "before", PW_P_PACK_BEFORE, PW_COL_DAY, 0, false },
		{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
		{ "held", PW_P_PACK_HELD, PW_COL_COUNT, 0, false },
		{ "who", PW_P_COL_WHO, PW_COL_TEXT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = begin(r, "purges", PW_P_PACK_PURGES, columns);

	for (size_t i = 0; i < p->purges.count; i++) {
		const struct pw_purged *u = (struct pw_purged *)p->purges.item + i;

		pw_cell_put_time(t, u->at_ms);
		put_code(t, keep_name(u->kind));
		pw_cell_put_day(t, u->before);
		pw_cell_put_count(t, (int64_t)u->count);
		pw_cell_put_count(t, (int64_t)u->held);
		pw_cell_put_text(t, u->who);
	}
	say_first_of(r, &p->purges, "/keeping");
}

/* -- the page ---------------------------------------------------------------------------------- */

static void say_head(struct pw_pack *p, struct pw_report *r)
{
	const struct pw_pack_order *o = p->order;
	const char *count[5];
	const int64_t of[5] = {
		*pw_pack_number(&p->all, PW_PACK_SINGLE, PW_PACK_SWEEPS),
		*pw_pack_number(&p->all, PW_PACK_VERDICT, PW_MISSED - PW_DONE),
		*pw_pack_number(&p->all, PW_PACK_VERDICT, PW_DOUBTFUL - PW_DONE),
		*pw_pack_number(&p->all, PW_PACK_SINGLE, PW_PACK_RUNS),
		*pw_pack_number(&p->all, PW_PACK_RESULT, PW_RESULT_NO_RECORD - 1),
	};

	for (size_t i = 0; i < 5; i++)
		count[i] = pw_report_count(r, of[i]);
	pw_report_say(r, PW_SAY_TITLE, PW_P_PACK_TITLE, pw_report_day(r, o->from), pw_report_day(r, o->to),
		      NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_PACK_LEAD_SWEEPS, count[0], count[1], count[2], NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_PACK_LEAD_RUNS, count[3], count[4], NULL);
	if (o->buses[0])
		pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_OF_BUSES, o->buses, NULL);
	else
		pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_OF_ALL,
			      pw_report_count(r, (int64_t)p->buses.count), NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_PACK_MADE, pw_report_moment(r, o->now_ms), o->who, NULL);
	if (p->o->conf.zone[0])
		pw_report_say(r, PW_SAY_TEXT, PW_P_TIMES_OF, p->o->conf.zone, NULL);
}

static void say_limits(struct pw_report *r)
{
	static const enum pw_phrase limits[] = { PW_P_PACK_LIMIT_PRESS, PW_P_PACK_LIMIT_SILENT,
						 PW_P_PACK_LIMIT_CLOCK, PW_P_PACK_LIMIT_KEY,
						 PW_P_PACK_LIMIT_LAW };

	pw_report_say(r, PW_SAY_HEADING, PW_P_PACK_LIMITS, NULL);
	for (size_t i = 0; i < sizeof(limits) / sizeof(limits[0]); i++)
		pw_report_say(r, PW_SAY_CAUTION, limits[i], NULL);
}

static void say_all(struct pw_pack *p, struct pw_report *r)
{
	say_head(p, r);
	say_limits(r);
	put_numbers(p, r);
	put_bad(p, r);
	put_corrections(p, r);
	put_silent(p, r);
	put_matters(p, r);
	put_chains(p, r);
	put_faults(p, r);
	put_holds(p, r);
	put_purges(p, r);
	pw_report_say(r, PW_SAY_HEADING, PW_P_PACK_CHECK, NULL);
	pw_report_say(r, PW_SAY_NEXT, PW_P_PACK_CHECK_WORDS, NULL);
}

static int write_page(struct pw_pack *p, struct pw_report *r)
{
	const enum pw_tongue tongue = p->order->tongue;
	FILE *out = pw_pack_open(p, "report.html");

	if (!out)
		return -1;
	fprintf(out, "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n"
		     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
		     "<title>%s</title>\n<style>\n%s</style>\n</head>\n<body>\n<main id=\"content\">\n",
		pw_tongue_tag(tongue), pw_phrase(tongue, PW_P_PACK_NAME), pw_office_style);
	pw_report_html(r, "", "", true, out);
	fprintf(out, "</main>\n<footer>\n<p>%s</p>\n</footer>\n</body>\n</html>\n",
		pw_phrase(tongue, PW_P_WHAT_A_PRESS_SAYS));
	return pw_pack_close(p, &out);
}

int pw_pack_report(struct pw_pack *p)
{
	struct pw_report *r;
	int result = pw_pack_find_kept(p);

	if (result)
		return result;
	r = pw_report_new(p->order->tongue, p->order->zone);
	if (r)
		say_all(p, r);
	if (r && pw_report_ok(r)) {
		result = write_page(p, r);
	} else {
		snprintf(p->why, sizeof(p->why), "there is no memory for the report");
		result = -1;
	}
	pw_report_free(r);
	return result;
}
