"""The columns of every frame that the record gives, and how a select becomes one, fast on both databases.

`FRAMES` declares them: name and kind, from which follow type and unit. Frames of tables that can be loaded take their
columns from `gwnet.store.contract`, so that a column that is declared there is in the frame.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
from sqlalchemy import Connection, Select, Text, type_coerce

from gwnet.store.columns import Column
from gwnet.store.contract import BY_NAME
from gwnet.store.models.base import SQLITE_TIME_FORMAT, UtcDateTime

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

#: Units that the ends of names stand for.
_UNITS: Final[dict[str, str]] = {
    "_m": "m",
    "_mm": "mm",
    "_l_s": "L/s",
    "_ms": "ms",
    "_utc": "UTC",
    "_minutes": "min",
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


def declare(**kinds: str) -> FrameColumns:
    """Return columns of a frame.

    Parameters
    ----------
    **kinds : str
        Kind of each column by its name, in order.

    Returns
    -------
    tuple of FrameColumn
        The columns.
    """
    return tuple(FrameColumn(name, kind) for name, kind in kinds.items())


def _same(kind: str, names: str) -> FrameColumns:
    return tuple(FrameColumn(name, kind) for name in names.split())


def _text(names: str) -> FrameColumns:
    return _same("text", names)


def _number(names: str) -> FrameColumns:
    return _same("number", names)


def _whole(names: str) -> FrameColumns:
    return _same("whole", names)


def _instant(names: str) -> FrameColumns:
    return _same("instant", names)


def _in_frame(column: Column) -> FrameColumn:
    kind = _KIND_IN_FRAME.get(column.kind, "text")
    if column.kind == "whole":
        kind = "number" if column.default is None and not column.required else "whole"
    return FrameColumn(column.name if column.of else column.frame_name, kind)


def _of_table(
    name: str,
    *,
    ids: str = "",
    first: str = "",
    without: Sequence[str] = (),
    before: Mapping[str, FrameColumns] | None = None,
    last: FrameColumns = (),
) -> FrameColumns:
    """Return the columns of the frame of a table: ids, then its own, some of them first, with others put in between."""
    own = {column.name: _in_frame(column) for column in BY_NAME[name].columns if column.name not in without}
    columns = [*_whole(ids), *(own.pop(heading) for heading in first.split())]
    for heading, column in own.items():
        columns += [*(before or {}).get(heading, ()), column]
    return (*columns, *last)


_TIMED: Final = ("measured_at", "date", "time")
_SOURCE: Final = (*_text("source"), *_number("source_row"))

#: Frames by the name of what they hold; ``_id`` ends names of numbers of rows.
FRAMES: Final[dict[str, FrameColumns]] = {
    "sites": _of_table("sites", ids="site_id"),
    "aquifers": _of_table("aquifers", ids="aquifer_id"),
    # the screens span all open parts that are not removed
    "wells": _of_table(
        "wells",
        ids="well_id",
        first="site well aquifer cluster purpose role",
        before={"drilled_on": _number("screen_top_m screen_bottom_m")},
    ),
    "construction": _of_table("construction", ids="well_id"),
    "measuring_points": _of_table(
        "measuring_points",
        ids="measuring_point_id well_id",
        last=(
            *_instant("recorded_at_utc"),
            *_text("recorded_by reason"),
            *_instant("retired_at_utc"),
            *_text("retired_reason"),
            *_SOURCE,
        ),
    ),
    "sources": (
        *_whole("source_file_id"),
        *_text("name sha256"),
        *_whole("size_bytes"),
        *_text("layout"),
        *_whole("row_count"),
        *_instant("loaded_at_utc"),
        *_text("loaded_by"),
    ),
    "instruments": _of_table("instruments", ids="instrument_id"),
    "tape_checks": _of_table("tape_checks", ids="instrument_id", last=_SOURCE),
    # the wells of a round are a list of codes in order, empty for all
    "rounds": _of_table("rounds", ids="round_id"),
    # the value is in terms of the quantity: an elevation or a depth
    "thresholds": _of_table(
        "thresholds",
        ids="well_id",
        without=("water_elevation", "depth_to_water", "depth_below_ground"),
        before={"consecutive": (*_text("quantity"), *_number("value_m"))},
    ),
    "stages": _of_table(
        "stages",
        without=_TIMED,
        before={"water_elevation": (*_instant("measured_at_utc"), *_same("flag", "time_known"))},
    ),
    "context": _of_table("context"),
    "register_entries": _of_table("register"),
    # the access is that of the measuring point from which the hanging depth is read; a barometer has no well
    "deployments": _of_table(
        "deployments",
        ids="deployment_id",
        before={"instrument": _text("access"), "installed_at": _text("kind")},
    ),
    "deployments_at": (
        *_whole("deployment_id"),
        *_text("site well instrument"),
        *_instant("installed_at_utc last_sample_utc"),
    ),
    "level_records": (
        *_whole("event_id record_id"),
        *_text("site well"),
        *_whole("well_id"),
        *_text("aquifer access event"),
        *_instant("measured_at_utc"),
        *_same("flag", "time_known"),
        *_whole("local_offset_minutes"),
        *_text("round status"),
        *_number("instrument_id"),
        *_text("instrument method observer"),
        *_number("product_relative_density chosen_reading discharge_l_s"),
        *_text("quality notes"),
        *_instant("recorded_at_utc"),
        *_text("recorded_by reason"),
        *_SOURCE,
    ),
    # the value is in the unit of its row; written is the text of the cell
    "readings": (
        *_whole("record_id"),
        *_text("quantity"),
        *_whole("ordinal"),
        *_number("value"),
        *_text("unit written"),
    ),
    "reviews": (*_whole("event_id"), *_text("state remark recorded_by"), *_instant("recorded_at_utc")),
    "verdicts": (
        *_whole("verdict_id event_id"),
        *_text("rule severity limits message"),
        *_instant("recorded_at_utc"),
    ),
    # a finding of a whole round has no well and no event
    "findings": (
        *_whole("finding_id"),
        *_text("site well"),
        *_number("event_id"),
        *_instant("measured_at_utc"),
        *_same("maybe", "time_known"),
        *_number("local_offset_minutes"),
        *_text("round rule severity limits message"),
        *_instant("recorded_at_utc"),
        *_text("decision decided_by"),
        *_instant("decided_at_utc"),
        *_text("decision_reason"),
    ),
    "live_findings": (
        *_whole("verdict_id"),
        *_number("event_id"),
        *_text("site well round rule severity"),
    ),
    "series": (
        *_whole("series_id"),
        *_text("instrument quantity unit"),
        *_whole("segment"),
        *_instant("first_utc last_utc"),
        *_whole("sample_count"),
    ),
    "latest": (*_whole("series_id time_ms"), *_number("value")),
    "downloads": (
        *_whole("download_id"),
        *_number("source_file_id"),
        *_whole("series_id"),
        *_text("file sha256 layout layout_text zone instrument quantity unit"),
        *_instant("first_utc"),
        *_number("first_ms"),
        *_instant("last_utc"),
        *_number("last_ms"),
        *_whole("rows added same repeated conflicts missing events"),
        *_instant("recorded_at_utc"),
        *_text("recorded_by"),
    ),
    "conflicts": (
        *_whole("series_id"),
        *_text("instrument quantity"),
        *_instant("time_utc"),
        *_number("stored"),
        *_text("stored_unit"),
        *_number("given"),
        *_text("unit file"),
        *_number("row"),
    ),
    # the parameters are a dict
    "corrections": (
        *_whole("correction_id series_id"),
        *_text("instrument quantity kind"),
        *_instant("start_utc end_utc"),
        *_same("json", "parameters"),
        *_text("reason recorded_by"),
        *_instant("recorded_at_utc"),
    ),
    # what was corrected or withdrawn; the new value is empty for a withdrawal
    "changes": (*_instant("recorded_at_utc"), *_text("recorded_by subject well item was now reason")),
    "happenings": (*_instant("recorded_at_utc"), *_text("recorded_by subject act item was now reason source")),
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
            type_coerce(column, Text()).label(column.key) if isinstance(column.type, UtcDateTime) else column
            for column in selected
        ]
        statement = statement.with_only_columns(*bare, maintain_column_froms=True)
    rows = connection.execute(statement).fetchall()
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(selected)
    values = {str(column.key): list(cells) for column, cells in zip(selected, by_column, strict=True)}
    return pd.DataFrame({c.name: _series(values[c.name], c) for c in declared if c.name in values})


def as_declared(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """Return a frame with the columns of a declared one, in their order and with their types.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame that has all of them.
    name : str
        Name of the frame in `FRAMES`.

    Returns
    -------
    pandas.DataFrame
        The declared columns.
    """
    dtypes = {column.name: column.dtype for column in FRAMES[name]}
    return table[list(dtypes)].astype(dtypes)


def _series(values: list[Any], column: FrameColumn) -> pd.Series[Any]:
    if column.kind == "instant":
        return _instants(values).astype(column.dtype)
    if column.kind == "text":
        values = ["" if value is None else value for value in values]
    elif column.kind == "json":
        values = [json.loads(text) for text in values]
    return pd.Series(values, dtype=column.dtype)


def _instants(values: list[Any]) -> pd.Series[Any]:
    """Return instants that the database gives as text, as aware times or as milliseconds."""
    first = next((value for value in values if value is not None), None)
    if isinstance(first, int):
        return pd.to_datetime(pd.Series(values, dtype="Int64"), unit="ms", utc=True)
    form = SQLITE_TIME_FORMAT if isinstance(first, str) else None
    return pd.to_datetime(pd.Series(values, dtype=object), format=form, utc=True)
