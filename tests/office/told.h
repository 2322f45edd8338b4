/* SPDX-License-Identifier: Apache-2.0 */
/* told.h - a trace is played by the rules and journaled, and one of its sweeps gathered from the records. */
#ifndef OFFICE_TOLD_H
#define OFFICE_TOLD_H

#include <glob.h>

#include "../unit/tool_watch.h"
#include "office/judged.h"

#define TOLD_POLICY                                                                           \
	"[bus]\nid = bus-07\n[sweep]\nidle_s = 120\n[line ignition]\n[line park_brake]\n[line rear_button]\n" \
	"[line rear_door]\n[line exits]\n[line service_door]\n[line lamps]\n"

/* The n-th sweep of the journal, 1 the first, as the office reads it: the policy first, wherever it stands,
 * then from seq from on. false: there are not so many. */
static inline bool told_gather(struct tool *t, unsigned n, uint64_t from, struct pw_told_sweep *told)
{
	struct pw_journal *j;
	struct pw_gathering *g = NULL;
	struct pw_record r;
	struct pw_seal seal;
	char why[300];
	uint64_t wanted = 0, policy = 0;

	assert_int_equal(pw_journal_open(tool_path(t, "journal.db"), NULL, false, &j, why, sizeof(why)), 0);
	for (uint64_t at = 1; n > 0 && pw_journal_read(j, at, &r, why, sizeof(why)) == 1; at = r.seq + 1) {
		policy = r.kind == PW_K_POLICY && r.seq < from ? r.seq : policy;
		if (r.kind == PW_K_SWEEP && --n == 0)
			wanted = r.seq;
	}
	if (wanted) {
		g = pw_gather_begin("bus-07", wanted, &journal_key()->public, told);
		if (policy && pw_journal_read(j, policy, &r, why, sizeof(why)) == 1)
			assert_int_equal(pw_gather_record(g, &r, why, sizeof(why)), 0);
		for (uint64_t at = from; pw_journal_read(j, at, &r, why, sizeof(why)) == 1 &&
					 !pw_gather_done(g); at = r.seq + 1) {
			assert_int_equal(pw_gather_record(g, &r, why, sizeof(why)), 0);
			if (pw_journal_read_seal(j, r.seq, &seal, why, sizeof(why)) == 1 &&
			    seal.seq == r.seq)
				pw_gather_seal(g, &seal);
		}
		assert_true(pw_gather_end(g));
	}
	pw_journal_close(j);
	return wanted != 0;
}

static inline void told_clean(struct tool *t)
{
	char command[200];

	snprintf(command, sizeof(command), "rm -f '%s'/journal.db* '%s'/seal.*", t->dir, t->dir);
	assert_int_equal(system(command), 0);
}

static inline void told_play(struct tool *t, const char *policy, const char *trace)
{
	told_clean(t);
	tool_write(tool_path(t, "in.trace"), trace);
	watch_play(t, policy, tool_path(t, "in.trace"));
}

/* Every sweep of every scenario. How many. */
static inline unsigned told_scenarios(struct tool *t, void (*take)(const char *name, const struct pw_told_sweep *told, void *ctx),
				      void *ctx)
{
	unsigned count = 0;
	glob_t found;

	assert_int_equal(glob("tests/scenarios/*.trace", 0, NULL, &found), 0);
	for (size_t i = 0; i < found.gl_pathc; i++) {
		struct pw_told_sweep told;

		told_clean(t);
		watch_play(t, "[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n[line rear_door]\n"
			   "[line exits]\n[line service_door]\n[line lamps]\n", found.gl_pathv[i]);
		for (unsigned n = 1; told_gather(t, n, 1, &told); n++, count++) {
			take(found.gl_pathv[i], &told, ctx);
			pw_gather_free(&told);
		}
	}
	assert_true(count >= found.gl_pathc);
	globfree(&found);
	return count;
}

static inline struct pw_in_words told_words(enum pw_tongue tongue, const struct pw_zone *zone,
					    const struct pw_told_sweep *told)
{
	return (struct pw_in_words){ .tongue = tongue, .zone = zone,
				     .wall_less_mono_ms = told->record.wall_ms - told->record.mono_ms };
}

#endif
