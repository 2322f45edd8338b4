/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A day is journaled while everything that reaches the disk is logged (disk.h); then power is cut
 * after every entry of that log, and what such a disk may hold (cut.h) is started from.
 *
 *	test_prefixes [--all | --count N] [--jobs N] [--days N] [--seed N]
 *	test_prefixes [--days N] --prefix N --kind KIND --case N	one case alone
 *
 * Without --all, --count disks and some restarts of the watch, by chance.
 */
#include <getopt.h>
#include <inttypes.h>
#include <malloc.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "chance.h"
#include "cut.h"
#include "judge.h"

#define SHOWN 10 /* of the cases that fail */
#define CHANCES_ALL 1 /* disks by chance of each kind, a prefix */
#define COUNT 1000
#define RESTARTS 25
#define RESTARTS_ALL 600

static const char *const kinds[] = {
	[CUT_DROPPED] = "dropped", [CUT_KEPT] = "kept", [CUT_TORN] = "torn", [CUT_MIXED] = "mixed",
};

struct options {
	bool all;
	unsigned jobs, days;
	uint64_t seed, count;
	int64_t prefix; /* -1: every one */
	enum cut_kind kind;
	uint64_t one;
};

struct counts { /* shared by the jobs */
	_Atomic uint64_t tried, restarts, lost, unsound, shown;
};

struct job {
	const struct options *options;
	const struct day *day;
	struct counts *counts;
	struct cut *cut;
	unsigned number;
	uint64_t restart_every; /* one case of so many is a restart of the watch as well */
	char base[96], folder[112];
};

static struct judge_cut cut_here(const struct job *job)
{
	const size_t at = cut_at(job->cut);
	struct judge_cut c = {
		.told_batch = disk_told_batch(), .told_seq = disk_told_seq(),
		.may_have_ended = at > job->day->in_order, .has_ended = at == disk_entries(),
	};

	if (at < disk_entries()) { /* before the next one is begun */
		c.told_batch = disk_entry(at)->told_batch;
		c.told_seq = disk_entry(at)->told_seq;
		c.last_ms = disk_entry(at)->mono_ms + 1; /* its clock runs behind, see day.c */
	} else {
		c.last_ms = disk_entry(at - 1)->mono_ms + 1;
	}
	return c;
}

static void count(const struct job *job, enum cut_kind kind, uint64_t seed,
		  const struct judge_verdict *v)
{
	atomic_fetch_add(&job->counts->lost, v->lost);
	atomic_fetch_add(&job->counts->unsound, v->unsound);
	if (!v->unsound || atomic_fetch_add(&job->counts->shown, 1) >= SHOWN)
		return;
	printf("--days %u --prefix %zu --kind %s --case %" PRIu64 ": %s\n", job->options->days,
	       cut_at(job->cut), kinds[kind], seed, v->words);
}

static void try_case(const struct job *job, enum cut_kind kind, uint64_t seed)
{
	static const int64_t gaps_ms[] = { 1500, 45000, 1200000 }; /* a dip; short of due; long */
	const struct judge_cut cut = cut_here(job);
	struct judge_verdict v;
	uint64_t from = seed ^ 0x5eed;

	cut_lay(job->cut, kind, seed, job->folder);
	judge_start(job->day, job->folder, &cut, &v);
	count(job, kind, seed, &v);
	atomic_fetch_add(&job->counts->tried, 1);
	if (v.unsound || chance(&from) % job->restart_every != 0)
		return;
	cut_lay(job->cut, kind, seed, job->folder);
	judge_restart(job->day, job->base, &cut, gaps_ms[chance(&from) % 3], &v);
	count(job, kind, seed, &v);
	atomic_fetch_add(&job->counts->restarts, 1);
}

static void try_prefix(const struct job *job)
{
	const struct options *o = job->options;
	uint64_t from = o->seed + cut_at(job->cut) * 1000003;

	if (o->prefix >= 0) {
		try_case(job, o->kind, o->one);
	} else if (!o->all && chance(&from) % (disk_entries() + 1) < o->count) {
		enum cut_kind kind = (enum cut_kind)(CUT_DROPPED + chance(&from) % 4);

		try_case(job, kind, chance(&from) >> 32);
	} else if (o->all) {
		try_case(job, CUT_DROPPED, 0);
		try_case(job, CUT_KEPT, 0);
		for (unsigned n = 0; n < CHANCES_ALL; n++) {
			try_case(job, CUT_TORN, chance(&from) >> 32);
			try_case(job, CUT_MIXED, chance(&from) >> 32);
		}
	}
}

static void make_folder(struct job *job)
{
	snprintf(job->base, sizeof(job->base), "%s/%u", job->day->base, job->number);
	snprintf(job->folder, sizeof(job->folder), "%s/state", job->base);
	if (play_shell("mkdir -p '%s'", job->folder))
		play_fail("%s cannot be made", job->folder);
}

/* Every jobs-th prefix, from the empty disk to the whole day. */
static void run_job(struct job *job)
{
	const struct options *o = job->options;

	make_folder(job);
	job->cut = cut_new();
	for (size_t n = 0; n <= disk_entries(); n++) {
		if (o->prefix >= 0 ? n == (size_t)o->prefix : n % o->jobs == job->number)
			try_prefix(job);
		if (n < disk_entries())
			cut_advance(job->cut);
	}
	cut_free(job->cut);
}

