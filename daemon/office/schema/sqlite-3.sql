-- SPDX-License-Identifier: Apache-2.0
-- Which runs were not walked: planned runs, what became of them, tallies; and who asks. Days: YYYYMMDD.

-- A run sheet or feed that was taken, and the runs of them all: of one bus, day and id the last that came.
CREATE TABLE import (id INTEGER PRIMARY KEY AUTOINCREMENT, at_ms INTEGER NOT NULL, who TEXT NOT NULL,
	file TEXT NOT NULL, hash BLOB NOT NULL CHECK (length(hash) = 32), taken INTEGER NOT NULL,
	refused INTEGER NOT NULL) STRICT;
CREATE TABLE plan (bus TEXT NOT NULL, day INTEGER NOT NULL, run TEXT NOT NULL CHECK (run <> ''),
	route TEXT NOT NULL, place TEXT NOT NULL, driver TEXT NOT NULL, begin_ms INTEGER NOT NULL,
	end_ms INTEGER NOT NULL CHECK (end_ms >= begin_ms), import INTEGER NOT NULL,
	PRIMARY KEY (bus, day, run)) STRICT, WITHOUT ROWID;
CREATE INDEX plan_end ON plan (bus, end_ms);
CREATE INDEX plan_day ON plan (day, bus, run);
-- Of a run: epoch no bytes, branch and seq 0; of a sweep without one: run ''. result 'none': as it was matched.
CREATE TABLE correction (id INTEGER PRIMARY KEY AUTOINCREMENT, bus TEXT NOT NULL, day INTEGER NOT NULL,
	run TEXT NOT NULL, epoch BLOB NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL,
	result TEXT NOT NULL, at_ms INTEGER NOT NULL, who TEXT NOT NULL, words TEXT NOT NULL) STRICT;
CREATE INDEX correction_day ON correction (bus, day, id);

-- When the watch was at work: from the first to the last record of a start, by a clock that is right or not.
CREATE TABLE awake (bus TEXT NOT NULL, epoch BLOB NOT NULL, boot INTEGER NOT NULL,
	wall_ok INTEGER NOT NULL CHECK (wall_ok IN (0, 1)), from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL,
	PRIMARY KEY (bus, epoch, boot, wall_ok)) STRICT, WITHOUT ROWID;
CREATE INDEX awake_to ON awake (bus, to_ms);
-- Who signed the vehicle report.
CREATE TABLE signer (bus TEXT NOT NULL, at_ms INTEGER NOT NULL, code TEXT NOT NULL, PRIMARY KEY (bus, at_ms))
	STRICT, WITHOUT ROWID;
CREATE TABLE line_day (bus TEXT NOT NULL, line TEXT NOT NULL, day INTEGER NOT NULL, edges INTEGER NOT NULL,
	bounces INTEGER NOT NULL, chatters INTEGER NOT NULL, disagreements INTEGER NOT NULL,
	shortest_ms INTEGER NOT NULL, PRIMARY KEY (bus, line, day)) STRICT, WITHOUT ROWID;
CREATE INDEX line_day_bounces ON line_day (day, bounces) WHERE bounces > 0;
CREATE INDEX line_day_faults ON line_day (day, (chatters + disagreements)) WHERE chatters + disagreements > 0;
-- The policies that a bus recorded.
CREATE INDEX record_policy ON record (bus, wall_ms) WHERE kind = 'policy';

-- What changed since the rows were made: days since 1970-01-01 by UTC.
CREATE TABLE dirty (bus TEXT NOT NULL, day INTEGER NOT NULL, PRIMARY KEY (bus, day)) STRICT, WITHOUT ROWID;
CREATE INDEX dirty_day ON dirty (day, bus);

