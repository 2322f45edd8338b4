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
	awk -v name="$1" '$1 == name { print $2 }' "$out/${2:-watch}"
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

"$build/tests/bench/watch" "$build/postwalkd" "$build/tests/bench/year" >"$out/watch"
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
row "start with a journal of two years (120,000 records), median" "$(of long_start_median_ms)" ms "<=" 100
echo "slowest of them $(of long_start_max_ms) ms"

# A sealed year of one bus: 60,000 records. CPU seconds on one core, best of 5, beside what openssl
# itself takes for as many SHA-256 of texts as long as these records' and as many signature checks.
mkdir "$out/year"
printf '[bus]\nid = bus-07\n[line ignition]\n[line rear_button]\n' >"$out/policy"
"$build/tests/bench/year" "$out/year" 60000 "$out/policy"
"$build/postwalk" export "$out/year" >"$out/year.jsonl"
seconds()
{
	for _ in 1 2 3 4 5; do
		(TIMEFORMAT=%U; time "$build/postwalk" verify "$1" >/dev/null 2>&1) 2>&1
	done | sort -n | head -1
}
journal_s=$(seconds "$out/year") export_s=$(seconds "$out/year.jsonl")
text=$(sqlite3 "$out/year/journal.db" "SELECT cast(avg(length(body) + length(epoch) + length(seq) + length(mono_ms) +
	length(kind) + 124) AS INTEGER) FROM record")
seals=$(sqlite3 "$out/year/journal.db" "SELECT count(*) FROM seal")
sha=$(openssl speed -seconds 2 -bytes "$text" -evp sha256 2>/dev/null | awk '$1 == "sha256" { print $2 + 0 }')
checks=$(openssl speed -seconds 2 ed25519 2>/dev/null | awk '/EdDSA/ { print $NF }')
openssl_s=$(awk -v n="$text" -v sha="$sha" -v seals="$seals" -v checks="$checks" \
	'BEGIN { printf "%.3f", 60000 * n / (sha * 1000) + seals / checks }')
row "a sealed year verified, from the journal" "$journal_s" s "<=" 1
row "a sealed year verified, from an export" "$export_s" s "<=" 1
echo "the same hashes ($text bytes each) and $seals signature checks by openssl speed: $openssl_s s"
row "verify of the journal against that" "$(awk -v a="$openssl_s" -v b="$journal_s" \
	'BEGIN { printf "%.0f", 100 * a / b }')" % ">=" 60
echo "verify of the export against that: $(awk -v a="$openssl_s" -v b="$export_s" \
	'BEGIN { printf "%.0f", 100 * a / b }') %"

POSTWALK=$build/postwalk "$build/tests/bench/journal_bytes" >"$out/bytes"
row "an ordinary run and its sweep: syncs of the journal's log a commit" \
	"$(of log_syncs_a_commit bytes)" "" "<=" 1
row "bytes written a sweep (journal, its log, seals)" "$(of kb_a_sweep bytes)" kB "<=" 6
echo "that is $(of commits_a_sweep bytes) commits of $(of log_kb_a_commit bytes) kB of log each (R20: a" \
	"commit an event), $(of database_kb_a_sweep bytes) kB of checkpoints, $(of seals_kb_a_sweep bytes) kB of" \
	"seal files; $(of walk_kb_a_sweep bytes) kB of the log from key-off to way out;"
echo "and $(of syncs_a_sweep bytes) syncs in all: $(of seal_syncs_a_sweep bytes) of seal files and their folder," \
	"$(of stamp_syncs_a_sweep bytes) of alive stamps"

"$build/tests/bench/page" "$build/postwalkd" tests/bench/against.sh >"$out/page"
row "/status.json at 500 a second, p99" "$(of status_p99_us page)" us "<=" 5000
echo "p50 $(of status_p50_us page) us, p99.9 $(of status_p999_us page) us"
row "/status.json a second, beside nginx and a file" "$(of json_ratio page)" "" ">=" 0.4
row "the driver's page a second, beside nginx and a file" "$(of page_ratio page)" "" ">=" 0.4
echo "that is $(of json_rps page) and $(of page_rps page) a second, nginx $(of json_nginx_rps page) and" \
	"$(of page_nginx_rps page)"
