/* SPDX-License-Identifier: Apache-2.0 */
/* A table of the page as numbers: a picture has no other source. */

function valueOf(cell, kind) {
	const data = cell.querySelector("data");
	const time = cell.querySelector("time");

	if (kind === "text" || kind === "word")
		return data ? data.value : cell.textContent.trim();
	if (time)
		return new Date(time.dateTime);
	return data && data.value !== "" ? Number(data.value) : NaN;
}

/* "share=missed_share n=runs" as an object. */
function readRoles(text) {
	return Object.fromEntries(text.split(" ").filter(Boolean).map((pair) => pair.split("=")));
}

/* Gives { rows, has(role), title(role), kind(role) }; a row has its name, its words (what its cells say,
   by role) and value(role), NaN where a cell is none. */
export function readTable(table, rolesText) {
	const roles = readRoles(rolesText);
	const heads = [...table.tHead.rows[0].cells];
	const find = (role) => heads.findIndex((th) => th.dataset.name === (roles[role] || role));
	const title = (role) => (find(role) < 0 ? "" : heads[find(role)].textContent);
	const kind = (role) => (find(role) < 0 ? "" : heads[find(role)].dataset.kind);
	const rows = [...table.tBodies[0].rows].map((tr, order) => ({
		order,
		name: tr.cells[0].textContent.trim(),
		first: valueOf(tr.cells[0], heads[0].dataset.kind),
		value: (role) => (find(role) < 0 ? NaN : valueOf(tr.cells[find(role)], kind(role))),
		words: (role) => (find(role) < 0 ? "" : tr.cells[find(role)].textContent.trim()),
	}));

	return {
		rows, title, kind,
		has: (role) => find(role) >= 0,
		nameTitle: heads[0].textContent,
		nameKind: heads[0].dataset.kind,
	};
}
