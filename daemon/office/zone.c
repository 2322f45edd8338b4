/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The zone database as it is compiled (TZif, RFC 9636). The C library reads it too, but for one
 * zone of the whole process; GLib's GTimeZone reads it by name, but follows TZDIR and "..", ends
 * the process when memory is short, and tells the two moments of a doubled hour apart only where
 * summer time is what doubled it.
 *
 * The rule for the years to come, in the footer, is laid out once: a whole cycle of the calendar,
 * 400 years, so that a moment is looked for in one table.
 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "zone.h"

#define FILE_MAX (1 << 20)
#define HEADER 44
#define DAY_S INT64_C(86400)
#define CYCLE_S (146097 * DAY_S)
#define FIRST_S (pw_date_days(10103) * DAY_S)
#define LAST_S (pw_date_days(99991231) * DAY_S)
#define CYCLE_YEARS 400
#define FIRST_YEAR 1900 /* of a footer without a table before it */
#define OFFSET_MAX (26 * 3600)
#define TYPES_MAX 256
#define NAMES_MAX 512

struct type {
	int32_t offset_s;
	bool summer;
	uint16_t name; /* in names */
};

struct pw_zone {
	size_t count, room;
	int64_t *at_s;       /* since then, type[of[i]] */
	uint16_t *of;
	bool cycle;          /* the end of the table goes on for ever */
	uint16_t first, types;
	struct type type[TYPES_MAX + 2];
	uint16_t names_length;
	char names[NAMES_MAX];
};

static int64_t floor_div(int64_t a, int64_t b)
{
	return a / b - (a % b < 0);
}

/* -- the table ------------------------------------------------------------------------------- */

static int refuse(char *why, size_t size, const char *words)
{
	snprintf(why, size, "%s", words);
	return -2;
}

static bool make_room(struct pw_zone *z, size_t count)
{
	int64_t *at_s = realloc(z->at_s, count * sizeof(*at_s));
	uint16_t *of;

	if (!at_s)
		return false;
	z->at_s = at_s;
	of = realloc(z->of, count * sizeof(*of));
	if (!of)
		return false;
	z->of = of;
	z->room = count;
	return true;
}

static void add(struct pw_zone *z, int64_t at_s, uint16_t type)
{
	if (z->count && at_s <= z->at_s[z->count - 1])
		return;
	z->at_s[z->count] = at_s;
	z->of[z->count++] = type;
}

/* -- the footer: a TZ string, POSIX.1 with the hours of RFC 9636 3.3.2 ----------------------- */

/* J: 1 - 365, no leap day; N: 0 - 365; M: the week'th weekday of a month, 5 the last. */
struct rule {
	char kind;
	int day, week, month;
	int32_t time_s;
};

struct footer {
	struct type standard, summer;
	bool changes;
	struct rule begin, end; /* of summer time */
};

static bool number(const char **p, int least, int most, int *value)
{
	const char *begin = *p;

	for (*value = 0; **p >= '0' && **p <= '9' && *p - begin < 3; ++*p)
		*value = *value * 10 + **p - '0';
	return *p > begin && *value >= least && *value <= most;
}

static bool sign(const char **p)
{
	const bool minus = **p == '-';

	*p += **p == '-' || **p == '+';
	return minus;
}

/* [+-]hh[:mm[:ss]] */
static bool hours(const char **p, int most, int32_t *s)
{
	const bool minus = sign(p);
	int h, m = 0, second = 0;

	if (!number(p, 0, most, &h))
		return false;
	if (**p == ':' && (++*p, !number(p, 0, 59, &m)))
		return false;
	if (**p == ':' && (++*p, !number(p, 0, 59, &second)))
		return false;
	*s = (h * 60 + m) * 60 + second;
	*s = minus ? -*s : *s;
	return true;
}

static bool letter(char c, bool quoted)
{
	return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') ||
	       (quoted && ((c >= '0' && c <= '9') || c == '+' || c == '-'));
}

/* Three letters or more, or <+03>. */
static bool short_name(const char **p, struct pw_zone *z, uint16_t *name)
{
	const bool quoted = **p == '<';
	const char *begin = *p += quoted;
	size_t length;

	while (letter(**p, quoted))
		++*p;
	length = (size_t)(*p - begin);
	if (length < 3 || z->names_length + length + 1 > sizeof(z->names))
		return false;
	if (quoted && *(*p)++ != '>')
		return false;
	*name = z->names_length;
	memcpy(z->names + *name, begin, length);
	z->names[*name + length] = '\0';
	z->names_length = (uint16_t)(z->names_length + length + 1);
	return true;
}

