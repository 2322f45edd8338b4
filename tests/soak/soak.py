#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""Deliveries through everything that goes wrong, and an account of them afterwards.

    soak.py [--uploads N] [--buses N] [--seed S] [--store sqlite|postgresql] [--keep]

Real buses (postwalkd on the bench board, postwalk uplink) make stops and deliver them through a proxy that
cuts, delays, loses answers and sends twice and late, while office, store and uplinks are killed (-9) at
random. Then all is calm, what is left comes in, and the account is drawn up:

    lost      receipted by the office, and not in its store; or sealed on a bus, and not in the store
    double    in the store twice
    strange   in the store, and in no journal

The last line is `N passed, M failed`; the line before it counts.
"""

import argparse
import os
import random
import shutil
import sys
import tempfile
import threading
import time

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import proxy
import yard

ALERT_ONE_IN = 12  # stops that are left until the office has to hear of it


class Driver(threading.Thread):
    """Makes stops on one bus until told to end. Each is sealed, and so goes to the office."""

    def __init__(self, bus, seed):
        super().__init__(daemon=True)
        self.bus, self.random, self.over = bus, random.Random(seed), threading.Event()
        self.stops = 0
        self.failure = None

    def run(self):
        try:
            while not self.over.is_set():
                self.bus.set("ignition=1")
                self.over.wait(0.4 + self.random.random())
                self.bus.set("ignition=0")
                self.stops += 1
                long = self.random.randrange(ALERT_ONE_IN) == 0
                self.over.wait(8 if long else 0.4 + self.random.random())
            self.bus.set("ignition=1") # on the road: nothing more is sealed by itself
        except (yard.Failed, OSError) as e:
            self.failure = e


class Soak:
    def __init__(self, choice, dir):
        self.choice, self.dir = choice, dir
        self.random = random.Random(choice.seed)
        self.up_to = {} # by bus: the last receipt that it has
        self.kills = {"office": 0, "store": 0, "uplink": 0}
        self.store = yard.Postgres(f"{dir}/pg") if choice.store == "postgresql" else None
        if self.store:
            self.store.start()
        self.office = yard.Office(f"{dir}/office", self.store)
        self.office.start()
        self.proxy = proxy.Proxy(self.office.port, choice.seed)
        self.buses = [yard.Bus(f"{dir}/bus-{n:02}", f"bus-{n:02}") for n in range(1, choice.buses + 1)]
        self.drivers = [Driver(bus, choice.seed * 1000 + n) for n, bus in enumerate(self.buses)]

    def begin(self):
        self.proxy.calm = True
        for bus in self.buses:
            bus.start()
            bus.enrol(self.office, f"http://127.0.0.1:{self.proxy.port}")
            bus.uplink.start()
        for driver in self.drivers:
            driver.start()
        self.proxy.calm = False

    def restart(self, what, after_s):
        what.kill()
        time.sleep(after_s)
        what.start()

    def trouble(self):
        """One thing goes wrong, and comes back."""
        what = self.random.choice(["office", "store", "uplink", "uplink"])
        if what == "store" and self.store is None:
            what = "office"
        self.kills[what] += 1
        if what == "office":
            self.restart(self.office, self.random.random())
        elif what == "store":
            self.restart(self.store, self.random.random())
        else:
            bus = self.random.choice(self.buses)
            bus.uplink.kill()
            time.sleep(self.random.random() / 2)
            bus.uplink.start()

    def suffer(self):
        begun = time.monotonic()
        while self.proxy.uploads < self.choice.uploads:
            if time.monotonic() - begun > 60 + self.choice.uploads * 3:
                raise yard.Failed(f"expected {self.choice.uploads} uploads, and there were "
                                  f"{self.proxy.uploads}")
            self.trouble()
            time.sleep(1 + 3 * self.random.random())

    def come_in(self):
        """All is well again: what waits in back-off is begun anew, and everything arrives."""
        self.proxy.calm = True
        for driver in self.drivers:
            driver.over.set()
        for driver in self.drivers:
            driver.join()
            if driver.failure:
                raise driver.failure
        for bus in self.buses:
            bus.uplink.kill()
            bus.uplink.start()
        for bus in self.buses:
            yard.until(f"{bus.name} to have delivered all", 120, bus.delivered)
            self.up_to[bus.name] = bus.receipted()
        for bus in self.buses:
            bus.stop()
        self.proxy.stop()
        self.office.stop()

    # -- the account ------------------------------------------------------------------------------

    def kept(self, bus):
        """What the office has of a bus: (epoch, seq, hash) once for each branch it stands on."""
        rows = []
        for epoch in {record[0] for record in bus.records(self.up_to[bus.name])}:
            for line in self.office.say("export", bus.name, "--epoch", epoch).splitlines():
                said = yard.json.loads(line)
                if "seq" in said:
                    rows.append((said["epoch"], said["seq"], said["hash"]))
        return rows

    def account(self):
        lost = double = strange = stored = sealed = 0
        kept_all = set()
        for bus in self.buses:
            journal, kept = bus.records(self.up_to[bus.name]), self.kept(bus)
            sealed += len(journal)
            stored += len(kept)
            double += len(kept) - len(set(kept))
            lost += len(set(journal) - set(kept))
            strange += len(set(kept) - set(bus.records(1 << 62)))
            kept_all |= {(bus.name, *row) for row in kept}
        lost += sum((bus, epoch, seq, hash) not in kept_all
                    for what, bus, epoch, seq, hash in self.proxy.receipts)
        rows = self.office.number("SELECT count(*) FROM record")
        return {"sealed": sealed, "stored": stored, "rows": rows, "receipted": len(self.proxy.receipts),
                "lost": lost, "double": double + rows - stored, "strange": strange}

    def checks(self, a):
        alerts = sum(what == "postwalk-alert-v1" for what, *_ in self.proxy.receipts)
        yield f"lost {a['lost']}", a["lost"] == 0
        yield f"double {a['double']}", a["double"] == 0
        yield f"strange {a['strange']}", a["strange"] == 0
        # A bus may seal and deliver once more between the question and its stop.
        yield f"{a['sealed']} sealed, {a['stored']} stored", a["stored"] >= a["sealed"] > 0
        yield f"refused: {self.proxy.refused[:3]}", not self.proxy.refused
        yield f"{alerts} alerts receipted", alerts > 0 or self.choice.uploads < 200
        forks = self.office.number("SELECT count(*) FROM branch WHERE branch > 0")
        yield f"{forks} branches beside the first", forks == 0

    def end(self):
        for driver in self.drivers:
            driver.over.set()
        for bus in self.buses:
            bus.kill()
        self.office.kill()
        if self.store:
            self.store.kill()


def main():
    options = argparse.ArgumentParser()
    options.add_argument("--uploads", type=int, default=1000)
    options.add_argument("--buses", type=int, default=12)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--store", choices=["sqlite", "postgresql"], default="sqlite")
    options.add_argument("--keep", action="store_true")
    choice = options.parse_args()
    dir = tempfile.mkdtemp(prefix="postwalk-soak-")
    os.chmod(dir, 0o755)
    passed, failed, soak = 0, 0, None
    begun = time.monotonic()
    print(f"seed {choice.seed}, {choice.store}", flush=True)
    try:
        soak = Soak(choice, dir)
        soak.begin()
        soak.suffer()
        soak.come_in()
        account = soak.account()
        for words, well in soak.checks(account):
            passed, failed = passed + well, failed + (not well)
            if not well:
                print(f"not so: {words}")
        fates = ", ".join(f"{name} {count}" for name, count in soak.proxy.fates.items())
        killed = ", ".join(f"{name} {count}" for name, count in soak.kills.items() if count)
        print(f"{choice.store}: {soak.proxy.uploads} uploads ({fates}); killed: {killed}; "
              f"{time.monotonic() - begun:.0f} s")
        print(", ".join(f"{name} {count}" for name, count in account.items()))
    except (yard.Failed, OSError) as e:
        failed += 1
        print(f"not so: {e}")
    finally:
        if soak:
            soak.end()
        if choice.keep or failed:
            print(f"kept: {dir}")
        else:
            shutil.rmtree(dir, ignore_errors=True)
    print(f"{passed} passed, {failed} failed")
    return failed > 0


if __name__ == "__main__":
    sys.exit(main())
