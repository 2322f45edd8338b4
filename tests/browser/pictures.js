/* SPDX-License-Identifier: Apache-2.0 */
/*
 * Every picture and every kind of table of the office's reports in a real browser, under the policy that
 * the office sends with its pages (Content-Security-Policy).
 *
 *	BROWSER=DIR node tests/browser/pictures.js BUILD
 *
 * BUILD has tests/office/test_report, which writes the page, and web/office/pictures.js. Pictures go to
 * BROWSER/shots. Ends with `N passed, M failed`, and status 1 when any failed.
 */
"use strict";
const assert = require("node:assert/strict");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs");
const http = require("node:http");
const os = require("node:os");
const path = require("node:path");
const { chromium } = require("playwright-core");
const { HtmlValidate } = require("html-validate");
const axe = fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

const build = process.argv[2];
const CHROMIUM = process.env.CHROMIUM || "/usr/bin/chromium";
const POLICY = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; form-action 'self'";
const TYPES = { ".html": "text/html; charset=utf-8", ".css": "text/css", ".js": "text/javascript" };
const TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
/* One of each kind: the long tables are like the first. */
const PARTS = ["form", "p", "pre", "#table-sweeps", "figure"];
const PICTURES = 6;
const LOOKS = {
	light: { viewport: { width: 1280, height: 900 } },
	dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
	/* WCAG 2.2, 1.4.10: 320 CSS px wide without scrolling in two directions, tables but for. */
	phone: { viewport: { width: 320, height: 640 } },
};

const serve = (folder) => new Promise((done) => {
	const server = http.createServer((request, answer) => {
		const file = path.join(folder, path.basename(request.url));

		if (!fs.existsSync(file))
			return answer.writeHead(404).end();
		answer.writeHead(200, { "Content-Type": TYPES[path.extname(file)], "Content-Security-Policy": POLICY });
		return answer.end(fs.readFileSync(file));
	}).listen(0, "127.0.0.1", () => done(server));
});

const tally = { passed: 0, failed: 0 };
const step = async (what, check) => {
	try {
		await check();
		tally.passed += 1;
	} catch (error) {
		tally.failed += 1;
		console.log(`${what}: ${error.message}`);
	}
};

/* A page, and what its console complained of. */
const opened = async (browser, address, options) => {
	const page = await (await browser.newContext(options)).newPage();
	const said = [];

	page.on("console", (message) => message.type() === "error" && said.push(message.text()));
	page.on("pageerror", (error) => said.push(error.message));
	await page.goto(address);
	return { page, said };
};

const drawn = (page) => page.locator("figure[data-picture] svg[role=img]");

const looksWell = async (browser, address, name, language) => {
	const { page, said } = await opened(browser, address, LOOKS[name]);

	await drawn(page).nth(PICTURES - 1).waitFor();
	assert.equal(await drawn(page).count(), PICTURES);
	assert.deepEqual(said.filter((words) => !/404/.test(words)), [], "the console says nothing");
	for (const figure of await page.locator("figure[data-picture]").all())
		assert.equal(await figure.locator("svg").getAttribute("aria-label"), await figure.locator("figcaption").innerText());
	assert.equal(await page.evaluate("document.documentElement.scrollWidth"), LOOKS[name].viewport.width);
	if (language === "en")
		await page.screenshot({ path: path.join(process.env.BROWSER, "shots", `report-${name}.png`), fullPage: true });
	await page.context().close();
};

const byAxe = async (browser, address, name) => {
	const { page } = await opened(browser, address, { ...LOOKS[name], bypassCSP: true });

	await drawn(page).nth(PICTURES - 1).waitFor();
	await page.evaluate(axe);
	const found = await page.evaluate(([include, values]) =>
		window.axe.run({ include }, { runOnly: { type: "tag", values }, resultTypes: ["violations"], preload: false }), [PARTS, TAGS]);
	assert.deepEqual(found.violations.map((v) => `${v.id}: ${v.nodes[0].html}`), []);
	await page.context().close();
};

/* Nothing is looked for that is not there. */
const withoutScripts = async (browser, address) => {
	const { page } = await opened(browser, address, { ...LOOKS.light, javaScriptEnabled: false });

	assert.equal(await page.locator("figure[data-picture]:visible").count(), 0);
	assert.equal(await page.locator("table:visible").count(), 5);
	await page.context().close();
};

const valid = async (html) => {
	const report = await new HtmlValidate({ extends: ["html-validate:standard"] }).validateString(html);

	assert.deepEqual(report.results.flatMap((r) => r.messages).map((m) => `${m.line} ${m.ruleId}: ${m.message}`), []);
};

const tellLanguage = async (browser, language) => {
	const folder = fs.mkdtempSync(path.join(os.tmpdir(), "postwalk-report-"));

	execFileSync(path.join(build, "tests/office/test_report"), ["--write", folder, language]);
	fs.copyFileSync("web/office/style.css", path.join(folder, "office.css"));
	fs.copyFileSync(path.join(build, "web/office/pictures.js"), path.join(folder, "pictures.js"));
	const server = await serve(folder);
	const address = `http://127.0.0.1:${server.address().port}/index.html`;

	for (const name of language === "en" ? Object.keys(LOOKS) : ["phone"])
		await step(`${language}, ${name}: drawn`, () => looksWell(browser, address, name, language));
	for (const name of language === "en" ? ["light", "dark"] : [])
		await step(`${language}, ${name}: by axe`, () => byAxe(browser, address, name));
	await step(`${language}: without scripts`, () => withoutScripts(browser, address));
	await step(`${language}: by html-validate`, () => valid(fs.readFileSync(path.join(folder, "index.html"), "utf8")));
	server.close();
	fs.rmSync(folder, { recursive: true });
};

const main = async () => {
	fs.mkdirSync(path.join(process.env.BROWSER, "shots"), { recursive: true });
	const browser = await chromium.launch({ executablePath: CHROMIUM,
		args: process.getuid() === 0 ? ["--no-sandbox"] : [] });

	for (const language of ["en", "es", "fr"])
		await tellLanguage(browser, language);
	await browser.close();
	console.log(`${tally.passed} passed, ${tally.failed} failed`);
	process.exit(tally.failed ? 1 : 0);
};

main();
