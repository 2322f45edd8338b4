/* SPDX-License-Identifier: Apache-2.0 */
/* What the body of a record says, kind by kind (J8), and a sweep read back out of one. */
#include "record_internal.h"

#include <stddef.h>
#include <string.h>

static const char *const inputs[PW_INPUTS] = {
#define X(up, low, settle) #low,
	PW_INPUT_LIST(X)
#undef X
};

static void body_boot(struct pw_json *o, const struct pw_note *n)
{
	static const char *const clocks[] = { "", "first", "same_boot", "vouched", "lost" };

	static const char *const resets[] = { "", "first", "orderly", "process", "power", "watchdog" };

	pw_json_text(o, "version", n->of.boot.version, sizeof(n->of.boot.version));
	pw_json_text(o, "reset", resets[n->of.boot.reset], 16);
	pw_json_text(o, "policy", n->of.boot.policy, sizeof(n->of.boot.policy));
	pw_json_text(o, "clock", clocks[n->of.boot.clock], 16);
	pw_json_time(o, "cut_ms", n->of.boot.cut_ms);
	pw_json_time(o, "old_cut_ms", n->of.boot.old_cut_ms);
	pw_json_int(o, "dropped", n->of.boot.dropped);
}

static void body_policy(struct pw_json *o, const struct pw_note *n)
{
	char hash[65];
	const struct iovec whole = { .iov_base = (char *)(uintptr_t)n->of.policy.text,
				     .iov_len = n->of.policy.length };

	pw_sha256_hex(&whole, 1, hash);
	pw_json_text(o, "text", n->of.policy.text, n->of.policy.length);
	pw_json_text(o, "hash", hash, 64);
}

static void body_edges(struct pw_json *o, const struct pw_note *n)
{
	pw_json_text(o, "line", inputs[n->of.edges.line], PW_NAME_MAX);
	pw_json_int(o, "from", n->of.edges.from);
	pw_json_open(o, "at_ms", '[');
	for (uint16_t i = 0; i < n->of.edges.count; i++)
		pw_json_int(o, NULL, n->of.edges.at_ms[i]);
	pw_json_close(o, ']');
}

static void body_level(struct pw_json *o, const struct pw_note *n)
{
	pw_json_open(o, "levels", '{');
	for (unsigned i = 0; i < PW_INPUTS; i++)
		pw_json_int(o, inputs[i], n->of.level.levels >> i & 1);
	pw_json_close(o, '}');
}

void pw_refusals_text(struct pw_json *o, const char *key, const struct pw_sweep *sweep)
{
	pw_json_open(o, key, '[');
	for (uint32_t i = 0; i < sweep->refused && i < PW_REFUSALS_MAX; i++) {
		pw_json_open(o, NULL, '{');
		pw_json_int(o, "at_ms", sweep->refusal[i].at_ms);
		pw_json_text(o, "why", pw_why_name(sweep->refusal[i].why), 16);
		pw_json_close(o, '}');
	}
	pw_json_close(o, ']');
}

/* b - a, or none where one of them has not been. */
static int64_t span(int64_t a, int64_t b)
{
	return a == PW_NO_TIME || b == PW_NO_TIME ? PW_NO_TIME : b - a;
}

static void body_sweep(struct pw_json *o, const struct pw_note *n)
{
	const struct pw_sweep *s = &n->of.sweep.sweep;
	const int64_t to_wall = n->wall_ms - n->mono_ms;

	pw_json_time(o, "key_off_ms", s->t0_ms);
	pw_json_int(o, "key_off_wall_ms", s->t0_ms + to_wall);
	pw_json_text(o, "verdict", pw_verdict_name(s->verdict), PW_NAME_MAX);
	pw_json_open(o, "findings", '[');
	for (unsigned i = 0; i < PW_FINDINGS; i++)
		if (s->findings >> i & 1)
			pw_json_text(o, NULL, pw_finding_name(i), PW_NAME_MAX);
	pw_json_close(o, ']');
	pw_json_time(o, "press_ms", s->press_ms);
	pw_json_time(o, "walk_ms", span(s->t0_ms, s->press_ms));
	pw_json_int(o, "late_ms", s->late_ms);
	pw_refusals_text(o, "refused", s);
	if (s->refused > PW_REFUSALS_MAX)
		pw_json_int(o, "refused_more", s->refused - PW_REFUSALS_MAX);
	pw_json_time(o, "exit_ms", s->exit_ms);
	pw_json_time(o, "return_ms", span(s->press_ms, s->exit_ms));
	pw_json_text(o, "rung", n->of.sweep.rung, sizeof(n->of.sweep.rung));
	pw_json_time(o, "closed_ms", s->closed_ms);
	pw_json_int(o, "closed_wall_ms", s->closed_ms + to_wall);
}

static void body_restart(struct pw_json *o, const struct pw_note *n)
{
	pw_json_time(o, "key_off_ms", n->of.restart.t0_ms);
	pw_json_time(o, "at_ms", n->of.restart.at_ms);
}

static void body_excused(struct pw_json *o, const struct pw_note *n)
{
	pw_json_time(o, "at_ms", n->of.excused.at_ms);
}