row "the driver's page with its style and script" "$(of page_weight_bytes page)" bytes "<=" 60000
row "edge to output, p99, 10,000 bad connections to the page" "$(of crowd_edge_p99_us page)" us "<=" 2000
row "edge to output, p99.9" "$(of crowd_edge_p999_us page)" us "<=" 2000
row "the alarm later than it is due, with them there" "$(of crowd_alarm_late_us page)" us "<=" 2000
echo "edge to output, largest $(of crowd_edge_max_us page) us; $(of crowd_begun page) connections were" \
	"begun, $(of crowd_reached page) stood; $(of crowd_broken page) broken ones had passed through before"
row "the page's peak memory" "$(of crowd_peak_kb page)" kB "<=" 24576
row "the page's process, still the same" "$(of crowd_page_lives page)" "" ">=" 1

"$build/tests/bench/runs" >"$out/runs"
row "planned runs matched with stops a second, one core" "$(of match_per_s runs)" /s ">=" 200000
echo "a state's year: $(of match_runs runs) runs, $(of match_stops runs) stops in $(of match_s runs) s; with" \
	"what other buses left in $(of match_others_s runs) s more; $(of match_peak_kb runs) kB"

# The office: intake beside the raw client of each store given the same rows, in one run.
for store in sqlite postgresql; do
	tests/bench/intake.sh "$build" $store >"$out/$store"
	row "$store: records a second, verified and durable" "$(of records_s $store)" /s ">=" 30000
	row "$store: that beside its raw client with the same rows" "$(of ratio $store)" "" ">=" 0.7
	echo "the raw client: $(of raw_s $store) a second; a batch took p50 $(of batch_p50_us $store) us, p99" \
		"$(of batch_p99_us $store) us; the office's peak with 260 more connections open: $(of peak_kb $store) kB"
done
tests/bench/intake.sh "$build" evening >"$out/evening"
row "10,000 buses with a day each, in ten minutes: seconds" "$(of seconds evening)" s "<=" 600
row "their records without a receipt" "$(($(of sent evening) - $(of receipted evening)))" "" "<=" 0
row "the office's peak, 300 connections" "$(of peak_kb evening)" kB "<=" 131072
echo "records sent: $(of sent evening)"
# A school year of a state, at a twentieth of its size here (STATE_BUSES=10000 tests/bench/state.sh for all of it).
export STATE_BUSES=${STATE_BUSES:-500}
for store in sqlite postgresql; do
	tests/bench/state.sh "$build" $store >"$out/state-$store"
	awk '/^page_.*_p95_ms/ && $2 > most { most = $2; name = $1 } END { print "worst_ms", most; print "worst", name }' \
		"$out/state-$store" >>"$out/state-$store"
	row "$store: the slowest page over a year of $STATE_BUSES buses, p95" "$(of worst_ms state-$store)" ms "<=" 150
	row "$store: a new record shows on its page after" "$(of new_record_shows_ms state-$store)" ms "<=" 2000
	row "$store: missed sweeps of the year, from the shell" "$(of audit_missed_year_ms state-$store)" ms "<=" 10000
	row "$store: drivers of the year, from the shell" "$(of audit_drivers_year_ms state-$store)" ms "<=" 10000
	echo "the slowest page: $(of worst state-$store); the slowest question to the store, p95" \
		"$(of question_worst_p95_ms state-$store) ms; $(of outcome_rows state-$store) rows loaded in" \
		"$(of load_s state-$store) s; a plain query over them by driver took $(of plain_drivers_ms state-$store) ms"
	grep -E '_(refused|gave_nothing|not_shown) |tallies_agree 0' "$out/state-$store" || :
done
