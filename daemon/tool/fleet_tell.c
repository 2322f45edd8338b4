/* SPDX-License-Identifier: Apache-2.0 */
/* What is told of a made-up fleet: the truth as JSON Lines, its run sheet, its journals. All of it
 * are codes and numbers of our own, so nothing wants escaping. */
#include <errno.h>
#include <inttypes.h>
#include <string.h>
#include <sys/stat.h>

#include "fleet_send_internal.h"

/* -- a file that is there whole or not at all -------------------------------------------------- */

#define PATH_CHARS 400
struct file { FILE *f; char path[PATH_CHARS], made[PATH_CHARS + 8]; };

static int open_file(struct file *to, const char *path, char *why, size_t size)
{
	if (strlen(path) >= PATH_CHARS) {
		snprintf(why, size, "%.40s...: expected a shorter path", path);
		return -2;
	}
	snprintf(to->path, sizeof(to->path), "%s", path);
	snprintf(to->made, sizeof(to->made), "%s.part", to->path);
	to->f = fopen(to->made, "w");
	if (to->f)
		return 0;
	snprintf(why, size, "%s: %s", to->made, strerror(errno));
	return -2;
}

static int close_file(struct file *to, char *why, size_t size)
{
	bool bad = ferror(to->f);

	bad = fclose(to->f) != 0 || bad;
	if (!bad && rename(to->made, to->path) == 0)
		return 0;
	snprintf(why, size, "%s: it cannot be written: %s", to->path, strerror(errno));
	remove(to->made);
	return -2;
}

static int no_memory(char *why, size_t size)
{
	snprintf(why, size, "no memory");
	return -2;
}

static void print_minute(FILE *to, int64_t minute)
{
	fprintf(to, "%02d:%02d", (int)(minute / 60), (int)(minute % 60));
}

/* -- the truth --------------------------------------------------------------------------------- */

/* A stop by itself. */
struct held { bool is; struct pw_stop stop; struct pw_run run; int32_t date; };

struct listing {
	FILE *to;
	const struct pw_fleet *f;
	const struct pw_fleet_bus *bus;
	unsigned since;
	struct held last[2]; /* of the bus and of its clone: until the next one is known */
};

static void list_bus(const struct listing *l)
{
	static const char *const when[] = { "", "every_key_off", "run", "lamps" };
	const struct pw_fleet_bus *b = l->bus;
	char key[65];

	pw_public_key_print(&b->key.public, key);
	fprintf(l->to,
		"{\"bus\":\"%s\",\"yard\":\"%s\",\"route\":\"%s\",\"driver\":\"%s\","
		"\"school\":\"%s\",\"rows\":%" PRId64 ",\"walk_min_ms\":%" PRId64
		",\"owed_when\":\"%s\",\"battery_switch\":%s,\"key\":\"%s\"}\n",
		b->id, b->yard, b->route, b->driver, b->school, b->policy.rows,
		pw_walk_min_ms(&b->policy), when[b->policy.owed_when],
		b->battery_switch ? "true" : "false", key);
}

static void list_scene(const struct listing *l, const struct pw_fleet_day *d)
{
	char from[16];

	if (!d->begins || d->scene == PW_SCENE_WALKED)
		return;
	pw_date_print(d->date, from);
	fprintf(l->to, "{\"scene\":\"%s\",\"bus\":\"%s\",\"from\":\"%s\",\"days\":%u}\n",
		pw_scene_name(d->scene), l->bus->id, from, d->days);
}

static void write_run(FILE *to, const struct pw_fleet_bus *b, const struct pw_run *run)
{
	fprintf(to, "\"run\":\"%s\",\"route\":\"%s\",\"begin\":\"", run->code, b->route);
	print_minute(to, run->begin_min);
	fputs("\",\"end\":\"", to);
	print_minute(to, run->end_min);
	fprintf(to, "\",\"place\":\"%s\"", run->place);
}

static void write_stop(const struct listing *l, const struct held *h, bool second, bool open)
{
	const struct pw_stop *stop = &h->stop;
	char date[16];

	pw_date_print(h->date, date);
	fprintf(l->to, "{\"stop\":\"%s\",\"bus\":\"%s\",\"copy\":\"%s\",\"date\":\"%s\",",
		stop->what, l->bus->id, second ? "clone" : "", date);
	fprintf(l->to, "\"driver\":\"%s\",", stop->driver);
	if (stop->run >= 0)
		write_run(l->to, l->bus, &h->run);
	else
		fputs("\"run\":null", l->to);
	fprintf(l->to, ",\"scene\":\"%s\",\"walked\":%s,\"t0_ms\":%" PRId64 ",\"expected\":",
		pw_scene_name(stop->scene), stop->walked ? "true" : "false", stop->t0_ms);
	if (stop->expected)
		fprintf(l->to, "\"%s\"", pw_verdict_name(stop->expected));
	else
		fputs("null", l->to);
	fprintf(l->to, ",\"open\":%s}\n", open ? "true" : "false");
}

