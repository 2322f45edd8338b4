/* SPDX-License-Identifier: Apache-2.0 */
/* Draws each figure of the page over the table that it names. Without this, the tables are all there is. */
import { plot } from "@observablehq/plot";
import { readTable } from "./table.js";
import { bars } from "./bars.js";
import { chart } from "./chart.js";
import { drift } from "./drift.js";
import { funnel } from "./funnel.js";
import { spread } from "./spread.js";

const drawings = { bars, chart, drift, funnel, spread };
const WIDTH_LEAST = 280;
const WIDTH_MOST = 900;

function draw(figure, table) {
	const width = Math.min(WIDTH_MOST, Math.max(WIDTH_LEAST, figure.clientWidth));
	const picture = plot({
		width,
		height: Math.round(Math.max(240, width * 0.45)),
		marginLeft: 56,
		marginBottom: 44,
		className: "plot",
		...drawings[figure.dataset.picture](table, width),
		ariaLabel: figure.querySelector("figcaption").textContent,
	});

	/* The page allows no style but that of its own file, which has these rules. */
	picture.querySelectorAll("style").forEach((style) => style.remove());
	/* Parts of one image have no names of their own. */
	picture.querySelectorAll("g[aria-label]").forEach((part) => part.removeAttribute("aria-label"));
	picture.setAttribute("role", "img");
	figure.querySelectorAll("svg").forEach((old) => old.remove());
	figure.append(picture);
}

function begin(figure) {
	const source = document.getElementById(figure.dataset.table);
	const known = Object.hasOwn(drawings, figure.dataset.picture);

	if (!source || !known || !source.tBodies.length)
		return;
	const table = readTable(source, figure.dataset.roles || "");
	let drawn = 0;

	figure.hidden = false;
	new ResizeObserver(() => {
		if (figure.clientWidth === drawn)
			return;
		drawn = figure.clientWidth;
		draw(figure, table);
	}).observe(figure);
}

document.querySelectorAll("figure[data-picture]").forEach(begin);
