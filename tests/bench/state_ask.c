/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What the pages ask of a store that state made, ASKED times each with arguments drawn anew: how long a
 * question took, half of the time, 95 in a hundred, and at most.
 *
 *	state_ask WHERE BUSES TODAY
 *
 * Prints "name_p50_ms value" and so on. A question that gave nothing at all is told.
 */
#include <stdlib.h>
#include <time.h>

#include "state_made.h"

#define ASKED 200 /* STATE_ASKED: fewer */

static struct state state;
static struct pw_store *store;
static uint64_t draws;
static int asked = ASKED;
static char why[300];

static double now_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec * 1e3 + (double)t.tv_nsec / 1e6;
}

static unsigned below(unsigned most)
{
	return (unsigned)(state_mix(++draws, 3, 60) % most);
}

static void must(int result)
{
	if (result >= 0)
		return;
	fprintf(stderr, "state_ask: %s\n", why);
	exit(1);
}

static int any_row(void *ctx, const struct pw_audit_row *row)
{
	*(struct pw_audit_row *)ctx = *row;
	return 0;
}

static int some_row(void *ctx, const struct pw_audit_row *row)
{
	(void)row;
	++*(unsigned *)ctx;
	return 0;
}

/* -- rows by each kind of filter --------------------------------------------------------------- */

struct way {
	const char *name;
	void (*filter)(struct pw_audit_filter *f);
};

static void by_nothing(struct pw_audit_filter *f) { (void)f; }
static void by_bus(struct pw_audit_filter *f) { state_bus(below(state.buses), f->bus); }
static void by_driver(struct pw_audit_filter *f)
{
	snprintf(f->driver, sizeof(f->driver), "D%05u", below(state.buses < 10000 ? state.buses : 12000) + 1);
}

static void by_route(struct pw_audit_filter *f)
{
	const unsigned most = STATE_ROUTES / 2;

	snprintf(f->route, sizeof(f->route), "R%u-%s", below(state.buses < most ? state.buses : most) + 1,
		 below(2) ? "AM" : "PM");
}

static void by_result(struct pw_audit_filter *f)
{
	f->results = 1u << (PW_RESULT_WALKED + below(PW_RESULT_UNPLANNED));
}

static void by_verdict(struct pw_audit_filter *f)
{
	f->verdicts = 1u << (PW_DONE + below(PW_MISSED - PW_DONE + 1));
}

static void by_two_verdicts(struct pw_audit_filter *f)
{
	f->verdicts = 1u << PW_MISSED | 1u << PW_DOUBTFUL;
}

static void by_finding(struct pw_audit_filter *f)
{
	static const enum pw_finding some[] = { PW_F_RETURN_SHORT, PW_F_BUTTON_HELD, PW_F_CARRIED,
						PW_F_DRIVEN_OFF };

	f->findings = 1u << some[below(4)];
}

static void by_rung(struct pw_audit_filter *f)
{
	strcpy(f->rung, below(2) ? "horn" : "prompt");
}

static void by_days(struct pw_audit_filter *f)
{
	unsigned first = below(STATE_DAYS - 5);

	f->from = state.day[first];
	f->to = state.day[first + below(5)];
}

static void by_longest(struct pw_audit_filter *f)
{
	by_days(f);
	f->verdicts = 1u << PW_MISSED;
	f->longest = true;
}

static void by_longest_of_all(struct pw_audit_filter *f)
{
	f->verdicts = 1u << PW_MISSED;
	f->longest = true;
}

static void by_bus_and_verdict(struct pw_audit_filter *f)
{
	by_bus(f);
	by_verdict(f);
}

static void by_driver_and_finding(struct pw_audit_filter *f)
{
	by_driver(f);
	by_finding(f);
}

static void by_route_and_result(struct pw_audit_filter *f)
{
	by_route(f);
	by_result(f);
}

static void by_days_and_result(struct pw_audit_filter *f)
{
	by_days(f);
	by_result(f);
}

static void by_rung_and_days(struct pw_audit_filter *f)
{
	by_days(f);
	by_rung(f);
}

