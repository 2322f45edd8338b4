/* SPDX-License-Identifier: Apache-2.0 */
/* postwalkd: the watch of one bus. Start is an ordered list, the stop its mirror. */
#include <errno.h>
#include <getopt.h>
#include <sched.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "bus_internal.h"

#define STATE_DIR "/var/lib/postwalk"
#define KEPT_WAIT_MS 3000 /* far less than any walk; edges wait meanwhile */
#define STOP_WAIT_MS 2000
#define BAD_START 2

static int usage(FILE *to)
{
	fputs("usage: postwalkd --config FILE [--board gpiod|bench|bench:SOCKET] [--state DIR]\n"
	      "                 [--check] [--print-config]\n"
	      "  --config FILE    the yard's policy and the bus's wires\n"
	      "  --board KIND     gpiod: GPIO lines (the default); bench: a Unix socket that plays\n"
	      "                   the wires, at DIR/bench.sock or SOCKET\n"
	      "  --state DIR      where the journal is kept (" STATE_DIR ")\n"
	      "  --check          judge the policy and end: 0 it can be obeyed, 2 it cannot\n"
	      "  --print-config   print the policy as understood, defaults filled in\n", to);
	return BAD_START;
}

static int take_board(struct pw_options *o, const char *board)
{
	o->board = strcmp(board, "gpiod") == 0 ? "gpiod" : "bench";
	if (strncmp(board, "bench:", 6) == 0 && board[6] != '\0')
		o->bench = board + 6;
	else if (strcmp(board, "gpiod") != 0 && strcmp(board, "bench") != 0)
		return -1;
	return 0;
}

/* 0; 1: help was asked for; -1 */
static int read_options(int argc, char **argv, struct pw_options *o)
{
	static const struct option options[] = {
		{ "config", required_argument, NULL, 'c' }, { "board", required_argument, NULL, 'b' },
		{ "state", required_argument, NULL, 's' },  { "check", no_argument, NULL, 'k' },
		{ "print-config", no_argument, NULL, 'p' }, { "help", no_argument, NULL, 'h' },
		{ 0 },
	};
	int c, bad = 0;

	*o = (struct pw_options){ .board = "gpiod", .state = STATE_DIR };
	while ((c = getopt_long(argc, argv, "", options, NULL)) != -1) {
		switch (c) {
		case 'c':
			o->config = optarg;
			break;
		case 'b':
			bad |= take_board(o, optarg);
			break;
		case 's':
			o->state = optarg;
			break;
		case 'k':
			o->check = true;
			break;
		case 'p':
			o->print = true;
			break;
		case 'h':
			return 1;
		default:
			bad = -1;
		}
	}
	return bad || optind != argc || !o->config ? -1 : 0;
}

static void print_policy(const struct pw_policy *p)
{
	char line[400];
	const char *between = "";

	for (int cursor = 0; pw_policy_print(p, &cursor, line, sizeof(line));) {
		printf("%s%s\n", line[0] == '[' ? between : "", line);
		between = "\n";
	}
}

/* What can be obeyed and yet will hardly be what was meant. */
static void advise(const struct pw_policy *p)
{
	uint32_t heard = 1u << PW_BEEPER | 1u << PW_HORN;
	bool any = false;

	for (unsigned i = PW_BEEPER; i < PW_LINES; i++)
		any = any || (p->line[i].configured && (heard >> i & 1));
	if (!any)
		pw_warn("neither [line beeper] nor [line horn] is there: this bus has nothing to be "
			"heard with");
	for (unsigned i = PW_PROMPT; i < PW_LADDER + p->rungs; i++)
		for (unsigned k = PW_BEEPER; any && k < PW_LINES; k++)
			if ((p->signal[i].outputs >> k & 1) && !p->line[k].configured)
				pw_warn("[rung %s] drives %s, and there is no [line %s]",
					p->signal[i].name, p->line[k].name, p->line[k].name);
}

static int load(struct pw_bus *b)
{
	char why[400];

	if (pw_policy_load(b->options->config, true, &b->active.policy, b->active.hash,
			   b->active.text, why, sizeof(why)) == 0)
		return 0;
	fprintf(stderr, "%s\n", why);
	return -1;
}

