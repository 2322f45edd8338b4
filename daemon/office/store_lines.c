/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What records say beside sweeps: when the watch was at work, what its lines did, who signed the
 * vehicle report. Taken as they come, since nobody reads them again; summed in memory first, so that
 * a stretch of records costs the store a few changes. Bodies are those of docs/journal.md, written
 * without blanks; another is nothing here.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rows_internal.h"
#include "zone.h"

#define DAY_MS INT64_C(86400000)
#define QUARTER_MS INT64_C(900000) /* no zone begins a day within one */
#define BOUNCE_MS 50
#define LONG_MS (12 * INT64_C(3600000)) /* no missed sweep is told of as open for longer */
#define LINES_MAX 48
#define SPANS_MAX 8
#define DAYS_MAX 16

struct line {
	struct pw_line_day of;
	int64_t last_ms;
};
struct span {
	uint64_t boot;
	bool wall_ok;
	int64_t from_ms, to_ms;
};
struct noting {
	struct pw_store *s;
	const struct pw_put *put;
	struct line line[LINES_MAX];
	struct span span[SPANS_MAX];
	int32_t day[DAYS_MAX]; /* dirty */
	size_t lines, spans, days;
	int64_t quarter;       /* of which today is the day */
	int32_t today;
	char *why;
	size_t size;
};

/* -- into the store ---------------------------------------------------------------------------- */

static int keep_lines(struct noting *n)
{
	int result = 0;

	for (size_t i = 0; result == 0 && i < n->lines; i++) {
		const struct pw_line_day *d = &n->line[i].of;
		const struct pw_cell args[] = {
			pw_cell_text(n->put->to.bus), pw_cell_text(d->line), pw_cell_number(d->day),
			pw_cell_number(d->edges), pw_cell_number(d->bounces),
			pw_cell_number(d->chatters), pw_cell_number(d->disagreements),
			pw_cell_number(d->shortest_ms),
		};

		result = pw_store_ask(n->s, PW_Q_LINE, args, NULL, NULL, n->why, n->size);
	}
	n->lines = 0;
	return result;
}

static int keep_spans(struct noting *n)
{
	int result = 0;

	for (size_t i = 0; result == 0 && i < n->spans; i++) {
		const struct span *a = &n->span[i];
		const struct pw_cell args[] = {
			pw_cell_text(n->put->to.bus), pw_cell_hex(n->put->to.epoch),
			pw_cell_number((int64_t)a->boot), pw_cell_number(a->wall_ok),
			pw_cell_number(a->from_ms), pw_cell_number(a->to_ms),
		};

		result = pw_store_ask(n->s, PW_Q_AWAKE, args, NULL, NULL, n->why, n->size);
	}
	n->spans = 0;
	return result;
}

static int keep_days(struct noting *n)
{
	int result = 0;

	for (size_t i = 0; result == 0 && i < n->days; i++)
		result = pw_rows_dirty(n->s, n->put->to.bus, n->day[i], n->why, n->size);
	n->days = 0;
	return result;
}

/* -- record by record -------------------------------------------------------------------------- */

static int note_day(struct noting *n, int64_t ms)
{
	const int32_t day = (int32_t)(ms / DAY_MS);
	int result = 0;

	for (size_t i = n->days; i > 0; i--)
		if (n->day[i - 1] == day)
			return 0;
	if (n->days == DAYS_MAX)
		result = keep_days(n);
	n->day[n->days++] = day;
	return result;
}

/* By the bus's clock where it can be, else by when it came. */
static int64_t best_ms(const struct noting *n, int64_t wall_ms)
{
	const int64_t came_ms = n->put->to.moved_ms;

	return wall_ms > 0 && wall_ms < came_ms + 2 * DAY_MS ? wall_ms : came_ms;
}

static int note_awake(struct noting *n, const struct pw_record *r)
{
	struct span *a = n->spans > 0 ? &n->span[n->spans - 1] : NULL;
	int result = 0;

	if (a != NULL && a->boot == r->boot && a->wall_ok == r->wall_ok) {
		a->from_ms = r->wall_ms < a->from_ms ? r->wall_ms : a->from_ms;
		a->to_ms = r->wall_ms > a->to_ms ? r->wall_ms : a->to_ms;
		return 0;
	}
	if (n->spans == SPANS_MAX)
		result = keep_spans(n);
	n->span[n->spans++] = (struct span){ r->boot, r->wall_ok, r->wall_ms, r->wall_ms };
	return result;
}

