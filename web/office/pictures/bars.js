/* SPDX-License-Identifier: Apache-2.0 */
/* A value each, with the interval in which it may be. */
import { barX, ruleY, tickX } from "@observablehq/plot";
import { axis, greatest, ink, stacked } from "./axis.js";

export function bars(table, width) {
	const rows = table.rows.filter((row) => Number.isFinite(row.value("value")));
	const x = axis(table, "value", greatest(rows, "value", "upper"));
	const at = (role) => (row) => x.scale(row.value(role));
	const y = (row) => row.name;
	const known = rows.filter((row) => Number.isFinite(row.value("lower")) && Number.isFinite(row.value("upper")));
	const ends = { y, stroke: ink.line, insetTop: 7, insetBottom: 7 };

	const { axis: names, ...rest } = stacked(rows, width);

	return {
		...rest,
		x: { ...x.options, zero: true, grid: true },
		marks: [
			names,
			barX(rows, { y, x: at("value"), fill: ink.band, stroke: ink.mark, insetTop: 4, insetBottom: 4, title: (row) => `${row.name}: ${row.words("value")}` }),
			ruleY(known, { y, x1: at("lower"), x2: at("upper"), stroke: ink.line }),
			tickX(known, { ...ends, x: at("lower") }),
			tickX(known, { ...ends, x: at("upper") }),
		],
	};
}
