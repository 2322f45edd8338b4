/* SPDX-License-Identifier: Apache-2.0 */
/*
 * world.h - a little world around the real programs: a folder, a policy with short times, the bench
 * board's wires, the page, the service manager's socket, and the processes themselves.
 *
 * Nothing here sleeps: everything waits for descriptors, until a moment at the latest. Moments are
 * CLOCK_BOOTTIME in ms, as the program itself has them. What does not come in time fails the test.
 * The programs are $POSTWALKD and $POSTWALK, by default those of build/.
 */
#ifndef POSTWALK_TEST_WORLD_H
#define POSTWALK_TEST_WORLD_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <setjmp.h>
#include <cmocka.h>
#include <jansson.h>
#include <sys/types.h>

#include "postwalk/board.h"
#include "postwalk/record.h"

#define ON_TIME_MS 60    /* what comes at its time comes within this */
#define PATIENCE_MS 8000 /* for what has no time of its own */
#define HEARD_MAX 8192

/* What tests choose in the policy. Numbers as the file has them. */
struct choices {
	int rows;
	const char *aisle_m, *due_s, *restart_s, *return_max_s, *outside_s;
	const char *more; /* more of the file, after the rest */
};

struct heard {
	int64_t at_ms;
	char name[PW_NAME_MAX];
	int level;
};

struct world {
	char dir[64], config[96], state[96], socket[96], manager_path[96];
	int port;
	struct choices choose;
	bool no_manager;       /* without a service manager */
	bool no_page;          /* it will not start */
	const char *usec;      /* WATCHDOG_USEC, or NULL */

	pid_t watch, page, writer; /* 0: none. The page and the writer of the last start */
	int watch_fd;          /* readable when the watch has ended */
	int bench, outputs;    /* two connections to the bench; -1: none */
	int err, manager;
	int64_t ready_ms;      /* when READY=1 came; 0: not since the last start */
	int watchdogs;
	char said[65536];      /* on standard error, since the last start */
	size_t said_len;
	char line[512];        /* of outputs, as far as it has come */
	size_t line_len;
	struct heard heard[HEARD_MAX];
	size_t heard_count;
	int64_t sent_ms;       /* before the last world_set went out */

	bool mounted;          /* state is a file system of its own */
	bool lossy;            /* records were dropped: no J9 */
	int64_t asked_ms;      /* when the page was asked last */
};

int64_t now_ms(void);

/* -- life. Setup and teardown for cmocka: the teardown ends whatever runs, always, and sees to J9. */
int world_setup(void **state);
int world_teardown(void **state);
#define world_test(f) cmocka_unit_test_setup_teardown(f, world_setup, world_teardown)

void world_write_policy(struct world *w);
/* Starts the watch by the policy as written. The watch's pid; not waited for. */
void world_launch(struct world *w, const char *const more_arguments[]);
/* Writes the policy, starts, waits for READY=1, connects to the bench. */
void world_start(struct world *w);
/* The same without writing the policy. */
void world_start_again(struct world *w);
void world_connect(struct world *w);
/* SIGTERM, and its exit status. */
int world_stop(struct world *w);
int world_exit(struct world *w); /* waits for its end: status, or 128 + signal */
/* kill -9 the watch; waits until the writer and the page are gone as well. */
void world_cut(struct world *w);
void world_gone(struct world *w, pid_t pid); /* waits until that process is gone */

/* -- waiting */
/* One wait for something to happen, until then at the latest. True: fd (-1: none) is readable. */
bool world_turn(struct world *w, int fd, int64_t until_ms);
void world_until(struct world *w, int64_t moment_ms); /* lets things happen up to then */
/* Standard error says it, from *from on (NULL: from the last start on). When it was seen. */
int64_t world_says(struct world *w, const char *text, size_t *from, int64_t until_ms);
bool world_said(const struct world *w, const char *text);

/* -- wires */
void world_set(struct world *w, const char *levels); /* "ignition=1"; w->sent_ms is before that */
void world_tap(struct world *w);                     /* press and let go of the rear button */
/* The first change of that output to that level at or after since_ms; when. */
int64_t world_hears(struct world *w, const char *output, int level, int64_t since_ms,
		    int64_t until_ms);
bool world_heard(const struct world *w, const char *output, int level, int64_t since_ms);
int world_level(const struct world *w, const char *output); /* as last told; -1: not told */
void assert_at(int64_t at_ms, int64_t due_ms);       /* on time, ON_TIME_MS at most */
/* The pattern (on, off, ... ms) is heard on that output from on_ms on, at which it went on. */
void world_pattern(struct world *w, const char *output, int64_t on_ms, const int *ms, size_t n);

/* A run that ends: key on, key off. The moment of the key-off. */
int64_t world_key_off(struct world *w);
/* The same, until it is overdue: the cabin rung begins on time at the moment returned. */
int64_t world_overdue(struct world *w);
int64_t world_due_ms(const struct world *w); /* due_s as ms */

/* -- processes */
pid_t world_child(const struct world *w, const char *comm); /* of the watch; 0: none */

void world_signal(pid_t pid, int sig);
/* Waits for another process of that name. */
pid_t world_next_child(struct world *w, const char *comm, pid_t before);

/* Runs a shell command of printf; its status. */
__attribute__((format(printf, 1, 2)))
int shell(const char *format, ...);

#endif
