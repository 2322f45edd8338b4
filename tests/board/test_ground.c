/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The ground under the board's tests: what the emulated board carries from outside to libgpiod
 * and back. Run from the top folder; BOARD names the folder that sysroot.sh and image.sh filled.
 */
#include "guest.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <gpiod.h>

/* Generous: a slow host must not fail a test; nothing waits this long when all is well. */
enum { WAIT_MS = 20000 };

static int begin(void **state)
{
	const char *board = getenv("BOARD") ? getenv("BOARD") : "build/board";
	char kernel[512], initrd[512];
	struct pw_guest_options options = { .kernel = kernel, .initrd = initrd };
	struct pw_guest *guest;

	snprintf(kernel, sizeof(kernel), "%s/vmlinuz", board);
	snprintf(initrd, sizeof(initrd), "%s/initrd.gz", board);
	assert_int_equal(pw_guest_start(&guest, &options), 0);
	*state = guest;
	return 0;
}

static int end(void **state)
{
	pw_guest_cut(*state);
	return 0;
}

static void run(struct pw_guest *guest, const char *command, char *output, size_t size)
{
	assert_int_equal(pw_guest_run(guest, command, WAIT_MS, output, size), 0);
}

static void pull(struct pw_guest *guest, unsigned int line, unsigned int level)
{
	assert_int_equal(pw_guest_pull(guest, line, level), 0);
}

static void await(struct pw_guest *guest, unsigned int line, unsigned int level)
{
	assert_int_equal(pw_guest_await(guest, line, level, WAIT_MS), 0);
}

/* Starts the probe in the guest and waits until it holds both lines. */
static void start_probe(struct pw_guest *guest, unsigned int in, unsigned int out)
{
	char command[128];

	snprintf(command, sizeof(command), "rm -f /tmp/edges; probe %u %u >/tmp/edges & probe=$!; "
		 "until grep -qs ready /tmp/edges; do kill -0 $probe || break; done", in, out);
	run(guest, command, NULL, 0);
}

/* Leaves both lines at 0. */
static void stop_probe(struct pw_guest *guest, unsigned int in, unsigned int out)
{
	pull(guest, in, 0);
	await(guest, out, 0);
	run(guest, "kill $probe; wait $probe; true", NULL, 0);
}

static unsigned int count_edges(struct pw_guest *guest, const char *sense)
{
	char command[64], output[32];

	snprintf(command, sizeof(command), "grep -c %s /tmp/edges || true", sense);
	run(guest, command, output, sizeof(output));
	return (unsigned int)atoi(output);
}

static void test_same_libgpiod_as_this_host(void **state)
{
	char output[64];
	const char *expected;
#if PW_GPIOD == 1
	expected = gpiod_version_string();
#else
	expected = gpiod_api_version();
#endif
	run(*state, "probe", output, sizeof(output));
	output[strcspn(output, "\n")] = '\0';
	assert_string_equal(output, expected);
}

static void test_every_line_both_ways(void **state)
{
	struct pw_guest *guest = *state;

	for (unsigned int in = 0; in < PW_GUEST_LINES; in++) {
		unsigned int out = (in + 1) % PW_GUEST_LINES;

		start_probe(guest, in, out);
		pull(guest, in, 1);
		await(guest, out, 1);
		pull(guest, in, 0);
		await(guest, out, 0);
		assert_int_equal(count_edges(guest, "rise"), 1);
		assert_int_equal(count_edges(guest, "fall"), 1);
		stop_probe(guest, in, out);
	}
}

/* Each change waits for its echo: then none may be lost, and none come twice. */
static void test_paced_bounce_arrives_edge_by_edge(void **state)
{
	enum { BOUNCES = 50 };
	struct pw_guest *guest = *state;

	start_probe(guest, 1, 5);
	for (unsigned int i = 0; i < 2 * BOUNCES; i++) {
		pull(guest, 1, 1 - i % 2);
		await(guest, 5, 1 - i % 2);
	}
	assert_int_equal(count_edges(guest, "rise"), BOUNCES);
	assert_int_equal(count_edges(guest, "fall"), BOUNCES);
	stop_probe(guest, 1, 5);
}

/*
 * A contact does not wait. The chip may merge changes, as a real one does; but what stands in
 * the end is what stands outside, and no edge is made up.
 */
static void bounce(struct pw_guest *guest, int gap_ms)
{
	enum { CHANGES = 100 };
	unsigned int edges;

	start_probe(guest, 1, 5);
	for (unsigned int i = 0; i < CHANGES - 1; i++) {
		pull(guest, 1, 1 - i % 2);
		if (gap_ms > 0)
			assert_int_equal(pw_guest_listen(guest, gap_ms), 0);
	}
	await(guest, 5, 1);
	pull(guest, 1, 0);
	await(guest, 5, 0);
	edges = count_edges(guest, "rise") + count_edges(guest, "fall");
	print_message("%d changes, %d ms apart: %u edges\n", CHANGES, gap_ms, edges);
	assert_in_range(edges, 2, CHANGES);
	stop_probe(guest, 1, 5);
}

static void test_bounce_ends_at_the_last_level(void **state)
{
	bounce(*state, 0);
	bounce(*state, 1);
	bounce(*state, 3);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(test_same_libgpiod_as_this_host),
		cmocka_unit_test(test_every_line_both_ways),
		cmocka_unit_test(test_paced_bounce_arrives_edge_by_edge),
		cmocka_unit_test(test_bounce_ends_at_the_last_level),
	};

	return cmocka_run_group_tests(tests, begin, end);
}
