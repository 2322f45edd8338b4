# SPDX-License-Identifier: Apache-2.0
"""The real programs of a yard, for tests: buses on the bench board, their uplinks, an office, and where
it is asked for a PostgreSQL server. Everything lives in one temporary folder.
"""

import glob
import json
import os
import pwd
import shutil
import signal
import socket
import sqlite3
import subprocess
import time

POSTWALK = os.environ.get("POSTWALK", "build/postwalk")
POSTWALKD = os.environ.get("POSTWALKD", "build/postwalkd")
POSTWALK_OFFICE = os.environ.get("POSTWALK_OFFICE", "build/postwalk-office")

POLICY = """[bus]
id = {bus}
[page]
listen = 127.0.0.1:{port}
[walk]
rows = 1
aisle_m = 1
pace_mps = 1
look_s = 0
[sweep]
due_s = 6.1
carried_due_s = 6.1
restart_s = 5
[line ignition]
settle_ms = 100
[line rear_button]
[line service_door]
[line beeper]
[rung cabin]
after_s = 0
outputs = beeper
pattern = 250 150
[rung office]
after_s = 1
outputs = beeper
pattern = 400 400
notify = yes
"""


class Failed(Exception):
    """What did not come, in a sentence."""


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def until(what, seconds, is_so):
    """Waits for something that comes by itself."""
    end = time.monotonic() + seconds
    while not is_so():
        if time.monotonic() > end:
            raise Failed(f"expected {what} within {seconds} s")
        time.sleep(0.05)


def run(*command, check=True):
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    if check and done.returncode:
        raise Failed(f"{' '.join(command)}: status {done.returncode}: {done.stderr.strip()}")
    return done.stdout


class Process:
    """A program in a session of its own, so that all of it can be killed."""

    def __init__(self, log, *command, **more):
        self.command, self.log, self.more, self.child = command, log, more, None

    def start(self):
        with open(self.log, "ab") as log:
            self.child = subprocess.Popen(self.command, stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                                          start_new_session=True, **self.more)

    def runs(self):
        return self.child is not None and self.child.poll() is None

    def kill(self):
        """All of it, at once, as when power goes."""
        if self.child is not None:
            try:
                os.killpg(self.child.pid, signal.SIGKILL)
            except ProcessLookupError:
                pass
            self.child.wait()
            self.child = None

    def stop(self, seconds=30):
        """In order. Its status."""
        if self.child is None:
            return 0
        self.child.send_signal(signal.SIGTERM)
        try:
            status = self.child.wait(seconds)
        except subprocess.TimeoutExpired:
            self.kill()
            raise Failed(f"{self.command[0]} does not stop within {seconds} s") from None
        self.child = None
        return status


class Postgres:
    """A server of its own, with nothing turned off that keeps a commit."""

    def __init__(self, dir):
        self.bin = sorted(glob.glob("/usr/lib/postgresql/*/bin"))[-1]
        self.dir, self.port = dir, free_port()
        self.as_user = {}
        os.mkdir(dir)
        if os.getuid() == 0:
            user = pwd.getpwnam("postgres")
            os.chown(dir, user.pw_uid, user.pw_gid)
            self.as_user = {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}
        subprocess.run([f"{self.bin}/initdb", "-D", f"{dir}/data", "-A", "trust", "-U", "office", "--no-sync"],
                       stdout=subprocess.DEVNULL, check=True, cwd=dir, **self.as_user)
        self.url = f"postgresql://office@127.0.0.1:{self.port}/postgres"
        self.process = Process(f"{dir}.log", f"{self.bin}/postgres", "-D", f"{dir}/data", "-k", dir,
                               "-p", str(self.port), "-c", "listen_addresses=127.0.0.1", cwd=dir, **self.as_user)

    def start(self):
        self.process.start()
        until("PostgreSQL to answer", 60, lambda: subprocess.run(
            ["psql", "-Xqtc", "SELECT 1", self.url], capture_output=True, check=False).returncode == 0)

    def kill(self):
        self.process.kill()

    def stop(self):
        self.process.stop()

    def number(self, sql):
        return int(run("psql", "-Xqt", "-c", "SET search_path TO postwalk", "-c", sql, self.url))


