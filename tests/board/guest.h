/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The emulated board, driven from outside: a whole arm64 machine in QEMU with a real GPIO chip
 * of eight lines (an ARM PL061), a disk, a clock and a console.
 *
 * A test pulls lines as the bus would, watches the lines that the board drives, and types shell
 * commands on its console. QEMU's qtest protocol carries the lines, its machine protocol (QMP)
 * tells where the chip is. One thread a guest; every call that waits takes a deadline from now
 * in milliseconds and blocks in poll(2) only. Where time matters to a test it is the test's to
 * choose: the guest's wall clock at power-on is an option.
 *
 * Errors are negative errno values: -ETIMEDOUT when the deadline passed, -EPIPE when the guest
 * is gone, -EPROTO when QEMU answered otherwise than known.
 */
#ifndef POSTWALK_TESTS_GUEST_H
#define POSTWALK_TESTS_GUEST_H

#include <stddef.h>

enum { PW_GUEST_LINES = 8 };

/*
 * Paths of files that tests/board/sysroot.sh and image.sh made; strings are copied.
 *
 * With disk_log the disk has a write cache, as real ones do, and every write and flush that it
 * completes is logged there before the board hears of it (disklog.h reads it).
 */
struct pw_guest_options {
	const char *kernel;
	const char *initrd;
	const char *disk; /* raw image that becomes /dev/vda, or NULL; written through */
	const char *disk_log; /* an empty file, or NULL; see below */
	const char *rtc;  /* UTC at power-on, "2030-03-04T14:30:00"; NULL: the host's */
};

/* A change of a line that the board drives. */
struct pw_guest_edge {
	long long at_ms; /* host CLOCK_MONOTONIC on receipt */
	unsigned int line;
	unsigned int level;
};

struct pw_guest;

/*
 * Powers a board on with every line pulled to 0 and waits until its console obeys, for a minute
 * at most. On success *guest is the caller's, to end with pw_guest_cut(); the board also ends
 * with the calling process, however that ends. On failure *guest is NULL, and what the console
 * said is on stderr.
 */
int pw_guest_start(struct pw_guest **guest, const struct pw_guest_options *options);

/*
 * Pulls a line from outside. A pull is lost on a line that the board drives just then, and the
 * board sees the level that it drove last when it turns that line into an input.
 */
int pw_guest_pull(struct pw_guest *guest, unsigned int line, unsigned int level);

/* The level that the board was last heard to drive; 0 at power-on, as the lines are pulled down. */
unsigned int pw_guest_level(const struct pw_guest *guest, unsigned int line);

/* Waits until the board drives the line so. */
int pw_guest_await(struct pw_guest *guest, unsigned int line, unsigned int level, int timeout_ms);

/* Every change heard since the start, oldest first; lives until the next call with this guest. */
size_t pw_guest_edges(const struct pw_guest *guest, const struct pw_guest_edge **edges);

/*
 * Listens until the deadline and returns 0, so that a test can tell what did not happen in
 * that time; -EPIPE when the guest ends.
 */
int pw_guest_listen(struct pw_guest *guest, int timeout_ms);

/*
 * Types one shell command and waits for its end. Returns its exit status, and what it said in
 * output (cut to size, always ended by a nul); output may be NULL when size is 0.
 * A command that ends in `&` goes on in the background; send what it says to a file.
 */
int pw_guest_run(struct pw_guest *guest, const char *command, int timeout_ms,
		 char *output, size_t size);

/*
 * Waits until the console says a text behind the first *from bytes of all that it ever said, and
 * moves *from behind it. Programs that run in the background may say it.
 */
int pw_guest_hear(struct pw_guest *guest, size_t *from, const char *text, int timeout_ms);

/* All that the console said since the start; lives until the next call with this guest. */
const char *pw_guest_console(const struct pw_guest *guest);

/*
 * Cuts the power: ends QEMU at once, as kill -9 does, and frees the guest. What the board had
 * not written to its disk is lost. NULL is fine.
 */
void pw_guest_cut(struct pw_guest *guest);

#endif
