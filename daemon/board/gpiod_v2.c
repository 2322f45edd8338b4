/* SPDX-License-Identifier: Apache-2.0 */
/* libgpiod 2. One request a line; sequence numbers tell missing edges. The kernel's own debounce
 * stays off: it stamps an edge when it has settled, not when it came. */
#include <errno.h>
#include <fcntl.h>
#include <gpiod.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "board_internal.h"

struct held {
	struct gpiod_line_request *request;
	struct gpiod_edge_event_buffer *buffer; /* inputs */
	unsigned offset;
};

static int last_error(void)
{
	return errno ? -errno : -EIO;
}

static int open_chip(const char *path, struct gpiod_chip **chip)
{
	errno = 0;
	*chip = gpiod_chip_open(path);
	return *chip ? 0 : last_error();
}

static size_t lines_of(struct gpiod_chip *chip)
{
	struct gpiod_chip_info *info = gpiod_chip_get_info(chip);
	size_t n = info ? gpiod_chip_info_get_num_lines(info) : 0;

	gpiod_chip_info_free(info);
	return n;
}

static bool has_label(struct gpiod_chip *chip, unsigned offset, const char *label)
{
	struct gpiod_line_info *info = gpiod_chip_get_line_info(chip, offset);
	const char *name = info ? gpiod_line_info_get_name(info) : NULL;
	bool same = name && strcmp(name, label) == 0;

	gpiod_line_info_free(info);
	return same;
}

static int v2_find(const char *path, const char *label)
{
	struct gpiod_chip *chip;
	int found = -ENOENT;
	int error = open_chip(path, &chip);
	size_t lines;

	if (error < 0)
		return error;
	lines = lines_of(chip);
	for (unsigned i = 0; i < lines && found != -ENOTUNIQ; i++)
		if (has_label(chip, i, label))
			found = found == -ENOENT ? (int)i : -ENOTUNIQ;
	gpiod_chip_close(chip);
	return found;
}

static enum gpiod_line_bias bias_of(const struct pw_line_policy *lp)
{
	if (lp->bias == PW_BIAS_DISABLED)
		return GPIOD_LINE_BIAS_DISABLED;
	if (lp->bias == PW_BIAS_PULL_UP)
		return GPIOD_LINE_BIAS_PULL_UP;
	if (lp->bias == PW_BIAS_PULL_DOWN)
		return GPIOD_LINE_BIAS_PULL_DOWN;
	return GPIOD_LINE_BIAS_AS_IS;
}

static int set_up(struct gpiod_line_settings *settings, const struct pw_line_policy *lp,
		  bool output)
{
	gpiod_line_settings_set_active_low(settings, lp->active_low);
	if (gpiod_line_settings_set_bias(settings, bias_of(lp)) < 0)
		return -1;
	if (output) {
		gpiod_line_settings_set_output_value(settings, GPIOD_LINE_VALUE_INACTIVE);
		return gpiod_line_settings_set_direction(settings, GPIOD_LINE_DIRECTION_OUTPUT);
	}
	gpiod_line_settings_set_debounce_period_us(settings, 0);
	if (gpiod_line_settings_set_direction(settings, GPIOD_LINE_DIRECTION_INPUT) < 0 ||
	    gpiod_line_settings_set_event_clock(settings, GPIOD_LINE_CLOCK_MONOTONIC) < 0)
		return -1;
	return gpiod_line_settings_set_edge_detection(settings, GPIOD_LINE_EDGE_BOTH);
}

static int request_line(struct gpiod_chip *chip, unsigned offset, const struct pw_line_policy *lp,
			bool output, struct gpiod_line_request **request)
{
	struct gpiod_line_settings *settings = gpiod_line_settings_new();
	struct gpiod_line_config *config = gpiod_line_config_new();
	struct gpiod_request_config *how = gpiod_request_config_new();
	int error = 0;

	errno = 0;
	*request = NULL;
	if (!settings || !config || !how) {
		error = -ENOMEM;
		goto out;
	}
	gpiod_request_config_set_consumer(how, PW_CONSUMER);
	gpiod_request_config_set_event_buffer_size(how, PW_BATCH);
	if (set_up(settings, lp, output) == 0 &&
	    gpiod_line_config_add_line_settings(config, &offset, 1, settings) == 0)
		*request = gpiod_chip_request_lines(chip, how, config);
	if (!*request)
		error = last_error();
out:
	gpiod_request_config_free(how);
	gpiod_line_config_free(config);
	gpiod_line_settings_free(settings);
	return error;
}

