"""Plain aligned tables for reading on a terminal.

Headings have the unit and wrap over several lines, numbers are aligned right with the decimals of their unit. A table
that is wider than the terminal says above it what all its rows share, moves its longer remarks below it and numbers
them, wraps its other texts, and goes on below with its leading columns repeated. Nothing is cut.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from gwnet.cli.cells import NOTHING, cell_text, heading, is_number_column

if TYPE_CHECKING:
    import pandas as pd

_GAP: Final = "  "
_NARROWEST_TEXT: Final = 14

#: Columns of sentences; longer ones are printed below the table where room is short.
_REMARKS: Final = ("note", "notes", "finding", "text", "fix", "why", "reason", "message", "action")
_SHORT_REMARK: Final = 24

#: Columns that say which row a line is about; repeated where a table goes on below.
_KEYS: Final = ("site", "well", "round", "aquifer", "measured_at", "file")


@dataclass
class _Column:
    name: str
    title: str
    cells: list[str]
    right: bool
    width: int = 0
    emphasis: Callable[[str], str] | None = None

    def __post_init__(self) -> None:
        """Take the width that the cells need, with a heading wrapped between its words."""
        longest_word = max(len(word) for word in self.title.split())
        self.width = max(longest_word, *(len(cell) for cell in self.cells), 1)

    @property
    def is_wrappable(self) -> bool:
        """Return whether the cells are texts of several words, and no times."""
        # A time would be broken at the blank before its zone.
        return not self.right and not self.name.endswith("_utc") and " " in max(self.cells, key=len)

    def widen(self, most: int) -> None:
        """Take the room that the cells need, but not more than there is."""
        needed = max((len(cell) for cell in self.cells), default=1)
        self.width = max(self.width, min(most, needed))

    def head(self) -> list[str]:
        """Return the lines of the heading."""
        return textwrap.wrap(self.title, self.width, break_long_words=False, break_on_hyphens=False)

    def lines(self, row: int) -> list[str]:
        """Return the lines of a cell."""
        text = self.cells[row]
        return [text] if len(text) <= self.width else textwrap.wrap(text, self.width)

    def set(self, text: str) -> str:
        """Return one line of the column, filled up to its width."""
        return text.rjust(self.width) if self.right else text.ljust(self.width)

    def set_cell(self, text: str) -> str:
        """Return one line of a cell, filled up to the width of the column, with its emphasis."""
        return self.emphasis(self.set(text)) if self.emphasis else self.set(text)


def text_table(
    table: pd.DataFrame,
    width: int | None = None,
    emphasis: Callable[[str], str] | None = None,
    zone: str = "UTC",
) -> str:
    """Return a table as aligned text.

    Parameters
    ----------
    table : pandas.DataFrame
        Rows; columns are named as in files, with their unit as suffix.
    width : int, optional
        Signs in a line of the terminal; any width unless given.
    emphasis : callable, optional
        Makes the cells of text stand out that should, without changing what they say.
    zone : str, optional
        Zone of the times of columns in UTC.
    """
    columns = _columns(table, zone)
    for column in columns:
        column.emphasis = None if column.right else emphasis
    if width is None or _total(columns) <= width:
        return "\n".join(_lines(columns))
    # From what costs the reader least to what costs most: columns that say nothing new, numbered sentences, narrow
    # columns, and a table in parts.
    columns, shared = _lift_shared(columns)
    remarks = _move_remarks(columns) if _total(columns) > width else []
    _wrap_texts(columns, width)
    above = [line for text in shared for line in textwrap.wrap(text, width)]
    below = [line for text in remarks for line in textwrap.wrap(text, width, subsequent_indent=" " * 4)]
    blocks = [above, *(_lines(part) for part in _parts(columns, width)), below]
    return "\n\n".join("\n".join(block) for block in blocks if block)


def text_record(table: pd.DataFrame, width: int | None = None, zone: str = "UTC") -> str:
    """Return the first row of a table as text, one line a column.

    Parameters
    ----------
    table : pandas.DataFrame
        One row; columns are named as in files.
    width : int, optional
        Signs in a line of the terminal; longer texts go on below, any width unless given.
    zone : str, optional
        Zone of the times of columns in UTC.
    """
    columns = _columns(table, zone)
    wide = max(len(column.title) for column in columns) + len(_GAP)
    lines = []
    for column in columns:
        line = f"{column.title.ljust(wide)}{column.cells[0] or NOTHING}"
        lines += [line] if width is None else textwrap.wrap(line, width, subsequent_indent=" " * min(wide, width // 2))
    return "\n".join(lines)


def _columns(table: pd.DataFrame, zone: str) -> list[_Column]:
    return [
        _Column(
            str(name),
            heading(str(name), zone),
            [cell_text(value, str(name), zone) for value in table[name]],
            is_number_column(table[name]),
        )
        for name in table.columns
    ]


def _total(columns: Sequence[_Column]) -> int:
    return sum(column.width for column in columns) + len(_GAP) * (len(columns) - 1)


def _lift_shared(columns: list[_Column]) -> tuple[list[_Column], list[str]]:
    """Take out the columns whose cells are all the same, and say so in lines above the table."""
    shared = [column for column in columns if len(set(column.cells)) == 1]
    left = [column for column in columns if column not in shared]
    # A table of one row has nothing but shared columns.
    if not left:
        return columns, []
    empty = [column.title for column in shared if column.cells[0] in {"", NOTHING}]
    said = [f"{column.title}: {column.cells[0]}" for column in shared if column.cells[0] not in {"", NOTHING}]
    lines = [f"In all rows: {'; '.join(said)}"] if said else []
    return left, lines + ([f"Empty in all rows: {', '.join(empty)}"] if empty else [])


def _move_remarks(columns: Sequence[_Column]) -> list[str]:
    """Put numbers in the place of long sentences, one for each text; return the numbered sentences."""
    remarks: list[str] = []
    for column in columns:
        if column.name not in _REMARKS or max(len(cell) for cell in column.cells) <= _SHORT_REMARK:
            continue
        texts = [cell for cell in dict.fromkeys(column.cells) if cell not in {"", NOTHING}]
        numbers = {text: str(number) for number, text in enumerate(texts, start=1)}
        column.cells = [numbers.get(cell, cell) for cell in column.cells]
        column.width = max(len(word) for word in [*column.title.split(), *column.cells])
        remarks += [f"{column.title} {number}: {text}" for text, number in numbers.items()]
    return remarks


def _wrap_texts(columns: Sequence[_Column], width: int) -> None:
    """Narrow the widest texts until the table fits, but none below what can be read."""
    while (excess := _total(columns) - width) > 0:
        texts = [c for c in columns if c.is_wrappable and c.width > _NARROWEST_TEXT]
        if not texts:
            return
        widest = max(texts, key=lambda column: column.width)
        widest.width = max(_NARROWEST_TEXT, widest.width - excess)


def _parts(columns: Sequence[_Column], width: int) -> list[list[_Column]]:
    """Deal the columns out to tables that fit, each with the leading columns."""
    if _total(columns) <= width:
        return [list(columns)]
    keys = [column for column in columns if column.name in _KEYS]
    # Repeated columns take half of a line at most, or no other would fit beside them.
    while _total(keys) > width / 2:
        keys.pop()
    for column in columns:
        column.widen(width - _total(keys) - len(_GAP))
    parts = [keys.copy()]
    for column in columns:
        if _total([*parts[-1], column]) > width and len(parts[-1]) > len(keys):
            parts.append(keys.copy())
        if column not in keys:
            parts[-1].append(column)
    return parts


def _lines(columns: Sequence[_Column]) -> list[str]:
    heads = [column.head() for column in columns]
    tall = max(len(head) for head in heads)
    lines = [
        # Headings are set to the foot, next to the cells.
        _GAP.join(
            c.set(head[line - tall + len(head)] if line >= tall - len(head) else "")
            for c, head in zip(columns, heads, strict=True)
        )
        for line in range(tall)
    ]
    lines.append(_GAP.join("-" * column.width for column in columns))
    for row in range(len(columns[0].cells)):
        cells: list[list[str]] = [column.lines(row) for column in columns]
        for line in range(max(len(cell) for cell in cells)):
            texts = (cell[line] if line < len(cell) else "" for cell in cells)
            lines.append(_GAP.join(column.set_cell(text) for column, text in zip(columns, texts, strict=True)))
    # Blanks at the end would make a second line on a terminal of just this width.
    return [line.rstrip() for line in lines]
