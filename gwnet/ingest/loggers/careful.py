"""Rows of a logger file read one by one, with the reason for each that is no plain sample."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from gwnet.ingest.loggers.plan import Plan
from gwnet.ingest.loggers.stamps import StampError, read_stamp
from gwnet.ingest.loggers.words import is_note

#: Odd rows that are kept with their text, of each kind; all are counted.
KEPT: Final[int] = 1_000

#: Lines over which a quoted cell may run.
MOST_JOINED: Final[int] = 10

#: Stands for no offset in an array of offsets.
NO_OFFSET: Final[int] = -(1 << 40)

_TEXT: Final[int] = 200

#: One row or many.
Flags = TypeVar("Flags", bool, NDArray[np.bool_])
_NUMBER: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)


@dataclass(frozen=True)
class OddRow:
    """A row that is no plain sample.

    Attributes
    ----------
    row : int
        Its line in the file, from 1.
    text : str
        The line, shortened.
    kind : str
        ``event`` (no value, the instrument noted something), ``remark`` (a sample beside which it noted something),
        ``no value`` (a time alone), ``missing`` (some of its values), ``heading`` (the headings once more),
        ``cut`` (the last row, without its line end, whose last value may have been cut),
        ``other`` (of another well or instrument than asked for), ``footer``, ``comment``, or ``bad`` (cannot be read).
    why : str
        What about it is odd.
    """

    row: int
    text: str
    kind: str
    why: str


@dataclass
class Oddities:
    """The odd rows of a file: all counted by kind, the first of each kind kept."""

    kept: list[OddRow] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def add(self, row: int, text: str, kind: str, why: str) -> None:
        """Note an odd row."""
        self.counts[kind] += 1
        # a file of a million odd rows must not fill the memory with their text
        if self.counts[kind] <= KEPT:
            self.kept.append(OddRow(row, text if len(text) <= _TEXT else text[: _TEXT - 3] + "...", kind, why))

    def room(self, kind: str) -> int:
        """Return how many odd rows of a kind will still be kept with their text."""
        return max(KEPT - self.counts[kind], 0)


@dataclass
class Rows:
    """Samples of a part of a file, in its order.

    Attributes
    ----------
    time_ms : numpy.ndarray of int64, shape (n,)
        Times on the clock of the stamps [ms since 1970-01-01].
    offset_minutes : numpy.ndarray of int64, shape (n,), or None
        Offsets that stood in the stamps, `NO_OFFSET` where one had none.
    values : list of numpy.ndarray of float64, shape (n,)
        One array a column; NaN for no value.
    row : numpy.ndarray of int64, shape (n,)
        Lines in the file.
    counter : numpy.ndarray of float64, shape (n,), or None
        The column that counts on with time, NaN for no number; None where the plan has none.
    """

    time_ms: NDArray[np.int64]
    offset_minutes: NDArray[np.int64] | None
    values: list[NDArray[np.float64]]
    row: NDArray[np.int64]
    counter: NDArray[np.float64] | None = None


def joined(parts: Sequence[Rows]) -> Rows | None:
    """Return the samples of several parts as one."""
    filled = [part for part in parts if part.row.size]
    if len(filled) < 2:
        return filled[0] if filled else None
    offset = None
    if any(part.offset_minutes is not None for part in filled):
        offset = np.concatenate(
            [np.full(p.row.shape, NO_OFFSET) if p.offset_minutes is None else p.offset_minutes for p in filled]
        )
    return Rows(
        np.concatenate([part.time_ms for part in filled]),
        offset,
        [np.concatenate(values) for values in zip(*(part.values for part in filled), strict=True)],
        np.concatenate([part.row for part in filled]),
        _joined_counters(filled),
    )


def _joined_counters(parts: Sequence[Rows]) -> NDArray[np.float64] | None:
    counters = [part.counter for part in parts if part.counter is not None]
    return np.concatenate(counters) if len(counters) == len(parts) else None


def count_of(cell: str) -> float:
    """Return the number in a cell of the column that counts, NaN for anything else."""
    return float(cell) if _NUMBER.fullmatch(cell.strip()) else np.nan


class BadRowError(ValueError):
    """A row cannot be read: the message says why."""


def _read_number(cell: str, plan: Plan, column: int) -> float:
    """Return the number in a cell of one of the columns, NaN for no value; BadRowError for anything else."""
    plain = cell.strip()
    if plain in plan.missing[column]:
        return np.nan
    layout = plan.layout
    if layout.thousands:
        plain = re.sub(rf"(?<=\d){re.escape(layout.thousands)}(?=\d{{3}})", "", plain)
    # a point beside a decimal comma is refused below, since it may be a mark of thousands
    written = plain.replace(",", ".") if layout.decimal == "," and "." not in plain else plain
    if (layout.decimal == "," and "." in plain) or not _NUMBER.fullmatch(written):
        mark = " with a decimal comma" if layout.decimal == "," else ""
        message = f"column {plan.columns[column].name!r} has {_short(cell)}; a number{mark} was expected"
        raise BadRowError(message)
    value = float(written)
    # 1e999 is a number by its form
    if not np.isfinite(value):
        message = f"column {plan.columns[column].name!r} has {_short(cell)}, which no instrument reads"
        raise BadRowError(message)
    if value in numeric_words(plan.missing[column]):
        return np.nan
    lowest, highest = plan.columns[column].limits
    if not lowest <= value <= highest:
        name, quantity, unit = plan.columns[column].name, plan.columns[column].quantity, plan.columns[column].unit
        message = f"column {name!r} has {_short(cell)}; no {quantity} lies outside {lowest:.6g} to {highest:.6g} {unit}"
        raise BadRowError(message)
    return value


def numeric_words(words: frozenset[str]) -> frozenset[float]:
    """Return the words for no value that are numbers, such as -9999."""
    return frozenset(float(word) for word in words if _NUMBER.fullmatch(word))


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")


def odd_kinds(some: Flags, none: Flags, noted: Flags) -> dict[str, Flags]:
    """Return for each kind of odd row whether a row, or each of many, is of it.

    Parameters
    ----------
    some, none : bool or numpy.ndarray of bool
        Whether some value is lacking, and whether all are.
    noted : bool or numpy.ndarray of bool
        Whether an event column has something.
    """
    # exclusive or with True, since "not" is for one row and "~" for arrays
    return {
        "event": none & noted,
        "no value": none & (noted ^ True),
        "missing": some & (none ^ True),
        "remark": noted & (none ^ True),
    }


class Careful:
    """Reads rows one by one.

    Parameters
    ----------
    plan : gwnet.ingest.loggers.plan.Plan
        How the file is read.
    odd : Oddities
        Where odd rows are noted.
    """

    def __init__(self, plan: Plan, odd: Oddities) -> None:
        self.plan = plan
        self.odd = odd
        self.ended = False
        self.before: list[str] = []
        layout = plan.layout
        self._event_rows = re.compile(layout.event_rows) if layout.event_rows else None
        self._footer = re.compile(layout.footer_pattern) if layout.footer_pattern else None
        self._heading = plan.heading.strip()
        self._cells = len(plan.names) if plan.heading_line else 0

    def read(self, lines: list[str], numbers: Sequence[int], *, last: bool = False) -> Rows:
        """Read lines.

        Parameters
        ----------
        lines : list of str
            Lines without their ends.
        numbers : sequence of int
            The number of each of them in the file.
        last : bool, optional
            Whether the last of them ends the file without a line end.

        Returns
        -------
        Rows
            Samples; odd rows have been noted.
        """
        times: list[int] = []
        offsets: list[int | None] = []
        values: list[list[float]] = []
        rows: list[int] = []
        counts: list[float] = []
        for place, line, cells, fault in self._split(lines):
            row = numbers[place]
            # rows below the footer mean that files were joined; a few words below it mean nothing
            if self.ended:
                self._after_the_end(row, line, cells)
                continue
            if self._aside(row, line, cells):
                continue
            try:
                if fault:
                    raise BadRowError(fault)
                if last and place == len(lines) - 1 and self._may_be_cut(cells, lines):
                    self.odd.add(row, line, "cut", "it has no line end, and its last value may have been longer")
                    continue
                taken = self._sample(row, line, cells)
            except BadRowError as error:
                self.odd.add(row, line, "bad", str(error))
                continue
            if taken is not None:
                times.append(taken[0])
                offsets.append(taken[1])
                values.append(taken[2])
                rows.append(row)
                at = self.plan.counter
                counts.append(count_of(cells[at]) if at is not None and at < len(cells) else np.nan)
        return self._rows(times, offsets, values, rows, counts)

    def _rows(
        self,
        times: list[int],
        offsets: list[int | None],
        values: list[list[float]],
        rows: list[int],
        counts: list[float],
    ) -> Rows:
        offset = None
        if any(minutes is not None for minutes in offsets):
            offset = np.array([NO_OFFSET if minutes is None else minutes for minutes in offsets], dtype=np.int64)
        table = np.array(values, dtype=np.float64).reshape(len(rows), len(self.plan.columns))
        return Rows(
            np.array(times, dtype=np.int64),
            offset,
            [np.ascontiguousarray(table[:, n]) for n in range(table.shape[1])],
            np.array(rows, dtype=np.int64),
            None if self.plan.counter is None else np.array(counts, dtype=np.float64),
        )

    def _split(self, lines: list[str]) -> Iterator[tuple[int, str, list[str], str]]:
        """Yield place, text, cells and fault of each row; a cell in quotes may run over a few lines."""
        delimiter = self.plan.layout.delimiter
        place = 0
        while place < len(lines):
            start, line = place, lines[place]
            place += 1
            # the usual line, without the cost of a parser
            if '"' not in line:
                yield start, line, line.split(delimiter), ""
                continue
            while line.count('"') % 2 and place < min(len(lines), start + MOST_JOINED):
                line = f"{line}\n{lines[place]}"
                place += 1
            if line.count('"') % 2:
                # the quote is a sign like another: go on with the line after it
                place = start + 1
                yield start, lines[start], [lines[start]], "a quote is opened and not closed"
                continue
            try:
                cells = next(csv.reader([line], delimiter=delimiter, strict=True), [""])
            except csv.Error as error:
                yield start, line, [line], f"its quotes are not well-formed ({error})"
            else:
                yield start, line, cells, ""

    def _aside(self, row: int, line: str, cells: list[str]) -> bool:
        """Return whether a line is no row: blank, a comment, the headings once more, a footer or an event."""
        plain = line.strip()
        # lines of delimiters alone stand below many spreadsheets
        if not plain or not any(cell.strip() for cell in cells):
            return True
        layout = self.plan.layout
        if layout.comment and plain.startswith(layout.comment):
            self.odd.add(row, line, "comment", f"the line begins with {layout.comment!r}")
        elif plain == self._heading and self._heading:
            self.odd.add(row, line, "heading", "the headings stand once more")
        elif self._footer is not None and self._footer.search(line):
            self.odd.add(row, line, "footer", "the layout says that the table ends here")
            self.ended = True
        elif self._event_rows is not None and self._event_rows.search(line):
            self.odd.add(row, line, "event", "the layout says that such lines are events")
        else:
            return False
        return True

    def _after_the_end(self, row: int, line: str, cells: list[str]) -> None:
        """Note a row that stands below the line that ended the table."""
        try:
            self._time([cell.strip() for cell in cells])
        except BadRowError:
            return
        self.odd.add(row, line, "bad", "the row stands below the line that ends the table, as if two files were joined")

    def _may_be_cut(self, cells: list[str], lines: list[str]) -> bool:
        """Refuse a last row without a line end that was cut, and return whether it may have been.

        It was where it is shorter than the rows before it. Numbers of as many decimals as all those before are whole;
        whole numbers, and those of changing decimals, do not show it.
        """
        near = [*self.before, *lines[:-1]][-50:]
        before = [row for _, _, row, fault in self._split(near) if not fault and any(row)]
        needed = min(self.plan.width, min(map(len, before), default=0))
        at = len(cells) - 1
        used = at in self.plan.places or at in self.plan.times
        shapes = {self._shape(one[at], at) for one in before if len(one) > at} - {-1}
        own = self._shape(cells[at], at)
        if len(cells) < needed or (used and len(shapes) == 1 and own not in shapes):
            raise BadRowError("the file ends in the middle of this row")
        shows = len(shapes) == 1 and (shapes != {0} or at in self.plan.times)
        return used and not shows and (own != -1 or bool(shapes))

    def _shape(self, cell: str, at: int) -> int:
        """Return the length of a time, or the number of decimals of a value; -1 for no value."""
        if at in self.plan.times:
            return len(cell)
        if at not in self.plan.places or cell.strip() in self.plan.missing[self.plan.places.index(at)]:
            return -1
        return len(cell.strip().strip('"').partition(self.plan.layout.decimal)[2])

    def _sample(self, row: int, line: str, cells: list[str]) -> tuple[int, int | None, list[float]] | None:
        plan = self.plan
        # unquoted decimal commas part a number in two, and each half would be read as one
        if self._cells and len(cells) > self._cells:
            self._refuse_too_many(cells)
        # left where a logger lost power while it wrote
        if "\x00" in line:
            raise BadRowError("the row holds zero bytes")
        cells = [cell.strip() for cell in cells]
        if plan.select is not None and (len(cells) <= plan.select[0] or cells[plan.select[0]] != plan.select[1]):
            self.odd.add(row, line, "other", f"it is not of {plan.select[1]}")
            return None
        time, offset = self._time(cells)
        values = [
            _read_number(cells[place], plan, column) if place < len(cells) else np.nan
            for column, place in enumerate(plan.places)
        ]
        noted = [f"{plan.names[n]}: {cells[n]}" for n in plan.events if n < len(cells) and cells[n] not in {"", "-"}]
        if self._cells:
            noted += [cell for cell in cells[self._cells :] if cell]
        if self._note(row, line, values, noted):
            return None
        return time, offset, values

    def _refuse_too_many(self, cells: list[str]) -> None:
        """Refuse a row with more cells than headings, unless they hold words or nothing and are no decimals."""
        layout = self.plan.layout
        # words right of the headings are notes; a number there may be of another column
        extra = [cell.strip() for cell in cells[self._cells :] if cell.strip()]
        # a whole number in every value may be the half before a decimal comma
        whole = layout.delimiter == "," and any(
            cell.strip() and layout.decimal not in cell for cell in (cells[place] for place in self.plan.places)
        )
        if whole or not all(map(is_note, extra)):
            message = (
                f"the row has {len(cells)} cells, the headings {self._cells}; "
                "numbers with a decimal comma must stand in quotes, or between other signs than commas"
            )
            raise BadRowError(message)

    def _time(self, cells: list[str]) -> tuple[int, int | None]:
        plan = self.plan
        total, offset = 0, None
        for place, formats in zip(plan.times, plan.formats, strict=True):
            if place >= len(cells):
                message = f"the row has {len(cells)} cells; the time stands in the cell {place + 1}"
                raise BadRowError(message)
            try:
                time, form = read_stamp(cells[place], formats)
            except StampError as error:
                message = f"column {plan.names[place]!r}: {error}"
                raise BadRowError(message) from None
            # date and time of day in cells of their own add up
            total += time
            # only one of the two cells bears the offset
            offset = form if form is not None else offset
        if offset is None and not plan.zone:
            message = (
                f"column {plan.names[plan.times[-1]]!r}: {cells[plan.times[-1]]!r} does not say its offset from UTC"
            )
            raise BadRowError(message)
        return total, offset

    def _note(self, row: int, line: str, values: list[float], noted: list[str]) -> bool:
        """Note what is odd about a row that can be read; return whether it is an event and no sample."""
        lacking = [column.name for column, value in zip(self.plan.columns, values, strict=True) if value != value]
        reasons = {
            "event": "; ".join(noted),
            "no value": "a time without any value",
            "missing": f"no value of {', '.join(lacking)}",
            "remark": "; ".join(noted),
        }
        kinds = odd_kinds(some=bool(lacking), none=len(lacking) == len(values), noted=bool(noted))
        for kind in (kind for kind, is_so in kinds.items() if is_so):
            self.odd.add(row, line, kind, reasons[kind])
        return kinds["event"]
