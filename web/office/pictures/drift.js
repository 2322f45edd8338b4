/* SPDX-License-Identifier: Apache-2.0 */
/* What a line did day by day, and the sum of what is above its usual (CUSUM) with the limit it must pass. */
import { areaY, dot, line, ruleX } from "@observablehq/plot";
import { axis, greatest, ink, named } from "./axis.js";
import { along } from "./along.js";

export function drift(table) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("bounces")));
	const x = along(table, rows);
	const y = axis(table, "bounces", greatest(rows, "bounces", "cusum", "limit"));
	const at = (role) => (row) => y.scale(row.value(role));
	const summed = rows.filter((row) => Number.isFinite(row.value("cusum")));
	const out = summed.filter((row) => row.value("cusum") > row.value("limit"));

	return {
		x: x.options,
		y: { ...y.options, grid: true, zero: true },
		marks: [
			areaY(summed, { x: x.of, y: at("cusum"), fill: ink.wide }),
			line(summed, { x: x.of, y: at("cusum"), stroke: ink.faint }),
			line(summed, { x: x.of, y: at("limit"), stroke: ink.bad, strokeDasharray: "6 3" }),
			...named(table, "limit", rows, x.of, at("limit")),
			ruleX(rows, { x: x.of, y: at("bounces"), stroke: ink.mark, strokeWidth: 2 }),
			dot(rows, { x: x.of, y: at("bounces"), r: 2.5, fill: ink.mark, title: (row) => `${row.name}: ${row.words("bounces")}` }),
			dot(out, { x: x.of, y: at("cusum"), r: 5, symbol: "square", fill: ink.bad, title: (row) => `${row.name}: ${row.words("cusum")}` }),
		],
	};
}
