/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "journal_internal.h"

void pw_put(struct pw_saying *o, const char *format, ...)
{
	static const char more[] = "...";
	size_t room = sizeof(o->text) - o->n;
	va_list args;
	int n;

	if (room <= 1)
		return;
	va_start(args, format);
	n = vsnprintf(o->text + o->n, room, format, args);
	va_end(args);
	if (n >= 0 && (size_t)n < room) {
		o->n += (size_t)n;
		return;
	}
	o->n = sizeof(o->text) - 1;
	memcpy(o->text + sizeof(o->text) - sizeof(more), more, sizeof(more));
}

/* C0, DEL, and C1 in UTF-8. */
static bool moves_cursor(const unsigned char *c)
{
	return c[0] < ' ' || c[0] == 0x7f || (c[0] == 0xc2 && c[1] >= 0x80 && c[1] < 0xa0);
}

void pw_put_line(const struct pw_saying *o)
{
	for (const char *c = o->text; *c; c++) {
		bool moves = moves_cursor((const unsigned char *)c);

		putchar(moves ? '?' : *c);
		c += moves && (unsigned char)*c == 0xc2;
	}
	putchar('\n');
}

/* -- times ------------------------------------------------------------------------------------- */

static int64_t seconds_of(int64_t ms)
{
	return ms / 1000 - (ms % 1000 < 0);
}

static bool local(int64_t wall_ms, struct tm *tm)
{
	time_t t = (time_t)seconds_of(wall_ms);

	return localtime_r(&t, tm) != NULL;
}

static void say_time(struct pw_saying *o, int64_t wall_ms, const char *format, bool with_ms,
		     const char *zone)
{
	char text[64];
	struct tm tm;

	if (!local(wall_ms, &tm) || strftime(text, sizeof(text), format, &tm) == 0) {
		pw_put(o, "%" PRId64 " ms since 1970", wall_ms);
		return;
	}
	pw_put(o, "%s", text);
	if (with_ms)
		pw_put(o, ".%03d", (int)((wall_ms % 1000 + 1000) % 1000));
	if (zone && strftime(text, sizeof(text), zone, &tm) > 0)
		pw_put(o, "%s", text);
}

void pw_put_when(struct pw_saying *o, int64_t wall_ms)
{
	say_time(o, wall_ms, "%Y-%m-%d %H:%M:%S", false, " %Z");
}

static void say_clock(struct pw_saying *o, int64_t wall_ms, bool with_ms)
{
	struct tm a, b;
	bool known = local(wall_ms, &a) && local(o->near_ms, &b);
	bool same_day = known && a.tm_year == b.tm_year && a.tm_yday == b.tm_yday;
	bool same_zone = known && a.tm_gmtoff == b.tm_gmtoff;

	say_time(o, wall_ms, same_day ? "%H:%M:%S" : "%Y-%m-%d %H:%M:%S", with_ms,
		 same_zone ? NULL : " %Z");
}

void pw_put_clock(struct pw_saying *o, int64_t wall_ms)
{
	say_clock(o, wall_ms, false);
}

void pw_put_clock_ms(struct pw_saying *o, int64_t wall_ms)
{
	say_clock(o, wall_ms, true);
}

/* Seconds with as many decimals as they have. */
static void say_seconds(struct pw_saying *o, int64_t ms)
{
	char text[32];
	size_t n = (size_t)snprintf(text, sizeof(text), "%" PRId64 ".%03d", ms / 1000,
				    (int)(ms % 1000));

	while (text[n - 1] == '0')
		n--;
	text[n - (text[n - 1] == '.')] = '\0';
	pw_put(o, "%s s", text);
}

void pw_put_span(struct pw_saying *o, int64_t ms)
{
	int64_t s;

	if (ms < 0) {
		pw_put(o, "-");
		ms = ms == INT64_MIN ? INT64_MAX : -ms;
	}
	s = ms / 1000;
	if (s >= 86400) {
		pw_put(o, "%" PRId64 " d %" PRId64 " h", s / 86400, s / 3600 % 24);
	} else if (s >= 3600) {
		pw_put(o, "%" PRId64 " h %02" PRId64 " min", s / 3600, s / 60 % 60);
	} else if (s >= 60) {
		pw_put(o, "%" PRId64 " min%s", s / 60, ms % 60000 ? " " : "");
		if (ms % 60000)
			say_seconds(o, ms % 60000);
	} else {
		say_seconds(o, ms);
	}
}

/* -- a time that was typed --------------------------------------------------------------------- */

/* Digits where the form has 0, else the same. */
static bool has_form(const char *text, const char *form)
{
	for (; *form; text++, form++)
		if (*form == '0' ? *text < '0' || *text > '9' : *text != *form)
			return false;
	return *text == '\0';
}

/* As that one, if there is such a time with that setting of summer time. */
static bool there_was(const struct tm *as, int summer, time_t *t)
{
	struct tm tm = *as;

	tm.tm_isdst = summer;
	*t = mktime(&tm);
	return tm.tm_year == as->tm_year && tm.tm_mon == as->tm_mon && tm.tm_mday == as->tm_mday &&
	       tm.tm_hour == as->tm_hour && tm.tm_min == as->tm_min && tm.tm_sec == as->tm_sec;
}

int pw_when_read(const char *text, int64_t *wall_ms)
{
	struct tm tm = { 0 };
	time_t summer, winter;
	bool in_summer, in_winter;

	if (!has_form(text, "0000-00-00") && !has_form(text, "0000-00-00 00:00") &&
	    !has_form(text, "0000-00-00 00:00:00"))
		return -1;
	sscanf(text, "%d-%d-%d %d:%d:%d", &tm.tm_year, &tm.tm_mon, &tm.tm_mday, &tm.tm_hour,
	       &tm.tm_min, &tm.tm_sec);
	tm.tm_year -= 1900;
	tm.tm_mon--;
	in_summer = there_was(&tm, 1, &summer);
	in_winter = there_was(&tm, 0, &winter);
	if (!in_summer && !in_winter)
		return -1;
	*wall_ms = (in_summer && (!in_winter || summer < winter) ? summer : winter) * INT64_C(1000);
	return 0;
}
