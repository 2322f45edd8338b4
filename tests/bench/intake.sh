#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# How fast an office takes in what buses deliver, verified and durable, beside the raw client of its store
# that is given the very same rows; then a state's evening: 10,000 buses within ten minutes.
#
#	tests/bench/intake.sh BUILD sqlite|postgresql|evening
#
# Prints "name value" lines. The raw clients: sqlite3 reads INSERTs (WAL, synchronous=FULL), psql COPYs
# (synchronous_commit on), a transaction for as many records as one batch has. RECORDS a bus, BUSES buses.

set -eu
build=$1 store=$2
records=${RECORDS:-9000} buses=${BUSES:-32} rounds=${ROUNDS:-3}
dir=$(mktemp -d /var/tmp/postwalk-intake-XXXXXX)
chmod 755 "$dir"
office='' server=''
port=$(python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])')

end()
{
	for pid in $office $server; do
		kill "$pid" 2>/dev/null || :
		wait "$pid" 2>/dev/null || :
	done
	rm -rf "$dir"
}
trap end EXIT

# -- PostgreSQL, with nothing turned off that keeps a commit --------------------------------------------

as_postgres()
{
	if [ "$(id -u)" = 0 ]; then runuser -u postgres -- "$@"; else "$@"; fi
}

begin_postgres()
{
	bin=$(ls -d /usr/lib/postgresql/*/bin | tail -1)
	pg_port=$((port + 1))
	url=postgresql://office@127.0.0.1:$pg_port
	mkdir "$dir/pg"
	[ "$(id -u)" != 0 ] || chown postgres: "$dir/pg"
	(cd "$dir/pg" && as_postgres "$bin/initdb" -D "$dir/pg/data" -A trust -U office >"$dir/initdb" 2>&1)
	(cd "$dir/pg" && exec setpriv --reuid=postgres --regid=postgres --clear-groups -- "$bin/postgres" \
		-D "$dir/pg/data" -k "$dir/pg" -p $pg_port -c listen_addresses=127.0.0.1 2>"$dir/pg.log") &
	server=$!
	until psql -Xqc 'SELECT 1' "$url/postgres" >/dev/null 2>&1; do sleep 0.1; done
}

# -- the office ---------------------------------------------------------------------------------------

begin_office()
{
	rm -rf "$dir/office"
	mkdir "$dir/office"
	printf '[office]\nlisten = 127.0.0.1:%s\n' "$port" >"$dir/office/office.conf"
	if [ "$store" = postgresql ]; then
		psql -Xqc 'DROP DATABASE IF EXISTS intake' -c 'CREATE DATABASE intake' "$url/postgres" 2>/dev/null
		echo "store = $url/intake" >>"$dir/office/office.conf"
	fi
	"$build/postwalk-office" serve --office "$dir/office" >"$dir/office.log" 2>&1 &
	office=$!
	until grep -q listens "$dir/office.log"; do sleep 0.05; done
}

end_office()
{
	kill $office
	wait $office || :
	office=
}

# -- the buses ------------------------------------------------------------------------------------------

make_buses()
{
	for n in $(seq "$buses"); do
		mkdir "$dir/bus-$n"
		printf '[bus]\nid = bus-%s\n[line ignition]\n[line rear_button]\n' "$n" >"$dir/policy"
		"$build/tests/bench/year" "$dir/bus-$n" "$records" "$dir/policy"
		"$build/postwalk" export "$dir/bus-$n" >"$dir/bus-$n/export.jsonl"
	done
}

enrol_buses()
{
	for n in $(seq "$buses"); do
		rm -f "$dir/bus-$n/office.conf"
		code=$("$build/postwalk-office" enrol --office "$dir/office" "bus-$n" | awk 'END { print $2 }')
		"$build/postwalk" enrol --state "$dir/bus-$n" --to "http://127.0.0.1:$port" --code "$code" >/dev/null
	done
}

# -- the raw client -------------------------------------------------------------------------------------

# INSERTs of the rows of each table as they stand, a transaction for 256 records and what belongs to them.
raw_sqlite()
{
	rm -f "$dir"/raw.db*
	sqlite3 "$dir/office/office.db" '.schema --nosys' | sqlite3 "$dir/raw.db"
	for table in record seal sweep; do
		sqlite3 "$dir/office/office.db" ".mode insert $table" "SELECT * FROM $table ORDER BY bus, epoch, branch, seq" \
			>"$dir/$table.rows"
	done
	transactions 'INSERT' >"$dir/raw.sql"
	from=$(date +%s%N)
	(echo 'PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;'; cat "$dir/raw.sql") | sqlite3 "$dir/raw.db" >/dev/null
	raw_ns=$(($(date +%s%N) - from))
}

raw_postgresql()
{
	psql -Xqc 'DROP DATABASE IF EXISTS raw' -c 'CREATE DATABASE raw' "$url/postgres" 2>/dev/null
	as_postgres "$bin/pg_dump" --schema-only --no-owner "$url/intake" | psql -Xq "$url/raw" >/dev/null
	for table in record seal sweep; do
		psql -Xqc "COPY (SELECT * FROM postwalk.$table ORDER BY bus, epoch, branch, seq) TO STDOUT" "$url/intake" \
			>"$dir/$table.rows"
	done
	transactions 'COPY' >"$dir/raw.sql"
	from=$(date +%s%N)
	psql -Xqf "$dir/raw.sql" "$url/raw" >/dev/null
	raw_ns=$(($(date +%s%N) - from))
}

transactions()
{
	awk -v how="$1" -v dir="$dir" -v each=256 '
	function put(table, n,    i, line) {
		if (how == "COPY")
			print "COPY postwalk." table " FROM STDIN;"
		for (i = 0; i < n && (getline line < (dir "/" table ".rows")) > 0; i++)
			print line
		if (how == "COPY")
			print "\\."
	}
	BEGIN {
		for (t = 1; t <= 3; t++) {
			name = t == 1 ? "record" : t == 2 ? "seal" : "sweep"
			while ((getline line < (dir "/" name ".rows")) > 0)
				count[name]++
			close(dir "/" name ".rows")
		}
		parts = int((count["record"] + each - 1) / each)
		for (p = 0; p < parts; p++) {
			print "BEGIN;"
			put("record", each)
			put("seal", int(count["seal"] * (p + 1) / parts) - int(count["seal"] * p / parts))
			put("sweep", int(count["sweep"] * (p + 1) / parts) - int(count["sweep"] * p / parts))
			print "COMMIT;"
		}
	}'
}

median()
{
	sort -n | awk '{ v[NR] = $1 } END { print v[int((NR + 1) / 2)] }'
}

measure()
{
	make_buses
	for _ in $(seq "$rounds"); do
		begin_office
		enrol_buses
		"$build/tests/bench/load" "$port" --idle 260 $(seq -f "$dir/bus-%g" "$buses") >"$dir/said"
		awk '$1 == "records_s" { print $2 }' "$dir/said" >>"$dir/rates"
		echo "peak_kb $(awk '/VmHWM/ { print $2 }' /proc/$office/status)" >>"$dir/said"
		end_office
		raw_"$store"
		awk -v n="$((records * buses))" -v ns="$raw_ns" 'BEGIN { printf "%.0f\n", n * 1e9 / ns }' >>"$dir/raws"
	done
	rate=$(median <"$dir/rates") raw=$(median <"$dir/raws")
	echo "records_s $rate"
	echo "raw_s $raw"
	awk -v a="$rate" -v b="$raw" 'BEGIN { printf "ratio %.2f\n", a / b }'
	grep -E '^(batch_|peak_kb|records |bytes )' "$dir/said"
}

# -- a state's evening --------------------------------------------------------------------------------------

evening()
{
	store=sqlite
	begin_office
	seq -f 'T-%04g' "${FLEET:-10000}" >"$dir/names"
	xargs -n 200 "$build/postwalk-office" enrol --office "$dir/office" <"$dir/names" | grep -v good_until >"$dir/codes"
	from=$(date +%s)
	"$build/postwalk" fleet --buses "${FLEET:-10000}" --days 1 --seed 11 --to "http://127.0.0.1:$port" --codes "$dir/codes" \
		--connections 300 --within "${WITHIN:-8m}" --quiet >"$dir/said" || echo "fleet_failed 1"
	echo "seconds $(($(date +%s) - from))"
	tail -1 "$dir/said" | tr ',' '\n' | awk '{ print $(NF - 1) "_" 1, $NF }' | sed 's/_1//'
	echo "peak_kb $(awk '/VmHWM/ { print $2 }' /proc/$office/status)"
}

case $store in
sqlite) measure ;;
postgresql) begin_postgres; measure ;;
evening) evening ;;
esac