static void body_rung(struct pw_json *o, const struct pw_note *n)
{
	pw_json_text(o, "name", n->of.rung.name, sizeof(n->of.rung.name));
	pw_json_time(o, "at_ms", n->of.rung.at_ms);
	if (n->of.rung.notify)
		pw_json_bool(o, "notify", true);
}

static void body_fault(struct pw_json *o, const struct pw_note *n)
{
	pw_json_text(o, "name", n->of.fault.name, sizeof(n->of.fault.name));
	pw_json_bool(o, "on", n->of.fault.on);
	pw_json_time(o, "at_ms", n->of.fault.at_ms);
	pw_json_text(o, "words", n->of.fault.words, sizeof(n->of.fault.words));
}

static void body_service(struct pw_json *o, const struct pw_note *n)
{
	pw_json_bool(o, "on", n->of.service.on);
}

static void body_clock(struct pw_json *o, const struct pw_note *n)
{
	pw_json_int(o, "before_ms", n->of.clock.before_ms);
	pw_json_int(o, "after_ms", n->of.clock.after_ms);
}

static void body_lost(struct pw_json *o, const struct pw_note *n)
{
	pw_json_int(o, "count", n->of.lost.count);
}

/* The kinds that can be written now, and how long a note of one is. */
static const struct shape {
	size_t size;
	void (*write)(struct pw_json *o, const struct pw_note *n);
} shapes[PW_KINDS] = {
#define SHAPE(low) offsetof(struct pw_note, of) + sizeof(((struct pw_note *)0)->of.low), body_##low
	[PW_K_BOOT] = { SHAPE(boot) },
	[PW_K_POLICY] = { offsetof(struct pw_note, of.policy.text), body_policy },
	[PW_K_EDGES] = { offsetof(struct pw_note, of.edges.at_ms), body_edges },
	[PW_K_LEVEL] = { SHAPE(level) },
	[PW_K_SWEEP] = { SHAPE(sweep) },
	[PW_K_RESTART] = { SHAPE(restart) },
	[PW_K_EXCUSED] = { SHAPE(excused) },
	[PW_K_RUNG] = { SHAPE(rung) },
	[PW_K_FAULT] = { SHAPE(fault) },
	[PW_K_SERVICE] = { SHAPE(service) },
	[PW_K_CLOCK] = { SHAPE(clock) },
	[PW_K_LOST] = { SHAPE(lost) },
#undef SHAPE
#define TOLD(low) offsetof(struct pw_note, of) + sizeof(((struct pw_note *)0)->of.low), pw_told_write
	[PW_K_PROOF] = { TOLD(proof) },
	[PW_K_FOUND] = { TOLD(found) },
	[PW_K_REPORT] = { TOLD(report) },
	[PW_K_SETUP] = { TOLD(setup) },
	[PW_K_PIN] = { TOLD(pin) },
#undef TOLD
};

static bool makes_sense(const struct pw_note *n)
{
	switch (n->kind) {
	case PW_K_BOOT:
		return n->of.boot.clock >= PW_CLOCK_FIRST && n->of.boot.clock <= PW_CLOCK_LOST
		       && n->of.boot.reset >= PW_RESET_FIRST
		       && n->of.boot.reset <= PW_RESET_WATCHDOG;
	case PW_K_POLICY:
		return n->of.policy.length <= PW_POLICY_TEXT_MAX;
	case PW_K_EDGES:
		return n->of.edges.line < PW_INPUTS && n->of.edges.count <= PW_EDGES_MAX
		       && n->of.edges.from <= 1;
	case PW_K_SWEEP:
		return n->of.sweep.sweep.t0_ms != PW_NO_TIME
		       && n->of.sweep.sweep.closed_ms != PW_NO_TIME;
	default:
		return shapes[n->kind].write != pw_told_write || pw_told_makes_sense(n);
	}
}

size_t pw_note_size(const struct pw_note *n)
{
	if (n->version != PW_NOTE_VERSION || n->kind >= PW_KINDS || shapes[n->kind].write == NULL
	    || !makes_sense(n))
		return 0;
	if (n->kind == PW_K_POLICY)
		return shapes[n->kind].size + n->of.policy.length;
	if (n->kind == PW_K_EDGES)
		return shapes[n->kind].size + n->of.edges.count * sizeof(n->of.edges.at_ms[0]);
	return shapes[n->kind].size;
}

int pw_text_body(const struct pw_note *n, char *buf, size_t size)
{
	struct pw_json o;

	if (pw_note_size(n) == 0)
		return -1;
	pw_json_init(&o, buf, size);
	pw_json_open(&o, NULL, '{');
	shapes[n->kind].write(&o, n);
	pw_json_close(&o, '}');
	if (o.len > PW_BODY_MAX)
		return -1;
	return pw_json_end(&o);
}

/* -- a sweep read back ------------------------------------------------------------------------- */

