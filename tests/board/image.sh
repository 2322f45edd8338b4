#!/bin/sh
# Makes what the emulated board boots: a root file system in memory with the programs to test.
#
#	tests/board/image.sh OUTDIR FILE...
#
# OUTDIR is one that sysroot.sh filled. An arm64 program among FILE goes to /bin, with the
# shared libraries that it names; anything else goes to /etc. Leaves:
#
#	OUTDIR/initrd.gz	the root: busybox, the programs, tests/board/init
#	OUTDIR/state.ext4	an empty disk; copy it before use
#
# Status 1 and one sentence when it fails.

set -eu

lib=usr/lib/aarch64-linux-gnu

fail()
{
	echo "image: $*" >&2
	exit 1
}

[ $# -ge 2 ] || { echo "usage: $0 OUTDIR FILE..." >&2; exit 2; }
here=$(cd "$(dirname "$0")" && pwd)
out=$(cd "$1" && pwd)
shift
[ -f "$out/sysroot.stamp" ] || fail "no sysroot in $out: run $here/sysroot.sh first"
root=$out/root
rm -rf "$root"
mkdir -p "$root/bin" "$root/dev" "$root/etc" "$root/proc" "$root/run" "$root/state" \
	"$root/sys" "$root/tmp" "$root/$lib"
ln -s usr/lib "$root/lib"

needed()
{
	aarch64-linux-gnu-readelf -d "$1" | sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p'
}

# The libraries that $1 names, and those that they name.
take_libraries()
{
	for name in $(needed "$1"); do
		[ ! -e "$root/$lib/$name" ] || continue
		[ -e "$out/sysroot/$lib/$name" ] || fail "$1 needs $name, which the sysroot lacks"
		cp -L "$out/sysroot/$lib/$name" "$root/$lib/$name"
		(take_libraries "$root/$lib/$name")
	done
}

for file in "$@"; do
	[ -f "$file" ] || fail "no such file: $file"
	if aarch64-linux-gnu-readelf -h "$file" 2>/dev/null | grep -q AArch64; then
		cp "$file" "$root/bin/"
		take_libraries "$file"
	else
		cp "$file" "$root/etc/"
	fi
done
cp -L "$out/sysroot/lib/ld-linux-aarch64.so.1" "$root/lib/"
cp -L "$out/sysroot/bin/busybox" "$root/bin/busybox"
for tool in cat date dd df dmesg grep hwclock ifconfig insmod kill ls mkdir mount ps rm sed sh \
	stty sync tail true umount wc wget; do
	ln -s busybox "$root/bin/$tool"
done
echo 'root:x:0:0::/:/bin/sh
nobody:x:65534:65534::/:/bin/false' >"$root/etc/passwd"
echo 'root:x:0:
nogroup:x:65534:' >"$root/etc/group"
cp -r "$out/modules" "$root/modules"
cp "$here/init" "$root/init"
(cd "$root" && find . | cpio --quiet -o -H newc -R 0:0) | gzip -1 >"$out/initrd.new"
mv "$out/initrd.new" "$out/initrd.gz"

rm -f "$out/state.ext4"
truncate -s 32M "$out/state.ext4"
/sbin/mkfs.ext4 -q -F "$out/state.ext4" || fail "mkfs.ext4 could not make $out/state.ext4"
