#!/bin/sh
# Fetches what the emulated board is made of: an arm64 kernel, the modules for its disk, and
# the arm64 libraries and headers to build and run Postwalk with.
#
#	tests/board/sysroot.sh OUTDIR
#
# All comes from this machine's own Debian release, by apt with its own configuration and a
# state folder of its own in OUTDIR; nothing is installed on this machine. Leaves:
#
#	OUTDIR/sysroot/		for aarch64-linux-gnu-gcc --sysroot (see board.mk)
#	OUTDIR/vmlinuz		the kernel
#	OUTDIR/modules/		NN-NAME.ko, to be inserted in this order: ext4 over virtio
#
# A second run finds the stamp and fetches nothing; remove OUTDIR to fetch anew.
# Needs what etc/packages/board.txt lists. Status 1 and one sentence when it fails.

set -eu

libraries='busybox-static libc6-dev libgpiod-dev libinih-dev libjansson-dev libmicrohttpd-dev
	libsodium-dev libsqlite3-dev'
kernel_package=linux-image-arm64
modules='virtio_mmio virtio_blk ext4'

fail()
{
	echo "sysroot: $*" >&2
	exit 1
}

[ $# = 1 ] || { echo "usage: $0 OUTDIR" >&2; exit 2; }
mkdir -p "$1"
out=$(cd "$1" && pwd)
stamp=$out/sysroot.stamp
want="$(. /etc/os-release && echo "$ID $VERSION_ID") $(cksum <"$0")"
[ "$(cat "$stamp" 2>/dev/null)" != "$want" ] || exit 0

# Work in a folder beside, and put things in place at the end: an interrupted run leaves
# nothing that looks whole.
new=$out/new
rm -rf "$new" "$stamp"
mkdir -p "$new/apt/lists/partial" "$new/apt/archives/partial" "$new/sysroot" "$new/kernel" \
	"$new/modules"
: >"$new/apt/status"
trap 'rm -rf "$new"' EXIT

# $1: apt-get or apt-cache. An empty status file makes apt count nothing as installed, so
# that it fetches every dependency.
arm64()
{
	tool=$1
	shift
	"$tool" -qq -oAPT::Architecture=arm64 -oAPT::Architectures=arm64 \
		-oAPT::Install-Recommends=0 -oAPT::Sandbox::User=root \
		-oDebug::NoLocking=1 -oDir::State="$new/apt" -oDir::State::Lists="$new/apt/lists" \
		-oDir::State::status="$new/apt/status" -oDir::Cache="$new/apt" \
		-oDir::Cache::archives="$new/apt/archives" "$@"
}

fetch()
{
	arm64 apt-get update
	# shellcheck disable=SC2086 # words are wanted
	arm64 apt-get -y --download-only install $libraries
	# The kernel alone: its dependencies are for a machine that boots by itself.
	kernel=$(arm64 apt-cache depends "$kernel_package" | sed -n 's/^ *Depends: //p' | head -n 1)
	(cd "$new/kernel" && arm64 apt-get download "$kernel")
}

unpack()
{
	for deb in "$new"/apt/archives/*.deb; do
		dpkg-deb -x "$deb" "$new/sysroot"
	done
	dpkg-deb -x "$new"/kernel/*.deb "$new/kernel"
}

# One /usr, as on an installed system, where packages still ship both; and no symbolic link
# that would lead out of the sysroot.
merge_usr()
{
	for dir in bin sbin lib; do
		if [ -d "$new/sysroot/$dir" ] && [ ! -L "$new/sysroot/$dir" ]; then
			cp -a "$new/sysroot/$dir/." "$new/sysroot/usr/$dir/"
			rm -r "$new/sysroot/$dir"
		fi
		rm -f "$new/sysroot/$dir"
		mkdir -p "$new/sysroot/usr/$dir"
		ln -s "usr/$dir" "$new/sysroot/$dir"
	done
	find "$new/sysroot" -type l -lname '/*' | while read -r link; do
		ln -sfn -r "$new/sysroot$(readlink "$link")" "$link"
	done
}

# Plain .ko files, decompressed, numbered in the order of their dependencies.
take_modules()
{
	tree=$new/kernel
	[ -d "$tree/lib/modules" ] || ln -s usr/lib "$tree/lib"
	version=$(ls "$tree/lib/modules")
	/sbin/depmod -b "$tree" "$version"
	for name in $modules; do
		/sbin/modprobe -d "$tree" -S "$version" --show-depends "$name"
	done | sed -n 's/^insmod \([^ ]*\).*/\1/p' | awk '!seen[$0]++' >"$new/modules.list"
	n=10
	while read -r module; do
		n=$((n + 1))
		name=$(basename "$module" .xz)
		case $module in
		*.xz) xz -dc "$module" >"$new/modules/$n-$name" ;;
		*) cp "$module" "$new/modules/$n-$name" ;;
		esac
	done <"$new/modules.list"
	[ "$n" -gt 10 ] || fail "no module found for: $modules"
}

fetch || fail "apt could not fetch the arm64 packages"
unpack || fail "a package could not be unpacked"
merge_usr
take_modules

rm -rf "$out/sysroot" "$out/modules"
mv "$new/sysroot" "$new/modules" "$out/"
mv "$new"/kernel/boot/vmlinuz-* "$out/vmlinuz"
echo "$want" >"$stamp"
