#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Every scenario against its golden result: tests/scenarios/*.trace under the default policy,
# own-policy/*.trace under the .conf beside it.
#
#	tests/scenarios/run.sh [POSTWALK]

set -u
postwalk=${1:-build/postwalk}
here=$(dirname "$0")
passed=0 failed=0

judge()
{
	trace=$1
	shift
	if "$postwalk" replay "$@" --rungs "$trace" 2>&1 | diff "${trace%.trace}.golden" -; then
		passed=$((passed + 1))
	else
		failed=$((failed + 1))
		echo "$trace: expected what its golden says"
	fi
}

for t in "$here"/*.trace; do
	judge "$t"
done
for t in "$here"/own-policy/*.trace; do
	judge "$t" --config "${t%.trace}.conf"
done
if cat "$here"/*.golden | {
	"$postwalk" replay --rungs "$here"/*.trace | cmp - /dev/fd/3
} 3<&0; then
	passed=$((passed + 1))
else
	failed=$((failed + 1))
	echo "expected all traces in one call to equal all goldens"
fi
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
