/* SPDX-License-Identifier: Apache-2.0 */
/* How bad was it: missed sweeps by time unchecked and, where one is known, by temperature. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "heat.h"
#include "sweeps.h"
#include "warmth.h"

#define ROWS_MOST 400      /* of the period, those unchecked for longest */
#define DAYS_DEFAULT 30
#define YARD_MOST 20000    /* temperatures of the yard in a period: one in 27 min of a year */
#define CABIN_MOST 2000    /* of one bus in one sweep */

struct warms {
	struct pw_warm *warm;
	char source[PW_WARMTH_SOURCE];
	size_t count, room;
};
struct bad {
	struct pw_audit_row row;
	struct pw_heat heat;
	char source[PW_WARMTH_SOURCE];
};
struct listing {
	struct pw_asked *q;
	struct pw_audit_filter filter;
	int64_t missed;            /* of the period, in all */
	struct bad *bad;
	size_t count;
	struct warms yard, cabin;
};

/* -- out of the store -------------------------------------------------------------------------- */

static int keep_row(void *ctx, const struct pw_audit_row *row)
{
	struct listing *l = ctx;

	l->bad[l->count++].row = *row;
	return 0;
}

static int keep_warm(void *ctx, int64_t at_ms, int32_t c10, const char *source)
{
	struct warms *w = ctx;

	w->warm[w->count++] = (struct pw_warm){ at_ms, c10 };
	snprintf(w->source, sizeof(w->source), "%s", source);
	return w->count == w->room;
}

static int add_missed(void *ctx, const struct pw_tally *t)
{
	((struct listing *)ctx)->missed += (int64_t)t->missed;
	return 0;
}

static int64_t begin_ms(const struct bad *b)
{
	return b->row.key_off_ms != PW_NO_TIME ? b->row.key_off_ms : b->row.at_ms;
}

static int64_t end_ms(const struct bad *b)
{
	return b->row.unchecked_ms == PW_NO_TIME ? begin_ms(b) : begin_ms(b) + b->row.unchecked_ms;
}

/* The bus's own, where the row says that one was known meanwhile. */
static int reckon_cabin(struct pw_store *s, struct listing *l, struct bad *b, char *why,
			size_t size)
{
	int result;

	if (b->row.warmest_c10 == INT32_MIN)
		return 0;
	l->cabin.count = 0;
	result = pw_audit_warmths(s, b->row.key.bus, begin_ms(b) - PW_HEAT_FRESH_MS, end_ms(b),
				  keep_warm, &l->cabin, why, size);
	if (result < 0)
		return result;
	pw_heat_reckon(l->cabin.warm, l->cabin.count, true, begin_ms(b), end_ms(b), &b->heat);
	memcpy(b->source, l->cabin.source, sizeof(b->source));
	return 0;
}

/* The bus's own first; where it has none, the yard's. */
static int reckon(struct pw_store *s, struct listing *l, struct bad *b, char *why, size_t size)
{
	int result = reckon_cabin(s, l, b, why, size);

	if (result < 0 || b->heat.known)
		return result;
	pw_heat_reckon(l->yard.warm, l->yard.count, false, begin_ms(b), end_ms(b), &b->heat);
	memcpy(b->source, l->yard.source, sizeof(b->source));
	return 0;
}

/* All of the yard's in the time of these rows: one question for all of them. */
static int read_yard(struct pw_store *s, struct listing *l, char *why, size_t size)
{
	int64_t from_ms = INT64_MAX, to_ms = INT64_MIN;
	int result;

	for (size_t i = 0; i < l->count; i++) {
		from_ms = begin_ms(&l->bad[i]) < from_ms ? begin_ms(&l->bad[i]) : from_ms;
		to_ms = end_ms(&l->bad[i]) > to_ms ? end_ms(&l->bad[i]) : to_ms;
	}
	if (l->count == 0)
		return 0;
	result = pw_audit_warmths(s, "", from_ms - PW_HEAT_FRESH_MS, to_ms, keep_warm, &l->yard,
				  why, size);
	return result < 0 ? result : 0;
}

