#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Runs docs/verify.md as it is written, in a copy of a state folder.
#
#	tests/faults/verify-doc.sh PAGE FOLDER [NAME=VALUE]
#
# Blocks marked `sh` are run one after the other in one shell; what each prints, on both streams, is
# compared with the block marked `text` behind it, where there is one: `…` there stands for anything
# within a line.
# NAME=VALUE: the reader puts this in the block that sets NAME. Prints a line for each block that did not
# say what it should, with its heading, and at the end `N passed, M failed`.

set -u
page=$(realpath "$1") folder=$2 change=${3:-}
work=$(mktemp -d) || exit 2
trap 'rm -rf "$work"' EXIT

awk -v work="$work" -v name="${change%%=*}" -v change="$change" '
	/^#/ && !kind { heading = $0 }
	/^```sh$/ { kind = "sh"; n++; print heading > (work "/" n ".heading"); next }
	/^```text$/ { kind = "text"; printf "" > (work "/" n ".text"); next }
	/^```$/ { kind = ""; next }
	name != "" && kind == "sh" && index($0, name "=") == 1 { $0 = change }
	kind { print > (work "/" n "." kind) }
	END { print n + 0 > (work "/count") }
' "$page"
count=$(cat "$work/count")
[ "$count" -gt 0 ] || { echo "$page: expected blocks marked sh"; exit 2; }

i=1
while [ $i -le "$count" ]; do
	printf 'exec >"%s" 2>&1\n. "%s"\n' "$work/$i.said" "$work/$i.sh"
	i=$((i + 1))
done >"$work/all"
(cd "$folder" && sh "$work/all") || echo "the last block ended with $?"

# Line by line.
as_expected()
{
	awk '
		function pattern(line)
		{
			gsub(/[][\\.*^$+?(){}|\/]/, "\\\\&", line)
			gsub(/…/, ".*", line)
			return "^" line "$"
		}
		NR == FNR { want[++wanted] = $0; next }
		{ said++ }
		said > wanted || $0 !~ pattern(want[said]) { differs = 1 }
		END { exit differs || said != wanted }
	' "$1" "$2"
}

passed=0 failed=0 i=1
while [ $i -le "$count" ]; do
	touch "$work/$i.said" # a block that was never reached said nothing
	if [ ! -e "$work/$i.text" ] || as_expected "$work/$i.text" "$work/$i.said"; then
		passed=$((passed + 1))
	else
		failed=$((failed + 1))
		printf '%s: %s\n' "$(cat "$work/$i.heading")" "$(cat "$work/$i.said")"
	fi
	i=$((i + 1))
done
echo "$passed passed, $failed failed"
[ $failed -eq 0 ]
