/* SPDX-License-Identifier: Apache-2.0 */
/* A driver's run in one language, with scripts: key on, key off, the walk, a press too soon, a
 * press that counts, the second look, leaving; then a watch that stands still, and one that is
 * gone. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");
const { get, later } = require("./bus.js");

const WAIT = { timeout: 20000 };
const WEIGHT_MOST = 60000;
const POLL_MS = 2500; /* of the script, with room for a busy machine */

const headline = (page, text) =>
	page.locator("main h1", { hasText: text }).waitFor(WAIT);
const textOf = async (page, selector) => (await page.locator(selector).first().textContent()).trim();

/* Until the text of an element is as wanted: its match. */
const until = async (page, selector, want) => {
	const end = Date.now() + WAIT.timeout;
	for (let text; Date.now() < end; await later(100)) {
		text = await page.locator(selector).first().textContent({ timeout: 5000 })
			.catch(() => "");
		const match = typeof want === "string" ? text.trim() === want : want.exec(text.trim());
		if (match)
			return match;
	}
	throw new Error(`${selector} never said ${want}`);
};

/* A machine that is busy with browsers may keep the watch from answering the page within its half
 * second (503): asked again, for WAIT at most. */
const ask = async (url, language, status) => {
	const end = Date.now() + WAIT.timeout;
	let answer;

	do {
		answer = await get(url, { "Accept-Language": language });
	} while (answer.status !== status && Date.now() < end && await later(100) === undefined);
	return answer;
};

const valid = async (bus, language, what, status = 200) => {
	for (const query of ["", "?hold=1"]) {
		const answer = await ask(bus.url + query, language, status);
		assert.equal(answer.status, status);
		assert.ok(answer.text.includes(`<html lang="${language}">`));
		await looks.assertValid(answer.text, `${what} ${language} ${query}`);
	}
};

/* All that a first visit takes, in bytes of content; all of it from here. */
const weigh = async (page, bus) => {
	const urls = new Set();
	const note = (answer) => urls.add(answer.url());
	page.on("response", note);
	await page.emulateMedia({ colorScheme: "dark" }); /* the heavier */
	await page.goto(bus.url);
	await later(POLL_MS);
	page.off("response", note);
	let total = 0;
	for (const url of urls) {
		assert.ok(url.startsWith(bus.url), `${url} is not of the bus`);
		total += Buffer.byteLength((await get(url)).text);
	}
	for (const path of ["", "style.css", "dark.css", "page.js", "status.json"])
		assert.ok(urls.has(bus.url + path), `${path} was not asked for`);
	assert.ok(total <= WEIGHT_MOST, `${total} bytes`);
};

/* What the script shows is what the server would draw now: a row may lie between the two. */
const assertSameRow = async (page, bus, w, language) => {
	const shown = w.row.exec(await textOf(page, ".aisle b"));
	const answer = await get(bus.url, { "Accept-Language": language });
	const drawn = w.row.exec(/<figcaption>.*?<b>(.*?)<\/b>/.exec(answer.text)[1]);
	if (shown && drawn)
		assert.ok(Math.abs(shown[1] - drawn[1]) <= 1, `row ${shown[1]} against ${drawn[1]}`);
	const at = await page.locator(".slot").getAttribute("transform");
	if (shown && w.row.exec(await textOf(page, ".aisle b"))[1] === shown[1])
		assert.equal(at, `translate(${22 + 26 * shown[1]})`);
};

const walk = async (page, bus, w, language) => {
	await page.evaluate("window.notReloaded = true");
	await assertSameRow(page, bus, w, language);
	const first = await until(page, ".aisle b", w.row);
	await until(page, ".aisle b", { exec: (t) => (w.row.exec(t) || [])[1] > first[1] || null });
	await assertSameRow(page, bus, w, language);
	assert.equal(await page.evaluate("window.notReloaded"), true, "the page was reloaded");
};

const tooSoon = async (page, bus, w) => {
	await bus.press();
	const first = Number((await until(page, ".hindrance", w.tooSoon))[1]);
	await until(page, ".hindrance", { exec: (t) => {
		const m = w.tooSoon.exec(t);
		return m && Number(m[1]) < first ? m : null;
	} });
	assert.match(await textOf(page, "#told"), /\d/, "a screen reader hears why");
};

const motion = async (page) => {
	const glide = "getComputedStyle(document.querySelector('.slot')).transitionDuration";
	await page.emulateMedia({ reducedMotion: "reduce" });
	assert.equal(await page.evaluate(glide), "0s");
	await page.emulateMedia({ reducedMotion: "no-preference" });
	assert.equal(await page.evaluate(glide), "0.3s");
};

