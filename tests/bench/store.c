/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The store alone beside the databases' own clients: the very same rows into the very same tables,
 * with the same durability and as many rows a commit, by pw_store_put, by `sqlite3` and by `psql`.
 *
 *	store FOLDER [RECORDS]
 *
 * Puts of 256 records (a sweep in 30, a seal in 16: our own figures), a commit for 16 puts. sqlite3
 * reads INSERTs; psql COPYs, all rows of a commit at once, which is the fastest way it has, and
 * INSERTs of 256 rows. Five rounds, one after the other by turns; the median. FOLDER: on the disk
 * that is to be measured.
 */
#include <inttypes.h>
#include <sodium.h>

#include "../office/pg_server.h"
#include "office/store_internal.h"

#define PUT 256     /* records */
#define COMMIT 16   /* puts */
#define BUSES 48
#define ROUNDS 5
#define SWEEP 30    /* records */
#define SEAL 16
#define FIRST_MS INT64_C(1792000000000)

struct made {
	size_t puts;
	struct pw_put *put;
};

__attribute__((noreturn))
static void give_up(const char *why)
{
	fprintf(stderr, "store: %s\n", why);
	exit(1);
}

static void must(int result, const char *why)
{
	if (result < 0)
		give_up(why);
}

static void *many(size_t count, size_t size)
{
	void *made = calloc(count, size);

	if (made == NULL)
		give_up("no memory");
	return made;
}

/* -- rows -------------------------------------------------------------------------------------- */

static char *body_of(uint64_t seq, int64_t ms)
{
	char text[700];
	int n;

	if (seq % SWEEP == 0)
		snprintf(text, sizeof(text),
			 "{\"t0_ms\":%" PRId64 ",\"press_ms\":%" PRId64 ",\"exit_ms\":%" PRId64
			 ",\"close_ms\":%" PRId64 ",\"walk_ms\":41200,\"return_ms\":32100,"
			 "\"late_ms\":0,\"verdict\":\"done\",\"findings\":[],\"refusals\":[],"
			 "\"t0_wall_ms\":%" PRId64 ",\"press_wall_ms\":%" PRId64
			 ",\"close_wall_ms\":%" PRId64 ",\"rung\":\"\"}",
			 ms, ms + 41200, ms + 73300, ms + 73300, FIRST_MS + ms,
			 FIRST_MS + ms + 41200, FIRST_MS + ms + 73300);
	else {
		n = snprintf(text, sizeof(text),
			     "{\"line\":\"service_door\",\"from\":%d,\"at_ms\":[%" PRId64,
			     (int)(seq & 1), ms);
		for (uint64_t i = 1; i < seq % 5; i++)
			n += snprintf(text + n, sizeof(text) - (size_t)n, ",%" PRIu64,
				      (uint64_t)ms + 40 * i);
		snprintf(text + n, sizeof(text) - (size_t)n, "]}");
	}
	return strdup(text);
}

static void random_hex(char *hex, size_t bytes)
{
	unsigned char raw[64];

	randombytes_buf(raw, bytes);
	sodium_bin2hex(hex, 2 * bytes + 1, raw, bytes);
}

static void make_rows(struct pw_put *p, struct pw_record *r, struct pw_seal *seal,
		      struct pw_sweep_row *sweep)
{
	for (size_t i = 0; i < PUT; i++) {
		uint64_t seq = p->was_head + 1 + i;
		int64_t ms = (int64_t)seq * 30000;

		r[i] = (struct pw_record){ .seq = seq, .boot = 1 + seq / 3000, .mono_ms = ms,
					   .wall_ms = FIRST_MS + ms, .wall_ok = true,
					   .kind = seq % SWEEP == 0 ? PW_K_SWEEP : PW_K_EDGES,
					   .body = body_of(seq, ms) };
		random_hex(r[i].hash, 32);
		if (seq % SWEEP == 0)
			sweep[p->sweeps++] = (struct pw_sweep_row){
				.seq = seq, .closed_ms = FIRST_MS + ms,
				.key_off_ms = FIRST_MS + ms - 90000,
				.walk_ms = 41200, .return_ms = 32100, .late_ms = 0,
				.came_ms = FIRST_MS,
				.wall_ok = true, .verdict = seq % 25 == 0 ? PW_MISSED : PW_DONE };
		if (seq % SEAL == 0) {
			seal[p->seals] = (struct pw_seal){ .seq = seq };
			random_hex(seal[p->seals++].sig, 64);
		}
	}
}

