/* SPDX-License-Identifier: Apache-2.0 */
/*
 * timeline.h - one sweep drawn over time, as an SVG element. Pure.
 *
 * From top to bottom: the phases; what the policy asked, and what was; the signals, climbing; each line,
 * as it settled, and its edges as recorded; the clock. Times in which nothing happens are cut out of the
 * axis, and the cut is shown. It has a title and a description, says by shape and word whatever it says by
 * colour, and takes its colours from classes of the style sheet (timeline-...).
 */
#ifndef POSTWALK_OFFICE_TIMELINE_H
#define POSTWALK_OFFICE_TIMELINE_H

#include "judged.h"

void pw_timeline_draw(const struct pw_told_sweep *t, const struct pw_in_words *in, FILE *out);

/* -- timeline_axis.c: where a moment is --------------------------------------------------------- */

#define PW_AXIS_PIECES 48
struct pw_axis_piece {
	int64_t from_ms, to_ms;
	double x, width;
	bool cut; /* nothing happens in it: it is drawn narrow */
};
struct pw_axis {
	size_t count;
	struct pw_axis_piece piece[PW_AXIS_PIECES];
	int64_t step_ms; /* between labels, by the clock */
};
/* moment: in any order, is sorted. Those outside of from_ms, to_ms are left out. */
void pw_axis_make(int64_t *moment, size_t count, int64_t from_ms, int64_t to_ms, double x,
		  double width, struct pw_axis *a);
double pw_axis_x(const struct pw_axis *a, int64_t ms); /* outside: the nearer end */

#endif
