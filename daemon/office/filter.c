/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The SQL of a filter. Each page comes out of one index in its order: that of what the filter names
 * and fewest rows have. Where it asks for one of several values, each of them is such a page, and
 * the newest of all of them are taken.
 */
#include <assert.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "rows_internal.h"

#define DAY_MS INT64_C(86400000)
#define SHORT_DAYS 32
#define PAGES_MAX 4 /* of findings: with more of them, a row with any of them is not rare */
/* A row's moment is not always within its day: a zone is up to 14 h before UTC or 12 h behind it, a run
 * ends up to 16 h after it began, and its stop may be 90 min later (store_plans.c, match.c). */
#define BEFORE_MS (14 * INT64_C(3600000))
#define BEHIND_MS (DAY_MS + 30 * INT64_C(3600000))

/* What leads a page, the rarest first. The WHERE of its index follows where it is of rare rows. */
enum lead { BY_BUS, BY_DRIVER, BY_ROUTE, BY_SOME_DAYS, BY_LONGEST, BY_FINDINGS, BY_SOME_FINDING, BY_RESULTS,
	    BY_VERDICTS, BY_RUNG, BY_DAY, BY_DAYS, BY_TIME, LEADS };
static const struct fragment {
	const char *moment, *index;
} fragments[LEADS] = {
	[BY_BUS] = { "o.at_ms", "" },
	[BY_DRIVER] = { "o.at_ms", " AND o.driver <> ''" },
	[BY_ROUTE] = { "o.at_ms", " AND o.route <> ''" },
	[BY_SOME_DAYS] = { "o.at_ms", " AND o.verdict = 'missed'"
				      " AND o.verdict IN ('late', 'doubtful', 'missed')" },
	[BY_LONGEST] = { "o.unchecked_ms", "" },
	[BY_FINDINGS] = { "f.at_ms", "" },
	[BY_SOME_FINDING] = { "o.at_ms", " AND o.findings <> ''" },
	[BY_RESULTS] = { "o.at_ms", " AND o.stands <> 'walked'" },
	[BY_VERDICTS] = { "o.at_ms", " AND o.verdict IN ('late', 'doubtful', 'missed')" },
	[BY_RUNG] = { "o.at_ms", " AND o.rung NOT IN ('', 'none')" },
	[BY_DAY] = { "o.at_ms", "" },
	[BY_DAYS] = { "i.at_ms", "" },
	[BY_TIME] = { "o.at_ms", "" },
};

/* -- text and arguments ------------------------------------------------------------------------ */

__attribute__((format(printf, 2, 3)))
static void say(struct pw_filter_sql *m, const char *format, ...)
{
	const size_t used = strlen(m->sql);
	va_list args;
	int n;

	va_start(args, format);
	n = vsnprintf(m->sql + used, sizeof(m->sql) - used, format, args);
	va_end(args);
	assert(n >= 0 && (size_t)n < sizeof(m->sql) - used);
}

/* Its number, from 1 on. */
static size_t argue(struct pw_filter_sql *m, char type, struct pw_cell cell)
{
	const size_t count = strlen(m->types);

	assert(count < PW_CELLS_MAX);
	m->types[count] = type;
	m->args[count] = cell;
	return count + 1;
}

/* One that was argued before has the same number. */
static size_t argue_text(struct pw_filter_sql *m, const char *text)
{
	for (size_t i = 0; m->types[i] != '\0'; i++)
		if (m->types[i] == 't' && m->args[i].bytes == text)
			return i + 1;
	return argue(m, 't', pw_cell_text(text));
}

static size_t argue_number(struct pw_filter_sql *m, int64_t number)
{
	for (size_t i = 0; m->types[i] != '\0'; i++)
		if (m->types[i] == 'i' && m->args[i].number == number)
			return i + 1;
	return argue(m, 'i', pw_cell_number(number));
}

/* -- sets -------------------------------------------------------------------------------------- */

static const char *result_name(unsigned i)
{
	return pw_result_name((enum pw_result)i);
}

