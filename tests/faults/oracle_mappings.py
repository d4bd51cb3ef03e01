"""Compares what an import has stored with what mapping and files say, both read by other means."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import re
import sqlite3
import tomllib
from collections.abc import Iterator
from fnmatch import fnmatch
from typing import Any, Final

from ..helpers import ROOT
from . import mutate_text, read_again
from .mutate_text import Mutation
from .oracle_tables import LARGEST, METRES, ZONE

_WORDS: Final = (
    *(
        '"m"',
        '"ft"',
        '"cm"',
        '"in"',
        '"km"',
        '"FT"',
        '"cell"',
        '"ftUS"',
        '"feet"',
        '"kPa"',
        '"up"',
        "0.3048",
        "1e99",
        "-1",
    ),
    *(
        '"Station"',
        '"East"',
        '"North"',
        '"Depth (ft)"',
        '"Ground (ft)"',
        '"Rim (in)"',
        '"State"',
        '"Nothing"',
        "1",
        "3",
    ),
    *('"readings"', '"stations"', '"*"', '"/Depth/"', '"/((((/"', '"/(a+)+$/"', '["East", "North"]', '["%d.%m.%Y"]'),
    *(
        '["%Q"]',
        '["%m/%d/%Y", "%d/%m/%Y"]',
        "7",
        "0",
        "-3",
        "true",
        "[]",
        "{}",
        "1979-05-27",
        "inf",
        "nan",
        '""',
        "'''",
    ),
    *('"\\u0000"', '"static"', '"dry"', '"wells"', '"level_events"', '[["x"]]', '{ column = "Station" }', "[{}]"),
    *('{ column = "East", plus = "North" }', '{ value = "7" }', '{ column = "Station", pattern = "(((" }'),
    *('{ column = "Station", only = { column = "State", matches = "[" } }', '[{ column = "Who" }, { value = "x" }]'),
    *('{ column = "Station", lookup = { from = "stations", key = 7, value = {} } }', '{ file = "(rea" }', "[7, 8]"),
    *('{ column = "Depth (ft)", unit = "m" }', '{ column = "Depth (ft)", factor = 10 }', '[{ well = "MW-1" }]'),
)
_KEYS: Final = (
    *("decimal", "thousands", "widths", "footer", "comment", "wide", "pass_over", "units_below", "encoding", "given"),
    *("no_level", "changes", "join", "above", "plus", "minus", "positive", "otherwise", "pattern", "zone", "only"),
    *("time_unknown", "lookup", "label", "delimiter", "sheet", "value", "unit", "factor", "column", "missing", "words"),
)


def change_word(content: bytes, rng: random.Random) -> bytes:
    """Write another value after a key, of a line or within a rule."""
    text = content.decode("utf-8")
    places = list(re.finditer(r"(?<= = )(\"[^\"\n]*\"|\[[^\]\n]*\]|[0-9.]+|\{[^}\n]*\})", text))
    place = rng.choice(places)
    return f"{text[: place.start()]}{rng.choice(_WORDS)}{text[place.end() :]}".encode()


def change_key(content: bytes, rng: random.Random) -> bytes:
    """Misspell a key or the name of a table, or write another key."""
    text = content.decode("utf-8")
    place = rng.choice(list(re.finditer(r"[a-z_]{4,}(?= = |\])", text)))
    word = place[0]
    other = rng.choice([word[:-1], word + "s", word.upper(), *rng.sample(_KEYS, 3)])
    return f"{text[: place.start()]}{other}{text[place.end() :]}".encode()


def change_alike(content: bytes, rng: random.Random) -> bytes:
    """Write another unit, column, format, factor or word of ours where one is: what a person confuses."""
    text = content.decode("utf-8")
    alike = rng.choice(_ALIKE)
    pattern = "|".join(re.escape(f"= {word}") for word in alike)
    if places := list(re.finditer(pattern, text)):
        place = rng.choice(places)
        return f"{text[: place.start()]}= {rng.choice(alike)}{text[place.end() :]}".encode()
    return content


def add_key(content: bytes, rng: random.Random) -> bytes:
    """Add a key with any value to a source, a table or a rule."""
    text = content.decode("utf-8")
    key = f"{rng.choice(_KEYS)} = {rng.choice(_WORDS)}"
    ends = [(found.end(), f", {key}") for found in re.finditer(r"\{[^}\n]*(?= \})", text)]
    ends += [(found.end(), f"\n{key}") for found in re.finditer(r"^(\[.*\]|name = .*)$", text, re.MULTILINE)]
    at, more = rng.choice(ends)
    return f"{text[:at]}{more}{text[at:]}".encode()


_ALIKE: Final = (
    ('"ft"', '"m"', '"cm"', '"in"', '"ftUS"', '"mm"', '"feet"'),
    ('"East"', '"North"', '"Ground (ft)"', '"Depth (cm)"', '"Rim (in)"', "2", "4", '"NORTH"'),
    ('"Station"', '"Who"', '"State"', '"Clock"', '"Date"', '"Depth (ft)"', "1", "6", '"station"'),
    ('["%d/%m/%Y"]', '["%m/%d/%Y"]', '["%d/%m/%Y", "%m/%d/%Y"]', '["%m/%d/%Y", "%d/%m/%Y"]', '["%Y-%m-%d"]'),
    ("0.0254", "0.3048", "0.03", "1", "-0.0254", "0.254"),
    ('"static"', '"dry"', '"pumping"', '"obstructed"', '"Static "', '""'),
    ('"readings*"', '"*.csv"', '"stations*"', '"readings.csv"', '"STATIONS.*"'),
    ('["-99"]', "[]", '["-99", "S"]', '["13.12"]'),
)

MAPPING_MUTATIONS: Final[tuple[Mutation, ...]] = (
    *mutate_text.ANY_TEXT,
    *((change_alike,) * 20 + (change_word,) * 12 + (change_key,) * 4 + (add_key,) * 6),
)

_SELECTED: Final = {
    "wells": (
        "SELECT r.source_row, w.code, r.easting, r.northing, r.ground_elevation_m, r.total_depth_m FROM well_record r "
        "JOIN well w ON w.id = r.well_id",
        {
            "well": "text",
            "easting": "number",
            "northing": "number",
            "ground_elevation": "length",
            "total_depth": "length",
        },
    ),
    "measuring_points": (
        "SELECT r.source_row, w.code, r.valid_from_utc, r.elevation_m FROM measuring_point r JOIN well w ON w.id = r.well_id",
        {"well": "text", "valid_from": "day", "elevation": "length"},
    ),
    "level_events": (
        "SELECT r.source_row, w.code, e.measured_at_utc, r.status, r.observer, r.id FROM level_record r "
        "JOIN level_event e ON e.id = r.level_event_id JOIN well w ON w.id = e.well_id",
        {"well": "text", "(when)": "moment", "status": "status", "observer": "text", "(readings)": "readings"},
    ),
}
_KNOWN: Final = {"column", "value", "unit", "factor", "words", "otherwise", "formats", "missing"}
_NONE: Final = {"", "-", "--", "---", "NaN", "nan", "NA", "N/A", "n/a", "null", "NULL", "None"}
#: Statuses that go with a depth to water.
_WITH_NUMBER: Final = {"static", "pumping", "recovering", "nearby pumping"}


class NotReadError(Exception):
    """The mapping says what this reader does not know; other tests look at that."""


def faults(record: sqlite3.Connection, mapping: bytes, files: dict[str, bytes], said: str) -> Iterator[str]:
    """Yield where the record differs from what mapping and files say.

    Parameters
    ----------
    record : sqlite3.Connection
        The record; all of its wells, points and levels came by the import.
    mapping : bytes
        The mapping.
    files : dict of str to bytes
        The files by their names.
    said : str
        What the command said.
    """
    try:
        keys: dict[str, Any] = tomllib.loads(mapping.decode("utf-8").replace("\r\n", "\n").replace("\r", "\n"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        yield f"the mapping is no TOML, and was accepted: {error}"
        return
    yield from _unknown_keys(keys)
    for table in keys["table"]:
        name = table["name"]
        if name not in _SELECTED or table.get("from") not in keys.get("source", {}):
            continue
        source = keys["source"][table["from"]]
        fitting = [file for file in files if fnmatch(file, str(source.get("file", "*")))]
        if len(fitting) == 1 and sum(one["name"] == name for one in keys["table"]) == 1:
            yield from _table_faults(record, table, source, fitting[0], files[fitting[0]], keys, said)


def _documented() -> set[str]:
    page = (ROOT / "gwnet" / "docs" / "import.md").read_text(encoding="utf-8")
    return set(re.findall(r"^\|[^|]*\| `(\w+)` \|", page, re.MULTILINE))


def _unknown_keys(keys: dict[str, Any]) -> Iterator[str]:
    known = _documented()
    parts = [("top", {key for key in keys if key not in ("source", "table")})]
    parts += [(f"source.{name}", set(source)) for name, source in keys.get("source", {}).items()]
    parts += [("table", set(table)) for table in keys["table"]]
    for part, given in parts:
        if given - known:
            yield f"[{part}] has unknown keys {sorted(given - known)}, and was accepted"


def _table_faults(
    record: sqlite3.Connection,
    table: dict[str, Any],
    source: dict[str, Any],
    file: str,
    content: bytes,
    keys: dict[str, Any],
    said: str,
) -> Iterator[str]:
    query, kinds = _SELECTED[table["name"]]
    where = " JOIN source_file f ON f.id = r.source_file_id WHERE f.name = ? AND r.retired_at_utc IS NULL"
    stored = record.execute(query + where, (file,)).fetchall()
    if set(source) - {"file", "heading_row", "missing", "sheet"} or set(table) - {"name", "from", "columns"}:
        return
    written = dict(_rows(content, source))
    missing = {*_NONE, *map(str, source.get("missing", []))}
    for number, *values in stored:
        if number not in written:
            yield f"{table['name']}: a row is stored as of line {number}, which is none of {file}"
            continue
        cells = written[number]
        if len(cells) < len(written[0]):
            yield f"{table['name']}, line {number}: {len(cells)} cells under {len(written[0])} headings were accepted"
            continue
        if len(cells) > len(written[0]) and any(cell.strip() for cell in cells[len(written[0]) :]):
            if "unquoted" not in said:
                yield f"{table['name']}, line {number}: {len(cells)} cells were accepted without a word"
            continue
        row = _Row(written[0], cells, table["columns"], missing)
        for (name, kind), value in zip(kinds.items(), values, strict=True):
            try:
                yield from _differences(record, f"{file}, line {number}, {name}", row, name, kind, value)
            except NotReadError:
                continue
    if table["name"] == "level_events":
        distinct = {tuple(cells): number for number, cells in written.items() if number}
        lost = set(distinct.values()) - {number for number, *_ in stored}
        if lost and len({tuple(written[number]) for number in lost}) and not _is_said(lost, said):
            yield f"lines {sorted(lost)} of {file} are not stored, and nothing was said"


def _is_said(lost: set[int], said: str) -> bool:
    return bool(re.search(r"\b(unchanged|passed over|without|rejected|already)\b", said)) or not lost


def _decode(content: bytes) -> str:
    """Return the text of a file: UTF-16 with a mark or with zero bytes, UTF-8, cp1252, or Latin-1, which reads all."""
    if content[1:2] == b"\0":
        return content.decode("utf-16-le")
    try:
        return read_again.decode(content) if content[:2] in (b"\xff\xfe", b"\xfe\xff") else content.decode("utf-8-sig")
    except UnicodeDecodeError:
        pass
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError:
        return content.decode("latin-1")


def _rows(content: bytes, source: dict[str, Any]) -> Iterator[tuple[int, list[str]]]:
    """Yield lines with their numbers; the headings first, as line 0."""
    text = _decode(content)
    begin = int(source.get("heading_row", 1))
    delimiter, headings, before = ",", None, 0
    for line in text.splitlines():
        if line.strip():
            delimiter = max(",;\t|", key=line.count)
            break
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    for cells in reader:
        number, before = before + 1, reader.line_num
        if not any(cell.strip() for cell in cells):
            continue
        if headings is None and number >= begin:
            headings = [" ".join(cell.split()) for cell in cells]
            while headings and not headings[-1]:
                headings.pop()
            yield 0, headings
        elif headings is not None:
            yield number, cells


class _Row:
    """Reads the cells of one row by the rules of a mapping."""

    def __init__(self, headings: list[str], cells: list[str], rules: dict[str, Any], missing: set[str]) -> None:
        self.headings, self.cells, self.rules, self.missing = headings, cells, rules, missing

    def rule(self, name: str) -> dict[str, Any]:
        """Return the rule of a column."""
        rule = self.rules.get(name, {"value": ""})
        rule = rule if isinstance(rule, dict) else {"column": rule}
        if set(rule) - _KNOWN or isinstance(rule.get("column", ""), list):
            raise NotReadError
        return rule

    def cell(self, name: str) -> str:
        """Return the cell of a column of ours, in our words."""
        rule = self.rule(name)
        cell = str(rule["value"]) if "value" in rule else self.cells[self._place(rule["column"])]
        cell = cell.strip()
        cell = "" if cell in self.missing | set(map(str, rule.get("missing", []))) else cell
        words = {str(key).casefold(): str(value) for key, value in rule.get("words", {}).items()}
        return words.get(cell.casefold(), str(rule.get("otherwise", cell)))

    def _place(self, reference: Any) -> int:
        if isinstance(reference, int):
            return reference - 1
        if reference[:1] == "/":
            raise NotReadError
        return [heading.casefold() for heading in self.headings].index(" ".join(reference.split()).casefold())

    def length(self, name: str) -> tuple[float, str] | None:
        """Return a number and its unit."""
        cell, rule = self.cell(name), self.rule(name)
        if not cell:
            return None
        unit = {"feet": "ft", "ftus": "ftus"}.get(
            str(rule.get("unit", "m")).lower(), str(rule.get("unit", "m")).lower()
        )
        if unit == "cell":
            raise NotReadError
        factor = {"in": 0.0254, "km": 1000.0}.get(unit, 1.0)
        unit = "m" if unit in ("in", "km") else unit
        return read_again.number(cell) * float(rule.get("factor", 1)) * factor, unit

    def day(self, name: str) -> dt.date:
        """Return a day."""
        cell = self.cell(name)
        for form in self.rule(name).get("formats", []):
            if not cell.isascii():
                break
            try:
                return dt.datetime.strptime(cell, form).date()  # noqa: DTZ007 (a day)
            except ValueError:
                continue
        return read_again.day(cell)


def _differences(record: sqlite3.Connection, where: str, row: _Row, name: str, kind: str, got: Any) -> Iterator[str]:
    try:
        wanted = _wanted(row, name, kind)
    except (ValueError, KeyError) as error:
        yield f"{where}: {got!r} is stored, and the cell cannot be read: {error}"
        return
    if kind == "readings":
        query = "SELECT quantity, value, unit FROM level_reading WHERE level_record_id = ?"
        got = {quantity: (value, unit.lower()) for quantity, value, unit in record.execute(query, (got,))}
    if kind in ("day", "moment") and got is not None:
        local = dt.datetime.fromisoformat(got).replace(tzinfo=dt.UTC).astimezone(ZONE)
        got = (
            local.date()
            if kind == "day" or (isinstance(wanted, dt.date) and not isinstance(wanted, dt.datetime))
            else local
        )
        wanted = wanted if not isinstance(wanted, dt.datetime) else wanted.replace(tzinfo=ZONE)
    if not _is_same(wanted, got):
        yield f"{where}: {got!r} is stored, mapping and file say {wanted!r}"


def _wanted(row: _Row, name: str, kind: str) -> Any:
    if kind == "readings":
        status, length = _status(row), row.length("depth_to_water")
        if length is None or status not in {*_WITH_NUMBER, "dry"}:
            return {}
        return {"depth_to_water" if status != "dry" else "sounded_depth": length}
    if kind == "status":
        return _status(row)
    if kind == "moment":
        clock = row.cell("time")
        return dt.datetime.combine(row.day("date"), read_again.clock(clock)) if clock else row.day("date")
    if kind == "day":
        return row.day(name)
    cell = row.cell(name)
    if kind == "text":
        return cell or None
    if not cell:
        return None
    number, unit = row.length(name)  # type: ignore[misc]
    return number * METRES[unit] if kind == "length" else number


def _status(row: _Row) -> str:
    word = " ".join(row.cell("status").lower().replace("_", " ").split())
    if word in ("", "static"):
        return "static" if row.length("depth_to_water") else "not measured"
    return word


def _is_same(wanted: Any, got: Any) -> bool:
    if isinstance(wanted, dict):
        return wanted.keys() == got.keys() and all(
            unit == got[name][1] and _is_same(value, got[name][0]) for name, (value, unit) in wanted.items()
        )
    if isinstance(wanted, float) and isinstance(got, int | float):
        return abs(wanted) <= LARGEST and abs(wanted - got) <= 1e-6 * max(1.0, abs(wanted))
    return bool(wanted == got)
