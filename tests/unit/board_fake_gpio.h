/* SPDX-License-Identifier: Apache-2.0 */
/* board_fake_gpio.h - chips of a test's own behind struct pw_gpio_api. One pipe a line makes its
 * descriptor ready; the n-th call can be made to fail. The api has no context, so the chips are
 * this file's. */
#ifndef POSTWALK_TEST_BOARD_FAKE_GPIO_H
#define POSTWALK_TEST_BOARD_FAKE_GPIO_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#include "../../daemon/board/board_internal.h"

#define FAKE_CHIPS 2
#define FAKE_LINES 16

struct fake_line {
	unsigned level;      /* on the wire, polarity dealt with */
	const char *label, *user;
	int request_error, level_error, set_error, read_error; /* errno, until cleared */
	uint32_t lost;       /* told at the next read */
	struct pw_gpio_edge queue[PW_BATCH];
	int queued, limit;   /* limit: the kernel's queue; more is dropped in silence */
	int pipe[2];
	bool held, output, active_low;
	enum pw_bias bias;
	unsigned requests, sets, levels;
};

struct fake_chip {
	bool absent, denied;
	struct fake_line line[FAKE_LINES];
};

static struct fake_chip fake[FAKE_CHIPS];
static int64_t fake_mono_ns, fake_boot_ns;
static int fake_fail_at, fake_calls; /* the fake_fail_at-th call fails with EIO; 0: none */

static inline struct fake_line *fake_of(struct pw_gpio_port *port)
{
	return port->handle;
}

static inline bool fake_fails(void)
{
	return ++fake_calls == fake_fail_at;
}

static inline struct fake_chip *fake_find_chip(const char *path)
{
	for (int c = 0; c < FAKE_CHIPS; c++) {
		char name[32];

		snprintf(name, sizeof(name), "/dev/gpiochip%d", c);
		if (strcmp(name, path) == 0 && !fake[c].absent)
			return &fake[c];
	}
	return NULL;
}

static inline size_t fake_list(char path[][PW_CHIP_PATH_MAX], size_t max)
{
	size_t n = 0;

	for (int c = 0; c < FAKE_CHIPS && n < max; c++)
		if (!fake[c].absent)
			snprintf(path[n++], PW_CHIP_PATH_MAX, "/dev/gpiochip%d", c);
	return n;
}

static inline int fake_find(const char *path, const char *label)
{
	struct fake_chip *chip = fake_find_chip(path);
	int found = -ENOENT;

	if (!chip || chip->denied)
		return chip ? -EACCES : -ENOENT;
	for (int i = 0; i < FAKE_LINES; i++)
		if (chip->line[i].label && strcmp(chip->line[i].label, label) == 0)
			found = found == -ENOENT ? i : -ENOTUNIQ;
	return found;
}

static inline int fake_request(const char *path, uint32_t offset, const struct pw_line_policy *lp,
			bool output, struct pw_gpio_port *port, char user[PW_NAME_MAX])
{
	struct fake_chip *chip = fake_find_chip(path);
	struct fake_line *l;

	if (!chip || chip->denied)
		return chip ? -EACCES : -ENOENT;
	if (offset >= FAKE_LINES)
		return -ERANGE;
	l = &chip->line[offset];
	l->requests++;
	if (fake_fails())
		return -EIO;
	if (l->request_error == EBUSY && l->user)
		snprintf(user, PW_NAME_MAX, "%s", l->user);
	if (l->request_error)
		return -l->request_error;
	assert_false(l->held);
	l->held = true;
	l->output = output;
	l->active_low = lp->active_low;
	l->bias = lp->bias;
	l->queued = 0;
	if (output)
		l->level = 0;
	else
		assert_int_equal(pipe2(l->pipe, O_NONBLOCK | O_CLOEXEC), 0);
	*port = (struct pw_gpio_port){.handle = l, .fd = output ? -1 : l->pipe[0]};
	return 0;
}

static inline void fake_release(struct pw_gpio_port *port)
{
	struct fake_line *l = fake_of(port);

	assert_true(l->held);
	l->held = false;
	if (!l->output) {
		close(l->pipe[0]);
		if (l->pipe[1] >= 0)
			close(l->pipe[1]);
	}
	*port = (struct pw_gpio_port){.fd = -1};
}

static inline int fake_level(struct pw_gpio_port *port)
{
	struct fake_line *l = fake_of(port);

	l->levels++;
	if (fake_fails())
		return -EIO;
	return l->level_error ? -l->level_error : (int)l->level;
}

static inline int fake_set(struct pw_gpio_port *port, unsigned level)
{
	struct fake_line *l = fake_of(port);

	assert_true(l->output);
	l->sets++;
	if (fake_fails())
		return -EIO;
	if (l->set_error)
		return -l->set_error;
	l->level = level;
	return 0;
}

