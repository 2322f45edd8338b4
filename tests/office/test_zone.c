/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Time zones by name, beside zdump of the C library: every switch of 12 zones, both sides, from
 * 2000 to 2037 by the table and on to 2450 by the footer; once with the files as Debian ships them,
 * once with files that zic wrote with nothing but the footer for what it can say ("slim").
 */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "office/zone.h"

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))
#define S INT64_C(1000)

/* Both hemispheres; half and quarter hours; summer time of half an hour, none, in the winter
 * (Dublin), by the moon (Casablanca, Gaza); a day left out (Apia). */
static const char *const zones[] = {
	"America/New_York", "America/Denver", "America/Phoenix", "America/St_Johns",
	"America/Sao_Paulo", "Europe/Dublin", "Africa/Casablanca", "Asia/Gaza", "Asia/Kathmandu",
	"Australia/Lord_Howe", "Australia/Adelaide", "Pacific/Apia",
};

struct line { /* of zdump */
	int64_t utc_ms;
	int32_t date, ms, offset_s;
	int weekday;
	char abbreviation[16];
	bool summer;
};

static int place(const char *word, const char *words)
{
	const char *at = strstr(words, word);

	assert_non_null(at);
	return (int)(at - words) / 3 + 1;
}

static int32_t date_of(const char *month, int day, int year)
{
	return year * 10000 + place(month, "JanFebMarAprMayJunJulAugSepOctNovDec") * 100 + day;
}

/* "ZONE  Sun Mar 12 06:59:59 2000 UT = Sun Mar 12 01:59:59 2000 EST isdst=0 gmtoff=-18000" */
static bool read_line(const char *text, struct line *l)
{
	char ut[8], month[2][4], weekday[4];
	int day[2], h[2], m[2], s[2], year[2], summer;

	if (sscanf(text, "%*s %*s %3s %d %d:%d:%d %d %7s = %3s %3s %d %d:%d:%d %d %15s "
		   "isdst=%d gmtoff=%d",
		   month[0], &day[0], &h[0], &m[0], &s[0], &year[0], ut, weekday, month[1], &day[1],
		   &h[1], &m[1], &s[1], &year[1], l->abbreviation, &summer, &l->offset_s) != 17)
		return false;
	l->utc_ms = pw_date_days(date_of(month[0], day[0], year[0])) * PW_DAY_MS +
		    ((h[0] * 60 + m[0]) * 60 + s[0]) * S;
	l->date = date_of(month[1], day[1], year[1]);
	l->ms = ((h[1] * 60 + m[1]) * 60 + s[1]) * 1000;
	l->weekday = place(weekday, "MonTueWedThuFriSatSun");
	l->summer = summer != 0;
	return true;
}

/* Plus a part of a second, which zdump does not have. */
static void look_at(const struct pw_zone *z, const struct line *l, int64_t part_ms)
{
	struct pw_local local;
	int64_t utc_ms[2];
	int count;

	pw_zone_local(z, l->utc_ms + part_ms, &local);
	assert_int_equal(local.date, l->date);
	assert_int_equal(local.ms, l->ms + part_ms);
	assert_int_equal(local.offset_s, l->offset_s);
	assert_int_equal(local.summer, l->summer);
	assert_string_equal(local.abbreviation, l->abbreviation);
	assert_int_equal(pw_date_weekday(pw_date_days(local.date)), l->weekday);
	count = pw_zone_moments(z, local.date, local.ms, utc_ms);
	assert_in_range(count, 1, 2);
	assert_true(utc_ms[0] == l->utc_ms + part_ms ||
		    (count == 2 && utc_ms[1] == l->utc_ms + part_ms));
}

/* A time by the wall clock, so long after local midnight of the day of l. */
static int moments(const struct pw_zone *z, const struct line *l, int64_t ms, int64_t utc_ms[2])
{
	const int64_t days = pw_date_days(l->date) + (ms < 0 ? -1 : ms / PW_DAY_MS);

	return pw_zone_moments(z, pw_date_from((int32_t)days), (int32_t)((ms + PW_DAY_MS) %
			       PW_DAY_MS), utc_ms);
}

