/* SPDX-License-Identifier: Apache-2.0 */
/*
 * copies.h - a small journal that the watch and its writer made, at several moments of its life,
 * and copies of it to be touched: what `postwalk verify` says of one, and what a start makes of it.
 *
 *	BASE/early     two sweeps, an orderly stop: at rest, sealed to its end
 *	BASE/sealed    the same some hours on: a stop nobody walked after; at rest, sealed
 *	BASE/driving   a start more, the key on, the power cut: no seal over its tail; a log
 *	BASE/further   and once more, without a seal in between
 *	BASE/walked    and once more, with a sweep: sealed, but in the log only
 *	BASE/other     a board of another key that goes by the same name
 *
 * Each has state/, and conf beside it; BASE/office.pub is the key as it was noted at installation,
 * BASE/NAME.export an export of each.
 */
#ifndef POSTWALK_TEST_COPIES_H
#define POSTWALK_TEST_COPIES_H

#include <limits.h>
#include <poll.h>
#include <sodium.h>
#include <sqlite3.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <time.h>
#include <unistd.h>

#include "play.h"
#include "world.h"

#define COPIES_PATIENCE_MS 20000

#define COPIES_STAGES 6
static const struct {
	const char *name, *from, *trace; /* from NULL: in an empty folder */
} copies_life[COPIES_STAGES] = {
	{ "early", NULL,
	  "0 ignition=1 lamps=1\n4 lamps=0\n300 ignition=0\n330 rear_button=1\n"
	  "330.4 rear_button=0\n"
	  "350 service_door=1\n352 service_door=0\n600 ignition=1\n900 ignition=0\n"
	  "902 rear_button=1\n902.4 rear_button=0\n930 rear_button=1\n930.4 rear_button=0\n"
	  "950 service_door=1\n951 service_door=0\n1000 end\n" },
	{ "sealed", "early",
	  "2000 ignition=1 lamps=1\n2004 lamps=0\n2300 ignition=0\n2310 ignition=1\n"
	  "2500 ignition=0\n"
	  "2800 rear_door=1\n2802 rear_door=0\n3000 ignition=1\n3100 ignition=0\n"
	  "3130 rear_button=1\n3130.4 rear_button=0\n3150 service_door=1\n3151 service_door=0\n"
	  "3300 end\n" },
	{ "driving", "sealed", "4000 ignition=1 lamps=1\n4004 lamps=0\n4100 rear_door=1\n"
	  "4101 rear_door=0\n"
	  "4200 power=cut\n4200 end\n" },
	{ "further", "driving", "4300 ignition=1\n4350 service_door=1\n4352 service_door=0\n"
	  "4400 power=cut\n4400 end\n" },
	{ "walked", "further", "4500 ignition=1\n4800 ignition=0\n4830 rear_button=1\n"
	  "4830.4 rear_button=0\n4850 service_door=1\n4852 service_door=0\n4900 power=cut\n"
	  "4900 end\n" },
	{ "other", NULL, "0 ignition=1\n200 ignition=0\n230 rear_button=1\n230.4 rear_button=0\n"
	  "250 service_door=1\n252 service_door=0\n300 end\n" },
};

struct copies {
	char base[64];
	char said[65536]; /* by verify, or by the writer of a start */
};

/* -- what a writer does ------------------------------------------------------------------------ */

/* In memory that a forked writer shares: it has nothing left to do. Takes the place of the C
 * library's poll in this program. */
static atomic_bool *copies_rests;
static pid_t copies_self;

int poll(struct pollfd *fds, nfds_t n, int timeout)
{
	struct timespec t = { timeout / 1000, timeout % 1000 * 1000000L };

	if (copies_rests && getpid() != copies_self)
		atomic_store(copies_rests, timeout != 0);
	return ppoll(fds, n, timeout < 0 ? NULL : &t, NULL);
}

