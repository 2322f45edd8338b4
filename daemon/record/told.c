/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The bodies of what wires and people tell: proof, found, report, setup, pin (J8). One table says what
 * stands in each, for writing and for reading back.
 */
#include "record_internal.h"

#include <stddef.h>
#include <string.h>

enum type {
	WORD = 1, /* an enum, by its name */
	COUNT,    /* uint32_t */
	YES,      /* uint8_t as true or false */
	MOMENT,   /* int64_t; null: none */
	NAME,     /* text that is not empty */
	TEXT,     /* text */
	CODE      /* pw_code_ok, or empty */
};

struct field {
	const char *key;
	enum type type;
	size_t at, size;
	const char *(*name)(int value);
	int least, most;
};

/* -- names ------------------------------------------------------------------------------------- */

static const char *what_name(int what)
{
	return pw_found_name((enum pw_found_what)what);
}

static const char *part_name(int part)
{
	return pw_part_name((enum pw_part)part);
}

static const char *how_name(int how)
{
	return pw_proof_name((enum pw_proof_how)how);
}

static const char *act_name(int act)
{
	return pw_report_name((enum pw_report_act)act);
}

static const char *role_name(int role)
{
	return pw_role_name((enum pw_role)role);
}

static const char *result_name(int result)
{
	static const char *const names[PW_WIRING_RESULTS] = {
		"none", [PW_WIRING_OPEN] = "open", [PW_WIRING_RIGHT] = "right",
		[PW_WIRING_SWAPPED] = "swapped", [PW_WIRING_INVERTED] = "inverted",
		[PW_WIRING_NO_EDGE] = "no_edge", [PW_WIRING_SHORTED] = "shorted",
		[PW_WIRING_CROSSTALK] = "crosstalk", [PW_WIRING_CHATTER] = "chatter",
		[PW_WIRING_SKIPPED] = "skipped",
	};

	return names[result];
}

/* A board's own lines are known by their place: what they are called is the policy's. */
static const char *line_name(int line)
{
	static const char *const names[PW_LINES] = {
#define X(up, low, settle) #low,
		PW_INPUT_LIST(X)
#undef X
		"beeper", "horn", "lamp", "dome",
		"extra_1", "extra_2", "extra_3", "extra_4",
		"extra_5", "extra_6", "extra_7", "extra_8",
	};

	return names[line];
}

/* -- the table --------------------------------------------------------------------------------- */

#define AT(type_, member) #member, type_, offsetof(STRUCT, WHERE.member), \
	sizeof(((STRUCT *)0)->WHERE.member), NULL, 0, 0
#define WORD_AT(member, names, least_, most_) #member, WORD, offsetof(STRUCT, WHERE.member), \
	sizeof(int), names, least_, (int)(most_) - 1

#define STRUCT struct pw_note
#define WHERE of.proof
static const struct field proof[] = {
	{ AT(NAME, line) }, { WORD_AT(how, how_name, PW_MOVED, PW_PROOF_HOWS) }, { 0 },
};
#undef WHERE
#define WHERE of.found
static const struct field found[] = {
	{ WORD_AT(what, what_name, PW_FOUND_NOTHING, PW_FOUND_WHATS) },
	{ WORD_AT(part, part_name, PW_PART_NONE, PW_PARTS) },
	{ AT(COUNT, id) }, { AT(MOMENT, t0_ms) }, { AT(CODE, who) }, { AT(TEXT, words) },
	{ AT(TEXT, rung) }, { 0 },
};
#undef WHERE
#define WHERE of.report
static const struct field report[] = {
	{ WORD_AT(act, act_name, PW_REPORT_SIGNED, PW_REPORT_ACTS) }, { AT(COUNT, id) },
	{ AT(COUNT, defects) }, { AT(CODE, who) }, { AT(TEXT, words) }, { 0 },
};
#undef WHERE
#define WHERE of.setup
static const struct field setup[] = {
	{ AT(CODE, who) }, { AT(TEXT, policy) }, { AT(MOMENT, begun_ms) }, { 0 },
};
#undef WHERE
#define WHERE of.pin
static const struct field pin[] = {
	{ WORD_AT(role, role_name, PW_NOBODY, PW_ROLES) }, { AT(YES, accepted) }, { AT(COUNT, tries) },
	{ AT(TEXT, why) }, { 0 },
};
#undef WHERE
#undef STRUCT

static const struct field *const fields[PW_KINDS] = {
	[PW_K_PROOF] = proof, [PW_K_FOUND] = found, [PW_K_REPORT] = report,
	[PW_K_SETUP] = setup, [PW_K_PIN] = pin,
};

