/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "page_internal.h"

#define STATUS_VERSION 1 /* of this format, docs/status.md: not of the snapshot */

static void put_key(struct pw_sheet *t, const char *key)
{
	pw_sheet_fmt(t, "%s\"%s\":", t->len && !strchr("{[", t->buf[t->len - 1]) ? "," : "", key);
}

static void put_text(struct pw_sheet *t, const char *key, const char *text)
{
	put_key(t, key);
	pw_sheet_json(t, text);
}

static void put_bool(struct pw_sheet *t, const char *key, bool value)
{
	put_key(t, key);
	pw_sheet_raw(t, value ? "true" : "false");
}

static void put_int(struct pw_sheet *t, const char *key, int64_t value)
{
	put_key(t, key);
	pw_sheet_fmt(t, "%" PRId64, value);
}

/* Milliseconds as seconds; null when negative: it has not been, or is not running. */
static void put_s(struct pw_sheet *t, const char *key, int64_t ms)
{
	put_key(t, key);
	if (ms < 0)
		pw_sheet_raw(t, "null");
	else
		pw_sheet_fmt(t, "%" PRId64 ".%03d", ms / 1000, (int)(ms % 1000));
}

static void put_wall(struct pw_sheet *t, const char *key, int64_t wall_ms)
{
	char second[PW_CLOCK_MAX], zone[PW_CLOCK_MAX];
	int64_t ms = wall_ms % 1000;

	put_key(t, key);
	pw_wall_text(wall_ms, "%Y-%m-%dT%H:%M:%S", second);
	pw_wall_text(wall_ms, "%z", zone); /* +hhmm; ISO 8601 extended wants +hh:mm */
	pw_sheet_fmt(t, "\"%s.%03d%.3s:%s\"", second, (int)(ms < 0 ? ms + 1000 : ms), zone,
		     zone + 3);
}

/* known false: there is none such yet. */
static void put_moment(struct pw_sheet *t, const char *key, bool known, int64_t wall_ms)
{
	if (known) {
		put_wall(t, key, wall_ms);
	} else {
		put_key(t, key);
		pw_sheet_raw(t, "null");
	}
}

static void put_findings(struct pw_sheet *t, uint32_t findings)
{
	put_key(t, "findings");
	pw_sheet_raw(t, "[");
	for (int f = 0, n = 0; f < PW_FINDINGS; f++)
		if (findings >> f & 1)
			pw_sheet_fmt(t, "%s\"%s\"", n++ ? "," : "",
				     pw_finding_name((enum pw_finding)f));
	pw_sheet_raw(t, "]");
}

static void put_refusal(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "refused");
	if (s->refused_ms == PW_NO_TIME) {
		pw_sheet_raw(t, "null");
		return;
	}
	pw_sheet_raw(t, "{");
	put_text(t, "why", pw_why_name(s->refused_why));
	put_s(t, "ago_s", pw_span_ms(s->refused_ms, s->now_ms));
	pw_sheet_raw(t, "}");
}

/* a moment after another, which may not have been */
static int64_t later(int64_t a_ms, int64_t plus_ms)
{
	return a_ms == PW_NO_TIME || a_ms == PW_NEVER ? PW_NO_TIME : a_ms + plus_ms;
}

static void put_sweep(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "sweep");
	if (s->phase != PW_OWED && s->phase != PW_OVERDUE && s->phase != PW_WALK_BACK) {
		pw_sheet_raw(t, "null");
		return;
	}
	bool waiting = s->phase != PW_WALK_BACK;

	pw_sheet_raw(t, "{");
	put_s(t, "open_s", pw_span_ms(s->t0_ms, s->now_ms));
	put_s(t, "left_s", s->phase == PW_OWED ? pw_span_ms(s->now_ms, s->due_ms) : -1);
	put_s(t, "over_s", s->phase == PW_OVERDUE ? pw_span_ms(s->due_ms, s->now_ms) : -1);
	put_s(t, "press_counts_in_s",
	      waiting ? pw_span_ms(s->now_ms, later(s->basis_ms, s->walk_min_ms)) : -1);
	put_s(t, "pressed_ago_s", waiting ? -1 : pw_span_ms(s->press_ms, s->now_ms));
	put_s(t, "look_s",
	      waiting ? -1 : pw_span_ms(s->now_ms, later(s->press_ms, s->return_min_ms)));
	put_s(t, "leave_within_s",
	      waiting ? -1 : pw_span_ms(s->now_ms, later(s->press_ms, s->return_max_ms)));
	put_refusal(t, s);
	put_findings(t, s->findings);
	pw_sheet_raw(t, "}");
}

