/* SPDX-License-Identifier: Apache-2.0 */
/* The page of trends: by bus, driver code, route, hour or weekday; of one of them as well. */
#include "page_trends.h"

#include <stdlib.h>
#include <string.h>

#include "rows.h"

static const struct pw_trends_kind kinds[] = {
	{ "bus", PW_BY_BUS, PW_P_TRENDS_BY_BUS, PW_P_TRENDS_OF_BUSES, false, true },
	{ "driver", PW_BY_DRIVER, PW_P_TRENDS_BY_DRIVER, PW_P_TRENDS_OF_DRIVERS, false, false },
	{ "route", PW_BY_ROUTE, PW_P_TRENDS_BY_ROUTE, PW_P_TRENDS_OF_ROUTES, false, false },
	{ "hour", PW_BY_HOUR, PW_P_TRENDS_BY_HOUR, PW_P_TRENDS_OF_HOURS, true, false },
	{ "weekday", PW_BY_WEEKDAY, PW_P_TRENDS_BY_WEEKDAY, PW_P_TRENDS_OF_WEEKDAYS,
	  true, false },
};
#define KINDS (sizeof(kinds) / sizeof(kinds[0]))

static const enum pw_phrase counted[PW_TRENDS_OFS] = {
	[PW_TRENDS_OF_MISSED] = PW_P_TRENDS_OF_MISSED,
	[PW_TRENDS_OF_UNPROVEN] = PW_P_TRENDS_OF_UNPROVEN,
	[PW_TRENDS_OF_LATE] = PW_P_TRENDS_OF_LATE,
	[PW_TRENDS_OF_NO_RECORD] = PW_P_TRENDS_OF_NO_RECORD,
};

/* -- spans ------------------------------------------------------------------------------------- */

static bool is_month(int32_t span)
{
	return span / 100 % 100 != 0;
}

/* The year in which its school year begins. */
static int32_t school_year(int32_t span)
{
	return is_month(span) ? pw_span_school_year(span + 1) / 10000 : span / 10000;
}

/* YYYY or YYYY-MM. 0: neither. */
static int32_t read_span(const char *text)
{
	int32_t date;

	if (strspn(text, "0123456789") == 4 && text[4] == '\0')
		return (int32_t)atoi(text) * 10000;
	if (strspn(text, "0123456789") != 4 || text[4] != '-' || strspn(text + 5, "0123456789") != 2 ||
	    text[7] != '\0')
		return 0;
	date = (int32_t)(atoi(text) * 10000 + atoi(text + 5) * 100);
	return pw_date_ok(date + 1) ? date : 0;
}

static void write_span(int32_t span, char text[16])
{
	if (is_month(span))
		snprintf(text, 16, "%04d-%02d", span / 10000 % 10000, span / 100 % 100);
	else
		snprintf(text, 16, "%04d", span / 10000 % 10000);
}

static const char *span_words(struct pw_report *r, int32_t span)
{
	char text[16], next[16];

	write_span(span, text);
	snprintf(next, sizeof(next), "%04d", (span / 10000 + 1) % 10000);
	return is_month(span) ? pw_report_phrase(r, PW_P_TRENDS_MONTH, text, NULL)
			      : pw_report_phrase(r, PW_P_TRENDS_YEAR, text, next, NULL);
}

const char *pw_trends_span_words(struct pw_trends_page *p)
{
	return span_words(p->r, p->span);
}

void pw_trends_address(const struct pw_trends_page *p, const char *name,
		       char address[PW_TRENDS_ADDRESS])
{
	char span[16];

	write_span(p->span, span);
	snprintf(address, PW_TRENDS_ADDRESS, "/trends?by=%s&span=%s&count=%s%s", p->kind->name, span,
		 pw_trends_of_name(p->of), *name ? "&name=" : "");
	pw_address_add(address, PW_TRENDS_ADDRESS, name);
}

/* -- what is asked ----------------------------------------------------------------------------- */

/* Whether what is charted is there day by day. */
static bool has_days(const struct pw_trends_page *p)
{
	return p->kind->days || p->name[0] == '\0';
}

static int read_kind(struct pw_trends_page *p)
{
	const char *by = pw_asked_value(p->q, "by");

	p->kind = &kinds[0];
	if (*by == '\0')
		return 0;
	for (size_t i = 0; i < KINDS; i++)
		if (strcmp(kinds[i].name, by) == 0) {
			p->kind = &kinds[i];
			return 0;
		}
	return pw_asked_wrong(p->q, "by", PW_P_TRENDS_WRONG_BY, by);
}

static int read_count(struct pw_trends_page *p)
{
	const char *count = pw_asked_value(p->q, "count");

	p->of = PW_TRENDS_OF_MISSED;
	if (*count == '\0')
		return 0;
	for (enum pw_trends_of of = PW_TRENDS_OF_NONE + 1; of < PW_TRENDS_OFS; of++)
		if (strcmp(pw_trends_of_name(of), count) == 0) {
			p->of = of;
			return 0;
		}
	return pw_asked_wrong(p->q, "count", PW_P_TRENDS_WRONG_COUNT, count);
}