static const struct field *fields_of(unsigned kind)
{
	return kind < PW_KINDS ? fields[kind] : NULL;
}

/* -- sense ------------------------------------------------------------------------------------- */

static bool names_other(enum pw_wiring_result result)
{
	return result == PW_WIRING_SWAPPED || result == PW_WIRING_SHORTED
	       || result == PW_WIRING_CROSSTALK;
}

static bool step_makes_sense(const struct pw_wiring_step *s)
{
	return s->line < PW_LINES && s->level <= 1 && s->result >= PW_WIRING_OPEN
	       && s->result < PW_WIRING_RESULTS && (!names_other(s->result) || s->other < PW_LINES);
}

static bool wiring_makes_sense(const struct pw_wiring *w)
{
	for (unsigned i = 0; i < w->steps && i < PW_WIRING_STEPS; i++)
		if (!step_makes_sense(&w->step[i]))
			return false;
	return w->steps > 0 && w->steps <= PW_WIRING_STEPS;
}

static bool words_make_sense(const struct pw_note *n)
{
	for (const struct field *f = fields_of(n->kind); f->key != NULL; f++) {
		const char *at = (const char *)n + f->at;
		int value;

		if (f->type == NAME && at[0] == '\0')
			return false;
		if (f->type != WORD)
			continue;
		memcpy(&value, at, sizeof(value));
		if (value < f->least || value > f->most)
			return false;
	}
	return true;
}

bool pw_told_makes_sense(const struct pw_note *n)
{
	if (fields_of(n->kind) == NULL || !words_make_sense(n))
		return false;
	if (n->kind == PW_K_FOUND) /* what is certified later has a number, and nothing else has */
		return pw_is_defect(n->of.found.what) == (n->of.found.id != 0);
	if (n->kind == PW_K_REPORT)
		return (n->of.report.act >= PW_REPORT_REPAIRED) == (n->of.report.id != 0);
	return n->kind != PW_K_SETUP || wiring_makes_sense(&n->of.setup.wiring);
}

/* -- writing ----------------------------------------------------------------------------------- */

static void write_field(struct pw_json *o, const struct field *f, const struct pw_note *n)
{
	const char *at = (const char *)n + f->at;
	int64_t moment;
	uint32_t count;
	int word;

	switch (f->type) {
	case WORD:
		memcpy(&word, at, sizeof(word));
		pw_json_text(o, f->key, f->name(word), PW_NAME_MAX);
		break;
	case COUNT:
		memcpy(&count, at, sizeof(count));
		pw_json_int(o, f->key, count);
		break;
	case MOMENT:
		memcpy(&moment, at, sizeof(moment));
		pw_json_time(o, f->key, moment);
		break;
	case YES:
		pw_json_bool(o, f->key, at[0] != 0);
		break;
	default:
		pw_json_text(o, f->key, at, f->size - 1);
	}
}

static void write_step(struct pw_json *o, const struct pw_wiring_step *s)
{
	pw_json_open(o, NULL, '{');
	pw_json_text(o, "line", line_name(s->line), PW_NAME_MAX);
	pw_json_int(o, "level", s->level);
	pw_json_text(o, "result", result_name((int)s->result), PW_NAME_MAX);
	if (names_other(s->result))
		pw_json_text(o, "other", line_name(s->other), PW_NAME_MAX);
	else
		pw_json_time(o, "other", PW_NO_TIME);
	pw_json_int(o, "edges", s->edges);
	pw_json_int(o, "other_edges", s->other_edges);
	pw_json_int(o, "chatter", s->chatter);
	pw_json_time(o, "shortest_ms", s->shortest_ms < 0 ? PW_NO_TIME : s->shortest_ms);
	pw_json_close(o, '}');
}

void pw_told_write(struct pw_json *o, const struct pw_note *n)
{
	for (const struct field *f = fields[n->kind]; f->key != NULL; f++)
		write_field(o, f, n);
	if (n->kind != PW_K_SETUP)
		return;
	pw_json_open(o, "steps", '[');
	for (unsigned i = 0; i < n->of.setup.wiring.steps; i++)
		write_step(o, &n->of.setup.wiring.step[i]);
	pw_json_close(o, ']');
}

/* -- reading back ------------------------------------------------------------------------------ */

static int find_word(const json_t *value, const char *(*name)(int), int least, int most)
{
	const char *word = json_string_value(value);

	for (int i = least; word != NULL && i <= most; i++)
		if (strcmp(name(i), word) == 0)
			return i;
	return -1;
}

