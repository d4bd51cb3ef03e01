"""The filled cells of a sheet of a workbook, row by row: what is empty costs nothing, however far out it is."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final, NoReturn

from openpyxl.utils import column_index_from_string
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, from_excel, from_ISO8601

from gwnet.ingest.readers.package import Attributes, Handlers, Package, date_styles, plain_text, shared_texts

#: Rows and columns that a sheet can have.
LAST_ROW: Final[int] = 1_048_576
LAST_COLUMN: Final[int] = 16_384

#: Numbers as they are in a part, in the digits 0 to 9 alone; anything else stays text and is refused as a number.
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
_PLACE: Final = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_WHOLE: Final = re.compile(r"[0-9]{1,9}")
_LONGEST_NUMBER: Final[int] = 400


@dataclass(frozen=True)
class Cell:
    """A filled cell.

    Attributes
    ----------
    place : int
        Its column, from 0.
    value : object
        Text, number, bool, date, time or duration; a formula as text with an equals sign.
    kind : str
        ``value``, ``formula`` or ``error``.
    """

    place: int
    value: Any
    kind: str = "value"


class Workbook:
    """What the sheets of a workbook share.

    Parameters
    ----------
    package : gwnet.ingest.readers.package.Package
        The open workbook.
    """

    def __init__(self, package: Package) -> None:
        self.package = package
        self.texts = shared_texts(package)
        self.dates, self.durations = date_styles(package)

    def rows(self, part: str) -> Iterator[tuple[int, list[Cell]]]:
        """Yield the rows of a sheet that have a filled cell.

        Parameters
        ----------
        part : str
            Part of the sheet.

        Yields
        ------
        tuple of int and list of Cell
            Number of the row, from 1, and its filled cells from left to right.
        """
        reader = _Reader(self)
        for _ in self.package.stream(part, Handlers(reader.start, reader.end, reader.text)):
            yield from reader.done
            reader.done.clear()


@dataclass
class _Reader:
    """Gathers the cells of the rows that the parser comes across."""

    book: Workbook
    done: list[tuple[int, list[Cell]]] = field(default_factory=list)
    row: int = 0
    cells: list[Cell] = field(default_factory=list)
    place: int = -1
    style: str = ""
    kind: str = ""
    formula: bool = False
    in_rows: bool = False
    in_cell: bool = False
    taking: bool = False
    spoken: bool = False
    pieces: list[str] = field(default_factory=list)

    def start(self, name: str, attributes: Attributes) -> None:
        if self.in_cell:
            if name == "rPh":
                self.spoken = True
            elif name == "f":
                self.formula = self.taking = True
                self.pieces.clear()
            elif name in {"v", "t"}:
                self.taking = not self.formula and not self.spoken
                # what stands there is the number of a text elsewhere, or a text that the sheet says is a number
                if (name == "t") != (self.kind == "inlineStr"):
                    self._refuse(
                        f"A cell in row {self.row} of a sheet holds something else than its kind {self.kind!r}"
                    )
        elif name == "c" and self.in_rows:
            self._begin_cell(attributes)
        elif name == "row" and self.in_rows:
            self._begin_row(attributes.get("r", ""))
        elif name == "sheetData":
            self.in_rows = True

    def end(self, name: str) -> None:
        if name == "c" and self.in_cell:
            self._end_cell()
        elif name in {"v", "t", "f"}:
            self.taking = False
        elif name == "rPh":
            self.spoken = False
        elif name == "row" and self.cells:
            self.done.append((self.row, self.cells))
            self.cells = []
        elif name == "sheetData":
            self.in_rows = False

    def text(self, piece: str) -> None:
        if self.taking:
            self.pieces.append(piece)

    def _begin_row(self, number: str) -> None:
        # A row or cell may leave out its place: then it follows the one before.
        row = int(number) if _WHOLE.fullmatch(number) else (0 if number else self.row + 1)
        if not self.row < row <= LAST_ROW:
            self._refuse(f"Row {number or row} after row {self.row} of a sheet is out of order")
        self.row, self.place = row, -1

    def _begin_cell(self, attributes: Attributes) -> None:
        written = attributes.get("r")
        place = self.place + 1
        if written is not None:
            parts = _PLACE.fullmatch(written)
            place = -1 if parts is None or int(parts[2]) != self.row else column_index_from_string(parts[1]) - 1
        if not self.place < place < LAST_COLUMN:
            self._refuse(f"Cell {written or place + 1!r} in row {self.row} of a sheet is out of order")
        self.place = place
        self.style, self.kind = attributes.get("s", "0"), attributes.get("t", "n")
        self.in_cell, self.formula, self.spoken = True, False, False
        self.pieces.clear()

    def _end_cell(self) -> None:
        self.in_cell = self.taking = False
        text = "".join(self.pieces)
        if self.formula:
            self.cells.append(Cell(self.place, f"={plain_text(text)}", "formula"))
        elif text:
            value, kind = self._value(text)
            if not isinstance(value, str) or value.strip():
                self.cells.append(Cell(self.place, value, kind))

    def _value(self, text: str) -> tuple[Any, str]:
        """Return the value that the text of a cell stands for, and of what kind the cell is."""
        plain = text.strip()
        if self.kind in {"str", "inlineStr"}:
            return plain_text(text), "value"
        if self.kind == "s":
            number = int(plain) if _WHOLE.fullmatch(plain) else len(self.book.texts)
            if number >= len(self.book.texts):
                self._refuse(f"A cell in row {self.row} of a sheet refers to text {plain[:20]}, which is not there")
            return self.book.texts[number], "value"
        if self.kind == "b" and plain in {"0", "1", "true", "false"}:
            return plain in {"1", "true"}, "value"
        if self.kind == "e":
            return plain, "error"
        if self.kind not in {"n", "d"}:
            self._refuse(f"A cell in row {self.row} of a sheet is of the unknown kind {self.kind[:20]!r}")
        return self._number(plain)

    def _number(self, plain: str) -> tuple[Any, str]:
        """Return a number, or the date, time or duration that its style shows it as; other text as it is."""
        if self.kind == "d":
            try:
                return from_ISO8601(plain), "value"
            except (ValueError, OverflowError):
                return plain, "value"
        if len(plain) > _LONGEST_NUMBER or not _NUMBER.fullmatch(plain):
            return plain, "value"
        value = float(plain) if set(plain) & set(".eE") else int(plain)
        style = int(self.style) if _WHOLE.fullmatch(self.style) else 0
        if style not in self.book.dates:
            return value, "value"
        # Some workbooks, once those of another computer, count their days from 1904.
        epoch = CALENDAR_MAC_1904 if self.book.package.counts_from_1904 else CALENDAR_WINDOWS_1900
        try:
            return from_excel(value, epoch, timedelta=style in self.book.durations), "value"
        except (ValueError, OverflowError):
            return "#VALUE!", "error"

    def _refuse(self, what: str) -> NoReturn:
        self.book.package.refuse(f"{what}: the workbook is damaged.")
