#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""A receiver of webhooks on loopback: Python's http.server.

    web_receiver.py FOLDER [--tls CERT KEY]

Prints its port, then one JSON line a request: method, path, headers, and the number N of FOLDER/N.body.
Answers by the path: /200, /204, /500 ...; a redirect to /200; /count/N: 503 to the first N requests, then
200; /silent: nothing, ever. Ends when its standard input does.
"""
import http.server
import json
import os
import ssl
import sys
import threading

folder = sys.argv[1]
lock = threading.Lock()
count = 0


class Handler(http.server.BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def answer(self, body):
        global count
        with lock:
            count += 1
            number = count
            with open(f"{folder}/{number}.body", "wb") as file:
                file.write(body)
            print(json.dumps({"method": self.command, "path": self.path, "number": number,
                              "headers": {k.lower(): v for k, v in self.headers.items()}}), flush=True)
        return number

    def do_POST(self):
        number = self.answer(self.rfile.read(int(self.headers["Content-Length"])))
        parts = self.path.strip("/").split("/")
        if parts[0] == "silent":
            threading.Event().wait()
        status = int(parts[0]) if parts[0] != "count" else 503 if number <= int(parts[1]) else 200
        self.send_response(status)
        if 300 <= status <= 399:
            self.send_header("Location", "/200")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def do_GET(self):
        self.answer(b"")
        self.send_response(200)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, *args):
        pass


server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
server.daemon_threads = True
server.handle_error = lambda request, address: None  # a sender that was killed
if "--tls" in sys.argv:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*sys.argv[3:5])
    server.socket = context.wrap_socket(server.socket, server_side=True)
print(server.server_address[1], flush=True)
threading.Thread(target=server.serve_forever, daemon=True).start()
sys.stdin.read()
os._exit(0)
