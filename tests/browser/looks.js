/* SPDX-License-Identifier: Apache-2.0 */
/* How a page looks and reads, judged by others' rules: axe-core with the tags of WCAG 2.2 A and AA,
 * html-validate, and arithmetic on what can be seen at 2 m. */
"use strict";
const assert = require("node:assert/strict");
const fs = require("node:fs");
const path = require("node:path");
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const { HtmlValidate } = require("html-validate");
const { get } = require("./bus.js");

const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
const SIZES = [
	{ name: "360", width: 360, height: 640 },
	{ name: "1280", width: 1280, height: 800 },
];
const PICTURED = ["light-360", "dark-1280"];
/* A dash screen of 7 in and 800 x 480: 152.4 mm wide (computed from its diagonal). */
const DASH = { name: "dash", width: 800, height: 480 };
const DASH_MM_A_PX = 152.4 / 800;
const EYE_MM = 2000;
/* The least height of a capital that guides for displays ask for, and what they advise: 16 and 20
 * to 22 minutes of arc (ISO 9241-303, from memory; common practice). */
const LEAST_MINUTES = 16;

const shots = path.join(process.env.BROWSER, "shots");
fs.mkdirSync(shots, { recursive: true });

const shoot = (page, name) => page.screenshot({ path: path.join(shots, `${name}.png`),
	fullPage: true });

const rules = new HtmlValidate({ extends: ["html-validate:standard"] });

const assertValid = async (html, what) => {
	const report = await rules.validateString(html);
	const wrong = report.results.flatMap((r) => r.messages)
		.map((m) => `${m.line}:${m.column} ${m.ruleId}: ${m.message}`);
	assert.deepEqual(wrong, [], `${what} by html-validate`);
};

const findings = async (page, only = { type: "tag", values: TAGS }) => {
	if (!await page.evaluate("typeof axe === 'object'"))
		await page.evaluate(axe);
	const found = await page.evaluate((runOnly) => window.axe.run(document, {
		runOnly, resultTypes: ["violations"], preload: false,
	}), only);
	return found.violations.flatMap((v) => v.nodes.map((n) =>
		`${v.id}: ${n.html.slice(0, 120)} ${n.failureSummary.replace(/\s+/g, " ")}`));
};

/* Nothing to scroll sideways (WCAG 2.2, 1.4.10). */
const assertFits = async (page, what) => {
	const [inner, outer] = await page.evaluate(
		"[document.documentElement.scrollWidth, document.documentElement.clientWidth]");
	assert.ok(inner <= outer, `${what} is ${inner} px wide in ${outer}`);
};

/* Rules that look at colours: the rest sees no theme. */
const OF_COLOURS = { type: "rule", values: ["color-contrast", "link-in-text-block"] };

/* The page as it stands, in both themes and both widths. */
const everyLook = async (page, name) => {
	for (const colorScheme of ["light", "dark"])
		for (const size of SIZES) {
			const what = `${name}-${colorScheme}-${size.name}`;
			await page.emulateMedia({ colorScheme });
			await page.setViewportSize(size);
			await assertFits(page, what);
			assert.deepEqual(await findings(page, colorScheme === "dark" ? OF_COLOURS
				: undefined), [], `${what} by axe`);
			if (PICTURED.includes(`${colorScheme}-${size.name}`))
				await shoot(page, what);
		}
};

/* A page without scripts reloads itself, and may do so just now. */
const go = async (page, url) => {
	for (;;)
		try {
			return await page.goto(url);
		} catch (error) {
			if (!/interrupted by another navigation|ERR_ABORTED/.test(error.message))
				throw error;
		}
};

/* Looks at addresses for a story, in a browser of its own language, with scripts, for axe is one; kept
 * from look to look, as a new one takes axe long to begin with. */
class Reader {
	static async open(browser, bus, language, locale) {
		const reader = new Reader();
		Object.assign(reader, { bus, language });
		reader.context = await browser.newContext({ locale });
		reader.page = await reader.context.newPage();
		return reader;
	}

	/* As sent, by html-validate; as shown, by axe; on paper. cookies: of who has a session. */
	async see(path, name, cookies = []) {
		const what = `${this.language}-${name}`;
		const answer = await get(this.bus.url + path, { "Accept-Language": this.language,
			Cookie: cookies.map((c) => `${c.name}=${c.value}`).join("; ") });
		assert.equal(answer.status, 200, path);
		assert.ok(answer.text.includes(`<html lang="${this.language}">`));
		await assertValid(answer.text, what);
		await this.context.addCookies(cookies);
		await this.page.emulateMedia({ media: "screen" });
		await this.page.goto(`${this.bus.url}${path}${path.includes("?") ? "&" : "?"}hold=1`);
		await everyLook(this.page, what);
		await this.page.emulateMedia({ media: "print" });
		assert.deepEqual(await findings(this.page), [], `${what} in print`);
		await shoot(this.page, `${what}-print`);
	}
}

/* Minutes of arc at the driver's eye of a capital in the element. */
const minutes = async (page, selector) => {
	const px = await page.evaluate((s) => {
		const style = getComputedStyle(document.querySelector(s));
		const pen = document.createElement("canvas").getContext("2d");
		pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
		return pen.measureText("H").actualBoundingBoxAscent;
	}, selector);
	return Math.atan(px * DASH_MM_A_PX / EYE_MM) * 180 / Math.PI * 60;
};

/* On the dash screen: what has to be seen is on it without scrolling, and large enough. */
const assertSeenFromTwoMetres = async (page, name, large, seen) => {
	await page.emulateMedia({ colorScheme: "light" });
	await page.setViewportSize(DASH);
	await assertFits(page, `${name}-dash`);
	for (const selector of large) {
		const m = await minutes(page, selector);
		assert.ok(m >= LEAST_MINUTES, `${name}: ${selector} has ${m.toFixed(1)} minutes`);
	}
	for (const selector of seen) {
		const bottom = await page.evaluate((s) => { /* at once: the script may replace it */
			window.scrollTo(0, 0);
			return document.querySelector(s).getBoundingClientRect().bottom;
		}, selector);
		assert.ok(bottom <= DASH.height,
			`${name}: ${selector} ends at ${Math.round(bottom)} px`);
	}
	await shoot(page, `${name}-dash`);
};

module.exports = { Reader, go, assertFits, assertSeenFromTwoMetres, assertValid, everyLook, findings, minutes,
	shoot, SIZES };
