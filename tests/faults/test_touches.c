/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Touches of a record that a bus really kept, one by one: what `postwalk verify` says of each
 * (J10), what the next start makes of it (J6), and which of them only a witness outside the bus
 * can see (docs/threats.md, where each such one has its heading).
 *
 * Whoever touches owns the folder, the clock and the tools; triggers do not hold him. He has the
 * key only where the line says so. Records: copies.h. Seals: 6 12 18 25 26 31 34 36 39 45 47
 * 52 53; seal.a has the last.
 */
#include "forge.h"

#define NEXT_START_MS 6000000

struct touch {
	int line;
	const char *what, *from;
	/* done in this order; NULL: not wanted */
	const char *sql, *sh;
	void (*by)(struct copies *c);
	int status;         /* of verify: 0 sound, 1 not, 2 cannot be checked */
	const char *says;   /* verify */
	const char *anew;   /* a start puts the journal aside, and this is why; NULL: it goes on */
	const char *notes;  /* a start goes on, and shows this; NULL: nothing */
	bool same;          /* records and kept state are what they were */
	const char *beyond; /* seen from outside only: under this heading of docs/threats.md */
};

/* -- touches that take more than a line -------------------------------------------------------- */

static void by_hand(struct copies *c)
{
	forge(c, 11, NULL);
}

static void by_hand_in_the_tail(struct copies *c)
{
	forge(c, 57, NULL);
}

static void by_key(struct copies *c)
{
	struct pw_secret_key key;

	forge_key(c, &key);
	forge(c, 11, &key);
}

static void by_key_with_files(struct copies *c)
{
	by_key(c);
	forge_files(c);
}

/* A record of his own at the end, rightly chained. */
static void append(struct copies *c)
{
	copies_sql(c, "INSERT INTO record SELECT seq + 1, epoch, boot, mono_ms + 1, wall_ms + 1, 1,"
		   " 'excused', '{\"at_ms\":1}', hash, hash FROM record WHERE seq = 53");
	forge(c, 54, NULL);
}

/* -- the table --------------------------------------------------------------------------------- */

#define HASH(n) "seq " #n ": its hash is not that of its text"
#define SET(column, to) "UPDATE record SET " #column " = " to " WHERE seq = 11"
#define ZEROS "'0000000000000000000000000000000000000000000000000000000000000000'"
#define DB "state/journal.db"
#define LOG "state/journal.db-wal"

