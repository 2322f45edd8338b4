/* SPDX-License-Identifier: Apache-2.0 */
/* What the reader chooses: languages and colours, by links, kept in cookies. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");
const { get } = require("./bus.js");

const paper = (page) => page.evaluate("getComputedStyle(document.body).backgroundColor");
const LIGHT = "rgb(255, 255, 255)", DARK = "rgb(12, 16, 20)";

const colours = async (page, bus) => {
	const choose = async (theme, scheme, want) => {
		await page.emulateMedia({ colorScheme: scheme });
		await page.locator(`a[href="/theme?to=${theme}"]`).click();
		await page.waitForURL(bus.url);
		assert.equal(await paper(page), want, `${theme} on a ${scheme} device`);
		assert.equal(await page.locator(`a[href="/theme?to=${theme}"]`)
			.getAttribute("aria-current"), "true");
	};
	await choose("dark", "light", DARK);
	assert.deepEqual(await looks.findings(page), []);
	await choose("light", "dark", LIGHT);
	assert.deepEqual(await looks.findings(page), []);
	await choose("auto", "dark", DARK);
	await choose("auto", "light", LIGHT);
};

/* A script that does not come must not leave an old picture standing unsaid. */
const without = async (page, bus) => {
	await page.route("**/page.js", (route) => route.abort());
	await page.goto(bus.url);
	assert.equal(await page.locator(".stale").isVisible(), false);
	await page.locator(".stale").waitFor({ state: "visible", timeout: 30000 });
	assert.deepEqual(await looks.findings(page), []);
	await page.unroute("**/page.js");
	await page.locator(".stale a").click();
	await page.waitForURL(bus.url);
	assert.equal(await page.locator(".stale").isVisible(), false);
};

exports.story = async (browser, bus, step) => {
	const context = await browser.newContext({ locale: "de-DE", viewport: looks.SIZES[0] });
	const page = await context.newPage();
	await step("a browser in a language that is not spoken gets English", async () => {
		await page.goto(bus.url);
		assert.equal(await page.locator("main h1").textContent(), words.en.parked);
	});
	for (const language of ["fr", "es", "en"])
		await step(`chosen: ${language}`, async () => {
			await page.getByRole("link", { name: words[language].own }).click();
			await page.waitForURL(bus.url);
			assert.equal(await page.locator("main h1").textContent(),
				words[language].parked);
			assert.equal(await page.getAttribute("html", "lang"), language);
		});
	await step("the cookie is this site's alone", async () => {
		const [cookie] = (await context.cookies()).filter((c) => c.name === "lang");
		assert.equal(cookie.sameSite, "Strict");
		assert.equal(cookie.httpOnly, true);
	});
	await step("colours", () => colours(page, bus));
	await step("keys alone reach every choice", async () => {
		for (const link of await page.locator("a:visible").all()) {
			await page.keyboard.press("Tab");
			assert.equal(await page.evaluate("document.activeElement.getAttribute('href')"),
				await link.getAttribute("href"));
		}
	});
	await step("targets are large enough (WCAG 2.2, 2.5.8: 24 px)", async () => {
		for (const link of await page.locator(".choose a").all()) {
			const box = await link.boundingBox();
			assert.ok(box.width >= 24 && box.height >= 24);
		}
	});
	await step("a language that is not spoken changes nothing", async () => {
		const answer = await page.goto(`${bus.url}lang?to=tlh`);
		assert.equal(answer.status(), 400);
		await page.goto(bus.url);
		assert.equal(await page.getAttribute("html", "lang"), "en");
		const again = await get(`${bus.url}lang?to=tlh`);
		assert.equal(again.headers["set-cookie"], undefined);
	});
	await step("a picture that nothing renews says that it is old", () => without(page, bus));
	await context.close();
};