static void put_said(struct pw_sheet *t, const struct pw_snapshot *s)
{
	struct pw_said said;

	pw_say(s, &said);
	put_text(t, "headline", pw_word(PW_ENGLISH, said.headline));
	put_text(t, "next", pw_word(PW_ENGLISH, said.next));
}

static void put_service(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "service");
	pw_sheet_raw(t, "{");
	put_bool(t, "on", s->service);
	put_s(t, "left_s", s->service ? pw_span_ms(s->now_ms, s->service_end_ms) : -1);
	pw_sheet_raw(t, "}");
}

static void put_line(struct pw_sheet *t, const struct pw_snapshot *s, unsigned i)
{
	const struct pw_snapshot_line *line = &s->line[i];

	pw_sheet_raw(t, "{");
	put_text(t, "name", line->name);
	put_text(t, "direction", line->out ? "out" : "in");
	put_int(t, "level", pw_line_level(s, i));
	put_text(t, "word", pw_word(PW_ENGLISH, pw_say_level(s, i)));
	put_s(t, "changed_ago_s", line->age_ms);
	put_key(t, "fault");
	if (line->fault[0])
		pw_sheet_json(t, line->fault);
	else
		pw_sheet_raw(t, "null");
	pw_sheet_raw(t, "}");
}

static void put_lines(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "lines");
	pw_sheet_raw(t, "[");
	for (unsigned i = 0, n = 0; i < PW_LINES; i++) {
		if (!s->line[i].configured)
			continue;
		if (n++)
			pw_sheet_raw(t, ",");
		put_line(t, s, i);
	}
	pw_sheet_raw(t, "]");
}

static void put_faults(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "faults");
	pw_sheet_raw(t, "[");
	for (uint32_t i = 0; i < s->fault_count; i++) {
		pw_sheet_raw(t, i ? ",{" : "{");
		put_text(t, "name", s->fault[i].name);
		put_text(t, "words", s->fault[i].words);
		pw_sheet_raw(t, "}");
	}
	pw_sheet_raw(t, "]");
}

static void put_recent(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "recent");
	pw_sheet_raw(t, "[");
	for (uint32_t i = 0; i < s->recent_count; i++) {
		const struct pw_recent *r = &s->recent[i];

		pw_sheet_raw(t, i ? ",{" : "{");
		put_wall(t, "stop_at", r->wall_ms - r->t0_ago_ms);
		put_wall(t, "closed_at", r->wall_ms);
		put_text(t, "verdict", pw_verdict_name(r->verdict));
		put_s(t, "walk_s", r->walk_ms);
		put_s(t, "late_s", r->late_ms);
		put_findings(t, r->findings);
		pw_sheet_raw(t, "}");
	}
	pw_sheet_raw(t, "]");
}

static void put_journal(struct pw_sheet *t, const struct pw_snapshot *s)
{
	put_key(t, "journal");
	pw_sheet_fmt(t, "{\"kept\":%" PRIu64 ",\"waiting\":%" PRIu32 "}", s->seq, s->waiting);
}

static void put_delivery(struct pw_sheet *t, const struct pw_snapshot *s)
{
	static const char *const states[] = {
		[PW_D_NONE] = "none", [PW_D_AWAY] = "away", [PW_D_SENDING] = "sending",
		[PW_D_DONE] = "done", [PW_D_REFUSED] = "refused",
	};
	const struct pw_delivery *d = &s->delivery;

	put_key(t, "delivery");
	pw_sheet_raw(t, "{");
	put_text(t, "state", states[d->state]);
	put_int(t, "receipted", (int64_t)d->receipted);
	put_moment(t, "receipted_at", d->receipted != 0, d->receipted_ms);
	put_int(t, "alerts_waiting", d->alerts);
	put_moment(t, "alert_at", d->alert_ms != PW_NO_TIME, d->alert_ms);
	put_text(t, "words", d->words);
	pw_sheet_raw(t, "}");
}