static int work_list(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct listing *l = ctx;
	int result = pw_audit_tallies(s, PW_BY_ALL, "", l->filter.from, l->filter.to, add_missed, l,
				      why, size);

	if (result >= 0)
		result = pw_audit_rows(s, &l->filter, NULL, ROWS_MOST, keep_row, l, why, size);
	if (result >= 0)
		result = read_yard(s, l, why, size);
	for (size_t i = 0; i < l->count && result >= 0; i++)
		result = reckon(s, l, &l->bad[i], why, size);
	return result < 0 ? result : 0;
}

/* Those of which nothing is known behind, as they come: by time. */
static int by_heat(const void *a, const void *b)
{
	const struct bad *x = a, *y = b;

	if (x->heat.known != y->heat.known)
		return y->heat.known - x->heat.known;
	if (x->heat.known && x->heat.degree_hours != y->heat.degree_hours)
		return x->heat.degree_hours < y->heat.degree_hours ? 1 : -1;
	if (x->row.unchecked_ms != y->row.unchecked_ms)
		return x->row.unchecked_ms < y->row.unchecked_ms ? 1 : -1;
	return strcmp(x->row.key.bus, y->row.key.bus);
}

/* -- tables ------------------------------------------------------------------------------------ */

static const struct pw_column known_columns[] = {
	{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
	{ "key_off", PW_P_COL_KEY_OFF, PW_COL_MOMENT, 0, false },
	{ "unchecked", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, false },
	{ "degree_hours", PW_P_HEAT_DEGREE_HOURS, PW_COL_NUMBER, 1, false },
	{ "measured", PW_P_HEAT_MEASURED, PW_COL_WORD, 0, false },
	{ "known_low_c", PW_P_HEAT_KNOWN_LOW, PW_COL_NUMBER, 1, false },
	{ "known_high_c", PW_P_HEAT_KNOWN_HIGH, PW_COL_NUMBER, 1, false },
	{ "inside_low_c", PW_P_HEAT_INSIDE_LOW, PW_COL_NUMBER, 0, false },
	{ "inside_high_c", PW_P_HEAT_INSIDE_HIGH, PW_COL_NUMBER, 0, false },
	{ "inside_high_f", PW_P_HEAT_INSIDE_HIGH_F, PW_COL_NUMBER, 0, false },
	{ "beyond", PW_P_HEAT_BEYOND, PW_COL_WORD, 0, false },
	{ "freezing", PW_P_HEAT_FREEZING, PW_COL_SPAN, 0, false },
	{ "source", PW_P_HEAT_SOURCE, PW_COL_TEXT, 0, false },
	{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, true },
	{ "driver", PW_P_COL_DRIVER, PW_COL_TEXT, 0, true },
	{ "not_known_for", PW_P_HEAT_NOT_KNOWN_FOR, PW_COL_SPAN, 0, true },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};
static const struct pw_column unknown_columns[] = {
	{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
	{ "key_off", PW_P_COL_KEY_OFF, PW_COL_MOMENT, 0, false },
	{ "unchecked", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, false },
	{ "rung", PW_P_COL_RUNG, PW_COL_WORD, 0, false },
	{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false },
	{ "driver", PW_P_COL_DRIVER, PW_COL_TEXT, 0, false },
	{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
};

static void put_stop(struct pw_table *t, const struct bad *b)
{
	char address[PW_ROW_ADDRESS];

	pw_row_address(&b->row.key, address);
	pw_cell_put_text(t, b->row.key.bus);
	pw_cell_put_time(t, begin_ms(b));
	pw_cell_link(t, "%s", address);
	pw_cell_put_time(t, b->row.unchecked_ms);
}

static void put_known(struct pw_table *t, const struct bad *b)
{
	const struct pw_heat *h = &b->heat;

	put_stop(t, b);
	pw_cell_put_number(t, h->degree_hours);
	pw_cell_put_word(t, h->cabin ? PW_P_HEAT_CABIN : PW_P_HEAT_YARD);
	pw_cell_put_number(t, h->known_least_c);
	pw_cell_put_number(t, h->known_most_c);
	pw_cell_put_number(t, h->cabin ? NAN : h->inside_least_c);
	pw_cell_put_number(t, h->cabin ? NAN : h->inside_most_c);
	pw_cell_put_number(t, h->cabin ? NAN : pw_heat_fahrenheit(h->inside_most_c));
	if (h->held)
		pw_cell_put_word(t, PW_P_YES);
	else
		pw_cell_put_none(t);
	pw_cell_put_time(t, h->freezing_ms);
	pw_cell_put_text(t, b->source);
	pw_cell_put_text(t, b->row.route);
	pw_cell_put_text(t, b->row.driver);
	pw_cell_put_time(t, h->unknown_ms);
}

static void put_unknown(struct pw_table *t, const struct bad *b)
{
	put_stop(t, b);
	if (b->row.rung[0])
		pw_cell_put_words(t, b->row.rung);
	else
		pw_cell_put_none(t);
	pw_cell_put_text(t, b->row.route);
	pw_cell_put_text(t, b->row.driver);
}

static void put_tables(struct listing *l, struct pw_report *r)
{
	struct pw_table *known, *unknown;

	pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_ORDER, NULL);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_HEAT_CARS, NULL);
	known = pw_report_table(r, "known", PW_P_HEAT_KNOWN, known_columns);
	pw_table_none(known, PW_P_HEAT_NONE_KNOWN);
	for (size_t i = 0; i < l->count; i++)
		if (l->bad[i].heat.known)
			put_known(known, &l->bad[i]);
	pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_HELD, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_COLD, NULL);
	pw_report_say(r, PW_SAY_HEADING, PW_P_HEAT_UNKNOWN, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_ORDER_TIME, NULL);
	unknown = pw_report_table(r, "unknown", PW_P_NONE, unknown_columns);
	pw_table_none(unknown, PW_P_HEAT_NONE);
	for (size_t i = 0; i < l->count; i++)
		if (!l->bad[i].heat.known)
			put_unknown(unknown, &l->bad[i]);
	pw_report_say(r, PW_SAY_SOURCE, PW_P_HEAT_SOURCES, NULL);
}

