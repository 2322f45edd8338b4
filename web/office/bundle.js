/* SPDX-License-Identifier: Apache-2.0 */
/* Makes the pictures' one file: node web/office/bundle.js NODE_MODULES OUT
   Behind it stand the licences of whatever it is made of. */
"use strict";
const fs = require("node:fs");
const path = require("node:path");

const [modules, out] = process.argv.slice(2).map((name) => path.resolve(name));
const esbuild = require(path.join(modules, "esbuild"));

/* The package that a file is of: a name, or a scope and a name. */
function packageOf(file) {
	const inside = file.split("node_modules/").pop();

	return inside.split("/").slice(0, inside.startsWith("@") ? 2 : 1).join("/");
}

function licence(name) {
	const folder = path.join(modules, name);
	const file = fs.readdirSync(folder).find((entry) => /^licen[cs]e/i.test(entry));

	if (!file)
		throw new Error(`no licence of ${name} in ${folder}`);
	return `${name}\n\n${fs.readFileSync(path.join(folder, file), "utf8").trim()}`;
}

const made = esbuild.buildSync({
	entryPoints: [path.join(__dirname, "pictures", "main.js")],
	nodePaths: [modules],
	bundle: true,
	minify: true,
	format: "iife",
	target: "es2020",
	legalComments: "none",
	metafile: true,
	write: false,
});
const inputs = Object.keys(made.metafile.inputs).filter((file) => file.includes("node_modules/"));
const names = [...new Set(inputs.map(packageOf))].sort();
const licences = names.map(licence).join("\n\n").replaceAll("*/", "* /");

fs.writeFileSync(out, `${made.outputFiles[0].text}/*\n${licences}\n*/\n`);