static const struct touch touches[] = {
	/* each column of a record */
	{ __LINE__, "a record's body", "sealed", SET(body, "replace(body, 'done', 'late')"),
	  .status = 1,
	  .says = HASH(11), .anew = HASH(11) },
	{ __LINE__, "its kind", "sealed", SET(kind, "'excused'"), .status = 1, .says = HASH(11),
	  .anew = HASH(11) },
	{ __LINE__, "a kind that is none", "sealed", SET(kind, "'walked'"), .status = 2,
	  .says = "seq 11 is of no known kind", .anew = "seq 11 is of no known kind" },
	{ __LINE__, "its time", "sealed", SET(wall_ms, "wall_ms - 600000"), .status = 1,
	  .says = HASH(11), .anew = HASH(11) },
	{ __LINE__, "that the clock was vouched for", "sealed", SET(wall_ok, "0"), .status = 1,
	  .says = HASH(11), .anew = HASH(11) },
	{ __LINE__, "its time since power-on", "sealed", SET(mono_ms, "mono_ms + 1"), .status = 1,
	  .says = HASH(11), .anew = HASH(11) },
	{ __LINE__, "its boot", "sealed", SET(boot, "2"), .status = 1, .says = HASH(11),
	  .anew = HASH(11) },
	{ __LINE__, "its epoch", "sealed", SET(epoch, "'0123456789abcdef'"), .status = 1,
	  .says = "seq 11: its epoch is not that of the record before",
	  .anew = "seq 11: its epoch is not that of the record before" },
	{ __LINE__, "an epoch that is none", "sealed", SET(epoch, "'today'"), .status = 2,
	  .says = "seq 11: epoch, prev or hash is not of so many hex digits",
	  .anew = "seq 11: epoch, prev or hash is not of so many hex digits" },
	{ __LINE__, "its prev", "sealed", SET(prev, ZEROS), .status = 1, .says = HASH(11),
	  .anew = HASH(11) },
	{ __LINE__, "its hash", "sealed", SET(hash, ZEROS), .status = 1, .says = HASH(11),
	  .anew = HASH(11) },
	{ __LINE__, "its seq: the last one's", "sealed",
	  "UPDATE record SET seq = 54 WHERE seq = 53", .status = 1,
	  .says = "seq 54: the record before it is 52",
	  .anew = "seq 53 is not there" },
	{ __LINE__, "a body longer than any", "sealed", SET(body, "printf('%.8193c', 'x')"),
	  .status = 2, .says = "seq 11: a body of 8192 bytes at most was expected",
	  .anew = "seq 11: a body of 8192 bytes at most was expected" },

	/* records taken out, put in, changed about */
	{ __LINE__, "the first is deleted", "sealed", "DELETE FROM record WHERE seq = 1",
	  .status = 1,
	  .says = "seq 2: it begins here", .anew = "seq 1 is not there" },
	{ __LINE__, "and is said to be pruned", "sealed", "DELETE FROM record WHERE seq = 1;"
	  "UPDATE meta SET pruned = 1", .status = 1, .says = "seq 2: it begins here",
	  .anew = "seq 2: it begins here" },
	{ __LINE__, "one in the middle is deleted", "sealed", "DELETE FROM record WHERE seq = 23",
	  .status = 1, .says = "seq 24: the record before it is 22",
	  .anew = "seq 24: the record before it is 22" },
	{ __LINE__, "and what follows moves up", "sealed", "DELETE FROM record WHERE seq = 23;"
	  "UPDATE record SET seq = 1 - seq WHERE seq > 23;"
	  "UPDATE record SET seq = -seq WHERE seq < 0",
	  .status = 1, .says = HASH(23),
	  .anew = "there is a seal of seq 53, and the records end at 52" },
	{ __LINE__, "the last is deleted", "sealed", "DELETE FROM record WHERE seq = 53",
	  .status = 1,
	  .says = "seq 53: its seal does not stand right behind it",
	  .anew = "there is a seal of seq 53, and the records end at 52" },
	{ __LINE__, "the last and its seal", "sealed", "DELETE FROM record WHERE seq = 53;"
	  "DELETE FROM seal WHERE seq = 53", .status = 1,
	  .says = "the kept state is of seq 53, and the records end at 52",
	  .anew = "the kept state is of seq 53, and the records end at 52" },
	{ __LINE__, "the sealed tail is cut off", "sealed", "DELETE FROM record WHERE seq > 47;"
	  "DELETE FROM seal WHERE seq > 47", .status = 1,
	  .says = "the kept state is of seq 53, and the records end at 47",
	  .anew = "the kept state is of seq 53, and the records end at 47" },
	{ __LINE__, "the unsealed tail is cut short", "driving",
	  "DELETE FROM record WHERE seq > 56",
	  .status = 1, .says = "the kept state is of seq 58, and the records end at 56",
	  .anew = "the kept state is of seq 58, and the records end at 56" },
	{ __LINE__, "the unsealed tail is cut off whole", "driving",
	  "DELETE FROM record WHERE seq > 53", .status = 1,
	  .says = "the kept state is of seq 58, and the records end at 53",
	  .anew = "the kept state is of seq 58, and the records end at 53" },
	{ __LINE__, "all records are deleted", "sealed", "DELETE FROM record", .status = 1,
	  .says = "it holds no record", .anew = "its records are gone" },
	{ __LINE__, "all tables are emptied", "sealed", "DELETE FROM record; DELETE FROM seal;"
	  "DELETE FROM kept", .status = 1, .says = "it holds no record",
	  .anew = "its records are gone" },
	{ __LINE__, "one is put in", "sealed", "UPDATE record SET seq = -seq - 1 WHERE seq > 23;"
	  "UPDATE record SET seq = -seq WHERE seq < 0; INSERT INTO record SELECT 24, epoch, boot,"
	  " mono_ms, wall_ms, wall_ok, kind, body, hash, hash FROM record WHERE seq = 23",
	  .status = 1, .says = HASH(24), .anew = "the chain does not hold at seq 53" },
	{ __LINE__, "one is put in at the end, rightly chained", "sealed", .by = append,
	  .status = 1,
	  .says = "the kept state is not signed by the bus's key",
	  .anew = "the kept state is not signed by the bus's key" },
	{ __LINE__, "two change places", "sealed", "UPDATE record SET seq = 0 WHERE seq = 23;"
	  "UPDATE record SET seq = 23 WHERE seq = 24; UPDATE record SET seq = 24 WHERE seq = 0",
	  .status = 1, .says = HASH(23), .anew = HASH(23) },

	/* recomputed */
	{ __LINE__, "the chain is recomputed to its end, without the key", "sealed",
	  SET(body, "replace(body, 'done', 'late')"), .by = by_hand, .status = 1,
	  .says = "seq 12: its seal is not by this key",
	  .anew = "the seal of seq 53 is not by the bus's key" },
	{ __LINE__, "the same in the unsealed tail", "driving",
	  "UPDATE record SET body = replace(body, '4100000', '4000500') WHERE seq = 57",
	  .by = by_hand_in_the_tail, .status = 1,
	  .says = "the kept state is not signed by the bus's key",
	  .anew = "the kept state is not signed by the bus's key" },
	{ __LINE__, "with the key, and the seal files are forgotten", "sealed",
	  SET(body, "replace(body, 'done', 'late')"), .by = by_key, .status = 1,
	  .says = "seq 53 is not the record that was sealed",
	  .anew = "seq 53 is not the record that was sealed" },
	{ __LINE__, "with the key, and the seal files", "sealed",
	  SET(body, "replace(body, 'done', 'late')"), .by = by_key_with_files,
	  .beyond = "Somebody who has the key" },

	/* seals */
	{ __LINE__, "all seals are stripped", "sealed", "DELETE FROM seal", .status = 1,
	  .says = "seq 1: nothing vouches for what stands from here on",
	  .anew = "the seal of seq 53 is gone", .same = true },
	{ __LINE__, "the last one is stripped", "sealed", "DELETE FROM seal WHERE seq = 53",
	  .status = 1, .says = "seq 53: nothing vouches for what stands from here on",
	  .anew = "the seal of seq 53 is gone", .same = true },
	{ __LINE__, "one in the middle is stripped", "sealed", "DELETE FROM seal WHERE seq = 25",
	  .same = true, .beyond = "A seal taken out of the middle" },
	{ __LINE__, "an old one is put in for the last", "sealed",
	  "DELETE FROM seal WHERE seq = 53; INSERT INTO seal SELECT 53, hash, sig FROM seal"
	  " WHERE seq = 52", .status = 1, .says = "seq 53: its seal is over another hash",
	  .anew = "the seal of seq 53 is of another record", .same = true },
	{ __LINE__, "the signature of an old one", "sealed", "UPDATE seal SET sig ="
	  " (SELECT sig FROM seal WHERE seq = 52) WHERE seq = 53", .status = 1,
	  .says = "seq 53: its seal is not by this key",
	  .anew = "the seal of seq 53 is not by the bus's key", .same = true },

	/* the seal files */
	{ __LINE__, "both seal files are taken away", "sealed", .sh = "rm state/seal.?",
	  .says = "note: ", .notes = "the seal files are gone", .same = true },
	{ __LINE__, "one is cut short", "sealed", .sh = "truncate -s 200 state/seal.b",
	  .says = "a seal file is not whole", .notes = "a seal file is not whole", .same = true },
	{ __LINE__, "a digit of one's signature", "sealed", .sh =
	  "sed -i '6y/0123456789abcdef/123456789abcdef0/' state/seal.b", .status = 1,
	  .says = "is not by the bus's key", .anew = "is not by the bus's key", .same = true },
	{ __LINE__, "one says a later seq", "sealed", .sh = "sed -i '4s/.*/60/' state/seal.b",
	  .status = 1, .says = "the seal file of seq 60 is not by the bus's key",
	  .anew = "the seal file of seq 60 is not by the bus's key", .same = true },
	{ __LINE__, "those of another board", "sealed", .sh = "cp ../other/state/seal.? state/",
	  .status = 1, .says = "a seal file is of epoch ", .anew = "a seal file is of epoch ",
	  .same = true },
	{ __LINE__, "those of long ago", "sealed", .sh = "cp ../early/state/seal.? state/",
	  .same = true, .beyond = "Older seal files" },

	/* the kept state and meta */
	{ __LINE__, "the kept state", "sealed",
	  "UPDATE kept SET state = replace(state, 'false', 'true')", .status = 1,
	  .says = "the kept state is not signed by the bus's key",
	  .anew = "the kept state is not signed by the bus's key" },
	{ __LINE__, "when it was kept", "driving", "UPDATE kept SET wall_ms = wall_ms + 60000",
	  .status = 1, .says = "the kept state is not signed by the bus's key",
	  .anew = "the kept state is not signed by the bus's key" },
	{ __LINE__, "that it ended in order", "driving", "UPDATE kept SET ended = 1", .status = 1,
	  .says = "the kept state is not signed by the bus's key",
	  .anew = "the kept state is not signed by the bus's key" },
	{ __LINE__, "an older one is put in", "driving",
	  .sh = "sqlite3 " DB " \"ATTACH '../early/" DB "' AS e;"
	  " REPLACE INTO kept SELECT * FROM e.kept\"",
	  .status = 1,
	  .says = "the kept state is of seq 26, and the records end at 58",
	  .anew = "the kept state is of seq 26, and the records end at 58" },
	{ __LINE__, "it is deleted", "driving", "DELETE FROM kept", .status = 1,
	  .says = "the kept state is gone", .anew = "the kept state is gone" },
	{ __LINE__, "meta: the bus", "sealed", "UPDATE meta SET bus = 'bus-8'", .status = 1,
	  .says = HASH(1), .anew = "is of bus bus-8, not bus-9", .same = true },
	{ __LINE__, "meta: the epoch", "sealed", "UPDATE meta SET epoch = '0123456789abcdef'",
	  .status = 1, .says = "the chain does not hold at seq 53",
	  .anew = "the chain does not hold at seq 53", .same = true },
	{ __LINE__, "meta: more is said to be pruned", "sealed", "UPDATE meta SET pruned = 9",
	  .same = true },
	{ __LINE__, "meta is deleted", "sealed", "DELETE FROM meta", .status = 2,
	  .says = "does not say of which bus", .anew = "does not say of which bus", .same = true },
	{ __LINE__, "another version", "sealed", "PRAGMA user_version = 7", .status = 2,
	  .says = "is a journal of version 7", .anew = "is a journal of version 7", .same = true },
	{ __LINE__, "the triggers are dropped", "sealed", .sh = "sqlite3 " DB
	  " 'DROP TRIGGER record_no_update; DROP TRIGGER record_no_delete'", .same = true },

	/* the file and its log */
	{ __LINE__, "the file is cut short", "sealed", .sh = "truncate -s 20000 " DB, .status = 2,
	  .says = "malformed", .anew = "malformed" },
	{ __LINE__, "it is emptied", "sealed", .sh = "truncate -s 0 " DB, .status = 2,
	  .says = "journal.db: ", .anew = "journal.db was not there" },
	{ __LINE__, "it is taken away", "sealed", .sh = "rm " DB, .status = 2,
	  .says = "journal.db: ",
	  .anew = "journal.db was not there" },
	{ __LINE__, "something else stands there", "sealed", .sh = "cp state/seal.a " DB,
	  .status = 2,
	  .says = "expected a journal or an export",
	  .anew = "file is not a database" },
	{ __LINE__, "the log of an open tail is taken away", "driving",
	  .sh = "rm " LOG " " DB "-shm",
	  .beyond = "A log taken away" },
	{ __LINE__, "it is cut short", "driving", .sh = "truncate -s 20000 " LOG, .status = 1,
	  .says = "nothing vouches for what stands from here on", .beyond = "A log taken away" },
	{ __LINE__, "an older log is put in for it", "further", .sh = "cp ../driving/" LOG " " LOG
	  " && rm " DB "-shm", .status = 1, .says = "seq 54: nothing vouches",
	  .beyond = "A log taken away" },
	{ __LINE__, "noise is put in for it", "driving", .sh = "head -c 57712 /dev/urandom >" LOG,
	  .beyond = "A log taken away" },
	{ __LINE__, "a log with a seal in it is taken away", "walked",
	  .sh = "rm " LOG " " DB "-shm",
	  .status = 1, .says = "it is older than its seal file: the records end at seq ",
	  .anew = "it is older than its seal file: the records end at seq " },

	/* rewound */
	{ __LINE__, "an older journal is put back", "sealed", .sh = "cp ../early/" DB " " DB,
	  .status = 1, .says = "it is older than its seal file: the records end at seq 26, and "
	  "seq 53 had been sealed",
	  .anew = "it is older than its seal file: the records end at seq 26" },
	{ __LINE__, "and a later beginning is claimed", "sealed",
	  .sh = "cp ../early/" DB " " DB
	  " && sqlite3 " DB " 'UPDATE meta SET pruned = 100'", .status = 1,
	  .says = "it is older than its seal file", .anew = "it is older than its seal file" },
	{ __LINE__, "and the seal files are taken away", "sealed",
	  .sh = "cp ../early/" DB " " DB " && rm state/seal.?",
	  .says = "the seal files are gone",
	  .notes = "the seal files are gone" },
	{ __LINE__, "an older journal, within an unsealed tail", "further",
	  .sh = "cp ../driving/" DB "* state/", .status = 1,
	  .says = "seq 54: nothing vouches",
	  .beyond = "A log taken away" },
	{ __LINE__, "the whole folder is put back as it was", "sealed",
	  .sh = "rm -r state && cp -a ../early/state state",
	  .beyond = "The whole folder put back" },

	/* keys */
	{ __LINE__, "another key pair", "sealed", .sh = "cp ../other/state/bus.* state/",
	  .status = 1,
	  .says = "the key beside it (bus.pub) is ",
	  .anew = "the seal of seq 53 is not by the bus's key", .same = true },
	{ __LINE__, "another public key", "sealed", .sh = "cp ../other/state/bus.pub state/",
	  .status = 1, .says = "the key beside it (bus.pub) is ", .same = true },
	{ __LINE__, "another secret key", "sealed", .sh = "cp ../other/state/bus.key state/",
	  .anew = "the seal of seq 53 is not by the bus's key", .same = true },
	{ __LINE__, "the secret key is taken away", "sealed", .sh = "rm state/bus.key",
	  .anew = "the seal of seq 53 is not by the bus's key", .same = true },
	{ __LINE__, "it is no key any more", "sealed", .sh = "echo none > state/bus.key",
	  .anew = "the seal of seq 53 is not by the bus's key", .same = true },
	{ __LINE__, "key and journal together, of another board", "sealed",
	  .sh = "rm -r state && cp -a ../other/state state", .status = 1,
	  .says = "the key beside it (bus.pub) is ",
	  .beyond = "Key and journal replaced together" },
	{ __LINE__, "the folder is emptied", "sealed", .sh = "rm state/*", .status = 2,
	  .says = "journal.db: ", .beyond = "Key and journal replaced together" },
};

