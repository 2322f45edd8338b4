-- SPDX-License-Identifier: Apache-2.0
-- For people: times as text in UTC, bytes as hex digits, and counts of what is there, row by row.

CREATE VIEW audit_sweeps AS SELECT bus,
	strftime('%Y-%m-%d %H:%M:%S', closed_ms / 1000, 'unixepoch') AS closed_utc,
	strftime('%Y-%m-%d %H:%M:%S', key_off_ms / 1000, 'unixepoch') AS key_off_utc,
	strftime('%Y-%m-%d %H:%M:%S', came_ms / 1000, 'unixepoch') AS came_utc,
	verdict, findings, walk_ms, return_ms, late_ms, refused, rung, wall_ok,
	lower(hex(epoch)) AS epoch, branch, seq
	FROM sweep;
CREATE VIEW audit_records AS SELECT bus, lower(hex(epoch)) AS epoch, branch, seq, boot, mono_ms, wall_ms, wall_ok,
	kind, body, lower(hex(coalesce(
		(SELECT p.hash FROM record p WHERE p.bus = r.bus AND p.epoch = r.epoch AND p.branch = r.branch
			AND p.seq = r.seq - 1),
		(SELECT b.first_prev FROM branch b WHERE b.bus = r.bus AND b.epoch = r.epoch
			AND b.branch = r.branch)))) AS prev,
	lower(hex(hash)) AS hash
	FROM record r;
CREATE VIEW audit_buses AS SELECT b.bus,
	CASE WHEN b.enrolled_ms > 0 THEN strftime('%Y-%m-%d %H:%M:%S', b.enrolled_ms / 1000, 'unixepoch') END AS enrolled_utc,
	CASE WHEN b.heard_ms > 0 THEN strftime('%Y-%m-%d %H:%M:%S', b.heard_ms / 1000, 'unixepoch') END AS heard_utc,
	(b.key IS NOT NULL) AS has_key, coalesce(c.branches, 0) AS branches, coalesce(r.records, 0) AS records,
	coalesce(l.seals, 0) AS seals, coalesce(s.sweeps, 0) AS sweeps, coalesce(s.done, 0) AS done,
	coalesce(s.late, 0) AS late, coalesce(s.doubtful, 0) AS doubtful, coalesce(s.missed, 0) AS missed,
	coalesce(m.matters, 0) AS matters, coalesce(m.open, 0) AS open
	FROM bus b
	LEFT JOIN (SELECT bus, count(*) AS branches FROM branch GROUP BY bus) c ON c.bus = b.bus
	LEFT JOIN (SELECT bus, count(*) AS records FROM record GROUP BY bus) r ON r.bus = b.bus
	LEFT JOIN (SELECT bus, count(*) AS seals FROM seal GROUP BY bus) l ON l.bus = b.bus
	LEFT JOIN (SELECT bus, count(*) AS sweeps, count(*) FILTER (WHERE verdict = 'done') AS done,
		count(*) FILTER (WHERE verdict = 'late') AS late,
		count(*) FILTER (WHERE verdict = 'doubtful') AS doubtful,
		count(*) FILTER (WHERE verdict = 'missed') AS missed FROM sweep GROUP BY bus) s ON s.bus = b.bus
	LEFT JOIN (SELECT bus, count(*) AS matters, count(*) FILTER (WHERE taken_ms = 0) AS open
		FROM matter GROUP BY bus) m ON m.bus = b.bus;
