/* SPDX-License-Identifier: Apache-2.0 */
/*
 * J9 without real time: traces are played through the watch's own way from wire to journal
 * (daemon/bus: feed, effects, restart; the real writer and its process) on a board without wires and
 * a clock set by hand. Then journal -> trace -> replay says the same as the journal, and the same as
 * a replay of the trace that was played.
 */
#include <fcntl.h>
#include <glob.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "board/board_internal.h"
#include "bus/bus_internal.h"
#include "record/writer_internal.h"
#include "tool/tool_internal.h"
#include "world.h"

#define WALL_MS INT64_C(1900000000000) /* of the traces' second 0: after any build of today */
#define WAITING_MANY 1000

static const struct pw_pace no_stamp = { .retry_ms = 100, .stamp_ms = 3600000 };

/* The lines that replay has without a policy file. */
static const char plain_policy[] =
	"[bus]\nid = bus-9\n[line ignition]\n[line rear_button]\n[line rear_door]\n[line exits]\n"
	"[line service_door]\n[line lamps]\n";

struct play {
	char dir[48];
	struct pw_options options;
	struct pw_bus bus;
	uint8_t raw;     /* levels, while power is off as well */
	bool powered, begun;
	bool exact;      /* the watch can be told this trace moment by moment */
};

/* -- a board without wires --------------------------------------------------------------------- */

static int still_open(struct pw_board *b, const char *place, int64_t at_ms, char *why, size_t size)
{
	(void)b;
	(void)place;
	(void)at_ms;
	(void)why;
	(void)size;
	return 0;
}

static void still_read(struct pw_board *b, int64_t at_ms)
{
	(void)b;
	(void)at_ms;
}

static void still_drive(struct pw_board *b, uint32_t outputs, int64_t at_ms)
{
	(void)b;
	(void)outputs;
	(void)at_ms;
}

static void still_close(struct pw_board *b)
{
	(void)b;
}

static const struct pw_board_kind still = {
	.name = "still", .size = sizeof(struct pw_board), .open = still_open, .read = still_read,
	.drive = still_drive, .close = still_close,
};

/* -- the watch, its clock in our hands --------------------------------------------------------- */

static void tend(struct play *p)
{
	struct pw_writer *w = p->bus.writer;
	int64_t until_ms = now_ms() + PATIENCE_MS;

	pw_writer_tend(w, p->bus.now_ms);
	while (pw_writer_waiting(w) > WAITING_MANY) {
		struct pollfd one = { .fd = pw_writer_fd(w), .events = POLLIN | POLLOUT };

		assert_true(now_ms() < until_ms);
		if (!pw_writer_wants_out(w))
			one.events = POLLIN;
		poll(&one, 1, 20);
		pw_writer_tend(w, p->bus.now_ms);
	}
}

static void tick(struct play *p, int64_t at_ms)
{
	p->bus.now_ms = at_ms;
	p->bus.wall_ms = WALL_MS + at_ms;
}

/* A wake-up of the loop, as far as the rules and the journal go. */
static void wake(struct play *p, int64_t at_ms)
{
	tick(p, at_ms);
	pw_feed(&p->bus);
	pw_feed_flush(&p->bus);
	tend(p);
}

/* Wakes when the rules ask for it, up to and with until_ms. */
static void run_to(struct play *p, int64_t until_ms)
{
	int64_t next_ms;

	while ((next_ms = pw_next_ms(&p->bus.state, &p->bus.active.policy)) <= until_ms)
		wake(p, next_ms > p->bus.now_ms ? next_ms : p->bus.now_ms);
}

static void start(struct play *p, int64_t at_ms, bool clock_lost)
{
	struct pw_loaded_policy active = p->bus.active;
	struct pw_kept_state kept;
	char why[200];

	memset(&p->bus, 0, sizeof(p->bus));
	p->bus.options = &p->options;
	p->bus.active = active;
	p->bus.sink = (struct pw_sink){ pw_effect_take, &p->bus };
	pw_player_init(&p->bus.player);
	tick(p, at_ms);
	assert_int_equal(pw_writer_start_at(p->dir, "bus-9", &no_stamp, &p->bus.writer), 0);
	assert_int_equal(pw_board_open_kind(&still, NULL, &p->bus.active.policy, at_ms,
					    &p->bus.board, why, sizeof(why)), 0);
	p->bus.board->levels = p->raw;
	assert_int_equal(pw_writer_kept(p->bus.writer, PATIENCE_MS, &kept), 0);
	if (clock_lost) { /* another boot of the kernel, and the wall clock went back (R21) */
		strcpy(kept.boot_id, "another");
		p->bus.wall_ms = kept.wall_ms - 1;
	}
	pw_restart(&p->bus, &kept);
	p->bus.wall_ms = WALL_MS + at_ms;
	p->powered = true;
}

static void stop(struct play *p)
{
	pw_writer_tend(p->bus.writer, p->bus.now_ms);
	pw_writer_stop(p->bus.writer, PATIENCE_MS);
	pw_board_close(p->bus.board);
	p->powered = false;
}

