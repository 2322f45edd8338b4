/* SPDX-License-Identifier: Apache-2.0 */
/* The calendar of the made-up district. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "fleet_internal.h"

#define DAY_MS INT64_C(86400000)

/* Made up, like all else: no school on them, every year. */
static const struct { int month, day, days; } holidays[] = {
	{ 1, 1, 2 },  { 2, 9, 1 },  { 3, 16, 1 }, { 4, 20, 2 }, { 5, 11, 1 },  { 6, 8, 1 },
	{ 7, 6, 1 },  { 8, 10, 1 }, { 9, 14, 1 }, { 10, 12, 2 }, { 11, 23, 2 }, { 12, 24, 3 },
};

static struct tm split(int32_t date)
{
	const time_t noon = (time_t)date * 86400 + 43200;
	struct tm t;

	gmtime_r(&noon, &t);
	return t;
}

int pw_date_read(const char *text, int32_t *date)
{
	struct tm t = { .tm_hour = 12 };
	char again[16];
	const char *end = strptime(text, "%Y-%m-%d", &t);

	if (!end || *end != '\0')
		return -1;
	*date = (int32_t)(timegm(&t) / 86400);
	pw_date_print(*date, again);
	return strcmp(text, again) == 0 && t.tm_year >= 71 && t.tm_year <= 198 ? 0 : -1;
}

void pw_date_print(int32_t date, char text[16])
{
	const struct tm t = split(date);

	strftime(text, 16, "%Y-%m-%d", &t);
}

bool pw_date_is_school_day(int32_t date)
{
	const struct tm t = split(date);

	if (t.tm_wday == 0 || t.tm_wday == 6)
		return false;
	for (size_t i = 0; i < sizeof(holidays) / sizeof(holidays[0]); i++)
		if (t.tm_mon + 1 == holidays[i].month && t.tm_mday >= holidays[i].day
		    && t.tm_mday < holidays[i].day + holidays[i].days)
			return false;
	return true;
}

/* The C library takes any name, and UTC for those that it does not know. */
static bool is_known(const char *zone)
{
	const char *dir = getenv("TZDIR");
	char path[300];

	if (zone[0] == '/' || zone[0] == '.' || zone[0] == ':' || strstr(zone, ".."))
		return false;
	snprintf(path, sizeof(path), "%.100s/%.100s", dir ? dir : "/usr/share/zoneinfo", zone);
	return strlen(zone) <= 100 && access(path, R_OK) == 0;
}

int pw_zone_set(const char *zone)
{
	if (zone[0] == '\0')
		return 0;
	if (strcmp(zone, "UTC") != 0 && !is_known(zone))
		return -1;
	setenv("TZ", zone, 1);
	tzset();
	return 0;
}

int64_t pw_date_ms(int32_t date)
{
	struct tm noon = split(date);

	noon.tm_isdst = -1;
	return (int64_t)mktime(&noon) * 1000 - DAY_MS / 2;
}

int32_t pw_date_of(int64_t time_ms)
{
	const time_t at = (time_t)(time_ms / 1000);
	struct tm t;

	localtime_r(&at, &t);
	t.tm_isdst = 0;
	t.tm_hour = 12;
	return (int32_t)(timegm(&t) / 86400);
}
