/* SPDX-License-Identifier: Apache-2.0 */
/* One pass over a journal or an export for one sweep. */
#include <inttypes.h>
#include <stdio.h>

#include "journal_internal.h"

#define SHOWN " (postwalk journal --kind sweep shows the sweeps)"

static int take_item(struct pw_gathering *g, struct pw_source *s, const struct pw_source_item *item)
{
	char why[200];

	if (item->kind == PW_ITEM_SEAL) {
		pw_gather_seal(g, item->seal);
		return 0;
	}
	if (pw_gather_record(g, item->record, why, sizeof(why)) == 0)
		return 0;
	fprintf(stderr, "%s: %s" SHOWN "\n", pw_source_name(s), why);
	return -1;
}

/* Until the sweep is told whole and sealed. */
static int take_all(struct pw_gathering *g, struct pw_source *s, uint64_t *first, uint64_t *last)
{
	struct pw_source_item item;
	int got;

	*first = *last = 0;
	while (!pw_gather_done(g) && (got = pw_source_next(s, &item)) != 0) {
		if (got < 0)
			return -1;
		if (item.kind == PW_ITEM_RECORD) {
			*last = item.record->seq;
			*first = *first ? *first : *last;
		}
		if (take_item(g, s, &item))
			return -1;
	}
	return 0;
}

int pw_gather(struct pw_source *s, uint64_t seq, const struct pw_public_key *key,
	      struct pw_told_sweep *t)
{
	struct pw_gathering *g = pw_gather_begin(pw_source_bus(s), seq, key, t);
	uint64_t first, last;
	int result;

	if (!g) {
		fprintf(stderr, "%s: no memory for what came before the sweep\n", pw_source_name(s));
		return -1;
	}
	result = take_all(g, s, &first, &last);
	if (!pw_gather_end(g) && result == 0) {
		fprintf(stderr, "%s: expected the seq of a sweep, and %" PRIu64 " is not there: it "
			"holds %" PRIu64 " to %" PRIu64 SHOWN "\n", pw_source_name(s), seq, first, last);
		return -1;
	}
	return result;
}
