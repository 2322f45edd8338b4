/* SPDX-License-Identifier: Apache-2.0 */
/* What is turned down, by hand and from a browser: a clear page in the reader's language, the right
 * status, nothing changed. */
"use strict";
const assert = require("node:assert/strict");
const looks = require("./looks.js");
const { get, PINS, post } = require("./bus.js");

const WAIT = { timeout: 20000 };

/* A page's form as a browser would have it: its token, and the cookies that go with it. */
const formOf = async (bus, path, cookie = "") => {
	const answer = await get(bus.url + path, cookie ? { Cookie: cookie } : {});
	const set = (answer.headers["set-cookie"] || []).map((c) => c.split(";")[0]);
	return { token: /name="token" value="([^"]+)"/.exec(answer.text)[1],
		cookie: [cookie, ...set].filter((c) => c).join("; ") };
};

const openSession = async (bus, role) => {
	const { token, cookie } = await formOf(bus, `pin?for=${role}`);
	const answer = await post(`${bus.url}pin`, { token, for: role, pin: PINS[role] }, { Cookie: cookie });
	const session = (answer.headers["set-cookie"] || []).map((c) => c.split(";")[0])
		.find((c) => c.startsWith("session="));
	return { status: answer.status, cookie: session ? `${cookie}; ${session}` : cookie, answer };
};

const turned = async (bus, status, path, fields, headers, what) => {
	const before = await bus.status();
	const answer = await post(bus.url + path, fields, headers);
	assert.equal(answer.status, status, what);
	await looks.assertValid(answer.text, what);
	assert.ok(answer.text.includes("<h1>"), what);
	const after = await bus.status();
	assert.equal(after.defects_open, before.defects_open, `${what} changed something`);
	return answer;
};

exports.story = async (browser, bus, step) => {
	const damage = { what: "damage", words: "made up" };
	await step("a form sent twice is taken once", async () => {
		const { token, cookie } = await formOf(bus, "found?what=damage");
		const first = await post(`${bus.url}found`, { token, ...damage }, { Cookie: cookie });
		assert.equal(first.status, 303);
		assert.equal((await bus.status()).defects_open, 1);
		await turned(bus, 409, "found", { token, ...damage }, { Cookie: cookie }, "sent twice");
	});
	await step("tokens that are forged, another's, or another page's", async () => {
		const { token, cookie } = await formOf(bus, "found?what=damage");
		const other = await formOf(bus, "found?what=damage");
		const forged = token.slice(0, -1) + (token.endsWith("0") ? "1" : "0");
		await turned(bus, 403, "found", { token: forged, ...damage }, { Cookie: cookie }, "forged");
		await turned(bus, 403, "found", { token: other.token, ...damage }, { Cookie: cookie }, "another's");
		await turned(bus, 403, "report", { token, do: "sign", who: "D-1" }, { Cookie: cookie }, "another page's");
		await turned(bus, 403, "found", damage, { Cookie: cookie }, "none");
	});
	await step("a form from a foreign page", async () => {
		const { token, cookie } = await formOf(bus, "found?what=damage");
		await turned(bus, 403, "found", { token, ...damage },
			{ Cookie: cookie, Origin: "http://elsewhere.invalid" }, "foreign origin");
		const host = await post(`${bus.url}found`, { token, ...damage },
			{ Cookie: cookie, Host: "elsewhere.invalid" });
		assert.equal(host.status, 421);
	});
	await step("fields that will not do are shown again with the field to blame", async () => {
		for (const bad of [{ what: "empty" }, { what: "mechanical" }, { ...damage, who: "no code!" },
			{ ...damage, words: "x".repeat(164) }]) {
			const { token, cookie } = await formOf(bus, "found?what=damage");
			await turned(bus, 400, "found", { token, ...bad }, { Cookie: cookie }, JSON.stringify(bad));
		}
		const { token, cookie } = await formOf(bus, "found?what=damage");
		await turned(bus, 413, "found", { token, words: "x".repeat(5000) }, { Cookie: cookie }, "too long");
		await turned(bus, 415, "found", "{}", { Cookie: cookie, "Content-Type": "application/json" }, "not a form");
	});
	await step("a language that is not spoken", async () => {
		const answer = await get(`${bus.url}lang?to=xx`);
		assert.equal(answer.status, 400);
		assert.ok(answer.text.includes("English"));
		const any = await get(bus.url, { "Accept-Language": "xx" });
		assert.ok(any.text.includes('<html lang="en">'));
	});
	await step("a second installer finds the place taken", async () => {
		const first = await openSession(bus, "installer");
		assert.equal(first.status, 303);
		const second = await openSession(bus, "installer");
		assert.equal(second.status, 409);
		await looks.assertValid(second.answer.text, "taken");
		assert.equal((await get(`${bus.url}installer`, { Cookie: second.cookie })).status, 403);
		assert.equal((await get(`${bus.url}installer`, { Cookie: first.cookie })).status, 200);
		const { token, cookie } = await formOf(bus, "leave", first.cookie);
		assert.equal((await post(`${bus.url}leave`, { token }, { Cookie: cookie })).status, 303);
		const over = await get(`${bus.url}installer`, { Cookie: first.cookie });
		assert.equal(over.status, 403);
		await looks.assertValid(over.text, "session over");
		assert.ok(over.text.includes("/pin?for=installer"), "a way on");
	});
	await step("wrong PINs make the next one wait", async () => {
		for (let i = 0; i < 3; i++) {
			const { token, cookie } = await formOf(bus, "pin?for=mechanic");
			const answer = await turned(bus, i < 3 ? 403 : 429, "pin",
				{ token, for: "mechanic", pin: "wrong-one" }, { Cookie: cookie }, `wrong ${i}`);
			assert.ok(!answer.headers["set-cookie"] || !answer.headers["set-cookie"].some((c) => /^session=[0-9a-f]/.test(c)));
		}
		const { token, cookie } = await formOf(bus, "pin?for=mechanic");
		const answer = await turned(bus, 429, "pin", { token, for: "mechanic", pin: PINS.mechanic },
			{ Cookie: cookie }, "too soon");
		assert.ok(Number(answer.headers["retry-after"]) >= 1);
	});
	await step("in a browser too, in the reader's language", async () => {
		const context = await browser.newContext({ locale: "es-MX", javaScriptEnabled: false });
		const page = await context.newPage();
		await page.goto(`${bus.url}found?what=damage`);
		assert.equal((await page.goto(`${bus.url}mechanic`)).status(), 403);
		await page.locator("a[href='/pin?for=mechanic']").first().waitFor(WAIT);
		assert.ok((await page.content()).includes('<html lang="es">'));
		await context.close();
	});
};
