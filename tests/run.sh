#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Runs test programs one after the other and counts what they say.
#
#	tests/run.sh PROGRAM...
#
# A program ends with cmocka's own lines or with `N passed, M failed`, and with status 0 when all
# is well. What a failing one printed is shown. The last line is `N passed, M failed`, over all.

set -u
passed=0 failed=0
log=$(mktemp) || exit 1
trap 'rm -f "$log"' EXIT

count()
{
	sed -n "s/^\[  $1  \] \([0-9]*\) test.*/\1/p" "$log" | awk '{ n += $1 } END { print n + 0 }'
}

plain()
{
	sed -n "s/^\(.* \)\{0,1\}\([0-9]*\) passed, \([0-9]*\) failed.*/\\$1/p" "$log" |
		awk '{ n += $1 } END { print n + 0 }'
}

for program; do
	begin=$(date +%s)
	$program >"$log" 2>&1
	status=$?
	good=$(($(count PASSED) + $(plain 2)))
	bad=$(($(count FAILED) + $(plain 3)))
	if [ $status -ne 0 ] && [ $bad -eq 0 ]; then
		bad=1
	elif [ $status -eq 0 ] && [ $good -eq 0 ]; then
		bad=1
		echo "$program: expected at least one test to run" >>"$log"
	fi
	echo "$program: $good passed, $bad failed ($(($(date +%s) - begin)) s)"
	[ $bad -eq 0 ] || cat "$log"
	passed=$((passed + good)) failed=$((failed + bad))
done
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
