/* SPDX-License-Identifier: Apache-2.0 */
/* fleet_life_internal.h - all the days of one bus, and the journals that come of them. */
#ifndef POSTWALK_FLEET_LIFE_INTERNAL_H
#define POSTWALK_FLEET_LIFE_INTERNAL_H

#include "fleet_book_internal.h"
#include "fleet_day_internal.h"

/* In the order of delivery. */
enum pw_history_kind {
	PW_HISTORY_OLD, /* put aside, or what the card held before an older copy was put back */
	PW_HISTORY_OWN,
	PW_HISTORY_CLONE, /* of the second vehicle */
	PW_HISTORIES
};
struct pw_history {
	struct pw_book book; /* count 0: there is none */
	const char *name;    /* "", "aside", "before", "clone" */
	uint64_t deliver;    /* sealed up to there when the bus was last within reach */
};

/* A receipt as the office gave it, in the evening of that day. */
struct pw_got {
	unsigned day;
	enum pw_history_kind history;
	bool alert;
	uint64_t seq;
	int64_t time_ms;
	char hash[65], nonce[33], sig[129];
};

/* Every day in order: of the bus, and from some day on of its second vehicle as well. 0; -1: no
 * memory, and nothing was taken. */
int pw_fleet_days(const struct pw_fleet *f, const struct pw_fleet_bus *b,
		   void (*take)(void *ctx, const struct pw_fleet_day *d, bool second), void *ctx);

struct pw_fleet_life {
	struct pw_fleet_bus bus;
	struct pw_history history[PW_HISTORIES];
};
/* got: in the order in which they came. 0; -1: no memory, said in why. Free it in either case. */
int pw_fleet_live(const struct pw_fleet *f, unsigned index, const struct pw_got *got, size_t count,
		  struct pw_fleet_life *life, char *why, size_t size);
void pw_fleet_life_free(struct pw_fleet_life *life);

#endif
