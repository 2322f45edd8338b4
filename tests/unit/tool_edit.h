/* SPDX-License-Identifier: Apache-2.0 */
/* tool_edit.h - a journal or an export of one, as somebody could have changed it. */
#ifndef POSTWALK_TEST_TOOL_EDIT_H
#define POSTWALK_TEST_TOOL_EDIT_H

#include <sqlite3.h>

#include "tool_watch.h"

/* -- journals ---------------------------------------------------------------------------------- */

static inline int run_sql(void *db, int columns, char **value, char **name)
{
	(void)columns;
	(void)name;
	return sqlite3_exec(db, value[0], NULL, NULL, NULL);
}

/* By somebody who owns the file: triggers do not hold him. */
static inline void journal_edit(const char *path, const char *sql)
{
	sqlite3 *db;
	char *why = NULL;

	assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_exec(db, "SELECT 'DROP TRIGGER ' || name FROM sqlite_schema"
				      " WHERE type = 'trigger'", run_sql, db, NULL), SQLITE_OK);
	if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
		fail_msg("%s: %s", sql, why);
	assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

__attribute__((format(printf, 1, 2)))
static inline void shell(const char *format, ...)
{
	char command[1000];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	assert_int_equal(system(command), 0);
}

/* The first line that a command of another program writes. */
__attribute__((format(printf, 3, 4)))
static inline void ask(char *answer, size_t size, const char *format, ...)
{
	char command[1000];
	va_list args;
	FILE *pipe;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	if (!fgets(answer, (int)size, pipe))
		answer[0] = '\0';
	answer[strcspn(answer, "\n")] = '\0';
	assert_int_equal(pclose(pipe), 0);
}

/* Two sweeps, one of them refused first, under the policy of a yard of our own. */
#define SMALL_POLICY                                                                               \
	"[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n[line rear_door]\n"               \
	"[line service_door]\n"
#define SMALL_TRACE                                                                                \
	"0 ignition=1\n300 ignition=0\n310 rear_button=1\n310.4 rear_button=0\n320 rear_button=1\n"  \
	"320.4 rear_button=0\n334 service_door=1\n336 service_door=0\n500 ignition=1\n"              \
	"900 ignition=0\n925 rear_button=1\n925.5 rear_button=0\n940 service_door=1\n"               \
	"941 service_door=0\n1000 end\n"

static inline void journal_small(struct tool *t)
{
	tool_write(tool_path(t, "in.trace"), SMALL_TRACE);
	watch_play(t, SMALL_POLICY, tool_path(t, "in.trace"));
}

/* One record more, sealed, and what a writer leaves beside it. */
static inline void journal_go_on(const char *dir, const char *body)
{
	char path[128], why[300];
	struct pw_journal *j;

	snprintf(path, sizeof(path), "%s/journal.db", dir);
	if (pw_journal_open(path, "bus-07", true, &j, why, sizeof(why)) ||
	    pw_journal_begin(j, why, sizeof(why)))
		fail_msg("%s", why);
	journal_add(j, 1, PW_K_EXCUSED, 2000000, body);
	journal_end_sealed(j, dir);
}

/* -- exports ----------------------------------------------------------------------------------- */

#define LINES_MAX 100

struct lines {
	size_t count;
	char *line[LINES_MAX]; /* with its line end, where it has one */
};

static inline struct lines lines_of(const char *text)
{
	struct lines x = { 0 };

	while (*text) {
		size_t n = strcspn(text, "\n");

		n += text[n] == '\n';
		assert_true(x.count < LINES_MAX);
		x.line[x.count++] = strndup(text, n);
		text += n;
	}
	return x;
}

static inline void lines_free(struct lines *x)
{
	while (x->count > 0)
		free(x->line[--x->count]);
}

static inline void lines_write(const struct lines *x, const char *path)
{
	FILE *f = fopen(path, "w");

	assert_non_null(f);
	for (size_t i = 0; i < x->count; i++)
		fputs(x->line[i], f);
	assert_int_equal(fclose(f), 0);
}

/* The line of that record. */
static inline size_t line_of(const struct lines *x, int seq)
{
	char begin[40];

	snprintf(begin, sizeof(begin), "{\"seq\":%d,", seq);
	for (size_t i = 0; i < x->count; i++)
		if (strncmp(x->line[i], begin, strlen(begin)) == 0)
			return i;
	fail_msg("no record %d", seq);
	return 0;
}

/* The first FROM of the line becomes TO. */
static inline void line_edit(struct lines *x, size_t i, const char *from, const char *to)
{
	char *at = strstr(x->line[i], from), *edited;

	if (!at)
		fail_msg("no \"%s\" in %s", from, x->line[i]);
	assert_true(asprintf(&edited, "%.*s%s%s", (int)(at - x->line[i]), x->line[i], to,
			     at + strlen(from)) > 0);
	free(x->line[i]);
	x->line[i] = edited;
}

static inline void line_delete(struct lines *x, size_t i)
{
	free(x->line[i]);
	x->count--;
	memmove(&x->line[i], &x->line[i + 1], (x->count - i) * sizeof(x->line[0]));
}

static inline void line_insert(struct lines *x, size_t i, const char *text)
{
	assert_true(x->count < LINES_MAX);
	memmove(&x->line[i + 1], &x->line[i], (x->count - i) * sizeof(x->line[0]));
	x->line[i] = strdup(text);
	x->count++;
}

static inline void line_swap(struct lines *x, size_t i, size_t k)
{
	char *line = x->line[i];

	x->line[i] = x->line[k];
	x->line[k] = line;
}

#endif