/* Turn by turn: a put of each bus. */
static struct made make(size_t records)
{
	struct made m = { .puts = records / PUT };
	struct pw_record *r = many(m.puts * PUT, sizeof(*r));
	struct pw_seal *seal = many(m.puts * PUT, sizeof(*seal));
	struct pw_sweep_row *sweep = many(m.puts * PUT, sizeof(*sweep));

	m.put = many(m.puts, sizeof(*m.put));
	for (size_t i = 0; i < m.puts; i++) {
		struct pw_put *p = &m.put[i], *before = i >= BUSES ? p - BUSES : NULL;

		p->begins = before == NULL;
		p->record = r + i * PUT;
		p->records = PUT;
		p->seal = seal + i * PUT;
		p->sweep = sweep + i * PUT;
		p->was_head = before != NULL ? before->to.head : 0;
		if (before != NULL)
			memcpy(p->was_hash, before->to.hash, sizeof(p->was_hash));
		make_rows(p, r + i * PUT, seal + i * PUT, sweep + i * PUT);
		p->to = (struct pw_branch){ .why = PW_BRANCH_FIRST, .first = 1,
					    .head = p->was_head + PUT,
					    .begun_ms = FIRST_MS, .moved_ms = FIRST_MS };
		snprintf(p->to.bus, sizeof(p->to.bus), "bus-%02zu", i % BUSES);
		snprintf(p->to.epoch, sizeof(p->to.epoch), "%016zx",
			 0xabcdef0000000000 + i % BUSES);
		memset(p->to.first_prev, '0', 64);
		memcpy(p->to.hash, r[i * PUT + PUT - 1].hash, 65);
	}
	return m;
}

/* -- the store --------------------------------------------------------------------------------- */

static double now_s(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec + (double)t.tv_nsec / 1e9;
}

/* Empty tables, with the buses in them. */
static void open_empty(const char *where)
{
	struct pw_bus_row bus = { .has_key = true };
	struct pw_store *s;
	char why[300];

	must(pw_store_open(where, false, &s, why, sizeof(why)), why);
	must(pw_store_begin(s, why, sizeof(why)), why);
	for (int i = 0; i < BUSES; i++) {
		snprintf(bus.bus, sizeof(bus.bus), "bus-%02d", i);
		must(pw_store_bus_put(s, &bus, why, sizeof(why)), why);
	}
	must(pw_store_commit(s, why, sizeof(why)), why);
	pw_store_close(s);
}

static double by_store(const struct made *m, const char *where)
{
	double from = now_s();
	struct pw_store *s;
	char why[300];

	must(pw_store_open(where, false, &s, why, sizeof(why)), why);
	for (size_t i = 0; i < m->puts; i++) {
		if (i % COMMIT == 0)
			must(pw_store_begin(s, why, sizeof(why)), why);
		must(pw_store_put(s, &m->put[i], why, sizeof(why)), why);
		if (i % COMMIT == COMMIT - 1 || i == m->puts - 1)
			must(pw_store_commit(s, why, sizeof(why)), why);
	}
	pw_store_close(s);
	return now_s() - from;
}

/* -- the same as text -------------------------------------------------------------------------- */

/* How values are written: of SQL for either, or of COPY. */
struct style { const char *hex, *hex_end, *quote, *between, *row; };
static const struct style inserts_of_sqlite = { "x'", "'", "'", ",", "(" };
static const struct style inserts_of_psql = { "'\\x", "'", "'", ",", "(" };
static const struct style copies = { "\\\\x", "", "", "\t", "" };

