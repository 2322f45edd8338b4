/* SPDX-License-Identifier: Apache-2.0 */
/* What the lines of a bus do from day to day; and of which buses they drift most. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "drift.h"
#include "rows.h"
#include "web.h"

#define DAYS 120       /* looked back on */
#define LATELY 7       /* days in which the buses of all are looked for */
#define EACH 25        /* lines of each of those days */
#define BUSES 40
#define BUSES_AT_ONCE 8 /* in one piece of work on the desk */

struct drift_line {
	const struct pw_line_day *day;
	size_t days;
	struct pw_line_drift bounces, faults;
};
struct drift_page {
	struct pw_asked *q;
	struct pw_report *r;
	const char *bus;       /* "": all */
	int32_t from, to;
	char found[BUSES][PW_NAME_MAX];
	size_t buses, next;
	struct pw_line_day *day;
	size_t days, room;
	struct drift_line *line;
	size_t lines;
};

static const struct pw_column line_columns[] = {
	{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
	{ "line", PW_P_COL_LINE, PW_COL_WORD, 0, false },
	{ "state", PW_P_DRIFT_COL_STATE, PW_COL_WORD, 0, false },
	{ "since", PW_P_DRIFT_COL_SINCE, PW_COL_DAY, 0, false },
	{ "before", PW_P_DRIFT_COL_BEFORE, PW_COL_NUMBER, 1, false },
	{ "recent", PW_P_DRIFT_COL_RECENT, PW_COL_NUMBER, 1, false },
	{ "far", PW_P_DRIFT_COL_FAR, PW_COL_NUMBER, 2, false },
	{ "days", PW_P_DRIFT_COL_DAYS, PW_COL_COUNT, 0, false },
	{ "edges", PW_P_DRIFT_COL_EDGES, PW_COL_COUNT, 0, false },
	{ "bounces", PW_P_DRIFT_COL_BOUNCES, PW_COL_COUNT, 0, false },
	{ "chatters", PW_P_DRIFT_COL_CHATTERS, PW_COL_COUNT, 0, false },
	{ "disagreements", PW_P_DRIFT_COL_DISAGREEMENTS, PW_COL_COUNT, 0, false },
	{ "faults", PW_P_DRIFT_COL_FAULTS, PW_COL_WORD, 0, false },
	{ "faults_since", PW_P_DRIFT_COL_FAULTS_SINCE, PW_COL_DAY, 0, false },
	{ .name = NULL }
};
static const struct pw_column day_columns[] = {
	{ "day", PW_P_COL_DAY, PW_COL_DAY, 0, false },
	{ "line", PW_P_COL_LINE, PW_COL_WORD, 0, true },
	{ "edges", PW_P_DRIFT_COL_EDGES, PW_COL_COUNT, 0, false },
	{ "bounces", PW_P_DRIFT_COL_BOUNCES, PW_COL_COUNT, 0, false },
	{ "chatters", PW_P_DRIFT_COL_CHATTERS, PW_COL_COUNT, 0, false },
	{ "disagreements", PW_P_DRIFT_COL_DISAGREEMENTS, PW_COL_COUNT, 0, false },
	{ "cusum", PW_P_DRIFT_COL_CUSUM, PW_COL_NUMBER, 1, false },
	{ "limit", PW_P_DRIFT_COL_LIMIT, PW_COL_NUMBER, 1, false },
	{ "ewma", PW_P_DRIFT_COL_EWMA, PW_COL_NUMBER, 2, false },
	{ "ewma_limit", PW_P_DRIFT_COL_EWMA_LIMIT, PW_COL_NUMBER, 2, false },
	{ .name = NULL }
};

/* -- what the store has ------------------------------------------------------------------------ */

static int take_day(void *ctx, const struct pw_line_day *d)
{
	struct drift_page *p = ctx;

	if (p->days == p->room) {
		size_t room = p->room > 0 ? 2 * p->room : 512;
		struct pw_line_day *day = realloc(p->day, room * sizeof(*day));

		if (day == NULL)
			return -1;
		p->day = day;
		p->room = room;
	}
	p->day[p->days++] = *d;
	return 0;
}

static int take_bus(void *ctx, const struct pw_line_day *d)
{
	struct drift_page *p = ctx;

	for (size_t i = 0; i < p->buses; i++)
		if (strcmp(p->found[i], d->bus) == 0)
			return 0;
	if (p->buses < BUSES)
		snprintf(p->found[p->buses++], PW_NAME_MAX, "%s", d->bus);
	return 0;
}

static int find_buses(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct drift_page *p = ctx;
	int result = 0;

	for (int32_t back = 0; result == 0 && back < LATELY; back++)
		result = pw_audit_lines_worst(s, pw_date_from(pw_date_days(p->to) - back), EACH,
					      take_bus, p, why, size);
	return result;
}

static int find_days(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct drift_page *p = ctx;
	const size_t end = p->next + BUSES_AT_ONCE < p->buses ? p->next + BUSES_AT_ONCE : p->buses;
	int result = 0;

	for (; result == 0 && p->next < end; p->next++)
		result = pw_audit_lines(s, p->found[p->next], p->from, p->to, take_day, p, why,
					size);
	return result;
}

static int find(struct drift_page *p)
{
	int result = 0;

	if (*p->bus)
		snprintf(p->found[p->buses++], PW_NAME_MAX, "%s", p->bus);
	else
		result = pw_asked_desk(p->q, find_buses, p);
	while (result == 0 && p->next < p->buses)
		result = pw_asked_desk(p->q, find_days, p);
	return result;
}

/* -- judged ------------------------------------------------------------------------------------ */

static double far_of(const struct drift_line *l)
{
	return fmax(l->bounces.known ? l->bounces.far : -1, l->faults.known ? l->faults.far : -1);
}

static int by_far(const void *a, const void *b)
{
	const struct drift_line *one = a, *other = b;
	const double difference = far_of(other) - far_of(one);
	int order;

	if (difference < 0 || difference > 0)
		return difference < 0 ? -1 : 1;
	order = strcmp(one->day->bus, other->day->bus);
	return order ? order : strcmp(one->day->line, other->day->line);
}

static bool same_line(const struct pw_line_day *one, const struct pw_line_day *other)
{
	return strcmp(one->bus, other->bus) == 0 && strcmp(one->line, other->line) == 0;
}

static size_t days_of_line(const struct drift_page *p, size_t first)
{
	size_t end = first + 1;

	while (end < p->days && same_line(&p->day[first], &p->day[end]))
		end++;
	return end - first;
}

static int judge(struct drift_page *p)
{
	size_t lines = 0;

	for (size_t i = 0; i < p->days; i += days_of_line(p, i))
		lines++;
	p->line = calloc(lines + 1, sizeof(*p->line));
	if (p->line == NULL)
		return -1;
	for (size_t i = 0; i < p->days; i += p->line[p->lines++].days) {
		struct drift_line *l = &p->line[p->lines];

		*l = (struct drift_line){ .day = &p->day[i], .days = days_of_line(p, i) };
		pw_line_drift(l->day, l->days, PW_DRIFT_BOUNCES, &l->bounces);
		pw_line_drift(l->day, l->days, PW_DRIFT_FAULTS, &l->faults);
	}
	qsort(p->line, p->lines, sizeof(*p->line), by_far);
	return 0;
}

/* -- the lines --------------------------------------------------------------------------------- */

static enum pw_phrase state_of(const struct pw_line_drift *d)
{
	if (!d->known)
		return PW_P_TOO_FEW_DAYS;
	if (d->out)
		return PW_P_DRIFTING;
	return d->was_out ? PW_P_DRIFTED : PW_P_STEADY;
}

static const char *line_name(struct drift_page *p, const struct drift_line *l)
{
	const enum pw_phrase word = pw_phrase_find(l->day->line);
	const char *name = word ? pw_phrase(pw_report_tongue(p->r), word) : l->day->line;

	return *p->bus ? name : pw_report_phrase(p->r, PW_P_DRIFT_OF_BUS, l->day->bus, name, NULL);
}

static void say_since(struct drift_page *p, const struct drift_line *l,
		      const struct pw_line_drift *d, enum pw_phrase phrase)
{
	if (d->out)
		pw_report_say(p->r, PW_SAY_TEXT, phrase, line_name(p, l),
			      pw_report_number(p->r, d->recent, 1),
			      pw_report_number(p->r, d->before, 1),
			      pw_report_day(p->r, d->since ? d->since : d->was_out), NULL);
}

static void say_lines(struct drift_page *p)
{
	size_t out = 0;

	for (size_t i = 0; i < p->lines; i++)
		out += p->line[i].bounces.out || p->line[i].faults.out;
	if (out == 0) {
		pw_report_say(p->r, PW_SAY_LEAD, PW_P_DRIFT_NONE, NULL);
		return;
	}
	pw_report_say_count(p->r, PW_SAY_LEAD, PW_P_DRIFT_LEAD, (int64_t)out, NULL);
	for (size_t i = 0; i < p->lines && i < 10; i++) {
		say_since(p, &p->line[i], &p->line[i].bounces, PW_P_DRIFT_BOUNCES_SINCE);
		say_since(p, &p->line[i], &p->line[i].faults, PW_P_DRIFT_FAULTS_SINCE);
	}
	pw_report_say(p->r, PW_SAY_NEXT, PW_P_DRIFT_NEXT, NULL);
}

static void put_sums(struct pw_table *t, const struct drift_line *l)
{
	int64_t edges = 0, bounces = 0, chatters = 0, disagreements = 0;

	for (size_t i = 0; i < l->days; i++) {
		edges += l->day[i].edges;
		bounces += l->day[i].bounces;
		chatters += l->day[i].chatters;
		disagreements += l->day[i].disagreements;
	}
	pw_cell_put_count(t, (int64_t)l->days);
	pw_cell_put_count(t, edges);
	pw_cell_put_count(t, bounces);
	pw_cell_put_count(t, chatters);
	pw_cell_put_count(t, disagreements);
}

static void put_line(struct drift_page *p, struct pw_table *t, const struct drift_line *l)
{
	const enum pw_phrase state = state_of(&l->bounces), faults = state_of(&l->faults);
	char address[300] = "/drift?bus=", to[16];

	snprintf(to, sizeof(to), "%04d-%02d-%02d", p->to / 10000 % 10000, p->to / 100 % 100,
		 p->to % 100);
	pw_address_add(address, sizeof(address), l->day->bus);
	pw_cell_put_text(t, l->day->bus);
	pw_cell_link(t, "%s&to=%s", address, to);
	pw_cell_put_words(t, l->day->line);
	pw_cell_link(t, "%s&line=%s&to=%s", address, l->day->line, to);
	pw_cell_put_word(t, state);
	pw_cell_put_day(t, l->bounces.out ? l->bounces.since : 0);
	pw_cell_put_number(t, l->bounces.before);
	pw_cell_put_number(t, l->bounces.recent);
	pw_cell_put_number(t, l->bounces.known ? far_of(l) : NAN);
	put_sums(t, l);
	pw_cell_put_word(t, faults);
	pw_cell_put_day(t, l->faults.out ? l->faults.since : 0);
	if (state == PW_P_DRIFTING || faults == PW_P_DRIFTING)
		pw_row_mark(t, PW_P_DRIFTING);
}

/* -- day by day -------------------------------------------------------------------------------- */

/* The days that are what it did before have no charts yet. */
static void put_day(struct pw_table *t, const struct drift_line *l, size_t i)
{
	const struct pw_line_day *d = &l->day[i];
	const size_t before = l->days - l->bounces.points;
	const bool known = l->bounces.known && i >= before;
	const struct pw_drift_point *at = known ? &l->bounces.point[i - before] : NULL;

	pw_cell_put_day(t, d->day);
	pw_cell_put_words(t, d->line);
	pw_cell_put_count(t, d->edges);
	pw_cell_put_count(t, d->bounces);
	pw_cell_put_count(t, d->chatters);
	pw_cell_put_count(t, d->disagreements);
	pw_cell_put_number(t, at ? at->cusum : NAN);
	pw_cell_put_number(t, l->bounces.known ? l->bounces.cusum_limit : NAN);
	pw_cell_put_number(t, at ? at->ewma : NAN);
	pw_cell_put_number(t, l->bounces.known ? l->bounces.ewma_limit : NAN);
}

static const struct drift_line *chosen(const struct drift_page *p)
{
	const char *line = pw_asked_value(p->q, "line");

	for (size_t i = 0; i < p->lines; i++)
		if (strcmp(p->line[i].day->line, line) == 0)
			return &p->line[i];
	return &p->line[0];
}

static void put_days(struct drift_page *p)
{
	const struct drift_line *l = chosen(p);
	struct pw_table *t;

	pw_report_say(p->r, PW_SAY_HEADING, PW_P_DRIFT_DAYS_TABLE, line_name(p, l), NULL);
	t = pw_report_table(p->r, "days", PW_P_DRIFT_DAYS, day_columns);
	for (size_t i = 0; i < p->lines; i++)
		if (p->q->whole || &p->line[i] == l)
			for (size_t day = 0; day < p->line[i].days; day++)
				put_day(t, &p->line[i], day);
	pw_report_picture(p->r, "drift", t, PW_P_DRIFT_CAPTION);
}

/* -- the page ---------------------------------------------------------------------------------- */

/* How many signals so many days of steady lines would give. */
static void say_looks(struct drift_page *p)
{
	size_t watched = 0;

	for (size_t i = 0; i < p->lines; i++)
		watched += p->line[i].bounces.points;
	pw_report_say(p->r, PW_SAY_TEXT, PW_P_DRIFT_LOOKS, pw_report_count(p->r, (int64_t)p->lines),
		      pw_report_count(p->r, (int64_t)watched),
		      pw_report_number(p->r, (double)watched / pw_drift_arl[0].cusum_h5, 1), NULL);
}

static void put_head(struct drift_page *p)
{
	if (*p->bus)
		pw_report_say(p->r, PW_SAY_TITLE, PW_P_DRIFT_TITLE_ONE, p->bus,
			      pw_report_day(p->r, p->from), pw_report_day(p->r, p->to), NULL);
	else
		pw_report_say(p->r, PW_SAY_TITLE, PW_P_DRIFT_TITLE, NULL);
	pw_report_form(p->r, "/drift", true);
	pw_report_field(p->r, PW_FIELD_CODE, "bus", PW_P_COL_BUS, p->bus, false);
	pw_report_field(p->r, PW_FIELD_DAY, "to", PW_P_DRIFT_TO, pw_report_day(p->r, p->to), false);
	pw_report_form_end(p->r, PW_P_SHOW);
}

static void say_methods(struct drift_page *p)
{
	if (*p->bus == '\0')
		pw_report_say(p->r, PW_SAY_TEXT, PW_P_DRIFT_LOOKED_AT,
			      pw_report_count(p->r, (int64_t)p->buses),
			      pw_report_count(p->r, LATELY), NULL);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_DRIFT_MORE_RUNS, NULL);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_DRIFT_BEFORE_BAD, NULL);
	pw_report_say(p->r, PW_SAY_SOURCE, PW_P_DRIFT_METHODS,
		      pw_report_count(p->r, PW_DRIFT_BEFORE), pw_report_count(p->r, DAYS),
		      pw_report_number(p->r, pw_drift_arl[0].cusum_h5, 0), NULL);
}

