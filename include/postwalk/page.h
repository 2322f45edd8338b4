/* SPDX-License-Identifier: Apache-2.0 */
/*
 * page.h - what is shown on the bus: a web page and /status.json, by a process of its own.
 *
 * The page process gets a listening socket and a channel to the watch, and drops every right it
 * can. It asks for a snapshot; the watch answers with a copy, never blocking: an answer that the
 * channel cannot take is dropped. Killing, stopping or loading the page moves nothing in the watch.
 */
#ifndef POSTWALK_PAGE_H
#define POSTWALK_PAGE_H

#include <sys/types.h>

#include "postwalk/record.h"

#define PW_SNAPSHOT_VERSION 1
#define PW_FAULTS_SHOWN 8

/* How things stand: a copy, version and size first, checked before the rest is read. */
struct pw_snapshot {
	uint32_t version, size;
	int64_t now_ms, wall_ms;      /* boot clock; Unix */
	char bus[PW_NAME_MAX];
	char board[16];               /* "gpiod", "bench" */
	enum pw_phase phase;
	enum pw_signal sounding;
	char rung[PW_NAME_MAX];       /* its name, "none" */
	bool carried, service;
	int64_t t0_ms, due_ms, basis_ms, press_ms, service_end_ms; /* of the open sweep; PW_NO_TIME */
	int64_t walk_min_ms, return_min_ms, return_max_ms;
	int64_t rows;
	enum pw_owed_when owed_when;
	uint32_t findings;            /* of the open sweep */
	int64_t refused_ms;           /* the last refusal's edge in it, or PW_NO_TIME */
	enum pw_why refused_why;
	uint32_t levels, outputs;     /* bit i: line i */
	struct pw_snapshot_line {
		char name[PW_NAME_MAX];
		bool configured, out;
		int64_t age_ms;       /* since it last changed; -1: not seen to change */
		char fault[120];      /* "" when well */
	} line[PW_LINES];
	uint32_t fault_count;
	struct { char name[PW_NAME_MAX + 8]; char words[160]; } fault[PW_FAULTS_SHOWN];
	uint32_t recent_count;        /* newest first; wall_ms of closing */
	struct pw_recent recent[PW_RECENT_MAX];
	uint64_t seq;                 /* records committed, as told */
	uint32_t waiting;             /* records not yet on the disk */
};

struct pw_page;

/* The page at HOST:PORT, a numeric address (IPv6 in brackets) or localhost. pw_page_tend binds it and
 * starts the process: a taken port or a bad address is its fault, tried again, and does not end the
 * watch. 0, or -1 with errno (no memory). */
int pw_page_start(const char *listen, struct pw_page **page);
void pw_page_stop(struct pw_page *page);
/* One fd for the page's whole life, whatever becomes of its process. Readable: the process asks, or
 * is ready, or is dead: call pw_page_asked, then pw_page_tend. */
int pw_page_fd(const struct pw_page *page);
/* 0 when there is no process. */
pid_t pw_page_pid(const struct pw_page *page);
/* Restarts a dead page, binds again; without blocking. True when its fault changed. Call it once
 * after pw_page_start, after pw_page_asked, and at pw_page_next_ms (PW_NEVER: no need). */
bool pw_page_tend(struct pw_page *page, int64_t now_ms);
int64_t pw_page_next_ms(const struct pw_page *page);
/* Takes what is waiting. True when an answer is wanted: give it a copy by pw_page_answer. */
bool pw_page_asked(struct pw_page *page);
void pw_page_answer(struct pw_page *page, const struct pw_snapshot *snapshot);
/* Why there is no page, or NULL. */
const char *pw_page_fault(const struct pw_page *page);

/* /status.json of a snapshot. Length without the closing zero, or -1 when buf is too small.
 * Fields: docs/status.md. */
int pw_page_status(const struct pw_snapshot *s, char *buf, size_t size);

#endif
