#!/usr/bin/python3
"""A second, independent rendering of the sweep rules, to compare `postwalk replay` with.

    model.py [--config FILE | --beside] [--rungs] [--stats] TRACE...

Reads traces and prints the same JSON Lines as `postwalk replay`. It was written from the
rules alone, before and without looking at the daemon, and favours their words over speed:
one method a rule, with its R number. Times are whole milliseconds.

--beside  each TRACE is run with the policy file of the same name ending in .conf beside it,
          or with the defaults if there is none
--stats   instead of the records, print how often each branch of each rule was taken, and how
          close each comparison of times came to its threshold
"""

import json
import os
import re
import sys
from collections import Counter
from fractions import Fraction

INPUTS = ("ignition", "park_brake", "rear_button", "rear_button_nc", "rear_door", "exits",
          "service_door", "lamps")
SETTLE_MS = {"ignition": 200, "park_brake": 200, "rear_button": 30, "rear_button_nc": 30,
             "rear_door": 100, "exits": 100, "service_door": 100, "lamps": 200}
DOUBTS = ("rear_opened return_short left_by_rear button_held button_contacts power_lost "
          "clock_unsure muted door_left_open").split()
NOTES = ("carried driven_off door_before_press exit_unseen powered_down alarm_spent "
         "left_running").split()
SIGNALS = ("prompt", "carried", "spent", "refused", "accepted")
REFUSALS_KEPT = 128

TAKEN = Counter()
CLOSE = Counter()


def hit(branch):
    """Counts that a branch of a rule was taken."""
    TAKEN[branch] += 1


def near(comparison, a, b):
    """a - b, counting on which side of the threshold it lies, and how close."""
    d = a - b
    CLOSE[comparison, d if -1 <= d <= 1 else (-2 if d < 0 else 2)] += 1
    return d


class Bad(Exception):
    """A line that cannot be obeyed: file, line number, what was expected."""

    def __init__(self, path, line, expected):
        super().__init__(f"{path}:{line}: {expected}")


# ---- the policy (section 7) -----------------------------------------------------------------

def half_up_ms(seconds):
    """R10: rounded to the nearest millisecond, exactly."""
    return (seconds * 1000 + Fraction(1, 2)).__floor__()


class Policy:
    def __init__(self):
        self.rows = Fraction(12)
        self.aisle_m = Fraction("9.1")
        self.pace_mps = Fraction("1.07")
        self.look_s = Fraction("0.5")
        self.due = 60000
        self.carried_due = 45000
        self.restart = 10000
        self.owed_when = "every_key_off"
        self.run_min = 30000
        self.unload = 0
        self.door_rule = "grace"
        self.leave_grace = 30000
        self.idle = 0
        self.return_max = 600000
        self.held_max = 10000
        self.disagree = 500
        self.alarm_max = 1800000
        self.service_max = 3600000
        self.doubt_on = frozenset(DOUBTS)
        self.settle = {n: ms for n, ms in SETTLE_MS.items()
                       if n not in ("rear_button_nc", "park_brake")}
        self.ladder = [("cabin", 0), ("outside", 30000), ("office", 60000)]
        self.walk_minimum()

    def walk_minimum(self):
        """R10"""
        walk_s = self.aisle_m / self.pace_mps
        self.walk_min = half_up_ms(walk_s + self.rows * self.look_s)
        self.return_min = half_up_ms(walk_s)


SWEEP_SECONDS = {"due_s": "due", "carried_due_s": "carried_due", "restart_s": "restart",
                 "run_min_s": "run_min", "unload_s": "unload", "leave_grace_s": "leave_grace",
                 "idle_s": "idle", "return_max_s": "return_max", "held_max_s": "held_max",
                 "disagree_s": "disagree", "alarm_max_s": "alarm_max",
                 "service_max_s": "service_max"}
SWEEP_CHOICES = {"owed_when": ("every_key_off", "run", "lamps"),
                 "door_rule": ("grace", "at_once", "ignore")}


def read_decimal(text):
    return Fraction(text) if re.fullmatch(r"[0-9]+(\.[0-9]+)?", text) else None


def read_ms(text):
    """Seconds with three decimals at most, or None."""
    m = re.fullmatch(r"([0-9]+)(?:\.([0-9]{1,3}))?", text, re.ASCII)
    return int(m[1]) * 1000 + int((m[2] or "").ljust(3, "0")) if m else None


