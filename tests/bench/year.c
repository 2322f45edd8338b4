/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A state folder as a bus has it after so many records: our own figures, each sweep as the watch
 * records it (30 records: edges of the run and of the sweep, rungs, the sweep, a line proven, and what
 * the walk found, one defect in fifty), sealed at each key-off and each sweep, one sync in 64 records.
 *
 *	year STATE RECORDS CONFIG
 *
 * CONFIG: the policy file, so that a daemon can start on it.
 */
#include <fcntl.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "record/record_internal.h"

#define SWEEP 30       /* records */
#define LIFT_MS 900000 /* from one stop's end to the next */
#define FIRST_MS INT64_C(1792000000000)

struct year {
	struct pw_journal *j;
	struct pw_secret_key key;
	struct pw_kept_row row;
	int64_t mono_ms;
	uint32_t sweeps;
	char why[300];
};

static void must(struct year *y, int result)
{
	if (result >= 0)
		return;
	fprintf(stderr, "%s\n", y->why);
	exit(1);
}

static void add(struct year *y, struct pw_note *n)
{
	char body[PW_BODY_MAX + 1];
	struct pw_record r = { .boot = 1, .mono_ms = y->mono_ms, .wall_ms = FIRST_MS + y->mono_ms,
			       .wall_ok = true, .kind = n->kind, .body = body };

	n->version = PW_NOTE_VERSION;
	n->mono_ms = r.mono_ms;
	n->wall_ms = r.wall_ms;
	if (pw_text_body(n, body, sizeof(body)) < 0)
		exit(1);
	must(y, pw_journal_add(y->j, &r, y->why, sizeof(y->why)));
}

static void edges(struct year *y, enum pw_line line, unsigned count)
{
	struct pw_note n = { .kind = PW_K_EDGES };

	n.of.edges.line = (uint8_t)line;
	n.of.edges.count = (uint16_t)count;
	for (unsigned i = 0; i < count; i++)
		n.of.edges.at_ms[i] = y->mono_ms - 1000 + 40 * (int64_t)i;
	add(y, &n);
}

static void rung(struct year *y, const char *name)
{
	struct pw_note n = { .kind = PW_K_RUNG, .of.rung.at_ms = y->mono_ms };

	snprintf(n.of.rung.name, sizeof(n.of.rung.name), "%s", name);
	add(y, &n);
}

static void seal(struct year *y)
{
	must(y, pw_journal_seal(y->j, &y->key, y->why, sizeof(y->why)));
}

static void told(struct year *y)
{
	struct pw_note proof = { .kind = PW_K_PROOF, .of.proof.how = PW_MOVED };
	struct pw_note found = { .kind = PW_K_FOUND, .of.found.what = PW_FOUND_NOTHING };

	snprintf(proof.of.proof.line, sizeof(proof.of.proof.line), "line_%u", y->sweeps % 8);
	add(y, &proof);
	if (++y->sweeps % 50 == 0) {
		found.of.found.what = PW_FOUND_DAMAGE;
		found.of.found.id = y->sweeps / 50;
	}
	snprintf(found.of.found.who, sizeof(found.of.found.who), "d-12");
	add(y, &found);
}

/* Stops on the route, the key-off, the walk, the press, the way out. */
static void sweep(struct year *y)
{
	struct pw_note n = { .kind = PW_K_SWEEP };

	y->mono_ms += LIFT_MS;
	edges(y, PW_IGNITION, 1);
	for (unsigned i = 0; i < 16; i++) {
		y->mono_ms += 60000;
		edges(y, i % 2 ? PW_LAMPS : PW_SERVICE_DOOR, 2);
	}
	edges(y, PW_IGNITION, 1);
	rung(y, "prompt");
	seal(y);
	y->mono_ms += 30000;
	for (unsigned i = 0; i < 3; i++) {
		edges(y, PW_REAR_BUTTON, 3);
		edges(y, PW_REAR_BUTTON_NC, 3);
	}
	rung(y, "none");
	y->mono_ms += 15000;
	edges(y, PW_SERVICE_DOOR, 2);
	n.of.sweep.sweep = (struct pw_sweep){ .t0_ms = y->mono_ms - 45000, .press_ms = y->mono_ms - 15000,
		.exit_ms = y->mono_ms, .closed_ms = y->mono_ms, .verdict = PW_DONE };
	snprintf(n.of.sweep.rung, sizeof(n.of.sweep.rung), "prompt");
	add(y, &n);
	seal(y);
	told(y);
}

static void begin(struct year *y, const char *state, const char *config)
{
	char path[4096];
	bool drawn;
	struct pw_policy p;
	char hash[65];
	struct pw_note n = { .kind = PW_K_POLICY };

	must(y, pw_policy_load(config, true, &p, hash, n.of.policy.text, y->why, sizeof(y->why)));
	n.of.policy.length = (uint32_t)strlen(n.of.policy.text);
	snprintf(path, sizeof(path), "%s/journal.db", state);
	must(y, pw_secret_key_load(state, "bus", &y->key, &drawn, y->why, sizeof(y->why)));
	must(y, pw_journal_open(path, p.bus, true, &y->j, y->why, sizeof(y->why)));
	must(y, pw_journal_begin(y->j, y->why, sizeof(y->why)));
	add(y, &n);
}

static void end(struct year *y, const char *state)
{
	struct pw_seal_file f = { .bus = "" };
	struct pw_state s = { .phase = PW_PARKED, .sweep.rung = PW_SIGNAL_NONE };

	seal(y);
	if (pw_text_kept(&s, y->row.state, sizeof(y->row.state)) < 0)
		exit(1);
	y->row.boot = y->row.batch = 1;
	y->row.mono_ms = y->mono_ms;
	y->row.wall_ms = FIRST_MS + y->mono_ms;
	must(y, pw_journal_keep(y->j, &y->row, &y->key, y->why, sizeof(y->why)));
	must(y, pw_journal_commit(y->j, y->why, sizeof(y->why)));
	snprintf(f.bus, sizeof(f.bus), "%s", pw_journal_bus(y->j));
	memcpy(f.epoch, pw_journal_epoch(y->j), sizeof(f.epoch));
	must(y, pw_journal_read_seal(y->j, pw_journal_sealed(y->j), &f.seal, y->why, sizeof(y->why)));
	pw_journal_rest(y->j);
	must(y, pw_seal_file_write(state, &f));
	pw_journal_close(y->j);
}

int main(int argc, char **argv)
{
	static struct year y;
	uint64_t records;

	if (argc != 4 || sodium_init() < 0)
		return 2;
	records = strtoull(argv[2], NULL, 10);
	begin(&y, argv[1], argv[3]);
	while (pw_journal_head(y.j, NULL) + SWEEP <= records)
		sweep(&y);
	while (pw_journal_head(y.j, NULL) < records)
		rung(&y, "none");
	end(&y, argv[1]);
	return 0;
}
