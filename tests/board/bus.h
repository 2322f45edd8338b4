/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A bus on the emulated board: postwalkd in the guest, its wires pulled from outside, its signals
 * and words heard outside. The policy is postwalk.conf of this folder.
 *
 * Everything here is for tests: what does not come in time, or does not succeed, fails the test
 * that runs. What waits, waits for an event of the board.
 */
#ifndef POSTWALK_TESTS_BUS_H
#define POSTWALK_TESTS_BUS_H

#include "guest.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <jansson.h>

/* As postwalk.conf has them. */
enum wire {
	IGNITION, REAR_BUTTON, REAR_BUTTON_NC, REAR_DOOR, SERVICE_DOOR, BEEPER, HORN, LAMP,
	WIRES,
	INPUT_WIRES = BEEPER
};
extern const char *const wire_names[WIRES];

/* Hears of every question to the page, before it is asked and when it was answered. */
struct bus_ear {
	void (*asking)(struct bus_ear *ear);
	void (*told)(struct bus_ear *ear, const json_t *status);
};

struct bus {
	struct pw_guest *guest;
	struct bus_ear *ear; /* or NULL */
	size_t heard;    /* of the console, by bus_hear */
	char disk[512];  /* outlives the power cuts */
	char disk_log[512]; /* of what the disk is given (disklog.h), or "": none */
	char state[512]; /* where bus_journal unpacks it */
	char console[512]; /* what was said, appended at each cut */
};

/* A command of this machine, which must succeed. */
__attribute__((format(printf, 1, 2)))
void bus_shell(const char *format, ...);

/* A bus with an empty disk, named so in BOARD's folder; no power yet. */
void bus_build(struct bus *bus, const char *name);
void bus_scrap(struct bus *bus); /* cuts the power, removes the disk */

/* Powers the board on, doors shut and button released, and starts postwalkd. */
void bus_power_on(struct bus *bus, const char *rtc, unsigned int ignition);
void bus_cut(struct bus *bus);

void bus_run(struct bus *bus, const char *command, char *output, size_t size);
void bus_pull(struct bus *bus, enum wire wire, unsigned int level);
void bus_await(struct bus *bus, enum wire wire, unsigned int level);

/* Waits until postwalkd says a line that begins so, after what it was last heard to say. */
void bus_hear(struct bus *bus, const char *words);
/* How many such lines it said from a place of the console on. */
size_t bus_count(const struct bus *bus, size_t from, const char *words);

/* /status.json of the page at that port, to be given back by json_decref. */
json_t *bus_status(struct bus *bus, int port);
/* Asks for it until it is as wanted; gives it back. */
typedef int bus_wanted(const json_t *status, const void *what);
json_t *bus_await_status(struct bus *bus, int port, bus_wanted *wanted, const void *what);
/* Of a line's name: its entry in the status. */
const json_t *bus_line(const json_t *status, const char *name);
/* Whether an array of words holds that one; whether a fault stands and its words hold these. */
int bus_has(const json_t *words, const char *word);
int bus_has_fault(const json_t *status, const char *name, const char *words);

/* Until all records are on the disk, and the state with them. */
void bus_await_kept(struct bus *bus);

/* What a driver does, each with its end awaited. */
void bus_await_check(struct bus *bus); /* lamp and beeper at key-on, until both are out */
void bus_key_on(struct bus *bus);
void bus_key_off(struct bus *bus); /* until the prompt sounds */
void bus_walk(struct bus *bus);    /* until a press is no longer too soon */
void bus_press(struct bus *bus, const char *answer); /* and release */
void bus_leave(struct bus *bus, const char *verdict); /* second look, service door */

/* Lengths of a line's last levels, newest last, in ms; the level that still lasts is none. */
struct spell {
	unsigned int level;
	long long ms;
};
size_t bus_spells(const struct bus *bus, enum wire wire, size_t first_edge, struct spell *spells,
		  size_t max);
size_t bus_edges(const struct bus *bus); /* edges of all lines so far */

/* After a cut: the journal as the disk holds it replays to its own records (J9), which are given
 * back as an array, to be given back by json_decref. */
json_t *bus_journal(struct bus *bus);
/* In how many moments of that trace these words stand. */
size_t bus_traced(const struct bus *bus, const char *words);

#endif
