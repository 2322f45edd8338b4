/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers on axes, in the page's language, in a unit that suits how large they are. */

import { axisY, text } from "@observablehq/plot";

const language = () => document.documentElement.lang || "en";

/* Divides what is drawn, names its unit. */
function unit(kind, most) {
	if (kind === "share")
		return { by: 0.01, name: "%" };
	if (kind === "span" && most > 3 * 3600e3)
		return { by: 3600e3, name: "h" };
	if (kind === "span" && most > 10 * 60e3)
		return { by: 60e3, name: "min" };
	return kind === "span" ? { by: 1e3, name: "s" } : { by: 1, name: "" };
}

/* For values of that kind up to most: scale(value), options of an axis. */
export function axis(table, role, most) {
	const { by, name } = unit(table.kind(role), most);
	const format = new Intl.NumberFormat(language(), { maximumFractionDigits: 3 });

	return {
		scale: (value) => value / by,
		options: {
			label: name ? `${table.title(role)} (${name})` : table.title(role),
			labelArrow: "none",
			tickFormat: (value) => format.format(value),
			nice: true,
		},
	};
}

export function greatest(rows, ...roles) {
	return Math.max(0, ...rows.flatMap((row) => roles.map(row.value)).filter(Number.isFinite));
}

/* What a line is, at its right end, above it. */
export function named(table, role, rows, x, y) {
	const known = table.has(role) ? rows.filter((row) => Number.isFinite(row.value(role))) : [];

	return known.length === 0 ? [] : [text(known.slice(-1), {
		x, y, text: () => table.title(role), textAnchor: "end", dy: -7, fill: ink.line, stroke: ink.paper, strokeWidth: 4,
	})];
}

/* A row each, one below the other: room for their names at the left. */
export function stacked(rows, width) {
	const longest = Math.max(4, ...rows.map((row) => row.name.length));
	const left = Math.min(0.4 * width, 20 + 7 * longest);

	return {
		height: 64 + 26 * rows.length,
		marginLeft: left,
		y: { label: null, domain: rows.map((row) => row.name), axis: null },
		axis: axisY({ label: null, tickSize: 0, lineWidth: (left - 16) / 12, textOverflow: "ellipsis" }),
	};
}

export const ink = {
	line: "var(--ink)",
	faint: "var(--faint)",
	mark: "var(--mark)",
	bad: "var(--bad)",
	band: "var(--band)",
	wide: "var(--wide)",
	paper: "var(--paper)",
};
