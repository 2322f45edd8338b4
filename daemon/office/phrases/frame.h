/* SPDX-License-Identifier: Apache-2.0 */
/* What every page has, and what codes are called wherever they stand in a table. */
#define PW_PHRASES_FRAME(X, N)                                                                    \
	X(OFFICE, office, "Sweep records of the yard")                                          \
	X(DONE, done, "walked")                                                                 \
	X(WALKED, walked, "walked")                                                             \
	X(LATE, late, "late")                                                                   \
	X(DOUBTFUL, doubtful, "doubtful")                                                       \
	X(MISSED, missed, "missed")                                                             \
	X(NO_RECORD, no_record, "no record")                                                    \
	X(UNPLANNED, unplanned, "no planned run")                                               \
	X(NOT_YET, not_yet, "not yet known")
