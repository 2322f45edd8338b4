/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Proves the ground that the other tests of this folder stand on, without Postwalk: mirrors one
 * line of the board's chip to another with the same libgpiod that Postwalk links.
 *
 *	probe			prints libgpiod's version
 *	probe IN OUT		drives OUT to the level of IN; prints `ready` when it holds
 *				both, then `rise` or `fall` for each edge of IN
 *
 * PW_GPIOD is libgpiod's major version, 1 or 2.
 */
#include <gpiod.h>
#include <stdio.h>
#include <stdlib.h>

static const char chip_path[] = "/dev/gpiochip0";

static void fail(const char *what)
{
	perror(what);
	exit(1);
}

#if PW_GPIOD == 1

static void mirror(unsigned int in, unsigned int out)
{
	struct gpiod_chip *chip = gpiod_chip_open(chip_path);
	struct gpiod_line *input, *output;
	struct gpiod_line_event event;

	if (!chip)
		fail(chip_path);
	input = gpiod_chip_get_line(chip, in);
	output = gpiod_chip_get_line(chip, out);
	if (!input || gpiod_line_request_both_edges_events(input, "probe") < 0)
		fail("input");
	if (!output || gpiod_line_request_output(output, "probe", gpiod_line_get_value(input)) < 0)
		fail("output");
	puts("ready");
	while (gpiod_line_event_read(input, &event) == 0) {
		puts(event.event_type == GPIOD_LINE_EVENT_RISING_EDGE ? "rise" : "fall");
		gpiod_line_set_value(output, gpiod_line_get_value(input));
	}
	fail("event");
}

static const char *version(void)
{
	return gpiod_version_string();
}

#else

static struct gpiod_line_request *request(struct gpiod_chip *chip, unsigned int line,
					  struct gpiod_line_settings *settings)
{
	struct gpiod_line_config *lines = gpiod_line_config_new();
	struct gpiod_line_request *request;

	if (!lines || gpiod_line_config_add_line_settings(lines, &line, 1, settings) < 0)
		fail("line");
	request = gpiod_chip_request_lines(chip, NULL, lines);
	if (!request)
		fail("request");
	gpiod_line_config_free(lines);
	return request;
}

static void mirror(unsigned int in, unsigned int out)
{
	struct gpiod_chip *chip = gpiod_chip_open(chip_path);
	struct gpiod_line_settings *settings = gpiod_line_settings_new();
	struct gpiod_edge_event_buffer *events = gpiod_edge_event_buffer_new(1);
	struct gpiod_line_request *input, *output;
	struct gpiod_edge_event *event;

	if (!chip || !settings || !events)
		fail(chip_path);
	gpiod_line_settings_set_edge_detection(settings, GPIOD_LINE_EDGE_BOTH);
	input = request(chip, in, settings);
	gpiod_line_settings_reset(settings);
	gpiod_line_settings_set_direction(settings, GPIOD_LINE_DIRECTION_OUTPUT);
	gpiod_line_settings_set_output_value(settings, gpiod_line_request_get_value(input, in));
	output = request(chip, out, settings);
	puts("ready");
	while (gpiod_line_request_read_edge_events(input, events, 1) == 1) {
		event = gpiod_edge_event_buffer_get_event(events, 0);
		puts(gpiod_edge_event_get_event_type(event) == GPIOD_EDGE_EVENT_RISING_EDGE ?
			     "rise" : "fall");
		gpiod_line_request_set_value(output, out,
					     gpiod_line_request_get_value(input, in));
	}
	fail("event");
}

static const char *version(void)
{
	return gpiod_api_version();
}

#endif

int main(int argc, char **argv)
{
	setvbuf(stdout, NULL, _IOLBF, 0);
	if (argc == 1) {
		puts(version());
		return 0;
	}
	if (argc != 3) {
		fputs("usage: probe [IN OUT]\n", stderr);
		return 2;
	}
	mirror((unsigned int)atoi(argv[1]), (unsigned int)atoi(argv[2]));
	return 1;
}
