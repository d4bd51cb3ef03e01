"""Rows with more cells than headings: put together where only one way gives cells like those of the other rows.

A text with an unquoted delimiter is parted into too many cells. Joining neighbours again can be done in several ways;
it is done only where a single way makes every cell of the kind of its column.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import TYPE_CHECKING, Final

from gwnet.ingest.mapping.grids import BLANKS
from gwnet.records import Rejection

if TYPE_CHECKING:
    from gwnet.ingest.mapping.source_table import SourceTable

_NUMBER: Final = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?", re.ASCII)
_DATE: Final = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}([T ].*)?")
#: Most distinct words of a column that has a fixed list of them, and most surplus cells that are put together.
_MOST_WORDS: Final = 60
#: Fewest rows with too few cells, and the least share of all rows, from which on a file leaves out empty last cells.
_LEAST_TRIMMED: Final = 3
_TRIMMED_SHARE: Final = 0.05
_MOST_SURPLUS: Final = 4
_SAMPLE: Final = 5_000


@dataclass(frozen=True)
class _Kind:
    """What the cells of a column are like in the rows that are whole."""

    name: str
    words: frozenset[str] = frozenset()

    def fits(self, cell: str) -> bool:
        plain = cell.strip()
        if not plain or self.name == "text":
            return True
        if self.name == "number":
            return _NUMBER.fullmatch(plain) is not None
        if self.name == "date":
            return _DATE.fullmatch(plain) is not None
        return plain in self.words


def repair_rows(table: SourceTable, delimiter: str) -> None:
    """Bring every row to the length of the headings.

    Parameters
    ----------
    table : gwnet.ingest.mapping.source_table.SourceTable
        The table; its rows, remarks and rejections are changed.
    delimiter : str
        Sign between cells; a row with too few cells is rejected where there is one, and filled up in fixed text.
    """
    width = len(table.headings)
    whole = [row for row in table.rows if len(row) == width]
    kinds: list[_Kind] | None = None
    # Where delimiters are followed by blanks throughout, a blank says nothing of where a text was torn.
    blanks = any(cell[:1] == " " for row in whole[:_SAMPLE] for cell in row)
    may_be_short = _may_be_short(table, width, delimiter)
    repaired: list[int] = []
    short: list[int] = []
    beyond: list[int] = []
    kept_rows, kept_numbers = [], []
    for cells, number in zip(table.rows, table.numbers, strict=True):
        row = list(cells)
        # A delimiter at the end of each line makes an empty cell, which no heading names.
        while len(row) > width and not row[-1].strip():
            row.pop()
        if len(row) > width and delimiter:
            kinds = kinds or [_kind([other[place] for other in whole[:_SAMPLE]]) for place in range(width)]
            ways = _ways(row, width, delimiter, kinds, joins_blanks=not blanks)
            # Only where no known word fits: a list of words may lack one that contains the delimiter.
            ways = ways or _ways(row, width, delimiter, kinds, joins_blanks=not blanks, new_words=True)
            # Two ways of reading a row are none: which one is right only a person can say.
            if len(ways) != 1:
                table.rejections.append(_too_long(table, number, row, width, len(ways)))
                continue
            row = ways[0]
            repaired.append(number)
        elif len(row) < width and not may_be_short and number != table.open_row:
            table.rejections.append(_too_short(table, number, row, width))
            continue
        elif len(row) < width:
            short += [number] if delimiter not in {"", BLANKS} else []
        row += [""] * (width - len(row))
        if len(row) > width:  # without a delimiter no text can have parted
            beyond.append(number)
        kept_rows.append(row[:width])
        kept_numbers.append(number)
    table.rows, table.numbers = kept_rows, kept_numbers
    _remark(table, delimiter, repaired, beyond, short)


def _remark(table: SourceTable, delimiter: str, repaired: list[int], beyond: list[int], short: list[int]) -> None:
    """Say which lines were not read as they stand."""
    if repaired:
        table.remarks.append(
            f"{_many(repaired)} with an unquoted {delimiter!r} in a text can be read in one way alone, "
            f"which is taken: line {_lines(repaired)}"
        )
    if short:
        table.remarks.append(
            f"{_many(short)} with fewer cells than headings; what they lack counts as empty: line {_lines(short)}"
        )
    if beyond:
        table.remarks.append(f"cells beyond the last heading are passed over: line {_lines(beyond)}")


def _may_be_short(table: SourceTable, width: int, delimiter: str) -> bool:
    """Return whether rows may have fewer cells than headings: in fixed text, and where empty last cells are left out.

    Some programs leave them out of every line; a row here and there that lacks some was cut.
    """
    lacking = sum(len(row) < width for row in table.rows)
    leaves_out = lacking >= _LEAST_TRIMMED and lacking >= _TRIMMED_SHARE * len(table.rows)
    return leaves_out or delimiter in {"", BLANKS}


def _many(lines: list[int]) -> str:
    return "1 row" if len(lines) == 1 else f"{len(lines):,} rows"


def _lines(lines: list[int]) -> str:
    return ", ".join(map(str, lines[:10])) + (f" and {len(lines) - 10} more" if len(lines) > 10 else "")


def _kind(cells: list[str]) -> _Kind:
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        return _Kind("text")
    for name, pattern in (("number", _NUMBER), ("date", _DATE)):
        if all(pattern.fullmatch(cell) for cell in filled):
            return _Kind(name)
    words = frozenset(filled)
    return _Kind("words", words) if len(words) <= min(_MOST_WORDS, len(filled) // 4) else _Kind("text")


def _ways(
    row: list[str], width: int, delimiter: str, kinds: list[_Kind], *, joins_blanks: bool, new_words: bool = False
) -> list[list[str]]:
    """Return the ways to join neighbours so that every cell is of the kind of its column.

    With ``new_words`` a joined cell may be a word that its column of few words does not have.
    """
    surplus = len(row) - width
    # The number of ways grows with every surplus cell; a row so torn is better corrected by hand.
    if surplus > _MOST_SURPLUS:
        return []
    ways = []
    for places in combinations_with_replacement(range(width), surplus):
        cells, at = [], 0
        joined = set(places) if new_words else set()
        for place in range(width):
            many = 1 + places.count(place)
            cells.append(delimiter.join(row[at : at + many]))
            at += many
        if joins_blanks and any(cell[:1] == " " for cell in cells):
            continue  # no cell of the other rows begins with a blank: what does goes on with the one before it
        fits = (
            kind.fits(cell) or (place in joined and kind.name == "words")
            for place, (kind, cell) in enumerate(zip(kinds, cells, strict=True))
        )
        if all(fits):
            ways.append(cells)
    return ways


def _too_short(table: SourceTable, number: int, row: list[str], width: int) -> Rejection:
    have = "1 cell" if len(row) == 1 else f"{len(row)} cells"
    message = f"The row has {have}, the heading {width}; nothing stands under {table.headings[len(row)]!r}."
    fix = "Fill in the cells that the row lacks; where a cell is empty, leave its delimiter."
    return Rejection("", table.file, number, None, row[-1] if row else "", "row-too-short", message, fix)


def _too_long(table: SourceTable, number: int, row: list[str], width: int, ways: int) -> Rejection:
    message = f"The row has {len(row)} cells, the heading {width}, and "
    message += "no way" if not ways else f"{ways} ways"
    message += " of joining neighbours gives cells like those of the other rows."
    fix = "Put the text that holds the delimiter in quotes."
    return Rejection("", table.file, number, None, row[width], "row-too-long", message, fix)