static const struct way ways[] = {
	{ "rows_all", by_nothing }, { "rows_bus", by_bus }, { "rows_driver", by_driver },
	{ "rows_route", by_route }, { "rows_result", by_result }, { "rows_verdict", by_verdict },
	{ "rows_two_verdicts", by_two_verdicts }, { "rows_finding", by_finding },
	{ "rows_rung", by_rung }, { "rows_days", by_days }, { "rows_longest", by_longest },
	{ "rows_longest_of_all", by_longest_of_all }, { "rows_bus_verdict", by_bus_and_verdict },
	{ "rows_driver_finding", by_driver_and_finding }, { "rows_route_result", by_route_and_result },
	{ "rows_days_result", by_days_and_result }, { "rows_rung_days", by_rung_and_days },
};

/* A page, and the one behind it. */
static unsigned ask_rows(const struct way *w)
{
	struct pw_audit_filter f = { .longest = false };
	struct pw_audit_row last;
	unsigned given = 0;

	w->filter(&f);
	memset(&last, 0, sizeof(last));
	must(pw_audit_rows(store, &f, NULL, PW_AUDIT_PAGE, any_row, &last, why, sizeof(why)));
	if (last.key.day != 0) {
		given = 1;
		must(pw_audit_rows(store, &f, &last, PW_AUDIT_PAGE, some_row, &given, why, sizeof(why)));
	}
	return given;
}

/* -- the rest ---------------------------------------------------------------------------------- */

static int some_tally(void *ctx, const struct pw_tally *t)
{
	*(unsigned *)ctx += t->sweeps > 0;
	return 0;
}

static unsigned tallies(enum pw_tally_by by, const char *name, int32_t from, int32_t to)
{
	unsigned given = 0;

	must(pw_audit_tallies(store, by, name, from, to, some_tally, &given, why, sizeof(why)));
	return given;
}

static unsigned ask_days(void)
{
	return tallies(PW_BY_ALL, "", state.day[0], state.day[STATE_DAYS - 1]);
}

static int32_t year(void)
{
	return pw_span_school_year(state.day[STATE_DAYS - 1]);
}

static unsigned ask_buses_year(void) { return tallies(PW_BY_BUS, "", year(), year()); }
static unsigned ask_drivers_year(void) { return tallies(PW_BY_DRIVER, "", year(), year()); }
static unsigned ask_routes_year(void) { return tallies(PW_BY_ROUTE, "", year(), year()); }

static unsigned ask_drivers_month(void)
{
	const int32_t month = pw_span_month(state.day[below(STATE_DAYS)]);

	return tallies(PW_BY_DRIVER, "", month, month);
}

static unsigned ask_one_bus(void)
{
	char bus[PW_NAME_MAX];

	state_bus(below(state.buses), bus);
	return tallies(PW_BY_BUS, bus, state.day[0], state.day[STATE_DAYS - 1]);
}

static unsigned ask_hours(void) { return tallies(PW_BY_HOUR, "", year(), year()); }
static unsigned ask_findings(void) { return tallies(PW_BY_FINDING, "", year(), year()); }

static int some_second(void *ctx, uint32_t second, uint64_t count)
{
	(void)second;
	*(unsigned *)ctx += count > 0;
	return 0;
}

static unsigned ask_spread(void)
{
	char bus[PW_NAME_MAX];
	unsigned given = 0;

	state_bus(below(state.buses), bus);
	must(pw_audit_spread(store, below(4) ? bus : "", 1 + (int)below(2), year(), year(), some_second,
			     &given, why, sizeof(why)));
	return given;
}

static int some_line(void *ctx, const struct pw_line_day *d)
{
	(void)d;
	++*(unsigned *)ctx;
	return 0;
}

static unsigned ask_lines(void)
{
	char bus[PW_NAME_MAX];
	unsigned given = 0;

	state_bus(below(state.buses), bus);
	must(pw_audit_lines(store, bus, state.day[0], state.day[STATE_DAYS - 1], some_line, &given, why,
			    sizeof(why)));
	return given;
}

static unsigned ask_lines_worst(void)
{
	unsigned given = 0;

	must(pw_audit_lines_worst(store, state.day[below(STATE_DAYS)], 20, some_line, &given, why,
				  sizeof(why)));
	return given;
}

