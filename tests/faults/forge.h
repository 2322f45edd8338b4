/* SPDX-License-Identifier: Apache-2.0 */
/* forge.h - a touched journal (copies.h) made to hold again, as far as its forger can. */
#ifndef POSTWALK_TEST_FORGE_H
#define POSTWALK_TEST_FORGE_H

#include "copies.h"

/* What a journal is made of, to be made again. */
struct forge {
	struct copies *c;
	char dir[96], why[300];
	struct pw_journal *j;
	const struct pw_secret_key *key; /* NULL: he has none */
	char sql[65536];
	size_t length;
};

__attribute__((format(printf, 2, 3)))
static inline void forge_sql(struct forge *f, const char *format, ...)
{
	va_list args;
	int n;

	va_start(args, format);
	n = vsnprintf(f->sql + f->length, sizeof(f->sql) - f->length, format, args);
	va_end(args);
	assert_true(n > 0 && (size_t)n < sizeof(f->sql) - f->length);
	f->length += (size_t)n;
}

static inline void forge_record(struct forge *f, struct pw_record *r, char prev[65])
{
	memcpy(r->prev, prev, 65);
	pw_record_hash(PLAY_BUS, r, prev);
	forge_sql(f, "UPDATE record SET prev = '%s', hash = '%s' WHERE seq = %d;", r->prev, prev,
		  (int)r->seq);
	forge_sql(f, "UPDATE seal SET hash = '%s' WHERE seq = %d;", prev, (int)r->seq);
}

static inline void forge_seal(struct forge *f, const struct pw_record *r, const char hash[65])
{
	struct pw_seal s = { .seq = r->seq };

	memcpy(s.hash, hash, sizeof(s.hash));
	pw_seal_make(PLAY_BUS, r->epoch, &s, f->key);
	forge_sql(f, "UPDATE seal SET sig = '%s' WHERE seq = %d;", s.sig, (int)r->seq);
}

static inline void forge_kept(struct forge *f, const struct pw_record *last, const char hash[65])
{
	struct pw_kept_row row;

	assert_int_equal(pw_journal_kept(f->j, &row, f->why, sizeof(f->why)), 1);
	row.seq = last->seq;
	memcpy(row.hash, hash, sizeof(row.hash));
	if (f->key)
		pw_kept_sign(PLAY_BUS, last->epoch, &row, f->key);
	forge_sql(f, "UPDATE kept SET seq = %d, hash = '%s', sig = '%s';", (int)row.seq, row.hash,
		  row.sig);
}

/* Makes the chain hold again from that record on; with the key, seals and kept state as well. */
static inline void forge(struct copies *c, uint64_t from, const struct pw_secret_key *key)
{
	static struct forge f;
	struct pw_record r = { .seq = 0 };
	char path[128], prev[65];

	f = (struct forge){ .c = c, .key = key };
	snprintf(f.dir, sizeof(f.dir), "%s/now/state", c->base);
	snprintf(path, sizeof(path), "%s/journal.db", f.dir);
	assert_int_equal(pw_journal_open(path, NULL, false, &f.j, f.why, sizeof(f.why)), 0);
	while (pw_journal_read(f.j, r.seq + 1, &r, f.why, sizeof(f.why)) == 1) {
		if (r.seq < from)
			memcpy(prev, r.hash, sizeof(prev));
		else
			forge_record(&f, &r, prev);
		if (r.seq >= from && key)
			forge_seal(&f, &r, prev);
	}
	forge_kept(&f, &r, prev);
	pw_journal_close(f.j);
	copies_sql(c, f.sql);
}

static inline void forge_key(struct copies *c, struct pw_secret_key *key)
{
	char dir[96], why[300];
	bool drawn;

	snprintf(dir, sizeof(dir), "%s/now/state", c->base);
	assert_int_equal(pw_secret_key_load(dir, "bus", key, &drawn, why, sizeof(why)), 0);
	assert_false(drawn);
}

/* The seal of the head, as the journal has it now, into both files. */
static inline void forge_files(struct copies *c)
{
	char path[128], dir[96], why[300];
	struct pw_seal_file f;
	struct pw_journal *j;

	copies_shell(c, "rm state/seal.a state/seal.b");
	snprintf(dir, sizeof(dir), "%s/now/state", c->base);
	snprintf(path, sizeof(path), "%s/journal.db", dir);
	assert_int_equal(pw_journal_open(path, NULL, false, &j, why, sizeof(why)), 0);
	strcpy(f.bus, pw_journal_bus(j));
	strcpy(f.epoch, pw_journal_epoch(j));
	assert_int_equal(pw_journal_read_seal(j, pw_journal_sealed(j), &f.seal, why, sizeof(why)),
		1);
	pw_journal_close(j);
	for (int i = 0; i < 2; i++)
		assert_int_equal(pw_seal_file_write(dir, &f), 0);
}

#endif
