"""Reads tables from text and workbooks by other means than the program does: a file is read twice, by two readers.

The rules are those of the documentation: comma, semicolon or tab; UTF-8 with or without a mark, UTF-16 with one, else
Latin-1; a unit in square brackets; a decimal comma or point for the whole file; ISO dates or day.month.year.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import zipfile
from dataclasses import dataclass
from typing import Final
from xml.etree import ElementTree

_PLAIN: Final = re.compile(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?")
_ISO: Final = re.compile(r"([0-9]{4})-([0-9]{1,2})-([0-9]{1,2})")
_DOTTED: Final = re.compile(r"([0-9]{1,2})\.([0-9]{1,2})\.([0-9]{4})")
_CLOCK: Final = re.compile(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2})(?:\.[0-9]+)?)?")
_MAIN: Final = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION: Final = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


@dataclass(frozen=True)
class Rows:
    """A table as it stands in a file.

    Attributes
    ----------
    headings : list of str
        Names of the columns, in lower case with underscores.
    units : dict of str to str
        Units in the headings.
    rows : list of tuple
        Number of the row and its cells; blank rows are left out.
    is_text : bool
        Whether it was read from text, in which each row has every cell; a workbook leaves empty ones out.
    """

    headings: list[str]
    units: dict[str, str]
    rows: list[tuple[int, list[str]]]
    is_text: bool

    def cells(self) -> list[tuple[int, dict[str, str]]]:
        """Return rows as mappings from heading to cell."""
        return [(number, dict(zip(self.headings, cells, strict=False))) for number, cells in self.rows]


def _with_headings(lines: list[tuple[int, list[str]]], *, is_text: bool) -> Rows:
    written = lines[0][1]
    headings, units = [], {}
    for heading in written:
        name, _, unit = heading.partition("[")
        name = re.sub(r"[\s_]+", "_", name.strip()).lower()
        headings.append(name)
        if "]" in unit:
            units[name] = unit.partition("]")[0].strip()
    return Rows(headings, units, lines[1:], is_text)


def decode(content: bytes) -> str:
    """Return the text of a file."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Windows-1252 has no sign for five bytes; ISO 8859-1 has one for each
        has_each_sign = not set(content) & {0x81, 0x8D, 0x8F, 0x90, 0x9D}
        return content.decode("cp1252" if has_each_sign else "latin-1")


def read_text(content: bytes) -> Rows:
    """Read delimited text."""
    text = decode(content)
    head = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    lines, before = [], 0
    for cells in reader:
        if any(cell.strip() for cell in cells):
            lines.append((before + 1, cells))
        before = reader.line_num
    return _with_headings(lines, is_text=True)


def read_book(content: bytes) -> dict[str, Rows]:
    """Read the sheets of a workbook, by title; a date among them stays the number that it is in the file."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        shared = []
        if "xl/sharedStrings.xml" in archive.namelist():
            root = ElementTree.fromstring(archive.read("xl/sharedStrings.xml"))
            shared = ["".join(part.text or "" for part in item.iter(f"{_MAIN}t")) for item in root]
        relations = ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
        targets = {relation.get("Id"): relation.get("Target", "") for relation in relations}
        book = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        read = {}
        for sheet in book.iter(f"{_MAIN}sheet"):
            target = targets[sheet.get(_RELATION)]
            part = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            lines = _sheet_lines(ElementTree.fromstring(archive.read(part)), shared)
            if lines:
                read[str(sheet.get("name"))] = _with_headings(lines, is_text=False)
    return read


def _sheet_lines(root: ElementTree.Element, shared: list[str]) -> list[tuple[int, list[str]]]:
    lines = []
    for row in root.iter(f"{_MAIN}row"):
        cells: dict[int, str] = {}
        place = 0
        for cell in row.iter(f"{_MAIN}c"):
            place = _place(cell.get("r") or "", row.get("r") or "") or place + 1  # without one it is the next
            cells[place - 1] = _cell_text(cell, shared)
        texts = [cells.get(at, "") for at in range(max(cells, default=-1) + 1)]
        if any(text.strip() for text in texts):
            lines.append((int(str(row.get("r"))), texts))
    return lines


def _place(written: str, row: str) -> int:
    """Return the column, from 1, of a cell such as B7; 0 where it names none."""
    match = re.fullmatch(r"([A-Z]*)([0-9]*)", written.upper())
    if match is None or match[2] not in ("", row):
        message = f"cell {written!r} stands in row {row}"
        raise ValueError(message)
    place = 0
    for letter in match[1]:
        place = place * 26 + ord(letter) - 64
    return place


def _cell_text(cell: ElementTree.Element, shared: list[str]) -> str:
    value = cell.find(f"{_MAIN}v")
    formula = cell.find(f"{_MAIN}f")
    if formula is not None:
        return f"={formula.text or ''}"
    if cell.get("t") == "s":
        return shared[int(value.text or "")] if value is not None else ""
    if cell.get("t") == "inlineStr":
        return "".join(part.text or "" for part in cell.iter(f"{_MAIN}t"))
    return value.text or "" if value is not None else ""


def number(cell: str) -> float:
    """Return the number of a cell; a decimal comma counts as a point.

    Raises
    ------
    ValueError
        If it is not written as a plain number in digits 0 to 9.
    """
    plain = cell.strip()
    if not _PLAIN.fullmatch(plain):
        message = f"{plain!r} is no plain number"
        raise ValueError(message)
    return float(plain.replace(",", "."))


def day(cell: str) -> dt.date:
    """Return the day of a cell.

    Raises
    ------
    ValueError
        If it is not a day in one of the two ways.
    """
    plain = re.sub(r"[T ]00:00:00$", "", cell.strip())
    if match := _ISO.fullmatch(plain):
        return dt.date(*map(int, match.groups()))
    if match := _DOTTED.fullmatch(plain):
        return dt.date(*map(int, reversed(match.groups())))
    message = f"{plain!r} is no day"
    raise ValueError(message)


def clock(cell: str) -> dt.time:
    """Return the time of day of a cell.

    Raises
    ------
    ValueError
        If it is none.
    """
    match = _CLOCK.fullmatch(cell.strip())
    if match is None:
        message = f"{cell!r} is no time of day"
        raise ValueError(message)
    hour, minute, second = (int(part or 0) for part in match.groups())
    return dt.time(hour, minute, second)
