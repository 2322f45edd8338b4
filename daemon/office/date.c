/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The civil calendar as a count of days. Months are counted from March, so that a leap day is the
 * last of its year.
 */
#include "zone.h"

static int month_length(int year, int month)
{
	static const int length[] = { 31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31 };
	const bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);

	return length[month - 1] + (month == 2 && leap);
}

bool pw_date_ok(int32_t date)
{
	const int year = date / 10000, month = date / 100 % 100, day = date % 100;

	return year >= 1 && year <= 9999 && month >= 1 && month <= 12 && day >= 1 &&
	       day <= month_length(year, month);
}

int32_t pw_date_days(int32_t date)
{
	const int month = date / 100 % 100, y = date / 10000 - (month <= 2);
	const int era = (y >= 0 ? y : y - 399) / 400, of_era = y - era * 400;
	const int of_year = (153 * (month > 2 ? month - 3 : month + 9) + 2) / 5 + date % 100 - 1;

	return era * 146097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719468;
}

int32_t pw_date_from(int32_t days)
{
	const int32_t z = days + 719468, era = (z >= 0 ? z : z - 146096) / 146097;
	const int32_t of_era = z - era * 146097;
	const int32_t y = (of_era - of_era / 1460 + of_era / 36524 - of_era / 146096) / 365;
	const int32_t of_year = of_era - (365 * y + y / 4 - y / 100), m = (5 * of_year + 2) / 153;
	const int32_t month = m < 10 ? m + 3 : m - 9, year = y + era * 400 + (month <= 2);

	return year * 10000 + month * 100 + of_year - (153 * m + 2) / 5 + 1;
}

/* 1970-01-01 was a Thursday. */
int pw_date_weekday(int32_t days)
{
	return (days % 7 + 7 + 3) % 7 + 1;
}
