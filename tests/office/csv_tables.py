# SPDX-License-Identifier: Apache-2.0
"""Tables of text by Python's csv module, for test_csv.c.

    csv_tables.py read DIR COUNT         prints what DIR/0.csv, 1.csv, ... say
    csv_tables.py write DIR COUNT SEED   writes such, in every dialect, and prints what they say

Each row is a line: its fields as hexadecimal UTF-8, with commas between.
"""
import csv
import random
import sys

SEPARATORS = [",", ";", "\t"]
LATIN = "".join(bytes([i]).decode("cp1252") for i in range(0x80, 0x100)
                if i not in (0x81, 0x8D, 0x8F, 0x90, 0x9D))
PLAIN = "abcXYZ 019-=+@'._"


def say(row):
    print(",".join(field.encode().hex() for field in row))


def read(folder, count):
    for i in range(count):
        with open(f"{folder}/{i}.csv", newline="", encoding="utf-8") as f:
            for row in csv.reader(f, strict=True):
                say(row)


def field(chance, letters):
    return "".join(chance.choice(letters) for _ in range(chance.randrange(8)))


# The heading has the separator and none of the others; fields with ends of line are quoted, all of them.
def table(chance, path, number):
    encoding = chance.choice(["utf-8", "utf-8-sig", "cp1252"])
    everything = chance.random() < 0.5
    letters = PLAIN + ',;\t"' + LATIN + ("\r\n" if everything else "")
    if encoding != "cp1252":
        letters += "łЖ語😀"
    columns = chance.randrange(2, 9)
    rows = [[f"column {c}" for c in range(columns)]]
    rows += [[field(chance, letters) for _ in range(columns)] for _ in range(chance.randrange(6))]
    if encoding == "cp1252":
        rows.append([LATIN] + ["x"] * (columns - 1))
    with open(path, "w", newline="", encoding=encoding) as f:
        csv.writer(f, delimiter=SEPARATORS[number % 3],
                   quoting=csv.QUOTE_ALL if everything else csv.QUOTE_MINIMAL,
                   lineterminator=chance.choice(["\r\n", "\n", "\r"])).writerows(rows)
    for row in rows:
        say(row)


def write(folder, count, seed):
    chance = random.Random(seed)
    for i in range(count):
        table(chance, f"{folder}/{i}.csv", i)


if sys.argv[1] == "read":
    read(sys.argv[2], int(sys.argv[3]))
else:
    write(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