/* Power goes at cut_ms: the millisecond before is the last that is known to be alive (J12). */
static void cut(struct play *p, int64_t cut_ms)
{
	int64_t alive_ms = cut_ms - 1;

	if (alive_ms < p->bus.now_ms || alive_ms < p->bus.judged_ms) {
		p->exact = false; /* not to be told: alive and cut in one millisecond */
		alive_ms = p->bus.now_ms > p->bus.judged_ms ? p->bus.now_ms : p->bus.judged_ms;
	}
	run_to(p, alive_ms);
	p->bus.keep = true;
	wake(p, alive_ms);
	stop(p);
}

static void service(struct play *p, const struct pw_trace_line *l)
{
	/* as with an edge: a moment that has been judged is over */
	int64_t at_ms = l->at_ms > p->bus.judged_ms ? l->at_ms : p->bus.judged_ms + 1;
	struct pw_note n;

	tick(p, at_ms);
	n = pw_note_new(&p->bus, PW_K_SERVICE);
	n.of.service.on = l->service != 0;
	pw_step(&p->bus.state, &p->bus.active.policy, &(struct pw_event){
		.kind = l->service ? PW_SERVICE_ON : PW_SERVICE_OFF, .at_ms = at_ms },
		&p->bus.sink);
	pw_writer_note(p->bus.writer, &n);
	p->bus.keep = true;
	wake(p, at_ms);
}

/* -- a trace ----------------------------------------------------------------------------------- */

static void feed_levels(struct play *p, const struct pw_trace_line *l)
{
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (l->mask >> i & 1)
			pw_board_note(p->bus.board, i, l->levels >> i & 1, l->at_ms, l->at_ms);
	wake(p, l->at_ms > p->bus.now_ms ? l->at_ms : p->bus.now_ms);
}

/* What the watch cannot keep apart within one moment makes a trace inexact. */
static void take_line(struct play *p, const struct pw_trace_line *l)
{
	bool again = p->begun && p->powered && l->at_ms <= p->bus.now_ms;

	if (!p->begun && p->bus.active.policy.line[PW_REAR_BUTTON_NC].configured)
		p->raw = 1u << PW_REAR_BUTTON_NC;
	if (p->begun && p->powered)
		run_to(p, l->at_ms - 1);
	if (l->power == PW_CUT)
		cut(p, l->at_ms);
	p->raw = (uint8_t)((p->raw & ~l->mask) | l->levels);
	if (!p->begun || l->power == PW_ON)
		start(p, l->at_ms, l->clock_lost);
	else if (!l->end && (again || (l->service >= 0 && l->mask)))
		p->exact = false; /* the watch has judged that moment already */
	if (p->powered && l->service >= 0)
		service(p, l);
	if (p->powered && p->begun && !l->power && l->mask)
		feed_levels(p, l);
	p->begun = true;
}

/* Words of the watch are not wanted here. */
static int hush(void)
{
	int said = dup(STDERR_FILENO), null = open("/dev/null", O_WRONLY | O_CLOEXEC);

	dup2(null, STDERR_FILENO);
	close(null);
	return said;
}

static void play(struct play *p, const char *path)
{
	struct pw_trace *t = pw_trace_open(path, &p->bus.active.policy);
	struct pw_trace_line l = { 0 };
	int said = hush(), got;

	assert_non_null(t);
	p->exact = true;
	while ((got = pw_trace_next(t, &l)) == 1) {
		take_line(p, &l);
		if (l.clock_lost)
			p->exact = false; /* each boot has an axis of its own then */
	}
	pw_trace_close(t);
	if (p->powered) {
		run_to(p, l.at_ms);
		p->bus.keep = true;
		wake(p, l.at_ms > p->bus.now_ms ? l.at_ms : p->bus.now_ms);
		stop(p);
	}
	dup2(said, STDERR_FILENO);
	close(said);
	assert_int_equal(got, 0);
}

/* -- J9 ---------------------------------------------------------------------------------------- */

static const char *tool(void)
{
	const char *path = getenv("POSTWALK");

	return path && path[0] ? path : "build/postwalk";
}

static void load_policy(struct play *p, const char *conf)
{
	char path[96], why[400];

	snprintf(path, sizeof(path), "%s/conf", p->dir);
	if (conf) {
		assert_int_equal(shell("cp '%s' '%s'", conf, path), 0);
	} else {
		FILE *f = fopen(path, "w");

		assert_non_null(f);
		fputs(plain_policy, f);
		assert_int_equal(fclose(f), 0);
	}
	if (pw_policy_load(path, false, &p->bus.active.policy, p->bus.active.hash,
			   p->bus.active.text, why, sizeof(why)))
		fail_msg("%s", why);
}

