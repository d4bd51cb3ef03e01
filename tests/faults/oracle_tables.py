"""Compares what a load has stored with what its file says, read by other means, cell by cell."""

from __future__ import annotations

import datetime as dt
import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

from . import read_again
from .read_again import Rows

ZONE: Final = ZoneInfo("Europe/Vienna")
#: Metres of one unit; the international foot and the survey foot of 1893 (1200/3937 m).
METRES: Final = {"m": 1.0, "cm": 0.01, "mm": 0.001, "ft": 0.3048, "ftus": 1200 / 3937}
#: No number of a groundwater record is larger, coordinates included.
LARGEST: Final = 1e8


@dataclass(frozen=True)
class Shape:
    """How a table is stored.

    Attributes
    ----------
    query : str
        Selects the stored rows of one file: first its row number there, then a column a heading.
    columns : dict of str to str
        Kind of each heading, in the order of the query: text, length, number, day, moment.
    defaults : dict of str to object
        What is stored where a cell is empty.
    """

    query: str
    columns: dict[str, str]
    defaults: dict[str, Any]


def _shape(table: str, joins: str, columns: dict[str, tuple[str, str]], **defaults: Any) -> Shape:
    selected = ", ".join(stored for stored, _ in columns.values())
    query = f"SELECT r.source_row, {selected} FROM {table} r {joins} WHERE r.source_file_id = ? AND r.retired_at_utc IS NULL"
    return Shape(query, {heading: kind for heading, (_, kind) in columns.items()}, defaults)


_WELL = "JOIN well w ON w.id = r.well_id JOIN site s ON s.id = w.site_id"
_OF_WELL = {"site": ("s.code", "text"), "well": ("w.code", "text")}

SHAPES: Final = {
    "wells": _shape(
        "well_record",
        f"{_WELL} LEFT JOIN aquifer a ON a.id = r.aquifer_id",
        {
            **_OF_WELL,
            "easting": ("r.easting", "number"),
            "northing": ("r.northing", "number"),
            "aquifer": ("a.code", "text"),
            "purpose": ("r.purpose", "text"),
            "ground_elevation": ("r.ground_elevation_m", "length"),
            "total_depth": ("r.total_depth_m", "length"),
            "drilled_on": ("r.drilled_on", "day"),
        },
    ),
    "construction": _shape(
        "construction_part",
        _WELL,
        {
            **_OF_WELL,
            "part": ("r.part", "word"),
            "top_depth": ("r.top_depth_m", "length"),
            "bottom_depth": ("r.bottom_depth_m", "length"),
            "diameter": ("r.diameter_mm", "number"),
            "material": ("r.material", "text"),
        },
    ),
    "measuring_points": _shape(
        "measuring_point",
        _WELL,
        {
            **_OF_WELL,
            "valid_from": ("r.valid_from_utc", "moment"),
            "elevation": ("r.elevation_m", "length"),
            "height_above_ground": ("r.height_above_ground_m", "length"),
            "accuracy": ("r.accuracy_m", "length"),
        },
    ),
    "tape_checks": _shape(
        "tape_check",
        "JOIN instrument i ON i.id = r.instrument_id",
        {
            "instrument": ("i.code", "text"),
            "checked_on": ("r.checked_on", "day"),
            "tape_reading": ("r.tape_reading_m", "length"),
            "reference_reading": ("r.reference_reading_m", "length"),
            "checked_by": ("r.checked_by", "text"),
        },
    ),
    "stages": _shape(
        "stage_reading",
        "JOIN gauge g ON g.id = r.gauge_id JOIN site s ON s.id = g.site_id LEFT JOIN aquifer a ON a.id = r.aquifer_id",
        {
            "site": ("s.code", "text"),
            "gauge": ("g.code", "text"),
            "measured_at": ("r.measured_at_utc", "event"),
            "water_elevation": ("r.water_elevation_m", "length"),
            "easting": ("r.easting", "number"),
            "northing": ("r.northing", "number"),
            "aquifer": ("a.code", "text"),
        },
    ),
    "level_events": _shape(
        "level_record",
        "JOIN level_event e ON e.id = r.level_event_id JOIN well w ON w.id = e.well_id JOIN site s ON s.id = w.site_id "
        "LEFT JOIN gauging_round g ON g.id = r.gauging_round_id LEFT JOIN instrument i ON i.id = r.instrument_id",
        {
            **_OF_WELL,
            "(when)": ("e.measured_at_utc", "event"),
            "round": ("g.code", "text"),
            "status": ("r.status", "word"),
            "instrument": ("i.code", "text"),
            "observer": ("r.observer", "text"),
            "quality": ("r.quality", "word"),
            "(readings)": ("r.id", "readings"),
        },
        status="static",
    ),
}