/* The second before a switch and the one after: the times between are skipped, or come twice. */
static void look_between(const struct pw_zone *z, const struct line *before,
			 const struct line *after)
{
	const int64_t jump_ms = (after->offset_s - before->offset_s) * S;
	int64_t utc_ms[2];

	if (jump_ms > 0) {
		assert_int_equal(moments(z, before, before->ms + S, utc_ms), 0);
		assert_int_equal(moments(z, before, before->ms + S / 2 + jump_ms / 2, utc_ms), 0);
		assert_int_equal(moments(z, before, before->ms + jump_ms, utc_ms), 0);
		assert_int_equal(moments(z, before, before->ms + jump_ms + S, utc_ms), 1);
	} else if (jump_ms < 0) {
		assert_int_equal(moments(z, after, after->ms - S, utc_ms), 1);
		assert_int_equal(moments(z, after, after->ms - jump_ms, utc_ms), 1);
		assert_int_equal(moments(z, after, after->ms - jump_ms / 2, utc_ms), 2);
		assert_int_equal(utc_ms[0], after->utc_ms + jump_ms - jump_ms / 2);
		assert_int_equal(utc_ms[1], after->utc_ms - jump_ms / 2);
		assert_int_equal(moments(z, after, after->ms, utc_ms), 2);
		assert_int_equal(utc_ms[1], after->utc_ms);
		assert_int_equal(utc_ms[0], after->utc_ms + jump_ms);
	}
}

/* How many lines zdump said. */
static int beside_zdump(const struct pw_zone *z, const char *path, const char *years)
{
	struct line before = { 0 }, l;
	char command[256], text[256];
	int lines = 0;
	FILE *f;

	snprintf(command, sizeof(command), "zdump -v -c %s %s", years, path);
	f = popen(command, "r");
	assert_non_null(f);
	while (fgets(text, sizeof(text), f)) {
		if (!read_line(text, &l))
			continue; /* the ends of time_t, which have no date */
		if (l.date < 19000101 || l.date >= 24500101)
			continue;
		look_at(z, &l, 0);
		look_at(z, &l, 999);
		if (before.utc_ms + S == l.utc_ms)
			look_between(z, &before, &l);
		before = l;
		lines++;
	}
	assert_int_equal(pclose(f), 0);
	return lines;
}

static struct pw_zone *read_zone(const char *path)
{
	static char text[1 << 16];
	char why[200] = "";
	struct pw_zone *z;
	FILE *f = fopen(path, "rb");
	size_t length;

	assert_non_null(f);
	length = fread(text, 1, sizeof(text), f);
	fclose(f);
	if (pw_zone_read(text, length, &z, why, sizeof(why)))
		fail_msg("%s: %s", path, why);
	return z;
}

/* Those without summer time now have few lines; the others two switches a year, two lines each. */
static void test_beside_zdump(void **state)
{
	char why[200], path[128];
	struct pw_zone *z;
	int lines = 0, later = 0;

	(void)state;
	for (size_t i = 0; i < COUNT(zones); i++) {
		assert_int_equal(pw_zone_open(zones[i], &z, why, sizeof(why)), 0);
		snprintf(path, sizeof(path), "%s/%s", PW_ZONE_DIR, zones[i]);
		lines += beside_zdump(z, path, "2000,2038");
		later += beside_zdump(z, path, "2038,2450");
		pw_zone_free(z);
	}
	printf("%d lines of zdump for 2000-2037, %d for 2038-2449\n", lines, later);
	assert_true(lines > 12 * 60);
	assert_true(later > 6 * 4 * 400);
}

static void test_slim(void **state)
{
	char folder[] = "/tmp/zones.XXXXXX", command[256], path[128];
	struct pw_zone *z;
	int lines = 0;

	(void)state;
	assert_non_null(mkdtemp(folder));
	snprintf(command, sizeof(command), "PATH=$PATH:/usr/sbin zic -b slim -d %s %s/tzdata.zi",
		 folder, PW_ZONE_DIR);
	assert_int_equal(system(command), 0);
	for (size_t i = 0; i < COUNT(zones); i++) {
		snprintf(path, sizeof(path), "%s/%s", folder, zones[i]);
		z = read_zone(path);
		lines += beside_zdump(z, path, "1900,2100");
		pw_zone_free(z);
	}
	assert_true(lines > 12 * 100);
	snprintf(command, sizeof(command), "rm -r %s", folder);
	assert_int_equal(system(command), 0);
}