/* -- what comes of it -------------------------------------------------------------------------- */

/* All that is not as the table has it is told, and then the test fails. */
struct judging {
	struct copies *c;
	const struct touch *t;
	const char *threats;
	unsigned failed;
	struct { unsigned by_verify, at_start, same, beyond; } seen;
};

__attribute__((format(printf, 2, 3)))
static void miss(struct judging *g, const char *format, ...)
{
	char words[2048];
	va_list args;

	va_start(args, format);
	vsnprintf(words, sizeof(words), format, args);
	va_end(args);
	print_error("line %d, %s: %s\n", g->t->line, g->t->what, words);
	g->failed++;
}

static void expect_words(struct judging *g, const char *by, const char *words)
{
	if (words && !strstr(g->c->said, words))
		miss(g, "%s does not say \"%s\", but: %s", by, words, g->c->said);
}

static void touch_it(struct copies *c, const struct touch *t)
{
	copies_take(c, t->from);
	if (t->sql)
		copies_sql(c, t->sql);
	if (t->sh)
		copies_shell(c, t->sh);
	if (t->by)
		t->by(c);
}

static bool says_the_same(struct copies *c, const char *from)
{
	char now[65], before[65];

	copies_digest(c, "now", now);
	copies_digest(c, from, before);
	return strcmp(now, before) == 0;
}

