/* SPDX-License-Identifier: Apache-2.0 */
/*
 * kill -9 of the watch, the writer and the page at any moment, wires moving all the time; then
 * another start on the same folder.
 *
 *	test_kill [--count N] [--jobs N] [--seed N]
 *
 * Several worlds at once. What the page had told as kept is there, the chain is whole, nothing was
 * put aside, and what stands after the start is what R20 says; at the end the whole journal of a
 * world, hundreds of starts, gives itself when it is replayed (J9).
 */
#include <fcntl.h>
#include <getopt.h>
#include <inttypes.h>
#include <signal.h>
#include <stdatomic.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <time.h>

#include "chance.h"
#include "faults/look.h"
#include "record/writer_internal.h"
#include "whole.h"

#define LIFE_MS 700 /* at most, before it is killed */

struct counts { /* shared by the worlds */
	_Atomic uint64_t tried, lost, unsound, early, records;
};

/* One world's: cmocka hands nothing to a test but its state. */
struct job {
	struct counts *counts;
	unsigned rounds;
	uint64_t chance;
};
static struct job job;

/* What was known before the kill. */
struct known {
	uint64_t kept;   /* the last record that the page told as on the disk */
	char epoch[17];
	enum pw_phase phase; /* as kept; 0: nothing is */
};

/* -- a life ------------------------------------------------------------------------------------ */

static uint64_t draw(uint64_t below)
{
	return chance(&job.chance) % below;
}

static void move_a_wire(struct world *w)
{
	static const char *const play[] = { "ignition=1 lamps=1", "lamps=0", "ignition=0",
					    "rear_button=1", "rear_button=0", "rear_door=1",
					    "rear_door=0", "service_door=1", "service_door=0" };

	world_set(w, play[draw(sizeof(play) / sizeof(play[0]))]);
	world_until(w, w->sent_ms + (int64_t)draw(40));
}

static void ask(struct world *w, struct known *known)
{
	uint64_t kept = (uint64_t)page_kept(w, "kept");

	if (kept > known->kept)
		known->kept = kept;
}

static void live(struct world *w, struct known *known)
{
	const int64_t until_ms = now_ms() + (int64_t)draw(LIFE_MS);

	while (now_ms() < until_ms) {
		move_a_wire(w);
		if (draw(4) == 0)
			ask(w, known);
	}
}

/* The children of the watch, whatever they are called yet. How many. */
static unsigned children(pid_t watch, pid_t *pid, unsigned most)
{
	char path[64];
	unsigned n = 0;
	FILE *f;

	snprintf(path, sizeof(path), "/proc/%d/task/%d/children", (int)watch, (int)watch);
	f = fopen(path, "r");
	while (f && n < most && fscanf(f, "%d", &pid[n]) == 1)
		n++;
	if (f)
		fclose(f);
	return n;
}

/* The watch and all that it started, in any order. The writer may be in the middle of anything. */
static void kill_all(struct world *w)
{
	pid_t pid[8] = { w->watch };
	uint64_t first;
	unsigned n;

	kill(w->watch, SIGSTOP); /* nothing is started any more */
	n = 1 + children(w->watch, pid + 1, 7);
	first = draw(n);
	for (unsigned i = 0; i < n; i++)
		kill(pid[(first + i) % n], SIGKILL);
	assert_int_equal(world_exit(w), 128 + SIGKILL);
	for (unsigned i = 1; i < n; i++)
		world_gone(w, pid[i]);
	atomic_fetch_add(&job.counts->tried, 1);
}

/* -- what is on the disk ----------------------------------------------------------------------- */

static void take_kept(const char *folder, struct known *known)
{
	static struct pw_kept_row row;
	char path[128], why[256];
	struct pw_journal *j;
	struct pw_state state;

	known->phase = (enum pw_phase)0;
	snprintf(path, sizeof(path), "%s/journal.db", folder);
	if (pw_journal_open(path, NULL, false, &j, why, sizeof(why)) < 0)
		return;
	if (pw_journal_kept(j, &row, why, sizeof(why)) == 1 &&
	    pw_text_kept_read(row.state, &state) == 0)
		known->phase = state.phase;
	pw_journal_close(j);
}

/* A copy is looked at: the first to touch what was left is the watch's own next start. */
static void look_at_the_disk(struct world *w, struct known *known)
{
	struct whole whole = { .records = 0 };
	char copy[96], name[64];

	snprintf(copy, sizeof(copy), "%s/copy", w->dir);
	if (known->kept == 0 && shell("test -d '%s'", w->state))
		return; /* killed before there was a folder */
	assert_int_equal(shell("rm -rf '%s' && cp -a '%s' '%s'", copy, w->state, copy), 0);
	if (whole_aside(copy, name, sizeof(name))) {
		atomic_fetch_add(&job.counts->unsound, 1);
		fail_msg("%s was put aside:\n%s", name, w->said);
	}
	if (known->kept == 0 &&
	    shell("test -e '%s/journal.db' && test -e '%s/bus.pub'", copy, copy))
		return; /* or a journal in it */
	whole_look(copy, &whole);
	if (whole.records < known->kept) {
		atomic_fetch_add(&job.counts->lost, known->kept - whole.records);
		fail_msg("%" PRIu64 " records were told as kept, %" PRIu64 " are there: %s",
			 known->kept, whole.records, whole.words);
	}
	if (known->epoch[0] == '\0')
		memcpy(known->epoch, whole.epoch, sizeof(known->epoch));
	if (known->kept > 0 &&
	    (whole.words[0] != '\0' || strcmp(whole.epoch, known->epoch) != 0)) {
		atomic_fetch_add(&job.counts->unsound, 1);
		fail_msg("epoch %s was %s: %s", whole.epoch, known->epoch, whole.words);
	}
	take_kept(copy, known);
}

