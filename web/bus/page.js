/* SPDX-License-Identifier: Apache-2.0 */
/* Follows the watch without a reload: asks /status.json whether anything has changed, and then
   takes the page anew; a page with raw edges on it is taken each time. Words and judgements are the
   server's; between two answers only the clocks and the mark in the aisle move on, by the time that
   has passed. A form is never taken from under the user's hands. What follows says so: it keeps no
   session open that nobody sits at. */
(() => {
	"use strict";
	const POLL_MS = 1000, TICK_MS = 500, ANEW_EVERY = 10, WAIT_MS = 2000, MISSES = 2;
	const $ = (selector) => document.querySelector(selector);
	const driver = location.pathname === "/";
	let taken = performance.now(), tag = "", polls = 0, misses = 0, told = "";

	/* The same text again is no change: a screen reader hears changes. */
	const write = (element, text) => {
		if (element.textContent !== text)
			element.textContent = text;
	};

	const clock = (s) => {
		const two = (n) => String(n % 60).padStart(2, "0");
		const minutes = Math.floor(s / 60);
		return s < 3600 ? `${minutes}:${two(s)}`
			: `${Math.floor(minutes / 60)}:${two(minutes)}:${two(s)}`;
	};

	const count = (gone) => {
		for (const e of document.querySelectorAll("main [data-down]")) {
			const s = Math.ceil(Math.max(0, e.dataset.down - gone) / 1000);
			write(e, "seconds" in e.dataset ? String(s) : clock(s));
		}
		for (const e of document.querySelectorAll("main [data-up]"))
			write(e, clock(Math.floor((+e.dataset.up + gone) / 1000)));
	};

	const move = (gone) => {
		const aisle = $("main .aisle[data-all]");
		if (!aisle)
			return;
		const d = aisle.dataset, rows = +d.rows, all = +d.all, at = +d.gone + gone;
		const part = at < all ? Math.floor(at * rows / all) : rows;
		const slot = d.back === "1" ? rows - part : part + 1;
		const end = slot < 1 || slot > rows;
		if (rows === 0 && at < all)
			return;
		aisle.querySelector(".slot").setAttribute("transform",
			`translate(${+d.first + slot * d.slot})`);
		write(aisle.querySelector("b"), end ? d.end : d.row.replace("%", slot));
		const arrow = aisle.querySelector(".slot path:not(.band)");
		if (arrow && end)
			arrow.remove();
	};

	const tick = () => {
		const gone = performance.now() - taken;
		count(gone);
		move(gone);
	};

	const tell = () => {
		const why = $(".hindrance");
		const text = [$("h1").textContent, why ? why.textContent : ""].join(" ");
		if (text.replace(/\d+/g, "") === told)
			return;
		told = text.replace(/\d+/g, "");
		write($("#told"), text);
	};

	/* Somebody is at a field, or has filled one in, or is pressing something. */
	const inHand = () => {
		const fields = [...document.querySelectorAll("main input, main select")];
		return $("main :active") !== null || fields.some((f) => f.type !== "hidden" &&
			(f === document.activeElement || f.value !== f.defaultValue && f.value));
	};

	/* Whoever goes by keyboard stays where they were. */
	const show = (main, title) => {
		const focus = document.activeElement && document.activeElement.closest("main")
			? document.activeElement.id : "";
		$("main").replaceWith(main);
		if (focus && document.getElementById(focus))
			document.getElementById(focus).focus({ preventScroll: true });
		document.title = title;
		tick();
		tell();
	};

	const ask = (path, headers) => fetch(path, {
		headers, cache: "no-store", redirect: "error", signal: AbortSignal.timeout(WAIT_MS),
	});

	const anew = async () => {
		const text = await (await ask(location.pathname + location.search,
			{ "Postwalk-Follows": "1" })).text();
		const page = new DOMParser().parseFromString(text, "text/html");
		if (!page.querySelector("main"))
			throw new Error("no page");
		taken = performance.now();
		show(document.adoptNode(page.querySelector("main")), page.title);
	};

	const gone = () => {
		const main = document.createElement("main");
		main.append($("#silent").content.cloneNode(true));
		show(main, main.querySelector("h1").textContent);
	};

	const look = async () => {
		const answer = await ask("/status.json", tag ? { "If-None-Match": tag } : {});
		if (answer.status !== 304 || ++polls % ANEW_EVERY === 0)
			await anew();
		if (answer.status !== 304)
			tag = answer.headers.get("ETag") || "";
	};

	const poll = async () => {
		try {
			if (driver)
				await look();
			else if (!inHand())
				await anew();
			misses = 0;
		} catch {
			tag = "";
			if (++misses >= MISSES && !inHand())
				gone();
		}
		setTimeout(poll, POLL_MS);
	};

	document.addEventListener("visibilitychange", () => { tag = ""; });
	setInterval(tick, TICK_MS);
	tell();
	setTimeout(poll, POLL_MS);
})();
