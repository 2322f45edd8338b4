/* SPDX-License-Identifier: Apache-2.0 */
/*
 * statements_rows.h - the part of the table in statements.c that is about planned runs, what became
 * of them, and tallies. Included there alone.
 *
 * The WHERE of an index of what is rare stands word for word in what is to be answered from it:
 * SQLite takes it for nothing else.
 */
#define PLAN_COLUMNS "bus, day, run, route, place, driver, begin_ms, end_ms, import"
#define IMPORT_COLUMNS "at_ms, who, file, hash, taken, refused"
#define CORRECTION_COLUMNS "bus, day, run, epoch, branch, seq, result, at_ms, who, words"
#define TALLY_COUNTS                                                                          \
	"runs, sweeps, walked, late, doubtful, missed, no_record, silent, unplanned,"         \
	" corrected, refused, unchecked_ms"
#define ADDED(column) column " = tally." column " + excluded." column
/* One of which nothing is left is as good as none. */
#define TALLIES(which, order)                                                                 \
	"SELECT name, span, " TALLY_COUNTS " FROM tally WHERE kind = $1 AND length = $2" which \
	" AND (runs > 0 OR sweeps > 0) ORDER BY " order
#define LESS(column, sign)                                                                    \
	column " = CASE WHEN excluded." column " " sign " awake." column                      \
	       " THEN excluded." column " ELSE awake." column " END"
