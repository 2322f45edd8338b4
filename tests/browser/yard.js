/* SPDX-License-Identifier: Apache-2.0 */
/* An office with a made-up yard: the real postwalk-office, days that its buses delivered, their run sheet. */
"use strict";
const { spawn, execFileSync } = require("node:child_process");
const fs = require("node:fs");
const os = require("node:os");
const path = require("node:path");
const { later } = require("./bus.js");

const { POSTWALK, POSTWALK_OFFICE } = process.env;
const START_MS = 30000;
const BUSES = 8;
const DAYS = 15;

class Yard {
	static async start() {
		const yard = new Yard();
		yard.dir = fs.mkdtempSync(path.join(os.tmpdir(), "postwalk-yard-"));
		fs.chmodSync(yard.dir, 0o755);
		fs.writeFileSync(path.join(yard.dir, "office.conf"),
			"[office]\nlisten = 127.0.0.1:0\npages = 127.0.0.1:0\nzone = America/Chicago\n");
		yard.said = "";
		yard.process = spawn(POSTWALK_OFFICE, ["serve", "--office", yard.dir],
			{ stdio: ["ignore", "pipe", "pipe"] });
		for (const from of [yard.process.stdout, yard.process.stderr])
			from.on("data", (text) => { yard.said += text; });
		yard.ended = new Promise((done) => { yard.process.on("exit", done); });
		await yard.told(/listens at (http:\S+);/, (m) => { yard.intake = m[1]; });
		await yard.told(/pages at (http:\S+)/, (m) => { yard.url = m[1]; });
		return yard;
	}

	async told(pattern, take) {
		for (const end = Date.now() + START_MS; Date.now() < end; await later(50)) {
			const match = pattern.exec(this.said);
			if (match)
				return take(match);
		}
		throw new Error(`postwalk-office does not serve:\n${this.said}`);
	}

	office(command, ...rest) {
		return execFileSync(POSTWALK_OFFICE, [command, "--office", this.dir, ...rest], { encoding: "utf8" });
	}

	/* Days of the yard, delivered; the sheet of what was planned, imported. */
	fill() {
		const at = (name) => path.join(this.dir, name);
		const names = Array.from({ length: BUSES }, (_, i) => `T-${String(i + 1).padStart(4, "0")}`);
		fs.writeFileSync(at("codes"), this.office("enrol", ...names));
		execFileSync(POSTWALK, ["fleet", "--buses", `${BUSES}`, "--days", `${DAYS}`, "--seed", "7",
			"--zone", "America/Chicago", "--to", this.intake, "--codes", at("codes"), "--quiet",
			"--runs", at("runs.csv")]);
		this.office("runs", at("runs.csv"), "--by", "d-12");
		this.truth = execFileSync(POSTWALK, ["fleet", "--buses", `${BUSES}`, "--days", `${DAYS}`, "--seed",
			"7", "--zone", "America/Chicago", "--list"], { encoding: "utf8", maxBuffer: 1 << 26 })
			.trim().split("\n").map((line) => JSON.parse(line));
	}

	/* Code and first password. */
	account(code, role) {
		return this.office("account", code, "--role", role, "--by", "d-12");
	}

	/* What the shell says of a page, as objects. */
	audit(leaf, ...fields) {
		return this.office("audit", leaf, ...fields, "--whole", "--jsonl").trim().split("\n").filter(Boolean)
			.map((line) => JSON.parse(line));
	}

	async stop() {
		this.process.kill("SIGTERM");
		await this.ended;
		fs.rmSync(this.dir, { recursive: true, force: true });
	}
}

module.exports = { Yard };
