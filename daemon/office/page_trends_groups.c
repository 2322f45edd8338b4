/* SPDX-License-Identifier: Apache-2.0 */
/* Groups beside all of them: how many looks that is, the table, the funnel. */
#include "page_trends.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const enum pw_phrase leads[PW_TRENDS_OFS] = {
	[PW_TRENDS_OF_MISSED] = PW_P_TRENDS_LEAD_MISSED,
	[PW_TRENDS_OF_UNPROVEN] = PW_P_TRENDS_LEAD_UNPROVEN,
	[PW_TRENDS_OF_LATE] = PW_P_TRENDS_LEAD_LATE,
	[PW_TRENDS_OF_NO_RECORD] = PW_P_TRENDS_LEAD_NO_RECORD,
};
static const enum pw_phrase places[PW_TRENDS_PLACES] = {
#define X(up, low) [PW_TRENDS_PLACE_##up] = PW_P_##up,
	PW_TRENDS_PLACE_LIST(X)
#undef X
};

/* Columns but the first, which is a bus, a driver code ... */
#define COLUMNS                                                                                    \
	{ "sweeps", PW_P_TRENDS_COL_SWEEPS, PW_COL_COUNT, 0, false },                              \
	{ "missed", PW_P_TRENDS_COL_MISSED, PW_COL_COUNT, 0, false },                              \
	{ "doubtful", PW_P_TRENDS_COL_DOUBTFUL, PW_COL_COUNT, 0, false },                          \
	{ "late", PW_P_TRENDS_COL_LATE, PW_COL_COUNT, 0, false },                                  \
	{ "runs", PW_P_TRENDS_COL_RUNS, PW_COL_COUNT, 0, false },                                  \
	{ "no_record", PW_P_TRENDS_COL_NO_RECORD, PW_COL_COUNT, 0, false },                        \
	{ "share", PW_P_TRENDS_COL_SHARE, PW_COL_SHARE, 1, false },                                \
	{ "share_lower", PW_P_TRENDS_COL_LOWER, PW_COL_SHARE, 1, false },                          \
	{ "share_upper", PW_P_TRENDS_COL_UPPER, PW_COL_SHARE, 1, false },                          \
	{ "place", PW_P_TRENDS_COL_PLACE, PW_COL_WORD, 0, false },                                 \
	{ "p_value", PW_P_TRENDS_COL_P, PW_COL_NUMBER, 4, false },                                 \
	{ "p_adjusted", PW_P_TRENDS_COL_ADJUSTED, PW_COL_NUMBER, 4, false },                       \
	{ "x", PW_P_TRENDS_COL_X, PW_COL_COUNT, 0, true },                                         \
	{ "n", PW_P_TRENDS_COL_N, PW_COL_COUNT, 0, true },                                         \
	{ "target", PW_P_TRENDS_COL_TARGET, PW_COL_SHARE, 1, true },                               \
	{ "warning_lower", PW_P_TRENDS_COL_WARNING_LOWER, PW_COL_SHARE, 1, true },                 \
	{ "warning_upper", PW_P_TRENDS_COL_WARNING_UPPER, PW_COL_SHARE, 1, true },                 \
	{ "alarm_lower", PW_P_TRENDS_COL_ALARM_LOWER, PW_COL_SHARE, 1, true },                     \
	{ "alarm_upper", PW_P_TRENDS_COL_ALARM_UPPER, PW_COL_SHARE, 1, true },                     \
	{ "walked", PW_P_TRENDS_COL_WALKED, PW_COL_COUNT, 0, true },                               \
	{ "silent", PW_P_TRENDS_COL_SILENT, PW_COL_COUNT, 0, true },                               \
	{ "unplanned", PW_P_TRENDS_COL_UNPLANNED, PW_COL_COUNT, 0, true },                         \
	{ "corrected", PW_P_TRENDS_COL_CORRECTED, PW_COL_COUNT, 0, true },                         \
	{ "refused", PW_P_COL_REFUSED, PW_COL_COUNT, 0, true },                                    \
	{ "unchecked_ms", PW_P_COL_UNCHECKED, PW_COL_SPAN, 0, true }, { .name = NULL }

static const struct pw_column of_buses[] = {
	{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false }, COLUMNS };
static const struct pw_column of_drivers[] = {
	{ "driver", PW_P_COL_DRIVER, PW_COL_TEXT, 0, false }, COLUMNS };
static const struct pw_column of_routes[] = {
	{ "route", PW_P_COL_ROUTE, PW_COL_TEXT, 0, false }, COLUMNS };
static const struct pw_column of_hours[] = {
	{ "hour", PW_P_TRENDS_BY_HOUR, PW_COL_TEXT, 0, false }, COLUMNS };
static const struct pw_column of_weekdays[] = {
	{ "weekday", PW_P_TRENDS_BY_WEEKDAY, PW_COL_WORD, 0, false }, COLUMNS };
