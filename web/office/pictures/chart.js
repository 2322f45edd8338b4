/* SPDX-License-Identifier: Apache-2.0 */
/* Points in their order, with mean and limits; where a rule ends, a square and the rule's words. */
import { areaY, dot, line, text } from "@observablehq/plot";
import { axis, greatest, ink, named } from "./axis.js";
import { along } from "./along.js";

export function chart(table) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("value")));
	const x = along(table, rows);
	const y = axis(table, "value", greatest(rows, "value", "upper"));
	const at = (role) => (row) => y.scale(row.value(role));
	const told = rows.filter((row) => table.has("rules") && row.value("rules") !== "");
	const step = { x: x.of, curve: "step" };
	const limit = (role, dash) =>
		(table.has(role) ? [line(rows, { ...step, y: at(role), stroke: ink.faint, strokeDasharray: dash })] : []);
	const points = { x: x.of, y: at("value"), title: (row) => `${row.name}: ${row.words("value")} ${row.words("rules")}`.trim() };

	return {
		x: x.options,
		y: { ...y.options, grid: true, zero: true },
		marks: [
			...(table.has("lower") && table.has("upper") ? [areaY(rows, { ...step, y1: at("lower"), y2: at("upper"), fill: ink.wide })] : []),
			...limit("lower", "4 3"), ...limit("upper", "4 3"), ...limit("mean"),
			line(rows, { x: x.of, y: at("value"), stroke: ink.mark, strokeWidth: 1.5 }),
			...["mean", "upper"].flatMap((role) => named(table, role, rows, x.of, at(role))),
			dot(rows.filter((row) => !told.includes(row)), { ...points, r: 3, fill: ink.mark }),
			dot(told, { ...points, r: 5.5, symbol: "square", fill: ink.bad }),
			text(told, { ...points, text: (row) => row.name, dy: -12, fill: ink.line, stroke: ink.paper, strokeWidth: 4 }),
		],
	};
}