static unsigned ask_row(void)
{
	struct state_row rows[STATE_NTHS];
	struct pw_audit_row row;
	int count = state_rows(&state, below(state.buses), (int)below(STATE_DAYS), rows);

	(void)count;
	must(pw_audit_row(store, &rows[0].row.key, &row, why, sizeof(why)));
	return strcmp(row.key.run, rows[0].row.key.run) == 0 && row.verdict == rows[0].row.verdict;
}

static int some_matter(void *ctx, const struct pw_matter *m)
{
	(void)m;
	++*(unsigned *)ctx;
	return 0;
}

static unsigned ask_matters(void)
{
	unsigned given = 0;

	must(pw_store_matters(store, false, 0, some_matter, &given, why, sizeof(why)));
	return given;
}

static int some_warmth(void *ctx, int64_t at_ms, int32_t c10, const char *source)
{
	(void)at_ms;
	(void)c10;
	(void)source;
	++*(unsigned *)ctx;
	return 0;
}

static unsigned ask_warmths(void)
{
	const int64_t from_ms = state.midnight_ms[below(STATE_DAYS)];
	unsigned given = 0;

	must(pw_audit_warmths(store, "", from_ms, from_ms + PW_DAY_MS, some_warmth, &given, why,
			      sizeof(why)));
	return given;
}

static const struct question {
	const char *name;
	unsigned (*ask)(void);
} questions[] = {
	{ "row", ask_row }, { "tallies_days_of_year", ask_days }, { "tallies_buses_year", ask_buses_year },
	{ "tallies_drivers_year", ask_drivers_year }, { "tallies_drivers_month", ask_drivers_month },
	{ "tallies_routes_year", ask_routes_year }, { "tallies_one_bus_days", ask_one_bus },
	{ "tallies_hours", ask_hours }, { "tallies_findings", ask_findings }, { "spread", ask_spread },
	{ "lines_bus_year", ask_lines }, { "lines_worst", ask_lines_worst }, { "matters_open", ask_matters },
	{ "warmths_day", ask_warmths },
};

/* -- how long ---------------------------------------------------------------------------------- */

static int by_size(const void *a, const void *b)
{
	const double x = *(const double *)a, y = *(const double *)b;

	return (x > y) - (x < y);
}

static double worst_p95;

static void tell(const char *name, double *took_ms, unsigned given)
{
	qsort(took_ms, (size_t)asked, sizeof(*took_ms), by_size);
	printf("%s_p50_ms %.2f\n%s_p95_ms %.2f\n%s_max_ms %.2f\n", name, took_ms[asked / 2], name,
	       took_ms[asked * 95 / 100], name, took_ms[asked - 1]);
	if (given == 0)
		printf("%s_gave_nothing 1\n", name);
	if (took_ms[asked * 95 / 100] > worst_p95)
		worst_p95 = took_ms[asked * 95 / 100];
	fflush(stdout);
}

int main(int argc, char **argv)
{
	double took_ms[ASKED], from_ms;
	unsigned given;

	if (argc != 4 || !pw_date_ok(atoi(argv[3])) || atoi(argv[2]) < 1) {
		fputs("usage: state_ask WHERE BUSES TODAY\n", stderr);
		return 2;
	}
	if (getenv("STATE_ASKED") != NULL && atoi(getenv("STATE_ASKED")) > 0
	    && atoi(getenv("STATE_ASKED")) < ASKED)
		asked = atoi(getenv("STATE_ASKED"));
	must(state_begin(&state, (unsigned)atoi(argv[2]), atoi(argv[3]), why, sizeof(why)));
	must(pw_store_open(argv[1], false, &store, why, sizeof(why)));
	for (size_t q = 0; q < sizeof(ways) / sizeof(ways[0]); q++) {
		given = 0;
		for (int i = 0; i < asked; i++) {
			from_ms = now_ms();
			given += ask_rows(&ways[q]);
			took_ms[i] = (now_ms() - from_ms) / 2; /* two pages */
		}
		tell(ways[q].name, took_ms, given);
	}
	for (size_t q = 0; q < sizeof(questions) / sizeof(questions[0]); q++) {
		given = 0;
		for (int i = 0; i < asked; i++) {
			from_ms = now_ms();
			given += questions[q].ask();
			took_ms[i] = now_ms() - from_ms;
		}
		tell(questions[q].name, took_ms, given);
	}
	printf("question_worst_p95_ms %.2f\n", worst_p95);
	pw_store_close(store);
	return 0;
}
