/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The disk fails for real under the real writer (J7): shim/shim.h. Each row of the table is run for
 * n = 1, 2, ... until nothing fails any more, a world of its own for each n.
 *
 *	test_shim            what `make test` has time for
 *	test_shim --whole    every row
 *	test_shim ROW N      one world
 *
 * $SHIM_JOBS: how many at once. $SHIM_TELL: every call is told.
 */
#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <sched.h>
#include <signal.h>
#include <sqlite3.h>
#include <sys/mman.h>
#include <sys/sendfile.h>
#include <sys/stat.h>

#include "look.h"
#include "shim/many.h"
#include "shim/shim.h"

#define STALL_MS 10000
#define WAITED_MS 2500 /* a record that has waited so long is told of */
#define SHOWN_MS 3000  /* a fault is shown within this */
#define RETRY_MS 1000 /* the writer's, after trouble with the disk */
#define OUTSIDE_MS 300
#define SETTLE_MS 20

enum start {
	FRESH = 1, /* an empty folder; n counts from the launch */
	AGAIN,     /* power went while it was overdue; n counts from the launch that follows */
	STOPPED,   /* the same after an orderly stop */
	OWED       /* n counts from a sweep that is owed, and comes due by the clock */
};

struct row {
	const char *name;
	enum start start;
	int error, stall_ms;
	bool for_good;
	int most;      /* n; 0: until it is clean */
	int test_most; /* the same in `make test`; -1: not there at all */
	int least;     /* so many calls are struck, or the shim is not in the way */
};

static const struct row rows[] = {
	{ "stall", FRESH, 0, STALL_MS, false, 0, 0, 16 },
	{ "stall-owed", OWED, 0, STALL_MS, true, 1, 1, 1 },
	{ "eio-once", FRESH, EIO, 0, false, 0, 0, 100 },
	{ "enospc-good", FRESH, ENOSPC, 0, true, 0, 0, 90 },
	{ "eio-good", FRESH, EIO, 0, true, 0, -1, 100 },
	{ "enospc-once", FRESH, ENOSPC, 0, false, 0, -1, 90 },
	{ "eio-once-owed", OWED, EIO, 0, false, 0, 4, 4 },
	{ "enospc-good-owed", OWED, ENOSPC, 0, true, 0, 4, 4 },
	{ "eio-good-owed", OWED, EIO, 0, true, 0, -1, 40 },
	{ "enospc-once-owed", OWED, ENOSPC, 0, false, 0, -1, 40 },
	{ "eio-once-again", AGAIN, EIO, 0, false, 0, -1, 40 },
	{ "enospc-good-again", AGAIN, ENOSPC, 0, true, 0, -1, 40 },
	{ "eio-good-again", AGAIN, EIO, 0, true, 0, -1, 40 },
	{ "enospc-once-again", AGAIN, ENOSPC, 0, false, 0, -1, 40 },
	{ "eio-good-stopped", STOPPED, EIO, 0, true, 0, -1, 40 },
	{ "stall-again", AGAIN, 0, STALL_MS, false, 0, -1, 8 },
};
#define ROWS (sizeof(rows) / sizeof(rows[0]))

struct disk {
	struct world *w;
	struct shim *s;
	const struct row *row;
	int n;
	int64_t alarm_ms;
	size_t said; /* how far it has been read for the fault */
	bool was_shown;
};

/* -- the disk ---------------------------------------------------------------------------------- */

static void beside(char path[PATH_MAX], const char *name)
{
	ssize_t n = readlink("/proc/self/exe", path, PATH_MAX - 64);

	assert_true(n > 0);
	path[n] = '\0';
	strcpy(strrchr(path, '/') + 1, name);
	assert_int_equal(access(path, R_OK), 0);
}

static void disk_make(struct disk *d)
{
	char path[PATH_MAX];
	int fd;

	snprintf(path, sizeof(path), "%s/shim", d->w->dir);
	fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	assert_true(fd >= 0);
	assert_int_equal(ftruncate(fd, sizeof(*d->s)), 0);
	d->s = mmap(NULL, sizeof(*d->s), PROT_READ | PROT_WRITE, MAP_SHARED, fd, 0);
	assert_ptr_not_equal(d->s, MAP_FAILED);
	close(fd);
	snprintf(d->s->dir, sizeof(d->s->dir), "%s", d->w->state);
	setenv("POSTWALK_SHIM", path, 1); /* for the programs that this one starts */
	beside(path, "shim.so");
	setenv("LD_PRELOAD", path, 1);
}

