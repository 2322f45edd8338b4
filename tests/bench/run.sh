#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# The figures, beside what is asked of them. Nothing fails here: a figure that is not reached says so.
#
#	tests/bench/run.sh BUILD

set -eu
build=$1
out=$(mktemp -d)
trap 'rm -rf "$out" /tmp/postwalk-bench-*' EXIT

row()
{
	awk -v what="$1" -v got="$2" -v unit="$3" -v sign="$4" -v asked="$5" 'BEGIN {
		well = sign == "<=" ? got + 0 <= asked + 0 : got + 0 >= asked + 0
		printf "%-58s %10s %-8s asked %s %s  %s\n", what, got, unit, sign, asked,
			well ? "" : "NOT REACHED"
	}'
}

of()
{
	awk -v name="$1" '$1 == name { print $2 }' "$out/watch"
}

"$build/tests/bench/edges" 5000000 >"$out/long.trace"
"$build/tests/bench/edges" 1000000 >"$out/short.trace"
best=$(for _ in 1 2 3 4 5; do
	from=$(date +%s%N)
	"$build/postwalk" replay "$out/long.trace" >/dev/null
	echo $((($(date +%s%N) - from) / 1000))
done | sort -n | sed -n 3p)
resident()
{
	"$build/tests/bench/resident" "$build/postwalk" replay "$1"
}
row "replay, raw edges a second, from text (median of 5)" $((5000000 * 1000 / (best / 1000))) /s ">=" 5000000
row "replay, resident growth from 1 to 5 million edges" \
	$(($(resident "$out/long.trace") - $(resident "$out/short.trace"))) kB "<=" 200

"$build/tests/bench/watch" "$build/postwalkd" >"$out/watch"
row "edge to output, p50 (page loaded, writer stopped)" "$(of edge_p50_us)" us "<=" 2000
row "edge to output, p99" "$(of edge_p99_us)" us "<=" 2000
row "edge to output, p99.9" "$(of edge_p999_us)" us "<=" 2000
echo "edge to output, largest of 5000: $(of edge_max_us) us"
echo "this machine alone, a byte echoed under the same load: p50 $(of echo_p50_us), p99 $(of echo_p99_us)," \
	"p99.9 $(of echo_p999_us), largest $(of echo_max_us) us"
row "wake-ups of the watch in 10 s, nothing owed" "$(of wakeups_watch)" "" "<=" 0
row "wake-ups of the writer in 10 s" "$(of wakeups_writer)" "" "<=" 0
row "wake-ups of the page in 10 s" "$(of wakeups_page)" "" "<=" 0
row "resident, the watch" "$(of resident_watch_kb)" kB "<=" 6144
echo "resident, the writer $(of resident_writer_kb) kB, the page $(of resident_page_kb) kB"
row "start to lines watched, median of 20" "$(of start_median_ms)" ms "<=" 50
echo "start that makes the journal $(of start_first_ms) ms, slowest other $(of start_max_ms) ms"
