/* SPDX-License-Identifier: Apache-2.0 */
/* The store's front door: which database it is, transactions, and how all the rest asks. */
#include <assert.h>
#include <string.h>

#include "store_internal.h"

int pw_store_open(const char *where, bool auditor, struct pw_store **s, char *why, size_t size)
{
	static const char *const schemes[] = { "postgresql://", "postgres://" };

	*s = NULL;
	for (size_t i = 0; i < sizeof(schemes) / sizeof(schemes[0]); i++)
		if (strncmp(where, schemes[i], strlen(schemes[i])) == 0)
			return pw_pgsql.open(where, auditor, s, why, size);
	return pw_sqlite.open(where, auditor, s, why, size);
}

void pw_store_close(struct pw_store *s)
{
	if (s == NULL)
		return;
	pw_store_rollback(s);
	s->database->close(s);
}

const char *pw_store_name(const struct pw_store *s)
{
	return s->database->name;
}

int pw_store_copy(struct pw_store *s, const char *path, char *why, size_t size)
{
	return s->database->copy(s, path, why, size);
}

/* -- transactions ------------------------------------------------------------------------------ */

int pw_store_begin(struct pw_store *s, char *why, size_t size)
{
	int result;

	assert(!s->begun);
	result = s->database->step(s, PW_BEGIN, why, size);
	s->begun = result == 0;
	return result;
}

int pw_store_commit(struct pw_store *s, char *why, size_t size)
{
	int result = s->database->step(s, PW_COMMIT, why, size);

	if (result == 0)
		s->begun = false;
	return result;
}

void pw_store_rollback(struct pw_store *s)
{
	char why[200];

	if (s->begun)
		s->database->step(s, PW_ROLLBACK, why, sizeof(why));
	s->begun = false;
}

int pw_store_mark(struct pw_store *s, char *why, size_t size)
{
	return s->database->step(s, PW_MARK, why, size);
}

int pw_store_mark_keep(struct pw_store *s, char *why, size_t size)
{
	return s->database->step(s, PW_MARK_KEEP, why, size);
}

int pw_store_mark_undo(struct pw_store *s, char *why, size_t size)
{
	return s->database->step(s, PW_MARK_UNDO, why, size);
}

/* -- asking ------------------------------------------------------------------------------------ */

int pw_store_ask(struct pw_store *s, enum pw_question q, const struct pw_cell *args,
		 pw_row_taker *take, void *ctx,
	   char *why, size_t size)
{
	return s->database->ask(s, q, args, take, ctx, NULL, why, size);
}

int pw_store_change(struct pw_store *s, enum pw_question q, const struct pw_cell *args, char *why,
		    size_t size)
{
	uint64_t changed;
	int result = s->database->ask(s, q, args, NULL, NULL, &changed, why, size);

	return result < 0 ? result : (int)changed;
}

int pw_store_ask_one(struct pw_store *s, enum pw_question q, const struct pw_cell *args,
		     pw_row_taker *take, void *ctx,
	       char *why, size_t size)
{
	uint64_t given;
	int result = s->database->ask(s, q, args, take, ctx, &given, why, size);

	return result < 0 ? result : given > 0;
}