/* -- the page ---------------------------------------------------------------------------------- */

/* The last days, where none are asked for. */
static int take_days(struct pw_asked *q, struct pw_audit_filter *f)
{
	*f = (struct pw_audit_filter){ .verdicts = 1u << PW_MISSED, .longest = true };
	f->from = pw_asked_day(q, "from");
	f->to = pw_asked_day(q, "to");
	if (f->from < 0)
		return pw_asked_wrong(q, "from", PW_P_SWEEPS_NO_DAY, pw_asked_value(q, "from"));
	if (f->to < 0)
		return pw_asked_wrong(q, "to", PW_P_SWEEPS_NO_DAY, pw_asked_value(q, "to"));
	if (!f->to)
		f->to = q->today;
	if (!f->from)
		f->from = pw_date_from(pw_date_days(f->to) - DAYS_DEFAULT + 1);
	if (f->from > f->to)
		return pw_asked_wrong(q, "to", PW_P_SWEEPS_BACKWARDS, NULL);
	return 0;
}

static void put_day(struct pw_report *r, const char *name, enum pw_phrase label, int32_t day)
{
	char text[16];

	snprintf(text, sizeof(text), "%04d-%02d-%02d", day / 10000, day / 100 % 100, day % 100);
	pw_report_field(r, PW_FIELD_DAY, name, label, day > 0 ? text : "", false);
}

static void put_head(const struct listing *l, struct pw_report *r, bool wrong)
{
	pw_report_say(r, PW_SAY_TITLE, PW_P_HEAT_NAME, NULL);
	if (!wrong)
		pw_report_say_count(r, PW_SAY_LEAD, PW_P_HEAT_LEAD, l->missed,
				    pw_report_day(r, l->filter.from),
				    pw_report_day(r, l->filter.to), NULL);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_HEAT_CAUTION, NULL);
	if (!wrong && l->missed > ROWS_MOST)
		pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_CAPPED, pw_report_count(r, ROWS_MOST),
			      NULL);
	pw_report_form(r, "/heat", true);
	put_day(r, "from", PW_P_COL_FROM, l->filter.from);
	put_day(r, "to", PW_P_COL_TO, l->filter.to);
	pw_report_form_end(r, PW_P_SHOW);
}