/* Seen to work within the time for which that holds. */
static bool is_proven(const struct pw_snapshot *s, unsigned line)
{
	const struct pw_proof *proof = pw_day_proof(&s->day, s->line[line].name);

	return proof && proof->how != PW_NOT_HEARD && s->wall_ms - proof->wall_ms < s->proof_ms;
}

static uint32_t unproven(const struct pw_snapshot *s)
{
	uint32_t lines = 0;

	for (unsigned i = 0; i < PW_LINES; i++)
		if (s->line[i].configured && !is_proven(s, i))
			lines |= 1U << i;
	return lines;
}

static void put_unproven(struct pw_sheet *t, const struct pw_snapshot *s)
{
	uint32_t left = unproven(s);

	put_key(t, "unproven");
	pw_sheet_raw(t, "[");
	for (unsigned n = 0; left != 0; left &= left - 1) {
		if (n++)
			pw_sheet_raw(t, ",");
		pw_sheet_json(t, s->line[__builtin_ctz(left)].name);
	}
	pw_sheet_raw(t, "]");
}

static void put_day(struct pw_sheet *t, const struct pw_snapshot *s)
{
	int64_t open = 0;

	for (uint32_t i = 0; i < s->day.defects; i++)
		open += s->day.defect[i].certified == 0;
	put_moment(t, "child_found_at", s->day.child_wall_ms != 0, s->day.child_wall_ms);
	put_int(t, "defects_open", open);
	put_unproven(t, s);
}

int pw_page_status(const struct pw_snapshot *s, char *buf, size_t size)
{
	struct pw_sheet t;

	pw_sheet_open(&t, buf, size);
	pw_sheet_raw(&t, "{");
	put_int(&t, "version", STATUS_VERSION);
	put_text(&t, "bus", s->bus);
	put_text(&t, "board", s->board);
	put_wall(&t, "at", s->wall_ms);
	put_text(&t, "phase", pw_phase_name(s->phase));
	put_text(&t, "rung", s->rung);
	put_bool(&t, "carried", s->carried);
	put_said(&t, s);
	put_service(&t, s);
	put_sweep(&t, s);
	put_faults(&t, s);
	put_lines(&t, s);
	put_recent(&t, s);
	put_day(&t, s);
	put_journal(&t, s);
	put_delivery(&t, s);
	pw_sheet_raw(&t, "}");
	return pw_sheet_close(&t);
}

/* FNV-1a, 64 bits (Fowler, Noll, Vo). */
static uint64_t fnv(uint64_t hash, const void *bytes, size_t size)
{
	const unsigned char *b = bytes;

	for (size_t i = 0; i < size; i++)
		hash = (hash ^ b[i]) * UINT64_C(0x100000001b3);
	return hash;
}

void pw_status_tag(const struct pw_snapshot *s, char tag[17])
{
	struct pw_snapshot still = *s;
	struct pw_said said;
	const uint32_t old = unproven(s);

	pw_say(s, &said);
	for (unsigned i = 0; i < PW_LINES; i++)
		if (still.line[i].age_ms >= 0)
			still.line[i].age_ms = s->now_ms - still.line[i].age_ms;
	still.now_ms = still.wall_ms = 0;

	uint64_t hash = fnv(UINT64_C(0xcbf29ce484222325), &still, sizeof still);

	/* What the passing of time has made another word is a change. */
	hash = fnv(hash, &said.headline, sizeof said.headline);
	hash = fnv(hash, &said.next, sizeof said.next);
	hash = fnv(hash, &said.hindrance, sizeof said.hindrance);
	hash = fnv(hash, &said.clock, sizeof said.clock);
	hash = fnv(hash, &old, sizeof old);
	snprintf(tag, 17, "%016" PRIx64, hash);
}
