#!/bin/sh
# Runs what the README promises on a bare Debian: a folder that debootstrap made, with git and
# make installed and nothing else, a clean clone of this tree's last commit, and root.
#
#	tests/bare/bare.sh RELEASE [COMMAND...]		RELEASE: bookworm or trixie
#
# COMMANDs run in the clone one after another; by default `make demo DEMO_FOR=20` and
# `make test`. Prints PASS or FAIL and the seconds taken for each, and where the log is;
# status 1 if any failed, 2 for wrong use.
#
# Needs root, and what etc/packages/bare.txt lists. The folder's network and package sources
# are this machine's: resolver, hosts, proxies, certificates and apt's own settings are
# carried over, and its Debian mirrors with the release's name put in. The bare folder is kept
# as build/bare/RELEASE.tar, so that a second run is quick; remove that to make it anew.
# Everything is mounted and runs in name spaces that end with this script, so nothing is left
# mounted or running however it ends.

set -eu

fail()
{
	status=$1
	shift
	echo "bare: $*" >&2
	exit "$status"
}

case ${1-} in
bookworm | trixie) release=$1 ;;
*) fail 2 "usage: $0 bookworm|trixie [COMMAND...]" ;;
esac
shift
[ $# -gt 0 ] || set -- 'make demo DEMO_FOR=20' 'make test'
[ "$(id -u)" = 0 ] || fail 1 "needs root for debootstrap and chroot: run it as root"

top=$(cd "$(dirname "$0")/../.." && pwd)
cache=$top/build/bare
tar=$cache/$release.tar
log=$cache/$release.log
bare=$cache/$release
here=$top/tests/bare

# apt's Debian sources of this machine, one `URI SUITE COMPONENT` a line.
host_sources()
{
	apt-get indextargets --format '$(ORIGIN) $(REPO_URI) $(RELEASE) $(COMPONENT)' \
		'Created-By: Packages' | sed -n 's/^Debian //p' | sort -u
}

host_release()
{
	. /etc/os-release
	echo "$VERSION_CODENAME"
}

sources()
{
	host_sources | sed "s| $(host_release)| $release|" | while read -r uri suite component; do
		echo "deb $uri $suite $component"
	done
}

make_tar()
{
	host=$(host_release)
	mirror=$(host_sources | sed -n "s| $host main\$||p" | head -n 1)
	[ -n "$mirror" ] || fail 1 "apt here has no Debian source of $host: run apt-get update"
	rm -rf "$bare"
	unshare --mount debootstrap --variant=minbase "$release" "$bare" "$mirror" >"$log" 2>&1 ||
		{ tail -n 5 "$log" >&2; fail 1 "debootstrap could not make a bare $release"; }
	rm -rf "$bare"/var/cache/apt/archives/*.deb "$bare"/var/lib/apt/lists/*
	tar -C "$bare" -cf "$tar.new" .
	mv "$tar.new" "$tar"
}

# What this machine reaches the network with, and how apt is to behave here.
carry_over()
{
	cp -L /etc/resolv.conf /etc/hosts "$bare/etc/"
	rm -f "$bare"/etc/apt/sources.list.d/*
	sources >"$bare/etc/apt/sources.list"
	# `::` after the name of a list's items, and Post-Invoke hooks, are this machine's affair.
	apt-config dump |
		grep -E '^Acquire::(http|https|Retries|Check-|ForceIPv)' >"$bare/etc/apt/apt.conf.d/50host" ||
		true
	if [ -d /etc/ssl/certs ]; then
		mkdir -p "$bare/etc/ssl/certs"
		cp -L /etc/ssl/certs/ca-certificates.crt "$bare/etc/ssl/certs/" 2>/dev/null || true
	fi
	# Beside the release's own, which its packages make anew.
	[ -z "$npm_cafile" ] || cp -L "$npm_cafile" "$bare/etc/ssl/npm.crt"
}

# Runs the command line $1 in the bare folder, in name spaces of its own. In the background, so
# that a signal to this script is heard at once; `wait` does the waiting.
in_bare()
{
	env -i --default-signal=INT,QUIT HOME=/root LANG=C.UTF-8 PATH=/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin \
		DEBIAN_FRONTEND=noninteractive \
		${http_proxy:+http_proxy="$http_proxy"} ${https_proxy:+https_proxy="$https_proxy"} \
		${no_proxy:+no_proxy="$no_proxy"} \
		${npm_registry:+npm_config_registry="$npm_registry"} \
		${npm_cafile:+npm_config_cafile=/etc/ssl/npm.crt} \
		setpriv --pdeathsig KILL unshare --mount --pid --ipc --uts --fork --kill-child \
		sh "$here/enter.sh" "$bare" "$1" >>"$log" 2>&1 </dev/null &
	inside=$!
	wait "$inside"
}

# Killing unshare kills all in its process name space, and its mounts end with them.
clean_up()
{
	[ -z "$inside" ] || kill -KILL "$inside" 2>/dev/null || true
	wait
	rm -rf "$bare"
}

# $1: what it is called; $2: the command line.
check()
{
	begin=$(date +%s)
	verdict=PASS
	echo "== $release: $2" >>"$log"
	before=$(wc -l <"$log")
	in_bare "$2" || verdict=FAIL
	echo "$verdict $release: $1 ($(($(date +%s) - begin)) s)"
	[ "$verdict" = PASS ] || { sed "1,${before}d" "$log" | tail -n 20 >&2; failed=1; }
}

mkdir -p "$cache"
# One run a release at a time.
exec 9>"$cache/$release.lock"
flock -n 9 || fail 1 "another run for $release is going on"
npm_registry=$(npm config get registry 2>/dev/null || true)
npm_cafile=$(npm config get cafile 2>/dev/null | grep -vx null || true)
inside=
trap clean_up EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

: >"$log"
failed=0
[ -f "$tar" ] || make_tar
rm -rf "$bare"
mkdir "$bare"
tar -C "$bare" -xf "$tar"
carry_over
git -C "$top" diff --quiet HEAD || echo "bare: changes that are not committed are not tested" >&2
git clone -q --no-hardlinks "file://$top" "$bare/root/postwalk"

check 'apt-get install git make' \
	'cd / && apt-get -qq update && apt-get -qq -y --no-install-recommends install git make'
for command in "$@"; do
	check "$command" "$command"
done
echo "log of $release: build/bare/$release.log"
exit "$failed"
