/* SPDX-License-Identifier: Apache-2.0 */
/*
 * record_aged.h - a journal that has seen something: made by the real writer, copied for each case.
 *
 *	seq 1 policy, 2 3 rung       first start; driving
 *	seq 4 sweep                  sealed, seal.a; then an orderly stop. early.db: a copy of here;
 *	                             branch, a copy of all, goes on by itself to another seq 6
 *	seq 5 rung, 6 sweep          second start; sealed, seal.b
 *	seq 7 receipt                as the office would give one
 *	seq 8 9 10 rung              third start; a sweep is owed; then power went
 */
#ifndef TEST_RECORD_AGED_H
#define TEST_RECORD_AGED_H

#include "record_watch.h"

#define RECEIPT "{\"seq\":6}"
#define AGED_END 10

struct aged {
	struct folder made;
	char epoch[17], hash[AGED_END + 1][65];
};

/* What the shell does in that folder has to work. */
__attribute__((format(printf, 2, 3)))
static inline void must_shell(const struct folder *f, const char *format, ...)
{
	char command[2048];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	if (run("cd '%s' && { %s; } > log 2>&1 && rm log", f->path, command) != 0) {
		run("cat '%s/log'", f->path);
		fail_msg("%s", command);
	}
}

/* Power goes: whatever the disk has is what there is. */
static inline void cut(struct watch *x)
{
	if (pw_writer_pid(x->w) > 0)
		kill(pw_writer_pid(x->w), SIGKILL);
	pw_writer_stop(x->w, 0);
}

static inline struct watch start_later(const struct folder *f, const struct pw_pace *pace,
				       int64_t now_ms)
{
	struct watch x = start_at(f, pace);

	x.now_ms = now_ms;
	kept_of(&x);
	return x;
}

