/* SPDX-License-Identifier: Apache-2.0 */
/* source_internal.h - a journal or an export of one, read alike; and the bodies of its records. */
#ifndef POSTWALK_SOURCE_INTERNAL_H
#define POSTWALK_SOURCE_INTERNAL_H

#include <jansson.h>

#include "postwalk/journal.h"
#include "tool_internal.h"

#define PW_PATH_MAX 4096

/* -- source.c ---------------------------------------------------------------------------------- */

struct pw_source;

enum pw_source_kind { PW_ITEM_RECORD = 1, PW_ITEM_SEAL };
struct pw_source_item { /* lives until the next one is asked for */
	enum pw_source_kind kind;
	const struct pw_record *record;
	const struct pw_seal *seal;
};

/* The file that is meant: of a folder, the journal.db in it. 0, or -1 said on standard error. */
int pw_source_path(const char *given, char path[PW_PATH_MAX]);
/* A journal, the folder of one, or an export ("-": on standard input), told apart by the first
 * bytes. 0, or -1 said on standard error. */
int pw_source_open(const char *given, struct pw_source **s);
void pw_source_close(struct pw_source *s);
/* 1: an item: records as they come, a seal right behind its record, or where that should have been.
 * 0: the end. -1: it cannot be read on; said on standard error. */
int pw_source_next(struct pw_source *s, struct pw_source_item *item);

const char *pw_source_name(const struct pw_source *s); /* its file, for messages */
const char *pw_source_bus(const struct pw_source *s);
/* Out of the export, or bus.pub beside the journal. 0; -1: it cannot be had; -2: it is no key. */
int pw_source_key(const struct pw_source *s, struct pw_public_key *key, char *why, size_t size);
struct pw_journal *pw_source_journal(const struct pw_source *s); /* NULL: it is an export */
/* The folder of the journal. NULL: of an export, or of a journal that was put aside or copied under
 * another name, so that what stands beside it may not be its own. */
const char *pw_source_dir(const struct pw_source *s);
/* Right behind the head of an export, once its first item is there: an office's word of what it let
 * go before that. NULL: none. */
const struct pw_seal *pw_source_purged(const struct pw_source *s,
				       const struct pw_public_key **office);
/* At the end of an export: does its last line count as many as stand there? */
bool pw_source_counts(const struct pw_source *s, char *why, size_t size);

/* -- body.c: bodies of records ----------------------------------------------------------------- */

#define PW_FAR_MS (INT64_MAX / 4) /* no moment is further off: they can be added up */

/* A whole number of PW_FAR_MS at most. 0, or -1. */
int pw_body_int(const json_t *body, const char *key, int64_t *value);
bool pw_body_bool(const json_t *body, const char *key, bool *value); /* false: it is none */
/* "" when it is not there. */
const char *pw_body_word(const json_t *body, const char *key);

#endif