-- A row for each planned run, and for each sweep that no run has; nth: of that bus and day, in the order of
-- time. stands: as corrected, else the result. due_ms: when a window is over that is not yet.
CREATE TABLE outcome (bus TEXT NOT NULL, day INTEGER NOT NULL, nth INTEGER NOT NULL, at_ms INTEGER NOT NULL,
	run TEXT NOT NULL, route TEXT NOT NULL, place TEXT NOT NULL, driver TEXT NOT NULL,
	begin_ms INTEGER, end_ms INTEGER, result TEXT NOT NULL, why TEXT NOT NULL, reason TEXT NOT NULL,
	stops INTEGER NOT NULL, off_s INTEGER NOT NULL, epoch BLOB NOT NULL, branch INTEGER NOT NULL,
	seq INTEGER NOT NULL, clock_ok INTEGER NOT NULL CHECK (clock_ok IN (0, 1)), verdict TEXT NOT NULL,
	findings TEXT NOT NULL, refused INTEGER NOT NULL, rung TEXT NOT NULL, key_off_ms INTEGER,
	walk_ms INTEGER, return_ms INTEGER, late_ms INTEGER, closed_ms INTEGER, unchecked_ms INTEGER,
	warmest_c10 INTEGER, corrected TEXT NOT NULL, corrected_ms INTEGER NOT NULL, corrected_by TEXT NOT NULL,
	corrected_words TEXT NOT NULL, stands TEXT NOT NULL, due_ms INTEGER,
	PRIMARY KEY (bus, day, nth)) STRICT, WITHOUT ROWID;
CREATE INDEX outcome_at ON outcome (at_ms, bus, day, nth);
CREATE INDEX outcome_day ON outcome (day, at_ms, bus, nth);
CREATE INDEX outcome_bus ON outcome (bus, at_ms, day, nth);
CREATE INDEX outcome_driver ON outcome (driver, at_ms, bus, day, nth) WHERE driver <> '';
CREATE INDEX outcome_route ON outcome (route, at_ms, bus, day, nth) WHERE route <> '';
-- What is rare.
CREATE INDEX outcome_stands ON outcome (stands, at_ms, bus, day, nth) WHERE stands <> 'walked';
CREATE INDEX outcome_verdict ON outcome (verdict, at_ms, bus, day, nth)
	WHERE verdict IN ('late', 'doubtful', 'missed');
CREATE INDEX outcome_rung ON outcome (rung, at_ms, bus, day, nth) WHERE rung NOT IN ('', 'none');
CREATE INDEX outcome_unchecked ON outcome (verdict, unchecked_ms, bus, day, nth) WHERE verdict = 'missed';
CREATE INDEX outcome_findings ON outcome (at_ms, bus, day, nth) WHERE findings <> '';
CREATE INDEX outcome_silent ON outcome (bus, at_ms) WHERE why = 'bus_silent';
CREATE INDEX outcome_due ON outcome (due_ms) WHERE due_ms IS NOT NULL;
CREATE TABLE outcome_finding (finding TEXT NOT NULL, at_ms INTEGER NOT NULL, bus TEXT NOT NULL,
	day INTEGER NOT NULL, nth INTEGER NOT NULL, PRIMARY KEY (finding, at_ms, bus, day, nth))
	STRICT, WITHOUT ROWID;

-- Counts of rows, kept in step with them. length: 1 a day, 2 a month, 3 a school year.
CREATE TABLE tally (kind INTEGER NOT NULL, length INTEGER NOT NULL, name TEXT NOT NULL, span INTEGER NOT NULL,
	runs INTEGER NOT NULL, sweeps INTEGER NOT NULL, walked INTEGER NOT NULL, late INTEGER NOT NULL,
	doubtful INTEGER NOT NULL, missed INTEGER NOT NULL, no_record INTEGER NOT NULL, silent INTEGER NOT NULL,
	unplanned INTEGER NOT NULL, corrected INTEGER NOT NULL, refused INTEGER NOT NULL,
	unchecked_ms INTEGER NOT NULL, PRIMARY KEY (kind, length, name, span)) STRICT, WITHOUT ROWID;
CREATE INDEX tally_span ON tally (kind, length, span, name);
-- Of a bus and of all (''), month by month. what: 1 from key-off to press, 2 to leaving.
CREATE TABLE spread (bus TEXT NOT NULL, what INTEGER NOT NULL, span INTEGER NOT NULL, second INTEGER NOT NULL,
	count INTEGER NOT NULL, PRIMARY KEY (bus, what, span, second)) STRICT, WITHOUT ROWID;

-- bus '': outside, at the yard's place.
CREATE TABLE warmth (bus TEXT NOT NULL, at_ms INTEGER NOT NULL, c10 INTEGER NOT NULL, source TEXT NOT NULL,
	PRIMARY KEY (bus, at_ms)) STRICT, WITHOUT ROWID;

