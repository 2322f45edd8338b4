/* SPDX-License-Identifier: Apache-2.0 */
/* store_world.h - cases that are run twice: with a fresh file of SQLite, and a fresh schema of
 * PostgreSQL. */
#ifndef OFFICE_STORE_WORLD_H
#define OFFICE_STORE_WORLD_H

#include "store_help.h"

struct world {
	bool pgsql;
	char where[200];     /* of the store */
	char dir[64];        /* made for the case */
	struct pw_store *s;  /* open */
};
struct world_case {
	const char *name;
	void (*run)(struct world *w);
};
#define CASE(function) { #function, function }
#define CASES_MAX 32

static struct pg_server pg;

static inline void again(struct world *w)
{
	pw_store_close(w->s);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
}

/* What sqlite3 or psql says to a statement: rows as lines, | between columns. Its exit status. */
static inline int outside(struct world *w, char *said, size_t size, const char *sql)
{
	int status;

	if (w->pgsql)
		return shell(said, size, "PGOPTIONS='-c search_path=postwalk' psql -XAtq '%s' -c "
			     "\"%s\"", w->where, sql);
	pw_store_close(w->s); /* a file is its owner's alone */
	status = shell(said, size, "sqlite3 -bail '%s' \"%s\"", w->where, sql);
	FINE(pw_store_open(w->where, false, &w->s, WHY));
	return status;
}

static inline void world_begin(struct world *w)
{
	snprintf(w->dir, sizeof(w->dir), "%s/postwalk-store-XXXXXX", pg_place());
	assert_non_null(mkdtemp(w->dir));
	if (w->pgsql) {
		empty_tables(&pg);
		snprintf(w->where, sizeof(w->where), "%s", pg.uri);
	} else {
		snprintf(w->where, sizeof(w->where), "%s/office.db", w->dir);
	}
	FINE(pw_store_open(w->where, false, &w->s, WHY));
}

static inline void world_end(struct world *w)
{
	char said[200];

	pw_store_close(w->s);
	w->s = NULL;
	assert_int_equal(shell(said, sizeof(said), "rm -rf '%s'", w->dir), 0);
}

struct ticket {
	const struct world_case *one;
	bool pgsql;
};

static inline void world_case_run(void **state)
{
	static struct world w;
	const struct ticket *t = *state;

	pw_store_close(w.s); /* of a case that failed */
	w = (struct world){ .pgsql = t->pgsql };
	world_begin(&w);
	t->one->run(&w);
	world_end(&w);
}

static inline int world_run(const struct world_case *cases, size_t count)
{
	struct CMUnitTest tests[2 * CASES_MAX] = { 0 };
	struct ticket tickets[2 * CASES_MAX];
	char names[2 * CASES_MAX][100];
	int failed;

	for (size_t i = 0; i < 2 * count; i++) {
		tickets[i] = (struct ticket){ &cases[i / 2], i % 2 };
		snprintf(names[i], sizeof(names[i]), "%s, %s", cases[i / 2].name,
			 i % 2 ? "postgresql" : "sqlite");
		tests[i] = (struct CMUnitTest){ .name = names[i], .test_func = world_case_run,
						.initial_state = &tickets[i] };
	}
	pg_begin(&pg, NULL);
	failed = _cmocka_run_group_tests("store", tests, 2 * count, NULL, NULL);
	pg_end(&pg);
	return failed;
}

#endif
