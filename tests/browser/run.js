/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The page on the bus in a real browser, before the real postwalkd.
 *
 *	POSTWALK=... POSTWALKD=... BROWSER=DIR node tests/browser/run.js [--english] [STORY]
 *
 * STORY runs the stories whose names have it; --english leaves the other languages out. BROWSER holds node_modules (`make browser-ready`); pictures go to BROWSER/shots. One run of a
 * driver, of a driver's forms, of an installer and a mechanic a language; one without scripts, one of
 * choices, one of a sweep that is missed, one of all that is turned down; AT_ONCE side by side, each
 * with a bus of its own.
 * Ends with `N passed, M failed`, and status 1 when any failed.
 */
"use strict";
const { chromium } = require("playwright-core");
const driver = require("./driver.js");
const overdue = require("./overdue.js");
const plain = require("./plain.js");
const choices = require("./choices.js");
const forms = require("./forms.js");
const shop = require("./shop.js");
const turned = require("./turned.js");
const words = require("./words.js");
const { Bus, LONG, PINS, SHORT } = require("./bus.js");

const STEP_MS = 60000;
const AT_ONCE = 5; /* stories: most of each is waiting for clocks */
const CHROMIUM = process.env.CHROMIUM || "/usr/bin/chromium";

/* A step that fails ends its story: what follows rests on it. */
const story = async (browser, name, walk, tell, tally, pins) => {
	const bus = await Bus.start(walk, pins);
	const step = async (what, check) => {
		let timer;
		const late = new Promise((_, fail) => {
			timer = setTimeout(() => fail(new Error(`not done in ${STEP_MS} ms`)), STEP_MS);
		});
		try {
			await Promise.race([check(), late]);
			tally.passed += 1;
		} catch (error) {
			tally.failed += 1;
			console.log(`${name}: ${what}: ${error.message}`);
			throw error;
		} finally {
			clearTimeout(timer);
		}
	};
	try {
		await tell(browser, bus, step);
	} catch (error) {
		if (tally.failed === 0)
			throw error;
	} finally {
		await bus.stop();
	}
};

const main = async () => {
	const tally = { passed: 0, failed: 0 };
	const browser = await chromium.launch({ executablePath: CHROMIUM,
		args: process.getuid() === 0 ? ["--no-sandbox"] : [] });
	const asked = process.argv.slice(2).filter((word) => word !== "--english");
	const languages = asked.length < process.argv.length - 2 ? ["en"] : Object.keys(words);
	const stories = languages.flatMap((language) => [
		[`driver, ${language}`, LONG, driver.story(language)],
		[`driver's forms, ${language}`, LONG, forms.story(language)],
		[`installer and mechanic, ${language}`, LONG, shop.story(language), PINS],
	]);
	stories.push(["without scripts", LONG, plain.story], ["choices", LONG, choices.story],
		["overdue", SHORT, overdue.story], ["turned down", LONG, turned.story, PINS]);
	const only = asked[0] || "";
	const queue = stories.filter(([name]) => name.includes(only));
	const work = async () => {
		for (let next; (next = queue.shift());) {
			const [name, walk, tell, pins] = next;
			await story(browser, name, walk, tell, tally, pins).catch((error) => {
				tally.failed += 1;
				console.log(`${name}: ${error.stack}`);
			});
		}
	};
	await Promise.all(Array.from({ length: AT_ONCE }, work));
	await browser.close();
	console.log(`${tally.passed} passed, ${tally.failed} failed`);
	process.exitCode = tally.failed === 0 && tally.passed > 0 ? 0 : 1;
};

main();
