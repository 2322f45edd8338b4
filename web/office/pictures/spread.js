/* SPDX-License-Identifier: Apache-2.0 */
/* How times are spread: counts by time, or a row of quantiles each; a line where the minimum stands. */
import { barX, rectY, ruleX, text, tickX } from "@observablehq/plot";
import { axis, greatest, ink, stacked } from "./axis.js";

function counted(table) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("at")));
	const x = axis(table, "at", greatest(rows, "at"));
	const y = axis(table, "count", greatest(rows, "count"));
	const ats = rows.map((row) => x.scale(row.value("at"))).sort((a, b) => a - b);
	const gaps = ats.slice(1).map((value, i) => value - ats[i]).filter((gap) => gap > 0);
	const wide = gaps.length ? Math.min(...gaps) : 1;
	const minimum = rows.length ? x.scale(rows[0].value("minimum")) : NaN;

	return {
		x: { ...x.options, zero: true },
		y: { ...y.options, grid: true },
		marks: [
			rectY(rows, {
				x1: (row) => x.scale(row.value("at")), x2: (row) => x.scale(row.value("at")) + wide,
				y: (row) => y.scale(row.value("count")), fill: ink.mark, inset: 0.25,
				title: (row) => `${row.words("at")}: ${row.words("count")}`,
			}),
			...(Number.isFinite(minimum) ? [
				ruleX([minimum], { stroke: ink.bad, strokeWidth: 2, strokeDasharray: "6 3" }),
				text([minimum], { x: (at) => at, frameAnchor: "top", dx: 5, dy: 2, textAnchor: "start", lineAnchor: "top",
					text: () => `${table.title("minimum")}: ${rows[0].words("minimum")}`, fill: ink.line, stroke: ink.paper, strokeWidth: 4 }),
			] : []),
		],
	};
}

function quantiles(table, width) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("median")));
	const x = axis(table, "median", greatest(rows, "q95", "minimum"));
	const at = (role) => (row) => x.scale(row.value(role));
	const y = (row) => row.name;
	const known = rows.filter((row) => Number.isFinite(row.value("minimum")));

	const { axis: names, ...rest } = stacked(rows, width);

	return {
		...rest,
		x: { ...x.options, zero: true, grid: true, axis: "bottom" },
		marks: [
			names,
			barX(rows, { y, x1: at("q05"), x2: at("q95"), fill: ink.wide, stroke: ink.faint, insetTop: 7, insetBottom: 7 }),
			barX(rows, { y, x1: at("q25"), x2: at("q75"), fill: ink.mark, insetTop: 4, insetBottom: 4,
				title: (row) => `${row.name}: ${row.words("q25")} – ${row.words("q75")}` }),
			tickX(rows, { y, x: at("median"), stroke: ink.paper, strokeWidth: 3, insetTop: 4, insetBottom: 4 }),
			tickX(known, { y, x: at("minimum"), stroke: ink.bad, strokeWidth: 2, strokeDasharray: "4 2",
				title: (row) => `${table.title("minimum")}: ${row.words("minimum")}` }),
		],
	};
}

export function spread(table, width) {
	return table.has("median") ? quantiles(table, width) : counted(table);
}
