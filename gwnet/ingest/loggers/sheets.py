"""Sheets of workbooks as delimited text, so that a logger's workbook is read like any other of its files."""

from __future__ import annotations

import csv
import datetime as dt
import shutil
import tempfile
import weakref
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from gwnet.errors import LayoutError, UnreadableFileError
from gwnet.ingest.readers import read_bytes
from gwnet.ingest.readers.package import Package
from gwnet.ingest.readers.sheet_cells import Workbook
from gwnet.ingest.readers.workbook import cell_text

#: How a sheet is written as text.
DELIMITER: Final[str] = ","

_ARCHIVE: Final = b"PK\x03\x04"

#: Blank rows of a sheet that are kept, so that lines are its rows; a cell far below is no reading.
_MOST_BLANK: Final = 10_000


@dataclass(frozen=True)
class SheetText:
    """One sheet as text; its lines are the rows of the sheet.

    Attributes
    ----------
    path : pathlib.Path
        The text; removed when the object is no longer used.
    title : str
        Name of the sheet.
    titles : tuple of str
        Names of all filled sheets that are shown.
    """

    path: Path
    title: str
    titles: tuple[str, ...]


def sheet_text(path: Path, sheet: str = "") -> SheetText | None:
    """Return a sheet of a workbook as text.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    sheet : str, optional
        Name of the sheet; the first filled one unless given.

    Returns
    -------
    SheetText or None
        None where the file is no workbook, or cannot be read.

    Raises
    ------
    UnreadableFileError
        If it begins as a workbook and is none, or is damaged.
    LayoutError
        If it has no such sheet.
    """
    try:
        with path.open("rb") as file:
            # By its first bytes, whatever its name is.
            if file.read(len(_ARCHIVE)) != _ARCHIVE:
                return None
        state = path.stat()
    except OSError:
        return None
    return _written(str(path), state.st_mtime_ns, state.st_size, sheet)


@lru_cache(maxsize=4)
def _written(name: str, _changed_ns: int, _size: int, sheet: str) -> SheetText:
    """Write a sheet as text; kept for the next look at the same file."""
    try:
        package = Package(Path(name).name, read_bytes(Path(name)))
    except UnreadableFileError as error:
        message = "The file begins like a workbook or zip archive, and no workbook can be read from it."
        raise UnreadableFileError(message, where=name, fix=error.fix) from None
    book = Workbook(package)
    filled = [part for part in package.sheets if part.part and part.visible and any(True for _ in book.rows(part.part))]
    if not filled:
        message = "The workbook has no filled sheet that is shown."
        raise UnreadableFileError(message, where=name, fix="Check that it is the right one.")
    titles = tuple(part.title for part in filled)
    chosen = next((part for part in filled if not sheet or part.title.casefold() == sheet.casefold()), None)
    if chosen is None:
        message = f"The workbook has no filled sheet {sheet!r}."
        raise LayoutError(message, where=name, fix=f"It has {', '.join(map(repr, titles))}: change [text] sheet.")
    folder = tempfile.mkdtemp(prefix="gwnet-sheet-")
    text = Path(folder) / "sheet.csv"
    written = SheetText(text, chosen.title, titles)
    # The text goes when the cache lets go of it, or the program ends.
    weakref.finalize(written, shutil.rmtree, folder, ignore_errors=True)
    with text.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter=DELIMITER, lineterminator="\n")
        line = 0
        for number, cells in book.rows(chosen.part):
            # A workbook leaves out blank rows; without them no line number would be that of the sheet.
            file.write("\n" * min(number - line - 1, _MOST_BLANK))
            line = number
            row = [""] * (cells[-1].place + 1)
            for cell in cells:
                row[cell.place] = " ".join(cell_text(_to_the_second(cell.value)).split())
            writer.writerow(row)
    return written


def _to_the_second(value: Any) -> Any:
    """Return a time to the second where it is one but for the rounding of a day's fraction."""
    if not isinstance(value, dt.datetime):
        return value
    # A cell holds a day as a fraction in binary, so that 10:15 comes out some microseconds off.
    rounded = (value + dt.timedelta(milliseconds=500)).replace(microsecond=0)
    return rounded if abs(rounded - value) < dt.timedelta(milliseconds=5) else value
