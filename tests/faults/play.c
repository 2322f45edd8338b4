/* SPDX-License-Identifier: Apache-2.0 */
#include "play.h"

#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "board/board_internal.h"

#define PATIENCE_MS 20000
#define WAITING_MANY 1000

/* The lines that replay has without a policy file. */
static const char plain_policy[] =
	"[bus]\nid = " PLAY_BUS "\n[line ignition]\n[line rear_button]\n[line rear_door]\n"
	"[line exits]\n[line service_door]\n[line lamps]\n";

void play_fail(const char *format, ...)
{
	va_list args;

	va_start(args, format);
	vfprintf(stderr, format, args);
	va_end(args);
	fputc('\n', stderr);
	abort();
}

int play_shell(const char *format, ...)
{
	char command[2048];
	va_list args;
	int status;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	status = system(command);
	return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

int play_hush(void)
{
	int said = dup(STDERR_FILENO), null = open("/dev/null", O_WRONLY | O_CLOEXEC);

	dup2(null, STDERR_FILENO);
	close(null);
	return said;
}

void play_speak(int hushed)
{
	dup2(hushed, STDERR_FILENO);
	close(hushed);
}

static int64_t real_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

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

/* Is a batch on its way? */
static bool is_busy(const struct play *p)
{
	if (p->one_by_one)
		return pw_writer_next_ms(p->bus.writer) != PW_NEVER;
	return pw_writer_waiting(p->bus.writer) > WAITING_MANY;
}

static void tend(struct play *p)
{
	const int64_t until_ms = real_ms() + PATIENCE_MS;
	struct pw_writer *w = p->bus.writer;

	if (p->before)
		p->before(p);
	pw_writer_tend(w, p->bus.now_ms);
	while (is_busy(p)) {
		struct pollfd one = { .fd = pw_writer_fd(w), .events = POLLIN };

		if (real_ms() > until_ms)
			play_fail("the writer does not answer");
		if (pw_writer_wants_out(w))
			one.events = POLLIN | POLLOUT;
		poll(&one, 1, 20);
		pw_writer_tend(w, p->bus.now_ms);
	}
	if (p->after)
		p->after(p);
}

static void tick(struct play *p, int64_t at_ms)
{
	p->bus.now_ms = at_ms;
	p->bus.wall_ms = PLAY_WALL_MS + at_ms;
}

void play_wake(struct play *p, int64_t at_ms)
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
		play_wake(p, next_ms > p->bus.now_ms ? next_ms : p->bus.now_ms);
}

void play_until(struct play *p, int64_t at_ms)
{
	run_to(p, at_ms);
	p->bus.keep = true;
	play_wake(p, at_ms > p->bus.now_ms ? at_ms : p->bus.now_ms);
}

void play_start(struct play *p, int64_t at_ms, bool clock_lost)
{
	struct pw_loaded_policy active = p->bus.active;
	struct pw_kept_state *kept = &p->kept;
	char why[200];

	memset(&p->bus, 0, sizeof(p->bus));
	p->bus.options = &p->options;
	p->bus.active = active;
	p->bus.sink = (struct pw_sink){ pw_effect_take, &p->bus };
	pw_player_init(&p->bus.player);
	tick(p, at_ms);
	if (p->before)
		p->before(p);
	if (pw_writer_start_at(p->dir, PLAY_BUS, &p->pace, &p->bus.writer) < 0)
		play_fail("no writer can be started");
	if (pw_board_open_kind(&still, NULL, &p->bus.active.policy, at_ms, &p->bus.board, why,
			       sizeof(why)) < 0)
		play_fail("%s", why);
	p->bus.board->levels = p->raw;
	if (pw_writer_kept(p->bus.writer, PATIENCE_MS, kept) < 0)
		play_fail("what was kept is not told: %s", pw_writer_fault(p->bus.writer));
	if (clock_lost) { /* another boot of the kernel, and the wall clock went back (R21) */
		strcpy(kept->boot_id, "another");
		p->bus.wall_ms = kept->wall_ms - 1;
	}
	pw_restart(&p->bus, kept);
	p->bus.wall_ms = PLAY_WALL_MS + at_ms;
	p->powered = p->begun = true;
}

void play_stop(struct play *p)
{
	pw_writer_tend(p->bus.writer, p->bus.now_ms);
	pw_writer_stop(p->bus.writer, PATIENCE_MS);
	pw_board_close(p->bus.board);
	p->powered = false;
}

/* The watch is gone as well: nobody hears of it, and nobody starts another writer. */
static void kill_writer(struct play *p)
{
	const pid_t pid = pw_writer_pid(p->bus.writer);

	if (kill(pid, SIGKILL) < 0 || waitpid(pid, NULL, 0) != pid)
		play_fail("the writer was not there to be killed");
	close(pw_writer_fd(p->bus.writer));
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
	play_until(p, alive_ms);
	if (p->cut_hard)
		kill_writer(p);
	else
		play_stop(p);
}

static void service(struct play *p, const struct pw_trace_line *l)
{
	/* as with an edge: a moment that has been judged is over */
	int64_t at_ms = l->at_ms > p->bus.judged_ms ? l->at_ms : p->bus.judged_ms + 1;

	tick(p, at_ms);
	pw_feed_service(&p->bus, l->service);
	play_wake(p, at_ms);
}

