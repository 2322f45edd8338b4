/* SPDX-License-Identifier: Apache-2.0 */
/* How long things are kept; holds, under which nothing is purged; and what was purged. */
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>

#include "tell_internal.h"
#include "web.h"
#include "postwalk/text.h"

#define PIECE 500       /* rows of a purge in one piece of work */
#define YOUNGEST_DAYS 30 /* what is younger is never purged */

static const enum pw_phrase kinds[PW_KEEPS] = {
#define X(up, low) [PW_KEEP_##up] = PW_P_##up,
	PW_KEEP_LIST(X)
#undef X
};

/* -- what there is ----------------------------------------------------------------------------- */

struct listing {
	struct pw_report *r;
	struct pw_table *holds, *purges;
};

static void put_time(struct pw_table *t, int64_t ms)
{
	pw_cell_put_time(t, ms ? ms : INT64_MIN);
}

static int take_hold(void *ctx, const struct pw_hold *h)
{
	struct pw_table *t = ((struct listing *)ctx)->holds;

	pw_cell_put_count(t, (int64_t)h->id);
	pw_cell_put_text(t, h->bus);
	pw_cell_put_day(t, h->from);
	pw_cell_put_day(t, h->to);
	pw_cell_put_text(t, h->who);
	pw_cell_put_text(t, h->words);
	put_time(t, h->at_ms);
	put_time(t, h->lifted_ms);
	return 0;
}

static int take_purged(void *ctx, const struct pw_purged *p)
{
	struct pw_table *t = ((struct listing *)ctx)->purges;

	pw_cell_put_word(t, kinds[p->kind]);
	pw_cell_put_day(t, p->before);
	pw_cell_put_count(t, (int64_t)p->count);
	pw_cell_put_count(t, (int64_t)p->held);
	pw_cell_put_text(t, p->who);
	pw_cell_put_time(t, p->at_ms);
	return 0;
}

static int work_list(struct pw_store *s, void *ctx, char *why, size_t size)
{
	int result = pw_keep_holds(s, take_hold, ctx, why, size);

	return result < 0 ? result : pw_keep_purges(s, take_purged, ctx, why, size);
}

