/* SPDX-License-Identifier: Apache-2.0 */
/* asked_help.h - pages asked as the listener and the shell ask them, over a desk and a store of a world. */
#ifndef OFFICE_ASKED_HELP_H
#define OFFICE_ASKED_HELP_H

#include "office/intake_internal.h"
#include "office/morning.h"
#include "office/web.h"
#include "store_world.h"

#define ZONE "America/Chicago"

/* Pages alone: no listener, no folder. The desk has the store meanwhile. */
struct desk {
	struct world *w;
	struct pw_office o;
	struct pw_zone *zone;
	int64_t now_ms;
	struct pw_leaf leaf;
};

static inline int desk_roll(struct pw_store *s, void *ctx, char *text, size_t size)
{
	struct pw_office *o = ctx;

	return pw_roll_load(s, &o->roll, text, size);
}

static inline void desk_begin(struct desk *d, struct world *w, int64_t now_ms)
{
	*d = (struct desk){ .w = w, .now_ms = now_ms, .o.conf.silent_days = 3 };
	strcpy(d->o.conf.zone, ZONE);
	pw_store_close(w->s);
	w->s = NULL;
	FINE(pw_zone_open(ZONE, &d->zone, WHY));
	FINE(pw_desk_start(w->where, &d->o.desk, WHY));
	FINE(pw_desk_do(d->o.desk, desk_roll, &d->o, WHY));
	d->o.silence = pw_silence_new(d->o.conf.silent_days);
	assert_non_null(d->o.silence);
}

static inline void desk_end(struct desk *d)
{
	pw_desk_stop(d->o.desk);
	pw_roll_free(d->o.roll);
	pw_silence_free(d->o.silence);
	pw_zone_free(d->zone);
	FINE(pw_store_open(d->w->where, false, &d->w->s, WHY));
}

static inline int desk_renew_work(struct pw_store *s, void *ctx, char *text, size_t size)
{
	struct desk *d = ctx;
	int result = pw_audit_due(s, d->now_ms, text, size);

	while (result >= 0 && (result = pw_audit_renew(s, d->zone, d->now_ms, 1000, text, size)) == 1)
		;
	return result;
}

/* Rows as they are once all that came was seen. */
static inline void desk_renew(struct desk *d)
{
	FINE(pw_desk_do(d->o.desk, desk_renew_work, d, WHY));
}

/* fields: "name=value", ended by NULL. */
static inline void asked(struct desk *d, struct pw_asked *q, const char *path,
			 enum pw_office_role role, const char *const *fields)
{
	struct pw_local local;

	*q = (struct pw_asked){ .o = &d->o, .leaf = &d->leaf, .tongue = PW_ENGLISH, .zone = d->zone,
				.now_ms = d->now_ms, .role = role };
	d->leaf = (struct pw_leaf){ .path = path };
	strcpy(q->who, "dsp-1");
	pw_zone_local(d->zone, d->now_ms, &local);
	q->today = local.date;
	for (; fields && *fields; fields++) {
		const char *equals = strchr(*fields, '=');

		snprintf(q->field[q->fields].name, sizeof(q->field[0].name), "%.*s",
			 (int)(equals - *fields), *fields);
		snprintf(q->field[q->fields++].value, sizeof(q->field[0].value), "%s", equals + 1);
	}
}
#define FIELDS(...) (const char *const[]){ __VA_ARGS__, NULL }

/* What a page says: a table as CSV (csv), or its text. To be freed. */
static inline char *page_of(struct pw_asked *q, int (*get)(struct pw_asked *q, struct pw_report *r),
			    const char *csv)
{
	struct pw_report *r = pw_report_new(q->tongue, q->zone);
	char *text = NULL;
	size_t length;
	FILE *out = open_memstream(&text, &length);

	assert_non_null(r);
	assert_non_null(out);
	assert_int_equal(get(q, r), 0);
	assert_true(pw_report_ok(r));
	if (csv)
		assert_int_equal(pw_report_csv(r, csv, out), 0);
	else
		pw_report_text(r, out);
	assert_int_equal(fclose(out), 0);
	pw_report_free(r);
	return text;
}

static inline void assert_says(const char *text, const char *what)
{
	if (!strstr(text, what))
		fail_msg("expected \"%s\" in:\n%s", what, text);
}

static inline void assert_not_says(const char *text, const char *what)
{
	if (strstr(text, what))
		fail_msg("did not expect \"%s\" in:\n%s", what, text);
}

#endif
