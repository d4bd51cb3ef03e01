"""The columns of every frame that the record gives, and how a select becomes one, fast on both databases.

`FRAMES` declares them: name and kind, from which follow type and unit. Frames of tables that can be loaded take their
columns from `gwnet.store.contract`, so that a column that is declared there is in the frame.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sqlalchemy import Connection, Select, Text, type_coerce

from gwnet.store.contract import BY_NAME, READINGS
from gwnet.store.models.base import SQLITE_TIME_FORMAT, UtcDateTime
from gwnet.store.sqlite_files import damage

#: Kinds of columns in frames, with their type: text (missing: empty), numbers (missing: NaN), whole numbers and truth
#: values (never missing), instants in UTC (missing: NaT), and objects (missing: None): dates as ``datetime.date``,
#: truth values that may be missing, and what JSON text holds.
DTYPES: Final[dict[str, str]] = {
    "text": "object",
    "number": "float64",
    "whole": "int64",
    "flag": "bool",
    "instant": "datetime64[us, UTC]",
    "date": "object",
    "maybe": "object",
    "json": "object",
}

#: Types that no value of a kind has, and what a value of it is.
_NEVER_IN: Final[dict[str, set[type]]] = {
    "number": {str, bytes},
    "whole": {str, bytes, float},
    "flag": {str, bytes},
    "maybe": {str, bytes},
    "text": {bytes},
    "json": {bytes},
    "date": {str, bytes, int, float},
    "instant": {bytes},
}
_MEANT: Final[dict[str, str]] = {
    "number": "number",
    "whole": "whole number",
    "flag": "truth value",
    "maybe": "truth value",
    "text": "text",
    "json": "JSON",
    "date": "date",
    "instant": "instant",
}

#: Units that the ends of names stand for.
_UNITS: Final[dict[str, str]] = {
    "_m": "m",
    "_mm": "mm",
    "_l_s": "L/s",
    "_ms": "ms",
    "_utc": "UTC",
    "_minutes": "min",
    "_min": "min",
    "_days": "d",
    "_bytes": "B",
}

#: Kinds of columns in frames by the kinds of columns in files; the others are text.
_KIND_IN_FRAME: Final[dict[str, str]] = {
    "length": "number",
    "number": "number",
    "coordinate": "number",
    "date": "date",
    "timestamp": "instant",
    "flag": "maybe",
    "list": "json",
    "duration": "number",
    "rate": "number",
}


@dataclass(frozen=True)
class FrameColumn:
    """One column of a frame.

    Attributes
    ----------
    name : str
        Name.
    kind : str
        One of `DTYPES`.
    """

    name: str
    kind: str

    @property
    def dtype(self) -> str:
        """Return its type."""
        return DTYPES[self.kind]

    @property
    def unit(self) -> str:
        """Return its unit, empty for none or where another column says it."""
        return next((unit for end, unit in _UNITS.items() if self.name.endswith(end)), "")


FrameColumns = tuple[FrameColumn, ...]


def declare(text: str) -> FrameColumns:
    """Return the columns that a text declares.

    Parameters
    ----------
    text : str
        Names separated by blanks, each with its kind after a colon; without one it is text.

    Examples
    --------
    >>> [column.dtype for column in declare("well depth_m:number")]
    ['object', 'float64']
    """
    parts = (word.partition(":") for word in text.split())
    return tuple(FrameColumn(name, kind or "text") for name, _, kind in parts)


def _of_table(name: str, *, ids: str = "", first: str = "", without: str = "", last: str = "", **before: str) -> str:
    """Return the columns of the frame of a table: ids, some of its own and others in an order, and the rest of its own.

    ``before`` puts further columns before some of its own.
    """
    own = {}
    for column in BY_NAME[name].columns:
        if column.converts_to and not column.reading:
            continue  # read as another column, so there is nothing of its own on record
        kind = _KIND_IN_FRAME.get(column.kind, "text")
        if column.kind == "whole":
            # A whole number that may be missing needs NaN, which only floats have.
            kind = "number" if column.default is None and not column.required else "whole"
        own[column.name] = f"{column.name if column.of else column.frame_name}:{kind}"
    words = [f"{number}:whole" for number in ids.split()]
    words += [own.pop(heading, heading) for heading in first.split()]
    for heading, column_text in own.items():
        if heading not in without.split():
            words += [before.get(heading, ""), column_text]
    return " ".join([*words, last])


_RECORDED: Final = "recorded_at_utc:instant recorded_by reason"
_SOURCE: Final = "source source_row:number"

#: Frames by the name of what they hold; ``_id`` ends names of numbers of rows.
FRAMES: Final[dict[str, FrameColumns]] = {
    name: declare(text)
    for name, text in {
        "sites": _of_table("sites", ids="site_id"),
        "aquifers": _of_table("aquifers", ids="aquifer_id"),
        # the screens span all open parts that are not removed
        "wells": _of_table(
            "wells",
            ids="well_id",
            first="site well aquifer cluster purpose role",
            drilled_on="screen_top_m:number screen_bottom_m:number",
        ),
        "construction": _of_table("construction", ids="well_id"),
        "measuring_points": _of_table(
            "measuring_points",
            ids="measuring_point_id well_id",
            last=f"{_RECORDED} retired_at_utc:instant retired_reason {_SOURCE}",
        ),
        "sources": "source_file_id:whole name sha256 size_bytes:whole layout row_count:whole loaded_at_utc:instant "
        "loaded_by",
        "mappings": "name sha256 recorded_at_utc:instant recorded_by files:whole",
        "instruments": _of_table("instruments", ids="instrument_id"),
        "tape_checks": _of_table("tape_checks", ids="instrument_id", last=_SOURCE),
        # the wells of a round are a list of codes in order, empty for all
        "rounds": _of_table("rounds", ids="round_id"),
        # the value is in terms of the quantity: an elevation, a depth, a change, or a difference of head over 1 m
        "thresholds": _of_table(
            "thresholds",
            ids="well_id",
            without="water_elevation depth_to_water depth_below_ground change",
            days="quantity value_m:number",
        ),
        "stages": _of_table(
            "stages", without="measured_at date time", water_elevation="measured_at_utc:instant time_known:flag"
        ),
        "context": _of_table("context"),
        # when is an instant, or a time since the start of the test
        "pumping_tests": _of_table("pumping_tests", ids="pumping_test_id well_id", last=_SOURCE),
        "pumping_rates": _of_table(
            "pumping_rates",
            ids="well_id",
            without="from",
            rate="from_utc:instant from_elapsed_min:number",
            last=_SOURCE,
        ),
        "pumping_readings": _of_table(
            "pumping_readings",
            ids="pumping_reading_id well_id",
            without="measured_at date time",
            elapsed="measured_at_utc:instant",
            instrument="instrument_id:number",
            last=f"{_RECORDED} {_SOURCE}",
        ),
        "register_entries": _of_table("register"),
        # the access is that of the measuring point from which the hanging depth is read; a barometer has no well
        "deployments": _of_table("deployments", ids="deployment_id", instrument="access", installed_at="kind"),
        "deployments_at": "deployment_id:whole site well instrument installed_at_utc:instant last_sample_utc:instant",
        "level_records": _of_table(
            "level_events",
            ids="event_id record_id",
            without=f"measured_at date time {' '.join(column for column, _, _ in READINGS)}",
            first="site well well_id:whole aquifer access event measured_at_utc:instant time_known:flag "
            "local_offset_minutes:whole round status instrument_id:number instrument method observer "
            "product_relative_density chosen_reading",
            last=f"{_RECORDED} {_SOURCE}",
        ),
        # the value is in the unit of its row; written is the text of the cell
        "readings": "record_id:whole quantity ordinal:whole value:number unit written",
        "reviews": "event_id:whole state remark recorded_by recorded_at_utc:instant",
        # a finding of a whole round has no well and no event
        "findings": "finding_id:whole site well event_id:number measured_at_utc:instant time_known:maybe "
        "local_offset_minutes:number round rule severity limits message recorded_at_utc:instant decision decided_by "
        "decided_at_utc:instant decision_reason",
        "live_findings": "verdict_id:whole event_id:number site well round rule severity",
        "series": "series_id:whole instrument quantity unit segment:whole first_utc:instant last_utc:instant "
        "sample_count:whole packed_count:whole",
        "latest": "series_id:whole time_ms:whole value:number",
        "downloads": "download_id:whole source_file_id:number series_id:whole file sha256 layout layout_text zone "
        "instrument quantity unit first_utc:instant first_ms:number last_utc:instant last_ms:number rows:whole "
        "added:whole same:whole repeated:whole conflicts:whole missing:whole events:whole recorded_at_utc:instant "
        "recorded_by",
        "conflicts": "series_id:whole instrument quantity time_utc:instant stored:number stored_unit given:number unit "
        "file row:number",
        # the parameters are a dict
        "corrections": "correction_id:whole series_id:whole instrument quantity kind start_utc:instant end_utc:instant "
        "parameters:json reason recorded_by recorded_at_utc:instant",
        "states": "serial:whole recorded_at_utc:instant recorded_by act reason program digest",
        # what was corrected or withdrawn; the new value is empty for a withdrawal
        "changes": "recorded_at_utc:instant recorded_by subject well item was now reason",
        "happenings": "recorded_at_utc:instant recorded_by subject act item was now reason source",
    }.items()
}


def frame(connection: Connection, statement: Select[*tuple[Any, ...]], columns: FrameColumns | str) -> pd.DataFrame:
    """Run a select and return its rows with the columns declared for them.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        Connection to read from.
    statement : sqlalchemy.Select
        Select with labelled columns, in any order. Instants may be stored as such or as milliseconds since 1970.
    columns : tuple of FrameColumn, or str
        Columns, or the name of a frame in `FRAMES`; those that the select lacks are left out.

    Returns
    -------
    pandas.DataFrame
        The declared columns that the select has, in their order and with their types.
    """
    declared = FRAMES[columns] if isinstance(columns, str) else columns
    selected = list(statement.selected_columns)
    if connection.dialect.name == "sqlite":
        bare = [
            # As text: a hundred thousand instants are read far faster by pandas than one by one by the driver.
            type_coerce(column, Text()).label(column.key) if isinstance(column.type, UtcDateTime) else column
            for column in selected
        ]
        statement = statement.with_only_columns(*bare, maintain_column_froms=True)
    rows = connection.execute(statement).fetchall()
    if not rows:
        names = {str(column.key) for column in selected}
        # A copy, as callers may add columns to what the cache holds.
        return _without_rows(tuple(column for column in declared if column.name in names)).copy()
    by_column = list(zip(*rows, strict=True))
    values = {str(column.key): list(cells) for column, cells in zip(selected, by_column, strict=True)}
    return pd.DataFrame({c.name: _series(values[c.name], c) for c in declared if c.name in values})


@cache  # most tables of a small record are empty
def _without_rows(columns: FrameColumns) -> pd.DataFrame:
    """Return a frame without rows."""
    return pd.DataFrame({column.name: _series([], column) for column in columns})


def as_declared(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return a frame with the columns of a declared one, in their order and with their types.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame that has all of them.
    name : str
        Name of the frame in `FRAMES`.
    """
    dtypes = {column.name: column.dtype for column in FRAMES[name]}
    return table[list(dtypes)].astype(dtypes)


