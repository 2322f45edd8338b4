/* SPDX-License-Identifier: Apache-2.0 */
/* A worst year that is no signal: a lesson that is built in (F7). */
#include "page_trends.h"

#include <math.h>

static const struct pw_column columns[] = {
	{ "year", PW_P_TRENDS_COL_YEAR, PW_COL_TEXT, 0, false },
	{ "count", PW_P_COL_COUNT, PW_COL_COUNT, 0, false },
	{ "mean", PW_P_TRENDS_COL_MEAN, PW_COL_NUMBER, 2, false },
	{ "lower", PW_P_TRENDS_COL_LIMIT_LOWER, PW_COL_NUMBER, 2, false },
	{ "upper", PW_P_TRENDS_COL_LIMIT_UPPER, PW_COL_NUMBER, 2, false },
	{ "sigmas", PW_P_TRENDS_COL_SIGMAS, PW_COL_NUMBER, 1, false },
	{ .name = NULL }
};

static size_t worst(void)
{
	size_t most = 0;

	for (size_t i = 1; i < PW_WORST_YEARS; i++)
		if (pw_worst_year[i].count > pw_worst_year[most].count)
			most = i;
	return most;
}

static void put_years(struct pw_table *t, const struct pw_chart_point *point, double mean)
{
	for (size_t i = 0; i < PW_WORST_YEARS; i++) {
		char year[16];

		snprintf(year, sizeof(year), "%d", pw_worst_year[i].year);
		pw_cell_put_text(t, year);
		pw_cell_put_count(t, pw_worst_year[i].count);
		pw_cell_put_number(t, mean);
		pw_cell_put_number(t, point[i].lower);
		pw_cell_put_number(t, point[i].upper);
		pw_cell_put_number(t, point[i].sigmas);
	}
}

void pw_trends_example_say(struct pw_report *r)
{
	struct pw_chart_point point[PW_WORST_YEARS];
	const size_t most = worst();
	struct pw_chart chart;
	struct pw_table *t;
	char year[16];

	for (size_t i = 0; i < PW_WORST_YEARS; i++)
		point[i] = (struct pw_chart_point){ .count = pw_worst_year[i].count, .size = 1 };
	pw_chart(PW_CHART_C, NAN, point, PW_WORST_YEARS, &chart);
	snprintf(year, sizeof(year), "%d", pw_worst_year[most].year);
	pw_report_say(r, PW_SAY_TITLE, PW_P_TRENDS_EXAMPLE_TITLE, NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_TRENDS_EXAMPLE_LEAD,
		      pw_report_count(r, pw_worst_year[most].count), year,
		      pw_report_number(r, point[most].lower, 2),
		      pw_report_number(r, point[most].upper, 2), NULL);
	pw_report_say(r, PW_SAY_TEXT, PW_P_TRENDS_EXAMPLE_TEXT, pw_report_number(r, chart.mean, 2),
		      NULL);
	t = pw_report_table(r, "worst_year", PW_P_TRENDS_EXAMPLE_TABLE, columns);
	put_years(t, point, chart.mean);
	pw_report_picture_of(r, "chart", t, "value=count", PW_P_TRENDS_EXAMPLE_CAPTION);
	pw_report_say(r, PW_SAY_CAUTION, PW_P_TRENDS_EXAMPLE_NOT, NULL);
	pw_report_say(r, PW_SAY_SOURCE, PW_P_TRENDS_EXAMPLE_SOURCE, NULL);
	pw_report_link(r, "/trends", PW_P_TRENDS_NAME);
}
