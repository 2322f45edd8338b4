/* SPDX-License-Identifier: Apache-2.0 */
/*
 * heat.h - how warm, and how cold, it can have been in a closed vehicle. Pure.
 *
 * The curves are of closed cars in the sun (C1-C4 of docs/sources.md); no bus was measured. They order a
 * list, and say nothing of anybody. A temperature counts as known for two hours at most.
 */
#ifndef POSTWALK_OFFICE_HEAT_H
#define POSTWALK_OFFICE_HEAT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* C1: 80 % of about 40 degrees Fahrenheit within 30 min, all of it within 60. C3: 13.13 ln t - 10.82 from 10
 * to 90 min. C4: the largest rates, 4, 7, 16, 26 degrees Celsius in 5, 10, 30, 60 min. Between their figures
 * straight lines; beyond the last of them it stands. */
enum pw_heat_curve { PW_HEAT_C1 = 1, PW_HEAT_C3, PW_HEAT_C4, PW_HEAT_CURVES };
#define PW_HEAT_ENDS_MIN 60.0 /* two of the three end there, the third at 90 */
/* Degrees Celsius above the outside after so many minutes in the sun. */
double pw_heat_rise(enum pw_heat_curve curve, double minutes);
/* The least and the most of the three. */
void pw_heat_range(double minutes, double *least_c, double *most_c);
double pw_heat_fahrenheit(double celsius);

/* A known temperature. */
struct pw_warm {
	int64_t at_ms;
	int32_t c10;             /* 0.1 degree Celsius */
};
#define PW_HEAT_FRESH_MS INT64_C(7200000)
#define PW_HEAT_ROOM_C 21.0      /* what is reckoned from; a usual room's (practice) */

struct pw_heat {
	bool known;              /* a temperature is, at some time of it; else the rest means nothing */
	bool cabin;              /* they were measured inside: no curve was laid over them */
	bool held;               /* it went on after a curve's end */
	double known_least_c, known_most_c;
	double inside_least_c, inside_most_c; /* at its end by the least curve; at its warmest by the most */
	int64_t freezing_ms;     /* how long what is known was 0 degrees Celsius or less (C6) */
	int64_t unknown_ms;      /* for how long nothing is known */
	double degree_hours;     /* away from ROOM, by what is further off: what is known, or the most curve */
};
/* From from_ms up to to_ms. warm: in the order of time. cabin: those are of the bus's inside. */
void pw_heat_reckon(const struct pw_warm *warm, size_t count, bool cabin, int64_t from_ms,
		    int64_t to_ms, struct pw_heat *h);

#endif