/* By hand what only a link to the office will bring about. */
static inline void add_receipt(const struct folder *f, const char *body)
{
	struct pw_record r = { .kind = PW_K_RECEIPT, .body = body, .wall_ok = true };
	struct pw_secret_key key;
	struct pw_kept_row row;
	struct pw_journal *j;
	char why[256] = "";
	bool drawn;

	if (pw_secret_key_load(f->path, "bus", &key, &drawn, why, sizeof(why)) != 0
	    || pw_journal_open(in(f, "journal.db"), BUS, true, &j, why, sizeof(why)) != 0
	    || pw_journal_kept(j, &row, why, sizeof(why)) != 1)
		fail_msg("%s", why);
	r.boot = row.boot;
	r.mono_ms = row.mono_ms;
	r.wall_ms = row.wall_ms;
	if (pw_journal_begin(j, why, sizeof(why)) != 0
	    || pw_journal_add(j, &r, why, sizeof(why)) != 0
	    || pw_journal_keep(j, &row, &key, why, sizeof(why)) != 0
	    || pw_journal_commit(j, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	pw_journal_close(j);
}

static inline void learn(struct aged *a)
{
	struct pw_journal *j;
	struct pw_record r;
	char why[256];

	assert_int_equal(
		pw_journal_open(in(&a->made, "journal.db"), BUS, false, &j, why, sizeof(why)), 0);
	memcpy(a->epoch, pw_journal_epoch(j), sizeof(a->epoch));
	memcpy(a->hash[0], PW_CHAIN_ORIGIN, 65);
	for (uint64_t seq = 1; seq <= AGED_END; seq++) {
		assert_int_equal(pw_journal_read(j, seq, &r, why, sizeof(why)), 1);
		memcpy(a->hash[seq], r.hash, 65);
	}
	assert_int_equal(pw_journal_read(j, AGED_END + 1, &r, why, sizeof(why)), 0);
	pw_journal_close(j);
}

static inline void aged_make(struct aged *a)
{
	struct pw_note policy = { .version = PW_NOTE_VERSION,
				  .kind = PW_K_POLICY,
				  .mono_ms = 1000,
				  .wall_ms = 1790000001000,
				  .of.policy = { .length = 3, .text = "abc" } };
	struct folder branch;
	struct watch x;

	folder_make(&a->made);
	x = start_later(&a->made, &quick, 1000);
	pw_writer_note(x.w, &policy);
	batch(&x, PW_K_RUNG, 2, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	stop(&x);
	must_shell(&a->made,
		   "cp journal.db early.db; mkdir branch; cp bus.* journal.db seal.* branch");
	snprintf(branch.path, sizeof(branch.path), "%.50s/branch", a->made.path);
	x = start_later(&branch, &quick, 151000);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	stop(&x);
	x = start_later(&a->made, &quick, 101000);
	batch(&x, PW_K_RUNG, 1, PW_DRIVING);
	batch(&x, PW_K_SWEEP, 1, PW_PARKED);
	stop(&x);
	add_receipt(&a->made, RECEIPT);
	x = start_later(&a->made, &quick, 201000);
	batch(&x, PW_K_RUNG, 3, PW_OWED);
	cut(&x);
	must_shell(&a->made, "sqlite3 journal.db 'PRAGMA wal_checkpoint(TRUNCATE)';"
			     " test ! -s journal.db-wal");
	must_shell(&a->made, "rm -f journal.db-wal journal.db-shm");
	learn(a);
}

static inline void aged_copy(const struct aged *a, struct folder *f)
{
	folder_make(f);
	must_shell(&a->made, "cp -a . '%s'", f->path);
}

/* -- what became of it ------------------------------------------------------------------------- */

/* The wall clock of these tests is not the machine's, which the writer dates an epoch by that comes
 * after nothing. */
static inline void take_flaw(void *ctx, const struct pw_found *found)
{
	if (found->flaw == PW_FLAW_UNSEALED || found->flaw == PW_FLAW_WALL)
		return;
	print_error("seq %" PRIu64 ": %s\n", found->seq, found->words);
	++*(unsigned *)ctx;
}

/* The whole chain, each seal by the folder's own key. Unsealed may be what came last. */
static inline void assert_sound(const struct folder *f, struct pw_check *c)
{
	struct pw_public_key key;
	struct pw_journal *j;
	struct pw_record r;
	struct pw_seal s;
	char why[256];
	uint64_t seal = 0;
	unsigned flaws = 0;

	assert_int_equal(pw_public_key_load(in(f, "bus.pub"), &key, why, sizeof(why)), 0);
	if (pw_journal_open(in(f, "journal.db"), BUS, false, &j, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	pw_check_begin(c, BUS, &key, take_flaw, &flaws);
	while (pw_journal_read(j, c->seq + 1, &r, why, sizeof(why)) == 1) {
		pw_check_record(c, &r);
		if (pw_journal_read_seal(j, seal + 1, &s, why, sizeof(why)) == 1
		    && s.seq <= r.seq) {
			pw_check_seal(c, &s);
			seal = s.seq;
		}
	}
	pw_check_end(c);
	assert_int_equal(flaws, 0);
	pw_journal_close(j);
	c->key = NULL;
}

/* The first record of the journal that stands there now. */
struct first {
	char kind[16], epoch[20], before[20], hash[68], why[512], receipt[64], second[16];
	uint64_t seq;
};

static inline void next_part(char **rest, char *out, size_t size)
{
	char *part = strsep(rest, "~");

	snprintf(out, size, "%s", part != NULL ? part : "");
}

static inline struct first first_of(const struct folder *f)
{
	char text[1024], seq[24], *rest = text;
	struct first r;

	ask(text, sizeof(text),
	    "sqlite3 -readonly -batch -separator '~' -nullvalue null '%s' \"SELECT kind,"
	    " epoch, body ->> '$.before.epoch', body ->> '$.before.seq', body ->> '$.before.hash',"
	    " body ->> '$.why', body ->> '$.receipt', (SELECT kind FROM record WHERE seq = 2)"
	    " FROM record WHERE seq = 1\"",
	    in(f, "journal.db"));
	next_part(&rest, r.kind, sizeof(r.kind));
	next_part(&rest, r.epoch, sizeof(r.epoch));
	next_part(&rest, r.before, sizeof(r.before));
	next_part(&rest, seq, sizeof(seq));
	next_part(&rest, r.hash, sizeof(r.hash));
	next_part(&rest, r.why, sizeof(r.why));
	next_part(&rest, r.receipt, sizeof(r.receipt));
	next_part(&rest, r.second, sizeof(r.second));
	r.seq = strtoull(seq, NULL, 10);
	return r;
}

/* -- what the tests of a start share ----------------------------------------------------------- */

#define SQL(sql) "sqlite3 journal.db \"" sql "\""
#define RECORD(sql) SQL("DROP TRIGGER record_no_update; UPDATE record SET " sql)
#define DELETE(sql) SQL("DROP TRIGGER record_no_delete; DELETE FROM record WHERE " sql)
#define SEAL(sql) SQL("DROP TRIGGER seal_no_update; UPDATE seal SET " sql)
#define SEAL_GONE(sql) SQL("DROP TRIGGER seal_no_delete; DELETE FROM seal WHERE " sql)
#define ZEROS "replace(hex(zeroblob(32)), 'x', '')"
#define OTHER_KEY "openssl genpkey -algorithm ed25519 -out bus.key"

enum told { OWED = 1, EARLY, NOTHING }; /* the state that the alarm goes on from */

static inline int make_aged(void **state)
{
	struct aged *a = calloc(1, sizeof(*a));

	aged_make(a);
	*state = a;
	return 0;
}

static inline int drop_aged(void **state)
{
	struct aged *a = *state;

	folder_remove(&a->made);
	free(a);
	return 0;
}

static inline void print_of(const struct folder *f, const char *name, char hex[80])
{
	ask(hex, 80, "sha256sum < '%s'", in(f, name));
}

static inline void assert_kept(struct watch *x, enum told told, int line)
{
	struct pw_kept_state kept = kept_of(x);
	enum told got = !kept.found ? NOTHING : kept.state.phase == PW_OWED ? OWED : EARLY;

	if (got != told || (told == EARLY && kept.state.phase != PW_PARKED))
		fail_msg("line %d: phase %d", line, (int)kept.state.phase);
}

/* The sentence, and that nothing is said twice. */
static inline void assert_said(struct watch *x, const char *words, int line)
{
	const char *fault = pw_writer_fault(x->w);

	if (fault == NULL || strstr(fault, words) == NULL || strchr(fault, '\n') != NULL)
		fail_msg("line %d: \"%s\"", line, fault ? fault : "nothing");
}

static inline void assert_seal_files(const struct folder *f)
{
	struct first r = first_of(f);
	struct pw_seal_file s[2];
	unsigned broken;

	assert_int_equal(pw_seal_files_read(f->path, s, &broken), 2);
	assert_string_equal(s[0].epoch, r.epoch);
	assert_string_equal(s[1].epoch, r.epoch);
}

#endif
