/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A day in lines: what was not walked, who was not heard of, what does not work, what nobody
 * has taken. It speaks of what came in: a bus that is silent may have missed anything.
 */
#include "tell_internal.h"

#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define LINES_MAX 200 /* of a section */
#define HOUR_MS INT64_C(3600000)

enum section { MISSED, DOUBTFUL, SILENT, NEVER, BROKEN, MUTED, CLOCKS, OPEN, SECTIONS };
static const char *const titles[SECTIONS] = {
	[MISSED] = "Missed walks",
	[DOUBTFUL] = "Doubtful walks",
	[SILENT] = "Not heard of, though expected",
	[NEVER] = "Enrolled, and never heard of",
	[BROKEN] = "Signals, wires and boards with a fault that stands",
	[MUTED] = "Muted for a mechanic (service)",
	[CLOCKS] = "Clocks that cannot be relied on",
	[OPEN] = "Not taken by anybody yet",
};

struct digest {
	const struct pw_office_conf *conf;
	int32_t day;
	int64_t now_ms;
	struct list {
		struct line { char bus[PW_NAME_MAX]; uint64_t order; char *text; } *line;
		size_t count, room;
	} list[SECTIONS];
	uint64_t walks, walked;    /* that came in; of them done or late */
	uint64_t buses, delivered; /* with a key; of them heard of on that day */
};

/* -- lines ------------------------------------------------------------------------------------- */

/* 0; -1: memory is short. order: within a bus. */
__attribute__((format(printf, 5, 6)))
static int add(struct digest *d, enum section section, const char *bus, uint64_t order,
	       const char *format, ...)
{
	struct list *list = &d->list[section];
	struct line *line;
	va_list args;
	int length;

	if (list->count == list->room) {
		const size_t room = list->room > 0 ? 2 * list->room : 16;
		void *larger = reallocarray(list->line, room, sizeof(*line));

		if (larger == NULL)
			return -1;
		list->line = larger;
		list->room = room;
	}
	line = &list->line[list->count];
	*line = (struct line){ .order = order };
	snprintf(line->bus, sizeof(line->bus), "%s", bus);
	va_start(args, format);
	length = vasprintf(&line->text, format, args);
	va_end(args);
	if (length < 0)
		return -1;
	list->count++;
	return 0;
}

/* Bus 9 before bus 10. */
static int compare(const void *a, const void *b)
{
	const struct line *one = a, *other = b;
	const int by_bus = strverscmp(one->bus, other->bus);

	return by_bus != 0 ? by_bus : one->order < other->order ? -1 : one->order > other->order;
}

static void print_section(struct digest *d, enum section section, FILE *out)
{
	struct list *list = &d->list[section];

	if (list->count == 0)
		return;
	qsort(list->line, list->count, sizeof(*list->line), compare);
	fprintf(out, "\n%s: %zu\n", titles[section], list->count);
	for (size_t i = 0; i < list->count && i < LINES_MAX; i++)
		fprintf(out, "  bus %s: %s\n", list->line[i].bus, list->line[i].text);
	if (list->count > LINES_MAX)
		fprintf(out, "  and %zu more\n", list->count - LINES_MAX);
}

static void free_lists(struct digest *d)
{
	for (size_t s = 0; s < SECTIONS; s++) {
		for (size_t i = 0; i < d->list[s].count; i++)
			free(d->list[s].line[i].text);
		free(d->list[s].line);
	}
}

/* -- sweeps ------------------------------------------------------------------------------------ */

static void say_findings(const struct pw_sweep_row *row, char *to, size_t size)
{
	size_t used = 0;

	to[0] = '\0';
	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (row->findings >> i & 1)
			used += (size_t)snprintf(to + used, used < size ? size - used : 0, ", %s",
						 pw_finding_name((enum pw_finding)i));
	for (char *p = to; *p != '\0'; p++)
		if (*p == '_')
			*p = ' ';
}

static void say_stop(const struct pw_sweep_row *row, char to[2 * PW_HOURS_TEXT_MAX])
{
	char text[PW_HOURS_TEXT_MAX];
	const bool believed = pw_clock_believed(row->closed_ms, row->wall_ok, row->came_ms);

	pw_hours_text(believed ? row->key_off_ms : row->came_ms, text);
	snprintf(to, 2 * PW_HOURS_TEXT_MAX, "stop %s%s",
		 believed ? "at " : "when its clock cannot say, in at ", text);
}

static int take_sweep(void *ctx, const char *bus, const struct pw_sweep_row *row)
{
	struct digest *d = ctx;
	char stop[2 * PW_HOURS_TEXT_MAX], findings[400];

	d->walks++;
	say_stop(row, stop);
	say_findings(row, findings, sizeof(findings));
	if (row->verdict == PW_MISSED || row->walk_ms == PW_NO_TIME)
		return add(d, MISSED, bus, d->walks, "%s: no walk; alarm up to %s%s", stop,
			   row->rung, findings);
	if (row->verdict == PW_DOUBTFUL)
		return add(d, DOUBTFUL, bus, d->walks, "%s: pressed after %lld s%s", stop,
			   (long long)(row->walk_ms / 1000), findings);
	d->walked++;
	return 0;
}

/* -- buses ------------------------------------------------------------------------------------- */

