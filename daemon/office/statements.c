/* SPDX-License-Identifier: Apache-2.0 */
/* What is asked of a store, in the SQL that SQLite and PostgreSQL have in common. */
#include "store_internal.h"

#define LINE_COLUMNS "bus, line, day, edges, bounces, chatters, disagreements, shortest_ms"
#define KEY_COLUMNS "bus, key, token, asked_ms, decided_ms, accepted, who, words"
#define BRANCH_COLUMNS "bus, epoch, branch, why, first, head, first_prev, hash, begun_ms, moved_ms"
#define MATTER_COLUMNS                                                                        \
	"id, kind, bus, epoch, branch, seq, hash, at_ms, came_ms, words,"                     \
	" taken_ms, taken_by, taken_words"
#define TELLING_COLUMNS "matter, day, way, tries, told, next_ms, told_ms, why"
#define SWEEP_COLUMNS                                                                         \
	"bus, epoch, branch, seq, closed_ms, key_off_ms, walk_ms, return_ms, late_ms, came_ms," \
	" wall_ok, findings, refused, verdict, rung"
/* A page of sweeps: $1 and what follows $2 is the last one that was given, or the beginning. */
#define SWEEPS(moment, which)                                                                 \
	"SELECT " SWEEP_COLUMNS " FROM sweep WHERE " moment " >= $1 AND " moment " < $2"      \
	" AND (" moment " > $1 OR (bus, epoch, branch, seq) > ($3, $4, $5, $6))" which        \
	" ORDER BY " moment ", bus, epoch, branch, seq LIMIT 512"
/* Of bigints PostgreSQL makes a numeric. */
#define SUM(what) "CAST(coalesce(sum(" what "), 0) AS bigint)"
#define BAD " AND verdict IN ('doubtful', 'missed')"

#define ACCOUNT_COLUMNS "code, role, hash, must_change, made_ms, changed_ms, seen_ms"
#define PURGED_COLUMNS "kind, before, at_ms, who, count, held"
#define OF_BRANCH "bus = $1 AND epoch = $2 AND branch = $3"
#define SAME_BRANCH(a, b)                                                                     \
	a ".bus = " b ".bus AND " a ".epoch = " b ".epoch AND " a ".branch = " b ".branch"
/* When the seal of a record came. */
#define CAME(r)                                                                               \
	"(SELECT s.came_ms FROM seal s WHERE " SAME_BRANCH("s", r)                            \
	" AND s.seq >= " r ".seq ORDER BY s.seq LIMIT 1)"
/* A hold that stands, of the bus or of any; what is of no bus is under all of them. */
#define HOLDS(of) "h.lifted_ms = 0 AND (h.bus = '' OR h.bus = " of " OR " of " = '')"
#define HELD_AT(of, moment)                                                                   \
	"EXISTS (SELECT 1 FROM hold h WHERE " HOLDS(of) " AND h.from_ms <= " moment           \
	" AND h.to_ms > " moment ")"
#define HELD_ROW                                                                              \
	"EXISTS (SELECT 1 FROM hold h WHERE " HOLDS("o.bus")                                  \
	" AND h.from_day <= o.day AND h.to_day >= o.day)"
#define HELD_WARMTH HELD_AT("w.bus", "w.at_ms")
#define SAW "substr(did, 1, 4) = '" PW_LOG_SAW "'"

const char *const pw_step_sql[PW_STEPS] = {
	[PW_BEGIN] = "BEGIN", [PW_COMMIT] = "COMMIT", [PW_ROLLBACK] = "ROLLBACK",
	[PW_MARK] = "SAVEPOINT mark", [PW_MARK_KEEP] = "RELEASE SAVEPOINT mark",
	[PW_MARK_UNDO] = "ROLLBACK TO SAVEPOINT mark; RELEASE SAVEPOINT mark",
};