/* -- files of our own: what RFC 9636 allows and what it does not ----------------------------- */

/* A file of version 2 with one type, no table and a footer. */
static int by_footer(const char *footer, struct pw_zone **z, char *why, size_t size)
{
	static const char head[44] = { 'T', 'Z', 'i', 'f', '2', [39] = 1, [43] = 4 };
	static const char type[10] = { [6] = 'L', 'M', 'T' };
	char text[256];
	int length = 0;

	for (int i = 0; i < 2; i++) {
		memcpy(text + length, head, sizeof(head));
		memcpy(text + length + 44, type, sizeof(type));
		length += 54;
	}
	length += snprintf(text + length, sizeof(text) - (size_t)length, "\n%s\n", footer);
	return pw_zone_read(text, (size_t)length, z, why, size);
}

static int64_t utc(int32_t date, int h, int m)
{
	return pw_date_days(date) * PW_DAY_MS + (h * 60 + m) * 60 * S;
}

/* RFC 9636, section 3.3.2: West Greenland, summer time all the year, hours past 24 (from
 * memory); the rest by POSIX.1, chapter 8.3. */
static void test_footers(void **state)
{
	static const struct {
		const char *footer;
		int32_t date;
		int h, m, offset_s;
		const char *name;
	} row[] = {
		{ "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", 20180325, 0, 59, -10800, "-03" },
		{ "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", 20180325, 1, 0, -7200, "-02" },
		{ "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", 20181028, 0, 59, -7200, "-02" },
		{ "<-03>3<-02>,M3.5.0/-2,M10.5.0/-1", 20181028, 1, 0, -10800, "-03" },
		{ "XXX3EDT4,0/0,J365/23", 20300101, 3, 0, -14400, "EDT" },
		{ "XXX3EDT4,0/0,J365/23", 20300101, 4, 0, -14400, "EDT" },
		{ "XXX3EDT4,0/0,J365/23", 20301231, 23, 59, -14400, "EDT" },
		{ "XXX3EDT4,0/0,J365/23", 20281231, 12, 0, -14400, "EDT" },
		{ "IST-2IDT,M3.4.4/26,M10.5.0", 20250327, 23, 59, 7200, "IST" },
		{ "IST-2IDT,M3.4.4/26,M10.5.0", 20250328, 0, 0, 10800, "IDT" },
		{ "AAA0BBB,J60,J300", 20240301, 1, 59, 0, "AAA" }, /* J60: always 1 March */
		{ "AAA0BBB,J60,J300", 20240301, 2, 0, 3600, "BBB" },
		{ "AAA0BBB,J59,J300", 20240228, 2, 0, 3600, "BBB" }, /* always 28 February */
		{ "AAA0BBB,59,300", 20240229, 2, 0, 3600, "BBB" }, /* 59: counts 29 February */
		{ "AAA0BBB,59,300", 20240229, 1, 59, 0, "AAA" },
		{ "AAA-5:30:15BBB-6,M2.5.4,M9.5.6", 20240228, 20, 29, 19815, "AAA" },
		{ "AAA-5:30:15BBB-6,M2.5.4,M9.5.6", 20240228, 20, 30, 21600, "BBB" },
	};
	struct pw_local local;
	struct pw_zone *z;
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		assert_int_equal(by_footer(row[i].footer, &z, why, sizeof(why)), 0);
		for (int cycle = 0; cycle < 3; cycle++) { /* 400 years later all is the same */
			const int32_t date = row[i].date + cycle * 4000000;

			pw_zone_local(z, utc(date, row[i].h, row[i].m), &local);
			assert_int_equal(local.offset_s, row[i].offset_s);
			assert_string_equal(local.abbreviation, row[i].name);
		}
		pw_zone_free(z);
	}
}

