/* SPDX-License-Identifier: Apache-2.0 */
/* stretch_internal.h - a stretch of the journal as text in a memfd, made slice by slice. */
#ifndef POSTWALK_STRETCH_INTERNAL_H
#define POSTWALK_STRETCH_INTERNAL_H

#include "record_internal.h"

#define PW_STRETCH_SLICE 64 /* records between two looks at the watch */

struct pw_stretch {
	int fd;                 /* -1: there is none */
	bool done;              /* the text is whole and cannot be changed any more */
	uint64_t first, seq;    /* of the text */
	char hash[65];          /* of seq */
	char words[160];        /* why there is no text; "": nothing is sealed from there on */
	/* while it is made */
	size_t least;           /* it ends at the first seal from here on, in bytes */
	uint64_t next, last;
	size_t length, good_length;  /* so far; up to its last seal */
	uint64_t records, seals, good_records;
	struct pw_seal seal;    /* the next one */
	char line[PW_EXPORT_LINE_MAX];
};

/* From first on, as stretch.h has it; alert: that record alone, which is sealed. */
void pw_stretch_begin(struct pw_stretch *s, struct pw_journal *j, const struct pw_public_key *key,
		      uint64_t first, bool alert);
/* 1: there is more to do; 0: done, or there is no text; -1, -2 with why: trouble with the journal. */
int pw_stretch_slice(struct pw_stretch *s, struct pw_journal *j, char *why, size_t size);
void pw_stretch_drop(struct pw_stretch *s); /* its fd is closed */

#endif
