/* SPDX-License-Identifier: Apache-2.0 */
/*
 * One sweep's records: from a stretch before it, in which the stop before stands, to the seal that is
 * over it; and the policy's, which may stand far back.
 */
#include <stdlib.h>
#include <string.h>

#include "sweep.h"

#define BEFORE 600 /* records: some tens of stops */
#define BEHIND 1200 /* a seal comes every 256 records at the latest (J4) */

/* -- the policy -------------------------------------------------------------------------------- */

static int take_policy(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct pw_one_sweep *o = ctx;
	char why[200];

	(void)seal;
	o->refused = r->kind == PW_K_POLICY && pw_gather_record(o->gathering, r, why, sizeof(why));
	return 1;
}

static int read_policy(struct pw_store *s, struct pw_one_sweep *o, uint64_t before, char *why,
		       size_t size)
{
	const struct pw_audit_row *row = &o->row;
	uint32_t branch = row->branch;
	uint64_t seq;
	int result = pw_store_policy_before(s, row->key.bus, row->epoch, &branch, before, &seq, why,
					    size);

	if (result <= 0)
		return result;
	result = pw_store_read(s, row->key.bus, row->epoch, branch, seq, take_policy, o, why, size);
	return result < 0 ? result : 0;
}

/* -- the stretch ------------------------------------------------------------------------------- */

/* What a stop before it has ended is of no interest. */
static void list(struct pw_one_sweep *o, const struct pw_record *r, bool sealed)
{
	const bool stop = r->kind == PW_K_SWEEP || r->kind == PW_K_RESTART || r->kind == PW_K_EXCUSED;
	struct pw_listed *l;

	if (r->seq < o->row.seq && stop)
		o->listed_count = 0;
	if (o->listed_count == PW_LISTED_MAX)
		return;
	l = &o->listed[o->listed_count++];
	*l = (struct pw_listed){ .seq = r->seq, .wall_ms = r->wall_ms, .kind = r->kind,
				 .sealed = sealed };
	memcpy(l->hash, r->hash, sizeof(l->hash));
}

static bool keep_own(struct pw_one_sweep *o, const struct pw_record *r)
{
	memcpy(o->prev, r->prev, sizeof(o->prev));
	o->body = strdup(r->body);
	return o->body != NULL;
}

static int take_record(void *ctx, const struct pw_record *r, const struct pw_seal *seal)
{
	struct pw_one_sweep *o = ctx;
	char why[200];

	if (r->seq > o->row.seq + BEHIND || pw_gather_done(o->gathering))
		return 1;
	if (!o->seal.hash[0] || r->seq <= o->row.seq)
		list(o, r, seal != NULL);
	o->refused = pw_gather_record(o->gathering, r, why, sizeof(why)) ||
		     (r->seq == o->row.seq && !keep_own(o, r));
	if (o->refused)
		return 1;
	if (seal)
		pw_gather_seal(o->gathering, seal);
	if (seal && r->seq >= o->row.seq && !o->seal.hash[0])
		o->seal = *seal;
	return 0;
}

static int read_stretch(struct pw_store *s, struct pw_one_sweep *o, char *why, size_t size)
{
	const struct pw_audit_row *row = &o->row;
	const uint64_t from = row->seq > BEFORE ? row->seq - BEFORE : 1;
	int result;

	o->listed = calloc(PW_LISTED_MAX, sizeof(*o->listed));
	o->gathering = pw_gather_begin(row->key.bus, row->seq, &o->key_now, &o->of);
	if (!o->listed || !o->gathering) {
		snprintf(why, size, "there is no memory for the records of a sweep");
		return -1;
	}
	result = read_policy(s, o, from, why, size);
	if (result == 0 && !o->refused)
		result = pw_store_read(s, row->key.bus, row->epoch, row->branch, from, take_record,
				       o, why, size);
	return result < 0 ? result : 0;
}

/* -- the key ----------------------------------------------------------------------------------- */

/* One that the bus had before. */
static int take_key(void *ctx, const struct pw_key_row *row)
{
	struct pw_one_sweep *o = ctx;

	if (o->sealed || !row->accepted || strcmp(row->bus, o->row.key.bus) != 0)
		return 0;
	o->sealed = pw_seal_holds(row->bus, o->row.epoch, &o->seal, &row->key);
	if (o->sealed)
		o->key_by = row->key;
	return 0;
}

static int find_key(struct pw_store *s, struct pw_one_sweep *o, char *why, size_t size)
{
	o->key_by = o->key_now;
	o->sealed = o->told && o->of.seal == PW_SEALED;
	if (!o->told || o->of.seal != PW_SEAL_WRONG)
		return 0;
	return pw_store_keys(s, false, take_key, o, why, size);
}

/* ---------------------------------------------------------------------------------------------- */

static int keep_correction(void *ctx, const struct pw_correction *c)
{
	struct pw_one_sweep *o = ctx;

	o->correction[o->corrections++] = *c;
	return o->corrections == PW_CORRECTIONS_SHOWN;
}

static int read_sweep(struct pw_store *s, struct pw_one_sweep *o, char *why, size_t size)
{
	struct pw_bus_row bus;
	int result = pw_store_bus(s, o->row.key.bus, &bus, why, size);

	if (result < 0)
		return result;
	if (result == 1)
		o->key_now = bus.key;
	result = read_stretch(s, o, why, size);
	if (o->gathering)
		o->told = pw_gather_end(o->gathering) && !o->refused;
	o->gathering = NULL;
	return result ? result : find_key(s, o, why, size);
}

int pw_one_sweep_read(struct pw_store *s, void *ctx, char *why, size_t size)
{
	struct pw_one_sweep *o = ctx;
	int result = pw_audit_row(s, &o->key, &o->row, why, size);

	if (result <= 0)
		return result;
	o->found = true;
	result = pw_audit_corrections(s, &o->row.key, keep_correction, o, why, size);
	if (result >= 0 && o->row.seq)
		result = read_sweep(s, o, why, size);
	if (result < 0)
		return result;
	return pw_asked_log(o->q, s, why, size, PW_LOG_SAW "a row of bus %s, day %d, driver %s",
			    o->row.key.bus, o->row.key.day, o->row.driver[0] ? o->row.driver : "-");
}

void pw_one_sweep_end(struct pw_one_sweep *o)
{
	pw_gather_free(&o->of);
	free(o->body);
	free(o->listed);
}