static void let_go(struct listing *l, bool second, bool ends)
{
	struct held *h = &l->last[second];

	if (h->is)
		write_stop(l, h, second, ends && h->stop.waits);
	h->is = false;
}

/* A stop that waits is open until another one is seen. */
static void list_stop(struct listing *l, const struct pw_fleet_day *d, const struct pw_stop *stop,
		      bool second)
{
	struct held h = { .is = true, .stop = *stop, .date = d->date };

	if (stop->run >= 0)
		h.run = d->run[stop->run];
	if (!stop->expected) {
		write_stop(l, &h, second, false);
		return;
	}
	let_go(l, second, false);
	l->last[second] = h;
}

static void list_day(void *ctx, const struct pw_fleet_day *d, bool second)
{
	struct listing *l = ctx;

	if (d->number < l->since)
		return;
	if (!second)
		list_scene(l, d);
	for (unsigned i = 0; i < d->stops; i++)
		list_stop(l, d, &d->stop[i], second);
}

int pw_fleet_list(const struct pw_fleet *f, unsigned since, FILE *to, char *why, size_t size)
{
	struct pw_fleet_bus bus;
	struct listing l = { .to = to, .f = f, .bus = &bus, .since = since };

	for (unsigned i = 0; i < f->buses; i++) {
		if (pw_fleet_bus_make(f, i, &bus, why, size))
			return -2;
		list_bus(&l);
		if (pw_fleet_days(f, &bus, list_day, &l))
			return no_memory(why, size);
		let_go(&l, false, true);
		let_go(&l, true, true);
	}
	return 0;
}

/* -- the run sheet ----------------------------------------------------------------------------- */

static void sheet_day(void *ctx, const struct pw_fleet_day *d, bool second)
{
	const struct listing *l = ctx;
	char date[16];

	pw_date_print(d->date, date);
	for (unsigned i = 0; i < d->runs && d->number >= l->since && !second; i++) {
		const struct pw_run *run = &d->run[i];

		fprintf(l->to, "%s,%s,%s,%s,%s,", date, l->bus->id, run->code, l->bus->route,
			run->driver);
		print_minute(l->to, run->begin_min);
		fputc(',', l->to);
		print_minute(l->to, run->end_min);
		fprintf(l->to, ",%s\n", run->place);
	}
}

int pw_fleet_run_sheet(const struct pw_fleet *f, unsigned since, const char *path, char *why,
		       size_t size)
{
	struct pw_fleet_bus bus;
	struct file to;
	struct listing l = { .f = f, .bus = &bus, .since = since };
	int result = open_file(&to, path, why, size);

	if (result)
		return result;
	l.to = to.f;
	fputs("date,bus,run,route,driver,begin,end,place\n", to.f);
	for (unsigned i = 0; i < f->buses && result == 0; i++) {
		result = pw_fleet_bus_make(f, i, &bus, why, size);
		if (result == 0 && pw_fleet_days(f, &bus, sheet_day, &l))
			result = no_memory(why, size);
	}
	if (result == 0)
		return close_file(&to, why, size);
	fclose(to.f);
	remove(to.made);
	return -2;
}

/* -- exports ----------------------------------------------------------------------------------- */

static int export_history(const struct pw_history *h, const char *dir, struct pw_growing *g,
			  char *why, size_t size)
{
	char path[PATH_CHARS];
	struct file to;
	int64_t last;

	if (h->book.count == 0)
		return 0;
	last = pw_book_export(&h->book, 1, h->book.count, false, g);
	if (last < 0) {
		snprintf(why, size, "%s: no memory for its export", h->book.bus);
		return -2;
	}
	if (last == 0)
		return 0;
	snprintf(path, sizeof(path), "%s/%s%s%s.jsonl", dir, h->book.bus, h->name[0] ? "." : "",
		 h->name);
	if (open_file(&to, path, why, size))
		return -2;
	fwrite(g->text, 1, g->length, to.f);
	return close_file(&to, why, size);
}

int pw_fleet_exports(struct pw_fleet_state *s, const char *dir, char *why, size_t size)
{
	struct pw_growing g = { 0 };
	struct pw_fleet_life life;
	int result = 0;

	if (strlen(dir) > PATH_CHARS - 100) {
		snprintf(why, size, "%.40s...: expected a shorter path", dir);
		return -2;
	}
	if (mkdir(dir, 0777) && errno != EEXIST) {
		snprintf(why, size, "%s: %s", dir, strerror(errno));
		return -2;
	}
	for (unsigned i = 0; i < s->fleet.buses && result == 0; i++) {
		result = pw_fleet_live(&s->fleet, i, s->bus[i].got, s->bus[i].count, &life, why,
				       size);
		for (unsigned k = 0; k < PW_HISTORIES && result == 0; k++)
			result = export_history(&life.history[k], dir, &g, why, size);
		pw_fleet_life_free(&life);
	}
	pw_growing_free(&g);
	return result ? -2 : 0;
}
