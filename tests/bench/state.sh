#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# A state's school year on one machine: loaded straight into the store, then asked as the pages ask it, by the
# pages themselves, and from the shell; and beside it what a plain query over the raw tables takes.
#
#	tests/bench/state.sh BUILD sqlite|postgresql
#
# Prints "name value" lines. STATE_BUSES (10000): how many buses. STATE_PAGES (100): how often each page is
# asked. STATE_PLACE (/var/tmp): 25 GB are needed there for 10,000 buses, and are gone again afterwards.

set -eu
build=$1 store=$2
buses=${STATE_BUSES:-10000} asked=${STATE_PAGES:-100}
today=$(date -u +%Y%m%d)
dir=$(mktemp -d "${STATE_PLACE:-/var/tmp}/postwalk-state-XXXXXX")
chmod 755 "$dir"
office='' server=''
ports=$(python3 -c 'import socket
s = [socket.socket() for i in range(3)]
for x in s: x.bind(("127.0.0.1", 0))
print(*[x.getsockname()[1] for x in s])')
read -r port pages pg_port <<<"$ports"
TOKEN=00112233445566778899aabbccddeeff00112233445566778899aabbccddeeff

end()
{
	for pid in $office $server; do
		kill "$pid" 2>/dev/null || :
		wait "$pid" 2>/dev/null || :
	done
	rm -rf "$dir"
}
trap end EXIT

begin_postgres()
{
	bin=$(ls -d /usr/lib/postgresql/*/bin | tail -1)
	as=()
	mkdir "$dir/pg"
	if [ "$(id -u)" = 0 ]; then
		chown postgres: "$dir/pg"
		as=(setpriv --reuid=postgres --regid=postgres --clear-groups --)
	fi
	(cd "$dir/pg" && "${as[@]}" "$bin/initdb" -D "$dir/pg/data" -A trust -U office >"$dir/initdb" 2>&1)
	(cd "$dir/pg" && exec "${as[@]}" "$bin/postgres" -D "$dir/pg/data" -k "$dir/pg" -p "$pg_port" \
		-c listen_addresses=127.0.0.1 -c shared_buffers=1GB -c max_wal_size=8GB 2>"$dir/pg.log") &
	server=$!
	until psql -Xqc 'SELECT 1' "postgresql://office@127.0.0.1:$pg_port/postgres" >/dev/null 2>&1; do sleep 0.1; done
	where=postgresql://office@127.0.0.1:$pg_port/postgres
}

sql()
{
	if [ "$store" = postgresql ]; then
		PGOPTIONS='-c search_path=postwalk' psql -XAtqc "$1" "$where"
	else
		sqlite3 "$where" "$1"
	fi
}

hex()
{
	if [ "$store" = postgresql ]; then echo "'\\x$1'"; else echo "x'$1'"; fi
}

# Milliseconds that a command takes.
took()
{
	local from
	from=$(date +%s%N)
	"$@" >"$dir/said"
	echo $((($(date +%s%N) - from) / 1000000))
}

# -- plain queries ---------------------------------------------------------------------------------------

plain()
{
	echo "plain_verdicts_ms $(took sql 'SELECT verdict, count(*) FROM sweep GROUP BY verdict')"
	echo "plain_drivers_ms $(took sql "SELECT driver, count(*), sum(CASE WHEN verdict = 'missed' THEN 1 ELSE 0 END)
		FROM outcome GROUP BY driver")"
	echo "plain_missed_ms $(took sql "SELECT bus, day, run, unchecked_ms FROM outcome WHERE refused >= 0 AND
		verdict || '' = 'missed' ORDER BY unchecked_ms DESC LIMIT 100")"
	sql "SELECT CASE WHEN (SELECT count(*) FROM outcome WHERE verdict = 'missed') =
		(SELECT sum(missed) FROM tally WHERE kind = 1 AND length = 3) AND (SELECT count(*) FROM outcome
		WHERE run <> '') = (SELECT sum(runs) FROM tally WHERE kind = 1 AND length = 3)
		THEN 'tallies_agree 1' ELSE 'tallies_agree 0' END"
}

# -- the pages -------------------------------------------------------------------------------------------

begin_office()
{
	"$build/postwalk-office" serve --office "$dir/office" >"$dir/office.log" 2>&1 &
	office=$!
	until grep -q 'pages at' "$dir/office.log"; do
		kill -0 $office || { cat "$dir/office.log" >&2; exit 1; }
		sleep 0.05
	done
}

get()
{
	curl -sS -o "$dir/page" -w '%{http_code} %{time_total}\n' -H "Authorization: Bearer $TOKEN" \
		"http://127.0.0.1:$pages$1"
}

bus() { printf 'T-%05d' $(((RANDOM * 32768 + RANDOM) % buses + 1)); }
driver() { printf 'D%05d' $(((RANDOM * 32768 + RANDOM) % (buses < 10000 ? buses : 10000) + 1)); }
day() { date -u -d "$today -$((RANDOM % 240)) days" +%F; }

address()
{
	case $1 in
	morning) echo / ;;
	sweeps) echo /sweeps ;;
	sweeps_bus) echo "/sweeps?bus=$(bus)" ;;
	sweeps_driver) echo "/sweeps?driver=$(driver)" ;;
	sweeps_missed) echo "/sweeps?verdict=missed" ;;
	sweeps_day) d=$(day); echo "/sweeps?from=$d&to=$d&verdict=doubtful" ;;
	sweep) sed -n "$((RANDOM % 100 + 1))p" "$dir/sweeps" ;;
	runs) echo /runs ;;
	trends) echo /trends ;;
	trends_driver) echo "/trends?by=driver" ;;
	trends_route) echo "/trends?by=route" ;;
	trends_one_bus) echo "/trends?by=bus&name=$(bus)" ;;
	drift) echo "/drift?bus=$(bus)" ;;
	heat) echo /heat ;;
	esac
}

# p50, p95, largest, in ms; and how many were not answered by a page.
page()
{
	for _ in $(seq "$asked"); do get "$(address "$1")"; done >"$dir/times"
	awk -v n="$1" '$1 != 200 { bad++ } { print $2 > "'"$dir"'/sorted" } END { if (bad) print "page_" n "_refused", bad }' \
		"$dir/times"
	sort -n "$dir/sorted" | awk -v n="$1" '{ t[NR] = $1 * 1000 } END { i = int(NR * .95); if (i < 1) i = 1
		printf "page_%s_p50_ms %.1f\npage_%s_p95_ms %.1f\npage_%s_max_ms %.1f\n", n, t[int((NR + 1) / 2)], n, t[i],
			n, t[NR] }'
}

# Sweeps of the district, whose records are there.
list_sweeps()
{
	sql "SELECT '/sweep?bus=' || bus || '&day=' || substr(CAST(day AS text), 1, 4) || '-' ||
		substr(CAST(day AS text), 5, 2) || '-' || substr(CAST(day AS text), 7, 2) || '&run=' || run
		FROM outcome WHERE bus <= 'T-00020' AND run <> '' AND seq > 0 AND day >=
		(SELECT max(day) - 5 FROM outcome WHERE bus = 'T-00001') ORDER BY bus, day, nth LIMIT 100" >"$dir/sweeps"
}

# A sweep of a bus that was not there, from when it is sent to when it stands on its page.
fresh()
{
	mkdir "$dir/bus"
	printf '[bus]\nid = bus-1\n[line ignition]\n[line rear_button]\n' >"$dir/policy"
	"$build/tests/bench/year" "$dir/bus" 60 "$dir/policy"
	"$build/postwalk" export "$dir/bus" >"$dir/export.jsonl"
	key=$("$build/postwalk-office" enrol --office "$dir/office" bus-1 | awk 'END { print $2 }')
	"$build/postwalk" enrol --state "$dir/bus" --to "http://127.0.0.1:$port" --code "$key" >/dev/null
	secret=$(sed -n 's/^token *= *//p' "$dir/bus/office.conf")
	from=$(date +%s%N)
	curl -sS -H "Authorization: Bearer $secret" --data-binary @"$dir/export.jsonl" -o "$dir/receipt" \
		"http://127.0.0.1:$port/v1/bus/bus-1/records?nonce=${TOKEN:0:32}"
	for _ in $(seq 200); do
		get '/sweeps?bus=bus-1' >/dev/null
		! grep -q 'sweep?bus=bus-1' "$dir/page" || break
	done
	echo "new_record_shows_ms $((($(date +%s%N) - from) / 1000000))"
	grep -q 'sweep?bus=bus-1' "$dir/page" || { echo 'new_record_not_shown 1'; cat "$dir/receipt" >&2; }
}

by_shell()
{
	local first=$(date -u -d "$today -365 days" +%F)
	echo "audit_trends_year_ms $(took "$build/postwalk-office" audit trends --office "$dir/office" --csv)"
	echo "audit_drivers_year_ms $(took "$build/postwalk-office" audit trends --by driver --office "$dir/office" --csv)"
	echo "audit_missed_year_ms $(took "$build/postwalk-office" audit sweeps --verdict missed --from "$first" \
		--whole --office "$dir/office" --csv)"
	echo "audit_missed_rows $(wc -l <"$dir/said")"
}

where=$dir/office/office.db
mkdir "$dir/office"
[ "$store" != postgresql ] || begin_postgres
printf '[office]\nlisten = 127.0.0.1:%s\npages = 127.0.0.1:%s\nzone = America/Chicago\n' "$port" "$pages" \
	>"$dir/office/office.conf"
[ "$store" != postgresql ] || echo "store = $where" >>"$dir/office/office.conf"

"$build/tests/bench/state" "$where" "$buses" "$today" >"$dir/load"
grep -E '^(load_s|outcome_rows|sweep_rows)' "$dir/load"
"$build/tests/bench/state_ask" "$where" "$buses" "$today"
plain
list_sweeps
sql "INSERT INTO account (code, role, hash, must_change, made_ms, changed_ms, seen_ms) VALUES ('O-1', 'see', '', 0, 1, 1, 1)"
sql "INSERT INTO token (hash, code, words, ends_ms) VALUES ($(hex "$(printf %s $TOKEN | sha256sum | cut -c -64)"), 'O-1',
	'figures', 4102444800000)"
begin_office
for p in morning sweeps sweeps_bus sweeps_driver sweeps_missed sweeps_day sweep runs trends trends_driver trends_route \
	trends_one_bus drift heat; do
	page $p
done
by_shell
fresh
echo "office_peak_kb $(awk '/VmHWM/ { print $2 }' /proc/$office/status)"
