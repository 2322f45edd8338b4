/* SPDX-License-Identifier: Apache-2.0 */
/* page_leaf_sample.h - a made-up day and made-up wires, for the tests of the pages with forms. */
#ifndef POSTWALK_TEST_PAGE_LEAF_SAMPLE_H
#define POSTWALK_TEST_PAGE_LEAF_SAMPLE_H

#include "page_sample.h"
#include "../../daemon/page/leaf.h"

#define SAMPLE_TOKEN "0123456789abcdef"

static inline const struct pw_leaf *leaf_at(const char *path)
{
	for (size_t i = 0; i < pw_leaf_count; i++)
		if (!strcmp(pw_leaves[i].path, path))
			return &pw_leaves[i];
	fail_msg("no leaf %s", path);
	return NULL;
}

static inline void form_put(struct pw_form *f, const char *name, const char *value)
{
	assert_in_range(f->count, 0, PW_FIELDS_MAX - 1);
	snprintf(f->field[f->count].name, sizeof f->field[0].name, "%s", name);
	snprintf(f->field[f->count++].value, sizeof f->field[0].value, "%s", value);
}

/* "name=value&name=value", as it is after unescaping. */
static inline struct pw_form form_of(const char *text)
{
	struct pw_form f = { 0 };
	char copy[1024], *rest = copy;

	assert_in_range(snprintf(copy, sizeof copy, "%s", text), 0, (int)sizeof copy - 1);
	for (char *part; (part = strsep(&rest, "&")) && *part;) {
		char *value = strchr(part, '=');

		assert_non_null(value);
		*value++ = '\0';
		form_put(&f, part, value);
	}
	return f;
}

static inline void prove(struct pw_snapshot *s, unsigned line, enum pw_proof_how how,
			 int64_t ago_ms)
{
	struct pw_proof *p = &s->day.proof[s->day.proofs++];

	snprintf(p->line, sizeof p->line, "%s", s->line[line].name);
	p->how = how;
	p->wall_ms = s->wall_ms - ago_ms;
}

static inline struct pw_defect *defect(struct pw_snapshot *s, enum pw_found_what what,
				       enum pw_part part, const char *who, const char *words)
{
	struct pw_defect *d = &s->day.defect[s->day.defects++];

	d->id = ++s->day.last_id;
	d->what = what;
	d->part = part;
	d->wall_ms = s->wall_ms - 3600000;
	snprintf(d->who, sizeof d->who, "%s", who);
	snprintf(d->words, sizeof d->words, "%s", words);
	return d;
}

/* Parked in the evening: most is proven, some is not; two open defects, one certified. */
static inline struct pw_snapshot sample_day(void)
{
	struct pw_snapshot s = sample();

	s.proof_ms = 86400000;
	s.trial_end_ms = PW_NO_TIME;
	prove(&s, PW_IGNITION, PW_MOVED, 1800000);
	prove(&s, PW_REAR_BUTTON, PW_MOVED, 1700000);
	prove(&s, PW_SERVICE_DOOR, PW_MOVED, 1600000);
	prove(&s, PW_LAMPS, PW_MOVED, 200000000);
	prove(&s, PW_BEEPER, PW_HEARD, 1500000);
	prove(&s, PW_HORN, PW_NOT_HEARD, 1400000);
	prove(&s, PW_LAMP, PW_SENSED, 1400000);
	defect(&s, PW_FOUND_DAMAGE, PW_PART_NONE, "d-204", "Seat cover torn, row 7 left");
	defect(&s, PW_FOUND_MECHANICAL, PW_PART_WIPERS, "", "")->reported = true;
	struct pw_defect *d = defect(&s, PW_FOUND_LEFT_OPEN, PW_PART_NONE, "d-117", "");

	d->certified = PW_REPORT_NO_NEED;
	snprintf(d->by, sizeof d->by, "m-3");
	s.day.found.what = PW_FOUND_DAMAGE;
	s.day.found.wall_ms = s.wall_ms - 3600000;
	s.day.report.wall_ms = s.wall_ms - 1800000;
	snprintf(s.day.report.who, sizeof s.day.report.who, "d-204");
	return s;
}

static inline void edge(struct pw_wires *w, unsigned line, int64_t ago_ms)
{
	struct pw_wire *x = &w->wire[line];

	x->at_ms[x->tail++] = w->now_ms - ago_ms;
	x->level ^= 1;
	x->count++;
}