def number_groups(
    first: pd.DataFrame, second: pd.DataFrame, columns: Sequence[str]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for the rows of two frames the number of their group: rows that agree in some columns have the same.

    Parameters
    ----------
    first, second : pandas.DataFrame
        For example measuring points and the events that were read from them.
    columns : sequence of str
        Columns that both have.
    """
    # Both frames together, so that one numbering serves both.
    keys = pd.concat([first[list(columns)], second[list(columns)]], ignore_index=True)
    number = keys.groupby(list(columns), sort=False).ngroup().to_numpy(dtype=np.int64)
    return number[: len(first)], number[len(first) :]


def _series(values: list[Any], column: FrameColumn) -> pd.Series[Any]:
    """Return a column; refuse values of another type, which a damaged SQLite file may give."""
    wrong = _NEVER_IN.get(column.kind, set()) & set(map(type, values))
    if wrong:
        found = next(value for value in values if type(value) in wrong)
        what = f"column {column.name} holds {str(found)[:40]!r}, which is no {_MEANT[column.kind]}"
        raise damage(what)
    try:
        return _converted(values, column)
    except (ValueError, TypeError, OverflowError) as error:
        what = f"column {column.name} holds a value that is no {_MEANT[column.kind]}"
        raise damage(what) from error


def _converted(values: list[Any], column: FrameColumn) -> pd.Series[Any]:
    if column.kind == "instant":
        return _instants(values).astype(column.dtype)
    if column.kind == "text":
        # Missing text is empty in every frame, so that words can be compared without asking for None.
        values = ["" if value is None else value for value in values]
    elif column.kind == "json":
        values = [json.loads(text) for text in values]
    return pd.Series(values, dtype=column.dtype)


def _instants(values: list[Any]) -> pd.Series[Any]:
    """Return instants that the database gives as text, as aware times or as milliseconds."""
    first = next((value for value in values if value is not None), None)
    if isinstance(first, int):
        return pd.to_datetime(pd.Series(values, dtype="Int64"), unit="ms", utc=True)
    # A fixed form, as guessing it for each value takes most of the time.
    form = SQLITE_TIME_FORMAT if isinstance(first, str) else None
    return pd.to_datetime(pd.Series(values, dtype=object), format=form, utc=True)
