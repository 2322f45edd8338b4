/* SPDX-License-Identifier: Apache-2.0 */
/*
 * stats.h - the arithmetic of an audit: shares, rates, funnels, charts, drift, how many looks.
 *
 * Pure: no I/O, no clock, no allocation, no state; arrays are the caller's. Of arguments that make
 * no sense (x > n, a level not between 0 and 1) the answer is NAN in every double, or -1. Counts up
 * to 10 million, to 1e-9: R says the same (tests/stats). A level is 0.95 for 95 %; a p-value is
 * two-sided. No figure here says why a share is high, or that anybody did wrong. F1-F15:
 * docs/sources.md.
 */
#ifndef POSTWALK_STATS_H
#define POSTWALK_STATS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct pw_interval { double lower, upper; };
struct pw_share { uint64_t x, n; };              /* x of n */
struct pw_rate { uint64_t x; double exposure; }; /* x events in so many runs, days, bus-months */

/* -- share.c: of 0 of 0 nothing is known: 0 to 1, p-value 1 ---------------------------------- */

struct pw_interval pw_share_wilson(struct pw_share s, double level, bool corrected);     /* F1 */
struct pw_interval pw_share_exact(struct pw_share s, double level); /* Clopper-Pearson, F2 */
double pw_share_test(struct pw_share s, double expected);           /* R's binom.test */

/* Do shares differ? R's prop.test; where that has no p-value (all x are 0, or n): 1. Corrected, and
 * the difference (first less second), are for two groups; NAN for more. */
struct pw_shares_test {
	double statistic, p_value;
	unsigned freedom;
	struct pw_interval difference;
};
int pw_shares_test(const struct pw_share *group, size_t groups, bool corrected, double level,
		   struct pw_shares_test *out); /* -1: fewer than two, an n of 0 */

/* -- rate.c ---------------------------------------------------------------------------------- */

struct pw_interval pw_rate_exact(struct pw_rate r, double level); /* Poisson, F6 */
double pw_rate_test(struct pw_rate r, double expected);           /* R's poisson.test */

struct pw_rates_test { double ratio, p_value; struct pw_interval interval; };
/* First over second, as R's poisson.test of two. No events at all: NAN, 1, 0 to INFINITY. -1: an
 * exposure not above 0. */
int pw_rates_test(struct pw_rate first, struct pw_rate second, double level,
		  struct pw_rates_test *out);

/* -- funnel.c: where a share of n lies by chance when the target holds (F8) ------------------ */

#define PW_FUNNEL_WARNING 0.95 /* z = 1.96 */
#define PW_FUNNEL_ALARM 0.998  /* z = 3.09 */
struct pw_interval pw_funnel_normal(double target, uint64_t n, double level); /* clipped to 0, 1 */
/* For a small n * target. Between whole counts as published (F9, from memory): r is the smallest
 * with P(X <= r) >= p, the limit (r - (P(X <= r) - p) / P(X = r)) / n, clipped at 0. */
struct pw_interval pw_funnel_exact(double target, uint64_t n, double level);

/* -- chart.c: c, u and p charts (F4, F5) ----------------------------------------------------- */

/* Events in like periods (size 1); events for 1 of a size; a count of a size. */
enum pw_chart_kind { PW_CHART_C = 1, PW_CHART_U, PW_CHART_P };
struct pw_chart_point {
	double count, size;                 /* given */
	double value, lower, upper, sigmas; /* limits at 3 sigma, clipped; sigmas above the mean */
	uint32_t rules;                     /* pw_runs: bit i: rule i ends here */
};
struct pw_chart {
	double mean;
	/* The spread over that of plain chance. Well above 1 (overdispersed): buses or days differ
	 * among themselves, the limits are too narrow, and points out are no news. dispersion_p:
	 * how seldom chance gives so much (one-sided, chi-square). NAN: one point, own mean. */
	double dispersion, dispersion_p;
};
/* mean: to judge by, of an earlier time; NAN: of these points. A mean of 0 leaves chance nothing:
 * a point off it is INFINITY sigmas away. -1: no points, a size not above 0 (c: not 1), a count
 * below 0 or (p) above its size. */
int pw_chart(enum pw_chart_kind kind, double mean, struct pw_chart_point *point, size_t points,
	     struct pw_chart *out);

