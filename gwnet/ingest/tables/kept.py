"""A correction touches only the columns that its file has: the others keep their values on record.

The values are put into the parsed rows before the rules of a row run, so that a row is checked and compared as it would
stand on record. Lengths are kept in the unit in which they are stored, so that they come back to the last digit.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Mapping
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection

from gwnet.ingest.tables.declared import KEY_CELLS, NUMBER_KINDS, QUANTITIES, WAYS, Column
from gwnet.ingest.tables.events import READINGS, events_on_record
from gwnet.ingest.tables.lookup import Codes
from gwnet.ingest.tables.parse import Moments, Parsed
from gwnet.ingest.tables.preview import is_missing
from gwnet.ingest.tables.recording import live_rows, row_keys, same
from gwnet.ingest.tables.registry import SUBJECTS, stored_as

_Live = dict[int, Mapping[str, Any]]

#: Columns whose values are codes of identities.
_CODES: Final[dict[str, str]] = {
    "well": "well",
    "aquifer": "aquifer",
    "instrument": "instrument",
    "barometer": "instrument",
    "round": "gauging_round",
}

_READING_OF: Final = {column: (quantity, ordinal) for column, quantity, ordinal in READINGS}


def keep_absent(connection: Connection, made: Parsed, codes: Codes) -> None:
    """Give the columns that a correction's file lacks their values on record.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection of the loading transaction.
    made : gwnet.ingest.tables.parse.Parsed
        Parsed table; its values are filled in. A row that is not on record and lacks a required column is rejected.
    codes : gwnet.ingest.tables.lookup.Codes
        Codes on record.
    """
    absent = [column for column in made.table.columns if _may_be_kept(made, column)]
    if not absent or not made.count:
        return
    live = _on_record(connection, made, codes)
    lacking = [column.name for column in absent if column.required]
    for row in np.flatnonzero(made.good).tolist() if lacking else ():
        if row not in live:
            _refuse_new(made, row, lacking)
    code_of = {name: {number: key for key, number in codes.ids[name].items()} for name in set(_CODES.values())}
    for column in absent:
        put = _filler(made, column, code_of)
        for row, known in live.items():
            value = _stored(made, column, known)
            if not is_missing(value) and not _said_otherwise(made, column.name, row, known):
                put(row, value)


def _may_be_kept(made: Parsed, column: Column) -> bool:
    if column.name in made.raw.places:
        return False
    # the record tells deployments apart without their well
    is_deployed_well = (made.table.name, column.name) == ("deployments", "well")
    return is_deployed_well or column.name not in KEY_CELLS[made.table.name]


def _on_record(connection: Connection, made: Parsed, codes: Codes) -> _Live:
    """Return the live row on record of each row of the file that has one."""
    # Problems of the keys are noted when the rows are recorded; here they must not be noted a first time.
    trial = Parsed(made.raw, dict(made.values), made.good.copy())
    if made.table.name == "level_events":
        return dict(events_on_record(connection, trial, codes))
    subject = SUBJECTS[made.table.name]
    live = live_rows(connection, subject)
    keys = row_keys(trial, subject, subject.columns(trial, codes), codes)
    return {row: live[key] for row, key in enumerate(keys) if key in live}


def _refuse_new(made: Parsed, row: int, lacking: list[str]) -> None:
    words = ", ".join(lacking)
    message = f"The row is not on record, and the file has no column {words}, which a new row needs."
    fix = "Check the columns of the key, or add the missing column."
    made.reject(row, None, "required", message, fix)


def _stored(made: Parsed, column: Column, known: Mapping[str, Any]) -> Any:
    """Return the value on record of a column; for a reading its value, unit and text."""
    if column.name in _READING_OF and made.table.name == "level_events":
        return known["readings"].get(_READING_OF[column.name])
    if column.name in QUANTITIES and made.table.name == "thresholds":
        return known["value_m"] if known["quantity"] == column.name else None
    return known[stored_as(column)]


def _said_otherwise(made: Parsed, name: str, row: int, known: Mapping[str, Any]) -> bool:
    """Return whether the row says anew, in other columns, what this column says on record.

    A well whose easting and northing are on record and whose longitude and latitude are corrected lies where the new
    ones say; the old ones would go before them.
    """
    ways = WAYS.get(made.table.name, ())
    if not any(name in way for way in ways):
        return False
    others = [other for way in ways if name not in way for other in way if other in made.raw.places]
    for other in others:
        new, old = float(made.values[other][row]), _stored(made, made.table.column(other), known)
        changed = is_missing(old) or (made.table.column(other).kind == "coordinate" and not same(new, old))
        if not np.isnan(new) and changed:
            return True
    return False


def _filler(made: Parsed, column: Column, code_of: dict[str, dict[int, Any]]) -> Callable[[int, Any], None]:
    """Return what puts a value on record into a row of the parsed column."""
    values = made.values[column.name]
    if column.name in _READING_OF and made.table.name == "level_events":
        return _reading_filler(made, column.name)
    if column.name in _CODES:
        codes = code_of[_CODES[column.name]]

        def put_code(row: int, number: int) -> None:
            code = codes[number]
            values[row] = code[1] if isinstance(code, tuple) else code

        return put_code
    if column.kind == "length":
        made.kept_units[column.name] = np.full(made.count, "m", dtype=object)
    read: Callable[[Any], Any] = _plain
    if column.kind in NUMBER_KINDS:
        read = float
    elif column.kind == "list":
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
    """Return the entries of a list as they would stand in a cell: names, or limits by name."""
    found = json.loads(text)
    return [f"{name}={number!r}" for name, number in found.items()] if isinstance(found, dict) else found


def _moment_filler(values: Moments) -> Callable[[int, dt.datetime], None]:
    def put(row: int, instant: dt.datetime) -> None:
        values.local[row] = np.datetime64(instant.astimezone(dt.UTC).replace(tzinfo=None), "us")
        values.offset[row] = 0.0
        values.has_time[row] = True

    return put


def _reading_filler(made: Parsed, name: str) -> Callable[[int, tuple[float, str, str]], None]:
    units = made.kept_units[name] = np.full(made.count, "m", dtype=object)
    cells = made.kept_cells[name] = [""] * made.count

    def put(row: int, reading: tuple[float, str, str]) -> None:
        made.values[name][row], units[row], cells[row] = reading

    return put
