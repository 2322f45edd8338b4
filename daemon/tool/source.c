/* SPDX-License-Identifier: Apache-2.0 */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "source_internal.h"

#define WHAT "a journal or an export of one"

struct pw_source {
	char path[PW_PATH_MAX], dir[PW_PATH_MAX];
	char bus[PW_NAME_MAX];
	/* an export */
	struct pw_text_file *text;
	struct pw_public_key key;
	struct pw_export_line line;          /* held until the next one */
	bool holds, ended, purged;
	struct pw_seal let_go;
	struct pw_public_key office;
	uint64_t records, seals, told_records, told_seals;
	/* a journal: the next of each, as far as they are known */
	struct pw_journal *journal;
	struct pw_record record;
	struct pw_seal seal;
	int has_record, has_seal;     /* 1; 0: there is none; -1: not asked for yet */
	uint64_t from_record, from_seal;
};

static int fail(const struct pw_source *s, const char *expected)
{
	if (s->text)
		fprintf(stderr, "%s:%ld: expected %s\n", pw_text_file_path(s->text),
			pw_text_file_number(s->text), expected);
	else
		fprintf(stderr, "%s: expected %s\n", s->path, expected);
	return -1;
}

/* -- an export --------------------------------------------------------------------------------- */

/* The next line into s->line. 1, 0 at the end, -1. */
static int read_line(struct pw_source *s)
{
	char why[300], *text;
	size_t length;
	int got;

	if (s->holds)
		pw_export_free(&s->line);
	s->holds = false;
	got = pw_text_file_next(s->text, &text, &length);
	if (got <= 0)
		return got;
	if (s->ended)
		return fail(s, "nothing behind the line that ends an export");
	if (pw_export_read(text, length, &s->line, why, sizeof(why))) {
		if (!pw_text_file_is_whole(s->text))
			return fail(s, "a whole line and an end line: the export was cut off here");
		fprintf(stderr, "%s:%ld: %s\n", pw_text_file_path(s->text),
			pw_text_file_number(s->text), why);
		return -1;
	}
	s->holds = true;
	return 1;
}

static int take_line(struct pw_source *s, struct pw_source_item *item)
{
	switch (s->line.kind) {
	case PW_X_RECORD:
		s->records++;
		*item = (struct pw_source_item){ .kind = PW_ITEM_RECORD,
						 .record = &s->line.record };
		return 1;
	case PW_X_SEAL:
		s->seals++;
		*item = (struct pw_source_item){ .kind = PW_ITEM_SEAL, .seal = &s->line.seal };
		return 1;
	case PW_X_END:
		s->told_records = s->line.records;
		s->told_seals = s->line.seals;
		s->ended = true;
		return 0;
	default:
		return fail(s, "one head, in the first line, and what was purged, if any, in the second");
	}
}

static bool is_purged(const struct pw_source *s)
{
	return s->line.kind == PW_X_PURGED && s->records == 0 && s->seals == 0 && !s->purged;
}

static int next_of_export(struct pw_source *s, struct pw_source_item *item)
{
	int got = s->ended ? 0 : read_line(s);

	if (got > 0 && is_purged(s)) {
		s->purged = true;
		s->let_go = s->line.seal;
		s->office = s->line.key;
		got = read_line(s);
	}
	if (got > 0)
		got = take_line(s, item);
	if (got != 0)
		return got;
	if (!s->ended)
		return fail(s, "an end line behind this one: the export was cut off here");
	return read_line(s) < 0 ? -1 : 0;
}

static int open_export(struct pw_source *s)
{
	int got = read_line(s);

	if (got < 0)
		return -1;
	if (got == 0 || s->line.kind != PW_X_HEAD)
		return fail(s, "the head of an export, with bus and key");
	memcpy(s->bus, s->line.bus, sizeof(s->bus));
	s->key = s->line.key;
	return 0;
}

const struct pw_seal *pw_source_purged(const struct pw_source *s,
				       const struct pw_public_key **office)
{
	*office = &s->office;
	return s->purged ? &s->let_go : NULL;
}

bool pw_source_counts(const struct pw_source *s, char *why, size_t size)
{
	if (s->records == s->told_records && s->seals == s->told_seals)
		return true;
	snprintf(why, size, "the end line counts %" PRIu64 " records and %" PRIu64 " seals, but %"
		 PRIu64 " and %" PRIu64 " stand here", s->told_records, s->told_seals, s->records,
		 s->seals);
	return false;
}

/* -- a journal --------------------------------------------------------------------------------- */