#define DIRTY_OF(from)                                                                        \
	"INSERT INTO dirty (bus, day) SELECT DISTINCT o.bus, o.at_ms / 86400000 FROM " from   \
	" ON CONFLICT (bus, day) DO NOTHING"

	/* -- what changed -- */
	[PW_Q_DIRTY] = { "ti",
		"INSERT INTO dirty (bus, day) VALUES ($1, $2) ON CONFLICT (bus, day) DO NOTHING" },
	[PW_Q_DIRTY_NEXT] = { "", "SELECT bus, day FROM dirty ORDER BY day DESC, bus DESC LIMIT 1" },
	[PW_Q_DIRTY_BUS] = { "tii",
		"SELECT day FROM dirty WHERE bus = $1 AND day <= $2 AND day >= $3"
		" ORDER BY day DESC" },
	[PW_Q_DIRTY_DONE] = { "tii",
		"DELETE FROM dirty WHERE bus = $1 AND day >= $2 AND day <= $3" },
	[PW_Q_DIRTY_DUE] = { "i", DIRTY_OF("outcome o WHERE o.due_ms IS NOT NULL AND o.due_ms <= $1"),
		true },
	[PW_Q_DIRTY_SILENT] = { "t",
		DIRTY_OF("outcome o JOIN awake a ON a.bus = o.bus AND a.to_ms >= o.at_ms"
			 " AND a.from_ms <= o.at_ms WHERE o.bus = $1 AND o.why = 'bus_silent'"),
		true },
	[PW_Q_DIRTY_NEAR] = { "tii",
		DIRTY_OF("outcome o WHERE o.bus <> $1 AND o.stands = 'no_record'"
			 " AND o.stands <> 'walked' AND o.at_ms >= $2 AND o.at_ms <= $3"), true },
	[PW_Q_DIRTY_WARMED] = { "tii",
		DIRTY_OF("outcome o WHERE ($1 = '' OR o.bus = $1) AND o.verdict = 'missed'"
			 " AND o.verdict IN ('late', 'doubtful', 'missed')"
			 " AND o.at_ms >= $2 AND o.at_ms <= $3"), true },

	/* -- out of records, as they come -- */
	[PW_Q_AWAKE] = { "tbiiii",
		"INSERT INTO awake (bus, epoch, boot, wall_ok, from_ms, to_ms)"
		" VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (bus, epoch, boot, wall_ok)"
		" DO UPDATE SET " LESS("from_ms", "<") ", " LESS("to_ms", ">") },
	[PW_Q_AWAKES] = { "tii",
		"SELECT wall_ok, from_ms, to_ms FROM awake WHERE bus = $1 AND to_ms >= $2"
		" AND from_ms <= $3 ORDER BY from_ms, to_ms" },
	[PW_Q_SIGNER] = { "tit",
		"INSERT INTO signer (bus, at_ms, code) VALUES ($1, $2, $3)"
		" ON CONFLICT (bus, at_ms) DO UPDATE SET code = excluded.code" },
	[PW_Q_SIGNERS] = { "tii",
		"SELECT at_ms, code FROM signer WHERE bus = $1 AND at_ms >= $2 AND at_ms < $3"
		" ORDER BY at_ms" },
	[PW_Q_LINE] = { "ttiiiiii",
		"INSERT INTO line_day (bus, line, day, edges, bounces, chatters, disagreements,"
		" shortest_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"
		" ON CONFLICT (bus, line, day) DO UPDATE SET"
		" edges = line_day.edges + excluded.edges,"
		" bounces = line_day.bounces + excluded.bounces,"
		" chatters = line_day.chatters + excluded.chatters,"
		" disagreements = line_day.disagreements + excluded.disagreements,"
		" shortest_ms = CASE WHEN line_day.shortest_ms = 0"
		" OR (excluded.shortest_ms > 0 AND excluded.shortest_ms < line_day.shortest_ms)"
		" THEN excluded.shortest_ms ELSE line_day.shortest_ms END" },
	[PW_Q_LINES] = { "tii",
		"SELECT bus, line, day, edges, bounces, chatters, disagreements, shortest_ms"
		" FROM line_day WHERE bus = $1 AND day >= $2 AND day <= $3 ORDER BY line, day" },

	/* -- planned runs and corrections -- */
	[PW_Q_IMPORT] = { "ittbii",
		"INSERT INTO import (" IMPORT_COLUMNS ") VALUES ($1, $2, $3, $4, $5, $6)"
		" RETURNING id" },
	[PW_Q_IMPORTS] = { "",
		"SELECT id, " IMPORT_COLUMNS " FROM import ORDER BY id DESC LIMIT 100" },
	[PW_Q_PLAN_PUT] = { "tittttiii",
		"INSERT INTO plan (" PLAN_COLUMNS ") VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)"
		" ON CONFLICT (bus, day, run) DO UPDATE SET route = excluded.route,"
		" place = excluded.place, driver = excluded.driver, begin_ms = excluded.begin_ms,"
		" end_ms = excluded.end_ms, import = excluded.import" },
	[PW_Q_PLANS_END] = { "tii",
		"SELECT " PLAN_COLUMNS " FROM plan WHERE bus = $1 AND end_ms >= $2 AND end_ms < $3"
		" ORDER BY end_ms, begin_ms, day, run" },
	[PW_Q_BUSY] = { "tii",
		"SELECT end_ms FROM plan WHERE bus = $1 AND begin_ms < $2 AND end_ms <= $3"
		" ORDER BY end_ms DESC LIMIT 1" },
	[PW_Q_CORRECT] = { "titbiititt",
		"INSERT INTO correction (" CORRECTION_COLUMNS ")"
		" VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)" },
	[PW_Q_CORRECTIONS] = { "",
		"SELECT " CORRECTION_COLUMNS " FROM correction ORDER BY id DESC LIMIT 500" },
	[PW_Q_CORRECTIONS_DAYS] = { "tii",
		"SELECT " CORRECTION_COLUMNS " FROM correction WHERE bus = $1 AND day >= $2"
		" AND day <= $3 ORDER BY id" },

	/* -- rows -- */
	[PW_Q_STOPS] = { "tii",
		"SELECT " SWEEP_COLUMNS " FROM sweep WHERE bus = $1 AND key_off_ms >= $2"
		" AND key_off_ms < $3 ORDER BY key_off_ms, epoch, branch, seq", true },
	[PW_Q_STOPS_CAME] = { "tii",
		"SELECT " SWEEP_COLUMNS " FROM sweep WHERE bus = $1 AND came_ms >= $2"
		" AND came_ms < $3 ORDER BY came_ms, epoch, branch, seq", true },
	[PW_Q_STRAYS] = { "tii",
		"SELECT bus, at_ms FROM outcome WHERE bus <> $1 AND stands = 'unplanned'"
		" AND stands <> 'walked' AND at_ms >= $2 AND at_ms <= $3"
		" ORDER BY at_ms, bus LIMIT 64", true },
	[PW_Q_WARMEST] = { "tii",
		"SELECT max(c10) FROM warmth WHERE bus = $1 AND at_ms >= $2 AND at_ms <= $3" },
	[PW_Q_ROW_RUN] = { "tit",
		"SELECT " PW_OUTCOME_COLUMNS " FROM outcome WHERE bus = $1 AND day = $2"
		" AND run = $3", true },
	[PW_Q_ROW_SWEEP] = { "tibii",
		"SELECT " PW_OUTCOME_COLUMNS " FROM outcome WHERE bus = $1 AND day = $2"
		" AND run = '' AND epoch = $3 AND branch = $4 AND seq = $5", true },
	[PW_Q_ROWS_DAYS] = { "tii",
		"SELECT " PW_OUTCOME_COLUMNS " FROM outcome WHERE bus = $1 AND day >= $2"
		" AND day <= $3 ORDER BY day, nth", true },
	[PW_Q_ROWS_BUS] = { "t", "SELECT min(bus) FROM outcome WHERE bus > $1", true },
	[PW_Q_ROWS_DROP] = { "ti", "DELETE FROM outcome WHERE bus = $1 AND day = $2", true },
	[PW_Q_ROWS_PURGED] = { "", "SELECT max(before) FROM purged WHERE kind = 'rows'" },

	/* -- tallies -- */
	[PW_Q_TALLY] = { "iitiiiiiiiiiiiii",
		"INSERT INTO tally (kind, length, name, span, " TALLY_COUNTS ") VALUES ($1, $2,"
		" $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)"
		" ON CONFLICT (kind, length, name, span) DO UPDATE SET " ADDED("runs") ", "
		ADDED("sweeps") ", " ADDED("walked") ", " ADDED("late") ", " ADDED("doubtful")
		", " ADDED("missed") ", " ADDED("no_record") ", " ADDED("silent") ", "
		ADDED("unplanned") ", " ADDED("corrected") ", " ADDED("refused") ", "
		ADDED("unchecked_ms") },
	[PW_Q_TALLIES] = { "iiii", TALLIES(" AND span >= $3 AND span <= $4", "name, span") },
	[PW_Q_TALLIES_SPAN] = { "iii", TALLIES(" AND span = $3", "name") },
	[PW_Q_TALLIES_NAME] = { "iitii",
		TALLIES(" AND name = $3 AND span >= $4 AND span <= $5", "span") },
	[PW_Q_SPREAD_ADD] = { "tiiii",
		"INSERT INTO spread (bus, what, span, second, count) VALUES ($1, $2, $3, $4, $5)"
		" ON CONFLICT (bus, what, span, second)"
		" DO UPDATE SET count = spread.count + excluded.count" },
	[PW_Q_SPREAD] = { "tiii",
		"SELECT second, " SUM("count") " FROM spread WHERE bus = $1 AND what = $2"
		" AND span >= $3 AND span <= $4 GROUP BY second HAVING sum(count) > 0"
		" ORDER BY second" },