const struct pw_statement pw_statement[PW_QUESTIONS] = {
	[PW_Q_BUS] = { "t",
		"SELECT bus, key, token, enrolled_ms, heard_ms FROM bus WHERE bus = $1" },
	[PW_Q_BUS_PUT] = { "tbbii",
		"INSERT INTO bus (bus, key, token, enrolled_ms, heard_ms)"
		" VALUES ($1, $2, $3, $4, $5)"
		" ON CONFLICT (bus) DO UPDATE SET key = excluded.key, token = excluded.token,"
		" enrolled_ms = excluded.enrolled_ms, heard_ms = excluded.heard_ms" },
	[PW_Q_BUS_HEARD] = { "it", "UPDATE bus SET heard_ms = $1 WHERE bus = $2" },
	[PW_Q_BUS_DAY] = { "ti",
		"INSERT INTO heard (bus, day) VALUES ($1, $2) ON CONFLICT (bus, day) DO NOTHING" },
	[PW_Q_HEARD] = { "",
		"SELECT b.bus, b.key, b.token, b.enrolled_ms, b.heard_ms, h.day FROM bus b"
		" LEFT JOIN (SELECT bus, day,"
		" row_number() OVER (PARTITION BY bus ORDER BY day DESC) AS n FROM heard) h"
		" ON h.bus = b.bus AND h.n <= 64"
		" WHERE b.key IS NOT NULL ORDER BY b.bus, h.day DESC" },
	[PW_Q_HEARD_SOME] = { "tii",
		"SELECT b.bus, b.key, b.token, b.enrolled_ms, b.heard_ms, h.day FROM (SELECT * FROM bus"
		" WHERE key IS NOT NULL AND bus > $1 ORDER BY bus LIMIT $2) b"
		" LEFT JOIN heard h ON h.bus = b.bus AND h.day >= $3 ORDER BY b.bus, h.day DESC" },
	[PW_Q_HEARD_SINCE] = { "i",
		"SELECT bus, heard_ms FROM bus WHERE heard_ms >= $1 AND key IS NOT NULL ORDER BY bus" },
	[PW_Q_CODE_PUT] = { "tbi",
		"INSERT INTO code (bus, hash, ends_ms, used_ms) VALUES ($1, $2, $3, 0)" },
	[PW_Q_CODE_TAKE] = { "itb",
		"UPDATE code SET used_ms = $1"
		" WHERE bus = $2 AND hash = $3 AND used_ms = 0 AND ends_ms > $1" },
	[PW_Q_KEY_PUT] = { "tbbiiitt",
		"INSERT INTO asked_key (" KEY_COLUMNS ") VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"
		" ON CONFLICT (bus, key) DO UPDATE SET token = excluded.token,"
		" asked_ms = excluded.asked_ms, decided_ms = excluded.decided_ms,"
		" accepted = excluded.accepted, who = excluded.who, words = excluded.words" },
	[PW_Q_KEYS] = { "", "SELECT " KEY_COLUMNS " FROM asked_key ORDER BY asked_ms, bus, key" },
	[PW_Q_KEYS_WAITING] = { "",
		"SELECT " KEY_COLUMNS " FROM asked_key WHERE decided_ms = 0"
		" ORDER BY asked_ms, bus, key" },

	[PW_Q_BRANCHES] = { "",
		"SELECT " BRANCH_COLUMNS ", purged FROM branch ORDER BY begun_ms, bus, epoch, branch" },
	[PW_Q_BRANCHES_BUS] = { "t",
		"SELECT " BRANCH_COLUMNS ", purged FROM branch WHERE bus = $1"
		" ORDER BY begun_ms, epoch, branch" },
	[PW_Q_BRANCHES_EPOCH] = { "tb",
		"SELECT " BRANCH_COLUMNS ", purged FROM branch WHERE bus = $1 AND epoch = $2"
		" ORDER BY begun_ms, branch" },
	[PW_Q_BRANCH] = { "tbi",
		"SELECT " BRANCH_COLUMNS ", purged FROM branch"
		" WHERE bus = $1 AND epoch = $2 AND branch = $3" },
	[PW_Q_BRANCH_BEGIN] = { "tbitiibbiiiiii",
		"INSERT INTO branch (" BRANCH_COLUMNS ", seals, sweeps, doubtful, missed)"
		" VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)"
		" ON CONFLICT (bus, epoch, branch) DO NOTHING" },
	[PW_Q_BRANCH_MOVE] = { "ibiiiiitbiib",
		"UPDATE branch SET head = $1, hash = $2, moved_ms = $3, seals = seals + $4,"
		" sweeps = sweeps + $5, doubtful = doubtful + $6, missed = missed + $7"
		" WHERE bus = $8 AND epoch = $9 AND branch = $10 AND head = $11 AND hash = $12" },
	[PW_Q_HASH] = { "tbii",
		"SELECT hash FROM record"
		" WHERE bus = $1 AND epoch = $2 AND branch = $3 AND seq = $4", true },
	[PW_Q_READ] = { "tbii",
		"SELECT r.seq, r.boot, r.mono_ms, r.wall_ms, r.wall_ok, r.kind, r.body, r.hash,"
		" s.sig"
		" FROM record r LEFT JOIN seal s ON s.bus = r.bus AND s.epoch = r.epoch"
		" AND s.branch = r.branch AND s.seq = r.seq"
		" WHERE r.bus = $1 AND r.epoch = $2 AND r.branch = $3 AND r.seq >= $4"
		" ORDER BY r.seq LIMIT 256", true },

	[PW_Q_STAND] = { "ttiiit",
		"INSERT INTO standing (bus, name, stands, seq, since_ms, words)"
		" VALUES ($1, $2, $3, $4, $5, $6)"
		" ON CONFLICT (bus, name) DO UPDATE SET stands = excluded.stands,"
		" seq = excluded.seq, since_ms = excluded.since_ms, words = excluded.words" },
	[PW_Q_STAND_NONE] = { "t",
		"UPDATE standing SET stands = 0 WHERE bus = $1 AND stands = 1" },
	[PW_Q_STANDINGS] = { "",
		"SELECT bus, name, stands, seq, since_ms, words FROM standing WHERE stands = 1"
		" ORDER BY bus, since_ms, name" },
	[PW_Q_SWEEPS] = { "iitbii", SWEEPS("closed_ms", ""), true },
	[PW_Q_SWEEPS_BAD] = { "iitbii", SWEEPS("closed_ms", BAD), true },
	[PW_Q_SWEEPS_CAME] = { "iitbii", SWEEPS("came_ms", ""), true },
	[PW_Q_SWEEPS_CAME_BAD] = { "iitbii", SWEEPS("came_ms", BAD), true },

	[PW_Q_MATTER_PUT] = { "ttbiibiit",
		"INSERT INTO matter (kind, bus, epoch, branch, seq, hash, at_ms, came_ms, words,"
		" taken_ms, taken_by, taken_words)"
		" VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, 0, '', '')"
		" ON CONFLICT (bus, kind, epoch, seq, hash) DO NOTHING RETURNING id" },
	[PW_Q_MATTER_FIND] = { "ttbib",
		"SELECT id FROM matter"
		" WHERE kind = $1 AND bus = $2 AND epoch = $3 AND seq = $4 AND hash = $5" },
	[PW_Q_MATTER] = { "i", "SELECT " MATTER_COLUMNS " FROM matter WHERE id = $1" },
	[PW_Q_MATTERS] = { "i", "SELECT " MATTER_COLUMNS " FROM matter WHERE id > $1 ORDER BY id" },
	[PW_Q_MATTERS_OPEN] = { "i",
		"SELECT " MATTER_COLUMNS " FROM matter WHERE id > $1 AND taken_ms = 0"
		" ORDER BY id" },
	[PW_Q_MATTER_TAKE] = { "itti",
		"UPDATE matter SET taken_ms = $1, taken_by = $2, taken_words = $3"
		" WHERE id = $4 AND taken_ms = 0" },

	[PW_Q_TELLING_PUT] = { "iitiiiit",
		"INSERT INTO telling (" TELLING_COLUMNS ") VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"
		" ON CONFLICT (matter, day, way) DO UPDATE SET tries = excluded.tries,"
		" told = excluded.told, next_ms = excluded.next_ms, told_ms = excluded.told_ms,"
		" why = excluded.why" },
	[PW_Q_TELLING] = { "iit",
		"SELECT " TELLING_COLUMNS " FROM telling"
		" WHERE matter = $1 AND day = $2 AND way = $3" },
	[PW_Q_TELLINGS] = { "i",
		"SELECT " TELLING_COLUMNS " FROM telling WHERE next_ms <= $1"
		" ORDER BY next_ms, matter, day, way" },
	[PW_Q_LOG] = { "itt", "INSERT INTO log (at_ms, who, did) VALUES ($1, $2, $3)" },
	[PW_Q_LOGS] = { "i", "SELECT at_ms, who, did FROM log WHERE at_ms >= $1 ORDER BY id" },
	[PW_Q_LOGS_BACK] = { "ii",
		"SELECT id, at_ms, who, did FROM log WHERE id < $1 ORDER BY id DESC LIMIT $2" },

	[PW_Q_ACCOUNT_PUT] = { "tttiiii",
		"INSERT INTO account (" ACCOUNT_COLUMNS ") VALUES ($1, $2, $3, $4, $5, $6, $7)"
		" ON CONFLICT (code) DO UPDATE SET role = excluded.role, hash = excluded.hash,"
		" must_change = excluded.must_change, made_ms = excluded.made_ms,"
		" changed_ms = excluded.changed_ms, seen_ms = excluded.seen_ms" },
	[PW_Q_ACCOUNT] = { "t", "SELECT " ACCOUNT_COLUMNS " FROM account WHERE code = $1" },
	[PW_Q_ACCOUNTS] = { "", "SELECT " ACCOUNT_COLUMNS " FROM account ORDER BY code" },
	[PW_Q_TOKEN_PUT] = { "btti",
		"INSERT INTO token (hash, code, words, ends_ms) VALUES ($1, $2, $3, $4)"
		" ON CONFLICT (hash) DO UPDATE SET code = excluded.code, words = excluded.words,"
		" ends_ms = excluded.ends_ms" },
	[PW_Q_TOKENS] = { "",
		"SELECT hash, code, words, ends_ms FROM token ORDER BY code, ends_ms, hash" },
	[PW_Q_TOKEN] = { "bi",
		"SELECT t.code FROM token t JOIN account a ON a.code = t.code"
		" AND a.role <> 'nothing' WHERE t.hash = $1 AND t.ends_ms > $2" },

	[PW_Q_WARMTH_PUT] = { "tiit",
		"INSERT INTO warmth (bus, at_ms, c10, source) VALUES ($1, $2, $3, $4)"
		" ON CONFLICT (bus, at_ms) DO UPDATE SET c10 = excluded.c10,"
		" source = excluded.source" },
	[PW_Q_WARMTHS] = { "tii",
		"SELECT at_ms, c10, source FROM warmth WHERE bus = $1 AND at_ms >= $2"
		" AND at_ms < $3 ORDER BY at_ms" },

	[PW_Q_HOLD_PUT] = { "tiiiiitt",
		"INSERT INTO hold (bus, from_day, to_day, from_ms, to_ms, at_ms, lifted_ms,"
		" lifted_by, who, words) VALUES ($1, $2, $3, $4, $5, $6, 0, '', $7, $8)"
		" RETURNING id" },
	[PW_Q_HOLD_LIFT] = { "iti",
		"UPDATE hold SET lifted_ms = $1, lifted_by = $2 WHERE id = $3 AND lifted_ms = 0" },
	[PW_Q_HOLDS] = { "",
		"SELECT id, bus, from_day, to_day, at_ms, lifted_ms, who, words FROM hold"
		" ORDER BY id" },
	[PW_Q_PURGES] = { "", "SELECT " PURGED_COLUMNS " FROM purged ORDER BY id DESC" },
	[PW_Q_PURGE_OPEN] = { "t",
		"SELECT " PURGED_COLUMNS ", id, behind_ms, behind_bus, behind_epoch, behind_branch"
		" FROM purged WHERE kind = $1 AND more = 1" },
	[PW_Q_PURGE_BEGIN] = { "tiit",
		"INSERT INTO purged (" PURGED_COLUMNS ") VALUES ($1, $2, $3, $4, 0, 0)"
		" RETURNING id" },
	[PW_Q_PURGE_SHUT] = { "t", "UPDATE purged SET more = 0 WHERE kind = $1 AND more = 1" },
	[PW_Q_PURGE_DROP] = { "i", "DELETE FROM purged WHERE id = $1" },
	[PW_Q_PURGE_KEEP] = { "iiitbiii",
		"UPDATE purged SET count = $1, held = $2, behind_ms = $3, behind_bus = $4,"
		" behind_epoch = $5, behind_branch = $6, more = $7 WHERE id = $8" },
	[PW_Q_PURGING_ON] = { "t", "INSERT INTO purging (who) VALUES ($1)" },
	[PW_Q_PURGING_OFF] = { "", "DELETE FROM purging" },

	[PW_Q_PURGE_BRANCH] = { "tbii",
		"SELECT b.bus, b.epoch, b.branch, b.first, b.head FROM branch b"
		" JOIN record r ON " SAME_BRANCH("r", "b") " AND r.seq = b.first"
		" WHERE (b.bus, b.epoch, b.branch) > ($1, $2, $3)"
		" AND (r.wall_ms < $4 OR r.wall_ok = 0)"
		" ORDER BY b.bus, b.epoch, b.branch LIMIT 1", true },
	[PW_Q_PURGE_FIRST_SEAL] = { "tbiii",
		"SELECT seq FROM seal WHERE " OF_BRANCH
		" AND seq >= $4 AND seq <= $5 ORDER BY seq LIMIT 1", true },
	[PW_Q_PURGE_LAST_SEAL] = { "tbiii",
		"SELECT seq FROM seal WHERE " OF_BRANCH
		" AND seq >= $4 AND seq <= $5 ORDER BY seq DESC LIMIT 1", true },
	[PW_Q_PURGE_YOUNG] = { "tbiiii",
		"SELECT r.seq FROM record r WHERE " OF_BRANCH " AND r.seq >= $4 AND r.seq <= $5"
		" AND (r.wall_ok = 0 OR r.wall_ms >= $6) AND " CAME("r") " >= $6"
		" ORDER BY r.seq LIMIT 1", true },
	[PW_Q_PURGE_HELD] = { "tbiii",
		"SELECT r.seq FROM record r WHERE " OF_BRANCH " AND r.seq >= $4 AND r.seq <= $5"
		" AND EXISTS (SELECT 1 FROM hold h WHERE " HOLDS("r.bus")
		" AND ((r.wall_ok = 1 AND r.wall_ms >= h.from_ms AND r.wall_ms < h.to_ms)"
		" OR ((r.wall_ok = 0 OR r.wall_ms > " CAME("r") ") AND " CAME("r") " >= h.from_ms)))"
		" ORDER BY r.seq LIMIT 1", true },
	[PW_Q_PURGE_SEALS] = { "tbii",
		"DELETE FROM seal WHERE " OF_BRANCH " AND seq <= $4", true },
	[PW_Q_PURGE_RECORDS] = { "tbii",
		"DELETE FROM record WHERE " OF_BRANCH " AND seq <= $4", true },
	[PW_Q_PURGE_MOVE] = { "ibiitbi",
		"UPDATE branch SET first = $1, first_prev = $2, seals = seals - $3,"
		" purged = purged + $4 WHERE bus = $5 AND epoch = $6 AND branch = $7" },

	[PW_Q_PURGE_ROWS_FIRST] = { "i", "SELECT min(at_ms) FROM outcome WHERE at_ms >= $1" },
	[PW_Q_PURGE_ROWS] = { "iii",
		"DELETE FROM outcome WHERE (bus, day, nth) IN (SELECT o.bus, o.day, o.nth"
		" FROM outcome o WHERE o.at_ms >= $1 AND o.at_ms < $2 AND NOT " HELD_ROW
		" ORDER BY o.at_ms LIMIT $3)"
		" RETURNING bus, day, nth, at_ms, run, findings, epoch, branch, seq" },
	[PW_Q_PURGE_ROWS_HELD] = { "ii",
		"SELECT count(*) FROM outcome o WHERE o.at_ms >= $1 AND o.at_ms < $2 AND "
		HELD_ROW },
	[PW_Q_PURGE_PLAN] = { "tit", "DELETE FROM plan WHERE bus = $1 AND day = $2 AND run = $3" },
	[PW_Q_PURGE_SWEEP] = { "tbii",
		"DELETE FROM sweep WHERE " OF_BRANCH " AND seq = $4 RETURNING verdict", true },
	[PW_Q_PURGE_SWEEPS_LESS] = { "iitbi",
		"UPDATE branch SET sweeps = sweeps - 1, doubtful = doubtful - $1,"
		" missed = missed - $2 WHERE bus = $3 AND epoch = $4 AND branch = $5" },
	[PW_Q_PURGE_SIGNERS] = { "ti",
		"DELETE FROM signer WHERE bus = $1 AND at_ms < $2 AND NOT " HELD_AT("signer.bus",
		"signer.at_ms") },
	[PW_Q_PURGE_FINDING] = { "titii",
		"DELETE FROM outcome_finding WHERE finding = $1 AND at_ms = $2 AND bus = $3"
		" AND day = $4 AND nth = $5" },
	[PW_Q_PURGE_WARMTH_FIRST] = { "i", "SELECT min(at_ms) FROM warmth WHERE at_ms >= $1" },
	[PW_Q_PURGE_WARMTH] = { "iii",
		"DELETE FROM warmth WHERE (bus, at_ms) IN (SELECT w.bus, w.at_ms FROM warmth w"
		" WHERE w.at_ms >= $1 AND w.at_ms < $2 AND NOT " HELD_WARMTH
		" ORDER BY w.at_ms LIMIT $3) RETURNING at_ms" },
	[PW_Q_PURGE_WARMTH_HELD] = { "ii",
		"SELECT count(*) FROM warmth w WHERE w.at_ms >= $1 AND w.at_ms < $2 AND "
		HELD_WARMTH },
	[PW_Q_PURGE_VIEWS_FIRST] = { "i",
		"SELECT min(at_ms) FROM log WHERE " SAW " AND at_ms >= $1" },
	[PW_Q_PURGE_VIEWS] = { "iii",
		"DELETE FROM log WHERE id IN (SELECT l.id FROM log l WHERE " SAW
		" AND l.at_ms >= $1 AND l.at_ms < $2 AND NOT " HELD_AT("''", "l.at_ms")
		" ORDER BY l.at_ms LIMIT $3) RETURNING at_ms" },
	[PW_Q_PURGE_VIEWS_HELD] = { "ii",
		"SELECT count(*) FROM log l WHERE " SAW " AND l.at_ms >= $1 AND l.at_ms < $2 AND "
		HELD_AT("''", "l.at_ms") },

	[PW_Q_LINES_BOUNCED] = { "ii",
		"SELECT " LINE_COLUMNS " FROM line_day WHERE day = $1 AND bounces > 0"
		" ORDER BY bounces DESC, bus, line LIMIT $2" },
	[PW_Q_LINES_FAILED] = { "ii",
		"SELECT " LINE_COLUMNS " FROM line_day WHERE day = $1"
		" AND chatters + disagreements > 0"
		" ORDER BY chatters + disagreements DESC, bus, line LIMIT $2" },
	[PW_Q_POLICY] = { "t",
		"SELECT body FROM record WHERE bus = $1 AND kind = 'policy'"
		" ORDER BY wall_ms DESC, seq DESC LIMIT 1", true },
	[PW_Q_POLICIES] = { "t",
		"SELECT epoch, branch, seq FROM record WHERE bus = $1 AND kind = 'policy'"
		" ORDER BY wall_ms DESC", true },

	[PW_Q_FIGURES] = { "",
		"SELECT (SELECT count(*) FROM bus WHERE key IS NOT NULL), count(*), "
		SUM("head - first + 1") ", " SUM("seals") ", " SUM("sweeps") ", " SUM("missed")
		", " SUM("doubtful") ", (SELECT count(*) FROM matter),"
		" (SELECT count(*) FROM matter WHERE taken_ms = 0) FROM branch" },

#include "statements_rows.h"
};

const struct pw_columns pw_columns[PW_TABLES] = {
	[PW_T_RECORD] = { "record",
		"bus, epoch, branch, seq, boot, mono_ms, wall_ms, wall_ok, kind, hash, body",
		"tbniiiistbt" },
	[PW_T_SEAL] = { "seal", "bus, epoch, branch, seq, came_ms, sig", "tbniib" },
	[PW_T_SWEEP] = { "sweep", SWEEP_COLUMNS, "tbniiiiiiistitt" },
	[PW_T_OUTCOME] = { "outcome", PW_OUTCOME_COLUMNS,
		"tnnittttiitttnnbnisttitiiiiiintittti" },
	[PW_T_FINDING] = { "outcome_finding", "finding, at_ms, bus, day, nth", "titnn" },
};

extern const char pw_sqlite_1[], pw_sqlite_2[], pw_sqlite_3[];
extern const char pw_pgsql_1[], pw_pgsql_2[], pw_pgsql_3[];

const char *const pw_sqlite_schema[] = { pw_sqlite_1, pw_sqlite_2, pw_sqlite_3, NULL };
const char *const pw_pgsql_schema[] = { pw_pgsql_1, pw_pgsql_2, pw_pgsql_3, NULL };
