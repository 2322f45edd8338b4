/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Reference tables made by R (tests/stats/reference.R), row by row: those in tests/stats, or in the
 * folder that STATS_TABLES names.
 */
#ifndef TESTS_UNIT_STATS_TABLE_H
#define TESTS_UNIT_STATS_TABLE_H

#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <cmocka.h>

#include "stats/stats_internal.h"

#define FIELDS_MAX 12
#define VALUES_MAX 64
#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

struct field { char name[16]; size_t n; double v[VALUES_MAX]; };
struct row {
	const char *table;
	unsigned line;
	size_t fields;
	struct field field[FIELDS_MAX];
};

static inline void row_names(struct row *r, char *text)
{
	for (char *name; (name = strsep(&text, ",\n")) != NULL && *name != '\0';) {
		assert_true(r->fields < FIELDS_MAX && strlen(name) < sizeof(r->field[0].name));
		strcpy(r->field[r->fields++].name, name);
	}
}

/* R writes NaN, NA and Inf; strtod takes all but the second. */
static inline double row_number(const struct row *r, const char *word)
{
	char *end;
	double v = strtod(word, &end);

	if (strcmp(word, "NA") == 0)
		return NAN;
	if (end == word || *end != '\0')
		fail_msg("%s:%u: %s is no number", r->table, r->line, word);
	return v;
}

static inline void row_values(struct row *r, char *text)
{
	for (size_t i = 0; i < r->fields; i++) {
		struct field *f = &r->field[i];
		char *all = strsep(&text, ",\n");

		f->n = 0;
		for (char *word; all && (word = strsep(&all, " ")) != NULL;) {
			assert_true(f->n < VALUES_MAX);
			f->v[f->n++] = row_number(r, word);
		}
		if (f->n == 0)
			fail_msg("%s:%u: no %s", r->table, r->line, f->name);
	}
}

static inline void near(double got, double want, double most)
{
	if (!(fabs(got - want) <= most))
		fail_msg("%.17g, expected %.17g within %g", got, want, most);
}

/* Hands every row of a table to take; so many are expected. */
static inline void each_row(const char *table, unsigned rows, void (*take)(const struct row *r))
{
	const char *folder = getenv("STATS_TABLES");
	struct row *r = calloc(1, sizeof(*r));
	char path[400], line[4096];
	FILE *f;

	assert_non_null(r);
	snprintf(path, sizeof(path), "%s/%s.csv", folder ? folder : "tests/stats", table);
	f = fopen(path, "r");
	if (!f)
		fail_msg("%s cannot be read", path);
	r->table = table;
	r->line = 1;
	assert_non_null(fgets(line, sizeof(line), f));
	row_names(r, line);
	while (fgets(line, sizeof(line), f)) {
		assert_non_null(strchr(line, '\n'));
		r->line++;
		row_values(r, line);
		take(r);
	}
	assert_int_equal(r->line, rows + 1);
	fclose(f);
	free(r);
}

static inline const struct field *all(const struct row *r, const char *name)
{
	for (size_t i = 0; i < r->fields; i++)
		if (strcmp(r->field[i].name, name) == 0)
			return &r->field[i];
	fail_msg("%s has no field %s", r->table, name);
	return NULL;
}

static inline double one(const struct row *r, const char *name)
{
	return all(r, name)->v[0];
}

/* The i-th value of a field. What is but rounding, in R and here, need not agree. */
static inline void agrees_at(const struct row *r, const char *name, size_t i, double got)
{
	const struct field *f = all(r, name);
	double want, most;

	assert_true(i < f->n);
	want = f->v[i];
	most = 1e-9 * fabs(want) + 1e-15;
	if (isnan(want) ? isnan(got) : isinf(want) ? got == want : fabs(got - want) <= most)
		return;
	fail_msg("%s:%u: %s %zu: %.17g, and R has %.17g", r->table, r->line, name, i + 1, got,
		 want);
}

static inline void agrees(const struct row *r, const char *name, double got)
{
	assert_int_equal(all(r, name)->n, 1);
	agrees_at(r, name, 0, got);
}

static inline void agree(const struct row *r, const char *name, const double *got, size_t n)
{
	assert_int_equal(all(r, name)->n, n);
	for (size_t i = 0; i < n; i++)
		agrees_at(r, name, i, got[i]);
}

static inline void both_agree(const struct row *r, const char *name, struct pw_interval got)
{
	agree(r, name, (double[]){ got.lower, got.upper }, 2);
}

#endif