static bool rule(const char **p, struct rule *r)
{
	r->kind = **p == 'J' || **p == 'M' ? *(*p)++ : 'N';
	r->time_s = 2 * 3600;
	if (r->kind == 'M') {
		if (!number(p, 1, 12, &r->month) || *(*p)++ != '.' || !number(p, 1, 5, &r->week) ||
		    *(*p)++ != '.' || !number(p, 0, 6, &r->day))
			return false;
	} else if (!number(p, r->kind == 'J', 365, &r->day)) {
		return false;
	}
	return **p != '/' || (++*p, hours(p, 167, &r->time_s));
}

static bool footer(const char *text, struct pw_zone *z, struct footer *f)
{
	const char **p = &text;

	if (!short_name(p, z, &f->standard.name) || !hours(p, 24, &f->standard.offset_s))
		return false;
	f->standard.offset_s = -f->standard.offset_s;
	f->changes = **p != '\0';
	if (!f->changes)
		return true;
	if (!short_name(p, z, &f->summer.name))
		return false;
	f->summer.summer = true;
	f->summer.offset_s = f->standard.offset_s + 3600;
	if (**p != ',') {
		if (!hours(p, 24, &f->summer.offset_s))
			return false;
		f->summer.offset_s = -f->summer.offset_s;
	}
	return *(*p)++ == ',' && rule(p, &f->begin) && *(*p)++ == ',' && rule(p, &f->end) &&
	       **p == '\0';
}

/* The moment of a rule in a year, by the local time that is in force before it. */
static int64_t moment(const struct rule *r, int year, int32_t offset_s)
{
	const bool leap = pw_date_ok(year * 10000 + 229);
	int32_t day = pw_date_days(year * 10000 + 101), of_month;

	if (r->kind == 'N') {
		day += r->day;
	} else if (r->kind == 'J') {
		day += r->day - 1 + (r->day >= 60 && leap);
	} else {
		day = pw_date_days(year * 10000 + r->month * 100 + 1);
		of_month = (r->day + 7 - pw_date_weekday(day) % 7) % 7 + 7 * (r->week - 1) + 1;
		if (!pw_date_ok(year * 10000 + r->month * 100 + of_month))
			of_month -= 7;
		day += of_month - 1;
	}
	return day * DAY_S + r->time_s - offset_s;
}

/* Summer time that ends no sooner than it begins again is all the year. */
static void lay_year(struct pw_zone *z, const struct footer *f, int year, uint16_t standard)
{
	const int64_t begin_s = moment(&f->begin, year, f->standard.offset_s);
	const int64_t end_s = moment(&f->end, year, f->summer.offset_s);
	const bool ends = end_s < moment(&f->begin, year + 1, f->standard.offset_s);

	if (ends && end_s < begin_s)
		add(z, end_s, standard);
	add(z, begin_s, (uint16_t)(standard + 1));
	if (ends && end_s >= begin_s)
		add(z, end_s, standard);
}

static int lay_footer(struct pw_zone *z, const char *text, char *why, size_t size)
{
	const uint16_t standard = z->types;
	int year = FIRST_YEAR;
	struct footer f = { 0 };

	if (*text == '\0')
		return 0;
	if (!footer(text, z, &f))
		return refuse(why, size, "the rule for the years to come is no TZ string");
	if (!f.changes)
		return 0;
	if (z->count)
		year = pw_date_from((int32_t)floor_div(z->at_s[z->count - 1], DAY_S)) / 10000 - 1;
	if (!make_room(z, z->count + 2 * (CYCLE_YEARS + 4))) {
		snprintf(why, size, "no memory for a time zone");
		return -1;
	}
	z->type[z->types++] = f.standard;
	z->type[z->types++] = f.summer;
	for (int i = 0; i < CYCLE_YEARS + 4; i++)
		lay_year(z, &f, year + i, standard);
	z->cycle = true;
	return 0;
}

/* -- the file -------------------------------------------------------------------------------- */

struct block {
	uint32_t isut, isstd, leaps, times, types, chars;
	const uint8_t *data;
	size_t length;
};

static uint64_t big(const uint8_t *p, int bytes)
{
	uint64_t value = 0;

	for (int i = 0; i < bytes; i++)
		value = value << 8 | p[i];
	return value;
}

