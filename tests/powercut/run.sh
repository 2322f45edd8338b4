#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Every part that cuts power, one after the other, and what they count in all.
#
#	tests/powercut/run.sh PROGRAM...
#
# A program ends with status 0 when all is well, and says on one line
# `cuts tried N, acknowledged records lost N, unsound N`. The last line here says it of all.

set -u
tried=0 lost=0 unsound=0 wrong=0
log=$(mktemp) || exit 1
trap 'rm -f "$log"' EXIT

for program; do
	begin=$(date +%s)
	$program >"$log" 2>&1
	status=$?
	counts=$(sed -n 's/.*cuts tried \([0-9]*\), acknowledged records lost \([0-9]*\), unsound \([0-9]*\).*/\1 \2 \3/p' "$log" | tail -n 1)
	if [ $status -ne 0 ] || [ -z "$counts" ]; then
		cat "$log"
		echo "$program: status $status, ${counts:-no counts}"
		wrong=$((wrong + 1))
	fi
	set -- ${counts:-0 0 0}
	echo "$program: cuts tried $1, acknowledged records lost $2, unsound $3" \
		"($(($(date +%s) - begin)) s)"
	tried=$((tried + $1)) lost=$((lost + $2)) unsound=$((unsound + $3))
done
echo "cuts tried $tried, acknowledged records lost $lost, unsound $unsound"
[ $wrong -eq 0 ] && [ $tried -gt 0 ] && [ $lost -eq 0 ] && [ $unsound -eq 0 ]
