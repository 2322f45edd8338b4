/* SPDX-License-Identifier: Apache-2.0 */
/*
 * day.h - what wires and people have told of the bus: proofs, what a walk found, the vehicle report.
 *
 * Each is a record first (proof, found, report, setup); a day is what the last of them add up to.
 * Plain data: the watch adds notes as they come to be, the writer those that it reads back at a
 * start, by the same function. Nothing here says that a bus is empty.
 */
#ifndef POSTWALK_DAY_H
#define POSTWALK_DAY_H

#include "postwalk/policy.h"

#define PW_CODE_MAX 16  /* of whoever signs: [A-Za-z0-9._-], with the closing zero */
#define PW_SAID_MAX 164 /* somebody's own words, UTF-8, one line, with the closing zero */
#define PW_DEFECTS_MAX 16

/* How a line was proven: its level went both ways; its sense saw it; somebody says so. */
enum pw_proof_how { PW_MOVED = 1, PW_SENSED, PW_HEARD, PW_NOT_HEARD, PW_PROOF_HOWS };

/* What a walk found. */
#define PW_FOUND_LIST(X)                                                                       \
	X(NOTHING, nothing) X(ARTICLE, article) X(DAMAGE, damage) X(LEFT_OPEN, left_open)      \
	X(MECHANICAL, mechanical) X(CHILD, child)
enum pw_found_what {
	PW_FOUND_NONE, /* invalid */
#define X(up, low) PW_FOUND_##up,
	PW_FOUND_LIST(X)
#undef X
	PW_FOUND_WHATS
};

/* Parts that a vehicle report covers at least (49 CFR 396.11(a)(1), from memory), and the rest. */
#define PW_PART_LIST(X)                                                                        \
	X(SERVICE_BRAKES, service_brakes) X(PARKING_BRAKE, parking_brake)                      \
	X(STEERING, steering) X(LIGHTING, lighting) X(TIRES, tires) X(HORN, horn)              \
	X(WIPERS, wipers) X(MIRRORS, mirrors) X(COUPLING, coupling) X(WHEELS, wheels)          \
	X(EMERGENCY_EQUIPMENT, emergency_equipment) X(OTHER, other)
enum pw_part {
	PW_PART_NONE,
#define X(up, low) PW_PART_##up,
	PW_PART_LIST(X)
#undef X
	PW_PARTS
};

/* A vehicle report is signed by the driver of the day and reviewed by the next; a defect in it is
 * certified as repaired, or as needing no repair (49 CFR 396.11, 396.13). */
enum pw_report_act { PW_REPORT_SIGNED = 1, PW_REPORT_REVIEWED, PW_REPORT_REPAIRED, PW_REPORT_NO_NEED,
		     PW_REPORT_ACTS };

struct pw_proof {
	char line[PW_NAME_MAX];
	enum pw_proof_how how;
	int64_t wall_ms;
};

/* Damage, what was left open, mechanical trouble: open until certified. */
struct pw_defect {
	uint32_t id; /* counts up in a journal, from 1 */
	enum pw_found_what what;
	enum pw_part part;
	int64_t wall_ms;
	char who[PW_CODE_MAX], words[PW_SAID_MAX];
	enum pw_report_act certified; /* PW_REPORT_REPAIRED, _NO_NEED, or 0 */
	char by[PW_CODE_MAX];
	bool reported; /* stands in the last signed report */
};

struct pw_day {
	uint32_t proofs, defects, defects_dropped, last_id;
	struct pw_proof proof[PW_LINES];
	struct pw_defect defect[PW_DEFECTS_MAX]; /* oldest first; certified ones make room first */
	struct { enum pw_found_what what; int64_t wall_ms; } found; /* the last; wall 0: none */
	int64_t child_wall_ms; /* a child was found: when last; 0: not */
	struct { int64_t wall_ms; char who[PW_CODE_MAX]; } report, review, setup; /* wall 0: none */
};

struct pw_note;
/* A proof, found, report or setup note; any other changes nothing. */
void pw_day_take(struct pw_day *d, const struct pw_note *n);

/* The proof of that line, or NULL. */
const struct pw_proof *pw_day_proof(const struct pw_day *d, const char *line);
/* A code is 1 to PW_CODE_MAX - 1 of [A-Za-z0-9._-]; words are UTF-8 without controls. */
bool pw_code_ok(const char *code);
bool pw_said_ok(const char *words);

const char *pw_found_name(enum pw_found_what what);
const char *pw_part_name(enum pw_part part);
const char *pw_proof_name(enum pw_proof_how how);
const char *pw_report_name(enum pw_report_act act);
enum pw_found_what pw_found_find(const char *name); /* PW_FOUND_NONE, NULL is fine */
enum pw_part pw_part_find(const char *name);        /* PW_PART_NONE */

#endif