static const struct pw_column *const columns[] = {
	[PW_BY_BUS] = of_buses, [PW_BY_DRIVER] = of_drivers, [PW_BY_ROUTE] = of_routes,
	[PW_BY_HOUR] = of_hours, [PW_BY_WEEKDAY] = of_weekdays,
};

static const struct pw_column point_columns[] = {
	{ "name", PW_P_TRENDS_COL_NAME, PW_COL_TEXT, 0, false },
	{ "groups", PW_P_TRENDS_COL_GROUPS, PW_COL_COUNT, 0, false },
	{ "n", PW_P_TRENDS_COL_N, PW_COL_NUMBER, 0, false },
	{ "share", PW_P_TRENDS_COL_SHARE, PW_COL_SHARE, 1, false },
	{ "target", PW_P_TRENDS_COL_TARGET, PW_COL_SHARE, 1, false },
	{ "warning_lower", PW_P_TRENDS_COL_WARNING_LOWER, PW_COL_SHARE, 1, false },
	{ "warning_upper", PW_P_TRENDS_COL_WARNING_UPPER, PW_COL_SHARE, 1, false },
	{ "alarm_lower", PW_P_TRENDS_COL_ALARM_LOWER, PW_COL_SHARE, 1, false },
	{ "alarm_upper", PW_P_TRENDS_COL_ALARM_UPPER, PW_COL_SHARE, 1, false },
	{ .name = NULL }
};

/* -- sentences --------------------------------------------------------------------------------- */

static void say_looks(struct pw_trends_page *p)
{
	struct pw_report *r = p->r;
	const struct pw_trends *t = &p->groups;
	const char *looks = pw_report_counted(r, p->kind->looks, (int64_t)t->looks);

	pw_report_say(r, PW_SAY_TEXT, PW_P_TRENDS_LOOKS, looks,
		      pw_report_number(r, t->by_chance, t->by_chance < 10),
		      pw_report_count(r, (int64_t)t->outside), pw_report_count(r, (int64_t)t->found),
		      NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_TRENDS_FALSE_ALARM,
		      pw_report_share(r, t->false_alarm, t->false_alarm > 0.99 ? 2 : 0), NULL);
	if (pw_trends_spread_wide(t))
		pw_report_say(r, PW_SAY_CAUTION, PW_P_TRENDS_WIDE,
			      pw_report_number(r, t->dispersion, 1), NULL);
}

/* What has no driver code, or no route, is in none of the groups. */
static void say_unnamed(struct pw_trends_page *p)
{
	const uint64_t all = pw_trends_share(&p->all, p->of).n;

	if (all > p->groups.all.n)
		pw_report_say_count(p->r, PW_SAY_TEXT, PW_P_TRENDS_UNNAMED,
				    (int64_t)(all - p->groups.all.n), NULL);
}

static void say_lead(struct pw_trends_page *p, struct pw_share s)
{
	pw_report_say(p->r, PW_SAY_LEAD, leads[p->of], pw_report_count(p->r, (int64_t)s.x),
		      pw_report_count(p->r, (int64_t)s.n),
		      pw_report_share(p->r, (double)s.x / (double)s.n, 1), NULL);
}

/* -- the table --------------------------------------------------------------------------------- */

static void put_name(struct pw_trends_page *p, struct pw_table *t, const char *name)
{
	char code[24], address[PW_TRENDS_ADDRESS];

	snprintf(code, sizeof(code), "weekday_%.12s", name);
	if (p->kind->by == PW_BY_WEEKDAY)
		pw_cell_put_word(t, pw_phrase_find(code));
	else
		pw_cell_put_text(t, name);
	pw_trends_address(p, name, address);
	pw_cell_link(t, "%s", address);
}

static void put_counts(struct pw_table *t, const struct pw_tally *c)
{
	const uint64_t counts[] = { c->sweeps, c->missed, c->doubtful, c->late, c->runs,
				    c->no_record };

	for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++)
		pw_cell_put_count(t, (int64_t)counts[i]);
}

static void put_for_files(struct pw_table *t, const struct pw_trends_group *g, double target)
{
	const struct pw_tally *c = &g->tally;
	const double limits[] = { target, g->warning.lower, g->warning.upper, g->alarm.lower,
				  g->alarm.upper };
	const uint64_t counts[] = { c->walked, c->silent, c->unplanned, c->corrected, c->refused };

	pw_cell_put_count(t, (int64_t)g->share.x);
	pw_cell_put_count(t, (int64_t)g->share.n);
	for (size_t i = 0; i < sizeof(limits) / sizeof(limits[0]); i++)
		pw_cell_put_number(t, limits[i]);
	for (size_t i = 0; i < sizeof(counts) / sizeof(counts[0]); i++)
		pw_cell_put_count(t, (int64_t)counts[i]);
	pw_cell_put_time(t, c->unchecked_ms);
}