static int put_lists(struct pw_asked *q, struct pw_report *r)
{
	static const struct pw_column holds[] = {
		{ "hold", PW_P_KEEPING_ID, PW_COL_COUNT, 0, false },
		{ "bus", PW_P_COL_BUS, PW_COL_TEXT, 0, false },
		{ "from", PW_P_KEEPING_FROM, PW_COL_DAY, 0, false },
		{ "to", PW_P_KEEPING_TO, PW_COL_DAY, 0, false },
		{ "who", PW_P_KEEPING_WHO, PW_COL_TEXT, 0, false },
		{ "why", PW_P_KEEPING_WHY, PW_COL_TEXT, 0, false },
		{ "set", PW_P_KEEPING_SET, PW_COL_MOMENT, 0, false },
		{ "lifted", PW_P_KEEPING_LIFTED, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	static const struct pw_column purges[] = {
		{ "kind", PW_P_KEEPING_KIND, PW_COL_WORD, 0, false },
		{ "before", PW_P_KEEPING_PURGE_BEFORE, PW_COL_DAY, 0, false },
		{ "gone", PW_P_KEEPING_COUNT, PW_COL_COUNT, 0, false },
		{ "held", PW_P_KEEPING_KEPT, PW_COL_COUNT, 0, false },
		{ "who", PW_P_KEEPING_WHO, PW_COL_TEXT, 0, false },
		{ "at", PW_P_KEEPING_WHEN, PW_COL_MOMENT, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct listing l = { .r = r };

	l.holds = pw_report_table(r, "holds", PW_P_KEEPING_HOLDS, holds);
	pw_table_none(l.holds, PW_P_KEEPING_NO_HOLDS);
	l.purges = pw_report_table(r, "purges", PW_P_KEEPING_PURGES, purges);
	pw_table_none(l.purges, PW_P_KEEPING_NO_PURGES);
	return pw_asked_desk(q, work_list, &l);
}

static void put_times(struct pw_asked *q, struct pw_report *r)
{
	static const struct pw_column columns[] = {
		{ "kind", PW_P_KEEPING_KIND, PW_COL_WORD, 0, false },
		{ "days", PW_P_KEEPING_DAYS, PW_COL_COUNT, 0, false },
		{ "over_before", PW_P_KEEPING_BEFORE, PW_COL_DAY, 0, false },
		{ NULL, PW_P_NONE, PW_COL_TEXT, 0, false },
	};
	struct pw_table *t = pw_report_table(r, "times", PW_P_KEEPING_TIMES, columns);

	for (int k = PW_KEEP_NONE + 1; k < PW_KEEPS; k++) {
		const uint32_t days = q->o->conf.keep_days[k];

		pw_cell_put_word(t, kinds[k]);
		if (days > 0) {
			pw_cell_put_count(t, days);
			pw_cell_put_day(t, pw_hours_add(q->today, -(int)days));
		} else {
			pw_cell_put_none(t);
			pw_cell_put_none(t);
		}
	}
	pw_report_say(r, PW_SAY_TEXT, PW_P_KEEPING_TIMES_FROM, NULL);
}

/* -- forms ------------------------------------------------------------------------------------- */

static void begin_form(struct pw_report *r, enum pw_phrase heading, const char *what)
{
	pw_report_say(r, PW_SAY_HEADING, heading, NULL);
	pw_report_form(r, "/keeping", false);
	pw_report_field(r, PW_FIELD_HIDDEN, "what", PW_P_NONE, what, false);
}

static void put_hold_forms(const struct pw_asked *q, struct pw_report *r)
{
	begin_form(r, PW_P_KEEPING_HOLD, "hold");
	pw_report_field(r, PW_FIELD_CODE, "bus", PW_P_KEEPING_BUS, pw_asked_value(q, "bus"), false);
	pw_report_field(r, PW_FIELD_DAY, "from", PW_P_KEEPING_FROM, pw_asked_value(q, "from"),
			true);
	pw_report_field(r, PW_FIELD_DAY, "to", PW_P_KEEPING_TO, pw_asked_value(q, "to"), true);
	pw_report_field(r, PW_FIELD_TEXT, "words", PW_P_KEEPING_WHY, pw_asked_value(q, "words"),
			true);
	pw_report_form_end(r, PW_P_KEEPING_HOLD);
	begin_form(r, PW_P_KEEPING_LIFT, "lift");
	pw_report_field(r, PW_FIELD_TEXT, "id", PW_P_KEEPING_LIFT_WHICH, pw_asked_value(q, "id"),
			true);
	pw_report_form_end(r, PW_P_KEEPING_LIFT);
}

static void put_purge_form(const struct pw_asked *q, struct pw_report *r)
{
	const char *kind = pw_asked_value(q, "kind");

	if (q->role < PW_MAY_ADMINISTER)
		return;
	begin_form(r, PW_P_KEEPING_PURGE, "purge");
	pw_report_field(r, PW_FIELD_CHOICE, "kind", PW_P_KEEPING_KIND, NULL, true);
	for (int k = PW_KEEP_NONE + 1; k < PW_KEEPS; k++)
		pw_report_choice(r, pw_phrase_name(kinds[k]), kinds[k],
				 strcmp(kind, pw_phrase_name(kinds[k])) == 0);
	pw_report_field(r, PW_FIELD_DAY, "before", PW_P_KEEPING_PURGE_BEFORE,
			pw_asked_value(q, "before"), true);
	pw_report_field(r, PW_FIELD_TICK, "sure", PW_P_KEEPING_SURE, NULL, true);
	pw_report_form_end(r, PW_P_KEEPING_PURGE);
}

int pw_keeping_get(struct pw_asked *q, struct pw_report *r)
{
	int result;

	pw_report_say(r, PW_SAY_TITLE, PW_P_KEEPING_NAME, NULL);
	pw_report_say(r, PW_SAY_LEAD, PW_P_KEEPING_LEAD, NULL);
	put_times(q, r);
	result = put_lists(q, r);
	pw_report_say(r, PW_SAY_TEXT, PW_P_KEEPING_HOLD_WHAT, NULL);
	put_hold_forms(q, r);
	put_purge_form(q, r);
	return result;
}

/* -- what is sent ------------------------------------------------------------------------------ */

static void say(struct pw_asked *q, enum pw_phrase phrase)
{
	snprintf(q->said, sizeof(q->said), "%s", pw_phrase(q->tongue, phrase));
}

struct holding {
	struct pw_asked *q;
	struct pw_hold hold;
	int lifted;
};

static int work_hold(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct holding *h = ctx;
	const struct pw_hold *is = &h->hold;
	int result = pw_keep_hold(s, &h->hold, why, size);

	if (result < 0)
		return result;
	return pw_asked_log(h->q, s, why, size,
			    "set hold %" PRIu64 ": bus %s, %" PRId32 " to %" PRId32 ": %s", is->id,
			    is->bus[0] ? is->bus : "any", is->from, is->to, is->words);
}

static int post_hold(struct pw_asked *q)
{
	const char *bus = pw_asked_value(q, "bus"), *words = pw_asked_value(q, "words");
	struct holding h = { .q = q, .hold = { .from = pw_asked_day(q, "from"),
					       .to = pw_asked_day(q, "to"), .at_ms = q->now_ms } };
	int result;

	if (bus[0] && (!pw_chain_word(bus) || strlen(bus) >= sizeof(h.hold.bus)))
		return pw_asked_wrong(q, "bus", PW_P_KEEPING_BAD_BUS, NULL);
	if (h.hold.from <= 0 || h.hold.to <= 0)
		return pw_asked_wrong(q, h.hold.from <= 0 ? "from" : "to", PW_P_KEEPING_BAD_DAY,
				      NULL);
	if (h.hold.to < h.hold.from)
		return pw_asked_wrong(q, "to", PW_P_KEEPING_BAD_ORDER, NULL);
	if (!words[0] || strlen(words) >= sizeof(h.hold.words))
		return pw_asked_wrong(q, "words", PW_P_PEOPLE_BAD_WORDS, NULL);
	snprintf(h.hold.bus, sizeof(h.hold.bus), "%s", bus);
	snprintf(h.hold.who, sizeof(h.hold.who), "%s", q->who);
	snprintf(h.hold.words, sizeof(h.hold.words), "%s", words);
	result = pw_asked_desk(q, work_hold, &h);
	say(q, PW_P_KEEPING_HELD);
	return result;
}

static int work_lift(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct holding *h = ctx;

	h->lifted = pw_keep_lift(s, h->hold.id, h->q->who, h->q->now_ms, why, size);
	return h->lifted != 1 ? h->lifted
			      : pw_asked_log(h->q, s, why, size, "lifted hold %" PRIu64,
					     h->hold.id);
}

static int post_lift(struct pw_asked *q)
{
	const char *id = pw_asked_value(q, "id");
	struct holding h = { .q = q };
	int result;

	if (!id[0] || strlen(id) > 15 || strspn(id, "0123456789") != strlen(id))
		return pw_asked_wrong(q, "id", PW_P_KEEPING_NO_HOLD, NULL);
	h.hold.id = strtoull(id, NULL, 10);
	result = pw_asked_desk(q, work_lift, &h);
	if (result == 0 && h.lifted != 1)
		return pw_asked_wrong(q, "id", PW_P_KEEPING_NO_HOLD, NULL);
	say(q, PW_P_KEEPING_IS_LIFTED);
	return result;
}

struct purging {
	struct pw_asked *q;
	enum pw_keep_kind kind;
	int32_t before;
	struct pw_purged purged;
	bool more;
};

static int work_purge(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct purging *p = ctx;
	int result = pw_keep_purge(s, p->kind, p->before, p->q->who, p->q->now_ms, PIECE,
				   &p->purged, why, size);

	p->more = result == 1;
	if (result != 0)
		return result < 0 ? result : 0;
	return pw_asked_log(p->q, s, why, size,
			    "purged %s before %" PRId32 ": %" PRIu64 " are gone, %" PRIu64 " held",
			    pw_phrase_name(kinds[p->kind]), p->before, p->purged.count,
			    p->purged.held);
}

static enum pw_keep_kind find_kind(const char *name)
{
	for (int k = PW_KEEP_NONE + 1; k < PW_KEEPS; k++)
		if (strcmp(pw_phrase_name(kinds[k]), name) == 0)
			return (enum pw_keep_kind)k;
	return PW_KEEP_NONE;
}

static int check_purge(struct pw_asked *q, struct purging *p)
{
	p->kind = find_kind(pw_asked_value(q, "kind"));
	p->before = pw_asked_day(q, "before");
	if (q->role < PW_MAY_ADMINISTER)
		return pw_asked_wrong(q, "", PW_P_WEB_MAY_NOT, NULL);
	if (p->kind == PW_KEEP_NONE)
		return pw_asked_wrong(q, "kind", PW_P_KEEPING_BAD_KIND, NULL);
	if (p->before <= 0)
		return pw_asked_wrong(q, "before", PW_P_KEEPING_BAD_DAY, NULL);
	if (p->before > pw_hours_add(q->today, -YOUNGEST_DAYS))
		return pw_asked_wrong(q, "before", PW_P_KEEPING_TOO_SOON, NULL);
	if (!pw_asked_value(q, "sure")[0])
		return pw_asked_wrong(q, "sure", PW_P_KEEPING_NOT_SURE, NULL);
	return 0;
}

/* In pieces, so that the buses are not held up. */
static int post_purge(struct pw_asked *q)
{
	struct purging p = { .q = q };
	char gone[24], held[24];
	const char *const fill[] = { gone, held, NULL };
	FILE *out;
	int result = check_purge(q, &p);

	if (result)
		return result;
	do
		result = pw_asked_desk(q, work_purge, &p);
	while (result == 0 && p.more);
	if (result)
		return result;
	snprintf(gone, sizeof(gone), "%" PRIu64, p.purged.count);
	snprintf(held, sizeof(held), "%" PRIu64, p.purged.held);
	out = fmemopen(q->said, sizeof(q->said), "w");
	if (!out)
		return -1;
	pw_phrase_fill(out, pw_phrase(q->tongue, PW_P_KEEPING_PURGED), fill);
	fclose(out);
	return 0;
}

int pw_keeping_post(struct pw_asked *q)
{
	static const struct { const char *what; int (*post)(struct pw_asked *q); } acts[] = {
		{ "hold", post_hold }, { "lift", post_lift }, { "purge", post_purge },
	};

	for (size_t i = 0; i < sizeof(acts) / sizeof(acts[0]); i++)
		if (strcmp(pw_asked_value(q, "what"), acts[i].what) == 0)
			return acts[i].post(q);
	return pw_asked_wrong(q, "", PW_P_WEB_BAD, NULL);
}
