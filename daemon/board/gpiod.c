/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Lines of GPIO chips, the same for both versions of libgpiod.
 *
 * Edges come stamped by the kernel in CLOCK_MONOTONIC, and may be missing: the kernel's queues
 * are short, and the older interface drops the newest without a word. So the level itself is read
 * again after requesting, after a burst, when edges are missing or do not alternate, and on a slow
 * tick; only what differs from the last known level is passed on. An edge that is older than the
 * last reading of its line is told by that reading already.
 *
 * Each line is requested by itself, so that one that cannot be had leaves the others alone.
 */
#include <dirent.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <time.h>

#include "board_internal.h"

#define TICK_MS 60000
#define RETRY_MS 5000
#define BURST 8 /* edges of one line in one read, after which its level is read again */
#define NS_PER_MS 1000000

struct gpio_line {
	struct pw_gpio_port port;
	char path[PW_CHIP_PATH_MAX]; /* where it was found last */
	unsigned offset;
	bool held;
	int64_t read_ns; /* CLOCK_MONOTONIC before its level was read last */
};

struct pw_gpiod {
	struct pw_board board; /* first: the board is the whole */
	int64_t tick_ms, retry_ms;
	bool look; /* at every line that is held, whether it is still there */
	struct gpio_line line[PW_LINES];
};

static struct pw_gpiod *gpiod_of(struct pw_board *b)
{
	return (struct pw_gpiod *)b;
}

void pw_gpio_clocks(int64_t *mono_ns, int64_t *boot_ns)
{
	struct timespec mono, boot;

	clock_gettime(CLOCK_MONOTONIC, &mono);
	clock_gettime(CLOCK_BOOTTIME, &boot);
	*mono_ns = (int64_t)mono.tv_sec * 1000000000 + mono.tv_nsec;
	*boot_ns = (int64_t)boot.tv_sec * 1000000000 + boot.tv_nsec;
}

size_t pw_gpio_chips(char path[][PW_CHIP_PATH_MAX], size_t max)
{
	DIR *dir = opendir("/dev");
	const struct dirent *d;
	size_t n = 0;

	if (!dir)
		return 0;
	while (n < max && (d = readdir(dir)) != NULL)
		if (strncmp(d->d_name, "gpiochip", 8) == 0 && strlen(d->d_name) < 32)
			snprintf(path[n++], PW_CHIP_PATH_MAX, "/dev/%.31s", d->d_name);
	closedir(dir);
	return n;
}

/* -- faults in words --------------------------------------------------------------------------- */

static const struct trouble {
	int error;
	const char *what, *remedy, *key;
} troubles[] = {
	{ENOENT, "is not there", "connect the chip", "chip"},
	{ENODEV, "is not on a GPIO chip", "connect the chip", "chip"},
	{ENOTTY, "is not on a GPIO chip", "connect the chip", "chip"},
	{EACCES, "may not be opened", "let this program's user open the chip", "chip"},
	{EPERM, "may not be opened", "let this program's user open the chip", "chip"},
	{ERANGE, "does not exist", "count the chip's lines", "offset"},
	{ENXIO, "cannot tell edges", "wire it to a line that has interrupts", "offset"},
};

