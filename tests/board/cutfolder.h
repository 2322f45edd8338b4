/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The journal's folder as a power cut left it on a disk: taken out of the disk's image, judged,
 * and given to the daemon of this machine, which goes on from there.
 *
 * The programs are $POSTWALKD and $POSTWALK, by default those of build/. Strings are copied.
 */
#ifndef POSTWALK_TESTS_CUTFOLDER_H
#define POSTWALK_TESTS_CUTFOLDER_H

#include <stdint.h>

/* -- taking it out ------------------------------------------------------------------------ */

/* Where that is done: a folder of its own, and in it the image and what was taken out of it. */
struct pw_cut_room {
	char path[256], image[300], folder[300];
	int mounts; /* 1: images are mounted, as a board would, by this process for itself alone;
		     * 0: that is not permitted: e2fsck works their journal off, debugfs reads them */
};

/* sample: an image to try that with. Once a process. 0 or -1. */
int pw_cut_room_make(struct pw_cut_room *room, const char *sample);
void pw_cut_room_scrap(struct pw_cut_room *room);
/* Empties the folder and copies into it all that the image holds; the image's own journal is then
 * worked off. 0, or -1: the file system cannot be had. */
int pw_cut_take(const struct pw_cut_room *room);
/* Whether e2fsck then finds nothing to mend. */
int pw_cut_is_clean(const struct pw_cut_room *room);

/* -- judging it --------------------------------------------------------------------------- */

/* The hashes of a whole journal; of record seq at [seq]. */
struct pw_cut_whole {
	char (*hash)[65];
	uint64_t seq;
};

struct pw_cut_found {
	uint64_t seq, sealed; /* of the last record, of the last seal; 0: none */
	char flaw[400];       /* the first; empty: it is sound */
};

/*
 * Sound is: SQLite's integrity_check, the chain, seals and times by J10 but for an unsealed tail,
 * and `postwalk verify` agrees; the records of `whole` and no others as far as those go (NULL: not
 * compared); seal files that are whole and of records that are there. No journal, or one in which
 * nothing has been committed, is a sound one without records.
 */
void pw_cut_judge(const char *dir, const struct pw_cut_whole *whole, struct pw_cut_found *found);
/* Takes a sound journal as the whole. 0 or -1; *whole is to be freed by pw_cut_whole_free. */
int pw_cut_whole_take(const char *dir, struct pw_cut_whole *whole);
void pw_cut_whole_free(struct pw_cut_whole *whole);

/* -- going on ----------------------------------------------------------------------------- */

struct pw_cut_start {
	char phase[16];  /* as the page told it first */
	char flaw[400];  /* the journal was put aside, records do not reach it, ...; or empty */
};

/* Starts the daemon on dir by the policy in a file, with the bench board, key off and doors shut,
 * until what its start had to record is kept; then ends it in order. */
void pw_cut_go_on(const char *dir, const char *policy, struct pw_cut_start *start);

#endif
