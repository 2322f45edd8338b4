/* SPDX-License-Identifier: Apache-2.0 */
/*
 * bench_internal.h - what the files of `postwalk bench` share.
 *   bench.c       the command: a line, a trace, outputs as they change
 *   bench_join.c  the bench's socket: its lines, as they are now, and pulling them
 *   bench_html.c  what the bench's own page shows
 *   bench_http.c  requests to it
 *   bench_page.c  its process: address, loop, the button's letting go
 *
 * Times are CLOCK_BOOTTIME ms. Nothing waits longer than PW_BENCH_WAIT_MS.
 */
#ifndef POSTWALK_BENCH_INTERNAL_H
#define POSTWALK_BENCH_INTERNAL_H

#include "tool_internal.h"

#define PW_BENCH_WAIT_MS 1000  /* for an answer of the bench: its watch has stopped if none comes */
#define PW_BENCH_AGAIN_MS 500  /* a bench that is gone is looked for so often */
#define PW_BENCH_PULSE_MS 2500 /* an output that changed twice within this is shown as in pulses */
#define PW_BENCH_PRESS_MS 300  /* a press of the rear button, held by this process */

int64_t pw_bench_now_ms(void);

/* -- bench_join.c ------------------------------------------------------------------------------ */

struct pw_bench_line {
	char name[PW_NAME_MAX];
	bool out;
	unsigned level;
	int64_t last_ms, before_ms; /* its two last changes; INT64_MIN: none seen */
};

struct pw_bench_lines {
	const char *path;
	int fd;          /* -1: the bench is gone, */
	char why[300];   /* as this says, */
	int64_t again_ms; /* and is looked for again then */
	size_t count;
	struct pw_bench_line line[PW_LINES];
	size_t fill;
	char in[1024];   /* what has come and is no whole line yet */
};

/* A socket, or -1 with why. wait_ms: for connecting, and for each sending. */
int pw_bench_connect(const char *path, int64_t wait_ms, char *why, size_t size);
/* Connects and learns every line. 0, or -1: gone, as b->why says. */
int pw_bench_join(struct pw_bench_lines *b, int64_t now_ms);
/* What has come; never waits. */
void pw_bench_take(struct pw_bench_lines *b, int64_t now_ms);
/* "NAME=VALUE ...". 0; 1: the bench refuses it, as why says; -1: gone, as b->why says. */
int pw_bench_pull(struct pw_bench_lines *b, const char *words, int64_t now_ms, char *why,
		  size_t size);
void pw_bench_leave(struct pw_bench_lines *b, int64_t now_ms, const char *why);
const struct pw_bench_line *pw_bench_find(const struct pw_bench_lines *b, const char *name);

/* -- bench_html.c: texts, to be freed; NULL without memory ------------------------------------- */

struct pw_bench_view {
	const struct pw_bench_lines *bench;
	int64_t now_ms;
	const char *bus;   /* the address of the bus's own page, or NULL */
	const char *token; /* of the form */
	bool held;         /* the reader does not want it to follow */
};

/* web.S: the files of web/bench. */
extern const char pw_bench_web_page[], pw_bench_web_style[], pw_bench_web_script[];

char *pw_bench_html(const struct pw_bench_view *v);
char *pw_bench_json(const struct pw_bench_lines *b, int64_t now_ms);

/* -- bench_http.c ------------------------------------------------------------------------------ */

struct pw_bench_page {
	struct pw_bench_lines bench;
	const char *bus;
	int64_t let_go_ms; /* the rear button is let go then; INT64_MAX: nobody presses it here */
	char token[33];
	char *shown;       /* lines.json as last drawn, and its tag */
	char tag[32];
	unsigned shown_count;
	struct MHD_Daemon *http;
};

/* Serves on a listening socket, which is then its own. 0, or -1. */
int pw_bench_http_start(struct pw_bench_page *p, int listener);
void pw_bench_http_stop(struct pw_bench_page *p);

/* -- bench_page.c ------------------------------------------------------------------------------ */

/* Presses the rear button, with each of its contacts that there is, and lets it go after
 * PW_BENCH_PRESS_MS; or brings one line to a level. Answers as pw_bench_pull. */
int pw_bench_press(struct pw_bench_page *p, int64_t now_ms, char *why, size_t size);
int pw_bench_set(struct pw_bench_page *p, const char *name, unsigned level, int64_t now_ms,
		 char *why, size_t size);

struct pw_bench_page_options {
	const char *socket, *listen, *bus;
	bool reachable; /* an address that others reach is meant */
};

int pw_bench_page(const struct pw_bench_page_options *o); /* until SIGTERM or SIGINT; exit status */

#endif