static void put_page(struct drift_page *p)
{
	const size_t lines = p->q->whole || p->lines < PW_AUDIT_PAGE ? p->lines : PW_AUDIT_PAGE;
	struct pw_table *t;

	put_head(p);
	if (p->lines == 0)
		pw_report_say(p->r, PW_SAY_LEAD, *p->bus ? PW_P_DRIFT_NOTHING : PW_P_DRIFT_QUIET,
			      NULL);
	else
		say_lines(p);
	if (p->lines > 0)
		say_looks(p);
	t = pw_report_table(p->r, "lines", PW_P_DRIFT_LINES_TABLE, line_columns);
	for (size_t i = 0; i < lines; i++)
		put_line(p, t, &p->line[i]);
	if (*p->bus && p->lines > 0)
		put_days(p);
	say_methods(p);
}

static int make(struct drift_page *p)
{
	const int32_t to = pw_asked_day(p->q, "to");
	int result;

	if (to < 0)
		return pw_asked_wrong(p->q, "to", PW_P_DRIFT_WRONG_DAY,
				      pw_asked_value(p->q, "to"));
	p->bus = pw_asked_value(p->q, "bus");
	p->to = to ? to : p->q->today;
	p->from = pw_date_from(pw_date_days(p->to) - DAYS + 1);
	result = find(p);
	if (result == 0)
		result = judge(p);
	if (result == 0)
		put_page(p);
	return result;
}

int pw_drift_get(struct pw_asked *q, struct pw_report *r)
{
	struct drift_page *p = calloc(1, sizeof(*p));
	int result;

	if (p == NULL)
		return -1;
	p->q = q;
	p->r = r;
	result = make(p);
	free(p->line);
	free(p->day);
	free(p);
	return result;
}
