/* SPDX-License-Identifier: Apache-2.0 */
/* A sweep that nobody walks: overdue, a rear door open, driven off; in each language. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");

const WAIT = { timeout: 20000 };
const says = (page, selector, text) =>
	page.locator(selector, { hasText: text }).first().waitFor(WAIT);

/* The same standing in each language, on the dash screen and by axe. */
const inEach = async (page, bus, name, check) => {
	for (const [language, w] of Object.entries(words)) {
		await page.locator(`a[href="/lang?to=${language}"]`).click();
		await page.waitForURL(bus.url);
		await check(w, `${language}-${name}`);
		for (const colorScheme of ["light", "dark"]) {
			await page.emulateMedia({ colorScheme });
			assert.deepEqual(await looks.findings(page), [], `${name} ${colorScheme} by axe`);
		}
	}
};

exports.story = async (browser, bus, step) => {
	const context = await browser.newContext({ locale: "en-US", viewport: looks.SIZES[0] });
	const page = await context.newPage();
	await page.goto(bus.url);
	await step("overdue", async () => {
		await bus.wire("ignition=1");
		await says(page, "h1", words.en.driving);
		await bus.wire("ignition=0");
		await says(page, "h1", words.en.overdue);
		await inEach(page, bus, "8-overdue", async (w, name) => {
			await says(page, "main h1", w.overdue);
			await looks.assertSeenFromTwoMetres(page, name, ["main h1", ".clock b"],
				["main h1", ".clock", ".aisle", ".next"]);
		});
	});
	await step("the rear door is open", async () => {
		await bus.wire("rear_door=1");
		await says(page, ".hindrance", words.fr.rearOpen);
		await inEach(page, bus, "9-rear", async (w, name) => {
			await says(page, ".hindrance", w.rearOpen);
			await page.locator(".ajar").waitFor(WAIT);
			await looks.assertSeenFromTwoMetres(page, name, [".clock b"],
				["main h1", ".hindrance", ".clock", ".aisle"]);
		});
	});
	await step("driven off", async () => {
		await bus.wire("rear_door=0", "ignition=1");
		await says(page, "h1", words.fr.missed);
		await inEach(page, bus, "10-missed", async (w, name) => {
			await says(page, "main h1", w.missed);
			await looks.assertSeenFromTwoMetres(page, name, ["main h1"], ["main h1"]);
		});
	});
	await context.close();
};
