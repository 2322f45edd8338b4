/* SPDX-License-Identifier: Apache-2.0 */
/* What proofs, finds, reports and set-ups add up to: the last word on each thing. */
#include "record_internal.h"

#include <string.h>

/* -- names ------------------------------------------------------------------------------------- */

static const char *const found_names[PW_FOUND_WHATS] = {
	[PW_FOUND_NONE] = "none",
#define X(up, low) [PW_FOUND_##up] = #low,
	PW_FOUND_LIST(X)
#undef X
};

static const char *const part_names[PW_PARTS] = {
	[PW_PART_NONE] = "none",
#define X(up, low) [PW_PART_##up] = #low,
	PW_PART_LIST(X)
#undef X
};

static unsigned find(const char *const *names, unsigned count, const char *name)
{
	for (unsigned i = 1; name != NULL && i < count; i++)
		if (strcmp(names[i], name) == 0)
			return i;
	return 0;
}

const char *pw_found_name(enum pw_found_what what)
{
	return (unsigned)what < PW_FOUND_WHATS ? found_names[what] : "none";
}

const char *pw_part_name(enum pw_part part)
{
	return (unsigned)part < PW_PARTS ? part_names[part] : "none";
}

const char *pw_proof_name(enum pw_proof_how how)
{
	static const char *const names[PW_PROOF_HOWS] = {
		"none", [PW_MOVED] = "moved", [PW_SENSED] = "sensed", [PW_HEARD] = "heard",
		[PW_NOT_HEARD] = "not_heard",
	};

	return (unsigned)how < PW_PROOF_HOWS ? names[how] : "none";
}

const char *pw_report_name(enum pw_report_act act)
{
	static const char *const names[PW_REPORT_ACTS] = {
		"none", [PW_REPORT_SIGNED] = "signed", [PW_REPORT_REVIEWED] = "reviewed",
		[PW_REPORT_REPAIRED] = "repaired", [PW_REPORT_NO_NEED] = "no_need",
	};

	return (unsigned)act < PW_REPORT_ACTS ? names[act] : "none";
}

enum pw_found_what pw_found_find(const char *name)
{
	return (enum pw_found_what)find(found_names, PW_FOUND_WHATS, name);
}

enum pw_part pw_part_find(const char *name)
{
	return (enum pw_part)find(part_names, PW_PARTS, name);
}

bool pw_is_defect(enum pw_found_what what)
{
	return what == PW_FOUND_DAMAGE || what == PW_FOUND_LEFT_OPEN || what == PW_FOUND_MECHANICAL;
}

/* -- what people type -------------------------------------------------------------------------- */

bool pw_code_ok(const char *code)
{
	return code != NULL && strnlen(code, PW_CODE_MAX) < PW_CODE_MAX && pw_chain_word(code);
}

/* C0, DEL, and as UTF-8: C1, the separators of lines and paragraphs (U+2028, U+2029). */
static bool is_control(const unsigned char *s, size_t n)
{
	return s[0] < 0x20 || s[0] == 0x7f || (n == 2 && s[0] == 0xc2 && s[1] < 0xa0)
	       || (n == 3 && s[0] == 0xe2 && s[1] == 0x80 && (s[2] == 0xa8 || s[2] == 0xa9));
}

bool pw_said_ok(const char *words)
{
	size_t length, n;

	if (words == NULL || (length = strnlen(words, PW_SAID_MAX)) == PW_SAID_MAX)
		return false;
	for (size_t i = 0; i < length; i += n) {
		const unsigned char *s = (const unsigned char *)words + i;

		n = pw_utf8_sequence(s, length - i);
		if (n == 0 || is_control(s, n))
			return false;
	}
	return true;
}

/* -- the day ----------------------------------------------------------------------------------- */

static void copy(char *to, size_t size, const char *from)
{
	size_t length = strnlen(from, size - 1);

	memcpy(to, from, length);
	memset(to + length, 0, size - length);
}

