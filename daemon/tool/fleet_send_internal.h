/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_send_internal.h - what a call asks for, what is kept between calls, and delivery. */
#ifndef POSTWALK_FLEET_SEND_INTERNAL_H
#define POSTWALK_FLEET_SEND_INTERNAL_H

#include <pthread.h>
#include <stdio.h>

#include "fleet_life_internal.h"
#include "postwalk/delivery.h"

struct pw_fleet_options { /* texts: NULL where not given */
	int64_t buses, days, seed; /* -1: not given */
	int64_t connections, within_ms, a_minute, patience_ms;
	const char *to, *from, *zone, *codes, *state, *out, *runs, *ca, *pin;
	bool list, quiet;
};

/* -- fleet_state.c: DIR/fleet.jsonl, a line for each thing that came to be --------------------- */

struct pw_enrolled { /* of one bus */
	char token[PW_TOKEN_MAX], code[64];
	struct pw_public_key office;
	struct pw_got *got;
	size_t count, room;
};
struct pw_fleet_state {
	char zone[64];
	int fd;              /* -1: nothing is kept */
	bool begun;          /* there was such a file: fleet is as it says */
	struct pw_fleet fleet;
	unsigned before;     /* days of the calls before */
	struct pw_enrolled *bus;
	pthread_mutex_t lock;
};
/* dir NULL: of this call alone. 0; -2: said in why. Close it in either case. */
int pw_fleet_state_open(struct pw_fleet_state *s, const char *dir, char *why, size_t size);
void pw_fleet_state_close(struct pw_fleet_state *s);
/* For the buses of the fleet; where there is room already, nothing. 0; -2: no memory. */
int pw_fleet_state_room(struct pw_fleet_state *s);
/* fleet is set, and there is room: keeps what it is, and the days of this call. 0 or -2. */
int pw_fleet_state_begin(struct pw_fleet_state *s, char *why, size_t size);
/* From any thread. 0, or -2. */
int pw_fleet_state_token(struct pw_fleet_state *s, unsigned index, const struct pw_place *p,
			 char *why, size_t size);
int pw_fleet_state_got(struct pw_fleet_state *s, unsigned index, const struct pw_got *got,
		       char *why, size_t size);
/* Lines of BUS and CODE, and whatever else; those of other buses are passed over. 0 or -2; why "":
 * said already. */
int pw_fleet_codes_read(struct pw_fleet_state *s, const char *path, char *why, size_t size);

/* -- fleet_tell.c: the truth, the run sheet, exports. 0, or -2 said in why --------------------- */

int pw_fleet_list(const struct pw_fleet *f, unsigned since, FILE *to, char *why, size_t size);
int pw_fleet_run_sheet(const struct pw_fleet *f, unsigned since, const char *path, char *why,
		       size_t size);
int pw_fleet_exports(struct pw_fleet_state *s, const char *dir, char *why, size_t size);

/* -- fleet_send.c: one bus comes in ------------------------------------------------------------ */

struct pw_sums { uint64_t records, sent, receipted, there, forks, refused; };
struct pw_delivering {
	struct pw_fleet_state *state;
	const struct pw_fleet_options *options;
	struct pw_place place; /* without token and key */
};
/* Adds to sums. False: not all that was to be delivered is receipted; said in why. */
bool pw_fleet_deliver(const struct pw_delivering *d, unsigned index, struct pw_sums *sums,
		      char *why, size_t size);

/* -- fleet_crowd.c: all of them, at one time --------------------------------------------------- */

/* The office as the options name it. 0; -2: nothing can be sent there. Before there are threads. */
int pw_fleet_office(const struct pw_fleet_options *o, struct pw_place *p, char *why, size_t size);
/* PW_EXIT_OK or PW_EXIT_NOT. */
int pw_fleet_send(struct pw_fleet_state *s, const struct pw_fleet_options *o,
		  const struct pw_place *p);

#endif
