"""The record as a workbook: a sheet a table, dates as dates, numbers as numbers, text as text that never runs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import pandas as pd

from gwnet.analysis.levels.display_unit import in_unit
from gwnet.errors import OutputError
from gwnet.exchange.extract import Extract
from gwnet.exchange.registry import WHICH_PART, register_format
from gwnet.exchange.tables import ExportColumn, ExportTable, export_tables
from gwnet.plain_text import is_missing, open_workbook
from gwnet.version import PROGRAM

#: What a sheet holds at most, its headings included; and a cell (ECMA-376-1:2016, and common practice, no source).
_MOST_ROWS: Final = 1_048_576
_LONGEST_TEXT: Final = 32_767

#: Days before it have no number in a workbook; they are written as text.
_FIRST_DAY: Final = dt.date(1900, 3, 1)


@register_format(
    "xlsx",
    "every table that can be loaded, a sheet each, which `gwnet load` takes back; reduced levels, files of loggers and "
    "a readme on sheets in round brackets, which it passes over",
    ending=".xlsx",
    takes=(*WHICH_PART, "unit"),
)
def write_workbook(extract: Extract, path: Path) -> None:
    """Write the tables of an extract as a workbook.

    Parameters as `gwnet.exchange`.

    Raises
    ------
    OutputError
        If a table has more rows, or a cell more text, than a sheet holds.
    """
    tables = [_shown(table, extract.unit) for table in export_tables(extract)]
    for table in tables:
        _refuse_long(table, path.name)
    book = open_workbook(path, "Groundwater record", extract.recorded_at_utc, author=PROGRAM, row_by_row=True)
    heading = book.add_format({"bold": True, "bottom": 1})
    writers = _writers(book)
    _readme(book, extract, tables, heading)
    for table in tables:
        page = book.add_worksheet(_sheet_name(table))
        page.freeze_panes(1, 0)
        for place, column in enumerate(table.columns):
            page.set_column(place, place, min(40, max(12, len(column.name) + 2)))
            page.write_string(0, place, column.name, heading)
        kinds = [writers[column.kind] for column in table.columns]
        for number, cells in enumerate(table.frame.itertuples(index=False, name=None), start=1):
            for place, (write, value) in enumerate(zip(kinds, cells, strict=True)):
                if not is_missing(value) and value != "":
                    write(page, number, place, value)
    book.close()


def _shown(table: ExportTable, unit: str) -> ExportTable:
    """Return a table with lengths in the unit that is shown, and only the columns that are written."""
    frame = in_unit(table.frame[[column.name for column in table.columns]], unit)
    columns = tuple(
        column if name == column.name else ExportColumn(name, column.kind, unit, column.meaning)
        for column, name in zip(table.columns, map(str, frame.columns), strict=True)
    )
    return ExportTable(table.name, table.title, columns, frame, is_given=table.is_given)


def _sheet_name(table: ExportTable) -> str:
    return table.name if table.is_given else f"({table.name})"


def _refuse_long(table: ExportTable, name: str) -> None:
    if len(table.frame) >= _MOST_ROWS:
        message = f"Table {table.name} has {len(table.frame):,} rows; a sheet holds {_MOST_ROWS - 1:,}."
        raise OutputError(message, where=name, fix="Export fewer wells or a shorter time, or export parquet.")
    for column in table.columns:
        if column.kind == "text" and table.frame[column.name].astype(str).str.len().max() > _LONGEST_TEXT:
            message = f"Column {column.name} of table {table.name} has a text of more than {_LONGEST_TEXT:,} signs."
            raise OutputError(message, where=name, fix="Export datapackage or parquet.")


def _writers(book: Any) -> dict[str, Callable[[Any, int, int, Any], object]]:
    """Return what writes a value of each kind into a cell."""
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    instant = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})

    def write_date(page: Any, row: int, place: int, value: dt.date) -> object:
        if value < _FIRST_DAY:
            return page.write_string(row, place, value.isoformat())
        return page.write_datetime(row, place, dt.datetime.combine(value, dt.time()), day)

    def write_instant(page: Any, row: int, place: int, value: pd.Timestamp) -> object:
        naive = value.tz_convert("UTC").tz_localize(None).to_pydatetime()
        if naive.date() < _FIRST_DAY:
            return page.write_string(row, place, f"{naive.isoformat()}Z")
        return page.write_datetime(row, place, naive, instant)

    return {
        "text": lambda page, row, place, value: page.write_string(row, place, str(value)),
        "number": lambda page, row, place, value: page.write_number(row, place, float(value)),
        "whole": lambda page, row, place, value: page.write_number(row, place, int(value)),
        "flag": lambda page, row, place, value: page.write_boolean(row, place, bool(value)),
        "date": write_date,
        "instant": write_instant,
    }


def _readme(book: Any, extract: Extract, tables: list[ExportTable], heading: Any) -> None:
    """Write the sheet that says what the others hold: tables, and unit and meaning of each column."""
    page = book.add_worksheet("(readme)")
    page.set_column(0, 1, 30)
    page.set_column(2, 2, 8)
    page.set_column(3, 3, 90)
    sites = extract.record.sites
    datums = ", ".join(f"{row['site']}: {row['vertical_datum']}, {row['crs']}" for _, row in sites.iterrows())
    lines: list[tuple[str, ...]] = [
        ("Groundwater record",),
        ("Record as known on", extract.state_text),
        ("Vertical datum and coordinate system", datums),
        ("Made by", PROGRAM),
        ("Times", "Columns that end in _utc are UTC; measured_at is local to the site, with its offset."),
        ("Sheets in round brackets", "Were worked out from the others; gwnet load passes them over."),
        ("Bound", "<= or >= is not a measured level: the water was at or below it, or at or above it."),
        (),
        ("sheet", "column", "unit", "meaning"),
    ]
    for table in tables:
        lines.append((_sheet_name(table), "", "", table.title))
        lines += [(_sheet_name(table), column.name, column.unit, column.meaning) for column in table.columns]
    for row, cells in enumerate(lines):
        for place, text in enumerate(cells):
            page.write_string(row, place, text, heading if row in {0, 8} else None)
