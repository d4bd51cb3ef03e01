"""Cells, columns and texts that several sections share."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pandas as pd

from gwnet.reporting.changes import Change, is_read_below_screen, why_no_number
from gwnet.reporting.content import Cell, Column, Group, Table, cell_text, is_empty
from gwnet.reporting.measures import Measures, date_of
from gwnet.reporting.rounds import Event

NOT_ON_RECORD = "not on record"
WITHIN_UNCERTAINTY = "smaller than its half-width: not distinguishable from no change"
BOUND_SIGNS = {"<=": "≤", ">=": "≥", "": ""}


def length_column(heading: str, measures: Measures, *, group: str = "", signed: bool = False, fewer: int = 0) -> Column:
    """Return a column of lengths in the report's unit, with fewer decimals where asked."""
    decimals = max(measures.decimals - fewer, 1) if fewer else measures.decimals
    return Column(heading, measures.unit, decimals, "right", signed=signed, group=group)


def length_cell(metres: Any, measures: Measures, reason: str = NOT_ON_RECORD) -> Cell:
    """Return a length, or an empty cell with its reason."""
    value = measures.length(metres) if not pd.isna(metres) else math.nan
    return Cell(value, "" if math.isfinite(value) else reason)


def text_cell(value: Any, reason: str = NOT_ON_RECORD) -> Cell:
    """Return a text, or an empty cell with its reason."""
    text = text_of(value)
    return Cell(text) if text else Cell(None, reason)


def without_empty_columns(table: Table) -> Table:
    """Return a table without the columns that are empty in every row; a note names them."""
    rows = [row for row in table.rows if not isinstance(row, Group)]
    empty = [
        index
        for index in range(len(table.columns))
        # Empty for another reason says something of the wells, and stays.
        if rows and all(is_empty(row[index].value) and row[index].reason == NOT_ON_RECORD for row in rows)
    ]
    if not empty:
        return table
    kept = [index for index in range(len(table.columns)) if index not in empty]
    names = dict.fromkeys(_column_name(table.columns[index]) for index in empty)
    return replace(
        table,
        columns=tuple(table.columns[index] for index in kept),
        rows=tuple(row if isinstance(row, Group) else tuple(row[index] for index in kept) for row in table.rows),
        notes=(*table.notes, f"Not on record for any of these wells: {', '.join(names)}."),
    )


def without_shared_columns(table: Table) -> Table:
    """Return a table without the columns whose value is the same in every row; a note gives it once."""
    rows = [row for row in table.rows if not isinstance(row, Group)]
    # In few rows a shared value is chance, and the note would be longer than the column.
    if len(rows) < 5:
        return table
    shared = [
        index
        # Columns that name the row stay, whatever they hold.
        for index in range(table.identified_by, len(table.columns))
        if len({(row[index].value, row[index].reason, row[index].prefix) for row in rows}) == 1
        and not is_empty(rows[0][index].value)
    ]
    if not shared:
        return table
    kept = [index for index in range(len(table.columns)) if index not in shared]
    said = ", ".join(
        f"{_column_name(table.columns[index])} {cell_text(rows[0][index], table.columns[index])}"
        + (f" {table.columns[index].unit}" if table.columns[index].unit else "")
        for index in shared
    )
    return replace(
        table,
        columns=tuple(table.columns[index] for index in kept),
        rows=tuple(row if isinstance(row, Group) else tuple(row[index] for index in kept) for row in table.rows),
        notes=(*table.notes, f"The same at all of them: {said}."),
    )


def _column_name(column: Column) -> str:
    parts = (column.group, "accuracy" if column.heading == "±" else column.heading)
    return " ".join(part for part in parts if part).lower()


def text_of(value: Any) -> str:
    """Return a value of a frame as text, empty when there is none."""
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return ""
    return str(value).strip()


def number_of(value: Any) -> float:
    """Return a value of a frame as a number, NaN when there is none."""
    return math.nan if value is None or pd.isna(value) else float(value)


def number_cell(value: float, reason: str) -> Cell:
    """Return a number, or an empty cell with its reason."""
    return Cell(value, "" if math.isfinite(value) else reason)


def day_text(value: Any) -> str:
    """Return a day, time or ISO text as a day, empty when there is none."""
    day = date_of(value)
    return day.isoformat() if day else ""


def bound_sign(event: Event) -> str:
    """Return the sign before the elevation of a bound; empty for a number, also one read below the screen."""
    return "" if is_read_below_screen(event) else BOUND_SIGNS.get(str(event["bound"]), str(event["bound"]))


def below_screen_text(event: Event, measures: Measures) -> str:
    """Return what a level that was read below the screen says of the aquifer."""
    return f"below the screen; the head of the aquifer is at or below {measures.text(event['bound_elevation_m'])}"


def event_well(event: Event) -> str:
    """Return the well of an event, with the access where it is not the main one."""
    access = text_of(event["access"])
    return str(event["well"]) if access in ("", "main") else f"{event['well']} ({access})"


def elevation_cell(event: Event, measures: Measures) -> Cell:
    """Return the water elevation of an event with its sign, and why it is not comparable where it is not."""
    value = measures.length(event["water_elevation_m"])
    why = why_no_number(event)
    if not math.isfinite(value):
        return Cell(None, why or NOT_ON_RECORD)
    if is_read_below_screen(event):
        return Cell(value, below_screen_text(event, measures))
    if event["bound"]:
        return Cell(value, "only a bound is known", prefix=bound_sign(event))
    return Cell(value, f"left out of maps and trends: {why}" if why else "")


def change_cell(change: Change, measures: Measures) -> Cell:
    """Return a change, marked where it is within its uncertainty, or the reason why there is none."""
    if not change.known:
        return Cell(None, change.reason)
    is_clear = change.is_significant or not math.isfinite(change.uncertainty_m)
    return Cell(measures.length(change.value_m), "" if is_clear else WITHIN_UNCERTAINTY, faint=not is_clear)