/* Sees to it that the next record and the next seal are known. */
static int look_ahead(struct pw_source *s)
{
	char why[300];

	if (s->has_record < 0)
		s->has_record = pw_journal_read(s->journal, s->from_record, &s->record, why,
						sizeof(why));
	if (s->has_record >= 0 && s->has_seal < 0)
		s->has_seal = pw_journal_read_seal(s->journal, s->from_seal, &s->seal, why,
						   sizeof(why));
	if (s->has_record >= 0 && s->has_seal >= 0)
		return 0;
	fprintf(stderr, "%s\n", why);
	return -1;
}

static int next_of_journal(struct pw_source *s, struct pw_source_item *item)
{
	if (look_ahead(s))
		return -1;
	if (s->has_seal && (!s->has_record || s->seal.seq < s->record.seq)) {
		s->from_seal = s->seal.seq + 1;
		s->has_seal = -1;
		*item = (struct pw_source_item){ .kind = PW_ITEM_SEAL, .seal = &s->seal };
		return 1;
	}
	if (!s->has_record)
		return 0;
	s->from_record = s->record.seq + 1;
	s->has_record = -1;
	*item = (struct pw_source_item){ .kind = PW_ITEM_RECORD, .record = &s->record };
	return 1;
}

static int open_journal(struct pw_source *s)
{
	const char *slash = strrchr(s->path, '/');
	char why[PW_PATH_MAX + 300];

	if (pw_journal_open(s->path, NULL, false, &s->journal, why, sizeof(why))) {
		fprintf(stderr, "%s\n", why);
		return -1;
	}
	if (slash)
		memcpy(s->dir, s->path, (size_t)(slash - s->path) + (slash == s->path));
	else
		strcpy(s->dir, ".");
	strcpy(s->bus, pw_journal_bus(s->journal));
	s->has_record = s->has_seal = -1;
	s->from_record = s->from_seal = 1;
	return 0;
}

/* -- either ------------------------------------------------------------------------------------ */

int pw_source_path(const char *given, char path[PW_PATH_MAX])
{
	struct stat st;
	bool folder = stat(given, &st) == 0 && S_ISDIR(st.st_mode);
	int n = snprintf(path, PW_PATH_MAX, "%s%s", given, folder ? "/journal.db" : "");

	if (n < PW_PATH_MAX)
		return 0;
	fprintf(stderr, "%.60s...: expected a shorter path\n", given);
	return -1;
}

static int open_either(struct pw_source *s)
{
	static const char database[] = "SQLite format 3"; /* and a zero */
	const char *bytes;
	int n;

	s->text = pw_text_file_open(s->path, WHAT, PW_EXPORT_LINE_MAX - 2);
	if (!s->text || (n = pw_text_file_peek(s->text, &bytes)) < 0)
		return -1;
	if (n > 0 && bytes[0] == '{')
		return open_export(s);
	if (n == 0 || (n == sizeof(database) && memcmp(bytes, database, sizeof(database)) == 0)) {
		pw_text_file_close(s->text);
		s->text = NULL;
		return open_journal(s);
	}
	fprintf(stderr, "%s: expected " WHAT ", and this is neither\n", pw_text_file_path(s->text));
	return -1;
}

int pw_source_open(const char *given, struct pw_source **s)
{
	*s = calloc(1, sizeof(**s));
	if (!*s) {
		fprintf(stderr, "%s: out of memory\n", given);
		return -1;
	}
	if (pw_source_path(given, (*s)->path) == 0 && open_either(*s) == 0)
		return 0;
	pw_source_close(*s);
	*s = NULL;
	return -1;
}

void pw_source_close(struct pw_source *s)
{
	if (!s)
		return;
	if (s->holds)
		pw_export_free(&s->line);
	pw_text_file_close(s->text);
	pw_journal_close(s->journal);
	free(s);
}

int pw_source_next(struct pw_source *s, struct pw_source_item *item)
{
	return s->journal ? next_of_journal(s, item) : next_of_export(s, item);
}

const char *pw_source_name(const struct pw_source *s)
{
	return s->text ? pw_text_file_path(s->text) : s->path;
}

const char *pw_source_bus(const struct pw_source *s)
{
	return s->bus;
}

struct pw_journal *pw_source_journal(const struct pw_source *s)
{
	return s->journal;
}

const char *pw_source_dir(const struct pw_source *s)
{
	const char *slash = strrchr(s->path, '/');

	if (!s->journal || strcmp(slash ? slash + 1 : s->path, "journal.db") != 0)
		return NULL;
	return s->dir;
}

int pw_source_key(const struct pw_source *s, struct pw_public_key *key, char *why, size_t size)
{
	char path[PW_PATH_MAX + 10];

	if (!s->journal) {
		*key = s->key;
		return 0;
	}
	snprintf(path, sizeof(path), "%s/bus.pub", s->dir);
	return pw_public_key_load(path, key, why, size);
}