static void put_import(const struct pw_asked *q, struct pw_report *r)
{
	if (q->role < PW_MAY_ACT || q->whole)
		return;
	pw_report_say(r, PW_SAY_HEADING, PW_P_HEAT_ADD, NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_HEAT_ADD_ABOUT, NULL);
	pw_report_form(r, "/heat", false);
	pw_report_field(r, PW_FIELD_FILE, "file", PW_P_HEAT_FILE, NULL, true);
	pw_report_field(r, PW_FIELD_WORDS, "source", PW_P_HEAT_FROM, pw_asked_value(q, "source"),
			true);
	pw_report_form_end(r, PW_P_HEAT_TAKE);
}

static int make_room(struct listing *l)
{
	l->bad = calloc(ROWS_MOST, sizeof(*l->bad));
	l->yard = (struct warms){ .warm = malloc(YARD_MOST * sizeof(struct pw_warm)),
				  .room = YARD_MOST };
	l->cabin = (struct warms){ .warm = malloc(CABIN_MOST * sizeof(struct pw_warm)),
				   .room = CABIN_MOST };
	return l->bad && l->yard.warm && l->cabin.warm ? 0 : -1;
}

int pw_heat_get(struct pw_asked *q, struct pw_report *r)
{
	struct listing l = { .q = q };
	int wrong = take_days(q, &l.filter), result;

	if (wrong && q->whole)
		return wrong;
	if (wrong)
		pw_report_wrong(r, q->wrong_field, q->wrong, q->wrong_fill);
	result = make_room(&l);
	if (result == 0 && !wrong)
		result = pw_asked_desk(q, work_list, &l);
	if (result == 0) {
		qsort(l.bad, l.count, sizeof(*l.bad), by_heat);
		put_head(&l, r, wrong);
		if (!wrong)
			put_tables(&l, r);
		put_import(q, r);
	}
	free(l.bad);
	free(l.yard.warm);
	free(l.cabin.warm);
	return result;
}

/* -- temperatures come ------------------------------------------------------------------------- */

static int take_file(struct pw_asked *q, struct pw_warmths **w)
{
	char why[PW_ASK_VALUE];
	FILE *f = fmemopen((void *)(uintptr_t)q->file, q->file_length, "r");
	int result;

	if (!f)
		return -1;
	result = pw_warmth_read(f, q->zone, w, why, sizeof(why));
	fclose(f);
	return result == -2 ? pw_asked_wrong(q, "file", PW_P_HEAT_NO_TABLE, why) : result;
}

static void say_taken(struct pw_asked *q, const struct pw_warmths *w)
{
	FILE *f = fmemopen(q->said, sizeof(q->said), "w");

	if (!f)
		return;
	pw_warmth_say(q->tongue, w, 3, f);
	fclose(f);
	q->said[sizeof(q->said) - 1] = '\0';
}

int pw_heat_post(struct pw_asked *q)
{
	const char *source = pw_asked_value(q, "source");
	struct pw_warmth_taking taking = { .source = source, .who = q->who, .file = q->file_name,
					   .now_ms = q->now_ms };
	struct pw_warmths *w = NULL;
	int result;

	if (!q->file || q->file_length == 0)
		return pw_asked_wrong(q, "file", PW_P_HEAT_NO_FILE, NULL);
	if (!pw_warmth_source_ok(source))
		return pw_asked_wrong(q, "source", PW_P_HEAT_NO_SOURCE, NULL);
	result = take_file(q, &w);
	if (result)
		return result;
	taking.w = w;
	if (w->rows > 0)
		result = pw_asked_desk(q, pw_warmth_take, &taking);
	if (result == 0)
		say_taken(q, w);
	pw_warmths_free(w);
	return result;
}
