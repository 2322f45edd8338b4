/* SPDX-License-Identifier: Apache-2.0 */
/* audit_help.h - what the tests of rows and tallies share: made-up runs and sweeps of a few buses, in
 * a store and in memory. */
#ifndef OFFICE_AUDIT_HELP_H
#define OFFICE_AUDIT_HELP_H

#include "office/match.h"
#include "office/rows_internal.h"
#include "office/zone.h"
#include "store_world.h"

#define MINUTE_MS INT64_C(60000)
#define HOUR_MS INT64_C(3600000)
#define ROWS_MAX 1200

static struct pw_zone *denver;

/* -- moments ----------------------------------------------------------------------------------- */

static inline int64_t at(int32_t date, int hour, int minute)
{
	int64_t ms[2];

	assert_true(pw_zone_moments(denver, date, (int32_t)(hour * HOUR_MS + minute * MINUTE_MS),
				    ms) > 0);
	return ms[0];
}

static inline int32_t date_of(int64_t ms)
{
	struct pw_local local;

	pw_zone_local(denver, ms, &local);
	return local.date;
}

/* -- into the store ---------------------------------------------------------------------------- */

static inline struct pw_plan a_plan(const char *bus, int32_t day, const char *run, int64_t begin_ms,
				    int64_t end_ms)
{
	struct pw_plan p = { .day = day, .begin_ms = begin_ms, .end_ms = end_ms, .import = 1 };

	snprintf(p.bus, sizeof(p.bus), "%s", bus);
	snprintf(p.run, sizeof(p.run), "%s", run);
	snprintf(p.route, sizeof(p.route), "R%s", run);
	snprintf(p.place, sizeof(p.place), "north yard");
	return p;
}

/* A sweep that ended by a press 40 s after the key-off, and was left 30 s later. */
static inline struct pw_sweep_row a_sweep(int64_t key_off_ms, enum pw_verdict verdict)
{
	return (struct pw_sweep_row){ .key_off_ms = key_off_ms, .closed_ms = key_off_ms + 90000,
				      .walk_ms = verdict == PW_MISSED ? PW_NO_TIME : 40000,
				      .return_ms = verdict == PW_MISSED ? PW_NO_TIME : 30000,
				      .late_ms = PW_NO_TIME, .came_ms = key_off_ms + HOUR_MS,
				      .wall_ok = true, .verdict = verdict, .rung = "none" };
}

/* Each is a record of its own, behind what the bus has delivered before. */
static inline void deliver(struct pw_store *s, const char *bus, const struct pw_sweep_row *sweep,
			   size_t sweeps)
{
	static struct made m;
	struct pw_branch head = head_of(s, bus);

	make_put(&m, bus, head.head > 0 ? &head : NULL, sweeps);
	for (size_t i = 0; i < sweeps; i++) {
		m.record[i].kind = PW_K_SWEEP;
		m.record[i].wall_ms = sweep[i].closed_ms;
		m.record[i].wall_ok = sweep[i].wall_ok;
		m.put.to.moved_ms = sweep[i].came_ms;
		m.sweep[i] = sweep[i];
		m.sweep[i].seq = m.record[i].seq;
	}
	m.put.sweeps = sweeps;
	FINE(pw_store_begin(s, WHY));
	if (head.head == 0)
		put_bus(s, bus);
	FINE(pw_store_put(s, &m.put, WHY));
	FINE(pw_store_commit(s, WHY));
}

static inline void plan(struct pw_store *s, const struct pw_plan *p)
{
	IN_TRANSACTION(s, pw_audit_plan(s, p, WHY));
}

static inline void renew(struct pw_store *s, int64_t now_ms)
{
	int more = 1;

	while (more > 0) {
		FINE(pw_store_begin(s, WHY));
		FINE(more = pw_audit_renew(s, denver, now_ms, 20, WHY));
		FINE(pw_store_commit(s, WHY));
	}
}

/* -- out of it --------------------------------------------------------------------------------- */

static struct pw_audit_row rows[ROWS_MAX];
static size_t row_count;

static inline int take_row(void *ctx, const struct pw_audit_row *row)
{
	(void)ctx;
	assert_true(row_count < ROWS_MAX);
	rows[row_count++] = *row;
	return 0;
}

/* All of them, into rows. */
static inline size_t read_rows(struct pw_store *s)
{
	const struct pw_audit_filter any = { .bus = "" };

	row_count = 0;
	FINE(pw_audit_each(s, &any, take_row, NULL, WHY));
	return row_count;
}

static inline const struct pw_audit_row *row_of(struct pw_store *s, const char *run)
{
	read_rows(s);
	for (size_t i = 0; i < row_count; i++)
		if (strcmp(rows[i].key.run, run) == 0)
			return &rows[i];
	fail_msg("there is no row of run %s among %zu", run, row_count);
	return NULL;
}

static inline int audit_main(const struct world_case *cases, size_t count)
{
	int failed;

	if (pw_zone_open("America/Denver", &denver, WHY) < 0) {
		fprintf(stderr, "%s\n", why);
		return 1;
	}
	failed = world_run(cases, count);
	pw_zone_free(denver);
	return failed;
}

#endif
