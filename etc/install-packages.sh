#!/bin/sh
# Installs the packages that are missing from the lists named, and nothing else.
#
#	etc/install-packages.sh LIST...		LIST: a word, for etc/packages/LIST.txt
#
# A list has one Debian package a line; `a | b` is met by either, and the first that the
# package index knows is taken when neither is there. `#` begins a comment.
# Asks apt once, and not at all when nothing is missing. Runs as root, or through sudo.
# Silent unless it fails: then one sentence (and what apt said), status 1. Wrong use: 2.

set -eu
lists=$(dirname "$0")/packages

fail()
{
	status=$1
	shift
	echo "install-packages: $*" >&2
	exit "$status"
}

# By its own name, or because an installed package provides it (some builds of nodejs bring npm).
is_installed()
{
	state=$(dpkg-query -W -f='${db:Status-Status}' "$1" 2>/dev/null) &&
		[ "$state" = installed ] && return
	dpkg-query -W -f='${db:Status-Status}, ${Provides},\n' | grep -q "^installed,.* $1[ ,]"
}

is_known()
{
	[ -n "$(apt-cache show --no-all-versions "$1" 2>/dev/null)" ]
}

# The alternatives of one line as words; succeeds when one of them is installed.
met()
{
	for name in "$@"; do
		is_installed "$name" && return 0
	done
	return 1
}

pick()
{
	for name in "$@"; do
		is_known "$name" && { echo "$name"; return; }
	done
	echo "$1"
}

# Every line whose packages are all absent.
missing_lines()
{
	for list in "$@"; do
		sed 's/#.*//; s/|/ /g' "$lists/$list.txt" | while read -r line; do
			# shellcheck disable=SC2086 # words are wanted
			[ -z "$line" ] || met $line || echo "$line"
		done
	done
}

[ $# -gt 0 ] || fail 2 "name at least one list of $lists"
for list in "$@"; do
	[ -r "$lists/$list.txt" ] || fail 2 "no list $lists/$list.txt"
done
command -v apt-get >/dev/null ||
	fail 1 "apt-get not found: install what $lists names for your distribution by hand"

missing=$(missing_lines "$@")
[ -n "$missing" ] || exit 0

sudo=
if [ "$(id -u)" != 0 ]; then
	sudo=sudo
	command -v sudo >/dev/null ||
		fail 1 "not root and no sudo; as root, run: $0 $*"
fi

log=$(mktemp)
trap 'rm -f "$log"' EXIT
# A word before the wait: it can take minutes, and sudo may ask for a password.
echo "installing: $(echo "$missing" | sed 's/ .*//' | tr '\n' ' ')" >&2
$sudo apt-get -qq -o DPkg::Lock::Timeout=300 update >"$log" 2>&1 ||
	{ cat "$log" >&2; fail 1 "apt-get could not read the package index"; }
names=$(echo "$missing" | while read -r line; do
	# shellcheck disable=SC2086
	pick $line
done)
# shellcheck disable=SC2086
$sudo env DEBIAN_FRONTEND=noninteractive apt-get -qq -y --no-install-recommends \
	-o DPkg::Lock::Timeout=300 install $names >"$log" 2>&1 </dev/null ||
	{ cat "$log" >&2; fail 1 "apt-get could not install:" $names; }