static int32_t utc_day(int64_t ms)
{
	return pw_date_from((int32_t)(ms / DAY_MS));
}

static int32_t day_of(struct noting *n, int64_t ms)
{
	if (n->quarter != ms / QUARTER_MS) {
		n->quarter = ms / QUARTER_MS;
		n->today = n->put->day != NULL ? n->put->day(ms) : utc_day(ms);
	}
	return n->today;
}

/* NULL: it could not be kept. */
static struct line *line_of(struct noting *n, const char *name, size_t length, int32_t day)
{
	struct line *l;

	for (size_t i = 0; i < n->lines; i++) {
		l = &n->line[i];
		if (l->of.day == day && strncmp(l->of.line, name, length) == 0
		    && l->of.line[length] == '\0')
			return l;
	}
	if (n->lines == LINES_MAX && keep_lines(n) < 0)
		return NULL;
	l = &n->line[n->lines++];
	*l = (struct line){ .of = { .day = day }, .last_ms = PW_NO_TIME };
	memcpy(l->of.line, name, length);
	return l;
}

/* What stands behind a key in a body; NULL: it is not there. */
static const char *behind(const char *body, const char *key)
{
	const char *at = strstr(body, key);

	return at != NULL ? at + strlen(key) : NULL;
}

static void count_edges(struct line *l, const char *at)
{
	for (char *end; *at != ']' && *at != '\0'; at = *end == ',' ? end + 1 : end) {
		const int64_t ms = strtoll(at, &end, 10);
		const int64_t gap_ms = l->last_ms != PW_NO_TIME ? ms - l->last_ms : INT64_MAX;

		if (end == at)
			return;
		l->of.edges++;
		l->of.bounces += gap_ms >= 0 && gap_ms < BOUNCE_MS;
		if (gap_ms >= 0 && gap_ms < UINT32_MAX
		    && (l->of.shortest_ms == 0 || gap_ms < l->of.shortest_ms))
			l->of.shortest_ms = gap_ms > 0 ? (uint32_t)gap_ms : 1;
		l->last_ms = ms;
	}
}

static int note_edges(struct noting *n, const struct pw_record *r, int32_t day)
{
	const char *name = behind(r->body, "\"line\":\""), *at = behind(r->body, "\"at_ms\":[");
	const size_t length = name != NULL ? strcspn(name, "\"") : 0;
	struct line *l;

	if (at == NULL || length == 0 || length >= PW_NAME_MAX)
		return 0;
	if ((l = line_of(n, name, length, day)) == NULL)
		return -1;
	count_edges(l, at);
	return 0;
}

/* Of edges that came too fast to be taken the watch does not say whose: most likely those of the
 * line that had most of them. */
static struct line *busiest(struct noting *n, int32_t day)
{
	struct line *most = NULL;

	for (size_t i = 0; i < n->lines; i++)
		if (n->line[i].of.day == day
		    && (most == NULL || n->line[i].of.edges > most->of.edges))
			most = &n->line[i];
	return most;
}

static int note_fault(struct noting *n, const struct pw_record *r, int32_t day)
{
	static const char button[] = "rear_button";
	const char *name = behind(r->body, "\"name\":\"");
	struct line *l;

	if (name == NULL || strstr(r->body, "\"on\":true") == NULL)
		return 0;
	if (strncmp(name, "edges_dropped\"", 14) == 0 && (l = busiest(n, day)) != NULL)
		l->of.chatters++;
	if (strncmp(name, "button_contacts\"", 16) != 0)
		return 0;
	if ((l = line_of(n, button, sizeof(button) - 1, day)) == NULL)
		return -1;
	l->of.disagreements++;
	return 0;
}

