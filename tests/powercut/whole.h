/* SPDX-License-Identifier: Apache-2.0 */
/* whole.h - is a journal at rest whole (J10)? A tail without a seal is all that may be found. */
#ifndef POSTWALK_TEST_WHOLE_H
#define POSTWALK_TEST_WHOLE_H

#include "postwalk/journal.h"

struct whole {
	uint64_t records, seals, sealed; /* the last seq that a seal vouches for */
	char epoch[17];
	char words[300]; /* what was found, "" when it is whole */
	/* NULL, or: called with each record. */
	void (*each)(void *ctx, const struct pw_record *r);
	void *ctx;
};

/* FOLDER/journal.db by FOLDER/bus.pub. */
void whole_look(const char *folder, struct whole *w);
/* SQLite's own judgement of the file, the thorough one: 0, or -1 with its words. */
int whole_file(const char *path, char *words, size_t size);
/* The name of something in the folder that was put aside; false: there is none. */
bool whole_aside(const char *folder, char *name, size_t size);

#endif
