#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""What docs/threats.md and docs/office.md say of journals that are put back, cloned, replaced or damaged,
of an office whose disk is full and of one that is not the one that was enrolled with: the real programs,
a story each. Another bus delivers beside each story, and must not be held up.

    stories.py [--store sqlite|postgresql] [STORY...]

The last line is `N passed, M failed`.
"""

import argparse
import os
import shutil
import sys
import tempfile
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import yard


def make_stop(bus):
    """A run and its key-off, which is sealed."""
    bus.set("ignition=1")
    time.sleep(0.3)
    bus.set("ignition=0")
    time.sleep(0.2)


def begin(bus):
    bus.watch.start()
    yard.until(f"{bus.name} to answer", 20, lambda: bus.status().get("bus") == bus.name
               and os.path.exists(f"{bus.state}/bench.sock"))
    bus.uplink.start()


def deliver(bus):
    """All that is sealed, with an uplink that waits for nothing from before."""
    bus.uplink.kill()
    bus.uplink.start()
    try:
        yard.until(f"{bus.name} to have delivered all", 40, bus.delivered)
    except yard.Failed as e:
        raise yard.Failed(f"{e}: {bus.status().get('delivery')}") from None


class Story:
    def __init__(self, dir, choice):
        self.dir = dir
        os.mkdir(dir)
        os.chmod(dir, 0o755)
        self.store, self.mounted = None, False
        if choice.store == "postgresql":
            self.store = yard.Postgres(f"{dir}/pg")
            self.store.start()
        self.office_dir = f"{dir}/office"
        self.office = yard.Office(self.office_dir, self.store)
        self.buses = []

    def make_small(self):
        """The office's folder becomes a file system with little room."""
        with open(f"{self.office_dir}/office.conf", encoding="utf-8") as file:
            conf = file.read()
        yard.run("mount", "-t", "tmpfs", "-o", "size=4m", "none", self.office_dir)
        self.mounted = True
        with open(f"{self.office_dir}/office.conf", "w", encoding="utf-8") as file:
            file.write(conf)

    def bus(self, name, state=None):
        bus = yard.Bus(f"{self.dir}/{name}-{len(self.buses)}", name)
        self.buses.append(bus)
        if state:
            shutil.rmtree(bus.state)
            yard.copy_folder(state, bus.state)
        return bus

    def enrolled(self, name):
        bus = self.bus(name)
        bus.watch.start()
        yard.until(f"{name} to be watched", 20, lambda: os.path.exists(f"{bus.state}/bench.sock")
                   and os.path.exists(f"{bus.state}/bus.pub"))
        bus.enrol(self.office, f"http://127.0.0.1:{self.office.port}")
        bus.uplink.start()
        make_stop(bus)
        deliver(bus)
        return bus

    def matters(self):
        return [yard.json.loads(line) for line in
                self.office.say("matters", "--json").splitlines()]

    def expect_matter(self, kind, bus):
        yard.until(f"a matter {kind} of {bus.name}", 20, lambda: any(
            m["kind"] == kind and m["bus"] == bus.name for m in self.matters()))
        for m in self.matters():
            if m["kind"] == kind:
                print(f"        {m['words']}")

    def expect_all_of(self, bus):
        """Every sealed record of it is in the office, once; it is stopped for that."""
        up_to = bus.receipted()
        bus.stop()
        journal = bus.records(up_to)
        kept = []
        for epoch, branch in self.branches(bus, {r[0] for r in journal}):
            kept += self.exported(bus, epoch, branch)
        missing = set(journal) - set(kept)
        if missing:
            raise yard.Failed(f"expected all of {bus.name}, and {len(missing)} records are missing")

    def branches(self, bus, epochs):
        for epoch in sorted(epochs):
            for branch in range(4):
                if self.exported(bus, epoch, branch):
                    yield epoch, branch

    def exported(self, bus, epoch, branch):
        text = self.office.say("export", bus.name, "--epoch", epoch, "--branch", str(branch), check=False)
        said = [yard.json.loads(line) for line in text.splitlines()]
        return [(s["epoch"], s["seq"], s["hash"]) for s in said if "seq" in s]

    def end(self):
        for bus in self.buses:
            bus.kill()
        self.office.kill()
        if self.store:
            self.store.kill()
        if self.mounted:
            yard.run("umount", self.office_dir)


# -- the stories ----------------------------------------------------------------------------------------

def put_back(s, other):
    """The whole state folder of Monday is put back on Friday."""
    bus = s.enrolled("bus-11")
    bus.stop()
    yard.copy_folder(bus.state, f"{s.dir}/monday")
    begin(bus)
    for _ in range(3):
        make_stop(bus)
    deliver(bus)
    up_to = bus.receipted()
    bus.stop()
    week = bus.records(up_to)
    shutil.rmtree(bus.state)
    yard.copy_folder(f"{s.dir}/monday", bus.state)
    begin(bus)
    make_stop(bus)
    deliver(bus)
    s.expect_matter("fork", bus)
    s.expect_all_of(bus)
    kept = [r for e, b in s.branches(bus, {week[0][0]}) for r in s.exported(bus, e, b)]
    if set(week) - set(kept):
        raise yard.Failed("expected the week that was taken back to be kept")