int pw_refusals_read(const json_t *array, struct pw_sweep *sweep)
{
	size_t count = json_array_size(array);

	if (!json_is_array(array) || count > PW_REFUSALS_MAX)
		return -1;
	for (size_t i = 0; i < count; i++) {
		const json_t *one = json_array_get(array, i);
		const char *why = json_string_value(json_object_get(one, "why"));
		struct pw_refusal *r = &sweep->refusal[i];

		if (json_object_size(one) != 2 || why == NULL
		    || pw_json_get_time(json_object_get(one, "at_ms"), &r->at_ms) < 0)
			return -1;
		for (r->why = PW_REAR_OPEN; r->why <= PW_TOO_SOON; r->why++)
			if (strcmp(pw_why_name(r->why), why) == 0)
				break;
		if (r->why > PW_TOO_SOON)
			return -1;
	}
	return (int)count;
}

static int read_findings(const json_t *array, uint32_t *findings)
{
	size_t i;
	const json_t *one;

	if (!json_is_array(array))
		return -1;
	*findings = 0;
	json_array_foreach(array, i, one) {
		const char *name = json_string_value(one);
		unsigned f = 0;

		while (name != NULL && f < PW_FINDINGS && strcmp(pw_finding_name(f), name) != 0)
			f++;
		if (name == NULL || f == PW_FINDINGS || (*findings >> f & 1))
			return -1;
		*findings |= UINT32_C(1) << f;
	}
	return 0;
}

static int read_verdict(const json_t *value, enum pw_verdict *verdict)
{
	const char *name = json_string_value(value);

	for (*verdict = PW_DONE; name != NULL && *verdict <= PW_MISSED; ++*verdict)
		if (strcmp(pw_verdict_name(*verdict), name) == 0)
			return 0;
	return -1;
}

static int read_rung(const json_t *value, char rung[PW_NAME_MAX])
{
	const char *name = json_string_value(value);

	if (name == NULL || strlen(name) >= PW_NAME_MAX)
		return -1;
	strcpy(rung, name);
	return 0;
}

/* "refused", and "refused_more" where more were refused than are kept. */
static int read_refused(const json_t *body, struct pw_sweep *sweep)
{
	const json_t *more = json_object_get(body, "refused_more");
	int kept = pw_refusals_read(json_object_get(body, "refused"), sweep);
	int64_t beyond = 0;

	if (kept < 0)
		return -1;
	if (more != NULL && (kept < PW_REFUSALS_MAX
			     || pw_json_get_int(more, 1, UINT32_MAX / 2, &beyond) < 0))
		return -1;
	sweep->refused = (uint32_t)(kept + beyond);
	return 0;
}

struct moment {
	const char *name;
	int64_t *out;
};

static int read_moments(const json_t *body, const struct moment *m, size_t count, bool null_is_one)
{
	for (size_t i = 0; i < count; i++)
		if (pw_json_get_time(json_object_get(body, m[i].name), m[i].out) < 0
		    || *m[i].out == PW_NEVER || (*m[i].out == PW_NO_TIME && !null_is_one))
			return -1;
	return 0;
}

#define COUNT(array) (sizeof(array) / sizeof((array)[0]))

static int read_sweep(const json_t *body, struct pw_sweep *s, char rung[PW_NAME_MAX])
{
	int64_t walk_ms, return_ms, key_off_wall_ms, closed_wall_ms;
	const struct moment always[] = {
		{ "key_off_ms", &s->t0_ms }, { "key_off_wall_ms", &key_off_wall_ms },
		{ "late_ms", &s->late_ms },  { "closed_ms", &s->closed_ms },
		{ "closed_wall_ms", &closed_wall_ms },
	};
	const struct moment perhaps[] = {
		{ "press_ms", &s->press_ms }, { "walk_ms", &walk_ms },
		{ "exit_ms", &s->exit_ms },   { "return_ms", &return_ms },
	};
	const size_t keys = COUNT(always) + COUNT(perhaps) + 4; /* the four read by name */

	if (read_moments(body, always, COUNT(always), false) < 0
	    || read_moments(body, perhaps, COUNT(perhaps), true) < 0
	    || json_object_size(body) != keys + (json_object_get(body, "refused_more") != NULL))
		return -1;
	if (walk_ms != span(s->t0_ms, s->press_ms) || return_ms != span(s->press_ms, s->exit_ms)
	    || key_off_wall_ms - s->t0_ms != closed_wall_ms - s->closed_ms)
		return -1;
	if (read_verdict(json_object_get(body, "verdict"), &s->verdict) < 0
	    || read_findings(json_object_get(body, "findings"), &s->findings) < 0
	    || read_rung(json_object_get(body, "rung"), rung) < 0)
		return -1;
	return read_refused(body, s);
}

int pw_text_sweep(const char *body, struct pw_sweep *sweep, char rung[PW_NAME_MAX])
{
	json_t *read = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
	int result;

	*sweep = (struct pw_sweep){
		.due_ms = PW_NO_TIME, .basis_ms = PW_NO_TIME, .ladder_ms = PW_NO_TIME,
		.door_opened_ms = PW_NO_TIME, .rung = PW_SIGNAL_NONE,
	};
	result = json_is_object(read) ? read_sweep(read, sweep, rung) : -1;
	json_decref(read);
	return result;
}