/* The oldest stands first: of a bus whose lines were named anew it makes room. */
static void take_proof(struct pw_day *d, const struct pw_note *n)
{
	struct pw_proof proof = { .how = n->of.proof.how, .wall_ms = n->wall_ms };
	uint32_t at = 0;

	copy(proof.line, sizeof(proof.line), n->of.proof.line);
	while (at < d->proofs && strcmp(d->proof[at].line, proof.line) != 0)
		at++;
	if (at == PW_LINES)
		at = 0;
	else if (at == d->proofs)
		d->proofs++;
	memmove(&d->proof[at], &d->proof[at + 1], (d->proofs - 1 - at) * sizeof(proof));
	d->proof[d->proofs - 1] = proof;
}

static void make_room(struct pw_day *d)
{
	uint32_t at = 0;

	while (at < d->defects && d->defect[at].certified == 0)
		at++;
	if (at == d->defects) {
		at = 0;
		d->defects_dropped++;
	}
	d->defects--;
	memmove(&d->defect[at], &d->defect[at + 1], (d->defects - at) * sizeof(d->defect[0]));
}

static void take_defect(struct pw_day *d, const struct pw_note *n)
{
	struct pw_defect *defect;

	if (d->defects == PW_DEFECTS_MAX)
		make_room(d);
	defect = &d->defect[d->defects++];
	*defect = (struct pw_defect){ .id = n->of.found.id, .what = n->of.found.what,
				      .part = n->of.found.part, .wall_ms = n->wall_ms };
	copy(defect->who, sizeof(defect->who), n->of.found.who);
	copy(defect->words, sizeof(defect->words), n->of.found.words);
}

static void take_found(struct pw_day *d, const struct pw_note *n)
{
	d->found.what = n->of.found.what;
	d->found.wall_ms = n->wall_ms;
	if (n->of.found.what == PW_FOUND_CHILD)
		d->child_wall_ms = n->wall_ms;
	if (!pw_is_defect(n->of.found.what) || n->of.found.id <= d->last_id)
		return; /* ids count up: one that was there is the same again */
	d->last_id = n->of.found.id;
	take_defect(d, n);
}

static void certify(struct pw_day *d, const struct pw_note *n)
{
	for (uint32_t i = 0; i < d->defects; i++) {
		struct pw_defect *defect = &d->defect[i];

		if (defect->id != n->of.report.id)
			continue;
		defect->certified = n->of.report.act;
		copy(defect->by, sizeof(defect->by), n->of.report.who);
	}
}

static void take_report(struct pw_day *d, const struct pw_note *n)
{
	if (n->of.report.act == PW_REPORT_SIGNED) {
		d->report.wall_ms = n->wall_ms;
		copy(d->report.who, sizeof(d->report.who), n->of.report.who);
		memset(&d->review, 0, sizeof(d->review));
		for (uint32_t i = 0; i < d->defects; i++)
			d->defect[i].reported = d->defect[i].certified == 0;
	} else if (n->of.report.act == PW_REPORT_REVIEWED) {
		d->review.wall_ms = n->wall_ms;
		copy(d->review.who, sizeof(d->review.who), n->of.report.who);
	} else {
		certify(d, n);
	}
}

void pw_day_take(struct pw_day *d, const struct pw_note *n)
{
	if (!pw_told_makes_sense(n))
		return;
	switch (n->kind) {
	case PW_K_PROOF:
		take_proof(d, n);
		break;
	case PW_K_FOUND:
		take_found(d, n);
		break;
	case PW_K_REPORT:
		take_report(d, n);
		break;
	case PW_K_SETUP:
		d->setup.wall_ms = n->wall_ms;
		copy(d->setup.who, sizeof(d->setup.who), n->of.setup.who);
		break;
	default:
		break;
	}
}

const struct pw_proof *pw_day_proof(const struct pw_day *d, const char *line)
{
	for (uint32_t i = 0; i < d->proofs; i++)
		if (strcmp(d->proof[i].line, line) == 0)
			return &d->proof[i];
	return NULL;
}