CREATE TABLE account (code TEXT PRIMARY KEY,
	role TEXT NOT NULL CHECK (role IN ('nothing', 'see', 'act', 'administer')), hash TEXT NOT NULL,
	must_change INTEGER NOT NULL CHECK (must_change IN (0, 1)), made_ms INTEGER NOT NULL,
	changed_ms INTEGER NOT NULL, seen_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE token (hash BLOB PRIMARY KEY CHECK (length(hash) = 32), code TEXT NOT NULL, words TEXT NOT NULL,
	ends_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;

CREATE TABLE hold (id INTEGER PRIMARY KEY AUTOINCREMENT, bus TEXT NOT NULL, from_day INTEGER NOT NULL,
	to_day INTEGER NOT NULL, from_ms INTEGER NOT NULL, to_ms INTEGER NOT NULL, at_ms INTEGER NOT NULL,
	lifted_ms INTEGER NOT NULL, lifted_by TEXT NOT NULL, who TEXT NOT NULL, words TEXT NOT NULL) STRICT;
-- more: it was not brought to its end; behind: how far it has come.
CREATE TABLE purged (id INTEGER PRIMARY KEY AUTOINCREMENT,
	kind TEXT NOT NULL CHECK (kind IN ('records', 'rows', 'warmth', 'views')), before INTEGER NOT NULL,
	at_ms INTEGER NOT NULL, who TEXT NOT NULL, count INTEGER NOT NULL, held INTEGER NOT NULL,
	more INTEGER NOT NULL DEFAULT 1 CHECK (more IN (0, 1)), behind_ms INTEGER, behind_bus TEXT NOT NULL DEFAULT '',
	behind_epoch BLOB NOT NULL DEFAULT x'', behind_branch INTEGER NOT NULL DEFAULT -1) STRICT;
-- How many records stood before a branch's first, and were purged; it has its seals and sweeps that are left.
ALTER TABLE branch ADD COLUMN purged INTEGER NOT NULL DEFAULT 0;
CREATE INDEX warmth_at ON warmth (at_ms);
-- Views, of all that was done.
CREATE INDEX log_saw ON log (at_ms) WHERE substr(did, 1, 4) = 'saw ';
-- While a row stands here, in the transaction that purges, what is only ever added to can be deleted.
CREATE TABLE purging (who TEXT NOT NULL) STRICT;

DROP TRIGGER record_no_delete;
DROP TRIGGER seal_no_delete;
DROP TRIGGER sweep_no_delete;
DROP TRIGGER log_no_delete;
CREATE TRIGGER record_no_delete BEFORE DELETE ON record WHEN NOT EXISTS (SELECT 1 FROM purging)
	BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;
CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal WHEN NOT EXISTS (SELECT 1 FROM purging)
	BEGIN SELECT raise(ABORT, 'seal: seals are only ever added'); END;
CREATE TRIGGER sweep_no_delete BEFORE DELETE ON sweep WHEN NOT EXISTS (SELECT 1 FROM purging)
	BEGIN SELECT raise(ABORT, 'sweep: sweeps are only ever added'); END;
CREATE TRIGGER log_no_delete BEFORE DELETE ON log WHEN NOT EXISTS (SELECT 1 FROM purging)
	BEGIN SELECT raise(ABORT, 'log: entries are only ever added'); END;
CREATE TRIGGER correction_no_update BEFORE UPDATE ON correction
	BEGIN SELECT raise(ABORT, 'correction: corrections are only ever added'); END;
CREATE TRIGGER correction_no_delete BEFORE DELETE ON correction WHEN NOT EXISTS (SELECT 1 FROM purging)
	BEGIN SELECT raise(ABORT, 'correction: corrections are only ever added'); END;

CREATE INDEX sweep_key_off ON sweep (bus, key_off_ms);
CREATE INDEX sweep_bus_came ON sweep (bus, came_ms);

-- What came before this schema.
INSERT INTO awake SELECT bus, epoch, boot, wall_ok, min(wall_ms), max(wall_ms) FROM record
	GROUP BY bus, epoch, boot, wall_ok;
INSERT INTO signer SELECT bus, wall_ms, max(json_extract(body, '$.who')) FROM record
	WHERE kind = 'report' AND json_valid(body) AND json_extract(body, '$.act') = 'signed'
	AND json_type(body, '$.who') = 'text' GROUP BY bus, wall_ms;
INSERT OR IGNORE INTO dirty SELECT bus, key_off_ms / 86400000 FROM sweep WHERE key_off_ms IS NOT NULL;
INSERT OR IGNORE INTO dirty SELECT bus, came_ms / 86400000 FROM sweep;