def cloned(s, other):
    """Two boards with one card: both are kept, and it is told."""
    bus = s.enrolled("bus-12")
    bus.stop()
    clone = s.bus("bus-12", bus.state)
    begin(bus)
    begin(clone)
    for each in (bus, clone):
        for _ in range(2):
            make_stop(each)
        deliver(each)
    s.expect_matter("fork", bus)
    s.expect_all_of(bus)
    s.expect_all_of(clone)


def replaced(s, other):
    """A new card, with a new key, for the same bus: a person decides."""
    bus = s.enrolled("bus-13")
    bus.stop()
    new = s.bus("bus-13")
    new.watch.start()
    yard.until("the new card to be watched", 20, lambda: os.path.exists(f"{new.state}/bench.sock")
               and os.path.exists(f"{new.state}/bus.pub"))
    new.enrol(s.office, f"http://127.0.0.1:{s.office.port}", waits=True)
    new.uplink.start()
    make_stop(new)
    s.expect_matter("key", bus)
    if new.delivered():
        raise yard.Failed("expected nothing of the new key to be taken before somebody decided")
    s.office.say("accept", "bus-13", "--by", "d-12", "--words", "a new card, by telephone")
    deliver(new)
    s.expect_all_of(new)


def damaged(s, other):
    """A journal with a broken page: the bus begins a new one and says so; the old one can be taken in."""
    bus = s.enrolled("bus-14")
    bus.stop()
    for name in ("journal.db-wal", "journal.db-shm"):
        if os.path.exists(f"{bus.state}/{name}"):
            os.remove(f"{bus.state}/{name}")
    with open(f"{bus.state}/journal.db", "r+b") as journal:
        journal.seek(4096 * 2 + 100)
        journal.write(b"\xff" * 2000)
    begin(bus)
    make_stop(bus)
    deliver(bus)
    s.expect_matter("journal", bus)
    s.expect_all_of(bus)


def disk_full(s, other):
    """Nothing is receipted that is not kept, and nothing is lost."""
    bus = s.enrolled("bus-15")
    fill = f"{s.office_dir}/fill"
    with open(fill, "wb") as file:
        try:
            while True:
                file.write(b"\0" * 65536)
                file.flush()
        except OSError:
            pass
    for _ in range(3):
        make_stop(bus)
    bus.uplink.kill()
    bus.uplink.start()
    yard.until("the office to have no room", 20, lambda: "full" in open(f"{s.office_dir}.log",
               encoding="utf-8", errors="replace").read())
    if bus.delivered():
        raise yard.Failed("expected nothing to be receipted by an office without room")
    os.remove(fill)
    deliver(bus)
    s.expect_all_of(bus)


def another_office(s, other):
    """Somebody answers in the office's place, with a key of his own: no receipt of his counts."""
    bus = s.enrolled("bus-16")
    before = bus.receipted()
    s.office.stop()
    for name in ("office.key", "office.pub"):
        os.rename(f"{s.office_dir}/{name}", f"{s.dir}/{name}")
    s.office.start()
    make_stop(bus)
    bus.uplink.kill()
    bus.uplink.start()
    yard.until("the bus to refuse it", 20, lambda: bus.status().get("delivery", {}).get("state") == "refused")
    print(f"        {bus.status()['delivery']['words']}")
    if bus.receipted() != before:
        raise yard.Failed("expected no receipt of another office")
    s.office.stop()
    for name in ("office.key", "office.pub"):
        os.replace(f"{s.dir}/{name}", f"{s.office_dir}/{name}")
    s.office.start()
    deliver(bus)
    s.expect_all_of(bus)


STORIES = (put_back, cloned, replaced, damaged, disk_full, another_office)


def tell(story, dir, choice):
    s = Story(dir, choice)
    try:
        if story is disk_full:
            s.make_small()
        s.office.start()
        other = s.enrolled("bus-30")
        story(s, other)
        make_stop(other)
        deliver(other)
        s.expect_all_of(other)
    finally:
        s.end()


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--store", choices=["sqlite", "postgresql"], default="sqlite")
    options.add_argument("stories", nargs="*")
    choice = options.parse_args()
    dir = tempfile.mkdtemp(prefix="postwalk-stories-")
    os.chmod(dir, 0o755)
    passed = failed = 0
    for story in STORIES:
        if choice.stories and story.__name__ not in choice.stories:
            continue
        begun = time.monotonic()
        try:
            tell(story, f"{dir}/{story.__name__}", choice)
            passed += 1
            print(f"    ok  {story.__name__} ({time.monotonic() - begun:.0f} s)", flush=True)
        except (yard.Failed, OSError, KeyError, IndexError) as e:
            failed += 1
            print(f"not so: {story.__name__}: {e!r}", flush=True)
    if not failed:
        shutil.rmtree(dir, ignore_errors=True)
    else:
        print(f"kept: {dir}")
    print(f"{passed} passed, {failed} failed")
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())
