/* SPDX-License-Identifier: Apache-2.0 */
/* What a driver tells: before the run (proofs), after the run (what the walk found), the vehicle
 * report. English with scripts, Spanish and French without: every form is a form. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");
const { CALL, later } = require("./bus.js");

const WAIT = { timeout: 20000 };

const until = async (what, check) => {
	for (const end = Date.now() + WAIT.timeout; Date.now() < end; await later(150))
		if (await check())
			return;
	throw new Error(`never: ${what}`);
};

const move = async (bus, line) => {
	await bus.wire(`${line}=1`);
	await later(300);
	await bus.wire(`${line}=0`);
};

const before = async (page, bus, step, see) => {
	const unproven = async () => (await bus.status()).unproven;
	await step("before the run: all is left to prove", async () => {
		await looks.go(page, `${bus.url}before`);
		assert.equal(await page.locator(".todo li").count(), 8);
		assert.ok((await unproven()).includes("rear_door"));
		await see("before", "before-1-left");
	});
	await step("the usual pre-trip proves the lines", async () => {
		for (const line of ["service_door", "rear_door"])
			await move(bus, line);
		await bus.press();
		await bus.wire("ignition=1");
		await later(300);
		assert.ok(!(await unproven()).includes("rear_door"));
		await looks.go(page, `${bus.url}before`);
		await page.locator(".todo li").nth(4).waitFor(WAIT);
		assert.equal(await page.locator(".todo li").count(), 5, "the key has not been off yet");
	});
	await step("a signal is tried, and heard by the driver", async () => {
		const beeper = page.locator("button[id^=try-]").first();
		await beeper.click(WAIT);
		await page.waitForURL(/before\?tried=/, WAIT);
		await page.locator("button[name=yes][value='1']").click(WAIT);
		await page.waitForURL(/before$/, WAIT);
		assert.ok(!(await unproven()).includes("beeper"));
	});
	await step("a signal that nobody heard is a fault until it is", async () => {
		await page.locator("button[id^=try-]").nth(3).click(WAIT);
		await page.locator("button[name=yes][value='0']").click(WAIT);
		await page.waitForURL(/before$/, WAIT);
		const { faults } = await bus.status();
		assert.ok(faults.some((f) => f.name === "unheard_dome"), JSON.stringify(faults));
		await see("before", "before-2-some");
		await page.locator("button[id^=try-]").nth(3).click(WAIT);
		await page.locator("button[name=yes][value='1']").click(WAIT);
		await page.waitForURL(/before$/, WAIT);
		assert.deepEqual((await bus.status()).faults, []);
	});
};

const tellFound = async (page, bus, what, fill = async () => {}) => {
	await looks.go(page, `${bus.url}found`);
	await page.locator(`a[href="/found?what=${what}"]`).click(WAIT);
	await fill();
	await page.locator("main form button").first().click(WAIT);
	await page.waitForURL(/found\?what=(child_)?taken/, WAIT);
};

const found = async (page, bus, step, see, saying) => {
	await step("after the run: two taps say that the walk found nothing", async () => {
		await see("found", "found-1-ask");
		await tellFound(page, bus, "nothing");
		assert.equal((await bus.status()).defects_open, 0);
	});
	await step("damage, with words of one's own, which are shown as they are", async () => {
		await see("found?what=mechanical", "found-2-confirm");
		await tellFound(page, bus, "damage", async () => {
			await page.locator("#words").fill(saying);
			await page.locator("#who").fill("D-214");
		});
		await tellFound(page, bus, "mechanical", () => page.locator("#part").selectOption("horn"));
		assert.equal((await bus.status()).defects_open, 2);
		await looks.go(page, `${bus.url}report`);
		await page.locator(".defects q", { hasText: saying }).waitFor(WAIT);
	});
	await step("a child: what to do first, and the office is to be told", async () => {
		await tellFound(page, bus, "child");
		assert.ok((await page.locator(".child").textContent()).includes(CALL));
		await see("found?what=child_taken", "found-3-child");
		assert.ok((await bus.status()).child_found_at);
		await looks.go(page, bus.url);
		await page.locator("main .child").waitFor(WAIT);
		await see("", "found-4-driver");
		await until("the record", () => bus.records("found").some((r) => r.what === "child" &&
			r.rung === "office"));
	});
};

const report = async (page, bus, step, see) => {
	await step("the day's report is signed", async () => {
		await looks.go(page, `${bus.url}report`);
		await see("report", "report-1-open");
		await page.locator("#who").fill("D-214");
		await page.locator("button[value=sign]").click(WAIT);
		await page.locator("button[value=review]").waitFor(WAIT);
		assert.ok((await page.locator("main").textContent()).includes("D-214"));
	});
	await step("the next driver reviews it", async () => {
		await looks.go(page, `${bus.url}before`);
		await page.locator("a[href='/report#review']").click(WAIT);
		await page.locator("#who").fill("D-077");
		await page.locator("button[value=review]").click(WAIT);
		await page.locator("button[value=sign]").waitFor(WAIT);
		assert.ok((await page.locator("main").textContent()).includes("D-077"));
		await see("report", "report-2-reviewed");
		await until("the records", () => bus.records("report").length === 2);
		assert.deepEqual(bus.records("report").map((r) => [r.act, r.who, r.defects]),
			[["signed", "D-214", 2], ["reviewed", "D-077", 2]]);
	});
	await step("nothing told on a page has touched the sweep", async () => {
		await bus.wire("ignition=0");
		await until("owed", async () => (await bus.status()).phase === "owed");
		await tellFound(page, bus, "nothing");
		assert.equal((await bus.status()).phase, "owed");
	});
	await step("while a sweep is open no signal is tried", async () => {
		await looks.go(page, `${bus.url}before`);
		await page.locator("button[id^=try-]").first().click(WAIT);
		await page.locator(".refusal").first().waitFor(WAIT);
		assert.equal((await bus.status()).phase, "owed");
	});
};

exports.story = (language) => async (browser, bus, step) => {
	const context = await browser.newContext({ locale: words[language].locale,
		javaScriptEnabled: language === "en", viewport: looks.SIZES[0] });
	const page = await context.newPage();
	const reader = await looks.Reader.open(browser, bus, language, words[language].locale);
	const see = (path, name) => reader.see(path, name);
	await before(page, bus, step, see);
	await found(page, bus, step, see, words[language].saying);
	await report(page, bus, step, see);
	await reader.context.close();
	await context.close();
};
exports.until = until;
