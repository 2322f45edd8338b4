/* SPDX-License-Identifier: Apache-2.0 */
/* The same run without scripts: the page reloads itself, and every choice is a link. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");
const { later } = require("./bus.js");

const WAIT = { timeout: 20000 };
const says = (page, selector, text) =>
	page.locator(selector, { hasText: text }).first().waitFor(WAIT);
const rowOf = async (page, w) =>
	Number((w.row.exec((await page.locator(".aisle b").textContent(WAIT)).trim()) || [])[1]);

const theRun = async (page, bus, w, step) => {
	await step("key on, key off", async () => {
		await bus.wire("ignition=1");
		await says(page, "h1", w.driving);
		await bus.wire("ignition=0");
		await says(page, "h1", w.owed);
	});
	await step("the mark moves from reload to reload", async () => {
		const first = await rowOf(page, w);
		const end = Date.now() + WAIT.timeout;
		while (!(await rowOf(page, w).catch(() => 0) > first)) {
			assert.ok(Date.now() < end, "it stood still");
			await later(200);
		}
	});
	await step("a press too soon", async () => {
		await bus.press();
		await says(page, ".hindrance", w.tooSoon);
	});
	await step("a press that counts, and leaving", async () => {
		await says(page, ".aisle b", w.rear);
		await later(700);
		await bus.press();
		await says(page, "h1", w.again);
		await says(page, ".aisle b", w.door);
		await bus.wire("service_door=1");
		await says(page, "h1", w.parked);
		await says(page, ".sweeps td", w.done);
	});
};

exports.story = async (browser, bus, step) => {
	const context = await browser.newContext({ javaScriptEnabled: false, locale: "en-US",
		viewport: looks.SIZES[0] });
	const page = await context.newPage();
	await page.goto(bus.url);
	await step("a language is chosen by a link", async () => {
		await says(page, "h1", words.en.parked);
		await page.getByRole("link", { name: "Español", exact: true }).click(WAIT);
		await says(page, "h1", words.es.parked);
		assert.equal(page.url(), bus.url);
	});
	await theRun(page, bus, words.es, step);
	await step("the page can be held still", async () => {
		await page.getByRole("link", { name: "Detener", exact: true }).click(WAIT);
		await says(page, ".service", "no sigue a la vigilancia");
		await bus.wire("ignition=1");
		await later(3000);
		await says(page, "h1", words.es.parked);
		await page.getByRole("link", { name: "Volver a seguir la vigilancia" }).click(WAIT);
		await says(page, "h1", words.es.driving);
	});
	/* One that reloads itself is a finding (WCAG 2.2, 2.2.1, 2.2.2); axe itself is a script, so
	   another context reads the very same page. */
	await step("held, it is without a finding", async () => {
		const reader = await browser.newContext({ viewport: looks.SIZES[0] });
		const held = await reader.newPage();
		await held.goto(`${bus.url}?hold=1`);
		assert.equal(await held.locator("script").count(), 0);
		assert.deepEqual(await looks.findings(held), []);
		await reader.close();
	});
	await context.close();
};
