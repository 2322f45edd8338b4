/* SPDX-License-Identifier: Apache-2.0 */
/* store_help.h - what the tests of the store share: made-up rows with true hashes and seals, and
 * clients. */
#ifndef OFFICE_STORE_HELP_H
#define OFFICE_STORE_HELP_H

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <cmocka.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "office/store_internal.h"
#include "pg_server.h"

#define EPOCH "0123456789abcdef"
#define DAY_MS INT64_C(86400000)
#define NOON_MS INT64_C(1792929600000) /* 2026-10-25, 12:00 UTC: `date -u -d @1792929600` */
#define ORIGIN "0000000000000000000000000000000000000000000000000000000000000000"

/* What a call says where it fails stands in the test's own words. */
static char why[400];
#define WHY why, sizeof(why)
#define FINE(call)                                                                            \
	do {                                                                                  \
		int result_ = (call);                                                         \
		if (result_ < 0)                                                              \
			fail_msg("%s: %d: %s", #call, result_, why);                          \
	} while (0)
#define IN_TRANSACTION(s, call)                                                               \
	do {                                                                                  \
		FINE(pw_store_begin(s, WHY));                                                 \
		FINE(call);                                                                   \
		FINE(pw_store_commit(s, WHY));                                                \
	} while (0)

/* -- rows -------------------------------------------------------------------------------------- */

#define MADE_MAX 256
/* A put with all that it points to; each tenth record is a sweep, the last one sealed. */
struct made {
	struct pw_put put;
	struct pw_record record[MADE_MAX];
	struct pw_seal seal[1];
	struct pw_sweep_row sweep[MADE_MAX / 10 + 1];
	char body[MADE_MAX][80];
};

static inline const struct pw_secret_key *made_key(void)
{
	static struct pw_secret_key key;

	pw_secret_key_from((const unsigned char *)"a seed of thirty-two characters.", &key);
	return &key;
}

static inline void made_sweep(struct made *m, const struct pw_record *r)
{
	static const enum pw_verdict verdict[] = { PW_DONE, PW_LATE, PW_DOUBTFUL, PW_MISSED };

	m->sweep[m->put.sweeps++] = (struct pw_sweep_row){
		.seq = r->seq, .closed_ms = r->wall_ms, .key_off_ms = r->wall_ms - 90000,
		.walk_ms = 41000,
		.return_ms = 32000, .late_ms = PW_NO_TIME, .came_ms = r->wall_ms + DAY_MS,
		.wall_ok = true,
		.findings = 1u << PW_F_CARRIED | 1u << PW_F_DRIVEN_OFF, .refused = 2,
		.verdict = verdict[r->seq / 10 % 4], .rung = "horn" };
}

/* Records behind those of before (NULL: the first of their branch). */
static inline void make_put(struct made *m, const char *bus, const struct pw_branch *before,
			    size_t records)
{
	struct pw_put *p = &m->put;
	const char *prev = before != NULL ? before->hash : ORIGIN;

	memset(m, 0, sizeof(*m));
	p->begins = before == NULL;
	p->to = before != NULL ? *before : (struct pw_branch){ .why = PW_BRANCH_FIRST, .first = 1,
							       .epoch = EPOCH,
							       .first_prev = ORIGIN,
							       .begun_ms = NOON_MS };
	snprintf(p->to.bus, sizeof(p->to.bus), "%s", bus);
	p->was_head = p->to.head;
	memcpy(p->was_hash, p->to.hash, sizeof(p->was_hash));
	p->to.moved_ms = NOON_MS + DAY_MS;
	for (size_t i = 0; i < records; i++, prev = m->record[i - 1].hash) {
		struct pw_record *r = &m->record[i];

		*r = (struct pw_record){ .seq = ++p->to.head, .boot = 1,
					 .mono_ms = (int64_t)p->to.head * 60000,
					 .wall_ms = NOON_MS + (int64_t)p->to.head * 60000,
					 .wall_ok = true,
					 .kind = p->to.head % 10 == 0 ? PW_K_SWEEP : PW_K_EDGES,
					 .body = m->body[i] };
		snprintf(m->body[i], sizeof(m->body[i]), "{\"line\":\"exits\",\"n\":%" PRIu64 "}",
			 r->seq);
		memcpy(r->epoch, p->to.epoch, sizeof(r->epoch));
		memcpy(r->prev, prev, sizeof(r->prev));
		pw_record_hash(bus, r, r->hash);
		if (r->kind == PW_K_SWEEP)
			made_sweep(m, r);
	}
	memcpy(p->to.hash, prev, sizeof(p->to.hash));
	m->seal[0].seq = p->to.head;
	memcpy(m->seal[0].hash, p->to.hash, sizeof(m->seal[0].hash));
	pw_seal_make(bus, p->to.epoch, &m->seal[0], made_key());
	p->record = m->record;
	p->records = records;
	p->seal = m->seal;
	p->seals = 1;
	p->sweep = m->sweep;
}

static inline void put_bus(struct pw_store *s, const char *bus)
{
	struct pw_bus_row row = { .has_key = true, .key = made_key()->public,
				  .enrolled_ms = NOON_MS };

	snprintf(row.bus, sizeof(row.bus), "%s", bus);
	FINE(pw_store_bus_put(s, &row, WHY));
}

/* A put in a transaction of its own; the bus is made with the first. */
static inline void put_now(struct pw_store *s, struct made *m, const char *bus,
			   const struct pw_branch *before, size_t records)
{
	make_put(m, bus, before, records);
	FINE(pw_store_begin(s, WHY));
	if (before == NULL)
		put_bus(s, bus);
	FINE(pw_store_put(s, &m->put, WHY));
	FINE(pw_store_commit(s, WHY));
}

/* -- what is there ----------------------------------------------------------------------------- */

static inline int last_branch(void *ctx, const struct pw_branch *b)
{
	*(struct pw_branch *)ctx = *b;
	return 0;
}

static inline struct pw_branch head_of(struct pw_store *s, const char *bus)
{
	struct pw_branch b = { .head = 0 };

	FINE(pw_store_branches(s, bus, NULL, last_branch, &b, WHY));
	return b;
}

static inline int count_record(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	(void)r;
	(void)seal;
	++*(uint64_t *)ctx;
	return 0;
}

/* Records of the first branch as they can be read, one by one. */
static inline uint64_t records_of(struct pw_store *s, const char *bus)
{
	uint64_t count = 0;

	FINE(pw_store_read(s, bus, EPOCH, 0, 0, count_record, &count, WHY));
	return count;
}

static inline struct pw_figures figures_of(struct pw_store *s)
{
	struct pw_figures f;

	FINE(pw_store_figures(s, &f, WHY));
	return f;
}

/* -- clients from outside ---------------------------------------------------------------------- */

/* Runs a command and keeps what it says on both outputs. Its exit status. */
__attribute__((format(printf, 3, 4)))
static inline int shell(char *said, size_t size, const char *format, ...)
{
	char command[2000];
	va_list args;
	FILE *pipe;
	size_t n;

	va_start(args, format);
	vsnprintf(command, sizeof(command) - 8, format, args);
	va_end(args);
	strcat(command, " 2>&1");
	pipe = popen(command, "r");
	assert_non_null(pipe);
	n = fread(said, 1, size - 1, pipe);
	said[n] = '\0';
	if (n > 0 && said[n - 1] == '\n')
		said[n - 1] = '\0';
	return WEXITSTATUS(pclose(pipe));
}

/* Quicker than another schema: only the superuser gets past the triggers. */
static inline void empty_tables(const struct pg_server *pg)
{
	pg_run(pg->admin, "SET session_replication_role = replica; SET search_path = postwalk; DO "
	       "$$ DECLARE t text;"
	       " BEGIN FOR t IN SELECT relname FROM pg_class WHERE relnamespace = "
	       "to_regnamespace('postwalk')"
	       " AND relkind IN ('r', 'p') AND NOT relispartition AND relname <> 'migration' LOOP"
	       " EXECUTE 'DELETE FROM ' || t; END LOOP; END $$");
}

#endif
