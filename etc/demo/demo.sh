#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# An afternoon of a made-up bus on the bench board, in real time; then its pages stay up: the bus's
# own, and the bench's, to play the driver on. An office takes in what the bus delivers, beside three
# weeks of a made-up yard of 24 buses.
#
#	etc/demo/demo.sh	SPEED=N hurries it: 1 to 20
#				DEMO_FOR=SECONDS ends it by itself after that
#
# Ctrl-C stops all. Nothing is left: one temporary folder, and processes by their ids.

set -u
cd "$(dirname "$0")/../.." || exit 1
unset JOURNAL_STREAM NOTIFY_SOCKET WATCHDOG_USEC # a service manager's, not ours
export LC_ALL=C
postwalk=${BUILD:-build}/postwalk
postwalkd=${BUILD:-build}/postwalkd
postwalk_office=${BUILD:-build}/postwalk-office
speed=${SPEED:-1}
installer_pin=482913 mechanic_pin=705128 # made up, and the demo's alone
dir='' daemon='' watcher='' bench_page='' office='' uplink='' timer='' doing=''

fail()
{
	echo "demo: $*" >&2
	exit 2
}

number_from_to()
{
	awk -v n="$1" -v least="$2" -v most="$3" 'BEGIN {
		exit !(n ~ /^[0-9]+(\.[0-9]+)?$/ && n + 0 >= least && n + 0 <= most) }'
}

number_from_to "$speed" 1 20 || fail "expected a SPEED of 1 to 20, not \"$speed\""
[ -z "${DEMO_FOR:-}" ] || number_from_to "$DEMO_FOR" 0 1000000 ||
	fail "expected seconds in DEMO_FOR, not \"$DEMO_FOR\""
[ -x "$postwalk" ] && [ -x "$postwalkd" ] && [ -x "$postwalk_office" ] ||
	fail "expected $postwalk, $postwalkd and $postwalk_office: run make first"

# The follower goes last: it tells what the others still have to say, and ends with them.
clean_up()
{
	trap '' INT TERM HUP
	for pid in $timer $doing $uplink $office $bench_page $watcher $daemon; do
		kill -TERM "$pid" 2>/dev/null
	done
	wait
	[ -z "$dir" ] || rm -rf "$dir"
}
trap clean_up EXIT
trap 'echo; exit 0' INT TERM HUP
dir=$(mktemp -d "${TMPDIR:-/tmp}/postwalk-demo.XXXXXX") || exit 2

# Waits for the process begun last, as a signal may end it at once.
await()
{
	doing=$!
	wait "$doing"
	status=$?
	doing=
	return $status
}

# -- the policy: times divided by the speed, as far as R24 lets them ---------------------------------

# Sets found to the first port from $1 on that nobody listens at.
free_port()
{
	found=$1
	while (exec 3<>"/dev/tcp/127.0.0.1/$found") 2>/dev/null; do
		found=$((found + 1))
		[ "$found" -le 8887 ] || fail "expected a free port from 8787 to 8887"
	done
}

find_ports()
{
	free_port 8787
	port=$found
	free_port $((port + 1))
	bus_url=http://127.0.0.1:$port bench_url=http://127.0.0.1:$found
	free_port $((found + 1))
	office_url=http://127.0.0.1:$found
	free_port $((found + 1))
	pages_url=http://127.0.0.1:$found
}

write_policy()
{
	awk -v speed="$speed" -v port="$port" '
	function over(s) { return sprintf("%.3f", s / speed) }
	function due(s) { s /= speed; return sprintf("%.3f", s > least ? s : least) }
	BEGIN {
		least = (9.1 / 1.07 + 12 * 0.5) / speed + 5.01
		value["PORT"] = port
		value["AISLE"] = over(9.1); value["LOOK"] = over(0.5)
		value["DUE"] = due(60); value["CARRIED"] = due(45); value["GRACE"] = due(30)
		value["RESTART"] = over(10)
		value["OUTSIDE"] = over(30); value["OFFICE"] = over(60)
	}
	/^#/ { print; next }
	{
		for (name in value)
			sub(name "$", value[name])
		print
	}' etc/demo/policy.conf >"$dir/policy.conf"
}

# -- what is seen ------------------------------------------------------------------------------------

# Wires as they are played, what the watch says, and each output once a signal: it goes on and off
# by its pattern.
follow()
{
	trap '' INT
	said=
	while IFS= read -r line; do
		case $line in
		'postwalkd: rung '*)
			said=
			echo "    signal   ${line#postwalkd: rung }"
			;;
		postwalkd:*)
			echo "    watch    ${line#postwalkd: }"
			;;
		[0-9]*)
			echo "    wire     ${line#* }"
			;;
		*=1)
			case $said in *" ${line%=1} "*) continue ;; esac
			said="$said ${line%=1} "
			echo "    output   ${line%=1} on"
			;;
		esac
	done
}

story()
{
	echo
	sed -n 's/^# *//p' "$1"
}

