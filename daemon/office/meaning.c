/* SPDX-License-Identifier: Apache-2.0 */
/*
 * What a record means to the office. A body that is not of the shape that J8 gives it means nothing
 * here; it is kept all the same. Most records are edges, which mean nothing and are not read.
 */
#include "tell_internal.h"

#include <jansson.h>
#include <string.h>

/* A matter of this record; at_ms 0 where its clock is not believed. */
static struct pw_matter *add_matter(struct pw_batch *b, const struct pw_record *r,
				    enum pw_matter_kind kind, int64_t now_ms)
{
	struct pw_matter *m = &b->matter[b->matters++];

	*m = (struct pw_matter){ .kind = kind, .seq = r->seq, .came_ms = now_ms };
	if (pw_clock_believed(r->wall_ms, r->wall_ok, now_ms))
		m->at_ms = r->wall_ms;
	snprintf(m->bus, sizeof(m->bus), "%s", b->bus);
	memcpy(m->epoch, r->epoch, sizeof(m->epoch));
	memcpy(m->hash, r->hash, sizeof(m->hash));
	return m;
}

/* Since then by the bus's clock where it is believed, else since the office has heard of it. */
static struct pw_standing *add_standing(struct pw_batch *b, const struct pw_record *r, bool on,
					int64_t now_ms)
{
	const bool believed = pw_clock_believed(r->wall_ms, r->wall_ok, now_ms);
	struct pw_standing *s = &b->standing[b->standings++];

	*s = (struct pw_standing){ .seq = r->seq, .on = on,
				   .since_ms = believed ? r->wall_ms : now_ms };
	return s;
}

/* NULL: it is no JSON object. */
static json_t *read_body(const struct pw_record *r)
{
	json_t *body = json_loads(r->body, JSON_REJECT_DUPLICATES, NULL);

	if (!json_is_object(body)) {
		json_decref(body);
		return NULL;
	}
	return body;
}

/* -- kind by kind ------------------------------------------------------------------------------ */

/* Nothing stands at power-on, and nothing is told to be over (R4, R5, R23). */
static void mean_boot(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	add_standing(b, r, false, now_ms);
}

static int64_t span(int64_t from_ms, int64_t to_ms)
{
	return from_ms == PW_NO_TIME || to_ms == PW_NO_TIME ? PW_NO_TIME : to_ms - from_ms;
}

static void mean_sweep(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	struct pw_sweep_row *row = &b->sweep[b->sweeps];
	struct pw_sweep sweep;
	char rung[PW_NAME_MAX];
	json_t *body;

	if (pw_text_sweep(r->body, &sweep, rung) < 0 || (body = read_body(r)) == NULL)
		return;
	*row = (struct pw_sweep_row){
		.seq = r->seq, .came_ms = now_ms, .wall_ok = r->wall_ok,
		.closed_ms = json_integer_value(json_object_get(body, "closed_wall_ms")),
		.key_off_ms = json_integer_value(json_object_get(body, "key_off_wall_ms")),
		.walk_ms = span(sweep.t0_ms, sweep.press_ms),
		.return_ms = span(sweep.press_ms, sweep.exit_ms), .late_ms = sweep.late_ms,
		.findings = sweep.findings, .refused = sweep.refused, .verdict = sweep.verdict,
	};
	memcpy(row->rung, rung, sizeof(rung));
	b->sweeps++;
	json_decref(body);
}

static void mean_rung(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	json_t *body = read_body(r);
	const char *name = json_string_value(json_object_get(body, "name"));

	if (name != NULL && json_is_true(json_object_get(body, "notify")))
		pw_matter_say(add_matter(b, r, PW_MATTER_RUNG, now_ms), name);
	json_decref(body);
}

static void mean_fault(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	json_t *body = read_body(r);
	const json_t *on = json_object_get(body, "on");
	const char *name = json_string_value(json_object_get(body, "name"));
	const char *words = json_string_value(json_object_get(body, "words"));
	struct pw_standing *s;

	if (name != NULL && name[0] != '\0' && words != NULL && json_is_boolean(on)) {
		s = add_standing(b, r, json_is_true(on), now_ms);
		pw_words_copy(s->name, sizeof(s->name), name);
		pw_words_copy(s->words, sizeof(s->words), words);
	}
	json_decref(body);
}

static void mean_service(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	json_t *body = read_body(r);
	const json_t *on = json_object_get(body, "on");

	if (json_is_boolean(on))
		strcpy(add_standing(b, r, json_is_true(on), now_ms)->name, "service");
	json_decref(body);
}

/* What was typed in is left on the bus: it could name somebody. */
static void mean_found(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	struct pw_note n;

	if (pw_text_told(PW_K_FOUND, r->body, r->wall_ms, &n) == 0
	    && n.of.found.what == PW_FOUND_CHILD)
		pw_matter_say(add_matter(b, r, PW_MATTER_CHILD, now_ms), "");
}

static void mean_epoch(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	json_t *body = read_body(r);
	const char *why = json_string_value(json_object_get(body, "why"));

	if (why != NULL && (why[0] != '\0' || json_is_object(json_object_get(body, "before"))))
		pw_matter_say(add_matter(b, r, PW_MATTER_JOURNAL, now_ms), why);
	json_decref(body);
}

/* -- the clock --------------------------------------------------------------------------------- */

/* A clock that a bus does not vouch for itself is a matter once a sweep closes by it: a board that
 * sets its clock a while after each start is none. */
static bool clock_is_off(const struct pw_record *r, int64_t now_ms)
{
	return r->wall_ok ? !pw_clock_believed(r->wall_ms, true, now_ms) : r->kind == PW_K_SWEEP;
}

/* Once a day a bus: it is of no record, and the store knows it by bus and day. */
static void look_at_clock(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	struct pw_matter *m;

	for (size_t i = 0; i < b->matters; i++)
		if (b->matter[i].kind == PW_MATTER_CLOCK)
			return;
	m = add_matter(b, r, PW_MATTER_CLOCK, now_ms);
	m->at_ms = 0;
	m->seq = 0;
	m->hash[0] = '\0';
	snprintf(m->epoch, sizeof(m->epoch), "%016d", (int)pw_hours_day(now_ms));
	pw_matter_say(m, "");
}

void pw_meaning(struct pw_batch *b, const struct pw_record *r, int64_t now_ms)
{
	static void (*const means[PW_KINDS])(struct pw_batch *b, const struct pw_record *r,
					     int64_t now_ms) = {
		[PW_K_BOOT] = mean_boot, [PW_K_SWEEP] = mean_sweep, [PW_K_RUNG] = mean_rung,
		[PW_K_FAULT] = mean_fault, [PW_K_SERVICE] = mean_service,
		[PW_K_FOUND] = mean_found, [PW_K_EPOCH] = mean_epoch,
	};
	const size_t matters = b->matters;

	if (means[r->kind] != NULL)
		means[r->kind](b, r, now_ms);
	if (b->matters == matters && clock_is_off(r, now_ms))
		look_at_clock(b, r, now_ms);
}
