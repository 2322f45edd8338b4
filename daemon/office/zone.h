/* SPDX-License-Identifier: Apache-2.0 */
/*
 * zone.h - time zones by name, and days. Pure: no state of the process. A zone is not changed by
 * being used, so any number of threads may. Errors: 0; -2: it cannot be so, with one sentence in
 * why; -1: not now (memory), likewise.
 */
#ifndef POSTWALK_OFFICE_ZONE_H
#define POSTWALK_OFFICE_ZONE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* -- zone.c: a time zone by name, whatever TZ is --------------------------------------------- */

#define PW_ZONE_DIR "/usr/share/zoneinfo"
#define PW_DAY_MS INT64_C(86400000)

struct pw_zone;
struct pw_local {
	int32_t date;             /* YYYYMMDD, Gregorian */
	int32_t ms;               /* of the day by the clock on the wall, 0 - 86399999 */
	int32_t offset_s;         /* local less UTC */
	bool summer;
	const char *abbreviation; /* lives as long as the zone */
};
/* "America/Denver". "": the machine's (/etc/localtime; UTC where there is none). */
int pw_zone_open(const char *name, struct pw_zone **z, char *why, size_t size);
/* The text of a TZif file, RFC 9636, of any version; without leap seconds. */
int pw_zone_read(const void *file, size_t length, struct pw_zone **z, char *why, size_t size);
void pw_zone_free(struct pw_zone *z);
/* Years 1 - 9999; a moment outside is taken as the nearest inside. */
void pw_zone_local(const struct pw_zone *z, int64_t utc_ms, struct pw_local *local);
/* How many moments had that date and time: 0 the clocks skipped it, 1, 2 they went back over it. */
int pw_zone_moments(const struct pw_zone *z, int32_t date, int32_t ms, int64_t utc_ms[2]);

/* -- date.c: days as YYYYMMDD and as days since 1970-01-01 ----------------------------------- */

bool pw_date_ok(int32_t date);      /* there is such a day */
int32_t pw_date_days(int32_t date);
int32_t pw_date_from(int32_t days);
int pw_date_weekday(int32_t days);  /* 1 Monday - 7 Sunday, ISO 8601 */

#endif
