/* SPDX-License-Identifier: Apache-2.0 */
/* Numbers on axes, in the page's language, in a unit that suits how large they are. */

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

export const ink = {
	line: "var(--ink)",
	faint: "var(--faint)",
	mark: "var(--mark)",
	bad: "var(--bad)",
	band: "var(--band)",
	wide: "var(--wide)",
	paper: "var(--paper)",
};
