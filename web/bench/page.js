/* SPDX-License-Identifier: Apache-2.0 */
/* Follows the bench without a reload, and pulls its wires without leaving the page. */
(() => {
	"use strict";
	const POLL_MS = 500, WAIT_MS = 3000;
	const $ = (selector) => document.querySelector(selector);
	const form = $("form"), lost = $("#lost");
	let tag = "";

	/* The same text again is no change: a screen reader hears changes. */
	const write = (element, text) => {
		if (element.textContent !== text)
			element.textContent = text;
	};

	const say = (text) => {
		write(lost, text);
		lost.hidden = text === "";
	};

	const find = (name) => $(`[data-line="${CSS.escape(name)}"]`);

	const put = (line) => {
		const element = find(line.name);
		write(element.querySelector(".word"), line.word);
		if (line.direction === "out") {
			element.dataset.state = line.state;
		} else {
			element.setAttribute("aria-checked", String(line.level === 1));
			element.value = `${line.name}:${1 - line.level}`;
		}
	};

	/* The lines are as drawn, or the page is drawn anew. */
	const show = (bench) => {
		const drawn = document.querySelectorAll("[data-line]").length;
		if (bench.gone !== !form || bench.lines.length !== drawn ||
		    bench.lines.some((line) => !find(line.name)))
			location.reload();
		else
			bench.lines.forEach(put);
	};

	const ask = async () => {
		const answer = await fetch("/lines.json", {
			headers: tag ? { "If-None-Match": tag } : {}, cache: "no-store",
			signal: AbortSignal.timeout(WAIT_MS),
		});
		if (answer.status === 304)
			return;
		const bench = await answer.json();
		tag = answer.headers.get("ETag") || "";
		show(bench);
	};

	const poll = async () => {
		try {
			await ask();
			if (lost.dataset.why === "silent")
				say("");
		} catch {
			lost.dataset.why = "silent";
			say("This page's own program does not answer. Is the demo still running?");
		}
		setTimeout(poll, POLL_MS);
	};

	const pull = async (event) => {
		const fields = new URLSearchParams(new FormData(form));
		const button = event.submitter;
		event.preventDefault();
		fields.set(button.name, button.value);
		try {
			const answer = await fetch("/", { method: "POST", body: fields, redirect: "manual",
				signal: AbortSignal.timeout(WAIT_MS) });
			lost.dataset.why = "refused";
			say(answer.type === "opaqueredirect" ? "" : await answer.text());
			await ask();
		} catch {
			/* the next poll tells */
		}
	};

	if (form)
		form.addEventListener("submit", pull);
	poll();
})();
