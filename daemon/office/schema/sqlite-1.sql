-- SPDX-License-Identifier: Apache-2.0
-- The tables of an office's store in SQLite. Times: ms, Unix, 0 never. Hashes, keys, epochs: bytes.

CREATE TABLE bus (bus TEXT PRIMARY KEY, key BLOB CHECK (length(key) = 32),
	token BLOB NOT NULL CHECK (length(token) IN (0, 32)),
	enrolled_ms INTEGER NOT NULL, heard_ms INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE heard (bus TEXT NOT NULL REFERENCES bus, day INTEGER NOT NULL, PRIMARY KEY (bus, day))
	STRICT, WITHOUT ROWID;
CREATE TABLE code (bus TEXT NOT NULL, hash BLOB NOT NULL CHECK (length(hash) = 32), ends_ms INTEGER NOT NULL,
	used_ms INTEGER NOT NULL, PRIMARY KEY (bus, hash)) STRICT, WITHOUT ROWID;
CREATE TABLE asked_key (bus TEXT NOT NULL, key BLOB NOT NULL CHECK (length(key) = 32),
	token BLOB NOT NULL CHECK (length(token) IN (0, 32)), asked_ms INTEGER NOT NULL,
	decided_ms INTEGER NOT NULL, accepted INTEGER NOT NULL CHECK (accepted IN (0, 1)), who TEXT NOT NULL,
	words TEXT NOT NULL, PRIMARY KEY (bus, key)) STRICT, WITHOUT ROWID;

-- What the branch's rows add up to stands beside its head, and moves with it.
CREATE TABLE branch (bus TEXT NOT NULL REFERENCES bus, epoch BLOB NOT NULL CHECK (length(epoch) = 8),
	branch INTEGER NOT NULL, why TEXT NOT NULL CHECK (why IN ('first', 'fork', 'hole')),
	first INTEGER NOT NULL, head INTEGER NOT NULL CHECK (head >= first),
	first_prev BLOB NOT NULL CHECK (length(first_prev) = 32), hash BLOB NOT NULL CHECK (length(hash) = 32),
	begun_ms INTEGER NOT NULL, moved_ms INTEGER NOT NULL, seals INTEGER NOT NULL, sweeps INTEGER NOT NULL,
	doubtful INTEGER NOT NULL, missed INTEGER NOT NULL, PRIMARY KEY (bus, epoch, branch))
	STRICT, WITHOUT ROWID;
-- prev of a record is the hash of the one before, or first_prev of its branch.
CREATE TABLE record (bus TEXT NOT NULL, epoch BLOB NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL,
	boot INTEGER NOT NULL, mono_ms INTEGER NOT NULL, wall_ms INTEGER NOT NULL,
	wall_ok INTEGER NOT NULL CHECK (wall_ok IN (0, 1)), kind TEXT NOT NULL,
	hash BLOB NOT NULL CHECK (length(hash) = 32), body TEXT NOT NULL,
	PRIMARY KEY (bus, epoch, branch, seq)) STRICT, WITHOUT ROWID;
CREATE TABLE seal (bus TEXT NOT NULL, epoch BLOB NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL,
	came_ms INTEGER NOT NULL, sig BLOB NOT NULL CHECK (length(sig) = 64),
	PRIMARY KEY (bus, epoch, branch, seq)) STRICT, WITHOUT ROWID;
CREATE TABLE sweep (bus TEXT NOT NULL, epoch BLOB NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL,
	closed_ms INTEGER, key_off_ms INTEGER, walk_ms INTEGER, return_ms INTEGER, late_ms INTEGER,
	came_ms INTEGER NOT NULL, wall_ok INTEGER NOT NULL CHECK (wall_ok IN (0, 1)),
	findings TEXT NOT NULL, refused INTEGER NOT NULL,
	verdict TEXT NOT NULL CHECK (verdict IN ('done', 'late', 'doubtful', 'missed')), rung TEXT NOT NULL,
	PRIMARY KEY (bus, epoch, branch, seq)) STRICT, WITHOUT ROWID;
CREATE INDEX sweep_closed ON sweep (closed_ms);
CREATE INDEX sweep_came ON sweep (came_ms);
CREATE TABLE standing (bus TEXT NOT NULL, name TEXT NOT NULL, stands INTEGER NOT NULL CHECK (stands IN (0, 1)),
	seq INTEGER NOT NULL, since_ms INTEGER, words TEXT NOT NULL, PRIMARY KEY (bus, name))
	STRICT, WITHOUT ROWID;

CREATE TABLE matter (id INTEGER PRIMARY KEY AUTOINCREMENT, kind TEXT NOT NULL, bus TEXT NOT NULL,
	epoch BLOB NOT NULL, branch INTEGER NOT NULL, seq INTEGER NOT NULL, hash BLOB NOT NULL,
	at_ms INTEGER NOT NULL, came_ms INTEGER NOT NULL, words TEXT NOT NULL, taken_ms INTEGER NOT NULL,
	taken_by TEXT NOT NULL, taken_words TEXT NOT NULL, UNIQUE (bus, kind, epoch, seq, hash)) STRICT;
CREATE INDEX matter_open ON matter (id) WHERE taken_ms = 0;
CREATE TABLE telling (matter INTEGER NOT NULL, day INTEGER NOT NULL, way TEXT NOT NULL, tries INTEGER NOT NULL,
	told INTEGER NOT NULL, next_ms INTEGER NOT NULL, told_ms INTEGER NOT NULL, why TEXT NOT NULL,
	PRIMARY KEY (matter, day, way)) STRICT, WITHOUT ROWID;
CREATE INDEX telling_next ON telling (next_ms);
CREATE TABLE log (id INTEGER PRIMARY KEY, at_ms INTEGER NOT NULL, who TEXT NOT NULL, did TEXT NOT NULL) STRICT;

CREATE TRIGGER record_no_update BEFORE UPDATE ON record
	BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;
CREATE TRIGGER record_no_delete BEFORE DELETE ON record
	BEGIN SELECT raise(ABORT, 'record: records are only ever added'); END;
CREATE TRIGGER seal_no_update BEFORE UPDATE ON seal
	BEGIN SELECT raise(ABORT, 'seal: seals are only ever added'); END;
CREATE TRIGGER seal_no_delete BEFORE DELETE ON seal
	BEGIN SELECT raise(ABORT, 'seal: seals are only ever added'); END;
CREATE TRIGGER sweep_no_update BEFORE UPDATE ON sweep
	BEGIN SELECT raise(ABORT, 'sweep: sweeps are only ever added'); END;
CREATE TRIGGER sweep_no_delete BEFORE DELETE ON sweep
	BEGIN SELECT raise(ABORT, 'sweep: sweeps are only ever added'); END;
CREATE TRIGGER log_no_update BEFORE UPDATE ON log
	BEGIN SELECT raise(ABORT, 'log: entries are only ever added'); END;
CREATE TRIGGER log_no_delete BEFORE DELETE ON log
	BEGIN SELECT raise(ABORT, 'log: entries are only ever added'); END;