static inline int fake_read(struct pw_gpio_port *port, struct pw_gpio_edge edge[PW_BATCH],
			    uint32_t *lost)
{
	struct fake_line *l = fake_of(port);
	char drain[PW_BATCH];
	int n = l->queued;

	*lost = l->lost;
	l->lost = 0;
	assert_true(read(l->pipe[0], drain, sizeof(drain)) >= 0);
	if (fake_fails())
		return -EIO;
	if (l->read_error)
		return -l->read_error;
	memcpy(edge, l->queue, (size_t)n * sizeof(*edge));
	l->queued = 0;
	return n;
}

static inline void fake_clocks(int64_t *mono_ns, int64_t *boot_ns)
{
	*mono_ns = fake_mono_ns;
	*boot_ns = fake_boot_ns;
}

static const struct pw_gpio_api fake_api = {
	.chips = fake_list,
	.find = fake_find,
	.request = fake_request,
	.release = fake_release,
	.level = fake_level,
	.set = fake_set,
	.read = fake_read,
	.clocks = fake_clocks,
};

/* BOOTTIME is 100 s ahead: the machine has slept for that long. */
static inline void fake_clock(int64_t boot_ms)
{
	fake_boot_ns = boot_ms * 1000000;
	fake_mono_ns = fake_boot_ns - INT64_C(100000000000);
}

/* The kernel tells an edge, whatever the wire reads. */
static inline void fake_tell(struct fake_line *l, unsigned level, int64_t boot_ms)
{
	if (!l->held || l->queued >= (l->limit ? l->limit : PW_BATCH))
		return;
	l->queue[l->queued].mono_ns = boot_ms * 1000000 - INT64_C(100000000000);
	l->queue[l->queued++].level = (uint8_t)level;
	assert_int_equal(write(l->pipe[1], "e", 1), 1);
}

/* The wire changes and the kernel tells it. */
static inline void fake_pull(struct fake_line *l, unsigned level, int64_t boot_ms)
{
	l->level = level;
	fake_tell(l, level, boot_ms);
}

static inline void fake_hang_up(struct fake_line *l)
{
	close(l->pipe[1]);
	l->pipe[1] = -1;
}

static inline void fake_reset(void)
{
	memset(fake, 0, sizeof(fake));
	fake_fail_at = fake_calls = 0;
	fake_clock(200000);
}

/* -- a bus on those chips ---------------------------------------------------------------------- */

#define BIT(i) (UINT32_C(1) << (i))
#define T0 INT64_C(200000)
#define MANY 2048

struct bus {
	struct pw_policy p;
	struct pw_board_kind kind;
	struct pw_board *b;
	struct pw_edge edge[MANY];
	size_t edges;
};

static inline struct fake_line *wire(unsigned line)
{
	return &fake[0].line[line];
}

static inline void configure(struct bus *s, unsigned line)
{
	struct pw_line_policy *lp = &s->p.line[line];

	lp->configured = true;
	lp->offset = (int32_t)line;
	snprintf(lp->chip, sizeof(lp->chip), "gpiochip0");
}

/* Ignition, rear button, rear door, service door, beeper and horn on gpiochip0. */
static inline void usual_lines(struct bus *s)
{
	static const unsigned lines[] = {PW_IGNITION,     PW_REAR_BUTTON, PW_REAR_DOOR,
					 PW_SERVICE_DOOR, PW_BEEPER,      PW_HORN};

	memset(s, 0, sizeof(*s));
	pw_policy_init(&s->p, false);
	for (size_t i = 0; i < sizeof(lines) / sizeof(lines[0]); i++)
		configure(s, lines[i]);
	s->kind = pw_gpiod_kind;
	s->kind.api = &fake_api;
}

static inline void open_board(struct bus *s)
{
	char why[200] = "";

	assert_int_equal(pw_board_open_kind(&s->kind, NULL, &s->p, T0, &s->b, why, sizeof(why)), 0);
}

static inline struct bus *set_up(void)
{
	static struct bus s;

	fake_reset();
	usual_lines(&s);
	return &s;
}

static inline struct bus *set_up_open(void)
{
	struct bus *s = set_up();

	open_board(s);
	return s;
}

static inline size_t read_at(struct bus *s, int64_t now_ms)
{
	fake_clock(now_ms);
	s->edges = pw_board_read(s->b, now_ms, s->edge, MANY);
	return s->edges;
}

static inline void assert_edge(const struct bus *s, size_t i, unsigned line, unsigned level,
			       int64_t at_ms)
{
	assert_true(i < s->edges);
	assert_int_equal(s->edge[i].line, line);
	assert_int_equal(s->edge[i].level, level);
	assert_int_equal(s->edge[i].at_ms, at_ms);
}

static inline void assert_fault(const struct bus *s, unsigned line, const char *text)
{
	const char *fault = pw_board_fault(s->b, line);

	if (!fault || !text) {
		assert_ptr_equal(fault, text);
		return;
	}
	assert_string_equal(fault, text);
}

#endif