act()
{
	story "etc/demo/$1.trace"
	"$postwalk" bench "$dir/state/bench.sock" --play "etc/demo/$1.trace" --speed "$speed" \
		>"$dir/told" &
	await || fail "$1 could not be played"
}

# A signal of that name, seen in the status within so many seconds.
await_signal()
{
	tries=$(($2 * 5))
	until "$postwalk" status --url "$bus_url" --json 2>/dev/null |
		grep -q "\"rung\":\"$1\""; do
		tries=$((tries - 1))
		[ $tries -gt 0 ] || fail "expected the signal $1 within $2 s"
		kill -0 "$daemon" 2>/dev/null || fail "postwalkd has ended"
		sleep 0.2 &
		await
	done
}

# -- the office, and three weeks of a yard -----------------------------------------------------------

in_office()
{
	command=$1
	shift
	"$postwalk_office" "$command" --office "$dir/office" "$@"
}

# A command that waits for nothing but its own end; a signal may end it.
do_now()
{
	"$@" &
	await
}

begin_office()
{
	mkdir "$dir/office"
	printf '[office]\nlisten = %s\npages = %s\nzone = America/Chicago\n' "${office_url#http://}" \
		"${pages_url#http://}" >"$dir/office/office.conf"
	"$postwalk_office" serve --office "$dir/office" >"$dir/office.log" 2>&1 &
	office=$!
	until grep -q listens "$dir/office.log"; do
		kill -0 "$office" 2>/dev/null || fail "the office has ended: $(tail -1 "$dir/office.log")"
		sleep 0.1 &
		await
	done
}

bring_in_yard()
{
	# shellcheck disable=SC2046 # words are wanted
	in_office enrol $(seq -f 'T-%04g' 24) >"$dir/codes" || fail "the yard cannot be enrolled"
	do_now "$postwalk" fleet --buses 24 --days 21 --seed 7 --zone America/Chicago --to "$office_url" \
		--codes "$dir/codes" --runs "$dir/runs.csv" --quiet >"$dir/fleet" ||
		fail "the yard could not deliver: $(tail -1 "$dir/fleet")"
	in_office runs "$dir/runs.csv" --by d-12 >"$dir/sheet" || fail "the run sheet could not be taken"
	password=$(in_office account d-12 --role administer | awk '$1 == "first" { print $3 }')
	[ -n "$password" ] || fail "the account d-12 could not be made"
}

# As an installer does it: a code from the office, given to the bus.
enrol_bus()
{
	code=$(in_office enrol T-0025 | awk '$1 == "T-0025" { print $2 }')
	"$postwalk" enrol --state "$dir/state" --to "$office_url" --code "$code" >"$dir/enrolled" ||
		fail "T-0025 could not be enrolled"
	"$postwalk" uplink --state "$dir/state" 2>"$dir/told" &
	uplink=$!
}

# What came in today: all of the three weeks.
tell_yard()
{
	echo
	echo "    $(tail -1 "$dir/fleet")"
	echo
	in_office digest --day "$(TZ=America/Chicago date +%Y-%m-%d)" | cut -c1-140 | sed 's/^/    /'
	echo
	echo "    $(tail -1 "$dir/sheet")"
}

# The newest run that nobody walked, and a pack that an auditor can check without the office.
tell_missed()
{
	in_office audit sweeps --verdict missed --jsonl >"$dir/missed" && [ -s "$dir/missed" ] ||
		fail "expected a missed sweep in three weeks of the yard"
	echo "The newest planned run that nobody walked, as the page Sweeps has it:"
	echo
	/usr/bin/python3 -c 'import json, sys
row = json.loads(sys.stdin.readline())
print("    bus {bus}, {day}, run {run}, route {route}, driver {driver}".format(**row))
print("    " + ", ".join(name.replace("_", " ") for name in row["findings"]))' <"$dir/missed"
	last=$(sed -n '1s/.*"day":"\([0-9-]*\)".*/\1/p' "$dir/missed")
	bus=$(sed -n '1s/.*"bus":"\([^"]*\)".*/\1/p' "$dir/missed")
	in_office pack "$dir/pack" --since "$last" --until "$last" "$bus" >"$dir/packed" ||
		fail "the pack could not be made: $(tail -1 "$dir/packed")"
	(cd "$dir/pack" && sha256sum --check --quiet SHA256SUMS && /usr/bin/python3 recompute.py) >"$dir/checked" 2>&1 ||
		fail "the pack does not hold: $(tail -1 "$dir/checked")"
	echo
	echo "A pack of that day and bus, $(find "$dir/pack" -type f | wc -l) files, by sha256sum and its own recompute.py:"
	tail -1 "$dir/checked" | sed 's/^/    /'
}

await_matter()
{
	tries=100
	until in_office matters --json | grep '"bus":"T-0025"' >"$dir/matter"; do
		tries=$((tries - 1))
		[ $tries -gt 0 ] || fail "expected the office to hear of T-0025 within 20 s"
		sleep 0.2 &
		await
	done
}

