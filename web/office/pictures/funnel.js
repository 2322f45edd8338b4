/* SPDX-License-Identifier: Apache-2.0 */
/* Shares over how many they are of, between the limits that chance keeps to at each size. */
import { areaY, dot, line, ruleY, text } from "@observablehq/plot";
import { axis, greatest, ink, named } from "./axis.js";

function outside(row, low, high) {
	return row.value("share") < row.value(low) || row.value("share") > row.value(high);
}

export function funnel(table) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("share")) && row.value("n") > 0)
		.sort((a, b) => a.value("n") - b.value("n"));
	const x = axis(table, "n", greatest(rows, "n"));
	const y = axis(table, "share", greatest(rows, "share"));
	const at = (role) => (row) => y.scale(row.value(role));
	const n = (row) => x.scale(row.value("n"));
	const band = (low, high, fill) =>
		(table.has(low) && table.has(high) ? [areaY(rows, { x: n, y1: at(low), y2: at(high), fill })] : []);
	const edge = (role, dash) =>
		(table.has(role) ? [line(rows, { x: n, y: at(role), stroke: ink.faint, strokeDasharray: dash })] : []);
	const alarm = rows.filter((row) => outside(row, "alarm_lower", "alarm_upper"));
	const warning = rows.filter((row) => !alarm.includes(row) && outside(row, "warning_lower", "warning_upper"));
	const usual = rows.filter((row) => !alarm.includes(row) && !warning.includes(row));
	const points = { x: n, y: at("share"), title: (row) => `${row.name}: ${row.words("share")}` };

	return {
		x: { ...x.options, zero: true },
		y: { ...y.options, zero: true, grid: true },
		marks: [
			...band("alarm_lower", "alarm_upper", ink.wide),
			...band("warning_lower", "warning_upper", ink.band),
			...edge("alarm_lower"), ...edge("alarm_upper"),
			...edge("warning_lower", "4 3"), ...edge("warning_upper", "4 3"),
			...(table.has("target") && rows.length ? [ruleY([at("target")(rows[0])], { stroke: ink.line })] : []),
			...["target", "warning_upper", "alarm_upper"].flatMap((role) => named(table, role, rows, n, at(role))),
			dot(usual, { ...points, r: 3.5, stroke: ink.mark, fill: ink.paper }),
			dot(warning, { ...points, r: 5, symbol: "triangle", fill: ink.mark }),
			dot(alarm, { ...points, r: 5, symbol: "square", fill: ink.bad }),
			text([...alarm, ...warning], { ...points, text: (row) => row.name, dy: -12, fill: ink.line, stroke: ink.paper, strokeWidth: 4 }),
		],
	};
}