struct writing {
	FILE *out;
	const struct style *style;
	const struct pw_put *put;
};

static void key(const struct writing *w, uint64_t seq)
{
	const struct style *y = w->style;

	fprintf(w->out, "%s%s%s%s%s%s%s%s%s0%s%" PRIu64, y->row, y->quote, w->put->to.bus, y->quote,
		y->between, y->hex, w->put->to.epoch, y->hex_end, y->between, y->between, seq);
}

static void number(const struct writing *w, int64_t value)
{
	fprintf(w->out, "%s%" PRId64, w->style->between, value);
}

static void text(const struct writing *w, const char *value)
{
	fprintf(w->out, "%s%s%s%s", w->style->between, w->style->quote, value, w->style->quote);
}

static void hex(const struct writing *w, const char *value)
{
	fprintf(w->out, "%s%s%s%s", w->style->between, w->style->hex, value, w->style->hex_end);
}

static void write_record(const struct writing *w, size_t i)
{
	const struct pw_record *r = &w->put->record[i];

	key(w, r->seq);
	number(w, (int64_t)r->boot);
	number(w, r->mono_ms);
	number(w, r->wall_ms);
	number(w, r->wall_ok);
	text(w, pw_kind_name(r->kind));
	hex(w, r->hash);
	text(w, r->body);
}

static void write_seal(const struct writing *w, size_t i)
{
	key(w, w->put->seal[i].seq);
	number(w, w->put->to.moved_ms);
	hex(w, w->put->seal[i].sig);
}

static void write_sweep(const struct writing *w, size_t i)
{
	const struct pw_sweep_row *row = &w->put->sweep[i];
	const int64_t numbers[] = { row->closed_ms, row->key_off_ms, row->walk_ms, row->return_ms,
				    row->late_ms, row->came_ms, row->wall_ok };

	key(w, row->seq);
	for (size_t n = 0; n < sizeof(numbers) / sizeof(numbers[0]); n++)
		number(w, numbers[n]);
	text(w, "");
	number(w, row->refused);
	text(w, pw_verdict_name(row->verdict));
	text(w, row->rung);
}

struct kind_of_row {
	enum pw_store_table table;
	void (*write)(const struct writing *w, size_t i);
	size_t offset; /* of the count in a put */
};
static const struct kind_of_row kinds[] = {
	{ PW_T_RECORD, write_record, offsetof(struct pw_put, records) },
	{ PW_T_SEAL, write_seal, offsetof(struct pw_put, seals) },
	{ PW_T_SWEEP, write_sweep, offsetof(struct pw_put, sweeps) },
};

static size_t count_of(const struct pw_put *put, const struct kind_of_row *kind)
{
	size_t count;

	memcpy(&count, (const char *)put + kind->offset, sizeof(count));
	return count;
}

/* All of a commit by one COPY. */
static void write_copy(struct writing *w, const struct kind_of_row *kind, const struct pw_put *put,
		       size_t puts)
{
	const struct pw_columns *c = &pw_columns[kind->table];

	fprintf(w->out, "COPY %s (%s) FROM STDIN;\n", c->table, c->names);
	for (const struct pw_put *end = put + puts; put < end; put++) {
		w->put = put;
		for (size_t i = 0; i < count_of(put, kind); i++) {
			kind->write(w, i);
			fputc('\n', w->out);
		}
	}
	fputs("\\.\n", w->out);
}

/* An INSERT a put. */
static void write_insert(struct writing *w, const struct kind_of_row *kind,
			 const struct pw_put *put)
{
	const struct pw_columns *c = &pw_columns[kind->table];

	w->put = put;
	for (size_t i = 0; i < count_of(put, kind); i++) {
		if (i == 0)
			fprintf(w->out, "INSERT INTO %s (%s) VALUES ", c->table, c->names);
		kind->write(w, i);
		fputs(i < count_of(put, kind) - 1 ? ")," : ");\n", w->out);
	}
}

