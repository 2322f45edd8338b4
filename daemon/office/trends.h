/* SPDX-License-Identifier: Apache-2.0 */
/*
 * trends.h - tallies as groups beside all of them, and over time.
 *
 * Pure: no store, no page, no clock. The arithmetic is that of stats.h; here is what of it is
 * asked of buses, drivers and routes. Errors: 0; -1: no memory, or no room.
 */
#ifndef POSTWALK_OFFICE_TRENDS_H
#define POSTWALK_OFFICE_TRENDS_H

#include "postwalk/stats.h"
#include "postwalk/store.h"

/* -- trends_judge.c: groups beside all of them ------------------------------------------------- */

/* What is counted, and of what: closed sweeps, but no_record of planned runs. */
#define PW_TRENDS_OF_LIST(X)                                                                       \
	X(MISSED, missed) X(UNPROVEN, unproven) X(LATE, late) X(NO_RECORD, no_record)
enum pw_trends_of {
	PW_TRENDS_OF_NONE,
#define X(up, low) PW_TRENDS_OF_##up,
	PW_TRENDS_OF_LIST(X)
#undef X
	PW_TRENDS_OFS
};
const char *pw_trends_of_name(enum pw_trends_of of);
/* unproven: missed or doubtful. Never more than there are: a count of more is cut. */
struct pw_share pw_trends_share(const struct pw_tally *t, enum pw_trends_of of);

/* Where a share lies in the funnel around that of all. NONE: nothing was counted. Of small
 * counts: beyond is where so many or more, or so few or fewer, have no more of a chance than the
 * limit has (F9's own limits lie between whole counts, and a count that is just above one need
 * not be that unlikely). */
#define PW_TRENDS_PLACE_LIST(X)                                                                    \
	X(WITHIN, within) X(ABOVE_95, above_95) X(ABOVE_998, above_998) X(BELOW_95, below_95)      \
	X(BELOW_998, below_998)
enum pw_trends_place {
	PW_TRENDS_PLACE_NONE,
#define X(up, low) PW_TRENDS_PLACE_##up,
	PW_TRENDS_PLACE_LIST(X)
#undef X
	PW_TRENDS_PLACES
};

#define PW_TRENDS_LEVEL 0.95
/* Limits are exact (F9) where fewer than so many are to be expected, or fewer than so many of
 * the others; else F8. Practice. */
#define PW_TRENDS_FEW 10.0

struct pw_trends_group {
	struct pw_tally tally;
	struct pw_share share;
	struct pw_interval warning, alarm; /* limits of 95 % and 99.8 % for its n; NAN where that is 0 */
	double p_value;                    /* binomial, exact, two-sided; NAN */
	double adjusted;                   /* over all that are looked at: Benjamini and Hochberg; NAN */
	enum pw_trends_place place;
};
struct pw_trends {
	struct pw_trends_group *group; /* after judging: the smallest p first, then by name */
	size_t groups, room;
	struct pw_share all;
	double target;                 /* the share of all; NAN */
	size_t looks;                  /* groups of which anything was counted */
	size_t outside, alarms;        /* beyond 95 %, and beyond 99.8 % */
	size_t found;                  /* adjusted p of 0.05 or less */
	double by_chance;              /* so many of the looks lie beyond 95 % by chance, about */
	double false_alarm;            /* the chance that one or more does */
	double dispersion, dispersion_p; /* stats.h, pw_chart; NAN: fewer than two looks */
};
/* Limits of the funnel for a share of n; and the largest share that is not yet above them. */
struct pw_interval pw_trends_limits(double target, uint64_t n, double level);
double pw_trends_reach(double target, uint64_t n, double upper);
/* Begins all zero. */
int pw_trends_add(struct pw_trends *t, const struct pw_tally *tally);
int pw_trends_judge(struct pw_trends *t, enum pw_trends_of of);
void pw_trends_free(struct pw_trends *t);
/* Do groups differ by so much more than chance makes them that limits are too narrow? */
bool pw_trends_spread_wide(const struct pw_trends *t);

/* -- trends_funnel.c: the same as a picture can have it ---------------------------------------- */

/* Groups with the same counts are one point. Where that makes too many, the least likely ones
 * stand for themselves, and the others share a point in each field of n and share. */
struct pw_funnel_point {
	double n, share;
	uint64_t groups;
	const struct pw_trends_group *one; /* NULL: it stands for several */
	struct pw_interval warning, alarm; /* the upper ones as far as counts within reach */
	enum pw_trends_place place;
};
#define PW_FUNNEL_POINTS 400
#define PW_FUNNEL_ALONE 240
#define PW_FUNNEL_FIELDS 10 /* a side */
/* Of judged ones; the points in the order of n. How many. What finds no room is left out: the
 * likeliest. */
size_t pw_trends_funnel(const struct pw_trends *t, struct pw_funnel_point point[PW_FUNNEL_POINTS]);

/* -- trends_chart.c: over weeks or months ------------------------------------------------------ */

enum pw_trends_step { PW_TRENDS_WEEK = 1, PW_TRENDS_MONTH };
struct pw_trends_period {
	int32_t begin; /* the week's Monday, or the first of the month */
	struct pw_tally sum;
};
#define PW_TRENDS_PERIODS 60 /* weeks of a school year, and some */
struct pw_trends_series {
	enum pw_trends_step step;
	size_t periods;
	struct pw_trends_period period[PW_TRENDS_PERIODS];
};
/* Tallies of days or (months alone) of months, in their order. */
int pw_trends_series_add(struct pw_trends_series *s, const struct pw_tally *t);
/* A p chart of what is counted; a u chart of presses refused, a sweep (of NONE). Periods without
 * any are left out: point[i] is of period index[i]. -1: nothing is left. */
struct pw_trends_chart {
	size_t points;
	struct pw_chart_point point[PW_TRENDS_PERIODS];
	size_t index[PW_TRENDS_PERIODS];
	struct pw_chart chart;
};
int pw_trends_chart(const struct pw_trends_series *s, enum pw_trends_of of,
		    struct pw_trends_chart *out);

/* -- trends_spread.c: times in whole seconds --------------------------------------------------- */

#define PW_SPREAD_MOST_S 3600
struct pw_spread {
	uint64_t n, count[PW_SPREAD_MOST_S + 1];
};
void pw_spread_add(struct pw_spread *s, uint32_t second, uint64_t count);
double pw_spread_quantile(const struct pw_spread *s, double p); /* F14; NAN: none */
uint64_t pw_spread_below(const struct pw_spread *s, double second);

#endif
