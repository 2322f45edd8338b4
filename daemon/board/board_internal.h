/* SPDX-License-Identifier: Apache-2.0 */
/*
 * board_internal.h - what the files of this room share, and what its tests reach for.
 *
 * board.c keeps levels and a queue of differences; a kind (gpiod.c, bench.c) feeds it.
 * gpiod.c holds everything that is the same for both versions of libgpiod and asks the rest
 * through struct pw_gpio_api, which gpiod_v1.c, gpiod_v2.c or a test's fake fills.
 */
#ifndef PW_BOARD_INTERNAL_H
#define PW_BOARD_INTERNAL_H

#include "postwalk/board.h"
#include "postwalk/core.h"

/* -- the kinds --------------------------------------------------------------------------------- */

struct pw_gpio_api;

struct pw_board_kind {
	const char *name;
	size_t size;                   /* of the kind's struct, which begins with a pw_board */
	const struct pw_gpio_api *api; /* gpiod */
	/* b is zeroed but for kind, policy, epoll_fd. Notes the levels. 0, or -1 with why; then
	 * nothing is left open but what board.c opened. */
	int (*open)(struct pw_board *b, const char *place, int64_t now_ms, char *why, size_t size);
	void (*read)(struct pw_board *b, int64_t now_ms); /* the queue is empty */
	void (*drive)(struct pw_board *b, uint32_t outputs, int64_t now_ms);
	void (*close)(struct pw_board *b);
};

extern const struct pw_board_kind pw_gpiod_kind;
extern const struct pw_board_kind pw_bench_kind;

/* -- the board, as every kind sees it ---------------------------------------------------------- */

#define PW_BATCH 64                         /* edges taken of one line in one read */
#define PW_QUEUE (PW_LINES * (PW_BATCH + 2)) /* and two readings of its level besides */
#define PW_FAULT_MAX 240

struct pw_board {
	const struct pw_board_kind *kind;
	const struct pw_policy *policy;
	int epoll_fd;
	uint32_t levels;  /* inputs as last known, outputs as last written */
	uint32_t outputs; /* as asked for by pw_board_drive */
	uint32_t dropped;
	int64_t next_ms;  /* PW_NEVER: only when the fd is readable */
	int64_t floor_ms; /* the last stamp handed out: none goes before it */
	int64_t last_ms[PW_LINES];
	char fault[PW_LINES][PW_FAULT_MAX]; /* "" when well */
	size_t head, count;
	struct pw_edge queue[PW_QUEUE];
};

/* pw_board_open with a kind in hand. */
int pw_board_open_kind(const struct pw_board_kind *kind, const char *place,
		       const struct pw_policy *p, int64_t now_ms, struct pw_board **board,
		       char *why, size_t size);

/* The line is seen at that level. Queued when it differs from the last known level; true then.
 * at_ms is moved to now_ms at the latest and to the stamps handed out before at the earliest. */
bool pw_board_note(struct pw_board *b, unsigned line, unsigned level, int64_t at_ms,
		   int64_t now_ms);

bool pw_board_is_output(const struct pw_policy *p, unsigned line);
uint32_t pw_board_outputs(const struct pw_policy *p); /* configured outputs: bit i = line i */

/* -- GPIO lines, whatever the library's version ------------------------------------------------ */

#define PW_CHIPS_MAX 64
#define PW_CHIP_PATH_MAX 80
#define PW_CONSUMER "postwalk"

struct pw_gpio_port { /* one requested line */
	void *handle;
	int fd;         /* inputs: readable when edges wait; outputs: -1 */
	uint32_t seqno; /* of the last edge, where the library tells it */
};

struct pw_gpio_edge {
	int64_t mono_ns; /* CLOCK_MONOTONIC */
	uint8_t level;
};

/* All errors are -errno. Nothing blocks. */
struct pw_gpio_api {
	/* Paths of the chips that are there. The count. */
	size_t (*chips)(char path[][PW_CHIP_PATH_MAX], size_t max);
	/* The offset of the line of that label. -ENOENT: none; -ENOTUNIQ: more than one. */
	int (*find)(const char *path, const char *label);
	/* Inputs with both edges, outputs at 0. -ERANGE: no such offset; -EBUSY: user is filled. */
	int (*request)(const char *path, uint32_t offset, const struct pw_line_policy *line,
		       bool output, struct pw_gpio_port *port, char user[PW_NAME_MAX]);
	void (*release)(struct pw_gpio_port *port);
	int (*level)(struct pw_gpio_port *port); /* 0 or 1 */
	int (*set)(struct pw_gpio_port *port, unsigned level);
	/* The count, at most PW_BATCH; *lost: edges known to be missing among them. */
	int (*read)(struct pw_gpio_port *port, struct pw_gpio_edge edge[PW_BATCH], uint32_t *lost);
	void (*clocks)(int64_t *mono_ns, int64_t *boot_ns);
};

extern const struct pw_gpio_api pw_gpio_system; /* gpiod_v1.c or gpiod_v2.c */

size_t pw_gpio_chips(char path[][PW_CHIP_PATH_MAX], size_t max);
void pw_gpio_clocks(int64_t *mono_ns, int64_t *boot_ns);

/* -- the bench's words ------------------------------------------------------------------------- */

#define PW_BENCH_LINE_MAX 512 /* bytes, without the newline */
#define PW_BENCH_CLIENTS 8

/* One moment: "NAME=VALUE NAME=VALUE ...", len bytes, no newline. 0 with mask and levels, or -1
 * with why; then nothing may be applied. */
int pw_bench_parse(const struct pw_policy *p, const char *text, size_t len, uint32_t *mask,
		   uint32_t *levels, char *why, size_t size);

#endif
