/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/epoll.h>
#include <unistd.h>

#include "board_internal.h"

static const struct pw_board_kind *const kinds[] = {&pw_gpiod_kind, &pw_bench_kind};

int pw_board_open(const char *kind, const char *place, const struct pw_policy *p, int64_t now_ms,
		  struct pw_board **board, char *why, size_t size)
{
	*board = NULL;
	for (size_t i = 0; i < sizeof(kinds) / sizeof(kinds[0]); i++)
		if (strcmp(kinds[i]->name, kind) == 0)
			return pw_board_open_kind(kinds[i], place, p, now_ms, board, why, size);
	snprintf(why, size, "no kind of board is named \"%s\": expected gpiod or bench", kind);
	return -1;
}

int pw_board_open_kind(const struct pw_board_kind *kind, const char *place,
		       const struct pw_policy *p, int64_t now_ms, struct pw_board **board,
		       char *why, size_t size)
{
	struct pw_board *b = calloc(1, kind->size);

	*board = NULL;
	if (!b) {
		snprintf(why, size, "no memory for the board");
		return -1;
	}
	b->kind = kind;
	b->policy = p;
	b->next_ms = PW_NEVER;
	b->floor_ms = now_ms;
	b->epoll_fd = epoll_create1(EPOLL_CLOEXEC);
	if (b->epoll_fd < 0) {
		snprintf(why, size, "cannot watch the board: %s", strerror(errno));
		goto fail;
	}
	if (kind->open(b, place, now_ms, why, size) < 0)
		goto fail;
	b->count = 0; /* levels read while opening are the beginning, not differences */
	*board = b;
	return 0;
fail:
	if (b->epoll_fd >= 0)
		close(b->epoll_fd);
	free(b);
	return -1;
}

void pw_board_close(struct pw_board *b)
{
	if (!b)
		return;
	b->kind->drive(b, 0, b->floor_ms);
	b->kind->close(b);
	close(b->epoll_fd);
	free(b);
}

int pw_board_fd(const struct pw_board *b)
{
	return b->epoll_fd;
}

uint32_t pw_board_levels(const struct pw_board *b)
{
	return b->levels;
}

/* Nothing new is read while edges wait to be taken: so the queue never overflows, and what is
 * handed out stays in order. */
size_t pw_board_read(struct pw_board *b, int64_t now_ms, struct pw_edge *edge, size_t max)
{
	size_t n;

	if (b->count == 0) {
		b->head = 0;
		b->kind->read(b, now_ms);
	}
	n = b->count < max ? b->count : max;
	if (n == 0)
		return 0;
	memcpy(edge, b->queue + b->head, n * sizeof(*edge));
	b->head += n;
	b->count -= n;
	b->floor_ms = edge[n - 1].at_ms;
	return n;
}

int64_t pw_board_next_ms(const struct pw_board *b)
{
	return b->next_ms;
}

void pw_board_drive(struct pw_board *b, uint32_t outputs, int64_t now_ms)
{
	b->kind->drive(b, outputs & pw_board_outputs(b->policy), now_ms);
}

const char *pw_board_fault(const struct pw_board *b, unsigned line)
{
	return line < PW_LINES && b->fault[line][0] ? b->fault[line] : NULL;
}

uint32_t pw_board_dropped(const struct pw_board *b)
{
	return b->dropped;
}

static int64_t clamped(const struct pw_board *b, unsigned line, int64_t at_ms, int64_t now_ms)
{
	if (at_ms > now_ms)
		at_ms = now_ms;
	if (at_ms < b->last_ms[line])
		at_ms = b->last_ms[line];
	return at_ms < b->floor_ms ? b->floor_ms : at_ms;
}

bool pw_board_note(struct pw_board *b, unsigned line, unsigned level, int64_t at_ms,
		   int64_t now_ms)
{
	struct pw_edge e = {.line = (uint8_t)line, .level = (uint8_t)level};
	size_t i;

	if (((b->levels >> line) & 1) == level)
		return false;
	if (b->head + b->count >= PW_QUEUE) {
		b->dropped++; /* the level stays as told, so the next reading shows it */
		return false;
	}
	e.at_ms = clamped(b, line, at_ms, now_ms);
	b->last_ms[line] = e.at_ms;
	b->levels ^= UINT32_C(1) << line;
	for (i = b->head + b->count++; i > b->head; i--) {
		const struct pw_edge *before = &b->queue[i - 1];

		if (before->at_ms < e.at_ms ||
		    (before->at_ms == e.at_ms && before->line <= e.line))
			break;
		b->queue[i] = *before;
	}
	b->queue[i] = e;
	return true;
}

bool pw_board_is_output(const struct pw_policy *p, unsigned line)
{
	if (line >= PW_EXTRA)
		return p->line[line].direction == PW_OUT;
	return line >= PW_INPUTS;
}

uint32_t pw_board_outputs(const struct pw_policy *p)
{
	uint32_t mask = 0;

	for (unsigned i = PW_INPUTS; i < PW_LINES; i++)
		if (p->line[i].configured && pw_board_is_output(p, i))
			mask |= UINT32_C(1) << i;
	return mask;
}