static int read_time(struct pw_trends_page *p)
{
	const char *span = pw_asked_value(p->q, "span"), *step = pw_asked_value(p->q, "step");

	p->span = *span ? read_span(span) : pw_span_school_year(p->q->today);
	if (p->span == 0)
		return pw_asked_wrong(p->q, "span", PW_P_TRENDS_WRONG_SPAN, span);
	if (*step && strcmp(step, "week") != 0 && strcmp(step, "month") != 0)
		return pw_asked_wrong(p->q, "step", PW_P_TRENDS_WRONG_STEP, step);
	p->series.step = strcmp(step, "month") != 0 && has_days(p) ? PW_TRENDS_WEEK
								     : PW_TRENDS_MONTH;
	return 0;
}

static int read_page(struct pw_trends_page *p)
{
	const char *page = pw_asked_value(p->q, "page");
	long number = strtol(*page ? page : "1", NULL, 10);

	if (strspn(page, "0123456789") != strlen(page) || number < 1 || number > 100000)
		return pw_asked_wrong(p->q, "page", PW_P_TRENDS_PAGE_WRONG, page);
	p->first = (size_t)(number - 1) * PW_AUDIT_PAGE;
	return 0;
}

static int read_asked(struct pw_trends_page *p)
{
	static int (*const parts[])(struct pw_trends_page *) = { read_kind, read_count, read_time,
								 read_page };
	int result = 0;

	p->name = pw_asked_value(p->q, "name");
	for (size_t i = 0; result == 0 && i < sizeof(parts) / sizeof(parts[0]); i++)
		result = parts[i](p);
	return result;
}

/* -- what the store has ------------------------------------------------------------------------ */

/* What has no name is of a driver or route that is not known: no group of its own. */
static int take_group(void *ctx, const struct pw_tally *t)
{
	struct pw_trends_page *p = ctx;

	return t->name[0] == '\0' ? 0 : pw_trends_add(&p->groups, t);
}

static int take_all(void *ctx, const struct pw_tally *t)
{
	struct pw_trends_page *p = ctx;

	p->all = *t;
	return 0;
}

static int take_period(void *ctx, const struct pw_tally *t)
{
	struct pw_trends_page *p = ctx;

	return pw_trends_series_add(&p->series, t);
}

static int take_press(void *ctx, uint32_t second, uint64_t count)
{
	pw_spread_add(ctx, second, count);
	return 0;
}

/* From the begin of its school year to the end of what is asked. */
static int find_series(struct pw_trends_page *p, struct pw_store *s, char *why, size_t size)
{
	const bool one = p->name[0] != '\0', days = has_days(p);
	const int32_t year = school_year(p->span);
	const int32_t last = is_month(p->span) ? p->span : (year + 1) * 10000 + 600;

	return pw_audit_tallies(s, one ? p->kind->by : PW_BY_ALL, p->name,
				year * 10000 + (days ? 701 : 700), days ? last + 31 : last,
				take_period, p, why, size);
}

static int find_times(struct pw_trends_page *p, struct pw_store *s, char *why, size_t size)
{
	int result = pw_audit_spread(s, p->name, 1, p->span, p->span, take_press, &p->press, why,
				     size);

	if (result == 0)
		result = pw_audit_spread(s, p->name, 2, p->span, p->span, take_press, &p->leaving,
					 why, size);
	if (result == 0)
		result = pw_audit_policy(s, p->name, p->policy, sizeof(p->policy), why, size);
	return result < 0 ? result : 0;
}

static int log_view(struct pw_trends_page *p, struct pw_store *s, char *why, size_t size)
{
	char span[16];

	write_span(p->span, span);
	return *p->name ? pw_asked_log(p->q, s, why, size,
				       PW_LOG_SAW "trends of driver %s, %s",
				       p->name, span)
			: pw_asked_log(p->q, s, why, size, PW_LOG_SAW "trends of drivers, %s",
				       span);
}

static int find(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_trends_page *p = ctx;
	int result = 0;

	if (p->kind->by == PW_BY_DRIVER)
		result = log_view(p, s, why, size);
	if (result == 0)
		result = pw_audit_tallies(s, p->kind->by, "", p->span, p->span, take_group, p, why,
					  size);
	if (result == 0)
		result = pw_audit_tallies(s, PW_BY_ALL, "", p->span, p->span, take_all, p, why,
					  size);
	if (result == 0)
		result = find_series(p, s, why, size);
	if (result == 0 && p->kind->by == PW_BY_BUS && *p->name)
		result = find_times(p, s, why, size);
	return result;
}

/* -- the page ---------------------------------------------------------------------------------- */