static void disk_fails(struct disk *d)
{
	d->s->error = d->row->error;
	d->s->stall_ms = d->row->stall_ms;
	d->s->for_good = d->row->for_good;
	d->s->nth = d->n;
}

static void disk_is_well(struct disk *d)
{
	d->s->nth = 0;
}

static const struct shim_call *first_struck(const struct disk *d)
{
	for (int i = 0; i < SHIM_CALLS && i < d->s->calls; i++)
		if (d->s->call[i].struck)
			return &d->s->call[i];
	return NULL;
}

static void tell_calls(const struct disk *d)
{
	for (int i = 0; i < SHIM_CALLS && i < d->s->calls; i++)
		printf("\t%d %s %s%s\n", i + 1, d->s->call[i].what, d->s->call[i].name,
		       d->s->call[i].struck ? " struck" : "");
}

/* -- a sweep ----------------------------------------------------------------------------------- */

/* R13, `at_once`: the service door opens, and it is overdue. */
static void leave_at_once(struct disk *d)
{
	int64_t off_ms = world_key_off(d->w);

	world_hears(d->w, "beeper", 0, off_ms, off_ms + PATIENCE_MS); /* the prompt's pause */
	world_set(d->w, "service_door=1");
	d->alarm_ms = d->w->sent_ms;
}

static void hear_alarm(struct disk *d, int64_t on_ms, int64_t began_ms)
{
	struct world *w = d->w;

	assert_at(world_hears(w, "beeper", 1, on_ms - SETTLE_MS, on_ms + PATIENCE_MS), on_ms);
	assert_at(world_hears(w, "horn", 1, on_ms, on_ms + PATIENCE_MS), began_ms + OUTSIDE_MS);
}

static void start_fresh(struct disk *d)
{
	disk_fails(d);
	world_start(d->w);
	leave_at_once(d);
	hear_alarm(d, d->alarm_ms + SETTLE_MS, d->alarm_ms);
}

static void start_again(struct disk *d)
{
	world_start(d->w);
	leave_at_once(d);
	hear_alarm(d, d->alarm_ms + SETTLE_MS, d->alarm_ms);
	page_settles(d->w);
	if (d->row->start == STOPPED) {
		assert_int_equal(world_stop(d->w), 0);
	} else {
		world_signal(d->w->watch, SIGSTOP); /* both at once: nobody tidies up */
		world_signal(d->w->writer, SIGKILL);
		world_cut(d->w);
	}
	disk_fails(d);
	world_start_again(d->w);
	world_says(d->w, "rung outside", NULL, d->w->ready_ms + 500); /* R20: at once */
	d->alarm_ms = d->w->ready_ms;
}

static void start_owed(struct disk *d)
{
	world_start(d->w);
	d->alarm_ms = world_key_off(d->w) + world_due_ms(d->w);
	page_settles(d->w);
	disk_fails(d);
	hear_alarm(d, d->alarm_ms, d->alarm_ms);
}

static void walk_it(struct disk *d)
{
	struct world *w = d->w;
	size_t from = w->said_len;

	world_tap(w);
	world_says(w, "press acknowledged", &from, now_ms() + 500);
	world_until(w, w->sent_ms + 150); /* the walk back is 50 ms */
	/* the bench begins with every door closed */
	world_set(w, d->row->start == FRESH ? "service_door=0" : "service_door=1");
	world_says(w, "sweep closed: late", &from, now_ms() + 500);
}

/* -- the fault --------------------------------------------------------------------------------- */

/* Nothing waits before the watch is ready, and what failed once may have been tried again by then.
 * SQLite does not look at what a sync of the folder says (unixSync() of its os_unix.c). A sync that
 * stalls when all is acknowledged holds up nobody. */
