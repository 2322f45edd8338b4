/* SPDX-License-Identifier: Apache-2.0 */
/* look_internal.h - what is to be told now by one way, as the store has it. */
#ifndef POSTWALK_LOOK_INTERNAL_H
#define POSTWALK_LOOK_INTERNAL_H

#include "tell_internal.h"

#define PW_LOOK_ITEMS 8

struct pw_item {
	struct pw_telling telling;
	struct pw_matter matter; /* id 0: of a digest */
	char *digest;            /* its lines; malloced */
};
struct pw_look {
	const struct pw_office_conf *conf; /* these three are given */
	const char *way;
	int64_t now_ms;
	size_t items;                      /* what is due, the most urgent first */
	struct pw_item item[PW_LOOK_ITEMS];
	int64_t next_ms;                   /* when to look again; now_ms: more is due than fits */
};
/* ctx: a look. Makes a telling for each open matter and for the digest of the day where there is
 * none; ends those of what was taken, and begins one of that. 0, -1, -2: to be freed always. */
int pw_look(struct pw_store *s, void *ctx, char *why, size_t size);
void pw_look_free(struct pw_look *look);

#endif