# -- the afternoon -----------------------------------------------------------------------------------

set_pin()
{
	echo "$2" | "$postwalk" pin --state "$dir/state" "$1" >"$dir/pin" ||
		fail "the PIN of the $1 could not be set"
}

# The bench's page says its address once it serves.
begin_bench_page()
{
	"$postwalk" bench "$dir/state/bench.sock" --page "${bench_url#http://}" --bus "$bus_url" \
		>"$dir/bench_page" &
	bench_page=$!
	until [ -s "$dir/bench_page" ]; do
		kill -0 "$bench_page" 2>/dev/null || fail "the bench's page has ended"
		sleep 0.1 &
		await
	done
}

begin()
{
	write_policy
	mkdir "$dir/state"
	set_pin installer $installer_pin
	set_pin mechanic $mechanic_pin
	mkfifo "$dir/told" "$dir/idle"
	follow <"$dir/told" &
	"$postwalkd" --config "$dir/policy.conf" --board bench --state "$dir/state" 2>"$dir/told" &
	daemon=$!
	if [ -n "${DEMO_FOR:-}" ]; then
		# a read that nobody answers: a sleep without a process
		(trap - EXIT TERM; read -rt "$DEMO_FOR" <>"$dir/idle"; kill -TERM $$) 2>/dev/null &
		timer=$!
	fi
	await_signal none 10
	"$postwalk" bench "$dir/state/bench.sock" --watch >"$dir/told" &
	watcher=$!
	begin_bench_page
	enrol_bus
}

# What the journal holds, against what the rules say to its lines. The live file is the writer's
# alone: a copy is looked at.
judge_again()
{
	cp -r "$dir/state" "$dir/copy" 2>/dev/null
	rm -f "$dir/copy/bench.sock"
	"$postwalk" trace "$dir/copy" >"$dir/trace" &&
		"$postwalk" trace --policy "$dir/copy" >"$dir/trace.conf" &&
		"$postwalk" trace --records "$dir/copy" >"$dir/records" &&
		"$postwalk" replay --config "$dir/trace.conf" "$dir/trace" >"$dir/replayed" ||
		return 1
	grep -v '"kind":"standing"' "$dir/replayed" | cmp - "$dir/records" || return 1
	echo "The journal's $(grep -c = "$dir/trace") moments, judged again by its own policy, give" \
		"the $(wc -l <"$dir/records") records that it holds."
}

echo "Three weeks of a yard of 24 buses come in, then an afternoon of T-0025, Tamarack Valley (all made up)."
find_ports
begin_office
bring_in_yard
tell_yard
tell_missed
begin
cat <<END

    The bus's own page:    $bus_url
    The bench's own page:  $bench_url   the bus's switches and lamps
    Its office takes in:   $office_url   what the bus has sealed, a receipt for each delivery
    Its office's pages:    $pages_url   sign in as d-12 with $password
    PINs, this demo's own: $installer_pin opens the installer's pages, $mechanic_pin the mechanic's

Look at both, side by side. The afternoon plays by itself; then it is your turn. Ctrl-C stops all.
END
act 1-walked
act 2-rushed
act 3-driven-off
act 4-made-good
act 5-never-walked
await_signal office 180
sleep "$(awk -v speed="$speed" 'BEGIN { print 2 + 10 / speed }')" &
await

await_matter
echo
echo "The afternoon is over, and the last sweep is still owed. The office has heard of it:"
echo
in_office matters | awk 'NR == 1 || $3 == "T-0025"' | cut -c1-200 | sed 's/^/    /'
echo
echo
"$postwalk" status --url "$bus_url"
echo
walk=$(awk -v speed="$speed" 'BEGIN { printf "%.1f", (9.1 / 1.07 + 12 * 0.5) / speed }')
judge_again || fail "expected the journal's lines to give its records again"
cat <<END

The alarm goes on. Now play the driver, in the browser; the walk to the rear takes $walk s here.

    $bench_url   turn the key, walk, press the rear button, leave by the door
    $bus_url   what the watch makes of it; PINs: installer $installer_pin, mechanic $mechanic_pin

The office's pages: find a run that nobody walked, see why, correct or take it, print the pack.

    $pages_url   account d-12, first password $password (to be changed at the first sign-in)

The office's side, from another shell:
    $postwalk_office audit morning --office $dir/office
    $postwalk_office pack FOLDER --since DAY --until DAY --office $dir/office
    $postwalk_office matters --office $dir/office
    $postwalk_office take ID --office $dir/office --by d-12 --words "on my way"
    $postwalk_office buses --office $dir/office
    $postwalk_office export T-0025 --office $dir/office | $postwalk verify --key $dir/state/bus.pub -

The PINs are made up: on a bus, set others with postwalk pin. The rear button from another shell:
    $postwalk bench $dir/state/bench.sock rear_button=1
    $postwalk bench $dir/state/bench.sock rear_button=0
Ctrl-C stops all and leaves nothing.
END
wait "$daemon"
fail "postwalkd has ended"
