/* SPDX-License-Identifier: Apache-2.0 */
/* Times from key-off to press and to leaving of one bus, beside the least time of a walk. */
#include "page_trends.h"

#include <math.h>

#include "postwalk/record.h"

#define BINS 60   /* rows of a page at most; a file has every second */
#define NEAR_S 3  /* so soon after the least time */

static const struct pw_column times_columns[] = {
	{ "what", PW_P_COL_WHAT, PW_COL_WORD, 0, false },
	{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
	{ "q05", PW_P_TRENDS_COL_Q05, PW_COL_NUMBER, 1, false },
	{ "q25", PW_P_TRENDS_COL_Q25, PW_COL_NUMBER, 1, false },
	{ "median", PW_P_TRENDS_COL_MEDIAN, PW_COL_NUMBER, 1, false },
	{ "q75", PW_P_TRENDS_COL_Q75, PW_COL_NUMBER, 1, false },
	{ "q95", PW_P_TRENDS_COL_Q95, PW_COL_NUMBER, 1, false },
	{ "minimum", PW_P_TRENDS_COL_MINIMUM, PW_COL_NUMBER, 1, false },
	{ "below", PW_P_TRENDS_COL_BELOW, PW_COL_COUNT, 0, false },
	{ .name = NULL }
};
static const struct pw_column count_columns[] = {
	{ "at", PW_P_TRENDS_COL_SECONDS, PW_COL_NUMBER, 0, false },
	{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
	{ "minimum", PW_P_TRENDS_COL_MINIMUM, PW_COL_NUMBER, 1, false },
	{ .name = NULL }
};

/* NAN where no policy can be read. */
static double least_s(const struct pw_trends_page *p)
{
	struct pw_policy policy;
	char why[200];

	if (p->policy[0] == '\0' || pw_policy_read(p->policy, &policy, why, sizeof(why)) != 0)
		return NAN;
	return (double)pw_walk_min_ms(&policy) / 1000;
}

static void put_times(struct pw_table *t, enum pw_phrase what, const struct pw_spread *s,
		      double least)
{
	static const double at[] = { 0.05, 0.25, 0.5, 0.75, 0.95 };

	pw_cell_put_word(t, what);
	pw_cell_put_count(t, (int64_t)s->n);
	for (size_t i = 0; i < sizeof(at) / sizeof(at[0]); i++)
		pw_cell_put_number(t, pw_spread_quantile(s, at[i]));
	pw_cell_put_number(t, least);
	if (isnan(least))
		pw_cell_put_none(t);
	else
		pw_cell_put_count(t, (int64_t)pw_spread_below(s, floor(least)));
}

/* Seconds side by side that are one row, so that there are no more rows than that. */
static uint32_t bin_of(const struct pw_spread *s)
{
	uint32_t least = 0, most = 0;

	for (uint32_t i = 0; i <= PW_SPREAD_MOST_S; i++) {
		if (s->count[i] == 0)
			continue;
		least = most == 0 ? i : least;
		most = i;
	}
	return (most - least) / BINS + 1;
}

static struct pw_table *put_counts(struct pw_trends_page *p, const char *name, enum pw_phrase title,
				   const struct pw_spread *s, double least)
{
	struct pw_table *t = pw_report_table(p->r, name, title, count_columns);
	const uint32_t bin = p->q->whole ? 1 : bin_of(s);

	pw_table_fold(t);
	for (uint32_t begin = 0; begin <= PW_SPREAD_MOST_S; begin += bin) {
		uint64_t count = pw_spread_below(s, begin + bin) - pw_spread_below(s, begin);

		if (count == 0)
			continue;
		pw_cell_put_number(t, begin);
		pw_cell_put_count(t, (int64_t)count);
		pw_cell_put_number(t, least);
	}
	return t;
}

static void say_least(struct pw_trends_page *p, double least)
{
	const struct pw_spread *s = &p->press;
	const double median = pw_spread_quantile(s, 0.5);
	uint64_t near;

	if (isnan(least)) {
		pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_NO_MINIMUM, NULL);
		return;
	}
	pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_WALK_MINIMUM,
		      pw_report_span(p->r, (int64_t)(least * 1000)),
		      pw_report_span(p->r, (int64_t)(median * 1000)), NULL);
	near = pw_spread_below(s, least + NEAR_S) - pw_spread_below(s, floor(least));
	pw_report_say_count(p->r, PW_SAY_TEXT, PW_P_TRENDS_WALK_NEAR, (int64_t)near,
			    pw_report_count(p->r, (int64_t)s->n),
			    pw_report_span(p->r, NEAR_S * 1000), NULL);
}

void pw_trends_times_say(struct pw_trends_page *p)
{
	const double least = least_s(p);
	struct pw_table *t;

	if (p->press.n == 0)
		return;
	pw_report_say(p->r, PW_SAY_HEADING, PW_P_TRENDS_TIMES, NULL);
	say_least(p, least);
	t = pw_report_table(p->r, "times", PW_P_TRENDS_TIMES_TABLE, times_columns);
	put_times(t, PW_P_TRENDS_TO_PRESS, &p->press, least);
	put_times(t, PW_P_TRENDS_TO_LEAVING, &p->leaving, NAN);
	pw_report_picture(p->r, "spread", t, PW_P_TRENDS_TIMES_CAPTION);
	t = put_counts(p, "press", PW_P_TRENDS_PRESS_TABLE, &p->press, least);
	pw_report_picture(p->r, "spread", t, PW_P_TRENDS_PRESS_CAPTION);
	put_counts(p, "leaving", PW_P_TRENDS_LEAVING_TABLE, &p->leaving, NAN);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_TIMES_SAY, NULL);
}
