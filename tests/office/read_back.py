#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""A page's CSV as R reads it (read.csv), cell by cell beside what sqlite3 (.import) and Python read of it, and
its counts beside the page's JSON Lines.

	POSTWALK=... POSTWALK_OFFICE=... tests/office/read_back.py

Ends with `N passed, M failed`, and status 1 when any failed.
"""
import csv
import json
import os
import subprocess
import sys
import tempfile

OFFICE, POSTWALK = os.environ["POSTWALK_OFFICE"], os.environ["POSTWALK"]
# Made up; what a spreadsheet or a reader could take amiss: quotes, commas, formulas, letters of other tongues.
PLACES = ['"Old" mill, gate 2', "=1+1", "-12", "Écluse 7", "+SUM(A1)", "a  b", "@yard", "0012", "TRUE", "NA"]
R = """
d <- read.csv(commandArgs(TRUE)[1], colClasses = "character", check.names = FALSE, na.strings = character(0),
	fileEncoding = "UTF-8")
cat(paste(names(d), collapse = "\\x1f"), "\\x1e", sep = "")
for (i in seq_len(nrow(d))) cat(paste(unlist(d[i, ]), collapse = "\\x1f"), "\\x1e", sep = "")
"""


def run(*command, **more):
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, encoding="utf-8", **more).stdout


def split(text):
    return [record.split("\x1f") for record in text.split("\x1e") if record.strip("\n")]


def begin(dir, office):
    """An office that knows T-0001, which has delivered a day."""
    os.mkdir(office)
    with open(os.path.join(office, "office.conf"), "w", encoding="utf-8") as f:
        f.write("[office]\nlisten = 127.0.0.1:0\npages =\nzone = UTC\n")
    serving = subprocess.Popen([OFFICE, "serve", "--office", office], stdout=subprocess.PIPE,
                               stderr=subprocess.DEVNULL, text=True)
    url = serving.stdout.readline().split(" at ")[1].split(";")[0]
    codes = os.path.join(dir, "codes")
    with open(codes, "w", encoding="utf-8") as f:
        f.write(run(OFFICE, "enrol", "--office", office, "T-0001"))
    run(POSTWALK, "fleet", "--buses", "1", "--days", "1", "--seed", "3", "--zone", "UTC", "--codes", codes,
        "--to", url, "--quiet")
    serving.terminate()
    serving.wait()


def main():
    with tempfile.TemporaryDirectory(prefix="postwalk-read-back-") as dir:
        office = os.path.join(dir, "office")
        sheet, table = os.path.join(dir, "sheet.csv"), os.path.join(dir, "runs.csv")
        begin(dir, office)
        with open(sheet, "w", newline="", encoding="utf-8") as f:
            rows = csv.writer(f)
            rows.writerow(["date", "bus", "run", "begin", "end", "route", "place"])
            for i, place in enumerate(PLACES):
                rows.writerow(["2025-10-14", "T-0001", f"r{i}", f"{8 + i:02}:00", f"{8 + i:02}:40", f"R, {i}", place])
        run(OFFICE, "runs", "--office", office, sheet, "--by", "d-12", "--zone", "UTC")
        asked = ["audit", "--office", office, "runs", "--from", "2025-10-14", "--to", "2025-10-14", "--whole"]
        with open(table, "w", encoding="utf-8", newline="") as f:
            f.write(subprocess.run([OFFICE, *asked, "--csv", "runs"], check=True, stdout=subprocess.PIPE).stdout.decode())
        lines = [json.loads(line) for line in run(OFFICE, *asked, "--jsonl").splitlines()]

        with open(table, newline="", encoding="utf-8") as f:
            python = list(csv.reader(f))
        script = os.path.join(dir, "read.R")
        with open(script, "w", encoding="utf-8") as f:
            f.write(R)
        by_r = split(run("Rscript", script, table))
        by_sqlite = split(run("sqlite3", ":memory:", "-cmd", f'.import --csv "{table}" t', "-cmd",
                              ".headers on", "-cmd", ".mode ascii", "SELECT * FROM t"))
        checks = {
            "rows": len(python) == len(PLACES) + 1,
            "R reads what Python reads": by_r == python,
            "sqlite3 reads what Python reads": by_sqlite == python,
            "as many as JSON Lines": sum(line.get("table") == "runs" for line in lines) == len(PLACES),
        }
    failed = [what for what, well in checks.items() if not well]
    for what in failed:
        print(f"not so: {what}\nPython {python}\nR {by_r}\nsqlite3 {by_sqlite}")
    print(f"{len(checks) - len(failed)} passed, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