/* A header and the data behind it, whose times have that many bytes. */
static bool block(const uint8_t *file, size_t length, unsigned bytes, struct block *b)
{
	uint32_t *const count[] = { &b->isut, &b->isstd, &b->leaps, &b->times, &b->types,
				    &b->chars };

	if (length < HEADER || memcmp(file, "TZif", 4))
		return false;
	for (size_t i = 0; i < 6; i++) {
		*count[i] = (uint32_t)big(file + 20 + 4 * i, 4);
		if (*count[i] > FILE_MAX)
			return false;
	}
	b->data = file + HEADER;
	b->length = (size_t)b->times * (bytes + 1) + (size_t)b->types * 6 + b->chars +
		    (size_t)b->leaps * (bytes + 4) + b->isstd + b->isut;
	return b->length <= length - HEADER && b->types >= 1 && b->types <= TYPES_MAX &&
	       b->chars >= 1 && b->chars <= NAMES_MAX / 2;
}

static bool read_types(struct pw_zone *z, const struct block *b, const uint8_t *p)
{
	for (z->types = 0; z->types < b->types; z->types++, p += 6) {
		struct type *t = &z->type[z->types];

		t->offset_s = (int32_t)(uint32_t)big(p, 4);
		t->summer = p[4] == 1;
		t->name = p[5];
		if (t->offset_s <= -OFFSET_MAX || t->offset_s >= OFFSET_MAX || p[4] > 1 ||
		    p[5] >= b->chars)
			return false;
	}
	memcpy(z->names, p, b->chars);
	z->names_length = (uint16_t)b->chars;
	return z->names[b->chars - 1] == '\0';
}

/* What was before the calendar's first year: only the last of it still counts. */
static bool read_times(struct pw_zone *z, const struct block *b, int bytes)
{
	const uint8_t *of = b->data + (size_t)b->times * (size_t)bytes;
	int64_t before_s = INT64_MIN;

	for (uint32_t i = 0; i < b->times; i++) {
		const uint64_t bits = big(b->data + (size_t)i * (size_t)bytes, bytes);
		const int64_t at_s = bytes == 8 ? (int64_t)bits : (int32_t)(uint32_t)bits;

		if (of[i] >= b->types || (i && at_s <= before_s) || at_s >= LAST_S - 2 * CYCLE_S)
			return false;
		if (at_s < FIRST_S)
			z->first = of[i];
		else
			add(z, at_s, of[i]);
		before_s = at_s;
	}
	return true;
}

static int read_block(struct pw_zone *z, const struct block *b, int bytes, char *why, size_t size)
{
	if (b->leaps)
		return refuse(why, size, "it counts leap seconds; expected one that does not");
	if (!make_room(z, b->times + 1)) {
		snprintf(why, size, "no memory for a time zone");
		return -1;
	}
	if (!read_types(z, b, b->data + (size_t)b->times * (size_t)(bytes + 1)) ||
	    !read_times(z, b, bytes))
		return refuse(why, size, "its tables do not hold together");
	return 0;
}

static int read_footer(struct pw_zone *z, const uint8_t *p, size_t length, char *why, size_t size)
{
	char text[128];
	const uint8_t *end = length ? memchr(p + 1, '\n', length - 1) : NULL;

	if (!end || *p != '\n' || (size_t)(end - p) > sizeof(text) ||
	    memchr(p, 0, (size_t)(end - p)))
		return refuse(why, size, "its last line is missing");
	memcpy(text, p + 1, (size_t)(end - p - 1));
	text[end - p - 1] = '\0';
	return lay_footer(z, text, why, size);
}

static int read_file(struct pw_zone *z, const uint8_t *p, size_t length, char *why, size_t size)
{
	struct block b;
	int result;

	if (!block(p, length, 4, &b))
		return refuse(why, size, "it is no compiled time zone (TZif), or is cut off");
	if (p[4] == 0)
		return read_block(z, &b, 4, why, size);
	length -= HEADER + b.length;
	p = b.data + b.length;
	if (!block(p, length, 8, &b))
		return refuse(why, size, "it is no compiled time zone (TZif), or is cut off");
	result = read_block(z, &b, 8, why, size);
	if (result == 0)
		result = read_footer(z, b.data + b.length, length - HEADER - b.length, why, size);
	return result;
}

int pw_zone_read(const void *file, size_t length, struct pw_zone **z, char *why, size_t size)
{
	struct pw_zone *zone = calloc(1, sizeof(*zone));
	int result;

	*z = NULL;
	if (!zone) {
		snprintf(why, size, "no memory for a time zone");
		return -1;
	}
	result = read_file(zone, file, length, why, size);
	if (result < 0)
		pw_zone_free(zone);
	else
		*z = zone;
	return result;
}

void pw_zone_free(struct pw_zone *z)
{
	if (!z)
		return;
	free(z->at_s);
	free(z->of);
	free(z);
}

/* Words of letters, digits, + - _ with / between: it stays within the folder. */
static bool name_ok(const char *name)
{
	bool between = true;

	for (const char *p = name; *p; p++) {
		if (*p == '/' && between)
			return false;
		between = *p == '/';
		if (!between && !letter(*p, true) && *p != '_')
			return false;
	}
	return !between && strlen(name) < 64;
}