static int read_moment(const json_t *value, int64_t *ms)
{
	return pw_json_get_time(value, ms) < 0 || *ms == PW_NEVER ? -1 : 0;
}

static int read_text(const struct field *f, const char *text, char *at)
{
	if (text == NULL || strlen(text) >= f->size || !pw_said_ok(text)
	    || (f->type == CODE && text[0] != '\0' && !pw_code_ok(text)))
		return -1;
	strcpy(at, text);
	return 0;
}

static int read_field(const struct field *f, const json_t *value, struct pw_note *n)
{
	char *at = (char *)n + f->at;
	int64_t number;
	uint32_t count;
	int word;

	switch (f->type) {
	case WORD:
		word = find_word(value, f->name, f->least, f->most);
		memcpy(at, &word, sizeof(word));
		return word < 0 ? -1 : 0;
	case COUNT:
		if (pw_json_get_int(value, 0, UINT32_MAX, &number) < 0)
			return -1;
		count = (uint32_t)number;
		memcpy(at, &count, sizeof(count));
		return 0;
	case MOMENT:
		if (read_moment(value, &number) < 0)
			return -1;
		memcpy(at, &number, sizeof(number));
		return 0;
	case YES:
		at[0] = json_is_true(value);
		return json_is_boolean(value) ? 0 : -1;
	default:
		return read_text(f, json_string_value(value), at);
	}
}

static int read_small(const json_t *one, const char *key, int64_t most, uint16_t *out)
{
	int64_t value;

	if (pw_json_get_int(json_object_get(one, key), 0, most, &value) < 0)
		return -1;
	*out = (uint16_t)value;
	return 0;
}

static int read_step(const json_t *one, struct pw_wiring_step *s)
{
	const json_t *other = json_object_get(one, "other");
	int line = find_word(json_object_get(one, "line"), line_name, 0, PW_LINES - 1);
	int result = find_word(json_object_get(one, "result"), result_name, PW_WIRING_OPEN,
			       PW_WIRING_RESULTS - 1);
	int beside = json_is_null(other) ? 0 : find_word(other, line_name, 0, PW_LINES - 1);
	uint16_t level;

	if (line < 0 || result < 0 || beside < 0 || json_object_size(one) != 8
	    || json_is_null(other) == names_other((enum pw_wiring_result)result)
	    || read_small(one, "level", 1, &level) < 0
	    || read_small(one, "edges", UINT16_MAX, &s->edges) < 0
	    || read_small(one, "other_edges", UINT16_MAX, &s->other_edges) < 0
	    || read_small(one, "chatter", UINT16_MAX, &s->chatter) < 0
	    || read_moment(json_object_get(one, "shortest_ms"), &s->shortest_ms) < 0)
		return -1;
	if (s->shortest_ms == PW_NO_TIME)
		s->shortest_ms = -1;
	else if (s->shortest_ms < 0)
		return -1;
	s->line = (uint8_t)line;
	s->level = (uint8_t)level;
	s->result = (enum pw_wiring_result)result;
	s->other = (uint8_t)beside;
	return 0;
}

static int read_steps(const json_t *array, struct pw_wiring *w)
{
	size_t count = json_array_size(array);

	if (!json_is_array(array) || count > PW_WIRING_STEPS)
		return -1;
	for (size_t i = 0; i < count; i++)
		if (read_step(json_array_get(array, i), &w->step[i]) < 0)
			return -1;
	w->steps = w->at = (uint8_t)count;
	return 0;
}

static int read_body(const json_t *body, struct pw_note *n)
{
	size_t keys = n->kind == PW_K_SETUP;

	for (const struct field *f = fields[n->kind]; f->key != NULL; f++, keys++)
		if (read_field(f, json_object_get(body, f->key), n) < 0)
			return -1;
	if (json_object_size(body) != keys)
		return -1;
	if (n->kind == PW_K_SETUP
	    && read_steps(json_object_get(body, "steps"), &n->of.setup.wiring) < 0)
		return -1;
	return pw_told_makes_sense(n) ? 0 : -1;
}

int pw_text_told(enum pw_kind kind, const char *body, int64_t wall_ms, struct pw_note *n)
{
	json_t *read;
	int result;

	memset(n, 0, sizeof(*n));
	n->version = PW_NOTE_VERSION;
	n->kind = (uint16_t)kind;
	n->wall_ms = wall_ms;
	if (fields_of(kind) == NULL)
		return -1;
	read = json_loads(body, JSON_REJECT_DUPLICATES, NULL);
	result = json_is_object(read) ? read_body(read, n) : -1;
	json_decref(read);
	return result;
}
