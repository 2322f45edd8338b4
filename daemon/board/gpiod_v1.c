/* SPDX-License-Identifier: Apache-2.0 */
/* libgpiod 1.6. One chip handle a line: closing it releases the line. Missing edges are not told
 * by this version: the kernel queues 16 and drops the newest. */
#include <errno.h>
#include <fcntl.h>
#include <gpiod.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "board_internal.h"

/* The library's calls fail with errno, but not all of them say so. */
static int last_error(void)
{
	return errno ? -errno : -EIO;
}

/* The library wants the device itself, not a link that udev made to it. */
static int open_chip(const char *path, struct gpiod_chip **chip)
{
	char real[PATH_MAX];

	errno = 0;
	*chip = realpath(path, real) ? gpiod_chip_open(real) : NULL;
	return *chip ? 0 : last_error();
}

static int v1_find(const char *path, const char *label)
{
	struct gpiod_chip *chip;
	int found = -ENOENT;
	int error = open_chip(path, &chip);

	if (error < 0)
		return error;
	for (unsigned i = 0; i < gpiod_chip_num_lines(chip) && found != -ENOTUNIQ; i++) {
		struct gpiod_line *line = gpiod_chip_get_line(chip, i);
		const char *name = line ? gpiod_line_name(line) : NULL;

		if (name && strcmp(name, label) == 0)
			found = found == -ENOENT ? (int)i : -ENOTUNIQ;
	}
	gpiod_chip_close(chip);
	return found;
}

static int flags_of(const struct pw_line_policy *lp)
{
	int flags = lp->active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;

	if (lp->bias == PW_BIAS_DISABLED)
		flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE;
	else if (lp->bias == PW_BIAS_PULL_UP)
		flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP;
	else if (lp->bias == PW_BIAS_PULL_DOWN)
		flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN;
	return flags;
}

static int request_line(struct gpiod_line *line, const struct pw_line_policy *lp, bool output,
			struct pw_gpio_port *port)
{
	const struct gpiod_line_request_config config = {
		.consumer = PW_CONSUMER,
		.request_type = output ? GPIOD_LINE_REQUEST_DIRECTION_OUTPUT
				       : GPIOD_LINE_REQUEST_EVENT_BOTH_EDGES,
		.flags = flags_of(lp),
	};

	errno = 0;
	if (gpiod_line_request(line, &config, 0) < 0)
		return last_error();
	*port = (struct pw_gpio_port){.handle = line, .fd = -1};
	if (output)
		return 0;
	port->fd = gpiod_line_event_get_fd(line);
	if (port->fd < 0 || fcntl(port->fd, F_SETFL, O_NONBLOCK) < 0)
		return last_error();
	return 0;
}

static int v1_request(const char *path, uint32_t offset, const struct pw_line_policy *lp,
		      bool output, struct pw_gpio_port *port, char user[PW_NAME_MAX])
{
	struct gpiod_chip *chip;
	struct gpiod_line *line;
	const char *consumer;
	int error = open_chip(path, &chip);

	if (error < 0)
		return error;
	if (offset >= gpiod_chip_num_lines(chip)) {
		gpiod_chip_close(chip);
		return -ERANGE;
	}
	errno = 0;
	line = gpiod_chip_get_line(chip, offset);
	if (!line) {
		error = last_error();
	} else {
		consumer = gpiod_line_consumer(line); /* of whoever has it before us */
		snprintf(user, PW_NAME_MAX, "%s", consumer ? consumer : "");
		error = request_line(line, lp, output, port);
	}
	if (error < 0)
		gpiod_chip_close(chip);
	return error;
}

static void v1_release(struct pw_gpio_port *port)
{
	gpiod_chip_close(gpiod_line_get_chip(port->handle));
	*port = (struct pw_gpio_port){.fd = -1};
}

static int v1_level(struct pw_gpio_port *port)
{
	int level;

	errno = 0;
	level = gpiod_line_get_value(port->handle);
	return level < 0 ? last_error() : level;
}

static int v1_set(struct pw_gpio_port *port, unsigned level)
{
	errno = 0;
	return gpiod_line_set_value(port->handle, (int)level) < 0 ? last_error() : 0;
}

static int v1_read(struct pw_gpio_port *port, struct pw_gpio_edge edge[PW_BATCH], uint32_t *lost)
{
	struct gpiod_line_event ev[16]; /* as many as the library takes at once */
	int count;

	*lost = 0;
	do {
		errno = 0;
		count = gpiod_line_event_read_fd_multiple(port->fd, ev, 16);
	} while (count < 0 && errno == EINTR);
	if (count < 0)
		return errno == EAGAIN ? 0 : last_error();
	for (int i = 0; i < count; i++) {
		edge[i].mono_ns = (int64_t)ev[i].ts.tv_sec * 1000000000 + ev[i].ts.tv_nsec;
		edge[i].level = ev[i].event_type == GPIOD_LINE_EVENT_RISING_EDGE;
	}
	return count;
}

const struct pw_gpio_api pw_gpio_system = {
	.chips = pw_gpio_chips,
	.find = v1_find,
	.request = v1_request,
	.release = v1_release,
	.level = v1_level,
	.set = v1_set,
	.read = v1_read,
	.clocks = pw_gpio_clocks,
};