class PolicyReader:
    """An INI file becomes a Policy; what cannot be obeyed (R24) is refused."""

    def __init__(self, path):
        self.path = path
        self.policy = Policy()
        self.at = {}            # (section, key) -> line number
        self.lines = {}         # configured inputs -> settle_ms
        self.places = {}        # (chip, offset) -> section
        self.rungs = []         # [name, after or None, line number]
        self.bus_id = None

    def read(self):
        section, number = None, 0
        with open(self.path, encoding="utf-8") as f:
            for number, text in enumerate(f, 1):
                text = text.strip()
                if not text or text[0] in "#;":
                    continue
                if text[0] == "[":
                    section = self.section(text, number)
                    continue
                key, equals, value = (part.strip() for part in text.partition("="))
                if not equals or section is None:
                    raise Bad(self.path, number, "expected [section] or key = value")
                self.key(section, key, value, number)
        self.finish(number)
        return self.policy

    def section(self, text, number):
        words = text[1:-1].split()
        if text[-1] != "]" or not words:
            raise Bad(self.path, number, "expected [section]")
        if words[0] in ("line", "rung"):
            if len(words) != 2:
                raise Bad(self.path, number, f"expected [{words[0]} NAME]")
            if words[0] == "line" and words[1] in INPUTS:
                self.lines.setdefault(words[1], SETTLE_MS[words[1]])
            if words[0] == "rung" and words[1] not in SIGNALS:
                self.rungs.append([words[1], None, number])
        return words

    def key(self, section, key, value, number):
        self.at[tuple(section), key] = number
        handler = getattr(self, section[0] + "_key", None)
        if handler:
            handler(section, key, value, number)

    def bus_key(self, section, key, value, number):
        if key != "id" or not re.fullmatch(r"[A-Za-z0-9._-]+", value):
            raise Bad(self.path, number, "expected id = letters, digits, '.', '_' or '-'")
        self.bus_id = value

    def walk_key(self, section, key, value, number):
        d = read_decimal(value)
        if key not in ("rows", "aisle_m", "pace_mps", "look_s") or d is None \
           or (key == "rows" and "." in value) or (key == "pace_mps" and d == 0):
            raise Bad(self.path, number, "expected rows, aisle_m, pace_mps or look_s = number")
        setattr(self.policy, key, d)

    def sweep_key(self, section, key, value, number):
        if key in SWEEP_SECONDS:
            ms = read_ms(value)
            if ms is None:
                raise Bad(self.path, number, f"expected {key} = seconds, three decimals at most")
            setattr(self.policy, SWEEP_SECONDS[key], ms)
        elif key in SWEEP_CHOICES:
            if value not in SWEEP_CHOICES[key]:
                raise Bad(self.path, number,
                          f"expected {key} = {' or '.join(SWEEP_CHOICES[key])}")
            setattr(self.policy, key, value)
        elif key == "doubt_on":
            if set(value.split()) - set(DOUBTS + NOTES):
                raise Bad(self.path, number, "expected doubt_on = findings")
            self.policy.doubt_on = frozenset(value.split())
        else:
            raise Bad(self.path, number, "expected a key of [sweep]")

    def line_key(self, section, key, value, number):
        if key == "settle_ms" and section[1] in INPUTS:
            if not re.fullmatch(r"[0-9]+", value):
                raise Bad(self.path, number, "expected settle_ms = whole milliseconds")
            self.lines[section[1]] = int(value)

    def rung_key(self, section, key, value, number):
        if key == "after_s" and section[1] not in SIGNALS:
            ms = read_ms(value)
            if ms is None:
                raise Bad(self.path, number, "expected after_s = seconds")
            self.rungs[-1][1] = ms

    def finish(self, last):
        p = self.policy
        p.settle = self.lines
        if self.rungs:
            for name, after, number in self.rungs:
                if after is None:
                    raise Bad(self.path, number, f"expected after_s in [rung {name}]")
            p.ladder = [(name, after) for name, after, _ in self.rungs]
        p.walk_minimum()
        for key, why in self.r24():
            raise Bad(self.path, self.at.get((("sweep",), key), last), f"{key}: {why}")

    def r24(self):
        """R24 (the board's offsets and the patterns are none of a replay's business)."""
        p = self.policy
        least = p.walk_min + 5000
        keys = ["due", "carried_due"] + (["leave_grace"] if p.door_rule == "grace" else [])
        for key in keys:
            if getattr(p, key) < least:
                yield key + "_s", f"expected {least} ms or more, the walk and 5 s"
        for key in ("due", "carried_due"):
            if p.restart >= getattr(p, key):
                yield "restart_s", f"expected less than {key}_s"
        afters = [after for _, after in p.ladder]
        if afters[0] != 0:
            yield "after_s", "expected 0 in the first rung"
        if any(b <= a for a, b in zip(afters, afters[1:])):
            yield "after_s", "expected each rung strictly later than the one before"
        if p.alarm_max <= afters[-1]:
            yield "alarm_max_s", "expected more than after_s of the last rung"
        for name in ("ignition", "rear_button"):
            if name not in p.settle:
                yield "id", f"expected [line {name}]"
        if p.owed_when == "lamps" and "lamps" not in p.settle:
            yield "owed_when", "expected [line lamps]"
        if p.idle > 0 and not ("park_brake" in p.settle and "service_door" in p.settle):
            yield "idle_s", "expected [line park_brake] and [line service_door]"
        if p.unload > 600000:
            yield "unload_s", "expected 600 or less"
        if p.alarm_max < 180000:
            yield "alarm_max_s", "expected 180 or more"
        if self.bus_id is None:
            yield "id", "expected id in [bus]"


# ---- what is kept ---------------------------------------------------------------------------

class Sweep:
    def __init__(self, t0, due):
        self.t0 = t0
        self.due = due
        self.basis = t0             # walk basis (R9, R12, R20)
        self.press = None
        self.late = 0
        self.findings = set()
        self.refused = []
        self.refusals = 0
        self.opened_at = None       # service door's opening edge while it is open (R13)
        self.unloading = False      # that opening is the unloading
        self.openings = 0
        self.door_events = 0        # R15
        self.left_running = False   # opened by R25
        self.fell = False           # ignition has fallen in a sweep of R25
        self.start = None           # start of the ladder
        self.step = -1              # the ladder's rung, -1 before the first
        self.spent = False
        self.highest = "prompt"


class Watch:
    """R25: set brake, engine on."""

    def __init__(self, begin):
        self.begin = begin
        self.door = None            # door time
        self.used = False           # it has opened its sweep


def seconds(ms):
    return "null" if ms is None else f"{ms // 1000}.{ms % 1000:03d}"


# ---- the rules ------------------------------------------------------------------------------

