/* SPDX-License-Identifier: Apache-2.0 */
/*
 * made.h - made-up journals for the office's tests: records with their chain, seals by a made-up
 * key, and batches of them as text. Another world's journal has the same beginning and another end.
 */
#ifndef OFFICE_MADE_H
#define OFFICE_MADE_H

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "office/intake_internal.h"

#define MADE_MAX 4000
#define MADE_NOW INT64_C(1760450000000) /* 14 October 2025 */

struct made {
	char bus[PW_NAME_MAX], epoch[17];
	struct pw_secret_key key;
	size_t records;
	struct pw_record record[MADE_MAX + 1]; /* by seq */
	char body[MADE_MAX + 1][200];
	bool sealed[MADE_MAX + 1];
	unsigned spice;                        /* in bodies: what makes two journals differ */
};

/* A key of its own for each number. */
static inline void made_key(unsigned number, struct pw_secret_key *key)
{
	unsigned char seed[32] = { 7, (unsigned char)number, (unsigned char)(number >> 8) };

	pw_secret_key_from(seed, key);
}

static inline void made_begin(struct made *m, const char *bus, const char *epoch, unsigned key)
{
	memset(m, 0, offsetof(struct made, record));
	snprintf(m->bus, sizeof(m->bus), "%s", bus);
	snprintf(m->epoch, sizeof(m->epoch), "%s", epoch);
	made_key(key, &m->key);
}

/* One record more. body NULL: some edges. */
static inline void made_add(struct made *m, enum pw_kind kind, const char *body)
{
	const size_t seq = ++m->records;
	struct pw_record *r = &m->record[seq];

	assert_true(seq <= MADE_MAX);
	if (body)
		snprintf(m->body[seq], sizeof(m->body[seq]), "%s", body);
	else
		snprintf(m->body[seq], sizeof(m->body[seq]),
			 "{\"line\":\"ignition\",\"from\":0,\"at_ms\":[%zu,%u]}", seq * 1000,
			 m->spice);
	*r = (struct pw_record){ .seq = seq, .boot = 1, .mono_ms = (int64_t)seq * 1000,
				 .wall_ms = MADE_NOW - 1000000 + (int64_t)seq * 10, .wall_ok = true,
				 .kind = kind, .body = m->body[seq] };
	memcpy(r->epoch, m->epoch, sizeof(r->epoch));
	if (seq == 1)
		memset(r->prev, '0', 64);
	else
		memcpy(r->prev, m->record[seq - 1].hash, sizeof(r->prev));
	pw_record_hash(m->bus, r, r->hash);
}

/* Edges up to there, each fifth sealed, and the last. */
static inline void made_grow(struct made *m, size_t upto)
{
	while (m->records < upto) {
		made_add(m, PW_K_EDGES, NULL);
		m->sealed[m->records] = m->records % 5 == 0 || m->records == upto;
	}
}

/* Back to there, as a journal that was put back; what is added from now on differs. */
static inline void made_rewind(struct made *m, size_t to, unsigned spice)
{
	m->records = to;
	m->spice = spice;
}

static inline void made_seal(const struct made *m, size_t seq, struct pw_seal *seal)
{
	*seal = (struct pw_seal){ .seq = seq };
	memcpy(seal->hash, m->record[seq].hash, sizeof(seal->hash));
	pw_seal_make(m->bus, m->epoch, seal, &m->key);
}

struct text {
	char *at;
	size_t length;
};

/* A batch of [from..upto]; its last record is sealed, whether it was or not. To be freed. */
static inline struct text made_text(const struct made *m, size_t from, size_t upto)
{
	char line[PW_EXPORT_LINE_MAX];
	size_t seals = 0;
	struct text t;
	FILE *f = open_memstream(&t.at, &t.length);
	struct pw_seal seal;

	assert_non_null(f);
	assert_true(pw_export_head(m->bus, &m->key.public, line, sizeof(line)) > 0);
	fprintf(f, "%s\n", line);
	for (size_t i = from; i <= upto; i++) {
		assert_true(pw_export_record(&m->record[i], line, sizeof(line)) > 0);
		fprintf(f, "%s\n", line);
		if (!m->sealed[i] && i != upto)
			continue;
		made_seal(m, i, &seal);
		assert_true(pw_export_seal(&seal, line, sizeof(line)) > 0);
		fprintf(f, "%s\n", line);
		seals++;
	}
	assert_true(pw_export_end(upto - from + 1, seals, line, sizeof(line)) > 0);
	fprintf(f, "%s\n", line);
	assert_int_equal(fclose(f), 0);
	return t;
}

static inline struct pw_batch *made_batch(const struct made *m, size_t from, size_t upto,
					  bool begins)
{
	struct text t = made_text(m, from, upto);
	struct pw_wrong wrong = { .status = 0 };
	struct pw_batch *b;

	if (pw_batch_read(t.at, t.length, m->bus, &m->key.public, false, MADE_NOW, &b, &wrong))
		fail_msg("line %u: %s", wrong.line, wrong.words);
	free(t.at);
	b->begins = begins;
	return b;
}

/* xorshift64*: the same numbers for the same seed. */
static inline uint64_t made_random(uint64_t *state)
{
	*state ^= *state >> 12;
	*state ^= *state << 25;
	*state ^= *state >> 27;
	return *state * 2685821657736338717u;
}

static inline uint64_t made_seed(void)
{
	const char *given = getenv("SEED");
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	uint64_t seed = given ? strtoull(given, NULL, 10) : (uint64_t)t.tv_nsec * 2654435761u + 1;

	print_message("SEED=%llu\n", (unsigned long long)seed);
	return seed;
}

#endif
