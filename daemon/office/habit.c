/* SPDX-License-Identifier: Apache-2.0 */
/* Silent by habit: a bus that is heard of on Mondays is missing on a Monday, and not on a Sunday. */
#include "tell_internal.h"
#include "zone.h"

#define WEEK 7

bool pw_heard_on(const int32_t *day, size_t days, int32_t which)
{
	for (size_t i = 0; i < days; i++)
		if (day[i] == which)
			return true;
	return false;
}

/* It was heard of on as many of the same weekdays before, as far as is remembered. */
static bool expected_on(const int32_t *day, size_t days, int32_t which, unsigned weeks)
{
	for (int week = 1; week <= (int)weeks; week++) {
		const int32_t before = pw_date_from(which - week * WEEK);

		if (days == PW_HEARD_DAYS && before < day[days - 1])
			return true;
		if (!pw_heard_on(day, days, before))
			return false;
	}
	return true;
}

bool pw_habit_silent(const int32_t *day, size_t days, int32_t upto, unsigned weeks)
{
	const int32_t since = pw_date_days(upto) - pw_date_days(day[0]);

	if (since >= WEEK)
		return true;
	for (int more = 1; more <= since; more++)
		if (expected_on(day, days, pw_date_days(day[0]) + more, weeks))
			return true;
	return false;
}