class Bus:
    """A bus from its first power-on. The caller moves `now` and says what happens."""

    def __init__(self, policy, now, raw, rungs, out):
        self.policy = policy
        self.rungs = rungs
        self.out = out              # receives one line of JSON a call
        self.now = now
        self.raw = dict.fromkeys(INPUTS, 0)
        self.raw.update(raw)
        self.departed = {}          # line -> when its raw level left the settled one (R1)
        self.chatter = Counter()
        self.phase = "parked"
        self.sweep = None
        self.carried = False
        self.lamps_used = False
        self.gap_mark = False
        self.key_on_edge = None
        self.watch = None
        self.power = True
        self.cut_at = None
        self.sounding = "none"
        self.read_levels()
        self.first_power_on()

    # -- output --

    def emit(self, text):
        self.out(text)

    def tell_rung(self):
        """Section 8: every change of the sounding rung, after the records of the same event."""
        name = self.calls_for()
        if name != self.sounding:
            self.sounding = name
            if self.rungs:
                self.emit(f'{{"kind":"rung","name":{json.dumps(name)},"at_s":{seconds(self.now)}}}')

    def tell_fault(self, name, on):
        hit(f"{name} {'on' if on else 'off'}")
        self.emit(f'{{"kind":"fault","name":"{name}","on":{"true" if on else "false"},'
                  f'"at_s":{seconds(self.now)}}}')

    # -- R1, R2: from raw levels to events --

    def read_levels(self):
        """R1: at power-on the settled level is the raw level, with no event; R3, R4, R5 begin
        anew, and service is off (R23)."""
        self.level = dict(self.raw)
        self.edge = dict.fromkeys(INPUTS, self.now)
        self.departed.clear()
        self.last_on = self.now
        self.service_end = None
        self.faults = set()
        self.pressed_since = self.disagree_since = None
        reads = self.button_reads()
        self.armed = reads == "released"
        if reads == "pressed":
            hit("R3 pressed at power-on is no press")
            self.pressed_since = self.now
        elif reads == "disagrees":
            hit("R5 disagrees at power-on")
            self.disagree_since = self.now

    def set_raw(self, levels):
        """R1: raw levels while power is on; zero-settle events follow at once (section 8)."""
        for name, value in levels.items():
            self.raw[name] = value
            if value == self.level[name]:
                if self.departed.pop(name, None) is not None:
                    self.chatter[name] += 1
                    hit("R1 came back")
            elif name not in self.departed:
                self.departed[name] = self.now
        for name in INPUTS:
            if name in self.departed and self.policy.settle[name] == 0:
                hit("R1 zero settle")
                self.settle(name)

    def settle(self, name):
        """R1: the settled level changes, and an event is emitted."""
        edge = self.departed.pop(name)
        self.level[name] = level = self.raw[name]
        self.edge[name] = edge
        hit(f"R1 {name} {'rises' if level else 'falls'}")
        self.event(name, level, edge)
        self.tell_rung()

    def event(self, name, level, edge):
        if name == "ignition":
            (self.key_on if level else self.key_off)(edge)
        elif name == "park_brake":
            (self.brake_set if level else self.brake_released)(edge)
        elif name in ("rear_button", "rear_button_nc"):
            self.button(edge)
        elif name in ("rear_door", "exits"):
            self.rear_way(name, level, edge)
        elif name == "service_door":
            self.service_door(level, edge)
        elif level:
            self.lamps_on()

    def next_settle(self):
        return min((c + self.policy.settle[n] for n, c in self.departed.items()), default=None)

    def timers(self):
        """R2: what is to fire, as (time, order, what)."""
        p, s, found = self.policy, self.sweep, []
        if self.phase == "owed":
            found.append((self.comes_due(), 0, self.due_passed))
        elif self.phase == "overdue":
            if s.step + 1 < len(p.ladder) and not s.spent:
                found.append((s.start + p.ladder[s.step + 1][1], 1, self.next_rung))
            if not s.spent:
                found.append((s.start + p.alarm_max, 2, self.alarm_spent))
        elif self.phase == "walk_back":
            found.append((s.press + p.return_max, 5, self.walk_back_end))
        if self.pressed_since is not None and "button_held" not in self.faults:
            found.append((self.pressed_since + p.held_max, 3, self.held))
        if self.disagree_since is not None and "button_contacts" not in self.faults:
            found.append((self.disagree_since + p.disagree, 4, self.disagrees))
        if self.service_end is not None:
            found.append((self.service_end, 6, self.service_over))
        if self.phase == "driving" and self.watch and not self.watch.used \
           and self.watch.door is not None:
            found.append((self.watch.door + p.idle, 7, self.left_running))
        return found

    def run(self, until, inclusive):
        """R2: handles what is due before `until`, or by it; then `until` is now."""
        while self.power:
            moments = [t for t, _, _ in self.timers()]
            settle = self.next_settle()
            if settle is not None:
                moments.append(settle)
            if not moments:
                break
            moment = max(min(moments), self.now)
            if moment > until or (moment == until and not inclusive):
                break
            self.now = moment
            self.instant()
        self.now = until

    def instant(self):
        """R2: settled events in line order; then timers by time and order."""
        settled = [n for n in INPUTS if n in self.departed
                   and self.departed[n] + self.policy.settle[n] <= self.now]
        if len(settled) > 1:
            hit("R2 several lines at one instant")
        for name in settled:
            self.settle(name)
        while True:
            due = [t for t in self.timers() if t[0] <= self.now]
            if not due:
                break
            if len(due) > 1:
                hit("R2 several timers at one instant")
            if settled:
                hit("R2 events and timers at one instant")
            self.fire(min(due, key=lambda t: t[:2]))

    def fire(self, timer):
        time, _, what = timer
        if time < self.last_on or (time == self.last_on and self.cut_at is not None):
            hit(f"R2 swallowed {what.__name__}")
        what()
        self.tell_rung()

    # -- R3, R4, R5: the button --

    def button_reads(self):
        """R3"""
        button = self.level["rear_button"]
        if "rear_button_nc" not in self.policy.settle:
            return "pressed" if button else "released"
        if button == self.level["rear_button_nc"]:
            return "disagrees"
        return "pressed" if button else "released"

    def button_edge(self):
        """R3: the later of the two lines' last settled edges."""
        if "rear_button_nc" in self.policy.settle:
            return max(self.edge["rear_button"], self.edge["rear_button_nc"])
        return self.edge["rear_button"]

    def button(self, edge):
        """R3"""
        reads = self.button_reads()
        if reads != "disagrees":
            self.disagree_since = None
            self.fault_over("button_contacts")
        if reads != "pressed":
            self.pressed_since = None
            self.fault_over("button_held")
        if reads == "disagrees":
            self.disagree_since = edge
        elif reads == "released":
            self.armed = True
        else:
            self.pressed_since = self.button_edge()
            if self.armed:
                self.armed = False
                self.press(self.button_edge())
            else:
                hit("R3 not seen released")

    def fault_over(self, name):
        if name in self.faults:
            self.faults.remove(name)
            self.tell_fault(name, False)

    def fault_on(self, name):
        """R5: a fault on in owed or overdue puts its finding on the sweep."""
        self.faults.add(name)
        self.tell_fault(name, True)
        if self.phase in ("owed", "overdue"):
            hit(f"R5 {name} raised in {self.phase}")
            self.sweep.findings.add(name)

    def held(self):
        """R4"""
        self.fault_on("button_held")

    def disagrees(self):
        """R5"""
        self.fault_on("button_contacts")

    # -- R6, R7, R8, R9: key-on and key-off --

    def first_power_on(self):
        """Section 3: at first power-on ever."""
        if self.level["lamps"]:
            hit("R6 lamps at first power-on")
            self.lamps_used = True
        if self.level["ignition"]:
            self.r6_key_on(self.now)

    def key_on(self, edge):
        hit(f"key-on in {self.phase}")
        if self.phase == "parked":
            self.r6_key_on(edge)
        elif self.phase in ("owed", "overdue"):
            self.r15_key_on(edge)
        elif self.phase == "walk_back":
            self.r16_key_on(edge)
            self.r6_key_on(edge)

    def r6_key_on(self, edge):
        """R6"""
        self.phase = "driving"
        self.key_on_edge = edge
        if self.level["lamps"]:
            hit("R6 lamps at key-on")
            self.lamps_used = True
        self.watch_at_key_on(edge)

    def lamps_on(self):
        """R6: evidence of use."""
        if self.phase in ("parked", "driving"):
            hit(f"R6 lamps in {self.phase}")
            self.lamps_used = True
        else:
            hit("R6 lamps are no evidence in a sweep")

    def key_off(self, edge):
        """R7, R8; in a sweep of R25 a key-off is no event of its own."""
        hit(f"key-off in {self.phase}")
        self.watch = None
        if self.phase != "driving":
            self.sweep.fell = True
            return
        why = self.r7_owed(edge)
        hit(f"R7 {why}")
        if why:
            self.open_sweep(edge)
        else:
            self.r8_excused(edge)

    def r7_owed(self, edge):
        """R7: why a key-off makes a sweep owed, or None."""
        p = self.policy
        if self.carried:
            return "carried"
        if p.owed_when == "every_key_off":
            return "every_key_off"
        if p.owed_when == "run" and near("R7 run_min", edge - self.key_on_edge, p.run_min) >= 0:
            return "run"
        if p.owed_when == "lamps" and self.lamps_used:
            return "lamps"
        return "gap mark" if self.gap_mark else None

    def r8_excused(self, edge):
        """R8"""
        self.phase = "parked"
        self.emit(f'{{"kind":"excused","at_s":{seconds(edge)}}}')

    def open_sweep(self, t0):
        """R9"""
        p = self.policy
        s = self.sweep = Sweep(t0, t0 + (p.carried_due if self.carried else p.due))
        self.phase = "owed"
        if self.carried:
            hit("R9 carried")
            s.findings.add("carried")
        if self.gap_mark:
            hit("R9 gap mark")
            s.findings.add("power_lost")
        if self.rear_open():
            hit("R9 rear open")
            s.findings.add("rear_opened")
        if self.level["service_door"]:
            hit("R9 service door open")
            self.r13_opening(t0)
        for name in self.faults:
            hit(f"R9 {name}")
            s.findings.add(name)
        if self.service_end is not None:
            hit("R23 opened in service")
            s.findings.add("muted")

    def rear_open(self):
        return self.level["rear_door"] or self.level["exits"]

    # -- R11, R12: the press and the rear way in --

    def press(self, edge):
        """R11"""
        p, s = self.policy, self.sweep
        if self.phase not in ("owed", "overdue"):
            hit(f"R11 press in {self.phase}")
        elif self.rear_open():
            self.refuse(edge, "rear_open")
        elif near("R11 walk_min", edge, s.basis + p.walk_min) < 0:
            self.refuse(edge, "too_soon")
        else:
            hit(f"R11 accepted in {self.phase}")
            s.press = edge
            s.due = self.due_at(edge)
            s.late = max(0, near("R11 late", edge, s.due))
            hit(f"R11 {'late' if s.late else 'in time'}")
            self.phase = "walk_back"

    def refuse(self, edge, why):
        """R11: a refusal is kept (the first 128 of a sweep; all are counted)."""
        hit(f"R11 refused {why} in {self.phase}")
        self.sweep.refusals += 1
        if self.sweep.refusals <= REFUSALS_KEPT:
            self.sweep.refused.append([edge, why])
        else:
            hit("R11 refusal only counted")

    def rear_way(self, name, level, edge):
        """R12; in walk_back R16; under at_once the rear door also R13."""
        s = self.sweep
        if self.phase in ("owed", "overdue"):
            if level:
                hit(f"R12 {name} opens in {self.phase}")
                s.findings.add("rear_opened")
                if name == "rear_door" and self.phase == "owed":
                    self.r13_rear_door(edge)
            elif not self.rear_open():
                hit(f"R12 both closed in {self.phase}")
                near("R12 basis", edge, s.basis)
                s.basis = max(s.basis, edge)
            else:
                hit("R12 one still open")
        elif self.phase == "walk_back" and level:
            hit(f"R16 {name} opens")
            s.findings.add("left_by_rear")

    # -- R13: unloading and leaving --

    def comes_due(self):
        """R13: when the sweep comes due as things stand."""
        return self.sweep.due + (self.policy.unload if self.sweep.unloading else 0)

    def due_at(self, moment):
        """R13: due, with as much of the standstill as there has been by then."""
        s = self.sweep
        if not s.unloading:
            return s.due
        hit("R13 due compared while unloading")
        return s.due + self.standstill(moment)

    def standstill(self, moment):
        s = self.sweep
        return max(0, min(near("R13 unload", moment - s.opened_at, self.policy.unload)
                          + self.policy.unload, self.policy.unload))

    def service_door(self, level, edge):
        """R13 in owed, R16 in walk_back, R25 in driving; in overdue it changes nothing."""
        if self.phase == "owed":
            self.sweep.door_events += 1
            (self.r13_opening if level else self.r13_closing)(edge)
        elif self.phase == "walk_back":
            self.r16_door(edge)
        elif self.phase == "driving" and level:
            self.watch_door(edge)
        else:
            hit(f"R13 door in {self.phase}")

    def r13_opening(self, edge):
        """R13: an opening, t0 at the earliest."""
        p, s = self.policy, self.sweep
        s.openings += 1
        s.opened_at = max(edge, s.t0)
        s.unloading = p.unload > 0 and s.openings == 1
        if s.unloading:
            hit("R13 unloading begins")
        elif p.door_rule == "at_once" and near("R13 at_once t0", edge, s.t0) > 0:
            hit("R13 at_once door")
            s.findings.add("door_before_press")
            s.due = min(s.due, s.opened_at)
        else:
            hit(f"R13 opens under {p.door_rule}")

    def r13_closing(self, edge):
        """R13"""
        p, s = self.policy, self.sweep
        if s.unloading:
            hit("R13 unloading ends")
            s.due += self.standstill(edge)
            s.unloading = False
        elif p.door_rule == "grace":
            hit("R13 grace" + (" shortens" if near("R13 grace", edge + p.leave_grace, s.due) < 0
                               else ""))
            s.findings.add("door_before_press")
            s.due = min(s.due, edge + p.leave_grace)
        else:
            hit(f"R13 closes under {p.door_rule}")

    def r13_rear_door(self, edge):
        """R13: under at_once the rear door's opening counts, and ends unloading."""
        s = self.sweep
        if self.policy.door_rule != "at_once":
            return
        if near("R13 at_once rear t0", edge, s.t0) <= 0:
            hit("R13 at_once rear door before t0")
            return
        hit("R13 at_once rear door" + (" ends unloading" if s.unloading else ""))
        s.findings.add("door_before_press")
        s.due = min(self.due_at(edge), edge)
        s.unloading = False

    # -- R14, R17, R18: overdue and the ladder --

    def due_passed(self):
        """R14"""
        self.overdue()
        self.begin_ladder()

    def overdue(self):
        """R14: the phase, and the start of the ladder; R13: due stays what it was."""
        s = self.sweep
        hit("R14 overdue" + (" while unloading" if s.unloading else ""))
        s.due = self.comes_due()
        s.unloading = False
        self.phase = "overdue"
        hit(f"R14 from {'due' if s.due >= self.last_on else 'power-on'}")
        s.start = max(s.due, self.last_on)

    def begin_ladder(self):
        """R17: the first rung, at 0."""
        self.next_rung()

    def next_rung(self):
        """R17"""
        s = self.sweep
        s.step += 1
        s.highest = self.policy.ladder[s.step][0]
        hit(f"R17 rung {s.step if s.step < 3 else '3 or more'}")

    def alarm_spent(self):
        """R18"""
        hit("R18 spent")
        self.sweep.spent = True
        self.sweep.highest = "spent"
        self.sweep.findings.add("alarm_spent")

    def calls_for(self):
        """R17, R18: the rung that phase and ladder call for."""
        if self.phase == "owed":
            return "prompt"
        if self.phase == "overdue":
            return self.sweep.highest
        if self.phase == "driving" and self.carried:
            return "carried"
        return "none"

    # -- R15: key-on while owed --

    def r15_key_on(self, edge, stall=True):
        """R15; a sweep of R25 is never undone as a stall."""
        s = self.sweep
        if self.phase == "owed" and not s.left_running \
           and near("R15 restart", edge - s.t0, self.policy.restart) < 0:
            hit("R15 " + ("clock lost" if not stall else
                          "door handled" if s.door_events else
                          "refusal" if s.refusals else "stall"))
            if stall and not s.door_events and not s.refusals:
                self.undo(edge)
                self.watch_at_key_on(edge)
                return
        self.driven_off(edge)

    def undo(self, edge):
        """R15, R25: the sweep is as if it had not been."""
        self.emit(f'{{"kind":"restart","key_off_s":{seconds(self.sweep.t0)},'
                  f'"at_s":{seconds(edge)}}}')
        self.sweep = None
        self.phase = "driving"

    def driven_off(self, edge):
        """R15, second half."""
        hit(f"R15 driven off in {self.phase}{' (R25)' if self.sweep.left_running else ''}")
        self.sweep.findings.add("driven_off")
        self.close(None)
        self.carried = True
        self.phase = "driving"
        self.key_on_edge = edge
        self.watch_at_key_on(edge)

    # -- R16: walk-back --

    def r16_door(self, edge):
        """R16: the service door, of either sense."""
        if near("R16 exit after press", edge, self.sweep.press) > 0:
            hit(f"R16 exit by door, now {self.level['service_door']}")
            self.walk_back_over(edge)

    def r16_key_on(self, edge):
        """R16: key-on; what follows it is R6 (or R25)."""
        near("R16 key-on", edge, self.sweep.press)
        self.walk_back_over(max(edge, self.sweep.press))

    def walk_back_end(self):
        """R16: return_max has passed."""
        name = "door_left_open" if self.level["service_door"] else "exit_unseen"
        hit(f"R16 {name}")
        self.sweep.findings.add(name)
        self.walk_back_over(None)

    def walk_back_over(self, exit_edge):
        """R16: the sweep closes; parked, or driving where ignition is 1 (R25)."""
        s = self.sweep
        if exit_edge is not None \
           and near("R16 return_min", exit_edge - s.press, self.policy.return_min) < 0:
            hit("R16 return short")
            s.findings.add("return_short")
        self.close(exit_edge)
        self.carried = False
        self.lamps_used = False
        self.phase = "driving" if self.level["ignition"] else "parked"
        hit(f"R16 over, {self.phase}")

    # -- R25: left running --

    def watch_at_key_on(self, edge):
        """R25: a key-on that finds the brake set begins a watch."""
        self.watch = None
        if self.level["park_brake"]:
            self.begin_watch(edge)

    def begin_watch(self, edge):
        if self.policy.idle == 0:
            return
        self.watch = Watch(edge)
        if self.level["service_door"]:
            hit("R25 watch begins, door open")
            self.watch.door = edge
        else:
            hit("R25 watch begins, door closed")

    def watch_door(self, edge):
        """R25: the door time, by a rising edge."""
        if self.watch and not self.watch.used and self.watch.door is None:
            hit("R25 door time")
            near("R25 door after begin", edge, self.watch.begin)
            self.watch.door = max(edge, self.watch.begin)

    def brake_set(self, edge):
        """R25"""
        if self.phase == "driving":
            self.begin_watch(edge)

    def brake_released(self, edge, lost=False):
        """R25: ends a watch; while ignition stays 1 in its sweep it stands for the key-on."""
        self.watch = None
        s = self.sweep
        if s is None or not s.left_running or s.fell:
            if s is not None and s.left_running:
                hit("R25 brake is nothing after key-off")
            return
        hit(f"R25 brake falls in {self.phase}{' (clock lost)' if lost else ''}")
        if self.phase == "owed" and not lost:
            self.undo(edge)
        elif self.phase in ("owed", "overdue"):
            self.driven_off(edge)
        else:
            self.r16_key_on(edge)
            if self.level["lamps"]:
                hit("R6 lamps at brake's fall")
                self.lamps_used = True

    def left_running(self):
        """R25: idle has passed since the door time."""
        moment = self.watch.door + self.policy.idle
        self.watch.used = True
        hit("R25 opens" + (" (moment in a gap)" if moment < self.last_on else ""))
        self.open_sweep(max(moment, self.last_on))
        self.sweep.left_running = True
        self.sweep.findings.add("left_running")

    # -- R20, R21: power and clock --

    def power_cut(self):
        """A settling is lost with power; what is kept (section 3) is kept."""
        hit(f"power cut in {self.phase}")
        self.power = False
        self.cut_at = self.now
        self.departed.clear()
        self.faults = set()
        self.service_end = None
        self.sounding = "none"

    def power_on(self, lost):
        """R20, R21"""
        p, s, phase = self.now, self.sweep, self.phase
        gap = p - self.cut_at
        dip = near("R20 dip", gap, self.policy.restart) <= 0 and not lost
        hit(f"R20 {phase} ignition {self.raw['ignition']}, "
            f"{'clock lost' if lost else 'dip' if dip else 'gap'}")
        kept = self.level
        self.power = True
        self.read_levels()
        powered_down = phase == "walk_back" \
            and near("R20 powered down", self.cut_at, s.press + self.policy.return_min) >= 0
        if lost and not powered_down:
            self.r21_clock_lost(gap)
        elif phase == "overdue":
            s.start += gap          # R17: not while nobody can hear it
        if phase in ("parked", "driving") and self.level["lamps"]:
            hit(f"R6 lamps at power-on in {phase}")
            self.lamps_used = True
        if phase == "driving":
            self.r20_driving(p, dip, kept)
        elif phase == "parked":
            if self.level["ignition"]:
                self.r6_key_on(p)
        elif powered_down:
            self.r20_powered_down(p)
        else:
            self.r20_sweep(p, dip, lost, kept)
        if self.phase == "overdue" and self.sweep.step < 0:
            self.begin_ladder()
        self.tell_rung()

    def r21_clock_lost(self, gap):
        """R21: every kept time moves later by the gap."""
        if self.key_on_edge is not None:
            self.key_on_edge += gap
        if self.watch:
            hit("R21 a watch moves")
            self.watch.begin += gap
            if self.watch.door is not None:
                self.watch.door += gap
        s = self.sweep
        if s is None:
            return
        for name in ("t0", "due", "basis", "press", "opened_at", "start"):
            if getattr(s, name) is not None:
                setattr(s, name, getattr(s, name) + gap)
        for refusal in s.refused:
            refusal[0] += gap
        hit(f"R21 clock unsure{', unloading' if s.unloading else ''}")
        s.findings.add("clock_unsure")

    def r20_driving(self, p, dip, kept):
        """R20, driving"""
        if not self.level["ignition"]:
            self.key_off(p)
            if self.phase == "owed" and not dip:
                hit("R20 power lost at key-off")
                self.sweep.findings.add("power_lost")
            return
        if not dip:
            hit("R9 gap mark set")
            self.gap_mark = True
        if not self.level["park_brake"]:
            if self.watch:
                hit("R25 watch ends in the gap")
            self.watch = None
        elif not kept["park_brake"]:
            hit("R25 brake set in the gap")
            self.begin_watch(p)
        elif self.watch:
            hit("R25 watch goes on" + (" (used)" if self.watch.used else ""))
            if self.level["service_door"] and self.watch.door is None:
                hit("R25 door time at power-on")
                self.watch.door = p

    def r20_powered_down(self, p):
        """R20: the battery switch, opened on leaving"""
        hit(f"R20 powered down, ignition {self.level['ignition']}")
        self.sweep.findings.add("powered_down")
        if self.rear_open():
            hit("R20 powered down, rear open")
            self.sweep.findings.add("left_by_rear")
        self.walk_back_over(None)
        self.watch = None
        if self.level["ignition"]:
            self.r6_key_on(p)

    def r20_sweep(self, p, dip, lost, kept):
        """R20, else owed, overdue, walk_back"""
        s = self.sweep
        if self.phase == "owed" and near("R20 due in the gap", self.comes_due(), p) < 0:
            hit("R20 overdue first")
            self.overdue()
        if not dip:
            s.findings.add("power_lost")
        if not self.level["ignition"]:
            if s.left_running and not s.fell:
                hit("R25 ignition fell in the gap")
                s.fell = True
                self.watch = None
            self.r20_goes_on(p, dip, kept)
        elif s.left_running and not s.fell:
            if self.level["park_brake"]:
                hit("R25 sweep goes on with ignition 1")
                self.r20_goes_on(p, dip, kept)
            else:
                self.brake_released(p, lost)
        elif self.phase == "walk_back":
            self.r16_key_on(p)
            self.r6_key_on(p)
        else:
            self.r15_key_on(p, stall=not lost)

    def r20_goes_on(self, p, dip, kept):
        """R20, ignition 0"""
        s = self.sweep
        if self.rear_open():
            hit(f"R20 rear open in {self.phase}")
            s.findings.add("left_by_rear" if self.phase == "walk_back" else "rear_opened")
        elif self.phase != "walk_back" and not dip:
            hit(f"R20 walk basis moves in {self.phase}")
            s.basis = max(s.basis, p)
        if self.level["service_door"] != kept["service_door"]:
            hit(f"R20 door differs in {self.phase}, now {self.level['service_door']}")
            self.service_door(self.level["service_door"], p)

    # -- R22: the verdict and the record --

    def close(self, exit_edge):
        """R22, and the record; R9: a closed sweep clears the gap mark."""
        s = self.sweep
        if s.press is None:
            verdict = "missed"
        elif s.findings & self.policy.doubt_on:
            verdict = "doubtful"
        elif s.late:
            verdict = "late"
        else:
            verdict = "done"
        hit(f"R22 {verdict}")
        for name in s.findings:
            hit(f"finding {name}")
        findings = ",".join(f'"{name}"' for name in sorted(s.findings))
        refused = ",".join(f'{{"at_s":{seconds(at)},"why":"{why}"}}' for at, why in s.refused)
        more = s.refusals - len(s.refused)
        counted = f',"refused_more":{more}' if more else ""
        proved = s.press is not None
        self.emit(
            f'{{"kind":"sweep","key_off_s":{seconds(s.t0)},"verdict":"{verdict}",'
            f'"findings":[{findings}],"press_s":{seconds(s.press)},'
            f'"walk_s":{seconds(s.press - s.t0 if proved else None)},'
            f'"late_s":{seconds(s.late if proved else 0)},"refused":[{refused}]{counted},'
            f'"exit_s":{seconds(exit_edge)},'
            f'"return_s":{seconds(None if exit_edge is None else exit_edge - s.press)},'
            f'"rung":{json.dumps(s.highest)},"closed_s":{seconds(self.now)}}}')
        self.sweep = None
        self.gap_mark = False

    # -- R23: service --

    def service(self, on):
        """R23"""
        if not on:
            hit("R23 off")
            self.service_end = None
            return
        hit("R23 on" + (" again" if self.service_end is not None else ""))
        self.service_end = self.now + self.policy.service_max
        if self.phase in ("owed", "overdue"):
            hit(f"R23 muted in {self.phase}")
            self.sweep.findings.add("muted")

    def service_over(self):
        """R23: service_max has passed."""
        hit("R23 over")
        self.service_end = None

    def standing(self):
        self.emit(f'{{"kind":"standing","phase":"{self.phase}",'
                  f'"carried":{"true" if self.carried else "false"},'
                  f'"at_s":{seconds(self.now)}}}')