static inline int64_t copies_clock_ms(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

/* Before anything is handed over: until the writer of this start has judged all there is (J6), and
 * has begun anew where it must. */
static inline void copies_settle(struct play *p)
{
	const int64_t until_ms = copies_clock_ms() + COPIES_PATIENCE_MS;
	struct pw_writer *w = p->bus.writer;
	bool rested;

	do {
		struct pollfd one = { .fd = pw_writer_fd(w), .events = POLLIN };
		const char *fault;

		rested = atomic_load(copies_rests);
		poll(&one, 1, 5);
		pw_writer_tend(w, p->bus.now_ms);
		fault = pw_writer_fault(w);
		rested = rested && (!fault || !strstr(fault, "not reaching the disk"));
		if (copies_clock_ms() > until_ms)
			fail_msg("it does not come to rest: %s", fault ? fault : "no fault");
	} while (!rested);
}

/* -- life -------------------------------------------------------------------------------------- */

/* As a path from anywhere. */
static inline const char *copies_tool(void)
{
	static char path[PATH_MAX];
	const char *given = getenv("POSTWALK");

	assert_non_null(realpath(given && given[0] ? given : "build/postwalk", path));
	return path;
}

static inline void copies_stage(struct copies *c, size_t i)
{
	const char *name = copies_life[i].name, *from = copies_life[i].from;
	char base[80], trace[96];
	struct play *p;
	FILE *f;

	snprintf(base, sizeof(base), "%s/%s", c->base, name);
	snprintf(trace, sizeof(trace), "%s/trace", c->base);
	f = fopen(trace, "w");
	assert_non_null(f);
	fputs(copies_life[i].trace, f);
	assert_int_equal(fclose(f), 0);
	assert_int_equal(from ? shell("cp -a '%s/%s' '%s'", c->base, from, base)
			      : shell("mkdir '%s'", base), 0);
	p = from ? play_open(base, NULL) : play_new(base, NULL);
	p->cut_hard = true;
	p->one_by_one = true;
	play_trace(p, trace);
	play_free(p);
	assert_int_equal(shell("'%s' export '%s/state' >'%s/%s.export'", copies_tool(), base,
			       c->base, name), 0);
}

/* Group setup and teardown for cmocka. */
static inline int copies_make(void **state)
{
	struct copies *c = calloc(1, sizeof(*c));

	assert_non_null(c);
	copies_rests = mmap(NULL, sizeof(*copies_rests), PROT_READ | PROT_WRITE,
			    MAP_SHARED | MAP_ANONYMOUS, -1, 0);
	assert_ptr_not_equal(copies_rests, MAP_FAILED);
	copies_self = getpid();
	/* nothing of this is about the disk */
	snprintf(c->base, sizeof(c->base), "%s/postwalk-world-XXXXXX",
		 access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	assert_non_null(mkdtemp(c->base));
	for (size_t i = 0; i < COPIES_STAGES; i++)
		copies_stage(c, i);
	assert_int_equal(shell("cp '%s/early/state/bus.pub' '%s/office.pub'", c->base, c->base), 0);
	*state = c;
	return 0;
}

static inline int copies_remove(void **state)
{
	struct copies *c = *state;

	shell("rm -rf '%s'", c->base);
	free(c);
	return 0;
}

/* BASE/now becomes a copy of that moment. */
static inline void copies_take(struct copies *c, const char *moment)
{
	assert_int_equal(shell("cd '%s' && rm -rf now && cp -a '%s' now", c->base, moment), 0);
}

/* -- what is said of one ----------------------------------------------------------------------- */

static inline void copies_read(struct copies *c, const char *name)
{
	char path[96];
	size_t n;
	FILE *f;

	snprintf(path, sizeof(path), "%s/%s", c->base, name);
	f = fopen(path, "r");
	assert_non_null(f);
	n = fread(c->said, 1, sizeof(c->said) - 1, f);
	c->said[n] = '\0';
	fclose(f);
}

/* `postwalk verify` by the office's key. of: folders and exports in BASE. The exit status; its
 * words. */
static inline int copies_verify(struct copies *c, const char *of)
{
	const int status = shell("cd '%s' && '%s' verify --key office.pub %s >words 2>&1", c->base,
				 copies_tool(), of);

	copies_read(c, "words");
	return status;
}

/* A start at BASE/now, on the key, and an orderly stop after that. What the writer says: why it put
 * the journal aside and began another one, or nothing. */
static inline const char *copies_start(struct copies *c, int64_t at_ms)
{
	const int said = play_hush();
	char base[80];
	struct play *p;

	snprintf(base, sizeof(base), "%s/now", c->base);
	atomic_store(copies_rests, false);
	p = play_open(base, NULL);
	p->raw = 1u << PW_IGNITION;
	play_start(p, at_ms, false);
	copies_settle(p);
	play_until(p, at_ms + 1000);
	snprintf(c->said, sizeof(c->said), "%s",
		 pw_writer_fault(p->bus.writer) ? pw_writer_fault(p->bus.writer) : "");
	play_stop(p);
	play_speak(said);
	play_free(p);
	return c->said;
}

/* -- what stands in one ------------------------------------------------------------------------ */

static inline void copies_add_rows(sqlite3 *db, const char *sql, crypto_hash_sha256_state *sum)
{
	sqlite3_stmt *s;

	if (sqlite3_prepare_v2(db, sql, -1, &s, NULL) != SQLITE_OK)
		return;
	while (sqlite3_step(s) == SQLITE_ROW)
		for (int i = 0; i < sqlite3_column_count(s); i++) {
			const unsigned char *text = sqlite3_column_text(s, i);

			if (text)
				crypto_hash_sha256_update(sum, text,
							  strlen((const char *)text) + 1);
		}
	sqlite3_finalize(s);
}

/* Of every column of every record, and of the kept state, with SQLite alone. Nothing is written. */
static inline void copies_digest(struct copies *c, const char *moment, char hex[65])
{
	unsigned char bytes[crypto_hash_sha256_BYTES];
	crypto_hash_sha256_state sum;
	char path[112], uri[136];
	sqlite3 *db;

	snprintf(path, sizeof(path), "%s/%s/state/journal.db-wal", c->base, moment);
	snprintf(uri, sizeof(uri), "file:%.*s%s", (int)(strlen(path) - 4), path,
		 access(path, F_OK) == 0 ? "" : "?immutable=1");
	crypto_hash_sha256_init(&sum);
	sqlite3_open_v2(uri, &db, SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, NULL);
	sqlite3_db_config(db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, (int *)NULL);
	copies_add_rows(db, "SELECT * FROM record ORDER BY seq", &sum);
	copies_add_rows(db, "SELECT * FROM kept", &sum);
	sqlite3_close(db);
	crypto_hash_sha256_final(&sum, bytes);
	sodium_bin2hex(hex, 65, bytes, sizeof(bytes));
}

/* -- touching ---------------------------------------------------------------------------------- */

/* The journal of BASE/now, as somebody who owns the file has it: triggers do not hold him, and he
 * puts them back. */
static inline void copies_sql(struct copies *c, const char *sql)
{
	char path[96], *why = NULL, *triggers[16];
	sqlite3_stmt *s;
	sqlite3 *db;
	int n = 0;

	snprintf(path, sizeof(path), "%s/now/state/journal.db", c->base);
	assert_int_equal(sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE, NULL), SQLITE_OK);
	sqlite3_prepare_v2(db, "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'", -1,
			   &s, NULL);
	for (; sqlite3_step(s) == SQLITE_ROW; n += 2) {
		assert_true(n < 16);
		triggers[n] = sqlite3_mprintf("DROP TRIGGER %s", sqlite3_column_text(s, 0));
		triggers[n + 1] = sqlite3_mprintf("%s", sqlite3_column_text(s, 1));
	}
	sqlite3_finalize(s);
	for (int i = 0; i < n; i += 2)
		assert_int_equal(sqlite3_exec(db, triggers[i], NULL, NULL, NULL), SQLITE_OK);
	if (sqlite3_exec(db, sql, NULL, NULL, &why) != SQLITE_OK)
		fail_msg("%s: %s", sql, why);
	for (int i = 0; i < n; i += 2) {
		assert_int_equal(sqlite3_exec(db, triggers[i + 1], NULL, NULL, NULL), SQLITE_OK);
		sqlite3_free(triggers[i]);
		sqlite3_free(triggers[i + 1]);
	}
	assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

/* A shell command in BASE/now. */
static inline void copies_shell(struct copies *c, const char *command)
{
	if (shell("cd '%s/now' && %s", c->base, command))
		fail_msg("%s", command);
}

#endif
