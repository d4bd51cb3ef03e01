"""The demo network's files as read by a reader and a reduction of these tests' own.

Both are written anew in plain Python and share nothing with the package, so that they can be set against it.
"""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from itertools import pairwise

from openpyxl import load_workbook

from gwnet.resources import demo_folder

FOLDER = demo_folder()
UNITS = {"cm": 0.01, "mm": 0.001, "m": 1.0}
REPEATS = ("depth_to_water", "depth_to_water_2", "depth_to_water_3")


def decoded(path):
    content = path.read_bytes()
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def delimiter_of(text):
    return max(",;\t", key=text.splitlines()[0].count)


def read_csv(path):
    """Return the headings as written, and the rows as text with dates and numbers as in plain CSV, lengths in metres."""
    text = decoded(path)
    delimiter = delimiter_of(text)
    headings, *lines = csv.reader(io.StringIO(text), delimiter=delimiter)
    rows = []
    for line in lines:
        assert len(line) == len(headings), f"{path.name}: {line}"
        rows.append({})
        for heading, cell in zip(headings, line, strict=True):
            name, _, unit = heading.partition(" [")
            rows[-1][name] = _plain(cell, unit.rstrip("]"), comma=delimiter == ";")
    return headings, rows


def _plain(cell, unit, *, comma):
    if dotted := re.fullmatch(r"(\d\d)\.(\d\d)\.(\d{4})", cell):
        return "-".join(reversed(dotted.groups()))
    if comma and re.fullmatch(r"-?\d+,\d+", cell):
        cell = cell.replace(",", ".")
    return repr(float(cell) * UNITS[unit]) if cell and unit in UNITS else cell


def read_workbook(path):
    """Return the sheets of a workbook as `read_csv` returns a table."""
    sheets = {}
    for sheet in load_workbook(path).worksheets:
        headings, *lines = sheet.iter_rows(values_only=True)
        rows = [dict(zip([h.partition(" [")[0] for h in headings], line, strict=True)) for line in lines]
        sheets[sheet.title] = (list(headings), rows)
    return sheets


def number(row, name):
    cell = row.get(name)
    return None if cell in ("", None) else float(cell)


class Network:
    """The tables of the demo network and a reduction of its level events."""

    def __init__(self):
        self.headings = {}
        self.tables = defaultdict(list)
        for path in sorted(FOLDER.glob("*.csv")):
            table = re.sub(r"_\d{4}$", "", path.stem)
            self.headings[path.name], rows = read_csv(path)
            self.tables[table] += rows
        for name, (headings, rows) in read_workbook(FOLDER / "instruments_and_tape_checks.xlsx").items():
            self.headings[name], self.tables[name] = headings, rows
        self.corrections = read_csv(FOLDER / "corrections" / "measuring_points.csv")[1]
        self.wells = {row["well"]: row for row in self.tables["wells"]}
        self.points = self.tables["measuring_points"]
        self.corrected = [self._after(point) for point in self.points]
        self.screens = {r["well"]: r for r in self.tables["construction"] if r["part"] == "screen"}
        self.lengths = {r["instrument"]: r["length_below_sensing_point"] / 1000.0 for r in self.tables["instruments"]}
        self.checks = defaultdict(lambda: defaultdict(list))
        for row in self.tables["tape_checks"]:
            day = row["checked_on"].date().isoformat()
            self.checks[row["instrument"]][day].append((row["tape_reading"], row["reference_reading"]))

    def _after(self, point):
        for correction in self.corrections:
            if all(point[key] == correction[key] for key in ("site", "well", "access", "valid_from")):
                return correction
        return point

    def events(self):
        return self.tables["level_events"]

    def event(self, truth):
        """Return the level event that a truth speaks of."""
        day, _, clock = truth["measured_at"].partition("T")
        found = [
            row
            for row in self.events()
            if (row["well"], row["date"], row["time"]) == (truth["well"], day, clock)
            and (row.get("access") or "main") == truth["access"]
        ]
        assert len(found) == 1, truth
        return found[0]

    def point(self, row, *, corrected=True):
        access = row.get("access") or "main"
        found = [
            point
            for point in (self.corrected if corrected else self.points)
            if (point["well"], point["access"]) == (row["well"], access)
            and point["valid_from"] <= row["date"]
            and (not point["valid_until"] or row["date"] < point["valid_until"])
        ]
        assert len(found) == 1, row
        return float(found[0]["elevation"]), float(found[0]["height_above_ground"])

    def correction(self, instrument, day, reading):
        """Return what to add to a reading, and whether it lies beyond the check."""
        known = [since for since in sorted(self.checks.get(instrument, {})) if since <= day]
        if not known:
            return 0.0, False
        pairs = sorted(self.checks[instrument][known[-1]])
        beyond = not pairs[0][0] <= reading <= pairs[-1][0]
        held = min(max(reading, pairs[0][0]), pairs[-1][0])
        for (t0, r0), (t1, r1) in pairwise(pairs):
            if t0 <= held <= t1:
                return (r0 - t0) + (held - t0) / (t1 - t0) * ((r1 - t1) - (r0 - t0)), beyond
        raise AssertionError(reading)

    def depth(self, row):
        """Return the corrected depth to water and the spread of the repeats."""
        read = [float(row[name]) for name in REPEATS if row.get(name)]
        mean = sum(read) / len(read)
        return mean + self.correction(row["instrument"], row["date"], mean)[0], max(read) - min(read)

    def level(self, row, *, corrected=True):
        """Return the water elevation, before and after the correction for product."""
        elevation, height = self.point(row, corrected=corrected)
        if row.get("water_elevation"):
            return (float(row["water_elevation"]),) * 2
        if row.get("depth_below_ground"):
            return (elevation - height - float(row["depth_below_ground"]),) * 2
        depth, _ = self.depth(row)
        product, density = number(row, "depth_to_product"), number(row, "product_relative_density")
        head = elevation - depth
        if product is None or density is None:
            return head, head
        product += self.correction(row["instrument"], row["date"], product)[0]
        return head, head + density * (depth - product)

    def sounded(self, row):
        """Return the sounded depth below ground."""
        reading = float(row["sounded_depth"])
        corrected = reading + self.correction(row["instrument"], row["date"], reading)[0]
        return corrected + self.lengths[row["instrument"]] - self.point(row)[1]

    def below_screen(self, row):
        elevation, height = self.point(row)
        return elevation - height - self.level(row)[0] > float(self.screens[row["well"]]["bottom_depth"])

    def bound(self, row):
        """Return the elevation at or below which the head of a dry well stands, or None."""
        has_number = any(row.get(name) for name in (*REPEATS, "water_elevation", "depth_below_ground"))
        if row["status"] != "dry" and not (row["status"] == "static" and has_number and self.below_screen(row)):
            return None
        depth = float(self.screens[row["well"]]["bottom_depth"])
        if row["status"] == "dry":
            depth = min(depth, self.sounded(row))
        elevation, height = self.point(row)
        return elevation - height - depth

    def usable(self, row):
        read = any(row.get(name) for name in (*REPEATS, "water_elevation", "depth_below_ground"))
        if not read or row["status"] not in ("static", "flowing") or row["quality"] in ("suspect", "poor"):
            return False
        if row.get("depth_to_water") and self.depth(row)[1] > 0.006 + 1e-7:
            return False
        if row.get("depth_to_product") and not row.get("product_relative_density"):
            return False
        return self.bound(row) is None
