/* SPDX-License-Identifier: Apache-2.0 */
/* Over weeks or months: a p chart of what is counted, a u chart of presses refused. */
#include "page_trends.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define FEW_POINTS 8 /* of the longest run rule */

static const struct pw_column chart_columns[] = {
	{ "begin", PW_P_TRENDS_COL_BEGIN, PW_COL_DAY, 0, false },
	{ "count", PW_P_TRENDS_COL_X, PW_COL_COUNT, 0, false },
	{ "size", PW_P_TRENDS_COL_N, PW_COL_COUNT, 0, false },
	{ "value", PW_P_TRENDS_COL_SHARE, PW_COL_SHARE, 1, false },
	{ "mean", PW_P_TRENDS_COL_MEAN, PW_COL_SHARE, 1, false },
	{ "lower", PW_P_TRENDS_COL_LIMIT_LOWER, PW_COL_SHARE, 1, false },
	{ "upper", PW_P_TRENDS_COL_LIMIT_UPPER, PW_COL_SHARE, 1, false },
	{ "sigmas", PW_P_TRENDS_COL_SIGMAS, PW_COL_NUMBER, 1, false },
	{ "rules", PW_P_TRENDS_COL_RULES, PW_COL_WORD, 0, false },
	{ .name = NULL }
};
static const struct pw_column refusal_columns[] = {
	{ "begin", PW_P_TRENDS_COL_BEGIN, PW_COL_DAY, 0, false },
	{ "refused", PW_P_TRENDS_COL_REFUSED, PW_COL_COUNT, 0, false },
	{ "sweeps", PW_P_TRENDS_COL_SWEEPS, PW_COL_COUNT, 0, false },
	{ "value", PW_P_TRENDS_COL_RATE, PW_COL_NUMBER, 3, false },
	{ "mean", PW_P_TRENDS_COL_MEAN, PW_COL_NUMBER, 3, false },
	{ "lower", PW_P_TRENDS_COL_LIMIT_LOWER, PW_COL_NUMBER, 3, false },
	{ "upper", PW_P_TRENDS_COL_LIMIT_UPPER, PW_COL_NUMBER, 3, false },
	{ "sigmas", PW_P_TRENDS_COL_SIGMAS, PW_COL_NUMBER, 1, false },
	{ "rules", PW_P_TRENDS_COL_RULES, PW_COL_WORD, 0, false },
	{ .name = NULL }
};

/* -- which rules end where --------------------------------------------------------------------- */

static void rule_names(uint32_t rules, char *text, size_t size)
{
	text[0] = '\0';
	for (size_t i = 0; i < PW_RUN_RULES; i++) {
		size_t length = strlen(text);

		if (rules & UINT32_C(1) << i)
			snprintf(text + length, size - length, "%s%s", length ? " " : "",
				 pw_run_rules[i].name);
	}
}

/* Each rule that ended anywhere, where it did so last. */
static bool say_rules(struct pw_trends_page *p)
{
	const struct pw_trends_chart *c = &p->chart;
	const enum pw_tongue tongue = pw_report_tongue(p->r);
	bool any = false;

	for (size_t rule = 0; rule < PW_RUN_RULES; rule++) {
		size_t i = c->points;

		while (i > 0 && !(c->point[i - 1].rules & UINT32_C(1) << rule))
			i--;
		if (i == 0)
			continue;
		any = true;
		pw_report_say(p->r, PW_SAY_TEXT, c->point[i - 1].sigmas >= 0
			      ? PW_P_TRENDS_RULE_ABOVE : PW_P_TRENDS_RULE_BELOW,
			      pw_report_day(p->r, p->series.period[c->index[i - 1]].begin),
			      pw_phrase(tongue, pw_phrase_find(pw_run_rules[rule].name)), NULL);
	}
	return any;
}

static double events(const struct pw_trends_chart *c)
{
	double sum = 0;

	for (size_t i = 0; i < c->points; i++)
		sum += c->point[i].count;
	return sum;
}

static void say_chart(struct pw_trends_page *p)
{
	const struct pw_trends_chart *c = &p->chart;
	const char *points = pw_report_count(p->r, (int64_t)c->points);

	if (!say_rules(p))
		pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_NO_RULE, points, NULL);
	pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_RULES_RARELY,
		      pw_report_number(p->r, PW_ARL_3_SIGMA, 0),
		      pw_report_number(p->r, PW_ARL_WESTERN_ELECTRIC, 0), points, NULL);
	if (c->points < FEW_POINTS)
		pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_SHORT_CHART,
			      pw_report_count(p->r, FEW_POINTS), NULL);
	/* The chi-square of small counts is none. */
	if (c->chart.dispersion > 1 && c->chart.dispersion_p < 0.01 &&
	    events(c) >= (double)c->points)
		pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_CHART_WIDE,
			      pw_report_number(p->r, c->chart.dispersion, 1), NULL);
}

/* -- tables ------------------------------------------------------------------------------------ */

static struct pw_table *put_chart(struct pw_trends_page *p, const char *name, enum pw_phrase title,
				  const struct pw_column *columns)
{
	const struct pw_trends_chart *c = &p->chart;
	struct pw_table *t = pw_report_table(p->r, name, title, columns);

	for (size_t i = 0; i < c->points; i++) {
		const struct pw_chart_point *at = &c->point[i];
		char rules[200];

		pw_cell_put_day(t, p->series.period[c->index[i]].begin);
		pw_cell_put_count(t, (int64_t)at->count);
		pw_cell_put_count(t, (int64_t)at->size);
		pw_cell_put_number(t, at->value);
		pw_cell_put_number(t, c->chart.mean);
		pw_cell_put_number(t, at->lower);
		pw_cell_put_number(t, at->upper);
		pw_cell_put_number(t, at->sigmas);
		rule_names(at->rules, rules, sizeof(rules));
		pw_cell_put_words(t, rules);
	}
	return t;
}

static void say_heading(struct pw_trends_page *p)
{
	const int32_t year = pw_span_school_year(p->series.period[0].begin) / 10000;
	char begins[16], ends[16];

	snprintf(begins, sizeof(begins), "%d", year);
	snprintf(ends, sizeof(ends), "%d", year + 1);
	pw_report_say(p->r, PW_SAY_HEADING, p->series.step == PW_TRENDS_WEEK
		      ? PW_P_TRENDS_OVER_WEEKS : PW_P_TRENDS_OVER_MONTHS, begins, ends, NULL);
}

void pw_trends_time_say(struct pw_trends_page *p)
{
	if (p->series.periods == 0)
		return;
	say_heading(p);
	if (pw_trends_chart(&p->series, p->of, &p->chart) != 0) {
		pw_report_say(p->r, PW_SAY_TEXT, PW_P_TRENDS_CHART_NONE, NULL);
		return;
	}
	say_chart(p);
	pw_report_picture(p->r, "chart", put_chart(p, "chart", PW_P_TRENDS_CHART_TABLE,
						   chart_columns), PW_P_TRENDS_CHART_CAPTION);
	if (pw_trends_chart(&p->series, PW_TRENDS_OF_NONE, &p->chart) != 0)
		return;
	pw_report_say(p->r, PW_SAY_HEADING, PW_P_TRENDS_REFUSALS, NULL);
	say_chart(p);
	pw_report_picture(p->r, "chart", put_chart(p, "refusals", PW_P_TRENDS_REFUSALS_TABLE,
						   refusal_columns),
			  PW_P_TRENDS_REFUSALS_CAPTION);
}
