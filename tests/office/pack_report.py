# SPDX-License-Identifier: Apache-2.0
"""The numbers that report.html shows, beside numbers.csv: read by the parser of Python's library.

    python3 pack_report.py FOLDER LEAST    (at least so many numbers must be there)
"""
import csv
import sys
from html.parser import HTMLParser


class Rows(HTMLParser):
    def __init__(self):
        super().__init__()
        self.rows, self.cell = [], None

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th") and self.rows:
            self.cell = ""

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data

    def handle_endtag(self, tag):
        if tag in ("td", "th") and self.cell is not None:
            self.rows[-1].append(self.cell.strip())
            self.cell = None


def main():
    folder, least = sys.argv[1], int(sys.argv[2])
    with open(folder + "/numbers.csv", encoding="utf-8", newline="") as f:
        said = {r["number"]: int(r["value"]) for r in csv.DictReader(f) if r["bus"] == ""}
    page = Rows()
    with open(folder + "/report.html", encoding="utf-8") as f:
        page.feed(f.read())
    shown = {r[-1]: int(r[-2].replace(",", "").replace("\u2212", "-"))
             for r in page.rows if len(r) == 3 and r[-1] in said}
    wrong = [name for name in said if shown.get(name) != said[name]]
    for name in wrong:
        print(f"{name}: {shown.get(name)} in report.html, {said[name]} in numbers.csv")
    print(f"{len(shown)} numbers")
    return 1 if wrong or len(shown) < least else 0


sys.exit(main())
