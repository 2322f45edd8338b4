// SPDX-License-Identifier: Apache-2.0
// The feed of tests/office/data/gtfs, read by gtfs-utils (npm), says what gtfs.csv beside it says; and
// test_gtfs.c has the office's reader say the same. Run from the top of the tree, with NODE_PATH where
// tests/office/package.json was installed.
//
//	node tests/office/gtfs-check.js		compares; the last line is N passed, M failed
//	node tests/office/gtfs-check.js --write	writes gtfs.csv anew
'use strict'

process.env.TZ = 'UTC' // gtfs-utils takes weekdays by the zone of the process

const fs = require('fs')
const path = require('path')
const readCsv = require('gtfs-utils/read-csv')
const computeStopovers = require('gtfs-utils/compute-stopovers')

const folder = path.join(__dirname, 'data', 'gtfs')
const golden = path.join(__dirname, 'data', 'gtfs.csv')
// Both switches of summer time of 2026 in the United States, with a week about each.
const spans = [['2026-03-02', '2026-03-15'], ['2026-10-26', '2026-11-08']]

async function rows(name) {
	const all = []
	for await (const row of await readCsv(path.join(folder, name + '.txt'))) all.push(row)
	return all
}

// Every id that is referred to is there.
async function dangling() {
	const ids = async (name, column) => new Set((await rows(name)).map((row) => row[column]))
	const has = {
		stop_id: await ids('stops', 'stop_id'), trip_id: await ids('trips', 'trip_id'),
		route_id: await ids('routes', 'route_id'),
		service_id: new Set([...await ids('calendar', 'service_id'),
			...await ids('calendar_dates', 'service_id')]),
	}
	const refers = { stop_times: ['stop_id', 'trip_id'], trips: ['route_id', 'service_id'],
		frequencies: ['trip_id'] }
	const lost = []
	for (const [name, columns] of Object.entries(refers))
		for (const row of await rows(name))
			for (const column of columns)
				if (!has[column].has(row[column])) lost.push(`${name}: ${row[column]}`)
	return lost
}

// One trip of one day: its first departure, its last arrival, the name of its last stop.
async function runs() {
	const zone = (await rows('agency'))[0].agency_timezone
	const stops = new Map((await rows('stops')).map((row) => [row.stop_id, row.stop_name]))
	const routes = new Map((await rows('routes')).map((row) =>
		[row.route_id, row.route_short_name || row.route_long_name]))
	const order = (await rows('trips')).map((row) => row.trip_id)
	const headway = new Set((await rows('frequencies')).map((row) => row.trip_id))
	const found = new Map()
	const readFile = (name) => readCsv(path.join(folder, name + '.txt'))
	const filters = { trip: (trip) => !headway.has(trip.trip_id) }
	for await (const at of computeStopovers(readFile, zone, filters)) {
		if (!spans.some(([from, to]) => at.start_of_trip >= from && at.start_of_trip <= to)) continue
		const key = at.start_of_trip + ' ' + at.trip_id
		const run = found.get(key) || { date: at.start_of_trip, run: at.trip_id, begin: at.departure }
		run.end = at.arrival
		run.route = routes.get(at.route_id)
		run.place = stops.get(at.stop_id)
		found.set(key, run)
	}
	return [...found.values()].sort((a, b) => a.date < b.date ? -1 : a.date > b.date ? 1 :
		order.indexOf(a.run) - order.indexOf(b.run))
}

const quoted = (text) => /[",]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text

async function main() {
	const lost = await dangling()
	const lines = (await runs()).map((run) =>
		[run.date, run.run, run.begin, run.end, run.route, run.place].map((x) => quoted(String(x))).join())
	const said = ['date,run,begin_s,end_s,route,place', ...lines].join('\n') + '\n'
	if (process.argv[2] === '--write') fs.writeFileSync(golden, said)
	const bad = [lost.length > 0, lines.length < 50, fs.readFileSync(golden, 'utf8') !== said]
	if (lost.length) console.log('refers to what is not there: ' + lost.join(', '))
	if (bad[2]) console.log('gtfs.csv differs; what gtfs-utils says:\n' + said)
	console.log(`${bad.filter((x) => !x).length} passed, ${bad.filter((x) => x).length} failed`)
	process.exitCode = bad.some((x) => x) ? 1 : 0
}

main()