class Office:
    def __init__(self, dir, store=None):
        self.dir, self.port, self.store = dir, free_port(), store
        os.mkdir(dir)
        with open(f"{dir}/office.conf", "w", encoding="utf-8") as conf:
            conf.write(f"[office]\nlisten = 127.0.0.1:{self.port}\n")
            if store:
                conf.write(f"store = {store.url}\n")
        self.process = Process(f"{dir}.log", POSTWALK_OFFICE, "serve", "--office", dir)

    def answers(self):
        try:
            with socket.create_connection(("127.0.0.1", self.port), 1):
                return True
        except OSError:
            return False

    def start(self):
        self.process.start()
        until("the office to listen", 30, self.answers)

    def kill(self):
        self.process.kill()

    def stop(self):
        return self.process.stop()

    def say(self, *command, check=True):
        return run(POSTWALK_OFFICE, command[0], "--office", self.dir, *command[1:], check=check)

    def number(self, sql):
        """Of the store, with the office at rest."""
        if self.store:
            return self.store.number(sql)
        with sqlite3.connect(f"file:{self.dir}/office.db?mode=ro", uri=True) as db:
            return db.execute(sql).fetchone()[0]


class Bus:
    def __init__(self, dir, name):
        self.dir, self.name, self.port = dir, name, free_port()
        self.state = f"{dir}/state"
        os.mkdir(dir)
        os.mkdir(self.state)
        with open(f"{dir}/policy.conf", "w", encoding="utf-8") as conf:
            conf.write(POLICY.format(bus=name, port=self.port))
        self.watch = Process(f"{dir}.log", POSTWALKD, "--config", f"{dir}/policy.conf", "--board", "bench",
                             "--state", self.state)
        self.uplink = Process(f"{dir}.uplink.log", POSTWALK, "uplink", "--state", self.state)

    def start(self):
        self.watch.start()
        until(f"{self.name} to be watched", 20, lambda: os.path.exists(f"{self.state}/bench.sock")
              and os.path.exists(f"{self.state}/bus.pub"))

    def enrol(self, office, url, waits=False):
        """waits: a person has to decide, which is status 1."""
        code = office.say("enrol", self.name).splitlines()[-1].split()[1]
        run(POSTWALK, "enrol", "--state", self.state, "--to", url, "--code", code, check=not waits)

    def set(self, *levels):
        run(POSTWALK, "bench", f"{self.state}/bench.sock", *levels)

    def status(self):
        try:
            return json.loads(run(POSTWALK, "status", "--url", f"http://127.0.0.1:{self.port}", "--json"))
        except (Failed, ValueError):
            return {}

    def delivered(self):
        """All that is sealed is receipted, beside whatever else there is to say."""
        how = self.status().get("delivery", {})
        return how.get("state") == "done" or how.get("words", "").startswith("delivered, ")

    def records(self, up_to):
        """(epoch, seq, hash) of what is sealed, the watch being stopped. An orderly stop seals once more,
        when there is nobody left to deliver it: up_to is what had been receipted.
        """
        taken, waiting = [], []
        for line in run(POSTWALK, "export", self.state).splitlines():
            said = json.loads(line)
            if "seq" in said and said["seq"] <= up_to:
                waiting.append((said["epoch"], said["seq"], said["hash"]))
            elif "seal" in said:
                taken += waiting
                waiting = []
        return taken

    def receipted(self):
        return self.status()["delivery"]["receipted"]

    def stop(self):
        self.uplink.stop()
        self.watch.stop()

    def kill(self):
        self.uplink.kill()
        self.watch.kill()


def copy_folder(source, target):
    shutil.copytree(source, target, ignore=lambda _, names: [n for n in names if n.endswith(".sock")])