static void put_group(struct pw_trends_page *p, struct pw_table *t, const struct pw_trends_group *g)
{
	const bool some = g->share.n > 0;
	struct pw_interval wilson = { NAN, NAN };

	if (some)
		wilson = pw_share_wilson(g->share, PW_TRENDS_LEVEL, false);
	put_name(p, t, g->tally.name);
	put_counts(t, &g->tally);
	pw_cell_put_number(t, some ? (double)g->share.x / (double)g->share.n : NAN);
	pw_cell_put_number(t, wilson.lower);
	pw_cell_put_number(t, wilson.upper);
	pw_cell_put_word(t, places[g->place]);
	pw_cell_put_number(t, g->p_value);
	pw_cell_put_number(t, g->adjusted);
	put_for_files(t, g, p->groups.target);
	if (g->place != PW_TRENDS_PLACE_WITHIN && some)
		pw_row_mark(t, places[g->place]);
}

static int by_name(const void *a, const void *b)
{
	const struct pw_trends_group *one = a, *other = b;

	return strcmp(one->tally.name, other->tally.name);
}

static struct pw_table *put_groups(struct pw_trends_page *p)
{
	const struct pw_trends *g = &p->groups;
	const bool paged = !p->q->whole && !p->kind->ordered;
	const size_t end = paged && p->first + PW_AUDIT_PAGE < g->groups ? p->first + PW_AUDIT_PAGE
									 : g->groups;
	struct pw_table *t = pw_report_table(p->r, "trends", p->kind->ordered
					     ? PW_P_TRENDS_TABLE_IN_ORDER : PW_P_TRENDS_TABLE,
					     columns[p->kind->by]);
	char address[PW_TRENDS_ADDRESS + 32];

	for (size_t i = paged ? p->first : 0; i < end; i++)
		put_group(p, t, &g->group[i]);
	if (end < g->groups) {
		pw_trends_address(p, "", address);
		snprintf(address + strlen(address), 32, "&page=%zu", end / PW_AUDIT_PAGE + 1);
		pw_table_more(t, address);
	}
	return t;
}

/* -- the funnel -------------------------------------------------------------------------------- */

static void put_point(struct pw_trends_page *p, struct pw_table *t, const struct pw_funnel_point *f)
{
	pw_cell_put_text(t, f->one ? f->one->tally.name
				   : pw_report_counted(p->r, p->kind->looks, (int64_t)f->groups));
	pw_cell_put_count(t, (int64_t)f->groups);
	pw_cell_put_number(t, f->n);
	pw_cell_put_number(t, f->share);
	pw_cell_put_number(t, p->groups.target);
	pw_cell_put_number(t, f->warning.lower);
	pw_cell_put_number(t, f->warning.upper);
	pw_cell_put_number(t, f->alarm.lower);
	pw_cell_put_number(t, f->alarm.upper);
}

static struct pw_table *put_points(struct pw_trends_page *p)
{
	struct pw_table *t = pw_report_table(p->r, "funnel", PW_P_TRENDS_POINTS, point_columns);
	struct pw_funnel_point *point = calloc(PW_FUNNEL_POINTS, sizeof(*point));
	size_t points = point ? pw_trends_funnel(&p->groups, point) : 0;

	pw_table_fold(t);
	for (size_t i = 0; i < points; i++)
		put_point(p, t, &point[i]);
	free(point);
	return t;
}

static const struct pw_trends_group *chosen(const struct pw_trends_page *p)
{
	for (size_t i = 0; i < p->groups.groups; i++)
		if (strcmp(p->groups.group[i].tally.name, p->name) == 0)
			return &p->groups.group[i];
	return NULL;
}

static void say_one(struct pw_trends_page *p)
{
	const struct pw_trends_group *g = chosen(p);

	if (g == NULL || g->share.n == 0) {
		pw_report_say(p->r, PW_SAY_LEAD, PW_P_TRENDS_WRONG_NAME, p->name, NULL);
		return;
	}
	say_lead(p, g->share);
	put_group(p, pw_report_table(p->r, "trends", PW_P_NONE, columns[p->kind->by]), g);
	pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_ONE_IS_CHOSEN, NULL);
	say_looks(p);
}

void pw_trends_groups_say(struct pw_trends_page *p)
{
	struct pw_table *t;

	if (*p->name) {
		say_one(p);
		return;
	}
	if (p->groups.looks == 0) {
		pw_report_say(p->r, PW_SAY_LEAD, PW_P_TRENDS_NOTHING, NULL);
	} else {
		say_lead(p, p->groups.all);
		say_unnamed(p);
		say_looks(p);
	}
	if (p->kind->ordered && p->groups.groups > 0)
		qsort(p->groups.group, p->groups.groups, sizeof(*p->groups.group), by_name);
	if (!p->kind->ordered && p->groups.looks > 0)
		pw_report_picture(p->r, "funnel", put_points(p), PW_P_TRENDS_FUNNEL_CAPTION);
	t = put_groups(p);
	if (p->kind->ordered)
		pw_report_picture_of(p->r, "bars", t,
				     "value=share lower=share_lower upper=share_upper",
				     PW_P_TRENDS_BARS_CAPTION);
}
