/* SPDX-License-Identifier: Apache-2.0 */
/* judge.h - what must hold in a folder after a power cut. */
#ifndef POSTWALK_TEST_JUDGE_H
#define POSTWALK_TEST_JUDGE_H

#include "day.h"

/* What is known of the cut: what had been told as committed, and the latest moment before it. */
struct judge_cut {
	uint64_t told_batch, told_seq;
	int64_t last_ms;
	bool may_have_ended, has_ended; /* the orderly stop: begun; told */
};

struct judge_verdict {
	uint64_t lost;   /* records told as committed that are not there, or others */
	bool unsound;
	char words[500]; /* why */
};

/* The writer starts there, tells what was kept, takes one more batch, and ends. Then: nothing was
 * put aside, the state is that of the last batch there is, the chain is whole, and SQLite finds
 * nothing. */
void judge_start(const struct day *d, const char *folder, const struct judge_cut *cut,
		 struct judge_verdict *v);

/* The watch starts at BASE/state after a gap (R20), and some more of the day is played. The journal
 * is what a replay of it gives (J9), and what a replay of the day with this cut in it gives; and
 * `postwalk verify` finds it sound (J10). */
void judge_restart(const struct day *d, const char *base, const struct judge_cut *cut,
		   int64_t gap_ms, struct judge_verdict *v);

#endif
