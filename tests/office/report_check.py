# SPDX-License-Identifier: Apache-2.0
"""One report in its four outputs, read by Python's html.parser, csv and json, and by sqlite3.

    report_check.py DIR     page.html, page.txt, page.jsonl, and NAME.csv of each table

Says what is wrong, a line each, and the status is 1; else how many cells were compared.
"""
import csv
import html.parser
import json
import re
import subprocess
import sys
from pathlib import Path

VOID = {"input", "meta", "link", "br"}
MAY = set("""a button caption code data details div figcaption figure form h1 h2 input label option p path pre
select span summary svg table tbody td textarea th thead time tr""".split())
wrong = []


class Page(html.parser.HTMLParser):
    """Tables, ids and what refers to them; complains of what is not balanced."""

    def __init__(self):
        super().__init__(convert_charrefs=True)
        self.open, self.ids, self.refers, self.tables = [], [], [], {}
        self.values = {}  # of controls, by name
        self.table = self.cell = None

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        if tag not in MAY:
            wrong.append(f"an element {tag}")
        if tag not in VOID:
            self.open.append(tag)
        self.ids += [a["id"]] if "id" in a else []
        self.refers += [a[k] for k in ("for", "aria-labelledby", "aria-describedby", "data-table") if k in a]
        if tag == "table":
            self.table = self.tables[a["id"].removeprefix("table-")] = {"heads": [], "rows": []}
        if tag == "tr" and self.table["heads"]:
            self.table["rows"].append([])
        if tag == "th" and "data-name" in a:
            self.table["heads"].append(a["data-name"])
        elif tag in ("td", "th"):
            self.cell = {"shown": "", "value": None}
            self.table["rows"][-1].append(self.cell)
        if tag in ("data", "time"):
            self.cell["value"] = a["value" if tag == "data" else "datetime"]
        if tag in ("input", "textarea"):
            self.values[a["name"]] = a.get("value")
        self.here = a.get("name")

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            wrong.append(f"</{tag}> closes nothing that is open at {self.getpos()}")
        if tag in ("td", "th"):
            self.cell = None

    def handle_data(self, data):
        if self.cell is not None:
            self.cell["shown"] += data
        if self.open and self.open[-1] == "textarea":
            self.values[self.here] = data


def same(where, a, b):
    if a != b:
        wrong.append(f"{where}: {a!r} and {b!r}")


def by_sqlite(path):
    script = f'.mode csv\n.import "{path}" t\nSELECT * FROM t;\n'
    said = subprocess.run(["sqlite3", ":memory:"], input=script, capture_output=True, text=True, check=True)
    return list(csv.reader(said.stdout.splitlines()))


def unguarded(text):
    return text[1:] if re.match("'[=+@-]", text) else text


def compare(name, table, rows, lines, text):
    """A table: rows of its CSV, objects of its lines, and how its text has it."""
    heads, count = rows[0], 0
    same(f"{name}: rows", len(rows) - 1, len(lines))
    same(f"{name}: rows on the page", len(rows) - 1, len(table["rows"]))
    for row, line, shown in zip(rows[1:], lines, table["rows"]):
        same(f"{name}: columns", ["table"] + heads, list(line))
        cells = dict(zip(table["heads"], shown))
        for head, field in zip(heads, row):
            value, count = line[head], count + 1
            where = f"{name}.{head}"
            if isinstance(value, (int, float)):
                same(where, float(field), float(value))
            else:
                plain = " ".join(value) if isinstance(value, list) else value or ""
                same(where, unguarded(field), plain)
            if head not in cells:
                continue
            cell = cells[head]
            if cell["value"] is not None:
                same(f"{where} on the page", cell["value"], unguarded(field))
            elif field:
                same(f"{where} on the page", cell["shown"], unguarded(field))
            if cell["shown"] not in text:
                wrong.append(f"{where}: {cell['shown']!r} is not in the text")
    return count


def main(folder):
    markup = (folder / "page.html").read_text(encoding="utf-8", errors="strict")
    text = (folder / "page.txt").read_text(encoding="utf-8", errors="strict")
    objects = [json.loads(line) for line in (folder / "page.jsonl").read_text(encoding="utf-8").splitlines()]
    page, count = Page(), 0

    page.feed(markup)
    page.close()
    same("left open", page.open, [])
    same("ids that stand twice", [i for i in page.ids if page.ids.count(i) > 1], [])
    same("what refers to nothing", [i for i in page.refers if i not in page.ids], [])
    for said in (markup, text):
        same("controls", re.findall("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", said), [])
    for path in sorted(folder.glob("*.csv")):
        with open(path, newline="", encoding="utf-8") as f:
            rows = list(csv.reader(f, strict=True))
        table = page.tables.get(path.stem)
        if table is None:
            same(f"{path.stem}: rows, and no table on the page", len(rows), 1)
            continue
        same(f"{path.stem} by sqlite3", by_sqlite(path), rows[1:])
        lines = [o for o in objects if o["table"] == path.stem]
        count += compare(path.stem, table, rows, lines, text)
    for name, value in sorted(page.values.items()):
        print(f"{name}={value}")
    print("\n".join(wrong) if wrong else f"{count} cells")
    return 1 if wrong else 0


sys.exit(main(Path(sys.argv[1])))