static int take_bus(void *ctx, const struct pw_bus_row *row, const int32_t *day, size_t days)
{
	struct digest *d = ctx;
	const int64_t hours = (d->now_ms - row->heard_ms) / HOUR_MS;
	char text[PW_HOURS_TEXT_MAX];

	d->buses++;
	d->delivered += pw_heard_on(day, days, d->day);
	pw_hours_text(days > 0 ? row->heard_ms : row->enrolled_ms, text);
	if (days == 0)
		return add(d, NEVER, row->bus, 0, "enrolled at %s", text);
	if (!pw_habit_silent(day, days, d->day, d->conf->silent_days))
		return 0;
	return add(d, SILENT, row->bus, 0, "no word for %lld hours, since %s", (long long)hours,
		   text);
}

/* -- what stands ------------------------------------------------------------------------------- */

static int take_standing(void *ctx, const char *bus, const struct pw_standing *row)
{
	char since[PW_HOURS_TEXT_MAX];

	pw_hours_text(row->since_ms, since);
	if (strcmp(row->name, "service") == 0)
		return add(ctx, MUTED, bus, row->seq, "since %s", since);
	return add(ctx, BROKEN, bus, row->seq, "%s since %s: %s", row->name, since, row->words);
}

/* A clock that is off makes a matter a day: one line a bus. */
static bool clock_is_told(const struct digest *d, const char *bus)
{
	for (size_t i = 0; i < d->list[CLOCKS].count; i++)
		if (strcmp(d->list[CLOCKS].line[i].bus, bus) == 0)
			return true;
	return false;
}

static int take_matter(void *ctx, const struct pw_matter *m)
{
	struct digest *d = ctx;
	char came[PW_HOURS_TEXT_MAX];

	pw_hours_text(m->came_ms, came);
	if (m->kind != PW_MATTER_CLOCK)
		return add(d, OPEN, m->bus, m->id, "matter %llu: %s", (unsigned long long)m->id,
			   m->words);
	if (clock_is_told(d, m->bus))
		return 0;
	return add(d, CLOCKS, m->bus, m->id, "since %s (matter %llu)", came,
		   (unsigned long long)m->id);
}

/* -- all of it --------------------------------------------------------------------------------- */

static int gather(struct digest *d, struct pw_store *s, char *why, size_t size)
{
	const int64_t from_ms = pw_hours_moment(d->day, 0);
	const int64_t to_ms = pw_hours_moment(pw_hours_add(d->day, 1), 0);
	int result;

	snprintf(why, size, "memory is short");
	result = pw_store_sweeps_came(s, from_ms, to_ms, false, take_sweep, d, why, size);
	if (result == 0)
		result = pw_store_heard(s, take_bus, d, why, size);
	if (result == 0)
		result = pw_store_standings(s, take_standing, d, why, size);
	if (result == 0)
		result = pw_store_matters(s, false, 0, take_matter, d, why, size);
	return result;
}

static void print_bad(const struct digest *d, const char *nothing, FILE *out)
{
	const size_t missed = d->list[MISSED].count, doubtful = d->list[DOUBTFUL].count;

	if (missed + doubtful == 0)
		fputs(nothing, out);
	else
		fprintf(out, "%zu missed and %zu doubtful", missed, doubtful);
}

/* "1 bus has", "2 buses have". */
static void print_count(uint64_t count, const char *one, const char *more, FILE *out)
{
	fprintf(out, "%llu %s", (unsigned long long)count, count == 1 ? one : more);
}

static void print_totals(const struct digest *d, size_t unheard, FILE *out)
{
	fprintf(out, "\n%llu of ", (unsigned long long)d->delivered);
	print_count(d->buses, "bus", "buses", out);
	fprintf(out, " delivered on that day. ");
	print_count(d->walks, "walk", "walks", out);
	fprintf(out, " came in: %llu done or late, %zu doubtful, %zu missed.\n",
		(unsigned long long)d->walked, d->list[DOUBTFUL].count, d->list[MISSED].count);
	if (d->list[MISSED].count == 0)
		fprintf(out, "Nothing was missed");
	else
		print_count(d->list[MISSED].count, "walk was missed", "walks were missed", out);
	fprintf(out, " in what came in; ");
	print_count(unheard, "bus has", "buses have", out);
	fprintf(out, " not been heard of.\n");
}

static void print(struct digest *d, FILE *out)
{
	const size_t unheard = d->list[SILENT].count + d->list[NEVER].count;
	char date[PW_HOURS_TEXT_MAX];

	pw_hours_date(d->day, date);
	fprintf(out, "%s: ", date);
	print_bad(d, "nothing missed", out);
	fprintf(out, " in what came in; %zu not heard of\n", unheard);
	for (enum section s = 0; s < SECTIONS; s++)
		print_section(d, s, out);
	print_totals(d, unheard, out);
}

int pw_digest_of(struct pw_store *s, const struct pw_office_conf *c, int32_t day, int64_t now_ms,
		 FILE *out, char *why, size_t size)
{
	struct digest d = { .conf = c, .day = day, .now_ms = now_ms };
	int result = gather(&d, s, why, size);

	if (result == 0)
		print(&d, out);
	free_lists(&d);
	return result;
}

int pw_digest_write(struct pw_store *s, const struct pw_office_conf *c, int64_t now_ms, FILE *out,
		    char *why, size_t size)
{
	return pw_digest_of(s, c, pw_hours_add(pw_hours_day(now_ms), -1), now_ms, out, why, size);
}
