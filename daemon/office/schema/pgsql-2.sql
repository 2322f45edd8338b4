-- SPDX-License-Identifier: Apache-2.0
-- For people: times as text in UTC, bytes as hex digits, and counts of what is there, row by row.

CREATE FUNCTION utc(ms bigint) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE
	RETURN to_char(to_timestamp(ms / 1000) AT TIME ZONE 'UTC', 'YYYY-MM-DD HH24:MI:SS');

CREATE VIEW audit_sweeps AS SELECT bus,
	utc(closed_ms) AS closed_utc,
	utc(key_off_ms) AS key_off_utc,
	utc(came_ms) AS came_utc,
	verdict, findings, walk_ms, return_ms, late_ms, refused, rung, wall_ok,
	encode(epoch, 'hex') AS epoch, branch, seq
	FROM sweep;
CREATE VIEW audit_records AS SELECT bus, encode(epoch, 'hex') AS epoch, branch, seq, boot, mono_ms, wall_ms, wall_ok,
	kind, body, encode(coalesce(
		(SELECT p.hash FROM record p WHERE p.bus = r.bus AND p.epoch = r.epoch AND p.branch = r.branch
			AND p.seq = r.seq - 1),
		(SELECT b.first_prev FROM branch b WHERE b.bus = r.bus AND b.epoch = r.epoch
			AND b.branch = r.branch)), 'hex') AS prev,
	encode(hash, 'hex') AS hash
	FROM record r;
CREATE VIEW audit_buses AS SELECT b.bus,
	CASE WHEN b.enrolled_ms > 0 THEN utc(b.enrolled_ms) END
		AS enrolled_utc,
	CASE WHEN b.heard_ms > 0 THEN utc(b.heard_ms) END
		AS heard_utc,
	(b.key IS NOT NULL)::integer AS has_key,
	(SELECT count(*) FROM branch x WHERE x.bus = b.bus) AS branches,
	(SELECT count(*) FROM record x WHERE x.bus = b.bus) AS records,
	(SELECT count(*) FROM seal x WHERE x.bus = b.bus) AS seals,
	(SELECT count(*) FROM sweep x WHERE x.bus = b.bus) AS sweeps,
	(SELECT count(*) FROM sweep x WHERE x.bus = b.bus AND verdict = 'done') AS done,
	(SELECT count(*) FROM sweep x WHERE x.bus = b.bus AND verdict = 'late') AS late,
	(SELECT count(*) FROM sweep x WHERE x.bus = b.bus AND verdict = 'doubtful') AS doubtful,
	(SELECT count(*) FROM sweep x WHERE x.bus = b.bus AND verdict = 'missed') AS missed,
	(SELECT count(*) FROM matter x WHERE x.bus = b.bus) AS matters,
	(SELECT count(*) FROM matter x WHERE x.bus = b.bus AND taken_ms = 0) AS open
	FROM bus b;
