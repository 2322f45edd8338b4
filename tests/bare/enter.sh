#!/bin/sh
# The inner half of bare.sh: in fresh mount and process name spaces, makes DIR look like a
# booted machine and runs one command line in its clone. All mounts end with the name space.
#
#	tests/bare/enter.sh DIR COMMAND

set -eu
dir=$1
command=$2

mount --bind "$dir" "$dir"
mount -t proc proc "$dir/proc"
mount -t sysfs -o ro sysfs "$dir/sys" 2>/dev/null || true
mount -t tmpfs -o mode=755 dev "$dir/dev"
for node in null zero full random urandom tty; do
	: >"$dir/dev/$node"
	mount --bind "/dev/$node" "$dir/dev/$node"
done
mkdir "$dir/dev/pts" "$dir/dev/shm"
mount -t devpts -o newinstance,ptmxmode=666 devpts "$dir/dev/pts"
mount -t tmpfs -o mode=1777 shm "$dir/dev/shm"
ln -s pts/ptmx "$dir/dev/ptmx"
ln -s /proc/self/fd "$dir/dev/fd"
ln -s fd/0 "$dir/dev/stdin"
ln -s fd/1 "$dir/dev/stdout"
ln -s fd/2 "$dir/dev/stderr"
mount -t tmpfs -o mode=1777 tmp "$dir/tmp"
mount -t tmpfs -o mode=755 run "$dir/run"
mkdir -p "$dir/run/lock"
# `exit` keeps the shell as the first process, which takes in orphans as init does.
exec chroot "$dir" /bin/sh -c "cd /root/postwalk && $command
exit"
