/* SPDX-License-Identifier: Apache-2.0 */
/* The installer proves the wires, the mechanic keeps it quiet for a while: by PIN, in one language;
 * English with scripts, Spanish and French without. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const words = require("./words.js");
const { until } = require("./forms.js");
const { get, later, PINS } = require("./bus.js");

const WAIT = { timeout: 20000 };

const open = async (page, bus, role) => {
	await looks.go(page, `${bus.url}pin?for=${role}`);
	await page.locator("#pin").fill(PINS[role]);
	await page.locator("main form button").click(WAIT);
	await page.waitForURL(new RegExp(`/${role}$`), WAIT);
};

/* The dump as a browser would save it. */
const capture = async (page, bus) => {
	const cookies = await page.context().cookies();
	return (await get(`${bus.url}installer/capture.vcd`, {
		Cookie: cookies.map((c) => `${c.name}=${c.value}`).join("; "),
	})).text;
};

const lines = async (page, bus, step, see) => {
	await step("a wrong PIN opens nothing", async () => {
		await looks.go(page, `${bus.url}pin?for=installer`);
		await page.locator("#pin").fill("not-the-pin");
		await page.locator("main form button").click(WAIT);
		await page.locator("#pin-error").waitFor(WAIT);
		assert.equal((await get(`${bus.url}installer`)).status, 403);
	});
	await step("the PIN opens the installer's page", async () => {
		await open(page, bus, "installer");
		await bus.wire("rear_door=1");
		await later(400);
		await bus.wire("rear_door=0");
		await bus.wire("service_door=1");
		await looks.go(page, `${bus.url}installer?span=10`);
		assert.ok(await page.locator("figure.strip").count() >= 4, "a strip a line");
		await see("installer?span=10", "installer-1-lines");
		for (const span of [60, 600])
			assert.equal((await looks.go(page, `${bus.url}installer?span=${span}`)).status(), 200);
	});
	await step("an output is tried for 2 s, and the watch drives it", async () => {
		await looks.go(page, `${bus.url}installer`);
		await page.locator("button[id^=try-]").first().click(WAIT);
		await until("driven", async () => (await bus.status()).lines
			.find((l) => l.name === "beeper").level === 1);
		await until("over", async () => (await bus.status()).lines
			.find((l) => l.name === "beeper").level === 0);
	});
	await step("the raw edges as a value change dump", async () => {
		const vcd = await capture(page, bus);
		assert.match(vcd, /\$timescale\s+1\s*ms\s+\$end/);
		const id = /\$var wire 1 (\S+) rear_door \$end/.exec(vcd)[1];
		const changes = vcd.split("\n").filter((l) => l === `1${id}` || l === `0${id}`);
		assert.deepEqual(changes.slice(-2), [`1${id}`, `0${id}`]);
	});
	await step("counts begin anew", async () => {
		await page.locator("button[value=count]").click(WAIT);
		await page.waitForURL(/installer$/, WAIT);
		await bus.wire("service_door=0");
	});
};

/* What each step asks for, pulled right, but for the rear door, which is wired to exits' place. */
const wiring = async (page, bus, step, see) => {
	const next = () => page.locator("button[value=next]").click(WAIT);
	const saw = (text) => page.locator("main", { hasText: text }).waitFor(WAIT);
	const asked = [["ignition", 1], ["ignition", 0], ["service_door", 1], ["service_door", 0],
		["rear_button", 1], ["rear_button", 0]];
	await step("the walk through the wiring: wires that are right", async () => {
		await looks.go(page, `${bus.url}installer/wiring`);
		await page.locator("button[value=begin]").click(WAIT);
		for (const [line, level] of asked) {
			await page.locator("button[value=next]").waitFor(WAIT);
			await bus.wire(`${line}=${level}`);
			await later(500);
			await next();
		}
	});
	await step("a door whose wire moves another line is told", async () => {
		await bus.wire("service_door=1");
		await later(500);
		await looks.go(page, `${bus.url}installer/wiring`);
		await see("installer/wiring", "installer-2-wiring");
		await saw(words[page.language].swapped);
		await next();
		await bus.wire("service_door=0");
		await later(500);
		await page.locator("button[value=again]").click(WAIT); /* the step before, mended */
		await bus.wire("rear_door=1");
		await later(500);
		await next();
	});
	await step("one that is skipped says so; the walk ends in a record", async () => {
		await page.locator("button[value=skip]").click(WAIT);
		await looks.go(page, `${bus.url}installer/setup`);
		await page.locator("#who").fill("I-09");
		await page.locator("form:has(#who) button").click(WAIT);
		await page.waitForURL(/installer\/setup$/, WAIT);
		await see("installer/setup", "installer-3-setup");
		await until("the record", () => bus.records("setup").length === 1);
		const [setup] = bus.records("setup");
		assert.equal(setup.who, "I-09");
		assert.match(setup.policy, /^[0-9a-f]{64}$/);
		const results = setup.steps.map((s) => `${s.line} ${s.level} ${s.result}`);
		assert.ok(results.includes("ignition 1 right"), results.join("; "));
		assert.ok(results.includes("rear_door 1 right"), results.join("; "));
		assert.ok(results.includes("rear_door 0 skipped"), results.join("; "));
		await bus.wire("rear_door=0");
	});
};