static void verify_it(struct judging *g)
{
	static const char *const verdicts[] = { ": sound: ", ": not sound: ", NULL };
	const int status = copies_verify(g->c, "now/state");

	if (status != g->t->status)
		miss(g, "verify's status is %d, not %d", status, g->t->status);
	expect_words(g, "verify", g->t->says);
	expect_words(g, "verify", verdicts[g->t->status]);
}

/* J6: what was there is kept whole, and the first record of the new epoch says why. */
static void expect_anew(struct judging *g)
{
	struct copies *c = g->c;

	expect_words(g, "the writer", "a new journal was begun: ");
	expect_words(g, "the writer", g->t->anew);
	shell("cd '%s' && sqlite3 -readonly now/" DB " \"SELECT kind, body ->> '$.before.seq', "
	      "body ->> '$.why' FROM record WHERE seq = 1\" >words 2>&1", c->base);
	copies_read(c, "words");
	expect_words(g, "the first record", g->t->anew);
	if (strncmp(c->said, "epoch|", 6) != 0)
		miss(g, "the first record is %s", c->said);
	if (!strstr(g->t->anew, "was not there") &&
	    shell("test -s '%s/now/" DB ".damaged-1'", c->base))
		miss(g, "the old journal was not put aside");
}

static void start_it(struct judging *g)
{
	copies_start(g->c, NEXT_START_MS);
	if (g->t->anew) {
		expect_anew(g);
		return;
	}
	expect_words(g, "the writer", g->t->notes);
	if (!g->t->notes && g->c->said[0])
		miss(g, "nothing was expected of a start, but: %s", g->c->said);
	if (shell("test ! -e '%s/now/" DB ".damaged-1'", g->c->base))
		miss(g, "the journal was put aside");
}

