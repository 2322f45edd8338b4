#!/usr/bin/python3
"""Random traces that reach deep into the rules, and random policies to run them under.

    randomtrace.py --seed S --count N --out DIR

Writes rS-00000.trace and so on; about two in three have a policy of the same name ending in
.conf beside them. A trace looks like a bus's day (key on, lamps, doors, key off, walk, press,
door, leave) that is bent at every step: the model runs along, and most edges are set on, one
millisecond before or one after the moment at which something is to be decided. The same seed
writes the same files.
"""

import argparse
import os
import random
import sys
from fractions import Fraction

sys.dont_write_bytecode = True
import model

OPTIONAL = ("rear_button_nc", "park_brake", "rear_door", "exits", "service_door", "lamps")


# ---- policies -------------------------------------------------------------------------------

def seconds(ms):
    text = model.seconds(ms)
    return text.rstrip("0").rstrip(".")


class RandomPolicy:
    """A valid policy (R24) with times short enough for much to happen in one trace."""

    def __init__(self, r):
        self.r = r
        self.keys = {}
        self.lines = ["ignition", "rear_button"]
        share = {"rear_button_nc": .4, "park_brake": .8, "rear_door": .8, "exits": .7,
                 "service_door": .93, "lamps": .8}
        self.lines += [n for n in OPTIONAL if r.random() < share[n]]
        self.walk()
        self.times()
        self.modes()

    def walk(self):
        r = self.r
        self.walk_keys = {"rows": r.choice((0, 1, 2, 3)), "aisle_m": r.choice(("1", "0.7", "2.05")),
                          "pace_mps": r.choice(("1", "1.07", "0.9", "1.3")),
                          "look_s": r.choice(("0.5", "0.25", "0.3335", "0"))}
        aisle = Fraction(self.walk_keys["aisle_m"]) / Fraction(self.walk_keys["pace_mps"])
        look = self.walk_keys["rows"] * Fraction(self.walk_keys["look_s"])
        self.return_min = model.half_up_ms(aisle)
        self.walk_min = model.half_up_ms(aisle + look)

    def times(self):
        r, k = self.r, self.keys
        least = self.walk_min + 5000
        k["due_s"] = least + r.choice((0, 1, r.randrange(4000), 5000))
        k["carried_due_s"] = least + r.choice((0, 1, r.randrange(3000)))
        most = min(k["due_s"], k["carried_due_s"]) - 1
        k["restart_s"] = r.choice((0, 200, 1000, 2500, 2500, 4000, self.walk_min, most))
        k["run_min_s"] = r.choice((0, 500, 3000, 20000, 30000))
        k["unload_s"] = r.choice((0, 0, 1000, 3000, 8000, 600000))
        k["leave_grace_s"] = least + r.choice((0, 0, 1, 700))
        k["return_max_s"] = r.choice((0, 500, self.return_min, 3000, 10000, 60000))
        k["held_max_s"] = r.choice((0, 10, 300, 1000, 3000, 3000, 10000))
        k["disagree_s"] = r.choice((0, 10, 100, 500))
        k["service_max_s"] = r.choice((0, 700, 5000, 20000, 3600000))
        self.ladder()
        last = self.rungs[-1][1] if self.rungs else 60000
        k["alarm_max_s"] = max(180000, last + 1) + r.choice((0, 0, 1, 5000))

    def ladder(self):
        r = self.r
        self.rungs = []
        if r.random() < .6:
            after = 0
            for i in range(r.randrange(1, 6)):
                self.rungs.append((f"step{i}", after))
                after += r.choice((1, 50, 500, 1000, 3000, 20000, 179000))

    def modes(self):
        r, k = self.r, self.keys
        choices = ["every_key_off", "run", "lamps"]
        if "lamps" not in self.lines:
            choices.remove("lamps")
        k["owed_when"] = r.choice(choices)
        k["door_rule"] = r.choice(("grace", "at_once", "ignore"))
        if k["door_rule"] != "grace" and r.random() < .5:
            k["leave_grace_s"] = r.choice((0, 300, 2000))
        if "park_brake" in self.lines and "service_door" in self.lines and r.random() < .85:
            k["idle_s"] = r.choice((1, 100, 800, 2000, 5000))
        if r.random() < .3:
            names = model.DOUBTS + model.NOTES
            k["doubt_on"] = " ".join(r.sample(names, r.randrange(1, len(names))))

    def write(self, path):
        r = self.r
        with open(path, "w", encoding="utf-8") as f:
            f.write("[bus]\nid = demo-7\n\n[walk]\n")
            for key, value in self.walk_keys.items():
                f.write(f"{key} = {value}\n")
            f.write("\n[sweep]\n")
            for key, value in self.keys.items():
                f.write(f"{key} = {seconds(value) if key.endswith('_s') else value}\n")
            for name in self.lines:
                f.write(f"\n[line {name}]\n")
                if r.random() < .8:
                    f.write(f"settle_ms = {r.choice((0, 0, 1, 5, 30, 100, 200))}\n")
            if r.random() < .2:
                f.write("\n[rung prompt]\nnotify = no\n")
            for name, after in self.rungs:
                f.write(f"\n[rung {name}]\nafter_s = {seconds(after)}\n")