static const char *verdict_name(unsigned i)
{
	return pw_verdict_name((enum pw_verdict)i);
}

static const char *finding_name(unsigned i)
{
	return pw_finding_name((enum pw_finding)i);
}

struct set {
	uint32_t bits;
	unsigned first, end;
	const char *(*name)(unsigned i);
};

static struct set set_of(const struct pw_audit_filter *f, enum lead of)
{
	if (of == BY_RESULTS)
		return (struct set){ f->results, 1, PW_RESULTS, result_name };
	if (of == BY_VERDICTS)
		return (struct set){ f->verdicts, PW_DONE, PW_MISSED + 1, verdict_name };
	return (struct set){ f->findings, 0, PW_FINDINGS, finding_name };
}

static void say_in(struct pw_filter_sql *m, const char *column, struct set set)
{
	const char *before = "";

	if (set.bits == 0)
		return;
	say(m, " AND %s || '' IN (", column);
	for (unsigned i = set.first; i < set.end; i++)
		if (set.bits & 1u << i) {
			say(m, "%s'%s'", before, set.name(i));
			before = ", ";
		}
	say(m, "%s)", before[0] != '\0' ? "" : "'none'");
}

/* Names have spaces between; any of them. */
static void say_findings(struct pw_filter_sql *m, struct set set)
{
	const char *before = " AND (";

	for (unsigned i = set.first; i < set.end; i++)
		if (set.bits & 1u << i) {
			say(m, "%s' ' || o.findings || ' ' LIKE '%% %s %%'", before, set.name(i));
			before = " OR ";
		}
	if (set.bits != 0)
		say(m, before[1] == 'O' ? ")" : " AND o.findings = 'none'");
}

/* -- conditions -------------------------------------------------------------------------------- */

/* Midnight in UTC of a day as YYYYMMDD: of the civil calendar, years 1 on. */
static int64_t midnight_ms(int32_t day)
{
	const int32_t month = day / 100 % 100, year = day / 10000 - (month <= 2);
	const int32_t shifted = (month + 9) % 12, of_year = year % 400;
	const int64_t days = year / 400 * INT64_C(146097) + of_year * 365 + of_year / 4
			     - of_year / 100 + (153 * shifted + 2) / 5 + day % 100 - 1 - 719468;

	return days * DAY_MS;
}

/* The missed ones of so few days are put in order sooner than those of all days are looked through. */
static bool is_short(const struct pw_audit_filter *f)
{
	return f->from != 0 && f->to != 0
	       && midnight_ms(f->to) - midnight_ms(f->from) < SHORT_DAYS * DAY_MS;
}

static enum lead lead_of(const struct pw_audit_filter *f)
{
	const uint32_t dense = 1u << PW_RESULT_WALKED;

	if (f->bus[0] != '\0')
		return BY_BUS;
	if (f->driver[0] != '\0')
		return BY_DRIVER;
	if (f->route[0] != '\0')
		return BY_ROUTE;
	if (f->longest)
		return is_short(f) ? BY_SOME_DAYS : BY_LONGEST;
	if (f->findings != 0)
		return __builtin_popcount(f->findings) <= PAGES_MAX ? BY_FINDINGS : BY_SOME_FINDING;
	if (f->results != 0 && (f->results & dense) == 0)
		return BY_RESULTS;
	if (f->verdicts != 0 && (f->verdicts & 1u << PW_DONE) == 0)
		return BY_VERDICTS;
	if (f->rung[0] != '\0' && strcmp(f->rung, "none") != 0)
		return BY_RUNG;
	if (f->from != 0 && f->from == f->to)
		return BY_DAY;
	if (f->results != 0 || f->verdicts != 0 || f->findings != 0 || f->rung[0] != '\0')
		return BY_TIME;
	return f->from != 0 || f->to != 0 ? BY_DAYS : BY_TIME;
}

static void say_text(struct pw_filter_sql *m, const char *column, const char *text)
{
	if (text[0] != '\0')
		say(m, " AND %s || '' = $%zu", column, argue_text(m, text));
}