/* -- runs.c: patterns that chance seldom makes (F10) ----------------------------------------- */

struct pw_run_rule {
	const char *name, *words, *source;
	unsigned need, of; /* so many of so many in a row, the last among them, on one side */
	double beyond;     /* and more than so many sigmas from the mean */
	bool trend;        /* instead: need in a row, each above the one before, or each below */
};
#define PW_RUN_RULES 5
extern const struct pw_run_rule pw_run_rules[PW_RUN_RULES]; /* to change a length, change a copy */
#define PW_ARL_3_SIGMA 371.0          /* points between two false alarms, on the average (F10) */
#define PW_ARL_WESTERN_ELECTRIC 91.75 /* the same, by the first four rules together */
/* Sets the points' rules from sigmas (trend: from values). rules <= 32. */
void pw_runs(const struct pw_run_rule *rule, unsigned rules, struct pw_chart_point *point,
	     size_t points);

/* A worst year that is no signal (F7): a state's public counts of children left on buses. Mean
 * 22.33, limits 8.16 and 36.51: the 32 is within. Chance alone makes so bad a worst of nine years
 * one time in four. */
struct pw_year { int year; unsigned count; };
#define PW_WORST_YEARS 9
extern const struct pw_year pw_worst_year[PW_WORST_YEARS];

/* -- looks.c: how often one looks, and what "significant" is worth then ---------------------- */

enum pw_adjustment {
	PW_BONFERRONI = 1,    /* a false alarm among all looks: no likelier than the level */
	PW_HOLM,              /* the same, and never worse */
	PW_BENJAMINI_HOCHBERG /* the false ones among the alarms: no more than the level (F13) */
};
/* R's p.adjust. p ascends, adjusted may be p. -1: it does not ascend, or is not 0 to 1. */
int pw_adjust(enum pw_adjustment method, const double *p, size_t n, double *adjusted);
/* One or more false alarms in so many independent looks where nothing is, at that level each. */
double pw_false_alarm(uint64_t looks, double p);

/* -- summary.c: distributions ---------------------------------------------------------------- */

double pw_quantile(const double *sorted, size_t n, double p); /* type 7 (F14); NAN: n = 0 */
struct pw_summary { size_t n; double least, q05, q25, median, q75, q95, most, mean, sd; };
int pw_summary(const double *sorted, size_t n, struct pw_summary *out); /* -1: 0, not ascending */

/* -- drift.c: does a button bounce more than it did? (F11, F12) ------------------------------ */

/* CUSUM and EWMA of days, both one-sided: up is worse. Parameters may be changed once begun. */
struct pw_drift {
	double mean, sigma;         /* of the days before */
	double k, h, lambda, limit; /* 0.5, 5, 0.2, 3; but for lambda in sigmas */
	double cusum, ewma;         /* in the days' unit */
	unsigned days;              /* cusum above 0: since when it may have been going on */
	bool cusum_out, ewma_out;   /* today */
};
/* From the days before (20 or more: practice). sigma is no less than least_sigma: 1, of counts, and
 * the first bounce of a quiet line is no drift. -1: fewer than 2 days, sigma not above 0. */
int pw_drift_begin(const double *day, size_t days, double least_sigma, struct pw_drift *out);
void pw_drift_day(struct pw_drift *d, double value);
/* Days to a signal, on the average, once the mean has gone up by so many sigmas; 0: to a false
 * alarm. Of independent normal days, mean and sigma known: real days are less kind. */
struct pw_drift_arl { double shift, cusum_h4, cusum_h5, ewma; };
#define PW_DRIFT_ARLS 10
extern const struct pw_drift_arl pw_drift_arl[PW_DRIFT_ARLS];

/* -- trend.c: a slope that a few wild days do not turn --------------------------------------- */

struct pw_trend {
	double slope, at_zero; /* Theil-Sen: median of all slopes; of y - slope * x */
	double tau, p_value;   /* Kendall, as R's cor.test; all y alike: 0, 1 */
};
/* scratch: n * (n + 1) / 2 doubles. -1: fewer than two different x. Takes n * n: for a year. */
int pw_trend(const double *x, const double *y, size_t n, double *scratch, struct pw_trend *out);

#endif