static int run_jobs(struct job *job, unsigned jobs)
{
	int status, failed = 0;

	fflush(stdout);
	for (job->number = 0; job->number < jobs; job->number++) {
		pid_t pid = fork();

		if (pid < 0)
			play_fail("no more processes");
		if (pid == 0) {
			run_job(job);
			fflush(stdout);
			_exit(0);
		}
	}
	for (unsigned n = 0; n < jobs; n++)
		failed += wait(&status) < 0 || !WIFEXITED(status) || WEXITSTATUS(status) != 0;
	return failed;
}

/* -- devices that are known to be bad ---------------------------------------------------------- */

/* A page that went into the log in the middle of the day. */
static size_t some_page(void)
{
	size_t n = disk_entries() / 2;

	while (disk_entry(n)->op != DISK_WRITE || disk_entry(n)->size != 4096)
		n++;
	return n;
}

/* 1: what such a device lost is not seen. */
static unsigned goes_by(struct job *job, const char *what, bool deaf, size_t lost)
{
	const size_t until = (lost < disk_entries() ? lost : disk_entries() / 2) + 100;
	struct judge_verdict v;
	struct judge_cut cut;

	job->cut = cut_new_bad(deaf, lost);
	while (cut_at(job->cut) < until && cut_at(job->cut) < disk_entries())
		cut_advance(job->cut);
	cut = cut_here(job);
	cut_lay(job->cut, CUT_DROPPED, 0, job->folder);
	judge_start(job->day, job->folder, &cut, &v);
	cut_free(job->cut);
	if (v.lost > 0 && v.unsound)
		return 0;
	printf("%s goes by: %s\n", what, v.words);
	return 1;
}

#define BAD_DEVICES 2
static unsigned bad_devices(struct job *job)
{
	return goes_by(job, "a device that does not sync", true, SIZE_MAX) +
	       goes_by(job, "a page that is lost", false, some_page());
}

/* -- what is asked ----------------------------------------------------------------------------- */

static enum cut_kind find_kind(const char *name)
{
	for (unsigned k = CUT_DROPPED; k <= CUT_MIXED; k++)
		if (strcmp(kinds[k], name) == 0)
			return (enum cut_kind)k;
	play_fail("dropped, kept, torn or mixed was expected, not %s", name);
}

static struct options read_options(int argc, char **argv)
{
	static const struct option known[] = {
		{ "all", no_argument, NULL, 'a' }, { "count", required_argument, NULL, 'n' },
		{ "jobs", required_argument, NULL, 'j' },
		{ "days", required_argument, NULL, 'd' }, { "seed", required_argument, NULL, 's' },
		{ "prefix", required_argument, NULL, 'p' },
		{ "kind", required_argument, NULL, 'k' }, { "case", required_argument, NULL, 'c' }, { 0 },
	};
	struct options o = { .jobs = 1, .days = 3, .seed = (uint64_t)time(NULL), 
			     .count = COUNT, .prefix = -1, .kind = CUT_KEPT };
	int option;

	while ((option = getopt_long(argc, argv, "", known, NULL)) != -1) {
		uint64_t number = optarg ? strtoull(optarg, NULL, 10) : 0;

		switch (option) {
		case 'a': o.all = true; break;
		case 'n': o.count = number; break;
		case 'j': o.jobs = number > 0 ? (unsigned)number : 1; break;
		case 'd': o.days = number > 0 ? (unsigned)number : 1; break;
		case 's': o.seed = number; break;
		case 'p': o.prefix = (int64_t)number; o.jobs = 1; break;
		case 'k': o.kind = find_kind(optarg); break;
		case 'c': o.one = number; break;
		default: exit(2);
		}
	}
	return o;
}

static uint64_t cases(const struct options *o)
{
	return o->all ? (disk_entries() + 1) * (2 + 2 * CHANCES_ALL) : o->count;
}

/* The count of what went wrong. */
static uint64_t tell(const struct job *job, uint64_t wrong)
{
	const struct counts *c = job->counts;

	wrong += c->unsound + (job->day->sweeps < 10) + (job->day->cuts == 0) + (c->tried == 0) +
		 (c->restarts == 0);
	printf("prefixes of the log, %" PRIu64 " restarts of the watch judged as well: cuts tried %"
	       PRIu64 ", acknowledged records lost %" PRIu64 ", unsound %" PRIu64 "\n", c->restarts,
	       c->tried, c->lost, c->unsound);
	printf("%" PRIu64 " passed, %" PRIu64 " failed\n",
	       c->tried + c->restarts + BAD_DEVICES - c->unsound, wrong);
	return wrong;
}

int main(int argc, char **argv)
{
	struct options o = read_options(argc, argv);
	struct day *day = day_live(o.days);
	struct job job = { .options = &o, .day = day };
	uint64_t wrong;

	setvbuf(stdout, NULL, _IOLBF, 0);
	job.counts = mmap(NULL, sizeof(*job.counts), PROT_READ | PROT_WRITE,
			  MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	printf("%u sweeps and %u power cuts: %" PRIu64 " records in %" PRIu64 " commits, %zu writes, "
	       "syncs and names logged; seed %" PRIu64 "\n", day->sweeps, day->cuts, day->records,
	       day->batches, disk_entries(), o.seed);
	job.restart_every = cases(&o) / (o.all ? RESTARTS_ALL : RESTARTS);
	if (o.prefix >= 0 || job.restart_every == 0)
		job.restart_every = 1;
	disk_hasten(true);
	mallopt(M_MMAP_THRESHOLD, 1 << 20); /* a writer's rings are not zeroed by hand */
	wrong = (uint64_t)run_jobs(&job, o.jobs);
	if (wrong > 0)
		printf("%" PRIu64 " jobs ended before their time\n", wrong);
	make_folder(&job);
	wrong = tell(&job, wrong + bad_devices(&job));
	day_free(day);
	return wrong > 0;
}