/* The moments lead into the index; the days are what was asked. */
static void say_days(struct pw_filter_sql *m, const struct pw_audit_filter *f, const char *moment,
		     const char *day)
{
	if (f->from != 0) {
		if (moment != NULL)
			say(m, " AND %s >= $%zu", moment,
			    argue_number(m, midnight_ms(f->from) - BEFORE_MS));
		say(m, " AND %s >= $%zu", day, argue_number(m, f->from));
	}
	if (f->to != 0) {
		if (moment != NULL)
			say(m, " AND %s < $%zu", moment,
			    argue_number(m, midnight_ms(f->to) + BEHIND_MS));
		say(m, " AND %s <= $%zu", day, argue_number(m, f->to));
	}
}

/* All but what leads, said so that no other index is taken for it: its rows would have to be put in
 * order. */
static void say_rest(struct pw_filter_sql *m, const struct pw_audit_filter *f, enum lead lead)
{
	if (lead != BY_BUS)
		say_text(m, "o.bus", f->bus);
	if (lead != BY_DRIVER)
		say_text(m, "o.driver", f->driver);
	if (lead != BY_ROUTE)
		say_text(m, "o.route", f->route);
	if (lead != BY_RUNG)
		say_text(m, "o.rung", f->rung);
	if (lead != BY_RESULTS)
		say_in(m, "o.stands", set_of(f, BY_RESULTS));
	if (lead != BY_VERDICTS)
		say_in(m, "o.verdict", set_of(f, BY_VERDICTS));
	if (lead != BY_FINDINGS)
		say_findings(m, set_of(f, BY_FINDINGS));
}

static void say_columns(struct pw_filter_sql *m)
{
	static const char columns[] = PW_OUTCOME_COLUMNS;

	for (const char *at = columns; at != NULL; at = strchr(at, ' ')) {
		at += *at == ' ';
		say(m, "%so.%.*s", at > columns ? ", " : "SELECT ", (int)strcspn(at, ","), at);
	}
}

/* -- a page ------------------------------------------------------------------------------------ */

static void say_behind(struct pw_filter_sql *m, const char *moment, const char *t,
		       const struct pw_filter_from *from)
{
	if (from == NULL)
		return;
	say(m, " AND (%s, %s.bus, %s.day, %s.nth) < ($%zu, ", moment, t, t, t,
	    argue_number(m, from->at_ms));
	say(m, "$%zu, ", argue_text(m, from->bus));
	say(m, "$%zu, ", argue_number(m, from->day));
	say(m, "$%zu)", argue_number(m, from->nth));
}

static void say_lead(struct pw_filter_sql *m, const struct pw_audit_filter *f, enum lead lead,
		     const char *value)
{
	static const char *const column[LEADS] = { [BY_RESULTS] = "o.stands",
						   [BY_VERDICTS] = "o.verdict" };
	const char *const text[LEADS] = { [BY_BUS] = f->bus, [BY_DRIVER] = f->driver,
					  [BY_ROUTE] = f->route, [BY_RUNG] = f->rung };
	static const char *const named[LEADS] = { [BY_BUS] = "o.bus", [BY_DRIVER] = "o.driver",
						  [BY_ROUTE] = "o.route", [BY_RUNG] = "o.rung" };

	say(m, lead == BY_FINDINGS ? " FROM outcome_finding f JOIN outcome o ON o.bus = f.bus"
				     " AND o.day = f.day AND o.nth = f.nth WHERE f.finding = '%s'"
				   : " FROM outcome o WHERE 1 = 1", value);
	say(m, "%s", fragments[lead].index);
	if (f->longest)
		say(m, lead == BY_LONGEST
			       ? " AND o.verdict = 'missed' AND o.unchecked_ms >= 0"
			       : " AND o.verdict || '' = 'missed' AND o.unchecked_ms + 0 >= 0");
	if (text[lead] != NULL)
		say(m, " AND %s = $%zu", named[lead], argue_text(m, text[lead]));
	if (column[lead] != NULL)
		say(m, " AND %s = '%s'", column[lead], value);
}

