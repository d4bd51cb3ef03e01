"""Workbooks (.xlsx): one sheet a table; cells turned into the text that a CSV file would hold."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from openpyxl.utils import get_column_letter

from gwnet.errors import UnreadableFileError
from gwnet.ingest.readers.package import Package, SheetPart
from gwnet.ingest.readers.sheet_cells import Cell, Workbook
from gwnet.ingest.tables.raw import RawSheet, is_help
from gwnet.records import Rejection

#: Columns that a table can have at most.
MOST_COLUMNS: Final[int] = 500


def read_workbook(name: str, content: bytes) -> list[RawSheet]:
    """Read a workbook.

    Returns
    -------
    list of gwnet.ingest.tables.raw.RawSheet
        Its sheets that are not empty, not hidden and not named in round brackets. Formulas and error values are
        problems of their cells; cells under a heading in round brackets are passed over.

    Raises
    ------
    UnreadableFileError
        If it is not a workbook, is not whole, or unpacks to more than a table could be.
    """
    package = Package(name, content)
    book = Workbook(package)
    tables = [sheet for sheet in package.sheets if sheet.part and not is_help(sheet.title)]
    sheets = [_sheet(package, book, sheet) for sheet in tables if sheet.visible]
    filled_sheets = [sheet for sheet in sheets if sheet is not None]
    hidden = [sheet.title for sheet in tables if not sheet.visible and any(True for _ in book.rows(sheet.part))]
    if not filled_sheets:
        words = f" but hidden ones ({', '.join(hidden)})" if hidden else ""
        message = f"The workbook has no filled sheet{words}."
        raise UnreadableFileError(message, where=name, fix="Check that it is the right one.")
    filled_sheets[0].warnings.extend(
        f"sheet {title!r} is hidden and was passed over; show it if it is to be loaded" for title in hidden
    )
    return filled_sheets


def _sheet(package: Package, book: Workbook, sheet: SheetPart) -> RawSheet | None:
    where = f"{package.name} [{sheet.title}]"
    headings: list[str] | None = None
    rows: list[list[str]] = []
    numbers: list[int] = []
    rejections: list[Rejection] = []
    helps: frozenset[int] = frozenset()
    for number, cells in book.rows(sheet.part):
        if all(cell.place in helps for cell in cells):
            continue
        if headings is None:
            headings = _headings(package, sheet, cells)
            helps = frozenset(place for place, heading in enumerate(headings) if is_help(heading))
            continue
        rows.append(_row(where, number, cells, headings, rejections))
        numbers.append(number)
    if headings is None:
        return None
    return RawSheet(where, sheet.title, headings, rows, numbers, rejections)


def _headings(package: Package, sheet: SheetPart, cells: list[Cell]) -> list[str]:
    last = cells[-1]
    if last.place >= MOST_COLUMNS:
        message = (
            f"Sheet {sheet.title!r} has a heading in column {get_column_letter(last.place + 1)}; "
            f"a table has at most {MOST_COLUMNS} columns."
        )
        package.refuse(message, "Check that the sheet is a table with its headings in the first filled row.")
    headings = [""] * (last.place + 1)
    for cell in cells:
        headings[cell.place] = cell_text(cell.value)
    return headings


def _row(where: str, number: int, cells: list[Cell], headings: list[str], rejections: list[Rejection]) -> list[str]:
    texts = [""] * len(headings)
    beyond = [cell for cell in cells if cell.place >= len(headings)]
    for cell in cells[: len(cells) - len(beyond)]:
        heading = headings[cell.place].strip()
        at = f"Cell {get_column_letter(cell.place + 1)}{number}"
        if is_help(heading):
            continue
        if cell.kind == "formula":
            message = f"{at} holds a formula; a formula is not a reading."
            fix = "Replace it by its value (paste as values)."
            rejections.append(
                Rejection("", where, number, heading, cell_text(cell.value)[:100], "formula", message, fix)
            )
        elif cell.kind == "error":
            message = f"{at} holds the error value {cell.value}."
            fix = "Type the value itself."
            rejections.append(Rejection("", where, number, heading, str(cell.value), "error-cell", message, fix))
        else:
            texts[cell.place] = cell_text(cell.value)
    if beyond:
        first = beyond[0]
        more = f" and {len(beyond) - 1} more are" if len(beyond) > 1 else " is"
        message = f"Cell {get_column_letter(first.place + 1)}{number}{more} beyond the last heading, {headings[-1]!r}."
        fix = "Give the column a heading, or empty it."
        value = cell_text(first.value)[:100]
        rejections.append(Rejection("", where, number, None, value, "row-too-long", message, fix))
    return texts


def cell_text(value: Any) -> str:
    """Return a cell's value as the text that a CSV file would hold."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        if value.time() == dt.time():
            return value.date().isoformat()
        return value.isoformat(timespec="microseconds" if value.microsecond else "seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, dt.timedelta):
        return str(value)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, float):
        return repr(value)
    return str(value)