static void write_branch(const struct writing *w)
{
	const struct style *y = w->style == &inserts_of_sqlite ? w->style : &inserts_of_psql;
	const struct pw_branch *to = &w->put->to;

	if (w->put->begins)
		fprintf(w->out, "INSERT INTO branch VALUES "
			"('%s',%s%s%s,0,'first',1,%" PRIu64 ",%s%s%s,%s%s%s,0,%"
			PRId64 ",%zu,%zu,0,0);\n", to->bus, y->hex, to->epoch, y->hex_end, to->head,
			y->hex,
			to->first_prev, y->hex_end, y->hex, to->hash, y->hex_end, to->moved_ms,
			w->put->seals, w->put->sweeps);
	else
		fprintf(w->out, "UPDATE branch SET head = %" PRIu64 ", hash = %s%s%s, seals = "
			"seals + %zu,"
			" sweeps = sweeps + %zu WHERE bus = '%s' AND epoch = %s%s%s AND branch = 0"
			" AND head = %" PRIu64 " AND hash = %s%s%s;\n", to->head, y->hex, to->hash,
			y->hex_end,
			w->put->seals, w->put->sweeps, to->bus, y->hex, to->epoch, y->hex_end,
			w->put->was_head, y->hex, w->put->was_hash, y->hex_end);
}

static void write_all(const struct made *m, const char *path, const struct style *style,
		      const char *begin)
{
	struct writing w = { .out = fopen(path, "we"), .style = style };

	if (w.out == NULL)
		give_up(path);
	fprintf(w.out, "%s\n", begin);
	for (size_t i = 0, count; i < m->puts; i += count) {
		count = m->puts - i < COMMIT ? m->puts - i : COMMIT;
		fputs("BEGIN;\n", w.out);
		for (size_t k = i; k < i + count; k++) {
			w.put = &m->put[k];
			write_branch(&w);
		}
		for (size_t kind = 0; kind < sizeof(kinds) / sizeof(kinds[0]); kind++)
			if (style == &copies)
				write_copy(&w, &kinds[kind], &m->put[i], count);
			else
				for (size_t k = i; k < i + count; k++)
					write_insert(&w, &kinds[kind], &m->put[k]);
		fputs("COMMIT;\n", w.out);
	}
	fclose(w.out);
}

/* -- rounds ------------------------------------------------------------------------------------ */

enum way { STORE_SQLITE, SQLITE3, STORE_PGSQL, PSQL_COPY, PSQL_INSERT, WAYS };
static const char *const way_name[WAYS] = { "pw_store_put, SQLite", "sqlite3, INSERT",
					    "pw_store_put, PostgreSQL",
					    "psql, COPY", "psql, INSERT of 256" };

struct bench {
	struct made made;
	const char *folder;
	struct pg_server pg;
};

static double by_command(const char *format, const char *a, const char *b)
{
	char command[600];
	double from;

	snprintf(command, sizeof(command), format, a, b);
	from = now_s();
	if (system(command) != 0)
		give_up(command);
	return now_s() - from;
}

static void check(const struct bench *b, const char *where)
{
	struct pw_figures f;
	struct pw_store *s;
	char why[300];

	must(pw_store_open(where, false, &s, why, sizeof(why)), why);
	must(pw_store_figures(s, &f, why, sizeof(why)), why);
	if (f.records != b->made.puts * PUT)
		give_up("not all records are there");
	pw_store_close(s);
}