static inline struct pw_wires sample_work(const struct pw_snapshot *s)
{
	struct pw_wires w;

	memset(&w, 0, sizeof w);
	w.version = PW_WIRES_VERSION;
	w.size = sizeof w;
	w.now_ms = s->now_ms;
	w.counted_ms = s->now_ms - 754000;
	w.disagree_ms = -1;
	for (unsigned i = 0; i < PW_LINES; i++) {
		if (!s->line[i].configured)
			continue;
		snprintf(w.wire[i].name, sizeof w.wire[i].name, "%s", s->line[i].name);
		w.wire[i].out = s->line[i].out;
		w.wire[i].settle_ms = 100;
		w.wire[i].verdict = PW_WIRE_UNSEEN;
		w.wire[i].shortest_ms = -1;
	}
	w.wire[PW_REAR_BUTTON_NC].level = 1;
	for (int64_t ago = 9000; ago > 1000; ago -= 2500) {
		edge(&w, PW_REAR_BUTTON, ago);
		edge(&w, PW_REAR_BUTTON_NC, ago - 4);
	}
	w.wire[PW_REAR_BUTTON].verdict = w.wire[PW_REAR_BUTTON_NC].verdict = PW_WIRE_WELL;
	edge(&w, PW_REAR_DOOR, 8000);
	for (int64_t ago = 5000; ago > 4900; ago -= 7)
		edge(&w, PW_REAR_DOOR, ago);
	w.wire[PW_REAR_DOOR].verdict = PW_WIRE_CHATTERS;
	w.wire[PW_REAR_DOOR].chatter = 14;
	w.wire[PW_REAR_DOOR].width[3] = 11;
	w.wire[PW_REAR_DOOR].width[4] = 3;
	w.wire[PW_REAR_DOOR].shortest_ms = 7;
	return w;
}

/* Four steps done, the fifth under way. */
static inline void sample_walk(struct pw_wires *w)
{
	static const struct pw_wiring_step done[] = {
		{ .line = PW_IGNITION, .level = 1, .result = PW_WIRING_RIGHT, .edges = 1,
		  .shortest_ms = -1 },
		{ .line = PW_IGNITION, .level = 0, .result = PW_WIRING_SKIPPED, .shortest_ms = -1 },
		{ .line = PW_REAR_BUTTON, .level = 1, .result = PW_WIRING_SWAPPED,
		  .other = PW_SERVICE_DOOR, .other_edges = 3, .shortest_ms = -1 },
		{ .line = PW_REAR_BUTTON, .level = 0, .result = PW_WIRING_CHATTER, .edges = 9,
		  .chatter = 4, .shortest_ms = 3 },
		{ .line = PW_REAR_DOOR, .level = 1, .result = PW_WIRING_OPEN, .shortest_ms = -1 },
		{ .line = PW_REAR_DOOR, .level = 0, .result = PW_WIRING_OPEN, .shortest_ms = -1 },
	};

	w->wiring.on = true;
	w->wiring.steps = sizeof done / sizeof done[0];
	w->wiring.at = 4;
	memcpy(w->wiring.step, done, sizeof done);
	w->wiring.look = done[4];
}

struct drawing {
	char buf[PW_HTML_MAX];
	int len;
};

/* Draws a leaf; query, sent: "" or as form_of has them; NULL sent: nothing was turned down. */
static inline void draw_leaf(struct drawing *d, const char *path, const struct pw_snapshot *s,
			     const struct pw_wires *w, enum pw_language language,
			     const char *query, const char *sent, enum pw_word refusal)
{
	const struct pw_choice choice = { .language = language, .theme = PW_THEME_AUTO };
	const struct pw_leaf *leaf = leaf_at(path);
	struct pw_form q = form_of(query), f = form_of(sent ? sent : "");
	const struct pw_visit v = {
		.choice = &choice, .s = s, .wires = leaf->wires ? w : NULL, .query = &q,
		.sent = sent ? &f : NULL, .role = leaf->role, .session_left_ms = 540000,
		.token = SAMPLE_TOKEN, .refusal = refusal, .wait_ms = 20000,
	};

	d->len = pw_html_leaf(leaf, &v, d->buf, sizeof d->buf);
}

#endif
