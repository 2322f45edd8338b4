/* SPDX-License-Identifier: Apache-2.0 */
/* sweep.h - one row with all that stands behind it, out of the store and into a page. */
#ifndef POSTWALK_OFFICE_SWEEP_H
#define POSTWALK_OFFICE_SWEEP_H

#include "judged.h"
#include "sweeps.h"

/* A record as the page lists it. */
struct pw_listed {
	uint64_t seq;
	int64_t wall_ms;
	enum pw_kind kind;
	bool sealed;
	char hash[65];
};
#define PW_LISTED_MAX 400
#define PW_CORRECTIONS_SHOWN 50

/* Fill in q and key; to be ended in any case. */
struct pw_one_sweep {
	struct pw_asked *q;
	struct pw_audit_key key;
	bool found;                       /* the row is */
	struct pw_audit_row row;
	struct pw_correction correction[PW_CORRECTIONS_SHOWN];
	size_t corrections;
	/* Of its records; told false: none of a sweep stand here. */
	bool told;
	struct pw_told_sweep of;
	struct pw_public_key key_now, key_by; /* the bus's; the one that the seal is by */
	bool sealed;                      /* by a key of the bus, and the chain holds up to it */
	struct pw_seal seal;              /* of_seal_seq; "" hash: none came */
	char prev[65], *body;             /* of its own record */
	struct pw_listed *listed;
	size_t listed_count;
	struct pw_gathering *gathering;   /* while it is read */
	bool refused;                     /* a body that is no sweep's, or no memory */
};

/* -- sweep_read.c: on the desk; ctx: struct pw_one_sweep ----------------------------------------- */

int pw_one_sweep_read(struct pw_store *s, void *ctx, char *why, size_t size);
void pw_one_sweep_end(struct pw_one_sweep *o);

/* -- sweep_check.c: what can be typed to check it ------------------------------------------------ */

void pw_sweep_check(const struct pw_one_sweep *o, struct pw_report *r);

#endif
