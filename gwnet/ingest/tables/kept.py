"""A correction touches only the columns that its file has: the others keep their values on record.

The values are put into the parsed rows before the rules of a row run, so that a row is checked and compared as it would
be on record. Lengths are kept in the unit in which they are stored, so that they come back to the last digit.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from sqlalchemy import Connection

from gwnet.ingest.tables.convert import convert
from gwnet.ingest.tables.events import events_on_record
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Moments, Parsed
from gwnet.ingest.tables.preview import is_missing
from gwnet.ingest.tables.recording import is_same, live_rows, row_keys
from gwnet.store.columns import NUMBER_KINDS, Column
from gwnet.store.contract import LIMIT_QUANTITIES
from gwnet.store.recorded import IDENTITIES

_Live = dict[int, Mapping[str, Any]]


def keep_absent(connection: Connection, parsed: Parsed, codes: Codes) -> None:
    """Give the columns that a correction's file lacks their values on record.

    Parameters as `gwnet.ingest.tables`.
    """
    absent = [column for column in parsed.table.columns if _may_be_kept(parsed, column)]
    if not absent or not parsed.count:
        return
    live = _on_record(connection, parsed, codes)
    lacking = [column.name for column in absent if column.required]
    for row in np.flatnonzero(parsed.good).tolist() if lacking else ():
        if row not in live:
            _refuse_new(parsed, row, lacking)
    code_of = {name: {number: key for key, number in codes.ids[name].items()} for name in IDENTITIES}
    for column in absent:
        put = _filler(parsed, column, code_of)
        for row, known in live.items():
            value = _stored(parsed, column, known)
            if not is_missing(value) and not _said_otherwise(parsed, column.name, row, known):
                put(row, value)


def _may_be_kept(parsed: Parsed, column: Column) -> bool:
    # A column that only converts into another, such as an accuracy as one standard deviation, is not stored.
    if column.name in parsed.raw.places or (column.converts_to and not column.reading):
        return False
    # the record tells deployments apart without their well
    is_deployed_well = (parsed.table.name, column.name) == ("deployments", "well")
    return is_deployed_well or not column.key


def _on_record(connection: Connection, parsed: Parsed, codes: Codes) -> _Live:
    """Return the live row on record of each row of the file that has one."""
    # Problems of the keys are noted when the rows are recorded; here they must not be noted a first time.
    trial = Parsed(parsed.raw, dict(parsed.values), parsed.good.copy())
    if parsed.table.name == "level_events":
        return dict(events_on_record(connection, trial, codes))
    live = live_rows(connection, parsed.table)
    keys = row_keys(trial, convert(trial, codes).columns, codes)
    return {row: live[key] for row, key in enumerate(keys) if key in live}


def _refuse_new(parsed: Parsed, row: int, lacking: list[str]) -> None:
    words = ", ".join(lacking)
    message = f"The row is not on record, and the file has no column {words}, which a new row needs."
    fix = "Check the columns of the key, or add the missing column."
    parsed.reject(row, None, "required", message, fix)


def _stored(parsed: Parsed, column: Column, known: Mapping[str, Any]) -> Any:
    """Return the value on record of a column; for a reading its value, unit and text."""
    if column.reading:
        return known["readings"].get(column.reading)
    # One column of the record holds the limit, whatever quantity it limits.
    if column.name in LIMIT_QUANTITIES and parsed.table.name == "thresholds":
        return known["value_m"] if known["quantity"] == column.name else None
    return known[column.stored_as]


def _said_otherwise(parsed: Parsed, name: str, row: int, known: Mapping[str, Any]) -> bool:
    """Return whether the row says anew, in other columns, what this column says on record.

    A well whose easting and northing are on record and whose longitude and latitude are corrected lies where the new
    ones say; the old ones would go before them.
    """
    if _is_converted(parsed, name, row):
        return True
    ways = parsed.table.ways
    if not any(name in way for way in ways):
        return False
    others = [other for way in ways if name not in way for other in way if other in parsed.raw.places]
    for other in others:
        new, old = float(parsed.values[other][row]), _stored(parsed, parsed.table.column(other), known)
        changed = is_missing(old) or (parsed.table.column(other).kind == "coordinate" and not is_same(new, old))
        if not np.isnan(new) and changed:
            return True
    return False


def _is_converted(parsed: Parsed, name: str, row: int) -> bool:
    """Return whether the row fills the other of two columns that say one thing, such as an accuracy."""
    pairs = [(column.name, column.converts_to) for column in parsed.table.columns if column.converts_to]
    others = [other for pair in pairs if name in pair for other in pair if other != name]
    return any(other in parsed.raw.places and not np.isnan(parsed.values[other][row]) for other in others)


def _filler(parsed: Parsed, column: Column, code_of: dict[str, dict[int, Any]]) -> Callable[[int, Any], None]:
    """Return what puts a value on record into a row of the parsed column."""
    values = parsed.values[column.name]
    if column.reading:
        return _reading_filler(parsed, column.name)
    if column.of:
        codes = code_of[column.of]

        def put_code(row: int, number: int) -> None:
            code = codes[number]
            values[row] = code[1] if isinstance(code, tuple) else code

        return put_code
    if column.kind == "length":
        parsed.kept_units[column.name] = np.full(parsed.count, "m", dtype=object)
    read: Callable[[Any], Any] = _plain
    if column.kind in NUMBER_KINDS:
        read = float
    elif column.kind in {"list", "limits"}:
        read = _list_of
    elif column.kind == "date":
        read = np.datetime64
    elif column.kind == "timestamp":
        return _moment_filler(values)

    def put(row: int, value: Any) -> None:
        values[row] = read(value)

    return put


def _plain(value: Any) -> Any:
    return ("yes" if value else "no") if isinstance(value, bool) else value


def _list_of(text: str) -> list[str]:
    """Return the entries of a list as they would be in a cell: names, or limits by name."""
    stored = json.loads(text)
    return [f"{name}={number!r}" for name, number in stored.items()] if isinstance(stored, dict) else stored


def _moment_filler(values: Moments) -> Callable[[int, dt.datetime], None]:
    def put(row: int, instant: dt.datetime) -> None:
        # As an instant with its offset: on the site's clock it could exist twice.
        values.local[row] = np.datetime64(instant.astimezone(dt.UTC).replace(tzinfo=None), "us")
        values.offset[row] = 0.0
        values.has_time[row] = True

    return put


def _reading_filler(parsed: Parsed, name: str) -> Callable[[int, tuple[float, str, str]], None]:
    units = parsed.kept_units[name] = np.full(parsed.count, "m", dtype=object)
    cells = parsed.kept_cells[name] = [""] * parsed.count

    def put(row: int, reading: tuple[float, str, str]) -> None:
        parsed.values[name][row], units[row], cells[row] = reading

    return put
