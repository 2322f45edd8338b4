/* SPDX-License-Identifier: Apache-2.0 */
/* uplink_journal.h - a made-up journal in memory, chained and sealed, and its stretches as text. */
#ifndef POSTWALK_TEST_UPLINK_JOURNAL_H
#define POSTWALK_TEST_UPLINK_JOURNAL_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "postwalk/journal.h"

#define RECORDS_MAX 64
#define EVERY 4 /* that many records a seal */
#define EPOCH "0123456789abcdef"
#define BUS "14"

struct journal {
	struct pw_secret_key key;
	uint64_t records; /* seq 1 to this; the last one is sealed */
	struct pw_record record[RECORDS_MAX + 1];
	char body[RECORDS_MAX + 1][64];
	struct pw_seal seal[RECORDS_MAX + 1]; /* seq 0: none */
};

static inline void journal_add(struct journal *j, const char *salt)
{
	const uint64_t seq = ++j->records;
	struct pw_record *r = &j->record[seq];

	assert_true(seq <= RECORDS_MAX);
	snprintf(j->body[seq], sizeof(j->body[seq]), "{\"at_ms\":%d,\"salt\":\"%s\"}", (int)seq, salt);
	*r = (struct pw_record){ .seq = seq, .boot = 1, .mono_ms = (int64_t)seq * 1000,
				 .wall_ms = 1790000000000 + (int64_t)seq * 1000, .wall_ok = true,
				 .kind = PW_K_EXCUSED, .epoch = EPOCH, .body = j->body[seq] };
	if (seq == 1)
		memset(r->prev, '0', 64);
	else
		memcpy(r->prev, j->record[seq - 1].hash, sizeof(r->prev));
	pw_record_hash(BUS, r, r->hash);
}

static inline void journal_seal(struct journal *j)
{
	struct pw_seal *s = &j->seal[j->records];

	*s = (struct pw_seal){ .seq = j->records };
	memcpy(s->hash, j->record[j->records].hash, sizeof(s->hash));
	pw_seal_make(BUS, EPOCH, s, &j->key);
}

/* So many records; from other_from on (0: nowhere) they are others than those of the plain one. */
static inline void journal_make(struct journal *j, uint64_t records, uint64_t other_from)
{
	static const unsigned char seed[32] = "a bus of a made-up yard";

	memset(j, 0, sizeof(*j));
	pw_secret_key_from(seed, &j->key);
	while (j->records < records) {
		journal_add(j, other_from && j->records + 1 >= other_from ? "other" : "one");
		if (j->records % EVERY == 0 || j->records == records)
			journal_seal(j);
	}
}

/* An export of first to last, with its seals; to be freed. */
static inline char *journal_text(const struct journal *j, uint64_t first, uint64_t last)
{
	const size_t size = 4096 + (size_t)(last - first + 1) * 2048;
	char *text = malloc(size), *at = text;
	uint64_t seals = 0;
	int n;

	assert_non_null(text);
#define PUT(call) do { \
	n = call; \
	assert_true(n > 0); \
	at += n; \
	*at++ = '\n'; \
} while (0)
	PUT(pw_export_head(BUS, &j->key.public, at, size));
	for (uint64_t seq = first; seq <= last; seq++) {
		PUT(pw_export_record(&j->record[seq], at, size - (size_t)(at - text)));
		if (j->seal[seq].seq == 0)
			continue;
		seals++;
		PUT(pw_export_seal(&j->seal[seq], at, size - (size_t)(at - text)));
	}
	PUT(pw_export_end(last - first + 1, seals, at, size - (size_t)(at - text)));
#undef PUT
	*at = '\0';
	return text;
}

static inline uint64_t journal_next_seal(const struct journal *j, uint64_t from)
{
	for (uint64_t seq = from; seq <= j->records; seq++)
		if (j->seal[seq].seq)
			return seq;
	return 0;
}

#endif