static void user_of(struct gpiod_chip *chip, unsigned offset, char user[PW_NAME_MAX])
{
	struct gpiod_line_info *info = gpiod_chip_get_line_info(chip, offset);
	const char *consumer = info ? gpiod_line_info_get_consumer(info) : NULL;

	snprintf(user, PW_NAME_MAX, "%s", consumer ? consumer : "");
	gpiod_line_info_free(info);
}

static void v2_release(struct pw_gpio_port *port)
{
	struct held *h = port->handle;

	gpiod_edge_event_buffer_free(h->buffer);
	gpiod_line_request_release(h->request);
	free(h);
	*port = (struct pw_gpio_port){.fd = -1};
}

/* Takes over the request; it is released if the rest cannot be had. */
static int hold(struct gpiod_line_request *request, unsigned offset, bool output,
		struct pw_gpio_port *port)
{
	struct held *h = calloc(1, sizeof(*h));

	if (!h) {
		gpiod_line_request_release(request);
		return -ENOMEM;
	}
	*h = (struct held){.request = request, .offset = offset};
	*port = (struct pw_gpio_port){.handle = h, .fd = -1};
	if (output)
		return 0;
	port->fd = gpiod_line_request_get_fd(request);
	h->buffer = gpiod_edge_event_buffer_new(PW_BATCH);
	if (h->buffer && fcntl(port->fd, F_SETFL, O_NONBLOCK) == 0)
		return 0;
	v2_release(port);
	return -ENOMEM;
}

static int v2_request(const char *path, uint32_t offset, const struct pw_line_policy *lp,
		      bool output, struct pw_gpio_port *port, char user[PW_NAME_MAX])
{
	struct gpiod_chip *chip;
	struct gpiod_line_request *request;
	int error = open_chip(path, &chip);

	if (error < 0)
		return error;
	error = -ERANGE;
	if (offset < lines_of(chip))
		error = request_line(chip, offset, lp, output, &request);
	if (error == -EBUSY)
		user_of(chip, offset, user);
	gpiod_chip_close(chip);
	return error < 0 ? error : hold(request, offset, output, port);
}

static int v2_level(struct pw_gpio_port *port)
{
	const struct held *h = port->handle;
	enum gpiod_line_value value;

	errno = 0;
	value = gpiod_line_request_get_value(h->request, h->offset);
	if (value == GPIOD_LINE_VALUE_ERROR)
		return last_error();
	return value == GPIOD_LINE_VALUE_ACTIVE;
}

static int v2_set(struct pw_gpio_port *port, unsigned level)
{
	const struct held *h = port->handle;

	errno = 0;
	if (gpiod_line_request_set_value(h->request, h->offset,
					 level ? GPIOD_LINE_VALUE_ACTIVE
					       : GPIOD_LINE_VALUE_INACTIVE) < 0)
		return last_error();
	return 0;
}

static void take_event(struct gpiod_edge_event *ev, struct pw_gpio_port *port,
		       struct pw_gpio_edge *edge, uint32_t *lost)
{
	uint32_t seqno = (uint32_t)gpiod_edge_event_get_line_seqno(ev);

	edge->mono_ns = (int64_t)gpiod_edge_event_get_timestamp_ns(ev);
	edge->level = gpiod_edge_event_get_event_type(ev) == GPIOD_EDGE_EVENT_RISING_EDGE;
	*lost += seqno - port->seqno - 1;
	port->seqno = seqno;
}

static int v2_read(struct pw_gpio_port *port, struct pw_gpio_edge edge[PW_BATCH], uint32_t *lost)
{
	const struct held *h = port->handle;
	int count;

	*lost = 0;
	do {
		errno = 0;
		count = gpiod_line_request_read_edge_events(h->request, h->buffer, PW_BATCH);
	} while (count < 0 && errno == EINTR);
	if (count < 0)
		return errno == EAGAIN ? 0 : last_error();
	for (int i = 0; i < count; i++)
		take_event(gpiod_edge_event_buffer_get_event(h->buffer, (unsigned long)i), port,
			   &edge[i], lost);
	return count;
}

const struct pw_gpio_api pw_gpio_system = {
	.chips = pw_gpio_chips,
	.find = v2_find,
	.request = v2_request,
	.release = v2_release,
	.level = v2_level,
	.set = v2_set,
	.read = v2_read,
	.clocks = pw_gpio_clocks,
};