const mechanic = async (page, bus, step, see) => {
	await step("one leaves, the other comes", async () => {
		await looks.go(page, `${bus.url}leave`);
		await page.locator("main form button").click(WAIT);
		await page.waitForURL(bus.url, WAIT);
		assert.equal((await looks.go(page, `${bus.url}installer`)).status(), 403);
		await open(page, bus, "mechanic");
	});
	await step("service goes on: in plain sight on the driver's page", async () => {
		await page.locator("button[value=on]").click(WAIT);
		await page.locator("button[value=off]").waitFor(WAIT);
		const { service } = await bus.status();
		assert.equal(service.on, true);
		assert.ok(service.left_s > 3500 && service.left_s <= 3600, `${service.left_s} s`);
		await see("mechanic", "mechanic-1-on");
		await looks.go(page, bus.url);
		await page.locator(".service").waitFor(WAIT);
		await see("", "mechanic-2-driver");
	});
	await step("service does not end an owed sweep, and mutes it", async () => {
		await bus.wire("ignition=1");
		await later(500);
		await bus.wire("ignition=0");
		await until("owed", async () => (await bus.status()).phase === "owed");
		assert.ok((await bus.status()).sweep.findings.includes("muted"));
	});
	await step("service goes off", async () => {
		await looks.go(page, `${bus.url}mechanic`);
		await page.locator("button[value=off]").click(WAIT);
		await page.locator("button[value=on]").waitFor(WAIT);
		const status = await bus.status();
		assert.equal(status.service.on, false);
		assert.equal(status.phase, "owed");
	});
	await step("a defect is certified as repaired", async () => {
		await looks.go(page, `${bus.url}found?what=damage`);
		await page.locator("main form button").first().click(WAIT);
		await page.waitForURL(/taken$/, WAIT);
		await looks.go(page, `${bus.url}mechanic`);
		await page.locator("input[name=id]").first().check(WAIT);
		await page.locator("input[name=as][value=repaired]").check(WAIT);
		await page.locator("#who").fill("M-3");
		await see("mechanic", "mechanic-3-certify");
		await page.locator("button[value=certify]").click(WAIT);
		await page.waitForURL(/mechanic$/, WAIT);
		assert.equal((await bus.status()).defects_open, 0);
		await until("the records", () => bus.records("service").length === 2 &&
			bus.records("report").some((r) => r.act === "repaired" && r.who === "M-3"));
	});
};

exports.story = (language) => async (browser, bus, step) => {
	const context = await browser.newContext({ locale: words[language].locale,
		javaScriptEnabled: language === "en", viewport: looks.SIZES[0] });
	const page = await context.newPage();
	page.language = language;
	const reader = await looks.Reader.open(browser, bus, language, words[language].locale);
	/* With the very session that is open. */
	const see = async (path, name) => reader.see(path, name, await context.cookies());
	await lines(page, bus, step, see);
	await wiring(page, bus, step, see);
	await mechanic(page, bus, step, see);
	await reader.context.close();
	await context.close();
};
