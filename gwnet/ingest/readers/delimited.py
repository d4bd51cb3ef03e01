"""Delimited text: comma, semicolon or tab; UTF-8, UTF-16 with byte-order mark, or Latin-1."""

from __future__ import annotations

import codecs
import csv
import io
from dataclasses import replace
from pathlib import Path
from typing import Final

from gwnet.errors import UnreadableFileError
from gwnet.ingest.tables.raw import RawSheet, split_heading
from gwnet.plain_text import as_it_was, may_be_neutralised
from gwnet.records import Rejection
from gwnet.store.contract import TABLES

#: Longest line and cell [characters].
LONGEST_LINE: Final[int] = 1_000_000
LONGEST_CELL: Final[int] = 100_000

_KNOWN_NAMES = frozenset(name for table in TABLES for name in table.names)


def read_delimited(name: str, content: bytes) -> RawSheet:
    """Read delimited text.

    A row must have as many cells as the headings; cells beyond the last heading may be there and be empty.

    Returns
    -------
    gwnet.ingest.tables.raw.RawSheet
        Headings and rows; rows that are wholly blank are passed over.

    Raises
    ------
    UnreadableFileError
        If it is not text, a line is longer than a table's could be, or quotes do not close.
    """
    # Before anything is decoded: a file without ends of lines would be one cell of its whole size.
    _refuse_long_lines(name, content)
    text = _decoded(name, content)
    delimiter = _delimiter(text)
    # our own files lead such cells with an apostrophe, so that no spreadsheet program runs them
    was_neutralised = may_be_neutralised(text)
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    headings: list[str] | None = None
    rows: list[list[str]] = []
    numbers: list[int] = []
    rejections: list[Rejection] = []
    line = number = 0
    try:
        for cells in reader:
            number, line = line + 1, reader.line_num
            if not any(cell.strip() for cell in cells):
                continue
            if headings is None:
                headings = _without_empty_end(cells)
                continue
            if was_neutralised:
                cells = [as_it_was(cell) for cell in cells]
            rows.append(_fitted(name, number, cells, headings, rejections))
            numbers.append(number)
    except csv.Error as error:
        message = f"The file is not well-formed after row {line}: {error}."
        fix = "Check the quotes in that row; a cell with quotes in it doubles them."
        raise UnreadableFileError(message, where=name, fix=fix) from error
    if headings is None:
        raise UnreadableFileError("The file is empty.", where=name, fix="Save it again, or leave it out.")
    open_row = numbers[-1] if numbers and number == numbers[-1] and has_open_end(text) else None
    if rejections and (rejections[-1].row, rejections[-1].problem) == (open_row, "row-too-short"):
        rejections[-1] = replace(rejections[-1], fix="The file ends in this row: copy or download it again.")
    return RawSheet(name, Path(name).stem, headings, rows, numbers, rejections, delimiter, open_row=open_row)


def has_open_end(text: str) -> bool:
    """Return whether a text ends without the end of its last line, so that this line may have been cut.

    A quote that closes the last cell, or a blank line behind the last row, shows that the row is whole.
    """
    return bool(text) and not text.endswith(("\n", "\r", '"'))


def _without_empty_end(headings: list[str]) -> list[str]:
    while headings and not headings[-1].strip():
        headings.pop()
    return headings


def _fitted(name: str, number: int, cells: list[str], headings: list[str], rejections: list[Rejection]) -> list[str]:
    """Return a row with as many cells as headings; note what it lacks, or holds beyond them."""
    count = len(headings)
    if len(cells) < count:
        have = "1 cell" if len(cells) == 1 else f"{len(cells)} cells"
        message = f"The row has {have}, the heading {count}; nothing stands under {headings[len(cells)].strip()!r}."
        fix = "Fill in the cells that the row lacks; where a cell is empty, leave its delimiter."
        rejections.append(Rejection("", name, number, None, cells[-1], "row-too-short", message, fix))
        return cells + [""] * (count - len(cells))
    extra = [cell.strip() for cell in cells[count:] if cell.strip()]
    if extra:
        message = f"The row has {len(cells)} cells, the heading {count}; beyond the last, {headings[-1].strip()!r}, is "
        message += f"{', '.join(repr(cell[:40]) for cell in extra[:3])}{', …' if len(extra) > 3 else ''}."
        fix = "Put cells that hold the delimiter, such as decimal commas, in quotes, or use semicolons."
        rejections.append(Rejection("", name, number, None, extra[0], "row-too-long", message, fix))
    return cells[:count]


def _refuse_long_lines(name: str, content: bytes) -> None:
    start = 0
    number = 1
    while True:
        end = content.find(b"\n", start)
        length = (len(content) if end < 0 else end) - start
        if length > LONGEST_LINE:
            message = f"Line {number} has {length:,} bytes; a table's line has at most {LONGEST_LINE:,}."
            raise UnreadableFileError(message, where=name, fix="Check that this is a table, saved as text.")
        if end < 0:
            return
        start, number = end + 1, number + 1


def _decoded(name: str, content: bytes) -> str:
    try:
        if content.startswith(codecs.BOM_UTF8):
            return content.decode("utf-8-sig")
        if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return content.decode("utf-16")
        if b"\x00" in content:
            message = "The file holds zero bytes: it is not text."
            raise UnreadableFileError(message, where=name, fix="Save it as CSV or as a workbook (.xlsx).")
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        _refuse_cut_sign(name, content, error)
    if content.startswith((codecs.BOM_UTF8, codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        message = "The file's byte-order mark promises an encoding that its bytes do not keep."
        raise UnreadableFileError(message, where=name, fix="Save it again as UTF-8.")
    try:
        return content.decode("cp1252")
    except UnicodeDecodeError:
        # Some bytes have no sign in the encoding of Windows; in Latin-1 each has one.
        return content.decode("latin-1")


def _refuse_cut_sign(name: str, content: bytes, error: UnicodeDecodeError) -> None:
    """Refuse UTF-8 that ends within a sign; text in one byte a sign has no whole sign of several bytes before it."""
    if error.encoding == "utf-8" and error.reason == "unexpected end of data" and not content[: error.start].isascii():
        message = "The file ends in the middle of a sign: it was cut short."
        raise UnreadableFileError(message, where=name, fix="Copy or download it again.")


def _delimiter(text: str) -> str:
    """Return the delimiter under which the heading holds most known columns."""
    first = next((line for line in text.splitlines() if line.strip()), "")

    def score(delimiter: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader([first], delimiter=delimiter))
        except (csv.Error, StopIteration):
            return (0, 0)
        return (sum(split_heading(cell)[0] in _KNOWN_NAMES for cell in cells), len(cells))

    return max((",", ";", "\t"), key=score)