/* A touch that nothing shows is a hole, unless it changes nothing or docs/threats.md owns it. */
static void account_for(struct judging *g)
{
	const struct touch *t = g->t;
	char heading[128];

	if (!t->status && !t->anew && !t->notes && !t->same && !t->beyond)
		miss(g, "nothing shows it");
	snprintf(heading, sizeof(heading), "\n### %s\n", t->beyond ? t->beyond : "");
	if (t->beyond && !strstr(g->threats, heading))
		miss(g, "docs/threats.md has no heading \"%s\"", t->beyond);
	g->seen.by_verify += t->status && !t->beyond;
	g->seen.at_start += t->anew || t->notes;
	g->seen.same += t->same;
	g->seen.beyond += t->beyond != NULL;
}

static void judge(struct judging *g)
{
	account_for(g);
	touch_it(g->c, g->t);
	if (says_the_same(g->c, g->t->from) != g->t->same)
		miss(g, "it does %schange what the journal says", g->t->same ? "" : "not ");
	verify_it(g);
	start_it(g);
}

static void every_touch_is_found_or_named_J6_J10(void **state)
{
	static char threats[65536];
	struct judging g = { .c = *state, .threats = threats };
	FILE *f = fopen("docs/threats.md", "r");

	assert_non_null(f);
	threats[fread(threats, 1, sizeof(threats) - 1, f)] = '\0';
	fclose(f);
	for (size_t i = 0; i < sizeof(touches) / sizeof(touches[0]); i++) {
		g.t = &touches[i];
		judge(&g);
	}
	print_message("%zu touches: %u found by verify, %u at a start; %u change no record and no "
		      "kept state; %u are for a witness outside\n",
		      sizeof(touches) / sizeof(touches[0]),
		      g.seen.by_verify, g.seen.at_start, g.seen.same, g.seen.beyond);
	assert_int_equal(g.failed, 0);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		cmocka_unit_test(every_touch_is_found_or_named_J6_J10),
	};

	return cmocka_run_group_tests(tests, copies_make, copies_remove);
}