static void say_order(struct pw_filter_sql *m, const char *moment, const char *t, unsigned limit)
{
	say(m, " ORDER BY %s DESC, %s.bus DESC, %s.day DESC, %s.nth DESC LIMIT %u", moment, t, t, t,
	    limit);
}

static void say_one(struct pw_filter_sql *m, const struct pw_audit_filter *f, enum lead lead,
		    const char *value, const struct pw_filter_from *from, unsigned limit)
{
	const char *moment = f->longest && lead != BY_LONGEST ? "o.unchecked_ms + 0"
							       : fragments[lead].moment;
	const char *t = lead == BY_FINDINGS ? "f" : "o";

	say_columns(m);
	say_lead(m, f, lead, value);
	say_rest(m, f, lead);
	if (lead == BY_DAY)
		say(m, " AND o.day = $%zu", argue_number(m, f->from));
	else
		say_days(m, f, lead != BY_LONGEST ? fragments[lead].moment : NULL, "o.day");
	say_behind(m, moment, t, from);
	say_order(m, moment, t, limit);
}

/* What is beyond the last day is passed over in the index, without its rows. */
static void say_span(struct pw_filter_sql *m, const struct pw_audit_filter *f,
		     const struct pw_filter_from *from, unsigned limit)
{
	say_columns(m);
	say(m, " FROM (SELECT i.at_ms, i.bus, i.day, i.nth FROM outcome i WHERE 1 = 1");
	say_days(m, f, "i.at_ms", "i.day + 0");
	say_behind(m, "i.at_ms", "i", from);
	say_order(m, "i.at_ms", "i", limit);
	say(m, ") AS p JOIN outcome o ON o.bus = p.bus AND o.day = p.day AND o.nth = p.nth");
	say_order(m, "p.at_ms", "p", limit);
}

static void finish(struct pw_filter_sql *m)
{
	m->statement = (struct pw_statement){ m->types, m->sql, true };
}

void pw_filter_page(const struct pw_audit_filter *f, const struct pw_filter_from *from,
		    unsigned limit, struct pw_filter_sql *m)
{
	const enum lead lead = lead_of(f);
	const bool many = lead == BY_FINDINGS || lead == BY_RESULTS || lead == BY_VERDICTS;
	const struct set set = set_of(f, lead);
	unsigned said = 0;

	*m = (struct pw_filter_sql){ .sql = "" };
	if (many && (set.bits & (set.bits - 1)) != 0) {
		for (unsigned i = set.first; i < set.end; i++) {
			if ((set.bits & 1u << i) == 0)
				continue;
			say(m, said++ > 0 ? " UNION SELECT * FROM (" : "SELECT * FROM (");
			say_one(m, f, lead, set.name(i), from, limit);
			say(m, ") AS p%u", said);
		}
		say(m, " ORDER BY at_ms DESC, bus DESC, day DESC, nth DESC LIMIT %u", limit);
	}
	for (unsigned i = set.first; many && said == 0 && i < set.end; i++)
		if (set.bits == 1u << i)
			say_one(m, f, lead, set.name(i), from, limit);
	if (lead == BY_DAYS)
		say_span(m, f, from, limit);
	else if (!many)
		say_one(m, f, lead, "", from, limit);
	finish(m);
}

void pw_filter_bus(const struct pw_audit_filter *f, const char *bus, int32_t day, int32_t nth,
		   unsigned limit, struct pw_filter_sql *m)
{
	*m = (struct pw_filter_sql){ .sql = "" };
	say_columns(m);
	say(m, " FROM outcome o WHERE o.bus = $%zu", argue_text(m, bus));
	say(m, " AND (o.day, o.nth) > ($%zu, ", argue_number(m, day));
	say(m, "$%zu)", argue_number(m, nth));
	say_rest(m, f, BY_BUS);
	say_days(m, f, NULL, "o.day");
	if (f->longest)
		say(m, " AND o.verdict = 'missed'");
	say(m, " ORDER BY o.day, o.nth LIMIT %u", limit);
	finish(m);
}
