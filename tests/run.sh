#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Runs test programs and counts what they say.
#
#	tests/run.sh PROGRAM... [-- PROGRAM...]...
#
# Lists between -- run side by side, the programs of one list one after the other. A program ends with
# cmocka's own lines or with `N passed, M failed`, and with status 0 when all is well. What a failing
# one printed is shown. The last line is `N passed, M failed`, over all.

set -u
dir=$(mktemp -d) || exit 1
trap 'rm -rf "$dir"' EXIT

# The sum of the numbers that a sed expression finds in a log.
sum()
{
	sed -n "$2" "$1" | awk '{ n += $1 } END { print n + 0 }'
}

# $1: the list's number; the rest: a program.
run_one()
{
	log=$dir/log.$1
	shift
	begin=$(date +%s)
	$1 >"$log" 2>&1
	status=$?
	good=$(($(sum "$log" 's/^\[  PASSED  \] \([0-9]*\) test.*/\1/p') +
		$(sum "$log" 's/^\(.* \)\{0,1\}\([0-9]*\) passed, \([0-9]*\) failed.*/\2/p')))
	bad=$(($(sum "$log" 's/^\[  FAILED  \] \([0-9]*\) test.*/\1/p') +
		$(sum "$log" 's/^\(.* \)\{0,1\}\([0-9]*\) passed, \([0-9]*\) failed.*/\3/p')))
	if [ $status -ne 0 ] && [ $bad -eq 0 ]; then
		bad=1
	elif [ $status -eq 0 ] && [ $good -eq 0 ]; then
		bad=1
		echo "$1: expected at least one test to run" >>"$log"
	fi
	said="$1: $good passed, $bad failed ($(($(date +%s) - begin)) s)"
	if [ $bad -eq 0 ]; then echo "$said"; else echo "$said" | cat - "$log"; fi
	echo "$good $bad" >>"$dir/counts"
}

: >"$dir/counts"
list=1
for program; do
	if [ "$program" = -- ]; then
		list=$((list + 1))
	else
		printf '%s\n' "$program" >>"$dir/list.$list"
	fi
done
for number in $(seq $list); do
	[ -f "$dir/list.$number" ] || continue
	while read -r program; do
		run_one "$number" "$program" </dev/null
	done <"$dir/list.$number" &
done
wait
awk '{ good += $1; bad += $2 } END { printf "%d passed, %d failed\n", good, bad; exit bad > 0 }' \
	"$dir/counts"
