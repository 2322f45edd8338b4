/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The office's days and hours, as the C library tells them. It knows one zone a process, and an
 * office has one: so the process is given it at its start, and nobody hands a zone down.
 */
#include "tell_internal.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#define QUARTER_MS (15 * 60 * 1000) /* every offset from UTC in use is a multiple of it */
#define DAY_MS INT64_C(86400000)
#define WEST_MS (15 * INT64_C(3600000)) /* farther than any zone is from UTC */
#define MOMENT_MAX_MS INT64_C(253402300800000) /* the year 10000 */

/* -- the zone ---------------------------------------------------------------------------------- */

static bool is_zone_name(const char *zone)
{
	return zone[0] != '/' && strstr(zone, "..") == NULL
	       && zone[strspn(zone, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
				    "0123456789/_+-")] == '\0';
}

/* RFC 9636: a file of a zone begins with these four letters. */
static bool is_zone_file(const char *zone)
{
	char path[512], magic[4] = "";
	FILE *file;

	snprintf(path, sizeof(path), "/usr/share/zoneinfo/%s", zone);
	file = fopen(path, "re");
	if (file == NULL)
		return false;
	if (fread(magic, 1, sizeof(magic), file) != sizeof(magic))
		magic[0] = '\0';
	fclose(file);
	return memcmp(magic, "TZif", sizeof(magic)) == 0;
}

int pw_hours_set(const char *zone, char *why, size_t size)
{
	if (zone[0] != '\0' && (!is_zone_name(zone) || !is_zone_file(zone))) {
		snprintf(why, size, "no time zone %.60s is known here: expected a name such as "
			 "America/Chicago (Debian package tzdata)", zone);
		return -2;
	}
	if (zone[0] != '\0' && setenv("TZ", zone, 1) < 0) {
		snprintf(why, size, "the time zone cannot be set: %s", strerror(errno));
		return -2;
	}
	tzset();
	return 0;
}

/* -- days -------------------------------------------------------------------------------------- */

/* False for what is on no calendar: a bus may say anything. */
static bool local(int64_t ms, struct tm *tm)
{
	const time_t t = (time_t)(ms / 1000 - (ms % 1000 < 0));

	return ms > -MOMENT_MAX_MS && ms < MOMENT_MAX_MS && localtime_r(&t, tm) != NULL
	       && tm->tm_year > -1900 && tm->tm_year <= 9999 - 1900;
}

static int32_t day_of(const struct tm *tm)
{
	return (tm->tm_year + 1900) * 10000 + (tm->tm_mon + 1) * 100 + tm->tm_mday;
}

/* A day as such, and some days later: noon in UTC. */
static void calendar(int32_t day, int more, struct tm *tm)
{
	time_t t;

	*tm = (struct tm){ .tm_year = day / 10000 - 1900, .tm_mon = day / 100 % 100 - 1,
			   .tm_mday = day % 100 + more, .tm_hour = 12 };
	t = timegm(tm);
	gmtime_r(&t, tm);
}

int32_t pw_hours_day(int64_t ms)
{
	struct tm tm;

	return local(ms, &tm) ? day_of(&tm) : 0;
}

int32_t pw_hours_add(int32_t day, int days)
{
	struct tm tm;

	calendar(day, days, &tm);
	return day_of(&tm);
}

int64_t pw_hours_moment(int32_t day, unsigned hour)
{
	struct tm tm;
	int64_t ms;

	calendar(day, 0, &tm);
	tm.tm_hour = (int)hour;
	ms = (int64_t)timegm(&tm) * 1000 - WEST_MS;
	for (int64_t end_ms = ms + 2 * WEST_MS + DAY_MS; ms < end_ms; ms += QUARTER_MS)
		if (local(ms, &tm) && (day_of(&tm) > day
				       || (day_of(&tm) == day && tm.tm_hour >= (int)hour)))
			break;
	return ms;
}

/* -- in words ---------------------------------------------------------------------------------- */

static void print(const char *format, const struct tm *tm, char text[PW_HOURS_TEXT_MAX])
{
	if (strftime(text, PW_HOURS_TEXT_MAX, format, tm) == 0)
		text[0] = '\0';
}

void pw_hours_text(int64_t ms, char text[PW_HOURS_TEXT_MAX])
{
	struct tm tm;

	if (local(ms, &tm))
		print("%H:%M %Z on %a %-d %b %Y", &tm, text);
	else
		snprintf(text, PW_HOURS_TEXT_MAX, "a time that no calendar has");
}

void pw_hours_stamp(int64_t ms, char text[PW_HOURS_TEXT_MAX])
{
	struct tm tm;
	char offset[8];

	text[0] = '\0';
	if (!local(ms, &tm))
		return;
	strftime(offset, sizeof(offset), "%z", &tm);
	print("%Y-%m-%dT%H:%M:%S", &tm, text);
	snprintf(text + strlen(text), PW_HOURS_TEXT_MAX - strlen(text), "%.3s:%.2s", offset,
		 offset + 3);
}

void pw_hours_date(int32_t day, char text[PW_HOURS_TEXT_MAX])
{
	struct tm tm;

	calendar(day, 0, &tm);
	print("%a %-d %b %Y", &tm, text);
}
