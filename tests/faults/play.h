/* SPDX-License-Identifier: Apache-2.0 */
/*
 * play.h - traces played through the watch's own way from wire to journal (daemon/bus: feed,
 * effects, restart; the real writer and its process), on a board without wires and a clock set by
 * hand.
 *
 * What should never happen here ends the program with a sentence. Moments, in ms, are the trace's.
 */
#ifndef POSTWALK_TEST_PLAY_H
#define POSTWALK_TEST_PLAY_H

#include <stdbool.h>
#include <stdint.h>

#include "bus/bus_internal.h"
#include "record/writer_internal.h"
#include "tool/tool_internal.h"

#define PLAY_BUS "bus-9"
#define PLAY_WALL_MS INT64_C(1900000000000) /* of the traces' second 0: after any build of today */

struct play {
	char base[64], dir[80], conf[80]; /* the work folder; the journal's, and the policy in it */
	struct pw_options options;
	struct pw_bus bus;
	uint8_t raw;     /* levels, while power is off as well */
	bool powered, begun;
	bool exact;      /* the watch can be told this trace moment by moment */
	struct pw_kept_state kept; /* what the last start was told */

	struct pw_pace pace;
	bool one_by_one; /* each batch is committed before the next moment */
	bool cut_hard;   /* at a power cut the writer is killed; else it ends in order */
	/* NULL, or called: before a moment's batch is handed over; when it has been committed. */
	void (*before)(struct play *p);
	void (*after)(struct play *p);
	void *ctx;
};

/* BASE/state is made anew. conf: a policy's path, NULL: the lines that replay has without one. */
struct play *play_new(const char *base, const char *conf);
/* The same around a folder that stands. */
struct play *play_open(const char *base, const char *conf);
void play_free(struct play *p);

/* The whole trace, and an orderly stop. */
void play_trace(struct play *p, const char *path);

/* Step by step. levels: p->raw. */
void play_start(struct play *p, int64_t at_ms, bool clock_lost);
void play_line(struct play *p, const struct pw_trace_line *l);
void play_wake(struct play *p, int64_t at_ms);  /* a wake-up of the loop */
void play_until(struct play *p, int64_t at_ms); /* with that moment; what stands is kept */
void play_stop(struct play *p);

/* J9: what the journal holds is what a replay of it gives. 0, or 1 with the difference on standard
 * error. trace NULL, or a trace whose replay must give the same as well. */
int play_agrees(const struct play *p, const char *trace);

/* J10: 0 when `postwalk verify` by the folder's own public key finds it sound, else 1, said. */
int play_verifies(const struct play *p);

/* The watch's own words are not wanted meanwhile. */
int play_hush(void);
void play_speak(int hushed);

/* Runs a shell command of printf; its status. */
__attribute__((format(printf, 1, 2)))
int play_shell(const char *format, ...);

__attribute__((format(printf, 1, 2), noreturn))
void play_fail(const char *format, ...);

#endif