/* -- a trace ----------------------------------------------------------------------------------- */

static void feed_levels(struct play *p, const struct pw_trace_line *l)
{
	for (unsigned i = 0; i < PW_INPUTS; i++)
		if (l->mask >> i & 1)
			pw_board_note(p->bus.board, i, l->levels >> i & 1, l->at_ms, l->at_ms);
	play_wake(p, l->at_ms > p->bus.now_ms ? l->at_ms : p->bus.now_ms);
}

/* What the watch cannot keep apart within one moment makes a trace inexact. */
void play_line(struct play *p, const struct pw_trace_line *l)
{
	const bool first = !p->begun, on = p->powered;
	const bool again = on && l->at_ms <= p->bus.now_ms;

	if (first && p->bus.active.policy.line[PW_REAR_BUTTON_NC].configured)
		p->raw = 1u << PW_REAR_BUTTON_NC;
	if (on)
		run_to(p, l->at_ms - 1);
	if (l->power == PW_CUT)
		cut(p, l->at_ms);
	p->raw = (uint8_t)((p->raw & ~l->mask) | l->levels);
	if (first || l->power == PW_ON)
		play_start(p, l->at_ms, l->clock_lost);
	else if (!l->end && (again || (l->service >= 0 && l->mask)))
		p->exact = false; /* the watch has judged that moment already */
	if (p->powered && l->service >= 0)
		service(p, l);
	if (p->powered && !first && !l->power && l->mask)
		feed_levels(p, l);
	if (l->clock_lost)
		p->exact = false; /* each boot has an axis of its own then */
}

void play_trace(struct play *p, const char *path)
{
	struct pw_trace *t = pw_trace_open(path, &p->bus.active.policy);
	struct pw_trace_line l = { 0 };
	int said = play_hush(), got = -1;

	while (t && (got = pw_trace_next(t, &l)) == 1)
		play_line(p, &l);
	if (p->powered) {
		play_until(p, l.at_ms);
		play_stop(p);
	}
	play_speak(said);
	if (got != 0)
		play_fail("%s cannot be read", path);
	pw_trace_close(t);
}

/* -- J9 ---------------------------------------------------------------------------------------- */

static const char *tool(void)
{
	const char *path = getenv("POSTWALK");

	return path && path[0] ? path : "build/postwalk";
}

int play_agrees(const struct play *p, const char *trace)
{
	const char *d = p->dir, *b = p->base;

	if (play_shell("'%s' trace --records '%s' >'%s/records' && '%s' trace '%s' >'%s/trace' && "
		       "'%s' trace --policy '%s' | cmp - '%s' >&2 && "
		       "'%s' replay --config '%s' '%s/trace' | grep -v '\"standing\"' | "
		       "diff '%s/records' - >&2", tool(), d, b, tool(), d, b, tool(), d, p->conf,
		       tool(), p->conf, b, b)) {
		fprintf(stderr, "J9: < recorded, > replayed\n");
		return 1;
	}
	if (trace && play_shell("'%s' replay --config '%s' '%s' | grep -v '\"standing\"' | "
				"diff '%s/records' - >&2", tool(), p->conf, trace, b)) {
		fprintf(stderr, "%s: < recorded, > as played\n", trace);
		return 1;
	}
	return 0;
}

int play_verifies(const struct play *p)
{
	return play_shell("'%s' verify --key '%s/bus.pub' '%s' >'%s/verify' 2>&1 || "
			  "{ cat '%s/verify' >&2; exit 1; }", tool(), p->dir, p->dir, p->base, p->base);
}

/* -- life -------------------------------------------------------------------------------------- */

static void load_policy(struct play *p, const char *conf)
{
	char why[400];
	FILE *f;

	snprintf(p->conf, sizeof(p->conf), "%s/conf", p->base);
	if (conf && play_shell("cp '%s' '%s'", conf, p->conf))
		play_fail("%s cannot be copied", conf);
	if (!conf) {
		f = fopen(p->conf, "w");
		if (!f || fputs(plain_policy, f) < 0 || fclose(f))
			play_fail("%s cannot be written", p->conf);
	}
	if (pw_policy_load(p->conf, false, &p->bus.active.policy, p->bus.active.hash,
			   p->bus.active.text, why, sizeof(why)) < 0)
		play_fail("%s", why);
}

struct play *play_open(const char *base, const char *conf)
{
	struct play *p = calloc(1, sizeof(*p));

	if (!p)
		play_fail("no memory");
	snprintf(p->base, sizeof(p->base), "%s", base);
	snprintf(p->dir, sizeof(p->dir), "%s/state", base);
	p->options = (struct pw_options){ .board = "still", .state = p->dir };
	p->pace = (struct pw_pace){ .retry_ms = 100, .stamp_ms = 3600000 };
	p->exact = true;
	load_policy(p, conf);
	return p;
}

struct play *play_new(const char *base, const char *conf)
{
	if (play_shell("rm -rf '%s/state' && mkdir '%s/state'", base, base))
		play_fail("%s/state cannot be made", base);
	return play_open(base, conf);
}

void play_free(struct play *p)
{
	free(p);
}
