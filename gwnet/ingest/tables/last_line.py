"""A last line without its line end: many programs write files so, and a copy that stopped early looks the same.

A cut number is still a number (13.551, 13.55, 13.5), and so are dates and codes. Where the last cell could be such a
rest, somebody has to say that the line is complete; a cut text is only reported.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from gwnet.ingest.tables.parse import Parsed
from gwnet.records import Rejection
from gwnet.store.columns import Column

#: Whether lines without an end are complete, or who is asked for each of them.
IsComplete = bool | Callable[[Rejection], bool]

#: Kinds of which no shorter cell is another valid one; an empty cell is.
_WHOLE_OR_WRONG: Final = frozenset({"choice", "flag"})


def check_last_line(parsed: Parsed, is_complete: IsComplete) -> None:
    """Refuse a last row without its line end whose last cell may have been cut, unless it is said to be complete.

    Parameters as `gwnet.ingest.tables`.

    Parameters
    ----------
    is_complete : bool or callable
        Whether such a line is complete; or a function that is asked, with the rejection that it would be.
    """
    sheet = parsed.raw.sheet
    row = max((row for row, number in enumerate(sheet.numbers) if number == sheet.open_row), default=None)
    if sheet.open_row is None or row is None or not parsed.good[row]:
        return
    column, cell, heading = _last_cell(parsed, row)
    at = f"row {sheet.open_row}, the last line, has no line end"
    if column is None or not _can_be_cut(column, cell):
        parsed.raw.warnings.append(f"{at}; nothing shows that something is missing")
        return
    reads = f"reads {cell!r} and may have been longer" if cell else "is empty and may have been filled"
    rejection = Rejection(
        parsed.table.name,
        sheet.file,
        sheet.open_row,
        heading,
        cell,
        "line-not-ended",
        f"The last line has no line end, as after a copy that stopped early: its cell under {heading!r} {reads}.",
        "If the line is complete, load with --last-line-complete; otherwise copy the file again.",
    )
    if is_complete(rejection) if callable(is_complete) else is_complete:
        parsed.raw.warnings.append(f"{at}; it was taken as complete")
        return
    parsed.rejections.append(rejection)
    parsed.good[row] = False


def _last_cell(parsed: Parsed, row: int) -> tuple[Column | None, str, str]:
    """Return the column that reads the last cell of a row, the cell, and its heading in the file."""
    sheet = parsed.raw.sheet
    if sheet.open_column:
        heading, cells = sheet.origins[sheet.open_column]
        return parsed.table.column(sheet.open_column), cells[row].strip(), heading
    place = len(sheet.headings) - 1
    column = next((column for column in parsed.table.columns if parsed.raw.places.get(column.name) == place), None)
    return column, sheet.rows[row][place].strip(), sheet.headings[place].strip()


def _can_be_cut(column: Column, cell: str) -> bool:
    """Return whether a cell could be the beginning of another one that would have been read otherwise."""
    return column.kind != "text" and not (cell and column.kind in _WHOLE_OR_WRONG)
