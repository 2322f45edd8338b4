/* SPDX-License-Identifier: Apache-2.0 */
/*
 * drift.h - what a line does from day to day, beside what it did before. Pure: no store, no clock.
 */
#ifndef POSTWALK_OFFICE_DRIFT_H
#define POSTWALK_OFFICE_DRIFT_H

#include "postwalk/stats.h"
#include "postwalk/store.h"

/* -- drift_judge.c: a line from day to day ----------------------------------------------------- */

#define PW_DRIFT_BEFORE 20  /* days with edges that are what it did before (practice) */
#define PW_DRIFT_RECENT 5
#define PW_DRIFT_DAYS 130   /* of one line, at most */
enum pw_drift_of { PW_DRIFT_BOUNCES = 1, PW_DRIFT_FAULTS }; /* faults: chatters and disagreements */
struct pw_drift_point {
	int32_t day;
	double value, cusum, ewma;
};
struct pw_line_drift {
	bool known;                 /* there were days enough */
	bool out;                   /* on the last day, by either chart */
	int32_t since;              /* 0; the day from which on it may have been going on */
	int32_t was_out;            /* 0; the first day that gave a signal */
	double before, recent;      /* a day: of the days before; of the last five */
	double cusum_limit, ewma_limit;
	double far;                 /* the larger of both charts' values, 1 at its limit: for order */
	struct pw_drift last;
	size_t points;              /* days after those before */
	struct pw_drift_point point[PW_DRIFT_DAYS];
};
/* Days of one line, in order. */
void pw_line_drift(const struct pw_line_day *day, size_t days, enum pw_drift_of of,
		   struct pw_line_drift *out);

#endif