static void test_footers_refused(void **state)
{
	static const char *const footer[] = {
		"EST", "E5", "EST5EDT", "EST5EDT,M3.2.0", "EST5EDT,M13.2.0,M11.1.0", "EST25",
		"EST5EDT,M3.6.0,M11.1.0", "EST5EDT,M3.2.7,M11.1.0", "EST5EDT,J0,J365",
		"EST5EDT,366,1",
		"EST5EDT,M3.2.0/168,M11.1.0", "EST5EDT,M3.2.0,M11.1.0 ", "<EST5", ":America/Denver",
		"EST5:60", "EST5EDT,M3.2.0/2:60,M11.1.0", "EST5,M3.2.0,M11.1.0", "5",
	};
	struct pw_zone *z;
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(footer); i++) {
		assert_int_equal(by_footer(footer[i], &z, why, sizeof(why)), -2);
		assert_null(z);
		assert_string_equal(why, "the rule for the years to come is no TZ string");
	}
	assert_int_equal(by_footer("", &z, why, sizeof(why)), 0);
	pw_zone_free(z);
}

/* Pacific/Honolulu as RFC 8536, appendix B.2 has it: version 2. From memory. */
static const unsigned char honolulu[] =
	"TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
	"\0\0\0\6\0\0\0\6\0\0\0\0\0\0\0\7\0\0\0\6\0\0\0\x14"
	"\x80\0\0\0\xbb\x05\x43\x48\xbb\x21\x71\x58\xcb\x89\x3d\xc8\xd2\x23\xf4\x70\xd2\x61\x49\x38"
	"\xd5\x8d\x73\x48" "\1\2\1\3\4\1\5"
	"\xff\xff\x6c\x02\0\0" "\xff\xff\x6c\x58\0\4" "\xff\xff\x7a\x68\1\x08"
	"\xff\xff\x7a\x68\1\x0c" "\xff\xff\x7a\x68\1\x10" "\xff\xff\x73\x60\0\4"
	"LMT\0HST\0HDT\0HWT\0HPT\0" "\0\0\0\0\1\0" "\0\0\0\0\1\0"
	"TZif2\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0"
	"\0\0\0\6\0\0\0\6\0\0\0\0\0\0\0\7\0\0\0\6\0\0\0\x14"
	"\xff\xff\xff\xff\x74\xe0\x70\xbe\xff\xff\xff\xff\xbb\x05\x43\x48"
	"\xff\xff\xff\xff\xbb\x21\x71\x58\xff\xff\xff\xff\xcb\x89\x3d\xc8"
	"\xff\xff\xff\xff\xd2\x23\xf4\x70\xff\xff\xff\xff\xd2\x61\x49\x38"
	"\xff\xff\xff\xff\xd5\x8d\x73\x48" "\1\2\1\3\4\1\5"
	"\xff\xff\x6c\x02\0\0" "\xff\xff\x6c\x58\0\4" "\xff\xff\x7a\x68\1\x08"
	"\xff\xff\x7a\x68\1\x0c" "\xff\xff\x7a\x68\1\x10" "\xff\xff\x73\x60\0\4"
	"LMT\0HST\0HDT\0HWT\0HPT\0" "\0\0\0\0\1\0" "\0\0\0\0\1\0"
	"\nHST10\n";

static void test_honolulu(void **state)
{
	static const struct {
		int64_t at_s;
		int32_t offset_s;
		const char *name;
		bool summer;
	} row[] = {
		{ -2334101315, -37886, "LMT", false }, { -2334101314, -37800, "HST", false },
		{ -1157283000, -34200, "HDT", true }, { -1155436200, -37800, "HST", false },
		{ -880198200, -34200, "HWT", true }, { -769395600, -34200, "HPT", true },
		{ -765376200, -37800, "HST", false }, { -712150201, -37800, "HST", false },
		{ -712150200, -36000, "HST", false }, { 1790000000, -36000, "HST", false },
	};
	struct pw_local local;
	struct pw_zone *z;
	char why[200];

	(void)state;
	assert_int_equal(pw_zone_read(honolulu, sizeof(honolulu) - 1, &z, why, sizeof(why)), 0);
	for (size_t i = 0; i < COUNT(row); i++) {
		pw_zone_local(z, row[i].at_s * S, &local);
		assert_int_equal(local.offset_s, row[i].offset_s);
		assert_string_equal(local.abbreviation, row[i].name);
		assert_int_equal(local.summer, row[i].summer);
	}
	pw_zone_free(z);
}