static void says_the_same(const struct play *p, const char *trace)
{
	const char *d = p->dir;

	if (shell("'%s' trace --records '%s' >'%s/records' && '%s' trace '%s' >'%s/trace' && "
		  "'%s' trace --policy '%s' | cmp - '%s/conf' && "
		  "'%s' replay --config '%s/conf' '%s/trace' | grep -v '\"standing\"' | "
		  "diff '%s/records' -", tool(), d, d, tool(), d, d, tool(), d, d, tool(), d, d, d))
		fail_msg("J9: %s: < recorded, > replayed", trace);
	if (p->exact && shell("'%s' replay --config '%s/conf' '%s' | grep -v '\"standing\"' | "
			      "diff '%s/records' -", tool(), d, trace, d))
		fail_msg("%s: < recorded, > as played", trace);
}

/* 1 when it was told exactly. */
static struct play *new_play(const char *base, const char *conf)
{
	struct play *p = calloc(1, sizeof(*p));

	assert_non_null(p);
	snprintf(p->dir, sizeof(p->dir), "%s/state", base);
	assert_int_equal(shell("rm -rf '%s' && mkdir '%s'", p->dir, p->dir), 0);
	p->options = (struct pw_options){ .board = "still", .state = p->dir };
	load_policy(p, conf);
	return p;
}

static unsigned judge(const char *base, const char *trace, const char *conf)
{
	struct play *p = new_play(base, conf);
	unsigned exact;

	play(p, trace);
	says_the_same(p, trace);
	exact = p->exact;
	free(p);
	return exact;
}

static unsigned judge_all(const char *base, const char *pattern, unsigned *exact)
{
	glob_t found = { 0 };
	char conf[512];

	*exact = 0;
	if (glob(pattern, 0, NULL, &found))
		found.gl_pathc = 0;
	for (size_t i = 0; i < found.gl_pathc; i++) {
		const char *trace = found.gl_pathv[i];

		snprintf(conf, sizeof(conf), "%.*s.conf", (int)(strlen(trace) - 6), trace);
		*exact += judge(base, trace, access(conf, R_OK) == 0 ? conf : NULL);
	}
	if (found.gl_pathv)
		globfree(&found);
	return (unsigned)found.gl_pathc;
}

static void every_scenario_is_journaled_and_judged_again_J9(void **state)
{
	unsigned exact, own, count = judge_all(*state, "tests/scenarios/*.trace", &exact);

	print_message("%u scenarios, %u of them told to the millisecond\n", count, exact);
	assert_true(count >= 15); /* G1-G14 and B10 of docs/sources.md */
	own = judge_all(*state, "tests/scenarios/own-policy/*.trace", &exact);
	print_message("%u with policies of their own, %u to the millisecond\n", own, exact);
}

/* Traces by chance and policies beside them, from tests/explore. */
static void traces_by_chance_are_journaled_and_judged_again_J9(void **state)
{
	char pattern[64];
	unsigned seed = (unsigned)now_ms() % 1000000, exact, count;
	const char *given = getenv("SEED");

	if (given)
		seed = (unsigned)atoi(given);
	print_message("seed %u\n", seed);
	assert_int_equal(shell("python3 -B tests/explore/randomtrace.py --seed %u --count 60 --out "
			       "'%s' >/dev/null", seed, (char *)*state), 0);
	snprintf(pattern, sizeof(pattern), "%s/*.trace", (char *)*state);
	count = judge_all(*state, pattern, &exact);
	print_message("%u traces, %u of them told to the millisecond\n", count, exact);
	assert_int_equal(count, 60);
}

/* A gap in the kernel's sequence numbers, or a queue that was full, is told once and stands. */
static void edges_that_were_dropped_are_told(void **state)
{
	struct play *p = new_play(*state, NULL);
	int said = hush();

	start(p, 1000, false);
	pw_faults_look(&p->bus);
	assert_int_equal(p->bus.faults, 0);
	p->bus.board->dropped = 3;
	pw_faults_look(&p->bus);
	p->bus.board->dropped = 5;
	pw_faults_look(&p->bus);
	assert_int_equal(p->bus.faults, 1);
	assert_string_equal(p->bus.fault[0].name, "edges_dropped");
	assert_memory_equal(p->bus.fault[0].words, "5 edges ", 8);
	wake(p, 1001);
	stop(p);
	dup2(said, STDERR_FILENO);
	close(said);
	assert_int_equal(shell("test \"$(sqlite3 '%s/journal.db' \"select count(*) from record where "
			       "kind = 'fault' and body like '%%edges_dropped%%'\")\" = 1", p->dir), 0);
	free(p);
}

static int make_folder(void **state)
{
	*state = strdup("/tmp/postwalk-world-XXXXXX");
	return mkdtemp(*state) ? 0 : -1;
}

static int remove_folder(void **state)
{
	shell("rm -rf '%s'", (char *)*state);
	free(*state);
	return 0;
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_scenario_is_journaled_and_judged_again_J9),
		cmocka_unit_test(traces_by_chance_are_journaled_and_judged_again_J9),
		cmocka_unit_test(edges_that_were_dropped_are_told),
	};

	return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