static bool may_pass_in_silence(struct disk *d, int64_t from_ms)
{
	const struct shim_call *c = first_struck(d);

	if (d->row->for_good)
		return false;
	if (d->row->stall_ms == 0)
		return d->s->struck_ms <= d->w->ready_ms
		       || (strcmp(c->what, "fdatasync") == 0 && strcmp(c->name, ".") == 0);
	world_until(d->w, from_ms + WAITED_MS);
	return page_kept(d->w, "waiting") == 0;
}

static void fault_is_shown(struct disk *d)
{
	struct world *w = d->w;
	int64_t from_ms = d->s->struck_ms > d->alarm_ms ? d->s->struck_ms : d->alarm_ms;

	if (may_pass_in_silence(d, from_ms) && !world_said(w, "fault journal:"))
		return;
	world_says(w, "fault journal: ", &d->said, from_ms + SHOWN_MS);
	d->was_shown = true;
	if (d->row->for_good || d->row->stall_ms > 0)
		assert_true(page_shows(w, "journal", "not reaching the disk"));
}

/* As long as no sync gets through, nothing can be acknowledged. */
static void it_is_not_over_before_the_disk_is_well(const struct disk *d)
{
	if (d->row->for_good && world_said(d->w, "fault journal is over"))
		fail_msg("the fault was over with the disk as it was:\n%s", d->w->said);
}

static void fault_is_over(struct disk *d)
{
	int64_t until_ms = now_ms() + 4 * RETRY_MS;

	if (d->row->stall_ms > 0)
		until_ms += STALL_MS;
	while (page_shows(d->w, "journal", ""))
		if (now_ms() >= until_ms)
			fail_msg("the fault is not over; said:\n%s", d->w->said);
	if (d->was_shown)
		world_says(d->w, "fault journal is over", &d->said, now_ms() + 100);
}

/* -- what is on the disk ----------------------------------------------------------------------- */

static void assert_pragma(sqlite3 *db, const char *pragma, const char *answer)
{
	sqlite3_stmt *s = NULL;

	assert_int_equal(sqlite3_prepare_v2(db, pragma, -1, &s, NULL), SQLITE_OK);
	assert_int_equal(sqlite3_step(s), SQLITE_ROW);
	assert_string_equal((const char *)sqlite3_column_text(s, 0), answer);
	sqlite3_finalize(s);
}

/* J1. */
static void sqlite_finds_it_sound(const struct world *w)
{
	char path[128];
	sqlite3 *db;

	snprintf(path, sizeof(path), "%s/journal.db", w->state);
	assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READONLY, NULL), SQLITE_OK);
	assert_pragma(db, "PRAGMA integrity_check", "ok");
	assert_pragma(db, "PRAGMA journal_mode", "wal");
	sqlite3_close(db);
}

static void lose(const struct shim_file *f, const char *dir)
{
	char path[160], *zeros;
	off_t size;
	int fd;

	snprintf(path, sizeof(path), "%s/%s", dir, f->name);
	fd = open(path, O_RDWR | O_CLOEXEC);
	size = fd >= 0 ? lseek(fd, 0, SEEK_END) : 0;
	for (unsigned i = 0; i < f->lost.count; i++) {
		const struct shim_range *r = &f->lost.at[i];
		off_t to = r->to < size ? r->to : size;

		if (to <= r->from)
			continue;
		zeros = calloc(1, (size_t)(to - r->from));
		assert_non_null(zeros);
		assert_true(pwrite(fd, zeros, (size_t)(to - r->from), r->from) == to - r->from);
		free(zeros);
	}
	if (fd >= 0)
		close(fd);
}

static void copy(const char *from, const char *to)
{
	int in = open(from, O_RDONLY | O_CLOEXEC);
	int out = open(to, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0600);
	ssize_t n;

	assert_true(in >= 0 && out >= 0);
	while ((n = sendfile(out, in, NULL, 1 << 20)) > 0)
		;
	assert_int_equal(n, 0);
	close(in);
	close(out);
}

/* The folder as it is, without what is made anew at each start: the index of the log. */
static void copy_folder(const char *from, const char *to)
{
	char in[PATH_MAX], out[PATH_MAX];
	DIR *folder = opendir(from);
	struct dirent *e;

	assert_non_null(folder);
	assert_int_equal(mkdir(to, 0700), 0);
	while ((e = readdir(folder))) {
		if (e->d_type != DT_REG || strcmp(e->d_name, "journal.db-shm") == 0)
			continue;
		snprintf(in, sizeof(in), "%s/%s", from, e->d_name);
		snprintf(out, sizeof(out), "%s/%s", to, e->d_name);
		copy(in, out);
	}
	closedir(folder);
}