/* Cut anywhere, or any bit turned over: refused or read, never more. */
static void test_damaged(void **state)
{
	unsigned char text[sizeof(honolulu)];
	struct pw_local local;
	struct pw_zone *z;
	char why[200];

	(void)state;
	for (size_t length = 0; length < sizeof(honolulu) - 1; length++) {
		unsigned char *exact = malloc(length + 1);

		memcpy(exact, honolulu, length);
		assert_int_equal(pw_zone_read(exact, length, &z, why, sizeof(why)), -2);
		free(exact);
	}
	for (size_t bit = 0; bit < 8 * (sizeof(honolulu) - 1); bit++) {
		memcpy(text, honolulu, sizeof(text));
		text[bit / 8] ^= (unsigned char)(1 << bit % 8);
		if (pw_zone_read(text, sizeof(text) - 1, &z, why, sizeof(why)))
			continue;
		for (int64_t at_s = -3000000000; at_s < 5000000000; at_s += 100000000) {
			pw_zone_local(z, at_s * S, &local);
			assert_true(pw_date_ok(local.date));
		}
		pw_zone_free(z);
	}
}

/* One byte of its second part (the header is at 147, the data at 191) that cannot be. */
static void test_does_not_hold(void **state)
{
	static const struct { size_t at; unsigned char byte; const char *why; } row[] = {
		{ 258, 2, "its tables do not hold together" },    /* summer: neither 0 nor 1 */
		{ 247, 6, "its tables do not hold together" },    /* no such type */
		{ 259, 20, "its tables do not hold together" },   /* no such name */
		{ 254, 0, "its tables do not hold together" },    /* an offset of half a year */
		{ 309, 'x', "its tables do not hold together" },  /* a name without an end */
		{ 199, 0x7f, "its tables do not hold together" }, /* moments out of order */
		{ 322, 'x', "its last line is missing" },
		{ 328, 'x', "its last line is missing" },
		{ 147, 'x', "it is no compiled time zone (TZif), or is cut off" },
		{ 187, 1, "it is no compiled time zone (TZif), or is cut off" },
	};
	unsigned char text[sizeof(honolulu)];
	struct pw_zone *z;
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(row); i++) {
		memcpy(text, honolulu, sizeof(text));
		text[row[i].at] = row[i].byte;
		assert_int_equal(pw_zone_read(text, sizeof(text) - 1, &z, why, sizeof(why)), -2);
		assert_string_equal(why, row[i].why);
		assert_null(z);
	}
}

/* Version 1 has a table alone; the last type goes on. */
static void test_version_1(void **state)
{
	unsigned char text[sizeof(honolulu)];
	struct pw_local local;
	struct pw_zone *z;
	char why[200];

	(void)state;
	memcpy(text, honolulu, sizeof(text));
	text[4] = 0;
	assert_int_equal(pw_zone_read(text, sizeof(text) - 1, &z, why, sizeof(why)), 0);
	pw_zone_local(z, 1790000000 * S, &local);
	assert_int_equal(local.offset_s, -36000);
	pw_zone_free(z);
}

/* -- names and the edges of time ------------------------------------------------------------- */

static void test_names(void **state)
{
	static const char *const bad[] = {
		"../../etc/passwd", "/etc/localtime", "America/../Europe/Paris", "America//Denver",
		"America/", "America/Denver ", "zone.tab", "America/Den\nver",
		"A234567890123456789012345678901234567890123456789012345678901234",
	};
	struct pw_zone *z;
	char why[200];

	(void)state;
	for (size_t i = 0; i < COUNT(bad); i++) {
		assert_int_equal(pw_zone_open(bad[i], &z, why, sizeof(why)), -2);
		assert_non_null(strstr(why, "is no name of a time zone"));
	}
	assert_int_equal(pw_zone_open("America/Nowhere", &z, why, sizeof(why)), -2);
	assert_non_null(strstr(why, "no time zone \"America/Nowhere\""));
	assert_int_equal(pw_zone_open("America", &z, why, sizeof(why)), -2);
	assert_string_equal(why, "/usr/share/zoneinfo/America cannot be used: it is no compiled "
			    "time zone (TZif)");
	assert_int_equal(pw_zone_open("leapseconds", &z, why, sizeof(why)), -2);
	assert_int_equal(pw_zone_open("right/America/Denver", &z, why, sizeof(why)), -2);
	assert_int_equal(pw_zone_open("", &z, why, sizeof(why)), 0);
	pw_zone_free(z);
	assert_int_equal(pw_zone_open("Etc/GMT+5", &z, why, sizeof(why)), 0);
	pw_zone_free(z);
	pw_zone_free(NULL);
}