# ---- trace files (section 8) ----------------------------------------------------------------

class Replay:
    def __init__(self, path, policy, rungs, out):
        self.path = path
        self.policy = policy
        self.rungs = rungs
        self.out = out
        self.bus = None
        self.number = 0
        self.at = None          # the moment of the last line
        self.ended = False

    def bad(self, expected):
        return Bad(self.path, self.number, expected)

    def play(self):
        with open(self.path, encoding="utf-8", errors="replace") as f:
            for self.number, text in enumerate(f, 1):
                words = text.partition("#")[0].split()
                if words:
                    self.line(words)
        if self.bus is None:
            self.number += 1
            raise self.bad("expected a line with the levels at power-on")
        if not self.ended:
            self.bus.run(self.at, True)
        self.bus.standing()

    def line(self, words):
        t = read_ms(words[0])
        if t is None:
            raise self.bad("expected SECONDS, three decimals at most")
        if self.ended:
            raise self.bad("expected nothing after end")
        if self.at is not None and t < self.at:
            raise self.bad(f"expected a time not before {seconds(self.at)}")
        if words[1:] == ["end"]:
            self.end(t)
            return
        levels, power, clock, service = self.names(words[1:])
        self.at = t
        if self.bus is None:
            self.first(t, levels)
            levels = {}
        elif t > self.bus.now:
            self.bus.run(t, False)
        if power == "cut":
            self.bus.power_cut()
        elif power == "on":
            self.bus.raw.update(levels)
            self.bus.power_on(clock == "lost")
            levels = {}
        if service and self.bus.power:
            self.bus.service(service == "on")
        if self.bus.power:
            self.bus.set_raw(levels)
        else:
            self.bus.raw.update(levels)

    def end(self, t):
        if self.bus is None:
            raise self.bad("expected a line with the levels at power-on before end")
        self.ended = True
        self.at = t
        self.bus.run(t, True)

    def first(self, t, levels):
        raw = dict(levels)
        if "rear_button_nc" in self.policy.settle:
            raw.setdefault("rear_button_nc", 1)
        self.bus = Bus(self.policy, t, raw, self.rungs, self.out)
        self.bus.tell_rung()

    def names(self, words):
        """The NAME=VALUE of a line, checked."""
        if not words:
            raise self.bad("expected NAME=VALUE or end after the time")
        levels, seen = {}, {}
        for word in words:
            name, equals, value = word.partition("=")
            if not equals:
                raise self.bad(f"expected NAME=VALUE, not {word}")
            if name in seen:
                raise self.bad(f"expected {name} once")
            seen[name] = value
            if name in INPUTS:
                if name not in self.policy.settle:
                    raise self.bad(f"expected a configured line, not {name}")
                if value not in ("0", "1"):
                    raise self.bad(f"expected {name}=0 or {name}=1")
                levels[name] = int(value)
            elif name == "power":
                self.check(name, value, ("cut", "on"))
                if (value == "on") == (self.bus is None or self.bus.power):
                    raise self.bad("expected power=cut while power is on, power=on while off")
            elif name == "clock":
                self.check(name, value, ("lost",))
            elif name == "service":
                self.check(name, value, ("on", "off"))
            else:
                raise self.bad(f"expected a line, power, clock or service, not {name}")
        if "clock" in seen and seen.get("power") != "on":
            raise self.bad("expected clock=lost only beside power=on")
        return levels, seen.get("power"), seen.get("clock"), seen.get("service")

    def check(self, name, value, allowed):
        if value not in allowed:
            raise self.bad("expected " + " or ".join(f"{name}={a}" for a in allowed))


