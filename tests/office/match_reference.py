# SPDX-License-Identifier: Apache-2.0
"""The cases of data/match.csv: made-up runs and stops, and the least total cost of matching them, found
by scipy's linear_sum_assignment (Debian: python3-scipy), which knows of no order. Run from the top.

    /usr/bin/python3 tests/office/match_reference.py >tests/office/data/match.csv
    /usr/bin/python3 tests/office/match_reference.py --check	made afresh, is it what is kept?

Planned begins go up with planned ends, so that keeping the order costs nothing (match.h). Times are ms,
costs whole ms below 2^53: a double holds them.
"""
import random
import sys

import numpy
from scipy.optimize import linear_sum_assignment

SEED = 20261127
CASES = 150
FORBIDDEN = 10**12
MINUTE = 60000
KEPT = "tests/office/data/match.csv"


def make(chance):
    days = chance.randint(1, 6)
    runs, stops = [], []
    for day in range(days):
        at = day * 1440 * MINUTE
        for _ in range(chance.randint(0, 9)):
            at += chance.randint(5, 150) * MINUTE
            length = chance.randint(10, 90) * MINUTE
            runs.append((at, at + length))
            if chance.random() < 0.8:
                stops.append(at + length + int(chance.gauss(4, 25) * MINUTE) + chance.randint(0, 999))
        for _ in range(chance.randint(0, 4)):
            stops.append(day * 1440 * MINUTE + chance.randint(0, 1440 * MINUTE))
    begins = sorted(begin for begin, _ in runs)
    ends = sorted(end for _, end in runs)
    return list(zip(begins, ends)), sorted(stops)


def least(runs, stops, rules):
    before, after, no_stop, no_run = rules
    n, m = len(runs), len(stops)
    cost = numpy.full((n + m, n + m), float(FORBIDDEN))
    cost[n:, m:] = 0
    for i, (begin, end) in enumerate(runs):
        cost[i, m + i] = no_stop
        for j, stop in enumerate(stops):
            if max(begin, end - before) <= stop <= end + after:
                cost[i, j] = abs(stop - end)
    for j in range(m):
        cost[n + j, j] = no_run
    rows, columns = linear_sum_assignment(cost)
    return int(cost[rows, columns].sum())


def table():
    chance = random.Random(SEED)
    lines = ["case,what,a,b,c,d"]
    for case in range(CASES):
        rules = [chance.randint(5, 120) * MINUTE for _ in range(4)]
        runs, stops = make(chance)
        lines.append(",".join(map(str, [case, "rules", *rules])))
        lines += [f"{case},run,{begin},{end},," for begin, end in runs]
        lines += [f"{case},stop,{stop},,," for stop in stops]
        lines.append(f"{case},cost,{least(runs, stops, rules)},,,")
    return "".join(line + "\r\n" for line in lines)


def check():
    with open(KEPT, newline="") as f:
        same = f.read() == table()
    print("1 passed, 0 failed" if same else f"{KEPT} is not what scipy says\n0 passed, 1 failed")
    return 0 if same else 1


if sys.argv[1:] == ["--check"]:
    sys.exit(check())
sys.stdout.write(table())
