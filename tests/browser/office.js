/* SPDX-License-Identifier: Apache-2.0 */
/*
 * The office's pages in a real browser, before the real postwalk-office with days of a made-up yard: a
 * dispatcher in the morning, a safety manager at the end of the month, an auditor.
 *
 *	POSTWALK=... POSTWALK_OFFICE=... BROWSER=DIR node tests/browser/office.js [STORY]
 *
 * Pictures go to BROWSER/shots. Ends with `N passed, M failed`, and status 1 when any failed.
 */
"use strict";
const assert = require("node:assert/strict");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs");
const path = require("node:path");
const { chromium } = require("playwright-core");
const looks = require("./looks.js");
const { Yard } = require("./yard.js");

const CHROMIUM = process.env.CHROMIUM || "/usr/bin/chromium";
const WAIT = { timeout: 20000 };
const SEEN = ["/", "/sweeps", "/runs", "/trends", "/drift", "/heat", "/pack"];
const KEPT = ["/keeping", "/people", "/log"];
const LANGUAGES = ["en", "es", "fr"];

const textOf = (page, what) => page.locator(what).first().innerText(WAIT);
const go = (page, yard, leaf) => page.goto(yard.url + leaf, { timeout: 20000 });

/* One row of CSV (RFC 4180) without line ends in its fields. */
const fields = (line) => [...line.matchAll(/("(?:[^"]|"")*"|[^,]*)(?:,|$)/g)].slice(0, -1)
	.map((m) => m[1].replace(/^"|"$/g, "").replaceAll('""', '"'));

const csv = (text) => {
	const [names, ...rows] = text.trim().split("\r\n").map(fields);
	return rows.map((row) => Object.fromEntries(names.map((name, i) => [name, row[i]])));
};

const fetched = async (page, url) => {
	const answer = await page.request.get(url);
	assert.equal(answer.status(), 200, url);
	return answer.text();
};

/* -- signing in ------------------------------------------------------------------------------------ */

/* The first password is somebody else's: another is asked for before anything is shown. */
const signIn = async (page, yard, code, role) => {
	const first = /first password (\S+)/.exec(yard.account(code, role))[1];
	await go(page, yard, "/");
	await page.fill("main [name=code]", code);
	await page.fill("main [name=password]", first);
	await page.locator("main form button").click();
	await page.fill("main [name=now]", first);
	for (const name of ["new", "again"])
		await page.fill(`main [name=${name}]`, `${code} maple ladder fence`);
	await page.locator("main form button").click();
	await page.locator("nav .pages").waitFor(WAIT);
};

/* -- a dispatcher in the morning --------------------------------------------------------------------- */

const dispatcher = async (page, yard, step) => {
	await step("signs in, and chooses a password", () => signIn(page, yard, "d-07", "act"));
	await step("this morning says what waits", async () => {
		await go(page, yard, "/");
		assert.match(await textOf(page, ".lead"), /\d/);
		await looks.shoot(page, "office-morning");
	});
	await step("takes an alert, with words", async () => {
		const before = yard.audit("morning").filter((row) => row.table === "matters").length;
		assert.ok(before > 0, "an alert waits");
		const form = page.locator("main form[method=post]").first();
		await form.locator("[name=words]").fill("called the driver by radio");
		await form.locator("button").click();
		await page.locator(".said").waitFor(WAIT);
		assert.match(yard.office("log"), /d-07/);
	});
	let missed;
	await step("finds a run that nobody walked, and why", async () => {
		await go(page, yard, "/sweeps?verdict=missed");
		missed = yard.audit("sweeps", "--verdict", "missed").filter((row) => row.table === "sweeps");
		const truth = yard.truth.filter((said) => said.expected === "missed").length;
		assert.ok(missed.length > 0 && missed.length <= truth, `${missed.length} of ${truth} missed`);
		await page.locator("main table a[href^='/sweep?']").first().click();
		await page.locator("figure.drawing svg").waitFor(WAIT);
		assert.match(await textOf(page, "main"), /R1\d/, "rules are cited");
		await looks.shoot(page, "office-sweep");
	});
	await step("the page's check-it-yourself lines are there", async () => {
		assert.match(await page.locator("main pre").allInnerTexts().then((t) => t.join("\n")),
			/openssl|sha256sum/);
	});
	await step("corrects by hand, and the record stays", async () => {
		const url = page.url();
		await page.selectOption("main form[method=post] [name=result]", "walked");
		await page.fill("main form[method=post] [name=words]", "the yard's supervisor saw the walk");
		await page.locator("main form[method=post] button").last().click();
		await page.locator(".said").waitFor(WAIT);
		await page.goto(url);
		assert.match(await textOf(page, "main"), /the yard's supervisor saw the walk/);
		assert.match(await textOf(page, "main"), /missed/, "what was matched is still said");
	});
	await step("planned runs say what became of each", async () => {
		await go(page, yard, "/runs");
		const results = new Set(yard.audit("runs").map((row) => row.result).filter(Boolean));
		assert.ok(results.has("walked"), [...results].join(" "));
		await looks.shoot(page, "office-runs");
	});
	await step("may not see the accounts", async () => {
		assert.equal((await go(page, yard, "/people")).status(), 403);
	});
};

/* -- a safety manager at the end of the month -------------------------------------------------------- */

const manager = async (page, yard, step) => {
	await step("signs in", () => signIn(page, yard, "s-02", "see"));
	await step("trends by driver: the picture is drawn over the table", async () => {
		await go(page, yard, "/trends?by=driver");
		await page.locator("figure[data-picture=funnel] svg[role=img]").first().waitFor(WAIT);
		await looks.shoot(page, "office-trends");
	});
	await step("the table, its CSV and the shell have the same numbers", async () => {
		const said = yard.audit("trends", "--by", "driver");
		const name = await page.locator("main table").first().evaluate((t) => t.closest("[id^=table-]").id);
		const table = name.replace(/^table-/, "");
		const rows = csv(await fetched(page, `${yard.url}/trends?by=driver&as=csv&table=${table}`));
		const lines = said.filter((row) => row.table === table);
		assert.ok(rows.length > 0, `${table} has rows`);
		assert.equal(rows.length, lines.length);
		for (const [i, row] of rows.entries())
			for (const [key, value] of Object.entries(row))
				if (typeof lines[i][key] === "number")
					assert.ok(Math.abs(Number(value) - lines[i][key]) < 1e-9, `${key}: ${value}`);
	});
	await step("the worst year that is no signal", async () => {
		await go(page, yard, "/trends?example=worst-year");
		assert.match(await textOf(page, "main"), /22\.33/);
	});
	await step("how bad it was, the longest first", async () => {
		await go(page, yard, "/heat");
		assert.match(await textOf(page, "main"), /no bus was measured/i);
		await looks.shoot(page, "office-heat");
	});
	await step("drift of lines", async () => {
		await go(page, yard, "/drift");
		await page.locator("main h1").waitFor(WAIT);
		await looks.shoot(page, "office-drift");
	});
	await step("may not correct", async () => {
		await go(page, yard, "/sweeps?verdict=missed");
		await page.locator("main table a[href^='/sweep?']").first().click();
		await page.locator("figure.drawing").waitFor(WAIT);
		assert.equal(await page.locator("main form[method=post]").count(), 0);
	});
};

/* -- an auditor ---------------------------------------------------------------------------------------- */

const auditor = async (page, yard, step) => {
	await step("signs in", () => signIn(page, yard, "a-01", "administer"));
	let pack;
	await step("takes a pack of two buses", async () => {
		await go(page, yard, "/pack");
		await page.fill("main [name=buses]", "T-0001 T-0002");
		const download = page.waitForEvent("download", WAIT);
		await page.locator("main form button").last().click();
		pack = path.join(yard.dir, (await download).suggestedFilename());
		await (await download).saveAs(pack);
		assert.ok(fs.statSync(pack).size > 10000);
	});
	await step("and it says itself how it is verified", async () => {
		const dir = path.join(yard.dir, "pack");
		fs.mkdirSync(dir);
		execFileSync("/usr/bin/python3", ["-c", "import shutil, sys; shutil.unpack_archive(*sys.argv[1:])", pack, dir]);
		const found = execFileSync("find", [dir, "-name", "SHA256SUMS"], { encoding: "utf8" }).trim();
		const inside = path.dirname(found);
		execFileSync("sha256sum", ["--check", "--quiet", "SHA256SUMS"], { cwd: inside });
		execFileSync("/usr/bin/python3", ["recompute.py"], { cwd: inside });
	});
	await step("the log has the views of drivers' records, and the pack", async () => {
		await go(page, yard, "/log");
		const log = await textOf(page, "main");
		assert.match(log, /view/);
		assert.match(log, /pack/);
	});
};

/* -- how it looks ----------------------------------------------------------------------------------------- */

const look = async (page, yard, leaf, language, step) => {
	const name = `office-${leaf.slice(1) || "morning"}-${language}`;
	await step(`${leaf} in ${language}`, async () => {
		await go(page, yard, `${leaf}?tongue=${language}`);
		assert.equal(await page.locator("html").getAttribute("lang"), language);
		if (language === "en") {
			await looks.everyLook(page, name);
			await looks.assertValid(await fetched(page, yard.url + leaf), name);
		} else {
			await page.setViewportSize({ width: 360, height: 640 });
			await looks.assertFits(page, name);
			assert.deepEqual(await looks.findings(page), [], `${name} by axe`);
		}
	});
};

const everyLook = async (page, yard, step) => {
	await step("signs in", () => signIn(page, yard, "a-02", "administer"));
	for (const language of LANGUAGES)
		for (const leaf of [...SEEN, ...KEPT])
			await look(page, yard, leaf, language, step);
	const [row] = yard.audit("sweeps", "--verdict", "missed").filter((r) => r.table === "sweeps");
	assert.ok(row);
	await step("one sweep", async () => {
		await go(page, yard, "/sweeps?verdict=missed&tongue=en");
		await page.locator("main table a[href^='/sweep?']").first().click();
		await looks.everyLook(page, "office-sweep-en");
		await looks.assertValid(await fetched(page, page.url()), "one sweep");
	});
	await step("one sweep on paper", async () => {
		await page.emulateMedia({ media: "print" });
		assert.equal(await page.locator("main form:visible").count(), 0);
		await looks.shoot(page, "office-sweep-print");
		await page.emulateMedia({ media: "screen" });
	});
};

const plain = async (page, yard, step) => {
	await step("signs in without scripts", () => signIn(page, yard, "d-09", "act"));
	await step("tables and forms are whole", async () => {
		for (const leaf of SEEN) {
			await go(page, yard, leaf);
			assert.ok(await page.locator("main h1").isVisible(), leaf);
			assert.equal(await page.locator("figure[data-picture]:visible").count(), 0);
		}
		await go(page, yard, "/trends?by=bus");
		assert.ok(await page.locator("main table tbody tr").count() > 0);
	});
};

/* ------------------------------------------------------------------------------------------------------------ */

const STORIES = [["dispatcher", dispatcher], ["safety manager", manager], ["auditor", auditor],
	["without scripts", plain, { javaScriptEnabled: false }], ["looks", everyLook]];

const main = async () => {
	const tally = { passed: 0, failed: 0 };
	const browser = await chromium.launch({ executablePath: CHROMIUM,
		args: process.getuid() === 0 ? ["--no-sandbox"] : [] });
	const yard = await Yard.start();
	try {
		yard.fill();
		for (const [name, tell, options] of STORIES.filter(([n]) => n.includes(process.argv[2] || ""))) {
			const context = await browser.newContext({ locale: "en-US", acceptDownloads: true, ...options });
			const page = await context.newPage();
			const step = async (what, check) => {
				try {
					await check();
					tally.passed += 1;
				} catch (error) {
					tally.failed += 1;
					console.log(`${name}: ${what}: ${error.message}`);
					await looks.shoot(page, `office-failed-${tally.failed}`).catch(() => null);
				}
			};
			await tell(page, yard, step);
			await context.close();
		}
	} catch (error) {
		tally.failed += 1;
		console.log(error.stack);
	} finally {
		await browser.close();
		await yard.stop();
	}
	console.log(`${tally.passed} passed, ${tally.failed} failed`);
	process.exitCode = tally.failed === 0 && tally.passed > 0 ? 0 : 1;
};

main();