#: Quantities of readings, by the heading that each begins with.
QUANTITIES: Final = ("depth_to_water", "depth_below_ground", "water_elevation", "depth_to_product", "sounded_depth")


class Oracle:
    """Compares one record with one file."""

    def __init__(self, connection: sqlite3.Connection, source_file_id: int) -> None:
        self.connection, self.source = connection, source_file_id

    def faults(self, table: str, rows: Rows, said: str) -> Iterator[str]:
        """Yield what is stored and does not stand in the file, or stands there and is not stored."""
        shape = SHAPES[table]
        stored: dict[int, list[tuple[Any, ...]]] = {}
        for number, *values in self.connection.execute(shape.query, (self.source,)):
            stored.setdefault(number, []).append(tuple(values))
        written = dict(rows.cells())
        filled = [heading for heading in rows.headings if heading]
        if len(set(filled)) < len(filled):
            yield f"{table}: a heading stands twice: {rows.headings}"
        for heading in rows.headings:
            is_help = heading.startswith("(") and heading.endswith(")")
            if heading and not is_help and heading not in KNOWN[table].split() and not _is_named(heading, said):
                yield f"{table}: heading {heading!r} is not known, and nothing was said of it"
        for number, cells in rows.rows:
            if rows.is_text and len(cells) < len(rows.headings):
                yield f"{table}, row {number}: {len(cells)} cells under {len(rows.headings)} headings were accepted"
            if number not in stored and not self._is_repeated(rows, number):
                yield f"{table}, row {number} is not stored"
        for number, found in stored.items():
            if number not in written or len(found) != 1:
                yield f"{table}: {len(found)} rows are stored as of row {number}, which is none of the file"
                continue
            yield from self._row_faults(shape, rows, number, written[number], found[0])

    def _is_repeated(self, rows: Rows, number: int) -> bool:
        """Return whether a row stands in the file before, with the same cells."""
        [own] = [cells for other, cells in rows.rows if other == number]
        return any(other < number and cells == own for other, cells in rows.rows)

    def _row_faults(
        self, shape: Shape, rows: Rows, number: int, cells: dict[str, str], values: tuple[Any, ...]
    ) -> Iterator[str]:
        for (heading, kind), value in zip(shape.columns.items(), values, strict=True):
            try:
                wanted = self._wanted(kind, heading, cells, rows, shape)
                got = self._readings(value) if kind == "readings" else value
                is_same = _same(kind, wanted, got)
            except (ValueError, KeyError) as error:
                yield f"row {number}, {heading}: {value!r} is stored, and the cell cannot be read: {error}"
                continue
            if not is_same:
                yield f"row {number}, {heading}: {got!r} is stored, the file says {wanted!r}"

    def _wanted(self, kind: str, heading: str, cells: dict[str, str], rows: Rows, shape: Shape) -> Any:
        if kind == "event":
            return _event_moments(cells)
        if kind == "readings":
            return _written_readings(cells, rows)
        cell = cells.get(heading, "").strip()
        if not cell:
            return shape.defaults.get(heading)
        if kind == "length":
            return read_again.number(cell) * METRES[rows.units.get(heading, "m").lower()]
        if kind == "number":
            return read_again.number(cell)
        if kind == "day":
            return read_again.day(cell)
        if kind == "moment":
            return _moments(cell)
        return " ".join(cell.lower().replace("_", " ").split()) if kind == "word" else cell

    def _readings(self, record: int) -> dict[tuple[str, int], tuple[float, str]]:
        query = "SELECT quantity, ordinal, value, unit FROM level_reading WHERE level_record_id = ?"
        return {(name, at): (value, unit) for name, at, value, unit in self.connection.execute(query, (record,))}