static int read_open(int fd, struct pw_zone **z, char *why, size_t size)
{
	struct stat st;
	uint8_t *text;
	ssize_t got;
	int result;

	if (fstat(fd, &st) < 0 || !S_ISREG(st.st_mode) || st.st_size > FILE_MAX)
		return refuse(why, size, "it is no compiled time zone (TZif)");
	text = malloc((size_t)st.st_size + 1);
	if (!text) {
		snprintf(why, size, "no memory for a time zone");
		return -1;
	}
	got = read(fd, text, (size_t)st.st_size + 1);
	result = got < 0 ? refuse(why, size, strerror(errno)) :
			   pw_zone_read(text, (size_t)got, z, why, size);
	free(text);
	return result;
}

int pw_zone_open(const char *name, struct pw_zone **z, char *why, size_t size)
{
	static const uint8_t utc[HEADER + 10] = { 'T', 'Z', 'i', 'f', [39] = 1, [43] = 4,
						  [50] = 'U', 'T', 'C' };
	char path[128], words[160];
	int fd, result;

	*z = NULL;
	if (*name && !name_ok(name))
		return snprintf(why, size, "\"%.64s\" is no name of a time zone; expected one like "
				"America/Denver", name), -2;
	snprintf(path, sizeof(path), "%s", "/etc/localtime");
	if (*name)
		snprintf(path, sizeof(path), "%s/%s", PW_ZONE_DIR, name);
	fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (fd < 0 && !*name && errno == ENOENT)
		return pw_zone_read(utc, sizeof(utc), z, why, size);
	if (fd < 0)
		return snprintf(why, size, "no time zone \"%s\" in %s; is tzdata installed?", name,
				PW_ZONE_DIR), -2;
	result = read_open(fd, z, words, sizeof(words));
	close(fd);
	if (result < 0)
		snprintf(why, size, "%s cannot be used: %s", path, words);
	return result;
}

/* -- looking up ------------------------------------------------------------------------------ */

/* How many of the table's moments are not after that one. */
static size_t passed(const struct pw_zone *z, int64_t at_s)
{
	size_t low = 0, high = z->count;

	while (low < high) {
		const size_t middle = low + (high - low) / 2;

		if (z->at_s[middle] <= at_s)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

static const struct type *type_after(const struct pw_zone *z, size_t moments)
{
	return &z->type[moments ? z->of[moments - 1] : z->first];
}

/* Seconds to take off, whole cycles, so that a moment is well within the table. */
static int64_t cycles(const struct pw_zone *z, int64_t at_s)
{
	const int64_t last_s = z->count ? z->at_s[z->count - 1] - 2 * OFFSET_MAX : 0;

	return z->cycle && at_s >= last_s ? ((at_s - last_s) / CYCLE_S + 1) * CYCLE_S : 0;
}

void pw_zone_local(const struct pw_zone *z, int64_t utc_ms, struct pw_local *local)
{
	const int64_t sure_ms = utc_ms < FIRST_S * 1000 ? FIRST_S * 1000 :
				utc_ms >= LAST_S * 1000 ? LAST_S * 1000 - 1 : utc_ms;
	const int64_t at_s = floor_div(sure_ms, 1000);
	const struct type *t = type_after(z, passed(z, at_s - cycles(z, at_s)));
	const int64_t local_ms = sure_ms + t->offset_s * INT64_C(1000);
	const int64_t days = floor_div(local_ms, PW_DAY_MS);

	local->date = pw_date_from((int32_t)days);
	local->ms = (int32_t)(local_ms - days * PW_DAY_MS);
	local->offset_s = t->offset_s;
	local->summer = t->summer;
	local->abbreviation = z->names + t->name;
}

int pw_zone_moments(const struct pw_zone *z, int32_t date, int32_t ms, int64_t utc_ms[2])
{
	const int64_t wall_s = pw_date_days(date) * DAY_S + ms / 1000, off = cycles(z, wall_s);
	const int64_t in_s = wall_s - off;
	size_t i = passed(z, in_s - OFFSET_MAX);
	int found = 0;

	do {
		const int64_t at_s = in_s - type_after(z, i)->offset_s;
		const bool after = i == 0 || at_s >= z->at_s[i - 1];
		const bool before = i == z->count || at_s < z->at_s[i];

		if (found < 2 && after && before)
			utc_ms[found++] = (at_s + off) * 1000 + ms % 1000;
	} while (++i <= z->count && z->at_s[i - 1] <= in_s + OFFSET_MAX);
	return found;
}
