# SPDX-License-Identifier: Apache-2.0
"""A bad way between buses and their office: it cuts, delays, loses answers, sends twice and late.

HTTP/1.1 with Content-Length on both sides, which is all that docs/protocol.md has. Every receipt that
the office gives is noted, whether its bus ever sees it or not: what was receipted has to be kept.
"""

import http.client
import json
import random
import socket
import socketserver
import threading

FATES = (("pass", 58), ("slow", 8), ("lost", 10), ("cut", 8), ("twice", 8), ("late", 8))


def read_request(stream):
    """(head, body), or None at the end of the stream."""
    head = b""
    while not head.endswith(b"\r\n\r\n"):
        line = stream.readline(65536)
        if not line:
            return None
        head += line
    length = 0
    for line in head.split(b"\r\n")[1:]:
        name, _, value = line.partition(b":")
        if name.strip().lower() == b"content-length":
            length = int(value)
    body = stream.read(length)
    return (head, body) if len(body) == length else None


class Proxy:
    """One port for all buses. `calm` lets everything through as it is."""

    def __init__(self, upstream_port, seed):
        self.upstream_port = upstream_port
        self.random = random.Random(seed)
        self.lock = threading.Lock()
        self.calm = False
        self.uploads = 0       # of records and alerts, that came here
        self.fates = {name: 0 for name, _ in FATES}
        self.receipts = set()  # (receipt, bus, epoch, seq, hash)
        self.refused = []      # answers of 400 and above that are no 409, 429 or 503
        self.late = []
        proxy = self

        class Handler(socketserver.StreamRequestHandler):
            def handle(self):
                proxy.serve(self.rfile, self.connection)

        class Server(socketserver.ThreadingTCPServer):
            allow_reuse_address = True
            daemon_threads = True
            request_queue_size = 256

            def handle_error(self, request, client_address):
                pass

        self.server = Server(("127.0.0.1", 0), Handler)
        self.port = self.server.server_address[1]
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def stop(self):
        self.server.shutdown()
        self.server.server_close()
        for timer in self.late:
            timer.join()

    def draw(self, is_upload):
        with self.lock:
            self.uploads += is_upload
            names, weights = zip(*FATES)
            fate = "pass" if self.calm else self.random.choices(names, weights)[0]
            self.fates[fate] += is_upload
            return fate, self.random.random()

    def serve(self, stream, client):
        while (request := read_request(stream)) is not None:
            first = request[0].split(b" ", 2)
            is_upload = first[0] == b"POST" and (b"/records" in first[1] or b"/alert" in first[1])
            fate, chance = self.draw(is_upload)
            answer = self.suffer(request, fate, chance)
            if answer is None:
                client.shutdown(socket.SHUT_RDWR)
                return
            client.sendall(answer)

    def suffer(self, request, fate, chance):
        """The answer for the client, or None: it is hung up on."""
        if fate == "cut":
            self.forward_part(request, chance)
            return None
        if fate == "late":
            timer = threading.Timer(1 + 7 * chance, self.forward, [request])
            with self.lock:
                self.late.append(timer)
            timer.start()
            return None
        if fate == "slow":
            threading.Event().wait(3 * chance)
        if fate == "twice":
            self.forward(request)
        answer = self.forward(request)
        return None if fate == "lost" else answer

    def forward_part(self, request, chance):
        whole = request[0] + request[1]
        try:
            with socket.create_connection(("127.0.0.1", self.upstream_port), 10) as office:
                office.sendall(whole[:int(len(whole) * chance)])
        except OSError:
            pass

    def forward(self, request):
        try:
            with socket.create_connection(("127.0.0.1", self.upstream_port), 10) as office:
                office.settimeout(60)
                office.sendall(request[0] + request[1])
                answer = http.client.HTTPResponse(office, method=request[0].split(b" ")[0].decode())
                answer.begin()
                body = answer.read()
        except (OSError, http.client.HTTPException):
            return None
        self.note(request[0].split(b"\r\n")[0].decode(), answer.status, body)
        head = f"HTTP/1.1 {answer.status} {answer.reason}\r\n"
        for name, value in answer.getheaders():
            if name.lower() not in ("content-length", "connection", "transfer-encoding"):
                head += f"{name}: {value}\r\n"
        return (head + f"Content-Length: {len(body)}\r\n\r\n").encode() + body

    def note(self, asked, status, body):
        try:
            said = json.loads(body)
        except ValueError:
            return
        with self.lock:
            if status == 200 and "receipt" in said:
                self.receipts.add((said["receipt"], said["bus"], said["epoch"], said["seq"],
                                   said["hash"]))
            if status >= 400 and status not in (409, 429, 503):
                self.refused.append((asked, status, body.decode("utf-8", "replace")))