static const char *base_name(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

/* The line could not be requested; user: who holds it. */
static void say_refused(struct pw_gpiod *g, unsigned i, int error, const char *user)
{
	const struct pw_line_policy *lp = &g->board.policy->line[i];
	const char *chip = base_name(g->line[i].path);
	char *fault = g->board.fault[i];

	if (error == EBUSY) {
		snprintf(fault, PW_FAULT_MAX,
			 "%s line %u for %s is in use by \"%s\": free it or change %s", chip,
			 g->line[i].offset, lp->name, user, lp->label[0] ? "name" : "offset");
		return;
	}
	for (size_t t = 0; t < sizeof(troubles) / sizeof(troubles[0]); t++) {
		if (troubles[t].error != error)
			continue;
		snprintf(fault, PW_FAULT_MAX, "%s line %u for %s %s: %s or change %s", chip,
			 g->line[i].offset, lp->name, troubles[t].what, troubles[t].remedy,
			 troubles[t].key);
		return;
	}
	snprintf(fault, PW_FAULT_MAX,
		 "%s line %u for %s cannot be had (%s): look at the chip and its driver", chip,
		 g->line[i].offset, lp->name, strerror(error));
}

static void say_lost(struct pw_gpiod *g, unsigned i, int error)
{
	const bool output = pw_board_is_output(g->board.policy, i);

	snprintf(g->board.fault[i], PW_FAULT_MAX,
		 "%s line %u for %s went away (%s)%s: connect the chip again",
		 base_name(g->line[i].path), g->line[i].offset, g->board.policy->line[i].name,
		 strerror(error), output ? "" : ", its last level is kept");
}

/* -- finding, taking and losing a line --------------------------------------------------------- */

static void chip_path(const char *chip, char path[PW_CHIP_PATH_MAX])
{
	snprintf(path, PW_CHIP_PATH_MAX, "%s%.64s", strchr(chip, '/') ? "" : "/dev/", chip);
}

static int say_label(struct pw_gpiod *g, unsigned i, const char *what, const char *remedy)
{
	const struct pw_line_policy *lp = &g->board.policy->line[i];

	snprintf(g->board.fault[i], PW_FAULT_MAX, "%s named \"%s\" for %s%s%s: %s", what,
		 lp->label, lp->name, lp->chip[0] ? " on " : "", base_name(lp->chip), remedy);
	return -1;
}

/* By label: on the chip named, else on all. 0, or -1 with the fault told. */
static int locate_label(struct pw_gpiod *g, unsigned i)
{
	const struct pw_gpio_api *api = g->board.kind->api;
	const struct pw_line_policy *lp = &g->board.policy->line[i];
	char path[PW_CHIPS_MAX][PW_CHIP_PATH_MAX];
	size_t chips = 1, found = 0;
	int denied = 0;

	if (lp->chip[0])
		chip_path(lp->chip, path[0]);
	else
		chips = api->chips(path, PW_CHIPS_MAX);
	for (size_t c = 0; c < chips; c++) {
		int offset = api->find(path[c], lp->label);

		if (offset == -EACCES || offset == -EPERM)
			denied = 1;
		if (offset == -ENOTUNIQ)
			found += 2;
		if (offset < 0)
			continue;
		found++;
		memcpy(g->line[i].path, path[c], PW_CHIP_PATH_MAX);
		g->line[i].offset = (unsigned)offset;
	}
	if (found == 1)
		return 0;
	if (found > 1)
		return say_label(g, i, "more than one line is", "give chip and offset instead");
	if (denied)
		return say_label(g, i, "chips may not be opened to look for the line",
				 "let this program's user open them");
	return say_label(g, i, "there is no line", "connect its chip or change name");
}

static int locate(struct pw_gpiod *g, unsigned i)
{
	const struct pw_line_policy *lp = &g->board.policy->line[i];

	if (lp->label[0])
		return locate_label(g, i);
	if (!lp->chip[0] || lp->offset < 0) {
		snprintf(g->board.fault[i], PW_FAULT_MAX,
			 "%s has no place: give chip and offset, or name, in [line %s]", lp->name,
			 lp->name);
		return -1;
	}
	chip_path(lp->chip, g->line[i].path);
	g->line[i].offset = (unsigned)lp->offset;
	return 0;
}

static void lose(struct pw_gpiod *g, unsigned i, int error, int64_t now_ms)
{
	say_lost(g, i, error);
	g->board.kind->api->release(&g->line[i].port);
	g->line[i].held = false;
	if (g->retry_ms == PW_NEVER)
		g->retry_ms = now_ms + RETRY_MS;
	g->look = true;
	if (pw_board_is_output(g->board.policy, i))
		g->board.levels &= ~(UINT32_C(1) << i);
}

static void read_level(struct pw_gpiod *g, unsigned i, int64_t now_ms)
{
	const struct pw_gpio_api *api = g->board.kind->api;
	int64_t mono_ns, boot_ns;
	int level;

	api->clocks(&mono_ns, &boot_ns);
	level = api->level(&g->line[i].port);
	if (level < 0) {
		lose(g, i, -level, now_ms);
		return;
	}
	g->line[i].read_ns = mono_ns;
	pw_board_note(&g->board, i, (unsigned)level, boot_ns / NS_PER_MS, now_ms);
}

static void write_level(struct pw_gpiod *g, unsigned i, unsigned level, int64_t now_ms)
{
	const uint32_t bit = UINT32_C(1) << i;
	int error;

	if (!g->line[i].held || ((g->board.levels & bit) != 0) == level)
		return;
	error = g->board.kind->api->set(&g->line[i].port, level);
	if (error < 0)
		lose(g, i, -error, now_ms);
	else
		g->board.levels ^= bit;
}

static int watch_fd(struct pw_gpiod *g, unsigned i)
{
	struct epoll_event ev = {.events = EPOLLIN, .data.u32 = i};

	if (epoll_ctl(g->board.epoll_fd, EPOLL_CTL_ADD, g->line[i].port.fd, &ev) < 0)
		return -errno;
	return 0;
}

/* Tries to have the line; what is in the way stands as its fault. */
static void take(struct pw_gpiod *g, unsigned i, int64_t now_ms)
{
	const struct pw_gpio_api *api = g->board.kind->api;
	const struct pw_line_policy *lp = &g->board.policy->line[i];
	const bool output = pw_board_is_output(g->board.policy, i);
	struct gpio_line *l = &g->line[i];
	char user[PW_NAME_MAX] = "";
	int error;

	if (locate(g, i) < 0)
		return;
	error = api->request(l->path, l->offset, lp, output, &l->port, user);
	if (error == 0 && !output) {
		error = watch_fd(g, i);
		if (error < 0)
			api->release(&l->port);
	}
	if (error < 0) {
		say_refused(g, i, -error, user[0] ? user : "the kernel");
		return;
	}
	l->held = true;
	g->board.fault[i][0] = '\0';
	if (output)
		write_level(g, i, g->board.outputs >> i & 1, now_ms);
	else
		read_level(g, i, now_ms);
}

static void take_missing(struct pw_gpiod *g, int64_t now_ms)
{
	g->retry_ms = PW_NEVER;
	for (unsigned i = 0; i < PW_LINES; i++) {
		if (!g->board.policy->line[i].configured)
			continue;
		if (!g->line[i].held)
			take(g, i, now_ms);
		if (!g->line[i].held)
			g->retry_ms = now_ms + RETRY_MS;
	}
}

/* -- the way of an edge ------------------------------------------------------------------------ */

/* True when all edges were new and alternated. */
static bool note_edges(struct pw_gpiod *g, unsigned i, const struct pw_gpio_edge *edge, int count,
		       int64_t now_ms)
{
	bool clean = true;
	int64_t mono_ns, boot_ns;

	g->board.kind->api->clocks(&mono_ns, &boot_ns);
	for (int e = 0; e < count; e++) {
		int64_t at_ns = edge[e].mono_ns + (boot_ns - mono_ns);

		if (edge[e].mono_ns < g->line[i].read_ns)
			continue;
		if (!pw_board_note(&g->board, i, edge[e].level, at_ns / NS_PER_MS, now_ms))
			clean = false;
	}
	return clean;
}

static void read_edges(struct pw_gpiod *g, unsigned i, int64_t now_ms)
{
	struct pw_gpio_edge edge[PW_BATCH];
	uint32_t lost = 0;
	int count = g->board.kind->api->read(&g->line[i].port, edge, &lost);
	bool clean;

	if (count < 0) {
		lose(g, i, -count, now_ms);
		return;
	}
	g->board.dropped += lost;
	clean = note_edges(g, i, edge, count, now_ms);
	if (lost > 0 || count >= BURST || !clean)
		read_level(g, i, now_ms);
}

static void read_ready(struct pw_gpiod *g, int64_t now_ms)
{
	struct epoll_event ev[PW_LINES];
	int n;

	do {
		n = epoll_wait(g->board.epoll_fd, ev, PW_LINES, 0);
	} while (n < 0 && errno == EINTR);
	for (int e = 0; e < n; e++) {
		unsigned i = ev[e].data.u32;

		if (ev[e].events & EPOLLIN)
			read_edges(g, i, now_ms);
		if (g->line[i].held && (ev[e].events & (EPOLLERR | EPOLLHUP)))
			lose(g, i, ENODEV, now_ms);
	}
}

static void tick(struct pw_gpiod *g, int64_t now_ms)
{
	for (unsigned i = 0; i < PW_LINES; i++)
		if (g->line[i].held && !pw_board_is_output(g->board.policy, i))
			read_level(g, i, now_ms);
	g->look = true;
	g->tick_ms = now_ms + TICK_MS;
}

/* Chips go whole, and not every kernel wakes those who wait for their lines. As long as one line
 * is held, the chip that comes again gets another name. */
static void look(struct pw_gpiod *g, int64_t now_ms)
{
	for (unsigned i = 0; i < PW_LINES && g->look; i++) {
		int level = g->line[i].held ? g->board.kind->api->level(&g->line[i].port) : 0;

		if (level < 0)
			lose(g, i, -level, now_ms);
	}
	g->look = false;
}

static void set_next(struct pw_gpiod *g)
{
	g->board.next_ms = g->retry_ms < g->tick_ms ? g->retry_ms : g->tick_ms;
}

/* -- the kind ---------------------------------------------------------------------------------- */

static int gpiod_open(struct pw_board *b, const char *place, int64_t now_ms, char *why,
		      size_t size)
{
	struct pw_gpiod *g = gpiod_of(b);

	(void)place;
	(void)why;
	(void)size;
	g->tick_ms = now_ms + TICK_MS;
	take_missing(g, now_ms);
	set_next(g);
	return 0;
}

static void gpiod_read(struct pw_board *b, int64_t now_ms)
{
	struct pw_gpiod *g = gpiod_of(b);

	read_ready(g, now_ms);
	if (now_ms >= g->retry_ms)
		take_missing(g, now_ms);
	if (now_ms >= g->tick_ms)
		tick(g, now_ms);
	look(g, now_ms);
	set_next(g);
}

static void gpiod_drive(struct pw_board *b, uint32_t outputs, int64_t now_ms)
{
	struct pw_gpiod *g = gpiod_of(b);

	b->outputs = outputs;
	for (unsigned i = PW_INPUTS; i < PW_LINES; i++)
		if (pw_board_is_output(b->policy, i))
			write_level(g, i, outputs >> i & 1, now_ms);
	look(g, now_ms);
	set_next(g);
}

static void gpiod_close(struct pw_board *b)
{
	struct pw_gpiod *g = gpiod_of(b);

	for (unsigned i = 0; i < PW_LINES; i++)
		if (g->line[i].held)
			b->kind->api->release(&g->line[i].port);
}

const struct pw_board_kind pw_gpiod_kind = {
	.name = "gpiod",
	.size = sizeof(struct pw_gpiod),
	.api = &pw_gpio_system,
	.open = gpiod_open,
	.read = gpiod_read,
	.drive = gpiod_drive,
	.close = gpiod_close,
};