const print = async (page, language) => {
	await page.emulateMedia({ media: "print", colorScheme: "dark" });
	assert.deepEqual(await looks.findings(page), [], "print by axe");
	const ink = "getComputedStyle(document.querySelector('.panel')).color";
	assert.equal(await page.evaluate(ink), "rgb(18, 23, 28)", "dark colours are printed");
	assert.equal(await page.locator(".choose:visible").count(), 0);
	await page.setViewportSize({ width: 720, height: 1000 });
	await looks.shoot(page, `${language}-print`);
	await page.emulateMedia({ media: "screen" });
};

const beforeTheStop = async (page, bus, w, language, step) => {
	await step("parked", async () => {
		await headline(page, w.parked);
		await valid(bus, language, "parked");
		await weigh(page, bus);
	});
	await step("key on", async () => {
		await bus.wire("ignition=1");
		await headline(page, w.driving);
		await looks.everyLook(page, `${language}-2-driving`);
	});
};

const theWalk = async (page, bus, w, language, step) => {
	const sweep = ["main h1", ".clock", ".aisle"];
	await step("key off: the walk is drawn and moves by itself", async () => {
		await bus.wire("ignition=0");
		await headline(page, w.owed);
		await motion(page);
		await walk(page, bus, w, language);
	});
	await step("a press too soon is refused in words", () => tooSoon(page, bus, w));
	await step("a refusal can be seen from 2 m", () => looks.assertSeenFromTwoMetres(page,
		`${language}-4-soon`, [".clock b"], [".hindrance", ...sweep]));
	await step("a refusal looks right", async () => {
		await valid(bus, language, "too soon");
		await looks.everyLook(page, `${language}-4-soon`);
	});
	await step("the pace is at the rear when a press counts", async () => {
		await until(page, ".aisle b", w.rear);
		const { sweep: open } = await bus.status();
		assert.ok(open.press_counts_in_s < 0.6, `${open.press_counts_in_s} s early`);
	});
	await step("a press that counts: the second look", async () => {
		await later(700);
		await bus.press();
		await headline(page, w.again);
		assert.ok((await textOf(page, ".state")).endsWith(w.acknowledged));
		await until(page, ".aisle b", w.row);
		await looks.assertSeenFromTwoMetres(page, `${language}-5-back`,
			["main h1", ".clock b"], [...sweep, ".next"]);
	});
	await step("the second look looks right", async () => {
		await looks.everyLook(page, `${language}-5-back`);
		await valid(bus, language, "walk-back");
	});
	await step("after the second look", async () => {
		await until(page, ".aisle b", w.door);
		await page.locator(".clock").waitFor({ state: "detached", ...WAIT });
	});
};

const afterTheStop = async (page, bus, w, language, step) => {
	await step("left by the service door: the sweep is done", async () => {
		await bus.wire("service_door=1");
		await headline(page, w.parked);
		await until(page, ".sweeps tbody td", w.done);
		assert.equal(await page.locator(".stale").isVisible(), false);
		await looks.everyLook(page, `${language}-6-left`);
	});
	await step("key off again: owed, as first seen", async () => {
		await bus.wire("service_door=0", "ignition=1");
		await headline(page, w.driving);
		await bus.wire("ignition=0");
		await headline(page, w.owed);
		await looks.assertSeenFromTwoMetres(page, `${language}-3-owed`, ["main h1", ".clock b"],
			["main h1", ".clock", ".aisle", ".next"]);
		await looks.everyLook(page, `${language}-3-owed`);
		await valid(bus, language, "owed");
	});
	await step("on paper", () => print(page, language));
};

const whenItFails = async (page, bus, w, language, step) => {
	await step("a watch that stands still is told", async () => {
		bus.pause();
		await headline(page, w.silent);
		await looks.everyLook(page, `${language}-7-silent`);
		await valid(bus, language, "silent", 503);
		bus.goOn();
		await headline(page, w.owed);
	});
	await step("a page process that is gone is told", async () => {
		await bus.stop();
		await headline(page, w.silent);
		assert.deepEqual(await looks.findings(page), []);
	});
};

exports.story = (language) => async (browser, bus, step) => {
	const w = words[language];
	const context = await browser.newContext({ locale: w.locale, colorScheme: "light",
		viewport: looks.SIZES[1], reducedMotion: "no-preference" });
	const page = await context.newPage();
	const errors = [];
	page.on("pageerror", (error) => errors.push(error.message));
	await page.goto(bus.url);
	await beforeTheStop(page, bus, w, language, step);
	await theWalk(page, bus, w, language, step);
	await afterTheStop(page, bus, w, language, step);
	await whenItFails(page, bus, w, language, step);
	await step("no error in the script", async () => assert.deepEqual(errors, []));
	await context.close();
};
