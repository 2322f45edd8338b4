/* SPDX-License-Identifier: Apache-2.0 */
/* record_watch.h - a watch for tests: it notes numbered records and turns until they are kept. */
#ifndef TEST_RECORD_WATCH_H
#define TEST_RECORD_WATCH_H

#include <signal.h>
#include <sched.h>
#include <sys/wait.h>
#include <time.h>

#include "record_disk.h"
#include "record_help.h"

#define PATIENCE_MS 60000 /* until a test that waits for an event gives up */

static const struct pw_pace quick = { .retry_ms = 1, .stamp_ms = 1000000 };

/* -- a watch ----------------------------------------------------------------------------------- */

struct watch {
	const struct folder *f;
	struct pw_writer *w;
	int64_t now_ms; /* what the writer's side is told */
	int64_t noted;  /* records so far: their numbers are 1, 2, ... */
};

static inline int64_t real_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static inline struct watch start_at(const struct folder *f, const struct pw_pace *pace)
{
	struct watch x = { .f = f, .now_ms = 1000 };

	assert_int_equal(pw_writer_start_at(f->path, BUS, pace, &x.w), 0);
	return x;
}

static inline void note_and_keep(struct watch *x, int records, enum pw_phase p)
{
	struct pw_state s = phase(p);

	for (int i = 0; i < records; i++) {
		struct pw_note n = numbered(++x->noted);

		pw_writer_note(x->w, &n);
	}
	s.key_on_ms = x->noted;
	pw_writer_keep(x->w, &s, x->now_ms, 1790000000000 + x->now_ms);
}

/* One turn of a loop: waits for the writer, or moves the clock on where the clock is waited for. */
static inline void turn(struct watch *x)
{
	struct pollfd one = { .fd = pw_writer_fd(x->w), .events = POLLIN };
	siginfo_t info;

	if (pw_writer_wants_out(x->w))
		one.events = POLLIN | POLLOUT;
	if (one.fd >= 0)
		poll(&one, 1, PATIENCE_MS);
	else if (pw_writer_pid(x->w) > 0)
		waitid(P_PID, (id_t)pw_writer_pid(x->w), &info, WEXITED | WNOWAIT);
	else
		x->now_ms = pw_writer_next_ms(x->w);
	pw_writer_tend(x->w, x->now_ms);
}

static inline void settle(struct watch *x)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	pw_writer_tend(x->w, x->now_ms);
	while (pw_writer_waiting(x->w) > 0 || pw_writer_next_ms(x->w) != PW_NEVER) {
		if (real_ms() > deadline_ms)
			fail_msg("%" PRIu32 " still waiting: %s", pw_writer_waiting(x->w),
				 pw_writer_fault(x->w) ? pw_writer_fault(x->w) : "no fault");
		turn(x);
	}
}

/* Turns until the fault says this. */
static inline void until_fault(struct watch *x, const char *words)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	while (pw_writer_fault(x->w) == NULL || strstr(pw_writer_fault(x->w), words) == NULL) {
		if (real_ms() > deadline_ms)
			fail_msg("\"%s\" is not said: %s", words,
				 pw_writer_fault(x->w) ? pw_writer_fault(x->w) : "no fault");
		turn(x);
	}
}

static inline void until_well(struct watch *x)
{
	const int64_t deadline_ms = real_ms() + PATIENCE_MS;

	while (pw_writer_fault(x->w) != NULL) {
		if (real_ms() > deadline_ms)
			fail_msg("%s", pw_writer_fault(x->w));
		turn(x);
	}
}

/* A note of that kind, with nothing much in it. */
static inline struct pw_note plain(enum pw_kind kind)
{
	struct pw_note n = numbered(1);

	if (kind == PW_K_SWEEP)
		return walked(1);
	memset(&n.of, 0, sizeof(n.of));
	n.kind = (uint16_t)kind;
	if (kind == PW_K_RUNG)
		strcpy(n.of.rung.name, "cabin");
	if (kind == PW_K_FAULT)
		strcpy(n.of.fault.name, "button_held");
	if (kind == PW_K_BOOT)
		n.of.boot.clock = PW_CLOCK_FIRST, n.of.boot.reset = PW_RESET_FIRST;
	return n;
}

/* One batch of these, committed. */
static inline void batch(struct watch *x, enum pw_kind kind, int records, enum pw_phase p)
{
	struct pw_note n = plain(kind);
	struct pw_state s = phase(p);

	n.mono_ms = x->now_ms;
	n.wall_ms = 1790000000000 + x->now_ms;
	for (int i = 0; i < records; i++)
		pw_writer_note(x->w, &n);
	pw_writer_keep(x->w, &s, x->now_ms, 1790000000000 + x->now_ms);
	settle(x);
}

/* Orderly: what is kept is committed, and the file is at rest. */
static inline void stop(struct watch *x)
{
	settle(x);
	pw_writer_stop(x->w, PATIENCE_MS);
	assert_false(exists(x->f, "journal.db-wal"));
}

/* What was noted is there, once and in order, after the first `before` records. */
static inline void assert_numbers(const struct folder *f, int64_t from, int64_t to, uint64_t before)
{
	char answer[128], expected[128];

	assert_int_equal(assert_chain(f), before + (uint64_t)(to - from + 1));
	snprintf(expected, sizeof(expected), "%" PRId64 "|%" PRId64 "|%" PRId64 "|0", from, to,
		 to - from + 1);
	ask(answer, sizeof(answer),
	    "sqlite3 -readonly '%s' \"WITH n AS (SELECT seq - %" PRIu64 " AS at,"
	    " json_extract(body, '$.at_ms') AS v FROM record WHERE kind = 'excused')"
	    " SELECT min(v), max(v), count(*), sum(v <> at + %" PRId64 " - 1) FROM n\"",
	    in(f, "journal.db"), before, from);
	assert_string_equal(answer, expected);
}

static inline struct pw_kept_state kept_of(struct watch *x)
{
	struct pw_kept_state kept;

	assert_int_equal(pw_writer_kept(x->w, PATIENCE_MS, &kept), 0);
	return kept;
}

#endif