static void put_span(struct pw_trends_page *p, int32_t span)
{
	char value[16];

	write_span(span, value);
	pw_report_choice_text(p->r, value, span_words(p->r, span), span == p->span);
}

/* Two school years, twelve months, and what is asked where it is none of those. */
static void put_spans(struct pw_trends_page *p)
{
	const int32_t year = pw_span_school_year(p->q->today);
	int32_t month = pw_span_month(p->q->today);
	bool there = p->span == year || p->span == year - 10000;

	pw_report_field(p->r, PW_FIELD_CHOICE, "span", PW_P_TRENDS_SPAN, NULL, false);
	put_span(p, year);
	put_span(p, year - 10000);
	for (int i = 0; i < 12; i++) {
		put_span(p, month);
		there = there || p->span == month;
		month = month / 100 % 100 == 1 ? month - 10000 + 1100 : month - 100;
	}
	if (!there)
		put_span(p, p->span);
}

static void put_form(struct pw_trends_page *p)
{
	pw_report_form(p->r, "/trends", true);
	pw_report_field(p->r, PW_FIELD_CHOICE, "by", PW_P_TRENDS_BY, NULL, false);
	for (size_t i = 0; i < KINDS; i++)
		pw_report_choice(p->r, kinds[i].name, kinds[i].word, &kinds[i] == p->kind);
	pw_report_field(p->r, PW_FIELD_CHOICE, "count", PW_P_TRENDS_COUNT, NULL, false);
	for (enum pw_trends_of of = PW_TRENDS_OF_NONE + 1; of < PW_TRENDS_OFS; of++)
		pw_report_choice(p->r, pw_trends_of_name(of), counted[of], of == p->of);
	put_spans(p);
	pw_report_field(p->r, PW_FIELD_CHOICE, "step", PW_P_TRENDS_STEP, NULL, false);
	pw_report_choice(p->r, "week", PW_P_TRENDS_STEP_WEEK, p->series.step == PW_TRENDS_WEEK);
	pw_report_choice(p->r, "month", PW_P_TRENDS_STEP_MONTH, p->series.step == PW_TRENDS_MONTH);
	pw_report_form_end(p->r, PW_P_SHOW);
}

static void put_ways(struct pw_trends_page *p)
{
	char address[PW_TRENDS_ADDRESS];

	if (*p->name == '\0') {
		pw_report_link(p->r, "/trends?example=worst-year", PW_P_TRENDS_TO_EXAMPLE);
		return;
	}
	if (!p->kind->ordered) {
		snprintf(address, sizeof(address), "/sweeps?%s=", p->kind->name);
		pw_address_add(address, sizeof(address), p->name);
		pw_report_link(p->r, address, PW_P_TRENDS_TO_SWEEPS);
	}
	if (p->kind->by == PW_BY_BUS) {
		snprintf(address, sizeof(address), "/drift?bus=");
		pw_address_add(address, sizeof(address), p->name);
		pw_report_link(p->r, address, PW_P_TRENDS_TO_DRIFT);
	}
	pw_trends_address(p, "", address);
	pw_report_link(p->r, address, PW_P_TRENDS_TO_ALL);
}

static void put_page(struct pw_trends_page *p)
{
	const char *by = pw_phrase(pw_report_tongue(p->r), p->kind->word);

	if (*p->name)
		pw_report_say(p->r, PW_SAY_TITLE, PW_P_TRENDS_TITLE_ONE, by, p->name,
			      pw_trends_span_words(p), NULL);
	else
		pw_report_say(p->r, PW_SAY_TITLE, PW_P_TRENDS_TITLE, by, pw_trends_span_words(p),
			      NULL);
	if (*p->name == '\0')
		put_form(p);
	pw_trends_groups_say(p);
	pw_trends_time_say(p);
	if (*p->name && p->kind->by == PW_BY_BUS)
		pw_trends_times_say(p);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_WHY_NOT, NULL);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_LOW, NULL);
	pw_report_say(p->r, PW_SAY_CAUTION, PW_P_TRENDS_FEW, NULL);
	pw_report_say(p->r, PW_SAY_SOURCE, PW_P_TRENDS_METHODS, NULL);
	put_ways(p);
}

static int make(struct pw_trends_page *p)
{
	int result = read_asked(p);

	if (result == 0)
		result = pw_asked_desk(p->q, find, p);
	if (result == 0)
		result = pw_trends_judge(&p->groups, p->of);
	if (result == 0)
		put_page(p);
	return result;
}

int pw_trends_get(struct pw_asked *q, struct pw_report *r)
{
	struct pw_trends_page *p;
	int result;

	if (strcmp(pw_asked_value(q, "example"), "worst-year") == 0) {
		pw_trends_example_say(r);
		return 0;
	}
	p = calloc(1, sizeof(*p));
	if (p == NULL)
		return -1;
	p->q = q;
	p->r = r;
	result = make(p);
	pw_trends_free(&p->groups);
	free(p);
	return result;
}