/* TZ is the process's, not ours. */
static void test_no_tz(void **state)
{
	struct pw_local local;
	struct pw_zone *z;
	char why[200];

	(void)state;
	setenv("TZ", "Asia/Tokyo", 1);
	setenv("TZDIR", "/nowhere", 1);
	assert_int_equal(pw_zone_open("America/Denver", &z, why, sizeof(why)), 0);
	pw_zone_local(z, utc(20260115, 12, 0), &local);
	assert_int_equal(local.offset_s, -7 * 3600);
	pw_zone_free(z);
	unsetenv("TZ");
	unsetenv("TZDIR");
}

/* Samoa had no 30 December 2011 (tzdata, file australasia). */
static void test_day_left_out(void **state)
{
	struct pw_zone *z;
	int64_t utc_ms[2];
	char why[200];

	(void)state;
	assert_int_equal(pw_zone_open("Pacific/Apia", &z, why, sizeof(why)), 0);
	for (int32_t ms = 0; ms < PW_DAY_MS; ms += 1000 * 60)
		assert_int_equal(pw_zone_moments(z, 20111230, ms, utc_ms), 0);
	assert_int_equal(pw_zone_moments(z, 20111229, (int32_t)PW_DAY_MS - 1, utc_ms), 1);
	assert_int_equal(pw_zone_moments(z, 20111231, 0, utc_ms), 1);
	assert_int_equal(utc_ms[0], utc(20111230, 10, 0));
	pw_zone_free(z);
}

static void test_far(void **state)
{
	struct pw_local local;
	struct pw_zone *z;
	int64_t utc_ms[2];
	char why[200];

	(void)state;
	assert_int_equal(pw_zone_open("America/Denver", &z, why, sizeof(why)), 0);
	pw_zone_local(z, INT64_MIN, &local);
	assert_int_equal(local.date, 10102);
	pw_zone_local(z, INT64_MAX, &local);
	assert_int_equal(local.date, 99991230);
	assert_int_equal(pw_zone_moments(z, 99990715, 0, utc_ms), 1);
	assert_int_equal(utc_ms[0], utc(99990715, 6, 0));
	pw_zone_free(z);
}

/* Day numbers and weekdays beside the C library's, every day from 1601 to 2400. */
static void test_days(void **state)
{
	struct tm tm;
	int32_t date;

	(void)state;
	for (int32_t days = -134774; days < 157100; days++) {
		const time_t at = days * (time_t)86400;

		gmtime_r(&at, &tm);
		date = (tm.tm_year + 1900) * 10000 + (tm.tm_mon + 1) * 100 + tm.tm_mday;
		assert_int_equal(pw_date_from(days), date);
		assert_int_equal(pw_date_days(date), days);
		assert_true(pw_date_ok(date));
		assert_int_equal(pw_date_weekday(days), tm.tm_wday ? tm.tm_wday : 7);
	}
	for (size_t i = 0; i < 8; i++) {
		static const int32_t bad[] = { 0, 101, 20250229, 21000229, 20260431, 20261301,
					       20260100, 100000101 };
		assert_false(pw_date_ok(bad[i]));
	}
	assert_true(pw_date_ok(20000229));
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_beside_zdump), cmocka_unit_test(test_slim),
		cmocka_unit_test(test_footers), cmocka_unit_test(test_footers_refused),
		cmocka_unit_test(test_honolulu), cmocka_unit_test(test_damaged),
		cmocka_unit_test(test_does_not_hold), cmocka_unit_test(test_version_1),
		cmocka_unit_test(test_names),
		cmocka_unit_test(test_no_tz), cmocka_unit_test(test_day_left_out),
		cmocka_unit_test(test_far), cmocka_unit_test(test_days),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