/* Neither error is damage. */
static void nothing_was_put_aside(const struct world *w)
{
	DIR *folder = opendir(w->state);
	struct dirent *e;

	assert_non_null(folder);
	while ((e = readdir(folder)))
		if (strstr(e->d_name, "damaged"))
			fail_msg("%s was put aside", e->d_name);
	closedir(folder);
}

/* What would stand if power went now: without what a sync refused. All that was acknowledged. */
static void the_disk_itself_holds(struct disk *d, uint64_t kept)
{
	static struct world cut;

	assert_false(d->s->full);
	cut = *d->w;
	snprintf(cut.state, sizeof(cut.state), "%.60s/cut", d->w->dir);
	copy_folder(d->w->state, cut.state);
	for (size_t i = 0; i < SHIM_FILES; i++)
		if (d->s->file[i].lost.count > 0)
			lose(&d->s->file[i], cut.state);
	assert_true(journal_is_whole(&cut) >= kept);
	sqlite_finds_it_sound(&cut);
}

/* The fault came and went as often; a stall is one. Where the disk struck at the stop, it may stand. */
static void the_fault_is_told(struct disk *d, bool before_the_stop)
{
	unsigned on = journal_count(d->w, PW_K_FAULT, "\"name\":\"journal\",\"on\":true");
	unsigned off = journal_count(d->w, PW_K_FAULT, "\"name\":\"journal\",\"on\":false");

	assert_in_range(on - off, 0, !before_the_stop);
	if (before_the_stop)
		assert_int_equal(on > 0, d->was_shown);
	if (d->row->stall_ms > 0)
		assert_true(on <= 1);
}

static void the_journal_holds(struct disk *d, uint64_t kept, bool before_the_stop)
{
	const struct world *w = d->w;

	assert_true(journal_is_whole(w) >= kept);
	sqlite_finds_it_sound(w);
	journal_sweep(w, 1, "late", d->row->start == OWED ? "" : "door_before_press");
	assert_int_equal(journal_count(w, PW_K_SWEEP, ""), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "prompt"), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_LOST, ""), 0);
	nothing_was_put_aside(w);
	the_fault_is_told(d, before_the_stop);
}

/* Until all is acknowledged (or the disk strikes). The number of the last record on the disk. */
static uint64_t settled(struct disk *d, bool or_struck)
{
	int64_t until_ms = now_ms() + PATIENCE_MS;
	json_int_t waiting, kept;
	json_t *status, *journal;

	do {
		if (now_ms() >= until_ms)
			fail_msg("records still wait; said:\n%s", d->w->said);
		status = world_status(d->w);
		journal = json_object_get(status, "journal");
		waiting = json_integer_value(json_object_get(journal, "waiting"));
		kept = json_integer_value(json_object_get(journal, "kept"));
		json_decref(status);
	} while (waiting > 0 && !(or_struck && d->s->struck > 0));
	return (uint64_t)kept;
}

/* -- one world --------------------------------------------------------------------------------- */

static void one(void **state)
{
	static void (*const starts[])(struct disk *) = {
		[FRESH] = start_fresh, [AGAIN] = start_again,
		[STOPPED] = start_again, [OWED] = start_owed,
	};
	struct disk *d = *state;
	bool before_the_stop;
	uint64_t kept;

	starts[d->row->start](d);
	walk_it(d);
	kept = settled(d, true);
	before_the_stop = d->s->struck > 0;
	if (before_the_stop) {
		fault_is_shown(d);
		it_is_not_over_before_the_disk_is_well(d);
		disk_is_well(d);
		fault_is_over(d);
		kept = settled(d, false);
	}
	the_disk_itself_holds(d, kept);
	assert_int_equal(world_stop(d->w), 0);
	if (!before_the_stop && d->s->struck > 0) {
		disk_is_well(d);
		world_start_again(d->w);
		assert_int_equal(world_stop(d->w), 0);
	}
	the_journal_holds(d, kept, before_the_stop);
	assert_int_equal(d->s->reused, 0);
	if (d->s->struck > 0)
		printf("\t%s %s %s\n", first_struck(d)->what, first_struck(d)->name,
		       !before_the_stop ? "at the stop" : d->was_shown ? "shown" : "in silence");
}