# ---- the program ----------------------------------------------------------------------------

def print_stats():
    print(f"{'count':>9}  branch")
    for branch, count in sorted(TAKEN.items()):
        print(f"{count:9}  {branch}")
    print(f"\n{'below':>9}{'-1 ms':>9}{'equal':>9}{'+1 ms':>9}{'above':>9}  comparison")
    for name in sorted({name for name, _ in CLOSE}):
        print("".join(f"{CLOSE[name, d]:9}" for d in (-2, -1, 0, 1, 2)) + f"  {name}")


def beside(trace):
    path = os.path.splitext(trace)[0] + ".conf"
    return PolicyReader(path).read() if os.path.exists(path) else Policy()


def main(argv):
    flags = {"--rungs": False, "--beside": False, "--stats": False}
    config, traces, words = None, [], iter(argv)
    for word in words:
        if word in flags:
            flags[word] = True
        elif word == "--config":
            config = next(words, None)
        else:
            traces.append(word)
    if not traces:
        print(__doc__, file=sys.stderr)
        return 2
    try:
        policy = PolicyReader(config).read() if config else Policy()
        for trace in traces:
            lines = []
            try:
                Replay(trace, beside(trace) if flags["--beside"] else policy, flags["--rungs"],
                       lines.append).play()
            finally:
                if lines and not flags["--stats"]:
                    sys.stdout.write("\n".join(lines) + "\n")
        if flags["--stats"]:
            print_stats()
    except (Bad, OSError) as e:
        sys.stdout.flush()
        print(e, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