def _is_named(heading: str, said: str) -> bool:
    """Return whether a message names a heading, whatever signs that cannot be printed became in it."""
    said = re.sub(r"\\x[0-9a-f]{2}|\\u[0-9a-f]{4}|\\[tnr]", "", said)
    return re.sub(r"[^a-z0-9]", "", heading) in re.sub(r"[^a-z0-9]", "", said.lower())


def _written_readings(cells: dict[str, str], rows: Rows) -> dict[tuple[str, int], tuple[float, str]]:
    readings = {}
    for quantity in QUANTITIES:
        for ordinal in (1, 2, 3):
            heading = quantity if ordinal == 1 else f"{quantity}_{ordinal}"
            if cell := cells.get(heading, "").strip():
                unit = rows.units.get(heading, "m")
                readings[quantity, ordinal] = (
                    read_again.number(cell),
                    {"ftus": "ftUS"}.get(unit.lower(), unit.lower()),
                )
    return readings


def _event_moments(cells: dict[str, str]) -> set[dt.datetime]:
    """Return the instants that an event can have, or its local day where no time of day is written."""
    at = cells.get("measured_at", "").strip()
    if len(at) > len("2025-12-31"):
        return _moments(at)
    if at:
        return {read_again.day(at)}  # type: ignore[arg-type]
    if not cells.get("time", "").strip():  # the time of day is not known: any of that day will do
        return {read_again.day(cells["date"])}  # type: ignore[arg-type]
    return _utc(dt.datetime.combine(read_again.day(cells["date"]), read_again.clock(cells["time"])))


def _moments(cell: str) -> set[dt.datetime]:
    date, _, clock = cell.replace("T", " ").partition(" ")
    return _utc(dt.datetime.combine(read_again.day(date), read_again.clock(clock) if clock.strip() else dt.time()))


def _utc(local: dt.datetime) -> set[dt.datetime]:
    """Return the instants that a wall-clock time can be, two of them in the hour that comes twice."""
    return {local.replace(fold=fold, tzinfo=ZONE).astimezone(dt.UTC).replace(tzinfo=None) for fold in (0, 1)}


def _same(kind: str, wanted: Any, got: Any) -> bool:
    if wanted is None or got is None:
        return wanted is got
    if kind in ("length", "number"):
        return abs(wanted) <= LARGEST and abs(wanted - got) <= 1e-6 * max(1.0, abs(wanted))
    if kind == "day":
        return wanted.isoformat() == got
    if kind in ("moment", "event"):
        moment = dt.datetime.fromisoformat(got)
        local = moment.replace(tzinfo=dt.UTC).astimezone(ZONE).date()
        return moment in wanted or (kind == "event" and local in wanted)
    if kind == "readings":
        return wanted == got and all(abs(value) <= LARGEST for value, _ in wanted.values())
    return bool(wanted == got)


#: Headings that each table knows, by the documentation.
KNOWN: Final = {
    "wells": (
        "site well easting northing longitude latitude coordinate_accuracy aquifer cluster purpose role ground_elevation "
        "ground_accuracy total_depth drilled_on decommissioned_on replaced_by access_notes hazards notes"
    ),
    "construction": "site well part top_depth bottom_depth diameter material installed_on removed_on notes",
    "measuring_points": (
        "site well access valid_from valid_until elevation height_above_ground vertical_datum description surveyed_on "
        "surveyed_by survey_method accuracy accuracy_1sd change notes"
    ),
    "tape_checks": "instrument checked_on tape_reading reference_reading checked_by notes",
    "stages": "site gauge measured_at date time water_elevation easting northing aquifer notes",
    "level_events": (
        "site well date time measured_at round status depth_to_water depth_below_ground water_elevation depth_to_water_2 "
        "depth_to_water_3 depth_to_product product_relative_density sounded_depth instrument method observer access "
        "discharge quality notes event chosen_reading accuracy accuracy_1sd tape_at_mark tape_at_water "
        "tape_temperature tape_tension"
    ),
}
