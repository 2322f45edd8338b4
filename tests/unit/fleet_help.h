/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_help.h - made-up fleets: exports read back, and as journals that other tools can open. */
#ifndef POSTWALK_TEST_FLEET_HELP_H
#define POSTWALK_TEST_FLEET_HELP_H

#include <jansson.h>
#include <sodium.h>

#include "postwalk/journal.h"
#include "record/record_internal.h"
#include "tool_command.h"

struct fleet_record {
	struct pw_record r; /* its body is owned */
	bool sealed;
};
struct fleet_export {
	char bus[PW_NAME_MAX];
	struct fleet_record *record; /* seq 1 on */
	size_t count;
	uint64_t seals;
};

static inline void fleet_take_line(struct fleet_export *x, struct pw_export_line *line)
{
	struct fleet_record *to;

	if (line->kind == PW_X_HEAD)
		memcpy(x->bus, line->bus, sizeof(x->bus));
	if (line->kind == PW_X_SEAL) {
		assert_int_equal(line->seal.seq, x->count);
		x->record[x->count - 1].sealed = true;
		x->seals++;
	}
	if (line->kind == PW_X_END) {
		assert_int_equal(line->records, x->count);
		assert_int_equal(line->seals, x->seals);
	}
	if (line->kind != PW_X_RECORD)
		return;
	x->record = reallocarray(x->record, x->count + 1, sizeof(*x->record));
	assert_non_null(x->record);
	to = &x->record[x->count++];
	*to = (struct fleet_record){ .r = line->record };
	to->r.body = strdup(line->record.body);
	assert_int_equal(to->r.seq, x->count);
}

static inline void fleet_read(const char *path, struct fleet_export *x)
{
	char *text = NULL, why[200];
	struct pw_export_line line;
	size_t room = 0;
	ssize_t n;
	FILE *f = fopen(path, "r");

	*x = (struct fleet_export){ 0 };
	if (!f)
		fail_msg("%s is not there", path);
	while ((n = getline(&text, &room, f)) > 0) {
		if (pw_export_read(text, (size_t)n - 1, &line, why, sizeof(why)))
			fail_msg("%s: %s", path, why);
		fleet_take_line(x, &line);
		pw_export_free(&line);
	}
	free(text);
	fclose(f);
}

static inline void fleet_free(struct fleet_export *x)
{
	for (size_t i = 0; i < x->count; i++)
		free((void *)(uintptr_t)x->record[i].r.body);
	free(x->record);
	*x = (struct fleet_export){ 0 };
}

/* The same records in a database, as the writer keeps them (another epoch, so other hashes). */
static inline void fleet_journal(const struct fleet_export *x, const char *path)
{
	struct pw_journal *j;
	char why[300];

	if (pw_journal_open(path, x->bus, true, &j, why, sizeof(why)))
		fail_msg("%s", why);
	assert_int_equal(pw_journal_begin(j, why, sizeof(why)), 0);
	for (size_t i = 0; i < x->count; i++) {
		struct pw_record r = x->record[i].r;

		if (pw_journal_add(j, &r, why, sizeof(why)))
			fail_msg("%s", why);
	}
	assert_int_equal(pw_journal_commit(j, why, sizeof(why)), 0);
	pw_journal_close(j);
}

static inline json_t *fleet_body(const struct fleet_record *r)
{
	json_t *body = json_loads(r->r.body, JSON_REJECT_DUPLICATES, NULL);

	assert_non_null(body);
	return body;
}

static inline const char *json_word(const json_t *object, const char *key)
{
	const char *word = json_string_value(json_object_get(object, key));

	return word ? word : "";
}

/* Lines of JSON, as an array. */
static inline json_t *fleet_lines(const char *text)
{
	json_t *all = json_array();

	for (const char *end; (end = strchr(text, '\n')); text = end + 1) {
		json_t *one = json_loadb(text, (size_t)(end - text), JSON_REJECT_DUPLICATES, NULL);

		if (!one)
			fail_msg("no JSON: %.*s", (int)(end - text), text);
		json_array_append_new(all, one);
	}
	return all;
}

#define FLEET(t, ...) RUN(t, pw_fleet, "fleet", __VA_ARGS__)

#endif
