"""Workbooks (.xlsx): one sheet a table; cells turned into the text that a CSV file would hold."""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
from typing import Any, Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.tables.raw import RawSheet, is_help
from gwnet.records import Rejection

#: Limits against archives made to be huge.
LARGEST_UNPACKED: Final[int] = 1 << 29
LARGEST_RATIO: Final[int] = 300
MOST_MEMBERS: Final[int] = 5_000
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
        If it is not a workbook, or unpacks to more than a table could be.
    """
    _refuse_bombs(name, content)
    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(content), data_only=False, keep_links=False)
            shown = (sheet for sheet in book.worksheets if sheet.sheet_state == "visible" and not is_help(sheet.title))
            sheets = [_sheet(name, sheet) for sheet in shown]
    except UnreadableFileError:
        raise
    except Exception as error:
        message = f"The workbook cannot be read: {type(error).__name__}: {error}."
        fix = "Open it and save it again as .xlsx, or save its sheets as CSV."
        raise UnreadableFileError(message, where=name, fix=fix) from error
    filled_sheets = [sheet for sheet in sheets if sheet is not None]
    if not filled_sheets:
        raise UnreadableFileError(
            "The workbook has no filled sheet.", where=name, fix="Check that it is the right one."
        )
    return filled_sheets


def _refuse_bombs(name: str, content: bytes) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
            unpacked = sum(member.file_size for member in members)
            if len(members) > MOST_MEMBERS or unpacked > LARGEST_UNPACKED or unpacked > LARGEST_RATIO * len(content):
                message = (
                    f"The workbook unpacks to {unpacked / 1e6:,.0f} MB in {len(members)} parts, which is too much."
                )
                raise UnreadableFileError(message, where=name, fix="Save its tables as CSV.")
            for member in members:
                if member.filename.endswith((".xml", ".rels")) and re.search(
                    rb"<!(DOCTYPE|ENTITY)", archive.read(member)
                ):
                    message = f"Part {member.filename!r} of the workbook defines entities, which no table needs."
                    raise UnreadableFileError(message, where=name, fix="Save it again with a spreadsheet program.")
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError) as error:
        message = f"The file is not a workbook, though its name says so ({error})."
        raise UnreadableFileError(message, where=name, fix="Save it again as .xlsx.") from error
    except UnreadableFileError:
        raise
    except Exception as error:
        message = f"The workbook is damaged ({type(error).__name__}: {error})."
        raise UnreadableFileError(message, where=name, fix="Save it again as .xlsx.") from error


def _sheet(name: str, sheet: Any) -> RawSheet | None:
    where = f"{name} [{sheet.title}]"
    headings: list[str] | None = None
    rows: list[list[str]] = []
    numbers: list[int] = []
    rejections: list[Rejection] = []
    helps: frozenset[int] = frozenset()
    for number, cells in enumerate(sheet.iter_rows(max_col=min(sheet.max_column or 1, MOST_COLUMNS)), start=1):
        filled = (place for place, cell in enumerate(cells) if cell.value is not None and str(cell.value).strip())
        if all(place in helps for place in filled):
            continue
        if headings is None:
            headings = [_text(cell.value) for cell in cells]
            while headings and not headings[-1].strip():
                headings.pop()
            helps = frozenset(place for place, heading in enumerate(headings) if is_help(heading))
            continue
        rows.append(_row(where, number, cells, headings, rejections))
        numbers.append(number)
    if headings is None:
        return None
    return RawSheet(where, sheet.title, headings, rows, numbers, rejections)


def _row(where: str, number: int, cells: Any, headings: list[str], rejections: list[Rejection]) -> list[str]:
    texts = []
    for place, cell in enumerate(cells):
        value = cell.value
        if place >= len(headings):
            if value is not None and str(value).strip():
                message = f"Cell {cell.coordinate} is beyond the last heading."
                fix = "Give its column a heading, or empty it."
                rejections.append(Rejection("", where, number, None, str(value), "row-too-long", message, fix))
            continue
        heading = headings[place].strip()
        if is_help(heading):
            texts.append("")
        elif cell.data_type == "f":
            message = f"Cell {cell.coordinate} holds a formula; a formula is not a reading."
            fix = "Replace it by its value (paste as values)."
            rejections.append(Rejection("", where, number, heading, _text(value)[:100], "formula", message, fix))
            texts.append("")
        elif cell.data_type == "e":
            message = f"Cell {cell.coordinate} holds the error value {value}."
            rejections.append(
                Rejection("", where, number, heading, str(value), "error-cell", message, "Type the value itself.")
            )
            texts.append("")
        else:
            texts.append(_text(value))
    return texts + [""] * (len(headings) - len(texts))


def _text(value: Any) -> str:
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
