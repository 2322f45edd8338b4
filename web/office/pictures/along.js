/* SPDX-License-Identifier: Apache-2.0 */
/* Where rows stand side by side: at their times where the first column has them, else in their order. */

export function along(table, rows) {
	const label = { label: table.nameTitle, labelArrow: "none" };
	const dated = rows.length > 0 && rows.every((row) => row.first instanceof Date);

	if (dated)
		return { of: (row) => row.first, options: { ...label, type: "utc", tickFormat: (day) => day.toISOString().slice(5, 10) } };
	return {
		of: (row) => row.order,
		options: {
			...label,
			type: "linear",
			ticks: rows.length > 12 ? 12 : rows.length,
			tickFormat: (order) => (rows.find((row) => row.order === order) || { name: "" }).name,
		},
	};
}