# ---- traces ---------------------------------------------------------------------------------

class RandomTrace:
    """Writes lines, and lets the model run along to see what is worth hitting next."""

    def __init__(self, r, policy):
        self.r = r
        self.policy = policy
        self.text = []
        self.replay = model.Replay("trace", policy, False, lambda line: None)
        self.now = 0
        self.calm = r.random() < .35

    @property
    def bus(self):
        return self.replay.bus

    def has(self, name):
        return name in self.policy.settle

    # -- writing --

    def line(self, t, words):
        self.now = max(self.now, t)
        when = model.seconds(self.now)
        if self.r.random() < .3:
            when = seconds(self.now)
        words = [when] + words
        if self.r.random() < .01:
            self.text.append(self.r.choice(("", "# a remark", "   ")))
        self.text.append(" ".join(words) + self.r.choice(("",) * 30 + ("  # so",)))
        self.replay.line(words)

    def put(self, t, **levels):
        """Sets levels at t, those that are configured."""
        words = [f"{n}={v}" for n, v in levels.items() if self.has(n)]
        if words:
            self.r.shuffle(words)
            self.line(t, words)

    def ahead(self):
        """Lets the model handle what is due until now, without closing the moment."""
        if self.bus.power and self.now > self.bus.now:
            self.bus.run(self.now, False)

    def raw(self, name):
        return self.bus.raw[name]

    # -- moments --

    def targets(self):
        """Moments at which something is decided."""
        b, p, s = self.bus, self.policy, self.bus.sweep
        found = [t for t, _, _ in b.timers()]
        if b.next_settle() is not None:
            found.append(b.next_settle())
        if b.key_on_edge is not None and b.phase == "driving":
            found.append(b.key_on_edge + p.run_min)
        if not b.power:
            found += [b.cut_at + p.restart] * 3
        if s:
            found += [s.basis + p.walk_min, s.t0 + p.restart, s.due, s.t0]
            if s.opened_at is not None:
                found += [s.opened_at + p.unload, s.opened_at]
                found += [s.due - p.leave_grace] * 2
            if s.press is not None:
                found += [s.press, s.press + p.return_min, s.press + p.return_min,
                          s.press + p.return_max]
        return found

    def moment(self, name=None):
        """A next moment: on or beside a target, or some way on; for the edge of a line `name`
        often so much earlier that it settles then."""
        r, roll = self.r, self.r.random()
        if roll < .5:
            found = []
            for t in self.targets():
                t += r.choice((-1, 0, 0, 0, 1))
                if name and r.random() < .35:
                    t -= self.policy.settle.get(name, 0)
                if t >= self.now:
                    found.append(t)
            if found:
                return min(r.choice(found), r.choice(found))
        if roll < .6:
            return self.now
        if roll < .75:
            return self.now + r.randrange(1, 60)
        return self.now + r.choice((100, 200, 201, 250, 500, 1000, r.randrange(4000)))

    def beside(self, t, name=None):
        """t, one millisecond before or one after; never before now."""
        t += self.r.choice((-1, 0, 0, 1))
        if name and self.r.random() < .3:
            t -= self.policy.settle.get(name, 0)
        return max(t, self.now)

    # -- what people do --

    def bounce(self, t, name, value):
        """Sets a line, sometimes with contact bounce."""
        if not self.has(name):
            return
        if self.r.random() < .15:
            for _ in range(self.r.randrange(1, 4)):
                self.put(t, **{name: value})
                t += self.r.choice((0, 0, 1, 3, self.policy.settle[name]))
                self.put(t, **{name: 1 - value})
                t += self.r.choice((0, 0, 1, 2))
        self.put(t, **{name: value})

    def settled(self, name):
        """Lets a line settle, mostly."""
        wait = self.policy.settle.get(name, 0)
        self.now += self.r.choice((wait, wait, wait + 1, max(0, wait - 1), 0))
        self.ahead()

    def button(self, t, value):
        """Both contacts, one a little later than the other."""
        first, second = ("rear_button", value), ("rear_button_nc", 1 - value)
        if self.r.random() < .5:
            first, second = second, first
        if self.r.random() < .3:
            self.put(t, **dict((first, second)))
            return
        self.bounce(t, *first)
        self.bounce(self.now + self.r.choice((0, 1, 5, self.policy.disagree)), *second)

    def press(self, t):
        r = self.r
        if self.raw("rear_button"):
            self.button(self.now, 0)
            self.now += 40
        self.button(max(t, self.now), 1)
        if r.random() < .12:
            name = r.choice(("service_door", "service_door", "ignition", "park_brake"))
            self.put(self.now + r.choice((0, 1, 1, 2)), **{name: 1 - self.raw(name)})
        roll = r.random()
        if roll < .15:
            return
        hold = r.choice((1, 30, 31, 200, self.policy.held_max, self.policy.held_max + 1,
                         self.policy.held_max - 1))
        self.button(self.now + max(0, hold), 0)

    def half_press(self, t):
        """One contact of the pair only."""
        name = self.r.choice(("rear_button", "rear_button_nc"))
        if self.has(name):
            self.put(t, **{name: 1 - self.raw(name)})
            if self.r.random() < .6:
                wait = self.policy.disagree + self.r.choice((-1, 0, 1, 300))
                self.now += max(0, wait)
                self.ahead()
            if self.r.random() < .7:
                self.put(self.moment(), **{name: 1 - self.raw(name)})

    def toggle(self, t, name=None):
        name = name or self.r.choice(sorted(self.policy.settle))
        self.bounce(t, name, 1 - self.raw(name))

    def several(self, t):
        """Several lines of one moment, or several names in one line."""
        names = sorted(self.policy.settle)
        for _ in range(self.r.randrange(1, 4)):
            some = self.r.sample(names, self.r.randrange(1, min(4, len(names)) + 1))
            self.put(t, **{n: self.r.randrange(2) for n in some})

    def power(self, t):
        """A cut, levels that change meanwhile, and back."""
        r, b = self.r, self.bus
        words = ["power=cut"]
        if r.random() < .15:
            words += self.some_levels()
        self.line(t, words)
        while r.random() < .2:
            extra = self.some_levels() or ["service=on"]
            self.line(self.now + r.choice((0, 1, 100, 1000)), extra)
        back = self.now + r.choice((0, 1, 50, 300, 1000, 5000, 20000))
        if r.random() < .7:
            found = [t + r.choice((-1, 0, 0, 1)) for t in self.targets()]
            found = [t for t in found if t >= self.now] or [back]
            back = r.choice(found)
        words = ["power=on"] + (self.some_levels() if r.random() < .6 else [])
        if b.phase == "walk_back" and r.random() < .4 and self.has("service_door"):
            words = ["power=on", f"service_door={1 - self.raw('service_door')}"]
        if r.random() < .3:
            words.append("clock=lost")
        if r.random() < .04:
            words.append("service=" + r.choice(("on", "off")))
        r.shuffle(words)
        self.line(back, words)
        if r.random() < .1:
            self.line(self.now, ["power=cut"])
            self.line(self.beside(self.now + r.choice((0, 200))), ["power=on"])

    def some_levels(self):
        """Levels, mostly different ones: the key first of all."""
        r = self.r
        weight = {"ignition": .4, "park_brake": .35, "service_door": .35, "rear_door": .15,
                  "exits": .1, "rear_button": .1, "rear_button_nc": .1, "lamps": .2}
        return [f"{n}={r.choice((1 - self.raw(n),) * 4 + (self.raw(n),))}"
                for n in sorted(self.policy.settle) if r.random() < weight[n]]

    def service(self, t):
        self.line(t, ["service=" + self.r.choice(("on", "on", "off"))])

    # -- by phase --

    def parked(self):
        r = self.r
        t = self.moment("ignition")
        if r.random() < .3 and self.has("park_brake"):
            self.put(t, park_brake=r.randrange(2))
        if r.random() < .2:
            self.put(t, lamps=1)
        self.bounce(t, "ignition", 1)
        self.settled("ignition")

    def driving(self):
        r, b, p = self.r, self.bus, self.policy
        roll = r.random()
        if b.watch and (b.watch.used and roll < .5 or roll < .1):
            self.power(self.moment())
            return
        if roll < .3 and p.idle:
            self.idle()
            return
        if roll < .4:
            self.put(self.moment("lamps"), lamps=1)
            self.settled("lamps")
            if r.random() < .7:
                self.put(self.moment("lamps"), lamps=0)
            return
        if r.random() < .25:
            self.put(self.moment(), service_door=1)
        t = self.moment("ignition")
        if b.key_on_edge is not None and p.owed_when == "run" and r.random() < .6:
            t = self.beside(b.key_on_edge + p.run_min)
        self.bounce(t, "ignition", 0)
        if r.random() < .15:
            name = r.choice(("service_door", "rear_door"))
            self.put(self.now + r.choice((0, 0, 1, 1, 2)), **{name: 1 - self.raw(name)})
        self.settled("ignition")

    def idle(self):
        """R25: brake set, door open, engine on."""
        r, p = self.r, self.policy
        order = [("park_brake", 1), ("service_door", 1)]
        if r.random() < .4:
            order.reverse()
        if self.raw("park_brake") and r.random() < .5:
            self.bounce(self.moment("park_brake"), "park_brake", 0)
            self.settled("park_brake")
        for name, value in order:
            self.bounce(self.now + r.choice((0, 0, 1, 50, 300)), name, value)
        self.settled("service_door")
        watch = self.bus.watch
        if watch and watch.door is not None and r.random() < .8:
            t = self.beside(watch.door + p.idle)
            roll = r.random()
            if roll < .25:
                self.put(max(self.now, t - p.settle.get("park_brake", 0)), park_brake=0)
            elif roll < .4:
                self.power(max(self.now, t - r.choice((0, 100))))
            elif roll < .5:
                self.put(self.now, service_door=0)
            elif roll < .6:
                self.put(max(self.now, t - p.settle["ignition"]), ignition=0)
            self.now = max(self.now, t)
            self.ahead()

    def running(self):
        """R25: what ends a sweep that was opened with the engine on."""
        r, s = self.r, self.bus.sweep
        roll = r.random()
        if s.fell:
            if roll < .3:
                self.put(self.moment("park_brake"), park_brake=1 - self.raw("park_brake"))
            elif roll < .6:
                self.put(self.moment("ignition"), ignition=1)
            else:
                self.in_sweep()
        elif roll < (.35 if self.bus.phase == "walk_back" else .15):
            if r.random() < .5:
                self.put(self.now, lamps=1)
                self.settled("lamps")
            t = self.moment("park_brake")
            if s.press is not None and r.random() < .5:
                t = self.beside(s.press + self.policy.return_min)
            self.bounce(t, "park_brake", 0)
            self.settled("park_brake")
        elif roll < .45:
            self.put(self.moment("ignition"), ignition=0)
            self.settled("ignition")
        elif roll < .6:
            self.power(self.moment())
        elif roll < .8 and self.bus.phase != "walk_back":
            self.walk()
        else:
            self.in_sweep()

    def owed(self):
        r, s, p = self.r, self.bus.sweep, self.policy
        roll = r.random()
        if roll < .35:
            self.walk()
        elif roll < .5:
            self.bounce(self.beside(s.t0 + p.restart), "ignition", 1)
            self.settled("ignition")
        elif roll < .72:
            self.toggle(self.moment("service_door" if self.has("service_door") else None),
                        "service_door" if self.has("service_door") else None)
        elif roll < .82:
            self.wait_due()
        else:
            self.rear()

    def walk(self):
        """The walk to the rear, and the press."""
        r, p = self.r, self.policy
        if r.random() < .8:
            for name in ("rear_door", "exits"):
                if self.raw(name):
                    self.put(self.now, **{name: 0})
                    self.settled(name)
            if self.raw("rear_button"):
                self.button(self.now, 0)
                self.settled("rear_button")
        s = self.bus.sweep
        if s is None or s.press is not None:
            return
        t = self.beside(s.basis + p.walk_min)
        if r.random() < .4:
            t = max(self.now, r.choice((t + r.randrange(3000), self.beside(s.due))))
        if r.random() < .1:
            self.put(t, service_door=1 - self.raw("service_door"))
        elif r.random() < .07:
            self.put(t, ignition=1 - self.raw("ignition"))
        self.press(t + r.choice((0, 0, 0, 1)))
        self.settled("rear_button")

    def wait_due(self):
        """Waits for due, or presses there."""
        r = self.r
        t = self.bus.comes_due()
        if r.random() < .3:
            self.press(self.beside(t, "rear_button"))
        else:
            self.now = max(self.now, t + r.choice((-1, 0, 1, 200)))
            self.ahead()

    def rear(self):
        r = self.r
        name = r.choice([n for n in ("rear_door", "exits") if self.has(n)] or ["rear_button"])
        self.bounce(self.moment(name), name, 1 - self.raw(name))
        self.settled(name)
        if r.random() < .6 and name != "rear_button":
            if r.random() < .2:
                self.press(self.now)
            self.put(self.moment(name), **{name: 1 - self.raw(name)})

    def overdue(self):
        r = self.r
        roll = r.random()
        if roll < .35:
            self.now = max(self.now, r.choice([t for t, _, _ in self.bus.timers()] or [0])
                           + r.choice((-1, 0, 1)))
            self.ahead()
        elif roll < .65:
            self.walk()
        elif roll < .78:
            self.bounce(self.moment("ignition"), "ignition", 1)
            self.settled("ignition")
        elif roll < .85:
            self.rear()
        else:
            self.toggle(self.moment())

    def walk_back(self):
        r, s, p = self.r, self.bus.sweep, self.policy
        roll = r.random()
        back = self.beside(s.press + p.return_min)
        if r.random() < .3:
            back += r.randrange(2000)
        if roll < .4:
            self.toggle(back if r.random() < .6 else self.moment("service_door")
                        if self.has("service_door") else self.now,
                        "service_door" if self.has("service_door") else None)
            self.settled("service_door")
        elif roll < .52:
            self.bounce(back if r.random() < .5 else self.moment("ignition"), "ignition", 1)
            self.settled("ignition")
        elif roll < .65:
            self.now = max(self.now, s.press + p.return_max + r.choice((-1, 0, 1)))
            self.ahead()
        elif roll < .75:
            self.rear()
        elif roll < (.77 if self.calm else .95):
            self.power(back if r.random() < .6 else self.moment())
        else:
            self.press(self.moment())

    # -- stories: short scenes that chance alone would seldom play --

    def story(self):
        scenes = {"parked": (self.lit_in_a_gap, self.service_twice),
                  "driving": (self.closed_before_key_off, self.lit_in_a_gap, self.service_twice,
                              self.lost_on_the_road, self.run_after_idling),
                  "owed": (self.both_doors, self.lit_while_owed, self.both_doors),
                  "overdue": (self.walk,),
                  "walk_back": (self.walk_back,)}
        self.r.choice(scenes[self.bus.phase])()

    def key_off_at(self, t):
        """A key-off that is seen at t, or has its edge there."""
        if self.r.random() < .5:
            t -= self.policy.settle["ignition"]
        self.put(max(t, self.now), ignition=0)
        self.settled("ignition")

    def closed_before_key_off(self):
        """A door moves just before the key-off and settles after it."""
        r = self.r
        name = r.choice(("rear_door", "exits", "service_door"))
        if not self.has(name):
            return
        value = r.choice((0, 0, 1))
        self.put(self.now, **{name: 1 - value})
        self.settled(name)
        self.put(self.now + 10, **{name: value})
        self.put(self.now + r.choice((0, 1, 2, 20)), ignition=0)
        self.now += 200
        self.ahead()
        if self.bus.sweep and r.random() < .6:
            self.walk()
        elif self.bus.sweep and name == "service_door":
            s = self.bus.sweep
            self.put(self.beside(r.choice((s.t0 + self.policy.unload,
                                           s.due - self.policy.leave_grace))),
                     service_door=1 - value)

    def lit_in_a_gap(self):
        """The lamps are on at power-on only; is the bus owed a sweep for it?"""
        r = self.r
        if not self.has("lamps"):
            return
        self.put(self.now, lamps=0)
        self.settled("lamps")
        self.line(self.now + 1, ["power=cut"])
        self.line(self.now + r.choice((1, self.policy.restart, self.policy.restart + 1)),
                  ["power=on", "lamps=1"])
        self.put(self.now + 300, lamps=0)
        self.now += 300
        self.ahead()
        if self.bus.phase == "parked":
            self.put(self.now, ignition=1)
            self.settled("ignition")
        self.key_off_at(self.now + 1000)

    def lit_while_owed(self):
        """Lamps lit in a sweep that is undone as a stall."""
        self.put(self.now, lamps=1)
        self.settled("lamps")
        if self.r.random() < .5:
            self.put(self.now, lamps=0)
            self.settled("lamps")
        self.put(self.beside(self.bus.sweep.t0 + self.policy.restart)
                 if self.bus.sweep and self.r.random() < .3 else self.now,
                 ignition=1, park_brake=0)
        self.settled("ignition")
        if self.bus.phase == "driving":
            self.key_off_at(self.now + 500)

    def service_twice(self):
        """Service begins anew, and a sweep opens as it ends."""
        r, b = self.r, self.bus
        self.line(self.now, ["service=on"])
        self.now += r.choice((1, 200, self.policy.service_max // 2))
        self.ahead()
        self.line(self.now, ["service=on"])
        end, off = b.service_end, self.policy.settle["ignition"]
        if b.phase == "parked" and b.service_end is not None:
            self.put(self.now, ignition=1)
            self.settled("ignition")
        self.put(max(self.now, self.beside(end) - off), ignition=0)
        self.settled("ignition")

    def lost_on_the_road(self):
        """The clock is lost while driving; key-off as run_min ends."""
        r, b = self.r, self.bus
        self.line(self.now + r.choice((0, 300)), ["power=cut"])
        self.line(self.now + r.choice((1, 500, 3000)), ["power=on", "clock=lost", "ignition=1"])
        if b.watch and b.watch.door is not None and r.random() < .5:
            self.now = max(self.now, self.beside(b.watch.door + self.policy.idle))
            self.ahead()
        elif b.key_on_edge is not None:
            self.put(self.beside(b.key_on_edge + self.policy.run_min), ignition=0)
            self.settled("ignition")

    def run_after_idling(self):
        """R25, walked and left by the door or the brake, then a key-off as run_min ends."""
        r, b, p = self.r, self.bus, self.policy
        if not p.idle:
            return
        if self.raw("park_brake"):
            self.put(self.now, park_brake=0)
            self.settled("park_brake")
        self.put(self.now, park_brake=1, service_door=1, rear_door=0, exits=0)
        self.now += 400 + p.idle
        self.ahead()
        if not (b.sweep and b.sweep.left_running):
            return
        self.walk()
        if b.phase == "walk_back":
            back = b.sweep.press + p.return_min
            if r.random() < .5:
                self.put(self.now, lamps=1)
                self.settled("lamps")
            name = r.choice(("service_door", "park_brake"))
            self.put(self.beside(back), **{name: 1 - self.raw(name)})
            self.settled(name)
        if self.raw("lamps"):
            self.put(self.now, lamps=0)
            self.settled("lamps")
        if b.phase == "driving":
            self.put(self.beside(b.key_on_edge + p.run_min), ignition=0)
            self.settled("ignition")

    def both_doors(self):
        """Both doors open, to settle at one instant; or the rear one while unloading."""
        r, p = self.r, self.policy
        names = [n for n in ("rear_door", "service_door") if self.has(n)]
        if any(self.raw(n) for n in names):
            self.put(self.now, **{n: 0 for n in names})
            self.now += 200
            self.ahead()
        if not self.bus.sweep:
            return
        t = self.now + 200 + r.choice((0, p.unload // 2))
        for when, name in sorted((t - p.settle[n], n) for n in names):
            self.put(max(self.now, when + r.choice((0, 0, 0, -1, 1))), **{name: 1})
        self.now += 200
        self.ahead()
        if r.random() < .5:
            self.put(self.beside(t + p.unload), service_door=0)
        if self.bus.sweep and r.random() < .5:
            self.walk()

    def in_sweep(self):
        getattr(self, self.bus.phase)()

    def hammer(self):
        """More refusals than a sweep keeps."""
        for _ in range(140):
            self.put(self.now + 60, rear_button=1, rear_button_nc=0)
            self.put(self.now + 60, rear_button=0, rear_button_nc=1)

    def step(self):
        r, b = self.r, self.bus
        self.ahead()
        roll = r.random() * (.72 if self.calm else 1)
        if roll < .10:
            self.story()
        elif roll < .70:
            if b.sweep and b.sweep.left_running:
                self.running()
            else:
                self.in_sweep()
        elif roll < .78:
            self.power(self.moment())
        elif roll < .84:
            self.toggle(self.moment())
        elif roll < .88:
            self.several(self.moment())
        elif roll < .92:
            self.service(self.moment())
        elif roll < .96:
            self.half_press(self.moment())
        else:
            self.press(self.moment())

    def write(self, path):
        r = self.r
        levels = {n: int(r.random() < .15) for n in self.policy.settle}
        if r.random() < .9:
            levels.update(rear_button=0)
            levels.pop("rear_button_nc", None)
        words = [f"{n}={v}" for n, v in levels.items() if v or r.random() < .3]
        self.now = r.choice((0, 0, 1, 5000, 86399999))
        self.line(self.now, words or ["ignition=0"])
        hammer = r.random() < .01
        for _ in range(r.randrange(3, 45)):
            self.step()
            if hammer and self.bus.phase == "owed":
                self.hammer()
                hammer = False
        self.finish()
        with open(path, "w", encoding="utf-8") as f:
            f.write("\n".join(self.text) + "\n")

    def finish(self):
        r = self.r
        self.ahead()
        if r.random() < .12:
            self.line(self.moment(), ["power=cut"])
        if r.random() < .6:
            self.line(self.moment(), ["end"])


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    parser.add_argument("--seed", required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--out", required=True)
    args = parser.parse_args()
    print(f"seed {args.seed}")
    os.makedirs(args.out, exist_ok=True)
    for i in range(args.count):
        r = random.Random(f"{args.seed}/{i}")
        stem = os.path.join(args.out, f"r{args.seed}-{i:05d}")
        policy = model.Policy()
        if os.path.exists(stem + ".conf"):
            os.remove(stem + ".conf")
        if r.random() < .67:
            RandomPolicy(r).write(stem + ".conf")
            policy = model.PolicyReader(stem + ".conf").read()
        RandomTrace(r, policy).write(stem + ".trace")
    return 0


if __name__ == "__main__":
    sys.exit(main())