/* A port that none of the worlds beside this one takes, not even between two starts: below those that
 * the kernel gives out (ip(7), ip_local_port_range). */
static int port_of_our_own(void)
{
	struct sockaddr_in a = { .sin_family = AF_INET, .sin_addr.s_addr = htonl(INADDR_LOOPBACK) };
	int port = 10000 + getpid() % 20000, fd, taken;

	do {
		port++;
		fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
		a.sin_port = htons((uint16_t)port);
		taken = bind(fd, (struct sockaddr *)&a, sizeof(a)) < 0;
		close(fd);
	} while (taken);
	return port;
}

static int make_disk(void **state)
{
	struct disk *d = *state;
	void *w;
	int result = world_setup(&w);

	d->w = w;
	d->w->port = port_of_our_own();
	d->w->choose.aisle_m = "0.05";
	d->w->choose.due_s = "5.1";
	d->w->choose.restart_s = "4"; /* so that a start at once is a dip (R20) */
	d->w->choose.outside_s = "0.3";
	if (d->row->start != OWED)
		d->w->choose.more = "[sweep]\ndoor_rule = at_once\n";
	if (result == 0)
		disk_make(d);
	return result;
}

static int end_disk(void **state)
{
	struct disk *d = *state;
	void *w = d->w;

	if (getenv("SHIM_TELL")) {
		tell_calls(d);
		printf("%s", d->w->said);
	}
	return world_teardown(&w);
}

/* What is heard is stamped when it is read: first come, first read, whatever else runs here. */
static void go_first(void)
{
	const struct sched_param first = { .sched_priority = 1 };

	sched_setscheduler(0, SCHED_RR | SCHED_RESET_ON_FORK, &first); /* where that may be had */
}

static int run_one(const char *name, int n)
{
	struct disk d = { .n = n };
	const struct CMUnitTest test[] = {
		{ name, one, make_disk, end_disk, &d },
	};

	for (size_t i = 0; i < ROWS; i++)
		if (strcmp(rows[i].name, name) == 0)
			d.row = &rows[i];
	if (!d.row || n < 1) {
		fprintf(stderr, "expected a row of the table and n from 1 on\n");
		return 2;
	}
	go_first();
	if (cmocka_run_group_tests(test, NULL, NULL) != 0)
		return 1;
	return d.s->struck > 0 ? 0 : MANY_MISSED;
}

/* -- all of them ------------------------------------------------------------------------------- */

static void a_disk_that_fails_delays_no_alarm_and_loses_nothing_J7(void **state)
{
	const struct many_row *r = *state;

	print_message("%s: %d calls failed, one world each; %d worlds did not hold\n", r->name,
		      r->struck + r->bad, r->bad);
	assert_int_equal(r->bad, 0);
	for (size_t i = 0; i < ROWS; i++)
		if (strcmp(rows[i].name, r->name) == 0)
			assert_true(r->struck >= rows[i].least);
}

int main(int argc, char **argv)
{
	struct many_row run[ROWS] = { 0 };
	struct CMUnitTest tests[ROWS];
	bool whole = argc == 2 && strcmp(argv[1], "--whole") == 0;
	const char *jobs = getenv("SHIM_JOBS");
	size_t count = 0;

	if (argc == 3)
		return run_one(argv[1], atoi(argv[2]));
	for (size_t i = 0; i < ROWS; i++) {
		if (!whole && rows[i].test_most < 0)
			continue;
		run[count] = (struct many_row){ .name = rows[i].name, .next = 1,
			.waits = rows[i].stall_ms > 0,
			.most = whole ? rows[i].most : rows[i].test_most };
		tests[count] = (struct CMUnitTest){ rows[i].name,
			a_disk_that_fails_delays_no_alarm_and_loses_nothing_J7, NULL, NULL,
			&run[count] };
		count++;
	}
	many_run(run, count, jobs ? atoi(jobs) : 14);
	return _cmocka_run_group_tests("a disk that fails", tests, count, NULL, NULL);
}
