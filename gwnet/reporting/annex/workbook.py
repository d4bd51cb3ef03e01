"""The annex of a report as one workbook: a sheet a table, text as text, numbers as numbers, nothing that runs."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from typing import Any, Final

from xlsxwriter import Workbook

from gwnet.plain_text import as_it_was, open_workbook
from gwnet.reporting.annex.package import Field, fields_of
from gwnet.reporting.measures import state_text
from gwnet.reporting.view import ReportView

#: Names of worksheets are limited to this length, and to signs other than these (from memory).
_LONGEST_NAME: Final = 31
_FORBIDDEN: Final = str.maketrans(dict.fromkeys("[]:*?/\\'", "-"))
_WIDEST: Final = 40
_NUMBER: Final = frozenset({"number", "integer"})


def annex_workbook(view: ReportView, files: Mapping[str, bytes], *, prefix: str, program: str) -> bytes:
    """Return the tables of the annex as a workbook.

    Parameters
    ----------
    view : ReportView
        The report's look at the record.
    files : mapping of str to bytes
        CSV files of the annex by file name.
    prefix : str
        What every file name starts with.
    program : str
        Program and version.

    Returns
    -------
    bytes
        XLSX; the same files give the same bytes. Text is stored as text, so that none runs as a formula; the first
        sheet says what the tables hold.
    """
    target = io.BytesIO()
    book = open_workbook(target, view.definition.title, view.data.known_on.recorded_at_utc, author=program)
    heading = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    tables = {
        name.removeprefix(f"{prefix}_").removesuffix(".csv"): content
        for name, content in files.items()
        if name.endswith(".csv")
    }
    names = _sheet_names(list(tables))
    _about(book, view, {names[short]: short for short in tables}, program, heading)
    for short, content in tables.items():
        _sheet(book, names[short], content, fields_of(content, view.measures.unit), heading)
    book.close()
    return target.getvalue()


def _sheet_names(shorts: list[str]) -> dict[str, str]:
    """Return a name for each sheet: no sign that a workbook refuses, no longer than it takes, none twice."""
    names: dict[str, str] = {}
    # In small letters: spreadsheet programs take names that differ in case alone for the same.
    taken = {"about"}
    for short in shorts:
        name, number = short.translate(_FORBIDDEN)[:_LONGEST_NAME], 1
        while name.lower() in taken:
            number += 1
            ending = f"~{number}"
            name = short.translate(_FORBIDDEN)[: _LONGEST_NAME - len(ending)] + ending
        taken.add(name.lower())
        names[short] = name
    return names


def _about(book: Workbook, view: ReportView, sheets: Mapping[str, str], program: str, heading: Any) -> None:
    page = book.add_worksheet("about")
    site = view.data.site
    lines = [
        ("Report", f"{view.definition.title}, {view.period.title()}"),
        ("Site", f"{site.name} ({site.code})" if site.name else site.code),
        ("State", view.reviews.state),
        ("Record as known on", state_text(view.data.known_on)),
        ("Vertical datum", site.vertical_datum),
        ("Coordinate system", site.crs),
        ("Unit of lengths", view.measures.unit),
        ("Made by", program),
        ("Note", "Levels that nobody has approved are provisional. A bound (<= or >=) is not a measured level."),
    ]
    for row, (name, value) in enumerate(lines):
        page.write_string(row, 0, name, heading)
        page.write_string(row, 1, value)
    start = len(lines) + 1
    page.write_string(start, 0, "Sheet", heading)
    page.write_string(start, 1, "Table", heading)
    for row, (sheet, short) in enumerate(sheets.items(), start=start + 1):
        page.write_string(row, 0, sheet)
        page.write_string(row, 1, short.replace("_", " "))
    page.set_column(0, 0, 24)
    page.set_column(1, 1, 80)


def _sheet(book: Workbook, name: str, content: bytes, fields: list[Field], heading: Any) -> None:
    page = book.add_worksheet(name)
    rows = csv.reader(io.StringIO(content.decode("utf-8"), newline=""))
    next(rows)
    widths = [len(field.name) for field in fields]
    for column, field in enumerate(fields):
        page.write_string(0, column, field.name, heading)
    count = 0
    for count, cells in enumerate(rows, start=1):
        for column, (text, field) in enumerate(zip(cells, fields, strict=True)):
            # Left out and not written as an empty text, which filters and counts take for a value.
            if not text:
                continue
            if field.kind in _NUMBER:
                page.write_number(count, column, float(text))
            else:
                # Without the apostrophe of the CSV: what is written as text is not run as a formula.
                page.write_string(count, column, as_it_was(text))
            widths[column] = max(widths[column], len(text))
    for column, width in enumerate(widths):
        page.set_column(column, column, min(width + 2, _WIDEST))
    page.freeze_panes(1, 0)
    if count:
        page.autofilter(0, 0, count, len(fields) - 1)
