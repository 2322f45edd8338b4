#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Requests a second of the page at $PORT against nginx serving the same bytes as files, by the same
# client, turn by turn: the median of 5 each.
#
#	PORT=8787 tests/bench/against.sh

set -eu
dir=$(mktemp -d)
trap 'kill "$nginx" 2>/dev/null; rm -rf "$dir"' EXIT
mkdir "$dir/files"
chmod -R a+rx "$dir"
other=$((PORT > 40000 ? PORT - 9973 : PORT + 9973))
cat >"$dir/conf" <<EOF
daemon off;
worker_processes 1;
pid $dir/pid;
error_log $dir/log;
events { worker_connections 256; }
http {
	access_log off;
	sendfile on;
	tcp_nopush on;
	keepalive_requests 1000000000;
	open_file_cache max=16;
	server {
		listen 127.0.0.1:$other;
		root $dir/files;
		index page;
	}
}
EOF
curl -sf "http://127.0.0.1:$PORT/status.json" -o "$dir/files/status.json"
curl -sf "http://127.0.0.1:$PORT/" -o "$dir/files/page"
chmod a+r "$dir"/files/*
"$(command -v nginx || echo /usr/sbin/nginx)" -c "$dir/conf" &
nginx=$!
for _ in $(seq 100); do
	curl -sf "http://127.0.0.1:$other/status.json" -o "$dir/got" && break
	read -rt 0.05 <> <(:) || :
done
cmp -s "$dir/got" "$dir/files/status.json" || { echo "nginx does not serve the bytes" >&2; exit 1; }

turn()
{
	wrk -t1 -c8 -d2s "http://127.0.0.1:$1$2" | awk '/Requests\/sec/ { print $2 }
		/Non-2xx/ { exit 1 }'
}
for path in /status.json /; do
	name=$([ "$path" = / ] && echo page || echo json)
	: >"$dir/ours"
	: >"$dir/theirs"
	for _ in 1 2 3 4 5; do
		turn "$PORT" "$path" >>"$dir/ours"
		turn "$other" "$path" >>"$dir/theirs"
	done
	ours=$(sort -n "$dir/ours" | sed -n 3p) theirs=$(sort -n "$dir/theirs" | sed -n 3p)
	echo "${name}_rps $ours"
	echo "${name}_nginx_rps $theirs"
	awk -v name="$name" -v a="$ours" -v b="$theirs" 'BEGIN { printf "%s_ratio %.2f\n", name, a / b }'
done
# What a browser loads for the driver's page: all of it is ours.
weight=0
for path in / /style.css /dark.css /page.js; do
	weight=$((weight + $(curl -sf "http://127.0.0.1:$PORT$path" | wc -c)))
done
echo "page_weight_bytes $weight"
