"""Lays out the cells of a table: line breaks, widths of columns, heights of rows."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from gwnet.reporting.content import Cell, Column, Group, Table, cell_text, is_empty, letters_of, note_letters
from gwnet.reporting.pdf.fonts import BOLD, ITALIC, REGULAR, printable, text_width
from gwnet.reporting.pdf.graphics import BAR_PT, INTERVAL_PT, GraphicScale, graphic_scale
from gwnet.reporting.pdf.styles import CELL_LEADING, CELL_PAD_X, CELL_PAD_Y, CELL_SIZE, DENSE_PAD_Y

LETTER_SIZE: Final = 7.0
#: Tables are cut between rows alone: a row with more lines than this becomes several.
_MOST_LINES: Final = 24
_ROUNDING: Final = 0.01  # so that a word that has just its width is not broken
_LEAST_TEXT_WIDTH: Final = 24.0
_MOST_GROWTH: Final = 20.0
_GAP_BEFORE_TEXT: Final = 5.0
#: Most rows of a table whose columns of text are evened out, and the widths that are moved for it [pt].
_MOST_EVENED: Final = 60
_STEPS: Final = (40.0, 20.0, 10.0, 5.0)
_BLANKS: Final = re.compile(r"[ \t]+")
#: Codes and names of files are broken after a sign that separates their parts, not in the middle of one.
_BREAKS: Final = re.compile(r"(?<=[-/_;,.])(?=.)")


@dataclass(frozen=True, slots=True)
class CellLayout:
    """Lines of one cell and the letter of its note."""

    lines: tuple[str, ...]
    letter: str = ""
    strong: bool = False
    empty: bool = False
    faint: bool = False


@dataclass(frozen=True, slots=True)
class RowLayout:
    """One row, or a piece of a very tall one.

    ``group`` holds the lines of a group heading instead of cells; ``reasons`` what runs through empty cells: first
    column, the one after the last, and text; ``remarks`` the lines below the cells, from the second column on;
    ``source`` the cells that graphics are drawn from.
    """

    cells: tuple[CellLayout, ...]
    height: float
    group: tuple[str, ...] = ()
    reasons: tuple[tuple[int, int, str], ...] = ()
    remarks: tuple[str, ...] = ()
    source: tuple[Cell, ...] = ()


@dataclass(frozen=True, slots=True)
class HeadLayout:
    """The heading rows of a table: lines of each heading, spans of shared headings, heights."""

    lines: tuple[tuple[str, ...], ...]
    units: tuple[str, ...]
    spans: tuple[tuple[int, int, tuple[str, ...]], ...]
    span_height: float
    height: float


@dataclass(frozen=True, slots=True)
class TableLayout:
    """A table with its columns measured for a width."""

    columns: tuple[Column, ...]
    widths: tuple[float, ...]
    gutters: tuple[float, ...]
    head: HeadLayout
    rows: tuple[RowLayout, ...]
    scales: tuple[GraphicScale | None, ...] = ()
    pad: float = CELL_PAD_Y


@lru_cache(maxsize=50_000)
def _width(text: str, face: str) -> float:
    return text_width(text, face, CELL_SIZE)


def wrap_text(text: str, face: str, width: float) -> tuple[str, ...]:
    """Break a text into lines no wider than a width, at blanks and, where one word is too long, inside it."""
    # The width alone does not decide: a line break is measured as a blank.
    if _width(text, face) <= width and "\n" not in text:
        return (text.strip(),)
    lines: list[str] = []
    for part in text.splitlines() or [""]:
        # As it will be printed: a letter that no face has becomes a code point, which is wider.
        lines.extend(_wrap_line(printable(part, face), face, width))
    return tuple(lines) or ("",)


def _wrap_line(text: str, face: str, width: float) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in _words(text):
        for glue, piece in _pieces(word, face, width):
            wanted = f"{line} {piece}" if line and glue else line + piece
            if line and _width(wanted, face) > width:
                lines.append(line)
                wanted = piece
            line = wanted
    if line:
        lines.append(line)
    return lines


def _pieces(word: str, face: str, width: float) -> list[tuple[bool, str]]:
    """Split a word that does not fit; the flag tells whether a blank stood before the piece."""
    if _width(word, face) <= width:
        return [(True, word)]
    pieces: list[tuple[bool, str]] = []
    for part in _BREAKS.split(word):
        rest = part
        while rest:
            count = _fitting(rest, face, width)
            pieces.append((not pieces, rest[:count]))
            rest = rest[count:]
    return pieces


def _fitting(text: str, face: str, width: float) -> int:
    if _width(text, face) <= width:
        return len(text)
    # At least one letter, or a column narrower than that would never end. At most 200, which no line holds: a text
    # without blanks may have thousands, which each step would measure.
    low, high = 1, min(len(text), 200)
    while low < high:
        middle = (low + high + 1) // 2
        if text_width(text[:middle], face, CELL_SIZE) <= width:
            low = middle
        else:
            high = middle - 1
    return low


def _longest_word(text: str, face: str) -> float:
    return max((_width(word, face) for word in _words(text)), default=0.0)


def _words(text: str) -> list[str]:
    """Split a text at blanks and tabs, but not at no-break spaces, which hold dates and times together."""
    return [word for word in _BLANKS.split(text) if word]


@dataclass(frozen=True, slots=True)
class _Need:
    """Least and natural width of a column, without padding; ``fixed`` columns hold numbers only."""

    least: float
    natural: float
    gutter: float
    fixed: bool


def _need(table: Table, index: int, letters: dict[str, str], available: float) -> _Need:
    column = table.columns[index]
    least = max(_longest_word(column.heading, BOLD), _width(column.unit, REGULAR))
    # A heading of several words may break; it asks for no more than 60 pt above a column of short numbers.
    natural = max(least, min(_width(column.heading, BOLD), 60.0))
    gutter, fixed = 0.0, True
    for row in table.rows:
        if isinstance(row, Group):
            continue
        cell = row[index]
        face = BOLD if cell.strong else REGULAR
        text = cell_text(cell, column)
        # The rest of a long text cannot widen the column, which is limited to 0.6 of the page below.
        whole = _width(text[:400], face)
        # Its reason runs through the empty cells of the row, and asks for no width in this one.
        if table.reasons_in_row and is_empty(cell.value):
            continue
        if isinstance(cell.value, str) and not is_empty(cell.value):
            # Codes and dates are kept whole as numbers are; remarks and long names give way first.
            fixed = fixed and " " not in text and len(text) < 24
            # One word without a blank, such as the name of a file, may not take the width from all other columns.
            least = max(least, min(_longest_word(text[:400], face), 0.3 * available))
        else:
            least = max(least, whole)
        natural = max(natural, whole)
        if letter := letters_of(cell, letters):
            gutter = max(gutter, text_width(letter, REGULAR, LETTER_SIZE) + 1.2)
    # Numbers set to the right would touch a text that is set to the left after them.
    if column.align == "right" and [after.align for after in table.columns[index + 1 : index + 2]] == ["left"]:
        gutter += _GAP_BEFORE_TEXT
    if column.graphic == "bar":
        gutter += BAR_PT
    elif column.graphic == "interval":
        least, natural = least + INTERVAL_PT, natural + INTERVAL_PT
    return _Need(least, min(max(natural, least), 0.6 * available), gutter, fixed)


def share_width(needs: list[_Need], available: float, *, grow_last: bool = False) -> tuple[float, ...]:
    """Return widths of columns, padding included, that add up to the width of the text.

    Room to spare goes to every column in small parts, and what is left to the last column when that one holds text.
    """
    padding = [2 * CELL_PAD_X + need.gutter for need in needs]
    room = available - sum(padding)
    least = [need.least for need in needs]
    natural = [need.natural for need in needs]
    if sum(natural) <= room:
        inner = _grown(natural, room, grow_last=grow_last)
    elif sum(least) <= room:
        inner = _filled(least, natural, room)
    else:
        inner = _squeezed(needs, room)
    return tuple(width + pad for width, pad in zip(inner, padding, strict=True))


def _grown(natural: list[float], room: float, *, grow_last: bool) -> list[float]:
    spare = room - sum(natural)
    part = spare / len(natural)
    if not grow_last:
        return [width + part for width in natural]
    part = min(part, _MOST_GROWTH)
    inner = [width + part for width in natural]
    inner[-1] += spare - part * len(natural)
    return inner


def _filled(least: list[float], natural: list[float], room: float) -> list[float]:
    """Give the columns that lack least their natural width first, and share the rest among the others."""
    inner = list(least)
    rest = room - sum(least)
    order = sorted(range(len(least)), key=lambda index: natural[index] - least[index])
    for place, index in enumerate(order):
        part = min(natural[index] - least[index], rest / (len(order) - place))
        inner[index] += part
        rest -= part
    return inner


def _squeezed(needs: list[_Need], room: float) -> list[float]:
    """Narrow the text columns first, so that numbers stay whole; narrow all only when there is no other way."""
    fixed = sum(need.least for need in needs if need.fixed)
    text = sum(need.least for need in needs if not need.fixed)
    count = sum(1 for need in needs if not need.fixed)
    if count and room - fixed >= count * _LEAST_TEXT_WIDTH:
        scale = (room - fixed) / text
        return [need.least if need.fixed else need.least * scale for need in needs]
    scale = room / sum(need.least for need in needs)
    return [need.least * scale for need in needs]


def _shortest(table: Table, needs: list[_Need], widths: tuple[float, ...]) -> tuple[float, ...]:
    """Return widths with which a short table has fewest lines, then its cells, by moving width between its texts."""
    rows = [row for row in table.rows if not isinstance(row, Group)]
    text = [index for index, need in enumerate(needs) if not need.fixed and table.columns[index].graphic == ""]
    if len(text) < 2 or len(rows) > _MOST_EVENED or table.reasons_in_row:
        return widths
    padding = [2 * CELL_PAD_X + need.gutter for need in needs]
    counted: dict[tuple[int, float], list[int]] = {}

    def lines(index: int, width: float) -> list[int]:
        if (index, width) not in counted:
            column, inner = table.columns[index], width - padding[index] + _ROUNDING
            cells = [(cell_text(row[index], column), BOLD if row[index].strong else REGULAR) for row in rows]
            texts = [(column.heading, BOLD), *cells]
            counted[index, width] = [len(wrap_text(words, face, inner)) for words, face in texts]
        return counted[index, width]

    def total(tried: list[float]) -> tuple[int, int]:
        counts = list(zip(*(lines(index, tried[index]) for index in text), strict=True))
        return sum(max(row) for row in counts), sum(sum(row) for row in counts)

    best = list(widths)
    moves = [(giver, taker, step) for giver in text for taker in text if giver != taker for step in _STEPS]
    fewest, found = total(best), True
    while found:
        found = False
        for giver, taker, step in moves:
            tried = list(best)
            tried[giver], tried[taker] = best[giver] - step, best[taker] + step
            if tried[giver] - padding[giver] >= needs[giver].least and (count := total(tried)) < fewest:
                best, fewest, found = tried, count, True
    return tuple(best)


def _spans(columns: tuple[Column, ...]) -> list[tuple[int, int, str]]:
    spans = []
    start = 0
    for text, members in itertools.groupby(columns, key=lambda column: column.group):
        stop = start + len(list(members))
        if text:
            spans.append((start, stop, text))
        start = stop
    return spans


def _head(columns: tuple[Column, ...], widths: tuple[float, ...], gutters: tuple[float, ...]) -> HeadLayout:
    lines = tuple(
        wrap_text(column.heading, BOLD, width - 2 * CELL_PAD_X - gutter + _ROUNDING)
        for column, width, gutter in zip(columns, widths, gutters, strict=True)
    )
    units = tuple(column.unit for column in columns)
    counts = [len(text) + bool(unit) for text, unit in zip(lines, units, strict=True)]
    spans = tuple(
        (start, stop, wrap_text(text, BOLD, sum(widths[start:stop]) - 2 * CELL_PAD_X))
        for start, stop, text in _spans(columns)
    )
    span_height = max((len(text) for _, _, text in spans), default=0) * CELL_LEADING + (4.0 if spans else 0.0)
    return HeadLayout(lines, units, spans, span_height, span_height + max(counts) * CELL_LEADING + 2 * CELL_PAD_Y + 1.0)


def _cell_layout(cell: Cell, column: Column, inner: float, letters: dict[str, str]) -> CellLayout:
    face = BOLD if cell.strong else REGULAR
    text = cell_text(cell, column)
    letter = letters_of(cell, letters)
    return CellLayout(wrap_text(text, face, inner), letter, cell.strong, is_empty(cell.value), cell.faint)


def _row_pieces(cells: tuple[CellLayout, ...], pad: float) -> list[RowLayout]:
    """Return a row, cut into pieces when it has more lines than a page could hold."""
    most = max(len(cell.lines) for cell in cells)
    if most <= _MOST_LINES:
        return [RowLayout(cells, most * CELL_LEADING + 2 * pad)]
    pieces = []
    for start in range(0, most, _MOST_LINES):
        stop = start + _MOST_LINES
        part = tuple(
            replace(cell, lines=cell.lines[start:stop], letter=cell.letter if stop >= len(cell.lines) > start else "")
            for cell in cells
        )
        lines = max(len(cell.lines) for cell in part)
        pieces.append(RowLayout(part, lines * CELL_LEADING + 2 * pad))
    return pieces


def lay_out_table(table: Table, available: float) -> TableLayout:
    """Measure a table for a width of text.

    Parameters
    ----------
    table : Table
        The table.
    available : float
        Width of the text [pt].

    Returns
    -------
    TableLayout
        Columns, heading and rows with every line break decided.
    """
    letters = note_letters(table)
    needs = [_need(table, index, letters, available) for index in range(len(table.columns))]
    widths = share_width(needs, available, grow_last=table.columns[-1].align == "left")
    widths = _shortest(table, needs, widths)
    gutters = tuple(need.gutter for need in needs)
    inner = [width - 2 * CELL_PAD_X - gutter + _ROUNDING for width, gutter in zip(widths, gutters, strict=True)]
    rows: list[RowLayout] = []
    pad = DENSE_PAD_Y if table.dense else CELL_PAD_Y
    for row in table.rows:
        if isinstance(row, Group):
            # The heading of a group is one row, which no page break cuts.
            lines = wrap_text(row.text, BOLD, available - 2 * CELL_PAD_X)[:_MOST_LINES]
            rows.append(RowLayout((), len(lines) * CELL_LEADING + 2 * CELL_PAD_Y + 1.5, lines))
            continue
        cells = tuple(
            _cell_layout(cell, column, width, letters)
            for cell, column, width in zip(row, table.columns, inner, strict=True)
        )
        pieces = [replace(piece, source=row) for piece in _row_pieces(cells, pad)]
        rows.extend([_with_reasons(pieces[0], row, widths, available), *pieces[1:]] if table.reasons_in_row else pieces)
    return TableLayout(
        table.columns,
        widths,
        gutters,
        _head(table.columns, widths, gutters),
        tuple(rows),
        tuple(graphic_scale(table, index) for index in range(len(table.columns))),
        pad,
    )


def _with_reasons(layout: RowLayout, row: tuple[Cell, ...], widths: tuple[float, ...], available: float) -> RowLayout:
    """Return a row with the reasons of its empty cells run through them, and its remarks in lines below."""
    reasons: list[tuple[int, int, str]] = []
    remarks: list[str] = []
    for empty, members in itertools.groupby(enumerate(row), key=lambda item: is_empty(item[1].value)):
        places = list(members)
        texts = list(dict.fromkeys(cell.reason for _, cell in places if cell.reason and not cell.faint))
        if not texts:
            continue
        start, stop, text = places[0][0], places[-1][0] + 1, "; ".join(texts)
        room = sum(widths[start:stop]) - 2 * CELL_PAD_X
        if empty and text_width(text, ITALIC, CELL_SIZE) <= room:
            reasons.append((start, stop, text))
        else:
            remarks += [text for text in texts if text not in remarks and text not in {item[2] for item in reasons}]
    # Once more at the end: later cells may have had the room for a text that earlier ones had not.
    said = {text for _, _, text in reasons}
    remarks = [text for text in remarks if text not in said]
    lines: tuple[str, ...] = ()
    if remarks:
        sentence = "; ".join(remarks)
        lines = wrap_text(f"{sentence[0].upper()}{sentence[1:]}", REGULAR, available - widths[0] - 2 * CELL_PAD_X)
    cells = tuple(
        # The sign of an empty cell would be printed over the reason.
        replace(cell, lines=("",), letter="") if cell.empty and row[index].reason else cell
        for index, cell in enumerate(layout.cells)
    )
    height = layout.height + len(lines) * CELL_LEADING
    return replace(layout, cells=cells, reasons=tuple(reasons), remarks=lines, height=height)
