/* SPDX-License-Identifier: Apache-2.0 */
/* A bus on the bench board: the real postwalkd on a port and in a folder of its own. */
"use strict";
const { spawn, execFile, execFileSync } = require("node:child_process");
const fs = require("node:fs");
const http = require("node:http");
const net = require("node:net");
const os = require("node:os");
const path = require("node:path");
const { promisify } = require("node:util");

const { POSTWALK, POSTWALKD } = process.env;
const START_MS = 15000;

/* A walk that can be looked at: walk_min 9.63 / 1.07 + 12 * 0.5 = 15 s, return_min 9 s (R10). */
const LONG = { aisle_m: 9.63, look_s: 0.5, due_s: 120 };
/* A sweep that is soon overdue: walk_min 1 s. */
const SHORT = { aisle_m: 0.428, look_s: 0.05, due_s: 6.5 };

/* Made up, as the bus and the yard are. */
const PINS = { installer: "brass-41-lantern", mechanic: "plum-77-gate" };
const CALL = "Radio the yard on channel 4, then say where you stand.";

const policy = (port, walk) => `
[bus]
id = bus-07
[page]
listen = 127.0.0.1:${port}
[yard]
call = ${CALL}
[walk]
rows = 12
aisle_m = ${walk.aisle_m}
look_s = ${walk.look_s}
[sweep]
due_s = ${walk.due_s}
carried_due_s = ${walk.due_s}
restart_s = 2
[line ignition]
[line rear_button]
[line rear_door]
[line service_door]
[line beeper]
[line horn]
[line lamp]
[line dome]
`;

const later = (ms) => new Promise((done) => { setTimeout(done, ms); });

const freePort = () => new Promise((done, fail) => {
	const server = net.createServer().on("error", fail).listen(0, "127.0.0.1", () => {
		const { port } = server.address();
		server.close(() => done(port));
	});
});

/* One GET on a connection of its own: status, headers, text. */
const get = (url, headers = {}) => new Promise((done, fail) => {
	http.get(url, { headers, agent: false, timeout: 10000 }, (answer) => {
		const parts = [];
		answer.on("data", (part) => parts.push(part)).on("error", fail).on("end", () => done({
			status: answer.statusCode, headers: answer.headers,
			text: Buffer.concat(parts).toString("utf8"),
		}));
	}).on("error", fail);
});

/* One form sent by hand: what a browser would not let a reader send. */
const post = (url, fields, headers = {}) => new Promise((done, fail) => {
	const body = typeof fields === "string" ? fields : new URLSearchParams(fields).toString();
	const request = http.request(url, { method: "POST", agent: false, timeout: 10000, headers: {
		"Content-Type": "application/x-www-form-urlencoded",
		"Content-Length": Buffer.byteLength(body), ...headers,
	} }, (answer) => {
		const parts = [];
		answer.on("data", (part) => parts.push(part)).on("error", fail).on("end", () => done({
			status: answer.statusCode, headers: answer.headers,
			text: Buffer.concat(parts).toString("utf8"),
		}));
	});
	request.on("error", fail).end(body);
});

class Bus {
	static async start(walk, pins = {}) {
		const bus = new Bus();
		bus.dir = fs.mkdtempSync(path.join(os.tmpdir(), "postwalk-browser-"));
		bus.port = await freePort();
		bus.url = `http://127.0.0.1:${bus.port}/`;
		const conf = path.join(bus.dir, "postwalk.conf"), state = path.join(bus.dir, "state");
		fs.mkdirSync(state);
		fs.writeFileSync(conf, policy(bus.port, walk));
		for (const role of Object.keys(pins))
			execFileSync(POSTWALK, ["pin", "--state", state, role], { input: `${pins[role]}\n` });
		bus.said = "";
		bus.process = spawn(POSTWALKD,
			["--config", conf, "--board", "bench", "--state", state],
			{ stdio: ["ignore", "ignore", "pipe"] });
		bus.process.stderr.on("data", (text) => { bus.said += text; });
		bus.ended = new Promise((done) => { bus.process.on("exit", done); });
		bus.socket = path.join(state, "bench.sock");
		await bus.up();
		return bus;
	}

	async up() {
		for (const end = Date.now() + START_MS; Date.now() < end; await later(50)) {
			const answer = await get(`${this.url}status.json`).catch(() => null);
			if (answer && answer.status === 200)
				return;
		}
		throw new Error(`postwalkd does not serve:\n${this.said}`);
	}

	wire(...levels) {
		return promisify(execFile)(POSTWALK, ["bench", this.socket, ...levels]);
	}

	/* Long enough to settle (30 ms), short enough to be no held button. */
	async press() {
		await this.wire("rear_button=1");
		await later(200);
		await this.wire("rear_button=0");
	}

	async status() {
		return JSON.parse((await get(`${this.url}status.json`)).text);
	}

	/* Records of a kind in the journal so far: a copy is looked at, the live one is the writer's. */
	records(kind) {
		const copy = fs.mkdtempSync(path.join(os.tmpdir(), "postwalk-copy-"));
		try {
			for (const name of ["journal.db", "journal.db-wal", "bus.pub"])
				if (fs.existsSync(path.join(this.dir, "state", name)))
					fs.copyFileSync(path.join(this.dir, "state", name), path.join(copy, name));
			const lines = execFileSync(POSTWALK, ["export", copy], { encoding: "utf8" });
			return lines.trim().split("\n").map((line) => JSON.parse(line))
				.filter((line) => line.kind === kind).map((line) => JSON.parse(line.body));
		} finally {
			fs.rmSync(copy, { recursive: true, force: true });
		}
	}

	pause() {
		this.process.kill("SIGSTOP");
	}

	goOn() {
		this.process.kill("SIGCONT");
	}

	async stop() {
		this.goOn();
		this.process.kill("SIGTERM");
		await this.ended;
		fs.rmSync(this.dir, { recursive: true, force: true });
	}
}

module.exports = { Bus, CALL, LONG, PINS, SHORT, get, later, post };
