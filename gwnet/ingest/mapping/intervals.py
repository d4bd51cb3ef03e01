"""Several depth intervals in one cell, as ``20-30; 45-60``: each becomes a row, with its ends in two columns."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from gwnet.ingest.headings import UNIT_WORDS
from gwnet.ingest.mapping.mapping import Reference
from gwnet.ingest.mapping.source_table import MISSING, SourceTable
from gwnet.records import Rejection

#: Headings of the two columns.
TOP: Final = "interval top"
BOTTOM: Final = "interval bottom"

_UNIT: Final = rf"(?:{'|'.join(re.escape(word) for word in sorted(UNIT_WORDS, key=len, reverse=True))})\.?(?![a-z])"
#: Words between or around intervals that change nothing.
_WORDS: Final = re.compile(
    r"\b(and|und|et|y|from|von|de|at|screen(s|ed)?|perf(s|orat(ed|ions?))?|slot(s|ted)?|intervals?|open|hole|"
    r"bgs|bls|bgl|below|land|surface|ground)\b\.?|[\s,;:/&+|()]"
)


def read_intervals(cell: str, decimal: str = ".") -> list[tuple[str, str]] | None:
    """Return the intervals that a cell gives, each end as it is written, with the unit where one is written.

    Parameters
    ----------
    cell : str
        The cell.
    decimal : {".", ","}, optional
        Decimal mark.

    Returns
    -------
    list of tuple of str, or None
        Top and bottom of each; None where the cell is to be read in another way.

    Examples
    --------
    >>> read_intervals("20 to 30, 45-60 ft")
    [('20 ft', '30 ft'), ('45 ft', '60 ft')]
    >>> read_intervals("20-30; 45") is None
    True
    """
    # The many dashes of word processors, and the minus sign.
    text = re.sub(r"[\u2010-\u2015\u2212]", "-", cell).casefold()
    number = rf"\d+(?:{re.escape(decimal)}\d+)?|{re.escape(decimal)}\d+"
    end = rf"({number})\s*({_UNIT})?"
    between = r"\s*(?:-|\bto\b|\bthru\b|\bthrough\b|\bbis\b|\bà\b|\bhasta\b|\buntil\b)\s*"
    pattern = re.compile(rf"(?<![\w{re.escape(decimal)}-]){end}{between}{end}(?![\w-])")
    found = pattern.findall(text)
    # Anything left over, such as a third number, means that the cell was not understood: it is not read in part.
    if not found or _WORDS.sub("", pattern.sub(" ", text)):
        return None
    units = {UNIT_WORDS[unit.rstrip(".")] for row in found for unit in (row[1], row[3]) if unit}
    # 20 ft to 8 m is a slip of somebody, and either unit might be the wrong one.
    if len(units) > 1:
        return None
    behind = f" {units.pop()}" if units else ""
    return [(f"{top}{behind}", f"{bottom}{behind}") for top, _, bottom, _ in found]


def share_of_intervals(cells: Sequence[str], decimal: str) -> float:
    """Return the share of the filled cells that give intervals."""
    filled = [cell for cell in cells if cell.strip() not in MISSING]
    return sum(read_intervals(cell, decimal) is not None for cell in filled) / len(filled) if filled else 0.0


def spread_intervals(table: SourceTable, column: Reference, decimal: str) -> SourceTable:
    """Return a table with a row for each interval of a column.

    Parameters
    ----------
    table : gwnet.ingest.mapping.source_table.SourceTable
        The table.
    column : str or int
        The column.
    decimal : {".", ","}
        Decimal mark.

    Returns
    -------
    SourceTable
        With two more columns; rows without an interval are left out, and those that cannot be read are rejected.
    """
    place = table.place(column)
    rows: list[list[str]] = []
    numbers: list[int] = []
    rejections = list(table.rejections)
    without: Counter[str] = Counter()
    for cells, number in zip(table.rows, table.numbers, strict=True):
        cell = cells[place].strip()
        intervals = read_intervals(cell, decimal)
        for top, bottom in intervals or ():
            rows.append([*cells, top, bottom])
            numbers.append(number)
        if intervals is None and any(sign.isdigit() for sign in cell):
            message = f"{cell!r} is no list of depth intervals."
            fix = "Write the top and bottom of each, as in 20-30; 45-60."
            heading = table.headings[place]
            rejections.append(Rejection("", table.file, number, heading, cell, "interval-unclear", message, fix))
        elif intervals is None and cell not in MISSING:
            without[cell] += 1
    remarks = list(table.remarks)
    if without:
        words = ", ".join(f"{word!r} ({count})" for word, count in without.most_common(5))
        remarks.append(f"{table.headings[place]!r} gives no interval where it reads {words}; such rows are passed over")
    return replace(
        table,
        headings=[*table.headings, TOP, BOTTOM],
        units=[*table.units, "", ""],
        rows=rows,
        numbers=numbers,
        rejections=rejections,
        remarks=remarks,
    )