static int alone(struct pw_bus *b)
{
	const char *state = b->options->state;
	long pid = 0;
	int got = pw_lock(state, &b->lock, &pid);

	if (got == 1) {
		pw_err("another postwalkd (process %ld) keeps its state in %s: stop it, or name "
		       "another folder by --state", pid, state);
		return -1;
	}
	if (got < 0)
		pw_warn("%s: the state folder cannot be written: %s; the alarm works, but nothing "
			"will be kept", state, strerror(errno));
	return 0;
}

static int open_board(struct pw_bus *b)
{
	char place[200], why[300];
	const char *bench = b->options->bench;

	if (!bench) {
		snprintf(place, sizeof(place), "%.180s/bench.sock", b->options->state);
		bench = place;
	}
	if (pw_board_open(b->options->board, bench, &b->active.policy, b->now_ms, &b->board, why,
			  sizeof(why)) == 0)
		return 0;
	pw_err("%s", why);
	return -1;
}

/* Edges from before the rules are there: the levels read then say it all (R20). */
static void forget_edges(struct pw_bus *b)
{
	struct pw_edge edge[64];

	while (pw_board_read(b->board, b->now_ms, edge, 64) == 64)
		;
}

static void begin(struct pw_bus *b)
{
	struct pw_kept_state kept;

	memset(&kept, 0, sizeof(kept));
	if (pw_writer_kept(b->writer, KEPT_WAIT_MS, &kept)) {
		kept.found = false;
		pw_warn("what was kept cannot be had in time: the bus starts as if for the first time");
	}
	b->recent_count = kept.recent_count;
	memcpy(b->recent, kept.recent, sizeof(b->recent));
	pw_clock_tick(b);
	forget_edges(b);
	pw_restart(b, &kept);
}

/* Before the page and the writer whenever all of them could run; where that may not be had, as
 * any other. What it starts does not inherit it. */
static void go_first(void)
{
	const struct sched_param first = { .sched_priority = 1 };

	if (sched_setscheduler(0, SCHED_RR | SCHED_RESET_ON_FORK, &first))
		pw_info("no real-time priority: %s", strerror(errno));
}

static void init(struct pw_bus *b)
{
	go_first();
	pw_player_init(&b->player);
	pw_supervise_init(&b->supervise);
	b->sink = (struct pw_sink){ pw_effect_take, b };
	b->refused_ms = PW_NO_TIME;
	for (unsigned i = 0; i < PW_LINES; i++)
		b->changed_ms[i] = PW_NO_TIME;
	pw_clock_tick(b);
}

static int run(struct pw_bus *b)
{
	int status = BAD_START;

	init(b);
	if (pw_loop_open(b)) {
		pw_err("the loop cannot be opened: %s", strerror(errno));
		goto loop;
	}
	if (pw_writer_start(b->options->state, b->active.policy.bus,
			    (uint32_t)b->active.policy.keep_days, &b->writer)) {
		pw_err("the writer cannot be started: %s", strerror(errno));
		goto loop;
	}
	if (open_board(b))
		goto writer;
	begin(b);
	if (pw_page_start(b->active.policy.listen, &b->page))
		pw_warn("no page: %s", strerror(errno));
	pw_manager_begin(b);
	pw_info("bus %s is watched; page at http://%s", b->active.policy.bus,
		b->active.policy.listen);
	pw_loop_run(b);
	status = 0;
	pw_gate_stop(b);
	pw_tries_tell_all(b);
	b->keep = true;
	pw_feed_flush(b);
	pw_manager_tell("STOPPING=1");
	if (b->page)
		pw_page_stop(b->page);
	pw_board_close(b->board);
writer:
	pw_writer_stop(b->writer, STOP_WAIT_MS);
loop:
	pw_loop_close(b);
	return status;
}

int main(int argc, char **argv)
{
	static struct pw_bus bus;
	struct pw_options options;
	int got = read_options(argc, argv, &options);

	if (got)
		return got > 0 ? (usage(stdout), 0) : usage(stderr);
	if (sodium_init() < 0)
		return BAD_START;
	bus.options = &options;
	if (load(&bus))
		return BAD_START;
	if (options.print)
		print_policy(&bus.active.policy);
	if (options.check || options.print) {
		advise(&bus.active.policy);
		if (options.check)
			pw_info("%s: it can be obeyed", options.config);
		return 0;
	}
	advise(&bus.active.policy);
	if (alone(&bus))
		return BAD_START;
	return run(&bus);
}