/* R20, with every wire at 0 as a bench starts: what may stand. */
static bool may_follow(enum pw_phase kept, const char *phase)
{
	static const char *const follows[PW_PHASES] = {
		[PW_PARKED] = "parked", [PW_DRIVING] = "owed", [PW_OWED] = "owed overdue",
		[PW_OVERDUE] = "overdue", [PW_WALK_BACK] = "walk_back parked",
	};

	return kept == (enum pw_phase)0 ? strcmp(phase, "parked") == 0
					: strstr(follows[kept], phase) != NULL;
}

static void look_at_the_page(struct world *w, struct known *known)
{
	json_t *status;
	const char *phase;
	json_t *journal;
	uint64_t kept;
	bool right;

	page_settles(w);
	status = world_status(w);
	phase = json_string_value(json_object_get(status, "phase"));
	journal = json_object_get(status, "journal");
	kept = (uint64_t)json_integer_value(json_object_get(journal, "kept"));
	right = may_follow(known->phase, phase) && kept >= known->kept;

	if (!right) {
		atomic_fetch_add(&job.counts->unsound, 1);
		fail_msg("%s and %" PRIu64 " records, after %s and %" PRIu64, phase, kept,
			 known->phase ? pw_phase_name(known->phase) : "nothing", known->kept);
	}
	known->kept = kept;
	json_decref(status);
	if (page_shows(w, "journal", "")) {
		atomic_fetch_add(&job.counts->unsound, 1);
		fail_msg("the fault journal is shown:\n%s", w->said);
	}
}

/* -- again and again --------------------------------------------------------------------------- */

static void killed_at_any_moment_nothing_told_is_lost(void **state)
{
	struct known known = { .kept = 0 };
	struct world *w = *state;

	w->choose.restart_s = "0.3";
	world_write_policy(w);
	for (unsigned n = 0; n < job.rounds; n++) {
		if (draw(5) == 0) { /* while it starts */
			world_launch(w, NULL);
			world_until(w, now_ms() + (int64_t)draw(60));
			atomic_fetch_add(&job.counts->early, 1);
		} else {
			world_start_again(w);
			look_at_the_page(w, &known);
			live(w, &known);
		}
		kill_all(w);
		look_at_the_disk(w, &known);
	}
	world_start_again(w);
	look_at_the_page(w, &known);
	atomic_fetch_add(&job.counts->records, known.kept);
	assert_int_equal(world_stop(w), 0);
}

static const struct CMUnitTest tests[] = {
	world_test(killed_at_any_moment_nothing_told_is_lost),
};

static int run_worlds(unsigned count, unsigned jobs, uint64_t seed)
{
	int status, failed = 0;

	for (unsigned n = 0; n < jobs; n++) {
		pid_t pid = fork();

		assert_true(pid >= 0);
		if (pid > 0)
			continue;
		job.rounds = count / jobs + (n < count % jobs);
		job.chance = seed + n;
		_exit(cmocka_run_group_tests_name("kill -9", tests, NULL, NULL) != 0);
	}
	for (unsigned n = 0; n < jobs; n++)
		failed += wait(&status) < 0 || !WIFEXITED(status) || WEXITSTATUS(status) != 0;
	return failed;
}

int main(int argc, char **argv)
{
	static const struct option known[] = {
		{ "count", required_argument, NULL, 'c' }, { "jobs", required_argument, NULL, 'j' },
		{ "seed", required_argument, NULL, 's' }, { 0 },
	};
	uint64_t number, count = 50, jobs = 4, seed = (uint64_t)time(NULL);
	int option, failed;

	while ((option = getopt_long(argc, argv, "", known, NULL)) != -1) {
		number = optarg ? strtoull(optarg, NULL, 10) : 0;
		if (option == '?' || (number == 0 && option != 's'))
			return 2;
		*(option == 'c' ? &count : option == 'j' ? &jobs : &seed) = number;
	}
	job.counts = mmap(NULL, sizeof(*job.counts), PROT_READ | PROT_WRITE,
			  MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	setvbuf(stdout, NULL, _IOLBF, 0);
	failed = run_worlds((unsigned)count, (unsigned)jobs, seed);
	printf("seed %" PRIu64 ", %" PRIu64 " worlds, %" PRIu64 " killed while they started, "
	       "%" PRIu64 " records kept at the end\n", seed, jobs, job.counts->early,
	       job.counts->records);
	printf("kill -9: cuts tried %" PRIu64 ", acknowledged records lost %" PRIu64
	       ", unsound %" PRIu64 "\n", job.counts->tried, job.counts->lost,
	       job.counts->unsound + (uint64_t)failed * (job.counts->unsound == 0));
	return failed > 0 || job.counts->tried != count;
}
