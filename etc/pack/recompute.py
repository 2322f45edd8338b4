#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Counts every number of a pack again, from its JSON Lines alone, and says what differs.

    python3 recompute.py [FOLDER]

Verdicts, findings and refusals are taken from the signed records, and each row is held against the
record that it names. Each record's hash and its link to the one before it are computed again
(SHA-256). Signatures are not checked here: verify.txt has the lines for that.
Status 0: all is as the pack says. 1: something differs. 2: it could not be looked at.
"""
import csv
import hashlib
import json
import os
import sys
from collections import Counter, defaultdict

VERDICTS = ("done", "late", "doubtful", "missed")
TOLD_MOST = 50


class Teller:
    def __init__(self):
        self.count = 0

    def say(self, words):
        self.count += 1
        if self.count <= TOLD_MOST:
            print(words)

    def end(self):
        if self.count > TOLD_MOST:
            print(f"and {self.count - TOLD_MOST} more")


def lines(folder, name):
    with open(os.path.join(folder, name), encoding="utf-8") as f:
        for number, text in enumerate(f, 1):
            try:
                yield number, json.loads(text)
            except ValueError as e:
                raise ValueError(f"{name}, line {number}: expected a JSON object: {e}") from e


def row_key(row):
    if row["run"]:
        return (row["bus"], row["day"], row["run"])
    return (row["bus"], row["day"], row["epoch"], row["branch"], row["seq"])


def correction_key(c):
    day = f"{c['day']:08d}"
    day = f"{day[:4]}-{day[4:6]}-{day[6:]}"
    if c["run"]:
        return (c["bus"], day, c["run"])
    return (c["bus"], day, c["epoch"], c["branch"], c["seq"])


# -- rows ---------------------------------------------------------------------------------------

def codes(value):
    return value if isinstance(value, list) else value.split() if value else []


def count_row(n, row):
    """What needs no record. What does is counted where the record is."""
    n["rows"] += 1
    n["runs"] += bool(row["run"])
    n["corrected"] += bool(row["corrected"])
    stands = row["corrected"] or row["result"]
    if stands:
        n["result_" + stands] += 1
    if row["why"]:
        n["no_record_" + row["why"]] += 1
    if row["seq"]:
        n["sweeps"] += 1
        n["clock_doubted"] += row["clock_ok"] == "no"


def count_sweep(n, verdict, findings, refused, unchecked_ms):
    n["verdict_" + verdict] += 1
    n["refused"] += refused
    if verdict == "missed" and unchecked_ms is not None:
        n["unchecked_missed_ms"] += unchecked_ms
    for finding in findings:
        n["finding_" + finding] += 1


def read_rows(folder, numbers, tell):
    """The rows by the record that each names."""
    wanted = defaultdict(dict)
    corrected = {}
    for number, row in lines(folder, "rows.jsonl"):
        if row["bus"] not in numbers:
            tell.say(f"rows.jsonl, line {number}: bus {row['bus']} is not of this pack")
            numbers[row["bus"]] = Counter()
        count_row(numbers[row["bus"]], row)
        corrected[row_key(row)] = row["corrected"] or ""
        if row["seq"]:
            wanted[(row["bus"], row["epoch"], row["branch"])][row["seq"]] = row
    return wanted, corrected


def read_corrections(folder, numbers, corrected, tell):
    newest = {}
    for number, c in lines(folder, "corrections.jsonl"):
        key = correction_key(c)
        if key not in corrected:
            tell.say(f"corrections.jsonl, line {number}: there is no such row")
        numbers.setdefault(c["bus"], Counter())["corrections"] += 1
        newest[key] = c["result"]
    for key, result in corrected.items():
        if newest.get(key, "") != result:
            tell.say(f"rows.jsonl: {key} stands as corrected to {result or 'nothing'}, and its "
                     f"newest correction is {newest.get(key) or 'none'}")


def flat(value):
    if isinstance(value, list):
        return " ".join(value)
    return "" if value is None else str(value)


def differing(row, other):
    return [name for name, text in other.items() if text not in (flat(row.get(name)), "'" + flat(row.get(name)))]


def read_csv(folder, tell):
    """The same rows, in the same order. An apostrophe before what a spreadsheet would take for a
    formula is no part of the value. Where a row is missing, all behind it differ: the first is told."""
    with open(os.path.join(folder, "rows.csv"), encoding="utf-8", newline="") as f:
        total = sum(1 for _ in csv.DictReader(f))
    same = total == sum(1 for _ in lines(folder, "rows.jsonl"))
    if not same:
        tell.say("rows.csv and rows.jsonl have not the same number of rows")
    with open(os.path.join(folder, "rows.csv"), encoding="utf-8", newline="") as f:
        for (number, row), other in zip(lines(folder, "rows.jsonl"), csv.DictReader(f)):
            for name in differing(row, other):
                tell.say(f"rows.csv, row {number}: {name} is {other[name]!r}, in rows.jsonl "
                         f"{flat(row.get(name))!r}")
                if not same:
                    return


# -- records ------------------------------------------------------------------------------------

def record_hash(bus, r):
    text = "\n".join(("postwalk-record-v1", bus, r["epoch"], str(r["seq"]), str(r["boot"]),
                      str(r["mono_ms"]), str(r["wall_ms"]), str(r["wall_ok"]), r["kind"],
                      r["prev"], r["body"]))
    return hashlib.sha256(text.encode()).hexdigest()


def moment_ms(text):
    if text is None:
        return None
    days = days_since_1970(int(text[0:4]), int(text[5:7]), int(text[8:10]))
    of_day = int(text[11:13]) * 3600 + int(text[14:16]) * 60 + int(text[17:19])
    return (days * 86400 + of_day) * 1000 + int(text[20:23])


def days_since_1970(year, month, day):
    import datetime
    return datetime.date(year, month, day).toordinal() - 719163


def compare(row, r, body, where, tell):
    """A row says what its record says."""
    said = {
        "verdict": (row["verdict"], body["verdict"]),
        "findings": (sorted(codes(row["findings"])), sorted(body["findings"])),
        "refused": (row["refused"], len(body["refused"])),
        "rung": (flat(row["rung"]) or "none", body["rung"]),
        "key_off": (moment_ms(row["key_off"]), body["key_off_wall_ms"]),
        "closed": (moment_ms(row["closed"]), body["closed_wall_ms"]),
        "press_after_ms": (row["press_after_ms"], body["walk_ms"]),
        "left_after_ms": (row["left_after_ms"], body["return_ms"]),
        "late_ms": (row["late_ms"], body["late_ms"]),
    }
    for name, (mine, signed) in said.items():
        if mine != signed and not (name == "rung" and body["rung"] in ("", "none", None)):
            tell.say(f"{where}: the row says {name} {mine!r}, the signed record {signed!r}")


def unchecked(body):
    end = body["closed_ms"] if body["verdict"] == "missed" else body["press_ms"]
    return None if end is None else end - body["key_off_ms"]


class Chain:
    """A file of records: its chain, what it counts, and the rows that name its sweeps."""

    def __init__(self, about, head, rows, beside, period, tell):
        self.about, self.rows, self.beside, self.period, self.tell = about, rows, beside, period, tell
        self.bus = head["bus"]
        self.n = Counter()
        self.records = self.seals = self.last = 0
        self.first = None
        self.hash = None
        self.sealed = None
        self.ended = False
        self.seen = set()

    def say(self, words):
        self.tell.say(f"{self.about['file']}: {words}")

    def take(self, line):
        if "end" in line:
            self.ended = True
            if line["end"] != {"records": self.records, "seals": self.seals}:
                self.say("its last line counts other records or seals than there are")
        elif "seal" in line:
            self.seals += 1
            self.n["seals"] += line["seal"]["seq"] >= self.about["first"]
            if (line["seal"]["seq"], line["seal"]["hash"]) != (self.last, self.hash):
                self.say(f"the seal behind seq {self.last} is of another record")
        elif "seq" in line:
            self.take_record(line)

    def take_record(self, r):
        seq = r["seq"]
        if self.first is None:
            self.first = seq
            if seq == 1 and r["prev"] != "0" * 64:
                self.say("seq 1 names a record before it")
        elif seq != self.last + 1:
            self.say(f"seq {seq} stands behind seq {self.last}: records are missing, or twice")
        elif r["prev"] != self.hash:
            self.say(f"seq {seq} does not name the hash of the record before it")
        if r["epoch"] != self.about["epoch"]:
            self.say(f"seq {seq} is of another epoch")
        if record_hash(self.bus, r) != r["hash"]:
            self.say(f"seq {seq}: its hash is not that of its text")
        self.last, self.hash = seq, r["hash"]
        self.records += 1
        if seq >= self.about["first"]:
            self.count(r)

    def count(self, r):
        self.n["records"] += 1
        if self.period[0] <= r["wall_ms"] < self.period[1]:
            self.n["recorded_" + r["kind"]] += 1
        if r["kind"] == "sweep":
            self.take_sweep(r)

    def take_sweep(self, r):
        body = json.loads(r["body"])
        if "verdict" not in body:
            return
        row = self.rows.get(r["seq"])
        if row:
            self.seen.add(r["seq"])
            compare(row, r, body, f"{self.about['file']}, seq {r['seq']}", self.tell)
            count_sweep(self.n, body["verdict"], body["findings"], len(body["refused"]), unchecked(body))
        elif (r["wall_ok"] and self.period[0] <= body["key_off_wall_ms"] < self.period[1]
              and r["seq"] <= self.about["head"]
              and (self.bus, r["epoch"], self.about["branch"], r["seq"]) not in self.beside):
            self.say(f"seq {r['seq']} is a sweep of these days that no row has")

    def end(self):
        if not self.ended:
            self.say("it is cut off: its last line is missing")
        if self.last < self.about["head"]:
            self.say(f"it ends at seq {self.last}, and the office had it up to {self.about['head']}")
        for seq in sorted(set(self.rows) - self.seen):
            row = self.rows[seq]
            if self.about["purged"] and self.first and seq < self.first:
                self.by_row(row)
            elif row["verdict"]:
                self.say(f"seq {seq}, which a row names, is no sweep in it")

    def by_row(self, row):
        """Its record was purged: the row alone says what it was."""
        self.n["(sweeps whose records were purged)"] += 1
        if row["verdict"]:
            count_sweep(self.n, row["verdict"], codes(row["findings"]), row["refused"], row["unchecked_ms"])


def read_chain(folder, about, rows, beside, period, tell):
    chain = None
    for number, line in lines(folder, about["file"]):
        if number == 1:
            if line.get("export") != "postwalk-export-v1" or line.get("bus") != about["bus"]:
                tell.say(f"{about['file']}: its first line is not that of bus {about['bus']}")
                return None
            chain = Chain(about, line, rows, beside, period, tell)
        else:
            chain.take(line)
    if chain is None:
        tell.say(f"{about['file']}: it is empty")
        return None
    chain.end()
    return chain


def read_chains(folder, numbers, wanted, period, tell):
    beside = {(b["bus"], b["epoch"], b["branch"], b["seq"]) for _, b in lines(folder, "beside.jsonl")}
    for _, about in lines(folder, "chains.jsonl"):
        rows = wanted.pop((about["bus"], about["epoch"], about["branch"]), {})
        n = numbers.setdefault(about["bus"], Counter())
        n["chains"] += 1
        if not os.path.exists(os.path.join(folder, about["file"])):
            tell.say(f"{about['file']}: it is not there, and {len(rows)} rows name records of it")
            continue
        chain = read_chain(folder, about, rows, beside, period, tell)
        if chain:
            n.update(chain.n)
    for (bus, epoch, branch), rows in wanted.items():
        tell.say(f"{len(rows)} rows of bus {bus} name records of epoch {epoch}, branch {branch}, "
                 "which are not in the pack")


# -- the pack -----------------------------------------------------------------------------------

def check_files(folder, tell):
    """No file is missing, changed, or there without being listed."""
    listed = {}
    with open(os.path.join(folder, "SHA256SUMS"), encoding="utf-8") as f:
        for text in f:
            listed[text.rstrip("\n")[66:]] = text[:64]
    there = set()
    for path, _, names in os.walk(folder):
        for name in names:
            there.add(os.path.relpath(os.path.join(path, name), folder).replace(os.sep, "/"))
    for name in sorted(there - set(listed) - {"SHA256SUMS", "SHA256SUMS.sig"}):
        tell.say(f"{name}: it is not in SHA256SUMS")
    for name, digest in listed.items():
        if name not in there:
            tell.say(f"{name}: it is in SHA256SUMS, and not there")
            continue
        h = hashlib.sha256()
        with open(os.path.join(folder, name), "rb") as f:
            for piece in iter(lambda: f.read(1 << 16), b""):
                h.update(piece)
        if h.hexdigest() != digest:
            tell.say(f"{name}: it is not as SHA256SUMS has it")


def check_numbers(said, mine, who, tell):
    for name, value in said.items():
        if mine.get(name, 0) != value:
            tell.say(f"{who}: {name} is {value} in the pack, and {mine.get(name, 0)} by its JSON Lines")
    for name in mine:
        if name not in said and not name.startswith("(") and mine[name]:
            tell.say(f"{who}: the pack does not say {name}, which is {mine[name]}")


def check_csv_numbers(folder, pack, tell):
    with open(os.path.join(folder, "numbers.csv"), encoding="utf-8", newline="") as f:
        said = {(r["bus"], r["number"]): int(r["value"]) for r in csv.DictReader(f)}
    same = {("", name): value for name, value in pack["all"].items()}
    for bus, of in pack["buses"].items():
        same.update({(bus, name): value for name, value in of.items()})
    for key in sorted(set(said) | set(same)):
        if said.get(key) != same.get(key):
            tell.say(f"numbers.csv: {key[1]} of {key[0] or 'all'} is {said.get(key)}, in numbers.json "
                     f"{same.get(key)}")


def recompute(folder):
    tell = Teller()
    with open(os.path.join(folder, "numbers.json"), encoding="utf-8") as f:
        pack = json.load(f)
    numbers = {bus: Counter() for bus in pack["buses"]}
    check_files(folder, tell)
    wanted, corrected = read_rows(folder, numbers, tell)
    read_corrections(folder, numbers, corrected, tell)
    read_csv(folder, tell)
    read_chains(folder, numbers, wanted, (pack["from_ms"], pack["to_ms"]), tell)
    everything = Counter()
    for bus, n in numbers.items():
        everything.update(n)
        check_numbers(pack["buses"].get(bus, {}), n, f"bus {bus}", tell)
    check_numbers(pack["all"], everything, "all buses", tell)
    check_csv_numbers(folder, pack, tell)
    purged = everything["(sweeps whose records were purged)"]
    if purged:
        print(f"note: of {purged} sweeps the records were purged; their rows alone say what they were")
    tell.end()
    count = len(pack["all"]) * (1 + len(pack["buses"]))
    if tell.count:
        print(f"{tell.count} things differ")
        return 1
    print(f"{count} numbers of {len(pack['buses'])} buses: all as the pack says")
    return 0


def main():
    folder = sys.argv[1] if len(sys.argv) > 1 else os.path.dirname(os.path.abspath(__file__))
    try:
        return recompute(folder)
    except (OSError, ValueError, KeyError, TypeError) as e:
        print(f"it cannot be looked at: {type(e).__name__}: {e}", file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