static int note_report(struct noting *n, const struct pw_record *r)
{
	const char *who = behind(r->body, "\"who\":\"");
	const size_t length = who != NULL ? strcspn(who, "\"") : 0;
	char code[PW_AUDIT_CODE] = "";

	if (length == 0 || length >= sizeof(code) || strstr(r->body, "\"act\":\"signed\"") == NULL)
		return 0;
	memcpy(code, who, length);

	const struct pw_cell args[] = { pw_cell_text(n->put->to.bus),
					pw_cell_number(best_ms(n, r->wall_ms)), pw_cell_text(code) };

	return pw_store_ask(n->s, PW_Q_SIGNER, args, NULL, NULL, n->why, n->size);
}

static int note(struct noting *n, const struct pw_record *r)
{
	const int64_t ms = best_ms(n, r->wall_ms);
	int result = note_day(n, ms);

	if (result == 0)
		result = note_awake(n, r);
	if (result == 0 && r->kind == PW_K_EDGES)
		result = note_edges(n, r, day_of(n, ms));
	if (result == 0 && r->kind == PW_K_FAULT)
		result = note_fault(n, r, day_of(n, ms));
	if (result == 0 && r->kind == PW_K_REPORT)
		result = note_report(n, r);
	return result;
}

int pw_rows_note(struct pw_store *s, const struct pw_put *put, char *why, size_t size)
{
	struct noting n = { .s = s, .put = put, .quarter = INT64_MIN, .why = why, .size = size };
	int result = 0;

	for (size_t i = 0; result == 0 && i < put->records; i++)
		result = note(&n, &put->record[i]);
	for (size_t i = 0; result == 0 && i < put->sweeps; i++) {
		result = note_day(&n, best_ms(&n, put->sweep[i].key_off_ms));
		if (result == 0 && !put->sweep[i].wall_ok)
			result = note_day(&n, put->sweep[i].came_ms);
	}
	if (result == 0)
		result = keep_days(&n);
	if (result == 0)
		result = keep_spans(&n);
	return result == 0 ? keep_lines(&n) : result;
}

/* -- back out of it ---------------------------------------------------------------------------- */

struct giving {
	int (*take)(void *ctx, const struct pw_line_day *d);
	void *ctx;
};

static int give(void *ctx, const struct pw_cell *cells)
{
	const struct giving *g = ctx;
	struct pw_line_day d = { .day = (int32_t)cells[2].number,
				 .edges = (uint32_t)cells[3].number,
				 .bounces = (uint32_t)cells[4].number,
				 .chatters = (uint32_t)cells[5].number,
				 .disagreements = (uint32_t)cells[6].number,
				 .shortest_ms = (uint32_t)cells[7].number };

	pw_cell_get_text(&cells[0], d.bus, sizeof(d.bus));
	pw_cell_get_text(&cells[1], d.line, sizeof(d.line));
	return g->take(g->ctx, &d);
}

int pw_audit_lines(struct pw_store *s, const char *bus, int32_t from, int32_t to,
		   int (*take)(void *ctx, const struct pw_line_day *d), void *ctx, char *why,
		   size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(from),
					pw_cell_number(to) };
	struct giving g = { .take = take, .ctx = ctx };

	return pw_store_ask(s, PW_Q_LINES, args, give, &g, why, size);
}

int pw_audit_lines_worst(struct pw_store *s, int32_t day, unsigned each,
			 int (*take)(void *ctx, const struct pw_line_day *d), void *ctx, char *why,
			 size_t size)
{
	struct giving all = { .take = take, .ctx = ctx };
	const struct pw_cell args[] = { pw_cell_number(day), pw_cell_number(each) };
	int result = pw_store_ask(s, PW_Q_LINES_BOUNCED, args, give, &all, why, size);

	if (result == 0)
		result = pw_store_ask(s, PW_Q_LINES_FAILED, args, give, &all, why, size);
	return result;
}

/* -- temperatures that came -------------------------------------------------------------------- */

int pw_rows_warmed(struct pw_store *s, const char *bus, int64_t at_ms, char *why, size_t size)
{
	const struct pw_cell args[] = { pw_cell_text(bus), pw_cell_number(at_ms - LONG_MS),
					pw_cell_number(at_ms) };

	return pw_store_ask(s, PW_Q_DIRTY_WARMED, args, NULL, NULL, why, size);
}
