"""Looking at a grid: where its table is, how it is written, and what each column holds by heading and cells."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, field, replace
from typing import Final

from gwnet.ingest.headings import Meaning, read_meaning
from gwnet.ingest.loggers.guess_notes import Notes
from gwnet.ingest.loggers.guess_shape import decimal_of
from gwnet.ingest.loggers.guess_times import looks_like_clock, looks_like_stamp
from gwnet.ingest.mapping.cells import plain_number
from gwnet.ingest.mapping.grids import Grid, SourceFile, find_widths, text_grid
from gwnet.ingest.mapping.mapping import Source
from gwnet.ingest.mapping.source_table import MISSING, SourceTable, open_table

_LOOSE_NUMBER: Final = re.compile(r"[<>~]?[+-]?(\d[\d ,.']*|[.,]\d+)([eE][+-]?\d+)?")
_PLAIN_NUMBER: Final = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")

#: Numbers that stand for no value, as -999 or -9999.0: at least three nines before the point, below zero.
_NINES: Final = re.compile(r"-9{3,}(?:\.[90]+)?")

#: Lines among which the headings are looked for, and rows below that are looked at.
_MOST_ABOVE: Final = 80
_BELOW: Final = 40
_SAMPLE: Final = 4_000
#: Most distinct words that are kept of a column.
_MOST_WORDS: Final = 80


@dataclass
class LookedColumn:
    """What a column holds.

    Attributes
    ----------
    place : int
        Its place.
    heading : str
        Its heading.
    meaning : gwnet.ingest.headings.Meaning
        What the heading says.
    kind : str
        What most cells are: number, stamp, clock, text, or empty.
    words : dict of str to int
        Distinct cells with their counts, where there are few.
    filled, distinct : int
        Filled and distinct cells of the sample.
    odd : dict of str to int
        Cells that are no numbers in a column of numbers.
    """

    place: int
    heading: str
    meaning: Meaning
    kind: str
    words: dict[str, int]
    filled: int
    distinct: int
    odd: dict[str, int] = field(default_factory=dict)


@dataclass
class Looked:
    """A grid with its table found.

    Attributes
    ----------
    file : gwnet.ingest.mapping.grids.SourceFile
        Its file.
    grid : gwnet.ingest.mapping.grids.Grid
        Its rows.
    source : gwnet.ingest.mapping.mapping.Source
        How it is to be read.
    table : gwnet.ingest.mapping.source_table.SourceTable
        The table that this gives.
    columns : list of LookedColumn
        Its columns.
    """

    file: SourceFile
    grid: Grid
    source: Source
    table: SourceTable
    columns: list[LookedColumn]

    def having(self, *quantities: str) -> list[LookedColumn]:
        """Return the filled columns whose headings name one of some quantities, in the order of these."""
        return [
            column
            for name in quantities
            for column in self.columns
            if column.meaning.quantity == name and column.filled
        ]

    def one(self, *quantities: str) -> LookedColumn | None:
        """Return the first column of one of some quantities, None where there is none."""
        found = self.having(*quantities)
        return found[0] if found else None


def look_at(file: SourceFile, grid: Grid, name: str, notes: Notes) -> Looked | None:
    """Return what a grid holds, None where it has no table.

    Parameters
    ----------
    file : gwnet.ingest.mapping.grids.SourceFile
        Its file.
    grid : gwnet.ingest.mapping.grids.Grid
        Its rows.
    name : str
        Name that the source is to have.
    notes : gwnet.ingest.loggers.guess_notes.Notes
        Takes reasons and doubts.

    Returns
    -------
    Looked or None
        The table.
    """
    widths: tuple[int, ...] = ()
    # No sign parts the cells, so that they may stand at fixed places.
    if file.text and not grid.delimiter:
        widths = find_widths(file.text)
        grid = text_grid(file.name, file.text, widths=widths, encoding=grid.encoding) if widths else grid
    # Layers and tables of databases have their headings by themselves.
    start = 0 if grid.headed else _heading_place(grid)
    if start is None and len(grid.rows) < 2:
        return None
    heading_row = grid.numbers[start] if start is not None else 0
    source = Source(name, delimiter=grid.delimiter, widths=widths, heading_row=heading_row)
    if grid.encoding not in {"", "utf-8"}:
        source = replace(source, encoding=grid.encoding)
    if start is not None:
        source = replace(source, units_below=_has_units_below(grid, start))
    decimal, thousands = _marks(grid, (start or 0) + 1 + source.units_below, notes)
    source = replace(source, decimal=decimal, thousands=thousands)
    table = open_table(replace(source, delimiter=""), file, grid)
    if not table.rows:
        return None
    # As they are written: -9999 and -9999.0 are two words, and both stand for nothing.
    nines = sorted({cell.strip() for row in table.rows for cell in row if _NINES.fullmatch(cell.strip())})
    if nines:
        source = replace(source, missing=tuple(nines))
        notes.add(f"{grid.file}: {' and '.join(nines)} stand{'s' * (len(nines) == 1)} for no value")
    said = f"{grid.file}: " + (f"headings are in line {heading_row}" if heading_row else "there are no headings")
    notes.add(said + (", units below them" if source.units_below else ""))
    for remark in table.remarks:
        notes.add(f"{grid.file}: {remark}")
    return Looked(file, grid, source, table, look_at_columns(table, source))


def look_at_columns(table: SourceTable, source: Source) -> list[LookedColumn]:
    """Return what each column of a table holds.

    Parameters as `gwnet.ingest.mapping`.

    Parameters
    ----------
    source : gwnet.ingest.mapping.mapping.Source
        How it is read.

    Returns
    -------
    list of LookedColumn
        In the order of the table.
    """
    return [
        _column(place, heading, unit, [row[place].strip() for row in table.rows], source)
        for place, (heading, unit) in enumerate(zip(table.headings, table.units, strict=True))
    ]


def _column(place: int, heading: str, unit: str, every: list[str], source: Source) -> LookedColumn:
    # Taken evenly over the table, whose beginning may be of one well.
    filled = [cell for cell in every[:: max(1, len(every) // _SAMPLE)] if cell not in {*MISSING, *source.missing}]
    counts = Counter(filled)
    kind = _kind(filled, source)
    odd = _odd(every, source) if kind == "number" else {}
    words = dict(counts.most_common(_MOST_WORDS)) if len(counts) <= _MOST_WORDS else {}
    return LookedColumn(place, heading, read_meaning(heading, unit), kind, words, len(filled), len(counts), odd)


def _kind(filled: list[str], source: Source) -> str:
    if not filled:
        return ""
    # Dates without marks, such as 20240131, look like whole numbers.
    if sum(map(looks_like_stamp, filled)) > 0.8 * len(filled) and not all(cell.isdigit() for cell in filled):
        return "stamp"
    # Four fifths, as real columns have a few slips and remarks.
    if sum(map(looks_like_clock, filled)) > 0.8 * len(filled):
        return "clock"
    return "number" if sum(_odd(filled, source).values()) < 0.5 * len(filled) else "text"


def _odd(cells: list[str], source: Source) -> dict[str, int]:
    """Return the cells of a column that are no numbers; words that stand for no value are none of them."""
    plain = Counter(cell for cell in cells if cell not in {*MISSING, *source.missing})
    odd = {
        cell: count
        for cell, count in plain.items()
        if not _PLAIN_NUMBER.fullmatch(plain_number(cell, source.decimal, source.thousands))
    }
    return dict(Counter(odd).most_common(_MOST_WORDS))


def _looks(cell: str) -> str:
    plain = cell.strip()
    if not plain or plain in MISSING:
        return ""
    if looks_like_stamp(plain) or looks_like_clock(plain):
        return "time"
    return "number" if _LOOSE_NUMBER.fullmatch(plain) else "text"


def _heading_place(grid: Grid) -> int | None:
    """Return the place of the row of headings, None where there is none."""
    widths = Counter(_width(row) for row in grid.rows[:2_000] if _width(row))
    # Weighted by width: long notes above a table make more narrow rows than the table has wide ones.
    usual = max(widths, key=lambda width: (widths[width] * min(width, 4), width)) if widths else 0
    best, chosen = 0.0, None
    for place, row in enumerate(grid.rows[:_MOST_ABOVE]):
        cells = [cell.strip() for cell in row]
        filled = [cell for cell in cells if cell]
        below = [other for other in grid.rows[place + 1 : place + 1 + _BELOW] if _width(other)]
        if not filled or not below or _width(row) < min(usual - 1, 2) or _width(row) < 0.5 * usual:
            continue
        kinds = [_looks(cell) for cell in filled]
        # A row of values is no heading, even where the headings are missing.
        if kinds.count("number") > len(filled) / 2 or (kinds.count("time") and kinds[0] == "time"):
            continue
        score = _score(cells, below)
        # Of rows that score alike the first counts, whatever rounding says.
        if score > best + 1e-9:
            best, chosen = score, place
    return chosen


def _score(cells: list[str], below: list[list[str]]) -> float:
    """Return how much a row looks like the headings of the rows below it."""
    known = sum(bool(read_meaning(cell).quantity) for cell in cells if cell)
    steady = 0.0
    for place, cell in enumerate(cells):
        kinds = Counter(_looks(row[place]) for row in below if len(row) > place)
        kinds.pop("", None)
        total = sum(kinds.values())
        if total and cell:
            kind, often = kinds.most_common(1)[0]
            # A heading over cells of another kind counts in full: text over text may be just the first row.
            steady += (often / total) * (1.0 if kind != _looks(cell) else 0.3)
    named = sum(1 for cell in cells if cell and _looks(cell) == "text")
    numbers = sum(1 for cell in cells if _looks(cell) == "number")
    return 2.0 * known + 2.0 * steady + 0.5 * named - 2.0 * numbers


def _width(row: list[str]) -> int:
    return next((place for place in range(len(row), 0, -1) if row[place - 1].strip()), 0)


def _has_units_below(grid: Grid, start: int) -> bool:
    """Return whether the row below the headings is of another kind than the rows that follow it."""
    rows = [row for row in grid.rows[start + 1 : start + 2 + _BELOW] if _width(row)]
    if len(rows) < 3:
        return False
    first, others = rows[0], rows[1:]
    typed = unlike = 0
    for place, cell in enumerate(first):
        kinds = Counter(_looks(row[place]) for row in others if len(row) > place)
        kinds.pop("", None)
        if not kinds or not cell.strip():
            continue
        kind, often = kinds.most_common(1)[0]
        if kind in {"number", "time"} and often > 0.8 * sum(kinds.values()):
            typed += 1
            unlike += _looks(cell) == "text"
    return typed > 0 and unlike == typed


def _marks(grid: Grid, first: int, notes: Notes) -> tuple[str, str]:
    """Return decimal mark and mark of thousands."""
    cells = [
        cell.strip()
        for row in grid.rows[first : first + _SAMPLE]
        for cell in row
        if _LOOSE_NUMBER.fullmatch(cell.strip()) and not looks_like_stamp(cell.strip())
    ]
    if not any("," in cell or "'" in cell or " " in cell for cell in cells):
        return ".", ""
    own = Notes()
    decimal, thousands = decimal_of(cells, grid.delimiter, own)
    notes.reasons += [f"{grid.file}: {reason}" for reason in own.reasons]
    notes.doubts += [f"{grid.file}: {doubt}" for doubt in own.doubts]
    return decimal, thousands