static double one(const struct bench *b, enum way way)
{
	static const char *const file[WAYS] = { [SQLITE3] = "sqlite", [PSQL_COPY] = "copy",
						[PSQL_INSERT] = "insert" };
	bool sqlite = way == STORE_SQLITE || way == SQLITE3;
	char where[200], rows[200], remove[700];
	double took;

	snprintf(where, sizeof(where), "%s/office.db", b->folder);
	snprintf(remove, sizeof(remove), "rm -f %s %s-wal", where, where);
	if (sqlite) {
		if (system(remove) != 0)
			give_up(where);
	} else {
		snprintf(where, sizeof(where), "%s", b->pg.uri);
		pg_run(b->pg.uri, "SET client_min_messages = warning; DROP SCHEMA IF EXISTS "
		       "postwalk CASCADE");
	}
	open_empty(where);
	if (!sqlite)
		pg_run(b->pg.admin, "CHECKPOINT");
	snprintf(rows, sizeof(rows), "%s/%s.sql", b->folder, file[way] != NULL ? file[way] : "");
	if (file[way] == NULL)
		took = by_store(&b->made, where);
	else if (sqlite)
		took = by_command("sqlite3 -bail '%s' <'%s' >/dev/null", where, rows);
	else
		took = by_command("psql -X -q -v ON_ERROR_STOP=1 '%s' <'%s'", where, rows);
	check(b, where);
	return took;
}

static int compare(const void *a, const void *b)
{
	const double one = *(const double *)a, other = *(const double *)b;

	return (one > other) - (one < other);
}

static void bytes(const struct bench *b, const char *what, int64_t total)
{
	printf("%s: %.1f bytes a record, all in\n", what,
	       (double)total / (double)(b->made.puts * PUT));
}

static void run(struct bench *b)
{
	double took[WAYS][ROUNDS], records = (double)(b->made.puts * PUT), median[WAYS];
	char path[200], size[40];
	FILE *file;

	for (int round = 0; round < ROUNDS; round++)
		for (enum way w = 0; w < WAYS; w++)
			took[w][round] = one(b, w);
	for (enum way w = 0; w < WAYS; w++) {
		qsort(took[w], ROUNDS, sizeof(took[w][0]), compare);
		median[w] = took[w][ROUNDS / 2];
		printf("%-26s %8.0f records/s (%.0f to %.0f)\n", way_name[w], records / median[w],
		       records / took[w][ROUNDS - 1], records / took[w][0]);
	}
	printf("ratio_sqlite %.2f\nratio_psql_copy %.2f\nratio_psql_insert %.2f\n",
	       median[SQLITE3] / median[STORE_SQLITE], median[PSQL_COPY] / median[STORE_PGSQL],
	       median[PSQL_INSERT] / median[STORE_PGSQL]);
	snprintf(path, sizeof(path), "%s/office.db", b->folder);
	if ((file = fopen(path, "re")) != NULL && fseek(file, 0, SEEK_END) == 0)
		bytes(b, "SQLite", ftell(file));
	pg_ask(b->pg.uri, "SELECT sum(pg_total_relation_size(c.oid))::text FROM pg_class c WHERE "
	       "relkind = 'r'"
	       " AND relnamespace = 'postwalk'::regnamespace", size, sizeof(size));
	bytes(b, "PostgreSQL", atoll(size));
}

int main(int argc, char **argv)
{
	struct bench b = { .folder = argc > 1 ? argv[1] : "." };
	size_t records = argc > 2 ? (size_t)atol(argv[2]) : 400000;
	char path[200];

	if (sodium_init() < 0)
		return 1;
	b.made = make(records);
	snprintf(path, sizeof(path), "%s/sqlite.sql", b.folder);
	write_all(&b.made, path, &inserts_of_sqlite,
		  "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;"
		  "PRAGMA cache_size = -16384; PRAGMA wal_autocheckpoint = 4096;");
	snprintf(path, sizeof(path), "%s/copy.sql", b.folder);
	write_all(&b.made, path, &copies, "SET search_path = postwalk;");
	snprintf(path, sizeof(path), "%s/insert.sql", b.folder);
	write_all(&b.made, path, &inserts_of_psql, "SET search_path = postwalk;");
	pg_begin_in(&b.pg, b.folder, "max_wal_size = 4GB\nshared_buffers = 512MB");
	run(&b);
	pg_end(&b.pg);
	return 0;
}
